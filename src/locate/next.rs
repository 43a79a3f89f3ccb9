//! The next reading: the one that tells most for the time it takes.

use std::collections::{BTreeMap, BTreeSet};

use super::candidates;
use super::outcome::{Outcome, Outcomes, is_clear, outcome, pattern, shares, shown};
use super::policy::{self, Choice, Problem, Test, information};
use super::predict::{self, Range, Scene};
use super::unit::Missing;
use super::weigh::{Reader, Suspect};
use super::wishes::Avoid;
use crate::definition::{Harness, Point, StationId};
use crate::fault::Fault;
use crate::measure::{Expectation, Measurement, Meter, Situation};
use crate::netlist::Netlist;
use crate::plan::as_found;
use crate::setup::{Action, Power, READING_SECONDS, Setup, transition};
use crate::units::Volts;

/// More kinds of suspects than this are weighed by their likeliest alone.
const WEIGHED: usize = 80;
/// Every reading costs this much more than its own time: thinking, and the next one that it makes needed.
/// It keeps a chain of quick readings that tell little from winning over one that settles the matter.
const THOUGHT: f64 = 40.0;
/// Time to lay out a lead from one station to another: common practice, no source.
const LONG_LEAD: f64 = 60.0;

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
    /// What each outcome would mean.
    pub outcomes: Vec<Meaning>,
    /// What it proves before a unit may be accused, in words.
    pub proves: Option<String>,
    /// Whether it was read before, and is to be read again because it may be the wrong one.
    pub again: bool,
}

/// What an outcome of a reading would mean.
#[derive(Debug, Clone)]
pub struct Meaning {
    /// The outcome, in words.
    pub outcome: String,
    /// Its share of the probability.
    pub share: f64,
    /// What would be left, the likeliest first.
    pub faults: Vec<Fault>,
    /// In how many groups that would be.
    pub groups: usize,
    /// What that means, in words.
    pub means: String,
}

/// Where the machine and the person stand.
#[derive(Clone)]
pub(super) struct Now {
    /// The setup of the last reading.
    pub setup: Option<Setup>,
    /// The station of the last reading.
    pub station: Option<StationId>,
    /// Readings that are not to be proposed.
    pub avoid: Vec<Avoid>,
    /// Whether the problem is kept.
    pub keep: bool,
}

impl Now {
    fn allows(&self, measurement: &Measurement) -> bool {
        !self.avoid.iter().any(|avoid| avoid.forbids(measurement))
    }
}

/// What came of thinking ahead.
pub(super) struct Ahead {
    /// The suspects in groups that nothing permitted can tell apart, each suspect by its place.
    pub groups: Vec<Vec<usize>>,
    /// The next reading.
    pub next: Option<Next>,
    /// What it was chosen from, where that was asked for.
    pub choice: Option<Choice>,
}

/// Groups the suspects by what permitted readings can tell apart, and chooses the reading to take next. With
/// `again` a reading may be repeated that one of the suspects takes for wrong.
pub(super) fn choose(
    record: &mut Reader<'_>,
    suspects: &[Suspect],
    now: Now,
    meter: &Meter,
    again: bool,
) -> Ahead {
    let kinds = kinds(record, suspects);
    let (weighed, rest) = kinds.split_at(kinds.len().min(WEIGHED));
    let heads: Vec<Suspect> = weighed.iter().map(|kind| kind.head(suspects)).collect();
    let keep = now.keep;
    let mut thought = Thought::new(record, &heads, now, meter, again);
    thought.look_around();
    let mut of_signature: BTreeMap<&Vec<Outcomes>, Vec<usize>> = BTreeMap::new();
    for (at, signature) in thought.signatures.iter().enumerate() {
        of_signature.entry(signature).or_default().push(at);
    }
    let by_kind: Vec<Vec<usize>> = of_signature.into_values().collect();
    let mut choice = keep.then(Choice::default);
    let next = thought.pick(&by_kind, choice.as_mut());
    let next = next.map(|chosen| thought.next(&by_kind, weighed, suspects, chosen));
    let members = |kinds: &Vec<usize>| kinds.iter().flat_map(|at| weighed[*at].members.clone()).collect();
    let groups = by_kind.iter().map(members).chain(rest.iter().map(|kind| kind.members.clone())).collect();
    Ahead { groups, next, choice }
}

/// Suspects that change the same and take the same readings for wrong: no reading tells them apart.
struct Alike {
    members: Vec<usize>,
    weight: f64,
}

impl Alike {
    fn head(&self, suspects: &[Suspect]) -> Suspect {
        Suspect { weight: self.weight, ..suspects[self.members[0]].clone() }
    }
}

/// The kinds of suspects, the likeliest first.
fn kinds(record: &Reader<'_>, suspects: &[Suspect]) -> Vec<Alike> {
    let mut order: Vec<usize> = (0..suspects.len()).collect();
    let by_weight = |a: &usize, b: &usize| {
        let [a, b] = [&suspects[*a], &suspects[*b]];
        b.weight.total_cmp(&a.weight).then(a.hypothesis.cmp(&b.hypothesis))
    };
    order.sort_by(by_weight);
    let mut kinds: BTreeMap<_, Alike> = BTreeMap::new();
    for at in order {
        let suspect = &suspects[at];
        let key = suspect.hypothesis.key(record.harness, record.netlist, record.universe);
        let kind = kinds
            .entry((key, suspect.wrong.clone()))
            .or_insert_with(|| Alike { members: Vec::new(), weight: 0.0 });
        kind.members.push(at);
        kind.weight += suspect.weight;
    }
    let mut kinds: Vec<Alike> = kinds.into_values().collect();
    kinds.sort_by(|a, b| b.weight.total_cmp(&a.weight).then(a.members.cmp(&b.members)));
    kinds
}

/// Readings thought of, with what each would show of every kind of suspect.
struct Thought<'t, 'a> {
    record: &'t mut Reader<'a>,
    heads: &'t [Suspect],
    now: Setup,
    here: Option<StationId>,
    avoid: Vec<Avoid>,
    meter: &'t Meter,
    setups: Vec<Setup>,
    /// Readings of the record that are not thought of again.
    taken: BTreeSet<Probes>,
    /// Readings of the record that may be.
    again: BTreeSet<Probes>,
    signatures: Vec<Vec<Outcomes>>,
    options: Vec<Candidate>,
}

impl<'t, 'a> Thought<'t, 'a> {
    fn new(
        record: &'t mut Reader<'a>,
        heads: &'t [Suspect],
        now: Now,
        meter: &'t Meter,
        again: bool,
    ) -> Self {
        let harness = record.harness;
        let (here, avoid) = (now.station, now.avoid);
        let now = now.setup.unwrap_or_else(|| as_found(harness));
        let known = record.judged.iter().map(|j| j.measurement.setup().clone());
        let setups = candidates::setups(harness, record.netlist, record.universe, heads, known, &now);
        let wrong: BTreeSet<usize> = heads.iter().flat_map(|head| head.wrong.iter().copied()).collect();
        let doubted = |at: &usize| again && wrong.contains(at);
        let probes = |at: usize| Probes::of(&record.judged[at].measurement);
        let all = 0..record.judged.len();
        let taken = all.clone().filter(|at| !doubted(at)).map(probes).collect();
        let again = all.filter(doubted).map(probes).collect();
        let signatures = vec![Vec::new(); heads.len()];
        Self { record, heads, now, here, avoid, meter, setups, taken, again, signatures, options: Vec::new() }
    }

    /// Thinks of every reading worth thinking of. Of those that divide the suspects alike in one setup the quickest
    /// is kept.
    fn look_around(&mut self) {
        let Told { patterns: told, seen } = told(self.record, self.heads, &self.setups);
        let mut best: BTreeMap<(usize, Vec<u8>), Candidate> = BTreeMap::new();
        for place in 0..self.setups.len() {
            let setup = self.setups[place].clone();
            let Ok(situation) = Situation::new(self.record.harness, self.record.netlist, &setup) else {
                continue;
            };
            let change = seconds(self.record.harness, &self.now, &setup);
            let mut measurements = candidates::measurements(&situation, self.record.universe, self.heads);
            for reading in self.record.judged.iter().filter(|j| *j.measurement.setup() == setup) {
                let probes = Probes::of(&reading.measurement);
                if self.again.contains(&probes) && measurements.iter().all(|m| Probes::of(m) != probes) {
                    measurements.push(reading.measurement.clone());
                }
            }
            // What was read once is known: reading it again tells nothing new.
            measurements.retain(|m| !self.taken.contains(&Probes::of(m)));
            let mut scene = Scene::new(&situation, measurements, false);
            let ranges: Vec<Vec<Range>> = self
                .heads
                .iter()
                .map(|head| predict::ranges(&mut scene, &mut self.record.memory, head.hypothesis))
                .collect();
            for at in 0..scene.measurements.len() {
                let measurement = scene.measurements[at].clone();
                // A reading that no suspect changes tells nothing, whatever is expected of it.
                if ranges.iter().all(|ranges| ranges[at].unchanged) {
                    continue;
                }
                let expect = situation.expect(&measurement, self.meter);
                let shows =
                    |ranges: &Vec<Range>| outcome(&ranges[at], measurement.kind(), &expect, self.meter);
                let outcomes: Vec<Outcomes> = ranges.iter().map(shows).collect();
                let again = self.again.contains(&Probes::of(&measurement));
                let known = told.get(&pattern(&outcomes));
                if !again && known.is_some_and(|clearly| *clearly || !is_clear(&outcomes)) {
                    continue;
                }
                for (signature, outcome) in self.signatures.iter_mut().zip(&outcomes) {
                    signature.push(*outcome);
                }
                // What is out of reach tells groups apart all the same.
                if self.avoid.iter().any(|avoid| avoid.forbids(&measurement)) {
                    continue;
                }
                let narrowed = |(head, one): (usize, &Outcomes)| match seen.get(&(
                    head,
                    measurement.kind().is_resistance(),
                    place,
                )) {
                    Some(seen) if one.is_vague() => one.narrowed(seen),
                    _ => *one,
                };
                let likely: Vec<Outcomes> = outcomes.iter().enumerate().map(narrowed).collect();
                let shows: Vec<u8> = likely.iter().map(|one| one.bits()).collect();
                let seconds = change + walk(self.record.harness, self.here, &measurement);
                let candidate = Candidate { measurement, expect, outcomes, likely, place, seconds, again };
                let known = best.get(&(place, shows.clone()));
                if known.is_none_or(|known| known.seconds > candidate.seconds) {
                    best.insert((place, shows), candidate);
                }
            }
        }
        let weights: Vec<f64> = self.heads.iter().map(|head| head.weight).collect();
        let tells = best.into_iter().filter(|((_, shows), _)| information(&weights, shows) > policy::NOTHING);
        self.options = tells.map(|(_, candidate)| candidate).collect();
    }

    /// The option to take next, by its place.
    fn pick(&self, groups: &[Vec<usize>], keep: Option<&mut Choice>) -> Option<usize> {
        let weight = |group: &Vec<usize>| group.iter().map(|at| self.heads[*at].weight).sum();
        let weights: Vec<f64> = groups.iter().map(weight).collect();
        let harness = self.record.harness;
        // Where one stands after a reading: the setup, and the station of the red probe.
        let mut places: Vec<(usize, Option<StationId>)> = Vec::new();
        let mut tests: Vec<Test> = Vec::new();
        for option in &self.options {
            let place = (option.place, harness.station_of(option.measurement.red()));
            let known = places.iter().position(|known| *known == place);
            let place = known.unwrap_or(places.len());
            if known.is_none() {
                places.push((option.place, harness.station_of(option.measurement.red())));
            }
            let shows = groups.iter().map(|group| option.likely[group[0]].bits()).collect();
            tests.push(Test { shows, place });
        }
        let used: BTreeSet<usize> = self.options.iter().map(|option| option.place).collect();
        let between: BTreeMap<(usize, usize), f64> = used
            .iter()
            .flat_map(|from| used.iter().map(move |to| (*from, *to)))
            .map(|(from, to)| ((from, to), seconds(harness, &self.setups[from], &self.setups[to])))
            .collect();
        let bare = |from: Option<usize>, test: usize| {
            let option = &self.options[test];
            let there = from.map_or(option.seconds, |from| {
                let (setup, station) = places[from];
                let change = between.get(&(setup, option.place)).copied().unwrap_or_default();
                change + walk(harness, station, &option.measurement)
            });
            there + READING_SECONDS.get()
        };
        if let Some(choice) = keep {
            let all = 0..tests.len();
            let mut order: Vec<usize> = all.clone().collect();
            let probes = |m: &Measurement| (m.red(), m.black());
            order.sort_by_key(|at| (self.options[*at].place, probes(&self.options[*at].measurement)));
            let row = |place: usize| all.clone().map(|test| bare(Some(place), test)).collect();
            *choice = Choice {
                weights: weights.clone(),
                tests: tests.clone(),
                order,
                from_here: all.clone().map(|test| bare(None, test)).collect(),
                from: (0..places.len()).map(row).collect(),
                thought: THOUGHT,
            };
        }
        let cost = |from: Option<usize>, test: usize| bare(from, test) + THOUGHT;
        let problem = Problem { weights: &weights, tests: &tests, cost: &cost };
        problem.advise().map(|advice| advice.test)
    }

    fn next(&self, groups: &[Vec<usize>], kinds: &[Alike], suspects: &[Suspect], chosen: usize) -> Next {
        let harness = self.record.harness;
        let option = &self.options[chosen];
        let shows: Vec<u8> = option.likely.iter().map(|one| one.bits()).collect();
        let weights: Vec<f64> = self.heads.iter().map(|head| head.weight).collect();
        let faults = |at: &usize| -> Vec<Fault> {
            let of = |member: &usize| suspects[*member].hypothesis.faults().collect::<Vec<_>>();
            kinds[*at].members.iter().flat_map(of).collect()
        };
        let meaning = |(one, share): (Outcome, f64)| {
            let stands = |at: &usize| option.outcomes[*at].contains(one);
            let left: Vec<&Vec<usize>> = groups.iter().filter(|group| stands(&group[0])).collect();
            let mut standing: Vec<usize> = left.iter().flat_map(|group| group.iter().copied()).collect();
            standing.sort_unstable();
            let mut all: Vec<Fault> = Vec::new();
            for fault in standing.iter().flat_map(faults) {
                if !all.contains(&fault) {
                    all.push(fault);
                }
            }
            Meaning {
                outcome: one.words(&option.expect),
                share,
                means: means(harness, &all, left.len()),
                faults: all,
                groups: left.len(),
            }
        };
        Next {
            live: live(harness, self.record.netlist, option.measurement.setup()),
            changes: transition(harness, &self.now, option.measurement.setup()),
            outcomes: shares(&weights, &option.outcomes).into_iter().map(meaning).collect(),
            bits: information(&weights, &shows),
            seconds: option.seconds + READING_SECONDS.get(),
            expect: option.expect.clone(),
            measurement: option.measurement.clone(),
            proves: None,
            again: option.again,
        }
    }
}

/// What it means that so many groups are left.
fn means(harness: &Harness, faults: &[Fault], groups: usize) -> String {
    match (groups, faults) {
        (1, [one]) => format!("settled: {}", one.words(harness)),
        (1, [first, ..]) => {
            format!("settled: {} or what reads the same, {} faults", first.words(harness), faults.len())
        }
        _ => format!("{} faults in {groups} groups are left", faults.len()),
    }
}

/// The reading that gives a missing proof, before a unit may be accused.
pub(super) fn proof(
    record: &Reader<'_>,
    missing: Missing,
    now: &Now,
    accused: &[Fault],
    meter: &Meter,
) -> Option<Next> {
    let harness = record.harness;
    let from = now.setup.clone().unwrap_or_else(|| as_found(harness));
    let taken: BTreeSet<Probes> = record.judged.iter().map(|j| Probes::of(&j.measurement)).collect();
    let cost = |m: &Measurement| seconds(harness, &from, m.setup()) + walk(harness, now.station, m);
    let fresh = missing.readings.into_iter().filter(|m| !taken.contains(&Probes::of(m)) && now.allows(m));
    let measurement = fresh.min_by(|a, b| cost(a).total_cmp(&cost(b)).then_with(|| a.cmp(b)))?;
    let situation = Situation::new(harness, record.netlist, measurement.setup()).ok()?;
    let expect = situation.expect(&measurement, meter);
    let good = Meaning {
        outcome: Outcome::Good.words(&expect),
        share: 1.0,
        faults: accused.to_vec(),
        groups: 1,
        means: format!("{} is proven", missing.what),
    };
    let bad = Meaning {
        outcome: "bad".to_owned(),
        share: 0.0,
        faults: Vec::new(),
        groups: 0,
        means: "the unit is not at fault alone: what feeds it comes first".to_owned(),
    };
    Some(Next {
        live: live(harness, record.netlist, measurement.setup()),
        changes: transition(harness, &from, measurement.setup()),
        outcomes: vec![good, bad],
        bits: 0.0,
        seconds: cost(&measurement) + READING_SECONDS.get(),
        expect,
        measurement,
        proves: Some(missing.what),
        again: false,
    })
}

/// What the readings of the record have told of the suspects.
struct Told {
    /// How they divide them, and whether they did so clearly. All of these suspects survived them: another reading that would
    /// divide them in the same way, at the next point of the same net or in another setup, cannot be counted on to tell
    /// more, unless it divides clearly what was divided vaguely before.
    patterns: BTreeMap<Vec<usize>, bool>,
    /// What came out where a suspect left it open, by suspect, sort of reading and place of the setup. A bad joint has one
    /// resistance: where the lamps were bright enough at one point of a rail, they are so at the next.
    seen: BTreeMap<(usize, bool, usize), BTreeSet<Outcome>>,
}

fn told(record: &mut Reader<'_>, suspects: &[Suspect], setups: &[Setup]) -> Told {
    let mut told = Told { patterns: BTreeMap::new(), seen: BTreeMap::new() };
    for (reading, (scene, at)) in record.places.clone().into_iter().enumerate() {
        let judged = &record.judged[reading];
        let outcomes = suspects.iter().map(|suspect| {
            let scene = &mut record.scenes[scene];
            let range = predict::range(scene, &mut record.memory, suspect.hypothesis, at, Some(reading));
            outcome(&range, judged.measurement.kind(), &judged.expect, &judged.expect.meter)
        });
        let outcomes: Vec<Outcomes> = outcomes.collect();
        *told.patterns.entry(pattern(&outcomes)).or_insert(false) |= is_clear(&outcomes);
        let place = setups.iter().position(|setup| setup == judged.measurement.setup());
        let Some((place, shown)) = place.zip(shown(judged.value, &judged.expect)) else { continue };
        for (head, one) in outcomes.iter().enumerate().filter(|(_, one)| one.is_vague()) {
            if one.contains(shown) {
                let key = (head, judged.measurement.kind().is_resistance(), place);
                told.seen.entry(key).or_default().insert(shown);
            }
        }
    }
    told
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
    /// The same, less what other readings of the same setup have shown not to come.
    likely: Vec<Outcomes>,
    /// The place of its setup.
    place: usize,
    /// Time to get there.
    seconds: f64,
    /// Whether it was read before.
    again: bool,
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

/// Contacts of open plugs that are live.
pub fn live(harness: &Harness, netlist: &Netlist, setup: &Setup) -> Vec<(Point, Volts)> {
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
