//! Which elements have the largest shares in a limit.

use std::borrow::Cow;

use super::expect::SOLVED;
use super::reason::{Share, Term};
use super::{Expectation, Measurement, Meter, Situation};
use crate::definition::{Kind, PartKind};
use crate::netlist::LinkId;
use crate::netlist::resistance::{self, Seen};

/// So many elements are named at most; the others are counted.
const NAMED: usize = 3;
/// And those alone that have this share in the amount.
const WORTH: f64 = 0.05;

impl Situation<'_> {
    /// [`Situation::expect`], and for each limit what makes up most of it: the elements on the way with the
    /// least resistance, or the sources. Cost: one shortest way more.
    pub fn explain(&self, measurement: &Measurement, meter: &Meter) -> Expectation {
        let mut expect = self.expect(measurement, meter);
        if meter.is_tone_only() || expect.is_demanded() {
            return expect;
        }
        match measurement.kind() {
            Kind::Continuity | Kind::Isolation if expect.high.is_some() => {
                let way = self.shares(measurement);
                let least = |share: &resistance::Share| (share.range.low.get(), share.sources[0].clone());
                let most = |share: &resistance::Share| (share.range.high.get(), share.sources[1].clone());
                if let Some(term) = expect.why.low.terms.first_mut().filter(|term| term.amount > 0.0) {
                    self.fill(term, &way, least);
                }
                if let Some(term) = expect.why.high.terms.first_mut() {
                    self.fill(term, &way, most);
                }
            }
            Kind::Voltage => {
                let sources = self.sources();
                for reason in [&mut expect.why.low, &mut expect.why.high] {
                    for term in reason.terms.iter_mut().filter(|term| term.what == SOLVED) {
                        term.shares.clone_from(&sources);
                    }
                }
            }
            _ => {}
        }
        expect
    }

    /// The elements on the way between the probes, by least resistance.
    fn shares(&self, measurement: &Measurement) -> Vec<resistance::Share> {
        let [from, to] = [measurement.red(), measurement.black()].map(|p| self.node(p));
        let healthy = self.healthy();
        let cost = |link: LinkId, _| healthy.ohms(link);
        let way = self.netlist.way(from, to, cost).map_or_else(Vec::new, |way| way.steps);
        let of = |(link, _)| resistance::shares(self.netlist, self.harness, link, Seen::Cold);
        way.into_iter().flat_map(of).collect()
    }

    /// Names the largest shares of a term. Where other ways lie beside this one the network has less than
    /// the way, and the term says so.
    fn fill(
        &self,
        term: &mut Term,
        way: &[resistance::Share],
        of: impl Fn(&resistance::Share) -> (f64, Cow<'static, str>),
    ) {
        let named = |share: &resistance::Share| {
            let (amount, source) = of(share);
            Share { name: share.element.id(self.harness), amount, source }
        };
        let mut shares: Vec<Share> = way.iter().map(named).collect();
        let total: f64 = shares.iter().map(|share| share.amount).sum();
        if total > term.amount * 1.01 {
            term.what = format!("{}, with other ways beside this one", term.what).into();
        }
        shares.sort_by(|a, b| b.amount.total_cmp(&a.amount));
        let worth = shares.iter().take(NAMED).take_while(|share| share.amount >= WORTH * total).count();
        let others = shares.split_off(worth);
        term.others = (others.len(), others.iter().map(|share| share.amount).sum());
        term.shares = shares;
    }

    /// Batteries, and alternators that turn.
    fn sources(&self) -> Vec<Share> {
        let of = |part: &crate::definition::Part| {
            let volts = match part.kind {
                PartKind::Battery { volts, .. } => volts,
                PartKind::Alternator { volts, when, .. }
                    if when.is_none_or(|condition| self.setup.holds(condition)) =>
                {
                    volts
                }
                _ => return None,
            };
            Some(Share { name: part.id.clone(), amount: volts.get(), source: "the definition".into() })
        };
        self.harness.parts.values().filter_map(of).collect()
    }
}
