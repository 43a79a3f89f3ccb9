//! What one thought explains of many moves within a connector.
//!
//! Comes in: which place each content had and has, where the contacts sit, and which contents are a pair. Goes out:
//! patterns, each with the moves it explains. Why: eight wires in other cavities are one slip: a connector pinned from the
//! wrong side, a block shifted by one, two pairs exchanged. Whoever reads a comparison should read the slip.
//!
//! Places are counted in the order of the connector's contacts. Cost: near-linear in the moves of a connector.

use std::collections::{BTreeMap, BTreeSet};

/// Where contents were, and where each is.
pub(super) type Moves = BTreeMap<usize, usize>;

/// How the contents of one connector moved.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Pattern {
    /// Two contents changed places.
    Swap,
    /// Two twisted pairs changed places, core by core.
    PairSwap,
    /// Three and more twisted pairs each took the place of the next.
    PairRotation,
    /// Three and more contents each took the place of the next.
    Rotation,
    /// A block stands in the opposite order.
    Reversed,
    /// The whole connector was seen from the wrong side: left and right are exchanged.
    Mirrored,
    /// The whole connector stands on its head: top and bottom are exchanged.
    UpsideDown,
    /// The whole connector was turned by half a turn.
    HalfTurn,
    /// Contents stand so many places further on, or back.
    Shifted(isize),
    /// The contacts have other names.
    Renumbered,
}

impl Pattern {
    /// As a word that stays.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Swap => "swap",
            Self::PairSwap => "pair-swap",
            Self::PairRotation => "pair-rotation",
            Self::Rotation => "rotation",
            Self::Reversed => "reversed-block",
            Self::Mirrored => "mirrored",
            Self::UpsideDown => "upside-down",
            Self::HalfTurn => "half-turn",
            Self::Shifted(_) => "shifted",
            Self::Renumbered => "renumbered",
        }
    }
}

/// What is known of a connector's places.
#[derive(Debug, Default)]
pub(super) struct Layout {
    /// Where each place is, in millimetres, where the geometry is known.
    pub(super) places: Vec<Option<[f64; 2]>>,
    /// The mark of the twisted pair whose core was in a place.
    pub(super) pairs: Vec<Option<String>>,
    /// Places that held something, and do.
    pub(super) used: BTreeSet<usize>,
    /// Where a place stands in the order of the old and of the new connector; the place itself in both where nothing is
    /// said.
    pub(super) orders: BTreeMap<usize, [Option<usize>; 2]>,
}

impl Layout {
    /// How many places a move leads further on; `None` where the two orders disagree on it, or have not both ends.
    fn step(&self, from: usize, to: usize) -> Option<isize> {
        let order = |place: usize| self.orders.get(&place).copied().unwrap_or([Some(place); 2]);
        let [from, to] = [from, to].map(order);
        let in_order = |side: usize| Some(to[side]?.cast_signed() - from[side]?.cast_signed());
        match [in_order(0), in_order(1)] {
            [Some(a), Some(b)] => (a == b).then_some(a),
            [one, other] => one.or(other),
        }
    }
}

/// A pattern with the moves it explains.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Found {
    pub(super) pattern: Pattern,
    pub(super) moves: Moves,
}

/// The fewest moves that make a whole connector or a block of one.
const BLOCK: usize = 4;

/// The patterns of moves, the widest first; what no pattern explains is in none. The moves must be one to one.
pub(super) fn patterns(moves: &Moves, layout: &Layout) -> Vec<Found> {
    if let Some(pattern) = whole(moves, layout) {
        return vec![Found { pattern, moves: moves.clone() }];
    }
    let mut left = moves.clone();
    let mut found = pairs(&mut left, layout);
    let cycles = cycles(&mut left);
    let (swaps, rings): (Vec<_>, Vec<_>) = cycles.into_iter().partition(|cycle| cycle.len() == 2);
    found.extend(blocks(swaps, layout));
    found.extend(rings.into_iter().map(|moves| Found { pattern: Pattern::Rotation, moves }));
    found.extend(shifts(&left, layout));
    found
}

/// A symmetry of the whole connector that explains every move, and everything that stays.
fn whole(moves: &Moves, layout: &Layout) -> Option<Pattern> {
    if moves.len() < BLOCK {
        return None;
    }
    let symmetries = [
        (Pattern::Mirrored, [-1.0, 1.0]),
        (Pattern::UpsideDown, [1.0, -1.0]),
        (Pattern::HalfTurn, [-1.0, -1.0]),
    ];
    let fits = |[x, y]: [f64; 2]| {
        let image = |place: usize| {
            let [px, py] = layout.places.get(place).copied().flatten()?;
            let near = |other: &[f64; 2]| (other[0] - x * px).hypot(other[1] - y * py) < NEAR;
            layout.places.iter().position(|other| other.as_ref().is_some_and(near))
        };
        let moved = moves.iter().all(|(from, to)| image(*from) == Some(*to));
        let stays = |place: &usize| moves.contains_key(place) || image(*place) == Some(*place);
        moved && layout.used.iter().all(stays)
    };
    symmetries.into_iter().find(|(_, signs)| fits(*signs)).map(|(pattern, _)| pattern)
}

/// Places closer than this, in millimetres, are the same place.
const NEAR: f64 = 0.05;

/// Twisted pairs that took each other's places; takes their moves away.
fn pairs(left: &mut Moves, layout: &Layout) -> Vec<Found> {
    let mut cores: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (place, mark) in layout.pairs.iter().enumerate() {
        if let Some(mark) = mark {
            cores.entry(mark).or_default().push(place);
        }
    }
    let of: BTreeMap<Vec<usize>, &str> = cores
        .iter()
        .filter(|(_, places)| places.len() == 2)
        .map(|(mark, places)| (places.clone(), *mark))
        .collect();
    let names: Vec<&str> = of.values().copied().collect();
    let number = |mark: &str| names.iter().position(|name| *name == mark);
    let mut steps = Moves::new();
    for (places, mark) in &of {
        let mut targets: Vec<usize> = places.iter().filter_map(|place| left.get(place)).copied().collect();
        targets.sort_unstable();
        if let (Some(from), Some(to)) = (number(mark), of.get(&targets).and_then(|mark| number(mark))) {
            steps.insert(from, to);
        }
    }
    let rings = cycles(&mut steps);
    let found = rings.into_iter().filter(|ring| ring.len() > 1).map(|ring| {
        let pattern = if ring.len() == 2 { Pattern::PairSwap } else { Pattern::PairRotation };
        let places = ring.keys().flat_map(|pair| cores[names[*pair]].clone());
        let moves = places.filter_map(|place| Some((place, left.remove(&place)?))).collect();
        Found { pattern, moves }
    });
    found.collect()
}

/// Moves that lead round in circles; takes them away.
fn cycles(left: &mut Moves) -> Vec<Moves> {
    let mut found = Vec::new();
    for start in left.keys().copied().collect::<Vec<_>>() {
        let mut ring = Moves::new();
        let mut at = start;
        while let Some(to) = left.get(&at).copied() {
            if ring.insert(at, to).is_some() {
                break;
            }
            at = to;
            if at == start {
                left.retain(|place, _| !ring.contains_key(place));
                found.push(ring);
                break;
            }
        }
    }
    found
}

/// Swaps, and those of them that together turn a block round.
fn blocks(swaps: Vec<Moves>, layout: &Layout) -> Vec<Found> {
    let mut by_sum: BTreeMap<usize, Vec<Moves>> = BTreeMap::new();
    for swap in swaps {
        by_sum.entry(swap.keys().sum()).or_default().push(swap);
    }
    let mut found = Vec::new();
    for swaps in by_sum.into_values() {
        let all: Moves = swaps.iter().flatten().map(|(from, to)| (*from, *to)).collect();
        let (first, last) = (all.keys().min().copied(), all.keys().max().copied());
        let inside = first.unwrap_or(0)..=last.unwrap_or(0);
        let middle = |place: usize| 2 * place == inside.start() + inside.end();
        let fits = |place: usize| all.contains_key(&place) || middle(place) || !layout.used.contains(&place);
        if all.len() >= BLOCK && inside.clone().all(fits) {
            found.push(Found { pattern: Pattern::Reversed, moves: all });
        } else {
            found.extend(swaps.into_iter().map(|moves| Found { pattern: Pattern::Swap, moves }));
        }
    }
    found
}

/// Moves by the same number of places, several at a time.
fn shifts(left: &Moves, layout: &Layout) -> Vec<Found> {
    let mut by_step: BTreeMap<isize, Moves> = BTreeMap::new();
    for (from, to) in left {
        if let Some(step) = layout.step(*from, *to) {
            by_step.entry(step).or_default().insert(*from, *to);
        }
    }
    let several = by_step.into_iter().filter(|(_, moves)| moves.len() > 1);
    several.map(|(step, moves)| Found { pattern: Pattern::Shifted(step), moves }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moves(pairs: &[(usize, usize)]) -> Moves {
        pairs.iter().copied().collect()
    }

    fn words(found: &[Found]) -> Vec<(Pattern, usize)> {
        found.iter().map(|found| (found.pattern.clone(), found.moves.len())).collect()
    }

    fn row(count: usize) -> Layout {
        Layout {
            places: (0..count).map(|at| Some([at as f64 * 5.0 - (count - 1) as f64 * 2.5, 0.0])).collect(),
            pairs: vec![None; count],
            used: (0..count).collect(),
            orders: BTreeMap::new(),
        }
    }

    /// Cycle notation of permutations, as every textbook of algebra has it.
    #[test]
    fn a_permutation_falls_into_its_cycles() {
        let layout = Layout { places: vec![None; 8], ..row(8) };
        let found = patterns(&moves(&[(0, 3), (3, 0), (1, 2), (2, 5), (5, 1)]), &layout);
        assert_eq!(words(&found), [(Pattern::Swap, 2), (Pattern::Rotation, 3)]);
    }

    #[test]
    fn a_row_seen_from_behind_is_mirrored_and_half_of_it_is_a_reversed_block() {
        let all = moves(&[(0, 4), (1, 3), (3, 1), (4, 0)]);
        assert_eq!(words(&patterns(&all, &row(5))), [(Pattern::Mirrored, 4)]);
        // The same moves at the end of a longer row leave the others where they are.
        assert_eq!(words(&patterns(&all, &row(8))), [(Pattern::Reversed, 4)]);
        // A place between them that stays where it is, and is not the middle, is no block.
        let gap = moves(&[(0, 5), (1, 4), (4, 1), (5, 0)]);
        assert_eq!(words(&patterns(&gap, &row(8))), [(Pattern::Swap, 2), (Pattern::Swap, 2)]);
    }

    #[test]
    fn a_block_that_makes_room_is_shifted_and_one_wire_alone_is_not() {
        let layout = Layout { used: (0..4).collect(), ..row(8) };
        let found = patterns(&moves(&[(0, 1), (1, 2), (2, 3), (3, 4)]), &layout);
        assert_eq!(words(&found), [(Pattern::Shifted(1), 4)]);
        assert_eq!(words(&patterns(&moves(&[(0, 1)]), &layout)), []);
    }

    #[test]
    fn pairs_are_exchanged_as_pairs_and_a_split_pair_is_not() {
        let mark = |text: &str| Some(text.to_owned());
        let pairs = vec![mark("a"), mark("a"), mark("b"), mark("c"), mark("c"), mark("b")];
        let layout = Layout { pairs, places: vec![None; 6], ..row(6) };
        let exchanged = moves(&[(0, 2), (1, 5), (2, 0), (5, 1)]);
        assert_eq!(words(&patterns(&exchanged, &layout)), [(Pattern::PairSwap, 4)]);
        let split = moves(&[(1, 2), (2, 1)]);
        assert_eq!(words(&patterns(&split, &layout)), [(Pattern::Swap, 2)]);
    }
}
