//! ngspice, a general-purpose circuit simulator, as a second opinion.
//!
//! Comes in: the text of a deck. Goes out: what the simulator prints, by name, and the deck's elements as
//! somebody reads them who knows the language only. Why: voltages that an outside program finds are worth
//! more than a second run of the same code.

#![allow(dead_code, reason = "each test and each bench uses its own share of this module")]

use std::collections::BTreeMap;
use std::io::Write;
use std::process::{Command, Stdio};

/// What one analysis printed: voltages, or differences of them, by what was asked for.
pub(crate) type Printed = BTreeMap<String, f64>;

/// Whether the simulator is there. Where it is not, the comparison is left out and says so, and with
/// `CI=true` that is a failure.
pub(crate) fn is_there() -> bool {
    let mut version = Command::new("ngspice");
    version.arg("--version").stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    let there = version.status().is_ok_and(|status| status.success());
    if !there {
        let message =
            "LEFT OUT: circuits against ngspice, because it is not installed; tests/run installs it";
        assert_ne!(std::env::var("CI").as_deref(), Ok("true"), "{message}");
        // Not by `eprintln!`, which the test runner keeps to itself while tests pass.
        std::io::stderr().write_all(format!("{message}\n").as_bytes()).expect("standard error is open");
    }
    there
}

/// Runs a deck as it stands and gives what it prints.
pub(crate) fn run(deck: &str) -> Printed {
    let mut all = run_all(deck);
    assert_eq!(all.len(), 1, "one analysis was expected");
    all.pop().unwrap_or_default()
}

/// Runs a deck with several analyses, set apart by lines that [`NEXT`] prints.
pub(crate) fn run_all(deck: &str) -> Vec<Printed> {
    let folder = tempfile::tempdir().expect("a folder for the deck");
    let path = folder.path().join("deck.cir");
    std::fs::write(&path, deck).expect("the deck is written");
    let output = Command::new("ngspice").arg("-b").arg(&path).stdin(Stdio::null()).output();
    let output = output.expect("ngspice starts");
    let [shown, noted] = [&output.stdout, &output.stderr].map(|bytes| String::from_utf8_lossy(bytes));
    let lower = noted.to_lowercase();
    let complains = ["error", "warning", "singular"].iter().any(|word| lower.contains(word));
    assert!(output.status.success() && !complains, "ngspice: {}\n{noted}\n{shown}\n{deck}", output.status);
    shown.split(MARK).map(printed).collect()
}

const MARK: &str = "@@@@";

/// The command that separates two analyses.
pub(crate) const NEXT: &str = "echo @@@@\n";

/// Lines such as `v(p1_k) = 2.5e+01`.
fn printed(text: &str) -> Printed {
    let value = |line: &str| {
        let (name, value) = line.split_once(" = ")?;
        Some((name.trim().to_owned(), value.trim().parse().ok()?))
    };
    text.lines().filter(|line| line.starts_with("v(")).filter_map(value).collect()
}

/// The resistances between pairs of nodes: the voltage that one ampere makes between them, one analysis for
/// each pair.
pub(crate) fn resistances(circuit: &str, pairs: &[[&str; 2]]) -> Vec<f64> {
    let mut deck = circuit.to_owned();
    for (at, [a, b]) in pairs.iter().enumerate() {
        deck += &format!("i_probe{at} {b} {a} dc 0\n");
    }
    deck += ".control\nset numdgt=16\n";
    for (at, [a, b]) in pairs.iter().enumerate() {
        let volts = |name: &str| if name == "0" { String::new() } else { format!("print v({name})\n") };
        deck += &format!("alter i_probe{at} dc = 1\nop\n{}{}", volts(a), volts(b));
        deck += &format!("alter i_probe{at} dc = 0\n{NEXT}");
    }
    deck += "quit\n.endc\n.end\n";
    let printed = run_all(&deck);
    let pairs = pairs.iter().zip(&printed);
    pairs.map(|([a, b], printed)| voltage(printed, a) - voltage(printed, b)).collect()
}

/// The voltage of a node; node `0` is the reference.
pub(crate) fn voltage(printed: &Printed, node: &str) -> f64 {
    if node == "0" {
        return 0.0;
    }
    *printed.get(&format!("v({node})")).unwrap_or_else(|| panic!("the simulator printed no v({node})"))
}

/// An element of a deck, with the comment in front of it.
#[derive(Debug, Clone)]
pub(crate) struct Element {
    pub(crate) name: String,
    pub(crate) ends: [String; 2],
    pub(crate) value: f64,
    pub(crate) comment: String,
}

/// The elements of a deck.
pub(crate) fn elements(circuit: &str) -> Vec<Element> {
    let mut comment = "";
    let mut found = Vec::new();
    for line in circuit.lines() {
        if let Some(text) = line.strip_prefix("* ") {
            comment = text;
            continue;
        }
        let words: Vec<&str> = line.split(' ').collect();
        let [name, a, b, value] = words[..] else { panic!("not an element: {line}") };
        found.push(Element {
            name: name.to_owned(),
            ends: [a, b].map(str::to_owned),
            value: value.parse().unwrap_or_else(|_| panic!("not a value: {line}")),
            comment: comment.to_owned(),
        });
    }
    found
}

/// The island of every node of a deck, by the least of its names. What ties islands to the reference does
/// not join them.
pub(crate) fn islands(elements: &[Element]) -> BTreeMap<String, String> {
    let mut near: BTreeMap<&str, Vec<&str>> = BTreeMap::from([("0", Vec::new())]);
    for element in elements.iter().filter(|element| !element.comment.starts_with("the island of ")) {
        let [a, b] = element.ends.each_ref().map(String::as_str);
        near.entry(a).or_default().push(b);
        near.entry(b).or_default().push(a);
    }
    let mut island = BTreeMap::new();
    for start in near.keys() {
        let mut open = vec![*start];
        while let Some(node) = open.pop() {
            if !island.contains_key(node) {
                island.insert(node.to_owned(), (*start).to_owned());
                open.extend(&near[node]);
            }
        }
    }
    island
}
