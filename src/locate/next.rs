//! The next reading: the one that tells most for the time it takes.

use std::collections::{BTreeMap, BTreeSet};

use super::predict::{self, Range, Scene};
use super::{Group, Reader, Suspect, candidates};
use crate::definition::{Harness, Kind, Point, StationId};
use crate::fault::Fault;
use crate::measure::{Expectation, Measurement, Meter, OPEN_FROM, Prediction, Situation};
use crate::netlist::Netlist;
use crate::plan::as_found;
use crate::setup::{Action, Power, READING_SECONDS, Setup, transition};
use crate::units::Volts;

/// More suspects than this are weighed by their likeliest alone.
const WEIGHED: usize = 160;
/// A reading is worth its time only from this much of the best reading's information.
const WORTH: f64 = 0.3;
/// Every reading costs this much more than its own time: thinking, and the next one that it makes needed.
/// It keeps a chain of quick readings that tell little from winning over one that settles the matter.
const THOUGHT: f64 = 40.0;
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
    /// Contacts of open plugs that are live in its setup, with their voltage against the chassis: whoever
    /// puts power on with plugs off must know them.
    pub live: Vec<(Point, Volts)>,
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
    Low,
    Good,
    High,
    Open,
}

impl Outcome {
    const ALL: [Self; 4] = [Self::Low, Self::Good, Self::High, Self::Open];

    fn words(self, expect: &Expectation) -> String {
        match (self, expect.ohms) {
            (Self::Good, _) => format!("good: {}", expect.words()),
            (Self::Low, true) => "bad: less".to_owned(),
            (Self::High, true) => "bad: more, but not open".to_owned(),
            (Self::Low, false) => "bad: lower".to_owned(),
            (Self::High, false) => "bad: higher".to_owned(),
            (Self::Open, _) => "bad: open".to_owned(),
        }
    }
}

/// The outcomes that a suspect may give: one, or several next to each other where it has no one value (a
/// bad joint of any size, a fuse that may have blown, a machine that never settles).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Outcomes {
    from: Outcome,
    to: Outcome,
}

impl Outcomes {
    const GOOD: Self = Self { from: Outcome::Good, to: Outcome::Good };

    fn all(self) -> impl Iterator<Item = Outcome> + Clone {
        Outcome::ALL.into_iter().filter(move |one| (self.from..=self.to).contains(one))
    }

    fn contains(self, one: Outcome) -> bool {
        (self.from..=self.to).contains(&one)
    }

    fn count(self) -> f64 {
        self.all().count() as f64
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
    let told = told(record, weighed);
    let mut signatures: Vec<Vec<Outcomes>> = vec![Vec::new(); weighed.len()];
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
            let outcomes: Vec<Outcomes> = weighed.iter().map(shows).collect();
            if told.contains(&pattern(&outcomes)) {
                continue;
            }
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
    (groups, pick(record, weighed, options, &now))
}

/// How the readings of the record divide the suspects. All of these suspects survived them: another reading
/// that would divide them in the same way, at the next point of the same net or in another setup, cannot
/// be counted on to tell more.
fn told(record: &mut Reader<'_>, suspects: &[Suspect]) -> BTreeSet<Vec<usize>> {
    let of = |reading: usize| {
        let (scene, at) = record.places[reading];
        let judged = &record.judged[reading];
        let outcomes = suspects.iter().map(|suspect| {
            let scene = &mut record.scenes[scene];
            let range = predict::range(scene, &mut record.memory, suspect.hypothesis, at, Some(reading));
            outcome(&range, judged.measurement.kind(), &judged.expect, &judged.expect.meter)
        });
        pattern(&outcomes.collect::<Vec<_>>())
    };
    (0..record.judged.len()).map(of).collect()
}

/// Which suspects share an outcome, whatever it is: each outcome as the place of its first suspect.
fn pattern(outcomes: &[Outcomes]) -> Vec<usize> {
    let mut first: BTreeMap<Outcomes, usize> = BTreeMap::new();
    outcomes.iter().enumerate().map(|(at, one)| *first.entry(*one).or_insert(at)).collect()
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
    outcomes: Vec<Outcomes>,
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

fn outcome(range: &Range, kind: Kind, expect: &Expectation, meter: &Meter) -> Outcomes {
    // What the fault does not change reads good, however wide its tolerances are.
    if range.unchanged {
        return Outcomes::GOOD;
    }
    let of = |p: Prediction| match p {
        _ if !expect.excludes(p, kind, meter) => Outcome::Good,
        Prediction::Open => Outcome::Open,
        // A meter that shows megohms says "open" as well.
        Prediction::Ohms(value) if value >= OPEN_FROM.get() => Outcome::Open,
        Prediction::Ohms(value) | Prediction::Volts(value) if value < expect.low => Outcome::Low,
        Prediction::Ohms(_) | Prediction::Volts(_) => Outcome::High,
    };
    let found = Outcomes { from: of(range.low), to: of(range.high) };
    // What tolerances alone might bring back to good is not counted on.
    let [least, most] = range.doubt().map(of);
    if found.from == found.to && (least == Outcome::Good || most == Outcome::Good) {
        Outcomes::GOOD
    } else {
        found
    }
}

/// What a reading is expected to tell about the suspects, in bits: the entropy of its outcomes less the
/// doubt that each suspect leaves about them (mutual information, Shannon 1948).
fn information(suspects: &[Suspect], outcomes: &[Outcomes]) -> f64 {
    let shares = shares(suspects, outcomes);
    let total: f64 = shares.iter().map(|(_, weight)| weight).sum();
    let entropy: f64 = shares.iter().map(|(_, w)| w / total).map(|p| -p * p.log2()).sum();
    let doubt: f64 =
        suspects.iter().zip(outcomes).map(|(suspect, o)| suspect.weight * o.count().log2()).sum();
    entropy - doubt / total
}

/// The weight of each outcome that may come; a suspect of several counts for each alike.
fn shares(suspects: &[Suspect], outcomes: &[Outcomes]) -> Vec<(Outcome, f64)> {
    let mut weights = [0.0; Outcome::ALL.len()];
    for (suspect, outcomes) in suspects.iter().zip(outcomes) {
        let each = suspect.weight / outcomes.count();
        for one in outcomes.all() {
            weights[one as usize] += each;
        }
    }
    Outcome::ALL.into_iter().zip(weights).filter(|(_, weight)| *weight > 0.0).collect()
}

/// Suspects with the same outcomes everywhere stand in one group; those that were not weighed, with what
/// changes the same in the machine.
fn groups(
    record: &Reader<'_>,
    weighed: &[Suspect],
    signatures: &[Vec<Outcomes>],
    rest: &[Suspect],
) -> Vec<Group> {
    let total: f64 = weighed.iter().chain(rest).map(|suspect| suspect.weight).sum();
    let mut found: BTreeMap<&Vec<Outcomes>, Vec<Suspect>> = BTreeMap::new();
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
        distance: None,
    };
    let mut groups: Vec<Group> = found.into_values().chain(alike.into_values()).map(group).collect();
    groups.sort_by(|a, b| b.share.total_cmp(&a.share).then(a.faults.cmp(&b.faults)));
    groups
}

/// Of the readings that tell nearly as much as the best, the one that tells most per second.
fn pick(record: &Reader<'_>, suspects: &[Suspect], options: Vec<Candidate>, now: &Setup) -> Option<Next> {
    let most = options.iter().map(|o| o.bits).fold(0.0, f64::max);
    let worth = options.into_iter().filter(|o| o.bits >= most * WORTH);
    let rate = |candidate: &Candidate| candidate.bits / (candidate.seconds + THOUGHT);
    let better = |a: &Candidate, b: &Candidate| {
        rate(a).total_cmp(&rate(b)).then_with(|| b.measurement.cmp(&a.measurement))
    };
    let chosen = worth.max_by(better)?;
    let shares = shares(suspects, &chosen.outcomes);
    let total: f64 = shares.iter().map(|(_, weight)| weight).sum();
    let left = |one: Outcome| {
        let standing = suspects.iter().zip(&chosen.outcomes).filter(move |(_, o)| o.contains(one));
        standing.map(|(suspect, _)| suspect.hypothesis.fault).collect()
    };
    let words = |(one, share): (Outcome, f64)| (one.words(&chosen.expect), share / total, left(one));
    let harness = record.harness;
    Some(Next {
        live: live(harness, record.netlist, chosen.measurement.setup()),
        changes: transition(harness, now, chosen.measurement.setup()),
        outcomes: shares.into_iter().map(words).collect(),
        bits: chosen.bits,
        seconds: chosen.seconds,
        expect: chosen.expect,
        measurement: chosen.measurement,
    })
}

/// Contacts of open plugs that are live.
fn live(harness: &Harness, netlist: &Netlist, setup: &Setup) -> Vec<(Point, Volts)> {
    /// From this voltage against the chassis a contact counts as live: common practice.
    const LIVE: f64 = 1.0;
    if setup.power() == Power::Isolated || setup.parted().len() == 0 {
        return Vec::new();
    }
    let Ok(situation) = Situation::new(harness, netlist, setup) else { return Vec::new() };
    let open = harness.contacts.iter().filter(|(_, contact)| {
        harness.connectors[contact.connector].mating.is_some_and(|mating| setup.is_parted(mating))
    });
    let volts = |point: Point| {
        let volts = situation.healthy().volts_between(situation.node(point), netlist.chassis());
        (volts.abs() >= LIVE).then_some((point, Volts::new(volts)))
    };
    open.filter_map(|(id, _)| volts(Point::Contact(id))).collect()
}
