//! Good or bad: each reading against what a healthy machine must show.

use std::collections::BTreeMap;

use crate::measure::{Expectation, Measurement, Meter, Reading, Situation};
use crate::record::Entry;
use crate::setup::Setup;

/// A reading with its verdict.
#[derive(Debug, Clone)]
pub struct Judged {
    /// How reports refer to it.
    pub name: String,
    /// What was read.
    pub measurement: Measurement,
    /// What the meter showed.
    pub value: Reading,
    /// What a healthy machine shows.
    pub expect: Expectation,
    /// Whether the reading lies within that.
    pub good: bool,
}

/// A reading that could not be judged.
#[derive(Debug, Clone)]
pub struct Left {
    /// How reports refer to it.
    pub name: String,
    /// Why not.
    pub why: String,
}

/// Judges every entry of a record.
pub(super) fn judge(
    situations: &BTreeMap<Setup, Situation<'_>>,
    entries: &[Entry],
    meter: &Meter,
) -> (Vec<Judged>, Vec<Left>) {
    let mut judged = Vec::new();
    let mut left = Vec::new();
    for entry in entries {
        let Some(situation) = situations.get(&entry.setup) else { continue };
        match situation.measure(entry.kind, entry.red, entry.black) {
            Err(refusal) => left.push(Left { name: entry.name(), why: refusal.to_string() }),
            Ok(measurement) => {
                let expect = situation.expect(&measurement, meter);
                let good =
                    [Some(entry.value), entry.min, entry.max].into_iter().flatten().all(|v| expect.admits(v));
                judged.push(Judged { name: entry.name(), measurement, value: entry.value, expect, good });
            }
        }
    }
    (judged, left)
}
