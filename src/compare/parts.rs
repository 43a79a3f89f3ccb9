//! Differences of parts.
//!
//! Comes in: two matched revisions. Goes out: changes. Why: a machine with another fuse is another machine, however little
//! of its wiring changed.
//!
//! An end of a part that went to another point of the same net is no electrical change; a part that is written the other
//! way round, where that means nothing, is none at all.

use super::change::{Effect, Subject, What, alone};
use super::keys::Key;
use super::nets::Partition;
use super::things::{Comparer, LABEL, PROVEN, renamed, station_names};
use crate::definition::{ConditionId, Function, Harness, Part, PartId, PartKind, Point, Position};

const VALUE: &str = "another value: currents and voltages are others";
const ENDS: &str = "it is joined to another net";
const SAME_NET: &str = "it is joined to another point of the same net";
const GUIDED: &str = "stricter or other limits hold, or other tests are allowed";

/// Pairs of points that a part joins.
type Ways = [Vec<[Point; 2]>; 2];

impl Comparer<'_> {
    /// Compares all parts.
    pub(super) fn parts(&mut self) {
        let both = self.both;
        for side in 0..2 {
            for (id, part) in both.harness[side].parts.iter() {
                match both.part(side, id) {
                    Some(other) if side == 0 => self.part([id, other]),
                    Some(_) => {}
                    None => {
                        let words = format!("{} {}", part.kind.word(), part.title).trim_end().to_owned();
                        let why = "a part is there that was not, or the other way round";
                        let (name, electrical) = (part.id.clone(), Effect::Electrical);
                        self.changes.push(alone(side, Subject::Part, name, electrical, words, why));
                    }
                }
            }
        }
    }

    fn part(&mut self, ids: [PartId; 2]) {
        let both = self.both;
        let [old, new]: [&Part; 2] = [0, 1].map(|side| &both.harness[side].parts[ids[side]]);
        let stations = station_names(both, [old.station, new.station]);
        let before = self.changes.len();
        self.kind([old, new]);
        let same = self.changes.len() == before;
        let proof = if same { PROVEN } else { "taken for it by what it joins; what differs is listed" };
        let mut differ = self.differ(Subject::Part, [&old.id, &new.id]);
        renamed(&mut differ, [&old.id, &new.id], proof);
        differ.value(Effect::Paper, "title", [old.title.clone(), new.title.clone()], LABEL);
        differ.value(Effect::Paper, "station", stations, LABEL);
        differ.option(Effect::Limits, "hazard", [old.hazard.as_ref(), new.hazard.as_ref()], GUIDED);
        differ.flag(Effect::Limits, "critical", [old.critical, new.critical], GUIDED);
        let spells = [old, new].map(|part| part.duty == crate::definition::Duty::Intermittent);
        differ.flag(Effect::Limits, "intermittent", spells, GUIDED);
    }

    fn kind(&mut self, parts: [&Part; 2]) {
        let names = [parts[0].id.as_str(), parts[1].id.as_str()];
        let words = parts.map(|part| part.kind.word().to_owned());
        let electrical = Effect::Electrical;
        self.differ(Subject::Part, names).value(electrical, "kind", words, "another kind of part");
        match (&parts[0].kind, &parts[1].kind) {
            (PartKind::Battery { .. } | PartKind::Alternator { .. }, _) => self.source(parts),
            (
                PartKind::Fuse { rating, between, .. },
                PartKind::Fuse { rating: rated, between: other, .. },
            ) => {
                let why = "what it protects is protected otherwise";
                self.differ(Subject::Part, names).quantity(electrical, "rating", [*rating, *rated], why);
                self.ways(parts, "between", &[vec![*between], vec![*other]]);
            }
            (PartKind::Load { .. }, PartKind::Load { .. }) => self.load(parts),
            (PartKind::Switch { .. }, PartKind::Switch { .. }) => self.switch(parts),
            (PartKind::Relay { .. }, PartKind::Relay { .. }) => self.relay(parts),
            (
                PartKind::Diode { anode, cathode, drop },
                PartKind::Diode { anode: a, cathode: c, drop: other },
            ) => {
                self.differ(Subject::Part, names).quantity(
                    electrical,
                    "drop",
                    [Some(drop), Some(other)],
                    VALUE,
                );
                self.end(parts, "anode", [Some(*anode), Some(*a)]);
                self.end(parts, "cathode", [Some(*cathode), Some(*c)]);
            }
            (PartKind::Unit { functions }, PartKind::Unit { functions: other }) => {
                self.functions(parts, [functions, other]);
            }
            // Another kind of part: that says it all.
            _ => {}
        }
    }

    fn source(&mut self, parts: [&Part; 2]) {
        let read = parts.map(|part| match &part.kind {
            PartKind::Battery { volts, internal, plus, minus } => {
                Some((*volts, None, *internal, *plus, *minus, None, None))
            }
            PartKind::Alternator { volts, most, internal, plus, minus, sense, when } => {
                Some((*volts, *most, *internal, *plus, *minus, *sense, *when))
            }
            _ => None,
        });
        let [Some(old), Some(new)] = read else { return };
        let mut differ = self.differ(Subject::Part, [&parts[0].id, &parts[1].id]);
        differ.quantity(Effect::Electrical, "volts", [Some(old.0), Some(new.0)], VALUE);
        differ.quantity(Effect::Electrical, "most", [old.1, new.1], VALUE);
        differ.quantity(Effect::Electrical, "internal", [Some(old.2), Some(new.2)], VALUE);
        self.end(parts, "plus", [Some(old.3), Some(new.3)]);
        self.end(parts, "minus", [Some(old.4), Some(new.4)]);
        self.end(parts, "sense", [old.5, new.5]);
        self.when(parts, [old.6, new.6]);
    }

    fn load(&mut self, parts: [&Part; 2]) {
        let read = parts.map(|part| match &part.kind {
            PartKind::Load { between, ohms, cold_ohms, when, .. } => {
                Some((*between, *ohms, *cold_ohms, *when))
            }
            _ => None,
        });
        let [Some(old), Some(new)] = read else { return };
        let mut differ = self.differ(Subject::Part, [&parts[0].id, &parts[1].id]);
        differ.quantity(Effect::Electrical, "ohms", [Some(old.1), Some(new.1)], VALUE);
        let why = "an ohmmeter sees another resistance";
        differ.quantity(Effect::Limits, "cold_ohms", [old.2, new.2], why);
        self.ways(parts, "between", &[vec![old.0], vec![new.0]]);
        self.when(parts, [old.3, new.3]);
    }

    fn relay(&mut self, parts: [&Part; 2]) {
        let read = parts.map(|part| match &part.kind {
            PartKind::Relay { coil, coil_ohms, operate, released, operated } => {
                Some((*coil, *coil_ohms, *operate, released.clone(), operated.clone()))
            }
            _ => None,
        });
        let [Some(old), Some(new)] = read else { return };
        let mut differ = self.differ(Subject::Part, [&parts[0].id, &parts[1].id]);
        differ.quantity(Effect::Electrical, "coil_ohms", [Some(old.1), Some(new.1)], VALUE);
        differ.quantity(Effect::Electrical, "operate", [Some(old.2), Some(new.2)], VALUE);
        self.ways(parts, "coil", &[vec![old.0], vec![new.0]]);
        self.ways(parts, "released", &[old.3, new.3]);
        self.ways(parts, "operated", &[old.4, new.4]);
    }

    fn switch(&mut self, parts: [&Part; 2]) {
        let (PartKind::Switch { rest, positions }, PartKind::Switch { rest: other_rest, positions: others }) =
            (&parts[0].kind, &parts[1].kind)
        else {
            return;
        };
        let pairs = self.positions([positions, others]);
        for [old, new] in &pairs {
            let why = "a position with another name closes what the old one closed";
            if old.name != new.name {
                let names = [old.name.clone(), new.name.clone()];
                let mut differ = self.differ(Subject::Part, [&parts[0].id, &parts[1].id]);
                differ.value(Effect::Paper, "position", names, why);
            }
            self.ways(parts, "closed", &[old.closed.clone(), new.closed.clone()]);
        }
        let known = |name: &String, side: usize| pairs.iter().any(|pair| pair[side].name == *name);
        let mut left = Vec::new();
        for (side, positions) in [positions, others].into_iter().enumerate() {
            for position in positions.iter().filter(|position| !known(&position.name, side)) {
                let mut texts = [String::new(), String::new()];
                texts[side].clone_from(&position.name);
                left.push(texts);
            }
        }
        let rests = [positions.get(*rest), others.get(*other_rest)].map(|p| p.map(|p| p.name.clone()));
        let same_rest = pairs
            .iter()
            .any(|[old, new]| Some(&old.name) == rests[0].as_ref() && Some(&new.name) == rests[1].as_ref());
        let mut differ = self.differ(Subject::Part, [&parts[0].id, &parts[1].id]);
        for texts in left {
            differ.value(
                Effect::Electrical,
                "position",
                texts,
                "it has a position that it had not, or lost one",
            );
        }
        if !same_rest {
            let why = "the machine is left in another state";
            differ.option(Effect::Limits, "rest", [rests[0].as_ref(), rests[1].as_ref()], why);
        }
    }

    /// Positions of a switch that are the same: by name, or by what they close.
    fn positions<'p>(&self, positions: [&'p [Position]; 2]) -> Vec<[&'p Position; 2]> {
        let [old, new] = positions;
        let named = |position: &&'p Position| new.iter().find(|other| other.name == position.name);
        let mut pairs: Vec<[&Position; 2]> =
            old.iter().filter_map(|position| Some([position, named(&position)?])).collect();
        let closed = |side: usize, position: &Position| self.keyed(side, &position.closed);
        for position in old.iter().filter(|position| named(position).is_none()) {
            let taken = |other: &Position| pairs.iter().any(|pair| pair[1].name == other.name);
            let like = new.iter().find(|other| !taken(other) && closed(1, other) == closed(0, position));
            pairs.extend(like.map(|other| [position, other]));
        }
        pairs
    }

    fn functions(&mut self, parts: [&Part; 2], functions: [&[Function]; 2]) {
        let both = self.both;
        let key = |side: usize, function: &Function| both.key(side, function.output);
        let [old, new] = functions;
        let mut kept = Vec::new();
        for function in old {
            let found = new.iter().position(|other| key(1, other) == key(0, function));
            let Some(at) = found.filter(|at| !kept.contains(at)) else {
                self.lone_function(parts, 0, function);
                continue;
            };
            kept.push(at);
            let other = &new[at];
            self.end(parts, "supply", [Some(function.supply), Some(other.supply)]);
            self.end(parts, "return", [function.ground, other.ground]);
            let waits = [(0, function), (1, other)].map(|(side, function)| {
                let mut keys: Vec<Key> = function.when.iter().map(|point| both.key(side, *point)).collect();
                keys.sort_unstable();
                (keys, self.names(side, &function.when))
            });
            let [(was, before), (is, after)] = waits;
            let titles = [function.title.clone(), other.title.clone()];
            let mut differ = self.differ(Subject::Part, [&parts[0].id, &parts[1].id]);
            if was != is {
                differ.push(
                    Effect::Electrical,
                    What::Value("when"),
                    [before, after],
                    "it waits for something else",
                );
            }
            differ.value(Effect::Paper, "function", titles, LABEL);
        }
        for (at, function) in new.iter().enumerate() {
            if !kept.contains(&at) {
                self.lone_function(parts, 1, function);
            }
        }
    }

    fn lone_function(&mut self, parts: [&Part; 2], side: usize, function: &Function) {
        let mut texts = [String::new(), String::new()];
        let output = self.both.harness[side].point_name(function.output);
        texts[side] = format!("{} at {output}", function.title);
        let why = "it drives something that it did not, or the other way round";
        self.differ(Subject::Part, [&parts[0].id, &parts[1].id]).value(
            Effect::Electrical,
            "function",
            texts,
            why,
        );
    }

    fn when(&mut self, parts: [&Part; 2], conditions: [Option<ConditionId>; 2]) {
        let both = self.both;
        if conditions[0].map(|id| both.condition(id)) == conditions[1].map(Some) {
            return;
        }
        let name = |side: usize, harness: &Harness| {
            conditions[side].map(|id| harness.conditions[id].id.clone()).unwrap_or_default()
        };
        let texts = [0, 1].map(|side| name(side, both.harness[side]));
        let why = "it works under another condition";
        let mut differ = self.differ(Subject::Part, [&parts[0].id, &parts[1].id]);
        differ.push(Effect::Electrical, What::Value("when"), texts, why);
    }

    /// One point of a part whose points are told apart.
    fn end(&mut self, parts: [&Part; 2], key: &'static str, ends: [Option<Point>; 2]) {
        let both = self.both;
        let keys = [0, 1].map(|side| ends[side].map(|end| both.key(side, end)));
        if keys[0] == keys[1] {
            return;
        }
        let kept = matches!(ends, [Some(old), Some(new)] if self.ends.is_kept(both, [old, new]));
        let texts =
            [0, 1].map(|side| ends[side].map(|end| both.harness[side].point_name(end)).unwrap_or_default());
        self.moved(parts, key, kept, texts);
    }

    /// Ways through a part: which points each joins counts, not in which order they are written.
    fn ways(&mut self, parts: [&Part; 2], key: &'static str, ways: &Ways) {
        let keyed = [0, 1].map(|side| self.keyed(side, &ways[side]));
        if keyed[0] == keyed[1] {
            return;
        }
        let both = self.both;
        let kept = same_nets(both, self.ends, ways);
        let texts = [0, 1].map(|side| {
            let one = |way: &[Point; 2]| way.map(|point| both.harness[side].point_name(point)).join(" to ");
            ways[side].iter().map(one).collect::<Vec<_>>().join(", ")
        });
        self.moved(parts, key, kept, texts);
    }

    fn moved(&mut self, parts: [&Part; 2], key: &'static str, kept: bool, texts: [String; 2]) {
        let (effect, why) = if kept { (Effect::Limits, SAME_NET) } else { (Effect::Electrical, ENDS) };
        let mut differ = self.differ(Subject::Part, [&parts[0].id, &parts[1].id]);
        differ.push(effect, What::Value(key), texts, why);
    }

    /// Ways as keys, in an order that does not depend on how they are written.
    fn keyed(&self, side: usize, ways: &[[Point; 2]]) -> Vec<[Key; 2]> {
        let key = |way: &[Point; 2]| {
            let mut keys = way.map(|point| self.both.key(side, point));
            keys.sort_unstable();
            keys
        };
        let mut keys: Vec<[Key; 2]> = ways.iter().map(key).collect();
        keys.sort_unstable();
        keys.dedup();
        keys
    }

    fn names(&self, side: usize, points: &[Point]) -> String {
        let name = |point: &Point| self.both.harness[side].point_name(*point);
        points.iter().map(name).collect::<Vec<_>>().join(" ")
    }
}

/// Whether two sets of ways join the same nets, all of which are what they were.
fn same_nets(both: &super::keys::Both, ends: &Partition, ways: &Ways) -> bool {
    let kept = |old: [Point; 2], new: [Point; 2]| {
        ends.is_kept(both, [old[0], new[0]]) && ends.is_kept(both, [old[1], new[1]])
    };
    let same = |old: &[Point; 2], new: &[Point; 2]| kept(*old, *new) || kept(*old, [new[1], new[0]]);
    let found = |old: &[Point; 2]| ways[1].iter().any(|new| same(old, new));
    let back = |new: &[Point; 2]| ways[0].iter().any(|old| same(old, new));
    ways[0].iter().all(found) && ways[1].iter().all(back)
}
