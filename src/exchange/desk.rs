//! Where cells become values: the decisions that hold, and a note of every text that was rewritten.

use std::collections::BTreeMap;

use super::ask::{Ask, Trouble};
use super::options::Options;

/// The user's decisions, and what was done to texts on the way.
pub(super) struct Desk<'o> {
    pub options: &'o Options,
    /// What was rewritten and how, by the column's field and the text as written.
    rewritten: BTreeMap<(&'static str, String), String>,
    /// What each id was written as, by what it names.
    written: BTreeMap<(&'static str, String), String>,
    /// A length or size with a comma as decimal sign was seen.
    pub comma_seen: bool,
    /// Numbers such as `1.200`, which mean another thing where commas are decimal signs; each with its row.
    pub pointed: Vec<(usize, String)>,
    /// What has to be decided about the row at hand, beside what its reader gives back.
    pub asked: Vec<(Ask, String)>,
    /// The row at hand.
    pub row: usize,
}

impl<'o> Desk<'o> {
    pub(super) fn new(options: &'o Options) -> Self {
        Self {
            options,
            rewritten: BTreeMap::new(),
            written: BTreeMap::new(),
            comma_seen: false,
            pointed: Vec::new(),
            asked: Vec::new(),
            row: 0,
        }
    }

    /// Remembers that a text was written otherwise.
    pub(super) fn note(&mut self, what: &'static str, from: &str, to: &str) {
        if from != to {
            self.rewritten.insert((what, from.to_owned()), to.to_owned());
        }
    }

    /// All that was rewritten: what it is, as written, as read.
    pub(super) fn rewritten(&self) -> impl Iterator<Item = (&'static str, &str, &str)> {
        self.rewritten.iter().map(|((what, from), to)| (*what, from.as_str(), to.as_str()))
    }

    /// A name with the signs that ids may have: blanks and some other signs become `_`, and that is noted.
    ///
    /// A slash is not rewritten: it parts two names as often as it belongs to one.
    pub(super) fn id(&mut self, what: &'static str, text: &str) -> Result<String, Trouble> {
        let bare = text.trim().trim_start_matches('#').trim();
        if bare.is_empty() {
            return Trouble::reject(format!("`{text}` is no name of a {what}"));
        }
        let mut id = String::with_capacity(bare.len());
        for c in bare.chars() {
            match c {
                c if c.is_alphanumeric() || matches!(c, '-' | '_' | '+') => id.push(c),
                ' ' | '.' | '#' | ':' | '=' | '(' | ')' | '[' | ']' | '\u{a0}' => {
                    // Two signs in a row leave one mark.
                    if !id.ends_with('_') {
                        id.push('_');
                    }
                }
                c => {
                    let c = c.escape_default();
                    let hint = if text.contains('/') {
                        "; several go with a comma or a semicolon between them"
                    } else {
                        ""
                    };
                    return Trouble::reject(format!(
                        "`{c}` cannot stand in the name of a {what} (`{text}`): letters, digits, `-`, `_` and `+` can{hint}"
                    ));
                }
            }
        }
        let id = if bare.ends_with('_') { id } else { id.trim_end_matches('_').to_owned() };
        if id.is_empty() {
            return Trouble::reject(format!("`{text}` is no name of a {what}"));
        }
        let text = text.trim();
        let first = self.written.entry((what, id.clone())).or_insert_with(|| text.to_owned());
        if first != text {
            return Trouble::reject(format!(
                "the {what}s `{first}` and `{text}` would both be `{id}`: rename one"
            ));
        }
        self.note(what, text, &id);
        Ok(id)
    }
}
