//! Other ways through the same problem: what they would cost.
//!
//! Comes in: the groups of suspects, the readings that tell, and what each costs. Goes out: what is to be expected of
//! reading contact by contact, of halving the suspects, of the best tree there is, and the bound that no tree beats.

use crate::locate::policy::{self, Choice, NOTHING, OUTCOMES, Problem, Test, information};

/// What a way costs.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Cost {
    /// Readings.
    pub readings: f64,
    /// Seconds for changes, walks and readings.
    pub seconds: f64,
}

/// Readings in the order of the contacts in the definition, the setup at hand first; what tells nothing is passed over.
pub fn linear(choice: &Choice) -> Cost {
    expected(choice, &|weights, used, _| {
        choice
            .order
            .iter()
            .copied()
            .find(|at| !used[*at] && information(weights, &choice.tests[*at].shows) > NOTHING)
    })
}

/// The reading that comes nearest to halving the number of suspects, whatever it costs and however likely each is.
pub fn half_split(choice: &Choice) -> Cost {
    expected(choice, &|weights, used, _| {
        let tells = |at: &usize| !used[*at] && information(weights, &choice.tests[*at].shows) > NOTHING;
        let largest = |at: &usize| {
            let count = |outcome: usize| {
                let stands = |(weight, shows): (&f64, &u8)| *weight > 0.0 && shows & (1 << outcome) != 0;
                weights.iter().zip(&choice.tests[*at].shows).filter(|one| stands(*one)).count()
            };
            (0..OUTCOMES).map(count).max()
        };
        choice.order.iter().copied().filter(tells).min_by_key(largest)
    })
}

/// The way that the advice itself takes, were every reading to come out as one of its predictions.
pub fn advised(choice: &Choice) -> Cost {
    expected(choice, &|weights, used, from| {
        let left: Vec<usize> = (0..weights.len()).filter(|at| weights[*at] > 0.0).collect();
        let open: Vec<usize> = (0..used.len()).filter(|at| !used[*at]).collect();
        let tests: Vec<Test> = open
            .iter()
            .map(|at| {
                let test = &choice.tests[*at];
                Test { shows: left.iter().map(|group| test.shows[*group]).collect(), place: test.place }
            })
            .collect();
        let weights: Vec<f64> = left.iter().map(|at| weights[*at]).collect();
        let cost =
            |after: Option<usize>, test: usize| choice.seconds(after.or(from), open[test]) + choice.thought;
        let advice = Problem { weights: &weights, tests: &tests, cost: &cost }.advise()?;
        Some(open[advice.test])
    })
}

/// The entropy of the groups in bits: readings that no tree does without on average where each has two outcomes
/// (Pattipati and Alexandridis 1990, from the noiseless coding of Shannon 1948).
pub fn entropy(choice: &Choice) -> f64 {
    policy::entropy(&choice.weights)
}

/// Readings that no tree does without on average: the entropy of the groups by the logarithm of the most outcomes that
/// one of the readings has.
pub fn entropy_bound(choice: &Choice) -> f64 {
    let bits = entropy(choice);
    let outcomes = |shows: &Vec<u8>| shows.iter().fold(0u8, |all, one| all | one).count_ones();
    let most = choice.tests.iter().map(|test| outcomes(&test.shows)).max().unwrap_or(0);
    if most < 2 { 0.0 } else { bits / f64::from(most).log2() }
}

/// Picks the next test of a way from the weights that are left, the tests that were used, and the place.
type Picks<'a> = dyn Fn(&[f64], &[bool], Option<usize>) -> Option<usize> + 'a;

/// What is to be expected of a way, each outcome weighed. No reading is taken twice. Branches that are hardly ever come to
/// are not followed, which makes the way look a little cheaper than it is.
fn expected(choice: &Choice, next: &Picks<'_>) -> Cost {
    let mut way = Way { choice, next, used: vec![false; choice.tests.len()] };
    way.walk(&choice.weights, None, 1.0)
}

/// Branches with a smaller share of the probability are not followed.
const HARDLY: f64 = 2e-3;

struct Way<'a> {
    choice: &'a Choice,
    next: &'a Picks<'a>,
    used: Vec<bool>,
}

impl Way<'_> {
    /// From where these weights are left, which is come to with probability `reach`.
    fn walk(&mut self, weights: &[f64], from: Option<usize>, reach: f64) -> Cost {
        if reach < HARDLY || weights.iter().filter(|weight| **weight > 0.0).count() < 2 {
            return Cost::default();
        }
        let Some(test) = (self.next)(weights, &self.used, from) else { return Cost::default() };
        let all: f64 = weights.iter().sum();
        let mut cost = Cost { readings: 1.0, seconds: self.choice.seconds(from, test) };
        self.used[test] = true;
        for outcome in 0..OUTCOMES {
            let part = |(weight, shows): (&f64, &u8)| {
                if shows & (1 << outcome) == 0 { 0.0 } else { weight / f64::from(shows.count_ones()) }
            };
            let part: Vec<f64> = weights.iter().zip(&self.choice.tests[test].shows).map(part).collect();
            let share = part.iter().sum::<f64>() / all;
            let further = self.walk(&part, Some(self.choice.tests[test].place), reach * share);
            cost.readings += share * further.readings;
            cost.seconds += share * further.seconds;
        }
        self.used[test] = false;
        cost
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A chain of equals, probed between every two: each test fails for all before it.
    fn chain(count: usize) -> Choice {
        let tests: Vec<Test> = (1..count)
            .map(|to| Test { shows: (0..count).map(|at| if at < to { 2 } else { 1 }).collect(), place: 0 })
            .collect();
        let many = tests.len();
        Choice {
            weights: vec![1.0; count],
            tests,
            order: (0..many).collect(),
            from_here: vec![1.0; many],
            from: vec![vec![1.0; many]],
            thought: 0.0,
        }
    }

    #[test]
    fn a_chain_of_eight_costs_what_counting_says() {
        // Arithmetic: one by one (1 + 2 + … + 7 + 7) / 8, halved log2 8.
        let chain = chain(8);
        assert!((linear(&chain).readings - 35.0 / 8.0).abs() < 1e-9);
        assert!((half_split(&chain).readings - 3.0).abs() < 1e-9);
        assert!((entropy_bound(&chain) - 3.0).abs() < 1e-9);
        assert!((chain.optimum(&|_, _| 1.0).unwrap() - 3.0).abs() < 1e-9);
    }
}
