//! Both tables as sheets of an XLSX workbook.
//!
//! Every cell is written as text, never as a formula: what begins with `=` is shown and not run. The file holds no
//! time of its own, so the same definition gives the same bytes.

use crate::definition::Harness;

/// Why there is no workbook.
#[derive(Debug, thiserror::Error)]
pub enum WorkbookError {
    /// The format cannot hold it.
    #[error("the workbook cannot be made: {0}")]
    Format(String),
    /// No writer is built in.
    #[error("this program was built without the feature `xlsx`: export CSV, or build with --features xlsx")]
    NoWriter,
}

/// The from-to list and the pin maps, a sheet for each.
///
/// # Errors
/// Where a table is larger than the format allows, or no writer is built in.
#[cfg(not(feature = "xlsx"))]
pub fn workbook(_harness: &Harness) -> Result<Vec<u8>, WorkbookError> {
    Err(WorkbookError::NoWriter)
}

/// The from-to list and the pin maps, a sheet for each.
///
/// # Errors
/// Where a table is larger than the format allows, or no writer is built in.
#[cfg(feature = "xlsx")]
pub fn workbook(harness: &Harness) -> Result<Vec<u8>, WorkbookError> {
    sheets(harness).map_err(|error| WorkbookError::Format(error.to_string()))
}

#[cfg(feature = "xlsx")]
fn sheets(harness: &Harness) -> Result<Vec<u8>, rust_xlsxwriter::XlsxError> {
    use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Workbook};

    let mut book = Workbook::new();
    let about = &harness.about;
    let properties = DocProperties::new()
        .set_title(&about.title)
        .set_comment(format!("{} revision {}, definition SHA-256 {}", about.id, about.revision, harness.hash))
        .set_creation_datetime(&ExcelDateTime::from_ymd(2000, 1, 1)?);
    book.set_properties(&properties);
    // As text, so that a spreadsheet makes no date of `1-4` when somebody edits the cell.
    let plain = Format::new().set_num_format("@");
    let head = plain.clone().set_bold();
    for table in [super::wires_table(harness), super::pins_table(harness)] {
        let sheet = book.add_worksheet();
        sheet.set_name(table.name)?;
        sheet.set_freeze_panes(1, 0)?;
        for (row, cells) in (1..).zip(&table.rows) {
            for (column, cell) in (0..).zip(cells) {
                sheet.write_string_with_format(row, column, cell, &plain)?;
            }
        }
        for (column, text) in (0..).zip(&table.heads) {
            sheet.write_string_with_format(0, column, *text, &head)?;
            sheet.set_column_width(column, 14)?;
        }
    }
    book.save_to_buffer()
}
