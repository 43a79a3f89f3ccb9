//! The plan that proves a repair: it keeps every rule of plans, it is enough, and it is short.
//!
//! Enough means: every fault that the work can have brought about is shown by one of its steps, which ngspice (a
//! general-purpose circuit simulator) confirms with the fault in the circuit; or it is named as one that no reading shows.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

#[path = "support/copies.rs"]
mod copies;
#[path = "support/machine.rs"]
mod machine;
#[path = "support/spice.rs"]
mod spice;
#[path = "support/mod.rs"]
#[allow(dead_code, reason = "paths of definitions are not used here")]
mod support;

use std::collections::BTreeSet;

use copies::Copies;
use machine::{Rng, made, random};
use ringout::definition::{Harness, Id, Kind, PartId, PartKind, Point, WireId, load};
use ringout::fault::{Fault, Universe};
use ringout::measure::Meter;
use ringout::netlist::{Element, Netlist};
use ringout::plan::{Plan, Scope, Touched, after, plan};
use ringout::repair::{self, NewWire, Work};
use ringout::units::Metres;
use ringout::{sheet, verify};

fn json(harness: &Harness, plan: &Plan) -> String {
    serde_json::to_string(&sheet::plan(harness, plan).0).unwrap()
}

/// A repair of a made machine: the machine after it, and what was touched.
fn repaired(seed: u64) -> Option<(Harness, Touched)> {
    let mut rng = Rng::new(seed);
    let text = random(seed, 16 + (seed as usize % 4) * 6);
    let loaded = load("made.toml", text, None, &mut |_| Err(String::new())).unwrap();
    let harness = &loaded.harness;
    let wire = WireId::from_index(rng.below(harness.wires.len()));
    let part = PartId::from_index(rng.below(harness.parts.len()));
    let contacts: Vec<_> =
        harness.contacts.ids().filter(|id| harness.wires_at(Point::Contact(*id)).len() > 0).collect();
    let work = match rng.below(6) {
        0 => Work::ReplaceWire { wire, new: NewWire::default() },
        1 => Work::Splice {
            wire,
            from: 0,
            at: harness.wires[wire].length? * 0.5,
            id: None,
            station: None,
            new: NewWire::default(),
        },
        2 => Work::Reterminate { wire, end: 1, length: Some(Metres::new(1.0)) },
        3 => Work::ReplacePart(part),
        4 if !contacts.is_empty() => {
            Work::ReplaceConnector(harness.contacts[contacts[rng.below(contacts.len())]].connector)
        }
        _ if !contacts.is_empty() => Work::ReplaceContact(contacts[rng.below(contacts.len())]),
        _ => return None,
    };
    let edited = repair::apply(&loaded, &work, (None, None), (true, true)).ok()?;
    let new =
        load("made.toml", edited.files[0].text.clone(), None, &mut |_| Err(String::new())).unwrap().harness;
    let touched = edited.touched.resolve(&new).unwrap();
    Some((new, touched))
}

/// What the plan must speak of, listed a second time from the words of the task: the touched things themselves, and what
/// lies beside them.
fn must_speak_of(harness: &Harness, touched: &Touched, fault: Fault) -> bool {
    let wire = |id: &WireId| touched.wires.contains(id);
    let end_touched =
        |id: WireId, side: u8| touched.points.contains(&harness.wires[id].ends[usize::from(side)]);
    match fault {
        Fault::Open(Element::Wire(id)) | Fault::High(Element::Wire(id)) | Fault::ToChassis(id) => wire(&id),
        Fault::Open(Element::Termination(id, side) | Element::SpliceLeg(id, side)) => end_touched(id, side),
        Fault::Open(Element::Mated(a, b)) => {
            [a, b].iter().any(|id| touched.opened.contains(&harness.contacts[*id].connector))
        }
        Fault::Short(a, b) => wire(&a) || wire(&b),
        Fault::Crossed(a, b, at) => touched.opened.contains(&at) && (wire(&a) || wire(&b)),
        Fault::PartShort(id) | Fault::CoilOpen(id) | Fault::Dead(id) | Fault::Flat(id) => {
            touched.parts.contains(&id)
        }
        _ => false,
    }
}

#[test]
fn plans_after_a_repair_keep_every_rule_and_speak_of_all_that_was_touched() {
    let (mut plans, mut shorter, mut loaded_steps, mut faults) = (0, 0, 0, 0);
    for seed in 0..60 {
        let Some((harness, touched)) = repaired(seed) else { continue };
        let netlist = Netlist::new(&harness);
        let Ok(plan) = after(&harness, &netlist, &touched, Meter::HANDHELD) else { continue };
        let report = verify::check(&harness, &json(&harness, &plan)).unwrap();
        assert!(
            report.is_kept(),
            "seed {seed}: {}",
            serde_json::to_string(&sheet::verify(&harness, &report).0).unwrap()
        );
        let shown: BTreeSet<Fault> = plan.steps().flat_map(|step| step.covers.iter().copied()).collect();
        let named: BTreeSet<Fault> = plan.coverage.undetected.iter().map(|(fault, _)| *fault).collect();
        for (fault, _) in
            Universe::new(&harness, &netlist).iter().filter(|(f, _)| must_speak_of(&harness, &touched, *f))
        {
            assert!(shown.contains(&fault) || named.contains(&fault), "seed {seed}: {}", fault.id(&harness));
            faults += 1;
        }
        assert!(!plan.function_check.is_empty(), "seed {seed}");
        let whole = ringout::plan::plan(&harness, &netlist, &Scope::default(), Meter::HANDHELD).unwrap();
        plans += 1;
        shorter += usize::from(plan.steps().count() * 2 < whole.steps().count());
        loaded_steps += usize::from(plan.steps().any(|step| !step.measurement.kind().is_resistance()));
    }
    assert!(plans >= 45 && faults > 400, "{plans} plans, {faults} faults");
    assert!(shorter * 10 >= plans * 8, "{shorter} of {plans} are less than half of the whole plan");
    assert!(loaded_steps * 2 >= plans, "{loaded_steps} of {plans} read under load");
}

/// Every fault that the work can have brought about and that the plan counts as shown, in ngspice.
#[test]
fn every_fault_that_a_repair_can_bring_shows_in_an_outside_simulator() {
    if !spice::is_there() {
        return;
    }
    let (mut confirmed, mut buzzing, mut machines) = (0, 0, 0);
    let mut prove = |harness: &Harness, touched: &Touched| {
        let netlist = Netlist::new(harness);
        let Ok(plan) = after(harness, &netlist, touched, Meter::HANDHELD) else { return };
        let universe = Universe::new(harness, &netlist);
        let mut copies = Copies::new(harness, &netlist, &universe);
        let mut detected = 0;
        for (fault, _) in universe.iter().filter(|(fault, _)| touched.can_bring(harness, *fault)) {
            let step = plan.steps().find(|step| step.covers.contains(&fault));
            let named = plan
                .coverage
                .undetected
                .iter()
                .any(|(missed, hidden)| *missed == fault && !hidden.reason.class().is_empty());
            assert!(step.is_some() != named, "{} is neither shown nor named", fault.id(harness));
            if let Some(step) = step {
                copies.add(step, fault);
                detected += 1;
            }
        }
        copies.check();
        assert_eq!(detected, plan.coverage.detected);
        confirmed += copies.confirmed;
        buzzing += copies.buzzing;
        machines += 1;
    };
    for seed in 100..140 {
        if let Some((harness, touched)) = repaired(seed) {
            prove(&harness, &touched);
        }
    }
    let sprayer = support::harness("orchard-sprayer.toml");
    let p1 = sprayer.names.connector("P1").unwrap();
    let touched = Touched { opened: vec![p1], ..Touched::default() };
    prove(&sprayer, &touched);
    assert!(machines >= 30 && confirmed > 400, "{machines} machines, {confirmed} faults");
    assert!(buzzing * 20 < confirmed, "{buzzing} could not be asked for");
}

#[test]
fn a_joint_is_read_under_load_where_a_probe_gets_to_both_sides() {
    let text = r#"
        format = 1
        harness = { id = "L", revision = "A", nominal = "12 V" }
        terminal.BT1 = {}
        terminal.BT2 = {}
        terminal.GP1 = { ground = true }
        terminal.T1 = {}
        terminal.T2 = {}
        part.BAT = { kind = "battery", volts = "12.6 V", internal = "10 mohm", plus = "BT1", minus = "BT2" }
        part.H1 = { kind = "lamp", between = ["T2", "GP1"], ohms = "3 ohm" }
        splice.SP1 = {}
        wire = [
            { id = "1A", from = "BT1", to = "T1", gauge = "1 mm2", length = "1 m" },
            { id = "2A", from = "T1", to = "SP1", gauge = "1 mm2", length = "2 m" },
            { id = "2B", from = "SP1", to = "T2", gauge = "1 mm2", length = "2 m" },
            { id = "3A", from = "BT2", to = "GP1", gauge = "1 mm2", length = "1 m" },
        ]
    "#;
    let harness = machine::read(text);
    let netlist = Netlist::new(&harness);
    let wires = [1, 2].map(WireId::from_index).to_vec();
    let touched = Touched { wires, points: vec![harness.point("SP1").unwrap()], ..Touched::default() };
    let plan = after(&harness, &netlist, &touched, Meter::HANDHELD).unwrap();
    let drop = plan.steps().find(|step| step.measurement.kind() == Kind::Drop).expect("a drop is read");
    let ends = [drop.measurement.red(), drop.measurement.black()].map(|point| harness.point_name(point));
    assert_eq!(ends, ["T1", "T2"]);
    // By hand: 4 m of 1 mm2 copper (19.5 ohm/km, IEC 60228 class 5) carry 12.6 V / 3.1 ohm, about 4 A: about 0.3 V. A joint
    // of 2 ohm more would lose 12.6 V * 2 / 5.1, about 5 V.
    let volts = |volts: f64| ringout::measure::Reading::Volts(ringout::units::Volts::new(volts));
    assert!(drop.expect.admits(volts(0.31)) && !drop.expect.admits(volts(2.0)), "{}", drop.expect.words());
    assert!(plan.before[0].starts_with("This plan proves a repair"), "{:?}", plan.before);
    assert!(plan.function_check[0].contains("lamp H1 works"), "{:?}", plan.function_check);
}

/// The more is touched, the more is asked.
#[test]
fn nothing_touched_is_nothing_to_prove() {
    let harness = made(7, 20);
    let netlist = Netlist::new(&harness);
    let none = after(&harness, &netlist, &Touched::default(), Meter::HANDHELD).unwrap();
    assert_eq!(none.coverage.faults, 0);
    let all = Touched {
        wires: harness.wires.ids().collect(),
        points: harness.points().collect(),
        opened: harness.connectors.ids().collect(),
        parts: harness.parts.ids().collect(),
    };
    let plan_all = after(&harness, &netlist, &all, Meter::HANDHELD).unwrap();
    assert_eq!(plan_all.coverage.faults, Universe::new(&harness, &netlist).len());
    let whole = plan(&harness, &netlist, &Scope::default(), Meter::HANDHELD).unwrap();
    assert!(
        plan_all.coverage.detected * 100 >= whole.coverage.detected * 95,
        "{} {}",
        plan_all.coverage.detected,
        whole.coverage.detected
    );
    assert!(harness.parts.values().any(|part| matches!(part.kind, PartKind::Battery { .. })));
}
