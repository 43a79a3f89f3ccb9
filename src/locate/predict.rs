//! What a reading would be with a fault, and whether what was read contradicts it.

use std::collections::BTreeMap;

use super::{Judged, Out};
use crate::circuit::{Change, Operating};
use crate::definition::Harness;
use crate::fault::{Fault, Universe};
use crate::measure::{Measurement, Meter, OPEN_FROM, Prediction, Reading, Situation};
use crate::netlist::{LinkId, Netlist};
use crate::setup::{Power, Setup};
use crate::units::{Ohms, Volts};

/// Predictions differ from the truth by the tolerances of parts and by the meter: a resistance by this
/// share, and this many ohms (leads and counts).
const OHMS_SHARE: f64 = 0.35;
const OHMS_MORE: f64 = 0.6;
/// A voltage by this share, and this many volts.
const VOLTS_SHARE: f64 = 0.10;
const VOLTS_MORE: f64 = 0.5;

/// A bad joint adds one resistance to all readings alike; which, is not known. So it is weighed in bands
/// of a decade each, in ohms from [`HIGH_FROM`](crate::fault::HIGH_FROM) up, and stands while one band
/// explains everything.
pub(super) const BANDS: [f64; 6] = [2.0, 20.0, 200.0, 2e3, 2e4, 2e5];
const DECADE: f64 = 10.0;

/// A fault, with its band if it is a bad joint.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Hypothesis {
    pub fault: Fault,
    pub band: Option<usize>,
}

impl Hypothesis {
    /// All hypotheses of a fault.
    pub(super) fn of(fault: Fault) -> impl Iterator<Item = Self> {
        let bands = if matches!(fault, Fault::High(_)) { 0..BANDS.len() } else { 0..0 };
        let plain = (!matches!(fault, Fault::High(_))).then_some(Self { fault, band: None });
        plain.into_iter().chain(bands.map(move |band| Self { fault, band: Some(band) }))
    }
}

/// Solves faulty machines, each only once.
pub(super) struct Predictor<'a> {
    harness: &'a Harness,
    netlist: &'a Netlist,
    universe: &'a Universe,
    situations: &'a BTreeMap<Setup, Situation<'a>>,
    /// Solved machines by setup and changes; faults of one link share theirs. Several solutions where
    /// the changed machine never settles: each round of its loop.
    solved: BTreeMap<(&'a Setup, Vec<ChangeKey>), Vec<Operating>>,
}

/// A change as a key: links and nodes are what tells changes apart.
type ChangeKey = (u8, usize, usize);

fn key(change: &Change) -> ChangeKey {
    match *change {
        Change::Open(link) => (0, link.index(), 0),
        Change::Added(link, ohms) => (1, link.index(), ohms.get().to_bits() as usize),
        Change::Joined(a, b, _) => (2, a, b),
        Change::Stuck { relay, operated } => (3, crate::definition::Id::index(relay), usize::from(operated)),
        Change::Dead(part) => (4, crate::definition::Id::index(part), 0),
    }
}

impl<'a> Predictor<'a> {
    pub(super) fn new(
        harness: &'a Harness,
        netlist: &'a Netlist,
        universe: &'a Universe,
        situations: &'a BTreeMap<Setup, Situation<'a>>,
    ) -> Self {
        Self { harness, netlist, universe, situations, solved: BTreeMap::new() }
    }

    /// Whether a reading contradicts a hypothesis.
    pub(super) fn contradicts(&mut self, hypothesis: Hypothesis, at: usize, reading: &Judged) -> Option<Out> {
        let range = self.range(hypothesis, &reading.measurement)?;
        if admits(&range, reading) {
            return None;
        }
        Some(Out { reading: at, predicted: range.high })
    }

    /// What a reading would be with a fault, from the least to the most: a bad joint has a band of
    /// resistances, and a machine that never settles several states. `None` for an unknown setup.
    pub(super) fn range(&mut self, hypothesis: Hypothesis, measurement: &Measurement) -> Option<Range> {
        let situation = self.situations.get(measurement.setup())?;
        let healthy = situation.predict_healthy(measurement);
        let Some(band) = hypothesis.band else {
            let changes = self.universe.changes(self.harness, self.netlist, hypothesis.fault);
            let [low, high] = self.changed(situation, measurement, &changes);
            return Some(Range { healthy, low, high });
        };
        let mut added = |ohms: f64| {
            let elements = hypothesis.fault.elements();
            let links = elements.iter().flat_map(|element| self.universe.links(*element).iter().copied());
            let changes: Vec<Change> = links.map(|link| Change::Added(link, Ohms::new(ohms))).collect();
            self.changed(situation, measurement, &changes)
        };
        let ([a, b], [c, d]) = (added(BANDS[band]), added(BANDS[band] * DECADE));
        Some(Range {
            healthy,
            low: lesser(lesser(a, b), lesser(c, d)),
            high: greater(greater(a, b), greater(c, d)),
        })
    }

    /// The least and the most a reading would be; they differ on a machine that never settles.
    fn changed(
        &mut self,
        situation: &'a Situation<'a>,
        measurement: &Measurement,
        changes: &[Change],
    ) -> [Prediction; 2] {
        let isolated = situation.setup.power() == Power::Isolated;
        let one = match changes {
            [Change::Open(link)] if isolated => situation.predict_open(measurement, *link),
            [Change::Added(link, ohms)] if isolated => situation.predict_added(measurement, *link, *ohms),
            [Change::Dead(_)] if isolated => situation.predict_healthy(measurement),
            // Opening what carries nothing changes nothing.
            [Change::Open(link)] if self.is_idle(situation, *link) => situation.predict_healthy(measurement),
            _ => return self.solved(situation, measurement, changes),
        };
        [one, one]
    }

    fn solved(
        &mut self,
        situation: &'a Situation<'a>,
        measurement: &Measurement,
        changes: &[Change],
    ) -> [Prediction; 2] {
        let keys: Vec<ChangeKey> = changes.iter().map(key).collect();
        let rounds = self.solved.entry((&situation.setup, keys)).or_insert_with(|| situation.solve(changes));
        let readings: Vec<Prediction> = rounds.iter().map(|o| situation.read(o, measurement)).collect();
        match readings[..] {
            [] => [situation.predict_healthy(measurement); 2],
            [one] => [one, one],
            _ => unsteady(&readings),
        }
    }

    fn is_idle(&self, situation: &Situation<'_>, link: LinkId) -> bool {
        !situation.healthy().conducts(link) && self.netlist.link(link).is_conductor()
    }
}

/// What a reading would be: healthy, and with the fault from the least to the most.
#[derive(Debug, Clone, Copy)]
pub(super) struct Range {
    pub healthy: Prediction,
    pub low: Prediction,
    pub high: Prediction,
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

fn lesser(a: Prediction, b: Prediction) -> Prediction {
    if number(b) < number(a) { b } else { a }
}

fn greater(a: Prediction, b: Prediction) -> Prediction {
    if number(b) > number(a) { b } else { a }
}

/// Whether a reading can be what the fault makes it.
fn admits(range: &Range, reading: &Judged) -> bool {
    let kind = reading.measurement.kind();
    let shows = |p: Prediction| reading.expect.excludes(p, kind, &Meter::HANDHELD);
    // A good reading says nothing against a fault that would not show in it.
    if reading.good && !(shows(range.low) && shows(range.high)) {
        return true;
    }
    // A bad reading is not explained by a fault that changes nothing in it.
    if !reading.good && same(range.healthy, range.low) && same(range.healthy, range.high) {
        return false;
    }
    near(range.low, range.high, reading.value)
}

fn same(a: Prediction, b: Prediction) -> bool {
    match (a, b) {
        (Prediction::Open, Prediction::Open) => true,
        (Prediction::Ohms(a), Prediction::Ohms(b)) => (a - b).abs() <= 0.05 * a.abs().max(b.abs()) + 0.01,
        (Prediction::Volts(a), Prediction::Volts(b)) => (a - b).abs() <= 0.02 * a.abs().max(b.abs()) + 0.05,
        _ => false,
    }
}

/// Whether a value lies between two predictions, within tolerance.
fn near(low: Prediction, high: Prediction, value: Reading) -> bool {
    let (low, high) = (number(low), number(high));
    match value {
        Reading::Open => high >= OPEN_FROM.get() * 0.5,
        Reading::Tone => low <= Meter::HANDHELD.beeps_below.get() * 2.0,
        Reading::Ohms(ohms) => {
            let ohms = ohms.get();
            ohms >= low - OHMS_SHARE * low.min(1e12) - OHMS_MORE
                && ohms <= high + OHMS_SHARE * high.min(1e12) + OHMS_MORE
                || low >= OPEN_FROM.get() && ohms >= OPEN_FROM.get() * 0.5
        }
        Reading::Volts(volts) => {
            let volts = volts.get();
            volts >= low - VOLTS_SHARE * low.abs() - VOLTS_MORE
                && volts <= high + VOLTS_SHARE * high.abs() + VOLTS_MORE
        }
    }
}

/// A prediction in words.
pub(super) fn words(prediction: Prediction) -> String {
    match prediction {
        Prediction::Open => "open".to_owned(),
        Prediction::Ohms(ohms) => Ohms::new(ohms).to_string(),
        // What a voltmeter cannot show is nothing.
        Prediction::Volts(volts) if volts.abs() < 0.005 => "0 V".to_owned(),
        Prediction::Volts(volts) => Volts::new(volts).to_string(),
    }
}
