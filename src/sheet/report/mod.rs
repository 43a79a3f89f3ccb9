//! The report of a repair: from the complaint to the signature.
//!
//! Comes in: the machine before and after, what the readings said, the entries of the log, the readings that proved the
//! repair. Goes out: a sheet (Markdown, table), JSON, and one self-contained HTML page for print. Why: whoever signs for a
//! repair signs for all of it: what was complained of, what was read, why it was that wire, what was done, and what was
//! read afterwards; and what is still open must stand there too.
//!
//! The page has no script; its policy names the hash of its one style sheet, so that nothing else can be run or fetched.
//! All text is escaped by the template, and texts of people lose what cannot be seen.

mod changes;

use std::collections::BTreeSet;

use serde::Serialize;

use super::locate::ReadingView;
use super::paper::{Page, Part, Picture, part};
use super::{LocateView, Section, Sheet, Stamp, locate, reasons};
use crate::definition::Harness;
use crate::locate::{Diagnosis, Verdict};
use crate::plan::Plan;
use crate::repair::TouchedNames;
use crate::repair::log::Entry;

/// Readings, and what they come to.
pub struct Read<'a> {
    /// The record's file.
    pub file: &'a str,
    /// SHA-256 of its text.
    pub hash: &'a str,
    /// What its readings say.
    pub diagnosis: &'a Diagnosis,
}

/// All that a report is made from.
pub struct Case<'a> {
    /// The machine before the first repair.
    pub before: &'a Harness,
    /// The machine after the last one.
    pub after: &'a Harness,
    /// What was complained of, in words.
    pub complaint: Option<&'a str>,
    /// The readings that led to the repair.
    pub found: Read<'a>,
    /// The repairs, as the log has them; without those that were taken back.
    pub entries: &'a [Entry],
    /// The readings that prove it.
    pub retest: Option<Read<'a>>,
    /// The plan that proves it.
    pub plan: Option<&'a Plan>,
    /// The date, as given.
    pub date: Option<&'a str>,
    /// The sentence that every sheet ends with.
    pub deference: &'a str,
}

/// A report for programs.
#[derive(Debug, Clone, Serialize)]
pub struct ReportView {
    /// The definition after the repair.
    pub harness: Stamp,
    /// The definition before it.
    pub before: Stamp,
    /// What was complained of.
    pub complaint: Option<String>,
    /// The readings that led to the repair, and the reasoning.
    pub found: LocateView,
    /// SHA-256 of their record.
    pub record_hash: String,
    /// The repairs.
    pub repairs: Vec<Entry>,
    /// The readings that prove it.
    pub retest: Option<LocateView>,
    /// SHA-256 of their record.
    pub retest_hash: Option<String>,
    /// Contacts before and after.
    pub changes: Vec<ChangeView>,
    /// What is still open.
    pub open: Vec<String>,
    /// `proven` where the retest is whole and good, else `open`.
    pub verdict: &'static str,
}

/// A contact before and after.
#[derive(Debug, Clone, Serialize)]
pub struct ChangeView {
    /// The contact.
    pub contact: String,
    /// What it carried.
    pub before: String,
    /// What it carries.
    pub after: String,
}

/// Who signs.
const SIGNS: [&str; 3] = ["Repaired by", "Retested by", "Inspected and accepted by"];

/// Makes a report: the view, the sheet, and the page.
///
/// # Errors
/// Where the page cannot be written out, which a text in memory rules out.
pub fn report(case: &Case<'_>) -> Result<(ReportView, Sheet, String), askama::Error> {
    let touched: Vec<&TouchedNames> = case.entries.iter().map(|entry| &entry.touched).collect();
    let both = [case.before, case.after];
    let connectors = changes::connectors(both, &touched);
    let rows = changes::rows(both, &connectors, &touched);
    let proof = proof(case);
    let open: Vec<String> = proof.iter().cloned().chain(remarks(case)).collect();
    let (found, _) = locate(case.before, case.found.diagnosis);
    let change = |row: &Vec<String>| match &row[..] {
        [contact, before, after] => {
            Some(ChangeView { contact: contact.clone(), before: before.clone(), after: after.clone() })
        }
        _ => None,
    };
    let view = ReportView {
        harness: Stamp::of(case.after),
        before: Stamp::of(case.before),
        complaint: case.complaint.map(str::to_owned),
        found,
        record_hash: case.found.hash.to_owned(),
        repairs: case.entries.to_vec(),
        retest: case.retest.as_ref().map(|read| locate(case.after, read.diagnosis).0),
        retest_hash: case.retest.as_ref().map(|read| read.hash.to_owned()),
        changes: rows.iter().filter_map(change).collect(),
        verdict: if proof.is_empty() { "proven" } else { "open" },
        open,
    };
    let mut sheet = Sheet::of("Repair report", &view.harness);
    sheet.heading.extend(case.date.map(|date| format!("Date: {date}")));
    sheet.heading.push(verdict_words(&view));
    sheet.sections = sections(case, &view, &rows);
    sheet.sections.push(Section {
        title: "Signatures".to_owned(),
        columns: vec!["role", "name", "date", "signature"],
        rows: SIGNS.map(|role| vec![role.to_owned(), String::new(), String::new(), String::new()]).to_vec(),
        ..Section::default()
    });
    sheet.notes.push(case.deference.to_owned());
    let faces = changes::faces(both, &connectors, &touched, view.verdict == "proven");
    let page = page(case, &view, &sheet, faces)?;
    Ok((view, sheet, page))
}

fn verdict_words(view: &ReportView) -> String {
    let items = match view.open.len() {
        1 => "one item is open".to_owned(),
        n => format!("{n} items are open"),
    };
    match (view.verdict, view.open.len()) {
        ("proven", 0) => "The repair is proven: every reading of its plan was taken and is good.".to_owned(),
        ("proven", _) => format!("The repair is proven by its readings; {items}."),
        _ => format!("The repair is not proven: {items}."),
    }
}

fn sections(case: &Case<'_>, view: &ReportView, rows: &[Vec<String>]) -> Vec<Section> {
    let mut all = vec![Section {
        title: "Complaint".to_owned(),
        lines: vec![format!("As it was told: {}", case.complaint.unwrap_or("(not written down)"))],
        ..Section::default()
    }];
    all.push(readings("Readings before the repair", &view.found));
    all.extend(reasoning(case));
    all.extend(case.entries.iter().flat_map(repair));
    all.push(Section {
        title: "Before and after".to_owned(),
        columns: vec!["contact", "before", "after"],
        rows: rows.to_vec(),
        notes: if rows.is_empty() {
            vec!["No contact of a connector was touched, or none carries anything else.".to_owned()]
        } else {
            Vec::new()
        },
        ..Section::default()
    });
    match &view.retest {
        Some(retest) => all.push(readings("Readings after the repair", retest)),
        None => all.push(Section {
            title: "Readings after the repair".to_owned(),
            lines: vec!["None were given.".to_owned()],
            ..Section::default()
        }),
    }
    if let Some(plan) = case.plan {
        all.push(Section {
            title: "Function check".to_owned(),
            lines: plan.function_check.iter().map(|line| format!("[ ] {line}")).collect(),
            ..Section::default()
        });
    }
    all.push(Section {
        title: "Open items".to_owned(),
        lines: if view.open.is_empty() {
            vec!["None.".to_owned()]
        } else {
            view.open.iter().map(|item| format!("- {item}")).collect()
        },
        ..Section::default()
    });
    all.push(hashes(case));
    all
}

fn readings(title: &str, view: &LocateView) -> Section {
    let row = |r: &ReadingView| {
        let verdict = if r.good { "good" } else { "BAD" };
        let probes = format!("{} / {}", r.red, r.black);
        let words = [&r.reading, &r.kind.to_owned(), &probes, &r.value, &r.expect.words, &verdict.to_owned()];
        words.into_iter().cloned().collect()
    };
    Section {
        title: title.to_owned(),
        columns: vec!["reading", "kind", "red / black", "read", "healthy", "verdict"],
        rows: view.readings.iter().map(row).collect(),
        notes: view.left.iter().map(|left| format!("- {}: {}", left.reading, left.why)).collect(),
        ..Section::default()
    }
}

/// Why it was that: the verdict, what explains the readings, and what was ruled out by which of them.
fn reasoning(case: &Case<'_>) -> Vec<Section> {
    let diagnosis = case.found.diagnosis;
    let mut all = super::conclusion(case.before, diagnosis);
    if !diagnosis.suspects.is_empty() {
        all.extend(reasons::cleared(case.before, diagnosis));
        all.extend(reasons::accused(case.before, diagnosis));
    }
    if let Some(first) = all.first_mut() {
        first.title = format!("Reasoning · {}", first.title);
    }
    let rest = all.iter_mut().skip(1);
    rest.for_each(|section| section.under = true);
    all
}

fn repair(entry: &Entry) -> Vec<Section> {
    let mut lines = vec![format!("Done: {}", entry.done)];
    let mut say = |what: &str, text: Option<String>| lines.extend(text.map(|text| format!("{what}: {text}")));
    say("Found", entry.found.clone());
    say("Verdict on the readings then", entry.verdict.clone());
    say("Suspects then", (!entry.suspects.is_empty()).then(|| entry.suspects.join(", ")));
    say("Materials", (!entry.materials.is_empty()).then(|| entry.materials.join("; ")));
    say("By", entry.by.clone());
    say("At", entry.at.map(|at| at.to_string()));
    say("Approval for what is never done otherwise", entry.approval.clone());
    let row = |found: &crate::repair::log::Found| {
        vec![found.rule.clone(), found.message.clone(), found.source.clone()]
    };
    vec![Section {
        title: format!(
            "Repair {} · revision {} to {}",
            entry.id, entry.before.revision, entry.after.revision
        ),
        lines: lines.into_iter().map(|line| format!("- {line}")).collect(),
        columns: if entry.finding.is_empty() { Vec::new() } else { vec!["rule", "finding", "source"] },
        rows: entry.finding.iter().map(row).collect(),
        ..Section::default()
    }]
}

fn hashes(case: &Case<'_>) -> Section {
    let row = |what: &str, name: &str, hash: &str| vec![what.to_owned(), name.to_owned(), hash.to_owned()];
    let revision = |harness: &Harness| format!("revision {}", harness.about.revision);
    let mut rows = vec![
        row("definition before", &revision(case.before), &case.before.hash),
        row("definition after", &revision(case.after), &case.after.hash),
        row("readings before", case.found.file, case.found.hash),
    ];
    rows.extend(case.retest.as_ref().map(|read| row("readings after", read.file, read.hash)));
    Section {
        title: "What this report was made from (SHA-256)".to_owned(),
        columns: vec!["what", "which", "hash"],
        rows,
        ..Section::default()
    }
}

/// What keeps the repair from being proven.
fn proof(case: &Case<'_>) -> Vec<String> {
    let mut open = Vec::new();
    match case.entries.last() {
        None => open.push("The log holds no repair.".to_owned()),
        Some(last) if last.after.hash != case.after.hash => {
            open.push(format!(
                "Repair {} made another revision than the one that this report is of.",
                last.id
            ));
        }
        Some(_) => {}
    }
    let other = |entry: &&Entry| entry.record_hash.as_ref().is_some_and(|hash| hash != case.found.hash);
    for entry in case.entries.iter().filter(other) {
        open.push(format!(
            "The readings are not those that repair {} was logged with: hashes differ.",
            entry.id
        ));
    }
    if case.found.diagnosis.verdict != Verdict::Located {
        open.push("The readings before the repair do not prove where the fault was.".to_owned());
    }
    match &case.retest {
        None => open.push("No readings prove the repair.".to_owned()),
        Some(read) => open.extend(unproven(case, read)),
    }
    open
}

/// What the rules have to say of the work: whoever signs answers for it.
fn remarks(case: &Case<'_>) -> Vec<String> {
    let of = |entry: &Entry| {
        let found = entry.finding.iter();
        found
            .map(|found| format!("Repair {}: {} ({}).", entry.id, found.message, found.source))
            .collect::<Vec<_>>()
    };
    case.entries.iter().flat_map(of).collect()
}

/// What the retest leaves open: bad readings, and readings of its plan that were not taken.
fn unproven(case: &Case<'_>, read: &Read<'_>) -> Vec<String> {
    let judged = &read.diagnosis.judged;
    let mut open: Vec<String> = judged
        .iter()
        .filter(|judged| !judged.good)
        .map(|judged| format!("{} is bad: {}.", judged.name, judged.measurement.words(case.after)))
        .collect();
    open.extend(
        read.diagnosis.left.iter().map(|left| format!("{} could not be judged: {}.", left.name, left.why)),
    );
    let taken: BTreeSet<_> = judged.iter().map(|judged| &judged.measurement).collect();
    for step in case.plan.iter().flat_map(|plan| plan.steps()) {
        if !taken.contains(&step.measurement) {
            open.push(format!("Step {} was not read: {}.", step.id, step.measurement.words(case.after)));
        }
    }
    open
}

fn page(
    case: &Case<'_>,
    view: &ReportView,
    sheet: &Sheet,
    faces: Vec<Picture>,
) -> Result<String, askama::Error> {
    let signed = |section: &&Section| section.title != "Signatures";
    let mut parts: Vec<Part> = sheet.sections.iter().filter(signed).map(part).collect();
    if let Some(contacts) = parts.iter_mut().find(|part| part.title == "Before and after") {
        contacts.caption =
            "Wire side, before and after in turn; the touched contacts are pointed out.".into();
        contacts.drawings = faces;
    }
    let mut page = Page::of(&view.harness, &sheet.heading[0], &verdict_words(view), case.deference);
    page.fact("Machine", &view.harness.id);
    page.fact("Title", &view.harness.title);
    page.fact("Revision", &format!("{} to {}", view.before.revision, view.harness.revision));
    page.fact("Date", case.date.unwrap_or_default());
    page.write(parts, SIGNS.to_vec())
}
