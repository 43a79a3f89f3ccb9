//! Expectations: the interval in which a healthy machine must read.

use super::{Measurement, Meter, OPEN_FROM, Prediction, Reading, Situation};
use crate::definition::{Kind, Limit};
use crate::units::{Ohms, Volts, significant};

/// Battery and alternator voltages of a healthy machine lie within this share below what the
/// definition gives: a lead-acid battery falls about 8 % from full to empty (12.65 V to 11.9 V and the
/// like; published lists differ by up to 0.1 V).
const SOURCE_LOW: f64 = 0.08;
/// And within this share above.
const SOURCE_HIGH: f64 = 0.04;
/// A sound way may lose so many times the drop that is computed: common practice, no source.
const DROP_MARGIN: f64 = 3.0;
/// A sound high-current connection may lose this, in volts: a usual limit of vehicle repair manuals.
const SMALL_DROP: f64 = 0.1;
/// A point that should be dead may show this much: leakage and pick-up, common practice.
const DEAD_VOLTS: f64 = 0.5;

/// The interval in which a healthy machine must read, with the reasons for its limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Expectation {
    /// The least it may read, in ohms or volts.
    pub low: f64,
    /// The most it may read; none where any higher reading is good, as in isolation.
    pub high: Option<f64>,
    /// Whether it is in ohms (else volts).
    pub ohms: bool,
    /// Why these limits.
    pub why: String,
}

impl Expectation {
    /// The unit as a word.
    pub fn unit(&self) -> &'static str {
        if self.ohms { "ohm" } else { "volt" }
    }

    /// Whether a reading lies within it.
    pub fn admits(&self, reading: Reading) -> bool {
        match reading {
            Reading::Open => self.high.is_none(),
            Reading::Tone => self.high.is_some_and(|high| high < Meter::HANDHELD.beeps_below.get() * 2.0),
            Reading::Ohms(_) | Reading::Volts(_) => {
                let value = reading.number().unwrap_or(0.0);
                value >= self.low && self.high.is_none_or(|high| value <= high)
            }
        }
    }

    /// Whether a predicted reading lies outside it by more than the meter's uncertainty, so that the
    /// meter would show it for sure.
    pub fn excludes(&self, prediction: Prediction, kind: Kind, meter: &Meter) -> bool {
        match prediction {
            Prediction::Open => self.high.is_some(),
            Prediction::Ohms(value) | Prediction::Volts(value) => {
                let margin = meter.uncertainty(kind, value);
                value + margin < self.low || self.high.is_some_and(|high| value - margin > high)
            }
        }
    }

    /// In words a person reads at a glance.
    pub fn words(&self) -> String {
        let say = |value: f64| say(value, self.ohms);
        match (self.low, self.high) {
            (low, None) => format!("open (≥ {})", say(low)),
            (low, Some(high)) if self.ohms && low <= high * 0.05 => format!("below {}", say(high)),
            (low, Some(high)) if !self.ohms && low <= 0.0 && high >= 0.0 => format!("below {}", say(high)),
            (low, Some(high)) => {
                let (low, high) = (say(low), say(high));
                // The unit once, where both have the same.
                match (low.split_once(' '), high.split_once(' ')) {
                    (Some((number, a)), Some((_, b))) if a == b => format!("{number} to {high}"),
                    _ => format!("{low} to {high}"),
                }
            }
        }
    }
}

/// A limit as a meter shows it: two digits below ten, three above, and ohms rather than milliohms.
fn say(value: f64, ohms: bool) -> String {
    let digits = if value.abs() < 10.0 { 2 } else { 3 };
    match (ohms, value.abs() < 1.0) {
        (true, true) => format!("{} ohm", significant(value, digits)),
        (true, false) => format!("{:.*}", digits, Ohms::new(value)),
        (false, true) => format!("{} V", significant(value, digits)),
        (false, false) => format!("{:.*}", digits, Volts::new(value)),
    }
}

impl Situation<'_> {
    /// What a healthy machine must read. A limit that the maker gives overrides what is computed.
    ///
    /// Resistances lie between those of a network with every resistance at its least and one with every
    /// resistance at its most (Rayleigh's monotonicity law), widened by the meter. Voltages lie within
    /// the range of the sources. Cost: two ways up the elimination tree per corner.
    pub fn expect(&self, measurement: &Measurement, meter: &Meter) -> Expectation {
        if let Some(limit) = self.limit(measurement) {
            return demanded(limit, measurement.kind());
        }
        match measurement.kind() {
            Kind::Continuity | Kind::Isolation => self.expect_ohms(measurement, meter),
            Kind::Voltage => self.expect_volts(measurement, meter),
            Kind::Drop => self.expect_drop(measurement, meter),
        }
    }

    fn limit(&self, measurement: &Measurement) -> Option<&Limit> {
        self.harness.limits.iter().find(|limit| {
            limit.kind == measurement.kind()
                && limit.red == measurement.red()
                && limit.black == measurement.black()
                && limit.unplugged.iter().copied().eq(self.setup.parted())
                && limit.set.iter().all(|(s, p)| self.setup.position(self.harness, *s) == *p)
                && limit.conditions.iter().all(|c| self.setup.holds(*c))
        })
    }

    fn expect_ohms(&self, measurement: &Measurement, meter: &Meter) -> Expectation {
        let [red, black] = [measurement.red(), measurement.black()].map(|p| self.node(p));
        let [low, _, high] = self.bounds(red, black);
        let unit = self.relies_on_unit(measurement.red(), measurement.black());
        let (Some(low), Some(high)) = (low, high) else {
            let why = "nothing joins the probes; 1 Mohm is the least isolation that counts as good (BS \
                       7671:2018 Table 64)";
            return Expectation { low: OPEN_FROM.get(), high: None, ohms: true, why: why.to_owned() };
        };
        // A unit that is still connected can only lower the reading.
        let low = if unit.is_some() { 0.0 } else { low - meter.uncertainty(Kind::Continuity, low) };
        let high = high + meter.leads.get() + meter.uncertainty(Kind::Continuity, high);
        let why = "resistance of the network between the probes at the least and at the most of every \
                   tolerance, with the meter's leads and uncertainty";
        Expectation { low: low.max(0.0), high: Some(high), ohms: true, why: why.to_owned() }
    }

    /// A drop under load is small or it is a fault: three times what is computed leaves room for joints at
    /// the top of their range, and a tenth of a volt is what a sound high-current connection may lose.
    fn expect_drop(&self, measurement: &Measurement, meter: &Meter) -> Expectation {
        let Prediction::Volts(volts) = self.predict_healthy(measurement) else {
            return Expectation { low: 0.0, high: None, ohms: false, why: String::new() };
        };
        let most = (volts.abs() * DROP_MARGIN).max(SMALL_DROP) + meter.uncertainty(Kind::Drop, volts);
        let why = format!(
            "solved drop {}; {DROP_MARGIN} times that, or {} where that is more, is still sound",
            Volts::new(volts),
            Volts::new(SMALL_DROP)
        );
        Expectation { low: -most, high: Some(most), ohms: false, why }
    }

    fn expect_volts(&self, measurement: &Measurement, meter: &Meter) -> Expectation {
        let Prediction::Volts(volts) = self.predict_healthy(measurement) else {
            return Expectation { low: 0.0, high: None, ohms: false, why: String::new() };
        };
        let margin =
            meter.uncertainty(Kind::Voltage, volts) + self.scatter(self.healthy(), measurement).usual;
        if let Some(expect) = self.expect_marginal(measurement, volts, margin) {
            return expect;
        }
        if volts.abs() <= DEAD_VOLTS {
            let high = (volts + DEAD_VOLTS).max(DEAD_VOLTS) + margin;
            let low = (volts - DEAD_VOLTS).min(-DEAD_VOLTS) - margin;
            let why = "the network has no voltage here; leakage and pick-up of half a volt are common";
            return Expectation { low, high: Some(high), ohms: false, why: why.to_owned() };
        }
        let [near, far] = [volts * (1.0 - SOURCE_LOW), volts * (1.0 + SOURCE_HIGH)];
        let (low, high) = (near.min(far) - margin, near.max(far) + margin);
        let why = format!(
            "solved voltage {}, for a source from {:.0} % below to {:.0} % above its figure, with the tolerances of \
             what lies on the way",
            Volts::new(volts),
            SOURCE_LOW * 100.0,
            SOURCE_HIGH * 100.0
        );
        Expectation { low, high: Some(high), ohms: false, why }
    }
}

impl Situation<'_> {
    /// Where a relay or an input stands near its threshold the machine may be in one state or the other:
    /// both are healthy. `None` where the reading is the same in both.
    fn expect_marginal(&self, measurement: &Measurement, volts: f64, margin: f64) -> Option<Expectation> {
        let numbers = self.leaning().iter().filter_map(|operating| match self.read(operating, measurement) {
            Prediction::Volts(other) => Some(other),
            _ => None,
        });
        let (least, most) = numbers.fold((volts, volts), |(l, m), other| (l.min(other), m.max(other)));
        if most - least <= DEAD_VOLTS {
            return None;
        }
        let [low, high] = [least - least.abs() * SOURCE_LOW, most + most.abs() * SOURCE_LOW];
        let why =
            "something stands near its switching threshold here: it may be on or off in a healthy machine";
        Some(Expectation { low: low - margin, high: Some(high + margin), ohms: false, why: why.to_owned() })
    }
}

fn demanded(limit: &Limit, kind: Kind) -> Expectation {
    Expectation {
        low: limit.low.unwrap_or(if kind.is_resistance() { 0.0 } else { f64::NEG_INFINITY }),
        high: limit.high,
        ohms: kind.is_resistance(),
        why: format!("demanded: {} ({})", limit.title, limit.source),
    }
}
