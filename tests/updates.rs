//! A changed machine worked out from the healthy one's factor must be the machine that is solved anew.
//!
//! The other side factors every changed machine from nothing; it is held against a dense solver and an
//! outside simulator elsewhere. The machines are made from seeds (see `support/machine.rs`); a failure names
//! the seed and the change.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]

#[path = "support/machine.rs"]
mod machine;

use std::collections::{BTreeMap, HashSet};
use std::mem::{Discriminant, discriminant};

use machine::made;
use ringout::circuit::{Change, Corner, Lean, Operating, Trail, solve_rounds};
use ringout::definition::{Harness, Point};
use ringout::fault::{Fault, Universe};
use ringout::netlist::Netlist;
use ringout::setup::{Isolated, Place, Setup, Strap, switches};
use ringout::units::Ohms;

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

/// All plugs off, and at every place two straps over what lies open: every other point in each.
fn strapped(harness: &Harness) -> Setup {
    let bare: Setup = harness.matings.ids().fold(Isolated::at_rest(), Isolated::part).into();
    let mut places: BTreeMap<Place, Vec<Point>> = BTreeMap::new();
    for point in harness.points().filter(|point| bare.takes_clip(harness, *point)) {
        if let Some(place) = Place::of(harness, point) {
            places.entry(place).or_default().push(point);
        }
    }
    let mut setup = bare;
    for (points, from) in places.values().flat_map(|points| [(points, 0), (points, 1)]) {
        if let Ok(strap) = Strap::new(harness, points.iter().copied().skip(from).step_by(2)) {
            setup = setup.fit(harness, strap).unwrap();
        }
    }
    setup
}

/// Every fault of a machine, joins of any two points, and pairs of all these.
fn changes(harness: &Harness, netlist: &Netlist, rng: &mut machine::Rng) -> Vec<Vec<Change>> {
    let universe = Universe::new(harness, netlist);
    let mut all: Vec<Vec<Change>> =
        universe.iter().map(|(fault, _)| universe.changes(harness, netlist, fault)).collect();
    for _ in 0..30 {
        let [a, b] = [(); 2].map(|()| rng.below(harness.point_count()));
        all.extend((a != b).then(|| vec![Change::Joined(a, b, Ohms::new(0.05))]));
    }
    for _ in 0..60 {
        let [a, b] = [(); 2].map(|()| rng.below(all.len()));
        all.push([&all[a][..], &all[b][..]].concat());
    }
    all
}

/// What the two sides were compared on.
#[derive(Default)]
struct Seen {
    machines: usize,
    compared: usize,
    loops: usize,
    parted: usize,
    joined: usize,
    switched: usize,
    straps: usize,
}

#[test]
fn a_changed_machine_is_the_one_that_is_solved_anew() {
    let mut seen = Seen::default();
    for seed in 0..25 {
        let harness = made(seed, 25);
        let netlist = Netlist::new(&harness);
        let mut rng = machine::Rng::new(seed);
        let mut setups: Vec<Setup> = setups(&harness, &mut rng)
            .into_iter()
            .flat_map(|isolated| [isolated.clone().into(), isolated.connect().into()])
            .collect();
        setups.push(strapped(&harness));
        seen.straps += setups.iter().map(|setup| setup.straps().count()).sum::<usize>();
        for setup in setups {
            let Ok(trail) = Trail::new(&harness, &netlist, &setup) else { continue };
            seen.machines += 1;
            let probes: Vec<[usize; 2]> =
                (0..25).map(|_| [(); 2].map(|()| rng.below(harness.point_count()))).collect();
            for changes in changes(&harness, &netlist, &mut rng) {
                let words = || format!("seed {seed}, {}, {changes:?}", setup.words(&harness));
                let quick = trail.solve(&harness, &netlist, &setup, &changes, Lean::Exact).unwrap();
                let full =
                    solve_rounds(&harness, &netlist, &setup, &changes, Corner::Nominal, Lean::Exact).unwrap();
                assert_eq!(quick.len(), full.len(), "{}", words());
                seen.loops += usize::from(full.len() > 1);
                for (quick, full) in quick.iter().zip(&full) {
                    compare(&harness, [quick, full], trail.steady(), &probes, &mut seen, &words);
                }
            }
        }
    }
    let Seen { machines, compared, loops, parted, joined, switched, straps } = seen;
    assert!(straps > 100, "{straps}");
    // Every kind of case came up: sides parted, islands joined, things switched, machines that buzz.
    assert!(machines > 100 && compared > 100_000, "{machines} {compared}");
    assert!(
        loops > 10 && parted > 1000 && joined > 1000 && switched > 500,
        "{loops} {parted} {joined} {switched}"
    );
}

fn compare(
    harness: &Harness,
    [quick, full]: [&Operating; 2],
    healthy: &Operating,
    probes: &[[usize; 2]],
    seen: &mut Seen,
    words: &dyn Fn() -> String,
) {
    assert_eq!(quick.states(), full.states(), "{}", words());
    seen.switched += usize::from(quick.states() != healthy.states());
    for [a, b] in probes {
        let at = || {
            let points: Vec<_> = harness.points().collect();
            format!("{}: {} {}", words(), harness.point_name(points[*a]), harness.point_name(points[*b]))
        };
        assert_eq!(quick.joined(*a, *b), full.joined(*a, *b), "{}", at());
        seen.parted += usize::from(healthy.joined(*a, *b) && !full.joined(*a, *b));
        seen.joined += usize::from(!healthy.joined(*a, *b) && full.joined(*a, *b));
        let [volts, other] = [quick, full].map(|o| o.volts_between(*a, *b));
        assert!((volts - other).abs() <= 1e-6 + 1e-6 * other.abs(), "{}: {volts} V, {other} V", at());
        let [volts, other] = [quick, full].map(|o| o.voltmeter(*a, *b).get());
        assert!((volts - other).abs() <= 1e-6 + 1e-6 * other.abs(), "{}: {volts} V, {other} V", at());
        match [quick, full].map(|o| o.resistance(*a, *b).map(Ohms::get)) {
            [None, None] => {}
            [Some(ohms), Some(other)] => {
                assert!((ohms - other).abs() <= 1e-7 + 1e-6 * other, "{}: {ohms} ohm, {other} ohm", at());
            }
            other => panic!("{}: {other:?}", at()),
        }
        seen.compared += 1;
    }
}

/// Every kind of fault is among the changes above, so that none is proven by not being there.
#[test]
fn made_machines_have_every_kind_of_fault() {
    let mut kinds: HashSet<Discriminant<Fault>> = HashSet::new();
    for seed in 0..25 {
        let harness = made(seed, 25);
        let universe = Universe::new(&harness, &Netlist::new(&harness));
        kinds.extend(universe.iter().map(|(fault, _)| discriminant(&fault)));
    }
    assert_eq!(kinds.len(), 11, "{kinds:?}");
}
