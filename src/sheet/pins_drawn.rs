//! Pin maps as drawings: one SVG, or one page with drawings and tables.
//!
//! Comes in: a harness and the connector wanted. Goes out: SVG or HTML text. Why: a pin map that is
//! printed or opened on a tablet should show where the contact is, and not only what it carries.

use askama::Template;

use super::pack::{running_head, style_only};
use super::{Sheet, Stamp, pins};
use crate::definition::diagnostic::clean;
use crate::definition::{ConnectorId, Harness};
use crate::draw::{
    FaceView, Look, Scene, Side, face_of, face_scene, face_words, plain_scene, signs_scene, style_sheet,
    to_svg, to_terse_svg,
};

/// One connector on the page.
struct Connector {
    title: String,
    /// Its faces as SVG, which the exporter has escaped.
    faces: Vec<String>,
    doubts: Vec<String>,
    arrangement: String,
    rows: Vec<Vec<String>>,
}

#[derive(Template)]
#[template(path = "pins.html")]
struct Page<'a> {
    policy: String,
    heading: String,
    /// The page's style and the drawings' own, which hold no markup.
    style: String,
    signs: String,
    columns: Vec<&'static str>,
    connectors: Vec<Connector>,
    deference: &'a str,
}

/// The sides of a connector that are worth drawing: both, or the only one where no geometry is given.
fn faces(harness: &Harness, id: ConnectorId, draw: fn(&FaceView<'_>) -> Scene) -> Vec<Scene> {
    let sides =
        if harness.connectors[id].face.is_some() { &[Side::Mating, Side::Wire][..] } else { &[Side::Mating] };
    sides.iter().map(|side| draw(&face_of(harness, id, *side, &[]))).collect()
}

fn wanted(harness: &Harness, only: Option<ConnectorId>) -> Vec<ConnectorId> {
    harness.connectors.ids().filter(|id| only.is_none_or(|o| o == *id)).collect()
}

/// The faces of one connector, or of all, on one sheet: both sides beside each other, connectors below
/// each other.
pub fn pins_svg(harness: &Harness, only: Option<ConnectorId>) -> String {
    let pair = |id| faces(harness, id, face_scene).into_iter().reduce(Scene::with);
    let pairs = wanted(harness, only).into_iter().filter_map(pair);
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
    let connectors = wanted(harness, only).into_iter().zip(sheet.sections).map(|(id, section)| {
        let words = face_words(&face_of(harness, id, Side::Mating, &[]));
        Connector {
            title: clean(&section.title),
            faces: faces(harness, id, plain_scene).iter().map(to_terse_svg).collect(),
            doubts: words.doubts.iter().map(|doubt| clean(doubt)).collect(),
            arrangement: clean(&words.arrangement),
            rows: section.rows.iter().map(|row| row.iter().map(|cell| clean(cell)).collect()).collect(),
        }
    });
    let heading = sheet.heading.iter().map(|line| clean(line)).collect::<Vec<_>>().join(" ");
    let head = running_head(&Stamp::of(harness));
    let style = format!("{head}{}{}", include_str!("../../templates/pins.css"), style_sheet(Look::default()));
    let page = Page {
        policy: style_only(&style),
        heading,
        style,
        signs: to_terse_svg(&signs_scene()),
        columns,
        connectors: connectors.collect(),
        deference,
    };
    page.render()
}
