//! In which order to look, when each look costs something and one cause is there for sure.
//!
//! Comes in: causes with their shares of the probability and what it costs to look at each; or a chain of
//! pieces with probes between them. Goes out: the order, and what it is expected to cost. Why: looking in
//! the wrong order costs a day. Pure arithmetic, without a machine, so that published examples can be
//! held against it.
//!
//! Causes are looked at one by one until the guilty one is found. Ordering them by decreasing p/c is best
//! (Kadane and Simon, "Optimal strategies for a class of constrained sequential problems", Annals of
//! Statistics 5, 1977; from memory). Where the last one left is inferred without a look, that rule alone fails.

/// A cause that can be looked at: its share of the probability, and what the look costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cause {
    /// Its share of the probability.
    pub p: f64,
    /// What it costs to look at it, in any unit.
    pub c: f64,
}

/// The order of decreasing p/c; of equals the first first. Cost: n log n.
pub fn by_ratio(causes: &[Cause]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..causes.len()).collect();
    order.sort_by(|a, b| causes[*b].ratio().total_cmp(&causes[*a].ratio()));
    order
}

impl Cause {
    /// Probability per cost: without end for a look that costs nothing and may find something.
    fn ratio(&self) -> f64 {
        match (self.p > 0.0, self.c > 0.0) {
            (true, true) => self.p / self.c,
            (true, false) => f64::INFINITY,
            (false, _) => 0.0,
        }
    }
}

/// What an order is expected to cost when looking stops at the guilty cause: every look is paid for by all
/// the probability that no earlier look has found.
pub fn expected_cost(causes: &[Cause], order: &[usize]) -> f64 {
    let mut left: f64 = order.iter().map(|at| causes[*at].p).sum();
    let mut cost = 0.0;
    for at in order {
        cost += causes[*at].c * left;
        left -= causes[*at].p;
    }
    cost
}

/// The best order where the last cause left is inferred and not looked at: the looks in order, and what
/// they are expected to cost. The cause that is no look at all stands last.
///
/// Exact for any number of causes: for each choice of the one inferred, the others are best by p/c (two
/// neighbours exchanged change the cost by `c_i p_j - c_j p_i`, whatever comes after them). Cost: n².
pub fn last_inferred(causes: &[Cause]) -> (Vec<usize>, f64) {
    let sorted = by_ratio(causes);
    let mut best: Option<(Vec<usize>, f64)> = None;
    for inferred in sorted.iter().rev() {
        let mut order: Vec<usize> = sorted.iter().copied().filter(|at| at != inferred).collect();
        let free = Cause { c: 0.0, ..causes[*inferred] };
        order.push(*inferred);
        let costs: Vec<Cause> = causes
            .iter()
            .enumerate()
            .map(|(at, cause)| if at == *inferred { free } else { *cause })
            .collect();
        let cost = expected_cost(&costs, &order);
        if best.as_ref().is_none_or(|(_, least)| cost < *least) {
            best = Some((order, cost));
        }
    }
    best.unwrap_or_default()
}

/// The probe that halves a chain: pieces in a row, probe `j` between piece `j` and piece `j + 1`, which
/// reads bad if the fault lies at or before it. Of equals the first. `None` where there is one piece or none.
pub fn half_split(pieces: &[f64]) -> Option<usize> {
    let total: f64 = pieces.iter().sum();
    let mut before = 0.0;
    let mut best: Option<(usize, f64)> = None;
    for (probe, piece) in pieces.iter().enumerate().take(pieces.len().saturating_sub(1)) {
        before += piece;
        let away = (2.0 * before - total).abs();
        if best.is_none_or(|(_, least)| away < least - 1e-12) {
            best = Some((probe, away));
        }
    }
    best.map(|(probe, _)| probe)
}

/// The least that probing a chain down to one piece is expected to cost, and the probe to begin with: exact,
/// over all runs of pieces. `costs` holds one cost less than there are pieces. Cost: n³.
pub fn best_chain(pieces: &[f64], costs: &[f64]) -> (f64, Option<usize>) {
    let n = pieces.len();
    let mut sums = vec![0.0];
    for piece in pieces {
        sums.push(sums[sums.len() - 1] + piece);
    }
    // Of the pieces from `a` up to but without `b`: what they are expected to cost, weighed by their share.
    let mut least = vec![vec![(0.0, None); n + 1]; n + 1];
    for length in 2..=n {
        for a in 0..=n - length {
            let b = a + length;
            let mut best = (f64::INFINITY, None);
            for (probe, one) in costs.iter().enumerate().take(b - 1).skip(a) {
                let cost = one * (sums[b] - sums[a]) + least[a][probe + 1].0 + least[probe + 1][b].0;
                if cost < best.0 - 1e-12 {
                    best = (cost, Some(probe));
                }
            }
            least[a][b] = best;
        }
    }
    least[0][n]
}
