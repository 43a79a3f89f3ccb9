//! Voltage drop along a run, and the size that keeps it within a limit.

use super::{FOOT, temperature_factor};
use crate::units::{Amps, Celsius, Metres, Ohms, Volts};

/// K of the boat formula, in ohm circular-mil per foot (ABYC E-11).
pub const ABYC_K: f64 = 10.75;

/// Volts dropped: E = I R.
pub fn voltage_drop(current: Amps, resistance: Ohms) -> Volts {
    Volts::new(current.get() * resistance.get())
}

/// By how much a run must be shorter when its conductor is at `conductor`, for the same drop as at
/// 20 degC: L2/L1 = 254.5/(234.5 + T2) (AC 43.13-1B, par. 11-66).
pub fn allowable_length_factor(conductor: Celsius) -> f64 {
    1.0 / temperature_factor(conductor)
}

/// The run that is allowed at conductor temperature `conductor`, where `at_20` is allowed at 20 degC.
pub fn allowable_length(at_20: Metres, conductor: Celsius) -> Metres {
    at_20 * allowable_length_factor(conductor)
}

/// The least copper area in circular mils for a drop: CM = K I L / E, with L the way there and back
/// in feet (ABYC E-11).
///
/// A drop of zero asks for an infinite area, and says so.
pub fn circular_mils_needed(current: Amps, there_and_back: Metres, drop: Volts) -> f64 {
    ABYC_K * current.get() * feet(there_and_back) / drop.get()
}

/// The same formula turned round: the drop along a conductor of so many circular mils.
pub fn drop_for_circular_mils(current: Amps, there_and_back: Metres, circular_mils: f64) -> Volts {
    Volts::new(ABYC_K * current.get() * feet(there_and_back) / circular_mils)
}

fn feet(length: Metres) -> f64 {
    length.get() / FOOT.get()
}
