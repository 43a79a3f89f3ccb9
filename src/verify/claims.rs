//! What readings show: a sound machine reads as expected, and every fault that a step claims shows.
//!
//! Comes in: a replay. Goes out: steps whose interval a sound machine leaves, and claims that do not hold. A
//! claim holds if the reading of the machine with that fault leaves the step's own interval by more than the
//! meter's uncertainty, always on the same side: whatever connected units have inside, whichever way the machine
//! settles, and with thresholds at either end where something stands near one.

use std::collections::{BTreeMap, BTreeSet};

use super::fault::Fault;
use super::machine::{Corner, Machine};
use super::meter::{Interval, Reading, Side};
use super::net::{Edits, Net, Question};
use super::read::Step;
use super::replay::Replay;
use super::report::{Report, Rule};
use super::settle::{Live, Thresholds};
use crate::definition::{Kind, Limit};
use crate::units::{Ohms, Volts};

/// Sources of a sound machine stand so much below and above their figure: a lead-acid battery, empty to
/// full; published lists differ by 0.1 V.
const SOURCES: [f64; 2] = [0.92, 1.04];
/// Up to this voltage a point is dead, and the range of the sources says nothing.
const DEAD: f64 = 0.5;
/// A fault that some steps of a phase claim to show.
struct Claim {
    fault: Option<Fault>,
    edits: Edits,
    /// The steps, by their number in the phase.
    steps: Vec<usize>,
    probes: Vec<[usize; 2]>,
}

impl Question for Claim {
    fn edits(&self) -> &Edits {
        &self.edits
    }
    fn probes(&self) -> &[[usize; 2]] {
        &self.probes
    }
}

/// What steps read: by claim and by step.
type Read = BTreeMap<(Option<Fault>, usize), Vec<Reading>>;

/// Holds every step against the sound machine, and every claim against the faulty one.
pub(super) fn claims(replay: &Replay<'_>, most: usize, report: &mut Report) {
    let phases = 0..replay.scenes.len();
    let faults: usize = phases.clone().map(|at| by_fault(replay, at).len()).sum();
    let every = faults.div_ceil(most.max(1)).max(1);
    for at in phases {
        expected(replay, at, report);
        shown(replay, at, every, report);
    }
    if every > 1 {
        report.remarks.push(format!(
            "There are {faults} faults to put into the machine: one in {every} was. Split the plan by circuits to have \
             all tried out."
        ));
    } else if report.claims.checked < report.claims.made {
        let left = report.claims.made - report.claims.checked;
        report
            .remarks
            .push(format!("{left} claims could not be tried out: of ohms with power, or of one point."));
    }
}

/// The steps of a phase that can be read at all: ohms cannot, with power.
fn readable(machine: &Machine<'_>, step: &Step) -> bool {
    !(machine.powered && step.kind.is_resistance()) && step.red != step.black
}

/// A question about steps of a phase.
fn claim(machine: &Machine<'_>, steps: &[Step], fault: Option<Fault>, of: Vec<usize>) -> Claim {
    let probes = |step: &usize| [steps[*step].red, steps[*step].black].map(|point| machine.node(point));
    let edits = fault.map_or_else(Edits::default, |fault| fault.edits(machine));
    Claim { fault, edits, probes: of.iter().map(probes).collect(), steps: of }
}

/// Sound machines read within what is expected.
fn expected(replay: &Replay<'_>, at: usize, report: &mut Report) {
    let (scene, machine) = (&replay.scenes[at], &replay.machines[at]);
    let steps = &scene.phase.steps;
    let mut numbers = Vec::new();
    for (number, step) in steps.iter().enumerate() {
        match demanded(replay, at, step) {
            None => numbers.extend(readable(machine, step).then_some(number)),
            Some(limit) if same(limit, &step.expect) => {}
            Some(_) => {
                let what = "the maker demands another interval in the definition".to_owned();
                report.step(Rule::Expected, replay, [at, number], what);
            }
        }
    }
    let mut read = Read::new();
    if machine.powered {
        if let Some(Err(parts)) = &replay.sound[at] {
            report.phase(
                Rule::Expected,
                scene,
                format!("the sound machine never settles: {parts} keep switching"),
            );
            return;
        }
        let whole = [claim(machine, steps, None, numbers)];
        with_power(&Net::new(machine, Corner::Nominal, false), &whole, false, &mut read);
    } else {
        let whole: Vec<Claim> =
            numbers.iter().map(|number| claim(machine, steps, None, vec![*number])).collect();
        let corners = [(Corner::Low, false), (Corner::High, false), (Corner::Low, true)];
        for (corner, insides) in corners.into_iter().filter(|(_, inside)| !inside || machine.has_insides()) {
            without_power(&Net::new(machine, corner, insides), steps, &whole, &mut read);
        }
    }
    for ((_, number), readings) in read {
        if let Some(what) = unsound(&steps[number], &readings) {
            report.step(Rule::Expected, replay, [at, number], what);
        }
    }
}

/// What the maker demands of a reading in the state of a phase.
fn demanded<'r>(replay: &'r Replay<'_>, at: usize, step: &Step) -> Option<&'r Limit> {
    let (harness, state) = (replay.harness, &replay.scenes[at].after);
    // A strap changes what is between the probes: that is not what the maker speaks of.
    let bare = state.straps.is_empty();
    harness.limits.iter().filter(|_| bare).find(|limit| {
        (limit.kind, limit.red, limit.black) == (step.kind, step.red, step.black)
            && limit.unplugged.iter().eq(&state.parted)
            && limit.set.iter().all(|(switch, position)| state.position(harness, *switch) == *position)
            && limit.conditions.iter().all(|condition| state.conditions.contains(condition))
    })
}

fn same(limit: &Limit, expect: &Interval) -> bool {
    let none = if limit.kind.is_resistance() { Some(0.0) } else { None };
    let equal = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() <= 1e-3 * a.abs().max(1e-6),
        (a, b) => a == b,
    };
    equal(limit.low.or(none), expect.low) && equal(limit.high, expect.high)
}

/// Why a sound machine would be found bad, or nothing.
fn unsound(step: &Step, readings: &[Reading]) -> Option<String> {
    let out = |reading: &Reading| {
        let what = format!(
            "a sound machine reads {}, and {} is expected",
            words(*reading, step.kind),
            interval(step)
        );
        (!step.expect.holds(*reading)).then_some(what)
    };
    let mut all = readings.to_vec();
    if let (Kind::Voltage, [Reading::Value(volts), ..]) = (step.kind, readings)
        && volts.abs() > DEAD
    {
        all.extend(SOURCES.map(|by| Reading::Value(volts * by)));
    }
    if step.kind.is_resistance() {
        let with_leads = |reading: &Reading| match reading {
            Reading::Value(ohms) => Reading::Value(ohms + step.meter.leads),
            Reading::Open => Reading::Open,
        };
        all.extend(readings.iter().map(with_leads));
    }
    if let Some([sure, never]) = step.meter.tone {
        let sounds = step.expect.high.is_some();
        let wrong = |reading: &Reading| match reading {
            Reading::Open => sounds,
            Reading::Value(ohms) => {
                if sounds {
                    *ohms >= sure
                } else {
                    *ohms <= never && step.expect.low > Some(0.0)
                }
            }
        };
        if let Some(reading) = all.iter().find(|reading| wrong(reading)) {
            return Some(format!(
                "a sound machine reads {}: a beeper may or may not sound",
                words(*reading, step.kind)
            ));
        }
    }
    all.iter().find_map(out)
}

/// The faults that a phase claims to show, each with the steps that do.
fn by_fault(replay: &Replay<'_>, at: usize) -> BTreeMap<Fault, BTreeSet<usize>> {
    let mut all: BTreeMap<Fault, BTreeSet<usize>> = BTreeMap::new();
    for (number, step) in replay.scenes[at].phase.steps.iter().enumerate() {
        for fault in step.covers.iter().filter(|_| readable(&replay.machines[at], step)) {
            all.entry(*fault).or_default().insert(number);
        }
    }
    all
}

/// Puts every fault, or one in so many, into the machine and reads the steps that claim it.
fn shown(replay: &Replay<'_>, at: usize, every: usize, report: &mut Report) {
    let (machine, steps) = (&replay.machines[at], &replay.scenes[at].phase.steps);
    let some = by_fault(replay, at).into_iter().step_by(every);
    let claims: Vec<Claim> =
        some.map(|(fault, of)| claim(machine, steps, Some(fault), of.into_iter().collect())).collect();
    let mut read = Read::new();
    if machine.powered {
        with_power(&Net::new(machine, Corner::Nominal, false), &claims, true, &mut read);
    } else {
        let both = [false, true].into_iter().filter(|inside| !inside || machine.has_insides());
        for insides in both {
            without_power(&Net::new(machine, Corner::Nominal, insides), steps, &claims, &mut read);
        }
    }
    let json = &replay.plan.json.phases[at].steps;
    for (number, step) in steps.iter().enumerate() {
        // What is read, and with which faults.
        let mut failed: BTreeMap<String, Vec<&str>> = BTreeMap::new();
        for (fault, id) in step.covers.iter().zip(&json[number].covers) {
            let Some(readings) = read.get(&(Some(*fault), number)) else { continue };
            report.claims.checked += 1;
            if let Some(reading) = hidden(step, readings) {
                report.claims.failed += 1;
                failed.entry(words(reading, step.kind)).or_default().push(id);
            }
        }
        if !failed.is_empty() {
            let with = failed.iter().map(|(reading, ids)| format!("{reading} with {}", ids.join(", ")));
            let with = with.collect::<Vec<_>>().join("; ");
            let what = format!("not shown for sure, where {} is expected: {with}", interval(step));
            report.step(Rule::Claims, replay, [at, number], what);
        }
    }
}

/// A reading that would not show the fault; `None` where all do, on the same side.
fn hidden(step: &Step, readings: &[Reading]) -> Option<Reading> {
    let side = |reading: &Reading| step.expect.side(*reading, step.kind, &step.meter);
    let first = readings.first().map(side);
    readings.iter().find(|reading| side(reading) == Side::Within || Some(side(reading)) != first).copied()
}

/// Reads steps of a machine without power: no voltage anywhere, and ohms from the network.
fn without_power(net: &Net<'_>, steps: &[Step], claims: &[Claim], read: &mut Read) {
    net.divide(claims, &mut |claim: &Claim, net: &Net<'_>| {
        let mesh = net.with(&claim.edits);
        for (number, probes) in claim.steps.iter().zip(&claim.probes) {
            let reading = if steps[*number].kind.is_resistance() {
                mesh.resistance(*probes).map_or(Reading::Open, Reading::Value)
            } else {
                Reading::Value(0.0)
            };
            read.entry((claim.fault, *number)).or_default().push(reading);
        }
    });
}

/// Reads steps of a machine with power, whichever way it settles.
fn with_power(net: &Net<'_>, claims: &[Claim], outer: bool, read: &mut Read) {
    net.divide(claims, &mut |claim: &Claim, net: &Net<'_>| {
        let live = Live::new(net, &claim.edits);
        let exact = live.settle(Thresholds::EXACT);
        let near = outer && exact.marginal;
        let others = Thresholds::OUTER.into_iter().filter(|_| near).map(|outer| live.settle(outer));
        let mut ends: Vec<Vec<bool>> =
            others.flat_map(|settled| settled.rounds).chain(exact.rounds).collect();
        ends.sort_unstable();
        ends.dedup();
        for on in &ends {
            for (number, probes) in claim.steps.iter().zip(&claim.probes) {
                let volts = Reading::Value(live.voltmeter(on, *probes));
                read.entry((claim.fault, *number)).or_default().push(volts);
            }
        }
    });
}

fn words(reading: Reading, kind: Kind) -> String {
    match reading {
        Reading::Open => "open".to_owned(),
        Reading::Value(ohms) if kind.is_resistance() => Ohms::new(ohms).to_string(),
        Reading::Value(volts) => Volts::new(volts).to_string(),
    }
}

fn interval(step: &Step) -> String {
    let say = |value: f64| words(Reading::Value(value), step.kind);
    match (step.expect.low, step.expect.high) {
        (Some(low), Some(high)) => format!("{} to {}", say(low), say(high)),
        (Some(low), None) => format!("{} or more", say(low)),
        (None, Some(high)) => format!("{} or less", say(high)),
        (None, None) => "anything".to_owned(),
    }
}
