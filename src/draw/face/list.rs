//! The list beside a face: one row per wire.
//!
//! Comes in: spots and how much of them already stands at the contacts. Goes out: a list that can be
//! set in any number of blocks side by side. Why: a dense face has room for names only.

use super::super::scene::{Group, Item, Text, at, line, polyline};
use super::super::swatch::{self, swatch};
use super::super::text::{Weight, shorten, text_width};
use super::{ContactLabel, Spot, empty_word, mark_words, words};

const SIZE: f64 = 11.5;
const ROW: f64 = 17.5;
const HEAD: f64 = 22.0;
/// Between the columns of a block, and between blocks.
const COLUMN_GAP: f64 = 12.0;
const BLOCK_GAP: f64 = 28.0;

/// One column: what it is called, which text a row has in it, and how wide it may get.
struct Column {
    head: &'static str,
    text: fn(&Row) -> String,
    most: f64,
    width: f64,
}

/// One row: a contact and one of its wires.
#[derive(Clone, Copy)]
struct Row<'a> {
    label: &'a ContactLabel,
    /// Which of the contact's wires.
    nth: usize,
    /// Whether the contact's name stands in it: in its first row, and at the head of a block.
    named: bool,
}

/// A list of contacts.
pub(super) struct List<'a> {
    rows: Vec<Row<'a>>,
    columns: Vec<Column>,
}

impl<'a> List<'a> {
    /// Everything about every contact.
    pub(super) fn of_all(spots: &'a [Spot]) -> Self {
        Self::new(rows(spots, |_| true), &ALL)
    }

    /// What does not stand at the contacts of a roomy face: signals, marks in words, and contacts that
    /// are not on the face.
    pub(super) fn of_rest(spots: &'a [Spot]) -> Self {
        let mut list = if spots.iter().any(|s| s.place.is_none()) {
            Self::of_all(spots)
        } else {
            let said = |s: &Spot| s.label.signal.is_some() || s.label.mark != super::Mark::None;
            Self::new(rows(spots, said), &REST)
        };
        list.rows.retain(|r| r.nth == 0 || list.columns.len() > 3);
        list
    }

    fn new(rows: Vec<Row<'a>>, kinds: &[Kind]) -> Self {
        let mut columns = Vec::new();
        for &(head, text, most) in kinds {
            let widths = rows.iter().map(|r| column_width(head, &text(r)));
            let width = widths.fold(0.0, f64::max).min(most);
            // A column in which nothing stands is left out.
            if width > 0.0 {
                let width = width.max(text_width(head, SIZE, Weight::Bold));
                columns.push(Column { head, text, most, width });
            }
        }
        Self { rows, columns }
    }

    /// How many rows there are.
    pub(super) fn len(&self) -> usize {
        self.rows.len()
    }

    /// The width of this many blocks side by side.
    pub(super) fn width(&self, blocks: usize) -> f64 {
        let gaps = COLUMN_GAP * self.columns.len().saturating_sub(1) as f64;
        let block = self.columns.iter().map(|c| c.width).sum::<f64>() + gaps;
        block * blocks as f64 + BLOCK_GAP * blocks.saturating_sub(1) as f64
    }

    /// The height of the list in this many blocks.
    pub(super) fn height(&self, blocks: usize) -> f64 {
        HEAD + ROW * self.len().div_ceil(blocks.max(1)) as f64
    }

    /// The fewest blocks that are no higher than that.
    pub(super) fn blocks_within(&self, height: f64) -> usize {
        let fit = |blocks: &usize| self.height(*blocks) <= height;
        (1..=self.len().max(1)).find(fit).unwrap_or(self.len().max(1))
    }

    /// The list in this many blocks, its upper left corner at the origin.
    pub(super) fn items(&self, blocks: usize) -> Vec<Item> {
        let per_block = self.len().div_ceil(blocks.max(1)).max(1);
        let step = self.width(1) + BLOCK_GAP;
        let mut items = Vec::new();
        for (nth, rows) in self.rows.chunks(per_block).enumerate() {
            let left = nth as f64 * step;
            items.extend(self.head(left));
            for (down, row) in rows.iter().enumerate() {
                let row = Row { named: row.named || down == 0, ..*row };
                items.push(self.row(&row, left, HEAD + (down as f64 + 1.0) * ROW - 5.0));
            }
        }
        items
    }

    fn head(&self, left: f64) -> Vec<Item> {
        let mut items = Vec::new();
        let mut x = left;
        for column in &self.columns {
            items.push(Item::Text(line(at(x, 12.0), SIZE, column.head).bold()));
            x += column.width + COLUMN_GAP;
        }
        items.push(polyline(&[at(left, HEAD - 4.0), at(left + self.width(1), HEAD - 4.0)], false, "thin"));
        items
    }

    fn row(&self, row: &Row, left: f64, baseline: f64) -> Item {
        let mut items = Vec::new();
        let mut x = left;
        for column in &self.columns {
            items.extend(column.cell(row, x, baseline));
            x += column.width + COLUMN_GAP;
        }
        let under = baseline + 5.0;
        items.push(polyline(&[at(left, under), at(left + self.width(1), under)], false, "row-rule"));
        let data = vec![("list", row.label.name.clone())];
        Item::Group(Group { class: "row", data, title: Some(words(row.label)), items })
    }
}

impl Column {
    fn cell(&self, row: &Row, x: f64, baseline: f64) -> Vec<Item> {
        let text = (self.text)(row);
        let mut items = Vec::new();
        if text.is_empty() {
            return items;
        }
        let mut from = x;
        if self.head == COLOUR {
            items.extend(swatch(&text, x, baseline - swatch::HEIGHT + 0.8));
            from += swatch::WIDTH + 4.0;
        }
        let weight = if self.head == CONTACT { Weight::Bold } else { Weight::Regular };
        let text = shorten(&text, SIZE, weight, self.most - (from - x));
        items.push(Item::Text(Text { weight, ..line(at(from, baseline), SIZE, text) }));
        items
    }
}

const CONTACT: &str = "Contact";
const COLOUR: &str = "Colour";

/// A column's heading, a row's text in it, and how wide it may get.
type Kind = (&'static str, fn(&Row) -> String, f64);

const ALL: [Kind; 7] = [
    (CONTACT, contact_text, 103.0),
    ("Wire", |r| r.wire(|w| &w.id), 230.0),
    (COLOUR, |r| r.wire(|w| &w.colour), 126.0),
    ("Size", |r| r.wire(|w| &w.gauge), 92.0),
    ("Part", part_text, 138.0),
    ("Signal", signal_text, 218.0),
    ("Note", note_text, 138.0),
];

const REST: [Kind; 3] =
    [(CONTACT, contact_text, 103.0), ("Signal", signal_text, 299.0), ("Note", mark_text, 138.0)];

fn rows(spots: &[Spot], wanted: impl Fn(&Spot) -> bool) -> Vec<Row<'_>> {
    let wanted = spots.iter().filter(|s| wanted(s));
    wanted
        .flat_map(|s| {
            (0..s.label.wires.len().max(1)).map(|nth| Row { label: &s.label, nth, named: nth == 0 })
        })
        .collect()
}

impl Row<'_> {
    fn wire(&self, part: fn(&super::WireLabel) -> &str) -> String {
        self.label.wires.get(self.nth).map_or("", part).to_owned()
    }
}

fn contact_text(row: &Row) -> String {
    if !row.named {
        String::new()
    } else if row.label.also.is_empty() {
        row.label.name.clone()
    } else {
        format!("{} ({})", row.label.name, row.label.also.join(", "))
    }
}

fn signal_text(row: &Row) -> String {
    if row.nth > 0 { String::new() } else { row.label.signal.clone().unwrap_or_default() }
}

fn part_text(row: &Row) -> String {
    if row.nth > 0 { String::new() } else { row.label.parts.join(", ") }
}

fn note_text(row: &Row) -> String {
    let empty = empty_word(row.label).map(str::to_owned);
    let notes: Vec<String> = empty.into_iter().chain(mark_words(row.label.mark)).collect();
    if row.nth > 0 { String::new() } else { notes.join(", ") }
}

fn mark_text(row: &Row) -> String {
    mark_words(row.label.mark).unwrap_or_default()
}

fn column_width(head: &str, text: &str) -> f64 {
    if text.is_empty() {
        return 0.0;
    }
    let weight = if head == CONTACT { Weight::Bold } else { Weight::Regular };
    let sample = if head == COLOUR { swatch::WIDTH + 4.0 } else { 0.0 };
    text_width(text, SIZE, weight) + sample
}
