//! The shape of format 1: what each table may hold.
//!
//! Comes in: a parsed TOML document. Goes out: a draft in which every quantity is read and every
//! name is still a text with its place. Why: mistakes of writing are found here, mistakes of meaning
//! in the resolver, and a variant can be laid over the draft before anything is resolved.

mod part;
mod prior;
mod variant;
mod wiring;

pub(super) use part::{RawFunction, RawPart};
pub(super) use wiring::{RawConnector, RawFace, RawPin, RawWire};

use toml::de::{DeTable, DeValue};

use super::diagnostic::{At, Diagnostic, FileId, Place, Sink};
use super::reader::Reader;
use crate::units::{Metres, Ohms, Seconds, Volts};

/// All files of a machine, read but not resolved.
#[derive(Default)]
pub(super) struct Draft {
    pub about: RawAbout,
    pub resistance: RawResistance,
    pub prior: prior::RawPrior,
    pub stations: Vec<(At<String>, RawStation)>,
    pub connectors: Vec<(At<String>, RawConnector)>,
    pub faces: Vec<(At<String>, RawFace)>,
    pub splices: Vec<(At<String>, RawSpot)>,
    pub terminals: Vec<(At<String>, RawSpot)>,
    pub wires: Vec<RawWire>,
    pub trunks: Vec<(At<String>, RawTrunk)>,
    pub conditions: Vec<(At<String>, RawCondition)>,
    pub parts: Vec<(At<String>, RawPart)>,
    pub limits: Vec<RawLimit>,
    pub variants: Vec<At<String>>,
    pub changes: variant::Changes,
    /// A file could not be read as TOML: what it defines is not known.
    pub broken: bool,
}

#[derive(Default)]
pub(super) struct RawAbout {
    pub id: Option<At<String>>,
    pub title: Option<At<String>>,
    pub revision: Option<At<String>>,
    pub nominal: Option<At<Volts>>,
    pub rule_set: Option<At<String>>,
}

#[derive(Default)]
pub(super) struct RawResistance {
    pub termination: Option<At<Ohms>>,
    pub contact: Option<At<Ohms>>,
    pub splice: Option<At<Ohms>>,
    pub bond: Option<At<Ohms>>,
    pub fuse: Option<At<Ohms>>,
    pub switch: Option<At<Ohms>>,
    pub relay: Option<At<Ohms>>,
}

pub(super) struct RawStation {
    pub title: Option<At<String>>,
    pub reach: Option<At<Seconds>>,
}

/// A splice or a terminal.
pub(super) struct RawSpot {
    pub title: Option<At<String>>,
    pub station: Option<At<String>>,
    pub ground: Option<At<bool>>,
}

pub(super) struct RawTrunk {
    /// Whether `between` is written, be it good or not.
    pub has_ends: bool,
    pub between: Option<At<[At<String>; 2]>>,
    pub length: Option<At<Metres>>,
}

pub(super) struct RawCondition {
    pub title: Option<At<String>>,
    pub needs_power: Option<At<bool>>,
}

pub(super) struct RawLimit {
    pub place: Place,
    /// Whether a bound is written, be it good or not.
    pub has_bound: bool,
    pub title: Option<At<String>>,
    pub kind: Option<At<String>>,
    pub red: Option<At<String>>,
    pub black: Option<At<String>>,
    pub set: Vec<(At<String>, At<String>)>,
    pub conditions: Vec<At<String>>,
    pub unplugged: Vec<At<String>>,
    pub low: Option<At<String>>,
    pub high: Option<At<String>>,
    pub source: Option<At<String>>,
}

/// How one file takes part in a machine.
#[derive(Clone, Copy)]
pub(super) struct Role<'a> {
    /// The top file gives the machine its id, revision and variant.
    pub top: bool,
    /// The variant to apply, if any.
    pub variant: Option<&'a str>,
}

/// Reads one file into the draft; gives back the files it uses.
pub(super) fn read_file(
    draft: &mut Draft,
    table: &DeTable<'_>,
    file: FileId,
    role: Role<'_>,
    sink: &Sink,
) -> Vec<At<String>> {
    let mut reader = Reader::new(table, Place::new(file, 0..0), "a harness definition", sink);
    read_format(&mut reader, file, sink);
    let uses = reader.texts("use").map(|list| list.value).unwrap_or_default();
    read_about(draft, &mut reader, role, file, sink);
    if let Some(value) = reader.value("resistance") {
        draft.resistance = read_resistance(value, file, sink).unwrap_or_default();
    }
    draft.prior.read(&mut reader, file, sink);
    let into = Into { file, sink };
    into.named(&mut reader, "station", "a station", "[station.NAME]", &mut draft.stations, |r| RawStation {
        title: r.text("title"),
        reach: r.quantity("reach"),
    });
    into.named(&mut reader, "connector", "a connector", "[connector.NAME]", &mut draft.connectors, |r| {
        RawConnector::read(r, file, sink)
    });
    into.named(&mut reader, "face", "a face", "[face.NAME]", &mut draft.faces, |r| {
        RawFace::read(r, file, sink)
    });
    into.named(&mut reader, "splice", "a splice", "[splice.NAME]", &mut draft.splices, |r| RawSpot {
        title: r.text("title"),
        station: r.text("station"),
        ground: None,
    });
    into.named(&mut reader, "terminal", "a terminal", "[terminal.NAME]", &mut draft.terminals, |r| RawSpot {
        title: r.text("title"),
        station: r.text("station"),
        ground: r.flag("ground"),
    });
    for value in reader.list("wire", "[[wire]]") {
        if let Some(mut wire) = Reader::of_value(value, file, "a wire", sink) {
            draft.wires.push(RawWire::read(&mut wire, true));
            wire.finish();
        }
    }
    into.named(&mut reader, "trunk", "a trunk", "[trunk.NAME]", &mut draft.trunks, |r| RawTrunk {
        has_ends: r.has("between"),
        between: r.pair("between"),
        length: r.quantity("length"),
    });
    into.named(&mut reader, "condition", "a condition", "[condition.NAME]", &mut draft.conditions, |r| {
        RawCondition { title: r.text("title"), needs_power: r.flag("needs_power") }
    });
    into.named(&mut reader, "part", "a part", "[part.NAME]", &mut draft.parts, |r| {
        RawPart::read(r, file, sink)
    });
    for value in reader.list("limit", "[[limit]]") {
        if let Some(mut limit) = Reader::of_value(value, file, "a limit", sink) {
            draft.limits.push(read_limit(&mut limit, file, sink));
            limit.finish();
        }
    }
    variant::read(draft, &mut reader, role, file, sink);
    reader.finish();
    uses
}

/// Reads the tables of one file into lists of named things.
#[derive(Clone, Copy)]
struct Into<'a> {
    file: FileId,
    sink: &'a Sink,
}

impl Into<'_> {
    fn named<T>(
        self,
        reader: &mut Reader<'_, '_>,
        key: &'static str,
        what: &'static str,
        example: &str,
        list: &mut Vec<(At<String>, T)>,
        read: impl Fn(&mut Reader<'_, '_>) -> T,
    ) {
        for (name, value) in reader.named(key, example) {
            if let Some(mut inner) = Reader::of_value(value, self.file, what, self.sink) {
                inner.identify(Some(&name));
                list.push((name, read(&mut inner)));
                inner.finish();
            }
        }
    }
}

fn read_format(reader: &mut Reader<'_, '_>, file: FileId, sink: &Sink) {
    let Some(value) = reader.value("format") else {
        let message = "the file does not say which format it is in";
        let help = "write `format = 1` as its first line, above every [header]";
        sink.push(Diagnostic::error("format", Place::new(file, 0..0), message).help(help));
        return;
    };
    let known = matches!(value.get_ref(), DeValue::Integer(n) if n.as_str() == "1" && n.radix() == 10);
    if !known {
        let place = Place::new(file, value.span());
        let (message, help) = match value.get_ref() {
            DeValue::Integer(_) => (
                "this program reads format 1 only",
                "write `format = 1`, or use a newer program for this file",
            ),
            _ => ("the format is a plain number", "write `format = 1`, without quotes"),
        };
        sink.push(Diagnostic::error("format", place, message).help(help));
    }
}

fn read_about(draft: &mut Draft, reader: &mut Reader<'_, '_>, role: Role<'_>, file: FileId, sink: &Sink) {
    let Some(value) = reader.value("harness") else {
        if role.top {
            let message = "the definition needs a [harness] table with `id` and `revision`";
            let help = "[harness]\nid = \"OSP-4\"\nrevision = \"A\"";
            sink.push(Diagnostic::error("missing-key", reader.place(), message).help(help));
        }
        return;
    };
    let Some(mut inner) = Reader::of_value(value, file, "[harness]", sink) else { return };
    let about = RawAbout {
        id: not_blank(inner.required_text("id"), "id = \"OSP-4\"", sink),
        title: inner.text("title"),
        revision: not_blank(inner.required_text("revision"), "revision = \"A\"", sink),
        nominal: inner.positive("nominal"),
        rule_set: inner.text("rule_set"),
    };
    inner.finish();
    if role.top {
        draft.about = about;
    }
}

/// Every print names the definition by its id and revision, so neither may be blank.
fn not_blank(text: Option<At<String>>, example: &str, sink: &Sink) -> Option<At<String>> {
    let text = text?;
    if text.value.trim().is_empty() {
        let help = format!("every print names the definition by it: {example}");
        sink.push(Diagnostic::error("missing-key", text.place, "it is blank").help(help));
    }
    Some(text)
}

fn read_resistance(value: &super::reader::Value<'_>, file: FileId, sink: &Sink) -> Option<RawResistance> {
    let mut reader = Reader::of_value(value, file, "[resistance]", sink)?;
    let resistance = RawResistance {
        termination: reader.quantity("termination"),
        contact: reader.quantity("contact"),
        splice: reader.quantity("splice"),
        bond: reader.quantity("bond"),
        fuse: reader.quantity("fuse"),
        switch: reader.quantity("switch"),
        relay: reader.quantity("relay"),
    };
    reader.finish();
    Some(resistance)
}

/// Examples of bounds, for messages.
const BOUNDS: &str = "\"27.4 V\" for a voltage or a drop, \"0.4 ohm\" for continuity or isolation";

fn read_limit(reader: &mut Reader<'_, '_>, file: FileId, sink: &Sink) -> RawLimit {
    let set = reader.named("set", "set = { S1 = \"run\" }").into_iter().filter_map(|(switch, value)| {
        let position = super::reader::text_of(value, file, "set", sink)?;
        Some((switch, position))
    });
    RawLimit {
        set: set.collect(),
        has_bound: reader.has("low") || reader.has("high"),
        place: reader.place(),
        title: reader.required_text("title"),
        kind: reader.required_text("kind"),
        red: reader.required_text("red"),
        black: reader.required_text("black"),
        conditions: reader.texts("conditions").map(|l| l.value).unwrap_or_default(),
        unplugged: reader.texts("unplugged").map(|l| l.value).unwrap_or_default(),
        low: reader.quantity_text("low", BOUNDS),
        high: reader.quantity_text("high", BOUNDS),
        source: reader.required_text("source"),
    }
}
