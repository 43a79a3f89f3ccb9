//! What is wrong with a file, where, and what to write instead.
//!
//! Comes in: findings from the reader, the resolver and the rules. Goes out: diagnostics with places
//! in the source text, and their rendering for people. Why: someone who types a definition wants all
//! mistakes of a file at once, each with its line and a way out.

use std::cell::{Cell, OnceCell, RefCell};
use std::cmp::Reverse;
use std::ops::Range;

use annotate_snippets::{AnnotationKind, Group, Level, Origin, Renderer, Snippet};

/// A file of a [`Sources`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FileId(u32);

impl FileId {
    /// The file that was read first.
    pub const FIRST: Self = Self(0);
}

/// A stretch of source text, in bytes of its file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    file: FileId,
    start: u32,
    end: u32,
}

impl Place {
    /// A stretch of a file. Files are at most 64 MiB, so 32 bits hold every offset.
    pub fn new(file: FileId, span: Range<usize>) -> Self {
        Self { file, start: span.start as u32, end: span.end.max(span.start) as u32 }
    }

    /// The file it lies in.
    pub fn file(self) -> FileId {
        self.file
    }

    /// The bytes it covers.
    pub fn span(self) -> Range<usize> {
        self.start as usize..self.end as usize
    }
}

/// A value together with where it was written.
#[derive(Debug, Clone)]
pub struct At<T> {
    /// The value.
    pub value: T,
    /// Where it was written.
    pub place: Place,
}

/// How serious a diagnostic is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// The file cannot be used until this is mended.
    Error,
    /// The file can be used, but something deserves a look.
    Warning,
    /// Worth knowing; nothing is wrong.
    Note,
}

/// One finding about a file.
#[derive(Debug, Clone)]
pub struct Diagnostic {
    /// How serious it is.
    pub severity: Severity,
    /// The rule that found it, as a stable name.
    pub rule: &'static str,
    /// What is wrong.
    pub message: String,
    /// Where.
    pub place: Option<Place>,
    /// What to write instead.
    pub help: Option<String>,
    /// Other places that matter, each with a word on why.
    pub related: Vec<(Place, String)>,
}

impl Diagnostic {
    /// An error at a place.
    pub fn error(rule: &'static str, place: Place, message: impl Into<String>) -> Self {
        Self::new(Severity::Error, rule, place, message)
    }

    /// A warning at a place.
    pub fn warning(rule: &'static str, place: Place, message: impl Into<String>) -> Self {
        Self::new(Severity::Warning, rule, place, message)
    }

    /// A finding of either severity.
    pub fn new(severity: Severity, rule: &'static str, place: Place, message: impl Into<String>) -> Self {
        let message = message.into();
        Self { severity, rule, message, place: Some(place), help: None, related: Vec::new() }
    }

    /// Adds what to write instead.
    #[must_use]
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }

    /// Adds what to write instead, if anything is known.
    #[must_use]
    pub fn maybe_help(mut self, help: Option<String>) -> Self {
        self.help = help;
        self
    }

    /// Adds another place that matters.
    #[must_use]
    pub fn related(mut self, place: Place, why: impl Into<String>) -> Self {
        self.related.push((place, why.into()));
        self
    }
}

/// After so many errors the rest is no longer looked for: the first ones explain it, and a file that
/// is no definition at all must not cost minutes.
const ENOUGH: usize = 500;

/// After so many errors no more near names are searched for in long lists: each search looks at every
/// name, and with that many errors something else is wrong.
const SUGGESTED: usize = 20;

/// Collects diagnostics; shared by everything that reads one set of files.
#[derive(Debug, Default)]
pub struct Sink {
    found: RefCell<Vec<Diagnostic>>,
    errors: Cell<usize>,
    /// Where the first error that is not kept stands.
    dropped: Cell<Option<Place>>,
}

impl Sink {
    /// Takes a finding; errors beyond the first 500 are not kept.
    pub fn push(&self, diagnostic: Diagnostic) {
        if diagnostic.severity == Severity::Error {
            if self.is_full() {
                self.dropped.set(self.dropped.get().or(diagnostic.place));
                return;
            }
            self.errors.set(self.errors.get() + 1);
        }
        self.found.borrow_mut().push(diagnostic);
    }

    /// How many errors there are so far.
    pub fn errors(&self) -> usize {
        self.errors.get()
    }

    /// Whether there are so many errors that looking for more helps nobody.
    pub fn is_full(&self) -> bool {
        self.errors.get() >= ENOUGH
    }

    /// Whether a search among `names` names is worth its time.
    pub fn may_search(&self, names: usize) -> bool {
        self.errors.get() < SUGGESTED || names < 2000
    }

    /// All findings: by file and place, errors before warnings at the same place.
    pub fn into_sorted(self) -> Vec<Diagnostic> {
        let mut all = self.found.into_inner();
        all.sort_by_key(|d| {
            (d.place.map(|p| (p.file, p.start)), d.severity, d.place.map(|p| Reverse(p.end)))
        });
        if let Some(place) = self.dropped.get() {
            let message = "there are more errors than are shown";
            all.push(
                Diagnostic::error("too-many", place, message).help("mend the first ones, then look again"),
            );
        }
        all
    }
}

/// One source file.
#[derive(Debug, Clone)]
struct SourceFile {
    name: String,
    text: String,
    /// Where its lines are; made when the first diagnostic asks, since a good file never does.
    layout: OnceCell<Layout>,
}

/// Where the lines and characters of a text are.
#[derive(Debug, Clone)]
struct Layout {
    /// Byte offset of each line's first byte.
    lines: Vec<u32>,
    /// How many characters start before each block of [`BLOCK`] bytes.
    characters: Vec<u32>,
}

/// Characters are counted ahead in blocks of so many bytes, so that a column costs the same however
/// long its line is.
const BLOCK: usize = 1024;

impl SourceFile {
    fn layout(&self) -> &Layout {
        self.layout.get_or_init(|| Layout::of(&self.text))
    }

    fn lines(&self) -> &[u32] {
        &self.layout().lines
    }

    /// How many characters start before a byte.
    fn characters_before(&self, at: usize) -> usize {
        let at = at.min(self.text.len());
        let characters = &self.layout().characters;
        let block = (at / BLOCK).min(characters.len().saturating_sub(1));
        let before = characters.get(block).copied().unwrap_or(0);
        (before + starts(&self.text.as_bytes()[block * BLOCK..at])) as usize
    }

    /// The line, from 0, that a byte lies in.
    fn line(&self, at: u32) -> usize {
        self.lines().partition_point(|start| *start <= at) - 1
    }
}

impl Layout {
    fn of(text: &str) -> Self {
        let breaks = text.bytes().enumerate().filter(|(_, b)| *b == b'\n').map(|(at, _)| at as u32 + 1);
        let lines = std::iter::once(0).chain(breaks).collect();
        let blocks = text.as_bytes().chunks(BLOCK).scan(0, |before, block| {
            let count = *before;
            *before += starts(block);
            Some(count)
        });
        Self { lines, characters: blocks.collect() }
    }
}

/// How many characters start in a stretch of UTF-8.
fn starts(bytes: &[u8]) -> u32 {
    bytes.iter().map(|byte| u32::from(byte & 0xc0 != 0x80)).sum()
}

/// The texts that diagnostics point into.
#[derive(Debug, Clone, Default)]
pub struct Sources {
    files: Vec<SourceFile>,
}

impl Sources {
    /// Adds a file under the name people know it by.
    pub fn add(&mut self, name: impl Into<String>, text: String) -> FileId {
        self.files.push(SourceFile { name: name.into(), text, layout: OnceCell::new() });
        FileId(self.files.len() as u32 - 1)
    }

    /// The text of a file.
    pub fn text(&self, file: FileId) -> &str {
        &self.files[file.0 as usize].text
    }

    /// The name of a file.
    pub fn name(&self, file: FileId) -> &str {
        &self.files[file.0 as usize].name
    }

    /// Names and texts in the order they were read.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &str)> {
        self.files.iter().map(|f| (f.name.as_str(), f.text.as_str()))
    }

    /// The text at a place.
    pub fn at(&self, place: Place) -> &str {
        self.text(place.file).get(place.span()).unwrap_or("")
    }

    /// Line and column (both from 1, columns in characters) where a place starts.
    pub fn line_column(&self, place: Place) -> (usize, usize) {
        let file = &self.files[place.file.0 as usize];
        let line = file.line(place.start);
        let start = file.lines()[line] as usize;
        let column = file.characters_before(place.start as usize) - file.characters_before(start);
        (line + 1, column + 1)
    }

    /// The whole lines that a place touches: the text, its first line's number, and the place within it.
    fn excerpt(&self, place: Place) -> (&str, usize, Range<usize>) {
        let file = &self.files[place.file.0 as usize];
        let first = file.line(place.start);
        let last = file.line(place.end.max(place.start + 1) - 1);
        // A table that runs over many lines is shown by its first line alone.
        let shown = if last > first + 3 { first } else { last };
        let from = file.lines()[first] as usize;
        let to = file.lines().get(shown + 1).map_or(file.text.len(), |next| *next as usize);
        let text = file.text[from..to].trim_end_matches(['\n', '\r']);
        let span = (place.start as usize - from).min(text.len())..(place.end as usize - from).min(text.len());
        (text, first + 1, span)
    }
}

/// At most so many diagnostics are written out; the rest is counted.
const SHOWN: usize = 200;

/// Writes diagnostics for people: file, line, column, the offending text, what is wrong and what to
/// write instead. `styled` adds terminal colours; the words are the same either way.
pub fn render(diagnostics: &[Diagnostic], sources: &Sources, styled: bool) -> String {
    let renderer = if styled { Renderer::styled() } else { Renderer::plain() };
    let mut out = String::new();
    for diagnostic in diagnostics.iter().take(SHOWN) {
        out.push_str(&render_one(diagnostic, sources, &renderer));
        out.push_str("\n\n");
    }
    if diagnostics.len() > SHOWN {
        let more = diagnostics.len() - SHOWN;
        out.push_str("and ");
        out.push_str(&more.to_string());
        out.push_str(" more like these\n\n");
    }
    out
}

fn render_one(diagnostic: &Diagnostic, sources: &Sources, renderer: &Renderer) -> String {
    let level = match diagnostic.severity {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
        Severity::Note => Level::NOTE,
    };
    let title = level.primary_title(clean(&diagnostic.message)).id(diagnostic.rule);
    let mut group = Group::with_title(title);
    if let Some(place) = diagnostic.place {
        group = group.element(snippet(place, None, sources));
        if sources.excerpt(place).0.len() > LONGEST_SHOWN {
            let there: String = sources.at(place).chars().take(60).collect();
            group = group.element(Level::NOTE.message(format!("in a long line: {}", clean(&there))));
        }
    }
    for (place, why) in &diagnostic.related {
        group = group.element(snippet(*place, Some(why), sources));
    }
    if let Some(help) = &diagnostic.help {
        group = group.element(Level::HELP.message(clean(help)));
    }
    renderer.render(&[group])
}

/// Lines longer than this, in bytes, are not shown whole.
const LONGEST_SHOWN: usize = 2000;

/// The source lines of a place, or only where they stand when they are too long to show.
fn snippet<'a>(place: Place, why: Option<&'a str>, sources: &'a Sources) -> annotate_snippets::Element<'a> {
    let (text, line, span) = sources.excerpt(place);
    if text.len() > LONGEST_SHOWN {
        let (line, column) = sources.line_column(place);
        return Origin::path(clean(sources.name(place.file))).line(line).char_column(column).into();
    }
    let kind = if why.is_some() { AnnotationKind::Context } else { AnnotationKind::Primary };
    let annotation = kind.span(span).label(why.map(str::to_owned).map(std::borrow::Cow::Owned));
    Snippet::source(text).line_start(line).path(clean(sources.name(place.file))).annotation(annotation).into()
}

/// Text from a file on its way to a terminal: control characters are shown, not obeyed.
pub fn clean(text: &str) -> String {
    let hostile = |c: char| {
        (c.is_control() && c != '\n')
            || matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    text.chars().map(|c| if hostile(c) { '\u{fffd}' } else { c }).collect()
}

/// Names longer than this are not compared: the cost grows with the square of their length.
const LONGEST_NAME: usize = 64;

/// The nearest of `known` to what was written, if any is near enough to be meant: one slip of the
/// finger for every three letters. Of short ids, where every other one is near, only the case may differ.
pub fn nearest<'a>(written: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    if written.len() > LONGEST_NAME {
        return None;
    }
    let lower = written.to_lowercase();
    let length = lower.chars().count();
    let near = |name: &'a str| {
        let slips = length.max(name.chars().count()) / 3;
        if name.len() > LONGEST_NAME || length.abs_diff(name.chars().count()) > slips {
            return None;
        }
        let distance = strsim::osa_distance(&lower, &name.to_lowercase());
        (distance <= slips).then_some((distance, name))
    };
    known.into_iter().filter_map(near).min().map(|(_, name)| name)
}
