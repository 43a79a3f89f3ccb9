//! Finding things by the names people use.

use std::collections::HashMap;

use super::{
    ConditionId, Connector, ConnectorId, ContactId, Harness, Id, PartId, Point, SpliceId, TerminalId, WireId,
};
use crate::definition::diagnostic::nearest;

/// What a name of the common namespace stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
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
    /// A contact of something that has none.
    #[error("`{name}` is a {what}: it has no contacts")]
    NoContacts {
        /// What was written before the point.
        name: String,
        /// What it is.
        what: &'static str,
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
            | Self::NoContacts { help, .. }
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

    /// How many things have names.
    pub(in crate::definition) fn count(&self) -> usize {
        self.things.len()
    }

    /// Reads a point; `harness` gives contact names their order in suggestions, `search` says whether
    /// to look for a name that is near.
    pub(in crate::definition) fn point(
        &self,
        text: &str,
        harness: &Harness,
        search: bool,
    ) -> Result<Point, PointError> {
        if text == Self::CHASSIS {
            return Ok(Point::Chassis);
        }
        if let Some((connector, contact)) = text.split_once('.') {
            return self.contact(connector, contact, harness, search);
        }
        match self.get(text) {
            Some(Named::Splice(id)) => Ok(Point::Splice(id)),
            Some(Named::Terminal(id)) => Ok(Point::Terminal(id)),
            Some(Named::Connector(id)) => {
                let help = match harness.contacts_of(id).next() {
                    Some(first) => format!("write it as \"{text}.{}\"", harness.contacts[first].name),
                    None => format!("{text} has no contacts: list them first"),
                };
                Err(PointError::NeedsContact { connector: text.to_owned(), help })
            }
            Some(other) => Err(PointError::NotAPoint {
                name: text.to_owned(),
                what: other.word(),
                help: ends_of(other, harness),
            }),
            None => {
                let wanted = |n| matches!(n, Named::Splice(_) | Named::Terminal(_));
                Err(self.unknown(text, search.then_some(wanted)))
            }
        }
    }

    fn contact(
        &self,
        connector: &str,
        contact: &str,
        harness: &Harness,
        search: bool,
    ) -> Result<Point, PointError> {
        let id = match self.get(connector) {
            Some(Named::Connector(id)) => id,
            None => {
                let wanted = |n| matches!(n, Named::Connector(_));
                return Err(self.unknown(connector, search.then_some(wanted)));
            }
            Some(other) => {
                let help = match other {
                    Named::Splice(_) | Named::Terminal(_) => format!("write it as \"{connector}\""),
                    other => ends_of(other, harness),
                };
                return Err(PointError::NoContacts { name: connector.to_owned(), what: other.word(), help });
            }
        };
        if let Some(found) = self.contact_of(id, contact, harness) {
            return Ok(Point::Contact(found));
        }
        let names: Vec<&str> = harness.contacts_of(id).map(|c| harness.contacts[c].name.as_str()).collect();
        let help = format!("its contacts are {}", shorten(&names));
        Err(PointError::NoContact { connector: connector.to_owned(), contact: contact.to_owned(), help })
    }

    fn unknown(&self, name: &str, wanted: Option<impl Fn(Named) -> bool>) -> PointError {
        let help = match wanted.and_then(|wanted| self.nearest(name, wanted)) {
            Some(near) => format!("did you mean `{near}`?"),
            None => "define it, or name a connector contact, a splice or a terminal".to_owned(),
        };
        PointError::Unknown { name: name.to_owned(), help }
    }
}

/// What to write where a part or a wire was named instead of a point.
fn ends_of(named: Named, harness: &Harness) -> String {
    let Named::Part(id) = named else {
        return "wires meet at a splice: [splice.SP1]".to_owned();
    };
    let mut ends: Vec<String> =
        harness.parts[id].kind.points().into_iter().map(|p| harness.point_name(p)).collect();
    ends.truncate(6);
    if ends.is_empty() {
        return "name a contact, a splice or a terminal".to_owned();
    }
    format!("name the contact or terminal: {}", ends.join(", "))
}

/// A list of names, cut where it grows too long to read.
fn shorten(names: &[&str]) -> String {
    const SHOWN: usize = 24;
    if names.len() <= SHOWN {
        return names.join(" ");
    }
    format!("{} … {} ({} in all)", names[..SHOWN].join(" "), names[names.len() - 1], names.len())
}
