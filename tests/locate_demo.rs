//! What `locate` answers on the demo's records, whole and half way: the invented sprayer, whose faults are
//! written at the top of each record.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_owned()
}

/// The first so many readings of a demo record, located: exit code and JSON.
fn locate(record: &str, readings: usize) -> (i32, Value) {
    let text = std::fs::read_to_string(root().join("demo").join(record)).unwrap();
    let mut parts = text.split("[[reading]]");
    let head = parts.next().unwrap().to_owned();
    let part = parts.take(readings).fold(head, |text, part| format!("{text}[[reading]]{part}"));
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("part.toml");
    std::fs::write(&path, part).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_ringout"));
    command
        .arg("locate")
        .arg(root().join("harnesses/orchard-sprayer.toml"))
        .arg(path)
        .args(["--format", "json"]);
    let output = command.output().unwrap();
    (output.status.code().unwrap(), serde_json::from_slice(&output.stdout).unwrap())
}

fn faults(answer: &Value, group: usize) -> Vec<&str> {
    answer["suspects"][group]["faults"].as_array().unwrap().iter().filter_map(Value::as_str).collect()
}

#[test]
fn the_open_wire_is_located_with_its_ends_and_nothing_else() {
    let (code, answer) = locate("readings-harness-fault.toml", 9);
    assert_eq!((code, answer["verdict"].as_str()), (1, Some("located")));
    assert_eq!(answer["suspects"].as_array().unwrap().len(), 1);
    let mut found = faults(&answer, 0);
    found.sort_unstable();
    assert_eq!(found, ["31C:open", "31C@P1.K:open", "SP3>31C:open"]);
    assert!(answer["next"].is_null());
    assert_eq!(answer["by_hand"].as_array().unwrap().len(), 3);
}

#[test]
fn the_dead_box_is_located_by_elimination() {
    let (code, answer) = locate("readings-dead-box.toml", 13);
    assert_eq!((code, answer["verdict"].as_str()), (1, Some("located")));
    assert_eq!(faults(&answer, 0), ["BOX1:dead"]);
}

#[test]
fn half_way_the_truth_stands_and_the_next_reading_is_a_new_one() {
    for (record, truth, all) in
        [("readings-harness-fault.toml", "31C:open", 8), ("readings-dead-box.toml", "BOX1:dead", 9)]
    {
        let mut before = usize::MAX;
        for readings in 1..all {
            let (code, answer) = locate(record, readings);
            assert_eq!(code, 1);
            let groups = answer["suspects"].as_array().unwrap().len();
            let standing: Vec<&str> = (0..groups).flat_map(|group| faults(&answer, group)).collect();
            assert!(standing.contains(&truth), "{record} {readings}");
            assert!(standing.len() <= before, "{record} {readings}: more suspects than before");
            before = standing.len();
            let taken = answer["readings"].as_array().unwrap();
            let next = &answer["next"];
            if next.is_null() {
                continue;
            }
            let same = |reading: &&Value| {
                ["kind", "red", "black", "power", "unplugged", "set"]
                    .iter()
                    .all(|key| reading[*key] == next[*key])
            };
            assert_eq!(taken.iter().find(same), None, "{record} {readings}");
        }
    }
}

#[test]
fn the_answer_carries_its_keys() {
    let (_, answer) = locate("readings-harness-fault.toml", 3);
    let has = |value: &Value, keys: &[&str]| {
        for key in keys {
            assert!(value.get(key).is_some(), "{key} in {value}");
        }
    };
    has(&answer, &["suspects", "cleared", "next", "verdict"]);
    has(&answer["suspects"][0], &["group", "share", "faults", "where", "metres"]);
    has(&answer["cleared"][0], &["element", "by", "why"]);
    has(
        &answer["next"],
        &["kind", "red", "black", "power", "unplugged", "set", "conditions", "bits", "seconds", "live"],
    );
    let shares = answer["suspects"].as_array().unwrap().iter().filter_map(|s| s["share"].as_f64());
    // What takes a reading for wrong has the rest, and is listed from a hundredth on.
    let total: f64 = shares.sum();
    assert!((0.97..=1.001).contains(&total), "{total}");
}
