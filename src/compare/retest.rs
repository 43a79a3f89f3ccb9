//! What of the new revision must be tested again.
//!
//! Comes in: two matched revisions, their changes, their nets. Goes out: wires with the reasons, points that must read
//! apart, and other things to prove. Why: a loom that was tested by the old revision is still tested where nothing that a
//! reading depends on has changed, and nowhere else.

use std::collections::{BTreeMap, BTreeSet};

use super::change::{Change, Effect, Subject, What};
use super::keys::Both;
use super::nets::Partition;
use crate::definition::{ConnectorId, Harness, Point, WireId};

/// What must be tested again.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Retest {
    /// Wires, in the order of the new revision.
    pub wires: Vec<RetestWire>,
    /// Points that were in one net and must read apart now, with the parted looms: one pair for each new boundary.
    pub apart: Vec<[String; 2]>,
    /// What else to prove: parts, terminals and matings that changed electrically.
    pub others: Vec<[String; 2]>,
}

/// A wire that must be tested again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RetestWire {
    /// Its id.
    pub wire: String,
    /// Its ends.
    pub ends: [String; 2],
    /// Why.
    pub reasons: Vec<&'static str>,
}

/// What about a wire makes its readings void.
fn reason(what: What) -> Option<&'static str> {
    Some(match what {
        What::Added => "it is new",
        What::Moved => "an end of it is in another place",
        What::Value("gauge") => "it has another conductor size",
        What::Value("length") => "it has another length",
        What::Value("route") => "it lies beside other wires: isolation",
        // What it may carry, what it is called and what it looks like is no reading's business.
        What::Value(_) | What::Removed | What::Renamed => return None,
    })
}

pub(super) fn retest(both: &Both, changes: &[Change], parted: &Partition) -> Retest {
    let new = both.harness[1];
    let mut reasons: BTreeMap<WireId, BTreeSet<&'static str>> = BTreeMap::new();
    let by_id: BTreeMap<&str, WireId> = new.wires.iter().map(|(id, wire)| (wire.id.as_str(), id)).collect();
    let mut others = Vec::new();
    for change in changes {
        match change.subject {
            Subject::Wire => {
                let wire = change.new.as_deref().and_then(|name| by_id.get(name));
                if let (Some(wire), Some(reason)) = (wire, reason(change.what)) {
                    reasons.entry(*wire).or_default().insert(reason);
                }
            }
            Subject::Twist | Subject::Shield if change.effect == Effect::Electrical => {
                for wire in change.after.split(' ').filter_map(|name| by_id.get(name)) {
                    reasons.entry(*wire).or_default().insert(
                        "it is twisted or shielded with others: look, for no reading with direct current shows it",
                    );
                }
            }
            Subject::Connector => {
                let connector = change.new.as_deref().and_then(|name| new.names.connector(name));
                if let Some(id) = connector
                    && matches!(change.what, What::Value("contact" | "contact_size" | "face"))
                {
                    for wire in wires_of(new, id) {
                        reasons.entry(wire).or_default().insert("its contact is another one");
                    }
                }
            }
            Subject::Part | Subject::Terminal | Subject::Mating
                if change.effect == Effect::Electrical && change.new.is_some() =>
            {
                let name = format!("{} {}", change.subject.word(), change.name());
                others.push([name, format!("{}: {}", change.what.words(), change.why)]);
            }
            _ => {}
        }
    }
    others.dedup();
    let wire = |(id, reasons): (WireId, BTreeSet<&'static str>)| {
        let wire = &new.wires[id];
        let ends = wire.ends.map(|end| new.point_name(end));
        RetestWire { wire: wire.id.clone(), ends, reasons: reasons.into_iter().collect() }
    };
    Retest { wires: reasons.into_iter().map(wire).collect(), apart: apart(both, parted), others }
}

fn wires_of(harness: &Harness, connector: ConnectorId) -> Vec<WireId> {
    harness.contacts_of(connector).flat_map(|id| harness.wires_at(Point::Contact(id))).collect()
}

/// One pair of points for each new boundary between what was one net.
fn apart(both: &Both, parted: &Partition) -> Vec<[String; 2]> {
    let [old, new] = both.harness;
    let mut pairs = Vec::new();
    for group in parted.regrouped() {
        for net in group.old {
            // The first point of the old net in each of the new ones.
            let mut firsts: BTreeMap<usize, Point> = BTreeMap::new();
            for node in parted.members(0, net) {
                let point = old.point_at(*node);
                if let Some(other) = both.other(0, point).filter(|other| !matches!(other, Point::Splice(_))) {
                    firsts.entry(parted.net(both, 1, other)).or_insert(other);
                }
            }
            let mut points: Vec<Point> = firsts.into_values().collect();
            points.sort_unstable();
            pairs.extend(points.windows(2).map(|pair| [pair[0], pair[1]].map(|point| new.point_name(point))));
        }
    }
    pairs
}
