//! Meters as data.

use crate::definition::Kind;
use crate::units::Ohms;

/// From this resistance on an ordinary meter's reading counts as open: common practice (an isolation
/// of 1 Mohm is the minimum BS 7671:2018 Table 64 asks of low-voltage circuits).
pub const OPEN_FROM: Ohms = Ohms::new(1e6);

/// What a meter adds to the truth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Meter {
    /// Its name in plans and records.
    pub name: &'static str,
    /// Resistance of its leads, not nulled: short leads have 0.1 to 0.3 ohm (common practice).
    pub leads: Ohms,
    /// Relative uncertainty of a resistance.
    pub ohms_relative: f64,
    /// Absolute uncertainty of a resistance, in ohms: some counts of its lowest range.
    pub ohms_absolute: f64,
    /// Relative uncertainty of a voltage.
    pub volts_relative: f64,
    /// Absolute uncertainty of a voltage, in volts.
    pub volts_absolute: f64,
    /// Below this it beeps: 50 ohm is usual for plain meters.
    pub beeps_below: Ohms,
}

impl Meter {
    /// A plain handheld meter: 1 % and three counts of 0.1 ohm, 1 % and three counts of 10 mV.
    /// Common practice, no source; beeper threshold as plain meters' manuals give it (50 ohm).
    pub const HANDHELD: Self = Self {
        name: "handheld",
        leads: Ohms::new(0.3),
        ohms_relative: 0.01,
        ohms_absolute: 0.3,
        volts_relative: 0.01,
        volts_absolute: 0.03,
        beeps_below: Ohms::new(50.0),
    };

    /// Its uncertainty at a value, in the value's unit.
    pub fn uncertainty(&self, kind: Kind, value: f64) -> f64 {
        if kind.is_resistance() {
            value.abs() * self.ohms_relative + self.ohms_absolute
        } else {
            value.abs() * self.volts_relative + self.volts_absolute
        }
    }
}
