//! Names that a simulator takes: lower case, letters, digits and underscores, each once.

use std::collections::BTreeSet;

/// The names that are taken already.
#[derive(Debug, Default)]
pub(super) struct Names {
    taken: BTreeSet<String>,
}

impl Names {
    /// A node's name. One of letters alone could be a word of the simulator (`gnd`, `time`, `and`), and
    /// one that starts with a digit could be a number: both get a prefix.
    pub(super) fn node(&mut self, wanted: &str) -> String {
        let plain = plain(wanted);
        let letters = plain.chars().all(|c| c.is_ascii_alphabetic());
        let word = letters || !plain.starts_with(|c: char| c.is_ascii_alphabetic());
        self.fresh(&if word { format!("n_{plain}") } else { plain })
    }

    /// An element's name: its first letter says to the simulator what it is.
    pub(super) fn element(&mut self, letter: char, wanted: &str) -> String {
        self.fresh(&format!("{letter}_{}", plain(wanted)))
    }

    fn fresh(&mut self, wanted: &str) -> String {
        let mut name = wanted.to_owned();
        let mut n = 1;
        while !self.taken.insert(name.clone()) {
            n += 1;
            name = format!("{wanted}_{n}");
        }
        name
    }
}

/// Simulators do not tell upper from lower case, and read most signs as part of a sum.
fn plain(wanted: &str) -> String {
    let safe = |c: char| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '_' };
    wanted.replace('+', "plus").chars().map(safe).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_legal_and_differ() {
        let mut names = Names::default();
        let wanted = ["P1.K", "p1.k", "P1-K", "SP2", "GND", "time", "1e3", "X.C+", "Ä.1", "0"];
        let expected =
            ["p1_k", "p1_k_2", "p1_k_3", "sp2", "n_gnd", "n_time", "n_1e3", "x_cplus", "n___1", "n_0"];
        assert_eq!(wanted.map(|name| names.node(name)), expected);
        let mut names = Names::default();
        assert_eq!(
            ["31A", "31a", "P1.K/J1.K"].map(|name| names.element('r', name)),
            ["r_31a", "r_31a_2", "r_p1_k_j1_k"]
        );
        // A numbered name may be taken by one that is written so.
        let mut names = Names::default();
        assert_eq!(["a1", "a1_2", "A1"].map(|name| names.node(name)), ["a1", "a1_2", "a1_3"]);
    }
}
