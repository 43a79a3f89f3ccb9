//! In which order to go through the stops of a trip so that it costs least.
//!
//! Comes in: what it costs to go from one stop to another, for each way of leaving the one and each way of
//! leaving the other; which stop must come before which. Goes out: an order, what it costs, and what no
//! order can cost less than. Why: a setup change costs minutes, and costs differ both ways.
//!
//! The first stop is always first and the last one last. Up to [`EXACT`] stops between them the order is
//! the best there is: dynamic programming over sets of stops (Held and Karp, Journal of the Society for
//! Industrial and Applied Mathematics 10, 1962, 196–210), with the way a stop is left as a part of the
//! state. Beyond that it is built by nearest insertion, made better by moving and reversing stretches, and
//! held against a bound: the assignment of one next stop to each, and on the costs that it leaves over
//! the least arborescences (the additive bound of Fischetti and Toth, Mathematical Programming 53, 1992,
//! 173–197; from memory).

use super::tour;

/// Up to so many stops between the first and the last the order is exact: twelve setups, and the reading
/// of the machine as found.
pub const EXACT: usize = 13;

/// How many orders are looked at to make a long one better.
const TRIED: usize = 60_000;

/// The cost of what cannot be.
pub const NEVER: u64 = u64::MAX;

/// What it costs to go from stop to stop, in whatever the caller counts.
#[derive(Debug, Clone)]
pub struct Costs {
    /// Where the ways out of each stop begin, among all ways; one more than stops.
    from: Vec<usize>,
    /// From each way out to each way out of another stop.
    table: Vec<u64>,
}

impl Costs {
    /// Costs between stops with so many ways out each, at least one. `cost` is asked for the stop that is left
    /// with its way out, and for the stop that is gone to with the way by which it will be left.
    pub fn new(ways: &[usize], mut cost: impl FnMut([usize; 2], [usize; 2]) -> u64) -> Self {
        let mut from = vec![0];
        for count in ways {
            from.push(from[from.len() - 1] + count.max(&1));
        }
        let all = from[ways.len()];
        let mut table = vec![NEVER; all * all];
        for (a, b) in (0..ways.len()).flat_map(|a| (0..ways.len()).map(move |b| (a, b))) {
            for (i, j) in (from[a]..from[a + 1]).flat_map(|i| (from[b]..from[b + 1]).map(move |j| (i, j))) {
                if a != b {
                    table[i * all + j] = cost([a, i - from[a]], [b, j - from[b]]);
                }
            }
        }
        Self { from, table }
    }

    /// Costs between stops that are left in one way.
    pub fn plain(matrix: &[Vec<u64>]) -> Self {
        Self::new(&vec![1; matrix.len()], |[a, _], [b, _]| matrix[a][b])
    }

    /// How many stops there are.
    pub fn stops(&self) -> usize {
        self.from.len() - 1
    }

    fn ways(&self, stop: usize) -> std::ops::Range<usize> {
        self.from[stop]..self.from[stop + 1]
    }

    fn between(&self, way: usize, next: usize) -> u64 {
        self.table[way * self.from[self.stops()] + next]
    }

    /// The least from one stop to another, whichever way they are left.
    fn least(&self, a: usize, b: usize) -> u64 {
        let all = self.ways(a).flat_map(|i| self.ways(b).map(move |j| (i, j)));
        all.map(|(i, j)| self.between(i, j)).min().unwrap_or(NEVER)
    }

    /// The least for an order of stops. Cost: for each leg, the ways of both its stops.
    pub fn of(&self, order: &[usize]) -> u64 {
        let Some((first, rest)) = order.split_first() else { return 0 };
        let mut at: Vec<(usize, u64)> = self.ways(*first).map(|way| (way, 0)).collect();
        for stop in rest {
            let reach = |next: usize| {
                at.iter().map(|(way, so_far)| so_far.saturating_add(self.between(*way, next))).min()
            };
            at = self.ways(*stop).map(|next| (next, reach(next).unwrap_or(NEVER))).collect();
        }
        at.into_iter().map(|(_, cost)| cost).min().unwrap_or(NEVER)
    }
}

/// Which stop must come before which.
#[derive(Debug, Clone)]
pub struct Precedence(Vec<Vec<bool>>);

impl Precedence {
    /// Stops with the groups they belong to: all stops of a group come before all of a group with a higher
    /// number; a stop of no group may come anywhere. The first stop is first, the last one last.
    pub fn new(groups: &[Option<usize>]) -> Self {
        let end = groups.len().saturating_sub(1);
        let before = |a: usize, b: usize| {
            let fixed = (a == 0 || b == end) && a != b;
            let grouped = matches!((groups[a], groups[b]), (Some(a), Some(b)) if a < b);
            (fixed || grouped) && !(b == 0 || a == end)
        };
        let row = |a: usize| (0..groups.len()).map(|b| before(a, b)).collect();
        Self((0..groups.len()).map(row).collect())
    }

    /// The same, with a stop that comes before all others but the first.
    #[must_use]
    pub fn early(mut self, stop: usize) -> Self {
        for other in (1..self.0.len()).filter(|other| *other != stop) {
            self.0[stop][other] = true;
            self.0[other][stop] = false;
        }
        self
    }

    /// Whether one stop must come before another.
    pub fn before(&self, a: usize, b: usize) -> bool {
        self.0[a][b]
    }

    /// Whether an order keeps to it. Cost: quadratic in stops.
    pub fn admits(&self, order: &[usize]) -> bool {
        order.iter().enumerate().all(|(at, a)| order[at + 1..].iter().all(|b| !self.before(*b, *a)))
    }

    /// Whether one stop may follow straight on another: neither must it come before, nor must a third one lie
    /// between them.
    fn may_follow(&self, a: usize, b: usize) -> bool {
        !self.before(b, a) && (0..self.0.len()).all(|k| !(self.before(a, k) && self.before(k, b)))
    }
}

/// An order of stops.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Order {
    /// The stops, the first first and the last last.
    pub stops: Vec<usize>,
    /// What it costs.
    pub cost: u64,
    /// What no order that keeps to the precedence can cost less than.
    pub bound: u64,
}

/// The best order, or a good one where there are many stops; of equals the one nearest to the order in which
/// the stops are given. `None` where no order keeps to the precedence or can be gone.
///
/// Cost: up to [`EXACT`] stops between first and last, 2ⁿ sets of stops times the square of their ways;
/// beyond, `TRIED` orders, and the cube of the number of stops for the bound.
pub fn order(costs: &Costs, precedence: &Precedence) -> Option<Order> {
    let stops = costs.stops();
    if stops <= 2 {
        let given: Vec<usize> = (0..stops).collect();
        let cost = costs.of(&given);
        return (cost != NEVER).then_some(Order { stops: given, cost, bound: cost });
    }
    if stops <= EXACT + 2 { exact(costs, precedence) } else { long(costs, precedence) }
}

fn exact(costs: &Costs, precedence: &Precedence) -> Option<Order> {
    let table = Table::new(costs, precedence);
    let stops = table.best()?;
    let cost = costs.of(&stops);
    Some(Order { stops, cost, bound: cost })
}

/// What is still to pay from each way out of each stop, for each set of stops that is done.
struct Table<'a> {
    costs: &'a Costs,
    /// The stops that must be done before each, as bits; bit k is stop k + 1.
    needs: Vec<usize>,
    /// Stops between the first and the last.
    between: usize,
    left: Vec<u64>,
}

impl<'a> Table<'a> {
    fn new(costs: &'a Costs, precedence: &Precedence) -> Self {
        let between = costs.stops() - 2;
        let need = |stop: usize| {
            let before = (0..between).filter(|other| precedence.before(other + 1, stop));
            before.fold(0, |bits, other| bits | 1 << other)
        };
        let needs = (0..between).map(|k| need(k + 1)).collect();
        let ways = costs.from[costs.stops()];
        let mut table = Self { costs, needs, between, left: vec![NEVER; ways << between] };
        for done in (0..1 << between).rev() {
            table.fill(done);
        }
        table
    }

    /// The stops that may come next.
    fn next(&self, done: usize) -> impl Iterator<Item = usize> + '_ {
        (0..self.between).filter(move |k| done >> k & 1 == 0 && self.needs[*k] & !done == 0)
    }

    /// Whether a set of stops is one that can be done without the others.
    fn is_closed(&self, done: usize) -> bool {
        (0..self.between).all(|k| done >> k & 1 == 0 || self.needs[k] & !done == 0)
    }

    fn at(&self, done: usize, way: usize) -> usize {
        done * self.costs.from[self.costs.stops()] + way
    }

    fn fill(&mut self, done: usize) {
        if !self.is_closed(done) {
            return;
        }
        // Before anything is done one is at the first stop; then at any of those that are done.
        let at: Vec<usize> = if done == 0 {
            vec![0]
        } else {
            (0..self.between).filter(|k| done >> k & 1 == 1).map(|k| k + 1).collect()
        };
        let here: Vec<usize> = at.into_iter().flat_map(|stop| self.costs.ways(stop)).collect();
        let next: Vec<usize> = self.next(done).collect();
        for way in here {
            let at = self.at(done, way);
            let least = if next.is_empty() {
                self.costs.ways(self.costs.stops() - 1).map(|end| self.costs.between(way, end)).min()
            } else {
                next.iter().map(|k| self.by(done, way, *k).1).min()
            };
            self.left[at] = least.unwrap_or(NEVER);
        }
    }

    /// Going on from a way out to a stop: its best way out, and what is to pay from here to the end.
    fn by(&self, done: usize, way: usize, k: usize) -> (usize, u64) {
        let to_pay =
            |out: usize| self.costs.between(way, out).saturating_add(self.left[self.at(done | 1 << k, out)]);
        let ways = self.costs.ways(k + 1);
        ways.map(|out| (out, to_pay(out))).min_by_key(|(_, cost)| *cost).unwrap_or((way, NEVER))
    }

    fn best(&self) -> Option<Vec<usize>> {
        let mut way = self.costs.ways(0).min_by_key(|way| self.left[self.at(0, *way)])?;
        if self.left[self.at(0, way)] == NEVER {
            return None;
        }
        let (mut done, mut stops) = (0, vec![0]);
        while stops.len() <= self.between {
            let (k, out, _) = self
                .next(done)
                .map(|k| (k, self.by(done, way, k)))
                .map(|(k, (out, cost))| (k, out, cost))
                .min_by_key(|(_, _, cost)| *cost)?;
            (done, way) = (done | 1 << k, out);
            stops.push(k + 1);
        }
        stops.push(self.between + 1);
        Some(stops)
    }
}

fn long(costs: &Costs, precedence: &Precedence) -> Option<Order> {
    let count = costs.stops();
    let least = |a: usize, b: usize| {
        if a != b && precedence.may_follow(a, b) { costs.least(a, b) } else { NEVER }
    };
    let near: Vec<Vec<u64>> = (0..count).map(|a| (0..count).map(|b| least(a, b)).collect()).collect();
    let stops = better(costs, precedence, start(costs, precedence, &near)?);
    let cost = costs.of(&stops);
    (cost != NEVER).then(|| Order { stops, cost, bound: tour::bound(&near) })
}

/// The order as given, or the one by nearest insertion if that is better: stop by stop, each time the one that
/// is nearest to those that stand, where it costs least.
fn start(costs: &Costs, precedence: &Precedence, near: &[Vec<u64>]) -> Option<Vec<usize>> {
    let given: Vec<usize> = (0..costs.stops()).collect();
    let mut order = vec![0, costs.stops() - 1];
    let mut left: Vec<usize> = (1..costs.stops() - 1).collect();
    while !left.is_empty() {
        let far = |stop: usize| order.iter().map(|o| near[*o][stop].min(near[stop][*o])).min();
        let at = (0..left.len()).min_by_key(|at| far(left[*at]))?;
        let stop = left.remove(at);
        let fits = |at: &usize| {
            let before = order[..*at].iter().all(|other| !precedence.before(stop, *other));
            before && order[*at..].iter().all(|other| !precedence.before(*other, stop))
        };
        let with = |at: usize| {
            let mut with = order.clone();
            with.insert(at, stop);
            with
        };
        let places = (1..order.len()).filter(fits).map(with);
        order = places.min_by_key(|with| costs.of(with))?;
    }
    let given = precedence.admits(&given).then_some(given);
    given.into_iter().chain([order]).min_by_key(|order| costs.of(order))
}

/// Moves and reverses stretches as long as that makes the order cheaper.
fn better(costs: &Costs, precedence: &Precedence, mut order: Vec<usize>) -> Vec<usize> {
    let mut tried = 0;
    let mut cost = costs.of(&order);
    'again: loop {
        for changed in Change::all(order.len()) {
            tried += 1;
            if tried > TRIED {
                return order;
            }
            let with = changed.made(&order);
            let now = costs.of(&with);
            if now < cost && precedence.admits(&with) {
                (order, cost) = (with, now);
                continue 'again;
            }
        }
        return order;
    }
}

/// One change of an order.
#[derive(Debug, Clone, Copy)]
enum Change {
    /// The stretch of so many stops that begins here goes to another place.
    Move { from: usize, len: usize, to: usize },
    /// The stretch between two places is gone the other way round.
    Reverse { from: usize, to: usize },
}

impl Change {
    /// All moves of up to three stops and all reversals; first and last stay.
    fn all(stops: usize) -> impl Iterator<Item = Self> {
        let end = stops - 1;
        let moves = (1..=3).flat_map(move |len| {
            (1..end.saturating_sub(len - 1)).flat_map(move |from| {
                let to = (1..=end - len).filter(move |to| *to != from);
                to.map(move |to| Self::Move { from, len, to })
            })
        });
        let turns = (1..end).flat_map(move |from| (from + 1..end).map(move |to| Self::Reverse { from, to }));
        moves.chain(turns)
    }

    fn made(self, order: &[usize]) -> Vec<usize> {
        let mut order = order.to_vec();
        match self {
            Self::Move { from, len, to } => {
                let stretch: Vec<usize> = order.drain(from..from + len).collect();
                order.splice(to..to, stretch);
            }
            Self::Reverse { from, to } => order[from..=to].reverse(),
        }
        order
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Costs from a fixed sequence of numbers, the same every time.
    fn costs(stops: usize, seed: u64) -> Costs {
        let mut state = seed;
        let mut number = move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            state >> 33
        };
        let ways: Vec<usize> = (0..stops).map(|_| 1 + number() as usize % 3).collect();
        Costs::new(&ways, |_, _| number() % 100)
    }

    /// The method for many stops, tried where the best order is known: never cheaper than that, and its bound
    /// never above it. How near it comes is told in the assertion's message.
    #[test]
    fn the_method_for_many_stops_stays_between_bound_and_best() {
        let [mut best, mut found, mut bound] = [0; 3];
        for seed in 0..60 {
            let stops = 4 + seed as usize % 8;
            let costs = costs(stops, seed);
            let groups: Vec<Option<usize>> =
                (0..stops).map(|k| (k % 3 == 1).then_some(usize::from(k < 4))).collect();
            let precedence = Precedence::new(&groups);
            let exact = exact(&costs, &precedence).unwrap();
            let long = long(&costs, &precedence).unwrap();
            assert!(precedence.admits(&exact.stops) && precedence.admits(&long.stops));
            assert!(long.bound <= exact.cost && exact.cost <= long.cost, "{seed}: {long:?} {exact:?}");
            best += exact.cost;
            found += long.cost;
            bound += long.bound;
        }
        assert!(found * 100 <= best * 110 && bound * 100 >= best * 60, "{bound} {best} {found}");
    }

    #[test]
    fn many_stops_keep_to_their_groups() {
        let costs = costs(40, 9);
        let groups: Vec<Option<usize>> = (0..40).map(|k| (k % 2 == 0).then_some(2 - k / 15)).collect();
        let order = order(&costs, &Precedence::new(&groups)).unwrap();
        assert!(Precedence::new(&groups).admits(&order.stops));
        assert!(order.bound <= order.cost);
        let mut all = order.stops.clone();
        all.sort_unstable();
        assert_eq!(all, (0..40).collect::<Vec<_>>());
    }

    #[test]
    fn a_contradiction_has_no_order() {
        let groups = [None, Some(1), Some(0), None];
        let both = Precedence::new(&groups).early(1);
        // The stop that comes early and the group that comes first: the later word holds.
        assert!(order(&costs(4, 1), &both).is_some());
        let never = Costs::new(&[1; 5], |_, _| NEVER);
        assert!(order(&never, &Precedence::new(&[None; 5])).is_none());
    }
}
