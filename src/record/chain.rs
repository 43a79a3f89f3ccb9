//! Records whose entries are chained: each holds the SHA-256 of all that stands before it.
//!
//! Comes in: the text of a record. Goes out: the text of an entry with its link; or the places where the chain is broken.
//! Why: a record that is evidence must show when somebody changed it afterwards. Altered, missing and exchanged entries
//! break the chain at the next link; whoever cuts off the end is told by the hash of the whole that a report names.
//!
//! The link is a key of the entry, `chain = "…"`, the first below its header: SHA-256 in lower-case hex over the bytes from
//! the header of the linked entry before it (from the start of the record where there is none) up to its own header,
//! with line ends as `\n`. Since these bytes hold the link before, each link stands for all that came before it, and a
//! change breaks one link and not all that follow. Anybody can check it with common tools.

use std::fmt::Write as _;

use sha2::{Digest, Sha256};

use super::read::HEADER;

/// The key that holds the link.
pub const CHAIN: &str = "chain";

/// Whether a record says that it is chained: one of its entries has a link.
pub fn is_chained(text: &str) -> bool {
    entries(text).iter().any(|entry| entry.link.is_some())
}

/// An entry's text with its link, for a record that holds `before` and to which it is appended.
pub fn linked(before: &str, entry: &str) -> String {
    let rest = entry.strip_prefix(HEADER).unwrap_or(entry).trim_start_matches(['\r', '\n']);
    let before = before.replace("\r\n", "\n");
    let from =
        entries(&before).iter().rev().find(|entry| entry.link.is_some()).map_or(0, |entry| entry.start);
    format!("{HEADER}\n{CHAIN} = \"{}\"\n{rest}", hash(&before[from..]))
}

/// Where a chain is broken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Broken {
    /// The entry at which it shows, from 1.
    pub entry: usize,
    /// The line of that entry's header, from 1.
    pub line: usize,
    /// What is wrong, and where to look.
    pub what: String,
}

/// What a check of a chain gives.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checked {
    /// Entries in all.
    pub entries: usize,
    /// Those with a link.
    pub links: usize,
    /// SHA-256 of the whole text: what the next entry would hold.
    pub hash: String,
    /// The places where it is broken.
    pub broken: Vec<Broken>,
}

/// Checks every link of a record. Cost: a few passes over the text; one more for each broken link.
pub fn check(text: &str) -> Checked {
    let text = text.replace("\r\n", "\n");
    let entries = entries(&text);
    let mut broken = Vec::new();
    // Where the stretch begins that the next link is of, and the entry that it begins with.
    let (mut from, mut behind) = (0, None);
    for (at, entry) in entries.iter().enumerate() {
        let (number, line) = (at + 1, text[..entry.start].matches('\n').count() + 1);
        let mut note = |what: String| broken.push(Broken { entry: number, line, what });
        if entry.twice {
            note(format!("#{number} holds two links: the header between them was altered"));
        }
        match entry.link {
            None if behind.is_some() => {
                note(format!(
                    "#{number} has no link, and those before it have: it was put in, or its link taken out"
                ));
            }
            None => {}
            Some(link) => {
                if link != hash(&text[from..entry.start]) {
                    note(told(&text, &entries, at, behind));
                }
                (from, behind) = (entry.start, Some(number));
            }
        }
    }
    let links = entries.iter().filter(|entry| entry.link.is_some()).count();
    Checked { entries: entries.len(), links, hash: hash(&text), broken }
}

/// What the broken link of an entry tells: it still names what the entry was written behind.
fn told(text: &str, entries: &[Found<'_>], at: usize, behind: Option<usize>) -> String {
    let (number, link) = (at + 1, entries[at].link.unwrap_or_default());
    let end = |other: usize| entries.get(other + 1).map_or(text.len(), |next| next.start);
    let written = (0..entries.len()).find(|other| hash(&text[entries[*other].start..end(*other)]) == link);
    match (written, behind) {
        (Some(other), _) => {
            format!("#{number} was written right behind #{}: one of the two stands elsewhere now", other + 1)
        }
        (None, Some(before)) => format!(
            "what stands before #{number} is not what it was: #{before} was altered since, or an entry between the two is \
             missing"
        ),
        (None, None) => format!(
            "what stands before #{number} is not what it was: something there was altered since, or entries are missing"
        ),
    }
}

/// An entry in a text: where its header starts, and its link.
struct Found<'a> {
    start: usize,
    link: Option<&'a str>,
    /// It holds two: the header between them was spoilt.
    twice: bool,
}

/// The entries of a text, by their headers at the start of a line outside of texts over several lines.
fn entries(text: &str) -> Vec<Found<'_>> {
    let mut found: Vec<Found<'_>> = Vec::new();
    let mut at = 0;
    let mut open: Option<&str> = None;
    for line in text.split_inclusive('\n') {
        let plain = line.trim_end();
        if let Some(mark) = open {
            open = if plain.matches(mark).count() % 2 == 1 { None } else { open };
        } else if plain == HEADER
            || (plain.starts_with(HEADER) && plain[HEADER.len()..].trim_start().starts_with('#'))
        {
            found.push(Found { start: at, link: None, twice: false });
        } else if !plain.trim_start().starts_with('#') {
            open = ["\"\"\"", "'''"].into_iter().find(|mark| plain.matches(mark).count() % 2 == 1);
            if let Some(last) = found.last_mut()
                && let Some(link) = link_of(plain)
            {
                last.twice |= last.link.is_some();
                last.link = last.link.or(Some(link));
            }
        }
        at += line.len();
    }
    found
}

/// The link on a line, if it is one.
fn link_of(line: &str) -> Option<&str> {
    let rest = line.trim_start().strip_prefix(CHAIN)?.trim_start().strip_prefix('=')?.trim_start();
    rest.strip_prefix('"')?.split('"').next()
}

/// SHA-256 in lower-case hex.
fn hash(text: &str) -> String {
    Sha256::digest(text.as_bytes()).iter().fold(String::new(), |mut hex, byte| {
        // Writing to a text cannot fail.
        let _ = write!(hex, "{byte:02x}");
        hex
    })
}
