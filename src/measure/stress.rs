//! What a megohm tester's voltage, or a low-ohm meter's current, must not be put on.
//!
//! Comes in: a situation. Goes out: for two points, the connected unit, the electronics or the hazard mark
//! that forbids the test. Why: 500 V destroys a control box and may fire a restraint; that nobody
//! probes a marked point itself is not enough, for the wiring leads there.

use std::collections::BTreeMap;

use super::{Measurement, Situation, connected_unit};
use crate::definition::{PartKind, Point};
use crate::netlist::{Element, NetId};

/// What stands on each group of points that an ohmmeter's current can reach.
pub struct Stress<'a> {
    situation: &'a Situation<'a>,
    hazards: BTreeMap<NetId, String>,
    electronics: BTreeMap<NetId, String>,
}

impl<'a> Stress<'a> {
    /// Looks over a situation once. Cost: linear in points, wires and parts.
    pub fn new(situation: &'a Situation<'a>) -> Self {
        let mut stress = Self { situation, hazards: BTreeMap::new(), electronics: BTreeMap::new() };
        stress.look_at_points();
        stress.look_at_parts();
        stress
    }

    fn group(&self, point: Point) -> NetId {
        self.situation.groups.of(self.situation.node(point))
    }

    fn look_at_points(&mut self) {
        let harness = self.situation.harness;
        for point in harness.points() {
            let group = self.group(point);
            if let Point::Contact(id) = point {
                let connector = &harness.connectors[harness.contacts[id].connector];
                if connector.hazard.is_some() {
                    self.hazards.entry(group).or_insert_with(|| format!("connector {}", connector.id));
                }
            }
            for wire in harness.wires_at(point).map(|id| &harness.wires[id]).filter(|w| w.hazard.is_some()) {
                self.hazards.entry(group).or_insert_with(|| format!("wire {}", wire.id));
            }
            for part in harness.parts_at(point).filter(|id| harness.parts[*id].hazard.is_some()) {
                let words = Element::Part(part).words(harness);
                self.hazards.entry(group).or_insert(words);
            }
            if let Some(unit) = connected_unit(harness, point, &self.situation.setup) {
                let words = Element::Part(unit).words(harness);
                self.electronics.entry(group).or_insert(words);
            }
        }
    }

    /// Semiconductors with two ends. That they hang on the chassis, as most do, says nothing: their other
    /// end counts.
    fn look_at_parts(&mut self) {
        let harness = self.situation.harness;
        let chassis = self.situation.groups.of(self.situation.netlist.chassis());
        for point in harness.points() {
            let group = self.group(point);
            let electronic = |kind: &PartKind| match kind {
                PartKind::Diode { .. } | PartKind::Alternator { .. } => true,
                PartKind::Load { kind, .. } => *kind == crate::definition::LoadKind::Sensor,
                _ => false,
            };
            let here = harness.parts_at(point).find(|id| electronic(&harness.parts[*id].kind));
            if let Some(part) = here.filter(|_| group != chassis) {
                self.electronics.entry(group).or_insert_with(|| Element::Part(part).words(harness));
            }
        }
    }

    fn on<'b>(&self, of: &'b BTreeMap<NetId, String>, measurement: &Measurement) -> Option<&'b str> {
        let groups = [measurement.red(), measurement.black()].map(|point| self.group(point));
        groups.iter().find_map(|group| of.get(group)).map(String::as_str)
    }

    /// The hazard mark that a measurement's current could reach, if there is one.
    pub fn hazard(&self, measurement: &Measurement) -> Option<&str> {
        self.on(&self.hazards, measurement)
    }

    /// What forbids a megohm tester on either side of a measurement: a hazard mark, a connected unit or
    /// other electronics.
    pub fn forbids_megohm(&self, measurement: &Measurement) -> Option<&str> {
        self.hazard(measurement).or_else(|| self.on(&self.electronics, measurement))
    }
}
