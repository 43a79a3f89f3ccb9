//! Copper conductors: how thick a gauge is, what a metre of it resists, and what it may resist and
//! still be healthy.
//!
//! Comes in: a [`Gauge`], a length, a temperature. Goes out: areas, ohms, volts dropped. Why: every
//! expectation of a plan rests on these numbers, so each one names where it was published, and the
//! ones that were not published anywhere say "common practice". Aluminium is not handled.

mod contact;
mod drop;
mod range;
pub mod table;

pub use contact::ContactSize;
pub use drop::{
    ABYC_K, allowable_length, allowable_length_factor, circular_mils_needed, drop_for_circular_mils,
    voltage_drop,
};
pub use range::{
    AREA_MARGIN, STRANDED_AREA_EXCESS, USUAL_TEMPERATURES, WITHOUT_MAXIMUM_MARGIN, limit_reasons,
    resistance_range,
};

use crate::units::{Awg, Celsius, Gauge, Metres, Ohms, SquareMillimetres};

/// Resistivity of annealed copper at 20 degC in ohm mm2/m: 1/58, which is 58 MS/m or 100 % IACS
/// (IEC 60028).
pub const RESISTIVITY: f64 = 1.0 / 58.0;

/// One foot.
pub const FOOT: Metres = Metres::new(0.3048);
/// A thousand feet, the length American tables are written for.
pub const THOUSAND_FEET: Metres = Metres::new(304.8);
/// A kilometre, the length IEC tables are written for.
pub const KILOMETRE: Metres = Metres::new(1000.0);
/// A statute mile, 5280 ft.
pub const MILE: Metres = Metres::new(1609.344);

/// One mil (a thousandth of an inch) in millimetres.
const MIL: f64 = 0.0254;

/// Copper no longer follows the straight line of its temperature coefficient below about this.
const COLDEST_LINEAR: f64 = -200.0;

/// Areas that a formula is given are held within these, in mm2: thinner or thicker is no wire, and
/// would only lead to infinite ohms.
const AREAS: (f64, f64) = (1e-6, 1e6);

/// Resistance per length, in ohms per metre.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct OhmsPerMetre(f64);

impl OhmsPerMetre {
    /// From a number of ohms per metre.
    pub const fn new(value: f64) -> Self {
        Self(value)
    }

    /// From a resistance and the length that has it: `over(Ohms::new(28.4), THOUSAND_FEET)`.
    pub fn over(ohms: Ohms, length: Metres) -> Self {
        Self(ohms.get() / length.get())
    }

    /// Of a uniform copper conductor at 20 degC, from [`RESISTIVITY`].
    pub fn of_copper(area: SquareMillimetres) -> Self {
        Self(RESISTIVITY / area.get().clamp(AREAS.0, AREAS.1))
    }

    /// As a number of ohms per metre.
    pub const fn get(self) -> f64 {
        self.0
    }

    /// What `length` of it resists: `per(KILOMETRE)`, `per(THOUSAND_FEET)`, `per(MILE)`.
    pub fn per(self, length: Metres) -> Ohms {
        Ohms::new(self.0 * length.get())
    }
}

impl std::ops::Mul<f64> for OhmsPerMetre {
    type Output = Self;
    fn mul(self, by: f64) -> Self {
        Self(self.0 * by)
    }
}

/// R(T)/R(20 degC) of copper: (234.5 + T)/254.5 (FAA AC 43.13-1B, par. 11-66). The main form here.
///
/// Below -200 degC, where the straight line ends, the value at -200 degC is given.
pub fn temperature_factor(temperature: Celsius) -> f64 {
    (234.5 + temperature.get().max(COLDEST_LINEAR)) / 254.5
}

/// The factor k_t that takes a resistance measured at `temperature` to 20 degC: 250/(230 + t)
/// (IEC 60228:2004). For comparing a reading with the IEC 60228 table as that standard does
/// it; 1/k_t differs from [`temperature_factor`] by 0.4 % at 100 degC.
pub fn iec_temperature_factor(temperature: Celsius) -> f64 {
    250.0 / (230.0 + temperature.get().max(COLDEST_LINEAR))
}

/// Diameter of a solid conductor: 0.127 mm x 92^((36 - n)/39), 0000 being -3 (ASTM B258).
pub fn awg_diameter(gauge: Awg) -> Metres {
    Metres::new(awg_millimetres(gauge) / 1000.0)
}

fn awg_millimetres(gauge: Awg) -> f64 {
    0.127 * 92f64.powf((36.0 - f64::from(gauge.number())) / 39.0)
}

fn awg_area(gauge: Awg) -> f64 {
    std::f64::consts::FRAC_PI_4 * awg_millimetres(gauge).powi(2)
}

/// Nominal copper area.
///
/// Metric sizes are what they say. AWG sizes are the solid conductor of ASTM B258. SAE sizes are
/// their metric equivalent by trade practice ([`table::SAE_METRIC`]), or the AWG area where none is
/// listed.
pub fn area(gauge: Gauge) -> SquareMillimetres {
    match gauge {
        Gauge::Metric(area) => area,
        Gauge::Awg(awg) => SquareMillimetres::new(awg_area(awg)),
        Gauge::Sae(number) => table::sae_metric(number)
            .map_or_else(|| same_number_awg(number), |row| SquareMillimetres::new(row.square_millimetres)),
    }
}

/// The area of the AWG size with the same number; numbers beyond the gauge stand for its thinnest.
fn same_number_awg(number: u8) -> SquareMillimetres {
    let thinnest = *Awg::RANGE.end();
    let number = i8::try_from(number).unwrap_or(thinnest).min(thinnest);
    SquareMillimetres::new(Awg::new(number).map_or(AREAS.0, awg_area))
}

/// An area in circular mils: the square of the diameter in mils that a round conductor would have.
pub fn circular_mils(area: SquareMillimetres) -> f64 {
    area.get() / (std::f64::consts::FRAC_PI_4 * MIL * MIL)
}

/// An area given in circular mils.
pub fn from_circular_mils(mils: f64) -> SquareMillimetres {
    SquareMillimetres::new(mils * std::f64::consts::FRAC_PI_4 * MIL * MIL)
}

/// Resistance per length of the nominal copper area at 20 degC: no lay, no coating, no tolerance.
pub fn ohms_per_metre_ideal(gauge: Gauge) -> OhmsPerMetre {
    OhmsPerMetre::of_copper(area(gauge))
}
