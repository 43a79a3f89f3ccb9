//! The text of an entry to append.
//!
//! One key a line, texts never over several lines, the value last: so wherever a writer is cut off, what is
//! there tells whether it is whole.

use std::collections::BTreeMap;

use toml_writer::{ToTomlKey, ToTomlValue, TomlKeyBuilder, TomlStringBuilder};

/// An entry in names, as it is written. Build it from names that the harness knows; what it says is
/// checked by reading it back.
#[derive(Debug, Clone, Default)]
pub struct NewEntry {
    /// When it was taken.
    pub at: Option<toml::value::Datetime>,
    /// The plan's step.
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
    /// Switches that were not at rest.
    pub set: BTreeMap<String, String>,
    /// Conditions that held.
    pub conditions: Vec<String>,
    /// Straps that were fitted, each as the points it joined.
    pub strapped: Vec<Vec<String>>,
    /// What the meter showed.
    pub value: String,
    /// The least it showed while something was moved.
    pub min: Option<String>,
    /// The most it showed while something was moved.
    pub max: Option<String>,
    /// What was moved, heated or cooled.
    pub disturbed: Option<String>,
    /// The meter.
    pub meter: Option<String>,
    /// Who took it.
    pub by: Option<String>,
    /// Remarks.
    pub note: Option<String>,
}

impl NewEntry {
    /// The entry as it stands in a record, from its header to its last line break.
    pub fn text(&self) -> String {
        self.text_with(Vec::new())
    }

    /// The same with more keys, each with what stands behind it, before the value.
    pub(super) fn text_with(&self, more: Vec<(&'static str, String)>) -> String {
        let mut text = "[[reading]]\n".to_owned();
        let mut lines = self.lines();
        let value = lines.split_off(lines.len() - 1);
        for (key, value) in lines.into_iter().chain(more).chain(value) {
            // Writing to a string cannot fail.
            text.push_str(&format!("{key} = {value}\n"));
        }
        text
    }

    /// Each key with what stands behind it, in order; the value is the last.
    fn lines(&self) -> Vec<(&'static str, String)> {
        let maybe = |key, text: &Option<String>| text.as_deref().map(|text| (key, quoted(text)));
        let set = self
            .set
            .iter()
            .map(|(k, v)| format!("{} = {}", TomlKeyBuilder::new(k).as_default().to_toml_key(), quoted(v)));
        let set: Vec<String> = set.collect();
        let mut lines: Vec<_> = self.at.iter().map(|at| ("at", at.to_string())).collect();
        lines.extend(maybe("step", &self.step));
        lines.extend([
            ("kind", quoted(&self.kind)),
            ("red", quoted(&self.red)),
            ("black", quoted(&self.black)),
            ("power", quoted(&self.power)),
            ("unplugged", list(&self.unplugged)),
        ]);
        lines.extend((!set.is_empty()).then(|| ("set", format!("{{ {} }}", set.join(", ")))));
        lines.push(("conditions", list(&self.conditions)));
        if !self.strapped.is_empty() {
            let straps: Vec<String> = self.strapped.iter().map(|strap| list(strap)).collect();
            lines.push(("strapped", format!("[{}]", straps.join(", "))));
        }
        lines.extend(maybe("min", &self.min));
        lines.extend(maybe("max", &self.max));
        lines.extend(maybe("disturbed", &self.disturbed));
        lines.extend(maybe("meter", &self.meter));
        lines.extend(maybe("by", &self.by));
        lines.extend(maybe("note", &self.note));
        lines.push(("value", quoted(&self.value)));
        lines
    }
}

pub(super) fn list(names: &[String]) -> String {
    let quoted: Vec<String> = names.iter().map(|name| quoted(name)).collect();
    format!("[{}]", quoted.join(", "))
}

/// A text in TOML's basic form, on one line whatever is in it.
pub(super) fn quoted(text: &str) -> String {
    TomlStringBuilder::new(text).as_basic().to_toml_value()
}
