//! What a reading shows for sure.
//!
//! A step covers a fault only if the reading that the fault would give leaves the healthy interval by
//! more than the meter's uncertainty. An open beside a parallel path or a load may stay within it: it
//! is hidden, and is not claimed.

use std::collections::BTreeMap;

use crate::circuit::Change;
use crate::definition::{Harness, Kind, PartId, PartKind, Point, WireId};
use crate::fault::{Fault, HIGH_FROM, SHORT, Universe};
use crate::measure::{Expectation, Measurement, Situation};
use crate::netlist::{Element, Link, LinkId, NetId};

/// With more links than this, faults under power are not solved one by one.
const SOLVED_UNDER_POWER: usize = 3000;

/// Answers what each step covers; shared by all steps of a phase.
pub(super) struct Cover<'a> {
    situation: &'a Situation<'a>,
    /// Short faults by the nets they join.
    shorts: BTreeMap<(NetId, NetId), Vec<Fault>>,
    /// For each net, the nets that a short can join it to.
    near: BTreeMap<NetId, Vec<NetId>>,
}

impl<'a> Cover<'a> {
    pub(super) fn new(situation: &'a Situation<'a>, universe: &Universe) -> Self {
        let ground = situation.nets.of(situation.netlist.chassis());
        let net = |wire: WireId| situation.nets.of(situation.node(situation.harness.wires[wire].ends[0]));
        let mut shorts: BTreeMap<(NetId, NetId), Vec<Fault>> = BTreeMap::new();
        for (fault, _) in universe.iter() {
            let (a, b) = match fault {
                Fault::Short(a, b) => (net(a), net(b)),
                Fault::ToChassis(a) => (net(a), ground),
                _ => continue,
            };
            shorts.entry((a.min(b), a.max(b))).or_default().push(fault);
        }
        let mut near: BTreeMap<NetId, Vec<NetId>> = BTreeMap::new();
        for (a, b) in shorts.keys().copied() {
            near.entry(a).or_default().push(b);
            near.entry(b).or_default().push(a);
        }
        Self { situation, shorts, near }
    }

    /// The faults that a reading shows for sure, with the meter that the expectation is made for.
    pub(super) fn of(&self, measurement: &Measurement, expect: &Expectation) -> Vec<Fault> {
        match measurement.kind() {
            Kind::Isolation => self.isolation(measurement),
            Kind::Continuity => self.continuity(measurement, expect),
            Kind::Voltage | Kind::Drop => self.voltage(measurement, expect),
        }
    }

    /// A short between the two nets reads near nothing where a megohm is expected.
    fn isolation(&self, measurement: &Measurement) -> Vec<Fault> {
        let [a, b] =
            [measurement.red(), measurement.black()].map(|p| self.situation.nets.of(self.situation.node(p)));
        self.shorts.get(&(a.min(b), a.max(b))).cloned().unwrap_or_default()
    }

    /// Opens and bad joints of the links on the way between the probes.
    fn continuity(&self, measurement: &Measurement, expect: &Expectation) -> Vec<Fault> {
        let mut covered = Vec::new();
        for link in self.way(measurement) {
            let open = self.situation.predict_open(measurement, link);
            let shows_open = expect.excludes(open, Kind::Continuity, &expect.meter);
            let added = self.situation.predict_added(measurement, link, HIGH_FROM);
            let shows_high = expect.excludes(added, Kind::Continuity, &expect.meter);
            self.elements(link, shows_open, shows_high, &mut covered);
            covered.extend(self.part_short(measurement, expect, link));
        }
        covered.extend(self.shorts_at(measurement, expect));
        covered
    }

    /// A load that is shorted inside.
    fn part_short(&self, measurement: &Measurement, expect: &Expectation, link: LinkId) -> Option<Fault> {
        let Link::Part(part, _) = self.situation.netlist.link(link) else { return None };
        let load = matches!(self.situation.harness.parts[part].kind, PartKind::Load { .. });
        let reads = || self.situation.predict_joined(measurement, self.situation.netlist.ends(link), SHORT);
        let shows = load && expect.low > 0.0 && expect.excludes(reads(), Kind::Continuity, &expect.meter);
        shows.then_some(Fault::PartShort(part))
    }

    /// Shorts that bridge the resistance between the probes, at the nets of the probes themselves.
    fn shorts_at(&self, measurement: &Measurement, expect: &Expectation) -> Vec<Fault> {
        let situation = self.situation;
        let [a, b] = [measurement.red(), measurement.black()].map(|p| situation.nets.of(situation.node(p)));
        if a == b || expect.low <= 0.0 {
            return Vec::new();
        }
        let mut covered = Vec::new();
        for net in [a, b] {
            for other in self.near.get(&net).into_iter().flatten().filter(|other| net == a || **other != a) {
                let faults = self.shorts.get(&(net.min(*other), net.max(*other))).into_iter().flatten();
                let shows = |fault: &&Fault| {
                    let reads = situation.predict_joined(measurement, self.touching(**fault), SHORT);
                    expect.excludes(reads, Kind::Continuity, &expect.meter)
                };
                covered.extend(faults.filter(shows).copied());
            }
        }
        covered
    }

    /// The nodes that a short joins: where its wires start, or the chassis.
    fn touching(&self, fault: Fault) -> [usize; 2] {
        let situation = self.situation;
        let start = |wire: WireId| situation.node(situation.harness.wires[wire].ends[0]);
        match fault {
            Fault::Short(a, b) => [start(a), start(b)],
            Fault::ToChassis(a) => [start(a), situation.netlist.chassis()],
            _ => [situation.netlist.chassis(); 2],
        }
    }

    fn elements(&self, link: LinkId, open: bool, high: bool, covered: &mut Vec<Fault>) {
        let harness = self.situation.harness;
        for element in self.situation.netlist.elements(harness, link) {
            let Link::Part(part, _) = self.situation.netlist.link(link) else {
                covered.extend(open.then_some(Fault::Open(element)));
                covered.extend(high.then_some(Fault::High(element)));
                continue;
            };
            if !open {
                continue;
            }
            covered.push(match harness.parts[part].kind {
                PartKind::Relay { .. } => Fault::CoilOpen(part),
                _ => Fault::Open(element),
            });
        }
    }

    /// Opens on the way from the sources to the probes, and sources that give nothing, each solved anew:
    /// relays may drop.
    fn voltage(&self, measurement: &Measurement, expect: &Expectation) -> Vec<Fault> {
        if self.situation.netlist.links().len() > SOLVED_UNDER_POWER {
            return Vec::new();
        }
        let shows = |change: Change| {
            let rounds = self.situation.solve(&[change]);
            let out = |operating| {
                let reading = self.situation.read(operating, measurement);
                expect.excludes(reading, measurement.kind(), &expect.meter)
            };
            !rounds.is_empty() && rounds.iter().all(out)
        };
        let mut covered = Vec::new();
        for link in self.feed(measurement) {
            self.elements(link, shows(Change::Open(link)), false, &mut covered);
        }
        let source = |part: &crate::definition::Part| {
            matches!(part.kind, PartKind::Battery { .. } | PartKind::Alternator { .. })
        };
        let sources = self.situation.harness.parts.iter().filter(|(_, part)| source(part));
        covered.extend(sources.filter(|(id, _)| shows(Change::Dead(*id))).map(|(id, _)| Fault::Flat(id)));
        covered
    }

    /// The links between the probes, by least resistance.
    fn way(&self, measurement: &Measurement) -> Vec<LinkId> {
        let situation = self.situation;
        let [from, to] = [measurement.red(), measurement.black()].map(|p| situation.node(p));
        let healthy = situation.healthy();
        let cost = |link: LinkId, _| healthy.ohms(link);
        situation
            .netlist
            .way(from, to, cost)
            .map_or_else(Vec::new, |way| way.steps.into_iter().map(|(l, _)| l).collect())
    }

    /// The links from a battery's posts to the probes.
    fn feed(&self, measurement: &Measurement) -> Vec<LinkId> {
        let situation = self.situation;
        let mut links = Vec::new();
        for battery in crate::setup::batteries(situation.harness) {
            let PartKind::Battery { plus, minus, .. } = situation.harness.parts[battery].kind else {
                continue;
            };
            for (from, to) in [(plus, measurement.red()), (minus, measurement.black())] {
                links.extend(self.conductive(from, to));
            }
        }
        links.sort_unstable();
        links.dedup();
        links
    }

    fn conductive(&self, from: Point, to: Point) -> Vec<LinkId> {
        let situation = self.situation;
        let healthy = situation.healthy();
        let [from, to] = [from, to].map(|p| situation.node(p));
        // Never through a source: its inside is not a way that a wire takes.
        let cost = |link: LinkId, _| {
            let source =
                matches!(situation.netlist.link(link), Link::Part(_, crate::netlist::PartWay::Source));
            if source { None } else { healthy.ohms(link) }
        };
        situation
            .netlist
            .way(from, to, cost)
            .map_or_else(Vec::new, |way| way.steps.into_iter().map(|(l, _)| l).collect())
    }
}

/// Why no step shows a fault.
pub(super) fn why_not(harness: &Harness, fault: Fault) -> &'static str {
    let diode = |part: PartId| matches!(harness.parts[part].kind, PartKind::Diode { .. });
    match fault {
        Fault::Open(Element::Part(part)) | Fault::PartShort(part) if diode(part) => {
            "a diode is proven with the meter's diode range, with its plug off"
        }
        Fault::Dead(_) => "a unit is proven by its function, or by elimination: inputs good, output absent",
        Fault::StuckReleased(_) | Fault::StuckOperated(_) => {
            "a relay is proven by working it: function check"
        }
        Fault::Flat(_) => "no reading is taken that it would change for sure",
        Fault::Crossed(..) => {
            "it shows as an open and a short where both nets are probed; not claimed for itself"
        }
        Fault::Short(..) | Fault::ToChassis(_) => {
            "the two are joined on purpose, cannot both be probed, or a load or a unit hides it in this setup"
        }
        Fault::PartShort(_) => "the part lies in no reading, or its resistance is too near to a short",
        Fault::Open(_) | Fault::High(_) | Fault::CoilOpen(_) => {
            "it lies on no way between two points that can be probed, or a parallel path or a load hides it"
        }
    }
}
