//! The next revision letter or number.
//!
//! Comes in: a revision as it is written. Goes out: the one that follows it. Why: every repair makes a revision, so that
//! a sheet printed before it can be told from one printed after. That letters count A to Z without I and O (they look
//! like 1 and 0) and go on with AA is common practice on drawings (from memory).

/// The revision behind another: `A` to `B`, `H` to `J`, `Z` to `AA`, `3` to `4`, `2.9` to `2.10`. What stands before the
/// last run of letters or digits stays. `None` where it ends in neither: then somebody must name it.
pub fn next(revision: &str) -> Option<String> {
    let last = revision.chars().next_back()?;
    let alike: fn(char) -> bool = match last {
        '0'..='9' => |c| c.is_ascii_digit(),
        'A'..='Z' => |c| c.is_ascii_uppercase(),
        'a'..='z' => |c| c.is_ascii_lowercase(),
        _ => return None,
    };
    let from = revision
        .rfind(|c| !alike(c))
        .map_or(0, |at| at + revision[at..].chars().next().map_or(1, char::len_utf8));
    let (before, run) = revision.split_at(from);
    // A word is no revision letter: whoever wrote it names the next one.
    if !last.is_ascii_digit() && run.len() > 2 {
        return None;
    }
    let run = if last.is_ascii_digit() { next_number(run) } else { next_letters(run) };
    Some(format!("{before}{run}"))
}

/// The segment letters behind others, by the same count: `A` to `B`, `Z` to `AA`.
pub(super) fn next_letters(letters: &str) -> String {
    let mut digits: Vec<u8> = letters.bytes().collect();
    let first = if letters.ends_with(|c: char| c.is_ascii_lowercase()) { b'a' } else { b'A' };
    for digit in digits.iter_mut().rev() {
        if *digit < first + 25 {
            *digit += 1;
            // I and O.
            if matches!(*digit - first, 8 | 14) {
                *digit += 1;
            }
            return digits.into_iter().map(char::from).collect();
        }
        *digit = first;
    }
    std::iter::once(first).chain(digits).map(char::from).collect()
}

/// One more, with leading zeros kept; as long as it likes.
fn next_number(number: &str) -> String {
    let mut digits: Vec<u8> = number.bytes().collect();
    for digit in digits.iter_mut().rev() {
        if *digit < b'9' {
            *digit += 1;
            return digits.into_iter().map(char::from).collect();
        }
        *digit = b'0';
    }
    format!("1{}", "0".repeat(number.len()))
}

#[cfg(test)]
mod tests {
    use super::next;

    #[test]
    fn letters_skip_i_and_o_and_go_on_with_two() {
        // Common practice on drawings, from memory.
        for (old, new) in [
            ("A", "B"),
            ("H", "J"),
            ("N", "P"),
            ("Z", "AA"),
            ("AA", "AB"),
            ("AZ", "BA"),
            ("ZZ", "AAA"),
            ("c", "d"),
            ("3", "4"),
            ("9", "10"),
            ("09", "10"),
            ("99", "100"),
            ("2.9", "2.10"),
            ("C-1", "C-2"),
            ("1A", "1B"),
        ] {
            assert_eq!(next(old).as_deref(), Some(new), "{old}");
        }
    }

    #[test]
    fn what_is_no_letter_and_no_number_must_be_named() {
        for text in ["", "-", "C.", "draft", "é", "ABC"] {
            assert_eq!(next(text), None, "{text}");
        }
        assert_eq!(next("é1").as_deref(), Some("é2"));
    }

    proptest::proptest! {
        #[test]
        fn any_revision_moves_on(text in "[0-9A-Za-zé.-]{0,6}") {
            if let Some(new) = next(&text) {
                proptest::prop_assert_ne!(new, text);
            }
        }
    }
}
