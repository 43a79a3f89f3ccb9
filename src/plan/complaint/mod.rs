//! A complaint: one part does not work, and somebody has to find out why.
//!
//! Comes in: the part, and the state of the machine in which it should work. Goes out: a plan that begins
//! with eyes and hands, goes on with a voltmeter on the machine as it is found, and takes plugs off only
//! for what is left. Why: most complaints are found in minutes by whoever looks in the right order, and
//! every plug that comes off without need is a new fault in waiting.
//!
//! Every single fault with which the part would not work is a hypothesis (`hypotheses`). At each point the
//! reading is chosen that tells most per second about the places where the fault may lie (`grow`), counted
//! from where the machine and the person stand. Each outcome says what it means and where it leads: to
//! another step, further down in the same plan, or to an end: one place, or several that no permitted
//! reading tells apart. A unit is accused only after its supply, its return and its conditions were seen good
//! and its output was seen absent (`confirm`).

mod confirm;
mod grow;
mod hypotheses;
mod look;
mod setting;
mod shown;
mod stand;
mod words;
mod write;

pub use grow::Depth;
pub use look::Inspection;
pub use setting::{Asked, AskedError, Target, part_works};
pub use shown::Shown;

use super::{Meters, Plan};
use crate::circuit::Unsettled;
use crate::definition::{Harness, Kind};
use crate::fault::{Fault, Universe};
use crate::measure::Meter;
use crate::netlist::{Element, Netlist};
use crate::setup::{Action, Setup};
use crate::units::Seconds;

/// What a complaint's plan says beside its phases.
#[derive(Debug, Clone)]
pub struct Dossier {
    /// What does not work.
    pub target: Target,
    /// The state of the machine in which it should.
    pub setup: Setup,
    /// What a healthy machine shows there: volts across the part or at the output; 1 for a relay that operates.
    pub healthy: f64,
    /// Where the setup was searched for: how many others would do with as few moves.
    pub others: Option<usize>,
    /// Every single fault with which the part would not work, with its share of the probability.
    pub hypotheses: Vec<(Fault, f64)>,
    /// What eyes and hands do first, in order.
    pub inspections: Vec<Inspection>,
    /// Where the steps can end.
    pub ends: Vec<End>,
    /// What the steps cost until they end, weighed by the probability of each way.
    pub expected: Effort,
    /// What the longest way costs.
    pub most: Effort,
}

/// What some steps cost.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Effort {
    /// Readings.
    pub readings: f64,
    /// Time for changes, walking and readings.
    pub seconds: Seconds,
}

/// Where the steps end.
#[derive(Debug, Clone, Default)]
pub struct End {
    /// Its share of the probability.
    pub share: f64,
    /// The faults that are left, the likeliest first; none where a reading contradicts those before it.
    pub faults: Vec<Fault>,
    /// How many of them make up nearly all of its share.
    pub likely: usize,
    /// What to do there about these, in order: the last is what is left when the others were looked at.
    pub todo: Vec<String>,
}

/// What a reading of a complaint's plan can show, and what that means.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// What the meter shows.
    pub shown: Shown,
    /// How likely that is once one stands at this step.
    pub share: f64,
    /// What it means, in words.
    pub means: String,
    /// Elements that nothing still accuses.
    pub clears: Vec<Element>,
    /// Faults that are left.
    pub accuses: Vec<Fault>,
    /// What to do next.
    pub next: Next,
}

/// What to do after a reading.
#[derive(Debug, Clone, PartialEq)]
pub enum Next {
    /// Go on to another step, with what brings its setup about from here.
    Step {
        /// The step's id.
        id: String,
        /// What to do before it.
        changes: Vec<Action>,
    },
    /// Stop: its place among the ends.
    End(usize),
}

/// Why a complaint has no plan.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ComplaintError {
    /// What was asked cannot be.
    #[error(transparent)]
    Asked(#[from] AskedError),
    /// The machine never settles.
    #[error(transparent)]
    Unsettled(#[from] Unsettled),
    /// No meter reads volts and ohms.
    #[error("a complaint is looked into with a plain meter, one that reads volts and ohms; at hand: {0}")]
    NoMeter(String),
}

/// Makes a plan for a complaint.
///
/// Cost: a low-rank change of the healthy machine for every fault in the setup of the complaint, and for
/// every hypothesis that still stands in each setup that is thought of.
///
/// # Errors
/// There is no setup in which the part works, the machine never settles, or no plain meter is at hand.
pub fn complaint(
    harness: &Harness,
    netlist: &Netlist,
    asked: &Asked,
    meters: impl Into<Meters>,
) -> Result<Plan, ComplaintError> {
    let meters = meters.into();
    let meter = plain(&meters)?;
    let universe = Universe::new(harness, netlist);
    let setting = setting::find(harness, netlist, asked)?;
    let hypotheses = hypotheses::stopping(harness, netlist, &universe, &setting)?;
    let tree = grow::Grower::new(harness, netlist, &setting, &hypotheses, (meter, asked.depth)).grow();
    write::plan(harness, netlist, &universe, setting, &hypotheses, &tree, meters)
}

/// The meter that a complaint is looked into with.
fn plain(meters: &Meters) -> Result<Meter, ComplaintError> {
    let reads = |meter: &&Meter| meter.can(Kind::Voltage) && meter.can(Kind::Continuity);
    let nulled = meters.iter().filter(reads).min_by(|a, b| a.leads.get().total_cmp(&b.leads.get()));
    nulled.copied().ok_or_else(|| ComplaintError::NoMeter(meters.names()))
}
