//! Meters as data.
//!
//! Comes in: a name, as it stands on the command line or in a record. Goes out: what that meter can read,
//! what it adds to the truth, and which of its ranges to set. Why: what a reading proves depends on what
//! it was read with. Where no source is named the figures are common practice.

use super::Expectation;
use crate::definition::Kind;
use crate::definition::diagnostic::nearest;
use crate::units::{Amps, Ohms, Volts};

/// From this resistance on an ordinary meter's reading counts as open: common practice (an isolation
/// of 1 Mohm is the minimum BS 7671:2018 Table 64 asks of low-voltage circuits).
pub const OPEN_FROM: Ohms = Ohms::new(1e6);

/// What a meter adds to the truth, and what it is good for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Meter {
    /// Its name in plans, in records and on the command line.
    pub name: &'static str,
    /// What it is, in words.
    pub title: &'static str,
    /// What it can read.
    pub reads: &'static [Kind],
    /// Resistance of its leads that is in the reading: short leads have 0.1 to 0.3 ohm (common practice).
    pub leads: Ohms,
    /// Relative uncertainty of a resistance.
    pub ohms_relative: f64,
    /// Absolute uncertainty of a resistance, in ohms: some counts of its lowest range.
    pub ohms_absolute: f64,
    /// The least step of a resistance that it shows, in ohms.
    pub ohms_resolution: f64,
    /// Relative uncertainty of a voltage.
    pub volts_relative: f64,
    /// Absolute uncertainty of a voltage, in volts.
    pub volts_absolute: f64,
    /// The least step of a voltage that it shows, in volts.
    pub volts_resolution: f64,
    /// Below this it beeps, as its maker gives it: 50 ohm is usual for plain meters.
    pub beeps_below: Ohms,
    /// Where that threshold really lies, from one meter to the next: it always sounds below the first and
    /// never above the second.
    pub beeps_between: [Ohms; 2],
    /// What it shows.
    pub shows: Shows,
    /// What it puts on the wiring to read a resistance.
    pub puts_out: Output,
    /// Its ranges, each kind from the lowest up.
    pub ranges: &'static [Range],
    /// Where the figures come from.
    pub source: &'static str,
}

/// What a meter shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shows {
    /// A number.
    Number,
    /// A tone or none.
    Tone,
}

/// What a meter puts on the wiring to read a resistance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Output {
    /// The most voltage.
    pub volts: Volts,
    /// The most current.
    pub amps: Amps,
}

/// A range of a meter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// As it stands on the meter.
    pub name: &'static str,
    /// Whether it is in ohms (else volts).
    pub ohms: bool,
    /// The most it shows, in ohms or volts.
    pub top: f64,
}

const fn ohms(name: &'static str, top: f64) -> Range {
    Range { name, ohms: true, top }
}

const fn volts(name: &'static str, top: f64) -> Range {
    Range { name, ohms: false, top }
}

/// A text names no meter.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("no meter is called `{name}`{} {}", suggestion(*.near), names().join(", "))]
pub struct UnknownMeter {
    name: String,
    near: Option<&'static str>,
}

fn suggestion(near: Option<&str>) -> String {
    match near {
        Some(near) => format!(": did you mean `{near}`? There are"),
        None => ": there are".to_owned(),
    }
}

/// The names of all meters.
fn names() -> Vec<&'static str> {
    METERS.iter().map(|meter| meter.name).collect()
}

/// Every meter that can be named.
pub const METERS: [Meter; 5] =
    [Meter::HANDHELD, Meter::NULLED, Meter::FOUR_WIRE, Meter::MEGOHM, Meter::BEEPER];

impl Meter {
    /// A plain handheld meter: 1 % and three counts of 0.1 ohm, 1 % and three counts of 10 mV.
    /// Common practice, no source; beeper threshold as plain meters' manuals give it (50 ohm).
    pub const HANDHELD: Self = Self {
        name: "handheld",
        title: "plain handheld meter",
        reads: &[Kind::Continuity, Kind::Isolation, Kind::Voltage, Kind::Drop],
        leads: Ohms::new(0.3),
        ohms_relative: 0.01,
        ohms_absolute: 0.3,
        ohms_resolution: 0.1,
        volts_relative: 0.01,
        volts_absolute: 0.03,
        volts_resolution: 0.01,
        beeps_below: Ohms::new(50.0),
        beeps_between: [Ohms::new(20.0), Ohms::new(80.0)],
        shows: Shows::Number,
        puts_out: Output { volts: Volts::new(3.0), amps: Amps::new(0.001) },
        ranges: &[
            ohms("200 ohm", 200.0),
            ohms("2 kohm", 2e3),
            ohms("20 kohm", 2e4),
            ohms("200 kohm", 2e5),
            ohms("2 Mohm", 2e6),
            ohms("20 Mohm", 2e7),
            volts("2 V dc", 2.0),
            volts("20 V dc", 20.0),
            volts("200 V dc", 200.0),
            volts("600 V dc", 600.0),
        ],
        source: "common practice",
    };

    /// The same with its leads nulled: held together before the reading and subtracted, so that nothing of
    /// them is left.
    pub const NULLED: Self = Self { title: "plain handheld meter, its leads nulled", ..Self::HANDHELD }
        .named_as("handheld-nulled")
        .without_leads();

    /// A low-ohm meter with four wires: two carry the current, two read the voltage at the clips, so that
    /// neither the leads nor the clips are in the reading. Half a percent and one milliohm, 100 mA at no
    /// more than a volt: common practice, no source.
    pub const FOUR_WIRE: Self = Self {
        name: "four-wire",
        title: "low-ohm meter with four wires",
        reads: &[Kind::Continuity],
        leads: Ohms::new(0.0),
        ohms_relative: 0.005,
        ohms_absolute: 0.001,
        ohms_resolution: 0.0001,
        puts_out: Output { volts: Volts::new(1.0), amps: Amps::new(0.1) },
        ranges: &[
            ohms("200 mohm", 0.2),
            ohms("2 ohm", 2.0),
            ohms("20 ohm", 20.0),
            ohms("200 ohm", 200.0),
            ohms("2 kohm", 2e3),
        ],
        ..Self::HANDHELD
    };

    /// A megohm tester at 500 V dc, for isolation alone (test voltage by BS 7671:2018 Table 64 for circuits
    /// up to 500 V; uncertainty of 5 % is common practice). It is never put on a connected unit, on
    /// other electronics or near a hazard mark, and what it has charged is discharged afterwards.
    pub const MEGOHM: Self = Self {
        name: "megohm",
        title: "megohm tester, 500 V dc",
        reads: &[Kind::Isolation],
        leads: Ohms::new(0.0),
        ohms_relative: 0.05,
        ohms_absolute: 1e4,
        ohms_resolution: 1e4,
        puts_out: Output { volts: Volts::new(500.0), amps: Amps::new(0.002) },
        ranges: &[ohms("500 V dc", 1e9)],
        source: "BS 7671:2018 Table 64 for the test voltage; else common practice",
        ..Self::HANDHELD
    };

    /// A continuity tone alone, without a number. Plain meters' manuals give "below 50 ohm", "50 ohm, give
    /// or take 30" and "below 70 ohm": so it sounds for sure below 20 ohm, and for sure not above 80.
    pub const BEEPER: Self = Self {
        name: "beeper",
        title: "continuity tone alone",
        reads: &[Kind::Continuity],
        // The threshold is so wide that nothing else matters.
        ohms_relative: 0.0,
        ohms_absolute: 0.0,
        ohms_resolution: 0.0,
        shows: Shows::Tone,
        ranges: &[ohms("continuity tone", 80.0)],
        source: "manuals of plain meters",
        ..Self::HANDHELD
    };

    /// The meter of a name.
    ///
    /// # Errors
    /// There is none; with the nearest name.
    pub fn parse(name: &str) -> Result<Self, UnknownMeter> {
        let lower = name.trim().to_lowercase();
        METERS
            .into_iter()
            .find(|meter| meter.name == lower)
            .ok_or_else(|| UnknownMeter { name: name.trim().to_owned(), near: nearest(&lower, names()) })
    }

    /// Whether it reads this at all.
    pub fn can(&self, kind: Kind) -> bool {
        self.reads.contains(&kind)
    }

    /// Whether it gives a tone and no number.
    pub fn is_tone_only(&self) -> bool {
        self.shows == Shows::Tone
    }

    /// The range to set for what a healthy machine shows: the lowest that holds it, or the highest where
    /// any higher reading is good. `None` where the meter has none that does.
    pub fn range_for(&self, expect: &Expectation) -> Option<&'static Range> {
        let mut mine = self.ranges.iter().filter(|range| range.ohms == expect.ohms);
        let most = expect.high.map(|high| high.abs().max(if expect.ohms { 0.0 } else { expect.low.abs() }));
        match most {
            Some(most) if most.is_finite() => mine.find(|range| most <= range.top),
            _ => mine.next_back(),
        }
    }

    /// Its uncertainty at a value, in the value's unit.
    pub fn uncertainty(&self, kind: Kind, value: f64) -> f64 {
        let [relative, absolute] = self.uncertainties(kind);
        value.abs() * relative + absolute
    }

    /// Its uncertainty: a share of the value, and what comes to that whatever the value is.
    pub(super) fn uncertainties(&self, kind: Kind) -> [f64; 2] {
        if kind.is_resistance() {
            [self.ohms_relative, self.ohms_absolute]
        } else {
            [self.volts_relative, self.volts_absolute]
        }
    }

    const fn named_as(self, name: &'static str) -> Self {
        Self { name, ..self }
    }

    /// The same meter with its leads nulled.
    #[must_use]
    pub const fn without_leads(self) -> Self {
        Self { leads: Ohms::new(0.0), ..self }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_unique_and_understood() {
        for (at, meter) in METERS.iter().enumerate() {
            assert_eq!(Meter::parse(meter.name), Ok(*meter));
            assert_eq!(Meter::parse(&format!(" {} ", meter.name.to_uppercase())), Ok(*meter));
            assert!(METERS[at + 1..].iter().all(|other| other.name != meter.name));
            assert!(!meter.reads.is_empty() && !meter.source.is_empty());
        }
    }

    #[test]
    fn an_unknown_name_has_the_nearest_beside_it() {
        let said = Meter::parse("bepeer").unwrap_err().to_string();
        assert!(said.contains("did you mean `beeper`?") && said.contains("four-wire"), "{said}");
        let said = Meter::parse("theodolite").unwrap_err().to_string();
        assert!(!said.contains("did you mean"), "{said}");
    }

    #[test]
    fn ranges_of_a_kind_go_up() {
        for meter in METERS {
            for ohms in [true, false] {
                let tops: Vec<f64> = meter.ranges.iter().filter(|r| r.ohms == ohms).map(|r| r.top).collect();
                assert!(tops.is_sorted(), "{}: {tops:?}", meter.name);
            }
        }
    }

    #[test]
    fn only_the_plain_meters_read_volts() {
        let reads = |kind| METERS.iter().filter(|m| m.can(kind)).map(|m| m.name).collect::<Vec<_>>();
        assert_eq!(reads(Kind::Voltage), ["handheld", "handheld-nulled"]);
        assert_eq!(reads(Kind::Isolation), ["handheld", "handheld-nulled", "megohm"]);
        assert_eq!(reads(Kind::Continuity), ["handheld", "handheld-nulled", "four-wire", "beeper"]);
    }
}
