//! How many tests do: published counts, and plans of published leads counted by hand.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

#[path = "support/mod.rs"]
mod support;

use ringout::definition::Kind;
use ringout::measure::Meter;
use ringout::netlist::Netlist;
use ringout::plan::{
    self, Aids, Plan, Scope, counting, group_tests, kautz, modified_counting, pair_tests, side,
    spanning_steps,
};

/// W. H. Kautz, "Testing for Faults in Wiring Networks", IEEE Transactions on Computers C-23(4), 1974,
/// 358-363: p - 1 + ceil(log2 q) tests, for p terminals in the largest cluster and q clusters. The rows
/// are that formula worked out by hand.
#[test]
fn tester_with_a_point_at_every_terminal() {
    for (p, q, tests) in [(1, 8, 3), (2, 8, 4), (4, 10, 7), (3, 25, 7), (1, 64, 6), (5, 128, 11)] {
        assert_eq!(kautz(p, q), tests, "p = {p}, q = {q}");
    }
}

/// The edges of the same formula: one cluster needs no test for shorts, and a power of two is not
/// rounded up.
#[test]
fn tester_counts_at_the_edges() {
    assert_eq!(kautz(1, 1), 0);
    assert_eq!(kautz(4, 1), 3);
    assert_eq!([kautz(1, 2), kautz(1, 3), kautz(1, 4), kautz(1, 5)], [1, 2, 2, 3]);
}

/// CV Electrical Power System Maintenance Manual 2A5A2-ELEC-MM-1-0, section 6.3: the shell against
/// contacts 1 to 25 tied together, then contact k against k + 1 to 25 tied. With 25 contacts and the
/// shell that is 1 + 24 = 25 group tests, against 26 x 25 / 2 = 325 single pairs.
#[test]
fn group_isolation_of_a_25_contact_cable() {
    let contacts = 25;
    let shell = 1;
    let by_procedure = shell + (1..contacts).count();
    assert_eq!(by_procedure, 25);
    assert_eq!(group_tests(contacts + shell), by_procedure);
    let pairs: usize = (0..contacts + shell).map(|k| contacts + shell - 1 - k).sum();
    assert_eq!(pairs, 325);
}

/// The counting sequence (Kautz 1974, as above) and its form without the codes of all zeros and all ones (P. Goel
/// and M. T. McMahon, International Test Conference 1982, from memory), with all pairs, for n nets: each row worked
/// out by hand.
#[test]
fn groupings_of_nets() {
    for (nets, all, without, pairs) in [
        (2, 1, 2, 1),
        (6, 3, 3, 15),
        (7, 3, 4, 21),
        (8, 3, 4, 28),
        (14, 4, 4, 91),
        (15, 4, 5, 105),
        (16, 4, 5, 120),
        (62, 6, 6, 1891),
        (64, 6, 7, 2016),
        (100, 7, 7, 4950),
        (128, 7, 8, 8128),
        (256, 8, 9, 32_640),
    ] {
        assert_eq!(counting(nets), all, "{nets}");
        assert_eq!(modified_counting(nets), without, "{nets}");
        assert_eq!(pair_tests(nets), pairs, "{nets}");
    }
}

/// What the counting sequence promises (Kautz 1974): some grouping sets every two nets apart, so each single short
/// shows; and one grouping fewer would not do. Every pair of up to 64 nets.
#[test]
fn groupings_set_every_two_nets_apart() {
    for nets in 2..=64 {
        let apart = |a: usize, b: usize, of: usize| (0..of).any(|digit| side(a, digit) != side(b, digit));
        for b in 0..nets {
            assert!((0..b).all(|a| apart(a, b, counting(nets))), "{nets}: {b}");
        }
        let fewer = counting(nets) - 1;
        assert!((0..nets).any(|b| (0..b).any(|a| !apart(a, b, fewer))), "{nets}");
        // Numbered from one on, no net stands on one side throughout.
        let groupings = modified_counting(nets);
        let both = |net: usize| [false, true].iter().all(|one| (0..groupings).any(|d| side(net, d) == *one));
        assert!((1..=nets).all(both), "{nets}");
    }
}

fn isolation(plan: &Plan) -> Vec<&plan::Step> {
    plan.steps().filter(|step| step.measurement.kind() == Kind::Isolation).collect()
}

fn aided(name: &str, words: &[&str]) -> Plan {
    let harness = support::harness(name);
    let netlist = Netlist::new(&harness);
    let aids = Aids::parse(words.iter().copied()).unwrap();
    plan::plan_with(&harness, &netlist, &Scope::default(), Meter::HANDHELD, aids).unwrap()
}

/// The procedure of section 6.3 (as above) on a lead of 25 wires and a shield in one jacket, from the plan itself: 325
/// pairs without straps; with them the shell against 1 to 25 tied, then contact k against k + 1 to 25 tied.
#[test]
fn a_plan_tests_groups_as_the_procedure_does() {
    let harness = support::harness("umbilical-25.toml");
    let pairs = planned("umbilical-25.toml");
    assert_eq!(isolation(&pairs).len(), 325);
    let plan = aided("umbilical-25.toml", &["straps"]);
    let mut tests = isolation(&plan);
    assert_eq!(tests.len(), 25);
    // The last two need no strap: they are read beside the paths, before straps are at hand.
    tests.sort_by_key(|step| step.measurement.setup().straps().next().is_none());
    let contact = |k: usize| if k == 0 { "XU1.SH".to_owned() } else { format!("XU1.{k}") };
    for (k, step) in tests.iter().enumerate() {
        let measurement = &step.measurement;
        assert_eq!(harness.point_name(measurement.red()), contact(k));
        let rest: Vec<String> = (k + 1..=25).map(contact).collect();
        assert_eq!(harness.point_name(measurement.black()), rest[0]);
        let tied: Vec<String> =
            measurement.setup().straps().flat_map(|strap| strap.names(&harness)).collect();
        assert_eq!(tied, if rest.len() > 1 { rest } else { Vec::new() }, "{k}");
    }
    assert_eq!(plan.coverage.detected, pairs.coverage.detected);
    assert!(plan.cost.steps_bound < plan.cost.steps && plan.cost.seconds < pairs.cost.seconds);
}

/// n wires two by two through a plug at the far end: half the readings, each from one end.
#[test]
fn a_loopback_halves_the_continuity_tests() {
    let plan = aided("umbilical-25.toml", &["loopback"]);
    let wires = 25 + 1;
    assert_eq!(continuity(&plan), wires / 2);
    assert_eq!(plan.aided.as_ref().map(|aided| (aided.far, aided.without.far)), Some((0, wires)));
    assert_eq!(plan.coverage.detected, planned("umbilical-25.toml").coverage.detected);
}

/// Half against half: never more groupings than the counting sequence has.
#[test]
fn half_against_half_is_no_more_than_counting() {
    let plan = aided("orchard-sprayer.toml", &["groupings"]);
    let groups = plan.aided.unwrap().groups;
    assert!(groups.iter().any(|group| group.halves));
    for group in groups.iter().filter(|group| group.halves) {
        assert!(group.bound <= group.tests && group.tests <= counting(group.nets), "{group:?}");
    }
    assert!(groups.iter().all(|group| group.tests <= group_tests(group.nets)), "{groups:?}");
}

/// A tree over k points has k - 1 edges (any textbook of graph theory).
#[test]
fn spanning_a_net() {
    assert_eq!([0, 1, 2, 5, 25].map(spanning_steps), [0, 0, 1, 4, 24]);
}

fn planned(name: &str) -> Plan {
    let harness = support::harness(name);
    let netlist = Netlist::new(&harness);
    plan::plan(&harness, &netlist, &Scope::default(), Meter::HANDHELD).unwrap()
}

fn continuity(plan: &Plan) -> usize {
    plan.steps().filter(|step| step.measurement.kind() == Kind::Continuity).count()
}

/// The sum of k - 1 over nets written out as lists of contacts.
fn spanning(nets: &[&[&str]]) -> usize {
    nets.iter().map(|net| net.len() - 1).sum()
}

/// Full null modem lead, 9-way: the contact assignment of EIA/TIA-574, the cross connections of the full
/// null modem, with 1 and 6 linked at each end.
#[test]
fn null_modem_lead() {
    let nets: &[&[&str]] = &[
        &["A2", "B3"],
        &["A3", "B2"],
        &["A4", "B1", "B6"],
        &["B4", "A1", "A6"],
        &["A5", "B5"],
        &["A7", "B8"],
        &["A8", "B7"],
    ];
    assert_eq!(spanning(nets), 9);
    let plan = planned("published/null-modem.toml");
    assert_eq!(continuity(&plan), spanning(nets));
    assert_eq!(plan.cost.steps, plan.cost.steps_bound);
    assert!(plan.cost.changes == 0 && plan.phases.len() == 1, "nothing to unplug on a free lead");
}

/// Straight patch leads, 8P8C: pin k to pin k (ANSI/TIA-568-C.2). In the crossover lead the two pairs
/// on 1, 2 and 3, 6 change places; it is eight nets of two contacts all the same.
#[test]
fn patch_leads() {
    let straight: Vec<[String; 2]> = (1..=8).map(|k| [format!("A{k}"), format!("B{k}")]).collect();
    let by_hand: usize = straight.iter().map(|net| net.len() - 1).sum();
    assert_eq!(by_hand, 8);
    for name in ["patch-lead-t568a", "patch-lead-t568b", "crossover-lead-t568"] {
        let plan = planned(&format!("published/{name}.toml"));
        assert_eq!(continuity(&plan), by_hand, "{name}");
    }
}

/// With a two-probe meter no plan can do with fewer readings than a tester with a point at every
/// terminal (Kautz 1974, as above).
#[test]
fn two_probes_never_beat_the_tester() {
    for (name, largest, clusters) in [("null-modem", 3, 9), ("patch-lead-t568b", 2, 8)] {
        let plan = planned(&format!("published/{name}.toml"));
        assert!(plan.cost.steps >= kautz(largest, clusters), "{name}");
    }
}
