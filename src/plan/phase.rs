//! Building a plan: its phases are chosen first, then put in order, then numbered and costed.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use super::aids::{self, Aided, Aids};
use super::bounds::Compared;
use super::caps;
use super::cover::{Shows, tries};
use super::fewest::{Fewest, fewest};
use super::hands::{Hands, OneByOne};
use super::hidden::{Hidden, Reason, Search, Uncover};
use super::instrument::{Choice, Fit, Meters};
use super::numbers::Numbers;
use super::plugs::{self, SwitchSetups};
use super::select::{Selection, Wanted, paths, readable, switches};
use super::soonest::Shown;
use super::trip::{self, Best, Round, Stop, Walked};
use super::{
    Cost, Coverage, Draft, LeftOut, Look, Phase, Plan, Scope, Step, as_found, caution, stages, stated,
    with_parted,
};
use crate::circuit::Unsettled;
use crate::definition::{Harness, Kind, MatingId, PartId, StationId};
use crate::fault::{Fault, Universe};
use crate::measure::{Measurement, Situation};
use crate::netlist::{Element, Netlist};
use crate::setup::{Action, Isolated, Power, READING_SECONDS, Setup};
use crate::units::Seconds;

/// Collects phases, puts them in order and adds up what they cost and cover.
pub(super) struct Builder<'a> {
    harness: &'a Harness,
    netlist: &'a Netlist,
    scope: &'a Scope,
    /// The machine before the first phase.
    start: Setup,
    meters: Meters,
    hands: &'a dyn Hands,
    universe: Universe,
    ready: Vec<Ready<'a>>,
    left_out: Vec<LeftOut>,
    /// What the steps so far would show with a plain meter: numbers hang on that alone.
    shown: Shown,
    /// Every fault by number; what follows is marked by it.
    numbers: Numbers,
    covered: Vec<bool>,
    /// What a plain meter would show, but none of those at hand.
    out_of_hand: Vec<bool>,
    /// Faults of nets that the scope asks for, or those that the plan is about.
    in_scope: Vec<bool>,
    /// Whether the plan is about some faults, whatever nets there are.
    asked: bool,
    cost: Cost,
    compared: Option<Compared>,
    aids: Aids,
    aided: Option<Aided>,
    /// Whether every group of phases is a stage, with all that belongs to it.
    staged: bool,
    /// Phases with power in which no fault is tried.
    untried: usize,
}

/// A phase of which is known what is read, but not yet when.
struct Ready<'a> {
    draft: Draft,
    situation: Situation<'a>,
    selection: Selection,
}

/// A phase with its place in the order.
struct Numbered<'a> {
    id: usize,
    ready: Ready<'a>,
    steps: Vec<Step>,
    /// For each step, the numbers of the faults that it shows.
    shows: Vec<Vec<u32>>,
}

impl<'a> Builder<'a> {
    pub(super) fn new(
        harness: &'a Harness,
        netlist: &'a Netlist,
        scope: &'a Scope,
        meters: Meters,
        aids: Aids,
    ) -> Self {
        let universe = Universe::new(harness, netlist);
        let mut weights: Vec<(Fault, f64)> = universe.iter().collect();
        weights.sort_by_key(|(fault, _)| *fault);
        let numbers = Numbers::of(weights.iter().map(|(fault, _)| *fault));
        Self {
            harness,
            netlist,
            scope,
            start: as_found(harness),
            meters,
            hands: &OneByOne,
            shown: Shown::new(weights),
            universe,
            ready: Vec::new(),
            left_out: Vec::new(),
            covered: numbers.unmarked(),
            out_of_hand: numbers.unmarked(),
            in_scope: numbers.unmarked(),
            numbers,
            asked: false,
            cost: Cost::default(),
            compared: None,
            aids,
            aided: None,
            staged: false,
            untried: 0,
        }
    }

    /// The same with somebody to share the work.
    pub(super) fn with_hands(self, hands: &'a dyn Hands) -> Self {
        Self { hands, ..self }
    }

    /// Takes a draft up, unless there is nothing to read in its setup. Drafts of one setup become one phase.
    pub(super) fn add(&mut self, draft: Draft) -> Result<(), Unsettled> {
        let closing = matches!(draft.look, Look::Close);
        if closing && self.is_idle(&draft.setup, self.ready.iter()) {
            return Ok(());
        }
        let asked = draft.setup.clone();
        let draft = self.without_idle_switches(draft)?;
        let switches = matches!(draft.look, Look::Switches);
        if switches && draft.setup != asked {
            // What cannot be read after all need not be closed: how few setups could do is not known then.
            self.cost.switch_setups_bound = self.cost.switch_setups_bound.min(1);
        }
        let alike = |ready: &Ready<'_>| ready.draft.setup == draft.setup && ready.draft.group == draft.group;
        let same = self.ready.iter().position(|ready| !closing && alike(ready));
        if let Some(same) = same {
            let mut more = self.select(&self.ready[same].situation, &draft.look);
            if matches!(draft.look, Look::Aided(_)) {
                // Read without a strap after all: it counts once, among the readings of this phase.
                more.bound = more.chosen.len().min(self.cost.steps_bound);
                self.cost.steps_bound -= more.bound;
            }
            self.cost.switch_setups += usize::from(switches && !more.chosen.is_empty());
            self.ready[same].selection.join(more);
            return Ok(());
        }
        let situation = Situation::new(self.harness, self.netlist, &draft.setup)?;
        let mut selection = self.select(&situation, &draft.look);
        self.cost.switch_setups += usize::from(switches && !selection.chosen.is_empty());
        let given = matches!(draft.look, Look::Given(_));
        if !closing && !given && selection.chosen.is_empty() {
            return Ok(());
        }
        let group = draft.group;
        let (mut to_close, mut aided) = (Vec::new(), Vec::new());
        if matches!(draft.look, Look::Paths) {
            to_close = self.switch_setups(&situation, &selection);
            aided = self.aid(&situation, &mut selection);
        }
        if !self.asked && !matches!(draft.look, Look::Aided(_) | Look::Given(_)) {
            self.note_scope(&situation);
        }
        // Where straps stand for every reading, none is left to take without.
        if closing || given || !selection.chosen.is_empty() {
            self.ready.push(Ready { draft, situation, selection });
        }
        aided.into_iter().try_for_each(|draft| self.add(Draft { group, ..draft }))?;
        for setup in to_close {
            let title = "Switch contacts, without power";
            let group = group.filter(|_| self.staged);
            self.add(Draft { title, setup, look: Look::Switches, group })?;
        }
        Ok(())
    }

    /// The machine before the first phase, for a plan in which every group of phases is a stage.
    pub(super) fn start_from(&mut self, start: Setup) {
        self.start = start;
        self.staged = true;
    }

    /// What the plan is about, where no scope says it, and the fewest steps that could do.
    pub(super) fn ask_about(&mut self, faults: impl IntoIterator<Item = Fault>, steps_bound: usize) {
        let faults: Vec<Fault> = faults.into_iter().collect();
        Numbers::mark(&self.numbers.all(&faults), &mut self.in_scope);
        self.asked = true;
        self.cost.steps_bound = steps_bound;
    }

    /// Whether nothing is ever changed.
    fn is_idle<'r>(&self, last: &Setup, phases: impl IntoIterator<Item = &'r Ready<'a>>) -> bool
    where
        'a: 'r,
    {
        self.start == *last && phases.into_iter().all(|ready| *ready.situation.setup == *last)
    }

    /// Lets straps and loopback plugs stand for some readings: the phases that they need.
    fn aid(&mut self, situation: &Situation<'_>, selection: &mut Selection) -> Vec<Draft> {
        if !self.aids.any() {
            return Vec::new();
        }
        let trial = aids::Trial::new(situation, &self.universe, &self.meters);
        let (drafts, summary) = trial.aid(self.aids, selection);
        self.cost.steps_bound += summary.bound;
        self.aided = Some(summary);
        drafts
    }

    /// The setups that close the switch contacts which can be read while paths are.
    fn switch_setups(&mut self, situation: &Situation<'_>, selection: &Selection) -> Vec<Setup> {
        self.compared = Compared::of(situation, selection.chosen.iter().map(|chosen| &chosen.measurement));
        let parted: BTreeSet<MatingId> = situation.setup.parted().collect();
        let contacts = readable(situation, self.scope);
        let SwitchSetups { setups, fewest } =
            plugs::switch_setups(self.harness, self.netlist, &parted, &contacts);
        self.cost.switch_setups_bound = fewest;
        setups
    }

    /// A draft in which only those switches are moved of which a contact is read.
    fn without_idle_switches(&self, mut draft: Draft) -> Result<Draft, Unsettled> {
        if matches!(draft.look, Look::Switches) {
            let situation = Situation::new(self.harness, self.netlist, &draft.setup)?;
            let selection = self.select(&situation, &draft.look);
            let read: BTreeSet<PartId> = selection.chosen.iter().filter_map(|chosen| chosen.moved).collect();
            let parted = draft.setup.parted().collect();
            let moves = draft.setup.set().filter(|(switch, _)| read.contains(switch));
            draft.setup = moves
                .fold(with_parted(&parted), |setup, (switch, at)| setup.set(self.harness, switch, at))
                .into();
        }
        Ok(draft)
    }

    fn select(&self, situation: &Situation<'_>, look: &Look) -> Selection {
        match look {
            Look::Paths => {
                let mut selection = paths(situation, self.scope);
                if self.scope.is_whole() {
                    selection.join(Selection::of(stated::limits(situation)));
                }
                selection
            }
            Look::Switches => switches(situation, self.scope),
            Look::Sources => Selection::of(stated::sources(situation, self.scope)),
            Look::Supplies(pairs) => Selection::of(stated::supplies(situation, pairs)),
            Look::Limits => Selection::of(stated::limits(situation)),
            Look::Aided(asked) => aids::selection(situation, asked),
            Look::Wires => Selection::of(stages::wires(situation)),
            Look::UnitPlugs => Selection::of(stages::unit_plugs(situation)),
            Look::Functions(parts) => Selection::of(stages::across_loads(situation, parts)),
            Look::Given(_) | Look::Close => Selection::default(),
        }
    }

    /// Which faults this phase's setup puts into the scope: those of elements on wanted nets.
    fn note_scope(&mut self, situation: &Situation<'_>) {
        let wanted = Wanted::new(situation, self.scope);
        let touches = |fault: Fault| {
            fault.elements().into_iter().any(|element| match (fault, element) {
                (Fault::Short(..) | Fault::ToChassis(_) | Fault::Crossed(..), Element::Wire(wire)) => {
                    wanted.short(situation, wire)
                }
                _ => self.universe.links(element).iter().any(|link| wanted.link(situation, *link)),
            })
        };
        for (fault, marked) in self.numbers.iter().zip(&mut self.in_scope).filter(|(_, marked)| !**marked) {
            *marked = touches(fault);
        }
    }

    /// Turns the chosen readings into numbered steps: by station, and within a station what finds the likeliest
    /// faults soonest. What no meter at hand may serve is left out and keeps its number.
    fn steps(&mut self, phase: usize, ready: &mut Ready<'_>, walked: &Walked) -> (Vec<Step>, Vec<Vec<u32>>) {
        if let Look::Given(steps) = &mut ready.draft.look {
            let at_hand = |step: &Step| self.meters.iter().any(|meter| meter.name == step.expect.meter.name);
            let (steps, out): (Vec<Step>, Vec<Step>) =
                numbered(phase, std::mem::take(steps)).into_iter().partition(at_hand);
            for Step { id, measurement, expect, covers, .. } in out {
                let why = format!("it needs the {} meter", expect.meter.name);
                self.left_out.push(LeftOut { id, measurement, why });
                Numbers::mark(&self.numbers.all(&covers), &mut self.out_of_hand);
            }
            let shows: Vec<Vec<u32>> = steps.iter().map(|step| self.numbers.all(&step.covers)).collect();
            self.note(&shows);
            return (steps, shows);
        }
        let mut chosen = std::mem::take(&mut ready.selection.chosen);
        chosen.sort_by(|a, b| a.measurement.cmp(&b.measurement));
        let tried = chosen.is_empty() || tries(&ready.situation, &self.universe);
        self.untried += usize::from(!tried);
        let measurements: Vec<Measurement> = chosen.iter().map(|chosen| chosen.measurement.clone()).collect();
        let choice = Choice::new(&ready.situation, &self.universe, &self.meters, &measurements, self.hands);
        let order = order(self.harness, &mut self.shown, &measurements, &choice, walked);
        let plain = self.meters == Meters::default();
        let (mut served, mut shown) = (Vec::new(), Vec::new());
        for (number, at) in order.into_iter().enumerate() {
            let id = format!("{phase}.{:02}", number + 1);
            let measurement = measurements[at].clone();
            let mut fit = choice.usual(at).clone();
            if !plain {
                Numbers::mark(&fit.shows.numbers, &mut self.out_of_hand);
                match choice.pick(at) {
                    Ok(picked) => fit = picked,
                    Err(why) => {
                        self.left_out.push(LeftOut { id, measurement, why });
                        continue;
                    }
                }
            }
            let Fit { expect, shows: Shows { faults: covers, numbers } } = fit;
            let station = station_of(self.harness, &measurement);
            let purpose = chosen[at].purpose.clone();
            let outcomes = Vec::new();
            served.push(Step { id, measurement, expect, station, covers, purpose, outcomes });
            shown.push(numbers);
        }
        self.cost.steps_bound += ready.selection.bound.min(served.len());
        self.note(&shown);
        (served, shown)
    }

    /// Takes note of what some steps show.
    fn note(&mut self, steps: &[Vec<u32>]) {
        self.cost.steps += steps.len();
        for shows in steps {
            Numbers::mark(shows, &mut self.covered);
        }
    }

    /// The plan: the phases in order, with their walks, coverage, cost and bounds.
    pub(super) fn finish(mut self) -> Plan {
        let found = self.start.clone();
        let hidden_from = self.search_setup();
        let ready = std::mem::take(&mut self.ready);
        let stops: Vec<Stop> = ready.iter().map(|ready| ready.stop(self.harness)).collect();
        let closes = ready.last().is_some_and(Ready::closes);
        let best = trip::best(self.harness, &found, &stops, closes);
        let whole = |at: &usize| (&stops[*at].setup, vec![stops[*at].stations.clone()]);
        let way: Vec<(&Setup, Vec<Round>)> = best.order.iter().map(whole).collect();
        let walked = trip::walk(self.harness, (&found, None), &way);
        let mut ready: Vec<Option<Ready<'_>>> = ready.into_iter().map(Some).collect();
        let mut numbered: Vec<Numbered<'_>> = Vec::new();
        for (number, (at, walked)) in best.order.iter().zip(&walked).enumerate() {
            let Some(mut ready) = ready[*at].take() else { continue };
            let (steps, shows) = self.steps(number + 1, &mut ready, walked);
            let idle = || self.is_idle(&ready.draft.setup, numbered.iter().map(|phase| &phase.ready));
            let stays = if ready.closes() { !idle() } else { !steps.is_empty() };
            if stays {
                numbered.push(Numbered { id: number + 1, ready, steps, shows });
            }
        }
        let best = if self.left_out.is_empty() { best } else { self.best_of_served(&found, &numbered) };
        let phases = self.phases(&found, numbered, &best);
        let undetected = self.undetected(&hidden_from);
        let faults = self.in_scope.iter().filter(|marked| **marked).count();
        Plan {
            cautions: caution::throughout(self.harness, &self.meters),
            before: caution::before(self.harness, &phases),
            function_check: caution::function_check(self.harness, &phases),
            coverage: Coverage {
                faults,
                detected: faults - undetected.len(),
                undetected,
                untried: self.untried,
            },
            cost: self.cost,
            // Straps have their own figures.
            compared: self.compared.filter(|_| self.aided.is_none()),
            meters: self.meters,
            left_out: self.left_out,
            aided: self.aided,
            start: found,
            phases,
            complaint: None,
            stages: Vec::new(),
        }
    }

    /// The bounds for the phases and stations that are left when some readings cannot be served.
    fn best_of_served(&self, found: &Setup, numbered: &[Numbered<'_>]) -> Best {
        let stop = |phase: &Numbered<'_>| Stop {
            stations: phase.steps.iter().filter_map(|step| step.station).collect(),
            ..phase.ready.stop(self.harness)
        };
        let stops: Vec<Stop> = numbered.iter().map(stop).collect();
        trip::best(self.harness, found, &stops, numbered.last().is_some_and(|phase| phase.ready.closes()))
    }

    /// The phases with what leads to each, and what all that costs.
    fn phases(&mut self, found: &Setup, numbered: Vec<Numbered<'_>>, best: &Best) -> Vec<Phase> {
        let rounds = |phase: &Numbered<'_>| -> Vec<Round> {
            let stations = phase.steps.chunk_by(|a, b| a.station == b.station);
            stations.map(|here| here[0].station.into_iter().collect()).collect()
        };
        let way: Vec<(&Setup, Vec<Round>)> =
            numbered.iter().map(|phase| (&*phase.ready.situation.setup, rounds(phase))).collect();
        let walked = trip::walk(self.harness, (found, None), &way);
        let shows: Vec<&[u32]> = numbered.iter().flat_map(|phase| &phase.shows).map(Vec::as_slice).collect();
        let Fewest { cover, bound } = fewest(&shows, self.numbers.len());
        (self.cost.cover, self.cost.cover_bound) = (cover, bound);
        let mut phases: Vec<Phase> = Vec::new();
        for (Numbered { id, ready, steps, .. }, Walked { actions, walks, .. }) in
            numbered.into_iter().zip(walked)
        {
            let time =
                |actions: &[Action]| -> Seconds { actions.iter().map(|a| a.seconds(self.harness)).sum() };
            let seconds = time(&actions) + time(&walks) + READING_SECONDS * steps.len() as f64;
            self.cost.changes += actions.iter().filter(|c| !matches!(c, Action::GoTo(_))).count();
            self.cost.seconds = self.cost.seconds + seconds;
            let live = caps::live(&ready.situation);
            let mut cautions = caution::of_phase(&ready.situation, &actions, &live);
            cautions.extend(aids::cautions(&actions, &ready.draft.setup));
            cautions.extend(caution::of_meters(&steps));
            if steps.is_empty() {
                cautions.extend(caution::of_close(&ready.situation));
            }
            let Draft { title, setup, group, .. } = ready.draft;
            phases.push(Phase { id, title, setup, group, changes: actions, cautions, live, steps, seconds });
        }
        self.cost.changes_bound = best.changes;
        let readings = READING_SECONDS * self.cost.steps_bound as f64;
        self.cost.seconds_bound = Seconds::new(best.millis as f64 / 1000.0) + readings;
        phases
    }

    /// The setup that what is hidden is seen from: without power, most plugs off, switches at rest.
    fn search_setup(&self) -> Setup {
        let setups = self.ready.iter().map(|ready| &*ready.situation.setup);
        let isolated = setups.filter(|setup| setup.power() == Power::Isolated);
        let most = isolated.rev().max_by_key(|setup| (setup.parted().len(), Reverse(setup.set().len())));
        most.map_or_else(|| Isolated::at_rest().into(), Setup::bare)
    }

    /// What no step shows, seen from the setup in which paths are read.
    fn undetected(&self, setup: &Setup) -> Vec<(Fault, Hidden)> {
        // Without power nothing switches, so every machine settles.
        let Ok(situation) = Situation::new(self.harness, self.netlist, setup) else { return Vec::new() };
        let mut search = Search::new(&situation, &self.universe);
        let marks = self.in_scope.iter().zip(&self.covered).zip(&self.out_of_hand);
        let faults = self.numbers.iter().zip(marks).filter(|(_, ((asked, shown), _))| **asked && !**shown);
        let why = |(fault, (_, out_of_hand)): (Fault, (_, &bool))| {
            let of_meter = Hidden { reason: Reason::OutOfHand, uncover: Some(Uncover::PlainMeter) };
            (fault, if *out_of_hand { of_meter } else { search.hidden(fault) })
        };
        faults.map(why).collect()
    }
}

impl Ready<'_> {
    fn closes(&self) -> bool {
        matches!(self.draft.look, Look::Close)
    }

    fn stop(&self, harness: &Harness) -> Stop {
        let given = match &self.draft.look {
            Look::Given(steps) => steps.as_slice(),
            _ => &[],
        };
        let chosen = self.selection.chosen.iter().map(|chosen| &chosen.measurement);
        let read = chosen.chain(given.iter().map(|step| &step.measurement));
        let stations = read.filter_map(|measurement| station_of(harness, measurement));
        Stop {
            setup: Setup::clone(&self.situation.setup),
            stations: stations.collect(),
            group: self.draft.group,
            early: matches!(self.draft.look, Look::Sources) && self.draft.group.is_none(),
        }
    }
}

/// Steps that were chosen elsewhere, with the numbers that they do not have yet.
fn numbered(phase: usize, mut steps: Vec<Step>) -> Vec<Step> {
    for (at, step) in steps.iter_mut().enumerate().filter(|(_, step)| step.id.is_empty()) {
        step.id = format!("{phase}.{:02}", at + 1);
    }
    steps
}

/// The order of the readings of a phase, by what a plain meter shows.
fn order(
    harness: &Harness,
    shown: &mut Shown,
    measurements: &[Measurement],
    choice: &Choice<'_>,
    walked: &Walked,
) -> Vec<usize> {
    let covers: Vec<&[u32]> =
        (0..measurements.len()).map(|at| choice.usual(at).shows.numbers.as_slice()).collect();
    let kinds: Vec<Kind> = measurements.iter().map(Measurement::kind).collect();
    let mut stations: BTreeMap<Option<StationId>, Vec<usize>> = BTreeMap::new();
    for (at, measurement) in measurements.iter().enumerate() {
        stations.entry(station_of(harness, measurement)).or_default().push(at);
    }
    let seconds = |station: StationId, readings: usize| {
        (Action::GoTo(station).seconds(harness) + READING_SECONDS * readings as f64).get()
    };
    shown.order(stations, [walked.enters, walked.leaves], &covers, &kinds, seconds)
}

/// Where one stands to take a reading: at the red probe, or else at the black one.
fn station_of(harness: &Harness, measurement: &Measurement) -> Option<StationId> {
    harness.station_of(measurement.red()).or(harness.station_of(measurement.black()))
}
