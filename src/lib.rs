//! `ringout` proves every path of a wiring harness end to end.
pub mod definition;
pub mod draw;
pub mod units;
