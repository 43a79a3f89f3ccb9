//! A complaint's plan as a chart for a manual: one tree, from the first reading to where it ends.
//!
//! Comes in: a plan for a complaint. Goes out: the same steps, under the numbers they have in the plan, each with what it
//! can show and what follows, nested; the setups with their cautions; the ends; and what all of it costs. Why: a manual
//! wants the whole way on a page, and a program wants the tree and not a list of numbers to be looked up.

use serde::Serialize;

use super::complaint::{self, EffortsView, EndView};
use super::plan_view::{ChangeView, ExpectView, LiveView, SetupView, round};
use super::{Section, Sheet, Stamp, station_word};
use crate::definition::Harness;
use crate::plan::complaint::{Dossier, Next, Outcome};
use crate::plan::{DEFERENCE, Phase, Plan, Step};
use crate::setup::{Action, READING_SECONDS};
use crate::units::significant;

/// A chart for programs.
#[derive(Debug, Clone, Serialize)]
pub struct ChartView {
    /// The definition.
    pub harness: Stamp,
    /// The part or output that does not work.
    pub part: String,
    /// The setup in which it should.
    #[serde(flatten)]
    pub setup: SetupView,
    /// Cautions that hold throughout.
    pub cautions: Vec<String>,
    /// The setups that the steps need, with their cautions.
    pub setups: Vec<ChartSetupView>,
    /// The first step with all that follows; null where nothing is to be read.
    pub tree: Option<ChartStepView>,
    /// Where the steps end.
    pub ends: Vec<EndView>,
    /// What the steps cost: expected, and at most.
    pub effort: EffortsView,
}

/// A setup of a chart.
#[derive(Debug, Clone, Serialize)]
pub struct ChartSetupView {
    /// Its number: that of its steps before the point.
    pub id: String,
    /// What it is for.
    pub title: &'static str,
    /// The machine's state.
    #[serde(flatten)]
    pub setup: SetupView,
    /// Cautions that apply here.
    pub cautions: Vec<String>,
    /// Exposed live contacts.
    pub live: Vec<LiveView>,
}

/// A step of a chart with all that follows.
#[derive(Debug, Clone, Serialize)]
pub struct ChartStepView {
    /// Its number in the plan.
    pub step: String,
    /// What to do before it, from where the step before has left the machine.
    pub changes: Vec<ChangeView>,
    /// What is read.
    pub kind: &'static str,
    /// Red probe.
    pub red: String,
    /// Black probe.
    pub black: String,
    /// Where one stands.
    pub station: String,
    /// What a healthy machine shows.
    pub expect: ExpectView,
    /// How likely one comes here.
    pub share: f64,
    /// Readings to be expected from here on, this one among them.
    pub readings: f64,
    /// Seconds to be expected from here on, with the changes and without walks between probes.
    pub seconds: f64,
    /// What it can show.
    pub outcomes: Vec<ChartOutcomeView>,
}

/// What a step of a chart can show, and what follows.
#[derive(Debug, Clone, Serialize)]
pub struct ChartOutcomeView {
    /// `lower`, `good`, `higher` or `open`.
    pub shows: &'static str,
    /// With its limit, in words.
    pub words: String,
    /// How likely it is at this step.
    pub share: f64,
    /// What it means.
    pub means: String,
    /// The step that follows.
    pub then: Option<ChartStepView>,
    /// The end, where none does.
    pub end: Option<usize>,
}

/// The chart of a plan as JSON view and sheet; `None` where the plan is for no complaint.
pub fn chart(harness: &Harness, plan: &Plan) -> Option<(ChartView, Sheet)> {
    let dossier = plan.complaint.as_ref()?;
    let whole = complaint::view(harness, dossier);
    let phases: Vec<&Phase> = plan.phases.iter().filter(|phase| !phase.steps.is_empty()).collect();
    let first = plan.steps().next();
    let tree = first.map(|step| branch(harness, plan, step, &phases[0].changes, 1.0));
    let view = ChartView {
        harness: Stamp::of(harness),
        part: whole.part,
        setup: whole.setup,
        cautions: plan.cautions.clone(),
        setups: phases.into_iter().map(|phase| setup(harness, phase)).collect(),
        tree,
        ends: whole.ends,
        effort: whole.effort,
    };
    let sheet = sheet(harness, plan, dossier, &view);
    Some((view, sheet))
}

fn setup(harness: &Harness, phase: &Phase) -> ChartSetupView {
    ChartSetupView {
        id: phase.id.to_string(),
        title: phase.title,
        setup: SetupView::of(harness, &phase.setup),
        cautions: phase.cautions.clone(),
        live: phase
            .live
            .iter()
            .map(|(point, volts)| LiveView { contact: harness.point_name(*point), volts: round(volts.get()) })
            .collect(),
    }
}

/// A step with all that follows. Steps lead down the plan only, and each is led to once, so this ends.
fn branch(harness: &Harness, plan: &Plan, step: &Step, changes: &[Action], share: f64) -> ChartStepView {
    let m = &step.measurement;
    let outcome = |outcome: &Outcome| {
        let (then, end) = match &outcome.next {
            Next::End(at) => (None, Some(at + 1)),
            Next::Step { id, changes } => {
                let next = plan.steps().find(|other| other.id == *id);
                (next.map(|next| branch(harness, plan, next, changes, share * outcome.share)), None)
            }
        };
        ChartOutcomeView {
            shows: outcome.shown.word(),
            words: outcome.shown.words(&step.expect),
            share: three(outcome.share),
            means: outcome.means.clone(),
            then,
            end,
        }
    };
    let outcomes: Vec<ChartOutcomeView> = step.outcomes.iter().map(outcome).collect();
    let further = |of: fn(&ChartStepView) -> f64| {
        let each = outcomes.iter().zip(&step.outcomes);
        each.filter_map(|(view, outcome)| Some(outcome.share * of(view.then.as_ref()?))).sum::<f64>()
    };
    let (readings, seconds) = (further(|next| next.readings), further(|next| next.seconds));
    let changing: f64 = changes.iter().map(|action| action.seconds(harness).get()).sum();
    ChartStepView {
        step: step.id.clone(),
        changes: changes.iter().map(|action| ChangeView::of(harness, action)).collect(),
        kind: m.kind().word(),
        red: harness.point_name(m.red()),
        black: harness.point_name(m.black()),
        station: station_word(harness, step.station),
        expect: ExpectView::of(&step.expect),
        share: three(share),
        readings: round(1.0 + readings),
        seconds: round(changing + READING_SECONDS.get() + seconds),
        outcomes,
    }
}

fn three(share: f64) -> f64 {
    significant(share, 3).parse().unwrap_or(share)
}

fn sheet(harness: &Harness, plan: &Plan, dossier: &Dossier, view: &ChartView) -> Sheet {
    let mut sections = complaint::opening(harness, dossier);
    let cautions = view.cautions.iter().map(|text| format!("- {text}")).collect();
    sections.insert(0, titled("Cautions that hold throughout", cautions));
    sections.extend(plan.phases.iter().filter(|phase| !phase.steps.is_empty()).map(|phase| {
        let mut lines = vec![format!("{}.", phase.setup.words(harness))];
        lines.extend(phase.cautions.iter().map(|text| format!("- Caution: {text}")));
        if !phase.live.is_empty() {
            let live =
                phase.live.iter().map(|(point, volts)| format!("{} {volts}", harness.point_name(*point)));
            lines.push(format!("- Live at open plugs: {}.", live.collect::<Vec<_>>().join(", ")));
        }
        titled(&format!("Setup {} · {}", phase.id, phase.title), lines)
    }));
    let mut lines = Vec::new();
    if let Some(tree) = &view.tree {
        draw(tree, 0, "", &mut lines);
    }
    sections.push(titled("Chart: the number before the point names the setup", lines));
    sections.extend(complaint::closing(harness, dossier));
    let mut notes = vec![
        "Before you leave: switches to rest, what was unplugged plugged in with power isolated, battery negative on \
         last; then check that everything works."
            .to_owned(),
    ];
    notes.extend(plan.function_check.iter().map(|check| format!("[ ] {check}")));
    notes.push(DEFERENCE.to_owned());
    Sheet { sections, notes, ..Sheet::of("Chart", &view.harness) }
}

fn titled(title: &str, lines: Vec<String>) -> Section {
    Section { title: title.to_owned(), lines, ..Section::default() }
}

/// A step on a line, and under it, further in, each outcome with what follows.
fn draw(step: &ChartStepView, depth: usize, led_by: &str, lines: &mut Vec<String>) {
    let indent = "  ".repeat(depth);
    let changes: Vec<String> =
        step.changes.iter().map(|change| format!("{} {}", change.action, change.target)).collect();
    let changes =
        if changes.is_empty() { String::new() } else { format!(" first {};", changes.join(", then ")) };
    let at = if step.station.is_empty() { String::new() } else { format!(" at {}", step.station) };
    lines.push(format!(
        "{indent}- {led_by}{}:{changes} {} red {}, black {}{at}, healthy {}",
        step.step, step.kind, step.red, step.black, step.expect.words
    ));
    for outcome in &step.outcomes {
        let led_by = format!("{} ({}): ", outcome.words, complaint::percent(outcome.share));
        match (&outcome.then, outcome.end) {
            (Some(next), _) => draw(next, depth + 1, &led_by, lines),
            (None, end) => {
                let end = end.map_or_else(String::new, |end| format!("end {end}"));
                lines.push(format!("{indent}  - {led_by}{end}"));
            }
        }
    }
}
