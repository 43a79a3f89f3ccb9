//! What a plan claims to show, it shows; what it says is hidden, is; and what it says would uncover it, does.
//!
//! The other side solves every faulty machine anew, with nothing taken over from the healthy one, and reads
//! it as the step reads it. The machines are made from seeds, and the orchard sprayer is among them.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]

#[path = "support/machine.rs"]
mod machine;
#[path = "support/mod.rs"]
mod support;
#[path = "support/threads.rs"]
mod threads;

use std::collections::{BTreeMap, BTreeSet};

use machine::made;
use ringout::circuit::{Bundle, Change, Corner, Felt, Lean, Operating, solve_rounds};
use ringout::definition::{Harness, Kind, PartId, Point, load};
use ringout::fault::{Fault, Universe};
use ringout::measure::{Measurement, Meter, Prediction, Situation};
use ringout::netlist::Netlist;
use ringout::netlist::resistance::{Seen, range};
use ringout::plan::{Aids, Hands, Meters, OneByOne, Plan, Scope, Step, Uncover, plan, plan_by};
use ringout::setup::{Isolated, Power, Setup};
use ringout::sheet;
use ringout::units::Ohms;

/// A machine with everything it takes to put a fault into it.
struct Bench<'a> {
    harness: &'a Harness,
    netlist: &'a Netlist,
    universe: Universe,
}

impl Bench<'_> {
    /// What a reading shows with a fault: one prediction, or one for each round of a machine that buzzes.
    fn reads(&self, measurement: &Measurement, fault: Fault) -> Vec<Prediction> {
        let changes = self.universe.changes(self.harness, self.netlist, fault);
        let setup = measurement.setup();
        let rounds =
            solve_rounds(self.harness, self.netlist, setup, &changes, Corner::Nominal, Lean::Exact).unwrap();
        let [red, black] =
            [measurement.red(), measurement.black()].map(|point| self.harness.point_index(point));
        let read = |o: &Operating| {
            if measurement.kind().is_resistance() {
                o.resistance(red, black).map_or(Prediction::Open, |ohms| Prediction::Ohms(ohms.get()))
            } else {
                Prediction::Volts(o.voltmeter(red, black).get())
            }
        };
        rounds.iter().map(read).collect()
    }

    /// Whether a reading shows a fault for sure.
    fn shows(&self, situation: &Situation<'_>, measurement: &Measurement, fault: Fault) -> bool {
        let expect = situation.expect(measurement, &Meter::HANDHELD);
        let out = |reading: &Prediction| expect.excludes(*reading, measurement.kind(), &Meter::HANDHELD);
        self.reads(measurement, fault).iter().all(out)
    }
}

/// Every claim, or one in so many.
fn claims(bench: &Bench<'_>, plan: &Plan, one_in: usize) -> usize {
    let mut claims = 0;
    for phase in &plan.phases {
        let situation = Situation::new(bench.harness, bench.netlist, &phase.setup).unwrap();
        for step in &phase.steps {
            for fault in &step.covers {
                claims += 1;
                if claims % one_in == 0 {
                    let shows = bench.shows(&situation, &step.measurement, *fault);
                    assert!(
                        shows,
                        "{}: {} does not show {}",
                        step.id,
                        step.measurement.words(bench.harness),
                        fault.id(bench.harness)
                    );
                }
            }
        }
    }
    claims
}

/// Every remedy that is a reading: the machine is put into that setup, and the reading is taken.
fn remedies(bench: &Bench<'_>, plan: &Plan) -> usize {
    let isolated = plan.phases.iter().rev().filter(|phase| phase.setup.power() == Power::Isolated);
    let Some(paths) = isolated.max_by_key(|phase| phase.setup.parted().len()) else { return 0 };
    let mut taken = 0;
    for (fault, hidden) in &plan.coverage.undetected {
        let (plugged, points) = match &hidden.uncover {
            Some(Uncover::Mate(mating, points)) => (Some(*mating), points),
            Some(Uncover::Read(points)) => (None, points),
            _ => continue,
        };
        let parted = paths.setup.parted().filter(|mating| Some(*mating) != plugged);
        let setup = Setup::from(parted.fold(Isolated::at_rest(), Isolated::part));
        let situation = Situation::new(bench.harness, bench.netlist, &setup).unwrap();
        let kind = match fault {
            Fault::Short(..) | Fault::ToChassis(_) | Fault::Crossed(..) => Kind::Isolation,
            _ => Kind::Continuity,
        };
        let words = || {
            format!("{}: {}", fault.id(bench.harness), hidden.uncover.as_ref().unwrap().words(bench.harness))
        };
        let measurement =
            situation.measure(kind, points[0], points[1]).unwrap_or_else(|e| panic!("{}: {e}", words()));
        let seen = || {
            format!(
                "{:?} {:?}",
                situation.expect(&measurement, &Meter::HANDHELD),
                bench.reads(&measurement, *fault)
            )
        };
        assert!(bench.shows(&situation, &measurement, *fault), "{}: {}", words(), seen());
        taken += 1;
    }
    taken
}

fn check(harness: &Harness, one_in: usize) -> [usize; 3] {
    let netlist = Netlist::new(harness);
    let bench = Bench { harness, netlist: &netlist, universe: Universe::new(harness, &netlist) };
    let Ok(plan) = plan(harness, &netlist, &Scope::default(), Meter::HANDHELD) else { return [0; 3] };
    let shown: BTreeSet<Fault> = plan.steps().flat_map(|step| step.covers.iter().copied()).collect();
    for (fault, _) in &plan.coverage.undetected {
        assert!(!shown.contains(fault), "{} is both shown and hidden", fault.id(harness));
    }
    [claims(&bench, &plan, one_in), remedies(&bench, &plan), plan.coverage.undetected.len()]
}

#[test]
fn what_a_plan_claims_is_so_and_what_it_advises_helps() {
    let mut sum = [0; 3];
    for seed in 0..30 {
        let found = check(&made(seed, 30), 3);
        sum.iter_mut().zip(found).for_each(|(sum, found)| *sum += found);
    }
    let [claims, remedies, hidden] = sum;
    assert!(claims > 3000 && remedies > 20 && hidden > 300, "{claims} {remedies} {hidden}");
}

#[test]
fn the_sprayers_plan_keeps_its_word() {
    let [claims, remedies, hidden] = check(&support::harness("orchard-sprayer.toml"), 7);
    assert!(claims > 1000 && remedies > 50 && hidden > 50, "{claims} {remedies} {hidden}");
}

/// What is inside a connected unit is not known, and what is exchanged keeps the resistance of its wires: a claim
/// without power must hold with any inside between the least that is assumed, 50 ohm, and no connection at all, and
/// with each of the two figures of an exchange.
fn stands(bench: &Bench<'_>, situation: &Situation<'_>, step: &Step, fault: Fault) -> bool {
    let changes = bench.universe.changes(bench.harness, bench.netlist, fault);
    let mut ways = vec![changes.clone()];
    if let &[
        a @ Change::Open(first),
        b @ Change::Open(second),
        Change::Joined(u, v, _),
        Change::Joined(x, y, _),
    ] = &changes[..]
    {
        let own = |link| range(bench.netlist, bench.harness, link, Seen::Cold).nominal;
        ways.push(vec![a, b, Change::Joined(u, v, own(second)), Change::Joined(x, y, own(first))]);
    }
    let units = joined_inside(bench.harness, situation);
    let out = |changes: &[Change], inside: Option<f64>| {
        let join = |ohms: f64| units.iter().map(move |[a, b]| Change::Joined(*a, *b, Ohms::new(ohms)));
        let all: Vec<Change> = inside.into_iter().flat_map(join).chain(changes.iter().copied()).collect();
        let (harness, netlist, setup) = (bench.harness, bench.netlist, &situation.setup);
        let rounds = solve_rounds(harness, netlist, setup, &all, Corner::Nominal, Lean::Exact);
        let reading = situation.read(&rounds.unwrap()[0], &step.measurement);
        step.expect.excludes(reading, step.measurement.kind(), &step.expect.meter)
    };
    let insides = [None, Some(50.0), Some(200.0), Some(1e3), Some(1e4), Some(1e5), Some(1e7)];
    ways.iter().all(|changes| insides.iter().all(|inside| out(changes, *inside)))
}

/// The nodes of each connected unit, every one with its first.
fn joined_inside(harness: &Harness, situation: &Situation<'_>) -> Vec<[usize; 2]> {
    let mut units: BTreeMap<PartId, Vec<usize>> = BTreeMap::new();
    for (id, contact) in harness.contacts.iter() {
        let connector = &harness.connectors[contact.connector];
        let connected = connector.mating.is_none_or(|mating| !situation.setup.is_parted(mating));
        if let Some(unit) = harness.unit_behind(Point::Contact(id)).filter(|_| connected) {
            units.entry(unit).or_default().push(harness.point_index(Point::Contact(id)));
        }
    }
    let star = |nodes: Vec<usize>| nodes[1..].iter().map(|node| [nodes[0], *node]).collect::<Vec<_>>();
    units.into_values().flat_map(star).collect()
}

#[test]
fn claims_stand_whatever_a_unit_has_inside_and_with_either_figure_of_an_exchange() {
    let harness = support::harness("orchard-sprayer.toml");
    let netlist = Netlist::new(&harness);
    let bench = Bench { harness: &harness, netlist: &netlist, universe: Universe::new(&harness, &netlist) };
    let matings =
        ["P1", "P2", "P3"].map(|id| harness.connectors[harness.names.connector(id).unwrap()].mating);
    let sweep = Scope { unplug: matings.into_iter().flatten().collect(), ..Scope::default() };
    let meters: Meters = [Meter::HANDHELD, Meter::FOUR_WIRE].into_iter().collect();
    let (mut claims, mut exchanged, mut through) = (0, 0, 0);
    for (scope, meters) in
        [(&sweep, Meters::default()), (&sweep, meters.clone()), (&Scope::default(), meters)]
    {
        let plan = plan(&harness, &netlist, scope, meters).unwrap();
        for phase in plan.phases.iter().filter(|phase| phase.setup.power() == Power::Isolated) {
            let situation = Situation::new(&harness, &netlist, &phase.setup).unwrap();
            let units = !joined_inside(&harness, &situation).is_empty();
            for (step, fault) in phase.steps.iter().flat_map(|s| s.covers.iter().map(move |f| (s, *f))) {
                let crossed = matches!(fault, Fault::Crossed(..));
                // Every exchange, and of the others one in so many.
                claims += 1;
                if !crossed && claims % 11 != 0 {
                    continue;
                }
                exchanged += usize::from(crossed);
                through += usize::from(units);
                let words = || format!("{} {}", step.measurement.words(&harness), fault.id(&harness));
                assert!(stands(&bench, &situation, step, fault), "{}: {}", step.id, words());
            }
        }
    }
    assert!(exchanged > 100 && through > 100, "{exchanged} {through}");
}

/// A definition's own weights are ratios to the usual ones: a splice said to be ten times as likely weighs ten
/// times as much, and nothing else changes.
#[test]
fn a_definition_can_weigh_its_faults() {
    let weights = |more: &str| -> Vec<(String, f64)> {
        let read =
            |path: &str| std::fs::read_to_string(format!("harnesses/{path}")).map_err(|e| e.to_string());
        let path = "orchard-sprayer.toml";
        let text = format!("{}\n{more}", read(path).unwrap());
        let harness = load(path, text, None, &mut |path: &str| read(path)).unwrap().harness;
        let universe = Universe::new(&harness, &Netlist::new(&harness));
        universe.iter().map(|(fault, weight)| (fault.id(&harness), weight)).collect()
    };
    let usual = weights("");
    let changed = weights("[prior]\nfuse-open = 1.5\n[prior.times]\nSP3 = 10\n");
    let mut seen = [0; 2];
    for ((fault, before), (same, after)) in usual.iter().zip(&changed) {
        assert_eq!(fault, same);
        let splice = fault.starts_with("SP3>");
        let fuse = fault.starts_with('F') && fault.ends_with(":open") && !fault.contains(['/', '.', '@']);
        let expected = if splice {
            before * 10.0
        } else if fuse {
            before * 1.5 / 6.0
        } else {
            *before
        };
        assert!((after - expected).abs() < 1e-12, "{fault}: {before} {after}");
        seen[0] += usize::from(splice);
        seen[1] += usize::from(fuse);
    }
    assert!(seen[0] >= 4 && seen[1] >= 5, "{seen:?}");
}

/// Readings that a change is not felt in stay as they are, and where it is felt the short way gives what the long one
/// gives: for every change of made machines and readings between points taken at random.
#[test]
fn a_change_is_felt_where_it_moves_a_reading() {
    let (mut felt_in, mut spared, mut opened) = (0, 0, 0);
    for seed in 0..12 {
        let harness = made(seed, 30);
        let netlist = Netlist::new(&harness);
        let universe = Universe::new(&harness, &netlist);
        let Ok(situation) = Situation::new(&harness, &netlist, &Isolated::at_rest().into()) else { continue };
        let healthy = situation.healthy();
        let count = netlist.point_count();
        let pairs = (0..60).map(|nth| [nth * 7919 % count, (nth * 104_729 + 13) % count]);
        let pairs: Vec<[usize; 2]> =
            pairs.filter(|[a, b]| a != b && healthy.island(*a) == healthy.island(*b)).collect();
        let bundle = Bundle::new(healthy, pairs.iter().map(|[a, b]| healthy.way(*a, *b)).collect());
        let mut felt = Felt::default();
        for (changes, _) in universe.by_change(&harness, &netlist) {
            for solved in situation.solve(changes).iter().filter(|solved| solved.differs_along().is_some()) {
                bundle.felt(solved, &mut felt);
                let mut by_short_way: BTreeMap<usize, Option<f64>> = BTreeMap::new();
                for (at, transfers) in felt.iter() {
                    let ohms = bundle.resistance_felt(solved, at, transfers).map(Ohms::get);
                    by_short_way.insert(at, ohms);
                }
                for (at, way) in bundle.ways().iter().enumerate() {
                    let [a, b] = way.ends();
                    // Found anew, with nothing kept from the bundle.
                    let now = solved.resistance(a, b).map(Ohms::get);
                    let before = healthy.resistance(a, b).map(Ohms::get);
                    let short = by_short_way.get(&at).copied().unwrap_or(before);
                    match (short, now) {
                        (None, None) => opened += 1,
                        (Some(short), Some(now)) => {
                            let close = (short - now).abs() <= 1e-9 * now.abs().max(1e-6);
                            assert!(close, "{seed}: {changes:?}: {short} {now}");
                        }
                        other => panic!("{seed}: {changes:?}: {other:?}"),
                    }
                    felt_in += usize::from(by_short_way.contains_key(&at));
                    spared += usize::from(!by_short_way.contains_key(&at));
                }
            }
        }
    }
    assert!(felt_in > 1_000 && spared > 10_000 && opened > 500, "{felt_in} {spared} {opened}");
}

/// A plan does not depend on how many make it.
#[test]
fn many_hands_make_the_same_plan() {
    let mut all: Vec<Harness> = (0..8).map(|seed| made(seed, 30)).collect();
    all.push(support::harness("orchard-sprayer.toml"));
    for harness in &all {
        let netlist = &Netlist::new(harness);
        let json = |hands: &dyn Hands| {
            let plan = plan_by(hands, harness, netlist, &Scope::default(), Meter::HANDHELD, Aids::default());
            plan.ok().map(|plan| serde_json::to_string(&sheet::plan_view_by(hands, harness, &plan)).unwrap())
        };
        let alone = json(&OneByOne);
        assert_eq!(alone, json(&threads::Threads), "{}", harness.about.id);
    }
}
