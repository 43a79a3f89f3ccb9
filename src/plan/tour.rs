//! What no way through all stops can cost less than.
//!
//! Comes in: what it costs to go from each stop straight on to each other; costs may differ both ways, and
//! some legs cannot be gone. Goes out: a lower bound for every way that begins at the first stop, ends at
//! the last and passes each once. Why: where the best order is out of reach, one must know how far off it
//! can be.

use super::order::NEVER;

/// The least assignment of one next stop to each, and on the costs that it leaves over the least
/// arborescence from the first stop: every way through all stops is both at once. Both parts are added by
/// Fischetti and Toth's additive bound (Mathematical Programming 53, 1992, 173–197; from memory).
///
/// Cost: the cube of the number of stops.
pub(super) fn bound(matrix: &[Vec<u64>]) -> u64 {
    let cost = |a: usize, b: usize| (matrix[a][b] != NEVER).then(|| i128::from(matrix[a][b]));
    let Some(assigned) = assignment(matrix.len(), &cost) else { return 0 };
    let left = |a: usize, b: usize| {
        let reduced = cost(a, b)? - assigned.rows.get(a)? - assigned.columns.get(b.checked_sub(1)?)?;
        Some(reduced.max(0))
    };
    let more = arborescence(matrix.len(), &left).unwrap_or(0);
    u64::try_from(assigned.total + more).unwrap_or(0)
}

/// An assignment's cost, and the prices that prove it least.
struct Assigned {
    total: i128,
    rows: Vec<i128>,
    columns: Vec<i128>,
}

/// The least assignment of a next stop to every stop but the last, each stop but the first being the next of
/// one: by shortest augmenting paths with prices (Kuhn and Munkres).
fn assignment(stops: usize, cost: &impl Fn(usize, usize) -> Option<i128>) -> Option<Assigned> {
    let size = stops - 1;
    let all = (0..stops).flat_map(|a| (0..stops).map(move |b| (a, b)));
    let forbidden = all.filter_map(|(a, b)| cost(a, b)).sum::<i128>() + 1;
    let price = |row: usize, column: usize| cost(row, column + 1).unwrap_or(forbidden);
    // Row and column 0 stand for none, as is usual in this method.
    let (mut rows, mut columns) = (vec![0; size + 1], vec![0; size + 1]);
    let mut row_of = vec![0; size + 1];
    for row in 1..=size {
        row_of[0] = row;
        let mut least = vec![i128::MAX; size + 1];
        let mut back = vec![0; size + 1];
        let mut used = vec![false; size + 1];
        let mut column = 0;
        while row_of[column] != 0 {
            used[column] = true;
            let (at, mut next, mut step) = (row_of[column], 0, i128::MAX);
            for j in (1..=size).filter(|j| !used[*j]) {
                let reduced = price(at - 1, j - 1) - rows[at] - columns[j];
                if reduced < least[j] {
                    (least[j], back[j]) = (reduced, column);
                }
                if least[j] < step {
                    (step, next) = (least[j], j);
                }
            }
            for j in 0..=size {
                if used[j] {
                    rows[row_of[j]] += step;
                    columns[j] -= step;
                } else if j > 0 {
                    least[j] -= step;
                }
            }
            column = next;
        }
        while column != 0 {
            row_of[column] = row_of[back[column]];
            column = back[column];
        }
    }
    let total = (1..=size).map(|j| price(row_of[j] - 1, j - 1)).sum::<i128>();
    let (rows, columns) = (rows.split_off(1), columns.split_off(1));
    (total < forbidden).then_some(Assigned { total, rows, columns })
}

/// The least set of legs that leads from the first stop to every other (Chu and Liu, Edmonds): every stop takes
/// its cheapest way in; where these close a ring, the ring becomes one stop.
fn arborescence(stops: usize, cost: &impl Fn(usize, usize) -> Option<i128>) -> Option<i128> {
    let leg = |a: usize, b: usize| (a != b).then(|| cost(a, b)).flatten().map(|price| (a, b, price));
    let mut legs: Vec<(usize, usize, i128)> =
        (0..stops).flat_map(|a| (0..stops).filter_map(move |b| leg(a, b))).collect();
    let (mut stops, mut root, mut total) = (stops, 0, 0);
    loop {
        let mut into: Vec<Option<(i128, usize)>> = vec![None; stops];
        for (a, b, price) in legs.iter().copied().filter(|(_, b, _)| *b != root) {
            if into[b].is_none_or(|(least, _)| price < least) {
                into[b] = Some((price, a));
            }
        }
        into[root] = Some((0, root));
        let into: Vec<(i128, usize)> = into.into_iter().collect::<Option<_>>()?;
        total += into.iter().map(|(price, _)| price).sum::<i128>();
        let (name, names, ringed) = rings(&into, root);
        if !ringed {
            return Some(total);
        }
        let renamed = legs.iter().map(|(a, b, price)| (name[*a], name[*b], price - into[*b].0));
        legs = renamed.filter(|(a, b, _)| a != b).collect();
        (stops, root) = (names, name[root]);
    }
}

/// New numbers for stops, one for each ring; how many there are; whether there was a ring.
fn rings(into: &[(i128, usize)], root: usize) -> (Vec<usize>, usize, bool) {
    const NONE: usize = usize::MAX;
    let (mut name, mut seen) = (vec![NONE; into.len()], vec![NONE; into.len()]);
    let mut names = 0;
    for start in 0..into.len() {
        let mut at = start;
        while at != root && seen[at] != start && name[at] == NONE {
            seen[at] = start;
            at = into[at].1;
        }
        if at != root && name[at] == NONE {
            while name[at] == NONE {
                name[at] = names;
                at = into[at].1;
            }
            names += 1;
        }
    }
    let ringed = names > 0;
    for own in name.iter_mut().filter(|own| **own == NONE) {
        *own = names;
        names += 1;
    }
    (name, names, ringed)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(costs: &[[u64; 4]; 4]) -> Vec<Vec<u64>> {
        costs.iter().map(|row| row.iter().map(|c| if *c == 0 { NEVER } else { *c }).collect()).collect()
    }

    /// Worked out by hand: the ways are 0-1-2-3 for 1 + 5 + 1 and 0-2-1-3 for 2 + 4 + 9. The assignment alone
    /// takes 0-1, 2-1 or the like; no two legs may end at one stop.
    #[test]
    fn bound_of_four_stops() {
        let matrix = table(&[[0, 1, 2, 0], [0, 0, 5, 9], [0, 4, 0, 1], [0, 0, 0, 0]]);
        assert_eq!(bound(&matrix), 7);
    }

    /// Two stops that are near to each other and far from all else: the assignment lets them be each other's
    /// next (0-3 forbidden, so 1-2, 2-1 cannot both stand with 0 and 3 served); the arborescence pays the way in.
    #[test]
    fn rings_are_paid_for() {
        // 0 -> 4 costs 1, and 1, 2, 3 form a ring of 1 each; from 0 into the ring 50, out of it 60.
        let mut matrix = vec![vec![NEVER; 5]; 5];
        matrix[0][4] = 1;
        for (a, b) in [(1, 2), (2, 3), (3, 1)] {
            matrix[a][b] = 1;
            matrix[0][a] = 50;
            matrix[a][4] = 60;
        }
        // The only ways: 0, two legs of the ring, 4: 50 + 1 + 1 + 60.
        let bound = bound(&matrix);
        assert!(bound <= 112, "{bound}");
        // One next for each costs 4; the way into the ring at least 49 more.
        assert!(bound >= 53, "{bound}");
    }

    #[test]
    fn no_way_has_no_bound() {
        assert_eq!(bound(&vec![vec![NEVER; 4]; 4]), 0);
    }
}
