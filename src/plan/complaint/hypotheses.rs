//! Every single fault with which the part of a complaint would not work.
//!
//! Comes in: the machine in the setup of the complaint. Goes out: the faults, those that change the same in
//! one hypothesis, with their weights, and the place where each would be repaired. Why: what cannot
//! stop the part needs no reading.
//!
//! A bad joint may have any resistance. It is put in with a few sizes, and counts with those that stop the
//! part. A fault that blows a fuse has blown it by the time somebody complains: the fuse stays blown.

use std::collections::BTreeMap;

use super::setting::{Setting, Target};
use crate::circuit::{Change, ChangeKey, Operating, Unsettled};
use crate::definition::{Harness, PartId};
use crate::fault::{Fault, HIGH_FROM, Universe};
use crate::measure::Situation;
use crate::netlist::{Element, LinkId, Netlist};
use crate::units::Ohms;

/// Below this share of what a healthy machine shows the part counts as not working: common practice, no
/// source.
pub(crate) const HALF: f64 = 0.5;
/// The sizes of a bad joint, in ohms: the least that counts as one, what starves a motor, what starves a
/// coil, and what only a voltmeter sees through.
const SIZES: [f64; 4] = [HIGH_FROM.get(), 30.0, 500.0, 2e4];

/// Faults that change the same in the machine.
#[derive(Debug, Clone)]
pub(super) struct Hypothesis {
    /// The faults, with the weight of each.
    pub faults: Vec<(Fault, f64)>,
    /// What is different in the machine, with the fuses that are blown by now.
    pub changes: Vec<Change>,
    /// The weight of all its faults.
    pub weight: f64,
    /// The number of its place: hypotheses of one place are repaired at one place.
    pub place: usize,
}

/// Where a repair is made: one link with its ends, one part, or what touches.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Place {
    Link(LinkId),
    Part(PartId),
    Touching(Vec<ChangeKey>),
}

/// Lists the hypotheses, in the order of what they change. Cost: a low-rank change for every fault, and
/// three more for every joint that would stop the part if it were open.
pub(super) fn stopping(
    harness: &Harness,
    netlist: &Netlist,
    universe: &Universe,
    setting: &Setting,
) -> Result<Vec<Hypothesis>, Unsettled> {
    let situation = Situation::new(harness, netlist, &setting.setup)?;
    let weights: BTreeMap<Fault, f64> = universe.iter().collect();
    let bench = Bench { situation: &situation, setting };
    let mut found: Vec<(Place, Hypothesis)> = Vec::new();
    for (changes, faults) in universe.by_change(harness, netlist) {
        // Bad joints are put in with their sizes, where the open one would stop the part.
        let faults: Vec<Fault> = faults.iter().copied().filter(|f| !matches!(f, Fault::High(_))).collect();
        let Some(first) = faults.first().copied() else { continue };
        let Some(all) = bench.stops(changes, first) else { continue };
        let place = place(universe, first, changes);
        let weigh = |faults: &[Fault], by: f64| -> Vec<(Fault, f64)> {
            faults.iter().map(|f| (*f, by * weights.get(f).copied().unwrap_or(0.0))).collect()
        };
        for bad in bad_joints(&faults, changes) {
            if let Some(all) = bench.stops(&bad, first) {
                let high: Vec<Fault> = faults.iter().filter_map(|fault| joint(*fault)).collect();
                found.push((place.clone(), hypothesis(weigh(&high, 1.0 / SIZES.len() as f64), all)));
            }
        }
        found.push((place, hypothesis(weigh(&faults, 1.0), all)));
    }
    Ok(numbered(found))
}

fn hypothesis(faults: Vec<(Fault, f64)>, changes: Vec<Change>) -> Hypothesis {
    let weight = faults.iter().map(|(_, weight)| weight).sum();
    Hypothesis { faults, changes, weight, place: 0 }
}

/// Gives places their numbers, and leaves out what has no weight.
fn numbered(found: Vec<(Place, Hypothesis)>) -> Vec<Hypothesis> {
    let mut numbers: BTreeMap<Place, usize> = BTreeMap::new();
    let number = |(place, hypothesis): (Place, Hypothesis)| {
        let next = numbers.len();
        Hypothesis { place: *numbers.entry(place).or_insert(next), ..hypothesis }
    };
    found.into_iter().filter(|(_, h)| h.weight > 0.0).map(number).collect()
}

/// The bad joint of an open conductor.
fn joint(fault: Fault) -> Option<Fault> {
    match fault {
        Fault::Open(Element::Part(_)) => None,
        Fault::Open(element) => Some(Fault::High(element)),
        _ => None,
    }
}

/// The changes of a bad joint where the open one is: one for each size.
fn bad_joints(faults: &[Fault], open: &[Change]) -> Vec<Vec<Change>> {
    let [Change::Open(link)] = open else { return Vec::new() };
    if !faults.iter().any(|fault| joint(*fault).is_some()) {
        return Vec::new();
    }
    SIZES.iter().map(|ohms| vec![Change::Added(*link, Ohms::new(*ohms))]).collect()
}

fn place(universe: &Universe, fault: Fault, changes: &[Change]) -> Place {
    let touching = || Place::Touching(changes.iter().map(Change::key).collect());
    match fault {
        Fault::Open(element) | Fault::High(element) if !matches!(element, Element::Part(_)) => {
            universe.links(element).first().map_or_else(touching, |link| Place::Link(*link))
        }
        Fault::Open(Element::Part(part))
        | Fault::PartShort(part)
        | Fault::StuckReleased(part)
        | Fault::StuckOperated(part)
        | Fault::CoilOpen(part)
        | Fault::Dead(part)
        | Fault::Flat(part) => Place::Part(part),
        _ => touching(),
    }
}

/// The machine in the setup of the complaint, to put faults into.
struct Bench<'a> {
    situation: &'a Situation<'a>,
    setting: &'a Setting,
}

impl Bench<'_> {
    /// What is different when the part has stopped: the changes, with the fuses that they blow. `None` where
    /// the part still works.
    fn stops(&self, changes: &[Change], fault: Fault) -> Option<Vec<Change>> {
        let Situation { harness, netlist, .. } = self.situation;
        let rounds = self.situation.solve(changes);
        let works = |machine: &Operating| {
            self.setting.target.works(netlist, harness, machine) >= HALF * self.setting.healthy
        };
        // A short inside the part may leave it its voltage, but no work.
        let own = matches!((fault, self.setting.target), (Fault::PartShort(a), Target::Load(b)) if a == b);
        // One that never settles works by fits and starts.
        if !own && rounds.iter().all(works) {
            return None;
        }
        let sound = self.situation.healthy().states();
        let mut all = changes.to_vec();
        for fuse in rounds.iter().flat_map(|machine| machine.states().all_blown()) {
            if !sound.blown(fuse) && !all.contains(&Change::Open(fuse)) {
                all.push(Change::Open(fuse));
            }
        }
        Some(all)
    }
}
