//! Regions of a document that are kept true to a definition.
//!
//! Comes in: the text of a Markdown or HTML document with markers in it; a harness for each region. Goes out: where the
//! regions are and what each shows; what belongs into them; the text with that in place. Why: a pin map that somebody
//! copied into a manual is wrong after the next change, and nobody notices. Between markers a program can put it right,
//! or say that it is stale, and everything outside of them stays byte for byte.
//!
//! A region stands between two comments, each alone on its line:
//!
//! ```text
//! <!-- ringout begin pins from=harnesses/orchard-sprayer.toml connector=XK1 -->
//! <!-- ringout end -->
//! ```

mod content;
mod find;
mod marker;

pub use content::content;
pub use find::find;

use std::ops::Range;

use crate::definition::diagnostic::{At, Place};
use crate::draw::Side;

/// What a document is written in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Document {
    /// Markdown as CommonMark has it, with tables.
    Markdown,
    /// HTML.
    Html,
}

impl Document {
    /// Told by the end of a file's name: `.md`, `.markdown`, `.html` or `.htm`, in letters of any case.
    pub fn of_name(name: &str) -> Option<Self> {
        let (_, end) = name.rsplit_once('.')?;
        match end.to_ascii_lowercase().as_str() {
            "md" | "markdown" => Some(Self::Markdown),
            "html" | "htm" => Some(Self::Html),
            _ => None,
        }
    }
}

/// A region of a document.
#[derive(Debug, Clone)]
pub struct Region {
    /// What it shows.
    pub shown: Shown,
    /// The definition's path, relative to the document.
    pub from: At<String>,
    /// The variant of it.
    pub variant: Option<At<String>>,
    /// The level of its headings, 1 to 6.
    pub level: u8,
    /// Its opening marker.
    pub marker: Place,
    /// What lies between the lines of its markers, in bytes of the document.
    pub inside: Range<usize>,
    /// How lines end in it: as that of its opening marker.
    pub line_end: &'static str,
}

/// What a region shows.
#[derive(Debug, Clone)]
pub enum Shown {
    /// Pin maps: of one connector, or of all.
    Pins {
        /// The connector.
        connector: Option<At<String>>,
    },
    /// The from-to list: of one circuit, or of the whole machine.
    Wires {
        /// The circuit.
        circuit: Option<At<String>>,
    },
    /// A connector's face as a drawing.
    Face {
        /// The connector.
        connector: At<String>,
        /// The sides to draw.
        sides: &'static [Side],
    },
    /// A plan of readings.
    Plan(PlanOf),
}

impl Shown {
    /// The word that markers have for it.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Pins { .. } => marker::PINS,
            Self::Wires { .. } => marker::WIRES,
            Self::Face { .. } => marker::FACE,
            Self::Plan(_) => marker::PLAN,
        }
    }
}

/// What a plan in a region is of.
#[derive(Debug, Clone)]
pub struct PlanOf {
    /// Connectors that may be unplugged.
    pub unplug: Vec<At<String>>,
    /// The circuit, where it is only one.
    pub circuit: Option<At<String>>,
    /// What does not work, and when it should.
    pub complaint: Option<At<String>>,
    /// The meters at hand; a plain handheld one where none is named.
    pub meter: Vec<At<String>>,
}

/// The document with what belongs into its regions; `contents` has one text for each, in their order.
pub fn rewritten(text: &str, regions: &[Region], contents: &[String]) -> String {
    let mut out = String::with_capacity(text.len());
    let mut done = 0;
    for (region, content) in regions.iter().zip(contents) {
        out.push_str(&text[done..region.inside.start]);
        out.push_str(content);
        done = region.inside.end;
    }
    out.push_str(&text[done..]);
    out
}
