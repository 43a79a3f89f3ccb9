//! A setup in which current flows along a way.
//!
//! Comes in: the hops of a way. Goes out: a setup with everything mated and power connected, with the
//! switches that must be moved and the conditions that must hold. Why: voltages on a strip are those
//! of the circuit at work, and the strip says how to bring that about.

use std::collections::{BTreeMap, BTreeSet};

use super::way::{Finder, Hop};
use crate::definition::{ConditionId, Harness, PartId, PartKind, Point};
use crate::netlist::{Link, LinkId, PartWay};
use crate::setup::{Connected, Setup, position_name, switches};

/// What must be so for current to flow.
#[derive(Default)]
struct Needs {
    /// The positions each switch on the way may stand in.
    positions: BTreeMap<PartId, BTreeSet<usize>>,
    conditions: BTreeSet<ConditionId>,
    seen: BTreeSet<LinkId>,
}

/// The setup that closes every switch, relay and driver on a way, as far as switches can.
pub(super) fn energise(finder: &Finder, hops: &[Hop]) -> Setup {
    let mut needs = Needs::default();
    let mut open: Vec<Hop> = hops.to_vec();
    while let Some(hop) = open.pop() {
        match hop {
            Hop::Link(link, ..) if needs.seen.insert(link) => open.extend(needs.close(finder, link)),
            _ => {}
        }
    }
    let mut setup = Connected::as_found();
    for (switch, _, rest) in switches(finder.harness) {
        let Some(allowed) = needs.positions.get(&switch).filter(|allowed| !allowed.contains(&rest)) else {
            continue;
        };
        if let Some(position) = best(finder.harness, switch, allowed) {
            setup = setup.set(finder.harness, switch, position);
        }
    }
    needs.conditions.into_iter().fold(setup, Connected::bring).into()
}

/// The first of the positions that would do.
fn best(harness: &Harness, switch: PartId, allowed: &BTreeSet<usize>) -> Option<usize> {
    allowed.iter().copied().find(|at| !position_name(harness, switch, *at).is_empty())
}

impl Needs {
    /// Notes what closes a link; gives back further hops that must carry current for that.
    fn close(&mut self, finder: &Finder, link: LinkId) -> Vec<Hop> {
        let Link::Part(part, way) = finder.netlist.link(link) else { return Vec::new() };
        match (way, &finder.harness.parts[part].kind) {
            (PartWay::Switch(pair), _) => {
                let closing: BTreeSet<usize> = finder.netlist.closed_in(part, pair).iter().copied().collect();
                let known = self.positions.entry(part).or_insert_with(|| closing.clone());
                let both: BTreeSet<usize> = known.intersection(&closing).copied().collect();
                if !both.is_empty() {
                    *known = both;
                }
                Vec::new()
            }
            (PartWay::Operated, PartKind::Relay { coil, .. }) => through(finder, *coil),
            (PartWay::Drive(at), PartKind::Unit { functions }) => {
                let function = &functions[at as usize];
                let fed = function.when.iter().flat_map(|point| fed(finder, *point));
                fed.chain(function.ground.into_iter().flat_map(|point| returned(finder, point))).collect()
            }
            (_, PartKind::Load { when: Some(condition), .. }) => {
                self.conditions.insert(*condition);
                Vec::new()
            }
            _ => Vec::new(),
        }
    }
}

/// The hops that feed a coil, the cheaper way round.
fn through(finder: &Finder, [a, b]: [Point; 2]) -> Vec<Hop> {
    let Some(source) = &finder.source else { return Vec::new() };
    let [a, b] = [a, b].map(|point| finder.harness.point_index(point));
    let cost = |from: usize, to: usize| Some(source.feed.cost(from)?.saturating_add(source.back.cost(to)?));
    let forward = cost(a, b).unwrap_or(u64::MAX) <= cost(b, a).unwrap_or(u64::MAX);
    let [from, to] = if forward { [a, b] } else { [b, a] };
    let hops = source.fed(from).into_iter().chain(source.returned(to));
    hops.flatten().collect()
}

fn fed(finder: &Finder, point: Point) -> Vec<Hop> {
    let node = finder.harness.point_index(point);
    finder.source.as_ref().and_then(|source| source.fed(node)).unwrap_or_default()
}

fn returned(finder: &Finder, point: Point) -> Vec<Hop> {
    let node = finder.harness.point_index(point);
    finder.source.as_ref().and_then(|source| source.returned(node)).unwrap_or_default()
}
