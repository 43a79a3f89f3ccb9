//! What straps and loopback plugs save a person with two probes.
//!
//! Comes in: the readings of the setup in which paths are read, and what is at hand. Goes out: those that are still
//! needed as they are, and phases with straps that stand for the others. Why: to prove n wires apart from each
//! other takes n (n − 1) / 2 readings pair by pair, but n − 1 with the rest strapped together (each wire in turn against
//! all that follow, as CV Electrical Power System Maintenance Manual 2A5A2-ELEC-MM-1-0 section 6.3 has it), and
//! ⌈log₂ n⌉ where half of them is strapped against the other half (Kautz 1974); and a loopback plug at the far end
//! puts two wires in series, which one person reads from the near end.
//!
//! Nothing is taken on trust: each phase with straps is solved, every fault is put into it, and a reading that shows
//! something that no reading with straps does stays in the plan. A short between two wires that a loopback joins is
//! hidden there, and so are two of its wires exchanged: then their own readings stay.
//!
//! Cost: a factorisation for each setup with straps and each corner; as many fault solutions as for the phase itself.

mod groups;
mod loops;

use std::collections::{BTreeMap, BTreeSet};

use super::instrument::{Choice, Meters};
use super::select::{Chosen, Selection};
use super::{Draft, Look, OneByOne, Plan};
use crate::definition::{Harness, Kind, PartId, Point};
use crate::fault::{Fault, Universe};
use crate::measure::{Measurement, Situation};
use crate::setup::{Action, Place, READING_SECONDS, Setup, transition};
use crate::units::Seconds;

/// What a person has beside two probes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Aids {
    /// Straps with clips: one contact against the strapped rest.
    pub straps: bool,
    /// Straps that may be moved about as well, where only detection is wanted: half against half.
    pub groupings: bool,
    /// Loopback plugs.
    pub loopback: bool,
}

/// A word that names no aid.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("no aid is called `{0}`: straps, groupings (straps, for detection only) or loopback")]
pub struct UnknownAid(String);

impl Aids {
    /// From the words they are asked for with.
    ///
    /// # Errors
    /// The first word that names none.
    pub fn parse<'a>(words: impl IntoIterator<Item = &'a str>) -> Result<Self, UnknownAid> {
        let mut aids = Self::default();
        for word in words {
            match word {
                "straps" => aids.straps = true,
                "groupings" => aids.groupings = true,
                "loopback" => aids.loopback = true,
                other => return Err(UnknownAid(other.to_owned())),
            }
        }
        Ok(aids)
    }

    /// Whether there is any.
    pub fn any(self) -> bool {
        self.straps || self.groupings || self.loopback
    }
}

/// What straps and loopback plugs make of a plan.
#[derive(Debug, Clone, Default)]
pub struct Aided {
    /// Isolation of groups.
    pub groups: Vec<Group>,
    /// Continuity through loopback plugs.
    pub loops: Vec<Loop>,
    /// Readings that were replaced at first and stay because they alone show some fault.
    pub kept: usize,
    /// The fewest readings with straps that could stand for those that they replace.
    pub bound: usize,
    /// Terminals that can be probed in the largest net, and nets: what a tester with a point at every terminal counts.
    pub clusters: [usize; 2],
    /// Readings whose probes are at two places: a long lead, or a second person.
    pub far: usize,
    /// The same plan without aids.
    pub without: Without,
}

/// A plan without aids, to hold one with aids against.
#[derive(Debug, Clone, Copy, Default)]
pub struct Without {
    /// Readings.
    pub steps: usize,
    /// Setup changes.
    pub changes: usize,
    /// Time in all.
    pub seconds: Seconds,
    /// Readings whose probes are at two places.
    pub far: usize,
}

/// Nets that are proven apart with straps at one place.
#[derive(Debug, Clone)]
pub struct Group {
    /// Where the straps are.
    pub place: Place,
    /// How many nets, the chassis among them where it is.
    pub nets: usize,
    /// The readings that they replace.
    pub pairs: usize,
    /// The readings with straps.
    pub tests: usize,
    /// The fewest that could prove the same, whatever is strapped: ⌈log₂⌉ of nets that can all touch each other.
    pub bound: usize,
    /// Whether half is tested against half.
    pub halves: bool,
}

/// Wires that are read in series through a loopback plug.
#[derive(Debug, Clone)]
pub struct Loop {
    /// The connector it is on.
    pub connector: crate::definition::ConnectorId,
    /// How many wires it joins.
    pub wires: usize,
    /// The readings that it replaces.
    pub replaced: usize,
    /// The readings through it.
    pub tests: usize,
}

/// What to do when a group reads bad.
pub const SPLIT: &str = "A reading with a strap is bad: take the strap off and read the red contact against each of \
    its contacts alone, pair by pair, until the bad one is found.";

/// What to do when a loop reads bad.
pub const SPLIT_LOOP: &str = "A reading through a loopback plug is bad: take the plug off and read each of its wires \
    alone, from end to end.";

/// Time to lay out a lead to another place, or to call someone there: common practice, no source.
const LONG_LEAD: f64 = 60.0;

/// A reading that is wanted with straps.
#[derive(Debug, Clone)]
pub(super) struct Asked {
    pub kind: Kind,
    pub red: Point,
    pub black: Point,
    pub purpose: &'static str,
}

/// The readings of a phase with straps.
pub(super) fn selection(situation: &Situation<'_>, asked: &[Asked]) -> Selection {
    let take = |asked: &Asked| {
        let measurement = situation.measure(asked.kind, asked.red, asked.black).ok()?;
        Some(Chosen { measurement, purpose: asked.purpose.to_owned(), moved: None::<PartId> })
    };
    // Their bound is not one each: it is that of the whole group, [`Aided::bound`].
    Selection { chosen: asked.iter().filter_map(take).collect(), bound: 0 }
}

/// Phases with straps that could stand for some readings.
struct Proposal {
    /// Places among the readings.
    replaced: Vec<usize>,
    phases: Vec<(Setup, Vec<Asked>)>,
    title: &'static str,
    /// The fewest readings that could do the same.
    bound: usize,
}

/// The readings of one setup, and what is known of replacing some of them.
pub(super) struct Trial<'a> {
    situation: &'a Situation<'a>,
    universe: &'a Universe,
    meters: &'a Meters,
}

/// What one reading shows with the meter it gets.
struct Shown {
    faults: BTreeSet<Fault>,
    meter: &'static str,
    /// Whether the maker demands it: then nothing stands for it.
    demanded: bool,
}

impl<'a> Trial<'a> {
    pub(super) fn new(situation: &'a Situation<'a>, universe: &'a Universe, meters: &'a Meters) -> Self {
        Self { situation, universe, meters }
    }

    /// Takes readings out of a selection and gives back the phases that stand for them.
    pub(super) fn aid(&self, aids: Aids, selection: &mut Selection) -> (Vec<Draft>, Aided) {
        let measurements: Vec<Measurement> =
            selection.chosen.iter().map(|chosen| chosen.measurement.clone()).collect();
        let shown = self.shown(self.situation, &measurements);
        let mut bench = Bench {
            trial: self,
            kept: vec![true; measurements.len()],
            measurements,
            shown,
            by_straps: BTreeSet::new(),
            drafts: Vec::new(),
            aided: Aided { clusters: self.clusters(), ..Aided::default() },
        };
        if aids.loopback {
            loops::propose(&mut bench);
        }
        if aids.straps || aids.groupings {
            groups::propose(&mut bench, aids.groupings);
        }
        let Bench { kept, drafts, aided, .. } = bench;
        let gone = kept.iter().filter(|kept| !**kept).count();
        selection.bound = selection.bound.saturating_sub(gone);
        let mut at = kept.into_iter();
        selection.chosen.retain(|_| at.next().unwrap_or(true));
        (drafts, aided)
    }

    /// What readings show, each with the meter that it gets; `None` where none at hand may serve.
    fn shown(&self, situation: &Situation<'_>, measurements: &[Measurement]) -> Vec<Option<Shown>> {
        let choice = Choice::new(situation, self.universe, self.meters, measurements, &OneByOne);
        let plain = *self.meters == Meters::default();
        let fit = |at: usize| if plain { Ok(choice.usual(at).clone()) } else { choice.pick(at) };
        let shown = |at: usize| {
            let fit = fit(at).ok()?;
            Some(Shown {
                faults: fit.shows.faults.into_iter().collect(),
                meter: fit.expect.meter.name,
                demanded: fit.expect.is_demanded(),
            })
        };
        (0..measurements.len()).map(shown).collect()
    }

    /// Terminals that can be probed in the largest net, and nets that have any.
    fn clusters(&self) -> [usize; 2] {
        let Situation { harness, setup, nets, .. } = self.situation;
        let mut counts: BTreeMap<usize, usize> = BTreeMap::new();
        let reached =
            harness.points().filter(|p| setup.can_probe(harness, *p) && harness.unit_behind(*p).is_none());
        for point in reached.filter(|point| *point != Point::Chassis || harness.has_chassis()) {
            *counts.entry(nets.of(self.situation.node(point))).or_default() += 1;
        }
        [counts.values().copied().max().unwrap_or(0), counts.len()]
    }
}

/// What is decided so far.
struct Bench<'a, 'b> {
    trial: &'b Trial<'a>,
    measurements: Vec<Measurement>,
    shown: Vec<Option<Shown>>,
    kept: Vec<bool>,
    /// What readings with straps show.
    by_straps: BTreeSet<Fault>,
    drafts: Vec<Draft>,
    aided: Aided,
}

impl Bench<'_, '_> {
    fn harness(&self) -> &Harness {
        self.trial.situation.harness
    }

    /// The meter that a reading gets.
    fn meter(&self, at: usize) -> Option<&'static str> {
        self.shown[at].as_ref().map(|shown| shown.meter)
    }

    /// Whether something else may stand for a reading: it is there, and it is not the maker who demands it.
    fn is_free(&self, at: usize) -> bool {
        self.kept[at] && self.shown[at].as_ref().is_some_and(|shown| !shown.demanded)
    }

    /// Takes a proposal where it saves time and shows no less. The number of readings that went, and of those that
    /// came; `None` where it is not worth it.
    fn accept(&mut self, proposal: &Proposal) -> Option<(usize, usize)> {
        let (drafts, fresh, tests) = self.solve(proposal)?;
        let gone = self.replaceable(proposal, &fresh);
        let cost =
            self.seconds(drafts.iter().map(|draft| &draft.setup)) + READING_SECONDS.get() * tests as f64;
        let saved = READING_SECONDS.get() * gone.len() as f64 + self.long_leads(&gone);
        if saved <= cost {
            return None;
        }
        for at in &gone {
            self.kept[*at] = false;
        }
        self.aided.kept += proposal.replaced.len() - gone.len();
        self.by_straps.extend(fresh);
        self.aided.bound += proposal.bound.min(tests).min(gone.len());
        self.drafts.extend(drafts);
        Some((gone.len(), tests))
    }

    /// The phases of a proposal, what their readings show, and how many these are; `None` where one of them may not be
    /// taken or gets another meter than what it stands for.
    fn solve(&self, proposal: &Proposal) -> Option<(Vec<Draft>, BTreeSet<Fault>, usize)> {
        let Situation { harness, netlist, .. } = *self.trial.situation;
        let meter = self.meter(*proposal.replaced.first()?)?;
        let (mut drafts, mut fresh, mut tests) = (Vec::new(), BTreeSet::new(), 0);
        for (setup, asked) in &proposal.phases {
            // Without power nothing switches, so every machine settles.
            let situation = Situation::new(harness, netlist, setup).ok()?;
            let chosen = selection(&situation, asked).chosen;
            if chosen.len() < asked.len() {
                return None;
            }
            let measurements: Vec<Measurement> = chosen.into_iter().map(|c| c.measurement).collect();
            for shown in self.trial.shown(&situation, &measurements) {
                let shown = shown?;
                if proposal.title == groups::TITLE && shown.meter != meter {
                    return None;
                }
                fresh.extend(shown.faults);
            }
            tests += asked.len();
            drafts.push(Draft {
                title: proposal.title,
                setup: setup.clone(),
                look: Look::Aided(asked.clone()),
                group: super::DEAD,
            });
        }
        Some((drafts, fresh, tests))
    }

    /// Of the readings that a proposal stands for, those that show nothing that would be lost with them. What shows
    /// most of it stays first.
    fn replaceable(&self, proposal: &Proposal, fresh: &BTreeSet<Fault>) -> Vec<usize> {
        let mut gone = proposal.replaced.clone();
        let faults = |at: usize| self.shown[at].iter().flat_map(|shown| &shown.faults).copied();
        let kept = (0..self.kept.len()).filter(|at| self.kept[*at] && !proposal.replaced.contains(at));
        let still: BTreeSet<Fault> = kept.flat_map(faults).collect();
        let mut lost: BTreeSet<Fault> = gone.iter().flat_map(|at| faults(*at)).collect();
        lost.retain(|f| !still.contains(f) && !fresh.contains(f) && !self.by_straps.contains(f));
        while !lost.is_empty() {
            let shows = |at: usize| faults(at).filter(|fault| lost.contains(fault)).count();
            let Some(place) = (0..gone.len()).rev().max_by_key(|place| shows(gone[*place])) else { break };
            let back = gone.remove(place);
            faults(back).for_each(|fault| {
                lost.remove(&fault);
            });
        }
        gone
    }

    /// Time for the changes of phases that follow each other and end without straps, and for the way there.
    fn seconds<'s>(&'s self, setups: impl Iterator<Item = &'s Setup>) -> f64 {
        let harness = self.harness();
        let base = &*self.trial.situation.setup;
        let mut now = base;
        let mut actions = Vec::new();
        for setup in setups.chain([base]) {
            actions.extend(transition(harness, now, setup));
            now = setup;
        }
        let stations: BTreeSet<_> = actions.iter().filter_map(|action| action.station(harness)).collect();
        actions.extend(stations.into_iter().map(Action::GoTo));
        actions.iter().map(|action| action.seconds(harness).get()).sum()
    }

    /// Time for the leads between places that nobody has to lay out any more: one for each two places.
    fn long_leads(&self, gone: &[usize]) -> f64 {
        let places = |at: usize| far(self.harness(), &self.measurements[at]);
        let stay = (0..self.kept.len()).filter(|at| self.kept[*at] && !gone.contains(at));
        let still: BTreeSet<[Place; 2]> = stay.filter_map(places).collect();
        let spared: BTreeSet<[Place; 2]> = gone.iter().filter_map(|at| places(*at)).collect();
        spared.difference(&still).count() as f64 * LONG_LEAD
    }
}

/// The two places of a reading, where it has two.
fn far(harness: &Harness, measurement: &Measurement) -> Option<[Place; 2]> {
    let [a, b] = [measurement.red(), measurement.black()].map(|point| Place::of(harness, point));
    let (a, b) = (a?, b?);
    (a != b).then_some([a.min(b), a.max(b)])
}

/// Notes beside a plan what it would be without aids.
pub(super) fn note_without(plan: &mut Plan, plain: &Plan, harness: &Harness) {
    let readings =
        |plan: &Plan| plan.steps().filter(|step| far(harness, &step.measurement).is_some()).count();
    let own = readings(plan);
    if let Some(aided) = &mut plan.aided {
        let cost = plain.cost;
        aided.far = own;
        aided.without =
            Without { steps: cost.steps, changes: cost.changes, seconds: cost.seconds, far: readings(plain) };
    }
}

/// Cautions that straps and caps bring with them.
pub(super) fn cautions(changes: &[Action], setup: &Setup) -> Vec<String> {
    let mut cautions = Vec::new();
    let fits = |action: &Action| matches!(action, Action::Fit(_) | Action::FitPlug(..));
    if changes.iter().any(fits) {
        cautions.push(
            "Prove each strap before you trust it: read from clip to clip and see next to nothing. A clip that does not \
             bite reads as isolation."
                .to_owned(),
        );
        cautions.push(
            "Count the straps on and count them off: power finds a short circuit in one that was forgotten."
                .to_owned(),
        );
        let plug = changes.iter().any(|action| matches!(action, Action::FitPlug(..)));
        cautions.push(if plug { SPLIT_LOOP } else { SPLIT }.to_owned());
    }
    if setup.capped().len() > 0 {
        cautions.push(
            "What lies under the caps is live: they stay on until power is isolated again, and count them."
                .to_owned(),
        );
    }
    cautions
}
