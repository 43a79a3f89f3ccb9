//! The machine generator itself: what it makes loads, and is not all of one kind.
//!
//! Properties are only as good as the machines they are tried on. These tests fail when the
//! generator stops making something that a definition can hold.

#[path = "support/machine.rs"]
mod machine;

use std::collections::BTreeMap;

use ringout::definition::{Harness, Loaded, PartKind, Point, load};
use ringout::netlist::Netlist;

fn harness(text: String) -> Harness {
    let none = &mut |path: &str| Err(format!("{path} is not there"));
    match load("made.toml", text, None, none) {
        Ok(Loaded { harness, .. }) => harness,
        Err(rejected) => {
            let messages: Vec<&str> = rejected.diagnostics.iter().map(|d| d.message.as_str()).collect();
            panic!("{}: {messages:#?}", rejected.name)
        }
    }
}

/// SplitMix64 numbers for seed 1234567: from memory, as commonly printed beside the algorithm.
#[test]
fn numbers_are_the_same_everywhere() {
    let mut rng = machine::Rng::new(1_234_567);
    let numbers: Vec<u64> = (0..3).map(|_| rng.next()).collect();
    assert_eq!(numbers, [6_457_827_717_110_365_317, 3_203_168_211_198_807_973, 9_817_491_932_198_370_423]);
}

#[test]
fn a_seed_names_one_machine() {
    assert_eq!(machine::random(7, 40), machine::random(7, 40));
    assert_ne!(machine::random(7, 40), machine::random(8, 40));
}

#[test]
fn every_machine_loads_and_has_about_the_size_asked_for() {
    for seed in 0..300 {
        let wanted = 2 + (seed as usize * 7) % 150;
        let made = harness(machine::random(seed, wanted));
        assert!((wanted..wanted + 40).contains(&made.wires.len()), "seed {seed}: {}", made.wires.len());
    }
}

/// What a set of machines holds, by name.
fn count(machines: &[Harness]) -> BTreeMap<String, usize> {
    let mut found = BTreeMap::new();
    let mut add = |name: &str, by: usize| *found.entry(name.to_owned()).or_insert(0) += by;
    for made in machines {
        for part in made.parts.values() {
            add(part.kind.word(), 1);
            if let PartKind::Load { when: Some(_), .. } = part.kind {
                add("waits for a condition", 1);
            }
        }
        for (id, connector) in made.connectors.iter() {
            add("mated connector", usize::from(connector.mating.is_some()));
            add("unmated connector", usize::from(connector.mating.is_none()));
            add("connector on a part", usize::from(connector.part.is_some()));
            add("backprobe", usize::from(connector.backprobe));
            add("face", usize::from(connector.face.is_some()));
            add("listed contacts", usize::from(connector.face.is_none()));
            for contact in made.contacts_of(id) {
                add("joined pin", usize::from(made.contacts[contact].joined));
                add("spare pin", usize::from(made.contacts[contact].spare));
            }
        }
        for id in made.splices.ids() {
            add(&format!("splice of {} legs", made.wires_at(Point::Splice(id)).len()), 1);
        }
        add("ground terminal", made.terminals.values().filter(|t| t.ground).count());
        add("routed wire", made.wires.values().filter(|w| !w.route.is_empty()).count());
        add("wire of unknown size", made.wires.values().filter(|w| w.gauge.is_none()).count());
        add("parallel wire", parallel(made));
        add("wire in a ring", ringed(made));
        add("bridge wire", made.wires.len() - ringed(made));
    }
    found
}

/// Wires that have the same two ends as an earlier one.
fn parallel(made: &Harness) -> usize {
    let mut ends: Vec<[Point; 2]> = made.wires.values().map(|w| w.ends).collect();
    for pair in &mut ends {
        pair.sort_unstable();
    }
    ends.sort_unstable();
    ends.windows(2).filter(|pair| pair[0] == pair[1]).count()
}

fn ringed(made: &Harness) -> usize {
    let netlist = Netlist::new(made);
    let bridges = netlist.bridges(|link| netlist.link(link).is_conductor());
    // Wires are the first links of a netlist.
    bridges[..made.wires.len()].iter().filter(|bridge| !**bridge).count()
}

#[test]
fn machines_hold_everything_and_differ() {
    let machines: Vec<Harness> = (0..60).map(|seed| harness(machine::random(seed, 60))).collect();
    let found = count(&machines);
    let at_least = |names: &[&str], least: usize| {
        for name in names {
            let many = found.get(*name).copied().unwrap_or(0);
            assert!(many >= least, "{name}: {many}, not {least}: {found:#?}");
        }
    };
    at_least(&["battery"], 60);
    at_least(&["alternator", "unit", "breaker", "diode", "sensor", "waits for a condition"], 10);
    at_least(&["fuse", "switch", "relay", "lamp", "motor", "coil", "resistor"], 30);
    at_least(&["mated connector", "unmated connector", "connector on a part", "backprobe"], 60);
    at_least(&["face", "listed contacts", "joined pin", "spare pin", "ground terminal"], 60);
    at_least(&["routed wire", "wire of unknown size", "parallel wire", "wire in a ring"], 60);
    at_least(&["bridge wire"], 600);
    for legs in 1..=6 {
        at_least(&[&format!("splice of {legs} legs")], 10);
    }
    let nets = |made: &Harness| {
        let netlist = Netlist::new(made);
        netlist.groups(|link| netlist.link(link).is_conductor()).len()
    };
    let mut sizes: Vec<usize> = machines.iter().map(nets).collect();
    sizes.sort_unstable();
    sizes.dedup();
    assert!(sizes.len() > 20, "the machines have nearly all as many nets: {sizes:?}");
}

#[test]
fn a_large_machine_has_the_structure_of_a_real_one() {
    let made = harness(machine::large(5_000));
    assert!((5_000..5_400).contains(&made.wires.len()), "{}", made.wires.len());
    let wide = made.connectors.values().filter(|c| c.mating.is_some() && c.count >= 20).count();
    assert!(wide >= 60, "{wide} wide connectors");
    assert!(made.splices.ids().all(|id| (2..=6).contains(&made.wires_at(Point::Splice(id)).len())));
    let loads = made.parts.values().filter(|p| matches!(p.kind, PartKind::Load { .. })).count();
    assert!((300..800).contains(&loads), "{loads} loads");
    assert!(parallel(&made) > 20 && ringed(&made) > 40, "{} {}", parallel(&made), ringed(&made));
}
