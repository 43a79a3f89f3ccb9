//! Plans replayed by a bystander: every phase, change by change, from the machine as found.
//!
//! The rules are those of the trade: ohms and isolation with power isolated only; nothing mated or
//! parted under power; battery negative off first and on last (AC 43.13-1B and any vehicle manual);
//! live exposed contacts listed; no megohm test into electronics; the machine left as found. The bystander
//! is the library's own check of plans, which shares neither states nor solver nor faults with the planner;
//! that it finds what is wrong is shown in `plan_check.rs`. What is asked here beyond it is whether a plan is
//! a good one. Machines are made from seeds; a failure names the seed.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
#![allow(clippy::print_stderr, reason = "a failing seed has to be named")]

#[path = "support/machine.rs"]
mod machine;
#[path = "support/planned.rs"]
mod planned;
#[path = "support/mod.rs"]
mod support;

use std::collections::{BTreeMap, BTreeSet};

use machine::Rng;
use planned::{
    aided, aids, complained, good, json, keeps, lines, list, made, plan_of, planned, planned_for, report,
    staged, targets, text, tidy,
};
use ringout::definition::{Harness, MatingId, PartKind, load};
use ringout::measure::{METERS, Meter};
use ringout::netlist::Netlist;
use ringout::plan::complaint::Depth;
use ringout::plan::{self, Aids, Meters, Plan, Scope};
use ringout::sheet;

/// Checks a plan; says whether there was one.
fn check(harness: &Harness, scope: &Scope) -> bool {
    check_for(harness, scope, &Meters::default())
}

/// Checks a plan for other meters at hand.
fn check_for(harness: &Harness, scope: &Scope, meters: &Meters) -> bool {
    let Some(plan) = plan_of(harness, scope, meters) else { return false };
    let (_, found) = keeps(harness, &plan);
    let whole = scope.unplug.is_empty() && scope.circuit.is_none();
    assert!(!whole || found.remarks.is_empty(), "{:?}", found.remarks);
    good(harness, scope, &plan);
    true
}

fn batteries(harness: &Harness) -> usize {
    harness.parts.values().filter(|part| matches!(part.kind, PartKind::Battery { .. })).count()
}

/// The whole machine, some plugs, or one circuit.
fn some_scope(harness: &Harness, rng: &mut Rng) -> Scope {
    match rng.below(3) {
        0 => Scope::default(),
        1 => some_plugs(harness, rng),
        _ => some_circuit(harness, rng),
    }
}

fn some_plugs(harness: &Harness, rng: &mut Rng) -> Scope {
    Scope { unplug: harness.matings.ids().filter(|_| rng.chance(30)).collect(), circuit: None }
}

fn some_circuit(harness: &Harness, rng: &mut Rng) -> Scope {
    let circuits: Vec<&String> = harness.wires.values().filter_map(|w| w.circuit.as_ref()).collect();
    Scope { unplug: Vec::new(), circuit: Some(circuits[rng.below(circuits.len())].clone()) }
}

/// Checks machines of some seeds; nearly all must have a plan at all.
fn check_made(seeds: std::ops::Range<u64>, most_wires: usize) {
    let mut without = 0;
    let all = seeds.end - seeds.start;
    for seed in seeds {
        let mut rng = Rng::new(seed ^ 0x0bad_5eed);
        let harness = made(seed, rng.between(4, most_wires));
        let scope = some_scope(&harness, &mut rng);
        let outcome = std::panic::catch_unwind(|| check(&harness, &scope));
        match outcome {
            Ok(planned) => without += u64::from(!planned),
            Err(panicked) => {
                eprintln!("seed {seed}, {scope:?}");
                std::panic::resume_unwind(panicked);
            }
        }
    }
    assert!(without * 20 < all, "{without} of {all} machines never settle");
}

#[test]
fn plans_of_made_machines_keep_every_rule() {
    check_made(0..240, 30);
}

#[test]
#[ignore = "takes minutes"]
fn plans_of_many_and_larger_machines_keep_every_rule() {
    check_made(1000..4000, 60);
}

/// A kind of plan, and how it is made of a machine; nothing where the machine has none.
type Kinded = (&'static str, fn(&Harness, &mut Rng) -> Option<Plan>);

const KINDS: [Kinded; 6] = [
    ("whole", |harness, rng| plan_of(harness, &Scope::default(), &any_meters(rng))),
    ("plugs", |harness, rng| plan_of(harness, &some_plugs(harness, rng), &any_meters(rng))),
    ("circuit", |harness, rng| plan_of(harness, &some_circuit(harness, rng), &any_meters(rng))),
    ("aids", |harness, rng| {
        let scope = if rng.chance(30) { some_scope(harness, rng) } else { Scope::default() };
        aided(harness, &scope, &any_meters(rng), some_aids(rng))
    }),
    ("stages", |harness, rng| {
        let aids = if rng.chance(50) { some_aids(rng) } else { Aids::default() };
        staged(harness, &any_meters(rng), aids)
    }),
    ("complaint", |harness, rng| {
        let targets = targets(harness);
        let target = *targets.get(rng.below(targets.len().max(1)))?;
        complained(harness, target, if rng.chance(10) { Depth::THOROUGH } else { Depth::USUAL })
    }),
];

fn some_aids(rng: &mut Rng) -> Aids {
    aids(rng.pick(&[&["straps"][..], &["groupings"], &["loopback"], &["groupings", "loopback"]]))
}

/// Mostly a plain meter.
fn any_meters(rng: &mut Rng) -> Meters {
    if rng.chance(60) { Meters::default() } else { some_meters(rng.between(1, (1 << METERS.len()) - 1)) }
}

/// How a round over machines went.
#[derive(Default)]
struct Round {
    /// Plans by kind.
    plans: BTreeMap<&'static str, usize>,
    /// Machines without a plan of the kind: they never settle, or the part never works.
    without: usize,
    claims: usize,
    wrong: Vec<String>,
}

/// Plans and checks a machine for each seed, the kinds in turn.
fn round(seeds: std::ops::Range<u64>, most_wires: usize) -> Round {
    let mut round = Round::default();
    for seed in seeds {
        let (kind, make) = KINDS[(seed % KINDS.len() as u64) as usize];
        let mut rng = Rng::new(seed ^ 0x0dd_5eed);
        let wires = rng.between(4, most_wires);
        let outcome = std::panic::catch_unwind(|| {
            let harness = made(seed, wires);
            let mut rng = Rng::new(seed);
            let plan = make(&harness, &mut rng)?;
            tidy(&plan);
            Some(report(&harness, &json(&harness, &plan)))
        });
        match outcome {
            Ok(Some(found)) => {
                *round.plans.entry(kind).or_default() += 1;
                round.claims += found.claims.checked;
                if !found.is_kept() || found.claims.checked < found.claims.made {
                    round.wrong.push(format!("seed {seed}, {wires} wires, {kind}:\n{}", lines(&found)));
                }
            }
            Ok(None) => round.without += 1,
            Err(_) => round.wrong.push(format!("seed {seed}, {wires} wires, {kind}: it panicked")),
        }
    }
    round
}

/// Every kind of plan of machines of some seeds.
#[test]
fn every_kind_of_plan_of_made_machines_keeps_every_rule() {
    let round = round(0..300, 30);
    assert!(round.wrong.is_empty(), "{}", round.wrong.join("\n"));
    assert!(round.plans.len() == KINDS.len() && round.plans.values().all(|n| *n >= 30), "{:?}", round.plans);
}

/// Units that are left in carry some current beside wires that join two of their contacts: little, but a four-wire meter
/// shows it. Of 100,000 machines this was the only one that showed that it was not expected.
#[test]
fn what_units_carry_beside_wires_is_expected() {
    let round = round(6_085_951..6_085_952, 40);
    assert_eq!(round.plans.values().sum::<usize>(), 1);
    assert!(round.wrong.is_empty(), "{}", round.wrong.join("\n"));
}

/// The long round: 100,000 machines, or as many as `RINGOUT_MACHINES` says, from the seed that `RINGOUT_SEED` says.
#[test]
#[ignore = "takes hours; run with --release"]
fn a_hundred_thousand_machines_keep_every_rule() {
    let number = |name: &str| std::env::var(name).ok().and_then(|text| text.parse::<u64>().ok());
    let (first, count) = (number("RINGOUT_SEED").unwrap_or(0), number("RINGOUT_MACHINES").unwrap_or(100_000));
    let start = std::time::Instant::now();
    let round = round(first..first + count, 40);
    let rate = count as f64 / start.elapsed().as_secs_f64();
    println!(
        "{count} machines, {:?}, {} without a plan, {} claims, {rate:.1} machines a second",
        round.plans, round.without, round.claims
    );
    assert!(round.wrong.is_empty(), "{} of {count}:\n{}", round.wrong.len(), round.wrong.join("\n"));
}

/// The meters that the bits of a number name.
fn some_meters(bits: usize) -> Meters {
    METERS.into_iter().enumerate().filter(|(at, _)| bits >> at & 1 == 1).map(|(_, meter)| meter).collect()
}

/// Steps of a plan that name a meter.
fn steps_with(plan: &serde_json::Value, meter: &str) -> usize {
    let steps = list(&plan["phases"]).iter().flat_map(|phase| list(&phase["steps"]));
    steps.filter(|step| text(&step["meter"]) == meter).count()
}

#[test]
fn plans_of_made_machines_keep_every_rule_with_any_meters() {
    let mut used = [0; METERS.len()];
    for seed in 0..160 {
        let mut rng = Rng::new(seed ^ 0x00c0_ffee);
        let harness = made(seed, rng.between(4, 24));
        let scope = some_scope(&harness, &mut rng);
        let bits = rng.between(1, (1 << METERS.len()) - 1);
        let meters = some_meters(bits);
        let outcome = std::panic::catch_unwind(|| check_for(&harness, &scope, &meters));
        if let Err(panicked) = outcome {
            eprintln!("seed {seed}, {scope:?}, {}", meters.names());
            std::panic::resume_unwind(panicked);
        }
        let Some(plan) = planned_for(&harness, &scope, &meters) else { continue };
        for (count, meter) in used.iter_mut().zip(METERS) {
            *count += steps_with(&plan, meter.name);
        }
    }
    // The machines are such that every meter comes to its use.
    assert!(used.iter().all(|count| *count >= 50), "{used:?}");
}

#[test]
fn plans_of_the_sprayer_keep_every_rule_with_every_choice_of_meters() {
    let harness = support::harness("orchard-sprayer.toml");
    let scope = unplug(&harness, &["P1", "P2", "P3"]);
    for bits in 1..1 << METERS.len() {
        assert!(check_for(&harness, &scope, &some_meters(bits)), "{bits}");
    }
    for bits in [8, 16, 24, 31] {
        assert!(check_for(&harness, &Scope::default(), &some_meters(bits)), "{bits}");
    }
}

/// The number of a step is the same whatever meters are at hand: a record names it.
#[test]
fn steps_keep_their_numbers() {
    let harness = support::harness("orchard-sprayer.toml");
    let scope = unplug(&harness, &["P1", "P2", "P3"]);
    let plain = planned(&harness, &scope).unwrap();
    let named = |plan: &serde_json::Value| -> BTreeSet<String> {
        let step = |step: &serde_json::Value| {
            format!("{} {} {} {}", step["id"], step["kind"], step["red"], step["black"])
        };
        let steps = list(&plan["phases"]).iter().flat_map(|phase| list(&phase["steps"]));
        steps.chain(list(&plan["left_out"])).map(step).collect()
    };
    for bits in 1..1 << METERS.len() {
        let plan = planned_for(&harness, &scope, &some_meters(bits)).unwrap();
        assert_eq!(named(&plan), named(&plain), "{bits}");
    }
}

/// Whoever has no voltmeter is told so before the first reading.
#[test]
fn a_plan_without_a_voltmeter_says_that_it_cannot_prove_dead() {
    let harness = support::harness("orchard-sprayer.toml");
    for (meter, told) in [(Meter::BEEPER, true), (Meter::MEGOHM, true), (Meter::NULLED, false)] {
        let plan = planned_for(&harness, &Scope::default(), &Meters::from(meter)).unwrap();
        let said = list(&plan["cautions"]).iter().map(text).collect::<Vec<_>>().join("\n");
        assert_eq!(said.contains("prove the machine dead"), told, "{}", meter.name);
    }
}

fn published() -> Vec<String> {
    let folder = support::path("published");
    let files =
        std::fs::read_dir(folder).unwrap().map(|file| file.unwrap().file_name().into_string().unwrap());
    let mut all: Vec<String> = files
        .filter(|name| std::path::Path::new(name).extension().is_some_and(|end| end == "toml"))
        .map(|name| format!("published/{name}"))
        .collect();
    all.sort();
    all
}

#[test]
fn plans_of_published_harnesses_keep_every_rule() {
    let files = published();
    assert!(files.len() >= 10);
    for file in files {
        let harness = support::harness(&file);
        assert!(check(&harness, &Scope::default()), "{file}");
        for circuit in circuits(&harness) {
            assert!(check(&harness, &Scope { unplug: Vec::new(), circuit: Some(circuit) }), "{file}");
        }
    }
}

fn circuits(harness: &Harness) -> BTreeSet<String> {
    harness.wires.values().filter_map(|wire| wire.circuit.clone()).collect()
}

fn unplug(harness: &Harness, connectors: &[&str]) -> Scope {
    let mating = |id: &&str| harness.connectors[harness.names.connector(id).unwrap()].mating.unwrap();
    Scope { unplug: connectors.iter().map(mating).collect(), circuit: None }
}

#[test]
fn every_plan_of_the_sprayer_keeps_every_rule() {
    let harness = support::harness("orchard-sprayer.toml");
    assert!(check(&harness, &Scope::default()));
    for circuit in circuits(&harness) {
        assert!(check(&harness, &Scope { unplug: Vec::new(), circuit: Some(circuit) }));
    }
    let plugs: Vec<MatingId> = harness.matings.ids().collect();
    let mut rng = Rng::new(3);
    for _ in 0..12 {
        let some = plugs.iter().copied().filter(|_| rng.chance(20)).collect();
        assert!(check(&harness, &Scope { unplug: some, circuit: None }));
    }
}

/// The sweep at the control box: one power-off, one unplugging, one power-on for the voltages, one
/// power-off, one re-mating.
#[test]
fn the_sweep_at_the_control_box_is_one_cycle() {
    let harness = support::harness("orchard-sprayer.toml");
    let plan = planned(&harness, &unplug(&harness, &["P1", "P2", "P3"])).unwrap();
    let mut actions: Vec<String> = Vec::new();
    for change in list(&plan["phases"]).iter().flat_map(|phase| list(&phase["changes"])) {
        let (action, target) = (text(&change["action"]), text(&change["target"]));
        if matches!(action, "take off" | "put on" | "unplug" | "plug in") {
            actions.push(format!("{action} {}", target.split(" (").next().unwrap()));
        }
    }
    let off = ["take off BAT1 negative", "take off BAT1 positive"];
    let on = ["put on BAT1 positive", "put on BAT1 negative"];
    let apart = ["unplug P1", "unplug P2", "unplug P3"];
    let together = ["plug in P1", "plug in P2", "plug in P3"];
    let cycle: Vec<&str> = [&off[..], &apart, &on, &off, &together, &on].concat();
    assert_eq!(actions, cycle);
}

#[test]
fn a_plan_is_the_same_every_time() {
    for file in ["orchard-sprayer.toml", "published/m12-backbone.toml"] {
        let harness = support::harness(file);
        let [first, second] = [(); 2].map(|()| planned(&harness, &Scope::default()).unwrap().to_string());
        assert_eq!(first, second);
        let again = support::harness(file);
        assert_eq!(first, planned(&again, &Scope::default()).unwrap().to_string());
    }
    let [first, second] =
        [(); 2].map(|()| planned(&made(11, 60), &Scope::default()).map(|plan| plan.to_string()));
    assert_eq!(first, second);
}

/// The cautions that hold throughout stand on every sheet, and every sheet defers.
#[test]
fn every_sheet_carries_its_cautions_and_defers() {
    for file in published().into_iter().chain(["orchard-sprayer.toml".to_owned()]) {
        let harness = support::harness(&file);
        let plan = planned(&harness, &Scope::default()).unwrap();
        let said = list(&plan["cautions"]).iter().map(text).collect::<Vec<_>>().join("\n");
        assert!(said.contains("Never force a probe into a socket"), "{file}");
        let hydrogen = batteries(&harness) > 0;
        assert_eq!(said.contains("hydrogen"), hydrogen, "{file}");
        assert_eq!(said.contains("across a battery"), hydrogen, "{file}");
        let netlist = Netlist::new(&harness);
        let made = plan::plan(&harness, &netlist, &Scope::default(), Meter::HANDHELD).unwrap();
        let (_, sheet) = sheet::plan(&harness, &made);
        assert!(sheet.notes.iter().any(|note| note.contains("maker's manual")), "{file}");
    }
}

/// A machine of two thousand wires is planned in seconds. Release builds only: the limit is about the
/// program, not about the compiler.
#[test]
#[ignore = "run with --release"]
fn two_thousand_wires_are_planned_in_time() {
    for text in [machine::large(2000), machine::random(7, 2000)] {
        let none = &mut |path: &str| Err(format!("{path} is not there"));
        let harness = load("made.toml", text, None, none).ok().unwrap().harness;
        let start = std::time::Instant::now();
        assert!(planned(&harness, &Scope::default()).is_some());
        assert!(start.elapsed().as_secs() < 10, "{:?}", start.elapsed());
    }
}
