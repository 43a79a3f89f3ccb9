//! The comparison as one self-contained page.
//!
//! Comes in: a comparison and its sheet. Goes out: HTML. Why: a revision is released on paper; whoever releases it should
//! see which cavities are not what they were, beside each other.
//!
//! The page has no script; its policy names the hash of its one style sheet, so that nothing else can be run or fetched.
//! All text is escaped by the template, and texts of people lose what cannot be seen.

use super::super::paper::{Page, Part, Picture, part, picture};
use super::super::{Sheet, Stamp};
use super::{CONTACTS, CompareView, changed_faces};
use crate::compare::Comparison;
use crate::definition::{ConnectorId, ContactId, Harness};
use crate::draw::Mark;

/// The most connectors that are drawn: a page must stay a page.
const MOST_FACES: usize = 150;

/// The comparison as a page, with the faces that changed.
///
/// # Errors
/// Where the page cannot be written out, which a text in memory rules out.
pub fn compare_html(
    harnesses: [&Harness; 2],
    comparison: &Comparison,
    (view, sheet): (&CompareView, &Sheet),
    deference: &str,
) -> Result<String, askama::Error> {
    let mut sections: Vec<Part> = sheet.sections.iter().map(part).collect();
    if let Some(contacts) = sections.iter_mut().find(|section| section.title == CONTACTS) {
        let (drawings, left_out) = faces(harnesses, comparison);
        contacts.drawings = drawings;
        contacts.caption =
            "Wire side, before and after in turn; the contacts that changed are marked.".into();
        if left_out > 0 {
            contacts.caption.push_str(&format!(" {left_out} more connectors are not drawn."));
        }
    }
    let [new, old] = [revision(&view.harness, None), revision(&view.before, Some(&view.harness.id))];
    let heading = format!("Comparison: {new} against {old}");
    let mut page = Page::of(&view.harness, &heading, &view.words, deference);
    page.fact("New", &view.harness.line());
    page.fact("Old", &view.before.line());
    page.write(sections, Vec::new())
}

/// Id and revision of a definition, without the id where it has been said.
fn revision(stamp: &Stamp, said: Option<&String>) -> String {
    let id = if said == Some(&stamp.id) { String::new() } else { format!("{} ", stamp.id) };
    let variant = stamp.variant.as_ref().map(|name| format!(" variant {name}")).unwrap_or_default();
    format!("{id}revision {}{variant}", stamp.revision)
}

/// The faces that changed, old and new in turn, and how many connectors are left out.
fn faces(harnesses: [&Harness; 2], comparison: &Comparison) -> (Vec<Picture>, usize) {
    let all = changed_faces(comparison);
    let left_out = all.len().saturating_sub(MOST_FACES);
    let face = |side: usize, id: ConnectorId, marked: &[ContactId]| {
        let marks: Vec<(ContactId, Mark)> = marked.iter().map(|id| (*id, Mark::Changed)).collect();
        picture(harnesses[side], id, ["Old", "New"][side], &marks)
    };
    let both = |(ids, marked): &([ConnectorId; 2], [Vec<ContactId>; 2])| {
        [0, 1].map(|side| face(side, ids[side], &marked[side]))
    };
    (all.iter().take(MOST_FACES).flat_map(both).collect(), left_out)
}
