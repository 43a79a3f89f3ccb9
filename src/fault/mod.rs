//! Faults: what can be wrong with a machine, and how likely each is.
//!
//! Comes in: a harness and its netlist. Goes out: the list of single faults with their weights, and
//! for each the changes it makes to the network. Why: a plan covers faults and a diagnosis weighs
//! them; both must mean the same list.
//!
//! Cost: linear in elements; pairs only where two conductors can touch (neighbouring cavities of a
//! face, or a trunk shared by few enough wires that naming pairs helps anyone).

mod touch;
mod weight;

pub use touch::{TouchBy, Touching, touching};
pub use weight::{WEIGHTS, Weight, of_sort};

use std::collections::HashMap;
use std::sync::OnceLock;

use crate::circuit::{Change, ChangeKey};
use crate::definition::{ConnectorId, Harness, PartId, PartKind, Point, WireId};
use crate::netlist::resistance::{Seen, range};
use crate::netlist::{Element, Link, LinkId, Netlist, PartWay};
use crate::units::Ohms;

/// The resistance that a bad joint adds at least: less passes as healthy. Common practice.
pub const HIGH_FROM: Ohms = Ohms::new(2.0);
/// The resistance of a short: metal on metal.
pub const SHORT: Ohms = Ohms::new(0.05);

/// A single fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Fault {
    /// An element does not conduct.
    Open(Element),
    /// An element conducts badly.
    High(Element),
    /// Two wires touch.
    Short(WireId, WireId),
    /// A wire touches the chassis.
    ToChassis(WireId),
    /// Two wires are exchanged at a connector.
    Crossed(WireId, WireId, ConnectorId),
    /// A load's ends are joined.
    PartShort(PartId),
    /// A relay stays released.
    StuckReleased(PartId),
    /// A relay stays operated.
    StuckOperated(PartId),
    /// A relay's coil is open.
    CoilOpen(PartId),
    /// A unit drives nothing.
    Dead(PartId),
    /// A source gives nothing.
    Flat(PartId),
}

impl Fault {
    /// Its id, as it stands in records and reports.
    pub fn id(self, harness: &Harness) -> String {
        let part = |id: PartId| harness.parts[id].id.as_str();
        let wire = |id: WireId| harness.wires[id].id.as_str();
        match self {
            Self::Open(element) => format!("{}:open", element.id(harness)),
            Self::High(element) => format!("{}:high", element.id(harness)),
            Self::Short(a, b) => format!("{}~{}:short", wire(a), wire(b)),
            Self::ToChassis(a) => format!("{}~chassis:short", wire(a)),
            Self::Crossed(a, b, at) => {
                format!("{}*{}@{}:crossed", wire(a), wire(b), harness.connectors[at].id)
            }
            Self::PartShort(id) => format!("{}:short", part(id)),
            Self::StuckReleased(id) => format!("{}:stuck-released", part(id)),
            Self::StuckOperated(id) => format!("{}:stuck-operated", part(id)),
            Self::CoilOpen(id) => format!("{}:coil-open", part(id)),
            Self::Dead(id) => format!("{}:dead", part(id)),
            Self::Flat(id) => format!("{}:flat", part(id)),
        }
    }

    /// In words: "wire 31C open".
    pub fn words(self, harness: &Harness) -> String {
        let part = |id: PartId| format!("{} {}", harness.parts[id].kind.word(), harness.parts[id].id);
        let wire = |id: WireId| harness.wires[id].id.as_str();
        match self {
            Self::Open(element) => format!("{} open", element.words(harness)),
            Self::High(element) => format!("{} with high resistance", element.words(harness)),
            Self::Short(a, b) => format!("wires {} and {} touch", wire(a), wire(b)),
            Self::ToChassis(a) => format!("wire {} touches the chassis", wire(a)),
            Self::Crossed(a, b, at) => {
                format!("wires {} and {} exchanged at {}", wire(a), wire(b), harness.connectors[at].id)
            }
            Self::PartShort(id) => format!("{} shorted inside", part(id)),
            Self::StuckReleased(id) => format!("{} does not operate", part(id)),
            Self::StuckOperated(id) => format!("{} does not release", part(id)),
            Self::CoilOpen(id) => format!("coil of {} open", part(id)),
            Self::Dead(id) => format!("{} dead: inputs good, output absent", part(id)),
            Self::Flat(id) => format!("{} gives nothing", part(id)),
        }
    }

    /// The elements it accuses.
    pub fn elements(self) -> Vec<Element> {
        match self {
            Self::Open(element) | Self::High(element) => vec![element],
            Self::Short(a, b) | Self::Crossed(a, b, _) => vec![Element::Wire(a), Element::Wire(b)],
            Self::ToChassis(a) => vec![Element::Wire(a)],
            Self::PartShort(id)
            | Self::StuckReleased(id)
            | Self::StuckOperated(id)
            | Self::CoilOpen(id)
            | Self::Dead(id)
            | Self::Flat(id) => vec![Element::Part(id)],
        }
    }
}

/// The faults of a machine, with what each changes.
pub struct Universe {
    faults: Vec<(Fault, f64)>,
    /// The link of each wire, mated pair, bond and part way.
    links: HashMap<Element, Vec<LinkId>>,
    /// The faults by what they change, grouped when first asked for.
    by_change: OnceLock<Vec<Alike>>,
    /// The faults in order, each with the number of its group.
    in_order: OnceLock<Vec<(Fault, Option<usize>)>>,
}

/// What some faults change, and those faults: no reading tells them apart.
pub type Alike = (Vec<Change>, Vec<Fault>);

impl Universe {
    /// Lists every single fault of a machine.
    pub fn new(harness: &Harness, netlist: &Netlist) -> Self {
        let mut universe = Self {
            faults: Vec::new(),
            links: HashMap::new(),
            by_change: OnceLock::new(),
            in_order: OnceLock::new(),
        };
        for link in netlist.links().filter(|link| matters(harness, netlist.link(*link))) {
            for element in netlist.elements(harness, link) {
                let known = universe.links.entry(element).or_default();
                let first = known.is_empty();
                known.push(link);
                if !first {
                    continue;
                }
                match element {
                    Element::Part(part) => universe.part(harness, part),
                    conductor => {
                        universe.add(harness, Fault::Open(conductor));
                        universe.add(harness, Fault::High(conductor));
                    }
                }
            }
        }
        for (a, b, by) in touching(harness).pairs {
            universe.add(harness, Fault::Short(a, b));
            if let TouchBy::Connector(at) = by {
                universe.add(harness, Fault::Crossed(a, b, at));
            }
        }
        for wire in harness.wires.ids().filter(|_| harness.has_chassis()) {
            universe.add(harness, Fault::ToChassis(wire));
        }
        universe
    }

    fn add(&mut self, harness: &Harness, fault: Fault) {
        self.faults.push((fault, weight::of(harness, fault)));
    }

    fn part(&mut self, harness: &Harness, id: PartId) {
        let open = Fault::Open(Element::Part(id));
        let modes: &[Fault] = match harness.parts[id].kind {
            PartKind::Battery { .. } | PartKind::Alternator { .. } => &[Fault::Flat(id)],
            PartKind::Fuse { .. } | PartKind::Switch { .. } => &[open],
            PartKind::Relay { .. } => {
                &[Fault::StuckReleased(id), Fault::StuckOperated(id), Fault::CoilOpen(id)]
            }
            PartKind::Diode { .. } | PartKind::Load { .. } => &[open, Fault::PartShort(id)],
            PartKind::Unit { .. } => &[Fault::Dead(id)],
        };
        for fault in modes {
            self.add(harness, *fault);
        }
    }

    /// The faults by what they change in the network: those that change the same cannot be told apart by
    /// any reading. Faults that change nothing are left out. The machine is the one that this was made of.
    pub fn by_change(&self, harness: &Harness, netlist: &Netlist) -> &[Alike] {
        self.by_change.get_or_init(|| self.grouped(harness, netlist))
    }

    /// Every fault once, in order, with the place of what it changes in [`Universe::by_change`]; none for one that changes
    /// nothing.
    pub fn in_order(&self, harness: &Harness, netlist: &Netlist) -> &[(Fault, Option<usize>)] {
        self.in_order.get_or_init(|| {
            let groups = self.by_change(harness, netlist).iter().enumerate();
            let mut all: Vec<(Fault, Option<usize>)> = groups
                .flat_map(|(at, (_, faults))| faults.iter().map(move |fault| (*fault, Some(at))))
                .collect();
            let idle = |fault: &Fault| self.changes(harness, netlist, *fault).is_empty();
            all.extend(self.iter().map(|(fault, _)| fault).filter(idle).map(|fault| (fault, None)));
            all.sort_unstable();
            all.dedup_by_key(|(fault, _)| *fault);
            all
        })
    }

    fn grouped(&self, harness: &Harness, netlist: &Netlist) -> Vec<Alike> {
        let changes: Vec<Vec<Change>> =
            self.faults.iter().map(|(fault, _)| self.changes(harness, netlist, *fault)).collect();
        // The first key stands beside the place: it nearly always decides.
        let first = |(at, changes): (usize, &Vec<Change>)| Some((changes.first()?.key(), at));
        let mut order: Vec<(ChangeKey, usize)> = changes.iter().enumerate().filter_map(first).collect();
        order.sort_unstable_by(|(a, at), (b, other)| {
            let rest = || keys(&changes[*at]).skip(1).cmp(keys(&changes[*other]).skip(1));
            a.cmp(b).then_with(rest).then(at.cmp(other))
        });
        let alike = order.chunk_by(|(_, at), (_, other)| keys(&changes[*at]).eq(keys(&changes[*other])));
        let group = |alike: &[(ChangeKey, usize)]| {
            let faults = alike.iter().map(|(_, at)| self.faults[*at].0).collect();
            (changes[alike[0].1].clone(), faults)
        };
        alike.map(group).collect()
    }

    /// Every fault with its weight.
    pub fn iter(&self) -> impl Iterator<Item = (Fault, f64)> + '_ {
        self.faults.iter().copied()
    }

    /// How many faults there are.
    pub fn len(&self) -> usize {
        self.faults.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.faults.is_empty()
    }

    /// The links an element belongs to: one, or several for a part with several ways.
    pub fn links(&self, element: Element) -> &[LinkId] {
        self.links.get(&element).map_or(&[], Vec::as_slice)
    }

    /// What a fault changes in the network.
    pub fn changes(&self, harness: &Harness, netlist: &Netlist, fault: Fault) -> Vec<Change> {
        let wire = |id: WireId| self.links(Element::Wire(id)).first().copied();
        match fault {
            Fault::Open(element) => self.links(element).iter().map(|link| Change::Open(*link)).collect(),
            Fault::High(element) => {
                self.links(element).iter().map(|link| Change::Added(*link, HIGH_FROM)).collect()
            }
            Fault::Short(a, b) => match (wire(a), wire(b)) {
                (Some(a), Some(b)) => vec![Change::Joined(netlist.ends(a)[0], netlist.ends(b)[0], SHORT)],
                _ => Vec::new(),
            },
            Fault::ToChassis(a) => wire(a)
                .map(|a| Change::Joined(netlist.ends(a)[0], netlist.chassis(), SHORT))
                .into_iter()
                .collect(),
            Fault::Crossed(a, b, at) => crossed(harness, netlist, [a, b].map(|w| (w, wire(w))), at),
            Fault::PartShort(id) => {
                let ends = self.links(Element::Part(id)).first().map(|link| netlist.ends(*link));
                ends.map(|[a, b]| Change::Joined(a, b, SHORT)).into_iter().collect()
            }
            Fault::StuckReleased(relay) => vec![Change::Stuck { relay, operated: false }],
            Fault::StuckOperated(relay) => vec![Change::Stuck { relay, operated: true }],
            Fault::CoilOpen(relay) => {
                let coil = self
                    .links(Element::Part(relay))
                    .iter()
                    .find(|link| matches!(netlist.link(**link), Link::Part(_, PartWay::Coil)));
                coil.map(|link| Change::Open(*link)).into_iter().collect()
            }
            Fault::Dead(part) | Fault::Flat(part) => vec![Change::Dead(part)],
        }
    }
}

/// What tells changes apart, one after the other.
fn keys(changes: &[Change]) -> impl Iterator<Item = ChangeKey> + '_ {
    changes.iter().map(Change::key)
}

/// A mated pair of contacts matters only if there is something on both sides of it.
fn matters(harness: &Harness, link: Link) -> bool {
    let Link::Mated { contacts, .. } = link else { return true };
    contacts.iter().all(|id| {
        let point = Point::Contact(*id);
        let on_part = harness.connectors[harness.contacts[*id].connector].part.is_some();
        on_part || harness.wires_at(point).len() > 0 || harness.parts_at(point).len() > 0
    })
}

/// Two wires exchanged at a connector: each now starts where the other one did, and keeps its own resistance.
fn crossed(
    harness: &Harness,
    netlist: &Netlist,
    wires: [(WireId, Option<LinkId>); 2],
    at: ConnectorId,
) -> Vec<Change> {
    let [(a, Some(link_a)), (b, Some(link_b))] = wires else { return Vec::new() };
    let here = |wire: WireId| {
        let on = |point: &Point| matches!(point, Point::Contact(c) if harness.contacts[*c].connector == at);
        harness.wires[wire].ends.iter().position(on)
    };
    let (Some(side_a), Some(side_b)) = (here(a), here(b)) else { return Vec::new() };
    let [ends_a, ends_b] = [link_a, link_b].map(|link| netlist.ends(link));
    let [own_a, own_b] = [link_a, link_b].map(|link| range(netlist, harness, link, Seen::Cold).nominal);
    vec![
        Change::Open(link_a),
        Change::Open(link_b),
        // What is wire B on its far side is now in A's cavity, and the other way round.
        Change::Joined(ends_a[side_a], ends_b[1 - side_b], own_b),
        Change::Joined(ends_b[side_b], ends_a[1 - side_a], own_a),
    ]
}
