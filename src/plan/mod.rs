//! Plans: which readings to take, in which setups, in which order.
//!
//! Comes in: a machine and what is asked of it. Goes out: phases in an order that keeps the safety
//! rules, each opened by the actions that bring its setup about; steps with probes, expectation and
//! what each covers; what no step can detect; the cost beside its lower bound. Why: the person at the
//! machine walks, unplugs and measures as little as the question allows.
//!
//! A step holds a [`Measurement`], which cannot be unsafe; the actions between phases come from
//! [`transition`](crate::setup::transition), which knows no unsafe order. So what is left to this room is to choose well.

mod bounds;
mod caution;
pub mod complaint;
mod cover;
mod hidden;
mod instrument;
pub mod order;
mod phase;
mod plugs;
mod power;
mod select;
mod stages;

pub use bounds::{group_tests, kautz, spanning_steps};
pub use caution::{BEFORE, DEFERENCE};
pub use hidden::{Hidden, Reason, Uncover};
pub use instrument::Meters;
pub use stages::{Stage, stages};

use std::collections::BTreeSet;

use crate::circuit::Unsettled;
use crate::definition::{Harness, Limit, MatingId, PartId, PartKind, Point, StationId};
use crate::fault::Fault;
use crate::measure::{Expectation, Measurement};
use crate::netlist::Netlist;
use crate::setup::{Action, Connected, Isolated, Setup};
use crate::units::{Seconds, Volts};

/// What a plan is asked for.
#[derive(Debug, Clone, Default)]
pub struct Scope {
    /// Only what can be measured while these are unplugged; everything where empty.
    pub unplug: Vec<MatingId>,
    /// Only this circuit.
    pub circuit: Option<String>,
}

/// A plan.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The phases in order.
    pub phases: Vec<Phase>,
    /// Cautions that hold throughout.
    pub cautions: Vec<String>,
    /// What to know before the first plug is pulled.
    pub before: Vec<String>,
    /// What must work when everything is back together.
    pub function_check: Vec<String>,
    /// What the plan detects, and what not.
    pub coverage: Coverage,
    /// What it costs.
    pub cost: Cost,
    /// The meters it is made for.
    pub meters: Meters,
    /// Readings that none of these meters may serve.
    pub left_out: Vec<LeftOut>,
    /// What a plan for a complaint says beside its phases.
    pub complaint: Option<complaint::Dossier>,
    /// The stages of a build, in order; empty for any other plan.
    pub stages: Vec<Stage>,
}

/// A reading that no meter at hand may serve.
#[derive(Debug, Clone)]
pub struct LeftOut {
    /// The number that its step would have.
    pub id: String,
    /// What is not read.
    pub measurement: Measurement,
    /// Why not.
    pub why: String,
}

/// All steps in one setup.
#[derive(Debug, Clone)]
pub struct Phase {
    /// Its number.
    pub id: usize,
    /// What it is for.
    pub title: &'static str,
    /// The machine's state.
    pub setup: Setup,
    /// What brings that state about, in order.
    pub changes: Vec<Action>,
    /// Cautions that apply here.
    pub cautions: Vec<String>,
    /// Exposed contacts that are live, with their voltage against the chassis.
    pub live: Vec<(Point, Volts)>,
    /// The readings, in order.
    pub steps: Vec<Step>,
}

/// One reading.
#[derive(Debug, Clone)]
pub struct Step {
    /// Phase and number within it: `2.04`.
    pub id: String,
    /// What is read.
    pub measurement: Measurement,
    /// What a healthy machine shows, and the meter to read it with.
    pub expect: Expectation,
    /// Where one stands: the red probe's station.
    pub station: Option<StationId>,
    /// Faults that this reading shows for sure.
    pub covers: Vec<Fault>,
    /// Why it is taken, in words.
    pub purpose: String,
    /// What it can show and what to do then; empty where the next step follows whatever it shows.
    pub outcomes: Vec<complaint::Outcome>,
}

/// What a plan detects.
#[derive(Debug, Clone, Default)]
pub struct Coverage {
    /// Faults in its scope.
    pub faults: usize,
    /// Those that at least one step shows for sure.
    pub detected: usize,
    /// Those that none shows, each with the reason and what would uncover it.
    pub undetected: Vec<(Fault, Hidden)>,
}

/// What a plan costs, beside what any plan with the same phases and two probes must cost.
#[derive(Debug, Clone, Copy, Default)]
pub struct Cost {
    /// Readings.
    pub steps: usize,
    /// The fewest readings with two probes: k − 1 in a net of k points, one for each pair that must be
    /// apart, one for each supply.
    pub steps_bound: usize,
    /// Setup changes: leads, plugs, switches, conditions (walking is not one).
    pub changes: usize,
    /// The fewest setup changes: each needed plug parted and joined once, each power change once.
    pub changes_bound: usize,
    /// Time for changes, walking and readings.
    pub seconds: Seconds,
    /// Time for the fewest changes and readings, without walking.
    pub seconds_bound: Seconds,
}

/// Makes a plan for the meters at hand: one, or several.
///
/// Steps have the same numbers whatever meters there are; what none of them may serve is left out and
/// named.
///
/// Cost: one factorisation per phase and corner, two ways up the elimination tree per step.
///
/// # Errors
/// The parts that keep switching, if the machine never settles in a setup the plan needs.
pub fn plan(
    harness: &Harness,
    netlist: &Netlist,
    scope: &Scope,
    meters: impl Into<Meters>,
) -> Result<Plan, Unsettled> {
    let drafts = drafts(harness, netlist, scope)?;
    let mut builder = phase::Builder::new(harness, netlist, scope, meters.into());
    for draft in drafts {
        builder.phase(draft)?;
    }
    Ok(builder.finish())
}

/// A setup that a plan needs, and what it looks for there.
#[derive(Debug, Clone)]
struct Draft {
    title: &'static str,
    setup: Setup,
    look: Look,
}

/// What a phase looks for.
#[derive(Debug, Clone)]
enum Look {
    /// Sources and points that can be probed on the machine as found.
    Sources,
    /// Paths and isolation, and what the maker demands in the same setup.
    Paths,
    /// The switch contacts that this setup closes.
    Switches,
    /// Supplies and conditions of units, at the plugs taken off them: red and black of each.
    Supplies(Vec<[Point; 2]>),
    /// What the maker demands in this setup.
    Limits,
    /// Each wire from end to end.
    Wires,
    /// What units will see at their plugs.
    UnitPlugs,
    /// The voltage across each of these loads.
    Functions(Vec<PartId>),
    /// Nothing: the machine as found again.
    Close,
}

/// The machine as it is found: power connected, if it has a source of its own.
pub fn as_found(harness: &Harness) -> Setup {
    let source = |kind: &PartKind| matches!(kind, PartKind::Battery { .. } | PartKind::Alternator { .. });
    if harness.parts.values().any(|part| source(&part.kind)) {
        Connected::as_found().into()
    } else {
        Isolated::at_rest().into()
    }
}

/// The setups a plan goes through, in the order that needs one power-off, one unplugging, one power-on
/// for the voltages at the open plugs, one power-off and one re-mating.
fn drafts(harness: &Harness, netlist: &Netlist, scope: &Scope) -> Result<Vec<Draft>, Unsettled> {
    let found = as_found(harness);
    let powered = matches!(found, Setup::Connected(_));
    let parted = plugs::parted(harness, netlist, scope);
    let open: Setup = with_parted(&parted).into();
    let mut drafts = Vec::new();
    if powered {
        drafts.push(Draft { title: "As found, with power", setup: found.clone(), look: Look::Sources });
        for setup in limit_setups(harness, scope, true) {
            drafts.push(Draft { title: "What the maker demands, with power", setup, look: Look::Limits });
        }
    }
    for setup in limit_setups(harness, scope, false).into_iter().filter(|setup| *setup != open) {
        drafts.push(Draft { title: "What the maker demands, without power", setup, look: Look::Limits });
    }
    drafts.push(Draft {
        title: "Paths and isolation, without power",
        setup: open.clone(),
        look: Look::Paths,
    });
    for setup in plugs::switch_setups(harness, netlist, &parted) {
        drafts.push(Draft { title: "Switch contacts, without power", setup, look: Look::Switches });
    }
    if powered {
        let units = plugs::of_units(harness, &parted);
        for (setup, pairs) in power::supplies(harness, netlist, scope, &units)? {
            drafts.push(Draft {
                title: "Supplies at the open plugs, with power",
                setup,
                look: Look::Supplies(pairs),
            });
        }
    }
    drafts.push(Draft { title: "As found again", setup: found, look: Look::Close });
    Ok(drafts)
}

fn with_parted(parted: &BTreeSet<MatingId>) -> Isolated {
    parted.iter().fold(Isolated::at_rest(), |setup, mating| setup.part(*mating))
}

/// The setups of what the maker demands of a reading of some kind: for the whole machine, and for a circuit
/// where one of the probes is on one of its wires. A sweep at a few plugs leaves them out.
fn limit_setups(harness: &Harness, scope: &Scope, powered: bool) -> BTreeSet<Setup> {
    let asked = |limit: &&Limit| {
        let of_circuit =
            |circuit: &String| [limit.red, limit.black].iter().any(|p| on_circuit(harness, *p, circuit));
        limit.kind.is_resistance() != powered
            && scope.unplug.is_empty()
            && (limit.unplugged.is_empty() || !powered)
            && scope.circuit.as_ref().is_none_or(of_circuit)
    };
    let setup = |limit: &Limit| {
        let parted = limit.unplugged.iter().copied().collect();
        let set = limit.set.iter().fold(with_parted(&parted), |s, (switch, at)| s.set(harness, *switch, *at));
        if powered {
            return limit.conditions.iter().fold(set.connect(), |s, condition| s.bring(*condition)).into();
        }
        limit.conditions.iter().fold(set, |s, condition| s.bring(harness, *condition)).into()
    };
    harness.limits.iter().filter(asked).map(setup).collect()
}

/// Whether a wire of a circuit ends at a point.
fn on_circuit(harness: &Harness, point: Point, circuit: &str) -> bool {
    harness.wires_at(point).any(|wire| harness.wires[wire].circuit.as_deref() == Some(circuit))
}

impl Plan {
    /// All steps in order.
    pub fn steps(&self) -> impl Iterator<Item = &Step> {
        self.phases.iter().flat_map(|phase| &phase.steps)
    }
}
