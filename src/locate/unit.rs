//! Units by elimination: what must have been seen before a unit may be accused.
//!
//! Comes in: the readings of a record and a unit that they leave under suspicion. Goes out: for the function that was
//! found dead, which of supply, return and conditions were seen good, by which reading, and how to see what is
//! missing. Why: a unit's inside is not ours to probe, and it is the dearest part to replace for nothing. It is at fault
//! only if it had all it needs and gave nothing.

use super::weigh::Reader;
use crate::circuit::live_from;
use crate::definition::{Function, Harness, Kind, PartId, PartKind, Point};
use crate::measure::{Measurement, Prediction, Situation};
use crate::netlist::{Link, PartWay};
use crate::setup::{Power, Setup, batteries};

/// What a unit needs before it can drive an output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Need {
    /// Its supply.
    Supply,
    /// Its return.
    Return,
    /// A contact that must be live.
    Condition,
}

impl Need {
    /// As a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Supply => "supply",
            Self::Return => "return",
            Self::Condition => "condition",
        }
    }
}

/// One thing that must have been seen good.
#[derive(Debug, Clone)]
pub struct Proof {
    /// What it is.
    pub need: Need,
    /// The contact of the unit.
    pub point: Point,
    /// The reading that shows it good.
    pub by: Option<String>,
}

/// The case against a unit.
#[derive(Debug, Clone)]
pub struct UnitCase {
    /// The unit.
    pub unit: PartId,
    /// The function whose output was absent.
    pub function: String,
    /// The reading that shows it absent.
    pub absent: String,
    /// What must have been seen good.
    pub proofs: Vec<Proof>,
}

impl UnitCase {
    /// Whether everything was seen.
    pub fn is_closed(&self) -> bool {
        self.proofs.iter().all(|proof| proof.by.is_some())
    }
}

/// A proof that is missing, with the readings that would give it.
pub(super) struct Missing {
    /// What would be proven, in words.
    pub what: String,
    /// Readings that would do, the best first.
    pub readings: Vec<Measurement>,
}

/// The case against a unit with the least missing, and what would give each missing proof; `None` where no bad
/// reading was taken while one of its functions should have been on.
pub(super) fn case(record: &Reader<'_>, unit: PartId) -> Option<(UnitCase, Vec<Missing>)> {
    let PartKind::Unit { functions } = &record.harness.parts[unit].kind else { return None };
    let mut best: Option<(UnitCase, usize, &Function)> = None;
    for (reading, judged) in record.judged.iter().enumerate().filter(|(_, judged)| !judged.good) {
        for (at, function) in functions.iter().enumerate() {
            if !drives(record, reading, unit, at) {
                continue;
            }
            let proofs = proofs(record, function, judged.measurement.setup());
            let missing = proofs.iter().filter(|proof| proof.by.is_none()).count();
            let least = |(known, ..): &(UnitCase, usize, &Function)| {
                known.proofs.iter().filter(|proof| proof.by.is_none()).count()
            };
            if best.as_ref().is_none_or(|known| missing < least(known)) {
                let case =
                    UnitCase { unit, function: function.title.clone(), absent: judged.name.clone(), proofs };
                best = Some((case, reading, function));
            }
        }
    }
    let (case, reading, function) = best?;
    let setup = record.judged[reading].measurement.setup();
    let open = case.proofs.iter().filter(|proof| proof.by.is_none());
    let missing = open.map(|proof| missing(record, &case, function, proof, setup)).collect();
    Some((case, missing))
}

/// Whether a function is on in the healthy machine while a reading is taken.
fn drives(record: &Reader<'_>, reading: usize, unit: PartId, at: usize) -> bool {
    let situation = record.scenes[record.places[reading].0].situation;
    let drive = |link: &crate::netlist::LinkId| matches!(situation.netlist.link(*link), Link::Part(part, PartWay::Drive(own)) if part == unit && own as usize == at);
    situation.setup.power() == Power::Connected
        && situation.netlist.links_of(unit).any(|link| drive(&link) && situation.healthy().states().on(link))
}

fn proofs(record: &Reader<'_>, function: &Function, setup: &Setup) -> Vec<Proof> {
    let seen = |need: Need, point: Point| Proof { need, point, by: seen(record, need, point, setup) };
    let mut proofs = vec![seen(Need::Supply, function.supply)];
    proofs.extend(function.ground.map(|point| seen(Need::Return, point)));
    proofs.extend(function.when.iter().map(|point| seen(Need::Condition, *point)));
    proofs
}

/// A contact of a unit, and the one that it is mated with.
fn sides(harness: &Harness, point: Point) -> Vec<Point> {
    let mate = match point {
        Point::Contact(id) => harness.contacts[id].mate.map(Point::Contact),
        _ => None,
    };
    [Some(point), mate].into_iter().flatten().collect()
}

/// The first reading that shows a contact good: live with the switches and conditions as they stood, or for a
/// return also continuity to the chassis.
fn seen(record: &Reader<'_>, need: Need, point: Point, setup: &Setup) -> Option<String> {
    let harness = record.harness;
    let sides = sides(harness, point);
    let live = live_from(harness).get();
    let shows = |at: &usize| {
        let judged = &record.judged[*at];
        let measurement = &judged.measurement;
        let probes = [measurement.red(), measurement.black()];
        let Some(other) = probes.iter().find(|probe| !sides.contains(probe)) else { return false };
        if !judged.good || !probes.iter().any(|probe| sides.contains(probe)) {
            return false;
        }
        let then = measurement.setup();
        if measurement.kind() == Kind::Voltage {
            let alike = then.set().eq(setup.set()) && then.conditions().eq(setup.conditions());
            return alike && judged.value.number().is_some_and(|volts| volts.abs() >= live);
        }
        let grounded =
            *other == Point::Chassis || matches!(other, Point::Terminal(id) if harness.terminals[*id].ground);
        need == Need::Return && measurement.kind() == Kind::Continuity && grounded
    };
    (0..record.judged.len()).find(shows).map(|at| record.judged[at].name.clone())
}

/// How to see what is missing: at the unit's plug, mated where a probe gets there, else parted with power on.
fn missing(
    record: &Reader<'_>,
    case: &UnitCase,
    function: &Function,
    proof: &Proof,
    setup: &Setup,
) -> Missing {
    let harness = record.harness;
    let id = &harness.parts[case.unit].id;
    let what = format!("{} of {id} at {}", proof.need.word(), harness.point_name(proof.point));
    let mut readings = Vec::new();
    for setup in [Some(setup.clone()), parted(harness, setup, proof.point)].into_iter().flatten() {
        let Ok(situation) = Situation::new(harness, record.netlist, &setup) else { continue };
        readings.extend(proving(&situation, function, proof));
    }
    Missing { what, readings }
}

/// The same setup with the plug of a contact off.
fn parted(harness: &Harness, setup: &Setup, point: Point) -> Option<Setup> {
    let (Setup::Connected(live), Point::Contact(id)) = (setup, point) else { return None };
    let mating = harness.connectors[harness.contacts[id].connector].mating?;
    let mut open = live.clone().isolate(harness).part(mating).connect();
    for condition in setup.conditions() {
        open = open.bring(condition);
    }
    Some(open.into())
}

/// The best live reading at a contact in one setup: supply against return, so that one reading shows both; else
/// against the chassis or a battery's post.
fn proving(situation: &Situation<'_>, function: &Function, proof: &Proof) -> Option<Measurement> {
    let harness = situation.harness;
    let live = live_from(harness).get();
    let posts = |plus_side: bool| {
        batteries(harness).filter_map(move |id| match harness.parts[id].kind {
            PartKind::Battery { plus, minus, .. } => Some(if plus_side { plus } else { minus }),
            _ => None,
        })
    };
    let against: Vec<Point> = if proof.need == Need::Return {
        sides(harness, function.supply).into_iter().chain(posts(true)).collect()
    } else {
        let ground = function.ground.into_iter().flat_map(|point| sides(harness, point));
        ground.chain([Point::Chassis]).chain(posts(false)).collect()
    };
    let own = sides(harness, proof.point);
    let pairs = against.iter().flat_map(|other| own.iter().map(move |own| (*own, *other)));
    let turned =
        pairs.map(|(own, other)| if proof.need == Need::Return { (other, own) } else { (own, other) });
    turned.filter_map(|(red, black)| situation.measure(Kind::Voltage, red, black).ok()).find(|measurement| {
        matches!(situation.predict_healthy(measurement), Prediction::Volts(volts) if volts.abs() >= live)
    })
}
