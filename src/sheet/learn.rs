//! What was learned of a lead, and what of it a design does not explain.

use serde::Serialize;

use super::import::CheckedView;
use super::{Section, Sheet, Stamp};
use crate::exchange::Reject;
use crate::learn::{Against, Lead, Rows};

/// What readings prove of a lead.
#[derive(Debug, Clone, Serialize)]
pub struct LearnView {
    /// The definition that was made of it.
    pub harness: Stamp,
    /// How many readings there are.
    pub readings: usize,
    /// Rows that could not be used.
    pub rejects: Vec<Reject>,
    /// What conductors join; a net of one is joined to nothing that was read.
    pub nets: Vec<LearnedNetView>,
    /// What lies between nets.
    pub between: Vec<BetweenView>,
    /// Readings that cannot be true together.
    pub contradictions: Vec<String>,
    /// Pairs of nets that nobody has read: the readings that would tell.
    pub unread: Vec<[String; 2]>,
    /// Beside a design: what it does not explain.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub against: Option<AgainstView>,
    /// What `check` says of the definition.
    pub check: CheckedView,
}

/// Points that conductors join.
#[derive(Debug, Clone, Serialize)]
pub struct LearnedNetView {
    /// Its points.
    pub members: Vec<String>,
    /// The rows that prove it.
    pub rows: Vec<usize>,
}

/// Something between two nets.
#[derive(Debug, Clone, Serialize)]
pub struct BetweenView {
    /// The points it was read between.
    pub between: [String; 2],
    /// What was read, in ohms.
    pub ohms: f64,
    /// The rows.
    pub rows: Vec<usize>,
}

/// Readings held against a design.
#[derive(Debug, Clone, Serialize)]
pub struct AgainstView {
    /// The design.
    pub design: Stamp,
    /// How many readings are as designed.
    pub agree: usize,
    /// Readings that are otherwise.
    pub differs: Vec<DiffersView>,
    /// Contacts that carry each other's wire.
    pub exchanged: Vec<[String; 2]>,
    /// Points that the design does not have.
    pub unknown: Vec<String>,
    /// What the design joins and nobody has read.
    pub unread: Vec<[String; 2]>,
}

/// A reading that is otherwise than designed.
#[derive(Debug, Clone, Serialize)]
pub struct DiffersView {
    /// Its row.
    pub row: usize,
    /// In words.
    pub words: String,
}

impl AgainstView {
    /// What was found beside a design.
    pub fn of(design: Stamp, found: &Against) -> Self {
        Self {
            design,
            agree: found.agree,
            differs: found
                .differs
                .iter()
                .map(|d| DiffersView { row: d.row, words: d.words.clone() })
                .collect(),
            exchanged: found.exchanged.iter().map(|e| [e.0.clone(), e.1.clone()]).collect(),
            unknown: found.unknown.clone(),
            unread: found.unread.clone(),
        }
    }

    /// Whether every reading is as designed, and nothing of the design was left unread.
    pub fn is_proven(&self) -> bool {
        self.differs.is_empty() && self.unknown.is_empty() && self.unread.is_empty()
    }
}

impl LearnView {
    /// What a lead's rows come to.
    pub fn of(harness: Stamp, rows: &Rows, lead: &Lead, check: CheckedView) -> Self {
        let name = |point: usize| lead.points[point].clone();
        let net = |net: &crate::learn::Net| LearnedNetView {
            members: net.points.iter().map(|point| name(*point)).collect(),
            rows: net.rows.clone(),
        };
        let between = |between: &crate::learn::Between| BetweenView {
            between: between.ends.map(name),
            ohms: between.ohms.get(),
            rows: between.rows.clone(),
        };
        Self {
            harness,
            readings: rows.rows.len(),
            rejects: rows.rejects.clone(),
            nets: lead.nets.iter().map(net).collect(),
            between: lead.between.iter().map(between).collect(),
            contradictions: lead.contradictions.iter().map(|found| found.words.clone()).collect(),
            unread: lead.unread.iter().map(|ends| ends.map(name)).collect(),
            against: None,
            check,
        }
    }
}

/// So many readings that are still to be taken are named; the others are counted.
const NAMED: usize = 20;

/// The sheet of what was learned.
pub fn learn(view: &LearnView) -> Sheet {
    let mut sheet = Sheet::of("Learned", &view.harness);
    sheet.sections.push(nets(view));
    let mut lines = |title: &str, lines: Vec<String>| {
        if !lines.is_empty() {
            sheet.sections.push(Section { title: title.to_owned(), lines, ..Section::default() });
        }
    };
    let between = |between: &BetweenView| {
        let [a, b] = &between.between;
        format!("- {a} to {b}: {:.3}", crate::units::Ohms::new(between.ohms))
    };
    lines("Between nets: a part, a bad joint or dirt", view.between.iter().map(between).collect());
    lines("Cannot be true together", view.contradictions.iter().map(|words| format!("- {words}")).collect());
    lines(
        "Not used",
        view.rejects.iter().map(|reject| format!("- row {}: {}", reject.row, reject.reason)).collect(),
    );
    if let Some(against) = &view.against {
        lines(&format!("Against {}", against.design.line()), against_lines(against));
    }
    lines(
        &format!("Still to be read: {} pairs of nets may be joined", view.unread.len()),
        pairs(&view.unread),
    );
    sheet.notes.push(match view.check.errors {
        0 => format!("the definition passes `check`, with {} warning(s)", view.check.warnings),
        errors => format!("`check` finds {errors} error(s) in the definition (above)"),
    });
    sheet
}

fn nets(view: &LearnView) -> Section {
    let row = |(at, net): (usize, &LearnedNetView)| {
        let rows: Vec<String> = net.rows.iter().map(ToString::to_string).collect();
        let proof =
            if net.rows.is_empty() { "joined to nothing that was read".to_owned() } else { rows.join(", ") };
        vec![format!("{}", at + 1), net.members.join(", "), proof]
    };
    Section {
        title: format!("{} readings, {} nets", view.readings, view.nets.len()),
        columns: vec!["net", "points", "by rows"],
        rows: view.nets.iter().enumerate().map(row).collect(),
        ..Section::default()
    }
}

fn against_lines(against: &AgainstView) -> Vec<String> {
    let mut lines =
        vec![format!("{} readings are as designed, {} are not.", against.agree, against.differs.len())];
    lines.extend(
        against
            .exchanged
            .iter()
            .map(|[a, b]| format!("- {a} and {b} carry each other's wire, or what they lead to does.")),
    );
    lines.extend(against.differs.iter().map(|differs| format!("- row {}: {}.", differs.row, differs.words)));
    lines.extend(against.unknown.iter().map(|point| format!("- {point} is not in the design.")));
    lines.extend(
        against.unread.iter().map(|[a, b]| format!("- {a} to {b} is joined by the design and was not read.")),
    );
    lines
}

fn pairs(unread: &[[String; 2]]) -> Vec<String> {
    let mut lines: Vec<String> = unread.iter().take(NAMED).map(|[a, b]| format!("- {a} to {b}")).collect();
    if unread.len() > NAMED {
        lines.push(format!("- and {} more (--format json names all)", unread.len() - NAMED));
    }
    lines
}
