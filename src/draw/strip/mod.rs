//! One circuit as a line of stations: from the source through what it feeds, and back.
//!
//! Comes in: a harness and a circuit's id or a part. Goes out: a [`StripView`] of plain rows, and from it
//! a [`Scene`](super::Scene). Why: a fault is found by walking along the circuit, and the walk is easier with every
//! element in its order, with what it resists and the voltage that is to be expected at each point.
//!
//! The line runs from top to bottom, so that it prints on upright paper and scrolls on a telephone. Each
//! place where a person stands is a field; wires between fields are the loom between those places.
//! Branches of the same circuit are folded out to the right at the point where they leave.

mod build;
mod energise;
mod of;
mod scene;
mod way;

pub use of::Strips;
pub use scene::{strip_scene, strip_scenes};
pub use way::Subject;

use super::face::Mark;
use super::highlight::Share;
use super::sign::Sign;
use crate::units::{Metres, Ohms, Volts};

/// How much of a circuit's way is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct StripOptions {
    /// Only from the circuit's first wire to its last, with what takes the current and what is suspect; the
    /// feed that it shares with others is told in one line.
    pub short: bool,
}

/// A circuit as it shall be drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct StripView {
    /// What it is of: `Circuit 31`, `M1`.
    pub name: String,
    /// What it is, in words.
    pub title: String,
    /// The way it takes: from where, through what, to where.
    pub way: String,
    /// The setup whose voltages are shown, in words; empty where there are none.
    pub setup: String,
    /// From top to bottom.
    pub rows: Vec<StripRow>,
    /// What must be said below it.
    pub notes: Vec<String>,
    /// How its figures are meant: the same on all strips of a machine that have such figures.
    pub figures: Vec<String>,
    /// Which definition this was drawn from.
    pub stamp: String,
}

/// One row of a strip.
#[derive(Debug, Clone, PartialEq)]
pub struct StripRow {
    /// How many branches it lies to the right of the main line.
    pub lane: usize,
    /// The place where a person stands at it, in words; empty between two places.
    pub station: String,
    /// What is in the row.
    pub what: Stop,
}

/// What is in a row.
#[derive(Debug, Clone, PartialEq)]
pub enum Stop {
    /// A point.
    Place(Place),
    /// An element between two points.
    Element(ElementRow),
    /// The line parts here: the rows below, down to the next on a lower lane, are the branch.
    Fork,
    /// Part of the way that is not drawn: what lies on it, in words.
    Skipped(String),
    /// Another piece of the circuit, that does not hang on the one above.
    Apart(String),
}

/// How a point is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlaceKind {
    /// A contact of a connector.
    Contact,
    /// A splice.
    Splice,
    /// A terminal.
    Terminal,
    /// The machine's frame.
    Chassis,
}

/// A point on the line.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// Its name: `P1.K`.
    pub name: String,
    /// How it is drawn.
    pub kind: PlaceKind,
    /// What it is for. May be empty.
    pub title: String,
    /// What else joins it and is not drawn.
    pub also: Vec<String>,
    /// The expected voltage against the frame, or the source's minus where there is no frame.
    pub volts: Option<Volts>,
    /// What is pointed out.
    pub mark: Mark,
}

/// An element on the line.
#[derive(Debug, Clone, PartialEq)]
pub struct ElementRow {
    /// Its id.
    pub id: String,
    /// How it is drawn.
    pub sign: Sign,
    /// What it is or does.
    pub what: String,
    /// A wire's colour code. Empty where not known.
    pub colour: String,
    /// A wire's size. Empty where not known.
    pub gauge: String,
    /// A wire's length.
    pub length: Option<Metres>,
    /// What a healthy one resists: least and most.
    pub ohms: Option<[Ohms; 2]>,
    /// Its share as a suspect.
    pub share: Option<Share>,
    /// Where along a wire a fault lies: the part of its length from the row's top, and in words.
    pub fault: Option<(f64, String)>,
    /// Whether it does not conduct in the setup shown.
    pub open: bool,
    /// Whether it is pointed out as a wire to follow.
    pub followed: bool,
}
