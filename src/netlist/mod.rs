//! The machine as a graph: points are its nodes, everything that joins two points is an edge.
//!
//! Comes in: a harness. Goes out: an undirected multigraph of [`Point`]s and [`Link`]s, nets, ways
//! and bridges, each under a rule that says which links count. Why: a net, a trace and a network
//! equation are all questions to the same graph, and the rule (which setup, which parts) is the only
//! thing that differs.
//!
//! A wire and its two ends are one link, because nothing between them can be probed; the elements
//! that can be at fault within a link are listed by [`Netlist::elements`].

mod bridges;
mod element;
mod nets;
mod path;
pub mod resistance;

pub use element::{Element, ElementId};
pub use nets::{Net, NetId, Nets};
pub use path::{Search, Way, Ways};

use std::collections::HashMap;

use petgraph::Undirected;
use petgraph::graph::{EdgeIndex, Graph, NodeIndex};

use crate::definition::{ContactId, Harness, Id, MatingId, PartId, PartKind, Point, TerminalId, WireId};

/// An edge of the netlist.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LinkId(u32);

impl LinkId {
    /// Its position among all links.
    pub fn index(self) -> usize {
        self.0 as usize
    }

    fn edge(self) -> EdgeIndex {
        EdgeIndex::new(self.index())
    }
}

impl From<EdgeIndex> for LinkId {
    fn from(edge: EdgeIndex) -> Self {
        Self(edge.index() as u32)
    }
}

/// The links at a node, each with the node at its other end.
#[derive(Debug, Clone)]
pub struct LinksAt<'n>(std::slice::Iter<'n, (LinkId, u32)>);

impl Iterator for LinksAt<'_> {
    type Item = (LinkId, usize);

    fn next(&mut self) -> Option<Self::Item> {
        self.0.next().map(|(link, other)| (*link, *other as usize))
    }
}

/// What joins two points.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Link {
    /// A wire with its two ends.
    Wire(WireId),
    /// Two contacts that meet when their connectors are mated.
    Mated {
        /// The mating they belong to.
        mating: MatingId,
        /// The contacts, that of the mating's first connector first.
        contacts: [ContactId; 2],
    },
    /// A ground terminal's bond to the chassis.
    Bond(TerminalId),
    /// One way through a part.
    Part(PartId, PartWay),
}

/// One way through a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PartWay {
    /// Straight through: a fuse, a breaker or a load.
    Through,
    /// A switch contact pair; the number is its place among the switch's distinct pairs.
    Switch(u32),
    /// A relay's coil.
    Coil,
    /// A relay contact that is closed while released.
    Released,
    /// A relay contact that is closed while operated.
    Operated,
    /// A diode; the link runs from anode to cathode.
    Diode,
    /// A battery or alternator; the link runs from plus to minus.
    Source,
    /// A unit's driver for one of its functions; the link runs from supply to output.
    Drive(u32),
}

impl Link {
    /// Whether it is conductor alone: such links make nets.
    pub fn is_conductor(self) -> bool {
        !matches!(self, Self::Part(..))
    }
}

/// The graph of one machine.
#[derive(Debug, Clone)]
pub struct Netlist {
    graph: Graph<Point, Link, Undirected>,
    /// The links at each node with the node at their other end, node after node; `near_from` says where each begins.
    near: Vec<(LinkId, u32)>,
    near_from: Vec<u32>,
    /// The two ends of each link in their own order: a diode's anode comes first.
    ends: Vec<[u32; 2]>,
    /// The distinct contact pairs of each switch, with the positions that close them.
    switches: Vec<Vec<Vec<usize>>>,
    chassis: usize,
    /// The first link of each part, and one more at the end: parts' links stand together, after all others.
    parts: Vec<u32>,
}

impl Netlist {
    /// Builds the graph of a harness. Cost: linear in points, wires and part ways.
    pub fn new(harness: &Harness) -> Self {
        let links = harness.wires.len() + harness.contacts.len() / 2;
        let mut netlist = Self {
            graph: Graph::with_capacity(harness.point_count(), links),
            near: Vec::new(),
            near_from: Vec::new(),
            ends: Vec::with_capacity(links),
            switches: vec![Vec::new(); harness.parts.len()],
            chassis: harness.point_index(Point::Chassis),
            parts: Vec::with_capacity(harness.parts.len() + 1),
        };
        for point in harness.points() {
            netlist.graph.add_node(point);
        }
        for (id, wire) in harness.wires.iter() {
            netlist.join(harness, wire.ends, Link::Wire(id));
        }
        netlist.join_mates(harness);
        for (id, terminal) in harness.terminals.iter() {
            if terminal.ground {
                netlist.join(harness, [Point::Terminal(id), Point::Chassis], Link::Bond(id));
            }
        }
        for (id, part) in harness.parts.iter() {
            netlist.parts.push(netlist.ends.len() as u32);
            netlist.join_part(harness, id, &part.kind);
        }
        netlist.parts.push(netlist.ends.len() as u32);
        netlist.list_near();
        netlist
    }

    /// Lists the links at each node, in their order: searches ask for them at every step.
    fn list_near(&mut self) {
        let ring = |[a, b]: [u32; 2]| a == b;
        let mut from = vec![0_u32; self.graph.node_count() + 1];
        for ends in &self.ends {
            // A link from a node to itself stands there once.
            let distinct = if ring(*ends) { &ends[..1] } else { &ends[..] };
            for end in distinct {
                from[*end as usize + 1] += 1;
            }
        }
        for node in 1..from.len() {
            from[node] += from[node - 1];
        }
        let mut next = from.clone();
        self.near = vec![(LinkId(0), 0); from.last().map_or(0, |end| *end as usize)];
        for (link, [a, b]) in self.ends.iter().enumerate() {
            let both = [(*a, *b), (*b, *a)];
            for (node, other) in &both[..if ring([*a, *b]) { 1 } else { 2 }] {
                let place = &mut next[*node as usize];
                self.near[*place as usize] = (LinkId(link as u32), *other);
                *place += 1;
            }
        }
        self.near_from = from;
    }

    fn join(&mut self, harness: &Harness, ends: [Point; 2], link: Link) {
        let [a, b] = ends.map(|end| harness.point_index(end));
        self.graph.add_edge(NodeIndex::new(a), NodeIndex::new(b), link);
        self.ends.push([a as u32, b as u32]);
    }

    fn join_mates(&mut self, harness: &Harness) {
        for (mating, mated) in harness.matings.iter() {
            for contact in harness.contacts_of(mated.first) {
                let Some(mate) = harness.contacts[contact].mate else { continue };
                let contacts = [contact, mate];
                self.join(harness, contacts.map(Point::Contact), Link::Mated { mating, contacts });
            }
        }
    }

    fn join_part(&mut self, harness: &Harness, id: PartId, kind: &PartKind) {
        let mut join = |ends: [Point; 2], way: PartWay| self.join(harness, ends, Link::Part(id, way));
        match kind {
            PartKind::Battery { plus, minus, .. } | PartKind::Alternator { plus, minus, .. } => {
                join([*plus, *minus], PartWay::Source);
            }
            PartKind::Fuse { between, .. } | PartKind::Load { between, .. } => {
                join(*between, PartWay::Through);
            }
            PartKind::Switch { positions, .. } => {
                let mut pairs: Vec<([Point; 2], Vec<usize>)> = Vec::new();
                let mut known: HashMap<[Point; 2], usize> = HashMap::new();
                for (at, position) in positions.iter().enumerate() {
                    for closed in &position.closed {
                        let pair = *known.entry(*closed).or_insert(pairs.len());
                        match pairs.get_mut(pair) {
                            Some((_, closed_in)) => closed_in.push(at),
                            None => pairs.push((*closed, vec![at])),
                        }
                    }
                }
                for (at, (pair, _)) in pairs.iter().enumerate() {
                    join(*pair, PartWay::Switch(at as u32));
                }
                self.switches[id.index()] = pairs.into_iter().map(|(_, closed_in)| closed_in).collect();
            }
            PartKind::Relay { coil, released, operated, .. } => {
                join(*coil, PartWay::Coil);
                for pair in released {
                    join(*pair, PartWay::Released);
                }
                for pair in operated {
                    join(*pair, PartWay::Operated);
                }
            }
            PartKind::Diode { anode, cathode, .. } => join([*anode, *cathode], PartWay::Diode),
            PartKind::Unit { functions } => {
                for (at, function) in functions.iter().enumerate() {
                    join([function.supply, function.output], PartWay::Drive(at as u32));
                }
            }
        }
    }

    /// How many points there are.
    pub fn point_count(&self) -> usize {
        self.graph.node_count()
    }

    /// The node of a point.
    pub fn point(&self, node: usize) -> Point {
        self.graph[NodeIndex::new(node)]
    }

    /// The node of the chassis.
    pub fn chassis(&self) -> usize {
        self.chassis
    }

    /// All links in order.
    pub fn links(&self) -> impl ExactSizeIterator<Item = LinkId> + use<> {
        (0..self.ends.len() as u32).map(LinkId)
    }

    /// The ways through a part, in order.
    pub fn links_of(&self, part: PartId) -> impl ExactSizeIterator<Item = LinkId> + use<> {
        let [from, to] = [part.index(), part.index() + 1].map(|at| self.parts[at]);
        (from..to).map(LinkId)
    }

    /// The ways through all parts, in order.
    pub fn part_links(&self) -> impl ExactSizeIterator<Item = LinkId> + use<> {
        (self.parts.first().copied().unwrap_or(0)..self.ends.len() as u32).map(LinkId)
    }

    /// What a link is.
    pub fn link(&self, id: LinkId) -> Link {
        self.graph[id.edge()]
    }

    /// The two nodes of a link, in its own order.
    pub fn ends(&self, id: LinkId) -> [usize; 2] {
        self.ends[id.index()].map(|end| end as usize)
    }

    /// The links at a node with the node at their other end, in the order of the links.
    pub fn links_at(&self, node: usize) -> LinksAt<'_> {
        let [from, to] = [node, node + 1].map(|at| self.near_from[at] as usize);
        LinksAt(self.near[from..to].iter())
    }

    /// The positions in which a switch contact pair is closed.
    pub fn closed_in(&self, switch: PartId, pair: u32) -> &[usize] {
        self.switches[switch.index()].get(pair as usize).map_or(&[], Vec::as_slice)
    }
}
