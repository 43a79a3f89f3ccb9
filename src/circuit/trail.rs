//! The healthy machine's way from rest to steady, kept so that a changed machine that takes the same way
//! needs no factorisation of its own.
//!
//! One changed resistance is a rank-one change of every network on the way (Sherman and Morrison 1950).
//! If the relays, diodes and units then switch round by round as they do in the healthy machine, the
//! changed machine ends in the patched last network, exactly. If they do not, the caller solves anew.
//!
//! Cost: one solution per round, where a full solution factors every round.

use super::change::{Change, Corner, Lean};
use super::network::Machine;
use super::operating::{Operating, Patch};
use super::state::{Settled, Unsettled, View, marginal, settle, switched};
use crate::definition::Harness;
use crate::netlist::{Link, LinkId, Netlist, PartWay};
use crate::setup::{Power, Setup};

/// Every round of the healthy machine; the last one is steady.
#[derive(Debug, Clone)]
pub struct Trail {
    rounds: Vec<Operating>,
}

impl Trail {
    /// Solves the healthy machine with what to expect of every resistance.
    ///
    /// # Errors
    /// The parts that keep switching, if the machine never settles.
    pub fn new(harness: &Harness, netlist: &Netlist, setup: &Setup) -> Result<Self, Unsettled> {
        let machine = healthy(harness, netlist, setup);
        let mut rounds = Vec::new();
        match settle(machine, Some(&mut rounds))? {
            Settled::Steady(last) => rounds.push(last),
            Settled::Loop { parts, .. } => return Err(Unsettled::Loop(parts)),
        }
        Ok(Self { rounds })
    }

    /// The steady machine.
    pub fn steady(&self) -> &Operating {
        // A trail has at least the steady round.
        &self.rounds[self.rounds.len() - 1]
    }

    /// The change as a patch of the steady machine, if the changed machine takes the same way there.
    pub fn patch(
        &self,
        harness: &Harness,
        netlist: &Netlist,
        setup: &Setup,
        change: Change,
    ) -> Option<Patch> {
        if setup.power() == Power::Isolated {
            return None;
        }
        let machine = healthy(harness, netlist, setup);
        let mut patch = None;
        for (at, round) in self.rounds.iter().enumerate() {
            let fresh = round.patch(netlist, plain(netlist, change)?)?;
            let (volts, island) = round.patched(&fresh);
            let changed = fresh.link().map(|link| (link, fresh.conductance(round)));
            let view = View::patched(round, &volts, &island, changed);
            let next = switched(machine, view, round.states());
            if next != *self.rounds.get(at + 1).unwrap_or(round).states() {
                return None;
            }
            let near = at + 1 == self.rounds.len() && marginal(machine, view, round.states());
            patch = Some(fresh.marked(near));
        }
        patch
    }
}

fn healthy<'a>(harness: &'a Harness, netlist: &'a Netlist, setup: &'a Setup) -> Machine<'a> {
    Machine { harness, netlist, setup, changes: &[], corner: Corner::Nominal, lean: Lean::Exact }
}

/// Changes that are nothing but a resistance; sources, diodes and coils switch by themselves.
fn plain(netlist: &Netlist, change: Change) -> Option<Change> {
    let of = |link: LinkId| match netlist.link(link) {
        Link::Part(_, PartWay::Through | PartWay::Switch(_)) => true,
        other => other.is_conductor(),
    };
    match change {
        Change::Open(link) | Change::Added(link, _) => of(link).then_some(change),
        Change::Joined(..) => Some(change),
        Change::Stuck { .. } | Change::Dead(_) => None,
    }
}
