//! A face for a page that holds the rest itself: heading, list and notes stand there as text.
//!
//! Comes in: a [`FaceView`]. Goes out: a [`Scene`] with the side in words, the eye and the plate alone, and the words
//! that the page must say. Why: a sheet of its own, shrunk into a column, has letters that nobody reads. This one is
//! printed as large as it is drawn, and both sides of a connector are drawn equally large.

use super::super::scene::{Group, Item, Scene, Text, area_of, at, line};
use super::super::text::{Weight, bounded, shorten, text_width};
use super::plate::{Room, plate};
use super::{ContactState, FaceView, sheet, spots, symbol};
use crate::definition::face::{Fidelity, Half};

/// Free space around all of it.
const RIM: f64 = 4.0;
/// Between the eye and the words, and between both and the plate.
const GAP: f64 = 12.0;
/// The words' letters.
const SIZE: f64 = 13.0;
/// The narrowest: the words stand in two lines beside the eye.
const NARROWEST: f64 = 320.0;

/// The class of the group that holds the half from the side and the eye; it has no looks.
const EYE: &str = "eye";

/// Takes the eye out of a [`plain_scene`], for a page that holds it once for all faces of that half and side.
pub fn take_eye(scene: &mut Scene) -> Vec<Item> {
    let is_eye = |item: &mut Item| matches!(item, Item::Group(group) if group.class == EYE);
    scene.items.extract_if(.., is_eye).collect()
}

/// The plate with nothing around it but which side it shows.
pub fn plain_scene(view: &FaceView) -> Scene {
    let plate = plate(view, &spots(view), Room::PRINT);
    let width = plate.area.width().max(NARROWEST) + 2.0 * RIM;
    let (mut items, head) = heading(view, width);
    let (dx, dy) = ((width - plate.area.width()) / 2.0 - plate.area.left, head - plate.area.top);
    items.extend(plate.items.into_iter().map(|item| item.moved(dx, dy)));
    let mut height = head + plate.area.height() + RIM;
    if plate.crowded {
        height += 16.0;
        let note = "Where contacts crowd, names stand in the list alone.";
        items.push(Item::Text(line(at(RIM, height - RIM), 11.0, note).class("soft")));
    }
    Scene { title: sheet::title(view), desc: sheet::desc(view, &spots(view)), width, height, items }
}

/// The eye and the side in words, from the top left, and how far down they reach.
fn heading(view: &FaceView, width: f64) -> (Vec<Item>, f64) {
    let mut items = Vec::new();
    let mut left = RIM;
    if view.geometry_given {
        let sign: Vec<Item> = symbol::view_direction(view.half, view.side);
        let wide = area_of(&sign).map_or(0.0, |area| area.right);
        let sign = sign.into_iter().map(|item| item.moved(RIM, 0.0)).collect();
        items.push(Item::Group(Group { class: EYE, data: Vec::new(), title: None, items: sign }));
        left += wide + GAP;
    }
    let statement = sheet::statement(view);
    // Which side of what, and below it the kind of contacts.
    let lines = statement
        .split_once(" (")
        .map_or(vec![statement.clone()], |(side, kind)| vec![side.to_owned(), format!("({kind}")]);
    let mut y = symbol::VIEW.1 / 2.0 - lines.len() as f64 * SIZE * 0.7 + SIZE;
    for (nth, text) in lines.iter().enumerate() {
        let weight = if nth == 0 { Weight::Bold } else { Weight::Regular };
        let text = shorten(text, SIZE, weight, width - RIM - left);
        items.push(Item::Text(Text { weight, ..line(at(left, y), SIZE, text) }));
        y += 1.4 * SIZE;
    }
    (items, symbol::VIEW.1 + GAP)
}

/// What a page says beside a [`plain_scene`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FaceWords {
    /// What must be known before the picture is trusted, hazards first.
    pub doubts: Vec<String>,
    /// Which arrangement it is, and where that is from; empty where no geometry is given.
    pub arrangement: String,
}

/// The words of a face; the same for both sides.
pub fn face_words(view: &FaceView) -> FaceWords {
    let face = &view.face;
    let mut arrangement = format!("Arrangement {}: {}.", bounded(&face.name), bounded(&face.source));
    if face.fidelity == Fidelity::Measured {
        arrangement.push_str(" Order and rings as published; positions approximate.");
    }
    if !view.geometry_given {
        arrangement.clear();
    }
    FaceWords { doubts: sheet::doubts(view), arrangement }
}

/// The signs of contacts, each with its word: once for a page of faces.
pub fn signs_scene() -> Scene {
    let entries = [
        (Some(Half::Pin), ContactState::Normal, "pin"),
        (Some(Half::Socket), ContactState::Normal, "socket"),
        (None, ContactState::Normal, "kind not given"),
        (None, ContactState::Spare, "spare: meant to be empty"),
        (None, ContactState::Plugged, "sealing plug"),
    ];
    let mut items = Vec::new();
    let mut x = RIM;
    for (half, state, word) in entries {
        let sign = symbol::contact(half, state, 7.0);
        items.extend(sign.into_iter().map(|item| item.moved(x + 8.0, 12.0)));
        items.push(Item::Text(line(at(x + 22.0, 16.0), 11.5, word)));
        x += 22.0 + text_width(word, 11.5, Weight::Regular) + 22.0;
    }
    let title = "Signs of contacts".to_owned();
    Scene { title, desc: String::new(), width: x, height: 24.0, items }
}
