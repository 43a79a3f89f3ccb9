//! The interval in which the resistance of a healthy copper wire lies.
//!
//! The low limit comes from more copper than the size names, the high limit from the most that a
//! standard lets the size resist. Terminations and contacts are not in it; they are elements of
//! their own.

use super::table::{aircraft_wire, iec_60228};
use super::{
    KILOMETRE, OhmsPerMetre, THOUSAND_FEET, area, from_circular_mils, same_number_awg, temperature_factor,
};
use crate::units::{Awg, Celsius, Gauge, Metres, Ohms, SquareMillimetres};

/// The conductor temperatures of a machine that stands in the shade or has just run: common practice,
/// no source.
pub const USUAL_TEMPERATURES: (Celsius, Celsius) = (Celsius::new(-10.0), Celsius::new(60.0));

/// How much less than its reference area's resistance a wire may have, because makers may put more
/// copper in than the size names: common practice, no source.
pub const AREA_MARGIN: f64 = 0.10;

/// How much more copper than the solid gauge a stranded AWG wire may hold where no area is listed.
/// Size 20 of AC 43.13-1B Table 11-9 has 1216 circular mils against 1022 of the solid wire, 19 % more;
/// that the finer sizes do not exceed 20 % is common practice, no source.
pub const STRANDED_AREA_EXCESS: f64 = 0.20;

/// How much more than ideal a wire may resist where no maximum is listed: common practice, no source.
/// (The widest ratio in IEC 60228 between class 5 coated and the ideal copper area is 1.19.)
pub const WITHOUT_MAXIMUM_MARGIN: f64 = 0.20;

/// Limits of a size at 20 degC, each with its reason.
struct Limits {
    low: OhmsPerMetre,
    high: OhmsPerMetre,
    low_reason: &'static str,
    high_reason: &'static str,
}

/// The resistance, lowest and highest, of a healthy copper wire of this size and length somewhere
/// between two temperatures (in either order; [`USUAL_TEMPERATURES`] where nothing is known).
///
/// - Low, at the cold end: a metric size has its nominal area, an AWG size the larger of the solid
///   gauge and the area in AC 43.13-1B Table 11-9 (or [`STRANDED_AREA_EXCESS`] more than the solid
///   gauge where it is not listed), an SAE size the larger of its metric equivalent and the AWG size of
///   the same number; each less [`AREA_MARGIN`].
/// - High, at the hot end: the maximum of IEC 60228 class 5, metal-coated, for a metric size; of AC
///   43.13-1B Table 11-9 for an AWG size, though never below the solid gauge, which is a healthy wire
///   of that size too (it matters for sizes 18 and 20); otherwise the ideal plus
///   [`WITHOUT_MAXIMUM_MARGIN`].
///
/// The low limit is never above the high one. Temperature by [`temperature_factor`].
pub fn resistance_range(gauge: Gauge, length: Metres, temperatures: (Celsius, Celsius)) -> (Ohms, Ohms) {
    let limits = limits(gauge);
    let (a, b) = (temperature_factor(temperatures.0), temperature_factor(temperatures.1));
    ((limits.low * a.min(b)).per(length), (limits.high * a.max(b)).per(length))
}

/// Where the low and the high limit of [`resistance_range`] come from, in words.
pub fn limit_reasons(gauge: Gauge) -> (&'static str, &'static str) {
    let limits = limits(gauge);
    (limits.low_reason, limits.high_reason)
}

fn limits(gauge: Gauge) -> Limits {
    match gauge {
        Gauge::Metric(area) => metric(area),
        Gauge::Awg(awg) => american(awg),
        Gauge::Sae(number) => sae(number),
    }
}

fn metric(area: SquareMillimetres) -> Limits {
    let ideal = OhmsPerMetre::of_copper(area);
    let listed = iec_60228(area);
    Limits {
        low: ideal * (1.0 - AREA_MARGIN),
        high: listed.map_or(ideal * (1.0 + WITHOUT_MAXIMUM_MARGIN), |row| {
            OhmsPerMetre::over(Ohms::new(row.flexible_coated), KILOMETRE)
        }),
        low_reason: "ideal copper area less 10 % (common practice)",
        high_reason: if listed.is_some() {
            "IEC 60228 class 5, metal-coated, maximum"
        } else {
            "ideal copper area plus 20 % (common practice)"
        },
    }
}

fn american(awg: Awg) -> Limits {
    let solid = area(Gauge::Awg(awg));
    let ideal = OhmsPerMetre::of_copper(solid);
    let Some(row) = aircraft_wire(awg) else {
        return Limits {
            low: OhmsPerMetre::of_copper(solid * (1.0 + STRANDED_AREA_EXCESS)) * (1.0 - AREA_MARGIN),
            high: ideal * (1.0 + WITHOUT_MAXIMUM_MARGIN),
            low_reason: "solid gauge area plus 20 % for stranding, less 10 % (common practice)",
            high_reason: "solid gauge area plus 20 % (common practice)",
        };
    };
    let published = OhmsPerMetre::over(Ohms::new(row.ohms_per_1000_ft), THOUSAND_FEET);
    let thickest = from_circular_mils(row.circular_mils).get().max(solid.get());
    Limits {
        low: OhmsPerMetre::of_copper(SquareMillimetres::new(thickest)) * (1.0 - AREA_MARGIN),
        high: if published > ideal { published } else { ideal },
        low_reason: "copper area by AC 43.13-1B Table 11-9 or ASTM B258, less 10 % (common practice)",
        high_reason: if published > ideal {
            "AC 43.13-1B Table 11-9 maximum"
        } else {
            "solid copper of ASTM B258, which resists more than the AC 43.13-1B Table 11-9 maximum"
        },
    }
}

fn sae(number: u8) -> Limits {
    let equivalent = area(Gauge::Sae(number));
    let american = same_number_awg(number);
    let (thin, thick) = if equivalent < american { (equivalent, american) } else { (american, equivalent) };
    Limits {
        low: OhmsPerMetre::of_copper(thick) * (1.0 - AREA_MARGIN),
        high: OhmsPerMetre::of_copper(thin) * (1.0 + WITHOUT_MAXIMUM_MARGIN),
        low_reason: "larger of the metric equivalent and the same AWG number, less 10 % (common practice)",
        high_reason: "smaller of the metric equivalent and the same AWG number, plus 20 % (common practice)",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn every_gauge() -> Vec<Gauge> {
        let awg = Awg::RANGE.filter_map(Awg::new).map(Gauge::Awg);
        let metric = (1..=2000).map(|n| Gauge::Metric(SquareMillimetres::new(f64::from(n) * 0.05)));
        awg.chain((0..=255).map(Gauge::Sae)).chain(metric).collect()
    }

    #[test]
    fn the_ideal_wire_is_healthy_and_low_is_below_high() {
        let room = (Celsius::new(20.0), Celsius::new(20.0));
        for gauge in every_gauge() {
            let (low, high) = resistance_range(gauge, Metres::new(3.0), room);
            let ideal = super::super::ohms_per_metre_ideal(gauge).per(Metres::new(3.0));
            assert!(low < ideal && ideal <= high, "{gauge}: {low} {ideal} {high}");
        }
    }

    #[test]
    fn odd_arguments_still_give_an_interval() {
        let upside_down = (Celsius::new(60.0), Celsius::new(-10.0));
        let size = Gauge::Metric(SquareMillimetres::new(1.5));
        let length = Metres::new(2.0);
        assert_eq!(
            resistance_range(size, length, upside_down),
            resistance_range(size, length, USUAL_TEMPERATURES)
        );
        for area in [0.0, f64::MIN_POSITIVE, f64::MAX] {
            for length in [0.0, 1.0, 1e300] {
                for cold in [-1e300, -273.15, 0.0] {
                    let size = Gauge::Metric(SquareMillimetres::new(area));
                    let range = (Celsius::new(cold), Celsius::new(20.0));
                    let (low, high) = resistance_range(size, Metres::new(length), range);
                    assert!(low <= high && low.get() >= 0.0, "{area} {length} {cold}");
                }
            }
        }
    }
}
