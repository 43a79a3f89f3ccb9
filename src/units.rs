//! Physical quantities: what people write (`"2.4 m"`, `"16 AWG"`, `"12 mohm"`), what the tool
//! computes with, and what it prints.
//!
//! Comes in: text. Goes out: newtypes over `f64` in one base unit each, or an error that names the
//! units that would do. Why: a bare number is the most expensive mistake in a wiring definition, so
//! it never gets past this page; and every number that is printed goes through one rounding
//! function, so that tables, drawings and sheets agree.

use std::fmt;

/// One spelling of a unit and how many base units it is worth.
#[derive(Debug, Clone, Copy)]
pub struct Unit {
    /// As people write it.
    pub symbol: &'static str,
    /// Base units per one of this.
    pub factor: f64,
}

const fn unit(symbol: &'static str, factor: f64) -> Unit {
    Unit { symbol, factor }
}

/// A quantity with a unit, held in its base unit.
pub trait Quantity: Copy + fmt::Display {
    /// What it is, in words: `"resistance"`.
    const NAME: &'static str;
    /// The units worth suggesting, best first.
    const SUGGEST: &'static str;
    /// Every spelling that is understood.
    const UNITS: &'static [Unit];

    /// From a number of base units.
    fn from_base(value: f64) -> Self;
    /// As a number of base units.
    fn base(self) -> f64;
}

/// Why a text is not the quantity that was asked for.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum QuantityError {
    /// A number without a unit.
    #[error("a {name} needs a unit")]
    NoUnit {
        /// The quantity's name.
        name: &'static str,
        /// What to write instead.
        suggest: String,
    },
    /// A unit that does not measure this quantity.
    #[error("`{unit}` is not a unit of {name}")]
    WrongUnit {
        /// The quantity's name.
        name: &'static str,
        /// The unit that was written.
        unit: String,
        /// What to write instead.
        suggest: String,
    },
    /// Not a number at all.
    #[error("`{text}` is not a {name}")]
    NotANumber {
        /// The quantity's name.
        name: &'static str,
        /// What was written.
        text: String,
        /// What to write instead.
        suggest: String,
    },
    /// A number that nothing real has.
    #[error("`{text}` is no {name} that anything has")]
    Unreal {
        /// The quantity's name.
        name: &'static str,
        /// What was written.
        text: String,
        /// What to write instead.
        suggest: String,
    },
    /// Nothing, where there must be something.
    #[error("a {name} must be above zero")]
    Zero {
        /// The quantity's name.
        name: &'static str,
        /// What to write instead.
        suggest: String,
    },
    /// Below zero, where only zero and more make sense.
    #[error("a {name} cannot be below zero")]
    Negative {
        /// The quantity's name.
        name: &'static str,
        /// What to write instead.
        suggest: String,
    },
}

impl QuantityError {
    /// What to write instead.
    pub fn suggest(&self) -> &str {
        match self {
            Self::NoUnit { suggest, .. }
            | Self::WrongUnit { suggest, .. }
            | Self::NotANumber { suggest, .. }
            | Self::Unreal { suggest, .. }
            | Self::Zero { suggest, .. }
            | Self::Negative { suggest, .. } => suggest,
        }
    }
}

/// Reads a quantity of zero or more, as definitions need it.
///
/// # Errors
/// Says what is wrong and which units would do.
pub fn parse<Q: Quantity>(text: &str) -> Result<Q, QuantityError> {
    let value: Q = parse_signed(text)?;
    if value.base() < 0.0 {
        return Err(QuantityError::Negative {
            name: Q::NAME,
            suggest: format!("write it as {}", Q::SUGGEST),
        });
    }
    Ok(value)
}

/// Sizes in base units between which every real quantity lies. Beyond them a product or quotient of a
/// few quantities could overflow to infinity, and what follows would be no number.
const REAL: std::ops::RangeInclusive<f64> = 1e-15..=1e15;

/// Reads a quantity that may be below zero, as voltage readings and temperatures are.
///
/// # Errors
/// Says what is wrong and which units would do.
pub fn parse_signed<Q: Quantity>(text: &str) -> Result<Q, QuantityError> {
    let text = text.trim();
    let (number, symbol) = split_number(text);
    let suggest = || format!("write it as {}", Q::SUGGEST);
    let Some(number) = number.parse::<f64>().ok().filter(|n| n.is_finite()) else {
        return Err(QuantityError::NotANumber { name: Q::NAME, text: text.to_owned(), suggest: suggest() });
    };
    if symbol.is_empty() {
        return Err(QuantityError::NoUnit { name: Q::NAME, suggest: suggest() });
    }
    if symbol.starts_with(',') {
        let suggest = format!("write the decimal sign as a point: \"{}\"", text.replacen(',', ".", 1));
        return Err(QuantityError::NotANumber { name: Q::NAME, text: text.to_owned(), suggest });
    }
    let Some(unit) = Q::UNITS.iter().find(|u| u.symbol == symbol) else {
        return Err(QuantityError::WrongUnit { name: Q::NAME, unit: symbol.to_owned(), suggest: suggest() });
    };
    let value = number * unit.factor;
    if number != 0.0 && !REAL.contains(&value.abs()) {
        return Err(QuantityError::Unreal { name: Q::NAME, text: text.to_owned(), suggest: suggest() });
    }
    Ok(Q::from_base(value))
}

/// Splits `"2.4 m"` into `("2.4", "m")`; the blank between them is optional.
fn split_number(text: &str) -> (&str, &str) {
    let mut end = 0;
    for (at, c) in text.char_indices() {
        // An exponent belongs to the number only if a digit follows, so that "5 e" is a unit.
        let exponent = matches!(c, 'e' | 'E')
            && at > 0
            && text[at + 1..].starts_with(|n: char| n.is_ascii_digit() || matches!(n, '+' | '-'));
        if c.is_ascii_digit() || matches!(c, '.' | '+' | '-') || exponent {
            end = at + c.len_utf8();
        } else {
            break;
        }
    }
    (&text[..end], text[end..].trim())
}

/// Rounds to `digits` significant digits and drops trailing zeros: the one place where a number
/// becomes text.
pub fn significant(value: f64, digits: usize) -> String {
    if value == 0.0 || !value.is_finite() {
        return if value.is_finite() { "0".to_owned() } else { value.to_string() };
    }
    let exponent = value.abs().log10().floor();
    // One digit fewer behind the point for each digit in front of it.
    #[expect(clippy::cast_sign_loss, reason = "clamped to 0..=12 in the same line")]
    let behind = (digits as f64 - 1.0 - exponent).clamp(0.0, 12.0) as usize;
    let scale = 10f64.powf(exponent - digits as f64 + 1.0);
    let rounded = if behind > 0 { value } else { (value / scale).round() * scale };
    let text = format!("{rounded:.behind$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// Prints with the prefix that leaves one to three digits before the point.
fn with_prefix(f: &mut fmt::Formatter<'_>, value: f64, prefixes: &[Unit]) -> fmt::Result {
    let size = value.abs();
    // Compare what will be printed: 999.6 mohm to three digits is 1 ohm, not 1000 mohm.
    let chosen = prefixes.iter().rev().find(|p| size >= p.factor * 0.9995).unwrap_or(&prefixes[0]);
    let chosen = if value == 0.0 {
        prefixes.iter().find(|p| (p.factor - 1.0).abs() < f64::EPSILON).unwrap_or(chosen)
    } else {
        chosen
    };
    let digits = f.precision().unwrap_or(3);
    write!(f, "{} {}", significant(value / chosen.factor, digits), chosen.symbol)
}

/// Makes one newtype over `f64`; the units and the printed prefixes are the only things that differ.
macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $words:literal, $suggest:literal, [$($symbol:literal = $factor:literal),+ $(,)?], prints [$($shown:literal = $worth:literal),+ $(,)?]) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, serde::Serialize)]
        #[serde(transparent)]
        pub struct $name(f64);

        impl $name {
            /// From a number of base units.
            pub const fn new(value: f64) -> Self {
                Self(value)
            }
            /// As a number of base units.
            pub const fn get(self) -> f64 {
                self.0
            }
        }

        impl Quantity for $name {
            const NAME: &'static str = $words;
            const SUGGEST: &'static str = $suggest;
            const UNITS: &'static [Unit] = &[$(unit($symbol, $factor)),+];
            fn from_base(value: f64) -> Self {
                Self(value)
            }
            fn base(self) -> f64 {
                self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                with_prefix(f, self.0, &[$(unit($shown, $worth)),+])
            }
        }

        impl std::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl std::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl std::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, by: f64) -> Self {
                Self(self.0 * by)
            }
        }

        impl std::iter::Sum for $name {
            fn sum<I: Iterator<Item = Self>>(items: I) -> Self {
                Self(items.map(|x| x.0).sum())
            }
        }
    };
}

quantity!(
    /// Resistance in ohms.
    Ohms, "resistance", "\"0.4 ohm\", \"12 mohm\", \"2.2 kohm\" or \"10 Mohm\"",
    ["ohm" = 1.0, "ohms" = 1.0, "Ω" = 1.0, "\u{2126}" = 1.0, "mohm" = 1e-3, "mΩ" = 1e-3, "uohm" = 1e-6,
     "µohm" = 1e-6, "kohm" = 1e3, "kΩ" = 1e3, "Mohm" = 1e6, "MΩ" = 1e6, "Gohm" = 1e9, "GΩ" = 1e9],
    prints ["mohm" = 1e-3, "ohm" = 1.0, "kohm" = 1e3, "Mohm" = 1e6, "Gohm" = 1e9]
);
quantity!(
    /// Voltage in volts.
    Volts, "voltage", "\"24 V\" or \"350 mV\"",
    ["V" = 1.0, "mV" = 1e-3, "uV" = 1e-6, "µV" = 1e-6, "kV" = 1e3],
    prints ["mV" = 1e-3, "V" = 1.0, "kV" = 1e3]
);
quantity!(
    /// Current in amperes.
    Amps, "current", "\"15 A\" or \"20 mA\"",
    ["A" = 1.0, "mA" = 1e-3, "uA" = 1e-6, "µA" = 1e-6, "kA" = 1e3],
    prints ["mA" = 1e-3, "A" = 1.0]
);
quantity!(
    /// Length in metres.
    Metres, "length", "\"2.4 m\", \"850 mm\", \"34 in\" or \"8 ft\"",
    ["m" = 1.0, "mm" = 1e-3, "cm" = 1e-2, "km" = 1e3, "in" = 0.0254, "ft" = 0.3048],
    prints ["mm" = 1e-3, "m" = 1.0, "km" = 1e3]
);
quantity!(
    /// Time in seconds.
    Seconds, "time", "\"60 s\" or \"5 min\"",
    ["s" = 1.0, "ms" = 1e-3, "us" = 1e-6, "µs" = 1e-6, "ns" = 1e-9, "min" = 60.0, "h" = 3600.0],
    prints ["ns" = 1e-9, "us" = 1e-6, "ms" = 1e-3, "s" = 1.0]
);
quantity!(
    /// Capacitance in farads.
    Farads, "capacitance", "\"410 pF\" or \"1.2 nF\"",
    ["F" = 1.0, "mF" = 1e-3, "uF" = 1e-6, "µF" = 1e-6, "nF" = 1e-9, "pF" = 1e-12],
    prints ["pF" = 1e-12, "nF" = 1e-9, "uF" = 1e-6, "mF" = 1e-3, "F" = 1.0]
);
quantity!(
    /// Cross-section in square millimetres.
    SquareMillimetres, "cross-section", "\"1.5 mm2\"",
    ["mm2" = 1.0, "mm²" = 1.0, "mm^2" = 1.0],
    prints ["mm2" = 1.0]
);
quantity!(
    /// Angle in degrees, clockwise.
    Degrees, "angle", "\"30 deg\"",
    ["deg" = 1.0, "°" = 1.0],
    prints ["deg" = 1.0]
);
quantity!(
    /// Temperature in degrees Celsius.
    Celsius, "temperature", "\"20 degC\"",
    ["degC" = 1.0, "°C" = 1.0],
    prints ["degC" = 1.0]
);

/// An American wire gauge number: 0000 is -3, 000 is -2, 00 is -1, 0 is 0 (ASTM B258).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Awg(i8);

impl Awg {
    /// The thickest (0000) and the thinnest gauge that are understood.
    pub const RANGE: std::ops::RangeInclusive<i8> = -3..=40;

    /// From a gauge number, `None` outside [`Awg::RANGE`].
    pub fn new(number: i8) -> Option<Self> {
        Self::RANGE.contains(&number).then_some(Self(number))
    }

    /// The gauge number; 0000 is -3.
    pub const fn number(self) -> i8 {
        self.0
    }

    /// Reads `16`, `0`, `00`, `2/0`, `4/0`.
    pub fn parse(text: &str) -> Option<Self> {
        if let Some(noughts) = text.strip_suffix("/0") {
            let count: i8 = noughts.parse().ok()?;
            return (1..=4).contains(&count).then(|| Self(1 - count));
        }
        if text.len() > 1 && text.bytes().all(|b| b == b'0') {
            return (text.len() <= 4).then(|| Self(1 - text.len() as i8));
        }
        if !text.bytes().all(|b| b.is_ascii_digit()) {
            return None;
        }
        Self::new(text.parse().ok()?)
    }
}

impl fmt::Display for Awg {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            n if n < 0 => write!(f, "{}/0", 1 - n),
            n => write!(f, "{n}"),
        }
    }
}

/// A conductor size, in the system it was written in.
///
/// "12 gauge" alone is ambiguous (an SAE conductor is 5 to 12 % smaller than the same AWG number),
/// so the system is part of the value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Gauge {
    /// A metric cross-section.
    Metric(SquareMillimetres),
    /// American wire gauge.
    Awg(Awg),
    /// SAE gauge, an even number from 0 to 22.
    Sae(u8),
}

impl Gauge {
    /// What it is, in words.
    pub const NAME: &'static str = "conductor size";
    /// The systems worth suggesting.
    pub const SUGGEST: &'static str = "\"1.5 mm2\", \"16 AWG\" or \"14 SAE\"";

    /// Reads `"1.5 mm2"`, `"16 AWG"`, `"2/0 AWG"` or `"14 SAE"`.
    ///
    /// # Errors
    /// Says what to write instead.
    pub fn parse(text: &str) -> Result<Self, QuantityError> {
        const NAME: &str = Gauge::NAME;
        let suggest = || format!("write it as {}", Self::SUGGEST);
        let text = text.trim();
        let Some((number, system)) = text.rsplit_once(' ').or_else(|| {
            let at = text.find(|c: char| c.is_alphabetic())?;
            Some(text.split_at(at))
        }) else {
            return Err(QuantityError::NoUnit { name: NAME, suggest: suggest() });
        };
        let number = number.trim();
        let not_a_number =
            || QuantityError::NotANumber { name: NAME, text: text.to_owned(), suggest: suggest() };
        let not_in_table = |suggest: &str| QuantityError::NotANumber {
            name: NAME,
            text: text.to_owned(),
            suggest: suggest.to_owned(),
        };
        match system {
            // "20 gauge" could be either of two systems.
            "gauge" | "ga" => Err(QuantityError::NoUnit { name: NAME, suggest: suggest() }),
            "AWG" => Awg::parse(number)
                .map(Self::Awg)
                .ok_or_else(|| not_in_table("AWG sizes are 4/0, 3/0, 2/0, 1/0 and 1 to 40")),
            "SAE" => sae(number).ok_or_else(|| not_in_table("SAE sizes are the even numbers from 0 to 22")),
            _ => {
                let area: SquareMillimetres = parse(text).map_err(|error| match error {
                    QuantityError::WrongUnit { unit, .. } => {
                        QuantityError::WrongUnit { name: NAME, unit, suggest: suggest() }
                    }
                    QuantityError::Unreal { text, .. } => {
                        QuantityError::Unreal { name: NAME, text, suggest: suggest() }
                    }
                    // A decimal comma has a help of its own.
                    QuantityError::NotANumber { text, suggest, .. } if text.contains(',') => {
                        QuantityError::NotANumber { name: NAME, text, suggest }
                    }
                    _ => not_a_number(),
                })?;
                let zero = || QuantityError::Zero { name: NAME, suggest: suggest() };
                if area.get() > 0.0 { Ok(Self::Metric(area)) } else { Err(zero()) }
            }
        }
    }
}

fn sae(number: &str) -> Option<Gauge> {
    number.parse::<u8>().ok().filter(|n| *n <= 22 && n % 2 == 0).map(Gauge::Sae)
}

impl fmt::Display for Gauge {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Metric(area) => write!(f, "{area}"),
            Self::Awg(gauge) => write!(f, "{gauge} AWG"),
            Self::Sae(gauge) => write!(f, "{gauge} SAE"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_every_unit_it_suggests() {
        assert_eq!(parse::<Ohms>("12 mohm"), Ok(Ohms::new(0.012)));
        assert_eq!(parse::<Ohms>("10Mohm"), Ok(Ohms::new(1e7)));
        assert_eq!(parse::<Metres>("8 ft"), Ok(Metres::new(8.0 * 0.3048)));
        assert_eq!(parse::<Seconds>("5 min"), Ok(Seconds::new(300.0)));
        assert_eq!(parse_signed::<Volts>("-12.5 V"), Ok(Volts::new(-12.5)));
        assert_eq!(parse::<Amps>("1e-3 A"), Ok(Amps::new(0.001)));
    }

    #[test]
    fn refuses_a_bare_number_and_says_what_would_do() {
        let error = parse::<Ohms>("12").unwrap_err();
        assert!(matches!(error, QuantityError::NoUnit { .. }));
        assert!(error.suggest().contains("mohm"));
        assert!(matches!(parse::<Ohms>("12 V"), Err(QuantityError::WrongUnit { .. })));
        assert!(matches!(parse::<Ohms>("-1 ohm"), Err(QuantityError::Negative { .. })));
        for bad in ["", "ohm", "nan ohm", "inf V", "1e999 ohm", "--3 ohm", "1.2.3 ohm"] {
            assert!(matches!(parse::<Ohms>(bad), Err(QuantityError::NotANumber { .. })), "{bad}");
        }
    }

    #[test]
    fn gauge_keeps_its_system() {
        assert_eq!(Gauge::parse("1.5 mm2").unwrap().to_string(), "1.5 mm2");
        assert_eq!(Gauge::parse("2/0 AWG").unwrap().to_string(), "2/0 AWG");
        assert_eq!(Gauge::parse("0000 AWG").unwrap(), Gauge::Awg(Awg(-3)));
        assert_eq!(Gauge::parse("14 SAE").unwrap(), Gauge::Sae(14));
        for bad in ["16", "16 gauge", "41 AWG", "-2 AWG", "15 SAE", "0 mm2", "mm2", "", "5/0 AWG"] {
            assert!(Gauge::parse(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn prints_three_digits_with_a_fitting_prefix() {
        assert_eq!(Ohms::new(0.0042).to_string(), "4.2 mohm");
        assert_eq!(Ohms::new(0.9996).to_string(), "1 ohm");
        assert_eq!(Ohms::new(0.0).to_string(), "0 ohm");
        assert_eq!(Ohms::new(1_234_567.0).to_string(), "1.23 Mohm");
        assert_eq!(Metres::new(12.34).to_string(), "12.3 m");
        assert_eq!(Volts::new(-0.25).to_string(), "-250 mV");
        assert_eq!(significant(1234.0, 3), "1230");
        assert_eq!(significant(-0.000_000_000_000_01, 3), "0");
    }
}
