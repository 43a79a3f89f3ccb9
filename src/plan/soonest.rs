//! Which readings first, so that a fault shows early.
//!
//! Comes in: for each reading the faults that it shows; how likely each fault is; what earlier readings have
//! shown. Goes out: the readings in an order that finds likely faults soonest. Why: whoever looks for a fault
//! stops at the first bad reading.
//!
//! Each time the reading with the most probability for its time is taken (P over C: Kadane and Simon,
//! Management Science 24, 1977; from memory). A fault that an earlier reading shows does not count again. All
//! readings at a station take the same time, so probability decides there; between stations the walk counts.

use std::cmp::{Ordering, Reverse};
use std::collections::{BTreeMap, BTreeSet, BinaryHeap};

use crate::definition::{Kind, StationId};
use crate::fault::Fault;

/// A weight that can be compared.
#[derive(Debug, Clone, Copy)]
struct Weight(f64);

impl PartialEq for Weight {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Weight {}

impl PartialOrd for Weight {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Weight {
    fn cmp(&self, other: &Self) -> Ordering {
        self.0.total_cmp(&other.0)
    }
}

/// What is known of faults, and which have been shown.
pub(super) struct Shown {
    /// By number: faults are numbered in their own order, each once.
    weights: Vec<f64>,
    seen: Vec<bool>,
}

/// Readings at one station, or at none in particular.
type AtStation = BTreeMap<Option<StationId>, Vec<usize>>;

impl Shown {
    /// Nothing has been shown yet.
    pub(super) fn new(mut weights: Vec<(Fault, f64)>) -> Self {
        weights.sort_by_key(|(fault, _)| *fault);
        weights.dedup_by_key(|(fault, _)| *fault);
        Self {
            seen: vec![false; weights.len()],
            weights: weights.into_iter().map(|(_, weight)| weight).collect(),
        }
    }

    /// Readings of one phase in order: those for which one need not walk, then the station where one stands,
    /// then the other stations, what finds most for its time first, last the one that one is to leave from. At a
    /// station continuity comes before isolation: an open wire is apart from everything, and the meter keeps its
    /// function.
    pub(super) fn order(
        &mut self,
        mut at: AtStation,
        [enters, leaves]: [Option<StationId>; 2],
        covers: &[&[u32]],
        kinds: &[Kind],
        seconds: impl Fn(StationId, usize) -> f64,
    ) -> Vec<usize> {
        let mut order = Vec::new();
        let rate = |shown: &Self, station: Option<StationId>, readings: &[usize]| {
            let fresh = shown.fresh(readings.iter().map(|reading| covers[*reading]));
            let time = station.map_or(1.0, |station| seconds(station, readings.len()));
            (station != leaves, Weight(fresh / time.max(1.0)), Reverse(station))
        };
        let mut here: Vec<Option<StationId>> = vec![None, enters];
        let mut heap: BinaryHeap<_> =
            at.iter().map(|(station, readings)| rate(self, *station, readings)).collect();
        while !at.is_empty() {
            here.retain(|station| at.contains_key(station));
            let station = match here.first() {
                Some(station) => *station,
                // What is new at a station only becomes less, so only what comes to the top is weighed again.
                None => loop {
                    let Some((.., Reverse(station))) = heap.pop() else { break None };
                    let Some(readings) = at.get(&station) else { continue };
                    let now = rate(self, station, readings);
                    if heap.peek().is_none_or(|next| *next <= now) {
                        break station;
                    }
                    heap.push(now);
                },
            };
            let Some(readings) = at.remove(&station) else { break };
            for kind in kinds.iter().collect::<BTreeSet<_>>() {
                let of_kind: Vec<usize> =
                    readings.iter().copied().filter(|reading| kinds[*reading] == *kind).collect();
                order.extend(self.sort(&of_kind, covers));
            }
        }
        order
    }

    /// How much of what some readings show is new.
    fn fresh<'f>(&self, covers: impl Iterator<Item = &'f [u32]>) -> f64 {
        let mut new: Vec<u32> =
            covers.flatten().copied().filter(|fault| !self.seen[*fault as usize]).collect();
        new.sort_unstable();
        new.dedup();
        new.iter().map(|fault| self.weights[*fault as usize]).sum()
    }

    /// The readings in the order that shows likely faults soonest; those that show nothing new keep their
    /// order at the end. What they show counts as shown from then on.
    ///
    /// Cost: a reading is weighed again only when it comes to the top, for what is new in it only becomes less.
    fn sort(&mut self, readings: &[usize], covers: &[&[u32]]) -> Vec<usize> {
        let mut heap: BinaryHeap<(Weight, Reverse<usize>, usize)> = readings
            .iter()
            .enumerate()
            .map(|(at, reading)| (self.weight(covers[*reading]), Reverse(at), *reading))
            .collect();
        let mut sorted = Vec::new();
        while let Some((_, at, reading)) = heap.pop() {
            let now = (self.weight(covers[reading]), at, reading);
            if heap.peek().is_some_and(|next| *next > now) {
                heap.push(now);
                continue;
            }
            sorted.push(reading);
            covers[reading].iter().for_each(|fault| self.seen[*fault as usize] = true);
        }
        sorted
    }

    fn weight(&self, covers: &[u32]) -> Weight {
        // Those of one reading stand in order, each once.
        let new = covers.iter().filter(|fault| !self.seen[**fault as usize]);
        Weight(new.map(|fault| self.weights[*fault as usize]).sum())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::definition::{Id, WireId};

    fn fault(number: usize) -> Fault {
        Fault::ToChassis(WireId::from_index(number))
    }

    /// Worked out by hand: reading 0 shows faults 1 and 2 (5 in all), reading 1 fault 2 alone (4), reading 2
    /// faults 2 and 3 (4.5). After reading 0 fault 2 is known, so reading 2 is worth 0.5 and reading 1 nothing.
    #[test]
    fn what_is_shown_does_not_count_again() {
        let weights = vec![(fault(1), 1.0), (fault(2), 4.0), (fault(3), 0.5)];
        let covers: [&[u32]; 3] = [&[0, 1], &[1], &[1, 2]];
        let mut shown = Shown::new(weights.clone());
        assert_eq!(shown.sort(&[1, 0, 2], &covers), [0, 2, 1]);
        assert_eq!(shown.seen, [true; 3]);
        // With fault 2 known before, what is left of each decides.
        let mut shown = Shown { seen: vec![false, true, false], ..Shown::new(weights) };
        assert_eq!(shown.sort(&[2, 1, 0], &covers), [0, 2, 1]);
    }
}
