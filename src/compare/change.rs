//! What a difference is.
//!
//! Comes in: nothing. Goes out: the types that the other pages fill. Why: every difference says what it is of, what it was
//! and is, and the one thing that whoever signs a revision must know: does it matter electrically, to the tests, or on
//! paper alone.

/// What a difference matters to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Effect {
    /// The machine is wired, protected or driven otherwise.
    Electrical,
    /// The machine does what it did, but a healthy one may read otherwise, or tests are chosen or done otherwise.
    Limits,
    /// Names, colours, words and places: no reading changes.
    Paper,
}

impl Effect {
    /// All, the gravest first.
    pub const ALL: [Self; 3] = [Self::Electrical, Self::Limits, Self::Paper];

    /// In words.
    pub fn word(self) -> &'static str {
        match self {
            Self::Electrical => "electrical",
            Self::Limits => "test limits",
            Self::Paper => "paper only",
        }
    }
}

/// What a difference is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Subject {
    /// The definition as a whole.
    Definition,
    /// Two connectors plugged together.
    Mating,
    /// A wire.
    Wire,
    /// Wires that are twisted together.
    Twist,
    /// Wires that share a shield.
    Shield,
    /// A connector.
    Connector,
    /// A contact of a connector.
    Contact,
    /// A splice.
    Splice,
    /// A terminal.
    Terminal,
    /// A part.
    Part,
    /// A state of the machine that someone brings about.
    Condition,
    /// What the manual or the maker demands of a reading.
    Limit,
    /// A stretch of bundle.
    Trunk,
    /// A place where a person stands.
    Station,
}

impl Subject {
    /// In a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Definition => "definition",
            Self::Mating => "mating",
            Self::Wire => "wire",
            Self::Twist => "twist",
            Self::Shield => "shield",
            Self::Connector => "connector",
            Self::Contact => "contact",
            Self::Splice => "splice",
            Self::Terminal => "terminal",
            Self::Part => "part",
            Self::Condition => "condition",
            Self::Limit => "limit",
            Self::Trunk => "trunk",
            Self::Station => "station",
        }
    }
}

/// What became of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum What {
    /// It is in the new revision alone.
    Added,
    /// It is in the old revision alone.
    Removed,
    /// It has another id.
    Renamed,
    /// It joins, or is joined to, something else.
    Moved,
    /// Something that is said of it, by its key in the definition or in plain words.
    Value(&'static str),
}

impl What {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Added => "added",
            Self::Removed => "removed",
            Self::Renamed => "renamed",
            Self::Moved => "moved",
            Self::Value(name) => name,
        }
    }
}

/// One difference.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Change {
    /// What it matters to.
    pub effect: Effect,
    /// What it is of.
    pub subject: Subject,
    /// Its name in the old revision; `None` where it was not there.
    pub old: Option<String>,
    /// Its name in the new revision; `None` where it is not there any more.
    pub new: Option<String>,
    /// What became of it.
    pub what: What,
    /// What it was. Empty where nothing was said.
    pub before: String,
    /// What it is. Empty where nothing is said.
    pub after: String,
    /// Why it matters so much and no more.
    pub why: &'static str,
    /// The explanation it is part of: a place in [`super::Comparison::explanations`].
    pub explained: Option<usize>,
}

impl Change {
    /// The name it has now, or had.
    pub fn name(&self) -> &str {
        self.new.as_deref().or(self.old.as_deref()).unwrap_or_default()
    }
}

/// Takes down what differs between two things that are the same thing.
pub(super) struct Differ<'a> {
    changes: &'a mut Vec<Change>,
    subject: Subject,
    names: [String; 2],
}

impl<'a> Differ<'a> {
    pub(super) fn new(changes: &'a mut Vec<Change>, subject: Subject, names: [String; 2]) -> Self {
        Self { changes, subject, names }
    }

    /// Takes down a change, whatever it is.
    pub(super) fn push(
        &mut self,
        effect: Effect,
        what: What,
        [before, after]: [String; 2],
        why: &'static str,
    ) {
        let [old, new] = self.names.clone().map(Some);
        let (subject, explained) = (self.subject, None);
        self.changes.push(Change { effect, subject, old, new, what, before, after, why, explained });
    }

    /// Takes down a value where it differs.
    pub(super) fn value(&mut self, effect: Effect, key: &'static str, texts: [String; 2], why: &'static str) {
        if texts[0] != texts[1] {
            self.push(effect, What::Value(key), texts, why);
        }
    }

    /// The same for a value that may not be there.
    pub(super) fn option<T: ToString>(
        &mut self,
        effect: Effect,
        key: &'static str,
        values: [Option<&T>; 2],
        why: &'static str,
    ) {
        self.value(effect, key, values.map(|value| value.map(ToString::to_string).unwrap_or_default()), why);
    }

    /// The same for a quantity: nine digits tell what a few would hide.
    pub(super) fn quantity<Q: std::fmt::Display>(
        &mut self,
        effect: Effect,
        key: &'static str,
        values: [Option<Q>; 2],
        why: &'static str,
    ) {
        self.value(
            effect,
            key,
            values.map(|value| value.map(|q| format!("{q:.9}")).unwrap_or_default()),
            why,
        );
    }

    /// The same for what is so or not.
    pub(super) fn flag(&mut self, effect: Effect, key: &'static str, flags: [bool; 2], why: &'static str) {
        self.value(effect, key, flags.map(|flag| if flag { "yes" } else { "no" }.to_owned()), why);
    }
}

/// Takes down that something is in one revision alone: the old one (side 0) or the new one.
pub(super) fn alone(
    side: usize,
    subject: Subject,
    name: String,
    effect: Effect,
    words: String,
    why: &'static str,
) -> Change {
    let (what, old, new, before, after) = if side == 0 {
        (What::Removed, Some(name), None, words, String::new())
    } else {
        (What::Added, None, Some(name), String::new(), words)
    };
    Change { effect, subject, old, new, what, before, after, why, explained: None }
}
