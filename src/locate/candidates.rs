//! Which readings could be taken next.

use std::collections::BTreeSet;

use super::weigh::Suspect;
use crate::definition::{Harness, Kind, MatingId, PartId, PartKind, Point};
use crate::fault::{Fault, Universe};
use crate::measure::{Measurement, Situation};
use crate::netlist::{Element, Link, LinkId, Netlist};
use crate::setup::{Isolated, Power, Setup};

/// The most setups that are weighed against each other.
const SETUPS: usize = 18;
/// The most points near the suspects that are probed in thought, per setup.
const POINTS: usize = 28;

/// The setups worth thinking of: those of the record; with power isolated, those with plugs off that lie
/// at the suspects, and with the switches as they stood; with power, those with one such plug off; and
/// those that close a switch under suspicion.
pub(super) fn setups(
    harness: &Harness,
    netlist: &Netlist,
    universe: &Universe,
    suspects: &[Suspect],
    known: impl Iterator<Item = Setup>,
    now: &Setup,
) -> Vec<Setup> {
    let mut all: Vec<Setup> = Vec::new();
    let mut push = |setup: Setup| {
        if all.len() < SETUPS && !all.contains(&setup) {
            all.push(setup);
        }
    };
    let known: BTreeSet<Setup> = known.collect();
    push(now.clone());
    known.iter().filter(|s| s.power() == Power::Connected).take(SETUPS / 3).cloned().for_each(&mut push);
    let off: BTreeSet<MatingId> = now.parted().collect();
    let near = matings_near(harness, netlist, universe, suspects);
    let rest = off.iter().fold(Isolated::at_rest(), |setup, mating| setup.part(*mating));
    let with = |setup: &Isolated, extra: &[MatingId]| -> Setup {
        extra.iter().fold(setup.clone(), |setup, mating| setup.part(*mating)).into()
    };
    push(with(&rest, &[]));
    push(with(&rest, &near));
    for switch in switches_near(harness, suspects).take(3) {
        let set = rest.clone().set(harness, switch.0, switch.1);
        push(with(&set, &[]));
        push(with(&set, &near[..near.len().min(4)]));
    }
    for setup in known.iter().chain([now]) {
        let Setup::Connected(live) = setup else { continue };
        let dead = live.clone().isolate(harness);
        push(with(&dead, &[]));
        for mating in near.iter().take(2) {
            push(with(&dead, &[*mating]));
            push(dead.clone().part(*mating).connect().into());
        }
    }
    for mating in &near {
        push(with(&rest, &[*mating]));
    }
    known.into_iter().for_each(push);
    all
}

/// Switches under suspicion with a position that closes something.
fn switches_near<'a>(
    harness: &'a Harness,
    suspects: &'a [Suspect],
) -> impl Iterator<Item = (PartId, usize)> + 'a {
    let parts = suspects.iter().flat_map(|s| s.hypothesis.elements()).filter_map(|element| match element {
        Element::Part(part) => Some(part),
        _ => None,
    });
    parts.flat_map(|part| match &harness.parts[part].kind {
        PartKind::Switch { rest, positions } => {
            let closes = |at: &usize| at != rest && !positions[*at].closed.is_empty();
            (0..positions.len()).filter(closes).map(|at| (part, at)).collect()
        }
        _ => Vec::new(),
    })
}

/// The matings at the ends of the suspects' links, those of the likeliest suspects first.
fn matings_near(
    harness: &Harness,
    netlist: &Netlist,
    universe: &Universe,
    suspects: &[Suspect],
) -> Vec<MatingId> {
    let mut found = Vec::new();
    for fault in suspects.iter().flat_map(|s| s.hypothesis.faults()) {
        for link in links_of(universe, fault) {
            for point in netlist.ends(link).map(|node| netlist.point(node)) {
                let Point::Contact(id) = point else { continue };
                let mating = harness.connectors[harness.contacts[id].connector].mating;
                if let Some(mating) = mating.filter(|m| !found.contains(m)) {
                    found.push(mating);
                }
            }
        }
    }
    found.truncate(SETUPS);
    found
}

fn links_of(universe: &Universe, fault: Fault) -> Vec<LinkId> {
    fault.elements().into_iter().flat_map(|element| universe.links(element).iter().copied()).collect()
}

/// The readings worth thinking of in one setup.
pub(super) fn measurements(
    situation: &Situation<'_>,
    universe: &Universe,
    suspects: &[Suspect],
) -> Vec<Measurement> {
    let points = points_near(situation, universe, suspects);
    let mut all = BTreeSet::new();
    if situation.setup.power() == Power::Isolated {
        for (at, red) in points.iter().enumerate() {
            for black in points[at + 1..].iter().copied().chain([Point::Chassis]) {
                all.extend(reading(situation, *red, black));
            }
        }
    } else {
        let returns = returns(situation);
        for red in &points {
            for black in returns.iter().copied().chain(partner(situation, *red)) {
                all.extend(situation.measure(Kind::Voltage, *red, black));
            }
        }
    }
    all.into_iter().collect()
}

/// A resistance reading of the kind that fits: continuity where something joins the two points.
fn reading(situation: &Situation<'_>, red: Point, black: Point) -> Option<Measurement> {
    let [a, b] = [red, black].map(|p| situation.node(p));
    let kind = if situation.healthy().joined(a, b) { Kind::Continuity } else { Kind::Isolation };
    let same_net = situation.nets.of(a) == situation.nets.of(b);
    if !same_net && situation.relies_on_unit(red, black).is_some() {
        return None;
    }
    situation.measure(kind, red, black).ok()
}

/// Points on the nets of the suspects that a probe can touch, and the outer ends of parts among them.
fn points_near(situation: &Situation<'_>, universe: &Universe, suspects: &[Suspect]) -> Vec<Point> {
    let netlist = situation.netlist;
    let mut nets = Vec::new();
    let mut note = |node: usize| {
        let net = situation.nets.of(node);
        if !nets.contains(&net) {
            nets.push(net);
        }
    };
    for fault in suspects.iter().flat_map(|s| s.hypothesis.faults()) {
        for link in links_of(universe, fault) {
            netlist.ends(link).into_iter().for_each(&mut note);
            // Beyond a part the next net is worth a look too.
            for node in netlist.ends(link) {
                for (near, other) in netlist.links_at(node) {
                    if matches!(netlist.link(near), Link::Part(..)) {
                        note(other);
                    }
                }
            }
        }
    }
    let ground = situation.nets.of(netlist.chassis());
    let mut points = Vec::new();
    for net in nets {
        for node in situation.nets.members(net) {
            let point = netlist.point(*node);
            let inside = situation.harness.unit_behind(point).is_some();
            let wanted = net != ground
                || matches!(point, Point::Terminal(_))
                || touches(universe, netlist, suspects, *node);
            if !inside
                && wanted
                && point != Point::Chassis
                && situation.setup.can_probe(situation.harness, point)
            {
                points.push(point);
            }
        }
    }
    points.truncate(POINTS);
    points
}

fn touches(universe: &Universe, netlist: &Netlist, suspects: &[Suspect], node: usize) -> bool {
    suspects.iter().any(|s| {
        let links = s.hypothesis.faults().flat_map(|fault| links_of(universe, fault));
        links.into_iter().any(|link| netlist.ends(link).contains(&node))
    })
}

/// Where the black probe goes for a voltage: the chassis and the battery's negative post.
fn returns(situation: &Situation<'_>) -> Vec<Point> {
    let minus = crate::setup::batteries(situation.harness).filter_map(|battery| {
        match situation.harness.parts[battery].kind {
            PartKind::Battery { minus, .. } => Some(minus),
            _ => None,
        }
    });
    std::iter::once(Point::Chassis).chain(minus).collect()
}

/// The other end of a two-ended part at a point: a reading across a load or a coil.
fn partner(situation: &Situation<'_>, point: Point) -> Option<Point> {
    let node = situation.node(point);
    let net = situation.nets.of(node);
    let harness = situation.harness;
    for member in situation.nets.members(net) {
        for part in harness.parts_at(situation.netlist.point(*member)) {
            let ends = match &harness.parts[part].kind {
                PartKind::Load { between, .. } => *between,
                PartKind::Relay { coil, .. } => *coil,
                _ => continue,
            };
            for end in ends {
                let other = situation.nets.of(situation.node(end));
                if other != net {
                    let members = situation.nets.members(other).iter().map(|n| situation.netlist.point(*n));
                    return members
                        .into_iter()
                        .find(|p| *p != Point::Chassis && situation.setup.can_probe(harness, *p));
                }
            }
        }
    }
    None
}
