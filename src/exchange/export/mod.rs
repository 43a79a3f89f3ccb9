//! A harness in the forms of other programs.
//!
//! Comes in: a harness. Goes out: its from-to list and pin maps as tables (CSV, and XLSX behind a feature), the graph of
//! its points as DOT, and all of it as JSON. Why tables of their own beside those that are printed: these keep every
//! figure in full and say what each end is, so that `import` reads them back without loss.

mod dot;
mod json;
mod tables;
mod workbook;

pub use dot::dot;
pub use json::{MachineOut, machine};
pub use tables::{Table, csv, pins_table, wires_table};
pub use workbook::{WorkbookError, workbook};

use crate::units::{Gauge, Quantity, significant};

/// All digits that a number of a definition can have: what was typed with up to fifteen comes back.
const DIGITS: usize = 15;

/// A quantity in full, in a base unit.
fn exact<Q: Quantity>(value: Q, unit: &str) -> String {
    format!("{} {unit}", significant(value.base(), DIGITS))
}

/// A conductor size in full.
fn gauge(gauge: Gauge) -> String {
    match gauge {
        Gauge::Metric(area) => exact(area, "mm2"),
        other => other.to_string(),
    }
}
