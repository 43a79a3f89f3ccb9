//! Pin maps as drawings: one SVG, or one page with drawings and tables.
//!
//! Comes in: a harness and the connector wanted. Goes out: SVG or HTML text. Why: a pin map that is
//! printed or opened on a tablet should show where the contact is, and not only what it carries.

use askama::Template;

use super::pack::style_only;
use super::{Sheet, pins};
use crate::definition::diagnostic::clean;
use crate::definition::{ConnectorId, Harness};
use crate::draw::{Look, Scene, Side, SvgOptions, face_of, face_scene, style_sheet, to_svg, to_svg_with};

/// One connector on the page.
struct Connector {
    title: String,
    /// Its faces as SVG, which the exporter has escaped.
    faces: Vec<String>,
    rows: Vec<Vec<String>>,
}

#[derive(Template)]
#[template(path = "pins.html")]
struct Page<'a> {
    policy: String,
    heading: String,
    /// The page's style and the drawings' own, which hold no markup.
    style: String,
    columns: Vec<&'static str>,
    connectors: Vec<Connector>,
    deference: &'a str,
}

/// The sides of a connector that are worth drawing: both, or the only one where no geometry is given.
fn faces(harness: &Harness, id: ConnectorId) -> Vec<Scene> {
    let sides =
        if harness.connectors[id].face.is_some() { &[Side::Mating, Side::Wire][..] } else { &[Side::Mating] };
    sides.iter().map(|side| face_scene(&face_of(harness, id, *side, &[]))).collect()
}

fn wanted(harness: &Harness, only: Option<ConnectorId>) -> Vec<ConnectorId> {
    harness.connectors.ids().filter(|id| only.is_none_or(|o| o == *id)).collect()
}

/// The faces of one connector, or of all, on one sheet: both sides beside each other, connectors below
/// each other.
pub fn pins_svg(harness: &Harness, only: Option<ConnectorId>) -> String {
    let pairs =
        wanted(harness, only).into_iter().filter_map(|id| faces(harness, id).into_iter().reduce(Scene::with));
    pairs.reduce(Scene::above).map_or(String::new(), |scene| to_svg(&scene))
}

/// The same as one self-contained page, each connector with its pin map below its faces.
///
/// # Errors
/// Where the page cannot be written out, which a text in memory rules out.
pub fn pins_html(
    harness: &Harness,
    only: Option<ConnectorId>,
    deference: &str,
) -> Result<String, askama::Error> {
    let (_, sheet): (_, Sheet) = pins(harness, only);
    let columns = sheet.sections.first().map_or(Vec::new(), |section| section.columns.clone());
    let shared = SvgOptions { with_style_sheet: false, ..SvgOptions::default() };
    let connectors = wanted(harness, only).into_iter().zip(sheet.sections).map(|(id, section)| Connector {
        title: clean(&section.title),
        faces: faces(harness, id).iter().map(|face| to_svg_with(face, shared)).collect(),
        rows: section.rows.iter().map(|row| row.iter().map(|cell| clean(cell)).collect()).collect(),
    });
    let heading = sheet.heading.iter().map(|line| clean(line)).collect::<Vec<_>>().join(" ");
    let style = format!("{}{}", include_str!("../../templates/pins.css"), style_sheet(Look::default()));
    Page { policy: style_only(&style), heading, style, columns, connectors: connectors.collect(), deference }
        .render()
}
