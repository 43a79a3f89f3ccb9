//! Which of the meters at hand a reading is taken with.
//!
//! Comes in: the meters at hand and a reading. Goes out: the meter that shows most without being put where
//! it must not be, with what it shows; or the reason why none may serve. Why: a tone proves less than
//! a number, and a megohm tester destroys what an ordinary meter leaves whole.

use super::cover::{Question, Shows, covered};
use super::hands::{Hands, in_parts};
use crate::definition::Kind;
use crate::fault::Universe;
use crate::measure::{Expectation, Measurement, Meter, Prediction, Situation, Stress};

/// The meters at hand: a plain one where nothing is said.
#[derive(Debug, Clone, PartialEq)]
pub struct Meters(Vec<Meter>);

impl Meters {
    /// Each once, in the order given.
    pub fn iter(&self) -> impl Iterator<Item = &Meter> {
        self.0.iter()
    }

    /// Their names, for people.
    pub fn names(&self) -> String {
        self.0.iter().map(|meter| meter.name).collect::<Vec<_>>().join(", ")
    }

    fn find(&self, wanted: impl Fn(&&Meter) -> bool) -> Option<&Meter> {
        self.0.iter().find(wanted)
    }

    /// A plain meter; with its leads nulled, if that is among them.
    fn plain(&self) -> Option<&Meter> {
        let plain = |meter: &&Meter| meter.can(Kind::Voltage);
        self.find(|meter| plain(meter) && meter.leads.get() <= 0.0).or_else(|| self.find(plain))
    }

    fn fine(&self) -> Option<&Meter> {
        self.find(|meter| meter.can(Kind::Continuity) && !meter.is_tone_only() && !meter.can(Kind::Voltage))
    }

    fn beeper(&self) -> Option<&Meter> {
        self.find(|meter| meter.is_tone_only())
    }

    fn megohm(&self) -> Option<&Meter> {
        self.find(|meter| meter.can(Kind::Isolation) && !meter.can(Kind::Continuity))
    }
}

impl Default for Meters {
    fn default() -> Self {
        Self::from(Meter::HANDHELD)
    }
}

impl From<Meter> for Meters {
    fn from(meter: Meter) -> Self {
        Self(vec![meter])
    }
}

impl FromIterator<Meter> for Meters {
    fn from_iter<I: IntoIterator<Item = Meter>>(meters: I) -> Self {
        let mut all: Vec<Meter> = Vec::new();
        for meter in meters {
            if all.iter().all(|known| known.name != meter.name) {
                all.push(meter);
            }
        }
        if all.is_empty() { Self::default() } else { Self(all) }
    }
}

/// What a meter shows in a reading.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    pub expect: Expectation,
    pub shows: Shows,
}

/// Chooses among the meters at hand in one situation.
pub(super) struct Choice<'a> {
    situation: &'a Situation<'a>,
    measurements: &'a [Measurement],
    meters: &'a Meters,
    /// What each meter that can read it shows in each reading; a plain meter always comes first.
    fits: Vec<Vec<Fit>>,
    /// Looked over only where a meter is at hand that must not be put everywhere.
    stress: Option<Stress<'a>>,
}

impl<'a> Choice<'a> {
    pub(super) fn new(
        situation: &'a Situation<'a>,
        universe: &Universe,
        meters: &'a Meters,
        measurements: &'a [Measurement],
        hands: &dyn Hands,
    ) -> Self {
        let strong = meters.megohm().is_some() || meters.fine().is_some();
        let fits = fits(situation, universe, meters, measurements, hands);
        Self { situation, measurements, meters, fits, stress: strong.then(|| Stress::new(situation)) }
    }

    /// What a plain meter shows in a reading, be it at hand or not: the order of a plan hangs on it.
    pub(super) fn usual(&self, at: usize) -> &Fit {
        &self.fits[at][0]
    }

    fn with(&self, meter: &Meter, at: usize) -> Option<Fit> {
        self.fits[at].iter().find(|fit| fit.expect.meter.name == meter.name).cloned()
    }

    /// The meter for a reading and what it shows.
    ///
    /// # Errors
    /// Why none of the meters at hand may serve.
    pub(super) fn pick(&self, at: usize) -> Result<Fit, String> {
        match self.measurements[at].kind() {
            Kind::Isolation => self.isolation(at),
            Kind::Continuity => self.continuity(at),
            Kind::Voltage | Kind::Drop => {
                self.plain(at).ok_or_else(|| "no meter at hand reads volts".to_owned())
            }
        }
    }

    fn plain(&self, at: usize) -> Option<Fit> {
        self.meters.plain().and_then(|meter| self.with(meter, at))
    }

    fn isolation(&self, at: usize) -> Result<Fit, String> {
        let measurement = &self.measurements[at];
        let plain = || self.plain(at);
        let (Some(megohm), Some(stress)) = (self.meters.megohm(), &self.stress) else {
            return plain().ok_or_else(|| "no meter at hand reads isolation".to_owned());
        };
        match stress.forbids_megohm(measurement) {
            None => self.with(megohm, at).ok_or_else(|| "no meter at hand reads isolation".to_owned()),
            Some(what) => {
                plain().ok_or_else(|| format!("no megohm tester on it: {what} could get its voltage"))
            }
        }
    }

    fn continuity(&self, at: usize) -> Result<Fit, String> {
        match (self.plain(at), self.fine(at)) {
            (Some(plain), Ok(fine)) => Ok(if self.shows_more(at, &fine, &plain) { fine } else { plain }),
            (Some(plain), Err(_)) => Ok(plain),
            (None, Ok(fine)) => Ok(fine),
            (None, Err(why)) => self.tone(at).map_err(|no_tone| why.or(no_tone)),
        }
    }

    /// A four-wire meter, if its current may flow there and its ranges hold what is expected.
    fn fine(&self, at: usize) -> Result<Fit, Why> {
        let measurement = &self.measurements[at];
        let (Some(meter), Some(stress)) = (self.meters.fine(), &self.stress) else { return Err(Why::None) };
        if let Some(hazard) = stress.hazard(measurement) {
            return Err(Why::Because(format!("no test current near a hazard mark: {hazard}")));
        }
        let Some(fit) = self.with(meter, at) else { return Err(Why::None) };
        if meter.range_for(&fit.expect).is_none() {
            return Err(Why::Because("more than the four-wire meter's ranges hold".to_owned()));
        }
        Ok(fit)
    }

    /// Whether a fine meter shows more faults, or a bad joint of less than half the size.
    fn shows_more(&self, at: usize, fine: &Fit, plain: &Fit) -> bool {
        /// A meter is fetched and clipped on with four wires only for so much more.
        const WORTH: f64 = 0.5;
        let Prediction::Ohms(healthy) = self.situation.predict_healthy(&self.measurements[at]) else {
            return false;
        };
        let least = |fit: &Fit| {
            let high = fit.expect.high.unwrap_or(healthy);
            high + fit.expect.meter.uncertainty(Kind::Continuity, high) - healthy
        };
        fine.shows.faults.len() > plain.shows.faults.len() || least(fine) < WORTH * least(plain)
    }

    /// A beeper, where a tone proves something: within one net of conductors alone, which sounds for sure
    /// when it is sound, and of which some open leaves no way that a beeper may still sound on.
    fn tone(&self, at: usize) -> Result<Fit, Why> {
        let measurement = &self.measurements[at];
        let Some(meter) = self.meters.beeper() else { return Err(Why::None) };
        let situation = self.situation;
        let [red, black] =
            [measurement.red(), measurement.black()].map(|p| situation.nets.of(situation.node(p)));
        if red != black {
            return Err(Why::Because("a part lies in the path: a tone does not prove it".to_owned()));
        }
        let Some(fit) = self.with(meter, at) else { return Err(Why::None) };
        if fit.expect.is_demanded() {
            return Err(Why::Because("a tone has no figure to hold against the maker's demand".to_owned()));
        }
        if fit.expect.high.is_none() {
            return Err(Why::Because("the path may have more than a beeper sounds on for sure".to_owned()));
        }
        if fit.shows.faults.is_empty() {
            return Err(Why::Because("a way beside it would sound as well when it is open".to_owned()));
        }
        Ok(fit)
    }
}

/// What a plain meter, and each of those at hand that can, shows in each reading.
fn fits(
    situation: &Situation<'_>,
    universe: &Universe,
    meters: &Meters,
    measurements: &[Measurement],
    hands: &dyn Hands,
) -> Vec<Vec<Fit>> {
    let mut asked: Vec<(usize, &Meter)> = Vec::new();
    for (at, measurement) in measurements.iter().enumerate() {
        let others = meters.iter().filter(|meter| meter.name != Meter::HANDHELD.name);
        let able = others.filter(|meter| meter.can(measurement.kind()));
        asked.extend(std::iter::once(&Meter::HANDHELD).chain(able).map(|meter| (at, meter)));
    }
    let readings: Vec<(&Measurement, &Meter)> =
        asked.iter().map(|(at, meter)| (&measurements[*at], *meter)).collect();
    let explainer = situation.explainer(readings.iter().map(|(measurement, _)| *measurement));
    let explained = in_parts((hands, 16), &readings, |part| explainer.explain(part));
    let expectations: Vec<(usize, Expectation)> = asked.iter().map(|(at, _)| *at).zip(explained).collect();
    let questions: Vec<Question<'_>> = expectations
        .iter()
        .map(|(at, expect)| Question { measurement: &measurements[*at], expect })
        .collect();
    let shows = covered(situation, universe, &questions, hands);
    let mut fits = vec![Vec::new(); measurements.len()];
    for ((at, expect), shows) in expectations.into_iter().zip(shows) {
        fits[at].push(Fit { expect, shows });
    }
    fits
}

/// Why a meter may not serve.
enum Why {
    /// There is none.
    None,
    /// It must not, or would prove nothing.
    Because(String),
}

impl Why {
    /// The more telling of two.
    fn or(self, other: Self) -> String {
        match (self, other) {
            (Self::Because(why), _) | (Self::None, Self::Because(why)) => why,
            (Self::None, Self::None) => "no meter at hand reads continuity".to_owned(),
        }
    }
}
