//! Parts, as written.
//!
//! A part is read as one bag of optional keys; which of them a kind needs, and which it must not
//! have, is the resolver's business, so that a variant can change any of them.

use crate::definition::diagnostic::{At, FileId, Place, Sink};
use crate::definition::reader::{Reader, pairs_of};
use crate::units::{Amps, Ohms, Volts};

use super::wiring::over;

pub(in crate::definition) type Pairs = Vec<[At<String>; 2]>;

/// The positions of a switch, each with the ways that are closed in it.
type Positions = Vec<(At<String>, Pairs)>;

#[derive(Default)]
pub(in crate::definition) struct RawPart {
    /// The keys that are written, be their values good or not.
    pub written: Vec<String>,
    pub kind: Option<At<String>>,
    pub title: Option<At<String>>,
    pub station: Option<At<String>>,
    pub hazard: Option<At<String>>,
    pub critical: Option<At<bool>>,
    pub duty: Option<At<String>>,
    pub volts: Option<At<Volts>>,
    pub internal: Option<At<Ohms>>,
    pub most: Option<At<Amps>>,
    pub plus: Option<At<String>>,
    pub minus: Option<At<String>>,
    pub sense: Option<At<String>>,
    pub when: Option<At<String>>,
    pub rating: Option<At<Amps>>,
    pub between: Option<At<[At<String>; 2]>>,
    pub rest: Option<At<String>>,
    pub positions: Option<At<Positions>>,
    /// Some position could not be read, and has had its own error.
    pub positions_broken: bool,
    pub coil: Option<At<[At<String>; 2]>>,
    pub coil_ohms: Option<At<Ohms>>,
    pub operate: Option<At<Volts>>,
    pub released: Option<At<Pairs>>,
    pub operated: Option<At<Pairs>>,
    pub anode: Option<At<String>>,
    pub cathode: Option<At<String>>,
    pub drop: Option<At<Volts>>,
    pub ohms: Option<At<Ohms>>,
    pub cold_ohms: Option<At<Ohms>>,
    pub functions: Option<At<Vec<RawFunction>>>,
}

pub(in crate::definition) struct RawFunction {
    pub place: Place,
    pub title: Option<At<String>>,
    pub output: Option<At<String>>,
    pub supply: Option<At<String>>,
    pub ground: Option<At<String>>,
    pub when: Vec<At<String>>,
}

impl RawPart {
    pub(super) fn read(r: &mut Reader<'_, '_>, file: FileId, sink: &Sink) -> Self {
        let before = sink.errors();
        let positions = read_positions(r, file, sink);
        let positions_broken = sink.errors() > before || sink.is_full();
        Self {
            positions,
            positions_broken,
            written: r.written().map(str::to_owned).collect(),
            kind: r.text("kind"),
            title: r.text("title"),
            station: r.text("station"),
            hazard: r.text("hazard"),
            critical: r.flag("critical"),
            duty: r.text("duty"),
            volts: r.positive("volts"),
            internal: r.positive("internal"),
            most: r.positive("most"),
            plus: r.text("plus"),
            minus: r.text("minus"),
            sense: r.text("sense"),
            when: r.text("when"),
            rating: r.positive("rating"),
            between: r.pair("between"),
            rest: r.text("rest"),
            coil: r.pair("coil"),
            coil_ohms: r.positive("coil_ohms"),
            operate: r.positive("operate"),
            released: r.pairs("released"),
            operated: r.pairs("operated"),
            anode: r.text("anode"),
            cathode: r.text("cathode"),
            drop: r.quantity("drop"),
            ohms: r.positive("ohms"),
            cold_ohms: r.positive("cold_ohms"),
            functions: read_functions(r, file, sink),
        }
    }

    /// Whether a key is written, be its value good or not.
    pub(in crate::definition) fn has(&self, key: &str) -> bool {
        self.written.iter().any(|written| written == key)
    }

    /// Every key that is present, for the check that the kind knows it.
    pub(in crate::definition) fn present(&self) -> Vec<(&'static str, Place)> {
        fn at<T>(key: &'static str, slot: Option<&At<T>>) -> Option<(&'static str, Place)> {
            slot.map(|s| (key, s.place))
        }
        [
            at("volts", self.volts.as_ref()),
            at("internal", self.internal.as_ref()),
            at("most", self.most.as_ref()),
            at("plus", self.plus.as_ref()),
            at("minus", self.minus.as_ref()),
            at("sense", self.sense.as_ref()),
            at("when", self.when.as_ref()),
            at("rating", self.rating.as_ref()),
            at("between", self.between.as_ref()),
            at("rest", self.rest.as_ref()),
            at("positions", self.positions.as_ref()),
            at("coil", self.coil.as_ref()),
            at("coil_ohms", self.coil_ohms.as_ref()),
            at("operate", self.operate.as_ref()),
            at("released", self.released.as_ref()),
            at("operated", self.operated.as_ref()),
            at("anode", self.anode.as_ref()),
            at("cathode", self.cathode.as_ref()),
            at("drop", self.drop.as_ref()),
            at("ohms", self.ohms.as_ref()),
            at("cold_ohms", self.cold_ohms.as_ref()),
            at("function", self.functions.as_ref()),
            at("critical", self.critical.as_ref()),
            at("duty", self.duty.as_ref()),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    /// Lays what a variant says over what the harness says.
    pub(super) fn overlay(&mut self, other: Self) {
        if other.has("positions") {
            self.positions_broken = other.positions_broken;
        }
        over(&mut self.kind, other.kind);
        over(&mut self.title, other.title);
        over(&mut self.station, other.station);
        over(&mut self.hazard, other.hazard);
        over(&mut self.critical, other.critical);
        over(&mut self.duty, other.duty);
        over(&mut self.volts, other.volts);
        over(&mut self.internal, other.internal);
        over(&mut self.most, other.most);
        over(&mut self.plus, other.plus);
        over(&mut self.minus, other.minus);
        over(&mut self.sense, other.sense);
        over(&mut self.when, other.when);
        over(&mut self.rating, other.rating);
        over(&mut self.between, other.between);
        over(&mut self.rest, other.rest);
        over(&mut self.positions, other.positions);
        over(&mut self.coil, other.coil);
        over(&mut self.coil_ohms, other.coil_ohms);
        over(&mut self.operate, other.operate);
        over(&mut self.released, other.released);
        over(&mut self.operated, other.operated);
        over(&mut self.anode, other.anode);
        over(&mut self.cathode, other.cathode);
        over(&mut self.drop, other.drop);
        over(&mut self.ohms, other.ohms);
        over(&mut self.cold_ohms, other.cold_ohms);
        over(&mut self.functions, other.functions);
        self.written.extend(other.written);
    }
}

fn read_positions(r: &mut Reader<'_, '_>, file: FileId, sink: &Sink) -> Option<At<Positions>> {
    let value = r.value("positions")?;
    let place = Place::new(file, value.span());
    let names = r.named("positions", "[part.NAME.positions]");
    if !matches!(value.get_ref(), toml::de::DeValue::Table(_)) {
        return None;
    }
    let positions = names.into_iter().filter_map(|(name, value)| {
        let pairs = pairs_of(value, file, &name.value, sink)?;
        Some((name, pairs.value))
    });
    Some(At { value: positions.collect(), place })
}

fn read_functions(r: &mut Reader<'_, '_>, file: FileId, sink: &Sink) -> Option<At<Vec<RawFunction>>> {
    let items = r.list("function", "[[part.NAME.function]]");
    let place = Place::new(file, items.first()?.span());
    let mut functions = Vec::new();
    for value in items {
        let Some(mut inner) = Reader::of_value(value, file, "a function", sink) else { continue };
        functions.push(RawFunction {
            place: inner.place(),
            title: inner.text("title"),
            output: inner.required_text("output"),
            supply: inner.required_text("supply"),
            ground: inner.text("return"),
            when: inner.texts("when").map(|l| l.value).unwrap_or_default(),
        });
        inner.finish();
    }
    Some(At { value: functions, place })
}
