//! What must hold for nets, bridges, ways and resistances of every machine.
//!
//! The machines are made from seeds (see `support/machine.rs`); a failure names the seed and the size.
//! The laws of circuits checked here stand in textbooks: effective resistance is a metric (Klein and
//! Randić, "Resistance distance", Journal of Mathematical Chemistry 12, 1993), and it never falls
//! when a resistance grows (Rayleigh's monotonicity law; Doyle and Snell, "Random Walks and Electric
//! Networks", 1984).

#[path = "support/machine.rs"]
mod machine;

use proptest::prelude::*;

use machine::Rng;
use ringout::circuit::{Change, Corner, Lean, Operating, Trail, solve};
use ringout::definition::{Harness, Point, WireId, load};
use ringout::netlist::{Link, LinkId, Netlist, Nets};
use ringout::setup::{Isolated, Setup};

fn read(text: String, variant: Option<&str>) -> Harness {
    let none = &mut |path: &str| Err(format!("{path} is not there"));
    match load("made.toml", text, variant, none) {
        Ok(loaded) => loaded.harness,
        Err(rejected) => panic!("{:?}", rejected.diagnostics.first().map(|d| &d.message)),
    }
}

/// A made machine with its graph, and numbers to choose places in it.
struct Made {
    text: String,
    harness: Harness,
    netlist: Netlist,
    rng: Rng,
}

impl Made {
    fn new(seed: u64, wires: usize) -> Self {
        let text = machine::random(seed, wires);
        let harness = read(text.clone(), None);
        let netlist = Netlist::new(&harness);
        Self { text, harness, netlist, rng: Rng::new(seed ^ 0x5eed) }
    }

    fn conducts(&self, link: LinkId) -> bool {
        self.netlist.link(link).is_conductor()
    }

    fn nets(&self) -> Nets {
        self.netlist.groups(|link| self.conducts(link))
    }

    fn node(&mut self) -> usize {
        self.rng.below(self.netlist.point_count())
    }

    /// So many nodes that current can pass between, from the largest island; `None` in a machine that
    /// has no such island.
    fn island_nodes<const N: usize>(&mut self, solved: &Operating) -> Option<[usize; N]> {
        let islands = self.netlist.groups(|link| solved.conducts(link));
        let largest = islands.iter().map(|(_, nodes)| nodes).max_by_key(|nodes| nodes.len())?;
        let largest = largest.to_vec();
        (largest.len() > N).then(|| [(); N].map(|()| largest[self.rng.below(largest.len())]))
    }

    fn solve(&self, setup: &Setup, changes: &[Change], corner: Corner) -> Operating {
        solve(&self.harness, &self.netlist, setup, changes, corner).expect("an isolated machine settles")
    }
}

/// All mated, or some things parted, power isolated either way.
fn some_setup(made: &mut Made) -> Setup {
    let mut setup = Isolated::at_rest();
    for mating in made.harness.matings.ids() {
        if made.rng.chance(15) {
            setup = setup.part(mating);
        }
    }
    setup.into()
}

fn close(a: f64, b: f64, relative: f64) -> bool {
    (a - b).abs() <= relative * a.abs().max(b.abs()) + 1e-12
}

fn cases(cases: u32) -> ProptestConfig {
    ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(cases(64))]

    #[test]
    fn nets_hold_every_point_once(seed: u64, wires in 2usize..150) {
        let made = Made::new(seed, wires);
        let nets = made.nets();
        let mut seen = vec![0; made.netlist.point_count()];
        for (id, members) in nets.iter() {
            for node in members {
                seen[*node] += 1;
                prop_assert_eq!(nets.of(*node), id);
            }
        }
        prop_assert!(seen.iter().all(|times| *times == 1));
        for link in made.netlist.links().filter(|link| made.conducts(*link)) {
            let [a, b] = made.netlist.ends(link);
            prop_assert_eq!(nets.of(a), nets.of(b));
        }
    }

    #[test]
    fn parting_a_mating_merges_no_nets(seed: u64, wires in 2usize..100) {
        let made = Made::new(seed, wires);
        let whole = made.nets();
        for mating in made.harness.matings.ids() {
            let setup = Setup::from(Isolated::at_rest().part(mating));
            let own = |link: LinkId| {
                matches!(made.netlist.link(link), Link::Mated { mating: other, .. } if other == mating)
            };
            for link in made.netlist.links().filter(|link| made.conducts(*link)) {
                prop_assert_eq!(setup.joins(&made.netlist, link), !own(link));
            }
            let parted = made.netlist.groups(|link| setup.joins(&made.netlist, link));
            prop_assert!(parted.len() >= whole.len());
            for (_, members) in parted.iter() {
                prop_assert!(members.iter().all(|node| whole.of(*node) == whole.of(members[0])));
            }
        }
    }

    #[test]
    fn a_bridge_is_what_parts_one_group_in_two(seed: u64, wires in 2usize..60) {
        let mut made = Made::new(seed, wires);
        let setup = some_setup(&mut made);
        let conductors = |link: LinkId| made.conducts(link);
        let everything = |link: LinkId| setup.passes_ohmmeter(&made.netlist, &made.harness, link);
        for passes in [&conductors as &dyn Fn(LinkId) -> bool, &everything] {
            let groups = made.netlist.groups(passes).len();
            let bridges = made.netlist.bridges(passes);
            for link in made.netlist.links() {
                let without = made.netlist.groups(|other| other != link && passes(other)).len();
                let expected = groups + usize::from(bridges[link.index()]);
                prop_assert_eq!(without, expected, "{:?}", made.netlist.link(link));
            }
        }
    }

    #[test]
    fn a_doubled_wire_is_no_bridge_and_changes_no_other(seed: u64, wires in 2usize..100) {
        let mut made = Made::new(seed, wires);
        let wire = made.harness.wires.ids().nth(made.rng.below(made.harness.wires.len())).unwrap();
        let doubled = read(with_twin(&made, wire), Some("twin"));
        let netlist = Netlist::new(&doubled);
        let bridges = |netlist: &Netlist| netlist.bridges(|link| netlist.link(link).is_conductor());
        let (before, after) = (bridges(&made.netlist), bridges(&netlist));
        let twin = doubled.wires.len() - 1;
        prop_assert_eq!(&doubled.wires.values().last().unwrap().id, "twin");
        for link in netlist.links() {
            let at = link.index();
            let expected = match netlist.link(link) {
                Link::Wire(id) if id == wire => false,
                Link::Wire(_) if at == twin => false,
                // The twin stands last among the wires: what follows has moved by one.
                _ => before[if at > twin { at - 1 } else { at }],
            };
            prop_assert_eq!(after[at], expected, "{:?}", netlist.link(link));
        }
    }

    #[test]
    fn there_is_a_way_exactly_within_a_net(seed: u64, wires in 2usize..100) {
        let mut made = Made::new(seed, wires);
        let nets = made.nets();
        for _ in 0..40 {
            // Half of the pairs from one net: two points at random seldom are.
            let from = made.node();
            let net = nets.members(nets.of(from));
            let to = if made.rng.chance(50) { made.node() } else { net[made.rng.below(net.len())] };
            let way = made.netlist.way(from, to, |link, _| made.conducts(link).then_some(1.0));
            prop_assert_eq!(way.is_some(), nets.of(from) == nets.of(to));
            let Some(way) = way else { continue };
            let mut at = way.start;
            for (link, next) in way.steps {
                let ends = made.netlist.ends(link);
                prop_assert!(made.conducts(link));
                prop_assert!(ends == [at, next] || ends == [next, at]);
                at = next;
            }
            prop_assert_eq!((way.start, at), (from, to));
        }
    }

    #[test]
    fn resistance_is_a_metric(seed: u64, wires in 2usize..120) {
        let mut made = Made::new(seed, wires);
        let setup = some_setup(&mut made);
        let solved = made.solve(&setup, &[], Corner::Nominal);
        for _ in 0..20 {
            let Some([a, b, c]) = made.island_nodes(&solved) else { return Ok(()) };
            let ohms = |from, to| solved.resistance(from, to).map(ringout::units::Ohms::get).unwrap();
            prop_assert!(close(ohms(a, b), ohms(b, a), 1e-12));
            prop_assert!(ohms(a, a).abs() < 1e-15);
            prop_assert!(a == b || ohms(a, b) > 0.0);
            prop_assert!(ohms(a, c) <= (ohms(a, b) + ohms(b, c)) * (1.0 + 1e-9));
        }
        // Where nothing joins two points there is no resistance, and the other way round.
        let islands = made.netlist.groups(|link| solved.conducts(link));
        for _ in 0..20 {
            let (a, b) = (made.node(), made.node());
            prop_assert_eq!(solved.resistance(a, b).is_some(), islands.of(a) == islands.of(b));
        }
    }

    #[test]
    fn resistance_lies_between_its_corners(seed: u64, wires in 2usize..120) {
        let mut made = Made::new(seed, wires);
        let setup = some_setup(&mut made);
        let corners = [Corner::Low, Corner::Nominal, Corner::High];
        let corners = corners.map(|corner| made.solve(&setup, &[], corner));
        for _ in 0..20 {
            let Some([a, b]) = made.island_nodes(&corners[1]) else { return Ok(()) };
            let [low, nominal, high] = corners.each_ref().map(|c| c.resistance(a, b).unwrap().get());
            prop_assert!(low <= nominal * (1.0 + 1e-9), "{low} {nominal}");
            prop_assert!(nominal <= high * (1.0 + 1e-9), "{nominal} {high}");
        }
    }

    #[test]
    fn resistance_without_a_link_is_that_of_the_machine_with_it_open(seed: u64, wires in 2usize..80) {
        let mut made = Made::new(seed, wires);
        let setup = some_setup(&mut made);
        let trail = Trail::new(&made.harness, &made.netlist, &setup).unwrap();
        let solved = trail.steady();
        let bridges = made.netlist.bridges(|link| solved.conducts(link));
        // Rings are rare, so every link of a ring is tried, and of the bridges some.
        let links: Vec<LinkId> = made.netlist.links().filter(|link| solved.conducts(*link)).collect();
        let share = if links.len() > 40 { 25 } else { 100 };
        let tried: Vec<LinkId> =
            links.into_iter().filter(|l| !bridges[l.index()] || made.rng.chance(share)).collect();
        for link in tried {
            let change = [Change::Open(link)];
            let opened = made.solve(&setup, &change, Corner::Nominal);
            prop_assert!(!opened.conducts(link));
            let quick = trail.solve(&made.harness, &made.netlist, &setup, &change, Lean::Exact).unwrap();
            let [quick] = &quick[..] else { panic!("without power nothing switches") };
            // The ends of the link themselves, and any two points.
            let [u, v] = made.netlist.ends(link);
            let Some(pair) = made.island_nodes(solved) else { return Ok(()) };
            for [a, b] in [[u, v], pair] {
                let quick = quick.resistance(a, b);
                match (quick, opened.resistance(a, b)) {
                    (None, None) => {}
                    (Some(quick), Some(slow)) => {
                        prop_assert!(close(quick.get(), slow.get(), 1e-6), "{quick:?} {slow:?}");
                    }
                    (quick, slow) => prop_assert!(false, "{quick:?} {slow:?}"),
                }
                if [a, b] == [u, v] {
                    prop_assert_eq!(quick.is_none(), bridges[link.index()]);
                }
            }
        }
    }
}

/// The definition with a variant in which a wire has a twin beside it.
fn with_twin(made: &Made, wire: WireId) -> String {
    let ends = made.harness.wires[wire].ends;
    let [from, to] = ends.map(|end| made.harness.point_name(end));
    let twin = format!("[variant.twin.wire.twin]\nfrom = \"{from}\"\nto = \"{to}\"\n");
    let contacts = ends.into_iter().filter(|end| matches!(end, Point::Contact(_)));
    let pins: Vec<String> = contacts
        .map(|end| format!("[variant.twin.pin.\"{}\"]\njoined = true\n", made.harness.point_name(end)))
        .collect();
    format!("{}\n{twin}{}", made.text, pins.concat())
}
