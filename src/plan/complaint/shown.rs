//! What a meter can show, and which of it a fault makes it show.
//!
//! No resistance is exactly what is expected, so a fault is said to show only where it moves a reading half
//! as far again as the limit lies from what is expected, and to be hidden only where it moves it less than
//! half as far. In between either may be seen, and the fault stays standing whichever is.
//!
//! More than its voltage at a live point is good: where a load is missing, less is lost on the way, and
//! by how much depends on the battery of the day.

use crate::circuit::Operating;
use crate::measure::{Expectation, Measurement, OPEN_FROM, Prediction, Situation};
use crate::units::{Ohms, Volts, significant};

/// What a meter can show.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Shown {
    /// Less than expected.
    Low,
    /// As expected.
    Good,
    /// More than expected, but not open.
    High,
    /// Over the range.
    Open,
}

impl Shown {
    /// All, in the order of their figures.
    pub const ALL: [Self; 4] = [Self::Low, Self::Good, Self::High, Self::Open];

    /// As a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Low => "lower",
            Self::Good => "good",
            Self::High => "higher",
            Self::Open => "open",
        }
    }

    /// What a reading is, beside what is expected.
    pub fn of(reading: crate::measure::Reading, expect: &Expectation) -> Self {
        if expect.admits(reading) {
            return Self::Good;
        }
        match reading.number() {
            Some(value) if is_live(expect) && value > expect.low => Self::Good,
            None => Self::Open,
            Some(value) if expect.ohms && value >= OPEN_FROM.get() => Self::Open,
            Some(value) if value < expect.low => Self::Low,
            Some(_) => Self::High,
        }
    }

    /// With its interval: "lower than 21.9 V".
    pub fn words(self, expect: &Expectation) -> String {
        let say = |value: f64| match (expect.ohms, value.abs() < 1.0) {
            (true, true) => format!("{} ohm", significant(value, 2)),
            (true, false) => format!("{:.3}", Ohms::new(value)),
            (false, true) => format!("{} V", significant(value, 2)),
            (false, false) => format!("{:.3}", Volts::new(value)),
        };
        match self {
            Self::Good if is_live(expect) => format!("good, {} or more", say(expect.low)),
            Self::Good => format!("good, {}", expect.words()),
            Self::Low => format!("below {}", say(expect.low)),
            Self::High => format!("above {}", say(expect.high.unwrap_or(f64::MAX))),
            Self::Open => "open".to_owned(),
        }
    }
}

/// Whether a voltage is expected.
fn is_live(expect: &Expectation) -> bool {
    !expect.ohms && expect.low > 0.0
}

/// A set of things that a meter may show.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Set(u8);

impl Set {
    pub(super) const GOOD: Self = Self(1 << Shown::Good as u8);

    /// From the least to the most.
    fn range(from: Shown, to: Shown) -> Self {
        Shown::ALL.into_iter().filter(|one| (from..=to).contains(one)).fold(Self(0), Self::with)
    }

    fn with(self, one: Shown) -> Self {
        Self(self.0 | 1 << one as u8)
    }

    /// All from the least of both to the most of both.
    pub(super) fn spanned(self, other: Self) -> Self {
        let both = Self(self.0 | other.0);
        let first = both.iter().next();
        let last = both.iter().last();
        first.zip(last).map_or(both, |(first, last)| Self::range(first, last))
    }

    pub(super) fn contains(self, one: Shown) -> bool {
        self.0 & 1 << one as u8 != 0
    }

    pub(super) fn iter(self) -> impl Iterator<Item = Shown> {
        Shown::ALL.into_iter().filter(move |one| self.contains(*one))
    }

    pub(super) fn count(self) -> f64 {
        f64::from(self.0.count_ones())
    }
}

fn number(prediction: Prediction) -> f64 {
    match prediction {
        Prediction::Ohms(x) | Prediction::Volts(x) => x,
        Prediction::Open => f64::INFINITY,
    }
}

/// What a reading may show on a solved machine, or on one that never settles: that is read about the mean of
/// its states, give or take a quarter of their spread.
pub(super) fn of_machines(
    situation: &Situation<'_>,
    machines: &[Operating],
    way: &crate::circuit::Way,
    measurement: &Measurement,
    healthy: Prediction,
    expect: &Expectation,
) -> Set {
    let read = |machine: &Operating| situation.read_along(machine, way, measurement.kind());
    let set = |reading| set(reading, healthy, expect, measurement);
    match machines {
        [] => Set::GOOD,
        [one] => set(read(one)),
        rounds => {
            let values: Vec<f64> = rounds.iter().map(|machine| number(read(machine))).collect();
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            let most = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let quarter = (most - values.iter().copied().fold(f64::INFINITY, f64::min)) * 0.25;
            set(Prediction::Volts(mean - quarter)).spanned(set(Prediction::Volts(mean + quarter)))
        }
    }
}

/// What a reading may show that is predicted as `reading` where a healthy machine has `healthy`.
fn set(reading: Prediction, healthy: Prediction, expect: &Expectation, measurement: &Measurement) -> Set {
    let (x, v) = (number(reading), number(healthy));
    if same(x, v) {
        return Set::GOOD;
    }
    // A finite middle, where the maker demands a figure of what nothing joins.
    let v = if v.is_finite() { v } else { expect.high.map_or(v, |high| f64::midpoint(expect.low, high)) };
    let least = expect.meter.uncertainty(measurement.kind(), expect.low.abs().min(v.abs()));
    let beyond = |limit: f64| (x - v).abs() / (v - limit).abs().max(least);
    let judged = |beyond: f64, outside: Set| {
        if beyond < 0.5 {
            Set::GOOD
        } else if beyond <= 1.5 {
            Set::GOOD.spanned(outside)
        } else {
            outside
        }
    };
    match expect.high {
        None if x < expect.low * 0.5 => Set::range(Shown::Low, Shown::Low),
        None if x < expect.low * 2.0 => Set::range(Shown::Low, Shown::Good),
        None => Set::GOOD,
        Some(_) if x > v && is_live(expect) => Set::GOOD,
        Some(high) if x > v => judged(beyond(high), above(x, expect.ohms)),
        // Less than nothing is not read.
        Some(_) if expect.ohms && expect.low <= 0.0 => Set::GOOD,
        Some(_) => judged(beyond(expect.low), Set::range(Shown::Low, Shown::Low)),
    }
}

/// A resistance about where meters begin to say "open" may be read either way.
fn above(x: f64, ohms: bool) -> Set {
    let open = OPEN_FROM.get();
    match ohms {
        true if x >= 2.0 * open => Set::range(Shown::Open, Shown::Open),
        true if x >= 0.5 * open => Set::range(Shown::High, Shown::Open),
        _ => Set::range(Shown::High, Shown::High),
    }
}

/// Whether two predictions are the same but for the noise of arithmetic.
fn same(a: f64, b: f64) -> bool {
    if !a.is_finite() || !b.is_finite() {
        return a.is_finite() == b.is_finite();
    }
    (a - b).abs() <= 1e-3 * a.abs().max(b.abs()) + 1e-3
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sets_span_what_lies_between() {
        let low = Set::range(Shown::Low, Shown::Low);
        let open = Set::range(Shown::Open, Shown::Open);
        assert!(low.spanned(open).contains(Shown::High) && low.spanned(open).count() > 3.5);
        assert_eq!(Set::GOOD.iter().collect::<Vec<_>>(), [Shown::Good]);
        assert!(above(1e6, true).contains(Shown::High) && above(1e6, true).contains(Shown::Open));
    }
}
