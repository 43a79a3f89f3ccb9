//! What a reading means, and what hands do at an end.

use super::shown::Shown;
use crate::definition::{Harness, Kind, PartKind, Point};
use crate::fault::Fault;
use crate::measure::{Measurement, Prediction, Situation};
use crate::netlist::Element;
use crate::plan::causes::{Cause, last_inferred};

/// A point that should be dead may show this much, in volts.
const DEAD: f64 = 0.5;
/// So many names stand in one sentence.
const NAMED: usize = 5;

/// What a reading that shows something means for the way it was taken on.
pub(super) fn means(situation: &Situation<'_>, measurement: &Measurement, shown: Shown) -> String {
    let harness = situation.harness;
    let [red, black] = [measurement.red(), measurement.black()].map(|p| harness.point_name(p));
    let between = format!("{red} to {black}");
    match (measurement.kind(), shown) {
        (Kind::Continuity, Shown::Good) => format!("way {between} is sound"),
        (Kind::Continuity, Shown::High) => format!("way {between} conducts badly"),
        (Kind::Continuity, Shown::Open) => format!("way {between} is open"),
        (Kind::Continuity, Shown::Low) => format!("something lies beside the way {between}"),
        (Kind::Isolation, Shown::Low) => format!("{red} and {black} touch"),
        (Kind::Isolation, _) => format!("{red} and {black} are apart"),
        (Kind::Voltage | Kind::Drop, shown) => voltage(situation, measurement, shown),
    }
}

fn voltage(situation: &Situation<'_>, measurement: &Measurement, shown: Shown) -> String {
    let harness = situation.harness;
    let [red, black] = [measurement.red(), measurement.black()].map(|p| harness.point_name(p));
    let volts = match situation.predict_healthy(measurement) {
        Prediction::Volts(volts) => volts,
        _ => 0.0,
    };
    let alone = is_return(harness, measurement.black());
    match (volts.abs() > DEAD, shown) {
        (true, Shown::Good) if alone => format!("feed is good up to {red}"),
        (true, Shown::Good) => format!("feed at {red} and return at {black} are good"),
        (true, Shown::Low) if alone => format!("no or too little voltage at {red}"),
        (true, Shown::Low) => format!("feed at {red} or return at {black} fails"),
        (true, _) => format!("more than its voltage at {red}: something draws less, or its return fails"),
        (false, Shown::Good) => format!("{red} is at the level of {black}, as it should be"),
        (false, _) => format!("{red} stands off {black}: it has lost its return, or gets what it should not"),
    }
}

/// The frame, or the negative post of a source.
fn is_return(harness: &Harness, point: Point) -> bool {
    let post = |part: crate::definition::PartId| match &harness.parts[part].kind {
        PartKind::Battery { minus, .. } | PartKind::Alternator { minus, .. } => *minus == point,
        _ => false,
    };
    point == Point::Chassis || harness.parts_at(point).any(post)
}

/// How many of some faults, the likeliest first, make up nearly all of the probability: what is beyond them is
/// counted and not named.
pub(super) fn likely(faults: &[(Fault, f64)]) -> usize {
    /// This share of it.
    const NEARLY_ALL: f64 = 0.99;
    let total: f64 = faults.iter().map(|(_, weight)| weight).sum();
    let mut so_far = 0.0;
    let enough = |(_, weight): &(Fault, f64)| {
        so_far += weight;
        so_far >= NEARLY_ALL * total
    };
    faults.iter().position(enough).map_or(faults.len(), |at| at + 1)
}

/// Where faults lie, in few names, the likeliest first. A wire stands for its ends.
pub(super) fn places(harness: &Harness, faults: &[(Fault, f64)]) -> String {
    let mut names: Vec<String> = Vec::new();
    for element in faults[..likely(faults)].iter().flat_map(|(fault, _)| fault.elements()) {
        let name = match element {
            Element::Part(_) | Element::Bond(_) => element.id(harness),
            Element::Mated(a, _) => harness.point_name(Point::Contact(a)),
            Element::Wire(wire) | Element::Termination(wire, _) | Element::SpliceLeg(wire, _) => {
                harness.wires[wire].id.clone()
            }
        };
        if !names.contains(&name) {
            names.push(name);
        }
    }
    let shown = names.iter().take(NAMED).cloned().collect::<Vec<_>>().join(", ");
    match names.len().saturating_sub(NAMED) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

/// What hands and eyes do where readings tell no more: in the order that is expected to cost least, the last
/// one being what is left when the others were looked at.
pub(super) fn todo(harness: &Harness, faults: &[(Fault, f64)]) -> Vec<String> {
    let mut all: Vec<(String, Cause)> = Vec::new();
    for (fault, p) in faults {
        let (text, c) = deed(harness, *fault);
        match all.iter_mut().find(|(known, _)| *known == text) {
            Some((_, cause)) => cause.p += p,
            None => all.push((text, Cause { p: *p, c })),
        }
    }
    let causes: Vec<Cause> = all.iter().map(|(_, cause)| *cause).collect();
    let (order, _) = last_inferred(&causes);
    order.into_iter().map(|at| all[at].0.clone()).collect()
}

/// What to do about a fault, and about how long it takes in seconds: common practice, no source.
fn deed(harness: &Harness, fault: Fault) -> (String, f64) {
    match fault {
        Fault::Open(element) | Fault::High(element) => match element {
            Element::Wire(_) => {
                (format!("follow {} by hand and eye for its whole length", element.words(harness)), 120.0)
            }
            Element::Termination(..) => (format!("pull-test the {}", element.words(harness)), 30.0),
            Element::SpliceLeg(..) => (format!("open {} and look", element.words(harness)), 120.0),
            Element::Mated(..) => {
                let id = element.id(harness);
                (format!("drag-test the socket and look at both contacts of {id}"), 60.0)
            }
            Element::Bond(_) => (
                format!("take the lug off at the {}, clean to bare metal, refit", element.words(harness)),
                90.0,
            ),
            Element::Part(part) => match harness.parts[part].kind {
                PartKind::Fuse { .. } => (
                    format!("look why {} is open before one of the same rating goes in", element.id(harness)),
                    20.0,
                ),
                _ => swap(harness, element),
            },
        },
        Fault::Flat(part) => {
            let id = &harness.parts[part].id;
            (format!("charge {id} and test it alone, or find why it gives nothing"), 300.0)
        }
        Fault::Short(..) | Fault::ToChassis(_) => {
            let what = fault.words(harness);
            (format!("look where they can chafe: {what}; leave the fuse out until it is found"), 180.0)
        }
        Fault::Crossed(..) => (format!("compare the pin map with the plug: {}", fault.words(harness)), 90.0),
        Fault::PartShort(part)
        | Fault::StuckReleased(part)
        | Fault::StuckOperated(part)
        | Fault::CoilOpen(part)
        | Fault::Dead(part) => swap(harness, Element::Part(part)),
    }
}

fn swap(harness: &Harness, element: Element) -> (String, f64) {
    let quick =
        matches!(element, Element::Part(id) if matches!(harness.parts[id].kind, PartKind::Relay { .. }));
    let text = format!("swap in a known-good {} for the last proof", element.words(harness));
    (text, if quick { 45.0 } else { 240.0 })
}
