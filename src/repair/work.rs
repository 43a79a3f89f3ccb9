//! What was done to a machine, and what of it was touched.
//!
//! Comes in: names as people write them. Goes out: a [`Work`], of which every name is known. Why: a repair is written
//! down in the trade's own few kinds, so that what it can have spoilt is known beforehand.

use crate::definition::colour::Colour;
use crate::definition::{ConnectorId, ContactId, Harness, PartId, Point, SpliceId, WireId};
use crate::plan::Touched;
use crate::units::{Gauge, Metres};

/// A repair.
#[derive(Debug, Clone, PartialEq)]
pub enum Work {
    /// A wire was replaced from end to end.
    ReplaceWire {
        /// The wire.
        wire: WireId,
        /// What the new one is, where that differs.
        new: NewWire,
    },
    /// A splice was put into a wire.
    Splice {
        /// The wire.
        wire: WireId,
        /// The end that the distance is counted from: 0 or 1.
        from: usize,
        /// How far from there.
        at: Metres,
        /// The splice's id; the next free one where `None`.
        id: Option<String>,
        /// Where one stands to reach it; where the nearer end is reached from where `None`.
        station: Option<String>,
        /// What the piece beyond the splice is, where it is a new one.
        new: NewWire,
    },
    /// One end of a wire was cut off and made anew.
    Reterminate {
        /// The wire.
        wire: WireId,
        /// The end: 0 or 1.
        end: usize,
        /// How long the wire is now.
        length: Option<Metres>,
    },
    /// A contact was replaced.
    ReplaceContact(ContactId),
    /// A contact was pushed back into its cavity until it locked.
    Reseat(ContactId),
    /// A connector's shell was replaced, with all its contacts.
    ReplaceConnector(ConnectorId),
    /// What was in one cavity is in another now.
    Move {
        /// The cavity that is given up.
        from: ContactId,
        /// The spare one.
        to: ContactId,
    },
    /// Two wires that stood in each other's cavity were put right.
    Repin(ContactId, ContactId),
    /// A part was replaced by its like.
    ReplacePart(PartId),
}

/// What a new wire is, where that differs from the old one.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct NewWire {
    /// Conductor size.
    pub gauge: Option<Gauge>,
    /// Insulation colour.
    pub colour: Option<Colour>,
    /// Length.
    pub length: Option<Metres>,
}

impl Work {
    /// Its kind, as a word that stays.
    pub fn kind(&self) -> &'static str {
        match self {
            Self::ReplaceWire { .. } => "replace-wire",
            Self::Splice { .. } => "splice",
            Self::Reterminate { .. } => "re-terminate",
            Self::ReplaceContact(_) => "replace-contact",
            Self::Reseat(_) => "re-seat",
            Self::ReplaceConnector(_) => "replace-connector",
            Self::Move { .. } => "move",
            Self::Repin(..) => "re-pin",
            Self::ReplacePart(_) => "replace-part",
        }
    }

    /// What was done, for people.
    pub fn words(&self, harness: &Harness) -> String {
        let wire = |id: WireId| &harness.wires[id].id;
        let contact = |id: ContactId| harness.point_name(Point::Contact(id));
        match self {
            Self::ReplaceWire { wire: id, new } => format!("Replaced wire {}{}", wire(*id), new.words()),
            Self::Splice { wire: id, from, at, new, .. } => {
                let end = harness.point_name(harness.wires[*id].ends[*from]);
                format!("Spliced wire {} {at} from {end}{}", wire(*id), new.words())
            }
            Self::Reterminate { wire: id, end, .. } => {
                format!(
                    "Made the end of wire {} at {} anew",
                    wire(*id),
                    harness.point_name(harness.wires[*id].ends[*end])
                )
            }
            Self::ReplaceContact(id) => format!("Replaced contact {}", contact(*id)),
            Self::Reseat(id) => format!("Seated contact {} again", contact(*id)),
            Self::ReplaceConnector(id) => format!("Replaced connector {}", harness.connectors[*id].id),
            Self::Move { from, to } => {
                format!("Moved what was in {} to the spare {}", contact(*from), contact(*to))
            }
            Self::Repin(a, b) => {
                format!("Put the wires of {} and {} each in its own cavity", contact(*a), contact(*b))
            }
            Self::ReplacePart(id) => {
                let part = &harness.parts[*id];
                format!("Replaced {} {}", part.kind.word(), part.id)
            }
        }
    }
}

impl NewWire {
    /// Whether it is like the old one.
    pub fn is_alike(&self) -> bool {
        *self == Self::default()
    }

    fn words(&self) -> String {
        let words = [
            self.gauge.map(|gauge| gauge.to_string()),
            self.colour.as_ref().map(ToString::to_string),
            self.length.map(|length| length.to_string()),
        ];
        let words: Vec<String> = words.into_iter().flatten().collect();
        if words.is_empty() { String::new() } else { format!(", the new one {}", words.join(", ")) }
    }
}

/// What was touched, by the names of the new revision: as it stands in the log.
#[derive(Debug, Clone, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct TouchedNames {
    /// Wires that are new, cut or pulled at.
    #[serde(default)]
    pub wires: Vec<String>,
    /// Contacts, splices and terminals that were made or handled.
    #[serde(default)]
    pub points: Vec<String>,
    /// Connectors that were opened for it.
    #[serde(default)]
    pub connectors: Vec<String>,
    /// Parts that are new.
    #[serde(default)]
    pub parts: Vec<String>,
}

impl TouchedNames {
    /// Adds what another repair touched.
    pub fn join(&mut self, other: &Self) {
        other.wires.iter().for_each(|name| add(&mut self.wires, name));
        other.points.iter().for_each(|name| add(&mut self.points, name));
        other.connectors.iter().for_each(|name| add(&mut self.connectors, name));
        other.parts.iter().for_each(|name| add(&mut self.parts, name));
    }

    /// Leaves out what a definition does not have.
    pub fn keep_known(&mut self, harness: &Harness) {
        let known = |name: &String| harness.names.get(name).is_some();
        self.wires.retain(known);
        self.points.retain(|name| harness.point(name).is_ok());
        self.connectors.retain(known);
        self.parts.retain(known);
    }

    /// What the names stand for in a definition.
    ///
    /// # Errors
    /// The first name that the definition does not know.
    pub fn resolve(&self, harness: &Harness) -> Result<Touched, String> {
        let wire = |name: &String| find(harness.wires.iter().find(|(_, wire)| wire.id == *name), name);
        let part = |name: &String| harness.names.part(name).ok_or_else(|| name.clone());
        let connector = |name: &String| harness.names.connector(name).ok_or_else(|| name.clone());
        Ok(Touched {
            wires: self.wires.iter().map(wire).collect::<Result<_, _>>()?,
            points: self
                .points
                .iter()
                .map(|name| harness.point(name).map_err(|_| name.clone()))
                .collect::<Result<_, _>>()?,
            opened: self.connectors.iter().map(connector).collect::<Result<_, _>>()?,
            parts: self.parts.iter().map(part).collect::<Result<_, _>>()?,
        })
    }
}

fn find<T>(found: Option<(WireId, T)>, name: &str) -> Result<WireId, String> {
    found.map(|(id, _)| id).ok_or_else(|| name.to_owned())
}

/// Collects what a work touches, in names of the old revision; what the edit renames is put right by it.
pub(super) fn touched(harness: &Harness, work: &Work) -> TouchedNames {
    let mut all = Collector { harness, names: TouchedNames::default() };
    match work {
        Work::ReplaceWire { wire, .. } => {
            all.wire(*wire);
            harness.wires[*wire].ends.iter().for_each(|end| all.point(*end));
        }
        // The halves and the splice have no names yet.
        Work::Splice { .. } => {}
        Work::Reterminate { wire, end, .. } => {
            all.wire(*wire);
            all.point(harness.wires[*wire].ends[*end]);
        }
        Work::ReplaceContact(contact) | Work::Reseat(contact) => all.cavity(*contact),
        Work::ReplaceConnector(connector) => {
            all.connector(*connector);
            harness.contacts_of(*connector).filter(|id| in_use(harness, *id)).for_each(|id| all.cavity(id));
        }
        Work::Move { to, .. } => {
            all.connector(harness.contacts[*to].connector);
        }
        Work::Repin(a, b) => [*a, *b].into_iter().for_each(|id| all.cavity(id)),
        Work::ReplacePart(part) => {
            all.names.parts.push(harness.parts[*part].id.clone());
            for point in harness.parts[*part].kind.points() {
                all.point(point);
            }
            for (id, connector) in harness.connectors.iter() {
                if connector.part == Some(*part) {
                    all.connector(id);
                }
            }
        }
    }
    all.names
}

fn in_use(harness: &Harness, contact: ContactId) -> bool {
    let point = Point::Contact(contact);
    harness.wires_at(point).len() > 0 || harness.parts_at(point).len() > 0
}

struct Collector<'a> {
    harness: &'a Harness,
    names: TouchedNames,
}

impl Collector<'_> {
    fn wire(&mut self, id: WireId) {
        add(&mut self.names.wires, &self.harness.wires[id].id);
    }

    fn point(&mut self, point: Point) {
        add(&mut self.names.points, &self.harness.point_name(point));
        if let Point::Contact(id) = point {
            self.connector(self.harness.contacts[id].connector);
        }
    }

    fn cavity(&mut self, contact: ContactId) {
        self.point(Point::Contact(contact));
        self.harness.wires_at(Point::Contact(contact)).for_each(|wire| self.wire(wire));
    }

    fn connector(&mut self, id: ConnectorId) {
        add(&mut self.names.connectors, &self.harness.connectors[id].id);
    }
}

pub(super) fn add(names: &mut Vec<String>, name: &str) {
    if !names.iter().any(|known| known == name) {
        names.push(name.to_owned());
    }
}

/// A splice's id that nothing has: the letters of the splices there are, and the next number.
pub(super) fn new_splice(harness: &Harness) -> String {
    let number_of = |id: &str, before: &str| id.strip_prefix(before).and_then(|n| n.parse::<u32>().ok());
    let first = harness.splices.ids().next().map(|id: SpliceId| harness.splices[id].id.clone());
    let before = first.map(|id| id.trim_end_matches(|c: char| c.is_ascii_digit()).to_owned());
    let before = before.filter(|before| !before.is_empty()).unwrap_or_else(|| "SP".to_owned());
    let most =
        harness.splices.values().filter_map(|splice| number_of(&splice.id, &before)).max().unwrap_or(0);
    let mut number = u64::from(most) + 1;
    while harness.names.get(&format!("{before}{number}")).is_some() {
        number += 1;
    }
    format!("{before}{number}")
}

/// A wire id that nothing has, beside another: the next free segment letter of its number, by the custom of significant
/// wire ids; where the id has none, a number behind it.
pub(super) fn new_wire(harness: &Harness, id: &str) -> String {
    let free = |id: &String| harness.names.get(id).is_none();
    if let Some((before, segment, after)) = segment_of(id) {
        let mut letters =
            if segment.is_empty() { "A".to_owned() } else { super::revision::next_letters(segment) };
        // Beyond two letters a wire id has no segment.
        while letters.len() <= 2 {
            let next = format!("{before}{letters}{after}");
            if free(&next) {
                return next;
            }
            letters = super::revision::next_letters(&letters);
        }
    }
    let mut number = 2_u64;
    loop {
        let next = format!("{id}-{number}");
        if free(&next) {
            return next;
        }
        number += 1;
    }
}

/// A wire id before, in and behind its segment letters: `31`, `C`, ``; `P215`, `A`, `4N`.
fn segment_of(id: &str) -> Option<(&str, &str, &str)> {
    let circuit = crate::definition::wire_id::circuit_of(id)?;
    let rest = id.strip_prefix(circuit.as_str())?;
    let end = rest.find(|c: char| !c.is_ascii_uppercase()).unwrap_or(rest.len());
    Some((&id[..circuit.len()], &rest[..end], &rest[end..]))
}
