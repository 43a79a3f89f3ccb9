//! A plan's JSON as it is written: the keys that a checker needs, and what to write where one is wrong.
//!
//! Comes in: text. Goes out: typed values in which every name is still text, or the line, the column and what to
//! write instead. Why: a plan may have been edited by hand. Keys that are not listed here are left alone.

use std::collections::BTreeMap;

use serde::{Deserialize, Deserializer};

use super::NotAPlan;

/// A plan.
#[derive(Debug, Deserialize)]
#[serde(expecting = "a plan: an object with `harness`, `phases`, `coverage` and `cost`")]
pub(super) struct Plan {
    pub(super) harness: Stamp,
    /// Names of the meters at hand.
    #[serde(default)]
    pub(super) meter: Option<String>,
    #[serde(default)]
    pub(super) cautions: Vec<String>,
    pub(super) phases: Vec<Phase>,
    #[serde(default)]
    pub(super) left_out: Vec<LeftOut>,
    #[serde(default)]
    pub(super) function_check: Vec<String>,
    pub(super) coverage: Coverage,
    pub(super) cost: Cost,
}

/// Which definition it is of.
#[derive(Debug, Clone, Deserialize)]
#[serde(expecting = "an object with `id`, `revision` and `hash`")]
pub(super) struct Stamp {
    pub(super) id: String,
    pub(super) revision: String,
    #[serde(default)]
    pub(super) variant: Option<String>,
    pub(super) hash: String,
}

/// All steps in one setup.
#[derive(Debug, Deserialize)]
#[serde(expecting = "a phase: an object with `id`, `power`, `changes`, `steps` and so on")]
pub(super) struct Phase {
    pub(super) id: String,
    pub(super) power: String,
    pub(super) unplugged: Vec<String>,
    pub(super) set: BTreeMap<String, String>,
    pub(super) conditions: Vec<String>,
    pub(super) changes: Vec<Change>,
    pub(super) cautions: Vec<String>,
    pub(super) live: Vec<Live>,
    pub(super) steps: Vec<Step>,
}

/// One thing to do.
#[derive(Debug, Deserialize)]
#[serde(expecting = "a change: an object with `action`, `target` and `seconds`")]
pub(super) struct Change {
    pub(super) action: String,
    pub(super) target: String,
    pub(super) seconds: f64,
}

/// A live contact.
#[derive(Debug, Deserialize)]
#[serde(expecting = "a live contact: an object with `contact` and `volts`")]
pub(super) struct Live {
    pub(super) contact: String,
    pub(super) volts: f64,
}

/// One reading.
#[derive(Debug, Deserialize)]
#[serde(expecting = "a step: an object with `id`, `kind`, `red`, `black`, `expect` and `covers`")]
pub(super) struct Step {
    pub(super) id: String,
    pub(super) kind: String,
    pub(super) red: String,
    pub(super) black: String,
    #[serde(default)]
    pub(super) station: String,
    #[serde(default)]
    pub(super) meter: Option<String>,
    pub(super) expect: Expect,
    pub(super) covers: Vec<String>,
}

/// What a sound machine shows.
#[derive(Debug, Deserialize)]
#[serde(expecting = "an interval: an object with `low`, `high` and `unit`")]
pub(super) struct Expect {
    #[serde(deserialize_with = "number_or_null")]
    pub(super) low: Option<f64>,
    #[serde(deserialize_with = "number_or_null")]
    pub(super) high: Option<f64>,
    pub(super) unit: String,
}

/// A reading that no meter at hand may serve.
#[derive(Debug, Deserialize)]
#[serde(expecting = "an object with `id` and `why`")]
pub(super) struct LeftOut {
    pub(super) id: String,
    pub(super) why: String,
}

/// What is said to be shown.
#[derive(Debug, Deserialize)]
#[serde(expecting = "an object with `faults`, `detected` and `undetected`")]
pub(super) struct Coverage {
    pub(super) faults: usize,
    pub(super) detected: usize,
    pub(super) undetected: Vec<Undetected>,
}

/// A fault that no step shows.
#[derive(Debug, Deserialize)]
#[serde(expecting = "an object with `fault` and `why`")]
pub(super) struct Undetected {
    pub(super) fault: String,
    pub(super) why: String,
}

/// What it costs.
#[derive(Debug, Deserialize)]
#[serde(expecting = "an object with `steps`, `changes`, `seconds` and the bound of each")]
pub(super) struct Cost {
    pub(super) steps: usize,
    pub(super) steps_bound: usize,
    pub(super) changes: usize,
    pub(super) changes_bound: usize,
    pub(super) seconds: f64,
    pub(super) seconds_bound: f64,
}

/// The key has to be there: a limit that was lost is not the same as none.
fn number_or_null<'de, D: Deserializer<'de>>(from: D) -> Result<Option<f64>, D::Error> {
    Option::deserialize(from)
}

/// What to write for keys that are not there.
const KEYS: &[(&str, &str)] = &[
    ("harness", "which definition the plan is of: { \"id\": …, \"revision\": …, \"hash\": … }"),
    ("hash", "the SHA-256 of the definition, as `ringout plan --format json` prints it"),
    ("phases", "the list of phases"),
    ("power", "\"isolated\" or \"connected\""),
    ("unplugged", "the connectors that are off, or []"),
    ("set", "the switches that are not at rest, such as { \"S1\": \"run\" }, or {}"),
    ("conditions", "the ids of the conditions that hold, or []"),
    ("changes", "what brings the setup about, or []"),
    ("action", "take off, put on, unplug, plug in, set, bring about, end or go to"),
    ("target", "what it is done to: \"BAT1 negative\", \"P1\", \"S1 to run\", a condition or a station"),
    ("seconds", "how long it takes: a number"),
    ("cautions", "the cautions of the phase, or []"),
    ("live", "the exposed contacts that are live, or []"),
    ("contact", "the contact: \"P1.A\""),
    ("volts", "its voltage against the chassis: a number"),
    ("steps", "the readings, or in `cost` their number"),
    ("kind", "continuity, isolation, voltage or drop"),
    ("red", "where the red probe goes: \"P1.K\""),
    ("black", "where the black probe goes: \"chassis\""),
    ("expect", "what a sound machine shows: { \"low\": 0, \"high\": 0.6, \"unit\": \"ohm\" }"),
    ("low", "the least a sound machine shows, or null"),
    ("high", "the most a sound machine shows, or null where any higher reading is good"),
    ("unit", "\"ohm\" or \"volt\""),
    ("covers", "the ids of the faults that the reading shows, or []"),
    ("why", "the reason, in words"),
    ("undetected", "the faults that no step shows, each with `fault` and `why`, or []"),
];

impl Plan {
    /// Reads a plan.
    ///
    /// # Errors
    /// Where it is none, and what to write there.
    pub(super) fn read(text: &str) -> Result<Self, NotAPlan> {
        serde_json::from_str(text).map_err(|error| {
            let place = format!("line {}, column {}", error.line(), error.column());
            let words = error.to_string();
            let what = words.rsplit_once(" at line ").map_or(words.as_str(), |(what, _)| what).to_owned();
            NotAPlan { place, help: help(&what), what }
        })
    }
}

/// What to write instead.
fn help(what: &str) -> String {
    let missing = what.strip_prefix("missing field `").and_then(|rest| rest.split('`').next());
    let known = missing.and_then(|key| KEYS.iter().find(|(known, _)| *known == key));
    match (missing, known) {
        (Some(_), Some((_, help))) => format!("it holds {help}"),
        (Some(_), None) => "every plan that `ringout plan --format json` prints has it".to_owned(),
        _ if what.starts_with("invalid") => "write what is expected there".to_owned(),
        _ => "write it as JSON, as `ringout plan --format json` prints it".to_owned(),
    }
}
