//! How few tests could do: published counts to hold a plan against.

use std::collections::{BTreeMap, BTreeSet};

use crate::definition::{Kind, Point};
use crate::measure::{Measurement, Situation};

/// What other ways of testing would take for the nets that a plan reads without power.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Compared {
    /// The plan's isolation readings: one for each pair that can touch.
    pub pairs: usize,
    /// Isolation readings if each group of nets were tied together and all tested in turn.
    pub tied: usize,
    /// Tests of a tester with a point at every contact that the plan reads.
    pub tester: usize,
}

impl Compared {
    /// Counts for the readings of one setup; `None` where no isolation is read.
    pub(super) fn of<'m>(
        situation: &Situation<'_>,
        measurements: impl Iterator<Item = &'m Measurement>,
    ) -> Option<Self> {
        let mut pairs = 0;
        let mut apart = BTreeSet::new();
        let mut points: BTreeMap<usize, BTreeSet<Point>> = BTreeMap::new();
        for measurement in measurements {
            let probes = [measurement.red(), measurement.black()];
            for point in probes {
                points.entry(situation.nets.of(situation.node(point))).or_default().insert(point);
            }
            if measurement.kind() == Kind::Isolation {
                pairs += 1;
                apart.extend(probes.map(|point| situation.groups.of(situation.node(point))));
            }
        }
        let largest = points.values().map(BTreeSet::len).max()?;
        let tester = kautz(largest, points.len());
        (pairs > 0).then(|| Self { pairs, tied: group_tests(apart.len()), tester })
    }
}

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
