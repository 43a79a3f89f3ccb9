//! Elements: the smallest things that can be at fault.

use super::{Link, LinkId, Netlist};
use crate::definition::{ContactId, Harness, PartId, Point, TerminalId, WireId};

/// The smallest thing that can be at fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Element {
    /// A wire between its ends.
    Wire(WireId),
    /// One end of a wire, at a contact or a terminal; 0 is the end written first.
    Termination(WireId, u8),
    /// One end of a wire, in a splice.
    SpliceLeg(WireId, u8),
    /// A mated pair of contacts, named from the mating's first connector.
    Mated(ContactId, ContactId),
    /// A ground terminal's bond to the chassis.
    Bond(TerminalId),
    /// A part.
    Part(PartId),
}

/// An element's name, as it stands in reports and fault ids.
pub type ElementId = String;

impl Element {
    /// The end of a wire as an element.
    fn end(harness: &Harness, wire: WireId, side: u8) -> Self {
        match harness.wires[wire].ends[side as usize] {
            Point::Splice(_) => Self::SpliceLeg(wire, side),
            _ => Self::Termination(wire, side),
        }
    }

    /// Its name: `31A`, `31A@P1.K`, `SP2>31A`, `P1.K/J1.K`, `GP1/chassis`, `F3`.
    pub fn id(self, harness: &Harness) -> ElementId {
        match self {
            Self::Wire(wire) => harness.wires[wire].id.clone(),
            Self::Termination(wire, side) => {
                let wire = &harness.wires[wire];
                format!("{}@{}", wire.id, harness.point_name(wire.ends[side as usize]))
            }
            Self::SpliceLeg(wire, side) => {
                let wire = &harness.wires[wire];
                format!("{}>{}", harness.point_name(wire.ends[side as usize]), wire.id)
            }
            Self::Mated(a, b) => {
                let [a, b] = [a, b].map(|c| harness.point_name(Point::Contact(c)));
                format!("{a}/{b}")
            }
            Self::Bond(terminal) => format!("{}/chassis", harness.terminals[terminal].id),
            Self::Part(part) => harness.parts[part].id.clone(),
        }
    }

    /// What it is, in words a person reads on a sheet.
    pub fn words(self, harness: &Harness) -> String {
        match self {
            Self::Wire(wire) => format!("wire {}", harness.wires[wire].id),
            Self::Termination(wire, side) => {
                let wire = &harness.wires[wire];
                format!("end of wire {} at {}", wire.id, harness.point_name(wire.ends[side as usize]))
            }
            Self::SpliceLeg(wire, side) => {
                let wire = &harness.wires[wire];
                format!("splice {} at wire {}", harness.point_name(wire.ends[side as usize]), wire.id)
            }
            Self::Mated(..) => format!("mated contact {}", self.id(harness)),
            Self::Bond(terminal) => format!("ground bond at {}", harness.terminals[terminal].id),
            Self::Part(part) => {
                let part = &harness.parts[part];
                format!("{} {}", part.kind.word(), part.id)
            }
        }
    }
}

impl Netlist {
    /// A link as people call it: the wire, the part, the pair of contacts or the bond.
    pub fn name(&self, harness: &Harness, link: LinkId) -> String {
        match self.link(link) {
            Link::Wire(wire) => harness.wires[wire].id.clone(),
            Link::Part(part, _) => harness.parts[part].id.clone(),
            Link::Mated { .. } | Link::Bond(_) => {
                self.elements(harness, link).iter().map(|element| element.id(harness)).collect()
            }
        }
    }

    /// The elements of a link, in the order of its ends.
    pub fn elements(&self, harness: &Harness, link: LinkId) -> Vec<Element> {
        match self.link(link) {
            Link::Wire(wire) => {
                vec![Element::end(harness, wire, 0), Element::Wire(wire), Element::end(harness, wire, 1)]
            }
            Link::Mated { contacts: [a, b], .. } => vec![Element::Mated(a, b)],
            Link::Bond(terminal) => vec![Element::Bond(terminal)],
            Link::Part(part, _) => vec![Element::Part(part)],
        }
    }
}
