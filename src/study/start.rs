//! What a run begins with.
//!
//! What a person notices: a load or a relay that does not get its voltage, or gets one where it should not, in the setups
//! that none, one or two switches make; and the plan's readings for what nobody notices.

use std::collections::BTreeSet;

use crate::circuit::Unsettled;
use crate::definition::{Harness, Kind, PartKind, Point};
use crate::measure::{Expectation, Measurement, Meter, Prediction, Reading, Situation};
use crate::netlist::Netlist;
use crate::plan::{self, Scope, as_found};
use crate::setup::{Connected, Setup, switches};
use crate::units::{Ohms, Volts};

/// More setups than this are not tried.
const SETUPS: usize = 40;

/// Readings to begin with, each with what a healthy machine shows.
pub(super) struct Starts {
    pub complaints: Vec<(Measurement, Expectation)>,
    pub steps: Vec<(Measurement, Expectation)>,
}

impl Starts {
    pub(super) fn new(harness: &Harness, netlist: &Netlist, meter: &Meter) -> Result<Self, Unsettled> {
        let plan = plan::plan(harness, netlist, &Scope::default(), *meter)?;
        let steps = plan.steps().map(|step| (step.measurement.clone(), step.expect.clone()));
        let steps = steps.filter(|(m, expect)| has_room(harness, netlist, m, expect)).collect();
        Ok(Self { complaints: complaints(harness, netlist, meter), steps })
    }
}

/// Where a maker's demand leaves the meter no room, a sound machine may read bad: that begins nothing.
fn has_room(harness: &Harness, netlist: &Netlist, m: &Measurement, expect: &Expectation) -> bool {
    let Ok(situation) = Situation::new(harness, netlist, m.setup()) else { return false };
    match situation.predict_healthy(m) {
        Prediction::Volts(v) if expect.is_demanded() => {
            [v * 0.98, v * 1.02].iter().all(|v| expect.admits(Reading::Volts(Volts::new(*v))))
        }
        // Parts within 10 %, and a meter within 2 %.
        Prediction::Ohms(v) if expect.is_demanded() => {
            [v * 0.88, v * 1.12].iter().all(|v| expect.admits(Reading::Ohms(Ohms::new(*v))))
        }
        _ => true,
    }
}

fn complaints(harness: &Harness, netlist: &Netlist, meter: &Meter) -> Vec<(Measurement, Expectation)> {
    if !matches!(as_found(harness), Setup::Connected(_)) {
        return Vec::new();
    }
    let away = |(switch, count, rest): (_, usize, usize)| {
        (0..count).filter(move |position| *position != rest).map(move |position| (switch, position))
    };
    let moves: Vec<_> = switches(harness).flat_map(away).collect();
    let mut setups = BTreeSet::from([Setup::from(Connected::as_found())]);
    for (at, (switch, position)) in moves.iter().enumerate() {
        let one = Connected::as_found().set(harness, *switch, *position);
        for (other, position) in &moves[at..] {
            setups.insert(one.clone().set(harness, *other, *position).into());
        }
    }
    let mut found = Vec::new();
    for setup in setups.iter().take(SETUPS) {
        let Ok(situation) = Situation::new(harness, netlist, setup) else { continue };
        for part in harness.parts.values() {
            let ends = match &part.kind {
                PartKind::Load { between, .. } => *between,
                PartKind::Relay { coil, .. } => *coil,
                _ => continue,
            };
            // At the plug where the part's own side is out of reach.
            let outer = |point: Point| match point {
                Point::Contact(id) => harness.contacts[id].mate.map_or(point, Point::Contact),
                other => other,
            };
            let ways = [ends, ends.map(outer)].into_iter();
            let mut ways = ways.filter_map(|[red, black]| situation.measure(Kind::Voltage, red, black).ok());
            if let Some(measurement) = ways.next() {
                let expect = situation.expect(&measurement, meter);
                found.push((measurement, expect));
            }
        }
    }
    found
}
