//! Places along wires, readings of a wiggle test, and what a twin changed: as rows and JSON.

use serde::Serialize;

use super::Section;
use super::locate::MetresView;
use crate::definition::{Harness, WireId};
use crate::locate::place::{Placed, Together, words};
use crate::locate::twin::Effect;
use crate::locate::{Compared, Diagnosis, Wiggled};
use crate::record::PlaceKind;

/// What one reading of a place says.
#[derive(Debug, Clone, Serialize)]
pub struct PlacedView {
    /// Its step or number.
    pub reading: String,
    /// How it was measured.
    pub kind: PlaceKind,
    /// The wires it goes along.
    pub along: Vec<String>,
    /// What the instrument showed.
    pub value: String,
    /// Where that puts the fault, in words.
    #[serde(rename = "where")]
    pub place: String,
    /// The same in metres.
    pub metres: MetresView,
}

/// What readings of a place say together, for a group of suspects.
#[derive(Debug, Clone, Serialize)]
pub struct TogetherView {
    /// The group, as it is numbered among the suspects.
    pub group: usize,
    /// The readings.
    pub by: Vec<String>,
    /// Where they put the fault, in words.
    #[serde(rename = "where")]
    pub place: String,
    /// The wire.
    pub wire: String,
    /// The trunk it lies in, then those within its error.
    pub trunks: Vec<String>,
    /// In metres.
    pub metres: MetresView,
    /// What does not agree.
    pub disagreement: Vec<String>,
}

/// All that readings of a place say.
#[derive(Debug, Clone, Serialize)]
pub struct PlacesView {
    /// Each alone.
    pub alone: Vec<PlacedView>,
    /// Together, for the groups that they concern.
    pub together: Vec<TogetherView>,
}

/// A reading that was taken while something was moved.
#[derive(Debug, Clone, Serialize)]
pub struct WiggledView {
    /// Its step or number.
    pub reading: String,
    /// What it showed at rest.
    pub value: String,
    /// The least it showed.
    pub min: Option<String>,
    /// The most it showed.
    pub max: Option<String>,
    /// What was moved, as written.
    pub disturbed: Option<String>,
    /// What of the definition that names.
    pub moved: Vec<String>,
    /// Which value counts.
    pub counts: &'static str,
    /// Whether it was good all the time.
    pub good: bool,
}

/// An expectation beside a twin's reading.
#[derive(Debug, Clone, Serialize)]
pub struct ComparedView {
    /// The reading here.
    pub reading: String,
    /// The twin's own.
    pub twin: String,
    /// What the twin showed.
    pub value: String,
    /// What was expected without it.
    pub computed: String,
    /// What is expected now.
    pub expected: String,
    /// What it does here.
    pub effect: Effect,
}

/// What is beside the plain readings of a diagnosis.
#[derive(Debug, Clone, Serialize)]
pub struct BesideView {
    /// Readings of a place.
    pub places: PlacesView,
    /// Readings of a wiggle test.
    pub wiggled: Vec<WiggledView>,
    /// Expectations beside a twin.
    pub twin: Vec<ComparedView>,
}

impl BesideView {
    /// The view of a diagnosis.
    pub fn of(harness: &Harness, diagnosis: &Diagnosis) -> Self {
        let places = &diagnosis.places;
        Self {
            places: PlacesView {
                alone: places.alone.iter().map(|placed| alone(harness, placed)).collect(),
                together: places.together.iter().map(|found| together(harness, found)).collect(),
            },
            wiggled: diagnosis.wiggled.iter().map(wiggled).collect(),
            twin: diagnosis.compared.iter().map(compared).collect(),
        }
    }
}

fn ids(harness: &Harness, wires: &[WireId]) -> Vec<String> {
    wires.iter().map(|wire| harness.wires[*wire].id.clone()).collect()
}

fn alone(harness: &Harness, placed: &Placed) -> PlacedView {
    PlacedView {
        reading: placed.name.clone(),
        kind: placed.kind,
        along: ids(harness, &placed.along),
        value: placed.shown.clone(),
        place: words::words(harness, &placed.place),
        metres: MetresView::of(harness, &placed.place),
    }
}

fn together(harness: &Harness, found: &Together) -> TogetherView {
    TogetherView {
        group: found.group + 1,
        by: found.by.clone(),
        place: words::words(harness, &found.place),
        wire: harness.wires[found.place.wire].id.clone(),
        trunks: found.place.trunks.iter().map(|trunk| harness.trunks[*trunk].id.clone()).collect(),
        metres: MetresView::of(harness, &found.place),
        disagreement: found.disagreement.clone(),
    }
}

fn wiggled(found: &Wiggled) -> WiggledView {
    WiggledView {
        reading: found.name.clone(),
        value: found.value.words(),
        min: found.min.map(crate::measure::Reading::words),
        max: found.max.map(crate::measure::Reading::words),
        disturbed: found.disturbed.clone(),
        moved: found.moved.clone(),
        counts: found.counts,
        good: found.good,
    }
}

fn compared(found: &Compared) -> ComparedView {
    ComparedView {
        reading: found.name.clone(),
        twin: found.twin.clone(),
        value: found.value.words(),
        computed: found.computed.clone(),
        expected: found.expected.clone(),
        effect: found.effect,
    }
}

/// The sections for people: what the twin changed, and where along the wire.
pub(super) fn sections(diagnosis: &Diagnosis, view: &BesideView) -> Vec<Section> {
    let twin = (!diagnosis.compared.is_empty()).then(|| Section {
        title: "Beside the twin".to_owned(),
        lines: diagnosis.compared.iter().map(|found| format!("- {}", found.words())).collect(),
        ..Section::default()
    });
    twin.into_iter().chain(places(view)).collect()
}

fn places(view: &BesideView) -> Option<Section> {
    let PlacesView { alone, together } = &view.places;
    let row = |placed: &PlacedView| {
        vec![
            placed.reading.clone(),
            placed.kind.word().to_owned(),
            placed.along.join(", "),
            placed.value.clone(),
            placed.place.clone(),
        ]
    };
    let mut notes = Vec::new();
    for found in together {
        if found.by.len() > 1 {
            notes.push(format!(
                "Suspects {}: {} together: {}.",
                found.group,
                found.by.join(", "),
                found.place
            ));
        }
        notes.extend(found.disagreement.iter().map(|line| format!("DISAGREE: {line}.")));
    }
    if together.is_empty() {
        notes.push("No suspect lies on these wires and could be found so.".to_owned());
    }
    (!alone.is_empty()).then(|| Section {
        title: "Where along the wire".to_owned(),
        columns: vec!["reading", "kind", "along", "read", "place"],
        rows: alone.iter().map(row).collect(),
        notes,
        ..Section::default()
    })
}
