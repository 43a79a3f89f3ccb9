//! What no way through all stops can cost less than.
//!
//! Comes in: what it costs to go from each stop straight on to each other; costs may differ both ways, and
//! some legs cannot be gone. Goes out: a lower bound for every way that begins at the first stop, ends at
//! the last and passes each once. Why: where the best order is out of reach, one must know how far off it
//! can be.

use super::order::NEVER;

/// What a leg costs, or what is left of that; `None` where it cannot be gone.
type Legs = Vec<Vec<Option<i128>>>;

/// The least assignment of one next stop to each; on the costs that it leaves over, the least arborescence from
/// the first stop; and on what that leaves over, the least one that leads to the last stop. Every way through
/// all stops is all three at once, so their costs add up: Fischetti and Toth's additive bound (Mathematical
/// Programming 53, 1992, 173–197; from memory).
///
/// Cost: the cube of the number of stops.
pub(super) fn bound(matrix: &[Vec<u64>]) -> u64 {
    let leg = |cost: &u64| (*cost != NEVER).then(|| i128::from(*cost));
    let costs: Legs = matrix.iter().map(|row| row.iter().map(leg).collect()).collect();
    let Some(assigned) = assignment(costs.len(), &|a: usize, b: usize| costs[a][b]) else { return 0 };
    let last = costs.len() - 1;
    let left = each(last, &|a, b| {
        Some((costs[a][b]? - assigned.rows.get(a)? - assigned.columns.get(b.checked_sub(1)?)?).max(0))
    });
    let Some((out, left)) = arborescence(&left, 0) else { return 0 };
    let back = arborescence(&each(last, &|a, b| left[b][a]), last).map_or(0, |(back, _)| back);
    u64::try_from(assigned.total + out + back).unwrap_or(0)
}

/// A table of legs between stops up to the last.
fn each(last: usize, leg: &impl Fn(usize, usize) -> Option<i128>) -> Legs {
    (0..=last).map(|a| (0..=last).map(|b| leg(a, b)).collect()).collect()
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

/// The least set of legs that leads from one stop to every other (Chu and Liu, Edmonds): every stop takes its
/// cheapest way in; where these close a ring, the ring becomes one stop. Its cost, and what is left of every leg.
fn arborescence(costs: &Legs, root: usize) -> Option<(i128, Legs)> {
    let mut left = costs.clone();
    // The legs between what are still different stops, with the ends that they have by now.
    let leg = |a: usize, b: usize| (a != b && costs[a][b].is_some()).then_some([a, b, a, b]);
    let mut legs: Vec<[usize; 4]> =
        (0..costs.len()).flat_map(|a| (0..costs.len()).filter_map(move |b| leg(a, b))).collect();
    let (mut stops, mut root, mut total) = (costs.len(), root, 0);
    loop {
        let mut into: Vec<Option<(i128, usize)>> = vec![None; stops];
        for [a, b, from, to] in legs.iter().copied().filter(|[_, b, ..]| *b != root) {
            let price = left[from][to]?;
            if into[b].is_none_or(|(least, _)| price < least) {
                into[b] = Some((price, a));
            }
        }
        into[root] = Some((0, root));
        let into: Vec<(i128, usize)> = into.into_iter().collect::<Option<_>>()?;
        total += into.iter().map(|(price, _)| price).sum::<i128>();
        for [_, b, from, to] in &legs {
            left[*from][*to] = left[*from][*to].map(|price| price - into[*b].0);
        }
        let (name, names, ringed) = rings(&into, root);
        if !ringed {
            return Some((total, left));
        }
        let renamed = legs.iter().map(|[a, b, from, to]| [name[*a], name[*b], *from, *to]);
        legs = renamed.filter(|[a, b, ..]| a != b).collect();
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

    /// Worked out by hand: the ways are 0-1-2-3 for 1 + 5 + 1 and 0-2-1-3 for 2 + 4 + 9.
    #[test]
    fn bound_of_four_stops() {
        let matrix = table(&[[0, 1, 2, 0], [0, 0, 5, 9], [0, 4, 0, 1], [0, 0, 0, 0]]);
        assert_eq!(bound(&matrix), 7);
    }

    /// Three stops that are near to each other and far from all else: the assignment alone lets them be each
    /// other's next for 4 in all. By hand: 50 into the ring, two legs of it, 60 out of it.
    #[test]
    fn rings_are_paid_for_both_ways() {
        let mut matrix = vec![vec![NEVER; 5]; 5];
        matrix[0][4] = 1;
        for (a, b) in [(1, 2), (2, 3), (3, 1)] {
            matrix[a][b] = 1;
            matrix[0][a] = 50;
            matrix[a][4] = 60;
        }
        let best = 50 + 1 + 1 + 60;
        let bound = bound(&matrix);
        assert!(bound <= best && bound >= best - 2, "{bound}");
    }

    #[test]
    fn no_way_has_no_bound() {
        assert_eq!(bound(&vec![vec![NEVER; 4]; 4]), 0);
    }
}
