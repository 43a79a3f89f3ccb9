//! What a reading would be with a fault, and whether what was read contradicts it.

use std::collections::BTreeMap;

use super::hypothesis::Hypothesis;
use super::memory::Memory;
use crate::circuit::{Change, ChangeKey, Corner, Lean, Operating, Way};
use crate::measure::{Expectation, Measurement, Meter, OPEN_FROM, Prediction, Reading, Situation};
use crate::netlist::{LinkId, Netlist};
use crate::setup::Power;
use crate::units::{Ohms, Volts};

/// Predictions differ from the truth by the tolerances of parts and by the meter: a resistance by this
/// share, and this many ohms (leads and counts).
const OHMS_SHARE: f64 = 0.35;
const OHMS_MORE: f64 = 0.6;
/// A voltage by this share, and this many volts.
const VOLTS_SHARE: f64 = 0.10;
const VOLTS_MORE: f64 = 0.5;

/// What a reading would be: healthy, and with the fault from the least to the most, give or take `slack`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Range {
    pub healthy: Prediction,
    pub low: Prediction,
    pub high: Prediction,
    pub slack: f64,
    /// Whether the fault changes nothing in the reading.
    pub unchanged: bool,
}

impl Range {
    fn of(healthy: Prediction, one: Prediction) -> Self {
        Self { healthy, low: one, high: one, slack: 0.0, unchanged: same(healthy, one) }
    }

    /// A reading through units that are connected, beside what it is there without the fault.
    fn through(healthy: Prediction, without: Prediction, one: Prediction) -> Self {
        Self { unchanged: same(without, one), ..Self::of(healthy, one) }
    }

    /// The least and the most that is still taken for this reading.
    fn widened(&self) -> [Prediction; 2] {
        let bound = |p: Prediction, sign: f64| match p {
            Prediction::Open => Prediction::Open,
            Prediction::Ohms(x) => Prediction::Ohms((x + sign * (OHMS_SHARE * x + OHMS_MORE)).max(0.0)),
            Prediction::Volts(x) => {
                Prediction::Volts(x + sign * (VOLTS_SHARE * x.abs() + VOLTS_MORE + self.slack))
            }
        };
        [bound(self.low, -1.0), bound(self.high, 1.0)]
    }

    /// Where the reading may come to lie by tolerances, before it is taken. What a fault adds is as large as
    /// it is; only what was there before has a tolerance.
    pub(super) fn doubt(&self) -> [Prediction; 2] {
        let healthy = number(self.healthy);
        let bound = |p: Prediction, sign: f64| match p {
            Prediction::Open => Prediction::Open,
            Prediction::Ohms(x) => Prediction::Ohms((x + sign * OHMS_SHARE * x.min(healthy)).max(0.0)),
            Prediction::Volts(x) => {
                Prediction::Volts(x + sign * (VOLTS_SHARE * x.abs() + VOLTS_MORE + self.slack))
            }
        };
        [bound(self.low, -1.0), bound(self.high, 1.0)]
    }

    fn with(self, other: Self) -> Self {
        Self {
            healthy: self.healthy,
            low: if number(other.low) < number(self.low) { other.low } else { self.low },
            high: if number(other.high) > number(self.high) { other.high } else { self.high },
            slack: self.slack.max(other.slack),
            unchanged: self.unchanged && other.unchanged,
        }
    }
}

/// A setup with the readings that were or could be taken in it, and what is known of them.
pub(super) struct Scene<'a> {
    pub situation: &'a Situation<'a>,
    pub measurements: Vec<Measurement>,
    healthy: Vec<Prediction>,
    /// The ways between the probes, of the healthy machine.
    ways: Vec<Way>,
    /// The same through the units that are connected, if any are, with what is read there without a fault.
    through_units: Vec<(Way, Prediction)>,
    /// Whether tolerances are followed through the network, as readings that were taken deserve.
    exact: bool,
    /// Readings by what is changed; faults of one link share theirs. The solved machines themselves would
    /// take far more room.
    solved: BTreeMap<Vec<ChangeKey>, Vec<Range>>,
}

impl<'a> Scene<'a> {
    pub(super) fn new(situation: &'a Situation<'a>, measurements: Vec<Measurement>, exact: bool) -> Self {
        let healthy = measurements.iter().map(|m| situation.predict_healthy(m)).collect();
        let ways = measurements.iter().map(|m| situation.way(situation.healthy(), m)).collect();
        let through = |machine: &Operating| {
            let way = |m: &Measurement| {
                let way = situation.way(machine, m);
                let without = situation.read_along(machine, &way, m.kind());
                (way, without)
            };
            measurements.iter().map(way).collect()
        };
        let through_units = situation.healthy_through_units().map(through).unwrap_or_default();
        Self { situation, measurements, healthy, ways, through_units, exact, solved: BTreeMap::new() }
    }

    fn isolated(&self) -> bool {
        self.situation.setup.power() == Power::Isolated
    }

    /// What a reading would be with some things changed.
    fn changed(&mut self, netlist: &Netlist, changes: &[Change], at: usize) -> Range {
        let healthy = self.healthy[at];
        match changes {
            [] => Range::of(healthy, healthy),
            // Opening what carries nothing changes nothing.
            [Change::Open(link)] if is_idle(self.situation, netlist, *link) => Range::of(healthy, healthy),
            _ if self.is_apart(netlist, changes, at) => Range::of(healthy, healthy),
            _ => self.solve(changes)[at],
        }
    }

    /// What every reading would be with some things changed.
    fn all_changed(&mut self, netlist: &Netlist, changes: &[Change]) -> Vec<Range> {
        let idle = match changes {
            [] => true,
            [Change::Open(link)] => is_idle(self.situation, netlist, *link),
            _ => false,
        };
        if idle || (0..self.measurements.len()).all(|at| self.is_apart(netlist, changes, at)) {
            return self.healthy.iter().map(|healthy| Range::of(*healthy, *healthy)).collect();
        }
        self.solve(changes).to_vec()
    }

    /// Whether nothing that is changed hangs together with either probe. With power on everything may, by what
    /// it switches.
    fn is_apart(&self, netlist: &Netlist, changes: &[Change], at: usize) -> bool {
        if !self.isolated() {
            return false;
        }
        let [red, black] = [self.measurements[at].red(), self.measurements[at].black()];
        let probes = [red, black].map(|point| self.situation.node(point));
        let machines = [Some(self.situation.healthy()), self.situation.healthy_through_units()];
        machines.into_iter().flatten().all(|machine| {
            let islands = probes.map(|node| machine.island(node));
            let mut nodes = changes.iter().flat_map(|change| change.nodes(netlist));
            nodes.all(|node| !islands.contains(&machine.island(node)))
        })
    }

    /// Whether a bad joint of any size in these links leaves a reading as it is: where neither nothing more nor an
    /// open changes it, no resistance in between does. Saves most of the work on bad joints.
    fn is_blind_to(&mut self, netlist: &Netlist, links: &[LinkId], at: usize) -> bool {
        let open: Vec<Change> = links.iter().map(|link| Change::Open(*link)).collect();
        self.changed(netlist, &open, at).unchanged
    }

    fn solve(&mut self, changes: &[Change]) -> &[Range] {
        let key: Vec<ChangeKey> = changes.iter().map(Change::key).collect();
        if !self.solved.contains_key(&key) {
            let ranges = self.fresh(changes);
            self.solved.insert(key.clone(), ranges);
        }
        self.solved.get(&key).map_or(&[], Vec::as_slice)
    }

    fn fresh(&self, changes: &[Change]) -> Vec<Range> {
        // Voltages around a short hang on every small resistance on the way.
        let exact = self.exact || changes.iter().any(|change| matches!(change, Change::Joined(..)));
        let rounds = self.situation.solve(changes);
        let mut ranges = self.shown(&rounds, exact);
        if exact && !self.isolated() && rounds.iter().any(Operating::is_marginal) {
            for lean in Lean::OUTER {
                let rounds = self.situation.solve_at(changes, Corner::Nominal, lean);
                let other = self.shown(&rounds, exact);
                for (range, other) in ranges.iter_mut().zip(other) {
                    *range = range.with(other);
                }
            }
        }
        if let Some(least) = self.situation.solve_through_units(changes) {
            let through = self.through_units.iter().zip(&self.measurements);
            for (range, ((way, without), measurement)) in ranges.iter_mut().zip(through) {
                let one = self.situation.read_along(&least, way, measurement.kind());
                *range = range.with(Range::through(range.healthy, *without, one));
            }
        }
        ranges
    }

    /// What every reading shows on a solved machine, or on one that goes round in a loop.
    fn shown(&self, rounds: &[Operating], exact: bool) -> Vec<Range> {
        let situation = self.situation;
        let of = |at: usize| {
            let (measurement, healthy) = (&self.measurements[at], self.healthy[at]);
            let read = |o: &Operating| situation.read_along(o, &self.ways[at], measurement.kind());
            let readings: Vec<Prediction> = rounds.iter().map(read).collect();
            let [low, high] = match readings[..] {
                [] => [healthy; 2],
                [one] => [one, one],
                _ => unsteady(&readings),
            };
            let scatter = |operating| situation.scatter(operating, measurement).worst;
            // Where rounds follow each other their mean is read, and tolerances turn no voltage round.
            let slack_of_rounds = || {
                let each = rounds.iter().zip(&readings).map(|(o, p)| scatter(o).min(number(*p).abs()));
                each.sum::<f64>() / rounds.len().max(1) as f64
            };
            let powered = !self.isolated();
            let unchanged = same(healthy, low) && same(healthy, high);
            // What is not changed is held against what is healthy, which has its tolerances already.
            let follow = exact && powered && !unchanged;
            let slack = match rounds {
                _ if !follow => 0.0,
                [one] => scatter(one),
                _ => slack_of_rounds(),
            };
            Range { healthy, low, high, slack, unchanged }
        };
        (0..self.measurements.len()).map(of).collect()
    }
}

fn is_idle(situation: &Situation<'_>, netlist: &Netlist, link: LinkId) -> bool {
    !situation.healthy().conducts(link) && netlist.link(link).is_conductor()
}

/// What a reading of a scene would be with a hypothesis; `reading` is its place in the record, if it has
/// one.
pub(super) fn range(
    scene: &mut Scene<'_>,
    memory: &mut Memory<'_>,
    hypothesis: Hypothesis,
    at: usize,
    reading: Option<usize>,
) -> Range {
    let netlist = memory.netlist;
    let healthy = scene.healthy[at];
    if let Some(links) = hypothesis.bad_joint(memory.universe)
        && scene.is_blind_to(netlist, links, at)
    {
        return Range::of(healthy, healthy);
    }
    let ways = memory.ways(hypothesis, reading);
    let ranges = ways.iter().map(|changes| scene.changed(netlist, changes, at));
    ranges.reduce(Range::with).unwrap_or(Range::of(healthy, healthy))
}

/// What every reading of a scene would be with a hypothesis, after the last reading of the record: the same as
/// [`range`] for each of them, with what they share done once.
pub(super) fn ranges(scene: &mut Scene<'_>, memory: &mut Memory<'_>, hypothesis: Hypothesis) -> Vec<Range> {
    let netlist = memory.netlist;
    let blind = hypothesis.bad_joint(memory.universe).map(|links| {
        let open: Vec<Change> = links.iter().map(|link| Change::Open(*link)).collect();
        scene.all_changed(netlist, &open)
    });
    if blind.as_ref().is_some_and(|open| open.iter().all(|range| range.unchanged)) {
        return scene.healthy.iter().map(|healthy| Range::of(*healthy, *healthy)).collect();
    }
    let mut ranges: Option<Vec<Range>> = None;
    for changes in memory.ways(hypothesis, None) {
        let more = scene.all_changed(netlist, &changes);
        ranges = Some(match ranges {
            None => more,
            Some(known) => known.into_iter().zip(more).map(|(a, b)| a.with(b)).collect(),
        });
    }
    let mut ranges = ranges.unwrap_or_default();
    for ((range, open), healthy) in ranges.iter_mut().zip(blind.iter().flatten()).zip(&scene.healthy) {
        if open.unchanged {
            *range = Range::of(*healthy, *healthy);
        }
    }
    ranges
}

/// The same with every resistance at its least and at its most: exact bounds, at a full solution each.
fn bounds(
    scene: &Scene<'_>,
    memory: &mut Memory<'_>,
    hypothesis: Hypothesis,
    at: usize,
    reading: usize,
) -> Range {
    let measurement = &scene.measurements[at];
    let mut ranges = Vec::new();
    for changes in memory.ways(hypothesis, Some(reading)) {
        for corner in [Corner::Low, Corner::High] {
            for operating in scene.situation.solve_at(&changes, corner, Lean::Exact) {
                ranges.push(Range::of(scene.healthy[at], scene.situation.read(&operating, measurement)));
            }
        }
    }
    let healthy = scene.healthy[at];
    ranges.into_iter().reduce(Range::with).unwrap_or(Range::of(healthy, healthy))
}

/// A reading as it was taken and judged.
#[derive(Clone, Copy)]
pub(super) struct Taken<'a> {
    /// Its place among the judged.
    pub reading: usize,
    /// Its place in its scene.
    pub at: usize,
    pub value: Reading,
    pub expect: &'a Expectation,
    pub good: bool,
}

/// Whether a reading contradicts a hypothesis; if so, what it would have been.
pub(super) fn contradicts(
    scene: &mut Scene<'_>,
    memory: &mut Memory<'_>,
    hypothesis: Hypothesis,
    taken: Taken<'_>,
) -> Option<Range> {
    let found = range(scene, memory, hypothesis, taken.at, Some(taken.reading));
    if admits(&found, taken, scene.measurements[taken.at].kind()) {
        return None;
    }
    // Near misses without power get exact bounds before they put a fault out.
    if scene.isolated() && is_near_miss(&found, taken.value) {
        let found = Range {
            unchanged: found.unchanged,
            ..bounds(scene, memory, hypothesis, taken.at, taken.reading)
        };
        if admits(&found, taken, scene.measurements[taken.at].kind()) {
            return None;
        }
    }
    Some(found)
}

fn number(prediction: Prediction) -> f64 {
    match prediction {
        Prediction::Ohms(x) | Prediction::Volts(x) => x,
        Prediction::Open => f64::INFINITY,
    }
}

/// What a meter shows of a machine that keeps switching: about the mean, give or take a quarter of the
/// spread. It never rests at either end for long enough to be read.
fn unsteady(rounds: &[Prediction]) -> [Prediction; 2] {
    let values: Vec<f64> = rounds.iter().map(|p| number(*p)).filter(|x| x.is_finite()).collect();
    let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
    let most = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let least = values.iter().copied().fold(f64::INFINITY, f64::min);
    let quarter = if values.is_empty() { 0.0 } else { (most - least) * 0.25 };
    [Prediction::Volts(mean - quarter), Prediction::Volts(mean + quarter)]
}

/// Whether a reading can be what the fault makes it.
fn admits(range: &Range, taken: Taken<'_>, kind: crate::definition::Kind) -> bool {
    let shows = |p: Prediction| taken.expect.excludes(p, kind, &taken.expect.meter);
    // A good reading says nothing against a fault that would not show in it.
    if taken.good && !(shows(range.low) && shows(range.high)) {
        return true;
    }
    // A bad reading is not explained by a fault that changes nothing in it.
    if !taken.good && (range.unchanged || !reaches(range, taken)) {
        return false;
    }
    near(range, taken.value, &taken.expect.meter)
}

/// Whether a fault moves a reading far enough out of what is healthy. A reading that is just out of limits is
/// not explained by whatever changes it in the third digit: what is healthy, moved by what the fault does
/// and half as much again, must hold it.
fn reaches(range: &Range, taken: Taken<'_>) -> bool {
    const MORE: f64 = 1.5;
    let Some(value) = taken.value.number() else { return true };
    let healthy = number(range.healthy);
    if !healthy.is_finite() {
        return true;
    }
    let least = taken.expect.low + MORE * (number(range.low) - healthy).min(0.0) - range.slack;
    let most =
        taken.expect.high.map(|high| high + MORE * (number(range.high) - healthy).max(0.0) + range.slack);
    value >= least && most.is_none_or(|most| value <= most)
}

/// Whether two predictions are the same; they carry no noise but that of arithmetic.
fn same(a: Prediction, b: Prediction) -> bool {
    match (a, b) {
        (Prediction::Open, Prediction::Open) => true,
        (Prediction::Ohms(a), Prediction::Ohms(b)) => (a - b).abs() <= 1e-3 * a.abs().max(b.abs()) + 1e-3,
        (Prediction::Volts(a), Prediction::Volts(b)) => (a - b).abs() <= 1e-3 * a.abs().max(b.abs()) + 5e-3,
        _ => false,
    }
}

/// Whether a value lies between two predictions, within tolerance.
fn near(range: &Range, value: Reading, meter: &Meter) -> bool {
    let (low, high) = (number(range.low), number(range.high));
    match value {
        // A beeper's silence is no open: it may be silent on whatever is more than it sounds on for sure.
        Reading::Open if meter.is_tone_only() => high >= meter.beeps_between[0].get(),
        Reading::Open => high >= OPEN_FROM.get() * 0.5,
        Reading::Tone => low <= meter.beeps_between[1].get(),
        Reading::Ohms(_) | Reading::Volts(_) => {
            let value = value.number().unwrap_or_default();
            let [least, most] = range.widened().map(number);
            least <= value && value <= most || low >= OPEN_FROM.get() && value >= OPEN_FROM.get() * 0.5
        }
    }
}

/// Whether a resistance misses a prediction by so little that tolerances may be all there is to it.
fn is_near_miss(range: &Range, value: Reading) -> bool {
    let Reading::Ohms(ohms) = value else { return false };
    let (low, high) = (number(range.low), number(range.high));
    ohms.get() >= low * 0.5 - 5.0 && ohms.get() <= high * 2.0 + 5.0
}

impl Range {
    /// In words, as a meter would show it.
    pub(super) fn words(&self) -> String {
        let [low, high] = [self.low, self.high].map(words);
        if low == high { low } else { format!("{low} to {high}") }
    }
}

/// A prediction in words.
fn words(prediction: Prediction) -> String {
    match prediction {
        Prediction::Open => "open".to_owned(),
        Prediction::Ohms(ohms) => Reading::Ohms(Ohms::new(ohms)).words(),
        Prediction::Volts(volts) => Reading::Volts(Volts::new(volts)).words(),
    }
}
