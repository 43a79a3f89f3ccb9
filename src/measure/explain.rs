//! Which elements have the largest shares in a limit.

use std::collections::HashMap;

use super::expect::SOLVED;
use super::reason::{Share, Term};
use super::{Expectation, Measurement, Meter, Situation};
use crate::definition::{Kind, PartKind};
use crate::netlist::resistance::{self, Range, Seen};
use crate::netlist::{Element, LinkId, Way};

/// So many elements are named at most; the others are counted.
const NAMED: usize = 3;
/// And those alone that have this share in the amount.
const WORTH: f64 = 0.05;

/// So many nodes round one of the probes are looked at before the search starts from the other one, together with all
/// that start there: most readings are short, and long ones start at the same few points.
const NEAR: usize = 64;

/// An element on the way between two probes, with its link and what a healthy one resists.
type Passed = (LinkId, Element, Range);

/// Explains what is expected of many readings in one setup. Cost: for readings that share a probe one search of shortest
/// ways, as far as the farthest of them; for others what is nearer than their second probe.
pub struct Explainer<'a> {
    situation: &'a Situation<'a>,
    /// How many readings each node has a probe of.
    uses: HashMap<usize, u32>,
}

impl Situation<'_> {
    /// [`Situation::expect`], and for each limit what makes up most of it: the elements on the way with the
    /// least resistance, or the sources. Cost: one shortest way more.
    pub fn explain(&self, measurement: &Measurement, meter: &Meter) -> Expectation {
        self.explainer([measurement]).explain(&[(measurement, meter)]).swap_remove(0)
    }

    /// Explains some of these readings at a time.
    pub fn explainer<'m>(&self, readings: impl IntoIterator<Item = &'m Measurement>) -> Explainer<'_> {
        let mut uses: HashMap<usize, u32> = HashMap::new();
        for measurement in readings {
            for point in [measurement.red(), measurement.black()] {
                *uses.entry(self.node(point)).or_default() += 1;
            }
        }
        Explainer { situation: self, uses }
    }
}

impl Explainer<'_> {
    /// As [`Situation::explain`], for each of some readings.
    pub fn explain(&self, asked: &[(&Measurement, &Meter)]) -> Vec<Expectation> {
        let situation = self.situation;
        let mut expects: Vec<Expectation> =
            asked.iter().map(|(measurement, meter)| situation.expect(measurement, meter)).collect();
        for (expect, (measurement, _)) in expects.iter_mut().zip(asked) {
            if measurement.kind() == Kind::Voltage && !expect.is_demanded() {
                situation.name_sources(expect);
            }
        }
        let has_way = |at: &usize| {
            let (expect, (measurement, meter)) = (&expects[*at], &asked[*at]);
            let resists = matches!(measurement.kind(), Kind::Continuity | Kind::Isolation);
            resists && expect.high.is_some() && !meter.is_tone_only() && !expect.is_demanded()
        };
        let with_ways: Vec<usize> = (0..asked.len()).filter(has_way).collect();
        let ends: Vec<[usize; 2]> = with_ways
            .iter()
            .map(|at| [asked[*at].0.red(), asked[*at].0.black()].map(|point| situation.node(point)))
            .collect();
        self.along_ways(&ends, |nth, way| situation.name_elements(&mut expects[with_ways[nth]], way));
        expects
    }

    /// Calls for each two nodes with the elements on the way of least resistance between them, from the first to the
    /// second.
    fn along_ways(&self, ends: &[[usize; 2]], mut take: impl FnMut(usize, &[Passed])) {
        let Situation { harness, netlist, nets, .. } = self.situation;
        let healthy = self.situation.healthy();
        let search = |start: usize| netlist.search(start, |link, _| healthy.ohms(link));
        let mut take = |nth: usize, start: usize, way: Option<Way>| {
            let mut links: Vec<LinkId> =
                way.into_iter().flat_map(|way| way.steps).map(|(link, _)| link).collect();
            if start != ends[nth][0] {
                links.reverse();
            }
            let passed = |link: LinkId| {
                let shares = resistance::shares(netlist, harness, link, Seen::Cold);
                shares.into_iter().map(move |(element, range)| (link, element, range))
            };
            take(nth, &links.into_iter().flat_map(passed).collect::<Vec<Passed>>());
        };
        // Of two ends that in the smaller net comes first: from a rail all of the rail is nearer than what lies behind a
        // load. Within a net it is the one that fewer readings lead to.
        let rank = |node: usize| (nets.members(nets.of(node)).len(), self.uses.get(&node));
        let outer_first = |[a, b]: [usize; 2]| if rank(b) < rank(a) { [b, a] } else { [a, b] };
        let mut far: Vec<([usize; 2], usize)> = Vec::new();
        for (nth, [outer, inner]) in ends.iter().map(|ends| outer_first(*ends)).enumerate() {
            match search(outer).within(inner, NEAR) {
                Some(way) => take(nth, outer, way),
                None => far.push(([inner, outer], nth)),
            }
        }
        far.sort_unstable();
        for alike in far.chunk_by(|([a, _], _), ([b, _], _)| a == b) {
            let mut search = search(alike[0].0[0]);
            for ([start, end], nth) in alike {
                take(*nth, *start, search.to(*end));
            }
        }
    }
}

impl Situation<'_> {
    fn name_elements(&self, expect: &mut Expectation, way: &[Passed]) {
        if let Some(term) = expect.why.low.terms.first_mut().filter(|term| term.amount > 0.0) {
            self.fill(term, way, 0, |range| range.low.get());
        }
        if let Some(term) = expect.why.high.terms.first_mut() {
            self.fill(term, way, 1, |range| range.high.get());
        }
    }

    fn name_sources(&self, expect: &mut Expectation) {
        let sources = self.sources();
        for reason in [&mut expect.why.low, &mut expect.why.high] {
            for term in reason.terms.iter_mut().filter(|term| term.what == SOLVED) {
                term.shares.clone_from(&sources);
            }
        }
    }

    /// Names the largest shares of a term, one of the two ends of what elements resist. Where other ways lie beside
    /// this one the network has less than the way, and the term says so.
    fn fill(&self, term: &mut Term, way: &[Passed], end: usize, of: impl Fn(&Range) -> f64) {
        let mut shares: Vec<(f64, &Passed)> = way.iter().map(|passed| (of(&passed.2), passed)).collect();
        let total: f64 = shares.iter().map(|(amount, _)| amount).sum();
        if total > term.amount * 1.01 {
            term.what = format!("{}, with other ways beside this one", term.what).into();
        }
        shares.sort_by(|(a, _), (b, _)| b.total_cmp(a));
        let worth = shares.iter().take(NAMED).take_while(|(amount, _)| *amount >= WORTH * total).count();
        let (named, others) = shares.split_at(worth);
        term.others = (others.len(), others.iter().map(|(amount, _)| amount).sum());
        let name = |(amount, (link, element, _)): &(f64, &Passed)| {
            let [least, most] = resistance::sources(self.netlist, self.harness, *link, *element);
            let source = if end == 0 { least } else { most };
            Share { name: element.id(self.harness), amount: *amount, source }
        };
        term.shares = named.iter().map(name).collect();
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
