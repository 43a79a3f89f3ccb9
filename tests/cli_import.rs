//! `ringout import` and `export` as a user meets them: nothing is written unasked, nothing over what is there, and
//! mistakes are answered with what to write.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

use std::path::Path;
use std::process::{Command, Output, Stdio};

const LIST: &str =
    "Wire;From;To;Length;Supplier\n31A;P1.K;SP3;2,4 m;Acme\n31B;SP3;J1-A;850 mm;\n32;P1.L;TBD;;\n";

/// Exit code, standard output, standard error.
fn run(folder: &Path, args: &[&str]) -> (i32, String, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_ringout"));
    command.args(args).current_dir(folder).stdin(Stdio::null()).env_remove("COLUMNS");
    let Output { status, stdout, stderr } = command.output().unwrap();
    let [out, err] = [stdout, stderr].map(|bytes| String::from_utf8(bytes).unwrap());
    (status.code().unwrap(), out, err)
}

fn workshop(table: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("list.csv"), table).unwrap();
    folder
}

fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).unwrap();
    let mut names: Vec<String> =
        entries.map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

#[test]
fn nothing_is_written_until_it_is_confirmed() {
    let folder = workshop(LIST);
    let at = folder.path();
    let (code, out, err) = run(at, &["import", "list.csv"]);
    assert_eq!(code, 1, "{err}");
    assert!(out.contains("│ E        Supplier   note        unknown: kept as a "), "{out}");
    assert!(err.contains("nothing was written: -o FILE --yes"), "{err}");
    let (code, _, err) = run(at, &["import", "list.csv", "-o", "lead.toml"]);
    assert!(code == 2 && err.contains("add --yes"), "{err}");
    assert_eq!(names(at), ["list.csv"]);
    let (code, _, err) = run(at, &["import", "list.csv", "-o", "lead.toml", "--yes"]);
    assert_eq!((code, err.as_str()), (1, "written: lead.toml\nwritten: lead-rejects.csv\n"));
    let side = std::fs::read_to_string(at.join("lead-rejects.csv")).unwrap();
    assert_eq!(side, "row,reason,A,B,C,D,E\n4,one end is not decided yet,32,P1.L,TBD,,\n");
    let (code, out, err) = run(at, &["check", "lead.toml"]);
    assert_eq!(code, 0, "{out}{err}");
    assert!(std::fs::read_to_string(at.join("lead.toml")).unwrap().contains("# Supplier: Acme\n"));
}

#[test]
fn a_mended_side_file_completes_the_table() {
    let folder = workshop(LIST);
    let at = folder.path();
    run(at, &["import", "list.csv", "-o", "lead.toml", "--yes"]);
    let side = std::fs::read_to_string(at.join("lead-rejects.csv")).unwrap();
    std::fs::write(at.join("mended.csv"), side.replace("TBD,,", "J1.B,1 m,")).unwrap();
    let again = ["import", "list.csv", "--mended", "mended.csv", "-o", "lead.toml", "--yes"];
    let (code, _, err) = run(at, &again);
    assert!(code == 2 && err.contains("--force overwrites it"), "{err}");
    let (code, out, err) = run(at, &[&again[..], &["--force"]].concat());
    assert_eq!(code, 0, "{out}{err}");
    let (_, out, _) = run(at, &["wires", "lead.toml", "--format", "csv"]);
    assert_eq!(out.lines().count(), 4, "{out}");
    let (code, _, err) = run(at, &["import", "list.csv", "--mended", "list.csv"]);
    assert!(code == 2 && err.contains("keep its heads"), "{err}");
}

#[test]
fn a_refusal_of_the_side_file_writes_nothing() {
    let folder = workshop(LIST);
    let at = folder.path();
    std::fs::write(at.join("lead-rejects.csv"), "mine").unwrap();
    let (code, _, err) = run(at, &["import", "list.csv", "-o", "lead.toml", "--yes"]);
    assert!(code == 2 && err.contains("lead-rejects.csv exists already"), "{err}");
    assert_eq!(names(at), ["lead-rejects.csv", "list.csv"]);
    assert_eq!(std::fs::read_to_string(at.join("lead-rejects.csv")).unwrap(), "mine");
}

#[test]
fn what_is_not_clear_ends_with_two_and_writes_nothing() {
    let folder = workshop("Wire,From,To,Length,Size\n1A,P1.1-4,BAT+,850,16\n");
    let (code, out, err) = run(folder.path(), &["import", "list.csv", "-o", "a.toml", "--yes"]);
    assert!(code == 2 && err.contains("to be decided first (see above): nothing was written"), "{err}");
    assert!(out.contains("--dash range"), "{out}");
    assert_eq!(names(folder.path()), ["list.csv"]);
    let (code, out, _) = run(folder.path(), &["import", "list.csv", "--format", "json"]);
    let view: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(code, 2);
    assert_eq!(view["questions"][0]["examples"][0], serde_json::json!([2, "P1.1-4"]));
}

#[test]
fn mistakes_are_answered_with_what_to_write() {
    let folder = workshop(LIST);
    let at = folder.path();
    std::fs::write(at.join("open.csv"), "Wire,From,To\n1,\"P1.1,P2.1\n").unwrap();
    std::fs::write(at.join("empty.csv"), "\n\n").unwrap();
    std::fs::write(at.join("old.xls"), b"\xd0\xcf\x11\xe0old").unwrap();
    for (args, message) in [
        (&["import", "missing.csv"][..], "cannot read missing.csv"),
        (&["import", "empty.csv"], "cannot read empty.csv: the table is empty"),
        (&["import", "open.csv"], "cannot read open.csv: row 2: a quotation mark is opened and never closed"),
        (&["import", "list.csv", "--column", "frm=2"], "no column can hold `frm`; it can hold wire, from,"),
        (&["import", "list.csv", "--column", "from"], "write it as from=2"),
        (&["import", "list.csv", "--header", "top"], "write the number of a row, or none"),
        (&["import", "list.csv", "--separator", "dot"], "write comma, semicolon, tab or bar"),
        (&["import", "list.csv", "--charset", "klingon"], "no character set is called `klingon`"),
        (&["import", "list.csv", "--length-unit", "yard"], "write mm, cm, m, in or ft"),
        (&["import", "list.csv", "--gauge-unit", "mm"], "write AWG, SAE or mm2"),
        (&["import", "list.csv", "--colour", "bl"], "write it as bl=BU or clear=none"),
        (&["import", "list.csv", "--colour", "bl=blue"], "write it as \"BU\""),
        (&["import", "list.csv", "--wire-prefix", "W."], "can stand in an id"),
        (&["import", "list.csv", "--id", " "], "needs an id and a revision"),
        (&["import", "list.csv", "--sheet", "A"], "list.csv is no workbook"),
        (&["import", "old.xls"], "cannot read old.xls"),
    ] {
        let (code, out, err) = run(at, args);
        assert_eq!((code, out.as_str()), (2, ""), "{args:?}: {err}");
        assert!(err.contains(message), "{args:?}: {err}");
    }
}

#[test]
fn forms_of_export_exclude_each_other_and_settings_are_a_decks() {
    let sprayer = Path::new(env!("CARGO_MANIFEST_DIR")).join("harnesses/orchard-sprayer.toml");
    let sprayer = sprayer.to_str().unwrap();
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    for args in
        [&["--dot", "--json"][..], &["--csv", "nets"], &["--xlsx"], &["--dot", "--set", "S1=run"], &[]]
    {
        let (code, out, _) = run(at, &[&["export", sprayer], args].concat());
        assert_eq!((code, out.as_str()), (2, ""), "{args:?}");
    }
    let (code, _, err) = run(at, &["export", sprayer, "--csv", "wires", "-o", "w.csv"]);
    assert_eq!(code, 0, "{err}");
    let back = ["import", "w.csv", "-o", "w.toml", "--yes", "--joined", "all"];
    let (code, out, err) = run(at, &back);
    assert_eq!(code, 0, "{out}{err}");
    let list = |file: &str| {
        let (_, out, _) = run(at, &["export", file, "--csv", "wires"]);
        // Trunks are nothing that a list can hold; the definition's own stamp differs.
        let cells = |line: &str| line.split(',').take(9).collect::<Vec<_>>().join(",");
        out.lines().map(cells).collect::<Vec<_>>()
    };
    assert_eq!(list("w.toml"), list(sprayer));
}
