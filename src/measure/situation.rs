//! A machine in one setup, with everything that several measurements of it share.

use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};

use super::{Measurement, Refusal, connected_unit};
use crate::circuit::{Change, Corner, Lean, Operating, Scatter, Trail, Unsettled, Way, solve_rounds};
use crate::definition::{Harness, Kind, PartId, Point};
use crate::netlist::resistance::{self, Seen};
use crate::netlist::{Link, Netlist, Nets, PartWay};
use crate::setup::{Power, Setup};
use crate::units::Ohms;

/// A machine in one setup: nets, ohmmeter groups and the solved network.
pub struct Situation<'a> {
    /// The machine.
    pub harness: &'a Harness,
    /// Its graph.
    pub netlist: &'a Netlist,
    /// Its state, which all measurements in it share.
    pub setup: Arc<Setup>,
    /// What conductors alone join.
    pub nets: Nets,
    /// What an ohmmeter's current can reach.
    pub groups: Nets,
    /// Units that are still connected, each with the nodes of its connected contacts.
    units: BTreeMap<PartId, Vec<usize>>,
    /// The healthy machine with what to expect of every resistance.
    trail: Trail,
    /// The healthy machine with the least and with the highest resistances, solved when first asked for.
    outer: [OnceLock<Option<Trail>>; 2],
    /// Without power and with units connected, the healthy machine with as much current through them as may
    /// be: see [`INSIDE`].
    through_units: Option<Trail>,
    /// The same with the least resistances, solved when first asked for.
    least_through_units: OnceLock<Option<Trail>>,
    /// With power connected, the healthy machine with every threshold at its lowest and at its highest,
    /// where that makes a difference.
    leaning: Vec<Operating>,
    /// For each link, by how many ohms a healthy one may differ from what is expected.
    scatter: Vec<f64>,
}

/// The least resistance from a contact of a connected unit to what joins them all inside it, without
/// power: inputs and drivers have hundreds of ohms and more. Common practice, no source; what is really in
/// there is not known, so a reading may lie anywhere between this and no connection at all.
const INSIDE: Ohms = Ohms::new(50.0);

/// What a meter would show on a machine with known changes, without the meter's own errors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Prediction {
    /// A resistance in ohms.
    Ohms(f64),
    /// Nothing joins the probes.
    Open,
    /// A voltage in volts.
    Volts(f64),
}

impl Prediction {
    /// What an ohmmeter shows of a resistance, where anything joins its probes.
    pub fn of(ohms: Option<Ohms>) -> Self {
        ohms.map_or(Self::Open, |ohms| Self::Ohms(ohms.get()))
    }
}

impl<'a> Situation<'a> {
    /// Prepares a setup. Cost: one factorisation per corner, near-linear in links.
    ///
    /// # Errors
    /// The parts that keep switching, if the machine never settles.
    pub fn new(harness: &'a Harness, netlist: &'a Netlist, setup: &Setup) -> Result<Self, Unsettled> {
        let trail = Trail::new(harness, netlist, setup)?;
        let leans = if trail.steady().is_marginal() { &Lean::OUTER[..] } else { &[] };
        let leaning = leans
            .iter()
            .flat_map(|lean| trail.solve(harness, netlist, setup, &[], *lean).unwrap_or_default());
        let leaning = leaning.collect();
        let seen = match setup.power() {
            Power::Isolated => Seen::Cold,
            Power::Connected => Seen::Working,
        };
        let scatter = netlist.links().map(|link| match netlist.link(link) {
            // The voltages of sources have bounds of their own, and their inside is not plain resistance.
            Link::Part(_, PartWay::Source | PartWay::Diode) => 0.0,
            _ => resistance::range(netlist, harness, link, seen).scatter().get(),
        });
        let strapped = || setup.strap_joins(harness).map(|(ends, _)| ends);
        let groups = netlist.groups_joined(|link| setup.passes_ohmmeter(netlist, harness, link), strapped());
        let mut units: BTreeMap<PartId, Vec<usize>> = BTreeMap::new();
        for (node, point) in harness.points().enumerate() {
            if let Some(unit) = connected_unit(harness, point, setup) {
                units.entry(unit).or_default().push(node);
            }
        }
        let inside = if setup.power() == Power::Isolated { inside(&units) } else { Vec::new() };
        let through_units = match &inside[..] {
            [] => None,
            _ => Some(Trail::from(harness, netlist, setup, Corner::Nominal, inside)?),
        };
        Ok(Self {
            harness,
            netlist,
            nets: netlist.groups_joined(|link| setup.joins(netlist, link), strapped()),
            scatter: scatter.collect(),
            leaning,
            setup: Arc::new(setup.clone()),
            groups,
            units,
            trail,
            outer: [OnceLock::new(), OnceLock::new()],
            through_units,
            least_through_units: OnceLock::new(),
        })
    }

    /// The node of a point.
    pub fn node(&self, point: Point) -> usize {
        self.harness.point_index(point)
    }

    /// A reading, if it may be taken: the only way to make a [`Measurement`].
    ///
    /// # Errors
    /// The reason why it must not or cannot be taken.
    pub fn measure(&self, kind: Kind, red: Point, black: Point) -> Result<Measurement, Refusal> {
        let measurement = Measurement::new(self.harness, kind, red, black, &self.setup)?;
        if kind == Kind::Isolation
            && let Some(unit) = self.unit_across(self.node(red), self.node(black))
        {
            return Err(Refusal::IntoUnit { unit: self.harness.parts[unit].id.clone() });
        }
        Ok(measurement)
    }

    /// A unit that an isolation test between two nodes would put its voltage on. The chassis side may
    /// have units on it: their cases and returns stay at the chassis.
    fn unit_across(&self, red: usize, black: usize) -> Option<PartId> {
        let chassis = self.groups.of(self.netlist.chassis());
        let tested = [red, black].map(|node| self.groups.of(node));
        let tested = |node: &usize| {
            let group = self.groups.of(*node);
            group != chassis && tested.contains(&group)
        };
        self.units.iter().find(|(_, nodes)| nodes.iter().any(tested)).map(|(unit, _)| *unit)
    }

    /// A connected unit whose unknown inside would have a part in a resistance reading: with one
    /// ampere between the probes there is a voltage across two of its contacts, or it alone could join
    /// the two sides. Units that meet where no probe leads to count as one: current may go through one after the
    /// other.
    pub fn relies_on_unit(&self, red: Point, black: Point) -> Option<PartId> {
        let [red, black] = [red, black].map(|p| self.node(p));
        let healthy = self.healthy();
        let through = |nodes: &[usize]| {
            let [mut reds, mut blacks] =
                [red, black].map(|probe| nodes.iter().copied().filter(move |n| healthy.joined(*n, probe)));
            if !healthy.joined(red, black) {
                return reds.next().is_some() && blacks.next().is_some();
            }
            let Some(first) = reds.next() else { return false };
            let apart = |node: &usize| self.nets.of(*node) != self.nets.of(first);
            reds.filter(apart).any(|node| healthy.shares_current(red, black, first, node))
        };
        self.chains([red, black]).into_iter().find(|(_, nodes)| through(nodes)).map(|(unit, _)| unit)
    }

    /// The contacts of connected units, those together that meet on what is joined to neither probe; each with one
    /// of its units.
    fn chains(&self, probes: [usize; 2]) -> Vec<(PartId, Vec<usize>)> {
        let healthy = self.healthy();
        let ends = probes.map(|probe| healthy.island(probe));
        let mut chains: Vec<(PartId, Vec<usize>)> = Vec::new();
        let mut at: BTreeMap<u32, usize> = BTreeMap::new();
        for (unit, nodes) in &self.units {
            let own = chains.len();
            chains.push((*unit, nodes.clone()));
            let islands: Vec<u32> = nodes.iter().map(|node| healthy.island(*node)).collect();
            for island in islands.into_iter().filter(|island| !ends.contains(island)) {
                let other = *at.entry(island).or_insert(own);
                if other != own {
                    let more = std::mem::take(&mut chains[other].1);
                    chains[own].1.extend(more);
                    at.values_mut().filter(|chain| **chain == other).for_each(|chain| *chain = own);
                }
            }
        }
        chains
    }

    /// The healthy machine as it is expected.
    pub fn healthy(&self) -> &Operating {
        self.trail.steady()
    }

    /// The healthy resistance between two nodes at its least, expected and highest.
    pub fn bounds(&self, red: usize, black: usize) -> [Option<f64>; 3] {
        let of = |operating: &Operating| operating.resistance(red, black).map(Ohms::get);
        let expected = of(self.healthy());
        if self.setup.power() == Power::Connected {
            return [expected; 3];
        }
        let at = |corner| self.trail_at(corner).map(Trail::steady);
        [at(Corner::Low).and_then(of), expected, at(Corner::High).and_then(of)]
    }

    /// The healthy machine with every resistance at one end of its range; `None` where it never settles so.
    fn trail_at(&self, corner: Corner) -> Option<&Trail> {
        let slot = match corner {
            Corner::Nominal => return Some(&self.trail),
            Corner::Low => &self.outer[0],
            Corner::High => &self.outer[1],
        };
        let solve = || Trail::from(self.harness, self.netlist, &self.setup, corner, Vec::new()).ok();
        slot.get_or_init(solve).as_ref()
    }

    /// What a healthy machine shows.
    pub fn predict_healthy(&self, measurement: &Measurement) -> Prediction {
        self.read(self.healthy(), measurement)
    }

    /// What a reading without power shows on a machine with some things changed.
    pub fn predict(&self, measurement: &Measurement, changes: &[Change]) -> Prediction {
        let machine = self.solve(changes).into_iter().next();
        machine.map_or_else(|| self.predict_healthy(measurement), |machine| self.read(&machine, measurement))
    }

    /// The machine with some things changed: one solution, or each round of a machine that never
    /// settles. Cost: a low-rank change of the healthy machine's factor for each round.
    pub fn solve(&self, changes: &[Change]) -> Vec<Operating> {
        self.solve_at(changes, Corner::Nominal, Lean::Exact)
    }

    /// The changed machine with all resistances, or all thresholds, at one end of their range. Cost: as
    /// [`Situation::solve`], and a factorisation for each end of the resistances when first asked for.
    pub fn solve_at(&self, changes: &[Change], corner: Corner, lean: Lean) -> Vec<Operating> {
        let (harness, netlist, setup) = (self.harness, self.netlist, &self.setup);
        let rounds = match self.trail_at(corner) {
            Some(trail) => trail.solve(harness, netlist, setup, changes, lean),
            None => solve_rounds(harness, netlist, setup, changes, corner, lean),
        };
        rounds.unwrap_or_default()
    }

    /// The changed machine without power, with as much current as may be through the units that are
    /// connected; `None` where none is.
    pub fn solve_through_units(&self, changes: &[Change]) -> Option<Operating> {
        let trail = self.through_units.as_ref()?;
        let rounds = trail.solve(self.harness, self.netlist, &self.setup, changes, Lean::Exact);
        rounds.unwrap_or_default().into_iter().next()
    }

    /// The healthy machine without power, with as much current as may be through the units that are
    /// connected; `None` where none is.
    pub fn healthy_through_units(&self) -> Option<&Operating> {
        self.through_units.as_ref().map(Trail::steady)
    }

    /// The least that a healthy resistance can be with as much current as may be through the units that are connected;
    /// `None` where none is, or nothing joins the two nodes.
    pub(super) fn least_through_units(&self, red: usize, black: usize) -> Option<f64> {
        self.through_units.as_ref()?;
        let solve =
            || Trail::from(self.harness, self.netlist, &self.setup, Corner::Low, inside(&self.units)).ok();
        let trail = self.least_through_units.get_or_init(solve).as_ref()?;
        trail.steady().resistance(red, black).map(Ohms::get)
    }

    /// Fuses that blow in the healthy machine in this setup: the definition asks more of them than they
    /// are rated for, so what is fed through them is dead in every prediction.
    pub fn blown_when_healthy(&self) -> impl Iterator<Item = PartId> + '_ {
        self.healthy().states().all_blown().filter_map(|link| match self.netlist.link(link) {
            Link::Part(part, _) => Some(part),
            _ => None,
        })
    }

    /// By how much a reading on a solved machine may differ because no resistance is exactly what is
    /// expected.
    pub fn scatter(&self, operating: &Operating, measurement: &Measurement) -> Scatter {
        let [red, black] = [measurement.red(), measurement.black()].map(|p| self.node(p));
        operating.scatter(self.netlist, &self.scatter, red, black)
    }

    /// The healthy machine where its thresholds lie otherwise, if that makes a difference.
    pub(super) fn leaning(&self) -> &[Operating] {
        &self.leaning
    }

    /// What a measurement shows on a solved machine.
    pub fn read(&self, operating: &Operating, measurement: &Measurement) -> Prediction {
        self.read_along(operating, &self.way(operating, measurement), measurement.kind())
    }

    /// The way between the probes of a measurement, of a solved machine and all that are updates of it.
    pub fn way(&self, operating: &Operating, measurement: &Measurement) -> Way {
        let [red, black] = [measurement.red(), measurement.black()].map(|p| self.node(p));
        operating.way(red, black)
    }

    /// What a measurement shows on a solved machine, whose way is known.
    pub fn read_along(&self, operating: &Operating, way: &Way, kind: Kind) -> Prediction {
        if !kind.is_resistance() {
            return Prediction::Volts(operating.voltmeter_along(way).get());
        }
        Prediction::of(operating.resistance_along(way))
    }
}

/// What may conduct inside the units that are connected.
fn inside(units: &BTreeMap<PartId, Vec<usize>>) -> Vec<Change> {
    let star = |nodes: &Vec<usize>| {
        let (middle, rest) = nodes.split_first()?;
        Some(rest.iter().map(|node| Change::Joined(*middle, *node, INSIDE)).collect::<Vec<_>>())
    };
    units.values().filter_map(star).flatten().collect()
}
