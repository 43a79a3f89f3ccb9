//! How wide a text is, and texts made to fit.
//!
//! Comes in: any text. Goes out: its width, or a version that fits and is safe to draw. Why: labels
//! must not overlap, on any machine; widths come from one committed table and not from a font.

use super::widths::{BOLD, FIRST, REGULAR, SIGNS};

const EM: f64 = 2048.0;

/// How heavy the letters are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weight {
    /// Book weight.
    Regular,
    /// Bold.
    Bold,
}

/// The width of a character outside the table, in ems: wider than nearly all, so that a guess errs
/// on the roomy side.
const UNKNOWN: f64 = 1.3;

/// The width of `text` at `size`, in the unit of `size`.
pub fn text_width(text: &str, size: f64, weight: Weight) -> f64 {
    text.chars().map(|c| advance(c, weight)).sum::<f64>() * size
}

fn advance(c: char, weight: Weight) -> f64 {
    let table = if weight == Weight::Bold { &BOLD } else { &REGULAR };
    let listed = (c as u32).checked_sub(FIRST).and_then(|at| table.get(at as usize)).copied();
    let sign = || {
        let at = SIGNS.binary_search_by_key(&c, |s| s.0).ok()?;
        Some(if weight == Weight::Bold { SIGNS[at].2 } else { SIGNS[at].1 })
    };
    listed.filter(|w| *w > 0).or_else(sign).map_or(UNKNOWN, |w| f64::from(w) / EM)
}

/// Takes out what must not reach a drawing: control characters (line ends and tabs become blanks),
/// marks that turn the writing direction, invisible characters, and what XML forbids.
pub fn clean(text: &str) -> String {
    text.chars()
        .filter_map(|c| match c {
            '\n' | '\r' | '\t' | '\u{2028}' | '\u{2029}' => Some(' '),
            _ if c.is_control() || is_hidden(c) => None,
            _ => Some(c),
        })
        .collect()
}

fn is_hidden(c: char) -> bool {
    matches!(c,
        '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}'
        | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{fffe}' | '\u{ffff}'
        | '\u{e0000}'..='\u{e007f}')
}

/// `text`, cut with an ellipsis where it is wider than `room`.
pub fn shorten(text: &str, size: f64, weight: Weight, room: f64) -> String {
    // Most texts fit; a text of any length is only looked at as far as the room goes.
    let mut width = 0.0;
    let dots = advance('…', weight) * size;
    let mut cut = 0;
    for (at, c) in text.char_indices() {
        if width + dots <= room {
            cut = at;
        }
        width += advance(c, weight) * size;
        if width > room {
            return format!("{}…", text[..cut].trim_end());
        }
    }
    text.to_owned()
}

/// Cleaned, and no longer than anything sensible.
pub(super) fn bounded(text: &str) -> String {
    // Cut before cleaning too, so that a text of megabytes costs nothing.
    let cut = text.char_indices().nth(2000).map_or(text, |(at, _)| &text[..at]);
    shorten(clean(cut).trim(), 1.0, Weight::Regular, 200.0)
}

/// `text` in at most `lines` lines of at most `room` each, broken at blanks; the last line ends with
/// an ellipsis where more is left.
pub fn wrap(text: &str, size: f64, weight: Weight, room: f64, lines: usize) -> Vec<String> {
    let mut done: Vec<String> = Vec::new();
    let mut rest = text.trim();
    while !rest.is_empty() {
        if done.len() + 1 >= lines {
            done.push(shorten(rest, size, weight, room));
            break;
        }
        let cut = break_at(rest, size, weight, room);
        done.push(rest[..cut].trim_end().to_owned());
        rest = rest[cut..].trim_start();
    }
    done
}

/// Where to break: after the last word that fits, or inside the first word if even that is too wide.
fn break_at(text: &str, size: f64, weight: Weight, room: f64) -> usize {
    let (mut width, mut blank) = (0.0, None);
    for (at, c) in text.char_indices() {
        if c == ' ' {
            blank = Some(at);
        }
        width += advance(c, weight) * size;
        if width > room {
            // At least one character, so that every round makes progress.
            return blank.unwrap_or(at).max(text.chars().next().map_or(0, char::len_utf8));
        }
    }
    text.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widths_are_those_of_the_font() {
        // DejaVu Sans: digits are 1303 of 2048, the blank 651.
        assert!((text_width("12", 10.0, Weight::Regular) - 2.0 * 13030.0 / 2048.0).abs() < 1e-9);
        assert!((text_width(" ", 2048.0, Weight::Regular) - 651.0).abs() < 1e-9);
        assert!(text_width("W", 10.0, Weight::Bold) > text_width("W", 10.0, Weight::Regular));
        assert!((text_width("漢", 10.0, Weight::Regular) - 13.0).abs() < 1e-9);
    }

    #[test]
    fn clean_leaves_plain_text_and_drops_tricks() {
        assert_eq!(clean("31A Ω ü <b>"), "31A Ω ü <b>");
        assert_eq!(clean("a\u{202e}b\u{200f}c\0d\u{7}e\u{feff}f\u{ffff}"), "abcdef");
        assert_eq!(clean("a\nb\tc"), "a b c");
    }

    #[test]
    fn shortened_text_fits_and_short_text_stays() {
        assert_eq!(shorten("31A", 10.0, Weight::Regular, 100.0), "31A");
        let long = "x".repeat(10_000);
        for room in [5.0, 12.0, 50.0, 300.0] {
            let short = shorten(&long, 10.0, Weight::Regular, room);
            assert!(short.ends_with('…'));
            assert!(text_width(&short, 10.0, Weight::Regular) <= room.max(10.0), "{room}");
        }
        assert_eq!(shorten("", 10.0, Weight::Regular, 0.0), "");
    }

    #[test]
    fn wrapping_breaks_at_blanks_and_ends() {
        let lines = wrap("one two three four", 10.0, Weight::Regular, 45.0, 9);
        assert_eq!(lines, ["one two", "three", "four"]);
        let lines = wrap("one two three four", 10.0, Weight::Regular, 45.0, 2);
        assert_eq!((lines.len(), lines[0].as_str()), (2, "one two"));
        assert!(lines[1].starts_with("three") && lines[1].ends_with('…'));
        let lines = wrap(&"x".repeat(100), 10.0, Weight::Regular, 50.0, 3);
        assert_eq!(lines.len(), 3);
        assert_eq!(wrap("üü", 10.0, Weight::Regular, 1.0, 9), ["ü", "ü"]);
        assert!(wrap("", 10.0, Weight::Regular, 50.0, 3).is_empty());
    }
}
