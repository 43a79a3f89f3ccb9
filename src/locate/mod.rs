//! From readings to the segment at fault.
//!
//! Comes in: a machine and the readings of a record. Goes out: which readings are good and which bad,
//! the faults that explain all of them with their shares, the derivation that clears everything else, the next
//! reading, and a verdict. Why: the person at the machine must prove what is at fault before anything is
//! replaced.
//!
//! Method: every single fault is put into the machine and every reading is predicted; two faults at once are tried
//! where the evidence leaves room for them (Bayes, see `weigh`). A reading that a fault cannot make counts
//! against it as much as a misread value is unlikely. What no permitted reading can tell apart stands in one
//! group.
//!
//! The verdict takes every reading for true, and the shares tell how far that can be trusted:
//!
//! - `healthy`: every reading is good.
//! - `located`: one group explains every reading and no other single fault does; or no single fault does, and one kind
//!   of pair does with at least [`LOCATED`] of the probability. A unit is located only when it had all it
//!   needs (see [`UnitCase`]).
//! - `narrowed`: several groups explain every reading, or a proof against a unit is missing.
//! - `contradictory`: no single fault explains every reading, and that a reading is wrong is likelier than two faults
//!   at once. [`Conflict`] has the fewest readings that cannot all be true of one fault.
//!
//! Cost: one solution for every fault still in question in every setup that was read in; opens and bad
//! joints without power follow from the healthy factor at a fraction of that.

mod candidates;
mod conflict;
mod earlier;
mod hands;
mod hypothesis;
mod judge;
mod memory;
mod next;
mod outcome;
pub mod place;
pub mod policy;
mod predict;
mod reasons;
pub mod twin;
mod unit;
mod weigh;
pub mod wiggle;
mod wishes;

pub use judge::{Judged, Left, meter_of};
pub use next::{Meaning, Next, live};
pub use place::{Distance, Places};
pub use reasons::{Accusation, Clearance, Example, Reasons, Step};
pub use twin::Compared;
pub use unit::{Need, Proof, UnitCase};
pub use weigh::MISREAD;
pub use wiggle::Wiggled;
pub use wishes::{Avoid, Wishes};

use std::collections::{BTreeMap, BTreeSet};

use next::{Ahead, Now};
use policy::Choice;
use unit::Missing;
use weigh::{Reader, Sifted, Suspect};
use wiggle::Intermittent;

use crate::circuit::Unsettled;
use crate::definition::{Harness, PartId, PartKind};
use crate::fault::{Fault, Universe};
use crate::measure::{Meter, Situation};
use crate::netlist::{Element, Netlist};
use crate::record::{Entry, PlaceReading};
use crate::setup::Setup;

/// Two faults at once are located from this much of the probability.
pub const LOCATED: f64 = 0.9;
/// Pairs, and what takes a reading for wrong, are listed from this much of the probability.
const LISTED: f64 = 0.01;
/// From this much doubt a located fault comes with the reading to repeat before anything is replaced.
const DOUBT: f64 = 0.05;

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
    /// Nothing explains all readings so well as that one of them is wrong.
    Contradictory,
}

/// The answer.
#[derive(Debug, Clone)]
pub struct Diagnosis {
    /// Every reading that could be judged, in the order of the record.
    pub judged: Vec<Judged>,
    /// Readings that could not be judged, with the reason.
    pub left: Vec<Left>,
    /// Faults that explain all readings, in groups that nothing permitted can tell apart; single faults before
    /// pairs, the likeliest first.
    pub suspects: Vec<Group>,
    /// Faults that would explain all readings if one or two of these were wrong, the likeliest first.
    pub doubted: Vec<Group>,
    /// Elements none of whose faults explains all readings.
    pub cleared: Vec<Cleared>,
    /// The derivation of suspects and cleared elements.
    pub reasons: Reasons,
    /// The cases against units that are among the suspects.
    pub units: Vec<UnitCase>,
    /// The next reading, if one can tell more.
    pub next: Option<Next>,
    /// What to do by hand and eye, when readings can tell no more.
    pub by_hand: Vec<String>,
    /// The readings that cannot all be true of one fault, when the readings contradict each other.
    pub conflict: Option<Conflict>,
    /// Readings to repeat, the one that is most likely wrong first: when they contradict each other, or before
    /// anything is replaced, where much hangs on them.
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
    /// The problem that the next reading was chosen from, where it was asked for.
    pub choice: Option<Choice>,
}

/// Faults that nothing permitted can tell apart.
#[derive(Debug, Clone, Default)]
pub struct Group {
    /// The faults, the likeliest first; none where it is pairs.
    pub faults: Vec<Fault>,
    /// Pairs of faults at once; none where it is single faults.
    pub pairs: Vec<[Fault; 2]>,
    /// Their share of the probability.
    pub share: f64,
    /// The bad readings they explain.
    pub accused_by: Vec<String>,
    /// The readings that they take for wrong.
    pub misread: Vec<String>,
    /// How far along a wire it lies, where the group is one short and the meter can tell.
    pub distance: Option<Distance>,
    /// Where it is located and names a fuse that is open: shorts that may have blown it before the first reading, with the
    /// switches as they then stood, and that no reading clears.
    pub behind: Vec<Fault>,
}

/// The fewest readings that cannot all be true of a machine with one fault.
#[derive(Debug, Clone)]
pub struct Conflict {
    /// Their names.
    pub readings: Vec<String>,
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
    /// The steps of the derivation that it rests on.
    pub steps: Vec<usize>,
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
    locate_for(harness, netlist, evidence, &Wishes::default(), meter)
}

/// [`locate_with`], for a person who says where the machine stands and what is out of reach.
///
/// # Errors
/// As [`locate`].
pub fn locate_for(
    harness: &Harness,
    netlist: &Netlist,
    evidence: &Evidence<'_>,
    wishes: &Wishes<'_>,
    meter: &Meter,
) -> Result<Diagnosis, Unsettled> {
    let entries = evidence.entries;
    let situations = situations(harness, netlist, entries)?;
    let (mut judged, left) = judge::judge(&situations, entries, meter);
    let compared = twin::narrow(&mut judged, evidence.twin, meter);
    let moved = Intermittent::new(harness, &mut judged, entries);
    let universe = Universe::new(harness, netlist);
    let mut record = Reader::new(harness, netlist, &universe, &situations, &judged, &moved);
    let sifted = record.sift();
    let reasons = reasons::derive(&mut record, &sifted);
    let mut diagnosis = Diagnosis {
        cleared: cleared(harness, &judged, &reasons),
        left,
        suspects: Vec::new(),
        doubted: Vec::new(),
        reasons,
        units: Vec::new(),
        next: None,
        by_hand: Vec::new(),
        conflict: None,
        repeat: Vec::new(),
        overloaded: overloaded(&situations),
        notes: judge::notes(entries).into_iter().chain(moved.notes()).collect(),
        places: Places::default(),
        wiggled: moved.wiggled.clone(),
        compared,
        verdict: Verdict::Healthy,
        choice: None,
        judged: Vec::new(),
    };
    if judged.iter().any(|j| !j.good) {
        let last = entries.last();
        let of_last = last.and_then(|entry| harness.station_of(entry.red));
        let now = Now {
            setup: wishes.stand.or(last.map(|entry| &entry.setup)).cloned(),
            station: if wishes.stand.is_some() { wishes.station } else { of_last },
            avoid: wishes.avoid.to_vec(),
            keep: wishes.keep,
        };
        conclude(&mut record, &mut diagnosis, &sifted, now, meter);
    }
    diagnosis.judged = judged;
    place::mark(harness, netlist, &mut diagnosis, evidence.places, meter)?;
    Ok(diagnosis)
}

/// Groups, verdict and what comes next. A likely group is not a proven one: while another single fault explains the
/// readings as well, the answer is narrowed at best.
fn conclude(record: &mut Reader<'_>, diagnosis: &mut Diagnosis, sifted: &Sifted, now: Now, meter: &Meter) {
    let total: f64 = sifted.all().map(|suspect| suspect.weight).sum();
    let share = |suspects: &[Suspect]| suspects.iter().map(|s| s.weight).sum::<f64>() / total;
    let single = !sifted.exact.is_empty();
    let contradictory = !single && (sifted.pairs.is_empty() || share(&sifted.pairs) < 0.5);
    let pool: Vec<Suspect> = if single { sifted.exact.clone() } else { sifted.all().cloned().collect() };
    let proof_from = now.clone();
    let Ahead { groups, next, choice } = next::choose(record, &pool, now, meter, !single);
    diagnosis.choice = choice;
    let mut groups = group(record, &pool, groups, total);
    if single {
        groups.extend(group(record, &sifted.pairs, alike(record, &sifted.pairs), total));
        groups.extend(group(record, &sifted.doubted, alike(record, &sifted.doubted), total));
    }
    let listed =
        |group: &Group| group.share >= LISTED || (group.misread.is_empty() && group.pairs.is_empty());
    groups.retain(listed);
    let named = |accusation: &Accusation| {
        let pair = |pair: &[Fault; 2]| pair[..] == accusation.faults[..];
        let of = |group: &Group| group.pairs.iter().any(pair) || accusation.faults.len() == 1;
        groups.iter().any(of)
    };
    diagnosis.reasons.accused.retain(named);
    (diagnosis.suspects, diagnosis.doubted) = groups.into_iter().partition(|group| group.misread.is_empty());
    diagnosis.suspects.sort_by_key(|group| group.faults.is_empty());
    let settled = match &diagnosis.suspects[..] {
        [only] if single => Some(only),
        [only] => Some(only).filter(|only| only.share >= LOCATED),
        [first, rest @ ..] if single && rest.iter().all(|group| group.faults.is_empty()) => Some(first),
        _ => None,
    };
    diagnosis.verdict = match settled {
        _ if contradictory => Verdict::Contradictory,
        Some(_) => Verdict::Located,
        None => Verdict::Narrowed,
    };
    let proof = units(record, diagnosis, &proof_from, meter);
    if diagnosis.verdict != Verdict::Located {
        diagnosis.next = next.or(proof);
    }
    let blame = record.blame(sifted);
    if contradictory {
        let conflict = conflict::smallest(&record.all_against());
        let names = |at: &usize| record.judged[*at].name.clone();
        diagnosis.conflict = Some(Conflict { readings: conflict.iter().map(names).collect() });
        diagnosis.repeat = worst(record, blame, 0.0);
    } else if diagnosis.verdict == Verdict::Located {
        diagnosis.repeat = worst(record, blame, DOUBT * total);
        if let Some(group) = diagnosis.suspects.first_mut() {
            group.behind = behind(record, group);
        }
    }
    if diagnosis.next.is_none() {
        let groups = diagnosis.suspects.iter().chain(&diagnosis.doubted);
        let groups = groups.filter(|group| contradictory || group.misread.is_empty());
        diagnosis.by_hand = hands::by_hand(record.harness, groups);
    }
}

/// What may have blown a fuse that is found open.
fn behind(record: &mut Reader<'_>, group: &Group) -> Vec<Fault> {
    let fuse = |fault: &Fault| match fault {
        Fault::Open(Element::Part(part)) => {
            matches!(record.harness.parts[*part].kind, PartKind::Fuse { .. }).then_some(*part)
        }
        _ => None,
    };
    let fuse = group.faults.iter().find_map(fuse).and_then(|part| record.netlist.links_of(part).next());
    fuse.map(|fuse| record.behind(fuse)).unwrap_or_default()
}

/// The readings that carry at least so much blame, most first.
fn worst(record: &Reader<'_>, blame: BTreeMap<usize, f64>, least: f64) -> Vec<String> {
    let mut blame: Vec<(usize, f64)> = blame.into_iter().filter(|(_, blame)| *blame >= least).collect();
    blame.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let most = blame.first().map_or(0.0, |(_, blame)| *blame);
    let near = blame.into_iter().filter(|(_, blame)| *blame >= most * LISTED);
    near.map(|(at, _)| record.judged[at].name.clone()).collect()
}

/// The cases against the units that a group of suspects names. Where one is left and a proof is missing, the
/// verdict falls back to narrowed and the proof is what to read next.
fn units(record: &Reader<'_>, diagnosis: &mut Diagnosis, now: &Now, meter: &Meter) -> Option<Next> {
    let dead = |fault: &Fault| match fault {
        Fault::Dead(unit) => Some(*unit),
        _ => None,
    };
    let all =
        diagnosis.suspects.iter().flat_map(|group| group.faults.iter().chain(group.pairs.iter().flatten()));
    let units: BTreeSet<PartId> = all.filter_map(dead).collect();
    let cases: Vec<Option<(UnitCase, Vec<Missing>)>> =
        units.into_iter().map(|unit| unit::case(record, unit)).collect();
    let closed = cases.iter().all(|case| case.as_ref().is_some_and(|(case, _)| case.is_closed()));
    if diagnosis.verdict == Verdict::Located && !closed {
        diagnosis.verdict = Verdict::Narrowed;
    }
    let mut next = None;
    let accused = diagnosis.suspects.first().map(|group| group.faults.clone()).unwrap_or_default();
    for (case, missing) in cases.into_iter().flatten() {
        diagnosis.units.push(case);
        for missing in missing {
            next = next.or_else(|| next::proof(record, missing, now, &accused, meter));
        }
    }
    next
}

/// Suspects in the groups that were found.
fn group(record: &Reader<'_>, suspects: &[Suspect], groups: Vec<Vec<usize>>, total: f64) -> Vec<Group> {
    let names = |readings: &[usize]| readings.iter().map(|at| record.judged[*at].name.clone()).collect();
    let bad: Vec<usize> = (0..record.judged.len()).filter(|at| !record.judged[*at].good).collect();
    let group = |members: Vec<usize>| {
        let mut members: Vec<&Suspect> = members.iter().map(|at| &suspects[*at]).collect();
        members.sort_by(|a, b| b.weight.total_cmp(&a.weight).then(a.hypothesis.cmp(&b.hypothesis)));
        let single = members.iter().filter(|suspect| suspect.pairs.is_empty());
        let faults: Vec<Fault> = single.flat_map(|suspect| suspect.hypothesis.faults()).collect();
        let wrong = &members[0].wrong;
        let explained: Vec<usize> = bad.iter().copied().filter(|at| !wrong.contains(at)).collect();
        Group {
            pairs: members.iter().flat_map(|suspect| suspect.pairs.iter().copied()).collect(),
            share: members.iter().map(|suspect| suspect.weight).sum::<f64>() / total,
            accused_by: names(&explained),
            misread: names(wrong),
            faults,
            // What readings of a place say is marked when all groups stand.
            distance: None,
            behind: Vec::new(),
        }
    };
    let apart = groups.into_iter().flat_map(|members| apart(suspects, members));
    let mut groups: Vec<Group> = apart.map(group).collect();
    groups.sort_by(|a, b| b.share.total_cmp(&a.share).then_with(|| a.faults.cmp(&b.faults)));
    groups
}

/// Single faults and pairs, and what takes other readings for wrong, are not listed together even where no reading
/// tells them apart.
fn apart(suspects: &[Suspect], members: Vec<usize>) -> Vec<Vec<usize>> {
    let mut sorts: BTreeMap<(bool, &Vec<usize>), Vec<usize>> = BTreeMap::new();
    for at in members {
        sorts.entry((suspects[at].pairs.is_empty(), &suspects[at].wrong)).or_default().push(at);
    }
    sorts.into_values().collect()
}

/// Suspects by what they change in the machine.
fn alike(record: &Reader<'_>, suspects: &[Suspect]) -> Vec<Vec<usize>> {
    let mut alike: BTreeMap<_, Vec<usize>> = BTreeMap::new();
    for (at, suspect) in suspects.iter().enumerate() {
        let key = suspect.hypothesis.key(record.harness, record.netlist, record.universe);
        alike.entry((key, &suspect.wrong)).or_default().push(at);
    }
    alike.into_values().collect()
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

/// Cleared elements with the readings that clear them.
fn cleared(harness: &Harness, judged: &[Judged], reasons: &Reasons) -> Vec<Cleared> {
    let of = |clearance: &Clearance| {
        let steps = clearance.steps.iter().map(|step| &reasons.steps[*step]);
        let first = steps.clone().find(|step| step.by_good).or(steps.clone().next())?;
        let by = reasons.clearing(clearance).into_iter().map(|at| judged[at].name.clone()).collect();
        Some(Cleared {
            element: clearance.element,
            by,
            by_good: first.by_good,
            why: first.words(harness, judged),
            steps: clearance.steps.clone(),
        })
    };
    reasons.cleared.iter().filter_map(of).collect()
}
