//! Suspects and cleared elements in few words: what belongs to one wire is said once.

use std::collections::{BTreeMap, BTreeSet};

use super::station_word;
use crate::definition::{Harness, Point, StationId, WireId};
use crate::fault::Fault;
use crate::netlist::Element;

/// More names than this in one list are counted, not named.
const NAMED: usize = 14;

/// Elements by wire, contact and so on, those of one wire taken together.
#[derive(Default)]
struct Sorted {
    /// Each wire with what of it is meant: itself, its first end, its second end.
    wires: BTreeMap<WireId, [bool; 3]>,
    contacts: Vec<String>,
    others: Vec<String>,
}

impl Sorted {
    fn of(harness: &Harness, elements: impl IntoIterator<Item = Element>) -> Self {
        let mut sorted = Self::default();
        for element in elements {
            match element {
                Element::Wire(wire) => sorted.wires.entry(wire).or_default()[0] = true,
                Element::Termination(wire, side) | Element::SpliceLeg(wire, side) => {
                    sorted.wires.entry(wire).or_default()[1 + side as usize] = true;
                }
                Element::Mated(..) => sorted.contacts.push(element.id(harness)),
                Element::Bond(_) | Element::Part(_) => sorted.others.push(element.words(harness)),
            }
        }
        sorted
    }

    fn words(&self, harness: &Harness) -> String {
        let mut whole = Vec::new();
        let mut pieces = Vec::new();
        for (wire, [itself, first, second]) in &self.wires {
            if *itself && *first && *second {
                whole.push(harness.wires[*wire].id.clone());
                continue;
            }
            pieces.extend(itself.then(|| format!("wire {} between its ends", harness.wires[*wire].id)));
            for (side, meant) in [(0, first), (1, second)] {
                let end = harness.wires[*wire].ends[side];
                pieces.extend(
                    meant.then(|| format!("{} end at {}", harness.wires[*wire].id, harness.point_name(end))),
                );
            }
        }
        let mut words = Vec::new();
        if !whole.is_empty() {
            let ends = if whole.len() == 1 { "with both its ends" } else { "with their ends" };
            words.push(format!("{} {} {ends}", plural("wire", whole.len()), named(&whole)));
        }
        if !pieces.is_empty() {
            words.push(named(&pieces));
        }
        if !self.contacts.is_empty() {
            words.push(format!("{} {}", plural("contact pair", self.contacts.len()), named(&self.contacts)));
        }
        if !self.others.is_empty() {
            words.push(named(&self.others));
        }
        words.join("; ")
    }
}

fn plural(word: &str, count: usize) -> String {
    if count == 1 { word.to_owned() } else { format!("{word}s") }
}

fn named(names: &[String]) -> String {
    let shown = names[..names.len().min(NAMED)].join(", ");
    let more = names.len().saturating_sub(NAMED);
    if more > 0 { format!("{shown} and {more} more") } else { shown }
}

/// Elements in words.
pub(super) fn elements(harness: &Harness, elements: impl IntoIterator<Item = Element>) -> String {
    Sorted::of(harness, elements).words(harness)
}

/// Faults in words, opens and bad joints taken together.
pub(super) fn faults(harness: &Harness, faults: &[Fault]) -> String {
    let of = |wanted: fn(&Fault) -> Option<Element>| faults.iter().filter_map(wanted).collect::<Vec<_>>();
    let open = of(|fault| if let Fault::Open(element) = fault { Some(*element) } else { None });
    let high = of(|fault| if let Fault::High(element) = fault { Some(*element) } else { None });
    let mut words = Vec::new();
    for (mode, found) in [("open", open), ("bad joint or high resistance", high)] {
        if !found.is_empty() {
            words.push(format!("{mode}: {}", elements(harness, found)));
        }
    }
    let others = faults.iter().filter(|fault| !matches!(fault, Fault::Open(_) | Fault::High(_)));
    let others: Vec<String> = others.map(|fault| fault.words(harness)).collect();
    if !others.is_empty() {
        words.push(named(&others));
    }
    words.join(". Or ")
}

/// The faults that an outcome would leave: all in words where they are few, else the likeliest by their ids.
pub(super) fn left(harness: &Harness, found: &[Fault]) -> String {
    const FEW: usize = 8;
    const LIKELIEST: usize = 5;
    if found.len() <= FEW {
        return faults(harness, found);
    }
    let first: Vec<String> = found.iter().take(LIKELIEST).map(|fault| fault.id(harness)).collect();
    format!("{} faults, the likeliest: {}", found.len(), first.join(", "))
}

/// Where a person looks for a group of faults: one wire with its particulars, or the stations.
pub(super) fn place(harness: &Harness, faults: &[Fault]) -> String {
    let elements: BTreeSet<Element> = faults.iter().flat_map(|fault| fault.elements()).collect();
    let wires: BTreeSet<WireId> = elements.iter().filter_map(|element| wire_of(*element)).collect();
    let mut words: Vec<String> = Vec::new();
    if wires.len() <= 2 {
        words.extend(wires.iter().map(|wire| particulars(harness, *wire)));
    }
    let mut stations: Vec<String> = Vec::new();
    for station in elements.iter().flat_map(|element| stations_of(harness, *element)) {
        let word = station_word(harness, station);
        if !word.is_empty() && !stations.contains(&word) {
            stations.push(word);
        }
    }
    if !stations.is_empty() {
        words.push(format!("at {}", stations.join(", ")));
    }
    words.join("; ")
}

fn wire_of(element: Element) -> Option<WireId> {
    match element {
        Element::Wire(wire) | Element::Termination(wire, _) | Element::SpliceLeg(wire, _) => Some(wire),
        _ => None,
    }
}

fn stations_of(harness: &Harness, element: Element) -> Vec<Option<StationId>> {
    let at = |point: Point| harness.station_of(point);
    match element {
        Element::Wire(wire) => harness.wires[wire].ends.map(at).to_vec(),
        Element::Termination(wire, side) | Element::SpliceLeg(wire, side) => {
            vec![at(harness.wires[wire].ends[side as usize])]
        }
        Element::Mated(a, _) => vec![at(Point::Contact(a))],
        Element::Bond(terminal) => vec![at(Point::Terminal(terminal))],
        Element::Part(part) => vec![harness.parts[part].station],
    }
}

/// A wire as a person recognises it: "31C from SP3 to P1.K, YE, 400 mm, through T3".
fn particulars(harness: &Harness, id: WireId) -> String {
    let wire = &harness.wires[id];
    let [from, to] = wire.ends.map(|end| harness.point_name(end));
    let mut text = format!("{} from {from} to {to}", wire.id);
    for more in [wire.colour.as_ref().map(ToString::to_string), wire.length.map(|l| l.to_string())] {
        text.extend(more.map(|more| format!(", {more}")));
    }
    let trunks: Vec<&str> = wire.route.iter().map(|t| harness.trunks[*t].id.as_str()).collect();
    if !trunks.is_empty() {
        text += ", through ";
        text += &trunks.join(" ");
    }
    text
}
