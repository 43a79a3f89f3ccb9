//! Nets of two revisions held against each other.
//!
//! Comes in: two matched revisions, and a rule of what is joined. Goes out: which old nets became which new ones, and at
//! which nets that makes a difference. Why: a net is what conductors alone join; two revisions are the same at the level of
//! nets where both divide the same points into the same nets, whatever lies between.
//!
//! Cost: near-linear (union-find, and one pass over the points).

use petgraph::unionfind::UnionFind;

use super::keys::{Both, Key};
use crate::definition::{Harness, Point};
use crate::netlist::{Link, NetId, Netlist, Nets};

/// Which matings are joined.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Level {
    /// Everything plugged in, as the machine is found.
    AsFound,
    /// Everything parted: each loom by itself.
    Parted,
}

/// Which points are looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Look {
    /// Every contact, terminal and the chassis: what a probe can touch.
    Probes,
    /// Where the machine is used: parts' points, terminals, the chassis, contacts of connectors that have no mate or sit on
    /// a part.
    Ends,
}

/// Nets that became other nets: each old one shares points with a new one here, and none with any other.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Regrouped {
    pub(super) old: Vec<NetId>,
    pub(super) new: Vec<NetId>,
}

/// The nets of two revisions under one rule.
pub(super) struct Partition {
    nets: [Nets; 2],
    /// The group each net belongs to; `NONE` for nets without a point that is looked at.
    group: [Vec<u32>; 2],
    /// Whether the nets of a group are not what they were.
    changed: Vec<bool>,
}

const NONE: u32 = u32::MAX;

/// The nets of one revision.
fn nets(harness: &Harness, level: Level) -> Nets {
    let netlist = Netlist::new(harness);
    netlist.groups(|link| match netlist.link(link) {
        Link::Wire(_) | Link::Bond(_) => true,
        Link::Mated { .. } => level == Level::AsFound,
        Link::Part(..) => false,
    })
}

impl Partition {
    pub(super) fn new(both: &Both, level: Level, look: Look) -> Self {
        let nets = both.harness.map(|harness| nets(harness, level));
        let seen: Vec<bool> = both.keys().map(|key| is_seen(both, key, look)).collect();
        let of = |side: usize, key: Key| {
            let point = both.place(side, key)?;
            Some(nets[side].of(both.harness[side].point_index(point)))
        };
        let olds = nets[0].len();
        let mut joined = UnionFind::<u32>::new(olds + nets[1].len());
        // A point of one revision alone tells of a change only where something is joined to it.
        let mut stray = Vec::new();
        for key in both.keys().filter(|key| seen[*key as usize]) {
            match [of(0, key), of(1, key)] {
                [Some(old), Some(new)] => {
                    joined.union(old as u32, (olds + new) as u32);
                }
                [Some(old), None] if nets[0].members(old).len() > 1 => stray.push(old),
                [None, Some(new)] if nets[1].members(new).len() > 1 => stray.push(olds + new),
                _ => {}
            }
        }
        let mut number = vec![NONE; olds + nets[1].len()];
        let mut counts: Vec<[u32; 2]> = Vec::new();
        let mut group = [vec![NONE; olds], vec![NONE; nets[1].len()]];
        for side in 0..2 {
            for (net, slot) in group[side].iter_mut().enumerate() {
                let looked = |node: &usize| {
                    let point = both.harness[side].point_at(*node);
                    seen[both.key(side, point) as usize]
                };
                if !nets[side].members(net).iter().any(looked) {
                    continue;
                }
                let root = joined.find_mut((side * olds + net) as u32) as usize;
                if number[root] == NONE {
                    number[root] = counts.len() as u32;
                    counts.push([0, 0]);
                }
                *slot = number[root];
                counts[number[root] as usize][side] += 1;
            }
        }
        // Points that nothing is joined to and that only one revision has are no change.
        let lone = |side: usize, net: usize| nets[side].members(net).len() == 1;
        let mut changed: Vec<bool> = counts.iter().map(|count| *count != [1, 1]).collect();
        for side in 0..2 {
            for (net, group) in group[side].iter().enumerate() {
                if *group != NONE && counts[*group as usize].iter().sum::<u32>() == 1 && lone(side, net) {
                    changed[*group as usize] = false;
                }
            }
        }
        for net in stray {
            let (side, net) = if net < olds { (0, net) } else { (1, net - olds) };
            changed[group[side][net] as usize] = true;
        }
        Self { nets, group, changed }
    }

    /// Whether nothing changed.
    pub(super) fn is_same(&self) -> bool {
        !self.changed.contains(&true)
    }

    /// Whether the net of a point is not what it was.
    pub(super) fn changed_at(&self, both: &Both, side: usize, point: Point) -> bool {
        let group = self.group[side][self.net(both, side, point)];
        group != NONE && self.changed[group as usize]
    }

    /// The net of a point.
    pub(super) fn net(&self, both: &Both, side: usize, point: Point) -> NetId {
        self.nets[side].of(both.harness[side].point_index(point))
    }

    /// Whether an old point's net became a new point's net, and both are what they were.
    pub(super) fn is_kept(&self, both: &Both, points: [Point; 2]) -> bool {
        let [old, new] = [0, 1].map(|side| self.group[side][self.net(both, side, points[side])]);
        old == new && old != NONE && !self.changed[old as usize]
    }

    /// What changed, group by group, in the order of the first net.
    pub(super) fn regrouped(&self) -> Vec<Regrouped> {
        let mut all = vec![Regrouped::default(); self.changed.len()];
        for side in 0..2 {
            for (net, group) in self.group[side].iter().enumerate().filter(|(_, group)| **group != NONE) {
                let into = &mut all[*group as usize];
                if side == 0 { into.old.push(net) } else { into.new.push(net) }
            }
        }
        all.into_iter().zip(&self.changed).filter(|(_, changed)| **changed).map(|(group, _)| group).collect()
    }

    /// The nodes of a net.
    pub(super) fn members(&self, side: usize, net: NetId) -> &[usize] {
        self.nets[side].members(net)
    }
}

/// Whether a point is looked at: one that either revision has there.
fn is_seen(both: &Both, key: Key, look: Look) -> bool {
    (0..2).any(|side| both.place(side, key).is_some_and(|point| is_end(both.harness[side], point, look)))
}

fn is_end(harness: &Harness, point: Point, look: Look) -> bool {
    match point {
        Point::Splice(_) => false,
        Point::Terminal(_) | Point::Chassis => true,
        Point::Contact(_) if look == Look::Probes => true,
        Point::Contact(id) => {
            let connector = &harness.connectors[harness.contacts[id].connector];
            connector.mating.is_none() || connector.part.is_some() || harness.parts_at(point).next().is_some()
        }
    }
}
