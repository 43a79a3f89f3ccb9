//! What a reading shows for sure.
//!
//! Comes in: the readings of one setup with what a healthy machine must show. Goes out: for each, the
//! faults that it shows for sure. Every fault is put into the machine and every reading predicted; a step
//! covers a fault only if the reading would leave the healthy interval by more than the meter's
//! uncertainty. An open beside a parallel path or a load may stay within it: it is hidden, and is not
//! claimed.
//!
//! Cost: a low-rank change of the healthy machine for each distinct change that a reading can feel. With
//! power off that is what lies in the islands of the probes; with power on it is nearly everything.

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

/// For each reading of a setup, the faults that it shows for sure, in the order of the universe.
pub(super) fn covered(
    situation: &Situation<'_>,
    universe: &Universe,
    questions: &[Question<'_>],
) -> Vec<Vec<Fault>> {
    let cover = Cover::new(situation, questions);
    let mut covered = vec![Vec::new(); questions.len()];
    for (changes, faults) in universe.by_change(situation.harness, situation.netlist) {
        let felt = cover.felt(&changes);
        if felt.is_empty() {
            continue;
        }
        for at in cover.shown(&changes, &felt) {
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
}

impl<'a> Cover<'a> {
    fn new(situation: &'a Situation<'a>, questions: &'a [Question<'a>]) -> Self {
        let along = |machine: &Operating| -> Vec<Way> {
            questions.iter().map(|q| situation.way(machine, q.measurement)).collect()
        };
        let mut at_island: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
        for (at, question) in questions.iter().enumerate() {
            let probes = [question.measurement.red(), question.measurement.black()];
            let islands = probes.map(|p| situation.healthy().island(situation.node(p)));
            for island in BTreeSet::from(islands) {
                at_island.entry(island).or_default().push(at);
            }
        }
        Self {
            situation,
            questions,
            ways: along(situation.healthy()),
            through_units: situation.healthy_through_units().map(along).unwrap_or_default(),
            at_island,
        }
    }

    /// The readings that a change can be felt in: those with a probe in an island that it touches.
    fn felt(&self, changes: &[Change]) -> Vec<usize> {
        let (netlist, healthy) = (self.situation.netlist, self.situation.healthy());
        // What carries nothing either way is not missed.
        let idle = |change: &&Change| match **change {
            Change::Open(link) | Change::Added(link, _) => {
                netlist.link(link).is_conductor() && !healthy.conducts(link)
            }
            _ => false,
        };
        let nodes = changes.iter().filter(|change| !idle(change)).flat_map(|change| change.nodes(netlist));
        let islands: BTreeSet<u32> = nodes.map(|node| healthy.island(node)).collect();
        let felt: BTreeSet<usize> =
            islands.iter().filter_map(|island| self.at_island.get(island)).flatten().copied().collect();
        felt.into_iter().collect()
    }

    /// Those of the readings that show a change for sure: whichever way the machine settles, with
    /// thresholds at either end where that matters, and whatever connected units have inside.
    fn shown(&self, changes: &[Change], felt: &[usize]) -> Vec<usize> {
        let machines = self.situation.solve(changes);
        let Some((first, others)) = machines.split_first() else { return Vec::new() };
        let side = |at: usize| Some((at, self.side(at, first, &self.ways[at])?));
        let mut shown: Vec<(usize, bool)> = felt.iter().copied().filter_map(side).collect();
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

/// Whether a reading outside an interval lies above it.
fn above(reading: Prediction, expect: &Expectation) -> bool {
    match reading {
        Prediction::Open => true,
        Prediction::Ohms(value) | Prediction::Volts(value) => expect.high.is_some_and(|high| value > high),
    }
}
