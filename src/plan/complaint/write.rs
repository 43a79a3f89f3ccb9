//! The tree of steps as a plan: phases in order, steps with their numbers, outcomes that name them.

use std::collections::{BTreeMap, BTreeSet};

use super::grow::{Node, To, Tree, Weighed, weight};
use super::hypotheses::Hypothesis;
use super::setting::{Setting, setup_words};
use super::stand::Stage;
use super::{ComplaintError, Dossier, Effort, End, Next, Outcome, look, words};
use crate::definition::{Harness, Point};
use crate::fault::{Fault, Universe};
use crate::measure::Situation;
use crate::netlist::{Element, Netlist};
use crate::plan::cover::{Question, covered};
use crate::plan::phase::Builder;
use crate::plan::{Aids, Draft, Look, Meters, OneByOne, Plan, Scope, Step, as_found, caution, trip};
use crate::setup::Setup;
use crate::units::Seconds;

/// Writes the plan.
pub(super) fn plan(
    harness: &Harness,
    netlist: &Netlist,
    universe: &Universe,
    setting: Setting,
    hypotheses: &[Hypothesis],
    tree: &Tree<'_>,
    meters: Meters,
) -> Result<Plan, ComplaintError> {
    let scope = Scope::default();
    let mut builder = Builder::new(harness, netlist, &scope, meters, Aids::default());
    let order = tree.order();
    let (ends, end_of) = ends(harness, hypotheses, tree);
    let asked = hypotheses.iter().flat_map(|h| h.faults.iter().map(|(fault, _)| *fault));
    builder.ask_about(asked, longest_bound(ends.len()).min(order.len()));
    let writer = Writer { harness, universe, hypotheses, tree, ids: numbers(tree, &order), end_of };
    // Every phase is a group of its own: their order is that of the tree.
    for (at, run) in order.chunk_by(|a, b| tree.nodes[*a].scene == tree.nodes[*b].scene).enumerate() {
        let scene = &tree.scenes.all[tree.nodes[run[0]].scene];
        let look = Look::Given(writer.steps(run, &scene.situation));
        let setup = scene.setup().clone();
        builder.add(Draft { title: title(scene.stage, &setup), setup, look, group: Some(at) })?;
    }
    let closing = Draft { title: "As found again", setup: as_found(harness), look: Look::Close, group: None };
    builder.add(closing)?;
    let mut plan = builder.finish();
    warn_on_every_way(&mut plan);
    let works =
        format!("{} works with {}.", setting.target.words(harness), setup_words(harness, &setting.setup));
    plan.function_check.insert(0, works);
    let (expected, most) = efforts(tree);
    plan.complaint = Some(Dossier {
        target: setting.target,
        healthy: setting.healthy,
        others: setting.others,
        hypotheses: shares(hypotheses),
        inspections: look::inspections(harness, netlist, &setting, hypotheses),
        setup: setting.setup,
        ends,
        expected,
        most,
    });
    Ok(plan)
}

/// The cautions of leads stand in a phase whichever step one comes from, not only from the phase before it.
fn warn_on_every_way(plan: &mut Plan) {
    let ways = plan.steps().flat_map(|step| &step.outcomes).filter_map(|outcome| match &outcome.next {
        Next::Step { id, changes } => Some((id.clone(), caution::of_leads(changes))),
        Next::End(_) => None,
    });
    for (id, cautions) in ways.collect::<Vec<_>>() {
        let Some(phase) = plan.phases.iter_mut().find(|p| p.steps.iter().any(|step| step.id == id)) else {
            continue;
        };
        let more: Vec<String> =
            cautions.into_iter().filter(|caution| !phase.cautions.contains(caution)).collect();
        phase.cautions.splice(0..0, more);
    }
}

/// What a phase is for.
fn title(stage: Stage, setup: &Setup) -> &'static str {
    match stage {
        Stage::Found => "As found, with power",
        Stage::Complaint => "As complained of, with power, all plugged in",
        Stage::Isolated if setup.parted().len() == 0 => "Without power, all plugged in",
        Stage::Isolated => "Without power, plugs off",
        Stage::Open => "As complained of, with power, plugs off",
        Stage::Again => "As complained of once more, all plugged in",
    }
}

/// The number of each step.
fn numbers(tree: &Tree<'_>, order: &[usize]) -> BTreeMap<usize, String> {
    let mut ids = BTreeMap::new();
    let runs = order.chunk_by(|a, b| tree.nodes[*a].scene == tree.nodes[*b].scene);
    for (phase, run) in runs.enumerate() {
        for (at, node) in run.iter().enumerate() {
            ids.insert(*node, format!("{}.{:02}", phase + 1, at + 1));
        }
    }
    ids
}

/// With four things that a reading can show, fewer readings than this tell so many ends apart on no way.
fn longest_bound(ends: usize) -> usize {
    let mut readings = 0;
    let mut apart = 1;
    while apart < ends {
        apart *= 4;
        readings += 1;
    }
    readings
}

/// Each fault once, with its share, in the order of the shares.
fn shares(hypotheses: &[Hypothesis]) -> Vec<(Fault, f64)> {
    let standing: Vec<Weighed> = hypotheses.iter().enumerate().map(|(at, h)| (at, h.weight)).collect();
    let total = weight(&standing);
    faults(hypotheses, &standing).into_iter().map(|(fault, w)| (fault, w / total)).collect()
}

/// The faults of some hypotheses with their weights, the likeliest first.
fn faults(hypotheses: &[Hypothesis], standing: &[Weighed]) -> Vec<(Fault, f64)> {
    let mut all: BTreeMap<Fault, f64> = BTreeMap::new();
    for (at, weight) in standing {
        let hypothesis = &hypotheses[*at];
        for (fault, own) in &hypothesis.faults {
            *all.entry(*fault).or_default() += own * weight / hypothesis.weight;
        }
    }
    let mut all: Vec<(Fault, f64)> = all.into_iter().collect();
    all.sort_by(|(a, x), (b, y)| y.total_cmp(x).then(a.cmp(b)));
    all
}

/// Leaves with the same faults: their share, the weight of each fault, what was not seen, and which they are.
type Same = (f64, BTreeMap<Fault, f64>, Vec<String>, Vec<usize>);

/// The ends, those with the same faults in one; and for each of the tree's ends its place among them.
fn ends(harness: &Harness, hypotheses: &[Hypothesis], tree: &Tree<'_>) -> (Vec<End>, Vec<usize>) {
    let total: f64 = hypotheses.iter().map(|h| h.weight).sum();
    let mut found: BTreeMap<BTreeSet<Fault>, Same> = BTreeMap::new();
    for (at, leaf) in tree.ends.iter().enumerate() {
        let weighed = faults(hypotheses, &leaf.standing);
        let key: BTreeSet<Fault> = weighed.iter().map(|(fault, _)| *fault).collect();
        let known = found.entry(key).or_default();
        known.0 += weight(&leaf.standing) / total;
        for (fault, weight) in weighed {
            *known.1.entry(fault).or_default() += weight;
        }
        known.2.extend(leaf.unseen.iter().cloned());
        known.3.push(at);
    }
    let mut found: Vec<_> = found.into_values().collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.3.cmp(&b.3)));
    let mut end_of = vec![0; tree.ends.len()];
    let mut ends = Vec::new();
    for (share, weighed, mut unseen, leaves) in found {
        let mut weighed: Vec<(Fault, f64)> = weighed.into_iter().collect();
        weighed.sort_by(|(a, x), (b, y)| y.total_cmp(x).then(a.cmp(b)));
        unseen.sort_unstable();
        unseen.dedup();
        let likely = words::likely(&weighed);
        let mut todo = words::todo(harness, &weighed[..likely]);
        if weighed.is_empty() {
            todo.push(
                "no single fault of this definition explains all readings: repeat them; there is more than one fault, \
                 one that comes and goes, or the machine is not as defined"
                    .to_owned(),
            );
        }
        if !unseen.is_empty() {
            todo.insert(0, format!("accuse no unit yet: not seen by any reading: {}", unseen.join(", ")));
        }
        for leaf in leaves {
            end_of[leaf] = ends.len();
        }
        ends.push(End { share, faults: weighed.into_iter().map(|(fault, _)| fault).collect(), likely, todo });
    }
    (ends, end_of)
}

/// What the steps cost until they end: weighed, and on the longest way.
fn efforts(tree: &Tree<'_>) -> (Effort, Effort) {
    fn walk(tree: &Tree<'_>, to: To) -> (Effort, Effort) {
        let To::Node(at) = to else { return Default::default() };
        let node = &tree.nodes[at];
        let (mut expected, mut most) = (Effort::default(), Effort::default());
        for branch in &node.branches {
            let (mean, longest) = walk(tree, branch.to);
            expected.readings += branch.share * mean.readings;
            expected.seconds = expected.seconds + mean.seconds * branch.share;
            most.readings = most.readings.max(longest.readings);
            most.seconds = Seconds::new(most.seconds.get().max(longest.seconds.get()));
        }
        for effort in [&mut expected, &mut most] {
            effort.readings += 1.0;
            effort.seconds = effort.seconds + Seconds::new(node.seconds);
        }
        (expected, most)
    }
    walk(tree, tree.root)
}

struct Writer<'a> {
    harness: &'a Harness,
    universe: &'a Universe,
    hypotheses: &'a [Hypothesis],
    tree: &'a Tree<'a>,
    ids: BTreeMap<usize, String>,
    end_of: Vec<usize>,
}

impl Writer<'_> {
    fn steps(&self, run: &[usize], situation: &Situation<'_>) -> Vec<Step> {
        let nodes: Vec<&Node> = run.iter().map(|at| &self.tree.nodes[*at]).collect();
        let questions: Vec<Question<'_>> =
            nodes.iter().map(|n| Question { measurement: &n.measurement, expect: &n.expect }).collect();
        let covers =
            covered(situation, self.universe, &questions, &OneByOne).into_iter().map(|shows| shows.faults);
        let asked: BTreeSet<Fault> =
            self.hypotheses.iter().flat_map(|h| h.faults.iter().map(|(fault, _)| *fault)).collect();
        let step = |((at, node), mut covers): ((&usize, &&Node), Vec<Fault>)| {
            covers.retain(|fault| asked.contains(fault));
            let [red, black] = [node.measurement.red(), node.measurement.black()];
            Step {
                id: self.ids[at].clone(),
                station: self.harness.station_of(red).or(self.harness.station_of(black)),
                expect: situation.explain(&node.measurement, &node.expect.meter),
                covers,
                purpose: self.purpose(node),
                outcomes: self.outcomes(node),
                measurement: node.measurement.clone(),
            }
        };
        run.iter().zip(&nodes).zip(covers).map(step).collect()
    }

    fn purpose(&self, node: &Node) -> String {
        let signal = |point: Point| match point {
            Point::Contact(id) => self.harness.contacts[id].signal.clone(),
            _ => None,
        };
        let named = || signal(node.measurement.red()).unwrap_or_else(|| "divide what is left".to_owned());
        node.confirms.clone().unwrap_or_else(named)
    }

    fn outcomes(&self, node: &Node) -> Vec<Outcome> {
        let scene = &self.tree.scenes.all[node.scene];
        let before = elements(&faults(self.hypotheses, &node.standing));
        let outcome = |branch: &super::grow::Branch| {
            let left = faults(self.hypotheses, &branch.standing);
            let still = elements(&left);
            let fact = words::means(&scene.situation, &node.measurement, branch.shown);
            Outcome {
                shown: branch.shown,
                share: branch.share,
                means: self.sentence(&fact, &left, branch.to),
                clears: before.difference(&still).copied().collect(),
                accuses: left.into_iter().map(|(fault, _)| fault).collect(),
                next: self.next(node, branch.to),
            }
        };
        node.branches.iter().map(outcome).collect()
    }

    fn sentence(&self, fact: &str, accuses: &[(Fault, f64)], to: To) -> String {
        let places = words::places(self.harness, accuses);
        match to {
            _ if accuses.is_empty() => format!("{fact}: it contradicts an earlier reading"),
            To::Node(_) => format!("{fact}; the fault lies in {places}"),
            To::End(_) => format!("{fact}; look at {places}"),
        }
    }

    fn next(&self, node: &Node, to: To) -> Next {
        let at = match to {
            To::End(at) => return Next::End(self.end_of[at]),
            To::Node(at) => at,
        };
        let next = &self.tree.nodes[at];
        let mut changes = Vec::new();
        if next.scene != node.scene {
            let [red, black] = [node.measurement.red(), node.measurement.black()];
            let station = self.harness.station_of(red).or(self.harness.station_of(black));
            let [from, to] = [node.scene, next.scene].map(|at| self.tree.scenes.all[at].setup());
            (changes, _) = trip::way(self.harness, (from, station), to);
        }
        Next::Step { id: self.ids[&at].clone(), changes }
    }
}

fn elements(faults: &[(Fault, f64)]) -> BTreeSet<Element> {
    faults.iter().flat_map(|(fault, _)| fault.elements()).collect()
}
