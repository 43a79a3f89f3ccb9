//! The current through each contact against what a contact of its size, or its maker, allows.

use super::solver::Case;
use super::survey::Survey;
use super::{Finding, Rule, brief};
use crate::definition::diagnostic::Severity;
use crate::definition::{Contact, ContactId, Point};
use crate::netlist::{Link, LinkId};
use crate::units::Amps;

const TABLE: &str = "MIL-DTL-38999, crimp contacts";
const MAKER: &str = "the maker's figure, as the definition gives it";

pub(super) const RULE: Rule = Rule {
    name: "contact-rating",
    demands: "A contact carries no more than its size or its maker allows, in any setup.",
    why: "A contact that carries more grows hot, loses its spring, and melts its neighbours.",
    source: "MIL-DTL-38999 (contacts of AS39029): 22D 5 A, 20 7.5 A, 16 13 A, 12 23 A, 10 33 A, 8 46 A, 4 80 A, 0 150 A; or the maker's `amps`",
    on_request: false,
    check,
};

/// What a contact may carry, who says so, and what it is.
fn rating(survey: &Survey<'_>, contact: &Contact) -> Option<(f64, &'static str, String)> {
    if let Some(amps) = contact.amps {
        return Some((amps.get(), MAKER, "contact".to_owned()));
    }
    let size = contact.contact_size.or(survey.harness.connectors[contact.connector].contact_size)?;
    Some((size.amps(), TABLE, format!("contact of size {size}")))
}

fn check(survey: &Survey<'_>) -> Vec<Finding> {
    let rated =
        survey.harness.contacts.ids().filter(|id| rating(survey, &survey.harness.contacts[*id]).is_some());
    rated.filter_map(|id| judge(survey, id)).collect()
}

fn judge(survey: &Survey<'_>, id: ContactId) -> Option<Finding> {
    let contact = &survey.harness.contacts[id];
    let (limit, source, what) = rating(survey, contact)?;
    // Of two that meet, the one that allows less speaks for both.
    if let Some(mate) = contact.mate
        && let Some((other, ..)) = rating(survey, &survey.harness.contacts[mate])
        && (other < limit || (other <= limit && mate < id))
    {
        return None;
    }
    let node = survey.harness.point_index(Point::Contact(id));
    let links: Vec<LinkId> = survey.netlist.links_at(node).map(|(link, _)| link).collect();
    let mated = links.iter().copied().find(|link| matches!(survey.netlist.link(*link), Link::Mated { .. }));
    // What passes the contact itself; where nothing mates with it, what comes in and goes out again.
    let through = |case: &Case| match mated {
        Some(link) => case.flow.size(link),
        None => links.iter().map(|link| case.flow.size(*link)).sum::<f64>() * 0.5,
    };
    let mut most: Option<(f64, &Case)> = None;
    for case in survey.cases.iter().filter(|case| !case.beyond) {
        let amps = through(case);
        if most.is_none_or(|(known, _)| amps > known * 1.001) {
            most = Some((amps, case));
        }
    }
    let (amps, case) = most.filter(|(amps, _)| *amps > limit)?;
    let name = survey.harness.point_name(Point::Contact(id));
    Some(Finding {
        rule: RULE.name,
        severity: Severity::Warning,
        subject: name.clone(),
        place: contact.place,
        message: format!(
            "{name}, a {what}, carries {}: {} is allowed ({})",
            Amps::new(amps),
            Amps::new(limit),
            brief(survey.harness, &case.setup)
        ),
        value: amps,
        limit: Some(limit),
        unit: "A",
        source,
        help: "take a larger contact, share the current between contacts, or give the maker's `amps`"
            .to_owned(),
        setup: Some(case.setup.clone()),
        fault: None,
        way: Vec::new(),
    })
}
