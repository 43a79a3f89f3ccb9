//! The formulas by which a fault's distance is found, bare.
//!
//! Comes in: what instruments show, as numbers. Goes out: ohms or metres from the near end. Why apart: each
//! one is held against published examples on its own. Nothing here is rounded or held within a wire.

use crate::units::{Metres, Ohms, Seconds};

/// The speed of light in metres per second (exact, SI).
pub const LIGHT: f64 = 299_792_458.0;

/// Resistance from the near end to a touch, from the resistance through it read at both ends, and of the
/// sound loop: `(whole + near - far) / 2`.
///
/// Each reading has the touch's own resistance in it, and that of the leads; both fall out. It follows from
/// `near = x + touch` and `far = (whole - x) + touch`. (The overlap test of cable work; from memory.)
pub fn both_ends(near: Ohms, far: Ohms, whole: Ohms) -> Ohms {
    (whole + near - far) * 0.5
}

/// Murray loop: resistance from the bridge to the fault, `arm` times the whole loop, where `arm` is the bridge
/// arm beside the faulty wire as a share of both arms, Q/(P+Q). (Hawkins Electrical Guide, vol. 3.)
///
/// The fault's own resistance lies in the battery's branch: it dulls the balance and does not move it.
pub fn murray(arm: f64, whole: Ohms) -> Ohms {
    whole * arm
}

/// Varley loop: resistance from the bridge to the fault, `(Q whole - P added) / (P + Q)`, with `arm` for
/// Q/(P+Q), the arm beside the faulty wire, in series with which `added` was needed for balance. With equal
/// arms it is half of `whole - added` (Annual Report of the American Institute). With nothing added it is
/// [`murray`].
pub fn varley(arm: f64, whole: Ohms, added: Ohms) -> Ohms {
    whole * arm - added * (1.0 - arm)
}

/// Distance to an open from its capacitances at both ends: `length * near / (near + far)`. The unit of the
/// capacitances does not matter, nor what the instrument takes a metre of wire to have.
pub fn capacitance(near: f64, far: f64, length: Metres) -> Metres {
    length * (near / (near + far))
}

/// Distance to an open from its capacitance at one end and that of a sound wire of the same length.
pub fn capacitance_beside(near: f64, whole: f64, length: Metres) -> Metres {
    length * (near / whole)
}

/// Distance to where a pulse is thrown back: `velocity * c * time / 2`, since it goes there and back. `velocity`
/// is the velocity factor, one over the root of the insulation's relative permittivity. (Lessons In Electric
/// Circuits, vol. II, transmission lines.)
pub fn reflection(velocity: f64, time: Seconds) -> Metres {
    Metres::new(velocity * LIGHT * time.get() / 2.0)
}
