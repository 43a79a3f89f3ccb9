//! How few tests could do: published counts to hold a plan against.

/// Continuity tests that join a net of `points` points, with two probes: a spanning tree.
pub fn spanning_steps(points: usize) -> usize {
    points.saturating_sub(1)
}

/// Isolation tests of `nets` nets, each in turn against all that follow tied together: n − 1.
pub fn group_tests(nets: usize) -> usize {
    nets.saturating_sub(1)
}

/// Tests of a tester with a point at every terminal, for shorts, opens and miswires:
/// p − 1 + ⌈log₂ q⌉, with p terminals in the largest cluster and q clusters, single terminals
/// included. Always achievable and never beaten (Kautz, IEEE Transactions on Computers C-23(4), 1974,
/// 358–363).
pub fn kautz(largest: usize, clusters: usize) -> usize {
    largest.saturating_sub(1) + ceil_log2(clusters)
}

/// Isolation tests of `nets` nets pair by pair: n (n − 1) / 2.
pub fn pair_tests(nets: usize) -> usize {
    nets * nets.saturating_sub(1) / 2
}

/// Groupings that set every two of `nets` nets apart at least once, and so detect every short among them:
/// ⌈log₂ n⌉, the counting sequence (Kautz 1974, as below).
pub fn counting(nets: usize) -> usize {
    ceil_log2(nets)
}

/// The same where no net may stand on one side throughout: ⌈log₂(n + 2)⌉, the codes of all zeros and all
/// ones left out (Goel and McMahon 1982, from memory).
pub fn modified_counting(nets: usize) -> usize {
    if nets == 0 { 0 } else { ceil_log2(nets + 2) }
}

/// On which side of a grouping a net stands in the counting sequence: the bit of its number.
pub fn side(net: usize, grouping: usize) -> bool {
    net >> grouping & 1 == 1
}

pub(super) fn ceil_log2(n: usize) -> usize {
    if n <= 1 { 0 } else { (usize::BITS - (n - 1).leading_zeros()) as usize }
}
