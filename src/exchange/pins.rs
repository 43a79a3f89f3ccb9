//! Rows of a pin map.

use super::ask::{Ask, Trouble};
use super::field::{Field, Side};
use super::grid::Row;
use super::point::{self, End};
use super::row::{At, Fact, Items, Reader};
use super::word::{Instead, instead};

/// What a row of a pin map says.
///
/// # Errors
/// Why the row cannot be used.
pub(super) fn read(reader: &mut Reader<'_, '_>, row: &Row) -> Result<Items, Trouble> {
    let (contacts, also) = contacts(reader, row)?;
    let mut items = Items::default();
    let wire = reader.text(row, Field::Wire)?.to_owned();
    let word = instead(&wire);
    let ids = match word {
        Some(Instead::Undecided) => return Trouble::reject("its wire is not decided yet"),
        Some(_) => Vec::new(),
        None => point::ids(&wire, &mut reader.desk)?,
    };
    let to = to(reader, row, &mut items)?;
    let empty = match (word, &to) {
        (Some(word @ (Instead::Spare | Instead::Plugged)), At::Ends(_)) => {
            return Trouble::reject(format!("its wire is {}, and yet it leads somewhere", describe(word)));
        }
        (Some(word @ (Instead::Spare | Instead::Plugged)), _) => Some(word),
        (Some(Instead::Nothing), At::Instead(word @ (Instead::Spare | Instead::Plugged))) => Some(*word),
        (None, At::Instead(Instead::Spare | Instead::Plugged)) => {
            return Trouble::reject(format!("wire {wire} goes nowhere: a wire has two ends"));
        }
        (_, At::Instead(Instead::Undecided)) => return Trouble::reject("its other end is not decided yet"),
        _ => None,
    };
    let to = match to {
        At::Ends(ends) => ends,
        At::Instead(_) => Vec::new(),
    };
    facts(reader, row, &contacts, &also, empty, !ids.is_empty() || !to.is_empty(), &mut items)?;
    strands(reader, row, &contacts, &ids, &to, &mut items)?;
    Ok(items)
}

fn describe(word: Instead) -> &'static str {
    if word == Instead::Plugged { "`plugged`" } else { "`spare`" }
}

/// Where the contact cell's wires lead, if there is a column for that.
fn to(reader: &mut Reader<'_, '_>, row: &Row, items: &mut Items) -> Result<At, Trouble> {
    let columns = [Field::To, Field::ToConnector];
    let blank =
        |field: &Field| reader.head.column(*field).is_none_or(|column| row.cell(column.index).is_blank());
    // In a pin map a blank cell says nothing of the other end.
    if columns.iter().all(blank) {
        return Ok(At::Instead(Instead::Nothing));
    }
    reader.side(row, Side::To, items)
}

/// The contacts of the row, and other markings written in brackets: `A (5)`.
fn contacts(reader: &mut Reader<'_, '_>, row: &Row) -> Result<(Vec<End>, Vec<String>), Trouble> {
    let contact = reader.text(row, Field::Contact)?;
    let connector = reader.head.column(Field::Connector).is_some();
    if contact.is_empty() && (!connector || reader.text(row, Field::Connector)?.is_empty()) {
        return Trouble::reject("it names no contact");
    }
    let cell = reader.filled(row, Field::Contact)?;
    if instead(&cell).is_some() {
        return Trouble::reject(format!("`{cell}` is no contact"));
    }
    let connector = if connector {
        let name = reader.filled(row, Field::Connector)?;
        if instead(&name).is_some() {
            return Trouble::reject(format!("`{name}` is no connector"));
        }
        Some(name)
    } else {
        reader.desk.options.connector.clone()
    };
    let Some(connector) = connector else {
        let ends = point::ends(&cell, None, &mut reader.desk)?;
        if ends.iter().any(|end| matches!(end, End::Joint(_))) {
            return Trouble::ask(Ask::Connector, cell);
        }
        return Ok((ends, Vec::new()));
    };
    let bracket = cell.strip_suffix(')').and_then(|rest| rest.split_once(" ("));
    let (cell, also) = bracket.map_or((cell.as_str(), ""), |(contact, also)| (contact, also));
    let mut also: Vec<String> = point::listed(also).into_iter().map(str::to_owned).collect();
    let column = reader.text(row, Field::Also)?;
    if instead(column).is_none() {
        also.extend(point::listed(column).into_iter().map(str::to_owned));
    }
    let ends = point::ends(cell, Some(&connector), &mut reader.desk)?;
    if ends.len() > 1 && !also.is_empty() {
        return Trouble::reject("other markings go with one contact, not with several");
    }
    Ok((ends, also))
}

fn facts(
    reader: &Reader<'_, '_>,
    row: &Row,
    contacts: &[End],
    also: &[String],
    empty: Option<Instead>,
    wired: bool,
    items: &mut Items,
) -> Result<(), Trouble> {
    let signal = reader.text(row, Field::Signal)?;
    // `NC` as what a contact is for says that it is empty, unless a wire is in it.
    let (signal, empty) = match instead(signal) {
        Some(word @ (Instead::Spare | Instead::Plugged)) if !wired => (None, empty.or(Some(word))),
        Some(Instead::Nothing | Instead::Undecided) => (None, empty),
        _ => (Some(signal.to_owned()), empty),
    };
    for end in contacts {
        let End::Contact(connector, contact) = end else { continue };
        items.facts.push(Fact {
            row: row.number,
            connector: connector.clone(),
            contact: contact.clone(),
            signal: signal.clone(),
            also: also.to_vec(),
            empty,
            notes: Vec::new(),
        });
    }
    Ok(())
}

/// The wires of a row: several in one contact, or one in each of several.
fn strands(
    reader: &mut Reader<'_, '_>,
    row: &Row,
    contacts: &[End],
    ids: &[String],
    to: &[End],
    items: &mut Items,
) -> Result<(), Trouble> {
    let count = ids.len().max(to.len());
    let fits = |length: usize| length == 0 || length == count;
    if !fits(ids.len()) || !fits(to.len()) || (contacts.len() != 1 && count != 0 && contacts.len() != count) {
        return Trouble::reject(format!(
            "{} contacts, {} wires and {} other ends do not go together: one row for each",
            contacts.len(),
            ids.len(),
            to.len()
        ));
    }
    let (details, notes) = reader.details(row, count)?;
    if count == 0 {
        if let Some(fact) = items.facts.last_mut() {
            fact.notes = notes;
        }
        return Ok(());
    }
    for (at, details) in details.into_iter().enumerate() {
        let contact = contacts[if contacts.len() == 1 { 0 } else { at }].clone();
        let ends: Vec<End> = std::iter::once(contact).chain(to.get(at).cloned()).collect();
        items.wire(row, ids.get(at), ends, details, notes.clone())?;
    }
    Ok(())
}
