//! What a person does to bring a setup about, and what it costs.

use super::{Effort, plug_of, position_name, usual};
use crate::definition::{ConditionId, Harness, MatingId, PartId, StationId};
use crate::units::Seconds;

/// A post of a battery.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Post {
    /// The negative post.
    Negative,
    /// The positive post.
    Positive,
}

/// One thing a person does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Action {
    /// Walk to a station.
    GoTo(StationId),
    /// Take a battery lead off.
    TakeOff(PartId, Post),
    /// Put a battery lead on.
    PutOn(PartId, Post),
    /// Part a mating.
    Unplug(MatingId),
    /// Join a mating.
    Plug(MatingId),
    /// Put a switch into a position.
    Set(PartId, usize),
    /// Bring a condition about.
    Bring(ConditionId),
    /// End a condition.
    End(ConditionId),
}

impl Action {
    /// How long it takes: as the definition says, or as is usual.
    pub fn seconds(self, harness: &Harness) -> Seconds {
        match self {
            Self::GoTo(station) => harness.stations[station].reach.unwrap_or(usual(Effort::Walk)),
            Self::TakeOff(..) | Self::PutOn(..) => usual(Effort::Lead),
            Self::Unplug(mating) | Self::Plug(mating) => {
                harness.matings[mating].unplug.unwrap_or(usual(Effort::Plug))
            }
            Self::Set(..) => usual(Effort::Switch),
            Self::Bring(_) | Self::End(_) => usual(Effort::Condition),
        }
    }

    /// What is done, as a verb.
    pub fn verb(self) -> &'static str {
        match self {
            Self::GoTo(_) => "go to",
            Self::TakeOff(..) => "take off",
            Self::PutOn(..) => "put on",
            Self::Unplug(_) => "unplug",
            Self::Plug(_) => "plug in",
            Self::Set(..) => "set",
            Self::Bring(_) => "bring about",
            Self::End(_) => "end",
        }
    }

    /// What it is done to.
    pub fn target(self, harness: &Harness) -> String {
        match self {
            Self::GoTo(station) => {
                let station = &harness.stations[station];
                if station.title.is_empty() { station.id.clone() } else { station.title.clone() }
            }
            Self::TakeOff(battery, post) | Self::PutOn(battery, post) => {
                let post = if post == Post::Negative { "negative" } else { "positive" };
                format!("{} {post}", harness.parts[battery].id)
            }
            Self::Unplug(mating) | Self::Plug(mating) => {
                let plug = plug_of(harness, mating);
                let mate = harness.mate_of(plug).map_or("", |m| harness.connectors[m].id.as_str());
                format!("{} ({} {mate})", harness.connectors[plug].id, self.joint())
            }
            Self::Set(switch, position) => {
                format!("{} to {}", harness.parts[switch].id, position_name(harness, switch, position))
            }
            Self::Bring(condition) | Self::End(condition) => harness.conditions[condition].title.clone(),
        }
    }

    fn joint(self) -> &'static str {
        if matches!(self, Self::Unplug(_)) { "from" } else { "to" }
    }

    /// Verb and target in one.
    pub fn words(self, harness: &Harness) -> String {
        format!("{} {}", self.verb(), self.target(harness))
    }
}
