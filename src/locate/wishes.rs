//! What the person at the machine says of it: where it stands, and which readings are out of reach.
//!
//! Comes in: the state the machine was left in, and readings that are not to be proposed. Goes out: nothing; the choice of
//! the next reading keeps to it. Why: the last reading that counts is not always the last thing that was done, and a
//! reading nobody can take is no advice. What is out of reach is still told apart: the groups do not grow by it.

use crate::definition::{Point, StationId};
use crate::measure::Measurement;
use crate::setup::Setup;

/// A reading that is not to be proposed.
#[derive(Debug, Clone, PartialEq)]
pub enum Avoid {
    /// This reading in its setup.
    Reading(Measurement),
    /// These probes in any setup, whichever is which.
    Probes(Point, Point),
    /// Every reading at this point.
    At(Point),
}

impl Avoid {
    /// Whether it speaks against a reading.
    pub fn forbids(&self, measurement: &Measurement) -> bool {
        let both = |red: Point, black: Point| {
            let probes = [measurement.red(), measurement.black()];
            probes == [red, black] || probes == [black, red]
        };
        match self {
            Self::Reading(other) => both(other.red(), other.black()) && other.setup() == measurement.setup(),
            Self::Probes(red, black) => both(*red, *black),
            Self::At(point) => both(*point, measurement.black()) || both(measurement.red(), *point),
        }
    }
}

/// What is to be kept to.
#[derive(Debug, Clone, Copy, Default)]
pub struct Wishes<'a> {
    /// The state the machine is in; the last reading's where there is none.
    pub stand: Option<&'a Setup>,
    /// The station the person is at; the last reading's where `stand` is none.
    pub station: Option<StationId>,
    /// Readings that are not to be proposed.
    pub avoid: &'a [Avoid],
    /// Whether the answer keeps the problem that the next reading was chosen from.
    pub keep: bool,
}
