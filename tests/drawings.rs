//! Drawn faces of every connector of every definition in this repository, from both sides.
//!
//! Held against the definition itself: what it says about a contact must be found in the drawing, once;
//! and against the rules of the drawing: nothing covers anything, the same input gives the same bytes,
//! the side and the contact kind are said in words.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

mod support;

#[path = "support/drawn.rs"]
mod drawn;

use std::process::Command;

use drawn::{Drawn, read_back};
use ringout::definition::{Half, Harness, Kind, Point};
use ringout::draw::{
    Highlights, Item, Probes, Scene, Share, Side, StripOptions, Strips, Subject, face_of, face_scene,
    layout_of, layout_scene, setup_of, setup_scene, strip_scene, to_svg,
};
use ringout::netlist::{Element, Netlist};
use ringout::setup::{Isolated, Setup};
use support::{harness, path};

const SIDES: [Side; 2] = [Side::Mating, Side::Wire];

/// Every definition: the sprayer and the published pin maps.
fn definitions() -> Vec<(String, Harness)> {
    let folder = std::fs::read_dir(path("published")).unwrap();
    let name = |e: std::io::Result<std::fs::DirEntry>| e.unwrap().file_name().to_string_lossy().into_owned();
    let mut names: Vec<String> = folder.map(|e| format!("published/{}", name(e))).collect();
    names.sort();
    names.push("orchard-sprayer.toml".to_owned());
    names.into_iter().map(|name| (name.clone(), harness(&name))).collect()
}

/// Calls `look` with every connector's drawing from each side; gives back how many there were.
fn for_each_drawing(mut look: impl FnMut(&Harness, usize, Side, &Scene, &str)) -> usize {
    let mut count = 0;
    for (name, harness) in definitions() {
        for (nth, id) in harness.connectors.ids().enumerate() {
            for side in SIDES {
                let what = format!("{name} {} {side:?}", harness.connectors[id].id);
                look(&harness, nth, side, &face_scene(&face_of(&harness, id, side, &[])), &what);
                count += 1;
            }
        }
    }
    assert!(count > 150, "{count}");
    count
}

#[test]
fn each_is_well_formed_and_the_same_every_time() {
    for_each_drawing(|harness, nth, side, scene, what| {
        let svg = to_svg(scene);
        let read = roxmltree::Document::parse(&svg).unwrap_or_else(|error| panic!("{what}: {error}"));
        assert_eq!(read.root_element().tag_name().name(), "svg");
        assert!(!svg.contains("NaN") && !svg.contains("inf\""), "{what}");
        let id = harness.connectors.ids().nth(nth).unwrap();
        assert_eq!(svg, to_svg(&face_scene(&face_of(harness, id, side, &[]))), "{what}");
    });
}

#[test]
fn each_says_its_side_its_contact_kind_and_its_definition() {
    for_each_drawing(|harness, nth, side, scene, what| {
        let connector = harness.connectors.iter().nth(nth).unwrap().1;
        let texts: Vec<&str> = scene.texts().iter().map(|t| t.text.as_str()).collect();
        let kind = match connector.half {
            Some(Half::Pin) => "pin contacts",
            Some(Half::Socket) => "socket contacts",
            None => "contact kind not given",
        };
        let side = match (connector.face, side) {
            (None, _) => "Contacts",
            (Some(_), Side::Mating) => "Mating side",
            (Some(_), Side::Wire) => "Wire side",
        };
        let statement = format!("{side} of {} ({kind})", connector.id);
        assert!(texts.contains(&statement.as_str()), "{what}: {texts:?}");
        assert!(scene.title.starts_with(&statement), "{what}: {}", scene.title);
        let not_given = texts.iter().any(|t| t.starts_with("Geometry not given"));
        assert_eq!(not_given, connector.face.is_none(), "{what}");
        let assumed = texts.iter().any(|t| t.starts_with("Contact kind not given: drawn as a pin half"));
        assert_eq!(assumed, connector.face.is_some() && connector.half.is_none(), "{what}");
        let about = &harness.about;
        let stamp = format!("{} revision {}, definition {}", about.id, about.revision, harness.short_hash());
        assert!(texts.contains(&stamp.as_str()), "{what}: {texts:?}");
    });
}

#[test]
fn each_shows_every_contact_once_with_its_wires() {
    for_each_drawing(|harness, nth, _, scene, what| {
        let id = harness.connectors.ids().nth(nth).unwrap();
        let drawn = read_back(&to_svg(scene));
        assert_eq!(drawn.len(), harness.connectors[id].count, "{what}");
        for contact in harness.contacts_of(id) {
            let own = &harness.contacts[contact];
            let found: Vec<&Drawn> = drawn.iter().filter(|d| d.contact == own.name).collect();
            assert_eq!(found.len(), 1, "{what} {}", own.name);
            let wires = harness.wires_at(Point::Contact(contact)).map(|w| harness.wires[w].id.clone());
            assert_eq!(found[0].wires, wires.collect::<Vec<_>>(), "{what} {}", own.name);
            let signal = own.signal.iter().all(|s| scene.texts().iter().any(|t| t.text == *s));
            assert!(signal, "{what} {}: {:?} is not said", own.name, own.signal);
        }
    });
}

#[test]
fn in_none_does_a_text_cover_another_or_a_contact() {
    for_each_drawing(|_, _, _, scene, what| {
        let texts = scene.texts();
        for (nth, text) in texts.iter().enumerate() {
            let area = text.area();
            assert!(
                area.left >= 0.0
                    && area.top >= 0.0
                    && area.right <= scene.width
                    && area.bottom <= scene.height,
                "{what}: `{}` leaves the sheet",
                text.text
            );
            for other in &texts[nth + 1..] {
                assert!(!area.overlaps(&other.area()), "{what}: `{}` covers `{}`", text.text, other.text);
            }
        }
        let contacts = scene.groups().into_iter().filter(|g| g.class == "contact");
        for contact in contacts {
            let Item::Circle { centre, radius, .. } = contact.items[0] else { panic!("{what}") };
            // The square inside the circle.
            let inside = ringout::draw::Area::around(centre, radius * 0.7);
            let covered = texts.iter().find(|t| t.area().overlaps(&inside));
            assert!(covered.is_none(), "{what}: {covered:?} covers a contact");
        }
    });
}

/// 11 pixels of 96 to the inch are a little over 8 points. (The one letter in a probe's mark is smaller,
/// and its word stands in the legend.)
#[test]
fn letters_are_large_enough_to_read_on_paper() {
    for_each_drawing(|_, _, _, scene, what| {
        for text in scene.texts() {
            assert!(text.size >= 11.0, "{what}: `{}` is set in {}", text.text, text.size);
        }
    });
}

/// The last columns of a row of a strip, by the row's data.
fn rows<'a>(svg: &'a roxmltree::Document, name: &str) -> Vec<(&'a str, roxmltree::Node<'a, 'a>)> {
    let rows = svg.descendants().filter(|n| n.attribute(name).is_some());
    rows.map(|n| (n.attribute(name).unwrap(), n)).collect()
}

fn machine(text: &str) -> Harness {
    ringout::definition::load("t.toml", text.to_owned(), None, &mut |_| Err(String::new())).unwrap().harness
}

/// A voltage divider by Ohm's law: 12 V behind 1 ohm, a lamp of 11 ohm; wires and joints of a millionth of
/// an ohm. So 1 A flows, and 11 V stand across the lamp.
const DIVIDER: &str = r#"
    format = 1
    harness = { id = "T-1", revision = "A", nominal = "12 V" }
    resistance = { termination = "1 uohm", switch = "1 uohm" }
    terminal = { B1 = {}, B2 = {}, S1a = {}, S1b = {}, L1 = {}, L2 = {}, D = {} }
    wire = [
        { id = "1A", from = "B1", to = "S1a", gauge = "120 mm2", length = "1 mm" },
        { id = "2A", from = "S1b", to = "L1", gauge = "120 mm2", length = "1 mm" },
        { id = "2B", from = "L1", to = "D", gauge = "120 mm2", length = "1 mm" },
        { id = "3A", from = "L2", to = "B2", gauge = "120 mm2", length = "1 mm" },
    ]
    [part.BAT]
    kind = "battery"
    volts = "12 V"
    internal = "1 ohm"
    plus = "B1"
    minus = "B2"
    [part.S1]
    kind = "switch"
    rest = "off"
    positions = { off = [], on = [["S1a", "S1b"]] }
    [part.E1]
    kind = "lamp"
    between = ["L1", "L2"]
    ohms = "11 ohm"
    "#;

#[test]
fn a_strip_goes_from_plus_through_the_load_to_minus_and_tells_the_voltages() {
    let harness = machine(DIVIDER);
    let netlist = Netlist::new(&harness);
    let strips = Strips::new(&harness, &netlist);
    assert_eq!(strips.circuits(), ["1", "2", "3"]);
    for circuit in strips.circuits() {
        let view = strips.view(&Subject::Circuit(circuit.to_owned()), &Highlights::default());
        assert_eq!(view.way, "From B1 through E1 and back to B2");
        // The switch must be closed for current to flow, and the strip says so.
        assert!(view.setup.contains("S1 at on"), "{}", view.setup);
        let svg = to_svg(&strip_scene(&view));
        let read = roxmltree::Document::parse(&svg).unwrap();
        let places = rows(&read, "data-place");
        let main = ["B1", "S1a", "S1b", "L1", "L2", "B2"];
        let found: Vec<&str> = places.iter().map(|(name, _)| *name).filter(|name| *name != "D").collect();
        assert_eq!(found, main, "circuit {circuit}");
        // The branch is folded out with its own circuit alone.
        assert_eq!(places.iter().any(|(name, _)| *name == "D"), circuit == "2");
        for (name, expected) in [("B1", 11.0), ("L1", 11.0), ("L2", 0.0), ("B2", 0.0)] {
            let node = places.iter().find(|(place, _)| *place == name).unwrap().1;
            let volts: f64 = node.attribute("data-volts").unwrap().parse().unwrap();
            assert!((volts - expected).abs() < 0.01, "{name}: {volts} for {expected}");
        }
        let elements: Vec<&str> = rows(&read, "data-element").into_iter().map(|(id, _)| id).collect();
        for id in ["BAT", "1A", "1A@B1", "S1", "2A", "E1", "3A"] {
            assert!(elements.contains(&id), "{id} is not in {elements:?}");
        }
    }
}

/// Short, a strip holds every row of its own circuit that the whole one holds, and says what it leaves out.
#[test]
fn a_short_strip_leaves_out_what_is_shared_and_nothing_else() {
    let harness = harness("orchard-sprayer.toml");
    let netlist = Netlist::new(&harness);
    let strips = Strips::new(&harness, &netlist);
    for circuit in strips.circuits() {
        let subject = Subject::Circuit(circuit.to_owned());
        let elements = |short: bool| {
            let view = strips.view_with(&subject, &Highlights::default(), StripOptions { short });
            let svg = to_svg(&strip_scene(&view));
            let read = roxmltree::Document::parse(&svg).unwrap();
            let all: Vec<String> =
                rows(&read, "data-element").iter().map(|(id, _)| (*id).to_owned()).collect();
            (all, svg.contains("not drawn here"))
        };
        let ((whole, none), (short, some)) = (elements(false), elements(true));
        assert!(!none && short.len() <= whole.len(), "{circuit}");
        assert_eq!(short.len() < whole.len(), some, "{circuit}");
        for wire in harness.wires.values().filter(|wire| wire.circuit.as_deref() == Some(circuit)) {
            assert!(short.contains(&wire.id), "{circuit}: {} is missing", wire.id);
        }
    }
}

#[test]
fn suspects_stand_on_a_strip_with_their_share() {
    let harness = machine(DIVIDER);
    let netlist = Netlist::new(&harness);
    let wire = harness.wires.ids().nth(1).unwrap();
    let points_out =
        Highlights { suspects: vec![(Element::Wire(wire), Share::of(0.63))], ..Highlights::default() };
    let view = Strips::new(&harness, &netlist).view(&Subject::Circuit("2".to_owned()), &points_out);
    let svg = to_svg(&strip_scene(&view));
    let read = roxmltree::Document::parse(&svg).unwrap();
    let shared: Vec<_> = rows(&read, "data-share").iter().map(|(_, n)| n.attribute("data-element")).collect();
    assert_eq!(shared, [Some("2A")]);
    assert!(svg.contains("63 %"));
}

/// Trunks of 1, 2 and 3 m: drawn lengths in that ratio; the way of wire W1 is followed and no other.
#[test]
fn a_layout_is_to_scale_and_follows_a_wire() {
    let text = r#"
        format = 1
        harness = { id = "T-2", revision = "A" }
        station = { a = {}, b = {}, c = {}, d = {} }
        connector.XA = { contacts = 2, station = "a" }
        connector.XB = { contacts = 1, station = "b" }
        connector.XC = { contacts = 1, station = "c" }
        trunk.T1 = { between = ["a", "fork"], length = "1 m" }
        trunk.T2 = { between = ["fork", "b"], length = "2 m" }
        trunk.T3 = { between = ["fork", "c"], length = "3 m" }
        wire = [
            { id = "W1", from = "XA.1", to = "XC.1", length = "4 m" },
            { id = "W2", from = "XA.2", to = "XB.1", length = "3 m" },
        ]
        "#;
    let harness = machine(text);
    let points_out = Highlights { wires: harness.wires.ids().take(1).collect(), ..Highlights::default() };
    let view = layout_of(&harness, &points_out);
    let svg = to_svg(&layout_scene(&view));
    let read = roxmltree::Document::parse(&svg).unwrap();
    let runs = rows(&read, "data-run");
    let width = |id: &str| {
        let run = runs.iter().find(|(run, _)| *run == id).unwrap().1;
        let rect = run.children().find(|n| n.has_tag_name("rect")).unwrap();
        rect.attribute("width").unwrap().parse::<f64>().unwrap()
    };
    assert!((width("T2") / width("T1") - 2.0).abs() < 0.01 && (width("T3") / width("T1") - 3.0).abs() < 0.01);
    let followed: Vec<&str> =
        view.runs.iter().filter(|run| run.followed).map(|run| run.id.as_str()).collect();
    assert_eq!(followed, ["T1", "T3"]);
    assert!(
        view.pointed.iter().any(|line| line.starts_with("May chafe against: W2 in T1")),
        "{:?}",
        view.pointed
    );
    let found: Vec<&str> = rows(&read, "data-found").into_iter().map(|(id, _)| id).collect();
    for id in ["XA", "XB", "XC"] {
        assert_eq!(found.iter().filter(|f| **f == id).count(), 1, "{id}");
    }
}

#[test]
fn a_setup_says_what_is_off_what_is_moved_and_where_the_probes_go() {
    let harness = machine(DIVIDER);
    let on = harness.parts.ids().nth(1).unwrap();
    let setup: Setup = Isolated::at_rest().set(&harness, on, 1).connect().into();
    let [red, black] = ["L1", "B2"].map(|name| harness.point(name).unwrap());
    let probes = Some(Probes { kind: Kind::Voltage, red, black });
    let svg = to_svg(&setup_scene(&setup_of(&harness, &setup, "Phase 2", probes)));
    let read = roxmltree::Document::parse(&svg).unwrap();
    let one =
        |name: &str| rows(&read, name).into_iter().map(|(value, _)| value.to_owned()).collect::<Vec<_>>();
    assert_eq!(
        (one("data-power"), one("data-switch"), one("data-position")),
        (vec!["connected".to_owned()], vec!["S1".to_owned()], vec!["on".to_owned()])
    );
    assert_eq!(
        (one("data-probe"), one("data-point")),
        (vec!["red".to_owned(), "black".to_owned()], vec!["L1".to_owned(), "B2".to_owned()])
    );
}

#[test]
fn every_kind_is_the_same_every_time_and_well_formed() {
    let harness = harness("orchard-sprayer.toml");
    let netlist = Netlist::new(&harness);
    let draw = || {
        let strips = Strips::new(&harness, &netlist);
        let circuits = strips.circuits().into_iter().map(|id| Subject::Circuit(id.to_owned()));
        let mut all: Vec<String> =
            circuits.map(|c| to_svg(&strip_scene(&strips.view(&c, &Highlights::default())))).collect();
        all.push(to_svg(&layout_scene(&layout_of(&harness, &Highlights::default()))));
        all
    };
    let all = draw();
    assert_eq!(all, draw());
    assert!(all.len() > 25, "{}", all.len());
    for svg in all {
        roxmltree::Document::parse(&svg).unwrap();
        assert!(!svg.contains("NaN") && !svg.contains("inf\""));
    }
}

#[test]
fn pin_maps_come_as_drawings_and_as_a_page() {
    let pins = |format: &str| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_ringout"));
        let run =
            command.arg("pins").arg(path("orchard-sprayer.toml")).args(["P1", "--format", format]).output();
        String::from_utf8(run.unwrap().stdout).unwrap()
    };
    assert_eq!(read_back(&pins("svg")).len(), 28);
    let page = pins("html");
    // The signs of contacts, and both sides.
    assert_eq!(page.matches("<svg").count(), 3);
    assert!(page.contains("<td>Pump enable</td>") && page.contains("Content-Security-Policy"));
    // Nothing is fetched: the only address in it is the name of SVG itself.
    assert!(!page.contains("<script") && !page.contains("src=") && !page.contains("href="));
}

#[test]
fn other_drawings_that_make_no_sense_are_refused() {
    for arguments in [
        &["strip"][..],
        &["strip", "no-such"],
        &["strip", "--all"],
        &["layout", "--wire", "no-such"],
        &["setup", "--unplug", "no-such"],
        &["setup", "--red", "P1.K"],
        &["setup", "--red", "P1.K", "--black", "GP2"],
        &["setup", "--power", "connected", "--red", "GP1", "--black", "GP2", "--kind", "continuity"],
    ] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_ringout"));
        let run = command.arg("draw").arg(path("orchard-sprayer.toml")).args(arguments).output().unwrap();
        assert_eq!(run.status.code(), Some(2), "{arguments:?}");
        assert!(run.stdout.is_empty() && !run.stderr.is_empty(), "{arguments:?}");
    }
}

/// `ringout draw` on the sprayer's faces.
fn ringout(arguments: &[&str]) -> std::process::Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_ringout"));
    command.arg("draw").arg(path("orchard-sprayer.toml")).arg("face").args(arguments).output().unwrap()
}

#[test]
fn the_command_draws_to_standard_output_by_itself() {
    let run = ringout(&["P1", "--red", "P1.K", "--black", "P1.B"]);
    assert!(run.status.success());
    let svg = String::from_utf8(run.stdout).unwrap();
    let read = roxmltree::Document::parse(&svg).unwrap();
    let mark = |contact: &str| {
        let group = read.descendants().find(|n| n.attribute("data-contact") == Some(contact)).unwrap();
        group.attribute("data-mark")
    };
    assert_eq!((mark("K"), mark("B"), mark("A")), (Some("red probe"), Some("black probe"), None));
    let face = read.descendants().find(|n| n.attribute("data-side").is_some()).unwrap();
    assert_eq!((face.attribute("data-side"), face.attribute("data-kind")), (Some("mating"), Some("socket")));
}

#[test]
fn both_sides_stand_on_one_sheet() {
    let run = ringout(&["P1", "--side", "both"]);
    let svg = String::from_utf8(run.stdout).unwrap();
    let read = roxmltree::Document::parse(&svg).unwrap();
    let sides: Vec<_> = read.descendants().filter_map(|n| n.attribute("data-side")).collect();
    assert_eq!(sides, ["mating", "wire"]);
    assert_eq!(read_back(&svg).len(), 28);
}

#[test]
fn every_connector_gets_a_file_and_none_is_overwritten_unasked() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("drawings");
    let out = out.to_str().unwrap();
    assert!(ringout(&["--all", "--side", "wire", "--out", out]).status.success());
    let count = harness("orchard-sprayer.toml").connectors.len();
    let files = || std::fs::read_dir(out).unwrap().count();
    assert_eq!(files(), count);
    let p1 = std::path::Path::new(out).join("face-P1-wire.svg");
    std::fs::write(&p1, "mine").unwrap();
    let again = ringout(&["P1", "--side", "wire", "--out", out]);
    assert_eq!(again.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&again.stderr).contains("--force"));
    assert_eq!(std::fs::read(&p1).unwrap(), b"mine");
    assert!(ringout(&["P1", "--side", "wire", "-o", p1.to_str().unwrap(), "--force"]).status.success());
    assert!(std::fs::read(&p1).unwrap().starts_with(b"<svg"));
    assert_eq!(files(), count, "nothing is left beside");
}

#[test]
fn calls_that_make_no_sense_are_refused() {
    for arguments in [
        &["P9"][..],
        &[],
        &["--all"],
        &["P1", "--red", "J1.A"],
        &["P1", "--red", "GP1"],
        &["P1", "--red", "P1.K", "--black", "P1.K"],
        &["P1", "--side", "top"],
    ] {
        let run = ringout(arguments);
        assert_eq!(run.status.code(), Some(2), "{arguments:?}");
        assert!(run.stdout.is_empty() && !run.stderr.is_empty(), "{arguments:?}");
    }
}
