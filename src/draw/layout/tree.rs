//! Places and runs as trees of level lanes.
//!
//! Comes in: a view. Goes out: for each piece of the harness that hangs together, a tree: every place
//! once, with the runs that lead on from it. Why: a tree can be drawn without crossings. A run that
//! closes a ring ends at a second sign of its place, and says so.

use std::collections::{BTreeMap, BTreeSet};

use super::LayoutView;
use crate::units::Metres;

/// A place in a tree, with what leads on from it.
#[derive(Debug, Clone)]
pub(super) struct Node {
    /// Its position among the places.
    pub(super) place: usize,
    /// The node before it and the run between, and whether that is walked from its first place; `None` at
    /// the root.
    pub(super) by: Option<(usize, usize, bool)>,
    /// Whether the place is drawn already: a ring closes here.
    pub(super) again: bool,
    /// From the root, in metres.
    pub(super) at: f64,
    /// The nodes that follow, the one with the longest way left last: it stays in the lane.
    pub(super) onward: Vec<usize>,
}

/// A tree: the root first, every node after the one before it.
pub(super) type Tree = Vec<Node>;

/// The level lanes of a tree, each with its nodes from left to right; a lane comes after the lane it
/// drops from.
pub(super) fn lanes(tree: &Tree) -> Vec<Vec<usize>> {
    let mut lanes = Vec::new();
    let mut open = vec![0];
    while let Some(start) = open.pop() {
        let mut lane = vec![start];
        let mut at = start;
        while let Some((last, aside)) = tree[at].onward.split_last() {
            open.extend(aside);
            lane.push(*last);
            at = *last;
        }
        lanes.push(lane);
    }
    lanes
}

/// No run is drawn longer, so that sums stay numbers.
const LONGEST: f64 = 1e6;

/// The length a run is drawn with.
pub(super) fn metres(view: &LayoutView, run: usize) -> f64 {
    view.runs[run].length.map_or(1.0, Metres::get).clamp(0.0, LONGEST)
}

/// The trees of a view, in the order of their first places, with so many nodes at most in all.
pub(super) fn trees(view: &LayoutView, most: usize) -> Vec<Tree> {
    let mut at_place: Vec<Vec<usize>> = vec![Vec::new(); view.places.len()];
    for (nth, run) in view.runs.iter().enumerate() {
        for place in run.between {
            at_place[place].push(nth);
        }
    }
    let mut drawn = vec![false; view.places.len()];
    let mut trees: Vec<Tree> = Vec::new();
    for place in 0..view.places.len() {
        let room = most.saturating_sub(trees.iter().map(Vec::len).sum());
        if drawn[place] || room == 0 {
            continue;
        }
        // The longest way through the piece makes the lane that all else hangs on.
        let root = farthest(view, &at_place, place);
        trees.push(grow(view, &at_place, root, &mut drawn, room));
    }
    trees
}

/// The place farthest from another, by the shortest ways.
fn farthest(view: &LayoutView, at_place: &[Vec<usize>], from: usize) -> usize {
    let mut length = vec![f64::INFINITY; view.places.len()];
    length[from] = 0.0;
    let mut open = BTreeSet::from([(0_u64, from)]);
    let (mut best, mut most) = (from, 0.0);
    while let Some((_, place)) = open.pop_first() {
        if length[place] > most {
            (best, most) = (place, length[place]);
        }
        for run in &at_place[place] {
            let [a, b] = view.runs[*run].between;
            let other = if a == place { b } else { a };
            let total = length[place] + metres(view, *run);
            if total < length[other] {
                length[other] = total;
                #[expect(clippy::cast_sign_loss, reason = "lengths are not negative")]
                open.insert(((total * 1e6) as u64, other));
            }
        }
    }
    best
}

/// The shortest-path tree from a root, and at its nodes the runs that close rings.
fn grow(view: &LayoutView, at_place: &[Vec<usize>], root: usize, drawn: &mut [bool], room: usize) -> Tree {
    let mut tree = vec![Node { place: root, by: None, again: false, at: 0.0, onward: Vec::new() }];
    drawn[root] = true;
    let mut index_of = BTreeMap::from([(root, 0)]);
    let mut used: BTreeSet<usize> = BTreeSet::new();
    let mut open: BTreeSet<(u64, usize, usize, usize)> = BTreeSet::new();
    let mut last = 0;
    loop {
        for run in &at_place[tree[last].place] {
            let [a, b] = view.runs[*run].between;
            let other = if a == tree[last].place { b } else { a };
            let total = tree[last].at + metres(view, *run);
            #[expect(clippy::cast_sign_loss, reason = "lengths are not negative")]
            open.insert(((total * 1e6) as u64, *run, last, other));
        }
        let next = std::iter::from_fn(|| open.pop_first()).find(|(.., place)| !drawn[*place]);
        let Some((_, run, before, place)) = next.filter(|_| tree.len() < room) else { break };
        drawn[place] = true;
        used.insert(run);
        tree.push(step(view, run, before, place, &tree, false));
        last = tree.len() - 1;
        index_of.insert(place, last);
    }
    // Every run that is left between drawn places closes a ring.
    for (run, own) in view.runs.iter().enumerate() {
        let [Some(before), Some(_)] = own.between.map(|place| index_of.get(&place).copied()) else {
            continue;
        };
        if !used.contains(&run) && tree.len() < room {
            tree.push(step(view, run, before, own.between[1], &tree, true));
        }
    }
    join(&mut tree);
    tree
}

fn step(view: &LayoutView, run: usize, before: usize, place: usize, tree: &Tree, again: bool) -> Node {
    let forward = view.runs[run].between[0] == tree[before].place;
    let at = tree[before].at + metres(view, run);
    Node { place, by: Some((before, run, forward)), again, at, onward: Vec::new() }
}

/// Tells each node what follows it, by how far the way from it leads.
fn join(tree: &mut Tree) {
    let mut reach: Vec<f64> = tree.iter().map(|node| node.at).collect();
    for at in (1..tree.len()).rev() {
        let Some((before, ..)) = tree[at].by else { continue };
        reach[before] = reach[before].max(reach[at]);
        tree[before].onward.push(at);
    }
    for node in tree {
        node.onward.sort_by(|a, b| reach[*a].total_cmp(&reach[*b]).then(b.cmp(a)));
    }
}
