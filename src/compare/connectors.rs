//! Differences of connectors, their contacts, and what is plugged into what.
//!
//! Comes in: two matched revisions. Goes out: changes. Why: a connector is what people stand at; how it may be probed, which
//! way it is numbered and what it mates with matters even where no wire moved.

use super::change::{Differ, Effect, Subject, What, alone};
use super::keys::Both;
use super::things::{Comparer, LABEL, PROVEN, TAKEN, reason, renamed, station_names};
use crate::definition::face::Face;
use crate::definition::{ConnectorId, Contact, ContactId, Mating, Point};

impl Comparer<'_> {
    pub(super) fn connectors(&mut self) {
        let both = self.both;
        for side in 0..2 {
            let harness = both.harness[side];
            for (id, connector) in harness.connectors.iter() {
                match both.connector(side, id) {
                    Some(other) if side == 0 => self.connector([id, other]),
                    Some(_) => {}
                    None => {
                        let points: Vec<Point> = harness.contacts_of(id).map(Point::Contact).collect();
                        let effect = self.effect(side, &points);
                        let words = format!("{} contacts", connector.count);
                        let (name, why) = (connector.id.clone(), reason(effect));
                        self.changes.push(alone(side, Subject::Connector, name, effect, words, why));
                    }
                }
            }
        }
    }

    fn connector(&mut self, ids: [ConnectorId; 2]) {
        let both = self.both;
        let [old, new] = [0, 1].map(|side| &both.harness[side].connectors[ids[side]]);
        // Only a rename needs a proof.
        let proof = if old.id == new.id || self.is_kept(ids) { PROVEN } else { TAKEN };
        let parts = [0, 1].map(|side| {
            let harness = both.harness[side];
            [old, new][side].part.map(|part| harness.parts[part].id.clone()).unwrap_or_default()
        });
        let moved = old.part.map(|part| both.part(0, part)) != new.part.map(Some);
        let faces = [0, 1].map(|side| [old, new][side].face.and_then(|at| both.harness[side].faces.get(at)));
        let stations = station_names(both, [old.station, new.station]);
        let mut differ = self.differ(Subject::Connector, [&old.id, &new.id]);
        renamed(&mut differ, [&old.id, &new.id], proof);
        differ.value(Effect::Paper, "title", [old.title.clone(), new.title.clone()], LABEL);
        differ.value(Effect::Paper, "station", stations, LABEL);
        if moved {
            let why = "what is behind it is another part's inside";
            differ.push(Effect::Limits, What::Value("part"), parts, why);
        }
        face(&mut differ, faces);
        let halves = [old, new].map(|connector| connector.half.map(|half| half.word().to_owned()));
        let why = "its contacts are other ones";
        differ.option(Effect::Limits, "contact", [halves[0].as_ref(), halves[1].as_ref()], why);
        let sizes = [old.contact_size.as_ref(), new.contact_size.as_ref()];
        differ.option(Effect::Limits, "contact_size", sizes, why);
        let why = "how it may be probed";
        differ.flag(Effect::Limits, "backprobe", [old.backprobe, new.backprobe], why);
        differ.option(Effect::Limits, "hazard", [old.hazard.as_ref(), new.hazard.as_ref()], why);
        let why = "the order of readings follows from it";
        if old.mating.is_none() && new.mating.is_none() {
            differ.quantity(Effect::Limits, "unplug", [old.unplug, new.unplug], why);
        }
        self.contacts(ids);
    }

    /// Whether every contact of a connector joins what it joined.
    fn is_kept(&self, ids: [ConnectorId; 2]) -> bool {
        let [olds, news] = [0, 1].map(|side| self.both.harness[side].contacts_of(ids[side]));
        let same = |old: ContactId| {
            let point = Point::Contact(old);
            self.both.other(0, point).is_some_and(|new| self.joins_same([point, new]))
        };
        olds.len() == news.len() && olds.into_iter().all(same)
    }

    fn contacts(&mut self, ids: [ConnectorId; 2]) {
        let both = self.both;
        for (side, connector) in ids.into_iter().enumerate() {
            let harness = both.harness[side];
            for id in harness.contacts_of(connector) {
                match both.other(side, Point::Contact(id)) {
                    Some(Point::Contact(other)) if side == 0 => self.contact([id, other]),
                    Some(_) => {}
                    None => {
                        let point = Point::Contact(id);
                        let effect = self.effect(side, &[point]);
                        let signal = harness.contacts[id].signal.clone().unwrap_or_default();
                        let name = harness.point_name(point);
                        self.changes.push(alone(
                            side,
                            Subject::Contact,
                            name,
                            effect,
                            signal,
                            reason(effect),
                        ));
                    }
                }
            }
        }
    }

    fn contact(&mut self, ids: [ContactId; 2]) {
        let harness = self.both.harness;
        let [old, new]: [&Contact; 2] = [0, 1].map(|side| &harness[side].contacts[ids[side]]);
        if is_same(old, new) {
            return;
        }
        let points = ids.map(Point::Contact);
        let names = [0, 1].map(|side| harness[side].point_name(points[side]));
        let proof = self.proof(points);
        let mut differ = self.differ(Subject::Contact, [&names[0], &names[1]]);
        renamed(&mut differ, [&old.name, &new.name], proof);
        differ.option(Effect::Paper, "signal", [old.signal.as_ref(), new.signal.as_ref()], LABEL);
        differ.value(Effect::Paper, "also", [old.also.join(" "), new.also.join(" ")], LABEL);
        differ.flag(Effect::Paper, "joined", [old.joined, new.joined], LABEL);
        differ.flag(Effect::Paper, "spare", [old.spare, new.spare], LABEL);
        let why = "how it may be probed";
        differ.flag(Effect::Limits, "plugged", [old.plugged, new.plugged], why);
        let why = "what it may carry";
        let sizes = [old.contact_size.as_ref(), new.contact_size.as_ref()];
        differ.option(Effect::Limits, "contact_size", sizes, why);
        differ.quantity(Effect::Limits, "amps", [old.amps, new.amps], why);
    }

    pub(super) fn matings(&mut self) {
        const WHY: &str = "other connectors are plugged together";
        let both = self.both;
        for side in 0..2 {
            let harness = both.harness[side];
            for mating in harness.matings.values() {
                let name = format!(
                    "{}/{}",
                    harness.connectors[mating.first].id, harness.connectors[mating.second].id
                );
                let other = partner_mating(both, side, mating);
                match other {
                    None => self.changes.push(alone(
                        side,
                        Subject::Mating,
                        name,
                        Effect::Electrical,
                        String::new(),
                        WHY,
                    )),
                    Some((other_name, other)) if side == 0 => {
                        let why = "the order of readings follows from it";
                        let mut differ = self.differ(Subject::Mating, [&name, &other_name]);
                        differ.quantity(Effect::Limits, "unplug", [mating.unplug, other.unplug], why);
                    }
                    Some(_) => {}
                }
            }
        }
    }
}

/// Whether nothing that is said of a contact differs: so it is with most, and they need no names.
fn is_same(old: &Contact, new: &Contact) -> bool {
    (&old.name, &old.signal, &old.also, old.joined, old.spare)
        == (&new.name, &new.signal, &new.also, new.joined, new.spare)
        && (old.plugged, old.contact_size, old.amps) == (new.plugged, new.contact_size, new.amps)
}

fn face(differ: &mut Differ, faces: [Option<&Face>; 2]) {
    let name = |face: Option<&Face>| face.map_or_else(|| "not given".to_owned(), |face| face.name.clone());
    let plain = |face: Option<&Face>| face.map(|face| (face.outline, face.key, face.cavities.clone()));
    let names = faces.map(name);
    if plain(faces[0]) == plain(faces[1]) {
        differ.value(Effect::Paper, "face", names, LABEL);
    } else {
        let why = "which contacts lie side by side follows from it";
        differ.push(Effect::Limits, What::Value("face"), names, why);
    }
}

/// The same two connectors plugged together in the other revision.
fn partner_mating<'a>(both: &Both<'a>, side: usize, mating: &Mating) -> Option<(String, &'a Mating)> {
    let [first, second] = [mating.first, mating.second].map(|id| both.connector(side, id));
    let other = both.harness[1 - side];
    let (first, second) = (first?, second?);
    let found = other.connectors[first].mating?;
    let names = [first, second].map(|id| other.connectors[id].id.as_str());
    (other.mate_of(first) == Some(second)).then(|| (names.join("/"), &other.matings[found]))
}
