//! What a reading shows for sure.
//!
//! Comes in: the readings of one setup with what a healthy machine must show. Goes out: for each, the
//! faults that it shows for sure. Every fault is put into the machine and every reading predicted; a step
//! covers a fault only if the reading would leave the healthy interval by more than the meter's
//! uncertainty. An open beside a parallel path or a load may stay within it: it is hidden, and is not
//! claimed.
//!
//! Cost: a low-rank change of the healthy machine for each distinct change that a reading can feel. Without power only
//! readings whose current shares a branch with the change are predicted, or that lie across what it joins: near-linear
//! in wires and in what there is to claim. With power it is nearly everything, and every voltage.

use std::collections::{BTreeMap, BTreeSet};

use crate::circuit::{Change, Corner, Lean, Operating, Way};
use crate::fault::{Fault, Universe};
use crate::measure::{Expectation, Measurement, Prediction, Situation};
use crate::setup::Power;

/// A reading, and what a healthy machine must show with the meter it is taken with.
pub(super) struct Question<'a> {
    pub measurement: &'a Measurement,
    pub expect: &'a Expectation,
}

/// With power every fault changes every voltage. Beyond so many faults times links they are not tried then: some
/// seconds for each setup.
const MOST: usize = 400_000_000;

/// Of more readings times changes than this, an isolation reading claims what joins its own two nets, and what lies
/// further off only where nothing else shows it: otherwise what there is to claim grows with the square of wires.
const WIDE: usize = 60_000_000;

/// Whether faults are tried in a setup at all; where they are not, its readings claim nothing.
pub(super) fn tries(situation: &Situation<'_>, universe: &Universe) -> bool {
    let work = universe.len().saturating_mul(situation.netlist.links().len());
    situation.setup.power() == Power::Isolated || work <= MOST
}

/// For each reading of a setup, the faults that it shows for sure, in the order of the universe.
pub(super) fn covered(
    situation: &Situation<'_>,
    universe: &Universe,
    questions: &[Question<'_>],
) -> Vec<Vec<Fault>> {
    let mut covered = vec![Vec::new(); questions.len()];
    if !tries(situation, universe) {
        return covered;
    }
    let changes = universe.by_change(situation.harness, situation.netlist);
    let wide = questions.len().saturating_mul(changes.len()) <= WIDE;
    let cover = Cover::new(situation, questions);
    for (changes, faults) in changes {
        if !cover.may_feel(changes) {
            continue;
        }
        let mut shown = if wide { Vec::new() } else { cover.shown(changes, true) };
        if shown.is_empty() {
            shown = cover.shown(changes, false);
        }
        for at in shown {
            covered[at].extend(faults.iter().copied());
        }
    }
    for faults in &mut covered {
        faults.sort_unstable();
    }
    covered
}

/// The readings of a setup, with what every fault needs to know of them.
struct Cover<'a> {
    situation: &'a Situation<'a>,
    questions: &'a [Question<'a>],
    /// The ways between the probes in the healthy machine, and through connected units if there are any.
    ways: Vec<Way>,
    through_units: Vec<Way>,
    /// The readings that have a probe in each island of the healthy machine.
    at_island: BTreeMap<u32, Vec<usize>>,
    /// Without power: the readings whose current goes through each place of the elimination tree.
    at_place: BTreeMap<usize, Vec<usize>>,
    /// The readings between two islands, and those of them between two nets.
    across: BTreeMap<[u32; 2], Vec<usize>>,
    across_nets: BTreeMap<[usize; 2], Vec<usize>>,
}

impl<'a> Cover<'a> {
    fn new(situation: &'a Situation<'a>, questions: &'a [Question<'a>]) -> Self {
        let along = |machine: &Operating| -> Vec<Way> {
            questions.iter().map(|q| situation.way(machine, q.measurement)).collect()
        };
        let ways = along(situation.healthy());
        let mut at_island: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
        let mut across: BTreeMap<[u32; 2], Vec<usize>> = BTreeMap::new();
        let mut across_nets: BTreeMap<[usize; 2], Vec<usize>> = BTreeMap::new();
        let mut at_place: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for (at, way) in ways.iter().enumerate() {
            let [a, b] = way.ends().map(|node| situation.healthy().island(node));
            for island in BTreeSet::from([a, b]) {
                at_island.entry(island).or_default().push(at);
            }
            if a == b {
                way.places().for_each(|place| at_place.entry(place).or_default().push(at));
            } else {
                across.entry([a.min(b), a.max(b)]).or_default().push(at);
                let [a, b] = way.ends().map(|node| situation.nets.of(node));
                across_nets.entry([a.min(b), a.max(b)]).or_default().push(at);
            }
        }
        let through_units = situation.healthy_through_units().map(along).unwrap_or_default();
        Self { situation, questions, ways, through_units, at_island, at_place, across, across_nets }
    }

    /// Whether any reading has a probe in an island that a change touches.
    fn may_feel(&self, changes: &[Change]) -> bool {
        self.touched(changes).iter().any(|island| self.at_island.contains_key(island))
    }

    /// The islands that a change touches.
    fn touched(&self, changes: &[Change]) -> BTreeSet<u32> {
        let (netlist, healthy) = (self.situation.netlist, self.situation.healthy());
        // What carries nothing either way is not missed.
        let idle = |change: &&Change| match **change {
            Change::Open(link) | Change::Added(link, _) => {
                netlist.link(link).is_conductor() && !healthy.conducts(link)
            }
            _ => false,
        };
        let nodes = changes.iter().filter(|change| !idle(change)).flat_map(|change| change.nodes(netlist));
        nodes.map(|node| healthy.island(node)).collect()
    }

    /// The readings that a change can be felt in: with power those with a probe in an island that it touches; without,
    /// those whose current shares a branch with the change or that lie across islands that it may join.
    fn felt(&self, changes: &[Change], machine: &Operating, near: bool) -> BTreeSet<usize> {
        let isolated = self.situation.setup.power() == Power::Isolated;
        let Some(differences) = machine.differs_along().filter(|_| isolated) else {
            let islands = self.touched(changes);
            return islands
                .iter()
                .filter_map(|island| self.at_island.get(island))
                .flatten()
                .copied()
                .collect();
        };
        let healthy = self.situation.healthy();
        let across = |way: &&Way| {
            let [a, b] = way.ends().map(|node| healthy.island(node));
            a != b
        };
        let differences: Vec<&Way> = differences.collect();
        // A single joint between islands carries nothing: current that went over it could not come back.
        let closes_no_ring = differences.iter().filter(|way| across(way)).count() <= 1;
        let carries = |way: &&&Way| !(closes_no_ring && across(way));
        let places: BTreeSet<usize> =
            differences.iter().filter(carries).flat_map(|way| way.places()).collect();
        let nodes: BTreeSet<usize> = differences.iter().flat_map(|way| way.ends()).collect();
        let mut felt: BTreeSet<usize> =
            places.iter().filter_map(|place| self.at_place.get(place)).flatten().copied().collect();
        if near {
            let pairs = pairs(nodes.iter().map(|node| self.situation.nets.of(*node)));
            felt.extend(pairs.iter().filter_map(|pair| self.across_nets.get(pair)).flatten());
        } else {
            let pairs = pairs(nodes.iter().map(|node| healthy.island(*node)));
            felt.extend(pairs.iter().filter_map(|pair| self.across.get(pair)).flatten());
        }
        felt
    }

    /// Those of the readings that show a change for sure: whichever way the machine settles, with
    /// thresholds at either end where that matters, and whatever connected units have inside.
    fn shown(&self, changes: &[Change], near: bool) -> Vec<usize> {
        let machines = self.situation.solve(changes);
        let Some((first, others)) = machines.split_first() else { return Vec::new() };
        let side = |at: usize| Some((at, self.side(at, first, &self.ways[at])?));
        let felt = self.felt(changes, first, near);
        let mut shown: Vec<(usize, bool)> = felt.into_iter().filter_map(side).collect();
        // All on one side: between a reading above and one below lies one that a healthy machine shows.
        let keep = |shown: &mut Vec<(usize, bool)>, machines: &[Operating], ways: &[Way]| {
            let stands = |at: usize, side| machines.iter().all(|m| self.side(at, m, &ways[at]) == Some(side));
            shown.retain(|(at, side)| stands(*at, *side));
        };
        keep(&mut shown, others, &self.ways);
        let powered = self.situation.setup.power() == Power::Connected;
        if powered && !shown.is_empty() && machines.iter().any(Operating::is_marginal) {
            for lean in Lean::OUTER {
                let machines = self.situation.solve_at(changes, Corner::Nominal, lean);
                keep(&mut shown, &machines, &self.ways);
            }
        }
        if !shown.is_empty() {
            let through: Vec<Operating> = self.situation.solve_through_units(changes).into_iter().collect();
            keep(&mut shown, &through, &self.through_units);
        }
        shown.into_iter().map(|(at, _)| at).collect()
    }

    /// Whether a reading would lie above what is healthy (else below); `None` where the meter would not show for
    /// sure that it is neither.
    fn side(&self, at: usize, machine: &Operating, way: &Way) -> Option<bool> {
        let Question { measurement, expect } = &self.questions[at];
        let reading = self.situation.read_along(machine, way, measurement.kind());
        expect.excludes(reading, measurement.kind(), &expect.meter).then(|| above(reading, expect))
    }
}

/// Every two of some different things, the lesser first.
fn pairs<T: Ord + Copy>(all: impl Iterator<Item = T>) -> Vec<[T; 2]> {
    let all: Vec<T> = all.collect::<BTreeSet<T>>().into_iter().collect();
    all.iter().enumerate().flat_map(|(at, a)| all[at + 1..].iter().map(|b| [*a, *b])).collect()
}

/// Whether a reading outside an interval lies above it.
fn above(reading: Prediction, expect: &Expectation) -> bool {
    match reading {
        Prediction::Open => true,
        Prediction::Ohms(value) | Prediction::Volts(value) => expect.high.is_some_and(|high| value > high),
    }
}
