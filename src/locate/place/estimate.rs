//! One reading of a place: how far along the wires, and how sure.
//!
//! Uncertainty goes the way of the Guide to the Expression of Uncertainty in Measurement (JCGM 100:2008; from
//! memory): every limit of what goes into the formula counts as evenly spread between its ends, its effect
//! is found by moving it to either end, effects add up by their squares, and what is told is twice the
//! standard deviation. What several readings have in common (the wire's length, its ohms per metre, the
//! pulse's speed) is kept apart, because it does not average out.

use super::formula;
use super::line::Line;
use crate::conductor::AREA_MARGIN;
use crate::definition::{Harness, Kind};
use crate::measure::{Meter, Situation};
use crate::netlist::resistance::{BOND, CONTACT};
use crate::record::{PlaceKind, PlaceReading, is_frame, place::Shown};
use crate::setup::Power;
use crate::units::{Metres, Ohms, Seconds};

/// A wire may be longer or shorter than drawn by this share and this many metres: common practice, no source.
const LENGTH_SHARE: f64 = 0.02;
const LENGTH_MORE: f64 = 0.02;
/// Two wires of one size in one bundle resist alike within this share: common practice, no source.
const ALIKE: f64 = 0.02;
/// A metre of wire has the same capacitance all along within this share of the length: common practice.
const EVEN: f64 = 0.02;
/// A velocity factor from a table is right within this share: common practice, no source.
const VELOCITY: f64 = 0.05;
/// A bridge's arms are right within this share of both: one step of a slide of 1000.
const ARM: f64 = 0.001;
/// The strap at the far end of a bridge is short and clamped, 0 to 20 mohm; it is taken for the middle, and may
/// be off by as much: common practice, no source.
const STRAP: f64 = 0.01;
/// Resistances of a bridge without a known meter are right within this share and this many ohms: common practice.
const BRIDGE_SHARE: f64 = 0.002;
const BRIDGE_MORE: f64 = 0.001;
/// Capacitances within this share and this many farads: common practice, no source.
const FARADS_SHARE: f64 = 0.02;
const FARADS_MORE: f64 = 5e-12;
/// Times within this share and this many seconds: common practice, no source.
const SECONDS_SHARE: f64 = 0.01;
const SECONDS_MORE: f64 = 0.5e-9;
/// Metres that an instrument shows within this share and this many metres: common practice, no source.
const METRES_SHARE: f64 = 0.01;
const METRES_MORE: f64 = 0.1;

/// How far along a line a fault lies, from its beginning.
#[derive(Debug, Clone)]
pub(super) struct Estimate {
    pub(super) line: Line,
    /// Metres from the beginning.
    pub(super) at: f64,
    /// Standard deviation that is this reading's own, in metres.
    pub(super) own: f64,
    /// What the standard deviation of each thing does to it that other readings of the same wires share, signed,
    /// counted from the beginning.
    pub(super) shared: Knobs,
    /// What the standard deviation of the length does to it, counted from the beginning; signed.
    pub(super) by_length: f64,
    /// Standard deviation of the line's length itself.
    pub(super) length: f64,
}

impl Estimate {
    /// Standard deviation of the distance from the beginning.
    pub(super) fn deviation(&self) -> f64 {
        self.instrument().hypot(self.by_length)
    }

    /// The same with the length known.
    fn instrument(&self) -> f64 {
        self.own.hypot(together(&self.shared))
    }

    /// The same, counted from the other end.
    pub(super) fn deviation_from_far(&self) -> f64 {
        self.instrument().hypot(self.length - self.by_length)
    }

    /// The same place on the line run through from its other end.
    pub(super) fn turned(&self, line: Line) -> Self {
        Self {
            at: self.line.length() - self.at,
            own: self.own,
            shared: self.shared.map(|effect| -effect),
            by_length: self.length - self.by_length,
            length: self.length,
            line,
        }
    }

    /// Standard deviation of how far two readings of one line lie apart. What they share moves both.
    pub(super) fn apart(&self, other: &Self) -> f64 {
        let mut shared = self.shared;
        shared.iter_mut().zip(other.shared).for_each(|(one, two)| *one -= two);
        self.own.hypot(other.own).hypot(together(&shared)).hypot(self.by_length - other.by_length)
    }
}

/// What may be off, in the order of [`Knobs`].
#[derive(Clone, Copy)]
enum Knob {
    Value,
    Far,
    Whole,
    Arm,
    Velocity,
    Length,
    PerMetre,
    Alike,
    Joints,
    Strap,
    Even,
}

const KNOBS: [Knob; 11] = [
    Knob::Value,
    Knob::Far,
    Knob::Whole,
    Knob::Arm,
    Knob::Velocity,
    Knob::Length,
    Knob::PerMetre,
    Knob::Alike,
    Knob::Joints,
    Knob::Strap,
    Knob::Even,
];

/// One number for each of [`KNOBS`].
pub(super) type Knobs = [f64; KNOBS.len()];

fn together(effects: &Knobs) -> f64 {
    effects.iter().map(|effect| effect.powi(2)).sum::<f64>().sqrt()
}

/// What one reading does not share with another.
fn is_own(knob: Knob) -> bool {
    matches!(knob, Knob::Value | Knob::Far | Knob::Whole | Knob::Arm)
}

/// A reading with what its formula needs.
struct Formula<'a> {
    reading: &'a PlaceReading,
    line: Line,
    /// The other conductor, where a loop comes back along one whose size is known.
    back: Option<Line>,
    /// The resistance of one test lead.
    leads: f64,
    /// The resistance of the strap at the far end, if there is one.
    strap: f64,
}

impl Formula<'_> {
    /// Metres from the near end, with everything off by so much.
    fn metres(&self, off: &Knobs) -> f64 {
        let by = |knob: Knob| off[knob as usize];
        let reading = self.reading;
        let value = reading.value.number() + by(Knob::Value);
        let whole = reading.whole.map(|shown| shown.number() + by(Knob::Whole));
        let length = self.line.length() * (1.0 + by(Knob::Length));
        match reading.kind {
            PlaceKind::Loop | PlaceKind::Murray | PlaceKind::Varley => self.ohms(value, whole, off),
            PlaceKind::Capacitance => {
                let length = Metres::new(length);
                let found = match (reading.far, whole) {
                    (Some(far), _) => formula::capacitance(value, far.number() + by(Knob::Far), length),
                    (None, Some(whole)) => formula::capacitance_beside(value, whole, length),
                    (None, None) => length,
                };
                found.get() + by(Knob::Even) * length.get()
            }
            PlaceKind::Reflection => match (whole, reading.value) {
                (Some(whole), _) => length * value / whole,
                (None, Shown::Seconds(_)) => {
                    let velocity = reading.velocity.unwrap_or_default() * (1.0 + by(Knob::Velocity));
                    formula::reflection(velocity, Seconds::new(value)).get()
                }
                (None, _) => value * (1.0 + by(Knob::Velocity)),
            },
        }
    }

    /// The loops: ohms to the fault, then the metres that have them. Where the whole loop was measured, it
    /// tells what a metre really resists.
    fn ohms(&self, value: f64, whole: Option<f64>, off: &Knobs) -> f64 {
        let by = |knob: Knob| off[knob as usize];
        let back = self.back.as_ref().map(|back| back.ohms() * (1.0 + by(Knob::Alike)));
        let sound = (self.line.ohms() + back.unwrap_or_default()) * (1.0 + by(Knob::Length));
        let both_leads = 2.0 * self.leads;
        let strap = self.strap + by(Knob::Strap);
        let known = back.is_some() || self.reading.back.is_empty();
        let scale = match whole {
            Some(whole) if known => (whole - both_leads - strap) / sound,
            _ => 1.0 + by(Knob::PerMetre),
        };
        let whole = Ohms::new(whole.unwrap_or(sound * scale + both_leads + strap));
        let ohms = match self.reading.kind {
            PlaceKind::Loop => {
                let far = self.reading.far.map_or(0.0, Shown::number) + by(Knob::Far);
                let found =
                    formula::both_ends(Ohms::new(value), Ohms::new(far), whole - Ohms::new(both_leads)).get();
                let beside = self.back.as_ref().map_or(0.0, |back| back.ohms() / back.length());
                return self.line.metres_at(
                    found - by(Knob::Joints),
                    scale,
                    beside * (1.0 + by(Knob::Alike)),
                );
            }
            PlaceKind::Murray => formula::murray(value, whole),
            _ => formula::varley(self.reading.arms.unwrap_or(0.5) + by(Knob::Arm), whole, Ohms::new(value)),
        };
        self.line.metres_at(ohms.get() - self.leads - by(Knob::Joints), scale, 0.0)
    }

    /// How far each may be off.
    fn limits(&self, meter: &Meter) -> Knobs {
        let reading = self.reading;
        let shown = |shown: Option<Shown>| shown.map_or(0.0, |shown| uncertainty(reading, meter, shown));
        let two_alike = |back: &Line| {
            let size = |line: &Line| line.pieces.first().and_then(|piece| piece.per_metre);
            if size(back) == size(&self.line) { ALIKE } else { AREA_MARGIN }
        };
        let of = |knob: Knob| match knob {
            Knob::Value => uncertainty(reading, meter, reading.value),
            Knob::Far => shown(reading.far),
            Knob::Whole => shown(reading.whole),
            Knob::Arm => ARM,
            Knob::Velocity => VELOCITY,
            Knob::Length => LENGTH_SHARE + LENGTH_MORE / self.line.length(),
            Knob::PerMetre => self.line.doubt(),
            Knob::Alike => self.back.as_ref().map_or(0.0, two_alike),
            Knob::Joints => {
                let frame = if reading.back.is_empty() { BOND.range.high.get() } else { 0.0 };
                CONTACT.range.nominal.get() * self.line.pieces.len() as f64 + frame
            }
            Knob::Strap => self.strap,
            Knob::Even => EVEN,
        };
        KNOBS.map(of)
    }
}

/// How far what was shown may be off: the reading's own `plus_minus`, or the meter's, or common practice.
fn uncertainty(reading: &PlaceReading, meter: &Meter, shown: Shown) -> f64 {
    let value = shown.number();
    if let Some(given) = reading.plus_minus.filter(|given| given.is_like(shown)) {
        return given.number();
    }
    match shown {
        Shown::Ohms(_) if reading.kind == PlaceKind::Loop || known_meter(reading).is_some() => {
            known_meter(reading).unwrap_or(*meter).uncertainty(Kind::Continuity, value)
        }
        Shown::Ohms(_) => value * BRIDGE_SHARE + BRIDGE_MORE,
        Shown::Share(_) => ARM,
        Shown::Farads(_) => value * FARADS_SHARE + FARADS_MORE,
        Shown::Seconds(_) => value * SECONDS_SHARE + SECONDS_MORE,
        Shown::Metres(_) => value * METRES_SHARE + METRES_MORE,
    }
}

fn known_meter(reading: &PlaceReading) -> Option<Meter> {
    reading.meter.as_deref().and_then(|name| Meter::parse(name).ok())
}

/// How far along its wires a reading puts the fault.
///
/// # Errors
/// In words: a reading that may not be taken, that the setup spoils, or that puts the fault outside the wires.
pub(super) fn estimate(
    situation: &Situation<'_>,
    reading: &PlaceReading,
    meter: &Meter,
) -> Result<Estimate, String> {
    let harness = situation.harness;
    let line = Line::new(harness, reading.red, &reading.along)?;
    let comes_back = reading.kind.is_loop() && !reading.back.is_empty();
    let back = comes_back.then(|| Line::new(harness, reading.black, &reading.back)).transpose()?;
    permitted(situation, reading)?;
    unspoilt(situation, reading, &line, back.as_ref())?;
    if reading.kind.is_loop() {
        line.sized(harness)?;
        back.as_ref().map_or(Ok(()), |back| back.sized(harness))?;
    }
    // The leads of a plain meter fall out between the ends; a bridge is told its own.
    let meters_own = if reading.kind == PlaceKind::Loop {
        known_meter(reading).unwrap_or(*meter).leads.get() / 2.0
    } else {
        0.0
    };
    let leads = reading.leads.map_or(meters_own, Ohms::get);
    let strapped = reading.kind.is_bridge() && reading.setup.is_strapped();
    let strap = if strapped { STRAP } else { 0.0 };
    let formula = Formula { reading, line, back, leads, strap };
    let estimate = measured(formula, meter);
    within(harness, reading, &estimate)?;
    Ok(estimate)
}

fn measured(formula: Formula<'_>, meter: &Meter) -> Estimate {
    let limits = formula.limits(meter);
    let nothing = [0.0; KNOBS.len()];
    let middle = formula.metres(&nothing);
    let effect = |knob: Knob| {
        let to = |sign: f64| {
            let mut off = nothing;
            off[knob as usize] = sign * limits[knob as usize];
            sign * (formula.metres(&off) - middle)
        };
        // The limit that moves it farther, over the root of three: the deviation of an even spread.
        let [up, down] = [to(1.0), to(-1.0)];
        if up.abs() > down.abs() { up / 3f64.sqrt() } else { down / 3f64.sqrt() }
    };
    let effects = KNOBS.map(effect);
    let of = |wanted: fn(Knob) -> bool| {
        let mut chosen = effects;
        chosen.iter_mut().zip(KNOBS).filter(|(_, knob)| !wanted(*knob)).for_each(|(effect, _)| *effect = 0.0);
        chosen
    };
    Estimate {
        at: middle,
        own: together(&of(is_own)),
        shared: of(|knob| !is_own(knob) && !matches!(knob, Knob::Length)),
        by_length: effects[Knob::Length as usize],
        length: limits[Knob::Length as usize] * formula.line.length() / 3f64.sqrt(),
        line: formula.line,
    }
}

/// The rules of every reading: power off, within reach, no hazard, no unit across the instrument.
fn permitted(situation: &Situation<'_>, reading: &PlaceReading) -> Result<(), String> {
    let word = reading.kind.word();
    if situation.setup.power() != Power::Isolated {
        return Err(format!(
            "a {word} reading is taken with power isolated only: the instrument would be damaged, and so might a person"
        ));
    }
    let kind = if reading.kind.is_loop() { Kind::Continuity } else { Kind::Isolation };
    situation.measure(kind, reading.red, reading.black).map(drop).map_err(|refusal| refusal.to_string())
}

/// What else is joined to the wires spoils the reading.
fn unspoilt(
    situation: &Situation<'_>,
    reading: &PlaceReading,
    line: &Line,
    back: Option<&Line>,
) -> Result<(), String> {
    let harness = situation.harness;
    let name = |point| harness.point_name(point);
    let [red, black] = [reading.red, reading.black].map(|point| situation.node(point));
    let far = line.far().unwrap_or(reading.red);
    if reading.kind.is_bridge() {
        let Some(end) = back.and_then(Line::far) else {
            return Err(format!(
                "a {} loop comes back along a sound wire: connect black to one, not to the frame",
                reading.kind.word()
            ));
        };
        if situation.nets.of(situation.node(far)) != situation.nets.of(situation.node(end)) {
            return Err(format!(
                "the loop is open at the far end: strap {} to {} and read again, with strapped = [[{:?}, {:?}]]",
                name(far),
                name(end),
                name(far),
                name(end)
            ));
        }
        return Ok(());
    }
    let frame = is_frame(harness, reading.black);
    let black = if frame { situation.netlist.chassis() } else { black };
    let parted = situation.groups.of(red) != situation.groups.of(black);
    if reading.kind != PlaceKind::Reflection && !parted {
        return Err(format!(
            "something else joins {} and {} in this setup, and is in the reading: unplug both ends of the wire",
            name(reading.red),
            name(reading.black)
        ));
    }
    if reading.far.is_some() && !situation.setup.can_probe(harness, far) {
        return Err(format!("the far end {} cannot be probed in this setup", name(far)));
    }
    if reading.kind == PlaceKind::Capacitance {
        return alone(situation, reading);
    }
    Ok(())
}

/// A branch of the wire has its own capacitance.
fn alone(situation: &Situation<'_>, reading: &PlaceReading) -> Result<(), String> {
    let harness = situation.harness;
    let own = |id: &crate::definition::WireId| reading.along.contains(id);
    for node in situation.nets.members(situation.nets.of(situation.node(reading.red))) {
        let point = situation.netlist.point(*node);
        if let Some(branch) = harness.wires_at(point).find(|id| !own(id)) {
            return Err(format!(
                "wire {} branches off at {} and has its own capacitance in the reading: part it, or find the place another way",
                harness.wires[branch].id,
                harness.point_name(point)
            ));
        }
    }
    Ok(())
}

/// A place outside the wire is a mistake somewhere, and is said to be one.
fn within(harness: &Harness, reading: &PlaceReading, estimate: &Estimate) -> Result<(), String> {
    let length = estimate.line.length();
    let give = 2.0 * estimate.deviation().max(estimate.deviation_from_far());
    let (at, name) = (estimate.at, harness.point_name(reading.red));
    if !at.is_finite() || !give.is_finite() {
        return Err("these figures put the fault nowhere: check the values".to_owned());
    }
    if at >= -give && at <= length + give {
        return Ok(());
    }
    let wires: Vec<&str> = reading.along.iter().map(|id| harness.wires[*id].id.as_str()).collect();
    let wires = wires.join(", ");
    let (give, length) = (super::words::metres(give, give), super::words::metres(length, 0.1));
    let place = if at < 0.0 {
        format!("{} before {name}, the beginning", super::words::metres(-at, estimate.deviation() * 2.0))
    } else {
        format!("{} from {name}, beyond the end", super::words::metres(at, estimate.deviation() * 2.0))
    };
    Err(format!(
        "this puts the fault {place} of {wires} ({length} long, ±{give}): check the value, the leads, which wire is at \
         fault, and its length and gauge in the definition"
    ))
}
