//! Sparse LDLᵀ factorisation of a conductance matrix.
//!
//! Comes in: conductances between nodes, with one node of each island left out as its reference.
//! Goes out: a factor that solves for voltages, and gives the resistance between two nodes by
//! following only their own ways up the elimination tree.
//!
//! Nodes are eliminated in order of least degree, on the graph itself: wiring is tree-like, so most
//! nodes have one or two neighbours when their turn comes and fill-in stays small. Eliminating a node
//! of degree d costs d². For a tree the whole factor is linear in nodes.
//!
//! Literature: George and Liu, "Computer Solution of Large Sparse Positive Definite Systems", 1981.

use std::cmp::Reverse;
use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BinaryHeap};

/// A node was left without any conductance: it belongs to no island.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("node {0} hangs in the air")]
pub struct Singular(pub usize);

/// One eliminated node.
#[derive(Debug, Clone)]
struct Column {
    node: usize,
    pivot: f64,
    /// Neighbours still present when the node went, as positions in elimination order, with the
    /// share of the node's value that each takes.
    below: Vec<(usize, f64)>,
}

/// The factor of a conductance matrix.
#[derive(Debug, Clone)]
pub struct Factor {
    columns: Vec<Column>,
    /// The position of each node in elimination order; `usize::MAX` for references.
    position: Vec<usize>,
}

/// Of one ampere, what is left of a share that should be zero, for rounding.
const ROUNDING: f64 = 1e-14;

/// A vector of which only few entries are not zero, by position in elimination order.
pub(super) type Sparse = Vec<(usize, f64)>;

impl Factor {
    /// Factors the matrix of the given branches `(a, b, conductance)` over `nodes` nodes; those of
    /// `reference` are left out.
    ///
    /// # Errors
    /// A node that is not a reference and has no branch.
    pub fn new(nodes: usize, branches: &[(usize, usize, f64)], reference: &[bool]) -> Result<Self, Singular> {
        let mut rest = Elimination::new(nodes, branches, reference);
        let mut columns = Vec::new();
        let mut position = vec![usize::MAX; nodes];
        while let Some(node) = rest.next() {
            position[node] = columns.len();
            columns.push(rest.eliminate(node)?);
        }
        for column in &mut columns {
            for (other, _) in &mut column.below {
                *other = position[*other];
            }
            column.below.sort_unstable_by_key(|(at, _)| *at);
        }
        Ok(Self { columns, position })
    }

    /// The voltages for currents into the nodes; references stay at zero.
    pub fn solve(&self, currents: &[f64]) -> Vec<f64> {
        let mut x: Vec<f64> = self.columns.iter().map(|column| currents[column.node]).collect();
        for (at, column) in self.columns.iter().enumerate() {
            let value = x[at];
            if value != 0.0 {
                for (below, share) in &column.below {
                    x[*below] += share * value;
                }
            }
        }
        for (at, column) in self.columns.iter().enumerate().rev() {
            let from_below: f64 = column.below.iter().map(|(below, share)| share * x[*below]).sum();
            x[at] = x[at] / column.pivot + from_below;
        }
        let mut volts = vec![0.0; self.position.len()];
        for (at, column) in self.columns.iter().enumerate() {
            volts[column.node] = x[at];
        }
        volts
    }

    /// Half of the solution for one ampere in at `a` and out at `b`, scaled so that the dot product of
    /// two halves is a transfer resistance. Cost: the two nodes' ways up the elimination tree, as far as they differ.
    pub(super) fn half(&self, a: usize, b: usize) -> Sparse {
        let mut half = Vec::new();
        self.climb(a, b, |at, value| half.push((at, value)));
        half
    }

    /// The resistance between two nodes of one island. Cost: as [`Factor::half`], of which nothing is kept.
    pub(super) fn resistance(&self, a: usize, b: usize) -> f64 {
        let mut ohms = 0.0;
        self.climb(a, b, |_, value| ohms += value * value);
        ohms
    }

    /// Visits the entries of [`Factor::half`], in order.
    fn climb(&self, a: usize, b: usize, mut visit: impl FnMut(usize, f64)) {
        let mut front = Front::default();
        for (node, current) in [(a, 1.0), (b, -1.0)] {
            if self.position[node] != usize::MAX {
                front.add(self.position[node], current);
            }
        }
        while let Some((at, value)) = front.0.pop() {
            // Where the ampere flows round a part of the tree nothing goes further up.
            if value.abs() < ROUNDING {
                continue;
            }
            let column = &self.columns[at];
            for (below, share) in &column.below {
                front.add(*below, share * value);
            }
            visit(at, value / column.pivot.sqrt());
        }
    }
}

/// The places that a climb has still to visit, the next one last. There are as many as the wiring is meshed there:
/// hardly ever more than two.
#[derive(Default)]
struct Front(Vec<(usize, f64)>);

impl Front {
    fn add(&mut self, place: usize, value: f64) {
        match self.0.binary_search_by(|(other, _)| place.cmp(other)) {
            Ok(known) => self.0[known].1 += value,
            Err(here) => self.0.insert(here, (place, value)),
        }
    }
}

/// The dot product of two sparse vectors. Cost: the entries of the shorter, each times the logarithm of how far it is
/// to the next of them in the longer.
pub(super) fn dot(a: &Sparse, b: &Sparse) -> f64 {
    let (short, long) = if a.len() <= b.len() { (a, b) } else { (b, a) };
    let (mut rest, mut sum) = (long.as_slice(), 0.0);
    for (at, x) in short {
        rest = &rest[ahead(rest, *at)..];
        match rest.first() {
            Some((other, y)) if other == at => sum += x * y,
            Some(_) => {}
            None => break,
        }
    }
    sum
}

/// How many entries come before a place: looked for in steps that double, for mostly it is near.
fn ahead(entries: &[(usize, f64)], place: usize) -> usize {
    let mut end = 1;
    while entries.get(end - 1).is_some_and(|(at, _)| *at < place) {
        end *= 2;
    }
    let from = end / 2;
    let upto = entries.len().min(end);
    from + entries[from..upto].partition_point(|(at, _)| *at < place)
}

/// The graph of what is not yet eliminated.
struct Elimination {
    /// Conductance to each neighbour that is still there (and to some that are gone: those count no more).
    near: Vec<BTreeMap<usize, f64>>,
    /// Conductance to references, which are never eliminated.
    to_reference: Vec<f64>,
    gone: Vec<bool>,
    /// How many neighbours are still there.
    degree: Vec<usize>,
    queue: BinaryHeap<Reverse<(usize, usize)>>,
}

impl Elimination {
    fn new(nodes: usize, branches: &[(usize, usize, f64)], reference: &[bool]) -> Self {
        let mut near = vec![BTreeMap::new(); nodes];
        let mut to_reference = vec![0.0; nodes];
        for &(a, b, conductance) in branches {
            if a == b {
                continue;
            }
            match (reference[a], reference[b]) {
                (true, true) => {}
                (true, false) => to_reference[b] += conductance,
                (false, true) => to_reference[a] += conductance,
                (false, false) => {
                    *near[a].entry(b).or_insert(0.0) += conductance;
                    *near[b].entry(a).or_insert(0.0) += conductance;
                }
            }
        }
        let degree: Vec<usize> = near.iter().map(BTreeMap::len).collect();
        let queue = (0..nodes).filter(|n| !reference[*n]).map(|n| Reverse((degree[n], n))).collect();
        Self { near, to_reference, gone: vec![false; nodes], degree, queue }
    }

    /// The node of least degree; equal degrees go by number, so that the order is always the same.
    fn next(&mut self) -> Option<usize> {
        while let Some(Reverse((degree, node))) = self.queue.pop() {
            if !self.gone[node] && degree == self.degree[node] {
                return Some(node);
            }
        }
        None
    }

    /// Takes a node out and joins its neighbours (star to mesh). The pivot is the sum of the node's
    /// conductances, kept as conductances to neighbours and to the reference apart: so no digits are
    /// lost by subtraction.
    fn eliminate(&mut self, node: usize) -> Result<Column, Singular> {
        self.gone[node] = true;
        let near = std::mem::take(&mut self.near[node]);
        let near: Vec<(usize, f64)> = near.into_iter().filter(|(other, _)| !self.gone[*other]).collect();
        let grounded = self.to_reference[node];
        let pivot = grounded + near.iter().map(|(_, g)| g).sum::<f64>();
        if pivot <= 0.0 {
            return Err(Singular(node));
        }
        for (at, (a, ga)) in near.iter().enumerate() {
            self.to_reference[*a] += ga * grounded / pivot;
            let mut change = -1isize;
            for (b, gb) in near.iter().skip(at + 1) {
                let mesh = ga * gb / pivot;
                match self.near[*a].entry(*b) {
                    Entry::Occupied(mut known) => *known.get_mut() += mesh,
                    Entry::Vacant(fresh) => {
                        fresh.insert(mesh);
                        change += 1;
                        self.degree[*b] += 1;
                    }
                }
                *self.near[*b].entry(*a).or_insert(0.0) += mesh;
            }
            self.degree[*a] = self.degree[*a].saturating_add_signed(change);
        }
        for (a, _) in &near {
            self.queue.push(Reverse((self.degree[*a], *a)));
        }
        let below = near.into_iter().map(|(other, g)| (other, g / pivot)).collect();
        Ok(Column { node, pivot, below })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Gaussian elimination with pivoting on the dense matrix: slow, obvious, independent.
    fn dense(nodes: usize, branches: &[(usize, usize, f64)], reference: usize, currents: &[f64]) -> Vec<f64> {
        let mut m = vec![vec![0.0; nodes + 1]; nodes];
        for &(a, b, g) in branches {
            m[a][a] += g;
            m[b][b] += g;
            m[a][b] -= g;
            m[b][a] -= g;
        }
        for (row, current) in m.iter_mut().zip(currents) {
            row[nodes] = *current;
        }
        m[reference] = vec![0.0; nodes + 1];
        m[reference][reference] = 1.0;
        for col in 0..nodes {
            let best = (col..nodes).max_by(|a, b| m[*a][col].abs().total_cmp(&m[*b][col].abs())).unwrap();
            m.swap(col, best);
            for row in 0..nodes {
                if row != col {
                    let f = m[row][col] / m[col][col];
                    let pivot = m[col].clone();
                    m[row].iter_mut().zip(&pivot).for_each(|(x, p)| *x -= f * p);
                }
            }
        }
        (0..nodes).map(|i| m[i][nodes] / m[i][i]).collect()
    }

    proptest::proptest! {
        #[test]
        fn agrees_with_dense_elimination(
            tree in proptest::collection::vec((0usize..1000, 1e-3f64..1e3), 1..40),
            chords in proptest::collection::vec((0usize..1000, 0usize..1000, 1e-3f64..1e3), 0..20),
            source in (0usize..1000, 0usize..1000),
        ) {
            let nodes = tree.len() + 1;
            let mut branches: Vec<_> = tree.iter().enumerate().map(|(i, (p, g))| (i + 1, p % (i + 1), *g)).collect();
            branches.extend(chords.iter().map(|(a, b, g)| (a % nodes, b % nodes, *g)).filter(|(a, b, _)| a != b));
            let (a, b) = (source.0 % nodes, source.1 % nodes);
            let mut currents = vec![0.0; nodes];
            currents[a] += 1.0;
            currents[b] -= 1.0;
            let mut reference = vec![false; nodes];
            reference[0] = true;
            let factor = Factor::new(nodes, &branches, &reference).unwrap();
            let mine = factor.solve(&currents);
            let oracle = dense(nodes, &branches, 0, &currents);
            let scale = oracle.iter().fold(1e-9f64, |m, v| m.max(v.abs()));
            for (x, y) in mine.iter().zip(&oracle) {
                proptest::prop_assert!((x - y).abs() <= 1e-8 * scale, "{x} {y}");
            }
            // The resistance along the elimination tree is the voltage the full solution gives.
            let half = factor.half(a, b);
            proptest::prop_assert!((dot(&half, &half) - (oracle[a] - oracle[b])).abs() <= 1e-8 * scale);
        }
    }
}
