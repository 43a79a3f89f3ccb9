//! What every single fault makes of every reading: by low-rank changes of the healthy machine, by factoring
//! each faulty machine anew, and by ngspice, a general-purpose circuit simulator.
//!
//! Run with `cargo bench --bench faults`. Aim, on one core of an ordinary computer: all single faults of a
//! machine of 1,000 wires against all steps of its plan in under a second. ngspice is left out where it is
//! not installed.

#[path = "../tests/support/machine.rs"]
mod machine;
#[path = "../tests/support/spice.rs"]
mod spice;

use std::hint::black_box;
use std::time::{Duration, Instant};

use ringout::circuit::{Change, Corner, Lean, Operating, solve_rounds, spice as decks};
use ringout::definition::{Harness, Kind, load};
use ringout::fault::Universe;
use ringout::measure::{Measurement, Meter, Situation};
use ringout::netlist::Netlist;
use ringout::plan::{Scope, plan};
use ringout::setup::{Connected, Setup};

const WIRES: usize = 1_000;
/// Of the slower ways so many faults are timed, spread over all of them.
const SAMPLE: usize = 100;
/// Points that are read against the chassis with power connected.
const READ: usize = 200;

fn main() {
    let harness = harness(machine::large(WIRES));
    let netlist = Netlist::new(&harness);
    let universe = Universe::new(&harness, &netlist);
    let changes: Vec<Vec<Change>> =
        universe.by_change(&harness, &netlist).iter().map(|(changes, _)| changes.clone()).collect();
    report(&format!(
        "{} wires, {} links, {} single faults, {} distinct changes",
        harness.wires.len(),
        netlist.links().len(),
        universe.len(),
        changes.len()
    ));
    whole_plan(&harness, &netlist);
    let plan = plan(&harness, &netlist, &Scope::default(), Meter::HANDHELD).expect("the machine settles");
    let most = plan.phases.iter().max_by_key(|phase| phase.steps.len()).expect("a plan has phases");
    let steps: Vec<Measurement> = most.steps.iter().map(|step| step.measurement.clone()).collect();
    report("\nwith power off, everything unplugged, every step of the plan's largest phase:");
    compare(&harness, &netlist, &most.setup, &steps, &changes);
    let live: Setup = Connected::as_found().into();
    let situation = Situation::new(&harness, &netlist, &live).expect("the machine settles");
    let points: Vec<_> = harness.points().collect();
    let chassis = points[points.len() - 1];
    let spread = points.iter().step_by(points.len().div_ceil(READ * 4));
    let reads: Vec<Measurement> = spread
        .filter_map(|point| situation.measure(Kind::Voltage, *point, chassis).ok())
        .take(READ)
        .collect();
    report("\nwith power connected, all mated, voltages at points all over the machine:");
    compare(&harness, &netlist, &live, &reads, &changes);
}

#[expect(clippy::print_stderr, reason = "a benchmark reports to the person who runs it")]
fn report(line: &str) {
    eprintln!("{line}");
}

fn harness(text: String) -> Harness {
    let none = &mut |path: &str| Err(format!("{path} is not there"));
    load("large.toml", text, None, none).expect("the made machine loads").harness
}

/// The median of a few runs.
fn timed(mut run: impl FnMut()) -> Duration {
    let mut times: Vec<Duration> = (0..5)
        .map(|_| {
            let start = Instant::now();
            run();
            start.elapsed()
        })
        .collect();
    times.sort_unstable();
    times[times.len() / 2]
}

/// The plan as a user asks for it, coverage of every fault by every step included.
fn whole_plan(harness: &Harness, netlist: &Netlist) {
    let mut figures = (0, 0, 0);
    let time = timed(|| {
        let plan = plan(harness, netlist, &Scope::default(), Meter::HANDHELD).expect("the machine settles");
        figures = (plan.steps().count(), plan.coverage.faults, plan.coverage.detected);
    });
    let (steps, faults, detected) = figures;
    report(&format!(
        "whole plan: {steps} steps, {detected} of {faults} faults shown for sure, in {time:.2?} \
         ({faults} faults x {steps} steps)"
    ));
}

fn compare(
    harness: &Harness,
    netlist: &Netlist,
    setup: &Setup,
    reads: &[Measurement],
    changes: &[Vec<Change>],
) {
    let situation = Situation::new(harness, netlist, setup).expect("the machine settles");
    let ways: Vec<_> = reads.iter().map(|m| situation.way(situation.healthy(), m)).collect();
    let kinds: Vec<Kind> = reads.iter().map(Measurement::kind).collect();
    // A reading whose probes lie in islands that a change does not touch is the healthy one.
    let islands: Vec<u32> =
        reads.iter().map(|m| situation.healthy().island(situation.node(m.red()))).collect();
    let read =
        |machine: &Operating, at: usize| black_box(situation.read_along(machine, &ways[at], kinds[at]));
    let low_rank = timed(|| {
        for changes in changes {
            let touched: Vec<u32> = changes
                .iter()
                .flat_map(|c| c.nodes(netlist))
                .map(|n| situation.healthy().island(n))
                .collect();
            for machine in situation.solve(changes) {
                (0..reads.len()).filter(|at| touched.contains(&islands[*at])).for_each(|at| {
                    read(&machine, at);
                });
            }
        }
    });
    let each = low_rank / changes.len() as u32;
    report(&format!(
        "  low-rank changes: {} changes x {} readings in {low_rank:.2?}, {each:.2?} a change",
        changes.len(),
        reads.len()
    ));
    let sample: Vec<&Vec<Change>> = changes.iter().step_by(changes.len().div_ceil(SAMPLE)).collect();
    let anew = timed(|| {
        for changes in &sample {
            let rounds = solve_rounds(harness, netlist, setup, changes, Corner::Nominal, Lean::Exact);
            for machine in rounds.expect("assembled networks are whole") {
                (0..reads.len()).step_by(50).for_each(|at| {
                    black_box(situation.read(&machine, &reads[at]));
                });
            }
        }
    }) / sample.len() as u32;
    report(&format!("  factored anew: {anew:.2?} a change, {:.0} times as long", ratio(anew, each)));
    if !spice::is_there() {
        return;
    }
    let decks: Vec<String> = sample
        .iter()
        .step_by(5)
        .filter_map(|changes| decks::deck(harness, netlist, setup, changes, "").ok())
        .map(|deck| deck.text())
        .collect();
    let start = Instant::now();
    for deck in &decks {
        black_box(spice::run(deck));
    }
    let outside = start.elapsed() / decks.len() as u32;
    report(&format!(
        "  ngspice, one run each: {outside:.2?} a change, {:.0} times as long",
        ratio(outside, each)
    ));
}

fn ratio(slow: Duration, fast: Duration) -> f64 {
    slow.as_secs_f64() / fast.as_secs_f64()
}
