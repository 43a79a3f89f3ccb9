//! Which contacts of a face can touch.
//!
//! Comes in: a face. Goes out: pairs of cavities that stand next to each other. Why: bridges of
//! solder, swarf and bent pins join neighbours; isolation tests look at those pairs first.

use super::{Cavity, Face};

/// How many times the nearest neighbour's distance a neighbour may be away. Reaches over the
/// diagonal of a square grid (1.41) and not to the second shell of a hexagonal one (1.73).
const REACH: f64 = 1.5;

/// A third contact stands between two when it lies inside this share of the circle on their
/// distance as diameter. Below 1, so that a contact *on* the circle (the other corners of a square)
/// does not part the two whichever way the last digit falls.
const BETWEEN: f64 = 0.95;

impl Face {
    /// The pairs of cavities that can touch, as places in [`Face::cavities`], lower first, sorted.
    ///
    /// Two cavities are neighbours when no third stands between them (the Gabriel graph: none lies
    /// inside the circle that has their distance as its diameter) and they are no farther apart
    /// than 1.5 times the larger of their two nearest-neighbour distances. The first half needs no
    /// scale, so it holds for rows, rings and mixed contact sizes alike; the second keeps the far
    /// sides of an empty ring apart. Every cavity has its nearest neighbour among its pairs.
    ///
    /// On a [schematic](super::Fidelity::Schematic) face the pairs are those of the drawing, and
    /// say little about the real insert.
    ///
    /// Time O(n² + n k), memory O(n + k): k, the pairs within reach, is a small multiple of n.
    pub fn neighbours(&self) -> Vec<(usize, usize)> {
        let nearest: Vec<f64> = (0..self.cavities.len()).map(|at| nearest(&self.cavities, at)).collect();
        let mut pairs = Vec::new();
        for a in 0..self.cavities.len() {
            for b in a + 1..self.cavities.len() {
                let reach = REACH * nearest[a].max(nearest[b]);
                if distance(&self.cavities[a], &self.cavities[b]) <= reach && !parted(&self.cavities, a, b) {
                    pairs.push((a, b));
                }
            }
        }
        pairs
    }
}

fn distance(a: &Cavity, b: &Cavity) -> f64 {
    (a.x - b.x).hypot(a.y - b.y)
}

fn nearest(cavities: &[Cavity], at: usize) -> f64 {
    let others = cavities.iter().enumerate().filter(|(other, _)| *other != at);
    others.map(|(_, c)| distance(&cavities[at], c)).fold(f64::INFINITY, f64::min)
}

fn parted(cavities: &[Cavity], a: usize, b: usize) -> bool {
    let (x, y) = (f64::midpoint(cavities[a].x, cavities[b].x), f64::midpoint(cavities[a].y, cavities[b].y));
    let within = BETWEEN * distance(&cavities[a], &cavities[b]) / 2.0;
    let mut others = cavities.iter().enumerate().filter(|(at, _)| *at != a && *at != b);
    others.any(|(_, c)| (c.x - x).hypot(c.y - y) < within)
}

#[cfg(test)]
mod tests {
    use super::super::{builtin, builtin_names};

    fn names(face: &str) -> Vec<String> {
        let face = builtin(face).unwrap();
        let name = |at: usize| face.cavities[at].name.clone();
        face.neighbours().into_iter().map(|(a, b)| format!("{}-{}", name(a), name(b))).collect()
    }

    #[test]
    fn a_row_is_a_chain() {
        assert_eq!(names("8p8c"), ["1-2", "2-3", "3-4", "4-5", "5-6", "6-7", "7-8"]);
    }

    #[test]
    fn a_square_includes_its_diagonals() {
        assert_eq!(names("rect-4"), ["1-2", "1-3", "1-4", "2-3", "2-4", "3-4"]);
    }

    #[test]
    fn a_grid_joins_only_what_is_next_to_it() {
        // Six columns of two: per column 1, per gap between columns 2 straight and 2 diagonal.
        assert_eq!(names("rect-12").len(), 6 + 5 * 4);
        assert!(!names("rect-12").contains(&"1-3".to_owned()));
    }

    #[test]
    fn a_ring_joins_round_the_edge_and_to_its_middle() {
        let six = names("round-7");
        assert_eq!(six.len(), 12, "{six:?}");
        assert!(six.contains(&"A-F".to_owned()) && six.contains(&"A-G".to_owned()));
        assert!(!six.contains(&"A-C".to_owned()) && !six.contains(&"A-D".to_owned()));
        // Without a middle the far side is still out of reach.
        assert_eq!(names("38999-15-5").len(), 5);
    }

    #[test]
    fn staggered_rows_form_triangles() {
        // 4 + 3 along the rows, and each of the lower four touches two above.
        assert_eq!(names("d-sub-9").len(), 4 + 3 + 8);
    }

    #[test]
    fn no_contact_is_without_a_neighbour_and_pairs_are_sorted() {
        for name in builtin_names() {
            let face = builtin(name).unwrap();
            let pairs = face.neighbours();
            assert!(pairs.is_sorted() && pairs.iter().all(|(a, b)| a < b), "{name}");
            for at in 0..face.cavities.len() {
                assert!(pairs.iter().any(|p| p.0 == at || p.1 == at), "{name} {at}");
            }
            // A planar graph has at most 3n - 6 edges; diagonals of squares add a few.
            assert!(pairs.len() <= 4 * face.cavities.len(), "{name} {}", pairs.len());
        }
    }

    #[test]
    fn one_contact_alone_has_no_neighbours() {
        let mut face = builtin("rect-2").unwrap();
        face.cavities.truncate(1);
        assert_eq!(face.neighbours(), []);
    }
}
