//! Faults that come and go: readings taken while something was moved.
//!
//! Comes in: readings with `min`, `max` or `disturbed`. Goes out: which of their values counts, and what the
//! other readings are still worth. Why: an intermittent reads good whenever nobody touches it, so a good
//! reading at rest must not clear it, and what was being moved is the best clue there is.
//!
//! What holds:
//! - Of `value`, `min` and `max` the one that is out of limits counts, and of several the one farthest out;
//!   a `value` that is itself out of limits counts before both, because the fault is there at rest too.
//! - Where some reading is bad only while something is moved, the fault comes and goes, and two wires exchanged
//!   are out of the question. Good readings at rest then speak against no fault; a good reading while something was moved speaks
//!   against those that lie at what was moved, and against no other.
//! - Suspects that lie at what was moved when a reading went bad count [`FAVOUR`] times.
//! - What was moved is what `disturbed` names of the definition: trunks, connectors, contacts, splices,
//!   terminals, wires, parts, stations, by their ids.

use std::collections::BTreeSet;

use super::Judged;
use crate::definition::{ConnectorId, Harness, Named, PartId, Point, StationId, TrunkId, WireId};
use crate::fault::Fault;
use crate::measure::{Expectation, Reading};
use crate::netlist::Element;
use crate::record::Entry;

/// How many times likelier a suspect is that lies at what was moved when a reading went bad: common practice,
/// no source. Moving one place shakes its neighbours too, so it is a hint and no proof.
pub const FAVOUR: f64 = 5.0;

/// A reading that was taken while something was moved.
#[derive(Debug, Clone)]
pub struct Wiggled {
    /// How reports refer to it.
    pub name: String,
    /// What it showed at rest.
    pub value: Reading,
    /// The least it showed.
    pub min: Option<Reading>,
    /// The most it showed.
    pub max: Option<Reading>,
    /// What was moved, as written.
    pub disturbed: Option<String>,
    /// What of the definition that names, in the order it is written.
    pub moved: Vec<String>,
    /// Which value counts: `value`, `min` or `max`.
    pub counts: &'static str,
    /// Whether it was good all the time.
    pub good: bool,
}

/// Which of an entry's values counts: that out of limits, the farthest out; its value where all are good.
pub(super) fn counted(entry: &Entry, expect: &Expectation) -> (Reading, &'static str) {
    let how_far = |reading: Reading| {
        let level = reading.level().unwrap_or_default();
        (expect.low - level).max(expect.high.map_or(f64::NEG_INFINITY, |high| level - high))
    };
    if !expect.admits(entry.value) {
        return (entry.value, "value");
    }
    let extremes = [(entry.min, "min"), (entry.max, "max")];
    let bad = extremes.into_iter().filter_map(|(reading, word)| Some((reading?, word)));
    let bad = bad.filter(|(reading, _)| !expect.admits(*reading));
    bad.max_by(|a, b| how_far(a.0).total_cmp(&how_far(b.0))).unwrap_or((entry.value, "value"))
}

/// Things of the definition that were moved, heated or cooled.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Moved {
    trunks: BTreeSet<TrunkId>,
    connectors: BTreeSet<ConnectorId>,
    points: BTreeSet<Point>,
    wires: BTreeSet<WireId>,
    parts: BTreeSet<PartId>,
    stations: BTreeSet<StationId>,
    /// As they are written, for people.
    pub names: Vec<String>,
}

impl Moved {
    /// What a text names. Words that name nothing are what people write around it.
    pub fn parse(harness: &Harness, text: &str) -> Self {
        let mut moved = Self::default();
        let ends_word =
            |c: char| c.is_whitespace() || matches!(c, ',' | ';' | ':' | '(' | ')' | '"' | '\'' | '/');
        for word in text.split(ends_word).map(|word| word.trim_end_matches(['.', '!', '?'])) {
            if !word.is_empty() && !moved.names.iter().any(|known| known == word) && moved.add(harness, word)
            {
                moved.names.push(word.to_owned());
            }
        }
        moved
    }

    fn add(&mut self, harness: &Harness, word: &str) -> bool {
        let trunk = harness.trunks.iter().find(|(_, trunk)| trunk.id == word).map(|(id, _)| id);
        let station = harness.stations.iter().find(|(_, station)| station.id == word).map(|(id, _)| id);
        self.trunks.extend(trunk);
        self.stations.extend(station);
        let named = harness.names.get(word);
        match named {
            Some(Named::Connector(id)) => drop(self.connectors.insert(id)),
            Some(Named::Splice(id)) => drop(self.points.insert(Point::Splice(id))),
            Some(Named::Terminal(id)) => drop(self.points.insert(Point::Terminal(id))),
            Some(Named::Part(id)) => drop(self.parts.insert(id)),
            Some(Named::Wire(id)) => drop(self.wires.insert(id)),
            None => {}
        }
        let contact = if named.is_none() && word.contains('.') { harness.point(word).ok() } else { None };
        self.points.extend(contact);
        trunk.is_some() || station.is_some() || named.is_some() || contact.is_some()
    }

    /// Whether it names nothing of the definition.
    pub fn is_empty(&self) -> bool {
        self.names.is_empty()
    }

    /// Whether a fault lies at what was moved.
    pub fn holds(&self, harness: &Harness, fault: Fault) -> bool {
        match fault {
            // Two wires touch where both are.
            Fault::Short(a, b) => {
                let together =
                    |trunk: &TrunkId| [a, b].iter().all(|w| harness.wires[*w].route.contains(trunk));
                self.trunks.iter().any(together)
                    || [a, b].iter().any(|w| self.wires.contains(w))
                    || [a, b].iter().all(|w| harness.wires[*w].ends.iter().any(|end| self.at(harness, *end)))
            }
            Fault::ToChassis(wire) => {
                self.wire(harness, wire) || harness.wires[wire].ends.iter().any(|end| self.at(harness, *end))
            }
            Fault::Crossed(_, _, at) => self.connectors.contains(&at),
            _ => fault.elements().into_iter().any(|element| self.element(harness, element)),
        }
    }

    fn element(&self, harness: &Harness, element: Element) -> bool {
        match element {
            Element::Wire(wire) => self.wire(harness, wire),
            Element::Termination(wire, side) | Element::SpliceLeg(wire, side) => {
                let end = harness.wires[wire].ends[side as usize];
                self.wires.contains(&wire) || self.at(harness, end) || self.trunk_ends_at(harness, wire, end)
            }
            Element::Mated(a, b) => [a, b].iter().any(|contact| self.at(harness, Point::Contact(*contact))),
            Element::Bond(terminal) => self.at(harness, Point::Terminal(terminal)),
            Element::Part(part) => {
                self.parts.contains(&part)
                    || harness.parts[part].station.is_some_and(|station| self.stations.contains(&station))
            }
        }
    }

    /// A wire between its ends: in a trunk that was moved, or itself.
    fn wire(&self, harness: &Harness, wire: WireId) -> bool {
        self.wires.contains(&wire)
            || harness.wires[wire].route.iter().any(|trunk| self.trunks.contains(trunk))
    }

    /// What is at a point: itself, its connector or its station was moved. A plug's mate moves with it.
    fn at(&self, harness: &Harness, point: Point) -> bool {
        let connector = match point {
            Point::Contact(id) => {
                let own = harness.contacts[id].connector;
                self.connectors.contains(&own)
                    || harness.mate_of(own).is_some_and(|mate| self.connectors.contains(&mate))
            }
            _ => false,
        };
        connector
            || self.points.contains(&point)
            || harness.station_of(point).is_some_and(|station| self.stations.contains(&station))
    }

    /// A trunk that ends at a plug or splice pulls at it: the ends there of the wires that run through it.
    fn trunk_ends_at(&self, harness: &Harness, wire: WireId, end: Point) -> bool {
        let name = match end {
            Point::Contact(id) => &harness.connectors[harness.contacts[id].connector].id,
            Point::Splice(id) => &harness.splices[id].id,
            Point::Terminal(id) => &harness.terminals[id].id,
            Point::Chassis => return false,
        };
        let trunks = harness.wires[wire].route.iter().filter(|trunk| self.trunks.contains(trunk));
        trunks.into_iter().any(|trunk| harness.trunks[*trunk].between.contains(name))
    }
}

/// What a reading is worth against a fault that comes and goes.
#[derive(Debug, Clone)]
enum Worth {
    /// It was bad: what explains everything must explain it.
    Bad,
    /// It was good, and nothing was moved.
    AtRest,
    /// It was good while this was moved.
    Moved(Moved),
}

/// What the readings of a record say of a fault that comes and goes.
#[derive(Debug, Clone, Default)]
pub(super) struct Intermittent {
    /// Whether some reading was bad only while something was moved.
    comes_and_goes: bool,
    /// By the place of each reading among the judged.
    worth: Vec<Worth>,
    /// What was moved when readings went bad.
    moved: Vec<Moved>,
    /// Readings that were taken while something was moved.
    pub(super) wiggled: Vec<Wiggled>,
}

impl Intermittent {
    /// Reads what was moved, and lets the value that counts stand for each reading.
    pub(super) fn new(harness: &Harness, judged: &mut [Judged], entries: &[Entry]) -> Self {
        let mut found = Self::default();
        for reading in judged {
            let Some(entry) = entries.iter().find(|entry| entry.name() == reading.name) else {
                found.worth.push(if reading.good { Worth::AtRest } else { Worth::Bad });
                continue;
            };
            let (value, counts) = counted(entry, &reading.expect);
            reading.value = value;
            reading.good = reading.expect.admits(value);
            let moved =
                entry.disturbed.as_deref().map(|text| Moved::parse(harness, text)).unwrap_or_default();
            if entry.disturbed.is_some() || entry.min.is_some() || entry.max.is_some() {
                found.wiggled.push(Wiggled {
                    name: entry.name(),
                    value: entry.value,
                    min: entry.min,
                    max: entry.max,
                    disturbed: entry.disturbed.clone(),
                    moved: moved.names.clone(),
                    counts,
                    good: reading.good,
                });
            }
            found.comes_and_goes |= !reading.good && counts != "value";
            if !reading.good && !moved.is_empty() {
                found.moved.push(moved.clone());
            }
            found.worth.push(match (reading.good, moved.is_empty()) {
                (false, _) => Worth::Bad,
                (true, true) => Worth::AtRest,
                (true, false) => Worth::Moved(moved),
            });
        }
        found
    }

    /// Whether some reading was bad only while something was moved.
    pub(super) fn comes_and_goes(&self) -> bool {
        self.comes_and_goes
    }

    /// Whether a reading says nothing against a fault, because the fault may not have been there then.
    pub(super) fn excuses(&self, harness: &Harness, fault: Fault, reading: usize) -> bool {
        if !self.comes_and_goes {
            return false;
        }
        match self.worth.get(reading) {
            Some(Worth::AtRest) => true,
            Some(Worth::Moved(moved)) => !moved.holds(harness, fault),
            Some(Worth::Bad) | None => false,
        }
    }

    /// Whether a fault is out because the one looked for comes and goes, and this one could not.
    pub(super) fn rules_out(&self, fault: Fault) -> bool {
        self.comes_and_goes && !can_come_and_go(fault)
    }

    /// How many times likelier a fault is by where it lies.
    pub(super) fn favour(&self, harness: &Harness, fault: Fault) -> f64 {
        if self.moved.iter().any(|moved| moved.holds(harness, fault)) { FAVOUR } else { 1.0 }
    }

    /// What a person should know of it.
    pub(super) fn notes(&self) -> Vec<String> {
        let mut notes: Vec<String> =
            self.wiggled.iter().filter(|w| w.counts != "value").map(Wiggled::words).collect();
        if self.comes_and_goes {
            notes.push(
                "the fault comes and goes: good readings at rest clear nothing; move the same place at every \
                 further reading, and log min, max and disturbed"
                    .to_owned(),
            );
        }
        notes
    }
}

impl Wiggled {
    /// In words: what counts, and what was moved.
    pub fn words(&self) -> String {
        let shown = match self.counts {
            "min" => self.min,
            "max" => self.max,
            _ => None,
        };
        let shown = shown.unwrap_or(self.value);
        let while_moved =
            self.disturbed.as_ref().map_or_else(String::new, |text| format!(" while moved ({text})"));
        let named = match &self.moved[..] {
            [] if self.disturbed.is_some() => "; that names nothing of the definition".to_owned(),
            [] => "; what was moved is not written".to_owned(),
            names => format!("; suspects at {} count {FAVOUR} times", names.join(", ")),
        };
        format!(
            "{}: {} at rest, {} {}{while_moved}: the extreme counts{named}",
            self.name,
            self.value.words(),
            self.counts,
            shown.words()
        )
    }
}

/// Whether a fault can be there one moment and not the next. Wires in each other's cavities stay there.
fn can_come_and_go(fault: Fault) -> bool {
    !matches!(fault, Fault::Crossed(..))
}
