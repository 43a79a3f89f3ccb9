//! A machine in a state, as branches between points.
//!
//! Comes in: a definition and a state. Goes out: everything that conducts or may, each with its resistance at
//! the least, as expected and at the most; what switches, and by what; which points hang together. Why: built
//! from the definition alone, it is the second opinion on the network that the planner solves.
//!
//! The figures of healthy joints are the table that the planner reads too ([`crate::netlist::resistance`]):
//! a second table would only differ where one of the two is wrong. What else is assumed stands here.

use std::collections::BTreeMap;

use super::mesh::Mesh;
use super::state::State;
use crate::conductor::{USUAL_TEMPERATURES, resistance_range};
use crate::definition::{
    ConditionId, ContactId, Harness, LoadKind, PartId, PartKind, Point, TerminalId, Wire, WireId,
};
use crate::netlist::resistance::{
    BOND, CONTACT, DRIVER, Default as Figure, FUSE, LOAD_TOLERANCE, RELAY, SPLICE, STRAP, SWITCH,
    TERMINATION, UNKNOWN_WIRE,
};
use crate::units::{Ohms, Volts};

/// Resistance of a conducting diode beside its drop: common practice, no source.
const DIODE: f64 = 0.05;
/// What an input of a unit draws to its return, in ohms: common practice, no source.
const INPUT: f64 = 10_000.0;
/// From each contact of a connected unit to what may join them inside, without power: common practice, no
/// source. What is really there is unknown, so that nothing at all must be reckoned with too.
const INSIDE: f64 = 50.0;
/// Nominal voltage where the definition gives none.
const NOMINAL: f64 = 12.0;

/// The least, what to expect, the most.
pub(super) type Range = [f64; 3];

/// Which of the three.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Corner {
    Low,
    Nominal,
    High,
}

/// What a branch belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Of {
    Wire(WireId),
    /// By the contact of the mating's first connector.
    Mated(ContactId),
    Bond(TerminalId),
    Part(PartId),
    Coil(PartId),
    Input(PartId),
    Inside(PartId),
    Strap,
}

/// When a branch conducts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Gate {
    Always,
    /// While a device is on, or while it is off.
    While(usize, bool),
}

/// Something that conducts.
#[derive(Debug, Clone)]
pub(super) struct Branch {
    pub(super) ends: [usize; 2],
    pub(super) ohms: Range,
    /// By how much its source lifts the first end above the second.
    pub(super) emf: f64,
    pub(super) of: Of,
    pub(super) gate: Gate,
}

impl Branch {
    /// Whether it conducts while nothing is on; what may be inside units counts or not.
    pub(super) fn at_rest(&self, insides: bool) -> bool {
        let gate = match self.gate {
            Gate::Always => true,
            Gate::While(_, on) => !on,
        };
        gate && (insides || !matches!(self.of, Of::Inside(_)))
    }
}

/// Something that switches.
#[derive(Debug, Clone)]
pub(super) struct Device {
    pub(super) part: PartId,
    pub(super) what: What,
}

/// By what it switches.
#[derive(Debug, Clone)]
pub(super) enum What {
    /// On from a voltage across its coil, by the coil's branch.
    Relay { coil: usize, operate: f64 },
    /// On while its branch would carry current forwards.
    Diode { branch: usize, drop: f64 },
    /// On while all inputs are live against its return.
    Driver { inputs: Vec<usize>, ground: usize },
    /// On while it turns and its sense is live.
    Alternator { sense: usize, minus: usize, turns: bool },
    /// On once blown.
    Fuse { branch: usize, rating: f64 },
}

/// A machine in a state.
pub(super) struct Machine<'a> {
    pub(super) harness: &'a Harness,
    pub(super) state: &'a State,
    /// Whether a source feeds it.
    pub(super) powered: bool,
    pub(super) branches: Vec<Branch>,
    pub(super) devices: Vec<Device>,
    by_owner: BTreeMap<Of, Vec<usize>>,
    /// Points, and one node more for each strap and for the inside of each connected unit.
    nodes: usize,
    /// Whether there is such a unit.
    hollow: bool,
}

impl<'a> Machine<'a> {
    /// Cost: linear in the definition.
    pub(super) fn new(harness: &'a Harness, state: &'a State) -> Self {
        let powered = state.source(harness).is_some();
        let mut machine = Self {
            harness,
            state,
            powered,
            branches: Vec::new(),
            devices: Vec::new(),
            by_owner: BTreeMap::new(),
            nodes: harness.point_count(),
            hollow: false,
        };
        machine.conductors();
        for (id, part) in harness.parts.iter() {
            machine.part(id, &part.kind);
        }
        if !powered {
            machine.insides();
        }
        for (at, branch) in machine.branches.iter().enumerate() {
            machine.by_owner.entry(branch.of).or_default().push(at);
        }
        machine
    }

    /// The node of a point.
    pub(super) fn node(&self, point: Point) -> usize {
        self.harness.point_index(point)
    }

    /// The branches of something.
    pub(super) fn of(&self, owner: Of) -> &[usize] {
        self.by_owner.get(&owner).map_or(&[], Vec::as_slice)
    }

    /// Half the nominal voltage: from there on a point counts as live to inputs.
    pub(super) fn half(&self) -> f64 {
        self.nominal() * 0.5
    }

    pub(super) fn nominal(&self) -> f64 {
        self.harness.about.nominal.map_or(NOMINAL, Volts::get)
    }

    fn add(&mut self, ends: [Point; 2], ohms: Range, of: Of) -> usize {
        self.gated(ends, ohms, of, Gate::Always)
    }

    fn gated(&mut self, ends: [Point; 2], ohms: Range, of: Of, gate: Gate) -> usize {
        let ends = ends.map(|point| self.node(point));
        self.branches.push(Branch { ends, ohms, emf: 0.0, of, gate });
        self.branches.len() - 1
    }

    fn device(&mut self, part: PartId, what: What) -> usize {
        self.devices.push(Device { part, what });
        self.devices.len() - 1
    }

    fn conductors(&mut self) {
        let harness = self.harness;
        let over = &harness.resistance;
        for (id, wire) in harness.wires.iter() {
            self.add(wire.ends, wire_range(harness, wire), Of::Wire(id));
        }
        for (mating, mated) in harness.matings.iter() {
            let contacts = harness.contacts_of(mated.first).filter(|_| !self.state.parted.contains(&mating));
            for contact in contacts {
                if let Some(mate) = harness.contacts[contact].mate {
                    let ends = [contact, mate].map(Point::Contact);
                    self.add(ends, figure(over.contact, CONTACT), Of::Mated(contact));
                }
            }
        }
        for (id, _) in harness.terminals.iter().filter(|(_, terminal)| terminal.ground) {
            self.add([Point::Terminal(id), Point::Chassis], figure(over.bond, BOND), Of::Bond(id));
        }
        self.straps();
    }

    /// Each strap has a middle of its own, half a way from each of its clips.
    fn straps(&mut self) {
        let state = self.state;
        for strap in state.straps.keys() {
            let middle = self.more();
            for point in strap {
                self.branches.push(Branch {
                    ends: [self.node(*point), middle],
                    ohms: range(STRAP).map(|ohms| ohms * 0.5),
                    emf: 0.0,
                    of: Of::Strap,
                    gate: Gate::Always,
                });
            }
        }
    }

    /// One node more.
    fn more(&mut self) -> usize {
        self.nodes += 1;
        self.nodes - 1
    }

    fn part(&mut self, id: PartId, kind: &PartKind) {
        let over = &self.harness.resistance;
        match kind {
            PartKind::Fuse { between, rating, .. } => {
                let branch = self.add(*between, figure(over.fuse, FUSE), Of::Part(id));
                if let Some(rating) = rating.filter(|_| self.powered) {
                    let device = self.device(id, What::Fuse { branch, rating: rating.get() });
                    self.branches[branch].gate = Gate::While(device, false);
                }
            }
            PartKind::Switch { positions, .. } => {
                let closed = positions.get(self.state.position(self.harness, id)).map(|p| &p.closed);
                let mut pairs: Vec<[Point; 2]> = closed.into_iter().flatten().copied().collect();
                // A pair that is written twice is still one contact.
                pairs.sort_unstable();
                pairs.dedup();
                for pair in pairs {
                    self.add(pair, figure(over.switch, SWITCH), Of::Part(id));
                }
            }
            PartKind::Relay { coil, coil_ohms, operate, released, operated } => {
                let coil = self.add(*coil, around(*coil_ohms, LOAD_TOLERANCE), Of::Coil(id));
                let relay = self.device(id, What::Relay { coil, operate: operate.get() });
                for (pairs, on) in [(released, false), (operated, true)] {
                    for pair in pairs {
                        self.gated(*pair, figure(over.relay, RELAY), Of::Part(id), Gate::While(relay, on));
                    }
                }
            }
            PartKind::Load { kind, between, ohms, cold_ohms, when } => {
                self.load(id, *between, *kind, [*ohms, cold_ohms.unwrap_or(*ohms)], *when);
            }
            kind if self.powered => self.active(id, kind),
            // Without power sources and drivers give nothing, and an ohmmeter's test voltage is below the
            // drop of a diode.
            _ => {}
        }
    }

    /// What conducts only in a machine with power.
    fn active(&mut self, id: PartId, kind: &PartKind) {
        match kind {
            PartKind::Battery { volts, internal, plus, minus } if self.state.feeds(id) => {
                let at = self.add([*plus, *minus], [internal.get(); 3], Of::Part(id));
                self.branches[at].emf = volts.get();
            }
            PartKind::Alternator { volts, internal, plus, minus, sense, when, .. } => {
                let what = What::Alternator {
                    sense: self.node(sense.unwrap_or(*plus)),
                    minus: self.node(*minus),
                    turns: self.state.holds(*when),
                };
                let gate = Gate::While(self.device(id, what), true);
                let at = self.gated([*plus, *minus], [internal.get(); 3], Of::Part(id), gate);
                self.branches[at].emf = volts.get();
            }
            PartKind::Diode { anode, cathode, drop } => {
                let branch = self.add([*anode, *cathode], [DIODE; 3], Of::Part(id));
                let device = self.device(id, What::Diode { branch, drop: drop.get() });
                self.branches[branch].gate = Gate::While(device, true);
                self.branches[branch].emf = drop.get();
            }
            PartKind::Unit { functions } => functions.iter().for_each(|f| self.function(id, f)),
            _ => {}
        }
    }

    fn load(
        &mut self,
        id: PartId,
        between: [Point; 2],
        kind: LoadKind,
        [working, cold]: [Ohms; 2],
        when: Option<ConditionId>,
    ) {
        if !self.state.holds(when) {
            return;
        }
        // Filaments and brushes vary more than what is wound or printed.
        let more = if matches!(kind, LoadKind::Lamp | LoadKind::Motor) { 2.0 } else { 1.0 };
        let ohms = if self.powered { working } else { cold };
        self.add(between, around(ohms, more * LOAD_TOLERANCE), Of::Part(id));
    }

    fn function(&mut self, id: PartId, function: &crate::definition::Function) {
        let inputs: Vec<Point> = [function.supply].into_iter().chain(function.when.iter().copied()).collect();
        let what = What::Driver {
            inputs: inputs.iter().map(|point| self.node(*point)).collect(),
            ground: self.node(function.ground.unwrap_or(Point::Chassis)),
        };
        let gate = Gate::While(self.device(id, what), true);
        self.gated([function.supply, function.output], range(DRIVER), Of::Part(id), gate);
        for input in inputs {
            if let Some(ground) = function.ground {
                self.add([input, ground], [INPUT; 3], Of::Input(id));
            }
        }
    }

    /// What may conduct inside connected units: a star of its own for each.
    fn insides(&mut self) {
        let harness = self.harness;
        let mut contacts: BTreeMap<PartId, Vec<usize>> = BTreeMap::new();
        for point in harness.points() {
            if let Some(unit) = self.state.connected_unit(harness, point) {
                contacts.entry(unit).or_default().push(self.node(point));
            }
        }
        for (unit, contacts) in contacts {
            let middle = self.more();
            self.hollow = true;
            for contact in contacts {
                self.branches.push(Branch {
                    ends: [contact, middle],
                    ohms: [INSIDE; 3],
                    emf: 0.0,
                    of: Of::Inside(unit),
                    gate: Gate::Always,
                });
            }
        }
    }

    /// Whether anything may conduct inside connected units.
    pub(super) fn has_insides(&self) -> bool {
        self.hollow
    }

    /// The resistance of a branch.
    pub(super) fn ohms(&self, branch: usize, corner: Corner) -> f64 {
        self.branches[branch].ohms[corner as usize]
    }

    /// A network of all nodes and no branches.
    pub(super) fn bare(&self) -> Mesh {
        Mesh::new(self.nodes)
    }

    /// What conductors alone join, straps among them.
    pub(super) fn nets(&self) -> Groups {
        let conductor = |b: &&Branch| matches!(b.of, Of::Wire(_) | Of::Mated(_) | Of::Bond(_) | Of::Strap);
        Groups::new(self.nodes, self.branches.iter().filter(conductor).map(|b| b.ends))
    }

    /// What an ohmmeter's current can reach: conductors, closed contacts, fuses, loads, coils.
    pub(super) fn reach(&self) -> Groups {
        let passes = |b: &&Branch| b.at_rest(false) && !matches!(b.of, Of::Input(_)) && b.emf == 0.0;
        Groups::new(self.nodes, self.branches.iter().filter(passes).map(|b| b.ends))
    }
}

/// Which nodes hang together.
pub(super) struct Groups(Vec<usize>);

impl Groups {
    fn new(size: usize, joined: impl Iterator<Item = [usize; 2]>) -> Self {
        let mut of: Vec<usize> = (0..size).collect();
        for ends in joined {
            let [a, b] = ends.map(|node| root(&mut of, node));
            of[a.max(b)] = a.min(b);
        }
        let roots = (0..size).map(|node| root(&mut of, node)).collect();
        Self(roots)
    }

    /// The group of a node.
    pub(super) fn of(&self, node: usize) -> usize {
        self.0[node]
    }
}

/// The root of a node; the way there is halved as it is walked.
fn root(of: &mut [usize], mut node: usize) -> usize {
    while of[node] != node {
        of[node] = of[of[node]];
        node = of[node];
    }
    node
}

/// A default of the table, or the definition's own figure: a quarter below, twice above.
fn figure(own: Option<Ohms>, default: Figure) -> Range {
    own.map_or_else(|| range(default), |own| [own.get() * 0.25, own.get(), own.get() * 2.0])
}

fn range(default: Figure) -> Range {
    [default.range.low, default.range.nominal, default.range.high].map(Ohms::get)
}

fn around(ohms: Ohms, share: f64) -> Range {
    [1.0 - share, 1.0, 1.0 + share].map(|by| ohms.get() * by)
}

/// A wire with its two ends.
fn wire_range(harness: &Harness, wire: &Wire) -> Range {
    let copper = match (wire.gauge, wire.length) {
        (Some(gauge), Some(length)) => {
            let (low, high) = resistance_range(gauge, length, USUAL_TEMPERATURES);
            [low.get(), f64::midpoint(low.get(), high.get()), high.get()]
        }
        _ => range(UNKNOWN_WIRE),
    };
    let over = &harness.resistance;
    let ends = wire.ends.map(|end| match end {
        Point::Splice(_) => figure(over.splice, SPLICE),
        _ => figure(over.termination, TERMINATION),
    });
    std::array::from_fn(|at| ends[0][at] + copper[at] + ends[1][at])
}
