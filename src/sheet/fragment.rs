//! A sheet as a piece of HTML that stands in a page of somebody else.
//!
//! Comes in: a sheet and the level of its headings. Goes out: headings, paragraphs, lists and tables without ids, classes
//! or style, so that they look like the page around them and collide with nothing in it. Why: whoever writes a manual has
//! a style of their own. All text is escaped by the template.

use askama::Template;

use super::render::list_mark;
use super::{Section, Sheet};
use crate::definition::diagnostic::clean;

/// A piece, from one line of a sheet or several.
enum Part {
    Heading(u8, String),
    Paragraph(String),
    Items(Vec<String>),
    /// The first number, and what is numbered.
    Numbered(u16, Vec<String>),
    Table(Vec<&'static str>, Vec<Vec<String>>),
}

#[derive(Template)]
#[template(path = "fragment.html")]
struct Fragment {
    heading: Vec<String>,
    parts: Vec<Part>,
}

/// The sheet with headings of this level, 1 to 6; what it is made from is a line above everything.
///
/// # Errors
/// Where it cannot be written out, which a text in memory rules out.
pub fn fragment(sheet: &Sheet, level: u8) -> Result<String, askama::Error> {
    let mut parts = Vec::new();
    for section in &sheet.sections {
        add(&mut parts, section, level);
    }
    lines(&mut parts, &sheet.notes);
    Fragment { heading: sheet.heading.iter().map(|line| clean(line)).collect(), parts }.render()
}

fn add(parts: &mut Vec<Part>, section: &Section, level: u8) {
    if !section.title.is_empty() {
        parts.push(Part::Heading((level + u8::from(section.under)).clamp(1, 6), clean(&section.title)));
    }
    lines(parts, &section.lines);
    if !section.rows.is_empty() {
        let rows = section.rows.iter().map(|row| row.iter().map(|cell| clean(cell)).collect());
        parts.push(Part::Table(section.columns.clone(), rows.collect()));
    }
    lines(parts, &section.notes);
}

/// Lines as paragraphs; those with a list mark or a number follow each other as a list.
fn lines(parts: &mut Vec<Part>, lines: &[String]) {
    // A list goes on only with a line of the same block.
    let block = parts.len();
    for line in lines {
        let (mark, rest) = list_mark(line.trim_start());
        let rest = clean(rest);
        let number = mark.trim_end().strip_suffix('.').and_then(|number| number.parse::<u16>().ok());
        let open = if parts.len() > block { parts.last_mut() } else { None };
        match (number, open) {
            (Some(_), Some(Part::Numbered(_, items))) => items.push(rest),
            (Some(number), _) => parts.push(Part::Numbered(number, vec![rest])),
            (None, Some(Part::Items(items))) if !mark.is_empty() => items.push(boxed(&mark, rest)),
            (None, _) if !mark.is_empty() => parts.push(Part::Items(vec![boxed(&mark, rest)])),
            (None, _) => parts.push(Part::Paragraph(rest)),
        }
    }
}

/// What is to be ticked off has a box in front.
fn boxed(mark: &str, text: String) -> String {
    if mark.contains('[') { format!("☐ {text}") } else { text }
}
