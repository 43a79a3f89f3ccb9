//! Machines to test and to measure with, made from a seed.
//!
//! Comes in: a seed and a rough number of wires. Goes out: a valid definition as TOML text. Why: a
//! property that holds for the few harnesses somebody thought of may fail for the next one, and a
//! time limit needs a machine larger than anybody would type. The same seed gives the same text on
//! every computer, so a failing seed can be run again.
//!
//! - [`random`]: small, with everything a definition can hold, joined in odd ways.
//! - [`large`]: big, with the structure of a real machine, for times and memory.

#![allow(dead_code, unused_imports, reason = "each test and each bench uses its own share of this module")]

mod draft;
mod large;
mod pieces;
mod random;

pub(crate) use large::large;
pub(crate) use random::random;

use ringout::definition::{Harness, load};

/// A definition that uses no other files, read.
pub(crate) fn read(text: &str) -> Harness {
    match load("made.toml", text.to_owned(), None, &mut |path: &str| Err(format!("{path} is not there"))) {
        Ok(loaded) => loaded.harness,
        Err(rejected) => {
            panic!("{:?}\n{text}", rejected.diagnostics.iter().map(|d| &d.message).collect::<Vec<_>>())
        }
    }
}

/// [`random`], read.
pub(crate) fn made(seed: u64, wires: usize) -> Harness {
    read(&random(seed, wires))
}

/// SplitMix64: a small generator whose numbers are the same everywhere.
///
/// Source: Steele, Lea and Flood, "Fast Splittable Pseudorandom Number Generators", OOPSLA 2014.
pub(crate) struct Rng(u64);

impl Rng {
    /// A generator that starts from a seed; every seed is good, 0 included.
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next 64 bits.
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number from 0 to `end` without `end`, which must not be 0. Small ends only: the bias of the
    /// remainder is then far below anything a test could notice.
    pub(crate) fn below(&mut self, end: usize) -> usize {
        (self.next() % end as u64) as usize
    }

    /// A number from `low` to `high`, both included.
    pub(crate) fn between(&mut self, low: usize, high: usize) -> usize {
        low + self.below(high - low + 1)
    }

    /// True in so many cases of a hundred.
    pub(crate) fn chance(&mut self, percent: usize) -> bool {
        self.below(100) < percent
    }

    /// One of a list, which must not be empty.
    pub(crate) fn pick<T: Copy>(&mut self, list: &[T]) -> T {
        list[self.below(list.len())]
    }
}
