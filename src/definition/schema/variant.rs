//! Variants: what differs from the harness as written, laid over the draft before it is resolved.

use std::collections::HashMap;

use super::{Draft, RawPart, RawPin, RawWire, Role};
use crate::definition::diagnostic::{At, Diagnostic, FileId, Sink, nearest};
use crate::definition::reader::Reader;

/// Reads every variant of a file, so that mistakes in all of them show, and keeps the changes of the
/// one that applies. A variant stands in the top file, which knows every file it uses.
pub(super) fn read(
    draft: &mut Draft,
    reader: &mut Reader<'_, '_>,
    role: Role<'_>,
    file: FileId,
    sink: &Sink,
) {
    for (name, value) in reader.named("variant", "[variant.NAME]") {
        let Some(mut inner) = Reader::of_value(value, file, "a variant", sink) else { continue };
        let changes = Changes::read(&mut inner, file, sink);
        inner.finish();
        if role.top && role.variant == Some(name.value.as_str()) {
            draft.changes = changes;
        }
        draft.variants.push(name);
    }
}

/// What a variant changes.
#[derive(Default)]
pub(in crate::definition) struct Changes {
    wires: Vec<(At<String>, RawWire, bool)>,
    pins: Vec<(At<String>, RawPin)>,
    parts: Vec<(At<String>, RawPart)>,
}

impl Changes {
    fn read(reader: &mut Reader<'_, '_>, file: FileId, sink: &Sink) -> Self {
        let mut changes = Self::default();
        for (name, value) in reader.named("wire", "[variant.NAME.wire.ID]") {
            let Some(mut r) = Reader::of_value(value, file, "a variant's wire", sink) else { continue };
            let remove = r.flag("remove").is_some_and(|f| f.value);
            let wire = RawWire::read(&mut r, false);
            r.finish();
            changes.wires.push((name, wire, remove));
        }
        for (name, value) in reader.named("pin", "[variant.NAME.pin.\"P1.K\"]") {
            let Some(mut r) = Reader::of_value(value, file, "a variant's pin", sink) else { continue };
            changes.pins.push((name, RawPin::read(&mut r)));
            r.finish();
        }
        for (name, value) in reader.named("part", "[variant.NAME.part.ID]") {
            let Some(mut r) = Reader::of_value(value, file, "a variant's part", sink) else { continue };
            changes.parts.push((name, RawPart::read(&mut r, file, sink)));
            r.finish();
        }
        changes
    }

    /// Lays the changes over the draft; a name that does not exist is an error, except that a wire
    /// with two ends is a new wire.
    pub(in crate::definition) fn apply(self, draft: &mut Draft, sink: &Sink) {
        // The look-ups below cost as much as the machine is large.
        if self.wires.is_empty() && self.pins.is_empty() && self.parts.is_empty() {
            return;
        }
        change_wires(draft, self.wires, sink);
        let connectors = index(draft.connectors.iter().map(|(id, _)| Some(id)));
        for (name, pin) in self.pins {
            change_pin(draft, &connectors, &name, pin, sink);
        }
        let parts = index(draft.parts.iter().map(|(id, _)| Some(id)));
        for (id, part) in self.parts {
            let Some(at) = parts.get(&id.value) else {
                let help = format!("define it in the harness: [part.{}]", id.value);
                sink.push(unknown(&id, "part", &id.value, &parts, &help, sink));
                continue;
            };
            draft.parts[*at].1.overlay(part);
        }
    }
}

/// Where each id stands in its list; the first one counts.
type Index = HashMap<String, usize>;

fn index<'a>(ids: impl Iterator<Item = Option<&'a At<String>>>) -> Index {
    let mut index = Index::new();
    for (at, id) in ids.enumerate() {
        if let Some(id) = id {
            index.entry(id.value.clone()).or_insert(at);
        }
    }
    index
}

fn change_wires(draft: &mut Draft, changes: Vec<(At<String>, RawWire, bool)>, sink: &Sink) {
    let wires = index(draft.wires.iter().map(|wire| wire.id.as_ref()));
    let mut removed = vec![false; draft.wires.len()];
    for (id, mut wire, remove) in changes {
        match wires.get(&id.value) {
            Some(at) if remove => removed[*at] = true,
            Some(at) => draft.wires[*at].overlay(wire),
            None if wire.from.is_some() && wire.to.is_some() && !remove => {
                wire.place = id.place;
                wire.id = Some(id);
                draft.wires.push(wire);
            }
            None => {
                let help = "a new wire needs `from` and `to`";
                sink.push(unknown(&id, "wire", &id.value, &wires, help, sink));
            }
        }
    }
    let mut removed = removed.into_iter();
    draft.wires.retain(|_| !removed.next().unwrap_or(false));
}

fn change_pin(draft: &mut Draft, connectors: &Index, name: &At<String>, pin: RawPin, sink: &Sink) {
    let Some((connector, contact)) = name.value.split_once('.') else {
        let message = format!("`{}` does not name a pin", name.value);
        let help = "write connector and contact in quotes, as in [variant.NAME.pin.\"P1.K\"]";
        sink.push(Diagnostic::error("variant", name.place, message).help(help));
        return;
    };
    let Some(at) = connectors.get(connector) else {
        let help = format!("define it in the harness: [connector.{connector}]");
        sink.push(unknown(name, "connector", connector, connectors, &help, sink));
        return;
    };
    let known = &mut draft.connectors[*at].1;
    match known.pins.iter_mut().find(|(id, _)| id.value == contact) {
        Some((_, old)) => old.overlay(pin),
        None => known.pins.push((At { value: contact.to_owned(), place: name.place }, pin)),
    }
}

fn unknown(at: &At<String>, what: &str, id: &str, known: &Index, otherwise: &str, sink: &Sink) -> Diagnostic {
    let message = format!("the variant changes {what} `{id}`, which the harness does not have");
    let mut names: Vec<&str> =
        if sink.may_search(known.len()) { known.keys().map(String::as_str).collect() } else { Vec::new() };
    names.sort_unstable();
    let help = match nearest(id, names) {
        Some(near) => format!("did you mean `{near}`? ({otherwise})"),
        None => otherwise.to_owned(),
    };
    Diagnostic::error("variant", at.place, message).help(help)
}
