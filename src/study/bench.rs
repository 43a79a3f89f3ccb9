//! A machine with something wrong in it, and a meter to read it with.
//!
//! Every load, coil and source stands a little off its figure, wires are a little longer or shorter, joints are good or
//! poor, a bad joint has from three ohms to thirty kilohms, the meter errs within its uncertainty and its leads have a
//! resistance. The network is solved by the program's own solver: what is studied is the advice, not the arithmetic.
//! The spreads are common practice, no source.

use std::collections::BTreeSet;

use super::chance::Chance;
use crate::circuit::{Change, Corner, Lean, Operating};
use crate::definition::{Harness, PartKind, ResistanceOverrides, Table};
use crate::fault::{Fault, Universe};
use crate::measure::{Measurement, Meter, OPEN_FROM, Prediction, Reading, Situation};
use crate::netlist::resistance;
use crate::netlist::{LinkId, Netlist};
use crate::setup::Power;
use crate::units::{Metres, Ohms, Volts};

/// One machine as it was built, with a fault.
pub(super) struct Bench {
    built: Harness,
    /// The same with its joints at rest: an ohmmeter finds them as good or as poor as they are. With power they stay at their
    /// usual figure: that all of them are poor at once nobody expects.
    at_rest: Harness,
    netlist: Netlist,
    changes: Vec<Change>,
    blown: BTreeSet<LinkId>,
    meter: Meter,
    chance: Chance,
}

impl Bench {
    pub(super) fn new(
        harness: &Harness,
        netlist: &Netlist,
        universe: &Universe,
        fault: Fault,
        meter: Meter,
        mut chance: Chance,
    ) -> Self {
        let mut changes = universe.changes(harness, netlist, fault);
        for change in &mut changes {
            if let Change::Added(_, ohms) = change {
                *ohms = Ohms::new(3.0 * 10f64.powf(chance.between(0.0, 4.0)));
            }
        }
        let built = vary(harness, &mut chance);
        let mut at_rest = built.clone();
        at_rest.resistance = joints(&built.resistance, &mut chance);
        let netlist = Netlist::new(&built);
        Self { built, at_rest, netlist, changes, blown: BTreeSet::new(), meter, chance }
    }

    /// What the meter shows; `None` where the machine has no answer.
    pub(super) fn read(&mut self, measurement: &Measurement) -> Option<Reading> {
        let setup = measurement.setup();
        let powered = setup.power() == Power::Connected;
        let built = if powered { &self.built } else { &self.at_rest };
        let situation = Situation::new(built, &self.netlist, setup).ok()?;
        let blown = self.blown.iter().map(|fuse| Change::Open(*fuse));
        let changes: Vec<Change> = self.changes.iter().copied().chain(blown).collect();
        let rounds = situation.solve_at(&changes, Corner::Nominal, Lean::Exact);
        if powered {
            let sound: BTreeSet<LinkId> = situation.healthy().states().all_blown().collect();
            let all = rounds.iter().flat_map(|round| round.states().all_blown().collect::<Vec<_>>());
            self.blown.extend(all.filter(|fuse| !sound.contains(fuse)));
        }
        let shown: Vec<Prediction> =
            rounds.iter().map(|round: &Operating| situation.read(round, measurement)).collect();
        match *shown.first()? {
            Prediction::Open => Some(Reading::Open),
            Prediction::Ohms(ohms) => {
                let ohms = ohms + self.chance.unit() * self.meter.leads.get();
                let step = if ohms < 1e3 { 0.1 } else { ohms / 1e4 };
                let shown = (ohms + self.error(measurement, ohms, step)).max(0.0);
                let open = shown >= OPEN_FROM.get();
                Some(if open {
                    Reading::Open
                } else {
                    Reading::Ohms(Ohms::new((shown / step).round() * step))
                })
            }
            Prediction::Volts(_) => {
                // A machine that never settles shows something between its rounds.
                let volts = shown.iter().filter_map(|one| match one {
                    Prediction::Volts(volts) => Some(*volts),
                    _ => None,
                });
                let mean = volts.clone().sum::<f64>() / volts.count().max(1) as f64;
                let shown = mean + self.error(measurement, mean, 0.01);
                Some(Reading::Volts(Volts::new((shown * 100.0).round() / 100.0)))
            }
        }
    }

    /// By how much the meter errs; what it rounds to its last digit is part of its uncertainty.
    fn error(&mut self, measurement: &Measurement, value: f64, step: f64) -> f64 {
        let most = (self.meter.uncertainty(measurement.kind(), value) - step / 2.0).max(0.0);
        self.chance.between(-most, most)
    }
}

/// How good the joints of one machine are: those of a kind alike, each kind anywhere in its range. What the definition
/// states stays.
fn joints(stated: &ResistanceOverrides, chance: &mut Chance) -> ResistanceOverrides {
    let mut draw = |stated: Option<Ohms>, usual: resistance::Default| {
        let drawn = Ohms::new(chance.between(usual.range.low.get(), usual.range.high.get()));
        stated.or(Some(drawn))
    };
    ResistanceOverrides {
        termination: draw(stated.termination, resistance::TERMINATION),
        contact: draw(stated.contact, resistance::CONTACT),
        splice: draw(stated.splice, resistance::SPLICE),
        bond: draw(stated.bond, resistance::BOND),
        fuse: draw(stated.fuse, resistance::FUSE),
        switch: draw(stated.switch, resistance::SWITCH),
        relay: draw(stated.relay, resistance::RELAY),
    }
}

/// The machine as it was really built.
fn vary(harness: &Harness, chance: &mut Chance) -> Harness {
    let mut built = harness.clone();
    let mut off = |share: f64| 1.0 + chance.between(-share, share);
    let mut wires = Table::default();
    for wire in harness.wires.values() {
        let mut wire = wire.clone();
        wire.length = wire.length.map(|length| Metres::new(length.get() * off(0.05)));
        wires.push(wire);
    }
    built.wires = wires;
    let mut parts = Table::default();
    for part in harness.parts.values() {
        let mut part = part.clone();
        let by = |value: &mut Ohms, factor: f64| *value = Ohms::new(value.get() * factor);
        match &mut part.kind {
            PartKind::Battery { volts, internal, .. } => {
                *volts = Volts::new(volts.get() * (off(0.035) - 0.015));
                by(internal, off(0.3));
            }
            PartKind::Alternator { volts, internal, .. } => {
                *volts = Volts::new(volts.get() * off(0.01));
                by(internal, off(0.3));
            }
            PartKind::Relay { coil_ohms, .. } => by(coil_ohms, off(0.1)),
            PartKind::Load { ohms, cold_ohms, .. } => {
                let factor = off(0.1);
                by(ohms, factor);
                if let Some(cold) = cold_ohms {
                    by(cold, factor);
                }
            }
            _ => {}
        }
        parts.push(part);
    }
    built.parts = parts;
    built
}
