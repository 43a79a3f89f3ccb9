//! Diagnoses as tables and JSON.

use std::collections::BTreeMap;

use serde::Serialize;

use super::plan::{ExpectView, SetupView};
use super::{Section, Sheet, Stamp, station_word};
use crate::definition::{Harness, Point};
use crate::fault::Fault;
use crate::locate::{Diagnosis, Group, Judged, Next, Verdict};
use crate::netlist::Element;
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
    /// What is not at fault.
    pub cleared: Vec<ClearedView>,
    /// The next reading.
    pub next: Option<NextView>,
    /// What to do by hand and eye.
    pub by_hand: Vec<String>,
    /// Readings to repeat.
    pub repeat: Vec<String>,
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
    /// The readings that accuse it.
    pub accused_by: Vec<String>,
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
        place: place(harness, group),
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
        value: judged.value.to_string(),
        expect: ExpectView::of(&judged.expect),
        good: judged.good,
    }
}

fn next_view(harness: &Harness, next: &Next) -> NextView {
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
        outcomes: next.outcomes.iter().map(outcome).collect(),
    }
}

fn round(value: f64) -> f64 {
    significant(value, 3).parse().unwrap_or(value)
}

/// Where a group of suspects lies: its elements with the stations of their ends.
fn place(harness: &Harness, group: &Group) -> String {
    const SHOWN: usize = 6;
    let mut words: Vec<String> = Vec::new();
    for element in group.faults.iter().flat_map(|fault| fault.elements()) {
        let text = element_place(harness, element);
        if !words.contains(&text) {
            words.push(text);
        }
    }
    let more = words.len().saturating_sub(SHOWN);
    words.truncate(SHOWN);
    let mut text = words.join("; ");
    if more > 0 {
        text.push_str(&format!("; and {more} more"));
    }
    text
}

fn element_place(harness: &Harness, element: Element) -> String {
    let at = |point: Point| {
        let station = station_word(harness, harness.station_of(point));
        if station.is_empty() { String::new() } else { format!(" at {station}") }
    };
    match element {
        Element::Wire(id) => {
            let wire = &harness.wires[id];
            let [from, to] = wire.ends.map(|end| harness.point_name(end));
            let mut text = format!("wire {} from {from} to {to}", wire.id);
            if let Some(colour) = &wire.colour {
                text.push_str(&format!(", {colour}"));
            }
            if let Some(length) = wire.length {
                text.push_str(&format!(", {length}"));
            }
            let trunks: Vec<&str> = wire.route.iter().map(|t| harness.trunks[*t].id.as_str()).collect();
            if !trunks.is_empty() {
                text.push_str(&format!(", through {}", trunks.join(" ")));
            }
            text
        }
        Element::Termination(wire, side) | Element::SpliceLeg(wire, side) => {
            let point = harness.wires[wire].ends[side as usize];
            format!("{}{}", element.words(harness), at(point))
        }
        Element::Mated(a, _) => format!("{}{}", element.words(harness), at(Point::Contact(a))),
        Element::Bond(terminal) => format!("{}{}", element.words(harness), at(Point::Terminal(terminal))),
        Element::Part(id) => {
            let station = station_word(harness, harness.parts[id].station);
            let at = if station.is_empty() { String::new() } else { format!(" at {station}") };
            format!("{}{at}", element.words(harness))
        }
    }
}

fn sheet(harness: &Harness, diagnosis: &Diagnosis, view: &LocateView) -> Sheet {
    let mut sections = vec![readings_section(view)];
    if !view.left.is_empty() {
        sections.push(Section {
            title: "Not judged".to_owned(),
            lines: view.left.iter().map(|l| format!("- {}: {}", l.reading, l.why)).collect(),
            ..Section::default()
        });
    }
    sections.push(verdict_section(harness, diagnosis, view));
    if !view.suspects.is_empty() {
        sections.push(cleared_section(harness, diagnosis));
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
            lines.push(format!(
                "Accused by: {accusers}. What stands together in a group, no reading can tell apart."
            ));
        }
    }
    let row = |(suspect, group): (&SuspectView, &Group)| {
        let first: Vec<String> = group.faults.iter().take(4).map(|fault| fault.words(harness)).collect();
        let more = group.faults.len().saturating_sub(4);
        let more = if more > 0 { format!("; {more} more") } else { String::new() };
        vec![
            suspect.group.to_string(),
            format!("{} %", significant(suspect.share * 100.0, 2)),
            format!("{}{more}", first.join("; ")),
            suspect.place.clone(),
        ]
    };
    let rows = view.suspects.iter().zip(&diagnosis.suspects).take(SHOWN).map(row);
    let mut notes = Vec::new();
    if view.suspects.len() > SHOWN {
        notes.push(format!("and {} less likely groups", view.suspects.len() - SHOWN));
    }
    Section {
        under: false,
        title: title.to_owned(),
        lines,
        columns: vec!["group", "share", "suspects", "where"],
        rows: rows.collect(),
        notes,
    }
}

/// What good readings clear, one row for each set of readings that does.
fn cleared_section(harness: &Harness, diagnosis: &Diagnosis) -> Section {
    let mut rows: BTreeMap<&[String], (Vec<String>, &str)> = BTreeMap::new();
    let by_good: Vec<_> = diagnosis.cleared.iter().filter(|c| c.by_good).collect();
    for cleared in &by_good {
        let row = rows.entry(&cleared.by).or_insert_with(|| (Vec::new(), &cleared.why));
        row.0.push(cleared.element.id(harness));
    }
    let others = diagnosis.cleared.len() - by_good.len();
    let row = |(by, (elements, why)): (&[String], (Vec<String>, &str))| {
        vec![by.join(", "), elements.join(", "), format!("for example: {why}")]
    };
    Section {
        title: "Cleared by good readings".to_owned(),
        columns: vec!["by", "elements", "because"],
        rows: rows.into_iter().map(row).collect(),
        notes: vec![format!(
            "{others} other elements are out because none of their faults explains what was read."
        )],
        ..Section::default()
    }
}

fn next_section(harness: &Harness, next: &Next) -> Section {
    let mut lines = Vec::new();
    for (at, action) in next.changes.iter().enumerate() {
        lines.push(format!("{:>3}. {}", at + 1, action.words(harness)));
    }
    let setup = next.measurement.setup();
    lines.push(format!("Now: {}.", setup.words(harness)));
    lines.push(format!("Read {}; healthy: {}.", next.measurement.words(harness), next.expect.words()));
    lines.push(format!(
        "It tells {} bits in about {} s.",
        significant(next.bits, 2),
        significant(next.seconds, 3)
    ));
    let row = |(words, share, faults): &(String, f64, Vec<Fault>)| {
        let first: Vec<String> = faults.iter().take(4).map(|fault| fault.id(harness)).collect();
        let more = faults.len().saturating_sub(4);
        let more = if more > 0 { format!(", {more} more") } else { String::new() };
        vec![
            words.clone(),
            format!("{} %", significant(share * 100.0, 2)),
            format!("{}{more}", first.join(", ")),
        ]
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
