//! Continuity through a loopback plug: two wires in series, read from one end.
//!
//! Wires that lead from one place to one far connector are joined there two by two, the last three where their number
//! is odd. Two that could be exchanged at a connector are not joined with each other if it can be helped, for
//! then neither reading would show it.

use std::collections::{BTreeMap, BTreeSet};

use super::{Asked, Bench, Loop, Proposal};
use crate::definition::{ConnectorId, Kind, Point};
use crate::fault::Fault;
use crate::netlist::Element;
use crate::setup::{Place, Setup, Strap};

const TITLE: &str = "Continuity by loopback, without power";
const PURPOSE: &str = "two paths in series";

/// A path from a near place to a far connector.
#[derive(Debug, Clone, Copy)]
struct Path {
    reading: usize,
    near: Point,
    far: Point,
    net: usize,
}

pub(super) fn propose(bench: &mut Bench<'_, '_>) {
    let mut done: BTreeSet<(ConnectorId, Place)> = BTreeSet::new();
    loop {
        let ways = ways(bench);
        let most = ways
            .iter()
            .filter(|(way, paths)| !done.contains(way) && paths.len() > 1)
            // Of equals the connector that is defined last: a lead is read from its first end.
            .max_by_key(|((connector, place), paths)| (paths.len(), *connector, std::cmp::Reverse(*place)));
        let Some((way, paths)) = most else { break };
        done.insert(*way);
        try_way(bench, way.0, paths);
    }
}

/// Continuity readings between two places that end at an open contact, by far connector and near place.
fn ways(bench: &Bench<'_, '_>) -> BTreeMap<(ConnectorId, Place), Vec<Path>> {
    let situation = bench.trial.situation;
    let harness = situation.harness;
    let mut ways: BTreeMap<(ConnectorId, Place), Vec<Path>> = BTreeMap::new();
    for (reading, measurement) in bench.measurements.iter().enumerate() {
        let ends = [measurement.red(), measurement.black()];
        let nets = ends.map(|point| situation.nets.of(situation.node(point)));
        if measurement.kind() != Kind::Continuity || !bench.is_free(reading) || nets[0] != nets[1] {
            continue;
        }
        for [near, far] in [ends, [ends[1], ends[0]]] {
            let Point::Contact(contact) = far else { continue };
            let (Some(here), Some(there)) = (Place::of(harness, near), Place::of(harness, far)) else {
                continue;
            };
            if here == there || !situation.setup.takes_clip(harness, far) {
                continue;
            }
            let paths = ways.entry((harness.contacts[contact].connector, here)).or_default();
            // Two nets that are joined through a part would be read in parallel.
            let island = |path: &Path| situation.healthy().island(situation.node(path.near));
            let own = situation.healthy().island(situation.node(near));
            if paths.iter().all(|path| island(path) != own) {
                paths.push(Path { reading, near, far, net: nets[0] });
            }
        }
    }
    ways
}

fn try_way(bench: &mut Bench<'_, '_>, connector: ConnectorId, paths: &[Path]) {
    let joined = match_up(bench, paths);
    let harness = bench.harness();
    let mut setup = Setup::clone(&bench.trial.situation.setup);
    let mut asked = Vec::new();
    for group in &joined {
        let Ok(strap) = Strap::new(harness, group.iter().map(|path| path.far)) else { return };
        let Ok(fitted) = setup.fit(harness, strap) else { return };
        setup = fitted;
        for two in group.windows(2) {
            asked.push(Asked {
                kind: Kind::Continuity,
                red: two[0].near,
                black: two[1].near,
                purpose: PURPOSE,
            });
        }
    }
    let replaced: Vec<usize> = paths.iter().map(|path| path.reading).collect();
    let bound = paths.len().div_ceil(2);
    let proposal = Proposal { replaced, phases: vec![(setup, asked)], title: TITLE, bound };
    if let Some((replaced, tests)) = bench.accept(&proposal) {
        bench.aided.loops.push(Loop { connector, wires: paths.len(), replaced, tests });
    }
}

/// Paths two by two, the last three where one is left over.
fn match_up(bench: &Bench<'_, '_>, paths: &[Path]) -> Vec<Vec<Path>> {
    let exchanged = exchanged(bench);
    let mut left: Vec<Path> = paths.to_vec();
    left.sort_by_key(|path| path.far);
    let mut joined: Vec<Vec<Path>> = Vec::new();
    while left.len() > 1 {
        let first = left.remove(0);
        // From the middle on: neighbours in a connector are what gets exchanged.
        let middle = left.len() / 2;
        let order = (middle..left.len()).chain(0..middle);
        let apart = |at: &usize| {
            let nets = [first.net.min(left[*at].net), first.net.max(left[*at].net)];
            !exchanged.contains(&nets)
        };
        let partner = order.clone().find(apart).unwrap_or(middle);
        joined.push(vec![first, left.remove(partner)]);
    }
    if let (Some(last), Some(group)) = (left.pop(), joined.last_mut()) {
        group.push(last);
    }
    joined
}

/// Nets of which wires could be exchanged.
fn exchanged(bench: &Bench<'_, '_>) -> BTreeSet<[usize; 2]> {
    let situation = bench.trial.situation;
    let net = |element: &Element| match element {
        Element::Wire(wire) => situation.nets.of(situation.node(situation.harness.wires[*wire].ends[0])),
        _ => usize::MAX,
    };
    let crossed = |(fault, _): (Fault, f64)| match fault {
        Fault::Crossed(..) => match &fault.elements()[..] {
            [a, b] => Some([net(a).min(net(b)), net(a).max(net(b))]),
            _ => None,
        },
        _ => None,
    };
    bench.trial.universe.iter().filter_map(crossed).collect()
}
