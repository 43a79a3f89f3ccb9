//! Differences of what the manual or the maker demands.
//!
//! Comes in: two matched revisions. Goes out: changes. Why: a limit overrides what is computed, so a reading that was good
//! may be bad by the new revision although no wire changed.

use std::collections::BTreeMap;

use super::change::{Effect, Subject, alone};
use super::keys::Key;
use super::things::{Comparer, LABEL};
use crate::definition::{Id, Kind, Limit};

const WHY: &str = "the reading is judged otherwise";

/// What a limit is of: kind, probes, parted matings by a contact of each, positions of switches, conditions.
type Of = (Kind, [Key; 2], Vec<Key>, Vec<(usize, String)>, Vec<usize>);

impl Comparer<'_> {
    /// Compares all limits.
    pub(super) fn limits(&mut self) {
        let both = self.both;
        let mut known: BTreeMap<Of, Vec<&Limit>> = BTreeMap::new();
        for limit in &both.harness[1].limits {
            known.entry(self.of(1, limit)).or_default().push(limit);
        }
        for limits in known.values_mut() {
            limits.reverse();
        }
        for limit in &both.harness[0].limits {
            match known.get_mut(&self.of(0, limit)).and_then(Vec::pop) {
                Some(other) => self.limit([limit, other]),
                None => self.lone_limit(0, limit),
            }
        }
        let mut left: Vec<&Limit> = known.into_values().flatten().collect();
        left.sort_by_key(|limit| (limit.place.file(), limit.place.span().start));
        for limit in left {
            self.lone_limit(1, limit);
        }
    }

    fn of(&self, side: usize, limit: &Limit) -> Of {
        let both = self.both;
        let harness = both.harness[side];
        let mut parted: Vec<Key> = limit
            .unplugged
            .iter()
            .filter_map(|mating| {
                let mating = &harness.matings[*mating];
                let contacts = [mating.first, mating.second].map(|id| harness.connectors[id].first);
                contacts.map(|id| both.key(side, crate::definition::Point::Contact(id))).into_iter().min()
            })
            .collect();
        parted.sort_unstable();
        // Things of the new revision go by the number of their old partner, or past all of those.
        let old_part = |id: crate::definition::PartId| {
            if side == 0 { Some(id) } else { both.part(1, id) }
                .map_or(both.harness[0].parts.len() + id.index(), Id::index)
        };
        let mut set: Vec<(usize, String)> = limit
            .set
            .iter()
            .map(|(part, at)| (old_part(*part), crate::setup::position_name(harness, *part, *at).to_owned()))
            .collect();
        set.sort();
        let old_condition = |id: crate::definition::ConditionId| {
            let old = both.harness[0].conditions.ids().find(|old| both.condition(*old) == Some(id));
            if side == 0 { Some(id) } else { old }
                .map_or(both.harness[0].conditions.len() + id.index(), Id::index)
        };
        let mut conditions: Vec<usize> = limit.conditions.iter().map(|id| old_condition(*id)).collect();
        conditions.sort_unstable();
        (limit.kind, [limit.red, limit.black].map(|point| both.key(side, point)), parted, set, conditions)
    }

    fn limit(&mut self, limits: [&Limit; 2]) {
        let [old, new] = limits;
        let names = [self.words(0, old), self.words(1, new)];
        let unit = if old.kind.is_resistance() { "ohm" } else { "V" };
        let figure = |value: Option<f64>| {
            value.map(|value| format!("{} {unit}", crate::units::significant(value, 9))).unwrap_or_default()
        };
        let mut differ = self.differ(Subject::Limit, [&names[0], &names[1]]);
        differ.value(Effect::Limits, "low", [old.low, new.low].map(figure), WHY);
        differ.value(Effect::Limits, "high", [old.high, new.high].map(figure), WHY);
        differ.value(Effect::Paper, "title", [old.title.clone(), new.title.clone()], LABEL);
        differ.value(Effect::Paper, "source", [old.source.clone(), new.source.clone()], LABEL);
    }

    fn lone_limit(&mut self, side: usize, limit: &Limit) {
        let name = self.words(side, limit);
        let change = alone(side, Subject::Limit, name, Effect::Limits, limit.title.clone(), WHY);
        self.changes.push(change);
    }

    fn words(&self, side: usize, limit: &Limit) -> String {
        let [red, black] = [limit.red, limit.black].map(|point| self.both.harness[side].point_name(point));
        format!("{} {red} to {black}", limit.kind.word())
    }
}
