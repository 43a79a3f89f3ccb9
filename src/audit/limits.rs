//! Limits of voltage drop, and the resistance of a wire as those who set the limits reckon it.

use crate::conductor::table::{aircraft_wire, building_wire, iec_60228};
use crate::conductor::{
    ABYC_K, FOOT, KILOMETRE, OhmsPerMetre, THOUSAND_FEET, USUAL_TEMPERATURES, area, circular_mils,
    ohms_per_metre_ideal, resistance_range, temperature_factor,
};
use crate::definition::{RuleSet, Wire};
use crate::units::{Celsius, Gauge, Ohms};

/// A limit and where it comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Limit {
    /// In volts.
    pub volts: f64,
    pub source: &'static str,
}

/// FAA AC 43.13-1B, Table 11-6: nominal volts, allowable drop in continuous and in intermittent service.
/// The intermittent column is from memory.
const TABLE_11_6: [(f64, f64, f64); 4] =
    [(14.0, 0.5, 1.0), (28.0, 1.0, 2.0), (115.0, 4.0, 8.0), (200.0, 7.0, 14.0)];

/// What a whole circuit may lose, feed and return together.
pub(super) fn whole(set: RuleSet, nominal: f64, critical: bool, intermittent: bool) -> Limit {
    match set {
        RuleSet::Vehicle => {
            Limit { volts: nominal / 12.0, source: "usual limits of vehicle repair manuals: 1 V in 12 V" }
        }
        RuleSet::Aircraft => {
            let (_, continuous, short) = row(nominal);
            let source = if intermittent {
                "AC 43.13-1B Table 11-6, intermittent (from memory)"
            } else {
                "AC 43.13-1B Table 11-6, continuous"
            };
            Limit { volts: if intermittent { short } else { continuous }, source }
        }
        RuleSet::Boat if critical => Limit { volts: 0.03 * nominal, source: "ABYC E-11, critical: 3 %" },
        RuleSet::Boat => Limit { volts: 0.10 * nominal, source: "ABYC E-11, not critical: 10 %" },
        RuleSet::Building => {
            Limit { volts: 0.05 * nominal, source: "NEC 215.2, informational note: 5 % in all" }
        }
    }
}

/// What a branch may lose from its last fuse or breaker on, where the rule set knows such a limit.
pub(super) fn branch(set: RuleSet, nominal: f64) -> Option<Limit> {
    let limit = Limit { volts: 0.03 * nominal, source: "NEC 210.19, informational note: 3 % of a branch" };
    (set == RuleSet::Building).then_some(limit)
}

/// What the ground side alone may lose, where the rule set knows such a limit.
pub(super) fn ground_side(set: RuleSet, nominal: f64) -> Option<Limit> {
    let source = "usual limits of vehicle repair manuals: 0.1 V on the ground side in 12 V";
    (set == RuleSet::Vehicle).then_some(Limit { volts: 0.1 * nominal / 12.0, source })
}

/// The share of the regulated voltage that a main feed may lose at rated generator current.
pub(super) const MAIN_FEED: (f64, &str) = (0.02, "AC 43.13-1B par. 11-66: 2 % of the regulated voltage");

/// The most ohms from the source's ground to the equipment's ground.
pub(super) const GROUND_RETURN: (f64, &str) = (0.005, "FAA-H-8083-32, ground return: 0.005 ohm");

/// The row of the table that a nominal voltage belongs to: 12 V systems charge at 14 V, 24 V ones at 28 V.
fn row(nominal: f64) -> (f64, f64, f64) {
    let near = |row: &(f64, f64, f64)| (nominal.ln() - row.0.ln()).abs();
    TABLE_11_6.into_iter().min_by(|a, b| near(a).total_cmp(&near(b))).unwrap_or(TABLE_11_6[0])
}

/// How wires are reckoned for a rule set, in words.
pub(super) fn basis(set: Option<RuleSet>) -> &'static str {
    match set {
        None | Some(RuleSet::Vehicle) => {
            "wires at the highest of IEC 60228 or AC 43.13-1B Table 11-9, 20 degC"
        }
        Some(RuleSet::Aircraft) => "wires by AC 43.13-1B Table 11-9, 20 degC",
        Some(RuleSet::Boat) => "wires by ABYC E-11: 10.75 ohm circular-mil per foot",
        Some(RuleSet::Building) => "wires by NEC Chapter 9 Table 8, 75 degC",
    }
}

/// The resistance of a wire's copper as the rule set reckons it; `None` where its size is not known.
pub(super) fn copper(set: Option<RuleSet>, wire: &Wire) -> Option<Ohms> {
    let (gauge, length) = (wire.gauge?, wire.length?);
    let per_metre = match set {
        Some(RuleSet::Boat) => Some(OhmsPerMetre::over(Ohms::new(ABYC_K / circular_mils(area(gauge))), FOOT)),
        Some(RuleSet::Building) => Some(building(gauge)),
        None | Some(RuleSet::Vehicle | RuleSet::Aircraft) => listed(gauge),
    };
    Some(per_metre.unwrap_or_else(|| ohms_per_metre_ideal(gauge)).per(length))
}

/// What the solver takes for the same copper, so that the one can be put in place of the other.
pub(super) fn copper_as_solved(wire: &Wire) -> Option<Ohms> {
    let (low, high) = resistance_range(wire.gauge?, wire.length?, USUAL_TEMPERATURES);
    Some((low + high) * 0.5)
}

/// The highest published figure at 20 degC, where the size is listed.
fn listed(gauge: Gauge) -> Option<OhmsPerMetre> {
    match gauge {
        Gauge::Metric(area) => {
            let row = iec_60228(area)?;
            Some(OhmsPerMetre::over(Ohms::new(row.flexible_coated), KILOMETRE))
        }
        Gauge::Awg(awg) => {
            let row = aircraft_wire(awg)?;
            Some(OhmsPerMetre::over(Ohms::new(row.ohms_per_1000_ft), THOUSAND_FEET))
        }
        Gauge::Sae(_) => None,
    }
}

/// At 75 degC, as buildings are reckoned.
fn building(gauge: Gauge) -> OhmsPerMetre {
    if let Gauge::Awg(awg) = gauge
        && let Some(row) = building_wire(awg)
    {
        return OhmsPerMetre::over(Ohms::new(row.stranded), THOUSAND_FEET);
    }
    let cold = listed(gauge).unwrap_or_else(|| ohms_per_metre_ideal(gauge));
    cold * temperature_factor(Celsius::new(75.0))
}
