//! Differences of wires.
//!
//! Comes in: two matched revisions. Goes out: changes. Why: a wire is what gets cut, pinned and tested; and how it is
//! twisted matters although no reading with direct current shows it.

use std::collections::BTreeMap;

use super::change::{Change, Effect, Subject, What, alone};
use super::things::{Comparer, LABEL, PROVEN, reason, renamed};
use crate::definition::{Id, TrunkId, Wire, WireId};
use crate::units::Gauge;

/// What is said of a wire that is in use for something else.
const NETS: &str = "the nets are not what they were";
/// What is said of a wire that goes another way between the same nets.
const WAY: &str = "the nets of the machine are the same; the way there is another";

impl Comparer<'_> {
    /// Compares all wires.
    pub(super) fn wiring(&mut self) {
        let both = self.both;
        for pair in &both.wires.pairs {
            self.wire(*pair);
        }
        for side in 0..2 {
            let harness = both.harness[side];
            for id in &both.wires.alone[side] {
                let wire = &harness.wires[*id];
                let effect = self.effect(side, &wire.ends).min(Effect::Limits);
                let words = wire.ends.map(|end| harness.point_name(end)).join(" to ");
                self.changes.push(alone(side, Subject::Wire, wire.id.clone(), effect, words, reason(effect)));
            }
        }
        self.marks(Subject::Twist, |wire| wire.twisted.as_deref());
        self.marks(Subject::Shield, |wire| wire.shield.as_deref());
    }

    fn wire(&mut self, ids: [WireId; 2]) {
        let both = self.both;
        let [old, new]: [&Wire; 2] = [0, 1].map(|side| &both.harness[side].wires[ids[side]]);
        let keys = [(0, old), (1, new)].map(|(side, wire)| {
            let mut keys = wire.ends.map(|end| both.key(side, end));
            keys.sort_unstable();
            keys
        });
        let moved = keys[0] != keys[1];
        let same_route = old.route.iter().map(|id| both.trunk(*id)).eq(new.route.iter().map(|id| Some(*id)))
            || old.route.iter().rev().map(|id| both.trunk(*id)).eq(new.route.iter().map(|id| Some(*id)));
        if !moved && same_route && is_same(old, new) {
            return;
        }
        let changed = moved
            && [(0, old), (1, new)]
                .into_iter()
                .any(|(side, wire)| wire.ends.into_iter().any(|end| self.ends.changed_at(both, side, end)));
        let routes = [route(both.harness[0], old), route(both.harness[1], new)];
        let ends = [(0, old), (1, new)]
            .map(|(side, wire)| wire.ends.map(|end| both.harness[side].point_name(end)).join(" to "));
        let mut differ = self.differ(Subject::Wire, [&old.id, &new.id]);
        renamed(&mut differ, [&old.id, &new.id], if moved { "told by one of its ends" } else { PROVEN });
        if moved {
            let (effect, why) = if changed { (Effect::Electrical, NETS) } else { (Effect::Limits, WAY) };
            differ.push(effect, What::Moved, ends, why);
        }
        let gauges = [old.gauge, new.gauge];
        if gauges[0] != gauges[1] {
            let why = "its resistance and what it may carry are others";
            let texts = gauges.map(|gauge| gauge.map(words).unwrap_or_default());
            differ.push(Effect::Limits, What::Value("gauge"), texts, why);
        }
        differ.quantity(Effect::Limits, "length", [old.length, new.length], "its resistance is another");
        differ.option(
            Effect::Paper,
            "colour",
            [old.colour.as_ref(), new.colour.as_ref()],
            "what one looks for",
        );
        if !same_route {
            let why = "it lies beside other wires, and may touch them";
            differ.push(Effect::Limits, What::Value("route"), routes, why);
        }
        differ.option(Effect::Paper, "circuit", [old.circuit.as_ref(), new.circuit.as_ref()], LABEL);
        let why = "how it may be probed";
        differ.option(Effect::Limits, "hazard", [old.hazard.as_ref(), new.hazard.as_ref()], why);
        let why = "what it may carry";
        differ.quantity(Effect::Limits, "ampacity", [old.ampacity, new.ampacity], why);
        differ.quantity(Effect::Limits, "rated", [old.rated, new.rated], why);
    }

    /// Compares which wires are together; the name of that is on paper alone.
    fn marks(&mut self, subject: Subject, mark: impl Fn(&Wire) -> Option<&str>) {
        const TOGETHER: &str = "proven harmless: the same wires are together";
        const WHY: &str = "other wires are together: no reading with direct current shows it";
        let both = self.both;
        // A wire by its old number, or past those by its new one.
        let count = both.harness[0].wires.len();
        let number = |side: usize, id: WireId| {
            if side == 0 { id.index() } else { both.old_wire(id).map_or(count + id.index(), Id::index) }
        };
        let groups = [0, 1].map(|side| {
            let mut groups: BTreeMap<&str, Vec<(usize, WireId)>> = BTreeMap::new();
            for (id, wire) in both.harness[side].wires.iter() {
                if let Some(mark) = mark(wire) {
                    groups.entry(mark).or_default().push((number(side, id), id));
                }
            }
            for group in groups.values_mut() {
                group.sort_unstable();
            }
            groups
        });
        let set = |group: &[(usize, WireId)]| group.iter().map(|(number, _)| *number).collect::<Vec<_>>();
        let words = |side: usize, group: &[(usize, WireId)]| {
            let name = |(_, id): &(usize, WireId)| both.harness[side].wires[*id].id.clone();
            group.iter().map(name).collect::<Vec<_>>().join(" ")
        };
        let mut by_set: BTreeMap<Vec<usize>, &str> =
            groups[1].iter().map(|(mark, group)| (set(group), *mark)).collect();
        let mut left = BTreeMap::new();
        for (mark, group) in &groups[0] {
            match by_set.remove(&set(group)) {
                Some(other) => renamed(&mut self.differ(subject, [mark, other]), [mark, other], TOGETHER),
                None => drop(left.insert(*mark, words(0, group))),
            }
        }
        let mut news: BTreeMap<&str, String> =
            by_set.into_values().map(|mark| (mark, words(1, &groups[1][mark]))).collect();
        for (mark, before) in left {
            match news.remove(mark) {
                Some(after) => self.differ(subject, [mark, mark]).push(
                    Effect::Electrical,
                    What::Value("wires"),
                    [before, after],
                    WHY,
                ),
                None => self.changes.push(lone(0, subject, mark, before, WHY)),
            }
        }
        self.changes.extend(news.into_iter().map(|(mark, after)| lone(1, subject, mark, after, WHY)));
    }
}

/// Whether nothing that is said of a wire, but where it goes, differs: so it is with most, and they need no texts.
fn is_same(old: &Wire, new: &Wire) -> bool {
    (&old.id, old.gauge, &old.colour, old.length) == (&new.id, new.gauge, &new.colour, new.length)
        && (&old.circuit, &old.hazard, old.ampacity, old.rated)
            == (&new.circuit, &new.hazard, new.ampacity, new.rated)
}

fn lone(side: usize, subject: Subject, mark: &str, words: String, why: &'static str) -> Change {
    alone(side, subject, mark.to_owned(), Effect::Electrical, words, why)
}

fn route(harness: &crate::definition::Harness, wire: &Wire) -> String {
    let name = |id: &TrunkId| harness.trunks[*id].id.clone();
    wire.route.iter().map(name).collect::<Vec<_>>().join(" ")
}

/// A gauge with all its digits.
pub(super) fn words(gauge: Gauge) -> String {
    match gauge {
        Gauge::Metric(area) => format!("{area:.9}"),
        other => other.to_string(),
    }
}
