//! One number for each thing, whichever revision names it.
//!
//! Comes in: a matching. Goes out: keys of points, which are equal where the points are the same, and the partner of every
//! other thing. Why: a wire, a net or a part is compared by what it joins, not by what that is called.

use std::collections::BTreeMap;

use super::graph::{Graph, Node};
use super::matching::{Matching, matching};
use super::wires::{Wires, wires};
use crate::definition::{
    ConditionId, ConnectorId, Harness, Id, Named, PartId, Point, StationId, Table, TrunkId, WireId,
};

/// A point of either revision, the same number where it is the same point.
pub(super) type Key = u32;

/// Two revisions with all that is matched between them. Side 0 is the old one.
pub(super) struct Both<'a> {
    pub(super) harness: [&'a Harness; 2],
    points: [Vec<Key>; 2],
    /// The point of each key in either revision.
    places: Vec<[Option<Point>; 2]>,
    connectors: [Vec<Option<ConnectorId>>; 2],
    parts: [Vec<Option<PartId>>; 2],
    stations: BTreeMap<StationId, StationId>,
    conditions: BTreeMap<ConditionId, ConditionId>,
    trunks: BTreeMap<TrunkId, TrunkId>,
    pub(super) wires: Wires,
    olds: Vec<Option<WireId>>,
}

impl<'a> Both<'a> {
    /// Matches two revisions.
    pub(super) fn new(harness: [&'a Harness; 2]) -> Self {
        let [old, new] = harness.map(Graph::new);
        let matching = matching([&old, &new]);
        let (points, places) = keys(harness, &matching);
        let first = harness.map(Harness::point_count);
        let connectors = partners(&matching, first, harness.map(|h| h.connectors.len()));
        let first = harness.map(|h| h.point_count() + h.connectors.len());
        let parts = partners(&matching, first, harness.map(|h| h.parts.len()));
        let mut both = Self {
            harness,
            points,
            places,
            connectors,
            parts,
            stations: BTreeMap::new(),
            conditions: BTreeMap::new(),
            trunks: BTreeMap::new(),
            wires: Wires::default(),
            olds: vec![None; harness[1].wires.len()],
        };
        let [old, new] = harness;
        both.stations = same([&old.stations, &new.stations], |s| s.id.clone(), |_, s| s.title.clone());
        both.conditions = same([&old.conditions, &new.conditions], |c| c.id.clone(), |_, c| c.title.clone());
        let between = |side: usize, trunk: &crate::definition::Trunk| {
            let mut ends = trunk.between.clone().map(|end| both.place_name(side, &end));
            ends.sort();
            (ends, trunk.length.map(|length| length.to_string()))
        };
        both.trunks = same([&old.trunks, &new.trunks], |t| t.id.clone(), between);
        both.wires = wires(&both);
        for [old, new] in &both.wires.pairs {
            both.olds[new.index()] = Some(*old);
        }
        both
    }

    /// The key of a point.
    pub(super) fn key(&self, side: usize, point: Point) -> Key {
        self.points[side][self.harness[side].point_index(point)]
    }

    /// The point of a key in a revision, where it has one.
    pub(super) fn place(&self, side: usize, key: Key) -> Option<Point> {
        self.places[key as usize][side]
    }

    /// All keys in order.
    pub(super) fn keys(&self) -> impl Iterator<Item = Key> + use<> {
        0..self.places.len() as Key
    }

    /// The same point in the other revision.
    pub(super) fn other(&self, side: usize, point: Point) -> Option<Point> {
        self.place(1 - side, self.key(side, point))
    }

    /// Whether an old point has the name that a new one has.
    pub(super) fn named_alike(&self, old: Point, new: Point) -> bool {
        let [olds, news] = self.harness;
        match (old, new) {
            (Point::Contact(a), Point::Contact(b)) => {
                let (a, b) = (&olds.contacts[a], &news.contacts[b]);
                a.name == b.name && olds.connectors[a.connector].id == news.connectors[b.connector].id
            }
            (Point::Splice(a), Point::Splice(b)) => olds.splices[a].id == news.splices[b].id,
            (Point::Terminal(a), Point::Terminal(b)) => olds.terminals[a].id == news.terminals[b].id,
            (Point::Chassis, Point::Chassis) => true,
            _ => false,
        }
    }

    /// The same connector in the other revision.
    pub(super) fn connector(&self, side: usize, id: ConnectorId) -> Option<ConnectorId> {
        self.connectors[side][id.index()]
    }

    /// The same part in the other revision.
    pub(super) fn part(&self, side: usize, id: PartId) -> Option<PartId> {
        self.parts[side][id.index()]
    }

    /// The new station that an old one is.
    pub(super) fn station(&self, old: StationId) -> Option<StationId> {
        self.stations.get(&old).copied()
    }

    /// The new condition that an old one is.
    pub(super) fn condition(&self, old: ConditionId) -> Option<ConditionId> {
        self.conditions.get(&old).copied()
    }

    /// The new trunk that an old one is.
    pub(super) fn trunk(&self, old: TrunkId) -> Option<TrunkId> {
        self.trunks.get(&old).copied()
    }

    /// The new wire that an old one is.
    pub(super) fn wire(&self, old: WireId) -> Option<WireId> {
        let at = self.wires.pairs.binary_search_by_key(&old, |pair| pair[0]).ok()?;
        Some(self.wires.pairs[at][1])
    }

    /// The old wire that a new one is.
    pub(super) fn old_wire(&self, new: WireId) -> Option<WireId> {
        self.olds[new.index()]
    }

    /// The name of a place of a trunk as the new revision has it, so that a renamed end is the same end.
    pub(super) fn place_name(&self, side: usize, name: &str) -> String {
        let harness = self.harness[side];
        if side == 1 {
            return name.to_owned();
        }
        let new = self.harness[1];
        let point = match harness.names.get(name) {
            Some(Named::Connector(id)) => {
                let partner = self.connector(0, id).map(|id| new.connectors[id].id.clone());
                return partner.unwrap_or_else(|| name.to_owned());
            }
            Some(Named::Splice(id)) => Some(Point::Splice(id)),
            Some(Named::Terminal(id)) => Some(Point::Terminal(id)),
            _ => None,
        };
        if let Some(point) = point {
            return self.other(0, point).map_or_else(|| name.to_owned(), |point| new.point_name(point));
        }
        let station = harness.stations.iter().find(|(_, station)| station.id == name);
        let partner = station.and_then(|(id, _)| self.station(id)).map(|id| new.stations[id].id.clone());
        partner.unwrap_or_else(|| name.to_owned())
    }
}

/// Keys of both revisions' points, and the points of every key.
fn keys(harness: [&Harness; 2], matching: &Matching) -> ([Vec<Key>; 2], Vec<[Option<Point>; 2]>) {
    let mut places: Vec<[Option<Point>; 2]> = harness[0].points().map(|point| [Some(point), None]).collect();
    let olds = (0..places.len() as Key).collect();
    let mut news = Vec::with_capacity(harness[1].point_count());
    for (at, point) in harness[1].points().enumerate() {
        if let Some(key) = matching.of(1, at as Node) {
            places[key as usize][1] = Some(point);
            news.push(key);
        } else {
            news.push(places.len() as Key);
            places.push([None, Some(point)]);
        }
    }
    ([olds, news], places)
}

/// The partners of a range of nodes, as indices of their own kind.
fn partners<I: Id>(matching: &Matching, first: [usize; 2], count: [usize; 2]) -> [Vec<Option<I>>; 2] {
    [0, 1].map(|side| {
        let partner = |at: usize| {
            let other = matching.of(side, (first[side] + at) as Node)? as usize;
            Some(I::from_index(other - first[1 - side]))
        };
        (0..count[side]).map(partner).collect()
    })
}

/// Pairs the rows of two tables: by id, then by what is said of those that are left, where that is said of one alone.
fn same<I: Id, T, K: Ord>(
    tables: [&Table<I, T>; 2],
    id: impl Fn(&T) -> String,
    said: impl Fn(usize, &T) -> K,
) -> BTreeMap<I, I> {
    let ids: BTreeMap<String, I> = tables[1].iter().map(|(at, row)| (id(row), at)).collect();
    let mut pairs: BTreeMap<I, I> =
        tables[0].iter().filter_map(|(at, row)| Some((at, *ids.get(&id(row))?))).collect();
    let taken: std::collections::BTreeSet<I> = pairs.values().copied().collect();
    let mut left: BTreeMap<K, [Vec<I>; 2]> = BTreeMap::new();
    for (at, row) in tables[0].iter().filter(|(at, _)| !pairs.contains_key(at)) {
        left.entry(said(0, row)).or_default()[0].push(at);
    }
    for (at, row) in tables[1].iter().filter(|(at, _)| !taken.contains(at)) {
        left.entry(said(1, row)).or_default()[1].push(at);
    }
    for [old, new] in left.into_values() {
        if old.len() == new.len() {
            pairs.extend(old.into_iter().zip(new));
        }
    }
    pairs
}
