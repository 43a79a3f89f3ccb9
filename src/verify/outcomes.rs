//! Plans in which the next step hangs on what the last one showed: the tree leads on, and nothing is lost in it.
//!
//! Comes in: a replay. Goes out: outcomes that lead nowhere, back, or to another setup than the step that they name;
//! faults that fall out on the way; figures that do not add up. Why: the list of steps is only one way through such
//! a plan, and whoever follows another must arrive with the machine as the step takes it to be.

use std::collections::{BTreeMap, BTreeSet};

use super::json::{Complaint, Outcome};
use super::replay::{Jump, Replay};
use super::report::{Report, Rule};

/// What a reading can show.
const SHOWS: [&str; 4] = ["lower", "good", "higher", "open"];
/// Shares are printed to three digits, and so may not quite be one together.
const SHARES: f64 = 0.01;
/// An expected number of readings is worked out from such shares, one after the other.
const READINGS: f64 = 0.02;

/// The scene of a step, and its place there.
type Place = [usize; 2];

/// Faults by their ids.
type Ids<'r> = BTreeSet<&'r str>;

/// Follows what every step can show.
pub(super) fn outcomes(replay: &Replay<'_>, report: &mut Report) {
    let Some(complaint) = &replay.plan.json.complaint else {
        for jump in replay.jumps.iter().filter(|jump| jump.outcome == 0) {
            let what = "it has outcomes, and the plan is for no complaint".to_owned();
            report.step(Rule::Outcomes, replay, jump.from, what);
        }
        return;
    };
    let mut tree = Tree::new(replay, complaint);
    tree.hypotheses(report);
    tree.ends(report);
    for at in tree.steps.clone() {
        tree.step(at, report);
    }
    tree.reached(report);
    tree.effort(report);
}

struct Tree<'r> {
    replay: &'r Replay<'r>,
    complaint: &'r Complaint,
    /// Every step in the order of the plan.
    steps: Vec<Place>,
    by_id: BTreeMap<&'r str, Place>,
    hypotheses: Ids<'r>,
    /// What is accused when one comes to a step: there is one way to each, or the plan is no tree.
    standing: BTreeMap<Place, Ids<'r>>,
    /// Ends that an outcome leads to.
    ended: BTreeSet<usize>,
}

impl<'r> Tree<'r> {
    fn new(replay: &'r Replay<'r>, complaint: &'r Complaint) -> Self {
        let counted = replay.scenes.iter().map(|scene| scene.phase.steps.len()).enumerate();
        let steps: Vec<Place> = counted.flat_map(|(at, count)| (0..count).map(move |n| [at, n])).collect();
        let by_id = steps.iter().map(|at| (replay.step_id(at[0], at[1]), *at)).collect();
        let hypotheses: Ids<'_> = complaint.hypotheses.iter().map(|h| h.fault.as_str()).collect();
        let standing = steps.first().map(|first| (*first, hypotheses.clone())).into_iter().collect();
        Self { replay, complaint, steps, by_id, hypotheses, standing, ended: BTreeSet::new() }
    }

    fn outcomes(&self, [scene, step]: Place) -> &'r [Outcome] {
        &self.replay.plan.json.phases[scene].steps[step].outcomes
    }

    /// What the plan is about, and what it says to show of it.
    fn hypotheses(&self, report: &mut Report) {
        let (all, coverage) = (&self.complaint.hypotheses, &self.replay.plan.json.coverage);
        let mut note = |rule: Rule, what: String| report.plan(rule, what);
        if self.hypotheses.len() < all.len() {
            note(Rule::Outcomes, "a hypothesis comes more than once".to_owned());
        }
        let shares: f64 = all.iter().map(|hypothesis| hypothesis.share).sum();
        if !all.is_empty() && !is_one(shares) {
            note(Rule::Outcomes, format!("the shares of the hypotheses are {shares:.3} together"));
        }
        if coverage.faults != all.len() {
            let what =
                format!("{} faults are asked about, and {} hypotheses stand", coverage.faults, all.len());
            note(Rule::Coverage, what);
        }
        let covered: Ids<'_> = self.steps.iter().flat_map(|at| self.covers(*at)).collect();
        let missed: Ids<'_> = coverage.undetected.iter().map(|missed| missed.fault.as_str()).collect();
        for fault in self.hypotheses.iter().filter(|id| !covered.contains(*id) && !missed.contains(*id)) {
            note(Rule::Coverage, format!("{fault} is a hypothesis, neither covered nor undetected"));
        }
        for fault in missed.difference(&self.hypotheses) {
            note(Rule::Coverage, format!("{fault} counts as undetected, and is no hypothesis"));
        }
    }

    fn covers(&self, [scene, step]: Place) -> impl Iterator<Item = &'r str> + use<'r> {
        self.replay.plan.json.phases[scene].steps[step].covers.iter().map(String::as_str)
    }

    fn ends(&self, report: &mut Report) {
        let ends = &self.complaint.ends;
        let mut note = |what: String| report.plan(Rule::Outcomes, what);
        let shares: f64 = ends.iter().map(|end| end.share).sum();
        if !ends.is_empty() && !is_one(shares) {
            note(format!("the shares of the ends are {shares:.3} together"));
        }
        for (at, end) in ends.iter().enumerate() {
            let number = end.number;
            if number != at + 1 {
                note(format!("end {number} stands in the place of end {}", at + 1));
            }
            if end.todo.iter().all(|deed| deed.trim().is_empty()) {
                note(format!("nothing says what to do at end {number}"));
            }
            for fault in end.faults.iter().filter(|id| !self.hypotheses.contains(id.as_str())) {
                note(format!("{fault} is found at end {number}, and is no hypothesis"));
            }
        }
    }

    /// What a step claims and what its outcomes say.
    fn step(&mut self, at: Place, report: &mut Report) {
        let replay = self.replay;
        for fault in self.covers(at).filter(|id| !self.hypotheses.contains(id)) {
            let what = format!("{fault} is claimed, and is no hypothesis");
            report.step(Rule::Coverage, replay, at, what);
        }
        let outcomes = self.outcomes(at);
        let mut note = |what: String| report.step(Rule::Outcomes, replay, at, what);
        if outcomes.is_empty() {
            note("nothing says what to do with what it shows".to_owned());
            return;
        }
        let shares: f64 = outcomes.iter().map(|outcome| outcome.share).sum();
        if !is_one(shares) {
            note(format!("the shares of its outcomes are {shares:.3} together"));
        }
        let mut seen: BTreeSet<&str> = BTreeSet::new();
        for outcome in outcomes {
            let shows = outcome.shows.as_str();
            if !SHOWS.contains(&shows) {
                note(format!("`{shows}` is nothing that a meter shows: {}", SHOWS.join(", ")));
            } else if !seen.insert(shows) {
                note(format!("two outcomes are `{shows}`"));
            }
        }
        let before = self.standing.get(&at).cloned().unwrap_or_default();
        let after: Ids<'_> = outcomes.iter().flat_map(|o| &o.accuses).map(String::as_str).collect();
        for fault in before.difference(&after) {
            note(format!("{fault} is accused before it, and by none of its outcomes"));
        }
        for fault in after.difference(&before) {
            note(format!("{fault} is accused by an outcome, and was not before it"));
        }
        for jump in replay.jumps.iter().filter(|jump| jump.from == at) {
            self.jump(jump, report);
        }
    }

    /// Where an outcome leads.
    fn jump(&mut self, jump: &Jump<'_>, report: &mut Report) {
        let replay = self.replay;
        let outcome = &self.outcomes(jump.from)[jump.outcome];
        let shows = &outcome.shows;
        let mut note =
            |what: String| report.step(Rule::Outcomes, replay, jump.from, format!("{shows}: {what}"));
        let accused: Ids<'_> = outcome.accuses.iter().map(String::as_str).collect();
        match (&outcome.next, outcome.end) {
            (Some(next), None) => match self.by_id.get(next.as_str()).copied() {
                None => note(format!("it leads to step {next}, and there is none")),
                Some(to) if to <= jump.from => note(format!("it leads back to step {next}")),
                Some(to) => {
                    if jump.after != replay.scenes[to[0]].after {
                        note(format!("its changes do not lead to the setup of step {next}"));
                    }
                    if self.standing.insert(to, accused).is_some() {
                        note(format!("another outcome leads to step {next} as well"));
                    }
                }
            },
            (None, Some(number)) => match number.checked_sub(1).and_then(|at| self.complaint.ends.get(at)) {
                None => note(format!("it leads to end {number}, and there is none")),
                Some(end) => {
                    self.ended.insert(number);
                    let left: Ids<'_> = end.faults.iter().map(String::as_str).collect();
                    if left != accused {
                        note(format!("what it accuses is not what end {number} names"));
                    }
                }
            },
            (None, None) => note("it leads nowhere".to_owned()),
            (Some(_), Some(_)) => note("it leads to a step and to an end".to_owned()),
        }
    }

    /// Every step and every end is led to.
    fn reached(&self, report: &mut Report) {
        for at in self.steps.iter().filter(|at| !self.standing.contains_key(*at)) {
            let what = "no outcome leads to it".to_owned();
            report.step(Rule::Outcomes, self.replay, *at, what);
        }
        let numbers = 1..=self.complaint.ends.len();
        for number in numbers.filter(|number| !self.steps.is_empty() && !self.ended.contains(number)) {
            report.plan(Rule::Outcomes, format!("no outcome leads to end {number}"));
        }
    }

    /// How many readings it takes to an end: expected, and at most.
    fn effort(&self, report: &mut Report) {
        let mut from: BTreeMap<Place, [f64; 2]> = BTreeMap::new();
        for at in self.steps.iter().rev() {
            let mut sums = [0.0, 0.0_f64];
            for outcome in self.outcomes(*at) {
                let next = outcome.next.as_ref().and_then(|next| self.by_id.get(next.as_str()));
                let [mean, most] = next.and_then(|next| from.get(next)).copied().unwrap_or_default();
                sums = [sums[0] + outcome.share * mean, sums[1].max(most)];
            }
            from.insert(*at, sums.map(|readings| readings + 1.0));
        }
        let [mean, most] = self.steps.first().and_then(|first| from.get(first)).copied().unwrap_or_default();
        let said = &self.complaint.effort;
        let mut note = |what: String| report.plan(Rule::Totals, what);
        if (said.most_readings - most).abs() > 0.5 {
            note(format!("it counts {} readings on the longest way, which has {most}", said.most_readings));
        }
        if (said.readings - mean).abs() > READINGS * mean.max(1.0) {
            note(format!("it expects {} readings; its shares make {mean:.2}", said.readings));
        }
    }
}

fn is_one(shares: f64) -> bool {
    (shares - 1.0).abs() <= SHARES
}
