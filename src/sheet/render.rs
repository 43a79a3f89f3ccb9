//! Sheets as terminal tables, Markdown and CSV.

use comfy_table::{ContentArrangement, Table, presets};

use super::{Section, Sheet, Stamp};
use crate::definition::diagnostic::clean;
use crate::exchange::defused;

/// How a command prints.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Format {
    /// Tables for a terminal.
    #[default]
    Table,
    /// JSON with stable names.
    Json,
    /// Comma-separated values, one table after the other.
    Csv,
    /// Markdown.
    Md,
}

/// A sheet as tables no wider than `width` columns.
pub fn text(sheet: &Sheet, width: u16) -> String {
    let mut out = String::new();
    let mut line = |text: &str| {
        out.push_str(&clean(text));
        out.push('\n');
    };
    for heading in &sheet.heading {
        for part in wrap(heading, width) {
            line(&part);
        }
    }
    for section in &sheet.sections {
        line("");
        if !section.title.is_empty() {
            for part in wrap(&section.title, width) {
                line(&part);
            }
        }
        section.lines.iter().flat_map(|text| wrap(text, width)).for_each(|part| line(&part));
        if !section.rows.is_empty() {
            line(&table(section, width));
        }
        section.notes.iter().flat_map(|text| wrap(text, width)).for_each(|part| line(&part));
    }
    if !sheet.notes.is_empty() {
        line("");
    }
    sheet.notes.iter().flat_map(|text| wrap(text, width)).for_each(|part| line(&part));
    out
}

/// One table; columns in which no row has anything are left out, so that the others have room.
fn table(section: &Section, width: u16) -> String {
    let used: Vec<usize> =
        (0..section.columns.len()).filter(|at| section.rows.iter().any(|row| !row[*at].is_empty())).collect();
    let mut table = Table::new();
    table.load_style(presets::UTF8_BORDERS_ONLY).set_content_arrangement(ContentArrangement::Dynamic);
    table.set_width(width).set_header(used.iter().map(|at| section.columns[*at]));
    for row in &section.rows {
        table.add_row(used.iter().map(|at| clean(&row[*at])));
    }
    table.to_string()
}

/// Breaks a line at blanks; lines that start with a list mark are indented where they go on.
fn wrap(text: &str, width: u16) -> Vec<String> {
    let width = usize::from(width);
    let indent = if text.starts_with("- ") || text.starts_with("[ ]") {
        text.find(' ').map_or(0, |at| at + 1)
    } else {
        text.len() - text.trim_start().len()
    };
    let mut lines = Vec::new();
    let mut current = String::new();
    for word in text.split_inclusive(' ') {
        if !current.trim().is_empty() && current.chars().count() + word.trim_end().chars().count() > width {
            lines.push(current.trim_end().to_owned());
            current = " ".repeat(indent);
        }
        current.push_str(word);
    }
    lines.push(current.trim_end().to_owned());
    lines
}

/// A sheet as Markdown, with a heading of the first level.
pub fn markdown(sheet: &Sheet) -> String {
    written(sheet, |heading| format!("# {heading}"), 2)
}

/// A sheet as part of another Markdown document: its sections have headings of this level (of 6 at most), and what it is
/// made from is a line above them.
pub(super) fn markdown_within(sheet: &Sheet, level: usize) -> String {
    written(sheet, |heading| format!("*{heading}*"), level)
}

fn written(sheet: &Sheet, first: impl Fn(&str) -> String, level: usize) -> String {
    let mut out = String::new();
    for (at, heading) in sheet.heading.iter().enumerate() {
        let heading = escape(heading);
        let heading = if at == 0 { first(&heading) } else { heading };
        out.push_str(&format!("{heading}\n\n"));
    }
    for section in &sheet.sections {
        if !section.title.is_empty() {
            let mark = "#".repeat((level + usize::from(section.under)).min(6));
            out.push_str(&format!("{mark} {}\n\n", escape(&section.title)));
        }
        paragraphs(&mut out, &section.lines);
        if !section.rows.is_empty() {
            out.push_str(&format!("| {} |\n", section.columns.join(" | ")));
            out.push_str(&format!("|{}\n", "---|".repeat(section.columns.len())));
            for row in &section.rows {
                let cells: Vec<String> = row.iter().map(|cell| escape(cell)).collect();
                out.push_str(&format!("| {} |\n", cells.join(" | ")));
            }
            out.push('\n');
        }
        paragraphs(&mut out, &section.notes);
    }
    paragraphs(&mut out, &sheet.notes);
    out
}

/// Lines as paragraphs; those with a list mark or a number follow each other as a list.
fn paragraphs(out: &mut String, lines: &[String]) {
    let mut in_list = false;
    for line in lines {
        let (mark, rest) = list_mark(line.trim_start());
        let is_item = !mark.is_empty();
        if in_list && !is_item {
            out.push('\n');
        }
        // A list within a list keeps its place.
        let indent = if mark.starts_with('-') { &line[..line.len() - line.trim_start().len()] } else { "" };
        out.push_str(&format!("{indent}{mark}{}\n", escape(rest)));
        if !is_item {
            out.push('\n');
        }
        in_list = is_item;
    }
    if in_list {
        out.push('\n');
    }
}

/// Splits a line into its list mark (`- `, `[ ] `, `12. `) as Markdown writes it, and the rest.
pub(super) fn list_mark(line: &str) -> (String, &str) {
    if let Some(rest) = line.strip_prefix("- ") {
        return ("- ".to_owned(), rest);
    }
    if let Some(rest) = line.strip_prefix("[ ] ") {
        return ("- [ ] ".to_owned(), rest);
    }
    match line.split_once(". ") {
        Some((number, rest)) if number.parse::<u16>().is_ok() => (format!("{number}. "), rest),
        _ => (String::new(), line),
    }
}

/// Text that cannot become markup.
fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in clean(text).chars() {
        match c {
            '|' | '*' | '_' | '`' | '[' | ']' | '#' | '\\' | '~' => {
                out.push('\\');
                out.push(c);
            }
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '&' => out.push_str("&amp;"),
            '\n' | '\r' => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// A sheet as CSV: its one flat table, or its tables one after the other with an empty line between.
/// Every row ends with the id, revision and hash of the definition it was made from; no cell begins like a formula.
pub fn csv(sheet: &Sheet) -> String {
    let tables: Vec<&Section> = match &sheet.flat {
        Some(flat) => vec![flat],
        None => sheet.sections.iter().filter(|section| !section.columns.is_empty()).collect(),
    };
    tables.into_iter().map(|section| csv_table(section, &sheet.stamp)).collect::<Vec<_>>().join("\n")
}

fn csv_table(section: &Section, stamp: &Stamp) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let heads = section.columns.iter().copied().chain(["definition", "revision", "hash"]);
    let of = [&stamp.id, &stamp.revision, &stamp.hash];
    let cells =
        |row: &Vec<String>| row.iter().chain(of).map(|cell| defused(cell).into_owned()).collect::<Vec<_>>();
    let mut rows = section.rows.iter().map(cells);
    // Writing into memory cannot fail, and every row is as long as the heads.
    let written = writer.write_record(heads).is_ok() && rows.all(|row| writer.write_record(row).is_ok());
    let bytes = writer.into_inner().unwrap_or_default();
    if written { String::from_utf8_lossy(&bytes).into_owned() } else { String::new() }
}
