//! One marker: a comment that begins or ends a region.
//!
//! Comes in: a line of a document. Goes out: what the marker on it says, with the place of every word; or what is wrong.

use crate::definition::diagnostic::{At, Diagnostic, FileId, Place, Sink, nearest};

pub(super) const PINS: &str = "pins";
pub(super) const WIRES: &str = "wires";
pub(super) const FACE: &str = "face";
pub(super) const PLAN: &str = "plan";

/// What a region can show, each with the keys of its marker.
pub(super) const KINDS: [(&str, &[&str]); 4] = [
    (PINS, &["from", "variant", "connector", "level"]),
    (WIRES, &["from", "variant", "circuit", "level"]),
    (FACE, &["from", "variant", "connector", "side"]),
    (PLAN, &["from", "variant", "unplug", "circuit", "complaint", "meter", "level"]),
];

/// How markers are written, for messages.
pub(super) const BEGIN: &str = "<!-- ringout begin pins from=machine.toml -->";
pub(super) const END: &str = "<!-- ringout end -->";

/// A marker that was understood.
pub(super) enum Marker {
    /// A region begins.
    Begin(Begin),
    /// It ends.
    End,
    /// It is one, but what it says is wrong, and has had its error. A broken one that begins a region still does.
    Broken {
        /// Whether it was meant to begin a region.
        begins: bool,
    },
}

/// What an opening marker says.
pub(super) struct Begin {
    /// Its word in [`KINDS`].
    pub(super) kind: &'static str,
    pairs: Vec<(&'static str, At<String>)>,
}

impl Begin {
    /// The value of a key.
    pub(super) fn get(&self, key: &str) -> Option<At<String>> {
        self.pairs.iter().find(|(known, _)| *known == key).map(|(_, value)| value.clone())
    }

    /// The values of a key, between commas.
    pub(super) fn list(&self, key: &str) -> Vec<At<String>> {
        let Some(At { value, place }) = self.get(key) else { return Vec::new() };
        value.split(',').map(|part| At { value: part.trim().to_owned(), place }).collect()
    }
}

const OPEN: &str = "<!--";
const CLOSE: &str = "-->";
const NAME: &str = "ringout";

/// Whether a text begins with the opening of one of our comments.
pub(super) fn opens(text: &str) -> bool {
    let Some(rest) = text.strip_prefix(OPEN) else { return false };
    let Some(rest) = rest.trim_start().strip_prefix(NAME) else { return false };
    rest.is_empty() || rest.starts_with(|c: char| c.is_whitespace() || c == ':') || rest.starts_with(CLOSE)
}

/// A stretch of a document.
#[derive(Clone, Copy)]
struct Words<'t> {
    text: &'t str,
    /// Where it starts in the document.
    at: usize,
    file: FileId,
}

impl<'t> Words<'t> {
    fn place(self) -> Place {
        Place::new(self.file, self.at..self.at + self.text.len())
    }

    fn part(self, from: usize, to: usize) -> Self {
        Self { text: &self.text[from..to], at: self.at + from, file: self.file }
    }

    /// Splits at blanks outside of quotation marks.
    fn split(self) -> Vec<Words<'t>> {
        let mut found = Vec::new();
        let (mut start, mut quoted) = (None, false);
        for (at, c) in self.text.char_indices() {
            quoted ^= c == '"';
            match (start, c.is_whitespace() && !quoted) {
                (None, false) => start = Some(at),
                (Some(from), true) => {
                    found.push(self.part(from, at));
                    start = None;
                }
                _ => {}
            }
        }
        found.extend(start.map(|from| self.part(from, self.text.len())));
        found
    }
}

/// Reads the marker that a line holds; `text` begins with it and ends with the line, and starts at byte `at`.
pub(super) fn read(text: &str, at: usize, file: FileId, sink: &Sink) -> Marker {
    let line = Words { text: text.trim_end(), at, file };
    let fail = |place: Place, message: String, help: String| {
        sink.push(Diagnostic::error("region", place, message).help(help));
    };
    let Some(end) = line.text.find(CLOSE) else {
        let help = format!("end the comment on the same line: {BEGIN}");
        fail(line.place(), "a marker stands on one line".to_owned(), help);
        return Marker::Broken { begins: line.text.contains("begin") };
    };
    let after = line.part(end + CLOSE.len(), line.text.len());
    let words = line.part(OPEN.len(), end).split();
    let verb = words.get(1).copied();
    let begins = verb.is_some_and(|word| word.text == "begin");
    if !after.text.trim().is_empty() {
        let help = "move what stands behind it to the next line".to_owned();
        fail(after.place(), "a marker stands alone on its line".to_owned(), help);
        return Marker::Broken { begins };
    }
    match verb.map(|word| word.text) {
        Some("begin") if words[0].text == NAME => match begin(&words[2..], line, sink) {
            Some(begin) => Marker::Begin(begin),
            None => Marker::Broken { begins },
        },
        Some("end") if words[0].text == NAME => {
            if let Some(more) = words.get(2) {
                fail(more.place(), "the end of a region has no keys".to_owned(), format!("write {END}"));
            }
            Marker::End
        }
        _ => {
            let place = verb.unwrap_or(line).place();
            let help = format!("write {BEGIN} and {END}, or begin the comment with another word");
            fail(place, "a marker says `begin` or `end`".to_owned(), help);
            Marker::Broken { begins: false }
        }
    }
}

fn begin(words: &[Words<'_>], line: Words<'_>, sink: &Sink) -> Option<Begin> {
    let before = sink.errors();
    let fail = |place: Place, message: String, help: String| {
        sink.push(Diagnostic::error("region", place, message).help(help));
    };
    let kinds = || KINDS.map(|(word, _)| word).join(", ");
    let Some((what, pairs)) = words.split_first() else {
        let help = format!("write one of {} behind `begin`, as in {BEGIN}", kinds());
        fail(line.place(), "the marker does not say what the region shows".to_owned(), help);
        return None;
    };
    let Some((kind, keys)) = KINDS.into_iter().find(|(word, _)| *word == what.text) else {
        let near = nearest(what.text, KINDS.map(|(word, _)| word));
        let near = near.map(|near| format!("did you mean `{near}`? ")).unwrap_or_default();
        fail(
            what.place(),
            format!("a region cannot show `{}`", what.text),
            format!("{near}It can show: {}", kinds()),
        );
        return None;
    };
    let mut found: Vec<(&'static str, At<String>)> = Vec::new();
    for word in pairs {
        let Some((key, value)) = pair(*word, sink) else { continue };
        let Some(known) = keys.iter().find(|known| **known == key) else {
            let near = nearest(key, keys.iter().copied()).map(|near| format!("did you mean `{near}`? "));
            let help = format!("{}Known keys: {}", near.unwrap_or_default(), keys.join(", "));
            fail(word.place(), format!("the marker of `{kind}` has no key `{key}`"), help);
            continue;
        };
        if found.iter().any(|(taken, _)| taken == known) {
            fail(word.place(), format!("`{key}` stands there twice"), "take one out".to_owned());
            continue;
        }
        found.push((known, value));
    }
    (sink.errors() == before).then_some(Begin { kind, pairs: found })
}

/// A key and its value.
fn pair<'t>(word: Words<'t>, sink: &Sink) -> Option<(&'t str, At<String>)> {
    let fail = |message: String| {
        let help =
            "write key=value, with the value in quotation marks where it holds blanks: from=\"a b.toml\"";
        sink.push(Diagnostic::error("region", word.place(), message).help(help));
    };
    let Some((key, value)) = word.text.split_once('=') else {
        fail(format!("`{}` is no key with a value", word.text));
        return None;
    };
    let bare = match value.strip_prefix('"') {
        Some(rest) => rest.strip_suffix('"'),
        None => Some(value),
    };
    match bare {
        Some(bare) if !bare.trim().is_empty() && !bare.contains('"') => {
            Some((key, At { value: bare.trim().to_owned(), place: word.place() }))
        }
        Some(bare) if bare.trim().is_empty() => {
            fail(format!("`{key}` has no value"));
            None
        }
        _ => {
            fail(format!("`{key}`: the quotation marks do not match"));
            None
        }
    }
}
