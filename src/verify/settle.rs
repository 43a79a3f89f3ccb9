//! Settling a machine with power: relays, diodes, drivers and fuses switch until the voltages call for no more.
//!
//! Comes in: a network of what does not switch, and what is changed. Goes out: which devices are on, or the
//! rounds of a machine that never settles; what a voltmeter reads. Why: under power a fault shows by what it
//! makes switch.
//!
//! From rest, diodes take their state first; while one still switches the others wait, for what they see is
//! not yet what they will see. Then relays, drivers and alternators switch together. A fuse blows only when all
//! else is at rest, by the current that stays, and the one most overloaded blows first.

use super::machine::{Gate, Machine, What};
use super::mesh::{Mesh, Volts};
use super::net::{Edits, Net};

/// From this multiple of its rating a fuse counts as blown: at 200 % a blade fuse opens within seconds
/// (ISO 8820-3, from memory).
const BLOWS: f64 = 2.0;
/// A diode without current stands at its drop but for rounding, in volts.
const ROUNDING: f64 = 1e-7;
/// More rounds than any chain of relays takes.
const ROUNDS: usize = 500;
/// Conductance of a voltmeter of 10 Mohm, which is common (open textbook "Lessons In Electric Circuits", DC).
const VOLTMETER: f64 = 1e-7;

/// Where thresholds lie: voltages and a fuse's current, against what is given.
#[derive(Debug, Clone, Copy)]
pub(super) struct Thresholds {
    volts: f64,
    amps: f64,
}

impl Thresholds {
    /// As given.
    pub(super) const EXACT: Self = Self { volts: 1.0, amps: 1.0 };
    /// The lowest and the highest of healthy parts: a sixth either way, fuses scatter more. Common practice,
    /// no source.
    pub(super) const OUTER: [Self; 2] =
        [Self { volts: 5.0 / 6.0, amps: 0.6 }, Self { volts: 7.0 / 6.0, amps: 1.8 }];
}

/// How a machine ends up.
#[derive(Debug, Clone)]
pub(super) struct Settled {
    /// Which devices are on: once, or for each round of a machine that never settles.
    pub(super) rounds: Vec<Vec<bool>>,
    /// Whether something stands so near its threshold that it might as well have switched.
    pub(super) marginal: bool,
}

impl Settled {
    /// What is on in the machine at rest; the names of what keeps switching where it never comes to rest.
    pub(super) fn steady(&self, machine: &Machine<'_>) -> Result<&[bool], String> {
        if let [on] = &self.rounds[..] {
            return Ok(on);
        }
        let switches = |at: &usize| self.rounds.iter().any(|on| on[*at] != self.rounds[0][*at]);
        let mut parts: Vec<_> = (0..machine.devices.len()).filter(switches).collect();
        parts.dedup_by_key(|at| machine.devices[*at].part);
        let names = parts.iter().map(|at| machine.harness.parts[machine.devices[*at].part].id.as_str());
        Err(names.collect::<Vec<_>>().join(", "))
    }
}

/// A network with power, changed as a question says.
pub(super) struct Live<'n> {
    net: &'n Net<'n>,
    edits: &'n Edits,
    fixed: Mesh,
}

impl<'n> Live<'n> {
    pub(super) fn new(net: &'n Net<'n>, edits: &'n Edits) -> Self {
        Self { net, edits, fixed: net.with(edits) }
    }

    fn machine(&self) -> &Machine<'_> {
        self.net.machine
    }

    /// The network while some devices are on.
    fn mesh(&self, on: &[bool]) -> Mesh {
        let mut mesh = self.fixed.clone();
        for (at, branch) in self.machine().branches.iter().enumerate() {
            if let Gate::While(device, wanted) = branch.gate
                && on[device] == wanted
                && !self.edits.opens(at)
            {
                mesh.join(branch.ends, self.siemens(at), branch.emf);
            }
        }
        mesh
    }

    fn siemens(&self, branch: usize) -> f64 {
        self.edits.siemens(self.machine(), branch, self.net.corner)
    }

    /// All voltages while some devices are on.
    pub(super) fn volts(&self, on: &[bool]) -> Volts {
        self.mesh(on).volts()
    }

    /// What a voltmeter reads between two nodes: it is put into the network.
    pub(super) fn voltmeter(&self, on: &[bool], [red, black]: [usize; 2]) -> f64 {
        let mut mesh = self.mesh(on);
        mesh.join([red, black], VOLTMETER, 0.0);
        mesh.volts().between(red, black)
    }

    /// From rest until nothing switches, or the same comes round again.
    pub(super) fn settle(&self, thresholds: Thresholds) -> Settled {
        let mut on = vec![false; self.machine().devices.len()];
        for (device, stays) in &self.edits.forced {
            on[*device] = *stays;
        }
        let mut seen: Vec<Vec<bool>> = Vec::new();
        loop {
            let volts = self.volts(&on);
            let next = self.next(&volts, &on, thresholds);
            if next == on {
                let switches = |outer: &Thresholds| self.next(&volts, &on, *outer) != on;
                let marginal = Thresholds::OUTER.iter().any(switches);
                return Settled { rounds: vec![on], marginal };
            }
            seen.push(std::mem::replace(&mut on, next));
            let again = seen.iter().position(|before| *before == on);
            if again.is_some() || seen.len() > ROUNDS {
                return Settled { rounds: seen.split_off(again.unwrap_or(0)), marginal: false };
            }
        }
    }

    /// What is on next.
    fn next(&self, volts: &Volts, on: &[bool], thresholds: Thresholds) -> Vec<bool> {
        let mut next = on.to_vec();
        let passes: [fn(&What) -> bool; 2] =
            [|what| matches!(what, What::Diode { .. }), |what| !matches!(what, What::Fuse { .. })];
        for wanted in passes {
            for (at, device) in self.machine().devices.iter().enumerate() {
                if wanted(&device.what) && self.edits.forced.iter().all(|(forced, _)| *forced != at) {
                    next[at] = self.switches_on(&device.what, volts, on[at], thresholds);
                }
            }
            if next != on {
                return next;
            }
        }
        if let Some(blown) = self.overloaded(volts, on, thresholds) {
            next[blown] = true;
        }
        next
    }

    fn switches_on(&self, what: &What, volts: &Volts, on: bool, thresholds: Thresholds) -> bool {
        let machine = self.machine();
        let across = |branch: usize| {
            let [a, b] = machine.branches[branch].ends;
            volts.between(a, b)
        };
        let live = machine.half() * thresholds.volts;
        match what {
            What::Relay { coil, operate } => {
                !self.edits.opens(*coil) && across(*coil).abs() >= operate * thresholds.volts
            }
            What::Diode { branch, .. } if self.edits.opens(*branch) => false,
            What::Diode { branch, drop } if on => across(*branch) >= drop - ROUNDING,
            What::Diode { branch, drop } => across(*branch) > drop + ROUNDING,
            What::Driver { inputs, ground } => {
                inputs.iter().all(|input| volts.between(*input, *ground) >= live)
            }
            What::Alternator { sense, minus, turns } => *turns && volts.between(*sense, *minus) >= live,
            What::Fuse { .. } => on,
        }
    }

    /// The fuse that blows: the one with the most current for its rating.
    fn overloaded(&self, volts: &Volts, on: &[bool], thresholds: Thresholds) -> Option<usize> {
        let mut most: Option<(f64, usize)> = None;
        for (at, device) in self.machine().devices.iter().enumerate() {
            let What::Fuse { branch, rating } = device.what else { continue };
            if on[at] || self.edits.opens(branch) {
                continue;
            }
            let [a, b] = self.machine().branches[branch].ends;
            let amps = (volts.between(a, b) * self.siemens(branch)).abs();
            let load = amps / rating.max(f64::MIN_POSITIVE);
            if load >= BLOWS * thresholds.amps && most.is_none_or(|(known, _)| load > known) {
                most = Some((load, at));
            }
        }
        most.map(|(_, at)| at)
    }
}
