//! A splice joins at least two wires.

use super::Rule;
use crate::definition::diagnostic::{Diagnostic, Severity, Sink};
use crate::definition::model::{Harness, Point};

pub(super) const RULE: Rule = Rule {
    name: "splice-legs",
    severity: Severity::Warning,
    demands: "A splice joins two wires or more.",
    why: "A splice with one wire is a loose end under a sleeve.",
    check,
};

fn check(harness: &Harness, sink: &Sink) {
    for (id, splice) in harness.splices.iter() {
        let legs = harness.wires_at(Point::Splice(id)).len();
        if legs < 2 {
            let joins = if legs == 0 { "no wire" } else { "only one wire" };
            let message = format!("splice {} joins {joins}", splice.id);
            let help = "end another wire on it, or take it out";
            sink.push(Diagnostic::warning(RULE.name, splice.place, message).help(help));
        }
    }
}
