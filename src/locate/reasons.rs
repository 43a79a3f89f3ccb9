//! Reasons: a derivation of what is cleared and what is accused, from readings alone.
//!
//! Comes in: what the readings leave and what speaks against everything else. Goes out: steps, each of which rules
//! faults out by the readings that it names; for each cleared element and each accused group the steps it rests on.
//! Why: a person must be able to check a verdict, and a share of 97 % cannot be checked. Whatever a derivation
//! names is enough: the same conclusion follows from those readings alone.
//!
//! A step is made once, however many conclusions rest on it. Words are the business of whoever shows it.

use std::collections::{BTreeMap, BTreeSet};

use super::Judged;
use super::weigh::{Reader, Sifted};
use crate::definition::Harness;
use crate::fault::Fault;
use crate::netlist::Element;

/// A derivation. Readings are given by their place among the judged, steps by their place among the steps.
#[derive(Debug, Clone, Default)]
pub struct Reasons {
    /// Sub-proofs: faults that are out by some readings.
    pub steps: Vec<Step>,
    /// Elements that are not at fault, with the steps that clear them.
    pub cleared: Vec<Clearance>,
    /// Faults that explain every reading.
    pub accused: Vec<Accusation>,
}

/// Some readings rule some faults out.
#[derive(Debug, Clone)]
pub struct Step {
    /// The readings.
    pub readings: Vec<usize>,
    /// The faults.
    pub faults: Vec<Fault>,
    /// One of them as an example: with it, a reading would have been something else.
    pub example: Example,
    /// Whether a good reading is among them; else nothing of these faults would make the bad ones.
    pub by_good: bool,
}

/// What a reading would be with a fault.
#[derive(Debug, Clone)]
pub struct Example {
    /// The fault.
    pub fault: Fault,
    /// The reading.
    pub reading: usize,
    /// What it would be, in words.
    pub would: String,
}

/// An element is not at fault.
#[derive(Debug, Clone)]
pub struct Clearance {
    /// The element.
    pub element: Element,
    /// The steps that rule its faults out.
    pub steps: Vec<usize>,
}

/// Some faults explain every reading, and what is not among the accused is ruled out.
#[derive(Debug, Clone)]
pub struct Accusation {
    /// The faults: one, or two at once.
    pub faults: Vec<Fault>,
    /// For each bad reading, what it would be with them.
    pub explains: Vec<(usize, String)>,
    /// The steps that rule everything else out: all single faults but those that are accused too.
    pub steps: Vec<usize>,
}

impl Step {
    /// Its example in words: "with wire 31C open, #3 would read 0 V; it read 25.1 V".
    pub fn words(&self, harness: &Harness, judged: &[Judged]) -> String {
        let Example { fault, reading, would } = &self.example;
        let reading = &judged[*reading];
        let read = reading.value.words();
        format!("with {}, {} would read {would}; it read {read}", fault.words(harness), reading.name)
    }
}

impl Reasons {
    /// The readings that a clearance names.
    pub fn clearing(&self, clearance: &Clearance) -> BTreeSet<usize> {
        clearance.steps.iter().flat_map(|step| self.steps[*step].readings.iter().copied()).collect()
    }

    /// The readings that an accusation names.
    pub fn accusing(&self, accusation: &Accusation) -> BTreeSet<usize> {
        let out = accusation.steps.iter().flat_map(|step| self.steps[*step].readings.iter().copied());
        out.chain(accusation.explains.iter().map(|(reading, _)| *reading)).collect()
    }
}

/// The derivation of what the readings leave.
pub(super) fn derive(record: &mut Reader<'_>, sifted: &Sifted) -> Reasons {
    let rank = rank(record, sifted);
    let mut of_readings: BTreeMap<Vec<usize>, Vec<Fault>> = BTreeMap::new();
    for (fault, sizes) in &sifted.out {
        let readings = enough(record, &rank, *fault, sizes);
        of_readings.entry(readings).or_default().push(*fault);
    }
    let mut reasons = Reasons::default();
    let mut step_of: BTreeMap<Fault, usize> = BTreeMap::new();
    for (readings, faults) in of_readings {
        let Some(example) = example(record, &readings, &faults) else { continue };
        step_of.extend(faults.iter().map(|fault| (*fault, reasons.steps.len())));
        let by_good = record.judged[example.reading].good;
        reasons.steps.push(Step { readings, faults, example, by_good });
    }
    reasons.cleared = cleared(record, &step_of);
    reasons.accused = accused(record, sifted, reasons.steps.len());
    reasons
}

/// How many faults each reading speaks against, good readings first: few readings shall say much.
fn rank(record: &Reader<'_>, sifted: &Sifted) -> Vec<(bool, usize)> {
    let mut rank: Vec<(bool, usize)> = record.judged.iter().map(|judged| (judged.good, 0)).collect();
    for at in sifted.out.values().flatten().flatten() {
        rank[*at].1 += 1;
    }
    rank
}

/// Readings that are enough to rule a fault out, whatever its size; with them those that blew a fuse in it, because
/// what the others would be hangs on that.
fn enough(record: &mut Reader<'_>, rank: &[(bool, usize)], fault: Fault, sizes: &[Vec<usize>]) -> Vec<usize> {
    let mut readings: BTreeSet<usize> = BTreeSet::new();
    for against in sizes {
        if against.iter().any(|at| readings.contains(at)) {
            continue;
        }
        readings.extend(against.iter().copied().max_by_key(|at| (rank[*at], std::cmp::Reverse(*at))));
    }
    for mode in super::hypothesis::Mode::of(fault) {
        for at in readings.clone() {
            readings.extend(record.memory.blown_by(mode.into(), at));
        }
    }
    readings.into_iter().collect()
}

/// An example of a step: where it can be, a fault of which a good reading speaks.
fn example(record: &mut Reader<'_>, readings: &[usize], faults: &[Fault]) -> Option<Example> {
    let mut order: Vec<usize> = readings.to_vec();
    order.sort_by_key(|at| !record.judged[*at].good);
    for reading in order {
        for fault in faults {
            for mode in super::hypothesis::Mode::of(*fault) {
                if let Some(range) = record.contradicts(mode.into(), reading) {
                    return Some(Example { fault: *fault, reading, would: range.words() });
                }
            }
        }
    }
    None
}

/// Elements of which every fault is out.
fn cleared(record: &Reader<'_>, step_of: &BTreeMap<Fault, usize>) -> Vec<Clearance> {
    let mut of_element: BTreeMap<Element, Option<BTreeSet<usize>>> = BTreeMap::new();
    for (fault, _) in record.universe.iter() {
        // A wire stands for itself: that it touches another is another fault than its own being open.
        if let Fault::Short(..) | Fault::Crossed(..) | Fault::ToChassis(_) = fault {
            continue;
        }
        for element in fault.elements() {
            let steps = of_element.entry(element).or_insert_with(|| Some(BTreeSet::new()));
            match (step_of.get(&fault), steps.as_mut()) {
                (Some(step), Some(steps)) => {
                    steps.insert(*step);
                }
                _ => *steps = None,
            }
        }
    }
    let clearance = |(element, steps): (Element, Option<BTreeSet<usize>>)| {
        Some(Clearance { element, steps: steps?.into_iter().collect() })
    };
    of_element.into_iter().filter_map(clearance).collect()
}

fn accused(record: &mut Reader<'_>, sifted: &Sifted, steps: usize) -> Vec<Accusation> {
    let bad: Vec<usize> = (0..record.judged.len()).filter(|at| !record.judged[*at].good).collect();
    if bad.is_empty() {
        return Vec::new();
    }
    let mut accused = Vec::new();
    for suspect in sifted.exact.iter().chain(&sifted.pairs) {
        let explains = bad.iter().map(|at| (*at, record.range(suspect.hypothesis, *at).words())).collect();
        let faults = suspect.hypothesis.faults().collect();
        accused.push(Accusation { faults, explains, steps: (0..steps).collect() });
    }
    accused
}
