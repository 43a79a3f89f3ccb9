//! What a crimped contact of a standard size is rated for.

use std::fmt;

/// One contact size of the table below.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ContactSize(u8);

/// Size, test current in amperes, most millivolts of drop of the crimped contact at that current.
struct Row(&'static str, f64, f64);

/// Crimp contacts of round connectors (MIL-DTL-38999; contacts of AS39029).
const TABLE: [Row; 11] = [
    Row("22D", 5.0, 73.0),
    Row("22", 5.0, 73.0),
    Row("23", 5.0, 73.0),
    Row("22M", 3.0, 45.0),
    Row("20", 7.5, 55.0),
    Row("16", 13.0, 49.0),
    Row("12", 23.0, 42.0),
    Row("10", 33.0, 33.0),
    Row("8", 46.0, 26.0),
    Row("4", 80.0, 23.0),
    Row("0", 150.0, 21.0),
];

impl ContactSize {
    /// Every size, thinnest first.
    pub fn all() -> impl Iterator<Item = Self> {
        (0..TABLE.len() as u8).map(Self)
    }

    /// From the size as it is written: `"20"`, `"22D"`.
    pub fn parse(text: &str) -> Option<Self> {
        Self::all().find(|size| size.name() == text)
    }

    /// As it is written.
    pub fn name(self) -> &'static str {
        TABLE[usize::from(self.0)].0
    }

    /// Its rated current in amperes (MIL-DTL-38999).
    pub fn amps(self) -> f64 {
        TABLE[usize::from(self.0)].1
    }

    /// The most its crimp may drop at that current, in millivolts (MIL-DTL-38999).
    pub fn millivolts(self) -> f64 {
        TABLE[usize::from(self.0)].2
    }
}

impl fmt::Display for ContactSize {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
