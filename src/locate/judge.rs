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

/// The meter that an entry was read with: the default where it names none, and a plain one, with a note,
/// where it names one that is not known (records may name the instrument itself) or that cannot read this.
pub fn meter_of(entry: &Entry, default: &Meter) -> (Meter, Option<String>) {
    let Some(name) = &entry.meter else { return (*default, None) };
    match Meter::parse(name) {
        Err(_) => {
            let note = format!("meter `{name}` is not a known kind: judged as a {}", Meter::HANDHELD.title);
            (Meter::HANDHELD, Some(note))
        }
        // A tone between what should be apart tells something all the same.
        Ok(meter) if meter.can(entry.kind) || (meter.is_tone_only() && entry.kind.is_resistance()) => {
            (meter, None)
        }
        Ok(meter) => {
            let (title, kind) = (meter.title, entry.kind.word());
            let note = format!("a {title} does not read {kind}: judged as a {}", Meter::HANDHELD.title);
            (Meter::HANDHELD, Some(note))
        }
    }
}

/// Notes on the meters that a record names, each with the readings it is about.
pub(super) fn notes(entries: &[Entry]) -> Vec<String> {
    let mut notes: Vec<(String, Vec<String>)> = Vec::new();
    for entry in entries {
        let (_, Some(note)) = meter_of(entry, &Meter::HANDHELD) else { continue };
        match notes.iter_mut().find(|(known, _)| *known == note) {
            Some((_, names)) => names.push(entry.name()),
            None => notes.push((note, vec![entry.name()])),
        }
    }
    notes.into_iter().map(|(note, names)| format!("{}: {note}", names.join(", "))).collect()
}

/// Judges every entry of a record, each with its own meter.
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
                let expect = situation.explain(&measurement, &meter_of(entry, meter).0);
                let good =
                    [Some(entry.value), entry.min, entry.max].into_iter().flatten().all(|v| expect.admits(v));
                judged.push(Judged { name: entry.name(), measurement, value: entry.value, expect, good });
            }
        }
    }
    (judged, left)
}
