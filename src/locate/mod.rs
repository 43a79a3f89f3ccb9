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
pub mod place;
mod predict;
pub mod twin;
pub mod wiggle;

pub use judge::{Judged, Left, meter_of};
pub use next::Next;
pub use place::{Distance, Places};
pub use twin::Compared;
pub use wiggle::Wiggled;

use std::collections::{BTreeMap, BTreeSet};

use predict::{Hypothesis, Memory, Scene, Taken};
use wiggle::Intermittent;

use crate::circuit::Unsettled;
use crate::definition::{Harness, PartId};
use crate::fault::{Fault, Universe};
use crate::measure::{Measurement, Meter, Situation};
use crate::netlist::{Element, Netlist};
use crate::record::{Entry, PlaceReading};
use crate::setup::Setup;

/// What readings say together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// One group of faults that nothing permitted can tell apart explains everything, and nothing else does.
    Located,
    /// Several groups explain everything; the likeliest may be likely, but it is not proven.
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
    /// Fuses that the healthy machine would blow in a setup of the record, each with the setup: what they
    /// feed is dead in every prediction, so the definition or the load deserves a look first.
    pub overloaded: Vec<(PartId, Setup)>,
    /// On the meters that the record names: which are taken for a plain one.
    pub notes: Vec<String>,
    /// Where along a wire readings of a place put the fault.
    pub places: Places,
    /// Readings taken while something was moved.
    pub wiggled: Vec<Wiggled>,
    /// Expectations that a known-good twin changed.
    pub compared: Vec<Compared>,
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
    /// How far along a wire it lies, where the group is one short and the meter can tell.
    pub distance: Option<Distance>,
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
    range: predict::Range,
}

/// What is reasoned from.
#[derive(Debug, Clone, Copy, Default)]
pub struct Evidence<'a> {
    /// The readings, in the order of the record.
    pub entries: &'a [Entry],
    /// Readings of a place along a wire.
    pub places: &'a [PlaceReading],
    /// Readings of a known-good twin.
    pub twin: &'a [Entry],
}

/// Reasons from readings to suspects. A reading is judged by the meter that it names, and by `meter` where
/// it names none; so are readings that are proposed.
///
/// # Errors
/// The parts that keep switching, if the healthy machine never settles in a setup of the record.
pub fn locate(
    harness: &Harness,
    netlist: &Netlist,
    entries: &[Entry],
    meter: &Meter,
) -> Result<Diagnosis, Unsettled> {
    locate_with(harness, netlist, &Evidence { entries, ..Evidence::default() }, meter)
}

/// [`locate`], from more than the readings of one machine.
///
/// # Errors
/// As [`locate`].
pub fn locate_with(
    harness: &Harness,
    netlist: &Netlist,
    evidence: &Evidence<'_>,
    meter: &Meter,
) -> Result<Diagnosis, Unsettled> {
    let entries = evidence.entries;
    let situations = situations(harness, netlist, entries)?;
    let (mut judged, left) = judge::judge(&situations, entries, meter);
    let compared = twin::narrow(&mut judged, evidence.twin, meter);
    let moved = Intermittent::new(harness, &mut judged, entries);
    let universe = Universe::new(harness, netlist);
    let mut record = Reader::new(harness, netlist, &universe, &situations, &judged, &moved);
    let (standing, out) = record.sift();
    let mut diagnosis = Diagnosis {
        cleared: cleared(harness, &judged, &universe, &out),
        left,
        suspects: Vec::new(),
        next: None,
        by_hand: Vec::new(),
        repeat: Vec::new(),
        overloaded: overloaded(&situations),
        notes: judge::notes(entries).into_iter().chain(moved.notes()).collect(),
        places: Places::default(),
        wiggled: moved.wiggled.clone(),
        compared,
        verdict: Verdict::Healthy,
        judged: Vec::new(),
    };
    if judged.iter().any(|j| !j.good) {
        if standing.is_empty() {
            diagnosis.verdict = Verdict::Contradictory;
            diagnosis.repeat = record.repeat();
        } else {
            let last = entries.last();
            let now = next::Now {
                setup: last.map(|entry| entry.setup.clone()),
                station: last.and_then(|entry| harness.station_of(entry.red)),
            };
            let (groups, next) = next::choose(&mut record, &standing, now, meter);
            conclude(harness, &mut diagnosis, groups, next, &judged);
        }
    }
    diagnosis.judged = judged;
    place::mark(harness, netlist, &mut diagnosis, evidence.places, meter)?;
    Ok(diagnosis)
}

/// The verdict on the groups that stand. A likely group is not a proven one: while another explains the
/// readings as well, the answer is narrowed at best.
fn conclude(
    harness: &Harness,
    diagnosis: &mut Diagnosis,
    groups: Vec<Group>,
    next: Option<Next>,
    judged: &[Judged],
) {
    diagnosis.suspects = groups;
    let accusers: Vec<String> = judged.iter().filter(|j| !j.good).map(|j| j.name.clone()).collect();
    for group in &mut diagnosis.suspects {
        group.accused_by.clone_from(&accusers);
    }
    diagnosis.verdict = if diagnosis.suspects.len() == 1 { Verdict::Located } else { Verdict::Narrowed };
    if diagnosis.verdict == Verdict::Narrowed {
        diagnosis.next = next;
    }
    if diagnosis.next.is_none() {
        diagnosis.by_hand = by_hand(harness, &diagnosis.suspects);
    }
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

fn overloaded(situations: &BTreeMap<Setup, Situation<'_>>) -> Vec<(PartId, Setup)> {
    let of = |(setup, situation): (&Setup, &Situation<'_>)| {
        situation.blown_when_healthy().map(|fuse| (fuse, setup.clone())).collect::<Vec<_>>()
    };
    situations.iter().flat_map(of).collect()
}

/// A fault that explains every reading.
#[derive(Debug, Clone, Copy)]
struct Suspect {
    hypothesis: Hypothesis,
    weight: f64,
}

/// The readings of a record, by the setups they were taken in, ready to be held against any fault.
struct Reader<'a> {
    harness: &'a Harness,
    netlist: &'a Netlist,
    universe: &'a Universe,
    scenes: Vec<Scene<'a>>,
    judged: &'a [Judged],
    /// The scene of each reading and its place there.
    places: Vec<(usize, usize)>,
    /// What of them a fault that comes and goes need not answer to.
    moved: &'a Intermittent,
    memory: Memory<'a>,
}

impl<'a> Reader<'a> {
    fn new(
        harness: &'a Harness,
        netlist: &'a Netlist,
        universe: &'a Universe,
        situations: &'a BTreeMap<Setup, Situation<'a>>,
        judged: &'a [Judged],
        moved: &'a Intermittent,
    ) -> Self {
        let mut by_setup: BTreeMap<&Setup, Vec<Measurement>> = BTreeMap::new();
        let mut within = Vec::new();
        for reading in judged {
            let measurements = by_setup.entry(reading.measurement.setup()).or_default();
            within.push(measurements.len());
            measurements.push(reading.measurement.clone());
        }
        let order: Vec<&Setup> = by_setup.keys().copied().collect();
        let scene_of =
            |reading: &Judged| order.binary_search(&reading.measurement.setup()).unwrap_or_default();
        let places = judged.iter().map(scene_of).zip(within).collect();
        let history = judged.iter().filter_map(|j| situations.get(j.measurement.setup())).collect();
        let scene = |(setup, measurements)| situations.get(setup).map(|s| Scene::new(s, measurements, true));
        Self {
            harness,
            netlist,
            universe,
            scenes: by_setup.into_iter().filter_map(scene).collect(),
            judged,
            places,
            moved,
            memory: Memory::new(harness, netlist, universe, history),
        }
    }

    fn contradicts(&mut self, hypothesis: Hypothesis, reading: usize) -> Option<Out> {
        if self.moved.excuses(self.harness, hypothesis.fault, reading) {
            return None;
        }
        let (scene, at) = self.places[reading];
        let Judged { value, expect, good, .. } = &self.judged[reading];
        let taken = Taken { reading, at, value: *value, expect, good: *good };
        let range = predict::contradicts(&mut self.scenes[scene], &mut self.memory, hypothesis, taken)?;
        Some(Out { reading, range })
    }

    /// Keeps the faults that every reading admits; for each of the others, the reading that put it out. A
    /// bad joint stands with the mildest band that explains everything.
    fn sift(&mut self) -> (Vec<Suspect>, BTreeMap<Fault, Out>) {
        let mut standing = Vec::new();
        let mut out = BTreeMap::new();
        for (fault, weight) in self.universe.iter().filter(|(fault, _)| !self.moved.rules_out(*fault)) {
            let weight = weight * self.moved.favour(self.harness, fault);
            let mut last: Option<Out> = None;
            for hypothesis in Hypothesis::of(fault) {
                let reason = (0..self.judged.len()).find_map(|reading| self.contradicts(hypothesis, reading));
                let Some(reason) = reason else {
                    standing.push(Suspect { hypothesis, weight });
                    last = None;
                    break;
                };
                // The hypothesis that stood longest gives the reason.
                if last.as_ref().is_none_or(|known| known.reading < reason.reading) {
                    last = Some(reason);
                }
            }
            if let Some(reason) = last {
                out.insert(fault, reason);
            }
        }
        (standing, out)
    }

    /// Readings whose removal would leave at least one fault standing.
    fn repeat(&mut self) -> Vec<String> {
        let mut lone = BTreeSet::new();
        for hypothesis in self.universe.iter().flat_map(|(fault, _)| Hypothesis::of(fault)) {
            let mut against =
                (0..self.judged.len()).filter(|reading| self.contradicts(hypothesis, *reading).is_some());
            if let (Some(one), None) = (against.next(), against.next()) {
                lone.insert(one);
            }
        }
        lone.into_iter().map(|at| self.judged[at].name.clone()).collect()
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
            reason.range.words(),
            reading.value.words()
        );
        let by = readings.into_iter().map(|at| judged[at].name.clone()).collect();
        cleared.push(Cleared { element, by, by_good: good.is_some(), why });
    }
    cleared
}

/// What hands and eyes do when readings can tell no more.
fn by_hand(harness: &Harness, groups: &[Group]) -> Vec<String> {
    let mut todo = Vec::new();
    for fault in groups.iter().flat_map(|group| &group.faults) {
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
        if !todo.contains(&text) {
            todo.push(text);
        }
    }
    todo
}
