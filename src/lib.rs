//! `ringout` proves every path of a wiring harness end to end.
pub mod conductor;
pub mod definition;
pub mod units;
