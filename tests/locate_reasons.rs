//! What a derivation names is enough; two faults at once; one misread; units by elimination.
//!
//! Common practice, no source: these are properties of the answer itself. The machine is the invented sprayer, and
//! made ones; the readings are the demo's, or those of a bench of its own (see `support/bench.rs`).

#![allow(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]

#[path = "support/bench.rs"]
mod bench;
#[path = "support/machine.rs"]
mod machine;
#[path = "support/mod.rs"]
mod support;

use std::collections::{BTreeMap, BTreeSet};

use bench::Bench;
use machine::{Rng, made};
use ringout::definition::{Harness, Kind};
use ringout::fault::{Fault, Universe};
use ringout::locate::{Diagnosis, Verdict, locate};
use ringout::measure::{Measurement, Meter, Reading};
use ringout::netlist::{Element, Netlist};
use ringout::plan::{Scope, plan};
use ringout::record::{self, Entry, NewEntry};
use ringout::setup::position_name;

/// A machine that is read, reading by reading.
struct Job<'a> {
    harness: &'a Harness,
    text: String,
}

impl<'a> Job<'a> {
    fn new(harness: &'a Harness) -> Self {
        Self { harness, text: "format = 1\n".to_owned() }
    }

    fn note(&mut self, measurement: &Measurement, value: &str) {
        let (harness, setup) = (self.harness, measurement.setup());
        let set = setup
            .set()
            .map(|(s, at)| (harness.parts[s].id.clone(), position_name(harness, s, at).to_owned()));
        let entry = NewEntry {
            kind: measurement.kind().word().to_owned(),
            red: harness.point_name(measurement.red()),
            black: harness.point_name(measurement.black()),
            power: setup.power().word().to_owned(),
            unplugged: setup.unplugged(harness).map(|c| harness.connectors[c].id.clone()).collect(),
            set: set.collect(),
            conditions: setup.conditions().map(|c| harness.conditions[c].id.clone()).collect(),
            value: value.to_owned(),
            ..NewEntry::default()
        };
        self.text += &entry.text();
    }

    fn entries(&self) -> Vec<Entry> {
        record::read(self.harness, "record", &self.text).entries
    }
}

fn demo(harness: &Harness, name: &str) -> Vec<Entry> {
    let path = support::path("..").join("demo").join(name);
    record::read(harness, name, &std::fs::read_to_string(path).unwrap()).entries
}

fn standing(diagnosis: &Diagnosis) -> BTreeSet<Fault> {
    diagnosis.suspects.iter().flat_map(|group| group.faults.iter().copied()).collect()
}

/// Every conclusion again, from the readings alone that its derivation names.
fn is_enough(harness: &Harness, netlist: &Netlist, entries: &[Entry], one_in: usize) -> usize {
    let whole = locate(harness, netlist, entries, &Meter::HANDHELD).unwrap();
    assert!(whole.left.is_empty());
    let again = |readings: &BTreeSet<usize>| {
        let named: Vec<Entry> = readings.iter().map(|at| entries[*at].clone()).collect();
        locate(harness, netlist, &named, &Meter::HANDHELD).unwrap()
    };
    let mut checked = 0;
    if let Some(accusation) = whole.reasons.accused.first() {
        let part = again(&whole.reasons.accusing(accusation));
        assert_eq!(standing(&part), standing(&whole), "{:?}", accusation.faults);
        checked += 1;
    }
    let mut by_readings: BTreeMap<BTreeSet<usize>, Vec<Element>> = BTreeMap::new();
    for clearance in &whole.reasons.cleared {
        by_readings.entry(whole.reasons.clearing(clearance)).or_default().push(clearance.element);
    }
    for (readings, elements) in by_readings.iter().step_by(one_in) {
        let part = again(readings);
        let cleared: BTreeSet<Element> = part.cleared.iter().map(|cleared| cleared.element).collect();
        let missing: Vec<String> =
            elements.iter().filter(|e| !cleared.contains(e)).map(|e| e.id(harness)).collect();
        assert_eq!(missing, Vec::<String>::new(), "not cleared by {readings:?} alone");
        checked += elements.len();
    }
    checked
}

#[test]
fn what_a_derivation_names_is_enough_on_the_demo() {
    let harness = support::harness("orchard-sprayer.toml");
    let netlist = Netlist::new(&harness);
    for (name, readings) in
        [("readings-harness-fault.toml", [4, 6, 9]), ("readings-dead-box.toml", [4, 8, 13])]
    {
        for count in readings {
            let checked = is_enough(&harness, &netlist, &demo(&harness, name)[..count], 3);
            assert!(checked > 20, "{name} {count}: {checked}");
        }
    }
}

#[test]
fn a_step_is_said_once_and_every_fault_is_in_one_or_stands() {
    let harness = support::harness("orchard-sprayer.toml");
    let netlist = Netlist::new(&harness);
    let whole =
        locate(&harness, &netlist, &demo(&harness, "readings-dead-box.toml"), &Meter::HANDHELD).unwrap();
    let mut seen = standing(&whole);
    let mut readings = BTreeSet::new();
    for step in &whole.reasons.steps {
        assert!(readings.insert(step.readings.clone()), "{:?} twice", step.readings);
        for fault in &step.faults {
            assert!(seen.insert(*fault), "{} twice", fault.id(&harness));
        }
    }
    assert_eq!(seen.len(), Universe::new(&harness, &netlist).len());
}

/// Plans of made machines, read on a bench with one or two faults, until `bad` readings are bad.
fn broken<'a>(
    harness: &'a Harness,
    netlist: &'a Netlist,
    bench: &mut Bench<'_>,
    bad: usize,
) -> Option<Job<'a>> {
    let plan = plan(harness, netlist, &Scope::default(), Meter::HANDHELD).ok()?;
    let mut job = Job::new(harness);
    let mut found = 0;
    for step in plan.steps().take(60) {
        let value = bench.read(&step.measurement);
        job.note(&step.measurement, &value);
        let read = Reading::parse(step.measurement.kind(), &value).unwrap();
        found += usize::from(!step.expect.admits(read));
        if found == bad {
            return Some(job);
        }
    }
    None
}

#[test]
fn what_a_derivation_names_is_enough_on_made_machines() {
    let (mut machines, mut checked) = (0, 0);
    for seed in 0..24 {
        let harness = made(seed, 15);
        let netlist = Netlist::new(&harness);
        let faults: Vec<Fault> = Universe::new(&harness, &netlist).iter().map(|(fault, _)| fault).collect();
        let mut rng = Rng::new(seed);
        for _ in 0..3 {
            let fault = rng.pick(&faults);
            let mut bench = Bench::new(&harness, &netlist, made(seed, 15), Some(fault), seed);
            let Some(job) = broken(&harness, &netlist, &mut bench, 2) else { continue };
            machines += 1;
            checked += is_enough(&harness, &netlist, &job.entries(), 2);
        }
    }
    assert!(machines >= 10 && checked > 200, "{machines} machines, {checked} conclusions");
}

/// The demo's first record with one good reading written down as bad, and with a bad one as good.
#[test]
fn a_misread_does_not_remove_the_true_fault_for_ever() {
    let harness = support::harness("orchard-sprayer.toml");
    let netlist = Netlist::new(&harness);
    let wire = harness.wires.iter().find(|(_, wire)| wire.id == "31C").unwrap().0;
    let truth = Fault::Open(Element::Wire(wire));
    for (at, wrong) in [(6, Reading::Open), (4, Reading::parse(Kind::Voltage, "0.02 V").unwrap())] {
        let mut entries = demo(&harness, "readings-harness-fault.toml");
        entries[at].value = wrong;
        let found = locate(&harness, &netlist, &entries, &Meter::HANDHELD).unwrap();
        let name = entries[at].name();
        assert_eq!(found.verdict, Verdict::Contradictory, "{name}");
        let group = found.doubted.iter().find(|group| group.faults.contains(&truth)).unwrap();
        assert_eq!(group.misread, std::slice::from_ref(&name));
        // Another fault may be as likely, with another reading wrong; both are read again, and the truth is not far down.
        assert!(group.share > 0.25, "{}", group.share);
        assert!(found.repeat[..2.min(found.repeat.len())].contains(&name), "{:?}", found.repeat);
        let conflict = found.conflict.unwrap().readings;
        assert!(conflict.contains(&name), "{conflict:?}");
        assert!((2..=4).contains(&conflict.len()), "{conflict:?}");
        // No smaller set contradicts itself: each part of it has an explanation.
        for left_out in &conflict {
            let part: Vec<Entry> = entries
                .iter()
                .filter(|e| conflict.contains(&e.name()) && e.name() != *left_out)
                .cloned()
                .collect();
            let part = locate(&harness, &netlist, &part, &Meter::HANDHELD).unwrap();
            assert_ne!(part.verdict, Verdict::Contradictory, "without {left_out}");
        }
        // Whoever follows the advice reads it again, or something that tells as much.
        let next = found.next.unwrap();
        let same = (next.measurement.kind(), next.measurement.red(), next.measurement.black());
        let wrong = (entries[at].kind, entries[at].red, entries[at].black);
        assert!(next.again && same == wrong || next.bits > 0.5, "{name}: {next:?}");
    }
}

#[test]
fn two_opens_at_once_are_named_as_a_pair() {
    let harness = support::harness("orchard-sprayer.toml");
    let netlist = Netlist::new(&harness);
    let mut text = "format = 1\n".to_owned();
    // The pump's relay gets nothing and the left boom's valve gets nothing; each is read twice, on two ways that have
    // nothing in common, and what they share is good.
    for (red, black, power, unplugged, set, value) in [
        ("P1.K", "P1.B", "connected", "\"P1\"", "S1 = \"run\", S2 = \"spray\"", "0.00 V"),
        ("XB2.3", "P1.K", "isolated", "\"P1\", \"XB1\"", "", "open"),
        ("XB2.3", "XK2.86", "isolated", "\"P1\", \"XB1\"", "", "0.1 ohm"),
        ("P2.1", "XK1.86", "isolated", "\"P1\", \"P2\"", "", "open"),
        ("P2.1", "GP2", "isolated", "\"P1\", \"P2\"", "", "open"),
    ] {
        let kind = if power == "connected" { "voltage" } else { "continuity" };
        text += &format!(
            "[[reading]]\nkind = \"{kind}\"\nred = \"{red}\"\nblack = \"{black}\"\npower = \"{power}\"\n\
             unplugged = [{unplugged}]\nset = {{ {set} }}\nconditions = []\nvalue = \"{value}\"\n"
        );
    }
    let read = record::read(&harness, "record", &text);
    assert_eq!(read.entries.len(), 5);
    let found = locate(&harness, &netlist, &read.entries, &Meter::HANDHELD).unwrap();
    assert_eq!(found.verdict, Verdict::Narrowed);
    let top = &found.suspects[0];
    assert!(top.faults.is_empty() && top.misread.is_empty(), "{:?}", top.faults);
    let named: BTreeSet<String> = top.pairs.iter().flatten().map(|fault| fault.id(&harness)).collect();
    assert!(named.contains("31C:open") && named.contains("32A:open"), "{named:?}");
    let share: f64 = found.suspects.iter().map(|group| group.share).sum();
    assert!(share > 0.5, "{share}");
}

#[test]
fn a_unit_is_accused_only_with_all_it_needs_seen_good() {
    let harness = support::harness("orchard-sprayer.toml");
    let netlist = Netlist::new(&harness);
    let entries = demo(&harness, "readings-dead-box.toml");
    let whole = locate(&harness, &netlist, &entries, &Meter::HANDHELD).unwrap();
    assert_eq!(whole.verdict, Verdict::Located);
    assert!(whole.units.iter().all(ringout::locate::UnitCase::is_closed));
    // Without the reading that proves the enable, or supply and return, it is not accused, and what is asked for next
    // ends in the proof.
    for (left_out, word) in [(5, "condition"), (4, "supply")] {
        let mut part = entries.clone();
        part.remove(left_out);
        let found = locate(&harness, &netlist, &part, &Meter::HANDHELD).unwrap();
        assert_eq!(found.verdict, Verdict::Narrowed, "{word}");
        let open: Vec<&str> =
            found.units[0].proofs.iter().filter(|p| p.by.is_none()).map(|p| p.need.word()).collect();
        assert!(open.contains(&word), "{open:?}");
        assert!(found.next.is_some(), "{word}");
    }
}
