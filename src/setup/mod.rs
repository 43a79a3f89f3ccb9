//! The state of the machine while a reading is taken, and how it may change.
//!
//! Comes in: a harness. Goes out: setups, and the actions that lead from one to another. Why: the
//! safety rules on mating and power are rules about changes, so they are built into the types: only
//! an [`Isolated`] setup has `part` and `mate`, only [`Isolated::connect`] and [`Connected::isolate`]
//! switch power, and nothing else makes one from the other. A [`Strapped`] setup can do nothing of all that
//! before its straps are off.

mod action;
mod effort;
mod explore;
mod strap;
mod transition;

pub use action::{Action, Post};
pub use effort::{EFFORTS, Effort, READING_SECONDS, usual};
pub use explore::{Move, combinations, moves};
pub use strap::{Place, Strap, Strapped, hazard_at};
pub use transition::{rounds, transition};

use std::collections::{BTreeMap, BTreeSet};

use strap::Cap;

use crate::definition::{ConditionId, ConnectorId, Harness, Id, MatingId, PartId, PartKind, Point};
use crate::netlist::{Link, LinkId, Netlist, PartWay};

/// Whether the machine's sources can feed it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Power {
    /// Both leads of every battery are off.
    Isolated,
    /// Every battery is connected.
    Connected,
}

impl Power {
    /// As a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Isolated => "isolated",
            Self::Connected => "connected",
        }
    }

    /// From the word it is written as.
    pub fn parse(text: &str) -> Option<Self> {
        [Self::Isolated, Self::Connected].into_iter().find(|power| power.word() == text)
    }
}

/// What does not depend on power: which matings are parted, where the switches stand, what holds.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
struct State {
    parted: BTreeSet<MatingId>,
    /// Switches that are not at rest.
    set: BTreeMap<PartId, usize>,
    conditions: BTreeSet<ConditionId>,
    caps: BTreeSet<Cap>,
}

/// A setup with power isolated: connectors may be parted and mated.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Isolated(State);

/// A setup with power connected: nothing is parted or mated.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Connected(State);

impl Isolated {
    /// All mated, all at rest.
    pub fn at_rest() -> Self {
        Self::default()
    }

    /// Parts a mating.
    #[must_use]
    pub fn part(mut self, mating: MatingId) -> Self {
        self.0.parted.insert(mating);
        self
    }

    /// Joins a mating; caps on its contacts come off first.
    #[must_use]
    pub fn mate(mut self, mating: MatingId) -> Self {
        self.0.caps.retain(|cap| cap.mating != Some(mating));
        self.0.parted.remove(&mating);
        self
    }

    /// Puts a switch into a position.
    #[must_use]
    pub fn set(mut self, harness: &Harness, switch: PartId, position: usize) -> Self {
        self.0.set(harness, switch, position);
        self
    }

    /// Brings a condition about that does not need power; others are left alone.
    #[must_use]
    pub fn bring(mut self, harness: &Harness, condition: ConditionId) -> Self {
        if !harness.conditions[condition].needs_power {
            self.0.conditions.insert(condition);
        }
        self
    }

    /// Ends a condition.
    #[must_use]
    pub fn end(mut self, condition: ConditionId) -> Self {
        self.0.conditions.remove(&condition);
        self
    }

    /// Connects power: positive leads first, negative leads last.
    pub fn connect(self) -> Connected {
        Connected(self.0)
    }
}

impl Connected {
    /// The machine as it is found: all mated, all at rest, power connected.
    pub fn as_found() -> Self {
        Isolated::at_rest().connect()
    }

    /// Puts a switch into a position.
    #[must_use]
    pub fn set(mut self, harness: &Harness, switch: PartId, position: usize) -> Self {
        self.0.set(harness, switch, position);
        self
    }

    /// Brings a condition about.
    #[must_use]
    pub fn bring(mut self, condition: ConditionId) -> Self {
        self.0.conditions.insert(condition);
        self
    }

    /// Ends a condition.
    #[must_use]
    pub fn end(mut self, condition: ConditionId) -> Self {
        self.0.conditions.remove(&condition);
        self
    }

    /// Isolates power: negative leads first. What needs power no longer holds.
    pub fn isolate(mut self, harness: &Harness) -> Isolated {
        self.0.conditions.retain(|condition| !harness.conditions[*condition].needs_power);
        Isolated(self.0)
    }
}

impl State {
    fn set(&mut self, harness: &Harness, switch: PartId, position: usize) {
        let PartKind::Switch { rest, positions } = &harness.parts[switch].kind else { return };
        if position == *rest || position >= positions.len() {
            self.set.remove(&switch);
        } else {
            self.set.insert(switch, position);
        }
    }
}

/// The state of the machine while a reading is taken.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Setup {
    /// Power isolated.
    Isolated(Isolated),
    /// Power connected.
    Connected(Connected),
    /// Power isolated, straps fitted.
    Strapped(Strapped),
}

impl From<Isolated> for Setup {
    fn from(setup: Isolated) -> Self {
        Self::Isolated(setup)
    }
}

impl From<Connected> for Setup {
    fn from(setup: Connected) -> Self {
        Self::Connected(setup)
    }
}

/// Why a setup cannot be as described.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SetupError {
    /// Nothing to unplug there.
    #[error("{0} has no mate: there is nothing to unplug")]
    NoMate(String),
    /// Not a switch.
    #[error("{0} is not a switch")]
    NotASwitch(String),
    /// A condition that power must be connected for.
    #[error("\"{0}\" can hold only with power connected")]
    NeedsPower(String),
    /// Straps on a machine that is not isolated.
    #[error("straps are fitted with power isolated only: power would find a short circuit")]
    StrapWithPower,
    /// A strap that joins nothing.
    #[error("a strap joins two contacts or terminals at least")]
    StrapOfOne,
    /// A strap between places.
    #[error("{0} is at another place: a strap joins what is at one station")]
    StrapTooLong(String),
    /// A point that is in two straps.
    #[error("{0} is in two straps: write them as one")]
    TwoStraps(String),
    /// Nothing may be joined there.
    #[error("no strap goes on {point}: {why}")]
    NoStrap {
        /// The point.
        point: String,
        /// Why not.
        why: String,
    },
}

impl Setup {
    /// The machine as a record describes it.
    ///
    /// # Errors
    /// Says which part of the description cannot be.
    pub fn described(
        harness: &Harness,
        power: Power,
        unplugged: &[ConnectorId],
        set: &[(PartId, usize)],
        conditions: &[ConditionId],
    ) -> Result<Self, SetupError> {
        let mut state = State::default();
        for id in unplugged {
            let connector = &harness.connectors[*id];
            let mating = connector.mating.ok_or_else(|| SetupError::NoMate(connector.id.clone()))?;
            state.parted.insert(mating);
        }
        for (switch, position) in set {
            let part = &harness.parts[*switch];
            if !matches!(part.kind, PartKind::Switch { .. }) {
                return Err(SetupError::NotASwitch(part.id.clone()));
            }
            state.set(harness, *switch, *position);
        }
        for id in conditions {
            let condition = &harness.conditions[*id];
            if condition.needs_power && power == Power::Isolated {
                return Err(SetupError::NeedsPower(condition.title.clone()));
            }
            state.conditions.insert(*id);
        }
        Ok(match power {
            Power::Isolated => Self::Isolated(Isolated(state)),
            Power::Connected => Self::Connected(Connected(state)),
        })
    }

    fn state(&self) -> &State {
        match self {
            Self::Isolated(Isolated(state))
            | Self::Connected(Connected(state))
            | Self::Strapped(Strapped { state, .. }) => state,
        }
    }

    /// Whether the sources can feed the machine.
    pub fn power(&self) -> Power {
        match self {
            Self::Isolated(_) | Self::Strapped(_) => Power::Isolated,
            Self::Connected(_) => Power::Connected,
        }
    }

    /// The matings that are parted, in order.
    pub fn parted(&self) -> impl ExactSizeIterator<Item = MatingId> + '_ {
        self.state().parted.iter().copied()
    }

    /// Whether a mating is parted.
    pub fn is_parted(&self, mating: MatingId) -> bool {
        self.state().parted.contains(&mating)
    }

    /// The switches that are not at rest, with their positions.
    pub fn set(&self) -> impl ExactSizeIterator<Item = (PartId, usize)> + '_ {
        self.state().set.iter().map(|(switch, position)| (*switch, *position))
    }

    /// Where a switch stands.
    pub fn position(&self, harness: &Harness, switch: PartId) -> usize {
        let rest = || match &harness.parts[switch].kind {
            PartKind::Switch { rest, .. } => *rest,
            _ => 0,
        };
        self.state().set.get(&switch).copied().unwrap_or_else(rest)
    }

    /// The conditions that hold, in order.
    pub fn conditions(&self) -> impl ExactSizeIterator<Item = ConditionId> + '_ {
        self.state().conditions.iter().copied()
    }

    /// Whether a condition holds.
    pub fn holds(&self, condition: ConditionId) -> bool {
        self.state().conditions.contains(&condition)
    }

    /// Whether a link is conductor and joined in this setup: the rule that makes nets.
    pub fn joins(&self, netlist: &Netlist, link: LinkId) -> bool {
        match netlist.link(link) {
            Link::Wire(_) | Link::Bond(_) => true,
            Link::Mated { mating, .. } => !self.is_parted(mating),
            Link::Part(..) => false,
        }
    }

    /// Whether a link can carry an ohmmeter's current, with relays released and units unknown.
    pub fn passes_ohmmeter(&self, netlist: &Netlist, harness: &Harness, link: LinkId) -> bool {
        let Link::Part(part, way) = netlist.link(link) else { return self.joins(netlist, link) };
        match way {
            PartWay::Through => self.load_conducts(harness, part),
            PartWay::Switch(pair) => netlist.closed_in(part, pair).contains(&self.position(harness, part)),
            PartWay::Coil | PartWay::Released => true,
            PartWay::Operated | PartWay::Diode | PartWay::Source | PartWay::Drive(_) => false,
        }
    }

    /// Whether a two-ended part conducts: a sensor may wait for its condition.
    pub fn load_conducts(&self, harness: &Harness, part: PartId) -> bool {
        match &harness.parts[part].kind {
            PartKind::Load { when: Some(condition), .. } => self.holds(*condition),
            _ => true,
        }
    }

    /// Whether a probe can touch a point: an open contact, a contact that can be probed from behind,
    /// a terminal or the chassis. A splice is under its sleeve.
    pub fn can_probe(&self, harness: &Harness, point: Point) -> bool {
        match point {
            Point::Terminal(_) | Point::Chassis => true,
            Point::Splice(_) => false,
            Point::Contact(id) => {
                let connector = &harness.connectors[harness.contacts[id].connector];
                let open = connector.mating.is_none_or(|mating| self.is_parted(mating));
                (open && !self.state().is_capped(id)) || connector.backprobe
            }
        }
    }

    /// In words: "power isolated; P1, P2 unplugged; S1 at run".
    pub fn words(&self, harness: &Harness) -> String {
        let mut words = vec![format!("power {}", self.power().word())];
        let parted: Vec<&str> = self.unplugged(harness).map(|c| harness.connectors[c].id.as_str()).collect();
        if !parted.is_empty() {
            words.push(format!("{} unplugged", parted.join(", ")));
        }
        for (switch, position) in self.set() {
            words.push(format!(
                "{} at {}",
                harness.parts[switch].id,
                position_name(harness, switch, position)
            ));
        }
        words.extend(self.conditions().map(|c| harness.conditions[c].title.clone()));
        let (plugs, clips) = strap::in_hand(harness, self.straps());
        words.extend(plugs.keys().map(|id| format!("loopback plug at {}", harness.connectors[*id].id)));
        words.extend(clips.iter().map(|strap| format!("strap on {}", strap.words(harness))));
        let capped: Vec<Point> = self.capped().map(Point::Contact).collect();
        if !capped.is_empty() {
            words.push(format!("caps on {}", strap::points_words(harness, &capped)));
        }
        words.join("; ")
    }

    /// The connector that names each parted mating: the one on the loom, not the one on a part.
    pub fn unplugged<'a>(&'a self, harness: &'a Harness) -> impl Iterator<Item = ConnectorId> + 'a {
        self.parted().map(|mating| plug_of(harness, mating))
    }
}

/// The connector that a person takes hold of to part a mating: the one that does not sit on a part,
/// or else the one defined first.
pub fn plug_of(harness: &Harness, mating: MatingId) -> ConnectorId {
    let mating = &harness.matings[mating];
    let on_part = |id: ConnectorId| harness.connectors[id].part.is_some();
    if on_part(mating.first) && !on_part(mating.second) { mating.second } else { mating.first }
}

/// The name of a switch position.
pub fn position_name(harness: &Harness, switch: PartId, position: usize) -> &str {
    match &harness.parts[switch].kind {
        PartKind::Switch { positions, .. } => positions.get(position).map_or("", |p| p.name.as_str()),
        _ => "",
    }
}

/// All switches with the number of their positions and their rest.
pub fn switches(harness: &Harness) -> impl Iterator<Item = (PartId, usize, usize)> + '_ {
    harness.parts.iter().filter_map(|(id, part)| match &part.kind {
        PartKind::Switch { rest, positions } => Some((id, positions.len(), *rest)),
        _ => None,
    })
}

/// All batteries.
pub fn batteries(harness: &Harness) -> impl Iterator<Item = PartId> + '_ {
    let battery = |(id, part): (PartId, &crate::definition::Part)| {
        matches!(part.kind, PartKind::Battery { .. }).then_some(id)
    };
    harness.parts.iter().filter_map(battery)
}

/// A stable order for tables of setups: by what is parted, then power, then the rest.
pub fn order_key(setup: &Setup) -> (Vec<usize>, Power) {
    (setup.parted().map(Id::index).collect(), setup.power())
}
