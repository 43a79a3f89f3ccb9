//! The wiring rules a definition is checked against: one rule, one file.
//!
//! Comes in: a resolved harness. Goes out: diagnostics. Why: each rule says in one place what it
//! demands, why, and how a mistake is mended, so that the table of rules is also their
//! documentation (`ringout check --rules`).

mod gauge_mark;
mod lone_mark;
mod mates;
mod one_end;
mod one_signal;
mod one_wire;
mod part_ends;
mod spare;
mod splice_legs;
mod wire_size;

use super::diagnostic::{Severity, Sink};
use super::model::Harness;

/// A rule and its documentation.
pub struct Rule {
    /// Stable name, shown with each finding.
    pub name: &'static str,
    /// How serious a breach is.
    pub severity: Severity,
    /// What the rule demands, in one sentence.
    pub demands: &'static str,
    /// Why it matters at the machine.
    pub why: &'static str,
    check: fn(&Harness, &Sink),
}

/// Every rule, errors first.
pub const RULES: &[&Rule] = &[
    &mates::RULE,
    &one_wire::RULE,
    &one_signal::RULE,
    &part_ends::RULE,
    &spare::RULE,
    &wire_size::RULE,
    &gauge_mark::RULE,
    &one_end::RULE,
    &splice_legs::RULE,
    &lone_mark::RULE,
];

/// Checks a harness against every rule. Warnings wait until there are no errors: on half a harness
/// they would only mislead.
pub(super) fn check(harness: &Harness, sink: &Sink) {
    for severity in [Severity::Error, Severity::Warning] {
        if severity == Severity::Warning && sink.errors() > 0 {
            return;
        }
        for rule in RULES.iter().filter(|rule| rule.severity == severity) {
            (rule.check)(harness, sink);
        }
    }
}
