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

use std::collections::HashMap;

use super::hands::{Hands, in_parts};
use crate::circuit::{Bundle, Change, Corner, Felt, Lean, Operating, Way};
use crate::fault::{Fault, Universe};
use crate::measure::{Bar, Expectation, Measurement, Prediction, Situation};
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

/// The faults that a reading shows for sure, in order.
#[derive(Debug, Clone, Default)]
pub(super) struct Shows {
    pub faults: Vec<Fault>,
    /// Their numbers among all faults of the universe.
    pub numbers: Vec<u32>,
}

/// For each reading of a setup, the faults that it shows for sure.
pub(super) fn covered(
    situation: &Situation<'_>,
    universe: &Universe,
    questions: &[Question<'_>],
    hands: &dyn Hands,
) -> Vec<Shows> {
    let mut covered = vec![Shows::default(); questions.len()];
    if !tries(situation, universe) {
        return covered;
    }
    let changes = universe.by_change(situation.harness, situation.netlist);
    let wide = questions.len().saturating_mul(changes.len()) <= WIDE;
    let cover = Cover::new(situation, questions);
    let shown: Vec<Vec<usize>> = in_parts((hands, 256), changes, |part| {
        let mut felt = Felt::default();
        part.iter().map(|(changes, _)| cover.shown(changes, wide, &mut felt)).collect()
    });
    // Taken fault by fault, so that those of each reading come in order.
    for (number, (fault, change)) in
        universe.in_order(situation.harness, situation.netlist).iter().enumerate()
    {
        for at in change.iter().flat_map(|change| &shown[*change]) {
            covered[*at].faults.push(*fault);
            covered[*at].numbers.push(number as u32);
        }
    }
    covered
}

/// The readings of a setup, with what every fault needs to know of them.
struct Cover<'a> {
    situation: &'a Situation<'a>,
    questions: &'a [Question<'a>],
    bars: Vec<Bar>,
    /// The ways between the probes in the healthy machine, and through connected units if there are any.
    ways: Bundle,
    through_units: Vec<Way>,
    /// The readings that have a probe in each island of the healthy machine.
    at_island: HashMap<u32, Vec<usize>>,
    /// The readings between two islands, and those of them between two nets.
    across: HashMap<[u32; 2], Vec<usize>>,
    across_nets: HashMap<[usize; 2], Vec<usize>>,
}

impl<'a> Cover<'a> {
    fn new(situation: &'a Situation<'a>, questions: &'a [Question<'a>]) -> Self {
        let along = |machine: &Operating| -> Vec<Way> {
            questions.iter().map(|q| situation.way(machine, q.measurement)).collect()
        };
        let ways = along(situation.healthy());
        let mut at_island: HashMap<u32, Vec<usize>> = HashMap::new();
        let mut across: HashMap<[u32; 2], Vec<usize>> = HashMap::new();
        let mut across_nets: HashMap<[usize; 2], Vec<usize>> = HashMap::new();
        for (at, way) in ways.iter().enumerate() {
            let [a, b] = way.ends().map(|node| situation.healthy().island(node));
            at_island.entry(a).or_default().push(at);
            if a != b {
                at_island.entry(b).or_default().push(at);
                across.entry([a.min(b), a.max(b)]).or_default().push(at);
                let [a, b] = way.ends().map(|node| situation.nets.of(node));
                across_nets.entry([a.min(b), a.max(b)]).or_default().push(at);
            }
        }
        let through_units = situation.healthy_through_units().map(along).unwrap_or_default();
        let ways = Bundle::new(situation.healthy(), ways);
        let bar = |q: &Question<'_>| q.expect.bar(q.measurement.kind(), &q.expect.meter);
        let bars = questions.iter().map(bar).collect();
        Self { situation, questions, bars, ways, through_units, at_island, across, across_nets }
    }

    /// The islands that a change touches.
    fn touched(&self, changes: &[Change]) -> Vec<u32> {
        let (netlist, healthy) = (self.situation.netlist, self.situation.healthy());
        // What carries nothing either way is not missed.
        let idle = |change: &&Change| match **change {
            Change::Open(link) | Change::Added(link, _) => {
                netlist.link(link).is_conductor() && !healthy.conducts(link)
            }
            _ => false,
        };
        let nodes = changes.iter().filter(|change| !idle(change)).flat_map(|change| change.nodes(netlist));
        distinct(nodes.map(|node| healthy.island(node)))
    }

    /// The readings that show a change for sure. Unless it is to be looked for far and wide, those further off are asked
    /// only where none that lies near shows it.
    fn shown(&self, changes: &[Change], wide: bool, felt: &mut Felt) -> Vec<usize> {
        let islands = self.touched(changes);
        if islands.iter().all(|island| !self.at_island.contains_key(island)) {
            return Vec::new();
        }
        let machines = self.situation.solve(changes);
        let Some(first) = machines.first() else { return Vec::new() };
        if self.situation.setup.power() == Power::Connected || first.differs_along().is_none() {
            // What switches otherwise can move every voltage in the islands that it touches.
            let at = islands.iter().filter_map(|island| self.at_island.get(island)).flatten().copied();
            let shown = distinct(at).into_iter().filter_map(|at| self.first(at, first));
            return self.certain(changes, &machines, shown);
        }
        self.ways.felt(first, felt);
        let within = felt.iter().filter_map(|(at, transfers)| {
            let ohms = self.ways.resistance_felt(first, at, transfers);
            self.bars[at].side(Prediction::of(ohms)).map(|side| (at, side))
        });
        let nodes = || first.differs_along().into_iter().flatten().flat_map(Way::ends);
        let far = || {
            let pairs = pairs(nodes().map(|node| self.situation.healthy().island(node)));
            let at = pairs.into_iter().filter_map(|pair| self.across.get(&pair)).flatten();
            at.filter_map(|at| self.first(*at, first))
        };
        if wide {
            return self.certain(changes, &machines, within.chain(far()));
        }
        let pairs = pairs(nodes().map(|node| self.situation.nets.of(node)));
        let near = pairs.into_iter().filter_map(|pair| self.across_nets.get(&pair)).flatten();
        let near = near.filter_map(|at| self.first(*at, first));
        let shown = self.certain(changes, &machines, within.chain(near));
        if shown.is_empty() { self.certain(changes, &machines, far()) } else { shown }
    }

    /// A reading that shows a change in the first of the machines it makes, with its side.
    fn first(&self, at: usize, machine: &Operating) -> Option<(usize, bool)> {
        let side = self.bars[at].side(self.read(at, machine, &self.ways.ways()[at]))?;
        Some((at, side))
    }

    /// Those of some readings, each with its side in the first machine, that show a change for sure: whichever way the
    /// machine settles, with thresholds at either end where that matters, and whatever connected units have inside.
    fn certain(
        &self,
        changes: &[Change],
        machines: &[Operating],
        first: impl Iterator<Item = (usize, bool)>,
    ) -> Vec<usize> {
        let mut shown: Vec<(usize, bool)> = first.collect();
        // All on one side: between a reading above and one below lies one that a healthy machine shows.
        let keep = |shown: &mut Vec<(usize, bool)>, machines: &[Operating], ways: &[Way]| {
            let is = |machine: &Operating, at: usize| self.bars[at].side(self.read(at, machine, &ways[at]));
            shown.retain(|(at, side)| machines.iter().all(|machine| is(machine, *at) == Some(*side)));
        };
        keep(&mut shown, machines.get(1..).unwrap_or_default(), self.ways.ways());
        let powered = self.situation.setup.power() == Power::Connected;
        if powered && !shown.is_empty() && machines.iter().any(Operating::is_marginal) {
            for lean in Lean::OUTER {
                let machines = self.situation.solve_at(changes, Corner::Nominal, lean);
                keep(&mut shown, &machines, self.ways.ways());
            }
        }
        if !shown.is_empty() {
            let through: Vec<Operating> = self.situation.solve_through_units(changes).into_iter().collect();
            keep(&mut shown, &through, &self.through_units);
        }
        shown.into_iter().map(|(at, _)| at).collect()
    }

    fn read(&self, at: usize, machine: &Operating, way: &Way) -> Prediction {
        self.situation.read_along(machine, way, self.questions[at].measurement.kind())
    }
}

/// Some things in order, each once.
fn distinct<T: Ord>(all: impl Iterator<Item = T>) -> Vec<T> {
    let mut all: Vec<T> = all.collect();
    all.sort_unstable();
    all.dedup();
    all
}

/// Every two of some different things, the lesser first.
fn pairs<T: Ord + Copy>(all: impl Iterator<Item = T>) -> Vec<[T; 2]> {
    let all = distinct(all);
    all.iter().enumerate().flat_map(|(at, a)| all[at + 1..].iter().map(|b| [*a, *b])).collect()
}
