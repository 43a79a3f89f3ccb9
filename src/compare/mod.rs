//! Two revisions of a machine: what moved, and whether it matters electrically.
//!
//! Comes in: two harnesses. Goes out: a [`Comparison`]: a verdict, explanations, nets that are not what they were, every
//! single difference with what it matters to, contacts before and after, and what must be tested again. Why: whoever signs a
//! revision must know which of its differences are ink and which are copper; and a list of eight moved wires hides that one
//! connector was pinned from the wrong side.
//!
//! The way: things are matched, by id where ids can be trusted and else by what they join (`matching`); wires are matched
//! by what they join; both revisions' points are divided into nets, plugged in and parted, and the divisions are held
//! against each other (`nets`). A rename is called proven where the thing joins exactly what it joined, and a re-route is
//! called harmless where the ends of the machine are in the nets that they were in. Then everything else that a definition
//! says is compared, and what moved within a connector is explained (`explain`).
//!
//! What is not compared: the revision letter, the order and layout of the files, and comments.
//!
//! Cost: near-linear in wires and contacts.

mod change;
mod connectors;
mod explain;
mod graph;
mod keys;
mod limits;
mod matching;
mod nets;
mod parts;
mod pattern;
mod pins;
mod retest;
mod things;
mod wires;
mod wiring;

pub use change::{Change, Effect, Subject, What};
pub use explain::Explanation;
pub use nets::Level;
pub use pattern::Pattern;
pub use pins::{PinChange, carries};
pub use retest::{Retest, RetestWire};

use crate::definition::{Harness, Point};
use keys::Both;
use nets::{Look, Partition};
use things::Comparer;

/// How much two revisions differ.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// Nothing differs.
    Identical,
    /// Every contact, terminal and part joins what it joined, plugged in and parted.
    Same,
    /// What parts, terminals and open connectors join is the same as long as everything is plugged in; contacts on the way
    /// differ.
    SameAsFound,
    /// The machine is wired, protected or driven otherwise.
    Different,
}

impl Verdict {
    /// As a word that stays.
    pub fn word(self) -> &'static str {
        match self {
            Self::Identical => "identical",
            Self::Same => "electrically the same",
            Self::SameAsFound => "electrically the same as found",
            Self::Different => "electrically different",
        }
    }
}

/// Nets that are not what they were.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NetChange {
    /// Plugged in, or parted.
    pub level: Level,
    /// The old nets: contacts, terminals and the chassis, by their old names.
    pub before: Vec<Vec<String>>,
    /// The new nets that their points are in, by the new names.
    pub after: Vec<Vec<String>>,
}

impl NetChange {
    /// What became of the nets.
    pub fn kind(&self) -> &'static str {
        match (self.before.len(), self.after.len()) {
            (0, _) => "new",
            (_, 0) => "gone",
            (1, 1) => "changed",
            (1, _) => "divided",
            (_, 1) => "joined",
            _ => "regrouped",
        }
    }
}

/// All that differs between two revisions.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Comparison {
    /// How much.
    pub verdict: Verdict,
    /// Whether contacts, terminals and the chassis are in the same nets with everything plugged in.
    pub nets_as_found: bool,
    /// Whether they are with everything parted.
    pub nets_parted: bool,
    /// Whether the ends of the machine are in the same nets with everything plugged in.
    pub ends_as_found: bool,
    /// What explains several differences at once.
    pub explanations: Vec<Explanation>,
    /// Nets that are not what they were.
    pub nets: Vec<NetChange>,
    /// Every single difference, the gravest first.
    pub changes: Vec<Change>,
    /// Contacts that do not carry what they carried.
    pub pins: Vec<PinChange>,
    /// What must be tested again.
    pub retest: Retest,
}

impl Comparison {
    /// How many differences matter so much.
    pub fn count(&self, effect: Effect) -> usize {
        self.changes.iter().filter(|change| change.effect == effect).count()
    }
}

/// Compares two revisions, the old one first.
///
/// Cost: near-linear in wires and contacts; two machines of 100,000 wires take about a second beside the loading.
pub fn compare(old: &Harness, new: &Harness) -> Comparison {
    let both = Both::new([old, new]);
    let ends = Partition::new(&both, Level::AsFound, Look::Ends);
    let found = Partition::new(&both, Level::AsFound, Look::Probes);
    let parted = Partition::new(&both, Level::Parted, Look::Probes);
    let mut comparer = Comparer { both: &both, ends: &ends, changes: Vec::new() };
    comparer.wiring();
    comparer.things();
    comparer.parts();
    comparer.limits();
    let mut changes = comparer.changes;
    changes.sort();
    changes.dedup();
    let explanations = explain::explain(&both, &mut changes);
    let electrical = changes.iter().any(|change| change.effect == Effect::Electrical);
    let verdict = if electrical || !ends.is_same() {
        Verdict::Different
    } else if !found.is_same() || !parted.is_same() {
        Verdict::SameAsFound
    } else if changes.is_empty() {
        Verdict::Identical
    } else {
        Verdict::Same
    };
    let mut nets = net_changes(&both, Level::AsFound, &found);
    nets.extend(net_changes(&both, Level::Parted, &parted));
    Comparison {
        verdict,
        nets_as_found: found.is_same(),
        nets_parted: parted.is_same(),
        ends_as_found: ends.is_same(),
        explanations,
        nets,
        retest: retest::retest(&both, &changes, &parted),
        pins: pins::pins(&both),
        changes,
    }
}

fn net_changes(both: &Both, level: Level, partition: &Partition) -> Vec<NetChange> {
    let names = |side: usize, net: usize| -> Vec<String> {
        let harness = both.harness[side];
        let points = partition.members(side, net).iter().map(|node| harness.point_at(*node));
        let seen = points.filter(|point| !matches!(point, Point::Splice(_)));
        seen.map(|point| harness.point_name(point)).collect()
    };
    let change = |group: nets::Regrouped| NetChange {
        level,
        before: group.old.iter().map(|net| names(0, *net)).collect(),
        after: group.new.iter().map(|net| names(1, *net)).collect(),
    };
    partition.regrouped().into_iter().map(change).collect()
}
