//! A setup that comes into question for proving a repair, with the readings that show something there.
//!
//! Comes in: a machine, a setup, the faults that the work can have brought about. Goes out: the readings of that setup,
//! each with those of the faults that it shows for sure. Why: which setup proves most for its time is tried, not guessed.

use std::collections::{BTreeSet, VecDeque};

use super::Touched;
use crate::circuit::Unsettled;
use crate::definition::{Harness, Kind, PartId, PartKind, Point};
use crate::fault::{Fault, Universe};
use crate::measure::{Measurement, Meter, Prediction, Situation};
use crate::netlist::{Link, LinkId, Netlist};
use crate::plan::cover::{Question, covered, tries};
use crate::plan::select::paths;
use crate::plan::{OneByOne, Scope, Step};
use crate::setup::{Effort, Setup, usual};

/// A setup with the readings that show something there.
pub(super) struct Trial {
    pub(super) title: &'static str,
    pub(super) setup: Setup,
    pub(super) group: usize,
    pub(super) rows: Vec<Row>,
    pub(super) seconds: f64,
}

/// A reading, and what it shows.
pub(super) struct Row {
    pub(super) step: Step,
    /// Those of its faults that the plan is about.
    pub(super) shows: Vec<Fault>,
    /// Volts lost under load along something that was touched.
    pub(super) loaded: f64,
}

impl Trial {
    pub(super) fn without_power(
        harness: &Harness,
        netlist: &Netlist,
        about: (&Universe, &BTreeSet<Fault>),
        setup: &Setup,
        meter: Meter,
    ) -> Result<Option<Self>, Unsettled> {
        let situation = Situation::new(harness, netlist, setup)?;
        let chosen = paths(&situation, &Scope::default()).chosen;
        let readings = chosen.into_iter().map(|chosen| (chosen.measurement, chosen.purpose, 0.0)).collect();
        let title = if setup.parted().len() == 0 {
            "Without power, all plugged in"
        } else {
            "Without power, plugs off"
        };
        Ok(Self::of(&situation, about, meter, (title, 0), readings))
    }

    pub(super) fn with_power(
        harness: &Harness,
        netlist: &Netlist,
        about: (&Universe, &BTreeSet<Fault>),
        (setup, parts): (&Setup, &[PartId]),
        (touched, meter): (&Touched, Meter),
    ) -> Result<Option<Self>, Unsettled> {
        let situation = Situation::new(harness, netlist, setup)?;
        let chosen = crate::plan::stages::across_loads(&situation, parts);
        let mut readings: Vec<(Measurement, String, f64)> =
            chosen.into_iter().map(|chosen| (chosen.measurement, chosen.purpose, 0.0)).collect();
        readings.extend(relays(&situation, parts));
        readings.extend(drops(&situation, touched));
        Ok(Self::of(&situation, about, meter, ("Under load, with power, all plugged in", 1), readings))
    }

    fn of(
        situation: &Situation<'_>,
        (universe, faults): (&Universe, &BTreeSet<Fault>),
        meter: Meter,
        (title, group): (&'static str, usize),
        readings: Vec<(Measurement, String, f64)>,
    ) -> Option<Self> {
        let harness = situation.harness;
        if !tries(situation, universe) {
            return None;
        }
        let expected: Vec<_> = readings.iter().map(|(m, ..)| situation.explain(m, &meter)).collect();
        let questions: Vec<Question<'_>> = readings
            .iter()
            .zip(&expected)
            .map(|((measurement, ..), expect)| Question { measurement, expect })
            .collect();
        let covers =
            covered(situation, universe, &questions, &OneByOne).into_iter().map(|shows| shows.faults);
        let mut rows = Vec::new();
        for (((measurement, purpose, loaded), expect), covers) in
            readings.into_iter().zip(expected).zip(covers)
        {
            let shows: Vec<Fault> = covers.iter().copied().filter(|fault| faults.contains(fault)).collect();
            if shows.is_empty() && loaded <= 0.0 {
                continue;
            }
            let station = harness.station_of(measurement.red()).or(harness.station_of(measurement.black()));
            let step = Step {
                id: String::new(),
                measurement,
                expect,
                station,
                covers,
                purpose,
                outcomes: Vec::new(),
            };
            rows.push(Row { step, shows, loaded });
        }
        let plugs: f64 = situation
            .setup
            .parted()
            .map(|mating| harness.matings[mating].unplug.unwrap_or(usual(Effort::Plug)).get())
            .sum();
        let moves = situation.setup.set().len() as f64 * usual(Effort::Switch).get();
        let seconds = 2.0 * (plugs + moves + usual(Effort::Lead).get());
        (!rows.is_empty()).then(|| Self {
            title,
            setup: Setup::clone(&situation.setup),
            group,
            rows,
            seconds,
        })
    }

    /// The readings, station by station.
    pub(super) fn steps(&self, harness: &Harness) -> Vec<Step> {
        let mut steps: Vec<Step> = self.rows.iter().map(|row| row.step.clone()).collect();
        let place = |step: &Step| harness.station_of(step.measurement.red()).or(step.station);
        steps.sort_by(|a, b| {
            let key = |step: &Step| (place(step), step.measurement.kind());
            key(a).cmp(&key(b)).then_with(|| a.measurement.cmp(&b.measurement))
        });
        steps
    }

    /// The same readings in another setup without power, if each shows there what it shows here.
    pub(super) fn moved(
        &self,
        harness: &Harness,
        netlist: &Netlist,
        about: (&Universe, &BTreeSet<Fault>),
        (setup, meter): (&Setup, Meter),
    ) -> Option<Self> {
        let situation = Situation::new(harness, netlist, setup).ok()?;
        let mut readings = Vec::new();
        for row in &self.rows {
            let [red, black] = [row.step.measurement.red(), row.step.measurement.black()];
            let kind = row.step.measurement.kind();
            let same_net = situation.nets.of(situation.node(red)) == situation.nets.of(situation.node(black));
            if !same_net && situation.relies_on_unit(red, black).is_some() {
                return None;
            }
            readings.push((situation.measure(kind, red, black).ok()?, row.step.purpose.clone(), row.loaded));
        }
        let there = Self::of(&situation, about, meter, (self.title, self.group), readings)?;
        let keeps = |(old, new): (&Row, &Row)| old.shows.iter().all(|fault| new.shows.contains(fault));
        (there.rows.len() == self.rows.len() && self.rows.iter().zip(&there.rows).all(keeps)).then_some(there)
    }
}

/// The voltage at the coil of each relay, where a probe gets there.
fn relays(situation: &Situation<'_>, parts: &[PartId]) -> Vec<(Measurement, String, f64)> {
    let harness = situation.harness;
    let coil = |part: &PartId| {
        let PartKind::Relay { coil: [a, b], .. } = harness.parts[*part].kind else { return None };
        let [red, black] = [a, b].map(|point| reachable(situation, point, None));
        let measurement = situation.measure(Kind::Voltage, red?, black?).ok()?;
        Some((measurement, format!("coil of relay {}", harness.parts[*part].id), 0.0))
    };
    parts.iter().filter_map(coil).collect()
}

/// A drop along less than this tells nothing of the joint.
const LEAST: f64 = 0.000_5;

/// What is lost along each touched wire and part while current flows, from the nearest points that a probe reaches.
fn drops(situation: &Situation<'_>, touched: &Touched) -> Vec<(Measurement, String, f64)> {
    let (harness, netlist) = (situation.harness, situation.netlist);
    let mut found: Vec<(Measurement, String, f64)> = Vec::new();
    let mine = |link: &LinkId| match netlist.link(*link) {
        Link::Wire(wire) => {
            touched.wires.contains(&wire)
                || harness.wires[wire].ends.iter().any(|end| touched.points.contains(end))
        }
        Link::Mated { contacts, .. } => {
            contacts.iter().any(|id| touched.opened.contains(&harness.contacts[*id].connector))
        }
        _ => false,
    };
    for link in netlist.links().filter(mine) {
        let [a, b] = netlist.ends(link);
        let ends = [a, b].map(|node| reachable(situation, netlist.point(node), Some((link, [a, b]))));
        let [Some(red), Some(black)] = ends else { continue };
        let reading = |red, black| {
            let measurement = situation.measure(Kind::Drop, red, black).ok()?;
            match situation.predict_healthy(&measurement) {
                Prediction::Volts(volts) => Some((measurement, volts)),
                _ => None,
            }
        };
        let Some((mut measurement, mut volts)) = reading(red, black) else { continue };
        if volts < 0.0 {
            let Some(turned) = reading(black, red) else { continue };
            (measurement, volts) = turned;
        }
        if volts >= LEAST && found.iter().all(|(known, ..)| *known != measurement) {
            let purpose = match netlist.link(link) {
                Link::Wire(wire) => format!("loss under load along wire {}", harness.wires[wire].id),
                _ => "loss under load over the mated contact".to_owned(),
            };
            found.push((measurement, purpose, volts));
        }
    }
    found
}

/// The nearest point that a probe reaches over conductors, not through the link that is asked about.
fn reachable(situation: &Situation<'_>, from: Point, but: Option<(LinkId, [usize; 2])>) -> Option<Point> {
    let (harness, netlist) = (situation.harness, situation.netlist);
    let start = situation.node(from);
    let mut seen = BTreeSet::from([start]);
    if let Some((_, ends)) = but {
        seen.extend(ends);
    }
    let mut open = VecDeque::from([start]);
    while let Some(node) = open.pop_front() {
        let point = netlist.point(node);
        if situation.setup.can_probe(harness, point)
            && harness.unit_behind(point).is_none()
            && point != Point::Chassis
        {
            return Some(point);
        }
        for (link, other) in netlist.links_at(node) {
            let way = but.is_none_or(|(asked, _)| asked != link) && situation.setup.joins(netlist, link);
            if way && seen.insert(other) {
                open.push_back(other);
            }
        }
    }
    None
}
