//! Where the regions of a document are.

use super::marker::{self, BEGIN, Begin, END, Marker};
use super::{Document, PlanOf, Region, Shown};
use crate::definition::diagnostic::{At, Diagnostic, FileId, Place, Sink};
use crate::draw::Side;

/// The heading level of a region that names none.
const LEVEL: u8 = 3;

/// The regions of a document, in the order of its text; everything that is wrong with its markers lands in the sink.
///
/// In Markdown a marker within a fenced block, or behind a backtick, is only shown and means nothing. Cost: linear in
/// the length of the text.
pub fn find(text: &str, file: FileId, document: Document, sink: &Sink) -> Vec<Region> {
    let mut finder = Finder { file, document, sink, regions: Vec::new(), open: None, ended: None };
    let mut fence: Option<Fence<'_>> = None;
    let mut at = 0;
    for line in text.split_inclusive('\n') {
        let shown = finder.open.is_none() && document == Document::Markdown && in_fence(&mut fence, line);
        if !shown {
            finder.line(line, at);
        }
        at += line.len();
    }
    finder.finish()
}

/// A block of text that is shown as it stands.
struct Fence<'t> {
    /// Its opening row of backticks or tildes.
    row: &'t str,
}

/// Whether a line of Markdown belongs to a fenced block, its fences included (CommonMark 0.31.2, section 4.5; here a
/// fence may be indented as far as it likes, since it may stand in a list).
fn in_fence<'t>(fence: &mut Option<Fence<'t>>, line: &'t str) -> bool {
    let line = line.trim();
    let length = |mark: char| line.len() - line.trim_start_matches(mark).len();
    if let Some(open) = fence {
        let mark = open.row.chars().next().unwrap_or('`');
        if length(mark) >= open.row.len() && length(mark) == line.len() {
            *fence = None;
        }
        return true;
    }
    let opened = ['`', '~'].into_iter().find(|mark| length(*mark) >= 3);
    // The words behind backticks hold none: that would be code within a line.
    let opened = opened.filter(|mark| *mark == '~' || !line[length(*mark)..].contains('`'));
    *fence = opened.map(|mark| Fence { row: &line[..length(mark)] });
    fence.is_some()
}

/// A region whose end was not found yet.
struct Open {
    /// `None` where its marker is broken.
    begin: Option<Begin>,
    marker: Place,
    inside: usize,
    line_end: &'static str,
}

struct Finder<'a> {
    file: FileId,
    document: Document,
    sink: &'a Sink,
    regions: Vec<Region>,
    open: Option<Open>,
    /// The last end of a region.
    ended: Option<Place>,
}

impl Finder<'_> {
    fn line(&mut self, line: &str, at: usize) {
        let text = line.trim_start();
        let indent = line.len() - text.len();
        if !marker::opens(text) {
            self.elsewhere(line, at);
            return;
        }
        let place = Place::new(self.file, at + indent..at + line.trim_end().len());
        if self.document == Document::Markdown && self.open.is_none() && is_code(&line[..indent]) {
            let help = "move it to the start of the line; to show how markers look, use a fenced block";
            self.fail(place, "a marker that is indented so far is code in Markdown", help);
            return;
        }
        let line_end = if line.ends_with("\r\n") { "\r\n" } else { "\n" };
        let next = at + line.len();
        match marker::read(text, at + indent, self.file, self.sink) {
            Marker::Begin(begin) => self.begin(Some(begin), place, next, line_end),
            Marker::Broken { begins: true } => self.begin(None, place, next, line_end),
            Marker::Broken { begins: false } => {}
            Marker::End => self.end(place, at),
        }
    }

    fn fail(&self, place: Place, message: &str, help: &str) {
        self.sink.push(Diagnostic::error("region", place, message).help(help));
    }

    /// A marker further along a line would be overlooked, so it is refused; behind a backtick it is only mentioned.
    fn elsewhere(&self, line: &str, at: usize) {
        for (from, _) in line.match_indices("<!--") {
            let mentioned = self.document == Document::Markdown && line[..from].matches('`').count() % 2 == 1;
            if marker::opens(&line[from..]) && !mentioned {
                let place = Place::new(self.file, at + from..at + line.trim_end().len());
                self.fail(place, "a marker stands alone on its line", "move it to a line of its own");
                return;
            }
        }
    }

    fn begin(&mut self, begin: Option<Begin>, marker: Place, inside: usize, line_end: &'static str) {
        if let Some(open) = &self.open {
            let message = "a region begins within another";
            let help = format!("write {END} above it, where the other region ends");
            let error = Diagnostic::error("region", marker, message).help(help);
            self.sink.push(error.related(open.marker, "this one has not ended"));
        }
        self.open = Some(Open { begin, marker, inside, line_end });
    }

    fn end(&mut self, place: Place, at: usize) {
        let before = self.ended.replace(place);
        let Some(open) = self.open.take() else {
            let help = format!("take it out, or write {BEGIN} above it, where the region begins");
            let error = match before {
                Some(before) => Diagnostic::error("region", place, "the region has ended already")
                    .related(before, "it ends here"),
                None => Diagnostic::error("region", place, "no region begins above this end"),
            };
            self.sink.push(error.help(help));
            return;
        };
        let Some(begin) = open.begin else { return };
        let meant = self.meant(&begin, open.marker);
        let Some((from, shown, level)) = meant else { return };
        self.regions.push(Region {
            shown,
            from,
            variant: begin.get("variant"),
            level,
            marker: open.marker,
            inside: open.inside..at,
            line_end: open.line_end,
        });
    }

    fn finish(self) -> Vec<Region> {
        if let Some(open) = &self.open {
            let help = format!("write {END} on a line of its own, where it ends");
            self.fail(open.marker, "this region has no end", &help);
        }
        self.regions
    }

    /// What an opening marker asks for, as far as its own words tell.
    fn meant(&self, begin: &Begin, marker: Place) -> Option<(At<String>, Shown, u8)> {
        let required = |key: &str, example: &str| {
            let value = begin.get(key);
            if value.is_none() {
                let help = format!("add {example}");
                self.fail(marker, &format!("the marker of `{}` needs `{key}`", begin.kind), &help);
            }
            value
        };
        let from = required("from", "from=machine.toml, with the path relative to this document");
        let level = begin.get("level").map_or(Some(LEVEL), |level| self.level(&level));
        let shown = match begin.kind {
            marker::PINS => Some(Shown::Pins { connector: begin.get("connector") }),
            marker::WIRES => Some(Shown::Wires { circuit: begin.get("circuit") }),
            marker::FACE => {
                let connector = required("connector", "connector=P1");
                let sides = self.sides(begin.get("side").as_ref());
                connector.zip(sides).map(|(connector, sides)| Shown::Face { connector, sides })
            }
            _ => self.plan(begin),
        };
        Some((from?, shown?, level?))
    }

    fn level(&self, level: &At<String>) -> Option<u8> {
        let number = level.value.parse().ok().filter(|number| (1..=6).contains(number));
        if number.is_none() {
            self.fail(level.place, "`level` is that of a heading: a number from 1 to 6", "write level=3");
        }
        number
    }

    fn sides(&self, side: Option<&At<String>>) -> Option<&'static [Side]> {
        let Some(side) = side else { return Some(&[Side::Mating]) };
        match side.value.as_str() {
            "mating" => Some(&[Side::Mating]),
            "wire" => Some(&[Side::Wire]),
            "both" => Some(&[Side::Mating, Side::Wire]),
            _ => {
                self.fail(side.place, "no side is called so", "write side=mating, side=wire or side=both");
                None
            }
        }
    }

    fn plan(&self, begin: &Begin) -> Option<Shown> {
        let (unplug, circuit) = (begin.list("unplug"), begin.get("circuit"));
        let (complaint, meter) = (begin.get("complaint"), begin.list("meter"));
        if let Some(complaint) = &complaint
            && (circuit.is_some() || !unplug.is_empty())
        {
            let help = "write either `complaint` or what may be unplugged and which circuit";
            self.fail(complaint.place, "`complaint` does not go with `unplug` and `circuit`", help);
            return None;
        }
        Some(Shown::Plan(PlanOf { unplug, circuit, complaint, meter }))
    }
}

/// Whether text behind this indent is a block of code in Markdown.
fn is_code(indent: &str) -> bool {
    indent.contains('\t') || indent.chars().count() > 3
}
