//! Solved machines against ngspice, a general-purpose circuit simulator.
//!
//! Each machine is written out as `ringout export --spice` does, and the simulator's voltages are held
//! against ours, point by point; resistances are what one ampere makes of a deck without power. The
//! machines are made from seeds (see `support/machine.rs`); a failure names the seed, setup and change.
//!
//! The deck is made from the branches that the solver has, so this checks the solution and not which
//! branches there are. And its switching parts are frozen, so at the simulator's voltages each of them is
//! asked here, by rules written a second time, whether it would stay as it is.

#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    reason = "helpers of tests fail by panicking, and figures are printed"
)]

#[path = "support/machine.rs"]
mod machine;
#[path = "support/mod.rs"]
mod project;
#[path = "support/spice.rs"]
mod spice;

use std::collections::{BTreeMap, BTreeSet};
use std::time::Instant;

use ringout::circuit::spice::{Deck, deck};
use ringout::circuit::{Change, Corner, Operating, States, Unsettled, solve};
use ringout::definition::{Harness, PartId, PartKind, Point, load};
use ringout::fault::{Fault, Universe};
use ringout::netlist::{Link, LinkId, Netlist, PartWay};
use ringout::setup::{Connected, Isolated, Power, Setup, switches};

use machine::Rng;
use spice::{Element, Printed};

/// What was compared, and how far apart it was.
#[derive(Debug, Default)]
struct Tally {
    decks: usize,
    voltages: usize,
    resistances: usize,
    /// Largest deviation of a voltage and of a resistance, in volts and ohms.
    volts: f64,
    ohms: f64,
    /// Machines that never settle, by us and by the deck.
    unsettled: usize,
    faults: BTreeMap<&'static str, usize>,
    /// Switching parts that were asked, by kind and state.
    asked: BTreeMap<String, usize>,
}

fn read(text: String) -> Harness {
    match load("made.toml", text, None, &mut |path: &str| Err(format!("{path} is not there"))) {
        Ok(loaded) => loaded.harness,
        Err(rejected) => panic!("{:?}", rejected.diagnostics.iter().map(|d| &d.message).collect::<Vec<_>>()),
    }
}

/// A machine, and where in the test it comes from.
struct Made {
    name: String,
    harness: Harness,
    netlist: Netlist,
}

impl Made {
    fn new(name: String, harness: Harness) -> Self {
        let netlist = Netlist::new(&harness);
        Self { name, harness, netlist }
    }

    fn random(seed: u64) -> Self {
        let text = machine::random(seed, 12 + seed as usize % 30);
        Self::new(format!("seed {seed}"), read(text))
    }

    fn node(&self, point: Point) -> usize {
        self.harness.point_index(point)
    }
}

/// A machine in a state, solved here and written out.
struct Case<'a> {
    made: &'a Made,
    setup: &'a Setup,
    changes: &'a [Change],
    operating: Operating,
    deck: Deck,
    elements: Vec<Element>,
    islands: BTreeMap<String, String>,
}

impl<'a> Case<'a> {
    /// `None` where the machine never settles; then the deck must say the same.
    fn new(made: &'a Made, setup: &'a Setup, changes: &'a [Change]) -> Option<Self> {
        let Made { harness, netlist, .. } = made;
        let deck = deck(harness, netlist, setup, changes, "");
        match solve(harness, netlist, setup, changes, Corner::Nominal) {
            Ok(operating) => {
                let deck = deck.unwrap();
                let elements = spice::elements(deck.circuit());
                let islands = spice::islands(&elements);
                Some(Self { made, setup, changes, operating, deck, elements, islands })
            }
            Err(error @ Unsettled::Loop(_)) => {
                assert_eq!(deck.map(|_| ()), Err(error));
                None
            }
            Err(error) => panic!("{error}"),
        }
    }

    fn words(&self) -> String {
        format!("{}, {}, {:?}", self.made.name, self.setup.words(&self.made.harness), self.changes)
    }

    fn island(&self, node: usize) -> Option<&str> {
        self.islands.get(self.deck.node(node)?).map(String::as_str)
    }

    /// The simulator's voltage between two nodes; nothing where nothing joins them.
    fn volts(&self, printed: &Printed, a: usize, b: usize) -> f64 {
        match (self.deck.node(a), self.deck.node(b)) {
            (Some(a_name), Some(b_name)) if self.island(a) == self.island(b) => {
                spice::voltage(printed, a_name) - spice::voltage(printed, b_name)
            }
            _ => 0.0,
        }
    }

    /// Every voltage, against a node of the same island.
    fn compare_voltages(&self, printed: &Printed, tally: &mut Tally) {
        let mut references: BTreeMap<&str, usize> = BTreeMap::new();
        let chassis = self.made.netlist.chassis();
        for node in std::iter::once(chassis).chain(0..self.made.netlist.point_count()) {
            let Some(island) = self.island(node) else {
                assert!(!self.operating.joined(node, chassis));
                continue;
            };
            let reference = *references.entry(island).or_insert(node);
            assert!(self.operating.joined(node, reference), "{}", self.words());
            let (ours, theirs) =
                (self.operating.volts_between(node, reference), self.volts(printed, node, reference));
            let name = || self.made.harness.point_name(self.made.netlist.point(node));
            tally.volts = tally.volts.max((ours - theirs).abs());
            tally.voltages += 1;
            assert!(close(ours, theirs), "{}: {} {ours} {theirs}", self.words(), name());
        }
        // Islands are apart here as there.
        let references: Vec<usize> = references.into_values().collect();
        for pair in references.windows(2) {
            assert!(!self.operating.joined(pair[0], pair[1]), "{}", self.words());
        }
    }

    /// Resistances between random pairs of nodes.
    fn compare_resistances(&self, rng: &mut Rng, tally: &mut Tally) {
        let mut pairs: Vec<[usize; 2]> = Vec::new();
        for _ in 0..200 {
            let [a, b] = [(); 2].map(|()| rng.below(self.made.netlist.point_count()));
            let joined = a != b && self.island(a).is_some() && self.island(a) == self.island(b);
            assert!(joined || a == b || self.operating.resistance(a, b).is_none(), "{}", self.words());
            if joined && pairs.len() < 8 {
                pairs.push([a, b]);
            }
        }
        let named: Vec<[&str; 2]> =
            pairs.iter().map(|pair| pair.map(|node| self.deck.node(node).unwrap())).collect();
        let theirs = spice::resistances(self.deck.circuit(), &named);
        assert_eq!(theirs.len(), pairs.len());
        for ([a, b], theirs) in pairs.into_iter().zip(theirs) {
            let ours = self.operating.resistance(a, b).unwrap().get();
            tally.ohms = tally.ohms.max((ours - theirs).abs());
            tally.resistances += 1;
            assert!(close(ours, theirs), "{}: {a} {b} {ours} {theirs}", self.words());
        }
    }

    /// Every switching part is in the state that the simulator's voltages call for.
    fn compare_states(&self, printed: &Printed, tally: &mut Tally) {
        for link in self.made.netlist.links() {
            if let Some((what, held)) = self.holds(printed, link) {
                *tally.asked.entry(what.clone()).or_default() += 1;
                let name = self.made.netlist.elements(&self.made.harness, link)[0].id(&self.made.harness);
                assert!(held, "{}: {name} should not be {what}", self.words());
            }
        }
        self.blown_for_a_reason(tally);
    }

    /// The state of a switching part, and whether the voltages call for it.
    fn holds(&self, printed: &Printed, link: LinkId) -> Option<(String, bool)> {
        let Made { harness, netlist, .. } = self.made;
        let Link::Part(part, way) = netlist.link(link) else { return None };
        let states: &States = self.operating.states();
        let [a, b] = netlist.ends(link);
        let across = self.volts(printed, a, b);
        let opened = self.changes.contains(&Change::Open(link));
        // What stands on its threshold may do either.
        let fits = |on: bool, should: bool, distance: f64| on == should || distance.abs() < 1e-6;
        Some(match (way, &harness.parts[part].kind) {
            (PartWay::Coil, PartKind::Relay { operate, .. }) => {
                let on = states.operated(part);
                let stuck = self.changes.iter().find_map(|change| match change {
                    Change::Stuck { relay, operated } if *relay == part => Some(*operated),
                    _ => None,
                });
                let should = stuck.unwrap_or(!opened && across.abs() >= operate.get());
                (format!("relay {on}"), fits(on, should, across.abs() - operate.get()))
            }
            (PartWay::Diode, PartKind::Diode { drop, .. }) => {
                let on = states.on(link);
                let should = !opened && across > drop.get();
                (format!("diode {on}"), fits(on, should, across - drop.get()))
            }
            (PartWay::Drive(at), PartKind::Unit { functions }) => {
                let on = states.on(link);
                let function = &functions[at as usize];
                let ground = self.made.node(function.ground.unwrap_or(Point::Chassis));
                let inputs = std::iter::once(&function.supply).chain(&function.when);
                let least = inputs
                    .map(|input| self.volts(printed, self.made.node(*input), ground))
                    .fold(f64::INFINITY, f64::min);
                let should = !self.changes.contains(&Change::Dead(part)) && least >= self.live();
                (format!("driver {on}"), fits(on, should, least - self.live()))
            }
            (PartWay::Source, PartKind::Alternator { plus, minus, sense, when, .. }) => {
                let on = states.on(link);
                let turns = when.is_none_or(|condition| self.setup.holds(condition));
                let [sense, minus] = [sense.unwrap_or(*plus), *minus].map(|point| self.made.node(point));
                let felt = self.volts(printed, sense, minus);
                (format!("alternator {on}"), fits(on, turns && felt >= self.live(), felt - self.live()))
            }
            (PartWay::Through, PartKind::Fuse { rating: Some(rating), .. }) if !states.blown(link) => {
                let most = 2.0 * rating.get();
                let amps = self.fuse_ohms(part).map_or(0.0, |ohms| (across / ohms).abs());
                ("fuse whole".to_owned(), amps < most + 1e-6)
            }
            _ => return None,
        })
    }

    /// Half of the nominal voltage counts as live; 12 V where none is given.
    fn live(&self) -> f64 {
        self.made.harness.about.nominal.map_or(12.0, ringout::units::Volts::get) / 2.0
    }

    /// The resistance of a fuse as the deck has it; `None` where it does not stand there.
    fn fuse_ohms(&self, part: PartId) -> Option<f64> {
        let part = &self.made.harness.parts[part];
        let comment = format!("{} {}, ", part.kind.word(), part.id);
        self.elements.iter().find(|element| element.comment.starts_with(&comment)).map(|e| e.value)
    }

    /// With a blown fuse back in its place either it would blow again, or something else would switch: a
    /// relay that lost its feed when the fuse blew.
    fn blown_for_a_reason(&self, tally: &mut Tally) {
        let blown: Vec<LinkId> = self.operating.states().all_blown().collect();
        if blown.is_empty() {
            return;
        }
        *tally.asked.entry("fuse blown".to_owned()).or_default() += blown.len();
        let again = |link: &LinkId| {
            let Made { harness, netlist, .. } = self.made;
            let [a, b] = netlist.ends(*link);
            // Where nothing else conducts to one of its ends, it had to switch off when the fuse blew.
            let (Some(a_name), Some(b_name)) = (self.deck.node(a), self.deck.node(b)) else { return true };
            let Link::Part(part, _) = netlist.link(*link) else { panic!("a fuse is a part") };
            let PartKind::Fuse { rating: Some(rating), .. } = &harness.parts[part].kind else {
                panic!("a fuse that blows has a rating")
            };
            let text = self.deck.text();
            let (circuit, control) = text.split_once(".control").unwrap();
            // 5 mohm is what a fuse has where nothing else is given.
            let whole = format!("{circuit}r_again {a_name} {b_name} 0.005\n.control{control}");
            let printed = spice::run(&whole);
            let volts = spice::voltage(&printed, a_name) - spice::voltage(&printed, b_name);
            let overloaded = (volts / 0.005).abs() >= 2.0 * rating.get() * (1.0 - 1e-6);
            overloaded
                || netlist
                    .links()
                    .filter(|other| other != link)
                    .any(|other| self.holds(&printed, other).is_some_and(|(_, held)| !held))
        };
        assert!(blown.iter().any(again), "{}: {blown:?}", self.words());
    }
}

/// One microvolt, or one in a million.
fn close(ours: f64, theirs: f64) -> bool {
    (ours - theirs).abs() <= 1e-6 + 1e-6 * theirs.abs()
}

fn compare(made: &Made, setup: &Setup, changes: &[Change], tally: &mut Tally) {
    let Some(case) = Case::new(made, setup, changes) else {
        tally.unsettled += 1;
        return;
    };
    let names: BTreeSet<String> = case.elements.iter().map(|e| e.name.to_lowercase()).collect();
    assert_eq!(names.len(), case.elements.len(), "{}", case.words());
    let printed = spice::run(&case.deck.text());
    tally.decks += 1;
    case.compare_voltages(&printed, tally);
    if setup.power() == Power::Connected {
        case.compare_states(&printed, tally);
    }
}

fn compare_resistances(made: &Made, setup: &Setup, changes: &[Change], rng: &mut Rng, tally: &mut Tally) {
    let case = Case::new(made, setup, changes).expect("a machine without power settles");
    tally.decks += 1;
    case.compare_resistances(rng, tally);
}

/// Some switches moved, some conditions brought about, sometimes a plug off.
fn moved(made: &Made, rng: &mut Rng) -> Isolated {
    let mut setup = Isolated::at_rest();
    for mating in made.harness.matings.ids() {
        if rng.chance(8) {
            setup = setup.part(mating);
        }
    }
    switches(&made.harness)
        .fold(setup, |setup, (switch, count, _)| setup.set(&made.harness, switch, rng.below(count)))
}

fn live(made: &Made, setup: Isolated, rng: &mut Rng) -> Setup {
    let conditions = made.harness.conditions.ids().filter(|_| rng.chance(70));
    conditions.fold(setup.connect(), Connected::bring).into()
}

/// A fault's kind, as its id ends; shorts say between what.
fn kind(fault: Fault) -> &'static str {
    match fault {
        Fault::Open(_) => "open",
        Fault::High(_) => "high",
        Fault::Short(..) => "short between wires",
        Fault::ToChassis(_) => "short to the chassis",
        Fault::Crossed(..) => "crossed",
        Fault::PartShort(_) => "part short",
        Fault::StuckReleased(_) => "stuck released",
        Fault::StuckOperated(_) => "stuck operated",
        Fault::CoilOpen(_) => "coil open",
        Fault::Dead(_) => "dead",
        Fault::Flat(_) => "flat",
    }
}

/// So many faults, those of the kinds that came up least so far.
fn some_faults(universe: &Universe, count: usize, rng: &mut Rng, tally: &mut Tally) -> Vec<Fault> {
    let mut by_kind: BTreeMap<&str, Vec<Fault>> = BTreeMap::new();
    for (fault, _) in universe.iter() {
        by_kind.entry(kind(fault)).or_default().push(fault);
    }
    let mut kinds: Vec<&str> = by_kind.keys().copied().collect();
    kinds.sort_by_key(|kind| tally.faults.get(kind).copied().unwrap_or_default());
    let picked: Vec<Fault> = kinds.iter().take(count).map(|kind| rng.pick(&by_kind[kind])).collect();
    for fault in &picked {
        *tally.faults.entry(kind(*fault)).or_default() += 1;
    }
    picked
}

/// One machine in several setups, healthy and with faults.
fn one_machine(made: &Made, faults: usize, rng: &mut Rng, tally: &mut Tally) {
    let Made { harness, netlist, .. } = made;
    let found = Setup::from(Isolated::at_rest().connect());
    let moved = moved(made, rng);
    let on = live(made, moved.clone(), rng);
    let off = Setup::from(moved);
    compare(made, &found, &[], tally);
    compare(made, &on, &[], tally);
    compare_resistances(made, &off, &[], rng, tally);
    let universe = Universe::new(harness, netlist);
    for (at, fault) in some_faults(&universe, faults, rng, tally).into_iter().enumerate() {
        let changes = universe.changes(harness, netlist, fault);
        compare(made, &on, &changes, tally);
        if at == 0 {
            compare_resistances(made, &off, &changes, rng, tally);
        }
    }
}

const MACHINES: u64 = 200;

#[test]
fn made_machines_have_the_voltages_and_resistances_that_ngspice_finds() {
    if !spice::is_there() {
        return;
    }
    let start = Instant::now();
    let mut tally = Tally::default();
    for seed in 0..MACHINES {
        let mut rng = Rng::new(seed ^ 0x0005_91ce);
        one_machine(&Made::random(seed), 5, &mut rng, &mut tally);
    }
    println!("{tally:#?}\n{:?}", start.elapsed());
    assert!(tally.decks > 1500 && tally.voltages > 50_000 && tally.resistances > 1500, "{tally:?}");
    assert_eq!(tally.faults.len(), 11, "{:?}", tally.faults);
    assert!(tally.faults.values().all(|count| *count >= 20), "{:?}", tally.faults);
    for what in [
        "relay true",
        "relay false",
        "diode true",
        "diode false",
        "driver true",
        "driver false",
        "alternator true",
        "alternator false",
        "fuse whole",
        "fuse blown",
    ] {
        assert!(tally.asked.get(what).is_some_and(|count| *count >= 10), "{what}: {:?}", tally.asked);
    }
}

#[test]
fn the_orchard_sprayer_has_the_voltages_and_resistances_that_ngspice_finds() {
    if !spice::is_there() {
        return;
    }
    let made = Made::new("orchard sprayer".to_owned(), project::harness("orchard-sprayer.toml"));
    let mut tally = Tally::default();
    for seed in 0..6 {
        one_machine(&made, 11, &mut Rng::new(seed), &mut tally);
    }
    println!("{tally:#?}");
    assert!(tally.voltages > 10_000 && tally.resistances > 50, "{tally:?}");
    assert_eq!(tally.faults.len(), 11, "{:?}", tally.faults);
}

/// Joints of a microohm beside loads of up to a kilohm. Ten megohms would ask too much of the simulator: its
/// node equations add conductances, and of thirteen powers of ten between two of them three digits are left.
#[test]
fn very_small_resistances_keep_their_precision() {
    if !spice::is_there() {
        return;
    }
    let mut tally = Tally::default();
    for seed in 0..20 {
        let small = "[resistance]\ntermination = \"1 uohm\"\ncontact = \"1 uohm\"\nsplice = \"1 uohm\"\nbond = \"1 uohm\"\n";
        let large = "[part.RL]\nkind = \"resistor\"\nbetween = [\"BT1\", \"BT2\"]\nohms = \"1 kohm\"\n";
        let text = format!("{}\n{small}{large}", machine::random(seed, 30));
        let made = Made::new(format!("seed {seed}, small"), read(text));
        one_machine(&made, 2, &mut Rng::new(seed), &mut tally);
    }
    println!("{tally:#?}");
    assert!(tally.voltages > 3_000 && tally.resistances > 150, "{tally:?}");
}

/// A relay that cuts its own coil has no state to be frozen in: the error names it, and there is no deck.
#[test]
fn a_machine_that_never_settles_has_no_deck() {
    let text = "format = 1\n[harness]\nid = \"K\"\nrevision = \"A\"\n[terminal.BP]\n[terminal.BN]\nground = true\n[terminal.A]\n\
        [part.BAT]\nkind = \"battery\"\nvolts = \"24 V\"\ninternal = \"10 mohm\"\nplus = \"BP\"\nminus = \"BN\"\n\
        [part.K7]\nkind = \"relay\"\ncoil = [\"A\", \"BN\"]\ncoil_ohms = \"320 ohm\"\noperate = \"16 V\"\n\
        released = [[\"BP\", \"A\"]]\n";
    let made = Made::new("buzzer".to_owned(), read(text.to_owned()));
    let setup = Setup::from(Isolated::at_rest().connect());
    let error = deck(&made.harness, &made.netlist, &setup, &[], "").unwrap_err();
    assert_eq!(error.to_string(), "the machine never settles: K7 keep switching");
    assert!(deck(&made.harness, &made.netlist, &Isolated::at_rest().into(), &[], "").is_ok());
}

/// Names that a simulator would take for a number, its reference or one of its words, two that differ in
/// case only, and a title that would break its line.
#[test]
fn odd_names_make_a_deck_that_runs() {
    if !spice::is_there() {
        return;
    }
    let text = "format = 1\n[harness]\nid = \"N\"\ntitle = \"one\\nr1 0 0 5\"\nrevision = \"A\"\n\
        [terminal.0]\n[terminal.gnd]\nground = true\n[terminal.and]\n[terminal.1e3]\n[terminal.V-1]\n[terminal.v-1]\n[terminal.all]\n\
        [part.tie]\nkind = \"battery\"\nvolts = \"12 V\"\ninternal = \"1 ohm\"\nplus = \"0\"\nminus = \"gnd\"\n\
        [part.Tie]\nkind = \"resistor\"\nohms = \"1 ohm\"\nbetween = [\"0\", \"and\"]\n\
        [part.i]\nkind = \"resistor\"\nohms = \"1 ohm\"\nbetween = [\"and\", \"1e3\"]\n\
        [part.e]\nkind = \"resistor\"\nohms = \"1 ohm\"\nbetween = [\"1e3\", \"V-1\"]\n\
        [part.h]\nkind = \"resistor\"\nohms = \"1 ohm\"\nbetween = [\"V-1\", \"v-1\"]\n\
        [part.g]\nkind = \"resistor\"\nohms = \"1 ohm\"\nbetween = [\"v-1\", \"all\"]\n\
        [part.x]\nkind = \"resistor\"\nohms = \"1 ohm\"\nbetween = [\"all\", \"gnd\"]\n";
    let made = Made::new("odd names".to_owned(), read(text.to_owned()));
    let setup = Setup::from(Isolated::at_rest().connect());
    let mut tally = Tally::default();
    compare(&made, &setup, &[], &mut tally);
    let solved = deck(&made.harness, &made.netlist, &setup, &[], "").unwrap();
    let printed = spice::run(&solved.text());
    // Seven resistances of an ohm and 12 V; the bond adds a milliohm outside of the ring.
    for (point, volts) in
        [("0", 72.0), ("and", 60.0), ("1e3", 48.0), ("V-1", 36.0), ("v-1", 24.0), ("all", 12.0)]
    {
        let node = solved.node(made.node(made.harness.point(point).unwrap())).unwrap();
        assert!((spice::voltage(&printed, node) - volts / 7.0).abs() < 1e-9, "{point}");
    }
}
