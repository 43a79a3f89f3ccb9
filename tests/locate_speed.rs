//! How long an answer takes: on the invented sprayer, and on a made machine of a thousand wires. Limits are the project's
//! own (no source) and hold for an optimised build: `cargo test --release --test locate_speed -- --ignored --nocapture`.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]
#![allow(clippy::print_stdout, reason = "what is measured is the result")]

#[path = "support/bench.rs"]
mod bench;
#[path = "support/machine.rs"]
mod machine;
#[path = "support/mod.rs"]
mod support;

use std::time::{Duration, Instant};

use bench::Bench;
use machine::{large, read};
use ringout::definition::Harness;
use ringout::fault::Universe;
use ringout::locate::{Verdict, locate};
use ringout::measure::{Meter, Reading};
use ringout::netlist::Netlist;
use ringout::plan::{Scope, plan};
use ringout::record::{self, Entry, NewEntry};
use ringout::setup::position_name;

/// The quickest of three.
fn time(harness: &Harness, netlist: &Netlist, entries: &[Entry]) -> (Duration, Verdict) {
    let once = || {
        let start = Instant::now();
        let verdict = locate(harness, netlist, entries, &Meter::HANDHELD).unwrap().verdict;
        (start.elapsed(), verdict)
    };
    (0..3).map(|_| once()).min_by_key(|(time, _)| *time).unwrap()
}

#[test]
#[ignore = "a time limit of an optimised build"]
fn an_answer_on_the_sprayer_takes_a_fifth_of_a_second() {
    let harness = support::harness("orchard-sprayer.toml");
    let netlist = Netlist::new(&harness);
    for name in ["readings-harness-fault.toml", "readings-dead-box.toml"] {
        let path = support::path("..").join("demo").join(name);
        let entries = record::read(&harness, name, &std::fs::read_to_string(path).unwrap()).entries;
        let mut most = Duration::ZERO;
        for count in 1..=entries.len() {
            let (took, verdict) = time(&harness, &netlist, &entries[..count]);
            println!("{name}, {count} readings: {took:?}, {verdict:?}");
            most = most.max(took);
        }
        assert!(most < Duration::from_millis(200), "{most:?}");
    }
}

#[test]
#[ignore = "a time limit of an optimised build"]
fn an_answer_on_a_thousand_wires_takes_two_seconds() {
    let text = large(1000);
    let harness = read(&text);
    let netlist = Netlist::new(&harness);
    let plan = plan(&harness, &netlist, &Scope::default(), Meter::HANDHELD).unwrap();
    let universe = Universe::new(&harness, &netlist);
    let faults: Vec<_> = universe.iter().map(|(fault, _)| fault).collect();
    let mut tried = 0;
    for fault in faults.iter().step_by(faults.len() / 12) {
        let mut bench = Bench::new(&harness, &netlist, read(&text), Some(*fault), 1);
        let Some(step) = plan.steps().find(|step| step.covers.contains(fault)) else { continue };
        let mut record = "format = 1\n".to_owned();
        let mut wanted = Some(step.measurement.clone());
        while let Some(m) = wanted.take() {
            let value = bench.read(&m);
            if record.lines().count() < 3 && step.expect.admits(Reading::parse(m.kind(), &value).unwrap()) {
                break;
            }
            let setup = m.setup();
            let set = setup
                .set()
                .map(|(s, at)| (harness.parts[s].id.clone(), position_name(&harness, s, at).to_owned()));
            let entry = NewEntry {
                kind: m.kind().word().to_owned(),
                red: harness.point_name(m.red()),
                black: harness.point_name(m.black()),
                power: setup.power().word().to_owned(),
                unplugged: setup.unplugged(&harness).map(|c| harness.connectors[c].id.clone()).collect(),
                set: set.collect(),
                value,
                ..NewEntry::default()
            };
            record += &entry.text();
            let entries = record::read(&harness, "record", &record).entries;
            let start = Instant::now();
            let found = locate(&harness, &netlist, &entries, &Meter::HANDHELD).unwrap();
            let took = start.elapsed();
            println!("{}: {} readings, {took:?}, {:?}", fault.id(&harness), entries.len(), found.verdict);
            assert!(took < Duration::from_secs(2), "{took:?}");
            tried += 1;
            if found.verdict != Verdict::Located && entries.len() < 10 {
                wanted = found.next.map(|next| next.measurement);
            }
        }
    }
    println!("{} faults of {} wires", faults.len(), harness.wires.len());
    assert!(tried >= 10);
}
