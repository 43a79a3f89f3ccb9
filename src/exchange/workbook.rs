//! Sheets of XLSX workbooks.
//!
//! Comes in: the bytes of a workbook. Goes out: a `Grid` of one sheet, merged cells filled with what they show, and
//! dates marked as such. Why behind a feature: reader and writer bring 22 crates. Why cell by cell: the reader's own table
//! holds every cell between the first and the last, and one stray cell in the last row of the last column would ask for
//! 17 billion of them.

#[cfg(feature = "xlsx")]
mod read;

#[cfg(feature = "xlsx")]
pub use read::read_workbook;

#[cfg(not(feature = "xlsx"))]
use super::grid::{Grid, GridError};

/// Whether bytes are a workbook's: a ZIP archive, or the older container.
pub fn is_workbook(bytes: &[u8]) -> bool {
    bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"\xd0\xcf\x11\xe0")
}

/// Says that workbooks cannot be read: the program was built without that.
///
/// # Errors
/// Always.
#[cfg(not(feature = "xlsx"))]
pub fn read_workbook(_bytes: Vec<u8>, _sheet: Option<&str>) -> Result<Grid, GridError> {
    Err(GridError::NoReader)
}
