//! The from-to list and the pin maps as tables that can be read back.

use super::{exact, gauge};
use crate::definition::{ContactId, Harness, Point, Wire};
use crate::exchange::defuse::defused;

/// A table with its heads; every row is as long as they are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// What it shows, in one word.
    pub name: &'static str,
    /// Column heads.
    pub heads: Vec<&'static str>,
    /// Rows.
    pub rows: Vec<Vec<String>>,
}

/// Which definition a row was made from stands at its end, as in every table of the program.
const STAMP: [&str; 3] = ["definition", "revision", "hash"];

fn stamp(harness: &Harness) -> [String; 3] {
    [harness.about.id.clone(), harness.about.revision.clone(), harness.hash.clone()]
}

/// The from-to list: every wire with all that is said of it.
pub fn wires_table(harness: &Harness) -> Table {
    let mut heads = vec![
        "wire", "from", "from is", "to", "to is", "gauge", "colour", "length", "circuit", "route", "twisted",
        "shield", "hazard", "ampacity", "rated",
    ];
    heads.extend(STAMP);
    let row = |wire: &Wire| {
        let [from, to] = wire.ends.map(|end| harness.point_name(end));
        let [from_is, to_is] = wire.ends.map(|end| kind(harness, end).to_owned());
        let text = |slot: &Option<String>| slot.clone().unwrap_or_default();
        let route: Vec<&str> = wire.route.iter().map(|trunk| harness.trunks[*trunk].id.as_str()).collect();
        let mut row = vec![
            wire.id.clone(),
            from,
            from_is,
            to,
            to_is,
            wire.gauge.map(gauge).unwrap_or_default(),
            colour(wire),
            wire.length.map(|length| exact(length, "m")).unwrap_or_default(),
            text(&wire.circuit),
            route.join(" "),
            text(&wire.twisted),
            text(&wire.shield),
            text(&wire.hazard),
            wire.ampacity.map(|amps| exact(amps, "A")).unwrap_or_default(),
            wire.rated.map(|rated| exact(rated, "degC")).unwrap_or_default(),
        ];
        row.extend(stamp(harness));
        row
    };
    Table { name: "wires", heads, rows: harness.wires.values().map(row).collect() }
}

/// The pin maps of all connectors: a row for each contact, several wires in one cell where there are several.
pub fn pins_table(harness: &Harness) -> Table {
    let mut heads = vec!["connector", "contact", "also", "signal", "wire", "to", "colour", "gauge", "length"];
    heads.extend(STAMP);
    let row = |id: ContactId| {
        let contact = &harness.contacts[id];
        let point = Point::Contact(id);
        let wires: Vec<&Wire> = harness.wires_at(point).map(|wire| &harness.wires[wire]).collect();
        let each = |text: &dyn Fn(&Wire) -> String| {
            let texts: Vec<String> = wires.iter().map(|wire| text(wire)).collect();
            // A dash keeps the place of a wire of which nothing is said.
            let dashed = || texts.iter().map(|text| if text.is_empty() { "-" } else { text });
            if texts.iter().all(String::is_empty) {
                String::new()
            } else {
                dashed().collect::<Vec<_>>().join(", ")
            }
        };
        let wire = match (contact.plugged, contact.spare, wires.is_empty()) {
            (true, _, true) => "plugged".to_owned(),
            (_, true, true) => "spare".to_owned(),
            _ => each(&|wire| wire.id.clone()),
        };
        let other = |wire: &Wire| {
            let far = if wire.ends[0] == point { wire.ends[1] } else { wire.ends[0] };
            harness.point_name(far)
        };
        let mut row = vec![
            harness.connectors[contact.connector].id.clone(),
            contact.name.clone(),
            contact.also.join(", "),
            contact.signal.clone().unwrap_or_default(),
            wire,
            each(&other),
            each(&colour),
            each(&|wire| wire.gauge.map(gauge).unwrap_or_default()),
            each(&|wire| wire.length.map(|length| exact(length, "m")).unwrap_or_default()),
        ];
        row.extend(stamp(harness));
        row
    };
    Table { name: "pins", heads, rows: harness.contacts.ids().map(row).collect() }
}

fn colour(wire: &Wire) -> String {
    wire.colour.as_ref().map(ToString::to_string).unwrap_or_default()
}

/// What an end is, in the words that `import` reads.
fn kind(harness: &Harness, end: Point) -> &'static str {
    match end {
        Point::Contact(_) => "contact",
        Point::Splice(_) => "splice",
        Point::Terminal(id) if harness.terminals[id].ground => "ground",
        Point::Terminal(_) => "terminal",
        Point::Chassis => "chassis",
    }
}

/// A table as CSV by RFC 4180, with every cell defused that a spreadsheet would run.
pub fn csv(table: &Table) -> String {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    let mut written = writer.write_record(&table.heads).is_ok();
    for row in &table.rows {
        written &= writer.write_record(row.iter().map(|cell| defused(cell).into_owned())).is_ok();
    }
    // Writing into memory cannot fail, and every row is as long as the heads.
    debug_assert!(written, "rows are as long as the heads");
    String::from_utf8_lossy(&writer.into_inner().unwrap_or_default()).into_owned()
}
