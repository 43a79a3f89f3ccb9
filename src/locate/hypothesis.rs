//! What may be wrong with a machine: one fault or two at once, a bad joint by its size.
//!
//! Comes in: faults. Goes out: for each hypothesis, what it changes in the machine. Why: a reading is held against
//! hypotheses, not against faults: a bad joint of three ohms and one of three kilohms read otherwise.

use crate::circuit::{Change, ChangeKey};
use crate::definition::Harness;
use crate::fault::{Fault, Universe};
use crate::netlist::{Element, LinkId, Netlist};
use crate::units::Ohms;

/// A bad joint adds one resistance to all readings alike; which, is not known. So it is weighed in bands
/// of a decade each, in ohms from [`HIGH_FROM`](crate::fault::HIGH_FROM) up, each as likely as the next.
pub(super) const BANDS: [f64; 6] = [2.0, 20.0, 200.0, 2e3, 2e4, 2e5];
const DECADE: f64 = 10.0;

/// A fault, with its band if it is a bad joint.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Mode {
    pub fault: Fault,
    pub band: Option<usize>,
}

impl Mode {
    /// All modes of a fault.
    pub(super) fn of(fault: Fault) -> impl Iterator<Item = Self> {
        let bands = if matches!(fault, Fault::High(_)) { 0..BANDS.len() } else { 0..0 };
        let plain = (!matches!(fault, Fault::High(_))).then_some(Self { fault, band: None });
        plain.into_iter().chain(bands.map(move |band| Self { fault, band: Some(band) }))
    }

    /// How many modes the fault has that this is one of.
    pub(super) fn count(self) -> f64 {
        if self.band.is_some() { BANDS.len() as f64 } else { 1.0 }
    }

    fn changes(self, harness: &Harness, netlist: &Netlist, universe: &Universe) -> Vec<Vec<Change>> {
        let Some(band) = self.band else { return vec![universe.changes(harness, netlist, self.fault)] };
        let elements = self.fault.elements();
        let added = |ohms: f64| {
            let links = elements.iter().flat_map(|element| universe.links(*element).iter().copied());
            links.map(|link| Change::Added(link, Ohms::new(ohms))).collect()
        };
        vec![added(BANDS[band]), added(BANDS[band] * DECADE)]
    }
}

/// One fault, or two at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Hypothesis {
    pub first: Mode,
    pub second: Option<Mode>,
}

impl From<Mode> for Hypothesis {
    fn from(first: Mode) -> Self {
        Self { first, second: None }
    }
}

impl Hypothesis {
    /// Its faults.
    pub(super) fn faults(self) -> impl Iterator<Item = Fault> {
        [Some(self.first), self.second].into_iter().flatten().map(|mode| mode.fault)
    }

    /// The elements that it accuses.
    pub(super) fn elements(self) -> impl Iterator<Item = Element> {
        self.faults().flat_map(Fault::elements)
    }

    /// Whether it can draw more current than a fuse bears: a short does, and so may a relay that does not
    /// switch as it should. A bad joint draws less.
    pub(super) fn can_blow(self) -> bool {
        [Some(self.first), self.second].into_iter().flatten().any(|mode| mode.band.is_none())
    }

    /// The links of a bad joint, where it is one and nothing else.
    pub(super) fn bad_joint(self, universe: &Universe) -> Option<&[LinkId]> {
        match (self.first, self.second) {
            (Mode { fault: Fault::High(element), band: Some(_) }, None) => Some(universe.links(element)),
            _ => None,
        }
    }

    /// What it changes in the machine, at every end of its bands.
    pub(super) fn changes(
        self,
        harness: &Harness,
        netlist: &Netlist,
        universe: &Universe,
    ) -> Vec<Vec<Change>> {
        let of = |mode: Mode| mode.changes(harness, netlist, universe);
        let first = of(self.first);
        let Some(second) = self.second.map(of) else { return first };
        let both = |a: &Vec<Change>| {
            let a = a.clone();
            second.iter().map(move |b| a.iter().chain(b).copied().collect())
        };
        first.iter().flat_map(both).collect()
    }

    /// A key of what it changes: hypotheses of one key cannot be told apart by any reading.
    pub(super) fn key(
        self,
        harness: &Harness,
        netlist: &Netlist,
        universe: &Universe,
    ) -> Vec<Vec<ChangeKey>> {
        let ways = self.changes(harness, netlist, universe);
        ways.iter().map(|changes| changes.iter().map(Change::key).collect()).collect()
    }
}
