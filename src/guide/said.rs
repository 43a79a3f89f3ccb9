//! What people type.

/// A line, understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Said {
    /// An empty line: the question once more.
    Nothing,
    /// Leave.
    Quit,
    /// What can be typed.
    Help,
    /// Why this reading, and what each outcome would mean.
    Why,
    /// What is suspected so far.
    Status,
    /// Withdraw the last reading.
    Undo,
    /// Not this reading.
    Skip,
    /// These probes, or the named point, cannot be reached.
    CannotReach(Option<String>),
    /// Yes.
    Yes,
    /// No.
    No,
    /// What the meter showed, or something that is not understood.
    Value(String),
}

impl Said {
    /// Understands a line. Names of points keep their case, words need not.
    pub(super) fn of(line: &str) -> Self {
        let words: Vec<&str> = line.split_whitespace().collect();
        let text = words.join(" ");
        let plain = text.to_lowercase().replace('\u{2019}', "'");
        match plain.trim_end_matches(['.', '!', '?']) {
            "" if !plain.contains('?') => return Self::Nothing,
            "" | "help" | "h" => return Self::Help,
            "quit" | "q" | "exit" | "bye" | "stop" => return Self::Quit,
            "why" | "w" => return Self::Why,
            "status" | "so far" | "suspects" => return Self::Status,
            "undo" | "u" | "oops" => return Self::Undo,
            "skip" | "s" | "pass" => return Self::Skip,
            "yes" | "y" => return Self::Yes,
            "no" | "n" => return Self::No,
            _ => {}
        }
        for opening in ["can't reach", "cant reach", "cannot reach", "can not reach", "no access"] {
            let count = opening.split(' ').count();
            if plain == opening || plain.starts_with(&format!("{opening} ")) {
                let rest = words.get(count..).unwrap_or_default();
                let rest =
                    rest.iter().filter(|word| !matches!(word.to_lowercase().as_str(), "to" | "it" | "that"));
                let rest: Vec<&str> = rest.copied().collect();
                return Self::CannotReach((!rest.is_empty()).then(|| rest.join(" ")));
            }
        }
        Self::Value(text)
    }
}

/// What can be typed, a line each.
pub(super) const HELP: &[&str] = &[
    "- what the meter shows: 0.4 ohm, 12k, 1.5M, OL, open, beep, tone, 25.1 V, 350 mV",
    "- skip: not this reading, ask for another",
    "- can't reach: not these two probes, in any setup; can't reach P1.K: nothing at P1.K",
    "- undo: the last reading of the record was wrong; it is withdrawn, not rubbed out",
    "- why: why this reading, and what each outcome would mean",
    "- status: what is suspected so far",
    "- an empty line: the question once more",
    "- quit: leave; the record keeps what was read, and the guide goes on from there",
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn understands_what_people_type() {
        for (line, said) in [
            ("", Said::Nothing),
            ("   ", Said::Nothing),
            ("?", Said::Help),
            ("QUIT", Said::Quit),
            ("Why?", Said::Why),
            ("undo", Said::Undo),
            (" Skip ", Said::Skip),
            ("can't reach", Said::CannotReach(None)),
            ("can’t reach it", Said::CannotReach(None)),
            ("Cannot  reach P1.K", Said::CannotReach(Some("P1.K".to_owned()))),
            ("OL", Said::Value("OL".to_owned())),
            ("0.4  ohm", Said::Value("0.4 ohm".to_owned())),
            ("can't reachable", Said::Value("can't reachable".to_owned())),
        ] {
            assert_eq!(Said::of(line), said, "{line}");
        }
    }
}
