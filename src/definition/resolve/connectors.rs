//! Connectors, their faces, contacts, pins and mates.

use std::collections::HashMap;

use super::{Resolver, first_contact, suggest, title, value};
use crate::definition::diagnostic::{At, Diagnostic, Place, nearest};
use crate::definition::face::{self, Face};
use crate::definition::model::{Connector, ConnectorId, Contact, ContactId, Half, Id, Mating, Named};
use crate::definition::schema::{Draft, RawConnector, RawFace};

impl<'a> Resolver<'a> {
    pub(super) fn connectors(&mut self, draft: &'a Draft) {
        let own = self.own_faces(draft);
        let mut used: HashMap<String, usize> = HashMap::new();
        for (id, raw) in &draft.connectors {
            if !self.claim(id) {
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

    /// Faces that the definition brings itself.
    fn own_faces(&self, draft: &'a Draft) -> HashMap<String, Option<Face>> {
        let mut faces = HashMap::new();
        for (name, raw) in &draft.faces {
            if !self.fresh(&faces, name, "face") {
                continue;
            }
            if face::builtin(&name.value).is_some() {
                let message = format!("`{}` is the name of a built-in face", name.value);
                self.error(
                    "face",
                    name.place,
                    message,
                    Some("give your own arrangement another name".to_owned()),
                );
            }
            faces.insert(name.value.clone(), self.own_face(name, raw));
        }
        faces
    }

    fn own_face(&self, name: &At<String>, raw: &RawFace) -> Option<Face> {
        match build_face(&name.value, raw) {
            Ok(face) => Some(face),
            Err((message, help)) => {
                self.error("face", name.place, format!("face `{}`: {message}", name.value), help);
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
        let found = match own.get(&name.value) {
            Some(own) => own.clone()?,
            None => match face::builtin(&name.value) {
                Some(face) => face,
                None => {
                    let mut known: Vec<String> = face::builtin_names().map(str::to_owned).collect();
                    known.extend(own.keys().cloned());
                    known.sort_unstable();
                    let help = suggest(
                        &name.value,
                        known.iter().map(String::as_str),
                        "define it as [face.NAME], or list `contacts` instead",
                    );
                    self.error("face", name.place, format!("no face is called `{}`", name.value), Some(help));
                    return None;
                }
            },
        };
        self.harness.faces.push(found);
        used.insert(name.value.clone(), self.harness.faces.len() - 1);
        Some(self.harness.faces.len() - 1)
    }

    fn half(&self, word: Option<&At<String>>) -> Option<Half> {
        let word = word?;
        match word.value.as_str() {
            "pin" => Some(Half::Pin),
            "socket" => Some(Half::Socket),
            _ => {
                let message = format!("`contact` is \"pin\" or \"socket\", not \"{}\"", word.value);
                self.error("half", word.place, message, None);
                None
            }
        }
    }

    fn contacts(&mut self, key: ConnectorId, id: &At<String>, raw: &RawConnector) {
        let listed: Vec<String> = match (self.harness.connectors[key].face, &raw.contacts) {
            (Some(_), Some(contacts)) => {
                let help = "leave `contacts` out: the face names them".to_owned();
                self.error("contacts", contacts.place, "both `face` and `contacts` are given", Some(help));
                Vec::new()
            }
            (Some(face), None) => self.harness.faces[face].cavities.iter().map(|c| c.name.clone()).collect(),
            (None, Some(contacts)) => contacts
                .names
                .iter()
                .filter(|n| self.well_formed(n, "a contact name"))
                .map(|n| n.value.clone())
                .collect(),
            (None, None) => {
                // A face that could not be found has had its own error already.
                if raw.face.is_none() {
                    let message = format!("connector {} does not say which contacts it has", id.value);
                    let help = "give it `face = \"…\"`, or `contacts = [\"1\", \"2\"]`, or `contacts = 2`"
                        .to_owned();
                    self.error("contacts", id.place, message, Some(help));
                }
                Vec::new()
            }
        };
        if listed.is_empty() {
            self.unsure.insert(key);
        }
        for name in listed {
            let contact = Contact {
                connector: key,
                name,
                signal: None,
                also: Vec::new(),
                joined: false,
                spare: false,
                plugged: false,
                mate: None,
            };
            self.harness.contacts.push(contact);
        }
        let count = self.harness.contacts.len() - self.harness.connectors[key].first.index();
        self.harness.connectors.get_mut(key).count = count;
        self.sort_contacts(key, raw.contacts.as_ref().map_or(id.place, |c| c.place));
    }

    /// Puts a connector's contacts in the order of their names, which shows those listed twice.
    fn sort_contacts(&mut self, key: ConnectorId, place: Place) {
        let contacts = &self.harness.contacts;
        let name = |id: ContactId| contacts[id].name.as_str();
        let mut sorted: Vec<ContactId> = self.harness.contacts_of(key).collect();
        sorted.sort_by(|a, b| name(*a).cmp(name(*b)));
        for twice in sorted.windows(2).filter(|pair| name(pair[0]) == name(pair[1])) {
            self.error("contacts", place, format!("contact `{}` is listed twice", name(twice[0])), None);
        }
        self.harness.names.contacts.extend(sorted);
    }

    fn pins(&mut self, key: ConnectorId, id: &At<String>, raw: &RawConnector) {
        for (name, pin) in &raw.pins {
            let Some(contact) = self.harness.names.contact_of(key, &name.value, &self.harness) else {
                if !self.unsure.contains(&key) {
                    let message = format!("{} has no contact `{}`", id.value, name.value);
                    let mut known: Vec<&str> = self
                        .harness
                        .contacts_of(key)
                        .map(|c| self.harness.contacts[c].name.as_str())
                        .collect();
                    known.sort_unstable();
                    let help = nearest(&name.value, known).map(|near| format!("did you mean `{near}`?"));
                    self.error("unknown-point", name.place, message, help);
                }
                continue;
            };
            let plugged = value(pin.plugged.as_ref()).unwrap_or(false);
            let contact = self.harness.contacts.get_mut(contact);
            contact.signal = pin.signal.as_ref().map(|s| s.value.clone());
            contact.also = pin.also.iter().map(|a| a.value.clone()).collect();
            contact.joined = value(pin.joined.as_ref()).unwrap_or(false);
            contact.plugged = plugged;
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
                let help = self.harness.names.nearest(&name.value, |n| matches!(n, Named::Connector(_)));
                let help = help.map(|near| format!("did you mean `{near}`?"));
                self.error("mate", name.place, format!("no connector is called `{}`", name.value), help);
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
                    self.sink
                        .push(diagnostic.related(place, "defined here").help("a connector has one mate"));
                }
            }
        }
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

/// Builds an arrangement from rows, rings or positions, of which exactly one is given.
fn build_face(name: &str, raw: &RawFace) -> Result<Face, (String, Option<String>)> {
    let plain = |message: &str, help: &str| (message.to_owned(), Some(help.to_owned()));
    let shape = match raw.shape.as_ref().map(|s| s.value.as_str()) {
        Some("rectangle") | None => face::Shape::Rectangle,
        Some("round") => face::Shape::Round,
        Some(_) => return Err(plain("`shape` is \"rectangle\" or \"round\"", "write shape = \"rectangle\"")),
    };
    let seen = match raw.seen.as_ref().map(|s| s.value.as_str()) {
        Some("pin") | None => Half::Pin,
        Some("socket") => Half::Socket,
        Some(_) => {
            return Err(plain(
                "`seen` is \"pin\" or \"socket\"",
                "it says whose mating side the arrangement shows",
            ));
        }
    };
    let form = face::Form { shape, seen, contact: value(raw.contact_size.as_ref()) };
    let pitch = || {
        let pitch = raw.pitch.as_ref().map(|p| p.value);
        pitch.ok_or_else(|| {
            plain("`pitch` is missing", "give the distance between neighbours: pitch = \"5 mm\"")
        })
    };
    let built = match (&raw.rows, &raw.rings, raw.xy.is_empty()) {
        (Some(rows), None, true) => face::from_rows(name, &rows.value, pitch()?, form),
        (None, Some(rings), true) => face::from_rings(name, &rings.value, pitch()?, &raw.start, form),
        (None, None, false) => {
            let points: Vec<_> = raw.xy.iter().map(|(name, [x, y])| (name.value.clone(), *x, *y)).collect();
            face::from_points(name, &points, form)
        }
        _ => {
            return Err(plain(
                "give one of `rows`, `rings` or `xy`",
                "rows = [[\"1\", \"2\"], [\"3\", \"4\"]] with pitch = \"5 mm\"",
            ));
        }
    };
    built.map_err(|error| (error.to_string(), None))
}
