//! Chained records: whatever is changed afterwards is told, with its place; all others keep working.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};

use ringout::record::chain::{Checked, check, is_chained, linked};
use sha2::{Digest, Sha256};

fn entry(value: &str) -> String {
    format!("[[reading]]\nkind = \"continuity\"\nnote = \"n {value}\"\nvalue = \"{value} ohm\"\n")
}

/// A chained record of so many entries.
fn chained(count: usize) -> String {
    let mut text = "format = 1\n".to_owned();
    for n in 1..=count {
        text.push('\n');
        let link = linked(&text, &entry(&n.to_string()));
        text += &link;
    }
    text
}

/// The stretches of a text: its head, and one for each entry.
fn stretches(text: &str) -> Vec<String> {
    let mut parts: Vec<String> = text.split("[[reading]]").map(|part| format!("[[reading]]{part}")).collect();
    parts[0] = parts[0].replacen("[[reading]]", "", 1);
    parts
}

fn places(checked: &Checked) -> Vec<usize> {
    checked.broken.iter().map(|broken| broken.entry).collect()
}

/// FIPS 180-4's algorithm by the crate that users' tools agree with: each link is the hash of the stretch before it.
#[test]
fn a_link_is_the_hash_of_what_stands_before() {
    let parts = stretches(&chained(3));
    for (at, part) in parts.iter().enumerate().skip(1) {
        let hash: String = Sha256::digest(parts[at - 1].as_bytes())
            .iter()
            .fold(String::new(), |hex, b| hex + &format!("{b:02x}"));
        assert!(part.starts_with(&format!("[[reading]]\nchain = \"{hash}\"\n")), "{part}");
    }
}

#[test]
fn a_whole_chain_is_whole_with_either_line_end() {
    let text = chained(6);
    for text in [text.clone(), text.replace('\n', "\r\n")] {
        let checked = check(&text);
        assert_eq!((checked.entries, checked.links, checked.broken), (6, 6, Vec::new()));
    }
    assert!(is_chained(&text) && !is_chained(&entry("1")));
}

#[test]
fn every_byte_that_is_changed_before_the_last_link_is_told_at_its_place() {
    let text = chained(5);
    let last = text.rfind("[[reading]]").unwrap();
    let starts: Vec<usize> = text.match_indices("[[reading]]").map(|(at, _)| at).collect();
    for at in 0..last {
        let mut bytes = text.clone().into_bytes();
        bytes[at] = if bytes[at] == b'x' { b'y' } else { b'x' };
        let checked = check(&String::from_utf8(bytes).unwrap());
        // It shows at the entry that is hit, at the one behind it, or, where a header went, at the one before.
        let own = starts.iter().filter(|start| **start <= at).count();
        let found = places(&checked);
        assert!(!found.is_empty(), "byte {at} changed unseen");
        assert!(
            found.iter().all(|place| (own.saturating_sub(1)..=own + 1).contains(place)),
            "byte {at} of #{own}: {found:?}"
        );
    }
}

#[test]
fn missing_exchanged_and_put_in_entries_are_told() {
    let parts = stretches(&chained(6));
    let joined = |order: &[usize]| order.iter().map(|at| parts[*at].as_str()).collect::<String>();
    assert_eq!(places(&check(&joined(&[0, 1, 2, 4, 5, 6]))), [3]);
    assert_eq!(places(&check(&joined(&[0, 2, 3, 4, 5, 6]))), [1]);
    let exchanged = check(&joined(&[0, 1, 3, 2, 4, 5, 6]));
    assert_eq!(places(&exchanged), [2, 3, 4]);
    assert!(exchanged.broken[0].what.contains("#2 was written right behind #3"), "{:?}", exchanged.broken);
    assert_eq!(places(&check(&joined(&[0, 1, 2, 2, 3]))), [3]);
    // One without a link among those that have one.
    let mut put_in = parts[..3].concat();
    put_in += &entry("9");
    put_in.push('\n');
    put_in += &parts[3..].concat();
    assert_eq!(places(&check(&put_in)), [3, 4]);
    // A cut-off end breaks no link: the hash of the whole tells.
    let short = check(&joined(&[0, 1, 2, 3]));
    assert!(short.broken.is_empty() && short.hash != check(&parts.concat()).hash);
}

#[test]
fn a_record_that_becomes_chained_covers_what_it_held() {
    let mut text = format!("format = 1\n\n{}\n{}\n", entry("1"), entry("2"));
    text = format!("{text}{}", linked(&text, &entry("3")));
    assert_eq!((check(&text).links, check(&text).broken.len()), (1, 0));
    for change in [text.replace("n 1", "n 7"), text.replace("n 2", "n 7"), text.replacen(&entry("1"), "", 1)]
    {
        assert_eq!(check(&change).broken.len(), 1, "{change}");
    }
}

proptest::proptest! {
    #[test]
    fn any_text_can_be_checked(text in "(\\[\\[reading\\]\\]\n|chain = \"|\"\"\"|#|[a-z\"'\n\u{e9}]{0,4}){0,30}") {
        let checked = check(&text);
        proptest::prop_assert!(checked.links <= checked.entries);
        let more = format!("{text}\n{}", linked(&format!("{text}\n"), &entry("1")));
        proptest::prop_assert!(check(&more).entries >= checked.entries);
    }
}

/// A record in a folder of its own.
struct Log {
    folder: tempfile::TempDir,
}

fn umbilical() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("harnesses/umbilical-25.toml")
}

impl Log {
    fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("r.toml")
    }

    fn command(&self, args: &str) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_ringout"));
        command
            .current_dir(self.folder.path())
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        for word in args.split_whitespace() {
            if word == "HARNESS" {
                command.arg(umbilical())
            } else {
                command.arg(word)
            };
        }
        command
    }

    fn add(&self, more: &str) -> Command {
        let reading = "--kind continuity --red XU1.5 --black XU2.5 --power isolated --at 2026-05-02T09:14:00Z --value 0.1ohm";
        self.command(&format!("log HARNESS r.toml {reading} {more}"))
    }

    fn check(&self) -> Output {
        self.command("check HARNESS --record r.toml").stdout(Stdio::piped()).output().unwrap()
    }

    fn text(&self) -> String {
        std::fs::read_to_string(self.path()).unwrap()
    }
}

#[test]
fn a_chained_record_stays_chained_and_tells_what_was_done_to_it() {
    let log = Log::new();
    assert!(log.add("--chain").status().unwrap().code().is_some_and(|code| code < 2));
    for kind in ["", "--note x"] {
        assert!(log.add(kind).status().unwrap().code().is_some_and(|code| code < 2));
    }
    log.command("log HARNESS r.toml --kind withdrawal --value #2 --at 2026-05-02T09:15:00Z")
        .status()
        .unwrap();
    assert_eq!(log.text().matches("chain = \"").count(), 4);
    let output = log.check();
    let said = String::from_utf8(output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(said.contains("4 entries, 4 of them linked") && said.contains("no link is broken"), "{said}");
    std::fs::write(log.path(), log.text().replacen("09:14:00Z", "09:13:00Z", 1)).unwrap();
    let output = log.check();
    let said = String::from_utf8(output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("#2") && said.contains("#1 was altered"), "{said}");
    // It can still be read and located from.
    assert!(log.command("locate HARNESS r.toml").status().unwrap().code().is_some_and(|code| code < 2));
}

#[test]
fn a_plain_record_stays_plain() {
    let log = Log::new();
    log.add("").status().unwrap();
    log.add("").status().unwrap();
    assert!(!log.text().contains("chain"));
    let output = log.check();
    let said = String::from_utf8(output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(0));
    assert!(said.contains("the record is not chained"), "{said}");
    // Chained from now on, it covers what was there.
    log.add("--chain").status().unwrap();
    assert_eq!(log.check().status.code(), Some(0));
    std::fs::write(log.path(), log.text().replacen("09:14:00Z", "09:13:00Z", 1)).unwrap();
    assert_eq!(log.check().status.code(), Some(1));
}

#[test]
fn of_many_who_write_at_once_every_link_holds() {
    let log = Log::new();
    let children: Vec<Child> = (0..16).map(|_| log.add("--chain").spawn().unwrap()).collect();
    for mut child in children {
        assert!(child.wait().unwrap().code().is_some_and(|code| code < 2));
    }
    let checked = check(&log.text());
    assert_eq!((checked.entries, checked.links, checked.broken.len()), (16, 16, 0));
}
