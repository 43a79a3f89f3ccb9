//! Readings, as people write them.

use std::fmt;

use crate::definition::Kind;
use crate::units::{self, Ohms, Quantity, Volts};

/// What the meter showed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reading {
    /// A resistance.
    Ohms(Ohms),
    /// Over the range: no current flows.
    Open,
    /// The beeper sounded.
    Tone,
    /// A voltage.
    Volts(Volts),
}

/// Why a text is not a reading.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{text}` is not a reading of {kind}: {help}")]
pub struct ReadingError {
    text: String,
    kind: &'static str,
    help: String,
}

impl Reading {
    /// Understands what people write: `0.4 ohm`, `12k`, `OL`, `open`, `>20M`, `beep`, `25.1 V`, `24.9`.
    ///
    /// A bare 0 or 1 is refused: on a meter "1" often means over the range, and "0" may be a short, a
    /// dead battery or nothing at all.
    ///
    /// # Errors
    /// Says what to write instead.
    pub fn parse(kind: Kind, text: &str) -> Result<Self, ReadingError> {
        let text = text.trim();
        let fail = |help: &str| {
            let help = help.to_owned();
            Err(ReadingError { text: text.to_owned(), kind: kind.word(), help })
        };
        let lower = text.to_lowercase();
        if matches!(text, "0" | "1") {
            return fail(if kind.is_resistance() {
                "a bare 0 or 1 can mean several things: write \"0.0 ohm\", \"1.0 ohm\" or \"open\""
            } else {
                "a bare 0 or 1 can mean several things: write \"0.0 V\" or \"1.0 V\""
            });
        }
        if !kind.is_resistance() {
            return match units::parse_signed::<Volts>(text) {
                Ok(volts) => Ok(Self::Volts(volts)),
                Err(_) => match plain_number(text) {
                    Some(volts) => Ok(Self::Volts(Volts::new(volts))),
                    None => fail("write it as \"25.1 V\" or \"350 mV\""),
                },
            };
        }
        if matches!(
            lower.as_str(),
            "ol" | "0l" | "o.l" | "o.l." | "0.l" | "open" | "inf" | "∞" | "over" | "overload"
        ) {
            return Ok(Self::Open);
        }
        if matches!(lower.as_str(), "tone" | "beep" | "beeps" | "buzz") {
            return Ok(Self::Tone);
        }
        if let Some(bound) = text.strip_prefix('>') {
            // "more than 20 Mohm" is over the range; "more than 5 ohm" is not known well enough.
            return match resistance(bound.trim()) {
                Some(ohms) if ohms.get() >= super::OPEN_FROM.get() => Ok(Self::Open),
                _ => fail("write the value itself, or \"open\" when the meter shows over the range"),
            };
        }
        match resistance(text) {
            Some(ohms) => Ok(Self::Ohms(ohms)),
            None => fail("write it as \"0.4 ohm\", \"12 kohm\", \"open\" or \"tone\""),
        }
    }

    /// As it is written into a record: with its unit, and all the digits that a meter shows.
    pub fn normal(self) -> String {
        match self {
            Self::Ohms(ohms) => format!("{ohms:.6}"),
            Self::Volts(volts) => format!("{volts:.6}"),
            Self::Open | Self::Tone => self.to_string(),
        }
    }

    /// As a person says it: ohms rather than milliohms, and nothing rather than microvolts.
    pub fn words(self) -> String {
        match self {
            Self::Ohms(ohms) if ohms.get() < 1.0 => format!("{} ohm", units::significant(ohms.get(), 2)),
            Self::Volts(volts) if volts.get().abs() < 0.005 => "0 V".to_owned(),
            Self::Volts(volts) if volts.get().abs() < 1.0 => {
                format!("{} V", units::significant(volts.get(), 2))
            }
            _ => self.to_string(),
        }
    }

    /// How high it is among readings of its kind: over the range is above every number; a tone has no figure.
    pub fn level(self) -> Option<f64> {
        match self {
            Self::Open => Some(f64::INFINITY),
            other => other.number(),
        }
    }

    /// The number it shows, in ohms or volts; none for open and tone.
    pub fn number(self) -> Option<f64> {
        match self {
            Self::Ohms(ohms) => Some(ohms.get()),
            Self::Volts(volts) => Some(volts.get()),
            Self::Open | Self::Tone => None,
        }
    }
}

/// A resistance with a unit, or with the bare prefix that meters show: `12k`, `1.2M`, `300m`.
fn resistance(text: &str) -> Option<Ohms> {
    if let Ok(ohms) = units::parse::<Ohms>(text) {
        return Some(ohms);
    }
    let factor = match text.chars().last()? {
        'k' | 'K' => 1e3,
        'M' => 1e6,
        'm' => 1e-3,
        _ => 1.0,
    };
    let digits = text.trim_end_matches(['k', 'K', 'M', 'm']);
    let number = plain_number(digits).filter(|n| *n >= 0.0)?;
    Some(Ohms::from_base(number * factor))
}

/// A number without a unit, as it stands on a meter's display.
fn plain_number(text: &str) -> Option<f64> {
    let sane = text.trim().chars().all(|c| c.is_ascii_digit() || matches!(c, '.' | '-' | '+'));
    if sane { text.trim().parse().ok().filter(|n: &f64| n.is_finite()) } else { None }
}

impl fmt::Display for Reading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Ohms(ohms) => ohms.fmt(f),
            Self::Volts(volts) => volts.fmt(f),
            Self::Open => f.write_str("open"),
            Self::Tone => f.write_str("tone"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn understands_what_meters_show() {
        let read = |text| Reading::parse(Kind::Continuity, text).unwrap();
        assert_eq!(read("OL"), Reading::Open);
        assert_eq!(read("0L"), Reading::Open);
        assert_eq!(read(">20M"), Reading::Open);
        assert_eq!(read("beep"), Reading::Tone);
        assert_eq!(read("0.4 ohm"), Reading::Ohms(Ohms::new(0.4)));
        assert_eq!(read("0.4"), Reading::Ohms(Ohms::new(0.4)));
        assert_eq!(read("12k"), Reading::Ohms(Ohms::new(12_000.0)));
        assert_eq!(read("1.5M"), Reading::Ohms(Ohms::new(1.5e6)));
        let volts = |text| Reading::parse(Kind::Voltage, text).unwrap();
        assert_eq!(volts("25.1 V"), Reading::Volts(Volts::new(25.1)));
        assert_eq!(volts("-0.2"), Reading::Volts(Volts::new(-0.2)));
    }

    #[test]
    fn refuses_what_can_mean_several_things() {
        for text in ["0", "1", "", "ok", ">5", "0.4 V", "-3 ohm", "nan"] {
            assert!(Reading::parse(Kind::Continuity, text).is_err(), "{text}");
        }
        for text in ["0", "1", "OL", "25 ohm", ""] {
            assert!(Reading::parse(Kind::Voltage, text).is_err(), "{text}");
        }
    }
}
