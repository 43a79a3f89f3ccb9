//! What the user has decided about a table.

use std::collections::{BTreeMap, BTreeSet};

use super::field::Field;
use crate::definition::colour::Colour;

/// Everything that can be said about a table beforehand; nothing is decided by default.
#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Which row names the columns.
    pub header: Header,
    /// What columns hold, by their head, letter or number.
    pub columns: Vec<(Field, String)>,
    /// The connector of a table that names none.
    pub connector: Option<String>,
    /// Unit of bare lengths.
    pub length_unit: Option<&'static str>,
    /// System of bare conductor sizes.
    pub gauge_unit: Option<&'static str>,
    /// The decimal sign.
    pub decimal: Option<Decimal>,
    /// What a dash between two numbers means.
    pub dash: Option<Dash>,
    /// What a blank cell means where a connector or an end belongs.
    pub blank: Option<Blank>,
    /// Which contacts hold several wires, or share a signal, on purpose.
    pub joined: Joined,
    /// Whether rows with one wire id are segments that get letters.
    pub letters: bool,
    /// Colours by the text that stands for them, in lower case; `None` leaves the colour out.
    pub colours: BTreeMap<String, Option<Colour>>,
    /// Names that are splices.
    pub splices: BTreeSet<String>,
    /// Names that are terminals.
    pub terminals: BTreeSet<String>,
    /// Names that are terminals on the frame.
    pub grounds: BTreeSet<String>,
    /// What is put before every wire id.
    pub wire_prefix: String,
}

/// Which row names the columns.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Header {
    /// The first row that has most words for columns.
    #[default]
    Find,
    /// The row of this number.
    Row(usize),
    /// None: columns are given by letter or number.
    None,
}

/// The decimal sign.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decimal {
    /// `2.4`.
    Point,
    /// `2,4`.
    Comma,
}

/// What a dash between two numbers means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dash {
    /// All from the first to the second.
    Range,
    /// Connector and contact.
    Contact,
    /// Part of a name.
    Name,
}

/// What a blank cell means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Blank {
    /// The same as in the row above.
    Above,
    /// Nothing: the row is rejected.
    Reject,
}

/// Which contacts are joined on purpose.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Joined {
    /// It has not been said.
    #[default]
    Unsaid,
    /// All that the table has.
    All,
    /// These, as `P1.3`.
    These(BTreeSet<String>),
}

impl Joined {
    /// Whether a contact is joined on purpose.
    pub fn holds(&self, contact: &str) -> bool {
        match self {
            Self::Unsaid => false,
            Self::All => true,
            Self::These(names) => names.contains(contact),
        }
    }
}
