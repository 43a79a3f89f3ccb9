//! The harness laid out: trunks and branches to scale, with what is found at each place.
//!
//! Comes in: a harness and what to point out. Goes out: a [`LayoutView`] of places and runs, and from it
//! a [`Scene`](super::Scene). Why: where a wire runs, what lies beside it and where to stand is seen faster than read.
//!
//! Trunks run level and to one scale; a branch drops from its breakout and runs level again. So lengths
//! can be compared by eye anywhere on the sheet, and what hangs at a place hangs below it. A radial
//! drawing was tried and left: its labels turn or collide, and lengths at an angle compare badly.

mod of;
mod scene;
mod tree;

pub use of::layout_of;
pub use scene::layout_scene;

use super::highlight::Share;
use crate::units::Metres;

/// A harness as it shall be laid out.
#[derive(Debug, Clone, PartialEq)]
pub struct LayoutView {
    /// The harness's id.
    pub name: String,
    /// What it is, in words.
    pub title: String,
    /// Places where trunks end or part.
    pub places: Vec<LayoutPlace>,
    /// What runs between them.
    pub runs: Vec<Run>,
    /// Whether runs are trunks of the definition; otherwise they are made from the wires.
    pub trunks_given: bool,
    /// What is pointed out, in words: one line each.
    pub pointed: Vec<String>,
    /// What must be said below it.
    pub notes: Vec<String>,
    /// Which definition this was drawn from.
    pub stamp: String,
}

/// A place where trunks end or part.
#[derive(Debug, Clone, PartialEq)]
pub struct LayoutPlace {
    /// Its name, as trunks call it.
    pub name: String,
    /// What it is, in words. May be empty.
    pub title: String,
    /// What is found there.
    pub items: Vec<Found>,
}

/// Something found at a place.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// Its id; a mated pair has both: `P1–J1`.
    pub id: String,
    /// What it is.
    pub kind: FoundKind,
    /// Its share as a suspect: that of its likeliest element.
    pub share: Option<Share>,
    /// Whether a wire that is followed ends here.
    pub end: bool,
}

/// What is found at a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FoundKind {
    /// A connector without a mate.
    Connector,
    /// Two connectors plugged together, or the half of a pair whose other half is at another place.
    Mated,
    /// A splice.
    Splice,
    /// A terminal.
    Terminal,
    /// A ground terminal.
    Ground,
    /// A part that has no connector here.
    Part,
}

/// A stretch between two places.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// The trunk's id; empty where it is made from wires.
    pub id: String,
    /// Its two places, by their position in [`LayoutView::places`].
    pub between: [usize; 2],
    /// How long it is, where known.
    pub length: Option<Metres>,
    /// How many wires run in it.
    pub wires: usize,
    /// Whether a wire that is followed runs in it.
    pub followed: bool,
    /// The share of the likeliest suspect wire in it.
    pub share: Option<Share>,
    /// Where along it, from its first place, a fault lies: parts of its length.
    pub faults: Vec<f64>,
}
