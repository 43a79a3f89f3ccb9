//! What an import has understood of a table, for confirmation.

use serde::Serialize;

use super::{Section, Sheet, Stamp};
use crate::exchange::{Layout, Question, Reject, Sure, Understood};

/// What was understood, what has to be decided, and what could not be used.
#[derive(Debug, Clone, Serialize)]
pub struct ImportView {
    /// The definition made; its hash is empty where there is none.
    pub harness: Stamp,
    /// What was understood of the table.
    pub understood: Understood,
    /// What has to be decided before there can be a definition.
    pub questions: Vec<Question>,
    /// Rows that are not in it.
    pub rejects: Vec<Reject>,
    /// Wires of which only one end is known.
    pub loose: Vec<String>,
    /// What `check` says of the definition, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub check: Option<CheckedView>,
}

/// How many errors and warnings a definition has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct CheckedView {
    /// Errors.
    pub errors: usize,
    /// Warnings.
    pub warnings: usize,
}

/// The sheet of an import.
pub fn import(view: &ImportView) -> Sheet {
    let understood = &view.understood;
    let mut sheet = Sheet::of("Import", &view.harness);
    sheet.sections.push(table(understood));
    sheet.sections.push(columns(understood));
    if !understood.rewritten.is_empty() {
        sheet.sections.push(rewritten(understood));
    }
    if !view.questions.is_empty() {
        sheet.sections.push(questions(&view.questions));
    }
    if !view.rejects.is_empty() {
        sheet.sections.push(rejects(&view.rejects));
    }
    if !view.loose.is_empty() {
        sheet.sections.push(Section {
            title: "One end only: kept as comments".to_owned(),
            lines: view.loose.iter().map(|text| format!("- wire {text}")).collect(),
            ..Section::default()
        });
    }
    if let Some(CheckedView { errors, warnings }) = view.check {
        sheet.notes.push(match errors {
            0 => format!("the definition passes `check`, with {warnings} warning(s)"),
            _ => format!("`check` finds {errors} error(s) in the definition (above)"),
        });
    }
    sheet
}

fn table(understood: &Understood) -> Section {
    let mut lines: Vec<String> = understood.how.iter().map(|how| format!("- {how}")).collect();
    if let Some(layout) = understood.layout {
        lines.push(match layout {
            Layout::Wires => "- a from-to list: a row for each wire".to_owned(),
            Layout::Pins => "- a pin map: a row for each contact".to_owned(),
        });
        for (rows, what) in [
            (&understood.above, "above the head, kept as comments"),
            (&understood.head, "head"),
            (&understood.repeated, "head again, left out"),
            (&understood.used, "used"),
        ] {
            if !rows.is_empty() {
                lines.push(format!("- {what}: {}", spans(rows)));
            }
        }
    }
    lines.extend(understood.notes.iter().map(|note| format!("- {note}")));
    Section { title: "The table".to_owned(), lines, ..Section::default() }
}

/// Row numbers in spans: `rows 2-5, 7`.
fn spans(rows: &[usize]) -> String {
    let spans = rows.chunk_by(|a, b| a + 1 == *b).map(|span| match span {
        [one] => one.to_string(),
        [first, .., last] => format!("{first}-{last}"),
        [] => String::new(),
    });
    let word = if rows.len() == 1 { "row" } else { "rows" };
    format!("{word} {}", spans.collect::<Vec<_>>().join(", "))
}

fn columns(understood: &Understood) -> Section {
    let row = |column: &crate::exchange::ColumnView| {
        let meaning = match (column.sure, column.unit) {
            (Sure::Unknown, _) if column.filled == 0 => "nothing".to_owned(),
            (_, Some(unit)) => format!("{} in {unit}", column.field),
            (_, None) => column.field.to_owned(),
        };
        let sure = match column.sure {
            Sure::Unknown if column.filled == 0 => "empty".to_owned(),
            Sure::Unknown => "unknown: kept as a comment".to_owned(),
            sure => sure.words().to_owned(),
        };
        vec![
            column.column.clone(),
            column.head.clone(),
            meaning,
            sure,
            column.filled.to_string(),
            short(&column.example),
        ]
    };
    Section {
        title: "Columns".to_owned(),
        columns: vec!["column", "head", "taken for", "how sure", "filled", "first cell"],
        rows: understood.columns.iter().map(row).collect(),
        ..Section::default()
    }
}

/// So many characters of a cell are shown.
const SHOWN: usize = 20;

fn short(text: &str) -> String {
    if text.chars().count() <= SHOWN {
        return text.to_owned();
    }
    text.chars().take(SHOWN - 1).chain(['…']).collect()
}

fn rewritten(understood: &Understood) -> Section {
    let row = |(what, from, to): &(&'static str, String, String)| {
        vec![(*what).to_owned(), from.clone(), to.clone()]
    };
    Section {
        title: "Written otherwise".to_owned(),
        columns: vec!["what", "in the table", "in the definition"],
        rows: understood.rewritten.iter().map(row).collect(),
        ..Section::default()
    }
}

fn questions(questions: &[Question]) -> Section {
    let row = |question: &Question| {
        let example = |(row, text): &(usize, String)| match (row, text.as_str()) {
            (0, text) => text.to_owned(),
            (row, "") => format!("row {row}"),
            (row, text) => format!("row {row}: {text}"),
        };
        let mut examples: Vec<String> = question.examples.iter().map(example).collect();
        if question.count > examples.len() {
            examples.push(format!("{} in all", question.count));
        }
        vec![question.what.clone(), examples.join("; "), question.decide.clone()]
    };
    Section {
        title: "To be decided first".to_owned(),
        columns: vec!["what is not clear", "where", "decided by"],
        rows: questions.iter().map(row).collect(),
        ..Section::default()
    }
}

fn rejects(rejects: &[Reject]) -> Section {
    let row = |reject: &Reject| vec![reject.row.to_string(), reject.reason.clone(), reject.cells.join(" | ")];
    Section {
        title: format!("Not used: {} row(s)", rejects.len()),
        columns: vec!["row", "reason", "cells"],
        rows: rejects.iter().map(row).collect(),
        ..Section::default()
    }
}
