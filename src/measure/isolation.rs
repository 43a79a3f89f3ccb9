//! How much isolation is enough, by published rules.
//!
//! Comes in: a rule's own measure, a nominal voltage or a temperature. Goes out: test voltage and the
//! least resistance that counts as good. Why: an isolation limit is a demand, not something that
//! follows from copper.

use crate::units::{Ohms, Volts};

/// A row of BS 7671:2018 Table 64 (Regulation 643.3), minimum values of insulation resistance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// What circuits it is for.
    pub circuits: &'static str,
    /// Test voltage, dc.
    pub test: Volts,
    /// The least that counts as good.
    pub least: Ohms,
}

/// BS 7671:2018 Table 64.
pub const BS_7671_TABLE_64: [Row; 3] = [
    Row { circuits: "SELV and PELV", test: Volts::new(250.0), least: Ohms::new(0.5e6) },
    Row {
        circuits: "up to and including 500 V, other than SELV and PELV",
        test: Volts::new(500.0),
        least: Ohms::new(1e6),
    },
    Row { circuits: "above 500 V", test: Volts::new(1000.0), least: Ohms::new(1e6) },
];

/// The least isolation of new assembled wiring by US Army SB 740-91-01 par. 4c: 100 Mohm at 200 to 1000 V
/// dc for no more than a minute, each wire against all others and the shields tied together.
pub const ASSEMBLED_WIRING: Ohms = Ohms::new(100e6);

/// [`ASSEMBLED_WIRING`] at a temperature in degrees Fahrenheit, by par. 4c(3): 2 % less for every degree
/// above 82, 2 % more for every degree below 60. `None` from 100 degrees on, where the test is not made.
pub fn assembled_wiring_at(fahrenheit: f64) -> Option<Ohms> {
    /// Share by which the limit moves per degree.
    const PER_DEGREE: f64 = 0.02;
    /// Between these it does not move.
    const USUAL: [f64; 2] = [60.0, 82.0];
    /// The test is made below this.
    const HOTTEST: f64 = 100.0;
    if !fahrenheit.is_finite() || fahrenheit >= HOTTEST {
        return None;
    }
    let beyond = fahrenheit - fahrenheit.clamp(USUAL[0], USUAL[1]);
    Some(ASSEMBLED_WIRING * (1.0 - PER_DEGREE * beyond))
}
