//! The geometry of a connector's contacts.
//!
//! Comes in: a face name, or an arrangement written in the definition. Goes out: cavities with
//! names and positions in millimetres, as the mating side of the *pin* half shows them with the key
//! at the top; the socket half, and the wire side of either, are mirror images. Why: contact names
//! are data, stored per arrangement; no rule generates them, because published arrangements skip
//! letters each in its own way.

mod adjacency;
mod arrange;
mod builtin;
mod table;

pub use arrange::{FaceError, Form, MOST_CONTACTS, Shape, from_points, from_rings, from_rows};
pub use builtin::{builtin, builtin_names};

/// The arrangement of a connector's contacts.
#[derive(Debug, Clone, PartialEq)]
pub struct Face {
    /// The name a definition refers to it by.
    pub name: String,
    /// The outline around the contacts.
    pub outline: Outline,
    /// Where its key or latch sits, if it has one.
    pub key: Key,
    /// Every cavity, in the published order of the contact names.
    pub cavities: Vec<Cavity>,
    /// How far the positions can be trusted.
    pub fidelity: Fidelity,
    /// Where names and positions come from.
    pub source: String,
}

/// The outline of a face, in millimetres, centred on the origin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Outline {
    /// A circle.
    Round {
        /// Its diameter.
        diameter: f64,
    },
    /// An upright rectangle.
    Rectangle {
        /// Its width.
        width: f64,
        /// Its height.
        height: f64,
    },
    /// A D-shaped shell, wider at the top.
    Dee {
        /// Its width at the top.
        width: f64,
        /// Its height.
        height: f64,
    },
}

/// What stops the halves from being mated the wrong way round.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Key {
    /// A key or keyway at the top.
    Top,
    /// A latch or locking tab at the top.
    Latch,
    /// The outline itself, or nothing that is known.
    None,
}

/// One cavity of a face: its contact's name and its centre, in millimetres, x to the right and y
/// **up**, seen from the mating side of the pin half.
#[derive(Debug, Clone, PartialEq)]
pub struct Cavity {
    /// The contact's name.
    pub name: String,
    /// To the right.
    pub x: f64,
    /// Up.
    pub y: f64,
    /// Diameter of the contact, drawn to scale.
    pub diameter: f64,
}

/// How far the positions of a face can be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fidelity {
    /// Positions as published or as given by the definition.
    Given,
    /// Measured from a published drawing: order and rings right, positions approximate.
    Measured,
    /// Names and order as published; positions drawn for readability only.
    Schematic,
}

/// One half of a mated pair, by its contacts. Also: whose mating side a picture shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Half {
    /// The half with pins.
    Pin,
    /// The half with sockets.
    Socket,
}

impl Half {
    /// What it mates with.
    #[must_use]
    pub fn opposite(self) -> Self {
        match self {
            Self::Pin => Self::Socket,
            Self::Socket => Self::Pin,
        }
    }

    /// As a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Pin => "pin",
            Self::Socket => "socket",
        }
    }
}

impl Face {
    /// The place of a contact in [`Face::cavities`], by its name.
    pub fn position(&self, contact: &str) -> Option<usize> {
        self.cavities.iter().position(|c| c.name == contact)
    }

    /// The contact names, in the published order.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.cavities.iter().map(|c| c.name.as_str())
    }
}
