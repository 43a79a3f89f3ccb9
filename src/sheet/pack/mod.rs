//! The job pack: one HTML page that a technician carries, an inspector files and a writer prints.
//!
//! Comes in: a harness, a plan and what to put in. Goes out: HTML text that needs nothing else: no network, no font,
//! no other file. Why: at the machine there is one thing to look at, and it must hold the plan, the pictures and the
//! boxes for the readings together, and know by heart which definition it was made from.
//!
//! The page's own script judges readings by the limits of the plan as they are typed, keeps them in the browser, and
//! writes them out as a record. Style and script stand in the page once, and the page's security policy names their
//! hashes, so that nothing else can run or be fetched. All other text is escaped by the template.

mod faces;
pub(super) mod policy;
mod script;
mod steps;
mod tree;

use askama::Template;

use super::plan_cost::duration;
use super::{Section, Stamp, pins, suspects, wires};
use crate::definition::{ConnectorId, Harness};
use crate::draw::{
    Highlights, Look, Sign, Stop, StripOptions, StripView, Strips, Subject, Weight, clean, layout_of,
    layout_scene, shorten, signs_scene, strip_scenes, style_sheet, to_terse_svg,
};
use crate::netlist::Netlist;
use crate::plan::Plan;
use faces::Faces;
pub(super) use policy::{running_head, style_only};

/// A part of the pack that may be left out. Cover and cautions always stay.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum PackSection {
    /// The plan by phase, with the boxes for readings.
    Plan,
    /// Pin maps with both sides of each connector.
    Pins,
    /// The from-to list.
    Wires,
    /// Circuits as lines of stations.
    Strips,
    /// The harness laid out.
    Layout,
}

impl PackSection {
    /// All of them, in the order of the page.
    pub const ALL: [Self; 5] = [Self::Plan, Self::Pins, Self::Wires, Self::Strips, Self::Layout];
}

/// What to put into a pack.
#[derive(Debug, Clone)]
pub struct PackOptions<'a> {
    /// The parts wanted.
    pub sections: &'a [PackSection],
    /// The date on the cover, as given.
    pub date: Option<&'a str>,
    /// What the plan is of, in words.
    pub scope: &'a str,
    /// The circuit that the plan is of: then strips are of this one alone.
    pub circuit: Option<&'a str>,
    /// Whether each step says why its limits are where they are.
    pub why: bool,
    /// The sentence that every sheet ends with.
    pub deference: &'a str,
}

/// A connector's pin map.
struct PinMap {
    title: String,
    faces: Vec<faces::Use>,
    /// Whether its faces have no room on one printed page.
    tall: bool,
    doubts: Vec<String>,
    arrangement: String,
    rows: Vec<Vec<String>>,
}

/// Where the steps of a complaint end.
struct End {
    anchor: String,
    title: String,
    todo: Vec<String>,
}

/// What a complaint's plan says beside its phases.
struct Complaint {
    lines: Vec<String>,
    looks: Vec<Vec<String>>,
    rows: Vec<tree::Row>,
    ends: Vec<End>,
    cost: String,
}

/// A table.
#[derive(Default)]
struct Table {
    columns: Vec<&'static str>,
    rows: Vec<Vec<String>>,
}

#[derive(Template)]
#[template(path = "pack.html")]
struct Page<'a> {
    policy: String,
    style: String,
    script: &'a str,
    data: String,
    heading: String,
    id: String,
    title: String,
    revision: String,
    hash: String,
    date: String,
    scope: String,
    meter: String,
    amount: String,
    has_plan: bool,
    cautions: Vec<String>,
    before: Vec<String>,
    complaint: Option<Complaint>,
    phases: Vec<steps::PhasePart>,
    left_out: Vec<String>,
    checks: Vec<String>,
    total: usize,
    signs: String,
    pins: Vec<PinMap>,
    pin_columns: Vec<&'static str>,
    wires: Table,
    strips: Vec<String>,
    strip_notes: Vec<String>,
    layout: Vec<String>,
    sprite: String,
    deference: String,
}

/// Text of a definition that is fit to be shown: no hidden characters, and never longer than a paragraph.
pub(super) fn tidy(text: &str) -> String {
    // A text of megabytes is cut before it is cleaned.
    let cut = text.char_indices().nth(4000).map_or(text, |(at, _)| &text[..at]);
    shorten(clean(cut).trim(), 1.0, Weight::Regular, 250.0)
}

fn tidy_all(texts: &[String]) -> Vec<String> {
    texts.iter().map(|text| tidy(text)).collect()
}

fn tidy_rows(rows: Vec<Vec<String>>) -> Vec<Vec<String>> {
    rows.into_iter().map(|row| tidy_all(&row)).collect()
}

/// Makes a job pack of a plan.
///
/// Cost: one drawing of each side of each connector, of each circuit and of each phase; a little for each step.
///
/// # Errors
/// Where the page cannot be written out, which a text in memory rules out.
pub fn pack(
    harness: &Harness,
    netlist: &Netlist,
    plan: &Plan,
    options: &PackOptions<'_>,
) -> Result<String, askama::Error> {
    let wants = |section| options.sections.contains(&section);
    let stamp = Stamp::of(harness);
    let mut faces = Faces::new(harness);
    let has_plan = wants(PackSection::Plan);
    let phases = if has_plan { steps::phases(harness, plan, options.why, &mut faces) } else { Vec::new() };
    let data = script::data(harness, plan, &stamp, if has_plan { &phases } else { &[] }, &faces);
    let (pin_columns, pins) =
        if wants(PackSection::Pins) { pin_maps(harness, &mut faces) } else { Default::default() };
    let (strips, strip_notes) =
        if wants(PackSection::Strips) { strips(harness, netlist, options) } else { Default::default() };
    let head = running_head(&stamp);
    let style =
        format!("{head}{}{}", include_str!("../../../templates/pack.css"), style_sheet(Look::AsAsked));
    let script = include_str!("../../../templates/pack.js");
    let variant = stamp.variant.as_ref().map(|v| format!(", variant {v}")).unwrap_or_default();
    let page = Page {
        policy: policy::of(&style, script),
        style,
        script,
        data,
        heading: tidy(&stamp.line()),
        id: tidy(&stamp.id),
        title: tidy(&stamp.title),
        revision: tidy(&format!("{}{variant}", stamp.revision)),
        hash: stamp.hash.clone(),
        date: tidy(options.date.unwrap_or_default()),
        scope: tidy(options.scope),
        meter: plan.meters.names(),
        amount: amount(plan),
        has_plan,
        cautions: tidy_all(&plan.cautions),
        before: tidy_all(&plan.before),
        complaint: has_plan.then(|| complaint(harness, plan)).flatten(),
        total: phases.iter().map(|phase| phase.steps.len()).sum(),
        phases,
        left_out: if has_plan { left_out(harness, plan) } else { Vec::new() },
        checks: if has_plan { tidy_all(&plan.function_check) } else { Vec::new() },
        signs: to_terse_svg(&signs_scene()),
        pins,
        pin_columns,
        wires: if wants(PackSection::Wires) { from_to(harness) } else { Table::default() },
        strips,
        strip_notes,
        layout: if wants(PackSection::Layout) { layout(harness) } else { Vec::new() },
        sprite: faces.sprite(),
        deference: options.deference.to_owned(),
    };
    page.render()
}

/// How much there is to do.
fn amount(plan: &Plan) -> String {
    let cost = &plan.cost;
    let of = |count: usize, word: &str| format!("{count} {word}{}", if count == 1 { "" } else { "s" });
    format!(
        "{}, {}, {}, about {}",
        of(cost.steps, "reading"),
        of(plan.phases.len(), "phase"),
        of(cost.changes, "setup change"),
        duration(cost.seconds.get())
    )
}

fn left_out(harness: &Harness, plan: &Plan) -> Vec<String> {
    let line = |left: &crate::plan::LeftOut| {
        tidy(&format!("{} {}: {}.", left.id, left.measurement.words(harness), left.why))
    };
    plan.left_out.iter().map(line).collect()
}

fn complaint(harness: &Harness, plan: &Plan) -> Option<Complaint> {
    let dossier = plan.complaint.as_ref()?;
    let mut opening = super::complaint::opening(harness, dossier).into_iter();
    let (about, looks) = (opening.next()?, opening.next()?);
    let closing = super::complaint::closing(harness, dossier).into_iter().next().unwrap_or_default();
    let ends = dossier.ends.iter().enumerate().map(|(at, end)| {
        let faults = if end.faults.is_empty() {
            "no single fault is left".to_owned()
        } else {
            let seldom = match end.faults.len() - end.likely {
                0 => String::new(),
                more => format!("; seldom {more} more"),
            };
            format!("{}{seldom}", suspects::faults(harness, &end.faults[..end.likely]))
        };
        let share = super::complaint::percent(end.share);
        End {
            anchor: format!("end-{}", at + 1),
            title: tidy(&format!("End {} ({share}): {faults}", at + 1)),
            todo: tidy_all(&end.todo),
        }
    });
    Some(Complaint {
        lines: tidy_all(&about.lines),
        looks: tidy_rows(looks.rows),
        rows: tree::rows(harness, plan, dossier),
        ends: ends.collect(),
        cost: tidy(&closing.notes.join(" ")),
    })
}

/// Every connector with the sides that are worth drawing and its table.
fn pin_maps(harness: &Harness, faces: &mut Faces<'_>) -> (Vec<&'static str>, Vec<PinMap>) {
    let (_, sheet) = pins(harness, None);
    let columns = sheet.sections.first().map_or(Vec::new(), |section| section.columns.clone());
    let ids: Vec<ConnectorId> = harness.connectors.ids().collect();
    let one = |(id, section): (ConnectorId, Section)| {
        let words = faces.words(id);
        let both = faces.both(id);
        PinMap {
            title: tidy(&section.title),
            tall: both.iter().map(|face| face.height).sum::<f64>() > PAGE
                && both.iter().any(|face| face.width > HALF),
            faces: both,
            doubts: tidy_all(&words.doubts),
            arrangement: tidy(&words.arrangement),
            rows: tidy_rows(section.rows),
        }
    };
    (columns, ids.into_iter().zip(sheet.sections).map(one).collect())
}

fn from_to(harness: &Harness) -> Table {
    let (_, sheet) = wires(harness, None);
    let section = sheet.sections.into_iter().next().unwrap_or_default();
    // A column in which nothing stands takes room from the others.
    let used = |at: &usize| *at < 3 || section.rows.iter().any(|row| !row[*at].is_empty());
    let used: Vec<usize> = (0..section.columns.len()).filter(used).collect();
    Table {
        columns: used.iter().map(|at| section.columns[*at]).collect(),
        rows: section.rows.iter().map(|row| used.iter().map(|at| tidy(&row[*at])).collect()).collect(),
    }
}

/// Wider faces do not stand beside each other on A4.
const HALF: f64 = 341.0;

/// What is higher has no room on a printed page at 7 pt: no piece of a strip is.
const PAGE: f64 = 860.0;

/// A piece of the layout is no higher than this: it fills a page on its side.
const ACROSS: f64 = 640.0;

/// The layout, in pieces that have room on a printed page on its side.
fn layout(harness: &Harness) -> Vec<String> {
    let scene = layout_scene(&layout_of(harness, &Highlights::default()));
    scene.cut(ACROSS).iter().map(to_terse_svg).collect()
}

/// The circuits, each as a short strip, in pieces that have room on a printed page; and what must be said of them.
fn strips(harness: &Harness, netlist: &Netlist, options: &PackOptions<'_>) -> (Vec<String>, Vec<String>) {
    let strips = Strips::new(harness, netlist);
    let circuits = strips.circuits().into_iter().filter(|id| options.circuit.is_none_or(|only| only == *id));
    let mut notes: Vec<String> = vec!["Wire ends and splice legs are left out.".to_owned()];
    let draw = |id: &str| {
        let subject = Subject::Circuit(id.to_owned());
        let mut view = strips.view_with(&subject, &Highlights::default(), StripOptions { short: true });
        shared_words_out(&mut view, &mut notes);
        strip_scenes(&view, PAGE).iter().map(to_terse_svg).collect::<Vec<_>>()
    };
    let drawings = circuits.flat_map(draw).collect();
    (drawings, notes)
}

/// Leaves out of a strip what the page says once: title, stamp and how figures are meant. And wire ends and splice legs: a third of the
/// rows, of which a carried strip tells nothing but that a wire has ends.
fn shared_words_out(view: &mut StripView, notes: &mut Vec<String>) {
    let is_end = |what: &Stop| matches!(what, Stop::Element(e) if matches!(e.sign, Sign::End | Sign::Leg));
    view.rows.retain(|row| !is_end(&row.what));
    view.title.clear();
    view.stamp.clear();
    for note in std::mem::take(&mut view.figures) {
        if !notes.contains(&note) {
            notes.push(note);
        }
    }
}
