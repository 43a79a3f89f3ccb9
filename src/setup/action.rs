//! What a person does to bring a setup about, and what it costs.

use super::strap::points_words;
use super::{Effort, Strap, plug_of, position_name, usual};
use crate::definition::{
    ConditionId, ConnectorId, ContactId, Harness, MatingId, PartId, PartKind, Point, StationId,
};
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
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
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
    /// Put a strap on.
    Fit(Strap),
    /// Take a strap off.
    Unfit(Strap),
    /// Take contacts into a strap, or out of it: before and after.
    Refit(Strap, Strap),
    /// Put a loopback plug on a connector: what it joins.
    FitPlug(ConnectorId, Vec<Strap>),
    /// Take a loopback plug off.
    UnfitPlug(ConnectorId, Vec<Strap>),
    /// Cap open contacts of a connector.
    Cap(ConnectorId, Vec<ContactId>),
    /// Take caps off.
    Uncap(ConnectorId, Vec<ContactId>),
}

impl Action {
    /// How long it takes: as the definition says, or as is usual.
    pub fn seconds(&self, harness: &Harness) -> Seconds {
        match self {
            Self::GoTo(station) => harness.stations[*station].reach.unwrap_or(usual(Effort::Walk)),
            Self::TakeOff(..) | Self::PutOn(..) => usual(Effort::Lead),
            Self::Unplug(mating) | Self::Plug(mating) => {
                harness.matings[*mating].unplug.unwrap_or(usual(Effort::Plug))
            }
            Self::Set(..) => usual(Effort::Switch),
            Self::Bring(_) | Self::End(_) => usual(Effort::Condition),
            Self::Fit(strap) | Self::Unfit(strap) => usual(Effort::Clip) * strap.points().len() as f64,
            Self::Refit(from, to) => {
                let [off, on] = [only_in(from, to), only_in(to, from)];
                usual(Effort::Clip) * (off.len() + on.len()) as f64
            }
            Self::FitPlug(..) | Self::UnfitPlug(..) => usual(Effort::Plug),
            Self::Cap(_, contacts) | Self::Uncap(_, contacts) => usual(Effort::Cap) * contacts.len() as f64,
        }
    }

    /// Where one stands to do it, if the definition says.
    pub fn station(&self, harness: &Harness) -> Option<StationId> {
        match self {
            Self::GoTo(station) => Some(*station),
            Self::TakeOff(part, _) | Self::PutOn(part, _) => {
                let PartKind::Battery { plus, .. } = harness.parts[*part].kind else { return None };
                harness.parts[*part].station.or(harness.station_of(plus))
            }
            Self::Unplug(mating) | Self::Plug(mating) => {
                harness.connectors[plug_of(harness, *mating)].station
            }
            Self::Set(part, _) => harness.parts[*part].station,
            Self::Bring(_) | Self::End(_) => None,
            Self::Fit(strap) | Self::Unfit(strap) | Self::Refit(strap, _) => strap.station(harness),
            Self::FitPlug(connector, _)
            | Self::UnfitPlug(connector, _)
            | Self::Cap(connector, _)
            | Self::Uncap(connector, _) => harness.connectors[*connector].station,
        }
    }

    /// What is done, as a verb.
    pub fn verb(&self) -> &'static str {
        match self {
            Self::GoTo(_) => "go to",
            Self::TakeOff(..) | Self::Unfit(_) | Self::UnfitPlug(..) => "take off",
            Self::PutOn(..) => "put on",
            Self::Unplug(_) => "unplug",
            Self::Plug(_) => "plug in",
            Self::Set(..) => "set",
            Self::Bring(_) => "bring about",
            Self::End(_) => "end",
            Self::Fit(_) | Self::FitPlug(..) => "fit",
            Self::Refit(..) => "change",
            Self::Cap(..) => "cap",
            Self::Uncap(..) => "uncap",
        }
    }

    /// What it is done to.
    pub fn target(&self, harness: &Harness) -> String {
        match self {
            Self::GoTo(station) => {
                let station = &harness.stations[*station];
                if station.title.is_empty() { station.id.clone() } else { station.title.clone() }
            }
            Self::TakeOff(battery, post) | Self::PutOn(battery, post) => {
                let post = if *post == Post::Negative { "negative" } else { "positive" };
                format!("{} {post}", harness.parts[*battery].id)
            }
            Self::Unplug(mating) | Self::Plug(mating) => {
                let plug = plug_of(harness, *mating);
                let mate = harness.mate_of(plug).map_or("", |m| harness.connectors[m].id.as_str());
                format!("{} ({} {mate})", harness.connectors[plug].id, self.joint())
            }
            Self::Set(switch, position) => {
                format!("{} to {}", harness.parts[*switch].id, position_name(harness, *switch, *position))
            }
            Self::Bring(condition) | Self::End(condition) => harness.conditions[*condition].title.clone(),
            Self::Fit(strap) | Self::Unfit(strap) => format!("strap {}", list(harness, strap)),
            Self::Refit(from, to) => format!("strap {} to {}", list(harness, from), list(harness, to)),
            Self::FitPlug(connector, joined) | Self::UnfitPlug(connector, joined) => {
                let joined: Vec<String> = joined.iter().map(|strap| list(harness, strap)).collect();
                format!("loopback plug at {} ({})", harness.connectors[*connector].id, joined.join(", "))
            }
            Self::Cap(_, contacts) | Self::Uncap(_, contacts) => {
                let names = contacts.iter().map(|contact| harness.point_name(Point::Contact(*contact)));
                names.collect::<Vec<_>>().join(", ")
            }
        }
    }

    fn joint(&self) -> &'static str {
        if matches!(self, Self::Unplug(_)) { "from" } else { "to" }
    }

    /// Verb and target in one, long rows of contacts by their ends.
    pub fn words(&self, harness: &Harness) -> String {
        match self {
            Self::Fit(strap) => format!("fit a strap on {}", strap.words(harness)),
            Self::Unfit(strap) => format!("take the strap off {}", strap.words(harness)),
            Self::Refit(from, to) => {
                let [off, on] =
                    [only_in(from, to), only_in(to, from)].map(|points| points_words(harness, &points));
                match (off.is_empty(), on.is_empty()) {
                    (_, true) => format!("take {off} out of the strap: it stays on {}", to.words(harness)),
                    (true, _) => format!("take {on} into the strap on {}", from.words(harness)),
                    _ => format!("in the strap change {off} for {on}"),
                }
            }
            Self::FitPlug(connector, joined) => {
                let name = |point: &Point| match point {
                    Point::Contact(id) => harness.contacts[*id].name.clone(),
                    other => harness.point_name(*other),
                };
                let of = |strap: &Strap| strap.points().iter().map(name).collect::<Vec<_>>().join("+");
                let joined: Vec<String> = joined.iter().map(of).collect();
                let connector = &harness.connectors[*connector].id;
                format!("fit a loopback plug at {connector}: it joins {}", joined.join(", "))
            }
            Self::UnfitPlug(connector, _) => {
                format!("take the loopback plug off {}", harness.connectors[*connector].id)
            }
            Self::Cap(_, contacts) | Self::Uncap(_, contacts) => {
                let points: Vec<Point> = contacts.iter().copied().map(Point::Contact).collect();
                format!("{} {}", self.verb(), points_words(harness, &points))
            }
            _ => format!("{} {}", self.verb(), self.target(harness)),
        }
    }
}

/// The points of a strap that another one does not have.
fn only_in(strap: &Strap, other: &Strap) -> Vec<Point> {
    strap.points().iter().copied().filter(|point| !other.holds(*point)).collect()
}

/// All points of a strap, as the command line takes them.
fn list(harness: &Harness, strap: &Strap) -> String {
    strap.names(harness).join("+")
}
