//! How likely each fault is, relative to the others.
//!
//! Weights, not rates: only their ratios matter. The published record gives the order but hardly any
//! figures: connectors and wiring lead aircraft electrical failures and corrosion leads connector
//! failures (USAF mishap data, report ADA226381), chafed wire is the most frequent wiring problem of
//! US Navy aircraft (1998 to 2008), splices are more prone than wire (Transport Canada TP 14331).
//! The numbers below follow that order; they are common practice, no source. A definition may give
//! weights of its own under `[prior]`.

use super::Fault;
use crate::definition::{Harness, Named, PartKind, Point, Sort};
use crate::netlist::Element;

/// A row of the table of weights.
#[derive(Debug, Clone, Copy)]
pub struct Weight {
    /// The sort of fault.
    pub sort: Sort,
    /// What it is, in words.
    pub what: &'static str,
    /// The usual weight.
    pub weight: f64,
    /// What speaks for it.
    pub source: &'static str,
}

const fn row(sort: Sort, what: &'static str, weight: f64, source: &'static str) -> Weight {
    Weight { sort, what, weight, source }
}

const PRACTICE: &str = "common practice, no source";
const CONNECTORS: &str = "order: connectors lead, ADA226381; figure: common practice";
const SPLICES: &str = "order: splices before wire, Transport Canada TP 14331; figure: common practice";
const CHAFING: &str = "order: chafing leads wire faults, US Navy 1998 to 2008; figure: common practice";

/// The whole table, for people to read and change.
pub const WEIGHTS: [Weight; Sort::ALL.len()] = [
    row(Sort::WireOpen, "wire open, each metre", 0.5, PRACTICE),
    row(Sort::TerminationOpen, "wire end open", 2.0, CONNECTORS),
    row(Sort::ContactOpen, "mated contact open", 4.0, CONNECTORS),
    row(Sort::SpliceOpen, "splice leg open", 3.0, SPLICES),
    row(Sort::BondOpen, "ground bond open", 4.0, CONNECTORS),
    row(Sort::High, "conductor of high resistance, against open", 0.5, PRACTICE),
    row(Sort::Short, "two wires touch", 0.1, PRACTICE),
    row(Sort::ShortToChassis, "wire touches the chassis", 0.5, CHAFING),
    row(Sort::Crossed, "two wires exchanged", 0.05, PRACTICE),
    row(Sort::FuseOpen, "fuse or breaker open", 6.0, PRACTICE),
    row(Sort::SwitchOpen, "switch open", 3.0, PRACTICE),
    row(Sort::StuckReleased, "relay does not operate", 3.0, PRACTICE),
    row(Sort::StuckOperated, "relay does not release", 1.0, PRACTICE),
    row(Sort::CoilOpen, "relay coil open", 1.5, PRACTICE),
    row(Sort::LoadOpen, "load open", 3.0, PRACTICE),
    row(Sort::LoadShort, "load shorted", 0.5, PRACTICE),
    row(Sort::Diode, "diode open or shorted", 0.5, PRACTICE),
    row(Sort::UnitDead, "unit dead", 2.0, PRACTICE),
    row(Sort::SourceFlat, "source gives nothing", 5.0, PRACTICE),
];

/// The weight of a sort of fault in a machine: the definition's own, or the usual one.
pub fn of_sort(harness: &Harness, sort: Sort) -> f64 {
    let own = harness.priors.weights.get(&sort).copied();
    let usual = || WEIGHTS.iter().find(|row| row.sort == sort).map_or(1.0, |row| row.weight);
    own.unwrap_or_else(usual)
}

/// The weight of a fault: that of its sort, as many times as the definition says of the things it is in.
pub(super) fn of(harness: &Harness, fault: Fault) -> f64 {
    if harness.priors.times.is_empty() {
        return usual(harness, fault);
    }
    let mut things: Vec<Named> =
        fault.elements().into_iter().flat_map(|element| things(harness, element)).collect();
    if let Fault::Crossed(_, _, at) = fault {
        things.push(Named::Connector(at));
    }
    things.sort_unstable();
    things.dedup();
    let times: f64 = things.into_iter().map(|thing| harness.priors.times(thing)).product();
    usual(harness, fault) * times
}

fn usual(harness: &Harness, fault: Fault) -> f64 {
    let weight = |sort| of_sort(harness, sort);
    match fault {
        Fault::Open(element) => open(harness, element),
        Fault::High(element) => open(harness, element) * weight(Sort::High),
        Fault::Short(..) => weight(Sort::Short),
        Fault::ToChassis(_) => weight(Sort::ShortToChassis),
        Fault::Crossed(..) => weight(Sort::Crossed),
        Fault::PartShort(part) => weight(match harness.parts[part].kind {
            PartKind::Diode { .. } => Sort::Diode,
            _ => Sort::LoadShort,
        }),
        Fault::StuckReleased(_) => weight(Sort::StuckReleased),
        Fault::StuckOperated(_) => weight(Sort::StuckOperated),
        Fault::CoilOpen(_) => weight(Sort::CoilOpen),
        Fault::Dead(_) => weight(Sort::UnitDead),
        Fault::Flat(_) => weight(Sort::SourceFlat),
    }
}

fn open(harness: &Harness, element: Element) -> f64 {
    let weight = |sort| of_sort(harness, sort);
    match element {
        Element::Wire(wire) => {
            let metres = harness.wires[wire].length.map_or(1.0, crate::units::Metres::get);
            weight(Sort::WireOpen) * metres.max(0.2)
        }
        Element::Termination(..) => weight(Sort::TerminationOpen),
        Element::SpliceLeg(..) => weight(Sort::SpliceOpen),
        Element::Mated(..) => weight(Sort::ContactOpen),
        Element::Bond(_) => weight(Sort::BondOpen),
        Element::Part(part) => weight(match harness.parts[part].kind {
            PartKind::Fuse { .. } => Sort::FuseOpen,
            PartKind::Switch { .. } => Sort::SwitchOpen,
            PartKind::Diode { .. } => Sort::Diode,
            _ => Sort::LoadOpen,
        }),
    }
}

/// The things by whose names a definition may weigh an element.
fn things(harness: &Harness, element: Element) -> Vec<Named> {
    let at = |point: Point| match point {
        Point::Contact(contact) => Some(Named::Connector(harness.contacts[contact].connector)),
        Point::Splice(splice) => Some(Named::Splice(splice)),
        Point::Terminal(terminal) => Some(Named::Terminal(terminal)),
        Point::Chassis => None,
    };
    match element {
        Element::Wire(wire) => vec![Named::Wire(wire)],
        Element::Termination(wire, side) | Element::SpliceLeg(wire, side) => {
            let end = harness.wires[wire].ends.get(usize::from(side)).copied();
            end.and_then(at).into_iter().chain([Named::Wire(wire)]).collect()
        }
        Element::Mated(a, b) => [a, b].into_iter().filter_map(|c| at(Point::Contact(c))).collect(),
        Element::Bond(terminal) => vec![Named::Terminal(terminal)],
        Element::Part(part) => vec![Named::Part(part)],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_sort_has_one_row_and_one_key() {
        for (key, sort) in Sort::ALL {
            assert_eq!(WEIGHTS.iter().filter(|row| row.sort == sort).count(), 1, "{key}");
            assert_eq!(Sort::parse(key), Some(sort));
            assert_eq!(sort.key(), key);
        }
    }
}
