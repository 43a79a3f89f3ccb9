//! Which readings to take in a setup without power.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use super::Scope;
use super::bounds::spanning_steps;
use crate::definition::{Kind, PartId, PartKind, Point, StationId, WireId};
use crate::fault::{Touching, touching};
use crate::measure::{Measurement, Situation};
use crate::netlist::{Link, LinkId, NetId, PartWay};

/// A reading that was chosen, and why.
pub(super) struct Chosen {
    pub measurement: Measurement,
    pub purpose: String,
}

/// What was chosen in a setup, and the fewest that could do.
#[derive(Default)]
pub(super) struct Selection {
    pub chosen: Vec<Chosen>,
    pub bound: usize,
}

/// Which nets a scope is about.
pub(super) struct Wanted {
    nets: Vec<bool>,
}

impl Wanted {
    pub(super) fn new(situation: &Situation<'_>, scope: &Scope) -> Self {
        let harness = situation.harness;
        let mut nets = vec![scope.unplug.is_empty() && scope.circuit.is_none(); situation.nets.len()];
        for (id, contact) in harness.contacts.iter() {
            let mating = harness.connectors[contact.connector].mating;
            if mating.is_some_and(|m| scope.unplug.contains(&m)) {
                nets[situation.nets.of(situation.node(Point::Contact(id)))] = true;
            }
        }
        if let Some(circuit) = &scope.circuit {
            // A circuit narrows what unplugging asks for; alone it is the whole question.
            let mut of_circuit = vec![false; nets.len()];
            for wire in harness.wires.values().filter(|w| w.circuit.as_ref() == Some(circuit)) {
                of_circuit[situation.nets.of(situation.node(wire.ends[0]))] = true;
            }
            let all = scope.unplug.is_empty();
            nets.iter_mut().zip(of_circuit).for_each(|(net, mine)| *net = mine && (*net || all));
        }
        Self { nets }
    }

    fn net(&self, net: NetId) -> bool {
        self.nets[net]
    }

    pub(super) fn point(&self, situation: &Situation<'_>, point: Point) -> bool {
        self.net(situation.nets.of(situation.node(point)))
    }
}

/// Continuity along every net, resistance through parts, isolation between what can touch.
pub(super) fn paths(situation: &Situation<'_>, scope: &Scope) -> Selection {
    let wanted = Wanted::new(situation, scope);
    let reach = Reach::new(situation);
    let mut selection = Selection::default();
    spanning(situation, &wanted, &reach, &mut selection);
    through_parts(situation, &wanted, &reach, &mut selection);
    isolation(situation, &wanted, &reach, &touching(situation.harness), &mut selection);
    selection
}

/// The points of each net that a probe can touch.
struct Reach {
    points: Vec<Vec<Point>>,
}

impl Reach {
    fn new(situation: &Situation<'_>) -> Self {
        let harness = situation.harness;
        let mut points = vec![Vec::new(); situation.nets.len()];
        for point in harness.points() {
            if situation.setup.can_probe(harness, point) && harness.unit_behind(point).is_none() {
                points[situation.nets.of(situation.node(point))].push(point);
            }
        }
        Self { points }
    }

    fn of(&self, net: NetId) -> &[Point] {
        &self.points[net]
    }

    /// Where the other probe goes for a reading at `near`: the nearest thing of the net that holds a
    /// clip. On the ground net that is a ground terminal at the same station, or else the frame, which
    /// is everywhere; elsewhere a terminal, or a contact of the connector with most of the net's points,
    /// at the same station where there is one.
    fn hub(&self, situation: &Situation<'_>, net: NetId, near: Option<StationId>) -> Option<Point> {
        let harness = situation.harness;
        let points = self.of(net);
        let here = |point: &Point| near.is_some() && harness.station_of(*point) == near;
        if net == situation.nets.of(situation.netlist.chassis()) {
            let terminal = points.iter().find(|p| matches!(p, Point::Terminal(_)) && here(p));
            return Some(terminal.copied().unwrap_or(Point::Chassis));
        }
        let connector = |point: &Point| match point {
            Point::Contact(id) => Some(harness.contacts[*id].connector),
            _ => None,
        };
        let mut count: BTreeMap<_, usize> = BTreeMap::new();
        for point in points {
            *count.entry(connector(point)).or_default() += 1;
        }
        let best = |p: &Point| (here(p), connector(p).is_none(), count[&connector(p)], Reverse(*p));
        points.iter().copied().max_by_key(best)
    }

    /// A point of each of two nets, as near to each other as can be. The red probe goes to the net that
    /// is asked about; the ground net always takes the black one.
    fn pair(&self, situation: &Situation<'_>, wanted: &Wanted, nets: [NetId; 2]) -> Option<(Point, Point)> {
        let ground = situation.nets.of(situation.netlist.chassis());
        let [a, b] = nets;
        let (asked, other) = if a == ground || (b != ground && !wanted.net(a)) { (b, a) } else { (a, b) };
        let stations = |net: NetId| self.of(net).iter().map(|p| situation.harness.station_of(*p));
        let shared =
            stations(asked).flatten().find(|s| other == ground || stations(other).any(|o| o == Some(*s)));
        let red = self.hub(situation, asked, shared)?;
        let black = self.hub(situation, other, situation.harness.station_of(red))?;
        Some((red, black))
    }

    /// One reading fewer than points: each point with the hub of its own station, and each station's
    /// hub with the hub of the net. So most readings need no long lead.
    fn tree(&self, situation: &Situation<'_>, net: NetId) -> Vec<(Point, Point)> {
        let Some(root) = self.hub(situation, net, None) else { return Vec::new() };
        let mut hubs: BTreeMap<Option<StationId>, Point> = BTreeMap::new();
        for point in self.of(net) {
            let station = situation.harness.station_of(*point);
            let local =
                || self.hub(situation, net, station).filter(|p| situation.harness.station_of(*p) == station);
            hubs.entry(station).or_insert_with(|| local().unwrap_or(root));
        }
        hubs.insert(situation.harness.station_of(root), root);
        let mut pairs = Vec::new();
        for point in self.of(net).iter().copied().filter(|p| *p != root) {
            let hub = hubs[&situation.harness.station_of(point)];
            pairs.push((point, if hub == point { root } else { hub }));
        }
        pairs
    }
}

/// k − 1 readings in a net of k points that can be probed.
fn spanning(situation: &Situation<'_>, wanted: &Wanted, reach: &Reach, selection: &mut Selection) {
    for (net, members) in situation.nets.iter() {
        // A bare contact that nothing is joined to is no path.
        if !wanted.net(net) || members.len() < 2 {
            continue;
        }
        let before = selection.chosen.len();
        for (point, hub) in reach.tree(situation, net) {
            take(situation, Kind::Continuity, point, hub, "path", selection);
        }
        let taken = selection.chosen.len() - before;
        selection.bound += taken.min(spanning_steps(reach.of(net).len()));
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
        if nets[0] == nets[1] || !nets.iter().any(|net| wanted.net(*net)) || !done.insert(key) {
            continue;
        }
        let Some((red, black)) = reach.pair(situation, wanted, nets) else { continue };
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
    for wire in harness.wires.ids() {
        pairs.insert((net_of(wire).min(ground), net_of(wire).max(ground)));
    }
    for (a, b, _) in &touching.pairs {
        pairs.insert((net_of(*a).min(net_of(*b)), net_of(*a).max(net_of(*b))));
    }
    for (a, b) in pairs {
        if a == b || !(wanted.net(a) || wanted.net(b)) {
            continue;
        }
        let Some((red, black)) = reach.pair(situation, wanted, [a, b]) else { continue };
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
        selection.chosen.push(Chosen { measurement, purpose: purpose.to_owned() });
    }
}

/// Readings across the switch contacts that a setup closes and rest does not.
pub(super) fn switches(situation: &Situation<'_>, scope: &Scope) -> Selection {
    let wanted = Wanted::new(situation, scope);
    let reach = Reach::new(situation);
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
        if !nets.iter().any(|net| wanted.net(*net)) {
            continue;
        }
        let Some((red, black)) = reach.pair(situation, &wanted, nets) else { continue };
        let purpose = format!("through switch {}", situation.harness.parts[switch].id);
        take(situation, Kind::Continuity, red, black, &purpose, &mut selection);
    }
    selection
}

fn switch_contact(situation: &Situation<'_>, link: LinkId) -> Option<(PartId, u32)> {
    match situation.netlist.link(link) {
        Link::Part(part, PartWay::Switch(pair)) => Some((part, pair)),
        _ => None,
    }
}
