//! The healthy machine's way from rest to steady, kept so that a changed machine needs no factorisation
//! of its own.
//!
//! A changed machine starts at rest like the healthy one, and in each round differs from the healthy
//! round in the branches that are changed and in those that have switched otherwise until then. All of
//! them together are one low-rank update of that round's factor, so the changed machine is solved on its
//! own way, exactly, whether it ends where the healthy one does or not.
//!
//! Cost: one solution per round, where a full solution factors every round.

use super::change::{Change, Corner, Lean};
use super::network::Machine;
use super::operating::Operating;
use super::settle::{Settled, Start, Unsettled, settle};
use super::sparse::Singular;
use crate::definition::Harness;
use crate::netlist::Netlist;
use crate::setup::Setup;

/// Every round of a machine with some things changed in it from the outset; the last one is steady.
#[derive(Debug, Clone)]
pub struct Trail {
    rounds: Vec<Operating>,
    outset: Vec<Change>,
    corner: Corner,
}

impl Trail {
    /// Solves the healthy machine with what to expect of every resistance.
    ///
    /// # Errors
    /// The parts that keep switching, if the machine never settles.
    pub fn new(harness: &Harness, netlist: &Netlist, setup: &Setup) -> Result<Self, Unsettled> {
        Self::from(harness, netlist, setup, Corner::Nominal, Vec::new())
    }

    /// The same with every resistance at one end of its range, or with some things changed from the outset.
    ///
    /// # Errors
    /// The parts that keep switching, if the machine never settles.
    pub fn from(
        harness: &Harness,
        netlist: &Netlist,
        setup: &Setup,
        corner: Corner,
        outset: Vec<Change>,
    ) -> Result<Self, Unsettled> {
        let machine = Machine { harness, netlist, setup, changes: &outset, corner, lean: Lean::Exact };
        let mut rounds = Vec::new();
        match settle(machine, None, Some(&mut rounds))? {
            Settled::Steady(last) => rounds.push(*last),
            Settled::Loop { parts, .. } => return Err(Unsettled::Loop(parts)),
        }
        Ok(Self { rounds, outset, corner })
    }

    /// The steady machine.
    pub fn steady(&self) -> &Operating {
        // A trail has at least the steady round.
        &self.rounds[self.rounds.len() - 1]
    }

    /// Solves the machine with more things changed in it, each round as an update of the trail's own; where
    /// it never settles, every round of its loop.
    ///
    /// # Errors
    /// A node that belongs to no island; the assembly rules that out.
    pub fn solve(
        &self,
        harness: &Harness,
        netlist: &Netlist,
        setup: &Setup,
        changes: &[Change],
        lean: Lean,
    ) -> Result<Vec<Operating>, Singular> {
        let changes: Vec<Change> = self.outset.iter().chain(changes).copied().collect();
        let machine = Machine { harness, netlist, setup, changes: &changes, corner: self.corner, lean };
        let start = Start { rounds: &self.rounds, made: self.outset.len() };
        Ok(match settle(machine, Some(start), None)? {
            Settled::Steady(operating) => vec![*operating],
            Settled::Loop { rounds, .. } => rounds,
        })
    }
}
