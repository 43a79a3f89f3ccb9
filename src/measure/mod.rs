//! Measurements: what is read, whether it may be read, and what a healthy machine must show.
//!
//! Comes in: a setup, a kind of reading and two points. Goes out: a measurement that is safe and
//! possible, or the reason why it is not; the interval in which a healthy machine must read; what a
//! changed machine would read. Why: a [`Measurement`] cannot be made unless the rules hold, so a plan
//! that consists of measurements cannot ask for ohms on a live machine.

mod expect;
mod explain;
pub mod isolation;
mod meter;
mod reading;
mod reason;
mod situation;
mod stress;

pub use expect::{Bar, Expectation};
pub use explain::Explainer;
pub use meter::{METERS, Meter, OPEN_FROM, Output, Range, Shows, UnknownMeter};
pub use reading::{Reading, ReadingError};
pub use reason::{Reason, Reasons, Share, Term};
pub use situation::{Prediction, Situation};
pub use stress::Stress;

use std::sync::Arc;

use crate::definition::{Harness, Kind, PartId, Point};
use crate::setup::{Power, Setup, hazard_at};

/// A reading that may be taken: safe, and within reach of the probes.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Measurement {
    kind: Kind,
    red: Point,
    black: Point,
    /// One for all measurements of a situation: a large machine has many plugs, and many readings.
    setup: Arc<Setup>,
}

/// Why a reading must not or cannot be taken.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// Ohms on a machine that is not isolated.
    #[error("{kind} is measured with power isolated only: the meter would be damaged, and so might a person")]
    PowerOn {
        /// What was to be measured.
        kind: &'static str,
    },
    /// A drop without current.
    #[error("a drop needs power connected: without current there is none")]
    PowerOff,
    /// Both probes on one point.
    #[error("both probes are at {0}")]
    SamePoint(String),
    /// A probe cannot get there.
    #[error("{point} cannot be probed: {why}")]
    OutOfReach {
        /// The point.
        point: String,
        /// Why, and what would help.
        why: String,
    },
    /// A restraint or other circuit that an ordinary meter must not touch.
    #[error("{what} is marked as a hazard ({hazard}): it is never probed with an ordinary meter")]
    Hazard {
        /// What is marked.
        what: String,
        /// The mark.
        hazard: String,
    },
    /// A resistance test into a unit.
    #[error(
        "the reading goes into unit {unit}, whose inside is not known and may not bear the test: unplug it first"
    )]
    IntoUnit {
        /// The unit.
        unit: String,
    },
}

impl Measurement {
    /// A reading, if it may be taken; [`Situation::measure`] adds what only the solved network shows.
    fn new(
        harness: &Harness,
        kind: Kind,
        red: Point,
        black: Point,
        setup: &Arc<Setup>,
    ) -> Result<Self, Refusal> {
        if kind.is_resistance() && setup.power() == Power::Connected {
            return Err(Refusal::PowerOn { kind: kind.word() });
        }
        if kind == Kind::Drop && setup.power() == Power::Isolated {
            return Err(Refusal::PowerOff);
        }
        if red == black {
            return Err(Refusal::SamePoint(harness.point_name(red)));
        }
        for point in [red, black] {
            within_reach(harness, setup, point)?;
            no_hazard(harness, point)?;
            if kind.is_resistance()
                && let Some(unit) = harness.unit_behind(point)
            {
                return Err(Refusal::IntoUnit { unit: harness.parts[unit].id.clone() });
            }
        }
        Ok(Self { kind, red, black, setup: Arc::clone(setup) })
    }

    /// What is read.
    pub fn kind(&self) -> Kind {
        self.kind
    }

    /// The red probe.
    pub fn red(&self) -> Point {
        self.red
    }

    /// The black probe.
    pub fn black(&self) -> Point {
        self.black
    }

    /// The machine's state while it is read.
    pub fn setup(&self) -> &Setup {
        &self.setup
    }

    /// In words: "continuity from P1.K to XB2.3".
    pub fn words(&self, harness: &Harness) -> String {
        let [red, black] = [self.red, self.black].map(|p| harness.point_name(p));
        let between = if self.kind.is_resistance() { "to" } else { "against" };
        format!("{} {red} {between} {black}", self.kind.word())
    }
}

fn within_reach(harness: &Harness, setup: &Setup, point: Point) -> Result<(), Refusal> {
    if setup.can_probe(harness, point) {
        return Ok(());
    }
    let why = match point {
        Point::Splice(_) => "a splice lies under its sleeve".to_owned(),
        Point::Contact(id) => {
            let connector = &harness.connectors[harness.contacts[id].connector];
            format!("{} is plugged in and cannot be probed from the wire side; unplug it", connector.id)
        }
        _ => "it is not within reach".to_owned(),
    };
    Err(Refusal::OutOfReach { point: harness.point_name(point), why })
}

/// A hazard mark on a connector, on a wire that ends at the point, or on a part that attaches to it.
fn no_hazard(harness: &Harness, point: Point) -> Result<(), Refusal> {
    match hazard_at(harness, point) {
        Some((what, hazard)) => Err(Refusal::Hazard { what, hazard: hazard.to_owned() }),
        None => Ok(()),
    }
}

/// The unit that a contact sits on, if the contact is still mated to the harness.
fn connected_unit(harness: &Harness, point: Point, setup: &Setup) -> Option<PartId> {
    let unit = harness.unit_behind(point)?;
    let Point::Contact(id) = point else { return None };
    let mating = harness.connectors[harness.contacts[id].connector].mating;
    mating.is_none_or(|mating| !setup.is_parted(mating)).then_some(unit)
}
