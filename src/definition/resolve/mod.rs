//! Names to things: the draft becomes a typed harness.
//!
//! Comes in: a draft whose names are texts. Goes out: a harness whose names are indices, and an
//! error for every name that leads nowhere. Why: each stage registers what the next one refers to,
//! so one pass in a fixed order is enough, and a mistake is reported once, where it was written.
//!
//! Cost: linear in wires, apart from routes, which cost one shortest path per pair of places.

mod connectors;
mod limits;
mod parts;
mod priors;
mod wires;

use std::collections::{HashMap, HashSet};

use super::diagnostic::{At, Diagnostic, Place, Sink, nearest};
use super::model::{
    About, Condition, ConditionId, ConnectorId, Harness, Id, Named, Names, PartId, Point, Priors,
    ResistanceOverrides, RuleSet, Splice, Station, StationId, Table, Terminal, TrunkId,
};
use super::schema::{Draft, RawSpot};
use crate::conductor::ContactSize;

/// Resolves a draft; what could not be resolved is left out and reported.
pub(super) fn resolve(draft: &Draft, variant: Option<&str>, hash: String, sink: &Sink) -> Harness {
    let mut resolver = Resolver::new(draft, variant, hash, sink);
    resolver.conditions(draft);
    resolver.stations(draft);
    resolver.connectors(draft);
    resolver.spots(draft);
    resolver.part_names(draft);
    resolver.part_connectors(draft);
    resolver.matings(draft);
    resolver.parts(draft);
    resolver.trunks(draft);
    resolver.wires(draft);
    resolver.limits(draft);
    resolver.priors(draft);
    resolver.index_ends();
    resolver.harness
}

struct Resolver<'a> {
    harness: Harness,
    sink: &'a Sink,
    /// Where each id of the common namespace was first defined.
    defined: HashMap<&'a str, Place>,
    /// Where each station, trunk, condition and face was first defined, by what it is and its id.
    listed: HashMap<(&'static str, String), Place>,
    stations: HashMap<String, StationId>,
    /// Connectors whose contacts are not known because of an earlier error.
    unsure: HashSet<ConnectorId>,
    /// Parts of the draft, by the index they were given.
    part_ids: Vec<Option<PartId>>,
    /// Connectors of the draft, by the index they were given.
    connector_ids: Vec<Option<ConnectorId>>,
    trunk_ids: HashMap<String, TrunkId>,
}

impl<'a> Resolver<'a> {
    fn new(draft: &'a Draft, variant: Option<&str>, hash: String, sink: &'a Sink) -> Self {
        let text = |slot: &Option<At<String>>| slot.as_ref().map(|at| at.value.clone()).unwrap_or_default();
        let about = About {
            id: text(&draft.about.id),
            title: text(&draft.about.title),
            revision: text(&draft.about.revision),
            variant: variant.map(str::to_owned),
            nominal: value(draft.about.nominal.as_ref()),
            rule_set: draft.about.rule_set.as_ref().and_then(|word| rule_set(word, sink)),
        };
        let ids = draft.connectors.len() + draft.parts.len() + draft.wires.len();
        let harness = Harness {
            about,
            hash,
            resistance: overrides(draft),
            priors: Priors::default(),
            stations: Table::default(),
            connectors: Table::default(),
            contacts: Table::default(),
            matings: Table::default(),
            splices: Table::default(),
            terminals: Table::default(),
            wires: Table::default(),
            trunks: Table::default(),
            parts: Table::default(),
            conditions: Table::default(),
            limits: Vec::new(),
            faces: Vec::new(),
            names: Names { things: HashMap::with_capacity(ids), ..Names::default() },
            wire_ends: Vec::new(),
            part_ends: Vec::new(),
        };
        Self {
            harness,
            sink,
            defined: HashMap::with_capacity(ids),
            listed: HashMap::new(),
            stations: HashMap::new(),
            unsure: HashSet::new(),
            part_ids: Vec::new(),
            connector_ids: Vec::new(),
            trunk_ids: HashMap::new(),
        }
    }

    fn error(&self, rule: &'static str, place: Place, message: impl Into<String>, help: Option<String>) {
        self.sink.push(Diagnostic::error(rule, place, message).maybe_help(help));
    }

    /// Whether an id may be used: of the right characters, not reserved, not taken.
    fn claim(&mut self, id: &'a At<String>) -> bool {
        if !self.well_formed(id, "an id") {
            return false;
        }
        if id.value == Names::CHASSIS {
            let help = "it stands for the machine's frame; choose another id".to_owned();
            self.error("bad-id", id.place, "`chassis` is reserved", Some(help));
            return false;
        }
        if let Some(first) = self.defined.get(id.value.as_str()) {
            let message = format!("`{}` is already used", id.value);
            let help = "connectors, splices, terminals, parts and wires share one set of ids: choose another";
            let diagnostic = Diagnostic::error("duplicate-id", id.place, message);
            self.sink.push(diagnostic.related(*first, "first used here").help(help));
            return false;
        }
        self.defined.insert(&id.value, id.place);
        true
    }

    fn well_formed(&self, id: &At<String>, what: &str) -> bool {
        let good = |c: char| c.is_alphanumeric() || matches!(c, '-' | '_' | '+');
        if !id.value.is_empty() && id.value.chars().all(good) {
            return true;
        }
        let message = match id.value.as_str() {
            "" => format!("{what} cannot be empty"),
            text => format!("`{text}` cannot be {what}"),
        };
        let help = "use letters, digits, `-`, `_` and `+`; the other signs join names into points and faults";
        self.error("bad-id", id.place, message, Some(help.to_owned()));
        false
    }

    /// Whether a station, trunk, condition or face may have its name: of the right characters, and not
    /// taken by another of its kind in any file.
    fn fresh(&mut self, name: &At<String>, what: &'static str) -> bool {
        if let Some(first) = self.listed.get(&(what, name.value.clone())) {
            let message = format!("{what} `{}` is defined twice", name.value);
            let help = "ids are unique across all files of a machine: take one out, or rename it";
            let diagnostic = Diagnostic::error("duplicate-id", name.place, message);
            self.sink.push(diagnostic.related(*first, "first defined here").help(help));
            return false;
        }
        self.listed.insert((what, name.value.clone()), name.place);
        self.well_formed(name, "an id")
    }

    /// Lists which wires and parts attach where.
    fn index_ends(&mut self) {
        let harness = &mut self.harness;
        let wires = harness.wires.iter().flat_map(|(id, wire)| wire.ends.map(|end| (end, id)));
        harness.wire_ends = wires.collect();
        harness.wire_ends.sort_unstable();
        let parts =
            harness.parts.iter().flat_map(|(id, part)| part.kind.points().into_iter().map(move |p| (p, id)));
        harness.part_ends = parts.collect();
        harness.part_ends.sort_unstable();
    }

    fn conditions(&mut self, draft: &'a Draft) {
        let powered: HashSet<&str> = draft
            .parts
            .iter()
            .filter(|(_, p)| p.kind.as_ref().is_some_and(|k| k.value == "alternator"))
            .filter_map(|(_, p)| p.when.as_ref().map(|w| w.value.as_str()))
            .collect();
        for (name, raw) in &draft.conditions {
            if !self.fresh(name, "condition") {
                continue;
            }
            let needs_power =
                value(raw.needs_power.as_ref()).unwrap_or(powered.contains(name.value.as_str()));
            let title = raw.title.as_ref().map_or(name, |t| t).value.clone();
            let id = self.harness.conditions.push(Condition { id: name.value.clone(), title, needs_power });
            self.harness.names.conditions.insert(name.value.clone(), id);
        }
    }

    fn stations(&mut self, draft: &'a Draft) {
        for (name, raw) in &draft.stations {
            if !self.fresh(name, "station") {
                continue;
            }
            let title = raw.title.as_ref().map_or(name, |t| t).value.clone();
            let reach = value(raw.reach.as_ref());
            let id = self.harness.stations.push(Station { id: name.value.clone(), title, reach });
            self.stations.insert(name.value.clone(), id);
        }
    }

    fn spots(&mut self, draft: &'a Draft) {
        for (id, raw) in &draft.splices {
            if !self.claim(id) {
                continue;
            }
            let (title, station) = self.spot(raw);
            let splice = Splice { id: id.value.clone(), title, station, place: id.place };
            let named = Named::Splice(self.harness.splices.push(splice));
            self.harness.names.things.insert(id.value.clone(), named);
        }
        for (id, raw) in &draft.terminals {
            if !self.claim(id) {
                continue;
            }
            let (title, station) = self.spot(raw);
            let ground = value(raw.ground.as_ref()).unwrap_or(false);
            let terminal = Terminal { id: id.value.clone(), title, station, ground, place: id.place };
            let named = Named::Terminal(self.harness.terminals.push(terminal));
            self.harness.names.things.insert(id.value.clone(), named);
        }
    }

    fn spot(&self, raw: &RawSpot) -> (String, Option<StationId>) {
        (title(raw.title.as_ref()), self.station(raw.station.as_ref()))
    }

    fn station(&self, name: Option<&At<String>>) -> Option<StationId> {
        let name = name?;
        let found = self.stations.get(&name.value).copied();
        if found.is_none() {
            let known = self.harness.stations.values().map(|s| s.id.as_str());
            let help = self.suggest(&name.value, known, "station");
            self.error(
                "unknown-name",
                name.place,
                format!("no station is called `{}`", name.value),
                Some(help),
            );
        }
        found
    }

    fn condition(&self, name: &At<String>) -> Option<ConditionId> {
        let found = self.harness.names.condition(&name.value);
        if found.is_none() {
            let known = self.harness.conditions.values().map(|c| c.id.as_str());
            let help = self.suggest(&name.value, known, "condition");
            self.error(
                "unknown-name",
                name.place,
                format!("no condition is called `{}`", name.value),
                Some(help),
            );
        }
        found
    }

    fn part(&self, name: &At<String>) -> Option<PartId> {
        let found = self.harness.names.part(&name.value);
        if found.is_none() {
            let known = self.harness.parts.values().map(|p| p.id.as_str());
            let help = self.suggest(&name.value, known, "part");
            self.error("unknown-name", name.place, format!("no part is called `{}`", name.value), Some(help));
        }
        found
    }

    /// A contact, splice or terminal; the chassis is reached through a ground terminal.
    fn point(&self, name: &At<String>) -> Option<Point> {
        match self.named_point(&name.value) {
            Ok(Point::Chassis) => {
                let help =
                    "end it on a terminal with `ground = true`, which is where the bond can fail".to_owned();
                self.error("unknown-point", name.place, "nothing attaches to the chassis itself", Some(help));
                None
            }
            Ok(point) => Some(point),
            Err(error) => {
                self.point_error(name, &error);
                None
            }
        }
    }

    fn named_point(&self, name: &str) -> Result<Point, super::model::PointError> {
        let names = &self.harness.names;
        names.point(name, &self.harness, self.sink.may_search(names.count()))
    }

    fn point_error(&self, name: &At<String>, error: &super::model::PointError) {
        // A connector whose own contacts are in doubt would only repeat its error at every wire.
        let connector = name.value.split('.').next().and_then(|c| self.harness.names.connector(c));
        if connector.is_some_and(|c| self.unsure.contains(&c)) {
            return;
        }
        self.error("unknown-point", name.place, error.to_string(), Some(error.help().to_owned()));
    }

    /// What to write instead of a name that is not known.
    fn suggest<'k>(
        &self,
        written: &str,
        known: impl ExactSizeIterator<Item = &'k str> + Clone,
        what: &str,
    ) -> String {
        const LISTED: usize = 12;
        if self.sink.may_search(known.len())
            && let Some(near) = nearest(written, known.clone())
        {
            return format!("did you mean `{near}`?");
        }
        let define = format!("define it: [{what}.{written}]");
        match known.len() {
            1..=LISTED => format!("{define}, or name one of: {}", known.collect::<Vec<_>>().join(", ")),
            _ => define,
        }
    }

    /// A size of contact that has a published rating.
    fn contact_size(&self, text: Option<&At<String>>) -> Option<ContactSize> {
        let text = text?;
        let found = ContactSize::parse(&text.value);
        if found.is_none() {
            let message = format!("`{}` is not a contact size with a published rating", text.value);
            let known = ContactSize::all().map(ContactSize::name).collect::<Vec<_>>().join(", ");
            let help =
                format!("the sizes are {known}; of other contacts give the maker's figure: amps = \"7.5 A\"");
            self.error("contact-size", text.place, message, Some(help));
        }
        found
    }

    fn pair(&self, names: &[At<String>; 2]) -> Option<[Point; 2]> {
        let [a, b] = names.each_ref().map(|name| self.point(name));
        Some([a?, b?])
    }
}

fn rule_set(word: &At<String>, sink: &Sink) -> Option<RuleSet> {
    let found = RuleSet::parse(&word.value);
    if found.is_none() {
        let words = RuleSet::ALL.map(RuleSet::word);
        let help = match nearest(&word.value, words) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("the rule sets are: {}", words.join(", ")),
        };
        let message = format!("no rule set is called `{}`", word.value);
        sink.push(Diagnostic::error("rule-set", word.place, message).help(help));
    }
    found
}

fn overrides(draft: &Draft) -> ResistanceOverrides {
    let raw = &draft.resistance;
    ResistanceOverrides {
        termination: value(raw.termination.as_ref()),
        contact: value(raw.contact.as_ref()),
        splice: value(raw.splice.as_ref()),
        bond: value(raw.bond.as_ref()),
        fuse: value(raw.fuse.as_ref()),
        switch: value(raw.switch.as_ref()),
        relay: value(raw.relay.as_ref()),
    }
}

/// The value of an optional key.
fn value<T: Copy>(slot: Option<&At<T>>) -> Option<T> {
    slot.map(|at| at.value)
}

/// The text of an optional key, or nothing.
fn title(slot: Option<&At<String>>) -> String {
    slot.map(|at| at.value.clone()).unwrap_or_default()
}

/// A placeholder index for connectors that have no contact yet.
fn first_contact(harness: &Harness) -> super::model::ContactId {
    Id::from_index(harness.contacts.len())
}
