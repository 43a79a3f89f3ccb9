//! Connectors, pins, faces and wires, as written.

use toml::de::DeValue;

use crate::definition::diagnostic::{At, Diagnostic, FileId, Place, Sink};
use crate::definition::reader::{Reader, Value, lists_of, texts_of};
use crate::units::{self, Amps, Celsius, Degrees, Gauge, Metres, Quantity, Seconds};

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
    pub contact_size: Option<At<String>>,
    pub pins: Vec<(At<String>, RawPin)>,
}

/// `contacts = ["A", "B"]` or `contacts = 50`.
pub(in crate::definition) struct ContactNames {
    pub place: Place,
    /// Empty where the value made no sense.
    listed: Vec<At<String>>,
    count: usize,
}

impl ContactNames {
    /// The names; of a count, 1 to N. They are made when they are asked for, so that a file that asks for
    /// many costs nothing before it is refused.
    pub(in crate::definition) fn names(&self) -> Vec<At<String>> {
        let counted = (1..=self.count).map(|n| At { value: n.to_string(), place: self.place });
        self.listed.iter().cloned().chain(counted).collect()
    }
}

#[derive(Default)]
pub(in crate::definition) struct RawPin {
    pub signal: Option<At<String>>,
    pub joined: Option<At<bool>>,
    pub also: Vec<At<String>>,
    pub spare: Option<At<bool>>,
    pub plugged: Option<At<bool>>,
    pub contact_size: Option<At<String>>,
    pub amps: Option<At<Amps>>,
}

impl RawConnector {
    pub(super) fn read(r: &mut Reader<'_, '_>, file: FileId, sink: &Sink) -> Self {
        let mut pins = Vec::new();
        for (name, value) in r.named("pin", "[connector.NAME.pin.CONTACT]") {
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
            contact_size: r.text("contact_size"),
            pins,
        }
    }
}

fn read_contacts(r: &mut Reader<'_, '_>, file: FileId, sink: &Sink) -> Option<ContactNames> {
    let value = r.value("contacts")?;
    let place = Place::new(file, value.span());
    let mut found = ContactNames { place, listed: Vec::new(), count: 0 };
    let count = |text: &str| text.parse::<usize>().ok().filter(|n| (1..=MOST_CONTACTS).contains(n));
    let good = match value.get_ref() {
        DeValue::Integer(number) => {
            found.count = count(number.as_str()).unwrap_or(0);
            found.count > 0
        }
        DeValue::Array(items) if !items.is_empty() => {
            found.listed = texts_of(value, file, "contacts", sink).map(|l| l.value).unwrap_or_default();
            true
        }
        _ => false,
    };
    if !good {
        let message = format!("`contacts` is a count from 1 to {MOST_CONTACTS} or a list of names");
        let help = "write contacts = 2 or contacts = [\"A\", \"B\"]";
        sink.push(Diagnostic::error("contacts", place, message).help(help));
    }
    Some(found)
}

impl RawPin {
    pub(super) fn read(r: &mut Reader<'_, '_>) -> Self {
        Self {
            signal: r.text("signal"),
            joined: r.flag("joined"),
            also: r.texts("also").map(|l| l.value).unwrap_or_default(),
            spare: r.flag("spare"),
            plugged: r.flag("plugged"),
            contact_size: r.text("contact_size"),
            amps: r.positive("amps"),
        }
    }

    /// Lays what a variant says over what the harness says.
    pub(super) fn overlay(&mut self, other: Self) {
        over(&mut self.signal, other.signal);
        over(&mut self.joined, other.joined);
        over(&mut self.spare, other.spare);
        over(&mut self.plugged, other.plugged);
        over(&mut self.contact_size, other.contact_size);
        over(&mut self.amps, other.amps);
        if !other.also.is_empty() {
            self.also = other.also;
        }
    }
}

/// Contacts, each to the right of the middle and up from it.
type Points = Vec<(At<String>, [Metres; 2])>;

#[derive(Default)]
pub(in crate::definition) struct RawFace {
    /// Something in it could not be read, and has had its own error.
    pub broken: bool,
    pub shape: Option<At<String>>,
    pub rows: Option<At<Vec<Vec<At<String>>>>>,
    pub rings: Option<At<Vec<Vec<At<String>>>>>,
    pub xy: Option<At<Points>>,
    pub pitch: Option<At<Metres>>,
    pub start: Option<At<Vec<Degrees>>>,
    pub seen: Option<At<String>>,
    pub contact_size: Option<At<Metres>>,
}

impl RawFace {
    pub(super) fn read(r: &mut Reader<'_, '_>, file: FileId, sink: &Sink) -> Self {
        let before = sink.errors();
        let face = Self {
            broken: false,
            shape: r.text("shape"),
            rows: nested(r, "rows", file, sink),
            rings: nested(r, "rings", file, sink),
            xy: read_xy(r, file, sink),
            pitch: r.positive("pitch"),
            start: read_start(r, sink),
            seen: r.text("seen"),
            contact_size: r.positive("contact_size"),
        };
        Self { broken: sink.errors() > before || sink.is_full(), ..face }
    }
}

fn read_start(r: &mut Reader<'_, '_>, sink: &Sink) -> Option<At<Vec<Degrees>>> {
    let At { value, place } = r.texts("start")?;
    let angles = value.iter().filter_map(|text| signed(&text.value, text.place, "start", sink)).collect();
    Some(At { value: angles, place })
}

fn read_xy(r: &mut Reader<'_, '_>, file: FileId, sink: &Sink) -> Option<At<Points>> {
    let entries = r.named("xy", XY);
    let place = Place::new(file, r.value("xy")?.span());
    let points = entries.into_iter().filter_map(|(name, value)| {
        let point = read_point(value, file, sink)?;
        Some((name, point))
    });
    Some(At { value: points.collect(), place })
}

/// How positions are written, for messages.
const XY: &str = "xy = { \"1\" = [\"-2.5 mm\", \"0 mm\"], \"2\" = [\"2.5 mm\", \"0 mm\"] }";

fn read_point(value: &Value<'_>, file: FileId, sink: &Sink) -> Option<[Metres; 2]> {
    let fail = |place: Place, message: &str| {
        let help = format!("write it as {XY}");
        sink.push(Diagnostic::error("face", place, message).help(help));
    };
    let whole = Place::new(file, value.span());
    let DeValue::Array(items) = value.get_ref() else {
        fail(whole, "a position is a list of two lengths: to the right, and up");
        return None;
    };
    let [x, y] = &items[..] else {
        fail(whole, "a position needs two lengths: to the right, and up");
        return None;
    };
    let coordinate = |value: &Value<'_>| {
        let place = Place::new(file, value.span());
        if let DeValue::String(text) = value.get_ref() {
            return signed::<Metres>(text, place, "xy", sink);
        }
        fail(place, "a position is written as texts with their units");
        None
    };
    let (x, y) = (coordinate(x), coordinate(y));
    Some([x?, y?])
}

/// A quantity that may be below zero, such as a coordinate.
fn signed<Q: Quantity>(text: &str, place: Place, key: &str, sink: &Sink) -> Option<Q> {
    match units::parse_signed(text) {
        Ok(value) => Some(value),
        Err(error) => {
            let message = format!("`{key}`: {error}");
            sink.push(Diagnostic::error("quantity", place, message).help(error.suggest()));
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
) -> Option<At<Vec<Vec<At<String>>>>> {
    let value = r.value(key)?;
    let place = Place::new(file, value.span());
    let lists = lists_of(value, file, key, "[[\"1\", \"2\"], [\"3\", \"4\"]]", sink)?;
    let value = lists.iter().filter_map(|list| texts_of(list, file, key, sink)).map(|l| l.value).collect();
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
    pub ampacity: Option<At<Amps>>,
    pub rated: Option<At<Celsius>>,
}

impl RawWire {
    /// Reads a wire; a variant's wire may leave out what does not change.
    pub(super) fn read(r: &mut Reader<'_, '_>, whole: bool) -> Self {
        // A variant's wire has its id in its header.
        let id = if whole { r.required_text("id") } else { None };
        r.identify(id.as_ref());
        let mut must = |key| if whole { r.required_text(key) } else { r.text(key) };
        let (from, to) = (must("from"), must("to"));
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
            ampacity: r.positive("ampacity"),
            rated: r.positive("rated"),
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
        over(&mut self.ampacity, other.ampacity);
        over(&mut self.rated, other.rated);
    }
}

/// Replaces a slot by what is laid over it, if anything is.
pub(super) fn over<T>(slot: &mut Option<T>, other: Option<T>) {
    if other.is_some() {
        *slot = other;
    }
}
