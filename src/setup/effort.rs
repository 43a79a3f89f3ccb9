//! How long things take where the definition does not say.
//!
//! Comes in: a sort of work. Goes out: seconds. Why: a plan is ordered by time, so every figure that it rests
//! on stands in one table. All of them are common practice, no source; a definition gives its own with
//! `reach` for a station and `unplug` for a connector.

use crate::units::Seconds;

/// A sort of work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Effort {
    /// To get to another station.
    Walk,
    /// To take a battery lead off, or to put it on.
    Lead,
    /// To unplug a connector, or to plug it in.
    Plug,
    /// To move a switch.
    Switch,
    /// To bring a condition about, or to end it.
    Condition,
    /// To put a clip of a strap on or to take it off.
    Clip,
    /// To cap a contact or to take the cap off.
    Cap,
    /// To place two probes and write the reading down.
    Reading,
}

/// The whole table: what is done, the key of a definition that overrides it, and how long it usually takes.
pub const EFFORTS: [(Effort, Option<&str>, Seconds); 8] = [
    (Effort::Walk, Some("reach"), Seconds::new(20.0)),
    (Effort::Lead, None, Seconds::new(60.0)),
    (Effort::Plug, Some("unplug"), Seconds::new(30.0)),
    (Effort::Switch, None, Seconds::new(5.0)),
    (Effort::Condition, None, Seconds::new(60.0)),
    (Effort::Clip, None, Seconds::new(5.0)),
    (Effort::Cap, None, Seconds::new(5.0)),
    (Effort::Reading, None, READING_SECONDS),
];

/// Time to place two probes and write a reading down: common practice, no source. A clip that has to be put on
/// at another station first is not counted.
pub const READING_SECONDS: Seconds = Seconds::new(20.0);

/// How long something usually takes.
pub const fn usual(effort: Effort) -> Seconds {
    // The rows stand in the order of the sorts; a test sees to it.
    EFFORTS[effort as usize].2
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_stand_in_the_order_of_the_sorts() {
        for (at, (effort, ..)) in EFFORTS.iter().enumerate() {
            assert_eq!(*effort as usize, at);
            assert!(usual(*effort).get() > 0.0);
        }
    }
}
