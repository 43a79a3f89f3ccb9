//! Plans as programs read them, and what a bystander says of them.
//!
//! Comes in: a machine, a scope, meters. Goes out: the plan's JSON, checked. Why: several tests hold plans to
//! the rules, or break them on purpose.

#![allow(dead_code, reason = "each test uses its own share of this module")]
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::collections::{BTreeMap, BTreeSet};

use petgraph::unionfind::UnionFind;
use ringout::definition::{Harness, Kind, PartKind, Point, load};
use ringout::fault::Fault;
use ringout::netlist::{Netlist, Nets};
use ringout::plan::complaint::{Asked, Depth, Target, complaint};
use ringout::plan::{self, Aids, Meters, Phase, Plan, Scope};
use ringout::setup::Action;
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
    Some(json(harness, &plan_of(harness, scope, meters)?))
}

/// A plan for somebody who has straps or loopback plugs.
pub(crate) fn aided(harness: &Harness, scope: &Scope, meters: &Meters, aids: Aids) -> Option<Plan> {
    plan::plan_with(harness, &Netlist::new(harness), scope, meters.clone(), aids).ok()
}

/// A plan for a build.
pub(crate) fn staged(harness: &Harness, meters: &Meters, aids: Aids) -> Option<Plan> {
    plan::stages(harness, &Netlist::new(harness), meters.clone(), aids).ok()
}

/// A plan for a part that does not work; `None` where it never works, or where the machine never settles.
pub(crate) fn complained(harness: &Harness, target: Target, depth: Depth) -> Option<Plan> {
    let asked = Asked { target, setup: None, depth };
    complaint(harness, &Netlist::new(harness), &asked, Meters::default()).ok()
}

/// Everything that can be complained of.
pub(crate) fn targets(harness: &Harness) -> Vec<Target> {
    let targets = harness.parts.iter().flat_map(|(id, part)| match &part.kind {
        PartKind::Load { .. } => vec![Target::Load(id)],
        PartKind::Relay { .. } => vec![Target::Relay(id)],
        PartKind::Unit { functions } => (0..functions.len()).map(|at| Target::Output(id, at)).collect(),
        _ => Vec::new(),
    });
    targets.collect()
}

/// Words of aids.
pub(crate) fn aids(words: &[&str]) -> Aids {
    Aids::parse(words.iter().copied()).unwrap()
}

/// A plan as a program reads it.
pub(crate) fn json(harness: &Harness, plan: &Plan) -> Value {
    serde_json::to_value(sheet::plan(harness, plan).0).unwrap()
}

/// Checks a plan: every rule is kept, and every claim was tried out. Gives the plan and the report back.
#[track_caller]
pub(crate) fn keeps(harness: &Harness, plan: &Plan) -> (Value, Report) {
    let value = json(harness, plan);
    let found = report(harness, &value);
    assert!(found.is_kept(), "{}", lines(&found));
    assert_eq!(found.claims.checked, found.claims.made);
    tidy(plan);
    (value, found)
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

/// What makes a plan a good one: nobody walks to where he stands, a tone is asked only where it tells, no reading along
/// a net repeats what others show, and with everything in scope every net is spanned and every detected fault stands
/// at a step.
pub(crate) fn good(harness: &Harness, scope: &Scope, plan: &Plan) {
    tidy(plan);
    let netlist = Netlist::new(harness);
    let whole = scope.unplug.is_empty() && scope.circuit.is_none();
    let mut first = true;
    for phase in &plan.phases {
        let straps = phase.setup.strap_joins(harness).map(|(ends, _)| ends);
        let nets = netlist.groups_joined(|link| phase.setup.joins(&netlist, link), straps);
        let Some(read) = along(harness, phase, &nets) else { continue };
        if std::mem::take(&mut first) && whole && plan.left_out.is_empty() && plan.aided.is_none() {
            spanned(harness, &nets, &read);
        }
    }
    if whole {
        every_fault_stands(plan);
    }
}

/// Every fault that counts as detected stands at a step.
pub(crate) fn every_fault_stands(plan: &Plan) {
    let covered: BTreeSet<_> = plan.steps().flat_map(|step| &step.covers).collect();
    assert_eq!(plan.coverage.detected, covered.len());
}

/// Nobody walks to where he stands, and a tone is asked only for what is open or sounds.
pub(crate) fn tidy(plan: &Plan) {
    for phase in &plan.phases {
        let mut at = None;
        for action in &phase.changes {
            if let Action::GoTo(station) = action {
                assert_ne!(at.replace(*station), Some(*station), "phase {}: walking on the spot", phase.id);
            }
        }
    }
    for step in plan.steps().filter(|step| step.expect.meter.is_tone_only()) {
        // Two wires exchanged open both of their ways.
        let told = |fault: &Fault| matches!(fault, Fault::Open(_) | Fault::Crossed(..));
        assert!(!step.covers.is_empty() && step.covers.iter().all(told), "{}: {:?}", step.id, step.covers);
    }
}

/// The points that readings along nets join; `None` where there is no such reading.
fn along(harness: &Harness, phase: &Phase, nets: &Nets) -> Option<UnionFind<usize>> {
    let mut read = UnionFind::new(harness.point_count());
    let mut some = false;
    for step in &phase.steps {
        let ends = [step.measurement.red(), step.measurement.black()].map(|p| harness.point_index(p));
        if step.measurement.kind() == Kind::Continuity && nets.of(ends[0]) == nets.of(ends[1]) {
            assert!(read.union(ends[0], ends[1]), "{}: others show that already", step.id);
            some = true;
        }
    }
    some.then_some(read)
}

/// Every two points of a net that a probe may touch with all plugs off are joined by readings.
fn spanned(harness: &Harness, nets: &Nets, read: &UnionFind<usize>) {
    let mut first = BTreeMap::new();
    for point in harness.points().filter(|point| touchable(harness, *point)) {
        let node = harness.point_index(point);
        let known = *first.entry(nets.of(node)).or_insert(node);
        assert!(read.equiv(known, node), "{} is in no reading of its net", harness.point_name(point));
    }
}

fn touchable(harness: &Harness, point: Point) -> bool {
    let connector = match point {
        Point::Splice(_) => return false,
        Point::Contact(id) => harness.connectors[harness.contacts[id].connector].hazard.is_some(),
        _ => false,
    };
    let wire = harness.wires_at(point).any(|wire| harness.wires[wire].hazard.is_some());
    let part = harness.parts_at(point).any(|part| harness.parts[part].hazard.is_some());
    !(connector || wire || part) && harness.unit_behind(point).is_none()
}
