//! All processors at work on one command.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use crate::plan::Hands;

/// A thread for each processor.
pub(super) struct Threads;

impl Hands for Threads {
    fn share(&self, parts: usize, work: &(dyn Fn(usize) + Sync)) {
        let next = AtomicUsize::new(0);
        let until_done = || {
            loop {
                let part = next.fetch_add(1, Ordering::Relaxed);
                if part >= parts {
                    break;
                }
                work(part);
            }
        };
        let processors = thread::available_parallelism().map_or(1, usize::from);
        thread::scope(|scope| {
            // This thread works too; where no other can be had it does everything.
            for _ in 1..processors.min(parts) {
                let _ = thread::Builder::new().spawn_scoped(scope, until_done);
            }
            until_done();
        });
    }
}
