//! A complaint's plan as a tree: the same steps, numbers and costs as the plan, nested.
//!
//! The expected number of readings is reckoned once more here, from the plan's list of steps: arithmetic, no source.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

use serde_json::Value;

fn ringout(args: &[&str]) -> (i32, String) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"));
    let output = Command::new(env!("CARGO_BIN_EXE_ringout")).args(args).current_dir(folder).output().unwrap();
    (output.status.code().unwrap(), String::from_utf8(output.stdout).unwrap())
}

const COMPLAINTS: [&str; 2] = ["M1=S1:run,S2:spray", "H2"];

fn json(complaint: &str, chart: bool) -> Value {
    let mut args =
        vec!["plan", "harnesses/orchard-sprayer.toml", "--complaint", complaint, "--format", "json"];
    args.extend(chart.then_some("--chart"));
    serde_json::from_str(&ringout(&args).1).unwrap()
}

/// The steps of a tree in the order in which they stand, each with its depth.
fn walk<'v>(node: &'v Value, depth: usize, found: &mut Vec<(usize, &'v Value)>) {
    found.push((depth, node));
    for outcome in node["outcomes"].as_array().unwrap() {
        assert!(outcome["then"].is_null() != outcome["end"].is_null(), "a step or an end");
        if !outcome["then"].is_null() {
            walk(&outcome["then"], depth + 1, found);
        }
    }
}

/// Readings to be expected from a step on, from the plan's own list.
fn readings(steps: &BTreeMap<&str, &Value>, id: &str) -> f64 {
    let outcomes = steps[id]["outcomes"].as_array().unwrap();
    let each = outcomes.iter().filter_map(|outcome| {
        Some(outcome["share"].as_f64().unwrap() * readings(steps, outcome["next"].as_str()?))
    });
    1.0 + each.sum::<f64>()
}

#[test]
fn the_tree_has_the_plans_steps_once_each_and_costs_what_the_plan_says() {
    for complaint in COMPLAINTS {
        let (chart, plan) = (json(complaint, true), json(complaint, false));
        let mut found = Vec::new();
        walk(&chart["tree"], 0, &mut found);
        let steps: BTreeMap<&str, &Value> = plan["phases"]
            .as_array()
            .unwrap()
            .iter()
            .flat_map(|phase| phase["steps"].as_array().unwrap())
            .map(|step| (step["id"].as_str().unwrap(), step))
            .collect();
        let mut ids: Vec<&str> = found.iter().map(|(_, node)| node["step"].as_str().unwrap()).collect();
        assert_eq!(ids.len(), steps.len(), "{complaint}");
        assert!(ids.len() > 3, "{complaint}: a chart of {} steps tests little", ids.len());
        ids.sort_unstable();
        assert_eq!(ids, steps.keys().copied().collect::<Vec<_>>());
        for (_, node) in &found {
            let step = steps[node["step"].as_str().unwrap()];
            assert_eq!(
                (&node["red"], &node["black"], &node["kind"]),
                (&step["red"], &step["black"], &step["kind"])
            );
            let expected = readings(&steps, node["step"].as_str().unwrap());
            let shown = node["readings"].as_f64().unwrap();
            assert!((shown - expected).abs() <= 0.02 * expected, "{shown}, not {expected}");
            let sum: f64 =
                node["outcomes"].as_array().unwrap().iter().map(|o| o["share"].as_f64().unwrap()).sum();
            assert!((sum - 1.0).abs() < 0.02, "{sum}");
        }
        let whole = chart["effort"]["readings"].as_f64().unwrap();
        assert!((chart["tree"]["readings"].as_f64().unwrap() - whole).abs() <= 0.02 * whole);
        // Walks between probes are counted in the whole only.
        assert!(
            chart["tree"]["seconds"].as_f64().unwrap()
                <= chart["effort"]["seconds"].as_f64().unwrap() * 1.001
        );
        assert_eq!(chart["ends"], plan["complaint"]["ends"]);
    }
}

#[test]
fn print_and_page_show_every_step_at_its_depth_with_cautions_and_live_contacts() {
    for complaint in COMPLAINTS {
        let chart = json(complaint, true);
        let mut found = Vec::new();
        walk(&chart["tree"], 0, &mut found);
        let args = ["plan", "harnesses/orchard-sprayer.toml", "--complaint", complaint, "--chart"];
        let (code, text) = ringout(&args);
        let (_, page) = ringout(&[&args[..], &["--format", "md"]].concat());
        assert_eq!(code, 0);
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
        for (depth, node) in found {
            let id = format!("{}:", node["step"].as_str().unwrap());
            for shown in [&text, &page] {
                let at_depth = |line: &&str| {
                    line.len() - line.trim_start().len() == 2 * depth && line.trim_start().starts_with("- ")
                };
                assert!(shown.lines().filter(at_depth).any(|line| line.contains(&id)), "{id}\n{shown}");
            }
        }
        for setup in chart["setups"].as_array().unwrap() {
            for caution in setup["cautions"].as_array().unwrap() {
                let opening: String = caution.as_str().unwrap().chars().take(30).collect();
                assert!(text.contains(&opening), "{opening}");
            }
            for live in setup["live"].as_array().unwrap() {
                assert!(text.contains(live["contact"].as_str().unwrap()));
            }
        }
        assert!(text.contains("battery negative on"));
        let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat(&text).contains("licensed practice come first"));
    }
}

#[test]
fn a_chart_needs_a_complaint() {
    assert_eq!(ringout(&["plan", "harnesses/orchard-sprayer.toml", "--chart"]).0, 2);
}
