//! Drawings as a real browser sees them.
//!
//! Every kind of drawing of every definition in this repository and of 200 made machines: no text box
//! covers another or leaves the sheet, letters stand out from what lies under them (WCAG 2.1, success
//! criterion 1.4.3: at least 4.5 to 1) in light, dark and print, hostile names stay text, and the
//! published pin maps are read back from where the browser puts the contacts.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

mod support;

#[path = "support/chromium.rs"]
mod chromium;
#[path = "support/machine.rs"]
mod machine;

use std::collections::BTreeMap;

use chromium::{Asked, Found, Measured, look_at};
use ringout::definition::{Harness, Id, Kind, Point, WireId, load};
use ringout::draw::{
    Anchor, Area, Highlights, Item, Mark, Probes, Scene, Share, Side, StripOptions, Strips, Subject, Text,
    Weight, face_of, face_scene, layout_of, layout_scene, setup_of, setup_scene, strip_scene, text_width,
    to_svg,
};
use ringout::netlist::{Element, Netlist};
use ringout::setup::{Connected, Isolated, Setup};
use support::{harness, path};

/// How many drawings of one sort are made of a machine.
struct Most {
    faces: usize,
    strips: usize,
}

fn definitions() -> Vec<(String, Harness)> {
    let folder = std::fs::read_dir(path("published")).unwrap();
    let name = |e: std::io::Result<std::fs::DirEntry>| e.unwrap().file_name().to_string_lossy().into_owned();
    let mut names: Vec<String> = folder.map(|e| format!("published/{}", name(e))).collect();
    names.sort();
    names.extend(["orchard-sprayer.toml", "umbilical-25.toml"].map(str::to_owned));
    names.into_iter().map(|name| (name.clone(), harness(&name))).collect()
}

/// Probes, results and suspects spread over a machine, and some wires to follow.
fn busy(harness: &Harness, seed: usize) -> Highlights {
    let marks = [Mark::RedProbe, Mark::Good, Mark::Bad, Mark::NotYet, Mark::BlackProbe];
    let points = harness.points().enumerate().filter(|(nth, _)| (nth + seed).is_multiple_of(3));
    let points = points.map(|(nth, point)| (point, marks[(nth / 3) % marks.len()])).collect();
    let wires = harness.wires.ids().filter(|id| (id.index() + seed).is_multiple_of(4));
    let suspects = wires.flat_map(|id| {
        let share = |n: usize| Share::of([0.004, 0.07, 0.36, 0.62, 1.0][(id.index() + n) % 5]);
        [(Element::Wire(id), share(0)), (Element::Termination(id, 0), share(1))]
    });
    Highlights {
        points,
        suspects: suspects.collect(),
        wires: harness.wires.ids().filter(|id| (id.index() + seed) % 9 == 1).take(3).collect(),
        distances: Vec::new(),
    }
}

/// A setup with something of everything.
fn a_setup(harness: &Harness, seed: usize) -> Setup {
    let mut setup = Isolated::at_rest();
    for (mating, _) in harness.matings.iter().filter(|(id, _)| (id.index() + seed).is_multiple_of(2)) {
        setup = setup.part(mating);
    }
    for (switch, count, _) in ringout::setup::switches(harness) {
        setup = setup.set(harness, switch, (switch.index() + seed) % count.max(1));
    }
    if seed.is_multiple_of(2) {
        return setup.into();
    }
    harness.conditions.ids().fold(setup.connect(), Connected::bring).into()
}

/// Drawings of one machine, with what each is called.
fn drawings(name: &str, harness: &Harness, seed: usize, most: &Most) -> Vec<(String, Scene)> {
    let netlist = Netlist::new(harness);
    let plain = Highlights::default();
    let busy = busy(harness, seed);
    let mut made = Vec::new();
    for (nth, id) in harness.connectors.ids().take(most.faces).enumerate() {
        for (side, points_out) in [(Side::Mating, &plain), (Side::Wire, &busy)] {
            if most.faces > 3 || (nth + seed).is_multiple_of(2) == (side == Side::Wire) {
                let what = format!("{name} face {} {side:?}", harness.connectors[id].id);
                made.push((what, face_scene(&face_of(harness, id, side, &points_out.at_contacts(harness)))));
            }
        }
    }
    let strips = Strips::new(harness, &netlist);
    let circuits = strips.circuits().into_iter().map(|id| Subject::Circuit(id.to_owned()));
    let parts = harness.parts.ids().map(Subject::Part);
    for (nth, subject) in circuits.chain(parts).step_by(1 + seed % 3).take(most.strips).enumerate() {
        let points_out = if nth % 2 == 0 { &busy } else { &plain };
        let view = strips.view_with(&subject, points_out, StripOptions { short: nth % 3 == 1 });
        made.push((format!("{name} strip {subject:?}"), strip_scene(&view)));
    }
    for (what, points_out) in [("layout", &plain), ("busy layout", &busy)] {
        made.push((format!("{name} {what}"), layout_scene(&layout_of(harness, points_out))));
    }
    let setup = a_setup(harness, seed);
    let points: Vec<Point> = harness.points().take(40).collect();
    let kind = if seed.is_multiple_of(2) { Kind::Continuity } else { Kind::Voltage };
    let (red, black) = (points[seed % points.len()], points[(seed + 1) % points.len()]);
    let probes = Some(Probes { kind, red, black });
    made.push((format!("{name} setup"), setup_scene(&setup_of(harness, &setup, "Phase 3", probes))));
    made
}

fn asked(made: Vec<(String, Scene)>) -> Vec<Asked> {
    made.into_iter().map(|(name, scene)| Asked { name, scene, places: false }).collect()
}

/// Fails with what is wrong, the commonest kinds first.
fn hold(found: &Found) {
    let width = text_width("Ringout 0123", 1000.0, Weight::Regular);
    assert!((found.probe - width).abs() < 10.0, "the browser lacks DejaVu Sans: {} for {width}", found.probe);
    assert!(!found.ran, "a drawing ran a script");
    let mut wrong = Vec::new();
    for drawing in &found.drawings {
        let name = &drawing.name;
        wrong.extend(drawing.overlaps.iter().take(4).map(|[a, b]| format!("{name}: `{a}` covers `{b}`")));
        wrong.extend(drawing.outside.iter().take(4).map(|text| format!("{name}: `{text}` leaves the sheet")));
        wrong.extend(drawing.strange.iter().take(4).map(|text| format!("{name}: holds {text}")));
        assert_eq!(drawing.contrast.len(), 3, "{name}");
        for ((contrast, text), look) in drawing.contrast.iter().zip(["light", "dark", "print"]) {
            if *contrast < 4.5 {
                wrong.push(format!("{name}: `{text}` has a contrast of {contrast} in {look}"));
            }
        }
        assert!(drawing.texts > 2, "{name}: nothing was measured");
    }
    // One of each kind of drawing first.
    wrong.sort_by_key(|line| line.contains(" face "));
    assert!(
        wrong.is_empty(),
        "{} things, of which:\n{}",
        wrong.len(),
        wrong[..wrong.len().min(60)].join("\n")
    );
}

/// What the measure is worth: it finds what is planted.
#[test]
fn the_browser_finds_what_is_wrong() {
    let text = |x: f64, text: &str, class: &'static str| {
        Item::Text(Text {
            at: ringout::draw::Point { x, y: 50.0 },
            anchor: Anchor::Start,
            size: 12.0,
            weight: Weight::Regular,
            class,
            text: text.to_owned(),
        })
    };
    let paper = || Item::Rect { area: Area::new(0.0, 0.0, 200.0, 100.0), rounding: 0.0, class: "paper" };
    let items = vec![
        paper(),
        text(10.0, "one", "ink"),
        text(20.0, "two", "ink"),
        text(80.0, "pale", "wire-ye"),
        text(180.0, "away", "ink"),
    ];
    let (title, desc) = ("wrong".to_owned(), String::new());
    let scene = Scene { title, desc, width: 200.0, height: 100.0, items };
    let Some(found) = look_at(&[Asked { name: "wrong".to_owned(), scene, places: false }]) else { return };
    let drawing = &found.drawings[0];
    assert_eq!(drawing.overlaps, [["one", "two"]]);
    assert_eq!(drawing.outside, ["away"]);
    let low: Vec<bool> = drawing.contrast.iter().map(|(least, _)| *least < 4.5).collect();
    assert_eq!(low, [true, false, true], "yellow on white and on black: {:?}", drawing.contrast);
}

#[test]
fn the_definitions_of_this_repository_are_drawn_clean() {
    let most = Most { faces: usize::MAX, strips: usize::MAX };
    let made: Vec<_> =
        definitions().iter().flat_map(|(name, harness)| drawings(name, harness, 1, &most)).collect();
    let count = made.len();
    assert!(count > 350, "{count}");
    let Some(found) = look_at(&asked(made)) else { return };
    assert_eq!(found.drawings.len(), count);
    hold(&found);
}

#[test]
fn two_hundred_made_machines_are_drawn_clean() {
    let most = Most { faces: 2, strips: 2 };
    let each = |seed: usize| {
        let made = machine::made(seed as u64, 4 + (seed * 7) % 60);
        drawings(&format!("seed {seed}"), &made, seed, &most)
    };
    let made: Vec<_> = (0..200).flat_map(each).collect();
    let kinds = ["face", "strip", "layout", "setup"];
    for kind in kinds {
        let count = made.iter().filter(|(name, _)| name.contains(kind)).count();
        assert!(count >= 150, "{kind}: {count}");
    }
    let Some(found) = look_at(&asked(made)) else { return };
    hold(&found);
}

/// Names that try to be something else: markup, quotes, control and direction marks, endless titles.
fn hostile() -> Harness {
    let tricks = [
        "</text><script>window.pwned=1</script>",
        "<img src=x onerror=window.pwned=1>",
        "\\\" onload=\\\"window.pwned=1\\\" x=\\\"",
        "]]>--><!-- &lt;script&gt;",
        "abc\\u202Edcba\\u2066x\\u200Fy\\u0007\\u001B[31m",
        "</style></template></svg><script>window.pwned=1</script>",
    ];
    let long = "wide ".repeat(2000) + &"W".repeat(5000);
    let mut text = format!(
        "format = 1\n[harness]\nid = \"H-1\"\ntitle = \"{}{long}\"\nrevision = \"A\"\n[station.s1]\ntitle = \"{}\"\n\
         [station.s2]\ntitle = \"{long}\"\n[trunk.T1]\nbetween = [\"s1\", \"s2\"]\nlength = \"2 m\"\n\
         [terminal.BT1]\ntitle = \"{}\"\nstation = \"s1\"\n[terminal.BT2]\nground = true\nstation = \"s1\"\n\
         [part.BAT1]\nkind = \"battery\"\nvolts = \"12 V\"\ninternal = \"10 mohm\"\nplus = \"BT1\"\nminus = \"BT2\"\n\
         title = \"{}\"\n[condition.c]\ntitle = \"{}\"\n",
        tricks[0], tricks[1], tricks[2], tricks[3], tricks[4],
    );
    for (nth, trick) in tricks.iter().enumerate() {
        text.push_str(&format!(
            "[connector.P{nth}]\ntitle = \"{trick}\"\nstation = \"s2\"\nface = \"rect-4\"\nmate = \"J{nth}\"\n\
             [connector.P{nth}.pin.1]\nsignal = \"{trick}\"\n[connector.P{nth}.pin.2]\nsignal = \"{long}\"\n\
             [connector.J{nth}]\nface = \"rect-4\"\nstation = \"s2\"\ntitle = \"{long}\"\n\
             [[wire]]\nid = \"{nth}A\"\nfrom = \"BT1\"\nto = \"P{nth}.1\"\ncircuit = \"{trick}\"\nlength = \"2 m\"\n\
             [[wire]]\nid = \"{nth}B\"\nfrom = \"P{nth}.2\"\nto = \"BT2\"\ncircuit = \"{trick}\"\n\
             [part.M{nth}]\nkind = \"motor\"\nbetween = [\"J{nth}.1\", \"J{nth}.2\"]\nohms = \"3 ohm\"\ntitle = \"{trick}\"\n"
        ));
    }
    match load("hostile.toml", text, None, &mut |_| Err("no files".to_owned())) {
        Ok(loaded) => loaded.harness,
        Err(rejected) => panic!("{:?}", rejected.diagnostics.iter().map(|d| &d.message).collect::<Vec<_>>()),
    }
}

#[test]
fn hostile_names_stay_text() {
    let harness = hostile();
    let mut made = drawings("hostile", &harness, 1, &Most { faces: usize::MAX, strips: usize::MAX });
    made.extend(drawings("hostile again", &harness, 2, &Most { faces: 1, strips: 9 }));
    for (name, scene) in &made {
        assert!(scene.width < 4000.0 && scene.height < 9000.0, "{name}: {} by {}", scene.width, scene.height);
    }
    let Some(found) = look_at(&asked(made)) else { return };
    hold(&found);
    let said: String = found.drawings.iter().map(|drawing| drawing.said.as_str()).collect();
    // It is there to be read, and what cannot be read is gone.
    for text in ["<script>window.pwned=1</script>", "\" onload=\"window.pwned=1\" x=\"", "abcdcbaxy[31m"] {
        assert!(said.contains(text), "{text} is not shown");
    }
    let hidden = |c: char| {
        (c.is_control() && c != '\n')
            || matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}')
    };
    assert!(!said.contains(hidden));
}

/// Where the browser puts each contact, from a drawing's name.
fn places(found: &Found, name: &str) -> BTreeMap<String, (f64, f64)> {
    let drawing: &Measured = found.drawings.iter().find(|drawing| drawing.name == name).unwrap();
    drawing.places.iter().map(|(contact, x, y)| (contact.clone(), (*x, *y))).collect()
}

/// A published arrangement: definition, connector, whether it is the half whose mating side is shown in the
/// source, and its contacts in rows from the upper left of that side.
type Rows = (&'static str, &'static str, &'static [&'static [&'static str]]);

/// Rows of contacts on the mating side of the connector named, left to right, from the top down:
/// EIA/TIA-574 (nine contacts, five over four; a socket half counts from the right), IEC 60603-7 (eight
/// in a row; from memory).
const ROWS: [Rows; 3] = [
    ("published/null-modem.toml", "XA", &[&["5", "4", "3", "2", "1"], &["9", "8", "7", "6"]]),
    ("published/patch-lead-t568a.toml", "XA", &[&["1", "2", "3", "4", "5", "6", "7", "8"]]),
    ("published/patch-lead-t568b.toml", "XA", &[&["1", "2", "3", "4", "5", "6", "7", "8"]]),
];

/// Trailer connectors with the contacts that stand on a ring, in order around it (ISO 1724 and ISO 1185: 1
/// to 6 around 7).
const RINGS: [(&str, &[&str]); 2] = [
    ("published/trailer-7-pin-iso1724.toml", &["1", "2", "3", "4", "5", "6"]),
    ("published/trailer-7-pin-iso1185.toml", &["1", "2", "3", "4", "5", "6"]),
];

const SIDES: [Side; 2] = [Side::Mating, Side::Wire];

fn faces(file: &str, connector: Option<&str>) -> Vec<Asked> {
    let harness = harness(file);
    let mut all = Vec::new();
    for (id, own) in harness.connectors.iter().filter(|(_, own)| connector.is_none_or(|c| own.id == c)) {
        for side in SIDES {
            let scene = face_scene(&face_of(&harness, id, side, &[]));
            let name = format!("{file} {} {side:?}", own.id);
            all.push(Asked { name, scene, places: true });
        }
    }
    all
}

#[test]
fn published_arrangements_are_read_back_from_both_sides() {
    let mut all: Vec<Asked> =
        ROWS.iter().flat_map(|(file, connector, _)| faces(file, Some(connector))).collect();
    all.extend(RINGS.iter().flat_map(|(file, _)| faces(file, None)));
    let Some(found) = look_at(&all) else { return };
    for (file, connector, rows) in ROWS {
        let half = harness(file).connectors.values().find(|c| c.id == connector).unwrap().half;
        for side in SIDES {
            let at = places(&found, &format!("{file} {connector} {side:?}"));
            assert_eq!(at.len(), rows.iter().map(|row| row.len()).sum::<usize>(), "{file}");
            let mut above = f64::NEG_INFINITY;
            for row in rows {
                let mut read: Vec<&str> = row.to_vec();
                read.sort_by(|a, b| at[*a].0.total_cmp(&at[*b].0));
                let mut expected: Vec<&str> = row.to_vec();
                if side == Side::Wire {
                    expected.reverse();
                }
                assert_eq!(read, expected, "{file} {connector} {half:?} {side:?}");
                assert!(row.iter().all(|name| at[*name].1 > above), "{file} {side:?}: rows exchanged");
                above = row.iter().map(|name| at[*name].1).fold(above, f64::max);
            }
        }
    }
    for (file, ring) in RINGS {
        for own in harness(file).connectors.values().filter(|c| c.face.is_some()) {
            let turns = SIDES.map(|side| turn(&places(&found, &format!("{file} {} {side:?}", own.id)), ring));
            assert!(turns[0] * turns[1] < 0.0, "{file} {}: {turns:?}", own.id);
            assert!(
                turns.iter().all(|turn| (turn.abs() - 360.0).abs() < 1.0),
                "{file} {}: {turns:?}",
                own.id
            );
        }
    }
}

/// How far one turns, in degrees, going around the ring in order: once around, one way or the other.
fn turn(at: &BTreeMap<String, (f64, f64)>, ring: &[&str]) -> f64 {
    let count = ring.len() as f64;
    let middle =
        ring.iter().fold((0.0, 0.0), |m, name| (m.0 + at[*name].0 / count, m.1 + at[*name].1 / count));
    let angle = |name: &str| (at[name].1 - middle.1).atan2(at[name].0 - middle.0).to_degrees();
    let steps = (0..ring.len()).map(|n| angle(ring[(n + 1) % ring.len()]) - angle(ring[n]));
    steps.map(|step| (step + 180.0).rem_euclid(360.0) - 180.0).sum()
}

/// The ends of every wire's own strip, by the data in it.
fn joined(file: &str) -> Vec<[String; 2]> {
    let harness = harness(file);
    let netlist = Netlist::new(&harness);
    let strips = Strips::new(&harness, &netlist);
    let mut pairs = Vec::new();
    let mut circuits: Vec<(&str, WireId)> = Vec::new();
    for (id, wire) in harness.wires.iter() {
        let circuit = wire.circuit.as_deref().unwrap();
        if !circuits.iter().any(|(known, _)| *known == circuit) {
            circuits.push((circuit, id));
        }
    }
    for (circuit, _) in circuits {
        let svg =
            to_svg(&strip_scene(&strips.view(&Subject::Circuit(circuit.to_owned()), &Highlights::default())));
        let read = roxmltree::Document::parse(&svg).unwrap();
        let places: Vec<&str> = read.descendants().filter_map(|n| n.attribute("data-place")).collect();
        pairs.push([places.first().unwrap(), places.last().unwrap()].map(|name| (*name).to_owned()));
    }
    pairs
}

/// ANSI/TIA-568: a lead with the same assignment at both ends is straight; T568A to T568B gives 1-3, 2-6,
/// 3-1, 6-2. EIA/TIA-574 full null modem: 2-3, 3-2, 5-5, 7-8, 8-7 (4 and 6 meet through the link at 1).
#[test]
fn strips_of_published_leads_join_what_is_published() {
    let straight = ["1-1", "2-2", "3-3", "4-4", "5-5", "6-6", "7-7", "8-8"];
    for (file, expected) in [
        ("published/patch-lead-t568a.toml", &straight[..]),
        ("published/patch-lead-t568b.toml", &straight[..]),
        ("published/crossover-lead-t568.toml", &["1-3", "2-6", "3-1", "4-4", "5-5", "6-2", "7-7", "8-8"]),
        ("published/null-modem.toml", &["2-3", "3-2", "5-5", "7-8", "8-7"]),
    ] {
        let pairs = joined(file);
        let short: Vec<String> = pairs
            .iter()
            .map(|pair| pair.each_ref().map(|name| name.split('.').nth(1).unwrap_or("").to_owned()).join("-"))
            .collect();
        for pair in expected {
            assert!(short.iter().any(|s| s == pair), "{file}: {pair} is not among {short:?}");
        }
    }
}
