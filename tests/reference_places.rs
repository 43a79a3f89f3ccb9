//! Where along a wire a fault lies: the formulas and whole readings against published worked examples.
//!
//! The wires of these examples are telegraph lines and power cables; the arithmetic is the same for a wire of
//! a harness. Each example is read twice: by the bare formula, and as a reading in a record of a definition
//! that has the cable as the example has it.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

use ringout::conductor::MILE;
use ringout::definition::{Harness, load};
use ringout::locate::place::{Placed, formula, place};
use ringout::measure::{Meter, Situation};
use ringout::netlist::Netlist;
use ringout::record;
use ringout::units::{Metres, Ohms, Seconds};

fn near(found: f64, published: f64, give: f64) {
    assert!((found - published).abs() <= give, "{found}, published {published}");
}

/// Two cables of one kind side by side, 1A and 2A, from connector A to connector B.
fn cables(gauge: &str, length: &str) -> Harness {
    made(gauge, length, ["B.1", "B.2"])
}

/// The same, their far ends under one stud, as a loop test has them.
fn looped(gauge: &str, length: &str) -> Harness {
    made(gauge, length, ["ST1", "ST1"])
}

fn made(gauge: &str, length: &str, ends: [&str; 2]) -> Harness {
    let [one, two] = ends;
    let text = format!(
        r#"
        format = 1
        harness = {{ id = "CABLE", title = "Two cables", revision = "A" }}
        connector.A = {{ contacts = ["1", "2"] }}
        connector.B = {{ contacts = ["1", "2"] }}
        terminal.ST1 = {{ title = "Stud at the far end" }}
        wire = [
            {{ id = "1A", from = "A.1", to = "{one}", gauge = "{gauge}", length = "{length}" }},
            {{ id = "2A", from = "A.2", to = "{two}", gauge = "{gauge}", length = "{length}" }},
        ]
        "#
    );
    load("cables.toml", text, None, &mut |_| Err("no files".to_owned())).unwrap().harness
}

/// A reading between A.1 and A.2, with more keys.
fn read(harness: &Harness, keys: &str) -> Placed {
    let text = format!("[[reading]]\nred = \"A.1\"\nblack = \"A.2\"\npower = \"isolated\"\n{keys}\n");
    let record = record::read(harness, "record.toml", &text);
    assert!(record.is_sound(), "{:?}", record.diagnostics.iter().map(|d| &d.message).collect::<Vec<_>>());
    let netlist = Netlist::new(harness);
    let reading = &record.places[0];
    let situation = Situation::new(harness, &netlist, &reading.setup).unwrap();
    place(&situation, reading, &Meter::HANDHELD).unwrap()
}

/// Metres from connector A, whichever end they are told from.
fn from_a(harness: &Harness, placed: &Placed) -> f64 {
    let length = harness.wires[placed.place.wire].length.unwrap().get();
    let at = placed.place.at.get();
    if harness.point_name(placed.place.from).starts_with('A') { at } else { length - at }
}

/// Source: an examination of an electricity supply company (2021): arms 3 to 1, 600 m of cable and a sound one
/// equal to it; the fault is 300 m from the test end.
#[test]
fn murray_with_equal_cables() {
    let share = formula::murray(0.25, Ohms::new(1200.0)).get();
    near(share, 300.0, 1e-9);
    let harness = looped("10 mm2", "600 m");
    for value in ["1/4", "25 %", "0.25"] {
        let placed = read(&harness, &format!("kind = \"murray\"\nvalue = \"{value}\""));
        near(from_a(&harness, &placed), 300.0, 1e-6);
    }
}

/// Source: Hawkins Electrical Guide, vol. 3, fig. 597: 16.46 ohm a mile, loop 54.07 ohm, slide at 332 of 1000:
/// 1.09 miles.
#[test]
fn murray_with_unequal_wires() {
    let ohms = formula::murray(0.332, Ohms::new(54.07)).get();
    near(ohms / 16.46, 1.09, 0.005);
    near(ohms / 16.46, 1.0906, 5e-5);
}

/// Source: Annual Report of the American Institute (telegraph): loop 1000 ohm, 100 ohm added with equal arms:
/// 450 ohm from the instrument. (The 100 ohm is read off the result: the print is damaged there.)
#[test]
fn varley_with_equal_arms() {
    near(formula::varley(0.5, Ohms::new(1000.0), Ohms::new(100.0)).get(), 450.0, 1e-9);
}

/// Source: a textbook question: 0.5 ohm/km, arms 15 and 40 ohm, balance at 20 ohm round the loop and at 10 ohm
/// to earth. The loop is 15/40 of 20 ohm, each cable 7.5 km; results worked out from the inputs: 2.727 ohm, 5.455 km.
#[test]
fn varley_with_two_balances() {
    let whole = 15.0 / 40.0 * 20.0;
    near(whole, 7.5, 1e-12);
    let ohms = formula::varley(40.0 / 55.0, Ohms::new(whole), Ohms::new(10.0)).get();
    near(ohms, 2.727, 5e-4);
    near(ohms / 0.5, 5.455, 5e-4);
    let harness = looped("35 mm2", "7.5 km");
    let keys = "kind = \"varley\"\nvalue = \"10 ohm\"\narms = \"40/55\"\nwhole = \"7.5 ohm\"";
    near(from_a(&harness, &read(&harness, keys)), 5454.5, 0.5);
}

/// Source: a textbook question: 200 m of 120 mm2, test leads of 10 m of 10 mm2, and the balance with the fault
/// is a fifth of that round the loop: by x/L = (Rf - Ri)/Rf - Ri/Rf (Ac Ll)/(Al L), 136 m.
#[test]
fn varley_with_long_leads() {
    let by_hand = 0.8 - 0.2 * (120.0 * 10.0) / (10.0 * 200.0);
    near(by_hand * 200.0, 136.0, 1e-9);
    let lead = 10.0 / 10.0 / 58.0;
    let whole = 2.0 * (200.0 / 120.0 / 58.0 + lead);
    let keys = format!(
        "kind = \"varley\"\nvalue = \"{} ohm\"\nwhole = \"{whole} ohm\"\nleads = \"{lead} ohm\"",
        whole / 5.0
    );
    let harness = looped("120 mm2", "200 m");
    near(from_a(&harness, &read(&harness, &keys)), 136.0, 1e-3);
}

/// Source: a public discussion of studio wiring: 10 m of cable, 100 pF from one end and 400 pF from the other:
/// 2 m from the first.
#[test]
fn capacitance_from_both_ends() {
    near(formula::capacitance(100.0, 400.0, Metres::new(10.0)).get(), 2.0, 1e-12);
    let harness = cables("1 mm2", "10 m");
    let placed = read(&harness, "kind = \"capacitance\"\nvalue = \"100 pF\"\nfar = \"400 pF\"");
    near(from_a(&harness, &placed), 2.0, 1e-9);
    assert_eq!(harness.point_name(placed.place.from), "A.1");
    // A sound wire of that length has both together.
    let placed = read(&harness, "kind = \"capacitance\"\nvalue = \"100 pF\"\nwhole = \"500 pF\"");
    near(from_a(&harness, &placed), 2.0, 1e-9);
}

/// Source: a quick reference of telephone plant on opens by ratio: 290 ft, the meter shows 240 ft from A and
/// 110 ft from B, more than there is, because it takes a foot for more than it has: 91.14 ft from B.
#[test]
fn capacitance_in_feet_that_are_not_feet() {
    let feet = formula::capacitance(240.0, 110.0, Metres::new(290.0)).get();
    near(feet, 198.86, 0.005);
    near(290.0 - feet, 91.14, 0.005);
    let harness = cables("0.5 mm2", "290 ft");
    let placed = read(&harness, "kind = \"capacitance\"\nvalue = \"240 ft\"\nfar = \"110 ft\"");
    near(from_a(&harness, &placed) / 0.3048, 198.86, 0.005);
    assert_eq!(harness.point_name(placed.place.from), "B.1");
    near(placed.place.at.get() / 0.3048, 91.14, 0.005);
}

/// Source: Lessons In Electric Circuits, vol. II, transmission lines: a mile at a velocity factor of 0.66 takes
/// 8.146 us one way and 16.292 us there and back. The book takes light for 186 000 miles a second, 0.15 % less
/// than it is.
#[test]
fn a_pulse_over_a_mile() {
    let found = formula::reflection(0.66, Seconds::new(16.292e-6));
    near(found.get() / MILE.get(), 1.0, 0.0016);
    let books = 186_000.0 * MILE.get() / formula::LIGHT;
    near(found.get() * books / MILE.get(), 1.0, 5e-5);
    let harness = cables("1 mm2", "2 km");
    let keys = "kind = \"reflection\"\nvalue = \"16.292 us\"\nvelocity = \"66 %\"";
    let placed = read(&harness, keys);
    near(from_a(&harness, &placed), found.get(), 1e-6);
    // Beside a sound wire no velocity is needed: twice as far takes twice as long.
    let placed = read(&harness, "kind = \"reflection\"\nvalue = \"16.292 us\"\nwhole = \"32.584 us\"");
    near(from_a(&harness, &placed), 1000.0, 1e-6);
}

/// Source: the formula itself (from memory, the overlap test): what the touch and the leads resist falls out.
#[test]
fn resistance_from_both_ends_does_not_mind_the_touch() {
    for touch in [0.0, 0.3, 40.0] {
        let [near_end, far_end] = [0.7 + touch, 1.3 + touch].map(Ohms::new);
        near(formula::both_ends(near_end, far_end, Ohms::new(2.0)).get(), 0.7, 1e-9);
    }
}
