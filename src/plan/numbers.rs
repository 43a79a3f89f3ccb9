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

    /// The numbers of some faults; those that have none are left out.
    pub(super) fn all(&self, faults: &[Fault]) -> Vec<u32> {
        faults
            .iter()
            .filter_map(|fault| self.0.binary_search(fault).ok())
            .map(|number| number as u32)
            .collect()
    }

    /// None of them is marked.
    pub(super) fn unmarked(&self) -> Vec<bool> {
        vec![false; self.0.len()]
    }

    /// Marks some faults, by number.
    pub(super) fn mark(numbers: &[u32], marks: &mut [bool]) {
        for number in numbers {
            marks[*number as usize] = true;
        }
    }

    /// Every fault, in order.
    pub(super) fn iter(&self) -> impl Iterator<Item = Fault> + '_ {
        self.0.iter().copied()
    }
}
