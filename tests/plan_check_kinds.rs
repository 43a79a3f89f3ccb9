//! The check of plans finds what is wrong with plans that use straps, loopback plugs and caps, with plans for a build
//! and with plans for a complaint: see `plan_check.rs`, which does so for all others.
//!
//! That power and straps exclude each other, and that nothing is plugged in over a cap, is common practice, no source.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

#[path = "support/machine.rs"]
mod machine;
#[path = "support/planned.rs"]
mod planned;
#[path = "support/spoilt.rs"]
mod spoilt;
#[path = "support/mod.rs"]
mod support;

use std::sync::OnceLock;

use planned::{aided, aids, complained, json as value, list, staged, targets, text};
use ringout::definition::Harness;
use ringout::plan::complaint::Depth;
use ringout::plan::{Aids, Meters, Scope};
use ringout::verify::{self, Report, Rule};
use serde_json::{Value, json};
use spoilt::{breaks, change, drop_change, items, only, spoil, step};

// --- straps and loopback plugs ----------------------------------------------------------------------------

/// The sweep at the sprayer's control box with straps: phases 3 to 5 have them, 7 has power.
fn strapped(spoils: impl FnOnce(&mut Value)) -> Report {
    let harness = support::harness("orchard-sprayer.toml");
    let mating = |id: &str| harness.connectors[harness.names.connector(id).unwrap()].mating.unwrap();
    let scope = Scope { unplug: ["P1", "P2", "P3"].map(mating).to_vec(), circuit: None };
    let plan = aided(&harness, &scope, &Meters::default(), aids(&["straps"])).unwrap();
    spoil(&harness, &value(&harness, &plan), spoils)
}

/// A lead of 25 wires read through a loopback plug at its far end: phase 2 has it.
fn looped(spoils: impl FnOnce(&mut Value)) -> Report {
    let harness = support::harness("umbilical-25.toml");
    let plan = aided(&harness, &Scope::default(), &Meters::default(), aids(&["loopback"])).unwrap();
    spoil(&harness, &value(&harness, &plan), spoils)
}

/// The phase of a plan in which a change stands.
fn phase_of(plan: &Value, action: &str, target: &str) -> usize {
    let same = |c: &Value| c["action"] == action && text(&c["target"]).starts_with(target);
    list(&plan["phases"]).iter().position(|phase| list(&phase["changes"]).iter().any(same)).unwrap()
}

#[test]
fn a_strap_that_is_left_on_at_power() {
    let report = strapped(|plan| {
        let phase = phase_of(plan, "take off", "strap XS6.2+XS7.2");
        drop_change(plan, phase, "take off", "strap XS6.2+XS7.2");
    });
    breaks(&report, Rule::Straps, "7", "put on BAT1 positive: strap XS6.2+XS7.2 is on");
    breaks(&report, Rule::Straps, "7", "strap XS6.2+XS7.2 is on while BAT1 negative is on");
    breaks(&report, Rule::Changes, "6", "strap XS6.2+XS7.2 is on, and the phase says otherwise");
    breaks(&report, Rule::Mating, "8", "plug in P1 (to J1) while strap XS6.2+XS7.2 is on");
    breaks(&report, Rule::AsFound, "", "strap XS6.2+XS7.2 is on at the end");
}

#[test]
fn a_strap_that_is_put_on_under_power() {
    let report = strapped(|plan| {
        let fit = drop_change(plan, 2, "fit", "strap ");
        items(plan, "/phases/0/changes").push(fit);
    });
    breaks(&report, Rule::Straps, "1", "BAT1 negative is on, and straps and caps need power isolated");
    breaks(&report, Rule::Mating, "2", "unplug P1 (from J1) while strap XS5.1+");
}

/// Changes of a strap in the sweep, each with what is wrong with it.
#[test]
fn straps_where_they_cannot_be() {
    for (target, words) in [
        ("strap XS5.1", "a strap joins two points at least"),
        ("strap XS5.1+P1.A", "its points are at several places"),
        ("strap XS5.1+XS1.1", "XS1.1 is not open"),
        ("strap P1.A+SP3", "SP3 is not open"),
        ("strap J1.A+J1.B", "J1.A leads straight into unit BOX1"),
        ("loopback plug at P2 (P1.A+P1.B)", "P1.A is not at P2"),
        ("loopback plug at P1 (P1.A+P1.B, P1.B+P1.C)", "P1.B is in two straps"),
    ] {
        let report = strapped(|plan| {
            let at = change(plan, 2, "fit", "strap ");
            plan["phases"][2]["changes"][at]["target"] = json!(target);
        });
        breaks(&report, Rule::Straps, "3", words);
    }
    let report = strapped(|plan| {
        let more = json!({"action": "fit", "target": "strap XS5.1+XS6.1", "seconds": 10});
        items(plan, "/phases/2/changes").push(more);
    });
    breaks(&report, Rule::Straps, "3", "XS5.1 is in two straps");
    let report = strapped(|plan| {
        let at = change(plan, 3, "change", "strap ");
        plan["phases"][3]["changes"][at]["target"] = json!("strap XS5.1+XS6.2 to XS5.2+XS6.2+XS7.2");
    });
    breaks(&report, Rule::Changes, "4", "no such strap is on");
}

#[test]
fn straps_that_are_not_as_the_phase_says() {
    let report = strapped(|plan| plan["phases"][2]["strapped"] = json!([]));
    breaks(&report, Rule::Changes, "3", "is on, and the phase says otherwise");
    only(&report, &[Rule::Changes]);
    let report = strapped(|plan| plan["phases"][1]["strapped"] = json!([["P1.A", "P1.B"]]));
    breaks(&report, Rule::Changes, "2", "strap P1.A+P1.B is not on, and the phase says otherwise");
}

/// A strap hides what is between its clips, and a loopback plug what is between the wires that it joins.
#[test]
fn claims_that_a_strap_hides() {
    let report = strapped(|plan| {
        let covers = step(plan, "5.01")["covers"].as_array_mut().unwrap();
        // Wires at XS6.2 and XS7.2, which are strapped together.
        covers.push(json!("42A~43A:short"));
    });
    breaks(&report, Rule::Claims, "5.01", "open with 42A~43A:short");
    only(&report, &[Rule::Claims]);
    let report = looped(|plan| {
        let covers = step(plan, "2.02")["covers"].as_array_mut().unwrap();
        let wires: Vec<String> = covers.iter().filter_map(wire_open).collect();
        let [a, b] = &wires[..] else { panic!("{wires:?}") };
        covers.push(json!(format!("{a}~{b}:short")));
    });
    breaks(&report, Rule::Claims, "2.02", ":short");
    only(&report, &[Rule::Claims]);
    // Without the plug nothing is read through it.
    let report = looped(|plan| {
        drop_change(plan, 1, "fit", "loopback plug");
        drop_change(plan, 2, "take off", "loopback plug");
    });
    breaks(&report, Rule::Expected, "2.02", "a sound machine reads open");
    breaks(&report, Rule::Changes, "2", "is not on, and the phase says otherwise");
}

/// The wire of a fault such as `31A:open`.
fn wire_open(fault: &Value) -> Option<String> {
    let wire = text(fault).strip_suffix(":open")?;
    wire.chars().all(char::is_alphanumeric).then(|| wire.to_owned())
}

#[test]
fn a_loopback_plug_that_is_in_the_way() {
    let report = looped(|plan| step(plan, "2.02")["red"] = json!("XU2.2"));
    breaks(&report, Rule::Reach, "2.02", "XU2.2 is out of reach: a loopback plug is on XU2");
    let report = looped(|plan| {
        let more = json!({"action": "fit", "target": "strap XU2.1+XU2.2", "seconds": 10});
        items(plan, "/phases/1/changes").push(more);
    });
    breaks(&report, Rule::Straps, "2", "a loopback plug is on XU2");
    breaks(&report, Rule::Straps, "2", "XU2.1 is in two straps");
    // A strap of a plug does not come off alone.
    let report = looped(|plan| {
        let at = change(plan, 2, "take off", "loopback plug");
        plan["phases"][2]["changes"][at]["target"] = json!("strap XU2.1+XU2.14");
    });
    breaks(&report, Rule::Changes, "3", "no such strap is on");
    breaks(&report, Rule::AsFound, "", "is on at the end");
}

#[test]
fn the_time_and_the_cautions_of_straps() {
    let report = strapped(|plan| {
        let at = change(plan, 2, "fit", "strap ");
        plan["phases"][2]["changes"][at]["seconds"] = json!(5.0);
    });
    breaks(&report, Rule::Totals, "3", "counts 5 s and takes 20 s");
    breaks(&report, Rule::Totals, "", "s; changes, walks and readings take");
    only(&report, &[Rule::Totals]);
    let report =
        strapped(|plan| items(plan, "/phases/2/cautions").retain(|said| !text(said).contains("Count")));
    breaks(&report, Rule::Cautions, "3", "no caution to count straps on and off");
}

/// Megohms that a strap leads into a unit: by itself X1.1 is on a wire of its own.
#[test]
fn an_isolation_test_across_a_unit_through_a_strap() {
    let harness = machine::read(
        r#"
        format = 1
        harness = { id = "STRAP-1", revision = "A" }
        connector.X1 = { contacts = 3 }
        connector.X2 = { contacts = 2 }
        connector.P1 = { contacts = 2, mate = "J1" }
        connector.J1 = { contacts = 2, part = "BOX1" }
        wire = [
            { id = "1A", from = "X1.1", to = "X2.1" },
            { id = "2A", from = "X1.2", to = "P1.1" },
            { id = "3A", from = "X1.3", to = "X2.2" },
        ]
        [part.BOX1]
        kind = "unit"
        function = [{ title = "Lamp", supply = "J1.1", output = "J1.2" }]
        "#,
    );
    let plan = aided(&harness, &Scope::default(), &Meters::default(), Aids::default()).unwrap();
    let isolated = |strap: &str, straps: Value| {
        spoil(&harness, &value(&harness, &plan), |plan| {
            let mut step = plan["phases"][0]["steps"][0].clone();
            (step["id"], step["kind"], step["covers"]) = (json!("0.01"), json!("isolation"), json!([]));
            (step["red"], step["black"]) = (json!("X1.3"), json!("X1.1"));
            step["expect"] = json!({"low": 1e6, "high": null, "unit": "ohm"});
            let mut phase = plan["phases"][0].clone();
            (phase["id"], phase["steps"]) = (json!("0"), json!([step]));
            (phase["strapped"], phase["unplugged"]) = (straps, json!([]));
            phase["changes"] = json!([{"action": "fit", "target": strap, "seconds": 10}]);
            items(plan, "/phases").insert(0, phase);
        })
    };
    let report = isolated("strap X1.1+X1.2", json!([["X1.1", "X1.2"]]));
    breaks(&report, Rule::Electronics, "0.01", "the isolation test goes into BOX1, which is connected");
    let report = isolated("strap X2.1+X1.1", json!([["X2.1", "X1.1"]]));
    assert!(report.of(Rule::Electronics).next().is_none());
}

// --- caps and hazards -------------------------------------------------------------------------------------

/// A box with a live contact that no function has, and a connector with a hazard mark.
fn boxed() -> Harness {
    machine::read(
        r#"
        format = 1
        harness = { id = "CAP-1", revision = "A", nominal = "12 V" }
        terminal.BT1 = {}
        terminal.BT2 = {}
        terminal.GP1 = { ground = true }
        connector.P1 = { contacts = ["A", "B", "C", "D"], mate = "J1" }
        connector.J1 = { contacts = ["A", "B", "C", "D"], part = "BOX1" }
        connector.X1 = { contacts = 2, hazard = "restraint" }
        connector.X2 = { contacts = 3 }
        wire = [
            { id = "1A", from = "BT1", to = "P1.A" },
            { id = "1B", from = "BT1", to = "P1.C" },
            { id = "2A", from = "P1.B", to = "GP1" },
            { id = "3A", from = "BT2", to = "GP1" },
            { id = "4A", from = "P1.D", to = "X2.1" },
            { id = "5A", from = "X2.2", to = "X1.1" },
        ]
        [part.BAT1]
        kind = "battery"
        volts = "12.6 V"
        internal = "10 mohm"
        plus = "BT1"
        minus = "BT2"
        [part.BOX1]
        kind = "unit"
        function = [{ title = "Lamp", supply = "J1.A", return = "J1.B", output = "J1.D" }]
        "#,
    )
}

/// Its plan: phase 2 without power, phase 3 with power and a cap on P1.C, phase 4 the machine as found again.
fn capped(spoils: impl FnOnce(&mut Value)) -> Report {
    let harness = boxed();
    let plan = aided(&harness, &Scope::default(), &Meters::default(), Aids::default()).unwrap();
    let plan = value(&harness, &plan);
    assert_eq!(plan["phases"][2]["capped"], json!(["P1.C"]));
    spoil(&harness, &plan, spoils)
}

#[test]
fn a_plug_that_is_mated_over_a_cap() {
    let report = capped(|plan| drop(drop_change(plan, 3, "uncap", "P1.C")));
    breaks(&report, Rule::Mating, "4", "plug in P1 (to J1) while a cap is on P1.C");
    breaks(&report, Rule::AsFound, "", "a cap is on P1.C at the end");
    breaks(&report, Rule::Changes, "4", "P1.C is capped, and the phase says otherwise");
    // Only the order is wrong.
    let report = capped(|plan| {
        let at = change(plan, 3, "uncap", "P1.C");
        items(plan, "/phases/3/changes").swap(at, at + 1);
    });
    breaks(&report, Rule::Mating, "4", "plug in P1 (to J1) while a cap is on P1.C");
    only(&report, &[Rule::Mating]);
}

#[test]
fn caps_where_they_cannot_be() {
    // On a contact that is plugged in, and under power.
    let report = capped(|plan| {
        let cap = drop_change(plan, 2, "cap", "P1.C");
        items(plan, "/phases/0/changes").push(cap);
    });
    breaks(&report, Rule::Straps, "1", "cap P1.C: P1.C is not open");
    breaks(&report, Rule::Straps, "1", "BAT1 negative is on, and straps and caps need power isolated");
    breaks(&report, Rule::Changes, "1", "P1.C is capped, and the phase says otherwise");
    // On top of a strap; and a strap on a cap.
    let strap = json!({"action": "fit", "target": "strap P1.B+P1.C", "seconds": 10});
    let report = capped(|plan| items(plan, "/phases/2/changes").insert(0, strap.clone()));
    breaks(&report, Rule::Straps, "3", "cap P1.C: a strap is on P1.C");
    let report = capped(|plan| items(plan, "/phases/2/changes").insert(1, strap));
    breaks(&report, Rule::Straps, "3", "fit strap P1.B+P1.C: P1.C is not open");
    // Where one is to be probed.
    let report = capped(|plan| step(plan, "3.01")["red"] = json!("P1.C"));
    breaks(&report, Rule::Reach, "3.01", "P1.C is out of reach: a cap is on it");
    // Off while the contact is live.
    let report = capped(|plan| {
        let uncap = drop_change(plan, 3, "uncap", "P1.C");
        items(plan, "/phases/3/changes").insert(0, uncap);
    });
    breaks(&report, Rule::Straps, "4", "BAT1 negative is on, and straps and caps need power isolated");
    only(&report, &[Rule::Straps]);
}

#[test]
fn caps_that_are_not_as_the_phase_says() {
    let report = capped(|plan| plan["phases"][2]["capped"] = json!([]));
    breaks(&report, Rule::Changes, "3", "P1.C is capped, and the phase says otherwise");
    only(&report, &[Rule::Changes]);
    let report = capped(|plan| {
        items(plan, "/phases/2/live").push(json!({"contact": "P1.C", "volts": 12.6}));
    });
    breaks(&report, Rule::Live, "3", "P1.C is listed, and a cap is on it");
    only(&report, &[Rule::Live]);
    let report = capped(|plan| {
        items(plan, "/phases/2/cautions").retain(|said| !text(said).contains("under the caps"));
    });
    breaks(&report, Rule::Cautions, "3", "no caution of what lies under caps");
    only(&report, &[Rule::Cautions]);
    // Without the cap what it kept from hands is live.
    let report = capped(|plan| {
        drop_change(plan, 2, "cap", "P1.C");
        drop_change(plan, 3, "uncap", "P1.C");
    });
    breaks(&report, Rule::Live, "3", "P1.C is live with 12.6 V and not listed");
}

#[test]
fn nothing_is_put_on_a_hazard() {
    for (action, target) in [("fit", "strap X1.1+X1.2"), ("cap", "X1.1, X1.2")] {
        let report = capped(|plan| {
            let more = json!({"action": action, "target": target, "seconds": 10});
            items(plan, "/phases/1/changes").push(more);
        });
        let words = format!("{action} {target}: X1.1 is touched, and X1 is marked as a hazard");
        breaks(&report, Rule::Cautions, "2", &words);
    }
}

#[test]
fn straps_and_caps_that_name_nothing_are_refused() {
    let harness = boxed();
    let plan = aided(&harness, &Scope::default(), &Meters::default(), Aids::default()).unwrap();
    let plan = value(&harness, &plan);
    for (action, target, words) in [
        ("fit", "P1.A", "`P1.A` is no strap: write strap P1.A+P1.B"),
        ("fit", "strap P1.A+P1.Z", "P1 has no contact `Z`"),
        ("fit", "loopback plug at P1", "is no strap"),
        ("fit", "loopback plug at P9 (P1.A+P1.B)", "no connector is called `P9`"),
        ("change", "strap P1.A+P1.B", "is no strap"),
        ("take off", "strap P1.A+", "strap P1.A+"),
        ("cap", "P1.A, GP1", "GP1 is no contact"),
        ("uncap", "P1.Q", "P1 has no contact `Q`"),
    ] {
        let mut bad = plan.clone();
        items(&mut bad, "/phases/1/changes").push(json!({"action": action, "target": target, "seconds": 5}));
        let wrong = verify::check(&harness, &bad.to_string()).unwrap_err();
        assert_eq!(wrong.place, "phase 2", "{wrong}");
        assert!(words.ends_with('+') || wrong.to_string().contains(words), "{wrong}");
    }
}

/// A name may hold a plus.
#[test]
fn straps_on_points_with_a_plus_in_their_name() {
    let harness = machine::read(
        r#"
        format = 1
        harness = { id = "PLUS-1", revision = "A" }
        connector.X1 = { contacts = ["A+B", "B", "C+"] }
        connector.X2 = { contacts = 3 }
        wire = [
            { id = "1A", from = "X1.A+B", to = "X2.1" },
            { id = "2A", from = "X1.B", to = "X2.2" },
            { id = "3A", from = "X1.C+", to = "X2.3" },
        ]
        "#,
    );
    for words in ["straps", "groupings", "loopback"] {
        let plan = aided(&harness, &Scope::default(), &Meters::default(), aids(&[words])).unwrap();
        planned::keeps(&harness, &plan);
    }
}

// --- how a plan begins ------------------------------------------------------------------------------------

fn built(spoils: impl FnOnce(&mut Value)) -> Report {
    let harness = boxed();
    let plan = staged(&harness, &Meters::default(), Aids::default()).unwrap();
    spoil(&harness, &value(&harness, &plan), spoils)
}

#[test]
fn a_build_begins_with_power_isolated() {
    let harness = boxed();
    let plan = staged(&harness, &Meters::default(), Aids::default()).unwrap();
    let (_, report) = planned::keeps(&harness, &plan);
    let said = "The plan begins with power isolated and unplugged: P1.";
    assert!(report.remarks.iter().any(|remark| remark.contains(said)), "{:?}", report.remarks);
    // From a machine as found nothing of it is right.
    let report = built(|plan| drop(plan.as_object_mut().unwrap().remove("start")));
    breaks(&report, Rule::Isolated, "1.01", "continuity while BAT1 negative is on");
    breaks(&report, Rule::Changes, "1", "it says power isolated, and BAT1 feeds the machine");
    let report = built(|plan| plan["start"]["unplugged"] = json!([]));
    breaks(&report, Rule::Changes, "1", "P1 is plugged in, and the phase says otherwise");
    for (key, odd) in
        [("power", json!("connected")), ("strapped", json!([["X2.1", "X2.2"]])), ("capped", json!(["P1.C"]))]
    {
        let report = built(|plan| plan["start"][key] = odd);
        breaks(
            &report,
            Rule::Changes,
            "",
            "it begins neither with the machine as found nor with power isolated",
        );
    }
}

#[test]
fn a_plan_that_begins_as_if_somebody_had_isolated_power_already() {
    let report = capped(|plan| plan["start"]["power"] = json!("isolated"));
    breaks(&report, Rule::Changes, "1", "it says power connected, and a battery lead is off");
    breaks(&report, Rule::Changes, "2", "take off BAT1 negative: that lead is off already");
}

// --- complaints -------------------------------------------------------------------------------------------

/// The plan for a pump that does not run. Step 1.02 leads to 1.03 and 1.15, step 1.05 to 1.06 and to an end.
fn complaint(spoils: impl FnOnce(&mut Value)) -> Report {
    static GOOD: OnceLock<(Harness, Value)> = OnceLock::new();
    let (harness, plan) = GOOD.get_or_init(|| {
        let harness = support::harness("orchard-sprayer.toml");
        let pump = harness.names.part("M1").unwrap();
        let target = targets(&harness).into_iter().find(|target| target.part() == pump).unwrap();
        let plan = complained(&harness, target, Depth::USUAL).unwrap();
        let plan = value(&harness, &plan);
        (harness, plan)
    });
    spoil(harness, plan, spoils)
}

/// An outcome that leads to another phase, by changes: its step, its place there, and where it leads.
fn jump(plan: &Value) -> (String, usize, String) {
    let steps = list(&plan["phases"]).iter().flat_map(|phase| list(&phase["steps"]));
    let outcomes = steps.flat_map(|step| list(&step["outcomes"]).iter().enumerate().map(move |o| (step, o)));
    let leads = |outcome: &Value| {
        list(&outcome["changes"])
            .iter()
            .any(|c| c["action"] == "take off" && text(&c["target"]).ends_with("negative"))
    };
    let found = outcomes.into_iter().find(|(_, (_, outcome))| leads(outcome));
    let (step, (at, outcome)) = found.unwrap();
    (text(&step["id"]).to_owned(), at, text(&outcome["next"]).to_owned())
}

#[test]
fn outcomes_that_lead_wrong() {
    let lead = |key: &str, value: Value| complaint(|plan| step(plan, "1.02")["outcomes"][0][key] = value);
    breaks(&lead("next", json!("1.01")), Rule::Outcomes, "1.02", "lower: it leads back to step 1.01");
    breaks(&lead("next", json!("1.02")), Rule::Outcomes, "1.02", "lower: it leads back to step 1.02");
    breaks(
        &lead("next", json!("99.01")),
        Rule::Outcomes,
        "1.02",
        "it leads to step 99.01, and there is none",
    );
    breaks(&lead("next", json!(null)), Rule::Outcomes, "1.02", "lower: it leads nowhere");
    breaks(&lead("end", json!(1)), Rule::Outcomes, "1.02", "it leads to a step and to an end");
    // Where it led before nothing leads any more.
    let report = lead("next", json!("1.15"));
    breaks(&report, Rule::Outcomes, "1.03", "no outcome leads to it");
    breaks(&report, Rule::Outcomes, "1.02", "another outcome leads to step 1.15 as well");
    let end = |value: Value| {
        complaint(|plan| {
            let outcomes = step(plan, "1.05")["outcomes"].as_array_mut().unwrap();
            outcomes.iter_mut().find(|outcome| !outcome["end"].is_null()).unwrap()["end"] = value;
        })
    };
    breaks(&end(json!(1000)), Rule::Outcomes, "1.05", "it leads to end 1000, and there is none");
    breaks(&end(json!(0)), Rule::Outcomes, "1.05", "it leads to end 0, and there is none");
    breaks(&end(json!(1)), Rule::Outcomes, "1.05", "what it accuses is not what end 1 names");
}

#[test]
fn jumps_that_do_not_arrive() {
    let mut known = (String::new(), 0, String::new());
    let report = complaint(|plan| {
        known = jump(plan);
        step(plan, &known.0)["outcomes"][known.1]["changes"] = json!([]);
    });
    let words = format!("its changes do not lead to the setup of step {}", known.2);
    breaks(&report, Rule::Outcomes, &known.0, &words);
    only(&report, &[Rule::Outcomes]);
    // The rules of safety hold on every way.
    let report = complaint(|plan| {
        let (from, at, _) = jump(plan);
        let changes = step(plan, &from)["outcomes"][at]["changes"].as_array_mut().unwrap();
        let negative = changes.iter().position(|c| text(&c["target"]).ends_with("negative")).unwrap();
        changes.swap(negative, negative + 1);
    });
    breaks(&report, Rule::Leads, &known.0, "take off BAT1 positive while BAT1 negative is still on");
    only(&report, &[Rule::Leads]);
    let report = complaint(|plan| {
        let (_, _, to) = jump(plan);
        let phases = plan["phases"].as_array_mut().unwrap();
        let there = |phase: &&mut Value| list(&phase["steps"]).iter().any(|step| step["id"] == to.as_str());
        let phase = phases.iter_mut().find(there).unwrap();
        phase["cautions"].as_array_mut().unwrap().retain(|said| !text(said).contains("comes off first"));
    });
    let words = format!("no caution that negative comes off first, on the way to {}", known.2);
    breaks(&report, Rule::Cautions, &known.0, &words);
}

#[test]
fn shares_and_figures_of_a_complaint() {
    let report = complaint(|plan| step(plan, "1.02")["outcomes"][0]["share"] = json!(0.9));
    breaks(&report, Rule::Outcomes, "1.02", "the shares of its outcomes are 1.162 together");
    let report = complaint(|plan| plan["complaint"]["hypotheses"][0]["share"] = json!(0.5));
    breaks(&report, Rule::Outcomes, "", "the shares of the hypotheses are");
    let report = complaint(|plan| plan["complaint"]["ends"][0]["share"] = json!(0.9));
    breaks(&report, Rule::Outcomes, "", "the shares of the ends are");
    let report = complaint(|plan| plan["complaint"]["ends"][0]["end"] = json!(7));
    breaks(&report, Rule::Outcomes, "", "end 7 stands in the place of end 1");
    let report = complaint(|plan| plan["complaint"]["ends"][0]["todo"] = json!([]));
    breaks(&report, Rule::Outcomes, "", "nothing says what to do at end 1");
    let report = complaint(|plan| plan["complaint"]["effort"]["most_readings"] = json!(3));
    breaks(&report, Rule::Totals, "", "it counts 3 readings on the longest way, which has");
    let report = complaint(|plan| plan["complaint"]["effort"]["readings"] = json!(2));
    breaks(&report, Rule::Totals, "", "it expects 2 readings; its shares make");
    let report = complaint(|plan| {
        let again = plan["complaint"]["ends"][0].clone();
        let ends = items(plan, "/complaint/ends");
        ends.push(again);
        let last = ends.len();
        (ends[last - 1]["end"], ends[last - 1]["share"]) = (json!(last), json!(0.0));
    });
    let last = list(&json_ends(&report)).len();
    assert_eq!(last, 1);
    only(&report, &[Rule::Outcomes]);
}

/// Violations that name an end to which nothing leads.
fn json_ends(report: &Report) -> Value {
    let ends = report.of(Rule::Outcomes).filter(|v| v.what.starts_with("no outcome leads to end "));
    ends.map(|v| json!(v.what)).collect()
}

#[test]
fn what_a_complaint_is_not_about() {
    // A fault that would not stop the pump, claimed where it shows.
    let report = complaint(|plan| {
        let covers = step(plan, "1.02")["covers"].as_array_mut().unwrap();
        covers.push(json!("62A:open"));
    });
    breaks(&report, Rule::Coverage, "1.02", "62A:open is claimed, and is no hypothesis");
    let mut stand = 0;
    let report = complaint(|plan| {
        let faults = &mut plan["coverage"]["faults"];
        stand = faults.as_u64().unwrap();
        *faults = json!(1514);
    });
    breaks(
        &report,
        Rule::Coverage,
        "",
        &format!("1514 faults are asked about, and {stand} hypotheses stand"),
    );
    let report = complaint(|plan| {
        let outcomes = step(plan, "1.02")["outcomes"].as_array_mut().unwrap();
        outcomes[0]["accuses"].as_array_mut().unwrap().retain(|fault| fault != "F10:open");
        outcomes[1]["accuses"].as_array_mut().unwrap().retain(|fault| fault != "F10:open");
    });
    breaks(&report, Rule::Outcomes, "1.02", "F10:open is accused before it, and by none of its outcomes");
    let report = complaint(|plan| {
        let outcomes = step(plan, "1.02")["outcomes"].as_array_mut().unwrap();
        outcomes[0]["shows"] = json!("tone");
    });
    breaks(&report, Rule::Outcomes, "1.02", "`tone` is nothing that a meter shows");
    let report = complaint(|plan| step(plan, "1.02")["outcomes"][0]["shows"] = json!("good"));
    breaks(&report, Rule::Outcomes, "1.02", "two outcomes are `good`");
    let report = complaint(|plan| step(plan, "1.06")["outcomes"] = json!([]));
    breaks(&report, Rule::Outcomes, "1.06", "nothing says what to do with what it shows");
}

/// A plan that is for no complaint is a list.
#[test]
fn outcomes_without_a_complaint() {
    let report = complaint(|plan| drop(plan.as_object_mut().unwrap().remove("complaint")));
    breaks(&report, Rule::Outcomes, "1.01", "it has outcomes, and the plan is for no complaint");
}

// --- made machines ----------------------------------------------------------------------------------------

/// Takes the last change of a kind out of a plan, if there is one.
fn without(plan: &mut Value, action: &str, target: &str) -> bool {
    let mut phases = plan["phases"].as_array_mut().unwrap().iter_mut().rev();
    phases.any(|phase| {
        let changes = phase["changes"].as_array_mut().unwrap();
        let same = |c: &Value| c["action"] == action && text(&c["target"]).starts_with(target);
        changes.iter().rposition(same).map(|at| changes.remove(at)).is_some()
    })
}

/// Plans of made machines with aids, spoilt in one place each: the rule is always named.
#[test]
fn spoilt_plans_of_made_machines_with_aids_are_found() {
    let spoils = [
        (Rule::Changes, "fit", "strap "),
        (Rule::AsFound, "take off", "strap "),
        (Rule::Changes, "cap", ""),
        (Rule::AsFound, "uncap", ""),
    ];
    let mut done = [0; 4];
    for seed in 0..60 {
        let harness = machine::made(seed, 8 + seed as usize % 20);
        let Some(plan) =
            aided(&harness, &Scope::default(), &Meters::default(), aids(&["straps", "loopback"]))
        else {
            continue;
        };
        let good = value(&harness, &plan);
        for (count, (rule, action, target)) in done.iter_mut().zip(spoils) {
            let mut plan = good.clone();
            if without(&mut plan, action, target) {
                let found = planned::report(&harness, &plan);
                let named = found.of(rule).next().is_some();
                assert!(named, "seed {seed}: {action} {target}\n{}", planned::lines(&found));
                *count += 1;
            }
        }
    }
    assert!(done.iter().all(|count| *count >= 5), "{done:?}");
}
