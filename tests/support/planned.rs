//! Plans as programs read them, and what a bystander says of them.
//!
//! Comes in: a machine, a scope, meters. Goes out: the plan's JSON, checked. Why: several tests hold plans to
//! the rules, or break them on purpose.

#![allow(dead_code, reason = "each test uses its own share of this module")]
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use ringout::definition::{Harness, load};
use ringout::netlist::Netlist;
use ringout::plan::{self, Meters, Plan, Scope};
use ringout::sheet;
use ringout::verify::{self, Report};
use serde_json::Value;

use crate::machine;

/// A plan; `None` for a machine that has no steady state.
pub(crate) fn plan_of(harness: &Harness, scope: &Scope, meters: &Meters) -> Option<Plan> {
    plan::plan(harness, &Netlist::new(harness), scope, meters.clone()).ok()
}

/// A plan for a plain meter as a program reads it.
pub(crate) fn planned(harness: &Harness, scope: &Scope) -> Option<Value> {
    planned_for(harness, scope, &Meters::default())
}

/// The same for other meters at hand.
pub(crate) fn planned_for(harness: &Harness, scope: &Scope, meters: &Meters) -> Option<Value> {
    let plan = plan_of(harness, scope, meters)?;
    Some(serde_json::to_value(sheet::plan(harness, &plan).0).unwrap())
}

/// What the check says of a plan.
pub(crate) fn report(harness: &Harness, plan: &Value) -> Report {
    verify::check(harness, &plan.to_string()).unwrap_or_else(|error| panic!("{error}"))
}

/// A report in lines, to read where a test fails.
pub(crate) fn lines(report: &Report) -> String {
    let line = |v: &verify::Violation| {
        let place = v.step.as_ref().or(v.phase.as_ref()).map_or("", String::as_str);
        format!("{} {place}: {}", v.rule().id(), v.what)
    };
    report.violations.iter().map(line).collect::<Vec<_>>().join("\n")
}

pub(crate) fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

pub(crate) fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_else(|| panic!("{value} is not text"))
}

/// A machine from a seed.
pub(crate) fn made(seed: u64, wires: usize) -> Harness {
    let none = &mut |path: &str| Err(format!("{path} is not there"));
    match load("made.toml", machine::random(seed, wires), None, none) {
        Ok(loaded) => loaded.harness,
        Err(rejected) => panic!("{:?}", rejected.diagnostics.first().map(|d| &d.message)),
    }
}
