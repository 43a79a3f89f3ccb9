//! Isolation of groups: one contact against the strapped rest, or half against half.
//!
//! The nets at one place are the members; two of them that must be proven apart are a pair. One reading of a
//! member against all others strapped proves all its pairs at once, so members are taken out of the strap one by one,
//! those with most pairs left first, until no pair is left: n − 1 readings where everything can touch everything,
//! fewer where not. Half against half: members are numbered so that two of a pair never have the same number, and for
//! each binary digit those with a one are read against those with a zero. Where everything can touch everything that
//! is the counting sequence.

use std::collections::{BTreeMap, BTreeSet};

use super::{Asked, Bench, Group, Proposal};
use crate::definition::{ConnectorId, Kind, Point};
use crate::measure::{Situation, Stress};
use crate::plan::bounds::{ceil_log2, side};
use crate::setup::{Place, Setup, Strap};

pub(super) const TITLE: &str = "Isolation of groups, without power";
const PURPOSE: &str = "apart";

/// Members and pairs at one place; the place of a member among the members stands for it.
struct Set {
    place: Place,
    /// Where each member is probed or clipped; the chassis is the first where it is among them.
    members: Vec<Point>,
    pairs: BTreeSet<[usize; 2]>,
    /// The readings that the pairs come from.
    readings: Vec<usize>,
}

pub(super) fn propose(bench: &mut Bench<'_, '_>, halves_too: bool) {
    let mut left = candidates(bench);
    let places = members_at(bench, &left);
    let mut open: BTreeSet<Place> = places.keys().copied().collect();
    // Places with most to prove first; what one has proven the next need not.
    while let Some(set) = open
        .iter()
        .map(|place| set(bench, *place, &places[place], &left))
        .max_by_key(|set| (set.readings.len(), std::cmp::Reverse(set.place)))
    {
        open.remove(&set.place);
        if set.readings.len() < 2 {
            break;
        }
        if try_set(bench, &set, halves_too) {
            left.retain(|at| bench.kept[*at]);
        }
    }
}

/// Isolation readings with the meter that most of them get, near no hazard mark.
fn candidates(bench: &Bench<'_, '_>) -> Vec<usize> {
    let stress = Stress::new(bench.trial.situation);
    let isolation = |at: &usize| {
        let measurement = &bench.measurements[*at];
        bench.is_free(*at) && measurement.kind() == Kind::Isolation && stress.hazard(measurement).is_none()
    };
    let all: Vec<usize> = (0..bench.kept.len()).filter(isolation).collect();
    let mut meters: BTreeMap<&str, usize> = BTreeMap::new();
    for meter in all.iter().filter_map(|at| bench.meter(*at)) {
        *meters.entry(meter).or_default() += 1;
    }
    let usual = meters.into_iter().max_by_key(|(_, count)| *count).map(|(meter, _)| meter);
    all.into_iter().filter(|at| bench.meter(*at) == usual).collect()
}

fn islands(situation: &Situation<'_>, bench: &Bench<'_, '_>, reading: usize) -> [u32; 2] {
    let measurement = &bench.measurements[reading];
    [measurement.red(), measurement.black()].map(|p| situation.healthy().island(situation.node(p)))
}

/// Where at each place each island of the readings can be clipped: at the connector that has most of them.
fn members_at(bench: &Bench<'_, '_>, readings: &[usize]) -> BTreeMap<Place, BTreeMap<u32, Point>> {
    let situation = bench.trial.situation;
    let harness = situation.harness;
    let wanted: BTreeSet<u32> = readings.iter().flat_map(|at| islands(situation, bench, *at)).collect();
    let chassis = situation.healthy().island(situation.netlist.chassis());
    let mut points: BTreeMap<Place, Vec<(u32, Point)>> = BTreeMap::new();
    for point in harness.points().filter(|point| situation.setup.takes_clip(harness, *point)) {
        let island = situation.healthy().island(situation.node(point));
        let Some(place) = Place::of(harness, point) else { continue };
        if wanted.contains(&island) && island != chassis {
            points.entry(place).or_default().push((island, point));
        }
    }
    let members = |points: Vec<(u32, Point)>| {
        let connector = |point: Point| match point {
            Point::Contact(id) => Some(harness.contacts[id].connector),
            _ => None,
        };
        let mut count: BTreeMap<Option<ConnectorId>, usize> = BTreeMap::new();
        for (_, point) in &points {
            *count.entry(connector(*point)).or_default() += 1;
        }
        let mut members: BTreeMap<u32, Point> = BTreeMap::new();
        for (island, point) in points {
            let known = members.entry(island).or_insert(point);
            if count[&connector(point)] > count[&connector(*known)] {
                *known = point;
            }
        }
        if wanted.contains(&chassis) {
            members.insert(chassis, Point::Chassis);
        }
        members
    };
    points.into_iter().map(|(place, points)| (place, members(points))).collect()
}

/// What is left to prove at one place.
fn set(bench: &Bench<'_, '_>, place: Place, clips: &BTreeMap<u32, Point>, left: &[usize]) -> Set {
    let situation = bench.trial.situation;
    let here = |at: &&usize| islands(situation, bench, **at).iter().all(|island| clips.contains_key(island));
    let readings: Vec<usize> = left.iter().filter(here).copied().collect();
    let used: BTreeSet<u32> = readings.iter().flat_map(|at| islands(situation, bench, *at)).collect();
    let mut members: Vec<(bool, Point, u32)> =
        used.into_iter().map(|island| (clips[&island] != Point::Chassis, clips[&island], island)).collect();
    members.sort_unstable();
    let number: BTreeMap<u32, usize> =
        members.iter().enumerate().map(|(at, (_, _, island))| (*island, at)).collect();
    let pair = |at: &usize| {
        let [a, b] = islands(situation, bench, *at).map(|island| number[&island]);
        [a.min(b), a.max(b)]
    };
    let pairs = readings.iter().map(pair).filter(|[a, b]| a != b).collect();
    Set { place, members: members.into_iter().map(|(_, point, _)| point).collect(), pairs, readings }
}

/// Tries both ways, the quicker one first.
fn try_set(bench: &mut Bench<'_, '_>, set: &Set, halves_too: bool) -> bool {
    let base = bench.trial.situation.setup.clone();
    let bound = ceil_log2(clique(set));
    let proposal = |phases| Proposal { replaced: set.readings.clone(), phases, title: TITLE, bound };
    let mut ways = Vec::new();
    ways.extend(one_by_one(bench, set, &base).map(|phases| (false, proposal(phases))));
    if halves_too {
        ways.extend(by_halves(bench, set, &base).map(|phases| (true, proposal(phases))));
    }
    let seconds = |proposal: &Proposal| {
        let readings = crate::setup::READING_SECONDS.get() * proposal.phases.len() as f64;
        bench.seconds(proposal.phases.iter().map(|(setup, _)| setup)) + readings
    };
    let mut timed: Vec<(f64, bool, Proposal)> =
        ways.into_iter().map(|(halves, proposal)| (seconds(&proposal), halves, proposal)).collect();
    timed.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    for (_, halves, proposal) in timed {
        if let Some((pairs, tests)) = bench.accept(&proposal) {
            let (place, nets) = (set.place, set.members.len());
            bench.aided.groups.push(Group { place, nets, pairs, tests, bound: bound.min(tests), halves });
            return true;
        }
    }
    false
}

/// Each member in turn against all that are still strapped.
fn one_by_one(bench: &Bench<'_, '_>, set: &Set, base: &Setup) -> Option<Vec<(Setup, Vec<Asked>)>> {
    let mut pairs = set.pairs.clone();
    let mut strapped: Vec<usize> = (0..set.members.len()).collect();
    let mut phases = Vec::new();
    while !pairs.is_empty() {
        let degree = |member: usize| pairs.iter().filter(|pair| pair.contains(&member)).count();
        // Of equals the first; the chassis, which no clip needs to leave, before all others.
        let next = strapped.iter().copied().max_by_key(|member| {
            let chassis = set.members[*member] == Point::Chassis && degree(*member) > 0;
            (chassis, degree(*member), std::cmp::Reverse(*member))
        })?;
        strapped.retain(|member| *member != next);
        pairs.retain(|pair| !pair.contains(&next));
        let rest: Vec<Point> = strapped.iter().map(|member| set.members[*member]).collect();
        let (red, black) = match set.members[next] {
            Point::Chassis => (*rest.first()?, Point::Chassis),
            point => (point, *rest.first()?),
        };
        let setup = strap(bench, base.clone(), &rest)?;
        phases.push((setup, vec![Asked { kind: Kind::Isolation, red, black, purpose: PURPOSE }]));
    }
    Some(phases)
}

/// Those with a one in their number against those with a zero, digit by digit.
fn by_halves(bench: &Bench<'_, '_>, set: &Set, base: &Setup) -> Option<Vec<(Setup, Vec<Asked>)>> {
    let numbers = numbers(set);
    let count = numbers.iter().max().map_or(0, |most| most + 1);
    let mut phases = Vec::new();
    for digit in 0..ceil_log2(count) {
        let half = |one: bool| -> Vec<Point> {
            let on = |at: &usize| side(numbers[*at], digit) == one;
            (0..set.members.len()).filter(on).map(|at| set.members[at]).collect()
        };
        let [zeros, ones] = [half(false), half(true)];
        let setup = strap(bench, strap(bench, base.clone(), &zeros)?, &ones)?;
        if setup.loopback_plugs(bench.harness()) > 0 {
            // Nobody gets to the contacts of a connector that a plug is on.
            return None;
        }
        // The chassis is the first member, and the first number is nought.
        let (red, black) = (*ones.first()?, *zeros.first()?);
        phases.push((setup, vec![Asked { kind: Kind::Isolation, red, black, purpose: PURPOSE }]));
    }
    Some(phases)
}

/// A number for each member, so that two of a pair never share one: the smallest that is free, those with most pairs
/// first (Welsh and Powell 1967); the chassis before all.
fn numbers(set: &Set) -> Vec<usize> {
    let count = set.members.len();
    let degree = |member: usize| set.pairs.iter().filter(|pair| pair.contains(&member)).count();
    let mut order: Vec<usize> = (0..count).collect();
    order.sort_by_key(|member| {
        (set.members[*member] != Point::Chassis, std::cmp::Reverse(degree(*member)), *member)
    });
    let mut numbers = vec![usize::MAX; count];
    for member in order {
        let beside = |pair: &&[usize; 2]| pair.contains(&member);
        let taken: BTreeSet<usize> =
            set.pairs.iter().filter(beside).flatten().map(|other| numbers[*other]).collect();
        numbers[member] = (0..count).find(|number| !taken.contains(number)).unwrap_or(0);
    }
    numbers
}

/// How many members can all touch each other, found from the one with most pairs on: no grouping tells fewer than
/// their number apart.
fn clique(set: &Set) -> usize {
    let degree = |member: usize| set.pairs.iter().filter(|pair| pair.contains(&member)).count();
    let mut order: Vec<usize> = (0..set.members.len()).collect();
    order.sort_by_key(|member| (std::cmp::Reverse(degree(*member)), *member));
    let mut clique: Vec<usize> = Vec::new();
    for member in order {
        let touches = |other: &usize| set.pairs.contains(&[member.min(*other), member.max(*other)]);
        if clique.iter().all(touches) {
            clique.push(member);
        }
    }
    clique.len()
}

/// A setup with some points strapped, where there are two of them.
fn strap(bench: &Bench<'_, '_>, setup: Setup, points: &[Point]) -> Option<Setup> {
    let harness = bench.harness();
    if points.len() < 2 {
        return Some(setup);
    }
    let strap = Strap::new(harness, points.iter().copied()).ok()?;
    setup.fit(harness, strap).ok()
}
