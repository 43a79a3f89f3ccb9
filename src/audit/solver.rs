//! Setups, each solved once: what works in it, and what flows.

use std::collections::BTreeMap;

use super::flow::Flow;
use crate::circuit::{Corner, Operating, Singular, Unsettled, solve};
use crate::definition::{Harness, LoadKind, PartId, PartKind, Point};
use crate::netlist::resistance::{self, Seen};
use crate::netlist::{Link, LinkId, Netlist, PartWay};
use crate::setup::Setup;
use crate::units::Volts;

/// Nominal voltage where the definition gives none and has no source to tell.
const NOMINAL: f64 = 12.0;

/// What kind of thing waits for current.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum What {
    Load,
    Coil,
    /// The supply of a unit's function.
    Supply,
    /// A condition input of a unit's function.
    Input,
}

/// Something that works when it gets current.
#[derive(Debug, Clone)]
pub(super) struct Consumer {
    pub part: PartId,
    pub what: What,
    /// Its link; a unit's inputs have none.
    pub link: Option<LinkId>,
    pub ends: [usize; 2],
    /// What people call it: `M1`, `BOX1 at J1.A`.
    pub name: String,
}

/// One solved setup.
#[derive(Debug, Clone)]
pub(super) struct Case {
    pub setup: Setup,
    pub flow: Flow,
    /// The voltage across each consumer, from its first end to its second.
    pub volts: Vec<f64>,
    /// Whether each consumer works.
    pub works: Vec<bool>,
    /// Fuses that have blown, each with the current that it would have to carry.
    pub blown: Vec<(LinkId, f64)>,
    /// An alternator would have to give more than it can: the currents are not those of the machine.
    pub beyond: bool,
}

/// Solves setups and keeps what came of them.
pub(super) struct Solver<'a> {
    harness: &'a Harness,
    netlist: &'a Netlist,
    pub nominal: f64,
    pub consumers: Vec<Consumer>,
    pub budget: usize,
    pub cases: Vec<Case>,
    pub unsettled: Vec<(Setup, Vec<String>)>,
    known: BTreeMap<Setup, Option<usize>>,
}

impl<'a> Solver<'a> {
    pub(super) fn new(harness: &'a Harness, netlist: &'a Netlist, budget: usize) -> Self {
        Self {
            harness,
            netlist,
            nominal: nominal(harness),
            consumers: consumers(harness, netlist),
            budget,
            cases: Vec::new(),
            unsettled: Vec::new(),
            known: BTreeMap::new(),
        }
    }

    /// How many setups have been solved.
    pub(super) fn solved(&self) -> usize {
        self.known.len()
    }

    /// Solves a setup if it has not been; says which consumers work, or `None` if it never settles.
    pub(super) fn solve(&mut self, setup: Setup) -> Result<Option<Vec<bool>>, Singular> {
        if let Some(known) = self.known.get(&setup) {
            return Ok(known.map(|at| self.cases[at].works.clone()));
        }
        match solve(self.harness, self.netlist, &setup, &[], Corner::Nominal) {
            Ok(operating) => {
                let consumers = &self.consumers;
                let case =
                    case(self.harness, self.netlist, consumers, self.nominal, setup.clone(), &operating);
                let works = case.works.clone();
                self.known.insert(setup, Some(self.cases.len()));
                self.cases.push(case);
                Ok(Some(works))
            }
            Err(Unsettled::Loop(parts)) => {
                self.known.insert(setup.clone(), None);
                self.unsettled.push((setup, parts));
                Ok(None)
            }
            Err(Unsettled::Singular(singular)) => Err(singular),
        }
    }
}

pub(super) fn case(
    harness: &Harness,
    netlist: &Netlist,
    consumers: &[Consumer],
    nominal: f64,
    setup: Setup,
    operating: &Operating,
) -> Case {
    let flow = Flow::of(harness, netlist, operating);
    let volts = |c: &Consumer| match c.link {
        Some(link) if !operating.conducts(link) => 0.0,
        _ => operating.volts_between(c.ends[0], c.ends[1]),
    };
    let volts: Vec<f64> = consumers.iter().map(volts).collect();
    let works = |(consumer, volts): (&Consumer, &f64)| match consumer.what {
        What::Load => volts.abs() >= 0.5 * nominal,
        What::Coil => operating.states().operated(consumer.part),
        What::Supply | What::Input => *volts >= 0.5 * nominal,
    };
    let works = consumers.iter().zip(&volts).map(works).collect();
    let would_carry = |link: LinkId| {
        let [a, b] = netlist.ends(link);
        let own = resistance::range(netlist, harness, link, Seen::Working).nominal.get();
        let rest = operating.resistance(a, b).map_or(f64::INFINITY, crate::units::Ohms::get);
        (link, operating.volts_between(a, b).abs() / (own + rest))
    };
    let blown = operating.states().all_blown().map(would_carry).collect();
    let beyond = netlist.links().any(|link| match netlist.link(link) {
        Link::Part(part, PartWay::Source) => match &harness.parts[part].kind {
            PartKind::Alternator { most: Some(most), .. } => -flow.amps(link) > most.get(),
            _ => false,
        },
        _ => false,
    });
    Case { setup, flow, volts, works, blown, beyond }
}

fn nominal(harness: &Harness) -> f64 {
    let of = |part: &crate::definition::Part| match &part.kind {
        PartKind::Battery { volts, .. } | PartKind::Alternator { volts, .. } => Some(volts.get()),
        _ => None,
    };
    let sources = harness.parts.values().filter_map(of);
    let most = harness.about.nominal.map_or_else(|| sources.fold(0.0, f64::max), Volts::get);
    if most > 0.0 { most } else { NOMINAL }
}

/// Everything that waits for current, in the order of the parts.
fn consumers(harness: &Harness, netlist: &Netlist) -> Vec<Consumer> {
    let mut found = Vec::new();
    for link in netlist.links() {
        let Link::Part(part, way) = netlist.link(link) else { continue };
        let what = match (way, &harness.parts[part].kind) {
            // A sensor only tells what another part's current is.
            (PartWay::Through, PartKind::Load { kind, .. }) if *kind != LoadKind::Sensor => What::Load,
            (PartWay::Coil, _) => What::Coil,
            _ => continue,
        };
        let name = harness.parts[part].id.clone();
        found.push(Consumer { part, what, link: Some(link), ends: netlist.ends(link), name });
    }
    for (part, unit) in harness.parts.iter() {
        let PartKind::Unit { functions } = &unit.kind else { continue };
        let mut inputs: Vec<(Point, Point, What)> = Vec::new();
        for function in functions {
            let ground = function.ground.unwrap_or(Point::Chassis);
            inputs.push((function.supply, ground, What::Supply));
            inputs.extend(function.when.iter().map(|point| (*point, ground, What::Input)));
        }
        let mut known = Vec::new();
        for (point, ground, what) in inputs {
            if known.contains(&(point, ground)) {
                continue;
            }
            known.push((point, ground));
            let ends = [point, ground].map(|p| harness.point_index(p));
            let name = format!("{} at {}", unit.id, harness.point_name(point));
            found.push(Consumer { part, what, link: None, ends, name });
        }
    }
    found
}
