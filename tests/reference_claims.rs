//! What a plan claims to show, against ngspice: every claimed fault of made machines is put into the circuit,
//! and the outside simulator reads what the step that claims it would read.
//!
//! ngspice is a general-purpose circuit simulator. A fault stands in a copy of the machine of its own; all
//! copies of a machine are one deck, joined by nothing but node 0, and one analysis reads them all. A
//! resistance is the voltage that one ampere makes; a voltmeter is 10 Mohm across its probes ("Lessons In
//! Electric Circuits", DC, chapter on metering).

#![allow(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]

#[path = "support/machine.rs"]
mod machine;
#[path = "support/spice.rs"]
mod spice;
#[path = "support/mod.rs"]
mod support;

use std::collections::BTreeSet;
use std::fmt::Write;

use machine::made;
use ringout::circuit::spice::deck;
use ringout::definition::Harness;
use ringout::fault::{Fault, Universe};
use ringout::measure::{Meter, Prediction};
use ringout::netlist::Netlist;
use ringout::plan::{Plan, Scope, Step, plan};

/// A claim whose reading the simulator is asked for.
struct Asked<'a> {
    step: &'a Step,
    fault: Fault,
    /// The nodes whose voltage is the reading; none where nothing joins the probes.
    probes: Option<[String; 2]>,
}

/// Copies of one machine in one deck.
struct Copies<'a> {
    harness: &'a Harness,
    netlist: &'a Netlist,
    universe: &'a Universe,
    text: String,
    asked: Vec<Asked<'a>>,
    confirmed: usize,
    buzzing: usize,
}

/// More copies than this in one deck take longer than two decks: the simulator's own bookkeeping grows faster
/// than the circuit.
const MOST: usize = 12;

impl<'a> Copies<'a> {
    /// Adds a copy with the fault in it, in the state of the step, and a meter across its probes.
    fn add(&mut self, step: &'a Step, fault: Fault) {
        let changes = self.universe.changes(self.harness, self.netlist, fault);
        let measurement = &step.measurement;
        let Ok(deck) = deck(self.harness, self.netlist, measurement.setup(), &changes, "") else {
            // A machine that never settles has no operating point to ask for.
            self.buzzing += 1;
            return;
        };
        let at = self.asked.len();
        let own = |node: &str| if node == "0" { node.to_owned() } else { format!("{node}_c{at}") };
        let circuit = deck.circuit().lines().skip(1).collect::<Vec<_>>().join("\n");
        let elements = spice::elements(&circuit);
        for element in &elements {
            let [a, b] = element.ends.each_ref().map(|node| own(node));
            writeln!(self.text, "{}_c{at} {a} {b} {:e}", element.name, element.value).unwrap();
        }
        let islands = spice::islands(&elements);
        let nodes = [measurement.red(), measurement.black()].map(|p| deck.node(self.harness.point_index(p)));
        let joined = |[a, b]: [&str; 2]| islands.get(a) == islands.get(b);
        let probes = match nodes {
            [Some(a), Some(b)] if joined([a, b]) => Some([own(a), own(b)]),
            _ => None,
        };
        if let Some([red, black]) = &probes {
            let meter = if measurement.kind().is_resistance() {
                format!("i_meter_c{at} {black} {red} 1")
            } else {
                format!("r_meter_c{at} {red} {black} 10meg")
            };
            self.text += &meter;
            self.text.push('\n');
        }
        self.asked.push(Asked { step, fault, probes });
        if self.asked.len() == MOST {
            self.check();
        }
    }

    /// Runs all copies at once and holds every reading against its step.
    fn check(&mut self) {
        if self.asked.is_empty() {
            return;
        }
        let mut deck = format!("copies of a machine\n{}.control\nset numdgt=16\nop\n", self.text);
        let wanted: BTreeSet<&String> =
            self.asked.iter().flat_map(|asked| asked.probes.iter().flatten()).filter(|n| *n != "0").collect();
        for node in wanted {
            writeln!(deck, "print v({node})").unwrap();
        }
        deck += "quit\n.endc\n.end\n";
        let printed = spice::run(&deck);
        for Asked { step, fault, probes } in &self.asked {
            let kind = step.measurement.kind();
            let value = probes
                .as_ref()
                .map(|[red, black]| spice::voltage(&printed, red) - spice::voltage(&printed, black));
            let reading = match (kind.is_resistance(), value) {
                (true, Some(ohms)) => Prediction::Ohms(ohms),
                (true, None) => Prediction::Open,
                (false, volts) => Prediction::Volts(volts.unwrap_or(0.0)),
            };
            assert!(
                step.expect.excludes(reading, kind, &step.expect.meter),
                "{}: {} would not show {}: ngspice reads {reading:?}, healthy is {}",
                step.id,
                step.measurement.words(self.harness),
                fault.id(self.harness),
                step.expect.words(),
            );
        }
        self.confirmed += self.asked.len();
        self.asked.clear();
        self.text.clear();
    }
}

/// Every fault that a plan claims, each at the first step that claims it, or one in so many.
fn confirmed(harness: &Harness, one_in: usize) -> [usize; 2] {
    let netlist = Netlist::new(harness);
    let Ok(plan): Result<Plan, _> = plan(harness, &netlist, &Scope::default(), Meter::HANDHELD) else {
        return [0; 2];
    };
    let universe = Universe::new(harness, &netlist);
    let mut copies = Copies {
        harness,
        netlist: &netlist,
        universe: &universe,
        text: String::new(),
        asked: Vec::new(),
        confirmed: 0,
        buzzing: 0,
    };
    let mut seen = BTreeSet::new();
    for step in plan.steps() {
        for fault in &step.covers {
            if seen.insert(*fault) && seen.len() % one_in == 0 {
                copies.add(step, *fault);
            }
        }
    }
    copies.check();
    [copies.confirmed, copies.buzzing]
}

#[test]
fn fifty_made_machines_show_what_their_plans_claim() {
    if !spice::is_there() {
        return;
    }
    let (mut confirmed_in_all, mut buzzing, mut machines) = (0, 0, 0);
    for seed in 300..350 {
        let [claims, buzz] = confirmed(&made(seed, 20 + (seed as usize % 4) * 5), 1);
        confirmed_in_all += claims;
        buzzing += buzz;
        machines += usize::from(claims > 0);
    }
    assert!(machines >= 45 && confirmed_in_all > 3000, "{machines} machines, {confirmed_in_all} claims");
    assert!(buzzing < confirmed_in_all / 50, "{buzzing} claims could not be asked for");
}

#[test]
fn the_sprayer_shows_what_its_plan_claims() {
    if spice::is_there() {
        let [claims, _] = confirmed(&support::harness("orchard-sprayer.toml"), 10);
        assert!(claims > 100, "{claims}");
    }
}
