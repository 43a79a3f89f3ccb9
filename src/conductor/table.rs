//! Published conductor tables, each with its source. Numbers only; what they mean for a reading is
//! decided in the parent module.

use crate::units::{Awg, SquareMillimetres};

/// One size of IEC 60228: the most it may resist at 20 degC, in ohms per kilometre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Iec60228 {
    /// Nominal area in mm2.
    pub square_millimetres: f64,
    /// Class 1 (solid) and class 2 (stranded), plain copper.
    pub rigid_plain: f64,
    /// Class 1 and 2, metal-coated copper.
    pub rigid_coated: f64,
    /// Class 5 and 6 (flexible), plain copper.
    pub flexible_plain: f64,
    /// Class 5 and 6, metal-coated copper.
    pub flexible_coated: f64,
}

const fn iec(size: f64, rigid: (f64, f64), flexible: (f64, f64)) -> Iec60228 {
    Iec60228 {
        square_millimetres: size,
        rigid_plain: rigid.0,
        rigid_coated: rigid.1,
        flexible_plain: flexible.0,
        flexible_coated: flexible.1,
    }
}

/// Maximum conductor resistance at 20 degC (IEC 60228:2004, tables 1 to 4).
pub const IEC_60228: [Iec60228; 15] = [
    iec(0.5, (36.0, 36.7), (39.0, 40.1)),
    iec(0.75, (24.5, 24.8), (26.0, 26.7)),
    iec(1.0, (18.1, 18.2), (19.5, 20.0)),
    iec(1.5, (12.1, 12.2), (13.3, 13.7)),
    iec(2.5, (7.41, 7.56), (7.98, 8.21)),
    iec(4.0, (4.61, 4.70), (4.95, 5.09)),
    iec(6.0, (3.08, 3.11), (3.30, 3.39)),
    iec(10.0, (1.83, 1.84), (1.91, 1.95)),
    iec(16.0, (1.15, 1.16), (1.21, 1.24)),
    iec(25.0, (0.727, 0.734), (0.780, 0.795)),
    iec(35.0, (0.524, 0.529), (0.554, 0.565)),
    iec(50.0, (0.387, 0.391), (0.386, 0.393)),
    iec(70.0, (0.268, 0.270), (0.272, 0.277)),
    iec(95.0, (0.193, 0.195), (0.206, 0.210)),
    iec(120.0, (0.153, 0.154), (0.161, 0.164)),
];

/// The IEC 60228 row of a size, if it is listed.
pub fn iec_60228(size: SquareMillimetres) -> Option<&'static Iec60228> {
    IEC_60228.iter().find(|row| same(row.square_millimetres, size.get()))
}

/// One size of tin-plated copper aircraft wire.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AircraftWire {
    /// Gauge number; 0000 is -3.
    pub size: i8,
    /// Continuous amperes for 105, 150 and 200 degC rated wire. In a bundle of 33 or more wires (9 or
    /// more from size 8 up) of which not more than 20 % of the capacity is used, at 70 degC ambient
    /// and 60 000 ft.
    pub amps: [f64; 3],
    /// Most ohms per 1000 ft at 20 degC.
    pub ohms_per_1000_ft: f64,
    /// Copper area in circular mils.
    pub circular_mils: f64,
}

const fn aircraft(size: i8, amps: [f64; 3], ohms: f64, circular_mils: f64) -> AircraftWire {
    AircraftWire { size, amps, ohms_per_1000_ft: ohms, circular_mils }
}

/// Current capacity and resistance of copper wire (FAA AC 43.13-1B, Table 11-9).
pub const AC_43_13_1B_TABLE_11_9: [AircraftWire; 17] = [
    aircraft(24, [2.5, 4.0, 5.0], 28.40, 475.0),
    aircraft(22, [3.0, 5.0, 6.0], 16.20, 755.0),
    aircraft(20, [4.0, 7.0, 9.0], 9.88, 1_216.0),
    aircraft(18, [6.0, 9.0, 12.0], 6.23, 1_900.0),
    aircraft(16, [7.0, 11.0, 14.0], 4.81, 2_426.0),
    aircraft(14, [10.0, 14.0, 18.0], 3.06, 3_831.0),
    aircraft(12, [13.0, 19.0, 25.0], 2.02, 5_874.0),
    aircraft(10, [17.0, 26.0, 32.0], 1.26, 9_354.0),
    aircraft(8, [38.0, 57.0, 71.0], 0.70, 16_983.0),
    aircraft(6, [50.0, 76.0, 97.0], 0.44, 26_818.0),
    aircraft(4, [68.0, 103.0, 133.0], 0.28, 42_615.0),
    aircraft(2, [95.0, 141.0, 179.0], 0.18, 66_500.0),
    aircraft(1, [113.0, 166.0, 210.0], 0.15, 81_700.0),
    aircraft(0, [128.0, 192.0, 243.0], 0.12, 104_500.0),
    aircraft(-1, [147.0, 222.0, 285.0], 0.09, 133_000.0),
    aircraft(-2, [172.0, 262.0, 335.0], 0.07, 166_500.0),
    aircraft(-3, [204.0, 310.0, 395.0], 0.06, 210_900.0),
];

/// The AC 43.13-1B Table 11-9 row of a size, if it is listed.
pub fn aircraft_wire(size: Awg) -> Option<&'static AircraftWire> {
    AC_43_13_1B_TABLE_11_9.iter().find(|row| row.size == size.number())
}

/// One size of building wire: dc ohms per 1000 ft at 75 degC.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BuildingWire {
    /// Gauge number; 4/0 is -3.
    pub size: i8,
    /// Solid, uncoated; not listed above size 8.
    pub solid: Option<f64>,
    /// Stranded, uncoated.
    pub stranded: f64,
    /// Stranded, coated.
    pub coated: f64,
}

const fn building(size: i8, solid: Option<f64>, stranded: f64, coated: f64) -> BuildingWire {
    BuildingWire { size, solid, stranded, coated }
}

/// Conductor properties (NEC, NFPA 70, Chapter 9, Table 8), copper.
#[expect(clippy::approx_constant, reason = "3.14 is a resistance here")]
pub const NEC_CHAPTER_9_TABLE_8: [BuildingWire; 15] = [
    building(18, Some(7.77), 7.95, 8.45),
    building(16, Some(4.89), 4.99, 5.29),
    building(14, Some(3.07), 3.14, 3.26),
    building(12, Some(1.93), 1.98, 2.05),
    building(10, Some(1.21), 1.24, 1.29),
    building(8, Some(0.764), 0.778, 0.809),
    building(6, None, 0.491, 0.510),
    building(4, None, 0.308, 0.321),
    building(3, None, 0.245, 0.254),
    building(2, None, 0.194, 0.201),
    building(1, None, 0.154, 0.160),
    building(0, None, 0.122, 0.127),
    building(-1, None, 0.0967, 0.101),
    building(-2, None, 0.0766, 0.0797),
    building(-3, None, 0.0608, 0.0626),
];

/// The NEC Chapter 9 Table 8 row of a size, if it is listed.
pub fn building_wire(size: Awg) -> Option<&'static BuildingWire> {
    NEC_CHAPTER_9_TABLE_8.iter().find(|row| row.size == size.number())
}

/// Takes a value of [`NEC_CHAPTER_9_TABLE_8`] from 75 degC to another temperature:
/// R2 = R1 [1 + 0.00323 (T2 - 75)] (note to that table, copper).
pub fn nec_at(ohms_at_75: f64, degrees_celsius: f64) -> f64 {
    ohms_at_75 * (1.0 + 0.00323 * (degrees_celsius - 75.0))
}

/// An SAE gauge and the metric sizes it is exchanged for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SaeMetric {
    /// SAE gauge number.
    pub gauge: u8,
    /// The nearest metric area in mm2.
    pub square_millimetres: f64,
    /// A smaller size that some makers fit in its place, in mm2.
    pub or: Option<f64>,
}

const fn sae(gauge: u8, square_millimetres: f64, or: Option<f64>) -> SaeMetric {
    SaeMetric { gauge, square_millimetres, or }
}

/// SAE gauge against metric size: an equivalence of the trade as vehicle makers' conversion charts
/// print it, not arithmetic and no standard.
pub const SAE_METRIC: [SaeMetric; 12] = [
    sae(22, 0.35, None),
    sae(20, 0.5, None),
    sae(18, 0.8, Some(0.75)),
    sae(16, 1.0, None),
    sae(14, 2.0, Some(1.5)),
    sae(12, 3.0, Some(2.5)),
    sae(10, 5.0, Some(4.0)),
    sae(8, 8.0, Some(6.0)),
    sae(6, 13.0, None),
    sae(4, 19.0, Some(16.0)),
    sae(2, 32.0, None),
    sae(0, 52.0, None),
];

/// The metric equivalent of an SAE gauge, if it is listed.
pub fn sae_metric(gauge: u8) -> Option<&'static SaeMetric> {
    SAE_METRIC.iter().find(|row| row.gauge == gauge)
}

/// Road-vehicle cable, bare copper: (mm2, most mohm/m at 20 degC). ISO 6722-1, **from memory**: not
/// checked against the standard, so no limit rests on it. Editions differ at 0.35 mm2 (52.0 or 54.4).
#[expect(clippy::approx_constant, reason = "3.14 is a resistance here")]
pub const ISO_6722_1_FROM_MEMORY: [(f64, f64); 27] = [
    (0.13, 136.0),
    (0.22, 84.8),
    (0.35, 54.4),
    (0.5, 37.1),
    (0.75, 24.7),
    (1.0, 18.5),
    (1.25, 14.9),
    (1.5, 12.7),
    (2.0, 9.42),
    (2.5, 7.60),
    (3.0, 6.15),
    (4.0, 4.71),
    (5.0, 3.94),
    (6.0, 3.14),
    (8.0, 2.38),
    (10.0, 1.82),
    (12.0, 1.52),
    (16.0, 1.16),
    (25.0, 0.743),
    (30.0, 0.647),
    (35.0, 0.527),
    (40.0, 0.473),
    (50.0, 0.368),
    (60.0, 0.315),
    (70.0, 0.259),
    (95.0, 0.196),
    (120.0, 0.153),
];

/// Two areas that are the same size written differently.
fn same(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-6
}
