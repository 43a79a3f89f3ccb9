//! Finding things by the names people use.

use std::collections::HashMap;

use super::{
    ConditionId, Connector, ConnectorId, ContactId, Harness, Id, PartId, Point, SpliceId, TerminalId, WireId,
};
use crate::definition::diagnostic::nearest;

/// What a name of the common namespace stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Named {
    /// A connector.
    Connector(ConnectorId),
    /// A splice.
    Splice(SpliceId),
    /// A terminal.
    Terminal(TerminalId),
    /// A part.
    Part(PartId),
    /// A wire.
    Wire(WireId),
}

impl Named {
    /// What kind of thing it is.
    pub fn word(self) -> &'static str {
        match self {
            Self::Connector(_) => "connector",
            Self::Splice(_) => "splice",
            Self::Terminal(_) => "terminal",
            Self::Part(_) => "part",
            Self::Wire(_) => "wire",
        }
    }
}

/// The names of one machine.
#[derive(Debug, Clone, Default)]
pub struct Names {
    pub(in crate::definition) things: HashMap<String, Named>,
    /// The contacts of each connector in the order of their names; connectors in the order of their
    /// table. A table of texts would hold every contact's name a second time.
    pub(in crate::definition) contacts: Vec<ContactId>,
    pub(in crate::definition) conditions: HashMap<String, ConditionId>,
}

/// Why a text does not name a point.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PointError {
    /// Nothing has this name.
    #[error("nothing is called `{name}`")]
    Unknown {
        /// What was written.
        name: String,
        /// What to write instead.
        help: String,
    },
    /// The connector does not have this contact.
    #[error("{connector} has no contact `{contact}`")]
    NoContact {
        /// The connector.
        connector: String,
        /// The contact that was written.
        contact: String,
        /// What to write instead.
        help: String,
    },
    /// A connector without a contact.
    #[error("`{connector}` is a connector: a probe or a wire needs one of its contacts")]
    NeedsContact {
        /// The connector.
        connector: String,
        /// What to write instead.
        help: String,
    },
    /// A part or a wire, where a point is needed.
    #[error("`{name}` is a {what}, not a point")]
    NotAPoint {
        /// What was written.
        name: String,
        /// What it is.
        what: &'static str,
        /// What to write instead.
        help: String,
    },
}

impl PointError {
    /// What to write instead.
    pub fn help(&self) -> &str {
        match self {
            Self::Unknown { help, .. }
            | Self::NoContact { help, .. }
            | Self::NeedsContact { help, .. }
            | Self::NotAPoint { help, .. } => help,
        }
    }
}

impl Names {
    /// The word for the machine's frame.
    pub const CHASSIS: &'static str = "chassis";

    /// What a name stands for.
    pub fn get(&self, name: &str) -> Option<Named> {
        self.things.get(name).copied()
    }

    /// The condition of a name.
    pub fn condition(&self, name: &str) -> Option<ConditionId> {
        self.conditions.get(name).copied()
    }

    /// The part of a name.
    pub fn part(&self, name: &str) -> Option<PartId> {
        match self.get(name) {
            Some(Named::Part(id)) => Some(id),
            _ => None,
        }
    }

    /// The connector of a name.
    pub fn connector(&self, name: &str) -> Option<ConnectorId> {
        match self.get(name) {
            Some(Named::Connector(id)) => Some(id),
            _ => None,
        }
    }

    /// The contact of a connector by its name. Cost: one binary search.
    pub(in crate::definition) fn contact_of(
        &self,
        connector: ConnectorId,
        name: &str,
        harness: &Harness,
    ) -> Option<ContactId> {
        let Connector { first, count, .. } = harness.connectors[connector];
        let sorted = &self.contacts[first.index()..first.index() + count];
        let at = sorted.binary_search_by(|id| harness.contacts[*id].name.as_str().cmp(name)).ok()?;
        Some(sorted[at])
    }

    /// The nearest known name of a kind.
    pub fn nearest(&self, written: &str, wanted: impl Fn(Named) -> bool) -> Option<&str> {
        let mut known: Vec<&str> =
            self.things.iter().filter(|(_, n)| wanted(**n)).map(|(k, _)| k.as_str()).collect();
        known.sort_unstable();
        nearest(written, known)
    }

    /// Reads a point; `harness` gives contact names their order in suggestions.
    pub(in crate::definition) fn point(&self, text: &str, harness: &Harness) -> Result<Point, PointError> {
        if text == Self::CHASSIS {
            return Ok(Point::Chassis);
        }
        if let Some((connector, contact)) = text.split_once('.') {
            return self.contact(connector, contact, harness);
        }
        match self.get(text) {
            Some(Named::Splice(id)) => Ok(Point::Splice(id)),
            Some(Named::Terminal(id)) => Ok(Point::Terminal(id)),
            Some(Named::Connector(id)) => {
                let first = &harness.contacts[harness.connectors[id].first].name;
                let help = format!("write it as \"{text}.{first}\"");
                Err(PointError::NeedsContact { connector: text.to_owned(), help })
            }
            Some(other) => Err(PointError::NotAPoint {
                name: text.to_owned(),
                what: other.word(),
                help: "name a contact, a splice or a terminal".to_owned(),
            }),
            None => Err(self.unknown(text, |n| !matches!(n, Named::Part(_) | Named::Wire(_)))),
        }
    }

    fn contact(&self, connector: &str, contact: &str, harness: &Harness) -> Result<Point, PointError> {
        let Some(id) = self.connector(connector) else {
            return Err(self.unknown(connector, |n| matches!(n, Named::Connector(_))));
        };
        if let Some(found) = self.contact_of(id, contact, harness) {
            return Ok(Point::Contact(found));
        }
        let names: Vec<&str> = harness.contacts_of(id).map(|c| harness.contacts[c].name.as_str()).collect();
        let help = format!("{connector} has {}", shorten(&names));
        Err(PointError::NoContact { connector: connector.to_owned(), contact: contact.to_owned(), help })
    }

    fn unknown(&self, name: &str, wanted: impl Fn(Named) -> bool) -> PointError {
        let help = match self.nearest(name, &wanted) {
            Some(near) => format!("did you mean `{near}`?"),
            None => "define it, or name a connector contact, a splice or a terminal".to_owned(),
        };
        PointError::Unknown { name: name.to_owned(), help }
    }
}

/// A list of names, cut where it grows too long to read.
fn shorten(names: &[&str]) -> String {
    const SHOWN: usize = 24;
    if names.len() <= SHOWN {
        return names.join(" ");
    }
    format!("{} … {} ({} in all)", names[..SHOWN].join(" "), names[names.len() - 1], names.len())
}
