//! Hands for a plan: a thread for each processor, and two at least.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use ringout::plan::Hands;

pub(crate) struct Threads;

impl Hands for Threads {
    fn share(&self, parts: usize, work: &(dyn Fn(usize) + Sync)) {
        let next = AtomicUsize::new(0);
        let take = || (next.fetch_add(1, Ordering::Relaxed)..parts).next();
        let processors = thread::available_parallelism().map_or(1, usize::from);
        thread::scope(|scope| {
            for _ in 0..processors.max(2) {
                scope.spawn(|| std::iter::from_fn(take).for_each(work));
            }
        });
    }
}
