//! Wire colours by their IEC 60757 letter codes.
//!
//! Comes in: `"RD"`, `"RD/WH"`, `"GNYE"`, `"WHGN"`. Goes out: the colours in the order they were
//! written, or an error that says which code to write. Why: a colour is a claim on the wire that
//! somebody compares by eye, so it is printed exactly as written. In particular the DIN 47100 order
//! (base first, ring second: `WHGN`) is never turned into the IEC 60757 table order (`GNWH`): that
//! would name another wire.

use std::fmt;

/// One colour of IEC 60757, in the order of its table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Code {
    /// BK
    Black,
    /// BN
    Brown,
    /// RD
    Red,
    /// OG
    Orange,
    /// YE
    Yellow,
    /// GN
    Green,
    /// BU, light blue included
    Blue,
    /// VT, purple included
    Violet,
    /// GY, slate included
    Grey,
    /// WH
    White,
    /// PK
    Pink,
    /// GD
    Gold,
    /// TQ
    Turquoise,
    /// SR
    Silver,
}

/// What one code stands for.
struct Entry {
    code: Code,
    letters: &'static str,
    word: &'static str,
    rgb: [u8; 3],
}

const fn entry(code: Code, letters: &'static str, word: &'static str, rgb: [u8; 3]) -> Entry {
    Entry { code, letters, word, rgb }
}

/// Codes and words by IEC 60757, in its order. The sRGB values are our own choice: plain,
/// told apart on screen and in print, and no part of any standard.
const CODES: [Entry; 14] = [
    entry(Code::Black, "BK", "black", [0x1a, 0x1a, 0x1a]),
    entry(Code::Brown, "BN", "brown", [0x7b, 0x4a, 0x22]),
    entry(Code::Red, "RD", "red", [0xcc, 0x1f, 0x1f]),
    entry(Code::Orange, "OG", "orange", [0xf0, 0x80, 0x10]),
    entry(Code::Yellow, "YE", "yellow", [0xf5, 0xd3, 0x1e]),
    entry(Code::Green, "GN", "green", [0x1e, 0x8a, 0x3c]),
    entry(Code::Blue, "BU", "blue", [0x1f, 0x5f, 0xbf]),
    entry(Code::Violet, "VT", "violet", [0x7a, 0x3b, 0x9c]),
    entry(Code::Grey, "GY", "grey", [0x8c, 0x8c, 0x8c]),
    entry(Code::White, "WH", "white", [0xff, 0xff, 0xff]),
    entry(Code::Pink, "PK", "pink", [0xf2, 0x9a, 0xb8]),
    entry(Code::Gold, "GD", "gold", [0xb8, 0x92, 0x2e]),
    entry(Code::Turquoise, "TQ", "turquoise", [0x2a, 0xb5, 0xb0]),
    entry(Code::Silver, "SR", "silver", [0xc4, 0xc9, 0xce]),
];

/// Other spellings that people write, and the codes they may have meant.
const MEANT: [(&str, &[Code]); 31] = [
    ("B", &[Code::Black, Code::Brown, Code::Blue]),
    ("BL", &[Code::Blue, Code::Black]),
    ("BLK", &[Code::Black]),
    ("BLU", &[Code::Blue]),
    ("BR", &[Code::Brown]),
    ("BRN", &[Code::Brown]),
    ("G", &[Code::Green, Code::Grey]),
    ("GE", &[Code::Yellow]),
    ("GOLDEN", &[Code::Gold]),
    ("GR", &[Code::Green, Code::Grey]),
    ("GRAY", &[Code::Grey]),
    ("GRN", &[Code::Green]),
    ("GRY", &[Code::Grey]),
    ("L", &[Code::Blue]),
    ("O", &[Code::Orange]),
    ("OR", &[Code::Orange]),
    ("ORG", &[Code::Orange]),
    ("P", &[Code::Pink, Code::Violet]),
    ("PU", &[Code::Violet]),
    ("PURPLE", &[Code::Violet]),
    ("R", &[Code::Red]),
    ("RT", &[Code::Red]),
    ("SLATE", &[Code::Grey]),
    ("SW", &[Code::Black]),
    ("TAN", &[Code::Brown]),
    ("V", &[Code::Violet]),
    ("W", &[Code::White]),
    ("WHT", &[Code::White]),
    ("WS", &[Code::White]),
    ("Y", &[Code::Yellow]),
    ("YEL", &[Code::Yellow]),
];

impl Code {
    /// Every code, in the order of the IEC 60757 table.
    pub fn all() -> impl Iterator<Item = Self> {
        CODES.iter().map(|entry| entry.code)
    }

    /// From its two letters, `"RD"`; capitals only.
    pub fn from_letters(letters: &str) -> Option<Self> {
        CODES.iter().find(|entry| entry.letters == letters).map(|entry| entry.code)
    }

    /// What a word of another code or of English may mean: `red`, `rd`, `BLK`; several where it is used for several.
    pub fn meant(word: &str) -> Vec<Self> {
        let capitals = word.to_uppercase();
        let same = |entry: &&Entry| entry.letters == capitals || entry.word.to_uppercase() == capitals;
        if let Some(entry) = CODES.iter().find(same) {
            return vec![entry.code];
        }
        let other = MEANT.iter().find(|(written, _)| *written == capitals);
        other.map_or_else(Vec::new, |(_, codes)| codes.to_vec())
    }

    /// From the digit stamped on aircraft wire in place of a colour: 0 black, 1 brown ... 9 white
    /// (AC 21-99, section 2 chapter 2).
    pub fn from_digit(digit: u8) -> Option<Self> {
        // The digits count the first ten colours of the table.
        CODES.get(usize::from(digit)).filter(|entry| entry.code <= Code::White).map(|entry| entry.code)
    }

    /// The two letters.
    pub fn letters(self) -> &'static str {
        self.entry().letters
    }

    /// The colour in English.
    pub fn name(self) -> &'static str {
        self.entry().word
    }

    /// Red, green and blue (sRGB) for a swatch: our own choice of plain values, in no standard.
    pub fn rgb(self) -> [u8; 3] {
        self.entry().rgb
    }

    fn entry(self) -> &'static Entry {
        // The table is in the order of the enum; a test holds them together.
        &CODES[self as usize]
    }
}

/// The colour of a wire: a base and any stripes, or a combined code.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Colour {
    base: Code,
    stripes: Vec<Code>,
    /// Written with a slash between the codes.
    separated: bool,
}

/// Why a text is not a colour code.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ColourError {
    /// Nothing was written, or nothing beside a slash.
    #[error("a colour code is missing")]
    Missing {
        /// What to write instead.
        suggest: String,
    },
    /// The right colour, but not as a code in capitals.
    #[error("`{text}` is not an IEC 60757 code")]
    NotACode {
        /// What was written.
        text: String,
        /// What to write instead.
        suggest: String,
    },
    /// No colour that is known.
    #[error("`{part}` is not a known colour code")]
    Unknown {
        /// The part that is not known.
        part: String,
        /// The nearest known code.
        suggest: String,
    },
    /// Run together and divided by slashes at once.
    #[error("`{text}` mixes codes that are run together with codes divided by `/`")]
    Mixed {
        /// What was written.
        text: String,
        /// What to write instead.
        suggest: String,
    },
}

impl ColourError {
    /// What to write instead.
    pub fn suggest(&self) -> &str {
        match self {
            Self::Missing { suggest }
            | Self::NotACode { suggest, .. }
            | Self::Unknown { suggest, .. }
            | Self::Mixed { suggest, .. } => suggest,
        }
    }
}

impl Colour {
    /// Reads `"RD"`, `"RD/WH"` (base/stripe), `"RD/WH/BK"` (two stripes), `"GNYE"` or any other codes
    /// run together, in the order they are written.
    ///
    /// # Errors
    /// Names the part that is wrong and the code to write. Lower case and full words are refused too:
    /// a code that is right in one place and nearly right in another cannot be compared.
    pub fn parse(text: &str) -> Result<Self, ColourError> {
        let written = text.trim();
        if written.is_empty() {
            return Err(missing());
        }
        if !is_code(written)
            && let Some(code) = in_capitals(written)
        {
            return Err(ColourError::NotACode {
                text: written.to_owned(),
                suggest: format!("write it as \"{code}\""),
            });
        }
        let separated = written.contains('/');
        let codes: Vec<Code> = if separated {
            written.split('/').map(|part| one_code(part, written)).collect::<Result<_, _>>()?
        } else {
            run_together(written)?
        };
        let (base, stripes) = codes.split_first().ok_or_else(missing)?;
        Ok(Self { base: *base, stripes: stripes.to_vec(), separated })
    }

    /// The base colour, or the first of a combined code.
    pub fn base(&self) -> Code {
        self.base
    }

    /// The stripes or rings, or the further colours of a combined code.
    pub fn stripes(&self) -> &[Code] {
        &self.stripes
    }

    /// All codes as written, the base first.
    pub fn codes(&self) -> impl Iterator<Item = Code> {
        std::iter::once(self.base).chain(self.stripes.iter().copied())
    }

    /// Whether it is `GNYE`, which IEC 60757 reserves for green-and-yellow. `GN/YE`, a green wire with a
    /// yellow stripe, is not: many vehicles use it for other things.
    pub fn is_green_and_yellow(&self) -> bool {
        !self.separated && self.base == Code::Green && self.stripes == [Code::Yellow]
    }

    /// Whether the codes stand in the order of the IEC 60757 table, as that standard asks of combined
    /// codes. DIN 47100 names often do not, and are right all the same.
    pub fn in_table_order(&self) -> bool {
        self.codes().is_sorted()
    }

    /// In English: "red with white stripe", "red and blue", "green-and-yellow".
    pub fn name(&self) -> String {
        let base = self.base.name();
        let others: Vec<&str> = self.stripes.iter().map(|code| code.name()).collect();
        let joined = others.join(" and ");
        match others.len() {
            0 => base.to_owned(),
            _ if self.is_green_and_yellow() => "green-and-yellow".to_owned(),
            _ if !self.separated => format!("{base} and {joined}"),
            1 => format!("{base} with {joined} stripe"),
            _ => format!("{base} with {joined} stripes"),
        }
    }
}

impl fmt::Display for Colour {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let between = if self.separated { "/" } else { "" };
        f.write_str(self.base.letters())?;
        self.stripes.iter().try_for_each(|code| write!(f, "{between}{}", code.letters()))
    }
}

/// Reads one code between slashes.
fn one_code(part: &str, whole: &str) -> Result<Code, ColourError> {
    match part {
        "" => Err(missing()),
        _ => match run_together(part)?.as_slice() {
            [code] => Ok(*code),
            _ => Err(ColourError::Mixed { text: whole.to_owned(), suggest: suggest_slashes(whole) }),
        },
    }
}

/// Reads codes of two letters with nothing between them.
fn run_together(text: &str) -> Result<Vec<Code>, ColourError> {
    let known = pairs(text).and_then(|pairs| pairs.into_iter().map(Code::from_letters).collect());
    known.ok_or_else(|| {
        let part = first_unknown(text);
        ColourError::Unknown { part: part.to_owned(), suggest: nearest(part) }
    })
}

/// Cuts a text into pairs of letters; `None` if one is left over or the text is not ASCII.
fn pairs(text: &str) -> Option<Vec<&str>> {
    let whole = text.is_ascii() && text.len().is_multiple_of(2) && !text.is_empty();
    whole.then(|| (0..text.len()).step_by(2).map(|at| &text[at..at + 2]).collect())
}

/// The pair that is no code, or the whole text where it does not come in pairs.
fn first_unknown(text: &str) -> &str {
    let pairs = pairs(text).unwrap_or_default();
    // Only where something beside it is known: "BLUE" is one slip, not "BL" and "UE".
    let some_known = pairs.iter().any(|pair| Code::from_letters(pair).is_some());
    let unknown = pairs.into_iter().find(|pair| Code::from_letters(pair).is_none());
    unknown.filter(|_| some_known).unwrap_or(text)
}

/// The code that lower case or English words stand for: `rd/wh`, `red`, `Red/White`, `red with white
/// stripe`. `None` where the text is not understood.
fn in_capitals(text: &str) -> Option<String> {
    let words: Vec<String> = text
        .split(|c: char| !c.is_alphabetic())
        .map(str::to_lowercase)
        .filter(|word| !matches!(word.as_str(), "" | "with" | "and" | "stripe" | "stripes" | "on"))
        .collect();
    let codes: Option<Vec<String>> = words.iter().map(|word| word_to_letters(word)).collect();
    let codes = codes.filter(|codes| !codes.is_empty())?;
    let code =
        if words == ["green", "yellow"] && !text.contains('/') { "GNYE".to_owned() } else { codes.join("/") };
    (code != text).then_some(code)
}

fn is_code(text: &str) -> bool {
    text.split('/').all(|part| run_together(part).is_ok())
}

/// `red` and `rd` to `RD`, `gnye` to `GNYE`.
fn word_to_letters(word: &str) -> Option<String> {
    if let Some(entry) = CODES.iter().find(|entry| entry.word == word) {
        return Some(entry.letters.to_owned());
    }
    let capitals = word.to_uppercase();
    run_together(&capitals).is_ok().then_some(capitals)
}

/// What to write for something that is no code.
fn nearest(part: &str) -> String {
    let capitals = part.trim().to_uppercase();
    if let Some((_, meant)) = MEANT.iter().find(|(written, _)| *written == capitals) {
        return format!("write {}", alternatives(meant));
    }
    let distance = |entry: &Entry| {
        let to_word = strsim::damerau_levenshtein(&entry.word.to_uppercase(), &capitals);
        to_word.min(strsim::damerau_levenshtein(entry.letters, &capitals))
    };
    // People get the first letter right more often than the second.
    let other_letter = |entry: &Entry| !capitals.starts_with(&entry.letters[..1]);
    let best = CODES.iter().min_by_key(|entry| (distance(entry), other_letter(entry)));
    let best = best.filter(|entry| distance(entry) <= 2);
    match best {
        // Two letters wrong out of two is no likeness.
        Some(entry) if distance(entry) < capitals.len() => {
            format!("write {} ({})", entry.letters, entry.word)
        }
        _ => format!("write {}", list()),
    }
}

/// `BK (black), BN (brown) or BU (blue)`.
fn alternatives(codes: &[Code]) -> String {
    let words: Vec<String> =
        codes.iter().map(|code| format!("{} ({})", code.letters(), code.name())).collect();
    match words.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, others)) => format!("{} or {last}", others.join(", ")),
        None => String::new(),
    }
}

fn suggest_slashes(whole: &str) -> String {
    let codes: Vec<&str> = whole.split('/').flat_map(|part| pairs(part).unwrap_or_default()).collect();
    format!("write it as \"{}\"", codes.join("/"))
}

fn missing() -> ColourError {
    ColourError::Missing { suggest: format!("write {}", list()) }
}

fn list() -> String {
    let codes: Vec<&str> = CODES.iter().map(|entry| entry.letters).collect();
    format!("one of {}, or base and stripe as \"RD/WH\"", codes.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_in_the_order_of_the_enum() {
        for (at, entry) in CODES.iter().enumerate() {
            assert_eq!(entry.code as usize, at, "{}", entry.word);
            assert_eq!(entry.code.letters(), entry.letters);
        }
    }

    #[test]
    fn what_is_nearly_right_is_refused_with_the_code() {
        for (text, suggest) in [
            ("rd", "write it as \"RD\""),
            ("red", "write it as \"RD\""),
            ("Red", "write it as \"RD\""),
            ("RED", "write it as \"RD\""),
            ("rd/wh", "write it as \"RD/WH\""),
            ("RD/wh", "write it as \"RD/WH\""),
            ("red/white", "write it as \"RD/WH\""),
            ("red with white stripe", "write it as \"RD/WH\""),
            ("gnye", "write it as \"GNYE\""),
            ("green and yellow", "write it as \"GNYE\""),
            ("RD-WH", "write it as \"RD/WH\""),
            ("RE", "write RD (red)"),
            ("RD/WT", "write WH (white)"),
            ("RDWX", "write WH (white)"),
            ("orangr", "write OG (orange)"),
            ("BL", "write BU (blue) or BK (black)"),
            ("GR", "write GN (green) or GY (grey)"),
            ("gray", "write GY (grey)"),
            ("RDBU/WH", "write it as \"RD/BU/WH\""),
        ] {
            assert_eq!(Colour::parse(text).unwrap_err().suggest(), suggest, "{text}");
        }
    }

    #[test]
    fn nonsense_gets_the_list_and_no_panic() {
        for text in ["", " ", "/", "RD/", "/RD", "12", "ééé", "é", "R D", "RD+BU+", "XX", "ß", "XYZXYZXYZ"]
        {
            assert!(Colour::parse(text).is_err(), "{text:?}");
        }
        assert!(Colour::parse("XX").unwrap_err().suggest().contains("BK, BN, RD"));
        assert!(matches!(Colour::parse("/"), Err(ColourError::Missing { .. })));
        assert_eq!(Colour::parse("RD/").unwrap_err().suggest(), "write it as \"RD\"");
    }

    #[test]
    fn names_say_how_the_colours_stand() {
        let name = |text| Colour::parse(text).unwrap().name();
        assert_eq!(name("TQ"), "turquoise");
        assert_eq!(name("RD/WH"), "red with white stripe");
        assert_eq!(name("RD/WH/BK"), "red with white and black stripes");
        assert_eq!(name("RDBU"), "red and blue");
        assert_eq!(name("GNYE"), "green-and-yellow");
        assert_eq!(name("GN/YE"), "green with yellow stripe");
    }

    #[test]
    fn swatches_differ() {
        let mut seen: Vec<[u8; 3]> = Code::all().map(Code::rgb).collect();
        seen.sort_unstable();
        seen.dedup();
        assert_eq!(seen.len(), 14);
    }

    proptest::proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in "[A-Za-z/ éß]{0,9}") {
            match Colour::parse(&text) {
                Ok(colour) => proptest::prop_assert_eq!(colour.to_string(), text.trim()),
                Err(error) => proptest::prop_assert!(!error.suggest().is_empty()),
            }
        }
    }
}
