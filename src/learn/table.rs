//! Rows of readings, as people write them down.

use std::collections::BTreeMap;

use crate::definition::Kind;
use crate::exchange::{Grid, Reject, natural};
use crate::measure::Reading;

/// A reading between two points.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Its number in the table, from one.
    pub number: usize,
    /// Its points, by their place in [`Rows::points`].
    pub ends: [usize; 2],
    /// What the meter showed.
    pub reading: Reading,
}

/// What a table holds.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Rows {
    /// Every point that is named, in natural order.
    pub points: Vec<String>,
    /// The readings, in order.
    pub rows: Vec<Row>,
    /// Rows that say nothing that could be used, each with the reason.
    pub rejects: Vec<Reject>,
}

/// Why a table cannot be read at all.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TableError {
    /// No head.
    #[error(
        "no row names the columns: the head must have the words red, black and reading (or from, to, ohms); other columns may stand beside them"
    )]
    NoHead,
    /// Nothing below it.
    #[error("there is no reading below the head in row {0}")]
    Empty(usize),
}

/// What heads call the first point, the second, and the reading.
const HEADS: [&[&str]; 3] = [
    &["red", "from", "a", "point a", "end a", "red probe"],
    &["black", "to", "b", "point b", "end b", "black probe"],
    &["reading", "value", "read", "ohm", "ohms", "resistance", "result", "measured"],
];

/// Reads a table: a head, then a reading to a row. Blank rows, and the head where it comes again, are passed over.
///
/// # Errors
/// No head, or nothing below it.
pub fn read(grid: &Grid) -> Result<Rows, TableError> {
    let (head, columns) = grid
        .rows
        .iter()
        .enumerate()
        .find_map(|(at, row)| Some((at, columns(row)?)))
        .ok_or(TableError::NoHead)?;
    let mut raw = Vec::new();
    let mut rows = Rows::default();
    for row in grid.rows.iter().skip(head + 1).filter(|row| !row.is_blank() && self::columns(row).is_none()) {
        let [red, black, reading] = columns.map(|column| row.cell(column).text().trim());
        match judged(red, black, reading) {
            Ok((ends, reading)) => raw.push((row.number, ends, reading)),
            Err(reason) => {
                let cells = row.cells.iter().map(|cell| cell.text().to_owned()).collect();
                rows.rejects.push(Reject { row: row.number, reason, cells });
            }
        }
    }
    if raw.is_empty() && rows.rejects.is_empty() {
        return Err(TableError::Empty(grid.rows[head].number));
    }
    rows.points = raw.iter().flat_map(|(_, ends, _)| ends.clone()).collect();
    rows.points.sort_by(|a, b| natural(a, b).then_with(|| a.cmp(b)));
    rows.points.dedup();
    let place: BTreeMap<&str, usize> =
        rows.points.iter().enumerate().map(|(at, point)| (point.as_str(), at)).collect();
    let of = |(number, ends, reading): &(usize, [String; 2], Reading)| Row {
        number: *number,
        ends: [place[ends[0].as_str()], place[ends[1].as_str()]],
        reading: *reading,
    };
    rows.rows = raw.iter().map(of).collect();
    Ok(rows)
}

fn columns(row: &crate::exchange::Row) -> Option<[usize; 3]> {
    let of = |words: &[&str]| {
        row.cells.iter().position(|cell| words.contains(&cell.text().trim().to_lowercase().as_str()))
    };
    let [red, black, reading] = HEADS.map(of);
    Some([red?, black?, reading?])
}

fn judged(red: &str, black: &str, reading: &str) -> Result<([String; 2], Reading), String> {
    let ends = [point(red)?, point(black)?];
    if ends[0] == ends[1] {
        return Err(format!("both probes are at {}", ends[0]));
    }
    let reading = Reading::parse(Kind::Continuity, reading).map_err(|error| error.to_string())?;
    Ok((ends, reading))
}

/// A point as definitions write it: `P1.4`, also where it is written `P1/4`, `P1:4` or `P1-4`; a name alone is a
/// terminal.
fn point(text: &str) -> Result<String, String> {
    if text.is_empty() {
        return Err("a probe's place is missing".to_owned());
    }
    let cut = [".", ":", "/", "-"].into_iter().find_map(|sign| text.rsplit_once(sign));
    let Some((connector, contact)) = cut else { return Ok(text.to_owned()) };
    let [connector, contact] = [connector, contact].map(str::trim);
    if connector.is_empty() || contact.is_empty() {
        return Err(format!("`{text}` is no point: write a contact as P1.4, a terminal by its name"));
    }
    Ok(format!("{connector}.{contact}"))
}
