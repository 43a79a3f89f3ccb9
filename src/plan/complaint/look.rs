//! What eyes and hands do before any meter.
//!
//! Each look has a price and settles a share of the probability. Looks at one station make one round, which
//! pays for the walk; rounds, and the looks of a round, come in the order of decreasing share for the time
//! (see [`by_ratio`]). Looking clears nothing: what looks good is read all the same.

use std::collections::BTreeMap;

use super::hypotheses::Hypothesis;
use super::setting::{Setting, setup_words};
use crate::circuit::Change;
use crate::definition::{Harness, PartId, PartKind, Point, StationId};
use crate::fault::Fault;
use crate::netlist::{Element, Link, Netlist};
use crate::plan::causes::{Cause, by_ratio};
use crate::setup::{Action, plug_of};
use crate::units::Seconds;

/// Times of a look, in seconds: common practice, no source.
const SWITCHES: f64 = 10.0;
const PLUG: f64 = 10.0;
const FUSE: f64 = 20.0;
const POSTS: f64 = 20.0;
const STUD: f64 = 20.0;
const GROUND: f64 = 30.0;

/// Something to look at, or to take hold of.
#[derive(Debug, Clone)]
pub struct Inspection {
    /// What to do, and what would be wrong.
    pub what: String,
    /// Where one stands.
    pub station: Option<StationId>,
    /// How long it takes, without the walk.
    pub seconds: Seconds,
    /// The share of the probability that it settles at most; none where it is about no fault of the machine.
    pub share: Option<f64>,
    /// The faults that it can find.
    pub faults: Vec<Fault>,
}

/// What one look is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Subject {
    Fuse(PartId),
    Posts(PartId),
    Stud(Point),
    Plug(crate::definition::MatingId),
}

/// The looks that are worth it, in order: the switches first.
pub(super) fn inspections(
    harness: &Harness,
    netlist: &Netlist,
    setting: &Setting,
    hypotheses: &[Hypothesis],
) -> Vec<Inspection> {
    let total: f64 = hypotheses.iter().map(|h| h.weight).sum();
    let mut by_subject: BTreeMap<Subject, (f64, Vec<Fault>)> = BTreeMap::new();
    for hypothesis in hypotheses {
        let blown = hypothesis.changes.iter().find_map(|change| fuse(harness, netlist, change));
        for (fault, weight) in &hypothesis.faults {
            let Some(subject) = blown.map(Subject::Fuse).or_else(|| subject(harness, *fault)) else {
                continue;
            };
            let known = by_subject.entry(subject).or_default();
            known.0 += weight / total;
            if !known.1.contains(fault) {
                known.1.push(*fault);
            }
        }
    }
    let looks = by_subject.into_iter().map(|(subject, (share, faults))| {
        let (what, station, seconds) = words(harness, subject);
        Inspection { what, station, seconds: Seconds::new(seconds), share: Some(share), faults }
    });
    let mut all = vec![switches(harness, setting)];
    all.extend(in_rounds(harness, looks.collect()));
    all
}

/// The fuse that a change opens.
fn fuse(harness: &Harness, netlist: &Netlist, change: &Change) -> Option<PartId> {
    let Change::Open(link) = change else { return None };
    match netlist.link(*link) {
        Link::Part(part, _) if matches!(harness.parts[part].kind, PartKind::Fuse { .. }) => Some(part),
        _ => None,
    }
}

fn subject(harness: &Harness, fault: Fault) -> Option<Subject> {
    let (Fault::Open(element) | Fault::High(element)) = fault else { return None };
    match element {
        Element::Mated(contact, _) => {
            let connector = &harness.connectors[harness.contacts[contact].connector];
            let marked = |id| harness.connectors[id].hazard.is_some();
            let mating = connector.mating?;
            let both = &harness.matings[mating];
            (!marked(both.first) && !marked(both.second)).then_some(Subject::Plug(mating))
        }
        Element::Bond(terminal) => Some(Subject::Stud(Point::Terminal(terminal))),
        Element::Termination(wire, side) => match harness.wires[wire].ends[usize::from(side)] {
            point @ Point::Terminal(_) => {
                Some(post(harness, point).map_or(Subject::Stud(point), Subject::Posts))
            }
            _ => None,
        },
        _ => None,
    }
}

/// The battery of which a point is a post.
fn post(harness: &Harness, point: Point) -> Option<PartId> {
    let mine = |part: &PartId| match &harness.parts[*part].kind {
        PartKind::Battery { plus, minus, .. } => [*plus, *minus].contains(&point),
        _ => false,
    };
    harness.parts_at(point).find(mine)
}

fn titled(id: &str, title: &str) -> String {
    if title.is_empty() { id.to_owned() } else { format!("{id} ({title})") }
}

fn words(harness: &Harness, subject: Subject) -> (String, Option<StationId>, f64) {
    match subject {
        Subject::Fuse(id) => {
            let part = &harness.parts[id];
            let name = titled(&part.id, &part.title);
            let what = if matches!(part.kind, PartKind::Fuse { breaker: true, .. }) {
                format!("{name}: tripped? It has a reason: reset it once and no more")
            } else {
                format!("{name}: take it out and look. Blown has a reason: find it before a new one goes in")
            };
            let station =
                part.station.or_else(|| part.kind.points().first().and_then(|p| harness.station_of(*p)));
            (what, station, FUSE)
        }
        Subject::Posts(id) => {
            let part = &harness.parts[id];
            let station =
                part.station.or_else(|| part.kind.points().first().and_then(|p| harness.station_of(*p)));
            (format!("Clamps of {}: tight and bright?", titled(&part.id, &part.title)), station, POSTS)
        }
        Subject::Stud(point) => {
            let Point::Terminal(id) = point else { return (String::new(), None, STUD) };
            let terminal = &harness.terminals[id];
            let name = titled(&terminal.id, &terminal.title);
            let (what, seconds) = if terminal.ground {
                (format!("Ground {name}: tight, on bare metal, no rust under the lug?"), GROUND)
            } else {
                (format!("{name}: nuts tight, lugs sound?"), STUD)
            };
            (what, terminal.station, seconds)
        }
        Subject::Plug(mating) => {
            let connector = &harness.connectors[plug_of(harness, mating)];
            let name = titled(&connector.id, &connector.title);
            (format!("{name}: seated and locked, no contact pushed back, dry?"), connector.station, PLUG)
        }
    }
}

/// The first thing: that the machine is as the complaint says.
fn switches(harness: &Harness, setting: &Setting) -> Inspection {
    let station = setting.setup.set().next().and_then(|(switch, _)| harness.parts[switch].station);
    Inspection {
        what: format!("Is the machine as complained of: {}?", setup_words(harness, &setting.setup)),
        station,
        seconds: Seconds::new(SWITCHES),
        share: None,
        faults: Vec::new(),
    }
}

/// Looks at one station together, with the walk to it; all by decreasing share for the time.
fn in_rounds(harness: &Harness, looks: Vec<Inspection>) -> Vec<Inspection> {
    let mut rounds: BTreeMap<Option<StationId>, Vec<Inspection>> = BTreeMap::new();
    for look in looks {
        rounds.entry(look.station).or_default().push(look);
    }
    let rounds: Vec<(Option<StationId>, Vec<Inspection>)> = rounds.into_iter().collect();
    let cause = |look: &Inspection| Cause { p: look.share.unwrap_or(0.0), c: look.seconds.get() };
    let whole = |(station, looks): &(Option<StationId>, Vec<Inspection>)| {
        let walk = station.map_or(0.0, |id| Action::GoTo(id).seconds(harness).get());
        let own = looks.iter().map(cause);
        own.fold(Cause { p: 0.0, c: walk }, |sum, one| Cause { p: sum.p + one.p, c: sum.c + one.c })
    };
    let order = by_ratio(&rounds.iter().map(whole).collect::<Vec<_>>());
    let in_round = |at: usize| {
        let looks = &rounds[at].1;
        let order = by_ratio(&looks.iter().map(cause).collect::<Vec<_>>());
        order.into_iter().map(|at| looks[at].clone()).collect::<Vec<_>>()
    };
    order.into_iter().flat_map(in_round).collect()
}
