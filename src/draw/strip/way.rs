//! The way a circuit takes: from the source through what it feeds, and back to the source.
//!
//! Comes in: a harness, its netlist and the subject. Goes out: hops in order. Why: a person reads a
//! circuit along its current, and a definition does not say which way that is.
//!
//! The ways from the source's plus to every point, and from every point back to its minus, are found
//! once for the whole machine. A circuit takes the way through that load which has most of its wires.

use std::collections::BTreeSet;

use crate::definition::{Harness, LoadKind, PartId, PartKind, Point, WireId};
use crate::netlist::{Link, LinkId, Netlist, PartWay, Ways};

/// What a strip shows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Subject {
    /// The circuit of this id.
    Circuit(String),
    /// The way through a part.
    Part(PartId),
}

/// One step of a way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Hop {
    /// Along a link.
    Link(LinkId, usize, usize),
    /// Into a unit at one contact, and out at its return where that is known.
    Unit(PartId, usize, Option<usize>),
}

impl Hop {
    pub(super) fn from(self) -> usize {
        match self {
            Self::Link(_, from, _) | Self::Unit(_, from, _) => from,
        }
    }

    pub(super) fn to(self) -> Option<usize> {
        match self {
            Self::Link(_, _, to) => Some(to),
            Self::Unit(_, _, to) => to,
        }
    }
}

/// A way that may be drawn.
#[derive(Debug, Clone, Default)]
pub(super) struct Taken {
    pub(super) hops: Vec<Hop>,
    /// Whether it starts at the source.
    pub(super) fed: bool,
    /// Whether it comes back to the source.
    pub(super) closed: bool,
}

/// The source of a machine, with the ways from it and to it.
pub(super) struct Source {
    pub(super) part: PartId,
    pub(super) plus: usize,
    pub(super) minus: usize,
    pub(super) feed: Ways,
    pub(super) back: Ways,
}

/// What takes current: where it enters and leaves.
struct Taker {
    rank: u8,
    hop: Hop,
}

impl Source {
    /// The first battery, or else the first alternator.
    pub(super) fn of(harness: &Harness, netlist: &Netlist) -> Option<Self> {
        let ends = |kind: &PartKind| match kind {
            PartKind::Battery { plus, minus, .. } => Some((0, *plus, *minus)),
            PartKind::Alternator { plus, minus, .. } => Some((1, *plus, *minus)),
            _ => None,
        };
        let sources = harness.parts.iter().filter_map(|(id, part)| ends(&part.kind).map(|ends| (ends, id)));
        let ((_, plus, minus), part) = sources.min_by_key(|((rank, ..), id)| (*rank, *id))?;
        let [plus, minus] = [plus, minus].map(|point| harness.point_index(point));
        let feed = netlist.ways(plus, |link, entered| feed_cost(harness, netlist, link, entered));
        let back = netlist.ways(minus, |link, entered| back_cost(harness, netlist, link, entered));
        Some(Self { part, plus, minus, feed, back })
    }

    /// The links from plus to a node; none where nothing leads there.
    pub(super) fn fed(&self, node: usize) -> Option<Vec<Hop>> {
        let way = self.feed.to(node)?;
        let mut at = way.start;
        let hop = |(link, next): (LinkId, usize)| Hop::Link(link, std::mem::replace(&mut at, next), next);
        Some(way.steps.into_iter().map(hop).collect())
    }

    /// The links from a node to minus.
    pub(super) fn returned(&self, node: usize) -> Option<Vec<Hop>> {
        let way = self.back.to(node)?;
        let mut at = way.start;
        let hop = |(link, next): (LinkId, usize)| Hop::Link(link, next, std::mem::replace(&mut at, next));
        let mut hops: Vec<Hop> = way.steps.into_iter().map(hop).collect();
        hops.reverse();
        Some(hops)
    }

    /// The way through what takes current, as far as it is known.
    fn through(&self, taker: &Taker) -> Option<Taken> {
        let mut hops = self.fed(taker.hop.from())?;
        hops.push(taker.hop);
        let back = taker.hop.to().and_then(|to| self.returned(to));
        let closed = back.is_some();
        hops.extend(back.unwrap_or_default());
        Some(Taken { hops, fed: true, closed })
    }

    fn cost(&self, taker: &Taker) -> Option<u64> {
        let back = taker.hop.to().and_then(|to| self.back.cost(to)).unwrap_or(0);
        Some(self.feed.cost(taker.hop.from())?.saturating_add(back))
    }
}

/// What crossing a sensor costs: a float or pressure switch stands in the way of what it switches, but a
/// way without it is taken first.
const SENSOR: f64 = 10.0;

/// Conductors first, then what switches and protects; a sensor last; never through another load, the frame or a source.
fn feed_cost(harness: &Harness, netlist: &Netlist, link: LinkId, entered: usize) -> Option<f64> {
    let forward = netlist.ends(link)[0] == entered;
    match netlist.link(link) {
        Link::Wire(_) | Link::Mated { .. } => Some(0.01),
        Link::Bond(_) => None,
        Link::Part(part, way) => match (way, &harness.parts[part].kind) {
            (PartWay::Diode | PartWay::Drive(_), _) if !forward => None,
            (_, PartKind::Load { kind: LoadKind::Sensor, .. }) => Some(SENSOR),
            (PartWay::Source | PartWay::Coil, _) | (_, PartKind::Load { .. }) => None,
            _ => Some(1.0),
        },
    }
}

/// The same walked from the source's minus, so against the current; the frame leads back, and so does
/// another source in series.
fn back_cost(harness: &Harness, netlist: &Netlist, link: LinkId, entered: usize) -> Option<f64> {
    let forward = netlist.ends(link)[0] == entered;
    match netlist.link(link) {
        Link::Wire(_) | Link::Mated { .. } => Some(0.01),
        Link::Bond(_) => Some(0.5),
        Link::Part(part, way) => match (way, &harness.parts[part].kind) {
            (PartWay::Source, _) if forward => Some(20.0),
            (PartWay::Diode, _) if !forward => Some(1.0),
            (_, PartKind::Load { kind: LoadKind::Sensor, .. }) => Some(SENSOR),
            (PartWay::Source | PartWay::Diode | PartWay::Coil | PartWay::Drive(_), _)
            | (_, PartKind::Load { .. }) => None,
            _ => Some(1.0),
        },
    }
}

/// Everything that takes current, both ways round where it has no polarity.
fn takers(harness: &Harness, netlist: &Netlist, source: &Source) -> Vec<Taker> {
    let mut takers = Vec::new();
    for link in netlist.part_links() {
        let Link::Part(part, way) = netlist.link(link) else { continue };
        let [a, b] = netlist.ends(link);
        let rank = match (way, &harness.parts[part].kind) {
            (_, PartKind::Load { .. }) => 0,
            (PartWay::Coil, _) => 2,
            (PartWay::Source, _) if part != source.part => 3,
            _ => continue,
        };
        takers.push(Taker { rank, hop: Hop::Link(link, a, b) });
        takers.push(Taker { rank, hop: Hop::Link(link, b, a) });
    }
    for (id, part) in harness.parts.iter() {
        let PartKind::Unit { functions } = &part.kind else { continue };
        for function in functions {
            let ground = function.ground.map(|point| harness.point_index(point));
            for (rank, point) in function.when.iter().map(|p| (1, *p)).chain([(1, function.supply)]) {
                takers.push(Taker { rank, hop: Hop::Unit(id, harness.point_index(point), ground) });
            }
        }
    }
    takers
}

/// Finds ways of one machine.
pub(super) struct Finder<'a> {
    pub(super) harness: &'a Harness,
    pub(super) netlist: &'a Netlist,
    pub(super) source: Option<Source>,
    takers: Vec<Taker>,
}

impl<'a> Finder<'a> {
    pub(super) fn new(harness: &'a Harness, netlist: &'a Netlist) -> Self {
        let source = Source::of(harness, netlist);
        let takers = source.as_ref().map_or(Vec::new(), |source| takers(harness, netlist, source));
        Self { harness, netlist, source, takers }
    }

    /// The wires of a subject: those of the circuit; none for a part.
    pub(super) fn wires(&self, subject: &Subject) -> BTreeSet<WireId> {
        let Subject::Circuit(id) = subject else { return BTreeSet::new() };
        let own =
            |(wire, w): (WireId, &crate::definition::Wire)| (w.circuit.as_ref() == Some(id)).then_some(wire);
        self.harness.wires.iter().filter_map(own).collect()
    }

    /// The way with most of the subject in it; of several alike, that through a load rather than a coil,
    /// and then the shortest.
    pub(super) fn main(&self, subject: &Subject) -> Option<Taken> {
        let source = self.source.as_ref()?;
        let wires = self.wires(subject);
        let belongs = |hop: &Hop| match (*hop, subject) {
            (Hop::Link(link, ..), Subject::Circuit(_)) => {
                matches!(self.netlist.link(link), Link::Wire(wire) if wires.contains(&wire))
            }
            (Hop::Link(link, ..), Subject::Part(part)) => {
                matches!(self.netlist.link(link), Link::Part(own, _) if own == *part)
            }
            (Hop::Unit(own, ..), Subject::Part(part)) => own == *part,
            (Hop::Unit(..), Subject::Circuit(_)) => false,
        };
        let mut best: Option<(usize, u8, u64, Taken)> = None;
        for taker in &self.takers {
            let Some((cost, taken)) = source.cost(taker).zip(source.through(taker)) else { continue };
            let count = taken.hops.iter().filter(|hop| belongs(hop)).count();
            // A way that comes back is worth more than one that does not.
            let rank = taker.rank + if taken.closed { 0 } else { 4 };
            let better = best
                .as_ref()
                .is_none_or(|(most, least, price, _)| (count, *least, *price) > (*most, rank, cost));
            if count > 0 && better {
                best = Some((count, rank, cost, taken));
            }
        }
        best.map(|(.., taken)| taken)
    }

    /// The longest chain among some wires that contains the first of them, by number of links.
    pub(super) fn chain(&self, wires: &BTreeSet<WireId>) -> Option<Taken> {
        let first = wires.first()?;
        let start = self.harness.point_index(self.harness.wires[*first].ends[0]);
        let cost = |link: LinkId, _: usize| match self.netlist.link(link) {
            Link::Wire(wire) if wires.contains(&wire) => Some(1.0),
            Link::Mated { contacts, .. } => {
                let wired = |c| self.harness.wires_at(Point::Contact(c)).any(|w| wires.contains(&w));
                contacts.into_iter().any(wired).then_some(1.0)
            }
            _ => None,
        };
        let one = self.farthest(start, cost)?;
        let other = self.farthest(one, cost)?;
        // From the end that the definition names first.
        let way = self.netlist.ways(one.min(other), cost).to(one.max(other))?;
        let mut at = way.start;
        let hop = |(link, next): (LinkId, usize)| Hop::Link(link, std::mem::replace(&mut at, next), next);
        let hops: Vec<Hop> = way.steps.into_iter().map(hop).collect();
        Some(Taken { hops, ..Taken::default() })
    }

    /// The node that is farthest from another; of several the first.
    fn farthest(&self, from: usize, cost: impl Fn(LinkId, usize) -> Option<f64>) -> Option<usize> {
        let ways = self.netlist.ways(from, cost);
        ways.nodes().into_iter().max_by_key(|node| (ways.cost(*node), std::cmp::Reverse(*node)))
    }
}
