//! The JSON Schemas against what reads the files: the same keys, the same words, the same units, and no false alarm.
//!
//! The crate `jsonschema` (JSON Schema draft 2020-12) is the judge of a schema. What a table may hold is asked of the
//! reader itself: a key that no table has makes it name those that it knows. So neither list can change alone.

#![allow(clippy::unwrap_used, reason = "a test stops where something it needs is not there")]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use jsonschema::Validator;
use ringout::definition::colour::Code;
use ringout::definition::diagnostic::{Diagnostic, Sources};
use ringout::definition::{Kind, RuleSet, Sort, load};
use ringout::units::{Amps, Celsius, Degrees, Metres, Ohms, Quantity, Seconds, Volts, parse, parse_signed};
use ringout::{conductor, record};
use serde_json::Value;

fn schema(file: &str) -> Value {
    let output = Command::new(env!("CARGO_BIN_EXE_ringout")).args(["schema", file]).output().unwrap();
    assert!(output.status.success());
    serde_json::from_slice(&output.stdout).unwrap()
}

fn validator(file: &str) -> Validator {
    jsonschema::draft202012::new(&schema(file)).unwrap()
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// All TOML files of a folder and of the folders in it, sorted.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for path in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
        match path.is_dir() {
            true => found.extend(files(&path)),
            false if path.extension().is_some_and(|end| end == "toml") => found.push(path),
            false => {}
        }
    }
    found.sort();
    found
}

/// TOML as JSON; dates become texts. `None` where it is no TOML.
fn json(text: &str) -> Option<Value> {
    fn value(toml: toml::Value) -> Value {
        match toml {
            toml::Value::String(text) => text.into(),
            toml::Value::Integer(number) => number.into(),
            toml::Value::Float(number) => number.into(),
            toml::Value::Boolean(flag) => flag.into(),
            toml::Value::Datetime(time) => time.to_string().into(),
            toml::Value::Array(items) => items.into_iter().map(value).collect(),
            toml::Value::Table(table) => table.into_iter().map(|(key, item)| (key, value(item))).collect(),
        }
    }
    Some(value(toml::Value::Table(text.parse().ok()?)))
}

/// What is wrong by the schema, one line each.
fn complaints(validator: &Validator, document: &Value) -> Vec<String> {
    validator.iter_errors(document).map(|error| format!("{}: {error}", error.instance_path())).collect()
}

/// What the reader says of a definition.
fn said(text: &str) -> (Vec<Diagnostic>, Sources) {
    match load("probe.toml", text.to_owned(), None, &mut |_| Err("no files".to_owned())) {
        Ok(loaded) => (loaded.warnings, loaded.sources),
        Err(rejected) => (rejected.diagnostics, rejected.sources),
    }
}

#[test]
fn every_good_definition_passes() {
    let validator = validator("definition");
    let good = files(&root().join("harnesses"));
    assert!(good.len() >= 17, "{good:?}");
    for path in good {
        let document = json(&fs::read_to_string(&path).unwrap()).unwrap();
        assert_eq!(complaints(&validator, &document), [""; 0], "{}", path.display());
    }
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    let page = readme.split("```toml\n").nth(1).unwrap().split("```").next().unwrap();
    assert_eq!(complaints(&validator, &json(page).unwrap()), [""; 0]);
}

/// Rules whose every mistake a schema can express.
const EXPRESSED: [&str; 14] = [
    "bad-id",
    "colour",
    "contact-size",
    "contacts",
    "duty",
    "format",
    "half",
    "part-kind",
    "prior",
    "quantity",
    "rule-set",
    "two-ends",
    "unknown-key",
    "wrong-type",
];

/// Rules of which it can express some.
const PARTLY: [&str; 5] = ["face", "limit", "missing-key", "unknown-point", "variant"];

/// Figures that nothing real has: a pattern sees digits and no size.
const UNREAL: &str = "that anything has";

#[test]
fn of_the_gallery_those_fail_whose_mistake_a_schema_can_express() {
    let validator = validator("definition");
    let (mut failed, mut passed) = (0, 0);
    for path in files(&root().join("tests/bad_inputs")) {
        let text = fs::read_to_string(&path).unwrap();
        let variant = text.lines().find_map(|line| line.strip_prefix("# variant: "));
        let folder = path.parent().unwrap();
        let mut read = |name: &str| fs::read_to_string(folder.join(name)).map_err(|error| error.to_string());
        let name = path.file_name().unwrap().to_str().unwrap();
        let (found, sources) = match load(name, text.clone(), variant, &mut read) {
            Ok(loaded) => (loaded.warnings, loaded.sources),
            Err(rejected) => (rejected.diagnostics, rejected.sources),
        };
        // A file whose TOML is broken never gets to a schema.
        let Some(document) = json(&text) else { continue };
        let complaints = complaints(&validator, &document);
        let own: Vec<&Diagnostic> = found
            .iter()
            .filter(|d| d.place.is_some_and(|place| sources.name(place.file()) == name))
            .collect();
        let expressed = |d: &&&Diagnostic| EXPRESSED.contains(&d.rule) && !d.message.contains(UNREAL);
        if own.iter().any(|d| expressed(&d)) {
            assert!(!complaints.is_empty(), "{}: {} is overlooked", path.display(), own[0].message);
            failed += 1;
        } else if own.iter().all(|d| !PARTLY.contains(&d.rule)) && unseen(&text) {
            // What is wrong lies in names that lead nowhere, or in nothing at all.
            assert_eq!(complaints, [""; 0], "{}: a false alarm", path.display());
            passed += 1;
        }
    }
    assert!(failed >= 45 && passed >= 25, "{failed} failed and {passed} passed");
}

/// Whether a file's mistakes are none that a schema could know where the file is read by itself, as those that others
/// use are not above.
fn unseen(text: &str) -> bool {
    let known = |d: &Diagnostic| EXPRESSED.contains(&d.rule) || PARTLY.contains(&d.rule);
    said(text).0.iter().all(|d| !known(d) || d.message.contains("[harness]"))
}

/// Every kind of table: where it stands in the schema, and a definition with a key in it that no table has.
const TABLES: &[(&str, &str)] = &[
    ("", "KEY = 1"),
    ("harness", "[harness]\nKEY = 1"),
    ("resistance", "[resistance]\nKEY = 1"),
    ("station", "[station.a]\nKEY = 1"),
    ("connector", "[connector.X1]\nKEY = 1"),
    ("pin", "[connector.X1.pin.1]\nKEY = 1"),
    ("face", "[face.f]\nKEY = 1"),
    ("splice", "[splice.SP1]\nKEY = 1"),
    ("terminal", "[terminal.T1]\nKEY = 1"),
    ("wire", "[[wire]]\nKEY = 1"),
    ("trunk", "[trunk.T]\nKEY = 1"),
    ("condition", "[condition.c]\nKEY = 1"),
    ("part", "[part.P]\nKEY = 1"),
    ("function", "[[part.P.function]]\nKEY = 1"),
    ("limit", "[[limit]]\nKEY = 1"),
    ("variant", "[variant.v]\nKEY = 1"),
    ("variant_wire", "[variant.v.wire.1A]\nKEY = 1"),
    ("pin", "[variant.v.pin.\"X1.1\"]\nKEY = 1"),
    ("variant_part", "[variant.v.part.P]\nKEY = 1"),
];

/// A key that is near to no other.
const KEY: &str = "qqqqqqqqqqqqqqqqqqqq";

/// The keys that an unknown one makes the reader name.
fn known_keys(found: &[Diagnostic]) -> BTreeSet<String> {
    let keys = found.iter().filter(|d| d.rule == "unknown-key" && d.message.contains(KEY));
    let [only] = &keys.collect::<Vec<_>>()[..] else { panic!("not one unknown key: {found:?}") };
    listed(only.help.as_deref().unwrap(), "known keys: ")
}

fn listed(help: &str, lead: &str) -> BTreeSet<String> {
    let (_, list) = help.split_once(lead).unwrap_or_else(|| panic!("no `{lead}` in: {help}"));
    list.split(", ").map(str::to_owned).collect()
}

fn keys(table: &Value) -> BTreeSet<String> {
    table["properties"].as_object().unwrap().keys().cloned().collect()
}

fn words(list: &Value) -> BTreeSet<String> {
    list.as_array().unwrap().iter().map(|word| word.as_str().unwrap().to_owned()).collect()
}

#[test]
fn the_keys_of_the_schema_are_the_keys_of_the_reader() {
    let schema = schema("definition");
    for (name, text) in TABLES {
        let table = if name.is_empty() { &schema } else { &schema["$defs"][name] };
        let text = format!("format = 1\n{}", text.replace("KEY", KEY));
        assert_eq!(keys(table), known_keys(&said(&text).0), "{text}");
        assert_eq!(table["additionalProperties"], false, "{name}");
    }
    // No table of the schema was left out above.
    let closed =
        schema["$defs"].as_object().unwrap().iter().filter(|(_, def)| def.get("properties").is_some());
    let closed: BTreeSet<&str> = closed.map(|(name, _)| name.as_str()).collect();
    let tried: BTreeSet<&str> =
        TABLES.iter().map(|(name, _)| *name).filter(|name| !name.is_empty()).collect();
    assert_eq!(closed.difference(&tried).collect::<Vec<_>>(), [&"prior"]);
    let mut sorts: BTreeSet<String> = Sort::ALL.iter().map(|(key, _)| (*key).to_owned()).collect();
    sorts.insert("times".to_owned());
    assert_eq!(keys(&schema["$defs"]["prior"]), sorts);
}

/// What `if kind = …` adds, by kind: the keys that it needs and those that it may have.
fn kinds(table: &Value) -> Vec<(String, BTreeSet<String>, BTreeSet<String>)> {
    let arms = table["allOf"].as_array().unwrap().iter();
    let arms = arms.map(|arm| {
        let kind = arm["if"]["properties"]["kind"]["const"].as_str().unwrap().to_owned();
        (kind, words(&arm["then"]["required"]), words(&arm["then"]["propertyNames"]["enum"]))
    });
    arms.collect()
}

#[test]
fn the_keys_of_each_kind_of_part_are_those_of_the_reader() {
    let part = &schema("definition")["$defs"]["part"];
    let kinds = kinds(part);
    let (found, _) = said("format = 1\n[part.P]\nkind = \"qqqqqqqqqq\"\n");
    let help = found.iter().find(|d| d.rule == "part-kind").and_then(|d| d.help.clone()).unwrap();
    let named: BTreeSet<String> = kinds.iter().map(|(kind, ..)| kind.clone()).collect();
    assert_eq!(named, listed(&help, "The kinds are: "));
    assert_eq!(named, words(&part["properties"]["kind"]["enum"]));
    let common = ["kind", "title", "station", "hazard"].map(str::to_owned);
    for (kind, needs, all) in kinds {
        // A key of another kind makes the reader name those of this one.
        let other = if all.contains("volts") { "coil = [\"A\", \"B\"]" } else { "volts = \"1 V\"" };
        let (found, _) = said(&format!("format = 1\n[part.P]\nkind = \"{kind}\"\n{other}\n"));
        let help = found.iter().find(|d| d.rule == "unknown-key").and_then(|d| d.help.clone()).unwrap();
        let mut known = listed(&help, "this kind of part has: ");
        known.extend(common.clone());
        assert_eq!(known, all, "{kind}");
        let missing = found.iter().filter(|d| d.rule == "missing-key" && d.message.starts_with(&kind));
        let missing: BTreeSet<String> =
            missing.map(|d| d.message.split('`').nth(1).unwrap().to_owned()).collect();
        assert_eq!(missing, needs, "{kind}");
    }
}

#[test]
fn the_words_of_the_schema_are_those_that_are_known() {
    let defs = &schema("definition")["$defs"];
    let set =
        |words: &mut dyn Iterator<Item = &'static str>| words.map(str::to_owned).collect::<BTreeSet<_>>();
    let rule_sets = set(&mut RuleSet::ALL.into_iter().map(RuleSet::word));
    assert_eq!(words(&defs["harness"]["properties"]["rule_set"]["enum"]), rule_sets);
    let kinds = set(&mut Kind::ALL.iter().map(|(word, _)| *word));
    assert_eq!(words(&defs["limit"]["properties"]["kind"]["enum"]), kinds);
    let sizes = set(&mut conductor::ContactSize::all().map(conductor::ContactSize::name));
    assert_eq!(words(&defs["contact_size"]["enum"]), sizes);
    let pattern = defs["colour"]["pattern"].as_str().unwrap();
    let group =
        pattern.split("(?:").find(|group| group.starts_with("BK|")).unwrap().split(')').next().unwrap();
    let codes: BTreeSet<String> = group.split('|').map(str::to_owned).collect();
    assert_eq!(codes, set(&mut Code::all().map(Code::letters)));
}

/// The units of a pattern are those of the quantity, both ways; and it takes and refuses what the reader does.
fn same_quantity<Q: Quantity>(names: &[&str]) {
    let definition = schema("definition");
    let defs = &definition["$defs"];
    let known: BTreeSet<&str> = Q::UNITS.iter().map(|unit| unit.symbol).collect();
    for name in names {
        let pattern = defs[name]["pattern"].as_str().unwrap_or_else(|| panic!("no {name}"));
        let units = pattern.rsplit_once('(').unwrap().1.split_once(')').unwrap().0;
        assert_eq!(units.split('|').collect::<BTreeSet<_>>(), known, "{name}");
        let judge =
            jsonschema::draft202012::new(&serde_json::json!({"type": "string", "pattern": pattern})).unwrap();
        let symbol = Q::UNITS[0].symbol;
        for number in [
            "1", "0", "0.0", "-1", "+2", ".5", "5.", "1e3", "1.5E-3", "1,5", "", "x", "1.2.3", "--1", "1e",
            "0e1",
        ] {
            for text in [format!("{number} {symbol}"), format!(" {number}{symbol} "), number.to_owned()] {
                let taken = match *name {
                    name if name.ends_with("_signed") => parse_signed::<Q>(&text).is_ok(),
                    name if name.ends_with("_above_zero") => parse::<Q>(&text).is_ok_and(|q| q.base() > 0.0),
                    _ => parse::<Q>(&text).is_ok(),
                };
                assert_eq!(judge.is_valid(&text.clone().into()), taken, "{name}: `{text}`");
            }
        }
    }
}

#[test]
fn the_units_of_the_schema_are_those_of_the_reader() {
    same_quantity::<Ohms>(&["ohms", "ohms_above_zero"]);
    same_quantity::<Volts>(&["volts", "volts_above_zero", "volts_signed"]);
    same_quantity::<Amps>(&["amps_above_zero"]);
    same_quantity::<Metres>(&["metres", "metres_above_zero", "metres_signed"]);
    same_quantity::<Seconds>(&["seconds"]);
    same_quantity::<Degrees>(&["degrees_signed"]);
    same_quantity::<Celsius>(&["celsius_above_zero"]);
}

#[test]
fn sizes_of_conductors_are_those_of_the_reader() {
    let pattern = &schema("definition")["$defs"]["gauge"];
    let judge = jsonschema::draft202012::new(pattern).unwrap();
    let mut tried = vec![
        "1.5 mm2", "1.5mm²", "0.5 mm^2", "0 mm2", "-1 mm2", "mm2", "1,5 mm2", "16", "16 gauge", "16 awg",
    ]
    .into_iter()
    .map(str::to_owned)
    .collect::<Vec<_>>();
    for system in ["AWG", "SAE"] {
        tried.extend((0..=50).map(|number| format!("{number} {system}")));
        tried.extend(
            ["00", "000", "0000", "00000", "1/0", "4/0", "5/0", "0/0", "-2"].map(|n| format!("{n} {system}")),
        );
    }
    for text in tried {
        let taken = ringout::units::Gauge::parse(&text).is_ok();
        // The reader takes noughts in front of an SAE number, which nobody writes.
        if !(text.starts_with("00") && text.ends_with("SAE")) {
            assert_eq!(judge.is_valid(&text.clone().into()), taken, "`{text}`");
        }
    }
}

#[test]
fn every_good_record_passes() {
    let validator = validator("record");
    let records: Vec<PathBuf> = files(&root().join("demo"))
        .into_iter()
        .filter(|path| !path.starts_with(root().join("demo/out")))
        .collect();
    assert!(records.len() >= 3);
    for path in records {
        let document = json(&fs::read_to_string(&path).unwrap()).unwrap();
        assert_eq!(complaints(&validator, &document), [""; 0], "{}", path.display());
    }
    for (bad, why) in [
        (
            "[[reading]]\nkind = \"voltage\"\nred = \"A\"\nblack = \"B\"\npower = \"on\"\nvalue = \"1 V\"",
            "power",
        ),
        (
            "[[reading]]\nkind = \"loop\"\nred = \"A\"\nblack = \"B\"\npower = \"isolated\"\nvalue = \"1 ohm\"",
            "far",
        ),
        ("[[reading]]\nkind = \"withdrawal\"\nvalue = \"third\"", "a number"),
        ("[[reading]]\nkind = \"withdrawal\"\nvalue = \"#3\"\nred = \"A\"", "red"),
        ("format = 2", "format"),
    ] {
        assert_ne!(complaints(&validator, &json(bad).unwrap()), [""; 0], "{why}");
    }
}

#[test]
fn the_keys_of_each_kind_of_reading_are_those_of_the_reader() {
    let harness = "format = 1\nharness = { id = \"T\", revision = \"A\" }\nconnector.X1 = { contacts = 2 }\n";
    let harness = load("t.toml", harness.to_owned(), None, &mut |_| Err(String::new())).unwrap().harness;
    let said = |text: &str| record::read(&harness, "record.toml", text).diagnostics;
    let schema = schema("record");
    assert_eq!(keys(&schema), known_keys(&said(&format!("{KEY} = 1\n"))));
    assert_eq!(
        keys(&schema["$defs"]["harness"]),
        known_keys(&said(&format!("[harness]\nid = \"T\"\n{KEY} = 1\n")))
    );
    let reading = &schema["$defs"]["reading"];
    let kinds = kinds(reading);
    let named: BTreeSet<String> = kinds.iter().map(|(kind, ..)| kind.clone()).collect();
    assert_eq!(named, words(&reading["properties"]["kind"]["enum"]));
    let found = said("[[reading]]\nkind = \"qqqqqqqq\"\nvalue = \"1 V\"\n");
    let help =
        found.iter().find_map(|d| d.help.as_deref().filter(|help| help.starts_with("known kinds"))).unwrap();
    assert_eq!(named, listed(help, "known kinds: "));
    let mut all = BTreeSet::new();
    for (kind, needs, may) in kinds {
        let found = said(&format!("[[reading]]\nkind = \"{kind}\"\n{KEY} = 1\nvalue = \"\"\n"));
        assert_eq!(known_keys(&found), may, "{kind}");
        let missing = found.iter().filter(|d| d.rule == "missing-key");
        let mut missing: BTreeSet<String> =
            missing.map(|d| d.message.split('`').nth(1).unwrap().to_owned()).collect();
        missing.insert("value".to_owned());
        assert_eq!(missing, needs, "{kind}");
        all.extend(may);
    }
    assert_eq!(all, keys(reading));
}
