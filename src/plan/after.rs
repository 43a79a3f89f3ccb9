//! The plan that proves a repair: the fewest readings that show every fault which the work can have brought about.
//!
//! Comes in: a machine and what was touched of it. Goes out: a plan about those faults alone, with one reading under
//! load and the function at the end; and what it leaves out of the whole plan, and why. Why: whoever has cut into a loom
//! must prove what he cut, what lies beside it and what he unplugged for it; but not the whole machine again.
//!
//! Setups that come into question are tried, not reasoned about: every fault that the work can have brought about is put
//! into the machine in each of them, and of all readings those are taken that show most that is new for their time
//! (the greedy cover: Chvátal, Mathematics of Operations Research 4, 1979; from memory).
//!
//! Cost: that of a plan's coverage for each of a handful of setups.

mod trial;

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use trial::{Row, Trial};

use super::complaint::part_works;
use super::fewest::fewest;
use super::numbers::Numbers;
use super::phase::Builder;
use super::{Aids, Draft, Look, Meters, Plan, Scope, as_found, plugs, with_parted};
use crate::circuit::Unsettled;
use crate::definition::{ConnectorId, Harness, Kind, LoadKind, MatingId, PartId, PartKind, Point, WireId};
use crate::fault::{Fault, Universe, touching};
use crate::measure::Meter;
use crate::netlist::{Element, Link, Netlist};
use crate::setup::{Effort, READING_SECONDS, Setup, position_name, usual};

/// What a repair touched.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Touched {
    /// Wires that are new, cut or pulled at.
    pub wires: Vec<WireId>,
    /// Contacts, splices and terminals that were made or handled.
    pub points: Vec<Point>,
    /// Connectors that were opened for it.
    pub opened: Vec<ConnectorId>,
    /// Parts that are new.
    pub parts: Vec<PartId>,
}

impl Touched {
    /// Whether the work can have brought a fault about: in what was made new, in what was handled with it, between a
    /// touched wire and whatever lies beside it, and in every contact of a connector that was opened.
    pub fn can_bring(&self, harness: &Harness, fault: Fault) -> bool {
        match fault {
            Fault::Open(element) | Fault::High(element) => self.handled(harness, element),
            Fault::Short(a, b) => {
                self.wires.contains(&a) || self.wires.contains(&b) || self.opened_between(harness, a, b)
            }
            Fault::ToChassis(wire) => self.wires.contains(&wire),
            Fault::Crossed(a, b, at) => {
                let touched = self.wires.is_empty() || self.wires.contains(&a) || self.wires.contains(&b);
                touched && self.is_open(harness, at)
            }
            Fault::PartShort(part)
            | Fault::StuckReleased(part)
            | Fault::StuckOperated(part)
            | Fault::CoilOpen(part)
            | Fault::Dead(part)
            | Fault::Flat(part) => self.parts.contains(&part),
        }
    }

    fn handled(&self, harness: &Harness, element: Element) -> bool {
        match element {
            Element::Wire(wire) => self.wires.contains(&wire),
            Element::Termination(wire, side) | Element::SpliceLeg(wire, side) => {
                let end = harness.wires[wire].ends[usize::from(side)];
                self.points.contains(&end) || self.at_opened(harness, end)
            }
            Element::Mated(a, b) => [a, b].into_iter().any(|id| {
                self.is_open(harness, harness.contacts[id].connector)
                    || self.points.contains(&Point::Contact(id))
            }),
            Element::Bond(terminal) => self.points.contains(&Point::Terminal(terminal)),
            Element::Part(part) => self.parts.contains(&part),
        }
    }

    fn at_opened(&self, harness: &Harness, point: Point) -> bool {
        matches!(point, Point::Contact(id) if self.opened.contains(&harness.contacts[id].connector))
    }

    /// Both halves of a mating are open where one is.
    fn is_open(&self, harness: &Harness, connector: ConnectorId) -> bool {
        self.opened.contains(&connector)
            || harness.mate_of(connector).is_some_and(|mate| self.opened.contains(&mate))
    }

    fn opened_between(&self, harness: &Harness, a: WireId, b: WireId) -> bool {
        let at = |wire: WireId| {
            harness.wires[wire].ends.into_iter().filter_map(|end| match end {
                Point::Contact(id) => Some(harness.contacts[id].connector),
                _ => None,
            })
        };
        at(a).any(|connector| self.opened.contains(&connector) && at(b).any(|other| other == connector))
    }

    fn matings(&self, harness: &Harness) -> BTreeSet<MatingId> {
        let ends = self.wires.iter().flat_map(|wire| harness.wires[*wire].ends);
        let at = ends.chain(self.points.iter().copied()).filter_map(|point| match point {
            Point::Contact(id) => Some(harness.contacts[id].connector),
            _ => None,
        });
        at.chain(self.opened.iter().copied()).filter_map(|id| harness.connectors[id].mating).collect()
    }

    /// The nodes where the work was.
    fn nodes(&self, harness: &Harness) -> Vec<usize> {
        let parts = self.parts.iter().flat_map(|part| harness.parts[*part].kind.points());
        let ends = self.wires.iter().flat_map(|wire| harness.wires[*wire].ends);
        self.points.iter().copied().chain(ends).chain(parts).map(|point| harness.point_index(point)).collect()
    }
}

/// Makes the plan that proves a repair.
///
/// # Errors
/// The parts that keep switching, if the machine never settles in a setup the plan needs.
pub fn after(
    harness: &Harness,
    netlist: &Netlist,
    touched: &Touched,
    meters: impl Into<Meters>,
) -> Result<Plan, Unsettled> {
    let meters = meters.into();
    let universe = Universe::new(harness, netlist);
    let faults: BTreeSet<Fault> =
        universe.iter().map(|(fault, _)| fault).filter(|fault| touched.can_bring(harness, *fault)).collect();
    let loads = loads_near(harness, netlist, touched);
    let mut trials = Vec::new();
    let meter = plain(&meters);
    for setup in isolated(harness, netlist, touched) {
        trials.extend(Trial::without_power(harness, netlist, (&universe, &faults), &setup, meter)?);
    }
    for (setup, parts) in &loads {
        trials.extend(Trial::with_power(
            harness,
            netlist,
            (&universe, &faults),
            (setup, parts),
            (touched, meter),
        )?);
    }
    let taken = choose(&trials, &faults);
    let mut all: Vec<Vec<Fault>> = shown(&trials);
    let phases = gather(harness, netlist, (&universe, &faults), trials, taken, meter);
    all.extend(shown(&phases));
    let numbers = Numbers::of(all.iter().flatten().copied());
    let all: Vec<Vec<u32>> = all.iter().map(|faults| numbers.all(faults)).collect();
    let bound = fewest(&all.iter().map(Vec::as_slice).collect::<Vec<_>>(), numbers.len()).bound;
    let count = phases.iter().map(|trial| trial.rows.len()).sum::<usize>();
    let scope = Scope::default();
    let mut builder = Builder::new(harness, netlist, &scope, meters.clone(), Aids::default());
    builder.ask_about(faults.iter().copied(), bound.min(count));
    for trial in phases {
        let steps = trial.steps(harness);
        let Trial { title, setup, group, .. } = trial;
        builder.add(Draft { title, setup, look: Look::Given(steps), group: Some(group) })?;
    }
    let closing = Draft { title: "As found again", setup: as_found(harness), look: Look::Close, group: None };
    builder.add(closing)?;
    let mut plan = builder.finish();
    let whole = super::plan(harness, netlist, &scope, meters)?;
    plan.before = before(harness, touched, &plan, &whole);
    plan.function_check.splice(0..0, functions(harness, &loads));
    if plan.function_check.is_empty() {
        plan.function_check.push("What the harness feeds works as it did before the fault.".to_owned());
    }
    Ok(plan)
}

/// What each reading shows of the faults that the plan is about.
fn shown(trials: &[Trial]) -> Vec<Vec<Fault>> {
    trials.iter().flat_map(|trial| &trial.rows).map(|row| row.shows.clone()).collect()
}

/// What the plan is, and what it leaves out.
fn before(harness: &Harness, touched: &Touched, plan: &Plan, whole: &Plan) -> Vec<String> {
    let (steps, all) = (plan.steps().count(), whole.steps().count());
    let mut lines = vec![
        format!(
            "This plan proves a repair: {} faults that the work can have brought about, in what was made new, beside \
             it, and in each contact that was opened for it.",
            plan.coverage.faults
        ),
        format!(
            "It takes {steps} readings; the plan of the whole machine has {all}. Left out is what shows none of these \
             faults: the work did not touch it. An older fault elsewhere is not looked for here."
        ),
    ];
    if !plan.coverage.undetected.is_empty() {
        lines.push(format!(
            "{} of these faults no reading shows for sure; each is named at the end with the reason. Look at what was \
             made new, tug it, and try the function.",
            plan.coverage.undetected.len()
        ));
    }
    let crowded = touching(harness).crowded;
    for trunk in
        crowded.iter().filter(|id| touched.wires.iter().any(|wire| harness.wires[*wire].route.contains(id)))
    {
        lines.push(format!(
            "Trunk {} holds so many wires that pairs are not named: read the touched wires against the chassis, and look \
             along it.",
            harness.trunks[*trunk].id
        ));
    }
    lines
}

/// The plain meter at hand; the usual one where there is none.
fn plain(meters: &Meters) -> Meter {
    let reads = |meter: &&Meter| {
        meter.can(Kind::Voltage) && meter.can(Kind::Continuity) && meter.can(Kind::Isolation)
    };
    meters.iter().find(reads).copied().unwrap_or(Meter::HANDHELD)
}

/// Setups without power that come into question: what was opened is open; what leads into units beside it too; the
/// same with what was opened plugged in again; and all plugs off.
fn isolated(harness: &Harness, netlist: &Netlist, touched: &Touched) -> BTreeSet<Setup> {
    let near = touched.matings(harness);
    let opened: BTreeSet<MatingId> =
        touched.opened.iter().filter_map(|id| harness.connectors[*id].mating).collect();
    let circuits: BTreeSet<&String> =
        touched.wires.iter().filter_map(|wire| harness.wires[*wire].circuit.as_ref()).collect();
    let mut around = near.clone();
    for circuit in circuits {
        let scope = Scope { circuit: Some(circuit.clone()), ..Scope::default() };
        around.extend(plugs::parted(harness, netlist, &scope));
    }
    let all: BTreeSet<MatingId> = harness.matings.ids().collect();
    let without = |set: &BTreeSet<MatingId>| set.difference(&opened).copied().collect::<BTreeSet<_>>();
    let sets = [near.clone(), without(&near), without(&around), around, without(&all), all];
    sets.iter().map(|parted| with_parted(parted).into()).collect()
}

/// So many loads are looked at for a reading under load.
const LOADS: usize = 6;

/// The nearest loads, by the setup in which each works.
fn loads_near(harness: &Harness, netlist: &Netlist, touched: &Touched) -> Vec<(Setup, Vec<PartId>)> {
    let mut seen: BTreeSet<usize> = touched.nodes(harness).into_iter().collect();
    let mut open: VecDeque<usize> = seen.iter().copied().collect();
    let chassis = netlist.chassis();
    seen.insert(chassis);
    let mut loads: Vec<PartId> = Vec::new();
    while let Some(node) = open.pop_front() {
        if loads.len() >= LOADS {
            break;
        }
        for (link, other) in netlist.links_at(node) {
            if let Link::Part(part, _) = netlist.link(link)
                && works(&harness.parts[part].kind)
                && !loads.contains(&part)
            {
                loads.push(part);
            }
            if seen.insert(other) {
                open.push_back(other);
            }
        }
    }
    let mut by_setup: BTreeMap<Setup, Vec<PartId>> = BTreeMap::new();
    for load in loads {
        if let Some(setup) = part_works(harness, netlist, load) {
            by_setup.entry(setup).or_default().push(load);
        }
    }
    by_setup.into_iter().collect()
}

fn works(kind: &PartKind) -> bool {
    matches!(
        kind,
        PartKind::Load { kind: LoadKind::Motor | LoadKind::Lamp | LoadKind::Coil, .. }
            | PartKind::Relay { .. }
    )
}

/// What must work at the end.
fn functions(harness: &Harness, loads: &[(Setup, Vec<PartId>)]) -> Vec<String> {
    let mut checks = Vec::new();
    for (setup, parts) in loads {
        let set = setup
            .set()
            .map(|(s, at)| format!("{} at {}", harness.parts[s].id, position_name(harness, s, at)));
        let words: Vec<String> =
            set.chain(setup.conditions().map(|c| harness.conditions[c].title.clone())).collect();
        let with = if words.is_empty() { "all switches at rest".to_owned() } else { words.join(", ") };
        for part in parts {
            let part = &harness.parts[*part];
            checks.push(format!(
                "{} {} works with {with}, and stops with them back.",
                part.kind.word(),
                part.id
            ));
        }
    }
    checks
}

/// Beyond so many plugs nobody tries to leave each of them in.
const SHRUNK: usize = 80;

/// The setups with the readings that were taken: no plug is off that could stay in, and no setup stands for readings
/// that another takes too.
fn gather(
    harness: &Harness,
    netlist: &Netlist,
    about: (&Universe, &BTreeSet<Fault>),
    trials: Vec<Trial>,
    taken: Vec<BTreeSet<usize>>,
    meter: Meter,
) -> Vec<Trial> {
    let mut phases: Vec<Trial> = Vec::new();
    for (mut trial, rows) in trials.into_iter().zip(taken) {
        keep(&mut trial, &rows);
        if !trial.rows.is_empty() {
            phases.push(trial);
        }
    }
    merge(harness, netlist, about, &mut phases, meter);
    for phase in phases.iter_mut().filter(|phase| phase.group == 0) {
        shrink(harness, netlist, about, phase, meter);
    }
    merge(harness, netlist, about, &mut phases, meter);
    // In its new place a reading may show more than it did.
    let mut taken: Vec<BTreeSet<usize>> =
        phases.iter().map(|phase| (0..phase.rows.len()).collect()).collect();
    thin(&phases, &mut taken, about.1);
    for (phase, rows) in phases.iter_mut().zip(taken) {
        keep(phase, &rows);
    }
    phases.retain(|phase| !phase.rows.is_empty());
    let mut joined: Vec<Trial> = Vec::new();
    for phase in phases {
        match joined.iter_mut().find(|known| known.setup == phase.setup) {
            Some(known) => known.rows.extend(phase.rows),
            None => joined.push(phase),
        }
    }
    joined
}

/// Only these readings.
fn keep(trial: &mut Trial, rows: &BTreeSet<usize>) {
    let mut number = 0..;
    trial.rows.retain(|_| number.next().is_some_and(|at: usize| rows.contains(&at)));
}

/// Takes readings of one setup in another one, where they show there what they show here.
fn merge(
    harness: &Harness,
    netlist: &Netlist,
    about: (&Universe, &BTreeSet<Fault>),
    phases: &mut Vec<Trial>,
    meter: Meter,
) {
    let mut at = 0;
    while at < phases.len() {
        let here = &phases[at];
        let into =
            (0..phases.len()).filter(|other| *other != at && phases[*other].group == 0 && here.group == 0);
        let fit = into.filter_map(|other| {
            Some((other, here.moved(harness, netlist, about, (&phases[other].setup, meter))?))
        });
        if let Some((other, moved)) = fit.min_by(|a, b| a.1.seconds.total_cmp(&b.1.seconds)) {
            phases[other].rows.extend(moved.rows);
            phases.remove(at);
        } else {
            at += 1;
        }
    }
}

/// Leaves plugs in that need not be off, the dearest first.
fn shrink(
    harness: &Harness,
    netlist: &Netlist,
    about: (&Universe, &BTreeSet<Fault>),
    phase: &mut Trial,
    meter: Meter,
) {
    let mut parted: BTreeSet<MatingId> = phase.setup.parted().collect();
    if parted.len() > SHRUNK {
        return;
    }
    let mut order: Vec<MatingId> = parted.iter().copied().collect();
    let effort = |id: &MatingId| harness.matings[*id].unplug.unwrap_or(usual(Effort::Plug)).get();
    order.sort_by(|a, b| effort(b).total_cmp(&effort(a)).then(a.cmp(b)));
    for mating in order {
        parted.remove(&mating);
        let setup: Setup = with_parted(&parted).into();
        match phase.moved(harness, netlist, about, (&setup, meter)) {
            Some(fewer) => *phase = fewer,
            None => {
                parted.insert(mating);
            }
        }
    }
    if parted.is_empty() {
        phase.title = "Without power, all plugged in";
    }
}

/// The readings to take of each trial: each time the one that shows most that is new for its time and what its setup
/// costs; then without those that the others make idle; and at least one under load.
fn choose(trials: &[Trial], faults: &BTreeSet<Fault>) -> Vec<BTreeSet<usize>> {
    let mut taken: Vec<BTreeSet<usize>> = vec![BTreeSet::new(); trials.len()];
    let mut left = faults.clone();
    loop {
        let mut best: Option<(f64, usize)> = None;
        // Whole setups are weighed first: a setup is worth what all its readings show.
        for (at, trial) in trials.iter().enumerate() {
            let shown: BTreeSet<Fault> = trial
                .rows
                .iter()
                .flat_map(|row| row.shows.iter().copied())
                .filter(|f| left.contains(f))
                .collect();
            if shown.is_empty() {
                continue;
            }
            let open = if taken[at].is_empty() { trial.seconds } else { 0.0 };
            let worth = shown.len() as f64 / (open + READING_SECONDS.get() * shown.len() as f64);
            // A setup that shows little is dear by itself; equals go to the first.
            if best.is_none_or(|(most, _)| worth > most) {
                best = Some((worth, at));
            }
        }
        let Some((_, at)) = best else { break };
        take(&trials[at], &mut taken[at], &mut left);
    }
    thin(trials, &mut taken, faults);
    under_load(trials, &mut taken);
    taken
}

/// Takes readings of one setup until they show all of what is left that it can show.
fn take(trial: &Trial, taken: &mut BTreeSet<usize>, left: &mut BTreeSet<Fault>) {
    loop {
        let gain = |row: &Row| row.shows.iter().filter(|fault| left.contains(fault)).count();
        let best = trial.rows.iter().enumerate().map(|(at, row)| (gain(row), std::cmp::Reverse(at))).max();
        let Some((1.., std::cmp::Reverse(at))) = best else { return };
        taken.insert(at);
        for fault in &trial.rows[at].shows {
            left.remove(fault);
        }
    }
}

/// Drops readings all of whose faults others show too, in the dearest setups first.
fn thin(trials: &[Trial], taken: &mut [BTreeSet<usize>], faults: &BTreeSet<Fault>) {
    let mut count: BTreeMap<Fault, usize> = faults.iter().map(|fault| (*fault, 0)).collect();
    for (trial, rows) in trials.iter().zip(taken.iter()) {
        for fault in rows.iter().flat_map(|at| &trial.rows[*at].shows) {
            *count.entry(*fault).or_default() += 1;
        }
    }
    let mut order: Vec<usize> = (0..trials.len()).collect();
    order.sort_by(|a, b| trials[*b].seconds.total_cmp(&trials[*a].seconds).then(a.cmp(b)));
    for at in order {
        for row in taken[at].clone() {
            let shows = &trials[at].rows[row].shows;
            if trials[at].rows[row].loaded <= 0.0 && shows.iter().all(|fault| count[fault] > 1) {
                for fault in shows {
                    *count.entry(*fault).or_default() -= 1;
                }
                taken[at].remove(&row);
            }
        }
    }
}

/// A pass on continuity is no proof of what a joint carries: the reading with the most loss along what was touched is
/// taken too, in a setup that is used anyway where there is one.
fn under_load(trials: &[Trial], taken: &mut [BTreeSet<usize>]) {
    let loaded = |at: usize, row: &usize| trials[at].rows[*row].loaded > 0.0;
    if taken.iter().enumerate().any(|(at, rows)| rows.iter().any(|row| loaded(at, row))) {
        return;
    }
    let mut best: Option<((f64, bool), usize, usize)> = None;
    for (at, trial) in trials.iter().enumerate() {
        for (row, reading) in trial.rows.iter().enumerate().filter(|(_, row)| row.loaded > 0.0) {
            let key = (reading.loaded, !taken[at].is_empty());
            if best.is_none_or(|((most, used), ..)| (key.1, key.0) > (used, most)) {
                best = Some((key, at, row));
            }
        }
    }
    if let Some((_, at, row)) = best {
        taken[at].insert(row);
    } else if taken.iter().zip(trials).all(|(rows, trial)| trial.group == 0 || rows.is_empty())
        && let Some((at, trial)) = trials.iter().enumerate().find(|(_, trial)| trial.group == 1)
        && !trial.rows.is_empty()
    {
        // No probe gets to both sides of it under load: then the load itself must have its voltage.
        taken[at].insert(0);
    }
}
