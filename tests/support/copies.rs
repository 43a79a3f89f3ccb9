//! Faults put into copies of a machine, which ngspice solves.
//!
//! Comes in: a machine, steps of a plan, faults that they claim to show. Goes out: how many the simulator confirms; one
//! that it does not ends the test. A fault stands in a copy of its own; all copies are one deck, joined by nothing but
//! node 0, and one analysis reads them all.

use std::collections::BTreeSet;
use std::fmt::Write;

use ringout::circuit::spice::deck;
use ringout::definition::Harness;
use ringout::fault::{Fault, Universe};
use ringout::measure::Prediction;
use ringout::netlist::Netlist;
use ringout::plan::Step;

use crate::spice;

/// A claim whose reading the simulator is asked for.
struct Asked<'a> {
    step: &'a Step,
    fault: Fault,
    /// The nodes whose voltage is the reading; none where nothing joins the probes.
    probes: Option<[String; 2]>,
}

/// Copies of one machine in one deck.
pub(crate) struct Copies<'a> {
    harness: &'a Harness,
    netlist: &'a Netlist,
    universe: &'a Universe,
    text: String,
    asked: Vec<Asked<'a>>,
    pub(crate) confirmed: usize,
    pub(crate) buzzing: usize,
}

/// More copies than this in one deck take longer than two decks: the simulator's own bookkeeping grows faster
/// than the circuit.
const MOST: usize = 12;

impl<'a> Copies<'a> {
    /// None yet.
    pub(crate) fn new(harness: &'a Harness, netlist: &'a Netlist, universe: &'a Universe) -> Self {
        let (text, asked) = (String::new(), Vec::new());
        Self { harness, netlist, universe, text, asked, confirmed: 0, buzzing: 0 }
    }

    /// Adds a copy with the fault in it, in the state of the step, and a meter across its probes.
    pub(crate) fn add(&mut self, step: &'a Step, fault: Fault) {
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
    pub(crate) fn check(&mut self) {
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
