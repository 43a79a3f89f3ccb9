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

fn ceil_log2(n: usize) -> usize {
    if n <= 1 { 0 } else { (usize::BITS - (n - 1).leading_zeros()) as usize }
}
