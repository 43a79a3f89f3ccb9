//! The typed harness: every name resolved, every quantity in its unit.
//!
//! Comes in: nothing but what the resolver puts here. Goes out: plain data that every room above
//! reads. Why: past this page no dangling end, no unknown contact and no bare number exists.

mod ids;
mod names;
mod part;
mod prior;

pub use ids::{
    ConditionId, ConnectorId, ContactId, Id, MatingId, PartId, SpliceId, StationId, Table, TerminalId,
    TrunkId, WireId,
};
pub use names::{Named, Names, PointError};
pub use part::{Duty, Function, LoadKind, Part, PartKind, Position};
pub use prior::{Priors, Sort};

use super::colour::Colour;
use super::diagnostic::Place;
use super::face::Face;
pub use super::face::Half;
use crate::conductor::ContactSize;
use crate::units::{Amps, Celsius, Gauge, Metres, Ohms, Seconds, Volts};

/// A machine's wiring, as one or several files define it.
#[derive(Debug, Clone)]
pub struct Harness {
    /// Id, title, revision.
    pub about: About,
    /// SHA-256 of all source files, in lower-case hex.
    pub hash: String,
    /// What the definition says about small resistances, where it overrides the defaults.
    pub resistance: ResistanceOverrides,
    /// What the definition says about how likely faults are.
    pub priors: Priors,
    /// Places where a person stands.
    pub stations: Table<StationId, Station>,
    /// Connectors.
    pub connectors: Table<ConnectorId, Connector>,
    /// Contacts; those of one connector stand together, in the order of its face.
    pub contacts: Table<ContactId, Contact>,
    /// Connectors plugged together.
    pub matings: Table<MatingId, Mating>,
    /// Splices.
    pub splices: Table<SpliceId, Splice>,
    /// Terminals.
    pub terminals: Table<TerminalId, Terminal>,
    /// Wire segments.
    pub wires: Table<WireId, Wire>,
    /// Stretches of bundle.
    pub trunks: Table<TrunkId, Trunk>,
    /// What is not wire.
    pub parts: Table<PartId, Part>,
    /// States of the machine that someone brings about.
    pub conditions: Table<ConditionId, Condition>,
    /// What the manual or the maker demands.
    pub limits: Vec<Limit>,
    /// Arrangements of contacts that connectors use.
    pub faces: Vec<Face>,
    /// Finds things by the names people use.
    pub names: Names,
    /// Which wires end where, sorted.
    pub(in crate::definition) wire_ends: Vec<(Point, WireId)>,
    /// Which parts attach where, sorted.
    pub(in crate::definition) part_ends: Vec<(Point, PartId)>,
}

/// The definition's own particulars.
#[derive(Debug, Clone, Default)]
pub struct About {
    /// Stable id.
    pub id: String,
    /// What it is, for people.
    pub title: String,
    /// Revision letter or number.
    pub revision: String,
    /// Variant that was applied, if one was.
    pub variant: Option<String>,
    /// Nominal system voltage.
    pub nominal: Option<Volts>,
    /// Whose limits the machine is judged by.
    pub rule_set: Option<RuleSet>,
}

/// Whose limits of voltage drop a machine is judged by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum RuleSet {
    /// Road and farm vehicles: the usual limits of vehicle repair manuals.
    Vehicle,
    /// Aircraft: FAA AC 43.13-1B.
    Aircraft,
    /// Boats: ABYC E-11.
    Boat,
    /// Buildings: the informational notes of the NEC.
    Building,
}

impl RuleSet {
    /// Every rule set.
    pub const ALL: [Self; 4] = [Self::Vehicle, Self::Aircraft, Self::Boat, Self::Building];

    /// As a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Vehicle => "vehicle",
            Self::Aircraft => "aircraft",
            Self::Boat => "boat",
            Self::Building => "building",
        }
    }

    /// From the word it is written as.
    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|set| set.word() == text)
    }
}

/// A definition's own figures for the small resistances; `None` leaves the default.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct ResistanceOverrides {
    /// One end of a wire: crimp or lug.
    pub termination: Option<Ohms>,
    /// A mated pair of contacts.
    pub contact: Option<Ohms>,
    /// One leg of a splice.
    pub splice: Option<Ohms>,
    /// A ground terminal to chassis.
    pub bond: Option<Ohms>,
    /// A fuse or breaker.
    pub fuse: Option<Ohms>,
    /// A closed switch contact.
    pub switch: Option<Ohms>,
    /// A closed relay contact.
    pub relay: Option<Ohms>,
}

/// Where a person stands to reach something.
#[derive(Debug, Clone)]
pub struct Station {
    /// Its id.
    pub id: String,
    /// What it is, for people.
    pub title: String,
    /// Time to get there from another station.
    pub reach: Option<Seconds>,
}

/// A connector.
#[derive(Debug, Clone)]
pub struct Connector {
    /// Its id.
    pub id: String,
    /// What it is, for people.
    pub title: String,
    /// Where one stands to reach it.
    pub station: Option<StationId>,
    /// The part it sits on, if any.
    pub part: Option<PartId>,
    /// Index into [`Harness::faces`], where its geometry is known.
    pub face: Option<usize>,
    /// Pins or sockets, where known.
    pub half: Option<Half>,
    /// How it is plugged, if it has a mate.
    pub mating: Option<MatingId>,
    /// Whether it can be probed from the wire side while mated.
    pub backprobe: bool,
    /// Effort to unplug it.
    pub unplug: Option<Seconds>,
    /// A hazard that forbids ordinary probing.
    pub hazard: Option<String>,
    /// Size of its contacts, where one holds for all that do not say otherwise.
    pub contact_size: Option<ContactSize>,
    /// Its first contact; the others follow.
    pub first: ContactId,
    /// How many contacts it has.
    pub count: usize,
    /// Where it was defined.
    pub place: Place,
}

/// A contact of a connector, and what the definition says of its pin.
#[derive(Debug, Clone)]
pub struct Contact {
    /// Its connector.
    pub connector: ConnectorId,
    /// Its name, as on the connector.
    pub name: String,
    /// What it is for.
    pub signal: Option<String>,
    /// Other markings, such as a moulded number.
    pub also: Vec<String>,
    /// Several wires, or one signal on several contacts, on purpose.
    pub joined: bool,
    /// Empty on purpose.
    pub spare: bool,
    /// Closed with a sealing plug.
    pub plugged: bool,
    /// Its own size, where that differs from its connector's.
    pub contact_size: Option<ContactSize>,
    /// The current its maker rates it for.
    pub amps: Option<Amps>,
    /// The contact it meets when its connector is mated.
    pub mate: Option<ContactId>,
    /// Where its pin was described, or else where its connector was defined.
    pub place: Place,
}

/// Two connectors plugged together.
#[derive(Debug, Clone)]
pub struct Mating {
    /// One of the two, the one defined first.
    pub first: ConnectorId,
    /// The other.
    pub second: ConnectorId,
    /// Effort to part or join them.
    pub unplug: Option<Seconds>,
}

/// A joint of two or more wires.
#[derive(Debug, Clone)]
pub struct Splice {
    /// Its id.
    pub id: String,
    /// What it is, for people.
    pub title: String,
    /// Where one stands to reach it.
    pub station: Option<StationId>,
    /// Where it was defined.
    pub place: Place,
}

/// A single-point end.
#[derive(Debug, Clone)]
pub struct Terminal {
    /// Its id.
    pub id: String,
    /// What it is, for people.
    pub title: String,
    /// Where one stands to reach it.
    pub station: Option<StationId>,
    /// Bonded to chassis.
    pub ground: bool,
    /// Where it was defined.
    pub place: Place,
}

/// Where wires, parts and probes attach.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Point {
    /// A contact of a connector.
    Contact(ContactId),
    /// A splice.
    Splice(SpliceId),
    /// A terminal.
    Terminal(TerminalId),
    /// The machine's frame.
    Chassis,
}

/// One segment of conductor between two ends.
#[derive(Debug, Clone)]
pub struct Wire {
    /// Its id.
    pub id: String,
    /// Its two ends.
    pub ends: [Point; 2],
    /// Conductor size.
    pub gauge: Option<Gauge>,
    /// Insulation colour.
    pub colour: Option<Colour>,
    /// Length.
    pub length: Option<Metres>,
    /// Trunks it runs through, in order.
    pub route: Vec<TrunkId>,
    /// The circuit it belongs to.
    pub circuit: Option<String>,
    /// Wires with the same mark are twisted together.
    pub twisted: Option<String>,
    /// Wires with the same mark share a shield.
    pub shield: Option<String>,
    /// A hazard that forbids ordinary probing.
    pub hazard: Option<String>,
    /// The continuous current its maker allows where it lies.
    pub ampacity: Option<Amps>,
    /// Temperature its insulation is rated for.
    pub rated: Option<Celsius>,
    /// Where it was defined.
    pub place: Place,
}

/// A stretch of bundle between two named places.
#[derive(Debug, Clone)]
pub struct Trunk {
    /// Its id.
    pub id: String,
    /// The places it runs between.
    pub between: [String; 2],
    /// Its length.
    pub length: Option<Metres>,
}

/// A state of the machine that someone brings about.
#[derive(Debug, Clone)]
pub struct Condition {
    /// Its id.
    pub id: String,
    /// What it is, for people.
    pub title: String,
    /// Whether it can hold only with power connected.
    pub needs_power: bool,
}

/// What a reading measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// Resistance along what should be joined.
    Continuity,
    /// Resistance between what should be apart.
    Isolation,
    /// Voltage between two points.
    Voltage,
    /// Voltage lost along one way under load.
    Drop,
}

impl Kind {
    /// Every kind with the word it is written as.
    pub const ALL: [(&'static str, Self); 4] = [
        ("continuity", Self::Continuity),
        ("isolation", Self::Isolation),
        ("voltage", Self::Voltage),
        ("drop", Self::Drop),
    ];

    /// From the word it is written as.
    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL.iter().find(|(word, _)| *word == text).map(|(_, kind)| *kind)
    }

    /// As a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Continuity => "continuity",
            Self::Isolation => "isolation",
            Self::Voltage => "voltage",
            Self::Drop => "drop",
        }
    }

    /// Whether the meter drives a current of its own, which is allowed with power isolated only.
    pub fn is_resistance(self) -> bool {
        matches!(self, Self::Continuity | Self::Isolation)
    }
}

/// What the manual or the maker demands of one reading; it overrides what is computed.
#[derive(Debug, Clone)]
pub struct Limit {
    /// What it is, for people.
    pub title: String,
    /// What is measured.
    pub kind: Kind,
    /// Red probe.
    pub red: Point,
    /// Black probe.
    pub black: Point,
    /// Matings that are parted.
    pub unplugged: Vec<MatingId>,
    /// Switch positions that differ from rest.
    pub set: Vec<(PartId, usize)>,
    /// Conditions that hold.
    pub conditions: Vec<ConditionId>,
    /// Lower bound, in ohms or volts.
    pub low: Option<f64>,
    /// Upper bound, in ohms or volts.
    pub high: Option<f64>,
    /// Where the demand stands.
    pub source: String,
    /// Where it was defined.
    pub place: Place,
}

impl Harness {
    /// Whether it has a source of its own: a battery or an alternator.
    pub fn has_source(&self) -> bool {
        let source = |kind: &PartKind| matches!(kind, PartKind::Battery { .. } | PartKind::Alternator { .. });
        self.parts.values().any(|part| source(&part.kind))
    }

    /// Whether anything of it is bonded to a chassis; a free lead has none.
    pub fn has_chassis(&self) -> bool {
        self.terminals.values().any(|terminal| terminal.ground)
    }

    /// The contacts of a connector, in the order of its face.
    pub fn contacts_of(
        &self,
        connector: ConnectorId,
    ) -> impl DoubleEndedIterator<Item = ContactId> + ExactSizeIterator + use<> {
        let Connector { first, count, .. } = self.connectors[connector];
        (first.index()..first.index() + count).map(ContactId::from_index)
    }

    /// The connector at the other side of a mating.
    pub fn mate_of(&self, connector: ConnectorId) -> Option<ConnectorId> {
        let Mating { first, second, .. } = self.matings[self.connectors[connector].mating?];
        Some(if first == connector { second } else { first })
    }

    /// A point as people write it: `P1.K`, `SP2`, `GP1`, `chassis`.
    pub fn point_name(&self, point: Point) -> String {
        match point {
            Point::Contact(id) => {
                let contact = &self.contacts[id];
                format!("{}.{}", self.connectors[contact.connector].id, contact.name)
            }
            Point::Splice(id) => self.splices[id].id.clone(),
            Point::Terminal(id) => self.terminals[id].id.clone(),
            Point::Chassis => Names::CHASSIS.to_owned(),
        }
    }

    /// The wires that end at a point, in the order they were written. Cost: one binary search.
    pub fn wires_at(&self, point: Point) -> impl ExactSizeIterator<Item = WireId> + Clone {
        at_point(&self.wire_ends, point)
    }

    /// The parts that attach to a point. Cost: one binary search.
    pub fn parts_at(&self, point: Point) -> impl ExactSizeIterator<Item = PartId> + Clone {
        at_point(&self.part_ends, point)
    }

    /// How many points there are: contacts, splices, terminals and the chassis.
    pub fn point_count(&self) -> usize {
        self.contacts.len() + self.splices.len() + self.terminals.len() + 1
    }

    /// The position of a point among all points, from 0 to [`Harness::point_count`].
    pub fn point_index(&self, point: Point) -> usize {
        match point {
            Point::Contact(id) => id.index(),
            Point::Splice(id) => self.contacts.len() + id.index(),
            Point::Terminal(id) => self.contacts.len() + self.splices.len() + id.index(),
            Point::Chassis => self.point_count() - 1,
        }
    }

    /// The point at a position, as [`Harness::point_index`] counts them.
    pub fn point_at(&self, index: usize) -> Point {
        let (contacts, splices) = (self.contacts.len(), self.splices.len());
        if index < contacts {
            Point::Contact(ContactId::from_index(index))
        } else if index < contacts + splices {
            Point::Splice(SpliceId::from_index(index - contacts))
        } else if index < contacts + splices + self.terminals.len() {
            Point::Terminal(TerminalId::from_index(index - contacts - splices))
        } else {
            Point::Chassis
        }
    }

    /// All points, in the order of [`Harness::point_index`].
    pub fn points(&self) -> impl Iterator<Item = Point> {
        let contacts = self.contacts.ids().map(Point::Contact);
        let splices = self.splices.ids().map(Point::Splice);
        let terminals = self.terminals.ids().map(Point::Terminal);
        contacts.chain(splices).chain(terminals).chain(std::iter::once(Point::Chassis))
    }

    /// Reads a point as people write it.
    ///
    /// # Errors
    /// Says whether the connector or the contact is unknown, and what comes nearest.
    pub fn point(&self, text: &str) -> Result<Point, PointError> {
        self.names.point(text, self, true)
    }

    /// Where one stands to reach a point, if the definition says.
    pub fn station_of(&self, point: Point) -> Option<StationId> {
        match point {
            Point::Contact(id) => self.connectors[self.contacts[id].connector].station,
            Point::Splice(id) => self.splices[id].station,
            Point::Terminal(id) => self.terminals[id].station,
            Point::Chassis => None,
        }
    }

    /// The unit whose inside a contact leads to, if its connector sits on one.
    pub fn unit_behind(&self, point: Point) -> Option<PartId> {
        let Point::Contact(id) = point else { return None };
        let part = self.connectors[self.contacts[id].connector].part?;
        matches!(self.parts[part].kind, PartKind::Unit { .. }).then_some(part)
    }

    /// The first twelve digits of the content hash: enough to recognise a stale print.
    pub fn short_hash(&self) -> &str {
        self.hash.get(..12).unwrap_or(&self.hash)
    }
}

/// The second halves of all pairs whose first half is `point`, in a sorted list of pairs.
fn at_point<T: Copy>(ends: &[(Point, T)], point: Point) -> impl ExactSizeIterator<Item = T> + Clone {
    let from = ends.partition_point(|(p, _)| *p < point);
    let count = ends[from..].partition_point(|(p, _)| *p == point);
    ends[from..from + count].iter().map(|(_, item)| *item)
}
