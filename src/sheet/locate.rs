//! Diagnoses as tables and JSON.

use std::collections::BTreeMap;

use serde::Serialize;

use super::plan_view::{ChangeView, ExpectView, LiveView, SetupView};
use super::{BesideView, Section, Sheet, Stamp, place, station_word, suspects};
use crate::definition::{Harness, Point};
use crate::fault::Fault;
use crate::locate::place::words;
use crate::locate::{Diagnosis, Distance, Group, Judged, Next, Verdict};
use crate::netlist::Element;
use crate::plan::DEFERENCE;
use crate::setup::Action;
use crate::units::{Volts, significant};

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
    /// What is not at fault.
    pub cleared: Vec<ClearedView>,
    /// The next reading.
    pub next: Option<NextView>,
    /// What to do by hand and eye.
    pub by_hand: Vec<String>,
    /// Readings to repeat.
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
    /// The faults in it.
    pub faults: Vec<String>,
    /// Where that is, in words.
    #[serde(rename = "where")]
    pub place: String,
    /// How far along a wire, where the meter can tell.
    pub metres: Option<MetresView>,
    /// The readings that accuse it.
    pub accused_by: Vec<String>,
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
}

/// The next reading.
#[derive(Debug, Clone, Serialize)]
pub struct NextView {
    /// What to read.
    pub kind: &'static str,
    /// Red probe.
    pub red: String,
    /// Black probe.
    pub black: String,
    /// The machine's state.
    #[serde(flatten)]
    pub setup: SetupView,
    /// What a healthy machine shows.
    pub expect: ExpectView,
    /// Expected information in bits.
    pub bits: f64,
    /// Time in seconds.
    pub seconds: f64,
    /// What is to be done first, in order.
    pub changes: Vec<ChangeView>,
    /// Contacts of open plugs that will be live.
    pub live: Vec<LiveView>,
    /// What each outcome would leave.
    pub outcomes: Vec<OutcomeView>,
}

/// One outcome of the next reading.
#[derive(Debug, Clone, Serialize)]
pub struct OutcomeView {
    /// In words.
    pub outcome: String,
    /// Its share of the probability.
    pub share: f64,
    /// What would be left.
    pub faults: Vec<String>,
}

/// A diagnosis as JSON view and sheet.
pub fn locate(harness: &Harness, diagnosis: &Diagnosis) -> (LocateView, Sheet) {
    let ids = |faults: &[Fault]| faults.iter().map(|fault| fault.id(harness)).collect::<Vec<_>>();
    let suspect = |(at, group): (usize, &Group)| SuspectView {
        group: at + 1,
        share: round(group.share),
        faults: ids(&group.faults),
        place: suspects::place(harness, &group.faults),
        metres: group.distance.as_ref().map(|d| MetresView::of(harness, d)),
        accused_by: group.accused_by.clone(),
    };
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
        cleared: diagnosis
            .cleared
            .iter()
            .map(|c| ClearedView { element: c.element.id(harness), by: c.by.clone(), why: c.why.clone() })
            .collect(),
        next: diagnosis.next.as_ref().map(|next| next_view(harness, next)),
        by_hand: diagnosis.by_hand.clone(),
        repeat: diagnosis.repeat.clone(),
        notes: diagnosis.notes.clone(),
        beside: BesideView::of(harness, diagnosis),
    };
    let sheet = sheet(harness, diagnosis, &view);
    (view, sheet)
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

fn next_view(harness: &Harness, next: &Next) -> NextView {
    let change = |action: &Action| ChangeView {
        action: action.verb(),
        target: action.target(harness),
        seconds: round(action.seconds(harness).get()),
    };
    let live = |(point, volts): &(Point, Volts)| LiveView {
        contact: harness.point_name(*point),
        volts: round(volts.get()),
    };
    let outcome = |(words, share, faults): &(String, f64, Vec<Fault>)| OutcomeView {
        outcome: words.clone(),
        share: round(*share),
        faults: faults.iter().map(|fault| fault.id(harness)).collect(),
    };
    NextView {
        kind: next.measurement.kind().word(),
        red: harness.point_name(next.measurement.red()),
        black: harness.point_name(next.measurement.black()),
        setup: SetupView::of(harness, next.measurement.setup()),
        expect: ExpectView::of(&next.expect),
        bits: round(next.bits),
        seconds: round(next.seconds),
        changes: next.changes.iter().map(change).collect(),
        live: next.live.iter().map(live).collect(),
        outcomes: next.outcomes.iter().map(outcome).collect(),
    }
}

fn round(value: f64) -> f64 {
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
    if !view.suspects.is_empty() {
        sections.extend(cleared_section(harness, diagnosis));
    }
    if let Some(next) = &diagnosis.next {
        sections.push(next_section(harness, next));
    }
    if !view.by_hand.is_empty() {
        sections.push(Section {
            title: "By hand and eye, before anything is replaced".to_owned(),
            lines: view.by_hand.iter().map(|todo| format!("- {todo}")).collect(),
            ..Section::default()
        });
    }
    Sheet { sections, notes: vec![DEFERENCE.to_owned()], ..Sheet::of("Locate", &view.harness) }
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
        Verdict::Contradictory => {
            lines.push("No single fault explains all readings: one reading is wrong, or there is more than one fault.".to_owned());
            if view.repeat.is_empty() {
                lines.push(
                    "No single reading stands alone against the others: look for a second fault.".to_owned(),
                );
            } else {
                lines.push(format!("Repeat first: {}.", view.repeat.join(", ")));
            }
        }
        Verdict::Located | Verdict::Narrowed => {
            let accusers = view.suspects.first().map(|s| s.accused_by.join(", ")).unwrap_or_default();
            lines.push(format!("Bad: {accusers}. {}", standing(diagnosis)));
        }
    }
    let row = |(suspect, group): (&SuspectView, &Group)| {
        let metres = group.distance.as_ref().map(|d| format!("; {}", words::words(harness, d)));
        vec![
            share(suspect.share),
            suspects::faults(harness, &group.faults),
            format!("{}{}", suspect.place, metres.unwrap_or_default()),
        ]
    };
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
        (_, Some(_)) => "Each of these faults alone explains every reading. The next reading divides them.",
        (_, None) => {
            "Each of these faults alone explains every reading. No permitted reading tells them apart for sure: hands \
             and eyes come next."
        }
    }
}

fn share(share: f64) -> String {
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

/// What good readings clear, one row for each set of readings that does; nothing where none does.
fn cleared_section(harness: &Harness, diagnosis: &Diagnosis) -> Option<Section> {
    let mut rows: BTreeMap<&[String], (Vec<Element>, &str)> = BTreeMap::new();
    let by_good: Vec<_> = diagnosis.cleared.iter().filter(|c| c.by_good).collect();
    for cleared in &by_good {
        let row = rows.entry(&cleared.by).or_insert_with(|| (Vec::new(), &cleared.why));
        row.0.push(cleared.element);
    }
    let others = diagnosis.cleared.len() - by_good.len();
    let row = |(by, (elements, why)): (&[String], (Vec<Element>, &str))| {
        vec![by.join(", "), suspects::elements(harness, elements), why.to_owned()]
    };
    let rest = format!(
        "Out as well: {others} elements, because nothing wrong with them would make the bad readings."
    );
    Some(Section {
        title: "Not at fault".to_owned(),
        columns: if rows.is_empty() {
            Vec::new()
        } else {
            vec!["cleared by", "what", "because (one of them)"]
        },
        rows: rows.into_iter().map(row).collect(),
        notes: if others > 0 { vec![rest] } else { Vec::new() },
        ..Section::default()
    })
    .filter(|section| !section.rows.is_empty() || !section.notes.is_empty())
}

fn next_section(harness: &Harness, next: &Next) -> Section {
    let mut lines = Vec::new();
    for (at, action) in next.changes.iter().enumerate() {
        lines.push(format!("{:>3}. {}", at + 1, action.words(harness)));
    }
    let setup = next.measurement.setup();
    lines.push(format!("Setup: {}.", setup.words(harness)));
    if !next.live.is_empty() {
        let live: Vec<String> =
            next.live.iter().map(|(p, v)| format!("{} {v}", harness.point_name(*p))).collect();
        lines.push(format!(
            "LIVE at the open plugs: {}. Cap what is not probed; let no probe bridge two.",
            live.join(", ")
        ));
    }
    let at = [next.measurement.red(), next.measurement.black()]
        .map(|p| station_word(harness, harness.station_of(p)));
    let at = match &at {
        [red, black] if red == black || black.is_empty() => red.clone(),
        [red, black] if red.is_empty() => black.clone(),
        [red, black] => format!("{red} and {black}"),
    };
    let at = if at.is_empty() { at } else { format!(", at {at}") };
    lines.push(format!("Read {}{at}. Healthy: {}.", next.measurement.words(harness), next.expect.words()));
    lines.push(format!(
        "About {} s with the changes; it is worth {} bits.",
        significant(next.seconds, 2),
        significant(next.bits, 2)
    ));
    let row = |(words, part, left): &(String, f64, Vec<Fault>)| {
        vec![words.clone(), share(*part), suspects::left(harness, left)]
    };
    Section {
        under: false,
        title: "Next reading".to_owned(),
        lines,
        columns: vec!["if it reads", "share", "then left"],
        rows: next.outcomes.iter().map(row).collect(),
        notes: Vec::new(),
    }
}
