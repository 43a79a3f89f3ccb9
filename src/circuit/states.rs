//! Which switching things are on: relays, diodes, drivers, fuses.

use std::collections::BTreeSet;

use crate::definition::PartId;
use crate::netlist::LinkId;

/// Which switching things are on.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct States {
    pub(super) operated: BTreeSet<PartId>,
    pub(super) on: BTreeSet<LinkId>,
    pub(super) blown: BTreeSet<LinkId>,
}

impl States {
    /// Whether a relay is operated.
    pub fn operated(&self, relay: PartId) -> bool {
        self.operated.contains(&relay)
    }

    /// Whether a diode conducts, or a driver or an alternator is on.
    pub fn on(&self, link: LinkId) -> bool {
        self.on.contains(&link)
    }

    /// Whether a fuse has blown or a breaker has tripped.
    pub fn blown(&self, link: LinkId) -> bool {
        self.blown.contains(&link)
    }

    /// The fuses that have blown, in order.
    pub fn all_blown(&self) -> impl ExactSizeIterator<Item = LinkId> + '_ {
        self.blown.iter().copied()
    }

    pub(super) fn operate(&mut self, relay: PartId, operated: bool) {
        if operated {
            self.operated.insert(relay);
        } else {
            self.operated.remove(&relay);
        }
    }

    pub(super) fn put(&mut self, link: LinkId, on: bool) {
        if on {
            self.on.insert(link);
        } else {
            self.on.remove(&link);
        }
    }

    /// The relays that stand otherwise, and the links that are on, off or blown otherwise.
    pub(super) fn differ(&self, other: &Self) -> (Vec<PartId>, Vec<LinkId>) {
        let relays = self.operated.symmetric_difference(&other.operated).copied().collect();
        let links =
            self.on.symmetric_difference(&other.on).chain(self.blown.symmetric_difference(&other.blown));
        (relays, links.copied().collect())
    }
}
