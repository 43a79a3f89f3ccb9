//! Faults as a plan names them, put into a machine.
//!
//! Comes in: a fault's id. Goes out: what is changed in the network. Why: what a step claims to show is tried
//! out, with the fault read from its name and put in by code of its own.

use std::collections::BTreeSet;

use super::machine::{Gate, Machine, Of, What};
use super::net::Edits;
use crate::definition::{
    ConnectorId, ContactId, Harness, Named, PartId, PartKind, Point, TerminalId, WireId,
};

/// What a bad joint adds at least, in ohms: common practice.
const HIGH: f64 = 2.0;
/// Metal on metal, in ohms.
const SHORT: f64 = 0.05;

/// A single fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Fault {
    Open(Place),
    High(Place),
    Short(WireId, WireId),
    ToChassis(WireId),
    Crossed(WireId, WireId, ConnectorId),
    PartShort(PartId),
    Stuck(PartId, bool),
    CoilOpen(PartId),
    /// A unit drives nothing.
    Dead(PartId),
    /// A source gives nothing.
    Flat(PartId),
}

/// Where a way is open or bad.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Place {
    /// A wire or one of its ends: nothing between them can be probed.
    Wire(WireId),
    Mated(ContactId),
    Bond(TerminalId),
    Part(PartId),
}

/// What an id may look like.
pub(super) const FORMS: &str = "31A:open, 31A@P1.K:high, P1.K/J1.K:open, SP2>31A:open, GP1/chassis:open, \
    31A~32B:short, 31A~chassis:short, 31A*32B@P1:crossed, F3:open, K1:stuck-released, K1:stuck-operated, \
    K1:coil-open, M1:short, BOX1:dead or BAT1:flat";

impl Fault {
    /// Reads an id.
    ///
    /// # Errors
    /// What in it names nothing.
    pub(super) fn parse(harness: &Harness, id: &str) -> Result<Self, String> {
        let Some((what, mode)) = id.rsplit_once(':') else {
            return Err(format!("`{id}` has no mode; ids are such as {FORMS}"));
        };
        let part = |word: &str, fits: fn(&PartKind) -> bool| match harness.names.part(what) {
            Some(part) if fits(&harness.parts[part].kind) => Ok(part),
            Some(_) => Err(format!("`{id}`: {what} is no {word}")),
            None => Err(format!("`{id}`: no part is called `{what}`")),
        };
        let relay = || part("relay", |kind| matches!(kind, PartKind::Relay { .. }));
        match mode {
            "open" => place(harness, what).map(Self::Open),
            "high" => match place(harness, what)? {
                Place::Part(_) => Err(format!("`{id}`: only conductors and joints are of high resistance")),
                place => Ok(Self::High(place)),
            },
            "short" => match what.split_once('~') {
                Some((a, "chassis")) => Ok(Self::ToChassis(wire(harness, a)?)),
                Some((a, b)) => Ok(Self::Short(wire(harness, a)?, wire(harness, b)?)),
                None => {
                    let fits =
                        |kind: &PartKind| matches!(kind, PartKind::Load { .. } | PartKind::Diode { .. });
                    part("load or diode", fits).map(Self::PartShort)
                }
            },
            "crossed" => crossed(harness, what).ok_or_else(|| {
                format!("`{id}` does not name two wires at a connector; write it as 31A*32B@P1:crossed")
            }),
            "stuck-released" => relay().map(|relay| Self::Stuck(relay, false)),
            "stuck-operated" => relay().map(|relay| Self::Stuck(relay, true)),
            "coil-open" => relay().map(Self::CoilOpen),
            "dead" => part("unit", |kind| matches!(kind, PartKind::Unit { .. })).map(Self::Dead),
            "flat" => {
                let source =
                    |kind: &PartKind| matches!(kind, PartKind::Battery { .. } | PartKind::Alternator { .. });
                part("source", source).map(Self::Flat)
            }
            _ => Err(format!("`{id}`: no fault is called `{mode}`; ids are such as {FORMS}")),
        }
    }

    /// What it changes in a machine.
    pub(super) fn edits(self, machine: &Machine<'_>) -> Edits {
        let harness = machine.harness;
        let node = |point: Point| machine.node(point);
        let ends = |wire: WireId| harness.wires[wire].ends.map(node);
        let mut edits = Edits::default();
        match self {
            Self::Open(place) => edits.opened = place.branches(machine).to_vec(),
            Self::High(place) => {
                edits.added = place.branches(machine).iter().map(|branch| (*branch, HIGH)).collect();
            }
            Self::Short(a, b) => edits.joined = vec![([ends(a)[0], ends(b)[0]], SHORT)],
            Self::ToChassis(a) => edits.joined = vec![([ends(a)[0], node(Point::Chassis)], SHORT)],
            Self::Crossed(a, b, at) => exchange(machine, [a, b], at, &mut edits),
            Self::PartShort(part) => {
                let points = harness.parts[part].kind.points();
                if let [a, b] = points[..] {
                    edits.joined = vec![([node(a), node(b)], SHORT)];
                }
            }
            Self::Stuck(relay, operated) => stick(machine, relay, operated, &mut edits),
            Self::CoilOpen(relay) => edits.opened = machine.of(Of::Coil(relay)).to_vec(),
            Self::Dead(unit) => edits.forced = devices(machine, unit).map(|at| (at, false)).collect(),
            Self::Flat(source) => edits.opened = machine.of(Of::Part(source)).to_vec(),
        }
        edits
    }
}

/// Every single fault of conductors, joints and parts; pairs of wires apart. A wire and its ends count as one.
pub(super) fn singles(harness: &Harness) -> BTreeSet<Fault> {
    let wires = harness.wires.ids().map(Place::Wire);
    let grounds = harness.terminals.iter().filter(|(_, terminal)| terminal.ground);
    let bonds = grounds.map(|(id, _)| Place::Bond(id));
    let firsts = harness.matings.values().flat_map(|mating| harness.contacts_of(mating.first));
    let mated = firsts.filter(|contact| joins_something(harness, *contact)).map(Place::Mated);
    let conductors =
        wires.chain(bonds).chain(mated).flat_map(|place| [Fault::Open(place), Fault::High(place)]);
    conductors.chain(harness.parts.iter().flat_map(|(id, part)| of_part(id, &part.kind))).collect()
}

fn of_part(id: PartId, kind: &PartKind) -> Vec<Fault> {
    let open = Fault::Open(Place::Part(id));
    match kind {
        PartKind::Battery { .. } | PartKind::Alternator { .. } => vec![Fault::Flat(id)],
        // A switch that joins nothing in any position cannot be open.
        PartKind::Switch { positions, .. } if positions.iter().all(|p| p.closed.is_empty()) => Vec::new(),
        PartKind::Fuse { .. } | PartKind::Switch { .. } => vec![open],
        PartKind::Relay { .. } => vec![Fault::Stuck(id, false), Fault::Stuck(id, true), Fault::CoilOpen(id)],
        PartKind::Diode { .. } | PartKind::Load { .. } => vec![open, Fault::PartShort(id)],
        PartKind::Unit { functions } if functions.is_empty() => Vec::new(),
        PartKind::Unit { .. } => vec![Fault::Dead(id)],
    }
}

/// Whether there is something on both sides of a mated contact.
fn joins_something(harness: &Harness, contact: ContactId) -> bool {
    let used = |contact: ContactId| {
        let point = Point::Contact(contact);
        let on_part = harness.connectors[harness.contacts[contact].connector].part.is_some();
        on_part || harness.wires_at(point).len() > 0 || harness.parts_at(point).len() > 0
    };
    harness.contacts[contact].mate.is_some_and(used) && used(contact)
}

impl Place {
    fn branches<'m>(self, machine: &'m Machine<'_>) -> &'m [usize] {
        machine.of(match self {
            Self::Wire(wire) => Of::Wire(wire),
            Self::Mated(contact) => Of::Mated(contact),
            Self::Bond(terminal) => Of::Bond(terminal),
            Self::Part(part) => Of::Part(part),
        })
    }
}

fn wire(harness: &Harness, id: &str) -> Result<WireId, String> {
    match harness.names.get(id) {
        Some(Named::Wire(wire)) => Ok(wire),
        _ => Err(format!("no wire is called `{id}`")),
    }
}

/// `31A`, `31A@P1.K`, `SP2>31A`, `P1.K/J1.K`, `GP1/chassis` or `F3`.
fn place(harness: &Harness, what: &str) -> Result<Place, String> {
    let point = |text: &str| harness.point(text).map_err(|error| format!("`{what}`: {error}"));
    if let Some((id, end)) = what.split_once('@').or_else(|| what.split_once('>').map(|(a, b)| (b, a))) {
        let (wire, end) = (wire(harness, id)?, point(end)?);
        let has = harness.wires[wire].ends.contains(&end);
        return if has { Ok(Place::Wire(wire)) } else { Err(format!("`{what}`: {id} does not end there")) };
    }
    if let Some((a, b)) = what.split_once('/') {
        return match (point(a)?, point(b)?) {
            (Point::Terminal(terminal), Point::Chassis) if harness.terminals[terminal].ground => {
                Ok(Place::Bond(terminal))
            }
            (Point::Contact(a), Point::Contact(b)) if harness.contacts[a].mate == Some(b) => {
                let connector = harness.contacts[a].connector;
                let first = |mating| harness.matings[mating].first == connector;
                let named_first = harness.connectors[connector].mating.is_some_and(first);
                Ok(Place::Mated(if named_first { a } else { b }))
            }
            _ => Err(format!("`{what}`: the two do not meet")),
        };
    }
    if let Ok(wire) = wire(harness, what) {
        return Ok(Place::Wire(wire));
    }
    match harness.names.part(what).map(|part| (part, &harness.parts[part].kind)) {
        Some((
            part,
            PartKind::Fuse { .. } | PartKind::Switch { .. } | PartKind::Diode { .. } | PartKind::Load { .. },
        )) => Ok(Place::Part(part)),
        Some((_, kind)) => {
            Err(format!("`{what}` is a {}, which has no way of its own to be open", kind.word()))
        }
        None => Err(format!("no wire and no part is called `{what}`")),
    }
}

fn crossed(harness: &Harness, what: &str) -> Option<Fault> {
    let (wires, at) = what.split_once('@')?;
    let (a, b) = wires.split_once('*')?;
    let at = harness.names.connector(at)?;
    let [a, b] = [wire(harness, a).ok()?, wire(harness, b).ok()?];
    let both = [a, b].iter().all(|wire| end_at(harness, *wire, at).is_some());
    (both && a != b).then_some(Fault::Crossed(a, b, at))
}

/// Which end of a wire is at a connector.
fn end_at(harness: &Harness, wire: WireId, at: ConnectorId) -> Option<usize> {
    let here = |point: &Point| matches!(point, Point::Contact(id) if harness.contacts[*id].connector == at);
    harness.wires[wire].ends.iter().position(here)
}

/// Two wires in each other's place: each keeps its own copper and its far end.
fn exchange(machine: &Machine<'_>, wires: [WireId; 2], at: ConnectorId, edits: &mut Edits) {
    let harness = machine.harness;
    let [Some(a), Some(b)] = wires.map(|wire| end_at(harness, wire, at)) else { return };
    let node = |which: usize, side: usize| machine.node(harness.wires[wires[which]].ends[side]);
    edits.opened = wires.iter().flat_map(|wire| machine.of(Of::Wire(*wire))).copied().collect();
    let [ohms_a, ohms_b] = wires.map(|wire| {
        machine.of(Of::Wire(wire)).iter().map(|at| machine.ohms(*at, super::machine::Corner::Nominal)).sum()
    });
    edits.joined = vec![([node(1, b), node(0, 1 - a)], ohms_a), ([node(0, a), node(1, 1 - b)], ohms_b)];
}

fn devices<'m>(machine: &'m Machine<'_>, part: PartId) -> impl Iterator<Item = usize> + 'm {
    machine.devices.iter().enumerate().filter(move |(_, device)| device.part == part).map(|(at, _)| at)
}

/// A relay that stays as it is: with power a device that no longer switches, without power contacts.
fn stick(machine: &Machine<'_>, relay: PartId, operated: bool, edits: &mut Edits) {
    edits.forced = devices(machine, relay)
        .filter(|at| matches!(machine.devices[*at].what, What::Relay { .. }))
        .map(|at| (at, operated))
        .collect();
    if machine.powered || !operated {
        return;
    }
    for branch in machine.of(Of::Part(relay)) {
        match machine.branches[*branch].gate {
            Gate::While(_, true) => edits.closed.push(*branch),
            Gate::While(_, false) => edits.opened.push(*branch),
            Gate::Always => {}
        }
    }
}
