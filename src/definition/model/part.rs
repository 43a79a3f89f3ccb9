//! Parts: what is not wire.

use super::{ConditionId, Place, Point, StationId};
use crate::units::{Amps, Ohms, Volts};

/// A battery, switch, relay, load or control box.
#[derive(Debug, Clone)]
pub struct Part {
    /// Its id.
    pub id: String,
    /// What it is, for people.
    pub title: String,
    /// Where one stands to reach it.
    pub station: Option<StationId>,
    /// A hazard that forbids ordinary probing.
    pub hazard: Option<String>,
    /// Lives or the machine depend on it: stricter limits hold in some rule sets.
    pub critical: bool,
    /// Whether it works in short spells only.
    pub duty: Duty,
    /// What it does.
    pub kind: PartKind,
    /// Where it was defined.
    pub place: Place,
}

/// What a part does, and between which points.
#[derive(Debug, Clone)]
pub enum PartKind {
    /// An EMF behind an internal resistance.
    Battery {
        /// Open-circuit voltage.
        volts: Volts,
        /// Internal resistance.
        internal: Ohms,
        /// Positive post.
        plus: Point,
        /// Negative post.
        minus: Point,
    },
    /// Regulated at `sense` while `when` holds and `sense` is live.
    Alternator {
        /// Regulated voltage.
        volts: Volts,
        /// The most it gives.
        most: Option<Amps>,
        /// Internal resistance.
        internal: Ohms,
        /// Positive terminal.
        plus: Point,
        /// Negative terminal.
        minus: Point,
        /// Where it feels the voltage; its own positive terminal if `None`.
        sense: Option<Point>,
        /// The condition under which it turns.
        when: Option<ConditionId>,
    },
    /// A fuse, or a breaker that can be reset.
    Fuse {
        /// Whether it is a breaker.
        breaker: bool,
        /// Rated current.
        rating: Option<Amps>,
        /// Its two ends.
        between: [Point; 2],
    },
    /// A switch with named positions.
    Switch {
        /// Index of the position it rests in.
        rest: usize,
        /// Its positions, in the order they were written.
        positions: Vec<Position>,
    },
    /// A relay.
    Relay {
        /// The two ends of its coil.
        coil: [Point; 2],
        /// Resistance of its coil.
        coil_ohms: Ohms,
        /// Voltage at which it operates.
        operate: Volts,
        /// Ways that are closed while released.
        released: Vec<[Point; 2]>,
        /// Ways that are closed while operated.
        operated: Vec<[Point; 2]>,
    },
    /// A diode.
    Diode {
        /// Where current enters.
        anode: Point,
        /// Where current leaves.
        cathode: Point,
        /// Forward drop in a live circuit.
        drop: Volts,
    },
    /// Two ends and a resistance.
    Load {
        /// What it is.
        kind: LoadKind,
        /// Its two ends.
        between: [Point; 2],
        /// Working resistance.
        ohms: Ohms,
        /// What an ohmmeter sees, where that differs.
        cold_ohms: Option<Ohms>,
        /// It conducts only while this holds.
        when: Option<ConditionId>,
    },
    /// A part whose inside is not ours to probe.
    Unit {
        /// What it drives, and when.
        functions: Vec<Function>,
    },
}

/// How long a part works at a stretch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Duty {
    /// As long as the machine runs.
    #[default]
    Continuous,
    /// Short spells with rests between them.
    Intermittent,
}

impl Duty {
    /// From the word it is written as.
    pub fn parse(text: &str) -> Option<Self> {
        match text {
            "continuous" => Some(Self::Continuous),
            "intermittent" => Some(Self::Intermittent),
            _ => None,
        }
    }
}

/// What a two-ended load is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LoadKind {
    /// A resistor.
    Resistor,
    /// A lamp.
    Lamp,
    /// A motor.
    Motor,
    /// A coil, such as a solenoid valve.
    Coil,
    /// A sensor.
    Sensor,
}

/// One position of a switch.
#[derive(Debug, Clone)]
pub struct Position {
    /// Its name.
    pub name: String,
    /// Ways that are closed in it.
    pub closed: Vec<[Point; 2]>,
}

/// One thing a unit does: `output` is driven from `supply` when every `when` contact is live and
/// `ground` is grounded.
#[derive(Debug, Clone)]
pub struct Function {
    /// What it is, for people.
    pub title: String,
    /// The contact that is driven.
    pub output: Point,
    /// The contact it is fed from.
    pub supply: Point,
    /// The contact it returns through (`return` in the definition).
    pub ground: Option<Point>,
    /// Contacts that must be live.
    pub when: Vec<Point>,
}

impl LoadKind {
    /// Its word, as a definition writes it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Resistor => "resistor",
            Self::Lamp => "lamp",
            Self::Motor => "motor",
            Self::Coil => "coil",
            Self::Sensor => "sensor",
        }
    }
}

impl PartKind {
    /// The word of its kind, as a definition writes it.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Battery { .. } => "battery",
            Self::Alternator { .. } => "alternator",
            Self::Fuse { breaker: false, .. } => "fuse",
            Self::Fuse { breaker: true, .. } => "breaker",
            Self::Switch { .. } => "switch",
            Self::Relay { .. } => "relay",
            Self::Diode { .. } => "diode",
            Self::Load { kind, .. } => kind.word(),
            Self::Unit { .. } => "unit",
        }
    }

    /// Every point it attaches to, each once, in order.
    pub fn points(&self) -> Vec<Point> {
        let mut all: Vec<Point> = match self {
            Self::Battery { plus, minus, .. } => vec![*plus, *minus],
            Self::Alternator { plus, minus, sense, .. } => {
                [*plus, *minus].into_iter().chain(*sense).collect()
            }
            Self::Fuse { between, .. } | Self::Load { between, .. } => between.to_vec(),
            Self::Switch { positions, .. } => {
                positions.iter().flat_map(|p| p.closed.iter().flatten()).copied().collect()
            }
            Self::Relay { coil, released, operated, .. } => {
                coil.iter().chain(released.iter().chain(operated).flatten()).copied().collect()
            }
            Self::Diode { anode, cathode, .. } => vec![*anode, *cathode],
            Self::Unit { functions } => functions.iter().flat_map(Function::points).collect(),
        };
        all.sort_unstable();
        all.dedup();
        all
    }
}

impl Function {
    /// Every contact it uses.
    pub fn points(&self) -> impl Iterator<Item = Point> {
        [self.output, self.supply].into_iter().chain(self.ground).chain(self.when.iter().copied())
    }
}
