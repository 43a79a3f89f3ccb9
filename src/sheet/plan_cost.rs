//! What a plan costs, in words: beside its bounds at the foot, and as progress at the head of every phase.

use super::plan_view::{ComparedView, CostView};
use crate::plan::{Phase, Plan};

/// Times that differ by less are told as one.
const SAME: f64 = 0.5;

/// The figures of a plan beside what no plan with the same readings can do without, and how far apart they are.
pub(super) fn bounds(cost: &CostView, aided: bool) -> Vec<String> {
    let mut lines = vec![steps(cost, aided)];
    lines.extend(cover(cost));
    lines.extend(switch_setups(cost));
    if cost.changes > 0 {
        lines.push(changes(cost));
    }
    lines.push(seconds(cost));
    lines.extend(cost.compared.map(|compared| others(&compared)));
    lines
}

fn steps(cost: &CostView, aided: bool) -> String {
    let CostView { steps, steps_bound, .. } = cost;
    if aided {
        let over = "with two probes and these aids, for these nets and pairs";
        return format!("{steps} readings; {over}, the fewest are {steps_bound}.");
    }
    let over = "with two probes read each net, pair and supply for itself";
    if steps == steps_bound {
        format!("{steps} readings {over}: no fewer do.")
    } else {
        format!("{steps} readings {over}; the fewest are {steps_bound}: {} more.", steps - steps_bound)
    }
}

/// What the readings are for that show nothing which others do not show too.
fn cover(cost: &CostView) -> Option<String> {
    let CostView { steps, cover, cover_bound, .. } = cost;
    let bound =
        if cover == cover_bound { String::new() } else { format!(", no fewer than {cover_bound} can do so") };
    (cover < steps).then(|| {
        format!("{cover} of them would show the same single faults{bound}; the others help to tell which.")
    })
}

fn switch_setups(cost: &CostView) -> Option<String> {
    let CostView { switch_setups: many, switch_setups_bound: fewest, .. } = cost;
    let alone = "close each switch contact so that it is read alone";
    match many {
        0 | 1 => None,
        _ if many == fewest => Some(format!("{many} setups {alone}: no fewer do.")),
        _ => Some(format!("{many} setups {alone}; fewer than {fewest} cannot.")),
    }
}

fn changes(cost: &CostView) -> String {
    let CostView { changes, changes_bound, .. } = cost;
    if changes == changes_bound {
        return format!("{changes} setup changes: no permitted order of these phases needs fewer.");
    }
    let more = changes.saturating_sub(*changes_bound);
    format!(
        "{changes} setup changes; no permitted order of these phases needs fewer than {changes_bound}: {more} more."
    )
}

fn seconds(cost: &CostView) -> String {
    let CostView { seconds, seconds_bound, .. } = cost;
    let over = "no permitted order of these phases and their stations takes less";
    if seconds - seconds_bound < SAME {
        return format!("About {}: {over}.", duration(*seconds));
    }
    let [bound, gap] = [*seconds_bound, seconds - seconds_bound].map(duration);
    let share = (100.0 * (seconds - seconds_bound) / seconds).ceil();
    format!("About {}; {over} than {bound}: a gap of {gap} ({share} %).", duration(*seconds))
}

/// Published counts for other ways of testing, where they apply.
fn others(compared: &ComparedView) -> String {
    let ComparedView { pairs, tied, tester } = compared;
    format!(
        "{pairs} of the readings are isolation, pair by pair. Each group of nets in turn against all that follow tied together \
         would be {tied} (n - 1); a tester with a point at every one of these contacts needs {tester} in all (p - 1 + \
         log2 q, Kautz 1974)."
    )
}

/// How far one has come when a run of phases begins, how long it takes, and what is left after it.
pub(super) fn pace(plan: &Plan, run: &[Phase]) -> Vec<String> {
    let [Some(first), Some(last)] = [run.first(), run.last()] else { return Vec::new() };
    let sum = |of: &dyn Fn(&&Phase) -> bool| -> f64 {
        plan.phases.iter().filter(of).map(|other| other.seconds.get()).sum()
    };
    if plan.phases.len() == run.len() {
        return Vec::new();
    }
    let so_far = sum(&|other| other.id < first.id);
    let left = sum(&|other| other.id > last.id);
    let here = sum(&|other| (first.id..=last.id).contains(&other.id));
    let words = [("so far", so_far), ("here", here), ("left after it", left)];
    let words = words.iter().filter(|(_, seconds)| *seconds > 0.0);
    let words: Vec<String> = words.map(|(what, seconds)| format!("{} {what}", duration(*seconds))).collect();
    vec![format!("Time: {}.", words.join(", "))]
}

/// Whole minutes, and hours where there are some.
pub(super) fn duration(seconds: f64) -> String {
    let minutes = (seconds / 60.0).round();
    let hours = (minutes / 60.0).floor();
    match minutes {
        _ if hours > 0.0 => format!("{hours} h {} min", minutes - 60.0 * hours),
        _ if minutes < 1.0 => "under 1 min".to_owned(),
        _ => format!("{minutes} min"),
    }
}
