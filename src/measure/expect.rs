//! Expectations: the interval in which a healthy machine must read, each limit with its reason.

use super::reason::{Reason, Reasons, Term};
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

/// What units carry beside a reading counts from this share of the meter's uncertainty on: less is lost in it.
const FELT: f64 = 0.1;

/// What limits say that follow from no published figure.
pub(super) const PRACTICE: &str = "common practice";

/// The interval in which a healthy machine must read, with the reasons for its limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Expectation {
    /// The least it may read, in ohms or volts.
    pub low: f64,
    /// The most it may read; none where any higher reading is good, as in isolation.
    pub high: Option<f64>,
    /// Whether it is in ohms (else volts).
    pub ohms: bool,
    /// The meter that it is made for.
    pub meter: Meter,
    /// Why these limits.
    pub why: Reasons,
}

impl Expectation {
    /// Limits that are what their reasons add up to.
    fn between(kind: Kind, meter: &Meter, low: Reason, high: Option<Reason>) -> Self {
        Self {
            low: low.sum(),
            high: high.as_ref().map(Reason::sum),
            ohms: kind.is_resistance(),
            meter: *meter,
            why: Reasons { low, high: high.unwrap_or_default(), computed: None },
        }
    }

    /// The unit as a word.
    pub fn unit(&self) -> &'static str {
        if self.ohms { "ohm" } else { "volt" }
    }

    /// Whether the maker demands it, in place of what is computed.
    pub fn is_demanded(&self) -> bool {
        self.why.computed.is_some()
    }

    /// Whether a reading lies within it.
    pub fn admits(&self, reading: Reading) -> bool {
        match reading {
            Reading::Open => self.high.is_none(),
            Reading::Tone if self.meter.is_tone_only() => self.high.is_some() || self.low <= 0.0,
            // Some healthy value is low enough for the meter to sound.
            Reading::Tone => self.low <= self.meter.beeps_between[1].get(),
            Reading::Ohms(_) | Reading::Volts(_) => {
                let value = reading.number().unwrap_or(0.0);
                value >= self.low && self.high.is_none_or(|high| value <= high)
            }
        }
    }

    /// Whether a predicted reading lies outside it by more than the meter's uncertainty, so that the
    /// meter would show it for sure.
    pub fn excludes(&self, prediction: Prediction, kind: Kind, meter: &Meter) -> bool {
        self.bar(kind, meter).side(prediction).is_some()
    }

    /// What a predicted reading is held against, for many of them.
    pub fn bar(&self, kind: Kind, meter: &Meter) -> Bar {
        let [relative, absolute] = meter.uncertainties(kind);
        Bar { low: self.low, high: self.high, relative, absolute }
    }

    /// In words a person reads at a glance.
    pub fn words(&self) -> String {
        if self.meter.is_tone_only() {
            let words = match self.high {
                Some(_) => "tone",
                None if self.low > 0.0 => "no tone",
                None => "tone or none",
            };
            return words.to_owned();
        }
        words(self.low, self.high, self.digits())
    }

    /// How its figures are shown: as the meter can tell them apart.
    fn digits(&self) -> Digits {
        match self.ohms {
            false => Digits::Volts,
            true if self.meter.ohms_resolution < 0.01 => Digits::Milliohms,
            true => Digits::Ohms,
        }
    }

    /// Where the maker's demand overrides what is computed: the interval that would have been computed,
    /// in words.
    pub fn computed_words(&self) -> Option<String> {
        self.why.computed.map(|(low, high)| words(low, high, self.digits()))
    }
}

/// An expectation as it is held against what a meter would show of many machines.
#[derive(Debug, Clone, Copy)]
pub struct Bar {
    low: f64,
    high: Option<f64>,
    /// The meter's uncertainty: a share of what it shows, and as much beside it.
    relative: f64,
    absolute: f64,
}

impl Bar {
    /// Whether a reading would lie above what is healthy (else below); `None` where the meter would not show for
    /// sure that it is neither.
    pub fn side(&self, prediction: Prediction) -> Option<bool> {
        match prediction {
            Prediction::Open => self.high.map(|_| true),
            Prediction::Ohms(value) | Prediction::Volts(value) => {
                let margin = value.abs() * self.relative + self.absolute;
                let above = self.high.is_some_and(|high| value > high);
                let sure = value + margin < self.low || self.high.is_some_and(|high| value - margin > high);
                sure.then_some(above)
            }
        }
    }
}

/// How figures are shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Digits {
    Volts,
    Ohms,
    Milliohms,
}

/// An interval in words.
fn words(low: f64, high: Option<f64>, digits: Digits) -> String {
    let say = |value: f64| say(value, digits);
    let ohms = digits != Digits::Volts;
    match (low, high) {
        (low, None) if low < OPEN_FROM.get() && ohms => format!("at least {}", say(low)),
        (low, None) => format!("open (≥ {})", say(low)),
        (low, Some(high)) if ohms && low <= high * 0.05 => format!("below {}", say(high)),
        (low, Some(high)) if !ohms && low <= 0.0 && high >= 0.0 => format!("below {}", say(high)),
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

/// A limit as a meter shows it: two digits below ten, three above, and milliohms only of a meter that
/// shows them.
fn say(value: f64, shown: Digits) -> String {
    let digits = if value.abs() < 10.0 { 2 } else { 3 };
    match (shown, value.abs() < 1.0) {
        (Digits::Ohms, true) => format!("{} ohm", significant(value, digits)),
        (Digits::Milliohms, true) => format!("{} mohm", significant(value * 1e3, digits)),
        (Digits::Ohms | Digits::Milliohms, false) => format!("{:.*}", digits, Ohms::new(value)),
        (Digits::Volts, true) => format!("{} V", significant(value, digits)),
        (Digits::Volts, false) => format!("{:.*}", digits, Volts::new(value)),
    }
}

/// What a meter is unsure of.
fn unsure(meter: &Meter, amount: f64) -> Term {
    Term::new(amount, format!("uncertainty ({})", meter.name), meter.source)
}

impl Situation<'_> {
    /// What a healthy machine must read. A limit that the maker gives overrides what is computed.
    ///
    /// Resistances lie between those of a network with every resistance at its least and one with every
    /// resistance at its most (Rayleigh's monotonicity law), widened by the meter. Voltages lie within
    /// the range of the sources. Cost: two ways up the elimination tree per corner.
    /// [`Situation::explain`] adds which elements have the largest shares.
    pub fn expect(&self, measurement: &Measurement, meter: &Meter) -> Expectation {
        let computed = self.compute(measurement, meter);
        match self.limit(measurement) {
            Some(limit) => demanded(limit, &computed),
            None => computed,
        }
    }

    fn compute(&self, measurement: &Measurement, meter: &Meter) -> Expectation {
        match measurement.kind() {
            Kind::Continuity | Kind::Isolation if meter.is_tone_only() => {
                self.expect_tone(measurement, meter)
            }
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
                && !self.setup.is_strapped()
                && limit.unplugged.iter().copied().eq(self.setup.parted())
                && limit.set.iter().all(|(s, p)| self.setup.position(self.harness, *s) == *p)
                && limit.conditions.iter().all(|c| self.setup.holds(*c))
        })
    }

    /// The healthy resistance at its least and at its most; `None` where nothing joins the probes.
    fn outer(&self, measurement: &Measurement) -> Option<[f64; 2]> {
        let [red, black] = [measurement.red(), measurement.black()].map(|p| self.node(p));
        let [low, _, high] = self.bounds(red, black);
        Some([low?, high?])
    }

    fn expect_ohms(&self, measurement: &Measurement, meter: &Meter) -> Expectation {
        let kind = measurement.kind();
        let Some([low, high]) = self.outer(measurement) else {
            let table = "BS 7671:2018 Table 64, 500 V dc";
            let what = if kind == Kind::Isolation && !meter.can(Kind::Continuity) {
                "nothing joins the probes: the least isolation of circuits in use (new assembled wiring is held \
                 to 100 Mohm, SB 740-91-01 par. 4c)"
            } else {
                "nothing joins the probes: the least isolation that counts as good"
            };
            let least = Reason::of([Term::new(OPEN_FROM.get(), what, table)]);
            return Expectation::between(kind, meter, least, None);
        };
        let margin = |ohms: f64| meter.uncertainty(Kind::Continuity, ohms);
        let mut most = vec![
            Term::new(high, "network with every resistance at its most", ""),
            unsure(meter, margin(high)),
        ];
        if meter.leads.get() > 0.0 {
            most.insert(1, Term::new(meter.leads.get(), "leads, not nulled", PRACTICE));
        }
        Expectation::between(kind, meter, self.least_ohms(measurement, meter, low), Some(Reason::of(most)))
    }

    /// Why a resistance may not be less. A unit that is still connected can only lower the reading.
    fn least_ohms(&self, measurement: &Measurement, meter: &Meter, low: f64) -> Reason {
        if let Some(unit) = self.relies_on_unit(measurement.red(), measurement.black()) {
            let what = format!("unit {} is connected and may lower the reading", self.harness.parts[unit].id);
            return Reason::of([Term::new(0.0, what, "its inside is unknown")]);
        }
        let margin = meter.uncertainty(Kind::Continuity, low);
        if low - margin > 0.0 {
            let [red, black] = [measurement.red(), measurement.black()].map(|p| self.node(p));
            let beside = low - self.least_through_units(red, black).unwrap_or(low);
            let mut least = vec![Term::new(low, "network with every resistance at its least", "")];
            if beside > margin * FELT {
                let what = "what connected units carry beside it at most; their inside is unknown";
                least.push(Term::new(-beside, what, PRACTICE));
            }
            least.push(unsure(meter, -margin));
            if low - beside - margin > 0.0 {
                return Reason::of(least);
            }
        }
        let what =
            format!("the network's least, {}, is within the meter's uncertainty of nothing", Ohms::new(low));
        Reason::of([Term::new(0.0, what, "")])
    }

    /// A tone is expected where the most a sound network may have makes any meter sound, none where the
    /// least makes none sound; in between the tone tells nothing.
    fn expect_tone(&self, measurement: &Measurement, meter: &Meter) -> Expectation {
        tone(measurement.kind(), meter, self.outer(measurement))
    }

    /// A drop under load is small or it is a fault: three times what is computed leaves room for joints at
    /// the top of their range, and a tenth of a volt is what a sound high-current connection may lose.
    fn expect_drop(&self, measurement: &Measurement, meter: &Meter) -> Expectation {
        let volts = self.volts(measurement);
        let sound = volts.abs() * DROP_MARGIN;
        let base = if sound >= SMALL_DROP {
            Term::new(sound, format!("{DROP_MARGIN} times the solved drop {}", Volts::new(volts)), PRACTICE)
        } else {
            let what = format!("what a sound connection may lose (solved drop {})", Volts::new(volts));
            Term::new(SMALL_DROP, what, "usual limit of vehicle repair manuals")
        };
        let margin = unsure(meter, meter.uncertainty(Kind::Drop, volts));
        let high = [base, margin];
        let low = high.clone().map(|term| Term { amount: -term.amount, ..term });
        Expectation::between(Kind::Drop, meter, Reason::of(low), Some(Reason::of(high)))
    }

    /// What the healthy machine shows at a voltmeter.
    fn volts(&self, measurement: &Measurement) -> f64 {
        match self.predict_healthy(measurement) {
            Prediction::Volts(volts) => volts,
            Prediction::Ohms(_) | Prediction::Open => 0.0,
        }
    }

    fn expect_volts(&self, measurement: &Measurement, meter: &Meter) -> Expectation {
        let volts = self.volts(measurement);
        let way = self.scatter(self.healthy(), measurement).usual;
        let widened = |sign: f64| {
            [
                Term::new(sign * way, "tolerances of what lies on the way", PRACTICE),
                unsure(meter, sign * meter.uncertainty(Kind::Voltage, volts)),
            ]
        };
        let between = |low: Vec<Term>, high: Vec<Term>| {
            let [low, high] = [(low, -1.0), (high, 1.0)]
                .map(|(terms, sign)| Reason::of(terms.into_iter().chain(widened(sign))));
            Expectation::between(Kind::Voltage, meter, low, Some(high))
        };
        if let Some([least, most]) = self.marginal(measurement, volts) {
            let what = "something stands near its switching threshold: it may be on or off";
            let end = |volts: f64, sign: f64| {
                let source = Term::new(sign * volts.abs() * SOURCE_LOW, SOURCE_WORDS[0], SOURCE_SOURCE);
                vec![Term::new(volts, what, ""), source]
            };
            return between(end(least, -1.0), end(most, 1.0));
        }
        let solved = || Term::new(volts, SOLVED, "");
        if volts.abs() <= DEAD_VOLTS {
            let stray = |amount: f64| Term::new(amount, "leakage and pick-up on a dead point", PRACTICE);
            // Half a volt beyond what is solved, and beyond nothing.
            let (low, high) = ((volts - DEAD_VOLTS).min(-DEAD_VOLTS), (volts + DEAD_VOLTS).max(DEAD_VOLTS));
            return between(vec![solved(), stray(low - volts)], vec![solved(), stray(high - volts)]);
        }
        let below = Term::new(-volts * SOURCE_LOW, SOURCE_WORDS[0], SOURCE_SOURCE);
        let above = Term::new(volts * SOURCE_HIGH, SOURCE_WORDS[1], SOURCE_SOURCE);
        let (near, far) = if volts > 0.0 { (below, above) } else { (above, below) };
        between(vec![solved(), near], vec![solved(), far])
    }

    /// Where a relay or an input stands near its threshold the machine may be in one state or the other:
    /// both are healthy. The least and the most voltage; `None` where the reading is the same in both.
    fn marginal(&self, measurement: &Measurement, volts: f64) -> Option<[f64; 2]> {
        let numbers = self.leaning().iter().filter_map(|operating| match self.read(operating, measurement) {
            Prediction::Volts(other) => Some(other),
            _ => None,
        });
        let (least, most) = numbers.fold((volts, volts), |(l, m), other| (l.min(other), m.max(other)));
        (most - least > DEAD_VOLTS).then_some([least, most])
    }
}

/// What a voltage starts from.
pub(super) const SOLVED: &str = "solved network";
/// Where the range of a source comes from.
const SOURCE_SOURCE: &str = "lead-acid battery, full to empty; published lists differ by 0.1 V";
/// That range, below and above.
const SOURCE_WORDS: [&str; 2] = ["sources 8 % below their figure", "sources 4 % above their figure"];

/// What a tone tells of a network whose resistance lies between two, or that is open.
fn tone(kind: Kind, meter: &Meter, outer: Option<[f64; 2]>) -> Expectation {
    let [sure, most] = meter.beeps_between.map(Ohms::get);
    let source = meter.source;
    let nothing = || Reason::of([Term::new(0.0, "a meter shows no less than nothing", "")]);
    let silent = |what: String| Reason::of([Term::new(sure, what, source)]);
    let (low, high) = match outer {
        None => {
            let what = "nothing joins the probes; silence tells no more than that there is more than this";
            (silent(what.to_owned()), None)
        }
        Some([_, high]) if high + meter.leads.get() < sure => {
            let what = format!(
                "{} at most, with leads, sounds on every meter: none does above this",
                Ohms::new(high) + meter.leads
            );
            (nothing(), Some(Reason::of([Term::new(most, what, source)])))
        }
        Some([low, _]) if low > most => (
            silent(format!("{} at least is silent on every meter: all sound below this", Ohms::new(low))),
            None,
        ),
        Some(_) => {
            let what = "one meter sounds here and another does not: a tone tells nothing";
            (Reason::of([Term::new(0.0, what, source)]), None)
        }
    };
    Expectation::between(kind, meter, low, high)
}

/// What the maker demands, with what would have been computed beside it.
fn demanded(limit: &Limit, computed: &Expectation) -> Expectation {
    let kind = limit.kind;
    let term = |amount: f64| {
        Reason::of([Term::new(amount, format!("demanded: {}", limit.title), limit.source.clone())])
    };
    let low = limit.low.map_or_else(Reason::default, term);
    let high = limit.high.map(term);
    let none = if kind.is_resistance() { 0.0 } else { f64::NEG_INFINITY };
    let mut made = Expectation::between(kind, &computed.meter, low, high);
    made.low = limit.low.unwrap_or(none);
    if computed.meter.is_tone_only() {
        // A tone has no figure to hold against a demand.
        made = tone(kind, &computed.meter, made.high.map(|high| [made.low, high]));
    }
    made.why.computed = Some((computed.low, computed.high));
    made
}
