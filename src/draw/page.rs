//! A sheet of paper that is filled from the top down.
//!
//! Comes in: texts and items, one after the other. Goes out: a scene with its paper. Why: every drawing
//! has a heading, notes and the stamp of its definition, and they look the same on all.

use super::scene::{Area, Group, Item, Scene, at, line, polyline};
use super::text::{Weight, bounded, wrap};

/// Free space around what is drawn.
pub(super) const MARGIN: f64 = 24.0;

/// Collects items from the top of a sheet down.
pub(super) struct Page {
    /// Without the margins.
    pub(super) width: f64,
    /// How far down the sheet is filled.
    pub(super) y: f64,
    /// What is on it.
    pub(super) items: Vec<Item>,
}

impl Page {
    /// An empty sheet, so wide between its margins.
    pub(super) fn new(width: f64) -> Self {
        Self { width, y: MARGIN, items: Vec::new() }
    }

    /// Text in up to so many lines from the left edge, within `room`.
    pub(super) fn text(
        &mut self,
        text: &str,
        size: f64,
        look: (Weight, &'static str),
        room: f64,
        lines: usize,
    ) {
        for text in wrap(text, size, look.0, room, lines) {
            self.y += size;
            let mut made = line(at(MARGIN, self.y), size, text).class(look.1);
            made.weight = look.0;
            self.items.push(Item::Text(made));
            self.y += 0.4 * size;
        }
    }

    /// Items moved into place.
    pub(super) fn place(&mut self, items: Vec<Item>, dx: f64, dy: f64) {
        self.items.extend(items.into_iter().map(|i| i.moved(dx, dy)));
    }

    /// A line from margin to margin.
    pub(super) fn rule(&mut self) {
        let ends = [at(MARGIN, self.y), at(MARGIN + self.width, self.y)];
        self.items.push(polyline(&ends, false, "rule"));
    }

    /// Id, title and a statement of what is shown, with a line below.
    pub(super) fn heading(&mut self, name: &str, title: &str, statement: &str) {
        let room = self.width;
        self.text(&bounded(name), 20.0, (Weight::Bold, "ink"), room, 1);
        self.text(&bounded(title), 14.0, (Weight::Regular, "ink"), room, 2);
        self.text(&bounded(statement), 12.0, (Weight::Regular, "soft"), room, 3);
        self.y += 6.0;
        self.rule();
        self.y += 16.0;
    }

    /// Small lines below the drawing.
    pub(super) fn notes(&mut self, notes: &[String]) {
        if notes.is_empty() {
            return;
        }
        self.rule();
        self.y += 6.0;
        for note in notes {
            self.text(&bounded(note), 11.0, (Weight::Regular, "soft"), self.width, 4);
        }
        self.y += 6.0;
    }

    /// Which definition this was drawn from; nothing where the page around it says so.
    pub(super) fn stamp(&mut self, stamp: &str) {
        if stamp.is_empty() {
            return;
        }
        self.rule();
        self.y += 6.0;
        self.text(&bounded(stamp), 11.0, (Weight::Regular, "ink"), self.width, 2);
    }

    /// The scene: paper, and everything on it in one group.
    pub(super) fn finish(self, title: String, desc: String, whole: impl FnOnce(Vec<Item>) -> Group) -> Scene {
        let (width, height) = (self.width + 2.0 * MARGIN, self.y + MARGIN - 8.0);
        let paper = Item::Rect { area: Area::new(0.0, 0.0, width, height), rounding: 0.0, class: "paper" };
        Scene { title, desc, width, height, items: vec![paper, Item::Group(whole(self.items))] }
    }
}
