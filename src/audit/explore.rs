//! Which setups are worth solving: rest, few moves of switches at a time, as much at once as may be, and
//! each condition in those setups that make something work for the first time.

use super::solver::Solver;
use crate::circuit::Singular;
use crate::definition::{ConditionId, Harness};
use crate::setup::{Connected, Move, Setup, combinations, moves};

/// The most setups that are solved for one machine.
pub const MOST_SETUPS: usize = 400;

/// The fewest, however large the machine.
const FEWEST_SETUPS: usize = 16;

/// The links that may be solved in all, each counted once for every setup: about half a second on one core.
pub const WORK: usize = 300_000;

/// Machines with more links than this are audited on request only.
pub const MOST_LINKS: usize = 20_000;

/// The most switches that are moved together before the search for what more may be switched on.
const TOGETHER: usize = 3;

/// How many setups a machine of so many links is looked at in.
pub(super) fn budget(links: usize) -> usize {
    (WORK / links.max(1)).clamp(FEWEST_SETUPS, MOST_SETUPS)
}

/// Solves the setups worth looking at.
///
/// Half of the budget goes to combinations by their number of moves; a quarter to growing those in which
/// something works for the first time, as long as more works and nothing is lost; the rest to conditions.
pub(super) fn explore(harness: &Harness, solver: &mut Solver<'_>) -> Result<(), Singular> {
    let budget = solver.budget;
    let mut first: Vec<Vec<Move>> = Vec::new();
    let mut worked = vec![false; solver.consumers.len()];
    for chosen in combinations(harness, TOGETHER, (budget / 2).max(1)) {
        let Some(works) = solver.solve(setup(harness, &chosen, None))? else { continue };
        let fresh = works.iter().zip(&worked).any(|(works, worked)| *works && !worked);
        worked.iter_mut().zip(&works).for_each(|(worked, works)| *worked |= works);
        if fresh {
            first.push(chosen);
        }
    }
    let mut notable = Vec::new();
    for chosen in first.into_iter().rev() {
        let full = grow(harness, solver, chosen.clone(), budget * 3 / 4)?;
        notable.extend([chosen, full]);
    }
    notable.sort();
    notable.dedup();
    for (condition, _) in harness.conditions.iter() {
        for chosen in &notable {
            if solver.solved() >= budget {
                return Ok(());
            }
            solver.solve(setup(harness, chosen, Some(condition)))?;
        }
    }
    Ok(())
}

/// Adds moves as long as more works and nothing is lost.
fn grow(
    harness: &Harness,
    solver: &mut Solver<'_>,
    start: Vec<Move>,
    most: usize,
) -> Result<Vec<Move>, Singular> {
    let mut chosen = start;
    let Some(mut works) = solver.solve(setup(harness, &chosen, None))? else { return Ok(chosen) };
    for step in moves(harness) {
        if solver.solved() >= most {
            break;
        }
        if chosen.iter().any(|(switch, _)| *switch == step.0) {
            continue;
        }
        let mut more = chosen.clone();
        more.push(step);
        let Some(with) = solver.solve(setup(harness, &more, None))? else { continue };
        let kept = works.iter().zip(&with).all(|(before, after)| !before || *after);
        if kept && with != works {
            (chosen, works) = (more, with);
        }
    }
    Ok(chosen)
}

fn setup(harness: &Harness, chosen: &[Move], condition: Option<ConditionId>) -> Setup {
    let at = chosen.iter().fold(Connected::as_found(), |s, (switch, at)| s.set(harness, *switch, *at));
    match condition {
        Some(condition) => at.bring(condition).into(),
        None => at.into(),
    }
}
