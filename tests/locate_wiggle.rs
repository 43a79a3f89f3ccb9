//! Faults that come and go, and a known-good twin: what `min`, `max` and `disturbed` do, and what another
//! machine's readings do. Common practice, no source.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

#[path = "support/mod.rs"]
mod support;

use ringout::definition::{Harness, load};
use ringout::locate::twin::Effect;
use ringout::locate::wiggle::Moved;
use ringout::locate::{Diagnosis, Evidence, Verdict, locate_with};
use ringout::measure::{Meter, Reading};
use ringout::netlist::Netlist;
use ringout::record::{self, Record};

/// A solenoid fed through two plugs, a splice and two trunks; its lead can be read at each plug.
fn machine() -> Harness {
    let text = r#"
        format = 1
        harness = { id = "COIL", title = "A solenoid on a lead", revision = "A" }
        station.cab = { title = "Cab" }
        station.deck = { title = "Deck" }
        connector.P1 = { contacts = ["1", "2"], station = "cab" }
        connector.P2 = { contacts = ["1", "2"], station = "deck", mate = "J2", backprobe = true }
        connector.J2 = { contacts = ["1", "2"], station = "deck" }
        connector.X3 = { contacts = ["1", "2"], station = "deck" }
        trunk.T1 = { between = ["P1", "P2"], length = "3 m" }
        trunk.T2 = { between = ["J2", "X3"], length = "1 m" }
        wire = [
            { id = "1A", from = "P1.1", to = "P2.1", gauge = "1 mm2", length = "3.2 m" },
            { id = "1B", from = "J2.1", to = "X3.1", gauge = "1 mm2", length = "1.2 m" },
            { id = "2A", from = "P1.2", to = "P2.2", gauge = "1 mm2", length = "3.2 m" },
            { id = "2B", from = "J2.2", to = "X3.2", gauge = "1 mm2", length = "1.2 m" },
        ]
        [part.Y1]
        kind = "coil"
        between = ["X3.1", "X3.2"]
        ohms = "320 ohm"
    "#;
    match load("coil.toml", text.to_owned(), None, &mut |_| Err("no files".to_owned())) {
        Ok(loaded) => loaded.harness,
        Err(rejected) => panic!("{:?}", rejected.diagnostics.iter().map(|d| &d.message).collect::<Vec<_>>()),
    }
}

fn reading(red: &str, black: &str, keys: &str) -> String {
    format!(
        "[[reading]]\nkind = \"continuity\"\npower = \"isolated\"\nred = \"{red}\"\nblack = \"{black}\"\n{keys}\n"
    )
}

fn record(harness: &Harness, text: &str) -> Record {
    let record = record::read(harness, "record.toml", text);
    let said: Vec<_> = record.diagnostics.iter().map(|d| &d.message).collect();
    assert!(record.is_sound(), "{said:?}\n{text}");
    record
}

fn diagnose(here: &str, twin: &str) -> (Harness, Diagnosis) {
    let harness = machine();
    let (here, twin) = (record(&harness, here), record(&harness, twin));
    let netlist = Netlist::new(&harness);
    let evidence = Evidence { entries: &here.entries, places: &here.places, twin: &twin.entries };
    let answer = locate_with(&harness, &netlist, &evidence, &Meter::HANDHELD).unwrap();
    (harness, answer)
}

fn standing(harness: &Harness, answer: &Diagnosis) -> Vec<String> {
    answer.suspects.iter().flat_map(|group| &group.faults).map(|fault| fault.id(harness)).collect()
}

/// The share of the groups that hold a fault.
fn share(harness: &Harness, answer: &Diagnosis, id: &str) -> f64 {
    let holds = |group: &&ringout::locate::Group| group.faults.iter().any(|fault| fault.id(harness) == id);
    answer.suspects.iter().filter(holds).map(|group| group.share).sum()
}

const WIGGLED: &str =
    "value = \"320 ohm\"\nmin = \"320 ohm\"\nmax = \"open\"\ndisturbed = \"loom flexed at T2\"";

#[test]
fn the_extreme_out_of_limits_counts() {
    let (_, answer) = diagnose(&reading("P1.1", "P1.2", WIGGLED), "");
    let [judged] = &answer.judged[..] else { panic!("one reading") };
    assert_eq!((judged.value, judged.good), (Reading::Open, false));
    let [wiggled] = &answer.wiggled[..] else { panic!("one wiggle test") };
    assert_eq!((wiggled.counts, wiggled.good), ("max", false));
    assert_eq!(wiggled.moved, ["T2"]);
    assert!(
        answer.notes.iter().any(|note| note.contains("open") && note.contains("T2")),
        "{:?}",
        answer.notes
    );
    // All good: nothing counts but the value.
    let steady =
        "value = \"320 ohm\"\nmin = \"319 ohm\"\nmax = \"321 ohm\"\ndisturbed = \"loom flexed at T2\"";
    let (_, answer) = diagnose(&reading("P1.1", "P1.2", steady), "");
    assert_eq!(answer.verdict, Verdict::Healthy);
    assert_eq!(answer.wiggled[0].counts, "value");
    // A value that is bad by itself counts before its extremes: the fault is there at rest too.
    let worse = "value = \"900 ohm\"\nmax = \"open\"\ndisturbed = \"loom flexed at T2\"";
    let (_, answer) = diagnose(&reading("P1.1", "P1.2", worse), "");
    assert_eq!(answer.wiggled[0].counts, "value");
    assert!(matches!(answer.judged[0].value, Reading::Ohms(_)));
    // Of two bad extremes the one farther out.
    let both = "value = \"320 ohm\"\nmin = \"200 ohm\"\nmax = \"9 kohm\"";
    let (_, answer) = diagnose(&reading("P1.1", "P1.2", both), "");
    assert_eq!(answer.wiggled[0].counts, "max");
}

#[test]
fn good_readings_at_rest_do_not_clear_a_fault_that_comes_and_goes() {
    let good =
        |red: &str, black: &str, keys: &str| reading(red, black, &format!("value = \"0.4 ohm\"\n{keys}"));
    let at_rest = good("P1.1", "P2.1", "") + &good("P1.2", "P2.2", "");
    // The same readings clear a fault that is always there.
    let (harness, hard) = diagnose(&(reading("P1.1", "P1.2", "value = \"open\"") + &at_rest), "");
    assert!(!standing(&harness, &hard).contains(&"1A:open".to_owned()));
    let (harness, soft) = diagnose(&(reading("P1.1", "P1.2", WIGGLED) + &at_rest), "");
    assert!(standing(&harness, &soft).contains(&"1A:open".to_owned()), "{:?}", standing(&harness, &soft));
    assert_ne!(soft.verdict, Verdict::Contradictory);
    assert!(soft.notes.iter().any(|note| note.contains("comes and goes")));
    // But one that stays good while just that place is moved clears what lies there, and nothing else.
    let moved = good("P1.1", "P2.1", "max = \"0.4 ohm\"\ndisturbed = \"loom flexed at T1\"");
    let (harness, cleared) = diagnose(&(reading("P1.1", "P1.2", WIGGLED) + &moved), "");
    let left = standing(&harness, &cleared);
    assert!(!left.contains(&"1A:open".to_owned()), "{left:?}");
    for id in ["2A:open", "1B:open", "Y1:open"] {
        assert!(left.contains(&id.to_owned()), "{id} in {left:?}");
    }
}

/// Wires in each other's cavities explain an open that is always there, and do not come and go.
#[test]
fn exchanged_wires_do_not_come_and_go() {
    let harness = support::harness("orchard-sprayer.toml");
    let netlist = Netlist::new(&harness);
    let crossed = |keys: &str| {
        let text = reading("XB2.3", "P1.K", &format!("unplugged = [\"P1\", \"XB1\"]\n{keys}"));
        let record = record(&harness, &text);
        let evidence = Evidence { entries: &record.entries, ..Evidence::default() };
        let answer = locate_with(&harness, &netlist, &evidence, &Meter::HANDHELD).unwrap();
        standing(&harness, &answer).iter().filter(|id| id.ends_with(":crossed")).count()
    };
    assert!(crossed("value = \"open\"") > 0);
    assert_eq!(crossed("value = \"0.4 ohm\"\nmax = \"open\"\ndisturbed = \"loom flexed at SP3\""), 0);
}

#[test]
fn what_lies_at_the_place_moved_is_favoured() {
    let without = "value = \"320 ohm\"\nmax = \"open\"";
    let (harness, plain) = diagnose(&reading("P1.1", "P1.2", without), "");
    let (_, moved) = diagnose(&reading("P1.1", "P1.2", WIGGLED), "");
    let ratio =
        |answer: &Diagnosis, a: &str, b: &str| share(&harness, answer, a) / share(&harness, answer, b);
    // In one group nothing changes but the order; the wires of both trunks stand in one group here, so the order tells.
    let first = &moved.suspects[0].faults[0].id(&harness);
    assert!(first.starts_with("1B") || first.starts_with("2B") || first.contains("X3"), "{first}");
    assert!(ratio(&moved, "1B:open", "1A:open") >= ratio(&plain, "1B:open", "1A:open"));
    assert!(
        plain.notes.iter().any(|note| note.contains("what was moved is not written")),
        "{:?}",
        plain.notes
    );
}

#[test]
fn what_was_moved_is_understood_by_its_names() {
    let harness = machine();
    let names = |text: &str| Moved::parse(&harness, text).names;
    assert_eq!(names("loom flexed at T2, then T1."), ["T2", "T1"]);
    assert_eq!(names("hot air at J2; P1.2 pulled"), ["J2", "P1.2"]);
    assert_eq!(names("1A tapped (at the deck)"), ["1A", "deck"]);
    assert!(names("the loom was flexed all along").is_empty());
    assert!(names("").is_empty() && names("P9.1 T99 …").is_empty());
}

#[test]
fn a_twin_narrows_what_is_expected() {
    let here = reading("P1.1", "P1.2", "value = \"355 ohm\"");
    let (_, alone) = diagnose(&here, "");
    assert_eq!(alone.verdict, Verdict::Healthy, "the definition allows 15 %");
    let (harness, beside) = diagnose(&here, &reading("P1.2", "P1.1", "value = \"321 ohm\""));
    let [compared] = &beside.compared[..] else { panic!("one reading") };
    assert_eq!(compared.effect, Effect::Narrowed);
    let expect = &beside.judged[0].expect;
    assert!(expect.low > 290.0 && expect.high.unwrap() < 350.0, "{expect:?}");
    assert!(!beside.judged[0].good && beside.verdict != Verdict::Healthy);
    assert!(standing(&harness, &beside).contains(&"1A:high".to_owned()), "{:?}", standing(&harness, &beside));
    let why = format!("{:?}", expect.why);
    assert!(why.contains("the twin's reading (#1 there)"), "{why}");
    // The twin's other readings say nothing of this one.
    for other in [
        reading("P1.1", "P2.1", "value = \"0.3 ohm\""),
        reading("P1.1", "P1.2", "unplugged = [\"P2\"]\nvalue = \"open\""),
    ] {
        let (_, beside) = diagnose(&here, &other);
        assert!(beside.compared.is_empty() && beside.verdict == Verdict::Healthy);
    }
}

#[test]
fn a_twin_outside_the_definition_replaces_it_and_is_told() {
    let (_, answer) = diagnose(
        &reading("P1.1", "P1.2", "value = \"452 ohm\""),
        &reading("P1.1", "P1.2", "value = \"450 ohm\""),
    );
    assert_eq!(answer.compared[0].effect, Effect::Replaced);
    assert!(answer.compared[0].words().contains("look at the definition"));
    assert!(answer.judged[0].good && answer.verdict == Verdict::Healthy);
}

#[test]
fn a_twin_never_loosens_an_isolation() {
    let isolation = |value: &str| {
        reading("P1.1", "P1.2", &format!("unplugged = [\"P2\"]\nvalue = \"{value}\""))
            .replace("continuity", "isolation")
    };
    let (_, answer) = diagnose(&isolation("3 ohm"), &isolation("3 ohm"));
    assert_eq!(answer.compared[0].effect, Effect::Kept);
    assert!(!answer.judged[0].good);
}

#[test]
fn min_above_max_is_refused() {
    let harness = machine();
    let text = reading("P1.1", "P1.2", "value = \"3 ohm\"\nmin = \"open\"\nmax = \"3 ohm\"");
    let record = record::read(&harness, "r", &text);
    assert!(record.diagnostics.iter().any(|d| d.message == "`min` is more than `max`"));
}
