//! A machine as a bystander sees it: what is plugged, connected, switched, and what current can do then.
//!
//! Comes in: a definition, and the words of a plan's changes. Goes out: the machine's state, or what
//! is wrong with a change. Why: the safety rules are checked here on other code than the planner's.
//! Only the definition is shared: the netlist, setup, circuit and plan rooms are not used.

#![allow(dead_code, reason = "each test uses its own share of this module")]

use std::collections::{BTreeMap, BTreeSet};

use super::nodal::{Branch, resistance, voltages};
use ringout::conductor;
use ringout::definition::{ConditionId, ContactId, Harness, MatingId, PartId, PartKind, Point, WireId};

/// The state of a machine.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct State {
    /// Battery leads that are off: the battery, and whether it is the positive one.
    pub(crate) off: BTreeSet<(PartId, bool)>,
    pub(crate) parted: BTreeSet<MatingId>,
    /// Switches that are not at rest.
    pub(crate) set: BTreeMap<PartId, usize>,
    pub(crate) conditions: BTreeSet<ConditionId>,
    pub(crate) straps: BTreeSet<Joined>,
    pub(crate) caps: BTreeSet<ContactId>,
}

/// The points of a strap.
pub(crate) type Joined = BTreeSet<Point>;

/// What is wrong with a change.
pub(crate) type Wrong = String;

fn wrong<T>(what: impl Into<String>) -> Result<T, Wrong> {
    Err(what.into())
}

pub(crate) fn batteries(harness: &Harness) -> Vec<PartId> {
    let battery = |id: &PartId| matches!(harness.parts[*id].kind, PartKind::Battery { .. });
    harness.parts.ids().filter(battery).collect()
}

pub(crate) fn rest(harness: &Harness, switch: PartId) -> usize {
    match harness.parts[switch].kind {
        PartKind::Switch { rest, .. } => rest,
        _ => panic!("{} is no switch", harness.parts[switch].id),
    }
}

impl State {
    /// Whether any source can feed the machine.
    pub(crate) fn live(&self, harness: &Harness) -> bool {
        let connected =
            |battery: &PartId| [true, false].iter().all(|post| !self.off.contains(&(*battery, *post)));
        let turns = |part: &ringout::definition::Part| match part.kind {
            PartKind::Alternator { when, .. } => when.is_none_or(|c| self.conditions.contains(&c)),
            _ => false,
        };
        batteries(harness).iter().any(connected) || harness.parts.values().any(turns)
    }

    fn all_leads_off(&self, harness: &Harness) -> bool {
        batteries(harness).iter().all(|b| self.off.contains(&(*b, true)) && self.off.contains(&(*b, false)))
    }

    /// Does what a change says, if the rules allow it.
    pub(crate) fn change(&mut self, harness: &Harness, action: &str, target: &str) -> Result<(), Wrong> {
        match action {
            "go to" => Ok(()),
            "fit" => straps(harness, target)?.into_iter().try_for_each(|strap| self.fit(harness, strap)),
            "take off" if target.starts_with("strap ") || target.starts_with("loopback plug ") => {
                straps(harness, target)?.iter().try_for_each(|strap| self.unfit(harness, strap))
            }
            "change" => self.refit(harness, target),
            "cap" | "uncap" => self.cap(harness, target, action == "cap"),
            "take off" => self.take_off(harness, lead(harness, target)?),
            "put on" => self.put_on(harness, lead(harness, target)?),
            "unplug" | "plug in" => self.rewire(harness, mating(harness, target)?, action == "unplug"),
            "set" => self.switch(harness, target),
            "bring about" | "end" => self.condition(harness, target, action == "bring about"),
            _ => wrong(format!("unknown action {action}")),
        }
    }

    fn take_off(&mut self, harness: &Harness, (battery, positive): (PartId, bool)) -> Result<(), Wrong> {
        if !self.set.is_empty() || self.conditions.iter().any(|c| harness.conditions[*c].needs_power) {
            return wrong("a lead comes off under load");
        }
        if positive && batteries(harness).iter().any(|b| !self.off.contains(&(*b, false))) {
            return wrong("a positive lead comes off while a negative one is on");
        }
        if self.off.insert((battery, positive)) { Ok(()) } else { wrong("that lead is off already") }
    }

    fn isolated(&self, harness: &Harness) -> Result<(), Wrong> {
        if self.live(harness) || !self.all_leads_off(harness) {
            return wrong("straps and caps are for a machine with power isolated");
        }
        Ok(())
    }

    /// Whether anybody can put a clip or a cap on a contact.
    pub(crate) fn lies_open(&self, harness: &Harness, contact: ContactId) -> bool {
        let mating = harness.connectors[harness.contacts[contact].connector].mating;
        mating.is_none_or(|mating| self.parted.contains(&mating))
    }

    fn fit(&mut self, harness: &Harness, strap: Joined) -> Result<(), Wrong> {
        self.isolated(harness)?;
        let stations: BTreeSet<_> = strap.iter().filter_map(|point| harness.station_of(*point)).collect();
        if strap.len() < 2 || stations.len() > 1 {
            return wrong("a strap of one point, or between stations");
        }
        for point in strap.iter().copied() {
            let open = match point {
                Point::Contact(id) => self.lies_open(harness, id) && !self.caps.contains(&id),
                Point::Splice(_) => false,
                Point::Terminal(_) | Point::Chassis => true,
            };
            if !open || marked(harness, point) || harness.unit_behind(point).is_some() {
                return wrong(format!("no strap goes on {}", harness.point_name(point)));
            }
            if self.straps.iter().any(|other| other.contains(&point)) {
                return wrong(format!("{} is in two straps", harness.point_name(point)));
            }
        }
        self.straps.insert(strap);
        Ok(())
    }

    fn unfit(&mut self, harness: &Harness, strap: &Joined) -> Result<(), Wrong> {
        self.isolated(harness)?;
        if self.straps.remove(strap) { Ok(()) } else { wrong("no such strap is on") }
    }

    fn refit(&mut self, harness: &Harness, target: &str) -> Result<(), Wrong> {
        let (from, to) = target.split_once(" to ").ok_or("a strap is changed into nothing")?;
        self.unfit(harness, &joined(harness, from.strip_prefix("strap ").ok_or("no strap")?)?)?;
        self.fit(harness, joined(harness, to)?)
    }

    fn cap(&mut self, harness: &Harness, target: &str, on: bool) -> Result<(), Wrong> {
        self.isolated(harness)?;
        for name in target.split(", ") {
            let Ok(Point::Contact(contact)) = harness.point(name) else { return wrong("no contact") };
            if on && (!self.lies_open(harness, contact) || marked(harness, Point::Contact(contact))) {
                return wrong(format!("no cap goes on {name}"));
            }
            let changed = if on { self.caps.insert(contact) } else { self.caps.remove(&contact) };
            if !changed {
                return wrong(format!("{name} is so already"));
            }
        }
        Ok(())
    }

    fn put_on(&mut self, harness: &Harness, (battery, positive): (PartId, bool)) -> Result<(), Wrong> {
        if !self.straps.is_empty() {
            return wrong("power comes on with a strap fitted");
        }
        if !self.set.is_empty() {
            return wrong("power comes on with a switch away from rest");
        }
        if !positive && batteries(harness).iter().any(|b| self.off.contains(&(*b, true))) {
            return wrong("a negative lead goes on before a positive one");
        }
        if self.off.remove(&(battery, positive)) { Ok(()) } else { wrong("that lead is on already") }
    }

    fn rewire(&mut self, harness: &Harness, mating: MatingId, part: bool) -> Result<(), Wrong> {
        if self.live(harness) || !self.all_leads_off(harness) {
            return wrong("a connector is parted or mated with power connected");
        }
        let here = |contact: &ContactId| harness.connectors[harness.contacts[*contact].connector].mating;
        if !self.straps.is_empty() || self.caps.iter().any(|contact| here(contact) == Some(mating)) {
            return wrong("a plug is moved with straps on, or joined over a cap");
        }
        let changed = if part { self.parted.insert(mating) } else { self.parted.remove(&mating) };
        if changed { Ok(()) } else { wrong("that mating is so already") }
    }

    fn switch(&mut self, harness: &Harness, target: &str) -> Result<(), Wrong> {
        let (id, name) = target.split_once(" to ").ok_or("a switch is set to nothing")?;
        let switch = harness.names.part(id).ok_or("unknown switch")?;
        let PartKind::Switch { positions, .. } = &harness.parts[switch].kind else {
            return wrong("not a switch");
        };
        let at = positions.iter().position(|p| p.name == name).ok_or("unknown position")?;
        let before =
            if at == rest(harness, switch) { self.set.remove(&switch) } else { self.set.insert(switch, at) };
        if before.unwrap_or(rest(harness, switch)) == at {
            wrong("the switch stands there already")
        } else {
            Ok(())
        }
    }

    fn condition(&mut self, harness: &Harness, title: &str, bring: bool) -> Result<(), Wrong> {
        let (id, condition) =
            harness.conditions.iter().find(|(_, c)| c.title == title).ok_or("unknown condition")?;
        if bring && condition.needs_power && !self.off.is_empty() {
            return wrong("a condition that needs power, without power");
        }
        let changed = if bring { self.conditions.insert(id) } else { self.conditions.remove(&id) };
        if changed { Ok(()) } else { wrong("that condition is so already") }
    }
}

/// What marks a point as a hazard.
pub(crate) fn marked(harness: &Harness, point: Point) -> bool {
    let connector = match point {
        Point::Contact(id) => harness.connectors[harness.contacts[id].connector].hazard.is_some(),
        _ => false,
    };
    connector
        || harness.wires_at(point).any(|wire| harness.wires[wire].hazard.is_some())
        || harness.parts_at(point).any(|part| harness.parts[part].hazard.is_some())
}

/// Points written as `P1.A+P1.B`; a name may hold a plus itself.
pub(crate) fn joined(harness: &Harness, text: &str) -> Result<Joined, Wrong> {
    let ends = text.match_indices('+').map(|(at, _)| at).chain([text.len()]);
    for end in ends {
        let Ok(point) = harness.point(&text[..end]) else { continue };
        let Some(rest) = text[end..].strip_prefix('+') else { return Ok(Joined::from([point])) };
        if let Ok(mut joined) = joined(harness, rest) {
            joined.insert(point);
            return Ok(joined);
        }
    }
    wrong(format!("no points: {text}"))
}

/// The straps of `strap A+B`, or of `loopback plug at X (A+B, C+D)`.
fn straps(harness: &Harness, target: &str) -> Result<Vec<Joined>, Wrong> {
    if let Some(points) = target.strip_prefix("strap ") {
        return Ok(vec![joined(harness, points)?]);
    }
    let inside = target.split_once(" (").and_then(|(_, rest)| rest.strip_suffix(')')).ok_or("no plug")?;
    inside.split(", ").map(|points| joined(harness, points)).collect()
}

fn lead(harness: &Harness, target: &str) -> Result<(PartId, bool), Wrong> {
    let (id, post) = target.split_once(' ').ok_or("no post")?;
    let battery = harness.names.part(id).ok_or("unknown battery")?;
    match post {
        "positive" => Ok((battery, true)),
        "negative" => Ok((battery, false)),
        _ => wrong(format!("unknown post {post}")),
    }
}

fn mating(harness: &Harness, target: &str) -> Result<MatingId, Wrong> {
    let id = target.split(' ').next().unwrap_or_default();
    let connector = harness.names.connector(id).ok_or("unknown connector")?;
    harness.connectors[connector].mating.ok_or_else(|| "it has no mate".to_owned())
}

/// Which group each point belongs to.
pub(crate) struct Groups(Vec<usize>);

impl Groups {
    pub(crate) fn new(size: usize, joined: impl Iterator<Item = [usize; 2]>) -> Self {
        let mut of: Vec<usize> = (0..size).collect();
        for [a, b] in joined {
            let (a, b) = (root(&of, a), root(&of, b));
            of[a] = b;
        }
        Self((0..size).map(|node| root(&of, node)).collect())
    }

    pub(crate) fn of(&self, node: usize) -> usize {
        self.0[node]
    }
}

fn root(of: &[usize], mut node: usize) -> usize {
    while of[node] != node {
        node = of[node];
    }
    node
}

/// A fault put into the machine.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Put {
    Nothing,
    Cut(WireId),
    Touch(WireId, Option<WireId>),
}

/// A machine in a state.
pub(crate) struct Scene<'a> {
    pub(crate) harness: &'a Harness,
    pub(crate) state: &'a State,
    pub(crate) put: Put,
}

impl Scene<'_> {
    pub(crate) fn node(&self, point: Point) -> usize {
        self.harness.point_index(point)
    }

    /// Wires, mated contacts and ground bonds with their resistances.
    fn conductors(&self) -> Vec<Branch> {
        let harness = self.harness;
        let branch = |[a, b]: [Point; 2], ohms: f64| Branch::plain(self.node(a), self.node(b), ohms);
        let mut all = Vec::new();
        for (id, wire) in harness.wires.iter() {
            if !matches!(self.put, Put::Cut(cut) if cut == id) {
                all.push(branch(wire.ends, wire_ohms(wire)));
            }
        }
        for (mating, mated) in harness.matings.iter() {
            let contacts = harness.contacts_of(mated.first).filter(|_| !self.state.parted.contains(&mating));
            let pairs = contacts.filter_map(|c| Some([c, harness.contacts[c].mate?]));
            all.extend(pairs.map(|pair: [ContactId; 2]| branch(pair.map(Point::Contact), 0.003)));
        }
        let grounds = harness.terminals.iter().filter(|(_, terminal)| terminal.ground);
        for (id, _) in grounds {
            all.push(branch([Point::Terminal(id), Point::Chassis], 0.001));
        }
        for strap in &self.state.straps {
            let mut points = strap.iter().copied();
            let first = points.next().unwrap_or(Point::Chassis);
            all.extend(points.map(|point| branch([first, point], 0.05)));
        }
        if let Put::Touch(a, b) = self.put {
            let other = b.map_or(Point::Chassis, |wire| harness.wires[wire].ends[0]);
            all.push(branch([harness.wires[a].ends[0], other], 0.05));
        }
        all
    }

    /// Which points conductors alone join.
    pub(crate) fn nets(&self) -> Groups {
        Groups::new(self.harness.point_count(), self.conductors().into_iter().map(|b| [b.a, b.b]))
    }

    /// What an ohmmeter's current can pass: conductors, closed switches, fuses, loads, coils.
    pub(crate) fn ohmmeter(&self) -> Vec<Branch> {
        let mut all = self.conductors();
        let branch = |[a, b]: [Point; 2], ohms: f64| Branch::plain(self.node(a), self.node(b), ohms);
        for (id, part) in self.harness.parts.iter() {
            match &part.kind {
                PartKind::Fuse { between, .. } => all.push(branch(*between, 0.005)),
                PartKind::Load { between, ohms, cold_ohms, when, .. } if self.holds(*when) => {
                    all.push(branch(*between, cold_ohms.unwrap_or(*ohms).get()));
                }
                PartKind::Switch { positions, .. } => {
                    all.extend(positions[self.position(id)].closed.iter().map(|pair| branch(*pair, 0.005)));
                }
                PartKind::Relay { coil, coil_ohms, released, .. } => {
                    all.push(branch(*coil, coil_ohms.get()));
                    all.extend(released.iter().map(|pair| branch(*pair, 0.005)));
                }
                _ => {}
            }
        }
        all
    }

    pub(crate) fn ohms(&self, red: Point, black: Point) -> Option<f64> {
        resistance(&self.ohmmeter(), self.node(red), self.node(black))
    }

    fn holds(&self, when: Option<ConditionId>) -> bool {
        when.is_none_or(|c| self.state.conditions.contains(&c))
    }

    pub(crate) fn position(&self, switch: PartId) -> usize {
        self.state.set.get(&switch).copied().unwrap_or_else(|| rest(self.harness, switch))
    }

    /// Half of the nominal voltage: from there on a point counts as live to relays' neighbours.
    fn half(&self) -> f64 {
        self.harness.about.nominal.map_or(12.0, ringout::units::Volts::get) * 0.5
    }

    /// The voltages against the chassis with power connected: coarse, with wires of no resistance and
    /// every net one node, or fine, wire by wire. Fuses blow from `blows` times their rating. `None` where
    /// relays chase each other.
    pub(crate) fn powered(&self, fine: bool, blows: f64) -> Option<Powered> {
        let none = std::iter::empty();
        let nets = if fine { Groups::new(self.harness.point_count(), none) } else { self.nets() };
        let mut on = On::default();
        for _ in 0..60 {
            let branches = self.working(&nets, &on);
            let volts = voltages(&branches, nets.of(self.node(Point::Chassis)), &[]);
            let powered =
                Powered { nets: (0..self.harness.point_count()).map(|n| nets.of(n)).collect(), volts };
            let next = self.switched(&powered, &on, blows);
            if next == on {
                return Some(powered);
            }
            on = next;
        }
        None
    }

    /// The machine at work, every group one node.
    fn working(&self, nets: &Groups, on: &On) -> Vec<Branch> {
        let outer = |branch: Branch| Branch { a: nets.of(branch.a), b: nets.of(branch.b), ..branch };
        let mut all: Vec<Branch> =
            self.conductors().into_iter().map(outer).filter(|branch| branch.a != branch.b).collect();
        let mut add = |[a, b]: [Point; 2], ohms: f64, emf: f64| {
            all.push(Branch { a: nets.of(self.node(a)), b: nets.of(self.node(b)), ohms, emf });
        };
        for (id, part) in self.harness.parts.iter() {
            match &part.kind {
                PartKind::Battery { volts, internal, plus, minus } => {
                    add([*plus, *minus], internal.get().max(1e-3), volts.get());
                }
                PartKind::Alternator { volts, internal, plus, minus, .. } if on.on.contains(&(id, 0)) => {
                    add([*plus, *minus], internal.get().max(1e-3), volts.get());
                }
                PartKind::Fuse { between, .. } if !on.on.contains(&(id, 0)) => add(*between, 0.005, 0.0),
                PartKind::Load { between, ohms, when, .. } if self.holds(*when) => {
                    add(*between, ohms.get(), 0.0);
                }
                PartKind::Switch { positions, .. } => {
                    for pair in &positions[self.position(id)].closed {
                        add(*pair, 0.005, 0.0);
                    }
                }
                PartKind::Relay { coil, coil_ohms, released, operated, .. } => {
                    add(*coil, coil_ohms.get(), 0.0);
                    let closed = if on.on.contains(&(id, 0)) { operated } else { released };
                    for pair in closed {
                        add(*pair, 0.005, 0.0);
                    }
                }
                PartKind::Diode { anode, cathode, drop } if on.on.contains(&(id, 0)) => {
                    add([*anode, *cathode], 0.05, drop.get());
                }
                PartKind::Unit { functions } => {
                    for (at, function) in functions.iter().enumerate() {
                        if on.on.contains(&(id, at)) {
                            add([function.supply, function.output], 0.05, 0.0);
                        }
                        let inputs = std::iter::once(function.supply).chain(function.when.iter().copied());
                        if let Some(ground) = function.ground {
                            inputs.for_each(|input| add([input, ground], 10_000.0, 0.0));
                        }
                    }
                }
                _ => {}
            }
        }
        all
    }

    fn switched(&self, now: &Powered, on: &On, blows: f64) -> On {
        let mut next = on.clone();
        let volts = |a: Point, b: Point| now.between(self.node(a), self.node(b));
        for (id, part) in self.harness.parts.iter() {
            match &part.kind {
                PartKind::Relay { coil, operate, .. } => {
                    next.put((id, 0), volts(coil[0], coil[1]).abs() >= operate.get());
                }
                PartKind::Fuse { between, rating: Some(rating), .. } => {
                    let blown = volts(between[0], between[1]).abs() / 0.005 >= blows * rating.get();
                    next.put((id, 0), blown || on.on.contains(&(id, 0)));
                }
                PartKind::Diode { anode, cathode, drop } => {
                    let was = on.on.contains(&(id, 0));
                    let forward = volts(*anode, *cathode);
                    next.put((id, 0), if was { forward >= drop.get() } else { forward > drop.get() });
                }
                PartKind::Alternator { plus, minus, sense, when, .. } => {
                    let live = volts(sense.unwrap_or(*plus), *minus) >= self.half();
                    next.put((id, 0), self.holds(*when) && live);
                }
                PartKind::Unit { functions } => {
                    for (at, function) in functions.iter().enumerate() {
                        let ground = function.ground.unwrap_or(Point::Chassis);
                        let live = |point: &Point| volts(*point, ground) >= self.half();
                        next.put((id, at), live(&function.supply) && function.when.iter().all(live));
                    }
                }
                _ => {}
            }
        }
        next
    }
}

/// What is on: a relay, diode or source (0), a blown fuse (0), a unit's function by its number.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct On {
    on: BTreeSet<(PartId, usize)>,
}

impl On {
    fn put(&mut self, what: (PartId, usize), on: bool) {
        if on {
            self.on.insert(what);
        } else {
            self.on.remove(&what);
        }
    }
}

/// Solved voltages.
pub(crate) struct Powered {
    nets: Vec<usize>,
    volts: BTreeMap<usize, f64>,
}

impl Powered {
    /// The voltage of a node against the chassis; `None` where nothing joins it to the chassis.
    pub(crate) fn volts(&self, node: usize) -> Option<f64> {
        self.volts.get(&self.nets[node]).copied()
    }

    pub(crate) fn between(&self, a: usize, b: usize) -> f64 {
        match (self.volts(a), self.volts(b)) {
            (Some(a), Some(b)) => a - b,
            _ => 0.0,
        }
    }
}

fn wire_ohms(wire: &ringout::definition::Wire) -> f64 {
    match (wire.gauge, wire.length) {
        (Some(gauge), Some(length)) => {
            let (low, high) = conductor::resistance_range(gauge, length, conductor::USUAL_TEMPERATURES);
            f64::midpoint(low.get(), high.get()) + 0.001
        }
        _ => 0.051,
    }
}
