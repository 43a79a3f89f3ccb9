//! The record: an append-only log of readings.
//!
//! Comes in: the text of a record, and a harness to understand its names. Goes out: readings, each of
//! which can be judged alone, with the plan that asked for it or without; and the text of an entry to
//! append. Why: what was measured outlives the session and the sheet it was measured from.
//!
//! A last entry that was cut off (a full disk, a flat battery) is reported and left out, never
//! silently dropped. Writing is the caller's business.
//!
//! Nothing is ever taken out. An entry of kind `withdrawal` says that an earlier one does not count: both stay in the
//! text, and the numbers of all others stay what they were.

pub mod chain;
mod entry;
pub mod place;
mod read;
mod read_place;
mod withdraw;

pub use entry::NewEntry;
pub use place::{NewPlace, PlaceKind, PlaceReading};
pub use read::{Record, head, mend, read};
pub(crate) use read_place::{far_end, is_frame};
pub use withdraw::{NewWithdrawal, WITHDRAWAL, Withdrawn};

use crate::definition::diagnostic::Place;
use crate::definition::{Kind, Point};
use crate::measure::Reading;
use crate::setup::Setup;

/// One reading of a record.
#[derive(Debug, Clone)]
pub struct Entry {
    /// Its number in the record, from 1.
    pub number: usize,
    /// When it was taken, as written.
    pub at: Option<String>,
    /// The plan's step, if one asked for it.
    pub step: Option<String>,
    /// What was read.
    pub kind: Kind,
    /// Red probe.
    pub red: Point,
    /// Black probe.
    pub black: Point,
    /// The machine's state.
    pub setup: Setup,
    /// What the meter showed.
    pub value: Reading,
    /// The least it showed while something was moved.
    pub min: Option<Reading>,
    /// The most it showed while something was moved.
    pub max: Option<Reading>,
    /// What was moved, heated or cooled.
    pub disturbed: Option<String>,
    /// The meter.
    pub meter: Option<String>,
    /// Who took it.
    pub by: Option<String>,
    /// Remarks.
    pub note: Option<String>,
    /// Where it stands in the record.
    pub place: Place,
}

impl Entry {
    /// How reports refer to it: by number, with the plan's step where one asked for it. A step may be
    /// read more than once, so the number is always there.
    pub fn name(&self) -> String {
        match &self.step {
            Some(step) => format!("#{} ({step})", self.number),
            None => format!("#{}", self.number),
        }
    }
}
