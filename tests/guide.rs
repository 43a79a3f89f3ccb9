//! The conversation at the machine: what is asked, what is understood, what is written, and what a kill leaves.
//!
//! Common practice, no source, except where a check names one.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

#[path = "support/machine.rs"]
mod machine;

#[path = "support/bench.rs"]
mod bench;

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::Duration;

use bench::{Bench, seed_of};
use ringout::definition::{Harness, load};
use ringout::fault::{Fault, Universe};
use ringout::guide::{Guide, Turn};
use ringout::locate::{Verdict, live, locate};
use ringout::measure::Meter;
use ringout::netlist::Netlist;
use ringout::plan::complaint::Asked;
use ringout::record::{self, NewWithdrawal, Record};
use ringout::setup::Power;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_owned()
}

fn sprayer() -> Harness {
    let folder = root().join("harnesses");
    let text = |file: &str| std::fs::read_to_string(folder.join(file)).map_err(|e| e.to_string());
    load("orchard-sprayer.toml", text("orchard-sprayer.toml").unwrap(), None, &mut |path| text(path))
        .unwrap()
        .harness
}

/// The first so many readings of the demo's record of an open wire.
fn demo(readings: usize) -> String {
    let text = std::fs::read_to_string(root().join("demo/readings-harness-fault.toml")).unwrap();
    text.split("[[reading]]").take(readings + 1).collect::<Vec<_>>().join("[[reading]]")
}

fn read(harness: &Harness, text: &str) -> Record {
    let record = record::read(harness, "record", text);
    assert!(record.is_sound(), "{:?}\n{text}", record.diagnostics);
    record
}

/// A conversation with the record it writes.
struct Talk<'a> {
    harness: &'a Harness,
    guide: Guide<'a>,
    text: String,
    over: Option<bool>,
}

impl<'a> Talk<'a> {
    fn new(
        harness: &'a Harness,
        netlist: &'a Netlist,
        text: String,
        complaint: Option<&str>,
    ) -> (Self, String) {
        let asked = complaint.map(|text| Asked::parse(harness, text).unwrap());
        let mut guide = Guide::new(harness, netlist, read(harness, &text), asked, None);
        let turn = guide.open().unwrap();
        let mut talk = Self { harness, guide, text, over: None };
        let said = talk.follow(turn);
        (talk, said)
    }

    fn say(&mut self, line: &str) -> String {
        let turn = self.guide.hear(line, None).unwrap();
        self.follow(turn)
    }

    fn follow(&mut self, turn: Turn) -> String {
        let mut said = turn.say;
        self.over = turn.over;
        if let Some(entry) = turn.append {
            self.text.push('\n');
            self.text.push_str(&entry);
            let turn = self.guide.go_on(read(self.harness, &self.text)).unwrap();
            said += &turn.say;
            assert!(turn.append.is_none());
            self.over = turn.over;
        }
        said
    }
}

#[test]
fn the_open_wire_of_the_demo_is_talked_to_its_place() {
    let harness = sprayer();
    let netlist = Netlist::new(&harness);
    let universe = Universe::new(&harness, &netlist);
    for (id, from) in [("31C:open", 2), ("31C@P1.K:open", 1)] {
        let fault = universe.iter().map(|(f, _)| f).find(|f| f.id(&harness) == id).unwrap();
        let (talk, _) = to_the_end(&harness, &netlist, fault, 7, demo(from), None).unwrap();
        let entries = read(&harness, &talk.text).entries;
        let diagnosis = locate(&harness, &netlist, &entries, &Meter::HANDHELD).unwrap();
        assert_eq!(diagnosis.verdict, Verdict::Located);
        assert!(diagnosis.suspects[0].faults.contains(&fault));
    }
}

#[test]
fn from_a_complaint_the_fault_stands_at_the_end() {
    let harness = sprayer();
    let netlist = Netlist::new(&harness);
    let universe = Universe::new(&harness, &netlist);
    for (at, id) in ["31B:open", "F5:open", "BOX1:dead", "K1:coil-open"].into_iter().enumerate() {
        let Some(fault) = universe.iter().map(|(f, _)| f).find(|f| f.id(&harness) == id) else {
            panic!("no fault {id}");
        };
        let begun = record::head(&harness);
        let (talk, last) =
            to_the_end(&harness, &netlist, fault, seed_of(at, 3), begun, Some("M1=S1:run,S2:spray")).unwrap();
        let entries = read(&harness, &talk.text).entries;
        let diagnosis = locate(&harness, &netlist, &entries, &Meter::HANDHELD).unwrap();
        assert!(diagnosis.suspects.iter().any(|group| group.faults.contains(&fault)), "{id}\n{last}");
        assert!(last.contains("Before you leave: as found again"), "{last}");
    }
}

/// Answers every question as the machine with the fault would; `None` where nothing was bad.
fn to_the_end<'a>(
    harness: &'a Harness,
    netlist: &'a Netlist,
    fault: Fault,
    seed: u64,
    begun: String,
    complaint: Option<&str>,
) -> Option<(Talk<'a>, String)> {
    let mut bench = Bench::new(harness, netlist, sprayer(), Some(fault), seed);
    let (mut talk, mut said) = Talk::new(harness, netlist, begun, complaint);
    for _ in 0..40 {
        if let Some(bad) = talk.over {
            return bad.then_some((talk, said));
        }
        let measurement = talk.guide.measurement().unwrap().clone();
        let setup = measurement.setup();
        // Whoever puts power on with plugs off is told what is live.
        if setup.power() == Power::Connected && !live(harness, netlist, setup).is_empty() {
            assert!(said.contains("LIVE at the open plugs"), "{said}");
        }
        assert!(said.lines().all(|line| line.chars().count() <= 80), "{said}");
        said = talk.say(&bench.read(&measurement));
    }
    panic!("no end\n{}", talk.text);
}

#[test]
fn what_people_type_is_understood_and_what_is_not_is_not_written() {
    let harness = sprayer();
    let netlist = Netlist::new(&harness);
    let (mut talk, said) = Talk::new(&harness, &netlist, demo(2), None);
    assert!(said.contains("Read voltage XV4.2 against chassis"), "{said}");
    let before = talk.text.clone();
    for line in
        ["help", "?", "why", "status", "", "0", "OL", "\u{1b}[31mred", "yes", "can't reach XX.9", "12 ohm"]
    {
        let said = talk.say(line);
        assert_eq!(talk.text, before, "{line}");
        assert!(!said.trim().is_empty() && !said.contains('\u{1b}'), "{line}: {said}");
    }
    assert!(talk.say("0").contains("a bare 0 or 1 can mean several things"));
    let said = talk.say("25.1");
    assert!(said.contains("25.1 V"), "{said}");
    assert!(talk.text.ends_with("value = \"25.1 V\"\n"), "{}", talk.text);
}

#[test]
fn what_is_skipped_or_out_of_reach_is_not_asked_again() {
    let harness = sprayer();
    let netlist = Netlist::new(&harness);
    let (mut talk, _) = Talk::new(&harness, &netlist, demo(2), None);
    let point = talk.guide.measurement().unwrap().red();
    let before = talk.text.clone();
    let mut asked = vec![talk.guide.measurement().unwrap().clone()];
    talk.say(&format!("can't reach {}", harness.point_name(point)));
    for _ in 0..12 {
        let Some(m) = talk.guide.measurement().cloned() else { break };
        assert!(m.red() != point && m.black() != point);
        assert!(!asked.contains(&m), "asked twice: {}", m.words(&harness));
        asked.push(m);
        let said = talk.say("skip");
        if said.contains("Have the changes asked for been made?") {
            talk.say("no");
        }
    }
    assert!(asked.len() > 3);
    assert_eq!(talk.text, before);
}

#[test]
fn undo_keeps_both_in_the_record_and_knows_where_the_machine_stands() {
    let harness = sprayer();
    let netlist = Netlist::new(&harness);
    let (mut talk, _) = Talk::new(&harness, &netlist, demo(2), None);
    let first = talk.guide.measurement().unwrap().clone();
    talk.say("0.01 V");
    assert_ne!(talk.guide.measurement(), Some(&first));
    let said = talk.say("undo");
    let said = if said.contains("yes:") { said + &talk.say("no") } else { said };
    assert!(said.contains("#3 is withdrawn"), "{said}");
    assert_eq!(talk.guide.measurement(), Some(&first));
    let record = read(&harness, &talk.text);
    assert_eq!(record.entries.len(), 2);
    assert_eq!((record.withdrawn[0].of, record.withdrawn[0].number), (3, 4));
    assert!(talk.text.contains("value = \"10 mV\""), "nothing is rubbed out: {}", talk.text);
    talk.say("0.02 V");
    assert_eq!(read(&harness, &talk.text).entries[2].number, 5);
    // The machine was taken apart for a reading that does not count: it is still apart.
    let whole = read(&harness, &demo(9));
    let last = (1..9).find(|at| whole.entries[*at].setup != whole.entries[at - 1].setup).unwrap();
    let of = last + 1;
    let text = demo(of) + "\n" + &NewWithdrawal { of, ..NewWithdrawal::default() }.text();
    let record = read(&harness, &text);
    assert_eq!(record.entries.len(), last);
    assert_eq!(record.stand().unwrap().0, &whole.entries[last].setup);
}

#[test]
fn leaving_a_question_with_changes_asks_where_the_machine_stands() {
    let harness = sprayer();
    let netlist = Netlist::new(&harness);
    let (mut talk, _) = Talk::new(&harness, &netlist, record::head(&harness), Some("M1=S1:run,S2:spray"));
    let mut said = talk.say("25.1 V");
    assert!(said.contains("set S1 to run"), "{said}");
    said = talk.say("quit");
    assert!(said.contains("Have the changes asked for been made?"), "{said}");
    assert!(talk.say("maybe").contains("yes"));
    let said = talk.say("yes");
    assert!(said.contains("set S1 to off") && talk.over == Some(false), "{said}");
}

#[test]
fn a_withdrawal_of_what_is_not_there_is_an_error() {
    let harness = sprayer();
    let withdraw = |of: usize| NewWithdrawal { of, ..NewWithdrawal::default() }.text();
    for of in [3, 9] {
        let record = record::read(&harness, "record", &(demo(2) + "\n" + &withdraw(of)));
        assert!(!record.is_sound(), "#{of}");
    }
    let twice = record::read(&harness, "record", &format!("{}\n{}{}", demo(2), withdraw(2), withdraw(2)));
    assert!(twice.is_sound() && twice.entries.len() == 1 && twice.diagnostics.len() == 1);
    // Cut off anywhere, it is left out and said to be.
    let whole = withdraw(12);
    for end in 1..whole.len() - 1 {
        let record = record::read(&harness, "record", &format!("{}\n{}", demo(2), &whole[..end]));
        assert!(record.is_sound() && record.entries.len() == 2, "{}", &whole[..end]);
    }
}

fn command(record: &Path, more: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_ringout"));
    command.arg("guide").arg(root().join("harnesses/orchard-sprayer.toml")).arg(record).args(more);
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

fn piped(record: &Path, more: &[&str], input: &[u8]) -> Output {
    let mut child = command(record, more).spawn().unwrap();
    child.stdin.take().unwrap().write_all(input).unwrap();
    child.wait_with_output().unwrap()
}

#[test]
fn a_pipe_is_answered_in_plain_lines_and_its_end_is_a_clean_end() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("job.toml");
    std::fs::write(&path, demo(2)).unwrap();
    for input in [&b""[..], b"\xff\xfe\n", b"why", &[b'9'; 10_000], b"quit\nquit\n"] {
        let output = piped(&path, &[], input);
        assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stderr));
        let out = String::from_utf8(output.stdout).unwrap();
        assert!(!out.contains('\u{1b}') && out.contains("Before you leave"), "{out}");
    }
    assert_eq!(std::fs::read_to_string(&path).unwrap(), demo(2));
    let output = piped(&path, &["--by", "RK"], b"25.1\n");
    assert!(String::from_utf8(output.stdout).unwrap().contains("> 25.1\n"));
    assert!(std::fs::read_to_string(&path).unwrap().contains("by = \"RK\"\nvalue = \"25.1 V\"\n"));
    let output = piped(&folder.path().join("none/there.toml"), &["--complaint", "M1"], b"25.1\n");
    assert_eq!(output.status.code(), Some(2));
    let output = piped(&path, &["--complaint", "NOPE"], b"");
    assert_eq!(output.status.code(), Some(2));
}

#[test]
fn log_withdraws_and_locate_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("job.toml");
    std::fs::write(&path, demo(3)).unwrap();
    let run = |args: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_ringout"));
        command.arg(args[0]).arg(root().join("harnesses/orchard-sprayer.toml")).arg(&path).args(&args[1..]);
        let output = command.output().unwrap();
        (output.status.code(), String::from_utf8(output.stdout).unwrap())
    };
    assert_eq!(run(&["log", "--kind", "withdrawal", "--value", "7"]).0, Some(2));
    assert_eq!(run(&["log", "--kind", "withdrawal", "--value", "#3", "--note", "slipped"]).0, Some(0));
    assert_eq!(run(&["log", "--kind", "withdrawal", "--value", "#3"]).0, Some(2));
    let (code, out) = run(&["locate"]);
    assert_eq!(code, Some(1));
    assert!(out.contains("#3 was withdrawn by #4 and does not count: slipped"), "{out}");
}

/// A guide whose output is read line by line.
struct Running {
    child: Child,
    out: BufReader<std::process::ChildStdout>,
}

impl Running {
    fn start(record: &Path) -> Self {
        let mut child = command(record, &[]).spawn().unwrap();
        let out = BufReader::new(child.stdout.take().unwrap());
        Self { child, out }
    }

    /// The line in which the question stands.
    fn question(&mut self) -> String {
        let mut line = String::new();
        while self.out.read_line(&mut line).unwrap() > 0 {
            if line.starts_with("Read ") {
                return line;
            }
            line.clear();
        }
        panic!("no question");
    }
}

#[test]
fn killed_at_any_moment_it_goes_on_from_a_sound_record() {
    let harness = sprayer();
    let folder = tempfile::tempdir().unwrap();
    let (mut before, mut after) = (0, 0);
    for round in 0..12u64 {
        let path = folder.path().join(format!("job{round}.toml"));
        std::fs::write(&path, demo(2)).unwrap();
        let mut running = Running::start(&path);
        let asked = running.question();
        running.child.stdin.as_mut().unwrap().write_all(b"25.1 V\n").unwrap();
        // Half of them before the answer can have been written, half within the write or after it.
        std::thread::sleep(Duration::from_micros(round * round * 300));
        running.child.kill().unwrap();
        running.child.wait().unwrap();
        let text = std::fs::read_to_string(&path).unwrap();
        let record = read(&harness, &text);
        assert!(record.diagnostics.iter().all(|d| d.rule != "cut-off"), "{text}");
        match record.entries.len() {
            2 => {
                before += 1;
                assert_eq!(text, demo(2));
                let mut again = Running::start(&path);
                assert_eq!(again.question(), asked, "it asks the same again");
                again.child.kill().unwrap();
                again.child.wait().unwrap();
            }
            3 => {
                after += 1;
                let mut again = Running::start(&path);
                assert_ne!(again.question(), asked, "it goes on");
                again.child.kill().unwrap();
                again.child.wait().unwrap();
            }
            n => panic!("{n} readings"),
        }
    }
    assert!(before > 0 && after > 0, "killed before {before}, after {after}: the delays miss one of both");
}
