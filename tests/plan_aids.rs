//! Straps, loopback plugs and caps: no rule of safety is broken for them, and no fault is lost.
//!
//! The bystander of `tests/plan_safety.rs`, the library's check of plans, replays every plan: straps and caps go on and
//! come off with power isolated only; a strap joins open contacts of one station and no hazard; power never finds a
//! strap; nothing is plugged in over a cap; and what is claimed through a strap shows with the fault put in.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
#![allow(clippy::print_stderr, reason = "a failing seed has to be named")]

#[path = "support/machine.rs"]
mod machine;
#[path = "support/planned.rs"]
mod planned;
#[path = "support/mod.rs"]
mod support;

use std::collections::{BTreeMap, BTreeSet};

use machine::{Rng, made};
use planned::{aided, aids, good, json, keeps, lines, list, report, text};
use ringout::definition::{Harness, Point};
use ringout::measure::{METERS, Meter, Situation};
use ringout::netlist::Netlist;
use ringout::plan::{Aids, Meters, Plan, Scope};
use ringout::setup::{Isolated, Place, Power, Setup, SetupError, Strap, combinations, hazard_at, transition};
use ringout::sheet::SetupView;
use ringout::verify::Rule;
use serde_json::{Value, json};

const CHOICES: [&[&str]; 4] = [&["straps"], &["groupings"], &["loopback"], &["groupings", "loopback"]];

/// A plan that keeps every rule and is a good one, as a program reads it.
#[track_caller]
fn kept(harness: &Harness, scope: &Scope, plan: &Plan) -> Value {
    good(harness, scope, plan);
    keeps(harness, plan).0
}

#[track_caller]
fn kept_whole(harness: &Harness, words: &[&str]) -> Value {
    let scope = Scope::default();
    kept(harness, &scope, &aided(harness, &scope, &Meters::default(), aids(words)).unwrap())
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
            let plain = json(&harness, &aided(&harness, &scope, &meters, Aids::default())?);
            let plan = kept(&harness, &scope, &aided(&harness, &scope, &meters, aids(words))?);
            let lost: Vec<&str> = undetected(&plan).difference(&undetected(&plain)).copied().collect();
            assert!(lost.is_empty(), "no longer shown: {lost:?}");
            assert_eq!(plan["coverage"]["faults"], plain["coverage"]["faults"]);
            assert!(plan["cost"]["steps"].as_u64() <= plain["cost"]["steps"].as_u64());
            Some((phases_with(&plan, "strapped"), phases_with(&plan, "capped")))
        });
        match done {
            Ok(Some((straps, caps))) => {
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

/// Shorts that readings with straps claim, each put into the machine and read by the check.
fn shorts(plan: &Value) -> usize {
    let strapped = list(&plan["phases"]).iter().filter(|phase| !list(&phase["strapped"]).is_empty());
    let claims = strapped.flat_map(|phase| list(&phase["steps"])).flat_map(|step| list(&step["covers"]));
    claims.filter(|fault| text(fault).ends_with(":short")).count()
}

#[test]
fn plans_of_the_examples_with_aids_keep_every_rule() {
    for (file, least) in [("orchard-sprayer.toml", 20), ("umbilical-25.toml", 40)] {
        let harness = support::harness(file);
        for words in CHOICES {
            let plan = kept_whole(&harness, words);
            assert!(phases_with(&plan, "strapped") > 0, "{file} {words:?}");
            let claimed = shorts(&plan);
            assert!(words == ["loopback"] || claimed >= least, "{file} {words:?}: {claimed}");
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
    let plan = kept_whole(&harness, &["loopback"]);
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
        let plan = kept_whole(&harness, words);
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
            let safe = contacts.into_iter().filter(|c| hazard_at(harness, Point::Contact(*c)).is_none());
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

/// The phase of a plan without readings that brings a setup about, and how long that takes.
fn phase(harness: &Harness, id: usize, [from, to]: [&Setup; 2]) -> Value {
    let change = |action: &ringout::setup::Action| {
        let seconds = action.seconds(harness).get();
        assert!(seconds > 0.0, "{} {}", action.verb(), action.target(harness));
        json!({"action": action.verb(), "target": action.target(harness), "seconds": seconds})
    };
    let mut phase = serde_json::to_value(SetupView::of(harness, to)).unwrap();
    phase["id"] = json!(id.to_string());
    phase["changes"] = transition(harness, from, to).iter().map(change).collect();
    for key in ["cautions", "live", "steps"] {
        phase[key] = json!([]);
    }
    phase
}

/// From any setup to any other: the bystander allows every change, and the machine is where it should be.
#[test]
fn every_way_between_setups_is_safe() {
    let mut done: BTreeMap<String, usize> = BTreeMap::new();
    for seed in 0..60 {
        let mut rng = Rng::new(seed);
        let harness = made(seed, 25);
        // What it says of itself beside its phases is of no concern here.
        let Some(plan) = aided(&harness, &Scope::default(), &Meters::default(), Aids::default()) else {
            continue;
        };
        let mut plan = json(&harness, &plan);
        let found = Setup::from(Isolated::at_rest().connect());
        let mut now = found.clone();
        let mut phases = Vec::new();
        for at in 0..13 {
            let next = match now.power() {
                _ if at == 12 => found.clone(),
                Power::Isolated if rng.chance(50) => strapped(&harness, now.bare(), &mut rng),
                _ => some_setup(&harness, &mut rng),
            };
            assert!(!next.is_strapped() || next.power() == Power::Isolated);
            phases.push(phase(&harness, at + 1, [&now, &next]));
            now = next;
        }
        for change in phases.iter().flat_map(|phase| list(&phase["changes"])) {
            *done.entry(text(&change["action"]).to_owned()).or_default() += 1;
        }
        plan["phases"] = json!(phases);
        let mut found = report(&harness, &plan);
        // It says nothing of cautions and live contacts, has no figures, and reads nothing.
        found.violations.retain(|violation| match violation.rule() {
            Rule::Isolated | Rule::Mating | Rule::Leads | Rule::Straps | Rule::Changes => true,
            Rule::AsFound => violation.what.contains("at the end"),
            Rule::Cautions => violation.what.contains("is touched"),
            Rule::Totals => violation.what.contains("and takes"),
            _ => false,
        });
        assert!(found.is_kept(), "seed {seed}: {}", lines(&found));
    }
    let some = |verb: &str, least: usize| done.get(verb).is_some_and(|count| *count > least);
    assert!(some("fit", 100) && some("change", 100) && some("cap", 50), "{done:?}");
}

/// Any two clips of a strap are one strap apart where it has up to three: a loopback plug joins contact with contact.
/// The figures are those of the table of joints.
#[test]
fn any_two_clips_of_three_are_one_strap_apart() {
    let harness = machine::read(&lead(3));
    let [a, b, c] = ["X1.1", "X1.2", "X1.3"].map(|name| harness.point(name).unwrap());
    let netlist = Netlist::new(&harness);
    let bare = Setup::from(Isolated::at_rest());
    for (points, pairs) in [(vec![a, b], vec![[a, b]]), (vec![a, b, c], vec![[a, b], [a, c], [b, c]])] {
        let setup = bare.clone().fit(&harness, Strap::new(&harness, points).unwrap()).unwrap();
        let situation = Situation::new(&harness, &netlist, &setup).unwrap();
        for [red, black] in pairs.into_iter().map(|pair| pair.map(|point| situation.node(point))) {
            for (bound, milli) in situation.bounds(red, black).into_iter().zip([5.0, 50.0, 200.0]) {
                assert!((bound.unwrap() * 1e3 - milli).abs() < 1e-6, "{bound:?} {milli}");
            }
        }
    }
}

/// A lead of so many wires from X1 to X2, at no station.
fn lead(wires: usize) -> String {
    let wire = |at: usize| {
        format!(
            "[[wire]]\nid = \"{at}A\"\nfrom = \"X1.{at}\"\nto = \"X2.{at}\"\ngauge = \"1 mm2\"\nlength = \"2 m\"\n"
        )
    };
    let wires_text: String = (1..=wires).map(wire).collect();
    format!(
        "format = 1\n[harness]\nid = \"L\"\nrevision = \"A\"\n[connector.X1]\ncontacts = {wires}\n\
         [connector.X2]\ncontacts = {wires}\n{wires_text}"
    )
}

/// Half against half of four wires would be two straps of two contacts each, which in hand are one plug: nobody could
/// read between them, so that they are told apart one by one.
#[test]
fn nothing_is_read_at_a_connector_under_a_loopback_plug() {
    for wires in 4..=7 {
        let harness = machine::read(&lead(wires));
        for words in [&["groupings"][..], &["groupings", "loopback"]] {
            let plan = kept_whole(&harness, words);
            let fits = list(&plan["phases"]).iter().flat_map(|phase| list(&phase["changes"]));
            let plugs = fits.filter(|change| text(&change["target"]).starts_with("loopback plug at")).count();
            assert!(words.len() == 2 || plugs == 0, "{wires} wires: {plan}");
        }
    }
}

/// A reading of a group that needs no strap after all stands among the others, and counts once in the bound.
#[test]
fn bounds_hold_where_meters_are_missing() {
    let harness = made(3069, 22);
    let scope = Scope { unplug: Vec::new(), circuit: Some("C3".to_owned()) };
    for meters in [Meters::from(Meter::MEGOHM), [Meter::FOUR_WIRE, Meter::MEGOHM].into_iter().collect()] {
        let plan = aided(&harness, &scope, &meters, aids(&["straps"])).unwrap();
        assert!(!plan.left_out.is_empty() && plan.cost.steps_bound <= plan.cost.steps, "{:?}", plan.cost);
        keeps(&harness, &plan);
    }
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
    let plan = aided(&harness, &Scope::default(), &Meters::default(), aids).unwrap();
    assert!(plan.phases.iter().any(|phase| phase.setup.is_strapped()));
    assert!(start.elapsed().as_secs() < 60, "{:?}", start.elapsed());
}
