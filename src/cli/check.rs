//! `ringout check`: read and validate a definition, and audit the machine it describes.

use std::path::PathBuf;

use serde::Serialize;

use super::Outcome;
use super::common::{self, Source};
use super::output::{self, FormatArg};
use crate::audit::{self, Audit, Finding, MOST_LINKS, Options, audit};
use crate::definition::diagnostic::{Diagnostic, Severity};
use crate::definition::rules::RULES;
use crate::definition::{Harness, RuleSet};
use crate::netlist::Netlist;
use crate::record::chain;
use crate::sheet::{FindingView, LoadView, Section, Sheet, Stamp};

#[derive(Debug, clap::Args)]
#[command(after_help = "\
    Examples:\n\
    \x20 ringout check machine.toml\n\
    \x20 ringout check machine.toml --electrical --rule-set aircraft --strict")]
#[expect(clippy::struct_excessive_bools, reason = "each is a switch of the command line by itself")]
pub(super) struct CheckArgs {
    /// The harness definition (TOML); the files it uses are found from it
    #[arg(required_unless_present = "rules")]
    harness: Option<PathBuf>,
    /// Apply a variant of the definition
    #[arg(long, value_name = "NAME")]
    variant: Option<String>,
    /// Count warnings as findings (exit code 1)
    ///
    /// What the audit finds is a warning or a note, never an error: the definition is valid, whatever it
    /// says of the machine.
    #[arg(long)]
    strict: bool,
    /// Whose limits of voltage drop to judge by, in place of the definition's own rule_set
    #[arg(long, value_name = "NAME", value_parser = rule_set)]
    rule_set: Option<RuleSet>,
    /// Show every load with what it loses on the way, and look for sneak paths
    #[arg(long)]
    electrical: bool,
    /// Check a record of readings instead: that it can be read, and that no link of its chain is broken
    #[arg(long, value_name = "FILE", conflicts_with_all = ["rules", "weights", "electrical", "strict", "rule_set"])]
    record: Option<PathBuf>,
    /// List the rules with their reasons instead of checking
    #[arg(long)]
    rules: bool,
    /// Show how likely each sort of fault is taken to be, usually and here, instead of checking
    #[arg(long, conflicts_with = "rules")]
    weights: bool,
    #[arg(long, value_enum, default_value_t)]
    format: FormatArg,
}

#[derive(Serialize)]
struct CheckView<'a> {
    harness: Stamp,
    counts: Counts,
    warnings: Vec<WarningView<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    rule_set: Option<RuleSet>,
    findings: Vec<FindingView>,
    #[serde(skip_serializing_if = "Option::is_none")]
    loads: Option<Vec<LoadView>>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    remarks: Vec<String>,
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
    if let Some(path) = &args.record {
        return record(args, &loaded.harness, path);
    }
    if args.weights {
        let (view, sheet) = crate::sheet::weights(&loaded.harness);
        output::show(args.format, &view, &sheet)?;
        return Ok(Outcome::Well);
    }
    let netlist = Netlist::new(&loaded.harness);
    let audit = audit_of(args, &loaded.harness, &netlist)?;
    if args.format == FormatArg::Table {
        let found = audit.iter().flat_map(|audit| &audit.findings).map(Finding::diagnostic);
        let all: Vec<Diagnostic> = loaded.warnings.iter().cloned().chain(found).collect();
        common::show_diagnostics(&all, &loaded);
    }
    let warnings = loaded.warnings.iter().map(|d| warning(d, &loaded.sources));
    let view = CheckView {
        harness: Stamp::of(&loaded.harness),
        counts: counts(&loaded.harness),
        warnings: warnings.collect(),
        rule_set: audit.as_ref().and_then(|audit| audit.rule_set),
        findings: audit.as_ref().map_or_else(Vec::new, |audit| {
            crate::sheet::findings(&loaded.harness, &netlist, &loaded.sources, audit)
        }),
        loads: audit
            .as_ref()
            .filter(|_| args.electrical)
            .map(|audit| crate::sheet::loads(&loaded.harness, audit)),
        remarks: audit.as_ref().map_or_else(|| vec![too_large(netlist.links().len())], |a| a.remarks.clone()),
    };
    let mut sheet = sheet(&view, args.format);
    if let Some(audit) = audit.filter(|audit| args.electrical && !audit.loads.is_empty()) {
        sheet.sections.push(crate::sheet::load_section(&loaded.harness, &audit));
    }
    output::show(args.format, &view, &sheet)?;
    let finding = args.strict && view.count(Severity::Warning) > 0;
    Ok(if finding { Outcome::Finding } else { Outcome::Well })
}

/// The audit, unless the machine is so large that it takes a while and nobody asked for it.
fn audit_of(args: &CheckArgs, harness: &Harness, netlist: &Netlist) -> anyhow::Result<Option<Audit>> {
    if netlist.links().len() > MOST_LINKS && !args.electrical {
        return Ok(None);
    }
    let options = Options { rule_set: args.rule_set, electrical: args.electrical };
    Ok(Some(audit(harness, netlist, options)?))
}

fn too_large(links: usize) -> String {
    format!(
        "The machine was not audited: with {links} links that takes a while. Say --electrical to have it done."
    )
}

/// Reads the name of a rule set.
fn rule_set(text: &str) -> Result<RuleSet, String> {
    let words = RuleSet::ALL.map(RuleSet::word).join(", ");
    RuleSet::parse(text).ok_or_else(|| format!("the rule sets are: {words}"))
}

impl CheckView<'_> {
    /// How many warnings, or notes, there are in all.
    fn count(&self, severity: Severity) -> usize {
        let own = if severity == Severity::Warning { self.warnings.len() } else { 0 };
        own + self.findings.iter().filter(|finding| finding.severity == severity).count()
    }
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
    let warnings = match view.count(Severity::Warning) {
        0 => "no errors, no warnings".to_owned(),
        n => format!("no errors, {n} warning(s)"),
    };
    let verdict = match view.count(Severity::Note) {
        0 => warnings,
        n => format!("{warnings}, {n} note(s)"),
    };
    let row = |w: &WarningView<'_>| {
        let place = format!("{}:{}:{}", w.file.unwrap_or(""), w.line, w.column);
        vec![w.rule.to_owned(), place, w.message.to_owned()]
    };
    let found = |f: &FindingView| {
        let place = format!("{}:{}:{}", f.place.file, f.place.line, f.place.column);
        vec![f.rule.to_owned(), place, format!("{} (limit: {})", f.message, f.source)]
    };
    let section = Section {
        columns: vec!["rule", "place", "warning"],
        rows: view.warnings.iter().map(row).chain(view.findings.iter().map(found)).collect(),
        ..Section::default()
    };
    let mut sheet = Sheet::of("Check", &view.harness);
    sheet.heading.push(summary);
    sheet.notes.extend(view.remarks.iter().cloned());
    if !view.findings.is_empty() || view.loads.is_some() {
        sheet.notes.push(common::DEFERENCE.to_owned());
    }
    sheet.notes.push(verdict);
    // On a terminal the warnings have been shown already, with their source lines.
    if !section.rows.is_empty() && format != FormatArg::Table {
        sheet.sections.push(section);
    }
    sheet
}

/// A record of readings: whether it can be read, and whether its chain holds.
fn record(args: &CheckArgs, harness: &Harness, path: &std::path::Path) -> anyhow::Result<Outcome> {
    let checked = chain::check(&common::read_text(path)?);
    let read = common::read_record(harness, path)?;
    let (view, sheet) = crate::sheet::chained(harness, &path.display().to_string(), &checked);
    output::show(args.format, &view, &sheet)?;
    let whole = checked.broken.is_empty() && read.is_sound();
    Ok(if whole { Outcome::Well } else { Outcome::Finding })
}

/// The rules and why they matter.
fn rules() -> String {
    let mut out = String::new();
    for rule in RULES {
        let severity = if rule.severity == Severity::Error { "error" } else { "warning" };
        out.push_str(&format!("{} ({severity})\n  {}\n  {}\n\n", rule.name, rule.demands, rule.why));
    }
    for rule in audit::RULES {
        let asked = if rule.on_request { "audit, with --electrical" } else { "audit" };
        out.push_str(&format!(
            "{} ({asked})\n  {}\n  {}\n  Source: {}.\n\n",
            rule.name, rule.demands, rule.why, rule.source
        ));
    }
    out
}
