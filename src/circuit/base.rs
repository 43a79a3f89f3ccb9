//! A factored network, and the ways through its elimination tree.

use std::sync::{Arc, OnceLock, Weak};

use super::sparse::{Factor, Sparse};

/// A network that was factored: every machine that differs from it in a few branches shares it.
#[derive(Debug)]
pub(super) struct Base {
    /// Voltage of each node against the reference of its island.
    pub volts: Vec<f64>,
    pub island: Vec<u32>,
    pub factor: Factor,
    /// Conductance of each link; zero while it does not conduct.
    pub conductance: Vec<f64>,
    /// Current that each link's source drives from its second end to its first.
    pub current: Vec<f64>,
    pub powered: bool,
    /// The way between the ends of each link, found when first asked for.
    pub ways: Vec<OnceLock<Arc<Way>>>,
}

impl Base {
    /// By how much the first node stands above the second, each against the reference of its own island.
    pub(super) fn raised(&self, [a, b]: [usize; 2]) -> f64 {
        self.volts[a] - self.volts[b]
    }
}

/// The way from one node to another up the elimination tree: what every question about the two shares.
#[derive(Debug, Clone)]
pub struct Way {
    pub(super) ends: [usize; 2],
    pub(super) half: Sparse,
    /// The resistance between its ends in the factored network, where anything joins them.
    pub(super) ohms: f64,
    /// The factored network it belongs to.
    pub(super) base: Weak<Base>,
}

impl Way {
    /// Where it leads through the elimination tree. Two ways that share no place have no voltage in common: a current
    /// along one makes none along the other.
    pub fn places(&self) -> impl Iterator<Item = usize> + '_ {
        self.half.iter().map(|(place, _)| *place)
    }

    /// The nodes that it leads from and to.
    pub fn ends(&self) -> [usize; 2] {
        self.ends
    }
}
