//! Work in parts, for as many hands as there are.
//!
//! Comes in: things of which each asks for work that has nothing to do with the others'. Goes out: what was made of each,
//! in their order. Why: a plan of 100,000 wires tries half a million changes. This room has no threads; whoever calls
//! may have some, and lends them.

use std::sync::OnceLock;

/// Whoever does the parts of some work.
pub trait Hands: Sync {
    /// Does every part once, in any order, by its number from 0.
    fn share(&self, parts: usize, work: &(dyn Fn(usize) + Sync));
}

/// One part after the other.
#[derive(Debug, Clone, Copy)]
pub struct OneByOne;

impl Hands for OneByOne {
    fn share(&self, parts: usize, work: &(dyn Fn(usize) + Sync)) {
        (0..parts).for_each(work);
    }
}

/// What some work makes of runs of some items, in order; the work gives as many as it gets. Many parts let all hands be
/// done at about the same time; few let a part share what its items have in common.
pub(crate) fn in_parts<T: Sync, R: Send + Sync>(
    (hands, parts): (&dyn Hands, usize),
    items: &[T],
    work: impl Fn(&[T]) -> Vec<R> + Sync,
) -> Vec<R> {
    let parts: Vec<&[T]> = items.chunks(items.len().div_ceil(parts.max(1)).max(1)).collect();
    let done: Vec<OnceLock<Vec<R>>> = parts.iter().map(|_| OnceLock::new()).collect();
    hands.share(parts.len(), &|at| {
        done[at].get_or_init(|| work(parts[at]));
    });
    // What nobody did is done now.
    done.into_iter()
        .zip(parts)
        .flat_map(|(done, part)| done.into_inner().unwrap_or_else(|| work(part)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hands that do the last part first, the first one twice, and leave the second one out.
    struct Careless;

    impl Hands for Careless {
        fn share(&self, parts: usize, work: &(dyn Fn(usize) + Sync)) {
            (0..parts).rev().chain(0..parts.min(1)).filter(|part| *part != 1).for_each(work);
        }
    }

    #[test]
    fn results_come_in_order_whoever_makes_them() {
        for count in [0, 1, 2, 31, 32, 33, 1000] {
            let items: Vec<usize> = (0..count).collect();
            let squares: Vec<usize> = items.iter().map(|item| item * item).collect();
            for hands in [&OneByOne as &dyn Hands, &Careless] {
                let made =
                    in_parts((hands, 32), &items, |part| part.iter().map(|item| item * item).collect());
                assert_eq!(made, squares);
            }
        }
    }
}
