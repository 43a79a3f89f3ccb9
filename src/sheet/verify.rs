//! What the check of a plan found.

use serde::Serialize;

use super::{Section, Sheet, Stamp};
use crate::definition::Harness;
use crate::plan::DEFERENCE;
use crate::verify::{Claims, MadeFrom, Replayed, Report, Rule, Violation};

/// So many violations of one rule stand in a table; the others are counted.
const SHOWN: usize = 20;

/// A check for programs.
#[derive(Debug, Clone, Serialize)]
pub struct VerifyView {
    /// The definition.
    pub harness: Stamp,
    /// What the plan says that it was made from.
    pub plan: MadeFrom,
    /// Whether every rule is kept.
    pub kept: bool,
    /// What was replayed.
    pub replayed: Replayed,
    /// How many claims were made, tried out, and failed.
    pub claims: Claims,
    /// Every rule.
    pub rules: Vec<RuleView>,
    /// What was left unchecked, and why.
    pub remarks: Vec<String>,
}

/// A rule with what breaks it.
#[derive(Debug, Clone, Serialize)]
pub struct RuleView {
    /// Its number, or its name where it is no rule of safety.
    pub rule: &'static str,
    /// What it demands.
    pub demands: &'static str,
    /// Whether nothing breaks it.
    pub kept: bool,
    /// What breaks it.
    pub violations: Vec<Violation>,
}

/// The check of a plan as JSON view and sheet.
pub fn verify(harness: &Harness, report: &Report) -> (VerifyView, Sheet) {
    let rule = |rule: Rule| {
        let violations: Vec<Violation> = report.of(rule).cloned().collect();
        RuleView { rule: rule.id(), demands: rule.words(), kept: violations.is_empty(), violations }
    };
    let view = VerifyView {
        harness: Stamp::of(harness),
        plan: report.made_from.clone(),
        kept: report.is_kept(),
        replayed: report.replayed,
        claims: report.claims,
        rules: Rule::ALL.map(rule).into(),
        remarks: report.remarks.clone(),
    };
    let sheet = sheet(&view);
    (view, sheet)
}

fn sheet(view: &VerifyView) -> Sheet {
    let Replayed { phases, changes, steps } = view.replayed;
    let Claims { made, checked, failed } = view.claims;
    let mut sheet = Sheet::of("Plan check", &view.harness);
    sheet.heading.push(format!(
        "Replayed: {phases} phases, {changes} changes, {steps} steps. Claims: {made} made, {checked} tried out, \
         {failed} failed."
    ));
    let verdict = |rule: &RuleView| match rule.violations.len() {
        0 => "kept".to_owned(),
        1 => "1 violation".to_owned(),
        n => format!("{n} violations"),
    };
    sheet.sections.push(Section {
        columns: vec!["rule", "what it demands", "verdict"],
        rows: view.rules.iter().map(|r| vec![r.rule.to_owned(), r.demands.to_owned(), verdict(r)]).collect(),
        ..Section::default()
    });
    sheet.sections.extend(view.rules.iter().filter(|rule| !rule.kept).map(section));
    sheet.flat = Some(flat(view));
    sheet.notes.extend(view.remarks.iter().cloned());
    sheet.notes.push(DEFERENCE.to_owned());
    let broken = view.rules.iter().filter(|rule| !rule.kept).count();
    sheet.notes.push(match broken {
        0 => "every rule is kept".to_owned(),
        1 => "1 rule is broken: do not work by this plan".to_owned(),
        n => format!("{n} rules are broken: do not work by this plan"),
    });
    sheet
}

/// Where a violation is.
fn place(violation: &Violation) -> String {
    match (&violation.step, &violation.phase) {
        (Some(step), _) => format!("step {step}"),
        (None, Some(phase)) => format!("phase {phase}"),
        (None, None) => "plan".to_owned(),
    }
}

fn section(rule: &RuleView) -> Section {
    let row = |violation: &Violation| vec![place(violation), violation.what.clone()];
    let more = rule.violations.len().saturating_sub(SHOWN);
    let notes =
        if more > 0 { vec![format!("and {more} more: --format json has them all")] } else { Vec::new() };
    Section {
        title: format!("{} · {}", rule.rule, rule.demands),
        columns: vec!["where", "what"],
        rows: rule.violations.iter().take(SHOWN).map(row).collect(),
        notes,
        ..Section::default()
    }
}

/// One row for each violation, and one for each rule that is kept.
fn flat(view: &VerifyView) -> Section {
    let rows = view.rules.iter().flat_map(|rule| {
        let row = |verdict: &str, place: String, what: String| {
            vec![rule.rule.to_owned(), rule.demands.to_owned(), verdict.to_owned(), place, what]
        };
        let kept = rule.kept.then(|| row("kept", String::new(), String::new()));
        let broken = rule.violations.iter().map(move |v| row("violation", place(v), v.what.clone()));
        kept.into_iter().chain(broken).collect::<Vec<_>>()
    });
    Section {
        columns: vec!["rule", "demands", "verdict", "where", "what"],
        rows: rows.collect(),
        ..Section::default()
    }
}
