//! Wire ids that say something: the significant wire code of aircraft, and the circuit a wire id
//! belongs to.
//!
//! Comes in: a wire id as it is marked on the wire. Goes out: its parts, or the circuit it names.
//! Why: a wire id tells which wires belong together and where a wire ends up; a plan can follow a
//! circuit only if it can read that. Ids that follow no such rule are fine everywhere else.

use std::fmt;

use crate::units::Awg;

/// The circuit function that the letter of a significant wire id names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Function {
    /// The letter.
    pub letter: char,
    /// What it stands for; `None` where it is unassigned.
    pub meaning: Option<&'static str>,
    /// Where that is published, or "from memory".
    pub source: &'static str,
}

const AC_21_99: &str = "AC 21-99, section 2 chapter 2";
const NAVEDTRA: &str = "NAVEDTRA 14329";
const NAVEDTRA_BOTH: &str = "NAVEDTRA 14329 and 14176";
const BOTH: &str = "AC 21-99, section 2 chapter 2; NAVEDTRA 14329";
const MEMORY: &str = "from memory";

const fn function(letter: char, meaning: &'static str, source: &'static str) -> Function {
    Function { letter, meaning: Some(meaning), source }
}

const fn unassigned(letter: char, source: &'static str) -> Function {
    Function { letter, meaning: None, source }
}

/// Circuit function letters (MIL-W-5088, AS50881 appendix), each with the handbook it was checked in.
pub const FUNCTIONS: [Function; 26] = [
    // Armament in older issues of MIL-W-5088; AC 21-99 leaves the letter unassigned.
    function('A', "armament", MEMORY),
    function('B', "photographic", AC_21_99),
    function('C', "control surface", AC_21_99),
    function('D', "instrument (other than flight or engine)", BOTH),
    function('E', "engine instrument", BOTH),
    function('F', "flight instrument", AC_21_99),
    function('G', "landing gear, wing folding", AC_21_99),
    function('H', "heating, ventilating and de-icing", AC_21_99),
    unassigned('I', AC_21_99),
    function('J', "ignition", AC_21_99),
    function('K', "engine control", AC_21_99),
    function('L', "lighting", NAVEDTRA),
    function('M', "miscellaneous electrical", MEMORY),
    unassigned('N', MEMORY),
    unassigned('O', MEMORY),
    function('P', "dc power", NAVEDTRA_BOTH),
    function('Q', "fuel and oil", MEMORY),
    function('R', "radio (navigation and communication)", MEMORY),
    function('S', "radar", MEMORY),
    function('T', "special electronics", MEMORY),
    function('U', "miscellaneous electronics", MEMORY),
    function('V', "dc power and dc control for ac systems", NAVEDTRA),
    function('W', "warning and emergency", MEMORY),
    function('X', "ac power", NAVEDTRA),
    function('Y', "armament special systems", MEMORY),
    function('Z', "experimental", MEMORY),
];

/// What a letter behind the gauge says about the wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Suffix {
    /// N: it completes the circuit to the ground network (NAVEDTRA 14176).
    Ground,
    /// A, B or C: the phase of three-phase ac that it carries (NAVEDTRA 14176).
    Phase(char),
    /// V: the ungrounded wire of single-phase ac (from memory).
    Ungrounded,
    /// The metal of a thermocouple wire (from memory).
    Thermocouple(Metal),
}

/// Thermocouple metals (from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Metal {
    /// CHRO, CHROMEL
    Chromel,
    /// ALML, ALUMEL
    Alumel,
    /// IRON
    Iron,
    /// CONS
    Constantan,
    /// COPP
    Copper,
}

const SUFFIXES: [(&str, Suffix); 12] = [
    ("N", Suffix::Ground),
    ("A", Suffix::Phase('A')),
    ("B", Suffix::Phase('B')),
    ("C", Suffix::Phase('C')),
    ("V", Suffix::Ungrounded),
    ("CHROMEL", Suffix::Thermocouple(Metal::Chromel)),
    ("CHRO", Suffix::Thermocouple(Metal::Chromel)),
    ("ALUMEL", Suffix::Thermocouple(Metal::Alumel)),
    ("ALML", Suffix::Thermocouple(Metal::Alumel)),
    ("IRON", Suffix::Thermocouple(Metal::Iron)),
    ("CONS", Suffix::Thermocouple(Metal::Constantan)),
    ("COPP", Suffix::Thermocouple(Metal::Copper)),
];

/// A significant wire id, taken apart: `2P215A4N`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SignificantId {
    /// Which of several identical units the wire is in: `2`.
    pub unit: Option<String>,
    /// The circuit function letter: `P`.
    pub function: char,
    /// The wire number as written: `215`.
    pub number: String,
    /// The segment letter, which changes at each terminal or connector on the way: `A`.
    pub segment: String,
    /// The size of this segment: `4`.
    pub gauge: Awg,
    /// What stands behind the gauge: `N`.
    pub suffix: Option<Suffix>,
    /// Whether it is marked as aluminium (`ALUM` or `ALUMINUM` at the end).
    pub aluminium: bool,
    text: String,
}

/// Why a text is not a significant wire id.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WireIdError {
    /// A part is missing or not what the place asks for.
    #[error("`{text}` has no {part} where one belongs")]
    Part {
        /// The id.
        text: String,
        /// The part, in words.
        part: &'static str,
    },
    /// I or O as a segment letter.
    #[error("segment letter `{segment}`: I and O are not used, they look like 1 and 0")]
    Segment {
        /// The segment letters.
        segment: String,
    },
    /// A suffix that means nothing.
    #[error("`{suffix}` is no suffix of a wire id")]
    Suffix {
        /// The suffix.
        suffix: String,
    },
}

impl WireIdError {
    /// What to write instead.
    pub fn suggest(&self) -> &'static str {
        match self {
            Self::Part { .. } => {
                "write function letter, number, segment letter and gauge in capitals, as in \"P215A4N\""
            }
            Self::Segment { .. } => "write A to Z without I and O, then AA, AB and so on",
            Self::Suffix { .. } => {
                "write N (ground), A, B or C (phase), V (ungrounded ac), a thermocouple metal as \"IRON\", \
                 or \"ALUM\""
            }
        }
    }
}

impl SignificantId {
    /// Reads `[unit] function letter, number, segment letter, gauge [suffix]` (MIL-W-5088, AS50881
    /// appendix): `P215A4N`, `2P215A4N`, `J14C20`, `P5A2/0`. Nothing stands between the parts.
    ///
    /// The unit is a number of one or two digits; the segment one or two letters without I and O
    /// (from memory); the gauge an AWG size, thick ones as `00` or `2/0`.
    ///
    /// # Errors
    /// Names the part that does not fit.
    pub fn parse(text: &str) -> Result<Self, WireIdError> {
        let missing = |part| WireIdError::Part { text: text.to_owned(), part };
        let (unit, rest) = take(text, |c| c.is_ascii_digit());
        if unit.len() > 2 || unit.starts_with('0') {
            return Err(missing("unit number of one or two digits"));
        }
        let function = rest.chars().next().filter(char::is_ascii_uppercase);
        let function = function.ok_or_else(|| missing("function letter"))?;
        let (number, rest) = take(&rest[1..], |c| c.is_ascii_digit());
        if number.is_empty() {
            return Err(missing("wire number"));
        }
        let (segment, rest) = take(rest, |c| c.is_ascii_uppercase());
        check_segment(segment).ok_or_else(|| missing("segment letter"))??;
        let (gauge, rest) = take(rest, |c| c.is_ascii_digit() || c == '/');
        let gauge = read_gauge(gauge).ok_or_else(|| missing("wire gauge"))?;
        let (suffix, aluminium) = read_suffix(rest)?;
        Ok(Self {
            unit: (!unit.is_empty()).then(|| unit.to_owned()),
            function,
            number: number.to_owned(),
            segment: segment.to_owned(),
            gauge,
            suffix,
            aluminium,
            text: text.to_owned(),
        })
    }

    /// What the function letter stands for, `None` where it is unassigned.
    pub fn meaning(&self) -> Option<&'static str> {
        FUNCTIONS.iter().find(|row| row.letter == self.function)?.meaning
    }

    /// The circuit: unit, function letter and number (`P215`, `2P215`).
    pub fn circuit(&self) -> String {
        format!("{}{}{}", self.unit.as_deref().unwrap_or(""), self.function, self.number)
    }
}

impl fmt::Display for SignificantId {
    /// As it was written.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

/// The circuit a wire id belongs to: its number without what changes along the way.
///
/// Three forms are read, all in capitals and with nothing between the parts:
///
/// | form | example | circuit |
/// |---|---|---|
/// | number, then no, one or two segment letters | `31`, `31A`, `108AA` | `31`, `31`, `108` |
/// | letter, number, then no, one or two segment letters | `P215`, `P215A` | `P215` |
/// | significant id ([`SignificantId::parse`]) | `P215A4N`, `2P215A4N` | `P215`, `2P215` |
///
/// The segment letters I and O are not used, so `31O` is not read as circuit 31: it may be a
/// misread 310. Leading zeros stay. Everything else (`31A4`, `GP1`, `W-12`, `31a`) gives `None`, and
/// the definition can name the circuit itself.
pub fn circuit_of(id: &str) -> Option<String> {
    plain_circuit(id)
        .map(str::to_owned)
        .or_else(|| SignificantId::parse(id).ok().map(|significant| significant.circuit()))
}

fn plain_circuit(id: &str) -> Option<&str> {
    let letters = id.chars().next().map_or(0, |c| usize::from(c.is_ascii_uppercase()));
    let (number, segment) = take(&id[letters..], |c| c.is_ascii_digit());
    if number.is_empty() {
        return None;
    }
    let fits = segment.is_empty() || matches!(check_segment(segment), Some(Ok(())));
    fits.then(|| &id[..letters + number.len()])
}

/// Splits off the leading characters that fit.
fn take(text: &str, fits: impl Fn(char) -> bool) -> (&str, &str) {
    text.split_at(text.find(|c| !fits(c)).unwrap_or(text.len()))
}

/// `None` unless it is one or two capitals; an error if I or O is among them.
fn check_segment(segment: &str) -> Option<Result<(), WireIdError>> {
    let shape = matches!(segment.len(), 1 | 2) && segment.bytes().all(|b| b.is_ascii_uppercase());
    shape.then(|| {
        if segment.contains(['I', 'O']) {
            return Err(WireIdError::Segment { segment: segment.to_owned() });
        }
        Ok(())
    })
}

/// An AWG size without leading zeros other than `0`, `00`, `000`, `0000`.
fn read_gauge(text: &str) -> Option<Awg> {
    let padded = text.len() > 1 && text.starts_with('0') && text.bytes().any(|b| b != b'0');
    if padded { None } else { Awg::parse(text) }
}

/// The suffix, and whether aluminium is marked behind it.
fn read_suffix(text: &str) -> Result<(Option<Suffix>, bool), WireIdError> {
    let known = |text: &str| SUFFIXES.iter().find(|(letters, _)| *letters == text).map(|(_, suffix)| *suffix);
    let unmarked = text.strip_suffix("ALUMINUM").or_else(|| text.strip_suffix("ALUM"));
    match (text, unmarked) {
        ("", _) => Some((None, false)),
        (_, Some("")) => Some((None, true)),
        (_, Some(before)) => known(before).map(|suffix| (Some(suffix), true)),
        (_, None) => known(text).map(|suffix| (Some(suffix), false)),
    }
    .ok_or_else(|| WireIdError::Suffix { suffix: text.to_owned() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn circuits() {
        for (id, circuit) in [
            ("31", "31"),
            ("31A", "31"),
            ("108AA", "108"),
            ("031B", "031"),
            ("P215", "P215"),
            ("P215A", "P215"),
            ("P215A4N", "P215"),
            ("2P215A4N", "2P215"),
            ("P5AB00", "P5"),
        ] {
            assert_eq!(circuit_of(id).as_deref(), Some(circuit), "{id}");
        }
        for id in ["", "A", "GP1", "W-12", "31a", "31O", "31I", "31ABC", "31A4", "31 A", "é31", "31é", "P"]
        {
            assert_eq!(circuit_of(id), None, "{id}");
        }
    }

    #[test]
    fn what_does_not_fit_names_the_part() {
        let part = |text| match SignificantId::parse(text) {
            Err(WireIdError::Part { part, .. }) => part,
            other => panic!("{text}: {other:?}"),
        };
        assert_eq!(part(""), "function letter");
        assert_eq!(part("p215A4N"), "function letter");
        assert_eq!(part("éP215A4N"), "function letter");
        assert_eq!(part("123P215A4N"), "unit number of one or two digits");
        assert_eq!(part("PA4N"), "wire number");
        assert_eq!(part("P215"), "segment letter");
        assert_eq!(part("P215ABC4"), "segment letter");
        assert_eq!(part("P215A"), "wire gauge");
        assert_eq!(part("P215A99"), "wire gauge");
        assert_eq!(part("P215A04"), "wire gauge");
        assert!(matches!(SignificantId::parse("P215A4X"), Err(WireIdError::Suffix { .. })));
        assert!(matches!(SignificantId::parse("P215A4é"), Err(WireIdError::Suffix { .. })));
    }

    #[test]
    fn the_function_letters_are_the_alphabet() {
        assert!(FUNCTIONS.iter().map(|row| row.letter).eq('A'..='Z'));
    }

    proptest::proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in "[0-9]{0,2}[A-Pé]{0,2}[0-9/]{0,3}[A-P]{0,2}[0-9/é]{0,3}[A-Z]{0,8}") {
            if let Some(circuit) = circuit_of(&text) {
                proptest::prop_assert!(text.starts_with(&circuit) && circuit.ends_with(|c: char| c.is_ascii_digit()));
            }
            if let Ok(id) = SignificantId::parse(&text) {
                proptest::prop_assert_eq!(circuit_of(&text), Some(id.circuit()));
            }
        }
    }
}
