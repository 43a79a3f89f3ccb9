//! Which conductors can touch each other.

use std::collections::{BTreeMap, BTreeSet};

use crate::definition::{ConnectorId, Harness, Point, TrunkId, WireId};

/// In a trunk with more wires than this, pairs are no longer named: every wire can touch every other,
/// and naming half a million pairs helps nobody.
const NAMED_IN_TRUNK: usize = 40;

/// Where two wires can touch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum TouchBy {
    /// In neighbouring cavities of a connector.
    Connector(ConnectorId),
    /// In a trunk they share.
    Trunk(TrunkId),
}

/// The pairs of wires that can touch.
#[derive(Debug, Clone, Default)]
pub struct Touching {
    /// Each pair once, the wire defined first first; a connector counts before a trunk.
    pub pairs: Vec<(WireId, WireId, TouchBy)>,
    /// Trunks with too many wires to name pairs.
    pub crowded: Vec<TrunkId>,
}

/// Lists the pairs of wires that can touch. Cost: neighbouring cavities, and the square of the wires in
/// each trunk that is not crowded.
pub fn touching(harness: &Harness) -> Touching {
    let mut pairs: BTreeMap<(WireId, WireId), TouchBy> = BTreeMap::new();
    let mut note = |a: WireId, b: WireId, by: TouchBy| {
        if a != b {
            pairs.entry((a.min(b), a.max(b))).or_insert(by);
        }
    };
    let neighbours: Vec<Vec<(usize, usize)>> =
        harness.faces.iter().map(crate::definition::face::Face::neighbours).collect();
    for (id, connector) in harness.connectors.iter() {
        let Some(face) = connector.face else { continue };
        let contacts: Vec<_> = harness.contacts_of(id).collect();
        for (a, b) in &neighbours[face] {
            for wire in harness.wires_at(Point::Contact(contacts[*a])) {
                for other in harness.wires_at(Point::Contact(contacts[*b])) {
                    note(wire, other, TouchBy::Connector(id));
                }
            }
        }
    }
    let mut in_trunk: BTreeMap<TrunkId, BTreeSet<WireId>> = BTreeMap::new();
    for (id, wire) in harness.wires.iter() {
        for trunk in &wire.route {
            in_trunk.entry(*trunk).or_default().insert(id);
        }
    }
    let mut crowded = Vec::new();
    for (trunk, wires) in in_trunk {
        if wires.len() > NAMED_IN_TRUNK {
            crowded.push(trunk);
            continue;
        }
        let wires: Vec<WireId> = wires.into_iter().collect();
        for (at, a) in wires.iter().enumerate() {
            for b in &wires[at + 1..] {
                note(*a, *b, TouchBy::Trunk(trunk));
            }
        }
    }
    Touching { pairs: pairs.into_iter().map(|((a, b), by)| (a, b, by)).collect(), crowded }
}
