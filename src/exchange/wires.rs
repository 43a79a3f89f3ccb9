//! Rows of a from-to list.

use super::ask::Trouble;
use super::field::{Field, Side};
use super::grid::Row;
use super::point::{self, End};
use super::row::{At, Fact, Items, Reader};
use super::word::{Instead, instead};

/// What a row of a from-to list says.
///
/// # Errors
/// Why the row cannot be used.
pub(super) fn read(reader: &mut Reader<'_, '_>, row: &Row) -> Result<Items, Trouble> {
    let given = |field: Field| field.side().is_some() && reader.head.column(field).is_some();
    let blank = Field::ALL
        .iter()
        .filter(|(_, field)| given(*field))
        .all(|(_, field)| reader.head.column(*field).is_some_and(|column| row.cell(column.index).is_blank()));
    if blank {
        return Trouble::reject("it names neither end of a wire");
    }
    let mut items = Items::default();
    let from = reader.side(row, Side::From, &mut items)?;
    let to = reader.side(row, Side::To, &mut items)?;
    let id = reader.text(row, Field::Wire)?;
    let ids = match instead(id) {
        Some(Instead::Nothing) => Vec::new(),
        Some(_) => return Trouble::reject(format!("`{id}` is no wire id")),
        None => point::ids(id, &mut reader.desk)?,
    };
    match (from, to) {
        (At::Ends(from), At::Ends(to)) => strands(reader, row, [from, to], &ids, &mut items)?,
        (At::Ends(ends), At::Instead(word)) | (At::Instead(word), At::Ends(ends)) => {
            empty(reader, row, &ends, word, &ids, &mut items)?;
        }
        (At::Instead(_), At::Instead(_)) => return Trouble::reject("it names neither end of a wire"),
    }
    Ok(items)
}

/// The wires between two lists of ends: one to one, or all to one.
fn strands(
    reader: &mut Reader<'_, '_>,
    row: &Row,
    [from, to]: [Vec<End>; 2],
    ids: &[String],
    items: &mut Items,
) -> Result<(), Trouble> {
    let count = from.len().max(to.len());
    if [&from, &to].iter().any(|ends| ends.len() != 1 && ends.len() != count) {
        return Trouble::reject(format!("{} ends on one side and {} on the other", from.len(), to.len()));
    }
    if !ids.is_empty() && ids.len() != count {
        return Trouble::reject(format!("{} wire ids for {count} wires: give each its own", ids.len()));
    }
    signals(reader, row, from.iter().chain(&to), items)?;
    let (details, notes) = reader.details(row, count)?;
    for (at, details) in details.into_iter().enumerate() {
        let end = |ends: &[End]| ends[if ends.len() == 1 { 0 } else { at }].clone();
        let ends = vec![end(&from), end(&to)];
        items.wire(row, ids.get(at), ends, details, notes.clone())?;
    }
    Ok(())
}

/// The signal column of a list names what both ends are for.
fn signals<'e>(
    reader: &Reader<'_, '_>,
    row: &Row,
    ends: impl Iterator<Item = &'e End>,
    items: &mut Items,
) -> Result<(), Trouble> {
    let signal = reader.text(row, Field::Signal)?;
    let signal = (instead(signal).is_none()).then(|| signal.to_owned());
    for end in ends {
        let End::Contact(connector, contact) = end else { continue };
        items.facts.push(Fact {
            row: row.number,
            connector: connector.clone(),
            contact: contact.clone(),
            signal: signal.clone(),
            also: Vec::new(),
            empty: None,
            notes: Vec::new(),
        });
    }
    Ok(())
}

/// A row whose other end is `NC`: contacts that are empty on purpose.
fn empty(
    reader: &mut Reader<'_, '_>,
    row: &Row,
    ends: &[End],
    word: Instead,
    ids: &[String],
    items: &mut Items,
) -> Result<(), Trouble> {
    match word {
        Instead::Undecided => return Trouble::reject("one end is not decided yet"),
        Instead::Nothing => {
            return Trouble::reject("it has one end only (NC or spare marks a contact without a wire)");
        }
        Instead::Spare | Instead::Plugged => {}
    }
    if let [id, ..] = ids {
        return Trouble::reject(format!("wire {id} goes nowhere: a wire has two ends"));
    }
    let (_, notes) = reader.details(row, 0)?;
    let signal = reader.text(row, Field::Signal)?;
    for end in ends {
        let End::Contact(connector, contact) = end else {
            return Trouble::reject(format!("{} has no contact that could be empty", end.name()));
        };
        items.facts.push(Fact {
            row: row.number,
            connector: connector.clone(),
            contact: contact.clone(),
            signal: instead(signal).is_none().then(|| signal.to_owned()),
            also: Vec::new(),
            empty: Some(word),
            notes: notes.clone(),
        });
    }
    Ok(())
}
