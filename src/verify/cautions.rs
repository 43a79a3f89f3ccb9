//! Rule 7: cautions stand where they apply, and what is marked as a hazard is not probed.
//!
//! Cautions are sentences, and whoever makes a plan may word them otherwise. Looked for are the words without
//! which such a sentence could hardly be written; a violation says which words were looked for.

use super::meter::Strong;
use super::replay::{Event, Replay};
use super::report::{Report, Rule};
use super::rules::steps;
use super::state::{Action, batteries, hazard};
use crate::definition::{LoadKind, PartKind};

/// From this share of the nominal voltage on a motor, coil or lamp works for sure: common practice.
const WORKS: f64 = 0.5;

/// Whether a text names an id, and not only another id that begins or ends with it.
pub(super) fn names(text: &str, id: &str) -> bool {
    let joins = |c: char| c.is_alphanumeric() || matches!(c, '-' | '_' | '+');
    text.match_indices(id).any(|(at, _)| {
        let before = text[..at].chars().next_back().is_some_and(joins);
        let after = text[at + id.len()..].chars().next().is_some_and(joins);
        !before && !after
    })
}

/// Whether a text has one of some words, in capitals or not.
fn says(text: &str, words: &[&str]) -> bool {
    let lower = text.to_lowercase();
    words.iter().any(|word| lower.contains(word))
}

/// Holds a plan's cautions against what it does.
pub(super) fn cautions(replay: &Replay<'_>, report: &mut Report) {
    throughout(replay, report);
    for (at, scene) in replay.scenes.iter().enumerate() {
        let said = replay.plan.json.phases[at].cautions.join("\n");
        let mut missing = |what: &str, words: &[&str]| {
            if !says(&said, words) {
                report.phase(
                    Rule::Cautions,
                    scene,
                    format!("no caution {what} (words: {})", words.join(", ")),
                );
            }
        };
        of_changes(&scene.events, &mut missing);
        if !scene.after.caps.is_empty() {
            missing("of what lies under caps", &["caps", "capped"]);
        }
        if !scene.phase.live.is_empty() {
            missing("of live contacts", &["live"]);
        }
        if scene.phase.steps.iter().any(|step| step.meter.strong == Some(Strong::Voltage)) {
            missing("of the tester's voltage", &["500 v"]);
            missing("to discharge after a megohm test", &["discharge"]);
            missing(
                "to keep hands off during a megohm test",
                &["nobody", "no one", "do not touch", "hands off"],
            );
        }
        of_loads(replay, at, &said, report);
    }
    // Whoever jumps to a step reads the cautions of the phase that it is in.
    for jump in replay.jumps {
        let phases = &replay.plan.json.phases;
        let [from, number] = jump.from;
        let next = phases[from].steps[number].outcomes[jump.outcome].next.as_deref();
        let to = phases.iter().find(|phase| phase.steps.iter().any(|step| Some(step.id.as_str()) == next));
        let said = to.map_or_else(String::new, |phase| phase.cautions.join("\n"));
        of_changes(&jump.events, &mut |what, words| {
            if !says(&said, words) {
                let what = format!(
                    "no caution {what}, on the way to {} (words: {})",
                    next.unwrap_or(""),
                    words.join(", ")
                );
                report.step(Rule::Cautions, replay, jump.from, what);
            }
        });
    }
    for (at, _, step) in steps(replay) {
        for point in [step.red, step.black] {
            if let Some(what) = hazard(replay.harness, point) {
                let what = format!("{} is probed, and {what} is marked as a hazard", replay.name(point));
                report.step(Rule::Cautions, replay, at, what);
            }
        }
    }
}

/// What holds for the whole plan.
fn throughout(replay: &Replay<'_>, report: &mut Report) {
    let harness = replay.harness;
    let said = replay.plan.json.cautions.join("\n");
    let mut missing = |what: &str, words: &[&str]| {
        if !says(&said, words) {
            report.plan(Rule::Cautions, format!("no caution {what} (words: {})", words.join(", ")));
        }
    };
    missing("never to force a probe into a socket contact", &["socket"]);
    if batteries(harness).next().is_some() {
        missing("of tools and rings across a battery", &["across a battery", "rings"]);
        missing("of the gas of a battery", &["hydrogen"]);
    }
    let connectors = harness.connectors.values().filter(|c| c.hazard.is_some()).map(|c| &c.id);
    let wires = harness.wires.values().filter(|w| w.hazard.is_some()).map(|w| &w.id);
    let parts = harness.parts.values().filter(|p| p.hazard.is_some()).map(|p| &p.id);
    for id in connectors.chain(wires).chain(parts).filter(|id| !names(&said, id)) {
        report.plan(Rule::Cautions, format!("no caution names {id}, which is marked as a hazard"));
    }
}

/// What battery leads and straps ask for.
fn of_changes(events: &[Event<'_>], missing: &mut dyn FnMut(&str, &[&str])) {
    let does = |wanted: fn(&Action) -> bool| events.iter().any(|event| wanted(event.action));
    if does(|action| matches!(action, Action::Fit(..))) {
        missing("to count straps on and off", &["count"]);
    }
    if does(|action| matches!(action, Action::TakeOff(..))) {
        missing("that negative comes off first", &["negative comes off first", "negative first"]);
        missing("of stored charge", &["stored charge", "discharge", "capacitor"]);
    }
    if does(|action| matches!(action, Action::PutOn(..))) {
        missing("that negative goes on last", &["negative goes on last", "negative last"]);
    }
}

/// What works in a phase is named.
fn of_loads(replay: &Replay<'_>, at: usize, said: &str, report: &mut Report) {
    let (scene, machine) = (&replay.scenes[at], &replay.machines[at]);
    let Some(Ok(sound)) = &replay.sound[at] else { return };
    for part in replay.harness.parts.values() {
        let PartKind::Load { kind: LoadKind::Motor | LoadKind::Coil | LoadKind::Lamp, between, .. } =
            part.kind
        else {
            continue;
        };
        let [a, b] = between.map(|point| machine.node(point));
        let volts = sound.volts.between(a, b);
        if volts.abs() >= WORKS * machine.nominal() && !names(said, &part.id) {
            let what = format!("{} works ({volts:.1} V), and no caution names it", part.id);
            report.phase(Rule::Cautions, scene, what);
        }
    }
    for part in replay.harness.parts.values() {
        let PartKind::Alternator { when: Some(when), .. } = part.kind else { continue };
        let title = &replay.harness.conditions[when].title;
        let told = said.contains(title.as_str()) || says(said, &["turns"]);
        if scene.after.conditions.contains(&when) && !told {
            report.phase(Rule::Cautions, scene, format!("{title}: no caution of what turns (words: turns)"));
        }
    }
}
