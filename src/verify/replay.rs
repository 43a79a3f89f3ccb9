//! A plan followed change by change, whatever the rules say of it.
//!
//! Comes in: a plan with its names resolved. Goes out: for every phase what was done, the state that it led to,
//! and the sound machine solved in that state; and what is done from step to step where the way hangs on a
//! reading. Why: every rule looks at the same replay.

use super::json;
use super::machine::{Corner, Machine};
use super::mesh::Volts;
use super::net::{Edits, Net};
use super::read::{Phase, Plan};
use super::report::{Claims, MadeFrom, Replayed, Report, Rule, Violation};
use super::settle::{Live, Thresholds};
use super::state::{Action, State};
use crate::definition::{Harness, Point};

/// One change of a phase.
pub(super) struct Event<'p> {
    pub(super) action: &'p Action,
    /// As the plan writes it.
    pub(super) words: String,
    pub(super) seconds: f64,
    pub(super) before: State,
    /// Why it changes nothing, where it does not.
    pub(super) outcome: Result<(), &'static str>,
}

/// Where a change stands.
#[derive(Debug, Clone, Copy)]
pub(super) enum Place {
    /// Before the readings of a phase.
    Phase(usize),
    /// After a step: its scene, and the step in it.
    Step([usize; 2]),
}

/// A phase, followed.
pub(super) struct Scene<'p> {
    pub(super) id: &'p str,
    pub(super) phase: &'p Phase,
    pub(super) events: Vec<Event<'p>>,
    pub(super) after: State,
}

/// What is done after a step because of what it showed.
pub(super) struct Jump<'p> {
    /// The scene and the step in it.
    pub(super) from: [usize; 2],
    /// Which of its outcomes.
    pub(super) outcome: usize,
    pub(super) events: Vec<Event<'p>>,
    pub(super) after: State,
}

/// Follows every phase from the machine as it is before the first.
pub(super) fn scenes<'p>(harness: &Harness, plan: &'p Plan) -> Vec<Scene<'p>> {
    let mut state = plan.start.clone();
    let mut scenes = Vec::new();
    for (phase, json) in plan.phases.iter().zip(&plan.json.phases) {
        let events = follow(harness, &mut state, &phase.changes, &json.changes);
        scenes.push(Scene { id: &json.id, phase, events, after: state.clone() });
    }
    scenes
}

/// Follows what is done after each outcome of each step, from the state in which the step was taken.
pub(super) fn jumps<'p>(harness: &Harness, plan: &'p Plan, scenes: &[Scene<'p>]) -> Vec<Jump<'p>> {
    let mut jumps = Vec::new();
    for (at, scene) in scenes.iter().enumerate() {
        for (number, step) in scene.phase.steps.iter().enumerate() {
            let outcomes = &plan.json.phases[at].steps[number].outcomes;
            for (outcome, (changes, json)) in step.after.iter().zip(outcomes).enumerate() {
                let mut after = scene.after.clone();
                let events = follow(harness, &mut after, changes, &json.changes);
                jumps.push(Jump { from: [at, number], outcome, events, after });
            }
        }
    }
    jumps
}

/// Does one change after the other.
fn follow<'p>(
    harness: &Harness,
    state: &mut State,
    actions: &'p [Action],
    changes: &[json::Change],
) -> Vec<Event<'p>> {
    let mut events = Vec::new();
    for (action, change) in actions.iter().zip(changes) {
        let before = state.clone();
        let outcome = state.act(harness, action);
        let words = format!("{} {}", change.action, change.target);
        events.push(Event { action, words, seconds: change.seconds, before, outcome });
    }
    events
}

/// The sound machine with power, solved.
pub(super) struct Sound {
    pub(super) volts: Volts,
}

/// Everything that the rules look at.
pub(super) struct Replay<'s> {
    pub(super) harness: &'s Harness,
    pub(super) plan: &'s Plan,
    pub(super) scenes: &'s [Scene<'s>],
    pub(super) jumps: &'s [Jump<'s>],
    /// The machine in the state of each phase.
    pub(super) machines: Vec<Machine<'s>>,
    /// The same with power, solved; the names of what keeps switching where it never settles.
    pub(super) sound: Vec<Option<Result<Sound, String>>>,
}

impl<'s> Replay<'s> {
    pub(super) fn new(
        harness: &'s Harness,
        plan: &'s Plan,
        scenes: &'s [Scene<'s>],
        jumps: &'s [Jump<'s>],
    ) -> Self {
        let machines: Vec<Machine<'s>> =
            scenes.iter().map(|scene| Machine::new(harness, &scene.after)).collect();
        let sound = machines.iter().map(|machine| machine.powered.then(|| solve(machine))).collect();
        Self { harness, plan, scenes, jumps, machines, sound }
    }

    /// A report with what was replayed in it, and nothing found yet.
    pub(super) fn report(&self) -> Report {
        let stamp = &self.plan.json.harness;
        let phases = &self.plan.phases;
        let count = |of: fn(&Phase) -> usize| phases.iter().map(of).sum();
        Report {
            made_from: MadeFrom {
                id: stamp.id.clone(),
                revision: stamp.revision.clone(),
                variant: stamp.variant.clone(),
                hash: stamp.hash.clone(),
            },
            replayed: Replayed {
                phases: phases.len(),
                changes: count(|phase| phase.changes.len()),
                steps: count(|phase| phase.steps.len()),
            },
            claims: Claims {
                made: count(|phase| phase.steps.iter().map(|step| step.covers.len()).sum()),
                ..Claims::default()
            },
            ..Report::default()
        }
    }

    /// Every change with its place.
    pub(super) fn events(&self) -> impl Iterator<Item = (Place, &Event<'s>)> {
        let scenes = self.scenes.iter().enumerate().map(|(at, scene)| (Place::Phase(at), &scene.events));
        let jumps = self.jumps.iter().map(|jump| (Place::Step(jump.from), &jump.events));
        scenes.chain(jumps).flat_map(|(place, events)| events.iter().map(move |event| (place, event)))
    }

    /// The id of a step.
    pub(super) fn step_id(&self, scene: usize, step: usize) -> &str {
        &self.plan.json.phases[scene].steps[step].id
    }

    pub(super) fn name(&self, point: Point) -> String {
        self.harness.point_name(point)
    }
}

fn solve(machine: &Machine<'_>) -> Result<Sound, String> {
    let (net, edits) = (Net::new(machine, Corner::Nominal, false), Edits::default());
    let live = Live::new(&net, &edits);
    let settled = live.settle(Thresholds::EXACT);
    settled.steady(machine).map(|on| Sound { volts: live.volts(on) })
}

impl Report {
    /// Notes what is wrong with a plan as a whole.
    pub(super) fn plan(&mut self, rule: Rule, what: String) {
        self.violations.push(Violation { rule, phase: None, step: None, what });
    }

    /// Notes what is wrong in a phase.
    pub(super) fn phase(&mut self, rule: Rule, scene: &Scene<'_>, what: String) {
        self.violations.push(Violation { rule, phase: Some(scene.id.to_owned()), step: None, what });
    }

    /// Notes what is wrong with a change.
    pub(super) fn change(&mut self, rule: Rule, replay: &Replay<'_>, place: Place, what: String) {
        match place {
            Place::Phase(at) => self.phase(rule, &replay.scenes[at], what),
            Place::Step(at) => self.step(rule, replay, at, what),
        }
    }

    /// Notes what is wrong with a step.
    pub(super) fn step(&mut self, rule: Rule, replay: &Replay<'_>, [scene, step]: [usize; 2], what: String) {
        let phase = Some(replay.scenes[scene].id.to_owned());
        let step = Some(replay.step_id(scene, step).to_owned());
        self.violations.push(Violation { rule, phase, step, what });
    }
}
