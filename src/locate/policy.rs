//! Which test to make next, when each tells something and costs something.
//!
//! Comes in: suspects with their weights, tests with what each suspect makes them show, and what a test costs from
//! where one stands. Goes out: the test to make now. Why: the cheapest way to the end is not always the test
//! that tells most, nor the one that tells most per second.
//!
//! Method: where suspects are few, every order of tests is weighed and the least expected cost to the end wins
//! (dynamic programming over sets of suspects; Pattipati and Alexandridis, "Application of heuristic search and
//! information theory to sequential fault diagnosis", IEEE Trans. SMC 20(4), 1990, have the problem and its
//! bounds). Where they are many: information per cost, over one test or over two in a row, whichever is
//! more.
//!
//! Cost: the exact way stops after 150,000 looks and gives way to the other, which takes the tests times
//! the suspects times twelve.

use std::collections::HashMap;

/// More suspects than this are not weighed exactly.
const EXACT: usize = 14;
/// The most looks at a test that the exact way may take.
const PATIENCE: usize = 150_000;
/// So many of the best tests are followed one step further.
const AHEAD: usize = 12;
/// A test is worth its cost only from this much of the best test's information.
const WORTH: f64 = 0.3;
/// Less information than this, in bits, is none.
pub const NOTHING: f64 = 0.01;
/// The most outcomes a test can have.
pub const OUTCOMES: usize = 8;

/// A test: what each suspect makes it show.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Test {
    /// For each suspect the outcomes it may give, bit by bit: one, or several alike.
    pub shows: Vec<u8>,
    /// Where one stands after it.
    pub place: usize,
}

/// What is to be told apart, and with what.
pub struct Problem<'a> {
    /// The weight of each suspect.
    pub weights: &'a [f64],
    /// The tests.
    pub tests: &'a [Test],
    /// What a test costs from a place; from where one stands now if there is none.
    pub cost: &'a dyn Fn(Option<usize>, usize) -> f64,
}

/// The test to make now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Advice {
    /// Its place among the tests.
    pub test: usize,
    /// The expected cost to the end, where every order was weighed.
    pub to_the_end: Option<f64>,
}

/// A problem with its costs as figures, for whoever compares ways through it.
#[derive(Debug, Clone, Default)]
pub struct Choice {
    /// The weight of each group of suspects.
    pub weights: Vec<f64>,
    /// The readings that tell something.
    pub tests: Vec<Test>,
    /// The same in the order of the contacts in the definition, setup by setup.
    pub order: Vec<usize>,
    /// Seconds for a test from where one stands: changes, walks and the reading.
    pub from_here: Vec<f64>,
    /// The same from each place.
    pub from: Vec<Vec<f64>>,
    /// What the policy adds to every reading, in seconds.
    pub thought: f64,
}

impl Choice {
    /// Seconds for a test from a place; from where one stands if there is none.
    pub fn seconds(&self, from: Option<usize>, test: usize) -> f64 {
        from.map_or(self.from_here[test], |from| self.from[from][test])
    }

    /// The least expected cost to tell all groups apart, every order weighed; `None` where there are too many groups,
    /// or no order of tests is sure to tell all of them apart.
    pub fn optimum(&self, cost: &dyn Fn(Option<usize>, usize) -> f64) -> Option<f64> {
        let problem = Problem { weights: &self.weights, tests: &self.tests, cost };
        let stuck = |_: u32, _: Option<usize>| f64::INFINITY;
        problem.exact(&stuck)?.to_the_end.filter(|cost| cost.is_finite())
    }
}

impl Problem<'_> {
    /// The test to make now; `None` where none tells anything.
    pub fn advise(&self) -> Option<Advice> {
        self.exact(&|left, place| self.stuck(left, place)).or_else(|| self.ahead())
    }

    /// The test that starts the cheapest way to the end, all orders weighed; `None` where there are too many of
    /// them, or where no test is sure to get further.
    fn exact(&self, stuck: &dyn Fn(u32, Option<usize>) -> f64) -> Option<Advice> {
        let many = self.weights.len();
        if !(2..=EXACT).contains(&many) {
            return None;
        }
        let mut search = Search { problem: self, stuck, known: HashMap::new(), patience: PATIENCE };
        let (cost, test) = search.least((1 << many) - 1, None)?;
        Some(Advice { test: test?, to_the_end: Some(cost) })
    }

    /// What is left to pay where no test is sure to get further: what doubt is left, at the best rate there is. Nothing where
    /// no test tells anything at all.
    fn stuck(&self, left: u32, place: Option<usize>) -> f64 {
        let weights: Vec<f64> = self
            .weights
            .iter()
            .enumerate()
            .map(|(at, w)| if left & (1 << at) == 0 { 0.0 } else { *w })
            .collect();
        let rate = |at: usize| {
            let bits = information(&weights, &self.tests[at].shows);
            (bits > NOTHING).then(|| bits / (self.cost)(place, at).max(f64::MIN_POSITIVE))
        };
        let best = (0..self.tests.len()).filter_map(rate).fold(0.0, f64::max);
        if best > 0.0 { entropy(&weights) / best } else { 0.0 }
    }

    /// The test with the most information per cost, alone or with the best test after each of its outcomes.
    fn ahead(&self) -> Option<Advice> {
        let bits: Vec<f64> = self.tests.iter().map(|test| information(self.weights, &test.shows)).collect();
        let most = bits.iter().copied().fold(0.0, f64::max);
        let cost = |from, test| (self.cost)(from, test).max(f64::MIN_POSITIVE);
        let rate = |test: &usize| bits[*test] / cost(None, *test);
        let worth = |test: &usize| bits[*test] > NOTHING && bits[*test] >= most * WORTH;
        let mut worth: Vec<usize> = (0..self.tests.len()).filter(worth).collect();
        worth.sort_by(|a, b| rate(b).total_cmp(&rate(a)).then(a.cmp(b)));
        let with_next = |test: &usize| rate(test).max(self.rate_of_two(*test, bits[*test]));
        let best = worth.iter().take(AHEAD).map(|test| (*test, with_next(test)));
        // Of equals the first, which has the better rate alone.
        let best = best.fold(None, |best: Option<(usize, f64)>, one| match best {
            Some(known) if known.1 >= one.1 => Some(known),
            _ => Some(one),
        });
        Some(Advice { test: best?.0, to_the_end: None })
    }

    /// Information per cost of a test with the best one after each of its outcomes.
    fn rate_of_two(&self, first: usize, bits: f64) -> f64 {
        let all: f64 = self.weights.iter().sum();
        let (mut bits, mut cost) = (bits, (self.cost)(None, first));
        let place = Some(self.tests[first].place);
        for outcome in 0..OUTCOMES {
            let left: Vec<f64> = self.left(first, outcome);
            let share = left.iter().sum::<f64>() / all;
            if left.iter().filter(|weight| **weight > 0.0).count() < 2 {
                continue;
            }
            let of = |test: usize| (information(&left, &self.tests[test].shows), (self.cost)(place, test));
            let all = (0..self.tests.len()).map(of).filter(|(bits, _)| *bits > NOTHING);
            let most = all.max_by(|a, b| (a.0 / a.1).total_cmp(&(b.0 / b.1)));
            if let Some((more, seconds)) = most {
                bits += share * more;
                cost += share * seconds;
            }
        }
        bits / cost.max(f64::MIN_POSITIVE)
    }

    /// The weights that an outcome leaves.
    fn left(&self, test: usize, outcome: usize) -> Vec<f64> {
        let of = |(weight, shows): (&f64, &u8)| {
            if shows & (1 << outcome) == 0 { 0.0 } else { weight / f64::from(shows.count_ones()) }
        };
        self.weights.iter().zip(&self.tests[test].shows).map(of).collect()
    }
}

/// The doubt about which of the suspects it is, in bits (Shannon 1948).
pub fn entropy(weights: &[f64]) -> f64 {
    let all: f64 = weights.iter().sum();
    let parts = weights.iter().filter(|weight| **weight > 0.0).map(|weight| weight / all);
    parts.map(|p| -p * p.log2()).sum()
}

/// What a test is expected to tell, in bits: the entropy of its outcomes less the doubt that each suspect leaves about
/// them (mutual information, Shannon 1948).
pub fn information(weights: &[f64], shows: &[u8]) -> f64 {
    let mut of_outcome = [0.0; OUTCOMES];
    let (mut all, mut doubt) = (0.0, 0.0);
    for (weight, shows) in weights.iter().zip(shows).filter(|(weight, _)| **weight > 0.0) {
        let count = f64::from(shows.count_ones().max(1));
        for (at, sum) in of_outcome.iter_mut().enumerate() {
            if shows & (1 << at) != 0 {
                *sum += weight / count;
            }
        }
        all += weight;
        doubt += weight * count.log2();
    }
    if all <= 0.0 {
        return 0.0;
    }
    let parts = of_outcome.iter().filter(|sum| **sum > 0.0).map(|sum| sum / all);
    parts.map(|p| -p * p.log2()).sum::<f64>() - doubt / all
}

/// A search for the cheapest way to the end.
struct Search<'a> {
    problem: &'a Problem<'a>,
    /// What it costs to be left with suspects that no test is sure to part.
    stuck: &'a dyn Fn(u32, Option<usize>) -> f64,
    /// By the suspects left and the place: the least cost, and the test that starts it.
    known: HashMap<(u32, Option<usize>), (f64, Option<usize>)>,
    patience: usize,
}

impl Search<'_> {
    /// The least expected cost to tell apart what can be told apart; `None` when patience is at its end.
    fn least(&mut self, left: u32, place: Option<usize>) -> Option<(f64, Option<usize>)> {
        if left.count_ones() < 2 {
            return Some((0.0, None));
        }
        if let Some(known) = self.known.get(&(left, place)) {
            return Some(*known);
        }
        let mut best: Option<(f64, usize)> = None;
        for test in 0..self.problem.tests.len() {
            self.patience = self.patience.checked_sub(1)?;
            let Some(parts) = self.split(left, test) else { continue };
            let mut cost = (self.problem.cost)(place, test);
            for (part, share) in parts {
                if best.is_some_and(|(known, _)| cost >= known) {
                    break;
                }
                cost += share * self.least(part, Some(self.problem.tests[test].place))?.0;
            }
            if best.is_none_or(|(known, _)| cost < known) {
                best = Some((cost, test));
            }
        }
        let found = best.map_or_else(|| ((self.stuck)(left, place), None), |(cost, test)| (cost, Some(test)));
        self.known.insert((left, place), found);
        Some(found)
    }

    /// What each outcome leaves, with its share; `None` where some outcome leaves everything.
    fn split(&self, left: u32, test: usize) -> Option<Vec<(u32, f64)>> {
        let mut parts = [(0u32, 0.0); OUTCOMES];
        let mut all = 0.0;
        let shows = &self.problem.tests[test].shows;
        for (at, (weight, shows)) in self.problem.weights.iter().zip(shows).enumerate() {
            if left & (1 << at) == 0 {
                continue;
            }
            all += weight;
            for (outcome, part) in parts.iter_mut().enumerate() {
                if shows & (1 << outcome) != 0 {
                    part.0 |= 1 << at;
                    part.1 += weight / f64::from(shows.count_ones());
                }
            }
        }
        let parts: Vec<(u32, f64)> = parts.into_iter().filter(|(part, _)| *part != 0).collect();
        let further = parts.iter().all(|(part, _)| *part != left);
        further.then(|| parts.into_iter().map(|(part, weight)| (part, weight / all)).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Binary tests, given as the suspects that make each of them fail.
    fn advise(weights: &[f64], fails: &[&[usize]], costs: &[f64]) -> Advice {
        let shows =
            |fails: &&[usize]| (0..weights.len()).map(|at| if fails.contains(&at) { 2 } else { 1 }).collect();
        let tests: Vec<Test> = fails.iter().map(|f| Test { shows: shows(f), place: 0 }).collect();
        Problem { weights, tests: &tests, cost: &|_, test| costs[test] }.advise().unwrap()
    }

    fn close(advice: Advice, cost: f64) {
        let found = advice.to_the_end.unwrap();
        assert!((found - cost).abs() < 1e-9, "{found}, not {cost}");
    }

    /// Probes along a chain: each fails if the fault is at it or before it.
    fn chain(weights: &[f64], costs: &[f64]) -> Advice {
        let all: Vec<usize> = (0..weights.len()).collect();
        let fails: Vec<&[usize]> = (1..weights.len()).map(|to| &all[..to]).collect();
        advise(weights, &fails, costs)
    }

    // The optimal costs below were found by exhaustive search over all subsets, outside this code; no source.

    #[test]
    fn five_states_and_five_tests() {
        let weights = [0.70, 0.01, 0.02, 0.10, 0.17];
        let fails: [&[usize]; 5] = [&[3, 4], &[1, 4], &[2], &[2, 3], &[1, 3]];
        close(advise(&weights, &fails, &[1.0; 5]), 2.12);
    }

    #[test]
    fn a_chain_of_equals_is_halved() {
        let advice = chain(&[1.0; 8], &[1.0; 7]);
        close(advice, 3.0);
        assert_eq!(advice.test, 3);
    }

    #[test]
    fn a_chain_is_not_halved_where_weights_or_costs_speak_against_it() {
        let weights = [0.05, 0.40, 0.10, 0.15, 0.30];
        close(chain(&weights, &[1.0; 4]), 2.25);
        close(chain(&weights, &[1.0, 1.0, 5.0, 1.0]), 3.25);
    }

    #[test]
    fn the_last_cause_needs_no_look() {
        let each: [&[usize]; 3] = [&[0], &[1], &[2]];
        let advice = advise(&[0.5, 0.3, 0.2], &each, &[10.0, 2.0, 1.0]);
        close(advice, 2.6);
        assert_eq!(advice.test, 2);
        let advice = advise(&[0.9, 0.1], &each[..2], &[5.0, 1.0]);
        close(advice, 1.0);
        assert_eq!(advice.test, 1);
    }

    #[test]
    fn many_suspects_are_weighed_by_looking_two_steps_ahead() {
        let weights = vec![1.0; 64];
        let bit = |at: usize| Test {
            shows: (0..64).map(|one| if one >> at & 1 == 1 { 2 } else { 1 }).collect(),
            place: 0,
        };
        let tests: Vec<Test> = (0..6).map(bit).collect();
        let problem =
            Problem { weights: &weights, tests: &tests, cost: &|_, test| [9., 9., 1., 9., 9., 9.][test] };
        assert_eq!(problem.advise(), Some(Advice { test: 2, to_the_end: None }));
    }

    #[test]
    fn what_tells_nothing_is_never_advised() {
        let tests = [Test { shows: vec![1; 20], place: 0 }, Test { shows: vec![1; 20], place: 1 }];
        let problem = Problem { weights: &[1.0; 20], tests: &tests, cost: &|_, _| 1.0 };
        assert_eq!(problem.advise(), None);
        let few =
            Problem { weights: &[1.0; 3], tests: &[Test { shows: vec![1; 3], place: 0 }], cost: &|_, _| 1.0 };
        assert_eq!(few.advise(), None);
    }
}
