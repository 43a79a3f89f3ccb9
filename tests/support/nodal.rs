//! A plain nodal solver, written on nothing of the crate's own: the second opinion in tests.
//!
//! Comes in: branches between numbered nodes. Goes out: voltages against a reference, and resistances
//! as an ohmmeter reads them. Why: a check that shares code with what it checks proves little. Dense
//! Gaussian elimination with pivoting (any textbook of numerical methods); slow, and obvious.

#![allow(dead_code, reason = "each test uses its own share of this module")]

use std::collections::BTreeMap;

/// A resistance between two nodes, with an EMF in series that lifts `a` above `b`.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Branch {
    pub(crate) a: usize,
    pub(crate) b: usize,
    pub(crate) ohms: f64,
    pub(crate) emf: f64,
}

impl Branch {
    pub(crate) fn plain(a: usize, b: usize, ohms: f64) -> Self {
        Self { a, b, ohms, emf: 0.0 }
    }
}

/// The nodes that branches join to `start`, each with its row; `start` has row 0.
fn island(branches: &[Branch], start: usize) -> BTreeMap<usize, usize> {
    let mut near: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for branch in branches {
        near.entry(branch.a).or_default().push(branch.b);
        near.entry(branch.b).or_default().push(branch.a);
    }
    let mut rows = BTreeMap::from([(start, 0)]);
    let mut open = vec![start];
    while let Some(node) = open.pop() {
        for other in near.get(&node).into_iter().flatten() {
            let next = rows.len();
            if let std::collections::btree_map::Entry::Vacant(entry) = rows.entry(*other) {
                entry.insert(next);
                open.push(*other);
            }
        }
    }
    rows
}

/// The voltage of every node joined to `reference`, against it; extra currents go into nodes.
pub(crate) fn voltages(branches: &[Branch], reference: usize, into: &[(usize, f64)]) -> BTreeMap<usize, f64> {
    let rows = island(branches, reference);
    let size = rows.len();
    let mut matrix = vec![vec![0.0; size + 1]; size];
    for Branch { a, b, ohms, emf } in branches {
        let (Some(&a), Some(&b)) = (rows.get(a), rows.get(b)) else { continue };
        if a == b {
            continue;
        }
        let siemens = 1.0 / ohms;
        for (from, to, sign) in [(a, b, 1.0), (b, a, -1.0)] {
            matrix[from][from] += siemens;
            matrix[from][to] -= siemens;
            matrix[from][size] += sign * siemens * emf;
        }
    }
    for (node, amps) in into {
        if let Some(row) = rows.get(node) {
            matrix[*row][size] += amps;
        }
    }
    matrix[0] = vec![0.0; size + 1];
    matrix[0][0] = 1.0;
    let solved = eliminate(matrix);
    rows.into_iter().map(|(node, row)| (node, solved[row])).collect()
}

/// What an ohmmeter reads between two nodes; `None` where nothing joins them.
pub(crate) fn resistance(branches: &[Branch], red: usize, black: usize) -> Option<f64> {
    if red == black {
        return Some(0.0);
    }
    voltages(branches, black, &[(red, 1.0)]).get(&red).copied()
}

fn eliminate(mut matrix: Vec<Vec<f64>>) -> Vec<f64> {
    let size = matrix.len();
    for col in 0..size {
        let best = (col..size).max_by(|a, b| matrix[*a][col].abs().total_cmp(&matrix[*b][col].abs()));
        matrix.swap(col, best.unwrap_or(col));
        let (above, below) = matrix.split_at_mut(col + 1);
        let pivot = &above[col];
        for row in below.iter_mut().filter(|row| row[col] != 0.0) {
            let share = row[col] / pivot[col];
            row[col..].iter_mut().zip(&pivot[col..]).for_each(|(x, p)| *x -= share * p);
        }
    }
    let mut solved = vec![0.0; size];
    for row in (0..size).rev() {
        let known: f64 = (row + 1..size).map(|col| matrix[row][col] * solved[col]).sum();
        solved[row] = (matrix[row][size] - known) / matrix[row][row];
    }
    solved
}
