//! What a harness says about one connector, as a face to draw.
//!
//! Comes in: a harness, one of its connectors, the side looked at, and what to point out. Goes out: a
//! [`FaceView`]. Why: the drawing itself knows no harness; and what the definition does not say must
//! end up as words on the drawing, never as a guess in it.

use std::borrow::Cow;

use super::{ContactLabel, ContactState, FaceView, Mark, Side, WireLabel};
use crate::definition::face::{Cavity, Face, Fidelity, Key, Outline};
use crate::definition::{ConnectorId, ContactId, Harness, Point, WireId};

/// The face of a connector as `side` shows it, with `marks` at contacts. Of several marks at one
/// contact the first counts; marks at other connectors' contacts are left out.
pub fn face_of<'a>(
    harness: &'a Harness,
    connector: ConnectorId,
    side: Side,
    marks: &[(ContactId, Mark)],
) -> FaceView<'a> {
    let own = &harness.connectors[connector];
    let known = own.face.and_then(|at| harness.faces.get(at));
    FaceView {
        connector: own.id.clone(),
        title: own.title.clone(),
        half: own.half,
        side,
        mate: harness.mate_of(connector).map(|mate| harness.connectors[mate].id.clone()),
        face: known.map_or_else(|| Cow::Owned(in_order(harness, connector)), Cow::Borrowed),
        geometry_given: known.is_some(),
        contacts: harness.contacts_of(connector).map(|id| label(harness, id, marks)).collect(),
        cautions: cautions(harness, connector),
        stamp: stamp(harness),
    }
}

/// Which definition a drawing was made from.
pub(in crate::draw) fn stamp(harness: &Harness) -> String {
    let about = &harness.about;
    let variant = about.variant.as_ref().map_or(String::new(), |name| format!(", variant {name}"));
    format!("{} revision {}{variant}, definition {}", about.id, about.revision, harness.short_hash())
}

fn label(harness: &Harness, id: ContactId, marks: &[(ContactId, Mark)]) -> ContactLabel {
    let contact = &harness.contacts[id];
    let point = Point::Contact(id);
    ContactLabel {
        name: contact.name.clone(),
        also: contact.also.clone(),
        wires: harness.wires_at(point).map(|wire| wire_label(harness, wire)).collect(),
        parts: harness.parts_at(point).map(|part| harness.parts[part].id.clone()).collect(),
        signal: contact.signal.clone(),
        state: match (contact.plugged, contact.spare) {
            (true, _) => ContactState::Plugged,
            (false, true) => ContactState::Spare,
            (false, false) => ContactState::Normal,
        },
        mark: marks.iter().find(|(at, _)| *at == id).map_or(Mark::None, |(_, mark)| *mark),
    }
}

fn wire_label(harness: &Harness, id: WireId) -> WireLabel {
    let wire = &harness.wires[id];
    WireLabel {
        id: wire.id.clone(),
        colour: wire.colour.as_ref().map_or(String::new(), ToString::to_string),
        gauge: wire.gauge.map_or(String::new(), |gauge| gauge.to_string()),
    }
}

/// What forbids ordinary probing here: of the connector, its wires and the parts at its contacts.
fn cautions(harness: &Harness, connector: ConnectorId) -> Vec<String> {
    let mut found: Vec<&str> = harness.connectors[connector].hazard.as_deref().into_iter().collect();
    for point in harness.contacts_of(connector).map(Point::Contact) {
        found.extend(hazards_at(harness, point));
    }
    found.sort_unstable();
    found.dedup();
    let caution = |hazard: &&str| format!("Hazard, {hazard}: never probe here with an ordinary meter.");
    found.iter().map(caution).collect()
}

/// Hazards of the wires and parts that meet at a point.
fn hazards_at(harness: &Harness, point: Point) -> impl Iterator<Item = &str> {
    let wires = harness.wires_at(point).filter_map(|wire| harness.wires[wire].hazard.as_deref());
    let parts = harness.parts_at(point).filter_map(|part| harness.parts[part].hazard.as_deref());
    wires.chain(parts)
}

/// What forbids probing a contact with an ordinary meter, if anything does.
pub fn hazard_at(harness: &Harness, contact: ContactId) -> Option<&str> {
    let connector = &harness.connectors[harness.contacts[contact].connector];
    connector.hazard.as_deref().or_else(|| hazards_at(harness, Point::Contact(contact)).next())
}

/// The most contacts in a row where no geometry is given.
const ROW: usize = 8;
const PITCH: f64 = 5.0;

/// Contacts in the definition's order, in rows: an order and no geometry.
fn in_order(harness: &Harness, connector: ConnectorId) -> Face {
    let count = harness.connectors[connector].count;
    let columns = if count <= ROW { count } else { ROW.max(count.isqrt()) }.max(1);
    let rows = count.div_ceil(columns);
    let middle = |count: usize| (count as f64 - 1.0) / 2.0;
    let place = |(nth, id): (usize, ContactId)| Cavity {
        name: harness.contacts[id].name.clone(),
        x: ((nth % columns) as f64 - middle(columns)) * PITCH,
        y: (middle(rows) - (nth / columns) as f64) * PITCH,
        diameter: PITCH / 3.0,
    };
    Face {
        name: "in order".to_owned(),
        outline: Outline::Rectangle { width: columns as f64 * PITCH, height: rows as f64 * PITCH },
        key: Key::None,
        cavities: harness.contacts_of(connector).enumerate().map(place).collect(),
        fidelity: Fidelity::Schematic,
        source: "the definition's order of contacts; geometry not given".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::highlight::Share;
    use super::super::face_scene;
    use super::*;
    use crate::definition::load;

    /// Two connectors of one wire, a restraint circuit, and a terminal strip without geometry.
    const TEXT: &str = r#"
        format = 1
        [harness]
        id = "T-1"
        revision = "B"
        [connector.P1]
        face = "rect-4"
        pin.1 = { signal = "Feed", also = ["30"] }
        pin.2 = { plugged = true }
        pin.3 = { spare = true }
        [connector.X1]
        contacts = 20
        [[wire]]
        id = "1A"
        from = "P1.1"
        to = "X1.1"
        gauge = "1.5 mm2"
        colour = "RD/WH"
        [[wire]]
        id = "2A"
        from = "P1.4"
        to = "X1.2"
        hazard = "restraint"
        [part.F1]
        kind = "fuse"
        rating = "5 A"
        between = ["X1.2", "X1.3"]
        "#;

    fn harness() -> Harness {
        load("t.toml", TEXT.to_owned(), None, &mut |_| Err(String::new())).unwrap().harness
    }

    fn view<'a>(harness: &'a Harness, name: &str, marks: &[(ContactId, Mark)]) -> FaceView<'a> {
        face_of(harness, harness.names.connector(name).unwrap(), Side::Mating, marks)
    }

    #[test]
    fn everything_the_definition_says_of_a_contact_is_in_the_view() {
        let harness = harness();
        let Point::Contact(first) = harness.point("P1.1").unwrap() else { panic!() };
        let view = view(&harness, "P1", &[(first, Mark::Suspect(Share::of(0.4))), (first, Mark::Good)]);
        let wire = WireLabel { id: "1A".to_owned(), colour: "RD/WH".to_owned(), gauge: "1.5 mm2".to_owned() };
        let expected = ContactLabel {
            name: "1".to_owned(),
            also: vec!["30".to_owned()],
            wires: vec![wire],
            signal: Some("Feed".to_owned()),
            mark: Mark::Suspect(Share::of(0.4)),
            ..ContactLabel::default()
        };
        assert_eq!(view.contacts[0], expected);
        let states: Vec<ContactState> = view.contacts.iter().map(|c| c.state).collect();
        let (normal, plugged, spare) = (ContactState::Normal, ContactState::Plugged, ContactState::Spare);
        assert_eq!(states, [normal, plugged, spare, normal]);
        assert!(view.geometry_given && view.half.is_none());
        assert_eq!(view.stamp, format!("T-1 revision B, definition {}", &harness.hash[..12]));
    }

    #[test]
    fn a_hazard_is_said_first_and_known_at_its_contacts() {
        let harness = harness();
        for name in ["P1", "X1"] {
            let view = view(&harness, name, &[]);
            assert_eq!(view.cautions, ["Hazard, restraint: never probe here with an ordinary meter."]);
            let scene = face_scene(&view);
            let texts: Vec<&str> = scene.texts().iter().map(|t| t.text.as_str()).collect();
            let place = |start: &str| texts.iter().position(|t| t.starts_with(start));
            assert!(place("Hazard, restraint") < place("Geometry not given").or(place("Contact kind")));
        }
        let hazard = |name: &str| match harness.point(name).unwrap() {
            Point::Contact(id) => hazard_at(&harness, id),
            _ => None,
        };
        assert_eq!((hazard("P1.4"), hazard("P1.1")), (Some("restraint"), None));
    }

    #[test]
    fn without_geometry_contacts_stand_in_order_and_no_side_is_turned() {
        let harness = harness();
        let id = harness.names.connector("X1").unwrap();
        let [mating, wire] = [Side::Mating, Side::Wire].map(|side| face_of(&harness, id, side, &[]));
        assert_eq!(mating.contacts[2].parts, ["F1"]);
        let places = |view: &FaceView| -> Vec<(i32, i32)> {
            let spots = super::super::spots(view);
            spots.iter().filter_map(|s| s.place).map(|p| (p.0 as i32, p.1 as i32)).collect()
        };
        assert_eq!(places(&mating), places(&wire));
        // Row by row, left to right, downwards.
        let ordered =
            places(&mating).windows(2).all(|w| w[1].1 > w[0].1 || (w[1].1 == w[0].1 && w[1].0 > w[0].0));
        assert!(ordered);
        assert!(!mating.geometry_given && mating.face.fidelity == Fidelity::Schematic);
    }
}
