//! The next reading: the one that tells most for the time it takes.

use std::collections::{BTreeMap, BTreeSet};

use super::predict::{self, Range, Scene};
use super::{Group, Reader, Suspect, candidates};
use crate::definition::{Harness, Kind, Point, StationId};
use crate::fault::Fault;
use crate::measure::{Expectation, Measurement, Meter, OPEN_FROM, Prediction, Situation};
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
    /// Good or bad, as the bad joint, the fuse or the unsteady machine will have it.
    GoodOr(Bad),
}

/// The outcomes that are not good.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Bad {
    Low,
    High,
    Open,
}

impl From<Outcome> for Bad {
    fn from(outcome: Outcome) -> Self {
        match outcome {
            Outcome::Low | Outcome::GoodOr(Self::Low) => Self::Low,
            Outcome::Open | Outcome::GoodOr(Self::Open) => Self::Open,
            _ => Self::High,
        }
    }
}

impl Outcome {
    fn is_doubtful(self) -> bool {
        matches!(self, Self::GoodOr(_))
    }

    /// The sure outcomes it may be.
    fn sure(self) -> Vec<Self> {
        match self {
            Self::GoodOr(Bad::Low) => vec![Self::Good, Self::Low],
            Self::GoodOr(Bad::High) => vec![Self::Good, Self::High],
            Self::GoodOr(Bad::Open) => vec![Self::Good, Self::Open],
            one => vec![one],
        }
    }

    fn words(self, expect: &Expectation) -> String {
        match self {
            Self::Good => format!("good ({})", expect.words()),
            Self::Low => "below that".to_owned(),
            Self::High => "above that".to_owned(),
            Self::Open => "open".to_owned(),
            Self::GoodOr(_) => "good or bad".to_owned(),
        }
    }
}

/// Groups the suspects by what permitted readings can tell apart, and chooses the reading that tells
/// most per second among those that tell nearly as much as any.
pub(super) fn choose(
    record: &mut Reader<'_>,
    standing: &[Suspect],
    now: Now,
    meter: &Meter,
) -> (Vec<Group>, Option<Next>) {
    let harness = record.harness;
    let mut suspects = standing.to_vec();
    suspects.sort_by(|a, b| b.weight.total_cmp(&a.weight).then(a.hypothesis.cmp(&b.hypothesis)));
    let (weighed, rest) = suspects.split_at(suspects.len().min(WEIGHED));
    let Now { setup, station: here } = now;
    let now = setup.unwrap_or_else(|| as_found(harness));
    let known = record.judged.iter().map(|j| j.measurement.setup().clone());
    let setups = candidates::setups(harness, record.netlist, record.universe, weighed, known, &now);
    let taken: BTreeSet<Probes> = record.judged.iter().map(|j| Probes::of(&j.measurement)).collect();
    let mut signatures: Vec<Vec<Outcome>> = vec![Vec::new(); weighed.len()];
    let mut options: Vec<Candidate> = Vec::new();
    for setup in setups {
        let Ok(situation) = Situation::new(harness, record.netlist, &setup) else { continue };
        let change = READING_SECONDS.get() + seconds(harness, &now, &setup);
        let mut measurements = candidates::measurements(&situation, record.universe, weighed);
        // What was read once is known: reading it again tells nothing new.
        measurements.retain(|m| !taken.contains(&Probes::of(m)));
        let mut scene = Scene::new(&situation, measurements, false);
        for at in 0..scene.measurements.len() {
            let measurement = scene.measurements[at].clone();
            let expect = situation.expect(&measurement, meter);
            let shows = |suspect: &Suspect| {
                let range = predict::range(&mut scene, &mut record.memory, suspect.hypothesis, at, None);
                outcome(&range, measurement.kind(), &expect, meter)
            };
            let outcomes: Vec<Outcome> = weighed.iter().map(shows).collect();
            for (signature, outcome) in signatures.iter_mut().zip(&outcomes) {
                signature.push(*outcome);
            }
            let bits = information(weighed, &outcomes);
            let seconds = change + walk(harness, here, &measurement);
            if bits > NOTHING {
                options.push(Candidate { measurement, expect, outcomes, bits, seconds });
            }
        }
    }
    let groups = groups(record, weighed, &signatures, rest);
    (groups, pick(harness, weighed, options, &now))
}

/// A reading without regard to which probe is which.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Probes {
    ohms: bool,
    points: [Point; 2],
    setup: Setup,
}

impl Probes {
    fn of(measurement: &Measurement) -> Self {
        let mut points = [measurement.red(), measurement.black()];
        points.sort_unstable();
        Self { ohms: measurement.kind().is_resistance(), points, setup: measurement.setup().clone() }
    }
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

fn outcome(range: &Range, kind: Kind, expect: &Expectation, meter: &Meter) -> Outcome {
    let shows = |p: Prediction| expect.excludes(p, kind, meter);
    let side = |p: Prediction| match p {
        Prediction::Open => Outcome::Open,
        // A meter that shows megohms says "open" as well.
        Prediction::Ohms(value) if value >= OPEN_FROM.get() => Outcome::Open,
        Prediction::Ohms(value) | Prediction::Volts(value) if value < expect.low => Outcome::Low,
        Prediction::Ohms(_) | Prediction::Volts(_) => Outcome::High,
    };
    match (shows(range.low), shows(range.high)) {
        (false, false) => Outcome::Good,
        (true, false) => Outcome::GoodOr(side(range.low).into()),
        (false, true) => Outcome::GoodOr(side(range.high).into()),
        (true, true) => side(range.high),
    }
}

/// What a reading is expected to tell about the suspects, in bits: the entropy of its outcomes less the
/// doubt that each suspect leaves about them (mutual information, Shannon 1948).
fn information(suspects: &[Suspect], outcomes: &[Outcome]) -> f64 {
    let shares = shares(suspects, outcomes);
    let total: f64 = shares.values().sum();
    let doubtful: f64 = suspects
        .iter()
        .zip(outcomes)
        .filter(|(_, o)| o.is_doubtful())
        .map(|(suspect, _)| suspect.weight)
        .sum();
    let entropy: f64 = shares.values().map(|w| w / total).map(|p| -p * p.log2()).sum();
    entropy - doubtful / total
}

/// The weight of each sure outcome; a doubtful one counts half for each.
fn shares(suspects: &[Suspect], outcomes: &[Outcome]) -> BTreeMap<Outcome, f64> {
    let mut shares: BTreeMap<Outcome, f64> = BTreeMap::new();
    for (suspect, outcome) in suspects.iter().zip(outcomes) {
        let sure = outcome.sure();
        for one in &sure {
            *shares.entry(*one).or_default() += suspect.weight / sure.len() as f64;
        }
    }
    shares
}

/// Suspects with the same outcomes everywhere stand in one group; those that were not weighed, with what
/// changes the same in the machine.
fn groups(
    record: &Reader<'_>,
    weighed: &[Suspect],
    signatures: &[Vec<Outcome>],
    rest: &[Suspect],
) -> Vec<Group> {
    let total: f64 = weighed.iter().chain(rest).map(|suspect| suspect.weight).sum();
    let mut found: BTreeMap<&Vec<Outcome>, Vec<Suspect>> = BTreeMap::new();
    for (suspect, signature) in weighed.iter().zip(signatures) {
        found.entry(signature).or_default().push(*suspect);
    }
    let mut alike: BTreeMap<String, Vec<Suspect>> = BTreeMap::new();
    for suspect in rest {
        let changes = suspect.hypothesis.changes(record.harness, record.netlist, record.universe);
        alike.entry(format!("{changes:?}")).or_default().push(*suspect);
    }
    let group = |suspects: Vec<Suspect>| Group {
        faults: suspects.iter().map(|s| s.hypothesis.fault).collect(),
        share: suspects.iter().map(|s| s.weight).sum::<f64>() / total,
        accused_by: Vec::new(),
    };
    let mut groups: Vec<Group> = found.into_values().chain(alike.into_values()).map(group).collect();
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
    let shares = shares(suspects, &chosen.outcomes);
    let total: f64 = shares.values().sum();
    let left = |one: Outcome| {
        let standing = suspects.iter().zip(&chosen.outcomes).filter(move |(_, o)| o.sure().contains(&one));
        standing.map(|(suspect, _)| suspect.hypothesis.fault).collect()
    };
    let words = |(one, share): (Outcome, f64)| (one.words(&chosen.expect), share / total, left(one));
    Some(Next {
        changes: transition(harness, now, chosen.measurement.setup()),
        outcomes: shares.into_iter().map(words).collect(),
        bits: chosen.bits,
        seconds: chosen.seconds,
        expect: chosen.expect,
        measurement: chosen.measurement,
    })
}
