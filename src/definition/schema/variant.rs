//! Variants: what differs from the harness as written, laid over the draft before it is resolved.

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
    for (name, value) in reader.named("variant", "variants") {
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
        for (name, value) in reader.named("wire", "wires") {
            let Some(mut r) = Reader::of_value(value, file, "a variant's wire", sink) else { continue };
            let remove = r.flag("remove").is_some_and(|f| f.value);
            let wire = RawWire::read(&mut r, false);
            r.finish();
            changes.wires.push((name, wire, remove));
        }
        for (name, value) in reader.named("pin", "pins") {
            let Some(mut r) = Reader::of_value(value, file, "a variant's pin", sink) else { continue };
            changes.pins.push((name, RawPin::read(&mut r)));
            r.finish();
        }
        for (name, value) in reader.named("part", "parts") {
            let Some(mut r) = Reader::of_value(value, file, "a variant's part", sink) else { continue };
            changes.parts.push((name, RawPart::read(&mut r, file, sink)));
            r.finish();
        }
        changes
    }

    /// Lays the changes over the draft; a name that does not exist is an error, except that a wire
    /// with two ends is a new wire.
    pub(in crate::definition) fn apply(self, draft: &mut Draft, sink: &Sink) {
        for (id, wire, remove) in self.wires {
            change_wire(draft, id, wire, remove, sink);
        }
        for (name, pin) in self.pins {
            change_pin(draft, &name, pin, sink);
        }
        for (id, part) in self.parts {
            match draft.parts.iter_mut().find(|(name, _)| name.value == id.value) {
                Some((_, known)) => known.overlay(part),
                None => sink.push(unknown(&id, "part", draft.parts.iter().map(|(name, _)| name))),
            }
        }
    }
}

fn change_wire(draft: &mut Draft, id: At<String>, mut wire: RawWire, remove: bool, sink: &Sink) {
    let found = draft.wires.iter().position(|w| w.id.as_ref().is_some_and(|known| known.value == id.value));
    match found {
        Some(at) if remove => {
            draft.wires.remove(at);
        }
        Some(at) => draft.wires[at].overlay(wire),
        None if wire.from.is_some() && wire.to.is_some() && !remove => {
            wire.place = id.place;
            wire.id = Some(id);
            draft.wires.push(wire);
        }
        None => sink.push(unknown(&id, "wire", draft.wires.iter().filter_map(|w| w.id.as_ref()))),
    }
}

fn change_pin(draft: &mut Draft, name: &At<String>, pin: RawPin, sink: &Sink) {
    let Some((connector, contact)) = name.value.split_once('.') else {
        let message = format!("`{}` does not name a pin", name.value);
        let help = "write it as [variant.NAME.pin.\"P1.K\"]";
        sink.push(Diagnostic::error("variant", name.place, message).help(help));
        return;
    };
    let Some((_, known)) = draft.connectors.iter_mut().find(|(id, _)| id.value == connector) else {
        sink.push(unknown(name, "connector", draft.connectors.iter().map(|(id, _)| id)));
        return;
    };
    match known.pins.iter_mut().find(|(id, _)| id.value == contact) {
        Some((_, old)) => old.overlay(pin),
        None => known.pins.push((At { value: contact.to_owned(), place: name.place }, pin)),
    }
}

fn unknown<'a>(name: &At<String>, what: &str, known: impl Iterator<Item = &'a At<String>>) -> Diagnostic {
    let message = format!("the variant changes {what} `{}`, which the harness does not have", name.value);
    let help =
        nearest(&name.value, known.map(|k| k.value.as_str())).map(|near| format!("did you mean `{near}`?"));
    Diagnostic::error("variant", name.place, message).maybe_help(help)
}
