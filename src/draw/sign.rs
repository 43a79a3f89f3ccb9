//! Signs for what stands on a line: parts, gates, joints, grounds.
//!
//! Comes in: what it is. Goes out: items around the origin, on a line that runs from top to bottom.
//! Why: one sign for one thing on every drawing. Where the trade has a sign (fuse, lamp, ground, diode)
//! it is drawn after IEC 60617 as commonly printed, from memory; a letter or a word stands with each.

use super::scene::{Anchor, Area, Item, at, line, polyline};

/// What stands on a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sign {
    /// The body of a wire.
    Wire,
    /// A wire's end in a contact or terminal.
    End,
    /// A wire's end in a splice.
    Leg,
    /// A mated pair of contacts.
    Gate,
    /// A ground terminal's bond to the frame.
    Bond,
    /// A fuse.
    Fuse,
    /// A breaker that can be reset.
    Breaker,
    /// A switch contact.
    Switch,
    /// A relay contact.
    RelayContact,
    /// A relay's coil.
    RelayCoil,
    /// A diode that lets current pass downwards.
    Diode,
    /// A diode against the way.
    DiodeAgainst,
    /// A lamp.
    Lamp,
    /// A motor.
    Motor,
    /// A resistor.
    Resistor,
    /// A coil.
    Coil,
    /// A sensor.
    Sensor,
    /// A battery: current comes in at the short plate, minus, and leaves at the long one, plus.
    Battery,
    /// An alternator.
    Alternator,
    /// A unit.
    Unit,
    /// A driver inside a unit.
    Driver,
}

impl Sign {
    /// Half of its height on the line.
    pub(super) fn reach(self, open: bool) -> f64 {
        match self {
            Self::Wire | Self::End | Self::Leg => 0.0,
            Self::Gate if open => 7.0,
            Self::Gate => 3.0,
            Self::Bond => 2.0,
            Self::Battery => 4.0,
            Self::Switch | Self::RelayContact | Self::Driver => 11.6,
            Self::Diode | Self::DiodeAgainst => 7.0,
            Self::RelayCoil | Self::Coil => 8.0,
            Self::Fuse
            | Self::Breaker
            | Self::Resistor
            | Self::Lamp
            | Self::Motor
            | Self::Sensor
            | Self::Alternator => 11.0,
            Self::Unit => 12.0,
        }
    }

    /// It as items; `open` where it does not conduct now.
    pub(super) fn items(self, open: bool) -> Vec<Item> {
        match self {
            Self::Wire => Vec::new(),
            Self::End => vec![bar(0.0, 7.0)],
            Self::Leg => vec![Item::Circle { centre: at(0.0, 0.0), radius: 2.6, class: "ink" }],
            Self::Gate => gate(open),
            Self::Bond => vec![bar(-2.0, 9.0), bar(2.0, 9.0)],
            Self::Fuse => {
                vec![block(5.0, 11.0, "cavity"), polyline(&[at(0.0, -11.0), at(0.0, 11.0)], false, "thin")]
            }
            Self::Breaker => {
                vec![block(5.0, 11.0, "cavity"), polyline(&[at(-5.0, 5.0), at(5.0, -5.0)], false, "thin")]
            }
            Self::Switch => switch(open),
            Self::RelayContact => {
                let mut items = switch(open);
                items.push(block_at(-12.0, 0.0, 3.0, 4.0, "cavity"));
                items.push(polyline(&[at(-9.0, 0.0), at(-2.0, 0.0)], false, "rule"));
                items
            }
            Self::RelayCoil => {
                vec![block(11.0, 8.0, "cavity"), polyline(&[at(-5.0, 8.0), at(5.0, -8.0)], false, "thin")]
            }
            Self::Diode => diode(1.0),
            Self::DiodeAgainst => diode(-1.0),
            Self::Lamp => {
                let d = 11.0 * std::f64::consts::FRAC_1_SQRT_2;
                vec![
                    Item::Circle { centre: at(0.0, 0.0), radius: 11.0, class: "cavity" },
                    polyline(&[at(-d, -d), at(d, d)], false, "thin"),
                    polyline(&[at(-d, d), at(d, -d)], false, "thin"),
                ]
            }
            Self::Motor => lettered("M"),
            Self::Sensor => lettered("S"),
            Self::Alternator => lettered("G"),
            Self::Resistor => vec![block(5.0, 11.0, "cavity")],
            Self::Coil => vec![block(11.0, 8.0, "cavity")],
            Self::Battery => vec![
                Item::Rect { area: Area::new(-6.0, -4.0, 6.0, -0.5), rounding: 0.0, class: "ink" },
                polyline(&[at(-11.0, 4.0), at(11.0, 4.0)], false, "firm"),
            ],
            Self::Unit => vec![block(13.0, 12.0, "cavity"), block(9.0, 8.0, "thin")],
            Self::Driver => {
                let mut items = vec![block(13.0, 12.0, "cavity")];
                items.extend(switch(open).into_iter().map(|i| shrink(i, 0.8)));
                items
            }
        }
    }
}

fn shrink(item: Item, by: f64) -> Item {
    match item {
        Item::Circle { centre, radius, class } => {
            Item::Circle { centre: at(centre.x * by, centre.y * by), radius: radius * by, class }
        }
        other => other,
    }
}

fn bar(y: f64, half: f64) -> Item {
    polyline(&[at(-half, y), at(half, y)], false, "thin")
}

fn block(half: f64, high: f64, class: &'static str) -> Item {
    block_at(0.0, 0.0, half, high, class)
}

fn block_at(x: f64, y: f64, half: f64, high: f64, class: &'static str) -> Item {
    Item::Rect { area: Area::new(x - half, y - high, x + half, y + high), rounding: 1.5, class }
}

fn lettered(letter: &'static str) -> Vec<Item> {
    vec![
        Item::Circle { centre: at(0.0, 0.0), radius: 11.0, class: "cavity" },
        Item::Text(line(at(0.0, 4.2), 11.5, letter).bold().anchor(Anchor::Middle)),
    ]
}

/// Two halves that face each other; apart, with nothing between them, where they are parted.
fn gate(open: bool) -> Vec<Item> {
    let apart = if open { 7.0 } else { 3.0 };
    let half = |toward: f64| {
        let (edge, lip) = (apart * toward, (apart - 3.5) * toward);
        vec![polyline(&[at(-12.0, lip), at(-12.0, edge), at(12.0, edge), at(12.0, lip)], false, "firm")]
    };
    let mut items = half(-1.0);
    items.extend(half(1.0));
    if !open {
        items.push(polyline(&[at(0.0, -apart), at(0.0, apart)], false, "firm"));
    }
    items
}

fn switch(open: bool) -> Vec<Item> {
    let dot = |y: f64| Item::Circle { centre: at(0.0, y), radius: 2.6, class: "cavity" };
    let tip = if open { at(8.0, -8.0) } else { at(0.0, -9.0) };
    vec![polyline(&[at(0.0, 9.0), tip], false, "firm"), dot(-9.0), dot(9.0)]
}

/// A triangle with its tip the way the current goes, and the bar it meets.
fn diode(down: f64) -> Vec<Item> {
    vec![
        polyline(&[at(-8.0, -7.0 * down), at(8.0, -7.0 * down), at(0.0, 7.0 * down)], true, "cavity"),
        bar(7.0 * down, 8.0),
    ]
}

/// The frame: three bars, each shorter than the one above it.
pub(super) fn ground() -> Vec<Item> {
    vec![bar(0.0, 10.0), bar(4.0, 6.5), bar(8.0, 3.0)]
}
