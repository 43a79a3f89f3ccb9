//! How far along a wire a short lies.
//!
//! The loop from the probes out to the short and back has the resistance of that much wire (the loop test
//! of cable work, without its bridge). A plain meter errs by some counts of a tenth of an ohm, which is
//! metres of thin wire and tens of metres of thick: so a distance is given only where its error is less
//! than a quarter of the wire.

use super::Judged;
use crate::conductor::ohms_per_metre_ideal;
use crate::definition::{Harness, Kind, Point, WireId};
use crate::fault::Fault;
use crate::measure::Reading;
use crate::units::Metres;

/// The largest error worth telling, as a share of the wire.
const WORTH: f64 = 0.25;

/// Where a short lies along a wire.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Distance {
    /// The end it is counted from.
    pub from: Point,
    /// How far from there, along the wire.
    pub at: Metres,
    /// The error of that, either way.
    pub plus_minus: Metres,
}

/// The distance to a short, from the readings in ohms across it: that with the least error.
pub(super) fn to(harness: &Harness, fault: Fault, judged: &[Judged]) -> Option<Distance> {
    let (wire, other) = match fault {
        Fault::Short(a, b) => (a, Some(b)),
        Fault::ToChassis(a) => (a, None),
        _ => return None,
    };
    let found = judged.iter().filter_map(|reading| from_reading(harness, wire, other, reading));
    found.min_by(|a, b| a.plus_minus.get().total_cmp(&b.plus_minus.get()))
}

fn from_reading(
    harness: &Harness,
    wire: WireId,
    other: Option<WireId>,
    reading: &Judged,
) -> Option<Distance> {
    let Reading::Ohms(ohms) = reading.value else { return None };
    let probes = [reading.measurement.red(), reading.measurement.black()];
    let from = *probes.iter().find(|p| harness.wires[wire].ends.contains(p))?;
    let far = *probes.iter().find(|p| **p != from)?;
    let loop_closes = match other {
        Some(other) => {
            harness.wires[other].ends.contains(&far) && harness.station_of(far) == harness.station_of(from)
        }
        None => far == Point::Chassis || matches!(far, Point::Terminal(id) if harness.terminals[id].ground),
    };
    let per_metre = |wire: WireId| {
        let gauge = harness.wires[wire].gauge?;
        Some(ohms_per_metre_ideal(gauge).per(Metres::new(1.0)).get())
    };
    let both = per_metre(wire)? + other.map_or(Some(0.0), per_metre)?;
    let length = harness.wires[wire].length?.get();
    let metres = |ohms: f64| Metres::new(ohms / both);
    let plus_minus = metres(reading.expect.meter.uncertainty(Kind::Continuity, ohms.get()));
    let near_enough =
        plus_minus.get() <= WORTH * length && metres(ohms.get()).get() <= length + plus_minus.get();
    (loop_closes && near_enough).then(|| Distance {
        from,
        at: metres(ohms.get().min(length * both)),
        plus_minus,
    })
}
