//! Rows that could not be used: written beside the result, to be mended and read again.

use std::collections::BTreeMap;

use super::defuse::defused;
use super::grid::{Cell, Grid, Letters, Row};

/// A row that is not in the result.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Reject {
    /// Its number in the table.
    pub row: usize,
    /// Why.
    pub reason: String,
    /// Its cells, as they were.
    pub cells: Vec<String>,
}

/// The heads of the first two columns of a side file.
const HEADS: [&str; 2] = ["row", "reason"];

/// Numbers of rows that cannot be used, each with the reason.
pub(super) type Rejected = BTreeMap<usize, String>;

/// The rejected rows with their cells, in the order of the table.
pub(super) fn of(grid: &Grid, rejected: &Rejected) -> Vec<Reject> {
    let rows = grid.rows.iter().filter_map(|row| rejected.get(&row.number).map(|reason| (row, reason)));
    let cells = |row: &Row| row.cells.iter().map(|cell| cell.text().to_owned()).collect();
    rows.map(|(row, reason)| Reject { row: row.number, reason: reason.clone(), cells: cells(row) }).collect()
}

/// The side file: row, reason, and the cells under the letters of their columns.
pub fn rejects_csv(rejects: &[Reject]) -> String {
    let width = rejects.iter().map(|reject| reject.cells.len()).max().unwrap_or(0);
    let mut writer = csv::Writer::from_writer(Vec::new());
    let letters = (0..width).map(|at| Letters(at).to_string());
    let heads: Vec<String> = HEADS.map(str::to_owned).into_iter().chain(letters).collect();
    // Writing into memory cannot fail, and every row is as long as the heads.
    let mut written = writer.write_record(&heads).is_ok();
    for reject in rejects {
        let mut row = vec![reject.row.to_string(), reject.reason.clone()];
        row.extend(reject.cells.iter().cloned());
        row.resize(width + HEADS.len(), String::new());
        written &= writer.write_record(row.iter().map(|cell| defused(cell).into_owned())).is_ok();
    }
    let bytes = writer.into_inner().unwrap_or_default();
    debug_assert!(written, "rows are as long as the heads");
    String::from_utf8_lossy(&bytes).into_owned()
}

/// Why a side file cannot be laid over a table.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MendError {
    /// Not a side file.
    #[error(
        "its first columns are not `row` and `reason`: mend the file that an import wrote, and keep its heads"
    )]
    Heads,
    /// A row number that is none.
    #[error("row {at}: `{text}` is no row number of the table")]
    Row {
        /// The row of the side file.
        at: usize,
        /// What stands there.
        text: String,
    },
}

/// Puts mended rows in the place of those with their numbers.
///
/// # Errors
/// Where the side file is none, or names a row that the table does not have.
pub fn mend(grid: &mut Grid, mended: &Grid) -> Result<(), MendError> {
    let mut rows = mended.rows.iter();
    let heads = rows
        .next()
        .is_some_and(|row| HEADS.iter().enumerate().all(|(at, head)| row.cell(at).text() == *head));
    if !heads {
        return Err(MendError::Heads);
    }
    for row in rows {
        let text = row.cell(0).text();
        let number = text.parse::<usize>().ok();
        let place = number.and_then(|number| grid.rows.iter_mut().find(|row| row.number == number));
        let Some(place) = place else {
            return Err(MendError::Row { at: row.number, text: text.to_owned() });
        };
        let cells: Vec<Cell> = row.cells.iter().skip(HEADS.len()).cloned().collect();
        place.cells = cells;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::text::read_csv;
    use super::*;

    #[test]
    fn a_mended_row_takes_its_old_place() {
        let mut grid = read_csv(b"a,b\n1,=2\n\n3,4\n", None, None).unwrap();
        let rejects = of(&grid, &[(2, "bad".to_owned()), (4, "worse".to_owned())].into());
        let text = rejects_csv(&rejects);
        assert_eq!(text, "row,reason,A,B\n2,bad,1,'=2\n4,worse,3,4\n");
        let mended = read_csv(text.replace('4', "5").replace("\n5,", "\n4,").as_bytes(), None, None).unwrap();
        mend(&mut grid, &mended).unwrap();
        let cells: Vec<&str> = grid.rows.iter().flat_map(|row| row.cells.iter().map(Cell::text)).collect();
        assert_eq!(cells, ["a", "b", "1", "=2", "3", "5"]);
        let error = mend(&mut grid, &read_csv(b"row,reason,A\n3,x,1\n", None, None).unwrap()).unwrap_err();
        assert_eq!(error, MendError::Row { at: 2, text: "3".to_owned() });
        assert_eq!(mend(&mut grid, &read_csv(b"a,b\n", None, None).unwrap()), Err(MendError::Heads));
    }
}
