//! Where the current goes in a solved machine.

use crate::circuit::Operating;
use crate::definition::{Harness, PartKind};
use crate::netlist::{Link, LinkId, Netlist, PartWay};

/// Less than this is rounding, not current.
const NOTHING: f64 = 1e-9;

/// One element that a current passes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hop {
    /// The link.
    pub link: LinkId,
    /// The node where the current enters it.
    pub from: usize,
    /// The node where it leaves.
    pub to: usize,
    /// The current in it, in amperes.
    pub amps: f64,
}

/// The current in every link, and at every node the link that brings most and the one that takes most.
#[derive(Debug, Clone)]
pub(super) struct Flow {
    amps: Vec<f64>,
    into: Vec<Option<LinkId>>,
    out: Vec<Option<LinkId>>,
}

impl Flow {
    /// Reads the currents of a solved machine. Cost: linear in links.
    pub(super) fn of(harness: &Harness, netlist: &Netlist, operating: &Operating) -> Self {
        let amps: Vec<f64> = netlist.links().map(|link| amps(harness, netlist, operating, link)).collect();
        let mut flow =
            Self { amps, into: vec![None; netlist.point_count()], out: vec![None; netlist.point_count()] };
        for link in netlist.links() {
            let size = flow.size(link);
            if size < NOTHING {
                continue;
            }
            let [tail, head] = flow.direction(netlist, link);
            let more = |known: Option<LinkId>| known.is_none_or(|known| size > flow.size(known));
            let (into, out) = (more(flow.into[head]), more(flow.out[tail]));
            if into {
                flow.into[head] = Some(link);
            }
            if out {
                flow.out[tail] = Some(link);
            }
        }
        flow
    }

    /// The current in a link, in amperes: above zero from its first end to its second.
    pub(super) fn amps(&self, link: LinkId) -> f64 {
        self.amps[link.index()]
    }

    /// The current in a link whichever way it flows.
    pub(super) fn size(&self, link: LinkId) -> f64 {
        self.amps(link).abs()
    }

    /// The ends of a link: where current enters, and where it leaves.
    fn direction(&self, netlist: &Netlist, link: LinkId) -> [usize; 2] {
        let [a, b] = netlist.ends(link);
        if self.amps(link) < 0.0 { [b, a] } else { [a, b] }
    }

    fn hop(&self, netlist: &Netlist, link: LinkId) -> Hop {
        let [from, to] = self.direction(netlist, link);
        Hop { link, from, to, amps: self.size(link) }
    }

    /// The way that most of the current into a node takes, from the source's post to the node; the last
    /// of the given links is the source itself, which comes first. `None` where no source feeds the node.
    ///
    /// Potential falls along every step, so the way cannot turn back on itself.
    pub(super) fn feed(&self, netlist: &Netlist, node: usize) -> Option<Vec<Hop>> {
        let mut way = self.follow(netlist, node, &self.into, |hop| hop.from)?;
        way.reverse();
        Some(way)
    }

    /// The way that most of the current out of a node takes, to the source's other post; the source itself
    /// comes last.
    pub(super) fn back(&self, netlist: &Netlist, node: usize) -> Option<Vec<Hop>> {
        self.follow(netlist, node, &self.out, |hop| hop.to)
    }

    fn follow(
        &self,
        netlist: &Netlist,
        start: usize,
        by: &[Option<LinkId>],
        next: impl Fn(&Hop) -> usize,
    ) -> Option<Vec<Hop>> {
        let mut way = Vec::new();
        let mut node = start;
        while way.len() <= by.len() {
            let hop = self.hop(netlist, by[node]?);
            way.push(hop);
            // A source that feeds sends current out of its plus, that is from its second end to its first.
            if is_source(netlist, hop.link) {
                return (self.amps(hop.link) < 0.0).then_some(way);
            }
            node = next(&hop);
        }
        None
    }
}

/// Whether a link is a battery or an alternator.
pub(super) fn is_source(netlist: &Netlist, link: LinkId) -> bool {
    matches!(netlist.link(link), Link::Part(_, PartWay::Source))
}

/// Whether a link is a load or a coil: what current is for.
pub(super) fn is_consumer(harness: &Harness, netlist: &Netlist, link: LinkId) -> bool {
    match netlist.link(link) {
        Link::Part(_, PartWay::Coil) => true,
        Link::Part(part, PartWay::Through) => matches!(harness.parts[part].kind, PartKind::Load { .. }),
        _ => false,
    }
}

/// The current from a link's first end to its second. Sources and diodes hold a voltage of their own.
fn amps(harness: &Harness, netlist: &Netlist, operating: &Operating, link: LinkId) -> f64 {
    let Some(ohms) = operating.ohms(link) else { return 0.0 };
    let [a, b] = netlist.ends(link);
    let own = match netlist.link(link) {
        Link::Part(part, PartWay::Source | PartWay::Diode) => match &harness.parts[part].kind {
            PartKind::Battery { volts, .. } | PartKind::Alternator { volts, .. } => volts.get(),
            PartKind::Diode { drop, .. } => drop.get(),
            _ => 0.0,
        },
        _ => 0.0,
    };
    (operating.volts_between(a, b) - own) / ohms
}
