//! What can be different in a faulty machine.

use crate::definition::{Id, PartId};
use crate::netlist::resistance::Range;
use crate::netlist::{LinkId, Netlist};
use crate::units::Ohms;

/// One difference from the healthy machine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Change {
    /// A link does not conduct.
    Open(LinkId),
    /// A link has an added resistance in series.
    Added(LinkId, Ohms),
    /// Two nodes are joined by a resistance.
    Joined(usize, usize, Ohms),
    /// A relay stays as it is, whatever its coil sees.
    Stuck {
        /// The relay.
        relay: PartId,
        /// Whether it stays operated.
        operated: bool,
    },
    /// A source gives nothing, or a unit drives nothing.
    Dead(PartId),
}

/// What tells changes apart: kind, where, and how much.
pub type ChangeKey = (u8, usize, usize, u64);

impl Change {
    /// The nodes it touches.
    pub fn nodes(&self, netlist: &Netlist) -> Vec<usize> {
        match *self {
            Self::Open(link) | Self::Added(link, _) => netlist.ends(link).to_vec(),
            Self::Joined(a, b, _) => vec![a, b],
            Self::Stuck { relay: part, .. } | Self::Dead(part) => {
                netlist.links_of(part).flat_map(|link| netlist.ends(link)).collect()
            }
        }
    }

    /// A key: equal changes have equal keys, and their order is that of links and parts.
    pub fn key(&self) -> ChangeKey {
        match *self {
            Self::Open(link) => (0, link.index(), 0, 0),
            Self::Added(link, ohms) => (1, link.index(), 0, ohms.get().to_bits()),
            Self::Joined(a, b, ohms) => (2, a, b, ohms.get().to_bits()),
            Self::Stuck { relay, operated } => (3, relay.index(), usize::from(operated), 0),
            Self::Dead(part) => (4, part.index(), 0, 0),
        }
    }
}

/// Which end of every resistance's range the network is built with.
///
/// The resistance between two nodes grows when any resistance grows (Rayleigh's monotonicity law), so
/// the two outer corners bound what a healthy machine can read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Corner {
    /// The least each can be.
    Low,
    /// What to expect.
    Nominal,
    /// The most each can be.
    High,
}

impl Corner {
    pub(super) fn of(self, range: Range) -> Ohms {
        match self {
            Self::Low => range.low,
            Self::Nominal => range.nominal,
            Self::High => range.high,
        }
    }
}

/// How readily things switch: relays operate, inputs count as live and fuses blow at thresholds that no
/// two parts share exactly.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lean {
    /// At the lowest threshold that a healthy part may have.
    Early,
    /// At the threshold as given.
    Exact,
    /// At the highest.
    Late,
}

impl Lean {
    /// The two outer ones.
    pub const OUTER: [Self; 2] = [Self::Early, Self::Late];

    /// What a voltage threshold is multiplied by: a sixth either way, common practice, no source.
    pub(super) fn volts(self) -> f64 {
        match self {
            Self::Early => 5.0 / 6.0,
            Self::Exact => 1.0,
            Self::Late => 7.0 / 6.0,
        }
    }

    /// What a fuse's blowing current is multiplied by: fuses scatter more, common practice, no source.
    pub(super) fn amps(self) -> f64 {
        match self {
            Self::Early => 0.6,
            Self::Exact => 1.0,
            Self::Late => 1.8,
        }
    }
}
