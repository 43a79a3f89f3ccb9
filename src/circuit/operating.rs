//! The solved network: what a meter would read.

use std::borrow::Cow;
use std::sync::{Arc, OnceLock};

use super::base::{Base, Way};
use super::network::{Machine, Network};
use super::sparse::{Singular, Sparse, dot};
use super::states::States;
use super::update::{Difference, Update};
use crate::netlist::{LinkId, Netlist};
use crate::units::{Ohms, Volts};

/// Input resistance of a voltmeter: 10 Mohm is common (open textbook "Lessons In Electric Circuits",
/// DC, chapter on metering).
pub const VOLTMETER: Ohms = Ohms::new(10e6);

/// By how much tolerances move a reading, in ohms or volts.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Scatter {
    /// With every resistance at its worst.
    pub worst: f64,
    /// With each at its worst by itself: the root of the sum of the squares, the usual rule for tolerances
    /// that have nothing to do with each other.
    pub usual: f64,
}

/// A machine in a setup, solved.
#[derive(Debug, Clone)]
pub struct Operating {
    base: Arc<Base>,
    /// How it differs from what was factored.
    update: Option<Update>,
    /// With an update and power: voltages of all nodes, and their islands where these are others.
    solved: Option<(Vec<f64>, Option<Vec<u32>>)>,
    states: States,
    marginal: bool,
}

impl Operating {
    pub(super) fn new(machine: Machine<'_>, network: &Network, states: States) -> Result<Self, Singular> {
        let (island, reference) = network.islands(machine.netlist.chassis());
        let factor = network.factor(&reference)?;
        let powered = machine.powered();
        let volts = if powered { factor.solve(&network.currents()) } else { vec![0.0; island.len()] };
        let links = machine.netlist.links().len();
        let (mut conductance, mut current) = (vec![0.0; links], vec![0.0; links]);
        for branch in &network.branches {
            if let Some(link) = branch.link {
                conductance[link.index()] = branch.conductance;
                current[link.index()] = branch.current;
            }
        }
        let ways = vec![OnceLock::new(); links];
        let base = Arc::new(Base { volts, island, factor, conductance, current, powered, ways });
        Ok(Self { base, update: None, solved: None, states, marginal: false })
    }

    /// The same network with some branches different; it must be one that was factored itself.
    pub(super) fn with(&self, differences: Vec<Difference>, states: States) -> Self {
        let base = Arc::clone(&self.base);
        if differences.is_empty() {
            return Self { base, update: None, solved: None, states, marginal: false };
        }
        let update = Update::new(&base, differences);
        let solved = base.powered.then(|| (update.all_volts(&base), update.islands(&base)));
        Self { base, update: Some(update), solved, states, marginal: false }
    }

    /// Whether it is a factored network itself, and not one that differs from another.
    pub(super) fn is_base(&self) -> bool {
        self.update.is_none()
    }

    /// The way between the ends of a link.
    pub(super) fn link_way(&self, link: LinkId, [a, b]: [usize; 2]) -> Arc<Way> {
        Arc::clone(self.base.ways[link.index()].get_or_init(|| Arc::new(self.way(a, b))))
    }

    /// Conductance and source current of a link in the factored network.
    pub(super) fn base_branch(&self, link: LinkId) -> (f64, f64) {
        (self.base.conductance[link.index()], self.base.current[link.index()])
    }

    /// Marks whether something stands so near its threshold that it might as well have switched.
    pub(super) fn mark_marginal(&mut self, marginal: bool) {
        self.marginal = marginal;
    }

    /// Whether something stands so near its threshold that it might as well have switched.
    pub fn is_marginal(&self) -> bool {
        self.marginal
    }

    /// Which switching things are on.
    pub fn states(&self) -> &States {
        &self.states
    }

    /// The way from one node to another up the elimination tree, for several questions about the same two
    /// nodes, of this machine or of one that differs from it in a few branches.
    pub fn way(&self, a: usize, b: usize) -> Way {
        Way::new(&self.base, [a, b])
    }

    /// Whether a way leads from one island of the factored network to another.
    pub(super) fn is_across(&self, way: &Way) -> bool {
        let [a, b] = way.ends().map(|node| self.base.island[node]);
        a != b
    }

    /// Where a way of the factored network leads through the elimination tree. Two ways that share no place have no
    /// voltage in common: a current along one makes none along the other.
    pub(super) fn half<'w>(&self, way: &'w Way) -> &'w Sparse {
        way.half(&self.base)
    }

    /// The resistance along a way of the factored network, where anything joins its ends.
    pub(super) fn ohms_along(&self, way: &Way) -> f64 {
        way.ohms(&self.base)
    }

    /// A way as it is, or found anew where it belongs to another factored network.
    fn own<'a>(&self, way: &'a Way) -> Cow<'a, Way> {
        if way.is_of(&self.base) {
            return Cow::Borrowed(way);
        }
        let [a, b] = way.ends();
        Cow::Owned(self.way(a, b))
    }

    /// Where it differs from the network that was factored; `None` where it was factored itself.
    pub fn differs_along(&self) -> Option<impl Iterator<Item = &Way>> {
        Some(self.update.as_ref()?.ways())
    }

    /// Whether two nodes are joined by anything that conducts.
    pub fn joined(&self, a: usize, b: usize) -> bool {
        match (&self.solved, &self.update) {
            (Some((_, Some(island))), _) => island[a] == island[b],
            (Some((_, None)), _) | (None, None) => self.base.island[a] == self.base.island[b],
            (None, Some(update)) => update.joins(&self.base, &self.way(a, b)),
        }
    }

    /// The number of a node's island in the network that was factored: nodes with different numbers have
    /// nothing to do with each other there.
    pub fn island(&self, node: usize) -> u32 {
        self.base.island[node]
    }

    /// The voltage between two nodes with nothing connected to them; 0 V where nothing joins them.
    pub fn volts_between(&self, a: usize, b: usize) -> f64 {
        if !self.base.powered || !self.joined(a, b) {
            return 0.0;
        }
        let volts = self.solved.as_ref().map_or(&self.base.volts, |(volts, _)| volts);
        volts[a] - volts[b]
    }

    /// What a voltmeter of [`VOLTMETER`] reads between two nodes.
    pub fn voltmeter(&self, red: usize, black: usize) -> Volts {
        self.voltmeter_along(&self.way(red, black))
    }

    /// What a voltmeter of [`VOLTMETER`] reads between the ends of a way.
    pub fn voltmeter_along(&self, way: &Way) -> Volts {
        let [red, black] = way.ends();
        let volts = self.volts_between(red, black);
        if volts == 0.0 {
            return Volts::new(0.0);
        }
        let source = self.resistance_along(way).map_or(0.0, Ohms::get);
        Volts::new(volts * VOLTMETER.get() / (VOLTMETER.get() + source))
    }

    /// The resistance of the network between two nodes; `None` where nothing joins them.
    pub fn resistance(&self, a: usize, b: usize) -> Option<Ohms> {
        if self.update.is_some() {
            return self.resistance_along(&self.way(a, b));
        }
        self.joined(a, b).then(|| Ohms::new(self.base.factor.resistance(a, b)))
    }

    /// The resistance of the network between the ends of a way; `None` where nothing joins them.
    pub fn resistance_along(&self, way: &Way) -> Option<Ohms> {
        let way = &*self.own(way);
        let ohms = if let Some(update) = &self.update {
            update.resistance(&self.base, way).map(|ohms| ohms.max(0.0))
        } else {
            let [a, b] = way.ends();
            self.joined(a, b).then(|| way.ohms(&self.base))
        };
        ohms.map(Ohms::new)
    }

    /// The resistance between two nodes of one island that has `before` in the factored network, by the transfer
    /// resistances between them and the differences from it; `None` where nothing joins them now.
    pub(super) fn resistance_felt(&self, before: f64, transfers: &[f64]) -> Option<Ohms> {
        let ohms = match &self.update {
            Some(update) => update.resistance_within(before, transfers),
            None => Some(before),
        };
        ohms.map(|ohms| Ohms::new(ohms.max(0.0)))
    }

    /// Whether a current between `a` and `b` makes a voltage between `u` and `v`.
    pub fn shares_current(&self, a: usize, b: usize, u: usize, v: usize) -> bool {
        let [own, other] = [self.way(a, b), self.way(u, v)];
        let transfer = dot(own.half(&self.base), other.half(&self.base));
        let own = self.resistance_along(&own).map_or(0.0, Ohms::get);
        transfer.abs() > 0.01 * own
    }

    /// The conductance of a link as it is now; zero while it does not conduct.
    pub(super) fn conductance(&self, link: LinkId) -> f64 {
        let changed = self.update.as_ref().and_then(|update| update.conductance(link));
        changed.unwrap_or(self.base.conductance[link.index()])
    }

    /// The resistance of a link as it is now; `None` while it does not conduct.
    pub fn ohms(&self, link: LinkId) -> Option<f64> {
        let conductance = self.conductance(link);
        (conductance > 0.0).then(|| 1.0 / conductance)
    }

    /// Whether a link conducts now.
    pub fn conducts(&self, link: LinkId) -> bool {
        self.conductance(link) > 0.0
    }

    /// By how much the voltage between two nodes, or without power their resistance, may differ when each
    /// link's resistance may differ by so many ohms, to first order. Links that differ from the factored
    /// network do not count: what a fault adds is as large as it is.
    ///
    /// With one ampere from `red` to `black` a share `j` flows in each link, and with the sources a
    /// current `i`; an ohm more in a link changes the voltage by `i j` and the resistance by `j j`
    /// (Tellegen's theorem). Cost: one solution.
    pub fn scatter(&self, netlist: &Netlist, ohms: &[f64], red: usize, black: usize) -> Scatter {
        if !self.joined(red, black) {
            return Scatter::default();
        }
        let probe = match &self.update {
            Some(update) => update.ampere(&self.base, &self.way(red, black)),
            None => self.base.factor.solve(&ampere(self.base.volts.len(), red, black)),
        };
        let volts = self.solved.as_ref().map_or(&self.base.volts, |(volts, _)| volts);
        let of = |link: LinkId, conductance: f64| {
            let [a, b] = netlist.ends(link);
            let j = (probe[a] - probe[b]) * conductance;
            let i = if self.base.powered { (volts[a] - volts[b]) * conductance } else { j };
            // A large change changes its own current too: R against R + dR.
            let more = ohms[link.index()];
            (i * j).abs() * more / (1.0 + more * conductance * 0.5)
        };
        let changed = |link| self.update.as_ref().is_some_and(|update| update.conductance(link).is_some());
        let mut scatter = Scatter::default();
        let mut squares = 0.0;
        for (link, conductance) in netlist.links().zip(&self.base.conductance) {
            if *conductance > 0.0 && !changed(link) {
                let part = of(link, *conductance);
                scatter.worst += part;
                squares += part * part;
            }
        }
        scatter.usual = squares.sqrt();
        scatter
    }
}

fn ampere(nodes: usize, a: usize, b: usize) -> Vec<f64> {
    let mut currents = vec![0.0; nodes];
    currents[a] += 1.0;
    currents[b] -= 1.0;
    currents
}
