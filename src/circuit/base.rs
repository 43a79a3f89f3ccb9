//! A factored network, and the ways through its elimination tree.

use std::sync::{Arc, OnceLock, Weak};

use super::sparse::{Factor, Sparse, dot};

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

/// The way from one node to another up the elimination tree: what every question about the two shares. It is climbed
/// when first asked for: of two nodes that nothing joins it often never is.
#[derive(Debug, Clone)]
pub struct Way {
    ends: [usize; 2],
    climbed: OnceLock<Climbed>,
    /// The factored network it belongs to.
    base: Weak<Base>,
}

#[derive(Debug, Clone)]
struct Climbed {
    half: Sparse,
    ohms: f64,
}

impl Way {
    pub(super) fn new(base: &Arc<Base>, ends: [usize; 2]) -> Self {
        Self { ends, climbed: OnceLock::new(), base: Arc::downgrade(base) }
    }

    /// Whether it belongs to this factored network.
    pub(super) fn is_of(&self, base: &Arc<Base>) -> bool {
        std::ptr::eq(self.base.as_ptr(), Arc::as_ptr(base))
    }

    /// The nodes that it leads from and to.
    pub fn ends(&self) -> [usize; 2] {
        self.ends
    }

    fn climbed(&self, base: &Base) -> &Climbed {
        self.climbed.get_or_init(|| {
            let [a, b] = self.ends;
            let half = base.factor.half(a, b);
            Climbed { ohms: dot(&half, &half), half }
        })
    }

    /// What it passes in the factored network it belongs to, scaled: see [`Factor::half`].
    pub(super) fn half(&self, base: &Base) -> &Sparse {
        &self.climbed(base).half
    }

    /// The resistance between its ends in that network, where anything joins them.
    pub(super) fn ohms(&self, base: &Base) -> f64 {
        self.climbed(base).ohms
    }
}
