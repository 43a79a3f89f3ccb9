//! Connectors, pins, faces and wires, as written.

use toml::de::DeValue;

use crate::definition::diagnostic::{At, Diagnostic, FileId, Place, Sink};
use crate::definition::reader::{Reader, pair_of, texts_of};
use crate::units::{self, Degrees, Gauge, Metres, Quantity, Seconds};

/// The most contacts that `contacts = N` may ask for.
const MOST_CONTACTS: usize = 10_000;

pub(in crate::definition) struct RawConnector {
    pub title: Option<At<String>>,
    pub station: Option<At<String>>,
    pub part: Option<At<String>>,
    pub face: Option<At<String>>,
    pub contacts: Option<ContactNames>,
    pub contact: Option<At<String>>,
    pub mate: Option<At<String>>,
    pub backprobe: Option<At<bool>>,
    pub unplug: Option<At<Seconds>>,
    pub hazard: Option<At<String>>,
    pub pins: Vec<(At<String>, RawPin)>,
}

/// `contacts = ["A", "B"]` or `contacts = 50`.
pub(in crate::definition) struct ContactNames {
    pub names: Vec<At<String>>,
    pub place: Place,
}

#[derive(Default)]
pub(in crate::definition) struct RawPin {
    pub signal: Option<At<String>>,
    pub joined: Option<At<bool>>,
    pub also: Vec<At<String>>,
    pub spare: Option<At<bool>>,
    pub plugged: Option<At<bool>>,
}

impl RawConnector {
    pub(super) fn read(r: &mut Reader<'_, '_>, file: FileId, sink: &Sink) -> Self {
        let mut pins = Vec::new();
        for (name, value) in r.named("pin", "pins") {
            if let Some(mut pin) = Reader::of_value(value, file, "a pin", sink) {
                pins.push((name, RawPin::read(&mut pin)));
                pin.finish();
            }
        }
        Self {
            title: r.text("title"),
            station: r.text("station"),
            part: r.text("part"),
            face: r.text("face"),
            contacts: read_contacts(r, file, sink),
            contact: r.text("contact"),
            mate: r.text("mate"),
            backprobe: r.flag("backprobe"),
            unplug: r.quantity("unplug"),
            hazard: r.text("hazard"),
            pins,
        }
    }
}

fn read_contacts(r: &mut Reader<'_, '_>, file: FileId, sink: &Sink) -> Option<ContactNames> {
    let value = r.value("contacts")?;
    let place = Place::new(file, value.span());
    let DeValue::Integer(count) = value.get_ref() else {
        let names = texts_of(value, file, "contacts", sink)?.value;
        return Some(ContactNames { names, place });
    };
    let count = count.as_str().parse::<usize>().ok().filter(|n| (1..=MOST_CONTACTS).contains(n));
    let Some(count) = count else {
        let message = format!("`contacts`: a count from 1 to {MOST_CONTACTS}, or a list of names");
        sink.push(Diagnostic::error("contacts", place, message));
        return None;
    };
    let names = (1..=count).map(|n| At { value: n.to_string(), place }).collect();
    Some(ContactNames { names, place })
}

impl RawPin {
    pub(super) fn read(r: &mut Reader<'_, '_>) -> Self {
        Self {
            signal: r.text("signal"),
            joined: r.flag("joined"),
            also: r.texts("also").map(|l| l.value).unwrap_or_default(),
            spare: r.flag("spare"),
            plugged: r.flag("plugged"),
        }
    }

    /// Lays what a variant says over what the harness says.
    pub(super) fn overlay(&mut self, other: Self) {
        over(&mut self.signal, other.signal);
        over(&mut self.joined, other.joined);
        over(&mut self.spare, other.spare);
        over(&mut self.plugged, other.plugged);
        if !other.also.is_empty() {
            self.also = other.also;
        }
    }
}

pub(in crate::definition) struct RawFace {
    pub shape: Option<At<String>>,
    pub rows: Option<At<Vec<Vec<String>>>>,
    pub rings: Option<At<Vec<Vec<String>>>>,
    pub xy: Vec<(At<String>, [Metres; 2])>,
    pub pitch: Option<At<Metres>>,
    pub start: Vec<Degrees>,
    pub seen: Option<At<String>>,
    pub contact_size: Option<At<Metres>>,
}

impl RawFace {
    pub(super) fn read(r: &mut Reader<'_, '_>, file: FileId, sink: &Sink) -> Self {
        let xy = r.named("xy", "positions").into_iter().filter_map(|(name, value)| {
            let pair = pair_of(value, file, "xy", sink)?.value;
            let [x, y] = pair.map(|text| signed::<Metres>(&text, sink));
            Some((name, [x?, y?]))
        });
        let xy = xy.collect();
        let start = r.texts("start").map(|l| l.value).unwrap_or_default();
        Self {
            xy,
            shape: r.text("shape"),
            rows: nested(r, "rows", file, sink),
            rings: nested(r, "rings", file, sink),
            pitch: r.positive("pitch"),
            start: start.iter().filter_map(|text| signed(text, sink)).collect(),
            seen: r.text("seen"),
            contact_size: r.positive("contact_size"),
        }
    }
}

/// A quantity that may be below zero, such as a coordinate.
fn signed<Q: Quantity>(text: &At<String>, sink: &Sink) -> Option<Q> {
    match units::parse_signed(&text.value) {
        Ok(value) => Some(value),
        Err(error) => {
            let message = error.to_string();
            sink.push(Diagnostic::error("quantity", text.place, message).help(error.suggest()));
            None
        }
    }
}

/// A list of lists of names.
fn nested(
    r: &mut Reader<'_, '_>,
    key: &'static str,
    file: FileId,
    sink: &Sink,
) -> Option<At<Vec<Vec<String>>>> {
    let value = r.value(key)?;
    let place = Place::new(file, value.span());
    let DeValue::Array(lists) = value.get_ref() else {
        let message = format!("`{key}`: a list of lists of contact names, as in [[\"1\", \"2\"], [\"3\"]]");
        sink.push(Diagnostic::error("wrong-type", place, message));
        return None;
    };
    let lists = lists.iter().filter_map(|list| texts_of(list, file, key, sink));
    let value = lists.map(|l| l.value.into_iter().map(|name| name.value).collect()).collect();
    Some(At { value, place })
}

pub(in crate::definition) struct RawWire {
    pub place: Place,
    pub id: Option<At<String>>,
    pub from: Option<At<String>>,
    pub to: Option<At<String>>,
    pub gauge: Option<At<Gauge>>,
    pub colour: Option<At<String>>,
    pub length: Option<At<Metres>>,
    pub route: Option<At<Vec<At<String>>>>,
    pub circuit: Option<At<String>>,
    pub twisted: Option<At<String>>,
    pub shield: Option<At<String>>,
    pub hazard: Option<At<String>>,
}

impl RawWire {
    /// Reads a wire; a variant's wire may leave out what does not change.
    pub(super) fn read(r: &mut Reader<'_, '_>, whole: bool) -> Self {
        let mut must = |key| if whole { r.required_text(key) } else { r.text(key) };
        let (id, from, to) = (must("id"), must("from"), must("to"));
        Self {
            place: id.as_ref().map_or(r.place(), |id| id.place),
            id,
            from,
            to,
            gauge: r.gauge("gauge"),
            colour: r.text("colour"),
            length: r.quantity("length"),
            route: r.texts("route"),
            circuit: r.text("circuit"),
            twisted: r.text("twisted"),
            shield: r.text("shield"),
            hazard: r.text("hazard"),
        }
    }

    /// Lays what a variant says over what the harness says.
    pub(super) fn overlay(&mut self, other: Self) {
        over(&mut self.from, other.from);
        over(&mut self.to, other.to);
        over(&mut self.gauge, other.gauge);
        over(&mut self.colour, other.colour);
        over(&mut self.length, other.length);
        over(&mut self.route, other.route);
        over(&mut self.circuit, other.circuit);
        over(&mut self.twisted, other.twisted);
        over(&mut self.shield, other.shield);
        over(&mut self.hazard, other.hazard);
    }
}

/// Replaces a slot by what is laid over it, if anything is.
pub(super) fn over<T>(slot: &mut Option<T>, other: Option<T>) {
    if other.is_some() {
        *slot = other;
    }
}
