//! What a check of a record's chain found, as a sheet and as JSON.

use serde::Serialize;

use super::{Section, Sheet, Stamp};
use crate::definition::Harness;
use crate::record::chain::Checked;

/// A checked record for programs.
#[derive(Debug, Clone, Serialize)]
pub struct ChainedView {
    /// The definition.
    pub harness: Stamp,
    /// The record's file.
    pub record: String,
    /// Entries in all.
    pub entries: usize,
    /// Those with a link.
    pub links: usize,
    /// SHA-256 of the whole text, with line ends as `\n`.
    pub hash: String,
    /// The places where the chain is broken.
    pub broken: Vec<BrokenView>,
}

/// A place where a chain is broken.
#[derive(Debug, Clone, Serialize)]
pub struct BrokenView {
    /// The entry at which it shows.
    pub entry: usize,
    /// The line of its header.
    pub line: usize,
    /// What is wrong.
    pub what: String,
}

/// A checked record as view and sheet.
pub fn chained(harness: &Harness, name: &str, checked: &Checked) -> (ChainedView, Sheet) {
    let broken = checked.broken.iter();
    let view = ChainedView {
        harness: Stamp::of(harness),
        record: name.to_owned(),
        entries: checked.entries,
        links: checked.links,
        hash: checked.hash.clone(),
        broken: broken.map(|b| BrokenView { entry: b.entry, line: b.line, what: b.what.clone() }).collect(),
    };
    let mut sheet = Sheet::of("Record", &view.harness);
    sheet.heading.push(format!("{name}: {} entries, {} of them linked", view.entries, view.links));
    if !view.broken.is_empty() {
        let row = |b: &BrokenView| vec![format!("#{}", b.entry), b.line.to_string(), b.what.clone()];
        sheet.sections.push(Section {
            title: "The chain is broken".to_owned(),
            columns: vec!["entry", "line", "what"],
            rows: view.broken.iter().map(row).collect(),
            ..Section::default()
        });
    }
    sheet.notes.push(format!("SHA-256 of the whole: {}", view.hash));
    sheet.notes.push(match (view.links, view.broken.len()) {
        (_, 1..) => "somebody changed this record, or a part of it is missing".to_owned(),
        (0, _) => "the record is not chained: nothing tells whether it was changed".to_owned(),
        _ => "no link is broken. A cut-off end shows by the hash alone: compare it with a report".to_owned(),
    });
    (view, sheet)
}
