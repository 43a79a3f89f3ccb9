//! What a check found: every rule with its violations.

use serde::Serialize;

/// What a plan is held to: the seven rules of safety, and what it says of itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rule {
    /// Rule 1.
    Isolated,
    /// Rule 2.
    Mating,
    /// Rule 3.
    Leads,
    /// Rule 4.
    Live,
    /// Rule 5.
    Electronics,
    /// Rule 6.
    AsFound,
    /// Rule 7.
    Cautions,
    /// Straps and caps are on where and while they may be.
    Straps,
    /// The plan is of this definition.
    Definition,
    /// Changes can be done and lead where the plan says.
    Changes,
    /// Probes get where they are put, and the meter reads that.
    Reach,
    /// A sound machine reads within what is expected.
    Expected,
    /// Every step shows what it claims.
    Claims,
    /// What counts as detected stands at a step.
    Coverage,
    /// What a reading shows leads on, or to an end.
    Outcomes,
    /// The plan's figures add up.
    Totals,
}

impl Rule {
    /// Every rule, in the order of reports.
    pub const ALL: [Self; 16] = [
        Self::Isolated,
        Self::Mating,
        Self::Leads,
        Self::Live,
        Self::Electronics,
        Self::AsFound,
        Self::Cautions,
        Self::Straps,
        Self::Definition,
        Self::Changes,
        Self::Reach,
        Self::Expected,
        Self::Claims,
        Self::Coverage,
        Self::Outcomes,
        Self::Totals,
    ];

    /// Its number, or its name where it is no rule of safety.
    pub fn id(self) -> &'static str {
        match self {
            Self::Isolated => "1",
            Self::Mating => "2",
            Self::Leads => "3",
            Self::Live => "4",
            Self::Electronics => "5",
            Self::AsFound => "6",
            Self::Cautions => "7",
            Self::Straps => "straps",
            Self::Definition => "definition",
            Self::Changes => "changes",
            Self::Reach => "reach",
            Self::Expected => "expected",
            Self::Claims => "claims",
            Self::Coverage => "coverage",
            Self::Outcomes => "outcomes",
            Self::Totals => "totals",
        }
    }

    /// What it demands.
    pub fn words(self) -> &'static str {
        match self {
            Self::Isolated => "Ohms and isolation only with power isolated.",
            Self::Mating => "Nothing is mated or parted unless power is isolated, nor over a strap or a cap.",
            Self::Leads => {
                "Battery negative comes off first and goes back last, and no lead is moved under load."
            }
            Self::Live => "Every contact at an open plug that will be live is listed.",
            Self::Electronics => "No isolation test across a connected unit or other electronics.",
            Self::AsFound => "The machine is left as it was found, and its functions are checked.",
            Self::Cautions => "Cautions stand where they apply; nothing marked as a hazard is touched.",
            Self::Straps => {
                "Straps and caps go on and off with power isolated, on open contacts; power finds no strap."
            }
            Self::Definition => "The plan was made from this text and this variant of the definition.",
            Self::Changes => "Every change can be done and leads to the state that is written.",
            Self::Reach => "Every probe gets where it is put, with a meter that can read it.",
            Self::Expected => "A sound machine reads within what is expected.",
            Self::Claims => "Each step shows the faults that it claims.",
            Self::Coverage => "What counts as detected is shown by a step, the rest is named.",
            Self::Outcomes => "What a reading shows leads on to a step or to an end, and shares add up.",
            Self::Totals => "Steps, changes and seconds add up; no bound lies above its figure.",
        }
    }
}

/// Something that breaks a rule.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Violation {
    #[serde(skip)]
    pub(super) rule: Rule,
    /// The phase, where it is in one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub phase: Option<String>,
    /// The step, where it is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub step: Option<String>,
    /// What is wrong.
    pub what: String,
}

impl Violation {
    /// The rule that it breaks.
    pub fn rule(&self) -> Rule {
        self.rule
    }
}

/// How many claims were tried out.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Claims {
    /// Pairs of a step and a fault that it is said to show.
    pub made: usize,
    /// Those that were put into the machine and read.
    pub checked: usize,
    /// Those of them that did not hold.
    pub failed: usize,
}

/// What a plan says that it was made from.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct MadeFrom {
    /// Id of the definition.
    pub id: String,
    /// Its revision.
    pub revision: String,
    /// The variant that was applied.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub variant: Option<String>,
    /// SHA-256 of its files.
    pub hash: String,
}

/// How much was replayed.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Replayed {
    /// Phases.
    pub phases: usize,
    /// Changes.
    pub changes: usize,
    /// Steps.
    pub steps: usize,
}

/// What a check found.
#[derive(Debug, Clone, Default)]
pub struct Report {
    /// Every violation, in the order of the plan within each rule.
    pub violations: Vec<Violation>,
    /// The claims.
    pub claims: Claims,
    /// The definition that the plan names.
    pub made_from: MadeFrom,
    /// How much was replayed.
    pub replayed: Replayed,
    /// What was left unchecked, and why.
    pub remarks: Vec<String>,
}

impl Report {
    /// Whether nothing was found.
    pub fn is_kept(&self) -> bool {
        self.violations.is_empty()
    }

    /// What breaks a rule.
    pub fn of(&self, rule: Rule) -> impl Iterator<Item = &Violation> {
        self.violations.iter().filter(move |violation| violation.rule == rule)
    }
}
