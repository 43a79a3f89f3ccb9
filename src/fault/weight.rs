//! How likely each fault is, relative to the others.
//!
//! Weights, not rates: only their ratios matter. The published record gives the order but hardly any
//! figures: connectors and wiring lead aircraft electrical failures and corrosion leads connector
//! failures (USAF mishap data, report ADA226381), chafed wire is the most frequent wiring problem of
//! US Navy aircraft (1998 to 2008), splices are more prone than wire (Transport Canada TP 14331).
//! The numbers below follow that order; they are common practice, no source.

use super::Fault;
use crate::definition::{Harness, PartKind};
use crate::netlist::Element;

/// A row of the table of weights.
#[derive(Debug, Clone, Copy)]
pub struct Weight {
    /// What it is the weight of.
    pub what: &'static str,
    /// The weight.
    pub weight: f64,
}

const fn row(what: &'static str, weight: f64) -> Weight {
    Weight { what, weight }
}

/// The whole table, for people to read and change.
pub const WEIGHTS: &[Weight] = &[
    row("wire open, each metre", 0.5),
    row("wire end open", 2.0),
    row("mated contact open", 4.0),
    row("splice leg open", 3.0),
    row("ground bond open", 4.0),
    row("conductor of high resistance, against open", 0.5),
    row("two wires touch", 0.1),
    row("wire touches the chassis", 0.5),
    row("two wires exchanged", 0.05),
    row("fuse or breaker open", 6.0),
    row("switch open", 3.0),
    row("relay does not operate", 3.0),
    row("relay does not release", 1.0),
    row("relay coil open", 1.5),
    row("load open", 3.0),
    row("load shorted", 0.5),
    row("diode open or shorted", 0.5),
    row("unit dead", 2.0),
    row("source gives nothing", 5.0),
];

fn weight(what: &str) -> f64 {
    WEIGHTS.iter().find(|row| row.what == what).map_or(1.0, |row| row.weight)
}

/// The weight of a fault.
pub(super) fn of(harness: &Harness, fault: Fault) -> f64 {
    match fault {
        Fault::Open(element) => open(harness, element),
        Fault::High(element) => open(harness, element) * weight("conductor of high resistance, against open"),
        Fault::Short(..) => weight("two wires touch"),
        Fault::ToChassis(_) => weight("wire touches the chassis"),
        Fault::Crossed(..) => weight("two wires exchanged"),
        Fault::PartShort(part) => match harness.parts[part].kind {
            PartKind::Diode { .. } => weight("diode open or shorted"),
            _ => weight("load shorted"),
        },
        Fault::StuckReleased(_) => weight("relay does not operate"),
        Fault::StuckOperated(_) => weight("relay does not release"),
        Fault::CoilOpen(_) => weight("relay coil open"),
        Fault::Dead(_) => weight("unit dead"),
        Fault::Flat(_) => weight("source gives nothing"),
    }
}

fn open(harness: &Harness, element: Element) -> f64 {
    match element {
        Element::Wire(wire) => {
            let metres = harness.wires[wire].length.map_or(1.0, crate::units::Metres::get);
            weight("wire open, each metre") * metres.max(0.2)
        }
        Element::Termination(..) => weight("wire end open"),
        Element::SpliceLeg(..) => weight("splice leg open"),
        Element::Mated(..) => weight("mated contact open"),
        Element::Bond(_) => weight("ground bond open"),
        Element::Part(part) => match harness.parts[part].kind {
            PartKind::Fuse { .. } => weight("fuse or breaker open"),
            PartKind::Switch { .. } => weight("switch open"),
            PartKind::Diode { .. } => weight("diode open or shorted"),
            _ => weight("load open"),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_is_used_by_its_exact_words() {
        // The look-up is by words; a misspelt one would silently weigh 1.
        for row in WEIGHTS {
            assert!((weight(row.what) - row.weight).abs() < 1e-12);
        }
        let source = include_str!("weight.rs");
        let asked = source.split("weight(\"").skip(1).filter_map(|rest| rest.split('"').next());
        for what in asked {
            assert!(WEIGHTS.iter().any(|row| row.what == what), "{what}");
        }
    }
}
