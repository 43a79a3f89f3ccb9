//! What is read while nothing is wrong yet.
//!
//! Comes in: a plan and a record. Goes out: the step to read next. Why: suspects follow from a bad reading; until there
//! is one, the plan leads. A complaint's plan is followed from outcome to outcome, any other from step to step.

use crate::definition::Harness;
use crate::locate::Avoid;
use crate::measure::Meter;
use crate::measure::{Measurement, Situation};
use crate::netlist::Netlist;
use crate::plan::complaint::{Asked, ComplaintError, Next, Shown, complaint};
use crate::plan::{self, Plan, Scope, Step};
use crate::record::{Entry, Record};
use crate::setup::Setup;

/// The plan that leads until a reading is bad.
pub(super) struct Opening {
    plan: Plan,
}

impl Opening {
    /// The plan for a complaint, or of the whole machine.
    pub(super) fn new(
        harness: &Harness,
        netlist: &Netlist,
        asked: Option<&Asked>,
        meter: Meter,
    ) -> Result<Self, ComplaintError> {
        let plan = match asked {
            Some(asked) => complaint(harness, netlist, asked, meter)?,
            None => plan::plan(harness, netlist, &Scope::default(), meter)?,
        };
        Ok(Self { plan })
    }

    /// The step to read next, where all readings so far are good; `None` at the end of the plan.
    pub(super) fn next(&self, record: &Record, avoid: &[Avoid]) -> Option<&Step> {
        let open = |step: &&Step| {
            answer(record, &step.measurement).is_none() && !avoid.iter().any(|a| a.forbids(&step.measurement))
        };
        if self.plan.complaint.is_some()
            && let Some(on_the_way) = self.on_the_way(record)
        {
            return open(&on_the_way).then_some(on_the_way).or_else(|| self.plan.steps().find(open));
        }
        if self.plan.complaint.is_some() { None } else { self.plan.steps().find(open) }
    }

    /// What is to be done where a complaint's steps ended with every reading good.
    pub(super) fn end(&self, record: &Record) -> &[String] {
        let ends = self.plan.complaint.as_ref().map(|dossier| &dossier.ends);
        let last = self.plan.steps().filter(|step| answer(record, &step.measurement).is_some()).last();
        let end = last.and_then(|step| match good(step)? {
            Next::End(at) => Some(*at),
            Next::Step { .. } => None,
        });
        ends.zip(end).and_then(|(ends, at)| ends.get(at)).map_or(&[], |end| &end.todo)
    }

    /// The first step without an answer, from good outcome to good outcome.
    fn on_the_way(&self, record: &Record) -> Option<&Step> {
        let mut step = self.plan.steps().next()?;
        // Steps lead down the plan only, so this ends.
        while answer(record, &step.measurement).is_some() {
            let Some(Next::Step { id, .. }) = good(step) else { return None };
            step = self.plan.steps().find(|other| other.id == *id)?;
        }
        Some(step)
    }
}

/// What follows a good reading.
fn good(step: &Step) -> Option<&Next> {
    step.outcomes.iter().find(|outcome| outcome.shown == Shown::Good).map(|outcome| &outcome.next)
}

/// The entry that answers a step.
fn answer<'r>(record: &'r Record, m: &Measurement) -> Option<&'r Entry> {
    record.entries.iter().find(|e| same(e, m))
}

/// Whether an entry is this very reading.
pub(super) fn same(entry: &Entry, m: &Measurement) -> bool {
    let probes = [entry.red, entry.black];
    entry.kind == m.kind()
        && entry.setup == *m.setup()
        && (probes == [m.red(), m.black()] || probes == [m.black(), m.red()])
}

/// The healthy machine in a setup, where it settles.
pub(super) fn situation<'a>(
    harness: &'a Harness,
    netlist: &'a Netlist,
    setup: &Setup,
) -> Option<Situation<'a>> {
    Situation::new(harness, netlist, setup).ok()
}
