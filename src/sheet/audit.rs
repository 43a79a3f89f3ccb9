//! What an audit found, as a view and as tables.

use serde::Serialize;

use super::plan_view::round;
use super::{Section, SetupView, station_word};
use crate::audit::{Audit, Finding, Hop, brief};
use crate::definition::Harness;
use crate::definition::diagnostic::{Severity, Sources};
use crate::netlist::Netlist;
use crate::setup::Setup;
use crate::units::significant;

/// A finding, with stable names.
#[derive(Debug, Serialize)]
pub struct FindingView {
    /// The rule that found it.
    pub rule: &'static str,
    /// `warning` or `note`.
    pub severity: Severity,
    /// The part, wire or contact it is about, and where that is defined.
    #[serde(rename = "where")]
    pub place: PlaceView,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub help: String,
    /// The computed figure.
    pub value: f64,
    /// What it is held against.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit: Option<f64>,
    /// The unit of both.
    pub unit: &'static str,
    /// Where the limit comes from.
    pub source: &'static str,
    /// The state of the machine, where it matters.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub setup: Option<StateView>,
    /// The single fault that is assumed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fault: Option<String>,
    /// The way of the current, from a source and back to it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub way: Vec<HopView>,
}

/// Where a finding stands.
#[derive(Debug, Serialize)]
pub struct PlaceView {
    /// Id of the part, wire or contact.
    pub id: String,
    /// File of the definition.
    pub file: String,
    /// Line in it, from 1.
    pub line: usize,
    /// Column in it, from 1.
    pub column: usize,
    /// Where one stands to reach it.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub station: String,
}

/// A state of the machine with power connected and all mated.
#[derive(Debug, Serialize)]
pub struct StateView {
    /// Switches that are not at rest.
    pub set: std::collections::BTreeMap<String, String>,
    /// Conditions that hold.
    pub conditions: Vec<String>,
}

/// One element on the way of a current.
#[derive(Debug, Serialize)]
pub struct HopView {
    /// Its id.
    pub element: String,
    /// Where the current enters.
    pub from: String,
    /// Where it leaves.
    pub to: String,
    /// The current in it.
    pub amps: f64,
}

/// A load in its worst setup, with stable names.
#[derive(Debug, Serialize)]
pub struct LoadView {
    /// The load, or the unit and its supply.
    pub load: String,
    /// Volts left for it.
    pub volts: f64,
    /// Its current.
    pub amps: f64,
    /// Volts lost from the source to it.
    pub feed: f64,
    /// Volts lost from it back to the source.
    #[serde(rename = "return")]
    pub back: f64,
    /// Volts lost in all.
    pub drop: f64,
    /// Volts lost in all with everything at its healthy most.
    pub most: f64,
    /// What may be lost.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit: Option<f64>,
    /// Where the limit comes from.
    #[serde(skip_serializing_if = "str::is_empty")]
    pub source: &'static str,
    /// The state of the machine.
    pub setup: StateView,
}

/// Every finding of an audit.
pub fn findings(harness: &Harness, netlist: &Netlist, sources: &Sources, audit: &Audit) -> Vec<FindingView> {
    audit.findings.iter().map(|f| finding(harness, netlist, sources, f)).collect()
}

fn finding(harness: &Harness, netlist: &Netlist, sources: &Sources, finding: &Finding) -> FindingView {
    let (line, column) = sources.line_column(finding.place);
    let part = harness.names.part(&finding.subject);
    FindingView {
        rule: finding.rule,
        severity: finding.severity,
        place: PlaceView {
            id: finding.subject.clone(),
            file: sources.name(finding.place.file()).to_owned(),
            line,
            column,
            station: station_word(harness, part.and_then(|part| harness.parts[part].station)),
        },
        message: finding.message.clone(),
        help: finding.help.clone(),
        value: round(finding.value),
        limit: finding.limit.map(round),
        unit: finding.unit,
        source: finding.source,
        setup: finding.setup.as_ref().map(|setup| state(harness, setup)),
        fault: finding.fault.clone(),
        way: finding.way.iter().map(|step| hop(harness, netlist, *step)).collect(),
    }
}

fn hop(harness: &Harness, netlist: &Netlist, hop: Hop) -> HopView {
    let element = netlist.name(harness, hop.link);
    let [from, to] = [hop.from, hop.to].map(|node| harness.point_name(netlist.point(node)));
    HopView { element, from, to, amps: round(hop.amps) }
}

fn state(harness: &Harness, setup: &Setup) -> StateView {
    let SetupView { set, conditions, .. } = SetupView::of(harness, setup);
    StateView { set, conditions }
}

/// Every load of an audit.
pub fn loads(harness: &Harness, audit: &Audit) -> Vec<LoadView> {
    let view = |line: &crate::audit::LoadLine| LoadView {
        load: line.name.clone(),
        volts: round(line.volts),
        amps: round(line.amps),
        feed: round(line.feed),
        back: round(line.back),
        drop: round(line.total()),
        most: round(line.most),
        limit: line.limit.map(round),
        source: line.source,
        setup: state(harness, &line.setup),
    };
    audit.loads.iter().map(view).collect()
}

/// The table of loads.
pub fn load_section(harness: &Harness, audit: &Audit) -> Section {
    let setups = distinct(audit);
    let row = |line: &crate::audit::LoadLine| {
        let volts = |volts: f64| significant(volts, 3);
        vec![
            line.name.clone(),
            volts(line.volts),
            significant(line.amps, 3),
            volts(line.feed),
            volts(line.back),
            volts(line.total()),
            volts(line.most),
            line.limit.map(volts).unwrap_or_default(),
            setups.iter().position(|s| **s == line.setup).map_or(String::new(), |at| (at + 1).to_string()),
        ]
    };
    Section {
        title: "Loads, each in the setup in which most is lost on the way".to_owned(),
        columns: vec![
            "load",
            "gets V",
            "A",
            "feed V",
            "return V",
            "in all V",
            "at most V",
            "limit V",
            "setup",
        ],
        rows: audit.loads.iter().map(row).collect(),
        notes: notes(harness, audit, &setups),
        ..Section::default()
    }
}

/// The setups that the table names, each once.
fn distinct(audit: &Audit) -> Vec<&Setup> {
    let mut setups: Vec<&Setup> = Vec::new();
    for line in &audit.loads {
        if !setups.contains(&&line.setup) {
            setups.push(&line.setup);
        }
    }
    setups
}

fn notes(harness: &Harness, audit: &Audit, setups: &[&Setup]) -> Vec<String> {
    let named = setups.iter().enumerate();
    let mut notes: Vec<String> =
        named.map(|(at, setup)| format!("Setup {}: {}.", at + 1, brief(harness, setup))).collect();
    notes.push(format!(
        "Lost on the way there and back, at the current of the solved circuit: {}, joints at their usual \
         resistance; 'at most' is with every joint and wire at its healthy most. {} setups were solved.",
        audit.basis, audit.setups
    ));
    let mut sources: Vec<&str> = audit.loads.iter().map(|l| l.source).filter(|s| !s.is_empty()).collect();
    sources.sort_unstable();
    sources.dedup();
    notes.extend(sources.iter().map(|source| format!("Limit: {source}.")));
    notes
}
