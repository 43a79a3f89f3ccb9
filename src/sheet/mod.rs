//! Tables and texts for people and programs.
//!
//! Comes in: a harness and what was computed from it. Goes out: sheets (titled tables with notes)
//! that print as terminal tables, Markdown or CSV, and views that serialise as JSON. Why: every
//! command shows the same content in every format, and every sheet names the definition's id,
//! revision and hash, so that a stale print can be recognised.

mod audit;
mod chained;
mod chart;
mod compare;
mod complaint;
mod fragment;
mod import;
mod learn;
mod locate;
mod nets;
mod next;
mod pack;
mod paper;
mod pins;
mod pins_drawn;
mod place;
mod plan;
mod plan_aids;
mod plan_cost;
mod plan_view;
mod reasons;
pub mod regions;
mod render;
mod repair;
mod report;
mod study;
mod suspects;
mod trace;
mod verify;
mod weights;
mod why;
mod wires;

pub use audit::{FindingView, HopView, LoadView, PlaceView, StateView, findings, load_section, loads};
pub use chained::{BrokenView, ChainedView, chained};
pub use chart::{ChartOutcomeView, ChartSetupView, ChartStepView, ChartView, chart};
pub use compare::{
    CompareView, ContactView, CountsView, DifferenceView, ExplanationView, MoveView, NetChangeView, PairView,
    RetestView, RetestWireView, compare, compare_html,
};
pub use fragment::fragment;
pub use import::{CheckedView, ImportView, import};
pub use learn::{AgainstView, BetweenView, DiffersView, LearnView, LearnedNetView, learn};
pub use locate::{LocateView, MetresView, conclusion, locate, next_reading};
pub use nets::{NetView, NetsView, nets};
pub use pack::{PackOptions, PackSection, pack};
pub use pins::{PinView, PinsView, pins};
pub use pins_drawn::{pins_html, pins_svg};
pub use place::{BesideView, ComparedView, PlacedView, PlacesView, TogetherView, WiggledView};
pub use plan::{plan, plan_view, plan_view_by, plan_with_reasons};
pub use plan_aids::{AidsView, GroupView, LoopView, WithoutView};
pub use plan_view::{ExpectView, PlanView, SetupView, WhyView};
pub use render::{Format, csv, markdown, text};
pub use repair::{RepairView, repair};
pub use report::{Case, ChangeView, Read, ReportView, report};
pub use study::{StudyView, study};
pub use trace::{StepView, TraceView, trace, trace_net};
pub use verify::{RuleView, VerifyView, verify};
pub use weights::{TimesView, WeightView, WeightsView, weights};
pub use why::{ReadingWhyView, why};
pub use wires::{WireView, WiresView, wires};

use crate::definition::{Harness, Point, StationId};

/// A titled list of tables with notes.
#[derive(Debug, Clone)]
pub struct Sheet {
    /// Lines above everything: what this is, of which definition.
    pub heading: Vec<String>,
    /// The tables in order.
    pub sections: Vec<Section>,
    /// Lines below everything.
    pub notes: Vec<String>,
    /// One table that holds everything, for CSV; the tables one after the other where there is none.
    pub flat: Option<Section>,
    /// The definition it was made from.
    pub stamp: Stamp,
}

impl Sheet {
    /// A sheet that is headed by what it shows and of which definition.
    pub fn of(what: &str, stamp: &Stamp) -> Self {
        Self {
            heading: vec![format!("{what} · {}", stamp.line())],
            sections: Vec::new(),
            notes: Vec::new(),
            flat: None,
            stamp: stamp.clone(),
        }
    }
}

/// One table of a sheet.
#[derive(Debug, Clone, Default)]
pub struct Section {
    /// What it shows.
    pub title: String,
    /// Whether it belongs under the section before it.
    pub under: bool,
    /// Lines above the table.
    pub lines: Vec<String>,
    /// Column heads.
    pub columns: Vec<&'static str>,
    /// Rows, as long as the heads.
    pub rows: Vec<Vec<String>>,
    /// Lines below the table.
    pub notes: Vec<String>,
}

/// What every output says of its definition.
#[derive(Debug, Clone, serde::Serialize)]
pub struct Stamp {
    /// Id of the definition.
    pub id: String,
    /// Its title.
    pub title: String,
    /// Its revision.
    pub revision: String,
    /// The variant that was applied.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub variant: Option<String>,
    /// SHA-256 of its files.
    pub hash: String,
}

impl Stamp {
    /// The stamp of a harness.
    pub fn of(harness: &Harness) -> Self {
        let about = &harness.about;
        Self {
            id: about.id.clone(),
            title: about.title.clone(),
            revision: about.revision.clone(),
            variant: about.variant.clone(),
            hash: harness.hash.clone(),
        }
    }

    /// One line for people.
    pub fn line(&self) -> String {
        let variant = self.variant.as_ref().map(|v| format!(" variant {v}")).unwrap_or_default();
        let title = if self.title.is_empty() { String::new() } else { format!(" · {}", self.title) };
        let hash = self.hash.get(..12).unwrap_or(&self.hash);
        format!("{}{title} · revision {}{variant} · {hash}", self.id, self.revision)
    }
}

/// A station's id, or nothing.
fn station_word(harness: &Harness, station: Option<StationId>) -> String {
    station.map_or_else(String::new, |id| harness.stations[id].id.clone())
}

/// The colours of the wires at a point, for the person who looks for a pin.
pub fn colours_at(harness: &Harness, point: Point) -> String {
    let colours = harness.wires_at(point).filter_map(|wire| harness.wires[wire].colour.as_ref());
    colours.map(ToString::to_string).collect::<Vec<_>>().join(" ")
}
