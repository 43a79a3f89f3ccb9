//! Nets and bridges against an independent reference: Python's tomllib and networkx.
//!
//! `tests/reference/nets.py` reads the same text with another TOML reader and asks another graph
//! library. It runs in the interpreter that `RINGOUT_PYTHON` names, which `tests/run` sets up; where
//! it is not set, the comparison is left out and says so, and with `CI=true` that is a failure.

#[path = "support/machine.rs"]
mod machine;

use std::collections::BTreeSet;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use ringout::definition::{Harness, Point, load};
use ringout::netlist::{Link, LinkId, Netlist};
use ringout::setup::{Isolated, Setup};
use serde::{Deserialize, Serialize};

/// One question to the reference.
#[derive(Serialize)]
struct Request {
    file: PathBuf,
    unplugged: Vec<String>,
}

/// What either side answers, in one canonical form.
#[derive(Debug, Default, PartialEq, Eq, Deserialize)]
struct Answer {
    /// Points of each net that holds a wire or the chassis, sorted.
    nets: Vec<Vec<String>>,
    /// Wires, mated contacts and bonds that are bridges, sorted.
    bridges: Vec<String>,
}

/// The interpreter, or `None` where the comparison is to be left out.
fn interpreter() -> Option<String> {
    let python = std::env::var("RINGOUT_PYTHON").ok().filter(|path| !path.is_empty());
    if python.is_none() {
        let message = "LEFT OUT: nets against networkx, because RINGOUT_PYTHON is not set; tests/run sets it";
        assert_ne!(std::env::var("CI").as_deref(), Ok("true"), "{message}");
        // Not by `eprintln!`, which the test runner keeps to itself while tests pass.
        writeln!(std::io::stderr(), "{message}").unwrap();
    }
    python
}

fn ask(python: &str, requests: &[Request]) -> Vec<Answer> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/nets.py");
    let mut command = Command::new(python);
    command.arg("-B").arg(script).arg("--batch").stdin(Stdio::piped()).stdout(Stdio::piped());
    let mut child = command.spawn().unwrap_or_else(|error| panic!("cannot run {python}: {error}"));
    let text = serde_json::to_vec(requests).unwrap();
    child.stdin.take().unwrap().write_all(&text).unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "the reference failed: {}", output.status);
    serde_json::from_slice(&output.stdout).unwrap()
}

fn read(path: &Path) -> Harness {
    let text = std::fs::read_to_string(path).unwrap();
    let folder = path.parent().unwrap().to_owned();
    let mut used = |name: &str| std::fs::read_to_string(folder.join(name)).map_err(|e| e.to_string());
    let loaded = load(path.file_name().unwrap().to_str().unwrap(), text, None, &mut used);
    loaded.unwrap_or_else(|rejected| panic!("{}: {rejected}", path.display())).harness
}

/// The answer of the program under test.
fn ours(harness: &Harness, unplugged: &[String]) -> Answer {
    let netlist = Netlist::new(harness);
    let setup = Setup::from(unplugged.iter().fold(Isolated::at_rest(), |setup, name| {
        let connector = harness.names.connector(name).unwrap();
        setup.part(harness.connectors[connector].mating.unwrap())
    }));
    let joins = |link: LinkId| setup.joins(&netlist, link);
    let nets = netlist.groups(joins);
    let bridges = netlist.bridges(joins);
    // Mated contacts that nothing attaches to are a net of two here, and unknown to the reference.
    let mut known = BTreeSet::from([nets.of(netlist.chassis())]);
    known.extend(harness.wires.values().map(|wire| nets.of(harness.point_index(wire.ends[0]))));
    let name = |node: usize| harness.point_name(netlist.point(node));
    let mut answer = Answer::default();
    for (id, members) in nets.iter().filter(|(_, members)| members.len() > 1) {
        if known.contains(&id) {
            let mut points: Vec<String> = members.iter().map(|node| name(*node)).collect();
            points.sort();
            answer.nets.push(points);
        } else {
            assert!(is_unwired_mating(harness, members.iter().map(|n| netlist.point(*n)).collect()));
        }
    }
    answer.nets.sort();
    let counted = netlist.links().filter(|link| known.contains(&nets.of(netlist.ends(*link)[0])));
    answer.bridges =
        counted.filter(|l| bridges[l.index()]).map(|l| link_name(harness, &netlist, l)).collect();
    answer.bridges.sort();
    answer
}

fn is_unwired_mating(harness: &Harness, points: Vec<Point>) -> bool {
    match points[..] {
        [Point::Contact(a), Point::Contact(b)] => harness.contacts[a].mate == Some(b),
        _ => false,
    }
}

fn link_name(harness: &Harness, netlist: &Netlist, link: LinkId) -> String {
    let mut ends = netlist.ends(link).map(|node| harness.point_name(netlist.point(node)));
    if let Link::Wire(wire) = netlist.link(link) {
        return harness.wires[wire].id.clone();
    }
    if matches!(netlist.link(link), Link::Mated { .. }) {
        ends.sort();
    }
    ends.join("/")
}

/// Some of a machine's matings, each named from either of its sides.
fn some_matings(harness: &Harness, rng: &mut machine::Rng) -> Vec<String> {
    let parted: Vec<_> = harness.matings.values().filter(|_| rng.chance(30)).collect();
    let sides = parted.into_iter().map(|mating| if rng.chance(50) { mating.first } else { mating.second });
    sides.map(|connector| harness.connectors[connector].id.clone()).collect()
}

/// Compares a list of definitions, each as found and twice with something unplugged.
fn compare(python: &str, files: &[PathBuf]) {
    let mut rng = machine::Rng::new(1);
    let mut requests = Vec::new();
    let mut expected = Vec::new();
    for file in files {
        let harness = read(file);
        let plans = [Vec::new(), some_matings(&harness, &mut rng), some_matings(&harness, &mut rng)];
        for unplugged in plans {
            expected.push(ours(&harness, &unplugged));
            requests.push(Request { file: file.clone(), unplugged });
        }
    }
    let answers = ask(python, &requests);
    assert_eq!(answers.len(), expected.len());
    for ((request, answer), ours) in requests.iter().zip(&answers).zip(&expected) {
        let text = std::fs::read_to_string(&request.file).unwrap();
        assert_eq!(ours, answer, "unplugged {:?} in\n{text}", request.unplugged);
    }
    assert!(answers.iter().any(|a| !a.nets.is_empty() && !a.bridges.is_empty()), "nothing was compared");
}

#[test]
fn made_machines_have_the_nets_and_bridges_that_networkx_finds() {
    let Some(python) = interpreter() else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut files: Vec<PathBuf> = Vec::new();
    for seed in 0..60 {
        let file = folder.path().join(format!("{seed}.toml"));
        std::fs::write(&file, machine::random(seed, 10 + 4 * seed as usize)).unwrap();
        files.push(file);
    }
    let file = folder.path().join("large.toml");
    std::fs::write(&file, machine::large(2_000)).unwrap();
    files.push(file);
    compare(&python, &files);
}

#[test]
fn every_harness_of_the_project_has_the_nets_and_bridges_that_networkx_finds() {
    let Some(python) = interpreter() else { return };
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("harnesses");
    let mut files: Vec<PathBuf> = Vec::new();
    // The files of harnesses/orchard-sprayer/ are read by orchard-sprayer.toml.
    for folder in [root.clone(), root.join("published")] {
        let entries = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
        files.extend(entries.filter(|path| path.extension().is_some_and(|e| e == "toml")));
    }
    files.sort();
    assert!(files.len() >= 13, "{files:?}");
    compare(&python, &files);
}
