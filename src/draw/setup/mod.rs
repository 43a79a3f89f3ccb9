//! One phase as a small picture: what is connected, what is parted, and where the probes go.
//!
//! Comes in: a harness, a setup and the probes of a reading. Goes out: a [`SetupView`], and from it a
//! [`Scene`](super::Scene). Why: before a reading counts, the machine must stand as the plan means it; a look at the
//! picture and a look at the machine must agree.

mod of;
mod scene;

pub use of::{probe_at, setup_of};
pub use scene::setup_scene;

use crate::definition::{Kind, Point};
use crate::setup::Power;

/// Where the probes of a reading go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Probes {
    /// What is read.
    pub kind: Kind,
    /// The red probe.
    pub red: Point,
    /// The black probe.
    pub black: Point,
}

/// A setup as it shall be drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct SetupView {
    /// What it is: `Phase 2`. May be empty.
    pub title: String,
    /// The harness's id and title.
    pub harness: String,
    /// Whether the sources can feed the machine.
    pub power: Power,
    /// The batteries: id and title.
    pub batteries: Vec<[String; 2]>,
    /// The pairs that are parted.
    pub parted: Vec<Parted>,
    /// How many pairs stay together.
    pub together: usize,
    /// The switches that are moved.
    pub moved: Vec<Moved>,
    /// The other switches with their rest: `S1 off`.
    pub at_rest: Vec<String>,
    /// What must hold, in words.
    pub conditions: Vec<String>,
    /// Straps, loopback plugs and caps, in words.
    pub aids: Vec<String>,
    /// What is read, and where.
    pub probes: Option<ProbesView>,
    /// Which definition this was drawn from.
    pub stamp: String,
}

/// A pair of connectors that is parted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Parted {
    /// The half that one takes hold of.
    pub plug: String,
    /// The half that stays.
    pub other: String,
    /// What the first is, in words.
    pub title: String,
    /// Where one stands, in words.
    pub station: String,
}

/// A switch that is moved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Moved {
    /// Its id.
    pub id: String,
    /// What it is, in words.
    pub title: String,
    /// All its positions.
    pub positions: Vec<String>,
    /// Where it stands.
    pub at: usize,
}

/// What is read, and where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProbesView {
    /// `continuity`, `voltage` and so on.
    pub kind: &'static str,
    /// Whether the meter reads ohms.
    pub ohms: bool,
    /// The red probe.
    pub red: ProbeAt,
    /// The black probe.
    pub black: ProbeAt,
}

/// Where a probe goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProbeAt {
    /// The point: `P1.K`.
    pub point: String,
    /// How it is reached, in words.
    pub how: String,
    /// Where one stands, in words.
    pub station: String,
    /// Whether the setup lets a probe reach it.
    pub reachable: bool,
}
