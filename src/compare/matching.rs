//! Which thing of one revision is which thing of the other.
//!
//! Comes in: both revisions as graphs. Goes out: a [`Matching`], one to one. Why: everything else is a comparison of what
//! belongs together; and a rename can be told from a removal and an addition by nothing but what the thing joins.
//!
//! A connector, terminal or part that both revisions know by its id is the same thing, and so is a contact by its name in
//! the same connector: ids stand on labels, and people go by labels. Splices have no face and often no label: they are told
//! by what they join, and by their id only where that does not tell. Then what is left over is told by what it joins
//! (colour refinement: Weisfeiler and Leman, 1968; from memory), what looks alike from there along what has been told
//! already, and in the end what shares most of its neighbours. None of this is proof: what was matched is compared link
//! by link afterwards, and only what holds there is called proven.
//!
//! Cost: near-linear; a bounded number of passes over the links of what is not told by its id.

use std::collections::{BTreeMap, BTreeSet};

use super::graph::{Graph, Node, Thing, mix};
use crate::definition::{ConnectorId, ContactId, Harness, Named, Point};

/// No partner yet.
const NONE: Node = Node::MAX;
/// How many joints away the surroundings of a thing are looked at.
const FAR: usize = 12;
/// How many unknown neighbours a thing may have to speak for one of them.
const MOST_KNOWN: usize = 32;

/// Pairs of nodes, one of each revision.
pub(super) struct Matching {
    pair: [Vec<Node>; 2],
}

impl Matching {
    /// The partner of a node of the old revision (side 0) or of the new one (side 1).
    pub(super) fn of(&self, side: usize, node: Node) -> Option<Node> {
        Some(self.pair[side][node as usize]).filter(|node| *node != NONE)
    }
}

/// Matches two revisions.
pub(super) fn matching(graphs: [&Graph; 2]) -> Matching {
    let pair = graphs.map(|graph| vec![NONE; graph.len()]);
    let mut matcher =
        Matcher { graphs, pair: Matching { pair }, fresh: BTreeSet::new(), unclear: Vec::new() };
    matcher.by_id(false);
    matcher.settle(true);
    matcher.by_id(true);
    matcher.settle(false);
    while matcher.vote() {
        matcher.settle(false);
    }
    matcher.pair
}

struct Matcher<'a> {
    graphs: [&'a Graph<'a>; 2],
    pair: Matching,
    /// Pairs whose neighbours have not been looked at, in an order that is the same both ways round.
    fresh: BTreeSet<(u64, [Node; 2])>,
    unclear: Vec<Unclear>,
}

/// Neighbours of a pair that look alike, as many on either side.
struct Unclear {
    groups: [Vec<Node>; 2],
    /// Pairs of them to be tried, the next one last.
    next: Vec<[Node; 2]>,
}

impl Matcher<'_> {
    fn is_free(&self, side: usize, node: Node) -> bool {
        self.pair.of(side, node).is_none()
    }

    fn join(&mut self, pair: [Node; 2]) {
        let things = [0, 1].map(|side| self.graphs[side].thing(pair[side]));
        if (0..2).any(|side| !self.is_free(side, pair[side])) || !self.may_join(things) {
            return;
        }
        self.pair.pair[0][pair[0] as usize] = pair[1];
        self.pair.pair[1][pair[1] as usize] = pair[0];
        self.fresh.insert((self.number(pair), pair));
        if let [Thing::Connector(old), Thing::Connector(new)] = things {
            for contacts in same_names(self.graphs.map(|graph| graph.harness), [old, new]) {
                self.join([0, 1].map(|side| self.graphs[side].point(Point::Contact(contacts[side]))));
            }
        }
    }

    /// Whether two nodes are the same kind of thing; contacts also only within connectors that are the same.
    fn may_join(&self, things: [Thing; 2]) -> bool {
        let shell = |side: usize| {
            let Thing::Point(Point::Contact(id)) = things[side] else { return None };
            Some(self.graphs[side].connector(self.graphs[side].harness.contacts[id].connector))
        };
        match [shell(0), shell(1)] {
            [Some(old), Some(new)] => self.pair.of(0, old) == Some(new),
            _ => alike(things[0], things[1]),
        }
    }

    /// Pairs what has the same id and is the same kind of thing: all but splices, or splices.
    fn by_id(&mut self, splices: bool) {
        let [old, new] = self.graphs;
        if !splices {
            self.join([old, new].map(|graph| graph.point(Point::Chassis)));
        }
        for node in old.nodes() {
            if self.is_free(0, node)
                && let Some(other) = named(new, old.id(node))
                && alike(old.thing(node), new.thing(other))
                && matches!(old.thing(node), Thing::Point(Point::Splice(_))) == splices
            {
                self.join([node, other]);
            }
        }
    }

    /// Pairs what its surroundings tell, then what follows from that.
    fn settle(&mut self, rich: bool) {
        let units: [Vec<Node>; 2] = [0, 1].map(|side| self.units(side));
        if units.iter().any(Vec::is_empty) {
            return;
        }
        let colours = self.refine(rich);
        let classes = classes(&units, &colours);
        for [old, new] in &classes {
            if let ([old], [new]) = (&old[..], &new[..]) {
                self.join([*old, *new]);
            }
        }
        self.refresh();
        self.spread(&colours, rich);
        for [old, new] in classes.into_iter().filter(|[old, new]| old.len() == new.len()) {
            for pair in self.in_order([&old, &new]) {
                self.join(pair);
                self.spread(&colours, rich);
            }
        }
    }

    /// What can be paired by itself: all but the contacts of connectors that have no partner.
    fn units(&self, side: usize) -> Vec<Node> {
        let free = |node: &Node| self.is_free(side, *node) && self.unit(side, *node) == *node;
        self.graphs[side].nodes().filter(free).collect()
    }

    /// What must be paired for a node to be paired.
    fn unit(&self, side: usize, node: Node) -> Node {
        let graph = self.graphs[side];
        match graph.thing(node) {
            Thing::Point(Point::Contact(id)) => {
                let connector = graph.connector(graph.harness.contacts[id].connector);
                if self.is_free(side, connector) { connector } else { node }
            }
            _ => node,
        }
    }

    /// A number for every node that is the same where its surroundings are.
    fn refine(&self, rich: bool) -> [Vec<u64>; 2] {
        let free: [Vec<Node>; 2] =
            [0, 1].map(|side| self.graphs[side].nodes().filter(|node| self.is_free(side, *node)).collect());
        let mut colours = [0, 1].map(|side| {
            let colour = |node: Node| match self.pair.of(side, node) {
                Some(other) => self.number(if side == 0 { [node, other] } else { [other, node] }),
                None => self.graphs[side].kind(node, rich),
            };
            self.graphs[side].nodes().map(colour).collect::<Vec<u64>>()
        });
        let mut known = distinct(&free, &colours);
        for _ in 0..FAR {
            for side in 0..2 {
                let now = &colours[side];
                let next = |node: &Node| {
                    let seen = self.graphs[side].edges(*node).iter();
                    let sum = seen.fold(0u64, |sum, edge| {
                        sum.wrapping_add(mix(edge.label(rich) ^ now[edge.to as usize].rotate_left(17)))
                    });
                    mix(now[*node as usize] ^ sum)
                };
                let next: Vec<u64> = free[side].iter().map(next).collect();
                for (node, colour) in free[side].iter().zip(next) {
                    colours[side][*node as usize] = colour;
                }
            }
            let count = distinct(&free, &colours);
            if count == known {
                break;
            }
            known = count;
        }
        colours
    }

    /// Takes up again every pair that has a neighbour without partner.
    fn refresh(&mut self) {
        self.fresh = self.open_pairs().into_iter().map(|pair| (self.number(pair), pair)).collect();
    }

    /// Goes on from every fresh pair to its neighbours: first what is clear, then one by one what only looks alike.
    fn spread(&mut self, colours: &[Vec<u64>; 2], rich: bool) {
        loop {
            while let Some((_, pair)) = self.fresh.pop_first() {
                self.neighbours(pair, colours, rich);
            }
            let Some(mut unclear) = self.unclear.pop() else { break };
            if unclear.next.is_empty() {
                let [old, new] = &unclear.groups;
                unclear.next = self.in_order([old, new]);
                unclear.next.reverse();
            }
            if let Some(pair) = unclear.next.pop() {
                self.join(pair);
                if self.is_free(0, pair[0]) && self.is_free(1, pair[1]) {
                    // It may not be joined to this one, and would be tried for ever.
                    unclear.groups[0].retain(|node| *node != pair[0]);
                }
                self.unclear.push(unclear);
            }
        }
    }

    /// Pairs the neighbours of a pair that are alike and alone in that; keeps the others for later.
    fn neighbours(&mut self, pair: [Node; 2], colours: &[Vec<u64>; 2], rich: bool) {
        let around = [0, 1].map(|side| {
            let open = self.graphs[side].edges(pair[side]).iter().filter(|edge| self.is_free(side, edge.to));
            let key = |edge: &super::graph::Edge| {
                ((edge.label(rich), colours[side][edge.to as usize]), self.unit(side, edge.to))
            };
            let mut around: Vec<((u64, u64), Node)> = open.map(key).collect();
            around.sort_unstable();
            around.dedup();
            around
        });
        let mut groups: BTreeMap<(u64, u64), [Vec<Node>; 2]> = BTreeMap::new();
        for (side, around) in around.into_iter().enumerate() {
            for (key, unit) in around {
                groups.entry(key).or_default()[side].push(unit);
            }
        }
        for [old, new] in groups.into_values() {
            match (&old[..], &new[..]) {
                ([old], [new]) => self.join([*old, *new]),
                _ if old.len() == new.len() => {
                    self.unclear.push(Unclear { groups: [old, new], next: Vec::new() });
                }
                _ => {}
            }
        }
    }

    /// The free ones of two groups in pairs: those with the same id first, then in the order of the definitions.
    fn in_order(&self, groups: [&[Node]; 2]) -> Vec<[Node; 2]> {
        let [mut old, mut new] = [0, 1].map(|side| {
            groups[side].iter().copied().filter(|node| self.is_free(side, *node)).collect::<BTreeSet<Node>>()
        });
        let same = |node: &Node| named(self.graphs[1], self.graphs[0].id(*node)).map(|other| [*node, other]);
        let mut pairs: Vec<[Node; 2]> =
            old.iter().filter_map(same).filter(|pair| new.contains(&pair[1])).collect();
        for pair in &pairs {
            old.remove(&pair[0]);
            new.remove(&pair[1]);
        }
        pairs.extend(old.into_iter().zip(new).map(|(old, new)| [old, new]));
        pairs
    }

    /// Pairs what shares most of its neighbours, and at least half of them. Says whether it found any.
    fn vote(&mut self) -> bool {
        let mut votes: BTreeMap<[Node; 2], usize> = BTreeMap::new();
        for pair in self.open_pairs() {
            let [old, new] = [0, 1].map(|side| self.unknown_around(side, pair[side]));
            for (label, olds) in &old {
                let Some(news) = new.get(label) else { continue };
                if olds.len().max(news.len()) > MOST_KNOWN {
                    continue;
                }
                for unit in olds {
                    for other in news {
                        *votes.entry([*unit, *other]).or_default() += 1;
                    }
                }
            }
        }
        let mut found = false;
        for pair in self.chosen(&votes) {
            self.join(pair);
            found |= !self.is_free(0, pair[0]);
        }
        found
    }

    /// What has no partner at a node, by how it is joined to it. To be in the same shell says nothing of a contact.
    fn unknown_around(&self, side: usize, node: Node) -> BTreeMap<u64, BTreeSet<Node>> {
        let graph = self.graphs[side];
        let mut around: BTreeMap<u64, BTreeSet<Node>> = BTreeMap::new();
        if matches!(graph.thing(node), Thing::Connector(_)) {
            return around;
        }
        for edge in graph.edges(node).iter().filter(|edge| self.is_free(side, edge.to)) {
            around.entry(edge.label(false)).or_default().insert(self.unit(side, edge.to));
        }
        around
    }

    /// Every pair of which the old one has a neighbour without partner.
    fn open_pairs(&self) -> BTreeSet<[Node; 2]> {
        let graph = self.graphs[0];
        let free = graph.nodes().filter(|node| self.is_free(0, *node));
        let beside = free.flat_map(|node| graph.edges(node));
        beside.filter_map(|edge| Some([edge.to, self.pair.of(0, edge.to)?])).collect()
    }

    /// A number for a pair that is the same whichever revision is the old one.
    fn number(&self, pair: [Node; 2]) -> u64 {
        let [old, new] = [0, 1].map(|side| mix(self.graphs[side].name(pair[side])));
        mix(old.wrapping_add(new))
    }

    /// Pairs that are each other's only best.
    fn chosen(&self, votes: &BTreeMap<[Node; 2], usize>) -> Vec<[Node; 2]> {
        // For each node the most votes it has, and how often it has so many.
        let mut best: [BTreeMap<Node, (usize, usize)>; 2] = [BTreeMap::new(), BTreeMap::new()];
        for (pair, count) in votes {
            for side in 0..2 {
                let (most, times) = best[side].entry(pair[side]).or_default();
                match (*count).cmp(most) {
                    std::cmp::Ordering::Greater => (*most, *times) = (*count, 1),
                    std::cmp::Ordering::Equal => *times += 1,
                    std::cmp::Ordering::Less => {}
                }
            }
        }
        let is_best = |pair: &[Node; 2], count: usize| {
            (0..2).all(|side| best[side].get(&pair[side]) == Some(&(count, 1)))
        };
        let ties = |side: usize, node: Node| self.ties(side, node);
        let fits = |(pair, count): &(&[Node; 2], &usize)| {
            let things = [0, 1].map(|side| self.graphs[side].thing(pair[side]));
            alike(things[0], things[1])
                && is_best(pair, **count)
                && 2 * **count >= ties(0, pair[0]).max(ties(1, pair[1]))
        };
        votes.iter().filter(fits).map(|(pair, _)| *pair).collect()
    }

    /// How many joints a thing has, the contacts of a connector included.
    fn ties(&self, side: usize, node: Node) -> usize {
        let graph = self.graphs[side];
        let own = graph.edges(node).len();
        match graph.thing(node) {
            Thing::Connector(id) => {
                let contacts = graph.harness.contacts_of(id);
                let beside = contacts.map(|id| graph.edges(graph.point(Point::Contact(id))).len() - 1);
                beside.sum::<usize>() + own - graph.harness.connectors[id].count
            }
            Thing::Point(Point::Contact(_)) => own - 1,
            _ => own,
        }
    }
}

/// Whether two nodes are the same kind of thing.
fn alike(old: Thing, new: Thing) -> bool {
    match (old, new) {
        (Thing::Point(old), Thing::Point(new)) => {
            std::mem::discriminant(&old) == std::mem::discriminant(&new)
        }
        (old, new) => std::mem::discriminant(&old) == std::mem::discriminant(&new),
    }
}

/// The node of an id.
fn named(graph: &Graph, id: &str) -> Option<Node> {
    Some(match graph.harness.names.get(id)? {
        Named::Connector(id) => graph.connector(id),
        Named::Splice(id) => graph.point(Point::Splice(id)),
        Named::Terminal(id) => graph.point(Point::Terminal(id)),
        Named::Part(id) => graph.part(id),
        Named::Wire(_) => return None,
    })
}

/// The contacts of two connectors that have the same name.
fn same_names([old, new]: [&Harness; 2], connectors: [ConnectorId; 2]) -> Vec<[ContactId; 2]> {
    let (mut pairs, mut apart) = (Vec::new(), (Vec::new(), BTreeMap::new()));
    let mut olds = old.contacts_of(connectors[0]);
    let mut news = new.contacts_of(connectors[1]);
    loop {
        match (olds.next(), news.next()) {
            (Some(a), Some(b)) if old.contacts[a].name == new.contacts[b].name => pairs.push([a, b]),
            (None, None) => break,
            (a, b) => {
                apart.0.extend(a);
                apart.1.extend(b.map(|b| (new.contacts[b].name.as_str(), b)));
            }
        }
    }
    let (olds, news) = apart;
    let partner = |a: &ContactId| news.get(old.contacts[*a].name.as_str()).map(|b| [*a, *b]);
    pairs.extend(olds.iter().filter_map(partner));
    pairs
}

/// Nodes of either revision that look alike, in the order of their numbers.
fn classes(units: &[Vec<Node>; 2], colours: &[Vec<u64>; 2]) -> Vec<[Vec<Node>; 2]> {
    let mut classes: BTreeMap<u64, [Vec<Node>; 2]> = BTreeMap::new();
    for side in 0..2 {
        for node in &units[side] {
            classes.entry(colours[side][*node as usize]).or_default()[side].push(*node);
        }
    }
    classes.into_values().collect()
}

/// How many different numbers free nodes have.
fn distinct(free: &[Vec<Node>; 2], colours: &[Vec<u64>; 2]) -> usize {
    let of = |side: usize| free[side].iter().map(move |node| colours[side][*node as usize]);
    let mut all: Vec<u64> = of(0).chain(of(1)).collect();
    all.sort_unstable();
    all.dedup();
    all.len()
}
