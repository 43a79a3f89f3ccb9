//! Which positions of the switches are worth looking at.
//!
//! A machine with a dozen switches has thousands of combinations; few moves from rest at a time make
//! almost everything live at least once, so combinations are listed by their number of moves, up to a
//! number that the caller can afford.

use super::switches;
use crate::definition::{Harness, PartId};

/// A switch and the position it is put into.
pub type Move = (PartId, usize);

/// Every single move of a switch away from rest.
pub fn moves(harness: &Harness) -> Vec<Move> {
    let away = |(switch, positions, rest): (PartId, usize, usize)| {
        (0..positions).filter(move |position| *position != rest).map(move |position| (switch, position))
    };
    switches(harness).flat_map(away).collect()
}

/// Moves of switches: none, then one, then two and so on up to `together` at a time; `most` in all.
pub fn combinations(harness: &Harness, together: usize, most: usize) -> Vec<Vec<Move>> {
    let moves = moves(harness);
    let mut all = vec![Vec::new()];
    let mut last: Vec<(usize, Vec<Move>)> = vec![(0, Vec::new())];
    for _ in 0..together {
        let mut next = Vec::new();
        let room = most.saturating_sub(all.len());
        for (from, chosen) in &last {
            for (at, step) in moves.iter().enumerate().skip(*from) {
                if chosen.iter().all(|(switch, _)| *switch != step.0) {
                    next.push((at + 1, chosen.iter().copied().chain([*step]).collect()));
                }
            }
            if next.len() >= room {
                break;
            }
        }
        all.extend(next.iter().take(room).map(|(_, chosen): &(usize, Vec<Move>)| chosen.clone()));
        last = next;
        if all.len() >= most {
            break;
        }
    }
    all
}
