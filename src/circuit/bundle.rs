//! Many ways through one factored network, by where they lead.
//!
//! Comes in: the ways between the probes of many readings. Goes out: for a machine that differs from the network in a
//! few branches, the ways on which that can be felt, with what each needs to know of it. Why: most faults are felt in
//! a few readings of a hundred thousand, and neither the others nor the far ends of long ways should cost anything.
//!
//! Cost: to make it, all places that the ways lead through; for a machine, the places that its differences lead through
//! times the ways that lead through them.

use smallvec::SmallVec;

use super::base::Way;
use super::operating::Operating;
use crate::units::Ohms;

/// Ways through one factored network.
pub struct Bundle {
    ways: Vec<Way>,
    /// The resistance along each of them there; nothing for those between islands.
    ohms: Vec<f64>,
    /// For each place of the elimination tree, the ways that lead through it and how much of each is there.
    at_place: Vec<Vec<(u32, f64)>>,
}

/// The ways of a bundle on which a machine's differences are felt; used again and again.
#[derive(Default)]
pub struct Felt {
    /// For each way its place in `ways`, counted from one; zero for those that are not in it.
    slot: Vec<u32>,
    ways: Vec<u32>,
    /// The transfer resistances from each of `ways` to the machine's differences, way after way.
    transfers: Vec<f64>,
    differences: usize,
}

impl Felt {
    /// The ways, each with the transfer resistances from it to the machine's differences.
    pub fn iter(&self) -> impl Iterator<Item = (usize, &[f64])> {
        let ways = self.ways.iter().map(|way| *way as usize);
        ways.zip(self.transfers.chunks_exact(self.differences.max(1)))
    }

    fn clear(&mut self, ways: usize, differences: usize) {
        self.differences = differences;
        self.slot.resize(ways, 0);
        self.ways.drain(..).for_each(|way| self.slot[way as usize] = 0);
        self.transfers.clear();
    }
}

impl Bundle {
    /// Gathers ways of a network that was factored itself; those between nodes that nothing joins lead nowhere.
    pub fn new(machine: &Operating, ways: Vec<Way>) -> Self {
        let mut at_place: Vec<Vec<(u32, f64)>> = Vec::new();
        let mut ohms = vec![0.0; ways.len()];
        for (number, way) in ways.iter().enumerate().filter(|(_, way)| !machine.is_across(way)) {
            ohms[number] = machine.ohms_along(way);
            for (place, value) in machine.half(way) {
                if *place >= at_place.len() {
                    at_place.resize_with(*place + 1, Vec::new);
                }
                at_place[*place].push((number as u32, *value));
            }
        }
        Self { ways, ohms, at_place }
    }

    /// All ways.
    pub fn ways(&self) -> &[Way] {
        &self.ways
    }

    /// The resistance of a machine along one of the ways on which it is felt; `None` where nothing joins its ends now.
    pub fn resistance_felt(&self, machine: &Operating, way: usize, transfers: &[f64]) -> Option<Ohms> {
        machine.resistance_felt(self.ohms[way], transfers)
    }

    /// The ways within one island on which a machine differs from the network; none where it does not differ. Ways
    /// that share no place with a difference have no current in common with it.
    pub fn felt(&self, machine: &Operating, felt: &mut Felt) {
        let differences: SmallVec<[&Way; 4]> = machine.differs_along().into_iter().flatten().collect();
        felt.clear(self.ways.len(), differences.len());
        // A single joint between islands carries nothing: current that went over it could not come back.
        let closes_no_ring = differences.iter().filter(|way| machine.is_across(way)).count() <= 1;
        for (at, difference) in differences.iter().enumerate() {
            if closes_no_ring && machine.is_across(difference) {
                continue;
            }
            for (place, there) in machine.half(difference) {
                for (way, here) in self.at_place.get(*place).into_iter().flatten() {
                    let slot = &mut felt.slot[*way as usize];
                    if *slot == 0 {
                        felt.ways.push(*way);
                        felt.transfers.extend(std::iter::repeat_n(0.0, differences.len()));
                        *slot = felt.ways.len() as u32;
                    }
                    felt.transfers[(*slot as usize - 1) * differences.len() + at] += here * there;
                }
            }
        }
    }
}
