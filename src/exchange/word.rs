//! Words that people write where nothing is: `-`, `NC`, `TBD`.

/// What a cell says instead of a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Instead {
    /// Nothing, or a dash: it says nothing.
    Nothing,
    /// `NC`, `spare`: the contact is empty on purpose.
    Spare,
    /// `plugged`: closed with a sealing plug.
    Plugged,
    /// `TBD`, `?`: nobody has decided yet.
    Undecided,
}

/// The common words, in lower case; common practice, no source.
const WORDS: [(&str, Instead); 29] = [
    ("", Instead::Nothing),
    ("-", Instead::Nothing),
    ("--", Instead::Nothing),
    ("---", Instead::Nothing),
    ("–", Instead::Nothing),
    ("—", Instead::Nothing),
    ("n/a", Instead::Nothing),
    ("none", Instead::Nothing),
    (".", Instead::Nothing),
    ("/", Instead::Nothing),
    ("nc", Instead::Spare),
    ("n/c", Instead::Spare),
    ("n.c.", Instead::Spare),
    ("n.c", Instead::Spare),
    ("not connected", Instead::Spare),
    ("no connection", Instead::Spare),
    ("spare", Instead::Spare),
    ("unused", Instead::Spare),
    ("not used", Instead::Spare),
    ("plugged", Instead::Plugged),
    ("sealed", Instead::Plugged),
    ("tbd", Instead::Undecided),
    ("tba", Instead::Undecided),
    ("tbc", Instead::Undecided),
    ("tbd.", Instead::Undecided),
    ("?", Instead::Undecided),
    ("??", Instead::Undecided),
    ("???", Instead::Undecided),
    ("to be defined", Instead::Undecided),
];

/// What a cell says instead of a value; `None` where there is one.
pub(super) fn instead(text: &str) -> Option<Instead> {
    let lower = text.trim().to_lowercase();
    WORDS.iter().find(|(word, _)| *word == lower).map(|(_, found)| *found)
}
