//! What the comments of a deck say: which thing a line stands for, and the state it is in.

use super::super::change::Change;
use super::super::network::Machine;
use super::super::states::States;
use crate::definition::{Harness, PartId, PartKind, Point};
use crate::netlist::{Element, Link, LinkId, PartWay};
use crate::setup::position_name;
use crate::units::Metres;

/// A machine and the states that its switching parts are frozen in.
#[derive(Clone, Copy)]
pub(super) struct Words<'a> {
    pub(super) machine: Machine<'a>,
    pub(super) states: &'a States,
}

impl Words<'_> {
    fn harness(&self) -> &Harness {
        self.machine.harness
    }

    pub(super) fn node(&self, node: usize) -> String {
        self.harness().point_name(self.machine.netlist.point(node))
    }

    fn ends(&self, link: LinkId) -> String {
        let [a, b] = self.machine.netlist.ends(link).map(|node| self.node(node));
        format!("{a} to {b}")
    }

    /// A link's name, short enough to name its element by.
    pub(super) fn short(&self, link: LinkId) -> String {
        let harness = self.harness();
        match self.machine.netlist.link(link) {
            Link::Wire(wire) => harness.wires[wire].id.clone(),
            Link::Mated { contacts: [a, b], .. } => Element::Mated(a, b).id(harness),
            Link::Bond(terminal) => format!("{}_bond", harness.terminals[terminal].id),
            Link::Part(part, way) => {
                let id = &harness.parts[part].id;
                match way {
                    PartWay::Through | PartWay::Diode | PartWay::Source => id.clone(),
                    PartWay::Coil => format!("{id}_coil"),
                    PartWay::Switch(at) => format!("{id}_{}", at + 1),
                    PartWay::Drive(at) => format!("{id}_drive_{}", at + 1),
                    PartWay::Released => format!("{id}_released"),
                    PartWay::Operated => format!("{id}_operated"),
                }
            }
        }
    }

    /// What a link is, with its ends.
    pub(super) fn link(&self, link: LinkId) -> String {
        let harness = self.harness();
        let elements = || self.machine.netlist.elements(harness, link);
        match self.machine.netlist.link(link) {
            Link::Wire(id) => {
                let wire = &harness.wires[id];
                let gauge = wire.gauge.map_or("gauge not known".to_owned(), |gauge| gauge.to_string());
                let length = wire.length.map_or("length not known".to_owned(), |m: Metres| m.to_string());
                let ends: Vec<String> = elements()
                    .into_iter()
                    .filter(|element| !matches!(element, Element::Wire(_)))
                    .map(|element| match element {
                        Element::SpliceLeg(..) => format!("splice leg {}", element.id(harness)),
                        _ => format!("termination {}", element.id(harness)),
                    })
                    .collect();
                format!("wire {}, {gauge}, {length}, with {}", wire.id, ends.join(" and "))
            }
            Link::Mated { .. } | Link::Bond(_) => {
                elements().first().map_or_else(String::new, |element| element.words(harness))
            }
            Link::Part(part, way) => {
                format!("{}{}, {}", self.part(part), self.way(part, way), self.ends(link))
            }
        }
    }

    fn part(&self, id: PartId) -> String {
        let part = &self.harness().parts[id];
        format!("{} {}", part.kind.word(), part.id)
    }

    fn way(&self, part: PartId, way: PartWay) -> String {
        match (way, &self.harness().parts[part].kind) {
            (PartWay::Coil, _) => " coil".to_owned(),
            (PartWay::Released, _) => " contact that is closed while released".to_owned(),
            (PartWay::Operated, _) => " contact that is closed while operated".to_owned(),
            (PartWay::Switch(_), _) => " contact".to_owned(),
            (PartWay::Drive(at), PartKind::Unit { functions }) => {
                format!(" driver \"{}\"", functions[at as usize].title)
            }
            _ => String::new(),
        }
    }

    /// The state that a link's part is frozen in; `None` for what has no states.
    pub(super) fn state(&self, link: LinkId) -> Option<String> {
        let Link::Part(part, way) = self.machine.netlist.link(link) else { return None };
        let harness = self.harness();
        let either = |on: bool, yes: &str, no: &str| Some((if on { yes } else { no }).to_owned());
        match (way, &harness.parts[part].kind) {
            (PartWay::Coil | PartWay::Released | PartWay::Operated, _) => {
                either(self.states.operated(part), "operated", "released")
            }
            (PartWay::Switch(_), _) => {
                let position = self.machine.setup.position(harness, part);
                Some(format!("at {}", position_name(harness, part, position)))
            }
            (PartWay::Diode, _) => either(self.states.on(link), "conducts", "blocks"),
            (PartWay::Drive(_), _) => either(self.states.on(link), "on", "off"),
            (PartWay::Source, _) if self.machine.is_dead(part) => Some("gives nothing".to_owned()),
            (PartWay::Source, _) if !self.machine.powered() => Some("isolated".to_owned()),
            (PartWay::Source, PartKind::Alternator { .. }) => {
                either(self.states.on(link), "charges", "gives nothing")
            }
            (PartWay::Source, _) => Some("connected".to_owned()),
            (_, PartKind::Fuse { .. }) => either(self.states.blown(link), "blown", "whole"),
            (_, PartKind::Load { when: Some(condition), .. }) => {
                let title = &harness.conditions[*condition].title;
                let holds = if self.machine.setup.holds(*condition) { "holds" } else { "does not hold" };
                Some(format!("its condition {holds}: {title}"))
            }
            _ => None,
        }
    }

    /// Why a link does not conduct.
    pub(super) fn open(&self, link: LinkId) -> String {
        if self.machine.changes.contains(&Change::Open(link)) {
            return "changed".to_owned();
        }
        match self.machine.netlist.link(link) {
            Link::Mated { .. } => "unplugged".to_owned(),
            _ => self.state(link).unwrap_or_default(),
        }
    }

    /// The switching parts, each with its state, one line each.
    pub(super) fn states(&self) -> Vec<String> {
        let netlist = self.machine.netlist;
        let line = |link: LinkId| {
            let Link::Part(part, way) = netlist.link(link) else { return None };
            // A relay and a switch have one state, however many contacts.
            let first = match way {
                PartWay::Released | PartWay::Operated => false,
                PartWay::Switch(at) => at == 0,
                _ => true,
            };
            let driver = if matches!(way, PartWay::Drive(_)) { self.way(part, way) } else { String::new() };
            let state = self.state(link).filter(|_| first)?;
            Some(format!("{}{driver}: {state}", self.part(part)))
        };
        netlist.links().filter_map(line).collect()
    }

    /// What is changed in the machine, one line each.
    pub(super) fn changes(&self) -> Vec<String> {
        let line = |change: &Change| match *change {
            Change::Open(link) => format!("open: {}", self.link(link)),
            Change::Added(link, ohms) => format!("{ohms} more in series: {}", self.link(link)),
            Change::Joined(a, b, ohms) => {
                format!("{} and {} joined by {ohms}", self.node(a), self.node(b))
            }
            Change::Stuck { relay, operated } => {
                let state = if operated { "operated" } else { "released" };
                format!("{} stays {state}", self.part(relay))
            }
            Change::Dead(part) => format!("{} gives nothing", self.part(part)),
        };
        self.machine.changes.iter().map(line).collect()
    }

    pub(super) fn input(&self, unit: PartId, ends: [Point; 2]) -> String {
        let [input, ground] = ends.map(|point| self.harness().point_name(point));
        format!("{} input {input} to its return {ground}", self.part(unit))
    }
}
