//! `[prior]`: how likely faults are in this machine, where that differs from the usual.

use toml::de::DeValue;

use crate::definition::diagnostic::{At, Diagnostic, FileId, Place, Sink};
use crate::definition::reader::{Reader, Value};

/// The most and the least a weight can be: beyond these nothing else would count.
const RANGE: std::ops::RangeInclusive<f64> = 1e-6..=1e6;

/// Weights as they are written: sorts of faults, and under `times` things.
#[derive(Default)]
pub(in crate::definition) struct RawPrior {
    pub weights: Vec<(At<String>, f64)>,
    pub times: Vec<(At<String>, f64)>,
}

impl RawPrior {
    /// Adds what one file says.
    pub(super) fn read(&mut self, reader: &mut Reader<'_, '_>, file: FileId, sink: &Sink) {
        for (key, value) in reader.named("prior", "[prior]") {
            if key.value != "times" {
                self.weights.extend(weight(value, file, &key.value, sink).map(|weight| (key, weight)));
                continue;
            }
            let Some(things) = Reader::of_value(value, file, "[prior.times]", sink) else { continue };
            for (thing, value) in things.entries() {
                self.times.extend(weight(value, file, &thing.value, sink).map(|times| (thing, times)));
            }
        }
    }
}

/// A plain number: a weight is a ratio and has no unit.
fn weight(value: &Value<'_>, file: FileId, key: &str, sink: &Sink) -> Option<f64> {
    let number = match value.get_ref() {
        DeValue::Integer(number) => number.as_str().replace('_', "").parse::<f64>().ok(),
        DeValue::Float(number) => number.as_str().replace('_', "").parse::<f64>().ok(),
        _ => None,
    };
    if let Some(number) = number.filter(|number| RANGE.contains(number)) {
        return Some(number);
    }
    let message = format!("`{key}` needs a weight: a plain number from 0.000001 to 1000000");
    let help = format!("weights are ratios, so they have no unit: {key} = 2.5");
    sink.push(Diagnostic::error("prior", Place::new(file, value.span()), message).help(help));
    None
}
