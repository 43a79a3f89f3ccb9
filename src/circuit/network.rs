//! The linear network for given states: branches, sources, islands.

use super::change::{Change, Corner, Lean};
use super::sparse::{Factor, Singular};
use super::states::States;
use crate::definition::{Function, Harness, Part, PartId, PartKind, Point};
use crate::netlist::resistance::{self, DRIVER, STRAP, Seen};
use crate::netlist::{Link, LinkId, Netlist, PartWay};
use crate::setup::{Power, Setup};
use crate::units::Ohms;

/// Resistance of a conducting diode on top of its forward drop: common practice, no source.
const DIODE_OHMS: f64 = 0.05;
/// What a unit's supply and condition inputs draw to its return: common practice, no source. It is
/// what makes an unconnected input read 0 V.
pub(super) const UNIT_INPUT: f64 = 10_000.0;

/// A branch of the network: a conductance, and the current its source drives from `b` to `a`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Branch {
    /// The link it stands for, if it stands for one.
    pub link: Option<LinkId>,
    pub a: usize,
    pub b: usize,
    pub conductance: f64,
    pub current: f64,
}

/// The network of a machine in one setup and one state.
pub(super) struct Network {
    pub branches: Vec<Branch>,
    nodes: usize,
}

/// What assembling needs to know.
#[derive(Clone, Copy)]
pub(super) struct Machine<'a> {
    pub harness: &'a Harness,
    pub netlist: &'a Netlist,
    pub setup: &'a Setup,
    pub changes: &'a [Change],
    pub corner: Corner,
    pub lean: Lean,
}

impl Network {
    pub(super) fn assemble(machine: Machine<'_>, states: &States) -> Self {
        let mut network = Self { branches: Vec::new(), nodes: machine.netlist.point_count() };
        for link in machine.netlist.links() {
            if let Some(branch) = machine.branch(link, states) {
                network.branches.push(branch);
            }
        }
        if machine.setup.power() == Power::Connected {
            network.unit_inputs(machine);
        }
        for ([a, b], straps) in machine.setup.strap_joins(machine.harness) {
            network.resistance(a, b, machine.corner.of(STRAP.range).get() * straps);
        }
        for change in machine.changes {
            if let Change::Joined(a, b, ohms) = *change {
                network.resistance(a, b, ohms.get());
            }
        }
        network
    }

    fn resistance(&mut self, a: usize, b: usize, ohms: f64) {
        self.branches.push(Branch { link: None, a, b, conductance: 1.0 / ohms.max(1e-9), current: 0.0 });
    }

    /// Supply and condition inputs of units, each to the function's return.
    fn unit_inputs(&mut self, machine: Machine<'_>) {
        for (_, ends) in unit_inputs(machine.harness) {
            let [a, b] = ends.map(|p| machine.harness.point_index(p));
            self.resistance(a, b, UNIT_INPUT);
        }
    }

    /// The island of each node and, for each island, its reference node: the chassis where it belongs
    /// to the island, else the node with the lowest number.
    pub(super) fn islands(&self, chassis: usize) -> (Vec<u32>, Vec<bool>) {
        let mut joined = petgraph::unionfind::UnionFind::<u32>::new(self.nodes);
        for branch in &self.branches {
            joined.union(branch.a as u32, branch.b as u32);
        }
        let island = joined.into_labeling();
        let mut reference = vec![false; self.nodes];
        let mut has = vec![false; self.nodes];
        for node in std::iter::once(chassis).chain(0..self.nodes) {
            if !std::mem::replace(&mut has[island[node] as usize], true) {
                reference[node] = true;
            }
        }
        (island, reference)
    }

    pub(super) fn factor(&self, reference: &[bool]) -> Result<Factor, Singular> {
        let branches: Vec<_> = self.branches.iter().map(|b| (b.a, b.b, b.conductance)).collect();
        Factor::new(self.nodes, &branches, reference)
    }

    pub(super) fn currents(&self) -> Vec<f64> {
        let mut currents = vec![0.0; self.nodes];
        for branch in &self.branches {
            currents[branch.a] += branch.current;
            currents[branch.b] -= branch.current;
        }
        currents
    }
}

/// The inputs of all units with the return that each draws to, in the order of their branches.
pub(super) fn unit_inputs(harness: &Harness) -> impl Iterator<Item = (PartId, [Point; 2])> + '_ {
    let inputs = |Function { supply, ground, when, .. }: &Function| {
        let ends = |ground: Point| std::iter::once(supply).chain(when).map(move |input| [*input, ground]);
        ground.map(|ground| ends(ground).collect::<Vec<_>>()).unwrap_or_default()
    };
    let of = move |(id, part): (PartId, &Part)| {
        let functions: &[Function] =
            if let PartKind::Unit { functions } = &part.kind { functions } else { &[] };
        functions.iter().flat_map(inputs).map(|ends| (id, ends)).collect::<Vec<_>>()
    };
    harness.parts.iter().flat_map(of)
}

impl Machine<'_> {
    pub(super) fn powered(&self) -> bool {
        self.setup.power() == Power::Connected
    }

    pub(super) fn is_dead(&self, part: PartId) -> bool {
        self.changes.iter().any(|c| matches!(c, Change::Dead(dead) if *dead == part))
    }

    /// The branch of a link, or `None` while it does not conduct.
    pub(super) fn branch(&self, link: LinkId, states: &States) -> Option<Branch> {
        let mut added = 0.0;
        for change in self.changes {
            match *change {
                Change::Open(open) if open == link => return None,
                Change::Added(to, ohms) if to == link => added += ohms.get(),
                _ => {}
            }
        }
        let [a, b] = self.netlist.ends(link);
        let Link::Part(part, way) = self.netlist.link(link) else {
            return self.setup.joins(self.netlist, link).then(|| self.plain(link, added));
        };
        match way {
            // A fuse that has blown joins nothing any more.
            PartWay::Through => {
                let conducts = self.setup.load_conducts(self.harness, part) && !states.blown(link);
                conducts.then(|| self.plain(link, added))
            }
            PartWay::Switch(pair) => {
                let position = self.setup.position(self.harness, part);
                self.netlist.closed_in(part, pair).contains(&position).then(|| self.plain(link, added))
            }
            PartWay::Coil => Some(self.plain(link, added)),
            PartWay::Released => (!states.operated(part)).then(|| self.plain(link, added)),
            PartWay::Operated => states.operated(part).then(|| self.plain(link, added)),
            PartWay::Drive(_) => {
                let ohms = DRIVER.range.nominal.get() + added;
                states.on(link).then(|| Branch {
                    link: Some(link),
                    a,
                    b,
                    conductance: 1.0 / ohms,
                    current: 0.0,
                })
            }
            // A conducting diode holds its anode above its cathode by the drop.
            PartWay::Diode => {
                states.on(link).then(|| self.source(link, self.diode_drop(part), DIODE_OHMS + added))
            }
            PartWay::Source => {
                let (emf, internal) = self.emf(part, link, states)?;
                Some(self.source(link, emf, internal.get() + added))
            }
        }
    }

    fn plain(&self, link: LinkId, added: f64) -> Branch {
        let seen = if self.powered() { Seen::Working } else { Seen::Cold };
        let [a, b] = self.netlist.ends(link);
        let range = resistance::range(self.netlist, self.harness, link, seen);
        let ohms = self.corner.of(range).get() + added;
        Branch { link: Some(link), a, b, conductance: 1.0 / ohms.max(1e-9), current: 0.0 }
    }

    /// A source that lifts the link's first end above its second by `emf`, behind a resistance.
    fn source(&self, link: LinkId, emf: f64, ohms: f64) -> Branch {
        let [a, b] = self.netlist.ends(link);
        let conductance = 1.0 / ohms.max(1e-9);
        Branch { link: Some(link), a, b, conductance, current: emf * conductance }
    }

    fn diode_drop(&self, part: PartId) -> f64 {
        match &self.harness.parts[part].kind {
            PartKind::Diode { drop, .. } => drop.get(),
            _ => 0.0,
        }
    }

    fn emf(&self, part: PartId, link: LinkId, states: &States) -> Option<(f64, Ohms)> {
        if !self.powered() || self.is_dead(part) {
            return None;
        }
        match &self.harness.parts[part].kind {
            PartKind::Battery { volts, internal, .. } => Some((volts.get(), *internal)),
            PartKind::Alternator { volts, internal, .. } => states.on(link).then(|| (volts.get(), *internal)),
            _ => None,
        }
    }
}
