//! From readings of an unknown lead to its definition, and from a design to what a lead has otherwise.
//!
//! Comes in: a table of readings without power, each between two points. Goes out: the nets that they prove, what lies
//! between nets, which readings contradict each other, which pairs of nets nobody has read, and the text of a
//! definition; or, beside a design, every reading that the design does not explain. Why: a lead without papers is
//! rung out once, and what was found must not be typed again, nor believed further than it was read.
//!
//! The way: `table` reads rows; `lead` joins points and finds contradictions; `write` makes the definition; `against`
//! holds the rows against a design. Cost: near-linear in rows, and pairs of nets for what was not read.

mod against;
mod lead;
mod table;
mod write;

pub use against::{Against, Differs, Exchange, against};
pub use lead::{Between, Contradiction, Lead, Net};
pub use table::{Row, Rows, TableError, read};
pub use write::definition;

use crate::units::Ohms;

/// From this on a connection of a lead is taken for a part or a bad joint, and no longer for a conductor: a metre of the
/// thinnest usual wire has a fifth of an ohm, two joints and the leads of the meter have less than one. Common practice,
/// no source.
pub const CONDUCTOR_BELOW: Ohms = Ohms::new(10.0);
