//! Limits: what the maker demands of a reading.

use super::Resolver;
use crate::definition::diagnostic::At;
use crate::definition::model::{Kind, Limit, MatingId, PartId, PartKind, Point};
use crate::definition::schema::{Draft, RawLimit};
use crate::units::{self, Ohms, Quantity, Volts};

impl<'a> Resolver<'a> {
    pub(super) fn limits(&mut self, draft: &'a Draft) {
        for raw in &draft.limits {
            if let Some(limit) = self.limit(raw) {
                self.harness.limits.push(limit);
            }
        }
    }

    fn limit(&self, raw: &RawLimit) -> Option<Limit> {
        let word = raw.kind.as_ref()?;
        let Some(kind) = Kind::parse(&word.value) else {
            let known: Vec<&str> = Kind::ALL.iter().map(|(word, _)| *word).collect();
            let help = format!("known kinds: {}", known.join(", "));
            self.error(
                "limit",
                word.place,
                format!("no kind of reading is called `{}`", word.value),
                Some(help),
            );
            return None;
        };
        let probe = |slot: &Option<At<String>>| slot.as_ref().and_then(|name| self.probe(name));
        let (red, black) = (probe(&raw.red), probe(&raw.black));
        if let (Some(red), Some(black), Some(name)) = (red, black, &raw.black)
            && red == black
        {
            let message = format!("both probes of the limit are on {}", name.value);
            self.error("limit", name.place, message, Some("put them on two different points".to_owned()));
        }
        let (low, high) = self.bounds(kind, raw);
        let unplugged = raw.unplugged.iter().filter_map(|name| self.mating(name)).collect();
        let set = raw.set.iter().filter_map(|(switch, position)| self.position(switch, position)).collect();
        let conditions = raw.conditions.iter().filter_map(|name| self.condition(name)).collect();
        Some(Limit {
            title: raw.title.as_ref().map(|t| t.value.clone()).unwrap_or_default(),
            kind,
            red: red?,
            black: black?,
            unplugged,
            set,
            conditions,
            low,
            high,
            source: raw.source.as_ref().map(|s| s.value.clone()).unwrap_or_default(),
            place: raw.place,
        })
    }

    fn bounds(&self, kind: Kind, raw: &RawLimit) -> (Option<f64>, Option<f64>) {
        let bound = |key: &str, slot: &Option<At<String>>| self.bound(kind, key, slot.as_ref()?);
        let (low, high) = (bound("low", &raw.low), bound("high", &raw.high));
        if !raw.has_bound {
            let example = if kind.is_resistance() { "\"0.4 ohm\"" } else { "\"27.4 V\"" };
            let help = format!("add low = {example}, or high = {example}, or both");
            self.error("limit", raw.place, "the limit sets no bound", Some(help));
        }
        if let (Some(bottom), Some(top), Some(place)) = (low, high, raw.low.as_ref().map(|l| l.place))
            && bottom > top
        {
            self.error("limit", place, "`low` is above `high`", Some("exchange them".to_owned()));
        }
        (low, high)
    }

    /// A point a probe can touch; the chassis is one of them.
    fn probe(&self, name: &At<String>) -> Option<Point> {
        match self.named_point(&name.value) {
            Ok(point) => Some(point),
            Err(error) => {
                self.point_error(name, &error);
                None
            }
        }
    }

    fn bound(&self, kind: Kind, key: &str, text: &At<String>) -> Option<f64> {
        let parsed = if kind.is_resistance() {
            units::parse::<Ohms>(&text.value).map(Quantity::base)
        } else {
            units::parse_signed::<Volts>(&text.value).map(Quantity::base)
        };
        match parsed {
            Ok(value) => Some(value),
            Err(error) => {
                let message = format!("`{key}`: {error}");
                self.error("quantity", text.place, message, Some(error.suggest().to_owned()));
                None
            }
        }
    }

    fn mating(&self, name: &At<String>) -> Option<MatingId> {
        let connector = self.harness.names.connector(&name.value);
        let mating = connector.and_then(|c| self.harness.connectors[c].mating);
        if mating.is_none() {
            let message = format!("`{}` is not a connector that can be unplugged", name.value);
            self.error(
                "unknown-name",
                name.place,
                message,
                Some("name a connector that has a mate".to_owned()),
            );
        }
        mating
    }

    fn position(&self, switch: &At<String>, position: &At<String>) -> Option<(PartId, usize)> {
        let part = self.part(switch)?;
        let PartKind::Switch { positions, .. } = &self.harness.parts[part].kind else {
            let message =
                format!("`{}` is a {}, not a switch", switch.value, self.harness.parts[part].kind.word());
            let help = "only switches can be set: take it out, or name a switch".to_owned();
            self.error("unknown-name", switch.place, message, Some(help));
            return None;
        };
        let at = positions.iter().position(|p| p.name == position.value);
        if at.is_none() {
            let known: Vec<&str> = positions.iter().map(|p| p.name.as_str()).collect();
            let message = format!("switch {} has no position `{}`", switch.value, position.value);
            let help = format!("its positions are: {}", known.join(", "));
            self.error("unknown-name", position.place, message, Some(help));
        }
        Some((part, at?))
    }
}
