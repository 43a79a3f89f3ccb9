//! The from-to list: every wire with its two ends.

use serde::Serialize;

use super::{Section, Sheet, Stamp};
use crate::definition::{Harness, Wire};
use crate::units::significant;

/// The from-to list.
#[derive(Debug, Clone, Serialize)]
pub struct WiresView {
    /// The definition.
    pub harness: Stamp,
    /// One entry per wire, in the order of the definition.
    pub wires: Vec<WireView>,
}

/// One wire.
#[derive(Debug, Clone, Serialize)]
pub struct WireView {
    /// Its id.
    pub id: String,
    /// The end written first.
    pub from: String,
    /// The other end.
    pub to: String,
    /// Conductor size.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gauge: Option<String>,
    /// Insulation colour.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub colour: Option<String>,
    /// Length in metres.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub metres: Option<f64>,
    /// Its circuit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub circuit: Option<String>,
    /// Trunks it runs through.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub route: Vec<String>,
    /// The twist it belongs to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub twisted: Option<String>,
    /// The shield it lies under.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shield: Option<String>,
}

/// The from-to list of a harness, or of one circuit of it.
pub fn wires(harness: &Harness, circuit: Option<&str>) -> (WiresView, Sheet) {
    let wanted = harness.wires.values().filter(|w| circuit.is_none_or(|c| w.circuit.as_deref() == Some(c)));
    let view =
        WiresView { harness: Stamp::of(harness), wires: wanted.map(|wire| view(harness, wire)).collect() };
    let row = |wire: &WireView| {
        let text = |slot: &Option<String>| slot.clone().unwrap_or_default();
        let together: Vec<String> = wire.twisted.iter().chain(&wire.shield).cloned().collect();
        vec![
            wire.id.clone(),
            wire.from.clone(),
            wire.to.clone(),
            text(&wire.gauge),
            text(&wire.colour),
            wire.metres.map(|m| significant(m, 4)).unwrap_or_default(),
            text(&wire.circuit),
            wire.route.join(" "),
            together.join(" "),
        ]
    };
    let section = Section {
        columns: vec!["wire", "from", "to", "gauge", "colour", "metres", "circuit", "route", "twist/shield"],
        rows: view.wires.iter().map(row).collect(),
        ..Section::default()
    };
    let sheet = Sheet { sections: vec![section], ..Sheet::of("From-to list", &view.harness) };
    (view, sheet)
}

fn view(harness: &Harness, wire: &Wire) -> WireView {
    let [from, to] = wire.ends.map(|end| harness.point_name(end));
    WireView {
        id: wire.id.clone(),
        from,
        to,
        gauge: wire.gauge.map(|g| g.to_string()),
        colour: wire.colour.as_ref().map(ToString::to_string),
        metres: wire.length.map(crate::units::Metres::get),
        circuit: wire.circuit.clone(),
        route: wire.route.iter().map(|trunk| harness.trunks[*trunk].id.clone()).collect(),
        twisted: wire.twisted.clone(),
        shield: wire.shield.clone(),
    }
}
