//! The derivation of a diagnosis: for a terminal and for paper as sections, for programs as JSON.
//!
//! Steps are numbered R1, R2 and so on, each said once; what rests on a step names its number.

use serde::Serialize;

use super::{Section, suspects};
use crate::definition::Harness;
use crate::fault::Fault;
use crate::locate::{Accusation, Diagnosis, Step, UnitCase};
use crate::netlist::Element;

/// A derivation for programs.
#[derive(Debug, Clone, Serialize)]
pub struct ReasonsView {
    /// Sub-proofs, each once.
    pub steps: Vec<StepView>,
    /// What is accused, with what accuses it.
    pub accused: Vec<AccusedView>,
}

/// Some readings rule some faults out.
#[derive(Debug, Clone, Serialize)]
pub struct StepView {
    /// Its number.
    pub id: String,
    /// The readings.
    pub readings: Vec<String>,
    /// The faults that they rule out.
    pub faults: Vec<String>,
    /// Whether a good reading is among them.
    pub by_good: bool,
    /// One of the faults as an example.
    pub why: String,
}

/// Some faults explain every reading.
#[derive(Debug, Clone, Serialize)]
pub struct AccusedView {
    /// One fault, or two at once.
    pub faults: Vec<String>,
    /// What each bad reading would be with them.
    pub explains: Vec<ExplainsView>,
    /// The steps that rule everything else out.
    pub steps: Vec<String>,
}

/// A bad reading that is explained.
#[derive(Debug, Clone, Serialize)]
pub struct ExplainsView {
    /// The reading.
    pub reading: String,
    /// What it would be.
    pub would: String,
    /// What it was.
    pub read: String,
}

/// The case against a unit.
#[derive(Debug, Clone, Serialize)]
pub struct UnitView {
    /// The unit.
    pub unit: String,
    /// The function whose output is absent.
    pub function: String,
    /// The reading that shows it.
    pub absent: String,
    /// What it needs, and what shows it good.
    pub proofs: Vec<ProofView>,
    /// Whether everything it needs was seen good.
    pub closed: bool,
}

/// What a unit needs.
#[derive(Debug, Clone, Serialize)]
pub struct ProofView {
    /// What it is.
    pub need: &'static str,
    /// The contact.
    pub point: String,
    /// The reading that shows it good.
    pub by: Option<String>,
}

pub(super) fn id(step: usize) -> String {
    format!("R{}", step + 1)
}

/// A derivation as JSON view.
pub(super) fn view(harness: &Harness, diagnosis: &Diagnosis) -> ReasonsView {
    let reasons = &diagnosis.reasons;
    let name = |at: &usize| diagnosis.judged[*at].name.clone();
    let ids = |faults: &[Fault]| faults.iter().map(|fault| fault.id(harness)).collect::<Vec<_>>();
    let step = |(at, step): (usize, &Step)| StepView {
        id: id(at),
        readings: step.readings.iter().map(name).collect(),
        faults: ids(&step.faults),
        by_good: step.by_good,
        why: step.words(harness, &diagnosis.judged),
    };
    let explains = |(at, would): &(usize, String)| ExplainsView {
        reading: name(at),
        would: would.clone(),
        read: diagnosis.judged[*at].value.words(),
    };
    let accused = |accused: &Accusation| AccusedView {
        faults: ids(&accused.faults),
        explains: accused.explains.iter().map(explains).collect(),
        steps: accused.steps.iter().map(|step| id(*step)).collect(),
    };
    ReasonsView {
        steps: reasons.steps.iter().enumerate().map(step).collect(),
        accused: reasons.accused.iter().map(accused).collect(),
    }
}

/// The cases against units as JSON views.
pub(super) fn units(harness: &Harness, cases: &[UnitCase]) -> Vec<UnitView> {
    let of = |case: &UnitCase| UnitView {
        unit: harness.parts[case.unit].id.clone(),
        function: case.function.clone(),
        absent: case.absent.clone(),
        proofs: case
            .proofs
            .iter()
            .map(|proof| ProofView {
                need: proof.need.word(),
                point: harness.point_name(proof.point),
                by: proof.by.clone(),
            })
            .collect(),
        closed: case.is_closed(),
    };
    cases.iter().map(of).collect()
}

/// The steps as a section: what good readings rule out, a row for each step; what merely does not explain the bad
/// readings is counted.
pub(super) fn cleared(harness: &Harness, diagnosis: &Diagnosis) -> Option<Section> {
    let row = |(at, step): (usize, &Step)| {
        let of_step = |c: &&crate::locate::Cleared| c.steps.last() == Some(&at) && c.by_good;
        let elements: Vec<Element> = diagnosis.cleared.iter().filter(of_step).map(|c| c.element).collect();
        let readings: Vec<&str> =
            step.readings.iter().map(|at| diagnosis.judged[*at].name.as_str()).collect();
        let what = match &elements[..] {
            [] => suspects::left(harness, &step.faults),
            some => suspects::elements(harness, some.iter().copied()),
        };
        vec![id(at), readings.join(", "), what, step.words(harness, &diagnosis.judged)]
    };
    let steps = diagnosis.reasons.steps.iter().enumerate();
    let rows: Vec<Vec<String>> = steps.filter(|(_, step)| step.by_good).map(row).collect();
    let others = diagnosis.cleared.iter().filter(|cleared| !cleared.by_good).count();
    let rest = format!(
        "Out as well: {others} elements, because nothing wrong with them would make the bad readings{}.",
        names(diagnosis, false)
    );
    Some(Section {
        title: "Not at fault".to_owned(),
        columns: if rows.is_empty() {
            Vec::new()
        } else {
            vec!["no.", "cleared by", "what", "because (one of them)"]
        },
        rows,
        notes: if others > 0 { vec![rest] } else { Vec::new() },
        ..Section::default()
    })
    .filter(|section| !section.rows.is_empty() || !section.notes.is_empty())
}

/// The numbers of the steps with a good reading, or of those without, in brackets.
fn names(diagnosis: &Diagnosis, good: bool) -> String {
    let steps = diagnosis.reasons.steps.iter().enumerate().filter(|(_, step)| step.by_good == good);
    let ids: Vec<String> = steps.map(|(at, _)| id(at)).collect();
    match &ids[..] {
        [] => String::new(),
        [one] => format!(" ({one})"),
        [first, .., last] if ids.len() > 6 => format!(" ({first} to {last}, as they stand in JSON)"),
        _ => format!(" ({})", ids.join(", ")),
    }
}

/// More accused faults than this are not told one by one.
const TOLD: usize = 4;

/// Why the accused are accused, in sentences.
pub(super) fn accused(harness: &Harness, diagnosis: &Diagnosis) -> Option<Section> {
    let mut told: Vec<(Vec<String>, Vec<&Accusation>)> = Vec::new();
    for one in &diagnosis.reasons.accused {
        let explains = |(at, would): &(usize, String)| {
            let judged = &diagnosis.judged[*at];
            format!("{} {would} (it read {})", judged.name, judged.value.words())
        };
        let sentence: Vec<String> = one.explains.iter().map(explains).collect();
        match told.iter_mut().find(|(known, _)| *known == sentence) {
            Some((_, all)) => all.push(one),
            None => told.push((sentence, vec![one])),
        }
    }
    let line = |(would, all): &(Vec<String>, Vec<&Accusation>)| {
        let single: Vec<Fault> = all.iter().filter_map(|a| single(a)).collect();
        let mut what = suspects::left(harness, &single);
        if let (true, Some(pair)) = (single.is_empty(), all.first()) {
            let both: Vec<String> = pair.faults.iter().map(|fault| fault.words(harness)).collect();
            what = both.join(" and ");
        }
        format!("- {what}: would make {}.", would.join(", "))
    };
    let mut lines: Vec<String> = told.iter().take(TOLD).map(line).collect();
    if told.is_empty() {
        return None;
    }
    if told.len() > TOLD {
        lines.push(format!("- and {} more sorts, as they stand in JSON.", told.len() - TOLD));
    }
    let out = diagnosis.reasons.steps.len();
    lines.push(format!(
        "Every other single fault is ruled out by {} step{} above and in JSON, R1 to R{out}.",
        out,
        if out == 1 { "" } else { "s" }
    ));
    Some(Section { title: "Why these".to_owned(), lines, ..Section::default() })
}

fn single(accusation: &Accusation) -> Option<Fault> {
    match accusation.faults[..] {
        [one] => Some(one),
        _ => None,
    }
}

/// The cases against units as a section.
pub(super) fn units_section(views: &[UnitView]) -> Option<Section> {
    let row = |unit: &UnitView, proof: &ProofView| {
        let by = proof.by.clone().unwrap_or_else(|| "NOT YET SEEN".to_owned());
        vec![unit.unit.clone(), unit.function.clone(), format!("{} at {}", proof.need, proof.point), by]
    };
    let rows: Vec<Vec<String>> =
        views.iter().flat_map(|unit| unit.proofs.iter().map(move |proof| row(unit, proof))).collect();
    let note = "A unit is at fault only if it had all it needs and gave nothing.";
    (!rows.is_empty()).then(|| Section {
        title: "Units by elimination".to_owned(),
        columns: vec!["unit", "function", "what it needs", "seen good by"],
        rows,
        notes: vec![note.to_owned()],
        ..Section::default()
    })
}
