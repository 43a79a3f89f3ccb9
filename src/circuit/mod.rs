//! The DC network of a machine in a setup.
//!
//! Comes in: a netlist, a setup, and what is changed in the machine (a fault). Goes out: the voltage
//! of every point, the resistance between any two, and the state of every relay, diode and unit
//! driver. Why: what a healthy or faulty machine reads is computed, not guessed.
//!
//! Model: every conducting link is a resistance. A battery is an EMF behind its internal resistance
//! and contributes nothing while power is isolated. Relays, diodes and unit drivers are switched by
//! the voltages they see; the network is solved again until nothing switches any more. A machine
//! that never settles (a buzzer) is reported with the parts that keep switching.
//!
//! Cost: one factorisation and one solution per round, each near-linear in links for the tree-like
//! networks that wiring is; rounds are few (one per stage of relays).

mod base;
mod bundle;
mod change;
mod differ;
mod network;
mod operating;
mod settle;
mod small;
mod sparse;
pub mod spice;
mod states;
mod trail;
mod update;

pub use base::Way;
pub use bundle::{Bundle, Felt};
pub use change::{Change, ChangeKey, Corner, Lean};
pub use operating::{Operating, Scatter, VOLTMETER};
pub use settle::{Unsettled, live_from};
pub use sparse::{Factor, Singular};
pub use states::States;
pub use trail::Trail;

use network::Machine;
use settle::Settled;

use crate::definition::Harness;
use crate::netlist::Netlist;
use crate::setup::Setup;

/// A number for each of a few differences: nearly always one or two.
type Few = smallvec::SmallVec<[f64; 4]>;

/// Solves a machine in a setup, with some things changed in it.
///
/// # Errors
/// The parts that keep switching, if the machine never settles.
pub fn solve(
    harness: &Harness,
    netlist: &Netlist,
    setup: &Setup,
    changes: &[Change],
    corner: Corner,
) -> Result<Operating, Unsettled> {
    let machine = Machine { harness, netlist, setup, changes, corner, lean: Lean::Exact };
    match settle::settle(machine, None, None)? {
        Settled::Steady(operating) => Ok(*operating),
        Settled::Loop { parts, .. } => Err(Unsettled::Loop(parts)),
    }
}

/// Solves a changed machine, and where it never settles gives every round of its loop: a reading on it
/// lies between those of the rounds.
///
/// # Errors
/// A node that belongs to no island; the assembly rules that out.
pub fn solve_rounds(
    harness: &Harness,
    netlist: &Netlist,
    setup: &Setup,
    changes: &[Change],
    corner: Corner,
    lean: Lean,
) -> Result<Vec<Operating>, Singular> {
    let machine = Machine { harness, netlist, setup, changes, corner, lean };
    Ok(match settle::settle(machine, None, None)? {
        Settled::Steady(operating) => vec![*operating],
        Settled::Loop { rounds, .. } => rounds,
    })
}
