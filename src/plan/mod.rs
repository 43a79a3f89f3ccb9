//! Plans: which readings to take, in which setups, in which order.
//!
//! Comes in: a machine and what is asked of it. Goes out: phases in an order that keeps the safety
//! rules, each opened by the actions that bring its setup about; steps with probes, expectation and
//! what each covers; what no step can detect; the cost beside its lower bound. Why: the person at the
//! machine walks, unplugs and measures as little as the question allows.
//!
//! A step holds a [`Measurement`], which cannot be unsafe; the actions between phases come from
//! [`transition`](crate::setup::transition), which knows no unsafe order. So what is left to this room is to choose well.

mod after;
mod aids;
mod bounds;
mod caps;
pub mod causes;
mod caution;
pub mod complaint;
mod cover;
mod fewest;
mod hands;
mod hidden;
mod instrument;
mod numbers;
pub mod order;
mod phase;
mod plugs;
mod power;
mod select;
mod soonest;
mod stages;
mod stated;
mod tour;
mod trip;

pub use after::{Touched, after};
pub use aids::{Aided, Aids, Group, Loop, SPLIT, SPLIT_LOOP, UnknownAid, Without};
pub use bounds::{
    Compared, counting, group_tests, kautz, modified_counting, pair_tests, side, spanning_steps,
};
pub use caution::{BEFORE, DEFERENCE, of_close, of_phase, throughout};
pub(crate) use hands::in_parts;
pub use hands::{Hands, OneByOne};
pub use hidden::{Hidden, Reason, Uncover};
pub use instrument::Meters;
pub use stages::{Stage, stages};

use std::collections::BTreeSet;

use crate::circuit::Unsettled;
use crate::definition::{Harness, Limit, MatingId, PartId, Point, StationId};
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

impl Scope {
    /// Whether everything is asked about.
    fn is_whole(&self) -> bool {
        self.unplug.is_empty() && self.circuit.is_none()
    }
}

/// A plan.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The machine before the first phase.
    pub start: Setup,
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
    /// What other ways of testing would take; `None` where no isolation is read.
    pub compared: Option<Compared>,
    /// The meters it is made for.
    pub meters: Meters,
    /// Readings that none of these meters may serve.
    pub left_out: Vec<LeftOut>,
    /// What straps and loopback plugs make of it, if it may use any.
    pub aided: Option<Aided>,
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
    /// All phases of a group come before those of a group with a higher number; in a plan in stages, its stage.
    pub group: Option<usize>,
    /// What brings that state about, in order.
    pub changes: Vec<Action>,
    /// Cautions that apply here.
    pub cautions: Vec<String>,
    /// Exposed contacts that are live, with their voltage against the chassis.
    pub live: Vec<(Point, Volts)>,
    /// The readings, in order.
    pub steps: Vec<Step>,
    /// Time for its changes, walks and readings.
    pub seconds: Seconds,
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
    /// Phases with power in which no fault was tried, because the machine is too large: their readings claim none.
    pub untried: usize,
}

/// What a plan costs, beside what no plan with the same readings and two probes can do without.
#[derive(Debug, Clone, Copy, Default)]
pub struct Cost {
    /// Readings.
    pub steps: usize,
    /// The fewest with two probes that read every net and pair for itself: k − 1 in a net of k points, one for
    /// each pair that must be apart, one for each supply.
    pub steps_bound: usize,
    /// Setup changes: leads, plugs, switches, conditions (walking is not one).
    pub changes: usize,
    /// The fewest setup changes of these phases in any order.
    pub changes_bound: usize,
    /// Time for changes, walking and readings.
    pub seconds: Seconds,
    /// The least time for these phases in any order and for their stations in any order, with as many
    /// readings as must be.
    pub seconds_bound: Seconds,
    /// So many of the readings would show the same single faults, without telling as well which one it is.
    pub cover: usize,
    /// No fewer of the readings can show them.
    pub cover_bound: usize,
    /// Setups in which switch contacts are closed to be read.
    pub switch_setups: usize,
    /// The fewest setups that close each of these contacts without a way beside it.
    pub switch_setups_bound: usize,
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
    plan_with(harness, netlist, scope, meters, Aids::default())
}

/// The same for a person who also has straps or loopback plugs. No fault is detected less for them.
///
/// Cost: with aids, twice that of a plan without, and a factorisation for each setup of straps.
///
/// # Errors
/// The parts that keep switching, if the machine never settles in a setup the plan needs.
pub fn plan_with(
    harness: &Harness,
    netlist: &Netlist,
    scope: &Scope,
    meters: impl Into<Meters>,
    aids: Aids,
) -> Result<Plan, Unsettled> {
    plan_by(&OneByOne, harness, netlist, scope, meters, aids)
}

/// The same with several hands at the work; the plan is the same whoever makes it.
///
/// # Errors
/// The parts that keep switching, if the machine never settles in a setup the plan needs.
pub fn plan_by(
    hands: &dyn Hands,
    harness: &Harness,
    netlist: &Netlist,
    scope: &Scope,
    meters: impl Into<Meters>,
    aids: Aids,
) -> Result<Plan, Unsettled> {
    let drafts = drafts(harness, netlist, scope)?;
    let meters = meters.into();
    let begin = |aids| phase::Builder::new(harness, netlist, scope, meters.clone(), aids).with_hands(hands);
    build(harness, begin, &drafts, aids)
}

/// The plan of some drafts; with aids beside the same plan without.
fn build<'a>(
    harness: &'a Harness,
    begin: impl Fn(Aids) -> phase::Builder<'a>,
    drafts: &[Draft],
    aids: Aids,
) -> Result<Plan, Unsettled> {
    let one = |aids: Aids| {
        let mut builder = begin(aids);
        drafts.iter().try_for_each(|draft| builder.add(draft.clone()))?;
        Ok::<_, Unsettled>(builder.finish())
    };
    let mut plan = one(aids)?;
    if plan.aided.is_some() {
        aids::note_without(&mut plan, &one(Aids::default())?, harness);
    }
    Ok(plan)
}

/// A setup that a plan needs, and what it looks for there.
#[derive(Debug, Clone)]
struct Draft {
    title: &'static str,
    setup: Setup,
    look: Look,
    /// Phases of a group come before those of a group with a higher number, whatever it costs.
    group: Option<usize>,
}

/// Before power goes on with plugs off, paths and isolation are proven without: the order of any first
/// inspection (IEC 60364-6: continuity and insulation before anything that needs power; from memory).
const DEAD: Option<usize> = Some(0);
/// What needs power with plugs off.
const LIVE: Option<usize> = Some(1);

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
    /// These readings, with straps.
    Aided(Vec<aids::Asked>),
    /// Each wire from end to end.
    Wires,
    /// What units will see at their plugs.
    UnitPlugs,
    /// The voltage across each of these loads.
    Functions(Vec<PartId>),
    /// These steps, chosen elsewhere, in this order; those without an id get one.
    Given(Vec<Step>),
    /// Nothing: the machine as found again.
    Close,
}

/// The machine as it is found: power connected, if it has a source of its own.
pub fn as_found(harness: &Harness) -> Setup {
    if harness.has_source() { Connected::as_found().into() } else { Isolated::at_rest().into() }
}

/// The setups a plan goes through. Their order here is the one that is kept where no other costs less.
fn drafts(harness: &Harness, netlist: &Netlist, scope: &Scope) -> Result<Vec<Draft>, Unsettled> {
    let found = as_found(harness);
    let powered = matches!(found, Setup::Connected(_));
    let parted = plugs::parted(harness, netlist, scope);
    let open: Setup = with_parted(&parted).into();
    let mut drafts = Vec::new();
    let mut add = |title, setup, look, group| drafts.push(Draft { title, setup, look, group });
    if powered {
        add("As found, with power", found.clone(), Look::Sources, None);
        for setup in limit_setups(harness, scope, true) {
            add("What the maker demands, with power", setup, Look::Limits, None);
        }
    }
    for setup in limit_setups(harness, scope, false).into_iter().filter(|setup| *setup != open) {
        add("What the maker demands, without power", setup, Look::Limits, None);
    }
    add("Paths and isolation, without power", open, Look::Paths, DEAD);
    if powered {
        let units = plugs::of_units(harness, &parted);
        let supplied = power::supplies(harness, netlist, scope, &units)?;
        for (setup, pairs) in caps::capped(harness, netlist, supplied)? {
            add("Supplies at the open plugs, with power", setup, Look::Supplies(pairs), LIVE);
        }
    }
    add("As found again", found, Look::Close, None);
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
