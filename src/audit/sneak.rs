//! Sneak paths: current that takes a way nobody meant it to take.
//!
//! Every part of such a path is sound, which is why no reading shows it and no fault list holds it. In the
//! trade the shapes have names. A single line: two feeds meet on one conductor, and each can feed the
//! other's load. A power dome: two loads share a feed that is lost, and one gets its current out of the
//! other's circuit. A ground dome: two loads share a return that is lost, and the current of the one goes
//! back through the other, the wrong way round. A combination dome has both. An H: a load lies across two
//! circuits, and which way its current flows depends on which of them is live.
//!
//! How they are told from what is meant: for each load, coil and unit input the strongest healthy setup
//! says which way its current flows and which other loads lie in series with it. The other setups, and the
//! setups with one fuse or one shared return open, are then held against that. A path is a sneak path if
//! it brings a load at least [`NOTICEABLE`] of its voltage, or makes a relay or input act, and
//!
//! - it leads through a load that does not belong in series with this one, or
//! - it leads through a conductor, contact or fuse against the way the current flows there in every
//!   healthy setup with fewer moves.
//!
//! In the sound machine that is a warning. With one fault it is a warning where something acts that should
//! not, or goes on although its fuse is open, and a note where only the current takes another way.
//!
//! A motor that a reversing switch turns round is none: its way leads through no other load, and against
//! no current but its own.

use std::collections::{BTreeMap, BTreeSet};

use super::flow::{Hop, is_source};
use super::solver::{Case, What};
use super::survey::{Closed, Survey};
use super::{Finding, Rule, brief};
use crate::definition::diagnostic::Severity;
use crate::netlist::{Link, LinkId};
use crate::units::{Amps, Volts};

/// The share of the nominal voltage that counts. A load with a twentieth of its voltage has a twentieth of
/// its current: a lamp does not glow, a motor does not turn, but a meter shows it. Below lies what leaks
/// through inputs. Common practice, no source.
const NOTICEABLE: f64 = 0.05;

/// For one fault, the most setups that it is tried in.
const SETUPS_OF_A_FAULT: usize = 4;

pub(super) const RULE: Rule = Rule {
    name: "sneak-path",
    demands: "No part gets its current through another load, or backwards through another circuit, with all parts sound or with one fuse or shared return open.",
    why: "Such a path runs a pump that is switched off, or keeps a relay operated when its fuse has blown.",
    source: "solved circuit; 5 % of the nominal voltage counts as noticeable: common practice, no source",
    on_request: true,
    check,
};

/// What the healthy machine says of one consumer.
#[derive(Debug, Clone)]
struct Own {
    /// Its voltage, with its sign, where it is strongest.
    volts: f64,
    /// The loads and coils on its way there.
    series: BTreeSet<LinkId>,
}

/// Which way current flows in each link in the healthy machine: the sign, and the consumer it serves.
type Directions = BTreeMap<LinkId, (bool, usize)>;

/// What makes a way a sneak path.
enum Why {
    /// Loads that do not belong there.
    Through(Vec<LinkId>),
    /// A link against its usual direction.
    Against(LinkId),
}

/// What is told once.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Key {
    /// All loads and coils on a way.
    Way(BTreeSet<LinkId>),
    /// Those that do not belong there.
    Foreign(Vec<LinkId>),
    /// A link that is passed backwards.
    Against(LinkId),
}

fn check(survey: &Survey<'_>) -> Vec<Finding> {
    let own: Vec<Option<Own>> = (0..survey.consumers.len()).map(|at| own(survey, at)).collect();
    let directions = directions(survey, &own);
    let search = Search { survey, own, directions };
    let mut known = BTreeSet::new();
    let mut found = search.healthy(&mut known);
    for fault in search.faults() {
        found.extend(search.with_fault(fault, &known));
    }
    found
}

/// The strongest healthy setup of a consumer; of equals the one with the fewest moves.
fn own(survey: &Survey<'_>, at: usize) -> Option<Own> {
    let mut best: Option<&Case> = None;
    for case in survey.cases.iter().filter(|case| case.works[at]) {
        if best.is_none_or(|known| case.volts[at].abs() > known.volts[at].abs() * 1.02) {
            best = Some(case);
        }
    }
    // A condition may raise every voltage a little, and a setup may feed it in a way that is not its own
    // and nearly as well: of those that are nearly as strong, the one with the fewest loads on its way.
    let most = best?.volts[at].abs();
    let near = survey.cases.iter().filter(|case| case.works[at] && case.volts[at].abs() >= 0.85 * most);
    let of = |case: &Case| {
        let closed = survey.closed(case, at)?;
        Some(Own { volts: case.volts[at], series: series(survey, &closed) })
    };
    near.filter_map(of).min_by_key(|own| own.series.len())
}

fn series(survey: &Survey<'_>, closed: &Closed) -> BTreeSet<LinkId> {
    hops(closed).map(|hop| hop.link).filter(|link| survey.is_consumer(*link)).collect()
}

fn hops(closed: &Closed) -> impl Iterator<Item = &Hop> {
    closed.feed.iter().chain(&closed.back)
}

/// Whether a hop runs from the link's first end to its second.
fn forward(survey: &Survey<'_>, hop: &Hop) -> bool {
    survey.netlist.ends(hop.link)[0] == hop.from
}

/// Whether a link's direction says something: what a load does to current is the load's own business.
fn tells(survey: &Survey<'_>, hop: &Hop) -> bool {
    !survey.is_consumer(hop.link) && !is_source(survey.netlist, hop.link)
}

/// The direction of each link on the way of consumers that are fed as they should be, by the setup with
/// the fewest moves.
fn directions(survey: &Survey<'_>, own: &[Option<Own>]) -> Directions {
    let mut directions = Directions::new();
    for case in &survey.cases {
        for (at, own) in own.iter().enumerate() {
            let Some(own) = own.as_ref().filter(|_| case.works[at]) else { continue };
            let Some(closed) = survey.closed(case, at) else { continue };
            if !series(survey, &closed).is_subset(&own.series) {
                continue;
            }
            for hop in hops(&closed).filter(|hop| tells(survey, hop)) {
                directions.entry(hop.link).or_insert((forward(survey, hop), at));
            }
        }
    }
    directions
}

struct Search<'s, 'a> {
    survey: &'s Survey<'a>,
    own: Vec<Option<Own>>,
    directions: Directions,
}

impl Search<'_, '_> {
    /// Sneak paths with every part sound.
    fn healthy(&self, known: &mut BTreeSet<Key>) -> Vec<Finding> {
        let mut found = Vec::new();
        for case in self.survey.cases.iter().filter(|case| !case.beyond) {
            found.extend(self.in_case(case, None, known));
        }
        found
    }

    /// Sneak paths with one link open, other than those of the sound machine.
    fn with_fault(&self, (link, cases): (LinkId, Vec<usize>), known: &BTreeSet<Key>) -> Vec<Finding> {
        let mut known = known.clone();
        let mut found = Vec::new();
        for at in cases {
            let Some(case) = self.survey.with_open(&self.survey.cases[at].setup, link) else { continue };
            let healthy = &self.survey.cases[at];
            found.extend(self.in_case(&case, Some((link, healthy)), &mut known));
        }
        found
    }

    /// Sneak paths of one solved machine; a path through the same loads is told once, by the load on it
    /// that gets most.
    fn in_case(
        &self,
        case: &Case,
        fault: Option<(LinkId, &Case)>,
        known: &mut BTreeSet<Key>,
    ) -> Vec<Finding> {
        let mut by_size: Vec<usize> = (0..self.own.len()).filter(|at| self.noticeable(case, *at)).collect();
        by_size.sort_by(|a, b| {
            // Rounded, so that of two alike the first counts.
            let key = |at: &usize| (case.works[*at], (case.volts[*at].abs() * 1000.0).round());
            let ((a_works, a_volts), (b_works, b_volts)) = (key(a), key(b));
            b_works.cmp(&a_works).then(b_volts.total_cmp(&a_volts)).then(a.cmp(b))
        });
        let mut found = Vec::new();
        for at in by_size {
            if fault.is_some_and(|fault| !self.touched(case, at, fault)) {
                continue;
            }
            let Some(closed) = self.survey.closed(case, at) else { continue };
            let Some(why) = self.why(&closed, at) else { continue };
            let keys = self.keys(&closed, at, &why, fault.is_some());
            let fresh = keys.iter().all(|key| !known.contains(key));
            known.extend(keys);
            if fresh {
                found.push(self.finding(case, at, &closed, &why, fault));
            }
        }
        found
    }

    /// Whether a fault has to do with a consumer: it works where it did not, its voltage is another one,
    /// or it goes on although the fault lies on its way.
    fn touched(&self, case: &Case, at: usize, (fault, healthy): (LinkId, &Case)) -> bool {
        let differs = (case.volts[at] - healthy.volts[at]).abs() >= NOTICEABLE * self.survey.nominal;
        let on_way = || {
            let closed = self.survey.closed(healthy, at);
            closed.is_some_and(|closed| hops(&closed).any(|hop| hop.link == fault))
        };
        differs || case.works[at] != healthy.works[at] || on_way()
    }

    fn noticeable(&self, case: &Case, at: usize) -> bool {
        match self.survey.consumers[at].what {
            What::Load => case.volts[at].abs() >= NOTICEABLE * self.survey.nominal,
            What::Coil | What::Supply | What::Input => case.works[at],
        }
    }

    fn why(&self, closed: &Closed, at: usize) -> Option<Why> {
        let own = self.own[at].as_ref()?;
        let itself = self.survey.consumers[at].link;
        let series = series(self.survey, closed);
        let foreign: Vec<LinkId> =
            series.difference(&own.series).copied().filter(|link| Some(*link) != itself).collect();
        if !foreign.is_empty() {
            return Some(Why::Through(foreign));
        }
        let against = |hop: &&Hop| {
            let usual = self.directions.get(&hop.link).filter(|_| tells(self.survey, hop));
            usual.is_some_and(|(usual, serves)| *usual != forward(self.survey, hop) && *serves != at)
        };
        hops(closed).find(against).map(|hop| Why::Against(hop.link))
    }

    /// What makes two findings the same. A way through the same loads is told once; with one fault, so is
    /// all that goes through the same loads that do not belong there.
    fn keys(&self, closed: &Closed, at: usize, why: &Why, with_fault: bool) -> Vec<Key> {
        match why {
            Why::Against(link) => vec![Key::Against(*link)],
            Why::Through(foreign) => {
                // A unit's input has no link of its own: the last of its feed stands for it.
                let own = self.survey.consumers[at].link.or_else(|| closed.feed.last().map(|hop| hop.link));
                let mut way = series(self.survey, closed);
                way.extend(own);
                let foreign = with_fault.then(|| Key::Foreign(foreign.clone()));
                std::iter::once(Key::Way(way)).chain(foreign).collect()
            }
        }
    }

    /// Fuses, and conductors that bring back the current of more than one consumer, each with the setups
    /// in which it matters.
    fn faults(&self) -> Vec<(LinkId, Vec<usize>)> {
        let survey = self.survey;
        let mut faults: BTreeMap<LinkId, Vec<usize>> = BTreeMap::new();
        for (number, case) in survey.cases.iter().enumerate().filter(|(_, case)| !case.beyond) {
            let mut open: BTreeSet<LinkId> = BTreeSet::new();
            for at in (0..survey.consumers.len()).filter(|at| case.works[*at]) {
                let Some(closed) = survey.closed(case, at) else { continue };
                open.extend(closed.feed.iter().map(|hop| hop.link).filter(|link| self.survey.is_fuse(*link)));
                open.extend(closed.back.iter().map(|hop| hop.link).filter(|link| self.is_return(*link)));
            }
            for link in open {
                faults.entry(link).or_default().push(number);
            }
        }
        let mut left = survey.budget;
        let mut chosen = Vec::new();
        for (link, cases) in faults {
            if !self.survey.is_fuse(link) && !self.is_shared(&cases, link) {
                continue;
            }
            let cases = self.telling(&cases);
            left = left.saturating_sub(cases.len());
            if left == 0 {
                break;
            }
            chosen.push((link, cases));
        }
        chosen
    }

    /// Whether at least two different consumers ever send their current back through a link.
    fn is_shared(&self, cases: &[usize], link: LinkId) -> bool {
        let mut users = BTreeSet::new();
        for number in cases {
            let case = &self.survey.cases[*number];
            for at in (0..self.survey.consumers.len()).filter(|at| case.works[*at]) {
                let Some(closed) = self.survey.closed(case, at) else { continue };
                if closed.back.iter().any(|hop| hop.link == link) {
                    users.insert(at);
                }
                if users.len() > 1 {
                    return true;
                }
            }
        }
        false
    }

    /// The setups with the fewest moves that differ in what works, and the one in which most works.
    fn telling(&self, cases: &[usize]) -> Vec<usize> {
        let works = |number: &usize| self.survey.cases[*number].works.iter().filter(|works| **works).count();
        let mut seen = BTreeSet::new();
        let mut chosen: Vec<usize> = Vec::new();
        for number in cases {
            if chosen.len() + 1 < SETUPS_OF_A_FAULT && seen.insert(self.survey.cases[*number].works.clone()) {
                chosen.push(*number);
            }
        }
        let fullest = cases.iter().max_by_key(|number| (works(number), std::cmp::Reverse(**number)));
        chosen.extend(fullest.filter(|number| !chosen.contains(number)).copied().as_slice());
        chosen
    }

    fn is_return(&self, link: LinkId) -> bool {
        matches!(self.survey.netlist.link(link), Link::Wire(_) | Link::Bond(_))
    }

    fn finding(
        &self,
        case: &Case,
        at: usize,
        closed: &Closed,
        why: &Why,
        fault: Option<(LinkId, &Case)>,
    ) -> Finding {
        let survey = self.survey;
        let consumer = &survey.consumers[at];
        // With a fault it matters whether something acts that should not; a detour of the return does not
        // change what works.
        let acts = fault.is_none_or(|(link, healthy)| {
            case.works[at] && (!healthy.works[at] || self.survey.is_fuse(link))
        });
        let fault = fault.map(|(link, _)| format!("{}:open", survey.name(link)));
        let with = fault.as_ref().map_or_else(String::new, |fault| format!("with {fault}, "));
        let volts = case.volts[at].abs();
        let message = format!(
            "{with}{} {} ({}): {}",
            consumer.name,
            self.what_happens(case, at),
            brief(survey.harness, &case.setup),
            self.why_words(closed, why)
        );
        Finding {
            rule: RULE.name,
            severity: if acts { Severity::Warning } else { Severity::Note },
            subject: consumer.name.clone(),
            place: survey.harness.parts[consumer.part].place,
            message,
            value: volts,
            limit: Some(NOTICEABLE * survey.nominal),
            unit: "V",
            source: RULE.source,
            help: format!(
                "the way: {}; a diode, a contact of its own or a return of its own parts the circuits",
                self.way_words(closed, at)
            ),
            setup: Some(case.setup.clone()),
            fault,
            way: survey.whole(case, closed, at),
        }
    }

    fn what_happens(&self, case: &Case, at: usize) -> String {
        let volts = Volts::new(case.volts[at].abs());
        let backwards = self.own[at].as_ref().is_some_and(|own| own.volts * case.volts[at] < 0.0);
        let direction = if backwards { ", the wrong way round" } else { "" };
        match self.survey.consumers[at].what {
            What::Load => {
                format!("gets {volts} at {}{direction}", Amps::new(self.survey.amps(case, at)))
            }
            What::Coil => format!("is operated by {volts}{direction}"),
            What::Supply | What::Input => format!("is live at {volts}"),
        }
    }

    fn why_words(&self, closed: &Closed, why: &Why) -> String {
        match why {
            Why::Through(loads) => {
                let names: Vec<String> = loads.iter().map(|link| self.survey.name(*link)).collect();
                let verb = if names.len() == 1 { "does" } else { "do" };
                format!(
                    "its current passes {}, which {verb} not belong in series with it",
                    names.join(" and ")
                )
            }
            Why::Against(link) => {
                let hop = hops(closed).find(|hop| hop.link == *link);
                let amps = hop.map_or(0.0, |hop| hop.amps);
                format!(
                    "its current ({}) runs through {} against the way it flows for {}",
                    Amps::new(amps),
                    self.survey.name(*link),
                    self.directions
                        .get(link)
                        .map_or("others", |(_, serves)| &self.survey.consumers[*serves].name)
                )
            }
        }
    }

    fn way_words(&self, closed: &Closed, at: usize) -> String {
        let mut names: Vec<String> = closed.feed.iter().map(|hop| self.survey.name(hop.link)).collect();
        names.push(self.survey.consumers[at].name.clone());
        names.extend(closed.back.iter().map(|hop| self.survey.name(hop.link)));
        names.dedup();
        names.join(" > ")
    }
}
