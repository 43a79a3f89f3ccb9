//! The troubleshooting chart of a complaint: every way the readings can take, one line each.
//!
//! Comes in: a complaint's plan. Goes out: rows, each as deep as the readings before it. Why: who stands at the machine
//! wants to see where the next reading leads before taking it; the page's script folds the chart to the way taken.

use std::collections::BTreeSet;

use super::super::complaint::percent;
use super::super::plan::capital;
use super::super::suspects;
use super::steps::anchor;
use super::tidy;
use crate::definition::Harness;
use crate::draw::{Weight, shorten};
use crate::plan::complaint::{Dossier, Next};
use crate::plan::{Plan, Step};

/// One line of the chart.
pub(super) struct Row {
    /// How many readings lead to it.
    pub(super) depth: usize,
    /// The step whose reading leads here, and what it shows; empty for the first.
    pub(super) from: String,
    pub(super) shows: &'static str,
    /// What was shown, in words.
    pub(super) words: String,
    /// Where it leads.
    pub(super) target: String,
    pub(super) text: String,
}

/// The deepest indent that a narrow screen has room for.
const DEEPEST: usize = 9;

pub(super) fn rows(harness: &Harness, plan: &Plan, dossier: &Dossier) -> Vec<Row> {
    let Some(first) = plan.steps().next() else { return Vec::new() };
    let mut rows = vec![Row {
        depth: 0,
        from: String::new(),
        shows: "",
        words: "Begin".to_owned(),
        target: anchor(&first.id),
        text: words(harness, first),
    }];
    let mut told = BTreeSet::new();
    // Outcomes still to be told, the next one last: the chart of a deep plan must not nest calls.
    let mut waiting = waiting_at(first, 1);
    told.insert(first.id.as_str());
    while let Some((step, at, depth)) = waiting.pop() {
        let outcome = &step.outcomes[at];
        let (target, text, next) = match &outcome.next {
            Next::End(end) => (format!("end-{}", end + 1), end_words(harness, dossier, *end), None),
            Next::Step { id, .. } => {
                let next = plan.steps().find(|step| step.id == *id);
                let again = if told.contains(id.as_str()) { " (told above)" } else { "" };
                let text = next.map_or(id.clone(), |next| words(harness, next));
                (anchor(id), format!("{text}{again}"), next)
            }
        };
        rows.push(Row {
            depth: depth.min(DEEPEST),
            from: step.id.clone(),
            shows: outcome.shown.word(),
            words: format!(
                "{} {} ({})",
                step.id,
                capital(&outcome.shown.words(&step.expect)),
                percent(outcome.share)
            ),
            target,
            text,
        });
        if let Some(next) = next
            && told.insert(next.id.as_str())
        {
            waiting.extend(waiting_at(next, depth + 1));
        }
    }
    rows
}

fn waiting_at(step: &Step, depth: usize) -> Vec<(&Step, usize, usize)> {
    (0..step.outcomes.len()).rev().map(|at| (step, at, depth)).collect()
}

fn words(harness: &Harness, step: &Step) -> String {
    tidy(&format!("{} {}", step.id, step.measurement.words(harness)))
}

fn end_words(harness: &Harness, dossier: &Dossier, at: usize) -> String {
    let faults = dossier.ends.get(at).map(|end| &end.faults[..end.likely]).unwrap_or_default();
    let faults = if faults.is_empty() {
        "no single fault is left".to_owned()
    } else {
        suspects::faults(harness, faults)
    };
    // The end itself tells all of it.
    shorten(&tidy(&format!("End {}: {faults}", at + 1)), 1.0, Weight::Regular, 60.0)
}
