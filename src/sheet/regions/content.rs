//! What belongs into a region.

use super::{Document, PlanOf, Region, Shown};
use crate::definition::diagnostic::{At, Diagnostic, Place, Sink};
use crate::definition::{ConnectorId, Harness, Named};
use crate::draw::{Side, face_of, face_scene, to_svg};
use crate::measure::Meter;
use crate::netlist::Netlist;
use crate::plan::complaint::Asked;
use crate::plan::{self, Meters, Plan, Scope};
use crate::setup::{Isolated, Setup};
use crate::sheet::render::markdown_within;
use crate::sheet::{Sheet, fragment, pins, plan as plan_sheet, wires};

/// What belongs between a region's markers, made from its definition, with the line ends of the region. `None` where the
/// marker asks for what the definition does not have; the reason lands in the sink.
///
/// Every content names the definition's id, revision and hash. A drawing has no ids of its own, so that several of them
/// can stand in one document.
pub fn content(harness: &Harness, region: &Region, document: Document, sink: &Sink) -> Option<String> {
    let text = match &region.shown {
        Shown::Pins { connector } => {
            let only = match connector {
                Some(name) => Some(connector_of(harness, name, sink)?),
                None => None,
            };
            written(&pins(harness, only).1, region, document, sink)?
        }
        Shown::Wires { circuit } => {
            known_circuit(harness, circuit.as_ref(), sink)?;
            let circuit = circuit.as_ref().map(|circuit| circuit.value.as_str());
            written(&wires(harness, circuit).1, region, document, sink)?
        }
        Shown::Face { connector, sides } => figure(harness, connector_of(harness, connector, sink)?, sides),
        Shown::Plan(of) => written(
            &plan_sheet(harness, &plan_of(harness, of, region.marker, sink)?).1,
            region,
            document,
            sink,
        )?,
    };
    let text = text.trim_end();
    let text = match document {
        // Markdown has to see where a comment ends and a paragraph begins.
        Document::Markdown => format!("\n{text}\n\n"),
        Document::Html => format!("{text}\n"),
    };
    Some(if region.line_end == "\n" { text } else { text.replace('\n', region.line_end) })
}

fn written(sheet: &Sheet, region: &Region, document: Document, sink: &Sink) -> Option<String> {
    if document == Document::Markdown {
        return Some(markdown_within(sheet, usize::from(region.level)));
    }
    let page = fragment(sheet, region.level);
    if let Err(error) = &page {
        let message = format!("this region cannot be written: {error}");
        sink.push(
            Diagnostic::error("region", region.marker, message).help("choose another kind of document"),
        );
    }
    page.ok()
}

/// A connector's face, from one side or both. To Markdown this is one block of HTML, which an empty line would end.
fn figure(harness: &Harness, id: ConnectorId, sides: &[Side]) -> String {
    // Without geometry there are no sides to tell apart.
    let sides = if harness.connectors[id].face.is_some() { sides } else { &[Side::Mating] };
    let drawn: String =
        sides.iter().map(|side| to_svg(&face_scene(&face_of(harness, id, *side, &[])))).collect();
    let lines = drawn.lines().map(str::trim_end).filter(|line| !line.is_empty());
    format!("<figure>\n{}\n</figure>", lines.collect::<Vec<_>>().join("\n"))
}

fn fail<T>(sink: &Sink, place: Place, message: String, help: &str) -> Option<T> {
    sink.push(Diagnostic::error("region", place, message).help(help));
    None
}

fn connector_of(harness: &Harness, name: &At<String>, sink: &Sink) -> Option<ConnectorId> {
    let found = harness.names.connector(&name.value);
    if found.is_none() {
        let near = harness.names.nearest(&name.value, |named| matches!(named, Named::Connector(_)));
        let help = near.map_or_else(|| connectors(harness), |near| format!("did you mean `{near}`?"));
        return fail(sink, name.place, format!("no connector is called `{}`", name.value), &help);
    }
    found
}

/// The connectors there are, or the first of them.
fn connectors(harness: &Harness) -> String {
    const MOST: usize = 12;
    let named: Vec<&str> =
        harness.connectors.values().take(MOST).map(|connector| connector.id.as_str()).collect();
    let more = if harness.connectors.len() > MOST { " and more" } else { "" };
    match &named[..] {
        [] => "this definition has no connectors".to_owned(),
        named => format!("its connectors are: {}{more}", named.join(", ")),
    }
}

fn known_circuit(harness: &Harness, circuit: Option<&At<String>>, sink: &Sink) -> Option<()> {
    let Some(wanted) = circuit else { return Some(()) };
    if harness.wires.values().any(|wire| wire.circuit.as_ref() == Some(&wanted.value)) {
        return Some(());
    }
    let help = "write the `circuit` of a wire, or the number in front of a wire's letter";
    fail(sink, wanted.place, format!("no wire belongs to circuit `{}`", wanted.value), help)
}

fn plan_of(harness: &Harness, of: &PlanOf, marker: Place, sink: &Sink) -> Option<Plan> {
    let netlist = Netlist::new(harness);
    let meters = meters(&of.meter, sink)?;
    if let Some(complaint) = &of.complaint {
        let help = "write it as M1, or as M1=S1:run,S2:spray";
        let made =
            Asked::parse(harness, &complaint.value).map_err(|error| error.to_string()).and_then(|asked| {
                plan::complaint::complaint(harness, &netlist, &asked, meters)
                    .map_err(|error| error.to_string())
            });
        return made.map_or_else(|error| fail(sink, complaint.place, error, help), Some);
    }
    known_circuit(harness, of.circuit.as_ref(), sink)?;
    let mut isolated = Isolated::at_rest();
    for name in &of.unplug {
        let id = connector_of(harness, name, sink)?;
        let Some(mating) = harness.connectors[id].mating else {
            let message = format!("{} has no mate: there is nothing to unplug", name.value);
            return fail(sink, name.place, message, "name a connector with a `mate`");
        };
        isolated = isolated.part(mating);
    }
    let unplug = Setup::from(isolated).parted().collect();
    let circuit = of.circuit.as_ref().map(|circuit| circuit.value.clone());
    match plan::plan(harness, &netlist, &Scope { unplug, circuit }, meters) {
        Ok(plan) => Some(plan),
        Err(error) => {
            fail(sink, marker, error.to_string(), "`ringout check` says more about this definition")
        }
    }
}

fn meters(names: &[At<String>], sink: &Sink) -> Option<Meters> {
    if names.is_empty() {
        return Some(Meters::from_iter([Meter::HANDHELD]));
    }
    let mut found = Vec::new();
    for name in names {
        match Meter::parse(&name.value) {
            Ok(meter) => found.push(meter),
            Err(error) => {
                return fail(sink, name.place, error.to_string(), "write meter=handheld, or leave it out");
            }
        }
    }
    Some(found.into_iter().collect())
}
