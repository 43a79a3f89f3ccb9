//! A machine with something wrong in it, and a meter to read it with.
//!
//! Comes in: the definition of a machine, a fault and a seed. Goes out: what a meter would show on that
//! very machine. Why: what the program says about a fault is only worth something if the readings do not
//! come out of the same arithmetic that explains them.
//!
//! What differs from the program's own prediction:
//! - every part and every joint has a resistance of its own between the least and the most of its range;
//! - resistances without power come from a dense elimination written here;
//! - sources stand a few per cent off their figure, the meter errs by up to 1 % and some counts, and shows
//!   tenths of an ohm and hundredths of a volt;
//! - a control box that is still connected has an inside of a few kilohms;
//! - a fuse that blew stays blown.

#![allow(dead_code, reason = "each test uses its own share of this module")]

use std::collections::BTreeSet;

use ringout::circuit::{Change, Corner, Lean, Operating, solve_rounds};
use ringout::definition::{Harness, Kind, PartKind, Point};
use ringout::fault::{Fault, Universe};
use ringout::measure::Measurement;
use ringout::netlist::resistance::{self, Seen};
use ringout::netlist::{Link, LinkId, Netlist, PartWay};
use ringout::setup::{Power, Setup};
use ringout::units::Ohms;

use crate::machine::Rng;

/// One machine with its own tolerances and, maybe, a fault.
pub(crate) struct Bench<'a> {
    /// The machine as defined.
    harness: &'a Harness,
    netlist: &'a Netlist,
    /// The machine as it was really built.
    built: Harness,
    changes: Vec<Change>,
    blown: BTreeSet<LinkId>,
    rng: Rng,
    /// One draw from 0 to 1 for every link.
    draws: Vec<f64>,
}

impl<'a> Bench<'a> {
    /// Builds the machine; `built` is the same machine with tolerances in its text (see [`vary`]).
    pub(crate) fn new(
        harness: &'a Harness,
        netlist: &'a Netlist,
        built: Harness,
        fault: Option<Fault>,
        seed: u64,
    ) -> Self {
        let mut rng = Rng::new(seed);
        let universe = Universe::new(harness, netlist);
        let mut changes = fault.map_or_else(Vec::new, |fault| universe.changes(harness, netlist, fault));
        for change in &mut changes {
            if let Change::Added(_, ohms) = change {
                // A bad joint: from three ohms to thirty kilohms.
                *ohms = Ohms::new(3.0 * 10f64.powf(4.0 * unit(&mut rng)));
            }
        }
        let draws = netlist.links().map(|_| unit(&mut rng)).collect();
        Self { harness, netlist, built, changes, blown: BTreeSet::new(), rng, draws }
    }

    /// What the meter shows, as a person writes it.
    pub(crate) fn read(&mut self, measurement: &Measurement) -> String {
        let [red, black] = [measurement.red(), measurement.black()].map(|p| self.harness.point_index(p));
        if measurement.kind().is_resistance() {
            self.ohms(measurement.kind(), measurement.setup(), red, black)
        } else {
            self.volts(measurement.setup(), red, black)
        }
    }

    fn changes(&self) -> Vec<Change> {
        let blown = self.blown.iter().map(|fuse| Change::Open(*fuse));
        self.changes.iter().copied().chain(blown).collect()
    }

    fn volts(&mut self, setup: &Setup, red: usize, black: usize) -> String {
        let rounds =
            solve_rounds(&self.built, self.netlist, setup, &self.changes(), Corner::Nominal, Lean::Exact)
                .unwrap();
        // A definition that overloads a fuse in the sound machine describes no machine that there is.
        let sound =
            solve_rounds(&self.built, self.netlist, setup, &[], Corner::Nominal, Lean::Exact).unwrap();
        for link in self.netlist.links() {
            let blows = |rounds: &[Operating]| rounds.iter().any(|round| round.states().blown(link));
            if blows(&rounds) && !blows(&sound) {
                self.blown.insert(link);
            }
        }
        let shown: Vec<f64> = rounds.iter().map(|round| round.voltmeter(red, black).get()).collect();
        let mean = shown.iter().sum::<f64>() / shown.len() as f64;
        let error = 1.0 + 0.01 * (2.0 * unit(&mut self.rng) - 1.0);
        format!("{:.2} V", mean * error + 0.02 * (unit(&mut self.rng) - 0.5))
    }

    fn ohms(&mut self, kind: Kind, setup: &Setup, red: usize, black: usize) -> String {
        assert_eq!(setup.power(), Power::Isolated, "ohms on a live machine");
        let Some(ohms) = self.resistance(setup, red, black).filter(|ohms| *ohms < 2e7) else {
            return "OL".to_owned();
        };
        let error = 1.0 + 0.01 * (2.0 * unit(&mut self.rng) - 1.0);
        let shown = ohms * error + 0.2 * unit(&mut self.rng);
        if kind == Kind::Continuity && shown < 30.0 && self.rng.chance(5) {
            return "beep".to_owned();
        }
        match shown {
            x if x < 1e3 => format!("{x:.1} ohm"),
            x if x < 1e6 => format!("{:.2} kohm", x / 1e3),
            x => format!("{:.3} Mohm", x / 1e6),
        }
    }

    /// The resistance between two nodes without power, by elimination on the dense matrix.
    pub(crate) fn resistance(&self, setup: &Setup, red: usize, black: usize) -> Option<f64> {
        let branches = self.branches(setup);
        let mut near: Vec<Vec<(usize, f64)>> = vec![Vec::new(); self.netlist.point_count()];
        for (a, b, g) in branches {
            near[a].push((b, g));
            near[b].push((a, g));
        }
        // Only what hangs together with the probe has a part in it.
        let mut order = vec![red];
        let mut at = vec![usize::MAX; near.len()];
        at[red] = 0;
        let mut next = 0;
        while let Some(node) = order.get(next).copied() {
            for (other, _) in &near[node] {
                if at[*other] == usize::MAX {
                    at[*other] = order.len();
                    order.push(*other);
                }
            }
            next += 1;
        }
        if at[black] == usize::MAX {
            return None;
        }
        let n = order.len();
        let mut m = vec![vec![0.0; n + 1]; n];
        for (row, node) in order.iter().enumerate() {
            for (other, g) in &near[*node] {
                m[row][row] += g;
                m[row][at[*other]] -= g;
            }
        }
        // One ampere in at red and out at black; black is the reference.
        m[0][n] = 1.0;
        let ground = at[black];
        m[ground] = vec![0.0; n + 1];
        m[ground][ground] = 1.0;
        Some(eliminate(m, 0))
    }

    fn branches(&self, setup: &Setup) -> Vec<(usize, usize, f64)> {
        let mut branches = Vec::new();
        let changes = self.changes();
        for link in self.netlist.links() {
            let [a, b] = self.netlist.ends(link);
            if changes.contains(&Change::Open(link)) || !self.conducts(setup, link) {
                continue;
            }
            let range = resistance::range(self.netlist, self.harness, link, Seen::Cold);
            let draw = self.draws[link.index()];
            let mut ohms = range.low.get() + (range.high.get() - range.low.get()) * draw;
            for change in &changes {
                if let Change::Added(to, more) = change
                    && *to == link
                {
                    ohms += more.get();
                }
            }
            branches.push((a, b, 1.0 / ohms.max(1e-6)));
        }
        for change in &changes {
            if let Change::Joined(a, b, ohms) = change {
                branches.push((*a, *b, 1.0 / ohms.get()));
            }
        }
        self.insides(&mut branches);
        branches
    }

    /// What sits in control boxes: some kilohms from every contact to the return.
    fn insides(&self, branches: &mut Vec<(usize, usize, f64)>) {
        for part in self.harness.parts.values() {
            let PartKind::Unit { functions } = &part.kind else { continue };
            for (at, function) in functions.iter().enumerate() {
                let Some(ground) = function.ground else { continue };
                for (more, point) in
                    [function.supply, function.output].iter().chain(&function.when).enumerate()
                {
                    let [a, b] = [*point, ground].map(|p| self.harness.point_index(p));
                    if a != b {
                        branches.push((a, b, 1.0 / (2000.0 + 3000.0 * (at + more) as f64)));
                    }
                }
            }
        }
    }

    fn conducts(&self, setup: &Setup, link: LinkId) -> bool {
        match self.netlist.link(link) {
            Link::Wire(_) | Link::Bond(_) => true,
            Link::Mated { mating, .. } => setup.parted().all(|parted| parted != mating),
            Link::Part(part, way) => match (way, &self.harness.parts[part].kind) {
                (PartWay::Through, PartKind::Load { when: Some(when), .. }) => setup.holds(*when),
                (PartWay::Through | PartWay::Coil, _) => true,
                (PartWay::Switch(_), PartKind::Switch { positions, .. }) => {
                    let [a, b] = self.netlist.ends(link);
                    let pair = |ends: &[Point; 2]| ends.map(|p| self.harness.point_index(p)) == [a, b];
                    positions[setup.position(self.harness, part)].closed.iter().any(pair)
                }
                (PartWay::Released, _) => !self.stuck_operated(part),
                (PartWay::Operated, _) => self.stuck_operated(part),
                _ => false,
            },
        }
    }

    fn stuck_operated(&self, part: ringout::definition::PartId) -> bool {
        self.changes.contains(&Change::Stuck { relay: part, operated: true })
    }
}

/// Gauss and Jordan with pivoting; gives the unknown `wanted`.
fn eliminate(mut m: Vec<Vec<f64>>, wanted: usize) -> f64 {
    let n = m.len();
    for col in 0..n {
        let best = (col..n).max_by(|a, b| m[*a][col].abs().total_cmp(&m[*b][col].abs())).unwrap();
        m.swap(col, best);
        let pivot = std::mem::take(&mut m[col]);
        for row in m.iter_mut().filter(|row| !row.is_empty() && row[col] != 0.0) {
            let factor = row[col] / pivot[col];
            for (x, p) in row.iter_mut().zip(&pivot).skip(col) {
                *x -= factor * p;
            }
        }
        m[col] = pivot;
    }
    m[wanted][n] / m[wanted][wanted]
}

/// A number from 0 to 1.
fn unit(rng: &mut Rng) -> f64 {
    (rng.next() >> 11) as f64 / (1u64 << 53) as f64
}

/// A definition's text as the machine was really built: loads, coils and sources a little off their figure.
pub(crate) fn vary(text: &str, seed: u64) -> String {
    let mut rng = Rng::new(seed);
    let mut varied = String::with_capacity(text.len());
    let mut regulated = false;
    for line in text.lines() {
        if let Some(kind) = line.trim().strip_prefix("kind = ") {
            regulated = kind.contains("alternator");
        }
        let tolerance = match line.split('=').next().map(str::trim) {
            Some("ohms" | "cold_ohms" | "coil_ohms") => (-0.10, 0.10),
            Some("internal") => (-0.30, 0.30),
            Some("volts") if regulated => (-0.01, 0.01),
            Some("volts") => (-0.05, 0.02),
            Some("length") => (-0.05, 0.05),
            _ => (0.0, 0.0),
        };
        varied.push_str(&scaled(line, 1.0 + tolerance.0 + (tolerance.1 - tolerance.0) * unit(&mut rng)));
        varied.push('\n');
    }
    varied
}

/// A line with the number in its first quoted text scaled.
fn scaled(line: &str, by: f64) -> String {
    let parts: Vec<&str> = line.splitn(3, '"').collect();
    let [before, quantity, after] = parts[..] else { return line.to_owned() };
    let Some((number, unit)) = quantity.split_once(' ') else { return line.to_owned() };
    match number.parse::<f64>() {
        Ok(number) if (by - 1.0).abs() > 1e-9 => format!("{before}\"{:.6} {unit}\"{after}", number * by),
        _ => line.to_owned(),
    }
}

/// A stable number for a fault, to seed its machine.
pub(crate) fn seed_of(at: usize, seed: u64) -> u64 {
    Rng::new(seed ^ (at as u64).wrapping_mul(0x9e37)).next()
}
