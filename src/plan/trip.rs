//! The way through a plan: its phases in the order that costs least, and where the person walks.
//!
//! Comes in: the setups of the phases, each with the stations that its readings are taken at. Goes out: an
//! order, with bounds over every order of these phases; then every action with the walks between. Why: most
//! of a plan's time beside the readings goes into leads, plugs and ways.
//!
//! To get to a station takes the same time from wherever one comes (`reach`). So what has to be done at
//! several stations in any order costs each station once, except the one where the person stands; only the
//! first and the last station of such a round matter to what comes before and after. They are a part of the
//! state, here and in [`order`](super::order): nothing about walking is estimated.

use std::collections::BTreeSet;

use super::order::{Costs, NEVER, Order, Precedence, order};
use crate::definition::{Harness, StationId};
use crate::setup::{Action, Setup, rounds};

/// Where a person stands; nowhere yet, or where it does not matter.
pub(super) type Place = Option<StationId>;

/// Stations to be at, in any order.
pub(super) type Round = BTreeSet<StationId>;

/// A phase as the order sees it.
#[derive(Debug, Clone)]
pub(super) struct Stop {
    pub setup: Setup,
    /// Where its readings are taken.
    pub stations: Round,
    /// All phases of a group come before those of a group with a higher number.
    pub group: Option<usize>,
    /// Whether it comes before all others: the reading of the machine as found.
    pub early: bool,
}

/// The order of a plan's phases, and what no order of them can do without.
#[derive(Debug, Clone)]
pub(super) struct Best {
    /// The phases, by number as given.
    pub order: Vec<usize>,
    /// The fewest setup changes of any order.
    pub changes: usize,
    /// The least milliseconds for changes and walking of any order.
    pub millis: u64,
}

/// Room for the number of changes below the milliseconds in what an order is compared by.
const CHANGES: u32 = 20;

/// Whole milliseconds, rounded down, so that a bound never lies above what it bounds.
pub(super) fn millis(action: &Action, harness: &Harness) -> u64 {
    const MOST: f64 = 1e12;
    // A decimal figure may lie a hair below the whole number that it means.
    #[allow(clippy::cast_sign_loss, reason = "clamped to what is not negative")]
    let millis = (action.seconds(harness).get() * 1000.0 + 1e-6).clamp(0.0, MOST) as u64;
    millis
}

/// The best order of the stops for a machine found in some setup. `closes` says that the last of them is the
/// machine as found again, which stays last. By time first; of equals by the number of changes, and then as
/// given.
///
/// Cost: see [`order`]; for each pair of stops the actions between them.
pub(super) fn best(harness: &Harness, found: &Setup, stops: &[Stop], closes: bool) -> Best {
    let legs = Legs::new(harness, found, stops);
    // The first stop is the machine as found, before anything is read; without a closing phase the last one is
    // the end, which costs nothing to get to.
    let count = 1 + stops.len() + usize::from(!closes);
    let mut groups = vec![None; count];
    for (at, stop) in stops.iter().enumerate() {
        groups[at + 1] = stop.group;
    }
    let early = stops.iter().position(|stop| stop.early);
    let mut precedence = Precedence::new(&groups);
    if let Some(first) = early {
        precedence = precedence.early(first + 1);
    }
    let given = |cost: u64| Order { stops: (0..count).collect(), cost, bound: 0 };
    let best = order(&legs.seconds(closes), &precedence).unwrap_or_else(|| given(NEVER));
    let fewest = order(&legs.changes(closes), &precedence).unwrap_or_else(|| given(NEVER));
    let order = best.stops.iter().filter(|at| (1..=stops.len()).contains(*at)).map(|at| at - 1).collect();
    Best { order, changes: fewest.bound as usize, millis: best.bound >> CHANGES }
}

/// What lies between any two stops.
struct Legs<'a> {
    harness: &'a Harness,
    stops: &'a [Stop],
    /// From the machine as found, then from each stop, to each stop.
    between: Vec<Vec<Leg>>,
    /// The places at which each stop may be left, the machine as found included.
    ways: Vec<Vec<Place>>,
}

/// From one setup to another.
struct Leg {
    rounds: Vec<Round>,
    millis: u64,
    changes: u64,
}

impl<'a> Legs<'a> {
    fn new(harness: &'a Harness, found: &Setup, stops: &'a [Stop]) -> Self {
        let all = || std::iter::once(found).chain(stops.iter().map(|stop| &stop.setup));
        let row = |from: &Setup| stops.iter().map(|to| leg(harness, from, &to.setup)).collect();
        let between: Vec<Vec<Leg>> = all().map(row).collect();
        let visited = between.iter().flatten().flat_map(|leg| leg.rounds.iter().flatten());
        let mut places: BTreeSet<Place> = visited.copied().map(Some).collect();
        places.extend(stops.iter().flat_map(|stop| &stop.stations).copied().map(Some));
        places.insert(None);
        let way = |stop: &Stop| -> Vec<Place> {
            // Where nothing is read one may be left standing anywhere.
            if stop.stations.is_empty() {
                places.iter().copied().collect()
            } else {
                stop.stations.iter().copied().map(Some).collect()
            }
        };
        let ways = std::iter::once(vec![None]).chain(stops.iter().map(way)).collect();
        Self { harness, stops, between, ways }
    }

    fn seconds(&self, closes: bool) -> Costs {
        let closing = closes.then_some(self.stops.len());
        let mut ways: Vec<usize> = self.ways.iter().map(Vec::len).collect();
        match closing {
            Some(last) => ways[last] = 1,
            None => ways.push(1),
        }
        // One walk from a place through a leg gives the cost of every way out of the next stop.
        let mut walked = ([usize::MAX; 3], Vec::new());
        Costs::new(&ways, |[a, i], [b, j]| {
            if b == 0 || b > self.stops.len() || closing == Some(a) || a > self.stops.len() {
                return if b > self.stops.len() && a <= self.stops.len() { 0 } else { NEVER };
            }
            let leg = &self.between[a][b - 1];
            if walked.0 != [a, i, b] {
                let stations = std::slice::from_ref(&self.stops[b - 1].stations);
                let rounds = leg.rounds.iter().chain(stations);
                walked = ([a, i, b], after(self.harness, self.ways[a][i], rounds));
            }
            let left_at = |(place, _): &&(Place, u64)| closing == Some(b) || *place == self.ways[b][j];
            let walk = walked.1.iter().filter(left_at).map(|(_, cost)| *cost).min();
            walk.map_or(NEVER, |walk| key(leg.millis.saturating_add(walk), leg.changes))
        })
    }

    fn changes(&self, closes: bool) -> Costs {
        let count = 1 + self.stops.len() + usize::from(!closes);
        Costs::new(&vec![1; count], |[a, _], [b, _]| match (a, b) {
            (_, 0) => NEVER,
            (_, b) if b > self.stops.len() => 0,
            (a, _) if a > self.stops.len() => NEVER,
            (a, b) => self.between[a][b - 1].changes,
        })
    }
}

fn key(millis: u64, changes: u64) -> u64 {
    millis.saturating_mul(1 << CHANGES).saturating_add(changes)
}

fn leg(harness: &Harness, from: &Setup, to: &Setup) -> Leg {
    let rounds = rounds(harness, from, to);
    let all = || rounds.iter().flatten();
    Leg {
        millis: all().map(|action| millis(action, harness)).sum(),
        changes: all().count() as u64,
        rounds: rounds.iter().map(|round| stations(harness, round)).collect(),
    }
}

fn stations(harness: &Harness, round: &[Action]) -> Round {
    round.iter().filter_map(|action| action.station(harness)).collect()
}

fn reach(harness: &Harness, station: StationId) -> u64 {
    millis(&Action::GoTo(station), harness)
}

/// Where one can stand after some rounds, and the least walking to be there.
fn after<'r>(harness: &Harness, from: Place, rounds: impl Iterator<Item = &'r Round>) -> Vec<(Place, u64)> {
    rounds.fold(vec![(from, 0)], |at, round| {
        step(harness, &at, round).into_iter().map(|(place, cost, _)| (place, cost)).collect()
    })
}

/// Goes through a round from places with their cost so far: each place it may end at, the cost, and which of
/// the places it was begun from. Cost: linear in both.
fn step(harness: &Harness, at: &[(Place, u64)], round: &Round) -> Vec<(Place, u64, usize)> {
    if round.is_empty() {
        return at.iter().enumerate().map(|(from, (place, cost))| (*place, *cost, from)).collect();
    }
    let all: u64 = round.iter().map(|station| reach(harness, *station)).sum();
    // Where one stands already need not be gone to, if it comes first.
    let entered = |(from, (place, cost)): (usize, &(Place, u64))| {
        let spared = place.filter(|station| round.contains(station));
        let walk = all - spared.map_or(0, |station| reach(harness, station));
        (cost.saturating_add(walk), from)
    };
    let mut entries: Vec<(u64, usize)> = at.iter().enumerate().map(entered).collect();
    entries.sort_unstable();
    let end = |station: &StationId| {
        // What comes first does not come last too, unless it is all there is.
        let fits = |(_, from): &&(u64, usize)| round.len() == 1 || at[*from].0 != Some(*station);
        let (cost, from) = entries.iter().find(fits)?;
        Some((Some(*station), *cost, *from))
    };
    round.iter().filter_map(end).collect()
}

/// What is done to get to a phase, and where its readings begin and end.
#[derive(Debug, Clone, Default)]
pub(super) struct Walked {
    /// What is done, with the walks to where it is done.
    pub actions: Vec<Action>,
    /// Where the person stands when the setup is there.
    pub enters: Place,
    /// Where the person stands after the last reading.
    pub leaves: Place,
    /// The walks to readings.
    pub walks: Vec<Action>,
}

/// Goes through phases in order, from a setup and where the person stands: each a setup with the rounds of
/// stations that its readings are taken at. The walking is the least there is.
///
/// Cost: linear in actions, times stations.
pub(super) fn walk(
    harness: &Harness,
    (from, place): (&Setup, Place),
    phases: &[(&Setup, Vec<Round>)],
) -> Vec<Walked> {
    let befores = std::iter::once(from).chain(phases.iter().map(|(setup, _)| *setup));
    let done: Vec<Vec<Vec<Action>>> =
        befores.zip(phases).map(|(from, (to, _))| rounds(harness, from, to)).collect();
    let visits = |(changes, (_, readings)): (&Vec<Vec<Action>>, &(&Setup, Vec<Round>))| -> Vec<Round> {
        let changes = changes.iter().map(|round| stations(harness, round));
        changes.chain(readings.iter().cloned()).collect()
    };
    let all: Vec<Round> = done.iter().zip(phases).flat_map(visits).collect();
    let mut ends = ends(harness, place, &all).into_iter();
    let mut here = place;
    let mut walked = Vec::new();
    for (changes, (_, readings)) in done.iter().zip(phases) {
        let mut phase = Walked::default();
        for round in changes {
            let end = ends.next().flatten();
            let visits = route(&stations(harness, round), here, end);
            phase.actions.extend(round.iter().filter(|action| action.station(harness).is_none()).cloned());
            for station in visits {
                if here.replace(station) != Some(station) {
                    phase.actions.push(Action::GoTo(station));
                }
                let here = round.iter().filter(|action| action.station(harness) == Some(station));
                phase.actions.extend(here.cloned());
            }
        }
        phase.enters = here;
        for round in readings {
            for station in route(round, here, ends.next().flatten()) {
                if here.replace(station) != Some(station) {
                    phase.walks.push(Action::GoTo(station));
                }
            }
        }
        phase.leaves = here;
        walked.push(phase);
    }
    walked
}

/// From one setup to another: what is done, with the walks, and where the person stands then.
pub(super) fn way(harness: &Harness, from: (&Setup, Place), to: &Setup) -> (Vec<Action>, Place) {
    let walked = walk(harness, from, &[(to, Vec::new())]).pop().unwrap_or_default();
    (walked.actions, walked.enters)
}

/// Where to end each round so that all walking is least.
fn ends(harness: &Harness, from: Place, rounds: &[Round]) -> Vec<Place> {
    let mut layers: Vec<Vec<(Place, u64, usize)>> = vec![vec![(from, 0, 0)]];
    for round in rounds {
        let at: Vec<(Place, u64)> =
            layers[layers.len() - 1].iter().map(|(place, cost, _)| (*place, *cost)).collect();
        layers.push(step(harness, &at, round));
    }
    let last = layers[layers.len() - 1].iter().enumerate().min_by_key(|(_, (_, cost, _))| *cost);
    let mut at = last.map_or(0, |(at, _)| at);
    let mut ends = Vec::new();
    for layer in layers.iter().skip(1).rev() {
        let (place, _, from) = layer[at];
        ends.push(place);
        at = from;
    }
    ends.reverse();
    ends
}

/// The stations of a round in order: first where one stands, last where one is to end.
fn route(round: &Round, here: Place, end: Place) -> Vec<StationId> {
    let mut stations: Vec<StationId> = round.iter().copied().collect();
    stations.sort_by_key(|station| (Some(*station) != here, Some(*station) == end && round.len() > 1));
    stations
}
