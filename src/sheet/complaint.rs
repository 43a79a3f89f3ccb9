//! A plan for a complaint: what eyes and hands do first, what each reading means, and where the steps end.

use std::collections::BTreeMap;

use serde::Serialize;

use super::plan::{capital, narrow, probe};
use super::plan_cost::duration;
use super::plan_view::{ChangeView, SetupView, round};
use super::{Section, station_word, suspects};
use crate::definition::Harness;
use crate::plan::complaint::{Dossier, Next, Outcome};
use crate::plan::{Phase, Plan, Step};
use crate::setup::Action;
use crate::units::significant;

/// What a plan for a complaint says beside its phases.
#[derive(Debug, Clone, Serialize)]
pub struct ComplaintView {
    /// The part or output that does not work.
    pub part: String,
    /// The setup in which it should.
    #[serde(flatten)]
    pub setup: SetupView,
    /// What a healthy machine shows there, in words.
    pub healthy: String,
    /// Where the setup was searched for: how many others would do with as few moves.
    pub others: Option<usize>,
    /// Faults with which it would not work, each with its share.
    pub hypotheses: Vec<FaultView>,
    /// What eyes and hands do first, in order.
    pub inspections: Vec<InspectionView>,
    /// Where the steps end.
    pub ends: Vec<EndView>,
    /// What the steps cost: expected, and at most.
    pub effort: EffortsView,
}

/// A fault with its share.
#[derive(Debug, Clone, Serialize)]
pub struct FaultView {
    /// The fault.
    pub fault: String,
    /// Its share of the probability.
    pub share: f64,
}

/// Something to look at.
#[derive(Debug, Clone, Serialize)]
pub struct InspectionView {
    /// What to do.
    pub what: String,
    /// Where.
    pub station: String,
    /// How long it takes, without the walk.
    pub seconds: f64,
    /// The share of the probability that it settles at most; null where it is about no fault of the machine.
    pub share: Option<f64>,
    /// The faults that it can find.
    pub faults: Vec<String>,
}

/// Where the steps end.
#[derive(Debug, Clone, Serialize)]
pub struct EndView {
    /// Its number, as steps name it.
    pub end: usize,
    /// Its share of the probability.
    pub share: f64,
    /// The faults that are left, the likeliest first; none where readings contradict each other.
    pub faults: Vec<String>,
    /// How many of them make up nearly all of its share.
    pub likely: usize,
    /// What to do, in order.
    pub todo: Vec<String>,
}

/// What the steps cost.
#[derive(Debug, Clone, Serialize)]
pub struct EffortsView {
    /// Readings to be expected.
    pub readings: f64,
    /// Seconds to be expected.
    pub seconds: f64,
    /// Readings on the longest way.
    pub most_readings: f64,
    /// Seconds on the longest way.
    pub most_seconds: f64,
}

/// What a reading can show.
#[derive(Debug, Clone, Serialize)]
pub struct OutcomeView {
    /// `lower`, `good`, `higher` or `open`.
    pub shows: &'static str,
    /// With its limit, in words.
    pub words: String,
    /// How likely it is at this step.
    pub share: f64,
    /// What it means.
    pub means: String,
    /// Elements that nothing still accuses.
    pub clears: Vec<String>,
    /// Faults that are left.
    pub accuses: Vec<String>,
    /// The step to go on to; null at an end.
    pub next: Option<String>,
    /// What to do before it.
    pub changes: Vec<ChangeView>,
    /// The end, where it is one.
    pub end: Option<usize>,
}

pub(super) fn view(harness: &Harness, dossier: &Dossier) -> ComplaintView {
    let share = |share: f64| significant(share, 3).parse().unwrap_or(share);
    ComplaintView {
        part: dossier.target.name(harness),
        setup: SetupView::of(harness, &dossier.setup),
        healthy: dossier.target.figure(dossier.healthy),
        others: dossier.others,
        hypotheses: dossier
            .hypotheses
            .iter()
            .map(|(fault, p)| FaultView { fault: fault.id(harness), share: share(*p) })
            .collect(),
        inspections: dossier
            .inspections
            .iter()
            .map(|look| InspectionView {
                what: look.what.clone(),
                station: station_word(harness, look.station),
                seconds: look.seconds.get(),
                share: look.share.map(share),
                faults: look.faults.iter().map(|fault| fault.id(harness)).collect(),
            })
            .collect(),
        ends: dossier
            .ends
            .iter()
            .enumerate()
            .map(|(at, end)| EndView {
                end: at + 1,
                share: share(end.share),
                faults: end.faults.iter().map(|fault| fault.id(harness)).collect(),
                likely: end.likely,
                todo: end.todo.clone(),
            })
            .collect(),
        effort: EffortsView {
            readings: round(dossier.expected.readings),
            seconds: round(dossier.expected.seconds.get()),
            most_readings: dossier.most.readings,
            most_seconds: round(dossier.most.seconds.get()),
        },
    }
}

pub(super) fn outcome_view(harness: &Harness, step: &Step, outcome: &Outcome) -> OutcomeView {
    let (next, changes, end) = match &outcome.next {
        Next::Step { id, changes } => (Some(id.clone()), &changes[..], None),
        Next::End(at) => (None, &[][..], Some(at + 1)),
    };
    OutcomeView {
        shows: outcome.shown.word(),
        words: outcome.shown.words(&step.expect),
        share: significant(outcome.share, 3).parse().unwrap_or(outcome.share),
        means: outcome.means.clone(),
        clears: outcome.clears.iter().map(|element| element.id(harness)).collect(),
        accuses: outcome.accuses.iter().map(|fault| fault.id(harness)).collect(),
        next,
        changes: changes.iter().map(|action| ChangeView::of(harness, action)).collect(),
        end,
    }
}

/// What is complained of, and what eyes and hands do first.
pub(super) fn opening(harness: &Harness, dossier: &Dossier) -> Vec<Section> {
    let Dossier { target, setup, healthy, others, hypotheses, inspections, .. } = dossier;
    let mut lines = vec![
        format!("{} does not work with {}.", target.words(harness), setup.words(harness)),
        format!(
            "Healthy: {}; below half of it counts as not working. {} single faults do that.",
            target.figure(*healthy),
            hypotheses.len()
        ),
    ];
    lines.extend(others.map(|others| match others {
        0 => "The setup was searched for: no other does with as few moves.".to_owned(),
        _ => format!("The setup was searched for: {others} more would do with as few moves."),
    }));
    lines.push(
        "Follow the steps by what each shows: the next one may stand further down, and no step leads back. Log every \
         reading."
            .to_owned(),
    );
    let rows = inspections.iter().enumerate().map(|(at, look)| {
        vec![
            (at + 1).to_string(),
            look.what.clone(),
            station_word(harness, look.station),
            format!("{} s", look.seconds.get()),
            look.share.map_or_else(String::new, percent),
            "[ ]".to_owned(),
        ]
    });
    vec![
        Section { title: "Complaint".to_owned(), lines, ..Section::default() },
        Section {
            title: "By eye and hand first".to_owned(),
            lines: vec![
                "In this order: most of the probability for the time comes first. Move plugs and fuses with power isolated \
                 only. Looking clears nothing."
                    .to_owned(),
            ],
            columns: vec!["", "look at", "station", "time", "settles at most", "done"],
            rows: rows.collect(),
            ..Section::default()
        },
    ]
}

/// A phase: how to get there from every phase that leads to it, and its steps with what they mean.
pub(super) fn phase_sections(harness: &Harness, plan: &Plan, phase: &Phase) -> Vec<Section> {
    let mut lines = arrivals(harness, plan, phase);
    lines.push(format!("Now: {}.", phase.setup.words(harness)));
    lines.extend(phase.cautions.iter().map(|caution| format!("- Caution: {caution}")));
    if !phase.live.is_empty() {
        let live = phase.live.iter().map(|(point, volts)| format!("{} {volts}", harness.point_name(*point)));
        lines.push(format!("- Live at open plugs: {}.", live.collect::<Vec<_>>().join(", ")));
    }
    let title = format!("Phase {} · {}", phase.id, phase.title);
    let mut sections = vec![Section { title, lines, ..Section::default() }];
    sections.extend(phase.steps.iter().map(|step| step_section(harness, step)));
    sections
}

fn step_section(harness: &Harness, step: &Step) -> Section {
    let m = &step.measurement;
    let at = station_word(harness, step.station);
    let at = if at.is_empty() { at } else { format!(" · at {at}") };
    let title = format!(
        "{} · {}: red {}, black {}{at}",
        step.id,
        m.kind().word(),
        probe(harness, m.red()),
        probe(harness, m.black())
    );
    let mut lines = vec![format!("Healthy {}  [       ]  ({})", narrow(&step.expect.words()), step.purpose)];
    let line = |outcome: &Outcome| {
        let next = match &outcome.next {
            Next::Step { id, .. } => format!("Go on to {id}."),
            Next::End(at) => format!("End {}.", at + 1),
        };
        let words = outcome.shown.words(&step.expect);
        format!("- {words} ({}): {}. {next}", percent(outcome.share), outcome.means)
    };
    lines.extend(step.outcomes.iter().map(line));
    Section { title, under: true, lines, ..Section::default() }
}

/// What brings a phase's setup about, from each phase whose steps lead to it; for the last phase, from
/// wherever the steps have ended.
fn arrivals(harness: &Harness, plan: &Plan, phase: &Phase) -> Vec<String> {
    let mut from: BTreeMap<usize, &[Action]> = BTreeMap::new();
    for before in plan.phases.iter().filter(|p| p.id < phase.id) {
        for outcome in before.steps.iter().flat_map(|step| &step.outcomes) {
            if let Next::Step { id, changes } = &outcome.next
                && phase.steps.iter().any(|step| step.id == *id)
            {
                from.entry(before.id).or_insert(changes);
            }
        }
    }
    let listed = |actions: &[Action]| -> Vec<String> {
        let one =
            |(at, action): (usize, &Action)| format!("{:>3}. {}", at + 1, capital(&action.words(harness)));
        actions.iter().enumerate().map(one).collect()
    };
    if phase.steps.is_empty() {
        return vec![
            "Wherever the steps ended: switches to rest, what was unplugged plugged in with power isolated, battery \
             negative on last."
                .to_owned(),
        ];
    }
    if let Some(actions) = from.get(&(phase.id - 1)).filter(|_| from.len() == 1) {
        return listed(actions);
    }
    if from.is_empty() {
        return listed(&phase.changes);
    }
    from.into_iter()
        .flat_map(|(id, actions)| std::iter::once(format!("From phase {id}:")).chain(listed(actions)))
        .collect()
}

/// So many things to do are named at an end.
const DEEDS: usize = 5;

/// Where the steps end, what to do there, and what all of it costs.
pub(super) fn closing(harness: &Harness, dossier: &Dossier) -> Vec<Section> {
    let mut lines = Vec::new();
    for (at, end) in dossier.ends.iter().enumerate() {
        let faults = if end.faults.is_empty() {
            "no single fault is left".to_owned()
        } else {
            let seldom = match end.faults.len() - end.likely {
                0 => String::new(),
                more => format!(". Seldom: {more} more"),
            };
            format!("{}{seldom}", suspects::faults(harness, &end.faults[..end.likely]))
        };
        lines.push(format!("End {} ({}): {faults}", at + 1, percent(end.share)));
        lines.extend(end.todo.iter().take(DEEDS).map(|deed| format!("- {deed}")));
        if end.todo.len() > DEEDS {
            let more = end.todo.len() - DEEDS;
            lines.push(format!("- and {more} more: log the readings, and let `locate` choose the next one"));
        }
    }
    let Dossier { expected, most, .. } = dossier;
    let cost = format!(
        "To be expected: {} readings and about {}; on the longest way {} readings and about {}.",
        significant(expected.readings, 2),
        duration(expected.seconds.get()),
        most.readings,
        duration(most.seconds.get())
    );
    vec![Section {
        title: "Where the steps end: in this order, the last is what is left".to_owned(),
        lines,
        notes: vec![cost],
        ..Section::default()
    }]
}

pub(super) fn percent(share: f64) -> String {
    match share * 100.0 {
        0.0 => "0 %".to_owned(),
        p if p < 0.1 => "< 0.1 %".to_owned(),
        p => format!("{} %", significant(p, 2)),
    }
}
