//! Mates must fit: pins into sockets, and the same contact names on both sides.

use super::Rule;
use crate::definition::diagnostic::{Diagnostic, Severity, Sink};
use crate::definition::model::{ConnectorId, Harness};

pub(super) const RULE: Rule = Rule {
    name: "mates",
    severity: Severity::Error,
    demands: "Connectors that are plugged together have opposite halves and equal contact names.",
    why: "Equal contact names join; a name without a partner is a typing error or the wrong connector.",
    check,
};

fn check(harness: &Harness, sink: &Sink) {
    for mating in harness.matings.values() {
        halves(harness, mating.first, mating.second, sink);
        for (side, other) in [(mating.first, mating.second), (mating.second, mating.first)] {
            contacts(harness, side, other, sink);
        }
    }
}

fn halves(harness: &Harness, first: ConnectorId, second: ConnectorId, sink: &Sink) {
    let [a, b] = [first, second].map(|id| &harness.connectors[id]);
    if let (Some(half), Some(other)) = (a.half, b.half)
        && half == other
    {
        let message = format!("{} and {} are mates but both have {}s", a.id, b.id, half.word());
        let help = format!("one of them needs contact = \"{}\"", half.opposite().word());
        sink.push(Diagnostic::error(RULE.name, a.place, message).related(b.place, "its mate").help(help));
    }
}

fn contacts(harness: &Harness, side: ConnectorId, other: ConnectorId, sink: &Sink) {
    // A connector whose own contacts are unknown has had its error already.
    if harness.connectors[side].count == 0 || harness.connectors[other].count == 0 {
        return;
    }
    let alone =
        harness.contacts_of(side).map(|id| &harness.contacts[id]).filter(|contact| contact.mate.is_none());
    let names: Vec<&str> = alone.map(|contact| contact.name.as_str()).collect();
    if names.is_empty() {
        return;
    }
    let [side, other] = [side, other].map(|id| &harness.connectors[id]);
    let shown = names.iter().take(12).copied().collect::<Vec<_>>().join(", ");
    let more = if names.len() > 12 { format!(" and {} more", names.len() - 12) } else { String::new() };
    let message = format!("{} is plugged into {}, which has no contact {shown}{more}", side.id, other.id);
    let help = "give both sides the same face, or the same contact names";
    sink.push(Diagnostic::error(RULE.name, side.place, message).related(other.place, "its mate").help(help));
}
