//! The smallest set of readings that cannot all be true.
//!
//! Comes in: for every single fault, and for none, the readings that speak against it. Goes out: the fewest readings
//! among which each of them finds one against itself. Why: "contradictory" alone helps nobody; a person repeats
//! two readings, not twenty.

use std::collections::BTreeSet;

/// Sets of up to so many readings are found by trying all; larger ones by leaving out what is not needed.
const TRIED: usize = 4;
/// The most rows that are looked at while trying.
const PATIENCE: usize = 200_000;

/// The smallest set that has a reading in common with every row; empty where some row is empty, for then
/// something explains all readings.
pub(super) fn smallest(rows: &BTreeSet<BTreeSet<usize>>) -> Vec<usize> {
    if rows.iter().any(BTreeSet::is_empty) {
        return Vec::new();
    }
    // Whatever hits a row hits each row that holds it.
    let mut least: Vec<&BTreeSet<usize>> = Vec::new();
    let mut by_size: Vec<&BTreeSet<usize>> = rows.iter().collect();
    by_size.sort_by_key(|row| row.len());
    for row in by_size {
        if !least.iter().any(|known| known.is_subset(row)) {
            least.push(row);
        }
    }
    let mut patience = PATIENCE;
    let tried = (1..=TRIED).find_map(|most| hit(&least, &mut Vec::new(), most, &mut patience));
    tried.unwrap_or_else(|| without_needless(&least))
}

/// A set of at most so many that hits every row, if there is one.
fn hit(
    rows: &[&BTreeSet<usize>],
    chosen: &mut Vec<usize>,
    most: usize,
    patience: &mut usize,
) -> Option<Vec<usize>> {
    *patience = patience.checked_sub(1)?;
    let Some(row) = rows.iter().find(|row| chosen.iter().all(|one| !row.contains(one))) else {
        chosen.sort_unstable();
        return Some(chosen.clone());
    };
    if chosen.len() == most {
        return None;
    }
    for one in *row {
        chosen.push(*one);
        if let Some(found) = hit(rows, chosen, most, patience) {
            return Some(found);
        }
        chosen.retain(|other| other != one);
    }
    None
}

/// All that stands in any row, less what can be left out one by one.
fn without_needless(rows: &[&BTreeSet<usize>]) -> Vec<usize> {
    let mut kept: BTreeSet<usize> = rows.iter().flat_map(|row| row.iter().copied()).collect();
    for one in kept.clone() {
        kept.remove(&one);
        if rows.iter().any(|row| row.is_disjoint(&kept)) {
            kept.insert(one);
        }
    }
    kept.into_iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(rows: &[&[usize]]) -> BTreeSet<BTreeSet<usize>> {
        rows.iter().map(|row| row.iter().copied().collect()).collect()
    }

    #[test]
    fn the_smallest_set_meets_every_row() {
        assert_eq!(smallest(&rows(&[&[1, 2], &[2, 3], &[1, 3, 4]])), [1, 2]);
        assert_eq!(smallest(&rows(&[&[5], &[1, 2], &[2, 5]])), [1, 5]);
        assert_eq!(smallest(&rows(&[&[1, 2], &[]])), Vec::<usize>::new());
    }

    #[test]
    fn many_rows_that_share_nothing_are_all_met() {
        let apart: Vec<Vec<usize>> = (0..7).map(|at| vec![2 * at, 2 * at + 1]).collect();
        let apart: BTreeSet<BTreeSet<usize>> = apart.into_iter().map(|r| r.into_iter().collect()).collect();
        let found: BTreeSet<usize> = smallest(&apart).into_iter().collect();
        assert_eq!(found.len(), 7);
        assert!(apart.iter().all(|row| !row.is_disjoint(&found)));
    }
}
