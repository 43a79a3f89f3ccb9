//! A repair that was applied, as a sheet and as JSON.

use serde::Serialize;

use super::{Section, Sheet, Stamp};
use crate::definition::Harness;
use crate::plan::DEFERENCE;
use crate::repair::log::{Entry, Found};
use crate::repair::{CAUTIONS, TouchedNames};

/// A repair for programs.
#[derive(Debug, Clone, Serialize)]
pub struct RepairView<'a> {
    /// The definition after the repair.
    pub harness: Stamp,
    /// The entry's id in the log.
    pub id: &'a str,
    /// The kind of repair, or `undo`.
    pub kind: &'a str,
    /// What was done.
    pub done: &'a str,
    /// The revision before.
    pub before: &'a str,
    /// The revision after.
    pub after: &'a str,
    /// The files that were written, the top file last.
    pub files: Vec<String>,
    /// What was touched.
    pub touched: &'a TouchedNames,
    /// What the rules say.
    pub findings: &'a [Found],
    /// Cautions.
    pub cautions: Vec<&'static str>,
    /// How to prove it.
    pub retest: String,
}

/// A repair as view and sheet. `files` are those that were written, `retest` the command that plans its proof.
pub fn repair<'a>(
    harness: &Harness,
    entry: &'a Entry,
    files: Vec<String>,
    retest: String,
) -> (RepairView<'a>, Sheet) {
    let view = RepairView {
        harness: Stamp::of(harness),
        id: &entry.id,
        kind: &entry.kind,
        done: &entry.done,
        before: &entry.before.revision,
        after: &entry.after.revision,
        files,
        touched: &entry.touched,
        findings: &entry.finding,
        cautions: if entry.kind == "undo" { Vec::new() } else { CAUTIONS.to_vec() },
        retest,
    };
    let mut sheet = Sheet::of("Repair", &view.harness);
    sheet.heading.push(format!("{}: {} (revision {} to {})", entry.id, entry.done, view.before, view.after));
    sheet.heading.extend(view.files.iter().map(|file| format!("written: {file}")));
    if !view.findings.is_empty() {
        let row = |found: &Found| vec![found.rule.clone(), found.message.clone(), found.source.clone()];
        sheet.sections.push(Section {
            title: "What the rules say".to_owned(),
            columns: vec!["rule", "finding", "source"],
            rows: view.findings.iter().map(row).collect(),
            ..Section::default()
        });
    }
    sheet.notes.extend(view.cautions.iter().map(|text| format!("! {text}")));
    if !view.retest.is_empty() {
        sheet.notes.push(format!("Prove it: {}", view.retest));
    }
    sheet.notes.push(DEFERENCE.to_owned());
    (view, sheet)
}
