//! Whether a repair can be, and why not.

use super::work::Work;
use crate::conductor::area;
use crate::definition::edit::EditError;
use crate::definition::{ContactId, Harness, Point};
use crate::units::{Gauge, Metres};

/// Why a repair cannot be.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RepairError {
    /// The text leaves no place for it.
    #[error("{file}: {source}")]
    Edit {
        /// The file.
        file: String,
        /// Why.
        source: EditError,
    },
    /// It contradicts the definition.
    #[error("{0}")]
    Impossible(String),
    /// A rule that is never broken without a reason.
    #[error(
        "refused: {message} ({source_named}); --override REASON is for an engineering approval, and is logged"
    )]
    Never {
        /// What is wrong.
        message: String,
        /// Where the rule stands.
        source_named: &'static str,
    },
}

pub(super) fn impossible<T>(message: impl Into<String>) -> Result<T, RepairError> {
    Err(RepairError::Impossible(message.into()))
}

/// What can be told without trying.
pub(super) fn possible(harness: &Harness, work: &Work) -> Result<(), RepairError> {
    match work {
        Work::ReplaceWire { wire, new } => {
            let own = &harness.wires[*wire];
            fits(harness, [own.gauge, new.gauge], &own.ends)?;
            positive(new.length)
        }
        Work::Splice { wire, at, new, from, .. } => {
            let own = &harness.wires[*wire];
            let Some(length) = own.length else {
                return impossible(format!(
                    "wire {} has no length in the definition: give it one first",
                    own.id
                ));
            };
            if at.get() <= 0.0 || at.get() >= length.get() {
                return impossible(format!(
                    "wire {} is {length} long: a splice {at} from an end does not lie on it",
                    own.id
                ));
            }
            if new.length.is_some() {
                return impossible("a splice's halves take their lengths from the distance");
            }
            positive(new.length)?;
            fits(harness, [own.gauge, new.gauge], &own.ends[1 - from..=1 - from])
        }
        Work::Reterminate { length, .. } => positive(*length),
        Work::Move { from, to } => movable(harness, *from, *to),
        Work::Repin(a, b) => {
            if harness.contacts[*a].connector != harness.contacts[*b].connector || a == b {
                return impossible("two wires are exchanged at one connector: name two of its contacts");
            }
            [*a, *b].into_iter().try_for_each(|id| holds_wire(harness, id))
        }
        Work::ReplaceContact(id) | Work::Reseat(id) => {
            let point = Point::Contact(*id);
            if harness.wires_at(point).len() == 0 && harness.parts_at(point).len() == 0 {
                return impossible(format!(
                    "nothing is in {}: there is no contact to work on",
                    harness.point_name(point)
                ));
            }
            Ok(())
        }
        Work::ReplaceConnector(_) | Work::ReplacePart(_) => Ok(()),
    }
}

fn positive(length: Option<Metres>) -> Result<(), RepairError> {
    match length {
        Some(length) if length.get() <= 0.0 => impossible("a wire has a length of more than nothing"),
        _ => Ok(()),
    }
}

fn holds_wire(harness: &Harness, id: ContactId) -> Result<(), RepairError> {
    let point = Point::Contact(id);
    if harness.wires_at(point).len() == 0 {
        return impossible(format!("no wire is in {}", harness.point_name(point)));
    }
    Ok(())
}

/// Conductor sizes that crimp contacts of each size take, from memory (AS39029, MIL-DTL-38999): thickest and thinnest AWG.
const TAKES: [(&str, i8, i8); 9] = [
    ("22D", 22, 28),
    ("22M", 24, 28),
    ("22", 22, 26),
    ("23", 22, 28),
    ("20", 20, 24),
    ("16", 16, 20),
    ("12", 12, 14),
    ("8", 8, 8),
    ("4", 4, 4),
];

/// Whether the contacts at some points take a new conductor, where their size is known. Where the old one is out of the
/// table's range already, the contact is of another series and the table says nothing.
fn fits(harness: &Harness, [old, new]: [Option<Gauge>; 2], ends: &[Point]) -> Result<(), RepairError> {
    let Some(new) = new else { return Ok(()) };
    for end in ends {
        let Point::Contact(id) = *end else { continue };
        let contact = &harness.contacts[id];
        let size = contact.contact_size.or(harness.connectors[contact.connector].contact_size);
        let row = size.and_then(|size| TAKES.iter().find(|(name, ..)| *name == size.name()));
        let Some((name, thick, thin)) = row else { continue };
        let of = |number| crate::units::Awg::new(number).map_or(0.0, |awg| area(Gauge::Awg(awg)).get());
        // Metric sizes lie between AWG sizes: a twentieth more or less still fits the barrel.
        let takes = |gauge: Gauge| {
            let square = area(gauge).get();
            square <= of(*thick) * 1.05 && square >= of(*thin) * 0.95
        };
        if !takes(new) && old.is_none_or(takes) {
            return impossible(format!(
                "contact {} of size {name} takes {thick} to {thin} AWG (AS39029, from memory): {new} does not fit",
                harness.point_name(*end)
            ));
        }
    }
    Ok(())
}

/// Whether what is in a cavity can go to another one: on both halves of a mating.
fn movable(harness: &Harness, from: ContactId, to: ContactId) -> Result<(), RepairError> {
    let name = |id: ContactId| harness.point_name(Point::Contact(id));
    if harness.contacts[from].connector != harness.contacts[to].connector || from == to {
        return impossible(format!("{} and {} are not two cavities of one connector", name(from), name(to)));
    }
    holds_wire(harness, from)?;
    let (mates, spares) = (harness.contacts[from].mate, harness.contacts[to].mate);
    for id in [Some(to), spares].into_iter().flatten() {
        if harness.wires_at(Point::Contact(id)).len() > 0 || harness.parts_at(Point::Contact(id)).len() > 0 {
            let spare = |id: &ContactId| harness.contacts[*id].spare;
            let free = harness.contacts_of(harness.contacts[to].connector).filter(spare);
            let free: Vec<String> = free.take(6).map(name).collect();
            let help = if free.is_empty() {
                "it has no spare ones".to_owned()
            } else {
                format!("spare are {}", free.join(", "))
            };
            return impossible(format!("{} is not spare: {help}", name(id)));
        }
    }
    for id in [Some(from), mates].into_iter().flatten() {
        let connector = &harness.connectors[harness.contacts[id].connector];
        if let Some(part) = connector.part {
            let part = &harness.parts[part];
            return impossible(format!(
                "{} sits on {} {}, which expects it at {}: a cavity of a part is not changed from outside",
                connector.id,
                part.kind.word(),
                part.id,
                harness.contacts[id].name
            ));
        }
        if harness.parts_at(Point::Contact(id)).len() > 0 {
            return impossible(format!("a part attaches to {}: only wires are moved", name(id)));
        }
    }
    Ok(())
}
