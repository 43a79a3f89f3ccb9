//! How the program behaves as a command: exit codes, what goes to which stream, and that every format
//! of every command can be read by the program it is meant for.

#![allow(clippy::unwrap_used, reason = "a test stops where something it needs is not there")]

use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use serde_json::Value;
use tempfile::TempDir;

/// A definition without errors and warnings.
const GOOD: &str = r#"format = 1

[harness]
id = "TRY-1"
title = "Work lamp feed"
revision = "A"

[connector.X1]
contacts = 2

[terminal.GP1]
ground = true

[[wire]]
id = "31A"
from = "X1.1"
to = "GP1"
gauge = "1.5 mm2"
colour = "RD/WH"
length = "2 m"

[[wire]]
id = "32A"
from = "X1.2"
to = "GP1"
gauge = "16 AWG"
colour = "BK"
length = "2 m"

[variant.long.wire.31A]
length = "4 m"
"#;

fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_ringout"));
    command.env_remove("COLUMNS").env_remove("NO_COLOR").env_remove("CLICOLOR_FORCE").stdin(Stdio::null());
    command
}

fn run(args: &[&str]) -> Output {
    program().args(args).output().unwrap()
}

/// Runs a command on a file and expects an exit code; gives standard output and standard error.
fn expect(code: i32, args: &[&str]) -> (String, String) {
    let output = run(args);
    let [out, err] = [output.stdout, output.stderr].map(|bytes| String::from_utf8(bytes).unwrap());
    assert_eq!(output.status.code(), Some(code), "ringout {args:?}\n{out}\n{err}");
    (out, err)
}

/// A fresh folder with one file in it.
fn file(text: impl AsRef<[u8]>) -> (TempDir, String) {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("try.toml");
    fs::write(&path, text).unwrap();
    let path = path.to_str().unwrap().to_owned();
    (folder, path)
}

fn harnesses() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("harnesses");
    let folders = [root.clone(), root.join("published")];
    let files = folders.iter().flat_map(|folder| fs::read_dir(folder).unwrap());
    let mut files: Vec<PathBuf> = files
        .map(|entry| entry.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    assert!(files.len() >= 10);
    files
}

/// Every command on a harness, with the arguments it needs.
fn commands(harness: &str) -> Vec<Vec<String>> {
    let (out, _) = expect(0, &["wires", harness, "--format", "json"]);
    let wires: Value = serde_json::from_str(&out).unwrap();
    let [from, to] = ["from", "to"].map(|end| wires["wires"][0][end].as_str().unwrap().to_owned());
    let call = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect();
    vec![
        call(&["check", harness]),
        call(&["pins", harness]),
        call(&["wires", harness]),
        call(&["nets", harness]),
        call(&["trace", harness, &from]),
        call(&["trace", harness, &from, &to]),
    ]
}

fn in_format(command: &[String], format: &str) -> String {
    let args: Vec<&str> = command.iter().map(String::as_str).chain(["--format", format]).collect();
    expect(0, &args).0
}

#[test]
fn a_file_that_is_not_there() {
    let (out, err) = expect(2, &["check", "no/such/file.toml"]);
    assert_eq!(out, "");
    assert!(err.starts_with("ringout: cannot read no/such/file.toml: No such file"), "{err}");
    assert_eq!(err.lines().count(), 1, "{err}");
}

#[test]
fn a_folder() {
    let folder = TempDir::new().unwrap();
    let (_, err) = expect(2, &["check", folder.path().to_str().unwrap()]);
    assert!(err.contains("cannot read") && err.to_lowercase().contains("directory"), "{err}");
}

#[test]
fn a_file_that_is_not_utf8() {
    let (_folder, path) = file(b"format = 1\n# caf\xe9\n");
    let (_, err) = expect(2, &["check", &path]);
    assert!(err.contains("is not UTF-8 text (line 2): save it as UTF-8"), "{err}");
}

#[test]
fn a_file_that_is_too_large() {
    let (_folder, path) = file(GOOD);
    // A hole in the file: it is that long without being written.
    fs::OpenOptions::new().write(true).open(&path).unwrap().set_len((64 << 20) + 1).unwrap();
    let (_, err) = expect(2, &["check", &path]);
    assert!(err.contains("it is larger than 64 MiB"), "{err}");
}

#[test]
fn a_used_file_that_cannot_be_read() {
    let (folder, path) = file(GOOD.replace("format = 1", "format = 1\nuse = [\"deck.toml\", \"cab.toml\"]"));
    fs::write(folder.path().join("cab.toml"), b"\xff").unwrap();
    let (_, err) = expect(2, &["check", &path]);
    assert!(err.contains("cannot read `deck.toml`: No such file"), "{err}");
    assert!(err.contains("cannot read `cab.toml`: it is not UTF-8 text (line 1)"), "{err}");
    assert!(err.contains("try.toml:2:8") && err.contains("try.toml:2:21"), "{err}");
    assert!(err.ends_with("has 2 errors\n"), "{err}");
}

#[test]
fn used_files_are_found_from_the_file_that_names_them() {
    let (folder, path) = file(GOOD.replace("format = 1", "format = 1\nuse = [\"looms/deck.toml\"]"));
    fs::create_dir(folder.path().join("looms")).unwrap();
    fs::write(folder.path().join("looms/deck.toml"), "format = 1\nuse = [\"boom.toml\"]\n").unwrap();
    fs::write(folder.path().join("looms/boom.toml"), "format = 1\n[station.boom]\n").unwrap();
    expect(0, &["check", "--strict", &path]);
    // The file itself, reached by a detour, is a circle.
    fs::write(folder.path().join("looms/boom.toml"), "format = 1\nuse = [\"../try.toml\"]\n").unwrap();
    let (_, err) = expect(2, &["check", &path]);
    assert!(err.contains("goes round in a circle"), "{err}");
}

#[test]
fn variants() {
    let (_folder, path) = file(GOOD);
    let (out, _) = expect(0, &["wires", &path, "--variant", "long", "--format", "json"]);
    let view: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(view["wires"][0]["metres"], 4.0);
    assert_eq!(view["harness"]["variant"], "long");
    let (out, err) = expect(2, &["wires", &path, "--variant", "lnog"]);
    assert_eq!(out, "");
    assert!(err.contains("no variant is called `lnog`") && err.contains("did you mean `long`?"), "{err}");
    let (_, err) = expect(2, &["wires", &path, "--variant", "wide"]);
    assert!(err.contains("its variants are: long"), "{err}");
}

#[test]
fn warnings_are_a_finding_only_when_asked_for() {
    let (_folder, path) = file(GOOD.replace("length = \"2 m\"\n", ""));
    let (out, err) = expect(0, &["check", &path]);
    assert!(out.contains("no errors, 2 warning"), "{out}");
    assert!(err.contains("warning[wire-size]: wire 31A has no length"), "{err}");
    expect(1, &["check", "--strict", &path]);
    let (_folder, path) = file(GOOD);
    let (_, err) = expect(0, &["check", "--strict", &path]);
    assert_eq!(err, "");
}

#[test]
fn errors_go_to_standard_error_alone() {
    let (_folder, path) = file(GOOD.replace("BK", "black"));
    for command in ["check", "pins", "wires", "nets"] {
        let (out, err) = expect(2, &[command, &path]);
        assert_eq!(out, "");
        assert!(err.contains("error[colour]") && err.contains("write it as \"BK\""), "{err}");
        assert!(err.ends_with("try.toml has 1 error\n"), "{err}");
    }
}

#[test]
fn id_and_revision_are_required() {
    for (line, says) in [("id = \"TRY-1\"\n", "needs `id`"), ("revision = \"A\"\n", "needs `revision`")] {
        let (_folder, path) = file(GOOD.replace(line, ""));
        let (_, err) = expect(2, &["check", &path]);
        assert!(err.contains(says), "{err}");
    }
}

#[test]
fn unknown_names_in_arguments() {
    let (_folder, path) = file(GOOD);
    for (args, says) in [
        (vec!["pins", path.as_str(), "X11"], "no connector is called `X11`: did you mean `X1`?"),
        (vec!["nets", path.as_str(), "--unplug", "X1"], "X1 has no mate: there is nothing to unplug"),
        (vec!["trace", path.as_str(), "X1"], "needs one of its contacts"),
        (vec!["trace", path.as_str(), "X1.3"], "X1 has no contact `3`: its contacts are 1 2"),
        (vec!["wires", path.as_str(), "--circuit", "99"], "no wire belongs to circuit `99`"),
    ] {
        let (out, err) = expect(2, &args);
        assert_eq!(out, "");
        assert!(err.contains(says), "{args:?}: {err}");
    }
    let (_, err) = expect(2, &["no-such-command"]);
    assert!(err.contains("no-such-command"), "{err}");
}

#[test]
fn a_byte_order_mark_and_carriage_returns_do_not_matter() {
    let plain = table_of(GOOD);
    assert_eq!(table_of(&format!("\u{feff}{GOOD}")), plain);
    assert_eq!(table_of(&GOOD.replace('\n', "\r\n")), plain);
    // Places count from the first letter, not from the mark.
    let (_folder, path) = file(format!("\u{feff}fromat = 1\r\n{}", GOOD.replace('\n', "\r\n")));
    let (_, err) = expect(2, &["check", &path]);
    assert!(err.contains("try.toml:1:1\n"), "{err}");
}

/// The from-to list without its heading, which names the hash of the file.
fn table_of(text: &str) -> String {
    let (_folder, path) = file(text);
    let (out, err) = expect(0, &["wires", &path]);
    assert_eq!(err, "");
    out.lines().skip(1).collect::<Vec<_>>().join("\n")
}

#[test]
fn a_reader_that_stops_reading_is_no_error() {
    // More output than a pipe holds, so that writing must fail.
    let wire = |n| format!("[[wire]]\nid = \"W{n}\"\nfrom = \"X1.{n}\"\nto = \"GP1\"\n");
    let wires = (3..4003).map(wire).collect::<Vec<_>>().concat();
    let (_folder, path) = file(format!("{}\n{wires}", GOOD.replace("contacts = 2", "contacts = 4002")));
    for format in ["table", "json", "csv", "md"] {
        let mut child = program()
            .args(["wires", &path, "--format", format])
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut first = [0; 16];
        child.stdout.as_mut().unwrap().read_exact(&mut first).unwrap();
        drop(child.stdout.take());
        let output = child.wait_with_output().unwrap();
        assert_eq!(output.status.code(), Some(0), "{format}");
        assert_eq!(output.stderr, b"", "{format}");
    }
}

#[test]
fn no_escape_codes_in_pipes() {
    let (_folder, path) = file(GOOD.replace("length = \"2 m\"\n", ""));
    let (_other, bad) = file(GOOD.replace("BK", "b\u{202e}k"));
    for no_color in [None, Some("1"), Some("")] {
        for path in [&path, &bad] {
            let mut command = program();
            if let Some(value) = no_color {
                command.env("NO_COLOR", value);
            }
            let output = command.args(["check", path]).output().unwrap();
            assert!(!output.stderr.is_empty());
            for stream in [output.stdout, output.stderr] {
                assert!(!stream.contains(&0x1b), "{no_color:?}");
            }
        }
    }
}

#[test]
fn texts_of_a_file_cannot_command_the_terminal() {
    let (_folder, path) = file(GOOD.replace("Work lamp feed", "\\u001b[31mred\\u202e"));
    for command in ["check", "pins", "wires", "nets"] {
        for format in ["table", "md"] {
            let (out, _) = expect(0, &[command, &path, "--format", format]);
            assert!(!out.contains(['\u{1b}', '\u{202e}']), "{command} {format}: {out:?}");
        }
    }
}

#[test]
fn every_format_of_every_command_can_be_read() {
    for harness in harnesses() {
        for command in commands(harness.to_str().unwrap()) {
            let view: Value = serde_json::from_str(&in_format(&command, "json")).unwrap();
            for key in ["id", "revision", "hash"] {
                assert!(view["harness"][key].as_str().is_some_and(|v| !v.is_empty()), "{command:?}: {key}");
            }
            let csv = in_format(&command, "csv");
            let mut reader =
                csv::ReaderBuilder::new().flexible(true).has_headers(false).from_reader(csv.as_bytes());
            assert!(reader.records().all(|record| record.is_ok()), "{command:?}");
            let markdown = in_format(&command, "md");
            assert!(markdown.starts_with("# "), "{command:?}");
        }
    }
}

#[test]
fn tables_fit_a_terminal_of_80_columns() {
    for harness in harnesses() {
        for command in commands(harness.to_str().unwrap()) {
            let out = in_format(&command, "table");
            // Every sign in these sheets is one column wide, so that counting characters is enough.
            for line in out.lines() {
                assert!(line.chars().count() <= 80, "{command:?}: {} columns\n{line}", line.chars().count());
            }
        }
    }
}

#[test]
fn nets_as_json_have_their_keys() {
    let (_folder, path) = file(GOOD);
    let (out, _) = expect(0, &["nets", &path, "--format", "json"]);
    let view: Value = serde_json::from_str(&out).unwrap();
    let nets = view["nets"].as_array().unwrap();
    assert_eq!(nets.len(), 1);
    assert_eq!(nets[0]["id"], "N1");
    assert_eq!(nets[0]["wires"], serde_json::json!(["31A", "32A"]));
    assert_eq!(nets[0]["ground"], true);
    let members = nets[0]["members"].as_array().unwrap();
    for point in ["X1.1", "X1.2", "GP1"] {
        assert!(members.iter().any(|m| m == point), "{point}");
    }
}

#[test]
fn check_as_json_keeps_its_warnings() {
    let (_folder, path) = file(GOOD.replace("length = \"2 m\"\n", ""));
    let (out, err) = expect(1, &["check", "--strict", &path, "--format", "json"]);
    assert_eq!(err, "");
    let view: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(view["warnings"][0]["rule"], "wire-size");
    assert_eq!(view["warnings"][0]["line"], 15);
    assert_eq!(view["warnings"][0]["column"], 6);
    assert_eq!(view["counts"]["wires"], 2);
}

/// A lamp of 2 A at the end of 30 m of thin wire, behind a fuse that is too large for it.
const DIM: &str = r#"format = 1

[harness]
id = "DIM-1"
revision = "A"
nominal = "12 V"

[terminal.BT1]
[terminal.BT2]
[terminal.H1]
[terminal.L1]

[[wire]]
id = "1A"
from = "H1"
to = "L1"
gauge = "1 mm2"
length = "30 m"

[part.BAT1]
kind = "battery"
volts = "12.6 V"
internal = "20 mohm"
plus = "BT1"
minus = "BT2"

[part.F1]
kind = "fuse"
rating = "10 A"
between = ["BT1", "H1"]

[part.E1]
kind = "lamp"
between = ["L1", "BT2"]
ohms = "6 ohm"
"#;

#[test]
fn what_an_audit_finds_is_a_warning() {
    let (_folder, path) = file(DIM);
    let (out, err) = expect(0, &["check", &path]);
    assert!(err.contains("warning[wire-protection]: wire 1A (1 mm2) may carry 6 A"), "{err}");
    assert!(err.contains("try.toml:14:6"), "{err}");
    assert!(!err.contains("voltage-drop"), "{err}");
    assert!(out.contains("no rule set is chosen"), "{out}");
    assert!(out.contains("no errors, 1 warning(s)"), "{out}");
    expect(1, &["check", "--strict", &path]);
    let (out, err) = expect(0, &["check", "--rule-set", "vehicle", &path]);
    assert!(err.contains("warning[voltage-drop]: E1 loses 1.1"), "{err}");
    assert!(err.contains("usual limits of vehicle repair manuals"), "{err}");
    assert!(!out.contains("no rule set is chosen") && out.contains("2 warning(s)"), "{out}");
    let (_, err) = expect(2, &["check", "--rule-set", "tractor", &path]);
    assert!(err.contains("the rule sets are: vehicle, aircraft, boat, building"), "{err}");
}

#[test]
fn the_argument_goes_before_the_definition() {
    let (_folder, path) = file(DIM.replace("nominal = \"12 V\"", "nominal = \"12 V\"\nrule_set = \"boat\""));
    let limit = |args: &[&str]| {
        let (out, _) = expect(0, &[&["check", &path, "--electrical", "--format", "json"], args].concat());
        let view: Value = serde_json::from_str(&out).unwrap();
        (view["rule_set"].as_str().unwrap().to_owned(), view["loads"][0]["limit"].as_f64().unwrap())
    };
    // 10 % of 12 V (ABYC E-11, not critical), and 1 V.
    assert_eq!(limit(&[]), ("boat".to_owned(), 1.2));
    assert_eq!(limit(&["--rule-set", "vehicle"]), ("vehicle".to_owned(), 1.0));
}

#[test]
fn findings_as_json_have_their_keys() {
    let (_folder, path) = file(DIM.replace("gauge = \"1 mm2\"", "gauge = \"1 mm2\"\nampacity = \"13 A\""));
    let (out, _) = expect(0, &["check", "--rule-set", "vehicle", &path, "--format", "json"]);
    let view: Value = serde_json::from_str(&out).unwrap();
    let findings = view["findings"].as_array().unwrap();
    assert_eq!(findings.len(), 1);
    let finding = &findings[0];
    assert_eq!(finding["rule"], "voltage-drop");
    assert_eq!(finding["severity"], "warning");
    assert_eq!(finding["where"]["id"], "E1");
    assert_eq!(finding["where"]["line"], 33);
    assert_eq!(finding["unit"], "V");
    assert_eq!(finding["limit"], 1.0);
    assert!(finding["value"].as_f64().unwrap() > 1.0);
    for key in ["message", "help", "source"] {
        assert!(finding[key].as_str().is_some_and(|text| !text.is_empty()), "{key}");
    }
    assert_eq!(finding["setup"]["set"], serde_json::json!({}));
    let way: Vec<&str> =
        finding["way"].as_array().unwrap().iter().map(|hop| hop["element"].as_str().unwrap()).collect();
    assert_eq!(way, ["BAT1", "F1", "1A", "E1", "BAT1"]);
    assert!(view.get("loads").is_none());
}

#[test]
fn every_rule_is_listed_with_its_source() {
    let (out, _) = expect(0, &["check", "--rules"]);
    for rule in ringout::audit::RULES {
        assert!(
            out.contains(rule.name) && out.contains(rule.demands) && out.contains(rule.why),
            "{}",
            rule.name
        );
        assert!(out.contains(&format!("Source: {}.", rule.source)), "{}", rule.name);
    }
}
