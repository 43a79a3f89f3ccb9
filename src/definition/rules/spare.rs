//! Spare contacts: empty cavities that nobody declared empty, and declared ones that are not.

use super::Rule;
use crate::definition::diagnostic::{Diagnostic, Severity, Sink};
use crate::definition::model::{Connector, ContactId, Harness, Point};

pub(super) const RULE: Rule = Rule {
    name: "spare",
    severity: Severity::Warning,
    demands: "A contact without a wire is marked `spare = true` (or `plugged = true`), and only such a contact is.",
    why: "An empty cavity in a pin map is either a spare to use in a repair or a wire that was forgotten.",
    check,
};

fn check(harness: &Harness, sink: &Sink) {
    for (id, connector) in harness.connectors.iter() {
        // The inside of a part is not wired by us.
        if connector.part.is_some() {
            continue;
        }
        let used = |id: &ContactId| is_used(harness, *id);
        let names = |ids: Vec<ContactId>| -> String {
            ids.iter().map(|id| harness.contacts[*id].name.as_str()).collect::<Vec<_>>().join(" ")
        };
        let (wired, empty): (Vec<ContactId>, Vec<ContactId>) = harness.contacts_of(id).partition(used);
        let forgotten: Vec<ContactId> = empty.into_iter().filter(|id| !harness.contacts[*id].spare).collect();
        let taken: Vec<ContactId> = wired.into_iter().filter(|id| harness.contacts[*id].spare).collect();
        if !forgotten.is_empty() {
            let others = if forgotten.len() > 1 { ", and so on" } else { "" };
            let help = format!(
                "if they are meant to be empty: [connector.{}.pin.{}] spare = true{others}",
                connector.id, harness.contacts[forgotten[0]].name
            );
            warn(
                connector,
                format!("{} has contacts without a wire: {}", connector.id, names(forgotten)),
                &help,
                sink,
            );
        }
        if !taken.is_empty() {
            let help = "take the mark off, or the wire out";
            warn(
                connector,
                format!("{} marks wired contacts as spare: {}", connector.id, names(taken)),
                help,
                sink,
            );
        }
    }
}

fn is_used(harness: &Harness, contact: ContactId) -> bool {
    let point = Point::Contact(contact);
    harness.wires_at(point).len() > 0 || harness.parts_at(point).len() > 0
}

fn warn(connector: &Connector, message: String, help: &str, sink: &Sink) {
    sink.push(Diagnostic::warning(RULE.name, connector.place, message).help(help));
}
