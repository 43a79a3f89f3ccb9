//! What a fuse carries in the healthy machine against its rating.

use super::solver::{Case, What};
use super::survey::{Survey, is_intermittent};
use super::{Finding, Rule, brief};
use crate::definition::diagnostic::Severity;
use crate::definition::{Part, PartId, PartKind};
use crate::netlist::{Link, LinkId, PartWay};
use crate::units::Amps;

const RATING: &str = "the fuse's rating";
const PRACTICE: &str = "80 % of the rating in continuous service: common practice, no source";

pub(super) const RULE: Rule = Rule {
    name: "fuse-load",
    demands: "The healthy machine asks no more of a fuse or breaker than its rating; above 80 % for long is remarked.",
    why: "A fuse that blows without a fault sends someone to look for one; warm fuses age and blow later.",
    source: "the fuse's own rating; 80 % continuous is common practice, no source",
    on_request: false,
    check,
};

/// The share of its rating that a fuse bears for long.
const CONTINUOUS: f64 = 0.8;

/// What a fuse carries in one setup.
struct Load<'a> {
    amps: f64,
    /// Without what works in short spells only, and without what charges a battery.
    lasting: f64,
    blows: bool,
    case: &'a Case,
}

fn check(survey: &Survey<'_>) -> Vec<Finding> {
    let mut found = Vec::new();
    for link in survey.netlist.links() {
        let Link::Part(part, PartWay::Through) = survey.netlist.link(link) else { continue };
        let PartKind::Fuse { rating: Some(rating), .. } = survey.harness.parts[part].kind else { continue };
        found.extend(judge(survey, (part, link), rating.get()));
    }
    found
}

fn judge(survey: &Survey<'_>, (part, link): (PartId, LinkId), rating: f64) -> Option<Finding> {
    let cases = survey.cases.iter().filter(|case| !case.beyond);
    let loads: Vec<Load<'_>> = cases.map(|case| load(survey, case, link)).collect();
    let over = loads.iter().filter(|load| load.blows || load.amps > rating).count();
    let worst = |by: fn(&Load<'_>) -> f64| {
        let better = |known: &Load<'_>, new: &Load<'_>| by(new) > by(known) * 1.001;
        loads.iter().reduce(|known, new| if better(known, new) { new } else { known })
    };
    if over > 0 {
        let load = worst(|load| load.amps)?;
        let verb = if load.blows { "would carry" } else { "carries" };
        let end = if load.blows { " and blows" } else { "" };
        let message = format!(
            "fuse {} {verb} {} in the healthy machine{end}: it is rated {} ({}{})",
            survey.name(link),
            Amps::new(load.amps),
            Amps::new(rating),
            brief(survey.harness, &load.case.setup),
            if over > 1 { format!("; so in {over} of {} setups", loads.len()) } else { String::new() }
        );
        return Some(finding(survey, part, load, message, Severity::Warning, (load.amps, rating, RATING)));
    }
    let load = worst(|load| load.lasting)?;
    let limit = CONTINUOUS * rating;
    let message = format!(
        "fuse {} carries {} for long, {:.0} % of its rating ({})",
        survey.name(link),
        Amps::new(load.lasting),
        100.0 * load.lasting / rating,
        brief(survey.harness, &load.case.setup)
    );
    let held = (load.lasting, limit, PRACTICE);
    (load.lasting > limit).then(|| finding(survey, part, load, message, Severity::Note, held))
}

fn load<'a>(survey: &Survey<'_>, case: &'a Case, link: LinkId) -> Load<'a> {
    if let Some((_, amps)) = case.blown.iter().find(|(blown, _)| *blown == link) {
        return Load { amps: *amps, lasting: 0.0, blows: true, case };
    }
    let amps = case.flow.size(link);
    Load {
        amps,
        lasting: (amps - in_spells(survey, case, link) - charging(survey, case, link)).max(0.0),
        blows: false,
        case,
    }
}

/// What flows through a fuse to parts that work in short spells only.
fn in_spells(survey: &Survey<'_>, case: &Case, link: LinkId) -> f64 {
    let through = |at: &usize| {
        let consumer = &survey.consumers[*at];
        consumer.what == What::Load
            && is_intermittent(survey.harness, consumer.part)
            && survey.closed(case, *at).is_some_and(|way| way.feed.iter().any(|hop| hop.link == link))
    };
    (0..survey.consumers.len()).filter(through).map(|at| survey.amps(case, at)).sum()
}

/// What flows through a fuse into batteries: it dies away as they fill.
fn charging(survey: &Survey<'_>, case: &Case, link: LinkId) -> f64 {
    let into = |(part, source): (PartId, &Part)| {
        let PartKind::Battery { plus, .. } = &source.kind else { return 0.0 };
        let own = |l: &LinkId| survey.netlist.link(*l) == Link::Part(part, PartWay::Source);
        let plus = survey.harness.point_index(*plus);
        let battery = survey.netlist.links_at(plus).map(|(l, _)| l).find(own);
        let amps = battery.map_or(0.0, |battery| case.flow.amps(battery));
        let way = (amps > 0.0).then(|| case.flow.feed(survey.netlist, plus)).flatten();
        let passes = way.is_some_and(|way| way.iter().any(|hop| hop.link == link));
        if passes { amps } else { 0.0 }
    };
    survey.harness.parts.iter().map(into).sum()
}

fn finding(
    survey: &Survey<'_>,
    part: PartId,
    load: &Load<'_>,
    message: String,
    severity: Severity,
    (value, limit, source): (f64, f64, &'static str),
) -> Finding {
    Finding {
        rule: RULE.name,
        severity,
        subject: survey.harness.parts[part].id.clone(),
        place: survey.harness.parts[part].place,
        message,
        value,
        limit: Some(limit),
        unit: "A",
        source,
        help: "share the load between fuses, or take a larger fuse and wires that bear it".to_owned(),
        setup: Some(load.case.setup.clone()),
        fault: None,
        way: Vec::new(),
    }
}
