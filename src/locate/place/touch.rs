//! How far along a wire a touch lies, from plain readings of resistance through it.
//!
//! From one end, the loop from the probes out to the touch and back has the resistance of that much wire. A
//! plain meter errs by some counts of a tenth of an ohm, which is metres of thin wire and tens of metres of
//! thick: so a distance is given only where its error is less than a quarter of the wire. Read from both
//! ends, the touch's own resistance and the leads fall out.

use super::super::Judged;
use super::{Distance, distance, formula, line::Line};
use crate::conductor::ohms_per_metre_ideal;
use crate::definition::{Harness, Kind, Point, WireId};
use crate::fault::Fault;
use crate::measure::Reading;
use crate::record::is_frame;
use crate::units::{Metres, Ohms};

/// The largest error worth telling, as a share of the wire.
const WORTH: f64 = 0.25;

/// A reading through a touch.
#[derive(Clone, Copy)]
struct Through {
    /// Which end of the wire the probe is at.
    side: usize,
    ohms: f64,
    /// By how much that may be off.
    give: f64,
}

/// The distance to a touch, from the readings in ohms through it: from both ends where there are such, else
/// from the one with the least error.
pub(super) fn to(harness: &Harness, fault: Fault, judged: &[Judged]) -> Option<Distance> {
    let (wire, other) = match fault {
        Fault::Short(a, b) => (a, Some(b)),
        Fault::ToChassis(a) => (a, None),
        _ => return None,
    };
    let through: Vec<Through> =
        judged.iter().filter_map(|reading| from_reading(harness, wire, other, reading)).collect();
    let line = Line::new(harness, harness.wires[wire].ends[0], &[wire]).ok()?;
    let per_metre = |wire: WireId| {
        let gauge = harness.wires[wire].gauge?;
        Some(ohms_per_metre_ideal(gauge).per(Metres::new(1.0)).get())
    };
    let both = per_metre(wire)? + other.map_or(Some(0.0), per_metre)?;
    let least = |side: usize| {
        let here = through.iter().copied().filter(|reading| reading.side == side);
        here.min_by(|a, b| a.give.total_cmp(&b.give))
    };
    let length = line.length();
    let (at, give) = match (least(0), least(1)) {
        (Some(near), Some(far)) => {
            let whole = Ohms::new(length * both);
            let ohms = formula::both_ends(Ohms::new(near.ohms), Ohms::new(far.ohms), whole).get();
            (ohms / both, f64::midpoint(near.give, far.give) / both)
        }
        (Some(near), None) => (near.ohms / both, near.give / both),
        (None, Some(far)) => (length - far.ohms / both, far.give / both),
        (None, None) => return None,
    };
    let outside = at < -give || at > length + give;
    let worth = give <= WORTH * length && !outside;
    worth.then(|| distance(harness, &line, at, [give / 2.0; 2]))
}

fn from_reading(harness: &Harness, wire: WireId, other: Option<WireId>, reading: &Judged) -> Option<Through> {
    let Reading::Ohms(ohms) = reading.value else { return None };
    let probes = [reading.measurement.red(), reading.measurement.black()];
    let ends = harness.wires[wire].ends;
    let from = *probes.iter().find(|p| ends.contains(p))?;
    let far: Point = *probes.iter().find(|p| **p != from)?;
    let loop_closes = match other {
        Some(other) => {
            harness.wires[other].ends.contains(&far) && harness.station_of(far) == harness.station_of(from)
        }
        None => is_frame(harness, far),
    };
    let side = usize::from(ends[1] == from);
    let ohms = ohms.get();
    let give = reading.expect.meter.uncertainty(Kind::Continuity, ohms);
    loop_closes.then_some(Through { side, ohms, give })
}
