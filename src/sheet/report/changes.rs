//! What the repair changed at the connectors that were touched: pin map and faces, before and after.
//!
//! Comes in: the machine before and after. Goes out: rows for a table, and drawings. Ids are the
//! same in both, since a repair renames nothing: so only what was touched is looked at, and not two whole revisions.

use std::collections::BTreeSet;

use super::super::paper::{Picture, picture};
use crate::compare::carries;
use crate::definition::{ConnectorId, Harness, Point};
use crate::draw::Mark;
use crate::repair::TouchedNames;

/// The connectors that were touched, by name: opened, or at an end of a touched wire.
pub(super) fn connectors(harnesses: [&Harness; 2], touched: &[&TouchedNames]) -> Vec<String> {
    let mut names: BTreeSet<String> =
        touched.iter().flat_map(|touched| touched.connectors.iter().cloned()).collect();
    for harness in harnesses {
        let wires: BTreeSet<&String> = touched.iter().flat_map(|touched| &touched.wires).collect();
        for end in harness.wires.values().filter(|wire| wires.contains(&wire.id)).flat_map(|wire| wire.ends) {
            if let Point::Contact(id) = end {
                names.insert(harness.connectors[harness.contacts[id].connector].id.clone());
            }
        }
    }
    names.into_iter().collect()
}

/// Every contact of these connectors that a touched wire is in or that carries something else now: contact, before, after.
pub(super) fn rows(
    [before, after]: [&Harness; 2],
    connectors: &[String],
    touched: &[&TouchedNames],
) -> Vec<Vec<String>> {
    let mut rows = Vec::new();
    for name in connectors {
        let Some(id) = after.names.connector(name) else { continue };
        for contact in after.contacts_of(id) {
            let point = after.point_name(Point::Contact(contact));
            let [old, new] = [before, after].map(|harness| at(harness, &point));
            let is_touched = touched.iter().any(|touched| {
                touched.points.contains(&point)
                    || wires_at(after, &point).iter().any(|wire| touched.wires.contains(wire))
            });
            if old != new || is_touched {
                let same = if old == new { "as before".to_owned() } else { new };
                rows.push(vec![point, old, same]);
            }
        }
    }
    rows
}

/// The wires that end at a point, by name.
fn wires_at(harness: &Harness, point: &str) -> Vec<String> {
    let wires =
        harness.point(point).into_iter().flat_map(|point| harness.wires_at(point).collect::<Vec<_>>());
    wires.map(|wire| harness.wires[wire].id.clone()).collect()
}

/// What is at a point of a revision, by its name there.
fn at(harness: &Harness, point: &str) -> String {
    harness.point(point).map_or_else(|_| "no such contact".to_owned(), |point| carries(harness, point))
}

/// The wire sides of these connectors before and after, the touched contacts pointed out. What is mended is marked good
/// only once it is proven.
pub(super) fn faces(
    [before, after]: [&Harness; 2],
    connectors: &[String],
    touched: &[&TouchedNames],
    proven: bool,
) -> Vec<Picture> {
    let now = if proven { Mark::Good } else { Mark::NotYet };
    let mut drawings = Vec::new();
    for name in connectors {
        let both = [("Before", before, Mark::Bad), ("After", after, now)].map(|(when, harness, mark)| {
            let id = harness.names.connector(name)?;
            Some(face(harness, id, (when, mark), touched))
        });
        if let [Some(old), Some(new)] = both {
            drawings.extend([old, new]);
        }
    }
    drawings
}

fn face(
    harness: &Harness,
    id: ConnectorId,
    (when, mark): (&str, Mark),
    touched: &[&TouchedNames],
) -> Picture {
    let is_touched = |point: &str| {
        touched.iter().any(|touched| {
            touched.points.iter().any(|name| name == point)
                || wires_at(harness, point).iter().any(|wire| touched.wires.contains(wire))
        })
    };
    let marks: Vec<_> = harness
        .contacts_of(id)
        .filter(|contact| is_touched(&harness.point_name(Point::Contact(*contact))))
        .map(|contact| (contact, mark))
        .collect();
    picture(harness, id, when, &marks)
}
