//! What contacts carry, before and after.
//!
//! Comes in: two matched revisions. Goes out: every contact that does not carry what it carried. Why: whoever stands at a
//! connector asks what is in a cavity, not which line of a definition changed.

use super::keys::Both;
use crate::definition::{ConnectorId, ContactId, Harness, Point};

/// A contact that does not carry what it carried.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PinChange {
    /// Its connector in the old and in the new revision.
    pub connector: [Option<ConnectorId>; 2],
    /// The contact in either.
    pub contact: [Option<ContactId>; 2],
    /// What it carried.
    pub before: String,
    /// What it carries.
    pub after: String,
    /// Whether what is in its own cavity changed, and not only where that leads.
    pub here: bool,
}

/// What is at a point: its wires with where they lead, its parts, its signal.
pub fn carries(harness: &Harness, point: Point) -> String {
    words(harness, point, true)
}

/// The same, with where wires lead or without.
fn words(harness: &Harness, point: Point, far_ends: bool) -> String {
    let wire = |id| {
        let wire = &harness.wires[id];
        let far = wire.ends.into_iter().find(|end| *end != point).unwrap_or(point);
        let far = if far_ends { format!(" to {}", harness.point_name(far)) } else { String::new() };
        let kind = [wire.gauge.map(|g| g.to_string()), wire.colour.as_ref().map(ToString::to_string)];
        let kind: Vec<String> = kind.into_iter().flatten().collect();
        let kind = if kind.is_empty() { String::new() } else { format!(" ({})", kind.join(" ")) };
        format!("{}{kind}{far}", wire.id)
    };
    let mut words: Vec<String> = harness.wires_at(point).map(wire).collect();
    words.extend(harness.parts_at(point).map(|part| format!("part {}", harness.parts[part].id)));
    if let Point::Contact(id) = point {
        let contact = &harness.contacts[id];
        words.extend(contact.signal.clone());
        if words.is_empty() && contact.spare {
            words.push("spare".to_owned());
        }
    }
    if words.is_empty() { "empty".to_owned() } else { words.join("; ") }
}

/// Whether a contact plainly carries what it carried, told without a text of it: most contacts of two revisions do.
fn is_kept(both: &Both, old: ContactId, new: ContactId) -> bool {
    let [olds, news] = both.harness;
    let (was, is) = (&olds.contacts[old], &news.contacts[new]);
    let points = [Point::Contact(old), Point::Contact(new)];
    let far = |harness: &Harness, ends: [Point; 2], point: Point| {
        let far = ends.into_iter().find(|end| *end != point).unwrap_or(point);
        harness.point_index(far)
    };
    let same_name = |a: usize, b: usize| {
        let [a, b] = [olds.point_at(a), news.point_at(b)];
        both.other(0, a) == Some(b) && both.named_alike(a, b)
    };
    let wires = [olds.wires_at(points[0]), news.wires_at(points[1])];
    let parts = [olds.parts_at(points[0]), news.parts_at(points[1])];
    let [a, b] = wires;
    let [c, d] = parts;
    was.signal == is.signal
        && was.spare == is.spare
        && a.len() == b.len()
        && c.len() == d.len()
        && c.zip(d).all(|(c, d)| olds.parts[c].id == news.parts[d].id)
        && a.zip(b).all(|(a, b)| {
            let (a, b) = (&olds.wires[a], &news.wires[b]);
            a.id == b.id
                && a.gauge == b.gauge
                && a.colour == b.colour
                && same_name(far(olds, a.ends, points[0]), far(news, b.ends, points[1]))
        })
}

/// Every contact that does not carry what it carried, in the order of the new revision; those that are gone behind.
pub(super) fn pins(both: &Both) -> Vec<PinChange> {
    let [old, new] = both.harness;
    let mut found = Vec::new();
    for (id, contact) in new.contacts.iter() {
        let point = Point::Contact(id);
        let was = match both.other(1, point) {
            Some(Point::Contact(was)) => Some(was),
            _ => None,
        };
        if was.is_some_and(|was| is_kept(both, was, id)) {
            continue;
        }
        let before =
            was.map_or_else(|| "no such contact".to_owned(), |was| carries(old, Point::Contact(was)));
        let after = carries(new, point);
        // A new contact that carries nothing is no news.
        if before != after && (was.is_some() || new.wires_at(point).next().is_some()) {
            let connector = [both.connector(1, contact.connector), Some(contact.connector)];
            let own = |harness, id| words(harness, Point::Contact(id), false);
            let here = was.is_none_or(|was| own(old, was) != own(new, id));
            found.push(PinChange { connector, contact: [was, Some(id)], before, after, here });
        }
    }
    for (id, contact) in old.contacts.iter() {
        let point = Point::Contact(id);
        if both.other(0, point).is_none() && old.wires_at(point).next().is_some() {
            let connector = [Some(contact.connector), both.connector(0, contact.connector)];
            let (before, after) = (carries(old, point), "no such contact".to_owned());
            found.push(PinChange { connector, contact: [Some(id), None], before, after, here: true });
        }
    }
    found
}
