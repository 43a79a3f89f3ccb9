//! The plan by phase, as the page shows it.
//!
//! Comes in: a plan. Goes out: for each phase what to do in order, a picture of the machine as it then stands, and its
//! steps with the faces that are probed. Why: what is done, looked at and written down at one place stands together.

use std::collections::BTreeSet;

use super::super::complaint::{arrivals, percent};
use super::super::plan::{capital, limits, narrow};
use super::super::{colours_at, station_word};
use super::faces::{Faces, Use};
use super::{tidy, tidy_all};
use crate::definition::{Harness, Point};
use crate::draw::{Side, probe_at, setup_of, setup_scene, to_terse_svg};
use crate::plan::complaint::{Next, Outcome, Shown};
use crate::plan::{Phase, Plan, Stage, Step};
use crate::setup::Setup;

/// A phase.
pub(super) struct PhasePart {
    /// Before the first phase of a stage: its title, what it is for, and its cautions.
    pub(super) stage: Option<(String, String, Vec<String>)>,
    pub(super) id: usize,
    pub(super) title: String,
    /// What brings the setup about: from where, and what to do in order.
    pub(super) ways: Vec<(String, Vec<String>)>,
    pub(super) now: String,
    pub(super) cautions: Vec<String>,
    pub(super) live: String,
    /// How the machine stands, as SVG.
    pub(super) picture: String,
    pub(super) steps: Vec<StepPart>,
}

/// A step.
pub(super) struct StepPart {
    pub(super) id: String,
    /// Its place among all steps, from 1.
    pub(super) number: usize,
    pub(super) kind: &'static str,
    pub(super) station: String,
    /// The meter, and its range.
    pub(super) meter: String,
    pub(super) red: ProbePart,
    pub(super) black: ProbePart,
    pub(super) expect: String,
    pub(super) purpose: String,
    /// Why the limits are where they are, where that is asked for.
    pub(super) reason: String,
    /// What to look at if the reading is bad.
    pub(super) look: String,
    /// Small faces with the marks on them.
    pub(super) minis: Vec<Mini>,
    /// Where the reading decides what follows.
    pub(super) outcomes: Vec<OutcomePart>,
}

/// Where a probe goes.
pub(super) struct ProbePart {
    pub(super) point: String,
    pub(super) colours: String,
    pub(super) how: String,
    pub(super) station: String,
    /// The face's key and the contact's name on it, if it is a contact.
    pub(super) face: Option<(String, String)>,
}

/// A small face with marks.
pub(super) struct Mini {
    pub(super) face: Use,
    /// What it is, for people.
    pub(super) caption: String,
    /// Marks: `r` or `b`, with the upper left corner of the mark's square.
    pub(super) marks: Vec<(char, f64, f64)>,
}

/// What a reading can show.
pub(super) struct OutcomePart {
    pub(super) shows: &'static str,
    pub(super) words: String,
    pub(super) share: String,
    pub(super) means: String,
    /// What to do before the next step.
    pub(super) changes: Vec<String>,
    /// The anchor that follows, and what it is called.
    pub(super) target: String,
    pub(super) next: String,
}

/// The anchor of a step.
pub(super) fn anchor(id: &str) -> String {
    format!("step-{}", id.replace('.', "-"))
}

impl StepPart {
    /// The anchor of the step.
    pub(super) fn anchor(&self) -> String {
        anchor(&self.id)
    }
}

pub(super) fn phases(harness: &Harness, plan: &Plan, why: bool, faces: &mut Faces<'_>) -> Vec<PhasePart> {
    let mut number = 0;
    let mut before = 0;
    let mut made = Vec::new();
    for phase in &plan.phases {
        let stage = stage(&plan.stages, before, phase.id);
        before = phase.id;
        let mut part = phase_part(harness, plan, phase, (stage, &mut number), faces);
        if why {
            for (part, step) in part.steps.iter_mut().zip(&phase.steps) {
                part.reason = tidy(&limits(step));
            }
        }
        made.push(part);
    }
    made
}

/// The stage that begins with a phase, or with one that is missing before it.
fn stage(stages: &[Stage], before: usize, phase: usize) -> Option<(String, String, Vec<String>)> {
    let (at, stage) = stages.iter().enumerate().rfind(|(_, s)| s.first > before && s.first <= phase)?;
    Some((format!("Stage {} · {}", at + 1, stage.title), stage.why.to_owned(), tidy_all(&stage.cautions)))
}

type Opening<'a> = (Option<(String, String, Vec<String>)>, &'a mut usize);

fn phase_part(
    harness: &Harness,
    plan: &Plan,
    phase: &Phase,
    (stage, number): Opening<'_>,
    faces: &mut Faces<'_>,
) -> PhasePart {
    let ways = if plan.complaint.is_some() {
        ways(&arrivals(harness, plan, phase))
    } else {
        let actions = phase.changes.iter().map(|action| tidy(&capital(&action.words(harness))));
        vec![(String::new(), actions.collect())]
    };
    let live = phase.live.iter().map(|(point, volts)| format!("{} {volts}", harness.point_name(*point)));
    let name = format!("Phase {}", phase.id);
    let steps = phase.steps.iter().map(|step| {
        *number += 1;
        step_part(harness, step, &phase.setup, *number, faces)
    });
    PhasePart {
        stage,
        id: phase.id,
        title: format!("{name} · {}", phase.title),
        ways: ways.into_iter().filter(|(lead, actions)| !lead.is_empty() || !actions.is_empty()).collect(),
        now: tidy(&format!("Now: {}.", phase.setup.words(harness))),
        cautions: tidy_all(&phase.cautions),
        live: tidy(&live.collect::<Vec<_>>().join(", ")),
        steps: steps.collect(),
        picture: to_terse_svg(&setup_scene(&setup_of(harness, &phase.setup, &name, None))),
    }
}

/// Lines of "from there", each followed by numbered actions, taken apart.
fn ways(lines: &[String]) -> Vec<(String, Vec<String>)> {
    let mut ways: Vec<(String, Vec<String>)> = Vec::new();
    for line in lines {
        let numbered = line.trim_start().split_once(". ").filter(|(n, _)| n.parse::<u16>().is_ok());
        match (numbered, ways.last_mut()) {
            (Some((_, action)), Some((_, actions))) => actions.push(tidy(action)),
            (Some((_, action)), None) => ways.push((String::new(), vec![tidy(action)])),
            (None, _) => ways.push((tidy(line), Vec::new())),
        }
    }
    ways
}

fn step_part(
    harness: &Harness,
    step: &Step,
    setup: &Setup,
    number: usize,
    faces: &mut Faces<'_>,
) -> StepPart {
    let m = &step.measurement;
    let points = [m.red(), m.black()];
    let range = step.expect.meter.range_for(&step.expect).map(|range| format!(", range {}", range.name));
    let [red, black] = points.map(|point| probe_part(harness, setup, point));
    StepPart {
        id: step.id.clone(),
        number,
        kind: m.kind().word(),
        station: station_title(harness, step),
        meter: format!("{}{}", step.expect.meter.name, range.unwrap_or_default()),
        minis: minis(harness, [&red, &black], points, setup, faces),
        red,
        black,
        expect: narrow_or_words(&step.expect.words()),
        purpose: tidy(&step.purpose),
        reason: String::new(),
        look: look(harness, step),
        outcomes: step.outcomes.iter().map(|outcome| outcome_part(harness, step, outcome)).collect(),
    }
}

/// Words a person reads at a glance; the signs that narrow columns use are for tables.
fn narrow_or_words(words: &str) -> String {
    if words.len() > 40 { narrow(words) } else { words.to_owned() }
}

fn station_title(harness: &Harness, step: &Step) -> String {
    let word = station_word(harness, step.station);
    let title = step.station.map(|id| harness.stations[id].title.clone()).unwrap_or_default();
    tidy(&if title.is_empty() { word } else { format!("{word}: {title}") })
}

/// The elements that a bad reading accuses first; the others are counted.
fn look(harness: &Harness, step: &Step) -> String {
    const MOST: usize = 8;
    let mut seen = BTreeSet::new();
    let elements = step.covers.iter().flat_map(|fault| fault.elements());
    let names: Vec<String> =
        elements.filter(|e| seen.insert(*e)).map(|element| element.id(harness)).collect();
    let more = names.len().saturating_sub(MOST);
    let named = names[..names.len() - more].join(", ");
    tidy(&if more > 0 { format!("{named} and {more} more") } else { named })
}

fn outcome_part(harness: &Harness, step: &Step, outcome: &Outcome) -> OutcomePart {
    let (target, next, changes) = match &outcome.next {
        Next::Step { id, changes } => (anchor(id), format!("Go on to {id}"), &changes[..]),
        Next::End(at) => (format!("end-{}", at + 1), format!("End {}", at + 1), &[][..]),
    };
    OutcomePart {
        shows: Shown::word(outcome.shown),
        words: capital(&outcome.shown.words(&step.expect)),
        share: percent(outcome.share),
        means: tidy(&outcome.means),
        changes: changes.iter().map(|action| tidy(&action.words(harness))).collect(),
        target,
        next,
    }
}

fn probe_part(harness: &Harness, setup: &Setup, point: Point) -> ProbePart {
    let at = probe_at(harness, setup, point);
    let mut seen = BTreeSet::new();
    let colours = colours_at(harness, point);
    let colours = colours.split(' ').filter(|colour| seen.insert(*colour)).collect::<Vec<_>>().join(" ");
    let face = face_at(harness, setup, point).map(|(id, side, name)| (Faces::key(id, side), name));
    ProbePart {
        point: tidy(&at.point),
        colours: if matches!(point, Point::Contact(_)) { tidy(&colours) } else { String::new() },
        how: tidy(&at.how),
        station: tidy(&at.station),
        face,
    }
}

/// The side that one sees who probes a contact: the mating side of what is open, the wire side of what stays in.
fn face_at(
    harness: &Harness,
    setup: &Setup,
    point: Point,
) -> Option<(crate::definition::ConnectorId, Side, String)> {
    let Point::Contact(contact) = point else { return None };
    let id = harness.contacts[contact].connector;
    let open = harness.connectors[id].mating.is_none_or(|mating| setup.is_parted(mating));
    let name = crate::draw::clean(&harness.contacts[contact].name);
    let side = if open { Side::Mating } else { Side::Wire };
    Some((id, Faces::side(harness, id, side), name))
}

/// The faces that a step probes, each once, with the marks on it.
fn minis(
    harness: &Harness,
    probes: [&ProbePart; 2],
    points: [Point; 2],
    setup: &Setup,
    faces: &mut Faces<'_>,
) -> Vec<Mini> {
    let mut minis: Vec<Mini> = Vec::new();
    for ((probe, point), letter) in probes.into_iter().zip(points).zip(['r', 'b']) {
        let Some((id, side, name)) = face_at(harness, setup, point) else { continue };
        let drawn = faces.of(id, side);
        let Some((face, places)) = &drawn.mini else { continue };
        let Some([x, y]) = places.get(&name) else { continue };
        let round = |value: f64| (value * 10.0).round() / 10.0;
        let mark = (letter, round(x - 24.0), round(y - 24.0));
        let word = if letter == 'r' { "R" } else { "B" };
        match minis.iter_mut().find(|mini| mini.face.shared == face.shared) {
            Some(mini) => {
                mini.marks.push(mark);
                mini.caption.push_str(&format!(", {word} {}", probe.point));
            }
            None => minis.push(Mini {
                face: face.clone(),
                caption: format!("{}: {word} {}", face.title, probe.point),
                marks: vec![mark],
            }),
        }
    }
    minis
}
