//! From what single rows say to one harness: rows that speak of the same wire or contact are joined, and rows that
//! contradict each other are rejected.

use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet};

use super::ask::{Ask, Questions};
use super::head::Layout;
use super::options::Options;
use super::point::{End, Joint};
use super::rejects::Rejected;
use super::row::{Details, Fact, Items, Strand};
use super::strands;
use super::word::Instead;

/// A harness on its way to a text.
#[derive(Debug, Default)]
pub(super) struct Draft {
    pub connectors: Vec<(String, Vec<Contact>)>,
    /// Splices and terminals, each with whether its name alone says so.
    pub joints: Vec<(String, Joint, bool)>,
    pub wires: Vec<Wire>,
    /// Wires of which the table names one end only, with that end.
    pub loose: Vec<(String, String)>,
    /// Ids given to wires that had none.
    pub numbered: usize,
}

/// A contact of a connector.
#[derive(Debug, Default, Clone)]
pub(super) struct Contact {
    pub name: String,
    pub signal: Option<String>,
    pub also: Vec<String>,
    pub empty: Option<Instead>,
    pub joined: bool,
    /// For a comment.
    pub notes: Vec<String>,
    /// The row that gave it its signal.
    named_in: usize,
}

/// A wire with both ends.
#[derive(Debug, Clone)]
pub(super) struct Wire {
    pub id: String,
    pub ends: [End; 2],
    pub details: Details,
    pub notes: Vec<String>,
    pub rows: Vec<usize>,
}

/// Joins what rows say. Rows that contradict others are added to the rejected ones.
pub(super) fn gather(
    mut items: Items,
    layout: Layout,
    options: &Options,
    rejected: &mut Rejected,
    questions: &mut Questions,
) -> Draft {
    for id in items.strands.iter_mut().filter_map(|strand| strand.id.as_mut()) {
        id.insert_str(0, &options.wire_prefix);
    }
    bare_connectors(&items, rejected);
    drop_rejected(&mut items, rejected);
    contradictions(&items, rejected);
    drop_rejected(&mut items, rejected);
    let mut joined = strands::join(&items.strands, layout, options.letters, rejected);
    whole_wires(&mut joined, rejected);
    drop_rejected(&mut items, rejected);
    filled_spares(&items, rejected);
    drop_rejected(&mut items, rejected);
    let (wires, loose): (Vec<_>, Vec<_>) = joined.into_iter().partition(|joined| joined.ends.len() == 2);
    let mut draft = Draft {
        connectors: connectors(&items, layout),
        joints: joints(&items, options, questions),
        ..Draft::default()
    };
    number(&mut draft, wires);
    draft.loose = loose.iter().filter_map(loose_end).collect();
    note_loose(&mut draft);
    joined_on_purpose(&mut draft, &items.strands, options, questions);
    prefixes(&draft, questions);
    draft
}

fn drop_rejected(items: &mut Items, rejected: &Rejected) {
    items.strands.retain(|strand| !rejected.contains_key(&strand.row));
    items.facts.retain(|fact| !rejected.contains_key(&fact.row));
    items.joints.retain(|(row, ..)| !rejected.contains_key(row));
}

/// Rejects rows that name a connector without a contact.
fn bare_connectors(items: &Items, rejected: &mut Rejected) {
    let known: BTreeSet<&str> = items.facts.iter().map(|fact| fact.connector.as_str()).collect();
    for strand in &items.strands {
        for end in &strand.ends {
            if let End::Joint(name) = end
                && known.contains(name.as_str())
            {
                let reason = format!("{name} has contacts in other rows: which one is meant here?");
                rejected.entry(strand.row).or_insert(reason);
            }
        }
    }
}

/// Rejects a row that says another thing of a contact or a joint than a row before it.
fn contradictions(items: &Items, rejected: &mut Rejected) {
    let mut joints: BTreeMap<&str, (Joint, usize)> = BTreeMap::new();
    for (row, name, joint) in &items.joints {
        let (first, at) = *joints.entry(name).or_insert((*joint, *row));
        if first != *joint {
            let reason = format!("{name} is a {} here and a {} in row {at}", joint.word(), first.word());
            rejected.entry(*row).or_insert(reason);
        }
    }
    let mut signals: BTreeMap<(&str, &str), (&str, usize)> = BTreeMap::new();
    for fact in &items.facts {
        let Some(signal) = &fact.signal else { continue };
        let key = (fact.connector.as_str(), fact.contact.as_str());
        let (first, row) = *signals.entry(key).or_insert((signal, fact.row));
        if first != signal {
            let reason =
                format!("{}.{} is `{signal}` here and `{first}` in row {row}", fact.connector, fact.contact);
            rejected.entry(fact.row).or_insert(reason);
        }
    }
}

/// Rejects every row of a wire of which one row is rejected: half of it would be lost without a word.
fn whole_wires(joined: &mut Vec<strands::Joined>, rejected: &mut Rejected) {
    loop {
        let before = rejected.len();
        for wire in joined.iter() {
            let Some(bad) = wire.rows.iter().copied().find(|row| rejected.contains_key(row)) else {
                continue;
            };
            let reason = match &wire.id {
                Some(id) => format!("it shares wire {id} with row {bad}, which is rejected"),
                None => format!("it shares a wire with row {bad}, which is rejected"),
            };
            for row in wire.rows.iter().filter(|row| **row != bad) {
                rejected.entry(*row).or_insert_with(|| reason.clone());
            }
        }
        joined.retain(|wire| !wire.rows.iter().any(|row| rejected.contains_key(row)));
        if rejected.len() == before {
            return;
        }
    }
}

/// Rejects rows that call a contact empty in which another row has a wire.
fn filled_spares(items: &Items, rejected: &mut Rejected) {
    let mut filled: BTreeMap<&End, usize> = BTreeMap::new();
    for strand in &items.strands {
        for end in &strand.ends {
            filled.entry(end).or_insert(strand.row);
        }
    }
    for fact in items.facts.iter().filter(|fact| fact.empty.is_some()) {
        let end = End::Contact(fact.connector.clone(), fact.contact.clone());
        if let Some(row) = filled.get(&end) {
            let reason = format!("{} is empty here and has a wire in row {row}", end.name());
            rejected.entry(fact.row).or_insert(reason);
        }
    }
}

/// All connectors with their contacts: in a pin map as they stand there, else by their names.
fn connectors(items: &Items, layout: Layout) -> Vec<(String, Vec<Contact>)> {
    let mut order: Vec<(String, Vec<Contact>)> = Vec::new();
    let mut places: BTreeMap<String, (usize, BTreeMap<String, usize>)> = BTreeMap::new();
    let ends = items.strands.iter().flat_map(|strand| &strand.ends);
    let bare = ends.filter_map(|end| match end {
        End::Contact(connector, contact) => Some((connector, contact, None)),
        End::Joint(_) => None,
    });
    let said = items.facts.iter().map(|fact| (&fact.connector, &fact.contact, Some(fact)));
    for (connector, contact, fact) in said.chain(bare) {
        let (at, contacts) = places.entry(connector.clone()).or_insert_with(|| {
            order.push((connector.clone(), Vec::new()));
            (order.len() - 1, BTreeMap::new())
        });
        let list = &mut order[*at].1;
        let place = *contacts.entry(contact.clone()).or_insert_with(|| {
            list.push(Contact { name: contact.clone(), ..Contact::default() });
            list.len() - 1
        });
        if let Some(fact) = fact {
            describe(&mut list[place], fact);
        }
    }
    if layout == Layout::Wires {
        order.sort_by(|(a, _), (b, _)| natural(a, b));
        for (_, contacts) in &mut order {
            contacts.sort_by(|a, b| natural(&a.name, &b.name));
        }
    }
    order
}

fn describe(contact: &mut Contact, fact: &Fact) {
    if contact.signal.is_none() && fact.signal.is_some() {
        contact.signal.clone_from(&fact.signal);
        contact.named_in = fact.row;
    }
    if fact.empty.is_some() {
        contact.empty = contact.empty.or(fact.empty);
    }
    let new = |known: &Vec<String>, text: &String| !known.contains(text);
    for also in &fact.also {
        // A marking that is the contact's own name says nothing more.
        if new(&contact.also, also) && *also != contact.name {
            contact.also.push(also.clone());
        }
    }
    for note in &fact.notes {
        if new(&contact.notes, note) {
            contact.notes.push(note.clone());
        }
    }
}

/// By the numbers in them: `2` before `10`.
pub fn natural(a: &str, b: &str) -> Ordering {
    let key = |text: &str| {
        let at = text.find(|c: char| c.is_ascii_digit()).unwrap_or(text.len());
        let end = text[at..].find(|c: char| !c.is_ascii_digit()).map_or(text.len(), |length| at + length);
        (text[..at].to_owned(), text[at..end].parse::<u64>().ok(), text[end..].to_owned())
    };
    key(a).cmp(&key(b)).then_with(|| a.cmp(b))
}

/// What each name without a contact is.
fn joints(items: &Items, options: &Options, questions: &mut Questions) -> Vec<(String, Joint, bool)> {
    let said: BTreeMap<&str, Joint> =
        items.joints.iter().map(|(_, name, joint)| (name.as_str(), *joint)).collect();
    let mut found: BTreeMap<&str, (Joint, bool)> = BTreeMap::new();
    for strand in &items.strands {
        for end in &strand.ends {
            let End::Joint(name) = end else { continue };
            if found.contains_key(name.as_str()) {
                continue;
            }
            let named = |set: &BTreeSet<String>| set.contains(name);
            let joint = match said.get(name.as_str()) {
                Some(joint) => Some((*joint, false)),
                None if named(&options.splices) => Some((Joint::Splice, false)),
                None if named(&options.terminals) => Some((Joint::Terminal, false)),
                None if named(&options.grounds) => Some((Joint::Ground, false)),
                None => Joint::by_name(name).map(|joint| (joint, true)),
            };
            match joint {
                Some(joint) => drop(found.insert(name, joint)),
                None => questions.add(Ask::Joint, strand.row, name.clone()),
            }
        }
    }
    let mut list: Vec<(String, Joint, bool)> =
        found.into_iter().map(|(name, (joint, guessed))| (name.to_owned(), joint, guessed)).collect();
    list.sort_by(|a, b| a.1.cmp(&b.1).then_with(|| natural(&a.0, &b.0)));
    list
}

/// Takes the wires over; those without an id get `W1`, `W2` and so on, in the order of their rows.
fn number(draft: &mut Draft, joined: Vec<strands::Joined>) {
    let taken: BTreeSet<String> = joined
        .iter()
        .filter_map(|wire| wire.id.clone())
        .chain(draft.connectors.iter().map(|(id, _)| id.clone()))
        .chain(draft.joints.iter().map(|(id, ..)| id.clone()))
        .collect();
    let mut free = (1..).map(|n| format!("W{n}")).filter(|id| !taken.contains(id));
    for wire in joined {
        let [first, second] = &wire.ends[..] else { continue };
        let ends = [first.clone(), second.clone()];
        draft.numbered += usize::from(wire.id.is_none());
        let id = wire.id.or_else(|| free.next()).unwrap_or_default();
        draft.wires.push(Wire { id, ends, details: wire.details, notes: wire.notes, rows: wire.rows });
    }
}

fn loose_end(wire: &strands::Joined) -> Option<(String, String)> {
    let mut words = wire.id.clone()?;
    for (key, value) in &wire.details.values {
        words.push_str(&format!(", {key} {value}"));
    }
    Some((wire.ends.first()?.name(), words))
}

/// Puts a comment beside contacts whose wire leads nowhere in this table.
fn note_loose(draft: &mut Draft) {
    let mut loose: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for (end, words) in &draft.loose {
        loose.entry(end).or_default().push(words);
    }
    for (id, contacts) in &mut draft.connectors {
        for contact in contacts {
            let name = format!("{id}.{}", contact.name);
            for words in loose.get(name.as_str()).into_iter().flatten() {
                contact.notes.push(format!("wire {words}: the table does not say where its other end is"));
            }
        }
    }
}

/// Marks contacts with several wires, or with a signal that stands twice in their connector, where that is meant.
fn joined_on_purpose(draft: &mut Draft, strands: &[Strand], options: &Options, questions: &mut Questions) {
    // How many wires of an end stand in one cell.
    let mut cells: BTreeMap<(String, usize), usize> = BTreeMap::new();
    for strand in strands {
        for end in &strand.ends {
            *cells.entry((end.name(), strand.row)).or_default() += 1;
        }
    }
    let mut wires: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for wire in &draft.wires {
        for end in &wire.ends {
            wires.entry(end.name()).or_default().push(wire.rows[0]);
        }
    }
    for (id, contacts) in &mut draft.connectors {
        let mut signals: BTreeMap<String, usize> = BTreeMap::new();
        for signal in contacts.iter().filter_map(|contact| contact.signal.clone()) {
            *signals.entry(signal).or_default() += 1;
        }
        for contact in contacts.iter_mut() {
            let name = format!("{id}.{}", contact.name);
            let rows = wires.get(&name).map_or(&[][..], Vec::as_slice);
            let several = rows.len() > 1;
            // Wires that stand in one cell are together on purpose.
            let whole = |((end, _), count): (&(String, usize), &usize)| *end == name && *count >= rows.len();
            let one_cell = several && cells.range((name.clone(), 0)..=(name.clone(), usize::MAX)).any(whole);
            let shared = contact.signal.as_ref().is_some_and(|signal| signals[signal] > 1);
            let meant = options.joined.holds(&name);
            contact.joined = one_cell || ((several || shared) && meant);
            if (several && !one_cell && !meant) || (shared && !contact.joined) {
                let why = if several {
                    format!("{} wires", rows.len())
                } else {
                    format!("`{}`", contact.signal.as_deref().unwrap_or_default())
                };
                let row = rows.last().copied().filter(|_| several).unwrap_or(contact.named_in);
                questions.add(Ask::Joined, row, format!("{name} ({why})"));
            }
        }
    }
}

/// Asks for a prefix where a wire has the id of something else.
fn prefixes(draft: &Draft, questions: &mut Questions) {
    let others: BTreeSet<&str> = draft
        .connectors
        .iter()
        .map(|(id, _)| id.as_str())
        .chain(draft.joints.iter().map(|(id, ..)| id.as_str()))
        .collect();
    for wire in draft.wires.iter().filter(|wire| others.contains(wire.id.as_str())) {
        questions.add(Ask::Prefix, wire.rows[0], wire.id.clone());
    }
}
