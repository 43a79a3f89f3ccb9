//! Bridges: links without which two points are no longer joined.
//!
//! A netlist is a multigraph: two wires between the same points are common (a doubled ground), and
//! neither of them is a bridge. So the search is keyed on link ids, not on pairs of points; a search
//! for simple graphs would call both of them bridges.

use super::{LinkId, LinksAt, Netlist};

/// One frame of the depth-first search: a node, the link it was entered by, and what is left to try.
struct Frame<'n> {
    node: usize,
    entered_by: Option<LinkId>,
    left: LinksAt<'n>,
}

impl Netlist {
    /// For each link, whether it is a bridge among the links that `conducts` admits.
    ///
    /// Depth-first search with low points (Tarjan 1974), without recursion, so that a run of 100,000
    /// wires in a row does not exhaust the stack. Cost: linear in points and links.
    pub fn bridges(&self, conducts: impl Fn(LinkId) -> bool) -> Vec<bool> {
        let mut search = Search {
            entered: vec![u32::MAX; self.point_count()],
            low: vec![u32::MAX; self.point_count()],
            clock: 0,
            bridge: vec![false; self.ends.len()],
        };
        for root in 0..self.point_count() {
            if search.entered[root] == u32::MAX {
                search.from(self, root, &conducts);
            }
        }
        search.bridge
    }
}

struct Search {
    /// When each node was entered.
    entered: Vec<u32>,
    /// The earliest node each subtree reaches by one link back.
    low: Vec<u32>,
    clock: u32,
    bridge: Vec<bool>,
}

impl Search {
    fn enter<'n>(&mut self, netlist: &'n Netlist, node: usize, entered_by: Option<LinkId>) -> Frame<'n> {
        self.entered[node] = self.clock;
        self.low[node] = self.clock;
        self.clock += 1;
        Frame { node, entered_by, left: netlist.links_at(node) }
    }

    fn from(&mut self, netlist: &Netlist, root: usize, conducts: impl Fn(LinkId) -> bool) {
        let mut stack = vec![self.enter(netlist, root, None)];
        while let Some(top) = stack.last_mut() {
            let node = top.node;
            let Some((link, other)) = top.left.next() else {
                if let Some(done) = stack.pop() {
                    self.leave(&done, stack.last());
                }
                continue;
            };
            // The very link one came by is no way back; another link to the same point is.
            if !conducts(link) || top.entered_by == Some(link) {
                continue;
            }
            if self.entered[other] == u32::MAX {
                let frame = self.enter(netlist, other, Some(link));
                stack.push(frame);
            } else {
                self.low[node] = self.low[node].min(self.entered[other]);
            }
        }
    }

    fn leave(&mut self, done: &Frame<'_>, parent: Option<&Frame<'_>>) {
        let Some(parent) = parent else { return };
        self.low[parent.node] = self.low[parent.node].min(self.low[done.node]);
        if let Some(link) = done.entered_by
            && self.low[done.node] > self.entered[parent.node]
        {
            self.bridge[link.index()] = true;
        }
    }
}
