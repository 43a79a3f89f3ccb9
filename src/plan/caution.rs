//! Cautions, where they apply.
//!
//! The sentences are ours; the rules they state are usual in the trade (among them AC 43.13-1B
//! par. 11-96, and the safety chapter of the open textbook "Lessons In Electric Circuits").

use std::collections::BTreeSet;

use super::{Meters, Phase, Step, as_found};
use crate::definition::{ConditionId, Half, Harness, Kind, LoadKind, MatingId, Part, PartKind, Point};
use crate::measure::Situation;
use crate::setup::{Action, Post, Power, Setup};
use crate::units::Volts;

/// The sentence every sheet ends with.
pub const DEFERENCE: &str = "The maker's manual, local codes and licensed practice come first. This sheet \
    helps a trained person to plan and to reason; it does not release a machine.";

/// What to know before the first plug is pulled.
pub const BEFORE: &[&str] = &[
    "Hear the complaint: what fails, since when, always or sometimes, what was done last.",
    "See it fail yourself, if that is safe.",
];

/// What to know on a machine with a source.
const BEFORE_POWER: &[&str] = &[
    "Read fault memories and note settings that a loss of power would erase.",
    "Check fuses, battery posts and ground points by eye and by hand first: it costs a minute.",
    "Know where to cut the power at once, and who else can switch it on: lock it or tag it.",
];

/// What to know of a harness that hangs on nothing.
const BEFORE_LEAD: &[&str] = &[
    "No source belongs to this harness: if it is fitted, cut and lock the power of what it feeds on, and part it at both ends first.",
    "Look along its whole length for crushed, chafed or green places, and into every contact.",
];

/// Cautions that hold through the whole plan.
pub fn throughout(harness: &Harness, meters: &Meters) -> Vec<String> {
    let mut cautions = vec![
        "Prove the meter on something known, measure, prove the meter again.".to_owned(),
        "Never force a probe into a socket contact: it spreads the contact and makes the next fault. Use the \
         matching test contact."
            .to_owned(),
        "Do not pierce insulation. Do not bridge a fuse or fit a larger one.".to_owned(),
    ];
    if crate::setup::batteries(harness).next().is_some() {
        let rings = "Take off rings and watches; a tool across a battery can weld or explode.";
        cautions.insert(0, rings.to_owned());
        cautions.push(
            "A lead-acid battery gives off hydrogen: no sparks or flames near it, and wear eye protection."
                .to_owned(),
        );
    }
    if crate::setup::batteries(harness).next().is_some() && !meters.iter().any(|m| m.can(Kind::Voltage)) {
        cautions.push(
            "None of the meters at hand can prove the machine dead: fetch one that reads volts before any other \
             reading."
                .to_owned(),
        );
    }
    let nominal = harness.about.nominal.map_or(0.0, Volts::get);
    if nominal > 30.0 {
        cautions.push(format!("{} is dangerous to touch: trained persons only.", Volts::new(nominal)));
    }
    for (what, hazard) in hazards(harness) {
        cautions.push(format!(
            "{what} is marked as a hazard ({hazard}): do not probe it and keep its wiring closed."
        ));
    }
    cautions.extend(kinds_of_hazard(harness));
    cautions
}

/// What to do about the hazards of a machine, by what their marks say; each once.
///
/// Marks are free text, so they are told by the words that are usual for each kind. What none of them names
/// keeps its plain caution.
fn kinds_of_hazard(harness: &Harness) -> Vec<String> {
    let marks: Vec<String> = hazards(harness).into_iter().map(|(_, mark)| mark.to_lowercase()).collect();
    let applies = |words: &[&str]| marks.iter().any(|mark| words.iter().any(|word| mark.contains(word)));
    let kinds = HAZARDS.iter().filter(|(words, _)| applies(words));
    kinds.map(|(_, caution)| (*caution).to_owned()).collect()
}

/// The words of a kind of hazard, and its caution: usual in the trade, from memory.
const HAZARDS: [(&[&str], &str); 4] = [
    (
        &[
            "restraint",
            "airbag",
            "pretension",
            "pyro",
            "squib",
            "initiator",
            "ordnance",
            "ejection",
            "fire bottle",
            "explosive",
        ],
        "Restraint and other pyrotechnic circuits: isolate the battery and wait as long as the maker says before \
         anything near them is moved. Never an ordinary meter on an initiator, not even on its plug: only the maker's \
         test set, by those who are licensed for it.",
    ),
    (
        &["fuel", "petrol", "gasoline", "vapour", "vapor", "lpg", "gas tank", "bilge"],
        "Fuel: no test current, no spark and no hot work in or near tanks, fuel wiring or bilges until the place is \
         proven free of gas.",
    ),
    (
        &["high voltage", "high-voltage", "traction", "hybrid", "orange"],
        "High voltage: service disconnect out and locked, wait as long as the maker says, measured dead by persons \
         trained for it, before anything near it is touched.",
    ),
    (
        &["ignition", "capacitor", "xenon", "magneto"],
        "Ignition and other circuits that store charge: they bite after power is off. Wait, discharge as the maker \
         says, prove dead.",
    ),
];

fn hazards(harness: &Harness) -> Vec<(String, String)> {
    let mut found = Vec::new();
    let mut note = |what: String, hazard: &Option<String>| {
        if let Some(hazard) = hazard {
            found.push((what, hazard.clone()));
        }
    };
    harness.connectors.values().for_each(|c| note(format!("Connector {}", c.id), &c.hazard));
    harness.wires.values().for_each(|w| note(format!("Wire {}", w.id), &w.hazard));
    harness.parts.values().for_each(|p| note(format!("Part {}", p.id), &p.hazard));
    found
}

/// What to know before the first plug is pulled.
pub(super) fn before(harness: &Harness, phases: &[Phase]) -> Vec<String> {
    let powered = matches!(as_found(harness), Setup::Connected(_));
    let own = if powered { BEFORE_POWER } else { BEFORE_LEAD };
    let mut before: Vec<String> = BEFORE.iter().chain(own).map(|text| (*text).to_owned()).collect();
    before.extend(frame(phases));
    before.extend(sources(harness));
    let asked: BTreeSet<ConditionId> = phases.iter().flat_map(|phase| phase.setup.conditions()).collect();
    if !asked.is_empty() {
        let titles: Vec<&str> = asked.into_iter().map(|c| harness.conditions[c].title.as_str()).collect();
        before.push(format!(
            "This plan asks for: {}. See that it can be done here and safely.",
            titles.join("; ")
        ));
    }
    before
}

/// What can feed the machine, each by its kind: what is isolated is all of these.
fn sources(harness: &Harness) -> Option<String> {
    let words = |part: &Part| match &part.kind {
        PartKind::Battery { volts, .. } => Some(format!("{}, a battery of {volts}", part.id)),
        PartKind::Alternator { volts, when, .. } => {
            let when = when.map(|c| format!(" while \"{}\" holds", harness.conditions[c].title));
            let when = when.unwrap_or_else(|| " whenever it turns, with battery leads off too".to_owned());
            Some(format!("{}, an alternator of {volts}{when}", part.id))
        }
        _ => None,
    };
    let all: Vec<String> = harness.parts.values().filter_map(words).collect();
    let more = "What else stores energy (pressure, springs, raised loads) is not in this definition.";
    (!all.is_empty()).then(|| format!("It can be fed by {}. {more}", all.join("; ")))
}

/// What the chassis is, where a reading goes to it.
fn frame(phases: &[Phase]) -> Option<String> {
    let black = |step: &Step| step.measurement.black() == Point::Chassis;
    let words = "Chassis means bare metal of the frame: never paint, nor anything that stands on rubber.";
    phases.iter().flat_map(|phase| &phase.steps).any(black).then(|| words.to_owned())
}

/// Cautions of one phase.
pub fn of_phase(situation: &Situation<'_>, changes: &[Action], live: &[(Point, Volts)]) -> Vec<String> {
    let mut cautions = of_leads(changes);
    if !live.is_empty() {
        cautions.push(
            "Open plugs carry live contacts (listed): cap those not being probed, and let no probe bridge two."
                .to_owned(),
        );
    }
    let socket = situation
        .setup
        .unplugged(situation.harness)
        .any(|c| situation.harness.connectors[c].half == Some(Half::Socket));
    if socket && changes.iter().any(|c| matches!(c, Action::Unplug(_))) {
        cautions.push(
            "Pull plugs by their bodies. Look at every contact for bent, pushed-back or green ones."
                .to_owned(),
        );
    }
    cautions.extend(turning(situation));
    let moving = moving(situation);
    if !moving.is_empty() {
        cautions
            .push(format!("Will run in this setup: {}. Keep clear and tell everyone.", moving.join(", ")));
    }
    let hot = running(situation, |kind| kind == LoadKind::Lamp);
    if !hot.is_empty() {
        cautions.push(format!("Will be lit and hot: {}.", hot.join(", ")));
    }
    let warm = heating(situation);
    if !warm.is_empty() {
        cautions.push(format!("Will get hot to touch: {}.", warm.join(", ")));
    }
    cautions
}

/// What battery leads ask for.
pub(super) fn of_leads(changes: &[Action]) -> Vec<String> {
    let mut cautions = Vec::new();
    if changes.iter().any(|c| matches!(c, Action::TakeOff(_, Post::Negative))) {
        cautions.push("Battery negative comes off first. Keep the lead from springing back.".to_owned());
        cautions.push(
            "Wait until stored charge is gone: prove dead with the voltmeter before any ohms.".to_owned(),
        );
    }
    if changes.iter().any(|c| matches!(c, Action::PutOn(_, Post::Negative))) {
        cautions.push(
            "Before power: meter off the ohms range and its leads off the wiring, nothing across open contacts, \
             switches at rest. Negative goes on last."
                .to_owned(),
        );
    }
    cautions
}

/// A part of this size gets hot from so many watts on: common practice, no source.
const HOT_WATTS: f64 = 5.0;

/// Resistors and coils that the solved network heats in this setup.
fn heating(situation: &Situation<'_>) -> Vec<String> {
    let watts = |part: &Part| match &part.kind {
        PartKind::Load { kind: LoadKind::Resistor, between, ohms, .. } => {
            let [a, b] = between.map(|p| situation.node(p));
            situation.healthy().volts_between(a, b).powi(2) / ohms.get().max(f64::MIN_POSITIVE)
        }
        _ => 0.0,
    };
    situation.harness.parts.values().filter(|part| watts(part) >= HOT_WATTS).map(titled).collect()
}

/// A part's id with its title.
fn titled(part: &Part) -> String {
    if part.title.is_empty() { part.id.clone() } else { format!("{} ({})", part.id, part.title) }
}

/// Before the function check, where the machine is whole again and has power: what will move.
pub fn of_close(situation: &Situation<'_>) -> Option<String> {
    let motor = |part: &&Part| matches!(part.kind, PartKind::Load { kind: LoadKind::Motor, .. });
    let motors: Vec<String> = situation.harness.parts.values().filter(motor).map(titled).collect();
    let live = situation.setup.power() == Power::Connected && !motors.is_empty();
    let words = || {
        format!("The function check starts things: keep clear of {} and tell everyone.", motors.join(", "))
    };
    live.then(words)
}

/// Cautions that a step's meter brings with it.
pub(super) fn of_meters(steps: &[Step]) -> Vec<String> {
    let strong = steps.iter().map(|step| step.expect.meter).find(|meter| meter.puts_out.volts.get() > 50.0);
    let Some(meter) = strong else { return Vec::new() };
    vec![
        format!(
            "The {} meter puts {} on the wiring: only at the steps that name it, with the maker's leave where there is \
             electronics, and only with every unit parted as listed.",
            meter.name, meter.puts_out.volts
        ),
        "While it is on nobody touches its leads, the wiring or an open plug, at either end.".to_owned(),
        "After each of its readings discharge the wiring through the tester until it shows nothing, and only \
         then take the leads off."
            .to_owned(),
    ]
}

/// Conditions that turn an alternator: something turns with it.
fn turning(situation: &Situation<'_>) -> Option<String> {
    let when = |part: &Part| match part.kind {
        PartKind::Alternator { when, .. } => when.filter(|condition| situation.setup.holds(*condition)),
        _ => None,
    };
    let condition = situation.harness.parts.values().find_map(when)?;
    let title = &situation.harness.conditions[condition].title;
    Some(format!(
        "{title}: keep hands, hair, clothing and leads off fan, belts and everything else that turns or gets hot; \
         the exhaust kills: never run an engine in a closed room."
    ))
}

fn moving(situation: &Situation<'_>) -> Vec<String> {
    running(situation, |kind| matches!(kind, LoadKind::Motor | LoadKind::Coil))
}

/// Loads that the solved network feeds in this setup.
fn running(situation: &Situation<'_>, wanted: impl Fn(LoadKind) -> bool) -> Vec<String> {
    if situation.setup.power() == Power::Isolated {
        return Vec::new();
    }
    let nominal = situation.harness.about.nominal.map_or(12.0, Volts::get);
    let running = situation.harness.parts.values().filter(|part| match &part.kind {
        PartKind::Load { kind, between, .. } if wanted(*kind) => {
            let [a, b] = between.map(|p| situation.node(p));
            situation.healthy().volts_between(a, b).abs() > nominal * 0.2
        }
        _ => false,
    });
    running.map(titled).collect()
}

/// What must work when everything is back together: the functions of the units that were unplugged or that
/// a switch was moved for; of all where nothing was.
pub(super) fn function_check(harness: &Harness, phases: &[Phase]) -> Vec<String> {
    let parted: BTreeSet<MatingId> = phases.iter().flat_map(|phase| phase.setup.parted()).collect();
    let moved = phases.iter().any(|phase| phase.setup.set().len() > 0);
    let mut checks = Vec::new();
    for part in harness.parts.values() {
        let PartKind::Unit { functions } = &part.kind else { continue };
        let touched =
            functions.iter().flat_map(crate::definition::Function::points).any(|point| match point {
                Point::Contact(id) => {
                    let mating = harness.connectors[harness.contacts[id].connector].mating;
                    mating.is_some_and(|mating| parted.contains(&mating))
                }
                _ => false,
            });
        if touched || parted.is_empty() {
            checks.extend(functions.iter().map(|f| format!("{} does: {}", part.id, f.title)));
        }
    }
    if !parted.is_empty() {
        checks.push("Everything that was unplugged is locked.".to_owned());
    }
    if moved {
        checks.push("Everything that was switched is at rest.".to_owned());
    }
    checks
}
