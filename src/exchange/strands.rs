//! Rows that speak of one wire.

use std::collections::{BTreeMap, BTreeSet};

use super::head::Layout;
use super::point::End;
use super::rejects::Rejected;
use super::row::{Details, Strand};

/// A wire as all its rows tell it, with two ends or one.
#[derive(Debug, Clone)]
pub(super) struct Joined {
    pub id: Option<String>,
    pub ends: Vec<End>,
    pub details: Details,
    pub notes: Vec<String>,
    pub rows: Vec<usize>,
    /// Its place in the table.
    order: usize,
}

impl Joined {
    fn of(order: usize, strand: &Strand) -> Self {
        Self {
            id: strand.id.clone(),
            ends: strand.ends.clone(),
            details: strand.details.clone(),
            notes: strand.notes.clone(),
            rows: vec![strand.row],
            order,
        }
    }

    /// Adds what another row says of the same wire; gives back what contradicts, if anything does.
    fn add(&mut self, strand: &Strand) -> Option<String> {
        for (key, value) in &strand.details.values {
            match self.details.values.iter().find(|(known, _)| known == key) {
                Some((_, known)) if known != value => {
                    return Some(format!("{key} is {value} here and {known} in row {}", self.rows[0]));
                }
                Some(_) => {}
                None => self.details.values.push((key, value.clone())),
            }
        }
        for note in &strand.notes {
            if !self.notes.contains(note) {
                self.notes.push(note.clone());
            }
        }
        if !self.rows.contains(&strand.row) {
            self.rows.push(strand.row);
        }
        None
    }
}

/// The rows of one id, each with its place in the table.
type Group<'a> = Vec<(usize, &'a Strand)>;

/// Joins the rows of each wire. In a from-to list a wire has one row; in a pin map one at each end.
pub(super) fn join(
    strands: &[Strand],
    layout: Layout,
    letters: bool,
    rejected: &mut Rejected,
) -> Vec<Joined> {
    let mut groups: BTreeMap<&str, Group<'_>> = BTreeMap::new();
    let mut nameless: Group<'_> = Vec::new();
    for (order, strand) in strands.iter().enumerate() {
        match &strand.id {
            Some(id) => groups.entry(id).or_default().push((order, strand)),
            None => nameless.push((order, strand)),
        }
    }
    let taken: BTreeSet<&str> = groups.keys().copied().collect();
    let mut joined = match layout {
        Layout::Wires => nameless.iter().map(|(order, strand)| Joined::of(*order, strand)).collect(),
        Layout::Pins => pairs(&nameless, rejected),
    };
    for (id, group) in groups {
        match (layout, &group[..]) {
            (_, [(order, strand)]) => joined.push(Joined::of(*order, strand)),
            (Layout::Pins, group) => joined.extend(both_ends(id, group, rejected)),
            (Layout::Wires, group) if letters => joined.extend(segments(id, group, &taken, rejected)),
            (Layout::Wires, group) => joined.extend(alike(id, group, rejected)),
        }
    }
    joined.sort_by_key(|wire| wire.order);
    joined
}

fn reject_all(group: &[(usize, &Strand)], reason: &str, rejected: &mut Rejected) {
    for (_, strand) in group {
        rejected.entry(strand.row).or_insert_with(|| reason.to_owned());
    }
}

fn rows(group: &[(usize, &Strand)]) -> String {
    let mut rows: Vec<usize> = group.iter().map(|(_, strand)| strand.row).collect();
    rows.dedup();
    let rows: Vec<String> = rows.iter().map(ToString::to_string).collect();
    match rows.split_last() {
        Some((last, [])) => format!("row {last}"),
        Some((last, others)) => format!("rows {} and {last}", others.join(", ")),
        None => String::new(),
    }
}

/// Wires of a pin map without ids: the row at one end and the row at the other.
fn pairs(nameless: &[(usize, &Strand)], rejected: &mut Rejected) -> Vec<Joined> {
    let mut found: BTreeMap<[&End; 2], Joined> = BTreeMap::new();
    for (order, strand) in nameless {
        let [a, b] = &strand.ends[..] else { continue };
        let key = if a <= b { [a, b] } else { [b, a] };
        let Some(first) = found.get_mut(&key) else {
            found.insert(key, Joined::of(*order, strand));
            continue;
        };
        let reason = if first.ends[0] == *a || first.rows.len() > 1 {
            Some(format!("it has the ends of row {}, and no wire id tells the two apart", first.rows[0]))
        } else {
            first.add(strand)
        };
        if let Some(reason) = reason {
            rejected.entry(strand.row).or_insert(reason);
        }
    }
    found.into_values().collect()
}

/// The rows of a pin map that name one wire: they must agree on two ends.
fn both_ends(id: &str, group: &[(usize, &Strand)], rejected: &mut Rejected) -> Option<Joined> {
    let mut ends: Vec<End> = Vec::new();
    for end in group.iter().flat_map(|(_, strand)| &strand.ends) {
        if !ends.contains(end) {
            ends.push(end.clone());
        }
    }
    if ends.len() > 2 {
        let names: Vec<String> = ends.iter().map(End::name).collect();
        let reason = format!("wire {id} has more than two ends ({}): {}", names.join(", "), rows(group));
        reject_all(group, &reason, rejected);
        return None;
    }
    let (order, first) = group.first()?;
    let mut joined = Joined { ends, ..Joined::of(*order, first) };
    for (_, strand) in &group[1..] {
        if let Some(reason) = joined.add(strand) {
            reject_all(group, &format!("wire {id}: {reason} ({})", rows(group)), rejected);
            return None;
        }
    }
    Some(joined)
}

/// Segment letters: I and O are not used (from memory, AS50881 appendix).
const LETTERS: &str = "ABCDEFGHJKLMNPQRSTUVWXYZ";

/// Rows of one id as segments of one run, lettered in their order.
fn segments(
    id: &str,
    group: &[(usize, &Strand)],
    taken: &BTreeSet<&str>,
    rejected: &mut Rejected,
) -> Vec<Joined> {
    let ids: Vec<String> = LETTERS.chars().take(group.len()).map(|letter| format!("{id}{letter}")).collect();
    let reason = match ids.iter().find(|id| taken.contains(id.as_str())) {
        Some(there) => Some(format!("wire {id} cannot get letters: {there} is there already")),
        None if ids.len() < group.len() => Some(format!("wire {id} has more rows than there are letters")),
        None => None,
    };
    if let Some(reason) = reason {
        reject_all(group, &reason, rejected);
        return Vec::new();
    }
    let segment = |((order, strand), id): (&(usize, &Strand), String)| Joined {
        id: Some(id),
        ..Joined::of(*order, strand)
    };
    group.iter().zip(ids).map(segment).collect()
}

/// Rows of a from-to list with one id: the first, if all others repeat it.
fn alike(id: &str, group: &[(usize, &Strand)], rejected: &mut Rejected) -> Option<Joined> {
    let (order, first) = group.first()?;
    let same = |strand: &Strand| {
        let mirrored: Vec<End> = strand.ends.iter().rev().cloned().collect();
        (strand.ends == first.ends || mirrored == first.ends) && strand.details == first.details
    };
    if group.iter().all(|(_, strand)| same(strand)) {
        reject_all(&group[1..], &format!("it repeats wire {id} of row {}", first.row), rejected);
        return Some(Joined::of(*order, first));
    }
    let reason = format!(
        "wire {id} stands in {} with different content: give each wire an id of its own; --letters makes segments of them ({id}A, {id}B)",
        rows(group)
    );
    reject_all(group, &reason, rejected);
    None
}
