//! Tables, graphs and JSON against programs from outside.
//!
//! - CSV against Python's csv module (both ways), and RFC 4180 for what is written.
//! - XLSX against openpyxl (both ways), and against files that LibreOffice 7.4 wrote from the hand-written
//!   `tests/reference/spreadsheets/pump.fods` (`soffice --convert-to xlsx`, and to CSV as UTF-8 with commas and as
//!   windows-1252 with semicolons). The tests need no LibreOffice.
//! - DOT against pydot and networkx; JSON against its JSON Schema (draft 2020-12) with jsonschema.
//! - Formula-starting characters: OWASP, "CSV Injection".
//!
//! The Python side runs in the interpreter that `RINGOUT_PYTHON` names, which `tests/run` sets up; where it is not set,
//! those comparisons are left out and say so, and with `CI=true` that is a failure.

#![allow(clippy::unwrap_used, reason = "a comparison that cannot go on has failed")]

#[path = "support/mod.rs"]
mod harnesses;
#[path = "support/machine.rs"]
mod machine;

use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use ringout::definition::Harness;
use ringout::exchange::export::{Table, csv, dot, machine as json, pins_table, wires_table};
use ringout::exchange::{About, Grid, Imported, Options, import, read_csv};
use serde_json::Value;

fn reference(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference").join(name)
}

/// The interpreter, or `None` where the comparison is to be left out.
fn interpreter() -> Option<String> {
    let python = std::env::var("RINGOUT_PYTHON").ok().filter(|path| !path.is_empty());
    if python.is_none() {
        let message = "LEFT OUT: tables against Python's libraries, because RINGOUT_PYTHON is not set; tests/run sets it";
        assert_ne!(std::env::var("CI").as_deref(), Ok("true"), "{message}");
        // Not by `eprintln!`, which the test runner keeps to itself while tests pass.
        std::io::stderr().write_all(format!("{message}\n").as_bytes()).unwrap();
    }
    python
}

/// Runs `tables.py`; gives back what it prints.
fn ask(python: &str, args: &[&str], input: &[u8]) -> Value {
    let mut command = Command::new(python);
    command.arg("-B").arg(reference("tables.py")).args(args).stdin(Stdio::piped()).stdout(Stdio::piped());
    let mut child = command.spawn().unwrap_or_else(|error| panic!("cannot run {python}: {error}"));
    // A command that reads nothing may be gone before it is written to.
    drop(child.stdin.take().unwrap().write_all(input));
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "the reference failed: {}", output.status);
    if output.stdout.is_empty() { Value::Null } else { serde_json::from_slice(&output.stdout).unwrap() }
}

fn texts(grid: &Grid) -> Vec<Vec<String>> {
    let row = |row: &ringout::exchange::Row| row.cells.iter().map(|cell| cell.text().to_owned()).collect();
    grid.rows.iter().map(row).collect()
}

fn about() -> About {
    About { id: "TRY-1".to_owned(), title: String::new(), revision: "A".to_owned() }
}

fn rows(table: &Table) -> Vec<Vec<String>> {
    let heads = table.heads.iter().map(|head| (*head).to_owned()).collect();
    std::iter::once(heads).chain(table.rows.iter().cloned()).collect()
}

/// Cells with everything that RFC 4180 quotes, and what some dialects do not.
const HARD: [[&str; 3]; 5] = [
    ["Wire", "From, here", "To"],
    ["31\"A\"", "P1.K", "two\nlines"],
    ["semi;colon", "tab\there", "mm² é"],
    ["", "'quoted'", "\"\""],
    ["a|b", "x", "\u{2013}"],
];

#[test]
fn what_pythons_csv_module_writes_is_read() {
    let Some(python) = interpreter() else { return };
    let input = serde_json::to_vec(&HARD).unwrap();
    let written = ask(&python, &["csv-out"], &input);
    let dialects = [("excel", b','), ("unix", b','), ("semicolons", b';'), ("tabs", b'\t')];
    for (name, separator) in dialects {
        let grid = read_csv(written[name].as_str().unwrap().as_bytes(), Some(separator), None).unwrap();
        assert_eq!(texts(&grid), HARD.map(|row| row.map(str::to_owned).to_vec()), "{name}");
    }
}

#[test]
fn what_is_written_pythons_csv_module_reads() {
    let Some(python) = interpreter() else { return };
    for table in [wires_table(&sprayer()), pins_table(&sprayer()), wires_table(&machine::made(7, 80))] {
        let text = csv(&table);
        // RFC 4180, section 2: lines end with CRLF.
        assert!(
            text.lines().count() > 50 && text.split('\n').all(|line| line.is_empty() || line.ends_with('\r'))
        );
        let read = ask(&python, &["csv-in"], text.as_bytes());
        assert_eq!(read, serde_json::to_value(rows(&table)).unwrap());
    }
}

/// OWASP, "CSV Injection": cells that begin with = + - @ tab CR are prefixed by an apostrophe. A plain number below zero
/// is none of them.
#[test]
fn no_written_cell_begins_like_a_formula() {
    let text = r#"
        format = 1
        harness = { id = "=HYPERLINK", revision = "@A" }
        connector.X1 = { contacts = ["-1", "+2"], pin."-1".signal = "=1+2", pin."+2".signal = "\t@x" }
        connector.X2 = { contacts = 2 }
        wire = [
            { id = "+1A", from = "X1.-1", to = "X2.1", twisted = "\r-9" },
            { id = "-2A", from = "X1.+2", to = "X2.2", shield = "=\"a\"" },
        ]
    "#;
    let harness = machine::read(text);
    let mut armed = 0;
    for table in [wires_table(&harness), pins_table(&harness)] {
        let cells = rows(&table);
        let begins = |cell: &str| cell.starts_with(['=', '+', '-', '@', '\t', '\r']) && cell != "-1";
        armed += cells.iter().flatten().filter(|cell| begins(cell)).count();
        let mut reader = ::csv::ReaderBuilder::new()
            .has_headers(false)
            .from_reader(csv(&table).into_bytes().leak() as &[u8]);
        for (record, row) in reader.records().map(Result::unwrap).zip(&cells) {
            for (written, cell) in record.iter().zip(row) {
                assert!(!begins(written), "{written:?}");
                let expected = if begins(cell) { format!("'{cell}") } else { cell.clone() };
                assert_eq!(written, expected);
            }
        }
    }
    assert!(armed >= 12, "only {armed} cells would have been run");
}

fn sprayer() -> Harness {
    harnesses::harness("orchard-sprayer.toml")
}

/// The rows of the hand-written sheet: wire, ends, size, colour, length, as a person reads them off it.
const PUMP: [&str; 2] = ["31A P1.K XS1.3 1.5 mm2 YE 2.4 m", "32 P1.A GND1 1 mm2 BK 850 mm"];

fn pump(imported: &Imported) {
    let harness = &imported.loaded.as_ref().unwrap().harness;
    let wires = harness.wires.values().map(|wire| {
        let [from, to] = wire.ends.map(|end| harness.point_name(end));
        let (gauge, colour, length) =
            (wire.gauge.unwrap(), wire.colour.as_ref().unwrap(), wire.length.unwrap());
        format!("{} {from} {to} {gauge} {colour} {length}", wire.id)
    });
    assert_eq!(wires.collect::<Vec<_>>(), PUMP);
    let rejects: Vec<(usize, &str)> =
        imported.rejects.iter().map(|reject| (reject.row, &reject.reason[..12])).collect();
    // A date where contact 1-4 or the like was meant, and a length that is 1/0.
    assert_eq!(rejects, [(7, "cell E7 hold"), (8, "cell H8 hold")]);
}

#[test]
fn csv_files_written_by_libreoffice_are_read() {
    let options = Options { blank: Some(ringout::exchange::Blank::Above), ..Options::default() };
    for name in ["pump.csv", "pump-1252.csv"] {
        let bytes = std::fs::read(reference("spreadsheets").join(name)).unwrap();
        let grid = read_csv(&bytes, None, None).unwrap();
        pump(&import(&grid, name, &about(), &options).unwrap());
    }
}

#[test]
fn the_graph_is_read_by_pydot() {
    let Some(python) = interpreter() else { return };
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("machine.dot");
    for harness in [sprayer(), machine::made(3, 60), machine::made(11, 120)] {
        std::fs::write(&path, dot(&harness)).unwrap();
        let read = ask(&python, &["dot", path.to_str().unwrap()], b"");
        let mut edges: BTreeMap<&str, Vec<Vec<String>>> = BTreeMap::new();
        for edge in read["edges"].as_array().unwrap() {
            let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
            let mut ends = vec![text(&edge[0]), text(&edge[1])];
            ends.sort();
            ends.push(text(&edge[2]["label"]));
            edges.entry(edge[2]["kind"].as_str().unwrap()).or_default().push(ends);
        }
        for list in edges.values_mut() {
            list.sort();
        }
        let mut wires: Vec<Vec<String>> = harness
            .wires
            .values()
            .map(|wire| {
                let mut ends = wire.ends.map(|end| harness.point_name(end)).to_vec();
                ends.sort();
                ends.push(wire.id.clone());
                ends
            })
            .collect();
        wires.sort();
        assert_eq!(edges["wire"], wires);
        let mates = harness.contacts.values().filter(|contact| contact.mate.is_some()).count();
        assert_eq!(edges.get("mated").map_or(0, Vec::len), mates / 2);
        let grounds = harness.terminals.values().filter(|terminal| terminal.ground).count();
        assert_eq!(edges["bond"].len(), grounds);
        let nodes = read["nodes"].as_object().unwrap();
        // pydot gives the graph's own settings as a node of that name in some versions.
        let own = nodes.keys().filter(|name| !matches!(name.as_str(), "graph" | "\\n")).count();
        assert_eq!(own, harness.point_count() + harness.parts.len());
    }
}

#[test]
fn json_has_the_stated_shape() {
    let Some(python) = interpreter() else { return };
    let schema = reference("machine.schema.json");
    let schema = schema.to_str().unwrap();
    for harness in [sprayer(), machine::made(5, 90)] {
        let text = serde_json::to_vec(&json(&harness)).unwrap();
        assert_eq!(ask(&python, &["schema", schema], &text), serde_json::json!([]));
        // The check itself finds what is wrong.
        let mut spoilt: Value = serde_json::from_slice(&text).unwrap();
        spoilt["wires"][0]["colour"] = "red".into();
        assert_eq!(
            ask(&python, &["schema", schema], &serde_json::to_vec(&spoilt).unwrap())
                .as_array()
                .unwrap()
                .len(),
            1
        );
        let read: Value = serde_json::from_slice(&text).unwrap();
        assert_eq!(read["wires"].as_array().unwrap().len(), harness.wires.len());
    }
}

#[cfg(feature = "xlsx")]
mod xlsx {
    use super::*;
    use ringout::exchange::export::workbook;
    use ringout::exchange::{GridError, read_workbook};

    #[test]
    fn a_workbook_written_by_libreoffice_is_read() {
        let bytes = std::fs::read(reference("spreadsheets/pump.xlsx")).unwrap();
        let grid = read_workbook(bytes, None).unwrap();
        // Merged cells are known to be merged: nothing has to be decided.
        pump(&import(&grid, "pump.xlsx", &about(), &Options::default()).unwrap());
    }

    #[test]
    fn a_workbook_written_by_openpyxl_is_read() {
        let Some(python) = interpreter() else { return };
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("pump.xlsx");
        let name = path.to_str().unwrap();
        let given = serde_json::json!({
            "rows": [
                ["Wire", "From", null, "To", null, "mm2", "Colour", "Length (m)"],
                [null, "Connector", "Pin", "Connector", "Pin", null, null, null],
                [null],
                [null],
                ["31A", "P1", "K", "XS1", 3, 1.5, "yellow", 2.4],
                [32, null, "A", "GND1", null, 1, "BLK", 0.85],
                [33, null, "B", "XS1", {"date": "2026-01-04"}, 1, "RD/WH", 1.2],
                ["34", "P1", "C", "XS1", 1, 1, "WH", "#DIV/0!"]
            ],
            "merged": ["A1:A2", "B1:C1", "D1:E1", "B5:B7"]
        });
        ask(&python, &["xlsx-out", name], &serde_json::to_vec(&given).unwrap());
        let grid = read_workbook(std::fs::read(&path).unwrap(), Some("Sheet")).unwrap();
        pump(&import(&grid, "pump.xlsx", &about(), &Options::default()).unwrap());
        let wrong = read_workbook(std::fs::read(&path).unwrap(), Some("Sheet2")).unwrap_err();
        assert_eq!(wrong, GridError::NoSheet { name: "Sheet2".to_owned(), known: "Sheet".to_owned() });
    }

    #[test]
    fn a_written_workbook_is_read_by_openpyxl_as_text_alone() {
        let harness = sprayer();
        let bytes = workbook(&harness).unwrap();
        assert_eq!(workbook(&harness).unwrap(), bytes, "the same definition gives the same bytes");
        for table in [wires_table(&harness), pins_table(&harness)] {
            let grid = read_workbook(bytes.clone(), Some(table.name)).unwrap();
            let whole = |mut row: Vec<String>| {
                row.resize(table.heads.len(), String::new());
                row
            };
            assert_eq!(texts(&grid).into_iter().map(whole).collect::<Vec<_>>(), rows(&table));
        }
        let Some(python) = interpreter() else { return };
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("out.xlsx");
        std::fs::write(&path, &bytes).unwrap();
        let read = ask(&python, &["xlsx-in", path.to_str().unwrap()], b"");
        assert!(read["comment"].as_str().unwrap().contains(&harness.hash));
        for table in [wires_table(&harness), pins_table(&harness)] {
            let sheet = read["sheets"][table.name].as_array().unwrap();
            let cell = |cell: &Value| {
                let kind = cell[1].as_str().unwrap();
                // `n` is the type of an empty cell.
                assert!(kind == "s" || cell[0].is_null(), "{cell}");
                cell[0].as_str().unwrap_or_default().to_owned()
            };
            let read: Vec<Vec<String>> =
                sheet.iter().map(|row| row.as_array().unwrap().iter().map(cell).collect()).collect();
            assert_eq!(read, rows(&table));
        }
    }

    #[test]
    fn bytes_that_are_no_workbook_are_refused() {
        let good = std::fs::read(reference("spreadsheets/pump.xlsx")).unwrap();
        let mut rng = machine::Rng::new(1);
        for _ in 0..300 {
            let mut bytes = good.clone();
            for _ in 0..rng.between(1, 8) {
                let at = rng.below(bytes.len());
                bytes[at] = rng.below(256) as u8;
            }
            bytes.truncate(rng.between(4, bytes.len()));
            // Either is fine; a panic is not.
            drop(read_workbook(bytes, None));
        }
        assert!(matches!(read_workbook(b"PK\x03\x04".to_vec(), None), Err(GridError::Workbook(_))));
        assert!(matches!(read_workbook(b"\xd0\xcf\x11\xe0".to_vec(), None), Err(GridError::Workbook(_))));
    }
}
