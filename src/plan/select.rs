//! Which readings to take in a setup without power.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use super::Scope;
use super::bounds::spanning_steps;
use crate::definition::{ConnectorId, Harness, Kind, MatingId, PartId, PartKind, Point, StationId, WireId};
use crate::fault::{Touching, touching};
use crate::measure::{Measurement, Situation};
use crate::netlist::{Link, LinkId, NetId, PartWay};
use crate::setup::plug_of;

/// A reading that was chosen, and why.
pub(super) struct Chosen {
    pub measurement: Measurement,
    pub purpose: String,
    /// The switch that was moved for it.
    pub moved: Option<PartId>,
}

/// What was chosen in a setup, and the fewest that could do.
#[derive(Default)]
pub(super) struct Selection {
    pub chosen: Vec<Chosen>,
    pub bound: usize,
}

impl Selection {
    /// Readings that stand for themselves.
    pub(super) fn of(chosen: Vec<Chosen>) -> Self {
        Self { bound: chosen.len(), chosen }
    }

    /// Adds readings that are not among these yet.
    pub(super) fn join(&mut self, more: Self) {
        self.bound += more.bound;
        for chosen in more.chosen {
            if self.chosen.iter().all(|known| known.measurement != chosen.measurement) {
                self.chosen.push(chosen);
            } else {
                self.bound = self.bound.saturating_sub(1);
            }
        }
    }
}

/// What a scope is about: whole nets, or for a circuit the nodes that its wires lead to.
pub(super) struct Wanted {
    nodes: Vec<bool>,
    /// The circuit, if the scope is one.
    circuit: Option<String>,
    /// The ground net, where the scope is not the whole machine: what hangs on it is not asked about for
    /// that reason alone, for everything hangs on it.
    left_out: Option<NetId>,
}

impl Wanted {
    pub(super) fn new(situation: &Situation<'_>, scope: &Scope) -> Self {
        let count = situation.netlist.point_count();
        let mut nodes = vec![scope.unplug.is_empty(); count];
        if !scope.unplug.is_empty() {
            let nets = nets_at(situation, scope);
            nodes = (0..count).map(|node| nets[situation.nets.of(node)]).collect();
        }
        if let Some(circuit) = &scope.circuit {
            // A circuit narrows what unplugging asks for.
            let near = near_circuit(situation, circuit);
            nodes.iter_mut().zip(near).for_each(|(node, near)| *node = *node && near);
        }
        let ground = situation.nets.of(situation.netlist.chassis());
        Self { nodes, circuit: scope.circuit.clone(), left_out: (!scope.is_whole()).then_some(ground) }
    }

    /// Whether what lies beside a node is asked about too.
    fn beside(&self, situation: &Situation<'_>, node: usize) -> bool {
        self.nodes[node] && self.left_out != Some(situation.nets.of(node))
    }

    /// Whether a short at a wire is asked about.
    pub(super) fn short(&self, situation: &Situation<'_>, id: WireId) -> bool {
        self.wire(situation, id)
            && self.beside(situation, situation.node(situation.harness.wires[id].ends[0]))
    }

    fn node(&self, node: usize) -> bool {
        self.nodes[node]
    }

    fn point(&self, situation: &Situation<'_>, point: Point) -> bool {
        self.nodes[situation.node(point)]
    }

    fn wire(&self, situation: &Situation<'_>, id: WireId) -> bool {
        let wire = &situation.harness.wires[id];
        let mine = self.circuit.is_none() || wire.circuit == self.circuit;
        mine && self.point(situation, wire.ends[0])
    }

    /// Whether a link is asked about: a wire, a joint between two points, or a part at one.
    pub(super) fn link(&self, situation: &Situation<'_>, link: LinkId) -> bool {
        let [a, b] = situation.netlist.ends(link);
        match situation.netlist.link(link) {
            Link::Wire(wire) => self.wire(situation, wire),
            Link::Mated { .. } | Link::Bond(_) => self.node(a) && self.node(b),
            Link::Part(..) => self.beside(situation, a) || self.beside(situation, b),
        }
    }
}

/// The nets that the unplugged connectors open.
fn nets_at(situation: &Situation<'_>, scope: &Scope) -> Vec<bool> {
    let harness = situation.harness;
    let asked: BTreeSet<MatingId> = scope.unplug.iter().copied().collect();
    let mut nets = vec![false; situation.nets.len()];
    for (id, contact) in harness.contacts.iter() {
        if harness.connectors[contact.connector].mating.is_some_and(|mating| asked.contains(&mating)) {
            nets[situation.nets.of(situation.node(Point::Contact(id)))] = true;
        }
    }
    nets
}

/// The nodes that the wires of a circuit lead to over conductors, up to the nearest that can be probed.
fn near_circuit(situation: &Situation<'_>, circuit: &str) -> Vec<bool> {
    let netlist = situation.netlist;
    let mine = situation.harness.wires.values().filter(|wire| wire.circuit.as_deref() == Some(circuit));
    let mut open: Vec<usize> = mine.flat_map(|wire| wire.ends.map(|end| situation.node(end))).collect();
    let mut near = vec![false; netlist.point_count()];
    while let Some(node) = open.pop() {
        if std::mem::replace(&mut near[node], true)
            || situation.setup.can_probe(situation.harness, netlist.point(node))
        {
            continue;
        }
        let joined = netlist.links_at(node).filter(|(link, _)| situation.setup.joins(netlist, *link));
        open.extend(joined.map(|(_, other)| other));
    }
    near
}

/// Continuity along every net, resistance through parts, isolation between what can touch.
pub(super) fn paths(situation: &Situation<'_>, scope: &Scope) -> Selection {
    let wanted = Wanted::new(situation, scope);
    let reach = Reach::new(situation, scope, &wanted);
    let mut selection = Selection::default();
    spanning(situation, &wanted, &reach, &mut selection);
    through_parts(situation, &wanted, &reach, &mut selection);
    isolation(situation, &wanted, &reach, &touching(situation.harness), &mut selection);
    selection
}

/// The points of each net that a probe can touch, and where to stand for it.
struct Reach {
    points: Vec<Vec<Point>>,
    /// Where the other probe goes, for each net and station that has a point of it.
    hubs: Vec<BTreeMap<Option<StationId>, Point>>,
    /// Where the other probe goes wherever the first one is.
    root: Vec<Option<Point>>,
    /// How much speaks for a station: whether plugs were taken off there, and how many points it has.
    worth: BTreeMap<StationId, (bool, usize)>,
    ground: NetId,
    /// Whether a net has a point that is asked about.
    asked: Vec<bool>,
}

impl Reach {
    fn new(situation: &Situation<'_>, scope: &Scope, wanted: &Wanted) -> Self {
        let harness = situation.harness;
        let mut points = vec![Vec::new(); situation.nets.len()];
        let mut worth: BTreeMap<StationId, (bool, usize)> = BTreeMap::new();
        for point in harness.points() {
            if !situation.setup.can_probe(harness, point) || harness.unit_behind(point).is_some() {
                continue;
            }
            points[situation.nets.of(situation.node(point))].push(point);
            if let Some(station) = harness.station_of(point).filter(|_| wanted.point(situation, point)) {
                worth.entry(station).or_default().1 += 1;
            }
        }
        for mating in &scope.unplug {
            if let Some(station) = harness.connectors[plug_of(harness, *mating)].station {
                worth.entry(station).or_default().0 = true;
            }
        }
        let ground = situation.nets.of(situation.netlist.chassis());
        let (hubs, root) = points.iter().map(|points| hubs(harness, points)).unzip();
        let asked =
            situation.nets.iter().map(|(_, members)| members.iter().any(|node| wanted.node(*node))).collect();
        Self { points, hubs, root, worth, ground, asked }
    }

    fn of(&self, net: NetId) -> &[Point] {
        &self.points[net]
    }

    /// Where the other probe goes for a reading at `near`: the thing of the net that holds a clip best.
    /// On the ground net that is a ground terminal at the same station, or else the frame, which is
    /// everywhere.
    fn hub(&self, net: NetId, near: Option<StationId>) -> Option<Point> {
        let here = near.and_then(|_| self.hubs[net].get(&near)).copied();
        if net == self.ground {
            return Some(here.filter(|p| matches!(p, Point::Terminal(_))).unwrap_or(Point::Chassis));
        }
        here.or(self.root[net])
    }

    /// A point of each of two nets, as near to each other as can be, where plugs are off or else where
    /// most is to be read. The red probe goes to the net that is asked about; the ground net always
    /// takes the black one.
    fn pair(&self, nets: [NetId; 2]) -> Option<(Point, Point)> {
        let [a, b] = nets;
        let (red, black) =
            if a == self.ground || (b != self.ground && !self.asked[a]) { (b, a) } else { (a, b) };
        let stations = |net: NetId| self.hubs[net].keys().copied().flatten();
        let worth = |station: &StationId| (self.worth.get(station).copied(), Reverse(*station));
        let shared =
            stations(red).filter(|s| black == self.ground || self.hubs[black].contains_key(&Some(*s)));
        let station = shared.max_by_key(worth).or_else(|| stations(red).max_by_key(worth));
        Some((self.hub(red, station)?, self.hub(black, station)?))
    }

    /// One reading fewer than points: each point with the hub of its own station, and each station's
    /// hub with the root of the net. So most readings need no long lead.
    fn tree(&self, situation: &Situation<'_>, wanted: &Wanted, net: NetId) -> Vec<(Point, Point)> {
        let harness = situation.harness;
        let here: Vec<Point> = self.of(net).iter().copied().filter(|p| wanted.point(situation, *p)).collect();
        // Where a scope leaves points out, the hubs are those of the points that it asks for.
        let part = (here.len() < self.of(net).len()).then(|| hubs(harness, &here));
        let (hubs, root) =
            part.as_ref().map_or((&self.hubs[net], self.root[net]), |(hubs, root)| (hubs, *root));
        let frame = (net == self.ground && here.contains(&Point::Chassis)).then_some(Point::Chassis);
        let Some(root) = frame.or(root) else { return Vec::new() };
        let at = |point: Point| harness.station_of(point);
        let other = |point: Point| {
            let hub = hubs.get(&at(point)).copied().filter(|hub| *hub != point && at(root) != at(point));
            // On the ground net only a terminal holds a clip better than the frame.
            hub.filter(|hub| net != self.ground || matches!(hub, Point::Terminal(_))).unwrap_or(root)
        };
        here.iter().filter(|point| **point != root).map(|point| (*point, other(*point))).collect()
    }
}

/// The hub of each station, and the hub of all: a terminal, or else a contact of the connector with most
/// of the points. Cost: near-linear in points.
fn hubs(harness: &Harness, points: &[Point]) -> (BTreeMap<Option<StationId>, Point>, Option<Point>) {
    let connector = |point: Point| match point {
        Point::Contact(id) => Some(harness.contacts[id].connector),
        _ => None,
    };
    let mut count: BTreeMap<Option<ConnectorId>, usize> = BTreeMap::new();
    for point in points {
        *count.entry(connector(*point)).or_default() += 1;
    }
    let best = |point: Point| (connector(point).is_none(), count[&connector(point)], Reverse(point));
    let mut hubs: BTreeMap<Option<StationId>, Point> = BTreeMap::new();
    for point in points.iter().copied() {
        let hub = hubs.entry(harness.station_of(point)).or_insert(point);
        if best(point) > best(*hub) {
            *hub = point;
        }
    }
    let root = hubs.values().copied().max_by_key(|point| best(*point));
    (hubs, root)
}

/// k − 1 readings in a net of k points that can be probed.
fn spanning(situation: &Situation<'_>, wanted: &Wanted, reach: &Reach, selection: &mut Selection) {
    for (net, members) in situation.nets.iter() {
        // A bare contact that nothing is joined to is no path.
        if members.len() < 2 {
            continue;
        }
        let before = selection.chosen.len();
        let tree = reach.tree(situation, wanted, net);
        let points = tree.len() + 1;
        for (point, hub) in tree {
            take(situation, Kind::Continuity, point, hub, "path", selection);
        }
        let taken = selection.chosen.len() - before;
        selection.bound += taken.min(spanning_steps(points));
    }
}

/// One reading across each part that an ohmmeter passes, from nets that can be probed on both sides or
/// from the nearest points that can.
fn through_parts(situation: &Situation<'_>, wanted: &Wanted, reach: &Reach, selection: &mut Selection) {
    let harness = situation.harness;
    let mut done: BTreeSet<(NetId, NetId)> = BTreeSet::new();
    for link in situation.netlist.links() {
        let Link::Part(part, _) = situation.netlist.link(link) else { continue };
        if !situation.setup.passes_ohmmeter(situation.netlist, harness, link) {
            continue;
        }
        let nets = situation.netlist.ends(link).map(|node| situation.nets.of(node));
        let key = (nets[0].min(nets[1]), nets[0].max(nets[1]));
        if nets[0] == nets[1] || !wanted.link(situation, link) || !done.insert(key) {
            continue;
        }
        let Some((red, black)) = reach.pair(nets) else { continue };
        let purpose = format!("through {} {}", harness.parts[part].kind.word(), harness.parts[part].id);
        take(situation, Kind::Continuity, red, black, &purpose, selection);
    }
}

/// Isolation between nets that can touch, and from each net to the chassis.
fn isolation(
    situation: &Situation<'_>,
    wanted: &Wanted,
    reach: &Reach,
    touching: &Touching,
    selection: &mut Selection,
) {
    let harness = situation.harness;
    let ground = situation.nets.of(situation.netlist.chassis());
    let net_of = |wire: WireId| situation.nets.of(situation.node(harness.wires[wire].ends[0]));
    let mut pairs: BTreeSet<(NetId, NetId)> = BTreeSet::new();
    let to_chassis =
        harness.wires.ids().filter(|wire| harness.has_chassis() && wanted.short(situation, *wire));
    for wire in to_chassis {
        pairs.insert((net_of(wire).min(ground), net_of(wire).max(ground)));
    }
    for (a, b, _) in &touching.pairs {
        if wanted.short(situation, *a) || wanted.short(situation, *b) {
            pairs.insert((net_of(*a).min(net_of(*b)), net_of(*a).max(net_of(*b))));
        }
    }
    for (a, b) in pairs.into_iter().filter(|(a, b)| a != b) {
        let Some((red, black)) = reach.pair([a, b]) else { continue };
        if situation.healthy().joined(situation.node(red), situation.node(black)) {
            continue;
        }
        take(situation, Kind::Isolation, red, black, "apart", selection);
    }
}

/// Takes a reading if it may be taken and does not rely on the unknown inside of a unit.
fn take(
    situation: &Situation<'_>,
    kind: Kind,
    red: Point,
    black: Point,
    purpose: &str,
    selection: &mut Selection,
) {
    let same_net = situation.nets.of(situation.node(red)) == situation.nets.of(situation.node(black));
    if !same_net && situation.relies_on_unit(red, black).is_some() {
        return;
    }
    if let Ok(measurement) = situation.measure(kind, red, black) {
        // Along a net the spanning tree is the bound; every other reading stands for itself.
        selection.bound += usize::from(!same_net);
        selection.chosen.push(Chosen { measurement, purpose: purpose.to_owned(), moved: None });
    }
}

/// Readings across the switch contacts that a setup closes and rest does not.
pub(super) fn switches(situation: &Situation<'_>, scope: &Scope) -> Selection {
    let wanted = Wanted::new(situation, scope);
    let reach = Reach::new(situation, scope, &wanted);
    let mut selection = Selection::default();
    for link in situation.netlist.links() {
        let Some((switch, pair)) = switch_contact(situation, link) else { continue };
        let closed = situation.netlist.closed_in(switch, pair);
        let now = situation.setup.position(situation.harness, switch);
        let rest = match &situation.harness.parts[switch].kind {
            PartKind::Switch { rest, .. } => *rest,
            _ => continue,
        };
        if now == rest || !closed.contains(&now) || closed.contains(&rest) {
            continue;
        }
        let nets = situation.netlist.ends(link).map(|node| situation.nets.of(node));
        if !wanted.link(situation, link) {
            continue;
        }
        let Some((red, black)) = reach.pair(nets) else { continue };
        let purpose = format!("through switch {}", situation.harness.parts[switch].id);
        let before = selection.chosen.len();
        take(situation, Kind::Continuity, red, black, &purpose, &mut selection);
        selection.chosen[before..].iter_mut().for_each(|chosen| chosen.moved = Some(switch));
    }
    selection
}

/// The switch contacts that probes reach on both sides while paths are read, and that are asked about: each
/// switch with its pair's number.
pub(super) fn readable(situation: &Situation<'_>, scope: &Scope) -> BTreeSet<(PartId, u32)> {
    let wanted = Wanted::new(situation, scope);
    let reach = Reach::new(situation, scope, &wanted);
    let reaches = |link: &LinkId| {
        let nets = situation.netlist.ends(*link).map(|node| situation.nets.of(node));
        wanted.link(situation, *link) && reach.pair(nets).is_some()
    };
    let contacts =
        situation.netlist.part_links().filter_map(|link| Some((link, switch_contact(situation, link)?)));
    contacts.filter(|(link, _)| reaches(link)).map(|(_, contact)| contact).collect()
}

fn switch_contact(situation: &Situation<'_>, link: LinkId) -> Option<(PartId, u32)> {
    match situation.netlist.link(link) {
        Link::Part(part, PartWay::Switch(pair)) => Some((part, pair)),
        _ => None,
    }
}
