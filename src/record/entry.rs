//! The text of an entry to append.

use std::collections::BTreeMap;

use serde::Serialize;

/// An entry in names, as it is written. Build it from names that the harness knows; what it says is
/// checked by reading it back.
#[derive(Debug, Clone, Default, Serialize)]
pub struct NewEntry {
    /// When it was taken.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<toml::value::Datetime>,
    /// The plan's step.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub step: Option<String>,
    /// What was read.
    pub kind: String,
    /// Red probe.
    pub red: String,
    /// Black probe.
    pub black: String,
    /// `isolated` or `connected`.
    pub power: String,
    /// Connectors that were unplugged.
    pub unplugged: Vec<String>,
    /// Conditions that held.
    pub conditions: Vec<String>,
    /// What the meter showed.
    pub value: String,
    /// The least it showed while something was moved.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub min: Option<String>,
    /// The most it showed while something was moved.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max: Option<String>,
    /// What was moved, heated or cooled.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub disturbed: Option<String>,
    /// The meter.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub meter: Option<String>,
    /// Who took it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// Remarks.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// Switches that were not at rest; written in one line.
    #[serde(skip)]
    pub set: BTreeMap<String, String>,
}

#[derive(Serialize)]
struct Tail<'a> {
    reading: [&'a NewEntry; 1],
}

impl NewEntry {
    /// The entry as it stands in a record, from its header to its last line break.
    ///
    /// # Errors
    /// None in practice: texts, lists and times can all be written.
    pub fn text(&self) -> Result<String, toml::ser::Error> {
        let mut text = toml::to_string(&Tail { reading: [self] })?;
        if !self.set.is_empty() {
            let set = self.set.iter().map(|(k, v)| (k.clone(), toml::Value::String(v.clone())));
            text.push_str(&format!("set = {}\n", toml::Value::Table(set.collect())));
        }
        Ok(text)
    }
}
