//! What a drawing points out.
//!
//! Comes in: probes, readings, a diagnosis. Goes out: marks at points, shares at elements, wires to
//! follow, and distances. Why: a face, a strip and a layout of the same moment must point at the same
//! things.

use std::collections::BTreeMap;
use std::fmt;

use super::face::Mark;
use crate::definition::{ContactId, Harness, Point, WireId};
use crate::locate::{Diagnosis, Distance};
use crate::netlist::Element;

/// A share of the probability, in whole tenths of a percent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Share(u16);

impl Share {
    /// From a number between 0 and 1.
    pub fn of(share: f64) -> Self {
        #[expect(clippy::cast_sign_loss, reason = "clamped to 0..=1000 in the same line")]
        let tenths = (share * 1000.0).round().clamp(0.0, 1000.0) as u16;
        Self(tenths)
    }

    /// As a number between 0 and 1.
    pub fn get(self) -> f64 {
        f64::from(self.0) / 1000.0
    }

    /// The class of its shade: four steps, the darkest from three quarters on.
    pub(super) fn shade(self) -> &'static str {
        match self.0 {
            750.. => "shade-4",
            400.. => "shade-3",
            100.. => "shade-2",
            _ => "shade-1",
        }
    }
}

impl fmt::Display for Share {
    /// "63 %", or "<1 %".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0 < 10 { f.write_str("<1 %") } else { write!(f, "{} %", (self.0 + 5) / 10) }
    }
}

/// Everything that a drawing shall point out.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Highlights {
    /// Probes and results at points. Of several marks at one point the first counts.
    pub points: Vec<(Point, Mark)>,
    /// Suspect elements with their share, each once.
    pub suspects: Vec<(Element, Share)>,
    /// Wires to follow from end to end.
    pub wires: Vec<WireId>,
    /// How far along a wire a fault lies.
    pub distances: Vec<(WireId, Distance)>,
}

impl Highlights {
    /// The suspects of a diagnosis, and the points that were read: bad where any reading there was bad. An
    /// element has the shares of all groups in which one of its faults stands, added up.
    pub fn of_diagnosis(diagnosis: &Diagnosis) -> Self {
        let mut shares: BTreeMap<Element, f64> = BTreeMap::new();
        let mut distances = Vec::new();
        for group in &diagnosis.suspects {
            let mut elements: Vec<Element> = group.faults.iter().flat_map(|f| f.elements()).collect();
            elements.sort_unstable();
            elements.dedup();
            for element in &elements {
                *shares.entry(*element).or_insert(0.0) += group.share;
            }
            let wire =
                elements.iter().find_map(|e| if let Element::Wire(wire) = e { Some(*wire) } else { None });
            distances.extend(wire.zip(group.distance.clone()));
        }
        let suspects = shares.into_iter().map(|(element, share)| (element, Share::of(share))).collect();
        let mut read: BTreeMap<Point, bool> = BTreeMap::new();
        for judged in &diagnosis.judged {
            for point in [judged.measurement.red(), judged.measurement.black()] {
                *read.entry(point).or_insert(true) &= judged.good;
            }
        }
        let points = read.into_iter().map(|(point, good)| (point, if good { Mark::Good } else { Mark::Bad }));
        Self { points: points.collect(), suspects, distances, ..Self::default() }
    }

    /// The share of an element, if it is suspect.
    pub(super) fn share(&self, element: Element) -> Option<Share> {
        self.suspects.iter().find(|(e, _)| *e == element).map(|(_, share)| *share)
    }

    /// The mark at a point, if there is one.
    pub(super) fn mark(&self, point: Point) -> Option<Mark> {
        self.points.iter().find(|(p, _)| *p == point).map(|(_, mark)| *mark)
    }

    /// What a face shows of this: probes, then suspects that lie in a contact or end there, then results. A
    /// suspect wire is pointed out at both its ends.
    pub fn at_contacts(&self, harness: &Harness) -> Vec<(ContactId, Mark)> {
        let is_probe = |mark: Mark| matches!(mark, Mark::RedProbe | Mark::BlackProbe);
        let contact = |(point, mark): &(Point, Mark)| match point {
            Point::Contact(contact) => Some((*contact, *mark)),
            _ => None,
        };
        let (mut marks, results): (Vec<_>, Vec<_>) =
            self.points.iter().filter_map(contact).partition(|(_, mark)| is_probe(*mark));
        let mut shares: BTreeMap<ContactId, Share> = BTreeMap::new();
        for (element, share) in &self.suspects {
            for contact in contacts_of(harness, *element) {
                let known = shares.entry(contact).or_default();
                *known = (*known).max(*share);
            }
        }
        marks.extend(shares.into_iter().map(|(contact, share)| (contact, Mark::Suspect(share))));
        marks.extend(results);
        marks
    }
}

/// The contacts at which an element can be looked at.
fn contacts_of(harness: &Harness, element: Element) -> Vec<ContactId> {
    let contact = |point: Point| if let Point::Contact(id) = point { Some(id) } else { None };
    match element {
        Element::Wire(wire) => harness.wires[wire].ends.into_iter().filter_map(contact).collect(),
        Element::Termination(wire, side) | Element::SpliceLeg(wire, side) => {
            contact(harness.wires[wire].ends[side as usize]).into_iter().collect()
        }
        Element::Mated(a, b) => vec![a, b],
        Element::Part(part) => harness.parts[part].kind.points().into_iter().filter_map(contact).collect(),
        Element::Bond(_) => Vec::new(),
    }
}
