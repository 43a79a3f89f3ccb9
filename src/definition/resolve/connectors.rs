//! Connectors, their faces, contacts, pins and mates.

use std::collections::HashMap;

use super::{Resolver, first_contact, title, value};
use crate::definition::diagnostic::{At, Diagnostic, Place, nearest};
use crate::definition::face::{self, Face, FaceError};
use crate::definition::model::{Connector, ConnectorId, Contact, ContactId, Half, Id, Mating, Named};
use crate::definition::schema::{Draft, RawConnector, RawFace};

/// The most contacts of a whole machine: no machine has more, and a few lines could ask for a billion.
const MOST_CONTACTS: usize = 1_000_000;

impl<'a> Resolver<'a> {
    pub(super) fn connectors(&mut self, draft: &'a Draft) {
        let own = self.own_faces(draft);
        let mut used: HashMap<String, usize> = HashMap::new();
        for (id, raw) in &draft.connectors {
            if !self.claim(id) || !self.has_room(id) {
                self.connector_ids.push(None);
                continue;
            }
            let face = raw.face.as_ref().and_then(|name| self.face(name, &own, &mut used));
            let connector = Connector {
                id: id.value.clone(),
                title: title(raw.title.as_ref()),
                station: self.station(raw.station.as_ref()),
                part: None,
                face,
                half: self.half(raw.contact.as_ref()),
                mating: None,
                backprobe: value(raw.backprobe.as_ref()).unwrap_or(false),
                unplug: value(raw.unplug.as_ref()),
                hazard: raw.hazard.as_ref().map(|h| h.value.clone()),
                contact_size: self.contact_size(raw.contact_size.as_ref()),
                first: first_contact(&self.harness),
                count: 0,
                place: id.place,
            };
            let key = self.harness.connectors.push(connector);
            self.harness.names.things.insert(id.value.clone(), Named::Connector(key));
            self.connector_ids.push(Some(key));
            self.contacts(key, id, raw);
            self.pins(key, id, raw);
        }
    }

    fn has_room(&self, id: &At<String>) -> bool {
        let room = self.harness.contacts.len() < MOST_CONTACTS;
        if !room {
            let message = format!("the machine has more than {MOST_CONTACTS} contacts");
            let help = "give connectors no more contacts than they have, or divide the machine".to_owned();
            self.error("contacts", id.place, message, Some(help));
        }
        room
    }

    /// Faces that the definition brings itself; `None` for those that could not be read.
    fn own_faces(&mut self, draft: &'a Draft) -> HashMap<String, Option<Face>> {
        let mut faces = HashMap::new();
        for (name, raw) in &draft.faces {
            if !self.fresh(name, "face") {
                continue;
            }
            if face::builtin(&name.value).is_some() {
                let message = format!("`{}` is the name of a built-in face", name.value);
                let help = "give your own arrangement another name".to_owned();
                self.error("face", name.place, message, Some(help));
            }
            faces.insert(name.value.clone(), self.own_face(name, raw));
        }
        faces
    }

    fn own_face(&self, name: &At<String>, raw: &RawFace) -> Option<Face> {
        let lists = raw.rows.iter().chain(&raw.rings).flat_map(|lists| lists.value.iter().flatten());
        let names: Vec<&At<String>> =
            lists.chain(raw.xy.iter().flat_map(|xy| &xy.value).map(|(contact, _)| contact)).collect();
        let good = names.into_iter().filter(|n| !self.well_formed(n, "a contact name")).count() == 0;
        if raw.broken || !good {
            return None;
        }
        match build_face(name, raw) {
            Ok(face) => Some(face),
            Err(Flaw { place, message, help }) => {
                self.error("face", place, format!("face {}: {message}", name.value), Some(help));
                None
            }
        }
    }

    /// Where a connector's face stands in the harness's list; it is added when first used.
    fn face(
        &mut self,
        name: &At<String>,
        own: &HashMap<String, Option<Face>>,
        used: &mut HashMap<String, usize>,
    ) -> Option<usize> {
        if let Some(at) = used.get(&name.value) {
            return Some(*at);
        }
        let built_in = || face::builtin(&name.value).map(Some);
        let Some(found) = own.get(&name.value).cloned().or_else(built_in) else {
            let message = format!("no face is called `{}`", name.value);
            self.error("face", name.place, message, Some(self.near_face(&name.value, own)));
            return None;
        };
        let found = found?;
        self.harness.faces.push(found);
        used.insert(name.value.clone(), self.harness.faces.len() - 1);
        Some(self.harness.faces.len() - 1)
    }

    fn near_face(&self, written: &str, own: &HashMap<String, Option<Face>>) -> String {
        let mut known: Vec<&str> = face::builtin_names().collect();
        if self.sink.may_search(own.len()) {
            known.extend(own.keys().map(String::as_str));
        }
        known.sort_unstable();
        let define = format!("define it: [face.{written}], or list `contacts` instead of a face");
        nearest(written, known).map_or(define, |near| format!("did you mean `{near}`?"))
    }

    fn half(&self, word: Option<&At<String>>) -> Option<Half> {
        let word = word?;
        match word.value.as_str() {
            "pin" => Some(Half::Pin),
            "socket" => Some(Half::Socket),
            _ => {
                let message = format!("contacts are pins or sockets, not \"{}\"", word.value);
                let help = "write contact = \"pin\" or contact = \"socket\"".to_owned();
                self.error("half", word.place, message, Some(help));
                None
            }
        }
    }

    fn contacts(&mut self, key: ConnectorId, id: &At<String>, raw: &RawConnector) {
        let listed = self.contact_names(key, id, raw);
        if listed.is_empty() {
            self.unsure.insert(key);
        }
        for At { value: name, place } in listed {
            let contact = Contact {
                connector: key,
                name,
                signal: None,
                also: Vec::new(),
                joined: false,
                spare: false,
                plugged: false,
                contact_size: None,
                amps: None,
                mate: None,
                place,
            };
            self.harness.contacts.push(contact);
        }
        let count = self.harness.contacts.len() - self.harness.connectors[key].first.index();
        self.harness.connectors.get_mut(key).count = count;
        self.sort_contacts(key);
    }

    /// Puts a connector's contacts in the order of their names, which shows those listed twice.
    fn sort_contacts(&mut self, key: ConnectorId) {
        let contacts = &self.harness.contacts;
        let name = |id: ContactId| contacts[id].name.as_str();
        let mut sorted: Vec<ContactId> = self.harness.contacts_of(key).collect();
        sorted.sort_by(|a, b| name(*a).cmp(name(*b)));
        for twice in sorted.windows(2).filter(|pair| name(pair[0]) == name(pair[1])) {
            let help = "take one of them out, or correct its name".to_owned();
            let message = format!("contact `{}` is listed twice", name(twice[1]));
            self.error("contacts", contacts[twice[1]].place, message, Some(help));
        }
        self.harness.names.contacts.extend(sorted);
    }

    /// The contacts' names from the face or the list; none if they are not known.
    fn contact_names(&self, key: ConnectorId, id: &At<String>, raw: &RawConnector) -> Vec<At<String>> {
        match (self.harness.connectors[key].face, &raw.contacts) {
            (Some(_), Some(contacts)) => {
                let help = "leave `contacts` out: the face names them".to_owned();
                self.error("contacts", contacts.place, "both `face` and `contacts` are given", Some(help));
                Vec::new()
            }
            (Some(face), None) => {
                let names = self.harness.faces[face].cavities.iter().map(|c| c.name.clone());
                names.map(|value| At { value, place: id.place }).collect()
            }
            (None, Some(contacts)) => {
                contacts.names().into_iter().filter(|n| self.well_formed(n, "a contact name")).collect()
            }
            (None, None) => {
                // A face that could not be found has had its own error already.
                if raw.face.is_none() {
                    let message = format!("connector {} does not say which contacts it has", id.value);
                    let help =
                        "give it face = \"…\", or contacts = [\"1\", \"2\"], or contacts = 2".to_owned();
                    self.error("contacts", id.place, message, Some(help));
                }
                Vec::new()
            }
        }
    }

    fn pins(&mut self, key: ConnectorId, id: &At<String>, raw: &RawConnector) {
        for (name, pin) in &raw.pins {
            let Some(contact) = self.harness.names.contact_of(key, &name.value, &self.harness) else {
                if let Err(error) = self.named_point(&format!("{}.{}", id.value, name.value))
                    && !self.unsure.contains(&key)
                {
                    self.error("unknown-point", name.place, error.to_string(), Some(error.help().to_owned()));
                }
                continue;
            };
            let plugged = value(pin.plugged.as_ref()).unwrap_or(false);
            let contact_size = self.contact_size(pin.contact_size.as_ref());
            let contact = self.harness.contacts.get_mut(contact);
            contact.signal = pin.signal.as_ref().map(|s| s.value.clone());
            contact.also = pin.also.iter().map(|a| a.value.clone()).collect();
            contact.joined = value(pin.joined.as_ref()).unwrap_or(false);
            contact.plugged = plugged;
            contact.contact_size = contact_size;
            contact.amps = value(pin.amps.as_ref());
            contact.place = name.place;
            contact.spare = plugged || value(pin.spare.as_ref()).unwrap_or(false);
        }
    }

    /// Sets which part each connector sits on, once parts have names.
    pub(super) fn part_connectors(&mut self, draft: &'a Draft) {
        for (at, (_, raw)) in draft.connectors.iter().enumerate() {
            let (Some(key), Some(name)) = (self.connector_ids[at], &raw.part) else { continue };
            let part = self.part(name);
            self.harness.connectors.get_mut(key).part = part;
        }
    }

    /// Plugs mates together. Either side may say it; both may, if they agree.
    pub(super) fn matings(&mut self, draft: &'a Draft) {
        for (at, (id, raw)) in draft.connectors.iter().enumerate() {
            let (Some(key), Some(name)) = (self.connector_ids[at], &raw.mate) else { continue };
            let Some(other) = self.harness.names.connector(&name.value) else {
                self.no_connector(name);
                continue;
            };
            if other == key {
                let help = Some("name the connector it is plugged into".to_owned());
                self.error("mate", name.place, format!("{} cannot be its own mate", id.value), help);
                continue;
            }
            match (self.harness.mate_of(key), self.harness.mate_of(other)) {
                (None, None) => self.mate(key, other),
                (Some(known), _) if known == other => {}
                (known, others) => {
                    let taken = if known.is_some() { key } else { other };
                    let by =
                        known.or(others).map_or(String::new(), |c| self.harness.connectors[c].id.clone());
                    let message =
                        format!("{} is already plugged into {by}", self.harness.connectors[taken].id);
                    let diagnostic = Diagnostic::error("mate", name.place, message);
                    let place = self.harness.connectors[taken].place;
                    self.sink.push(
                        diagnostic
                            .related(place, "this one")
                            .help("a connector has one mate: take `mate` out of one side"),
                    );
                }
            }
        }
    }

    fn no_connector(&self, name: &At<String>) {
        let names = &self.harness.names;
        let mut help = "name the connector that it is plugged into".to_owned();
        if let Some(other) = names.get(&name.value) {
            let message = format!("`{}` is a {}, not a connector", name.value, other.word());
            self.error("mate", name.place, message, Some(help));
            return;
        }
        if self.sink.may_search(names.count())
            && let Some(near) = names.nearest(&name.value, |n| matches!(n, Named::Connector(_)))
        {
            help = format!("did you mean `{near}`?");
        }
        self.error("mate", name.place, format!("no connector is called `{}`", name.value), Some(help));
    }

    fn mate(&mut self, first: ConnectorId, second: ConnectorId) {
        let [a, b] = [first, second].map(|c| self.harness.connectors[c].unplug);
        let unplug = match (a, b) {
            (Some(a), Some(b)) => Some(if a > b { a } else { b }),
            (a, b) => a.or(b),
        };
        let mating = self.harness.matings.push(Mating { first, second, unplug });
        let halves = [first, second].map(|c| self.harness.connectors[c].half);
        for (connector, own, other) in [(first, halves[0], halves[1]), (second, halves[1], halves[0])] {
            let connector = self.harness.connectors.get_mut(connector);
            connector.mating = Some(mating);
            connector.half = own.or(other.map(Half::opposite));
        }
        for contact in self.harness.contacts_of(first) {
            let name = &self.harness.contacts[contact].name;
            let Some(other) = self.harness.names.contact_of(second, name, &self.harness) else { continue };
            self.harness.contacts.get_mut(contact).mate = Some(other);
            self.harness.contacts.get_mut(other).mate = Some(contact);
        }
    }
}

/// What is wrong with an arrangement.
struct Flaw {
    place: Place,
    message: String,
    help: String,
}

fn flaw(place: Place, message: &str, help: &str) -> Flaw {
    Flaw { place, message: message.to_owned(), help: help.to_owned() }
}

/// Builds an arrangement from rows, rings or positions, of which exactly one is given.
fn build_face(name: &At<String>, raw: &RawFace) -> Result<Face, Flaw> {
    let form = face::Form { shape: shape(raw)?, seen: seen(raw)?, contact: value(raw.contact_size.as_ref()) };
    let names = |lists: &At<Vec<Vec<At<String>>>>| -> Vec<Vec<String>> {
        lists.value.iter().map(|list| list.iter().map(|name| name.value.clone()).collect()).collect()
    };
    let pitch = || {
        let help = "give the distance between neighbours: pitch = \"5 mm\"";
        value(raw.pitch.as_ref()).ok_or_else(|| flaw(name.place, "`pitch` is missing", help))
    };
    let start = raw.start.as_ref().map_or(&[][..], |start| &start.value);
    let built = match (&raw.rows, &raw.rings, &raw.xy) {
        (Some(rows), None, None) => face::from_rows(&name.value, &names(rows), pitch()?, form),
        (None, Some(rings), None) => face::from_rings(&name.value, &names(rings), pitch()?, start, form),
        (None, None, Some(xy)) => {
            let points: Vec<_> = xy.value.iter().map(|(name, [x, y])| (name.value.clone(), *x, *y)).collect();
            face::from_points(&name.value, &points, form)
        }
        (None, None, None) => {
            let help =
                "give rows = [[\"1\", \"2\"], [\"3\", \"4\"]] with pitch = \"5 mm\", or `rings`, or `xy`";
            return Err(flaw(name.place, "it does not say where its contacts are", help));
        }
        _ => {
            let place = raw.rings.as_ref().map_or(name.place, |rings| rings.place);
            let help = "keep the one that shows the connector, take the others out";
            return Err(flaw(place, "only one of `rows`, `rings` and `xy` can hold", help));
        }
    };
    built.map_err(|error| {
        let (place, help) = where_and_how(&error, name, raw);
        flaw(place, &error.to_string(), &help)
    })
}

fn shape(raw: &RawFace) -> Result<face::Shape, Flaw> {
    match raw.shape.as_ref().map(|s| (s.value.as_str(), s.place)) {
        Some(("rectangle", _)) | None => Ok(face::Shape::Rectangle),
        Some(("round", _)) => Ok(face::Shape::Round),
        Some((word, place)) => Err(flaw(
            place,
            &format!("no shape is called \"{word}\""),
            "write shape = \"rectangle\" or shape = \"round\"",
        )),
    }
}

fn seen(raw: &RawFace) -> Result<Half, Flaw> {
    match raw.seen.as_ref().map(|s| (s.value.as_str(), s.place)) {
        Some(("pin", _)) | None => Ok(Half::Pin),
        Some(("socket", _)) => Ok(Half::Socket),
        Some((word, place)) => Err(flaw(
            place,
            &format!("\"{word}\" is not a half of a connector"),
            "write seen = \"pin\" or seen = \"socket\": whose mating side the arrangement shows",
        )),
    }
}

/// Where an arrangement goes wrong, and what to write instead.
fn where_and_how(error: &FaceError, name: &At<String>, raw: &RawFace) -> (Place, String) {
    fn at<T>(slot: Option<&At<T>>) -> Option<Place> {
        slot.map(|at| at.place)
    }
    let lists = at(raw.rows.as_ref()).or(at(raw.rings.as_ref())).or(at(raw.xy.as_ref()));
    let second = |twice: &str| {
        let lists = raw.rows.iter().chain(&raw.rings).flat_map(|lists| lists.value.iter().flatten());
        lists.filter(|contact| contact.value == twice).nth(1).map(|contact| contact.place)
    };
    let (place, help) = match error {
        FaceError::Empty | FaceError::NoName => (lists, "name at least one contact in each row or ring"),
        FaceError::DuplicateName { name } => (second(name).or(lists), "give each contact a name of its own"),
        FaceError::TooMany { .. } => (lists, "divide it into several connectors"),
        FaceError::BadPitch => (at(raw.pitch.as_ref()), "write it as pitch = \"5 mm\""),
        FaceError::BadContact => {
            (at(raw.contact_size.as_ref()), "leave `contact_size` out, or make it smaller")
        }
        FaceError::BadStart => {
            (at(raw.start.as_ref()), "write start = [\"0 deg\", \"30 deg\"], one for each ring")
        }
        FaceError::TooFar { .. } => {
            (lists, "check the distances: a contact lies millimetres from the middle")
        }
        FaceError::SamePlace { .. } => (lists, "give each contact a position of its own"),
    };
    (place.unwrap_or(name.place), help.to_owned())
}
