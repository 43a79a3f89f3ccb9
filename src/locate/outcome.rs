//! What a reading can come out as, and what that tells of the suspects.
//!
//! Comes in: predicted readings and what is expected of a healthy machine. Goes out: outcomes in a few classes. Why: two
//! suspects are told apart only by what a person sees: less, good, more, or open.

use std::collections::{BTreeMap, BTreeSet};

use super::predict::Range;
use crate::definition::Kind;
use crate::measure::{Expectation, Meter, OPEN_FROM, Prediction, Reading};

/// What a reading can come out as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Outcome {
    Low,
    Good,
    High,
    Open,
}

impl Outcome {
    const ALL: [Self; 4] = [Self::Low, Self::Good, Self::High, Self::Open];

    pub(super) fn words(self, expect: &Expectation) -> String {
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
pub(super) struct Outcomes {
    from: Outcome,
    to: Outcome,
}

impl Outcomes {
    const GOOD: Self = Self { from: Outcome::Good, to: Outcome::Good };

    pub(super) fn all(self) -> impl Iterator<Item = Outcome> + Clone {
        Outcome::ALL.into_iter().filter(move |one| (self.from..=self.to).contains(one))
    }

    pub(super) fn contains(self, one: Outcome) -> bool {
        (self.from..=self.to).contains(&one)
    }

    /// Whether it may be one or another.
    pub(super) fn is_vague(self) -> bool {
        self.from != self.to
    }

    /// What is left of it where some outcomes have been seen of the same doubt; all of it where none of them is its own.
    pub(super) fn narrowed(self, seen: &BTreeSet<Outcome>) -> Self {
        let mut own = seen.iter().copied().filter(|one| self.contains(*one));
        match (own.next(), own.next_back()) {
            (Some(from), to) => Self { from, to: to.unwrap_or(from) },
            _ => self,
        }
    }

    /// As bits.
    pub(super) fn bits(self) -> u8 {
        self.all().fold(0, |bits, one| bits | 1 << one as u8)
    }
}

/// Whether suspects show either the same or something that the others cannot show.
pub(super) fn is_clear(outcomes: &[Outcomes]) -> bool {
    let distinct: BTreeSet<Outcomes> = outcomes.iter().copied().collect();
    let count: u32 = distinct.iter().map(|one| one.bits().count_ones()).sum();
    distinct.iter().fold(0, |all, one| all | one.bits()).count_ones() == count
}

/// Which suspects share an outcome, whatever it is: each outcome as the place of its first suspect.
pub(super) fn pattern(outcomes: &[Outcomes]) -> Vec<usize> {
    let mut first: BTreeMap<Outcomes, usize> = BTreeMap::new();
    outcomes.iter().enumerate().map(|(at, one)| *first.entry(*one).or_insert(at)).collect()
}

/// The outcomes that a predicted reading may have.
pub(super) fn outcome(range: &Range, kind: Kind, expect: &Expectation, meter: &Meter) -> Outcomes {
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
    if found.from == found.to && (least..=most).contains(&Outcome::Good) { Outcomes::GOOD } else { found }
}

/// What a meter showed, as an outcome.
pub(super) fn shown(value: Reading, expect: &Expectation) -> Option<Outcome> {
    if expect.admits(value) {
        return Some(Outcome::Good);
    }
    match value {
        Reading::Open => Some(Outcome::Open),
        Reading::Ohms(ohms) if ohms >= OPEN_FROM => Some(Outcome::Open),
        Reading::Ohms(ohms) if ohms.get() < expect.low => Some(Outcome::Low),
        Reading::Volts(volts) if volts.get() < expect.low => Some(Outcome::Low),
        Reading::Ohms(_) | Reading::Volts(_) => Some(Outcome::High),
        Reading::Tone => None,
    }
}

/// The share of each outcome that may come; a suspect of several counts for each alike.
pub(super) fn shares(weights: &[f64], outcomes: &[Outcomes]) -> Vec<(Outcome, f64)> {
    let mut of_outcome = [0.0; Outcome::ALL.len()];
    for (weight, outcomes) in weights.iter().zip(outcomes) {
        let each = weight / outcomes.all().count() as f64;
        for one in outcomes.all() {
            of_outcome[one as usize] += each;
        }
    }
    let all: f64 = weights.iter().sum();
    let shares = Outcome::ALL.into_iter().zip(of_outcome).filter(|(_, weight)| *weight > 0.0);
    shares.map(|(one, weight)| (one, weight / all)).collect()
}
