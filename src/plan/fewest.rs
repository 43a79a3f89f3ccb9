//! How few of a plan's readings would show the same single faults.
//!
//! Comes in: what each reading shows for sure. Goes out: the size of a cover, and what no cover can be smaller
//! than. Why: a plan reads every net and every pair for itself, so that a bad reading tells where; whoever only
//! wants to know whether all is well should know how much of it is for that.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// How many readings show all that all of them show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Fewest {
    /// So many do: each time the reading that shows most that is new (Chvátal, Mathematics of Operations Research
    /// 4, 1979; from memory).
    pub cover: usize,
    /// No fewer can: so many faults are such that no reading shows two of them.
    pub bound: usize,
}

/// `covers` holds the numbers of what each reading shows, each less than `faults`.
///
/// Cost: near-linear in all that the readings show; a reading is weighed again only when it comes to the top.
pub(super) fn fewest(covers: &[&[u32]], faults: usize) -> Fewest {
    Fewest { cover: cover(covers, vec![false; faults]), bound: apart(covers, faults) }
}

fn cover(covers: &[&[u32]], mut shown: Vec<bool>) -> usize {
    let mut taken = 0;
    let mut heap: BinaryHeap<(usize, Reverse<usize>)> =
        covers.iter().enumerate().map(|(at, faults)| (faults.len(), Reverse(at))).collect();
    while let Some((_, Reverse(at))) = heap.pop() {
        let now = (covers[at].iter().filter(|fault| !shown[**fault as usize]).count(), Reverse(at));
        if heap.peek().is_some_and(|next| *next > now) {
            heap.push(now);
        } else if now.0 > 0 {
            covers[at].iter().for_each(|fault| shown[*fault as usize] = true);
            taken += 1;
        }
    }
    taken
}

/// Faults of which no reading shows two, those that fewest readings show first.
fn apart(covers: &[&[u32]], faults: usize) -> usize {
    let mut rare: Vec<Vec<u32>> = vec![Vec::new(); faults];
    for (at, faults) in covers.iter().enumerate() {
        for fault in *faults {
            rare[*fault as usize].push(at as u32);
        }
    }
    rare.retain(|readings| !readings.is_empty());
    rare.sort_by_key(Vec::len);
    let mut used = vec![false; covers.len()];
    let mut count = 0;
    for readings in rare {
        if readings.iter().all(|at| !used[*at as usize]) {
            for at in readings {
                used[at as usize] = true;
            }
            count += 1;
        }
    }
    count
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    /// The smallest cover, by trying all sets of readings.
    fn smallest(sets: &[Vec<u32>]) -> usize {
        let all: BTreeSet<u32> = sets.iter().flatten().copied().collect();
        let shown = |chosen: usize| -> BTreeSet<u32> {
            let taken = sets.iter().enumerate().filter(|(at, _)| chosen >> at & 1 == 1);
            taken.flat_map(|(_, faults)| faults.iter().copied()).collect()
        };
        let covers = (0_usize..1 << sets.len()).filter(|chosen| shown(*chosen) == all);
        covers.map(|chosen| chosen.count_ones() as usize).min().unwrap()
    }

    #[test]
    fn the_smallest_cover_lies_between() {
        let mut state = 1_u64;
        let mut number = |end: u64| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) % end
        };
        let mut tight = 0;
        for _ in 0..200 {
            let sets: Vec<Vec<u32>> = (0..=number(8))
                .map(|_| {
                    let faults: BTreeSet<u32> = (0..number(6)).map(|_| number(12) as u32).collect();
                    faults.into_iter().collect()
                })
                .collect();
            let covers: Vec<&[u32]> = sets.iter().map(Vec::as_slice).collect();
            let Fewest { cover, bound } = fewest(&covers, 12);
            let smallest = smallest(&sets);
            assert!(bound <= smallest && smallest <= cover, "{bound} {smallest} {cover}");
            tight += usize::from(bound == cover);
        }
        assert!(tight > 100, "{tight}");
    }
}
