//! Which plugs a plan takes off, and how switches are moved together.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use petgraph::unionfind::UnionFind;

use super::{Scope, with_parted};
use crate::definition::{Harness, MatingId, PartId, PartKind, Point, WireId};
use crate::fault::touching;
use crate::netlist::{Link, Netlist, Nets, PartWay};
use crate::setup::{Setup, plug_of, switches};

/// The matings that are parted for the paths: those asked for; for a circuit those that it passes and
/// those that join a unit to a wire beside it; else all.
pub(super) fn parted(harness: &Harness, netlist: &Netlist, scope: &Scope) -> BTreeSet<MatingId> {
    match &scope.circuit {
        _ if !scope.unplug.is_empty() => scope.unplug.iter().copied().collect(),
        Some(circuit) => of_circuit(harness, netlist, circuit),
        None => harness.matings.ids().collect(),
    }
}

fn of_circuit(harness: &Harness, netlist: &Netlist, circuit: &str) -> BTreeSet<MatingId> {
    let mine = |wire: WireId| harness.wires[wire].circuit.as_deref() == Some(circuit);
    let wires = harness.wires.ids().filter(|wire| mine(*wire));
    let ends = wires.flat_map(|wire| harness.wires[wire].ends);
    let mut parted: BTreeSet<MatingId> = ends.filter_map(|point| mating_at(harness, point)).collect();
    let setup: Setup = with_parted(&parted).into();
    let groups = netlist.groups(|link| setup.passes_ohmmeter(netlist, harness, link));
    let chassis = groups.of(netlist.chassis());
    let beside: BTreeSet<_> = touching(harness)
        .pairs
        .into_iter()
        .filter(|(a, b, _)| mine(*a) || mine(*b))
        .flat_map(|(a, b, _)| [a, b])
        .map(|wire| group_of(harness, &groups, harness.wires[wire].ends[0]))
        .filter(|group| *group != chassis)
        .collect();
    let units = harness.points().filter(|point| harness.unit_behind(*point).is_some());
    let tested = units.filter(|point| beside.contains(&group_of(harness, &groups, *point)));
    parted.extend(tested.filter_map(|point| mating_at(harness, point)));
    parted
}

fn group_of(harness: &Harness, groups: &Nets, point: Point) -> usize {
    groups.of(harness.point_index(point))
}

fn mating_at(harness: &Harness, point: Point) -> Option<MatingId> {
    let Point::Contact(id) = point else { return None };
    harness.connectors[harness.contacts[id].connector].mating
}

/// Of the parted matings, those that lead into units.
pub(super) fn of_units(harness: &Harness, parted: &BTreeSet<MatingId>) -> BTreeSet<MatingId> {
    let into_unit = |mating: &MatingId| {
        let mate = harness.mate_of(plug_of(harness, *mating));
        mate.is_some_and(|m| harness.unit_behind(Point::Contact(harness.connectors[m].first)).is_some())
    };
    parted.iter().copied().filter(into_unit).collect()
}

/// Setups that close switch contacts, and how few could do.
pub(super) struct SwitchSetups {
    pub setups: Vec<Setup>,
    pub fewest: usize,
}

/// A position of a switch that is to be read.
#[derive(Debug, Clone)]
struct Position {
    switch: PartId,
    at: usize,
    /// The ends of the contacts that are read in it, as groups of what little resistance joins.
    read: Vec<[u32; 2]>,
    /// The ends of what it closes beside them.
    beside: Vec<[u32; 2]>,
}

/// Setups that bring every switch into every position that closes a contact which can be read. Switches are
/// moved together where no closed contact then lies beside another way of little resistance, so that each
/// contact is still read alone.
///
/// A cover of the positions by setups: each position goes into the first setup that takes it, the switches
/// with most positions first. No fewer setups can do than one switch has positions, nor than contacts there
/// are for each that a setup can close without a ring.
///
/// Cost: for each position and setup, near-linear in switches.
pub(super) fn switch_setups(
    harness: &Harness,
    netlist: &Netlist,
    parted: &BTreeSet<MatingId>,
    readable: &BTreeSet<(PartId, u32)>,
) -> SwitchSetups {
    let contacts = Contacts::new(harness, netlist, parted);
    let mut positions = contacts.positions(readable);
    let of_switch = |switch: PartId| positions.iter().filter(|p| p.switch == switch).count();
    let many: BTreeMap<PartId, usize> = positions.iter().map(|p| (p.switch, of_switch(p.switch))).collect();
    let fewest = contacts.fewest(&positions, &many);
    positions.sort_by_key(|position| Reverse(many[&position.switch]));
    let mut setups: Vec<Vec<Position>> = Vec::new();
    for position in positions {
        let takes = |setup: &&mut Vec<Position>| contacts.alone(setup, &position);
        match setups.iter_mut().find(takes) {
            Some(setup) => setup.push(position),
            None => setups.push(vec![position]),
        }
    }
    let setup = |positions: &Vec<Position>| {
        let moves = positions.iter().map(|position| (position.switch, position.at));
        moves.fold(with_parted(parted), |setup, (switch, at)| setup.set(harness, switch, at)).into()
    };
    SwitchSetups { setups: setups.iter().map(setup).collect(), fewest }
}

/// What switch contacts join, in a setup with plugs off.
struct Contacts<'a> {
    harness: &'a Harness,
    netlist: &'a Netlist,
    /// What little resistance joins with every switch taken out.
    groups: Nets,
    /// What each switch closes at rest.
    at_rest: BTreeMap<PartId, Vec<[u32; 2]>>,
    /// Each contact of each switch: its ends.
    pairs: BTreeMap<(PartId, u32), [u32; 2]>,
}

impl<'a> Contacts<'a> {
    fn new(harness: &'a Harness, netlist: &'a Netlist, parted: &BTreeSet<MatingId>) -> Self {
        let setup: Setup = with_parted(parted).into();
        let low = |link| match netlist.link(link) {
            Link::Part(part, PartWay::Through) => !matches!(harness.parts[part].kind, PartKind::Load { .. }),
            Link::Part(_, PartWay::Switch(_) | PartWay::Coil) => false,
            _ => setup.passes_ohmmeter(netlist, harness, link),
        };
        let groups = netlist.groups(low);
        let mut pairs = BTreeMap::new();
        for link in netlist.links() {
            if let Link::Part(switch, PartWay::Switch(pair)) = netlist.link(link) {
                let ends = netlist.ends(link).map(|node| groups.of(node) as u32);
                pairs.insert((switch, pair), ends);
            }
        }
        let mut contacts = Self { harness, netlist, groups, at_rest: BTreeMap::new(), pairs };
        contacts.at_rest =
            switches(harness).map(|(switch, _, rest)| (switch, contacts.closed(switch, rest))).collect();
        contacts
    }

    /// What a switch closes in a position.
    fn closed(&self, switch: PartId, at: usize) -> Vec<[u32; 2]> {
        let own = self.pairs.range((switch, 0)..=(switch, u32::MAX));
        own.filter(|((_, pair), _)| self.netlist.closed_in(switch, *pair).contains(&at))
            .map(|(_, ends)| *ends)
            .collect()
    }

    /// Every position away from rest in which a contact is read that rest does not close.
    fn positions(&self, readable: &BTreeSet<(PartId, u32)>) -> Vec<Position> {
        let mut all = Vec::new();
        for (switch, count, rest) in switches(self.harness) {
            for at in (0..count).filter(|at| *at != rest) {
                let (mut read, mut beside) = (Vec::new(), Vec::new());
                for ((_, pair), ends) in self.pairs.range((switch, 0)..=(switch, u32::MAX)) {
                    let closed = self.netlist.closed_in(switch, *pair);
                    if closed.contains(&at) {
                        let new = !closed.contains(&rest) && readable.contains(&(switch, *pair));
                        if new { read.push(*ends) } else { beside.push(*ends) }
                    }
                }
                if !read.is_empty() {
                    all.push(self.own_ring_aside(Position { switch, at, read, beside }));
                }
            }
        }
        all
    }

    /// Contacts that are not alone even if no other switch is moved are not asked to be.
    fn own_ring_aside(&self, mut position: Position) -> Position {
        let Position { switch, at, read, beside } = position.clone();
        let is_alone = |which: &usize| {
            let others = read.iter().enumerate().filter(|(other, _)| other != which).map(|(_, ends)| *ends);
            let beside = others.chain(beside.iter().copied()).collect();
            self.rings_free(&[&Position { switch, at, read: vec![read[*which]], beside }])
        };
        let (alone, aside): (Vec<usize>, Vec<usize>) = (0..read.len()).partition(is_alone);
        position.beside.extend(aside.into_iter().map(|which| read[which]));
        position.read = alone.into_iter().map(|which| read[which]).collect();
        position
    }

    /// Whether a position can be added to a setup so that each contact in it is still read alone.
    fn alone(&self, setup: &[Position], position: &Position) -> bool {
        let together: Vec<&Position> = setup.iter().chain([position]).collect();
        setup.iter().all(|other| other.switch != position.switch) && self.rings_free(&together)
    }

    /// Whether the contacts that are read close no ring with each other and with all that is closed beside them.
    fn rings_free(&self, together: &[&Position]) -> bool {
        let mut joined = UnionFind::<u32>::new(self.groups.len());
        let moved = |switch: &PartId| together.iter().any(|position| position.switch == *switch);
        let resting = self.at_rest.iter().filter(|(switch, _)| !moved(switch)).flat_map(|(_, closed)| closed);
        for [a, b] in resting.chain(together.iter().flat_map(|position| &position.beside)) {
            joined.union(*a, *b);
        }
        together.iter().flat_map(|position| &position.read).all(|[a, b]| joined.union(*a, *b))
    }

    /// No fewer setups than positions of one switch; than contacts between the same two groups; than contacts in
    /// all for each that fits into a setup without a ring (Nash-Williams's count of forests, for the whole).
    fn fewest(&self, positions: &[Position], many: &BTreeMap<PartId, usize>) -> usize {
        let of_switch = many.values().copied().max().unwrap_or(0);
        let mut beside_each_other: BTreeMap<[u32; 2], usize> = BTreeMap::new();
        let mut joined = UnionFind::<u32>::new(self.groups.len());
        let (mut contacts, mut fit) = (0, 0);
        for [a, b] in positions.iter().flat_map(|position| &position.read) {
            *beside_each_other.entry([*a.min(b), *a.max(b)]).or_default() += 1;
            contacts += 1;
            fit += usize::from(joined.union(*a, *b));
        }
        let parallel = beside_each_other.into_values().max().unwrap_or(0);
        let forests = if fit == 0 { 0 } else { usize::div_ceil(contacts, fit) };
        of_switch.max(parallel).max(forests)
    }
}
