//! The log of repairs: what was found, by which readings, and what was done.
//!
//! Comes in: a repair that was applied, the record that led to it, and what people say of it. Goes out: the text of an
//! entry to append; or the entries of a log that is read. Why: the next person who opens the loom must find out what was
//! done, why, and what it was proven with. The log is append-only, as a record is: an entry is never changed; one of kind
//! `undo` says that an earlier one does not hold any more. Writing is the caller's business.

use serde::{Deserialize, Serialize};

use super::audit::Finding;
use super::edit::Edited;
use super::work::TouchedNames;
use crate::definition::Harness;
use crate::locate::{Diagnosis, Group, Verdict};
use crate::measure::Expectation;

/// A definition's revision as an entry names it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Side {
    /// The revision.
    pub revision: String,
    /// SHA-256 of its files, as every output names it.
    pub hash: String,
    /// Its top file, from the folder of the log.
    pub file: String,
}

/// A reading as evidence.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Evidence {
    /// Its number in the record.
    pub reading: String,
    /// What was read, in words.
    pub what: String,
    /// What the meter showed.
    pub value: String,
    /// What a healthy machine shows.
    pub healthy: String,
    /// Whether it was good.
    pub good: bool,
}

/// A rule's word on the repair.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Found {
    /// The rule.
    pub rule: String,
    /// What is wrong.
    pub message: String,
    /// Where the rule stands.
    pub source: String,
}

/// An entry of the log.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    /// Its id in the log: `REP1`.
    pub id: String,
    /// When.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<toml::value::Datetime>,
    /// Who did it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// The kind of repair, or `undo`.
    pub kind: String,
    /// What was found.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub found: Option<String>,
    /// What was done.
    pub done: String,
    /// The entry that an `undo` takes back.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub undoes: Option<String>,
    /// Why a rule that is never broken was broken.
    #[serde(rename = "override", skip_serializing_if = "Option::is_none")]
    pub approval: Option<String>,
    /// What was used.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub materials: Vec<String>,
    /// The record's file, from the folder of the log, where one was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub record: Option<String>,
    /// SHA-256 of the record's text as it was then.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub record_hash: Option<String>,
    /// The verdict on the record's readings.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub verdict: Option<String>,
    /// The first group of suspects.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub suspects: Vec<String>,
    /// The definition before.
    pub before: Side,
    /// The definition after.
    pub after: Side,
    /// Whether the top file was replaced: the old one is then kept as the file that `before` names.
    #[serde(default)]
    pub in_place: bool,
    /// What was touched, in names of the new revision.
    #[serde(default)]
    pub touched: TouchedNames,
    /// What the rules say.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub finding: Vec<Found>,
    /// The readings that led here.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub evidence: Vec<Evidence>,
}

#[derive(Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    format: Option<i64>,
    /// The machine that the log is of.
    #[serde(default)]
    harness: Option<String>,
    #[serde(default)]
    repair: Vec<Entry>,
}

/// A log that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LogError {
    /// It is not TOML, or not a log.
    #[error("{0}")]
    Text(String),
    /// It is of another machine.
    #[error("this log is of `{log}`, the definition is of `{harness}`")]
    OtherMachine {
        /// The log's machine.
        log: String,
        /// The definition's.
        harness: String,
    },
    /// Two entries have one id.
    #[error("two entries are called {0}")]
    Twice(String),
}

/// Reads a log of a machine.
///
/// # Errors
/// The text is not a log, or not of this machine.
pub fn read(harness_id: &str, text: &str) -> Result<Vec<Entry>, LogError> {
    let file: File =
        toml::from_str(text).map_err(|error| LogError::Text(error.to_string().trim_end().to_owned()))?;
    if file.format.is_some_and(|format| format != 1) {
        return Err(LogError::Text("unknown format: this program reads `format = 1`".to_owned()));
    }
    if let Some(log) = file.harness.filter(|id| id != harness_id) {
        return Err(LogError::OtherMachine { log, harness: harness_id.to_owned() });
    }
    for (at, entry) in file.repair.iter().enumerate() {
        if file.repair[..at].iter().any(|known| known.id == entry.id) {
            return Err(LogError::Twice(entry.id.clone()));
        }
    }
    Ok(file.repair)
}

/// How a new log begins.
pub fn head(harness_id: &str) -> String {
    format!("format = 1\nharness = {}\n", crate::definition::edit::quoted(harness_id))
}

/// The id of the next entry. Steps of a derivation are called R1, R2 and so on: a report holds both.
pub fn next_id(entries: &[Entry]) -> String {
    let number = |entry: &Entry| entry.id.strip_prefix("REP").and_then(|n| n.parse::<u64>().ok());
    format!("REP{}", entries.iter().filter_map(number).max().unwrap_or(0).saturating_add(1))
}

impl Entry {
    /// The entry as it stands in a log.
    ///
    /// # Errors
    /// Where it cannot be written as TOML, which its types rule out.
    pub fn text(&self) -> Result<String, toml::ser::Error> {
        let file = File { format: None, harness: None, repair: vec![self.clone()] };
        toml::to_string(&file)
    }

    /// Puts in what an edit says.
    pub fn set_edit(&mut self, edited: &Edited) {
        self.done.clone_from(&edited.words);
        self.touched.clone_from(&edited.touched);
        let found = |finding: &Finding| Found {
            rule: finding.rule.to_owned(),
            message: finding.message.clone(),
            source: finding.source.to_owned(),
        };
        self.finding = edited.findings.iter().map(found).collect();
    }

    /// Puts in what the readings say.
    pub fn set_evidence(&mut self, harness: &Harness, diagnosis: &Diagnosis) {
        let verdict = match diagnosis.verdict {
            Verdict::Located => "located",
            Verdict::Narrowed => "narrowed",
            Verdict::Healthy => "healthy",
            Verdict::Contradictory => "contradictory",
        };
        self.verdict = Some(verdict.to_owned());
        let first = |group: &Group| group.faults.iter().map(|fault| fault.id(harness)).collect();
        self.suspects = diagnosis.suspects.first().map(first).unwrap_or_default();
        let healthy = |expect: &Expectation| expect.words();
        self.evidence = diagnosis
            .judged
            .iter()
            .map(|judged| Evidence {
                reading: judged.name.clone(),
                what: judged.measurement.words(harness),
                value: judged.value.words(),
                healthy: healthy(&judged.expect),
                good: judged.good,
            })
            .collect();
    }
}
