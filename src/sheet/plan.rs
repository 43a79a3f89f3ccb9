//! Plans as tables and JSON.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use super::plan_aids::{self, AidsView};
use super::plan_cost::{bounds, duration, pace};
use super::plan_view::{
    ChangeView, ComparedView, CostView, CoverageView, ExpectView, LeftOutView, LiveView, PhaseView,
    PlanStepView, PlanView, SetupView, StageView, UndetectedView, WhyView, round,
};
use super::{Section, Sheet, Stamp, colours_at, complaint, station_word};
use crate::definition::{Harness, Point};
use crate::fault::Fault;
use crate::measure::Meter;
use crate::netlist::Element;
use crate::plan::{
    Compared, DEFERENCE, Hands, Hidden, LeftOut, OneByOne, Phase, Plan, Stage, Step, in_parts,
};

/// A plan as JSON view and sheet.
pub fn plan(harness: &Harness, plan: &Plan) -> (PlanView, Sheet) {
    let view = plan_view(harness, plan);
    let sheet = sheet(harness, plan, &view, false);
    (view, sheet)
}

/// The same, with the reason for every limit below each table; the JSON view always has them.
pub fn plan_with_reasons(harness: &Harness, plan: &Plan) -> (PlanView, Sheet) {
    let view = plan_view(harness, plan);
    let sheet = sheet(harness, plan, &view, true);
    (view, sheet)
}

/// The JSON view alone: the tables of a large plan take as long again.
pub fn plan_view(harness: &Harness, plan: &Plan) -> PlanView {
    plan_view_by(&OneByOne, harness, plan)
}

/// The same with several hands at the work.
pub fn plan_view_by(hands: &dyn Hands, harness: &Harness, plan: &Plan) -> PlanView {
    PlanView {
        harness: Stamp::of(harness),
        meter: plan.meters.names(),
        cautions: plan.cautions.clone(),
        before: plan.before.clone(),
        complaint: plan.complaint.as_ref().map(|dossier| complaint::view(harness, dossier)),
        stages: plan.stages.iter().map(stage_view).collect(),
        start: SetupView::of(harness, &plan.start),
        phases: plan.phases.iter().map(|phase| phase_view(hands, harness, phase)).collect(),
        left_out: plan.left_out.iter().map(|left| left_out_view(harness, left)).collect(),
        function_check: plan.function_check.clone(),
        coverage: CoverageView {
            faults: plan.coverage.faults,
            detected: plan.coverage.detected,
            untried: plan.coverage.untried,
            undetected: in_parts((hands, 32), &plan.coverage.undetected, |part| {
                part.iter().map(|(fault, hidden)| undetected_view(harness, *fault, hidden)).collect()
            }),
        },
        cost: CostView {
            steps: plan.cost.steps,
            steps_bound: plan.cost.steps_bound,
            changes: plan.cost.changes,
            changes_bound: plan.cost.changes_bound,
            seconds: plan.cost.seconds.get(),
            seconds_bound: plan.cost.seconds_bound.get(),
            cover: plan.cost.cover,
            cover_bound: plan.cost.cover_bound,
            switch_setups: plan.cost.switch_setups,
            switch_setups_bound: plan.cost.switch_setups_bound,
            compared: plan.compared.map(|Compared { pairs, tied, tester }| ComparedView {
                pairs,
                tied,
                tester,
            }),
        },
        aids: plan.aided.as_ref().map(|aided| AidsView::of(harness, aided)),
    }
}

fn left_out_view(harness: &Harness, left: &LeftOut) -> LeftOutView {
    LeftOutView {
        id: left.id.clone(),
        kind: left.measurement.kind().word(),
        red: harness.point_name(left.measurement.red()),
        black: harness.point_name(left.measurement.black()),
        why: left.why.clone(),
    }
}

fn undetected_view(harness: &Harness, fault: Fault, hidden: &Hidden) -> UndetectedView {
    UndetectedView {
        fault: fault.id(harness),
        why: hidden.reason.words(harness),
        uncover: hidden.uncover.as_ref().map(|uncover| uncover.words(harness)),
        class: hidden.reason.class(),
    }
}

fn phase_view(hands: &dyn Hands, harness: &Harness, phase: &Phase) -> PhaseView {
    PhaseView {
        id: phase.id.to_string(),
        title: phase.title,
        setup: SetupView::of(harness, &phase.setup),
        changes: phase.changes.iter().map(|action| ChangeView::of(harness, action)).collect(),
        cautions: phase.cautions.clone(),
        live: phase
            .live
            .iter()
            .map(|(point, volts)| LiveView { contact: harness.point_name(*point), volts: round(volts.get()) })
            .collect(),
        steps: in_parts((hands, 32), &phase.steps, |part| {
            part.iter().map(|step| step_view(harness, step)).collect()
        }),
        seconds: phase.seconds.get(),
    }
}

fn step_view(harness: &Harness, step: &Step) -> PlanStepView {
    PlanStepView {
        id: step.id.clone(),
        kind: step.measurement.kind().word(),
        red: harness.point_name(step.measurement.red()),
        black: harness.point_name(step.measurement.black()),
        station: station_word(harness, step.station),
        meter: step.expect.meter.name,
        range: step.expect.meter.range_for(&step.expect).map(|range| range.name),
        expect: ExpectView::of(&step.expect),
        covers: step.covers.iter().map(|fault| fault.id(harness)).collect(),
        purpose: step.purpose.clone(),
        outcomes: step.outcomes.iter().map(|o| complaint::outcome_view(harness, step, o)).collect(),
    }
}

fn sheet(harness: &Harness, plan: &Plan, view: &PlanView, why: bool) -> Sheet {
    let list = |items: &[String]| items.iter().map(|item| format!("- {item}")).collect::<Vec<_>>();
    let mut sections = vec![
        Section { title: "Cautions".to_owned(), lines: list(&plan.cautions), ..Section::default() },
        Section { title: "Know first".to_owned(), lines: list(&plan.before), ..Section::default() },
    ];
    let with = With { meters: uses_several(plan), why };
    match &plan.complaint {
        Some(dossier) => {
            sections.extend(complaint::opening(harness, dossier));
            sections.extend(plan.phases.iter().flat_map(|p| complaint::phase_sections(harness, plan, p)));
            sections.extend(complaint::closing(harness, dossier));
        }
        None => {
            sections.extend(plan_aids::runs(plan).flat_map(|run| {
                let stage = run.first().and_then(|first| stage_section(plan, first));
                stage.into_iter().chain(phase_sections(harness, plan, run, with))
            }));
        }
    }
    if !plan.left_out.is_empty() {
        sections.push(left_out_section(view));
    }
    if !plan.function_check.is_empty() {
        sections.push(Section {
            title: "Function check".to_owned(),
            lines: plan.function_check.iter().map(|check| format!("[ ] {check}")).collect(),
            ..Section::default()
        });
    }
    if plan.complaint.is_none() {
        sections.push(coverage_section(view));
    }
    if let Some(aids) = &view.aids {
        let minutes = [view.cost.seconds, aids.without.seconds].map(duration);
        sections.push(plan_aids::section(aids, [view.cost.steps, view.cost.changes], minutes));
    }
    let notes = vec![DEFERENCE.to_owned()];
    Sheet { sections, notes, flat: Some(flat(view, why)), ..Sheet::of("Plan", &view.harness) }
}

fn stage_view(stage: &Stage) -> StageView {
    let Stage { title, why, cautions, first } = stage;
    StageView { title, why, cautions: cautions.clone(), first_phase: first.to_string() }
}

/// The heading of a stage, before its first phase. A phase that no meter serves may be missing.
fn stage_section(plan: &Plan, phase: &Phase) -> Option<Section> {
    let before = plan.phases.iter().take_while(|p| p.id < phase.id).map(|p| p.id).max().unwrap_or(0);
    let mut stages = plan.stages.iter().enumerate();
    let (at, stage) = stages.rfind(|(_, stage)| stage.first > before && stage.first <= phase.id)?;
    let mut lines = vec![stage.why.to_owned()];
    lines.extend(stage.cautions.iter().map(|caution| format!("- Caution: {caution}")));
    Some(Section { title: format!("Stage {} · {}", at + 1, stage.title), lines, ..Section::default() })
}

/// What steps show beside the usual.
#[derive(Debug, Clone, Copy)]
struct With {
    meters: bool,
    why: bool,
}

/// Whether steps name different meters, or another than one would take to be meant.
fn uses_several(plan: &Plan) -> bool {
    plan.steps().any(|step| step.expect.meter.name != Meter::HANDHELD.name)
}

/// What no meter at hand may serve.
fn left_out_section(view: &PlanView) -> Section {
    let line = |left: &LeftOutView| {
        let LeftOutView { id, kind, red, black, why } = left;
        format!("- {id} {kind} {red} / {black}: {why}.")
    };
    Section {
        title: format!("Left out: not for the meters at hand ({})", view.meter),
        lines: view.left_out.iter().map(line).collect(),
        ..Section::default()
    }
}

/// Why a step's limits are where they are.
fn reason(step: &Step) -> String {
    format!("- {}{}", step.id, limits(step))
}

/// The same without the step: " Least: …. Most: …."
pub(super) fn limits(step: &Step) -> String {
    let why = &step.expect.why;
    let limit = |what: &str, words: String| {
        if words.is_empty() { String::new() } else { format!(" {what}: {words}.") }
    };
    let computed = step.expect.computed_words().map_or_else(String::new, |w| format!(" Computed: {w}."));
    let [low, high] = [&why.low, &why.high].map(|reason| reason.words(step.expect.ohms));
    format!("{}{}{computed}", limit("Least", low), limit("Most", high))
}

/// All readings in one table, each with the setup it is taken in.
fn flat(view: &PlanView, why: bool) -> Section {
    let mut rows = Vec::new();
    for phase in &view.phases {
        let SetupView { power, unplugged, set, conditions, strapped, .. } = &phase.setup;
        let strapped: Vec<String> = strapped.iter().map(|strap| strap.join("+")).collect();
        let set: Vec<String> = set.iter().map(|(switch, position)| format!("{switch}={position}")).collect();
        for step in &phase.steps {
            let bound = |bound: Option<f64>| bound.map(|value| value.to_string()).unwrap_or_default();
            let texts = [&step.id, &step.station, &step.red, &step.black, step.expect.unit]
                .map(|t: &str| t.to_owned());
            let [id, station, red, black, unit] = texts;
            let mut row = vec![
                id,
                (*power).to_owned(),
                unplugged.join(" "),
                set.join(" "),
                conditions.join(" "),
                station,
                step.kind.to_owned(),
                red,
                black,
                bound(step.expect.low),
                bound(step.expect.high),
                unit,
                step.covers.join(" "),
                step.meter.to_owned(),
            ];
            row.extend(view.aids.as_ref().map(|_| strapped.join(" ")));
            if why {
                let WhyView { low, high, .. } = &step.expect.why;
                row.extend([low, high].map(|reason| reason.clone().unwrap_or_default()));
            }
            rows.push(row);
        }
    }
    let mut columns = vec![
        "step",
        "power",
        "unplugged",
        "set",
        "conditions",
        "station",
        "kind",
        "red",
        "black",
        "low",
        "high",
        "unit",
        "covers",
        "meter",
    ];
    columns.extend(view.aids.as_ref().map(|_| "strapped"));
    if why {
        columns.extend(["why no less", "why no more"]);
    }
    Section { columns, rows, ..Section::default() }
}

/// A phase opens with what to do and what the machine looks like then; its readings follow in one table
/// for each station.
///
/// Phases in which a strap loses one clip after the other stand in one table, with what to do before each reading.
fn phase_sections(harness: &Harness, plan: &Plan, run: &[Phase], with: With) -> Vec<Section> {
    let [phase, ..] = run else { return Vec::new() };
    let mut lines = pace(plan, run);
    for (at, action) in phase.changes.iter().enumerate() {
        lines.push(format!("{:>3}. {}", at + 1, capital(&action.words(harness))));
    }
    lines.push(format!("Now: {}.", phase.setup.words(harness)));
    lines.extend(phase.cautions.iter().map(|caution| format!("- Caution: {caution}")));
    if !phase.live.is_empty() {
        let live = phase.live.iter().map(|(point, volts)| format!("{} {volts}", harness.point_name(*point)));
        lines.push(format!("- Live at open plugs: {}.", live.collect::<Vec<_>>().join(", ")));
    }
    let steps: usize = run.iter().map(|phase| phase.steps.len()).sum();
    let done: usize = plan.phases.iter().take_while(|p| p.id < phase.id).map(|p| p.steps.len()).sum();
    let progress = match steps {
        0 => String::new(),
        1 => format!(" · reading {} of {}", done + 1, plan.cost.steps),
        _ => format!(" · readings {} to {} of {}", done + 1, done + steps, plan.cost.steps),
    };
    let ids = match run {
        [_, .., last] => format!("Phases {} to {}", phase.id, last.id),
        _ => format!("Phase {}", phase.id),
    };
    let title = format!("{ids} · {}{progress}", phase.title);
    let mut sections = vec![Section { title, lines, ..Section::default() }];
    if run.len() > 1 {
        sections.push(run_section(harness, run, with));
        return sections;
    }
    for here in phase.steps.chunk_by(|a, b| a.station == b.station) {
        sections.push(Section {
            title: plan_aids::at(harness, here[0].station),
            under: true,
            columns: columns(with),
            rows: here.iter().map(|step| row(harness, step, with)).collect(),
            notes: if with.why { here.iter().map(reason).collect() } else { Vec::new() },
            ..Section::default()
        });
    }
    sections
}

/// The table of phases in which a strap loses one clip after the other.
fn run_section(harness: &Harness, run: &[Phase], with: With) -> Section {
    let steps = || run.iter().flat_map(|phase| phase.steps.iter().map(move |step| (phase, step)));
    let mut columns = columns(with);
    columns.insert(1, "first");
    let rows = steps().map(|(phase, step)| {
        let mut row = row(harness, step, with);
        row.insert(1, plan_aids::first(harness, phase));
        row
    });
    Section {
        title: plan_aids::at(harness, run.first().and_then(|phase| phase.steps.first()?.station)),
        under: true,
        columns,
        rows: rows.collect(),
        notes: if with.why { steps().map(|(_, step)| reason(step)).collect() } else { Vec::new() },
        ..Section::default()
    }
}

fn columns(with: With) -> Vec<&'static str> {
    let all = ["step", "meter", "red", "black", "expect", "reading", "look at"];
    all.into_iter().filter(|column| with.meters || *column != "meter").collect()
}

fn row(harness: &Harness, step: &Step, with: With) -> Vec<String> {
    let elsewhere = |point: Point| match harness.station_of(point) {
        station if station == step.station || station.is_none() => String::new(),
        station => format!(" ({})", station_word(harness, station)),
    };
    let black = step.measurement.black();
    let mut row = vec![step.id.clone()];
    row.extend(with.meters.then(|| step.expect.meter.name.to_owned()));
    row.extend([
        probe(harness, step.measurement.red()),
        format!("{}{}", probe(harness, black), elsewhere(black)),
        narrow(&step.expect.words()),
        "[     ]".to_owned(),
        accuses(harness, step),
    ]);
    row
}

/// An expectation for a narrow column: "< 0.63 ohm", "40.2–56.7 ohm", "open ≥ 1 Mohm".
pub(super) fn narrow(words: &str) -> String {
    let open = words.strip_prefix("open (").and_then(|rest| rest.strip_suffix(')'));
    let words = open.map_or_else(|| words.to_owned(), |limit| format!("open {limit}"));
    let words = words.replace("below ", "< ");
    if words.contains('-') { words } else { words.replace(" to ", "–") }
}

/// A point with the colours of the wires in it, which is how one finds it.
pub(super) fn probe(harness: &Harness, point: Point) -> String {
    let mut seen = BTreeSet::new();
    let colours = colours_at(harness, point);
    let colours = colours.split(' ').filter(|colour| seen.insert(*colour)).collect::<Vec<_>>().join(" ");
    let name = harness.point_name(point);
    if matches!(point, Point::Terminal(_)) || colours.is_empty() { name } else { format!("{name} {colours}") }
}

/// What to look at if the reading is bad: parts and plugs first, because they are quick to look at, then
/// wires; as many as a narrow column holds. A wire stands for its ends. What does not conduct comes before
/// what touches: only where a reading shows nothing else are the wires that touch named.
fn accuses(harness: &Harness, step: &Step) -> String {
    const WIDTH: usize = 14;
    let mut names: Vec<(u8, String)> = Vec::new();
    let mut seen: BTreeSet<(u8, String)> = BTreeSet::new();
    let touches = |fault: &Fault| {
        matches!(fault, Fault::Short(..) | Fault::ToChassis(_) | Fault::Crossed(..) | Fault::PartShort(_))
    };
    let only_touching = step.covers.iter().all(touches);
    let named = step.covers.iter().filter(|fault| only_touching || !touches(fault));
    for element in named.flat_map(|fault| fault.elements()) {
        let name = match element {
            Element::Part(_) => (0, element.id(harness)),
            Element::Bond(_) => (1, element.id(harness)),
            Element::Mated(contact, _) => {
                (1, harness.connectors[harness.contacts[contact].connector].id.clone())
            }
            Element::Wire(wire) | Element::Termination(wire, _) | Element::SpliceLeg(wire, _) => {
                (2, harness.wires[wire].id.clone())
            }
        };
        if seen.insert(name.clone()) {
            names.push(name);
        }
    }
    names.sort_by_key(|(rank, _)| *rank);
    if names.is_empty() {
        return step.purpose.clone();
    }
    let mut shown = String::new();
    for (at, (_, name)) in names.iter().enumerate() {
        let more = format!("{shown}{}{name}", if at == 0 { "" } else { ", " });
        if at > 0 && more.len() > WIDTH {
            return format!("{shown}, +{}", names.len() - at);
        }
        shown = more;
    }
    shown
}

fn coverage_section(view: &PlanView) -> Section {
    let mut reasons: BTreeMap<&str, Vec<&UndetectedView>> = BTreeMap::new();
    for undetected in &view.coverage.undetected {
        reasons.entry(undetected.class).or_default().push(undetected);
    }
    let mut lines = vec![format!(
        "{} of {} single faults in scope show for sure.",
        view.coverage.detected, view.coverage.faults
    )];
    if view.coverage.untried > 0 {
        lines.push(format!(
            "The machine is too large to try every fault with power on: in {} of the phases readings are taken, and \
             claim nothing. Ask for a part of it (--unplug, --circuit).",
            view.coverage.untried
        ));
    }
    lines.extend(bounds(&view.cost, view.aids.is_some()));
    let mut reasons: Vec<(&str, Vec<&UndetectedView>)> = reasons.into_iter().collect();
    reasons.sort_by_key(|(_, hidden)| Reverse(hidden.len()));
    for (class, hidden) in reasons {
        lines.push(format!("- {} not shown: {class}.", hidden.len()));
        // One example with a remedy says more than the count.
        if let Some((example, uncover)) = hidden.iter().find_map(|h| Some((h, h.uncover.as_ref()?))) {
            lines.push(format!("  {}: {}; {uncover}.", example.fault, example.why));
        }
    }
    Section { title: "What this plan shows and costs".to_owned(), lines, ..Section::default() }
}

pub(super) fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}
