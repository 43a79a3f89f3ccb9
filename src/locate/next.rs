//! The next reading: the one that tells most for the time it takes.

use std::collections::BTreeMap;

use super::predict::{Hypothesis, Predictor};
use super::{Group, Suspect, candidates};
use crate::definition::{Harness, StationId};
use crate::fault::{Fault, Universe};
use crate::measure::{Expectation, Measurement, Meter, Prediction, Situation};
use crate::netlist::Netlist;
use crate::plan::as_found;
use crate::setup::{Action, READING_SECONDS, Setup, transition};

/// More suspects than this are weighed by their likeliest alone.
const WEIGHED: usize = 160;
/// A reading is worth its time only from this much of the best reading's information.
const WORTH: f64 = 0.6;
/// Time to lay out a lead from one station to another: common practice, no source.
const LONG_LEAD: f64 = 60.0;
/// Less information than this is none.
const NOTHING: f64 = 0.01;

/// The next reading to take.
#[derive(Debug, Clone)]
pub struct Next {
    /// What to read.
    pub measurement: Measurement,
    /// What a healthy machine shows.
    pub expect: Expectation,
    /// What brings its setup about.
    pub changes: Vec<Action>,
    /// Expected information, in bits.
    pub bits: f64,
    /// Time for the changes and the reading.
    pub seconds: f64,
    /// What each outcome would leave: in words, with the share of the probability.
    pub outcomes: Vec<(String, f64, Vec<Fault>)>,
}

/// Where the machine and the person stand.
pub(super) struct Now {
    /// The setup of the last reading.
    pub setup: Option<Setup>,
    /// The station of the last reading.
    pub station: Option<StationId>,
}

/// What a reading can come out as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Outcome {
    Good,
    Low,
    High,
    Open,
    /// In or out of the healthy range, as the bad joint or the unsteady machine will have it.
    Unsteady,
}

impl Outcome {
    fn words(self, expect: &Expectation) -> String {
        match self {
            Self::Good => format!("good ({})", expect.words()),
            Self::Low => "below that".to_owned(),
            Self::High => "above that".to_owned(),
            Self::Open => "open".to_owned(),
            Self::Unsteady => "good or bad, it can be either".to_owned(),
        }
    }
}

/// Groups the suspects by what permitted readings can tell apart, and chooses the reading that tells
/// most per second among those that tell nearly as much as any.
pub(super) fn choose(
    harness: &Harness,
    netlist: &Netlist,
    universe: &Universe,
    standing: &[Suspect],
    known: &BTreeMap<Setup, Situation<'_>>,
    now: Now,
    meter: &Meter,
) -> (Vec<Group>, Option<Next>) {
    let mut suspects = standing.to_vec();
    suspects.sort_by(|a, b| b.weight.total_cmp(&a.weight).then(a.hypothesis.cmp(&b.hypothesis)));
    let weighed = &suspects[..suspects.len().min(WEIGHED)];
    let Now { setup, station: here } = now;
    let now = setup.unwrap_or_else(|| as_found(harness));
    let setups = candidates::setups(harness, netlist, universe, weighed, known.keys().cloned(), Some(&now));
    let situations: BTreeMap<Setup, Situation<'_>> = setups
        .into_iter()
        .filter_map(|setup| Situation::new(harness, netlist, &setup).ok().map(|s| (setup, s)))
        .collect();
    let mut predictor = Predictor::new(harness, netlist, universe, &situations);
    let mut signatures: Vec<Vec<Outcome>> = vec![Vec::new(); weighed.len()];
    let mut best: Vec<Candidate> = Vec::new();
    for situation in situations.values() {
        let change = READING_SECONDS.get() + seconds(harness, &now, &situation.setup);
        for measurement in candidates::measurements(situation, universe, weighed) {
            let expect = situation.expect(&measurement, meter);
            let outcomes: Vec<Outcome> = weighed
                .iter()
                .map(|suspect| outcome(&mut predictor, suspect.hypothesis, &measurement, &expect, meter))
                .collect();
            for (signature, outcome) in signatures.iter_mut().zip(&outcomes) {
                signature.push(*outcome);
            }
            let bits = information(weighed, &outcomes);
            let seconds = change + walk(harness, here, &measurement);
            if bits > NOTHING {
                best.push(Candidate { measurement, expect, outcomes, bits, seconds });
            }
        }
    }
    let groups = groups(weighed, &signatures);
    (groups, pick(harness, weighed, best, &now))
}

/// A reading that could be next.
struct Candidate {
    measurement: Measurement,
    expect: Expectation,
    outcomes: Vec<Outcome>,
    bits: f64,
    seconds: f64,
}

fn seconds(harness: &Harness, now: &Setup, setup: &Setup) -> f64 {
    transition(harness, now, setup).into_iter().map(|action| action.seconds(harness).get()).sum()
}

/// Walking to the red probe, and laying out a long lead where the black one is elsewhere.
fn walk(harness: &Harness, here: Option<StationId>, measurement: &Measurement) -> f64 {
    let reach =
        |station: Option<StationId>| station.map_or(0.0, |id| Action::GoTo(id).seconds(harness).get());
    let [red, black] = [measurement.red(), measurement.black()].map(|p| harness.station_of(p));
    let there = red.or(black);
    let mut seconds = if there == here { 0.0 } else { reach(there) };
    if red.is_some() && black.is_some() && red != black {
        seconds += LONG_LEAD + reach(black);
    }
    seconds
}

fn outcome(
    predictor: &mut Predictor<'_>,
    hypothesis: Hypothesis,
    measurement: &Measurement,
    expect: &Expectation,
    meter: &Meter,
) -> Outcome {
    let Some(range) = predictor.range(hypothesis, measurement) else { return Outcome::Unsteady };
    let shows = |p: Prediction| expect.excludes(p, measurement.kind(), meter);
    match (shows(range.low), shows(range.high)) {
        (false, false) => Outcome::Good,
        // It may or may not show: count on neither.
        (true, false) | (false, true) => Outcome::Unsteady,
        (true, true) => match range.high {
            Prediction::Open => Outcome::Open,
            Prediction::Ohms(value) | Prediction::Volts(value) if value < expect.low => Outcome::Low,
            Prediction::Ohms(_) | Prediction::Volts(_) => Outcome::High,
        },
    }
}

/// Entropy of the outcomes, in bits (Shannon 1948).
fn information(suspects: &[Suspect], outcomes: &[Outcome]) -> f64 {
    let mut shares: BTreeMap<Outcome, f64> = BTreeMap::new();
    for (suspect, outcome) in suspects.iter().zip(outcomes) {
        *shares.entry(*outcome).or_default() += suspect.weight;
    }
    let total: f64 = shares.values().sum();
    shares.values().map(|w| w / total).map(|p| -p * p.log2()).sum()
}

/// Suspects with the same outcomes everywhere stand in one group.
fn groups(suspects: &[Suspect], signatures: &[Vec<Outcome>]) -> Vec<Group> {
    let total: f64 = suspects.iter().map(|suspect| suspect.weight).sum();
    let mut found: BTreeMap<&Vec<Outcome>, Group> = BTreeMap::new();
    for (Suspect { hypothesis, weight }, signature) in suspects.iter().zip(signatures) {
        let group = found.entry(signature).or_insert_with(|| Group {
            faults: Vec::new(),
            share: 0.0,
            accused_by: Vec::new(),
        });
        group.faults.push(hypothesis.fault);
        group.share += weight / total;
    }
    let mut groups: Vec<Group> = found.into_values().collect();
    groups.sort_by(|a, b| b.share.total_cmp(&a.share).then(a.faults.cmp(&b.faults)));
    groups
}

/// Of the readings that tell nearly as much as the best, the one that tells most per second.
fn pick(harness: &Harness, suspects: &[Suspect], options: Vec<Candidate>, now: &Setup) -> Option<Next> {
    let most = options.iter().map(|o| o.bits).fold(0.0, f64::max);
    let worth = options.into_iter().filter(|o| o.bits >= most * WORTH);
    let better = |a: &Candidate, b: &Candidate| {
        (a.bits / a.seconds).total_cmp(&(b.bits / b.seconds)).then_with(|| b.measurement.cmp(&a.measurement))
    };
    let chosen = worth.max_by(better)?;
    let total: f64 = suspects.iter().map(|suspect| suspect.weight).sum();
    let mut outcomes: BTreeMap<Outcome, (f64, Vec<Fault>)> = BTreeMap::new();
    for (Suspect { hypothesis, weight }, outcome) in suspects.iter().zip(&chosen.outcomes) {
        let entry = outcomes.entry(*outcome).or_default();
        entry.0 += weight / total;
        entry.1.push(hypothesis.fault);
    }
    let words = |(outcome, (share, faults)): (Outcome, (f64, Vec<Fault>))| {
        (outcome.words(&chosen.expect), share, faults)
    };
    Some(Next {
        changes: transition(harness, now, chosen.measurement.setup()),
        outcomes: outcomes.into_iter().map(words).collect(),
        bits: chosen.bits,
        seconds: chosen.seconds,
        expect: chosen.expect,
        measurement: chosen.measurement,
    })
}
