//! Each wire against the fuse or breaker that protects it.
//!
//! From each source outwards, through conductors, switches, relay contacts in either state, diodes the way
//! they conduct, and fuses: what a wire may have to carry into a short is the least rating on its way, and
//! of several ways the one that lets most through. Loads and units end the search:
//! a unit's outputs are guarded by what is inside it, which is not known.

use std::collections::BinaryHeap;

use super::survey::Survey;
use super::{Finding, Rule};
use crate::conductor::area;
use crate::conductor::table::AC_43_13_1B_TABLE_11_9;
use crate::definition::diagnostic::Severity;
use crate::definition::{PartKind, Wire, WireId};
use crate::netlist::{Link, LinkId, PartWay};
use crate::units::{Amps, Awg, Gauge};

const TABLE: &str = "AC 43.13-1B Table 11-9";
const MAKER: &str = "the maker's figure, as the definition gives it";
const UNPROTECTED: &str = "common practice, no source";

pub(super) const RULE: Rule = Rule {
    name: "wire-protection",
    demands: "The fuse or breaker ahead of a wire is rated no higher than the wire may carry; no load is fed without one.",
    why: "A fuse protects the wire behind it: a wire that gives way first burns.",
    source: "AC 43.13-1B Table 11-9 by the insulation's rating (105 degC where none is given); metric and SAE sizes by the next smaller AWG size by area (conservative, common practice); or the maker's `ampacity`",
    on_request: false,
    check,
};

/// From this cross-section on, in mm2, an unprotected wire counts as a battery or starter cable, which
/// usual practice leaves without a fuse: common practice, no source.
const CABLE: f64 = 16.0;

/// What reaches a node: the most current that no fuse stops, the fuse that stops more, and the way here.
#[derive(Clone, Copy)]
struct Reached {
    amps: f64,
    fuse: Option<LinkId>,
    by: Option<(LinkId, usize)>,
}

fn check(survey: &Survey<'_>) -> Vec<Finding> {
    let reached = reach(survey);
    let bare = unprotected(survey, &reached);
    let of = |(id, wire): (WireId, &Wire)| {
        let node = survey.harness.point_index(wire.ends[0]);
        let reached = reached[node]?;
        match reached.fuse {
            Some(fuse) => overloaded(survey, wire, reached.amps, fuse),
            None => bare.contains(&id).then(|| bare_wire(wire)),
        }
    };
    survey.harness.wires.iter().filter_map(of).collect()
}

/// The widest way from any source to each node (Dijkstra's algorithm on the least rating of a way).
fn reach(survey: &Survey<'_>) -> Vec<Option<Reached>> {
    let mut reached: Vec<Option<Reached>> = vec![None; survey.netlist.point_count()];
    // Ratings are above zero, and the bits of such numbers sort as the numbers do.
    let mut open = BinaryHeap::new();
    for part in survey.harness.parts.values() {
        let (plus, amps) = match &part.kind {
            PartKind::Battery { plus, .. } => (*plus, f64::INFINITY),
            // An alternator gives no more than it can.
            PartKind::Alternator { plus, most, .. } => (*plus, most.map_or(0.0, Amps::get)),
            _ => continue,
        };
        let node = survey.harness.point_index(plus);
        let new = Reached { amps, fuse: None, by: None };
        if amps > 0.0 && reached[node].is_none_or(|known| known.amps < amps) {
            reached[node] = Some(new);
            open.push((amps.to_bits(), std::cmp::Reverse(node)));
        }
    }
    while let Some((bits, std::cmp::Reverse(node))) = open.pop() {
        let Some(here) = reached[node].filter(|here| here.amps.to_bits() == bits) else { continue };
        for (link, other) in survey.netlist.links_at(node) {
            let Some(there) = pass(survey, here, link, node) else { continue };
            if reached[other].is_none_or(|known| known.amps < there.amps) {
                reached[other] = Some(there);
                open.push((there.amps.to_bits(), std::cmp::Reverse(other)));
            }
        }
    }
    reached
}

/// What comes out at the other end of a link, if anything can pass it from this node.
fn pass(survey: &Survey<'_>, here: Reached, link: LinkId, node: usize) -> Option<Reached> {
    let by = Some((link, node));
    let Link::Part(part, way) = survey.netlist.link(link) else {
        let conductor = !matches!(survey.netlist.link(link), Link::Bond(_));
        return conductor.then_some(Reached { by, ..here });
    };
    match (way, &survey.harness.parts[part].kind) {
        (PartWay::Through, PartKind::Fuse { rating, .. }) => {
            // A fuse of unknown rating protects, but nobody can say how far.
            let rating = rating.map_or(f64::MIN_POSITIVE, Amps::get);
            let less = rating < here.amps;
            Some(Reached { amps: rating.min(here.amps), fuse: if less { Some(link) } else { here.fuse }, by })
        }
        (PartWay::Diode, _) => (survey.netlist.ends(link)[0] == node).then_some(Reached { by, ..here }),
        (PartWay::Switch(_) | PartWay::Released | PartWay::Operated, _) => Some(Reached { by, ..here }),
        _ => None,
    }
}

/// What a wire may carry, and who says so; `None` where neither is known.
fn ampacity(wire: &Wire) -> Option<(f64, &'static str)> {
    if let Some(amps) = wire.ampacity {
        return Some((amps.get(), MAKER));
    }
    let rated = wire.rated.map_or(105.0, crate::units::Celsius::get);
    // Each column holds for insulation of its temperature or better.
    let column = [105.0, 150.0, 200.0].iter().rposition(|least| rated >= *least)?;
    let size = area(wire.gauge?).get();
    let rows = AC_43_13_1B_TABLE_11_9.iter();
    let fits = |row: &&crate::conductor::table::AircraftWire| {
        Awg::new(row.size).is_some_and(|awg| area(Gauge::Awg(awg)).get() <= size * 1.000_001)
    };
    rows.rev().find(fits).map(|row| (row.amps[column], TABLE))
}

fn overloaded(survey: &Survey<'_>, wire: &Wire, rating: f64, fuse: LinkId) -> Option<Finding> {
    let (amps, source) = ampacity(wire)?;
    if rating <= amps {
        return None;
    }
    let fuse = survey.name(fuse);
    let gauge = wire.gauge.map(|gauge| format!(" ({gauge})")).unwrap_or_default();
    let (rating_words, amps_words) = (Amps::new(rating), Amps::new(amps));
    Some(Finding {
        rule: RULE.name,
        severity: Severity::Warning,
        subject: wire.id.clone(),
        place: wire.place,
        message: format!(
            "wire {}{gauge} may carry {amps_words}, but what protects it is {fuse} of {rating_words}",
            wire.id
        ),
        value: rating,
        limit: Some(amps),
        unit: "A",
        source,
        help: format!(
            "a fuse of at most {amps_words}, a thicker wire, or the maker's figure for where it lies: ampacity = \"{rating_words}\""
        ),
        setup: None,
        fault: None,
        way: Vec::new(),
    })
}

/// The wires through which a load or unit is fed from a battery without any fuse.
fn unprotected(survey: &Survey<'_>, reached: &[Option<Reached>]) -> Vec<WireId> {
    let mut wires = Vec::new();
    for consumer in &survey.consumers {
        for end in consumer.ends {
            let mut node = end;
            while let Some(Reached { amps, by: Some((link, before)), .. }) = reached[node] {
                if amps.is_finite() {
                    break;
                }
                if let Link::Wire(wire) = survey.netlist.link(link) {
                    wires.push(wire);
                }
                node = before;
            }
        }
    }
    wires.sort_unstable();
    wires.dedup();
    wires
}

fn bare_wire(wire: &Wire) -> Finding {
    let size = wire.gauge.map_or(0.0, |gauge| area(gauge).get());
    let cable = size >= CABLE;
    let help = if cable {
        "battery and starter cables are usually left without a fuse: keep it short and guarded against chafing"
    } else {
        "put a fuse or breaker near the battery, rated no higher than the wire may carry"
    };
    Finding {
        rule: RULE.name,
        severity: if cable { Severity::Note } else { Severity::Warning },
        subject: wire.id.clone(),
        place: wire.place,
        message: format!("wire {} feeds a load from the battery, and no fuse protects it", wire.id),
        value: size,
        limit: None,
        unit: "mm2",
        source: UNPROTECTED,
        help: help.to_owned(),
        setup: None,
        fault: None,
        way: Vec::new(),
    }
}
