//! From readings to the segment at fault.
//!
//! Comes in: a machine and the readings of a record. Goes out: which readings are good and which bad,
//! the faults that explain all of them, what cleared everything else, the next reading that tells most,
//! and a verdict. Why: the person at the machine must prove what is at fault before anything is
//! replaced.
//!
//! Method: every single fault is put into the machine and every reading is predicted. A fault that
//! predicts something else than what was read is out, and the reading that put it out is kept as the
//! reason. What no permitted reading can tell apart stands in one group.
//!
//! Cost: one solution for every fault still in question in every setup that was read in; opens and bad
//! joints without power follow from the healthy factor at a fraction of that.

mod candidates;
mod judge;
mod next;
mod predict;

pub use judge::{Judged, Left};
pub use next::Next;

use std::collections::{BTreeMap, BTreeSet};

use predict::Hypothesis;

use crate::circuit::Unsettled;
use crate::definition::Harness;
use crate::fault::{Fault, Universe};
use crate::measure::{Meter, Situation};
use crate::netlist::{Element, Netlist};
use crate::record::Entry;
use crate::setup::Setup;

/// A group of faults holds the verdict when its share reaches this.
const SETTLED: f64 = 0.95;

/// What readings say together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// One group of faults that nothing permitted can tell apart explains everything.
    Located,
    /// Several groups explain everything.
    Narrowed,
    /// Every reading is good.
    Healthy,
    /// No single fault explains all readings.
    Contradictory,
}

/// The answer.
#[derive(Debug, Clone)]
pub struct Diagnosis {
    /// Every reading that could be judged, in the order of the record.
    pub judged: Vec<Judged>,
    /// Readings that could not be judged, with the reason.
    pub left: Vec<Left>,
    /// Faults that explain all readings, in groups that nothing permitted can tell apart; the likeliest
    /// first.
    pub suspects: Vec<Group>,
    /// Elements none of whose faults explains all readings.
    pub cleared: Vec<Cleared>,
    /// The next reading, if one can tell more.
    pub next: Option<Next>,
    /// What to do by hand and eye, when readings can tell no more.
    pub by_hand: Vec<String>,
    /// Readings one of which must be wrong, when no single fault explains all: those whose removal
    /// would leave an explanation.
    pub repeat: Vec<String>,
    /// What it amounts to.
    pub verdict: Verdict,
}

/// Faults that nothing permitted can tell apart.
#[derive(Debug, Clone)]
pub struct Group {
    /// The faults, the likeliest first.
    pub faults: Vec<Fault>,
    /// Their share of the probability.
    pub share: f64,
    /// The bad readings they explain.
    pub accused_by: Vec<String>,
}

/// An element that is not at fault.
#[derive(Debug, Clone)]
pub struct Cleared {
    /// The element.
    pub element: Element,
    /// The readings that clear it.
    pub by: Vec<String>,
    /// Whether a good reading clears it, rather than its not explaining a bad one.
    pub by_good: bool,
    /// The reason, in words.
    pub why: String,
}

/// Why a fault is out.
#[derive(Debug, Clone)]
struct Out {
    /// Index of the reading among the judged.
    reading: usize,
    /// What the reading would have been.
    predicted: crate::measure::Prediction,
}

/// Reasons from readings to suspects.
///
/// # Errors
/// The parts that keep switching, if the healthy machine never settles in a setup of the record.
pub fn locate(
    harness: &Harness,
    netlist: &Netlist,
    entries: &[Entry],
    meter: &Meter,
) -> Result<Diagnosis, Unsettled> {
    let situations = situations(harness, netlist, entries)?;
    let (judged, left) = judge::judge(&situations, entries, meter);
    let universe = Universe::new(harness, netlist);
    let bad = judged.iter().any(|j| !j.good);
    let (standing, out) = sift(harness, netlist, &situations, &judged, &universe);
    let mut diagnosis = Diagnosis {
        cleared: cleared(harness, &judged, &universe, &out),
        judged,
        left,
        suspects: Vec::new(),
        next: None,
        by_hand: Vec::new(),
        repeat: Vec::new(),
        verdict: Verdict::Healthy,
    };
    if !bad {
        return Ok(diagnosis);
    }
    if standing.is_empty() {
        diagnosis.verdict = Verdict::Contradictory;
        diagnosis.repeat = repeat(harness, netlist, &situations, &diagnosis.judged, &universe);
        return Ok(diagnosis);
    }
    let last = entries.last();
    let now = next::Now {
        setup: last.map(|entry| entry.setup.clone()),
        station: last.and_then(|entry| harness.station_of(entry.red)),
    };
    let (groups, next) = next::choose(harness, netlist, &universe, &standing, &situations, now, meter);
    diagnosis.suspects = groups;
    let accusers: Vec<String> = diagnosis.judged.iter().filter(|j| !j.good).map(|j| j.name.clone()).collect();
    for group in &mut diagnosis.suspects {
        group.accused_by.clone_from(&accusers);
    }
    let settled = diagnosis.suspects.first().is_some_and(|group| group.share >= SETTLED);
    diagnosis.verdict = if settled || next.is_none() && diagnosis.suspects.len() == 1 {
        Verdict::Located
    } else {
        Verdict::Narrowed
    };
    if diagnosis.verdict == Verdict::Located {
        diagnosis.by_hand = by_hand(harness, &diagnosis.suspects[0]);
    } else {
        diagnosis.next = next;
    }
    Ok(diagnosis)
}

/// Every setup of the record, solved.
fn situations<'a>(
    harness: &'a Harness,
    netlist: &'a Netlist,
    entries: &[Entry],
) -> Result<BTreeMap<Setup, Situation<'a>>, Unsettled> {
    let setups: BTreeSet<&Setup> = entries.iter().map(|entry| &entry.setup).collect();
    setups.into_iter().map(|setup| Ok((setup.clone(), Situation::new(harness, netlist, setup)?))).collect()
}

/// A fault that explains every reading.
#[derive(Debug, Clone, Copy)]
struct Suspect {
    hypothesis: Hypothesis,
    weight: f64,
}

/// Keeps the faults that every reading admits; for each of the others, the reading that put it out. A
/// bad joint stands with the mildest band that explains everything.
fn sift(
    harness: &Harness,
    netlist: &Netlist,
    situations: &BTreeMap<Setup, Situation<'_>>,
    judged: &[Judged],
    universe: &Universe,
) -> (Vec<Suspect>, BTreeMap<Fault, Out>) {
    let mut standing = Vec::new();
    let mut out = BTreeMap::new();
    let mut predictor = predict::Predictor::new(harness, netlist, universe, situations);
    for (fault, weight) in universe.iter() {
        let mut last = None;
        for hypothesis in Hypothesis::of(fault) {
            let against = |(at, reading): (usize, &Judged)| predictor.contradicts(hypothesis, at, reading);
            match judged.iter().enumerate().find_map(against) {
                // The hypothesis that stood longest gives the reason.
                Some(reason) => last = Some(longest(last.take(), reason)),
                None => {
                    standing.push(Suspect { hypothesis, weight });
                    last = None;
                    break;
                }
            }
        }
        if let Some(reason) = last {
            out.insert(fault, reason);
        }
    }
    (standing, out)
}

fn longest(known: Option<Out>, fresh: Out) -> Out {
    match known {
        Some(known) if known.reading >= fresh.reading => known,
        _ => fresh,
    }
}

/// Elements of which every fault is out, with the readings that put them out.
fn cleared(
    harness: &Harness,
    judged: &[Judged],
    universe: &Universe,
    out: &BTreeMap<Fault, Out>,
) -> Vec<Cleared> {
    let mut by_element: BTreeMap<Element, Vec<Option<(Fault, &Out)>>> = BTreeMap::new();
    for (fault, _) in universe.iter() {
        // A wire stands for itself: that it touches another is another fault than its own being open.
        if let Fault::Short(..) | Fault::Crossed(..) | Fault::ToChassis(_) = fault {
            continue;
        }
        for element in fault.elements() {
            by_element.entry(element).or_default().push(out.get(&fault).map(|reason| (fault, reason)));
        }
    }
    let mut cleared = Vec::new();
    for (element, faults) in by_element {
        let Some(faults) = faults.into_iter().collect::<Option<Vec<_>>>() else { continue };
        let readings: BTreeSet<usize> = faults.iter().map(|(_, reason)| reason.reading).collect();
        let good = faults.iter().find(|(_, reason)| judged[reason.reading].good);
        let Some((fault, reason)) = good.or(faults.first()) else { continue };
        let reading = &judged[reason.reading];
        let why = format!(
            "with {}, {} would read {}; it read {}",
            fault.words(harness),
            reading.name,
            predict::words(reason.predicted),
            reading.value
        );
        let by = readings.into_iter().map(|at| judged[at].name.clone()).collect();
        cleared.push(Cleared { element, by, by_good: good.is_some(), why });
    }
    cleared
}

/// Readings whose removal would leave at least one fault standing.
fn repeat(
    harness: &Harness,
    netlist: &Netlist,
    situations: &BTreeMap<Setup, Situation<'_>>,
    judged: &[Judged],
    universe: &Universe,
) -> Vec<String> {
    let mut predictor = predict::Predictor::new(harness, netlist, universe, situations);
    let mut lone = BTreeSet::new();
    for hypothesis in universe.iter().flat_map(|(fault, _)| Hypothesis::of(fault)) {
        let against: Vec<usize> = judged
            .iter()
            .enumerate()
            .filter(|(at, reading)| predictor.contradicts(hypothesis, *at, reading).is_some())
            .map(|(at, _)| at)
            .take(2)
            .collect();
        if let [one] = against[..] {
            lone.insert(one);
        }
    }
    lone.into_iter().map(|at| judged[at].name.clone()).collect()
}

/// What hands and eyes do when readings can tell no more.
fn by_hand(harness: &Harness, group: &Group) -> Vec<String> {
    let mut todo = BTreeSet::new();
    for fault in &group.faults {
        let text = match fault {
            Fault::Open(element) | Fault::High(element) => match element {
                Element::Wire(_) => {
                    format!("follow {} by hand and eye for its whole length", element.words(harness))
                }
                Element::Termination(..) => format!("pull-test the {}", element.words(harness)),
                Element::SpliceLeg(..) => format!("open {} and look", element.words(harness)),
                Element::Mated(..) => {
                    format!("drag-test the socket and look at both contacts of {}", element.id(harness))
                }
                Element::Bond(_) => {
                    format!("take the lug off at the {}, clean to bare metal, refit", element.words(harness))
                }
                Element::Part(_) => format!("take out {} and measure it alone", element.words(harness)),
            },
            Fault::Dead(_) => {
                format!("swap in a known-good one for the last proof: {}", fault.words(harness))
            }
            _ => format!("look for it by hand and eye: {}", fault.words(harness)),
        };
        todo.insert(text);
    }
    todo.into_iter().collect()
}
