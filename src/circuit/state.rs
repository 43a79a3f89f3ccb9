//! Relays, diodes and unit drivers: which are on, given the voltages they see.

use std::collections::BTreeSet;

use super::change::{Change, Lean};
use super::network::{Machine, Network};
use super::operating::Operating;
use super::sparse::Singular;
use crate::definition::{Function, Harness, PartId, PartKind, Point};
use crate::netlist::{Link, LinkId, Netlist, PartWay};
use crate::setup::Power;
use crate::units::Volts;

/// More rounds than any chain of relays in one machine: after so many it does not settle.
const ROUNDS: usize = 200;

/// From this multiple of its rating a fuse counts as blown: at 200 % a blade fuse opens within seconds
/// (ISO 8820-3, from memory).
const BLOWS: f64 = 2.0;

/// Nominal voltage where the definition gives none; it only sets what counts as live.
const NOMINAL: Volts = Volts::new(12.0);

/// Which switching things are on.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct States {
    operated: BTreeSet<PartId>,
    on: BTreeSet<LinkId>,
    blown: BTreeSet<LinkId>,
}

impl States {
    /// Whether a relay is operated.
    pub fn operated(&self, relay: PartId) -> bool {
        self.operated.contains(&relay)
    }

    /// Whether a diode conducts, or a driver or an alternator is on.
    pub fn on(&self, link: LinkId) -> bool {
        self.on.contains(&link)
    }

    /// Whether a fuse has blown or a breaker has tripped.
    pub fn blown(&self, link: LinkId) -> bool {
        self.blown.contains(&link)
    }

    /// The fuses that have blown, in order.
    pub fn all_blown(&self) -> impl ExactSizeIterator<Item = LinkId> + '_ {
        self.blown.iter().copied()
    }

    fn put(&mut self, link: LinkId, on: bool) {
        if on {
            self.on.insert(link);
        } else {
            self.on.remove(&link);
        }
    }
}

/// What decides what switches: voltages, and the current in each link.
#[derive(Clone, Copy)]
pub(super) struct View<'a> {
    volts: &'a [f64],
    island: &'a [u32],
    conductance: &'a [f64],
    /// A link whose conductance is another one.
    changed: Option<(LinkId, f64)>,
}

impl<'a> View<'a> {
    pub(super) fn of(operating: &'a Operating) -> Self {
        let (volts, island, conductance) = operating.parts();
        Self { volts, island, conductance, changed: None }
    }

    pub(super) fn patched(
        operating: &'a Operating,
        volts: &'a [f64],
        island: &'a [u32],
        changed: Option<(LinkId, f64)>,
    ) -> Self {
        Self { volts, island, changed, ..Self::of(operating) }
    }

    fn volts_between(self, a: usize, b: usize) -> f64 {
        if self.island[a] == self.island[b] { self.volts[a] - self.volts[b] } else { 0.0 }
    }

    /// The current through a link that is a plain resistance, whichever way it flows, in amperes.
    fn amps(self, netlist: &Netlist, link: LinkId) -> f64 {
        let conductance = match self.changed {
            Some((changed, conductance)) if changed == link => conductance,
            _ => self.conductance[link.index()],
        };
        let [a, b] = netlist.ends(link);
        (self.volts_between(a, b) * conductance).abs()
    }
}

/// Why there is no solution.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unsettled {
    /// These parts keep switching each other.
    #[error("the machine never settles: {} keep switching", .0.join(", "))]
    Loop(Vec<String>),
    /// A node that belongs to no island; the assembly rules that out.
    #[error(transparent)]
    Singular(#[from] Singular),
}

/// How a machine ends up.
pub(super) enum Settled {
    /// Nothing switches any more.
    Steady(Operating),
    /// The same states come round again.
    Loop {
        /// The parts that keep switching.
        parts: Vec<String>,
        /// The machine in each round of the loop.
        rounds: Vec<Operating>,
    },
}

/// Solves until nothing switches any more, or the same states come round again.
pub(super) fn settle(machine: Machine<'_>, way: Option<&mut Vec<Operating>>) -> Result<Settled, Singular> {
    let mut states = stuck(machine.changes);
    let mut seen: Vec<States> = Vec::new();
    let mut solved: Vec<Operating> = Vec::new();
    loop {
        let network = Network::assemble(machine, &states);
        let operating = Operating::new(machine, &network, states.clone())?;
        if machine.setup.power() == Power::Isolated {
            return Ok(Settled::Steady(operating));
        }
        let next = switched(machine, View::of(&operating), &states);
        if next == states {
            let mut operating = operating;
            operating.mark_marginal(marginal(machine, View::of(&operating), &states));
            if let Some(way) = way {
                *way = solved;
            }
            return Ok(Settled::Steady(operating));
        }
        solved.push(operating);
        let again = seen.iter().position(|s| *s == next);
        if again.is_some() || seen.len() >= ROUNDS {
            let from = again.unwrap_or(0);
            let parts = switching(machine.harness, machine.netlist, &seen[from..], &states);
            return Ok(Settled::Loop { parts, rounds: solved.split_off(from) });
        }
        seen.push(std::mem::replace(&mut states, next));
    }
}

/// Whether something would switch if its threshold lay a little otherwise.
pub(super) fn marginal(machine: Machine<'_>, now: View<'_>, states: &States) -> bool {
    Lean::OUTER.iter().any(|lean| switched(Machine { lean: *lean, ..machine }, now, states) != *states)
}

/// Relays that stay operated whatever happens.
fn stuck(changes: &[Change]) -> States {
    let operated = changes.iter().filter_map(|c| match c {
        Change::Stuck { relay, operated: true } => Some(*relay),
        _ => None,
    });
    States { operated: operated.collect(), ..States::default() }
}

/// The states that the voltages call for. Diodes go first: while one of them still switches, relays
/// and units wait, because what they see is not yet what they will see.
pub(super) fn switched(machine: Machine<'_>, now: View<'_>, states: &States) -> States {
    let mut next = states.clone();
    for link in machine.netlist.links() {
        if let Link::Part(part, PartWay::Diode) = machine.netlist.link(link) {
            next.put(link, diode_on(machine, now, states, link, part));
        }
    }
    if next != *states {
        return next;
    }
    for link in machine.netlist.links() {
        let Link::Part(part, way) = machine.netlist.link(link) else { continue };
        match (way, &machine.harness.parts[part].kind) {
            (PartWay::Coil, PartKind::Relay { operate, .. }) => {
                relay(machine, now, &mut next, link, part, *operate);
            }
            (PartWay::Drive(at), PartKind::Unit { functions }) => {
                let on = !machine.is_dead(part) && drives(machine, now, &functions[at as usize]);
                next.put(link, on);
            }
            (PartWay::Source, PartKind::Alternator { plus, minus, sense, when, .. }) => {
                let turns = when.is_none_or(|condition| machine.setup.holds(condition));
                // It excites itself from what the battery shows at its sense terminal.
                let live = now.volts_between(machine.node(sense.unwrap_or(*plus)), machine.node(*minus));
                next.put(link, turns && live >= machine.live());
            }
            _ => {}
        }
    }
    // What blows a fuse is the current that stays, not one that a relay is about to interrupt.
    if next == *states {
        next.blown.extend(overloaded(machine, now));
    }
    next
}

/// The fuse that blows first: the one with the most current for its rating.
fn overloaded(machine: Machine<'_>, now: View<'_>) -> Option<LinkId> {
    let mut most = None;
    for link in machine.netlist.links() {
        let Link::Part(part, PartWay::Through) = machine.netlist.link(link) else { continue };
        let PartKind::Fuse { rating: Some(rating), .. } = &machine.harness.parts[part].kind else { continue };
        let load = now.amps(machine.netlist, link) / rating.get().max(f64::MIN_POSITIVE);
        if load >= BLOWS * machine.lean.amps() && most.is_none_or(|(known, _)| load > known) {
            most = Some((load, link));
        }
    }
    most.map(|(_, link)| link)
}

fn relay(machine: Machine<'_>, now: View<'_>, next: &mut States, coil: LinkId, part: PartId, operate: Volts) {
    if machine.changes.iter().any(|c| matches!(c, Change::Stuck { relay, .. } if *relay == part)) {
        return;
    }
    let [a, b] = machine.netlist.ends(coil);
    let open = machine.changes.contains(&Change::Open(coil));
    if !open && now.volts_between(a, b).abs() >= operate.get() * machine.lean.volts() {
        next.operated.insert(part);
    } else {
        next.operated.remove(&part);
    }
}

/// A diode conducts when its anode stands above its cathode by more than its drop, and goes on until
/// the current through it would turn round.
fn diode_on(machine: Machine<'_>, now: View<'_>, states: &States, link: LinkId, part: PartId) -> bool {
    let PartKind::Diode { drop, .. } = &machine.harness.parts[part].kind else { return false };
    if machine.changes.contains(&Change::Open(link)) {
        return false;
    }
    let [anode, cathode] = machine.netlist.ends(link);
    let forward = now.volts_between(anode, cathode);
    if states.on(link) { forward >= drop.get() } else { forward > drop.get() }
}

fn drives(machine: Machine<'_>, now: View<'_>, function: &Function) -> bool {
    let ground = machine.node(function.ground.unwrap_or(Point::Chassis));
    let live = |point: Point| now.volts_between(machine.node(point), ground) >= machine.live();
    live(function.supply) && function.when.iter().all(|point| live(*point))
}

impl Machine<'_> {
    fn node(&self, point: Point) -> usize {
        self.harness.point_index(point)
    }

    /// At or above this a point counts as live: half of the nominal voltage, common practice.
    fn live(&self) -> f64 {
        self.harness.about.nominal.unwrap_or(NOMINAL).get() * 0.5 * self.lean.volts()
    }
}

/// The parts whose state differs between any two rounds of a loop.
fn switching(harness: &Harness, netlist: &Netlist, rounds: &[States], last: &States) -> Vec<String> {
    let mut parts = BTreeSet::new();
    for round in rounds {
        parts.extend(round.operated.symmetric_difference(&last.operated).copied());
        for link in round.on.symmetric_difference(&last.on) {
            if let Link::Part(part, _) = netlist.link(*link) {
                parts.insert(part);
            }
        }
    }
    parts.into_iter().map(|part| harness.parts[part].id.clone()).collect()
}
