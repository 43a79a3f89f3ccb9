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
use ringout::definition::{Half, Harness, Point};
use ringout::draw::{Item, Scene, Side, face_of, face_scene, to_svg};
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
