//! Whoever writes may be killed at any moment, and two may write at once: what there was or what there is to be is
//! there whole, and nothing is lost.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]
#![cfg(unix)]

use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use ringout::definition::load;
use ringout::repair::log;

const TOP: &str = "format = 1 # the format\nuse = [\"loom.toml\"] # wires\n[harness]\nid = \"L\"\nrevision = \"1\" # counts\n";

/// A loom of many wires, so that writing it takes a while.
fn loom() -> String {
    let mut text = "format = 1\n[connector.X1]\ncontacts = 400\n[connector.X2]\ncontacts = 400\n".to_owned();
    for n in 1..=400 {
        text += &format!(
            "\n# wire {n}\n[[wire]]\nid = \"W{n}\"\nfrom = \"X1.{n}\"\nto = \"X2.{n}\"\nlength = \"2 m\"\n"
        );
    }
    text
}

fn workshop() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("lead.toml"), TOP).unwrap();
    std::fs::write(folder.path().join("loom.toml"), loom()).unwrap();
    folder
}

fn start(folder: &Path, args: &[&str]) -> Child {
    let mut command = Command::new(env!("CARGO_BIN_EXE_ringout"));
    command.args(args).current_dir(folder).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    command.spawn().unwrap()
}

/// Revision, wires and hash of the definition as it stands, or of another file.
fn state(folder: &Path, name: &str) -> (String, usize, String) {
    let text = std::fs::read_to_string(folder.join(name)).unwrap();
    let loaded = load(name, text, None, &mut |path: &str| {
        std::fs::read_to_string(folder.join(path)).map_err(|error| error.to_string())
    });
    let harness = loaded.unwrap_or_else(|e| panic!("{name} is broken: {:?}", e.diagnostics)).harness;
    (harness.about.revision.clone(), harness.wires.len(), harness.hash)
}

fn entries(folder: &Path) -> Vec<log::Entry> {
    match std::fs::read_to_string(folder.join("lead-repairs.toml")) {
        Ok(text) => log::read("L", &text).unwrap(),
        Err(_) => Vec::new(),
    }
}

/// How long a command takes when nobody kills it.
fn time(run: impl Fn() -> Child) -> Duration {
    let begun = Instant::now();
    assert!(run().wait().unwrap().success());
    begun.elapsed()
}

#[test]
fn a_repair_that_is_killed_leaves_the_old_or_the_new_revision() {
    let args = |wire: &str| -> Vec<String> {
        ["repair", "lead.toml", "splice", wire, "--distance", "1 m", "--in-place"].map(str::to_owned).to_vec()
    };
    let run = |folder: &Path, wire: &str| {
        let args = args(wire);
        start(folder, &args.iter().map(String::as_str).collect::<Vec<_>>())
    };
    let first = workshop();
    let whole = time(|| run(first.path(), "W1"));
    let (mut before, mut after, mut killed) = (0, 0, 0);
    for round in 0..400_u32 {
        if killed >= 105 && after >= 3 {
            break;
        }
        let folder = workshop();
        let old = state(folder.path(), "lead.toml");
        let mut child = run(folder.path(), "W7");
        // Spread over all of its time and a little more.
        std::thread::sleep(whole.mul_f64(f64::from(round % 40) / 38.0));
        child.kill().unwrap();
        killed += u32::from(!child.wait().unwrap().success());
        let now = state(folder.path(), "lead.toml");
        let kept = std::fs::read_to_string(folder.path().join("loom.toml")).unwrap();
        assert_eq!(kept, loom(), "the old file was touched");
        match now.0.as_str() {
            "1" => {
                assert_eq!(now, old);
                before += 1;
            }
            "2" => {
                assert_eq!(now.1, old.1 + 1);
                assert_eq!(std::fs::read_to_string(folder.path().join("lead-rev-1.toml")).unwrap(), TOP);
                // A revision that is there has its entry.
                assert_eq!(entries(folder.path()).last().unwrap().after.hash, now.2);
                after += 1;
            }
            other => panic!("revision {other}"),
        }
        // Done again it goes through, whatever was left lying.
        if now.0 == "1" {
            assert!(run(folder.path(), "W7").wait().unwrap().success(), "round {round}");
            assert_eq!(state(folder.path(), "lead.toml").0, "2");
            assert_eq!(state(folder.path(), "lead-rev-1.toml"), old);
        }
    }
    assert!(killed >= 105 && before >= 20 && after >= 3, "{killed} killed, {before} old, {after} new");
}

#[test]
fn a_chained_record_whose_writer_is_killed_stays_whole() {
    let folder = workshop();
    let args = "log lead.toml r.toml --chain --kind continuity --red X1.1 --black X2.1 --power isolated \
                --at 2026-05-02T09:14:00Z --value 0.1ohm";
    let run = || start(folder.path(), &args.split_whitespace().collect::<Vec<_>>());
    let whole = time(run);
    let (mut count, mut killed, mut grown) = (1, 0, 0);
    for round in 0..500_u32 {
        if killed >= 105 && grown >= 3 {
            break;
        }
        let mut child = run();
        std::thread::sleep(whole.mul_f64(f64::from(round % 40) / 38.0));
        child.kill().unwrap();
        killed += u32::from(!child.wait().unwrap().success());
        let text = std::fs::read_to_string(folder.path().join("r.toml")).unwrap();
        let now = text.matches("[[reading]]").count();
        assert!(now == count || now == count + 1, "round {round}: {count} readings became {now}");
        grown += now - count;
        count = now;
        let mut check = start(folder.path(), &["check", "lead.toml", "--record", "r.toml"]);
        assert!(check.wait().unwrap().success(), "round {round}: the chain is broken:\n{text}");
    }
    assert!(killed >= 105 && grown >= 3, "{killed} killed, {grown} readings written");
}

#[test]
fn of_many_who_repair_at_once_nobody_is_lost() {
    let folder = workshop();
    let wires: Vec<String> = (1..=12).map(|n| format!("W{n}")).collect();
    let children: Vec<Child> = wires
        .iter()
        .map(|wire| {
            start(folder.path(), &["repair", "lead.toml", "splice", wire, "--distance", "1 m", "--in-place"])
        })
        .collect();
    for mut child in children {
        assert!(child.wait().unwrap().success());
    }
    let (revision, count, _) = state(folder.path(), "lead.toml");
    assert_eq!((revision.as_str(), count), ("13", 412));
    let entries = entries(folder.path());
    assert_eq!(entries.len(), 12);
    for pair in entries.windows(2) {
        assert_eq!(pair[0].after.hash, pair[1].before.hash, "{} was lost", pair[0].id);
    }
    // Every revision is still there.
    for revision in 1..=12 {
        assert_eq!(state(folder.path(), &format!("lead-rev-{revision}.toml")).1, 399 + revision);
    }
}

#[test]
fn of_two_who_make_the_same_revision_one_is_told() {
    let folder = workshop();
    let children: Vec<Child> = ["W1", "W2", "W3", "W4"]
        .iter()
        .map(|wire| start(folder.path(), &["repair", "lead.toml", "splice", wire, "--distance", "1 m"]))
        .collect();
    let codes: Vec<Option<i32>> =
        children.into_iter().map(|mut child| child.wait().unwrap().code()).collect();
    assert_eq!(codes.iter().filter(|code| **code == Some(0)).count(), 1, "{codes:?}");
    assert_eq!(codes.iter().filter(|code| **code == Some(2)).count(), 3, "{codes:?}");
    assert_eq!(entries(folder.path()).len(), 1);
    assert_eq!(state(folder.path(), "lead-rev-2.toml").1, 401);
}
