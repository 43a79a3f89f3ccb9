//! Where along the wire a fault lies.
//!
//! Comes in: the suspects, and readings of a place (loops, capacitances, reflections) or plain resistances
//! through a touch. Goes out: for each suspect the place, by trunk and by metres from the nearest connector,
//! with its error; and what every reading says alone. Why: a wire of ten metres in a bundle is not opened by
//! trial.
//!
//! Several readings of one line are weighed by the inverse of their variances; one that lies outside what its
//! error and the others' allow is told. A reading that puts the fault outside the wire is told in words and
//! used for nothing.
//!
//! A series resistance (a bad joint) looks the same from both ends wherever it lies: no loop finds it, a
//! reflection does.

mod estimate;
pub mod formula;
mod line;
mod touch;
pub mod words;

use std::collections::BTreeMap;

use estimate::Estimate;
use line::Line;

use super::{Diagnosis, Left};
use crate::circuit::Unsettled;
use crate::definition::{Harness, Point, TrunkId, WireId};
use crate::fault::Fault;
use crate::measure::{Meter, Situation};
use crate::netlist::{Element, Netlist};
use crate::record::{PlaceKind, PlaceReading};
use crate::units::Metres;

/// Where a fault lies along a wire.
#[derive(Debug, Clone, PartialEq)]
pub struct Distance {
    /// The contact, terminal or splice it is counted from.
    pub from: Point,
    /// How far from there, along the wires.
    pub at: Metres,
    /// The error of that, either way (twice the standard deviation).
    pub plus_minus: Metres,
    /// The wire it lies in.
    pub wire: WireId,
    /// The trunk it lies in, then those within its error; empty on a tail and where there are none.
    pub trunks: Vec<TrunkId>,
    /// Whether the first trunk is the one it lies in; else any of them may be.
    pub sure: bool,
}

/// What one reading of a place says.
#[derive(Debug, Clone)]
pub struct Placed {
    /// How reports refer to it.
    pub name: String,
    /// How it was measured.
    pub kind: PlaceKind,
    /// The wires it goes along.
    pub along: Vec<WireId>,
    /// What the instrument showed, in words.
    pub shown: String,
    /// Where that puts the fault.
    pub place: Distance,
}

/// What readings of a place say together, for one group of suspects.
#[derive(Debug, Clone)]
pub struct Together {
    /// The group, by its place among the suspects.
    pub group: usize,
    /// The readings that were combined.
    pub by: Vec<String>,
    /// Where they put the fault.
    pub place: Distance,
    /// Readings that do not agree with the rest, in words; empty where all do.
    pub disagreement: Vec<String>,
}

/// All that readings of a place say.
#[derive(Debug, Clone, Default)]
pub struct Places {
    /// What each says alone.
    pub alone: Vec<Placed>,
    /// What they say together, for the groups that they concern.
    pub together: Vec<Together>,
}

/// Two readings disagree where they lie farther apart than so many standard deviations of their difference:
/// by chance one pair in about four hundred does.
const APART: f64 = 3.0;
/// How much less likely a suspect is that does not lie where readings of a place put the fault. Common
/// practice, no source: it is more than the chance of a mistake in reading, and less than proof.
const ELSEWHERE: f64 = 0.05;
/// A break so near the end of a wire may be in the termination.
const AT_THE_END: f64 = 0.05;

/// Where a single reading puts the fault.
///
/// # Errors
/// In words: a reading that may not be taken, that the setup spoils, or that puts the fault outside the wires.
pub fn place(situation: &Situation<'_>, reading: &PlaceReading, meter: &Meter) -> Result<Placed, String> {
    estimate::estimate(situation, reading, meter)
        .map(|estimate| placed(situation.harness, reading, &estimate))
}

fn placed(harness: &Harness, reading: &PlaceReading, estimate: &Estimate) -> Placed {
    Placed {
        name: reading.name(),
        kind: reading.kind,
        along: reading.along.clone(),
        shown: reading.shown(),
        place: distance(
            harness,
            &estimate.line,
            estimate.at,
            [estimate.deviation(), estimate.deviation_from_far()],
        ),
    }
}

/// A place on a line, counted from its nearest connector; `deviations` from its beginning and from its end.
fn distance(harness: &Harness, line: &Line, at: f64, deviations: [f64; 2]) -> Distance {
    let length = line.length();
    let at = at.clamp(0.0, length);
    let (from, start) = words::nearest(line, at).unwrap_or((Point::Chassis, 0.0));
    let deviation = if start > at { deviations[1] } else { deviations[0] };
    let plus_minus = 2.0 * deviation;
    let mut left = at;
    let mut here = line.pieces.first();
    for piece in &line.pieces {
        here = Some(piece);
        if left <= piece.length {
            break;
        }
        left -= piece.length;
    }
    let (trunks, sure) = here.map_or((Vec::new(), false), |piece| {
        words::trunks(harness, piece, left.min(piece.length), plus_minus)
    });
    Distance {
        from,
        at: Metres::new((start - at).abs()),
        plus_minus: Metres::new(plus_minus),
        wire: here.map_or_else(|| crate::definition::Id::from_index(0), |piece| piece.wire),
        trunks,
        sure,
    }
}

/// Adds to a diagnosis what readings of a place say, and where plain resistances put a touch.
///
/// # Errors
/// The parts that keep switching, if the healthy machine never settles in a setup of the record.
pub(super) fn mark(
    harness: &Harness,
    netlist: &Netlist,
    diagnosis: &mut Diagnosis,
    readings: &[PlaceReading],
    meter: &Meter,
) -> Result<(), Unsettled> {
    let mut situations = BTreeMap::new();
    let mut found = Vec::new();
    for reading in readings {
        if !situations.contains_key(&reading.setup) {
            situations.insert(&reading.setup, Situation::new(harness, netlist, &reading.setup)?);
        }
        let Some(situation) = situations.get(&reading.setup) else { continue };
        match estimate::estimate(situation, reading, meter) {
            Ok(estimate) => {
                diagnosis.places.alone.push(placed(harness, reading, &estimate));
                found.push((reading, estimate));
            }
            Err(why) => diagnosis.left.push(Left { name: reading.name(), why }),
        }
    }
    if diagnosis.suspects.is_empty() && !found.is_empty() {
        diagnosis.notes.push(
            "a reading of a place presumes a fault, and no other reading here shows one that stands: log what showed it"
                .to_owned(),
        );
    }
    together(harness, diagnosis, &found);
    for group in &mut diagnosis.suspects {
        if group.distance.is_none()
            && let [fault] = group.faults[..]
        {
            group.distance = touch::to(harness, fault, &diagnosis.judged);
        }
    }
    // Before anything else hands do: where to open the bundle.
    if let Some(found) = diagnosis.places.together.first().filter(|_| !diagnosis.by_hand.is_empty()) {
        let wire = &harness.wires[found.place.wire].id;
        let line =
            format!("open the bundle {}, and look at wire {wire}", words::words(harness, &found.place));
        diagnosis.by_hand.insert(0, line);
    }
    Ok(())
}

/// Combines the readings for each group of suspects that they concern, and weighs the groups by the outcome.
fn together(harness: &Harness, diagnosis: &mut Diagnosis, found: &[(&PlaceReading, Estimate)]) {
    let before: f64 = diagnosis.suspects.iter().map(|group| group.share).sum();
    let mut any = false;
    for (at, group) in diagnosis.suspects.iter_mut().enumerate() {
        let concern = |reading: &PlaceReading| group.faults.iter().any(|fault| concerns(reading, *fault));
        let mine: Vec<_> = found.iter().filter(|(reading, _)| concern(reading)).collect();
        let Some(combined) = combine(harness, &mine) else { continue };
        any = true;
        let fits = |fault: &Fault| lies_at(harness, *fault, &combined, &mine);
        group.faults.sort_by_key(|fault| !fits(fault));
        if !group.faults.iter().any(fits) {
            group.share *= ELSEWHERE;
        }
        group.distance = Some(combined.place.clone());
        diagnosis.places.together.push(Together { group: at, ..combined });
    }
    if any {
        weigh(diagnosis, before);
    }
}

/// Brings the groups into the order of their shares again, with as much in all as before.
fn weigh(diagnosis: &mut Diagnosis, before: f64) {
    let total: f64 = diagnosis.suspects.iter().map(|group| group.share).sum();
    let mut order: Vec<usize> = (0..diagnosis.suspects.len()).collect();
    order.sort_by(|a, b| diagnosis.suspects[*b].share.total_cmp(&diagnosis.suspects[*a].share));
    let suspects: Vec<_> = order.iter().map(|at| diagnosis.suspects[*at].clone()).collect();
    diagnosis.suspects = suspects;
    if total > 0.0 {
        diagnosis.suspects.iter_mut().for_each(|group| group.share *= before / total);
    }
    for together in &mut diagnosis.places.together {
        together.group = order.iter().position(|at| *at == together.group).unwrap_or_default();
    }
    diagnosis.places.together.sort_by_key(|together| together.group);
}

/// Whether a reading can find a fault: on the wires it goes along, and through the touch it was read through.
fn concerns(reading: &PlaceReading, fault: Fault) -> bool {
    let through = match (reading.kind, fault) {
        (PlaceKind::Loop, Fault::Short(a, b)) => {
            let other = if reading.along.contains(&a) { b } else { a };
            reading.back.contains(&other)
        }
        (PlaceKind::Loop, Fault::ToChassis(_)) => reading.back.is_empty(),
        _ => true,
    };
    through && wires(fault, reading.kind).iter().any(|wire| reading.along.contains(wire))
}

/// The wires on which a reading of a kind can find a fault.
fn wires(fault: Fault, kind: PlaceKind) -> Vec<WireId> {
    let of = |element: Element| match element {
        Element::Wire(wire) | Element::Termination(wire, _) | Element::SpliceLeg(wire, _) => vec![wire],
        _ => Vec::new(),
    };
    match fault {
        Fault::Short(a, b) if kind.is_loop() || kind == PlaceKind::Reflection => vec![a, b],
        Fault::ToChassis(wire) if kind.is_loop() || kind == PlaceKind::Reflection => vec![wire],
        Fault::Open(element) if !kind.is_loop() => of(element),
        Fault::High(element) if kind == PlaceKind::Reflection => of(element),
        _ => Vec::new(),
    }
}

/// Whether a fault lies where the readings put it: on the wire, and an end of it only near that end.
fn lies_at(
    harness: &Harness,
    fault: Fault,
    combined: &Together,
    readings: &[&(&PlaceReading, Estimate)],
) -> bool {
    let place = &combined.place;
    let error = place.plus_minus.get();
    let of_any = |kind: PlaceKind| wires(fault, kind).contains(&place.wire);
    // Near a joint of two wires it may be either.
    let near_joint = || {
        let Some((_, estimate)) = readings.first().copied() else { return false };
        let mut so_far = 0.0;
        estimate.line.pieces.iter().any(|piece| {
            let [from, to] = [so_far, so_far + piece.length];
            so_far = to;
            let kinds = PlaceKind::ALL.iter().any(|(_, kind)| wires(fault, *kind).contains(&piece.wire));
            kinds && estimate.at > from - error - AT_THE_END && estimate.at < to + error + AT_THE_END
        })
    };
    if !PlaceKind::ALL.iter().any(|(_, kind)| of_any(*kind)) && !near_joint() {
        return false;
    }
    let end = match fault {
        Fault::Open(Element::Termination(wire, side) | Element::SpliceLeg(wire, side))
        | Fault::High(Element::Termination(wire, side) | Element::SpliceLeg(wire, side)) => {
            harness.wires[wire].ends[side as usize]
        }
        _ => return true,
    };
    readings.iter().any(|(_, estimate)| {
        let mut so_far = 0.0;
        estimate.line.pieces.iter().any(|piece| {
            let ends = [(piece.ends[0], so_far), (piece.ends[1], so_far + piece.length)];
            so_far += piece.length;
            ends.iter().any(|(point, at)| *point == end && (estimate.at - at).abs() <= error + AT_THE_END)
        })
    })
}

/// Readings of one line together. The one with the least error is the base, and those that do not run along
/// its wires are left aside.
fn combine(harness: &Harness, readings: &[&(&PlaceReading, Estimate)]) -> Option<Together> {
    let (base_reading, base) = readings
        .iter()
        .min_by(|a, b| a.1.deviation().total_cmp(&b.1.deviation()))
        .map(|(reading, estimate)| (*reading, estimate))?;
    let mut named = vec![(base_reading.name(), base.clone())];
    for (reading, estimate) in readings {
        if reading.number != base_reading.number {
            named.extend(on_line(&base.line, estimate).map(|estimate| (reading.name(), estimate)));
        }
    }
    let (named, disagreement) = agreeing(harness, named);
    let mean = weighted(&named);
    // What does not agree is not known as well as it would be if it did.
    let spread = if disagreement.is_empty() || all_agree(&named) {
        0.0
    } else {
        named.iter().map(|(_, e)| (e.at - mean.at).abs()).fold(0.0, f64::max)
    };
    let deviations = [mean.deviation(), mean.deviation_from_far()].map(|d| d.hypot(spread));
    Some(Together {
        group: 0,
        by: readings
            .iter()
            .map(|(reading, _)| reading.name())
            .filter(|name| named.iter().any(|(used, _)| used == name))
            .collect(),
        place: distance(harness, &mean.line, mean.at, deviations),
        disagreement,
    })
}

/// The mean by inverse variances. What the readings share does not average out.
fn weighted(named: &[(String, Estimate)]) -> Estimate {
    let weights: Vec<f64> = named.iter().map(|(_, e)| e.deviation().max(1e-6).powi(-2)).collect();
    let total: f64 = weights.iter().sum();
    let shares: Vec<f64> = weights.iter().map(|weight| weight / total).collect();
    let mean = |of: fn(&Estimate) -> f64| -> f64 {
        named.iter().zip(&shares).map(|((_, estimate), share)| of(estimate) * share).sum()
    };
    let own = named.iter().zip(&shares).map(|((_, e), share)| (e.own * share).powi(2)).sum::<f64>().sqrt();
    let mut shared = named[0].1.shared.map(|_| 0.0);
    for ((_, estimate), share) in named.iter().zip(&shares) {
        shared.iter_mut().zip(estimate.shared).for_each(|(sum, effect)| *sum += effect * share);
    }
    Estimate {
        line: named[0].1.line.clone(),
        at: mean(|e| e.at),
        own,
        shared,
        by_length: mean(|e| e.by_length),
        length: named[0].1.length,
    }
}

/// How far two readings lie apart, if that is beyond what their errors allow.
fn apart(one: &Estimate, two: &Estimate) -> Option<f64> {
    let apart = (one.at - two.at).abs();
    (apart > APART * one.apart(two)).then_some(apart)
}

fn all_agree(named: &[(String, Estimate)]) -> bool {
    named
        .iter()
        .enumerate()
        .all(|(at, (_, one))| named[at + 1..].iter().all(|(_, two)| apart(one, two).is_none()))
}

/// Leaves out the one reading without which all others agree, where there are others enough to tell; and says
/// what does not agree.
fn agreeing(harness: &Harness, named: Vec<(String, Estimate)>) -> (Vec<(String, Estimate)>, Vec<String>) {
    const ENOUGH: usize = 3;
    if all_agree(&named) {
        return (named, Vec::new());
    }
    let without = |left_out: usize| {
        let rest = named.iter().enumerate().filter(|(at, _)| *at != left_out);
        rest.map(|(_, one)| one.clone()).collect::<Vec<_>>()
    };
    let mut odd = (0..named.len()).filter(|at| all_agree(&without(*at)));
    if named.len() >= ENOUGH
        && let (Some(at), None) = (odd.next(), odd.next())
    {
        let (name, estimate) = &named[at];
        let place = distance(
            harness,
            &estimate.line,
            estimate.at,
            [estimate.deviation(), estimate.deviation_from_far()],
        );
        let line = format!(
            "{name} puts it {}, where no other reading does; it is left out: take it again",
            words::words(harness, &place)
        );
        return (without(at), vec![line]);
    }
    let mut lines = Vec::new();
    for (at, (name, one)) in named.iter().enumerate() {
        for (other, two) in &named[at + 1..] {
            lines.extend(apart(one, two).map(|apart| {
                format!(
                    "{name} and {other} put it {} apart, more than their errors allow: one of them is wrong, or there \
                     are two faults",
                    words::metres(apart, one.deviation())
                )
            }));
        }
    }
    (named, lines)
}

/// An estimate as it lies on another line, if that has the same wires.
fn on_line(line: &Line, estimate: &Estimate) -> Option<Estimate> {
    let wires = |line: &Line| line.pieces.iter().map(|piece| piece.wire).collect::<Vec<_>>();
    let (mine, other) = (wires(line), wires(&estimate.line));
    if mine == other && line.pieces.iter().zip(&estimate.line.pieces).all(|(a, b)| a.ends == b.ends) {
        return Some(estimate.clone());
    }
    if mine.iter().rev().eq(other.iter()) {
        return Some(estimate.turned(line.clone()));
    }
    shifted(line, estimate, &mine, &other)
}

/// The same where one line is a part of the other, run through in the same direction.
fn shifted(line: &Line, estimate: &Estimate, mine: &[WireId], other: &[WireId]) -> Option<Estimate> {
    let common = mine.iter().find(|wire| other.contains(wire))?;
    let start = |line: &Line| {
        let mut so_far = 0.0;
        for piece in &line.pieces {
            if piece.wire == *common {
                return Some((so_far, piece.reversed));
            }
            so_far += piece.length;
        }
        None
    };
    let ((here, a), (there, b)) = (start(line)?, start(&estimate.line)?);
    (a == b).then(|| Estimate { line: line.clone(), at: estimate.at - there + here, ..estimate.clone() })
}
