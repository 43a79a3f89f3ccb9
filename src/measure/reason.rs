//! Why a limit is where it is: amounts that add up to it.

use std::borrow::Cow;

use crate::units::{Ohms, Volts, significant};

/// Why an expectation's limits are where they are.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Reasons {
    /// Why it may read no less.
    pub low: Reason,
    /// Why it may read no more; empty where any higher reading is good.
    pub high: Reason,
    /// Where the maker's demand overrides what is computed: the least and the most that would have been
    /// computed.
    pub computed: Option<(f64, Option<f64>)>,
}

/// Why one limit is where it is.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Reason {
    /// What adds up to the limit. Empty where there is no limit.
    pub terms: Vec<Term>,
}

/// One amount of a limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Term {
    /// How much, in the limit's unit; negative where it takes away.
    pub amount: f64,
    /// What it is.
    pub what: Cow<'static, str>,
    /// Where it comes from: a published source, the definition, or common practice.
    pub source: Cow<'static, str>,
    /// What makes up most of it, the largest first; empty where that is not known.
    pub shares: Vec<Share>,
    /// How many more have a share in it, and how much they have together.
    pub others: (usize, f64),
}

/// What one element gives to an amount.
#[derive(Debug, Clone, PartialEq)]
pub struct Share {
    /// The element's name.
    pub name: String,
    /// What it gives, in the limit's unit.
    pub amount: f64,
    /// Where that comes from.
    pub source: Cow<'static, str>,
}

impl Term {
    pub(super) fn new(
        amount: f64,
        what: impl Into<Cow<'static, str>>,
        source: impl Into<Cow<'static, str>>,
    ) -> Self {
        Self { amount, what: what.into(), source: source.into(), shares: Vec::new(), others: (0, 0.0) }
    }

    fn words(&self, ohms: bool) -> String {
        // Nothing has no unit to be read on into: what it is stands behind a colon.
        let colon = if self.amount == 0.0 { ":" } else { "" };
        let mut words = format!("{}{colon} {}", amount(self.amount.abs(), ohms), self.what);
        if !self.source.is_empty() {
            words.push_str(&format!(" [{}]", self.source));
        }
        let mut shares: Vec<String> = self
            .shares
            .iter()
            .map(|share| format!("{} {} [{}]", share.name, amount(share.amount, ohms), share.source))
            .collect();
        let (others, together) = self.others;
        if others > 0 {
            shares.push(format!("{others} more {}", amount(together, ohms)));
        }
        if !shares.is_empty() {
            words.push_str(&format!(" ({})", shares.join(", ")));
        }
        words
    }
}

impl Reason {
    pub(super) fn of(terms: impl IntoIterator<Item = Term>) -> Self {
        Self { terms: terms.into_iter().collect() }
    }

    /// What the terms add up to.
    pub fn sum(&self) -> f64 {
        self.terms.iter().map(|term| term.amount).sum()
    }

    /// Its terms without those that no meter could show beside the others.
    fn worth(&self) -> impl Iterator<Item = &Term> {
        let most = self.terms.iter().map(|term| term.amount.abs()).fold(0.0, f64::max);
        self.terms.iter().filter(move |term| term.amount.abs() >= most * 1e-3)
    }

    /// In words: "0.04 ohm network with every resistance at its most (...) + 0.3 ohm leads [...]"; nothing
    /// where there is no limit. Amounts that no meter could show beside the others are left out.
    pub fn words(&self, ohms: bool) -> String {
        let mut words = String::new();
        for (at, term) in self.worth().enumerate() {
            words.push_str(match (at, term.amount < 0.0) {
                (0, false) => "",
                (0, true) => "-",
                (_, false) => " + ",
                (_, true) => " - ",
            });
            words.push_str(&term.words(ohms));
        }
        words
    }

    /// The same as lines: sign, amount, what it is, its source; what makes up a term stands below it, with
    /// no sign.
    pub fn lines(&self, ohms: bool) -> Vec<[String; 4]> {
        let mut lines = Vec::new();
        for term in self.worth() {
            let sign = match term.amount {
                0.0 => "",
                amount if amount < 0.0 => "-",
                _ => "+",
            };
            let size = amount(term.amount.abs(), ohms);
            lines.push([sign.to_owned(), size, term.what.to_string(), term.source.to_string()]);
            let below = |size: f64, what: String, source: String| {
                [String::new(), String::new(), format!("· {} {what}", amount(size, ohms)), source]
            };
            let of = |share: &Share| below(share.amount, share.name.clone(), share.source.to_string());
            lines.extend(term.shares.iter().map(of));
            if let (count @ 1.., together) = term.others {
                lines.push(below(together, format!("{count} more"), String::new()));
            }
        }
        lines
    }
}

/// An amount in ohms or volts: two digits below ten, three above, and plain milliohms where it is small.
pub(super) fn amount(value: f64, ohms: bool) -> String {
    let digits = if value.abs() < 10.0 { 2 } else { 3 };
    match ohms {
        _ if value == 0.0 => format!("0 {}", if ohms { "ohm" } else { "V" }),
        true if value.abs() < 1.0 => format!("{} ohm", significant(value, digits)),
        true => format!("{:.*}", digits, Ohms::new(value)),
        false if value.abs() < 1.0 => format!("{} V", significant(value, digits)),
        false => format!("{:.3}", Volts::new(value)),
    }
}
