//! Which setups make the supplies and conditions of units live at their open plugs.

use std::collections::BTreeSet;

use super::{Scope, on_circuit, with_parted};
use crate::circuit::{Corner, Unsettled, live_from, solve};
use crate::definition::{Harness, MatingId, PartKind, Point};
use crate::netlist::Netlist;
use crate::setup::{Move, Setup, combinations, moves};

/// The most switches that are moved together to make something live.
const TOGETHER: usize = 3;
/// The most setups that are tried; machines with more switches are planned from single moves.
const TRIED: usize = 400;

/// A setup, and the pairs of points to read in it.
pub(super) type Supplied = (Setup, Vec<[Point; 2]>);

/// A supply or condition of a unit, to be read against the unit's return.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Target {
    red: Point,
    black: Point,
}

/// A few moves of switches that make every supply and condition live at least once: each setup with
/// the pairs of points to read in it.
///
/// Greedy: the first setup, by number of moves, that makes something live is taken; then moves are added
/// to it as long as they make more live and nothing dead. Cost: one solution per setup tried, at most
/// [`TRIED`] and one per move added.
pub(super) fn supplies(
    harness: &Harness,
    netlist: &Netlist,
    scope: &Scope,
    parted: &BTreeSet<MatingId>,
) -> Result<Vec<Supplied>, Unsettled> {
    let search = Search { harness, netlist, parted };
    let all = targets(harness, scope, parted);
    let mut left = all.clone();
    let mut found = Vec::new();
    for start in combinations(harness, TOGETHER, TRIED) {
        if left.is_empty() {
            break;
        }
        let mut live = search.live(&start, &left)?;
        if live.is_empty() {
            continue;
        }
        let mut chosen = start;
        for step in moves(harness) {
            if chosen.iter().any(|(switch, _)| *switch == step.0) {
                continue;
            }
            let mut more = chosen.clone();
            more.push(step);
            let with = search.live(&more, &left)?;
            if with.len() > live.len() && live.is_subset(&with) {
                (chosen, live) = (more, with);
            }
        }
        left.retain(|target| !live.contains(target));
        found.push((search.setup(&chosen), search.live(&chosen, &all)?));
    }
    Ok(fewest(found))
}

/// Leaves out setups in which nothing is live that another does not show too, and reads each target in
/// the first setup that is left.
fn fewest(mut found: Vec<(Setup, BTreeSet<Target>)>) -> Vec<(Setup, Vec<[Point; 2]>)> {
    let mut at = 0;
    while at < found.len() {
        let others: BTreeSet<Target> = found
            .iter()
            .enumerate()
            .filter(|(other, _)| *other != at)
            .flat_map(|(_, (_, live))| live)
            .copied()
            .collect();
        if found[at].1.is_subset(&others) {
            found.remove(at);
        } else {
            at += 1;
        }
    }
    let mut read = BTreeSet::new();
    let assign = |(setup, live): (Setup, BTreeSet<Target>)| {
        let fresh: Vec<[Point; 2]> =
            live.into_iter().filter(|t| read.insert(*t)).map(|t| [t.red, t.black]).collect();
        (setup, fresh)
    };
    found.into_iter().map(assign).collect()
}

/// The machine with some plugs off, in which switches are moved.
struct Search<'a> {
    harness: &'a Harness,
    netlist: &'a Netlist,
    parted: &'a BTreeSet<MatingId>,
}

impl Search<'_> {
    fn setup(&self, moves: &[Move]) -> Setup {
        let isolated =
            moves.iter().fold(with_parted(self.parted), |s, (switch, at)| s.set(self.harness, *switch, *at));
        isolated.connect().into()
    }

    /// The targets that are live after some moves.
    fn live(&self, moves: &[Move], targets: &BTreeSet<Target>) -> Result<BTreeSet<Target>, Unsettled> {
        let operating = solve(self.harness, self.netlist, &self.setup(moves), &[], Corner::Nominal)?;
        let threshold = live_from(self.harness).get();
        let is_live = |target: &&Target| {
            let [red, black] = [target.red, target.black].map(|p| self.harness.point_index(p));
            operating.volts_between(red, black).abs() >= threshold
        };
        Ok(targets.iter().filter(is_live).copied().collect())
    }
}

/// Supplies and conditions of functions whose unit plugs are off, at the harness side.
fn targets(harness: &Harness, scope: &Scope, parted: &BTreeSet<MatingId>) -> BTreeSet<Target> {
    let mut targets = BTreeSet::new();
    for part in harness.parts.values() {
        let PartKind::Unit { functions } = &part.kind else { continue };
        for function in functions {
            let black = function.ground.and_then(|g| outside(harness, g, parted)).unwrap_or(Point::Chassis);
            for point in std::iter::once(function.supply).chain(function.when.iter().copied()) {
                let Some(red) = outside(harness, point, parted) else { continue };
                if scope.circuit.as_ref().is_none_or(|c| on_circuit(harness, red, c)) {
                    targets.insert(Target { red, black });
                }
            }
        }
    }
    targets
}

/// The harness contact that a unit's contact was plugged into, if that plug is off.
fn outside(harness: &Harness, point: Point, parted: &BTreeSet<MatingId>) -> Option<Point> {
    let Point::Contact(id) = point else { return None };
    let contact = &harness.contacts[id];
    let mating = harness.connectors[contact.connector].mating?;
    parted.contains(&mating).then_some(Point::Contact(contact.mate?))
}
