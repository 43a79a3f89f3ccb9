//! What a plan is for programs: names that stay, numbers rounded for people.

use std::collections::BTreeMap;

use serde::Serialize;

use super::complaint::{ComplaintView, OutcomeView};
use super::{AidsView, Stamp};
use crate::definition::{Harness, Point};
use crate::measure::Expectation;
use crate::setup::{Action, Setup, position_name};
use crate::units::significant;

/// A plan for programs.
#[derive(Debug, Clone, Serialize)]
pub struct PlanView {
    /// The definition.
    pub harness: Stamp,
    /// The meters it is made for, by name.
    pub meter: String,
    /// Cautions that hold throughout.
    pub cautions: Vec<String>,
    /// What to know before the first plug is pulled.
    pub before: Vec<String>,
    /// What a plan for a complaint says beside its phases.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub complaint: Option<ComplaintView>,
    /// The stages of a build, in order.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub stages: Vec<StageView>,
    /// The machine before the first phase.
    pub start: SetupView,
    /// The phases.
    pub phases: Vec<PhaseView>,
    /// Readings that no meter at hand may serve.
    pub left_out: Vec<LeftOutView>,
    /// What must work at the end.
    pub function_check: Vec<String>,
    /// What is detected.
    pub coverage: CoverageView,
    /// What it costs.
    pub cost: CostView,
    /// What straps and loopback plugs make of it, where it may use any.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub aids: Option<AidsView>,
}

/// A stage of a build: the phases from its first up to the next stage's.
#[derive(Debug, Clone, Serialize)]
pub struct StageView {
    /// What it is.
    pub title: &'static str,
    /// What it is for.
    pub why: &'static str,
    /// Cautions that apply through all of it.
    pub cautions: Vec<String>,
    /// The number of its first phase.
    pub first_phase: String,
}

/// One phase.
#[derive(Debug, Clone, Serialize)]
pub struct PhaseView {
    /// Its number.
    pub id: String,
    /// What it is for.
    pub title: &'static str,
    /// The machine's state.
    #[serde(flatten)]
    pub setup: SetupView,
    /// What brings it about.
    pub changes: Vec<ChangeView>,
    /// Cautions that apply here.
    pub cautions: Vec<String>,
    /// Exposed live contacts.
    pub live: Vec<LiveView>,
    /// The readings.
    pub steps: Vec<PlanStepView>,
    /// Time for its changes, walks and readings.
    pub seconds: f64,
}

/// A setup.
#[derive(Debug, Clone, Serialize)]
pub struct SetupView {
    /// `isolated` or `connected`.
    pub power: &'static str,
    /// Connectors that are unplugged.
    pub unplugged: Vec<String>,
    /// Switches that are not at rest.
    pub set: BTreeMap<String, String>,
    /// Conditions that hold.
    pub conditions: Vec<String>,
    /// Straps that are fitted, each as the points it joins.
    pub strapped: Vec<Vec<String>>,
    /// Contacts that are capped.
    pub capped: Vec<String>,
}

impl SetupView {
    /// A setup in names.
    pub fn of(harness: &Harness, setup: &Setup) -> Self {
        let position =
            |(switch, at)| (harness.parts[switch].id.clone(), position_name(harness, switch, at).to_owned());
        Self {
            power: setup.power().word(),
            unplugged: setup.unplugged(harness).map(|c| harness.connectors[c].id.clone()).collect(),
            set: setup.set().map(position).collect(),
            conditions: setup.conditions().map(|c| harness.conditions[c].id.clone()).collect(),
            strapped: setup.straps().map(|strap| strap.names(harness)).collect(),
            capped: setup.capped().map(|c| harness.point_name(Point::Contact(c))).collect(),
        }
    }
}

/// One thing to do.
#[derive(Debug, Clone, Serialize)]
pub struct ChangeView {
    /// What to do.
    pub action: &'static str,
    /// What to do it to.
    pub target: String,
    /// How long it takes.
    pub seconds: f64,
}

impl ChangeView {
    /// An action in words.
    pub fn of(harness: &Harness, action: &Action) -> Self {
        let seconds = action.seconds(harness).get();
        Self { action: action.verb(), target: action.target(harness), seconds }
    }
}

/// A live contact.
#[derive(Debug, Clone, Serialize)]
pub struct LiveView {
    /// The contact.
    pub contact: String,
    /// Its voltage against the chassis.
    pub volts: f64,
}

/// One reading to take.
#[derive(Debug, Clone, Serialize)]
pub struct PlanStepView {
    /// Its number.
    pub id: String,
    /// What is read.
    pub kind: &'static str,
    /// Red probe.
    pub red: String,
    /// Black probe.
    pub black: String,
    /// Where one stands.
    pub station: String,
    /// The meter to read it with.
    pub meter: &'static str,
    /// Its range to set; null where it has none that holds what is expected.
    pub range: Option<&'static str>,
    /// What a healthy machine shows.
    pub expect: ExpectView,
    /// Faults it shows for sure.
    pub covers: Vec<String>,
    /// What it is for.
    pub purpose: String,
    /// What it can show and what to do then; left out where the next step follows whatever it shows.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub outcomes: Vec<OutcomeView>,
}

/// A reading that no meter at hand may serve.
#[derive(Debug, Clone, Serialize)]
pub struct LeftOutView {
    /// The number that its step would have.
    pub id: String,
    /// What is not read.
    pub kind: &'static str,
    /// Red probe.
    pub red: String,
    /// Black probe.
    pub black: String,
    /// Why not.
    pub why: String,
}

/// An expectation.
#[derive(Debug, Clone, Serialize)]
pub struct ExpectView {
    /// The least; null where there is none.
    pub low: Option<f64>,
    /// The most; null where there is none.
    pub high: Option<f64>,
    /// `ohm` or `volt`.
    pub unit: &'static str,
    /// In words.
    pub words: String,
    /// The reason for each limit.
    pub why: WhyView,
}

/// Why limits are where they are.
#[derive(Debug, Clone, Serialize)]
pub struct WhyView {
    /// Why no less; null where there is no limit.
    pub low: Option<String>,
    /// Why no more; null where there is no limit.
    pub high: Option<String>,
    /// What would have been computed, where the maker's demand overrides it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub computed: Option<String>,
}

impl ExpectView {
    /// An expectation with its numbers rounded for people.
    pub fn of(expect: &Expectation) -> Self {
        Self {
            low: expect.low.is_finite().then(|| round(expect.low)),
            high: expect.high.map(round),
            unit: expect.unit(),
            words: expect.words(),
            why: WhyView {
                low: Some(expect.why.low.words(expect.ohms)).filter(|words| !words.is_empty()),
                high: Some(expect.why.high.words(expect.ohms)).filter(|words| !words.is_empty()),
                computed: expect.computed_words(),
            },
        }
    }
}

/// What is detected.
#[derive(Debug, Clone, Serialize)]
pub struct CoverageView {
    /// Faults in scope.
    pub faults: usize,
    /// Those shown for sure.
    pub detected: usize,
    /// Those not shown.
    pub undetected: Vec<UndetectedView>,
    /// Phases with power in which no fault was tried, because the machine is too large.
    pub untried: usize,
}

/// A fault that no step shows.
#[derive(Debug, Clone, Serialize)]
pub struct UndetectedView {
    /// The fault.
    pub fault: String,
    /// Why not.
    pub why: String,
    /// What to do to see it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub uncover: Option<String>,
    /// The sort of reason.
    #[serde(skip)]
    pub(super) class: &'static str,
}

/// What a plan costs.
#[derive(Debug, Clone, Serialize)]
pub struct CostView {
    /// Readings.
    pub steps: usize,
    /// The fewest that could do.
    pub steps_bound: usize,
    /// Setup changes.
    pub changes: usize,
    /// The fewest that could do.
    pub changes_bound: usize,
    /// Time in all.
    pub seconds: f64,
    /// The least for these phases and stations in any order.
    pub seconds_bound: f64,
    /// So many of the readings would show the same single faults.
    pub cover: usize,
    /// No fewer of them can.
    pub cover_bound: usize,
    /// Setups in which switch contacts are closed.
    pub switch_setups: usize,
    /// The fewest that could do.
    pub switch_setups_bound: usize,
    /// What other ways of testing would take; null where no isolation is read.
    pub compared: Option<ComparedView>,
}

/// What other ways of testing would take.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct ComparedView {
    /// Isolation readings, pair by pair, as planned.
    pub pairs: usize,
    /// With groups of nets tied together.
    pub tied: usize,
    /// With a point of a tester at every contact.
    pub tester: usize,
}

/// Four significant digits: more than any field meter shows.
pub(super) fn round(value: f64) -> f64 {
    significant(value, 4).parse().unwrap_or(value)
}
