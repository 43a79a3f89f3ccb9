//! The ends of a part are different points, and none of them lies inside a unit.

use super::Rule;
use crate::definition::diagnostic::{Diagnostic, Severity, Sink};
use crate::definition::model::{Harness, Part, PartId, PartKind, Point};

pub(super) const RULE: Rule = Rule {
    name: "part-ends",
    severity: Severity::Error,
    demands: "No end of a part is used twice, and none lies on a connector that sits on a unit.",
    why: "A part with both ends on one point does nothing; what is inside a unit is not ours to know, so nothing of ours ends there.",
    check,
};

fn check(harness: &Harness, sink: &Sink) {
    for (id, part) in harness.parts.iter() {
        for [a, b] in ways(&part.kind) {
            if a == b {
                twice(harness, part, a, sink);
            }
        }
        if let PartKind::Relay { coil, released, operated, .. } = &part.kind {
            // Coil and switch contacts may share a stud, but never a contact.
            let contacts =
                released.iter().chain(operated).flatten().filter(|p| matches!(p, Point::Contact(_)));
            for point in contacts.filter(|p| coil.contains(p)) {
                let name = harness.point_name(*point);
                let message = format!("relay {} uses {name} for its coil and for a switch contact", part.id);
                let help = "the coil has two contacts of its own: correct `coil`, `released` or `operated`";
                sink.push(Diagnostic::error(RULE.name, part.place, message).help(help));
            }
        }
        for point in part.kind.points() {
            elsewhere(harness, id, point, sink);
        }
    }
}

/// The pairs of points between which a part works.
fn ways(kind: &PartKind) -> Vec<[Point; 2]> {
    match kind {
        PartKind::Battery { plus, minus, .. } | PartKind::Alternator { plus, minus, .. } => {
            vec![[*plus, *minus]]
        }
        PartKind::Fuse { between, .. } | PartKind::Load { between, .. } => vec![*between],
        PartKind::Switch { positions, .. } => {
            positions.iter().flat_map(|p| p.closed.iter().copied()).collect()
        }
        PartKind::Relay { coil, released, operated, .. } => {
            std::iter::once(*coil).chain(released.iter().chain(operated).copied()).collect()
        }
        PartKind::Diode { anode, cathode, .. } => vec![[*anode, *cathode]],
        PartKind::Unit { functions } => {
            let pairs = |f: &crate::definition::model::Function| {
                [Some([f.output, f.supply]), f.ground.map(|g| [f.supply, g]), f.ground.map(|g| [f.output, g])]
            };
            functions.iter().flat_map(pairs).flatten().collect()
        }
    }
}

fn twice(harness: &Harness, part: &Part, point: Point, sink: &Sink) {
    let word = part.kind.word();
    let message = format!("{word} {} uses {} for two of its ends", part.id, harness.point_name(point));
    sink.push(Diagnostic::error(RULE.name, part.place, message).help("give it two different points"));
}

/// A suppression diode may sit on a relay's own blades, but nothing of ours sits inside a unit.
fn elsewhere(harness: &Harness, id: PartId, point: Point, sink: &Sink) {
    let Some(unit) = harness.unit_behind(point).filter(|unit| *unit != id) else { return };
    let part = &harness.parts[id];
    let place = harness.parts[unit].place;
    let message = format!(
        "{} {} ends at {}, inside unit {}",
        part.kind.word(),
        part.id,
        harness.point_name(point),
        harness.parts[unit].id
    );
    let mate = if let Point::Contact(contact) = point { harness.contacts[contact].mate } else { None };
    let help = match mate {
        Some(mate) => format!("name the harness side: \"{}\"", harness.point_name(Point::Contact(mate))),
        None => "name the contact of the harness side that mates with it".to_owned(),
    };
    sink.push(Diagnostic::error(RULE.name, part.place, message).related(place, "the unit").help(help));
}
