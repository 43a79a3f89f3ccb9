//! `ringout` proves every path of a wiring harness end to end.
pub mod circuit;
pub mod cli;
pub mod conductor;
pub mod definition;
pub mod draw;
pub mod fault;
pub mod locate;
pub mod measure;
pub mod netlist;
pub mod plan;
pub mod record;
pub mod setup;
pub mod sheet;
pub mod units;
