//! Straps, loopback plugs and caps: no rule of safety is broken for them, and no fault is lost.
//!
//! The bystander of `tests/plan_safety.rs` replays every plan, with rules of its own for straps and caps (they
//! go on and come off with power isolated only; a strap joins open contacts of one station and no hazard; power
//! never finds a strap; nothing is plugged in over a cap), and solves shorts with its own dense solver.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
#![allow(clippy::print_stderr, reason = "a failing seed has to be named")]

#[path = "support/machine.rs"]
mod machine;
#[path = "support/nodal.rs"]
mod nodal;
#[path = "support/replay.rs"]
mod replay;
#[path = "support/rules.rs"]
mod rules;
#[path = "support/mod.rs"]
mod support;

use std::collections::{BTreeMap, BTreeSet};

use machine::{Rng, made};
use replay::{Put, Scene, State};
use ringout::definition::{Harness, Point};
use ringout::measure::METERS;
use ringout::plan::{Aids, Meters, Scope};
use ringout::setup::{Isolated, Place, Power, Setup, SetupError, Strap, combinations, transition};
use rules::{Replay, list, planned_with, text};
use serde_json::Value;

const CHOICES: [&[&str]; 4] = [&["straps"], &["groupings"], &["loopback"], &["groupings", "loopback"]];

fn aids(words: &[&str]) -> Aids {
    Aids::parse(words.iter().copied()).unwrap()
}

fn replay(harness: &Harness, scope: &Scope, plan: &Value, seed: u64) {
    Replay { harness, scope, plan, state: State::default(), tried: 6, rng: Rng::new(seed) }.run();
}

fn undetected(plan: &Value) -> BTreeSet<&str> {
    list(&plan["coverage"]["undetected"]).iter().map(|missed| text(&missed["fault"])).collect()
}

/// Phases of a plan that have something of a kind.
fn phases_with(plan: &Value, key: &str) -> usize {
    list(&plan["phases"]).iter().filter(|phase| !list(&phase[key]).is_empty()).count()
}

#[test]
fn plans_with_aids_keep_every_rule_and_lose_no_fault() {
    let (mut strapped, mut capped) = (0, 0);
    for seed in 0..120 {
        let mut rng = Rng::new(seed ^ 0x5742_a705);
        let harness = made(seed, rng.between(6, 40));
        let meters: Meters = match rng.below(3) {
            0 => METERS.into_iter().filter(|_| rng.chance(60)).collect(),
            _ => Meters::default(),
        };
        let scope = match rng.below(3) {
            0 => Scope { unplug: harness.matings.ids().filter(|_| rng.chance(40)).collect(), circuit: None },
            _ => Scope::default(),
        };
        let words = rng.pick(&CHOICES);
        let done = std::panic::catch_unwind(|| {
            let plain = planned_with(&harness, &scope, &meters, Aids::default())?;
            let plan = planned_with(&harness, &scope, &meters, aids(words))?;
            replay(&harness, &scope, &plan, seed);
            let lost: Vec<&str> = undetected(&plan).difference(&undetected(&plain)).copied().collect();
            assert!(lost.is_empty(), "no longer shown: {lost:?}");
            assert_eq!(plan["coverage"]["faults"], plain["coverage"]["faults"]);
            assert!(plan["cost"]["steps"].as_u64() <= plain["cost"]["steps"].as_u64());
            let shorts = shorts_show(&harness, &plan);
            Some((phases_with(&plan, "strapped"), phases_with(&plan, "capped"), shorts))
        });
        match done {
            Ok(Some((straps, caps, _))) => {
                strapped += straps;
                capped += caps;
            }
            Ok(None) => {}
            Err(panicked) => {
                eprintln!("seed {seed}, {scope:?}, {words:?}, {}", meters.names());
                std::panic::resume_unwind(panicked);
            }
        }
    }
    assert!(strapped >= 100 && capped >= 10, "{strapped} phases with straps, {capped} with caps");
}

/// Puts every short that a reading with straps claims into the machine, and solves it in full: the reading leaves
/// what is expected. How many were tried.
fn shorts_show(harness: &Harness, plan: &Value) -> usize {
    let mut state = State::default();
    let mut tried = 0;
    for phase in list(&plan["phases"]) {
        for change in list(&phase["changes"]) {
            state.change(harness, text(&change["action"]), text(&change["target"])).unwrap();
        }
        let claims = list(&phase["steps"]).iter().filter(|_| !state.straps.is_empty());
        for (step, fault) in
            claims.flat_map(|step| list(&step["covers"]).iter().map(move |f| (step, text(f))))
        {
            let Some(put) = short(harness, fault) else { continue };
            let [red, black] = ["red", "black"].map(|probe| harness.point(text(&step[probe])).unwrap());
            let ohms = Scene { harness, state: &state, put }.ohms(red, black);
            let (low, high) = (step["expect"]["low"].as_f64().unwrap(), step["expect"]["high"].as_f64());
            let outside = match ohms {
                None => high.is_some(),
                Some(ohms) => ohms < low || high.is_some_and(|high| ohms > high),
            };
            assert!(outside, "{}: {fault} reads {ohms:?}, which is as expected", step["id"]);
            tried += 1;
            if tried > 40 {
                return tried;
            }
        }
    }
    tried
}

fn short(harness: &Harness, fault: &str) -> Option<Put> {
    let wire = |id: &str| harness.wires.iter().find(|(_, w)| w.id == id).map(|(id, _)| id);
    let (a, b) = fault.strip_suffix(":short")?.split_once('~')?;
    Some(Put::Touch(wire(a)?, if b == "chassis" { None } else { Some(wire(b)?) }))
}

#[test]
fn plans_of_the_examples_with_aids_keep_every_rule() {
    for (file, shorts) in [("orchard-sprayer.toml", 20), ("umbilical-25.toml", 40)] {
        let harness = support::harness(file);
        for words in CHOICES {
            let plan = planned_with(&harness, &Scope::default(), &Meters::default(), aids(words)).unwrap();
            replay(&harness, &Scope::default(), &plan, 1);
            assert!(phases_with(&plan, "strapped") > 0, "{file} {words:?}");
            let tried = shorts_show(&harness, &plan);
            assert!(words == ["loopback"] || tried >= shorts, "{file} {words:?}: {tried}");
            // Whoever may use more never needs more readings.
            let cost = |key: &str| plan["cost"][key].as_f64().unwrap();
            assert!(cost("steps_bound") <= cost("steps") && cost("seconds_bound") <= cost("seconds"));
        }
    }
}

/// A short between two wires that a loopback joins does not show through it: the plan does not claim it there.
#[test]
fn what_a_loopback_hides_is_not_claimed_through_it() {
    let harness = support::harness("umbilical-25.toml");
    let plan = planned_with(&harness, &Scope::default(), &Meters::default(), aids(&["loopback"])).unwrap();
    let looped = list(&plan["phases"]).iter().find(|phase| !list(&phase["strapped"]).is_empty()).unwrap();
    for step in list(&looped["steps"]) {
        let wires: Vec<&str> = list(&step["covers"])
            .iter()
            .filter_map(|fault| text(fault).strip_suffix(":open"))
            .filter(|what| !what.contains('@'))
            .collect();
        let [a, b] = wires[..] else { panic!("{step}") };
        let short = format!("{a}~{b}:short");
        let claims = |step: &Value| list(&step["covers"]).iter().any(|fault| text(fault) == short);
        assert!(!claims(step), "{short}");
        let all = list(&plan["phases"]).iter().flat_map(|phase| list(&phase["steps"]));
        assert!(all.into_iter().any(claims), "{short} is claimed where the plug is off");
    }
}

/// What the maker demands is read as the maker demands it.
#[test]
fn no_strap_stands_for_what_the_maker_demands() {
    let lead = std::fs::read_to_string(support::path("umbilical-25.toml")).unwrap();
    let demanded = "[[limit]]\ntitle = \"Pair 3, 4\"\nkind = \"isolation\"\nred = \"XU1.3\"\nblack = \"XU1.4\"\n\
                    low = \"5 Mohm\"\nsource = \"invented\"\n";
    let harness = machine::read(&format!("{lead}\n{demanded}"));
    for words in CHOICES {
        let plan = planned_with(&harness, &Scope::default(), &Meters::default(), aids(words)).unwrap();
        replay(&harness, &Scope::default(), &plan, 1);
        let asked = |phase: &&Value| {
            let alone = list(&phase["strapped"]).is_empty();
            let demanded = |step: &Value| {
                text(&step["red"]) == "XU1.3"
                    && text(&step["black"]) == "XU1.4"
                    && step["expect"]["low"].as_f64() == Some(5e6)
            };
            alone && list(&phase["steps"]).iter().any(demanded)
        };
        assert!(list(&plan["phases"]).iter().any(|phase| asked(&phase)), "{words:?}");
    }
}

/// Open contacts and terminals of each place, with all plugs off.
fn open(harness: &Harness, setup: &Setup) -> BTreeMap<Place, Vec<Point>> {
    let mut places: BTreeMap<Place, Vec<Point>> = BTreeMap::new();
    for point in harness.points().filter(|point| setup.takes_clip(harness, *point)) {
        if let Some(place) = Place::of(harness, point) {
            places.entry(place).or_default().push(point);
        }
    }
    places
}

/// Some state of a machine, with straps or caps where they may be.
fn some_setup(harness: &Harness, rng: &mut Rng) -> Setup {
    let mut setup =
        harness.matings.ids().filter(|_| rng.chance(60)).fold(Isolated::at_rest(), Isolated::part);
    for (switch, position) in rng.pick(&[0_usize, 1, 2]).checked_sub(1).map_or_else(Vec::new, |more| {
        let all = combinations(harness, more + 1, 12);
        all[rng.below(all.len())].clone()
    }) {
        setup = setup.set(harness, switch, position);
    }
    match rng.below(4) {
        0 => {
            let contacts: Vec<_> = harness.contacts.ids().filter(|_| rng.chance(10)).collect();
            let safe = contacts.into_iter().filter(|c| !replay::marked(harness, Point::Contact(*c)));
            safe.fold(setup, |setup, contact| setup.cap(harness, contact)).connect().into()
        }
        1 => setup.connect().into(),
        _ => strapped(harness, setup.into(), rng),
    }
}

/// A setup without power, with some straps.
fn strapped(harness: &Harness, bare: Setup, rng: &mut Rng) -> Setup {
    let mut setup = bare;
    for points in open(harness, &setup).into_values() {
        let mut left = points;
        while left.len() > 1 && rng.chance(60) {
            let strap: Vec<Point> = (0..rng.between(2, 5).min(left.len()))
                .map(|_| left.swap_remove(rng.below(left.len())))
                .collect();
            setup = setup.fit(harness, Strap::new(harness, strap).unwrap()).unwrap();
        }
    }
    setup
}

/// From any setup to any other: the bystander allows every change, and the machine is where it should be.
#[test]
fn every_way_between_setups_is_safe() {
    let (mut fitted, mut changed, mut capped) = (0, 0, 0);
    for seed in 0..60 {
        let mut rng = Rng::new(seed);
        let harness = made(seed, 25);
        let mut state = State::default();
        let mut now = Setup::from(Isolated::at_rest().connect());
        for _ in 0..12 {
            let next = match now.power() {
                Power::Isolated if rng.chance(50) => strapped(&harness, now.bare(), &mut rng),
                _ => some_setup(&harness, &mut rng),
            };
            for action in transition(&harness, &now, &next) {
                let (verb, target) = (action.verb(), action.target(&harness));
                fitted += usize::from(verb == "fit");
                changed += usize::from(verb == "change");
                capped += usize::from(verb == "cap");
                let done = state.change(&harness, verb, &target);
                assert_eq!(done, Ok(()), "seed {seed}: {verb} {target}");
                assert!(action.seconds(&harness).get() > 0.0, "{verb} {target}");
            }
            now = next;
            let straps: BTreeSet<replay::Joined> =
                now.straps().map(|strap| strap.points().iter().copied().collect()).collect();
            assert_eq!(state.straps, straps, "seed {seed}");
            assert_eq!(state.caps, now.capped().collect::<BTreeSet<_>>(), "seed {seed}");
            assert_eq!(state.parted, now.parted().collect::<BTreeSet<_>>(), "seed {seed}");
            assert!(straps.is_empty() || now.power() == Power::Isolated);
        }
    }
    assert!(fitted > 100 && changed > 100 && capped > 50, "{fitted} {changed} {capped}");
}

#[test]
fn straps_go_only_where_they_may() {
    let harness = support::harness("orchard-sprayer.toml");
    let point = |name: &str| harness.point(name).unwrap();
    let strap = |names: &[&str]| Strap::new(&harness, names.iter().map(|name| point(name)));
    let mating = harness.connectors[harness.names.connector("P1").unwrap()].mating.unwrap();
    let open = Isolated::at_rest().part(mating);
    let two = strap(&["P1.A", "P1.B"]).unwrap();
    assert!(matches!(strap(&["P1.A"]), Err(SetupError::StrapOfOne)));
    assert!(matches!(strap(&["P1.A", "XB1.1"]), Err(SetupError::StrapTooLong(_))));
    assert!(matches!(strap(&["P1.A", "SP2"]), Err(SetupError::NoStrap { .. })));
    assert!(matches!(Isolated::at_rest().fit(&harness, two.clone()), Err(SetupError::NoStrap { .. })));
    let on = open.clone().fit(&harness, two.clone()).unwrap();
    let more = on.clone().fit(&harness, strap(&["P1.B", "P1.C"]).unwrap());
    assert!(matches!(more, Err(SetupError::TwoStraps(_))));
    assert_eq!(on.unfit(&two), Setup::from(open.clone()));
    let live = Setup::from(open.clone().connect());
    assert_eq!(live.fit(&harness, two.clone()), Err(SetupError::StrapWithPower));
    // A capped contact takes no clip and no probe, and joining the plug takes the cap off.
    let Point::Contact(contact) = point("P1.A") else { panic!() };
    let capped = open.cap(&harness, contact);
    assert!(matches!(capped.clone().fit(&harness, two), Err(SetupError::NoStrap { .. })));
    assert!(!Setup::from(capped.clone()).can_probe(&harness, point("P1.A")));
    assert_eq!(Setup::from(capped.clone().mate(mating)).capped().len(), 0);
    assert_eq!(Setup::from(capped.uncap(contact)).capped().len(), 0);
    assert_eq!(Setup::from(Isolated::at_rest().cap(&harness, contact)).capped().len(), 0);
}

/// A machine of a thousand wires is planned with all aids in seconds. Release builds only: the limit is about the program, not
/// about the compiler.
#[test]
#[ignore = "run with --release"]
fn a_thousand_wires_are_planned_with_aids_in_time() {
    let harness = machine::read(&machine::large(1000));
    let start = std::time::Instant::now();
    let aids = aids(&["groupings", "loopback"]);
    let plan = planned_with(&harness, &Scope::default(), &Meters::default(), aids).unwrap();
    assert!(phases_with(&plan, "strapped") > 0);
    assert!(start.elapsed().as_secs() < 60, "{:?}", start.elapsed());
}
