//! The sheet around a face: heading, face, list, legend, notes and stamp.
//!
//! Comes in: a view and its spots. Goes out: the finished scene. Why: a print of a face must say by
//! itself what it shows, from which side, and which definition it was drawn from.

use super::super::highlight::Share;
use super::super::page::{MARGIN, Page};
use super::super::scene::{Area, Group, Item, Scene, area_of, at, line};
use super::super::text::{Weight, bounded, shorten, text_width};
use super::list::List;
use super::plate::{Plate, Room, plate};
use super::{ContactState, FaceView, Mark, Side, Spot, mark_word, symbol, words};
use crate::definition::face::{Fidelity, Half};

/// The narrowest sheet, and the widest one that puts the list beside the face.
const NARROWEST: f64 = 660.0;
const WIDEST: f64 = 1420.0;
const GAP: f64 = 32.0;

/// Lays out the whole drawing.
pub(super) fn scene(view: &FaceView, spots: &[Spot]) -> Scene {
    let plate = plate(view, spots, Room::SHEET);
    let list = if plate.full { List::of_rest(spots) } else { List::of_all(spots) };
    let body = Body::new(&plate, &list);
    let mut sheet = Page::new(body.width.max(NARROWEST - 2.0 * MARGIN));
    heading(&mut sheet, view);
    body_items(&mut sheet, plate.items.clone(), plate.area, &list, &body);
    legend(&mut sheet, view, spots);
    notes(&mut sheet, view, spots, &plate);
    sheet.stamp(&view.stamp);
    sheet.finish(title(view), desc(view, spots), |items| whole(view, items))
}

/// Everything on the sheet, with what it shows for those who read it by program.
fn whole(view: &FaceView, items: Vec<Item>) -> Group {
    let side = match (view.geometry_given, view.side) {
        (false, _) => "none",
        (true, Side::Mating) => "mating",
        (true, Side::Wire) => "wire",
    };
    let kind = view.half.map_or("unknown", Half::word);
    let data =
        vec![("connector", view.connector.clone()), ("side", side.to_owned()), ("kind", kind.to_owned())];
    Group { class: "face", data, title: None, items }
}

/// Which side of what, in words.
pub(super) fn statement(view: &FaceView) -> String {
    let seen = match (view.geometry_given, view.side) {
        (false, _) => "Contacts",
        (true, Side::Mating) => "Mating side",
        (true, Side::Wire) => "Wire side",
    };
    let kind = match view.half {
        Some(Half::Pin) => "pin contacts",
        Some(Half::Socket) => "socket contacts",
        None => "contact kind not given",
    };
    format!("{seen} of {} ({kind})", bounded(&view.connector))
}

pub(super) fn title(view: &FaceView) -> String {
    let name = bounded(&view.title);
    if name.is_empty() { statement(view) } else { format!("{}: {name}", statement(view)) }
}

pub(super) fn desc(view: &FaceView, spots: &[Spot]) -> String {
    let all = spots.iter().map(|s| words(&s.label)).collect::<Vec<_>>().join("; ");
    let all = shorten(&all, 1.0, Weight::Regular, 8000.0);
    format!("Face {} of connector {}. {all}.", bounded(&view.face.name), bounded(&view.connector))
}

fn heading(sheet: &mut Page, view: &FaceView) {
    let room = sheet.width - symbol::VIEW.0 - GAP;
    let top = sheet.y;
    if view.geometry_given {
        let view_sign = symbol::view_direction(view.half, view.side);
        let edge = area_of(&view_sign).map_or(symbol::VIEW.0, |a| a.right);
        sheet.place(view_sign, MARGIN + sheet.width - edge, top);
    }
    sheet.text(&bounded(&view.connector), 20.0, (Weight::Bold, "ink"), room, 1);
    sheet.text(&bounded(&view.title), 14.0, (Weight::Regular, "ink"), room, 2);
    sheet.text(&statement(view), 14.0, (Weight::Bold, "ink"), room, 2);
    sheet.text(&relations(view), 12.0, (Weight::Regular, "soft"), room, 3);
    sheet.y = sheet.y.max(top + symbol::VIEW.1);
    for doubt in doubts(view) {
        sheet.y += 2.0;
        sheet.text(&doubt, 12.0, (Weight::Bold, "doubt"), sheet.width, 3);
    }
    sheet.y += 6.0;
    sheet.rule();
    sheet.y += 18.0;
}

/// What it mates with, and how the other side looks.
fn relations(view: &FaceView) -> String {
    let mate = view.mate.as_deref().map(|m| format!("Mates with {}.", bounded(m)));
    let other = if view.side == Side::Mating { "wire side" } else { "mating side" };
    let turned = view.geometry_given.then(|| format!("The {other} is the mirror image of this view."));
    mate.into_iter().chain(turned).collect::<Vec<_>>().join(" ")
}

/// What a reader must know before trusting the picture: hazards first.
pub(super) fn doubts(view: &FaceView) -> Vec<String> {
    let mut doubts: Vec<String> = view.cautions.iter().take(8).map(|c| bounded(c)).collect();
    if !view.geometry_given {
        doubts.push(
            "Geometry not given: contacts stand in the definition's order, seen from no side. Find a contact by \
             the marking moulded beside it."
                .to_owned(),
        );
    } else if view.face.fidelity == Fidelity::Schematic {
        doubts.push(
            "Positions are schematic: find a contact by the marking moulded beside it, never by its place in \
             this view."
                .to_owned(),
        );
    }
    if view.geometry_given && view.half.is_none() {
        doubts.push(
            "Contact kind not given: drawn as a pin half. If it is a socket half, left and right change places."
                .to_owned(),
        );
    }
    doubts
}

/// Where face and list stand.
struct Body {
    width: f64,
    blocks: usize,
    beside: bool,
}

impl Body {
    fn new(plate: &Plate, list: &List) -> Self {
        let face = plate.area.width();
        if list.len() == 0 {
            return Self { width: face, blocks: 0, beside: false };
        }
        // Beside the face, as high as the face or a little more; else below it.
        for height in [plate.area.height().max(260.0), plate.area.height().max(260.0) * 1.9] {
            let blocks = list.blocks_within(height);
            let width = face + GAP + list.width(blocks);
            if list.height(blocks) <= height && width <= WIDEST {
                return Self { width, blocks, beside: true };
            }
        }
        let room = face.max(WIDEST - 2.0 * MARGIN);
        let blocks = (1..=8).rev().find(|b| list.width(*b) <= room).unwrap_or(1).min(list.len());
        // No more blocks than make sense: at least six rows in each.
        let blocks = blocks.min(list.len().div_ceil(6)).max(1);
        Self { width: face.max(list.width(blocks)), blocks, beside: false }
    }
}

fn body_items(sheet: &mut Page, face: Vec<Item>, area: Area, list: &List, body: &Body) {
    let top = sheet.y;
    let face_room = if body.beside { sheet.width - GAP - list.width(body.blocks) } else { sheet.width };
    let left = MARGIN + (face_room - area.width()) / 2.0;
    sheet.place(face, left - area.left, top - area.top);
    sheet.y = top + area.height();
    if body.blocks > 0 && body.beside {
        let x = MARGIN + sheet.width - list.width(body.blocks);
        sheet.place(list.items(body.blocks), x, top);
        sheet.y = sheet.y.max(top + list.height(body.blocks));
    } else if body.blocks > 0 {
        sheet.y += 22.0;
        sheet.place(list.items(body.blocks), MARGIN, sheet.y);
        sheet.y += list.height(body.blocks);
    }
    sheet.y += 18.0;
}

/// The signs that this drawing uses, each with its word.
fn legend(sheet: &mut Page, view: &FaceView, spots: &[Spot]) {
    sheet.rule();
    sheet.y += 22.0;
    let mut x = MARGIN;
    for (sign, word) in legend_entries(view, spots) {
        let width = 18.0 + text_width(word, 11.0, Weight::Regular) + 26.0;
        if x + width > MARGIN + sheet.width + 26.0 && x > MARGIN {
            x = MARGIN;
            sheet.y += 24.0;
        }
        sheet.place(sign, x + 8.0, sheet.y);
        let text = line(at(x + 24.0, sheet.y + 4.0), 11.0, word);
        sheet.items.push(Item::Text(text));
        x += width;
    }
    sheet.y += 14.0;
}

fn legend_entries(view: &FaceView, spots: &[Spot]) -> Vec<(Vec<Item>, &'static str)> {
    let has = |state| spots.iter().any(|s| s.label.state == state);
    let mut entries = Vec::new();
    let states = [
        (ContactState::Normal, view.half.map_or("contact, kind not given", Half::word)),
        (ContactState::Spare, "spare: meant to be empty"),
        (ContactState::Plugged, "sealing plug"),
    ];
    for (state, word) in states.into_iter().filter(|(state, _)| has(*state)) {
        entries.push((symbol::contact(view.half, state, 7.0), word));
    }
    let suspect = Mark::Suspect(Share::default());
    for mark in
        [Mark::RedProbe, Mark::BlackProbe, suspect, Mark::Good, Mark::Bad, Mark::NotYet, Mark::Changed]
    {
        if spots.iter().any(|s| mark_word(s.label.mark) == mark_word(mark)) {
            let badge = symbol::badge(mark);
            entries.extend(mark_word(mark).map(|word| (badge, word)));
        }
    }
    entries
}

fn notes(sheet: &mut Page, view: &FaceView, spots: &[Spot], plate: &Plate) {
    let mut notes = Vec::new();
    if view.half != Some(Half::Pin) && (view.side == Side::Mating || !view.geometry_given) {
        notes.push(
            "Never force a probe into a socket contact: use a test pin of the contact's size.".to_owned(),
        );
    }
    if spots.iter().any(|s| s.label.wires.iter().any(|w| !w.colour.is_empty())) {
        notes.push("Colour letters after IEC 60757, base/stripe.".to_owned());
    }
    if spots.iter().any(|s| !s.label.also.is_empty()) {
        notes.push("In brackets: the contact's other marking.".to_owned());
    }
    if plate.crowded {
        notes.push("Where contacts crowd, names stand in the list alone.".to_owned());
    }
    let off: Vec<&str> =
        spots.iter().filter(|s| s.place.is_none()).map(|s| s.label.name.as_str()).take(20).collect();
    if !off.is_empty() {
        notes.push(format!("In the list but not on this face: {}.", off.join(", ")));
    }
    if view.face.fidelity == Fidelity::Measured {
        notes.push("Order and rings as published; positions approximate.".to_owned());
    }
    if view.geometry_given {
        notes.push(format!("Arrangement {}: {}.", bounded(&view.face.name), bounded(&view.face.source)));
    }
    for note in notes {
        sheet.text(&note, 11.0, (Weight::Regular, "soft"), sheet.width, 4);
    }
    sheet.y += 6.0;
}
