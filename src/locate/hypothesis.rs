//! What may be wrong with a machine: one fault or two at once, a bad joint by its size.
//!
//! Comes in: faults. Goes out: for each hypothesis, what it changes in the machine. Why: a reading is held against
//! hypotheses, not against faults: a bad joint of three ohms and one of three kilohms read otherwise.

use crate::circuit::{Change, ChangeKey};
use crate::definition::Harness;
use crate::fault::{Fault, Universe};
use crate::netlist::{Element, LinkId, Netlist};
use crate::units::Ohms;

/// How much a bad joint adds, from one size to another. It adds one resistance to all readings alike; which, is not known.
/// So it is weighed in bands of a decade each, from [`HIGH_FROM`](crate::fault::HIGH_FROM) up, each as likely as the next;
/// and a band that stands is narrowed to the parts of it that stand in all readings at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Band {
    /// Its ends in parts of a decade above the least.
    from: u8,
    to: u8,
}

impl Band {
    /// Parts of a decade.
    const PARTS: u8 = 4;
    /// Decades.
    const DECADES: u8 = 6;
    /// The least size in ohms.
    const LEAST: f64 = 2.0;

    /// All decades, the smallest first.
    fn decades() -> impl Iterator<Item = Self> {
        (0..Self::DECADES).map(|at| Self { from: at * Self::PARTS, to: (at + 1) * Self::PARTS })
    }

    /// Its parts, the smallest first.
    pub(super) fn parts(self) -> impl Iterator<Item = Self> {
        (self.from..self.to).map(|from| Self { from, to: from + 1 })
    }

    /// From the start of one to the end of another.
    pub(super) fn up_to(self, other: Self) -> Self {
        Self { from: self.from, to: other.to }
    }

    /// Its share of all sizes.
    fn share(self) -> f64 {
        f64::from(self.to - self.from) / f64::from(Self::DECADES * Self::PARTS)
    }

    /// Its ends in ohms.
    fn ends(self) -> [Ohms; 2] {
        [self.from, self.to]
            .map(|at| Ohms::new(Self::LEAST * 10f64.powf(f64::from(at) / f64::from(Self::PARTS))))
    }
}

/// A fault, with its band if it is a bad joint.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Mode {
    pub fault: Fault,
    pub band: Option<Band>,
}

impl Mode {
    /// All modes of a fault.
    pub(super) fn of(fault: Fault) -> impl Iterator<Item = Self> {
        let high = matches!(fault, Fault::High(_));
        let plain = (!high).then_some(Self { fault, band: None });
        let bands = Band::decades().filter(move |_| high);
        plain.into_iter().chain(bands.map(move |band| Self { fault, band: Some(band) }))
    }

    /// Its share of all modes of its fault.
    pub(super) fn share(self) -> f64 {
        self.band.map_or(1.0, Band::share)
    }

    fn changes(self, harness: &Harness, netlist: &Netlist, universe: &Universe) -> Vec<Vec<Change>> {
        let Some(band) = self.band else { return vec![universe.changes(harness, netlist, self.fault)] };
        let elements = self.fault.elements();
        let added = |ohms: Ohms| {
            let links = elements.iter().flat_map(|element| universe.links(*element).iter().copied());
            links.map(|link| Change::Added(link, ohms)).collect()
        };
        band.ends().map(added).into()
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
