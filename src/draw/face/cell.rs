//! A contact with its labels.
//!
//! Comes in: a spot. Goes out: items around the cavity's centre and the area they need. Why: how
//! far apart the cavities must be drawn follows from these areas.

use super::super::scene::{Anchor, Area, Group, Item, Text, area_of, at, line};
use super::super::swatch::{self, swatch};
use super::super::text::{Weight, shorten, text_width};
use super::{ContactLabel, Spot, empty_word, state_word, symbol, words};
use crate::definition::face::Half;

/// A contact's drawing around the origin.
pub(super) struct Cell {
    /// What is drawn.
    pub(super) group: Group,
    /// The area it covers.
    pub(super) area: Area,
}

/// Radius of a cavity with all labels, and of one with its name alone.
const ROOMY: f64 = 10.0;
const DENSE: f64 = 6.0;

/// Everything beside the contact: name and other markings at its sides, wires below.
pub(super) fn full(spot: &Spot, half: Option<Half>) -> Cell {
    let label = &spot.label;
    let mut items = signs(label, half, ROOMY);
    let beside = if label.mark == super::Mark::None { ROOMY + 4.0 } else { ROOMY + 7.0 };
    let name = shorten(&label.name, 14.0, Weight::Bold, 100.0);
    items.push(Item::Text(line(at(-beside, 5.0), 14.0, name).bold().anchor(Anchor::End)));
    if !label.also.is_empty() {
        let also = shorten(&format!("({})", label.also.join(", ")), 11.0, Weight::Regular, 100.0);
        items.push(Item::Text(line(at(beside, 4.0), 11.0, also).class("soft")));
    }
    items.extend(lines_below(label, beside));
    finish(label, items)
}

/// The contact with its name alone.
pub(super) fn dense(spot: &Spot, half: Option<Half>) -> Cell {
    let label = &spot.label;
    let mut items = signs(label, half, DENSE);
    let below = if label.mark == super::Mark::None { DENSE + 10.0 } else { DENSE + 13.0 };
    let name = shorten(&label.name, 11.0, Weight::Bold, 70.0);
    items.push(Item::Text(line(at(0.0, below), 11.0, name).bold().anchor(Anchor::Middle)));
    finish(label, items)
}

/// The contact alone, with no text at all.
pub(super) fn bare(spot: &Spot, half: Option<Half>) -> Cell {
    let items = symbol::contact(half, spot.label.state, DENSE);
    let group =
        Group { class: "contact", data: vec![("contact", spot.label.name.clone())], title: None, items };
    Cell { group, area: Area::around(at(0.0, 0.0), DENSE) }
}

fn signs(label: &ContactLabel, half: Option<Half>, radius: f64) -> Vec<Item> {
    let mut items = symbol::contact(half, label.state, radius);
    items.extend(symbol::shade(label.mark, radius));
    items.extend(symbol::mark(label.mark, radius));
    items
}

fn lines_below(label: &ContactLabel, beside: f64) -> Vec<Item> {
    let mut items = Vec::new();
    let mut y = beside - 1.0;
    for wire in &label.wires {
        y += 14.0;
        items.push(middle(y, 12.0, &wire.id, "ink"));
        if !wire.colour.is_empty() {
            y += 13.5;
            items.extend(colour(y, &wire.colour));
        }
        if !wire.gauge.is_empty() {
            y += 13.5;
            items.push(middle(y, 11.0, &wire.gauge, "soft"));
        }
        y += 1.5;
    }
    for part in &label.parts {
        y += 13.0;
        items.push(middle(y, 11.0, part, "ink"));
    }
    if let Some(word) = empty_word(label) {
        items.push(middle(y + 13.0, 11.0, word, "soft"));
    }
    items
}

fn middle(y: f64, size: f64, text: &str, class: &'static str) -> Item {
    let text = shorten(text, size, Weight::Regular, 180.0);
    Item::Text(line(at(0.0, y), size, text).class(class).anchor(Anchor::Middle))
}

/// Sample and letters on one line, centred together.
fn colour(y: f64, code: &str) -> Vec<Item> {
    const SIZE: f64 = 11.0;
    const GAP: f64 = 3.5;
    let code = shorten(code, SIZE, Weight::Regular, 140.0);
    let width = swatch::WIDTH + GAP + text_width(&code, SIZE, Weight::Regular);
    let left = -width / 2.0;
    let mut items = swatch(&code, left, y - swatch::HEIGHT + 0.8);
    items.push(Item::Text(line(at(left + swatch::WIDTH + GAP, y), SIZE, code)));
    items
}

/// Wraps the items in a group that names the contact and what it carries.
fn finish(label: &ContactLabel, items: Vec<Item>) -> Cell {
    let area = area_of(&items).unwrap_or(Area::around(at(0.0, 0.0), ROOMY));
    let each =
        |part: fn(&super::WireLabel) -> &str| label.wires.iter().map(part).collect::<Vec<_>>().join(" ");
    let mut data = vec![("contact", label.name.clone())];
    if !label.wires.is_empty() {
        data.push(("wire", each(|w| &w.id)));
        data.push(("colour", each(|w| &w.colour)));
        data.push(("gauge", label.wires.iter().map(|w| w.gauge.as_str()).collect::<Vec<_>>().join("; ")));
    }
    if !label.parts.is_empty() {
        data.push(("part", label.parts.join(" ")));
    }
    data.extend(state_word(label.state).map(|w| ("state", w.to_owned())));
    data.extend(super::mark_word(label.mark).map(|w| ("mark", w.to_owned())));
    Cell { group: Group { class: "contact", data, title: Some(words(label)), items }, area }
}

/// Takes the texts out of a cell: for a contact so crowded that its name would cover another's.
pub(super) fn without_text(cell: &mut Cell) {
    cell.group.items.retain(|i| !matches!(i, Item::Text(Text { .. })));
}
