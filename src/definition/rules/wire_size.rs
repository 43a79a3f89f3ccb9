//! Wires of unknown length or gauge have no computed resistance.

use super::Rule;
use crate::definition::diagnostic::{Diagnostic, Severity, Sink};
use crate::definition::model::Harness;

pub(super) const RULE: Rule = Rule {
    name: "wire-size",
    severity: Severity::Warning,
    demands: "A wire has a length and a gauge.",
    why: "Without both, a reading can only be told open from closed: a damaged strand or a bad crimp hides.",
    check,
};

fn check(harness: &Harness, sink: &Sink) {
    for wire in harness.wires.values() {
        let (lacks, add) = match (wire.length, wire.gauge) {
            (Some(_), Some(_)) => continue,
            (None, Some(_)) => ("no length", "length = \"2.4 m\""),
            (Some(_), None) => ("no gauge", "gauge = \"1.5 mm2\""),
            (None, None) => ("neither length nor gauge", "length = \"2.4 m\" and gauge = \"1.5 mm2\""),
        };
        let message = format!("wire {} has {lacks}", wire.id);
        let help = format!("add {add}; a measured estimate beats nothing");
        sink.push(Diagnostic::warning(RULE.name, wire.place, message).help(help));
    }
}
