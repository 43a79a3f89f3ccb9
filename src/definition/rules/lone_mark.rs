//! A twist or a shield shared by one wire alone is a misspelt mark.

use std::collections::BTreeMap;

use super::Rule;
use crate::definition::diagnostic::{Diagnostic, Severity, Sink};
use crate::definition::model::{Harness, Wire};

pub(super) const RULE: Rule = Rule {
    name: "lone-mark",
    severity: Severity::Warning,
    demands: "A `twisted` mark is shared by two wires or more.",
    why: "One wire cannot be twisted with itself; the other wire's mark is missing or misspelt.",
    check,
};

fn check(harness: &Harness, sink: &Sink) {
    let mut groups: BTreeMap<&str, Vec<&Wire>> = BTreeMap::new();
    for wire in harness.wires.values() {
        if let Some(mark) = wire.twisted.as_deref() {
            groups.entry(mark).or_default().push(wire);
        }
    }
    for (mark, wires) in groups {
        if let [wire] = wires[..] {
            let message = format!("wire {} is alone in twist {mark}", wire.id);
            let help = "give the same mark to the wire it is twisted with";
            sink.push(Diagnostic::warning(RULE.name, wire.place, message).help(help));
        }
    }
}
