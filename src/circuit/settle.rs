//! Settling: relays, diodes, drivers and fuses switch until the voltages call for no other state.

use std::collections::BTreeSet;

use super::change::{Change, Lean};
use super::network::{Machine, Network};
use super::operating::Operating;
use super::sparse::Singular;
use super::states::States;
use crate::definition::{Function, Harness, PartId, PartKind, Point};
use crate::netlist::{Link, LinkId, Netlist, PartWay};
use crate::setup::Power;
use crate::units::Volts;

/// More rounds than any chain of relays in one machine: after so many it does not settle.
const ROUNDS: usize = 200;

/// From this multiple of its rating a fuse counts as blown: at 200 % a blade fuse opens within seconds
/// (ISO 8820-3, from memory).
const BLOWS: f64 = 2.0;

/// A diode without current stands at its drop but for rounding, in volts: that alone never switches it.
const ROUNDING: f64 = 1e-7;

/// Nominal voltage where the definition gives none; it only sets what counts as live.
const NOMINAL: Volts = Volts::new(12.0);

/// At or above this a point counts as live: half of the nominal voltage, common practice.
pub fn live_from(harness: &Harness) -> Volts {
    harness.about.nominal.unwrap_or(NOMINAL) * 0.5
}

/// Rounds that are solved already, for machines that differ from theirs in a few branches.
#[derive(Clone, Copy)]
pub(super) struct Start<'a> {
    /// A way from rest to steady, each round a factored network.
    pub rounds: &'a [Operating],
    /// How many of the machine's changes were made in them already: the first ones.
    pub made: usize,
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
    Steady(Box<Operating>),
    /// The same states come round again.
    Loop {
        /// The parts that keep switching.
        parts: Vec<String>,
        /// The machine in each round of the loop.
        rounds: Vec<Operating>,
    },
}

/// Solves until nothing switches any more, or the same states come round again. With a start every round
/// is an update of the round that has the same place there, or else it is factored.
pub(super) fn settle(
    machine: Machine<'_>,
    start: Option<Start<'_>>,
    way: Option<&mut Vec<Operating>>,
) -> Result<Settled, Singular> {
    let mut states = stuck(machine.changes);
    let mut seen: Vec<States> = Vec::new();
    let mut solved: Vec<Operating> = Vec::new();
    let mut near = false;
    loop {
        let mut operating = round(machine, start, seen.len(), &states)?;
        if machine.setup.power() == Power::Isolated {
            return Ok(Settled::Steady(Box::new(operating)));
        }
        let Some(next) = switched(machine, &operating, &states) else {
            operating.mark_marginal(near || marginal(machine, &operating, &states));
            if let Some(way) = way {
                *way = solved;
            }
            return Ok(Settled::Steady(Box::new(operating)));
        };
        // A fuse does not come back: whether it was a near thing must be asked when it blows.
        near |= next.blown != states.blown && marginal(machine, &operating, &states);
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

fn round(
    machine: Machine<'_>,
    start: Option<Start<'_>>,
    at: usize,
    states: &States,
) -> Result<Operating, Singular> {
    if let Some(Start { rounds, made }) = start
        && let Some(base) = rounds.get(at).or(rounds.last())
        && let Some(differences) = machine.differences(base, made, states)
    {
        return Ok(base.with(differences, states.clone()));
    }
    Operating::new(machine, &Network::assemble(machine, states), states.clone())
}

/// Whether something would switch otherwise if its threshold lay a little lower or higher.
fn marginal(machine: Machine<'_>, now: &Operating, states: &States) -> bool {
    let [early, late] = Lean::OUTER.map(|lean| switched(Machine { lean, ..machine }, now, states));
    early != late
}

/// Relays that stay operated whatever happens.
fn stuck(changes: &[Change]) -> States {
    let operated = changes.iter().filter_map(|c| match c {
        Change::Stuck { relay, operated: true } => Some(*relay),
        _ => None,
    });
    States { operated: operated.collect(), ..States::default() }
}

/// The states that the voltages call for; `None` where nothing switches. Diodes go first: while one of them
/// still switches, relays and units wait, because what they see is not yet what they will see.
fn switched(machine: Machine<'_>, now: &Operating, states: &States) -> Option<States> {
    let mut switching = Switching { states, next: None };
    for link in machine.netlist.part_links() {
        if let Link::Part(part, PartWay::Diode) = machine.netlist.link(link) {
            switching.put(link, diode_on(machine, now, states, link, part));
        }
    }
    if switching.next.is_some() {
        return switching.next;
    }
    for link in machine.netlist.part_links() {
        let Link::Part(part, way) = machine.netlist.link(link) else { continue };
        match (way, &machine.harness.parts[part].kind) {
            (PartWay::Coil, PartKind::Relay { operate, .. }) => {
                if let Some(operated) = operates(machine, now, link, part, *operate)
                    && operated != states.operated(part)
                {
                    switching.changed().operate(part, operated);
                }
            }
            (PartWay::Drive(at), PartKind::Unit { functions }) => {
                let on = !machine.is_dead(part) && drives(machine, now, &functions[at as usize]);
                switching.put(link, on);
            }
            (PartWay::Source, PartKind::Alternator { plus, minus, sense, when, .. }) => {
                let turns = when.is_none_or(|condition| machine.setup.holds(condition));
                // It excites itself from what the battery shows at its sense terminal.
                let live = now.volts_between(machine.node(sense.unwrap_or(*plus)), machine.node(*minus));
                switching.put(link, turns && live >= machine.live());
            }
            _ => {}
        }
    }
    // What blows a fuse is the current that stays, not one that a relay is about to interrupt.
    if switching.next.is_none()
        && let Some(fuse) = overloaded(machine, now).filter(|fuse| !states.blown(*fuse))
    {
        switching.changed().blown.insert(fuse);
    }
    switching.next
}

/// States that are copied only when one of them switches.
struct Switching<'a> {
    states: &'a States,
    next: Option<States>,
}

impl Switching<'_> {
    fn changed(&mut self) -> &mut States {
        self.next.get_or_insert_with(|| self.states.clone())
    }

    /// Whether a link is on from now on.
    fn put(&mut self, link: LinkId, on: bool) {
        if on != self.states.on(link) {
            self.changed().put(link, on);
        }
    }
}

/// The current through a link that is a plain resistance, whichever way it flows, in amperes.
fn amps(netlist: &Netlist, now: &Operating, link: LinkId) -> f64 {
    let [a, b] = netlist.ends(link);
    (now.volts_between(a, b) * now.conductance(link)).abs()
}

/// The fuse that blows first: the one with the most current for its rating.
fn overloaded(machine: Machine<'_>, now: &Operating) -> Option<LinkId> {
    let mut most = None;
    for link in machine.netlist.part_links() {
        let Link::Part(part, PartWay::Through) = machine.netlist.link(link) else { continue };
        let PartKind::Fuse { rating: Some(rating), .. } = &machine.harness.parts[part].kind else { continue };
        let load = amps(machine.netlist, now, link) / rating.get().max(f64::MIN_POSITIVE);
        if load >= BLOWS * machine.lean.amps() && most.is_none_or(|(known, _)| load > known) {
            most = Some((load, link));
        }
    }
    most.map(|(_, link)| link)
}

/// Whether a relay operates; `None` for one that is stuck, whatever its coil sees.
fn operates(
    machine: Machine<'_>,
    now: &Operating,
    coil: LinkId,
    part: PartId,
    operate: Volts,
) -> Option<bool> {
    if machine.changes.iter().any(|c| matches!(c, Change::Stuck { relay, .. } if *relay == part)) {
        return None;
    }
    let [a, b] = machine.netlist.ends(coil);
    let open = machine.changes.contains(&Change::Open(coil));
    Some(!open && now.volts_between(a, b).abs() >= operate.get() * machine.lean.volts())
}

/// A diode conducts when its anode stands above its cathode by more than its drop, and goes on until
/// the current through it would turn round.
fn diode_on(machine: Machine<'_>, now: &Operating, states: &States, link: LinkId, part: PartId) -> bool {
    let PartKind::Diode { drop, .. } = &machine.harness.parts[part].kind else { return false };
    if machine.changes.contains(&Change::Open(link)) {
        return false;
    }
    let [anode, cathode] = machine.netlist.ends(link);
    let forward = now.volts_between(anode, cathode);
    if states.on(link) { forward >= drop.get() - ROUNDING } else { forward > drop.get() + ROUNDING }
}

fn drives(machine: Machine<'_>, now: &Operating, function: &Function) -> bool {
    let ground = machine.node(function.ground.unwrap_or(Point::Chassis));
    let live = |point: Point| now.volts_between(machine.node(point), ground) >= machine.live();
    live(function.supply) && function.when.iter().all(|point| live(*point))
}

impl Machine<'_> {
    fn node(&self, point: Point) -> usize {
        self.harness.point_index(point)
    }

    fn live(&self) -> f64 {
        live_from(self.harness).get() * self.lean.volts()
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
