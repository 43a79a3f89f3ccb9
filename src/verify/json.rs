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
    /// The machine before the first phase; as found where nothing is said.
    #[serde(default)]
    pub(super) start: Option<Setup>,
    #[serde(default)]
    pub(super) complaint: Option<Complaint>,
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

/// The state of a machine.
#[derive(Debug, Clone, Deserialize)]
#[serde(expecting = "a setup: an object with `power`, `unplugged`, `set` and `conditions`")]
pub(super) struct Setup {
    pub(super) power: String,
    pub(super) unplugged: Vec<String>,
    pub(super) set: BTreeMap<String, String>,
    pub(super) conditions: Vec<String>,
    #[serde(default)]
    pub(super) strapped: Vec<Vec<String>>,
    #[serde(default)]
    pub(super) capped: Vec<String>,
}

/// What a plan for a complaint says beside its phases.
#[derive(Debug, Deserialize)]
#[serde(expecting = "a complaint: an object with `hypotheses`, `ends` and `effort`")]
pub(super) struct Complaint {
    pub(super) hypotheses: Vec<Hypothesis>,
    pub(super) ends: Vec<End>,
    pub(super) effort: Effort,
}

/// A fault with which the part would not work.
#[derive(Debug, Deserialize)]
#[serde(expecting = "a hypothesis: an object with `fault` and `share`")]
pub(super) struct Hypothesis {
    pub(super) fault: String,
    pub(super) share: f64,
}

/// Where the steps end.
#[derive(Debug, Deserialize)]
#[serde(expecting = "an end: an object with `end`, `share`, `faults` and `todo`")]
pub(super) struct End {
    /// Its place among the ends, from 1.
    #[serde(rename = "end")]
    pub(super) number: usize,
    pub(super) share: f64,
    pub(super) faults: Vec<String>,
    pub(super) todo: Vec<String>,
}

/// How many readings the steps take until they end.
#[derive(Debug, Deserialize)]
#[serde(expecting = "an object with `readings` and `most_readings`")]
pub(super) struct Effort {
    pub(super) readings: f64,
    pub(super) most_readings: f64,
}

/// What a reading can show, and what then.
#[derive(Debug, Deserialize)]
#[serde(expecting = "an outcome: an object with `shows`, `share`, `accuses`, `next`, `changes` and `end`")]
pub(super) struct Outcome {
    pub(super) shows: String,
    pub(super) share: f64,
    pub(super) accuses: Vec<String>,
    #[serde(default)]
    pub(super) next: Option<String>,
    pub(super) changes: Vec<Change>,
    #[serde(default)]
    pub(super) end: Option<usize>,
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
    #[serde(default)]
    pub(super) strapped: Vec<Vec<String>>,
    #[serde(default)]
    pub(super) capped: Vec<String>,
    pub(super) changes: Vec<Change>,
    pub(super) cautions: Vec<String>,
    pub(super) live: Vec<Live>,
    pub(super) steps: Vec<Step>,
}

impl Phase {
    /// What it says of the machine.
    pub(super) fn setup(&self) -> Setup {
        Setup {
            power: self.power.clone(),
            unplugged: self.unplugged.clone(),
            set: self.set.clone(),
            conditions: self.conditions.clone(),
            strapped: self.strapped.clone(),
            capped: self.capped.clone(),
        }
    }
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
    /// Where the next step hangs on what this one shows.
    #[serde(default)]
    pub(super) outcomes: Vec<Outcome>,
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
    ("action", "take off, put on, unplug, plug in, set, bring about, end, fit, change, cap, uncap or go to"),
    (
        "target",
        "what it is done to: \"BAT1 negative\", \"P1\", \"S1 to run\", \"strap P1.A+P1.B\", a condition or a station",
    ),
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
    ("hypotheses", "the faults with which the part would not work, each with `fault` and `share`"),
    ("ends", "where the steps end, each with `end`, `share`, `faults` and `todo`"),
    ("shows", "lower, good, higher or open"),
    ("share", "how likely it is: a number from 0 to 1"),
    ("accuses", "the ids of the faults that are left, or []"),
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
