//! What straps and loopback plugs make of a plan, as JSON and as a section; and the phases in which a strap loses
//! one clip after the other, as one table.

use serde::Serialize;

use super::{Section, station_word};
use crate::definition::{Harness, StationId};
use crate::plan::{
    Aided, Phase, Plan, SPLIT, SPLIT_LOOP, counting, group_tests, kautz, modified_counting, pair_tests,
};
use crate::setup::{Action, Place};

/// What straps and loopback plugs make of a plan.
#[derive(Debug, Clone, Serialize)]
pub struct AidsView {
    /// Nets that are proven apart with straps.
    pub groups: Vec<GroupView>,
    /// Wires that are read through loopback plugs.
    pub loopbacks: Vec<LoopView>,
    /// Readings that stay because they alone show some fault.
    pub kept: usize,
    /// Readings with their probes at two places.
    pub far: usize,
    /// Terminals that can be probed in the largest net.
    pub largest: usize,
    /// Nets with any.
    pub clusters: usize,
    /// Tests of a tester with a point at every terminal.
    pub kautz: usize,
    /// The same plan without aids.
    pub without: WithoutView,
}

/// Nets that are proven apart with straps at one place.
#[derive(Debug, Clone, Serialize)]
pub struct GroupView {
    /// Where.
    pub place: String,
    /// `one by one` or `half against half`.
    pub way: &'static str,
    /// How many nets.
    pub nets: usize,
    /// Readings with straps.
    pub tests: usize,
    /// Readings that they replace.
    pub replaced: usize,
    /// The fewest that could prove as much.
    pub bound: usize,
    /// Every pair of the nets alone.
    pub pairs: usize,
    /// Each net against all that follow.
    pub group_tests: usize,
    /// The counting sequence.
    pub counting: usize,
    /// The same without the codes of all zeros and all ones.
    pub modified_counting: usize,
}

/// Wires that are read through a loopback plug.
#[derive(Debug, Clone, Serialize)]
pub struct LoopView {
    /// The connector it is on.
    pub connector: String,
    /// Wires that it joins.
    pub wires: usize,
    /// Readings through it.
    pub tests: usize,
    /// Readings that they replace.
    pub replaced: usize,
}

/// A plan without aids.
#[derive(Debug, Clone, Serialize)]
pub struct WithoutView {
    /// Readings.
    pub steps: usize,
    /// Setup changes.
    pub changes: usize,
    /// Time in all.
    pub seconds: f64,
    /// Readings with their probes at two places.
    pub far: usize,
}

impl AidsView {
    pub(super) fn of(harness: &Harness, aided: &Aided) -> Self {
        let group = |group: &crate::plan::Group| GroupView {
            place: place_word(harness, group.place),
            way: if group.halves { "half against half" } else { "one by one" },
            nets: group.nets,
            tests: group.tests,
            replaced: group.pairs,
            bound: group.bound,
            pairs: pair_tests(group.nets),
            group_tests: group_tests(group.nets),
            counting: counting(group.nets),
            modified_counting: modified_counting(group.nets),
        };
        let looped = |looped: &crate::plan::Loop| LoopView {
            connector: harness.connectors[looped.connector].id.clone(),
            wires: looped.wires,
            tests: looped.tests,
            replaced: looped.replaced,
        };
        let [largest, clusters] = aided.clusters;
        let without = &aided.without;
        Self {
            groups: aided.groups.iter().map(group).collect(),
            loopbacks: aided.loops.iter().map(looped).collect(),
            kept: aided.kept,
            far: aided.far,
            largest,
            clusters,
            kautz: kautz(largest, clusters),
            without: WithoutView {
                steps: without.steps,
                changes: without.changes,
                seconds: without.seconds.get(),
                far: without.far,
            },
        }
    }
}

fn place_word(harness: &Harness, place: Place) -> String {
    match place {
        Place::Station(id) => station_word(harness, Some(id)),
        Place::Connector(id) => harness.connectors[id].id.clone(),
        Place::Alone(point) => harness.point_name(point),
    }
}

/// What the aids save, what they are held against, and what to do with a bad reading.
pub(super) fn section(view: &AidsView, [steps, changes]: [usize; 2], minutes: [String; 2]) -> Section {
    let WithoutView { steps: plain, changes: plain_changes, far, .. } = view.without;
    let [own, without] = minutes;
    let mut lines = vec![
        format!("With them {steps} readings, {changes} setup changes, about {own}."),
        format!("Without {plain} readings, {plain_changes} setup changes, about {without}."),
        format!(
            "Readings with the probes at two places: {} with them, {far} without. Long leads are not in these times.",
            view.far
        ),
        "No fault that shows without them is lost: each was put into the machine and solved.".to_owned(),
    ];
    if view.kept > 0 {
        lines.push(format!("{} readings stay that straps could not stand for.", view.kept));
    }
    for LoopView { connector, wires, tests, replaced } in &view.loopbacks {
        lines.push(format!(
            "- Loopback plug at {connector}: {wires} wires, {} for {replaced}; the fewest are {}.",
            readings(*tests),
            replaced.div_ceil(2).min(*tests)
        ));
    }
    for group in &view.groups {
        let GroupView { place, way, nets, tests, replaced, bound, .. } = group;
        let at = if place.is_empty() { String::new() } else { format!(" at {place}") };
        lines.push(format!(
            "- Straps{at}: {nets} nets, {way}, {} for {replaced}; the fewest are {bound}. Every pair of \
             them alone: {}; each against all that follow: {}; counting: {}, or {} without the codes of all \
             zeros and all ones.",
            readings(*tests),
            group.pairs,
            group.group_tests,
            group.counting,
            group.modified_counting
        ));
    }
    lines.push(format!(
        "A tester with a point at every terminal: {} readings ({} terminals in the largest net, {} nets).",
        view.kautz, view.largest, view.clusters
    ));
    if !view.groups.is_empty() {
        lines.push(format!("- {SPLIT}"));
    }
    if !view.loopbacks.is_empty() {
        lines.push(format!("- {SPLIT_LOOP}"));
    }
    Section { title: "What straps and loopback plugs save".to_owned(), lines, ..Section::default() }
}

fn readings(count: usize) -> String {
    if count == 1 { "1 reading".to_owned() } else { format!("{count} readings") }
}

/// Whether a phase only takes clips off a strap that is on already, or the strap itself, and reads once.
pub(super) fn goes_on(phase: &Phase) -> bool {
    let clip = match &phase.changes[..] {
        [Action::Refit(from, to)] => to.points().len() + 1 == from.points().len(),
        [Action::Unfit(strap)] => strap.points().len() == 2 && !phase.setup.is_strapped(),
        _ => false,
    };
    clip && phase.steps.len() == 1 && phase.setup.power() == crate::setup::Power::Isolated
}

/// Phases that go on from one to the next.
pub(super) fn runs(plan: &Plan) -> impl Iterator<Item = &[Phase]> {
    plan.phases
        .chunk_by(|before, after| before.setup.is_strapped() && before.steps.len() == 1 && goes_on(after))
}

/// What to take off before a reading of such a run.
pub(super) fn first(harness: &Harness, phase: &Phase) -> String {
    match &phase.changes[..] {
        [Action::Refit(from, to)] => {
            let gone = from.points().iter().find(|point| !to.holds(**point));
            gone.map_or_else(String::new, |point| format!("{} out", harness.point_name(*point)))
        }
        [Action::Unfit(_)] => "strap off".to_owned(),
        _ => "as above".to_owned(),
    }
}

/// The station of a run, as the heading of its table.
pub(super) fn at(harness: &Harness, station: Option<StationId>) -> String {
    let station = station.map(|id| &harness.stations[id]);
    station.map_or_else(String::new, |s| format!("At {}", if s.title.is_empty() { &s.id } else { &s.title }))
}
