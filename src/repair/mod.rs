//! A repair as an edit of the definition, with evidence.
//!
//! Comes in: a definition with the texts it was read from, what was done to the machine, and the record of readings
//! that led there. Goes out: the texts of the next revision, in which everything but the repair is as it was typed; what
//! the repair is judged to break of the usual rules for splices; and the entry of a log that says what was found, by
//! which readings, and what was done. Why: a harness that was mended and whose drawing was not is a trap for the next
//! person; and a repair that nobody can trace has to be taken on trust.
//!
//! - [`work`](Work): the kinds of repair, and what each touches.
//! - [`edit`](apply): the repair as patches of the text; the files that change with it.
//! - [`audit`](RULES): rules for splices, each with its source.
//! - [`log`]: entries of the log, evidence from a record.
//! - [`revision`]: the next letter or number.
//!
//! A file that is used by the top file is never changed: its new text is a new file, and the top file of the new
//! revision names that. So one file, the top one, switches a machine from one revision to the next in one step,
//! and the old revision stays whole. Writing is the caller's business.

mod audit;
mod edit;
pub mod log;
mod possible;
pub mod revision;
mod work;

pub use audit::{Finding, RULES, Rule, STAGGER, TERMINATION};
pub use edit::{Changed, Edited, apply, base_name, new_name};
pub use possible::RepairError;
pub use work::{NewWire, TouchedNames, Work};

/// What holds for every repair; each sentence is usual in the trade (from memory).
pub const CAUTIONS: [&str; 4] = [
    "Power isolated and locked before anything is cut, crimped or drawn: battery negative off first, back on last.",
    "The marker or colour of a wire is a claim: prove it with the meter before it is cut.",
    "Crimp with the tool and the die that belong to the contact or splice, and tug every one of them.",
    "No hot splicing and no test current near fuel vapour, in tanks or bilges, before they are proven free of gas.",
];
