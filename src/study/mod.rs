//! How well the advice does: faults are put into made machines, and the advice is followed to the end.
//!
//! Comes in: a harness, a seed, and how many runs. Goes out: readings and minutes that it took, how often the answer was
//! right, and the same for other ways through the same problems. Why: that a way is good can be measured, and a definition
//! whose faults are hard to find shows it here before it is built.
//!
//! A run draws a fault by its weight, builds a machine with tolerances of its own (`bench`), and begins as a person does:
//! with a load or relay that does not get its voltage, or gets one where it should not; where there is none, with the plan's first
//! bad reading. From there it takes the reading that `locate` proposes until there is none. Nothing is counted of how the
//! first bad reading was found.
//!
//! Cost: some ten answers of `locate` and as many readings for each run.

mod bench;
mod chance;
mod compare;
mod start;

pub use chance::Chance;
pub use compare::{Cost, advised, entropy, entropy_bound, half_split, linear};

use bench::Bench;
use start::Starts;

use crate::circuit::Unsettled;
use crate::definition::Harness;
use crate::definition::diagnostic::{Place, Sources};
use crate::fault::{Fault, Universe};
use crate::locate::policy::Choice;
use crate::locate::{self, Diagnosis, Evidence, Group, Verdict, Wishes};
use crate::measure::{Measurement, Meter, Reading};
use crate::netlist::Netlist;
use crate::record::Entry;

/// More readings than this, and the advice leads nowhere ([`End::Endless`] names the figure).
const MOST: usize = 40;
/// The optimum is sought up to so many groups of suspects.
pub const FEW: usize = 14;

/// Which faults are tried.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Draw {
    /// So many, each drawn by its weight.
    Weighted(usize),
    /// Every one once, counted by its weight.
    All,
}

/// How a run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum End {
    /// Located, and the fault is in the group.
    Located,
    /// Nothing more to read; the fault is in the first group.
    First,
    /// Nothing more to read; the fault is in another group.
    Listed,
    /// Located, and the fault is not in the group.
    Wrong,
    /// The fault is in no group.
    Lost,
    /// No end after 40 readings.
    Endless,
}

impl End {
    /// All, the best first.
    pub const ALL: [Self; 6] =
        [Self::Located, Self::First, Self::Listed, Self::Wrong, Self::Lost, Self::Endless];
}

/// One run.
#[derive(Debug, Clone)]
pub struct Run {
    /// The fault.
    pub fault: Fault,
    /// How much it counts.
    pub weight: f64,
    /// How it ended.
    pub end: End,
    /// What it took from the first bad reading on.
    pub cost: Cost,
    /// Groups of suspects after the first bad reading.
    pub groups: usize,
    /// What other ways would be expected to take from there, where there is more than one group.
    pub others: Option<Others>,
    /// From where no more than [`FEW`] groups were left: what it took, and the least that can be expected.
    pub few: Option<Few>,
}

/// Other ways from the first bad reading on.
#[derive(Debug, Clone, Copy)]
pub struct Others {
    /// As advised, were every reading to come out as predicted.
    pub advised: Cost,
    /// Contact by contact.
    pub linear: Cost,
    /// Halving the suspects.
    pub half_split: Cost,
    /// The bound in readings, were each of as many outcomes as the one that has most.
    pub entropy: f64,
    /// The entropy of the groups in bits: the bound in readings of two outcomes.
    pub bits: f64,
}

/// From where few groups are left.
#[derive(Debug, Clone, Copy)]
pub struct Few {
    /// What the run took from there.
    pub taken: Cost,
    /// The fewest readings to be expected of any tree.
    pub readings: f64,
    /// The least seconds to be expected of any tree.
    pub seconds: f64,
    /// The same with what the policy adds for every reading.
    pub weighed: f64,
    /// What the advice is to be expected to take from there.
    pub advised: Cost,
    /// What the policy adds.
    pub thought: f64,
}

/// What came of it.
#[derive(Debug, Clone)]
pub struct Study {
    /// Where the stream of chance begins.
    pub seed: u64,
    /// The runs.
    pub runs: Vec<Run>,
    /// Draws of a fault that no start shows.
    pub unseen: usize,
}

/// Studies a machine.
///
/// # Errors
/// The parts that keep switching, if the healthy machine never settles.
pub fn study(harness: &Harness, netlist: &Netlist, draw: Draw, seed: u64) -> Result<Study, Unsettled> {
    let universe = Universe::new(harness, netlist);
    let meter = Meter::HANDHELD;
    let starts = Starts::new(harness, netlist, &meter)?;
    let mut chance = Chance::new(seed);
    let mut study = Study { seed, runs: Vec::new(), unseen: 0 };
    for (fault, weight) in draws(&universe, draw, &mut chance) {
        let mut own = Chance::new(chance.bits());
        let from = own.below(starts.complaints.len().max(1));
        let bench = Bench::new(harness, netlist, &universe, fault, meter, own);
        let mut trial = Trial { harness, netlist, meter, bench, entries: Vec::new() };
        match trial.begin(&starts, from) {
            Some(()) => study.runs.push(trial.follow(fault, weight)?),
            None => study.unseen += 1,
        }
    }
    Ok(study)
}

/// The faults to try, each with what it counts.
fn draws(universe: &Universe, draw: Draw, chance: &mut Chance) -> Vec<(Fault, f64)> {
    let all: Vec<(Fault, f64)> = universe.iter().filter(|(_, weight)| *weight > 0.0).collect();
    let Draw::Weighted(count) = draw else { return all };
    let total: f64 = all.iter().map(|(_, weight)| weight).sum();
    let one = |mut at: f64| {
        let found = all.iter().find(|(_, weight)| {
            at -= weight;
            at < 0.0
        });
        found.or(all.last()).map(|(fault, _)| (*fault, 1.0))
    };
    (0..count).filter_map(|_| one(chance.unit() * total)).collect()
}

/// A run as it goes.
struct Trial<'a> {
    harness: &'a Harness,
    netlist: &'a Netlist,
    meter: Meter,
    bench: Bench,
    entries: Vec<Entry>,
}

impl Trial<'_> {
    /// Takes readings until one is bad; `None` where none is. Of what somebody complains of only the bad one is kept.
    fn begin(&mut self, starts: &Starts, from: usize) -> Option<()> {
        let many = starts.complaints.len();
        for (measurement, expect) in starts.complaints.iter().cycle().skip(from).take(many) {
            let shown = self.bench.read(measurement)?;
            if !expect.admits(shown) {
                self.note(measurement, shown);
                return Some(());
            }
        }
        for (measurement, expect) in &starts.steps {
            let shown = self.bench.read(measurement)?;
            self.note(measurement, shown);
            if !expect.admits(shown) {
                return Some(());
            }
        }
        None
    }

    fn note(&mut self, measurement: &Measurement, value: Reading) {
        let mut sources = Sources::default();
        let place = Place::new(sources.add("study", String::new()), 0..0);
        self.entries.push(Entry {
            number: self.entries.len() + 1,
            at: None,
            step: None,
            kind: measurement.kind(),
            red: measurement.red(),
            black: measurement.black(),
            setup: measurement.setup().clone(),
            value,
            min: None,
            max: None,
            disturbed: None,
            meter: None,
            by: None,
            note: None,
            place,
        });
    }

    fn follow(mut self, fault: Fault, weight: f64) -> Result<Run, Unsettled> {
        let mut run = Run {
            fault,
            weight,
            end: End::Endless,
            cost: Cost::default(),
            groups: 0,
            others: None,
            few: None,
        };
        let mut before: Option<(Cost, Few)> = None;
        for reading in 0..MOST {
            let evidence = Evidence { entries: &self.entries, ..Evidence::default() };
            let wishes = Wishes { keep: before.is_none(), ..Wishes::default() };
            let found = locate::locate_for(self.harness, self.netlist, &evidence, &wishes, &self.meter)?;
            if let Some(choice) = &found.choice {
                if reading == 0 {
                    run.groups = choice.weights.len();
                    run.others = (choice.weights.len() > 1).then(|| others(choice));
                }
                before = before.or_else(|| few(choice).map(|few| (run.cost, few)));
            }
            let next = found.next.as_ref().filter(|_| found.verdict != Verdict::Located);
            let shown = next.map(|next| (next, self.bench.read(&next.measurement)));
            let Some((next, Some(shown))) = shown else {
                run.end = end(&found, fault);
                break;
            };
            run.cost.readings += 1.0;
            run.cost.seconds += next.seconds;
            self.note(&next.measurement, shown);
        }
        run.few = before.map(|(at, few)| Few {
            taken: Cost { readings: run.cost.readings - at.readings, seconds: run.cost.seconds - at.seconds },
            ..few
        });
        Ok(run)
    }
}

fn end(found: &Diagnosis, fault: Fault) -> End {
    let names = |group: &Group| group.faults.contains(&fault) || group.behind.contains(&fault);
    let at = found.suspects.iter().position(names);
    match (found.verdict, at) {
        (Verdict::Located, Some(0)) => End::Located,
        (Verdict::Located, _) => End::Wrong,
        (_, Some(0)) => End::First,
        (_, Some(_)) => End::Listed,
        (_, None) => End::Lost,
    }
}

fn others(choice: &Choice) -> Others {
    Others {
        advised: advised(choice),
        linear: linear(choice),
        half_split: half_split(choice),
        entropy: entropy_bound(choice),
        bits: entropy(choice),
    }
}

/// The least that can be expected, where it can be computed.
fn few(choice: &Choice) -> Option<Few> {
    if !(2..=FEW).contains(&choice.weights.len()) {
        return None;
    }
    Some(Few {
        taken: Cost::default(),
        advised: advised(choice),
        readings: choice.optimum(&|_, _| 1.0)?,
        seconds: choice.optimum(&|from, test| choice.seconds(from, test))?,
        weighed: choice.optimum(&|from, test| choice.seconds(from, test) + choice.thought)?,
        thought: choice.thought,
    })
}
