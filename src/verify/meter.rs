//! Meters, as far as a claim needs them: what they read, and what they are unsure of.
//!
//! Comes in: a name. Goes out: figures. Why: a claim holds only if the reading leaves its interval by more than
//! the meter's uncertainty. The figures are written a second time here, so that a slip in the one table shows
//! against the other; all are common practice, those of the tone from manuals of plain meters.

use crate::definition::Kind;

/// A meter.
#[derive(Debug, Clone, Copy)]
pub(super) struct Meter {
    pub(super) name: &'static str,
    reads: &'static [Kind],
    /// Ohms of its leads that are in the reading.
    pub(super) leads: f64,
    /// Share of a resistance, and ohms.
    ohms: [f64; 2],
    /// Share of a voltage, and volts.
    volts: [f64; 2],
    /// Whether it gives a tone and no number: below the first for sure, above the second never.
    pub(super) tone: Option<[f64; 2]>,
    /// What its test current is, where it must not get to a hazard mark or to electronics.
    pub(super) strong: Option<Strong>,
}

/// A test current that is not harmless.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Strong {
    /// 100 mA: not near a hazard mark.
    Current,
    /// 500 V: neither near a hazard mark nor into electronics.
    Voltage,
}

const HANDHELD: Meter = Meter {
    name: "handheld",
    reads: &[Kind::Continuity, Kind::Isolation, Kind::Voltage, Kind::Drop],
    leads: 0.3,
    ohms: [0.01, 0.3],
    volts: [0.01, 0.03],
    tone: None,
    strong: None,
};

/// The meters that a plan can name.
const METERS: [Meter; 5] = [
    HANDHELD,
    Meter { name: "handheld-nulled", leads: 0.0, ..HANDHELD },
    Meter {
        name: "four-wire",
        reads: &[Kind::Continuity],
        leads: 0.0,
        ohms: [0.005, 0.001],
        strong: Some(Strong::Current),
        ..HANDHELD
    },
    Meter {
        name: "megohm",
        reads: &[Kind::Isolation],
        leads: 0.0,
        ohms: [0.05, 1e4],
        strong: Some(Strong::Voltage),
        ..HANDHELD
    },
    Meter {
        name: "beeper",
        reads: &[Kind::Continuity],
        ohms: [0.0, 0.0],
        tone: Some([20.0, 80.0]),
        ..HANDHELD
    },
];

impl Meter {
    /// The meter of a name; a plain one where none is named.
    pub(super) fn named(name: Option<&str>) -> Option<Self> {
        METERS.into_iter().find(|meter| Some(meter.name) == name.or(Some(HANDHELD.name)))
    }

    /// All names.
    pub(super) fn names() -> String {
        METERS.map(|meter| meter.name).join(", ")
    }

    pub(super) fn reads(&self, kind: Kind) -> bool {
        self.reads.contains(&kind)
    }

    /// Its uncertainty at a value, in ohms or volts.
    pub(super) fn uncertainty(&self, kind: Kind, value: f64) -> f64 {
        let [share, least] = if kind.is_resistance() { self.ohms } else { self.volts };
        value.abs() * share + least
    }
}

/// What a meter would show but for its own errors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Reading {
    /// Nothing joins the probes.
    Open,
    /// Ohms or volts.
    Value(f64),
}

/// On which side of an interval a reading lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    /// Below it, by more than the meter's uncertainty.
    Below,
    /// Above it, by more than the meter's uncertainty.
    Above,
    /// Not for sure outside.
    Within,
}

/// The interval that a step expects.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Interval {
    pub(super) low: Option<f64>,
    pub(super) high: Option<f64>,
}

/// Plans print limits to four digits: half a step of the last one, as a share.
const PRINTED: f64 = 5e-4;

/// A limit with the rounding of print, up or down.
fn printed(limit: f64, up: f64) -> f64 {
    limit + up * (limit.abs() * PRINTED + 1e-9)
}

impl Interval {
    /// Where a meter would show a reading for sure.
    pub(super) fn side(&self, reading: Reading, kind: Kind, meter: &Meter) -> Side {
        let Reading::Value(value) = reading else {
            return if self.high.is_some() { Side::Above } else { Side::Within };
        };
        let margin = meter.uncertainty(kind, value);
        if self.low.is_some_and(|low| value + margin < printed(low, 1.0)) {
            Side::Below
        } else if self.high.is_some_and(|high| value - margin > printed(high, -1.0)) {
            Side::Above
        } else {
            Side::Within
        }
    }

    /// Whether a true value lies within it.
    pub(super) fn holds(&self, reading: Reading) -> bool {
        match reading {
            Reading::Open => self.high.is_none(),
            Reading::Value(value) => {
                self.low.is_none_or(|low| value >= printed(low, -1.0))
                    && self.high.is_none_or(|high| value <= printed(high, 1.0))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure;

    #[test]
    fn the_two_tables_of_meters_agree() {
        assert_eq!(METERS.len(), measure::METERS.len());
        for (own, other) in METERS.iter().zip(measure::METERS) {
            assert_eq!((own.name, own.reads), (other.name, other.reads));
            assert_eq!(own.tone.is_some(), other.is_tone_only());
            let close = |a: f64, b: f64| (a - b).abs() < 1e-12;
            assert!(close(own.leads, other.leads.get()));
            let figures = [own.ohms, own.volts].concat();
            let others =
                [other.ohms_relative, other.ohms_absolute, other.volts_relative, other.volts_absolute];
            assert!(figures.into_iter().zip(others).all(|(a, b)| close(a, b)), "{}", own.name);
            if let Some(between) = own.tone {
                assert!(between.into_iter().zip(other.beeps_between).all(|(a, b)| close(a, b.get())));
            }
        }
    }

    #[test]
    fn a_reading_must_leave_the_interval_by_the_meters_uncertainty() {
        let expect = Interval { low: Some(1.0), high: Some(2.0) };
        let side = |ohms: f64| expect.side(Reading::Value(ohms), Kind::Continuity, &HANDHELD);
        assert_eq!(
            [0.5, 0.8, 1.5, 2.2, 2.5].map(side),
            [Side::Below, Side::Within, Side::Within, Side::Within, Side::Above]
        );
        assert_eq!(expect.side(Reading::Open, Kind::Continuity, &HANDHELD), Side::Above);
        assert!(expect.holds(Reading::Value(2.0)) && !expect.holds(Reading::Open));
    }
}
