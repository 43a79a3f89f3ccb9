//! Differences of everything but wires, connectors and parts.
//!
//! Comes in: two matched revisions. Goes out: changes. Why: a face, a hazard or a weight changes no net, and still somebody
//! works by it.

use super::change::{Change, Differ, Effect, Subject, What, alone};
use super::keys::Both;
use super::nets::Partition;
use crate::definition::{Harness, Named, Point, Sort, StationId};

/// Why a rename is harmless, once it is proven.
pub(super) const PROVEN: &str = "proven harmless: it joins exactly what it joined";
/// What is said of a rename that is not proven.
pub(super) const TAKEN: &str =
    "taken for it by most of what it joins; what it does not join any more is listed";
pub(super) const LABEL: &str = "a name or word on paper";

/// What the pages that compare things share.
pub(super) struct Comparer<'a> {
    pub(super) both: &'a Both<'a>,
    /// Nets between the ends of the machine, everything plugged in.
    pub(super) ends: &'a Partition,
    pub(super) changes: Vec<Change>,
}

impl Comparer<'_> {
    pub(super) fn differ(&mut self, subject: Subject, names: [&str; 2]) -> Differ<'_> {
        Differ::new(&mut self.changes, subject, names.map(str::to_owned))
    }

    /// Compares all things but wires and parts.
    pub(super) fn things(&mut self) {
        self.about();
        self.weights();
        self.stations();
        self.trunks();
        self.conditions();
        self.connectors();
        self.matings();
        self.splices();
        self.terminals();
    }

    /// What it matters that something joins these points in one revision, or joined them.
    pub(super) fn effect(&self, side: usize, points: &[Point]) -> Effect {
        let harness = self.both.harness[side];
        let joined = |point: &&Point| {
            let mated = matches!(point, Point::Contact(id) if harness.contacts[*id].mate.is_some());
            let bonded = matches!(point, Point::Terminal(id) if harness.terminals[*id].ground);
            mated
                || bonded
                || harness.wires_at(**point).next().is_some()
                || harness.parts_at(**point).next().is_some()
        };
        let mut joined = points.iter().filter(joined).peekable();
        if joined.peek().is_none() {
            return Effect::Paper;
        }
        let changed = joined.any(|point| self.ends.changed_at(self.both, side, *point));
        if changed { Effect::Electrical } else { Effect::Limits }
    }

    fn about(&mut self) {
        let [old, new] = self.both.harness.map(|harness| &harness.about);
        let mut differ = self.differ(Subject::Definition, [&old.id, &new.id]);
        differ.value(Effect::Paper, "id", [&old.id, &new.id].map(Clone::clone), LABEL);
        differ.value(Effect::Paper, "title", [&old.title, &new.title].map(Clone::clone), LABEL);
        let why = "what the system is judged by";
        differ.quantity(Effect::Limits, "nominal", [old.nominal, new.nominal], why);
        let sets = [old, new].map(|about| about.rule_set.map(|set| set.word().to_owned()));
        differ.option(Effect::Limits, "rule_set", [sets[0].as_ref(), sets[1].as_ref()], why);
        let figures = self.both.harness.map(|harness| {
            let own = harness.resistance;
            [
                ("termination", own.termination),
                ("contact", own.contact),
                ("splice", own.splice),
                ("bond", own.bond),
                ("fuse", own.fuse),
                ("switch", own.switch),
                ("relay", own.relay),
            ]
        });
        let mut differ = self.differ(Subject::Definition, ["resistance"; 2]);
        for ((key, old), (_, new)) in figures[0].into_iter().zip(figures[1]) {
            differ.quantity(Effect::Limits, key, [old, new], "every healthy reading is worked out from it");
        }
    }

    /// How likely faults are taken to be.
    fn weights(&mut self) {
        let why = "suspects and the order of readings follow from it";
        let both = self.both;
        let [old, new] = both.harness.map(|harness| &harness.priors);
        for (key, sort) in Sort::ALL {
            let weights = [old, new].map(|priors| priors.weights.get(&sort).copied());
            self.differ(Subject::Definition, ["prior"; 2]).quantity(Effect::Limits, key, weights, why);
        }
        let mut seen = std::collections::BTreeSet::new();
        for (thing, times) in &old.times {
            let other = partner(both, *thing);
            seen.extend(other);
            let was = name(both.harness[0], *thing);
            let is = other.map_or_else(|| was.clone(), |other| name(both.harness[1], other));
            let now = other.and_then(|thing| new.times.get(&thing).copied());
            let mut differ = self.differ(Subject::Definition, [&was, &is]);
            differ.quantity(Effect::Limits, "prior.times", [Some(*times), now], why);
        }
        for (thing, times) in new.times.iter().filter(|(thing, _)| !seen.contains(thing)) {
            let name = name(both.harness[1], *thing);
            let mut differ = self.differ(Subject::Definition, [&name, &name]);
            differ.quantity(Effect::Limits, "prior.times", [None, Some(*times)], why);
        }
    }

    fn stations(&mut self) {
        let both = self.both;
        let [old, new] = both.harness.map(|harness| &harness.stations);
        let mut kept = std::collections::BTreeSet::new();
        for (id, station) in old.iter() {
            let Some(other) = both.station(id) else {
                let (name, title) = (station.id.clone(), station.title.clone());
                self.changes.push(alone(0, Subject::Station, name, Effect::Paper, title, LABEL));
                continue;
            };
            kept.insert(other);
            let other = &new[other];
            let mut differ = self.differ(Subject::Station, [&station.id, &other.id]);
            renamed(&mut differ, [&station.id, &other.id], LABEL);
            differ.value(Effect::Paper, "title", [station.title.clone(), other.title.clone()], LABEL);
            let why = "the order of readings follows from it";
            differ.quantity(Effect::Limits, "reach", [station.reach, other.reach], why);
        }
        for (id, station) in new.iter().filter(|(id, _)| !kept.contains(id)) {
            let (name, title) = (new[id].id.clone(), station.title.clone());
            self.changes.push(alone(1, Subject::Station, name, Effect::Paper, title, LABEL));
        }
    }

    fn trunks(&mut self) {
        const WHY: &str = "which wires lie side by side, and how long they are, follows from it";
        let both = self.both;
        let [old, new] = both.harness.map(|harness| &harness.trunks);
        let mut kept = std::collections::BTreeSet::new();
        let words = |trunk: &crate::definition::Trunk| trunk.between.join(" to ");
        for (id, trunk) in old.iter() {
            let Some(other) = both.trunk(id) else {
                let name = trunk.id.clone();
                self.changes.push(alone(0, Subject::Trunk, name, Effect::Limits, words(trunk), WHY));
                continue;
            };
            kept.insert(other);
            let other = &new[other];
            let ends = [(0, trunk), (1, other)].map(|(side, trunk)| {
                let mut ends = trunk.between.clone().map(|end| both.place_name(side, &end));
                ends.sort();
                ends
            });
            let mut differ = self.differ(Subject::Trunk, [&trunk.id, &other.id]);
            renamed(&mut differ, [&trunk.id, &other.id], LABEL);
            if ends[0] != ends[1] {
                differ.push(Effect::Limits, What::Value("between"), [words(trunk), words(other)], WHY);
            }
            differ.quantity(Effect::Limits, "length", [trunk.length, other.length], WHY);
        }
        for (_, trunk) in new.iter().filter(|(id, _)| !kept.contains(id)) {
            let name = trunk.id.clone();
            self.changes.push(alone(1, Subject::Trunk, name, Effect::Limits, words(trunk), WHY));
        }
    }

    fn conditions(&mut self) {
        const WHY: &str = "setups can be made that could not, or the other way round";
        let both = self.both;
        let [old, new] = both.harness.map(|harness| &harness.conditions);
        let mut kept = std::collections::BTreeSet::new();
        for (id, condition) in old.iter() {
            let Some(other) = both.condition(id) else {
                let (name, title) = (condition.id.clone(), condition.title.clone());
                self.changes.push(alone(0, Subject::Condition, name, Effect::Limits, title, WHY));
                continue;
            };
            kept.insert(other);
            let other = &new[other];
            let mut differ = self.differ(Subject::Condition, [&condition.id, &other.id]);
            renamed(&mut differ, [&condition.id, &other.id], LABEL);
            differ.value(Effect::Paper, "title", [condition.title.clone(), other.title.clone()], LABEL);
            differ.flag(Effect::Limits, "needs_power", [condition.needs_power, other.needs_power], WHY);
        }
        for (_, condition) in new.iter().filter(|(id, _)| !kept.contains(id)) {
            let (name, title) = (condition.id.clone(), condition.title.clone());
            self.changes.push(alone(1, Subject::Condition, name, Effect::Limits, title, WHY));
        }
    }

    fn splices(&mut self) {
        let both = self.both;
        for side in 0..2 {
            let harness = both.harness[side];
            for (id, splice) in harness.splices.iter() {
                match both.other(side, Point::Splice(id)) {
                    Some(Point::Splice(other)) if side == 0 => {
                        let other_splice = &both.harness[1].splices[other];
                        let points = [Point::Splice(id), Point::Splice(other)];
                        // Only a rename needs a proof.
                        let proof = if splice.id == other_splice.id { PROVEN } else { self.proof(points) };
                        let stations = station_names(both, [splice.station, other_splice.station]);
                        let mut differ = self.differ(Subject::Splice, [&splice.id, &other_splice.id]);
                        renamed(&mut differ, [&splice.id, &other_splice.id], proof);
                        let titles = [splice.title.clone(), other_splice.title.clone()];
                        differ.value(Effect::Paper, "title", titles, LABEL);
                        differ.value(Effect::Paper, "station", stations, LABEL);
                    }
                    Some(_) => {}
                    None => {
                        let effect = self.effect(side, &[Point::Splice(id)]);
                        let (name, words) = (splice.id.clone(), splice.title.clone());
                        self.changes.push(alone(side, Subject::Splice, name, effect, words, reason(effect)));
                    }
                }
            }
        }
    }

    fn terminals(&mut self) {
        let both = self.both;
        for side in 0..2 {
            let harness = both.harness[side];
            for (id, terminal) in harness.terminals.iter() {
                match both.other(side, Point::Terminal(id)) {
                    Some(Point::Terminal(other)) if side == 0 => {
                        let now = &both.harness[1].terminals[other];
                        let proof = self.proof([Point::Terminal(id), Point::Terminal(other)]);
                        let stations = station_names(both, [terminal.station, now.station]);
                        let mut differ = self.differ(Subject::Terminal, [&terminal.id, &now.id]);
                        renamed(&mut differ, [&terminal.id, &now.id], proof);
                        differ.value(
                            Effect::Paper,
                            "title",
                            [terminal.title.clone(), now.title.clone()],
                            LABEL,
                        );
                        differ.value(Effect::Paper, "station", stations, LABEL);
                        let why = "it is bonded to the chassis, or is not any more";
                        differ.flag(Effect::Electrical, "ground", [terminal.ground, now.ground], why);
                    }
                    Some(_) => {}
                    None => {
                        let effect = self.effect(side, &[Point::Terminal(id)]);
                        let (name, words) = (terminal.id.clone(), terminal.title.clone());
                        self.changes.push(alone(
                            side,
                            Subject::Terminal,
                            name,
                            effect,
                            words,
                            reason(effect),
                        ));
                    }
                }
            }
        }
    }

    /// Whether a point joins what it joined, in words.
    pub(super) fn proof(&self, points: [Point; 2]) -> &'static str {
        if self.joins_same(points) { PROVEN } else { TAKEN }
    }

    /// Whether the wires, parts, mate and bond at a point lead to where they led.
    pub(super) fn joins_same(&self, points: [Point; 2]) -> bool {
        let both = self.both;
        let around = |side: usize| {
            let (harness, point) = (both.harness[side], points[side]);
            let ends = |wire| harness.wires[wire].ends.map(|end| both.key(side, end));
            let mut wires: Vec<_> = harness.wires_at(point).flat_map(ends).collect();
            wires.sort_unstable();
            // A part goes by its old number; one that only the new revision has is none of those.
            let old = |part| if side == 0 { Some(part) } else { both.part(1, part) };
            let mut parts: Vec<_> = harness.parts_at(point).map(old).collect();
            parts.sort_unstable();
            let mate = match point {
                Point::Contact(id) => {
                    harness.contacts[id].mate.map(|mate| both.key(side, Point::Contact(mate)))
                }
                _ => None,
            };
            let bond = matches!(point, Point::Terminal(id) if harness.terminals[id].ground);
            (wires, parts, mate, bond)
        };
        around(0) == around(1)
    }
}

/// Takes down another id.
pub(super) fn renamed(differ: &mut Differ, ids: [&str; 2], why: &'static str) {
    if ids[0] != ids[1] {
        differ.push(Effect::Paper, What::Renamed, ids.map(str::to_owned), why);
    }
}

/// Why something that is in one revision alone matters so much.
pub(super) fn reason(effect: Effect) -> &'static str {
    match effect {
        Effect::Electrical => "the nets are not what they were",
        Effect::Limits => "what the machine joins end to end is the same, but the way there is another",
        Effect::Paper => "nothing is joined to it",
    }
}

/// Stations by name, the old one by its new name if it is the same.
pub(super) fn station_names(both: &Both, stations: [Option<StationId>; 2]) -> [String; 2] {
    let name = |side: usize, id: StationId| both.harness[side].stations[id].id.clone();
    let old = stations[0].map(|id| both.station(id).map_or_else(|| name(0, id), |new| name(1, new)));
    [old.unwrap_or_default(), stations[1].map(|id| name(1, id)).unwrap_or_default()]
}

/// The same thing of the new revision.
fn partner(both: &Both, thing: Named) -> Option<Named> {
    let point = |point: Point| match both.other(0, point)? {
        Point::Splice(id) => Some(Named::Splice(id)),
        Point::Terminal(id) => Some(Named::Terminal(id)),
        _ => None,
    };
    match thing {
        Named::Connector(id) => both.connector(0, id).map(Named::Connector),
        Named::Part(id) => both.part(0, id).map(Named::Part),
        Named::Splice(id) => point(Point::Splice(id)),
        Named::Terminal(id) => point(Point::Terminal(id)),
        Named::Wire(id) => both.wire(id).map(Named::Wire),
    }
}

fn name(harness: &Harness, thing: Named) -> String {
    match thing {
        Named::Connector(id) => harness.connectors[id].id.clone(),
        Named::Part(id) => harness.parts[id].id.clone(),
        Named::Splice(id) => harness.splices[id].id.clone(),
        Named::Terminal(id) => harness.terminals[id].id.clone(),
        Named::Wire(id) => harness.wires[id].id.clone(),
    }
}
