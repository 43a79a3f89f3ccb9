//! What must hold for the comparison of any two machines, and how the command behaves.
//!
//! The machines are made from seeds (see `support/machine.rs`); a failure names the seed. Nets are held against a search
//! of this file's own, which knows nothing of the program's.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

#[path = "support/machine.rs"]
mod machine;

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::path::Path;
use std::process::{Command, Output};

use proptest::prelude::*;
use toml::{Table, Value};

use machine::Rng;
use ringout::compare::{Change, Comparison, Effect, Pattern, Subject, Verdict, What, compare};
use ringout::definition::{Harness, load};

fn table(seed: u64, wires: usize) -> Table {
    machine::random(seed, wires).parse().unwrap()
}

fn harness(table: &Table) -> Option<Harness> {
    let text = toml::to_string(table).unwrap();
    load("made.toml", text, None, &mut |_| Err("no files".to_owned())).ok().map(|loaded| loaded.harness)
}

/// The named blocks of a definition.
const BLOCKS: [&str; 6] = ["station", "connector", "splice", "terminal", "part", "condition"];

fn ids(table: &Table, block: &str) -> Vec<String> {
    table.get(block).and_then(Value::as_table).map_or(Vec::new(), |block| block.keys().cloned().collect())
}

fn wires(table: &mut Table) -> &mut Vec<Value> {
    table.get_mut("wire").and_then(Value::as_array_mut).unwrap()
}

/// Gives every id of `names` its other name, wherever a definition refers to it.
fn rename(value: &mut Value, names: &BTreeMap<String, String>, key: &str) {
    match value {
        // What people read is no reference.
        Value::String(_) if ["title", "signal", "kind", "revision", "face", "circuit"].contains(&key) => {}
        Value::String(text) => {
            let (first, rest) = text.split_once('.').map_or((text.as_str(), None), |(a, b)| (a, Some(b)));
            if let Some(name) = names.get(first) {
                *text = rest.map_or_else(|| name.clone(), |rest| format!("{name}.{rest}"));
            }
        }
        Value::Array(items) => items.iter_mut().for_each(|item| rename(item, names, key)),
        Value::Table(inner) => {
            let keys: Vec<String> = inner.keys().cloned().collect();
            for key in &keys {
                rename(&mut inner[key], names, key);
            }
        }
        _ => {}
    }
}

/// A machine with new ids for some of its things, and ids of wires and splices exchanged among themselves.
fn renamed(old: &Table, rng: &mut Rng) -> (Table, usize) {
    let mut names = BTreeMap::new();
    for block in BLOCKS {
        for id in ids(old, block) {
            if rng.chance(60) {
                names.insert(id, format!("Q{}", names.len()));
            }
        }
    }
    let mut wire_ids: Vec<String> =
        old["wire"].as_array().unwrap().iter().map(|wire| wire["id"].as_str().unwrap().to_owned()).collect();
    let before = wire_ids.clone();
    for at in (1..wire_ids.len()).rev() {
        wire_ids.swap(at, rng.below(at + 1));
    }
    for id in &mut wire_ids {
        if rng.chance(30) {
            *id = format!("W{}", rng.next());
        }
    }
    let count = before.iter().zip(&wire_ids).filter(|(old, new)| old != new).count();
    let mut new = Value::Table(old.clone());
    rename(&mut new, &names, "");
    let Value::Table(mut new) = new else { unreachable!() };
    for block in BLOCKS {
        if let Some(Value::Table(inner)) = new.get_mut(block) {
            let all: Vec<(String, Value)> = std::mem::take(inner).into_iter().collect();
            inner.extend(all.into_iter().map(|(id, value)| (names.get(&id).cloned().unwrap_or(id), value)));
        }
    }
    for (wire, id) in wires(&mut new).iter_mut().zip(&wire_ids) {
        wire.as_table_mut().unwrap().insert("id".to_owned(), Value::String(id.clone()));
    }
    (new, names.len() + count)
}

/// The nets of contacts and terminals by name, everything plugged in or parted, found by a search along wires.
fn nets(harness: &Harness, mated: bool) -> BTreeSet<BTreeSet<String>> {
    let mut beside: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut join = |a: String, b: String| {
        beside.entry(a.clone()).or_default().push(b.clone());
        beside.entry(b).or_default().push(a);
    };
    for wire in harness.wires.values() {
        let [a, b] = wire.ends.map(|end| harness.point_name(end));
        join(a, b);
    }
    for terminal in harness.terminals.values().filter(|terminal| terminal.ground) {
        join(terminal.id.clone(), "chassis".to_owned());
    }
    for (id, contact) in harness.contacts.iter() {
        let name = |id| harness.point_name(ringout::definition::Point::Contact(id));
        if let (true, Some(mate)) = (mated, contact.mate) {
            join(name(id), name(mate));
        }
    }
    let mut left: BTreeSet<String> = harness.points().map(|point| harness.point_name(point)).collect();
    let mut nets = BTreeSet::new();
    while let Some(start) = left.pop_first() {
        let (mut net, mut queue) = (BTreeSet::new(), VecDeque::from([start]));
        while let Some(at) = queue.pop_front() {
            for next in beside.get(&at).into_iter().flatten() {
                if left.remove(next) {
                    queue.push_back(next.clone());
                }
            }
            net.insert(at);
        }
        net.retain(|name| {
            harness.point(name).is_ok_and(|p| !matches!(p, ringout::definition::Point::Splice(_)))
        });
        nets.insert(net);
    }
    nets.remove(&BTreeSet::new());
    nets
}

/// A change as the comparison the other way round must have it.
fn turned(change: &Change) -> Change {
    let what = match change.what {
        What::Added => What::Removed,
        What::Removed => What::Added,
        what => what,
    };
    Change {
        what,
        old: change.new.clone(),
        new: change.old.clone(),
        before: change.after.clone(),
        after: change.before.clone(),
        explained: None,
        ..change.clone()
    }
}

fn assert_mirrored(one: &Comparison, other: &Comparison) {
    let plain = |change: &Change| Change { explained: None, ..change.clone() };
    let mine: BTreeSet<Change> = one.changes.iter().map(turned).collect();
    let theirs: BTreeSet<Change> = other.changes.iter().map(plain).collect();
    assert_eq!(mine, theirs);
    assert_eq!(one.verdict, other.verdict);
    let flags = |of: &Comparison| (of.nets_as_found, of.nets_parted, of.ends_as_found, of.nets.len());
    assert_eq!(flags(one), flags(other));
    let back = |pattern: &Pattern| match pattern {
        Pattern::Shifted(step) => Pattern::Shifted(-step),
        pattern => pattern.clone(),
    };
    let mut mine: Vec<Pattern> = one.explanations.iter().map(|e| back(&e.pattern)).collect();
    let mut theirs: Vec<Pattern> = other.explanations.iter().map(|e| e.pattern.clone()).collect();
    mine.sort();
    theirs.sort();
    let words = |of: &Comparison| of.explanations.iter().map(|e| e.words.clone()).collect::<Vec<_>>();
    assert_eq!(mine, theirs, "{:#?}\n{:#?}", words(one), words(other));
}

/// An edit of a definition, and how the comparison must name it.
struct Edit {
    new: Table,
    subject: Subject,
    name: String,
    what: What,
    effect: Option<Effect>,
}

fn set(value: &mut Value, key: &str, to: &str) -> bool {
    let table = value.as_table_mut().unwrap();
    let old = table.insert(key.to_owned(), Value::String(to.to_owned()));
    old != Some(Value::String(to.to_owned()))
}

/// A single change somewhere in a machine; `None` where it does not fit there.
fn edit(old: &Table, rng: &mut Rng) -> Option<Edit> {
    let mut new = old.clone();
    let made = |new, subject, name: &str, what, effect| {
        Some(Edit { new, subject, name: name.to_owned(), what, effect })
    };
    let count = wires(&mut new).len();
    let (at, other) = (rng.below(count), rng.below(count));
    let id = wires(&mut new)[at]["id"].as_str()?.to_owned();
    let wire = Subject::Wire;
    match rng.below(9) {
        0 => {
            // An end of a wire goes to where another wire ends, that allows it: splices and terminals take any.
            let to = wires(&mut new)[other]["to"].as_str()?.to_owned();
            let from = wires(&mut new)[at]["from"].as_str()?.to_owned();
            if to.contains('.') || to == from || !set(&mut wires(&mut new)[at], "to", &to) {
                return None;
            }
            made(new, wire, &id, What::Moved, None)
        }
        1 => {
            wires(&mut new).remove(at);
            made(new, wire, &id, What::Removed, None)
        }
        2 => {
            let mut extra = wires(&mut new)[at].clone();
            set(&mut extra, "id", "EXTRA");
            let joints = ["from", "to"].iter().all(|key| !extra[key].as_str().unwrap_or("").contains('.'));
            wires(&mut new).push(extra);
            // A second wire beside one that is there joins nothing new.
            if joints { made(new, wire, "EXTRA", What::Added, Some(Effect::Limits)) } else { None }
        }
        3 => set(&mut wires(&mut new)[at], "colour", "TQ/SR")
            .then_some(new)
            .and_then(|new| made(new, wire, &id, What::Value("colour"), Some(Effect::Paper))),
        4 => set(&mut wires(&mut new)[at], "gauge", "3.7 mm2")
            .then_some(new)
            .and_then(|new| made(new, wire, &id, What::Value("gauge"), Some(Effect::Limits))),
        5 => set(&mut wires(&mut new)[at], "length", "7.3001 m")
            .then_some(new)
            .and_then(|new| made(new, wire, &id, What::Value("length"), Some(Effect::Limits))),
        6 => {
            let parts = ids(old, "part");
            let name = parts[rng.below(parts.len())].clone();
            let part = new.get_mut("part")?.get_mut(&name)?;
            let (key, value) =
                [("ohms", "9.87 ohm"), ("rating", "17 A"), ("operate", "7.77 V"), ("volts", "23.3 V")]
                    .into_iter()
                    .find(|(key, _)| part.get(key).is_some())?;
            set(part, key, value);
            made(new, Subject::Part, &name, What::Value(key), Some(Effect::Electrical))
        }
        7 => {
            let terminals = ids(old, "terminal");
            let name = terminals[rng.below(terminals.len())].clone();
            let terminal = new.get_mut("terminal")?.get_mut(&name)?.as_table_mut()?;
            if terminal.remove("ground").is_none() {
                terminal.insert("ground".to_owned(), Value::Boolean(true));
            }
            made(new, Subject::Terminal, &name, What::Value("ground"), Some(Effect::Electrical))
        }
        _ => {
            let stations = ids(old, "station");
            let name = stations[rng.below(stations.len())].clone();
            set(new.get_mut("station")?.get_mut(&name)?, "title", "Behind the tank");
            made(new, Subject::Station, &name, What::Value("title"), Some(Effect::Paper))
        }
    }
}

fn check_same(seed: u64, wires: usize) {
    let one = harness(&table(seed, wires)).unwrap();
    let found = compare(&one, &one);
    assert_eq!(found.verdict, Verdict::Identical, "{found:?}");
    assert!(found.changes.is_empty() && found.nets.is_empty() && found.pins.is_empty());
    assert!(found.retest.wires.is_empty() && found.retest.apart.is_empty() && found.retest.others.is_empty());
}

fn check_renamed(seed: u64, count: usize) {
    let old = table(seed, count);
    let mut rng = Rng::new(seed ^ 0xace);
    let (mut new, changed) = renamed(&old, &mut rng);
    // The order of wires in the file is nothing either.
    wires(&mut new).reverse();
    let (old, new) = (harness(&old).unwrap(), harness(&new).unwrap());
    let found = compare(&old, &new);
    assert!(found.verdict <= Verdict::Same, "seed {seed}: {:#?}", found.changes);
    // A circuit goes by its wires' ids where the definition does not name it.
    let by_id = |change: &&Change| change.what != What::Value("circuit");
    for change in found.changes.iter().filter(by_id) {
        assert_eq!((change.what, change.effect), (What::Renamed, Effect::Paper), "seed {seed}: {change:?}");
        assert!(!change.why.starts_with("taken"), "seed {seed}: {change:?}");
    }
    // Two wires that are alike in all but their ids may have exchanged them: then nothing was renamed.
    let count = found.changes.iter().filter(by_id).count();
    assert!(count <= changed && (changed == 0 || count > 0), "seed {seed}: {count} of {changed}");
    assert!(found.retest.wires.is_empty() && found.retest.apart.is_empty());
    assert_mirrored(&found, &compare(&new, &old));
}

/// Says whether an edit could be made.
fn check_edited(seed: u64, count: usize) -> bool {
    let old = table(seed, count);
    let Some(edit) = edit(&old, &mut Rng::new(seed ^ 0xed17)) else { return false };
    let (Some(before), Some(after)) = (harness(&old), harness(&edit.new)) else { return false };
    let found = compare(&before, &after);
    let named = |change: &&Change| {
        change.subject == edit.subject && change.name() == edit.name && change.what == edit.what
    };
    let all = found.changes.iter().filter(named).collect::<Vec<_>>();
    assert_eq!(all.len(), 1, "seed {seed}: {} {}: {:#?}", edit.what.words(), edit.name, found.changes);
    // The shortest way of a wire follows from its ends.
    let follows = |change: &&Change| change.what == What::Value("route") && change.name() == edit.name;
    let others = found.changes.len() - found.changes.iter().filter(follows).count();
    assert_eq!(others, 1, "seed {seed}: {:#?}", found.changes);
    if let Some(effect) = edit.effect {
        assert_eq!(all[0].effect, effect, "seed {seed}: {all:?}");
    }
    // Ids are the same here, so nets can be held against each other by name.
    let [found_same, parted_same] = [true, false].map(|mated| nets(&before, mated) == nets(&after, mated));
    assert_eq!((found.nets_as_found, found.nets_parted), (found_same, parted_same), "seed {seed}");
    if edit.subject == Subject::Wire && edit.what == What::Moved && !found_same {
        assert!(found.retest.wires.iter().any(|wire| wire.wire == edit.name), "seed {seed}");
    }
    let gravest = all[0].effect == Effect::Electrical;
    assert_eq!(gravest, found.verdict == Verdict::Different, "seed {seed}: {:?}", found.verdict);
    assert_mirrored(&found, &compare(&after, &before));
    true
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn nothing_differs_from_itself(seed: u64, wires in 5usize..60) {
        check_same(seed, wires);
    }

    #[test]
    fn new_ids_are_proven_harmless(seed: u64, wires in 5usize..60) {
        check_renamed(seed, wires);
    }

    #[test]
    fn two_machines_differ_alike_both_ways(one: u64, other: u64, wires in 5usize..40) {
        let [a, b] = [one, other].map(|seed| harness(&table(seed, wires)).unwrap());
        let (found, back) = (compare(&a, &b), compare(&b, &a));
        prop_assert_eq!(found.verdict, back.verdict);
        assert_mirrored(&found, &back);
    }
}

#[test]
fn a_single_change_is_found_and_named() {
    let made = (0..400u64).filter(|seed| check_edited(*seed, 8 + (*seed as usize * 7) % 50)).count();
    // Most seeds give an edit that fits; else this would prove little.
    assert!(made > 200, "only {made} edits could be made");
}

#[test]
#[ignore = "a long round, on request"]
fn many_machines() {
    for seed in 1_000..6_000u64 {
        let wires = 5 + (seed as usize * 13) % 90;
        check_same(seed, wires);
        check_renamed(seed, wires);
        check_edited(seed, wires);
    }
}

// The command.

fn ringout(args: &[&str]) -> Output {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    Command::new(env!("CARGO_BIN_EXE_ringout")).args(args).current_dir(root).output().unwrap()
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

const SPRAYER: &str = "harnesses/orchard-sprayer.toml";

#[test]
fn nothing_differs_between_a_file_and_itself() {
    let output = ringout(&["compare", SPRAYER, SPRAYER]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert!(out(&output).contains("Nothing differs"));
}

#[test]
fn two_variants_of_one_file_are_compared() {
    let output = ringout(&["compare", SPRAYER, "--new-variant", "wide-boom", "--format", "json"]);
    assert_eq!(output.status.code(), Some(1));
    let view: serde_json::Value = serde_json::from_str(&out(&output)).unwrap();
    assert_eq!(view["verdict"], "electrically different");
    assert_eq!(
        (&view["harness"]["variant"], &view["before"]["variant"]),
        (&"wide-boom".into(), &serde_json::Value::Null)
    );
    let added: BTreeSet<&str> = view["changes"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|change| change["subject"] == "wire" && change["what"] == "added")
        .map(|change| change["new"].as_str().unwrap())
        .collect();
    // The variant's own tables say what it adds.
    assert_eq!(added, BTreeSet::from(["47C", "47D"]));
    let alone = ringout(&["compare", SPRAYER]);
    assert_eq!(alone.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&alone.stderr).contains("--new-variant"));
}

#[test]
fn mistakes_of_both_files_are_shown() {
    let [old, new] = ["unknown_contact", "unknown_mate"].map(|name| format!("tests/bad_inputs/{name}.toml"));
    let output = ringout(&["compare", &old, &new]);
    assert_eq!(output.status.code(), Some(2));
    let errors = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(errors.contains("unknown_contact.toml") && errors.contains("unknown_mate.toml"), "{errors}");
    assert!(output.stdout.is_empty());
}

#[test]
fn the_page_holds_no_markup_of_names_and_loads_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let lead = |signal: &str, to: &str| {
        format!(
            "format = 1\n[harness]\nid = \"<b>L\"\nrevision = \"<i>\"\n[connector.XA]\nface = \"rect-2\"\n\
             pin.1 = {{ signal = '{signal}' }}\n[connector.XB]\nface = \"rect-2\"\n\
             [[wire]]\nid = \"1A\"\nfrom = \"XA.1\"\nto = \"XB.{to}\"\n"
        )
    };
    let [old, new, page] = ["old.toml", "new.toml", "page.html"].map(|name| folder.path().join(name));
    std::fs::write(&old, lead("<script>alert(1)</script>", "1")).unwrap();
    std::fs::write(&new, lead("\"><img src=x>", "2")).unwrap();
    let args = [&old, &new, &page].map(|path| path.to_str().unwrap());
    let call = ["compare", args[0], args[1], "--format", "html", "-o", args[2]];
    assert_eq!(ringout(&call).status.code(), Some(1));
    let text = std::fs::read_to_string(&page).unwrap();
    for bad in ["<script", "<img", "<b>", "<i>", "http:", "https:"] {
        let known = text.replace("http://www.w3.org/2000/svg", "");
        assert!(!known.contains(bad), "{bad}");
    }
    assert!(text.contains("Content-Security-Policy") && text.contains("ring-change"));
    // What is there stays unless it may go.
    assert_eq!(ringout(&call).status.code(), Some(2));
    assert_eq!(ringout(&[&call[..], &["--force"]].concat()).status.code(), Some(1));
}

#[test]
fn csv_and_markdown_hold_every_difference() {
    let json = ringout(&["compare", SPRAYER, "--new-variant", "wide-boom", "--format", "json"]);
    let view: serde_json::Value = serde_json::from_str(&out(&json)).unwrap();
    let count = view["changes"].as_array().unwrap().len();
    let csv = out(&ringout(&["compare", SPRAYER, "--new-variant", "wide-boom", "--format", "csv"]));
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    assert_eq!(reader.records().map(Result::unwrap).count(), count);
    let md = out(&ringout(&["compare", SPRAYER, "--new-variant", "wide-boom", "--format", "md"]));
    assert!(md.starts_with("# Comparison") && md.contains("## Electrical"));
}
