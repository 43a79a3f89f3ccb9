//! What is worked out from the healthy solution must agree with solving the changed machine.
//!
//! The machines are made from seeds (see `support/machine.rs`); a failure names the seed and the change.

#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    reason = "helpers of tests fail by panicking, and figures are printed"
)]

#[path = "support/machine.rs"]
mod machine;

use ringout::circuit::{Change, Corner, Lean, solve_rounds};
use ringout::definition::{Harness, Kind, load};
use ringout::measure::{Prediction, Situation, Ways};
use ringout::netlist::Netlist;
use ringout::setup::{Isolated, Setup, switches};
use ringout::units::Ohms;

fn made(seed: u64) -> Harness {
    let text = machine::random(seed, 25);
    match load("made.toml", text, None, &mut |path: &str| Err(format!("{path} is not there"))) {
        Ok(loaded) => loaded.harness,
        Err(rejected) => panic!("{:?}", rejected.diagnostics.first().map(|d| &d.message)),
    }
}

/// Setups of a machine: at rest, with a plug off, with a switch moved.
fn setups(harness: &Harness, rng: &mut machine::Rng) -> [Isolated; 3] {
    let rest = Isolated::at_rest();
    let matings: Vec<_> = harness.matings.ids().collect();
    let parted = if matings.is_empty() { rest.clone() } else { rest.clone().part(rng.pick(&matings)) };
    let all: Vec<_> = switches(harness).collect();
    let moved = all
        .iter()
        .fold(parted.clone(), |setup, (switch, count, _)| setup.set(harness, *switch, rng.below(*count)));
    [rest, parted, moved]
}

fn changes(harness: &Harness, netlist: &Netlist, rng: &mut machine::Rng) -> Vec<Change> {
    let mut all: Vec<Change> = netlist.links().map(Change::Open).collect();
    all.extend(netlist.links().map(|link| Change::Added(link, Ohms::new(20.0))));
    for _ in 0..40 {
        let [a, b] = [(); 2].map(|()| rng.below(harness.point_count()));
        all.extend((a != b).then_some(Change::Joined(a, b, Ohms::new(0.05))));
    }
    all
}

#[test]
fn a_patched_live_machine_reads_as_a_solved_one() {
    let (mut patched, mut machines) = (0, 0);
    for seed in 0..25 {
        let harness = made(seed);
        let netlist = Netlist::new(&harness);
        let mut rng = machine::Rng::new(seed);
        for setup in setups(&harness, &mut rng).map(|setup| Setup::from(setup.connect())) {
            let Ok(situation) = Situation::new(&harness, &netlist, &setup) else { continue };
            machines += 1;
            let points: Vec<_> = harness.points().collect();
            let probes: Vec<_> = (0..30).map(|_| [rng.pick(&points), rng.pick(&points)]).collect();
            for change in changes(&harness, &netlist, &mut rng) {
                let Some(patch) = situation.patch(change) else { continue };
                patched += 1;
                let rounds =
                    solve_rounds(&harness, &netlist, &setup, &[change], Corner::Nominal, Lean::Exact)
                        .unwrap();
                let [full] = &rounds[..] else {
                    panic!("seed {seed}: {change:?} never settles, yet it was patched")
                };
                for [red, black] in &probes {
                    let Ok(m) = situation.measure(Kind::Voltage, *red, *black) else { continue };
                    let (Prediction::Volts(a), Prediction::Volts(b)) =
                        (situation.read_patched(&patch, &m), situation.read(full, &m))
                    else {
                        panic!("volts are read")
                    };
                    assert!(
                        (a - b).abs() < 1e-4,
                        "seed {seed}, {}, {change:?}, {}: {a} {b}",
                        setup.words(&harness),
                        m.words(&harness)
                    );
                }
            }
        }
    }
    assert!(patched > 1000 && machines > 40, "{patched} {machines}");
}

#[test]
fn readings_without_power_are_those_of_a_solved_machine() {
    let mut compared = 0;
    for seed in 0..25 {
        let harness = made(seed);
        let netlist = Netlist::new(&harness);
        let mut rng = machine::Rng::new(seed);
        for setup in setups(&harness, &mut rng).map(Setup::from) {
            let situation = Situation::new(&harness, &netlist, &setup).unwrap();
            let points: Vec<_> = harness.points().collect();
            let probes: Vec<_> = (0..20).map(|_| [rng.pick(&points), rng.pick(&points)]).collect();
            let measurements: Vec<_> =
                probes.iter().filter_map(|[a, b]| situation.measure(Kind::Continuity, *a, *b).ok()).collect();
            for change in changes(&harness, &netlist, &mut rng) {
                let rounds = situation.solve(&[change]);
                let through = situation.solve_through_units(&[change]);
                for m in &measurements {
                    let of = |ways: &mut Ways<'_>| {
                        let between = ways.between(m);
                        match change {
                            Change::Open(link) => ways.open(between.as_ref(), link),
                            Change::Added(link, ohms) => ways.added(between.as_ref(), link, ohms),
                            Change::Joined(a, b, ohms) => ways.joined(m, [a, b], ohms),
                            _ => Ways::unchanged(between.as_ref()),
                        }
                    };
                    agree(of(&mut situation.ways()), situation.read(&rounds[0], m), seed, change);
                    if let (Some(mut ways), Some(through)) = (situation.ways_through_units(), &through) {
                        agree(of(&mut ways), situation.read(through, m), seed, change);
                    }
                    compared += 1;
                }
            }
        }
    }
    assert!(compared > 5000, "{compared}");
}

fn agree(a: Prediction, b: Prediction, seed: u64, change: Change) {
    match (a, b) {
        (Prediction::Open, Prediction::Open) => {}
        (Prediction::Ohms(a), Prediction::Ohms(b)) => {
            assert!((a - b).abs() <= 1e-6 * a.abs().max(1.0), "seed {seed}, {change:?}: {a} {b}");
        }
        _ => panic!("seed {seed}, {change:?}: {a:?} {b:?}"),
    }
}
