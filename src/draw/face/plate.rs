//! The face itself: cells at their places, the outline around them, the key on top.
//!
//! Comes in: spots and the face's outline and key. Goes out: items around the face's middle, and
//! whether all labels found room. Why: the scale of the drawing follows from the labels, not from
//! the connector: contacts stand as far apart as their labels need.
//!
//! Labels are no mirror images: a name stands left of its contact on either side. So scale and outline are
//! those that both sides need, and the two sides of one connector can be laid beside each other.

use super::super::scene::{Anchor, Area, Item, Point, area_of, at, line, polyline};
use super::cell::{self, Cell};
use super::{FaceView, Spot};
use crate::definition::face::{Fidelity, Key, Outline};

/// How large a face is drawn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Room {
    /// The largest cells together, across and down, that carry all labels at the contacts.
    roomy: (f64, f64),
    /// A face with names alone is drawn at least this large, so that they stand clear of the wrong contact.
    least: f64,
    /// The largest face that carries every name.
    largest: f64,
}

impl Room {
    /// On a sheet of its own.
    pub(super) const SHEET: Self = Self { roomy: (1000.0, 800.0), least: 340.0, largest: 3000.0 };
    /// Where it is printed as it is: two of the small ones stand side by side on A4, and the largest, shrunk to
    /// the page, keeps letters of 7 pt.
    pub(super) const PRINT: Self = Self { roomy: (300.0, 360.0), least: 272.0, largest: 760.0 };
}

/// Free space between the areas of two cells.
///
/// Wider sideways, where a name stands left of its contact and must not seem to belong to the next.
const GAP_ACROSS: f64 = 8.0;
const GAP_DOWN: f64 = 9.0;

/// A drawn face.
pub(super) struct Plate {
    /// What is drawn, around the middle of the face.
    pub(super) items: Vec<Item>,
    /// The area it covers.
    pub(super) area: Area,
    /// Whether wires, colours and sizes stand at the contacts.
    pub(super) full: bool,
    /// Whether some names had to be left to the list.
    pub(super) crowded: bool,
}

/// Draws the face with all labels where they fit, and with names alone where they do not.
pub(super) fn plate(view: &FaceView, spots: &[Spot], room: Room) -> Plate {
    let on_face: Vec<&Spot> = spots.iter().filter(|s| s.place.is_some()).collect();
    let places = Places::of(view, &on_face);
    let cells: Vec<Cell> = on_face.iter().map(|s| cell::full(s, view.half)).collect();
    let scale = places.scale_for(&cells);
    let area = places.covered(&cells, scale);
    if area.width() <= room.roomy.0 && area.height() <= room.roomy.1 {
        return assemble(view, &places, cells, scale, true, false);
    }
    let mut cells: Vec<Cell> = on_face.iter().map(|s| cell::dense(s, view.half)).collect();
    let mut scale = places.scale_for(&cells).max(places.roomier(&cells, room.least));
    let area = places.covered(&cells, scale);
    let crowded = area.width().max(area.height()) > room.largest;
    if crowded {
        scale = places.scale_within(room.largest);
        thin_out(&places.own, &mut cells, scale);
    }
    assemble(view, &places, cells, scale, false, crowded)
}

/// Draws the face with its contacts alone, as small as they can be told apart.
pub(super) fn bare(view: &FaceView, spots: &[Spot]) -> Plate {
    let on_face: Vec<&Spot> = spots.iter().filter(|s| s.place.is_some()).collect();
    let places = Places::of(view, &on_face);
    let cells: Vec<Cell> = on_face.iter().map(|s| cell::bare(s, view.half)).collect();
    let scale = places.scale_for(&cells).min(places.scale_within(Room::SHEET.largest));
    assemble(view, &places, cells, scale, false, true)
}

/// Where the contacts stand, in millimetres, on this side and on the other.
struct Places {
    own: Vec<(f64, f64)>,
    /// The mirror image; empty where no side is known.
    other: Vec<(f64, f64)>,
}

impl Places {
    fn of(view: &FaceView, spots: &[&Spot]) -> Self {
        let own: Vec<(f64, f64)> = spots.iter().filter_map(|s| s.place).collect();
        let other =
            if view.geometry_given { own.iter().map(|(x, y)| (-x, *y)).collect() } else { Vec::new() };
        Self { own, other }
    }

    /// The smallest scale, in pixels per millimetre, at which no two cells overlap on either side.
    fn scale_for(&self, cells: &[Cell]) -> f64 {
        let scale = scale_for(&self.own, cells).max(scale_for(&self.other, cells));
        if scale.is_finite() && scale > 0.0 { scale } else { 1.0 }
    }

    /// The areas of the cells on both sides.
    fn areas(&self, cells: &[Cell], scale: f64) -> Vec<Area> {
        let sides = [&self.own, &self.other].into_iter().flat_map(|places| places.iter().zip(cells));
        sides.map(|(p, c)| c.area.moved(p.0 * scale, p.1 * scale)).collect()
    }

    fn covered(&self, cells: &[Cell], scale: f64) -> Area {
        self.areas(cells, scale).into_iter().reduce(Area::with).unwrap_or(NOTHING)
    }

    /// The scale at which the cells together are so large, across or down.
    fn roomier(&self, cells: &[Cell], least: f64) -> f64 {
        let [one, two] = [1.0, 2.0].map(|scale| self.covered(cells, scale));
        // The labels keep their size: only the distances grow with the scale.
        let reach = |one: f64, two: f64| {
            let grows = two - one;
            if grows > 1e-6 { 1.0 + (least - one) / grows } else { f64::INFINITY }
        };
        let scale = reach(one.width(), two.width()).min(reach(one.height(), two.height()));
        if scale.is_finite() { scale } else { 1.0 }
    }

    /// The scale at which the contacts' middles keep within so many pixels.
    fn scale_within(&self, largest: f64) -> f64 {
        let reach = self.own.iter().map(|p| p.0.abs().max(p.1.abs())).fold(1e-3, f64::max);
        largest / 2.0 / reach
    }
}

const NOTHING: Area = Area::new(0.0, 0.0, 0.0, 0.0);

/// The smallest scale, in pixels per millimetre, at which no two cells overlap: each pair must come
/// apart either sideways or up and down; 0 where nothing can. O(n²).
fn scale_for(places: &[(f64, f64)], cells: &[Cell]) -> f64 {
    let mut scale = 0.0_f64;
    for (i, (a, first)) in places.iter().zip(cells).enumerate() {
        for (b, second) in places.iter().zip(cells).skip(i + 1) {
            let (p, q) = (first.area, second.area);
            let across = apart(b.0 - a.0, (p.left, p.right), (q.left, q.right), GAP_ACROSS);
            let down = apart(b.1 - a.1, (p.top, p.bottom), (q.top, q.bottom), GAP_DOWN);
            scale = scale.max(across.min(down));
        }
    }
    scale
}

/// The scale at which two spans come apart along one axis.
fn apart(distance: f64, first: (f64, f64), second: (f64, f64), gap: f64) -> f64 {
    if distance.abs() < 1e-9 {
        return f64::INFINITY;
    }
    let needed = if distance > 0.0 { first.1 - second.0 } else { second.1 - first.0 };
    (needed + gap) / distance.abs()
}

/// Keeps the names that have room, in order; the others stand in the list alone.
fn thin_out(places: &[(f64, f64)], cells: &mut [Cell], scale: f64) {
    let mut taken: Vec<Area> = Vec::new();
    for (place, cell) in places.iter().zip(cells) {
        let area = cell.area.moved(place.0 * scale, place.1 * scale);
        if taken.iter().any(|t| t.overlaps(&area)) {
            cell::without_text(cell);
        } else {
            taken.push(area);
        }
    }
}

fn assemble(
    view: &FaceView,
    places: &Places,
    cells: Vec<Cell>,
    scale: f64,
    full: bool,
    crowded: bool,
) -> Plate {
    let (mut items, edge) = outline(view.face.outline, &places.areas(&cells, scale));
    items.extend(key(view, edge));
    for (place, cell) in places.own.iter().zip(cells) {
        items.push(Item::Group(cell.group).moved(place.0 * scale, place.1 * scale));
    }
    let area = area_of(&items).unwrap_or(edge);
    Plate { items, area, full, crowded }
}

/// Free space between the outline and the cells.
const RIM: f64 = 14.0;

/// The outline around the cells, and the area it covers. Only its shape is the connector's: it is
/// drawn as close around the labels as they allow.
fn outline(outline: Outline, cells: &[Area]) -> (Vec<Item>, Area) {
    let inner = cells.iter().copied().reduce(Area::with).unwrap_or(NOTHING).grown(RIM);
    match outline {
        Outline::Round { .. } => {
            let (centre, radius) = around(cells);
            let circle = Item::Circle { centre, radius, class: "plate" };
            (vec![circle], Area::around(centre, radius))
        }
        Outline::Rectangle { .. } => (vec![Item::Rect { area: inner, rounding: 6.0, class: "plate" }], inner),
        Outline::Dee { .. } => dee(inner),
    }
}

/// The circle around all cells: centred on the face sideways, and on the cells' height, since labels
/// hang below their contacts.
fn around(cells: &[Area]) -> (Point, f64) {
    let radius_at = |y: f64| {
        let corners = cells.iter().flat_map(Area::corners);
        corners.map(|c| c.x.hypot(c.y - y)).fold(20.0, f64::max) + RIM
    };
    // The smallest of a few heights is close enough to the best.
    let heights = (0..=40).map(|n| f64::from(n) - 5.0);
    let best = heights.min_by(|a, b| radius_at(*a).total_cmp(&radius_at(*b))).unwrap_or(0.0);
    (at(0.0, best), radius_at(best))
}

/// A shell that is wider at the top.
fn dee(inner: Area) -> (Vec<Item>, Area) {
    let slant = inner.height() * 0.18;
    let corners = [
        at(inner.left - slant, inner.top),
        at(inner.right + slant, inner.top),
        at(inner.right, inner.bottom),
        at(inner.left, inner.bottom),
    ];
    let area = Area::new(inner.left - slant, inner.top, inner.right + slant, inner.bottom);
    (vec![polyline(&corners, true, "plate")], area)
}

/// The key, the latch, or a plain mark for the top, above the outline.
fn key(view: &FaceView, edge: Area) -> Vec<Item> {
    let (x, top) = (f64::midpoint(edge.left, edge.right), edge.top);
    let word = |dx: f64, text| {
        Item::Text(line(at(x + dx, top - 6.0), 11.0, text).class("soft").anchor(Anchor::Start))
    };
    match (view.face.key, view.face.outline, view.face.fidelity) {
        (Key::Top, _, _) => {
            let tab = [
                at(x - 7.0, top + 1.0),
                at(x - 5.0, top - 12.0),
                at(x + 5.0, top - 12.0),
                at(x + 7.0, top + 1.0),
            ];
            vec![polyline(&tab, true, "ink"), word(13.0, "key")]
        }
        (Key::Latch, _, _) => {
            let tab = Area::new(x - 24.0, top - 14.0, x + 24.0, top);
            vec![
                Item::Rect { area: tab, rounding: 2.0, class: "plate" },
                polyline(&[at(x - 14.0, top - 7.0), at(x + 14.0, top - 7.0)], false, "thin"),
                word(31.0, "latch"),
            ]
        }
        (Key::None, Outline::Dee { .. }, _) => vec![word(-36.0, "wide side up")],
        // Which way up an unknown arrangement stands is not known either.
        (Key::None, _, Fidelity::Schematic) => Vec::new(),
        (Key::None, _, _) => {
            let tip = [at(x - 5.0, top - 5.0), at(x, top - 13.0), at(x + 5.0, top - 5.0)];
            vec![polyline(&tip, true, "ink"), word(11.0, "top")]
        }
    }
}
