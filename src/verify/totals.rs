//! The plan's own figures: what counts as detected, and what it costs.

use std::collections::{BTreeMap, BTreeSet};

use super::fault::{Fault, singles};
use super::replay::Replay;
use super::report::{Report, Rule};
use super::state::{Action, Joined};
use crate::definition::{Harness, StationId};
use crate::units::Seconds;

/// Time to place two probes and write a reading down: common practice, no source.
const READING: f64 = 20.0;
/// Time to walk to another station where the definition gives none: common practice, no source.
const WALK: f64 = 20.0;
/// Time to take a battery lead off or put it on; this and those below are common practice, no source.
const LEAD: f64 = 60.0;
/// Time to unplug or to plug in where the definition gives none, also a loopback plug.
const PLUG: f64 = 30.0;
/// Time to move a switch.
const SWITCH: f64 = 5.0;
/// Time to bring a condition about or to end it.
const CONDITION: f64 = 60.0;
/// Time to put one clip of a strap on or to take it off.
const CLIP: f64 = 5.0;
/// Time to cap a contact or to uncap it.
const CAP: f64 = 5.0;
/// Sums may be off by this, in seconds.
const ROUNDING: f64 = 0.5;

/// What counts as detected stands at a step; what does not is named, with a reason.
pub(super) fn coverage(replay: &Replay<'_>, report: &mut Report) {
    let said = &replay.plan.json.coverage;
    let steps = replay.plan.json.phases.iter().flat_map(|phase| &phase.steps);
    // Faults that change the same are counted one by one, and are named one by one.
    let names: BTreeSet<&str> = steps.flat_map(|step| &step.covers).map(String::as_str).collect();
    let mut note = |what: String| report.plan(Rule::Coverage, what);
    if said.detected > names.len() {
        note(format!("{} faults count as detected, and the steps cover {}", said.detected, names.len()));
    }
    if said.faults != said.detected + said.undetected.len() {
        let undetected = said.undetected.len();
        note(format!(
            "{} faults are not {} detected and {undetected} undetected",
            said.faults, said.detected
        ));
    }
    for missed in said.undetected.iter().filter(|missed| names.contains(missed.fault.as_str())) {
        note(format!("{} counts as undetected, and a step covers it", missed.fault));
    }
    for missed in said.undetected.iter().filter(|missed| missed.why.trim().is_empty()) {
        note(format!("{} is undetected, and nothing says why", missed.fault));
    }
}

/// Says how much of the machine a plan does not speak of: one for a few plugs or a circuit leaves much out.
pub(super) fn silence(replay: &Replay<'_>, report: &mut Report) {
    let all = singles(replay.harness);
    let steps = replay.plan.phases.iter().flat_map(|phase| &phase.steps);
    let shown: BTreeSet<Fault> = steps.flat_map(|step| step.covers.iter().copied()).collect();
    let missed: BTreeSet<Fault> = replay.plan.undetected.iter().copied().collect();
    let named = |fault: &&Fault| shown.contains(fault) || missed.contains(fault);
    let silent = all.len() - all.iter().filter(named).count();
    if silent > 0 {
        report.remarks.push(format!(
            "The plan says nothing of {silent} of the machine's {} single faults (a wire with its ends as one, pairs \
             of wires apart): it is for a part of the machine.",
            all.len()
        ));
    }
}

/// Steps, changes and seconds add up, no bound lies above its figure, and ids are unique.
pub(super) fn totals(replay: &Replay<'_>, report: &mut Report) {
    let (json, cost) = (&replay.plan.json, &replay.plan.json.cost);
    let steps: usize = json.phases.iter().map(|phase| phase.steps.len()).sum();
    let walks = |action: &Action| matches!(action, Action::GoTo(_));
    let changes = replay.plan.phases.iter().flat_map(|phase| &phase.changes).filter(|a| !walks(a)).count();
    let mut note = |what: String| report.plan(Rule::Totals, what);
    if cost.steps != steps {
        note(format!("it counts {} steps and has {steps}", cost.steps));
    }
    if cost.changes != changes {
        note(format!("it counts {} changes and has {changes}", cost.changes));
    }
    let seconds = seconds(replay);
    if (cost.seconds - seconds).abs() > ROUNDING {
        note(format!("it counts {} s; changes, walks and readings take {seconds} s", cost.seconds));
    }
    let figures = [
        ("steps", cost.steps as f64, cost.steps_bound as f64),
        ("changes", cost.changes as f64, cost.changes_bound as f64),
        ("seconds", cost.seconds, cost.seconds_bound),
    ];
    for (what, figure, bound) in figures.into_iter().filter(|(_, figure, bound)| bound > figure) {
        note(format!("{what}: the bound, {bound}, lies above the figure, {figure}"));
    }
    ids(replay, &mut note);
    times(replay, report);
}

/// Every change takes its time.
fn times(replay: &Replay<'_>, report: &mut Report) {
    for (place, event) in replay.events() {
        if let Some(seconds) = time(replay.harness, event.action)
            && (event.seconds - seconds).abs() > ROUNDING
        {
            let what = format!("{} counts {} s and takes {seconds} s", event.words, event.seconds);
            report.change(Rule::Totals, replay, place, what);
        }
    }
}

/// How long a change takes: as the definition says, or as is usual.
fn time(harness: &Harness, action: &Action) -> Option<f64> {
    Some(match action {
        Action::GoTo(station) => walk(harness, Some(*station)),
        Action::TakeOff(..) | Action::PutOn(..) => LEAD,
        Action::Unplug(mating) | Action::PlugIn(mating) => {
            harness.matings[*mating].unplug.map_or(PLUG, Seconds::get)
        }
        Action::Set(..) => SWITCH,
        Action::Bring(_) | Action::End(_) => CONDITION,
        Action::Fit(Some(_), _) | Action::Unfit(Some(_), _) => PLUG,
        Action::Fit(None, straps) | Action::Unfit(None, straps) => {
            CLIP * straps.iter().map(Joined::len).sum::<usize>() as f64
        }
        Action::Refit(from, to) => CLIP * from.symmetric_difference(to).count() as f64,
        Action::Cap(contacts) | Action::Uncap(contacts) => CAP * contacts.len() as f64,
        Action::Unknown => return None,
    })
}

/// Phases and steps have ids of their own, a step's begins with its phase's.
fn ids(replay: &Replay<'_>, note: &mut dyn FnMut(String)) {
    let json = &replay.plan.json;
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    for phase in &json.phases {
        *seen.entry(&phase.id).or_default() += 1;
        for step in &phase.steps {
            *seen.entry(&step.id).or_default() += 1;
            if !step.id.strip_prefix(phase.id.as_str()).is_some_and(|rest| rest.starts_with('.')) {
                note(format!("step {} stands in phase {}", step.id, phase.id));
            }
        }
    }
    for left in &json.left_out {
        *seen.entry(&left.id).or_default() += 1;
        if left.why.trim().is_empty() {
            note(format!("{} is left out, and nothing says why", left.id));
        }
    }
    for (id, _) in seen.into_iter().filter(|(_, times)| *times > 1) {
        note(format!("the id {id} comes more than once"));
    }
}

/// What changes, walks and readings take together.
fn seconds(replay: &Replay<'_>) -> f64 {
    let mut here: Option<StationId> = None;
    let mut sum = 0.0;
    for (phase, json) in replay.plan.phases.iter().zip(&replay.plan.json.phases) {
        for (action, change) in phase.changes.iter().zip(&json.changes) {
            sum += change.seconds;
            if let Action::GoTo(station) = action {
                here = Some(*station);
            }
        }
        for station in phase.steps.iter().map(|step| step.station) {
            sum += READING;
            if station.is_some() && here != station {
                here = station;
                sum += walk(replay.harness, station);
            }
        }
    }
    sum
}

fn walk(harness: &Harness, to: Option<StationId>) -> f64 {
    to.and_then(|station| harness.stations[station].reach).map_or(WALK, Seconds::get)
}
