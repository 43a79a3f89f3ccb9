//! A table as a spreadsheet shows it: numbered rows of cells.

use std::fmt;

/// The most cells of a table: more than any from-to list has, and few enough to hold.
pub const MOST_CELLS: usize = 4_000_000;

/// A cell, and whether what stands in it can be trusted to be what somebody typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cell {
    /// Text or a number, as it is shown.
    Text(String),
    /// A date: spreadsheets make one of `1-4` or `1/4` unasked, and what was typed is lost.
    Date(String),
    /// A formula without a result, such as `#REF!`.
    Fault(String),
}

impl Cell {
    /// What the cell shows, without blanks around it.
    pub fn text(&self) -> &str {
        let (Self::Text(text) | Self::Date(text) | Self::Fault(text)) = self;
        text.trim()
    }

    /// Whether it shows nothing.
    pub fn is_blank(&self) -> bool {
        self.text().is_empty()
    }
}

/// One row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Its number as a spreadsheet counts, from 1.
    pub number: usize,
    /// Its cells from the first column on; those behind the last one are blank.
    pub cells: Vec<Cell>,
}

/// Stands where a row ends before a column.
static BLANK: Cell = Cell::Text(String::new());

impl Row {
    /// The cell of a column, counted from 0.
    pub fn cell(&self, column: usize) -> &Cell {
        self.cells.get(column).unwrap_or(&BLANK)
    }

    /// Whether nothing stands in it.
    pub fn is_blank(&self) -> bool {
        self.cells.iter().all(Cell::is_blank)
    }
}

/// A whole table, its blank rows left out.
#[derive(Debug, Clone, Default)]
pub struct Grid {
    /// How its cells were got from the file, in words: separator, character set, sheet.
    pub how: Vec<String>,
    /// Rows in order.
    pub rows: Vec<Row>,
}

impl Grid {
    /// Columns up to the last one that holds something.
    pub fn width(&self) -> usize {
        let last = |row: &Row| row.cells.iter().rposition(|cell| !cell.is_blank()).map_or(0, |at| at + 1);
        self.rows.iter().map(last).max().unwrap_or(0)
    }
}

/// Why a file is no table.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum GridError {
    /// A quotation mark that nothing closes: the rest of the file would be one cell.
    #[error(
        "row {row}: a quotation mark is opened and never closed: close it, or double it (\"\") where it stands for itself"
    )]
    OpenQuote {
        /// The row it stands in.
        row: usize,
    },
    /// Several separators fit as well.
    #[error("the cells may be separated by {0}: --separator says by which")]
    Separator(String),
    /// Too many cells.
    #[error("the table has more than {MOST_CELLS} cells: cut it into several")]
    TooLarge,
    /// Nothing in it.
    #[error("the table is empty")]
    Empty,
    /// Not the format it should be.
    #[error("it cannot be read as a spreadsheet: {0}")]
    Workbook(String),
    /// Which sheet of several.
    #[error("it has several sheets: --sheet says which one ({0})")]
    Sheets(String),
    /// No such sheet.
    #[error("it has no sheet `{name}`: its sheets are {known}")]
    NoSheet {
        /// What was asked for.
        name: String,
        /// What there is.
        known: String,
    },
    /// An unknown character set.
    #[error(
        "no character set is called `{0}`: write utf-8, windows-1252, utf-16le or another name of the WHATWG Encoding Standard"
    )]
    Charset(String),
    /// A spreadsheet, and no reader for it built in.
    #[error(
        "it is a spreadsheet, and this program was built without the feature `xlsx`: save the sheet as CSV (UTF-8), or build with --features xlsx"
    )]
    NoReader,
}

/// The letters that a spreadsheet gives a column, counted from 0: A, B … Z, AA.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Letters(pub usize);

impl fmt::Display for Letters {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0 >= 26 {
            write!(f, "{}", Letters(self.0 / 26 - 1))?;
        }
        let letter = char::from(b'A' + (self.0 % 26) as u8);
        write!(f, "{letter}")
    }
}

impl Letters {
    /// Reads `C` or `AB`; `None` where it is no column of a spreadsheet.
    pub fn parse(text: &str) -> Option<Self> {
        if text.is_empty() || text.len() > 3 || !text.bytes().all(|b| b.is_ascii_alphabetic()) {
            return None;
        }
        let digit = |b: u8| usize::from(b.to_ascii_uppercase() - b'A') + 1;
        Some(Self(text.bytes().fold(0, |sum, b| sum * 26 + digit(b)) - 1))
    }
}

#[cfg(test)]
mod tests {
    use super::Letters;

    #[test]
    fn columns_have_the_letters_of_a_spreadsheet() {
        for (column, letters) in [(0, "A"), (25, "Z"), (26, "AA"), (51, "AZ"), (701, "ZZ"), (702, "AAA")] {
            assert_eq!(Letters(column).to_string(), letters);
            assert_eq!(Letters::parse(letters), Some(Letters(column)));
        }
        assert_eq!(Letters::parse("4"), None);
    }
}
