//! `ringout check`: read and validate a definition.

use std::path::PathBuf;

use serde::Serialize;

use super::Outcome;
use super::common::{self, Source};
use super::output::{self, FormatArg};
use crate::definition::Harness;
use crate::definition::diagnostic::{Diagnostic, Severity};
use crate::definition::rules::RULES;
use crate::sheet::{Section, Sheet, Stamp};

#[derive(Debug, clap::Args)]
pub(super) struct CheckArgs {
    /// The harness definition (TOML); the files it uses are found from it
    #[arg(required_unless_present = "rules")]
    harness: Option<PathBuf>,
    /// Apply a variant of the definition
    #[arg(long, value_name = "NAME")]
    variant: Option<String>,
    /// Count warnings as findings (exit code 1)
    #[arg(long)]
    strict: bool,
    /// List the rules with their reasons instead of checking
    #[arg(long)]
    rules: bool,
    #[arg(long, value_enum, default_value_t)]
    format: FormatArg,
}

#[derive(Serialize)]
struct CheckView<'a> {
    harness: Stamp,
    counts: Counts,
    warnings: Vec<WarningView<'a>>,
}

#[derive(Serialize)]
struct Counts {
    connectors: usize,
    contacts: usize,
    wires: usize,
    splices: usize,
    terminals: usize,
    grounds: usize,
    parts: usize,
}

#[derive(Serialize)]
struct WarningView<'a> {
    rule: &'a str,
    message: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    file: Option<&'a str>,
    line: usize,
    column: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    help: Option<&'a str>,
}

pub(super) fn run(args: &CheckArgs) -> anyhow::Result<Outcome> {
    let Some(harness) = args.harness.clone().filter(|_| !args.rules) else {
        output::print(&rules())?;
        return Ok(Outcome::Well);
    };
    let loaded = Source { harness, variant: args.variant.clone() }.load_with_warnings()?;
    if args.format == FormatArg::Table {
        common::show_diagnostics(&loaded.warnings, &loaded);
    }
    let warnings = loaded.warnings.iter().map(|d| warning(d, &loaded.sources));
    let view = CheckView {
        harness: Stamp::of(&loaded.harness),
        counts: counts(&loaded.harness),
        warnings: warnings.collect(),
    };
    output::show(args.format, &view, &sheet(&view, args.format))?;
    let finding = args.strict && !loaded.warnings.is_empty();
    Ok(if finding { Outcome::Finding } else { Outcome::Well })
}

fn warning<'a>(
    diagnostic: &'a Diagnostic,
    sources: &'a crate::definition::diagnostic::Sources,
) -> WarningView<'a> {
    let (line, column) = diagnostic.place.map_or((0, 0), |place| sources.line_column(place));
    WarningView {
        rule: diagnostic.rule,
        message: &diagnostic.message,
        file: diagnostic.place.map(|place| sources.name(place.file())),
        line,
        column,
        help: diagnostic.help.as_deref(),
    }
}

fn counts(harness: &Harness) -> Counts {
    Counts {
        connectors: harness.connectors.len(),
        contacts: harness.contacts.len(),
        wires: harness.wires.len(),
        splices: harness.splices.len(),
        terminals: harness.terminals.len(),
        grounds: harness.terminals.values().filter(|t| t.ground).count(),
        parts: harness.parts.len(),
    }
}

fn sheet(view: &CheckView<'_>, format: FormatArg) -> Sheet {
    let Counts { connectors, contacts, wires, splices, terminals, grounds, parts } = view.counts;
    let summary = format!(
        "{connectors} connectors with {contacts} contacts, {wires} wires, {splices} splices, \
         {terminals} terminals ({grounds} of them ground points), {parts} parts"
    );
    let verdict = match view.warnings.len() {
        0 => "no errors, no warnings".to_owned(),
        n => format!("no errors, {n} warning(s)"),
    };
    let row = |w: &WarningView<'_>| {
        let place = format!("{}:{}:{}", w.file.unwrap_or(""), w.line, w.column);
        vec![w.rule.to_owned(), place, w.message.to_owned()]
    };
    let section = Section {
        columns: vec!["rule", "place", "warning"],
        rows: view.warnings.iter().map(row).collect(),
        ..Section::default()
    };
    let mut sheet = Sheet::of("Check", &view.harness);
    sheet.heading.push(summary);
    sheet.notes.push(verdict);
    // On a terminal the warnings have been shown already, with their source lines.
    if !view.warnings.is_empty() && format != FormatArg::Table {
        sheet.sections.push(section);
    }
    sheet
}

/// The rules and why they matter.
fn rules() -> String {
    let mut out = String::new();
    for rule in RULES {
        let severity = if rule.severity == Severity::Error { "error" } else { "warning" };
        out.push_str(&format!("{} ({severity})\n  {}\n  {}\n\n", rule.name, rule.demands, rule.why));
    }
    out
}
