//! The published pin maps under `harnesses/published` against the standards they come from.
//!
//! Every table here was written down from the standard's contact allocation and not from the
//! definition. It is held against the loaded harness, against `ringout pins --format json`, and
//! against what can be read back from the drawn face, from both sides.
//!
//! A row: contact | words of its function | colour | conductor size | further wires in the contact.
//! `-` for a colour or size says that the standard gives none and nothing is checked; `bare` says that
//! the conductor has no colour. What is from memory and was not read in the standard is marked so.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

mod support;

#[path = "support/drawn.rs"]
mod drawn;

use std::collections::BTreeSet;
use std::process::Command;

use drawn::{Drawn, read_back};
use ringout::circuit::{Corner, solve};
use ringout::definition::{ConnectorId, Harness, Point};
use ringout::draw::{Side, face_of, face_scene, to_svg};
use ringout::netlist::Netlist;
use ringout::setup::{Isolated, Setup};
use ringout::units::Ohms;
use support::{harness, path};

/// ISO 1724, contact allocation (12N): functions, core colours, cross-sections.
const ISO_1724: &str = "
    1 | left direction indicator | YE | 1.5 mm2
    2 | rear fog lamp            | BU | 1.5 mm2
    3 | common return            | WH | 2.5 mm2
    4 | right direction          | GN | 1.5 mm2
    5 | right position and plate | BN | 1.5 mm2
    6 | stop lamps               | RD | 1.5 mm2
    7 | left position            | BK | 1.5 mm2";

/// ISO 11446-1:2012, contact allocation: functions, core colours, cross-sections. Contact 3 holds the
/// bridge to 12 as well; colour and size of the bridge are not in the standard.
const ISO_11446: &str = "
    1  | left direction indicator | YE    | 1.5 mm2
    2  | rear fog lamp            | BU    | 1.5 mm2
    3  | return for 1 to 8        | WH    | 2.5 mm2 | 1
    4  | right direction          | GN    | 1.5 mm2
    5  | right position           | BN    | 1.5 mm2
    6  | stop lamps               | RD    | 1.5 mm2
    7  | left position            | BK    | 1.5 mm2
    8  | reversing lamp           | PK    | 1.5 mm2
    9  | permanent supply         | OG    | 2.5 mm2
    10 | switched supply          | GY    | 2.5 mm2
    11 | return for 10            | WH/BK | 2.5 mm2
    12 | trailer coupled          | -     | -
    13 | return for 9             | WH/RD | 2.5 mm2";

/// ISO 1185, contact allocation (24N). From memory, all of it.
const ISO_1185: &str = "
    1 | common return            | WH | 2.5 mm2
    2 | left position            | BK | 1.5 mm2
    3 | left direction indicator | YE | 1.5 mm2
    4 | stop lamps               | RD | 1.5 mm2
    5 | right direction          | GN | 1.5 mm2
    6 | right position           | BN | 1.5 mm2
    7 | trailer brake control    | BU | 1.5 mm2";

/// ISO 12098, contact allocation. From memory: the colours, and which three contacts have the 2.5 mm2
/// cores.
const ISO_12098: &str = "
    1  | left direction indicator | YE    | 1.5 mm2
    2  | right direction          | GN    | 1.5 mm2
    3  | rear fog lamp            | BU    | 1.5 mm2
    4  | common return            | WH    | 2.5 mm2
    5  | left position            | BK    | 1.5 mm2
    6  | right position           | BN    | 1.5 mm2
    7  | stop lamps               | RD    | 1.5 mm2
    8  | reversing lamp           | PK    | 1.5 mm2
    9  | permanent supply         | OG    | 2.5 mm2
    10 | brake lining wear        | GY    | 1.5 mm2
    11 | spring brake applied     | WH/BK | 1.5 mm2
    12 | axle lift                | WH/BU | 1.5 mm2
    13 | return for 14 and 15     | WH/RD | 2.5 mm2
    14 | can high                 | WH/GN | 1.5 mm2
    15 | can low                  | WH/BN | 1.5 mm2";

/// ISO 7638-1, contact allocation; data lines after ISO 11992.
const ISO_7638: &str = "
    1 | permanent supply    | RD    | 4 mm2
    2 | switched supply     | BK    | 1.5 mm2
    3 | return, electronics | YE    | 1.5 mm2
    4 | return, valves      | BN    | 4 mm2
    5 | warning lamp        | WH    | 1.5 mm2
    6 | can high            | WH/GN | 1.5 mm2
    7 | can low             | WH/BN | 1.5 mm2";

/// SAE J560, functions and colours. From memory: which contact has which gauge, and the continuous
/// supply on 7.
const J560: &str = "
    1 | ground return              | WH | 8 AWG
    2 | clearance, side marker     | BK | 12 AWG
    3 | left turn                  | YE | 12 AWG
    4 | stop lamps                 | RD | 10 AWG
    5 | right turn                 | GN | 12 AWG
    6 | tail, clearance            | BN | 12 AWG
    7 | auxiliary                  | BU | 10 AWG";

/// SAE J1939-13, contact allocation; the letter I is skipped. From memory: yellow and green for the
/// data pair, no colour for the shield's drain.
const J1939: &str = "
    A | battery negative     | -    | -
    B | battery positive     | -    | -
    C | can high             | YE   | -
    D | can low              | GN   | -
    E | can shield           | bare | -
    F | j1708 plus           | -    | -
    G | j1708 minus          | -    | -
    H | second bus, can high | -    | -
    J | second bus, can low  | -    | -";

/// EIA/TIA-574, contact allocation of the nine-way connector. A full null modem uses all but the ring
/// indicator; contact 1 shares a wire's contact with 6.
const TIA_574: &str = "
    1 | data carrier detect | - | -
    2 | received data       | - | -
    3 | transmitted data    | - | -
    4 | data terminal ready | - | -
    5 | signal ground       | - | -
    6 | data set ready      | - | - | 1
    7 | request to send     | - | -
    8 | clear to send       | - | -";

/// ANSI/TIA-568, assignment T568A. From memory: 24 AWG.
const T568A: &str = "
    1 | pair 3, white  | WH/GN | 24 AWG
    2 | pair 3, colour | GN    | 24 AWG
    3 | pair 2, white  | WH/OG | 24 AWG
    4 | pair 1, colour | BU    | 24 AWG
    5 | pair 1, white  | WH/BU | 24 AWG
    6 | pair 2, colour | OG    | 24 AWG
    7 | pair 4, white  | WH/BN | 24 AWG
    8 | pair 4, colour | BN    | 24 AWG";

/// ANSI/TIA-568, assignment T568B. From memory: 24 AWG.
const T568B: &str = "
    1 | pair 2, white  | WH/OG | 24 AWG
    2 | pair 2, colour | OG    | 24 AWG
    3 | pair 3, white  | WH/GN | 24 AWG
    4 | pair 1, colour | BU    | 24 AWG
    5 | pair 1, white  | WH/BU | 24 AWG
    6 | pair 3, colour | GN    | 24 AWG
    7 | pair 4, white  | WH/BN | 24 AWG
    8 | pair 4, colour | BN    | 24 AWG";

/// NMEA 2000 allocation on the five-way M12 connector, code A (IEC 61076-2-101). From memory: gauges.
const M12: &str = "
    1 | shield       | bare | 24 AWG
    2 | supply plus  | RD   | 22 AWG
    3 | supply minus | BK   | 22 AWG
    4 | data high    | WH   | 24 AWG
    5 | data low     | BU   | 24 AWG";

/// Which table holds for which connector of which definition.
const MAPS: &[(&str, &str, &str)] = &[
    ("trailer-7-pin-iso1724", "XT1", ISO_1724),
    ("trailer-13-pin-iso11446", "XT1", ISO_11446),
    ("trailer-7-pin-iso1185", "XA", ISO_1185),
    ("trailer-7-pin-iso1185", "XB", ISO_1185),
    ("trailer-15-pin-iso12098", "XA", ISO_12098),
    ("trailer-15-pin-iso12098", "XB", ISO_12098),
    ("abs-iso7638", "XA", ISO_7638),
    ("abs-iso7638", "XB", ISO_7638),
    ("trailer-j560", "XA", J560),
    ("trailer-j560", "XB", J560),
    ("diagnostic-9-pin-j1939", "XD1", J1939),
    ("null-modem", "XA", TIA_574),
    ("null-modem", "XB", TIA_574),
    ("patch-lead-t568a", "XA", T568A),
    ("patch-lead-t568a", "XB", T568A),
    ("patch-lead-t568b", "XA", T568B),
    ("patch-lead-t568b", "XB", T568B),
    ("crossover-lead-t568", "XA", T568A),
    ("m12-backbone", "XA", M12),
    ("m12-backbone", "XB", M12),
    ("m12-backbone", "XD1", M12),
    ("m12-backbone", "XD2", M12),
];

/// One row of a table.
#[derive(Debug, Clone, Copy)]
struct Row {
    contact: &'static str,
    function: &'static str,
    /// `None`: nothing published.
    colour: Option<&'static str>,
    gauge: Option<&'static str>,
    /// How many wires the contact holds.
    wires: usize,
}

fn rows(table: &'static str) -> Vec<Row> {
    let row = |line: &'static str| {
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        let given = |text: &'static str| (text != "-").then_some(if text == "bare" { "" } else { text });
        Row {
            contact: cells[0],
            function: cells[1],
            colour: given(cells[2]),
            gauge: given(cells[3]),
            wires: 1 + cells.get(4).map_or(0, |n| n.parse().unwrap()),
        }
    };
    table.lines().filter(|l| !l.trim().is_empty()).map(row).collect()
}

/// A contact as some output of ours tells it.
#[derive(Debug)]
struct Told {
    contact: String,
    signal: Option<String>,
    /// Colour and size of each wire.
    wires: Vec<(String, String)>,
}

/// Holds what we tell against the standard.
fn hold(told: &[Told], table: &'static str, what: &str) {
    let rows = rows(table);
    for row in &rows {
        let contact = told.iter().filter(|t| t.contact == row.contact).collect::<Vec<_>>();
        assert_eq!(contact.len(), 1, "{what}: contact {}", row.contact);
        let contact = contact[0];
        assert_eq!(contact.wires.len(), row.wires, "{what}: {contact:?}");
        let fits = |(colour, gauge): &(String, String)| {
            row.colour.is_none_or(|c| c == colour) && row.gauge.is_none_or(|g| g == gauge)
        };
        assert!(contact.wires.iter().any(fits), "{what}: {contact:?} is not {row:?}");
    }
    // The standard's contacts and no others carry wires.
    let wired: BTreeSet<&str> =
        told.iter().filter(|t| !t.wires.is_empty()).map(|t| t.contact.as_str()).collect();
    assert_eq!(wired, rows.iter().map(|r| r.contact).collect(), "{what}");
}

/// Holds what each contact is said to be for against the standard: the words stand there, and at no
/// other contact.
fn hold_functions(told: &[Told], table: &'static str, what: &str) {
    for row in rows(table) {
        let says = |t: &&Told| t.signal.as_ref().is_some_and(|s| s.to_lowercase().starts_with(row.function));
        let found: Vec<&str> = told.iter().filter(says).map(|t| t.contact.as_str()).collect();
        assert_eq!(found, [row.contact], "{what}: {}", row.function);
    }
}

fn file(name: &str) -> String {
    format!("published/{name}.toml")
}

fn connector(harness: &Harness, name: &str) -> ConnectorId {
    harness.names.connector(name).unwrap()
}

fn loaded(harness: &Harness, connector: ConnectorId) -> Vec<Told> {
    let told = |id| {
        let wires = harness.wires_at(Point::Contact(id)).map(|wire| {
            let wire = &harness.wires[wire];
            let colour = wire.colour.as_ref().map_or(String::new(), ToString::to_string);
            (colour, wire.gauge.map_or(String::new(), |g| g.to_string()))
        });
        let contact = &harness.contacts[id];
        Told { contact: contact.name.clone(), signal: contact.signal.clone(), wires: wires.collect() }
    };
    harness.contacts_of(connector).map(told).collect()
}

#[test]
fn the_definitions_say_what_the_standards_say() {
    for &(name, plug, table) in MAPS {
        let harness = harness(&file(name));
        let told = loaded(&harness, connector(&harness, plug));
        hold(&told, table, name);
        hold_functions(&told, table, name);
    }
}

#[test]
fn the_command_prints_what_the_standards_say() {
    for &(name, plug, table) in MAPS {
        let run = Command::new(env!("CARGO_BIN_EXE_ringout"))
            .arg("pins")
            .arg(path(&file(name)))
            .args([plug, "--format", "json"])
            .output()
            .unwrap();
        assert!(run.status.success(), "{name}: {}", String::from_utf8_lossy(&run.stderr));
        let read: serde_json::Value = serde_json::from_slice(&run.stdout).unwrap();
        let connectors = read["connectors"].as_array().unwrap();
        assert_eq!(connectors.len(), 1);
        let told: Vec<Told> = connectors[0]["pins"].as_array().unwrap().iter().map(printed).collect();
        hold(&told, table, name);
        hold_functions(&told, table, name);
    }
}

fn printed(pin: &serde_json::Value) -> Told {
    let text = |value: &serde_json::Value| value.as_str().unwrap_or_default().to_owned();
    let wires = pin["wires"].as_array().unwrap().iter().map(|w| (text(&w["colour"]), text(&w["gauge"])));
    Told {
        contact: text(&pin["contact"]),
        signal: pin["signal"].as_str().map(str::to_owned),
        wires: wires.collect(),
    }
}

fn drawing(harness: &Harness, plug: &str, side: Side) -> Vec<Drawn> {
    read_back(&to_svg(&face_scene(&face_of(harness, connector(harness, plug), side, &[]))))
}

fn drawn(contacts: &[Drawn]) -> Vec<Told> {
    let told = |c: &Drawn| {
        let wires = c.colours.iter().cloned().zip(c.gauges.iter().cloned());
        Told { contact: c.contact.clone(), signal: None, wires: wires.collect() }
    };
    contacts.iter().map(told).collect()
}

#[test]
fn the_drawings_show_what_the_standards_say_from_both_sides() {
    for &(name, plug, table) in MAPS {
        let harness = harness(&file(name));
        let sides = [Side::Mating, Side::Wire].map(|side| drawing(&harness, plug, side));
        for side in &sides {
            hold(&drawn(side), table, name);
        }
        let what = format!("{name} {plug}");
        mirrored(&sides[0], &sides[1], &what);
    }
}

/// The wire side is the mating side's mirror image: x turns round, y stays, on one scale of its own.
fn mirrored(mating: &[Drawn], wire: &[Drawn], what: &str) {
    let spread = |side: &[Drawn]| {
        let far = |c: &Drawn| (c.x - side[0].x).hypot(c.y - side[0].y);
        side.iter().map(far).fold(0.0, f64::max)
    };
    let scale = spread(wire) / spread(mating);
    let mut across: f64 = 0.0;
    for (a, b) in mating.iter().zip(wire) {
        assert_eq!(a.contact, b.contact, "{what}");
        let (x, y) = (a.x - mating[0].x, a.y - mating[0].y);
        let off = (b.x - wire[0].x + x * scale).hypot(b.y - wire[0].y - y * scale);
        assert!(off < 0.1, "{what} {}: {off}", a.contact);
        across = across.max(x.abs());
    }
    assert!(across > 10.0, "{what}: nothing to mirror");
}

/// Which way round a face is numbered. From memory, common practice: a nine-way shell with sockets
/// (IEC 60807-2) shows 1 at the right of its wide row from the front, that with pins at the left; an
/// eight-way plug (IEC 60603-7) with its latch up shows 1 at the left from the front.
#[test]
fn faces_are_numbered_from_the_right_end() {
    let shell = harness("published/null-modem.toml");
    let x = |side: &[Drawn], name: &str| side.iter().find(|c| c.contact == name).unwrap().x;
    let front = drawing(&shell, "XA", Side::Mating);
    assert!(x(&front, "1") > x(&front, "5"));
    let back = drawing(&shell, "XA", Side::Wire);
    assert!(x(&back, "1") < x(&back, "5"));
    let plug = harness("published/patch-lead-t568b.toml");
    let front = drawing(&plug, "XA", Side::Mating);
    assert!(x(&front, "1") < x(&front, "8"));
}

/// A lead has its cores in the same contacts at both ends, unless it is a crossover: the tables say
/// what is where, this says what is joined.
fn joined(harness: &Harness, from: &str, to: &str) -> BTreeSet<(String, String)> {
    let netlist = Netlist::new(harness);
    let setup = Setup::from(Isolated::at_rest());
    let nets = netlist.groups(|link| setup.joins(&netlist, link));
    let net = |id| nets.of(harness.point_index(Point::Contact(id)));
    let name = |id| harness.contacts[id].name.clone();
    let mut pairs = BTreeSet::new();
    for a in harness.contacts_of(connector(harness, from)) {
        for b in harness.contacts_of(connector(harness, to)) {
            if a != b && net(a) == net(b) {
                pairs.insert((name(a), name(b)));
            }
        }
    }
    pairs
}

fn pairs(list: &str) -> BTreeSet<(String, String)> {
    let pair = |text: &str| text.split_once('-').map(|(a, b)| (a.to_owned(), b.to_owned())).unwrap();
    list.split_whitespace().map(pair).collect()
}

/// The full null modem on EIA/TIA-574 connectors: 2-3, 3-2, 4-6, 5-5, 6-4, 7-8, 8-7, and the link of 1
/// to its own end's 6, which therefore meets the far 4 as well.
#[test]
fn the_null_modem_crosses_as_published() {
    let lead = harness("published/null-modem.toml");
    assert_eq!(joined(&lead, "XA", "XB"), pairs("1-4 2-3 3-2 4-1 4-6 5-5 6-4 7-8 8-7"));
    for end in ["XA", "XB"] {
        assert_eq!(joined(&lead, end, end), pairs("1-6 6-1"));
    }
}

/// ANSI/TIA-568: T568A at one end and T568B at the other gives 1-3, 2-6, 3-1, 6-2, the rest straight;
/// the same assignment at both ends is straight.
#[test]
fn patch_leads_are_straight_and_the_crossover_crosses() {
    let crossed = harness("published/crossover-lead-t568.toml");
    assert_eq!(joined(&crossed, "XA", "XB"), pairs("1-3 2-6 3-1 4-4 5-5 6-2 7-7 8-8"));
    let far = loaded(&crossed, connector(&crossed, "XB"));
    hold_functions(&far, T568B, "far end of the crossover");
    // Each core keeps its colour on the way, so the far end reads as T568B in colours too.
    hold(&far, T568B, "far end of the crossover");
    for name in ["patch-lead-t568a", "patch-lead-t568b"] {
        let lead = harness(&file(name));
        assert_eq!(joined(&lead, "XA", "XB"), pairs("1-1 2-2 3-3 4-4 5-5 6-6 7-7 8-8"), "{name}");
    }
}

/// ANSI/TIA-568: the two cores of a pair are twisted together (a split pair passes every reading).
#[test]
fn pairs_are_twisted_together() {
    for (name, pairs) in [
        ("patch-lead-t568a", ["1 2", "3 6", "4 5", "7 8"]),
        ("patch-lead-t568b", ["1 2", "3 6", "4 5", "7 8"]),
        ("crossover-lead-t568", ["1 2", "3 6", "4 5", "7 8"]),
    ] {
        let lead = harness(&file(name));
        let twist = |contact: &str| {
            let point = lead.point(&format!("XA.{contact}")).unwrap();
            let wire = lead.wires_at(point).next().unwrap();
            lead.wires[wire].twisted.clone().unwrap()
        };
        let marks: BTreeSet<String> = pairs.iter().map(|pair| twist(&pair[..1])).collect();
        assert_eq!(marks.len(), 4, "{name}");
        for pair in pairs {
            assert_eq!(twist(&pair[..1]), twist(&pair[2..]), "{name} {pair}");
        }
    }
}

/// The leads for heavy trailers join each contact to its like (ISO 1185, ISO 12098, ISO 7638-1, SAE
/// J560: one allocation for both ends).
#[test]
fn trailer_leads_are_straight() {
    for name in ["trailer-7-pin-iso1185", "trailer-15-pin-iso12098", "abs-iso7638", "trailer-j560"] {
        let lead = harness(&file(name));
        let straight = |id| (lead.contacts[id].name.clone(), lead.contacts[id].name.clone());
        let expected: BTreeSet<_> = lead.contacts_of(connector(&lead, "XA")).map(straight).collect();
        assert_eq!(joined(&lead, "XA", "XB"), expected, "{name}");
    }
}

/// The resistance between two points with power isolated, as an ohmmeter would see it.
fn ohms(harness: &Harness, setup: Isolated, a: &str, b: &str) -> Option<f64> {
    let netlist = Netlist::new(harness);
    let solved = solve(harness, &netlist, &setup.into(), &[], Corner::Nominal).unwrap();
    let node = |name: &str| harness.point_index(harness.point(name).unwrap());
    solved.resistance(node(a), node(b)).map(Ohms::get)
}

/// ISO 11446-1: returns 3, 11 and 13 shall not be connected together in the trailer, and 12 is bridged
/// to 3 in the trailer's plug. A plate lamp must not be common to 5 and 7.
#[test]
fn the_thirteen_pin_trailer_keeps_its_returns_apart() {
    let trailer = harness("published/trailer-13-pin-iso11446.toml");
    assert_eq!(joined(&trailer, "XT1", "XT1"), pairs("3-12 12-3"));
    for (a, b) in [("XT1.3", "XT1.11"), ("XT1.3", "XT1.13"), ("XT1.11", "XT1.13")] {
        assert_eq!(ohms(&trailer, Isolated::at_rest(), a, b), None, "{a} {b}: not even through a load");
    }
    let plate = joined(&trailer, "XT1", "XP1");
    assert!(plate.contains(&("5".to_owned(), "1".to_owned())), "{plate:?}");
    assert!(!plate.iter().any(|(plug, _)| plug == "7"), "{plate:?}");
    let bridge = ohms(&trailer, Isolated::at_rest(), "XT1.12", "XT1.3").unwrap();
    assert!(bridge > 0.0 && bridge < 0.1, "{bridge}");
}

/// ISO 1724: one return for all lamps.
#[test]
fn the_seven_pin_trailer_returns_on_three() {
    let trailer = harness("published/trailer-7-pin-iso1724.toml");
    for lamp in ["XL1.G", "XR1.G", "XP1.2"] {
        let back = ohms(&trailer, Isolated::at_rest(), "XT1.3", lamp).unwrap();
        assert!(back < 0.5, "{lamp}: {back}");
    }
    assert!(joined(&trailer, "XT1", "XT1").is_empty());
}

/// Common practice: two terminators of 120 ohm read 60 ohm between NET-H and NET-L with the power off,
/// one alone 120 ohm; the cable's own resistance comes on top (25 m of 24 AWG, two cores: about 2 ohm
/// each way).
#[test]
fn the_backbone_reads_sixty_ohm_with_both_terminators() {
    let backbone = harness("published/m12-backbone.toml");
    let mating = |name: &str| backbone.connectors[connector(&backbone, name)].mating.unwrap();
    let read = |setup| ohms(&backbone, setup, "XD1.4", "XD1.5").unwrap();
    let both = read(Isolated::at_rest());
    assert!((60.0..63.0).contains(&both), "{both}");
    for end in ["XA", "XB"] {
        let one = read(Isolated::at_rest().part(mating(end)));
        assert!((120.0..125.0).contains(&one), "{end} off: {one}");
    }
    let none = ohms(&backbone, Isolated::at_rest().part(mating("XA")).part(mating("XB")), "XD1.4", "XD1.5");
    assert_eq!(none, None);
    // The drops hang on the backbone: every connector sees the same nets. Shield (1) and supply minus
    // (3) meet at the one place where both are grounded (common practice).
    for far in ["XB", "XD1", "XD2"] {
        assert_eq!(joined(&backbone, "XA", far), pairs("1-1 1-3 2-2 3-1 3-3 4-4 5-5"), "{far}");
    }
}

#[test]
fn every_published_file_is_held_to_its_standard() {
    let folder = std::fs::read_dir(path("published")).unwrap();
    let stems = folder.map(|e| e.unwrap().path().file_stem().unwrap().to_string_lossy().into_owned());
    let held: BTreeSet<String> = MAPS.iter().map(|m| m.0.to_owned()).collect();
    assert_eq!(stems.collect::<BTreeSet<_>>(), held);
}
