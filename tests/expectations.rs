//! Every limit has its reason, and the reason adds up to it.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

#[path = "support/machine.rs"]
mod machine;
#[path = "support/mod.rs"]
mod support;

use machine::{Rng, made};
use ringout::definition::{Harness, Kind, Point};
use ringout::measure::{Expectation, METERS, Meter, Reading, Reason, Situation};
use ringout::netlist::Netlist;
use ringout::plan::{self, Scope};
use ringout::setup::Isolated;
use ringout::units::{Ohms, Volts};

fn adds_up(reason: &Reason, limit: f64, name: &str, explained: bool) {
    let sum: f64 = reason.terms.iter().map(|term| term.amount).sum();
    assert!((sum - limit).abs() <= 1e-9 * limit.abs().max(1.0), "{name}: {sum} is not {limit}");
    for term in &reason.terms {
        assert!(term.amount.is_finite() && !term.what.is_empty(), "{name}: {term:?}");
        let shares: f64 = term.shares.iter().map(|share| share.amount).sum::<f64>() + term.others.1;
        assert!(shares.is_finite() && term.shares.is_sorted_by(|a, b| a.amount >= b.amount), "{name}");
        // A way alone has at least what it has with others beside it.
        if explained && term.what.starts_with("network") {
            assert!(shares >= term.amount * 0.99 - 1e-5, "{name}: {shares} of {}", term.amount);
        }
    }
}

fn has_reasons(expect: &Expectation, name: &str, explained: bool) {
    if expect.low.is_finite() {
        adds_up(&expect.why.low, expect.low, name, explained);
        assert!(!expect.why.low.words(expect.ohms).is_empty() || expect.is_demanded(), "{name}");
    } else {
        assert!(expect.is_demanded() && expect.low < 0.0, "{name}: {}", expect.low);
    }
    if let Some(high) = expect.high {
        adds_up(&expect.why.high, high, name, explained);
        assert!(expect.low <= high, "{name}: {} to {high}", expect.low);
        assert!(!expect.why.high.words(expect.ohms).is_empty(), "{name}");
    }
    assert!(!expect.words().contains("NaN"), "{name}");
}

/// Every reading of a plan, judged with every meter: gives how many expectations were looked at.
fn all_of(harness: &Harness, name: &str) -> usize {
    let netlist = Netlist::new(harness);
    let Ok(plan) = plan::plan(harness, &netlist, &Scope::default(), Meter::HANDHELD) else { return 0 };
    let mut seen = 0;
    for phase in &plan.phases {
        let situation = Situation::new(harness, &netlist, &phase.setup).unwrap();
        for step in &phase.steps {
            let name = format!("{name} {}", step.id);
            has_reasons(&step.expect, &name, true);
            for meter in METERS {
                let bare = situation.expect(&step.measurement, &meter);
                let explained = situation.explain(&step.measurement, &meter);
                has_reasons(&bare, &name, false);
                has_reasons(&explained, &name, true);
                // Saying why changes nothing.
                assert_eq!((bare.low, bare.high), (explained.low, explained.high), "{name} {}", meter.name);
                seen += 1;
            }
        }
    }
    seen
}

#[test]
fn reasons_add_up_to_their_limits() {
    let sprayer = support::harness("orchard-sprayer.toml");
    assert!(all_of(&sprayer, "sprayer") > 2000);
    let seen: usize =
        (0..80).map(|seed| all_of(&made(seed, 4 + seed as usize % 24), &format!("seed {seed}"))).sum();
    assert!(seen > 2000, "{seen}");
}

/// A limit is never tighter with a meter that has its leads in the reading.
#[test]
fn leads_only_ever_widen() {
    let harness = support::harness("orchard-sprayer.toml");
    let netlist = Netlist::new(&harness);
    let plan = plan::plan(&harness, &netlist, &Scope::default(), Meter::HANDHELD).unwrap();
    for phase in plan.phases.iter().filter(|phase| phase.steps.iter().any(|s| s.expect.ohms)) {
        let situation = Situation::new(&harness, &netlist, &phase.setup).unwrap();
        for step in phase.steps.iter().filter(|step| step.expect.high.is_some()) {
            let [with, without] = [Meter::HANDHELD, Meter::NULLED]
                .map(|m| situation.expect(&step.measurement, &m).high.unwrap());
            assert!(with >= without, "{}", step.id);
        }
    }
}

/// What the maker demands stands with its source, and with what would have been computed.
#[test]
fn a_demand_says_what_it_overrides() {
    let harness = support::harness("orchard-sprayer.toml");
    let netlist = Netlist::new(&harness);
    let plan = plan::plan(&harness, &netlist, &Scope::default(), Meter::HANDHELD).unwrap();
    let demanded: Vec<_> = plan.steps().filter(|step| step.expect.is_demanded()).collect();
    assert!(!demanded.is_empty());
    for step in demanded {
        let limit = harness
            .limits
            .iter()
            .find(|limit| [limit.red, limit.black] == [step.measurement.red(), step.measurement.black()])
            .unwrap();
        let words = [&step.expect.why.low, &step.expect.why.high].map(|r| r.words(step.expect.ohms)).concat();
        assert!(words.contains("demanded") && words.contains(&limit.title) && words.contains(&limit.source));
        assert!(step.expect.computed_words().is_some());
        if let Some(low) = limit.low {
            assert!((step.expect.low - low).abs() < 1e-12, "{}", step.id);
        }
    }
}

/// What connected units have inside is unknown, and current may go through one after the other: through two that meet
/// on a wire to which no probe leads. Common practice, no source.
#[test]
fn two_units_in_a_row_may_lower_a_reading() {
    let harness = machine::read(
        r#"
        format = 1
        harness = { id = "ROW-1", revision = "A" }
        connector.XL = { contacts = 2 }
        connector.P1 = { contacts = 2, mate = "J1" }
        connector.J1 = { contacts = 2, part = "BOX1" }
        connector.P2 = { contacts = 2, mate = "J2" }
        connector.J2 = { contacts = 2, part = "BOX2" }
        terminal.GP1 = { ground = true }
        wire = [
            { id = "1A", from = "XL.1", to = "P1.1" },
            { id = "2A", from = "P1.2", to = "P2.1" },
            { id = "3A", from = "P2.2", to = "GP1" },
            { id = "4A", from = "XL.2", to = "GP1" },
        ]
        [part.R1]
        kind = "resistor"
        between = ["XL.1", "XL.2"]
        ohms = "30 ohm"
        [part.BOX1]
        kind = "unit"
        function = [{ title = "First", supply = "J1.1", output = "J1.2" }]
        [part.BOX2]
        kind = "unit"
        function = [{ title = "Second", supply = "J2.1", output = "J2.2" }]
        "#,
    );
    let netlist = Netlist::new(&harness);
    let red = harness.point("XL.1").unwrap();
    let low = |setup: Isolated| {
        let situation = Situation::new(&harness, &netlist, &setup.into()).unwrap();
        let relies = situation.relies_on_unit(red, Point::Chassis).is_some();
        let measurement = situation.measure(Kind::Continuity, red, Point::Chassis).unwrap();
        (relies, situation.expect(&measurement, &Meter::HANDHELD).low)
    };
    assert_eq!(low(Isolated::at_rest()), (true, 0.0));
    for mating in harness.matings.ids() {
        let (relies, ohms) = low(Isolated::at_rest().part(mating));
        assert!(!relies && ohms > 20.0, "{ohms}");
    }
}

/// The range to set holds the whole interval, and a lower one would not.
#[test]
fn the_range_to_set_holds_what_is_expected() {
    let harness = support::harness("orchard-sprayer.toml");
    let netlist = Netlist::new(&harness);
    let plan = plan::plan(&harness, &netlist, &Scope::default(), Meter::HANDHELD).unwrap();
    for step in plan.steps() {
        let range = Meter::HANDHELD.range_for(&step.expect).unwrap();
        assert_eq!(range.ohms, step.expect.ohms);
        let Some(high) = step.expect.high else {
            assert_eq!(range.name, "20 Mohm");
            continue;
        };
        assert!(high <= range.top);
        let below = Meter::HANDHELD.ranges.iter().filter(|r| r.ohms == range.ohms && r.top < range.top);
        assert!(below.map(|r| r.top).all(|top| top < high.max(step.expect.low.abs())), "{}", step.id);
    }
}

/// A coil of 320 ohm is silent on a beeper, and 30 ohm may sound on one and not on another.
#[test]
fn a_beeper_between_its_thresholds_tells_nothing() {
    for (ohms, words) in [(1.0, "tone"), (30.0, "tone or none"), (320.0, "no tone")] {
        let text = format!(
            "format = 1\nharness = {{ id = \"R-1\", title = \"A resistor\", revision = \"A\" }}\n\
             terminal = {{ A = {{}}, B = {{}} }}\n\
             [part.R1]\nkind = \"resistor\"\nbetween = [\"A\", \"B\"]\nohms = \"{ohms} ohm\"\n"
        );
        let harness = machine::read(&text);
        let netlist = Netlist::new(&harness);
        let situation = Situation::new(&harness, &netlist, &plan::as_found(&harness)).unwrap();
        let [a, b] = ["A", "B"].map(|point| harness.point(point).unwrap());
        let expect = situation.explain(&situation.measure(Kind::Continuity, a, b).unwrap(), &Meter::BEEPER);
        assert_eq!(expect.words(), words, "{ohms} ohm");
        assert_eq!(expect.admits(Reading::Tone), words != "no tone");
        assert_eq!(expect.admits(Reading::Open), words != "tone");
    }
}

/// Each meter judges a tone by its own thresholds.
#[test]
fn a_tone_is_judged_by_what_may_sound() {
    let mut rng = Rng::new(5);
    let harness = made(3, 12);
    let netlist = Netlist::new(&harness);
    let Ok(plan) = plan::plan(&harness, &netlist, &Scope::default(), Meter::HANDHELD) else { return };
    for step in plan.steps() {
        let most = Meter::HANDHELD.beeps_between[1].get();
        assert_eq!(step.expect.admits(Reading::Tone), step.expect.low <= most, "{}", step.id);
        let value = rng.below(1000) as f64 / 10.0;
        let reading = if step.expect.ohms {
            Reading::Ohms(Ohms::new(value))
        } else {
            Reading::Volts(Volts::new(value))
        };
        let within = value >= step.expect.low && step.expect.high.is_none_or(|high| value <= high);
        assert_eq!(step.expect.admits(reading), within);
    }
}
