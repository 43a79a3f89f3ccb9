//! Meters and reasons on the command line.

#![allow(clippy::unwrap_used, reason = "a test stops where something it needs is not there")]

use std::process::{Command, Stdio};

use serde_json::Value;

const SPRAYER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/harnesses/orchard-sprayer.toml");
const SWEEP: [&str; 4] = ["plan", SPRAYER, "--unplug", "P1,P2,P3"];

/// Runs a command and expects an exit code; gives standard output and standard error.
fn expect(code: i32, args: &[&str]) -> (String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_ringout"))
        .args(args)
        .env_remove("COLUMNS")
        .env("NO_COLOR", "1")
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let [out, err] = [output.stdout, output.stderr].map(|bytes| String::from_utf8(bytes).unwrap());
    assert_eq!(output.status.code(), Some(code), "{args:?}\n{out}\n{err}");
    (out, err)
}

fn sweep(more: &[&str]) -> Value {
    let args: Vec<&str> = SWEEP.into_iter().chain(more.iter().copied()).chain(["--format", "json"]).collect();
    serde_json::from_str(&expect(0, &args).0).unwrap()
}

fn steps(plan: &Value) -> Vec<&Value> {
    let phases = plan["phases"].as_array().unwrap();
    phases.iter().flat_map(|phase| phase["steps"].as_array().unwrap()).collect()
}

#[test]
fn why_stands_below_each_table_within_the_width() {
    let args: Vec<&str> = SWEEP.into_iter().chain(["--why"]).collect();
    let (out, _) = expect(0, &args);
    assert!(out.lines().all(|line| line.chars().count() <= 80), "{out}");
    for said in ["- 2.07 Least: ", "IEC 60228", "leads, not nulled", "BS 7671:2018 Table 64", "BAT1"] {
        assert!(out.contains(said), "{said}");
    }
    let (plain, _) = expect(0, &SWEEP);
    assert!(!plain.contains("IEC 60228"));
    // Nothing else changes: what stands in a plan without reasons stands in it with them.
    let mut lines = out.lines();
    assert!(plain.lines().all(|line| lines.any(|other| other == line)));
    let md: Vec<&str> = args.iter().copied().chain(["--format", "md"]).collect();
    assert!(expect(0, &md).0.contains("\n- 2.07 Least: "));
    let csv: Vec<&str> = args.iter().copied().chain(["--format", "csv"]).collect();
    assert!(expect(0, &csv).0.lines().next().unwrap().contains("why no less,why no more"));
}

#[test]
fn every_step_has_its_meter_and_its_reasons_in_json() {
    let plan = sweep(&[]);
    assert_eq!(plan["meter"], "handheld");
    assert_eq!(plan["left_out"], Value::Array(Vec::new()));
    for step in steps(&plan) {
        assert_eq!(step["meter"], "handheld");
        assert!(step["range"].is_string());
        assert!(step["expect"]["why"]["low"].is_string(), "{step}");
        assert_eq!(step["expect"]["why"]["high"].is_string(), step["expect"]["high"].is_number(), "{step}");
    }
}

#[test]
fn a_beeper_alone_leaves_out_what_it_cannot_prove() {
    let plan = sweep(&["--meter", "beeper"]);
    assert!(steps(&plan).iter().all(|step| step["meter"] == "beeper" && step["expect"]["words"] == "tone"));
    let left = plan["left_out"].as_array().unwrap();
    let why = |id: &str| left.iter().find(|l| l["id"] == id).unwrap()["why"].as_str().unwrap().to_owned();
    assert!(why("2.01").contains("a part lies in the path"));
    assert!(why("2.25").contains("isolation"));
    assert!(why("1.01").contains("volts"));
    let covers =
        steps(&plan).iter().flat_map(|s| s["covers"].as_array().unwrap().clone()).collect::<Vec<_>>();
    // A tone tells an open, or two wires exchanged, which opens both; never a bad joint.
    let told = |fault: &str| fault.ends_with(":open") || fault.ends_with(":crossed");
    assert!(!covers.is_empty() && covers.iter().all(|fault| told(fault.as_str().unwrap())));
    let args: Vec<&str> = SWEEP.into_iter().chain(["--meter", "beeper"]).collect();
    let (out, _) = expect(0, &args);
    assert!(out.contains("Left out: not for the meters at hand (beeper)"));
    assert!(out.contains("continuity P2.3 / GP2: a part lies in the path"));
    assert!(out.lines().all(|line| line.chars().count() <= 80), "{out}");
}

#[test]
fn each_reading_gets_the_meter_that_shows_most() {
    let plan = sweep(&["--meter", "handheld,four-wire,megohm"]);
    let meter = |id: &str| steps(&plan).into_iter().find(|step| step["id"] == id).unwrap()["meter"].clone();
    assert_eq!(meter("1.01"), "handheld");
    // Through a coil the tolerance of the coil drowns what four wires gain.
    assert_eq!(meter("2.05"), "handheld");
    assert_eq!(meter("2.07"), "four-wire");
    // With units still connected nowhere on the ground net a megohm tester.
    let mut strong = 0;
    for step in steps(&plan).into_iter().filter(|step| step["kind"] == "isolation") {
        assert!(step["meter"] == "megohm" || step["meter"] == "handheld");
        strong += usize::from(step["meter"] == "megohm");
    }
    assert!(strong > 0);
}

#[test]
fn an_unknown_meter_is_refused_with_the_nearest() {
    for args in [vec!["--meter", "bepeer"], vec!["--meter", "handheld,bepeer"]] {
        let args: Vec<&str> = SWEEP.into_iter().chain(args).collect();
        let (out, err) = expect(2, &args);
        assert!(out.is_empty());
        assert!(err.contains("no meter is called `bepeer`: did you mean `beeper`?"), "{err}");
    }
}

const READING: [&str; 8] =
    ["--kind", "continuity", "--red", "P1.K", "--black", "XB1.3", "--unplugged", "P1,P2,P3"];

#[test]
fn why_of_one_reading() {
    let args: Vec<&str> = ["why", SPRAYER].into_iter().chain(READING).collect();
    let (out, _) = expect(0, &args);
    assert!(out.contains("Healthy: below 0.69 ohm"), "{out}");
    assert!(out.contains("31B") && out.contains("leads, not nulled"), "{out}");
    assert!(out.lines().all(|line| line.chars().count() <= 80), "{out}");
    let fine: Vec<&str> = args.iter().copied().chain(["--meter", "four-wire", "--format", "json"]).collect();
    let view: Value = serde_json::from_str(&expect(0, &fine).0).unwrap();
    assert_eq!(view["meter"], "four-wire");
    assert_eq!(view["range"], "200 mohm");
    assert!(view["expect"]["low"].as_f64().unwrap() > 0.0);
    let (_, err) = expect(2, &[&args[..], &["--power", "connected"]].concat());
    assert!(err.contains("power isolated only"), "{err}");
    let (_, err) = expect(2, &[&args[..], &["--meter", "megohm"]].concat());
    assert!(err.contains("does not read continuity"), "{err}");
    let (_, err) = expect(2, &[&args[..], &["--meter", "ohmmeter"]].concat());
    assert!(err.contains("no meter is called"), "{err}");
}

#[test]
fn a_reading_is_judged_by_its_own_meter() {
    let folder = tempfile::tempdir().unwrap();
    let record = folder.path().join("job.toml");
    let record = record.to_str().unwrap();
    let log = |code: i32, value: &str, meter: &[&str]| {
        let head = ["log", SPRAYER, record, "--power", "isolated", "--value", value];
        expect(code, &[&head[..], &READING, meter].concat())
    };
    // 0.4 ohm is sound with leads in the reading, and not without.
    log(0, "0.4 ohm", &[]);
    log(0, "0.4 ohm", &["--meter", "handheld"]);
    assert!(log(1, "0.4 ohm", &["--meter", "four-wire"]).0.contains("healthy: 39 to 94 mohm"));
    assert!(log(0, "tone", &["--meter", "beeper"]).0.contains("healthy: tone"));
    log(1, "open", &["--meter", "beeper"]);
    let (_, err) = log(0, "0.4 ohm", &["--meter", "Shop meter no. 3"]);
    assert!(err.contains("`Shop meter no. 3` is not a known kind"), "{err}");
    let (_, err) = log(0, "0.4 ohm", &["--meter", "megohm"]);
    assert!(err.contains("does not read continuity"), "{err}");
    let (out, _) = expect(1, &["locate", SPRAYER, record]);
    let told = out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("#6: meter `Shop meter no. 3` is not a known kind"), "{out}");
    let view: Value =
        serde_json::from_str(&expect(1, &["locate", SPRAYER, record, "--format", "json"]).0).unwrap();
    assert_eq!(view["notes"].as_array().unwrap().len(), 2);
    let good: Vec<bool> =
        view["readings"].as_array().unwrap().iter().map(|r| r["good"].as_bool().unwrap()).collect();
    assert_eq!(good, [true, true, false, true, false, true, true]);
}

/// A joint of 150 ohm is silent on every beeper: silence and a number explain each other.
#[test]
fn silence_is_no_open() {
    let folder = tempfile::tempdir().unwrap();
    let record = folder.path().join("job.toml");
    let record = record.to_str().unwrap();
    for (value, meter) in [("open", "beeper"), ("150 ohm", "handheld")] {
        let head = ["log", SPRAYER, record, "--power", "isolated", "--value", value, "--meter", meter];
        expect(1, &[&head[..], &READING].concat());
    }
    let view: Value =
        serde_json::from_str(&expect(1, &["locate", SPRAYER, record, "--format", "json"]).0).unwrap();
    assert_eq!(view["verdict"], "narrowed", "{view}");
    let suspects = view["suspects"].to_string();
    assert!(suspects.contains("31B:high") && !suspects.contains("31B:open"), "{suspects}");
}
