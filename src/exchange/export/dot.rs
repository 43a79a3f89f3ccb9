//! The machine as a graph in the DOT language: points as nodes, wires as edges.

use crate::definition::diagnostic::clean;
use crate::definition::{Harness, Id, Point};

/// The whole machine, everything mated: contacts, splices, terminals, parts and the chassis as nodes; wires, mated
/// contacts, bonds to the chassis and the ends of parts as edges. `kind` says which is which.
///
/// Source: the grammar of the DOT language as Graphviz documents it; in a quoted text only `"` is escaped.
pub fn dot(harness: &Harness) -> String {
    let about = &harness.about;
    let mut out = Lines(String::new());
    out.line(&format!("// {} revision {}, definition SHA-256 {}", about.id, about.revision, harness.hash));
    out.line(&format!("graph {} {{", quoted(&about.id)));
    out.line(&format!(
        "  graph [label={}];",
        quoted(&format!("{} · revision {}", about.title, about.revision))
    ));
    nodes(&mut out, harness);
    edges(&mut out, harness);
    out.line("}");
    out.0
}

fn nodes(out: &mut Lines, harness: &Harness) {
    for point in harness.points().filter(|point| *point != Point::Chassis || harness.has_chassis()) {
        let kind = match point {
            Point::Contact(_) => "contact",
            Point::Splice(_) => "splice",
            Point::Terminal(_) => "terminal",
            Point::Chassis => "chassis",
        };
        let mut pairs = vec![("kind", kind.to_owned())];
        if let Point::Contact(id) = point {
            let contact = &harness.contacts[id];
            pairs.push(("connector", harness.connectors[contact.connector].id.clone()));
            pairs.extend(contact.signal.clone().map(|signal| ("signal", signal)));
        }
        out.line(&format!("  {} {};", quoted(&harness.point_name(point)), list(&pairs)));
    }
    for part in harness.parts.values() {
        let pairs = [("kind", part.kind.word().to_owned()), ("shape", "box".to_owned())];
        out.line(&format!("  {} {};", quoted(&part.id), list(&pairs)));
    }
}

fn edges(out: &mut Lines, harness: &Harness) {
    for wire in harness.wires.values() {
        let mut pairs = vec![("kind", "wire".to_owned()), ("label", wire.id.clone())];
        pairs.extend(wire.colour.as_ref().map(|colour| ("insulation", colour.to_string())));
        pairs.extend(wire.gauge.map(|gauge| ("gauge", gauge.to_string())));
        pairs.extend(wire.length.map(|length| ("length", length.to_string())));
        edge(out, wire.ends.map(|end| harness.point_name(end)), &pairs);
    }
    for (id, contact) in harness.contacts.iter() {
        // Each mated pair once.
        if let Some(mate) = contact.mate.filter(|mate| id.index() < mate.index()) {
            let ends = [id, mate].map(|contact| harness.point_name(Point::Contact(contact)));
            edge(out, ends, &[("kind", "mated".to_owned())]);
        }
    }
    for terminal in harness.terminals.values().filter(|terminal| terminal.ground) {
        let chassis = harness.point_name(Point::Chassis);
        edge(out, [terminal.id.clone(), chassis], &[("kind", "bond".to_owned())]);
    }
    for part in harness.parts.values() {
        for point in part.kind.points() {
            let pairs = [("kind", "part".to_owned()), ("style", "dashed".to_owned())];
            edge(out, [part.id.clone(), harness.point_name(point)], &pairs);
        }
    }
}

fn edge(out: &mut Lines, [from, to]: [String; 2], pairs: &[(&str, String)]) {
    out.line(&format!("  {} -- {} {};", quoted(&from), quoted(&to), list(pairs)));
}

fn list(pairs: &[(&str, String)]) -> String {
    let pairs: Vec<String> = pairs.iter().map(|(key, value)| format!("{key}={}", quoted(value))).collect();
    format!("[{}]", pairs.join(", "))
}

/// A text of the DOT language. A backslash before the closing mark would escape it, so it is doubled, as labels want it.
fn quoted(text: &str) -> String {
    let text = clean(text).replace('\n', " ").replace('\\', "\\\\").replace('"', "\\\"");
    format!("\"{text}\"")
}

struct Lines(String);

impl Lines {
    fn line(&mut self, text: &str) {
        self.0.push_str(text);
        self.0.push('\n');
    }
}
