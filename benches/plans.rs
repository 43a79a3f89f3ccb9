//! What a whole plan takes: made machines of 10,000, 30,000 and 100,000 wires, with one hand and with all processors.
//!
//! Run with `cargo bench --bench plans`. Aim: the plan of 100,000 wires in under five seconds on two cores; it is missed
//! (DEVELOPERS.md, Cost). Each is timed once: a plan of that size takes seconds.

#[path = "../tests/support/machine.rs"]
mod machine;
#[path = "../tests/support/threads.rs"]
mod threads;

use std::time::Instant;

use ringout::definition::load;
use ringout::measure::Meter;
use ringout::netlist::Netlist;
use ringout::plan::{Aids, Hands, OneByOne, Scope, plan_by};
use ringout::sheet;

use threads::Threads;

fn main() {
    for wires in [10_000, 30_000, 100_000] {
        let start = Instant::now();
        let none = &mut |path: &str| Err(format!("{path} is not there"));
        let harness =
            load("large.toml", machine::large(wires), None, none).expect("the made machine loads").harness;
        let netlist = Netlist::new(&harness);
        report(&format!("{} wires, loaded in {:.2?}", harness.wires.len(), start.elapsed()));
        for (who, hands) in [("one hand", &OneByOne as &dyn Hands), ("all processors", &Threads)] {
            let start = Instant::now();
            let plan =
                plan_by(hands, &harness, &netlist, &Scope::default(), Meter::HANDHELD, Aids::default());
            let plan = plan.expect("the made machine settles");
            let planned = start.elapsed();
            let view = sheet::plan_view_by(hands, &harness, &plan);
            let viewed = start.elapsed();
            let json = serde_json::to_vec_pretty(&view).expect("a plan is JSON").len();
            report(&format!(
                "  {who}: {} steps, {} faults planned in {planned:.2?}, with its view in {viewed:.2?}, with {} MB of \
                 JSON in {:.2?}",
                plan.cost.steps,
                plan.coverage.faults,
                json / 1_000_000,
                start.elapsed()
            ));
        }
    }
}

#[expect(clippy::print_stderr, reason = "a benchmark reports to the person who runs it")]
fn report(line: &str) {
    eprintln!("{line}");
}
