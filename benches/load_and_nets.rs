//! Times and memory of a machine of 100,000 wires, and of networks that are hard on a factorisation.
//!
//! Run with `cargo bench --bench load_and_nets`. Aims, on one core of an ordinary computer: loading
//! and nets together under one second and under 600 MB; one solved circuit under two seconds. The same
//! machine for another program: set `RINGOUT_BENCH_FILE` to a path, and its text is written there.

#[path = "../tests/support/machine.rs"]
mod machine;

use std::hint::black_box;
use std::time::{Duration, Instant};

use criterion::{BatchSize, Criterion};

use ringout::circuit::{self, Corner, Factor};
use ringout::compare::compare;
use ringout::definition::{Harness, load};
use ringout::netlist::Netlist;
use ringout::setup::{Connected, Isolated, Setup};
use ringout::sheet;

const WIRES: usize = 100_000;

fn main() {
    let text = machine::large(WIRES);
    if let Ok(path) = std::env::var("RINGOUT_BENCH_FILE") {
        std::fs::write(&path, &text).expect("the file can be written");
        report(&format!("wrote {path}"));
    }
    once(&text);
    two_revisions(&text);
    let mut criterion = Criterion::default()
        .sample_size(10)
        .warm_up_time(Duration::from_secs(1))
        .measurement_time(Duration::from_secs(5))
        .without_plots()
        .configure_from_args();
    machine_of_100_000_wires(&mut criterion, &text);
    hard_networks(&mut criterion);
    criterion.final_summary();
}

#[expect(clippy::print_stderr, reason = "a benchmark reports to the person who runs it")]
fn report(line: &str) {
    eprintln!("{line}");
}

/// The whole way once, with the memory it took: a later peak would hide it.
fn once(text: &str) {
    let before = peak_memory();
    let start = Instant::now();
    let harness = harness(text.to_owned());
    let netlist = Netlist::new(&harness);
    let groups = netlist.groups(|link| Setup::from(Isolated::at_rest()).joins(&netlist, link));
    report(&format!(
        "load and nets, once: {} wires, {} contacts, {} parts, {} nets in {:.2?}",
        harness.wires.len(),
        harness.contacts.len(),
        harness.parts.len(),
        groups.len(),
        start.elapsed(),
    ));
    memory("before loading (the text itself)", before);
    memory("after loading and nets", peak_memory());
    for setup in [Setup::from(Isolated::at_rest()), Setup::from(Connected::as_found())] {
        let start = Instant::now();
        let solved = circuit::solve(&harness, &netlist, &setup, &[], Corner::Nominal);
        let verdict = if solved.is_ok() { "solved" } else { "NOT SOLVED" };
        report(&format!(
            "circuit, power {}, once: {verdict} in {:.2?}",
            setup.power().word(),
            start.elapsed()
        ));
    }
    memory("after solving", peak_memory());
}

/// The next revision: all wires and splices have new ids, and one wire in two hundred is longer.
fn next_revision(text: &str) -> String {
    let mut count = 0;
    let mut out = String::with_capacity(text.len() + text.len() / 50);
    for line in text.lines() {
        let line = match line.strip_prefix("id = \"") {
            Some(id) if id != "MADE\"" => format!("id = \"N{id}"),
            _ => line.replace("\"SP", "\"NSP").replace("[splice.SP", "[splice.NSP"),
        };
        count += usize::from(line.starts_with("length"));
        let line = if line.starts_with("length") && count % 200 == 0 { "length = \"9.9 m\"" } else { &line };
        out.push_str(line);
        out.push('\n');
    }
    out
}

/// Two revisions from their texts to the comparison. Aim: under five seconds, loading included.
fn two_revisions(text: &str) {
    let next = next_revision(text);
    for (what, next) in [("with itself", text), ("with renamed wires and splices", next.as_str())] {
        let start = Instant::now();
        let [old, new] = [text, next].map(|text| harness(text.to_owned()));
        let loaded = start.elapsed();
        let found = compare(&old, &new);
        report(&format!(
            "compare {what}, once: {}, {} changes, loaded in {loaded:.2?}, all in {:.2?}",
            found.verdict.word(),
            found.changes.len(),
            start.elapsed()
        ));
    }
    memory("after comparing", peak_memory());
}

fn memory(when: &str, kilobytes: Option<u64>) {
    match kilobytes {
        Some(kilobytes) => report(&format!("peak memory {when}: {} MB", kilobytes / 1024)),
        None => report(&format!("peak memory {when}: this system does not say")),
    }
}

/// The most memory the process has had so far, in KiB, where the system tells (`VmHWM`).
fn peak_memory() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    line.split_whitespace().next()?.parse().ok()
}

fn harness(text: String) -> Harness {
    let none = &mut |path: &str| Err(format!("{path} is not there"));
    load("large.toml", text, None, none).expect("the made machine loads").harness
}

fn machine_of_100_000_wires(criterion: &mut Criterion, text: &str) {
    let mut group = criterion.benchmark_group("100000_wires");
    group.bench_function("load", |b| b.iter_batched(|| text.to_owned(), harness, BatchSize::PerIteration));
    let harness = harness(text.to_owned());
    group.bench_function("netlist", |b| b.iter(|| Netlist::new(&harness)));
    let netlist = Netlist::new(&harness);
    let isolated = Setup::from(Isolated::at_rest());
    let connected = Setup::from(Connected::as_found());
    group.bench_function("nets", |b| b.iter(|| netlist.groups(|link| isolated.joins(&netlist, link))));
    group.bench_function("bridges", |b| b.iter(|| netlist.bridges(|link| isolated.joins(&netlist, link))));
    group.bench_function("nets_json", |b| {
        b.iter(|| {
            serde_json::to_string(&sheet::nets(&harness, &netlist, &isolated).0).map(|json| json.len())
        });
    });
    let next = self::harness(next_revision(text));
    group.bench_function("compare_itself", |b| b.iter(|| compare(&harness, &harness).verdict));
    group.bench_function("compare_renamed", |b| b.iter(|| compare(&harness, &next).verdict));
    for (name, setup) in [("circuit_isolated", &isolated), ("circuit_connected", &connected)] {
        group.bench_function(name, |b| {
            b.iter(|| circuit::solve(&harness, &netlist, setup, &[], Corner::Nominal).map(black_box).is_ok());
        });
    }
    group.finish();
}

/// Networks on which elimination by least degree can go wrong: a hub, a long queue, a mesh.
fn hard_networks(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("factor");
    for (name, nodes, branches) in [star(50_000), chain(100_000), grid(100)] {
        let mut reference = vec![false; nodes];
        reference[0] = true;
        group.bench_function(name, |b| b.iter(|| Factor::new(nodes, &branches, &reference).is_ok()));
    }
    group.finish();
}

type Case = (&'static str, usize, Vec<(usize, usize, f64)>);

/// A bus with so many loads, each with a wire to the bus and a wire to the chassis (node 0).
fn star(loads: usize) -> Case {
    let bus = 1;
    let load = |at: usize| {
        let [a, b] = [2 + 2 * at, 3 + 2 * at];
        [(bus, a, 100.0), (a, b, 0.1), (b, 0, 100.0)]
    };
    ("star_50000_loads", 2 + 2 * loads, (0..loads).flat_map(load).collect())
}

fn chain(nodes: usize) -> Case {
    ("chain_100000", nodes, (1..nodes).map(|node| (node - 1, node, 10.0)).collect())
}

fn grid(side: usize) -> Case {
    let node = |x: usize, y: usize| y * side + x;
    let mut branches = Vec::new();
    for y in 0..side {
        for x in 0..side {
            if x + 1 < side {
                branches.push((node(x, y), node(x + 1, y), 1.0));
            }
            if y + 1 < side {
                branches.push((node(x, y), node(x, y + 1), 1.0));
            }
        }
    }
    ("grid_100x100", side * side, branches)
}
