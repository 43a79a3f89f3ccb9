//! Studies are the same for the same seed, and their figures hang together.
//!
//! Common practice, no source: what is checked is arithmetic on the study's own figures, and that no answer was wrong.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

use std::process::Command;

use serde_json::Value;

const LEAD: &str = r#"
format = 1
harness = { id = "LAMP-2", title = "Two lamps and a switch", revision = "A", nominal = "24 V" }
station.cab = { title = "Cab", reach = "20 s" }
station.deck = { title = "Deck", reach = "40 s" }
terminal.BT1 = { station = "deck" }
terminal.GP1 = { station = "deck", ground = true }
connector.XS = { station = "cab", contacts = ["1", "2"], backprobe = true }
connector.P1 = { station = "cab", contacts = ["1"], contact = "socket", mate = "J1", backprobe = true }
connector.J1 = { station = "cab", contacts = ["1"], contact = "pin" }
connector.XA = { station = "deck", contacts = ["1", "2"], backprobe = true }
connector.XB = { station = "deck", contacts = ["1", "2"], backprobe = true }
splice.SP1 = { station = "deck" }
part.BAT1 = { kind = "battery", volts = "25 V", internal = "12 mohm", plus = "BT1", minus = "GP1" }
part.S1 = { kind = "switch", rest = "off", positions = { off = [], on = [["XS.1", "XS.2"]] } }
part.H1 = { kind = "lamp", between = ["XA.1", "XA.2"], ohms = "24 ohm", cold_ohms = "3 ohm" }
part.H2 = { kind = "lamp", between = ["XB.1", "XB.2"], ohms = "24 ohm", cold_ohms = "3 ohm" }
wire = [
    { id = "1A", from = "BT1", to = "XS.1", gauge = "1 mm2", length = "3 m" },
    { id = "1B", from = "XS.2", to = "P1.1", gauge = "1 mm2", length = "1 m" },
    { id = "1C", from = "J1.1", to = "SP1", gauge = "1 mm2", length = "2 m" },
    { id = "1D", from = "SP1", to = "XA.1", gauge = "1 mm2", length = "1 m" },
    { id = "1E", from = "SP1", to = "XB.1", gauge = "1 mm2", length = "1 m" },
    { id = "2A", from = "XA.2", to = "GP1", gauge = "1 mm2", length = "1 m" },
    { id = "2B", from = "XB.2", to = "GP1", gauge = "1 mm2", length = "1 m" },
]
"#;

fn study(args: &[&str]) -> String {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("lamps.toml");
    std::fs::write(&path, LEAD).unwrap();
    let output =
        Command::new(env!("CARGO_BIN_EXE_ringout")).arg("study").arg(&path).args(args).output().unwrap();
    assert!(matches!(output.status.code(), Some(0 | 1)), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn the_same_seed_gives_the_same_study_and_another_does_not() {
    let args = ["--runs", "12", "--seed", "3", "--format", "json"];
    let first = study(&args);
    assert_eq!(first, study(&args));
    assert_ne!(first, study(&["--runs", "12", "--seed", "4", "--format", "json"]));
}

#[test]
fn every_fault_of_a_small_machine_ends_rightly_and_no_way_is_below_its_bound() {
    let view: Value = serde_json::from_str(&study(&["--all", "--format", "json"])).unwrap();
    assert!(view["runs"].as_u64().unwrap() > 30, "{view}");
    let ends = view["ends"].as_array().unwrap();
    let share = |end: &Value| end["share"].as_f64().unwrap();
    assert!((ends.iter().map(share).sum::<f64>() - 1.0).abs() < 0.01);
    for end in ends.iter().filter(|end| ["wrong", "lost", "endless"].contains(&end["end"].as_str().unwrap()))
    {
        assert!(end["faults"].as_array().unwrap().is_empty(), "{end}");
    }
    let ways = view["ways"].as_array().unwrap();
    let way = |name: &str| ways.iter().find(|way| way["way"].as_str().unwrap().starts_with(name));
    let readings = |name: &str| way(name).unwrap()["readings"].as_f64().unwrap();
    assert!(readings("entropy, readings of most") <= readings("half"));
    assert!(readings("half") <= readings("contact"), "{ways:?}");
    let spread = &view["readings"];
    assert!(spread["p95"].as_f64() <= spread["most"].as_f64());
}

#[test]
fn every_format_is_printed_and_nonsense_is_refused() {
    let text = study(&["--runs", "5"]);
    assert!(
        text.contains("What is asked of the advice") && text.lines().all(|line| line.chars().count() <= 80)
    );
    assert!(study(&["--runs", "5", "--format", "md"]).contains("| ratio |"));
    let refused =
        Command::new(env!("CARGO_BIN_EXE_ringout")).args(["study", "x.toml", "--runs", "0"]).output();
    assert_eq!(refused.unwrap().status.code(), Some(2));
}
