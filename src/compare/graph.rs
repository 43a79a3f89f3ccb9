//! One revision as a graph that knows no ids.
//!
//! Comes in: a harness. Goes out: its points, connectors and parts as numbered nodes, with what joins them. Why: a thing
//! that has a new id can only be known again by what it joins; so what it joins must be told without ids.

use crate::definition::{ConnectorId, Contact, Harness, Id, PartId, PartKind, Point, StationId, Wire};
use crate::units::Gauge;

/// A node's place in its graph: points first, then connectors, then parts.
pub(super) type Node = u32;

/// What a node stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Thing {
    Point(Point),
    Connector(ConnectorId),
    Part(PartId),
}

/// Something that joins a node to another.
#[derive(Debug, Clone, Copy)]
pub(super) struct Edge {
    pub(super) to: Node,
    /// What kind of joint it is.
    bare: u64,
    /// The same with what the definition says of it beside its ids.
    rich: u64,
}

impl Edge {
    pub(super) fn label(&self, rich: bool) -> u64 {
        if rich { self.rich } else { self.bare }
    }
}

/// The graph of one revision.
pub(super) struct Graph<'a> {
    pub(super) harness: &'a Harness,
    points: Vec<Point>,
    /// Where the edges of each node begin, and where the last ones end.
    first: Vec<u32>,
    edges: Vec<Edge>,
}

/// An edge with the node it starts at, before edges are sorted by it.
type Loose = (Node, Edge);

impl<'a> Graph<'a> {
    /// Cost: linear in points, wires and ways of parts.
    pub(super) fn new(harness: &'a Harness) -> Self {
        let points: Vec<Point> = harness.points().collect();
        let mut graph = Self { harness, points, first: Vec::new(), edges: Vec::new() };
        let mut loose = Vec::new();
        graph.wiring(&mut loose);
        graph.connectors(&mut loose);
        graph.parts(&mut loose);
        graph.sort(&loose);
        graph
    }

    fn wiring(&self, loose: &mut Vec<Loose>) {
        let harness = self.harness;
        for wire in harness.wires.values() {
            let [a, b] = wire.ends.map(|end| self.point(end));
            both(loose, [a, b], text("wire"), wire_hash(wire));
        }
        for terminal in harness.terminals.iter().filter(|(_, terminal)| terminal.ground) {
            let ends = [Point::Terminal(terminal.0), Point::Chassis].map(|end| self.point(end));
            both(loose, ends, text("bond"), text("bond"));
        }
    }

    fn connectors(&self, loose: &mut Vec<Loose>) {
        let harness = self.harness;
        for (id, contact) in harness.contacts.iter() {
            let ends = [self.point(Point::Contact(id)), self.connector(contact.connector)];
            both(loose, ends, text("in"), mix(text("in") ^ text(&contact.name)));
            if let Some(mate) = contact.mate.filter(|mate| id < *mate) {
                let ends = [id, mate].map(|id| self.point(Point::Contact(id)));
                both(loose, ends, text("mated"), text("mated"));
            }
        }
        for (id, connector) in harness.connectors.iter() {
            if let Some(part) = connector.part {
                both(loose, [self.connector(id), self.part(part)], text("on"), text("on"));
            }
        }
    }

    fn parts(&self, loose: &mut Vec<Loose>) {
        for (id, part) in self.harness.parts.iter() {
            for (role, detail, point) in roles(&part.kind) {
                let bare = mix(text("part") ^ text(role));
                both(loose, [self.part(id), self.point(point)], bare, mix(bare ^ text(detail)));
            }
        }
    }

    fn sort(&mut self, loose: &[Loose]) {
        let mut first = vec![0u32; self.len() + 1];
        for (from, _) in loose {
            first[*from as usize + 1] += 1;
        }
        for at in 1..first.len() {
            first[at] += first[at - 1];
        }
        let mut next = first.clone();
        self.edges = vec![Edge { to: 0, bare: 0, rich: 0 }; loose.len()];
        for (from, edge) in loose {
            let place = &mut next[*from as usize];
            self.edges[*place as usize] = *edge;
            *place += 1;
        }
        self.first = first;
    }

    /// How many nodes there are.
    pub(super) fn len(&self) -> usize {
        self.points.len() + self.harness.connectors.len() + self.harness.parts.len()
    }

    /// All nodes in order.
    pub(super) fn nodes(&self) -> impl Iterator<Item = Node> + use<> {
        0..self.len() as u32
    }

    pub(super) fn point(&self, point: Point) -> Node {
        self.harness.point_index(point) as u32
    }

    pub(super) fn connector(&self, id: ConnectorId) -> Node {
        (self.points.len() + id.index()) as u32
    }

    pub(super) fn part(&self, id: PartId) -> Node {
        (self.points.len() + self.harness.connectors.len() + id.index()) as u32
    }

    pub(super) fn thing(&self, node: Node) -> Thing {
        let node = node as usize;
        let (points, connectors) = (self.points.len(), self.harness.connectors.len());
        if node < points {
            Thing::Point(self.points[node])
        } else if node < points + connectors {
            Thing::Connector(ConnectorId::from_index(node - points))
        } else {
            Thing::Part(PartId::from_index(node - points - connectors))
        }
    }

    pub(super) fn edges(&self, node: Node) -> &[Edge] {
        let [from, to] = [node, node + 1].map(|at| self.first[at as usize] as usize);
        &self.edges[from..to]
    }

    /// The id of a node; nothing for contacts and the chassis, which are known by other means.
    pub(super) fn id(&self, node: Node) -> &'a str {
        match self.thing(node) {
            Thing::Point(Point::Splice(id)) => &self.harness.splices[id].id,
            Thing::Point(Point::Terminal(id)) => &self.harness.terminals[id].id,
            Thing::Connector(id) => &self.harness.connectors[id].id,
            Thing::Part(id) => &self.harness.parts[id].id,
            Thing::Point(Point::Contact(_) | Point::Chassis) => "",
        }
    }

    /// A number for the name of a node: its kind and id, a contact by its connector's and its own name.
    pub(super) fn name(&self, node: Node) -> u64 {
        let kind = match self.thing(node) {
            Thing::Point(Point::Contact(id)) => {
                let contact = &self.harness.contacts[id];
                return mix(
                    text(&self.harness.connectors[contact.connector].id) ^ text(&contact.name).rotate_left(7)
                );
            }
            Thing::Point(Point::Chassis) => "chassis",
            Thing::Point(Point::Splice(_)) => "splice",
            Thing::Point(Point::Terminal(_)) => "terminal",
            Thing::Connector(_) => "connector",
            Thing::Part(_) => "part",
        };
        mix(text(kind) ^ text(self.id(node)).rotate_left(7))
    }

    /// What a node is, without its id: its kind alone, or with all that is said of it.
    pub(super) fn kind(&self, node: Node, rich: bool) -> u64 {
        let harness = self.harness;
        let at = |station: Option<StationId>| station.map_or("", |id| harness.stations[id].title.as_str());
        let said = |title: &str, station| mix(text(title) ^ mix(text(at(station))));
        let (kind, said) = match self.thing(node) {
            Thing::Point(Point::Contact(id)) => (text("contact"), contact_hash(&harness.contacts[id])),
            Thing::Point(Point::Splice(id)) => {
                let splice = &harness.splices[id];
                (text("splice"), said(&splice.title, splice.station))
            }
            Thing::Point(Point::Terminal(id)) => {
                let terminal = &harness.terminals[id];
                (text("terminal"), said(&terminal.title, terminal.station))
            }
            Thing::Point(Point::Chassis) => (text("chassis"), 0),
            Thing::Connector(id) => {
                let connector = &harness.connectors[id];
                let kind = mix(text("connector") ^ connector.count as u64);
                (kind, said(&connector.title, connector.station))
            }
            Thing::Part(id) => {
                let part = &harness.parts[id];
                let values = mix(text(&values(&part.kind)));
                (text(part.kind.word()), mix(values ^ said(&part.title, part.station)))
            }
        };
        if rich { mix(kind ^ said) } else { kind }
    }
}

fn both(loose: &mut Vec<Loose>, [a, b]: [Node; 2], bare: u64, rich: u64) {
    loose.push((a, Edge { to: b, bare, rich }));
    loose.push((b, Edge { to: a, bare, rich }));
}

fn contact_hash(contact: &Contact) -> u64 {
    mix(text(&contact.name) ^ mix(text(contact.signal.as_deref().unwrap_or(""))))
}

fn wire_hash(wire: &Wire) -> u64 {
    let gauge = match wire.gauge {
        None => 0,
        Some(Gauge::Metric(area)) => mix(area.get().to_bits()),
        Some(Gauge::Awg(awg)) => {
            mix(text("awg") ^ u64::from(awg.number().unsigned_abs()) ^ u64::from(awg.number() < 0) << 8)
        }
        Some(Gauge::Sae(number)) => mix(text("sae") ^ u64::from(number)),
    };
    let colour = wire.colour.as_ref().map(ToString::to_string).unwrap_or_default();
    let length = wire.length.map_or(0, |length| length.get().to_bits());
    mix(mix(mix(text("wire") ^ gauge) ^ text(&colour)) ^ length)
}

/// The figures of a part, in words.
fn values(kind: &PartKind) -> String {
    match kind {
        PartKind::Battery { volts, internal, .. } | PartKind::Alternator { volts, internal, .. } => {
            format!("{volts:.9} {internal:.9}")
        }
        PartKind::Fuse { rating, .. } => rating.map(|rating| format!("{rating:.9}")).unwrap_or_default(),
        PartKind::Relay { coil_ohms, operate, .. } => format!("{coil_ohms:.9} {operate:.9}"),
        PartKind::Diode { drop, .. } => format!("{drop:.9}"),
        PartKind::Load { ohms, cold_ohms, .. } => {
            let cold = cold_ohms.map(|cold| format!("{cold:.9}")).unwrap_or_default();
            format!("{ohms:.9} {cold}")
        }
        PartKind::Switch { .. } | PartKind::Unit { .. } => String::new(),
    }
}

/// What a part does at each of its points: in a word, with its detail, and where.
fn roles(kind: &PartKind) -> Vec<(&'static str, &str, Point)> {
    let pairs = |role: &'static str, pairs: &[[Point; 2]]| -> Vec<(&'static str, &str, Point)> {
        pairs.iter().flatten().map(|point| (role, "", *point)).collect()
    };
    match kind {
        PartKind::Battery { plus, minus, .. } => vec![("plus", "", *plus), ("minus", "", *minus)],
        PartKind::Alternator { plus, minus, sense, .. } => {
            let sense = sense.iter().map(|point| ("sense", "", *point));
            [("plus", "", *plus), ("minus", "", *minus)].into_iter().chain(sense).collect()
        }
        PartKind::Fuse { between, .. } | PartKind::Load { between, .. } => pairs("end", &[*between]),
        PartKind::Switch { positions, .. } => {
            let of = |position: &'_ crate::definition::Position| position.closed.clone();
            let each = positions.iter().map(|position| (position.name.as_str(), of(position)));
            each.flat_map(|(name, closed)| {
                closed.into_iter().flatten().map(move |point| ("switched", name, point))
            })
            .collect()
        }
        PartKind::Relay { coil, released, operated, .. } => {
            [pairs("coil", &[*coil]), pairs("released", released), pairs("operated", operated)].concat()
        }
        PartKind::Diode { anode, cathode, .. } => vec![("anode", "", *anode), ("cathode", "", *cathode)],
        PartKind::Unit { functions } => {
            let of = |function: &'_ crate::definition::Function| {
                let ends = [("output", "", function.output), ("supply", "", function.supply)];
                let ground = function.ground.map(|point| ("return", "", point));
                let when: Vec<_> = function.when.iter().map(|point| ("when", "", *point)).collect();
                ends.into_iter().chain(ground).chain(when).collect::<Vec<_>>()
            };
            functions.iter().flat_map(of).collect()
        }
    }
}

/// Spreads the bits of a number (the finishing step of SplitMix64).
pub(super) fn mix(bits: u64) -> u64 {
    let mut z = bits.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// A text as a number that is the same in every build (FNV-1a, mixed).
pub(super) fn text(text: &str) -> u64 {
    let step = |hash: u64, byte: &u8| (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3);
    mix(text.as_bytes().iter().fold(0xcbf2_9ce4_8422_2325, step))
}
