//! A study as tables and JSON.

use serde::Serialize;

use super::plan_view::round;
use super::{Section, Sheet, Stamp};
use crate::definition::Harness;
use crate::study::{Cost, End, FEW, Few, Others, Run, Study};
use crate::units::significant;

/// A study for programs.
#[derive(Debug, Clone, Serialize)]
pub struct StudyView {
    /// The definition.
    pub harness: Stamp,
    /// Where the stream of chance began.
    pub seed: u64,
    /// Runs from a first bad reading to the end.
    pub runs: usize,
    /// Draws of a fault that no start shows.
    pub unseen: usize,
    /// Readings after the first bad one.
    pub readings: SpreadView,
    /// Minutes after the first bad reading.
    pub minutes: SpreadView,
    /// How often a run ended how.
    pub ends: Vec<EndShareView>,
    /// The same problems by other ways.
    pub ways: Vec<WayView>,
    /// What was asked of it.
    pub goals: Vec<GoalView>,
}

/// A mean and how far it spreads.
#[derive(Debug, Clone, Serialize)]
pub struct SpreadView {
    /// The mean.
    pub mean: f64,
    /// What 95 % of the runs do not exceed.
    pub p95: f64,
    /// The most.
    pub most: f64,
}

/// How often a run ended so.
#[derive(Debug, Clone, Serialize)]
pub struct EndShareView {
    /// How.
    pub end: End,
    /// Its share of the runs, by weight.
    pub share: f64,
    /// The faults of these runs, where it is an end that ought not to be.
    pub faults: Vec<String>,
}

/// A way through the problems.
#[derive(Debug, Clone, Serialize)]
pub struct WayView {
    /// Which.
    pub way: &'static str,
    /// Runs that it is counted over.
    pub runs: usize,
    /// Its mean number of readings.
    pub readings: f64,
    /// Its mean time in minutes; null where the way has none.
    pub minutes: Option<f64>,
    /// The mean readings of the advice over the same runs.
    pub ours: f64,
    /// The mean minutes of the advice over the same runs.
    pub our_minutes: f64,
}

/// Something that was asked of the advice.
#[derive(Debug, Clone, Serialize)]
pub struct GoalView {
    /// What.
    pub goal: &'static str,
    /// The figure.
    pub ratio: Option<f64>,
    /// What it may be at most.
    pub most: f64,
    /// Whether it is; null where no run tells.
    pub kept: Option<bool>,
}

/// A study as JSON view and sheet.
pub fn study(harness: &Harness, study: &Study) -> (StudyView, Sheet) {
    let runs = &study.runs;
    let view = StudyView {
        harness: Stamp::of(harness),
        seed: study.seed,
        runs: runs.len(),
        unseen: study.unseen,
        readings: spread(runs, |run| run.cost.readings),
        minutes: spread(runs, |run| run.cost.seconds / 60.0),
        ends: ends(harness, runs),
        ways: ways(runs),
        goals: goals(runs),
    };
    let sheet = sheet(&view);
    (view, sheet)
}

/// A mean over the runs that have the figure, by weight.
fn mean(runs: &[Run], of: impl Fn(&Run) -> Option<f64>) -> Option<f64> {
    let (mut sum, mut all) = (0.0, 0.0);
    for run in runs {
        if let Some(value) = of(run) {
            sum += run.weight * value;
            all += run.weight;
        }
    }
    (all > 0.0).then(|| sum / all)
}

fn spread(runs: &[Run], of: fn(&Run) -> f64) -> SpreadView {
    let mut all: Vec<(f64, f64)> = runs.iter().map(|run| (of(run), run.weight)).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = all.iter().map(|(_, weight)| weight).sum();
    let mut so_far = 0.0;
    let p95 = all.iter().find(|(_, weight)| {
        so_far += weight;
        so_far >= 0.95 * total
    });
    SpreadView {
        mean: round(mean(runs, |run| Some(of(run))).unwrap_or_default()),
        p95: round(p95.map_or(0.0, |(value, _)| *value)),
        most: round(all.last().map_or(0.0, |(value, _)| *value)),
    }
}

fn ends(harness: &Harness, runs: &[Run]) -> Vec<EndShareView> {
    let share = |end: End| EndShareView {
        end,
        share: round(mean(runs, |run| Some(f64::from(u8::from(run.end == end)))).unwrap_or_default()),
        faults: if end <= End::First {
            Vec::new()
        } else {
            runs.iter().filter(|run| run.end == end).map(|run| run.fault.id(harness)).collect()
        },
    };
    End::ALL.into_iter().map(share).collect()
}

fn ways(runs: &[Run]) -> Vec<WayView> {
    type Of = fn(&Run) -> Option<[Option<f64>; 4]>;
    // The way's readings and seconds, and ours over the same runs.
    let rows: [(&'static str, Of); 7] = [
        ("the advice, as predicted", |run| {
            let cost = run.others?.advised;
            Some([Some(cost.readings), Some(cost.seconds), Some(run.cost.readings), Some(run.cost.seconds)])
        }),
        ("contact by contact", |run| {
            let cost = run.others?.linear;
            Some([Some(cost.readings), Some(cost.seconds), Some(run.cost.readings), Some(run.cost.seconds)])
        }),
        ("half the suspects each time", |run| {
            let cost = run.others?.half_split;
            Some([Some(cost.readings), Some(cost.seconds), Some(run.cost.readings), Some(run.cost.seconds)])
        }),
        ("entropy, readings of two outcomes", |run| {
            Some([Some(run.others?.bits), None, Some(run.cost.readings), Some(run.cost.seconds)])
        }),
        ("entropy, readings of most outcomes", |run| {
            Some([Some(run.others?.entropy), None, Some(run.cost.readings), Some(run.cost.seconds)])
        }),
        ("the advice, from 14 groups down", |run| {
            let few = run.few?;
            let [ours, theirs] = [few.taken, few.advised];
            Some([Some(theirs.readings), Some(theirs.seconds), Some(ours.readings), Some(ours.seconds)])
        }),
        ("best tree, from 14 groups down", |run| {
            let few = run.few?;
            Some([Some(few.readings), Some(few.seconds), Some(few.taken.readings), Some(few.taken.seconds)])
        }),
    ];
    let row = |(way, of): (&'static str, Of)| {
        let at = |at: usize| mean(runs, |run| of(run)?[at]);
        Some(WayView {
            way,
            runs: runs.iter().filter(|run| of(run).is_some()).count(),
            readings: round(at(0)?),
            minutes: at(1).map(|seconds| round(seconds / 60.0)),
            ours: round(at(2)?),
            our_minutes: round(at(3)? / 60.0),
        })
    };
    rows.into_iter().filter_map(row).collect()
}

fn goals(runs: &[Run]) -> Vec<GoalView> {
    let ratio = |ours: Option<f64>, least: Option<f64>| {
        ours.zip(least).filter(|(_, least)| *least > 0.0).map(|(a, b)| a / b)
    };
    let weighed = |few: &Few, cost: Cost| cost.seconds + cost.readings * few.thought;
    let best = |of: fn(&Few) -> Cost| {
        ratio(
            mean(runs, |run| run.few.map(|few| weighed(&few, of(&few)))),
            mean(runs, |run| run.few.map(|few| few.weighed)),
        )
    };
    let many = |run: &Run| run.others.filter(|_| run.groups > FEW);
    let entropy = |ours: fn(&Run, &Others) -> f64, least: fn(&Others) -> f64| {
        ratio(
            mean(runs, |run| many(run).map(|others| ours(run, &others))),
            mean(runs, |run| many(run).map(|others| least(&others))),
        )
    };
    let goal = |goal, ratio: Option<f64>, most: f64| GoalView {
        goal,
        ratio: ratio.map(round),
        most,
        kept: ratio.map(|ratio| ratio <= most),
    };
    vec![
        goal("cost by the best tree's, up to 14 groups", best(|few| few.advised), 1.10),
        goal("the same, as it was taken", best(|few| few.taken), 1.10),
        goal("readings by the entropy in bits", entropy(|_, o| o.advised.readings, |o| o.bits), 1.35),
        goal("the same, as they were taken", entropy(|run, _| run.cost.readings, |o| o.bits), 1.35),
        goal("taken by the bound of most outcomes", entropy(|run, _| run.cost.readings, |o| o.entropy), 1.35),
    ]
}

fn sheet(view: &StudyView) -> Sheet {
    let two = |value: f64| significant(value, 3);
    let spread = |what: &str, s: &SpreadView| vec![what.to_owned(), two(s.mean), two(s.p95), two(s.most)];
    let took = Section {
        title: format!("{} runs, seed {}", view.runs, view.seed),
        lines: vec![format!(
            "Each from a first bad reading to the end of the advice, on a machine with tolerances of its own. {} more draws \
             showed nothing bad anywhere.",
            view.unseen
        )],
        columns: vec!["after the first bad reading", "mean", "95 % within", "most"],
        rows: vec![spread("readings", &view.readings), spread("minutes", &view.minutes)],
        ..Section::default()
    };
    let words = |end: End| match end {
        End::Located => "located, and rightly",
        End::First => "nothing more to read, fault in the first group",
        End::Listed => "nothing more to read, fault in another group",
        End::Wrong => "located, and wrongly",
        End::Lost => "fault in no group",
        End::Endless => "no end",
    };
    let ended = view.ends.iter().map(|end| {
        vec![
            words(end.end).to_owned(),
            format!("{} %", significant(end.share * 100.0, 3)),
            end.faults.join(", "),
        ]
    });
    let ended = Section {
        title: "How they ended".to_owned(),
        columns: vec!["end", "share", "faults"],
        rows: ended.collect(),
        ..Section::default()
    };
    let way = |way: &WayView| {
        vec![
            way.way.to_owned(),
            way.runs.to_string(),
            two(way.readings),
            way.minutes.map(two).unwrap_or_default(),
            two(way.ours),
            two(way.our_minutes),
        ]
    };
    let compared = Section {
        title: "The same problems by other ways".to_owned(),
        columns: vec!["way", "runs", "readings", "minutes", "ours", "our min"],
        rows: view.ways.iter().map(way).collect(),
        notes: vec![
            "Other ways are reckoned from the predicted outcomes; ours is what the runs took, noise and proofs against units \
             included."
                .to_owned(),
        ],
        ..Section::default()
    };
    let goal = |goal: &GoalView| {
        let kept = match goal.kept {
            Some(true) => "kept",
            Some(false) => "NOT KEPT",
            None => "no run tells",
        };
        vec![goal.goal.to_owned(), goal.ratio.map(two).unwrap_or_default(), two(goal.most), kept.to_owned()]
    };
    let goals = Section {
        title: "What is asked of the advice".to_owned(),
        columns: vec!["ratio", "found", "at most", ""],
        rows: view.goals.iter().map(goal).collect(),
        ..Section::default()
    };
    Sheet { sections: vec![took, ended, compared, goals], ..Sheet::of("Study", &view.harness) }
}
