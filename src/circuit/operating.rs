//! The solved network: what a meter would read.

use super::network::{Machine, Network};
use super::sparse::{Factor, Singular, dot};
use super::state::States;
use crate::netlist::{LinkId, Netlist};
use crate::units::{Ohms, Volts};

/// Input resistance of a voltmeter: 10 Mohm is common (open textbook "Lessons In Electric Circuits",
/// DC, chapter on metering).
pub const VOLTMETER: Ohms = Ohms::new(10e6);

/// A machine in a setup, solved.
#[derive(Debug, Clone)]
pub struct Operating {
    volts: Vec<f64>,
    island: Vec<u32>,
    factor: Factor,
    states: States,
    /// Conductance of each link as it is now; zero while it does not conduct.
    conductance: Vec<f64>,
    marginal: bool,
    powered: bool,
}

impl Operating {
    pub(super) fn new(machine: Machine<'_>, network: &Network, states: States) -> Result<Self, Singular> {
        let (island, reference) = network.islands(machine.netlist.chassis());
        let factor = network.factor(&reference)?;
        let volts =
            if machine.powered() { factor.solve(&network.currents()) } else { vec![0.0; island.len()] };
        let mut conductance = vec![0.0; machine.netlist.links().len()];
        for branch in &network.branches {
            if let Some(link) = branch.link {
                conductance[link.index()] = branch.conductance;
            }
        }
        Ok(Self { volts, island, factor, states, conductance, marginal: false, powered: machine.powered() })
    }

    /// Marks whether something stands so near its threshold that it might as well have switched.
    pub(super) fn mark_marginal(&mut self, marginal: bool) {
        self.marginal = marginal;
    }

    /// Whether something stands so near its threshold that it might as well have switched.
    pub fn is_marginal(&self) -> bool {
        self.marginal
    }

    /// By how much the voltage between two nodes, or without power their resistance, may differ when each
    /// link's resistance may differ by so many ohms: to first order, each at its worst.
    ///
    /// With one ampere from `red` to `black` a share `j` flows in each link, and with the sources a
    /// current `i`; an ohm more in a link changes the voltage by `i j` and the resistance by `j j`
    /// (Tellegen's theorem). Cost: one solution.
    pub fn scatter(&self, netlist: &Netlist, ohms: &[f64], red: usize, black: usize) -> f64 {
        if !self.joined(red, black) {
            return 0.0;
        }
        let mut ampere = vec![0.0; self.volts.len()];
        ampere[red] += 1.0;
        ampere[black] -= 1.0;
        let probe = self.factor.solve(&ampere);
        let of = |link: LinkId| {
            let [a, b] = netlist.ends(link);
            let conductance = self.conductance[link.index()];
            let j = (probe[a] - probe[b]) * conductance;
            let i = if self.powered { (self.volts[a] - self.volts[b]) * conductance } else { j };
            // A large change changes its own current too: R against R + dR.
            let more = ohms[link.index()];
            (i * j).abs() * more / (1.0 + more * conductance * 0.5)
        };
        netlist.links().filter(|link| self.conductance[link.index()] > 0.0).map(of).sum()
    }

    /// Which switching things are on.
    pub fn states(&self) -> &States {
        &self.states
    }

    /// Whether two nodes are joined by anything that conducts.
    pub fn joined(&self, a: usize, b: usize) -> bool {
        self.island[a] == self.island[b]
    }

    /// The voltage between two nodes with nothing connected to them; 0 V where nothing joins them.
    pub fn volts_between(&self, a: usize, b: usize) -> f64 {
        if self.joined(a, b) { self.volts[a] - self.volts[b] } else { 0.0 }
    }

    /// What a voltmeter of [`VOLTMETER`] reads between two nodes.
    pub fn voltmeter(&self, red: usize, black: usize) -> Volts {
        if !self.joined(red, black) {
            return Volts::new(0.0);
        }
        let source = self.resistance(red, black).map_or(0.0, Ohms::get);
        Volts::new(self.volts_between(red, black) * VOLTMETER.get() / (VOLTMETER.get() + source))
    }

    /// The resistance of the network between two nodes; `None` where nothing joins them.
    pub fn resistance(&self, a: usize, b: usize) -> Option<Ohms> {
        if !self.joined(a, b) {
            return None;
        }
        let half = self.factor.half(a, b);
        Some(Ohms::new(dot(&half, &half)))
    }

    /// The current through a link that is a plain resistance, whichever way it flows, in amperes.
    pub fn amps(&self, netlist: &Netlist, link: LinkId) -> f64 {
        let [a, b] = netlist.ends(link);
        (self.volts_between(a, b) * self.conductance[link.index()]).abs()
    }

    /// Whether a current between `a` and `b` makes a voltage between `u` and `v`.
    pub fn shares_current(&self, a: usize, b: usize, u: usize, v: usize) -> bool {
        let transfer = dot(&self.factor.half(a, b), &self.factor.half(u, v));
        let own = self.resistance(a, b).map_or(0.0, Ohms::get);
        transfer.abs() > 0.01 * own
    }

    /// The resistance of a link as it is now; `None` while it does not conduct.
    pub fn ohms(&self, link: LinkId) -> Option<f64> {
        let conductance = self.conductance[link.index()];
        (conductance > 0.0).then(|| 1.0 / conductance)
    }

    /// The resistance between two nodes with a resistance added in series to a link: the same rank-one
    /// change, by the difference of the two conductances.
    pub fn resistance_with(&self, netlist: &Netlist, link: LinkId, added: Ohms, a: usize, b: usize) -> Option<Ohms> {
        let before = self.resistance(a, b)?;
        let Some(ohms) = self.ohms(link) else { return Some(before) };
        let [u, v] = netlist.ends(link);
        if !self.joined(u, a) {
            return Some(before);
        }
        let lost = 1.0 / ohms - 1.0 / (ohms + added.get());
        let across = self.factor.half(u, v);
        let transfer = dot(&self.factor.half(a, b), &across);
        Some(Ohms::new(before.get() + lost * transfer * transfer / (1.0 - lost * dot(&across, &across))))
    }

    /// The resistance between two nodes with a resistance between two others: the same rank-one change
    /// within an island, and a way from one island to another between two.
    pub fn resistance_joined(&self, ends: [usize; 2], ohms: Ohms, a: usize, b: usize) -> Option<Ohms> {
        let [u, v] = ends;
        if self.joined(u, v) {
            let before = self.resistance(a, b)?;
            if !self.joined(u, a) {
                return Some(before);
            }
            let across = self.factor.half(u, v);
            let transfer = dot(&self.factor.half(a, b), &across);
            return Some(Ohms::new(before.get() - transfer * transfer / (ohms.get() + dot(&across, &across))));
        }
        if self.joined(a, b) {
            return self.resistance(a, b);
        }
        let through = |u, v| Some(self.resistance(a, u)? + ohms + self.resistance(v, b)?);
        through(u, v).or_else(|| through(v, u))
    }

    /// Whether a link conducts now.
    pub fn conducts(&self, link: LinkId) -> bool {
        self.conductance[link.index()] > 0.0
    }

    /// The resistance between two nodes if a link were open, from the factor as it stands (a rank-one
    /// change: Sherman and Morrison 1950). `bridges` tells for each link whether it is the only way
    /// between its ends: opening such a link is a change of topology, not a small number.
    ///
    /// With one ampere between the nodes, `through` is the share of it that flows in the link.
    pub fn resistance_without(
        &self,
        netlist: &Netlist,
        bridges: &[bool],
        link: LinkId,
        a: usize,
        b: usize,
    ) -> Option<Ohms> {
        let before = self.resistance(a, b)?;
        let conductance = self.conductance[link.index()];
        let [u, v] = netlist.ends(link);
        if conductance == 0.0 || !self.joined(u, a) {
            return Some(before);
        }
        let across = self.factor.half(u, v);
        let transfer = dot(&self.factor.half(a, b), &across);
        let through = conductance * transfer;
        if bridges[link.index()] {
            return (through.abs() < 0.5).then_some(before);
        }
        let left = 1.0 - conductance * dot(&across, &across);
        Some(Ohms::new(before.get() + through * transfer / left))
    }
}
