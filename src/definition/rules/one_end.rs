//! A net with one end goes nowhere.
//!
//! Ends are terminals, contacts of connectors without a mate, contacts that sit on a part, and points
//! where a part attaches. Splices and contacts in the middle of a run are not ends.

use petgraph::unionfind::UnionFind;

use super::Rule;
use crate::definition::diagnostic::{Diagnostic, Severity, Sink};
use crate::definition::model::{Harness, Point};

pub(super) const RULE: Rule = Rule {
    name: "one-end",
    severity: Severity::Warning,
    demands: "Everything that wires join has at least two ends.",
    why: "A run that ends nowhere is a missing wire, a wrong contact name, or an antenna.",
    check,
};

fn check(harness: &Harness, sink: &Sink) {
    let mut joined = UnionFind::<usize>::new(harness.point_count());
    for wire in harness.wires.values() {
        let [a, b] = wire.ends.map(|end| harness.point_index(end));
        joined.union(a, b);
    }
    for (id, contact) in harness.contacts.iter() {
        if let Some(mate) = contact.mate {
            let [a, b] = [id, mate].map(|c| harness.point_index(Point::Contact(c)));
            joined.union(a, b);
        }
    }
    let mut ends = vec![0u32; harness.point_count()];
    for point in harness.points().filter(|p| is_end(harness, *p)) {
        ends[joined.find_mut(harness.point_index(point))] += 1;
    }
    let mut reported = vec![false; ends.len()];
    for wire in harness.wires.values() {
        let net = joined.find_mut(harness.point_index(wire.ends[0]));
        if ends[net] >= 2 || std::mem::replace(&mut reported[net], true) {
            continue;
        }
        let [from, to] = wire.ends.map(|end| harness.point_name(end));
        let message = format!(
            "wire {} ({from} to {to}) and what it joins have {} end",
            wire.id,
            if ends[net] == 0 { "no" } else { "only one" }
        );
        let help = "follow it to where it should go: a wire may be missing, or an end misnamed";
        sink.push(Diagnostic::warning(RULE.name, wire.place, message).help(help));
    }
}

fn is_end(harness: &Harness, point: Point) -> bool {
    let own = match point {
        Point::Terminal(_) => true,
        Point::Contact(id) => {
            let connector = &harness.connectors[harness.contacts[id].connector];
            connector.mating.is_none() || connector.part.is_some()
        }
        Point::Splice(_) | Point::Chassis => false,
    };
    own || harness.parts_at(point).len() > 0
}
