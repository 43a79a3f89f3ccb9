//! A known-good twin: its readings as expectations.
//!
//! Comes in: the readings of a record taken on another machine of the same definition that works. Goes out:
//! the expectations of the same readings here (same kind, same probes, same setup), narrowed to what the twin
//! shows. Why: a definition's tolerances are wide, and two machines of one make are alike.
//!
//! What holds:
//! - A reading here may differ from the twin's by what both meters may be off, by [`ALIKE`] of the value, and
//!   by [`JOINTS`] or [`SUPPLY`]. Of that and the computed interval, what is in both is expected.
//! - Where the twin itself reads outside the computed interval, it is known to work: its reading replaces
//!   what was computed, and that is told, because the definition may be wrong. An isolation is never loosened
//!   so: what should be apart and is not is a fault in both.
//! - What the maker demands stands as it is.
//! - A tone, and a reading of the twin out of every figure, narrows nothing.

use super::{Judged, judge};
use crate::definition::Kind;
use crate::measure::{Expectation, Meter, OPEN_FROM, Reading, Reason, Reasons, Term};
use crate::record::Entry;
use crate::units::{Ohms, Volts};

/// Two sound machines of one make read alike within this share: common practice, no source.
pub const ALIKE: f64 = 0.05;
/// And within this much where resistances are small, for wear of their joints: common practice, no source.
pub const JOINTS: Ohms = Ohms::new(0.05);
/// And within this much in volts, for their batteries: common practice, no source.
pub const SUPPLY: Volts = Volts::new(0.3);

/// An expectation that the twin changed, or could not.
#[derive(Debug, Clone)]
pub struct Compared {
    /// How reports refer to the reading here.
    pub name: String,
    /// How the twin's record refers to its own.
    pub twin: String,
    /// What the twin showed.
    pub value: Reading,
    /// What was expected without the twin, in words.
    pub computed: String,
    /// What is expected now, in words.
    pub expected: String,
    /// What the twin does here.
    pub effect: Effect,
}

/// What a twin's reading does to an expectation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Effect {
    /// It narrows what was computed.
    Narrowed,
    /// It lies outside, and replaces what was computed.
    Replaced,
    /// It changes nothing: the maker's demand, a tone, or an isolation that is not loosened.
    Kept,
}

impl Compared {
    /// In words.
    pub fn words(&self) -> String {
        let Self { name, twin, computed, expected, .. } = self;
        let value = self.value.words();
        match self.effect {
            Effect::Narrowed => {
                format!(
                    "{name}: expected {expected}, as the twin reads {value} ({twin} there); computed: {computed}"
                )
            }
            Effect::Replaced => format!(
                "{name}: expected {expected}, because the twin reads {value} ({twin} there), which the definition does not \
                 give ({computed}): look at the definition, or whether the twin is sound"
            ),
            Effect::Kept => {
                format!("{name}: the twin reads {value} ({twin} there); still expected: {expected}")
            }
        }
    }
}

/// Lets the twin's readings narrow the expectations of the same readings here; the last one counts where the
/// twin was read twice.
pub(super) fn narrow(judged: &mut [Judged], twin: &[Entry], meter: &Meter) -> Vec<Compared> {
    let mut compared = Vec::new();
    for reading in judged {
        let Some(entry) = twin.iter().rev().find(|entry| is_same(reading, entry)) else { continue };
        let (theirs, _) = judge::meter_of(entry, meter);
        let value = if reverses(reading, entry) { turned(entry.value) } else { entry.value };
        let computed = reading.expect.words();
        let effect = apply(&mut reading.expect, reading.measurement.kind(), value, &theirs, &entry.name());
        compared.push(Compared {
            name: reading.name.clone(),
            twin: entry.name(),
            value,
            computed,
            expected: reading.expect.words(),
            effect,
        });
    }
    compared
}

/// Same kind, same probes, same setup; the probes may be exchanged.
fn is_same(reading: &Judged, entry: &Entry) -> bool {
    let m = &reading.measurement;
    m.kind() == entry.kind
        && *m.setup() == entry.setup
        && ([m.red(), m.black()] == [entry.red, entry.black]
            || [m.black(), m.red()] == [entry.red, entry.black])
}

fn reverses(reading: &Judged, entry: &Entry) -> bool {
    reading.measurement.red() != entry.red && !entry.kind.is_resistance()
}

fn turned(reading: Reading) -> Reading {
    match reading {
        Reading::Volts(volts) => Reading::Volts(volts * -1.0),
        other => other,
    }
}

fn apply(expect: &mut Expectation, kind: Kind, value: Reading, theirs: &Meter, twin: &str) -> Effect {
    if expect.is_demanded() || expect.meter.is_tone_only() || value == Reading::Tone {
        return Effect::Kept;
    }
    let Some(shown) = value.number() else {
        // Over the range on the twin.
        if expect.admits(value) || kind == Kind::Isolation {
            return Effect::Kept;
        }
        let reason =
            Reason { terms: vec![term(OPEN_FROM.get(), format!("the twin reads open ({twin} there)"))] };
        set(expect, OPEN_FROM.get(), None, [reason, Reason::default()]);
        return Effect::Replaced;
    };
    let leads = if expect.ohms { expect.meter.leads.get() - theirs.leads.get() } else { 0.0 };
    let here = shown + leads;
    let meters = expect.meter.uncertainty(kind, here) + theirs.uncertainty(kind, shown);
    let alike = ALIKE * here.abs() + if expect.ohms { JOINTS.get() } else { SUPPLY.get() };
    let reason = |sign: f64| Reason {
        terms: vec![
            term(here, format!("the twin's reading ({twin} there), through this meter's leads")),
            term(sign * meters, "uncertainty of both meters".to_owned()),
            term(sign * alike, "how far two sound machines differ (common practice)".to_owned()),
        ],
    };
    let [least, most] = [here - meters - alike, here + meters + alike];
    let least = if expect.ohms { least.max(0.0) } else { least };
    let outside = expect.low > most || expect.high.is_some_and(|high| high < least);
    if outside && kind == Kind::Isolation {
        return Effect::Kept;
    }
    if outside {
        set(expect, least, Some(most), [reason(-1.0), reason(1.0)]);
        return Effect::Replaced;
    }
    let narrower = [least > expect.low && expect.high.is_some(), expect.high.is_some_and(|high| most < high)];
    if narrower == [false; 2] {
        return Effect::Kept;
    }
    let low = if narrower[0] { (least, reason(-1.0)) } else { (expect.low, expect.why.low.clone()) };
    let high = if narrower[1] { (Some(most), reason(1.0)) } else { (expect.high, expect.why.high.clone()) };
    set(expect, low.0, high.0, [low.1, high.1]);
    Effect::Narrowed
}

fn term(amount: f64, what: String) -> Term {
    Term { amount, what: what.into(), source: "".into(), shares: Vec::new(), others: (0, 0.0) }
}

fn set(expect: &mut Expectation, low: f64, high: Option<f64>, [why_low, why_high]: [Reason; 2]) {
    expect.low = low;
    expect.high = high;
    expect.why = Reasons { low: why_low, high: why_high, computed: None };
}
