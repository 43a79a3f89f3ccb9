//! What a plan claims to show, against ngspice: every claimed fault of made machines is put into the circuit,
//! and the outside simulator reads what the step that claims it would read.
//!
//! ngspice is a general-purpose circuit simulator. A fault stands in a copy of the machine of its own; all
//! copies of a machine are one deck, joined by nothing but node 0, and one analysis reads them all. A
//! resistance is the voltage that one ampere makes; a voltmeter is 10 Mohm across its probes ("Lessons In
//! Electric Circuits", DC, chapter on metering).

#![allow(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]

#[path = "support/copies.rs"]
mod copies;
#[path = "support/machine.rs"]
mod machine;
#[path = "support/spice.rs"]
mod spice;
#[path = "support/mod.rs"]
mod support;

use std::collections::BTreeSet;

use copies::Copies;
use machine::made;
use ringout::definition::Harness;
use ringout::fault::Universe;
use ringout::measure::Meter;
use ringout::netlist::Netlist;
use ringout::plan::{Plan, Scope, plan};

/// Every fault that a plan claims, each at the first step that claims it, or one in so many.
fn confirmed(harness: &Harness, one_in: usize) -> [usize; 2] {
    let netlist = Netlist::new(harness);
    let Ok(plan): Result<Plan, _> = plan(harness, &netlist, &Scope::default(), Meter::HANDHELD) else {
        return [0; 2];
    };
    let universe = Universe::new(harness, &netlist);
    let mut copies = Copies::new(harness, &netlist, &universe);
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
