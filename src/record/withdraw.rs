//! Readings that do not count any more.
//!
//! Comes in: an entry of kind `withdrawal`, whose value names an earlier entry by its number: `"#3"`. Goes out: the
//! record without that reading, and a note of what was withdrawn. Why: the record is append-only, so a slip of the
//! probe is not rubbed out; it is said to be one.

use toml::value::Datetime;

use super::entry::quoted;
use super::read::Context;
use super::{Entry, PlaceReading, Record};
use crate::definition::Point;
use crate::definition::diagnostic::{Diagnostic, Place, Sink};
use crate::definition::reader::Reader;
use crate::setup::Setup;

/// The kind of an entry that withdraws an earlier one.
pub const WITHDRAWAL: &str = "withdrawal";

/// A reading that was withdrawn.
#[derive(Debug, Clone)]
pub struct Withdrawn {
    /// The number of the entry that withdraws it.
    pub number: usize,
    /// The number of the reading.
    pub of: usize,
    /// When it was withdrawn, as written.
    pub at: Option<String>,
    /// Why, or what else there is to say.
    pub note: Option<String>,
    /// The setup it had been taken in: the machine stood so, whatever the reading was worth.
    pub setup: Setup,
    /// Where its red probe was.
    pub red: Point,
}

impl Withdrawn {
    /// One line for a report.
    pub fn words(&self) -> String {
        let note = self.note.as_ref().map(|note| format!(": {note}")).unwrap_or_default();
        format!("#{} was withdrawn by #{} and does not count{note}", self.of, self.number)
    }
}

impl Record {
    /// The setup of the last thing that was read, withdrawn or not, and where its red probe was.
    pub fn stand(&self) -> Option<(&Setup, Point)> {
        let entries = self.entries.iter().map(|entry| (entry.number, &entry.setup, entry.red));
        let places = self.places.iter().map(|place| (place.number, &place.setup, place.red));
        let withdrawn = self.withdrawn.iter().map(|gone| (gone.of, &gone.setup, gone.red));
        let last = entries.chain(places).chain(withdrawn).max_by_key(|(number, ..)| *number);
        last.map(|(_, setup, red)| (setup, red))
    }

    /// The number of the last reading that counts.
    pub fn last(&self) -> Option<usize> {
        let entries = self.entries.iter().map(|entry| entry.number);
        entries.chain(self.places.iter().map(|place| place.number)).max()
    }
}

/// A withdrawal, as it is written.
#[derive(Debug, Clone, Default)]
pub struct NewWithdrawal {
    /// When.
    pub at: Option<Datetime>,
    /// The number of the reading that is withdrawn.
    pub of: usize,
    /// Who says so.
    pub by: Option<String>,
    /// Why.
    pub note: Option<String>,
}

impl NewWithdrawal {
    /// The entry as it stands in a record. As in every entry the value is the last.
    pub fn text(&self) -> String {
        let at = self.at.iter().map(|at| format!("at = {at}\n"));
        let more = [("by", &self.by), ("note", &self.note)].into_iter();
        let more = more.filter_map(|(key, text)| Some(format!("{key} = {}\n", quoted(text.as_deref()?))));
        let more: String = at.chain(more).collect();
        format!("[[reading]]\n{more}kind = \"{WITHDRAWAL}\"\nvalue = \"#{}\"\n", self.of)
    }

    /// The number of a reading, as reports name it: `#3`, or `3`.
    pub fn number(text: &str) -> Option<usize> {
        let digits = text.trim();
        let digits = digits.strip_prefix('#').unwrap_or(digits);
        let plain = !digits.is_empty() && digits.chars().all(|c| c.is_ascii_digit());
        if plain { digits.parse().ok().filter(|number| *number > 0) } else { None }
    }
}

/// A withdrawal that was read, before it is known what it withdraws.
pub(super) struct Withdrawal {
    number: usize,
    of: usize,
    at: Option<String>,
    note: Option<String>,
    place: Place,
}

impl Context<'_> {
    pub(super) fn withdrawal(&self, r: &mut Reader<'_, '_>, number: usize) -> Option<Withdrawal> {
        let at = r.value("at").and_then(|v| self.time(v));
        let value = r.required_text("value");
        let note = r.text("note").map(|note| note.value).filter(|note| !note.is_empty());
        let _ = r.text("by");
        let value = value?;
        let of = NewWithdrawal::number(&value.value);
        if of.is_none() {
            let message = format!("`{}` is not the number of a reading", value.value);
            let help = "write it as reports do: \"#3\"".to_owned();
            self.error(value.place, message, Some(help));
        }
        Some(Withdrawal { number, of: of?, at, note, place: value.place })
    }
}

/// Takes what was withdrawn out of the readings that count.
pub(super) fn apply(
    withdrawals: Vec<Withdrawal>,
    entries: &mut Vec<Entry>,
    places: &mut Vec<PlaceReading>,
    sink: &Sink,
) -> Vec<Withdrawn> {
    let mut gone: Vec<Withdrawn> = Vec::new();
    for Withdrawal { number, of, at, note, place } in withdrawals {
        if gone.iter().any(|known| known.of == of) {
            let message = format!("#{of} was withdrawn before");
            sink.push(Diagnostic::warning("withdrawn", place, message));
            continue;
        }
        let entry = entries.iter().position(|entry| entry.number == of && of < number);
        let found = entry.map(|at| entries.remove(at)).map(|entry| (entry.setup, entry.red));
        let found = found.or_else(|| {
            let at = places.iter().position(|place| place.number == of && of < number)?;
            let place = places.remove(at);
            Some((place.setup, place.red))
        });
        match found {
            Some((setup, red)) => gone.push(Withdrawn { number, of, at, note, setup, red }),
            None => sink.push(
                Diagnostic::error("reading", place, format!("no reading #{of} stands before this one"))
                    .help("only a reading that was taken earlier can be withdrawn"),
            ),
        }
    }
    gone
}
