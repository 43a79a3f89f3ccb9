//! Pin maps: what every contact of a connector joins.

use serde::Serialize;

use super::{Section, Sheet, Stamp};
use crate::definition::{ConnectorId, ContactId, Harness, Point, WireId};

/// All pin maps that were asked for.
#[derive(Debug, Clone, Serialize)]
pub struct PinsView {
    /// The definition.
    pub harness: Stamp,
    /// One entry per connector.
    pub connectors: Vec<ConnectorView>,
}

/// One connector's pin map.
#[derive(Debug, Clone, Serialize)]
pub struct ConnectorView {
    /// Its id.
    pub id: String,
    /// Its title.
    pub title: String,
    /// Its station.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub station: String,
    /// `pin` or `socket`, where known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub contact: Option<&'static str>,
    /// Its mate.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mate: Option<String>,
    /// Its contacts, in the order of its face.
    pub pins: Vec<PinView>,
}

/// One contact.
#[derive(Debug, Clone, Serialize)]
pub struct PinView {
    /// Its name.
    pub contact: String,
    /// Other markings.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub also: Vec<String>,
    /// What it is for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub signal: Option<String>,
    /// The wires in it.
    pub wires: Vec<PinWire>,
    /// Parts that attach to it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<String>,
    /// `spare` or `plugged`, where it is empty on purpose.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub empty: Option<&'static str>,
}

/// One wire in a contact.
#[derive(Debug, Clone, Serialize)]
pub struct PinWire {
    /// Its id.
    pub id: String,
    /// Its colour.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub colour: Option<String>,
    /// Its gauge.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gauge: Option<String>,
    /// Where its other end is.
    pub to: String,
}

/// The pin maps of one connector, or of all.
pub fn pins(harness: &Harness, only: Option<ConnectorId>) -> (PinsView, Sheet) {
    let wanted = harness.connectors.ids().filter(|id| only.is_none_or(|o| o == *id));
    let connectors: Vec<ConnectorView> = wanted.map(|id| connector(harness, id)).collect();
    let view = PinsView { harness: Stamp::of(harness), connectors };
    let sheet = sheet(&view);
    (view, sheet)
}

fn connector(harness: &Harness, id: ConnectorId) -> ConnectorView {
    let own = &harness.connectors[id];
    ConnectorView {
        id: own.id.clone(),
        title: own.title.clone(),
        station: super::station_word(harness, own.station),
        contact: own.half.map(crate::definition::Half::word),
        mate: harness.mate_of(id).map(|mate| harness.connectors[mate].id.clone()),
        pins: harness.contacts_of(id).map(|contact| pin(harness, contact)).collect(),
    }
}

fn pin(harness: &Harness, id: ContactId) -> PinView {
    let contact = &harness.contacts[id];
    let point = Point::Contact(id);
    let empty = match (contact.plugged, contact.spare) {
        (true, _) => Some("plugged"),
        (false, true) => Some("spare"),
        (false, false) => None,
    };
    PinView {
        contact: contact.name.clone(),
        also: contact.also.clone(),
        signal: contact.signal.clone(),
        wires: harness.wires_at(point).map(|wire| pin_wire(harness, wire, point)).collect(),
        parts: harness.parts_at(point).map(|part| harness.parts[part].id.clone()).collect(),
        empty,
    }
}

fn pin_wire(harness: &Harness, id: WireId, from: Point) -> PinWire {
    let wire = &harness.wires[id];
    let other = if wire.ends[0] == from { wire.ends[1] } else { wire.ends[0] };
    PinWire {
        id: wire.id.clone(),
        colour: wire.colour.as_ref().map(ToString::to_string),
        gauge: wire.gauge.map(|g| g.to_string()),
        to: harness.point_name(other),
    }
}

const COLUMNS: [&str; 7] = ["contact", "signal", "wire", "colour", "gauge", "to", "part"];

fn sheet(view: &PinsView) -> Sheet {
    let sections = view.connectors.iter().map(|connector| {
        let mut title = format!("{}  {}", connector.id, connector.title);
        if let Some(contact) = connector.contact {
            title.push_str(&format!(" · {contact} contacts"));
        }
        if let Some(mate) = &connector.mate {
            title.push_str(&format!(" · mates with {mate}"));
        }
        if !connector.station.is_empty() {
            title.push_str(&format!(" · at {}", connector.station));
        }
        Section {
            title,
            columns: COLUMNS.to_vec(),
            rows: connector.pins.iter().flat_map(rows).collect(),
            ..Section::default()
        }
    });
    let mut flat = Section { columns: vec!["connector"], ..Section::default() };
    flat.columns.extend(COLUMNS);
    for connector in &view.connectors {
        let named = |row: Vec<String>| std::iter::once(connector.id.clone()).chain(row).collect();
        flat.rows.extend(connector.pins.iter().flat_map(rows).map(named));
    }
    Sheet { sections: sections.collect(), flat: Some(flat), ..Sheet::of("Pin map", &view.harness) }
}

/// A row per wire, or one row for a contact without a wire.
fn rows(pin: &PinView) -> Vec<Vec<String>> {
    let contact = match pin.also.as_slice() {
        [] => pin.contact.clone(),
        also => format!("{} ({})", pin.contact, also.join(", ")),
    };
    let signal = pin.signal.clone().unwrap_or_default();
    let parts = pin.parts.join(", ");
    if pin.wires.is_empty() {
        let wire = pin.empty.unwrap_or("–").to_owned();
        return vec![vec![contact, signal, wire, String::new(), String::new(), String::new(), parts]];
    }
    let row = |wire: &PinWire| {
        let text = |slot: &Option<String>| slot.clone().unwrap_or_default();
        let (colour, gauge) = (text(&wire.colour), text(&wire.gauge));
        vec![contact.clone(), signal.clone(), wire.id.clone(), colour, gauge, wire.to.clone(), parts.clone()]
    };
    pin.wires.iter().map(row).collect()
}
