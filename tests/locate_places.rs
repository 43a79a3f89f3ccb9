//! Places found along simulated wires: where a wire was cut or touched is where the reading puts it, within the
//! error that is told.
//!
//! The wires that are read differ from their definition as real ones do: in length, in ohms per metre, in how
//! alike the two of a pair are; joints, straps and the touch itself resist; instruments err within their limits.
//! What the wires do is worked out by a solver that shares nothing with the crate (`support/nodal.rs`), and for the
//! bridges by ngspice as well.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]
#![allow(clippy::print_stdout, reason = "what a test measured is its result")]

#[path = "support/machine.rs"]
mod machine;

#[path = "support/nodal.rs"]
mod nodal;

#[path = "support/spice.rs"]
mod spice;

use machine::Rng;
use nodal::{Branch, resistance, voltages};
use ringout::conductor::{USUAL_TEMPERATURES, resistance_range};
use ringout::definition::Harness;
use ringout::locate::place::{Placed, formula, place};
use ringout::locate::{Evidence, locate_with};
use ringout::measure::{Meter, Situation};
use ringout::netlist::Netlist;
use ringout::record::{self, Record};
use ringout::units::{Gauge, Metres};

/// A lead of a few wires side by side, through two trunks, one of them with the plug A at its end.
fn lead(gauge: &str, length: f64) -> String {
    format!(
        r#"
        format = 1
        harness = {{ id = "LEAD", title = "A lead", revision = "A" }}
        connector.A = {{ contacts = ["1", "2", "3"] }}
        connector.B = {{ contacts = ["1", "2", "3"] }}
        terminal.GP1 = {{ ground = true }}
        trunk.T1 = {{ between = ["A", "fork"], length = "{} m" }}
        trunk.T2 = {{ between = ["fork", "B"], length = "{} m" }}
        wire = [
            {{ id = "1A", from = "A.1", to = "B.1", gauge = "{gauge}", length = "{length} m", route = ["T1", "T2"] }},
            {{ id = "2A", from = "A.2", to = "B.2", gauge = "{gauge}", length = "{length} m", route = ["T1", "T2"] }},
            {{ id = "3A", from = "A.3", to = "B.3", gauge = "{gauge}", length = "{length} m", route = ["T1", "T2"] }},
        ]
        "#,
        length * 0.4,
        length * 0.4
    )
}

fn reading(keys: &str) -> String {
    format!("[[reading]]\nred = \"A.1\"\nblack = \"A.2\"\npower = \"isolated\"\n{keys}\n")
}

fn record(harness: &Harness, text: &str) -> Record {
    let record = record::read(harness, "record.toml", text);
    let said: Vec<_> = record.diagnostics.iter().map(|d| &d.message).collect();
    assert!(record.is_sound(), "{said:?}\n{text}");
    record
}

fn placed(harness: &Harness, keys: &str) -> Result<Placed, String> {
    let record = record(harness, &reading(keys));
    let netlist = Netlist::new(harness);
    let situation = Situation::new(harness, &netlist, &record.places[0].setup).unwrap();
    place(&situation, &record.places[0], &Meter::HANDHELD)
}

/// A number from -1 to 1.
fn share(rng: &mut Rng) -> f64 {
    rng.below(2_000_001) as f64 / 1e6 - 1.0
}

/// A real pair of wires, with a fault somewhere along the first.
struct Pair {
    /// What the definition says.
    length: f64,
    /// How long it is.
    real: f64,
    /// Where the fault is, from connector A.
    at: f64,
    /// Ohms per metre of each.
    per_metre: [f64; 2],
    /// What resists beside the wires: each termination, the touch, the strap.
    joint: f64,
    touch: f64,
    strap: f64,
}

impl Pair {
    fn new(rng: &mut Rng, gauge: &str, length: f64) -> Self {
        let size = Gauge::parse(gauge).unwrap();
        let (low, high) = resistance_range(size, Metres::new(1.0), USUAL_TEMPERATURES);
        let per_metre = low.get() + (high.get() - low.get()) * (share(rng) + 1.0) / 2.0;
        let real = length * (1.0 + 0.02 * share(rng)) + 0.02 * share(rng);
        Self {
            length,
            real,
            at: real * (0.02 + 0.96 * (share(rng) + 1.0) / 2.0),
            per_metre: [per_metre, per_metre * (1.0 + 0.02 * share(rng))],
            joint: 0.5e-3,
            touch: 5.0 * (share(rng) + 1.0),
            strap: 0.01 * (1.0 + share(rng)),
        }
    }

    /// Nodes: 0 A.1, 1 the fault on the first wire, 2 B.1; 3 A.2, 4 beside the fault, 5 B.2.
    fn wires(&self) -> Vec<Branch> {
        let [one, two] = self.per_metre;
        let rest = self.real - self.at;
        vec![
            Branch::plain(0, 1, one * self.at + self.joint),
            Branch::plain(1, 2, one * rest + self.joint),
            Branch::plain(3, 4, two * self.at + self.joint),
            Branch::plain(4, 5, two * rest + self.joint),
        ]
    }

    /// Ohms through a touch of both wires, read at A and at B.
    fn through(&self) -> [f64; 2] {
        let mut branches = self.wires();
        branches.push(Branch::plain(1, 4, self.touch));
        [resistance(&branches, 0, 3).unwrap(), resistance(&branches, 2, 5).unwrap()]
    }

    /// A bridge on both wires, strapped at B, the first of them touching the frame: how far the detector is off
    /// balance. Nodes: 6 the frame, 7 where both arms and the battery meet, 8 the bridge's terminal for the faulty
    /// wire, behind what is added to it.
    fn detector(&self, arm: f64, added: f64) -> f64 {
        let mut branches = self.wires();
        branches.push(Branch::plain(2, 5, self.strap));
        branches.push(Branch::plain(1, 6, self.touch));
        branches.push(Branch::plain(7, 8, 1000.0 * arm));
        branches.push(Branch::plain(7, 3, 1000.0 * (1.0 - arm)));
        branches.push(Branch::plain(8, 0, added.max(1e-9)));
        let volts = voltages(&branches, 6, &[(7, 1.0)]);
        volts[&8] - volts[&3]
    }

    /// How far a place that was found is from the fault, over the error that was told.
    fn miss(&self, harness: &Harness, found: &Placed) -> f64 {
        let from_a = harness.point_name(found.place.from).starts_with('A');
        let truth = if from_a { self.at } else { self.real - self.at };
        (found.place.at.get() - truth).abs() / found.place.plus_minus.get()
    }
}

/// Where a detector is balanced, between two settings on either side.
fn balance(mut low: f64, mut high: f64, detector: impl Fn(f64) -> f64) -> f64 {
    assert!(detector(low) * detector(high) <= 0.0, "no balance between {low} and {high}");
    let sign = detector(low).signum();
    for _ in 0..80 {
        let middle = f64::midpoint(low, high);
        if detector(middle) * sign >= 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}

/// Every kind on so many wires: what it shows of a pair, as the keys of a reading.
fn survey(kind: &str, keys: impl Fn(&mut Rng, &Pair) -> String) {
    const WIRES: usize = 400;
    let mut rng = Rng::new(7);
    let gauges = ["0.5 mm2", "1 mm2", "2.5 mm2", "20 AWG", "16 AWG"];
    let (mut inside, mut worst, mut errors) = (0, 0.0_f64, Vec::new());
    for _ in 0..WIRES {
        let gauge = rng.pick(&gauges);
        let length = rng.between(20, 300) as f64 / 10.0;
        let harness = machine::read(&lead(gauge, length));
        let pair = Pair::new(&mut rng, gauge, length);
        let keys = format!("kind = \"{kind}\"\n{}", keys(&mut rng, &pair));
        let found = placed(&harness, &keys)
            .unwrap_or_else(|why| panic!("{why}: {} of {}\n{keys}", pair.at, pair.length));
        let miss = pair.miss(&harness, &found);
        inside += usize::from(miss <= 1.0);
        worst = worst.max(miss);
        errors.push(found.place.plus_minus.get() / length);
    }
    errors.sort_by(f64::total_cmp);
    println!(
        "{kind}: {inside} of {WIRES} within what was told, the worst at {worst:.2} of it; told: {:.1} % of the wire in the \
         middle, {:.1} % at most",
        100.0 * errors[WIRES / 2],
        100.0 * errors[WIRES - 1]
    );
    // Twice the standard deviation holds 95 of a hundred.
    assert!(inside * 100 >= WIRES * 95, "{kind}: only {inside} of {WIRES}");
    assert!(worst < 1.6, "{kind}: {worst}");
}

#[test]
fn loops_from_both_ends_find_the_touch() {
    survey("loop", |rng, pair| {
        let meter = Meter::FOUR_WIRE;
        let [near, far] =
            pair.through().map(|ohms| ohms + share(rng) * (ohms * meter.ohms_relative + meter.ohms_absolute));
        format!("value = \"{near} ohm\"\nfar = \"{far} ohm\"\nmeter = \"four-wire\"\nback = [\"2A\"]")
    });
}

#[test]
fn murray_loops_find_the_touch() {
    survey("murray", |rng, pair| {
        let arm = balance(1e-6, 1.0 - 1e-6, |arm| pair.detector(arm, 0.0)) + 0.001 * share(rng);
        format!("value = \"{} %\"\nstrapped = [[\"B.1\", \"B.2\"]]", (arm * 100.0).max(1e-3))
    });
}

#[test]
fn varley_loops_find_the_touch() {
    survey("varley", |rng, pair| {
        let added = balance(0.0, 100.0, |added| pair.detector(0.5, added));
        let added = (added + share(rng) * (added * 0.002 + 0.001)).max(0.0);
        format!("value = \"{added} ohm\"\nstrapped = [[\"B.1\", \"B.2\"]]")
    });
}

#[test]
fn capacitances_find_the_cut() {
    survey("capacitance", |rng, pair| {
        // Picofarads a metre, a little more at one end than at the other.
        let (per_metre, slope) = (60.0 + 40.0 * share(rng), 0.04 * share(rng));
        let upto = |x: f64| per_metre * (x + slope * x * (x / pair.real - 1.0));
        let [near, far] =
            [upto(pair.at), upto(pair.real) - upto(pair.at)].map(|pf| pf + share(rng) * (pf * 0.02 + 5.0));
        format!("value = \"{} pF\"\nfar = \"{} pF\"", near.max(0.1), far.max(0.1))
    });
}

#[test]
fn reflections_find_the_cut() {
    survey("reflection", |rng, pair| {
        let (told, real) = (0.66, 0.66 * (1.0 + 0.05 * share(rng)));
        let seconds = 2.0 * pair.at / (real * formula::LIGHT);
        let seconds = seconds + share(rng) * (seconds * 0.01 + 0.5e-9);
        format!("value = \"{} ns\"\nvelocity = \"{told}\"", (seconds * 1e9).max(0.01))
    });
}

/// The bridge in ngspice, balanced as a person does it: by looking at the detector.
#[test]
fn ngspice_balances_the_bridge_where_the_formula_says() {
    if !spice::is_there() {
        return;
    }
    let mut rng = Rng::new(11);
    for _ in 0..6 {
        let length = rng.between(20, 300) as f64 / 10.0;
        let harness = machine::read(&lead("1 mm2", length));
        let pair = Pair::new(&mut rng, "1 mm2", length);
        let [one, two] = pair.per_metre;
        let rest = pair.real - pair.at;
        let detector = |arm: f64, added: f64| {
            let deck = format!(
                "bridge\nv1 j 0 dc 6\nrq j t {}\nrp j b {}\nrs t a {}\nrx a f {}\nry f e {}\nrt f 0 {}\nrk e g {}\nrz g b {}\n\
                 .control\nset numdgt=16\nop\nprint v(t)\nprint v(b)\nquit\n.endc\n.end\n",
                100.0 * arm,
                100.0 * (1.0 - arm),
                added.max(1e-9),
                one * pair.at,
                one * rest,
                pair.touch.max(1e-3),
                pair.strap.max(1e-6),
                two * pair.real
            );
            let printed = spice::run(&deck);
            spice::voltage(&printed, "t") - spice::voltage(&printed, "b")
        };
        // Balance by false position, the end that stays counting half (the Illinois rule; Dowell and Jarratt 1971).
        let zero = |show: &dyn Fn(f64) -> f64, mut low: f64, mut high: f64| {
            let (mut a, mut b) = (show(low), show(high));
            assert!(a * b < 0.0, "no balance between {low} and {high}");
            let mut next = low;
            for _ in 0..40 {
                next = low - a * (high - low) / (b - a);
                let c = show(next);
                if c.abs() < 1e-12 || (high - low).abs() < 1e-9 {
                    break;
                }
                if c * b < 0.0 {
                    (low, a) = (high, b);
                } else {
                    a /= 2.0;
                }
                (high, b) = (next, c);
            }
            next
        };
        let arm = zero(&|arm| detector(arm, 0.0), 0.001, 0.999);
        let keys =
            format!("kind = \"murray\"\nvalue = \"{} %\"\nstrapped = [[\"B.1\", \"B.2\"]]", arm * 100.0);
        let miss = pair.miss(&harness, &placed(&harness, &keys).unwrap());
        assert!(miss <= 1.0, "murray: {miss}");
        let added = zero(&|added| detector(0.5, added), 0.0, 2.0);
        let keys = format!("kind = \"varley\"\nvalue = \"{added} ohm\"\nstrapped = [[\"B.1\", \"B.2\"]]");
        let miss = pair.miss(&harness, &placed(&harness, &keys).unwrap());
        assert!(miss <= 1.0, "varley: {miss}");
    }
}

/// With the whole loop measured, what a metre resists does not matter: the error told gets no larger.
#[test]
fn a_measured_loop_is_no_worse_than_one_from_tables() {
    let harness = machine::read(&lead("1 mm2", 10.0));
    let keys = "kind = \"loop\"\nvalue = \"300 mohm\"\nfar = \"250 mohm\"\nmeter = \"four-wire\"";
    let from_tables = placed(&harness, keys).unwrap().place;
    let measured = placed(&harness, &format!("{keys}\nwhole = \"385 mohm\"")).unwrap().place;
    assert!(measured.plus_minus.get() <= from_tables.plus_minus.get() + 1e-9, "{measured:?} {from_tables:?}");
}

/// The record of a touch of 1A and 2A, with readings of its place.
fn diagnosed(harness: &Harness, places: &[&str]) -> ringout::locate::Diagnosis {
    let mut text = "[[reading]]\nkind = \"isolation\"\nred = \"A.1\"\nblack = \"A.2\"\npower = \"isolated\"\nvalue = \"0.6 ohm\"\n"
        .to_owned();
    for keys in places {
        text.push_str(&reading(keys));
    }
    let record = record(harness, &text);
    let netlist = Netlist::new(harness);
    let evidence = Evidence { entries: &record.entries, places: &record.places, twin: &[] };
    locate_with(harness, &netlist, &evidence, &Meter::HANDHELD).unwrap()
}

const FROM_A: &str = "kind = \"reflection\"\nvalue = \"30 ns\"\nvelocity = \"66 %\"";

#[test]
fn readings_that_agree_are_weighed_together_and_the_odd_one_is_told() {
    let harness = machine::read(&lead("1 mm2", 10.0));
    let one = diagnosed(&harness, &[FROM_A]);
    let [found] = &one.places.together[..] else { panic!("one group") };
    assert!(found.disagreement.is_empty());
    // The same from the other end, as the rest of the wire has it.
    let away = |from: &str, to: &str, ns: f64| {
        format!(
            "[[reading]]\nkind = \"reflection\"\nvelocity = \"66 %\"\npower = \"isolated\"\nred = \"{from}\"\nblack = \"{to}\"\nvalue = \"{ns} ns\"\n"
        )
    };
    let at = |ns: f64| 0.66 * formula::LIGHT * ns * 1e-9 / 2.0;
    let rest = 2.0 * (10.0 - at(30.0)) / (0.66 * formula::LIGHT) * 1e9;
    let text = |more: &str| {
        format!(
            "[[reading]]\nkind = \"isolation\"\nred = \"A.1\"\nblack = \"A.2\"\npower = \"isolated\"\nvalue = \"0.6 ohm\"\n{}{}{more}",
            away("A.1", "A.2", 30.0),
            away("B.1", "B.2", rest)
        )
    };
    let diagnose = |text: &str| {
        let record = record(&harness, text);
        let netlist = Netlist::new(&harness);
        let evidence = Evidence { entries: &record.entries, places: &record.places, twin: &[] };
        locate_with(&harness, &netlist, &evidence, &Meter::HANDHELD).unwrap()
    };
    let both = diagnose(&text(""));
    let [together] = &both.places.together[..] else { panic!("one group") };
    assert_eq!(together.by.len(), 2);
    assert!(together.disagreement.is_empty(), "{:?}", together.disagreement);
    assert!((together.place.at.get() - at(30.0)).abs() < 0.05, "{together:?}");
    assert!(together.place.plus_minus <= found.place.plus_minus, "{together:?} {found:?}");
    // A third one that is far off is left out, and said to be.
    let odd = diagnose(&text(&away("A.1", "A.2", 80.0)));
    let [told] = &odd.places.together[..] else { panic!("one group") };
    let mut by = told.by.clone();
    by.sort();
    assert_eq!(by, ["#2", "#3"]);
    assert!(
        told.disagreement.len() == 1 && told.disagreement[0].starts_with("#4 "),
        "{:?}",
        told.disagreement
    );
    assert_eq!(told.place.at, together.place.at);
    // Of two that differ nobody knows which is wrong: the error covers both.
    let two = diagnosed(&harness, &[FROM_A, "kind = \"reflection\"\nvalue = \"80 ns\"\nvelocity = \"66 %\""]);
    let [split] = &two.places.together[..] else { panic!("one group") };
    assert_eq!(split.by.len(), 2);
    assert!(split.disagreement.len() == 1 && split.disagreement[0].contains("two faults"), "{split:?}");
    assert!(split.place.plus_minus.get() >= (at(80.0) - at(30.0)) / 2.0, "{split:?}");
}

#[test]
fn the_place_names_trunk_wire_and_nearest_connector() {
    let harness = machine::read(&lead("1 mm2", 10.0));
    let words = |ns: f64| {
        let keys = format!("kind = \"reflection\"\nvelocity = \"66 %\"\nvalue = \"{ns} ns\"");
        let found = placed(&harness, &keys).unwrap();
        ringout::locate::place::words::words(&harness, &found.place)
    };
    // 1 m of tail at each end, then T1 and T2 with 4 m each.
    assert_eq!(words(30.0), "in trunk T1, 3.0 m from A (±0.2 m)");
    assert_eq!(words(80.0), "in trunk T2, 2.1 m from B (±0.6 m)");
    assert_eq!(words(4.0), "0.40 m from A (±0.07 m)");
    assert!(words(51.0).starts_with("in trunk T2 (or T1), 5.0 m from"), "{}", words(51.0));
}

#[test]
fn outside_the_wire_is_said_and_used_for_nothing() {
    let harness = machine::read(&lead("1 mm2", 10.0));
    let far_out = "kind = \"reflection\"\nvalue = \"200 ns\"\nvelocity = \"66 %\"";
    let why = placed(&harness, far_out).unwrap_err();
    assert!(why.contains("19.8 m from A.1, beyond the end of 1A (10.0 m long"), "{why}");
    let before = "kind = \"loop\"\nvalue = \"0.1 ohm\"\nfar = \"3 ohm\"\nmeter = \"four-wire\"";
    let why = placed(&harness, before).unwrap_err();
    assert!(why.contains("before A.1"), "{why}");
    let answer = diagnosed(&harness, &[far_out]);
    assert!(answer.places.alone.is_empty() && answer.places.together.is_empty());
    assert!(answer.left.iter().any(|left| left.name == "#2" && left.why.contains("beyond the end")));
    assert_eq!(answer.suspects[0].distance, None);
}

#[test]
fn what_spoils_a_reading_is_named() {
    let harness = machine::read(&lead("1 mm2", 10.0));
    let refused = |keys: &str| placed(&harness, keys).unwrap_err();
    let open = refused("kind = \"murray\"\nvalue = \"25 %\"");
    assert!(open.contains("the loop is open at the far end: strap B.1 to B.2"), "{open}");
    let joined =
        refused("kind = \"capacitance\"\nvalue = \"9 pF\"\nfar = \"9 pF\"\nstrapped = [[\"B.1\", \"B.2\"]]");
    assert!(joined.contains("something else joins A.1 and A.2"), "{joined}");
}

#[test]
fn a_break_in_the_middle_is_not_in_a_termination() {
    let harness = machine::read(&lead("1 mm2", 10.0));
    let cut = |keys: &str| {
        let text = format!(
            "[[reading]]\nkind = \"continuity\"\nred = \"A.1\"\nblack = \"B.1\"\npower = \"isolated\"\nvalue = \"open\"\n{}",
            reading(keys)
        );
        let record = record(&harness, &text);
        let netlist = Netlist::new(&harness);
        let evidence = Evidence { entries: &record.entries, places: &record.places, twin: &[] };
        let answer = locate_with(&harness, &netlist, &evidence, &Meter::HANDHELD).unwrap();
        answer.suspects[0].faults.iter().map(|fault| fault.id(&harness)).collect::<Vec<_>>()
    };
    let middle = cut("kind = \"capacitance\"\nvalue = \"300 pF\"\nfar = \"400 pF\"");
    assert_eq!(middle[0], "1A:open", "{middle:?}");
    // At the end it may be either; the other end's termination is behind both.
    let end = cut("kind = \"capacitance\"\nvalue = \"700 pF\"\nfar = \"1 pF\"");
    let far_off: Vec<&String> = end.iter().rev().take_while(|id| id.starts_with("1A@A.1:")).collect();
    assert_eq!((far_off.len(), end.len()), (2, 6), "{end:?}");
}

/// Whatever stands in a reading, on whatever wire: a place with sound figures, or words. Never a panic.
#[test]
fn any_reading_gives_a_place_or_words() {
    let wires = [
        "gauge = \"1 mm2\", length = \"0 m\"",
        "length = \"3 m\"",
        "gauge = \"1 mm2\"",
        "gauge = \"40 AWG\", length = \"1 km\"",
        "gauge = \"1000 mm2\", length = \"1 mm\"",
        "gauge = \"1 mm2\", length = \"3 m\"",
    ];
    let values = [
        "0 ohm",
        "1e-15 ohm",
        "0.2 ohm",
        "1 Gohm",
        "1/2",
        "99.999 %",
        "0.001 %",
        "1 pF",
        "1 F",
        "3 m",
        "1e15 m",
        "1 ns",
        "1e9 s",
        "open",
        "",
        "-1 ohm",
        "nan",
        "1/0",
        "7",
    ];
    let mut rng = Rng::new(3);
    let (mut told, mut refused) = (0, 0);
    for _ in 0..4000 {
        let (one, two) = (rng.pick(&wires), rng.pick(&wires));
        let text = format!(
            "format = 1\nharness = {{ id = \"L\", title = \"L\", revision = \"A\" }}\nconnector.A = {{ contacts = [\"1\", \"2\"] }}\n\
             connector.B = {{ contacts = [\"1\", \"2\"], mate = \"C\", backprobe = true }}\nconnector.C = {{ contacts = [\"1\", \"2\"] }}\n\
             terminal.GP1 = {{ ground = true }}\nterminal.ST1 = {{ }}\ntrunk.T1 = {{ between = [\"A\", \"B\"], length = \"2 m\" }}\n\
             trunk.T2 = {{ between = [\"A\", \"fork\"] }}\ntrunk.T3 = {{ between = [\"fork\", \"C\"] }}\n\
             wire = [{{ id = \"1A\", from = \"B.1\", to = \"A.1\", {one}, route = [\"T1\"] }},\
             {{ id = \"1B\", from = \"C.1\", to = \"ST1\", {two} }}, {{ id = \"2A\", from = \"A.2\", to = \"B.2\", {two}, route = [\"T2\", \"T3\"] }}]\n"
        );
        let harness = machine::read(&text);
        let kind = rng.pick(&["loop", "murray", "varley", "capacitance", "reflection"]);
        let points = ["A.1", "A.1", "A.2", "A.2", "B.1", "C.2", "GP1", "ST1", "chassis"];
        let fitting: &[&str] = match kind {
            "murray" => &["1/2", "99.999 %", "0.001 %", "10 %"],
            "capacitance" => &["1 pF", "300 pF", "1 F", "3 m"],
            "reflection" => &["1 ns", "20 ns", "1e9 s", "3 m"],
            _ => &["0 ohm", "1e-15 ohm", "20 mohm", "0.2 ohm", "1 Gohm"],
        };
        let value = |rng: &mut Rng| if rng.chance(80) { rng.pick(fitting) } else { rng.pick(&values) };
        let mut text = format!(
            "[[reading]]\nkind = \"{kind}\"\nred = \"{}\"\nblack = \"{}\"\npower = \"{}\"\nvalue = \"{}\"\n",
            rng.pick(&points),
            rng.pick(&points),
            if rng.chance(95) { "isolated" } else { "connected" },
            value(&mut rng)
        );
        for (key, percent) in [("far", 60), ("whole", 40), ("plus_minus", 20), ("leads", 10), ("arms", 10)] {
            if rng.chance(percent) {
                text += &format!("{key} = \"{}\"\n", value(&mut rng));
            }
        }
        for (key, choices) in [
            ("velocity", &["\"66 %\"", "\"1\"", "\"1e-300\""][..]),
            ("along", &["[\"1A\", \"1B\"]", "[\"1A\"]", "[]", "[\"2A\", \"1A\"]", "[\"9Z\"]"][..]),
            ("strapped", &["[[\"A.1\", \"A.2\"]]", "[[\"B.1\", \"B.2\"]]"][..]),
            ("meter", &["\"four-wire\"", "\"beeper\"", "\"?\""][..]),
        ] {
            if rng.chance(35) {
                text += &format!("{key} = {}\n", rng.pick(choices));
            }
        }
        let record = record::read(&harness, "r", &text);
        let netlist = Netlist::new(&harness);
        for reading in &record.places {
            let situation = Situation::new(&harness, &netlist, &reading.setup).unwrap();
            match place(&situation, reading, &Meter::HANDHELD) {
                Ok(found) => {
                    told += 1;
                    let figures = [found.place.at.get(), found.place.plus_minus.get()];
                    assert!(figures.iter().all(|x| x.is_finite() && *x >= 0.0), "{figures:?}\n{text}");
                }
                Err(why) => {
                    refused += 1;
                    assert!(!why.contains("NaN") && !why.contains("inf"), "{why}\n{text}");
                }
            }
        }
    }
    println!("{told} places, {refused} refusals in words");
    assert!(told > 20 && refused > 100, "{told} {refused}: the choices are too narrow");
}
