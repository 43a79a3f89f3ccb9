//! A machine's network with some things changed in it, folded down for many questions.
//!
//! Comes in: a machine, and questions: what is changed, and which points are read. Goes out: for each question a
//! network of the few nodes that it needs. Why: a plan makes thousands of claims of one machine. The questions
//! are halved again and again; what neither half touches is folded away before the half is looked at, so the
//! whole costs about as much as one solution for every doubling of the questions, not one for each.

use std::collections::BTreeSet;

use super::machine::{Corner, Gate, Machine, What};
use super::mesh::Mesh;

/// Nodes with more neighbours than this are not folded away before the last step: hubs.
const HUB: usize = 6;
/// What stands for a resistance of nothing, in ohms.
const LEAST: f64 = 1e-9;

/// What is different in a faulty machine.
#[derive(Debug, Clone, Default)]
pub(super) struct Edits {
    /// Branches that do not conduct.
    pub(super) opened: Vec<usize>,
    /// Contacts that are closed although nothing is on.
    pub(super) closed: Vec<usize>,
    /// Ohms in series with branches.
    pub(super) added: Vec<(usize, f64)>,
    /// Nodes that are joined, by so many ohms.
    pub(super) joined: Vec<([usize; 2], f64)>,
    /// Devices that stay on or off.
    pub(super) forced: Vec<(usize, bool)>,
}

impl Edits {
    fn branches(&self) -> impl Iterator<Item = usize> + '_ {
        self.opened.iter().copied().chain(self.added.iter().map(|(branch, _)| *branch))
    }

    /// Whether a branch is open for good.
    pub(super) fn opens(&self, branch: usize) -> bool {
        self.opened.contains(&branch)
    }

    /// The conductance of a branch while it conducts.
    pub(super) fn siemens(&self, machine: &Machine<'_>, branch: usize, corner: Corner) -> f64 {
        let more: f64 = self.added.iter().filter(|(at, _)| *at == branch).map(|(_, ohms)| ohms).sum();
        1.0 / (machine.ohms(branch, corner) + more).max(LEAST)
    }
}

/// What is asked of a machine.
pub(super) trait Question {
    /// What is changed.
    fn edits(&self) -> &Edits;
    /// The pairs of points that are read.
    fn probes(&self) -> &[[usize; 2]];
}

/// A network in which some branches are not joined in yet, because a question may change them.
pub(super) struct Net<'m> {
    pub(super) machine: &'m Machine<'m>,
    pub(super) corner: Corner,
    insides: bool,
    mesh: Mesh,
    loose: Vec<usize>,
}

impl<'m> Net<'m> {
    /// The whole machine; with what may conduct inside connected units, or without.
    pub(super) fn new(machine: &'m Machine<'m>, corner: Corner, insides: bool) -> Self {
        let loose = |at: &usize| {
            let branch = &machine.branches[*at];
            branch.at_rest(insides) && !(machine.powered && branch.gate != Gate::Always)
        };
        let loose = (0..machine.branches.len()).filter(loose).collect();
        Self { machine, corner, insides, mesh: machine.bare(), loose }
    }

    /// Answers questions, each with the network that it needs.
    pub(super) fn divide<Q: Question>(&self, questions: &[Q], answer: &mut dyn FnMut(&Q, &Net<'_>)) {
        match questions {
            [] => {}
            [one] => answer(one, &self.folded(questions)),
            _ => {
                let (first, second) = questions.split_at(questions.len() / 2);
                for half in [first, second] {
                    self.folded(half).divide(half, answer);
                }
            }
        }
    }

    /// The network without what none of the questions touches.
    fn folded<Q: Question>(&self, questions: &[Q]) -> Net<'m> {
        let machine = self.machine;
        let touched: BTreeSet<usize> = questions.iter().flat_map(|q| q.edits().branches()).collect();
        let (loose, joined): (Vec<usize>, Vec<usize>) =
            self.loose.iter().copied().partition(|branch| touched.contains(branch));
        let mut mesh = self.mesh.clone();
        for branch in joined {
            self.join(&mut mesh, &Edits::default(), branch);
        }
        let mut keep: Vec<usize> = self.ports();
        for branch in loose.iter().chain(questions.iter().flat_map(|q| &q.edits().closed)) {
            keep.extend(machine.branches[*branch].ends);
        }
        for question in questions {
            keep.extend(question.probes().iter().flatten());
            keep.extend(question.edits().joined.iter().flat_map(|(ends, _)| ends));
        }
        let mesh = mesh.fold(&keep, HUB);
        Net { machine, corner: self.corner, insides: self.insides, mesh, loose }
    }

    /// The nodes by which things switch.
    fn ports(&self) -> Vec<usize> {
        let machine = self.machine;
        let mut ports = Vec::new();
        if !machine.powered {
            return ports;
        }
        let gated = machine.branches.iter().filter(|branch| branch.gate != Gate::Always);
        ports.extend(gated.flat_map(|branch| branch.ends));
        for device in &machine.devices {
            match &device.what {
                What::Relay { coil: branch, .. } | What::Diode { branch, .. } | What::Fuse { branch, .. } => {
                    ports.extend(machine.branches[*branch].ends);
                }
                What::Driver { inputs, ground } => ports.extend(inputs.iter().chain([ground])),
                What::Alternator { sense, minus, .. } => ports.extend([sense, minus]),
            }
        }
        ports
    }

    fn join(&self, mesh: &mut Mesh, edits: &Edits, at: usize) {
        let branch = &self.machine.branches[at];
        mesh.join(branch.ends, edits.siemens(self.machine, at, self.corner), branch.emf);
    }

    /// The network with everything joined in that does not switch, changed as the question says.
    pub(super) fn with(&self, edits: &Edits) -> Mesh {
        let mut mesh = self.mesh.clone();
        let loose = self.loose.iter().filter(|branch| !edits.opens(**branch));
        for branch in loose.chain(&edits.closed) {
            self.join(&mut mesh, edits, *branch);
        }
        for (ends, ohms) in &edits.joined {
            mesh.join(*ends, 1.0 / ohms, 0.0);
        }
        mesh
    }
}
