//! Faults by number, so that a set of them is a row of marks.
//!
//! Comes in: faults. Goes out: a number for each, in their own order. Why: a machine of 100,000 wires has nearly a
//! million faults, and a plan asks of each again and again whether it has been shown.

use crate::fault::Fault;

/// Some faults, each once, numbered in order.
pub(super) struct Numbers(Vec<Fault>);

impl Numbers {
    pub(super) fn of(faults: impl IntoIterator<Item = Fault>) -> Self {
        let mut all: Vec<Fault> = faults.into_iter().collect();
        all.sort_unstable();
        all.dedup();
        Self(all)
    }

    pub(super) fn len(&self) -> usize {
        self.0.len()
    }

    /// The numbers of some faults; those that have none are left out. Cost: for faults in order the logarithm of how
    /// far it is from each to the next.
    pub(super) fn all(&self, faults: &[Fault]) -> Vec<usize> {
        let mut from = 0;
        let mut last = None;
        let mut number = |fault: &Fault| {
            if last.is_some_and(|last| *fault < last) {
                from = 0;
            }
            last = Some(*fault);
            let mut reach = 1;
            while self.0.get(from + reach - 1).is_some_and(|other| other < fault) {
                reach *= 2;
            }
            let near = &self.0[from..self.0.len().min(from + reach)];
            from += near.partition_point(|other| other < fault);
            (self.0.get(from) == Some(fault)).then_some(from)
        };
        faults.iter().filter_map(&mut number).collect()
    }

    /// None of them is marked.
    pub(super) fn unmarked(&self) -> Vec<bool> {
        vec![false; self.0.len()]
    }

    /// Marks some faults; those that have no number are left out.
    pub(super) fn mark(&self, faults: &[Fault], marks: &mut [bool]) {
        self.all(faults).into_iter().for_each(|number| marks[number] = true);
    }

    /// Every fault, in order.
    pub(super) fn iter(&self) -> impl Iterator<Item = Fault> + '_ {
        self.0.iter().copied()
    }
}
