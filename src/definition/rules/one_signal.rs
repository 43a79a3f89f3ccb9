//! One contact per signal within a connector, unless both pins say they are joined.

use std::collections::BTreeMap;

use super::Rule;
use crate::definition::diagnostic::{Diagnostic, Severity, Sink};
use crate::definition::model::{Contact, Harness};

pub(super) const RULE: Rule = Rule {
    name: "one-signal",
    severity: Severity::Error,
    demands: "Within a connector a signal has one contact, unless every pin of it says `joined = true`.",
    why: "A pin map with one name in two places sends the probe to the wrong one.",
    check,
};

fn check(harness: &Harness, sink: &Sink) {
    for (id, connector) in harness.connectors.iter() {
        let mut seen: BTreeMap<&str, &Contact> = BTreeMap::new();
        for contact in harness.contacts_of(id).map(|id| &harness.contacts[id]) {
            let Some(signal) = contact.signal.as_deref() else { continue };
            if contact.joined {
                continue;
            }
            if let Some(first) = seen.insert(signal, contact) {
                let message = format!(
                    "{}: \"{signal}\" stands at contact {} and at contact {}",
                    connector.id, first.name, contact.name
                );
                let help = "give each its own name, or mark both pins `joined = true`";
                let diagnostic = Diagnostic::error(RULE.name, contact.place, message);
                sink.push(diagnostic.related(first.place, "the other pin").help(help));
            }
        }
    }
}
