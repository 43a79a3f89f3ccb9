//! Diagnoses as tables and JSON.

use serde::Serialize;

use super::next::{self, NextView};
use super::plan_view::{ExpectView, SetupView};
use super::reasons::{self, ReasonsView, UnitView};
use super::{BesideView, Section, Sheet, Stamp, place, suspects};
use crate::definition::Harness;
use crate::fault::Fault;
use crate::locate::place::words;
use crate::locate::{Cleared, Diagnosis, Distance, Group, Judged, Next, Verdict};
use crate::plan::DEFERENCE;
use crate::units::significant;

/// A diagnosis for programs.
#[derive(Debug, Clone, Serialize)]
pub struct LocateView {
    /// The definition.
    pub harness: Stamp,
    /// What it amounts to.
    pub verdict: Verdict,
    /// Every reading with its verdict.
    pub readings: Vec<ReadingView>,
    /// Readings that could not be judged.
    pub left: Vec<LeftView>,
    /// What explains all readings.
    pub suspects: Vec<SuspectView>,
    /// What would explain all readings if one or two of them were wrong.
    pub doubted: Vec<SuspectView>,
    /// What is not at fault.
    pub cleared: Vec<ClearedView>,
    /// The derivation of all that.
    pub reasons: ReasonsView,
    /// The cases against units.
    pub units: Vec<UnitView>,
    /// The next reading.
    pub next: Option<NextView>,
    /// What to do by hand and eye.
    pub by_hand: Vec<String>,
    /// The fewest readings that cannot all be true of one fault.
    pub conflict: Vec<String>,
    /// Readings to repeat, the one that is most likely wrong first.
    pub repeat: Vec<String>,
    /// On the meters that the record names.
    pub notes: Vec<String>,
    /// Places along wires, wiggle tests, and the twin.
    #[serde(flatten)]
    pub beside: BesideView,
}

/// A reading with its verdict.
#[derive(Debug, Clone, Serialize)]
pub struct ReadingView {
    /// Its step or number.
    pub reading: String,
    /// What was read.
    pub kind: &'static str,
    /// Red probe.
    pub red: String,
    /// Black probe.
    pub black: String,
    /// The machine's state.
    #[serde(flatten)]
    pub setup: SetupView,
    /// What the meter showed.
    pub value: String,
    /// What a healthy machine shows.
    pub expect: ExpectView,
    /// Whether it is good.
    pub good: bool,
}

/// A reading that could not be judged.
#[derive(Debug, Clone, Serialize)]
pub struct LeftView {
    /// Its step or number.
    pub reading: String,
    /// Why not.
    pub why: String,
}

/// A group of suspects.
#[derive(Debug, Clone, Serialize)]
pub struct SuspectView {
    /// Its place among the groups.
    pub group: usize,
    /// Its share of the probability.
    pub share: f64,
    /// The faults in it; two at once are joined by a plus sign.
    pub faults: Vec<String>,
    /// Where that is, in words.
    #[serde(rename = "where")]
    pub place: String,
    /// How far along a wire, where the meter can tell.
    pub metres: Option<MetresView>,
    /// The readings that accuse it.
    pub accused_by: Vec<String>,
    /// The readings that it takes for wrong.
    pub misread: Vec<String>,
    /// Where a fuse is found open: what may have blown it, and is not cleared.
    pub behind: Vec<String>,
}

/// A distance along a wire.
#[derive(Debug, Clone, Serialize)]
pub struct MetresView {
    /// The end it is counted from.
    pub from: String,
    /// How far.
    pub at: f64,
    /// The error, either way.
    pub plus_minus: f64,
}

impl MetresView {
    pub(super) fn of(harness: &Harness, distance: &Distance) -> Self {
        Self {
            from: harness.point_name(distance.from),
            at: round(distance.at.get()),
            plus_minus: round(distance.plus_minus.get()),
        }
    }
}

/// A cleared element.
#[derive(Debug, Clone, Serialize)]
pub struct ClearedView {
    /// The element.
    pub element: String,
    /// The readings that clear it.
    pub by: Vec<String>,
    /// The reason.
    pub why: String,
    /// The steps of the derivation that clear it.
    pub steps: Vec<String>,
}

/// A diagnosis as JSON view and sheet.
pub fn locate(harness: &Harness, diagnosis: &Diagnosis) -> (LocateView, Sheet) {
    let suspect = |(at, group): (usize, &Group)| suspect(harness, at + 1, group);
    let rest = diagnosis.suspects.len();
    let view = LocateView {
        harness: Stamp::of(harness),
        verdict: diagnosis.verdict,
        readings: diagnosis.judged.iter().map(|judged| reading(harness, judged)).collect(),
        left: diagnosis
            .left
            .iter()
            .map(|l| LeftView { reading: l.name.clone(), why: l.why.clone() })
            .collect(),
        suspects: diagnosis.suspects.iter().enumerate().map(suspect).collect(),
        doubted: (rest..).zip(&diagnosis.doubted).map(suspect).collect(),
        cleared: diagnosis.cleared.iter().map(|cleared| cleared_view(harness, cleared)).collect(),
        reasons: reasons::view(harness, diagnosis),
        units: reasons::units(harness, &diagnosis.units),
        next: diagnosis.next.as_ref().map(|next| next::view(harness, next)),
        by_hand: diagnosis.by_hand.clone(),
        conflict: diagnosis.conflict.as_ref().map(|c| c.readings.clone()).unwrap_or_default(),
        repeat: diagnosis.repeat.clone(),
        notes: diagnosis.notes.clone(),
        beside: BesideView::of(harness, diagnosis),
    };
    let sheet = sheet(harness, diagnosis, &view);
    (view, sheet)
}

fn suspect(harness: &Harness, number: usize, group: &Group) -> SuspectView {
    let both = |pair: &[Fault; 2]| format!("{}+{}", pair[0].id(harness), pair[1].id(harness));
    let single = group.faults.iter().map(|fault| fault.id(harness));
    let all: Vec<Fault> = group.faults.iter().chain(group.pairs.iter().flatten()).copied().collect();
    SuspectView {
        group: number,
        share: round(group.share),
        faults: single.chain(group.pairs.iter().map(both)).collect(),
        place: suspects::place(harness, &all),
        metres: group.distance.as_ref().map(|d| MetresView::of(harness, d)),
        accused_by: group.accused_by.clone(),
        misread: group.misread.clone(),
        behind: group.behind.iter().map(|fault| fault.id(harness)).collect(),
    }
}

fn cleared_view(harness: &Harness, cleared: &Cleared) -> ClearedView {
    ClearedView {
        element: cleared.element.id(harness),
        by: cleared.by.clone(),
        why: cleared.why.clone(),
        steps: cleared.steps.iter().map(|step| reasons::id(*step)).collect(),
    }
}

fn reading(harness: &Harness, judged: &Judged) -> ReadingView {
    ReadingView {
        reading: judged.name.clone(),
        kind: judged.measurement.kind().word(),
        red: harness.point_name(judged.measurement.red()),
        black: harness.point_name(judged.measurement.black()),
        setup: SetupView::of(harness, judged.measurement.setup()),
        value: judged.value.words(),
        expect: ExpectView::of(&judged.expect),
        good: judged.good,
    }
}

pub(super) fn round(value: f64) -> f64 {
    significant(value, 3).parse().unwrap_or(value)
}

fn sheet(harness: &Harness, diagnosis: &Diagnosis, view: &LocateView) -> Sheet {
    let mut sections = vec![readings_section(view)];
    sections[0].notes.extend(view.notes.iter().map(|note| format!("- {note}")));
    if !view.left.is_empty() {
        sections.push(Section {
            title: "Not judged".to_owned(),
            lines: view.left.iter().map(|l| format!("- {}: {}", l.reading, l.why)).collect(),
            ..Section::default()
        });
    }
    sections.extend(place::sections(diagnosis, &view.beside));
    if !diagnosis.overloaded.is_empty() {
        sections.push(overloaded_section(harness, diagnosis));
    }
    sections.push(verdict_section(harness, diagnosis, view));
    sections.extend(doubted_section(harness, diagnosis, view));
    sections.extend(reasons::units_section(&view.units));
    if !view.suspects.is_empty() {
        sections.extend(reasons::cleared(harness, diagnosis));
        sections.extend(reasons::accused(harness, diagnosis));
    }
    if let Some(next) = &diagnosis.next {
        sections.push(next::section(harness, next));
    }
    sections.extend(by_hand(view));
    Sheet { sections, notes: vec![DEFERENCE.to_owned()], ..Sheet::of("Locate", &view.harness) }
}

/// What hands and eyes do.
fn by_hand(view: &LocateView) -> Option<Section> {
    (!view.by_hand.is_empty()).then(|| Section {
        title: "By hand and eye, before anything is replaced".to_owned(),
        lines: view.by_hand.iter().map(|todo| format!("- {todo}")).collect(),
        ..Section::default()
    })
}

/// What it comes to, without the readings and the derivation: verdict, suspects, what is to be done.
pub fn conclusion(harness: &Harness, diagnosis: &Diagnosis) -> Vec<Section> {
    let (view, _) = locate(harness, diagnosis);
    let mut sections = vec![verdict_section(harness, diagnosis, &view)];
    sections.extend(doubted_section(harness, diagnosis, &view));
    sections.extend(reasons::units_section(&view.units));
    sections.extend(by_hand(&view));
    sections
}

/// The next reading: what to do, what to read, and what each outcome would leave.
pub fn next_reading(harness: &Harness, next: &Next) -> Section {
    next::section(harness, next)
}

fn readings_section(view: &LocateView) -> Section {
    let row = |r: &ReadingView| {
        let verdict = if r.good { "good" } else { "BAD" };
        vec![
            r.reading.clone(),
            r.kind.to_owned(),
            format!("{} / {}", r.red, r.black),
            r.value.clone(),
            r.expect.words.clone(),
            verdict.to_owned(),
        ]
    };
    Section {
        title: "Readings".to_owned(),
        columns: vec!["reading", "kind", "red / black", "read", "healthy", "verdict"],
        rows: view.readings.iter().map(row).collect(),
        ..Section::default()
    }
}

/// More groups than this are only counted.
const SHOWN: usize = 8;

fn verdict_section(harness: &Harness, diagnosis: &Diagnosis, view: &LocateView) -> Section {
    let title = match diagnosis.verdict {
        Verdict::Located => "Verdict: located",
        Verdict::Narrowed => "Verdict: narrowed",
        Verdict::Healthy => "Verdict: every reading is good",
        Verdict::Contradictory => "Verdict: contradictory",
    };
    let mut lines = Vec::new();
    match diagnosis.verdict {
        Verdict::Healthy => {
            lines.push("Nothing that was read is wrong. What no reading reached may still be.".to_owned());
        }
        Verdict::Contradictory => lines.extend(contradiction(view)),
        Verdict::Located | Verdict::Narrowed => {
            let accusers = view.suspects.first().map(|s| s.accused_by.join(", ")).unwrap_or_default();
            lines.push(format!("Bad: {accusers}. {}", standing(diagnosis)));
            lines.extend(confirm(view));
        }
    }
    let row = |(suspect, group): (&SuspectView, &Group)| row(harness, suspect, group);
    let rows = view.suspects.iter().zip(&diagnosis.suspects).take(SHOWN).map(row);
    let mut notes = Vec::new();
    if view.suspects.len() > SHOWN {
        let rest: f64 = view.suspects[SHOWN..].iter().map(|s| s.share).sum();
        notes.push(format!(
            "{} less likely rows are left out, {} together.",
            view.suspects.len() - SHOWN,
            share(rest)
        ));
    }
    Section {
        under: false,
        title: title.to_owned(),
        lines,
        columns: vec!["share", "suspects", "where"],
        rows: rows.collect(),
        notes,
    }
}

fn row(harness: &Harness, suspect: &SuspectView, group: &Group) -> Vec<String> {
    let metres = group.distance.as_ref().map(|distance| format!("; {}", words::words(harness, distance)));
    let mut what = suspects::faults(harness, &group.faults);
    if let [[a, b], more @ ..] = &group.pairs[..] {
        what = format!("two at once: {} and {}", a.words(harness), b.words(harness));
        if !more.is_empty() {
            what += &format!(", or {} more pairs that read the same", more.len());
        }
    }
    vec![share(suspect.share), what, format!("{}{}", suspect.place, metres.unwrap_or_default())]
}

/// Why the readings contradict each other.
fn contradiction(view: &LocateView) -> Vec<String> {
    let mut lines = vec![format!(
        "No single fault explains all readings. These cannot all be true of one fault: {}.",
        view.conflict.join(", ")
    )];
    lines.push(match &view.repeat[..] {
        [] => "No single reading stands alone against the others: look for a second fault.".to_owned(),
        [one] => format!("Repeat {one} first: with it wrong, the others agree."),
        [first, rest @ ..] => {
            format!("Repeat {first} first; then, if it stays as it is, {}.", rest.join(", "))
        }
    });
    lines
}

/// What to read again before anything is replaced, where much hangs on one reading.
fn confirm(view: &LocateView) -> Option<String> {
    let first = view.repeat.first()?;
    Some(format!("Much hangs on {first}: read it once more before anything is replaced."))
}

/// What would explain all readings if one or two were wrong.
fn doubted_section(harness: &Harness, diagnosis: &Diagnosis, view: &LocateView) -> Option<Section> {
    let row = |(suspect, group): (&SuspectView, &Group)| {
        let mut cells = vec![suspect.misread.join(", ")];
        cells.extend(row(harness, suspect, group));
        cells
    };
    let rows: Vec<_> = view.doubted.iter().zip(&diagnosis.doubted).take(SHOWN).map(row).collect();
    (!rows.is_empty()).then(|| Section {
        title: "Only if a reading is wrong".to_owned(),
        columns: vec!["if wrong", "share", "suspects", "where"],
        rows,
        ..Section::default()
    })
}

/// What the suspects have in common, for the person who must trust it.
fn standing(diagnosis: &Diagnosis) -> &'static str {
    match (diagnosis.verdict, &diagnosis.next) {
        (Verdict::Located, _) if diagnosis.suspects.iter().all(|group| group.faults.len() == 1) => {
            "This fault explains every reading and no other single fault does."
        }
        (Verdict::Located, _) => {
            "One of these faults explains every reading and no other single fault does. No permitted reading tells \
             them apart for sure."
        }
        (_, Some(next)) if next.proves.is_some() => {
            "Nothing else explains every reading, but a unit is accused only when all it needs was seen good. The \
             next reading gives the missing proof."
        }
        (_, Some(_)) => "Each of these faults alone explains every reading. The next reading divides them.",
        (_, None) => {
            "Each of these faults alone explains every reading. No permitted reading tells them apart for sure: hands \
             and eyes come next."
        }
    }
}

pub(super) fn share(share: f64) -> String {
    if share > 0.0 && share < 0.001 {
        "< 0.1 %".to_owned()
    } else {
        format!("{} %", significant(share * 100.0, 2))
    }
}

fn overloaded_section(harness: &Harness, diagnosis: &Diagnosis) -> Section {
    let line = |(fuse, setup): &(crate::definition::PartId, crate::setup::Setup)| {
        format!("- {} with {}", harness.parts[*fuse].id, setup.words(harness))
    };
    Section {
        title: "Fuses that would blow with nothing wrong".to_owned(),
        lines: diagnosis.overloaded.iter().map(line).collect(),
        notes: vec![
            "By the definition more than twice the rating flows. Check the load's resistance and the rating in the \
             definition first: what such a fuse feeds is taken to be dead."
                .to_owned(),
        ],
        ..Section::default()
    }
}
