//! Ways: the links that lead from one point to another, by least cost.

use std::cmp::Reverse;
use std::collections::{BinaryHeap, HashMap};

use super::{LinkId, Netlist};

/// A way through the netlist: each link with the node it leads to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Way {
    /// Where it starts.
    pub start: usize,
    /// Each link taken and the node at its far end.
    pub steps: Vec<(LinkId, usize)>,
}

/// A cost that can be ordered: micro-units, so that equal costs are equal on every machine.
type Cost = u64;

/// What each node reached so far costs, and the link and node it was reached by.
type Reached = HashMap<usize, (Cost, Option<(LinkId, usize)>)>;

impl Netlist {
    /// The cheapest ways from one node to all others over links that `cost` admits, as in
    /// [`Netlist::way`]. Cost: links reached times the logarithm of their number.
    pub fn ways(&self, from: usize, cost: impl Fn(LinkId, usize) -> Option<f64>) -> Ways {
        Ways { start: from, reached: self.reach(from, None, cost) }
    }

    /// The cheapest way between two nodes over links that `cost` admits; `None` where there is none.
    ///
    /// `cost` gives a link's cost in any unit when it is entered at a node, or `None` to forbid it. Ties are broken by link order,
    /// so the way is the same on every run. Dijkstra's algorithm; cost: links reached times the
    /// logarithm of their number.
    pub fn way(&self, from: usize, to: usize, cost: impl Fn(LinkId, usize) -> Option<f64>) -> Option<Way> {
        let best = self.reach(from, Some(to), cost);
        best.contains_key(&to).then(|| walk_back(&best, from, to))
    }

    /// What the nodes cost that are reached before `to`, or all.
    fn reach(&self, from: usize, to: Option<usize>, cost: impl Fn(LinkId, usize) -> Option<f64>) -> Reached {
        let mut best: Reached = HashMap::from([(from, (0, None))]);
        let mut open = BinaryHeap::from([Reverse((0, from))]);
        while let Some(Reverse((so_far, node))) = open.pop() {
            if to == Some(node) {
                break;
            }
            if best.get(&node).is_some_and(|(known, _)| *known < so_far) {
                continue;
            }
            for (link, other) in self.links_at(node) {
                let Some(step) = cost(link, node) else { continue };
                let total = so_far.saturating_add(micro(step));
                if best.get(&other).is_none_or(|(known, _)| total < *known) {
                    best.insert(other, (total, Some((link, node))));
                    open.push(Reverse((total, other)));
                }
            }
        }
        best
    }
}

/// The cheapest ways from one node to all others.
#[derive(Debug, Clone)]
pub struct Ways {
    start: usize,
    reached: Reached,
}

impl Ways {
    /// What the way to a node costs, in millionths of the unit of the costs; `None` where none leads there.
    pub fn cost(&self, node: usize) -> Option<u64> {
        self.reached.get(&node).map(|(cost, _)| *cost)
    }

    /// Every node that can be reached, ascending.
    pub fn nodes(&self) -> Vec<usize> {
        let mut nodes: Vec<usize> = self.reached.keys().copied().collect();
        nodes.sort_unstable();
        nodes
    }

    /// The way to a node; `None` where none leads there.
    pub fn to(&self, node: usize) -> Option<Way> {
        self.reached.contains_key(&node).then(|| walk_back(&self.reached, self.start, node))
    }
}

/// A cost in whole millionths; at least one, so that a way of many free links is still longer.
fn micro(cost: f64) -> Cost {
    let scaled = (cost.max(0.0) * 1e6).min(1e15);
    #[expect(clippy::cast_sign_loss, reason = "clamped to 0..=1e15 just above")]
    let whole = scaled as Cost;
    whole.max(1)
}

fn walk_back(best: &Reached, start: usize, end: usize) -> Way {
    let mut steps = Vec::new();
    let mut node = end;
    while let Some((_, Some((link, before)))) = best.get(&node) {
        steps.push((*link, node));
        node = *before;
    }
    steps.reverse();
    Way { start, steps }
}
