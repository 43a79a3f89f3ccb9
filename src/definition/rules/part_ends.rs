//! The ends of a part are different points, and nobody else's inside.

use super::Rule;
use crate::definition::diagnostic::{Diagnostic, Severity, Sink};
use crate::definition::model::{Harness, Part, PartId, PartKind, Point};

pub(super) const RULE: Rule = Rule {
    name: "part-ends",
    severity: Severity::Error,
    demands: "No end of a part is used twice, and none lies on a connector that sits on another part.",
    why: "A part with both ends on one point does nothing; a part that ends inside another is misplaced.",
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
            for point in released.iter().chain(operated).flatten().filter(|p| coil.contains(p)) {
                twice(harness, part, *point, sink);
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
    let message = format!("part {} uses {} for two of its ends", part.id, harness.point_name(point));
    sink.push(Diagnostic::error(RULE.name, part.place, message).help("give it two different points"));
}

fn elsewhere(harness: &Harness, id: PartId, point: Point, sink: &Sink) {
    let Point::Contact(contact) = point else { return };
    let connector = &harness.connectors[harness.contacts[contact].connector];
    let Some(owner) = connector.part.filter(|owner| *owner != id) else { return };
    let part = &harness.parts[id];
    let message = format!(
        "part {} ends at {}, but connector {} sits on part {}",
        part.id,
        harness.point_name(point),
        connector.id,
        harness.parts[owner].id
    );
    let help = "name the contact of the harness side, or correct the connector's `part`";
    sink.push(
        Diagnostic::error(RULE.name, part.place, message)
            .related(connector.place, "the connector")
            .help(help),
    );
}
