//! The machine as designed, judged from its solved circuit.
//!
//! Comes in: a harness, its netlist, and whose limits to judge by. Goes out: findings, each with its rule,
//! the figure that was computed, the limit, where that limit comes from, and what to do. Why: a definition
//! can be without a mistake and still describe a machine whose lamps are dim, whose wires burn before
//! their fuse blows, or whose relays operate through a lamp when one ground bond is lost.
//!
//! Nothing here is about readings: the machine is taken to be healthy, or to have one fault that is named.
//! Each setup is solved once; every rule reads what it needs from the same survey.
//!
//! Cost: one solution for each setup, at most [`MOST_SETUPS`] of them and fewer in large machines, and as
//! many again with single faults where sneak paths are asked for.

mod contact;
mod drop;
mod explore;
mod flow;
mod fuse;
mod limits;
mod protection;
mod settles;
mod sneak;
mod solver;
mod survey;

pub use drop::LoadLine;
pub use explore::{MOST_LINKS, MOST_SETUPS, WORK};
pub use flow::Hop;

use survey::Survey;

use crate::circuit::Singular;
use crate::definition::diagnostic::{Diagnostic, Place, Severity};
use crate::definition::{Harness, RuleSet};
use crate::netlist::Netlist;
use crate::setup::{Setup, position_name};

/// A rule of the audit and its documentation.
pub struct Rule {
    /// Stable name, shown with each finding.
    pub name: &'static str,
    /// What the rule demands, in one sentence.
    pub demands: &'static str,
    /// Why it matters at the machine.
    pub why: &'static str,
    /// Where its limits come from.
    pub source: &'static str,
    /// Whether it looks at the machine only when electrical findings are asked for.
    pub on_request: bool,
    check: fn(&Survey<'_>) -> Vec<Finding>,
}

/// Every rule, in the order of its findings.
pub const RULES: &[&Rule] =
    &[&drop::RULE, &protection::RULE, &contact::RULE, &fuse::RULE, &settles::RULE, &sneak::RULE];

/// What to judge, and by whose limits.
#[derive(Debug, Clone, Copy, Default)]
pub struct Options {
    /// The rule set; the definition's own where `None`.
    pub rule_set: Option<RuleSet>,
    /// Whether sneak paths are looked for, and small remarks are wanted.
    pub electrical: bool,
}

/// One thing that the audit found.
#[derive(Debug, Clone)]
pub struct Finding {
    /// The rule that found it.
    pub rule: &'static str,
    /// A warning, or a note.
    pub severity: Severity,
    /// The id of the part, wire or contact it is about.
    pub subject: String,
    /// Where that was defined.
    pub place: Place,
    /// What is wrong.
    pub message: String,
    /// The computed figure.
    pub value: f64,
    /// What it is held against, if anything.
    pub limit: Option<f64>,
    /// The unit of both.
    pub unit: &'static str,
    /// Where the limit comes from.
    pub source: &'static str,
    /// What to do.
    pub help: String,
    /// The state of the machine, where that matters.
    pub setup: Option<Setup>,
    /// The single fault that is assumed, by its id: `F8:open`.
    pub fault: Option<String>,
    /// The way the current takes, from a source and back to it, where that matters.
    pub way: Vec<Hop>,
}

impl Finding {
    /// As a diagnostic with its source line.
    pub fn diagnostic(&self) -> Diagnostic {
        let help = format!("{} (limit: {})", self.help, self.source);
        Diagnostic::new(self.severity, self.rule, self.place, &self.message).help(help)
    }
}

/// What an audit gives.
#[derive(Debug)]
pub struct Audit {
    /// What was found, by rule.
    pub findings: Vec<Finding>,
    /// Every load in its worst setup.
    pub loads: Vec<LoadLine>,
    /// Whose limits it was judged by.
    pub rule_set: Option<RuleSet>,
    /// How wires were reckoned, in words.
    pub basis: &'static str,
    /// How many setups were solved.
    pub setups: usize,
    /// What was not looked at, and why.
    pub remarks: Vec<String>,
}

/// A setup in few words, power being connected and all mated: what is not at rest.
pub fn brief(harness: &Harness, setup: &Setup) -> String {
    let set = setup.set().map(|(s, at)| format!("{} {}", harness.parts[s].id, position_name(harness, s, at)));
    let words: Vec<String> =
        set.chain(setup.conditions().map(|c| harness.conditions[c].id.clone())).collect();
    if words.is_empty() { "at rest".to_owned() } else { words.join(", ") }
}

/// Audits a machine.
///
/// # Errors
/// A network that cannot be solved at all; the assembly rules that out.
pub fn audit(harness: &Harness, netlist: &Netlist, options: Options) -> Result<Audit, Singular> {
    let survey = Survey::new(harness, netlist, options)?;
    let rules = RULES.iter().filter(|rule| options.electrical || !rule.on_request);
    let findings = rules.flat_map(|rule| (rule.check)(&survey)).collect();
    Ok(Audit {
        findings,
        loads: drop::lines(&survey),
        rule_set: survey.rule_set,
        basis: drop::basis(&survey),
        setups: survey.cases.len() + survey.unsettled.len(),
        remarks: survey.remarks(),
    })
}
