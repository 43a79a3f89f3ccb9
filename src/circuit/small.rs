//! A handful of equations, solved whether or not they determine everything.
//!
//! Comes in: a small square matrix. Goes out: a solution for any right side that has one, and the
//! directions in which the unknowns are free. Why: a changed machine is its healthy one with a few
//! equations more, and an opened only way leaves something undetermined on purpose: that is topology.
//!
//! Cost: the cube of the equations, of which there are hardly ever more than ten.

use smallvec::SmallVec;

use super::Few;

/// Below this a pivot is rounding. Rows are scaled so that their natural size is one.
const NOTHING: f64 = 1e-9;

/// The rows of a matrix: mostly one.
pub(super) type Rows = SmallVec<[Few; 1]>;

/// A matrix, reduced by Gauss and Jordan with complete pivoting.
#[derive(Debug, Clone)]
pub(super) struct Small {
    size: usize,
    /// What turns a right side into a solution, by rows; free unknowns are zero.
    inverse: Few,
    /// One vector of unknowns for each that is free.
    free: Vec<Few>,
}

impl Small {
    /// Reduces a matrix given by rows.
    pub(super) fn new(mut rows: Rows) -> Self {
        let size = rows.len();
        for (at, row) in rows.iter_mut().enumerate() {
            row.extend((0..size).map(|column| f64::from(u8::from(column == at))));
        }
        let mut pivots: SmallVec<[(usize, usize); 2]> = SmallVec::new();
        while let Some((row, column)) = largest(&rows, size, &pivots) {
            reduce(&mut rows, row, column);
            pivots.push((row, column));
        }
        let mut inverse = Few::from_elem(0.0, size * size);
        for (row, column) in &pivots {
            inverse[column * size..(column + 1) * size].copy_from_slice(&rows[*row][size..]);
        }
        let bound = |column: &usize| pivots.iter().any(|(_, other)| other == column);
        let free = (0..size).filter(|column| !bound(column)).map(|column| {
            let mut vector = Few::from_elem(0.0, size);
            vector[column] = 1.0;
            for (row, pivot) in &pivots {
                vector[*pivot] = -rows[*row][column];
            }
            vector
        });
        Self { size, inverse, free: free.collect() }
    }

    /// The unknowns for a right side; those that are free are zero.
    pub(super) fn solve(&self, right: &[f64]) -> Few {
        let row = |row: &[f64]| row.iter().zip(right).map(|(a, b)| a * b).sum();
        self.inverse.chunks(self.size.max(1)).map(row).collect()
    }

    /// The directions in which nothing is determined.
    pub(super) fn free(&self) -> &[Few] {
        &self.free
    }
}

/// The largest entry outside the rows and columns that are done, unless it is nothing.
fn largest(rows: &[Few], size: usize, done: &[(usize, usize)]) -> Option<(usize, usize)> {
    let left = |at: usize, of: fn(&(usize, usize)) -> usize| done.iter().all(|pair| of(pair) != at);
    let mut best = None;
    let mut most = NOTHING;
    for row in (0..size).filter(|row| left(*row, |pair| pair.0)) {
        for column in (0..size).filter(|column| left(*column, |pair| pair.1)) {
            if rows[row][column].abs() > most {
                most = rows[row][column].abs();
                best = Some((row, column));
            }
        }
    }
    best
}

/// Clears a column but for one row, which gets a one there.
fn reduce(rows: &mut [Few], row: usize, column: usize) {
    let pivot = rows[row][column];
    rows[row].iter_mut().for_each(|x| *x /= pivot);
    let own = rows[row].clone();
    for (at, other) in rows.iter_mut().enumerate() {
        let factor = other[column];
        if at != row && factor != 0.0 {
            other.iter_mut().zip(&own).for_each(|(x, own)| *x -= factor * own);
            other[column] = 0.0;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(rows: [[f64; 2]; 2]) -> Rows {
        rows.iter().map(|row| Few::from_slice(row)).collect()
    }

    #[test]
    fn solves_what_is_determined() {
        // x + 2y = 5, 3x + 4y = 11: by hand x = 1, y = 2.
        let small = Small::new(rows([[1.0, 2.0], [3.0, 4.0]]));
        let x = small.solve(&[5.0, 11.0]);
        assert!((x[0] - 1.0).abs() < 1e-12 && (x[1] - 2.0).abs() < 1e-12, "{x:?}");
        assert!(small.free().is_empty());
    }

    #[test]
    fn says_what_is_free() {
        // x + y = 3 twice over: (1, -1) is free.
        let small = Small::new(rows([[1.0, 1.0], [1.0, 1.0]]));
        let x = small.solve(&[3.0, 3.0]);
        assert!((x[0] + x[1] - 3.0).abs() < 1e-12, "{x:?}");
        let [free] = small.free() else { panic!("one direction is free") };
        assert!((free[0] + free[1]).abs() < 1e-12 && free.iter().any(|x| x.abs() > 0.5), "{free:?}");
        assert!(Small::new(Rows::new()).solve(&[]).is_empty());
    }
}
