//! What circuit theory says of every network of resistances and sources, asked of made machines.
//!
//! The laws stand in any textbook of circuit theory: Kirchhoff's current law, superposition, and the
//! reciprocity of a network of resistances (for instance C. A. Desoer and E. S. Kuh, "Basic Circuit Theory",
//! 1969; from memory). The machines are made from seeds (see `support/machine.rs`). Superposition and
//! reciprocity hold while nothing switches, so they are asked of machines without relays, diodes, units and
//! alternators in which no fuse blows.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

#[path = "support/machine.rs"]
mod machine;

use proptest::prelude::*;

use machine::{Rng, read};
use ringout::circuit::{Corner, Operating, solve};
use ringout::definition::{Harness, PartKind, Point};
use ringout::netlist::{Link, LinkId, Netlist, PartWay};
use ringout::setup::{Connected, Isolated, Setup, switches};

/// A machine that is live, with switches and conditions as the numbers have it; `None` if it never settles.
struct Live {
    harness: Harness,
    netlist: Netlist,
    operating: Operating,
}

impl Live {
    fn new(text: &str, seed: u64) -> Option<Self> {
        let mut rng = Rng::new(seed ^ 0x11fe);
        let harness = read(text);
        let netlist = Netlist::new(&harness);
        let moved = switches(&harness).fold(Isolated::at_rest(), |setup, (switch, count, _)| {
            setup.set(&harness, switch, rng.below(count))
        });
        let conditions = harness.conditions.ids().filter(|_| rng.chance(70));
        let setup = Setup::from(conditions.fold(moved.connect(), Connected::bring));
        let operating = solve(&harness, &netlist, &setup, &[], Corner::Nominal).ok()?;
        Some(Self { harness, netlist, operating })
    }

    /// The current that leaves a link's first end through it.
    fn amps(&self, link: LinkId) -> f64 {
        let [a, b] = self.netlist.ends(link);
        let Some(ohms) = self.operating.ohms(link) else { return 0.0 };
        (self.operating.volts_between(a, b) - self.emf(link)) / ohms
    }

    /// By how much a source or a conducting diode lifts its first end above its second.
    fn emf(&self, link: LinkId) -> f64 {
        let Link::Part(part, way) = self.netlist.link(link) else { return 0.0 };
        match (way, &self.harness.parts[part].kind) {
            (PartWay::Source, PartKind::Battery { volts, .. } | PartKind::Alternator { volts, .. }) => {
                volts.get()
            }
            (PartWay::Diode, PartKind::Diode { drop, .. }) => drop.get(),
            _ => 0.0,
        }
    }

    fn link_of(&self, part: &str) -> LinkId {
        let part = self.harness.names.part(part).unwrap();
        let of = |link: &LinkId| matches!(self.netlist.link(*link), Link::Part(p, _) if p == part);
        self.netlist.links().find(of).unwrap()
    }

    fn no_fuse_blew(&self) -> bool {
        self.operating.states().all_blown().len() == 0
    }
}

/// Inputs of a unit draw to its return through 10 kohm each.
const INPUT_OHMS: f64 = 10_000.0;

/// The currents that leave each node, and the largest of them.
fn node_currents(live: &Live) -> Vec<(f64, f64)> {
    let mut currents = vec![(0.0_f64, 0.0_f64); live.netlist.point_count()];
    let mut add = |[a, b]: [usize; 2], amps: f64| {
        for (node, amps) in [(a, amps), (b, -amps)] {
            currents[node].0 += amps;
            currents[node].1 = currents[node].1.max(amps.abs());
        }
    };
    for link in live.netlist.links() {
        add(live.netlist.ends(link), live.amps(link));
    }
    for part in live.harness.parts.values() {
        let PartKind::Unit { functions } = &part.kind else { continue };
        for function in functions {
            let Some(ground) = function.ground else { continue };
            for input in std::iter::once(&function.supply).chain(&function.when) {
                let ends = [*input, ground].map(|point| live.harness.point_index(point));
                add(ends, live.operating.volts_between(ends[0], ends[1]) / INPUT_OHMS);
            }
        }
    }
    currents
}

/// The text of a machine in which nothing switches, and in which only what a test adds is a source; its own
/// battery is a resistance now. `None` if something in it switches.
fn quiet(seed: u64, wires: usize) -> Option<String> {
    let text = machine::random(seed, wires);
    let switching = ["relay", "diode", "unit", "alternator"];
    if switching.iter().any(|kind| text.contains(&format!("kind = \"{kind}\""))) {
        return None;
    }
    let battery =
        "kind = \"battery\"\nvolts = \"25.4 V\"\ninternal = \"12 mohm\"\nplus = \"BT1\"\nminus = \"BT2\"\n";
    let resistor = "kind = \"resistor\"\nohms = \"12 mohm\"\nbetween = [\"BT1\", \"BT2\"]\n";
    assert!(text.contains(battery));
    Some(text.replace(battery, resistor))
}

/// A quiet machine near a seed.
fn some_quiet(seed: u64, wires: usize) -> String {
    (0..).find_map(|more| quiet(seed.wrapping_add(more), wires)).unwrap()
}

/// Two pairs of points that a part can be put between.
fn ports(harness: &Harness, rng: &mut Rng) -> [[String; 2]; 2] {
    let points: Vec<Point> = harness
        .points()
        .filter(|point| matches!(point, Point::Contact(_) | Point::Terminal(_)))
        .filter(|point| harness.wires_at(*point).len() > 0)
        .collect();
    [(); 2].map(|()| {
        let a = rng.below(points.len());
        let b = (a + rng.between(1, points.len() - 1)) % points.len();
        [a, b].map(|at| harness.point_name(points[at]))
    })
}

fn source(id: &str, volts: f64, ohms: f64, [a, b]: &[String; 2]) -> String {
    format!(
        "[part.{id}]\nkind = \"battery\"\nvolts = \"{volts} V\"\ninternal = \"{ohms} ohm\"\nplus = \"{a}\"\nminus = \"{b}\"\n"
    )
}

fn resistor(id: &str, ohms: f64, [a, b]: &[String; 2]) -> String {
    format!("[part.{id}]\nkind = \"resistor\"\nohms = \"{ohms} ohm\"\nbetween = [\"{a}\", \"{b}\"]\n")
}

fn close(a: f64, b: f64, scale: f64) -> bool {
    (a - b).abs() <= 1e-9 * scale.max(a.abs()).max(b.abs())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn what_flows_into_a_node_flows_out_of_it(seed: u64, wires in 2usize..120) {
        let Some(live) = Live::new(&machine::random(seed, wires), seed) else { return Ok(()) };
        for (node, (sum, most)) in node_currents(&live).into_iter().enumerate() {
            let point = live.harness.point_name(live.netlist.point(node));
            prop_assert!(sum.abs() <= 1e-8 * (1.0 + most), "{} A at {}, {} A in one link", sum, point, most);
        }
    }

    #[test]
    fn a_live_machine_has_the_same_resistance_from_either_side(seed: u64, wires in 2usize..120) {
        let Some(live) = Live::new(&machine::random(seed, wires), seed) else { return Ok(()) };
        let mut rng = Rng::new(seed);
        for _ in 0..40 {
            let [a, b] = [(); 2].map(|()| rng.below(live.netlist.point_count()));
            match (live.operating.resistance(a, b), live.operating.resistance(b, a)) {
                (None, None) => {}
                (Some(there), Some(back)) => {
                    prop_assert!(close(there.get(), back.get(), 1e-12), "{there:?} {back:?}");
                }
                (there, back) => prop_assert!(false, "{:?} {:?}", there, back),
            }
        }
    }

    /// The voltages of two sources are the sums of what parts of each of them make.
    #[test]
    fn two_sources_superpose(seed: u64, wires in 2usize..40) {
        let text = some_quiet(seed, wires);
        let ports = ports(&read(&text), &mut Rng::new(seed));
        let with = |first: f64, second: f64| {
            let sources = source("VA", first, 30.0, &ports[0]) + &source("VB", second, 50.0, &ports[1]);
            Live::new(&format!("{text}\n{sources}"), seed).unwrap()
        };
        // No source of 0 V can be written, so both always give something.
        let [one, other, sum] = [with(10.0, 1.0), with(2.0, 23.0), with(12.0, 24.0)];
        prop_assert!([&one, &other, &sum].iter().all(|live| live.no_fuse_blew()));
        let chassis = sum.netlist.chassis();
        for node in 0..sum.netlist.point_count() {
            let reference = if sum.operating.joined(node, chassis) { chassis } else {
                sum.harness.point_index(sum.harness.point(&ports[0][0]).unwrap())
            };
            let volts = |live: &Live| live.operating.volts_between(node, reference);
            prop_assert!(
                close(volts(&one) + volts(&other), volts(&sum), 1.0),
                "{} {} {}", volts(&one), volts(&other), volts(&sum)
            );
        }
    }

    /// A source in one place drives in another the current that it would drive here from there.
    #[test]
    fn a_source_and_an_ammeter_may_change_places(seed: u64, wires in 2usize..40) {
        let text = some_quiet(seed, wires);
        let ports = ports(&read(&text), &mut Rng::new(seed));
        let here = source("PA", 24.0, 30.0, &ports[0]) + &resistor("PB", 50.0, &ports[1]);
        let there = resistor("PA", 30.0, &ports[0]) + &source("PB", 24.0, 50.0, &ports[1]);
        let [here, there] = [here, there].map(|parts| Live::new(&format!("{text}\n{parts}"), seed).unwrap());
        prop_assert!(here.no_fuse_blew() && there.no_fuse_blew());
        let [at_b, at_a] = [here.amps(here.link_of("PB")), there.amps(there.link_of("PA"))];
        prop_assert!(close(at_b, at_a, 1e-3), "{} {}", at_b, at_a);
    }
}

/// The laws above say little where nothing flows, so something must flow in most of the machines.
#[test]
fn the_machines_are_not_idle() {
    let (mut live, mut busy, mut linked) = (0, 0, 0);
    for seed in 0..100 {
        let Some(machine) = Live::new(&machine::random(seed, 20 + seed as usize), seed) else { continue };
        live += 1;
        busy += usize::from(node_currents(&machine).iter().any(|(_, most)| *most > 0.01));
        let text = some_quiet(seed, 20);
        let ports = ports(&read(&text), &mut Rng::new(seed));
        let parts = source("PA", 24.0, 30.0, &ports[0]) + &resistor("PB", 50.0, &ports[1]);
        let here = Live::new(&format!("{text}\n{parts}"), seed).unwrap();
        linked += usize::from(here.amps(here.link_of("PB")).abs() > 1e-6);
    }
    assert!(live >= 90 && busy >= 70 && linked >= 35, "{live} {busy} {linked}");
}
