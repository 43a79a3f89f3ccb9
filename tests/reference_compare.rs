//! Comparisons whose difference is published: pairs, null modems, trailer leads.
//!
//! The allocations are written out here a second time, from the standards' tables and not from the definitions; where no
//! definition of such a lead exists, it is made from the table. What must come out follows from two tables by hand.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

mod support;

use std::collections::BTreeSet;

use ringout::compare::{Comparison, Effect, Level, Pattern, Verdict, compare};
use ringout::definition::{Harness, load};
use support::harness;

fn published(name: &str) -> Harness {
    harness(&format!("published/{name}.toml"))
}

fn read(text: &str) -> Harness {
    let none = &mut |path: &str| Err(format!("{path} is not there"));
    load("lead.toml", text.to_owned(), None, none).unwrap().harness
}

/// Each explanation as its pattern, its connectors and its moves.
fn thoughts(of: &Comparison) -> BTreeSet<(Pattern, String, String)> {
    let moves = |moves: &[[String; 2]]| {
        moves.iter().map(|[from, to]| format!("{from}>{to}")).collect::<Vec<_>>().join(" ")
    };
    of.explanations.iter().map(|e| (e.pattern.clone(), e.connectors.join(" "), moves(&e.moves))).collect()
}

/// The new nets of more than one point that are not what they were, everything plugged in.
fn nets_after(of: &Comparison) -> BTreeSet<String> {
    let found = of.nets.iter().filter(|net| net.level == Level::AsFound);
    found.flat_map(|net| &net.after).filter(|net| net.len() > 1).map(|net| net.join(" ")).collect()
}

fn set<const N: usize>(texts: [&str; N]) -> BTreeSet<String> {
    texts.into_iter().map(str::to_owned).collect()
}

fn retested(of: &Comparison) -> Vec<&str> {
    of.retest.wires.iter().map(|wire| wire.wire.as_str()).collect()
}

/// ANSI/TIA-568: contact, colour and pair of assignment A, colour and pair of assignment B.
const TIA_568: [(&str, &str, u8, &str, u8); 8] = [
    ("1", "WH/GN", 3, "WH/OG", 2),
    ("2", "GN", 3, "OG", 2),
    ("3", "WH/OG", 2, "WH/GN", 3),
    ("4", "BU", 1, "BU", 1),
    ("5", "WH/BU", 1, "WH/BU", 1),
    ("6", "OG", 2, "GN", 3),
    ("7", "WH/BN", 4, "WH/BN", 4),
    ("8", "BN", 4, "BN", 4),
];

/// Contacts whose pair differs between the assignments, by the pair that A has there.
fn exchanged(pair: u8) -> Vec<&'static str> {
    TIA_568.iter().filter(|row| row.2 != row.4 && row.2 == pair).map(|row| row.0).collect()
}

#[test]
fn t568a_against_t568b_is_an_exchange_of_pairs_and_no_electrical_difference() {
    assert_eq!((exchanged(3), exchanged(2)), (vec!["1", "2"], vec!["3", "6"]));
    let found = compare(&published("patch-lead-t568a"), &published("patch-lead-t568b"));
    assert_eq!(found.verdict, Verdict::Same);
    assert!(found.nets.is_empty() && found.retest.wires.is_empty() && found.retest.apart.is_empty());
    // Both ends alike, core by core: white with white, colour with colour.
    let moves = "1>3 2>6 3>1 6>2".to_owned();
    assert_eq!(thoughts(&found), BTreeSet::from([(Pattern::PairSwap, "XA XB".to_owned(), moves)]));
    assert!(found.explanations[0].cores);
    // The cores that have another colour are those of the table.
    let colours: BTreeSet<String> = found
        .changes
        .iter()
        .filter(|change| change.what.words() == "colour")
        .map(|change| format!("{} {} {}", change.name(), change.before, change.after))
        .collect();
    let by_table = TIA_568.iter().filter(|row| row.1 != row.3);
    let by_table: BTreeSet<String> = by_table.map(|row| format!("{}A {} {}", row.0, row.1, row.3)).collect();
    assert_eq!(colours, by_table);
    assert!(found.changes.iter().all(|change| change.effect == Effect::Paper));
}

/// A lead with assignment A at one end and B at the other is a crossover: 1-3, 2-6, 3-1, 6-2 (ANSI/TIA-568).
#[test]
fn a_lead_with_both_assignments_is_a_crossover_at_one_end() {
    let cross = published("crossover-lead-t568");
    let found = compare(&published("patch-lead-t568a"), &cross);
    assert_eq!(found.verdict, Verdict::Different);
    assert_eq!(nets_after(&found), set(["XA.1 XB.3", "XA.2 XB.6", "XA.3 XB.1", "XA.6 XB.2"]));
    let moves = "1>3 2>6 3>1 6>2".to_owned();
    assert_eq!(thoughts(&found), BTreeSet::from([(Pattern::PairSwap, "XB".to_owned(), moves)]));
    assert!(!found.explanations[0].cores);
    assert_eq!(retested(&found), ["1A", "2A", "3A", "6A"]);
    // Back again, and from the other straight lead: the same nets differ.
    let back = compare(&cross, &published("patch-lead-t568a"));
    assert_eq!(nets_after(&back), set(["XA.1 XB.1", "XA.2 XB.2", "XA.3 XB.3", "XA.6 XB.6"]));
    let other = compare(&published("patch-lead-t568b"), &cross);
    assert_eq!(other.verdict, Verdict::Different);
    assert_eq!(nets_after(&other), nets_after(&found));
    // Turned end for end it is the same lead.
    let text = std::fs::read_to_string(support::path("published/crossover-lead-t568.toml")).unwrap();
    let turned = text.replace("\"XA.", "\"X?.").replace("\"XB.", "\"XA.").replace("\"X?.", "\"XB.");
    assert!(compare(&cross, &read(&turned)).nets.is_empty());
}

/// Split pairs pass every continuity test and are still wrong (common practice, no source): white of one pair with the
/// colour of another.
#[test]
fn a_split_pair_differs_although_no_net_does() {
    let text = std::fs::read_to_string(support::path("published/patch-lead-t568a.toml")).unwrap();
    let split = |text: &str, id: &str, from: &str, to: &str| {
        let at = text.find(&format!("id = \"{id}\"")).unwrap();
        let mark = at + text[at..].find(from).unwrap();
        format!("{}{to}{}", &text[..mark], &text[mark + from.len()..])
    };
    let text = split(&split(&text, "4A", "TP1", "TP2"), "6A", "TP2", "TP1");
    let found = compare(&published("patch-lead-t568a"), &read(&text));
    assert!(found.nets.is_empty() && found.verdict == Verdict::Different);
    assert_eq!(found.count(Effect::Electrical), 2);
    assert_eq!(retested(&found), ["3A", "4A", "5A", "6A"]);
}

/// EIA/TIA-574: the nine contacts of a straight lead.
const TIA_574: [&str; 9] = ["1", "2", "3", "4", "5", "6", "7", "8", "9"];

/// A lead with both ends alike, from contact names and colours.
fn straight(id: &str, face: &str, cores: &[(&str, &str)]) -> Harness {
    let mut text = format!("format = 1\n[harness]\nid = \"{id}\"\nrevision = \"A\"\n");
    for end in ["XA", "XB"] {
        text.push_str(&format!("[connector.{end}]\nface = \"{face}\"\ncontact = \"socket\"\n"));
    }
    for (contact, colour) in cores {
        text.push_str(&format!(
            "[[wire]]\nid = \"{contact}A\"\nfrom = \"XA.{contact}\"\nto = \"XB.{contact}\"\n"
        ));
        if !colour.is_empty() {
            text.push_str(&format!("colour = \"{colour}\"\n"));
        }
    }
    read(&text)
}

/// Full null modem, nine-way to nine-way: 2-3, 3-2, 7-8, 8-7, 4-6, 6-4, 5-5, and 1 with 6 at each end.
#[test]
fn a_straight_lead_against_a_null_modem_is_three_swaps_and_two_links() {
    let cores: Vec<(&str, &str)> = TIA_574.iter().map(|contact| (*contact, "")).collect();
    let found = compare(&straight("S", "d-sub-9", &cores), &published("null-modem"));
    assert_eq!(found.verdict, Verdict::Different);
    let expected =
        set(["XA.2 XB.3", "XA.3 XB.2", "XA.7 XB.8", "XA.8 XB.7", "XA.1 XA.6 XB.4", "XA.4 XB.1 XB.6"]);
    assert_eq!(nets_after(&found), expected);
    let swap = |moves: &str| (Pattern::Swap, "XB".to_owned(), moves.to_owned());
    assert_eq!(thoughts(&found), BTreeSet::from([swap("2>3 3>2"), swap("7>8 8>7"), swap("4>6 6>4")]));
    // 5 is straight in both; the ring indicator is left out, and the links are new.
    let lone = |word: &str| -> BTreeSet<&str> {
        let of = found.changes.iter().filter(|c| c.what.words() == word && c.subject.word() == "wire");
        of.map(ringout::compare::Change::name).collect()
    };
    assert_eq!(lone("removed"), BTreeSet::from(["1A", "9A"]));
    assert_eq!(lone("added"), BTreeSet::from(["11A", "12A"]));
    let again: BTreeSet<&str> = retested(&found).into_iter().collect();
    assert!(["2A", "3A", "4A", "6A", "7A", "8A", "11A", "12A"].iter().all(|id| again.contains(id)));
}

/// Core colours by contact. 12 V: ISO 1724. 24 V: ISO 1185, from memory.
const ISO_1724: [&str; 7] = ["YE", "BU", "WH", "GN", "BN", "RD", "BK"];
const ISO_1185: [&str; 7] = ["WH", "BK", "YE", "RD", "GN", "BN", "BU"];

/// The colours of both seven-pin systems are the same; which contact has which is not. By the two tables: return and left
/// indicator change places (1, 3), so do fog lamp's and left position's cores (2, 7); right indicator, right position and
/// stop lamps go round (4 to 5 to 6 to 4).
#[test]
fn the_twelve_volt_lead_against_the_twenty_four_volt_lead_is_two_swaps_and_a_rotation() {
    let lead = |colours: [&'static str; 7]| {
        let cores: Vec<(&str, &str)> = TIA_574.into_iter().zip(colours).collect();
        straight("T", "iso1724-7", &cores)
    };
    let found = compare(&lead(ISO_1724), &lead(ISO_1185));
    let place = |of: [&str; 7], colour: &str| 1 + of.iter().position(|c| *c == colour).unwrap();
    let by_tables: BTreeSet<String> = ISO_1724
        .iter()
        .map(|colour| format!("{}>{}", place(ISO_1724, colour), place(ISO_1185, colour)))
        .collect();
    let moves: BTreeSet<String> = found
        .explanations
        .iter()
        .flat_map(|e| e.moves.iter().map(|[from, to]| format!("{from}>{to}")))
        .collect();
    assert_eq!(moves, by_tables);
    let both = || "XA XB".to_owned();
    let expected = BTreeSet::from([
        (Pattern::Swap, both(), "1>3 3>1".to_owned()),
        (Pattern::Swap, both(), "2>7 7>2".to_owned()),
        (Pattern::Rotation, both(), "4>5 5>6 6>4".to_owned()),
    ]);
    assert_eq!(thoughts(&found), expected);
    assert_eq!(found.verdict, Verdict::Same);
}

/// SAE J560 has the same colour in every contact as ISO 1185 (both from memory) and other conductor sizes: 8, 10 and
/// 12 AWG. So a lead of the one is wired as one of the other, and none of its readings is.
#[test]
fn the_american_lead_is_wired_as_the_twenty_four_volt_lead_with_other_conductors() {
    let found = compare(&published("trailer-7-pin-iso1185"), &published("trailer-j560"));
    assert_eq!(found.verdict, Verdict::Same);
    assert!(found.explanations.is_empty(), "{:?}", found.explanations);
    assert!(found.changes.iter().all(|change| change.what.words() != "colour"));
    assert_eq!(retested(&found), ["1A", "2A", "3A", "4A", "5A", "6A", "7A"]);
}

/// A two-row connector pinned from the wrong side: D-sub rows run 5 to 1 and 9 to 6 as seen from the other side (contact
/// arrangement of DIN 41652, mirrored).
#[test]
fn a_connector_pinned_from_the_wrong_side_is_mirrored() {
    let mirrored = [
        ("1", "5"),
        ("2", "4"),
        ("3", "3"),
        ("4", "2"),
        ("5", "1"),
        ("6", "9"),
        ("7", "8"),
        ("8", "7"),
        ("9", "6"),
    ];
    let cores: Vec<(&str, &str)> = TIA_574.iter().map(|contact| (*contact, "")).collect();
    let text = |to: &dyn Fn(&str) -> String| {
        let mut text = "format = 1\n[harness]\nid = \"S\"\nrevision = \"A\"\n".to_owned();
        text.push_str("[connector.XA]\nface = \"d-sub-9\"\n[connector.XB]\nface = \"d-sub-9\"\n");
        for (contact, _) in &cores {
            text.push_str(&format!(
                "[[wire]]\nid = \"{contact}A\"\nfrom = \"XA.{contact}\"\nto = \"XB.{}\"\n",
                to(contact)
            ));
        }
        text
    };
    let old = read(&text(&str::to_owned));
    let new =
        read(&text(&|contact| mirrored.iter().find(|(from, _)| *from == contact).unwrap().1.to_owned()));
    let found = compare(&old, &new);
    let moves = "1>5 2>4 4>2 5>1 6>9 7>8 8>7 9>6".to_owned();
    assert_eq!(thoughts(&found), BTreeSet::from([(Pattern::Mirrored, "XB".to_owned(), moves)]));
    // Contact 3 lies on the axis and stays: its wire needs no test.
    assert_eq!(retested(&found), ["1A", "2A", "4A", "5A", "6A", "7A", "8A", "9A"]);
}

/// ISO 11446-1 marks contacts by number; a lead with lettered contacts in the same order is the same lead. Renumbering is
/// proven by what the contacts join.
#[test]
fn renumbered_contacts_are_proven_harmless() {
    let lead = |names: [&str; 4]| {
        let list = names.map(|name| format!("\"{name}\"")).join(", ");
        let mut text = "format = 1\n[harness]\nid = \"S\"\nrevision = \"A\"\n".to_owned();
        text.push_str(&format!("[connector.XA]\ncontacts = [{list}]\n[connector.XB]\ncontacts = 4\n"));
        for (at, name) in names.iter().enumerate() {
            let n = at + 1;
            text.push_str(&format!("[[wire]]\nid = \"{n}A\"\nfrom = \"XA.{name}\"\nto = \"XB.{n}\"\n"));
        }
        read(&text)
    };
    let found = compare(&lead(["1", "2", "3", "4"]), &lead(["A", "B", "C", "D"]));
    assert_eq!(found.verdict, Verdict::Same);
    let moves = "1>A 2>B 3>C 4>D".to_owned();
    assert_eq!(thoughts(&found), BTreeSet::from([(Pattern::Renumbered, "XA".to_owned(), moves)]));
    assert!(found.nets.is_empty() && found.retest.wires.is_empty());
}
