//! The machine as JSON. Its shape stands in `tests/reference/machine.schema.json`; keys may be added, none is renamed.

use serde::Serialize;

use crate::definition::{Connector, ConnectorId, Half, Harness, Point, StationId};
use crate::units::Metres;

/// Number of the shape.
const FORMAT: u8 = 1;

/// A whole machine. Texts are ids and points as definitions write them; lengths are in metres.
#[derive(Debug, Clone, Serialize)]
pub struct MachineOut {
    format: u8,
    harness: AboutOut,
    stations: Vec<StationOut>,
    connectors: Vec<ConnectorOut>,
    splices: Vec<JointOut>,
    terminals: Vec<JointOut>,
    wires: Vec<WireOut>,
    trunks: Vec<TrunkOut>,
    parts: Vec<PartOut>,
}

#[derive(Debug, Clone, Serialize)]
struct AboutOut {
    id: String,
    title: String,
    revision: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    variant: Option<String>,
    hash: String,
}

#[derive(Debug, Clone, Serialize)]
struct StationOut {
    id: String,
    title: String,
}

#[derive(Debug, Clone, Serialize)]
struct ConnectorOut {
    id: String,
    title: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    station: Option<String>,
    /// `pin` or `socket`.
    #[serde(skip_serializing_if = "Option::is_none")]
    contact: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    mate: Option<String>,
    /// The part it sits on.
    #[serde(skip_serializing_if = "Option::is_none")]
    part: Option<String>,
    contacts: Vec<ContactOut>,
}

#[derive(Debug, Clone, Serialize)]
struct ContactOut {
    name: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    signal: Option<String>,
    also: Vec<String>,
    joined: bool,
    spare: bool,
    plugged: bool,
}

#[derive(Debug, Clone, Serialize)]
struct JointOut {
    id: String,
    title: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    station: Option<String>,
    /// Of terminals: whether it is bonded to the chassis.
    #[serde(skip_serializing_if = "Option::is_none")]
    ground: Option<bool>,
}

#[derive(Debug, Clone, Serialize)]
struct WireOut {
    id: String,
    from: String,
    to: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    gauge: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    colour: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    metres: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    circuit: Option<String>,
    route: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    twisted: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    shield: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    hazard: Option<String>,
}

#[derive(Debug, Clone, Serialize)]
struct TrunkOut {
    id: String,
    between: [String; 2],
    #[serde(skip_serializing_if = "Option::is_none")]
    metres: Option<f64>,
}

#[derive(Debug, Clone, Serialize)]
struct PartOut {
    id: String,
    title: String,
    kind: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    station: Option<String>,
    /// Every point it attaches to.
    points: Vec<String>,
}

/// The whole machine, in the order of its definition.
pub fn machine(harness: &Harness) -> MachineOut {
    let about = &harness.about;
    MachineOut {
        format: FORMAT,
        harness: AboutOut {
            id: about.id.clone(),
            title: about.title.clone(),
            revision: about.revision.clone(),
            variant: about.variant.clone(),
            hash: harness.hash.clone(),
        },
        stations: harness
            .stations
            .values()
            .map(|station| StationOut { id: station.id.clone(), title: station.title.clone() })
            .collect(),
        connectors: harness.connectors.iter().map(|(id, one)| connector(harness, id, one)).collect(),
        splices: joints(harness, harness.splices.values().map(|s| (&s.id, &s.title, s.station, None))),
        terminals: joints(
            harness,
            harness.terminals.values().map(|t| (&t.id, &t.title, t.station, Some(t.ground))),
        ),
        wires: wires(harness),
        trunks: harness
            .trunks
            .values()
            .map(|trunk| TrunkOut {
                id: trunk.id.clone(),
                between: trunk.between.clone(),
                metres: trunk.length.map(Metres::get),
            })
            .collect(),
        parts: parts(harness),
    }
}

fn station(harness: &Harness, id: Option<StationId>) -> Option<String> {
    id.map(|id| harness.stations[id].id.clone())
}

fn connector(harness: &Harness, id: ConnectorId, own: &Connector) -> ConnectorOut {
    let contacts = harness.contacts_of(id).map(|id| {
        let contact = &harness.contacts[id];
        ContactOut {
            name: contact.name.clone(),
            signal: contact.signal.clone(),
            also: contact.also.clone(),
            joined: contact.joined,
            spare: contact.spare,
            plugged: contact.plugged,
        }
    });
    ConnectorOut {
        id: own.id.clone(),
        title: own.title.clone(),
        station: station(harness, own.station),
        contact: own.half.map(Half::word),
        mate: harness.mate_of(id).map(|mate| harness.connectors[mate].id.clone()),
        part: own.part.map(|part| harness.parts[part].id.clone()),
        contacts: contacts.collect(),
    }
}

fn joints<'h>(
    harness: &'h Harness,
    joints: impl Iterator<Item = (&'h String, &'h String, Option<StationId>, Option<bool>)>,
) -> Vec<JointOut> {
    joints
        .map(|(id, title, at, ground)| JointOut {
            id: id.clone(),
            title: title.clone(),
            station: station(harness, at),
            ground,
        })
        .collect()
}

fn wires(harness: &Harness) -> Vec<WireOut> {
    let wire = |wire: &crate::definition::Wire| {
        let [from, to] = wire.ends.map(|end| harness.point_name(end));
        WireOut {
            id: wire.id.clone(),
            from,
            to,
            gauge: wire.gauge.map(super::gauge),
            colour: wire.colour.as_ref().map(ToString::to_string),
            metres: wire.length.map(Metres::get),
            circuit: wire.circuit.clone(),
            route: wire.route.iter().map(|trunk| harness.trunks[*trunk].id.clone()).collect(),
            twisted: wire.twisted.clone(),
            shield: wire.shield.clone(),
            hazard: wire.hazard.clone(),
        }
    };
    harness.wires.values().map(wire).collect()
}

fn parts(harness: &Harness) -> Vec<PartOut> {
    let part = |part: &crate::definition::Part| {
        let points: Vec<Point> = part.kind.points();
        PartOut {
            id: part.id.clone(),
            title: part.title.clone(),
            kind: part.kind.word(),
            station: station(harness, part.station),
            points: points.into_iter().map(|point| harness.point_name(point)).collect(),
        }
    };
    harness.parts.values().map(part).collect()
}
