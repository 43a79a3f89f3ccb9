//! One reading's limits with their reasons.

use serde::Serialize;

use super::{ExpectView, Section, SetupView, Sheet, Stamp};
use crate::definition::Harness;
use crate::measure::{Expectation, Measurement, Reason};
use crate::plan::DEFERENCE;

/// A reading's limits for programs.
#[derive(Debug, Clone, Serialize)]
pub struct ReadingWhyView {
    /// The definition.
    pub harness: Stamp,
    /// What is read.
    pub kind: &'static str,
    /// Red probe.
    pub red: String,
    /// Black probe.
    pub black: String,
    /// The machine's state.
    #[serde(flatten)]
    pub setup: SetupView,
    /// The meter.
    pub meter: &'static str,
    /// Its range to set.
    pub range: Option<&'static str>,
    /// What a healthy machine shows, with the reasons.
    pub expect: ExpectView,
}

/// One reading's limits as JSON view and sheet: a line for every amount, and below it what makes it up.
pub fn why(harness: &Harness, measurement: &Measurement, expect: &Expectation) -> (ReadingWhyView, Sheet) {
    let view = ReadingWhyView {
        harness: Stamp::of(harness),
        kind: measurement.kind().word(),
        red: harness.point_name(measurement.red()),
        black: harness.point_name(measurement.black()),
        setup: SetupView::of(harness, measurement.setup()),
        meter: expect.meter.name,
        range: expect.meter.range_for(expect).map(|range| range.name),
        expect: ExpectView::of(expect),
    };
    let range = view.range.map(|range| format!(", range {range}")).unwrap_or_default();
    let lines = vec![
        format!("{}, {}.", measurement.words(harness), measurement.setup().words(harness)),
        format!("Healthy: {} ({}{range}).", expect.words(), expect.meter.title),
    ];
    let mut sections = vec![Section { lines, ..Section::default() }];
    sections.extend(section("No less, because", &expect.why.low, expect.ohms));
    sections.extend(section("No more, because", &expect.why.high, expect.ohms));
    if let Some(computed) = expect.computed_words() {
        let lines = vec![computed];
        sections.push(Section { title: "Computed it would be".to_owned(), lines, ..Section::default() });
    }
    let sheet = Sheet { sections, notes: vec![DEFERENCE.to_owned()], ..Sheet::of("Why", &view.harness) };
    (view, sheet)
}

fn section(title: &str, reason: &Reason, ohms: bool) -> Option<Section> {
    let lines = reason.lines(ohms);
    (!lines.is_empty()).then(|| Section {
        title: title.to_owned(),
        columns: vec!["", "amount", "what", "source"],
        rows: lines.into_iter().map(Vec::from).collect(),
        ..Section::default()
    })
}
