//! Which plugs a plan takes off, and how switches are moved together.

use std::collections::BTreeSet;

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

/// Setups that bring every switch into every position that is not its rest and closes something. Switches
/// are moved together where no closed contact then lies beside another way of little resistance, so that
/// each contact is still read alone.
///
/// Cost: for each setup, near-linear in links and switches.
pub(super) fn switch_setups(harness: &Harness, netlist: &Netlist, parted: &BTreeSet<MatingId>) -> Vec<Setup> {
    let mut left: Vec<(PartId, usize)> = Vec::new();
    for (switch, positions, rest) in switches(harness) {
        let PartKind::Switch { positions: named, .. } = &harness.parts[switch].kind else { continue };
        let away = (0..positions).filter(|at| *at != rest && named[*at].closed != named[rest].closed);
        left.extend(away.filter(|at| !named[*at].closed.is_empty()).map(|at| (switch, at)));
    }
    let mut setups = Vec::new();
    while !left.is_empty() {
        let (taken, later) = together(harness, netlist, parted, &left);
        let setup =
            taken.iter().fold(with_parted(parted), |setup, (switch, at)| setup.set(harness, *switch, *at));
        setups.push(setup.into());
        left = later;
    }
    setups
}

type Moves = Vec<(PartId, usize)>;

/// Splits moves into those that can be made together and the rest. The first is always taken.
fn together(
    harness: &Harness,
    netlist: &Netlist,
    parted: &BTreeSet<MatingId>,
    moves: &[(PartId, usize)],
) -> (Moves, Moves) {
    let setup: Setup = with_parted(parted).into();
    let moved: BTreeSet<PartId> = moves.iter().map(|(switch, _)| *switch).collect();
    let low = |link| match netlist.link(link) {
        Link::Part(part, PartWay::Switch(_)) if moved.contains(&part) => false,
        Link::Part(part, PartWay::Through) if matches!(harness.parts[part].kind, PartKind::Load { .. }) => {
            false
        }
        Link::Part(_, PartWay::Coil) => false,
        _ => setup.passes_ohmmeter(netlist, harness, link),
    };
    let groups = netlist.groups(low);
    let mut joined = petgraph::unionfind::UnionFind::<u32>::new(groups.len());
    let (mut taken, mut later): (Moves, Moves) = (Vec::new(), Vec::new());
    for (switch, at) in moves.iter().copied() {
        let PartKind::Switch { positions, .. } = &harness.parts[switch].kind else { continue };
        let pairs: Vec<[u32; 2]> = positions[at]
            .closed
            .iter()
            .map(|pair| pair.map(|p| group_of(harness, &groups, p) as u32))
            .collect();
        let alone = pairs.iter().all(|[a, b]| !joined.equiv(*a, *b));
        if taken.is_empty() || (alone && taken.iter().all(|(other, _)| *other != switch)) {
            taken.push((switch, at));
            for [a, b] in pairs {
                joined.union(a, b);
            }
        } else {
            later.push((switch, at));
        }
    }
    (taken, later)
}
