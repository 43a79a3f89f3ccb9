//! What only the user can decide, and what makes a row unusable.
//!
//! Why two kinds of trouble: a bare length may be millimetres or metres throughout a table, so one answer settles
//! every row; a wire that starts nowhere is that row's own fault, and the others need not wait for it.

use std::collections::BTreeMap;

/// Why a row could not be used as it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Trouble {
    /// The row alone is at fault; the reason in words.
    Reject(String),
    /// It can be read in several ways; the text that can.
    Ask(Ask, String),
}

impl Trouble {
    /// A row's own fault.
    pub(super) fn reject<T>(reason: impl Into<String>) -> Result<T, Self> {
        Err(Self::Reject(reason.into()))
    }

    /// Something to decide.
    pub(super) fn ask<T>(ask: Ask, text: impl Into<String>) -> Result<T, Self> {
        Err(Self::Ask(ask, text.into()))
    }
}

/// What can be read in several ways.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Ask {
    /// What the columns mean.
    Columns(String),
    /// A number with a dash and another number.
    Dash,
    /// A length without a unit.
    LengthUnit,
    /// A conductor size without a system.
    GaugeUnit,
    /// A comma or a point that may be the decimal sign or part a thousand.
    Decimal,
    /// A blank cell where a connector or an end belongs.
    Blank,
    /// A colour that is none, or several.
    Colour,
    /// A name alone: a splice, a terminal or a ground.
    Joint,
    /// A table of contacts that names no connector.
    Connector,
    /// Several wires in a contact, or one signal on several.
    Joined,
    /// One name for a wire and for something else.
    Prefix,
}

impl Ask {
    /// What is not clear, and which argument decides it.
    fn words(&self) -> (String, String) {
        let (what, settle): (&str, String) = match self {
            Self::Columns(what) => (what, "--column FIELD=COLUMN says what a column holds (--column from=2, --column \"from=Pin 1\", --column skip=C); --header ROW says which row names the columns".to_owned()),
            Self::Dash => ("a dash between two numbers or letters: a range (1-4 is 1, 2, 3, 4), a connector and its contact (1-4 is contact 4 of 1), or part of a name", "--dash range, --dash contact or --dash name".to_owned()),
            Self::LengthUnit => ("a length without a unit", "--length-unit mm, cm, m, in or ft".to_owned()),
            Self::GaugeUnit => ("a conductor size without a system: AWG, SAE or mm2", "--gauge-unit AWG, --gauge-unit SAE or --gauge-unit mm2".to_owned()),
            Self::Decimal => ("a sign that may be the decimal sign or part the thousands", "--decimal point or --decimal comma".to_owned()),
            Self::Blank => ("a blank cell where a connector or an end belongs: as the cell above (merged cells), or nothing", "--blank above or --blank reject".to_owned()),
            Self::Colour => (
                "a colour that is no IEC 60757 code, or could be several",
                "--colour TEXT=CODE with a code such as BU or RD/WH; --colour TEXT=none keeps it as a comment".to_owned(),
            ),
            Self::Joint => (
                "a name without a contact: a splice, a terminal (lug, stud) or a terminal on the frame",
                "--splice NAMES, --terminal NAMES, --ground NAMES".to_owned(),
            ),
            Self::Connector => ("contacts of which connector?", "--connector NAME".to_owned()),
            Self::Joined => ("two wires in one contact, or one signal on two contacts of a connector: meant, or a mistake in the table", "--joined CONTACTS (P1.3,P2.A) or --joined all says that they are meant; else mend the table".to_owned()),
            Self::Prefix => ("a name that stands for a wire and for something else: ids are shared", "--wire-prefix W puts W before every wire id".to_owned()),
        };
        (what.to_owned(), settle)
    }
}

/// Something to decide, with examples.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Question {
    /// What is not clear.
    pub what: String,
    /// Which argument decides it.
    pub decide: String,
    /// Texts that can be read in several ways, each with its row (0 where it is no single row's).
    pub examples: Vec<(usize, String)>,
    /// How many there are in all.
    pub count: usize,
}

/// So many examples are shown of each question; names and colours are answered one by one, so all of them.
const EXAMPLES: usize = 4;
const NAMES: usize = 100;

/// Questions as they come up, each once.
#[derive(Debug, Default)]
pub(super) struct Questions {
    open: BTreeMap<Ask, (Vec<(usize, String)>, usize)>,
}

impl Questions {
    pub(super) fn add(&mut self, ask: Ask, row: usize, text: String) {
        let most = if matches!(ask, Ask::Colour | Ask::Joint) { NAMES } else { EXAMPLES };
        let (examples, count) = self.open.entry(ask).or_default();
        *count += 1;
        if examples.len() < most && !examples.iter().any(|(_, known)| *known == text) {
            examples.push((row, text));
        }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.open.is_empty()
    }

    pub(super) fn into_list(self) -> Vec<Question> {
        let question = |(ask, (examples, count)): (Ask, (Vec<(usize, String)>, usize))| {
            let (what, decide) = ask.words();
            Question { what, decide, examples, count }
        };
        self.open.into_iter().map(question).collect()
    }
}
