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

/// A cost that can be ordered: micro-units, so that equal costs are equal on every machine; and, to break ties, the
/// sum of the links' numbers, which is the same from either end.
type Cost = (u64, u64);

/// A node that was reached.
#[derive(Debug, Clone, Copy)]
struct Mark {
    cost: Cost,
    /// The link and node it was reached by; none where the search starts.
    by: Option<(LinkId, usize)>,
    /// Whether no cheaper way to it can be found any more.
    settled: bool,
}

type Reached = HashMap<usize, Mark>;

impl Netlist {
    /// The cheapest ways from one node to all others over links that `cost` admits, as in
    /// [`Netlist::way`]. Cost: links reached times the logarithm of their number.
    pub fn ways(&self, from: usize, cost: impl Fn(LinkId, usize) -> Option<f64>) -> Ways {
        let mut search = self.search(from, cost);
        while !search.open.is_empty() {
            search.settle_next();
        }
        Ways { start: from, reached: search.reached }
    }

    /// The cheapest way between two nodes over links that `cost` admits; `None` where there is none.
    ///
    /// `cost` gives a link's cost in any unit when it is entered at a node, or `None` to forbid it. Of ways that cost the
    /// same the one whose links have the lesser sum of numbers is taken, so it is the same on every run. Dijkstra's
    /// algorithm; cost: links reached times the logarithm of their number.
    pub fn way(&self, from: usize, to: usize, cost: impl Fn(LinkId, usize) -> Option<f64>) -> Option<Way> {
        self.search(from, cost).to(to)
    }

    /// A search for the cheapest ways from one node, as in [`Netlist::way`], that goes on from question to question.
    pub fn search<F: Fn(LinkId, usize) -> Option<f64>>(&self, from: usize, cost: F) -> Search<'_, F> {
        let start = Mark { cost: (0, 0), by: None, settled: false };
        let open = BinaryHeap::from([Reverse(((0, 0), from))]);
        Search { netlist: self, cost, start: from, reached: HashMap::from([(from, start)]), open }
    }
}

/// A search for the cheapest ways from one node: it has gone as far as somebody asked.
pub struct Search<'n, F> {
    netlist: &'n Netlist,
    cost: F,
    start: usize,
    reached: Reached,
    open: BinaryHeap<Reverse<(Cost, usize)>>,
}

impl<F: Fn(LinkId, usize) -> Option<f64>> Search<'_, F> {
    /// The way to a node; `None` where none leads there. Cost: what is nearer than the node and was not reached yet.
    pub fn to(&mut self, node: usize) -> Option<Way> {
        self.within(node, usize::MAX).flatten()
    }

    /// The same if it can be told after so many more nodes; else `None`.
    pub fn within(&mut self, node: usize, nodes: usize) -> Option<Option<Way>> {
        let settled = |search: &Self| search.reached.get(&node).is_some_and(|mark| mark.settled);
        let mut left = nodes;
        while !settled(self) {
            if self.open.is_empty() {
                return Some(None);
            }
            if left == 0 {
                return None;
            }
            left -= 1;
            self.settle_next();
        }
        Some(Some(walk_back(&self.reached, self.start, node)))
    }

    /// Goes on to the nearest node that is not settled yet.
    fn settle_next(&mut self) {
        while let Some(Reverse((so_far, node))) = self.open.pop() {
            match self.reached.get_mut(&node) {
                Some(mark) if !mark.settled && mark.cost == so_far => mark.settled = true,
                _ => continue,
            }
            for (link, other) in self.netlist.links_at(node) {
                let Some(step) = (self.cost)(link, node) else { continue };
                let cost =
                    (so_far.0.saturating_add(micro(step)), so_far.1.saturating_add(link.index() as u64));
                if self.reached.get(&other).is_none_or(|known| cost < known.cost) {
                    self.reached.insert(other, Mark { cost, by: Some((link, node)), settled: false });
                    self.open.push(Reverse((cost, other)));
                }
            }
            return;
        }
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
        self.reached.get(&node).map(|mark| mark.cost.0)
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
fn micro(cost: f64) -> u64 {
    let scaled = (cost.max(0.0) * 1e6).min(1e15);
    #[expect(clippy::cast_sign_loss, reason = "clamped to 0..=1e15 just above")]
    let whole = scaled as u64;
    whole.max(1)
}

fn walk_back(best: &Reached, start: usize, end: usize) -> Way {
    let mut steps = Vec::new();
    let mut node = end;
    while let Some((link, before)) = best.get(&node).and_then(|mark| mark.by) {
        steps.push((link, node));
        node = before;
    }
    steps.reverse();
    Way { start, steps }
}
