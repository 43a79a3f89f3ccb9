//! Cells that a spreadsheet would run as a formula.
//!
//! Comes in: the text of a cell. Goes out: the same, with an apostrophe before it where a spreadsheet that opens the
//! file could take it for a formula; and back. Why: a pin map is passed from hand to hand, and a cell such as
//! `=HYPERLINK(…)` in it acts on whoever opens it.
//!
//! Source: OWASP, "CSV Injection": cells that begin with `=`, `+`, `-`, `@`, tab or carriage return (and their full-width
//! forms) get a single quotation mark in front. Line feed stands in newer editions of the list.

use std::borrow::Cow;

const STARTS: [char; 11] = ['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠'];

/// The sign put in front.
const QUOTE: char = '\'';

/// A cell that no spreadsheet runs. A plain number below zero stays what it is: `-12.5` is no formula.
pub fn defused(text: &str) -> Cow<'_, str> {
    let plain = text.starts_with('-') && text.parse::<f64>().is_ok_and(f64::is_finite);
    if is_armed(text) && !plain {
        return Cow::Owned(format!("{QUOTE}{text}"));
    }
    Cow::Borrowed(text)
}

/// What was in the cell before it was defused.
pub fn restored(text: &str) -> String {
    match text.strip_prefix(QUOTE) {
        Some(rest) if is_armed(rest) => rest.to_owned(),
        _ => text.to_owned(),
    }
}

/// Whether it begins like a formula, blanks and our own marks apart: a text that has a mark already gets another, so
/// that taking one off gives it back.
fn is_armed(text: &str) -> bool {
    text.trim_start_matches([' ', QUOTE]).starts_with(STARTS)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_are_defused_and_nothing_else() {
        for (text, cell) in [
            ("=1+2", "'=1+2"),
            ("+12V", "'+12V"),
            ("+2", "'+2"),
            ("-", "'-"),
            ("@A1", "'@A1"),
            (" =1", "' =1"),
            ("'=1", "''=1"),
            ("-inf", "'-inf"),
            ("-12.5", "-12.5"),
            ("'tis", "'tis"),
            ("P1.A", "P1.A"),
            ("", ""),
        ] {
            assert_eq!(defused(text), cell);
        }
    }

    proptest::proptest! {
        #[test]
        fn what_was_defused_comes_back(text in "['=+@ \t\ra1-]{0,6}") {
            proptest::prop_assert_eq!(restored(&defused(&text)), text);
        }
    }
}
