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
    /// Under one shield, or twisted round each other, all the way.
    Lay,
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
    let mut marked: BTreeMap<&String, BTreeSet<WireId>> = BTreeMap::new();
    for (id, wire) in harness.wires.iter() {
        for mark in wire.twisted.iter().chain(&wire.shield) {
            marked.entry(mark).or_default().insert(id);
        }
    }
    for wires in marked.into_values().filter(|wires| wires.len() <= NAMED_IN_TRUNK) {
        each_pair(&wires.into_iter().collect::<Vec<_>>(), |a, b| note(a, b, TouchBy::Lay));
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
        each_pair(&wires, |a, b| note(a, b, TouchBy::Trunk(trunk)));
    }
    Touching { pairs: pairs.into_iter().map(|((a, b), by)| (a, b, by)).collect(), crowded }
}

fn each_pair(wires: &[WireId], mut note: impl FnMut(WireId, WireId)) {
    for (at, a) in wires.iter().enumerate() {
        for b in &wires[at + 1..] {
            note(*a, *b);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::definition::load;

    #[test]
    fn twisted_and_shielded_wires_can_touch() {
        let wire = |id: &str, at: usize, more: &str| {
            format!("[[wire]]\nid = \"{id}\"\nfrom = \"X1.{at}\"\nto = \"X2.{at}\"\n{more}\n")
        };
        let text = [
            "format = 1\n[harness]\nid = \"L\"\nrevision = \"A\"\n[connector.X1]\ncontacts = 5\n[connector.X2]\ncontacts = 5\n"
                .to_owned(),
            wire("1", 1, "twisted = \"TP1\""),
            wire("2", 2, "twisted = \"TP1\""),
            wire("3", 3, "shield = \"SH1\""),
            wire("4", 4, "shield = \"SH1\""),
            wire("5", 5, ""),
        ];
        let loaded = load("lead.toml", text.concat(), None, &mut |_| Err(String::new())).unwrap();
        let pairs = touching(&loaded.harness).pairs;
        let named = pairs.iter().map(|(a, b, by)| {
            let [a, b] = [*a, *b].map(|id| loaded.harness.wires[id].id.as_str());
            (a, b, *by)
        });
        assert_eq!(named.collect::<Vec<_>>(), [("1", "2", TouchBy::Lay), ("3", "4", TouchBy::Lay)]);
    }
}
