//! The machine's state as a bystander follows it: leads, plugs, switches, conditions, straps and caps.
//!
//! Comes in: one action after the other. Goes out: the state after each, whatever the rules say of it. Why: the
//! rules are judged on what a person would really have done, in the order in which it is written. Nothing here
//! forbids anything, unlike the planner's own states, in which a wrong order cannot be written down.

use std::collections::{BTreeMap, BTreeSet};

use crate::definition::{
    ConditionId, ConnectorId, ContactId, Harness, MatingId, PartId, PartKind, Point, StationId, WireId,
};

/// The points that a strap makes one.
pub(super) type Joined = BTreeSet<Point>;

/// One thing a person does.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Action {
    /// Walk.
    GoTo(StationId),
    /// Take a battery lead off; true for the positive one.
    TakeOff(PartId, bool),
    /// Put it on.
    PutOn(PartId, bool),
    /// Part a mating.
    Unplug(MatingId),
    /// Join it.
    PlugIn(MatingId),
    /// Move a switch.
    Set(PartId, usize),
    /// Bring a condition about.
    Bring(ConditionId),
    /// End it.
    End(ConditionId),
    /// Put a strap on with clips, or a loopback plug on a connector with all that it joins.
    Fit(Option<ConnectorId>, Vec<Joined>),
    /// Take it off.
    Unfit(Option<ConnectorId>, Vec<Joined>),
    /// Move clips of a strap: before and after.
    Refit(Joined, Joined),
    /// Cap contacts.
    Cap(Vec<ContactId>),
    /// Take caps off.
    Uncap(Vec<ContactId>),
    /// A verb that nobody knows.
    Unknown,
}

/// The state of a machine.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct State {
    /// Battery leads that are off: the battery, and whether it is the positive one.
    pub(super) off: BTreeSet<(PartId, bool)>,
    pub(super) parted: BTreeSet<MatingId>,
    /// Switches that are not at rest.
    pub(super) set: BTreeMap<PartId, usize>,
    pub(super) conditions: BTreeSet<ConditionId>,
    /// Straps, each with the connector of the loopback plug that it belongs to.
    pub(super) straps: BTreeMap<Joined, Option<ConnectorId>>,
    pub(super) caps: BTreeSet<ContactId>,
}

/// All batteries.
pub(super) fn batteries(harness: &Harness) -> impl Iterator<Item = PartId> + '_ {
    let battery = |id: &PartId| matches!(harness.parts[*id].kind, PartKind::Battery { .. });
    harness.parts.ids().filter(battery)
}

/// The position in which a switch rests.
pub(super) fn rest(harness: &Harness, switch: PartId) -> usize {
    if let PartKind::Switch { rest, .. } = harness.parts[switch].kind { rest } else { 0 }
}

impl State {
    /// Does it. Says in words why it changes nothing, where it does not.
    pub(super) fn act(&mut self, harness: &Harness, action: &Action) -> Result<(), &'static str> {
        let (changed, else_why) = match action {
            Action::GoTo(_) => (true, ""),
            Action::Unknown => (false, "no such action is known"),
            Action::TakeOff(battery, positive) => {
                (self.off.insert((*battery, *positive)), "that lead is off already")
            }
            Action::PutOn(battery, positive) => {
                (self.off.remove(&(*battery, *positive)), "that lead is on already")
            }
            Action::Unplug(mating) => (self.parted.insert(*mating), "it is unplugged already"),
            Action::PlugIn(mating) => (self.parted.remove(mating), "it is plugged in already"),
            Action::Set(switch, position) => {
                let before = self.position(harness, *switch);
                if *position == rest(harness, *switch) {
                    self.set.remove(switch);
                } else {
                    self.set.insert(*switch, *position);
                }
                (before != *position, "the switch stands there already")
            }
            Action::Bring(condition) => (self.conditions.insert(*condition), "it holds already"),
            Action::End(condition) => (self.conditions.remove(condition), "it does not hold"),
            Action::Fit(plug, straps) => {
                let on = |strap: &Joined| self.straps.insert(strap.clone(), *plug).is_none();
                (every(straps, on), "that strap is on already")
            }
            Action::Unfit(plug, straps) => {
                let off = |strap: &Joined| self.straps.remove(strap) == Some(*plug);
                (every(straps, off), "no such strap is on")
            }
            Action::Refit(from, to) => {
                let was = self.straps.remove(from) == Some(None);
                (was & self.straps.insert(to.clone(), None).is_none(), "no such strap is on")
            }
            Action::Cap(contacts) => (every(contacts, |id| self.caps.insert(*id)), "a cap is on already"),
            Action::Uncap(contacts) => (every(contacts, |id| self.caps.remove(id)), "no cap is on"),
        };
        if changed { Ok(()) } else { Err(else_why) }
    }

    /// The strap that a point is in.
    pub(super) fn strap_on(&self, point: Point) -> Option<&Joined> {
        self.straps.keys().find(|strap| strap.contains(&point))
    }

    /// Whether a loopback plug is on a connector.
    pub(super) fn looped(&self, connector: ConnectorId) -> bool {
        self.straps.values().any(|plug| *plug == Some(connector))
    }

    /// Whether a point is open: a plug that is off or a connector without a mate, and no cap on; terminals.
    pub(super) fn open(&self, harness: &Harness, point: Point) -> bool {
        match point {
            Point::Terminal(_) | Point::Chassis => true,
            Point::Splice(_) => false,
            Point::Contact(id) => !self.mated(harness, id) && !self.caps.contains(&id),
        }
    }

    /// Whether anybody can touch a contact: its plug is off, or it never had a mate and no part sits in it; and no
    /// cap is on.
    pub(super) fn exposed(&self, harness: &Harness, contact: ContactId) -> bool {
        let open = match harness.connectors[harness.contacts[contact].connector].mating {
            Some(mating) => self.parted.contains(&mating),
            None => harness.parts_at(Point::Contact(contact)).len() == 0,
        };
        open && !self.caps.contains(&contact)
    }

    /// Where a switch stands.
    pub(super) fn position(&self, harness: &Harness, switch: PartId) -> usize {
        self.set.get(&switch).copied().unwrap_or_else(|| rest(harness, switch))
    }

    /// Whether a condition holds, if there is one.
    pub(super) fn holds(&self, condition: Option<ConditionId>) -> bool {
        condition.is_none_or(|condition| self.conditions.contains(&condition))
    }

    /// Whether both leads of a battery are on.
    pub(super) fn feeds(&self, battery: PartId) -> bool {
        [true, false].iter().all(|post| !self.off.contains(&(battery, *post)))
    }

    /// A source that can feed the machine: a battery with both leads on, or an alternator that turns.
    pub(super) fn source(&self, harness: &Harness) -> Option<PartId> {
        let feeds = |id: &PartId| match harness.parts[*id].kind {
            PartKind::Battery { .. } => self.feeds(*id),
            PartKind::Alternator { when: Some(when), .. } => self.conditions.contains(&when),
            _ => false,
        };
        harness.parts.ids().find(feeds)
    }

    /// A battery lead that is on.
    pub(super) fn lead_on(&self, harness: &Harness) -> Option<(PartId, bool)> {
        let leads = batteries(harness).flat_map(|battery| [(battery, false), (battery, true)]);
        leads.into_iter().find(|lead| !self.off.contains(lead))
    }

    /// Why power is not isolated: what feeds, or a lead that is on; `None` where it is.
    pub(super) fn not_isolated(&self, harness: &Harness) -> Option<String> {
        let source =
            self.source(harness).filter(|id| !matches!(harness.parts[*id].kind, PartKind::Battery { .. }));
        let lead = self.lead_on(harness).map(|lead| format!("{} is on", lead_name(harness, lead)));
        lead.or_else(|| source.map(|id| format!("{} turns", harness.parts[id].id)))
    }

    /// What draws current, or may: a switch away from rest, or a condition that needs power.
    pub(super) fn load(&self, harness: &Harness) -> Option<String> {
        let switch = self.set.keys().next().map(|id| format!("{} is away from rest", harness.parts[*id].id));
        let needs = |id: &&ConditionId| harness.conditions[**id].needs_power;
        let condition = || self.conditions.iter().find(needs);
        switch.or_else(|| condition().map(|id| format!("{} holds", harness.conditions[*id].title)))
    }

    /// Whether the connector of a contact is mated.
    pub(super) fn mated(&self, harness: &Harness, contact: ContactId) -> bool {
        let mating = harness.connectors[harness.contacts[contact].connector].mating;
        mating.is_some_and(|mating| !self.parted.contains(&mating))
    }

    /// The unit that a contact leads into, if it is connected to the harness.
    pub(super) fn connected_unit(&self, harness: &Harness, point: Point) -> Option<PartId> {
        let unit = harness.unit_behind(point)?;
        let Point::Contact(contact) = point else { return None };
        let loose = harness.connectors[harness.contacts[contact].connector].mating.is_none();
        (loose || self.mated(harness, contact)).then_some(unit)
    }
}

/// Whether something holds of each, all of which are tried.
fn every<T>(all: &[T], mut holds: impl FnMut(&T) -> bool) -> bool {
    all.iter().fold(true, |so_far, one| holds(one) & so_far)
}

/// The names of the points of a strap.
pub(super) fn strap_name(harness: &Harness, strap: &Joined) -> String {
    strap.iter().map(|point| harness.point_name(*point)).collect::<Vec<_>>().join("+")
}

/// A battery lead in words.
pub(super) fn lead_name(harness: &Harness, (battery, positive): (PartId, bool)) -> String {
    format!("{} {}", harness.parts[battery].id, if positive { "positive" } else { "negative" })
}

/// What at a point is marked as a hazard: its connector, a wire that ends there, or a part.
pub(super) fn hazard(harness: &Harness, point: Point) -> Option<String> {
    if let Point::Contact(contact) = point {
        let connector = &harness.connectors[harness.contacts[contact].connector];
        if connector.hazard.is_some() {
            return Some(connector.id.clone());
        }
    }
    let wire = |id: &WireId| harness.wires[*id].hazard.is_some();
    let part = |id: &PartId| harness.parts[*id].hazard.is_some();
    let wire = harness.wires_at(point).find(wire).map(|id| harness.wires[id].id.clone());
    wire.or_else(|| harness.parts_at(point).find(part).map(|id| harness.parts[id].id.clone()))
}
