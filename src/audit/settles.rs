//! Setups in which the machine never settles.

use std::collections::BTreeSet;

use super::survey::Survey;
use super::{Finding, Rule, brief};
use crate::definition::diagnostic::Severity;

pub(super) const RULE: Rule = Rule {
    name: "never-settles",
    demands: "In every setup relays, diodes and units come to rest.",
    why: "A relay that cuts its own coil chatters like a buzzer until its contacts weld.",
    source: "computed: the same states come round again",
    on_request: false,
    check,
};

fn check(survey: &Survey<'_>) -> Vec<Finding> {
    let mut known = BTreeSet::new();
    let mut found = Vec::new();
    for (setup, parts) in &survey.unsettled {
        // The setup with the fewest moves speaks for all in which the same parts switch each other.
        if !known.insert(parts.clone()) {
            continue;
        }
        let Some(first) = parts.first() else { continue };
        let Some(part) = survey.harness.names.part(first) else { continue };
        found.push(Finding {
            rule: RULE.name,
            severity: Severity::Warning,
            subject: first.clone(),
            place: survey.harness.parts[part].place,
            message: format!(
                "the machine never settles: {} keep switching ({})",
                parts.join(", "),
                brief(survey.harness, setup)
            ),
            value: parts.len() as f64,
            limit: None,
            unit: "parts",
            source: RULE.source,
            help: "look for a contact that cuts the coil it depends on, or a supply that sags when its load comes on"
                .to_owned(),
            setup: Some(setup.clone()),
            fault: None,
            way: Vec::new(),
        });
    }
    found
}
