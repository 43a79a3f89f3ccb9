//! The solved network: what a meter would read.

use super::change::Change;
use super::network::{Machine, Network};
use super::sparse::{Factor, Singular, Sparse, dot};
use super::state::States;
use crate::netlist::{LinkId, Netlist};
use crate::units::{Ohms, Volts};

/// Input resistance of a voltmeter: 10 Mohm is common (open textbook "Lessons In Electric Circuits",
/// DC, chapter on metering).
pub const VOLTMETER: Ohms = Ohms::new(10e6);

/// One changed resistance, as a change of conductance between two nodes.
#[derive(Debug, Clone, Copy)]
pub struct Patch {
    ends: [usize; 2],
    link: Option<LinkId>,
    /// The change of conductance.
    delta: f64,
    /// What the changed branch has to do with the rest: 1 + delta · resistance between its ends; zero
    /// where an only way is cut.
    whole: f64,
    marginal: bool,
}

/// By how much tolerances move a reading, in ohms or volts.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Scatter {
    /// With every resistance at its worst.
    pub worst: f64,
    /// With each at its worst by itself: the root of the sum of the squares, the usual rule for tolerances
    /// that have nothing to do with each other.
    pub usual: f64,
}

/// The way from one node to another up the elimination tree.
#[derive(Debug, Clone)]
pub struct Way {
    ends: [usize; 2],
    half: Sparse,
    /// The resistance between them.
    ohms: f64,
}

impl Way {
    /// The resistance between its two nodes.
    pub fn ohms(&self) -> Ohms {
        Ohms::new(self.ohms)
    }
}

/// Below this a changed branch has cut an only way: rounding leaves about 1e-12 of it.
const CUT: f64 = 1e-9;

impl Patch {
    /// The link that is changed, if it is one.
    pub(super) fn link(&self) -> Option<LinkId> {
        self.link
    }

    /// The conductance of the changed link.
    pub(super) fn conductance(&self, of: &Operating) -> f64 {
        let before = self.link.map_or(0.0, |link| of.conductance[link.index()]);
        (before + self.delta).max(0.0)
    }

    pub(super) fn marked(self, marginal: bool) -> Self {
        Self { marginal, ..self }
    }

    /// Whether something stands so near its threshold that it might as well have switched.
    pub fn is_marginal(&self) -> bool {
        self.marginal
    }

    fn cuts(&self) -> bool {
        self.whole.abs() < CUT
    }
}

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

    /// A change of one resistance as a patch; `None` where it joins what nothing joined before.
    pub(super) fn patch(&self, netlist: &Netlist, change: Change) -> Option<Patch> {
        let (ends, link, delta) = match change {
            Change::Joined(a, b, ohms) => ([a, b], None, 1.0 / ohms.get()),
            Change::Open(link) => (netlist.ends(link), Some(link), -self.conductance[link.index()]),
            Change::Added(link, ohms) => {
                let before = self.conductance[link.index()];
                (netlist.ends(link), Some(link), before / (1.0 + ohms.get() * before) - before)
            }
            Change::Stuck { .. } | Change::Dead(_) => return None,
        };
        let whole = match self.resistance(ends[0], ends[1]) {
            Some(ohms) => 1.0 + delta * ohms.get(),
            None if delta == 0.0 => 1.0,
            None => return None,
        };
        Some(Patch { ends, link, delta, whole, marginal: false })
    }

    /// The voltages and islands of the patched machine.
    pub(super) fn patched(&self, patch: &Patch) -> (Vec<f64>, Vec<u32>) {
        let [u, v] = patch.ends;
        if patch.delta == 0.0 {
            return (self.volts.clone(), self.island.clone());
        }
        let way = self.factor.solve(&self.ampere(u, v));
        if patch.cuts() {
            // An only way carries no current, so nothing changes but that the two sides are apart. With an
            // ampere through it each side stands at the voltage of its own end.
            let mut island = self.island.clone();
            let fresh = island.iter().max().map_or(0, |most| most + 1);
            for (node, own) in island.iter_mut().enumerate() {
                if *own == self.island[u] && (way[node] - way[u]).abs() < (way[node] - way[v]).abs() {
                    *own = fresh;
                }
            }
            return (self.volts.clone(), island);
        }
        let by = patch.delta * self.volts_between(u, v) / patch.whole;
        (self.volts.iter().zip(&way).map(|(volts, way)| volts - by * way).collect(), self.island.clone())
    }

    fn ampere(&self, a: usize, b: usize) -> Vec<f64> {
        let mut currents = vec![0.0; self.volts.len()];
        currents[a] += 1.0;
        currents[b] -= 1.0;
        currents
    }

    /// What a voltmeter reads on the patched machine.
    pub fn voltmeter_patched(&self, patch: &Patch, red: usize, black: usize) -> Volts {
        let [u, v] = patch.ends;
        if patch.delta == 0.0 || !self.joined(u, red) || !self.joined(red, black) {
            return self.voltmeter(red, black);
        }
        let between = self.factor.half(red, black);
        let transfer = dot(&between, &self.factor.half(u, v));
        if patch.cuts() {
            let across = (patch.delta * transfer).abs() > 0.5;
            return if across { Volts::new(0.0) } else { self.voltmeter(red, black) };
        }
        let volts =
            self.volts_between(red, black) - patch.delta * self.volts_between(u, v) * transfer / patch.whole;
        let source = dot(&between, &between) - patch.delta * transfer * transfer / patch.whole;
        Volts::new(volts * VOLTMETER.get() / (VOLTMETER.get() + source.max(0.0)))
    }

    /// [`Operating::scatter`] on the patched machine.
    pub fn scatter_patched(
        &self,
        patch: &Patch,
        netlist: &Netlist,
        ohms: &[f64],
        red: usize,
        black: usize,
    ) -> Scatter {
        if patch.delta == 0.0 || patch.cuts() || !self.joined(patch.ends[0], red) || !self.joined(red, black)
        {
            return self.scatter(netlist, ohms, red, black);
        }
        let [u, v] = patch.ends;
        let way = self.factor.solve(&self.ampere(u, v));
        let (volts, _) = self.patched(patch);
        let mut probe = self.factor.solve(&self.ampere(red, black));
        let by = patch.delta * (probe[u] - probe[v]) / patch.whole;
        probe.iter_mut().zip(&way).for_each(|(probe, way)| *probe -= by * way);
        self.scatter_of(netlist, ohms, &probe, &volts, patch.link)
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
    /// link's resistance may differ by so many ohms, to first order.
    ///
    /// With one ampere from `red` to `black` a share `j` flows in each link, and with the sources a
    /// current `i`; an ohm more in a link changes the voltage by `i j` and the resistance by `j j`
    /// (Tellegen's theorem). Cost: one solution.
    pub fn scatter(&self, netlist: &Netlist, ohms: &[f64], red: usize, black: usize) -> Scatter {
        if !self.joined(red, black) {
            return Scatter::default();
        }
        let probe = self.factor.solve(&self.ampere(red, black));
        self.scatter_of(netlist, ohms, &probe, &self.volts, None)
    }

    fn scatter_of(
        &self,
        netlist: &Netlist,
        ohms: &[f64],
        probe: &[f64],
        volts: &[f64],
        but: Option<LinkId>,
    ) -> Scatter {
        let of = |link: LinkId| {
            let [a, b] = netlist.ends(link);
            let conductance = self.conductance[link.index()];
            let j = (probe[a] - probe[b]) * conductance;
            let i = if self.powered { (volts[a] - volts[b]) * conductance } else { j };
            // A large change changes its own current too: R against R + dR.
            let more = ohms[link.index()];
            (i * j).abs() * more / (1.0 + more * conductance * 0.5)
        };
        let counts = |link: &LinkId| self.conductance[link.index()] > 0.0 && Some(*link) != but;
        let mut scatter = Scatter::default();
        for part in netlist.links().filter(counts).map(of) {
            scatter.worst += part;
            scatter.usual = scatter.usual.hypot(part);
        }
        scatter
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

    /// Voltages, islands and conductances, to decide what switches.
    pub(super) fn parts(&self) -> (&[f64], &[u32], &[f64]) {
        (&self.volts, &self.island, &self.conductance)
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

    /// The way from one node to another up the elimination tree, for several questions about the same two
    /// nodes; `None` where nothing joins them.
    pub fn way(&self, a: usize, b: usize) -> Option<Way> {
        if !self.joined(a, b) {
            return None;
        }
        let half = self.factor.half(a, b);
        let ohms = dot(&half, &half);
        Some(Way { ends: [a, b], half, ohms })
    }

    /// The resistance along `between` with a resistance added in series to a link, whose own way is
    /// `across`: a rank-one change, by the difference of the two conductances.
    pub fn added(&self, between: &Way, across: &Way, link: LinkId, added: Ohms) -> Ohms {
        let Some(ohms) = self.ohms(link).filter(|_| self.joined(between.ends[0], across.ends[0])) else {
            return Ohms::new(between.ohms);
        };
        let lost = 1.0 / ohms - 1.0 / (ohms + added.get());
        let transfer = dot(&between.half, &across.half);
        Ohms::new(between.ohms + lost * transfer * transfer / (1.0 - lost * across.ohms))
    }

    /// The resistance along `between` if a link were open, whose own way is `across` (a rank-one change:
    /// Sherman and Morrison 1950). `bridge` tells whether the link is the only way between its ends:
    /// opening such a link is a change of topology, not a small number.
    ///
    /// With one ampere between the nodes, `through` is the share of it that flows in the link.
    pub fn opened(&self, between: &Way, across: &Way, link: LinkId, bridge: bool) -> Option<Ohms> {
        let conductance = self.conductance[link.index()];
        if conductance == 0.0 || !self.joined(between.ends[0], across.ends[0]) {
            return Some(Ohms::new(between.ohms));
        }
        let transfer = dot(&between.half, &across.half);
        let through = conductance * transfer;
        if bridge {
            return (through.abs() < 0.5).then_some(Ohms::new(between.ohms));
        }
        Some(Ohms::new(between.ohms + through * transfer / (1.0 - conductance * across.ohms)))
    }

    /// Whether a link is the only way between its ends, as far as rounding lets its resistance tell; where
    /// the graph is at hand, [`Netlist::bridges`] tells for sure.
    pub fn is_only_way(&self, across: &Way, link: LinkId) -> bool {
        (1.0 - self.conductance[link.index()] * across.ohms).abs() < CUT
    }

    /// [`Operating::added`] for two nodes.
    pub fn resistance_with(
        &self,
        netlist: &Netlist,
        link: LinkId,
        added: Ohms,
        a: usize,
        b: usize,
    ) -> Option<Ohms> {
        let between = self.way(a, b)?;
        let [u, v] = netlist.ends(link);
        Some(match self.way(u, v) {
            Some(across) => self.added(&between, &across, link, added),
            None => Ohms::new(between.ohms),
        })
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
            return Some(Ohms::new(
                before.get() - transfer * transfer / (ohms.get() + dot(&across, &across)),
            ));
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

    /// [`Operating::opened`] for two nodes, with the bridges of this machine.
    pub fn resistance_without(
        &self,
        netlist: &Netlist,
        bridges: &[bool],
        link: LinkId,
        a: usize,
        b: usize,
    ) -> Option<Ohms> {
        let between = self.way(a, b)?;
        let [u, v] = netlist.ends(link);
        match self.way(u, v) {
            Some(across) => self.opened(&between, &across, link, bridges[link.index()]),
            None => Some(Ohms::new(between.ohms)),
        }
    }
}
