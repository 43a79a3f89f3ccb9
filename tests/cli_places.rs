//! `log` and `locate` with readings of a place, wiggle tests and a twin, from outside: what is written, what is
//! refused and in which words, and the answer's keys.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

fn umbilical() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("harnesses/umbilical-25.toml")
}

fn ringout(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_ringout")).args(args).output().unwrap()
}

/// A record in a folder of its own.
struct Log {
    _folder: tempfile::TempDir,
    path: String,
}

impl Log {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("readings.toml").display().to_string();
        Self { _folder: folder, path }
    }

    /// Exit code, standard output and standard error of one reading.
    fn add(&self, args: &str) -> (i32, String, String) {
        let harness = umbilical().display().to_string();
        let mut all =
            vec!["log", &harness, &self.path, "--power", "isolated", "--at", "2026-05-02T09:14:00Z"];
        // Values with blanks are written with an underscore here.
        let words: Vec<String> = args.split(' ').map(|word| word.replace('_', " ")).collect();
        all.extend(words.iter().map(String::as_str));
        let output = ringout(&all);
        let [out, err] = [output.stdout, output.stderr].map(|bytes| String::from_utf8(bytes).unwrap());
        (output.status.code().unwrap(), out, err)
    }

    fn text(&self) -> Option<String> {
        std::fs::read_to_string(&self.path).ok()
    }

    fn locate(&self, more: &[&str]) -> (i32, Value) {
        let harness = umbilical().display().to_string();
        let mut args = vec!["locate", &harness, &self.path, "--format", "json"];
        args.extend(more);
        let output = ringout(&args);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        (output.status.code().unwrap(), serde_json::from_slice(&output.stdout).expect(&said))
    }
}

const NEAR: &str = "--red XU1.5 --black XU1.6";

#[test]
fn every_kind_is_taken_written_in_one_form_and_told() {
    let log = Log::new();
    let kinds = [
        format!("--kind loop {NEAR} --meter four-wire --value 0.145_ohm --far 95_mohm"),
        "--kind murray --red XU1.5 --black XU1.7 --strapped XU2.5+XU2.7 --value 310/1000".to_owned(),
        "--kind varley --red XU1.5 --black XU1.7 --strapped XU2.5+XU2.7 --value 92_mohm --whole 251mohm"
            .to_owned(),
        format!("--kind capacitance {NEAR} --value 310_pF --far 190_pF"),
        format!("--kind reflection {NEAR} --value 37.5_ns --velocity 66%"),
    ];
    for kind in &kinds {
        let (code, out, err) = log.add(kind);
        assert_eq!((code, err.as_str()), (1, ""), "{out}");
        assert!(
            out.contains("along 905: ") && out.contains("in trunk T1, ") && out.contains(" m from XU2 (±"),
            "{out}"
        );
    }
    let text = log.text().unwrap();
    assert_eq!(text.matches("[[reading]]").count(), kinds.len());
    for line in [
        "value = \"145 mohm\"",
        "far = \"95 mohm\"",
        "value = \"31 %\"",
        "along = [\"905\"]",
        "back = [\"907\"]",
    ] {
        assert!(text.contains(line), "{line} in\n{text}");
    }
    // The value stands last in every entry: a writer that is cut off shows.
    for entry in text.split("[[reading]]").skip(1) {
        assert!(entry.trim_end().lines().last().unwrap().starts_with("value = "), "{entry}");
    }
}

#[test]
fn what_cannot_be_is_refused_and_nothing_is_written() {
    let cases: &[(&str, &[&str])] = &[
        ("--kind loop --value 0.1 --far 0.2_ohm", &["a resistance needs a unit", "0.4 ohm"]),
        ("--kind loop --value 0.1_ohm", &["needs `far`"]),
        ("--kind loop --value 0_ohm --far 0.2_ohm", &["must be above zero"]),
        ("--kind loop --value 3_V --far 0.2_ohm", &["`V` is not a unit of resistance"]),
        ("--kind loop --value 0.1_ohm --far 0.2_ohm --velocity 0.66", &["no key `velocity`"]),
        ("--kind murray --value 332 --strapped XU2.5+XU2.6", &["between 0 and 1", "332/1000"]),
        ("--kind murray --value 1000/332 --strapped XU2.5+XU2.6", &["between 0 and 1"]),
        ("--kind murray --value 25_%", &["the loop is open at the far end: strap XU2.5 to XU2.6"]),
        ("--kind varley --value -1_ohm --strapped XU2.5+XU2.6", &["cannot be below zero"]),
        ("--kind varley --value 1_ohm --arms 3 --strapped XU2.5+XU2.6", &["`arms`", "between 0 and 1"]),
        ("--kind capacitance --value 100_pF", &["one capacitance alone tells no distance", "add far"]),
        ("--kind capacitance --value 100_pF --far 3_m", &["`far` and `value` are of different units"]),
        ("--kind capacitance --value 100_ohm --far 3_pF", &["not a unit of capacitance", "410 pF"]),
        ("--kind reflection --value 30_ns", &["speed is not known", "velocity = \"66 %\""]),
        ("--kind reflection --value 30_ns --velocity 66", &["between 0 and 1", "66 %"]),
        ("--kind reflection --value 30_ns --velocity fast", &["not a velocity factor"]),
        (
            "--kind reflection --value 300_ns --velocity 66%",
            &["29.7 m from XU1.5, beyond the end of 905 (6.0 m long"],
        ),
        ("--kind reflection --value 30_ns --velocity 66% --min 3_ns", &["--min goes with continuity"]),
        ("--kind reflection --value 30_ns --velocity 66% --power connected", &[]),
        ("--kind isolation --value open --far 3_ohm", &["--far goes with --kind loop, murray"]),
        ("--kind lop --value 3_ohm", &["known kinds: continuity", "murray", "reflection"]),
        (
            "--kind loop --along 905,906 --value 0.1_ohm --far 0.2_ohm",
            &["wire 906 does not go on from XU2.5"],
        ),
        ("--kind loop --along 99Z --value 0.1_ohm --far 0.2_ohm", &["no wire is called `99Z`"]),
    ];
    for (args, said) in cases {
        let log = Log::new();
        let (code, out, err) = log.add(&format!("{NEAR} {args}"));
        assert_eq!((code, out.as_str()), (2, ""), "{args}\n{err}");
        assert_eq!(log.text(), None, "{args}");
        for words in *said {
            assert!(err.contains(words), "{args}: {words} in\n{err}");
        }
    }
}

#[test]
fn the_answer_tells_metres_of_the_suspect() {
    let log = Log::new();
    assert_eq!(log.add(&format!("--kind isolation {NEAR} --value 0.3_ohm")).0, 1);
    assert_eq!(
        log.add("--kind murray --red XU1.5 --black XU1.7 --strapped XU2.5+XU2.7 --value 310/1000").0,
        1
    );
    assert_eq!(log.add(&format!("--kind reflection {NEAR} --value 37.5_ns --velocity 66%")).0, 1);
    let (code, answer) = log.locate(&[]);
    assert_eq!((code, answer["verdict"].as_str()), (1, Some("located")));
    let metres = &answer["suspects"][0]["metres"];
    assert_eq!(metres["from"], "XU2.5");
    let number = |key: &str| metres[key].as_f64().unwrap();
    assert!((number("at") - 2.3).abs() < 0.1 && number("plus_minus") < 0.3, "{metres}");
    let places = &answer["places"];
    assert_eq!(places["alone"].as_array().unwrap().len(), 2);
    let together = &places["together"][0];
    assert_eq!((together["group"].as_u64(), together["wire"].as_str()), (Some(1), Some("905")));
    assert_eq!(together["trunks"][0], "T1");
    assert_eq!(&together["metres"], metres);
    assert!(answer["by_hand"][0].as_str().unwrap().starts_with("open the bundle in trunk T1, "), "{answer}");
    let words = together["where"].as_str().unwrap();
    assert!(words.starts_with("in trunk T1, 2.") && words.contains(" m from XU2 (±0."), "{words}");
}

#[test]
fn a_place_alone_is_no_clean_bill() {
    let log = Log::new();
    assert_eq!(log.add(&format!("--kind reflection {NEAR} --value 37.5_ns --velocity 66%")).0, 1);
    let (code, answer) = log.locate(&[]);
    assert_eq!(code, 1);
    assert_eq!(answer["places"]["alone"].as_array().unwrap().len(), 1);
    let notes = answer["notes"].to_string();
    assert!(notes.contains("presumes a fault"), "{notes}");
}

#[test]
fn a_place_outside_that_stands_in_a_record_is_told() {
    let log = Log::new();
    assert_eq!(log.add(&format!("--kind isolation {NEAR} --value 0.3_ohm")).0, 1);
    let outside = "[[reading]]\nkind = \"reflection\"\nred = \"XU1.5\"\nblack = \"XU1.6\"\npower = \"isolated\"\nvelocity = \"66 %\"\nvalue = \"300 ns\"\n";
    std::fs::write(&log.path, log.text().unwrap() + "\n" + outside).unwrap();
    let (code, answer) = log.locate(&[]);
    assert_eq!(code, 1);
    let left = &answer["left"][0];
    assert_eq!(left["reading"], "#2");
    assert!(left["why"].as_str().unwrap().contains("beyond the end of 905"), "{left}");
    assert!(answer["suspects"][0]["metres"].is_null());
}

#[test]
fn a_wiggle_test_names_what_was_moved() {
    let log = Log::new();
    let along = "--kind continuity --red XU1.5 --black XU2.5";
    let (code, out, _) =
        log.add(&format!("{along} --value 0.4_ohm --min 0.4_ohm --max OL --disturbed pulled_at_XU2"));
    assert_eq!(code, 1);
    assert!(out.contains("(least 0.4 ohm, most open)") && out.contains("BAD"), "{out}");
    let (_, answer) = log.locate(&[]);
    assert_eq!(answer["wiggled"][0]["counts"], "max");
    assert_eq!(answer["wiggled"][0]["moved"][0], "XU2");
    assert_eq!(answer["readings"][0]["value"], "open");
    assert!(
        answer["suspects"][0]["faults"][0].as_str().unwrap().contains("905@XU2.5"),
        "{}",
        answer["suspects"]
    );
    let (code, _, err) = log.add(&format!("{along} --value 0.4_ohm --min 3_ohm --max 0.4_ohm"));
    assert_eq!(code, 2);
    assert!(err.contains("`min` is more than `max`"), "{err}");
}

#[test]
fn a_twin_is_named_on_the_command_line_and_in_the_answer() {
    let (here, twin) = (Log::new(), Log::new());
    let along = "--kind continuity --red XU1.5 --black XU2.5";
    here.add(&format!("{along} --meter four-wire --value 0.21_ohm"));
    twin.add(&format!("{along} --meter four-wire --value 0.08_ohm"));
    let (_, answer) = here.locate(&["--twin", &twin.path]);
    let compared = &answer["twin"][0];
    assert_eq!((compared["reading"].as_str(), compared["twin"].as_str()), (Some("#1"), Some("#1")));
    assert_eq!(compared["effect"], "narrowed");
    assert_eq!(answer["readings"][0]["good"], false, "{answer}");
    let harness = umbilical().display().to_string();
    let missing = ringout(&["locate", &harness, &here.path, "--twin", "nowhere.toml"]);
    assert_eq!(missing.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&missing.stderr).contains("nowhere.toml"));
}

#[test]
fn a_loop_through_another_touch_places_nothing() {
    let log = Log::new();
    assert_eq!(log.add(&format!("--kind isolation {NEAR} --value 0.3_ohm")).0, 1);
    assert_eq!(
        log.add("--kind loop --red XU1.5 --black XU1.7 --value 0.3_ohm --far 0.3_ohm --meter four-wire").0,
        1
    );
    let (_, answer) = log.locate(&[]);
    assert!(
        answer["suspects"][0]["metres"].is_null() && answer["places"]["together"] == Value::Array(Vec::new())
    );
    assert_eq!(answer["places"]["alone"].as_array().unwrap().len(), 1);
}

#[test]
fn a_place_cut_off_anywhere_costs_no_other_reading() {
    let log = Log::new();
    assert_eq!(log.add(&format!("--kind isolation {NEAR} --value 0.3_ohm")).0, 1);
    let before = log.text().unwrap().len();
    assert_eq!(log.add(&format!("--kind loop {NEAR} --value 0.2_ohm --far 0.2_ohm --meter four-wire")).0, 1);
    let whole = log.text().unwrap();
    let harness = {
        let text = std::fs::read_to_string(umbilical()).unwrap();
        ringout::definition::load("u", text, None, &mut |_| Err("no files".to_owned())).unwrap().harness
    };
    for cut in before..whole.len() {
        let record = ringout::record::read(&harness, "r", &whole[..cut]);
        assert!(record.is_sound(), "cut at {cut}");
        assert_eq!(record.entries.len(), 1, "cut at {cut}");
        let warned = !record.diagnostics.is_empty();
        let lost = whole[before..cut].trim().is_empty();
        assert!(record.places.len() == 1 || warned || lost, "cut at {cut}: lost without a word");
    }
}
