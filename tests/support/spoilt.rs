//! Good plans that are spoilt in one place, and what the check has to say of that.
//!
//! Comes in: a plan's JSON and a change to it. Goes out: whether the rule is named that the change breaks, at its
//! place, in words. Why: a check that finds nothing wrong proves little unless it finds what is.

#![allow(dead_code, reason = "each test uses its own share of this module")]
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::collections::BTreeSet;

use ringout::definition::Harness;
use ringout::verify::{Report, Rule, Violation};
use serde_json::Value;

use crate::planned::{lines, list, report, text};

/// A good plan, spoilt: what the check says of it.
#[track_caller]
pub(crate) fn spoil(harness: &Harness, good: &Value, spoil: impl FnOnce(&mut Value)) -> Report {
    let kept = report(harness, good);
    assert!(kept.is_kept(), "{}", lines(&kept));
    let mut plan = good.clone();
    spoil(&mut plan);
    assert!(plan != *good, "nothing was spoilt");
    report(harness, &plan)
}

/// The place of each violation of a rule, with its words.
fn found(report: &Report, rule: Rule) -> Vec<(String, String)> {
    let place = |v: &Violation| v.step.clone().or(v.phase.clone()).unwrap_or_default();
    report.of(rule).map(|v| (place(v), v.what.clone())).collect()
}

/// A rule is broken at a place, in these words.
#[track_caller]
pub(crate) fn breaks(report: &Report, rule: Rule, place: &str, words: &str) {
    let hit = found(report, rule).iter().any(|(at, what)| at == place && what.contains(words));
    assert!(hit, "{} at {place:?}: {words}\n{}", rule.id(), lines(report));
}

/// No rule but these is broken.
#[track_caller]
pub(crate) fn only(report: &Report, rules: &[Rule]) {
    let broken: BTreeSet<Rule> = report.violations.iter().map(Violation::rule).collect();
    assert_eq!(broken, rules.iter().copied().collect(), "{}", lines(report));
}

/// A list in a plan.
pub(crate) fn items<'a>(plan: &'a mut Value, pointer: &str) -> &'a mut Vec<Value> {
    plan.pointer_mut(pointer).unwrap().as_array_mut().unwrap()
}

/// The place of a change in its phase.
#[track_caller]
pub(crate) fn change(plan: &Value, phase: usize, action: &str, target: &str) -> usize {
    let same = |c: &Value| c["action"] == action && text(&c["target"]).starts_with(target);
    list(&plan["phases"][phase]["changes"]).iter().position(same).unwrap()
}

#[track_caller]
pub(crate) fn drop_change(plan: &mut Value, phase: usize, action: &str, target: &str) -> Value {
    let at = change(plan, phase, action, target);
    items(plan, &format!("/phases/{phase}/changes")).remove(at)
}

/// A step by its id.
pub(crate) fn step<'a>(plan: &'a mut Value, id: &str) -> &'a mut Value {
    let phases = plan["phases"].as_array_mut().unwrap();
    phases.iter_mut().flat_map(|p| p["steps"].as_array_mut().unwrap()).find(|s| s["id"] == id).unwrap()
}
