//! Wires, trunks, and the way a wire takes through them.

use std::collections::HashMap;

use petgraph::Undirected;
use petgraph::algo::astar;
use petgraph::graph::{Graph, NodeIndex};

use super::{Resolver, suggest, value};
use crate::definition::colour::Colour;
use crate::definition::diagnostic::{At, Diagnostic};
use crate::definition::model::{Harness, Id, Named, Point, Trunk, TrunkId, Wire};
use crate::definition::schema::{Draft, RawWire};
use crate::definition::wire_id;

/// After so many errors wires are no longer resolved: the first ones explain the rest.
const ENOUGH: usize = 500;

impl<'a> Resolver<'a> {
    pub(super) fn trunks(&mut self, draft: &'a Draft) {
        let mut seen = HashMap::new();
        for (id, raw) in &draft.trunks {
            if !self.fresh(&seen, id, "trunk") {
                continue;
            }
            let Some(between) = &raw.between else {
                self.error(
                    "missing-key",
                    id.place,
                    format!("trunk {} needs `between` (its two ends)", id.value),
                    None,
                );
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
            if self.sink.errors() >= ENOUGH {
                let message = "there are more errors; mend these first, the rest is not shown";
                self.sink.push(Diagnostic::error("too-many", raw.place, message));
                return;
            }
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
                let help = suggest(&name.value, known, "define it as [trunk.NAME]");
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
    graph: Graph<(), (TrunkId, f64), Undirected>,
    nodes: HashMap<String, NodeIndex>,
    found: HashMap<(NodeIndex, NodeIndex), Vec<TrunkId>>,
}

impl Bundle {
    fn new(harness: &Harness) -> Self {
        let mut graph = Graph::new_undirected();
        let mut nodes: HashMap<String, NodeIndex> = HashMap::new();
        for (id, trunk) in harness.trunks.iter() {
            let [a, b] = trunk
                .between
                .each_ref()
                .map(|name| *nodes.entry(name.clone()).or_insert_with(|| graph.add_node(())));
            // A trunk of unknown length counts as one metre, so that fewer trunks win.
            let length = trunk.length.map_or(1.0, crate::units::Metres::get);
            graph.add_edge(a, b, (id, length));
        }
        Self { graph, nodes, found: HashMap::new() }
    }

    /// The shortest way between two points; empty where the trunks do not join them.
    fn way(&mut self, harness: &Harness, from: Point, to: Point) -> Vec<TrunkId> {
        let (Some(from), Some(to)) = (self.node(harness, from), self.node(harness, to)) else {
            return Vec::new();
        };
        if from == to {
            return Vec::new();
        }
        if let Some(way) = self.found.get(&(from, to)) {
            return way.clone();
        }
        let way = self.shortest(from, to);
        self.found.insert((from, to), way.clone());
        way
    }

    /// A point lies where a trunk names it, or else where a trunk names its station.
    fn node(&self, harness: &Harness, point: Point) -> Option<NodeIndex> {
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

    fn shortest(&self, from: NodeIndex, to: NodeIndex) -> Vec<TrunkId> {
        let path = astar(&self.graph, from, |n| n == to, |e| e.weight().1, |_| 0.0);
        let Some((_, path)) = path else { return Vec::new() };
        let leg = |pair: &[NodeIndex]| {
            let edges = self.graph.edges_connecting(pair[0], pair[1]);
            let best = edges.min_by(|a, b| {
                a.weight().1.total_cmp(&b.weight().1).then(a.weight().0.index().cmp(&b.weight().0.index()))
            });
            best.map(|e| e.weight().0)
        };
        path.windows(2).filter_map(leg).collect()
    }
}
