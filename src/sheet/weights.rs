//! How likely each sort of fault is taken to be, and what a definition says to that.

use serde::Serialize;

use super::{Section, Sheet, Stamp};
use crate::definition::{Harness, Named, Sort};
use crate::fault::{WEIGHTS, of_sort};
use crate::plan::DEFERENCE;

/// The weights for programs.
#[derive(Debug, Clone, Serialize)]
pub struct WeightsView {
    /// The definition.
    pub harness: Stamp,
    /// Each sort of fault.
    pub weights: Vec<WeightView>,
    /// Things of which the definition says how likely they fail.
    pub times: Vec<TimesView>,
}

/// A sort of fault.
#[derive(Debug, Clone, Serialize)]
pub struct WeightView {
    /// Its key under `[prior]`.
    pub sort: &'static str,
    /// What it is.
    pub what: &'static str,
    /// Its usual weight.
    pub usual: f64,
    /// Its weight in this definition.
    pub here: f64,
    /// What speaks for the usual one.
    pub source: &'static str,
}

/// A thing that fails more or less often than others of its kind.
#[derive(Debug, Clone, Serialize)]
pub struct TimesView {
    /// Its id.
    pub id: String,
    /// How many times as likely as usual its faults are.
    pub times: f64,
}

/// The weights of a definition as JSON view and sheet.
pub fn weights(harness: &Harness) -> (WeightsView, Sheet) {
    let weights = WEIGHTS.iter().map(|row| WeightView {
        sort: Sort::key(row.sort),
        what: row.what,
        usual: row.weight,
        here: of_sort(harness, row.sort),
        source: row.source,
    });
    let times = harness
        .priors
        .times
        .iter()
        .map(|(thing, times)| TimesView { id: id(harness, *thing), times: *times });
    let view =
        WeightsView { harness: Stamp::of(harness), weights: weights.collect(), times: times.collect() };
    let row = |w: &WeightView| {
        let here = if w.here.to_bits() == w.usual.to_bits() { String::new() } else { w.here.to_string() };
        vec![w.sort.to_owned(), w.what.to_owned(), w.usual.to_string(), here, w.source.to_owned()]
    };
    let mut sections = vec![Section {
        lines: vec!["Only the ratios count. A definition gives its own under [prior].".to_owned()],
        columns: vec!["sort", "what", "usual", "here", "source"],
        rows: view.weights.iter().map(row).collect(),
        ..Section::default()
    }];
    if !view.times.is_empty() {
        sections.push(Section {
            title: "Likelier, or less likely, than others of their kind".to_owned(),
            columns: vec!["what", "times"],
            rows: view.times.iter().map(|t| vec![t.id.clone(), t.times.to_string()]).collect(),
            ..Section::default()
        });
    }
    let sheet = Sheet { sections, notes: vec![DEFERENCE.to_owned()], ..Sheet::of("Weights", &view.harness) };
    (view, sheet)
}

fn id(harness: &Harness, thing: Named) -> String {
    match thing {
        Named::Connector(id) => harness.connectors[id].id.clone(),
        Named::Splice(id) => harness.splices[id].id.clone(),
        Named::Terminal(id) => harness.terminals[id].id.clone(),
        Named::Part(id) => harness.parts[id].id.clone(),
        Named::Wire(id) => harness.wires[id].id.clone(),
    }
}
