//! One reading to take, as it is asked for and as it is written.

use std::collections::BTreeMap;

use crate::definition::{Harness, Point};
use crate::locate::Next;
use crate::measure::{Expectation, Measurement, Reading};
use crate::record::NewEntry;
use crate::setup::Action;
use crate::sheet::{self, Section, SetupView};
use crate::units::Volts;

/// Why a reading is asked for.
#[derive(Debug, Clone)]
pub(super) enum Origin {
    /// It tells most for its time.
    Advice(Box<Next>),
    /// The plan has it next.
    Step {
        /// The plan's step.
        id: String,
        /// What it is for.
        purpose: String,
    },
    /// Much hangs on this reading.
    Repeat(String),
}

/// A reading that is asked for.
#[derive(Debug, Clone)]
pub(super) struct Question {
    pub measurement: Measurement,
    /// What a healthy machine shows.
    pub expect: Expectation,
    /// What brings its setup about from where the machine stands.
    pub changes: Vec<Action>,
    /// Contacts of open plugs that are live then.
    pub live: Vec<(Point, Volts)>,
    pub cautions: Vec<String>,
    pub origin: Origin,
}

impl Question {
    /// The entry that answers it.
    pub(super) fn entry(
        &self,
        harness: &Harness,
        value: Reading,
        at: Option<toml::value::Datetime>,
        by: Option<String>,
    ) -> NewEntry {
        let SetupView { power, unplugged, set, conditions, strapped, .. } =
            SetupView::of(harness, self.measurement.setup());
        NewEntry {
            at,
            step: match &self.origin {
                Origin::Step { id, .. } => Some(id.clone()),
                _ => None,
            },
            kind: self.measurement.kind().word().to_owned(),
            red: harness.point_name(self.measurement.red()),
            black: harness.point_name(self.measurement.black()),
            power: power.to_owned(),
            unplugged,
            set: BTreeMap::from_iter(set),
            conditions,
            strapped,
            value: value.normal(),
            by,
            ..NewEntry::default()
        }
    }

    /// What to do, what to heed and what to read. What stays as it is need not be said again, unless `whole` asks for it.
    pub(super) fn section(&self, harness: &Harness, whole: bool) -> Section {
        let mut lines = numbered(harness, &self.changes);
        let setup = self.measurement.setup();
        if whole || !self.changes.is_empty() {
            lines.push(format!("Setup: {}.", setup.words(harness)));
            lines.extend(self.cautions.iter().map(|text| format!("- {text}")));
        }
        if !self.live.is_empty() {
            let live: Vec<String> =
                self.live.iter().map(|(p, v)| format!("{} {v}", harness.point_name(*p))).collect();
            lines.push(format!("LIVE at the open plugs: {}.", live.join(", ")));
        }
        lines.push(format!(
            "Read {}{}. Healthy: {}.",
            self.measurement.words(harness),
            self.at(harness),
            self.expect.words()
        ));
        if let Origin::Repeat(name) = &self.origin {
            lines.push(format!("It was read before as {name}: much hangs on it, so read it once more."));
        }
        if matches!(&self.origin, Origin::Advice(next) if next.again) {
            lines.push("It was read before: read it again with care, it may be the wrong one.".to_owned());
        }
        Section { title: self.title(), lines, ..Section::default() }
    }

    fn title(&self) -> String {
        match &self.origin {
            Origin::Advice(_) => "Next reading".to_owned(),
            Origin::Step { id, .. } => format!("Next reading: step {id} of the plan"),
            Origin::Repeat(_) => "Once more, before anything is replaced".to_owned(),
        }
    }

    /// The stations of the probes.
    fn at(&self, harness: &Harness) -> String {
        let station = |point| harness.station_of(point).map(|id| harness.stations[id].id.as_str());
        match [self.measurement.red(), self.measurement.black()].map(station) {
            [Some(red), Some(black)] if red != black => format!(", at {red} and {black}"),
            [Some(one), _] | [None, Some(one)] => format!(", at {one}"),
            [None, None] => String::new(),
        }
    }

    /// Why it is asked for, what each outcome would mean, and why the limits are where they are.
    pub(super) fn why(&self, harness: &Harness) -> Vec<Section> {
        let mut sections = match &self.origin {
            Origin::Advice(next) => {
                let Section { columns, rows, .. } = sheet::next_reading(harness, next);
                let told = match &next.proves {
                    Some(what) => format!("It proves the {what}, before a unit is accused."),
                    None => format!(
                        "Of all permitted readings it tells most for its time: {} bits in about {} s.",
                        crate::units::significant(next.bits, 2),
                        crate::units::significant(next.seconds, 2)
                    ),
                };
                vec![Section {
                    title: "Why this reading".to_owned(),
                    lines: vec![told],
                    columns,
                    rows,
                    ..Section::default()
                }]
            }
            Origin::Step { id, purpose } => vec![Section {
                title: "Why this reading".to_owned(),
                lines: vec![format!(
                    "No reading is bad so far, so the plan leads: step {id}, {purpose}. From the first bad reading on, \
                     what tells most comes next."
                )],
                ..Section::default()
            }],
            Origin::Repeat(name) => vec![Section {
                title: "Why this reading".to_owned(),
                lines: vec![format!("If {name} were wrong, something else would be at fault.")],
                ..Section::default()
            }],
        };
        let limits = [("No less", &self.expect.why.low), ("No more", &self.expect.why.high)];
        let limits = limits.into_iter().map(|(what, why)| (what, why.words(self.expect.ohms)));
        let limits: Vec<String> = limits
            .filter(|(_, words)| !words.is_empty())
            .map(|(what, words)| format!("- {what}: {words}"))
            .collect();
        if !limits.is_empty() {
            let title = format!("Why healthy is {}", self.expect.words());
            sections.push(Section { title, lines: limits, ..Section::default() });
        }
        sections
    }
}

/// Actions in order.
pub(super) fn numbered(harness: &Harness, actions: &[Action]) -> Vec<String> {
    let line = |(at, action): (usize, &Action)| format!("{:>3}. {}", at + 1, action.words(harness));
    actions.iter().enumerate().map(line).collect()
}
