//! Reading a record.

use toml::de::{DeTable, DeValue};

use super::withdraw::{self, Withdrawal, Withdrawn};
use super::{Entry, PlaceKind, PlaceReading, WITHDRAWAL};
use crate::definition::diagnostic::{At, Diagnostic, FileId, Place, Severity, Sink, Sources};
use crate::definition::reader::{Reader, Value, lists_of, text_of, texts_of};
use crate::definition::{ConditionId, ConnectorId, Harness, Kind, PartId, PartKind, Point};
use crate::measure::Reading;
use crate::setup::{Power, Setup, SetupError, Strap};

/// A record that was read.
#[derive(Debug)]
pub struct Record {
    /// Its readings, in the order they were written.
    pub entries: Vec<Entry>,
    /// Its readings of a place along a wire, in the order they were written.
    pub places: Vec<PlaceReading>,
    /// Readings that were withdrawn, in the order in which they were.
    pub withdrawn: Vec<Withdrawn>,
    /// What deserves a look, and, where there are errors, what is wrong.
    pub diagnostics: Vec<Diagnostic>,
    /// The text the diagnostics point into.
    pub sources: Sources,
}

impl Record {
    /// Whether every entry could be read, apart from a last one that was cut off.
    pub fn is_sound(&self) -> bool {
        self.diagnostics.iter().all(|d| d.severity != Severity::Error)
    }
}

/// The line that opens an entry.
pub(super) const HEADER: &str = "[[reading]]";

/// Reads a record. Cost: linear in its length.
pub fn read(harness: &Harness, name: &str, text: &str) -> Record {
    let mut sources = Sources::default();
    let (whole, cut) = split_cut_off(text);
    let file = sources.add(name, text.to_owned());
    let sink = Sink::default();
    if let Some(from) = cut {
        let place = Place::new(file, from..text.len());
        let message = "the last entry was cut off; it is left out";
        let help = "take the reading again, or complete the entry by hand";
        sink.push(Diagnostic::warning("cut-off", place, message).help(help));
    }
    let (table, errors) = DeTable::parse_recoverable(whole);
    for error in &errors {
        let place = Place::new(file, error.span().unwrap_or(0..0));
        sink.push(Diagnostic::error("syntax", place, format!("not valid TOML: {}", error.message())));
    }
    let (mut entries, mut places, mut withdrawals) = (Vec::new(), Vec::new(), Vec::new());
    if errors.is_empty() {
        let mut reader = Reader::new(table.get_ref(), Place::new(file, 0..0), "a record", &sink);
        check_format(&mut reader, file, &sink);
        check_definition(&mut reader, harness, file, &sink);
        for (at, value) in reader.list("reading", "[[reading]]").iter().enumerate() {
            let context = Context { harness, file, sink: &sink };
            match context.reading_of(value, at + 1) {
                Some(One::Entry(entry)) => entries.push(*entry),
                Some(One::Place(place)) => places.push(*place),
                Some(One::Withdrawal(withdrawal)) => withdrawals.push(withdrawal),
                None => {}
            }
        }
        reader.finish();
    }
    let withdrawn = withdraw::apply(withdrawals, &mut entries, &mut places, &sink);
    Record { entries, places, withdrawn, diagnostics: sink.into_sorted(), sources }
}

/// The line above an entry that was cut off and is kept as a comment.
const MENDED: &str = "# an entry that was cut off:";

/// A record's text with a cut-off last entry turned into comments, so that an entry can be appended and
/// nothing is lost; `None` where there is none.
pub fn mend(text: &str) -> Option<String> {
    let (whole, cut) = split_cut_off(text);
    let from = cut?;
    let mut mended = whole.to_owned();
    mended.push_str(MENDED);
    mended.push('\n');
    for line in text[from..].lines() {
        mended.push_str("# ");
        mended.push_str(line);
        mended.push('\n');
    }
    Some(mended)
}

/// Splits a record before a last entry that was cut off: one that is not valid TOML, or that has no
/// value. The value is what the writer puts last, so an entry that has one lacks nothing.
fn split_cut_off(text: &str) -> (&str, Option<usize>) {
    for from in last_headers(text) {
        let (before, last) = text.split_at(from);
        // What was written to since is not cut off: if it lacks a value, somebody took it out.
        if has_value(last) || last.lines().any(|line| line == MENDED) {
            break;
        }
        // Only the tail may be cut off; an error before it is an error. What looks like a header may also
        // stand in a text of several lines that was cut off: then the entry opens further up.
        if DeTable::parse(before).is_ok() {
            return (before, Some(from));
        }
    }
    (text, None)
}

fn has_value(entry: &str) -> bool {
    let Ok(table) = DeTable::parse(entry) else { return false };
    let list = table.get_ref().get("reading").and_then(|v| v.get_ref().as_array());
    list.is_some_and(|list| list.iter().any(|v| v.get_ref().get("value").is_some()))
}

/// Where the last entry may open, the last place first: headers at the start of a line, whole or cut off
/// themselves.
fn last_headers(text: &str) -> impl Iterator<Item = usize> + '_ {
    /// More headers than this within one entry are nobody's note.
    const MOST: usize = 8;
    let tail = text.rfind('\n').map_or(0, |at| at + 1);
    let stub = &text[tail..];
    let cut = (!stub.is_empty() && stub != HEADER && HEADER.starts_with(stub)).then_some(tail);
    let starts_line = |at: &usize| *at == 0 || text.as_bytes()[at - 1] == b'\n';
    cut.into_iter().chain(text.rmatch_indices(HEADER).map(|(at, _)| at).filter(starts_line)).take(MOST)
}

fn check_format(reader: &mut Reader<'_, '_>, file: FileId, sink: &Sink) {
    let Some(value) = reader.value("format") else { return };
    if !matches!(value.get_ref(), DeValue::Integer(n) if n.as_str() == "1") {
        let place = Place::new(file, value.span());
        sink.push(
            Diagnostic::error("format", place, "unknown format").help("this program reads `format = 1`"),
        );
    }
}

/// A record may say which definition it was begun on. Another machine's record is an error; another
/// revision's is worth a word, since what its readings mean may have changed.
fn check_definition(reader: &mut Reader<'_, '_>, harness: &Harness, file: FileId, sink: &Sink) {
    let Some(value) = reader.value("harness") else { return };
    let Some(mut of) = Reader::of_value(value, file, "`harness`", sink) else { return };
    let (id, revision, hash) = (of.required_text("id"), of.text("revision"), of.text("hash"));
    of.finish();
    let about = &harness.about;
    if let Some(id) = id.filter(|id| id.value != about.id) {
        let message = format!("this record is of `{}`, the definition is of `{}`", id.value, about.id);
        let help = "name the record and the definition of the same machine";
        sink.push(Diagnostic::error("other-machine", id.place, message).help(help));
        return;
    }
    let other_revision = revision.as_ref().is_some_and(|revision| revision.value != about.revision);
    if let Some(begun) = hash.filter(|hash| hash.value != harness.hash) {
        let began = revision.map_or_else(String::new, |revision| format!(" (revision {})", revision.value));
        let now =
            if other_revision { format!("revision {}", about.revision) } else { "another text".to_owned() };
        let message =
            format!("the definition has changed since this record was begun{began}: it is {now} now");
        let help = "judge old readings by the old definition, or begin a new record";
        sink.push(Diagnostic::warning("stale", begun.place, message).help(help));
    }
}

/// How a new record begins: with its format, and the definition it is begun on.
pub fn head(harness: &Harness) -> String {
    let about = &harness.about;
    let text = |text: &str| toml::Value::String(text.to_owned()).to_string();
    format!(
        "format = 1\nharness = {{ id = {}, revision = {}, hash = {} }}\n",
        text(&about.id),
        text(&about.revision),
        text(&harness.hash)
    )
}

/// An entry that was read.
enum One {
    Entry(Box<Entry>),
    Place(Box<PlaceReading>),
    Withdrawal(Withdrawal),
}

/// When, where and in which state of the machine a reading was taken.
pub(super) struct State {
    pub at: Option<String>,
    pub red: Option<Point>,
    pub black: Option<Point>,
    pub setup: Option<Setup>,
}

/// What reading an entry needs.
pub(super) struct Context<'a> {
    pub(super) harness: &'a Harness,
    file: FileId,
    sink: &'a Sink,
}

impl Context<'_> {
    pub(super) fn error(&self, place: Place, message: impl Into<String>, help: Option<String>) {
        self.sink.push(Diagnostic::error("reading", place, message).maybe_help(help));
    }

    /// An entry, whatever its kind.
    fn reading_of(&self, value: &Value<'_>, number: usize) -> Option<One> {
        let mut r = Reader::of_value(value, self.file, "a reading", self.sink)?;
        // The link of a chained record: `chain::check` looks at it.
        let _ = r.text(super::chain::CHAIN);
        let word = r.required_text("kind");
        if word.as_ref().is_some_and(|word| word.value == WITHDRAWAL) {
            let withdrawal = self.withdrawal(&mut r, number);
            r.finish();
            return withdrawal.map(One::Withdrawal);
        }
        let one = match word.as_ref().and_then(|word| PlaceKind::parse(&word.value)) {
            Some(kind) => self.place_reading(&mut r, kind, number).map(|place| One::Place(Box::new(place))),
            None => self.entry(&mut r, word, number).map(|entry| One::Entry(Box::new(entry))),
        };
        r.finish();
        one
    }

    /// When a reading was taken, where, and in which state of the machine; `None` where the state cannot be.
    pub(super) fn state(&self, r: &mut Reader<'_, '_>) -> Option<State> {
        let place = r.place();
        let at = r.value("at").and_then(|v| self.time(v));
        let red = r.required_text("red").and_then(|name| self.point(&name));
        let black = r.required_text("black").and_then(|name| self.point(&name));
        let power = r.required_text("power").and_then(|word| self.power(&word));
        let unplugged = r.texts("unplugged").map(|l| l.value).unwrap_or_default();
        let unplugged: Vec<ConnectorId> = unplugged.iter().filter_map(|name| self.connector(name)).collect();
        let set = r.named("set", "switch positions");
        let set: Vec<(PartId, usize)> = set.iter().filter_map(|(name, v)| self.position(name, v)).collect();
        let conditions = r.texts("conditions").map(|l| l.value).unwrap_or_default();
        let conditions: Vec<ConditionId> =
            conditions.iter().filter_map(|name| self.condition(name)).collect();
        let straps = r.value("strapped").map(|v| self.straps(v)).unwrap_or_default();
        let fit = |setup: Setup, strap: &Vec<Point>| -> Result<Setup, SetupError> {
            setup.fit(self.harness, Strap::new(self.harness, strap.iter().copied())?)
        };
        let Some(power) = power else { return Some(State { at, red, black, setup: None }) };
        let bare = Setup::described(self.harness, power, &unplugged, &set, &conditions);
        match bare.and_then(|bare| straps.iter().try_fold(bare, fit)) {
            Ok(setup) => Some(State { at, red, black, setup: Some(setup) }),
            Err(error) => {
                self.error(place, error.to_string(), None);
                None
            }
        }
    }

    fn entry(&self, r: &mut Reader<'_, '_>, word: Option<At<String>>, number: usize) -> Option<Entry> {
        let place = r.place();
        let kind = word.and_then(|word| self.kind(&word));
        let state = self.state(r);
        let shown = r.required_text("value");
        let (low, high) = (r.text("min"), r.text("max"));
        let reading = |text: &Option<At<String>>| text.as_ref().and_then(|t| self.reading(kind?, t));
        let (value, min, max) = (reading(&shown), reading(&low), reading(&high));
        if let (Some(least), Some(most), Some(text)) = (min, max, &low)
            && least.level().zip(most.level()).is_some_and(|(least, most)| least > most)
        {
            let help =
                "`min` is the least the meter showed while something was moved, `max` the most".to_owned();
            self.error(text.place, "`min` is more than `max`", Some(help));
            return None;
        }
        let step = r.text("step").map(|t| t.value);
        let mut plain = |key| r.text(key).map(|t| t.value).filter(|t| !t.is_empty());
        let (disturbed, meter, by, note) = (plain("disturbed"), plain("meter"), plain("by"), plain("note"));
        let State { at, red, black, setup } = state?;
        Some(Entry {
            number,
            at,
            step,
            kind: kind?,
            red: red?,
            black: black?,
            setup: setup?,
            value: value?,
            min,
            max,
            disturbed,
            meter,
            by,
            note,
            place,
        })
    }

    /// The points of each strap.
    fn straps(&self, value: &Value<'_>) -> Vec<Vec<Point>> {
        let example = "[[\"P1.A\", \"P1.B\"]]";
        let lists = lists_of(value, self.file, "strapped", example, self.sink).unwrap_or_default();
        let points = |list: &Value<'_>| -> Option<Vec<Point>> {
            let names = texts_of(list, self.file, "strapped", self.sink)?.value;
            Some(names.iter().filter_map(|name| self.point(name)).collect())
        };
        lists.iter().filter_map(points).collect()
    }

    pub(super) fn time(&self, value: &Value<'_>) -> Option<String> {
        if let Some(time) = value.get_ref().as_datetime() {
            return Some(time.to_string());
        }
        let help = "write it without quotes, as 2026-05-02T09:14:00Z".to_owned();
        self.error(Place::new(self.file, value.span()), "`at` is not a time", Some(help));
        None
    }

    fn kind(&self, word: &At<String>) -> Option<Kind> {
        let kind = Kind::parse(&word.value);
        if kind.is_none() {
            let known = Kind::ALL.iter().map(|(word, _)| *word);
            let known = known.chain(PlaceKind::ALL.iter().map(|(word, _)| *word));
            let known: Vec<&str> = known.chain([WITHDRAWAL]).collect();
            let help = format!("known kinds: {}", known.join(", "));
            self.error(word.place, format!("no kind of reading is called `{}`", word.value), Some(help));
        }
        kind
    }

    fn power(&self, word: &At<String>) -> Option<Power> {
        let power = Power::parse(&word.value);
        if power.is_none() {
            let help = "write \"isolated\" (both battery leads off) or \"connected\"".to_owned();
            self.error(word.place, format!("power is not `{}`", word.value), Some(help));
        }
        power
    }

    fn point(&self, name: &At<String>) -> Option<Point> {
        match self.harness.point(&name.value) {
            Ok(point) => Some(point),
            Err(error) => {
                self.error(name.place, error.to_string(), Some(error.help().to_owned()));
                None
            }
        }
    }

    fn connector(&self, name: &At<String>) -> Option<ConnectorId> {
        let found = self.harness.names.connector(&name.value);
        if found.is_none() {
            self.error(name.place, format!("no connector is called `{}`", name.value), None);
        }
        found
    }

    fn condition(&self, name: &At<String>) -> Option<ConditionId> {
        let found = self.harness.names.condition(&name.value);
        if found.is_none() {
            self.error(name.place, format!("no condition is called `{}`", name.value), None);
        }
        found
    }

    fn position(&self, switch: &At<String>, value: &Value<'_>) -> Option<(PartId, usize)> {
        let wanted = text_of(value, self.file, "set", self.sink)?;
        let part = self.harness.names.part(&switch.value);
        let switch_kind = part.map(|id| &self.harness.parts[id].kind);
        let (Some(part), Some(PartKind::Switch { positions, .. })) = (part, switch_kind) else {
            self.error(switch.place, format!("no switch is called `{}`", switch.value), None);
            return None;
        };
        let at = positions.iter().position(|p| p.name == wanted.value);
        if at.is_none() {
            let known: Vec<&str> = positions.iter().map(|p| p.name.as_str()).collect();
            let help = format!("its positions are: {}", known.join(", "));
            self.error(
                wanted.place,
                format!("{} has no position `{}`", switch.value, wanted.value),
                Some(help),
            );
        }
        Some((part, at?))
    }

    fn reading(&self, kind: Kind, text: &At<String>) -> Option<Reading> {
        match Reading::parse(kind, &text.value) {
            Ok(reading) => Some(reading),
            Err(error) => {
                self.error(text.place, error.to_string(), None);
                None
            }
        }
    }
}
