//! What the page's script needs to know.
//!
//! Comes in: a plan and the faces that were drawn. Goes out: JSON that can stand inside a page. Why: limits must be
//! the plan's own numbers, not those that are printed; and names go into the record as the definition has them.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;
use sha2::{Digest, Sha256};

use super::super::{SetupView, Stamp};
use super::faces::Faces;
use super::steps::PhasePart;
use crate::definition::Harness;
use crate::measure::OPEN_FROM;
use crate::plan::complaint::Next;
use crate::plan::{Plan, Step};
use crate::setup::{position_name, switches};

#[derive(Serialize)]
struct Data<'a> {
    id: &'a str,
    revision: &'a str,
    hash: &'a str,
    /// Tells this plan from others of the same definition.
    plan: String,
    /// From this resistance on a reading counts as open.
    open_from: f64,
    complaint: bool,
    /// The half that a record names, for the half that it might name.
    plugs: BTreeMap<&'a str, &'a str>,
    /// Where each switch rests.
    rest: BTreeMap<&'a str, &'a str>,
    phases: Vec<SetupView>,
    meters: Vec<MeterData>,
    steps: Vec<StepData<'a>>,
    faces: BTreeMap<String, FaceData>,
}

#[derive(Serialize)]
struct StepData<'a> {
    id: &'a str,
    /// Its phase, from 0.
    phase: usize,
    kind: &'static str,
    red: String,
    black: String,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    ohms: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    low: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    high: Option<f64>,
    /// The meter, by its place among the page's meters.
    meter: usize,
    /// Where the probes go on faces: key and contact.
    #[serde(skip_serializing_if = "Option::is_none")]
    r: Option<(&'a str, &'a str)>,
    #[serde(skip_serializing_if = "Option::is_none")]
    b: Option<(&'a str, &'a str)>,
    /// What can be shown: word, and the step or the end that follows.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    out: Vec<(&'static str, Option<&'a str>, Option<usize>)>,
}

/// A meter; the page's script lays these over each step that is read with it.
#[derive(Serialize, PartialEq)]
struct MeterData {
    meter: &'static str,
    /// Whether it shows a tone and nothing else.
    tone_only: bool,
    /// Below this resistance it may give a tone.
    beeps: f64,
}

impl MeterData {
    fn of(step: &Step) -> Self {
        let meter = &step.expect.meter;
        Self { meter: meter.name, tone_only: meter.is_tone_only(), beeps: meter.beeps_between[1].get() }
    }
}

#[derive(Serialize)]
struct FaceData {
    title: String,
    size: [f64; 2],
    /// Contacts: middle and radius.
    contacts: BTreeMap<String, [f64; 3]>,
}

/// The data as JSON, in which nothing can end a script element.
pub(super) fn data(
    harness: &Harness,
    plan: &Plan,
    stamp: &Stamp,
    parts: &[PhasePart],
    faces: &Faces<'_>,
) -> String {
    let wanted: &[_] = if parts.is_empty() { &[] } else { &plan.phases };
    let mut meters: Vec<MeterData> = Vec::new();
    let mut steps = Vec::new();
    for (at, (phase, part)) in wanted.iter().zip(parts).enumerate() {
        for (step, part) in phase.steps.iter().zip(&part.steps) {
            let own = MeterData::of(step);
            let meter = meters.iter().position(|meter| *meter == own).unwrap_or(meters.len());
            if meter == meters.len() {
                meters.push(own);
            }
            steps.push(step_data(harness, [at, meter], step, part));
        }
    }
    let probes = parts.iter().flat_map(|part| &part.steps).flat_map(|step| [&step.red, &step.black]);
    let probed: BTreeSet<&str> = probes.filter_map(|probe| Some(probe.face.as_ref()?.0.as_str())).collect();
    let mut data = Data {
        id: &stamp.id,
        revision: &stamp.revision,
        hash: &stamp.hash,
        plan: String::new(),
        open_from: OPEN_FROM.get(),
        complaint: plan.complaint.is_some(),
        plugs: plugs(harness),
        rest: switches(harness)
            .map(|(id, _, rest)| (harness.parts[id].id.as_str(), position_name(harness, id, rest)))
            .collect(),
        phases: wanted.iter().map(|phase| SetupView::of(harness, &phase.setup)).collect(),
        meters,
        steps,
        faces: faces.all().filter(|(key, _)| probed.contains(key.as_str())).map(face_data).collect(),
    };
    // Plain structs of texts and numbers: there is nothing that JSON could refuse.
    let plan = serde_json::to_string(&(&data.phases, &data.meters, &data.steps)).unwrap_or_default();
    let digest = Sha256::digest(plan.as_bytes());
    data.plan = digest.iter().take(8).fold(String::new(), |text, byte| format!("{text}{byte:02x}"));
    let json = serde_json::to_string(&data).unwrap_or_default();
    json.replace('<', "\\u003c").replace('>', "\\u003e").replace('&', "\\u0026")
}

fn plugs(harness: &Harness) -> BTreeMap<&str, &str> {
    let pair = |mating: &crate::definition::Mating, id| {
        let plug = crate::setup::plug_of(harness, id);
        let other = if mating.first == plug { mating.second } else { mating.first };
        (harness.connectors[other].id.as_str(), harness.connectors[plug].id.as_str())
    };
    harness.matings.iter().map(|(id, mating)| pair(mating, id)).collect()
}

fn step_data<'a>(
    harness: &Harness,
    [phase, meter]: [usize; 2],
    step: &'a Step,
    part: &'a super::steps::StepPart,
) -> StepData<'a> {
    let (m, expect) = (&step.measurement, &step.expect);
    let at = |probe: &'a super::steps::ProbePart| {
        probe.face.as_ref().map(|(key, contact)| (key.as_str(), contact.as_str()))
    };
    let out = step.outcomes.iter().map(|outcome| match &outcome.next {
        Next::Step { id, .. } => (outcome.shown.word(), Some(id.as_str()), None),
        Next::End(at) => (outcome.shown.word(), None, Some(at + 1)),
    });
    StepData {
        id: &step.id,
        phase,
        kind: m.kind().word(),
        red: harness.point_name(m.red()),
        black: harness.point_name(m.black()),
        ohms: expect.ohms,
        low: expect.low.is_finite().then_some(expect.low),
        high: expect.high.filter(|high| high.is_finite()),
        meter,
        r: at(&part.red),
        b: at(&part.black),
        out: out.collect(),
    }
}

fn face_data((key, drawn): (String, &super::faces::Drawn)) -> (String, FaceData) {
    let round = |value: f64| (value * 10.0).round() / 10.0;
    let contacts = drawn.full_places.iter();
    let contacts = contacts.map(|p| (p.contact.clone(), [p.centre.x, p.centre.y, p.radius].map(round)));
    let full = &drawn.full;
    let data =
        FaceData { title: full.title.clone(), size: [full.width, full.height], contacts: contacts.collect() };
    (key, data)
}
