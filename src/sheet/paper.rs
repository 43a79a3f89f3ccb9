//! Sections of a sheet as a page without a script has them.
//!
//! Comes in: sections. Goes out: what the template of such a page goes through. Why: a report and a comparison are printed
//! alike, and their texts are cleaned in one place.

use askama::Template;

use super::pack::{policy, tidy};
use super::{Section, Stamp};
use crate::definition::{ConnectorId, ContactId, Harness};
use crate::draw::{Look, Mark, Side, face_of, face_words, plain_scene, style_sheet, to_terse_svg};

/// The page. Its policy names the hash of its one style sheet, so that nothing else can be run or fetched.
#[derive(Template)]
#[template(path = "paper.html")]
pub(super) struct Page {
    policy: String,
    style: String,
    heading: String,
    facts: Vec<[String; 2]>,
    verdict: String,
    sections: Vec<Part>,
    signs: Vec<&'static str>,
    deference: String,
}

impl Page {
    /// A page of one definition, without anything on it yet.
    pub(super) fn of(stamp: &Stamp, heading: &str, verdict: &str, deference: &str) -> Self {
        let head = policy::running_head(stamp);
        let style =
            format!("{head}{}{}", include_str!("../../templates/paper.css"), style_sheet(Look::AsAsked));
        Self {
            policy: policy::style_only(&style),
            style,
            heading: tidy(heading),
            facts: Vec::new(),
            verdict: tidy(verdict),
            sections: Vec::new(),
            signs: Vec::new(),
            deference: deference.to_owned(),
        }
    }

    /// Adds a fact to the head; one that is empty is a line to write on.
    pub(super) fn fact(&mut self, name: &str, text: &str) {
        self.facts.push([name.to_owned(), tidy(text)]);
    }

    /// Written out, with its sections and whoever signs.
    ///
    /// # Errors
    /// Where the page cannot be written out, which a text in memory rules out.
    pub(super) fn write(
        self,
        sections: Vec<Part>,
        signs: Vec<&'static str>,
    ) -> Result<String, askama::Error> {
        Self { sections, signs, ..self }.render()
    }
}

/// A section of the page.
pub(super) struct Part {
    pub(super) title: String,
    pub(super) lines: Vec<Line>,
    pub(super) columns: Vec<&'static str>,
    pub(super) rows: Vec<Vec<Cell>>,
    pub(super) notes: Vec<Line>,
    /// What the drawings show.
    pub(super) caption: String,
    pub(super) drawings: Vec<Picture>,
}

/// A connector's face in one revision.
pub(super) struct Picture {
    /// Which revision, and of which definition it is.
    pub(super) caption: String,
    /// What must be known before it is trusted.
    pub(super) doubts: Vec<String>,
    /// SVG, which the exporter has escaped.
    pub(super) svg: String,
}

/// A cell of a table.
pub(super) struct Cell {
    /// `bad` for a bad reading, `word` for what is not to be broken, or nothing.
    pub(super) class: &'static str,
    pub(super) text: String,
}

/// A line of the page: a paragraph, a point of a list, or a box to tick.
pub(super) struct Line {
    pub(super) kind: &'static str,
    pub(super) text: String,
}

/// A section as the page has it, without drawings.
pub(super) fn part(section: &Section) -> Part {
    Part {
        title: tidy(&section.title),
        lines: section.lines.iter().map(|text| line(text)).collect(),
        columns: section.columns.clone(),
        rows: section.rows.iter().map(|row| cells(&section.columns, row)).collect(),
        notes: section.notes.iter().map(|text| line(text)).collect(),
        caption: String::new(),
        drawings: Vec::new(),
    }
}

fn cells(columns: &[&str], row: &[String]) -> Vec<Cell> {
    let cell = |(column, text): (&&str, &String)| {
        let class = match (text.as_str(), *column) {
            ("BAD", "verdict") => "bad",
            (_, "what") => "word",
            _ => "",
        };
        Cell { class, text: tidy(text) }
    };
    columns.iter().zip(row).map(cell).collect()
}

/// A line of a sheet as the page has it.
fn line(text: &str) -> Line {
    let text = text.trim_start();
    let (kind, rest) = if let Some(rest) = text.strip_prefix("[ ] ") {
        ("tick", rest)
    } else if let Some(rest) = text.strip_prefix("- ") {
        ("point", rest)
    } else {
        ("plain", text)
    };
    Line { kind, text: tidy(rest) }
}

/// The wire side of a connector, some contacts pointed out.
pub(super) fn picture(
    harness: &Harness,
    id: ConnectorId,
    when: &str,
    marks: &[(ContactId, Mark)],
) -> Picture {
    let view = face_of(harness, id, Side::Wire, marks);
    Picture {
        caption: tidy(&format!("{when}: {}", view.stamp)),
        doubts: face_words(&view).doubts.iter().map(|doubt| tidy(doubt)).collect(),
        svg: to_terse_svg(&plain_scene(&view)),
    }
}
