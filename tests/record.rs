//! Records: what is written can be read, what is cut off is never lost silently, and nothing that happens
//! to the writer leaves a record that cannot be read.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

#[path = "support/mod.rs"]
#[allow(dead_code, reason = "the drawings' half is not used here")]
mod support;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};

use ringout::definition::diagnostic::Severity;
use ringout::definition::{Harness, Kind};
use ringout::measure::Reading;
use ringout::record::{self, NewEntry, Record};
use ringout::setup::Power;
use ringout::units::{Ohms, Volts};

fn sprayer() -> Harness {
    support::harness("orchard-sprayer.toml")
}

fn demo(name: &str) -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("demo").join(name)).unwrap()
}

fn errors(record: &Record) -> Vec<String> {
    let errors = record.diagnostics.iter().filter(|d| d.severity == Severity::Error);
    errors.map(|d| d.message.clone()).collect()
}

fn entry() -> NewEntry {
    NewEntry {
        at: Some("2026-05-02T09:14:00Z".parse().unwrap()),
        step: Some("2.04".to_owned()),
        kind: "continuity".to_owned(),
        red: "P1.K".to_owned(),
        black: "XB2.3".to_owned(),
        power: "isolated".to_owned(),
        unplugged: vec!["P1".to_owned(), "XB1".to_owned()],
        set: BTreeMap::from([("S1".to_owned(), "run".to_owned()), ("S2".to_owned(), "spray".to_owned())]),
        conditions: vec!["tank-full".to_owned()],
        strapped: vec![
            vec!["XB1.1".to_owned(), "XB1.2".to_owned()],
            vec!["P1.A".to_owned(), "P1.B".to_owned()],
        ],
        value: "0.4 ohm".to_owned(),
        min: Some("0.4 ohm".to_owned()),
        max: Some("OL".to_owned()),
        disturbed: Some("loom \"flexed\" at T3\nand again".to_owned()),
        meter: Some("handheld".to_owned()),
        by: Some("RK".to_owned()),
        note: Some("[[reading]]\nvalue = 'é ✓ \\ '".to_owned()),
    }
}

#[test]
fn an_entry_reads_back_as_it_was_written() {
    let (harness, new) = (sprayer(), entry());
    let record = record::read(&harness, "r", &format!("format = 1\n\n{}", new.text()));
    assert_eq!(errors(&record), Vec::<String>::new());
    let [read] = &record.entries[..] else { panic!("one entry") };
    assert_eq!((read.at.as_deref(), read.step.as_deref()), (Some("2026-05-02T09:14:00Z"), Some("2.04")));
    assert_eq!(read.kind, Kind::Continuity);
    assert_eq!([read.red, read.black].map(|p| harness.point_name(p)), ["P1.K", "XB2.3"]);
    assert_eq!(read.setup.power(), Power::Isolated);
    let unplugged: Vec<_> =
        read.setup.unplugged(&harness).map(|c| harness.connectors[c].id.as_str()).collect();
    assert!(unplugged.contains(&"P1") && unplugged.contains(&"XB1") && unplugged.len() == 2, "{unplugged:?}");
    assert_eq!(read.setup.set().count(), 2);
    assert_eq!(read.setup.conditions().count(), 1);
    assert_eq!(read.value, Reading::Ohms(Ohms::new(0.4)));
    assert_eq!((read.min, read.max), (Some(Reading::Ohms(Ohms::new(0.4))), Some(Reading::Open)));
    assert_eq!(read.disturbed, new.disturbed);
    assert_eq!((&read.meter, &read.by, &read.note), (&new.meter, &new.by, &new.note));
    assert_eq!(read.name(), "#1 (2.04)");
}

#[test]
fn the_demo_records_are_sound() {
    let harness = sprayer();
    for (name, readings) in [("readings-harness-fault.toml", 9), ("readings-dead-box.toml", 13)] {
        let record = record::read(&harness, name, &demo(name));
        assert!(record.diagnostics.is_empty(), "{name}: {:?}", errors(&record));
        assert_eq!(record.entries.len(), readings, "{name}");
    }
}

/// Cut anywhere in its last entry, a record keeps all entries before it, and says what it lost. It may keep
/// the last one only if that is whole.
#[test]
fn a_last_entry_cut_off_anywhere_is_reported_and_costs_no_other() {
    let harness = sprayer();
    let mut plain = entry();
    plain.note = None;
    for last in [entry(), plain] {
        let before = format!("format = 1\n\n{}\n", entry().text());
        let whole = format!("{before}{}", last.text());
        for cut in before.len()..whole.len() {
            // A text file cut inside a letter is not text any more: the reader of files refuses it by name.
            let Some(text) = whole.get(..cut) else { continue };
            let record = record::read(&harness, "r", text);
            assert_eq!(errors(&record), Vec::<String>::new(), "cut at {cut}: {:?}", &text[before.len()..]);
            let lost = text[before.len()..].trim_end().is_empty();
            let reported = record.diagnostics.iter().any(|d| d.severity == Severity::Warning);
            match record.entries.len() {
                2 => {
                    assert_eq!(record.entries[1].value, Reading::Ohms(Ohms::new(0.4)), "cut at {cut}");
                    assert_eq!(record.entries[1].setup, record.entries[0].setup, "cut at {cut}: {text}");
                }
                1 => assert!(lost || reported, "cut at {cut}: lost without a word"),
                n => panic!("cut at {cut}: {n} entries"),
            }
            assert_eq!(record.entries[0].step.as_deref(), Some("2.04"));
            // And it can be written to again, with nothing of the cut text thrown away.
            let mended = record::mend(text).unwrap_or_else(|| format!("{text}\n"));
            for line in text[before.len()..].lines() {
                assert!(mended.contains(line), "cut at {cut}: {line}");
            }
            let again = record::read(&harness, "r", &format!("{mended}\n{}", entry().text()));
            assert_eq!(errors(&again), Vec::<String>::new(), "cut at {cut}");
            assert_eq!(again.entries.len(), record.entries.len() + 1, "cut at {cut}");
        }
    }
}

#[test]
fn a_record_of_one_entry_cut_off_is_empty_and_says_so() {
    let harness = sprayer();
    let whole = format!("format = 1\n\n{}", entry().text());
    let record = record::read(&harness, "r", &whole[..whole.len() / 2]);
    assert_eq!((record.entries.len(), errors(&record).len()), (0, 0));
    assert_eq!(record.diagnostics.len(), 1);
}

#[test]
fn what_is_wrong_before_the_last_entry_is_an_error_with_its_place() {
    let harness = sprayer();
    let good = entry().text();
    let swap = |from: &str, to: &str| format!("format = 1\n\n{}\n{good}", good.replacen(from, to, 1));
    let cases = [
        (swap("P1.K", "P1.Q"), "P1"),
        (swap("kind = \"continuity\"", "kind = \"smell\""), "smell"),
        (swap("power = \"isolated\"", "power = \"off\""), "off"),
        (swap("value = \"0.4 ohm\"", "value = \"0\""), "bare 0 or 1"),
        (swap("\"XB1\"", "\"XB7\""), "XB7"),
        (swap("S2 = \"spray\"", "S2 = \"brew\""), "brew"),
        (swap("tank-full", "tank-fool"), "tank-fool"),
        (swap("\nvalue = ", "\nworth = "), "worth"),
        (swap("red = ", "red == "), "not valid TOML"),
        (swap("2026-05-02T09:14:00Z", "\"yesterday\""), "not a time"),
        (swap("format = 1", "format = 1").replacen("format = 1", "format = 2", 1), "format"),
    ];
    for (text, says) in cases {
        let record = record::read(&harness, "r", &text);
        let found =
            record.diagnostics.iter().find(|d| d.severity == Severity::Error && d.message.contains(says));
        let Some(found) = found else { panic!("{says}: {:?}\n{text}", errors(&record)) };
        assert!(!record.is_sound());
        let shown =
            ringout::definition::diagnostic::render(std::slice::from_ref(found), &record.sources, false);
        assert!(shown.contains("r:"), "no place: {shown}");
    }
}

#[test]
fn conditions_that_need_power_are_refused_without_it() {
    let mut wrong = entry();
    wrong.conditions = vec!["engine-running".to_owned()];
    let record = record::read(&sprayer(), "r", &format!("format = 1\n{}", wrong.text()));
    assert!(errors(&record)[0].contains("only with power connected"), "{:?}", errors(&record));
}

// The command.

struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("readings.toml")
    }

    fn text(&self) -> String {
        std::fs::read_to_string(self.path()).unwrap()
    }

    fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_ringout"));
        command.arg("log").arg(support::path("orchard-sprayer.toml")).arg(self.path()).args(args);
        command.stdout(Stdio::piped()).stderr(Stdio::piped());
        command
    }

    fn log(&self, args: &[&str]) -> Output {
        self.command(args).output().unwrap()
    }

    fn spawn(&self, args: &[&str]) -> Child {
        self.command(args).spawn().unwrap()
    }

    fn record(&self) -> Record {
        record::read(&sprayer(), "r", &self.text())
    }
}

const CONTINUITY: [&str; 10] = [
    "--kind",
    "continuity",
    "--red",
    "XB2.3",
    "--black",
    "P1.K",
    "--power",
    "isolated",
    "--unplugged",
    "P1,XB1",
];

fn with<'a>(base: &[&'a str], more: &[&'a str]) -> Vec<&'a str> {
    base.iter().chain(more).copied().collect()
}

#[test]
fn what_people_write_is_kept_in_one_form() {
    let cases = [
        ("OL", Reading::Open),
        ("0L", Reading::Open),
        ("open", Reading::Open),
        (">20M", Reading::Open),
        ("12k", Reading::Ohms(Ohms::new(12e3))),
        ("1.5M", Reading::Ohms(Ohms::new(1.5e6))),
        ("300m", Reading::Ohms(Ohms::new(0.3))),
        ("beep", Reading::Tone),
        ("0.4 ohm", Reading::Ohms(Ohms::new(0.4))),
        ("0.4", Reading::Ohms(Ohms::new(0.4))),
    ];
    let bench = Bench::new();
    for (at, (text, reading)) in cases.iter().enumerate() {
        let output = bench.log(&with(&CONTINUITY, &["--value", text]));
        let good = matches!(reading, Reading::Tone) || matches!(reading, Reading::Ohms(o) if o.get() < 1.0);
        assert_eq!(output.status.code(), Some(i32::from(!good)), "{text}: {output:?}");
        let record = bench.record();
        assert_eq!(record.entries.len(), at + 1, "{text}");
        assert_eq!(record.entries[at].value, *reading, "{text}");
    }
    let text = bench.text();
    for written in ["\"open\"", "\"tone\"", "\"12 kohm\"", "\"1.5 Mohm\"", "\"300 mohm\""] {
        assert!(text.contains(written), "{written}");
    }
}

#[test]
fn a_reading_out_of_limits_is_written_and_ends_with_one() {
    let bench = Bench::new();
    let args = [
        "--kind",
        "voltage",
        "--red",
        "XM1.1",
        "--black",
        "XM1.2",
        "--power",
        "connected",
        "--set",
        "S1=run,S2=spray",
    ];
    let bad = bench.log(&with(&args, &["--value", "-0.01 V"]));
    assert_eq!(bad.status.code(), Some(1), "{bad:?}");
    assert!(String::from_utf8_lossy(&bad.stdout).contains("BAD"));
    let good = bench.log(&with(&args, &["--value", "23.9"]));
    assert_eq!(good.status.code(), Some(0), "{good:?}");
    let values: Vec<_> = bench.record().entries.iter().map(|e| e.value).collect();
    assert_eq!(values, [Reading::Volts(Volts::new(-0.01)), Reading::Volts(Volts::new(23.9))]);
}

#[test]
#[allow(clippy::too_many_lines, reason = "a table of refusals")]
fn unsafe_and_impossible_readings_are_refused_and_leave_the_record_alone() {
    let bench = Bench::new();
    let first = bench.log(&with(&CONTINUITY, &["--value", "0.1 ohm"]));
    assert_eq!(first.status.code(), Some(0), "{first:?}");
    let before = std::fs::read(bench.path()).unwrap();
    let cases: &[(&[&str], &str)] = &[
        // Ohms on a live machine.
        (
            &[
                "--kind",
                "continuity",
                "--red",
                "BT1",
                "--black",
                "BT2",
                "--power",
                "connected",
                "--value",
                "1.2 ohm",
            ],
            "power isolated",
        ),
        (
            &[
                "--kind",
                "isolation",
                "--red",
                "XB1.3",
                "--black",
                "chassis",
                "--power",
                "connected",
                "--value",
                "OL",
            ],
            "power isolated",
        ),
        // A drop without current.
        (
            &["--kind", "drop", "--red", "BT2", "--black", "GP1", "--power", "isolated", "--value", "0.1 V"],
            "a drop needs power connected",
        ),
        // Behind a plug that is in.
        (
            &[
                "--kind",
                "continuity",
                "--red",
                "P1.K",
                "--black",
                "GP2",
                "--power",
                "isolated",
                "--value",
                "OL",
            ],
            "unplug it",
        ),
        // Under a sleeve.
        (
            &[
                "--kind",
                "continuity",
                "--red",
                "SP3",
                "--black",
                "GP2",
                "--power",
                "isolated",
                "--value",
                "OL",
            ],
            "under its sleeve",
        ),
        // Both probes in one place.
        (
            &[
                "--kind",
                "voltage",
                "--red",
                "GP2",
                "--black",
                "GP2",
                "--power",
                "connected",
                "--value",
                "0.0 V",
            ],
            "both probes",
        ),
        // Into a unit.
        (
            &[
                "--kind",
                "continuity",
                "--red",
                "J1.A",
                "--black",
                "J1.B",
                "--power",
                "isolated",
                "--unplugged",
                "P1",
                "--value",
                "OL",
            ],
            "unplug it first",
        ),
        // Nothing to unplug there.
        (
            &[
                "--kind",
                "continuity",
                "--red",
                "BT1",
                "--black",
                "IS1",
                "--power",
                "isolated",
                "--unplugged",
                "FB1",
                "--value",
                "0.1 ohm",
            ],
            "no mate",
        ),
        // Not readings.
        (
            &["--kind", "voltage", "--red", "BT1", "--black", "BT2", "--power", "connected", "--value", "0"],
            "bare 0 or 1",
        ),
        (
            &[
                "--kind",
                "continuity",
                "--red",
                "BT2",
                "--black",
                "GP1",
                "--power",
                "isolated",
                "--value",
                "24 V",
            ],
            "not a reading of continuity",
        ),
        (
            &[
                "--kind",
                "voltage",
                "--red",
                "NOPE",
                "--black",
                "BT2",
                "--power",
                "connected",
                "--value",
                "24 V",
            ],
            "NOPE",
        ),
        (&["--red", "BT1", "--black", "BT2", "--power", "connected", "--value", "24 V"], "--kind"),
        (&["--step", "99.99", "--value", "24 V"], "no step 99.99"),
    ];
    for (args, says) in cases {
        let output = bench.log(args);
        assert_eq!(output.status.code(), Some(2), "{args:?}: {output:?}");
        let told = String::from_utf8_lossy(&output.stderr);
        assert!(told.contains(says), "{args:?}: {told}");
        assert_eq!(std::fs::read(bench.path()).unwrap(), before, "{args:?}");
    }
}

#[test]
fn a_step_of_the_plan_brings_its_probes_and_setup() {
    let bench = Bench::new();
    let output = bench.log(&["--step", "1.01", "--value", "25.3 V"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let record = bench.record();
    let [entry] = &record.entries[..] else { panic!("one entry") };
    assert_eq!(entry.name(), "#1 (1.01)");
    assert_eq!(entry.setup.power(), Power::Connected);
}

#[test]
fn a_cut_off_entry_is_kept_as_a_comment_when_the_next_is_added() {
    let bench = Bench::new();
    bench.log(&with(&CONTINUITY, &["--value", "0.1 ohm"]));
    let cut = "[[reading]]\nkind = \"contin";
    std::fs::write(bench.path(), format!("{}\n{cut}", bench.text())).unwrap();
    let output = bench.log(&with(&CONTINUITY, &["--value", "0.2 ohm"]));
    assert!(String::from_utf8_lossy(&output.stderr).contains("cut off"), "{output:?}");
    assert!(bench.text().contains("# kind = \"contin"));
    assert_eq!(bench.record().entries.len(), 2);
    assert!(bench.record().diagnostics.is_empty());
}

/// Twice twenty at once: every one of them is in the record, whole.
#[test]
fn two_writers_at_once_lose_nothing() {
    let bench = Bench::new();
    let writer = |by: &str| {
        for at in 1..=20 {
            let note = format!("{by}{at}");
            let output = bench.log(&with(&CONTINUITY, &["--value", "0.1 ohm", "--note", &note]));
            assert_eq!(output.status.code(), Some(0), "{output:?}");
        }
    };
    std::thread::scope(|scope| {
        scope.spawn(|| writer("left"));
        scope.spawn(|| writer("right"));
    });
    let record = bench.record();
    assert!(record.diagnostics.is_empty(), "{:?}", errors(&record));
    let mut notes: Vec<String> = record.entries.iter().filter_map(|e| e.note.clone()).collect();
    notes.sort();
    let mut expected: Vec<String> =
        (1..=20).flat_map(|n| [format!("left{n}"), format!("right{n}")]).collect();
    expected.sort();
    assert_eq!(notes, expected);
}

/// Killed at any moment, a writer leaves the record as it was or with one whole entry more.
#[test]
fn a_killed_writer_leaves_a_readable_record() {
    let bench = Bench::new();
    bench.log(&with(&CONTINUITY, &["--value", "0.1 ohm"]));
    let start = std::time::Instant::now();
    bench.log(&with(&CONTINUITY, &["--value", "0.1 ohm"]));
    let usual = start.elapsed();
    let (mut known, mut killed, mut at) = (2, 0, 0u32);
    // How long a writer takes differs from run to run, so it goes on until enough were caught alive.
    while killed < 30 {
        at += 1;
        assert!(at < 1000, "only {killed} of {at} writers were killed before they ended");
        let mut child = bench.spawn(&with(&CONTINUITY, &["--value", "0.1 ohm"]));
        std::thread::sleep(usual * (at % 32) / 32);
        child.kill().unwrap();
        killed += usize::from(!child.wait().unwrap().success());
        let record = bench.record();
        assert!(record.diagnostics.is_empty(), "{:?}", errors(&record));
        let now = record.entries.len();
        assert!(now == known || now == known + 1, "{known} entries, then {now}");
        known = now;
    }
    // The lock of a killed writer binds nobody.
    let output = bench.log(&with(&CONTINUITY, &["--value", "0.1 ohm"]));
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert_eq!(bench.record().entries.len(), known + 1);
}

/// A reading with the keys that change from test to test.
fn strapped(keys: &str) -> String {
    format!("[[reading]]\nkind = \"isolation\"\nred = \"P1.A\"\nblack = \"P1.B\"\n{keys}\nvalue = \"open\"\n")
}

#[test]
fn a_reading_says_which_straps_were_on() {
    let harness = sprayer();
    let text =
        strapped("power = \"isolated\"\nunplugged = [\"P1\"]\nstrapped = [[\"P1.B\", \"P1.C\", \"P1.D\"]]");
    let record = record::read(&harness, "r", &text);
    assert_eq!(errors(&record), Vec::<String>::new());
    let straps: Vec<Vec<String>> =
        record.entries[0].setup.straps().map(|strap| strap.names(&harness)).collect();
    assert_eq!(straps, [["P1.B", "P1.C", "P1.D"].map(str::to_owned).to_vec()]);
}

#[test]
fn straps_that_cannot_be_are_refused() {
    let harness = sprayer();
    for (keys, words) in [
        (
            "power = \"connected\"\nunplugged = [\"P1\"]\nstrapped = [[\"P1.B\", \"P1.C\"]]",
            "power isolated only",
        ),
        ("power = \"isolated\"\nstrapped = [[\"P1.B\", \"P1.C\"]]", "not open"),
        ("power = \"isolated\"\nunplugged = [\"P1\"]\nstrapped = [[\"P1.B\"]]", "two contacts"),
        (
            "power = \"isolated\"\nunplugged = [\"P1\", \"XB1\"]\nstrapped = [[\"P1.B\", \"XB1.1\"]]",
            "one station",
        ),
        ("power = \"isolated\"\nunplugged = [\"P1\"]\nstrapped = [[\"P1.B\", \"SP2\"]]", "sleeve"),
        ("power = \"isolated\"\nunplugged = [\"P1\"]\nstrapped = [[\"J1.B\", \"J1.C\"]]", "unit BOX1"),
        (
            "power = \"isolated\"\nunplugged = [\"P1\"]\nstrapped = [[\"P1.B\", \"P1.C\"], [\"P1.C\", \"P1.D\"]]",
            "two straps",
        ),
        ("power = \"isolated\"\nunplugged = [\"P1\"]\nstrapped = [[\"P1.B\", \"P1.Z\"]]", "no contact `Z`"),
        ("power = \"isolated\"\nunplugged = [\"P1\"]\nstrapped = [\"P1.B\", \"P1.C\"]", "strapped"),
    ] {
        let found = errors(&record::read(&harness, "r", &strapped(keys)));
        assert!(found.iter().any(|error| error.contains(words)), "{keys}: {found:?}");
    }
}
