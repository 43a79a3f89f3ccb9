//! Where the machine and the person can stand next, and what can be read there.
//!
//! Setups follow each other in stages: as found; as the complaint has it, with power; without power, with
//! more and more plugs off; with power again and plugs off; and all mated once more. No step leads back to
//! an earlier stage, so every jump in a plan leads forward, whatever was read.

use std::collections::{BTreeMap, BTreeSet};

use super::hypotheses::Hypothesis;
use super::setting::Setting;
use super::shown::{Set, of_machines};
use crate::circuit::{Change, Way};
use crate::definition::{ConnectorId, Harness, Kind, MatingId, PartKind, Point, StationId};
use crate::measure::{Expectation, Measurement, Meter, Prediction, Situation};
use crate::netlist::{Link, Netlist};
use crate::plan::as_found;
use crate::plan::trip;
use crate::setup::{Action, Connected, Isolated, Power, READING_SECONDS, Setup};

/// The most points that are probed in thought with power, and without: there every pair is a reading.
const POINTS: [usize; 2] = [96, 26];
/// The most plugs near what is left that are thought of.
const PLUGS: usize = 6;
/// Time to lay out a lead from one station to another: common practice, no source.
const LONG_LEAD: f64 = 60.0;

/// From this voltage on a point is not dead.
const DEAD: f64 = 0.5;

/// How far a plan has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Stage {
    Found,
    Complaint,
    Isolated,
    Open,
    Again,
}

/// A setup's place in the order of a plan.
pub(super) type Order = (Stage, usize, Vec<MatingId>, usize);

/// A setup with the readings that were thought of in it.
pub(super) struct Scene<'a> {
    pub stage: Stage,
    pub situation: Situation<'a>,
    rows: BTreeMap<Measurement, Row>,
}

/// A reading, with what every hypothesis makes it show.
pub(super) struct Row {
    pub expect: Expectation,
    healthy: Prediction,
    way: Way,
    /// The same through the units that are connected.
    through: Option<(Way, Prediction)>,
    /// By hypothesis; none yet where it was not asked.
    shows: Vec<Option<Set>>,
}

impl Scene<'_> {
    pub(super) fn setup(&self) -> &Setup {
        &self.situation.setup
    }

    pub(super) fn order(&self) -> Order {
        let parted: Vec<MatingId> = self.setup().parted().collect();
        (self.stage, parted.len(), parted, self.setup().set().len())
    }

    pub(super) fn row(&self, measurement: &Measurement) -> Option<&Row> {
        self.rows.get(measurement)
    }

    /// What a hypothesis makes a reading show; as expected where it was never asked.
    pub(super) fn shows(&self, measurement: &Measurement, hypothesis: usize) -> Set {
        self.rows.get(measurement).and_then(|row| row.shows[hypothesis]).unwrap_or(Set::GOOD)
    }

    /// Puts hypotheses into the machine for readings that were not asked of them yet. Cost: a low-rank
    /// change for each hypothesis that is new to one of the readings.
    pub(super) fn ask(
        &mut self,
        measurements: &[Measurement],
        hypotheses: &[Hypothesis],
        standing: &[usize],
        meter: &Meter,
    ) {
        for measurement in measurements {
            if !self.rows.contains_key(measurement) {
                let row = Row::new(&self.situation, measurement, meter, hypotheses.len());
                self.rows.insert(measurement.clone(), row);
            }
        }
        for at in standing.iter().copied() {
            if measurements.iter().any(|m| self.rows.get(m).is_some_and(|row| row.shows[at].is_none())) {
                self.put(measurements, at, &hypotheses[at].changes);
            }
        }
    }

    fn put(&mut self, measurements: &[Measurement], at: usize, changes: &[Change]) {
        let machines = self.situation.solve(changes);
        let through = self.situation.solve_through_units(changes);
        for measurement in measurements {
            let Some(row) = self.rows.get_mut(measurement) else { continue };
            let Row { way, healthy, expect, .. } = &*row;
            let mut set = of_machines(&self.situation, &machines, way, measurement, *healthy, expect);
            if let (Some(machine), Some((way, healthy))) = (&through, &row.through) {
                let machines = std::slice::from_ref(machine);
                let least = of_machines(&self.situation, machines, way, measurement, *healthy, expect);
                set = set.spanned(least);
            }
            row.shows[at] = Some(set);
        }
    }
}

impl Row {
    fn new(situation: &Situation<'_>, measurement: &Measurement, meter: &Meter, hypotheses: usize) -> Self {
        let through = situation.healthy_through_units().map(|machine| {
            let way = situation.way(machine, measurement);
            let healthy = situation.read_along(machine, &way, measurement.kind());
            (way, healthy)
        });
        Self {
            expect: situation.expect(measurement, meter),
            healthy: situation.predict_healthy(measurement),
            way: situation.way(situation.healthy(), measurement),
            through,
            shows: vec![None; hypotheses],
        }
    }
}

/// All setups that were thought of.
pub(super) struct Scenes<'a> {
    pub harness: &'a Harness,
    pub netlist: &'a Netlist,
    /// The setup of the complaint.
    pub complaint: Connected,
    pub all: Vec<Scene<'a>>,
    /// By stage too: the machine as found may be as the complaint has it. `None`: it never settles.
    known: BTreeMap<(Stage, Setup), Option<usize>>,
}

impl<'a> Scenes<'a> {
    pub(super) fn new(harness: &'a Harness, netlist: &'a Netlist, setting: &Setting) -> Self {
        let complaint = match &setting.setup {
            Setup::Connected(complaint) => complaint.clone(),
            Setup::Isolated(isolated) => isolated.clone().connect(),
            Setup::Strapped(strapped) => strapped.clone().clear().connect(),
        };
        let (all, known) = (Vec::new(), BTreeMap::new());
        Self { harness, netlist, complaint, all, known }
    }

    /// The scene of a setup, made when it is first asked for; none where the machine never settles in it.
    pub(super) fn scene(&mut self, stage: Stage, setup: &Setup) -> Option<usize> {
        if let Some(known) = self.known.get(&(stage, setup.clone())) {
            return *known;
        }
        let made = Situation::new(self.harness, self.netlist, setup).ok().map(|situation| {
            self.all.push(Scene { stage, situation, rows: BTreeMap::new() });
            self.all.len() - 1
        });
        self.known.insert((stage, setup.clone()), made);
        made
    }

    /// The setups that may follow a scene, with their stages; with at most one more plug off, or with several.
    pub(super) fn after(&self, scene: usize, near: &[MatingId], several: bool) -> Vec<(Stage, Setup)> {
        let here = &self.all[scene];
        let parted: BTreeSet<MatingId> = here.setup().parted().collect();
        let sets = if several { several_off(&parted, near) } else { one_off(&parted, near) };
        let mut all = Vec::new();
        if here.stage == Stage::Found {
            all.push((Stage::Found, here.setup().clone()));
        }
        if here.stage <= Stage::Complaint {
            all.push((Stage::Complaint, self.complaint.clone().into()));
        }
        if here.stage <= Stage::Isolated {
            all.extend(self.isolated(&sets).map(|setup| (Stage::Isolated, setup)));
        }
        if here.stage <= Stage::Open {
            let open = sets.iter().filter(|set| !set.is_empty());
            let open = open.map(|set| part(self.complaint.clone().isolate(self.harness), set));
            let open = open.map(|isolated| self.powered(isolated));
            all.extend(open.map(|setup| (Stage::Open, setup)));
        }
        let order = here.order();
        all.retain(|(stage, setup)| {
            let set: Vec<MatingId> = setup.parted().collect();
            (*stage, set.len(), set, setup.set().len()) >= order
        });
        all
    }

    /// Without power: the plugs that are off and some more, the switches at rest and as the complaint has them.
    fn isolated(&self, sets: &[BTreeSet<MatingId>]) -> impl Iterator<Item = Setup> {
        let dead = self.complaint.clone().isolate(self.harness);
        let moved = Setup::from(dead.clone()).set().len() > 0;
        sets.iter().flat_map(move |set| {
            let rest = Setup::from(part(Isolated::at_rest(), set));
            let moved = moved.then(|| Setup::from(part(dead.clone(), set)));
            std::iter::once(rest).chain(moved)
        })
    }

    /// Power back on, with the switches and conditions of the complaint.
    pub(super) fn powered(&self, isolated: Isolated) -> Setup {
        let setup = Setup::from(self.complaint.clone());
        setup.conditions().fold(isolated.connect(), Connected::bring).into()
    }

    /// Time to get from one scene to another, and the station where one ends up.
    pub(super) fn change(
        &self,
        from: usize,
        to: usize,
        station: Option<StationId>,
    ) -> (f64, Option<StationId>) {
        let [from, to] = [from, to].map(|at| self.all[at].setup());
        let (actions, enters) = trip::way(self.harness, (from, station), to);
        let seconds = actions.into_iter().map(|action| action.seconds(self.harness).get()).sum();
        (seconds, enters)
    }

    /// Time to walk to a reading and take it, and the station where one ends up.
    pub(super) fn reading(
        &self,
        here: Option<StationId>,
        measurement: &Measurement,
    ) -> (f64, Option<StationId>) {
        let harness = self.harness;
        let reach = |s: Option<StationId>| s.map_or(0.0, |id| Action::GoTo(id).seconds(harness).get());
        let [red, black] = [measurement.red(), measurement.black()].map(|p| harness.station_of(p));
        let there = red.or(black);
        let mut seconds = READING_SECONDS.get();
        if there.is_some() && there != here {
            seconds += reach(there);
        }
        if red.is_some() && black.is_some() && red != black {
            seconds += LONG_LEAD + reach(black);
        }
        (seconds, there.or(here))
    }
}

/// The machine as found, before anything was moved.
pub(super) fn found(harness: &Harness) -> Setup {
    as_found(harness)
}

/// The plugs that are off, and one more of those that are near.
fn one_off(parted: &BTreeSet<MatingId>, near: &[MatingId]) -> Vec<BTreeSet<MatingId>> {
    let more = near.iter().map(|mating| with(parted, &[*mating]));
    std::iter::once(parted.clone()).chain(more).collect()
}

/// The plugs that are off, and two of those that are near, or all.
fn several_off(parted: &BTreeSet<MatingId>, near: &[MatingId]) -> Vec<BTreeSet<MatingId>> {
    let mut sets: Vec<BTreeSet<MatingId>> = near.windows(2).map(|pair| with(parted, pair)).collect();
    if near.len() > 2 {
        sets.push(with(parted, near));
    }
    sets
}

fn with(parted: &BTreeSet<MatingId>, more: &[MatingId]) -> BTreeSet<MatingId> {
    parted.iter().chain(more).copied().collect()
}

fn part(setup: Isolated, plugs: &BTreeSet<MatingId>) -> Isolated {
    plugs.iter().fold(setup, |setup, mating| setup.part(*mating))
}

/// The nodes that a hypothesis touches.
fn nodes_of(situation: &Situation<'_>, changes: &[Change]) -> Vec<usize> {
    let netlist = situation.netlist;
    let mut nodes = Vec::new();
    for change in changes {
        match *change {
            Change::Open(link) | Change::Added(link, _) => nodes.extend(netlist.ends(link)),
            Change::Joined(a, b, _) => nodes.extend([a, b]),
            Change::Stuck { relay: part, .. } | Change::Dead(part) => {
                nodes.extend(netlist.links_of(part).flat_map(|link| netlist.ends(link)));
            }
        }
    }
    nodes
}

/// The matings at what is left, those of the likeliest first: where its links end, beyond splices too. A
/// connector that is marked as a hazard stays closed.
pub(super) fn plugs_near(
    scenes: &Scenes<'_>,
    scene: usize,
    hypotheses: &[Hypothesis],
    standing: &[usize],
) -> Vec<MatingId> {
    let Scenes { harness, netlist, .. } = *scenes;
    let marked = |id: ConnectorId| harness.connectors[id].hazard.is_some();
    let mut near: Vec<MatingId> = Vec::new();
    for at in standing {
        for node in nodes_of(&scenes.all[scene].situation, &hypotheses[*at].changes) {
            for contact in contacts_near(netlist, node) {
                let Point::Contact(id) = contact else { continue };
                let Some(mating) = harness.connectors[harness.contacts[id].connector].mating else {
                    continue;
                };
                let both = &harness.matings[mating];
                if !near.contains(&mating) && !marked(both.first) && !marked(both.second) {
                    near.push(mating);
                }
            }
        }
    }
    near.retain(|mating| !scenes.all[scene].setup().is_parted(*mating));
    near.truncate(PLUGS);
    near
}

/// A node's own contact, or those that a splice leads to.
fn contacts_near(netlist: &Netlist, node: usize) -> Vec<Point> {
    let mut seen = BTreeSet::from([node]);
    let mut open = vec![node];
    let mut found = Vec::new();
    while let Some(node) = open.pop() {
        match netlist.point(node) {
            Point::Splice(_) => {
                let wires = netlist.links_at(node);
                let wires = wires.filter(|(link, _)| matches!(netlist.link(*link), Link::Wire(_)));
                open.extend(wires.map(|(_, other)| other).filter(|other| seen.insert(*other)));
            }
            point => found.push(point),
        }
    }
    found
}

/// The readings worth thinking of in a scene.
pub(super) fn measurements(
    scene: &Scene<'_>,
    hypotheses: &[Hypothesis],
    standing: &[usize],
) -> Vec<Measurement> {
    let situation = &scene.situation;
    let points = points_near(situation, hypotheses, standing);
    let mut all = BTreeSet::new();
    if situation.setup.power() == Power::Isolated {
        let chassis = situation.harness.has_chassis().then_some(Point::Chassis);
        for (at, red) in points.iter().enumerate() {
            for black in points[at + 1..].iter().copied().chain(chassis) {
                all.extend(resistance(situation, *red, black));
            }
        }
    } else {
        let returns = returns(situation);
        for red in &points {
            for black in returns.iter().copied().chain(partners(situation, *red)) {
                // The red probe goes to the higher side.
                let volts = situation.healthy().volts_between(situation.node(*red), situation.node(black));
                if volts > -DEAD {
                    all.extend(situation.measure(Kind::Voltage, *red, black));
                }
            }
        }
    }
    all.into_iter().collect()
}

/// A resistance reading of the kind that fits: continuity where something joins the two points.
fn resistance(situation: &Situation<'_>, red: Point, black: Point) -> Option<Measurement> {
    let [a, b] = [red, black].map(|p| situation.node(p));
    let kind = if situation.healthy().joined(a, b) { Kind::Continuity } else { Kind::Isolation };
    let same_net = situation.nets.of(a) == situation.nets.of(b);
    if !same_net && situation.relies_on_unit(red, black).is_some() {
        return None;
    }
    situation.measure(kind, red, black).ok()
}

/// The points on the nets of what is left that a probe can touch. Of the ground net only terminals, and what
/// a hypothesis touches itself.
fn points_near(situation: &Situation<'_>, hypotheses: &[Hypothesis], standing: &[usize]) -> Vec<Point> {
    let netlist = situation.netlist;
    let ground = situation.nets.of(netlist.chassis());
    let powered = situation.setup.power() == Power::Connected;
    let mut nets = Vec::new();
    let mut touched = BTreeSet::new();
    for at in standing {
        for node in nodes_of(situation, &hypotheses[*at].changes) {
            touched.insert(node);
            let net = situation.nets.of(node);
            if !nets.contains(&net) {
                nets.push(net);
            }
        }
    }
    let mut points = Vec::new();
    for net in nets {
        for node in situation.nets.members(net) {
            let point = netlist.point(*node);
            let inside = !powered && situation.harness.unit_behind(point).is_some();
            let wanted = net != ground || matches!(point, Point::Terminal(_)) || touched.contains(node);
            if !inside
                && wanted
                && point != Point::Chassis
                && situation.setup.can_probe(situation.harness, point)
            {
                points.push(point);
            }
        }
    }
    points.truncate(POINTS[usize::from(!powered)]);
    points
}

/// Where the black probe goes for a voltage: the chassis, and the negative posts.
fn returns(situation: &Situation<'_>) -> Vec<Point> {
    let minus = crate::setup::batteries(situation.harness).filter_map(|battery| {
        match situation.harness.parts[battery].kind {
            PartKind::Battery { minus, .. } => Some(minus),
            _ => None,
        }
    });
    situation.harness.has_chassis().then_some(Point::Chassis).into_iter().chain(minus).collect()
}

/// The other contacts of a point's own connector where a part sits, and the other ends of parts at the point:
/// a reading across a load, a coil, a fuse or a supply and its return.
fn partners(situation: &Situation<'_>, point: Point) -> Vec<Point> {
    let harness = situation.harness;
    let mut partners: Vec<Point> = Vec::new();
    if let Point::Contact(id) = point {
        let contact = &harness.contacts[id];
        let both = [Some(id), contact.mate].into_iter().flatten();
        for own in both {
            let mine = |other: &Point| match *other {
                Point::Contact(other) => {
                    harness.contacts[other].connector == harness.contacts[own].connector && other != own
                }
                _ => false,
            };
            for part in harness.parts_at(Point::Contact(own)) {
                let ends = across(&harness.parts[part].kind, Point::Contact(own));
                // On the side of the plug that is probed.
                let here = ends.into_iter().filter(mine).filter_map(|end| match end {
                    Point::Contact(end) if own != id => harness.contacts[end].mate.map(Point::Contact),
                    end => Some(end),
                });
                partners.extend(here);
            }
        }
    }
    for part in harness.parts_at(point) {
        partners.extend(across(&harness.parts[part].kind, point));
    }
    partners.retain(|p| *p != point && situation.setup.can_probe(harness, *p));
    partners.sort_unstable();
    partners.dedup();
    partners
}

/// The points of a part between which a voltage tells something, as seen from one of them.
fn across(kind: &PartKind, from: Point) -> Vec<Point> {
    match kind {
        PartKind::Load { between, .. } => between.to_vec(),
        PartKind::Relay { coil, .. } if coil.contains(&from) => coil.to_vec(),
        PartKind::Battery { plus, minus, .. } | PartKind::Alternator { plus, minus, .. } => {
            vec![*plus, *minus]
        }
        PartKind::Unit { functions } => {
            let mine = functions.iter().filter(|f| f.points().any(|p| p == from) && f.ground != Some(from));
            mine.filter_map(|f| f.ground).collect()
        }
        _ => Vec::new(),
    }
}
