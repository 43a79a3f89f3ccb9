//! The tree of steps: at each point the reading that tells most per second.
//!
//! Comes in: the hypotheses that stand. Goes out: a reading, what it may show, and for each of these the
//! hypotheses that then stand, until all of them lie at one place or nothing more tells. Information is
//! counted about places: whether a wire is open or nearly so, the repair is the same.

use std::collections::{BTreeMap, BTreeSet};

use super::hypotheses::Hypothesis;
use super::setting::Setting;
use super::shown::{Set, Shown};
use super::stand::{Order, Scenes, Stage, found, measurements, plugs_near};
use crate::definition::{Harness, Point, StationId};
use crate::measure::{Expectation, Measurement, Meter};
use crate::netlist::Netlist;

/// How far a plan follows what is left.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Depth {
    /// A reading that tells less than this many bits is not worth its time.
    pub bits: f64,
    /// Ways with a smaller share of the probability are not followed: what stands there stays together.
    pub share: f64,
}

impl Depth {
    /// As far as one page goes: what one complaint in two hundred comes to is left to the record, in which every
    /// reading stands, and to the search that goes on from there. Common practice, no source.
    pub const USUAL: Self = Self { bits: 0.1, share: 0.005 };
    /// As long as anything tells.
    pub const THOROUGH: Self = Self { bits: 1e-4, share: 0.0 };
}

/// No reading has more outcomes than this, so none tells more bits than its logarithm.
const OUTCOMES: f64 = Shown::ALL.len() as f64;
/// A way that what stands would take so seldom, by several readings near their limits, is not followed on: what
/// stands there stays together.
const HARDLY: f64 = 0.15;
/// A plan that nobody could print is none: from so many steps on what is left stays together.
const MOST_STEPS: usize = 400;

/// The steps, the first one first, and where they end.
pub(super) struct Tree<'a> {
    pub scenes: Scenes<'a>,
    pub nodes: Vec<Node>,
    pub ends: Vec<Leaf>,
    /// Where everything begins: a step, or an end where nothing is to be read.
    pub root: To,
}

/// One reading with what follows.
pub(super) struct Node {
    pub scene: usize,
    pub measurement: Measurement,
    pub expect: Expectation,
    /// What stood before it.
    pub standing: Vec<Weighed>,
    pub branches: Vec<Branch>,
    /// Time for the changes and the reading, from where the step before has left off.
    pub seconds: f64,
    /// What it is taken for, where it is not to divide what is left.
    pub confirms: Option<String>,
}

/// What follows when a reading shows something.
pub(super) struct Branch {
    pub shown: Shown,
    pub share: f64,
    pub standing: Vec<Weighed>,
    pub to: To,
}

/// A step, or an end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum To {
    Node(usize),
    End(usize),
}

/// A hypothesis with the weight it still has.
pub(super) type Weighed = (usize, f64);

/// What is left at an end.
pub(super) struct Leaf {
    pub standing: Vec<Weighed>,
    /// What could not be seen before the end accuses a unit.
    pub unseen: Vec<String>,
}

/// Where one stands after some steps.
#[derive(Clone)]
pub(super) struct Stand {
    pub standing: Vec<Weighed>,
    pub scene: usize,
    pub station: Option<StationId>,
    /// What was read on the way, and what it showed.
    pub taken: Vec<Taken>,
}

/// A reading that was taken.
#[derive(Clone)]
pub(super) struct Taken {
    pub scene: usize,
    pub measurement: Measurement,
    pub shown: Shown,
}

/// A reading that could be next.
struct Choice {
    scene: usize,
    measurement: Measurement,
    rate: f64,
    seconds: f64,
    station: Option<StationId>,
}

/// Grows the tree.
pub(super) struct Grower<'a> {
    pub scenes: Scenes<'a>,
    pub hypotheses: &'a [Hypothesis],
    pub meter: Meter,
    depth: Depth,
    total: f64,
    pub nodes: Vec<Node>,
    pub ends: Vec<Leaf>,
}

impl<'a> Grower<'a> {
    pub(super) fn new(
        harness: &'a Harness,
        netlist: &'a Netlist,
        setting: &Setting,
        hypotheses: &'a [Hypothesis],
        (meter, depth): (Meter, Depth),
    ) -> Self {
        let mut scenes = Scenes::new(harness, netlist, setting);
        let (start, stage) = (found(harness), Stage::Found);
        if scenes.scene(stage, &start).is_none() {
            // A machine that never settles as found is looked at as the complaint has it.
            scenes.scene(Stage::Complaint, &setting.setup);
        }
        let total = hypotheses.iter().map(|h| h.weight).sum();
        Self { scenes, hypotheses, meter, depth, total, nodes: Vec::new(), ends: Vec::new() }
    }

    pub(super) fn grow(mut self) -> Tree<'a> {
        let standing = self.hypotheses.iter().enumerate().map(|(at, h)| (at, h.weight)).collect();
        let start = Stand { standing, scene: 0, station: None, taken: Vec::new() };
        let root = self.from(start);
        Tree { scenes: self.scenes, nodes: self.nodes, ends: self.ends, root }
    }

    /// The next step from where one stands, with all that follows; or an end.
    pub(super) fn from(&mut self, stand: Stand) -> To {
        let places: BTreeSet<usize> =
            stand.standing.iter().map(|(at, _)| self.hypotheses[*at].place).collect();
        let whole: f64 = stand.standing.iter().map(|(at, _)| self.hypotheses[*at].weight).sum();
        let here = weight(&stand.standing);
        let hardly = here < HARDLY * whole || here < self.depth.share * self.total;
        if places.len() < 2 || hardly || self.nodes.len() >= MOST_STEPS {
            return self.end(stand);
        }
        match self.best(&stand) {
            Some(option) => self.step(stand, option),
            None => self.end(stand),
        }
    }

    fn step(&mut self, stand: Stand, option: Choice) -> To {
        let Choice { scene, measurement, seconds, station, .. } = option;
        let Some(row) = self.scenes.all[scene].row(&measurement) else { return self.end(stand) };
        let expect = row.expect.clone();
        let mut parts = self.parts(&stand.standing, scene, &measurement);
        // The likeliest first: those who are led by the list read on.
        parts.sort_by(|(a, x), (b, y)| weight(y).total_cmp(&weight(x)).then(a.cmp(b)));
        let at = self.nodes.len();
        let total = weight(&stand.standing);
        self.nodes.push(Node {
            scene,
            measurement: measurement.clone(),
            expect,
            standing: stand.standing,
            branches: Vec::new(),
            seconds,
            confirms: None,
        });
        for (shown, standing) in parts {
            let share = weight(&standing) / total;
            let mut taken = stand.taken.clone();
            taken.push(Taken { scene, measurement: measurement.clone(), shown });
            let to = self.from(Stand { standing: standing.clone(), scene, station, taken });
            self.nodes[at].branches.push(Branch { shown, share, standing, to });
        }
        To::Node(at)
    }

    /// What stands after each thing that a reading may show. A hypothesis that may show several counts for
    /// each alike.
    pub(super) fn parts(
        &self,
        standing: &[Weighed],
        scene: usize,
        measurement: &Measurement,
    ) -> Vec<(Shown, Vec<Weighed>)> {
        let mut parts: BTreeMap<Shown, Vec<Weighed>> = BTreeMap::new();
        for (at, weight) in standing {
            let set = self.scenes.all[scene].shows(measurement, *at);
            for one in set.iter() {
                parts.entry(one).or_default().push((*at, weight / set.count()));
            }
        }
        parts.into_iter().collect()
    }

    /// The reading that tells most per second. Setups come in the order of the most that a reading there could
    /// tell, and are left out once that is less than what was found.
    /// Several plugs more come off only for what one more would not tell.
    fn best(&mut self, stand: &Stand) -> Option<Choice> {
        let mut sorted = stand.standing.clone();
        sorted.sort_by(|(a, x), (b, y)| y.total_cmp(x).then(a.cmp(b)));
        let standing: Vec<usize> = sorted.into_iter().map(|(at, _)| at).collect();
        self.best_of(stand, &standing, false).or_else(|| self.best_of(stand, &standing, true))
    }

    fn best_of(&mut self, stand: &Stand, standing: &[usize], several: bool) -> Option<Choice> {
        let near = plugs_near(&self.scenes, stand.scene, self.hypotheses, standing);
        let doubt = entropy(by_place(self.hypotheses, &stand.standing).into_values());
        let most = doubt.min(OUTCOMES.log2());
        let mut setups: Vec<(f64, usize, Option<StationId>)> = Vec::new();
        for (stage, setup) in self.scenes.after(stand.scene, &near, several) {
            let Some(scene) = self.scenes.scene(stage, &setup) else { continue };
            let (seconds, station) = self.scenes.change(stand.scene, scene, stand.station);
            setups.push((seconds, scene, station));
        }
        setups.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let mut best: Option<Choice> = None;
        for (change, scene, station) in setups {
            let bound = most / (change + crate::setup::READING_SECONDS.get());
            if best.as_ref().is_some_and(|best| bound <= best.rate) {
                break;
            }
            let found = self.best_in(stand, standing, scene, change, station);
            if let Some(found) = found
                && best.as_ref().is_none_or(|best| found.rate > best.rate)
            {
                best = Some(found);
            }
        }
        best
    }

    fn best_in(
        &mut self,
        stand: &Stand,
        standing: &[usize],
        scene: usize,
        change: f64,
        station: Option<StationId>,
    ) -> Option<Choice> {
        let all = measurements(&self.scenes.all[scene], self.hypotheses, standing);
        let meter = self.meter;
        self.scenes.all[scene].ask(&all, self.hypotheses, standing, &meter);
        let mut best: Option<Choice> = None;
        for measurement in all {
            // What was read once is known.
            if stand.taken.iter().any(|t| t.scene == scene && t.measurement == measurement) {
                continue;
            }
            let bits = self.information(&stand.standing, scene, &measurement);
            if bits < self.depth.bits {
                continue;
            }
            let (reading, there) = self.scenes.reading(station, &measurement);
            let seconds = change + reading;
            let rate = bits / seconds;
            let better = best.as_ref().is_none_or(|best: &Choice| {
                rate > best.rate * (1.0 + 1e-9)
                    || (rate > best.rate * (1.0 - 1e-9) && plainer(&measurement, &best.measurement))
            });
            if better {
                best = Some(Choice { scene, measurement, rate, seconds, station: there });
            }
        }
        best
    }

    /// What a reading is expected to tell about the place of the fault, in bits: the doubt about the place
    /// before it, less what it leaves (mutual information, Shannon 1948).
    fn information(&self, standing: &[Weighed], scene: usize, measurement: &Measurement) -> f64 {
        let scene = &self.scenes.all[scene];
        let mut joint: BTreeMap<(Shown, usize), f64> = BTreeMap::new();
        let mut shown: BTreeMap<Shown, f64> = BTreeMap::new();
        for (at, weight) in standing {
            let set: Set = scene.shows(measurement, *at);
            for one in set.iter() {
                let each = weight / set.count();
                *joint.entry((one, self.hypotheses[*at].place)).or_default() += each;
                *shown.entry(one).or_default() += each;
            }
        }
        if shown.len() < 2 {
            return 0.0;
        }
        let places = by_place(self.hypotheses, standing);
        entropy(places.into_values()) + entropy(shown.into_values()) - entropy(joint.into_values())
    }
}

/// Of two readings that tell alike the one with its black probe on the frame, and then the first.
fn plainer(a: &Measurement, b: &Measurement) -> bool {
    let key = |m: &Measurement| (m.black() != Point::Chassis, m.red(), m.black());
    key(a) < key(b)
}

fn by_place(hypotheses: &[Hypothesis], standing: &[Weighed]) -> BTreeMap<usize, f64> {
    let mut places = BTreeMap::new();
    for (at, weight) in standing {
        *places.entry(hypotheses[*at].place).or_default() += weight;
    }
    places
}

pub(super) fn weight(standing: &[Weighed]) -> f64 {
    standing.iter().map(|(_, weight)| weight).sum()
}

/// The entropy of some weights, in bits.
fn entropy(weights: impl Iterator<Item = f64>) -> f64 {
    let weights: Vec<f64> = weights.filter(|w| *w > 0.0).collect();
    let total: f64 = weights.iter().sum();
    weights.iter().map(|w| w / total).map(|p| -p * p.log2()).sum()
}

impl Tree<'_> {
    /// Steps in the order of a plan: by the order of their setups, and within one as they were grown, so that
    /// every step stands behind the one that leads to it.
    pub(super) fn order(&self) -> Vec<usize> {
        let mut order: Vec<usize> = (0..self.nodes.len()).collect();
        let key = |at: &usize| -> Order { self.scenes.all[self.nodes[*at].scene].order() };
        order.sort_by_cached_key(|at| (key(at), *at));
        order
    }
}
