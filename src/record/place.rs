//! Readings that tell where along a wire a fault lies.
//!
//! Comes in: an entry of one of the kinds below. Goes out: a [`PlaceReading`], its quantities in their units,
//! its wires in the order the instrument meets them. Why apart from other readings: none of these is good or
//! bad. Each presumes that the wire is at fault and tells how far away the fault is.
//!
//! Keys, beside those that every reading has (`red`, `black`, `power`, `unplugged`, `strapped`, `meter`, …):
//!
//! | kind | `value` | `far` | `whole` | others |
//! |---|---|---|---|---|
//! | `loop` | resistance through the touch from `red` to `black` | the same from the far ends (needed) | of the sound loop | `back`, `leads` |
//! | `murray` | the bridge arm beside the faulty wire, of both arms: `"332/1000"` | | of the loop, as measured | `back`, `leads` |
//! | `varley` | resistance added beside the faulty wire | | of the loop, as measured | `back`, `leads`, `arms` |
//! | `capacitance` | of the open wire from `red` | from its far end | of a sound one | |
//! | `reflection` | time there and back, or the metres shown | | to the far end of a sound one | `velocity` |
//!
//! `along` names the wires from `red` on, in order, where more than one lies on the way; `back` those of the
//! other conductor from `black` on. `plus_minus` is the instrument's own uncertainty, in the unit of `value`;
//! left out, it is the meter's, or common practice.

use crate::definition::diagnostic::Place;
use crate::definition::{Point, WireId};
use crate::setup::Setup;
use crate::units::{self, Farads, Metres, Ohms, Quantity, QuantityError, Seconds, significant};

use super::NewEntry;

/// How the distance to a fault is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum PlaceKind {
    /// Resistance through a touch, from both ends.
    Loop,
    /// Murray loop: a bridge whose arms are balanced.
    Murray,
    /// Varley loop: a bridge balanced by resistance added beside the faulty wire.
    Varley,
    /// Capacitance of an open wire, from both ends or beside a sound one.
    Capacitance,
    /// Time until a pulse comes back.
    Reflection,
}

impl PlaceKind {
    /// Every kind with the word it is written as.
    pub const ALL: [(&'static str, Self); 5] = [
        ("loop", Self::Loop),
        ("murray", Self::Murray),
        ("varley", Self::Varley),
        ("capacitance", Self::Capacitance),
        ("reflection", Self::Reflection),
    ];

    /// From the word it is written as.
    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL.iter().find(|(word, _)| *word == text).map(|(_, kind)| *kind)
    }

    /// As a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Loop => "loop",
            Self::Murray => "murray",
            Self::Varley => "varley",
            Self::Capacitance => "capacitance",
            Self::Reflection => "reflection",
        }
    }

    /// Whether it drives a current out along a wire and back through a touch.
    pub fn is_loop(self) -> bool {
        matches!(self, Self::Loop | Self::Murray | Self::Varley)
    }

    /// Whether it needs the far ends joined.
    pub fn is_bridge(self) -> bool {
        matches!(self, Self::Murray | Self::Varley)
    }

    /// Reads what its `value` shows.
    ///
    /// # Errors
    /// Says what to write instead.
    pub fn value(self, text: &str) -> Result<Shown, PlaceError> {
        match self {
            Self::Loop => Shown::more_than_nothing(text, "\"0.42 ohm\""),
            // A bridge may balance with nothing added.
            Self::Varley => Shown::ohms(text),
            Self::Murray => share(text).map(Shown::Share),
            Self::Capacitance => Shown::farads_or_metres(text),
            Self::Reflection => Shown::seconds_or_metres(text),
        }
    }

    /// Reads what its `whole` shows: the same without the fault.
    ///
    /// # Errors
    /// Says what to write instead.
    pub fn whole(self, text: &str) -> Result<Shown, PlaceError> {
        match self {
            Self::Loop | Self::Murray | Self::Varley => Shown::more_than_nothing(text, "\"1.04 ohm\""),
            Self::Capacitance | Self::Reflection => self.value(text),
        }
    }
}

/// What an instrument shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shown {
    /// A resistance.
    Ohms(Ohms),
    /// A share of a bridge's arms, above 0 and below 1.
    Share(f64),
    /// A capacitance.
    Farads(Farads),
    /// A time.
    Seconds(Seconds),
    /// A length, from an instrument that reckons it itself.
    Metres(Metres),
}

/// Why a text is not what the instrument can have shown.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what}")]
pub struct PlaceError {
    what: String,
    /// What to write instead.
    pub help: String,
}

impl PlaceError {
    fn new(what: impl Into<String>, help: impl Into<String>) -> Self {
        Self { what: what.into(), help: help.into() }
    }
}

impl From<QuantityError> for PlaceError {
    fn from(error: QuantityError) -> Self {
        Self::new(error.to_string(), error.suggest())
    }
}

impl Shown {
    /// A resistance of nothing or more.
    fn ohms(text: &str) -> Result<Self, PlaceError> {
        Ok(Self::Ohms(units::parse(text)?))
    }

    fn more_than_nothing(text: &str, example: &str) -> Result<Self, PlaceError> {
        positive(Self::ohms(text)?, text, example)
    }

    fn farads_or_metres(text: &str) -> Result<Self, PlaceError> {
        let example = "\"410 pF\", or \"3.2 m\" where the meter reckons in metres";
        Self::either(text, example, Self::Farads)
    }

    fn seconds_or_metres(text: &str) -> Result<Self, PlaceError> {
        let example = "\"21.4 ns\", or \"2.2 m\" where the instrument reckons in metres";
        Self::either(text, example, Self::Seconds)
    }

    /// A quantity, or the length that an instrument makes of it.
    fn either<Q: Quantity>(text: &str, example: &str, make: fn(Q) -> Self) -> Result<Self, PlaceError> {
        if let Ok(length) = units::parse::<Metres>(text) {
            return positive(Self::Metres(length), text, example);
        }
        let quantity = units::parse::<Q>(text)
            .map_err(|e| PlaceError::new(e.to_string(), format!("write it as {example}")))?;
        positive(make(quantity), text, example)
    }

    /// The number it shows, in its base unit.
    pub fn number(self) -> f64 {
        match self {
            Self::Ohms(x) => x.get(),
            Self::Share(x) => x,
            Self::Farads(x) => x.get(),
            Self::Seconds(x) => x.get(),
            Self::Metres(x) => x.get(),
        }
    }

    /// Whether both are of one unit.
    pub fn is_like(self, other: Self) -> bool {
        std::mem::discriminant(&self) == std::mem::discriminant(&other)
    }

    /// As it is written into a record, with all the digits an instrument shows.
    pub fn normal(self) -> String {
        match self {
            Self::Ohms(x) => format!("{x:.6}"),
            Self::Share(x) => format!("{} %", significant(x * 100.0, 6)),
            Self::Farads(x) => format!("{x:.6}"),
            Self::Seconds(x) => format!("{x:.6}"),
            Self::Metres(x) => format!("{x:.6}"),
        }
    }
}

fn positive(shown: Shown, text: &str, example: &str) -> Result<Shown, PlaceError> {
    if shown.number() > 0.0 {
        return Ok(shown);
    }
    Err(PlaceError::new(
        format!("`{text}` tells no distance: it must be above zero"),
        format!("write it as {example}"),
    ))
}

/// A share above 0 and below 1: `332/1000`, `25 %`, `0.25`.
///
/// # Errors
/// Says what to write instead.
pub fn share(text: &str) -> Result<f64, PlaceError> {
    let help = "write the arm beside the faulty wire and both arms together: \"332/1000\", or \"33.2 %\"";
    let text = text.trim();
    let number = |text: &str| {
        let plain = text.trim().chars().all(|c| c.is_ascii_digit() || c == '.');
        if plain { text.trim().parse::<f64>().ok().filter(|n| n.is_finite()) } else { None }
    };
    let found = if let Some((arm, both)) = text.split_once('/') {
        number(arm).zip(number(both)).map(|(arm, both)| arm / both)
    } else if let Some(percent) = text.strip_suffix('%') {
        number(percent).map(|percent| percent / 100.0)
    } else {
        number(text)
    };
    match found {
        Some(share) if share > 0.0 && share < 1.0 => Ok(share),
        Some(_) => Err(PlaceError::new(format!("`{text}` is no share: it must lie between 0 and 1"), help)),
        None => Err(PlaceError::new(format!("`{text}` is not a share of a bridge's arms"), help)),
    }
}

/// A velocity factor: the speed of a pulse as a share of the speed of light, above 0 and at most 1.
///
/// # Errors
/// Says what to write instead.
pub fn velocity(text: &str) -> Result<f64, PlaceError> {
    let help = "write it as \"66 %\" or \"0.66\": 66 % to 80 % is usual for pairs and coaxial leads";
    let text = text.trim();
    let (digits, worth) = text.strip_suffix('%').map_or((text, 1.0), |percent| (percent, 0.01));
    match digits.trim().parse::<f64>().map(|number| number * worth) {
        Ok(factor) if factor > 0.0 && factor <= 1.0 => Ok(factor),
        Ok(_) => Err(PlaceError::new(
            format!("no pulse has a velocity factor of `{text}`: it lies between 0 and 1"),
            help,
        )),
        Err(_) => Err(PlaceError::new(format!("`{text}` is not a velocity factor"), help)),
    }
}

/// One reading of a place.
#[derive(Debug, Clone)]
pub struct PlaceReading {
    /// Its number in the record, from 1; other readings are counted with it.
    pub number: usize,
    /// When it was taken, as written.
    pub at: Option<String>,
    /// The plan's step, if one asked for it.
    pub step: Option<String>,
    /// How it was measured.
    pub kind: PlaceKind,
    /// The near end of the faulty wire, where the instrument is.
    pub red: Point,
    /// The near end of the other conductor.
    pub black: Point,
    /// The machine's state.
    pub setup: Setup,
    /// The wires from `red` on, in order.
    pub along: Vec<WireId>,
    /// The wires of the other conductor from `black` on; none where that is the frame.
    pub back: Vec<WireId>,
    /// What the instrument showed.
    pub value: Shown,
    /// What it showed at the far end.
    pub far: Option<Shown>,
    /// What it shows without the fault: of the whole loop, or of a sound wire.
    pub whole: Option<Shown>,
    /// The arm beside the faulty wire, as a share of both arms.
    pub arms: Option<f64>,
    /// The velocity factor.
    pub velocity: Option<f64>,
    /// The resistance of each test lead.
    pub leads: Option<Ohms>,
    /// The instrument's own uncertainty, in the unit of `value`.
    pub plus_minus: Option<Shown>,
    /// The meter.
    pub meter: Option<String>,
    /// Who took it.
    pub by: Option<String>,
    /// Remarks.
    pub note: Option<String>,
    /// Where it stands in the record.
    pub place: Place,
}

impl PlaceReading {
    /// How reports refer to it.
    pub fn name(&self) -> String {
        match &self.step {
            Some(step) => format!("#{} ({step})", self.number),
            None => format!("#{}", self.number),
        }
    }

    /// What the instrument showed, in words: "0.41 ohm, from the far end 0.63 ohm".
    pub fn shown(&self) -> String {
        let mut words = self.value.normal();
        for (what, shown) in [("from the far end", self.far), ("whole", self.whole)] {
            if let Some(shown) = shown {
                words.push_str(&format!(", {what} {}", shown.normal()));
            }
        }
        words
    }
}

/// A reading of a place in names, as it is written.
#[derive(Debug, Clone, Default)]
pub struct NewPlace {
    /// What it shares with every reading.
    pub entry: NewEntry,
    /// The wires from `red` on.
    pub along: Vec<String>,
    /// The wires of the other conductor from `black` on.
    pub back: Vec<String>,
    /// What the instrument showed at the far end.
    pub far: Option<String>,
    /// What it shows without the fault.
    pub whole: Option<String>,
    /// The arm beside the faulty wire, of both arms.
    pub arms: Option<String>,
    /// The velocity factor.
    pub velocity: Option<String>,
    /// The resistance of each test lead.
    pub leads: Option<String>,
    /// The instrument's own uncertainty.
    pub plus_minus: Option<String>,
}

impl NewPlace {
    /// The entry as it stands in a record, from its header to its last line break; the value is the last.
    pub fn text(&self) -> String {
        let lists = [("along", &self.along), ("back", &self.back)];
        let lists = lists.into_iter().filter(|(_, names)| !names.is_empty());
        let mut more: Vec<_> = lists.map(|(key, names)| (key, super::entry::list(names))).collect();
        let texts = [
            ("far", &self.far),
            ("whole", &self.whole),
            ("arms", &self.arms),
            ("velocity", &self.velocity),
            ("leads", &self.leads),
            ("plus_minus", &self.plus_minus),
        ];
        more.extend(
            texts.into_iter().filter_map(|(key, text)| Some((key, super::entry::quoted(text.as_deref()?)))),
        );
        self.entry.text_with(more)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_are_read_in_three_ways_and_nothing_else() {
        for text in ["332/1000", "33.2 %", "0.332", " 332 / 1000 "] {
            assert!((share(text).unwrap() - 0.332).abs() < 1e-12, "{text}");
        }
        for text in ["", "332", "0", "1", "1000/332", "-1/3", "1/0", "0/0", "nan", "1e3/1e4", "a/b", "%"] {
            assert!(share(text).is_err(), "{text}");
        }
    }

    #[test]
    fn values_need_the_unit_of_their_kind() {
        let read = |kind: PlaceKind, text| kind.value(text);
        assert_eq!(read(PlaceKind::Loop, "420 mohm"), Ok(Shown::Ohms(Ohms::new(0.42))));
        assert_eq!(read(PlaceKind::Varley, "0 ohm"), Ok(Shown::Ohms(Ohms::new(0.0))));
        assert_eq!(read(PlaceKind::Capacitance, "240 ft"), Ok(Shown::Metres(Metres::new(240.0 * 0.3048))));
        assert!(matches!(read(PlaceKind::Reflection, "21 ns"), Ok(Shown::Seconds(_))));
        for (kind, text) in [
            (PlaceKind::Loop, "0 ohm"),
            (PlaceKind::Loop, "0.4"),
            (PlaceKind::Loop, "open"),
            (PlaceKind::Varley, "-1 ohm"),
            (PlaceKind::Murray, "3 ohm"),
            (PlaceKind::Capacitance, "0 pF"),
            (PlaceKind::Capacitance, "3 ohm"),
            (PlaceKind::Reflection, "12"),
            (PlaceKind::Reflection, "-3 ns"),
        ] {
            assert!(read(kind, text).is_err(), "{kind:?} {text}");
        }
    }

    #[test]
    fn velocities_are_shares_of_light() {
        assert!((velocity("66 %").unwrap() - 0.66).abs() < 1e-12);
        assert!((velocity("0.8").unwrap() - 0.8).abs() < 1e-12);
        for text in ["66", "0", "-1", "101 %", "fast", "nan", "inf"] {
            assert!(velocity(text).is_err(), "{text}");
        }
    }
}
