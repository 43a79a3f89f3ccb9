//! Meters and isolation limits against what is published about them.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

#[path = "support/mod.rs"]
mod support;

use ringout::conductor::ohms_per_metre_ideal;
use ringout::definition::{Harness, Kind, load};
use ringout::measure::isolation::{ASSEMBLED_WIRING, BS_7671_TABLE_64, assembled_wiring_at};
use ringout::measure::{Expectation, Meter, OPEN_FROM, Prediction, Reading, Situation};
use ringout::netlist::Netlist;
use ringout::plan::{self, Scope};
use ringout::setup::{Connected, Isolated, Setup};
use ringout::units::{Gauge, Metres, Ohms};

fn close(value: f64, expected: f64, within: f64) {
    assert!((value - expected).abs() <= within, "{value} is not {expected}");
}

fn made(text: &str) -> Harness {
    let none = &mut |path: &str| Err(format!("{path} is not there"));
    match load("made.toml", format!("format = 1\n{text}"), None, none) {
        Ok(loaded) => loaded.harness,
        Err(rejected) => panic!("{:?}", rejected.diagnostics),
    }
}

/// One wire of 20 AWG, a metre long, between two open connectors.
fn one_wire() -> Harness {
    made(
        r#"
        harness = { id = "LEAD-1", title = "A lead", revision = "A" }
        connector.X1 = { contacts = ["1"] }
        connector.X2 = { contacts = ["1"] }
        wire = [{ id = "1A", from = "X1.1", to = "X2.1", gauge = "20 AWG", length = "1 m" }]
        "#,
    )
}

/// What a reading between two points must show without power.
fn expected(harness: &Harness, meter: &Meter, kind: Kind, probes: [&str; 2]) -> Expectation {
    let netlist = Netlist::new(harness);
    let situation = Situation::new(harness, &netlist, &Setup::from(Isolated::at_rest())).unwrap();
    let [red, black] = probes.map(|point| harness.point(point).unwrap());
    situation.explain(&situation.measure(kind, red, black).unwrap(), meter)
}

const WIRE: [&str; 2] = ["X1.1", "X2.1"];

/// Manuals of three plain meters: a tone "below 50 ohm", at "50 ohm +/- 30 ohm", and "below 70 ohm", where
/// "a beep does not necessarily mean zero resistance".
#[test]
fn a_tone_is_claimed_only_where_each_of_three_manuals_grants_it() {
    let manuals = [[50.0, 50.0], [20.0, 80.0], [70.0, 70.0]];
    let [sure, most] = Meter::BEEPER.beeps_between.map(Ohms::get);
    close(Meter::BEEPER.beeps_below.get(), 50.0, 0.0);
    for [from, to] in manuals {
        assert!(sure <= from && to <= most, "{from} to {to}");
    }
    let tone = expected(&one_wire(), &Meter::BEEPER, Kind::Continuity, WIRE);
    assert_eq!(tone.words(), "tone");
    assert!(tone.admits(Reading::Tone) && !tone.admits(Reading::Open));
    let shows = |ohms: f64| tone.excludes(Prediction::Ohms(ohms), Kind::Continuity, &Meter::BEEPER);
    for [_, to] in manuals {
        assert!(!shows(to), "{to} ohm may still sound");
    }
    assert!(shows(81.0) && tone.excludes(Prediction::Open, Kind::Continuity, &Meter::BEEPER));
}

/// Silence between what should be apart proves no more than the lowest threshold of the same manuals; a
/// tone there proves a short.
#[test]
fn silence_proves_little() {
    let two = made(
        r#"
        harness = { id = "LEAD-2", title = "Two leads", revision = "A" }
        connector.X1 = { contacts = ["1", "2"] }
        connector.X2 = { contacts = ["1", "2"] }
        wire = [
            { id = "1A", from = "X1.1", to = "X2.1", gauge = "20 AWG", length = "1 m" },
            { id = "2A", from = "X1.2", to = "X2.2", gauge = "20 AWG", length = "1 m" },
        ]
        "#,
    );
    let apart = expected(&two, &Meter::BEEPER, Kind::Isolation, ["X1.1", "X1.2"]);
    assert_eq!(apart.words(), "no tone");
    assert!(apart.admits(Reading::Open) && !apart.admits(Reading::Tone));
    close(apart.low, 20.0, 0.0);
    let shows = |ohms: f64| apart.excludes(Prediction::Ohms(ohms), Kind::Isolation, &Meter::BEEPER);
    assert!(shows(19.0) && !shows(21.0));
}

/// Computed from ASTM B258 (20 AWG, 33.3 mohm/m): of 19 strands one left, a metre goes from 33 mohm to 0.63
/// ohm, and every beeper still sounds. A four-wire meter shows it.
#[test]
fn one_of_nineteen_strands_left_still_beeps() {
    let harness = one_wire();
    let sound = ohms_per_metre_ideal(Gauge::parse("20 AWG").unwrap()).per(Metres::new(1.0)).get();
    close(sound, 0.033, 0.0005);
    let worn = sound * 19.0;
    close(worn, 0.63, 0.005);
    let shows = |meter: &Meter| {
        let expect = expected(&harness, meter, Kind::Continuity, WIRE);
        expect.excludes(Prediction::Ohms(worn), Kind::Continuity, meter)
    };
    assert!(!shows(&Meter::BEEPER));
    assert!(!shows(&Meter::HANDHELD));
    assert!(shows(&Meter::FOUR_WIRE));
    // With nulled leads a plain meter's reading is at least out of limits.
    let nulled = expected(&harness, &Meter::NULLED, Kind::Continuity, WIRE);
    assert!(!nulled.admits(Reading::Ohms(Ohms::new(worn))));
    let plain = expected(&harness, &Meter::HANDHELD, Kind::Continuity, WIRE);
    assert!(plain.admits(Reading::Ohms(Ohms::new(worn))));
}

/// Kuphaldt, "Lessons In Electric Circuits", vol. I, "DC metering circuits", Kelvin (4-wire) resistance
/// measurement: the voltage at the subject over the current through it does not depend on the wires that
/// bring the current. The current is read at a shunt of 1 ohm; the 10 Mohm of the voltmeter take nothing.
#[test]
fn four_wires_take_the_leads_out_of_the_reading() {
    for lead in [0.1, 1.0, 10.0] {
        let harness = made(&format!(
            r#"
            harness = {{ id = "KELVIN", title = "Four wires", revision = "A", nominal = "3 V" }}
            terminal = {{ A = {{}}, B = {{}}, C = {{}}, D = {{}}, E = {{}} }}
            [part.BAT1]
            kind = "battery"
            volts = "3 V"
            internal = "10 mohm"
            plus = "A"
            minus = "E"
            [part.LEAD1]
            kind = "resistor"
            between = ["A", "B"]
            ohms = "{lead} ohm"
            [part.SUBJECT]
            kind = "resistor"
            between = ["B", "C"]
            ohms = "0.25 ohm"
            [part.LEAD2]
            kind = "resistor"
            between = ["C", "D"]
            ohms = "{lead} ohm"
            [part.SHUNT]
            kind = "resistor"
            between = ["D", "E"]
            ohms = "1 ohm"
            "#
        ));
        let [subject, shunt] = [["B", "C"], ["D", "E"]].map(|probes| volts(&harness, probes));
        close(subject / shunt, 0.25, 1e-6);
        // Two wires alone read the leads as well.
        let two = volts(&harness, ["A", "D"]) / shunt;
        close(two, 0.25 + 2.0 * lead, 1e-4);
    }
    close(Meter::FOUR_WIRE.leads.get(), 0.0, 0.0);
    assert!(Meter::FOUR_WIRE.uncertainty(Kind::Continuity, 0.033) < 0.002);
}

/// What a voltmeter shows on a machine with power.
fn volts(harness: &Harness, probes: [&str; 2]) -> f64 {
    let netlist = Netlist::new(harness);
    let situation = Situation::new(harness, &netlist, &Setup::from(Connected::as_found())).unwrap();
    let [red, black] = probes.map(|point| harness.point(point).unwrap());
    match situation.predict_healthy(&situation.measure(Kind::Voltage, red, black).unwrap()) {
        Prediction::Volts(volts) => volts,
        other => panic!("{other:?}"),
    }
}

/// Kuphaldt, "Lessons In Electric Circuits", vol. I, "DC metering circuits", voltmeter impact on measured
/// circuit: 24 V over 250 Mohm and 250 Mohm, and a meter of 10 Mohm at the lower one shows 0.8889 V.
#[test]
fn the_meter_loads_what_it_measures() {
    let harness = made(
        r#"
        harness = { id = "LOADING", title = "A divider", revision = "A", nominal = "24 V" }
        terminal = { A = {}, B = {}, C = {} }
        [part.BAT1]
        kind = "battery"
        volts = "24 V"
        internal = "1 mohm"
        plus = "A"
        minus = "C"
        [part.R1]
        kind = "resistor"
        between = ["A", "B"]
        ohms = "250 Mohm"
        [part.R2]
        kind = "resistor"
        between = ["B", "C"]
        ohms = "250 Mohm"
        "#,
    );
    close(volts(&harness, ["B", "C"]), 0.8889, 5e-5);
}

/// A plain meter's manual: touch the leads together and subtract what they show (REL). What is left of
/// them is nothing, and the limit comes down by what they had: 0.1 to 0.3 ohm (common practice).
#[test]
fn nulled_leads_are_out_of_the_limit() {
    let harness = one_wire();
    let high = |meter: &Meter| expected(&harness, meter, Kind::Continuity, WIRE).high.unwrap();
    close(high(&Meter::HANDHELD) - high(&Meter::NULLED), Meter::HANDHELD.leads.get(), 1e-12);
    assert!((0.1..=0.3).contains(&Meter::HANDHELD.leads.get()));
}

/// US Army SB 740-91-01 par. 4c: 100 Mohm at 200 to 1000 V dc; par. 4c(3): below 100 degF, 2 % less per
/// degree above 82 degF, 2 % more per degree below 60 degF.
#[test]
fn isolation_of_assembled_wiring_by_temperature() {
    close(ASSEMBLED_WIRING.get(), 100e6, 0.0);
    for (fahrenheit, megohms) in [(50.0, 120.0), (60.0, 100.0), (71.0, 100.0), (82.0, 100.0), (92.0, 80.0)] {
        close(assembled_wiring_at(fahrenheit).unwrap().get() / 1e6, megohms, 1e-9);
    }
    assert_eq!(assembled_wiring_at(100.0), None);
    assert_eq!(assembled_wiring_at(f64::NAN), None);
    assert!((200.0..=1000.0).contains(&Meter::MEGOHM.puts_out.volts.get()));
}

/// BS 7671:2018 Table 64: 250 V dc and 0.5 Mohm for SELV and PELV, 500 V dc and 1 Mohm up to 500 V, 1000 V
/// dc and 1 Mohm above.
#[test]
fn isolation_of_installed_circuits() {
    let rows = BS_7671_TABLE_64.map(|row| (row.test.get(), row.least.get() / 1e6));
    assert_eq!(rows, [(250.0, 0.5), (500.0, 1.0), (1000.0, 1.0)]);
    assert!(rows.contains(&(Meter::MEGOHM.puts_out.volts.get(), OPEN_FROM.get() / 1e6)));
}

/// IPC/WHMA-A-620A section 19: continuity of 2 ohm at most, or 1 ohm plus the wire's resistance. What is
/// expected of a net of conductors is never laxer, even with the leads in the reading.
#[test]
fn continuity_is_held_no_laxer_than_the_workmanship_standard() {
    let harness = support::harness("orchard-sprayer.toml");
    let netlist = Netlist::new(&harness);
    let plan = plan::plan(&harness, &netlist, &Scope::default(), Meter::HANDHELD).unwrap();
    let along = plan.steps().filter(|s| s.measurement.kind() == Kind::Continuity && s.purpose == "path");
    let mut seen = 0;
    for step in along {
        let high = step.expect.high.unwrap();
        let network = step.expect.why.high.terms[0].amount;
        assert!(high <= 2.0 && high <= 1.0 + network, "{}: {high} ohm", step.id);
        assert!(!step.expect.admits(Reading::Ohms(Ohms::new(2.0))), "{}", step.id);
        seen += 1;
    }
    assert!(seen > 50, "{seen}");
}
