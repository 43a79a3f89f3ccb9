//! Reading a sheet.

use std::collections::BTreeMap;
use std::io::Cursor;

use calamine::{Data, DataRef, Dimensions, Reader, Xlsx, XlsxError, open_workbook_from_rs};

use crate::exchange::grid::{Cell, Grid, GridError, MOST_CELLS, Row};
use crate::units::significant;

/// Cells by row and column, both counted from 0.
type Cells = BTreeMap<(u32, u32), Cell>;

/// The widest table: a cell further to the right is a stray one.
const MOST_COLUMNS: u32 = 1000;

/// Reads one sheet of an XLSX workbook: the one named, or the only one that is not empty.
///
/// # Errors
/// No workbook of that kind, no such sheet, several to choose from, or more cells than a table may have.
pub fn read_workbook(bytes: Vec<u8>, sheet: Option<&str>) -> Result<Grid, GridError> {
    if !bytes.starts_with(b"PK") {
        let reason =
            "it is in the older format XLS, or locked by a password: save it as XLSX or CSV".to_owned();
        return Err(GridError::Workbook(reason));
    }
    let mut book: Xlsx<_> = open_workbook_from_rs(Cursor::new(bytes)).map_err(|error| broken(&error))?;
    let names = book.sheet_names();
    let name = choose(&mut book, &names, sheet)?;
    let mut cells = cells(&mut book, &name)?;
    let merged = book.merge_cells_by_sheet_name(&name).map_err(|error| broken(&error))?;
    let filled = merged.iter().filter(|region| fill(&mut cells, region)).count();
    let mut how = vec![format!("sheet `{name}` of a workbook")];
    if filled > 0 {
        how.push(format!("{filled} merged ranges: each cell of one holds what it shows"));
    }
    let rows = rows(cells);
    if rows.is_empty() { Err(GridError::Empty) } else { Ok(Grid { how, rows }) }
}

fn broken(error: &XlsxError) -> GridError {
    GridError::Workbook(error.to_string())
}

fn choose(
    book: &mut Xlsx<Cursor<Vec<u8>>>,
    names: &[String],
    wanted: Option<&str>,
) -> Result<String, GridError> {
    if let Some(wanted) = wanted {
        return match names.iter().find(|name| name.as_str() == wanted) {
            Some(name) => Ok(name.clone()),
            None => Err(GridError::NoSheet { name: wanted.to_owned(), known: names.join(", ") }),
        };
    }
    let mut filled = Vec::new();
    for name in names {
        let mut reader = book.worksheet_cells_reader(name).map_err(|error| broken(&error))?;
        if reader.next_cell().map_err(|error| broken(&error))?.is_some() {
            filled.push(name.clone());
        }
    }
    match &filled[..] {
        [] => Err(GridError::Empty),
        [one] => Ok(one.clone()),
        several => Err(GridError::Sheets(several.join(", "))),
    }
}

fn cells(book: &mut Xlsx<Cursor<Vec<u8>>>, name: &str) -> Result<Cells, GridError> {
    let mut reader = book.worksheet_cells_reader(name).map_err(|error| broken(&error))?;
    let mut cells = Cells::new();
    while let Some(found) = reader.next_cell().map_err(|error| broken(&error))? {
        let place = found.get_position();
        let Some(cell) = cell(found.get_value()) else { continue };
        if place.1 >= MOST_COLUMNS || cells.len() >= MOST_CELLS {
            return Err(GridError::TooLarge);
        }
        cells.insert(place, cell);
    }
    Ok(cells)
}

/// What a cell shows; `None` where it is empty.
fn cell(value: &DataRef<'_>) -> Option<Cell> {
    Some(match Data::from(value.clone()) {
        Data::Empty => return None,
        Data::String(text) => Cell::Text(text),
        // Spreadsheets count with fifteen digits: 0.1 + 0.2 is 0.3 to whoever looks at it.
        Data::Float(number) => Cell::Text(significant(number, 15)),
        Data::Int(number) => Cell::Text(number.to_string()),
        Data::Bool(value) => Cell::Text(if value { "TRUE" } else { "FALSE" }.to_owned()),
        Data::Error(error) => Cell::Fault(error.to_string()),
        Data::DateTime(date) => {
            let (year, month, day, ..) = date.to_ymd_hms_milli();
            Cell::Date(format!("{year:04}-{month:02}-{day:02}"))
        }
        Data::DateTimeIso(text) | Data::DurationIso(text) => Cell::Date(text),
    })
}

/// Gives every cell of a merged range what its first one shows.
fn fill(cells: &mut Cells, region: &Dimensions) -> bool {
    let Some(shown) = cells.get(&region.start).cloned() else { return false };
    let (rows, columns) =
        (region.end.0.saturating_sub(region.start.0), region.end.1.saturating_sub(region.start.1));
    // A range over whole columns is a heading's; what it shows stands in its first cell.
    if rows > 10_000 || columns > 100 || cells.len() > MOST_CELLS {
        return false;
    }
    for row in region.start.0..=region.end.0 {
        for column in region.start.1..=region.end.1 {
            cells.insert((row, column), shown.clone());
        }
    }
    true
}

fn rows(cells: Cells) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    for ((row, column), cell) in cells {
        let number = row as usize + 1;
        if rows.last().is_none_or(|last| last.number != number) {
            rows.push(Row { number, cells: Vec::new() });
        }
        let Some(last) = rows.last_mut() else { continue };
        last.cells.resize(column as usize, Cell::Text(String::new()));
        last.cells.push(cell);
    }
    rows.retain(|row| !row.is_blank());
    rows
}
