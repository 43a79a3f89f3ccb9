//! A repair against the usual rules for splices.
//!
//! Comes in: the machine before the repair, and the repair. Goes out: findings, each with its figure and the source of
//! the rule. Why: a splice that carries current today may be the next fault: too near a plug, beside another, or in a
//! wire where a joint is never allowed. The maker's manual comes first; these are the usual rules where it is silent.

use super::work::Work;
use crate::conductor::area;
use crate::definition::{Harness, Named, Point, SpliceId, TrunkId, Wire, WireId};
use crate::units::Metres;

/// A rule and where it stands.
pub struct Rule {
    /// Stable name.
    pub name: &'static str,
    /// What it demands.
    pub demands: &'static str,
    /// Where it stands.
    pub source: &'static str,
    /// Whether it is never broken without an approval.
    pub never: bool,
}

/// No splice nearer than this to the end of a wire at a contact or terminal: 12 inches.
pub const TERMINATION: Metres = Metres::new(12.0 * 0.0254);
/// Splices of one trunk lie at least so far apart, so that the bundle does not grow thick in one place: common practice,
/// no source gives a figure.
pub const STAGGER: Metres = Metres::new(0.04);

const ONE: Rule = Rule {
    name: "one-splice",
    demands: "Not more than one splice in a wire between two connectors or other points where it comes apart.",
    source: "AC 43.13-1B 11-167 c; TM 55-4920-244-14",
    never: false,
};
const NEAR: Rule = Rule {
    name: "near-termination",
    demands: "No splice within 12 in (305 mm) of a termination.",
    source: "AC 43.13-1B 11-167 d, from memory",
    never: false,
};
const STAGGERED: Rule = Rule {
    name: "staggered",
    demands: "Splices in a bundle are staggered; here: at least 40 mm apart.",
    source: "AC 43.13-1B 11-167; the spacing is common practice, no source",
    never: false,
};
const NEVER: Rule = Rule {
    name: "never-spliced",
    demands: "Never in restraint, firing, ignition or coaxial wiring without engineering approval.",
    source: "AS50881, from memory",
    never: true,
};
const GAUGE: Rule = Rule {
    name: "gauge-change",
    demands: "The size does not change at a splice, but to suit a contact's barrel.",
    source: "AC 43.13-1B 11-167 c",
    never: false,
};
const SEALED: Rule = Rule {
    name: "sealed",
    demands: "A repair splice is an environmental (sealed) one.",
    source: "Transport Canada TP 14331, Appendix E",
    never: false,
};
const HAZARD: Rule = Rule {
    name: "hazard",
    demands: "Work on what is marked as a hazard goes by the maker's procedure alone.",
    source: "common practice, no source",
    never: false,
};

/// Every rule.
pub const RULES: [&Rule; 7] = [&NEVER, &ONE, &NEAR, &STAGGERED, &GAUGE, &SEALED, &HAZARD];

/// What a rule has to say of a repair.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// The rule.
    pub rule: &'static str,
    /// What is wrong.
    pub message: String,
    /// Where the rule stands.
    pub source: &'static str,
    /// Whether it is never broken without an approval.
    pub never: bool,
}

impl Rule {
    fn finds(&self, message: impl Into<String>) -> Finding {
        Finding { rule: self.name, message: message.into(), source: self.source, never: self.never }
    }
}

/// Everything that the rules have to say of a repair.
pub(super) fn findings(harness: &Harness, work: &Work, sealed: bool) -> Vec<Finding> {
    let Work::Splice { wire, from, at, new, .. } = work else {
        return hazard(harness, work).into_iter().collect();
    };
    let own = &harness.wires[*wire];
    let whole = own.length.unwrap_or(*at);
    let first = if *from == 0 { *at } else { whole - *at };
    let mut found: Vec<Finding> = never(harness, own).into_iter().collect();
    let others = splices_on_the_way(harness, *wire);
    if !others.is_empty() {
        let names: Vec<&str> = others.iter().map(|id| harness.splices[*id].id.as_str()).collect();
        found.push(ONE.finds(format!("the run of wire {} has {} in it already", own.id, names.join(", "))));
    }
    for (end, distance) in own.ends.into_iter().zip([first, whole - first]) {
        if !matches!(end, Point::Splice(_)) && distance < TERMINATION {
            let end = harness.point_name(end);
            found.push(NEAR.finds(format!("the splice lies {distance} from the termination at {end}")));
        }
    }
    found.extend(crowded(harness, *wire, first));
    if let (Some(old), Some(new)) = (own.gauge, new.gauge)
        && (area(old).get() - area(new).get()).abs() > area(old).get() * 0.02
    {
        found.push(
            GAUGE.finds(format!(
                "{old} meets {new} at the splice: see that the fuse protects the thinner one"
            )),
        );
    }
    if !sealed {
        found.push(SEALED.finds("nothing says that the splice is sealed: --sealed"));
    }
    found
}

fn never(harness: &Harness, wire: &Wire) -> Option<Finding> {
    let at = |end: &Point| match *end {
        Point::Contact(id) => harness.connectors[harness.contacts[id].connector].hazard.as_deref(),
        _ => None,
    };
    let part = |end: &Point| harness.parts_at(*end).find_map(|part| harness.parts[part].hazard.as_deref());
    let mark =
        wire.hazard.as_deref().or_else(|| wire.ends.iter().find_map(|end| at(end).or_else(|| part(end))))?;
    Some(NEVER.finds(format!("wire {} is marked as a hazard ({mark}): it is never spliced", wire.id)))
}

/// Work other than a splice on what is marked.
fn hazard(harness: &Harness, work: &Work) -> Option<Finding> {
    let touched = super::work::touched(harness, work);
    let wire = |name: &String| match harness.names.get(name) {
        Some(Named::Wire(id)) => harness.wires[id].hazard.as_deref(),
        _ => None,
    };
    let connector = |name: &String| harness.connectors[harness.names.connector(name)?].hazard.as_deref();
    let part = |name: &String| harness.parts[harness.names.part(name)?].hazard.as_deref();
    let mark = touched.wires.iter().find_map(wire);
    let mark = mark.or_else(|| touched.connectors.iter().find_map(connector));
    let mark = mark.or_else(|| touched.parts.iter().find_map(part))?;
    Some(HAZARD.finds(format!("what is worked on is marked as a hazard ({mark})")))
}

/// The splices of two legs on the way of a wire between points where it comes apart. A joint of three and more is
/// several wires joined to one, which the rule leaves out.
fn splices_on_the_way(harness: &Harness, wire: WireId) -> Vec<SpliceId> {
    let mut found = Vec::new();
    let mut seen = vec![wire];
    let mut open: Vec<Point> = harness.wires[wire].ends.to_vec();
    while let Some(point) = open.pop() {
        let Point::Splice(splice) = point else { continue };
        if harness.wires_at(point).len() != 2 || found.contains(&splice) {
            continue;
        }
        found.push(splice);
        for next in harness.wires_at(point) {
            if !seen.contains(&next) {
                seen.push(next);
                open.extend(harness.wires[next].ends);
            }
        }
    }
    found.sort_unstable();
    found
}

/// Splices of the same trunk that lie too near.
fn crowded(harness: &Harness, wire: WireId, first: Metres) -> Vec<Finding> {
    let Some((at, Some(place))) = trunk_at(harness, wire, first) else { return Vec::new() };
    let trunk = harness.wires[wire].route[at];
    let near = harness.splices.iter().filter_map(|(id, splice)| {
        let other = splice_place(harness, id, trunk)?;
        let apart = Metres::new((other - place).abs());
        (apart < STAGGER).then(|| {
            STAGGERED.finds(format!("{} lies {apart} away in trunk {}", splice.id, harness.trunks[trunk].id))
        })
    });
    near.collect()
}

/// Where a splice lies in a trunk, in metres from the trunk's first end, as far as one of its legs tells.
fn splice_place(harness: &Harness, splice: SpliceId, trunk: TrunkId) -> Option<f64> {
    let point = Point::Splice(splice);
    harness.wires_at(point).find_map(|leg| {
        let leg = &harness.wires[leg];
        let from_start = leg.ends[1] == point;
        let mut route = leg.route.clone();
        if !from_start {
            route.reverse();
        }
        let far = leg.ends[usize::from(!from_start)];
        let (at, place) = place_on(harness, &route, far, leg.length?)?;
        (route[at] == trunk).then_some(place).flatten()
    })
}

/// The trunk of a wire's route that a place on the wire lies in, by its number; and how far along it, from the trunk's
/// first end, where lengths and ends tell.
pub(super) fn trunk_at(harness: &Harness, wire: WireId, first: Metres) -> Option<(usize, Option<f64>)> {
    let wire = &harness.wires[wire];
    place_on(harness, &wire.route, wire.ends[0], first)
}

fn place_on(harness: &Harness, route: &[TrunkId], start: Point, at: Metres) -> Option<(usize, Option<f64>)> {
    let mut before = 0.0;
    for (number, id) in route.iter().enumerate() {
        let Some(length) = harness.trunks[*id].length.map(Metres::get) else { return Some((number, None)) };
        if at.get() <= before + length || number + 1 == route.len() {
            let along = (at.get() - before).min(length);
            let forward = enters_first(harness, route, number, start);
            return Some((number, forward.map(|forward| if forward { along } else { length - along })));
        }
        before += length;
    }
    None
}

/// Whether a route enters its trunk by the end that the trunk names first; `None` where the ends do not tell.
fn enters_first(harness: &Harness, route: &[TrunkId], number: usize, start: Point) -> Option<bool> {
    let ends = &harness.trunks[route[number]].between;
    let of = |other: usize| &harness.trunks[route[other]].between;
    if number > 0 {
        return ends.iter().position(|end| of(number - 1).contains(end)).map(|at| at == 0);
    }
    if route.len() > 1 {
        return ends.iter().position(|end| of(1).contains(end)).map(|at| at == 1);
    }
    let mut names = vec![harness.point_name(start)];
    if let Point::Contact(id) = start {
        names.push(harness.connectors[harness.contacts[id].connector].id.clone());
    }
    names.extend(harness.station_of(start).map(|station| harness.stations[station].id.clone()));
    ends.iter().position(|end| names.contains(end)).map(|at| at == 0)
}
