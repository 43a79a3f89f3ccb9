//! The comparison of two revisions, for people and programs.
//!
//! Comes in: both harnesses and their comparison. Goes out: a sheet (table, Markdown, CSV) and JSON; the page is in
//! [`page`]. Why: first whether it matters, then what explains it, then every single difference, and at the end what to
//! test again.

mod page;

use serde::Serialize;

use super::{Section, Sheet, Stamp};
use crate::compare::{Change, Comparison, Effect, Level, NetChange, Verdict};
use crate::definition::{ConnectorId, ContactId, Harness, Point};

pub use page::compare_html;

/// A comparison for programs.
#[derive(Debug, Clone, Serialize)]
pub struct CompareView {
    /// The new revision.
    pub harness: Stamp,
    /// The old one.
    pub before: Stamp,
    /// How much they differ.
    pub verdict: &'static str,
    /// The verdict in a sentence.
    pub words: String,
    /// Whether contacts, terminals and the chassis are in the same nets, everything plugged in.
    pub nets_as_found: bool,
    /// Whether they are with everything parted.
    pub nets_parted: bool,
    /// Whether the ends of the machine are in the same nets, everything plugged in.
    pub ends_as_found: bool,
    /// How many differences matter to what.
    pub counts: CountsView,
    /// What explains several differences at once.
    pub explanations: Vec<ExplanationView>,
    /// Nets that are not what they were.
    pub nets: Vec<NetChangeView>,
    /// Every single difference.
    pub changes: Vec<DifferenceView>,
    /// Contacts that do not carry what they carried.
    pub contacts: Vec<ContactView>,
    /// What must be tested again.
    pub retest: RetestView,
}

/// How many differences matter to what.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct CountsView {
    /// Wired, protected or driven otherwise.
    pub electrical: usize,
    /// Read or tested otherwise.
    pub test_limits: usize,
    /// Names, colours, words.
    pub paper_only: usize,
}

/// What explains several differences at once.
#[derive(Debug, Clone, Serialize)]
pub struct ExplanationView {
    /// Its kind.
    pub pattern: &'static str,
    /// The connectors it happened at.
    pub connectors: Vec<String>,
    /// From which contact to which.
    pub moves: Vec<MoveView>,
    /// Twisted pairs that moved as such.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub pairs: Vec<PairView>,
    /// The wires.
    pub wires: Vec<String>,
    /// What it matters to.
    pub effect: &'static str,
    /// In plain words.
    pub words: String,
}

/// Where something was and is.
#[derive(Debug, Clone, Serialize)]
pub struct MoveView {
    /// Where it was.
    pub from: String,
    /// Where it is.
    pub to: String,
}

/// A twisted pair that moved.
#[derive(Debug, Clone, Serialize)]
pub struct PairView {
    /// Its mark in the old revision.
    pub mark: String,
    /// The contacts it was in.
    pub from: String,
    /// The contacts it is in.
    pub to: String,
}

/// Nets that are not what they were.
#[derive(Debug, Clone, Serialize)]
pub struct NetChangeView {
    /// `as found`, everything plugged in; or `parted`.
    pub level: &'static str,
    /// What became of them.
    pub kind: &'static str,
    /// The old nets.
    pub before: Vec<Vec<String>>,
    /// The new nets.
    pub after: Vec<Vec<String>>,
}

/// A single difference.
#[derive(Debug, Clone, Serialize)]
pub struct DifferenceView {
    /// What it matters to.
    pub effect: &'static str,
    /// What it is of.
    pub subject: &'static str,
    /// The old name.
    pub old: Option<String>,
    /// The new name.
    pub new: Option<String>,
    /// What became of it.
    pub what: &'static str,
    /// What it was.
    pub before: String,
    /// What it is.
    pub after: String,
    /// Why it matters so much and no more.
    pub why: &'static str,
    /// The explanation it belongs to, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub explained: Option<usize>,
}

/// A contact that does not carry what it carried.
#[derive(Debug, Clone, Serialize)]
pub struct ContactView {
    /// Its old name.
    pub old: Option<String>,
    /// Its new name.
    pub new: Option<String>,
    /// What it carried.
    pub before: String,
    /// What it carries.
    pub after: String,
    /// Whether what is in its own cavity changed, and not only where that leads.
    pub here: bool,
}

/// What must be tested again.
#[derive(Debug, Clone, Serialize)]
pub struct RetestView {
    /// Wires.
    pub wires: Vec<RetestWireView>,
    /// Pairs of points that were one net and must read apart, looms parted.
    pub apart: Vec<[String; 2]>,
    /// What else to prove, and why.
    pub others: Vec<[String; 2]>,
}

/// A wire that must be tested again.
#[derive(Debug, Clone, Serialize)]
pub struct RetestWireView {
    /// Its id.
    pub wire: String,
    /// Its first end.
    pub from: String,
    /// Its other end.
    pub to: String,
    /// Why.
    pub why: Vec<&'static str>,
}

/// The comparison of two revisions as a view and as a sheet.
pub fn compare(harnesses: [&Harness; 2], comparison: &Comparison) -> (CompareView, Sheet) {
    let [old, new] = harnesses;
    let view = CompareView {
        harness: Stamp::of(new),
        before: Stamp::of(old),
        verdict: comparison.verdict.word(),
        words: verdict_words(comparison),
        nets_as_found: comparison.nets_as_found,
        nets_parted: comparison.nets_parted,
        ends_as_found: comparison.ends_as_found,
        counts: CountsView {
            electrical: comparison.count(Effect::Electrical),
            test_limits: comparison.count(Effect::Limits),
            paper_only: comparison.count(Effect::Paper),
        },
        explanations: comparison.explanations.iter().map(explanation).collect(),
        nets: comparison.nets.iter().map(net).collect(),
        changes: comparison.changes.iter().map(difference).collect(),
        contacts: comparison.pins.iter().map(|pin| contact(harnesses, pin)).collect(),
        retest: retest(comparison),
    };
    let mut sheet = Sheet::of("Comparison", &view.harness);
    sheet.heading.push(format!("against: {}", view.before.line()));
    sheet.heading.push(view.words.clone());
    sheet.sections = sections(&view);
    sheet.flat = Some(flat(&view));
    (view, sheet)
}

/// The verdict in a sentence, and how many differences there are.
fn verdict_words(comparison: &Comparison) -> String {
    let verdict = match comparison.verdict {
        Verdict::Identical => {
            return "Nothing differs but, perhaps, the revision and the layout of the files.".to_owned();
        }
        Verdict::Same => {
            "Electrically the same: every contact, terminal and part joins what it joined, plugged in and parted."
        }
        Verdict::SameAsFound => {
            "Electrically the same as the machine is found: its parts, terminals and open connectors join what they \
             joined. Contacts on the way do not, so readings at open plugs differ."
        }
        Verdict::Different if comparison.ends_as_found && comparison.nets_parted => {
            "Electrically different: every net is what it was, but something that works on the nets is not."
        }
        Verdict::Different => "Electrically different.",
    };
    let counts: Vec<String> = Effect::ALL
        .into_iter()
        .map(|effect| (comparison.count(effect), effect))
        .filter(|(count, _)| *count > 0)
        .map(|(count, effect)| format!("{count} {}", effect.word()))
        .collect();
    format!("{verdict} Differences: {}.", counts.join(", "))
}

fn explanation(of: &crate::compare::Explanation) -> ExplanationView {
    let moved = |[from, to]: &[String; 2]| MoveView { from: from.clone(), to: to.clone() };
    let pair =
        |[mark, from, to]: &[String; 3]| PairView { mark: mark.clone(), from: from.clone(), to: to.clone() };
    ExplanationView {
        pattern: of.pattern.word(),
        connectors: of.connectors.clone(),
        moves: of.moves.iter().map(moved).collect(),
        pairs: of.pairs.iter().map(pair).collect(),
        wires: of.wires.clone(),
        effect: of.effect.word(),
        words: of.words.clone(),
    }
}

fn net(of: &NetChange) -> NetChangeView {
    let level = match of.level {
        Level::AsFound => "as found",
        Level::Parted => "parted",
    };
    NetChangeView { level, kind: of.kind(), before: of.before.clone(), after: of.after.clone() }
}

fn difference(of: &Change) -> DifferenceView {
    DifferenceView {
        effect: of.effect.word(),
        subject: of.subject.word(),
        old: of.old.clone(),
        new: of.new.clone(),
        what: of.what.words(),
        before: of.before.clone(),
        after: of.after.clone(),
        why: of.why,
        explained: of.explained.map(|at| at + 1),
    }
}

fn contact([old, new]: [&Harness; 2], pin: &crate::compare::PinChange) -> ContactView {
    let name = |harness: &Harness, id: Option<ContactId>| id.map(|id| harness.point_name(Point::Contact(id)));
    ContactView {
        old: name(old, pin.contact[0]),
        new: name(new, pin.contact[1]),
        before: pin.before.clone(),
        after: pin.after.clone(),
        here: pin.here,
    }
}

fn retest(comparison: &Comparison) -> RetestView {
    let wire = |wire: &crate::compare::RetestWire| {
        let [from, to] = wire.ends.clone();
        RetestWireView { wire: wire.wire.clone(), from, to, why: wire.reasons.clone() }
    };
    RetestView {
        wires: comparison.retest.wires.iter().map(wire).collect(),
        apart: comparison.retest.apart.clone(),
        others: comparison.retest.others.clone(),
    }
}

/// The title of the section that faces are drawn in.
const CONTACTS: &str = "Contacts before and after";

fn sections(view: &CompareView) -> Vec<Section> {
    let mut all = Vec::new();
    if !view.explanations.is_empty() {
        let line = |(at, of): (usize, &ExplanationView)| format!("{}. {}", at + 1, of.words);
        all.push(Section {
            title: "What explains it".to_owned(),
            lines: view.explanations.iter().enumerate().map(line).collect(),
            ..Section::default()
        });
    }
    all.extend(nets(view));
    for effect in Effect::ALL {
        let of: Vec<&DifferenceView> =
            view.changes.iter().filter(|change| change.effect == effect.word()).collect();
        if !of.is_empty() {
            all.push(differences(effect, &of));
        }
    }
    if !view.contacts.is_empty() {
        all.push(Section {
            title: CONTACTS.to_owned(),
            columns: vec!["contact", "before", "after"],
            rows: view
                .contacts
                .iter()
                .map(|of| vec![both_names([&of.old, &of.new]), of.before.clone(), of.after.clone()])
                .collect(),
            ..Section::default()
        });
    }
    all.push(retest_section(&view.retest));
    all
}

/// Nets as found; with everything parted only where the nets as found are the same: else it would all be said twice.
fn nets(view: &CompareView) -> Option<Section> {
    let level = if view.nets_as_found { "parted" } else { "as found" };
    let rows: Vec<Vec<String>> = view
        .nets
        .iter()
        .filter(|net| net.level == level)
        .map(|net| vec![net.kind.to_owned(), groups(&net.before), groups(&net.after)])
        .collect();
    let title = if view.nets_as_found {
        "Nets that are not what they were, everything parted"
    } else {
        "Nets that are not what they were, everything plugged in"
    };
    (!rows.is_empty()).then(|| Section {
        title: title.to_owned(),
        columns: vec!["what", "before", "after"],
        rows,
        ..Section::default()
    })
}

/// Nets in a cell: their points, and a bar between two nets.
fn groups(nets: &[Vec<String>]) -> String {
    /// The most points of a net that are written out.
    const SHOWN: usize = 12;
    let one = |net: &Vec<String>| {
        if net.len() <= SHOWN {
            return net.join(" ");
        }
        format!("{} … ({} in all)", net[..SHOWN].join(" "), net.len())
    };
    nets.iter().map(one).collect::<Vec<_>>().join(" / ")
}

fn differences(effect: Effect, of: &[&DifferenceView]) -> Section {
    // Why something is on paper only needs no column.
    let with_why = effect != Effect::Paper;
    let row = |change: &&DifferenceView| {
        let thing = match change.subject {
            "definition" if change.what == "id" || change.what == "title" => "definition".to_owned(),
            subject => format!("{subject} {}", both_names([&change.old, &change.new])),
        };
        let mut row = vec![thing, change.what.to_owned(), change.before.clone(), change.after.clone()];
        let tells = with_why || change.what == "renamed";
        row.push(if tells { change.why.to_owned() } else { String::new() });
        row.push(change.explained.map(|at| at.to_string()).unwrap_or_default());
        row
    };
    let word = effect.word();
    Section {
        title: format!("{}{}", word[..1].to_uppercase(), &word[1..]),
        columns: vec!["thing", "what", "before", "after", "why", "see"],
        rows: of.iter().map(row).collect(),
        ..Section::default()
    }
}

/// The name of a thing, or both where it has two.
fn both_names(names: [&Option<String>; 2]) -> String {
    match names.map(Option::as_deref) {
        [Some(old), Some(new)] if old != new => format!("{old}, now {new}"),
        [_, Some(name)] | [Some(name), None] => name.to_owned(),
        [None, None] => String::new(),
    }
}

fn retest_section(retest: &RetestView) -> Section {
    let row = |of: &RetestWireView| vec![of.wire.clone(), of.from.clone(), of.to.clone(), of.why.join("; ")];
    let apart = retest.apart.iter().map(|[a, b]| format!("- {a} and {b} must read apart, looms parted"));
    let others = retest.others.iter().map(|[what, why]| format!("- {what}: {why}"));
    let mut notes: Vec<String> = apart.chain(others).collect();
    if retest.wires.is_empty() && notes.is_empty() {
        notes.push("Nothing.".to_owned());
    }
    Section {
        title: "To be tested again".to_owned(),
        columns: vec!["wire", "from", "to", "why"],
        rows: retest.wires.iter().map(row).collect(),
        notes,
        ..Section::default()
    }
}

fn flat(view: &CompareView) -> Section {
    let row = |change: &DifferenceView| {
        let text = |slot: &Option<String>| slot.clone().unwrap_or_default();
        vec![
            change.effect.to_owned(),
            change.subject.to_owned(),
            text(&change.old),
            text(&change.new),
            change.what.to_owned(),
            change.before.clone(),
            change.after.clone(),
            change.why.to_owned(),
            change.explained.map(|at| view.explanations[at - 1].words.clone()).unwrap_or_default(),
        ]
    };
    Section {
        columns: vec!["effect", "subject", "old", "new", "what", "before", "after", "why", "explained"],
        rows: view.changes.iter().map(row).collect(),
        ..Section::default()
    }
}

/// The connectors at which a contact changed, as far as both revisions have them, in the order of the new one; each with
/// the contacts in question.
fn changed_faces(comparison: &Comparison) -> Vec<([ConnectorId; 2], [Vec<ContactId>; 2])> {
    let mut faces: std::collections::BTreeMap<[ConnectorId; 2], [Vec<ContactId>; 2]> =
        std::collections::BTreeMap::new();
    for pin in comparison.pins.iter().filter(|pin| pin.here) {
        if let [Some(old), Some(new)] = pin.connector {
            let marked = faces.entry([new, old]).or_default();
            for (marked, contact) in marked.iter_mut().zip(pin.contact) {
                marked.extend(contact);
            }
        }
    }
    faces.into_iter().map(|([new, old], marked)| ([old, new], marked)).collect()
}
