//! An independent check of a plan: replayed against the rules of safety and against its own claims.
//!
//! Comes in: a definition and the JSON of a plan, by whatever means it was made. Goes out: a report that says of
//! every rule whether it is kept, and if not, where and how. Why: whoever signs a plan wants a second opinion
//! that does not come out of the same arithmetic; and a plan may have been edited by hand.
//!
//! What it shares with the planner: the typed definition, the names in it, units, the range in which a copper
//! wire lies, and the table of healthy joints. What it does not: states and actions (`state`), branches of the
//! machine (`machine`), the solver (`mesh`, star to mesh where the planner factors a matrix), what switches
//! (`settle`), what a fault changes (`fault`), meters (`meter`) and every rule. Assumptions that the two have
//! in common (a bad joint adds 2 ohm at least, a fuse blows at twice its rating) are written down twice, each
//! time with where they come from.
//!
//! The way: `json` reads text, `read` resolves names, `replay` follows the changes, `rules`, `straps` and `cautions`
//! judge what a person does, `claims` what readings show, `outcomes` where they lead in a plan whose next step hangs
//! on the last reading, `totals` the plan's own figures.
//!
//! Cost: near-linear in the machine for every phase, and some tens of nodes for each claim.

mod cautions;
mod claims;
mod fault;
mod json;
mod machine;
mod mesh;
mod meter;
mod net;
mod outcomes;
mod read;
mod replay;
mod report;
mod rules;
mod settle;
mod state;
mod straps;
mod totals;

pub use report::{Claims, MadeFrom, Replayed, Report, Rule, Violation};

use crate::definition::Harness;

/// Why a text is no plan of this machine.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{place}: {what}: {help}")]
pub struct NotAPlan {
    /// Where: line and column, or phase or step.
    pub place: String,
    /// What is wrong.
    pub what: String,
    /// What to write instead.
    pub help: String,
}

/// So many faults are put into the machine in one check at most, each in every phase that claims it: a plan of
/// ten thousand wires, in some tens of seconds.
const MOST: usize = 100_000;

/// Checks a plan against a machine.
///
/// # Errors
/// The text is no plan of this machine: a key is missing, of the wrong type, or a name names nothing.
pub fn check(harness: &Harness, text: &str) -> Result<Report, NotAPlan> {
    check_some(harness, text, MOST)
}

/// The same with so many faults tried out at most: where there are more, one in so many is, and the report
/// says so.
///
/// # Errors
/// As [`check`].
pub fn check_some(harness: &Harness, text: &str, most: usize) -> Result<Report, NotAPlan> {
    let plan = read::Plan::read(harness, text)?;
    let scenes = replay::scenes(harness, &plan);
    let jumps = replay::jumps(harness, &plan, &scenes);
    let replayed = replay::Replay::new(harness, &plan, &scenes, &jumps);
    let mut report = replayed.report();
    for rule in rules::ALL {
        rule(&replayed, &mut report);
    }
    cautions::cautions(&replayed, &mut report);
    straps::straps(&replayed, &mut report);
    claims::claims(&replayed, most, &mut report);
    totals::coverage(&replayed, &mut report);
    outcomes::outcomes(&replayed, &mut report);
    totals::totals(&replayed, &mut report);
    totals::silence(&replayed, &mut report);
    report.violations.sort_by_key(|violation| violation.rule);
    Ok(report)
}
