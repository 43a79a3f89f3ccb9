//! What hands and eyes do when readings can tell no more.
//!
//! Comes in: the faults that are left. Goes out: one line for each place to look at, by its sort. Why: the last proof
//! is always seen or felt, and it comes before anything is replaced.

use super::Group;
use crate::definition::{Harness, PartKind, WireId};
use crate::fault::Fault;
use crate::netlist::Element;

/// So many shorts that may have blown a fuse are named.
const NAMED: usize = 3;

/// What to do, the likeliest first, each once.
pub(super) fn by_hand<'a>(harness: &Harness, groups: impl Iterator<Item = &'a Group>) -> Vec<String> {
    let mut todo = Vec::new();
    for group in groups {
        for fault in group.faults.iter().chain(group.pairs.iter().flatten()) {
            let text = of(harness, *fault);
            if !todo.contains(&text) {
                todo.push(text);
            }
        }
        todo.extend(before_a_new_fuse(harness, group));
    }
    todo
}

/// A fuse has mostly blown for a reason.
fn before_a_new_fuse(harness: &Harness, group: &Group) -> Option<String> {
    let likeliest: Vec<String> = group.behind.iter().take(NAMED).map(|fault| fault.words(harness)).collect();
    let more = match group.behind.len().saturating_sub(NAMED) {
        0 => String::new(),
        more => format!(", and {more} more"),
    };
    (!likeliest.is_empty()).then(|| {
        format!(
            "before a new fuse goes in, read isolation from its load side to the chassis and to its neighbours, with each \
             switch behind it closed in turn: what may have blown it is not cleared ({}{more})",
            likeliest.join(", ")
        )
    })
}

fn of(harness: &Harness, fault: Fault) -> String {
    let words = fault.words(harness);
    match fault {
        Fault::Open(element) | Fault::High(element) => of_element(harness, element),
        Fault::Short(a, b) => match shared_trunks(harness, a, b) {
            Some(trunks) => format!("look for chafing along {trunks}, and at both ends: {words}"),
            None => format!("look for chafing and for stray strands at both ends: {words}"),
        },
        Fault::ToChassis(wire) => {
            format!("follow wire {} along metal edges and clamps: {words}", harness.wires[wire].id)
        }
        Fault::Crossed(_, _, at) => {
            format!("hold {} against its pin map, contact by contact: {words}", harness.connectors[at].id)
        }
        Fault::StuckReleased(_) | Fault::StuckOperated(_) => {
            format!("take the relay out, listen and measure it alone, or swap in a known-good one: {words}")
        }
        Fault::CoilOpen(_) => format!("take the relay out and measure its coil alone: {words}"),
        Fault::PartShort(_) => format!("take it off and measure it alone: {words}"),
        Fault::Dead(_) => format!("swap in a known-good one for the last proof: {words}"),
        Fault::Flat(part) => match harness.parts[part].kind {
            PartKind::Battery { .. } => {
                format!("measure it at its own posts and test it under load: {words}")
            }
            _ => format!("look at its drive, its plug and its fuse first: {words}"),
        },
    }
}

fn of_element(harness: &Harness, element: Element) -> String {
    let words = element.words(harness);
    match element {
        Element::Wire(_) => format!("follow {words} by hand and eye for its whole length"),
        Element::Termination(..) => format!("pull-test the {words}"),
        Element::SpliceLeg(..) => format!("open {words} and look"),
        Element::Mated(..) => {
            format!("drag-test the socket and look at both contacts of {}", element.id(harness))
        }
        Element::Bond(_) => format!("take the lug off at the {words}, clean to bare metal, refit"),
        Element::Part(part) => match harness.parts[part].kind {
            PartKind::Fuse { .. } => format!("take out {words}, look at it and measure it alone"),
            PartKind::Switch { .. } => format!("unplug {words} and measure it alone while it is moved"),
            _ => format!("take out {words} and measure it alone"),
        },
    }
}

/// The trunks that two wires share, in words.
fn shared_trunks(harness: &Harness, a: WireId, b: WireId) -> Option<String> {
    let [a, b] = [a, b].map(|wire| &harness.wires[wire].route);
    let shared: Vec<&str> =
        a.iter().filter(|t| b.contains(t)).map(|t| harness.trunks[*t].id.as_str()).collect();
    (!shared.is_empty()).then(|| shared.join(", "))
}
