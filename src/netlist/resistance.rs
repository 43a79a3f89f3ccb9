//! What each link's resistance is in a healthy machine: lowest, expected, highest.
//!
//! One table holds every default, each with its source; a definition overrides it under
//! `[resistance]`. A wire's range follows from its gauge and length.

use std::borrow::Cow;

use super::{Element, Link, LinkId, Netlist, PartWay};
use crate::conductor;
use crate::definition::{Harness, LoadKind, PartKind, Point, ResistanceOverrides, Wire};
use crate::units::{Gauge, Metres, Ohms};

/// The resistance of something healthy.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// The least it can be.
    pub low: Ohms,
    /// What to expect.
    pub nominal: Ohms,
    /// The most it can be.
    pub high: Ohms,
}

impl Range {
    const fn milli(low: f64, nominal: f64, high: f64) -> Self {
        Self { low: Ohms::new(low * 1e-3), nominal: Ohms::new(nominal * 1e-3), high: Ohms::new(high * 1e-3) }
    }

    /// By how much a healthy one may differ from what is expected, either way.
    pub fn scatter(self) -> Ohms {
        let [below, above] = [self.nominal - self.low, self.high - self.nominal];
        if below > above { below } else { above }
    }

    /// A value with a relative tolerance.
    fn around(nominal: Ohms, tolerance: f64) -> Self {
        Self { low: nominal * (1.0 - tolerance), nominal, high: nominal * (1.0 + tolerance) }
    }
}

impl std::ops::Add for Range {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self {
            low: self.low + other.low,
            nominal: self.nominal + other.nominal,
            high: self.high + other.high,
        }
    }
}

/// A default of the table below.
#[derive(Debug, Clone, Copy)]
pub struct Default {
    /// What it is the resistance of.
    pub what: &'static str,
    /// The range of a healthy one.
    pub range: Range,
    /// Where the figures come from.
    pub source: &'static str,
}

/// One end of a wire: crimp or lug.
pub const TERMINATION: Default = Default {
    what: "termination",
    range: Range::milli(0.05, 0.5, 3.0),
    source: "common practice, no source",
};
/// A mated pair of contacts. The top is twice the 7.33 mohm that the crimp millivolt drop of a size 20
/// contact implies (55 mV at 7.5 A, MIL-DTL-38999).
pub const CONTACT: Default = Default {
    what: "mated contact",
    range: Range::milli(0.2, 3.0, 15.0),
    source: "MIL-DTL-38999 contact millivolt drop, with a margin for wear: common practice",
};
/// One leg of a splice.
pub const SPLICE: Default =
    Default { what: "splice leg", range: Range::milli(0.05, 0.3, 2.0), source: "common practice, no source" };
/// A ground terminal's bond. 5 mohm is the satisfactory ground-return check of FAA-H-8083-32.
pub const BOND: Default = Default {
    what: "ground bond",
    range: Range::milli(0.05, 1.0, 5.0),
    source: "FAA-H-8083-32, ground return",
};
/// A fuse or breaker.
pub const FUSE: Default =
    Default { what: "fuse", range: Range::milli(0.5, 5.0, 50.0), source: "common practice, no source" };
/// A closed switch contact.
pub const SWITCH: Default = Default {
    what: "switch contact",
    range: Range::milli(0.5, 5.0, 50.0),
    source: "common practice, no source",
};
/// A closed relay contact.
pub const RELAY: Default = Default {
    what: "relay contact",
    range: Range::milli(0.5, 5.0, 100.0),
    source: "common practice, no source",
};
/// A unit's driver that is switched on.
pub const DRIVER: Default = Default {
    what: "unit driver",
    range: Range::milli(1.0, 50.0, 500.0),
    source: "common practice, no source",
};
/// A wire of which the length or the gauge is not known.
pub const UNKNOWN_WIRE: Default = Default {
    what: "wire of unknown size",
    range: Range::milli(0.1, 50.0, 1000.0),
    source: "common practice: less than 1 ohm",
};

/// A strap between two of its clips, and a way through a loopback plug.
pub const STRAP: Default =
    Default { what: "strap", range: Range::milli(5.0, 50.0, 200.0), source: "common practice, no source" };

/// The whole table, for people to read.
pub const DEFAULTS: &[Default] =
    &[TERMINATION, CONTACT, SPLICE, BOND, FUSE, SWITCH, RELAY, DRIVER, UNKNOWN_WIRE, STRAP];

/// Tolerance of loads, coils and sensors: common practice, no source.
pub const LOAD_TOLERANCE: f64 = 0.15;

/// What looks at a link: the machine's own current, or an ohmmeter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Seen {
    /// The machine at work: loads at their working resistance.
    Working,
    /// An ohmmeter on a machine at rest: loads cold.
    Cold,
}

/// The resistance of a link while it conducts. Sources and diodes have none of their own here: they
/// are not plain resistances.
pub fn range(netlist: &Netlist, harness: &Harness, link: LinkId, seen: Seen) -> Range {
    let over = &harness.resistance;
    match netlist.link(link) {
        Link::Wire(wire) => wire_with_ends(over, &harness.wires[wire]),
        Link::Mated { .. } => or(over.contact, CONTACT),
        Link::Bond(_) => or(over.bond, BOND),
        Link::Part(part, way) => match (way, &harness.parts[part].kind) {
            (PartWay::Coil, PartKind::Relay { coil_ohms, .. }) => Range::around(*coil_ohms, LOAD_TOLERANCE),
            (PartWay::Switch(_), _) => or(over.switch, SWITCH),
            (PartWay::Released | PartWay::Operated, _) => or(over.relay, RELAY),
            (PartWay::Drive(_), _) => DRIVER.range,
            (_, PartKind::Fuse { .. }) => or(over.fuse, FUSE),
            (_, PartKind::Load { ohms, cold_ohms, kind, .. }) => load(*ohms, *cold_ohms, *kind, seen),
            _ => FUSE.range,
        },
    }
}

/// What each element of a link has in [`range`], in the order of the link's ends.
pub fn shares(netlist: &Netlist, harness: &Harness, link: LinkId, seen: Seen) -> Vec<(Element, Range)> {
    let over = &harness.resistance;
    let of = |element: Element| {
        let range = match element {
            Element::Wire(wire) => {
                let wire = &harness.wires[wire];
                conductor_range(wire.gauge, wire.length)
            }
            Element::Termination(..) => or(over.termination, TERMINATION),
            Element::SpliceLeg(..) => or(over.splice, SPLICE),
            Element::Mated(..) => or(over.contact, CONTACT),
            Element::Bond(_) => or(over.bond, BOND),
            Element::Part(_) => range(netlist, harness, link, seen),
        };
        (element, range)
    };
    netlist.elements(harness, link).into_iter().map(of).collect()
}

/// Where the least and the most of an element of a link come from: a published source, the definition, or common
/// practice.
pub fn sources(
    netlist: &Netlist,
    harness: &Harness,
    link: LinkId,
    element: Element,
) -> [Cow<'static, str>; 2] {
    let over = &harness.resistance;
    let source = match element {
        Element::Wire(wire) => return conductor_sources(&harness.wires[wire]),
        Element::Termination(..) => source(over.termination, TERMINATION),
        Element::SpliceLeg(..) => source(over.splice, SPLICE),
        Element::Mated(..) => source(over.contact, CONTACT),
        Element::Bond(_) => source(over.bond, BOND),
        Element::Part(part) => part_source(netlist, harness, link, &harness.parts[part].kind),
    };
    [source.clone(), source]
}

fn source(over: Option<Ohms>, default: Default) -> Cow<'static, str> {
    if over.is_some() { OVERRIDDEN.into() } else { default.source.into() }
}

/// The source of what a definition gives under `[resistance]`.
const OVERRIDDEN: &str = "the definition's [resistance], at most twice that";

fn part_source(netlist: &Netlist, harness: &Harness, link: LinkId, kind: &PartKind) -> Cow<'static, str> {
    let over = &harness.resistance;
    let Link::Part(_, way) = netlist.link(link) else { return "".into() };
    match (way, kind) {
        (PartWay::Coil, _) | (_, PartKind::Load { .. }) => {
            "the definition, with a tolerance that is common practice".into()
        }
        (PartWay::Switch(_), _) => source(over.switch, SWITCH),
        (PartWay::Released | PartWay::Operated, _) => source(over.relay, RELAY),
        (PartWay::Drive(_), _) => DRIVER.source.into(),
        _ => source(over.fuse, FUSE),
    }
}

fn conductor_sources(wire: &Wire) -> [Cow<'static, str>; 2] {
    let (Some(gauge), Some(length)) = (wire.gauge, wire.length) else {
        return [UNKNOWN_WIRE.source.into(), UNKNOWN_WIRE.source.into()];
    };
    let (least, most) = conductor::limit_reasons(gauge);
    let (cold, hot) = conductor::USUAL_TEMPERATURES;
    [(least, cold), (most, hot)].map(|(why, at)| format!("{gauge}, {length}; {why}, at {at}").into())
}

/// An override stands for itself: a quarter below and twice above it is still healthy.
fn or(over: Option<Ohms>, default: Default) -> Range {
    over.map_or(default.range, |nominal| Range { low: nominal * 0.25, nominal, high: nominal * 2.0 })
}

fn load(ohms: Ohms, cold: Option<Ohms>, kind: LoadKind, seen: Seen) -> Range {
    let nominal = match seen {
        Seen::Working => ohms,
        Seen::Cold => cold.unwrap_or(ohms),
    };
    // A lamp's filament and a motor's brushes vary more than a wound or printed resistance.
    let tolerance = match kind {
        LoadKind::Lamp | LoadKind::Motor => 2.0 * LOAD_TOLERANCE,
        LoadKind::Resistor | LoadKind::Coil | LoadKind::Sensor => LOAD_TOLERANCE,
    };
    Range::around(nominal, tolerance)
}

fn wire_with_ends(over: &ResistanceOverrides, wire: &Wire) -> Range {
    let end = |point: Point| match point {
        Point::Splice(_) => or(over.splice, SPLICE),
        _ => or(over.termination, TERMINATION),
    };
    end(wire.ends[0]) + conductor_range(wire.gauge, wire.length) + end(wire.ends[1])
}

fn conductor_range(gauge: Option<Gauge>, length: Option<Metres>) -> Range {
    let (Some(gauge), Some(length)) = (gauge, length) else { return UNKNOWN_WIRE.range };
    let (low, high) = conductor::resistance_range(gauge, length, conductor::USUAL_TEMPERATURES);
    Range { low, nominal: (low + high) * 0.5, high }
}
