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
        let bound = |slot: &Option<At<String>>| slot.as_ref().and_then(|text| self.bound(kind, text));
        let (low, high) = (bound(&raw.low), bound(&raw.high));
        if low.is_none() && high.is_none() && raw.low.is_none() && raw.high.is_none() {
            let message = "a limit needs `low`, `high` or both";
            self.error("limit", raw.place, message, None);
        }
        if let (Some(low), Some(high)) = (low, high)
            && low > high
        {
            self.error("limit", raw.place, "`low` is above `high`", Some("exchange them".to_owned()));
        }
        Some(Limit {
            title: raw.title.as_ref().map(|t| t.value.clone()).unwrap_or_default(),
            kind,
            red: red?,
            black: black?,
            unplugged: raw.unplugged.iter().filter_map(|name| self.mating(name)).collect(),
            set: raw.set.iter().filter_map(|(switch, position)| self.position(switch, position)).collect(),
            conditions: raw.conditions.iter().filter_map(|name| self.condition(name)).collect(),
            low,
            high,
            source: raw.source.as_ref().map(|s| s.value.clone()).unwrap_or_default(),
            place: raw.place,
        })
    }

    /// A point a probe can touch; the chassis is one of them.
    fn probe(&self, name: &At<String>) -> Option<Point> {
        match self.harness.point(&name.value) {
            Ok(point) => Some(point),
            Err(error) => {
                self.point_error(name, &error);
                None
            }
        }
    }

    fn bound(&self, kind: Kind, text: &At<String>) -> Option<f64> {
        let parsed = if kind.is_resistance() {
            units::parse::<Ohms>(&text.value).map(Quantity::base)
        } else {
            units::parse_signed::<Volts>(&text.value).map(Quantity::base)
        };
        match parsed {
            Ok(value) => Some(value),
            Err(error) => {
                self.error("quantity", text.place, error.to_string(), Some(error.suggest().to_owned()));
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
            self.error("unknown-name", switch.place, format!("{} is not a switch", switch.value), None);
            return None;
        };
        let at = positions.iter().position(|p| p.name == position.value);
        if at.is_none() {
            let known: Vec<&str> = positions.iter().map(|p| p.name.as_str()).collect();
            let message = format!("{} has no position `{}`", switch.value, position.value);
            let help = format!("its positions are: {}", known.join(", "));
            self.error("unknown-name", position.place, message, Some(help));
        }
        Some((part, at?))
    }
}
