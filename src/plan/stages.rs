//! Plans in the stages of a build: the harness is proven while what is wrong is still cheap to put right.
//!
//! Comes in: a machine. Goes out: a plan that begins with loose wires and ends with a machine that works, its
//! phases gathered under stages, each with its own cautions. Why: a contact in the wrong cavity costs a
//! minute before the boots are on and an hour after, and a supply short found before power costs no box.
//! The order of the stages is common practice, no source.

use std::collections::{BTreeMap, BTreeSet};

use super::complaint::part_works;
use super::cover::{Question, Shows, covered};
use super::hands::OneByOne;
use super::phase::Builder;
use super::select::Chosen;
use super::{
    Aids, Draft, Look, Meters, Plan, Scope, Step, as_found, caps, limit_setups, plugs, power, with_parted,
};
use crate::circuit::Unsettled;
use crate::definition::{Harness, Kind, LoadKind, MatingId, PartId, PartKind, Point};
use crate::fault::Universe;
use crate::measure::{Expectation, Measurement, Meter, OPEN_FROM, Reason, Reasons, Situation, Term};
use crate::netlist::{Link, Netlist};
use crate::setup::{Isolated, Setup, batteries, position_name};

/// Before power a machine with its units in reads at least this share of what they may have inside: common
/// practice, no source.
const NO_SHORT: f64 = 0.5;

/// A stage of a build: some phases under one heading.
#[derive(Debug, Clone)]
pub struct Stage {
    /// What it is.
    pub title: &'static str,
    /// What it is for.
    pub why: &'static str,
    /// Cautions that apply through all of it.
    pub cautions: Vec<String>,
    /// The number of its first phase.
    pub first: usize,
}

/// Makes a plan for a build.
///
/// Cost: that of a plan of the whole machine, and one more phase for each setup in which a load works.
///
/// # Errors
/// The parts that keep switching, if the machine never settles in a setup the plan needs.
pub fn stages(
    harness: &Harness,
    netlist: &Netlist,
    meters: impl Into<Meters>,
    aids: Aids,
) -> Result<Plan, Unsettled> {
    let meters = meters.into();
    let scope = Scope::default();
    let parted: BTreeSet<MatingId> = harness.matings.ids().collect();
    let open: Setup = with_parted(&parted).into();
    let found = as_found(harness);
    let mut drafts = Drafts::default();
    drafts.add(LOOSE, "Wires, end to end", open.clone(), Look::Wires);
    open_plugs(&mut drafts, harness, &scope, &open);
    drafts.add(MATING, "Units' plugs", open.clone(), Look::UnitPlugs);
    if matches!(found, Setup::Connected(_)) {
        let steps = lead_steps(harness, netlist, plain_meter(&meters))?;
        let title = "All mated, battery leads off: no dead short";
        drafts.add(MATED, title, Isolated::at_rest().into(), Look::Given(steps));
        powered(&mut drafts, harness, netlist, &scope)?;
    }
    drafts.all.push(Draft { title: "Complete, at rest", setup: found, look: Look::Close, group: None });
    let begin = |aids| {
        let mut builder = Builder::new(harness, netlist, &scope, meters.clone(), aids);
        builder.start_from(open.clone());
        builder
    };
    let mut plan = super::build(harness, begin, &drafts.all, aids)?;
    plan.before = BEFORE.iter().map(|text| (*text).to_owned()).collect();
    plan.function_check.splice(0..0, functions(harness, netlist));
    plan.stages = (0..STAGES.len()).filter_map(|stage| of_phases(stage, &plan)).collect();
    Ok(plan)
}

/// What to know before the first wire is measured.
const BEFORE: &[&str] = &[
    "These stages are common practice; the maker's own test sheet comes first where there is one.",
    "Build and test from the same revision: compare id, revision and hash of this sheet with those at the bench.",
    "What a stage finds is put right and read again before the next stage begins.",
];

/// Title, purpose and cautions of each stage.
const STAGES: [(&str, &str, &[&str]); 5] = [
    (
        "Before contacts go into the shells",
        "Every wire from end to end, with its mark: what is crimped wrong is cut off and done again.",
        &[
            "Clip to crimped contacts by their barrels: what grips a contact's mating end spoils it.",
            "Read the mark at both ends while the meter shows the wire: colour and mark are claims.",
        ],
    ),
    (
        "Before boots and covers",
        "Every connector: each contact in its own cavity, nothing open, nothing touching.",
        &[
            "Tug every contact gently from the wire side before it is read: one that is not locked reads well once.",
            "Isolation with nothing plugged on: no unit, no lamp, no sensor.",
        ],
    ),
    (
        "Before the first mating",
        "What the units will see: returns at ground, supplies and requests on nothing else.",
        &[
            "A box that is plugged onto a wrong wire may be lost at the first switching-on: this is the last chance.",
        ],
    ),
    (
        "Before power",
        "From the ends of the battery leads, with everything mated: no dead short.",
        &[
            "Once with every fuse out, then with one more in each time: a reading that falls to nearly nothing names \
             the fuse whose circuit is shorted.",
            "Leads stay off the battery posts and apart. Charge in the units may stir the reading: wait until it rests.",
        ],
    ),
    (
        "First power",
        "Voltages at the units' open plugs first, then the units, then one function after the other.",
        &[
            "The first switching-on: through a source with a current limit or a small fuse where there is one, one \
             hand at the isolator, a fire extinguisher within reach.",
            "At smell, smoke or a hot fuse: power off at once, and back to the stage before.",
        ],
    ),
];

const LOOSE: usize = 0;
const SHELLED: usize = 1;
const MATING: usize = 2;
const MATED: usize = 3;
const POWERED: usize = 4;

/// A stage as its phases show it; `None` where it has none.
fn of_phases(stage: usize, plan: &Plan) -> Option<Stage> {
    let first = plan.phases.iter().find(|phase| phase.group.map(stage_of) == Some(stage))?.id;
    let (title, why, cautions) = STAGES[stage];
    Some(Stage { title, why, cautions: cautions.iter().map(|text| (*text).to_owned()).collect(), first })
}

/// Groups within a stage: what comes first in it, come what may.
const PER_STAGE: usize = 8;

fn stage_of(group: usize) -> usize {
    group / PER_STAGE
}

/// The phases of all stages.
#[derive(Default)]
struct Drafts {
    all: Vec<Draft>,
}

impl Drafts {
    fn add(&mut self, stage: usize, title: &'static str, setup: Setup, look: Look) {
        self.after(stage, 0, title, setup, look);
    }

    /// A phase that comes after all of its stage with a lower rank.
    fn after(&mut self, stage: usize, rank: usize, title: &'static str, setup: Setup, look: Look) {
        self.all.push(Draft { title, setup, look, group: Some(stage * PER_STAGE + rank) });
    }
}

fn open_plugs(drafts: &mut Drafts, harness: &Harness, scope: &Scope, open: &Setup) {
    drafts.add(SHELLED, "Connectors, at open plugs", open.clone(), Look::Paths);
    for setup in limit_setups(harness, scope, false).into_iter().filter(|setup| setup != open) {
        drafts.add(SHELLED, "What the maker demands, without power", setup, Look::Limits);
    }
}

/// Voltages at the open plugs of units, the units at rest, one function after the other, what the maker demands.
fn powered(
    drafts: &mut Drafts,
    harness: &Harness,
    netlist: &Netlist,
    scope: &Scope,
) -> Result<(), Unsettled> {
    let units = plugs::of_units(harness, &harness.matings.ids().collect());
    let supplied = power::supplies(harness, netlist, scope, &units)?;
    for (setup, pairs) in caps::capped(harness, netlist, supplied)? {
        let look = Look::Supplies(pairs);
        drafts.add(POWERED, "Supplies at the units' open plugs, with power", setup, look);
    }
    let found = as_found(harness);
    drafts.after(POWERED, 1, "Units in, at rest, with power", found, Look::Sources);
    for (setup, parts) in loads_by_setup(harness, netlist) {
        let look = Look::Functions(parts);
        drafts.after(POWERED, 2, "Functions, one by one, with power", setup, look);
    }
    for setup in limit_setups(harness, scope, true) {
        drafts.after(POWERED, 3, "What the maker demands, with power", setup, Look::Limits);
    }
    Ok(())
}

/// The plain meter at hand; the usual one where there is none.
fn plain_meter(meters: &Meters) -> Meter {
    meters.iter().find(|meter| meter.can(Kind::Voltage)).copied().unwrap_or(Meter::HANDHELD)
}

/// Each wire from end to end; wires that splices join, from the first of their ends to every other.
pub(super) fn wires(situation: &Situation<'_>) -> Vec<Chosen> {
    let Situation { harness, netlist, .. } = *situation;
    let mut done: BTreeSet<[Point; 2]> = BTreeSet::new();
    let mut chosen = Vec::new();
    let mut take = |red: Point, black: Point, purpose: String| {
        if red != black
            && done.insert([red.min(black), red.max(black)])
            && let Ok(measurement) = situation.measure(Kind::Continuity, red, black)
        {
            chosen.push(Chosen { measurement, purpose, moved: None });
        }
    };
    for wire in harness.wires.values() {
        if !wire.ends.iter().any(|end| matches!(end, Point::Splice(_))) {
            take(wire.ends[0], wire.ends[1], format!("wire {}", wire.id));
        }
    }
    for splice in harness.splices.ids() {
        let ends = ends_beyond(netlist, harness.point_index(Point::Splice(splice)));
        let id = &harness.splices[splice].id;
        for other in ends.iter().skip(1) {
            take(ends[0], *other, format!("through splice {id}"));
        }
    }
    chosen
}

/// The ends of wires that lead to a splice, over other splices too, in the order of the points.
fn ends_beyond(netlist: &Netlist, splice: usize) -> Vec<Point> {
    let (mut seen, mut open, mut ends) = (BTreeSet::from([splice]), vec![splice], BTreeSet::new());
    while let Some(node) = open.pop() {
        for (link, other) in netlist.links_at(node) {
            let point = netlist.point(other);
            if !matches!(netlist.link(link), Link::Wire(_)) || !seen.insert(other) {
                continue;
            }
            if matches!(point, Point::Splice(_)) {
                open.push(other);
            } else {
                ends.insert(point);
            }
        }
    }
    ends.into_iter().collect()
}

/// What units will see at their plugs: returns at ground, supplies and requests against the return.
pub(super) fn unit_plugs(situation: &Situation<'_>) -> Vec<Chosen> {
    let harness = situation.harness;
    let outside = |point: Point| match point {
        Point::Contact(id) => harness.contacts[id].mate.map(Point::Contact),
        _ => None,
    };
    let mut chosen: Vec<Chosen> = Vec::new();
    let mut take = |red: Point, black: Point, purpose: String| {
        let [a, b] = [red, black].map(|p| situation.node(p));
        let kind = if situation.healthy().joined(a, b) { Kind::Continuity } else { Kind::Isolation };
        if let Ok(measurement) = situation.measure(kind, red, black)
            && chosen.iter().all(|c| c.measurement != measurement)
        {
            chosen.push(Chosen { measurement, purpose, moved: None });
        }
    };
    for part in harness.parts.values() {
        let PartKind::Unit { functions } = &part.kind else { continue };
        for function in functions {
            let ground = function.ground.and_then(outside);
            if let Some(ground) = ground.filter(|_| harness.has_chassis()) {
                take(ground, Point::Chassis, format!("return of {}", part.id));
            }
            let Some(black) = ground.or(harness.has_chassis().then_some(Point::Chassis)) else { continue };
            let own = std::iter::once(("supply", function.supply));
            for (what, point) in own.chain(function.when.iter().map(|point| ("request", *point))) {
                if let Some(red) = outside(point) {
                    take(red, black, format!("{what} of {}: no short", part.id));
                }
            }
        }
    }
    chosen
}

/// The resistance between the ends of the battery leads, and from each to the frame.
fn lead_steps(harness: &Harness, netlist: &Netlist, meter: Meter) -> Result<Vec<Step>, Unsettled> {
    let setup: Setup = Isolated::at_rest().into();
    let situation = &Situation::new(harness, netlist, &setup)?;
    let universe = Universe::new(harness, netlist);
    let mut pairs: Vec<[Point; 2]> = Vec::new();
    for battery in batteries(harness) {
        let PartKind::Battery { plus, minus, .. } = harness.parts[battery].kind else { continue };
        pairs.push([plus, minus]);
        if harness.has_chassis() {
            pairs.extend([[plus, Point::Chassis], [minus, Point::Chassis]]);
        }
    }
    let readings = pairs.into_iter().filter_map(|[red, black]| {
        let measurement = situation.measure(Kind::Continuity, red, black).ok()?;
        let expect = no_short(situation, situation.explain(&measurement, &meter), [red, black]);
        Some((measurement, expect))
    });
    let readings: Vec<_> = readings.collect();
    let questions: Vec<Question<'_>> =
        readings.iter().map(|(measurement, expect)| Question { measurement, expect }).collect();
    let shows = covered(situation, &universe, &questions, &OneByOne);
    let step = |((measurement, expect), shows): (&(Measurement, Expectation), Shows)| Step {
        id: String::new(),
        station: harness.station_of(measurement.red()),
        measurement: measurement.clone(),
        expect: expect.clone(),
        covers: shows.faults,
        purpose: "no dead short".to_owned(),
        outcomes: Vec::new(),
    };
    Ok(readings.iter().zip(shows).map(step).collect())
}

/// What the leads' ends show at least: as computed, and where units are in the way half of the least that they
/// may have inside.
fn no_short(situation: &Situation<'_>, expect: Expectation, [red, black]: [Point; 2]) -> Expectation {
    let [a, b] = [red, black].map(|p| situation.node(p));
    let through = situation.healthy_through_units().and_then(|machine| machine.resistance(a, b));
    let healthy = situation.healthy().resistance(a, b);
    let Some(least) = through.filter(|ohms| healthy.is_none_or(|h| ohms.get() < 0.9 * h.get())) else {
        return expect;
    };
    let low = (least.get() * NO_SHORT).min(OPEN_FROM.get());
    let term = Term {
        amount: low,
        what: "half of the least that the connected units may have inside".into(),
        source: "common practice, no source".into(),
        shares: Vec::new(),
        others: (0, 0.0),
    };
    let low_reason = Reason { terms: vec![term] };
    Expectation { low, why: Reasons { low: low_reason, ..expect.why.clone() }, ..expect }
}

/// The motors, lamps and coils, by the setup in which each works with the fewest moves.
fn loads_by_setup(harness: &Harness, netlist: &Netlist) -> Vec<(Setup, Vec<PartId>)> {
    let works = |kind: &PartKind| {
        matches!(kind, PartKind::Load { kind: LoadKind::Motor | LoadKind::Lamp | LoadKind::Coil, .. })
    };
    let mut by_setup: BTreeMap<Setup, Vec<PartId>> = BTreeMap::new();
    for (id, _) in harness.parts.iter().filter(|(_, part)| works(&part.kind)) {
        if let Some(setup) = part_works(harness, netlist, id) {
            by_setup.entry(setup).or_default().push(id);
        }
    }
    // One function after the other: those with the fewest moves first.
    let mut all: Vec<(Setup, Vec<PartId>)> = by_setup.into_iter().collect();
    all.sort_by_key(|(setup, _)| setup.set().len() + setup.conditions().len());
    all
}

/// The voltage across each load, where a probe gets there with the plugs in.
pub(super) fn across_loads(situation: &Situation<'_>, parts: &[PartId]) -> Vec<Chosen> {
    let harness = situation.harness;
    let near = |point: Point| {
        let mate = match point {
            Point::Contact(id) => harness.contacts[id].mate.map(Point::Contact),
            _ => None,
        };
        [Some(point), mate].into_iter().flatten().find(|p| situation.setup.can_probe(harness, *p))
    };
    let reading = |id: &PartId| {
        let PartKind::Load { between: [a, b], .. } = harness.parts[*id].kind else { return None };
        let (red, black) = near(a).zip(near(b))?;
        let measurement = situation.measure(Kind::Voltage, red, black).ok()?;
        let title = format!("{} {} works", harness.parts[*id].kind.word(), harness.parts[*id].id);
        Some(Chosen { measurement, purpose: title, moved: None })
    };
    parts.iter().filter_map(reading).collect()
}

/// What must work, each with the setup in which it does.
fn functions(harness: &Harness, netlist: &Netlist) -> Vec<String> {
    let mut checks = Vec::new();
    for (setup, parts) in loads_by_setup(harness, netlist) {
        let set = setup.set().map(|(switch, at)| {
            format!("{} at {}", harness.parts[switch].id, position_name(harness, switch, at))
        });
        let words: Vec<String> =
            set.chain(setup.conditions().map(|c| harness.conditions[c].title.clone())).collect();
        let with = if words.is_empty() {
            "with all switches at rest".to_owned()
        } else {
            format!("with {}", words.join(", "))
        };
        let name = |id: &PartId| {
            let part = &harness.parts[*id];
            if part.title.is_empty() { part.id.clone() } else { format!("{} ({})", part.id, part.title) }
        };
        checks.extend(parts.iter().map(|id| format!("{} works {with}, and stops with them back.", name(id))));
    }
    checks
}
