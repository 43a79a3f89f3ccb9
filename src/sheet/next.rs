//! The next reading: what to do, what to read, and what each outcome would mean.

use serde::Serialize;

use super::locate::{round, share};
use super::plan_view::{ChangeView, ExpectView, LiveView, SetupView};
use super::{Section, station_word, suspects};
use crate::definition::{Harness, Point};
use crate::locate::{Meaning, Next};
use crate::setup::Action;
use crate::units::{Volts, significant};

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
    /// What each outcome would mean.
    pub outcomes: Vec<OutcomeView>,
    /// What it proves before a unit may be accused.
    pub proves: Option<String>,
    /// Whether it was read before, and is to be read again because it may be the wrong one.
    pub again: bool,
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
    /// In how many groups that would be.
    pub groups: usize,
    /// What that means, in words.
    pub means: String,
}

/// The next reading for programs.
pub(super) fn view(harness: &Harness, next: &Next) -> NextView {
    let change = |action: &Action| ChangeView {
        action: action.verb(),
        target: action.target(harness),
        seconds: round(action.seconds(harness).get()),
    };
    let live = |(point, volts): &(Point, Volts)| LiveView {
        contact: harness.point_name(*point),
        volts: round(volts.get()),
    };
    let outcome = |meaning: &Meaning| OutcomeView {
        outcome: meaning.outcome.clone(),
        share: round(meaning.share),
        faults: meaning.faults.iter().map(|fault| fault.id(harness)).collect(),
        groups: meaning.groups,
        means: meaning.means.clone(),
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
        proves: next.proves.clone(),
        again: next.again,
    }
}

/// The next reading as a section.
pub(super) fn section(harness: &Harness, next: &Next) -> Section {
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
    let seconds = significant(next.seconds, 2);
    lines.push(match &next.proves {
        Some(what) => format!("About {seconds} s with the changes; it proves the {what}."),
        None => {
            format!("About {seconds} s with the changes; it is worth {} bits.", significant(next.bits, 2))
        }
    });
    if next.again {
        lines.push("It was read before: read it again with care, it may be the wrong one.".to_owned());
    }
    let row = |meaning: &Meaning| vec![meaning.outcome.clone(), share(meaning.share), left(harness, meaning)];
    Section {
        under: false,
        title: "Next reading".to_owned(),
        lines,
        columns: vec!["if it reads", "share", "then left"],
        rows: next.outcomes.iter().map(row).collect(),
        notes: Vec::new(),
    }
}

/// What an outcome leaves, and what that means where it is not plain from it.
fn left(harness: &Harness, meaning: &Meaning) -> String {
    if meaning.faults.is_empty() {
        return meaning.means.clone();
    }
    let left = suspects::left(harness, &meaning.faults);
    if meaning.groups == 1 { format!("settled: {left}") } else { left }
}
