//! Nets: everything joined by conductors alone.

use petgraph::unionfind::UnionFind;

use super::{LinkId, Netlist};

/// A net's number, from 0, in the order of its first point.
pub type NetId = usize;

/// The nets of a machine under one rule of what conducts.
#[derive(Debug, Clone)]
pub struct Nets {
    /// The net of each node.
    of: Vec<u32>,
    /// The nodes of each net, ascending; nets in the order of their first node.
    members: Vec<Net>,
}

/// The nodes of a net, ascending.
pub type Net = Vec<usize>;

impl Nets {
    /// The net a node belongs to.
    pub fn of(&self, node: usize) -> NetId {
        self.of[node] as usize
    }

    /// The nodes of a net.
    pub fn members(&self, net: NetId) -> &[usize] {
        &self.members[net]
    }

    /// How many nets there are, single points included.
    pub fn len(&self) -> usize {
        self.members.len()
    }

    /// Whether there are none, which only an empty machine has.
    pub fn is_empty(&self) -> bool {
        self.members.is_empty()
    }

    /// All nets with their numbers.
    pub fn iter(&self) -> impl Iterator<Item = (NetId, &[usize])> {
        self.members.iter().enumerate().map(|(id, net)| (id, net.as_slice()))
    }
}

impl Netlist {
    /// Groups points joined by the links that `conducts` admits.
    ///
    /// Cost: near-linear in links (union-find).
    pub fn groups(&self, conducts: impl Fn(LinkId) -> bool) -> Nets {
        self.groups_joined(conducts, std::iter::empty())
    }

    /// The same with some pairs of points joined by something that is no link, such as a strap.
    pub fn groups_joined(
        &self,
        conducts: impl Fn(LinkId) -> bool,
        beside: impl Iterator<Item = [usize; 2]>,
    ) -> Nets {
        let mut joined = UnionFind::<u32>::new(self.point_count());
        for link in self.links().filter(|link| conducts(*link)) {
            let [a, b] = self.ends(link);
            joined.union(a as u32, b as u32);
        }
        for [a, b] in beside {
            joined.union(a as u32, b as u32);
        }
        let mut number = vec![u32::MAX; self.point_count()];
        let mut members: Vec<Net> = Vec::new();
        let mut net_of = |node: usize| {
            let root = joined.find_mut(node as u32) as usize;
            if number[root] == u32::MAX {
                number[root] = members.len() as u32;
                members.push(Vec::new());
            }
            members[number[root] as usize].push(node);
            number[root]
        };
        let of = (0..self.point_count()).map(&mut net_of).collect();
        Nets { of, members }
    }
}
