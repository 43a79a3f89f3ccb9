//! No text makes the program panic or hang: it loads, or it is refused with errors that render.
//!
//! Three ways to look for a counterexample: arbitrary text, edits of definitions that load, and
//! arbitrary words where a quantity, a gauge, a colour or a wire id belongs. Then the hostile files
//! that a search would hardly find, with a time limit for each. What is checked is only that
//! everything ends; what the messages say is checked by the gallery of bad inputs.

#![allow(clippy::unwrap_used, reason = "a test stops where something it needs is not there")]

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;
use std::sync::LazyLock;
use std::time::{Duration, Instant};

use proptest::prelude::*;
use proptest::sample::{Index, select};
use ringout::audit::{Options, audit};
use ringout::definition::colour::Colour;
use ringout::definition::diagnostic::render;
use ringout::definition::wire_id::{SignificantId, circuit_of};
use ringout::definition::{Harness, Loaded, Point, Rejected, RuleSet, load};
use ringout::draw::{
    Highlights, Side, Strips, Subject, face_of, face_scene, layout_of, layout_scene, setup_of, setup_scene,
    strip_scene, to_svg,
};
use ringout::locate::locate;
use ringout::measure::Meter;
use ringout::netlist::{Link, Netlist};
use ringout::plan::{Scope, plan};
use ringout::record;
use ringout::setup::Isolated;
use ringout::sheet;
use ringout::units::{self, Amps, Celsius, Degrees, Gauge, Metres, Ohms, Quantity, Seconds, Volts};

/// The files of one machine, by path from the top file's folder.
type Machine = BTreeMap<String, String>;

/// Loads a machine, renders what is said of it, and asks for everything a command would ask for.
fn try_all(top: &str, files: &Machine, variant: Option<&str>) -> bool {
    let mut read = |path: &str| files.get(path).cloned().ok_or_else(|| "no such file".to_owned());
    let text = files.get(top).cloned().unwrap_or_default();
    match load(top, text, variant, &mut read) {
        Ok(Loaded { harness, warnings, sources }) => {
            render(&warnings, &sources, true);
            let netlist = Netlist::new(&harness);
            sheet::pins(&harness, None);
            sheet::wires(&harness, None);
            sheet::nets(&harness, &netlist, &Isolated::at_rest().into());
            let bridges = netlist.bridges(|link| !matches!(netlist.link(link), Link::Bond(_)));
            assert_eq!(bridges.len(), netlist.links().len());
            use_it(&harness, &netlist);
            true
        }
        Err(rejected) => {
            let Rejected { diagnostics, sources, .. } = *rejected;
            assert!(!diagnostics.is_empty(), "refused without a reason");
            assert!(!render(&diagnostics, &sources, false).is_empty());
            for diagnostic in &diagnostics {
                diagnostic.place.map(|place| sources.line_column(place));
            }
            false
        }
    }
}

/// What the commands do beyond tables: traces, drawings, a plan, and reasoning from one reading. A machine
/// that never settles is an answer too.
fn use_it(harness: &Harness, netlist: &Netlist) {
    if let Some(point) = harness.points().next() {
        sheet::trace_net(harness, netlist, point);
        sheet::trace(harness, netlist, point, Point::Chassis);
    }
    for connector in harness.connectors.ids().take(3) {
        to_svg(&face_scene(&face_of(harness, connector, Side::Wire, &[])));
    }
    draw_it(harness, netlist, &Highlights::default());
    if harness.wires.len() > 300 {
        return;
    }
    let judged = audit(harness, netlist, Options { rule_set: Some(RuleSet::Aircraft), electrical: true });
    assert!(judged.is_ok(), "a network that cannot be solved");
    let Ok(plan) = plan(harness, netlist, &Scope::default(), Meter::HANDHELD) else { return };
    sheet::plan(harness, &plan);
    let Some(step) = plan.steps().next() else { return };
    let names = |point| harness.point_name(point);
    let text = format!(
        "[[reading]]\nkind = \"{}\"\nred = \"{}\"\nblack = \"{}\"\npower = \"{}\"\nunplugged = {:?}\nvalue = \"{}\"\n",
        step.measurement.kind().word(),
        names(step.measurement.red()),
        names(step.measurement.black()),
        step.measurement.setup().power().word(),
        step.measurement
            .setup()
            .unplugged(harness)
            .map(|c| harness.connectors[c].id.clone())
            .collect::<Vec<_>>(),
        if step.measurement.kind().is_resistance() { "OL" } else { "0.0 V" },
    );
    let record = record::read(harness, "record", &text);
    if let Ok(diagnosis) = locate(harness, netlist, &record.entries, &Meter::HANDHELD) {
        sheet::locate(harness, &diagnosis);
        draw_it(harness, netlist, &Highlights::of_diagnosis(&diagnosis));
    }
}

/// A few strips, the layout and a setup: every number in them is one.
fn draw_it(harness: &Harness, netlist: &Netlist, points_out: &Highlights) {
    let strips = Strips::new(harness, netlist);
    let circuits = strips.circuits().into_iter().map(|id| Subject::Circuit(id.to_owned()));
    let subjects = circuits.take(3).chain(harness.parts.ids().take(2).map(Subject::Part));
    let mut drawn: Vec<String> =
        subjects.map(|subject| to_svg(&strip_scene(&strips.view(&subject, points_out)))).collect();
    drawn.push(to_svg(&layout_scene(&layout_of(harness, points_out))));
    let setup = Isolated::at_rest().connect().into();
    drawn.push(to_svg(&setup_scene(&setup_of(harness, &setup, "", None))));
    for svg in drawn {
        assert!(!svg.contains("=\"NaN") && !svg.contains("NaN ") && !svg.contains("=\"inf"), "{svg}");
    }
}

fn try_text(text: String) -> bool {
    try_all("top.toml", &Machine::from([("top.toml".to_owned(), text)]), None)
}

fn read_folder(folder: &Path, prefix: &str, files: &mut Machine) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = format!("{prefix}{}", path.file_name().unwrap().to_str().unwrap());
        if path.is_dir() {
            read_folder(&path, &format!("{name}/"), files);
        } else if path.extension().is_some_and(|e| e == "toml") {
            files.insert(name, std::fs::read_to_string(&path).unwrap());
        }
    }
}

/// All definitions that come with the program, and which of them are top files.
fn harnesses() -> (Machine, Vec<String>) {
    static READ: LazyLock<(Machine, Vec<String>)> = LazyLock::new(read_harnesses);
    READ.clone()
}

fn read_harnesses() -> (Machine, Vec<String>) {
    let mut files = Machine::new();
    read_folder(&Path::new(env!("CARGO_MANIFEST_DIR")).join("harnesses"), "", &mut files);
    let tops = files.iter().filter(|(_, text)| text.contains("[harness]")).map(|(name, _)| name.clone());
    let tops = tops.collect();
    (files, tops)
}

/// What definitions are made of, good and bad.
const FRAGMENTS: &[&str] = &[
    "format = 1\n",
    "[harness]\nid = \"T\"\nrevision = \"A\"\n",
    "use = [\"top.toml\", \"a/../b.toml\"]\n",
    "[connector.P1]\ncontacts = 4\n",
    "[connector.J1]\nface = \"round-4\"\nmate = \"P1\"\n",
    "[connector.P2]\n",
    "contacts = [\"A\", \"B\"]\n",
    "contacts = 99999999999999999999\n",
    "contacts = []\n",
    "[connector.P1.pin.1]\nsignal = \"x\"\n",
    "[face.f]\nrows = [[\"1\"], []]\npitch = \"1 mm\"\n",
    "[face.g]\nrings = [[\"1\", \"2\"]]\npitch = \"1e-9 m\"\nstart = [\"1e9 deg\"]\n",
    "[face.h]\nxy = { a = [\"-1 mm\", \"0 mm\"], b = [\"0 mm\", \"1e300 m\"] }\n",
    "[splice.SP1]\n",
    "[terminal.GP1]\nground = true\n",
    "[[wire]]\nid = \"31A\"\nfrom = \"P1.1\"\nto = \"SP1\"\n",
    "[[wire]]\nid = \"P215A4N\"\nfrom = \"SP1\"\nto = \"GP1\"\n",
    "[[wire]]\n",
    "from = \"P2\"\nto = \"chassis\"\n",
    "gauge = \"1e-300 mm2\"\nlength = \"1e300 km\"\n",
    "gauge = \"6 AWG\"\ncolour = \"RD/WH\"\ntwisted = \"T\"\n",
    "route = [\"T1\", \"T1\"]\n",
    "[trunk.T1]\nbetween = [\"P1\", \"P1\"]\n",
    "[part.F1]\nkind = \"fuse\"\nbetween = [\"P1.1\", \"P1.2\"]\n",
    "[part.S1]\nkind = \"switch\"\nrest = \"off\"\n[part.S1.positions]\noff = []\nrun = [[\"P1.1\", \"P1.1\"]]\n",
    "[part.U1]\nkind = \"unit\"\n[[part.U1.function]]\noutput = \"P1.1\"\nsupply = \"P1.1\"\n",
    "[part.K1]\nkind = \"relay\"\ncoil = [\"P1.1\", \"P1.2\"]\ncoil_ohms = \"1 ohm\"\noperate = \"1 V\"\n",
    "[part.B1]\nkind = \"battery\"\nvolts = \"1e308 kV\"\ninternal = \"1e-320 ohm\"\nplus = \"SP1\"\nminus = \"GP1\"\n",
    "[condition.c]\n",
    "[[limit]]\ntitle = \"t\"\nkind = \"voltage\"\nred = \"P1.1\"\nblack = \"chassis\"\nlow = \"nan V\"\nsource = \"s\"\n",
    "[variant.v.wire.31A]\nremove = true\n",
    "[variant.v.pin.\"P1.9\"]\nspare = true\n",
    "\"\"\"",
    "'''",
    "\"",
    "[",
    "]",
    "[[",
    "]]",
    "{",
    "}",
    "=",
    ",",
    ".",
    "#",
    "\n",
    "\r\n",
    "\r",
    "\t",
    "\0",
    "\u{feff}",
    "\u{202e}",
    "\u{1b}[31m",
    "é",
    "日本",
    "\u{301}",
    "👩‍🔧",
    "\\u0000",
    "\\",
    "-9223372036854775808",
    "0x_",
    "1e999",
    "nan",
    "2026-05-02T09:14:00Z",
    "true",
];

fn fragments() -> impl Strategy<Value = String> {
    let piece = prop_oneof![
        4 => select(FRAGMENTS).prop_map(str::to_owned),
        1 => any::<char>().prop_map(String::from),
        1 => "[ -~]{0,12}",
    ];
    proptest::collection::vec(piece, 0..40).prop_map(|pieces| pieces.concat())
}

/// A piece of text that stands for itself: a word, a number, a sign, a line break.
fn tokens(text: &str) -> Vec<&str> {
    let mut tokens = Vec::new();
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let word = |c: char| c.is_alphanumeric() || matches!(c, '_' | '-' | '.');
        let end = if word(first) { rest.find(|c| !word(c)).unwrap_or(rest.len()) } else { first.len_utf8() };
        let (token, after) = rest.split_at(end);
        tokens.push(token);
        rest = after;
    }
    tokens
}

/// One edit of a text.
#[derive(Debug, Clone)]
enum Edit {
    Delete(Index, usize),
    Duplicate(Index, usize),
    Replace(Index, usize, String),
    Swap(Index, Index),
    Insert(Index, String),
    DeleteLine(Index),
    DuplicateLine(Index),
    Truncate(Index),
}

fn edit() -> impl Strategy<Value = Edit> {
    let at = any::<Index>;
    let text = || prop_oneof![select(FRAGMENTS).prop_map(str::to_owned), "\\PC{0,4}"];
    prop_oneof![
        1 => (at(), 1..8usize).prop_map(|(a, n)| Edit::Delete(a, n)),
        1 => (at(), 1..30usize).prop_map(|(a, n)| Edit::Duplicate(a, n)),
        1 => (at(), 1..4usize, text()).prop_map(|(a, n, t)| Edit::Replace(a, n, t)),
        1 => (at(), at()).prop_map(|(a, b)| Edit::Swap(a, b)),
        1 => (at(), text()).prop_map(|(a, t)| Edit::Insert(a, t)),
        // Whole lines are likelier to leave something that still loads.
        16 => at().prop_map(Edit::DeleteLine),
        4 => at().prop_map(Edit::DuplicateLine),
        1 => at().prop_map(Edit::Truncate),
    ]
}

impl Edit {
    fn apply(&self, text: &str) -> String {
        match self {
            Self::DeleteLine(_) | Self::DuplicateLine(_) => {
                self.on(text.split_inclusive('\n').collect()).concat()
            }
            _ => self.on(tokens(text)).concat(),
        }
    }

    fn on<'a>(&'a self, mut pieces: Vec<&'a str>) -> Vec<&'a str> {
        if pieces.is_empty() {
            return pieces;
        }
        let count = pieces.len();
        let range = |at: &Index, n: usize| at.index(count)..(at.index(count) + n).min(count);
        match self {
            Self::Delete(at, n) => drop(pieces.drain(range(at, *n))),
            Self::Duplicate(at, n) => {
                let copy = pieces[range(at, *n)].to_vec();
                let end = range(at, *n).end;
                pieces.splice(end..end, copy);
            }
            Self::Replace(at, n, text) => drop(pieces.splice(range(at, *n), [text.as_str()])),
            Self::Swap(a, b) => pieces.swap(a.index(count), b.index(count)),
            Self::Insert(at, text) => pieces.insert(at.index(count), text),
            Self::DeleteLine(at) => drop(pieces.remove(at.index(count))),
            Self::DuplicateLine(at) => pieces.insert(at.index(count), pieces[at.index(count)]),
            Self::Truncate(at) => pieces.truncate(at.index(count)),
        }
        pieces
    }
}

/// Which machine, which of its files is edited, and how.
fn edits() -> impl Strategy<Value = (Index, Vec<(Index, Edit)>, bool)> {
    (any::<Index>(), proptest::collection::vec((any::<Index>(), edit()), 1..3), any::<bool>())
}

/// Applies edits to a machine and tries it; says whether it still loaded.
fn try_edits(which: Index, edits: &[(Index, Edit)], variant: bool) -> bool {
    let (mut files, tops) = harnesses();
    let top = which.get(&tops).clone();
    let folder = top.trim_end_matches(".toml").to_owned();
    let own: Vec<String> = files.keys().filter(|f| **f == top || f.starts_with(&folder)).cloned().collect();
    for (file, edit) in edits {
        let text = files.get_mut(file.get(&own)).unwrap();
        *text = edit.apply(text);
    }
    try_all(&top, &files, variant.then_some("wide-boom"))
}

fn try_words(text: &str) {
    fn both<Q: Quantity>(text: &str) {
        for parsed in [units::parse::<Q>(text), units::parse_signed::<Q>(text)] {
            match parsed {
                Ok(value) => assert!(value.base().is_finite() && !value.to_string().is_empty()),
                Err(error) => assert!(!error.to_string().is_empty() && !error.suggest().is_empty()),
            }
        }
    }
    both::<Ohms>(text);
    both::<Volts>(text);
    both::<Amps>(text);
    both::<Metres>(text);
    both::<Seconds>(text);
    both::<Degrees>(text);
    both::<Celsius>(text);
    if let Ok(gauge) = Gauge::parse(text) {
        let (low, high) = ringout::conductor::resistance_range(
            gauge,
            Metres::new(2.0),
            ringout::conductor::USUAL_TEMPERATURES,
        );
        assert!(low.get().is_finite() && low <= high, "{text}");
        assert_eq!(Gauge::parse(&gauge.to_string()).map(|g| g.to_string()), Ok(gauge.to_string()));
    }
    if let Ok(colour) = Colour::parse(text) {
        assert_eq!(colour.to_string(), text.trim());
        assert!(!colour.name().is_empty());
    }
    if let Ok(id) = SignificantId::parse(text) {
        assert_eq!(id.to_string(), text);
        id.meaning();
    }
    circuit_of(text);
}

/// Texts that are nearly a quantity, a colour or a wire id.
fn words() -> impl Strategy<Value = String> {
    let unit =
        select(&["m", "mm2", "mm²", "AWG", "SAE", "ohm", "Ω", "kV", "µs", "deg", "°C", "e", "/0", " "][..]);
    prop_oneof![
        "\\PC{0,16}",
        ("[-+0-9.,eE]{0,12}", "[ \u{a0}]?", unit).prop_map(|(n, s, u)| format!("{n}{s}{u}")),
        "(BK|BN|RD|OG|GNYE|WH|rd|red|/| ){0,6}",
        "[0-9]{0,3}[A-Z]{0,2}[0-9]{0,5}[A-Z/0-9]{0,8}",
    ]
}

/// Fewer cases than usual, because each edited machine is a thousand lines long.
fn cases(count: u32) -> ProptestConfig {
    ProptestConfig { cases: count, failure_persistence: None, ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(cases(300))]

    #[test]
    fn any_text_loads_or_is_refused(text in "\\PC{0,200}|(?s).{0,200}") {
        try_text(text);
    }

    #[test]
    fn any_pieces_of_definitions_load_or_are_refused(text in fragments()) {
        try_text(format!("format = 1\n[harness]\nid = \"T\"\nrevision = \"A\"\n{text}"));
        try_text(text);
    }

    #[test]
    fn any_word_is_a_quantity_or_is_refused(text in words()) {
        try_words(&text);
    }
}

proptest! {
    #![proptest_config(cases(60))]

    #[test]
    fn any_edit_of_a_good_definition_loads_or_is_refused((which, edits, variant) in edits()) {
        try_edits(which, &edits, variant);
    }
}

proptest! {
    #![proptest_config(cases(20_000))]

    #[test]
    #[ignore = "minutes long; run it after changes to reading definitions"]
    fn long_any_pieces_of_definitions(text in fragments()) {
        try_text(format!("format = 1\n[harness]\nid = \"T\"\nrevision = \"A\"\n{text}"));
    }

    #[test]
    #[ignore = "minutes long; run it after changes to reading definitions"]
    fn long_any_edit_of_a_good_definition((which, edits, variant) in edits()) {
        try_edits(which, &edits, variant);
    }

    #[test]
    #[ignore = "minutes long; run it after changes to units, colours or wire ids"]
    fn long_any_word(text in words()) {
        try_words(&text);
    }
}

proptest! {
    #![proptest_config(cases(60))]

    #[test]
    fn any_edit_of_a_record_reads_or_is_refused(edits in proptest::collection::vec(edit(), 1..4)) {
        let (files, _) = harnesses();
        let mut read = |path: &str| files.get(path).cloned().ok_or_else(String::new);
        let top = files["orchard-sprayer.toml"].clone();
        let harness = load("orchard-sprayer.toml", top, None, &mut read).unwrap().harness;
        let whole = include_str!("../demo/readings-harness-fault.toml").to_owned();
        let text = edits.iter().fold(whole, |text, edit| edit.apply(&text));
        let record = record::read(&harness, "record", &text);
        render(&record.diagnostics, &record.sources, false);
        if let Some(mended) = record::mend(&text) {
            prop_assert!(record::mend(&mended).is_none(), "mended twice");
        }
    }
}

/// The edits must leave some machines whole, or nothing behind the reader would ever be tried.
#[test]
fn some_edited_definitions_still_load() {
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let mut loaded = 0;
    for _ in 0..40 {
        let (which, edits, variant) = edits().new_tree(&mut runner).unwrap().current();
        loaded += u32::from(try_edits(which, &edits, variant));
    }
    assert!((4..=36).contains(&loaded), "{loaded} of 40 loaded");
}

#[test]
fn every_definition_that_comes_along_loads() {
    let (files, tops) = harnesses();
    assert!(tops.len() >= 10);
    for top in tops {
        assert!(try_all(&top, &files, None), "{top}");
    }
}

/// A definition with this below its head.
fn with_head(body: &str) -> String {
    format!("format = 1\n[harness]\nid = \"T\"\nrevision = \"A\"\n{body}")
}

/// A definition with this above its first header.
fn above_head(body: &str) -> String {
    format!("format = 1\n{body}\n[harness]\nid = \"T\"\nrevision = \"A\"\n")
}

/// Repeats a piece of text until it is about so many bytes long; `#` becomes a running number.
fn repeated(piece: &str, bytes: usize) -> String {
    let mut out = String::with_capacity(bytes + piece.len() + 8);
    for number in 0.. {
        if out.len() >= bytes {
            break;
        }
        let _ = write!(out, "{}", piece.replace('#', &number.to_string()));
    }
    out
}

/// Bytes of a large file in these tests: enough to tell a quadratic cost from a linear one.
const LARGE: usize = 500_000;

#[test]
fn hostile_files_end_in_time() {
    let wires = "[[wire]]\nid = \"W#\"\nfrom = \"P1.1\"\nto = \"SP#\"\n";
    let hostile = [
        ("deep lists", above_head(&format!("use = {}", "[".repeat(LARGE)))),
        ("deep tables", above_head(&format!("x = {}", "{a=".repeat(LARGE / 3)))),
        ("a deep dotted key", above_head(&format!("{} = 1", vec!["a"; 100_000].join(".")))),
        ("one long line", with_head(&format!("[station.cab]\ntitle = \"{}", "x".repeat(LARGE)))),
        ("one long list of mistakes", above_head(&format!("use = [{}]", repeated("#,", LARGE)))),
        (
            "one long id",
            with_head(&format!(
                "[splice.{}]\n[terminal.{}b]\n",
                "x".repeat(LARGE / 2),
                "x".repeat(LARGE / 2)
            )),
        ),
        ("long names that are nearly known", {
            let name = "x".repeat(LARGE / 4);
            with_head(&format!(
                "[splice.{name}]\n[[wire]]\nid = \"1\"\nfrom = \"{name}y\"\nto = \"z{name}\"\n"
            ))
        }),
        ("zero bytes", "\0".repeat(LARGE)),
        ("quotes", "\"".repeat(LARGE)),
        ("broken lines", repeated("a b #\n", LARGE)),
        ("unknown keys", repeated("key# = 1\n", LARGE)),
        ("unknown keys on one line", above_head(&format!("x = {{ {} }}", repeated("key# = 1, ", LARGE)))),
        ("headers that are there twice", with_head(&repeated("[splice.A]\n", LARGE))),
        ("dangling wires", with_head(&format!("[connector.P1]\ncontacts = 1\n{}", repeated(wires, LARGE)))),
        (
            "dangling wires among many names",
            with_head(&format!(
                "[connector.P1]\ncontacts = 1\n{}{}",
                repeated("[splice.S#]\n", LARGE / 2),
                repeated(wires, LARGE / 2),
            )),
        ),
        ("unknown stations", with_head(&repeated("[splice.S#]\nstation = \"s#\"\n[station.t#]\n", LARGE))),
        (
            "many connectors with many contacts",
            with_head(&repeated("[connector.P#]\ncontacts = 10000\n", LARGE)),
        ),
        ("a large face", {
            let names: Vec<String> = (0..100_000).map(|n| format!("\"{n}\"")).collect();
            with_head(&format!("[face.f]\nrows = [[{}]]\npitch = \"1 mm\"\n", names.join(",")))
        }),
        (
            "many faces",
            with_head(&{
                let row: Vec<String> = (0..300).map(|n| format!("\"{n}\"")).collect();
                repeated(&format!("[face.f#]\nrows = [[{}]]\npitch = \"1 mm\"\n", row.join(",")), LARGE)
            }),
        ),
        (
            "everything in one contact",
            with_head(&format!(
                "[connector.P1]\ncontacts = 1\npin.1 = {{ joined = true }}\n[splice.S]\n{}",
                repeated("[[wire]]\nid = \"W#\"\nfrom = \"P1.1\"\nto = \"S\"\n", LARGE),
            )),
        ),
        (
            "a long chain of trunks",
            with_head(&repeated(
                "[splice.S#]\n[trunk.T#]\nbetween = [\"S#\", \"S1#\"]\n[[wire]]\nid = \"W#\"\nfrom = \"S#\"\nto = \"S0\"\n",
                LARGE / 4,
            )),
        ),
        (
            "a switch with many positions",
            with_head(&format!(
                "[connector.P1]\ncontacts = 100\n[part.S]\nkind = \"switch\"\nrest = \"p1\"\n[part.S.positions]\n{}",
                repeated("p# = [[\"P1.1\", \"P1.2\"]]\n", LARGE),
            )),
        ),
    ];
    for (what, text) in hostile {
        let start = Instant::now();
        try_text(text);
        let took = start.elapsed();
        println!("{what}: {took:?}");
        assert!(took < Duration::from_secs(20), "{what} took {took:?}");
    }
}

#[test]
fn a_folder_that_contains_itself_ends() {
    // A reader that finds a file under every path, as a link to its own folder would.
    let text = "format = 1\nuse = [\"a/deck.toml\", \"b/deck.toml\"]\n";
    let mut reads = 0;
    let mut read = |_: &str| {
        reads += 1;
        Ok(text.to_owned())
    };
    let top = format!("{text}[harness]\nid = \"T\"\nrevision = \"A\"\n");
    let rejected = load("top.toml", top, None, &mut read);
    assert!(rejected.is_err());
    assert!(reads <= 1000, "{reads} files read");
}
