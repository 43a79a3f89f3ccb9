//! Voltage drop between the source's posts and each load, there and back.
//!
//! The currents are those of the solved circuit; the drop is those currents times the resistance of each
//! element on the way. A wire counts with the published figure that the rule set's own tables and charts
//! are made with, a joint with its usual figure; beside that, every element at its healthy most.

use super::flow::{Hop, is_source};
use super::limits::{self, Limit};
use super::solver::{Case, What};
use super::survey::{Closed, Survey, is_intermittent};
use super::{Finding, Rule, brief};
use crate::definition::diagnostic::{Place, Severity};
use crate::definition::{PartKind, RuleSet};
use crate::netlist::resistance::{self, Seen};
use crate::netlist::{Link, LinkId, PartWay};
use crate::setup::Setup;
use crate::units::{Ohms, Volts};

pub(super) const RULE: Rule = Rule {
    name: "voltage-drop",
    demands: "Between the source's posts and a load no more voltage is lost, there and back, than the rule set allows.",
    why: "What is lost on the way is missing at the load: lamps are dim, motors stall, relays chatter.",
    source: "vehicle: usual limits of vehicle repair manuals, in proportion above 12 V; aircraft: AC 43.13-1B Table 11-6 and par. 11-66, FAA-H-8083-32; boat: ABYC E-11; building: NEC informational notes 210.19 and 215.2",
    on_request: false,
    check,
};

/// A load or a unit's supply in the setup in which it loses most.
#[derive(Debug, Clone)]
pub struct LoadLine {
    /// What it is called.
    pub name: String,
    /// The voltage that is left for it.
    pub volts: f64,
    /// Its current in amperes.
    pub amps: f64,
    /// Volts lost from the source's plus to it.
    pub feed: f64,
    /// Volts lost from it to the source's minus.
    pub back: f64,
    /// Volts lost in all if every joint and wire is at its healthy most.
    pub most: f64,
    /// What may be lost, where a rule set says.
    pub limit: Option<f64>,
    /// Where the limit comes from.
    pub source: &'static str,
    /// The state of the machine.
    pub setup: Setup,
}

impl LoadLine {
    /// Volts lost in all.
    pub fn total(&self) -> f64 {
        self.feed + self.back
    }
}

/// A consumer in its worst case.
struct Worst<'a> {
    at: usize,
    case: &'a Case,
    closed: Closed,
    feed: f64,
    back: f64,
}

impl Worst<'_> {
    fn total(&self) -> f64 {
        self.feed + self.back
    }
}

/// Every load and supply in its worst setup.
pub(super) fn lines(survey: &Survey<'_>) -> Vec<LoadLine> {
    let line = |worst: Worst<'_>| {
        let consumer = &survey.consumers[worst.at];
        let limit = limit(survey, worst.at);
        LoadLine {
            name: consumer.name.clone(),
            volts: worst.case.volts[worst.at].abs(),
            amps: survey.amps(worst.case, worst.at),
            feed: worst.feed,
            back: worst.back,
            most: most(survey, &worst.closed),
            limit: limit.map(|limit| limit.volts),
            source: limit.map_or("", |limit| limit.source),
            setup: worst.case.setup.clone(),
        }
    };
    all(survey).into_iter().map(line).collect()
}

fn all<'s>(survey: &'s Survey<'_>) -> Vec<Worst<'s>> {
    (0..survey.consumers.len()).filter_map(|at| worst(survey, at)).collect()
}

fn worst<'s>(survey: &'s Survey<'_>, at: usize) -> Option<Worst<'s>> {
    if !matches!(survey.consumers[at].what, What::Load | What::Supply) {
        return None;
    }
    let mut worst: Option<Worst<'s>> = None;
    for case in survey.cases.iter().filter(|case| case.works[at] && !case.beyond) {
        let Some(closed) = survey.closed(case, at) else { continue };
        let [feed, back] = [&closed.feed, &closed.back].map(|way| lost(survey, way));
        // A mere rounding difference is no reason to name a setup with more moves.
        if worst.as_ref().is_none_or(|known| feed + back > known.total() * 1.001 + 1e-6) {
            worst = Some(Worst { at, case, closed, feed, back });
        }
    }
    worst
}

fn limit(survey: &Survey<'_>, at: usize) -> Option<Limit> {
    let part = survey.consumers[at].part;
    let critical = survey.harness.parts[part].critical;
    let intermittent = is_intermittent(survey.harness, part);
    survey.rule_set.map(|set| limits::whole(set, survey.nominal, critical, intermittent))
}

/// Volts lost along a way.
fn lost(survey: &Survey<'_>, way: &[Hop]) -> f64 {
    way.iter().map(|hop| hop_volts(survey, hop)).sum()
}

/// Volts lost in one element. What is spent in a load or made in a source is not lost.
fn hop_volts(survey: &Survey<'_>, hop: &Hop) -> f64 {
    match survey.netlist.link(hop.link) {
        Link::Part(part, PartWay::Diode) => match &survey.harness.parts[part].kind {
            PartKind::Diode { drop, .. } => drop.get(),
            _ => 0.0,
        },
        _ => hop.amps * hop_ohms(survey, hop.link).get(),
    }
}

fn is_wiring(survey: &Survey<'_>, link: LinkId) -> bool {
    !survey.is_consumer(link) && !is_source(survey.netlist, link)
}

/// The resistance that an element counts with.
fn hop_ohms(survey: &Survey<'_>, link: LinkId) -> Ohms {
    if !is_wiring(survey, link) {
        return Ohms::new(0.0);
    }
    let solved = resistance::range(survey.netlist, survey.harness, link, Seen::Working).nominal;
    let Link::Wire(wire) = survey.netlist.link(link) else { return solved };
    let wire = &survey.harness.wires[wire];
    match (limits::copper(survey.rule_set, wire), limits::copper_as_solved(wire)) {
        (Some(published), Some(as_solved)) => solved - as_solved + published,
        _ => solved,
    }
}

/// Volts lost with every element at its healthy most.
fn most(survey: &Survey<'_>, closed: &Closed) -> f64 {
    let hops = closed.feed.iter().chain(&closed.back).filter(|hop| is_wiring(survey, hop.link));
    let volts = |hop: &Hop| match survey.netlist.link(hop.link) {
        Link::Part(_, PartWay::Diode) => hop_volts(survey, hop),
        _ => hop.amps * resistance::range(survey.netlist, survey.harness, hop.link, Seen::Working).high.get(),
    };
    hops.map(volts).sum()
}

fn check(survey: &Survey<'_>) -> Vec<Finding> {
    let Some(set) = survey.rule_set else { return Vec::new() };
    let mut found = Vec::new();
    let all = all(survey);
    for worst in &all {
        found.extend(judge(survey, set, worst));
        if set == RuleSet::Aircraft {
            found.extend(ground_return(survey, worst));
        }
    }
    if set == RuleSet::Aircraft {
        found.extend(main_feeds(survey, &all));
    }
    found
}

/// The whole circuit, its branch and its ground side against what the rule set allows.
fn judge(survey: &Survey<'_>, set: RuleSet, worst: &Worst<'_>) -> Vec<Finding> {
    let nominal = survey.nominal;
    let name = &survey.consumers[worst.at].name;
    let hops: Vec<Hop> = worst.closed.feed.iter().chain(&worst.closed.back).copied().collect();
    let mut found = Vec::new();
    let mut hold = |what: &str, volts: f64, limit: Option<Limit>, hops: &[Hop]| {
        let Some(limit) = limit.filter(|limit| volts > limit.volts) else { return };
        let message = format!(
            "{name} loses {} {what} at {}: {} may be lost ({})",
            Volts::new(volts),
            crate::units::Amps::new(survey.amps(worst.case, worst.at)),
            Volts::new(limit.volts),
            brief(survey.harness, &worst.case.setup)
        );
        found.push(finding(survey, worst, message, volts, limit, hops));
    };
    let whole = limit(survey, worst.at);
    hold("on the way there and back", worst.total(), whole, &hops);
    let from_fuse = after_last_fuse(survey, &worst.closed.feed);
    let branch = [from_fuse, &worst.closed.back].concat();
    hold("in its branch", lost(survey, &branch), limits::branch(set, nominal), &branch);
    hold("on its ground side", worst.back, limits::ground_side(set, nominal), &worst.closed.back);
    found
}

fn finding(
    survey: &Survey<'_>,
    worst: &Worst<'_>,
    message: String,
    volts: f64,
    limit: Limit,
    hops: &[Hop],
) -> Finding {
    let consumer = &survey.consumers[worst.at];
    let most = hops.iter().max_by(|a, b| hop_volts(survey, a).total_cmp(&hop_volts(survey, b)));
    let most = most.map_or_else(String::new, |hop| {
        format!("{} alone takes {}; ", survey.name(hop.link), Volts::new(hop_volts(survey, hop)))
    });
    Finding {
        rule: RULE.name,
        severity: Severity::Warning,
        subject: consumer.name.clone(),
        place: survey.harness.parts[consumer.part].place,
        message,
        value: volts,
        limit: Some(limit.volts),
        unit: "V",
        source: limit.source,
        help: format!("{most}take a thicker or a shorter wire, or fewer joints"),
        setup: Some(worst.case.setup.clone()),
        fault: None,
        way: survey.whole(worst.case, &worst.closed, worst.at),
    }
}

/// The feed from its last fuse or breaker on.
fn after_last_fuse<'w>(survey: &Survey<'_>, feed: &'w [Hop]) -> &'w [Hop] {
    feed.iter().rposition(|hop| survey.is_fuse(hop.link)).map_or(feed, |at| &feed[at + 1..])
}

/// From the equipment's ground to the source's: the way back from its first ground bond on.
fn ground_return(survey: &Survey<'_>, worst: &Worst<'_>) -> Option<Finding> {
    let back = &worst.closed.back;
    let bond = back.iter().position(|hop| matches!(survey.netlist.link(hop.link), Link::Bond(_)))?;
    let hops = &back[bond..];
    let ohms: f64 = hops.iter().map(|hop| hop_ohms(survey, hop.link).get()).sum();
    let (limit, source) = limits::GROUND_RETURN;
    if ohms <= limit {
        return None;
    }
    let consumer = &survey.consumers[worst.at];
    Some(Finding {
        rule: RULE.name,
        severity: Severity::Warning,
        subject: consumer.name.clone(),
        place: survey.harness.parts[consumer.part].place,
        message: format!(
            "the ground return of {} has {} from its ground point to the source: {} is satisfactory",
            consumer.name,
            Ohms::new(ohms),
            Ohms::new(limit)
        ),
        value: ohms,
        limit: Some(limit),
        unit: "ohm",
        source,
        help: "bond the ground points better, or take a thicker ground wire".to_owned(),
        setup: Some(worst.case.setup.clone()),
        fault: None,
        way: survey.whole(worst.case, &worst.closed, worst.at),
    })
}

/// The part of every feed that all loads of an alternator share, at the alternator's most.
fn main_feeds(survey: &Survey<'_>, all: &[Worst<'_>]) -> Vec<Finding> {
    let mut found = Vec::new();
    for (part, alternator) in survey.harness.parts.iter() {
        let PartKind::Alternator { volts, most: Some(most), .. } = &alternator.kind else { continue };
        let from =
            |worst: &&Worst<'_>| match worst.closed.feed.first().map(|hop| survey.netlist.link(hop.link)) {
                Some(Link::Part(source, _)) => source == part,
                _ => false,
            };
        let feeds: Vec<&[Hop]> = all.iter().filter(from).map(|worst| &worst.closed.feed[..]).collect();
        let [first, _, ..] = &feeds[..] else { continue };
        let shared =
            |at: &usize| feeds.iter().all(|f| f.get(*at).is_some_and(|hop| hop.link == first[*at].link));
        let count = (0..first.len()).take_while(shared).count();
        let ohms: f64 = first[..count].iter().map(|hop| hop_ohms(survey, hop.link).get()).sum();
        let (share, source) = limits::MAIN_FEED;
        let (drop, limit) = (ohms * most.get(), share * volts.get());
        if drop > limit {
            found.push(main_feed(alternator.id.clone(), alternator.place, drop, limit, source));
        }
    }
    found
}

fn main_feed(subject: String, place: Place, drop: f64, limit: f64, source: &'static str) -> Finding {
    let message = format!(
        "the main feed of {subject} loses {} up to where it branches, at its rated current: {} may be lost",
        Volts::new(drop),
        Volts::new(limit)
    );
    Finding {
        rule: RULE.name,
        severity: Severity::Warning,
        subject,
        place,
        message,
        value: drop,
        limit: Some(limit),
        unit: "V",
        source,
        help: "take a thicker main feed, or place the bus nearer to the source".to_owned(),
        setup: None,
        fault: None,
        way: Vec::new(),
    }
}

/// How the drops are reckoned, in words.
pub(super) fn basis(survey: &Survey<'_>) -> &'static str {
    limits::basis(survey.rule_set)
}
