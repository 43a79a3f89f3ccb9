//! The actions that lead from one setup to another, in the one order that is safe.
//!
//! Power comes off before anything is parted or mated, the negative lead first; it goes back on with
//! the switches at rest, the negative lead last. The walk below holds a setup of the type that each
//! action needs, so a wrong order does not compile. Straps come off before anything else is done and go on
//! last; caps go on once the plugs are off, before power, and come off before anything is plugged in.

use std::collections::BTreeMap;

use super::strap::{InHand, in_hand};
use super::{Action, Connected, Isolated, Post, Setup, Strap, Strapped, batteries, plug_of};
use crate::definition::{
    ConditionId, ConnectorId, ContactId, Harness, MatingId, PartId, PartKind, StationId,
};

/// The actions that lead from one setup to another.
///
/// Cost: linear in what differs, plus one look at every battery.
pub fn transition(harness: &Harness, from: &Setup, to: &Setup) -> Vec<Action> {
    rounds(harness, from, to).into_iter().flatten().collect()
}

/// The same in rounds: one round after the other, but within a round in any order, for instance as the person
/// stands. What leads from power connected to power isolated, or back, is never in one round.
pub fn rounds(harness: &Harness, from: &Setup, to: &Setup) -> Vec<Vec<Action>> {
    let mut walk = Walk { harness, rounds: vec![Vec::new()] };
    let rewire = !from.parted().eq(to.parted()) || !from.capped().eq(to.capped());
    match (from.clone(), to) {
        (Setup::Connected(now), Setup::Connected(_)) if !rewire => {
            walk.powered(now, to);
        }
        (Setup::Connected(now), _) => {
            let resting = walk_to_rest(&mut walk, now);
            let now = walk.isolate(resting);
            walk.isolated_to(now, to);
        }
        (Setup::Isolated(now), _) => walk.isolated_to(now, to),
        (Setup::Strapped(now), Setup::Strapped(then)) if now.state == then.state => walk.restrap(now, then),
        (Setup::Strapped(now), _) => {
            walk.unstrap(in_hand(harness, now.straps()));
            walk.isolated_to(now.clear(), to);
        }
    }
    walk.rounds.retain(|round| !round.is_empty());
    walk.rounds
}

/// Switches go to rest before power goes off, so that no lead is taken off under load.
fn walk_to_rest(walk: &mut Walk<'_>, now: Connected) -> Connected {
    let setup = Setup::from(now.clone());
    let mut now = now;
    for condition in setup.conditions().filter(|c| walk.harness.conditions[*c].needs_power) {
        walk.push(Action::End(condition));
        now = now.end(condition);
    }
    walk.then();
    for (switch, _) in setup.set() {
        let rest = rest_of(walk.harness, switch);
        walk.push(Action::Set(switch, rest));
        now = now.set(walk.harness, switch, rest);
    }
    now
}

struct Walk<'a> {
    harness: &'a Harness,
    rounds: Vec<Vec<Action>>,
}

impl Walk<'_> {
    fn push(&mut self, action: Action) {
        if let Some(round) = self.rounds.last_mut() {
            round.push(action);
        }
    }

    /// What follows comes after all that went before.
    fn then(&mut self) {
        self.rounds.push(Vec::new());
    }

    fn isolate(&mut self, now: Connected) -> Isolated {
        for post in [Post::Negative, Post::Positive] {
            self.rounds.push(batteries(self.harness).map(|battery| Action::TakeOff(battery, post)).collect());
        }
        self.then();
        now.isolate(self.harness)
    }

    fn connect(&mut self, now: Isolated) -> Connected {
        for post in [Post::Positive, Post::Negative] {
            self.rounds.push(batteries(self.harness).map(|battery| Action::PutOn(battery, post)).collect());
        }
        self.then();
        now.connect()
    }

    fn isolated_to(&mut self, now: Isolated, to: &Setup) {
        let mut now = now;
        let before = Setup::from(now.clone());
        let off = before.capped().filter(|contact| to.capped().all(|other| other != *contact));
        for (connector, contacts) in self.by_connector(off) {
            now = contacts.iter().fold(now, |now, contact| now.uncap(*contact));
            self.push(Action::Uncap(connector, contacts));
        }
        self.then();
        let unplug: Vec<MatingId> = to.parted().filter(|m| !before.is_parted(*m)).collect();
        let plug: Vec<MatingId> = before.parted().filter(|m| !to.is_parted(*m)).collect();
        for mating in self.by_station(unplug) {
            self.push(Action::Unplug(mating));
            now = now.part(mating);
        }
        for mating in self.by_station(plug) {
            self.push(Action::Plug(mating));
            now = now.mate(mating);
        }
        let on = self.by_connector(to.capped().filter(|c| before.capped().all(|other| other != *c)));
        if !on.is_empty() {
            // A contact is open to be capped only when its plug is off.
            self.then();
        }
        for (connector, contacts) in on {
            now = contacts.iter().fold(now, |now, contact| now.cap(self.harness, *contact));
            self.push(Action::Cap(connector, contacts));
        }
        match to {
            Setup::Isolated(_) => {
                self.unpowered(now, to);
            }
            Setup::Strapped(then) => {
                let now = self.unpowered(now, &to.bare());
                self.strap(now.into(), in_hand(self.harness, then.straps()), to);
            }
            Setup::Connected(_) => {
                for (switch, _) in Setup::from(now.clone()).set() {
                    let rest = rest_of(self.harness, switch);
                    self.push(Action::Set(switch, rest));
                    now = now.set(self.harness, switch, rest);
                }
                let now = self.connect(now);
                self.powered(now, to);
            }
        }
    }

    /// Plugs of one station together, stations in the order in which they first come: no way is walked twice.
    fn by_station(&self, matings: Vec<MatingId>) -> Vec<MatingId> {
        let station = |mating: MatingId| self.harness.connectors[plug_of(self.harness, mating)].station;
        let mut order: BTreeMap<Option<StationId>, usize> = BTreeMap::new();
        for (at, mating) in matings.iter().enumerate() {
            order.entry(station(*mating)).or_insert(at);
        }
        let mut sorted = matings;
        sorted.sort_by_key(|mating| order.get(&station(*mating)).copied());
        sorted
    }

    /// Contacts of one connector together.
    fn by_connector(
        &self,
        contacts: impl Iterator<Item = ContactId>,
    ) -> BTreeMap<ConnectorId, Vec<ContactId>> {
        let mut all: BTreeMap<ConnectorId, Vec<ContactId>> = BTreeMap::new();
        for contact in contacts {
            all.entry(self.harness.contacts[contact].connector).or_default().push(contact);
        }
        all
    }

    /// Takes straps off, each loopback plug in one.
    fn unstrap(&mut self, (plugs, clips): InHand) {
        let clips = clips.into_iter().map(Action::Unfit);
        let plugs = plugs.into_iter().map(|(id, joined)| Action::UnfitPlug(id, joined));
        for action in clips.chain(plugs) {
            self.push(action);
        }
        self.then();
    }

    /// Puts straps on, each loopback plug in one.
    fn strap(&mut self, now: Setup, (plugs, clips): InHand, to: &Setup) {
        self.then();
        let straps: Vec<Strap> = plugs.values().flatten().chain(&clips).cloned().collect();
        let plugs = plugs.into_iter().map(|(id, joined)| Action::FitPlug(id, joined));
        let clips = clips.into_iter().map(Action::Fit);
        for action in plugs.chain(clips) {
            self.push(action);
        }
        let fitted = straps.into_iter().try_fold(now, |now, strap| now.fit(self.harness, strap));
        debug_assert_eq!(fitted.as_ref(), Ok(to), "the walk ends where it should");
    }

    /// From straps to other straps with the fewest clips moved: a strap that shares points with a new one is
    /// changed into it. What leaves comes off everywhere before anything goes on, so no point is ever in two.
    fn restrap(&mut self, now: Strapped, then: &Strapped) {
        let mut now = Setup::from(now);
        let to = Setup::from(then.clone());
        let (all_old_plugs, all_old) = in_hand(self.harness, now.straps());
        let (mut new_plugs, mut new) = in_hand(self.harness, to.straps());
        let (mut old_plugs, mut old) = (all_old_plugs.clone(), all_old.clone());
        // What is taken in hand alike before and after stays.
        old_plugs.retain(|connector, joined| new_plugs.get(connector) != Some(joined));
        new_plugs.retain(|connector, joined| all_old_plugs.get(connector) != Some(joined));
        old.retain(|strap| !new.contains(strap));
        new.retain(|strap| !all_old.contains(strap));
        let mut grow: Vec<(Strap, Strap)> = Vec::new();
        let mut shrink: Vec<(Strap, Strap)> = Vec::new();
        while let Some((from, into, kept)) = self.best_match(&old, &new) {
            let (from, into) = (old.remove(from), new.remove(into));
            shrink.extend((kept != from).then(|| (from, kept.clone())));
            grow.extend((kept != into).then_some((kept, into)));
        }
        for strap in old_plugs.values().flatten().chain(&old) {
            now = unfit(now, strap);
        }
        self.unstrap((old_plugs, old));
        for (from, kept) in shrink {
            now = self.refit(now, from, kept);
        }
        self.then();
        for (kept, into) in grow {
            now = self.refit(now, kept, into);
        }
        self.strap(now, (new_plugs, new), &to);
    }

    fn refit(&mut self, now: Setup, from: Strap, into: Strap) -> Setup {
        let changed = unfit(now.clone(), &from).fit(self.harness, into.clone());
        debug_assert!(changed.is_ok(), "a strap is changed into one that goes on");
        self.push(Action::Refit(from, into));
        changed.unwrap_or(now)
    }

    /// The old and the new strap that share most, with what they share; `None` where none share two points.
    fn best_match(&self, old: &[Strap], new: &[Strap]) -> Option<(usize, usize, Strap)> {
        let mut best: Option<(usize, usize, Strap)> = None;
        for (at, from) in old.iter().enumerate() {
            for (to, into) in new.iter().enumerate() {
                let shared = from.points().iter().copied().filter(|point| into.holds(*point));
                let Ok(kept) = Strap::new(self.harness, shared) else { continue };
                let more = best.as_ref().is_none_or(|(.., known)| kept.points().len() > known.points().len());
                if more {
                    best = Some((at, to, kept));
                }
            }
        }
        best
    }

    /// Switches and conditions with power isolated.
    fn unpowered(&mut self, now: Isolated, to: &Setup) -> Isolated {
        let mut now = now;
        for (switch, position) in self.moves(&now.clone().into(), to) {
            self.push(Action::Set(switch, position));
            now = now.set(self.harness, switch, position);
        }
        self.then();
        let (end, bring) = changes(&now.clone().into(), to);
        for condition in end {
            self.push(Action::End(condition));
            now = now.end(condition);
        }
        for condition in bring {
            self.push(Action::Bring(condition));
            now = now.bring(self.harness, condition);
        }
        debug_assert_eq!(&Setup::from(now.clone()), to, "the walk ends where it should");
        now
    }

    /// Switches and conditions with power connected.
    fn powered(&mut self, now: Connected, to: &Setup) {
        let mut now = now;
        let (end, bring) = changes(&now.clone().into(), to);
        for condition in end {
            self.push(Action::End(condition));
            now = now.end(condition);
        }
        self.then();
        let moves = self.moves(&now.clone().into(), to);
        let at_rest = |(switch, position): &(PartId, usize)| *position == rest_of(self.harness, *switch);
        let (back, there): (Vec<_>, Vec<_>) = moves.into_iter().partition(at_rest);
        // What goes to rest does so before anything else is switched on.
        for moves in [back, there] {
            for (switch, position) in moves {
                self.push(Action::Set(switch, position));
                now = now.set(self.harness, switch, position);
            }
            self.then();
        }
        for condition in bring {
            self.push(Action::Bring(condition));
            now = now.bring(condition);
        }
        debug_assert_eq!(&Setup::from(now), to, "the walk ends where it should");
    }

    /// The switches that stand elsewhere, with where they should stand; those that go to rest first.
    fn moves(&self, now: &Setup, to: &Setup) -> Vec<(PartId, usize)> {
        let back = now.set().filter(|(switch, _)| to.set().all(|(other, _)| other != *switch));
        let back = back.map(|(switch, _)| (switch, rest_of(self.harness, switch)));
        let there = to.set().filter(|(switch, position)| now.position(self.harness, *switch) != *position);
        back.chain(there).collect()
    }
}

/// Without a strap, whether others stay or not.
fn unfit(now: Setup, strap: &Strap) -> Setup {
    match now {
        Setup::Strapped(now) => now.unfit(strap),
        other => other,
    }
}

/// Conditions to end and conditions to bring about.
fn changes(now: &Setup, to: &Setup) -> (Vec<ConditionId>, Vec<ConditionId>) {
    let end = now.conditions().filter(|c| !to.holds(*c)).collect();
    let bring = to.conditions().filter(|c| !now.holds(*c)).collect();
    (end, bring)
}

fn rest_of(harness: &Harness, switch: PartId) -> usize {
    match &harness.parts[switch].kind {
        PartKind::Switch { rest, .. } => *rest,
        _ => 0,
    }
}
