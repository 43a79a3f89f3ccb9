//! A harness as the text of a definition, format 1.

use super::gather::{Contact, Draft, Wire};
use super::point::Joint;
use super::word::Instead;
use super::{About, Source};
use crate::definition::diagnostic::clean;
use crate::definition::edit::{bare, list, quoted};

/// The definition, with comments that say which row each wire came from.
pub(super) fn definition(draft: &Draft, about: &About, source: &Source<'_>) -> String {
    let mut out = Text::default();
    out.comment(&format!("Imported from {}.", source.name));
    out.comment("What the table does not say (faces, mates, stations, parts) is missing here: add it by hand. A connector has");
    out.comment("those contacts that the table names; it may have more.");
    for line in &source.preamble {
        out.comment(line);
    }
    out.line("");
    out.line("format = 1");
    out.line("");
    out.line("[harness]");
    out.pair("id", &quoted(&about.id));
    out.pair("title", &quoted(&about.title));
    out.pair("revision", &quoted(&about.revision));
    for (id, contacts) in &draft.connectors {
        connector(&mut out, id, contacts, source.title_of(id));
    }
    for (name, joint, by_name) in &draft.joints {
        out.line("");
        if *by_name {
            out.comment(&format!("taken for a {} by its name", words(*joint)));
        }
        let table = if *joint == Joint::Splice { "splice" } else { "terminal" };
        out.line(&format!("[{table}.{}]", bare(name)));
        if let Some(title) = source.title_of(name) {
            out.pair("title", &quoted(title));
        }
        if *joint == Joint::Ground {
            out.pair("ground", "true");
        }
    }
    draft.wires.iter().for_each(|one| wire(&mut out, one));
    out.0
}

fn words(joint: Joint) -> &'static str {
    match joint {
        Joint::Splice => "splice",
        Joint::Terminal => "terminal",
        Joint::Ground => "terminal on the frame",
    }
}

fn connector(out: &mut Text, id: &str, contacts: &[Contact], title: Option<&str>) {
    out.line("");
    out.line(&format!("[connector.{}]", bare(id)));
    if let Some(title) = title {
        out.pair("title", &quoted(title));
    }
    let names: Vec<String> = contacts.iter().map(|contact| contact.name.clone()).collect();
    out.pair("contacts", &list(&names));
    for contact in contacts {
        let empty = match contact.empty {
            Some(Instead::Spare) => Some("spare"),
            Some(Instead::Plugged) => Some("plugged"),
            _ => None,
        };
        let said = contact.signal.is_some() || !contact.also.is_empty() || contact.joined || empty.is_some();
        if !said && contact.notes.is_empty() {
            continue;
        }
        out.line("");
        for note in &contact.notes {
            out.comment(&format!("{}: {note}", contact.name));
        }
        if !said {
            continue;
        }
        out.line(&format!("[connector.{}.pin.{}]", bare(id), bare(&contact.name)));
        if let Some(signal) = &contact.signal {
            out.pair("signal", &quoted(signal));
        }
        if !contact.also.is_empty() {
            out.pair("also", &list(&contact.also));
        }
        if contact.joined {
            out.pair("joined", "true");
        }
        if let Some(empty) = empty {
            out.pair(empty, "true");
        }
    }
}

fn wire(out: &mut Text, wire: &Wire) {
    let rows: Vec<String> = wire.rows.iter().map(ToString::to_string).collect();
    let plural = if rows.len() == 1 { "row" } else { "rows" };
    out.line("");
    out.comment(&format!("{plural} {}", rows.join(", ")));
    for note in &wire.notes {
        out.comment(note);
    }
    out.line("[[wire]]");
    out.pair("id", &quoted(&wire.id));
    let [from, to] = &wire.ends;
    out.pair("from", &quoted(&from.name()));
    out.pair("to", &quoted(&to.name()));
    for (key, value) in &wire.details.values {
        out.pair(key, &quoted(value));
    }
}

/// Lines of TOML.
#[derive(Default)]
struct Text(String);

impl Text {
    fn line(&mut self, text: &str) {
        self.0.push_str(text);
        self.0.push('\n');
    }

    fn pair(&mut self, key: &str, value: &str) {
        self.line(&format!("{key} = {value}"));
    }

    /// A comment on one line, whatever signs the table has.
    fn comment(&mut self, text: &str) {
        let text = clean(&text.replace(['\n', '\r'], " "));
        self.line(format!("# {text}").trim_end());
    }
}
