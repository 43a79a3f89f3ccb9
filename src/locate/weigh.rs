//! Bayes: every fault, and two at once, by how likely it is and by what the readings say of it.
//!
//! Comes in: the readings of a record, judged. Goes out: what explains all of them, what would explain them if a
//! reading or two were wrong, and for everything else the readings that speak against it. Why: one misread value or
//! one misplaced probe must not remove the true fault for ever, but it must cost it.
//!
//! The weight of an explanation is its prior weight (see [`crate::fault::WEIGHTS`]) times the likelihood of the
//! readings: one for a reading within what the explanation predicts, tolerances and meter included, and
//! [`MISREAD`] for one outside. What is complained about is there: whatever explains none of the bad readings
//! explains nothing.
//!
//! Two faults at once are tried where no single one explains everything, or only what is rare. They are asked only of
//! what the evidence leaves: faults that contradict no good reading and explain
//! some bad ones, in such pairs that together they explain all. Cost: single faults times the setups of the record;
//! then one solution per pair and setup, for at most [`PAIRS`] pairs.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::Judged;
use super::earlier::Guards;
use super::hypothesis::{Band, Hypothesis, Mode};
use super::memory::Memory;
use super::predict::{self, Range, Scene, Taken};
use super::wiggle::Intermittent;
use crate::circuit::ChangeKey;
use crate::definition::Harness;
use crate::fault::{Fault, Universe};
use crate::measure::{Measurement, Situation};
use crate::netlist::{LinkId, Netlist};
use crate::setup::Setup;

/// The chance that a reading was misread, or that a probe was not where the record says. From memory: the handbook
/// of human reliability NUREG/CR-1278 gives about 0.001 for a digital display and 0.003 for picking the wrong one of
/// many that look alike; rounded up.
pub const MISREAD: f64 = 0.005;
/// No explanation takes more readings than this for wrong.
const MOST_MISREAD: usize = 2;
/// How often there is a second fault, independent of the first: common practice, no source.
const TWO_AT_ONCE: f64 = 0.05;
/// That nothing is wrong at all, against that something is, before the first reading: somebody complained, so little.
/// Common practice, no source.
const NOTHING_WRONG: f64 = 0.05;
/// Beside single faults with more than this share of all weight, pairs are not looked for: they would come to a few
/// hundredths of the probability at most.
const RARE: f64 = 2e-4;
/// The most kinds of faults that are paired, the likeliest first.
const PAIRED: usize = 60;
/// The most pairs that are solved, the likeliest first.
const PAIRS: usize = 400;
/// The most pairs of one kind that are named.
const NAMED: usize = 12;

/// An explanation of the readings.
#[derive(Debug, Clone)]
pub(super) struct Suspect {
    /// The fault, or one pair of those that change the same.
    pub hypothesis: Hypothesis,
    /// Prior weight times likelihood.
    pub weight: f64,
    /// The readings that it takes for wrong.
    pub wrong: Vec<usize>,
    /// The pairs that it stands for, if it is two faults at once.
    pub pairs: Vec<[Fault; 2]>,
}

/// What the readings leave.
#[derive(Debug, Default)]
pub(super) struct Sifted {
    /// Single faults that explain every reading.
    pub exact: Vec<Suspect>,
    /// Pairs of faults that explain every reading where neither does alone.
    pub pairs: Vec<Suspect>,
    /// Single faults that would explain every reading but one or two.
    pub doubted: Vec<Suspect>,
    /// For each other single fault, and each size of it, readings that speak against it.
    pub out: BTreeMap<Fault, Vec<Vec<usize>>>,
}

impl Sifted {
    /// Everything that explains the readings.
    pub(super) fn all(&self) -> impl Iterator<Item = &Suspect> {
        self.exact.iter().chain(&self.pairs).chain(&self.doubted)
    }
}

/// Faults that change the same and explain the same, as half of a pair.
struct Half {
    mode: Mode,
    faults: Vec<Fault>,
    weight: f64,
    explains: BTreeSet<usize>,
}

/// What the readings say of one size of a fault.
type OfSize = (Option<Band>, Told);

/// What the readings say of one mode of a fault.
#[derive(Default, Clone)]
struct Told {
    against: Vec<usize>,
    explains: BTreeSet<usize>,
}

/// The readings of a record, by the setups they were taken in, ready to be held against any fault.
pub(super) struct Reader<'a> {
    pub harness: &'a Harness,
    pub netlist: &'a Netlist,
    pub universe: &'a Universe,
    pub scenes: Vec<Scene<'a>>,
    pub judged: &'a [Judged],
    /// The scene of each reading and its place there.
    pub places: Vec<(usize, usize)>,
    /// What of them a fault that comes and goes need not answer to.
    pub moved: &'a Intermittent,
    pub memory: Memory<'a>,
}

impl<'a> Reader<'a> {
    pub(super) fn new(
        harness: &'a Harness,
        netlist: &'a Netlist,
        universe: &'a Universe,
        situations: &'a BTreeMap<Setup, Situation<'a>>,
        judged: &'a [Judged],
        moved: &'a Intermittent,
    ) -> Self {
        let mut by_setup: BTreeMap<&Setup, Vec<Measurement>> = BTreeMap::new();
        let mut within = Vec::new();
        for reading in judged {
            let measurements = by_setup.entry(reading.measurement.setup()).or_default();
            within.push(measurements.len());
            measurements.push(reading.measurement.clone());
        }
        let order: Vec<&Setup> = by_setup.keys().copied().collect();
        let scene_of =
            |reading: &Judged| order.binary_search(&reading.measurement.setup()).unwrap_or_default();
        let places = judged.iter().map(scene_of).zip(within).collect();
        let history = judged.iter().filter_map(|j| situations.get(j.measurement.setup())).collect();
        let scene = |(setup, measurements)| situations.get(setup).map(|s| Scene::new(s, measurements, true));
        Self {
            harness,
            netlist,
            universe,
            scenes: by_setup.into_iter().filter_map(scene).collect(),
            judged,
            places,
            moved,
            memory: Memory::new(harness, netlist, universe, history),
        }
    }

    /// What a reading would have been with a hypothesis that it contradicts; `None` where it does not.
    pub(super) fn contradicts(&mut self, hypothesis: Hypothesis, reading: usize) -> Option<Range> {
        if hypothesis.faults().all(|fault| self.moved.excuses(self.harness, fault, reading)) {
            return None;
        }
        let (scene, at) = self.places[reading];
        let Judged { value, expect, good, .. } = &self.judged[reading];
        let taken = Taken { reading, at, value: *value, expect, good: *good };
        predict::contradicts(&mut self.scenes[scene], &mut self.memory, hypothesis, taken)
    }

    /// The shorts that may have blown a fuse before the first reading and are not cleared by any, the likeliest first.
    pub(super) fn behind(&mut self, fuse: LinkId) -> Vec<Fault> {
        let guards = Guards::new(self.harness, self.netlist);
        self.memory.suppose_blown(Some(fuse));
        let mut found: Vec<(Fault, f64)> = Vec::new();
        for (fault, weight) in self.universe.iter() {
            let changes = self.universe.changes(self.harness, self.netlist, fault);
            let mode = Mode { fault, band: None };
            if guards.may_have_blown(&changes).contains(&fuse)
                && (0..self.judged.len()).all(|at| self.contradicts(mode.into(), at).is_none())
            {
                found.push((fault, weight));
            }
        }
        self.memory.suppose_blown(None);
        found.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        found.into_iter().map(|(fault, _)| fault).collect()
    }

    /// What a reading would be with a hypothesis.
    pub(super) fn range(&mut self, hypothesis: Hypothesis, reading: usize) -> Range {
        let (scene, at) = self.places[reading];
        predict::range(&mut self.scenes[scene], &mut self.memory, hypothesis, at, Some(reading))
    }

    fn of_sort(&self, good: bool) -> Vec<usize> {
        (0..self.judged.len()).filter(|at| self.judged[*at].good == good).collect()
    }

    /// Holds every fault against the readings; where no single one explains them all, or only what is rare, also pairs
    /// of what the evidence leaves.
    pub(super) fn sift(&mut self) -> Sifted {
        let [bad, good] = [false, true].map(|sort| self.of_sort(sort));
        let mut sifted = Sifted::default();
        // What changes the same is told the same, unless it is asked where it lies.
        let mut known: HashMap<Vec<Vec<ChangeKey>>, Vec<OfSize>> = HashMap::new();
        for (fault, weight) in self.universe.iter().filter(|(fault, _)| !self.moved.rules_out(*fault)) {
            if self.moved.comes_and_goes() {
                known.clear();
            }
            let weight = weight * self.moved.favour(self.harness, fault);
            let mut told = Vec::new();
            for mode in Mode::of(fault) {
                let key = Hypothesis::from(mode).key(self.harness, self.netlist, self.universe);
                let sizes = match known.get(&key) {
                    Some(sizes) => sizes.clone(),
                    None => known.entry(key).or_insert(self.sizes(mode, &bad, &good)).clone(),
                };
                told.extend(sizes.into_iter().map(|(band, one)| (Mode { band, ..mode }, one)));
            }
            sifted.enter(fault, weight, told);
        }
        let all: f64 = self.universe.iter().map(|(_, weight)| weight).sum();
        let exact: f64 = sifted.exact.iter().map(|suspect| suspect.weight).sum();
        // One that comes and goes answers to so little that pairs of such would explain anything.
        if bad.len() > 1 && exact < RARE * all && !self.moved.comes_and_goes() {
            let halves = self.halves(&bad, &good);
            sifted.pairs = self.pairs(halves, bad.len(), all);
        }
        sifted
    }

    /// What the readings say of a mode, and where it is a band that stands, of the parts of it that stand in all readings at
    /// once: each reading alone may leave the whole band, and all of them together nothing.
    fn sizes(&mut self, mode: Mode, bad: &[usize], good: &[usize]) -> Vec<OfSize> {
        let whole = self.told(mode, bad, good);
        let Some(band) = mode.band.filter(|_| whole.against.is_empty()) else {
            return vec![(mode.band, whole)];
        };
        let part = |part: Band| (Some(part), self.told(Mode { band: Some(part), ..mode }, bad, good));
        let parts: Vec<OfSize> = band.parts().map(part).collect();
        let mut standing =
            parts.iter().filter(|(_, told)| told.against.is_empty()).filter_map(|(part, _)| *part);
        match (standing.next(), standing.next_back()) {
            (Some(first), last) => vec![(Some(first.up_to(last.unwrap_or(first))), whole)],
            _ => parts,
        }
    }

    /// What the readings say of a mode: the bad ones first, because most faults have nothing to do with them. It stops
    /// where more speaks against the mode than may be misread.
    fn told(&mut self, mode: Mode, bad: &[usize], good: &[usize]) -> Told {
        let mut told = Told::default();
        for at in bad {
            if self.contradicts(mode.into(), *at).is_none() {
                told.explains.insert(*at);
                continue;
            }
            told.against.push(*at);
            if told.against.len() > MOST_MISREAD && told.explains.is_empty() {
                return told;
            }
        }
        if told.explains.is_empty() && !bad.is_empty() {
            return told;
        }
        for at in good {
            if self.contradicts(mode.into(), *at).is_some() {
                told.against.push(*at);
                if told.against.len() > MOST_MISREAD || bad.is_empty() {
                    break;
                }
            }
        }
        told
    }

    /// What could be half of a pair: it explains some bad readings, not all, and contradicts no good one.
    fn halves(&mut self, bad: &[usize], good: &[usize]) -> Vec<Half> {
        let mut halves: BTreeMap<Vec<Vec<ChangeKey>>, Option<Half>> = BTreeMap::new();
        for (fault, weight) in self.universe.iter() {
            for mode in Mode::of(fault) {
                let key = Hypothesis::from(mode).key(self.harness, self.netlist, self.universe);
                let half = halves.entry(key).or_insert_with(|| {
                    let admits = |at: &usize| self.contradicts(mode.into(), *at).is_none();
                    let explains: BTreeSet<usize> = bad.iter().copied().filter(admits).collect();
                    if explains.is_empty() || explains.len() == bad.len() {
                        return None;
                    }
                    let mut admits = |at: &usize| self.contradicts(mode.into(), *at).is_none();
                    good.iter().all(&mut admits).then(|| Half {
                        mode,
                        faults: Vec::new(),
                        weight: 0.0,
                        explains,
                    })
                });
                if let Some(half) = half {
                    half.faults.push(fault);
                    half.weight += weight * mode.share();
                }
            }
        }
        halves.into_values().flatten().collect()
    }

    /// Pairs of halves that explain every reading together.
    fn pairs(&mut self, mut halves: Vec<Half>, bad: usize, all: f64) -> Vec<Suspect> {
        halves.sort_by(|a, b| b.weight.total_cmp(&a.weight).then(a.mode.cmp(&b.mode)));
        halves.truncate(PAIRED);
        let mut chosen = Vec::new();
        for (at, a) in halves.iter().enumerate() {
            for (to, b) in halves.iter().enumerate().skip(at + 1) {
                if a.explains.union(&b.explains).count() == bad {
                    chosen.push((a.weight * b.weight / all * TWO_AT_ONCE, at, to));
                }
            }
        }
        chosen.sort_by(|a, b| b.0.total_cmp(&a.0).then((a.1, a.2).cmp(&(b.1, b.2))));
        chosen.truncate(PAIRS);
        let mut found = Vec::new();
        for (weight, a, b) in chosen {
            let [a, b] = [&halves[a], &halves[b]];
            let hypothesis = Hypothesis { first: a.mode, second: Some(b.mode) };
            if self.is_apart(hypothesis)
                && (0..self.judged.len()).all(|at| self.contradicts(hypothesis, at).is_none())
            {
                let both = a.faults.iter().flat_map(|a| b.faults.iter().map(|b| [*a, *b]));
                found.push(Suspect {
                    hypothesis,
                    weight,
                    wrong: Vec::new(),
                    pairs: both.take(NAMED).collect(),
                });
            }
        }
        found
    }

    /// Whether the two faults of a pair have nothing in common: neither an element nor a link.
    fn is_apart(&self, pair: Hypothesis) -> bool {
        let things = |fault: Fault| {
            let elements: BTreeSet<_> = fault.elements().into_iter().collect();
            let links = elements.iter().flat_map(|element| self.universe.links(*element)).copied();
            (links.collect::<BTreeSet<_>>(), elements)
        };
        let all: Vec<_> = pair.faults().map(things).collect();
        all.iter().enumerate().all(|(at, (links, elements))| {
            all[at + 1..].iter().all(|(others, more)| links.is_disjoint(others) && elements.is_disjoint(more))
        })
    }

    /// For every single fault of every size, and for no fault at all, each reading that speaks against it.
    pub(super) fn all_against(&mut self) -> BTreeSet<BTreeSet<usize>> {
        let mut rows = BTreeSet::from([self.of_sort(false).into_iter().collect()]);
        for mode in self.universe.iter().flat_map(|(fault, _)| Mode::of(fault)) {
            let all = 0..self.judged.len();
            rows.insert(all.filter(|at| self.contradicts(mode.into(), *at).is_some()).collect());
        }
        rows
    }

    /// How likely each reading is the wrong one, by the explanations that take it for wrong and by that nothing
    /// is wrong at all.
    pub(super) fn blame(&self, sifted: &Sifted) -> BTreeMap<usize, f64> {
        let mut blame: BTreeMap<usize, f64> = BTreeMap::new();
        for suspect in sifted.all() {
            for at in &suspect.wrong {
                *blame.entry(*at).or_default() += suspect.weight;
            }
        }
        let bad = self.of_sort(false);
        if bad.len() <= MOST_MISREAD {
            let all: f64 = self.universe.iter().map(|(_, weight)| weight).sum();
            for at in &bad {
                *blame.entry(*at).or_default() += all * NOTHING_WRONG * misread(bad.len());
            }
        }
        blame
    }
}

/// How likely it is that so many readings are wrong.
fn misread(readings: usize) -> f64 {
    std::iter::repeat_n(MISREAD, readings).product()
}

impl Sifted {
    /// Enters a fault by what the readings say of its modes. It stands if one mode explains everything, with the
    /// share of its weight that such modes have; else it is doubted if one explains nearly everything.
    fn enter(&mut self, fault: Fault, weight: f64, told: Vec<(Mode, Told)>) {
        let stands = |(_, one): &&(Mode, Told)| one.against.is_empty();
        let each = |mode: Mode| weight * mode.share();
        if let Some((mode, _)) = told.iter().find(stands) {
            let weight = told.iter().filter(stands).map(|(mode, _)| each(*mode)).sum();
            self.exact.push(Suspect {
                hypothesis: (*mode).into(),
                weight,
                wrong: Vec::new(),
                pairs: Vec::new(),
            });
            return;
        }
        let nearly = |(_, one): &&(Mode, Told)| one.against.len() <= MOST_MISREAD && !one.explains.is_empty();
        let least = told.iter().filter(nearly).min_by_key(|(_, one)| one.against.len());
        if let Some((mode, one)) = least {
            let likely = |(mode, one): &(Mode, Told)| each(*mode) * misread(one.against.len());
            self.doubted.push(Suspect {
                hypothesis: (*mode).into(),
                weight: told.iter().filter(nearly).map(likely).sum(),
                wrong: one.against.clone(),
                pairs: Vec::new(),
            });
        }
        self.out.insert(fault, told.into_iter().map(|(_, one)| one.against).collect());
    }
}
