//! Straps, loopback plugs and caps: where they may be, and while what.
//!
//! Comes in: a replay. Goes out: what of them could hurt a person or the machine. Power finds a short circuit in a
//! strap, so the two exclude each other; caps are put on and taken off by hands, which live contacts must not meet.
//! That nothing is plugged in over them is a matter of rule 2, that they are off at the end of rule 6, that hands
//! stay off hazards of rule 7.

use std::collections::BTreeSet;

use super::replay::{Event, Place, Replay};
use super::report::{Report, Rule};
use super::state::{Action, Joined, State, hazard, strap_name};
use crate::definition::{ConnectorId, Harness, Point, StationId};

/// Holds every change of a strap or a cap, and every state with a strap, against the rules.
pub(super) fn straps(replay: &Replay<'_>, report: &mut Report) {
    for (place, event) in replay.events() {
        for (rule, why) in changed(replay.harness, event) {
            report.change(rule, replay, place, format!("{}: {why}", event.words));
        }
    }
    for (at, scene) in replay.scenes.iter().enumerate() {
        if let (Some(strap), Some(why)) =
            (scene.after.straps.keys().next(), scene.after.not_isolated(replay.harness))
        {
            let what = format!("strap {} is on while {why}", strap_name(replay.harness, strap));
            report.change(Rule::Straps, replay, Place::Phase(at), what);
        }
    }
}

/// What is wrong with a change, as far as straps and caps go.
fn changed(harness: &Harness, event: &Event<'_>) -> Vec<(Rule, String)> {
    let before = &event.before;
    let mut wrong: Vec<(Rule, String)> = Vec::new();
    match event.action {
        Action::Fit(plug, straps) => {
            for strap in straps {
                fits(harness, before, strap, *plug, &mut wrong);
            }
            overlaps(harness, straps.iter().chain(before.straps.keys()), &mut wrong);
        }
        Action::Refit(from, to) => {
            fits(harness, before, to, None, &mut wrong);
            let others = before.straps.keys().filter(|strap| *strap != from);
            overlaps(harness, others.chain([to]), &mut wrong);
        }
        Action::Cap(contacts) => {
            for point in contacts.iter().map(|contact| Point::Contact(*contact)) {
                if !before.open(harness, point) {
                    wrong.push((Rule::Straps, format!("{} is not open", harness.point_name(point))));
                }
                wrong.extend(
                    before
                        .strap_on(point)
                        .map(|_| (Rule::Straps, format!("a strap is on {}", harness.point_name(point)))),
                );
                wrong.extend(marked(harness, point));
            }
        }
        Action::Unfit(..) | Action::Uncap(_) => {}
        Action::PutOn(..) => {
            wrong.extend(
                before
                    .straps
                    .keys()
                    .map(|strap| (Rule::Straps, format!("strap {} is on", strap_name(harness, strap)))),
            );
            return wrong;
        }
        _ => return wrong,
    }
    wrong.extend(
        before
            .not_isolated(harness)
            .map(|why| (Rule::Straps, format!("{why}, and straps and caps need power isolated"))),
    );
    wrong
}

/// Whether a strap can go on, and may.
fn fits(
    harness: &Harness,
    state: &State,
    strap: &Joined,
    plug: Option<ConnectorId>,
    wrong: &mut Vec<(Rule, String)>,
) {
    let name = |point: Point| harness.point_name(point);
    let mut note = |what: String| wrong.push((Rule::Straps, what));
    if strap.len() < 2 {
        note("a strap joins two points at least".to_owned());
    }
    let places: BTreeSet<Where> = strap.iter().filter_map(|point| place(harness, *point)).collect();
    if places.len() > 1 {
        note("its points are at several places".to_owned());
    }
    for point in strap.iter().copied() {
        if let Some(unit) = harness.unit_behind(point) {
            note(format!("{} leads straight into unit {}", name(point), harness.parts[unit].id));
        }
        if !state.open(harness, point) {
            note(format!("{} is not open", name(point)));
        }
        if let Point::Contact(id) = point
            && state.looped(harness.contacts[id].connector)
        {
            note(format!("a loopback plug is on {}", harness.connectors[harness.contacts[id].connector].id));
        }
        if let Some(connector) = plug.filter(|_| !is_at(harness, point, plug)) {
            note(format!("{} is not at {}", name(point), harness.connectors[connector].id));
        }
    }
    let on = |other: &&Joined| plug.is_some() && other.iter().any(|point| is_at(harness, *point, plug));
    if let Some(other) = state.straps.keys().find(on) {
        note(format!("strap {} is in its way", strap_name(harness, other)));
    }
    wrong.extend(strap.iter().filter_map(|point| marked(harness, *point)));
}

fn is_at(harness: &Harness, point: Point, connector: Option<ConnectorId>) -> bool {
    matches!(point, Point::Contact(id) if Some(harness.contacts[id].connector) == connector)
}

/// Where a clip is: at a station, or where the definition names none at a connector or a terminal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Where {
    Station(StationId),
    Connector(ConnectorId),
    Alone(Point),
}

/// The frame is everywhere.
fn place(harness: &Harness, point: Point) -> Option<Where> {
    match (harness.station_of(point), point) {
        (_, Point::Chassis) => None,
        (Some(station), _) => Some(Where::Station(station)),
        (None, Point::Contact(id)) => Some(Where::Connector(harness.contacts[id].connector)),
        (None, point) => Some(Where::Alone(point)),
    }
}

/// Hands stay off what is marked as a hazard.
fn marked(harness: &Harness, point: Point) -> Option<(Rule, String)> {
    let what = hazard(harness, point)?;
    Some((
        Rule::Cautions,
        format!("{} is touched, and {what} is marked as a hazard", harness.point_name(point)),
    ))
}

/// No point is in two straps.
fn overlaps<'s>(
    harness: &Harness,
    straps: impl Iterator<Item = &'s Joined>,
    wrong: &mut Vec<(Rule, String)>,
) {
    let mut seen: BTreeSet<Point> = BTreeSet::new();
    // That a strap is on already is a matter of what the change does.
    let straps: BTreeSet<&Joined> = straps.collect();
    for point in straps.into_iter().flatten() {
        if !seen.insert(*point) {
            wrong.push((Rule::Straps, format!("{} is in two straps", harness.point_name(*point))));
        }
    }
}
