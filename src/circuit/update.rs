//! A few changed branches as one low-rank change of a factor that is there already.
//!
//! Comes in: a solved network and the branches that are different: opened, added to, joined, switched,
//! or with another source. Goes out: voltages, resistances and islands of the changed network, without
//! another factorisation. Why: a machine has tens of thousands of faults, and each is one or two
//! branches.
//!
//! The unknowns are the currents through the differences and, where they join islands that nothing
//! joined before, by how much each island as a whole is lifted. With `T` the transfer resistances between
//! the differences, each difference of `d` siemens and `s` amperes obeys
//!
//! ```text
//! x = d (v + lift(a) - lift(b) - T x) - s
//! ```
//!
//! and no island may gain or lose current (Sherman, Morrison and Woodbury 1950, bordered by the islands).
//! Where an only way is opened the equations leave something free: the two sides no longer have anything
//! to do with each other, and the free direction tells which point is on which side.
//!
//! Cost: one way up the elimination tree for each difference, the cube of their number, and for the
//! voltages of all nodes one solution.

use std::collections::BTreeMap;
use std::sync::Arc;

use smallvec::SmallVec;

use super::Few;
use super::base::{Base, Way};
use super::small::{Rows, Small};
use super::sparse::dot;
use crate::netlist::LinkId;

/// Points between which a free direction makes less of a difference than this are on the same side. Free
/// directions are scaled so that their largest difference is one.
const SAME_SIDE: f64 = 1e-6;

/// A branch that is different.
#[derive(Debug, Clone)]
pub(super) struct Difference {
    /// The link it is, if it is one, with its conductance now.
    pub link: Option<(LinkId, f64)>,
    /// Where it lies.
    pub way: Arc<Way>,
    /// How many siemens more it has.
    pub conductance: f64,
    /// How many amperes more its source drives from its second end to its first.
    pub current: f64,
}

/// Islands, each with the one that stands for all it is joined to.
type Joined = SmallVec<[(u32, u32); 4]>;

/// What the differences make of a network.
#[derive(Debug, Clone)]
pub(super) struct Update {
    differences: Vec<Difference>,
    /// Islands that are lifted by an unknown; the equations of the lifts follow those of the currents.
    lifted: SmallVec<[u32; 2]>,
    /// Islands that the differences touch, each with the one that stands for all it is joined to now.
    joined: Joined,
    /// What each difference's equation is multiplied by.
    scale: Few,
    equations: Small,
    /// Currents and lifts with the sources as they are.
    flow: Few,
    /// Free directions, scaled.
    free: Vec<Few>,
}

impl Update {
    pub(super) fn new(base: &Base, differences: Vec<Difference>) -> Self {
        let (joined, lifted) = islands(base, &differences);
        let mut update = Self {
            scale: Few::new(),
            equations: Small::new(Rows::new()),
            flow: Few::new(),
            free: Vec::new(),
            differences,
            lifted,
            joined,
        };
        update.equations = Small::new(update.matrix(base));
        let mut right: Few = update.differences.iter().map(|d| base.raised(d.way.ends())).collect();
        for (at, difference) in update.differences.iter().enumerate() {
            right[at] = (difference.conductance * right[at] - difference.current) * update.scale[at];
        }
        right.resize(update.size(), 0.0);
        update.flow = update.equations.solve(&right);
        update.free = update.equations.free().iter().map(|free| update.scaled(base, free)).collect();
        update
    }

    /// Where the differences lie.
    pub(super) fn ways(&self) -> impl Iterator<Item = &Way> {
        self.differences.iter().map(|difference| &*difference.way)
    }

    fn size(&self) -> usize {
        self.differences.len() + self.lifted.len()
    }

    /// The equations of the currents, then those of the islands.
    fn matrix(&mut self, base: &Base) -> Rows {
        let mut rows = Rows::with_capacity(self.size());
        for (at, difference) in self.differences.iter().enumerate() {
            let mut row: Few = self.transfers(base, &difference.way).collect();
            let scale = 1.0 / (1.0 + difference.conductance.abs() * row[at]);
            for x in &mut row {
                *x *= difference.conductance * scale;
            }
            row[at] += scale;
            self.scale.push(scale);
            let own = self.sides(base, difference.way.ends());
            row.extend(own.map(|side| -side * difference.conductance * scale));
            rows.push(row);
        }
        for island in &self.lifted {
            let leaves = |difference: &Difference| side(base, difference.way.ends(), *island);
            let mut row: Few = self.differences.iter().map(leaves).collect();
            row.resize(self.size(), 0.0);
            rows.push(row);
        }
        rows
    }

    /// The transfer resistance from each difference to a way.
    fn transfers(&self, base: &Base, way: &Way) -> impl Iterator<Item = f64> {
        self.differences.iter().map(|difference| dot(way.half(base), difference.way.half(base)))
    }

    /// For each lifted island, 1 if the first node is in it, -1 if the second is, 0 if both or none are.
    fn sides(&self, base: &Base, ends: [usize; 2]) -> impl Iterator<Item = f64> {
        self.lifted.iter().map(move |island| side(base, ends, *island))
    }

    /// What currents and lifts make of the voltage between two nodes.
    fn effect(&self, base: &Base, way: &Way, unknowns: &[f64]) -> f64 {
        let transfers: Few = self.transfers(base, way).collect();
        self.effect_on(base, way.ends(), &transfers, unknowns)
    }

    /// The same where the transfer resistances to the way between the two are known.
    fn effect_on(&self, base: &Base, ends: [usize; 2], transfers: &[f64], unknowns: &[f64]) -> f64 {
        let (currents, lifts) = unknowns.split_at(self.differences.len());
        let lost: f64 = transfers.iter().zip(currents).map(|(t, x)| t * x).sum();
        let lifted: f64 = self.sides(base, ends).zip(lifts).map(|(side, lift)| side * lift).sum();
        lifted - lost
    }

    /// A free direction whose largest effect across a difference is one.
    fn scaled(&self, base: &Base, free: &[f64]) -> Few {
        let across = self.differences.iter().map(|d| self.effect(base, &d.way, free).abs());
        let most = across.fold(0.0, f64::max).max(f64::MIN_POSITIVE);
        free.iter().map(|x| x / most).collect()
    }

    fn touches(&self, base: &Base, [a, b]: [usize; 2]) -> bool {
        [a, b].iter().any(|node| self.joined.iter().any(|(island, _)| *island == base.island[*node]))
    }

    fn root(&self, island: u32) -> u32 {
        self.joined.iter().find(|(own, _)| *own == island).map_or(island, |(_, root)| *root)
    }

    /// Whether anything joins the two ends of a way now.
    pub(super) fn joins(&self, base: &Base, way: &Way) -> bool {
        let transfers: Few = self.transfers(base, way).collect();
        self.joins_along(base, way.ends(), &transfers)
    }

    fn joins_along(&self, base: &Base, ends: [usize; 2], transfers: &[f64]) -> bool {
        let [a, b] = ends.map(|node| self.root(base.island[node]));
        let same_side = |free: &Few| self.effect_on(base, ends, transfers, free).abs() < SAME_SIDE;
        a == b && self.free.iter().all(same_side)
    }

    /// The resistance along a way; `None` where nothing joins its ends now.
    pub(super) fn resistance(&self, base: &Base, way: &Way) -> Option<f64> {
        if !self.touches(base, way.ends()) {
            let [a, b] = way.ends().map(|node| base.island[node]);
            return (a == b).then(|| way.ohms(base));
        }
        let transfers: Few = self.transfers(base, way).collect();
        let response = || self.response(self.sides(base, way.ends()), &transfers);
        let ohms = || way.ohms(base) + self.effect_on(base, way.ends(), &transfers, &response());
        self.joins_along(base, way.ends(), &transfers).then(ohms)
    }

    /// The same for a way within one island, by its resistance before and the transfer resistances from it to the
    /// differences: no island is lifted against itself.
    pub(super) fn resistance_within(&self, before: f64, transfers: &[f64]) -> Option<f64> {
        let effect =
            |unknowns: &[f64]| -> f64 { -transfers.iter().zip(unknowns).map(|(t, x)| t * x).sum::<f64>() };
        let joined = self.free.iter().all(|free| effect(free).abs() < SAME_SIDE);
        let level = std::iter::repeat_n(0.0, self.lifted.len());
        joined.then(|| before + effect(&self.response(level, transfers)))
    }

    /// Currents and lifts with one ampere from one end of a way to the other and no other source; `sides` are those of
    /// its ends.
    fn response(&self, sides: impl Iterator<Item = f64>, transfers: &[f64]) -> Few {
        let mut right = Few::from_slice(transfers);
        for ((right, difference), scale) in right.iter_mut().zip(&self.differences).zip(&self.scale) {
            *right *= difference.conductance * scale;
        }
        right.extend(sides);
        self.equations.solve(&right)
    }

    /// The voltages of all nodes with the sources as they are.
    pub(super) fn all_volts(&self, base: &Base) -> Vec<f64> {
        let mut volts = self.all_effects(base, &self.flow, &[]);
        volts.iter_mut().zip(&base.volts).for_each(|(volts, before)| *volts += before);
        volts
    }

    /// The voltages of all nodes with one ampere along a way and no other source.
    pub(super) fn ampere(&self, base: &Base, way: &Way) -> Vec<f64> {
        let [a, b] = way.ends();
        let transfers: Few = self.transfers(base, way).collect();
        let response = self.response(self.sides(base, way.ends()), &transfers);
        self.all_effects(base, &response, &[(a, 1.0), (b, -1.0)])
    }

    fn all_effects(&self, base: &Base, unknowns: &[f64], into: &[(usize, f64)]) -> Vec<f64> {
        let (through, lifts) = unknowns.split_at(self.differences.len());
        let mut currents = vec![0.0; base.island.len()];
        for (node, current) in into {
            currents[*node] += current;
        }
        for (difference, x) in self.differences.iter().zip(through) {
            let [a, b] = difference.way.ends();
            currents[a] -= x;
            currents[b] += x;
        }
        // An only way that is opened carried nothing: then there is nothing to solve.
        let still = currents.iter().all(|current| *current == 0.0);
        let mut volts = if still { currents } else { base.factor.solve(&currents) };
        for (island, lift) in self.lifted.iter().zip(lifts).filter(|(_, lift)| **lift != 0.0) {
            let of_island = volts.iter_mut().zip(&base.island).filter(|(_, own)| *own == island);
            of_island.for_each(|(volts, _)| *volts += lift);
        }
        volts
    }

    /// The island of each node: those that are joined now are one, and what a free direction tells apart
    /// is two; `None` where all stay as they are.
    pub(super) fn islands(&self, base: &Base) -> Option<Vec<u32>> {
        if self.lifted.is_empty() && self.free.is_empty() {
            return None;
        }
        let mut island: Vec<u32> = base.island.iter().map(|island| self.root(*island)).collect();
        let mut fresh = base.island.len() as u32;
        for free in &self.free {
            let effects = self.all_effects(base, free, &[]);
            let levels = self.levels(&effects);
            let mut split: BTreeMap<(u32, usize), u32> = BTreeMap::new();
            for (node, effect) in effects.iter().enumerate() {
                if !self.touches(base, [node; 2]) {
                    continue;
                }
                let level = nearest(&levels, *effect);
                island[node] = *split.entry((island[node], level)).or_insert_with(|| {
                    fresh += 1;
                    fresh
                });
            }
        }
        Some(island)
    }

    /// The distinct effects of a free direction at the ends of the differences: each side has such an end.
    fn levels(&self, effects: &[f64]) -> Vec<f64> {
        let mut levels: Vec<f64> =
            self.differences.iter().flat_map(|d| d.way.ends()).map(|node| effects[node]).collect();
        levels.sort_unstable_by(f64::total_cmp);
        levels.dedup_by(|a, b| (*a - *b).abs() < SAME_SIDE);
        levels
    }

    /// The conductance of a link, if the update changes it.
    pub(super) fn conductance(&self, link: LinkId) -> Option<f64> {
        let own = |d: &Difference| d.link.filter(|(other, _)| *other == link).map(|(_, now)| now);
        self.differences.iter().find_map(own)
    }
}

/// The place of the level that is nearest to a value.
fn nearest(levels: &[f64], value: f64) -> usize {
    let away = |at: usize| (levels[at] - value).abs();
    (0..levels.len()).min_by(|a, b| away(*a).total_cmp(&away(*b))).unwrap_or(0)
}

/// 1 if the first node is in the island, -1 if the second is, 0 if both or none are.
fn side(base: &Base, ends: [usize; 2], island: u32) -> f64 {
    let [a, b] = ends.map(|node| f64::from(u8::from(base.island[node] == island)));
    a - b
}

/// The islands that differences touch, each with the one that stands for all it is joined to now, and those
/// that another one stands for.
fn islands(base: &Base, differences: &[Difference]) -> (Joined, SmallVec<[u32; 2]>) {
    let ends = |difference: &Difference| difference.way.ends().map(|node| base.island[node]);
    let mut joined: Joined = differences.iter().flat_map(ends).map(|island| (island, island)).collect();
    joined.sort_unstable();
    joined.dedup();
    let root = |joined: &Joined, island: u32| {
        joined.iter().find(|(own, _)| *own == island).map_or(island, |(_, root)| *root)
    };
    for difference in differences {
        let [a, b] = ends(difference).map(|island| root(&joined, island));
        let (keep, drop) = (a.min(b), a.max(b));
        joined.iter_mut().filter(|(_, root)| *root == drop).for_each(|(_, root)| *root = keep);
    }
    let lifted = joined.iter().filter(|(island, root)| island != root).map(|(island, _)| *island).collect();
    (joined, lifted)
}
