//! Wires, trunks, and the way a wire takes through them.

use std::cmp::{Ordering, Reverse};
use std::collections::{BinaryHeap, HashMap};

use super::{Resolver, value};
use crate::definition::colour::Colour;
use crate::definition::diagnostic::At;
use crate::definition::model::{Harness, Named, Point, Trunk, TrunkId, Wire};
use crate::definition::schema::{Draft, RawWire};
use crate::definition::wire_id;
use crate::units::Metres;

impl<'a> Resolver<'a> {
    pub(super) fn trunks(&mut self, draft: &'a Draft) {
        let mut seen = HashMap::new();
        for (id, raw) in &draft.trunks {
            if !self.fresh(id, "trunk") {
                continue;
            }
            let Some(between) = &raw.between else {
                if !raw.has_ends {
                    let message = format!("trunk {} needs `between`", id.value);
                    let help = "name its two ends: between = [\"cab\", \"bulkhead\"]".to_owned();
                    self.error("missing-key", id.place, message, Some(help));
                }
                continue;
            };
            let between = between.value.each_ref().map(|end| end.value.clone());
            let length = value(raw.length.as_ref());
            let key = self.harness.trunks.push(Trunk { id: id.value.clone(), between, length });
            seen.insert(id.value.clone(), key);
        }
        self.trunk_ids = seen;
    }

    pub(super) fn wires(&mut self, draft: &'a Draft) {
        let mut bundle = Bundle::new(&self.harness);
        for raw in &draft.wires {
            self.wire(raw, &mut bundle);
        }
    }

    fn wire(&mut self, raw: &'a RawWire, bundle: &mut Bundle) {
        let end = |slot: &Option<At<String>>| slot.as_ref().and_then(|name| self.point(name));
        let (from, to) = (end(&raw.from), end(&raw.to));
        let colour = raw.colour.as_ref().and_then(|text| self.colour(text));
        let route = raw.route.as_ref().map(|list| self.route(&list.value));
        let Some(id) = &raw.id else { return };
        if !self.claim(id) {
            return;
        }
        let (Some(from), Some(to)) = (from, to) else { return };
        if from == to {
            let message = format!("wire {} starts and ends at {}", id.value, self.harness.point_name(from));
            self.error("self-loop", id.place, message, Some("give it two different ends".to_owned()));
            return;
        }
        let text = |slot: &Option<At<String>>| slot.as_ref().map(|at| at.value.clone());
        let wire = Wire {
            id: id.value.clone(),
            ends: [from, to],
            gauge: value(raw.gauge.as_ref()),
            colour,
            length: value(raw.length.as_ref()),
            route: route.unwrap_or_else(|| bundle.way(&self.harness, from, to)),
            circuit: text(&raw.circuit).or_else(|| wire_id::circuit_of(&id.value)),
            twisted: text(&raw.twisted),
            shield: text(&raw.shield),
            hazard: text(&raw.hazard),
            ampacity: value(raw.ampacity.as_ref()),
            rated: value(raw.rated.as_ref()),
            place: id.place,
        };
        let key = self.harness.wires.push(wire);
        self.harness.names.things.insert(id.value.clone(), Named::Wire(key));
    }

    fn colour(&self, text: &At<String>) -> Option<Colour> {
        match Colour::parse(&text.value) {
            Ok(colour) => Some(colour),
            Err(error) => {
                self.error("colour", text.place, error.to_string(), Some(error.suggest().to_owned()));
                None
            }
        }
    }

    fn route(&self, names: &[At<String>]) -> Vec<TrunkId> {
        let found = names.iter().filter_map(|name| {
            let trunk = self.trunk_ids.get(&name.value).copied();
            if trunk.is_none() {
                let known = self.harness.trunks.values().map(|t| t.id.as_str());
                let help = self.suggest(&name.value, known, "trunk");
                self.error(
                    "unknown-name",
                    name.place,
                    format!("no trunk is called `{}`", name.value),
                    Some(help),
                );
            }
            trunk
        });
        found.collect()
    }
}

/// The trunks as a graph of places, with the ways already found.
struct Bundle {
    /// The trunks at each place: the place at the other end, the trunk, its length.
    places: Vec<Vec<(usize, TrunkId, f64)>>,
    nodes: HashMap<String, usize>,
    /// By where it starts: the last trunk of the shortest way to each place, and the place before it.
    found: HashMap<usize, Vec<Option<(usize, TrunkId)>>>,
}

/// Ways are kept up to so many places in all; beyond, they are searched anew.
const KEPT: usize = 10_000_000;

impl Bundle {
    fn new(harness: &Harness) -> Self {
        let mut bundle = Self { places: Vec::new(), nodes: HashMap::new(), found: HashMap::new() };
        for (id, trunk) in harness.trunks.iter() {
            let [a, b] = trunk.between.each_ref().map(|name| bundle.place(name));
            // A trunk of unknown length counts as one metre, so that fewer trunks win.
            let length = trunk.length.map_or(1.0, Metres::get);
            bundle.places[a].push((b, id, length));
            bundle.places[b].push((a, id, length));
        }
        bundle
    }

    fn place(&mut self, name: &str) -> usize {
        let next = self.places.len();
        let at = *self.nodes.entry(name.to_owned()).or_insert(next);
        if at == next {
            self.places.push(Vec::new());
        }
        at
    }

    /// The shortest way between two points; empty where the trunks do not join them.
    fn way(&mut self, harness: &Harness, from: Point, to: Point) -> Vec<TrunkId> {
        let (Some(from), Some(to)) = (self.node(harness, from), self.node(harness, to)) else {
            return Vec::new();
        };
        if self.found.len() * self.places.len() > KEPT {
            self.found.clear();
        }
        let places = &self.places;
        let before = self.found.entry(from).or_insert_with(|| shortest(places, from));
        let mut way = Vec::new();
        let mut at = to;
        while let Some((previous, trunk)) = before[at] {
            way.push(trunk);
            at = previous;
        }
        way.reverse();
        way
    }

    /// A point lies where a trunk names it, or else where a trunk names its station.
    fn node(&self, harness: &Harness, point: Point) -> Option<usize> {
        if self.nodes.is_empty() {
            return None;
        }
        let own = match point {
            Point::Contact(id) => &harness.connectors[harness.contacts[id].connector].id,
            Point::Splice(id) => &harness.splices[id].id,
            Point::Terminal(id) => &harness.terminals[id].id,
            Point::Chassis => return None,
        };
        let station = || harness.station_of(point).map(|s| harness.stations[s].id.as_str());
        self.nodes.get(own).or_else(|| self.nodes.get(station()?)).copied()
    }
}

/// The shortest ways from one place to all (Dijkstra 1959); of ways of one length, the one that reaches
/// its places by the trunks written first. Cost: trunks times the logarithm of places.
fn shortest(places: &[Vec<(usize, TrunkId, f64)>], from: usize) -> Vec<Option<(usize, TrunkId)>> {
    let mut before = vec![None; places.len()];
    let mut length = vec![f64::INFINITY; places.len()];
    length[from] = 0.0;
    let mut next = BinaryHeap::from([Reverse((Length(0.0), from))]);
    while let Some(Reverse((Length(so_far), at))) = next.pop() {
        if so_far > length[at] {
            continue;
        }
        for &(other, trunk, more) in &places[at] {
            if so_far + more < length[other] {
                length[other] = so_far + more;
                before[other] = Some((at, trunk));
                next.push(Reverse((Length(so_far + more), other)));
            }
        }
    }
    before
}

/// A length that can be ordered: it is never NaN, because quantities are finite.
#[derive(Clone, Copy, PartialEq)]
struct Length(f64);

impl Eq for Length {}

impl Ord for Length {
    fn cmp(&self, other: &Self) -> Ordering {
        self.0.total_cmp(&other.0)
    }
}

impl PartialOrd for Length {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::definition::model::Id;

    #[test]
    fn the_shortest_way_wins_and_of_two_alike_the_first() {
        let trunk = TrunkId::from_index;
        // 0 to 1 by two trunks of one length, on to 2; a longer trunk straight from 0 to 2; 3 stands alone.
        let ends = [(0, 1, 2.0), (0, 1, 2.0), (1, 2, 1.0), (0, 2, 4.0), (3, 3, 1.0)];
        let mut places = vec![Vec::new(); 4];
        for (at, (a, b, length)) in ends.into_iter().enumerate() {
            places[a].push((b, trunk(at), length));
            places[b].push((a, trunk(at), length));
        }
        assert_eq!(shortest(&places, 0), [None, Some((0, trunk(0))), Some((1, trunk(2))), None]);
        assert_eq!(shortest(&places, 3), [None; 4]);
    }
}
