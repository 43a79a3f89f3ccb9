//! What a fault has done to the machine by the time of a reading: fuses that it has blown stay blown.
//!
//! Comes in: the setups of a record in their order. Goes out: for a hypothesis and a reading, every way the machine may
//! be by then. Why: a short that is read after a fuse has blown reads like an open.

use std::collections::{BTreeMap, BTreeSet};

use super::hypothesis::Hypothesis;
use crate::circuit::{Change, ChangeKey, Corner, Lean, Operating};
use crate::definition::Harness;
use crate::fault::Universe;
use crate::measure::Situation;
use crate::netlist::{LinkId, Netlist};
use crate::setup::Power;

/// Fuses that each fault has blown by the time of each reading: what is blown stays blown.
pub(super) struct Memory<'a> {
    harness: &'a Harness,
    pub netlist: &'a Netlist,
    pub universe: &'a Universe,
    /// The situation of each reading, in the order of the record.
    history: Vec<&'a Situation<'a>>,
    /// By what is changed, so that faults of one link share theirs.
    known: BTreeMap<Vec<ChangeKey>, Vec<BTreeSet<LinkId>>>,
    /// A fuse that is taken for blown before the first reading, whatever the record did.
    earlier: Option<LinkId>,
}

impl<'a> Memory<'a> {
    pub(super) fn new(
        harness: &'a Harness,
        netlist: &'a Netlist,
        universe: &'a Universe,
        history: Vec<&'a Situation<'a>>,
    ) -> Self {
        Self { harness, netlist, universe, history, known: BTreeMap::new(), earlier: None }
    }

    /// From now on a fuse is taken for blown before the first reading, or none is.
    pub(super) fn suppose_blown(&mut self, fuse: Option<LinkId>) {
        self.earlier = fuse;
    }

    /// Every way the machine may be at a reading: with the fault alone, and with the fuses that it has
    /// blown until then (somebody may have put in new ones, or not). `None`: after the last reading.
    pub(super) fn ways(&mut self, hypothesis: Hypothesis, reading: Option<usize>) -> Vec<Vec<Change>> {
        let mut ways = hypothesis.changes(self.harness, self.netlist, self.universe);
        if !hypothesis.can_blow() {
            return ways;
        }
        let blown = self.blown(&ways[0]);
        let until = reading.or(blown.len().checked_sub(1));
        let fuses = until.and_then(|at| blown.get(at)).cloned().unwrap_or_default();
        if let Some(fuse) = self.earlier {
            let open = fuses.iter().chain([&fuse]).map(|fuse| Change::Open(*fuse));
            return vec![ways[0].iter().copied().chain(open).collect()];
        }
        if !fuses.is_empty() {
            let open = fuses.iter().map(|fuse| Change::Open(*fuse));
            let with = ways[0].iter().copied().chain(open).collect();
            ways.push(with);
        }
        ways
    }

    /// The readings up to one by which a hypothesis has blown a fuse: what it predicts hangs on them.
    pub(super) fn blown_by(&mut self, hypothesis: Hypothesis, reading: usize) -> Vec<usize> {
        if !hypothesis.can_blow() {
            return Vec::new();
        }
        let ways = hypothesis.changes(self.harness, self.netlist, self.universe);
        let blown = self.blown(&ways[0]);
        let count = |at: usize| blown.get(at).map_or(0, BTreeSet::len);
        (0..=reading).filter(|at| count(*at) > at.checked_sub(1).map_or(0, count)).collect()
    }

    fn blown(&mut self, changes: &[Change]) -> &[BTreeSet<LinkId>] {
        let history = &self.history;
        self.known.entry(changes.iter().map(Change::key).collect()).or_insert_with(|| {
            let mut so_far = BTreeSet::new();
            let mut of_setup: BTreeMap<_, BTreeSet<LinkId>> = BTreeMap::new();
            let mut after = Vec::new();
            for situation in history {
                if situation.setup.power() == Power::Connected {
                    let fresh = of_setup.entry(&situation.setup).or_insert_with(|| blows(situation, changes));
                    so_far.extend(fresh.iter().copied());
                }
                after.push(so_far.clone());
            }
            after
        })
    }
}

/// The fuses that a changed machine blows.
fn blows(situation: &Situation<'_>, changes: &[Change]) -> BTreeSet<LinkId> {
    let mut rounds = situation.solve(changes);
    // A fuse blows by the current that the machine really lets through: with the least of every resistance
    // it is the most.
    let short = changes.iter().any(|change| matches!(change, Change::Joined(..)));
    if short || rounds.iter().any(Operating::is_marginal) {
        for corner in [Corner::Low, Corner::Nominal] {
            rounds.extend(situation.solve_at(changes, corner, Lean::Early));
        }
    }
    let sound: BTreeSet<LinkId> = situation.healthy().states().all_blown().collect();
    let all = rounds.iter().flat_map(|operating| operating.states().all_blown().collect::<Vec<_>>());
    all.filter(|fuse| !sound.contains(fuse)).collect()
}
