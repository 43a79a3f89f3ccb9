//! A significant wire id carries the gauge; it must not contradict the wire.
//!
//! Source: MIL-W-5088 / SAE AS50881, appendix on wire identification.

use super::Rule;
use crate::definition::diagnostic::{Diagnostic, Severity, Sink};
use crate::definition::model::Harness;
use crate::definition::wire_id::SignificantId;
use crate::units::Gauge;

pub(super) const RULE: Rule = Rule {
    name: "gauge-mark",
    severity: Severity::Warning,
    demands: "Where a wire id follows the significant code of aircraft wiring, its gauge digits agree with the wire's gauge.",
    why: "The mark on the wire is what the next person orders by (SAE AS50881, appendix on wire identification).",
    check,
};

fn check(harness: &Harness, sink: &Sink) {
    for wire in harness.wires.values() {
        let Some(Gauge::Awg(gauge)) = wire.gauge else { continue };
        let Some(marked) = SignificantId::parse(&wire.id).ok().map(|id| id.gauge) else { continue };
        if marked != gauge {
            let message = format!("wire {} is marked as {marked} AWG but defined as {gauge} AWG", wire.id);
            let help = "correct the gauge, or mark the wire anew";
            sink.push(Diagnostic::warning(RULE.name, wire.place, message).help(help));
        }
    }
}
