//! Mistakes of TOML itself, in words for people who write definitions and not parsers.
//!
//! Comes in: a text and what the parser says of it. Goes out: one mistake per line, each with what to
//! write instead. Why: the parser goes on after a mistake, so one slip often yields several errors, of
//! which the first on its line is the one to mend.

use std::ops::Range;

/// One mistake of writing.
pub(super) struct Mistake {
    /// Where, in bytes.
    pub span: Range<usize>,
    /// What is wrong.
    pub message: String,
    /// What to write instead.
    pub help: &'static str,
}

/// What the parser's words come to: a part of its message, and what to write instead.
const HELP: &[(&str, &str)] = &[
    (DUPLICATE, "the name stands above already: take one out, or rename it"),
    ("invalid basic string, expected `\"`", "close the text with a quote on the same line"),
    (
        "expected non-double-quote visible",
        "take the control character out of the text, or write a backslash as \\\\",
    ),
    ("expected printable", "take the control character out of the comment"),
    ("string values must be quoted", "put the text in quotes"),
    ("invalid boolean", "put the text in quotes; only true and false stand without"),
    ("unclosed table", "close the header: [connector.P1]"),
    ("unclosed array of tables", "close the header with two brackets: [[wire]]"),
    ("unclosed array", "close the list with ] and put commas between its items"),
    ("key with no value", "write it as key = value"),
    ("invalid unquoted key", "names are letters, digits, - and _; put any other in quotes"),
    ("extra `=`", "write one = between key and value"),
    ("dotted key", "the name stands above already as something else: give the key under that header"),
    ("recursion limit", "lists and tables do not lie that deep in a definition"),
];

/// Where nothing better is known.
const GENERAL: &str =
    "write one key = value to a line, texts in quotes, below headers such as [connector.P1]";

/// The first mistake of each line, in the order of the text. Below a header that is there twice every key
/// seems to be there twice: only the header is told.
///
/// Cost: linear in the text and the errors, however they lie.
pub(super) fn mistakes(text: &str, errors: &[toml::de::Error]) -> Vec<Mistake> {
    let mut found: Vec<Mistake> = errors.iter().map(|error| mistake(text, error)).collect();
    found.sort_by_key(|mistake| mistake.span.start);
    let (mut line_end, mut table_end) = (None, 0);
    found.retain(|mistake| {
        let at = mistake.span.start;
        let repeats = mistake.message.ends_with(DUPLICATE);
        if line_end.is_some_and(|end| at <= end) || (repeats && at < table_end) {
            return false;
        }
        line_end = Some(find(text, at, b"\n"));
        if repeats && is_header(text, at) {
            table_end = find(text, at, b"\n[");
        }
        true
    });
    found
}

/// The parser's words for a name that is there twice.
const DUPLICATE: &str = "duplicate key";

/// Where a pattern next stands, or the end of the text.
fn find(text: &str, from: usize, pattern: &[u8]) -> usize {
    let rest = &text.as_bytes()[from..];
    rest.windows(pattern.len()).position(|window| window == pattern).map_or(text.len(), |at| from + at)
}

fn mistake(text: &str, error: &toml::de::Error) -> Mistake {
    let span = error.span().unwrap_or(0..0);
    let message = error.message();
    let help = HELP.iter().find(|(part, _)| message.contains(part)).map_or(GENERAL, |(_, help)| help);
    Mistake {
        span: span.start.min(text.len())..span.end.min(text.len()),
        message: format!("not valid TOML: {message}"),
        help,
    }
}

fn is_header(text: &str, at: usize) -> bool {
    let line = text.as_bytes()[..at].iter().rposition(|byte| *byte == b'\n').map_or(0, |newline| newline + 1);
    text.as_bytes().get(line) == Some(&b'[')
}
