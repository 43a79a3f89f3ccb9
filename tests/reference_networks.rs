//! The DC network against published numbers, and switching parts against what a person expects of them.
//!
//! The numbered networks are worked examples of T. R. Kuphaldt, "Lessons In Electric Circuits" (open
//! textbook), volume DC: chapters "Series and parallel circuits", "Series-parallel combination circuits",
//! "DC metering circuits" and "DC network analysis". Inputs and the printed answers are the book's; more
//! digits than it prints come from solving the same equations by hand. The circuits are written as
//! machines: a battery, resistors between studs, and a chassis that is the book's node 0.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

use ringout::circuit::{Change, Corner, Operating, Unsettled, solve};
use ringout::definition::{Harness, Id, PartId, load};
use ringout::fault::{Fault, Universe};
use ringout::measure::Situation;
use ringout::netlist::{Link, LinkId, Netlist};
use ringout::setup::{Connected, Isolated, Setup};

fn read(text: &str) -> Harness {
    match load("made.toml", text.to_owned(), None, &mut |path: &str| Err(format!("{path} is not there"))) {
        Ok(loaded) => loaded.harness,
        Err(rejected) => {
            panic!("{:?}\n{text}", rejected.diagnostics.iter().map(|d| &d.message).collect::<Vec<_>>())
        }
    }
}

/// A machine of studs: `0` is bonded to the chassis with next to nothing, sources have next to no inside.
/// Each source is `(plus, minus, volts)`, each resistor `(end, end, ohms)`.
fn book(sources: &[(&str, &str, f64)], resistors: &[(&str, &str, f64)]) -> Harness {
    let mut text =
        "format = 1\n[harness]\nid = \"N\"\nrevision = \"A\"\n[resistance]\nbond = \"1 uohm\"\n".to_owned();
    let ends = sources.iter().map(|(a, b, _)| [*a, *b]).chain(resistors.iter().map(|(a, b, _)| [*a, *b]));
    let mut studs: Vec<&str> = ends.flatten().collect();
    studs.sort_unstable();
    studs.dedup();
    for stud in studs {
        let ground = if stud == "0" { "ground = true\n" } else { "" };
        text += &format!("[terminal.N{stud}]\n{ground}");
    }
    for (at, (plus, minus, volts)) in sources.iter().enumerate() {
        text += &format!(
            "[part.V{at}]\nkind = \"battery\"\nvolts = \"{volts} V\"\ninternal = \"1 uohm\"\nplus = \"N{plus}\"\nminus = \"N{minus}\"\n"
        );
    }
    for (at, (a, b, ohms)) in resistors.iter().enumerate() {
        text += &format!(
            "[part.R{at}]\nkind = \"resistor\"\nbetween = [\"N{a}\", \"N{b}\"]\nohms = \"{ohms} ohm\"\n"
        );
    }
    read(&text)
}

/// A machine in a setup, solved, with names to ask by.
struct Solved {
    harness: Harness,
    netlist: Netlist,
    operating: Operating,
}

impl Solved {
    fn of(harness: Harness, setup: impl Into<Setup>) -> Self {
        Self::changed(harness, setup, &[])
    }

    fn changed(harness: Harness, setup: impl Into<Setup>, changes: &[Change]) -> Self {
        let netlist = Netlist::new(&harness);
        let operating = solve(&harness, &netlist, &setup.into(), changes, Corner::Nominal).unwrap();
        Self { harness, netlist, operating }
    }

    fn node(&self, point: &str) -> usize {
        self.harness.point_index(self.harness.point(point).unwrap())
    }

    fn volts(&self, red: &str, black: &str) -> f64 {
        self.operating.volts_between(self.node(red), self.node(black))
    }

    fn ohms(&self, red: &str, black: &str) -> f64 {
        self.operating.resistance(self.node(red), self.node(black)).unwrap().get()
    }

    fn part(&self, id: &str) -> PartId {
        self.harness.names.part(id).unwrap()
    }

    /// The link of a part, by its place among the part's ways.
    fn link(&self, part: &str, at: usize) -> LinkId {
        let part = self.part(part);
        let mut ways = self
            .netlist
            .links()
            .filter(|link| matches!(self.netlist.link(*link), Link::Part(p, _) if p == part));
        ways.nth(at).unwrap()
    }

    /// The current from one end of a resistor to the other.
    fn amps(&self, red: &str, black: &str, ohms: f64) -> f64 {
        self.volts(red, black) / ohms
    }
}

fn close(value: f64, expected: f64, within: f64) {
    assert!((value - expected).abs() <= within, "{value} is not {expected} within {within}");
}

fn live(sources: &[(&str, &str, f64)], resistors: &[(&str, &str, f64)]) -> Solved {
    Solved::of(book(sources, resistors), Connected::as_found())
}

fn dead(resistors: &[(&str, &str, f64)]) -> Solved {
    Solved::of(book(&[], resistors), Isolated::at_rest())
}

// Lessons In Electric Circuits, volume DC, chapter "DC network analysis".

#[test]
fn two_sources_feed_one_resistor() {
    let net =
        live(&[("1", "0", 28.0), ("3", "0", 7.0)], &[("1", "2", 4.0), ("2", "0", 2.0), ("2", "3", 1.0)]);
    close(net.volts("N1", "N2"), 20.0, 1e-3);
    close(net.volts("N2", "N0"), 8.0, 1e-3);
    close(net.volts("N2", "N3"), 1.0, 1e-3);
    close(net.amps("N1", "N2", 4.0), 5.0, 1e-3);
    close(net.amps("N2", "N0", 2.0), 4.0, 1e-3);
    // Backwards through the second source.
    close(net.amps("N2", "N3", 1.0), 1.0, 1e-3);
}

#[test]
fn its_sources_superpose() {
    let resistors = [("1", "2", 4.0), ("2", "0", 2.0), ("2", "3", 1.0)];
    // A source of a microvolt stands for one that is switched off.
    let first = live(&[("1", "0", 28.0), ("3", "0", 1e-6)], &resistors).volts("N2", "N0");
    let second = live(&[("1", "0", 1e-6), ("3", "0", 7.0)], &resistors).volts("N2", "N0");
    close(first, 4.0, 1e-3);
    close(second, 4.0, 1e-3);
}

#[test]
fn its_thevenin_equivalent_is_what_the_book_finds() {
    // Without the load: 11.2 V behind 0.8 ohm. A thousand million ohms stand for no load.
    let open =
        live(&[("1", "0", 28.0), ("3", "0", 7.0)], &[("1", "2", 4.0), ("2", "0", 1e9), ("2", "3", 1.0)]);
    close(open.volts("N2", "N0"), 11.2, 1e-3);
    close(open.ohms("N2", "N0"), 0.8, 1e-3);
    // Norton: 7 A and 7 A into a short.
    close(open.volts("N2", "N0") / open.ohms("N2", "N0"), 14.0, 1e-3);
}

const UNBALANCED: [(&str, &str, f64); 5] =
    [("1", "2", 150.0), ("1", "3", 50.0), ("2", "3", 100.0), ("2", "0", 300.0), ("3", "0", 250.0)];

#[test]
fn an_unbalanced_bridge_divides_its_voltage() {
    let net = live(&[("1", "0", 24.0)], &UNBALANCED);
    close(net.volts("N2", "N0"), 17.655, 5e-4);
    close(net.volts("N3", "N0"), 19.310, 5e-4);
    close(net.volts("N1", "N2"), 6.345, 5e-4);
    close(net.volts("N1", "N3"), 4.690, 5e-4);
    close(net.volts("N3", "N2"), 1.655, 5e-4);
    let milliamps = [
        ("N1", "N2", 150.0, 42.299),
        ("N1", "N3", 50.0, 93.793),
        ("N3", "N2", 100.0, 16.552),
        ("N2", "N0", 300.0, 58.851),
        ("N3", "N0", 250.0, 77.241),
    ];
    for (a, b, ohms, expected) in milliamps {
        close(net.amps(a, b, ohms) * 1e3, expected, 1e-3);
    }
    close((net.amps("N1", "N2", 150.0) + net.amps("N1", "N3", 50.0)) * 1e3, 136.092, 1e-3);
    // 24 V over the source's 136.092 mA.
    close(dead(&UNBALANCED).ohms("N1", "N0"), 176.351, 5e-3);
}

#[test]
fn a_current_source_gives_the_unbalanced_bridge_the_same_voltages() {
    // The book drives the bridge with 0.136092 A; without power the transfer resistances say the same.
    let net = dead(&UNBALANCED);
    let [one, two, three] = ["N1", "N2", "N3"].map(|n| net.ohms(n, "N0"));
    let transfer = |node: f64, between: f64| 0.5 * (one + node - between) * 0.136_092;
    close(one * 0.136_092, 24.000, 1e-3);
    close(transfer(two, net.ohms("N1", "N2")), 17.655, 1e-3);
    close(transfer(three, net.ohms("N1", "N3")), 19.310, 1e-3);
}

const DELTA_AND_WYE: [(&str, &str, f64); 5] =
    [("1", "2", 12.0), ("1", "3", 18.0), ("2", "3", 6.0), ("2", "0", 18.0), ("3", "0", 12.0)];

#[test]
fn a_bridge_solved_by_delta_and_wye() {
    let net = live(&[("1", "0", 10.0)], &DELTA_AND_WYE);
    close(net.volts("N2", "N0"), 5.294, 5e-4);
    close(net.volts("N3", "N0"), 4.706, 5e-4);
    close(net.volts("N2", "N3"), 0.588_24, 5e-5);
    close(dead(&DELTA_AND_WYE).ohms("N1", "N0"), 14.5714, 1e-3);
    close(net.amps("N1", "N2", 12.0) + net.amps("N1", "N3", 18.0), 0.686_275, 1e-5);
    // The delta 12, 18, 6 ohm as a wye has arms of 6, 2 and 3 ohm: the resistances between its ends.
    let delta = dead(&DELTA_AND_WYE[..3]);
    close(delta.ohms("N1", "N2"), 6.0 + 2.0, 1e-6);
    close(delta.ohms("N1", "N3"), 6.0 + 3.0, 1e-6);
    close(delta.ohms("N2", "N3"), 2.0 + 3.0, 1e-6);
}

#[test]
fn node_voltages_of_two_sources_of_opposite_sign() {
    let sources = [("11", "0", 10.0), ("0", "22", 4.0)];
    let resistors = [("11", "1", 2.0), ("1", "0", 4.0), ("1", "2", 2.5), ("2", "0", 5.0), ("2", "22", 1.0)];
    let net = live(&sources, &resistors);
    close(net.volts("N1", "N0"), 3.8095, 5e-5);
    close(net.volts("N2", "N0"), -1.5476, 5e-5);
}

// Chapters "Series and parallel circuits" and "Series-parallel combination circuits".

#[test]
fn three_resistors_in_series() {
    let net = live(&[("1", "0", 9.0)], &[("1", "2", 3e3), ("2", "3", 10e3), ("3", "0", 5e3)]);
    close(net.volts("N1", "N2"), 1.5, 1e-6);
    close(net.volts("N2", "N3"), 5.0, 1e-6);
    close(net.volts("N3", "N0"), 2.5, 1e-6);
    close(net.amps("N1", "N2", 3e3) * 1e3, 0.5, 1e-6);
}

#[test]
fn small_resistances_beside_a_large_one_keep_their_digits() {
    // In series they add up, whatever lies between the smallest and the largest.
    let net = dead(&[("1", "2", 1e-6), ("2", "3", 10e6), ("3", "4", 1e-6), ("4", "0", 320.0)]);
    close(net.ohms("N1", "N0"), 10_000_320.000_002, 1e-4);
    close(net.ohms("N1", "N2"), 1e-6, 1e-15);
    close(net.ohms("N3", "N0"), 320.000_001, 1e-9);
}

#[test]
fn three_resistors_in_parallel() {
    let net = live(&[("1", "0", 9.0)], &[("1", "0", 10e3), ("1", "0", 2e3), ("1", "0", 1e3)]);
    for (ohms, milliamps) in [(10e3, 0.9), (2e3, 4.5), (1e3, 9.0)] {
        close(net.amps("N1", "N0", ohms) * 1e3, milliamps, 1e-5);
    }
    // All of 14.4 mA through one equivalent resistance.
    let all = dead(&[("1", "0", 10e3), ("1", "0", 2e3), ("1", "0", 1e3)]);
    close(9.0 / all.ohms("N1", "N0") * 1e3, 14.4, 1e-6);
}

#[test]
fn two_parallel_pairs_in_series() {
    let net = live(
        &[("1", "0", 24.0)],
        &[("1", "4", 100.0), ("1", "4", 250.0), ("4", "0", 350.0), ("4", "0", 200.0)],
    );
    close(net.volts("N1", "N4"), 8.627, 5e-4);
    close(net.volts("N4", "N0"), 15.37, 5e-3);
    let milliamps = [
        ("N1", "N4", 100.0, 86.27),
        ("N1", "N4", 250.0, 34.51),
        ("N4", "N0", 350.0, 43.92),
        ("N4", "N0", 200.0, 76.86),
    ];
    for (a, b, ohms, expected) in milliamps {
        close(net.amps(a, b, ohms) * 1e3, expected, 5e-3);
    }
}

// Chapter "DC metering circuits".

#[test]
fn a_shunt_shows_a_current_as_a_small_voltage() {
    let net = live(&[("1", "0", 12.0)], &[("1", "2", 1.0), ("2", "0", 15e3)]);
    close(net.volts("N1", "N2") * 1e3, 0.7999, 1e-4);
}

#[test]
fn a_voltmeter_loads_what_it_measures() {
    // 24 V over 250 Mohm and 250 Mohm: the lower one has 12 V until a meter of 10 Mohm shows 0.8889 V.
    let net = live(&[("1", "0", 24.0)], &[("1", "2", 250e6), ("2", "0", 250e6)]);
    close(net.volts("N2", "N0"), 12.0, 1e-6);
    close(net.operating.voltmeter(net.node("N2"), net.node("N0")).get(), 0.8889, 5e-5);
    let lower = dead(&[("2", "0", 250e6), ("2", "0", 10e6)]);
    close(lower.ohms("N2", "N0") / 1e6, 9.615, 5e-4);
}

#[test]
fn an_ammeter_adds_its_own_resistance() {
    // 2 V over 3 ohm and over 1.5 ohm; a meter of 0.5 ohm in series with either.
    for (ohms, without, with) in [(3.0, 666.7, 571.43), (1.5, 1333.3, 1000.0)] {
        let net = live(&[("1", "0", 2.0)], &[("1", "0", ohms)]);
        close(net.amps("N1", "N0", ohms) * 1e3, without, 5e-2);
        let net = live(&[("1", "0", 2.0)], &[("1", "2", ohms), ("2", "0", 0.5)]);
        close(net.amps("N1", "N2", ohms) * 1e3, with, 5e-3);
    }
}

#[test]
fn a_balanced_bridge_leaves_its_detector_alone() {
    // An identity: where the arms have equal ratios the detector carries nothing, whatever it is.
    for detector in [1.0, 100.0, 1e6] {
        let net = live(
            &[("1", "0", 6.0)],
            &[
                ("1", "2", 100.0),
                ("2", "0", 300.0),
                ("1", "3", 50.0),
                ("3", "0", 150.0),
                ("2", "3", detector),
            ],
        );
        close(net.volts("N2", "N3"), 0.0, 1e-9);
    }
}

// Switching parts. What is expected follows from what the parts are; there is nothing to cite but common
// practice.

const HEAD: &str = "format = 1\n[harness]\nid = \"K\"\nrevision = \"A\"\nnominal = \"24 V\"\n";
const BATTERY: &str = "[terminal.BP]\n[terminal.BN]\nground = true\n[part.BAT]\nkind = \"battery\"\nvolts = \"24 V\"\ninternal = \"10 mohm\"\nplus = \"BP\"\nminus = \"BN\"\n";

fn studs(names: &str) -> String {
    let studs: Vec<String> = names.split(' ').map(|name| format!("[terminal.{name}]\n")).collect();
    studs.concat()
}

fn wire(id: &str, from: &str, to: &str) -> String {
    format!(
        "[[wire]]\nid = \"{id}\"\nfrom = \"{from}\"\nto = \"{to}\"\ngauge = \"1.5 mm2\"\nlength = \"1 m\"\n"
    )
}

fn relay(id: &str, coil: &str, contacts: &str) -> String {
    format!(
        "[part.{id}]\nkind = \"relay\"\ncoil = {coil}\ncoil_ohms = \"320 ohm\"\noperate = \"16 V\"\n{contacts}\n"
    )
}

fn machine(parts: &[String]) -> Harness {
    read(&format!("{HEAD}{BATTERY}{}", parts.concat()))
}

#[test]
fn relays_feed_each_other_in_a_chain() {
    let mut parts = vec![studs("O0 O1 O2 O3 O4 O5"), wire("9A", "BP", "O0")];
    for n in 1..=5 {
        let before = n - 1;
        parts.push(relay(
            &format!("K{n}"),
            &format!("[\"O{before}\", \"BN\"]"),
            &format!("operated = [[\"BP\", \"O{n}\"]]"),
        ));
    }
    let net = Solved::of(machine(&parts), Connected::as_found());
    for n in 1..=5 {
        assert!(net.operating.states().operated(net.part(&format!("K{n}"))), "K{n}");
        assert!(net.volts(&format!("O{n}"), "BN") > 23.0, "O{n}");
    }
    // One coil open, and everything behind it stays dead.
    let coil = net.link("K3", 0);
    let net = Solved::changed(machine(&parts), Connected::as_found(), &[Change::Open(coil)]);
    let operated: Vec<bool> =
        (1..=5).map(|n| net.operating.states().operated(net.part(&format!("K{n}")))).collect();
    assert_eq!(operated, [true, true, false, false, false]);
}

#[test]
fn a_relay_below_its_voltage_stays_released() {
    // 320 ohm behind 320 ohm: 12 V, where 16 V would operate it.
    let parts = [
        studs("A"),
        "[part.R]\nkind = \"resistor\"\nbetween = [\"BP\", \"A\"]\nohms = \"320 ohm\"\n".to_owned(),
        relay("K1", "[\"A\", \"BN\"]", "released = []"),
    ];
    let net = Solved::of(machine(&parts), Connected::as_found());
    assert!(!net.operating.states().operated(net.part("K1")));
    close(net.volts("A", "BN"), 12.0, 1e-2);
}

#[test]
fn a_buzzer_is_reported_with_its_part() {
    // Fed through its own released contact: it pulls, loses its feed, drops, and so on.
    let parts =
        [studs("A C"), relay("K7", "[\"C\", \"BN\"]", "released = [[\"BP\", \"A\"]]"), wire("7A", "A", "C")];
    let harness = machine(&parts);
    let netlist = Netlist::new(&harness);
    let setup = Setup::from(Connected::as_found());
    let error = solve(&harness, &netlist, &setup, &[], Corner::Nominal).unwrap_err();
    assert_eq!(error, Unsettled::Loop(vec!["K7".to_owned()]));
    assert_eq!(error.to_string(), "the machine never settles: K7 keep switching");
    assert!(Situation::new(&harness, &netlist, &setup).is_err());
    // Without power it is quiet, and its contact conducts.
    let net = Solved::of(harness, Isolated::at_rest());
    close(net.ohms("BP", "A"), 0.005, 0.002);
}

#[test]
fn a_diode_lets_current_through_one_way_only() {
    let diode = |anode: &str, cathode: &str| {
        format!(
            "[part.D]\nkind = \"diode\"\nanode = \"{anode}\"\ncathode = \"{cathode}\"\ndrop = \"0.7 V\"\n"
        )
    };
    let lamp = "[part.R]\nkind = \"resistor\"\nbetween = [\"A\", \"BN\"]\nohms = \"100 ohm\"\n".to_owned();
    let forward = Solved::of(machine(&[studs("A"), diode("BP", "A"), lamp.clone()]), Connected::as_found());
    close(forward.volts("A", "BN"), 23.3, 0.05);
    let backward = Solved::of(machine(&[studs("A"), diode("A", "BP"), lamp.clone()]), Connected::as_found());
    close(backward.volts("A", "BN"), 0.0, 1e-6);
    // An ohmmeter does not get through either way.
    let quiet = Solved::of(machine(&[studs("A"), diode("BP", "A"), lamp]), Isolated::at_rest());
    assert!(!quiet.operating.joined(quiet.node("BP"), quiet.node("A")));
}

fn boxed(supply: bool, ground: bool, enable: bool) -> Solved {
    let mut parts = vec![
        "[connector.P]\ncontacts = [\"1\", \"2\", \"3\", \"4\"]\nmate = \"J\"\n[connector.J]\ncontacts = [\"1\", \"2\", \"3\", \"4\"]\npart = \"BOX\"\n".to_owned(),
        "[part.BOX]\nkind = \"unit\"\n[[part.BOX.function]]\ntitle = \"Drive\"\noutput = \"J.4\"\nsupply = \"J.1\"\nreturn = \"J.2\"\nwhen = [\"J.3\"]\n".to_owned(),
        studs("A"),
        "[part.M]\nkind = \"resistor\"\nbetween = [\"A\", \"BN\"]\nohms = \"50 ohm\"\n".to_owned(),
        wire("4A", "P.4", "A"),
    ];
    parts.extend(supply.then(|| wire("1A", "BP", "P.1")));
    parts.extend(ground.then(|| wire("2A", "P.2", "BN")));
    parts.extend(enable.then(|| wire("3A", "BP", "P.3")));
    Solved::of(machine(&parts), Connected::as_found())
}

#[test]
fn a_unit_drives_only_with_supply_return_and_every_condition() {
    assert!(boxed(true, true, true).volts("A", "BN") > 23.5);
    for [supply, ground, enable] in [[false, true, true], [true, false, true], [true, true, false]] {
        close(boxed(supply, ground, enable).volts("A", "BN"), 0.0, 0.5);
    }
    // All good, and the unit is dead.
    let net = boxed(true, true, true);
    let unit = net.part("BOX");
    let net = Solved::changed(net.harness, Connected::as_found(), &[Change::Dead(unit)]);
    close(net.volts("A", "BN"), 0.0, 1e-6);
}

const GENERATOR: &str = "[terminal.GP]\n[condition.running]\ntitle = \"Engine running\"\n[part.ALT]\nkind = \"alternator\"\nvolts = \"28 V\"\ninternal = \"20 mohm\"\nplus = \"GP\"\nminus = \"BN\"\nsense = \"BP\"\nwhen = \"running\"\n";

#[test]
fn an_alternator_charges_while_its_condition_holds() {
    let harness = machine(&[GENERATOR.to_owned(), wire("1A", "GP", "BP")]);
    let running = harness.names.condition("running").unwrap();
    let still = Solved::of(harness.clone(), Connected::as_found());
    close(still.volts("BP", "BN"), 24.0, 0.01);
    let turning = Solved::of(harness.clone(), Connected::as_found().bring(running));
    let volts = turning.volts("BP", "BN");
    assert!(volts > 24.5 && volts < 28.0, "{volts}");
    // What it feels as its sense is the battery: with the lead off it does not excite itself.
    let net = Solved::of(harness, Connected::as_found());
    let battery = net.part("BAT");
    let flat = Solved::changed(net.harness, Connected::as_found().bring(running), &[Change::Dead(battery)]);
    close(flat.volts("GP", "BN"), 0.0, 1e-6);
}

#[test]
fn a_sensor_conducts_while_its_condition_holds() {
    let sensor = "[condition.full]\ntitle = \"Tank full\"\n[part.B]\nkind = \"sensor\"\nbetween = [\"BP\", \"A\"]\nohms = \"2 ohm\"\nwhen = \"full\"\n[part.R]\nkind = \"resistor\"\nbetween = [\"A\", \"BN\"]\nohms = \"98 ohm\"\n";
    let harness = machine(&[studs("A"), sensor.to_owned()]);
    let full = harness.names.condition("full").unwrap();
    let empty = Solved::of(harness.clone(), Connected::as_found());
    close(empty.volts("A", "BN"), 0.0, 1e-6);
    let filled = Solved::of(harness.clone(), Connected::as_found().bring(full));
    close(filled.volts("A", "BN"), 24.0 * 0.98, 0.01);
    let quiet = Solved::of(harness, Isolated::at_rest().bring(&filled.harness, full));
    close(quiet.ohms("BP", "A"), 2.0, 1e-6);
}

/// Battery, 10 A fuse, a metre of wire to a 24 ohm load, and a lamp that another fuse feeds.
fn fused() -> Harness {
    let fuse = |id: &str, a: &str, b: &str| {
        format!("[part.{id}]\nkind = \"fuse\"\nrating = \"10 A\"\nbetween = [\"{a}\", \"{b}\"]\n")
    };
    let load = |id: &str, a: &str| {
        format!("[part.{id}]\nkind = \"resistor\"\nbetween = [\"{a}\", \"BN\"]\nohms = \"24 ohm\"\n")
    };
    machine(&[
        studs("F1o F2o A B"),
        fuse("F1", "BP", "F1o"),
        fuse("F2", "BP", "F2o"),
        wire("1A", "F1o", "A"),
        wire("2A", "F2o", "B"),
        load("R1", "A"),
        load("R2", "B"),
    ])
}

#[test]
fn a_short_to_the_chassis_blows_its_fuse_and_no_other() {
    let healthy = Solved::of(fused(), Connected::as_found());
    close(healthy.volts("A", "BN"), 24.0, 0.1);
    assert_eq!(healthy.operating.states().all_blown().len(), 0);

    let universe = Universe::new(&healthy.harness, &healthy.netlist);
    let wire = healthy.harness.wires.ids().find(|id| healthy.harness.wires[*id].id == "1A").unwrap();
    let changes = universe.changes(&healthy.harness, &healthy.netlist, Fault::ToChassis(wire));
    let short = Solved::changed(fused(), Connected::as_found(), &changes);
    let [f1, f2] = ["F1", "F2"].map(|id| short.link(id, 0));
    assert!(short.operating.states().blown(f1));
    assert!(!short.operating.states().blown(f2));
    // Behind the fuse nothing, across it the whole battery, and the other circuit works on.
    close(short.volts("A", "BN"), 0.0, 1e-6);
    close(short.volts("BP", "F1o"), 24.0, 0.1);
    close(short.volts("B", "BN"), 24.0, 0.1);
}

#[test]
fn a_fuse_that_a_sound_machine_blows_is_named() {
    // 0.5 ohm on 24 V asks for 48 A of a 10 A fuse: the definition or the load is wrong.
    let text = "[part.F1]\nkind = \"fuse\"\nrating = \"10 A\"\nbetween = [\"BP\", \"A\"]\n[part.R1]\nkind = \"resistor\"\nbetween = [\"A\", \"BN\"]\nohms = \"0.5 ohm\"\n";
    let harness = machine(&[studs("A"), text.to_owned()]);
    let netlist = Netlist::new(&harness);
    let situation = Situation::new(&harness, &netlist, &Connected::as_found().into()).unwrap();
    let blown: Vec<usize> = situation.blown_when_healthy().map(Id::index).collect();
    assert_eq!(blown, [harness.names.part("F1").unwrap().index()]);
    let quiet = Situation::new(&harness, &netlist, &Isolated::at_rest().into()).unwrap();
    assert_eq!(quiet.blown_when_healthy().count(), 0);
}
