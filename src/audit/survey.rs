//! The machine solved in every setup worth looking at, once for all rules.

use super::flow::{Hop, is_consumer};
use super::solver::{Case, Consumer, Solver, What, case};
use super::{Options, explore};
use crate::circuit::{Change, Corner, Singular, solve};
use crate::definition::{Duty, Harness, PartId, PartKind, RuleSet};
use crate::netlist::{Link, LinkId, Netlist, PartWay};
use crate::setup::Setup;

/// The way of a consumer's current, from a source and back to it; the source comes first.
pub(super) struct Closed {
    pub feed: Vec<Hop>,
    pub back: Vec<Hop>,
}

/// What every rule reads.
pub(super) struct Survey<'a> {
    pub harness: &'a Harness,
    pub netlist: &'a Netlist,
    pub rule_set: Option<RuleSet>,
    pub electrical: bool,
    pub nominal: f64,
    pub consumers: Vec<Consumer>,
    pub cases: Vec<Case>,
    /// Setups in which the machine never settles, with the parts that keep switching.
    pub unsettled: Vec<(Setup, Vec<String>)>,
    pub budget: usize,
    full: bool,
}

impl<'a> Survey<'a> {
    pub(super) fn new(
        harness: &'a Harness,
        netlist: &'a Netlist,
        options: Options,
    ) -> Result<Self, Singular> {
        let budget = explore::budget(netlist.links().len());
        let mut solver = Solver::new(harness, netlist, budget);
        // Without a source nothing flows, and there is nothing to solve.
        if harness.has_source() {
            explore::explore(harness, &mut solver)?;
        }
        let full = solver.solved() >= budget;
        let Solver { nominal, consumers, cases, unsettled, .. } = solver;
        Ok(Self {
            harness,
            netlist,
            rule_set: options.rule_set.or(harness.about.rule_set),
            electrical: options.electrical,
            nominal,
            consumers,
            cases,
            unsettled,
            budget,
            full,
        })
    }

    /// The machine in a setup with one link open; `None` where it never settles then.
    pub(super) fn with_open(&self, setup: &Setup, link: LinkId) -> Option<Case> {
        let changes = [Change::Open(link)];
        let operating = solve(self.harness, self.netlist, setup, &changes, Corner::Nominal).ok()?;
        Some(case(self.harness, self.netlist, &self.consumers, self.nominal, setup.clone(), &operating))
    }

    /// The way of a consumer's current in a case; `None` where none flows from a source and back.
    pub(super) fn closed(&self, case: &Case, at: usize) -> Option<Closed> {
        let [a, b] = self.consumers[at].ends;
        let [plus, minus] = if case.volts[at] < 0.0 { [b, a] } else { [a, b] };
        let feed = case.flow.feed(self.netlist, plus)?;
        let back = case.flow.back(self.netlist, minus)?;
        Some(Closed { feed, back })
    }

    /// The whole way, from the source through the consumer and back.
    pub(super) fn whole(&self, case: &Case, closed: &Closed, at: usize) -> Vec<Hop> {
        let consumer = &self.consumers[at];
        let [a, b] = consumer.ends;
        let [from, to] = if case.volts[at] < 0.0 { [b, a] } else { [a, b] };
        let own = consumer.link.map(|link| Hop { link, from, to, amps: case.flow.size(link) });
        closed.feed.iter().copied().chain(own).chain(closed.back.iter().copied()).collect()
    }

    /// The current through a consumer; what a unit's input takes is not known.
    pub(super) fn amps(&self, case: &Case, at: usize) -> f64 {
        let consumer = &self.consumers[at];
        match consumer.link {
            Some(link) => case.flow.size(link),
            None => self.drawn(case, consumer),
        }
    }

    /// What a unit drives from a supply.
    fn drawn(&self, case: &Case, consumer: &Consumer) -> f64 {
        if consumer.what != What::Supply {
            return 0.0;
        }
        let links = self.netlist.links_at(consumer.ends[0]);
        let drives =
            links.filter(|(link, _)| matches!(self.netlist.link(*link), Link::Part(_, PartWay::Drive(_))));
        drives.map(|(link, _)| case.flow.size(link)).sum()
    }

    /// Whether a link is a load or a coil.
    pub(super) fn is_consumer(&self, link: LinkId) -> bool {
        is_consumer(self.harness, self.netlist, link)
    }

    /// Whether a link is a fuse or a breaker.
    pub(super) fn is_fuse(&self, link: LinkId) -> bool {
        let Link::Part(part, _) = self.netlist.link(link) else { return false };
        matches!(self.harness.parts[part].kind, PartKind::Fuse { .. })
    }

    /// A link as people call it: the wire, the part, the pair of contacts.
    pub(super) fn name(&self, link: LinkId) -> String {
        self.netlist.name(self.harness, link)
    }

    /// What the audit did not look at.
    pub(super) fn remarks(&self) -> Vec<String> {
        let mut remarks = Vec::new();
        if self.cases.is_empty() {
            return remarks;
        }
        if self.rule_set.is_none() {
            let words = RuleSet::ALL.map(RuleSet::word).join(", ");
            remarks.push(format!(
                "Voltage drop is not held against limits: no rule set is chosen. Write rule_set = \"…\" under \
                 [harness], or say --rule-set ({words})."
            ));
        }
        if self.full {
            let setups = self.cases.len();
            remarks.push(format!(
                "The audit looked at {setups} setups, which is as many as it takes the time for; others were \
                 not looked at."
            ));
        }
        let beyond = self.cases.iter().filter(|case| case.beyond).count();
        if beyond > 0 && self.electrical {
            remarks.push(format!(
                "In {beyond} setups an alternator would have to give more than its `most`: currents and drops \
                 of those setups were left out."
            ));
        }
        remarks
    }
}

/// Whether a part works in short spells only.
pub(super) fn is_intermittent(harness: &Harness, part: PartId) -> bool {
    harness.parts[part].duty == Duty::Intermittent
}
