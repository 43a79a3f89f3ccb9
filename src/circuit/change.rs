//! What can be different in a faulty machine.

use crate::definition::PartId;
use crate::netlist::LinkId;
use crate::netlist::resistance::Range;
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
