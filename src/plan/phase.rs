//! Building a plan phase by phase.

use std::collections::{BTreeMap, BTreeSet};

use super::hidden::{Hidden, Reason, Search, Uncover};
use super::instrument::{Choice, Fit, Meters};
use super::select::{Chosen, Selection, Wanted, paths, switches};
use super::{
    Cost, Coverage, Draft, LeftOut, Look, Phase, Plan, Scope, Step, as_found, caution, stages, with_parted,
};
use crate::circuit::Unsettled;
use crate::definition::{Harness, Kind, PartId, PartKind, Point, StationId};
use crate::fault::{Fault, Universe};
use crate::measure::{Measurement, Meter, Situation};
use crate::netlist::{Element, Netlist};
use crate::setup::{Action, Isolated, Power, READING_SECONDS, Setup, plug_of, transition};
use crate::units::{Seconds, Volts};

/// From this voltage against the chassis an exposed contact counts as live: common practice.
const LIVE: f64 = 1.0;

/// Collects phases and adds up what they cost and cover.
pub(super) struct Builder<'a> {
    harness: &'a Harness,
    netlist: &'a Netlist,
    scope: &'a Scope,
    /// The machine before the first phase.
    start: Setup,
    meters: Meters,
    universe: Universe,
    phases: Vec<Phase>,
    /// The machine and the person as the phases so far leave them.
    walker: Walker,
    /// The same if a plain meter were at hand: it gives phases and steps their numbers.
    numbering: Walker,
    /// How many phases there would be with a plain meter.
    numbered: usize,
    left_out: Vec<LeftOut>,
    covered: BTreeSet<Fault>,
    /// What a plain meter would show, but none of those at hand.
    out_of_hand: BTreeSet<Fault>,
    /// Faults of nets that the scope asks for.
    in_scope: BTreeSet<Fault>,
    cost: Cost,
}

impl<'a> Builder<'a> {
    pub(super) fn new(harness: &'a Harness, netlist: &'a Netlist, scope: &'a Scope, meters: Meters) -> Self {
        Self {
            harness,
            netlist,
            scope,
            start: as_found(harness),
            meters,
            universe: Universe::new(harness, netlist),
            phases: Vec::new(),
            walker: Walker { now: as_found(harness), station: None },
            numbering: Walker { now: as_found(harness), station: None },
            numbered: 0,
            left_out: Vec::new(),
            covered: BTreeSet::new(),
            out_of_hand: BTreeSet::new(),
            in_scope: BTreeSet::new(),
            cost: Cost::default(),
        }
    }

    /// Adds a phase, unless it would have nothing to read.
    pub(super) fn phase(&mut self, draft: Draft) -> Result<(), Unsettled> {
        let closing = matches!(draft.look, Look::Close);
        if closing && self.phases.iter().all(|phase| phase.changes.is_empty()) {
            return Ok(());
        }
        let draft = self.without_idle_switches(draft)?;
        let situation = Situation::new(self.harness, self.netlist, &draft.setup)?;
        let selection = self.select(&situation, &draft.look);
        if selection.chosen.is_empty() && !closing {
            return Ok(());
        }
        self.note_scope(&situation);
        self.numbered += 1;
        let id = self.numbered;
        self.numbering.walk(self.harness, &draft.setup);
        let steps = self.steps(id, &situation, selection);
        if steps.is_empty() && !closing {
            return Ok(());
        }
        self.enter(id, draft.title, &situation, steps);
        Ok(())
    }

    /// Adds a phase whose steps are known, numbered by those who chose them.
    pub(super) fn given(&mut self, title: &'static str, situation: &Situation<'_>, steps: Vec<Step>) {
        self.numbered += 1;
        self.enter(self.numbered, title, situation, steps);
    }

    /// The machine before the first phase, where it is not as found.
    pub(super) fn start_from(&mut self, start: Setup) {
        self.walker = Walker::at(start.clone(), None);
        self.numbering = Walker::at(start.clone(), None);
        self.start = start;
    }

    /// The number that the next phase gets.
    pub(super) fn next_id(&self) -> usize {
        self.numbered + 1
    }

    /// The plain meter at hand; the usual one where there is none.
    pub(super) fn plain_meter(&self) -> Meter {
        self.meters.iter().find(|meter| meter.can(Kind::Voltage)).copied().unwrap_or(Meter::HANDHELD)
    }

    /// What the plan is about, where no scope says it.
    pub(super) fn ask_about(&mut self, faults: impl IntoIterator<Item = Fault>) {
        self.in_scope.extend(faults);
    }

    /// Closes a plan whose steps are known: the machine as it was found; and the fewest steps that could do.
    pub(super) fn close(&mut self, steps_bound: usize) -> Result<(), Unsettled> {
        self.cost.steps_bound = steps_bound.min(self.cost.steps);
        let setup = as_found(self.harness);
        if self.walker.now != setup {
            let situation = Situation::new(self.harness, self.netlist, &setup)?;
            self.given("As found again", &situation, Vec::new());
        }
        Ok(())
    }

    fn enter(&mut self, id: usize, title: &'static str, situation: &Situation<'_>, steps: Vec<Step>) {
        let setup = situation.setup.clone();
        let changes = self.walker.walk(self.harness, &setup);
        let live = live_contacts(situation);
        let mut cautions = caution::of_phase(situation, &changes, &live);
        cautions.extend(caution::of_meters(&steps));
        if steps.is_empty() {
            cautions.extend(caution::of_close(situation));
        }
        self.cost.changes += changes.iter().filter(|c| !matches!(c, Action::GoTo(_))).count();
        self.cost.seconds = self.cost.seconds + changes.iter().map(|c| c.seconds(self.harness)).sum();
        self.note_steps(&steps);
        self.phases.push(Phase { id, title, setup, changes, cautions, live, steps });
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
                add_limits(situation, self.scope, &mut selection);
                selection
            }
            Look::Switches => switches(situation, self.scope),
            Look::Sources => selection(sources(situation, self.scope)),
            Look::Supplies(pairs) => selection(supplies(situation, pairs)),
            Look::Limits => selection(limits(situation)),
            Look::Wires => selection(stages::wires(situation)),
            Look::UnitPlugs => selection(stages::unit_plugs(situation)),
            Look::Functions(parts) => selection(stages::across_loads(situation, parts)),
            Look::Close => Selection::default(),
        }
    }

    /// Which faults this phase's setup puts into the scope: those of elements on wanted nets.
    fn note_scope(&mut self, situation: &Situation<'_>) {
        let wanted = Wanted::new(situation, self.scope);
        for (fault, _) in self.universe.iter() {
            let touches = fault.elements().into_iter().any(|element| match (fault, element) {
                (Fault::Short(..) | Fault::ToChassis(_) | Fault::Crossed(..), Element::Wire(wire)) => {
                    wanted.short(situation, wire)
                }
                _ => self.universe.links(element).iter().any(|link| wanted.link(situation, *link)),
            });
            if touches {
                self.in_scope.insert(fault);
            }
        }
    }

    /// Turns the chosen readings into numbered steps: by station, the one where the person stands
    /// first; within a station what finds the likeliest faults per second first. What no meter at hand
    /// may serve is left out and keeps its number.
    fn steps(&mut self, phase: usize, situation: &Situation<'_>, selection: Selection) -> Vec<Step> {
        let measurements: Vec<Measurement> =
            selection.chosen.iter().map(|chosen| chosen.measurement.clone()).collect();
        let choice = Choice::new(situation, &self.universe, &self.meters, &measurements);
        let plain = self.meters == Meters::default();
        let weights: BTreeMap<Fault, f64> = self.universe.iter().collect();
        let mut steps: Vec<(Step, f64, usize)> = Vec::new();
        for (at, Chosen { measurement, purpose, .. }) in selection.chosen.into_iter().enumerate() {
            let Fit { expect, covers } = choice.usual(at).clone();
            let weight = covers.iter().filter_map(|fault| weights.get(fault)).sum();
            let station =
                self.harness.station_of(measurement.red()).or(self.harness.station_of(measurement.black()));
            let outcomes = Vec::new();
            let step = Step { id: String::new(), measurement, expect, station, covers, purpose, outcomes };
            steps.push((step, weight, at));
        }
        let here = self.numbering.station;
        steps.sort_by(|(a, wa, _), (b, wb, _)| {
            let key = |s: &Step| (s.station != here, s.station, s.measurement.kind());
            key(a).cmp(&key(b)).then(wb.total_cmp(wa)).then(a.measurement.cmp(&b.measurement))
        });
        self.numbering.station = steps.iter().rev().find_map(|(step, ..)| step.station).or(here);
        let mut served = Vec::new();
        for (number, (mut step, _, at)) in steps.into_iter().enumerate() {
            step.id = format!("{phase}.{:02}", number + 1);
            if !plain {
                self.out_of_hand.extend(step.covers.iter().copied());
                match choice.pick(at) {
                    Ok(fit) => (step.expect, step.covers) = (fit.expect, fit.covers),
                    Err(why) => {
                        self.left_out.push(LeftOut { id: step.id, measurement: step.measurement, why });
                        continue;
                    }
                }
            }
            served.push(step);
        }
        self.cost.steps_bound += selection.bound.min(served.len());
        served
    }

    /// Adds up what the steps of a phase cover and cost.
    fn note_steps(&mut self, steps: &[Step]) {
        self.cost.steps += steps.len();
        for step in steps {
            self.covered.extend(step.covers.iter().copied());
            self.cost.seconds = self.cost.seconds + READING_SECONDS;
            if let Some(station) = step.station
                && self.walker.station.replace(station) != Some(station)
            {
                self.cost.seconds = self.cost.seconds + Action::GoTo(station).seconds(self.harness);
            }
        }
    }

    /// The plan, with its coverage and its bounds.
    pub(super) fn finish(mut self) -> Plan {
        self.bound_changes();
        let covered: BTreeSet<Fault> = self.covered.intersection(&self.in_scope).copied().collect();
        let undetected = self.undetected(&covered);
        Plan {
            cautions: caution::throughout(self.harness, &self.meters),
            before: caution::before(self.harness, &self.phases),
            function_check: caution::function_check(self.harness, &self.phases),
            coverage: Coverage { faults: self.in_scope.len(), detected: covered.len(), undetected },
            cost: self.cost,
            meters: self.meters,
            left_out: self.left_out,
            phases: self.phases,
            complaint: None,
            stages: Vec::new(),
        }
    }

    /// What no step shows, seen from the setup in which paths are read.
    fn undetected(&self, covered: &BTreeSet<Fault>) -> Vec<(Fault, Hidden)> {
        let isolated = |phase: &&Phase| phase.setup.power() == Power::Isolated;
        // The first of those with the most plugs off: switches are still at rest there.
        let paths = self.phases.iter().rev().filter(isolated).max_by_key(|phase| phase.setup.parted().len());
        let setup = paths.map_or_else(|| Isolated::at_rest().into(), |phase| phase.setup.clone());
        // Without power nothing switches, so every machine settles.
        let Ok(situation) = Situation::new(self.harness, self.netlist, &setup) else { return Vec::new() };
        let search = Search::new(&situation, &self.universe);
        let why = |fault: Fault| {
            let out_of_hand = Hidden { reason: Reason::OutOfHand, uncover: Some(Uncover::PlainMeter) };
            if self.out_of_hand.contains(&fault) { out_of_hand } else { search.hidden(fault) }
        };
        self.in_scope.difference(covered).map(|fault| (*fault, why(*fault))).collect()
    }

    /// Each plug that is ever off is parted once and joined once; each battery's two leads come off and
    /// go back once for every time power is off between two phases with power; each phase in which a
    /// switch or a condition differs from the one before needs at least one move.
    fn bound_changes(&mut self) {
        let mut bound: Vec<Action> = Vec::new();
        let parted: BTreeSet<_> =
            self.phases.iter().flat_map(|p| p.setup.parted().collect::<Vec<_>>()).collect();
        for mating in parted {
            bound.extend((!self.start.is_parted(mating)).then_some(Action::Unplug(mating)));
            bound.push(Action::Plug(mating));
        }
        let batteries: Vec<_> = crate::setup::batteries(self.harness).collect();
        let mut before = self.start.clone();
        for phase in &self.phases {
            let rewired = !phase.setup.parted().eq(before.parted());
            let [was, is] = [before.power(), phase.setup.power()];
            let cycles = match (was, is) {
                (Power::Connected, Power::Connected) => {
                    if rewired {
                        2
                    } else {
                        0
                    }
                }
                (a, b) => usize::from(a != b),
            };
            for battery in batteries.iter().flat_map(|b| std::iter::repeat_n(*b, cycles)) {
                for post in [crate::setup::Post::Negative, crate::setup::Post::Positive] {
                    bound.push(Action::TakeOff(battery, post));
                }
            }
            for (switch, position) in phase.setup.set() {
                if before.position(self.harness, switch) != position {
                    bound.push(Action::Set(switch, position));
                }
            }
            bound.extend(phase.setup.conditions().filter(|c| !before.holds(*c)).map(Action::Bring));
            before = phase.setup.clone();
        }
        self.cost.changes_bound = bound.len();
        let changes: Seconds = bound.iter().map(|action| action.seconds(self.harness)).sum();
        self.cost.seconds_bound = changes + READING_SECONDS * self.cost.steps_bound as f64;
    }
}

/// The machine and the person as they go from phase to phase.
pub(super) struct Walker {
    /// The setup the machine is left in.
    now: Setup,
    /// Where the person stands.
    station: Option<StationId>,
}

impl Walker {
    /// The machine in a setup, with the person at a station.
    pub(super) fn at(now: Setup, station: Option<StationId>) -> Self {
        Self { now, station }
    }

    /// Where the person stands.
    pub(super) fn station(&self) -> Option<StationId> {
        self.station
    }

    /// What brings a setup about, with the walking it needs.
    pub(super) fn walk(&mut self, harness: &Harness, setup: &Setup) -> Vec<Action> {
        let mut all = Vec::new();
        for action in transition(harness, &self.now, setup) {
            if let Some(station) = station_of(harness, action)
                && self.station.replace(station) != Some(station)
            {
                all.push(Action::GoTo(station));
            }
            all.push(action);
        }
        self.now = setup.clone();
        all
    }
}

fn selection(chosen: Vec<Chosen>) -> Selection {
    Selection { bound: chosen.len(), chosen }
}

/// Where one stands to do something.
fn station_of(harness: &Harness, action: Action) -> Option<StationId> {
    match action {
        Action::GoTo(station) => Some(station),
        Action::TakeOff(part, _) | Action::PutOn(part, _) => {
            let PartKind::Battery { plus, .. } = harness.parts[part].kind else { return None };
            harness.parts[part].station.or(harness.station_of(plus))
        }
        Action::Unplug(mating) | Action::Plug(mating) => harness.connectors[plug_of(harness, mating)].station,
        Action::Set(part, _) => harness.parts[part].station,
        Action::Bring(_) | Action::End(_) => None,
    }
}

/// Exposed contacts that are live: those of open plugs, and those of connectors without a mate in which no
/// part sits.
fn live_contacts(situation: &Situation<'_>) -> Vec<(Point, Volts)> {
    let harness = situation.harness;
    if situation.setup.power() == Power::Isolated || situation.setup.parted().len() == 0 {
        return Vec::new();
    }
    let exposed = |point: &Point| {
        let Point::Contact(id) = point else { return false };
        let connector = &harness.connectors[harness.contacts[*id].connector];
        match connector.mating {
            Some(mating) => situation.setup.is_parted(mating),
            None => harness.parts_at(*point).len() == 0,
        }
    };
    let volts = |point: Point| {
        let volts = situation.healthy().volts_between(situation.node(point), situation.netlist.chassis());
        (volts.abs() >= LIVE).then_some((point, Volts::new(volts)))
    };
    harness.points().filter(exposed).filter_map(volts).collect()
}

/// Every source across its posts; for some plugs or one circuit the batteries are enough.
fn sources(situation: &Situation<'_>, scope: &Scope) -> Vec<Chosen> {
    let harness = situation.harness;
    let whole = scope.unplug.is_empty() && scope.circuit.is_none();
    let mut chosen = Vec::new();
    for part in harness.parts.values() {
        let (PartKind::Battery { plus, minus, .. } | PartKind::Alternator { plus, minus, .. }) = part.kind
        else {
            continue;
        };
        if !whole && !matches!(part.kind, PartKind::Battery { .. }) {
            continue;
        }
        if let Ok(measurement) = situation.measure(Kind::Voltage, plus, minus) {
            let purpose = format!("{} {}", part.kind.word(), part.id);
            chosen.push(Chosen { measurement, purpose, moved: None });
        }
    }
    chosen
}

/// Supplies and conditions of units at their open plugs.
fn supplies(situation: &Situation<'_>, pairs: &[[Point; 2]]) -> Vec<Chosen> {
    let take = |[red, black]: &[Point; 2]| {
        let measurement = situation.measure(Kind::Voltage, *red, *black).ok()?;
        let signal = match red {
            Point::Contact(id) => situation.harness.contacts[*id].signal.clone(),
            _ => None,
        };
        let purpose = signal.unwrap_or_else(|| "supply and return".to_owned());
        Some(Chosen { measurement, purpose, moved: None })
    };
    pairs.iter().filter_map(take).collect()
}

/// What the maker demands in this setup.
fn limits(situation: &Situation<'_>) -> Vec<Chosen> {
    let isolated = situation.setup.power() == Power::Isolated;
    let here = situation.harness.limits.iter().filter(|limit| {
        limit.kind.is_resistance() == isolated
            && limit.unplugged.iter().copied().eq(situation.setup.parted())
            && limit.set.iter().copied().eq(situation.setup.set())
            && limit.conditions.iter().copied().eq(situation.setup.conditions())
    });
    let take = |limit: &crate::definition::Limit| {
        let measurement = situation.measure(limit.kind, limit.red, limit.black).ok()?;
        Some(Chosen { measurement, purpose: limit.title.clone(), moved: None })
    };
    here.filter_map(take).collect()
}

/// Adds what the maker demands in the setup of the paths, where no reading asks for it yet.
fn add_limits(situation: &Situation<'_>, scope: &Scope, selection: &mut Selection) {
    if !scope.unplug.is_empty() || scope.circuit.is_some() {
        return;
    }
    for demanded in limits(situation) {
        if selection.chosen.iter().all(|chosen| chosen.measurement != demanded.measurement) {
            selection.bound += 1;
            selection.chosen.push(demanded);
        }
    }
}
