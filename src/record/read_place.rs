//! Reading an entry that tells a place.

use super::place::{self, PlaceError, PlaceKind, PlaceReading, Shown};
use super::read::{Context, State};
use crate::definition::diagnostic::At;
use crate::definition::reader::Reader;
use crate::definition::{Harness, Named, Point, WireId};
use crate::units::{self, Ohms};

/// What instruments showed, as far as it could be understood.
struct Figures {
    value: Option<Shown>,
    far: Option<Shown>,
    whole: Option<Shown>,
    arms: Option<f64>,
    velocity: Option<f64>,
    leads: Option<Ohms>,
    plus_minus: Option<Shown>,
}

impl Context<'_> {
    /// The rest of an entry whose kind tells a place. What a kind does not use is an unknown key.
    pub(super) fn place_reading(
        &self,
        r: &mut Reader<'_, '_>,
        kind: PlaceKind,
        number: usize,
    ) -> Option<PlaceReading> {
        let start = r.place();
        let state = self.state(r);
        let figures = self.figures(r, kind);
        let along = r.texts("along");
        let back = if kind.is_loop() { r.texts("back") } else { None };
        let step = r.text("step").map(|text| text.value);
        let mut plain = |key| r.text(key).map(|t| t.value).filter(|t| !t.is_empty());
        let (meter, by, note) = (plain("meter"), plain("by"), plain("note"));
        let State { at, red, black, setup } = state?;
        let along = self.conductor(red?, along.as_ref().map(|l| &l.value[..]), "along", r)?;
        let back = match back {
            None if !kind.is_loop() || is_frame(self.harness, black?) => Vec::new(),
            back => self.conductor(black?, back.as_ref().map(|l| &l.value[..]), "back", r)?,
        };
        let Figures { value, far, whole, arms, velocity, leads, plus_minus } =
            self.whole(r, kind, figures)?;
        Some(PlaceReading {
            number,
            at,
            step,
            kind,
            red: red?,
            black: black?,
            setup: setup?,
            along,
            back,
            value: value?,
            far,
            whole,
            arms,
            velocity,
            leads,
            plus_minus,
            meter,
            by,
            note,
            place: start,
        })
    }

    /// What instruments showed. Of the keys that only some kinds have, the others are not asked for.
    fn figures(&self, r: &mut Reader<'_, '_>, kind: PlaceKind) -> Figures {
        let value = r.required_text("value");
        let value = value.and_then(|text| self.understood(&text, "value", |text| kind.value(text)));
        let like = |key, text: Option<At<String>>, read: &dyn Fn(&str) -> Result<Shown, PlaceError>| {
            let text = text?;
            let shown = self.understood(&text, key, read)?;
            if value.is_some_and(|value| kind != PlaceKind::Murray && !shown.is_like(value)) {
                let help = format!("write `{key}` in the unit of `value`").into();
                self.error(text.place, format!("`{key}` and `value` are of different units"), help);
                return None;
            }
            Some(shown)
        };
        let far = match kind {
            PlaceKind::Loop => r.required_text("far"),
            PlaceKind::Capacitance => r.text("far"),
            _ => None,
        };
        let far = like("far", far, &|text| kind.value(text));
        let whole = like("whole", r.text("whole"), &|text| kind.whole(text));
        let plus_minus = like("plus_minus", r.text("plus_minus"), &|text| kind.value(text));
        let arms = if kind == PlaceKind::Varley { r.text("arms") } else { None };
        let arms = arms.and_then(|text| self.understood(&text, "arms", place::share));
        let velocity = if kind == PlaceKind::Reflection { r.text("velocity") } else { None };
        let velocity = velocity.and_then(|text| self.understood(&text, "velocity", place::velocity));
        let leads = if kind.is_loop() { r.text("leads") } else { None };
        let leads = leads.and_then(|text| {
            self.understood(&text, "leads", |text| units::parse::<Ohms>(text).map_err(PlaceError::from))
        });
        Figures { value, far, whole, arms, velocity, leads, plus_minus }
    }

    fn understood<T>(
        &self,
        text: &At<String>,
        key: &str,
        read: impl Fn(&str) -> Result<T, PlaceError>,
    ) -> Option<T> {
        match read(&text.value) {
            Ok(value) => Some(value),
            Err(error) => {
                self.error(text.place, format!("`{key}`: {error}"), Some(error.help));
                None
            }
        }
    }

    /// The figures, if the formula has all it needs. What is missing because it was wrong has had its error.
    fn whole(&self, r: &Reader<'_, '_>, kind: PlaceKind, figures: Figures) -> Option<Figures> {
        let Figures { value, far, whole, velocity, .. } = &figures;
        let (enough, wanted) = match kind {
            PlaceKind::Loop => (far.is_some(), &[][..]),
            PlaceKind::Capacitance => (far.is_some() || whole.is_some(), &["far", "whole"][..]),
            PlaceKind::Reflection => (velocity.is_some() || whole.is_some(), &["velocity", "whole"][..]),
            PlaceKind::Murray | PlaceKind::Varley => (true, &[][..]),
        };
        if enough {
            return value.is_some().then_some(figures);
        }
        if !wanted.is_empty() && !wanted.iter().any(|key| r.has(key)) {
            let (message, help) = if kind == PlaceKind::Capacitance {
                (
                    "one capacitance alone tells no distance",
                    "add far = \"…\", read from the other end, or whole = \"…\", of a sound wire of this length",
                )
            } else {
                (
                    "a reflection tells no distance while the pulse's speed is not known",
                    "add velocity = \"66 %\" (66 % to 80 % is usual for pairs and coaxial leads), or whole = \"…\", to the \
                     far end of a sound wire of this length",
                )
            };
            self.error(r.place(), message, Some(help.to_owned()));
        }
        None
    }

    /// The wires of one conductor from a point on, in order: those named, or the only one that ends there.
    fn conductor(
        &self,
        from: Point,
        named: Option<&[At<String>]>,
        key: &str,
        r: &Reader<'_, '_>,
    ) -> Option<Vec<WireId>> {
        let harness = self.harness;
        let Some(named) = named else {
            let mut here = harness.wires_at(from);
            if let (Some(wire), None) = (here.next(), here.next()) {
                return Some(vec![wire]);
            }
            let at = harness.point_name(from);
            let ids: Vec<&str> = harness.wires_at(from).map(|wire| harness.wires[wire].id.as_str()).collect();
            let (message, help) = match &ids[..] {
                [] => {
                    (format!("no wire ends at {at}"), "connect the instrument where the wire ends".to_owned())
                }
                _ => (
                    format!("several wires end at {at}: {}", ids.join(", ")),
                    format!("name those that the reading goes along: {key} = [{:?}]", ids[0]),
                ),
            };
            self.error(r.place(), message, Some(help));
            return None;
        };
        let mut at = from;
        let mut wires = Vec::new();
        for name in named {
            let Some(Named::Wire(wire)) = harness.names.get(&name.value) else {
                let near = harness.names.nearest(&name.value, |named| matches!(named, Named::Wire(_)));
                let help = near.map(|near| format!("did you mean `{near}`?"));
                self.error(name.place, format!("no wire is called `{}`", name.value), help);
                return None;
            };
            let Some(next) = far_end(harness, at, wire) else {
                let message = format!("wire {} does not go on from {}", name.value, harness.point_name(at));
                let help = format!("name the wires in order from {}", harness.point_name(from));
                self.error(name.place, message, Some(help));
                return None;
            };
            at = next;
            wires.push(wire);
        }
        if wires.is_empty() {
            self.error(r.place(), format!("`{key}` names no wire"), Some(format!("write {key} = [\"…\"]")));
            return None;
        }
        Some(wires)
    }
}

/// The other end of a wire that begins at a point, or at the contact that is mated with it.
pub(crate) fn far_end(harness: &Harness, from: Point, wire: WireId) -> Option<Point> {
    let mate = match from {
        Point::Contact(id) => harness.contacts[id].mate.map(Point::Contact),
        _ => None,
    };
    let ends = harness.wires[wire].ends;
    let side = ends.iter().position(|end| *end == from || Some(*end) == mate)?;
    Some(ends[1 - side])
}

/// The chassis, or a terminal that is bonded to it.
pub(crate) fn is_frame(harness: &Harness, point: Point) -> bool {
    match point {
        Point::Chassis => true,
        Point::Terminal(id) => harness.terminals[id].ground,
        _ => false,
    }
}
