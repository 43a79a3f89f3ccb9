//! Learning a lead from readings: what is proven, what contradicts, and what a design does not explain.
//!
//! Nets are held against a general-purpose library's search for components; leads against the allocations of their standards,
//! written out here from the tables and not from the definitions.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

mod support;

use std::collections::{BTreeMap, BTreeSet};
use std::process::{Command, Output};

use petgraph::algo::kosaraju_scc;
use petgraph::graph::{NodeIndex, UnGraph};
use petgraph::unionfind::UnionFind;
use proptest::prelude::*;
use ringout::definition::load;
use ringout::exchange::{About, read_csv};
use ringout::learn::{CONDUCTOR_BELOW, Lead, Rows, TableError, against, definition, read};
use ringout::netlist::Netlist;
use ringout::setup::{Isolated, Setup};
use support::harness;

fn rows(table: &str) -> Rows {
    read(&read_csv(table.as_bytes(), None, None).unwrap()).unwrap()
}

fn lead(table: &str) -> Lead {
    Lead::new(&rows(table), CONDUCTOR_BELOW)
}

fn nets(lead: &Lead) -> BTreeSet<BTreeSet<String>> {
    lead.nets.iter().map(|net| net.points.iter().map(|at| lead.points[*at].clone()).collect()).collect()
}

/// All readings of a lead with these connections, every pair of points once.
fn rung_out(points: &[&str], joined: &[(&str, &str)]) -> String {
    let mut sets = UnionFind::<usize>::new(points.len());
    let at = |name: &str| points.iter().position(|point| *point == name).unwrap();
    for (a, b) in joined {
        sets.union(at(a), at(b));
    }
    let mut table = "red,black,reading\n".to_owned();
    for (a, red) in points.iter().enumerate() {
        for (b, black) in points.iter().enumerate().skip(a + 1) {
            let reading = if sets.equiv(a, b) { "0.3 ohm" } else { "OL" };
            table.push_str(&format!("{red},{black},{reading}\n"));
        }
    }
    table
}

/// The full null modem between 9-way connectors (EIA/TIA-574 numbers; the crossing is common practice, published in
/// many handbooks): 2-3, 3-2, 4-6, 6-4 with 1, 5-5, 7-8, 8-7.
const NULL_MODEM: [(&str, &str); 9] = [
    ("XA.2", "XB.3"),
    ("XA.3", "XB.2"),
    ("XA.4", "XB.6"),
    ("XA.6", "XB.4"),
    ("XA.5", "XB.5"),
    ("XA.7", "XB.8"),
    ("XA.8", "XB.7"),
    ("XA.1", "XA.6"),
    ("XB.1", "XB.6"),
];

fn nine_way() -> Vec<String> {
    ["XA", "XB"].iter().flat_map(|end| (1..=9).map(move |n| format!("{end}.{n}"))).collect()
}

#[test]
fn a_null_modem_is_learned_and_is_as_published() {
    let points = nine_way();
    let points: Vec<&str> = points.iter().map(String::as_str).collect();
    let table = rung_out(&points, &NULL_MODEM);
    let (rows, lead) = (rows(&table), lead(&table));
    assert!(lead.contradictions.is_empty() && lead.unread.is_empty() && lead.between.is_empty());
    let design = harness("published/null-modem.toml");
    let found = against(&rows, &lead, CONDUCTOR_BELOW, &design);
    assert_eq!((found.differs.len(), found.agree), (0, 18 * 17 / 2), "{found:?}");
    assert!(found.unknown.is_empty() && found.unread.is_empty() && found.exchanged.is_empty());
}

#[test]
fn a_straight_lead_is_no_null_modem() {
    let points = nine_way();
    let points: Vec<&str> = points.iter().map(String::as_str).collect();
    let straight: Vec<(String, String)> = (1..=9).map(|n| (format!("XA.{n}"), format!("XB.{n}"))).collect();
    let straight: Vec<(&str, &str)> = straight.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect();
    let table = rung_out(&points, &straight);
    let (rows, lead) = (rows(&table), lead(&table));
    let found = against(&rows, &lead, CONDUCTOR_BELOW, &harness("published/null-modem.toml"));
    let exchanged: BTreeSet<(&str, &str)> =
        found.exchanged.iter().map(|e| (e.0.as_str(), e.1.as_str())).collect();
    // By hand: 2 and 3, 7 and 8 are crossed in the one and straight in the other; 4 and 6 too, but 1 hangs on 6.
    for pair in [("XA.2", "XA.3"), ("XB.2", "XB.3"), ("XA.7", "XA.8"), ("XB.7", "XB.8")] {
        assert!(exchanged.contains(&pair), "{pair:?} is not among {exchanged:?}");
    }
    // Nine straight connections, of which only 5 to 5 is designed; eight designed nets and links, of which seven are
    // not there: what each reading says follows from the two lists above.
    assert!(found.differs.iter().any(|d| d.words.starts_with("XA.9 to XB.9 reads 0.3 ohm")), "{found:?}");
    assert!(found.differs.iter().any(|d| d.words.starts_with("XA.2 to XB.3 reads open")), "{found:?}");
}

#[test]
fn what_cannot_be_true_together_is_named_with_its_rows() {
    let lead = lead("from,to,ohms\nA.1,B.1,0.2\nB.1,C.1,tone\nA.1,C.1,OL\nA.1,D.1,120 ohm\nC.1,D.1,OL\n");
    let words: Vec<&str> = lead.contradictions.iter().map(|found| found.words.as_str()).collect();
    assert_eq!(
        words,
        [
            "row 4 reads open between A.1 and C.1, which rows 2 and 3 join",
            "row 6 reads open where row 5 read a resistance"
        ]
    );
}

#[test]
fn what_nobody_read_is_left_open() {
    let lead = lead("red,black,reading\nA.1,B.1,0.2 ohm\nA.2,B.2,0.2 ohm\nA.1,B.3,open\n");
    let open: Vec<[&str; 2]> =
        lead.unread.iter().map(|ends| ends.map(|at| lead.points[at].as_str())).collect();
    // Three nets, of which two were read against each other.
    assert_eq!(open, [["A.1", "A.2"], ["A.2", "B.3"]]);
}

#[test]
fn rows_that_say_nothing_are_kept_with_their_reason() {
    let rows =
        rows("red;black;reading\nA.1;A.1;open\nA.1;B.1;1\n;B.1;open\n\nred;black;reading\nA.1;B.1;0.2 ohm\n");
    let reasons: Vec<(usize, bool)> = rows.rejects.iter().map(|r| (r.row, !r.reason.is_empty())).collect();
    assert_eq!(reasons, [(2, true), (3, true), (4, true)]);
    assert_eq!(rows.rows.len(), 1);
    let grid = |text: &str| read_csv(text.as_bytes(), None, None).unwrap();
    assert_eq!(read(&grid("this,is,no,head\n")), Err(TableError::NoHead));
    assert_eq!(read(&grid("red,black,reading\n")), Err(TableError::Empty(1)));
}

/// What was learned, read back: the same points are one net.
fn again(lead: &Lead) -> BTreeSet<BTreeSet<String>> {
    let about = About { id: "LEAD".into(), title: "A lead".into(), revision: "A".into() };
    let text = definition(lead, &about, "readings.csv");
    let none = &mut |path: &str| Err(format!("{path} is not there"));
    let harness = load("lead.toml", text.clone(), None, none)
        .unwrap_or_else(|found| panic!("{:?}\n{text}", found.diagnostics))
        .harness;
    let netlist = Netlist::new(&harness);
    let setup = Setup::from(Isolated::at_rest());
    let nets = netlist.groups(|link| setup.joins(&netlist, link));
    let mut found: BTreeMap<usize, BTreeSet<String>> = BTreeMap::new();
    for name in &lead.points {
        let node = harness.point_index(harness.point(name).unwrap());
        found.entry(nets.of(node)).or_default().insert(name.clone());
    }
    found.into_values().collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Against petgraph's search for components, on readings that know no plan.
    #[test]
    fn nets_are_the_components_of_what_is_joined(
        readings in proptest::collection::vec((0_usize..12, 0_usize..12, 0_u8..4), 1..40)
    ) {
        let name = |at: usize| format!("{}.{}", ["A", "B", "C"][at % 3], at / 3 + 1);
        let mut graph = UnGraph::<(), ()>::default();
        for _ in 0..12 {
            graph.add_node(());
        }
        let mut named = BTreeSet::new();
        let mut table = "red,black,reading\n".to_owned();
        for (a, b, kind) in readings.iter().filter(|(a, b, _)| a != b) {
            table.push_str(&format!("{},{},{}\n", name(*a), name(*b), ["0.2 ohm", "tone", "OL", "470 ohm"][*kind as usize]));
            if *kind < 2 {
                graph.add_edge(NodeIndex::new(*a), NodeIndex::new(*b), ());
            }
            named.extend([*a, *b]);
        }
        prop_assume!(!named.is_empty());
        let of_named = |component: Vec<NodeIndex>| -> BTreeSet<String> {
            component.into_iter().map(NodeIndex::index).filter(|at| named.contains(at)).map(name).collect()
        };
        let expected: BTreeSet<BTreeSet<String>> =
            kosaraju_scc(&graph).into_iter().map(of_named).filter(|net| !net.is_empty()).collect();
        let lead = lead(&table);
        prop_assert_eq!(nets(&lead), expected.clone());
        prop_assert_eq!(again(&lead), expected);
    }

    #[test]
    fn no_table_makes_it_panic(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        let text = [b"red,black,reading\n".as_slice(), &bytes].concat();
        if let Ok(grid) = read_csv(&text, None, None)
            && let Ok(rows) = read(&grid)
        {
            let lead = Lead::new(&rows, CONDUCTOR_BELOW);
            let about = About { id: "LEAD".into(), title: String::new(), revision: "A".into() };
            prop_assert!(!definition(&lead, &about, "x.csv").is_empty());
        }
    }
}

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_ringout")).args(args).output().unwrap()
}

#[test]
fn the_command_writes_what_check_takes_and_nothing_that_contradicts_itself() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    std::fs::write(path("good.csv"), "red,black,reading\nA.1,B.1,0.2 ohm\nA.1,A.2,OL\n").unwrap();
    let out = run(&["learn", &path("good.csv"), "-o", &path("lead.toml")]);
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    assert_eq!(run(&["check", &path("lead.toml")]).status.code(), Some(0));
    // Nothing is overwritten.
    assert_eq!(run(&["learn", &path("good.csv"), "-o", &path("lead.toml")]).status.code(), Some(2));
    std::fs::write(path("bad.csv"), "red,black,reading\nA.1,B.1,0.2 ohm\nB.1,A.1,OL\n").unwrap();
    assert_eq!(run(&["learn", &path("bad.csv")]).status.code(), Some(1));
    assert_eq!(run(&["learn", &path("bad.csv"), "-o", &path("bad.toml")]).status.code(), Some(2));
    assert!(!folder.path().join("bad.toml").exists());
    assert_eq!(run(&["learn", &path("good.csv"), "--conductor-below", "ten"]).status.code(), Some(2));
    assert_eq!(run(&["learn", &path("none.csv")]).status.code(), Some(2));
}
