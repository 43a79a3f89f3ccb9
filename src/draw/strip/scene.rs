//! The strip on its sheet.
//!
//! Comes in: a view. Goes out: a scene. Why: rows are placed one below the other, each as high as it
//! needs, and texts are cut to the room between the line and the figures; so nothing can overlap.

use std::ops::Range;

use super::super::face::{Mark, symbol};
use super::super::page::{MARGIN, Page};
use super::super::scene::{Anchor, Area, Group, Item, Scene, Step, at, line, polyline};
use super::super::sign::{self, Sign};
use super::super::swatch::colour_classes;
use super::super::text::{Weight, bounded, shorten, text_width};
use super::{ElementRow, Place, PlaceKind, Stop, StripRow, StripView};
use crate::units::{Ohms, significant};

/// The sheet between its margins: upright A4 or Letter.
const WIDTH: f64 = 700.0;
/// The main line, and how far a branch lies beside it.
const FIRST_LANE: f64 = MARGIN + 34.0;
const LANE: f64 = 34.0;
/// Right edges of the columns of figures.
const SHARE_AT: f64 = MARGIN + WIDTH - 250.0;
const OHMS_AT: f64 = MARGIN + WIDTH - 124.0;
const VOLTS_AT: f64 = MARGIN + WIDTH - 10.0;
/// The bar that shows a voltage.
const BAR_FROM: f64 = OHMS_AT + 14.0;
const BAR_LONG: f64 = 34.0;

/// Draws a strip.
pub fn strip_scene(view: &StripView) -> Scene {
    piece(view, 0, f64::INFINITY).0
}

/// Draws a strip in pieces, for pages on which no more than `highest` has room; notes and stamp of the last piece may
/// reach a little farther. Each piece says what it is of and where one stands.
pub fn strip_scenes(view: &StripView, highest: f64) -> Vec<Scene> {
    let mut pieces = Vec::new();
    let mut from = 0;
    loop {
        let (scene, next) = piece(view, from, highest);
        pieces.push(scene);
        if next >= view.rows.len() {
            return pieces;
        }
        from = next;
    }
}

/// The rows from `from` on for which there is room, one at least, and the row that follows.
fn piece(view: &StripView, from: usize, highest: f64) -> (Scene, usize) {
    let mut page = Page::new(WIDTH);
    let name = bounded(&view.name);
    if from == 0 {
        page.heading(&view.name, &view.title, &view.way);
    } else {
        page.text(&format!("{name}, continued"), 16.0, (Weight::Bold, "ink"), WIDTH, 1);
        page.y += 12.0;
    }
    if from == 0 && !view.setup.is_empty() {
        page.y -= 6.0;
        let words = format!("Voltages with {}", bounded(&view.setup));
        page.text(&words, 12.0, (Weight::Regular, "ink"), WIDTH, 4);
        page.y += 8.0;
    }
    let shares = view.rows.iter().any(|row| matches!(&row.what, Stop::Element(e) if e.share.is_some()));
    let volts = Volts::of(view);
    heads(&mut page, shares, volts.most > 0.0);
    let mut at = from;
    while at < view.rows.len() {
        let first = &view.rows[at];
        let alike = |row: &&StripRow| row.station == first.station && row.lane == first.lane;
        let run = view.rows[at..].iter().take_while(alike).count();
        let room = highest - FOOT - page.y;
        let fitting = fitting(&view.rows[at..at + run], &volts, room);
        if fitting == 0 && at > from {
            break;
        }
        let end = at + fitting.max(1);
        field(&mut page, view, from, at..end, &volts);
        at = end;
    }
    page.y += 14.0;
    if at < view.rows.len() {
        page.notes(&["Goes on in the next picture.".to_owned()]);
    } else {
        page.notes(&[&view.notes[..], &view.figures[..]].concat());
    }
    page.stamp(&view.stamp);
    let part = if from == 0 { String::new() } else { ", continued".to_owned() };
    let title = format!("{name} as a strip{part}: {}", bounded(&view.way));
    let scene = page.finish(title, desc(&view.rows[from..at]), |items| Group {
        class: "strip",
        data: vec![("strip", name)],
        title: None,
        items,
    });
    (scene, at)
}

/// Room for the line below the last field, and the stamp.
const FOOT: f64 = 50.0;

/// How many of the rows of a field have room.
fn fitting(rows: &[StripRow], volts: &Volts, room: f64) -> usize {
    // A field's name, and its edges.
    let mut height = 24.0;
    let fits = |row: &&StripRow| {
        height += row_items(row, volts, [false, false]).1;
        height <= room
    };
    rows.iter().take_while(fits).count()
}

/// The voltages of a strip.
struct Volts {
    most: f64,
}

impl Volts {
    fn of(view: &StripView) -> Self {
        let volts = view.rows.iter().filter_map(|row| match &row.what {
            Stop::Place(place) => place.volts.map(|v| v.get().abs()),
            _ => None,
        });
        Self { most: volts.fold(0.0, f64::max) }
    }
}

fn desc(rows: &[StripRow]) -> String {
    let words = rows.iter().map(|row| match &row.what {
        Stop::Place(place) => place_words(place),
        Stop::Element(element) => element_words(element),
        Stop::Fork => "branch".to_owned(),
        Stop::Apart(words) | Stop::Skipped(words) => words.clone(),
    });
    let all = words.map(|w| bounded(&w)).collect::<Vec<_>>().join("; ");
    format!("{}.", shorten(&all, 1.0, Weight::Regular, 8000.0))
}

fn place_words(place: &Place) -> String {
    let volts = place.volts.map(|v| format!(", {v} expected"));
    format!("{}{}", place.name, volts.unwrap_or_default())
}

fn element_words(element: &ElementRow) -> String {
    let known =
        [element.what.as_str(), &element.colour, &element.gauge].into_iter().filter(|t| !t.is_empty());
    let mut words: Vec<String> = known.map(str::to_owned).collect();
    words.extend(element.length.map(|l| l.to_string()));
    words.extend(element.ohms.map(ohms_words));
    words.extend(element.share.map(|share| format!("suspect {share}")));
    words.extend(element.fault.as_ref().map(|(_, text)| format!("fault at {text}")));
    format!("{}: {}", element.id, words.join(", "))
}

/// "0.5–20 mohm": one unit for both, that of the larger.
fn ohms_words([low, high]: [Ohms; 2]) -> String {
    let text = high.to_string();
    let Some((number, unit)) = text.split_once(' ') else { return text };
    let factor = match unit {
        "mohm" => 1e-3,
        "kohm" => 1e3,
        "Mohm" => 1e6,
        "Gohm" => 1e9,
        _ => 1.0,
    };
    let low = significant(low.get() / factor, if low.get() / factor < 1.0 { 1 } else { 3 });
    if low == number { text } else { format!("{low}–{number} {unit}") }
}

fn heads(page: &mut Page, shares: bool, volts: bool) {
    let y = page.y + 4.0;
    let head = |x: f64, text: &str| Item::Text(line(at(x, y), 11.0, text).class("soft").anchor(Anchor::End));
    page.items.push(head(OHMS_AT, "resists"));
    if volts {
        page.items.push(head(VOLTS_AT, "expect"));
    }
    if shares {
        page.items.push(head(SHARE_AT + 20.0, "suspect"));
    }
    page.y += 12.0;
}

/// Rows at one place where a person stands, on a field that is named unless the one before it on this piece, which
/// starts at the row `from`, has the same name; or rows between two such places.
fn field(page: &mut Page, view: &StripView, from: usize, range: Range<usize>, volts: &Volts) {
    let rows = &view.rows[range.clone()];
    let station = rows.first().map_or("", |row| row.station.as_str());
    let top = page.y;
    let mut items = Vec::new();
    let mut y = top;
    let named = (from..range.start).rev().map(|nth| view.rows[nth].station.as_str()).find(|s| !s.is_empty());
    if !station.is_empty() && named == Some(station) {
        let own = !begins(view, range.start);
        items.extend(rows.first().map_or(Vec::new(), |row| passing(row, y, y + 4.0, own)));
        y += 4.0;
    } else if !station.is_empty() {
        y += 4.0;
        let deepest = rows.first().map_or(0, |row| row.lane);
        let x = lane(deepest) + 26.0;
        let name = shorten(&bounded(station), 11.0, Weight::Bold, MARGIN + WIDTH - x - 10.0);
        items.push(Item::Text(line(at(x, y + 11.0), 11.0, name).bold().class("soft")));
        let own = !begins(view, range.start);
        items.extend(rows.first().map_or(Vec::new(), |row| passing(row, y - 4.0, y + 16.0, own)));
        y += 16.0;
    }
    for (nth, row) in range.clone().zip(rows) {
        let (mut made, height) = row_items(row, volts, [begins(view, nth), finishes(view, nth)]);
        made = made.into_iter().map(|item| item.moved(0.0, y)).collect();
        items.extend(made);
        y += height;
    }
    if !station.is_empty() {
        y += 4.0;
        let area = Area::new(MARGIN, top, MARGIN + WIDTH, y);
        page.items.push(Item::Rect { area, rounding: 7.0, class: "field" });
        let own = !finishes(view, range.end - 1);
        let lanes = rows.last().map_or(Vec::new(), |row| passing(row, y - 4.0, y, own));
        items.splice(0..0, lanes);
    }
    page.items.extend(items);
    page.y = y;
}

/// Whether a lane's line starts in a row.
fn begins(view: &StripView, nth: usize) -> bool {
    nth == 0 || matches!(view.rows[nth - 1].what, Stop::Apart(_))
}

/// Whether a lane's line ends in a row.
fn finishes(view: &StripView, nth: usize) -> bool {
    let lane = view.rows[nth].lane;
    let next = view.rows.get(nth + 1);
    next.is_none_or(|next| match next.what {
        Stop::Apart(_) => true,
        Stop::Fork => next.lane <= lane,
        Stop::Place(_) | Stop::Element(_) | Stop::Skipped(_) => next.lane < lane,
    })
}

fn lane(nth: usize) -> f64 {
    FIRST_LANE + LANE * nth as f64
}

/// The lines to the left of a row that pass it, and its own where it is wanted.
fn passing(row: &StripRow, top: f64, bottom: f64, own: bool) -> Vec<Item> {
    let lanes = if own { row.lane + 1 } else { row.lane };
    (0..lanes).map(|l| polyline(&[at(lane(l), top), at(lane(l), bottom)], false, "line")).collect()
}

/// A row with its top at zero, and its height.
fn row_items(row: &StripRow, volts: &Volts, ends: [bool; 2]) -> (Vec<Item>, f64) {
    match &row.what {
        Stop::Place(place) => place_items(row, place, volts, ends),
        Stop::Element(element) => element_items(row, element, ends),
        Stop::Fork => (fork(row), 16.0),
        Stop::Skipped(words) => {
            let x = lane(row.lane);
            let left = x + 26.0;
            let words = shorten(&bounded(words), 11.5, Weight::Regular, VOLTS_AT - left);
            let text = line(at(left, 20.0), 11.5, words).class("soft");
            (vec![polyline(&[at(x, 2.0), at(x, 30.0)], false, "drop"), Item::Text(text)], 32.0)
        }
        Stop::Apart(words) => {
            let text = line(at(MARGIN, 24.0), 12.0, bounded(words)).bold();
            (
                vec![polyline(&[at(MARGIN, 8.0), at(MARGIN + WIDTH, 8.0)], false, "rule"), Item::Text(text)],
                36.0,
            )
        }
    }
}

/// The line parts: from the lane to the left, in two quarter turns.
fn fork(row: &StripRow) -> Vec<Item> {
    let (from, to) = (lane(row.lane.saturating_sub(1)), lane(row.lane));
    let r = 8.0;
    let mut items = passing(row, 0.0, 16.0, false);
    let into = vec![Step::Move(at(from + r, r)), Step::Arc(r, at(from, 0.0))];
    let out = vec![Step::Move(at(from + r, r)), Step::Line(at(to - r, r)), Step::Arc(r, at(to, 2.0 * r))];
    items.push(Item::Path { steps: into, class: "line" });
    items.push(Item::Path { steps: out, class: "line" });
    items
}

fn place_items(row: &StripRow, place: &Place, volts: &Volts, ends: [bool; 2]) -> (Vec<Item>, f64) {
    const HEIGHT: f64 = 21.0;
    let x = lane(row.lane);
    let middle = HEIGHT / 2.0;
    let left = x + 26.0;
    let height = HEIGHT + if place.also.is_empty() { 0.0 } else { 14.0 };
    let mut items = passing(row, 0.0, height, false);
    items.extend(own_line(x, [0.0, height], [middle, middle], ends));
    if place.kind == PlaceKind::Chassis {
        items.extend(sign::ground().into_iter().map(|i| i.moved(x, middle - 4.0)));
    } else {
        items.extend(place_sign(place.kind).into_iter().map(|i| i.moved(x, middle)));
    }
    let mut texts = left;
    if place.mark != Mark::None {
        items.extend(symbol::badge(place.mark).into_iter().map(|i| i.moved(left + 6.0, middle)));
        texts += 18.0;
    }
    let room = OHMS_AT - 84.0 - texts;
    let name = shorten(&bounded(&place.name), 13.0, Weight::Bold, room * 0.6);
    let width = text_width(&name, 13.0, Weight::Bold);
    items.push(Item::Text(line(at(texts, middle + 4.6), 13.0, name).bold()));
    let title = shorten(&bounded(&place.title), 11.5, Weight::Regular, room - width - 10.0);
    if !title.is_empty() && room - width > 40.0 {
        items.push(Item::Text(line(at(texts + width + 9.0, middle + 4.4), 11.5, title).class("soft")));
    }
    items.extend(level(place, volts, middle));
    if !place.also.is_empty() {
        let all = format!("also {}", place.also.iter().map(|a| bounded(a)).collect::<Vec<_>>().join(", "));
        let also = shorten(&all, 11.0, Weight::Regular, VOLTS_AT - texts);
        items.push(Item::Text(line(at(texts, HEIGHT + 8.0), 11.0, also).class("soft")));
    }
    let mut data = vec![("place", place.name.clone())];
    data.extend(place.volts.map(|v| ("volts", significant(v.get(), 4))));
    let group = Group { class: "place", data, title: Some(bounded(&place_words(place))), items };
    (vec![Item::Group(group)], height)
}

fn place_sign(kind: PlaceKind) -> Vec<Item> {
    let circle = |radius, class| Item::Circle { centre: at(0.0, 0.0), radius, class };
    match kind {
        PlaceKind::Contact => vec![circle(4.5, "cavity")],
        PlaceKind::Splice => vec![circle(5.5, "ink")],
        PlaceKind::Terminal => vec![circle(6.5, "cavity"), circle(2.4, "ink")],
        PlaceKind::Chassis => Vec::new(),
    }
}

/// The expected voltage: as a figure, and as a bar.
fn level(place: &Place, volts: &Volts, middle: f64) -> Vec<Item> {
    let Some(own) = place.volts.filter(|_| volts.most > 0.0) else { return Vec::new() };
    let long = BAR_LONG * (own.get().abs() / volts.most).clamp(0.0, 1.0);
    // A fraction of a millivolt is told roughly.
    let text = if own.get().abs() < 1e-3 { format!("{own:.1}") } else { own.to_string() };
    let text = shorten(&text, 12.0, Weight::Regular, VOLTS_AT - BAR_FROM - BAR_LONG - 4.0);
    vec![
        Item::Rect {
            area: Area::new(BAR_FROM, middle - 3.0, BAR_FROM + long, middle + 3.0),
            rounding: 0.0,
            class: "level",
        },
        polyline(&[at(BAR_FROM, middle - 5.0), at(BAR_FROM, middle + 5.0)], false, "rule"),
        Item::Text(line(at(VOLTS_AT, middle + 4.4), 12.0, text).anchor(Anchor::End)),
    ]
}

fn element_height(element: &ElementRow) -> f64 {
    match element.sign {
        Sign::End | Sign::Leg => 13.5,
        Sign::Wire if element.fault.is_some() => 60.0,
        Sign::Wire => 28.0,
        Sign::Gate | Sign::Bond => 20.0,
        _ => 32.0,
    }
}

/// The lane's own line through a row, but for the gap that a sign fills; none where it starts or ends.
fn own_line(x: f64, [top, bottom]: [f64; 2], gap: [f64; 2], [begins, finishes]: [bool; 2]) -> Vec<Item> {
    let piece = |from: f64, to: f64| polyline(&[at(x, from), at(x, to)], false, "line");
    let above = (!begins).then(|| piece(top, gap[0]));
    above.into_iter().chain((!finishes).then(|| piece(gap[1], bottom))).collect()
}

fn element_items(row: &StripRow, element: &ElementRow, ends: [bool; 2]) -> (Vec<Item>, f64) {
    let height = element_height(element);
    let (x, middle) = (lane(row.lane), height / 2.0);
    let reach = element.sign.reach(element.open);
    let mut items = passing(row, 0.0, height, false);
    items.extend(own_line(x, [0.0, height], [middle - reach, middle + reach], ends));
    if let Some(share) = element.share {
        let half = reach.max(6.0) + 4.0;
        let area = Area::new(x - half - 3.0, 1.0, x + half + 3.0, height - 1.0);
        items.push(Item::Rect { area, rounding: 4.0, class: share.shade() });
    }
    if element.sign == Sign::Wire {
        items.extend(wire_body(element, x, height));
    }
    items.extend(element.sign.items(element.open).into_iter().map(|i| i.moved(x, middle)));
    items.extend(texts(element, x + 26.0, middle));
    let mut data = vec![("element", element.id.clone())];
    if !element.colour.is_empty() {
        data.push(("colour", element.colour.clone()));
    }
    data.extend(element.ohms.map(|o| ("ohms", o.map(|v| significant(v.get(), 4)).join(" "))));
    data.extend(element.share.map(|s| ("share", significant(s.get(), 3))));
    let title = Some(bounded(&element_words(element)));
    (vec![Item::Group(Group { class: "element", data, title, items })], height)
}

/// A wire in its own colours, wide enough to be told by them, with the place of a fault.
fn wire_body(element: &ElementRow, x: f64, height: f64) -> Vec<Item> {
    let half = if element.followed { 7.0 } else { 6.0 };
    let area = Area::new(x - half, 2.0, x + half, height - 2.0);
    let mut items = Vec::new();
    let colours = colour_classes(&element.colour).unwrap_or_default();
    items.push(Item::Rect { area, rounding: 0.0, class: colours.first().copied().unwrap_or("cavity") });
    if let Some(stripe) = colours.get(1) {
        let area = Area::new(x - half / 3.0, 2.0, x + half / 3.0, height - 2.0);
        items.push(Item::Rect { area, rounding: 0.0, class: stripe });
    }
    items.push(Item::Rect { area, rounding: 0.0, class: if element.followed { "follow" } else { "edge" } });
    if let Some((part, _)) = &element.fault {
        let y = 6.0 + (height - 12.0) * part;
        items.push(polyline(&[at(x - 14.0, y), at(x + 14.0, y)], false, "ring-doubt"));
        items.push(polyline(&[at(x + 18.0, y - 4.5), at(x + 11.0, y), at(x + 18.0, y + 4.5)], true, "doubt"));
    }
    items
}

/// Id, words and figures of an element.
fn texts(element: &ElementRow, left: f64, middle: f64) -> Vec<Item> {
    let mut items = Vec::new();
    let small = matches!(element.sign, Sign::End | Sign::Leg);
    let ohms = element.ohms.map(ohms_words).unwrap_or_default();
    let right = OHMS_AT - if ohms.is_empty() { 0.0 } else { text_width(&ohms, 11.5, Weight::Regular) + 12.0 };
    let right = if element.share.is_some() { right.min(SHARE_AT - 44.0) } else { right };
    let baseline = middle + 4.2 - if element.fault.is_some() { 9.0 } else { 0.0 };
    if small {
        items.push(Item::Text(line(at(left, middle + 4.0), 11.0, element.what.clone()).class("soft")));
    } else {
        items.extend(named(element, left, right, baseline));
    }
    if !ohms.is_empty() {
        let class = if small { "soft" } else { "ink" };
        let text = line(at(OHMS_AT, baseline), 11.5, ohms).class(class).anchor(Anchor::End);
        items.push(Item::Text(text));
    }
    if let Some(share) = element.share {
        let badge = symbol::badge(Mark::Suspect(share));
        items.extend(badge.into_iter().map(|i| i.moved(SHARE_AT - 42.0, baseline - 4.0)));
        let text = line(at(SHARE_AT + 12.0, baseline), 12.0, share.to_string()).bold().class("doubt");
        items.push(Item::Text(text.anchor(Anchor::End)));
    }
    if let Some((_, words)) = &element.fault {
        let words = shorten(&format!("fault at {}", bounded(words)), 12.0, Weight::Bold, OHMS_AT - left);
        items.push(Item::Text(line(at(left, baseline + 20.0), 12.0, words).bold().class("doubt")));
    }
    items
}

fn named(element: &ElementRow, left: f64, right: f64, baseline: f64) -> Vec<Item> {
    let class = if element.followed { "route" } else { "ink" };
    let id = shorten(&bounded(&element.id), 13.0, Weight::Bold, (right - left) * 0.5);
    let x = left + text_width(&id, 13.0, Weight::Bold) + 9.0;
    let mut items = vec![Item::Text(line(at(left, baseline), 13.0, id).bold().class(class))];
    let known =
        [element.colour.as_str(), &element.gauge, &element.what].into_iter().filter(|t| !t.is_empty());
    let mut words: Vec<String> = known.map(str::to_owned).collect();
    words.extend(element.length.map(|l| l.to_string()));
    if element.open {
        words.push("open in this setup".to_owned());
    }
    let words = shorten(&bounded(&words.join(" · ")), 12.0, Weight::Regular, right - x);
    if !words.is_empty() && right - x > 24.0 {
        items.push(Item::Text(line(at(x, baseline), 12.0, words)));
    }
    items
}
