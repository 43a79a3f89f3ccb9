//! One wire per contact, unless the pin says that several are joined there on purpose.

use super::Rule;
use crate::definition::diagnostic::{Diagnostic, Severity, Sink};
use crate::definition::model::{Harness, Point};

pub(super) const RULE: Rule = Rule {
    name: "one-wire",
    severity: Severity::Error,
    demands: "A contact takes one wire, unless its pin says `joined = true`.",
    why: "Two wires in one contact are usually one wire with a wrong end; where they are meant, the crimp \
          is a joint that someone has to know about.",
    check,
};

fn check(harness: &Harness, sink: &Sink) {
    for (id, contact) in harness.contacts.iter() {
        let point = Point::Contact(id);
        let wires = harness.wires_at(point);
        if contact.joined || wires.len() < 2 {
            continue;
        }
        let mut wires = wires.map(|id| &harness.wires[id]);
        let Some(first) = wires.next() else { continue };
        let name = harness.point_name(point);
        for wire in wires {
            let message = format!("wires {} and {} both end in contact {name}", first.id, wire.id);
            let connector = &harness.connectors[contact.connector].id;
            let help = format!(
                "if they are joined there on purpose: [connector.{connector}.pin.{}] joined = true",
                contact.name
            );
            sink.push(
                Diagnostic::error(RULE.name, wire.place, message)
                    .related(first.place, "the other wire")
                    .help(help),
            );
        }
    }
}
