//! Tables that people keep, in and out: from-to lists and pin maps as CSV and XLSX, the graph as DOT, all as JSON.
//!
//! Comes in: the bytes of a table and what the user has decided about it; or a harness. Goes out: a definition's
//! text, a report of what was understood, the rows that could not be used, each with its reason; or the text of
//! another format. Why: a harness that exists has its wiring in somebody's spreadsheet, and typing it a second time
//! makes mistakes. So does guessing: what can be read in two ways is asked, and no row is dropped without a word.
//!
//! The way of a table: bytes (`text`, `workbook`) to a [`Grid`] of numbered rows; its `head` tells what columns
//! hold; `wires` or `pins` reads each row into items; `gather` joins those of one wire or contact; `write` makes the
//! definition. The way out is [`export`]. What only the user can decide becomes a [`Question`] on the way.

mod ask;
mod defuse;
mod desk;
pub mod export;
mod field;
mod gather;
mod grid;
mod head;
mod options;
mod pins;
mod point;
mod rejects;
mod row;
mod strands;
mod text;
mod value;
mod wires;
mod word;
mod workbook;
mod write;

pub use ask::Question;
pub use defuse::{defused, restored};
pub use field::{Field, gauge_unit, length_unit};
pub use gather::natural;
pub use grid::{Cell, Grid, GridError, Letters, MOST_CELLS, Row};
pub use head::{Layout, Sure};
pub use options::{Blank, Dash, Decimal, Header, Joined, Options};
pub use rejects::{MendError, Reject, mend, rejects_csv};
pub use text::{read_csv, separator};
pub use workbook::{is_workbook, read_workbook};

use std::collections::BTreeMap;

use ask::{Ask, Questions, Trouble};
use desk::Desk;
use head::Head;
use row::{Items, Reader};

use crate::definition::{Loaded, Rejected, load};

/// What the new definition is called.
#[derive(Debug, Clone)]
pub struct About {
    /// Its id.
    pub id: String,
    /// Its title.
    pub title: String,
    /// Its revision.
    pub revision: String,
}

/// A column and what it was taken for.
#[derive(Debug, Clone, serde::Serialize)]
pub struct ColumnView {
    /// Its letter.
    pub column: String,
    /// Its head.
    pub head: String,
    /// The field it was taken for.
    pub field: &'static str,
    /// How that is known.
    pub sure: Sure,
    /// The unit that its head gives all cells.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<&'static str>,
    /// How many of its cells below the head hold something.
    pub filled: usize,
    /// The first of them.
    pub example: String,
}

/// What was understood of a table.
#[derive(Debug, Clone, Default, serde::Serialize)]
pub struct Understood {
    /// How the cells were got from the file.
    pub how: Vec<String>,
    /// A from-to list or a pin map.
    pub layout: Option<Layout>,
    /// Columns in order.
    pub columns: Vec<ColumnView>,
    /// Rows above the head.
    pub above: Vec<usize>,
    /// Rows of the head.
    pub head: Vec<usize>,
    /// Rows that repeat the head.
    pub repeated: Vec<usize>,
    /// Rows that are in the result.
    pub used: Vec<usize>,
    /// Texts that were rewritten: what they are, as written, as read.
    pub rewritten: Vec<(&'static str, String, String)>,
    /// What else was decided, in words.
    pub notes: Vec<String>,
}

/// An imported table.
#[derive(Debug)]
pub struct Imported {
    /// What was understood.
    pub understood: Understood,
    /// The definition.
    pub text: String,
    /// What `check` finds in it.
    pub loaded: Result<Loaded, Box<Rejected>>,
    /// Rows that are not in it.
    pub rejects: Vec<Reject>,
    /// Wires of which only one end is known; they stand in the definition as comments.
    pub loose: Vec<String>,
}

/// A table that can be read in several ways.
#[derive(Debug)]
pub struct Unclear {
    /// What was understood so far.
    pub understood: Understood,
    /// What has to be decided.
    pub questions: Vec<Question>,
}

/// What the definition says of where it came from.
struct Source<'a> {
    name: &'a str,
    /// What stood above the head.
    preamble: Vec<String>,
    /// Names that were rewritten to ids, as they were written.
    titles: BTreeMap<String, String>,
}

impl Source<'_> {
    fn title_of(&self, id: &str) -> Option<&str> {
        self.titles.get(id).map(String::as_str)
    }
}

/// Reads a table into a definition.
///
/// `name` is the file's name, for the definition's first comment. Cost: near-linear in the cells.
///
/// # Errors
/// What has to be decided first; nothing is guessed.
pub fn import(grid: &Grid, name: &str, about: &About, options: &Options) -> Result<Imported, Box<Unclear>> {
    let mut questions = Questions::default();
    let mut understood = Understood { how: grid.how.clone(), ..Understood::default() };
    let Some(head) = head::find(grid, options, &mut questions) else {
        return Err(Box::new(Unclear { understood, questions: questions.into_list() }));
    };
    let mut rejected = BTreeMap::new();
    let mut desk = Desk::new(options);
    let items = read_rows(grid, &head, &mut desk, &mut understood, &mut rejected, &mut questions);
    let draft = gather::gather(items, head.layout, options, &mut rejected, &mut questions);
    understood.used.retain(|row| !rejected.contains_key(row));
    describe(&mut understood, grid, &head, &desk);
    say(&mut understood, &draft);
    if !questions.is_empty() {
        return Err(Box::new(Unclear { understood, questions: questions.into_list() }));
    }
    let preamble = grid.rows.iter().filter(|row| understood.above.contains(&row.number)).map(preamble_line);
    let titles = desk.rewritten().filter(|(what, ..)| matches!(*what, "connector" | "name"));
    let titles = titles.map(|(_, from, to)| (to.to_owned(), from.to_owned())).collect();
    let source = Source { name, preamble: preamble.collect(), titles };
    let text = write::definition(&draft, about, &source);
    let loaded = load("imported.toml", text.clone(), None, &mut |_| Err("a table uses no files".to_owned()));
    let rejects = rejects::of(grid, &rejected);
    let loose = draft.loose.iter().map(|(end, words)| format!("{words} at {end}")).collect();
    Ok(Imported { understood, text, loaded, rejects, loose })
}

/// The most wires and contacts of a table: a few bytes may stand for a thousand, and no machine has so many.
const MOST_ITEMS: usize = 1_000_000;

/// Reads all rows below the head.
fn read_rows(
    grid: &Grid,
    head: &Head,
    desk: &mut Desk<'_>,
    understood: &mut Understood,
    rejected: &mut rejects::Rejected,
    questions: &mut Questions,
) -> Items {
    let mut items = Items::default();
    let mut reader = Reader::new(head, std::mem::replace(desk, Desk::new(desk.options)));
    for (at, row) in grid.rows.iter().enumerate() {
        if at < head.rows.start {
            understood.above.push(row.number);
        } else if head.rows.contains(&at) {
            understood.head.push(row.number);
        } else if head.is_repeated(grid, row) {
            understood.repeated.push(row.number);
        } else {
            reader.desk.row = row.number;
            let read = match head.layout {
                Layout::Wires => wires::read(&mut reader, row),
                Layout::Pins => pins::read(&mut reader, row),
            };
            reader.carry(row);
            for (ask, text) in std::mem::take(&mut reader.desk.asked) {
                questions.add(ask, row.number, text);
            }
            match read {
                Ok(_) if items.strands.len() + items.facts.len() > MOST_ITEMS => {
                    let reason = format!(
                        "the rows above it stand for more than {MOST_ITEMS} wires and contacts already"
                    );
                    rejected.insert(row.number, reason);
                }
                Ok(found) => {
                    understood.used.push(row.number);
                    items.append(found);
                }
                Err(Trouble::Reject(reason)) => drop(rejected.insert(row.number, reason)),
                Err(Trouble::Ask(ask, text)) => questions.add(ask, row.number, text),
            }
        }
    }
    *desk = reader.desk;
    // `2,4` in one row makes `1.200` in another one thousand two hundred, or not.
    if desk.comma_seen {
        for (row, text) in std::mem::take(&mut desk.pointed) {
            questions.add(Ask::Decimal, row, text);
        }
    }
    items
}

fn describe(understood: &mut Understood, grid: &Grid, head: &Head, desk: &Desk<'_>) {
    understood.layout = Some(head.layout);
    let below = grid.rows.get(head.rows.end..).unwrap_or_default();
    let view = |column: &head::Column| {
        let filled = || below.iter().map(|row| row.cell(column.index)).filter(|cell| !cell.is_blank());
        ColumnView {
            column: Letters(column.index).to_string(),
            head: column.head.clone(),
            field: column.field.name(),
            sure: column.sure,
            unit: column.unit.map(field::HeadUnit::word),
            filled: filled().count(),
            example: filled().next().map(|cell| cell.text().to_owned()).unwrap_or_default(),
        }
    };
    understood.columns = head.columns.iter().map(view).collect();
    let owned = |(what, from, to): (&'static str, &str, &str)| (what, from.to_owned(), to.to_owned());
    understood.rewritten = desk.rewritten().map(owned).collect();
}

/// What was decided by names alone, in words.
fn say(understood: &mut Understood, draft: &gather::Draft) {
    for joint in [point::Joint::Splice, point::Joint::Terminal, point::Joint::Ground] {
        let names = draft.joints.iter().filter(|(_, kind, by_name)| *kind == joint && *by_name);
        let names: Vec<&str> = names.map(|(name, ..)| name.as_str()).collect();
        if !names.is_empty() {
            let what = match joint {
                point::Joint::Splice => "splices",
                point::Joint::Terminal => "terminals",
                point::Joint::Ground => "terminals on the frame",
            };
            understood.notes.push(format!("taken for {what} by their names: {}", names.join(", ")));
        }
    }
    if draft.numbered > 0 {
        let plural = if draft.numbered == 1 { "wire has" } else { "wires have" };
        understood.notes.push(format!("{} {plural} no id in the table: numbered W1 and on", draft.numbered));
    }
    let mut seen: BTreeMap<String, &str> = BTreeMap::new();
    for (id, _) in &draft.connectors {
        if let Some(other) = seen.insert(id.to_lowercase(), id) {
            understood
                .notes
                .push(format!("{other} and {id} differ in capitals only: taken for two connectors"));
        }
    }
}

fn preamble_line(row: &Row) -> String {
    let cells: Vec<&str> = row.cells.iter().map(Cell::text).filter(|text| !text.is_empty()).collect();
    format!("row {}: {}", row.number, cells.join(" | "))
}
