//! Contact counts, names and order of the built-in faces against published arrangements.
//!
//! The 38999 values: MIL-STD-1560 insert arrangements as printed in a MIL-DTL-38999 Series III
//! catalogue. The expected names are written here as letter ranges, the way the catalogue's
//! drawings read, and not as the lists the crate holds.

use ringout::definition::face::{Face, Fidelity, Key, builtin, builtin_names};

/// MIL-STD-1560: arrangement, contacts, names.
const INSERTS: [(&str, usize, &str); 31] = [
    ("9-35", 6, "1-6"),
    ("9-98", 3, "A-C"),
    ("11-2", 2, "A-B"),
    ("11-35", 13, "1-13"),
    ("11-98", 6, "A-F"),
    ("11-99", 7, "A-G"),
    ("13-4", 4, "A-D"),
    ("13-8", 8, "A-H"),
    ("13-35", 22, "1-22"),
    ("13-98", 10, "A-H J-K"),
    ("15-5", 5, "A-E"),
    ("15-15", 15, "A-H J-N P R"),
    ("15-18", 18, "A-H J-N P R-U"),
    ("15-19", 19, "A-H J-N P R-V"),
    ("15-35", 37, "1-37"),
    ("15-97", 12, "A-H J-M"),
    ("17-6", 6, "A-F"),
    ("17-8", 8, "A-H"),
    ("17-26", 26, "A-H J-N P R-Z a-c"),
    ("17-35", 55, "1-55"),
    ("17-99", 23, "A-H J-N P R-Z"),
    ("19-11", 11, "A-H J-L"),
    ("19-32", 32, "A-H J-N P R-Z a-h j"),
    ("19-35", 66, "1-66"),
    ("21-35", 79, "1-79"),
    ("21-41", 41, "A-H J-N P R-Z a-k m-n p-t"),
    ("23-35", 100, "1-100"),
    ("23-53", 53, "A-H J-N P R-Z a-h k m-n p-z AA-HH"),
    ("23-55", 55, "A-H J-N P R-Z a-k m-n p-z AA-HH"),
    ("25-35", 128, "1-128"),
    ("25-61", 61, "A-H J-N P R-Z a-k m-n p-z AA-HH JJ-NN PP"),
];

/// MIL-STD-1560: rings from the outside in, where the printed drawing shows them.
const RINGS: [(&str, &[usize]); 10] = [
    ("9-35", &[5, 1]),
    ("11-35", &[10, 3]),
    ("11-98", &[5, 1]),
    ("11-99", &[6, 1]),
    ("13-35", &[14, 7, 1]),
    ("13-98", &[8, 2]),
    ("15-5", &[5]),
    ("15-19", &[12, 6, 1]),
    ("17-26", &[15, 9, 2]),
    ("19-32", &[17, 11, 4]),
];

fn expand(ranges: &str) -> Vec<String> {
    ranges.split(' ').flat_map(expand_range).collect()
}

fn expand_range(range: &str) -> Vec<String> {
    let Some((from, to)) = range.split_once('-') else { return vec![range.to_owned()] };
    if let (Ok(from), Ok(to)) = (from.parse::<u32>(), to.parse::<u32>()) {
        return (from..=to).map(|n| n.to_string()).collect();
    }
    assert_eq!(from.len(), to.len());
    let letters = from.as_bytes()[0]..=to.as_bytes()[0];
    letters.map(|l| char::from(l).to_string().repeat(from.len())).collect()
}

fn insert(arrangement: &str) -> Face {
    builtin(&format!("38999-{arrangement}")).expect("a built-in insert")
}

fn names(face: &Face) -> Vec<&str> {
    face.names().collect()
}

/// Degrees clockwise from the top.
fn angle(x: f64, y: f64) -> f64 {
    x.atan2(y).to_degrees().rem_euclid(360.0)
}

#[test]
fn inserts_have_the_printed_counts_and_names() {
    for (arrangement, count, ranges) in INSERTS {
        let face = insert(arrangement);
        assert_eq!(face.cavities.len(), count, "{arrangement}");
        assert_eq!(names(&face), expand(ranges), "{arrangement}");
        assert_eq!(face.key, Key::Top, "{arrangement}");
    }
    let listed = builtin_names().filter(|n| n.starts_with("38999-")).count();
    assert_eq!(listed, INSERTS.len(), "no insert without a reference");
}

#[test]
fn letters_are_skipped_as_printed() {
    for (arrangement, _, _) in INSERTS {
        for name in insert(arrangement).names() {
            assert!(!["I", "O", "Q", "l", "o", "II", "OO", "QQ"].contains(&name), "{arrangement} {name}");
        }
    }
    // Lower-case i and j are not skipped alike.
    let has = |arrangement, name| insert(arrangement).position(name).is_some();
    assert!(!has("19-32", "i") && has("19-32", "j"));
    assert!(has("21-41", "i") && has("21-41", "j") && has("23-55", "i") && has("25-61", "j"));
    assert!(!has("23-53", "i") && !has("23-53", "j"));
    // Lower-case q is used.
    for arrangement in ["21-41", "23-53", "23-55", "25-61"] {
        assert!(has(arrangement, "q"), "{arrangement}");
    }
}

/// Splits the contacts into rings of these sizes, the farthest out first.
fn rings(face: &Face, counts: &[usize]) -> Vec<Vec<usize>> {
    let radius = |at: usize| face.cavities[at].x.hypot(face.cavities[at].y);
    let mut order: Vec<usize> = (0..face.cavities.len()).collect();
    order.sort_by(|&a, &b| radius(b).total_cmp(&radius(a)).then(a.cmp(&b)));
    let mut rest = order.as_slice();
    let mut found = Vec::new();
    for &count in counts {
        let (ring, inner) = rest.split_at(count);
        if let (Some(&last), Some(&next)) = (ring.last(), inner.first()) {
            assert!(radius(last) > 1.15 * radius(next), "{}: rings of {counts:?} are apart", face.name);
        }
        let mut ring = ring.to_vec();
        ring.sort_unstable();
        found.push(ring);
        rest = inner;
    }
    assert!(rest.is_empty());
    found
}

#[test]
fn rings_have_the_printed_counts_and_run_clockwise_on_the_pin_front() {
    for (arrangement, counts) in RINGS {
        let face = insert(arrangement);
        for ring in rings(&face, counts) {
            let angles: Vec<f64> =
                ring.iter().map(|&at| angle(face.cavities[at].x, face.cavities[at].y)).collect();
            // Once round: each step is clockwise by less than half a turn, and the steps add up to
            // one turn. Two contacts say nothing about the sense.
            let steps: Vec<f64> = (0..angles.len())
                .map(|n| (angles[(n + 1) % angles.len()] - angles[n]).rem_euclid(360.0))
                .collect();
            if ring.len() > 2 {
                assert!(steps.iter().all(|s| *s > 0.0 && *s < 180.0), "{arrangement} {angles:?}");
                assert!((steps.iter().sum::<f64>() - 360.0).abs() < 1e-6, "{arrangement} {angles:?}");
            }
        }
    }
}

#[test]
fn outer_contacts_run_clockwise_from_the_key_on_every_insert() {
    for (arrangement, _, _) in INSERTS {
        let face = insert(arrangement);
        let angle = |at: usize| angle(face.cavities[at].x, face.cavities[at].y);
        // The first three contacts stand on the outermost ring of every insert.
        for at in 0..2.min(face.cavities.len() - 1) {
            let step = (angle(at + 1) - angle(at)).rem_euclid(360.0);
            assert!(step > 0.0 && step <= 180.0 + 1e-6, "{arrangement} {at}: {step}");
        }
    }
}

/// Read from the catalogue drawing of the pin front, good to 0.05 in radius and 5 degrees:
/// arrangement, contact, share of the radius, angle.
const READ_FROM_DRAWING: [(&str, &str, f64, f64); 24] = [
    ("9-35", "1", 0.69, 31.0),
    ("9-35", "2", 0.66, 115.0),
    ("9-35", "3", 0.62, 177.0),
    ("9-35", "4", 0.57, 240.0),
    ("9-35", "5", 0.65, 336.0),
    ("9-35", "6", 0.0, 0.0),
    ("11-35", "1", 0.71, 0.0),
    ("11-35", "4", 0.71, 112.0),
    ("11-35", "10", 0.71, 322.0),
    ("11-35", "12", 0.32, 129.0),
    ("13-35", "1", 0.76, 14.0),
    ("13-35", "8", 0.76, 193.9),
    ("13-35", "15", 0.43, 22.0),
    ("13-35", "22", 0.16, 180.0),
    ("13-98", "A", 0.84, 0.0),
    ("13-98", "E", 0.56, 180.0),
    ("13-98", "H", 0.82, 321.0),
    ("13-98", "J", 0.27, 100.0),
    ("17-26", "A", 0.86, 0.0),
    ("17-26", "R", 0.86, 336.0),
    ("17-26", "S", 0.54, 335.0),
    ("17-26", "T", 0.52, 19.0),
    ("17-26", "b", 0.20, 0.0),
    ("17-26", "c", 0.17, 180.0),
];

#[test]
fn measured_positions_are_those_of_the_drawing() {
    for (arrangement, contact, share, at) in READ_FROM_DRAWING {
        let face = insert(arrangement);
        assert_eq!(face.fidelity, Fidelity::Measured, "{arrangement}");
        let ringout::definition::face::Outline::Round { diameter } = face.outline else {
            panic!("{arrangement} is round")
        };
        let cavity = &face.cavities[face.position(contact).unwrap()];
        let (x, y) = (cavity.x / (diameter / 2.0), cavity.y / (diameter / 2.0));
        assert!((x.hypot(y) - share).abs() < 0.05, "{arrangement} {contact}");
        let turn = (angle(x, y) - at + 180.0).rem_euclid(360.0) - 180.0;
        assert!(share == 0.0 || turn.abs() < 5.0, "{arrangement} {contact}: {turn}");
    }
}

#[test]
fn faces_whose_places_are_not_published_say_so() {
    for (arrangement, _, _) in INSERTS {
        let measured = ["9-35", "11-35", "13-35", "13-98", "17-26"].contains(&arrangement);
        let expected = if measured { Fidelity::Measured } else { Fidelity::Schematic };
        assert_eq!(insert(arrangement).fidelity, expected, "{arrangement}");
    }
    for name in builtin_names().filter(|n| n.starts_with("iso")) {
        let face = builtin(name).unwrap();
        assert_eq!((face.fidelity, face.key), (Fidelity::Schematic, Key::None), "{name}");
    }
}

/// The named standard's contact list.
const OTHERS: [(&str, &str, &str); 15] = [
    ("iso1724-7", "1-7", "ISO 1724"),
    ("iso3732-7", "1-7", "ISO 3732"),
    ("iso11446-13", "1-13", "ISO 11446-1:2012"),
    ("iso1185-7", "1-7", "ISO 1185, from memory"),
    ("iso3731-7", "1-7", "ISO 3731 (BS AU 198)"),
    ("iso12098-15", "1-15", "ISO 12098"),
    ("iso7638-7", "1-7", "ISO 7638-1"),
    ("j560-7", "1-7", "SAE J560, from memory"),
    ("j1962-16", "1-16", "SAE J1962"),
    ("j1939-9", "A-H J", "SAE J1939-13: the letter I is skipped"),
    ("d-sub-9", "1-9", "EIA/TIA-574"),
    ("8p8c", "1-8", "TIA-568"),
    ("m12-a-5", "1-5", "NMEA 2000 on IEC 61076-2-101 A-coding"),
    ("stanag4007-12", "A-F H J-N", "STANAG 4007: G and I are not used"),
    ("din72552-relay-5", "30 85-87 87a", "DIN 72552"),
];

#[test]
fn other_connectors_have_the_contacts_of_their_standard() {
    for (name, ranges, standard) in OTHERS {
        assert_eq!(names(&builtin(name).unwrap()), expand(ranges), "{standard}");
    }
    // EIA-232 on a 25-way shell uses contacts up to 25.
    assert_eq!(names(&builtin("d-sub-25").unwrap()), expand("1-25"));
}

fn place(face: &Face, name: &str) -> (f64, f64) {
    let cavity = &face.cavities[face.position(name).expect("a contact of the face")];
    (cavity.x, cavity.y)
}

/// From memory: common practice in every hand's wiring notes, not checked against the standards.
#[test]
fn well_known_connectors_are_the_right_way_round() {
    // The male front of a D shell, wide row up: 1 at the top left, counting right, then the row below.
    for (name, top, next, last) in [("d-sub-9", "5", "6", "9"), ("d-sub-25", "13", "14", "25")] {
        let face = builtin(name).unwrap();
        assert!(place(&face, "1").0 < 0.0 && place(&face, "1").1 > 0.0, "{name}");
        assert!(place(&face, top).0 > 0.0 && place(&face, top).1 > 0.0, "{name}");
        assert!(place(&face, next).0 < 0.0 && place(&face, next).1 < 0.0, "{name}");
        assert!(place(&face, last).0 > 0.0 && place(&face, last).1 < 0.0, "{name}");
    }
    // The plug with its latch up shows contact 1 at the left.
    let plug = builtin("8p8c").unwrap();
    assert_eq!(plug.key, Key::Latch);
    assert!(place(&plug, "1").0 < place(&plug, "8").0);
    // The vehicle's socket (mirror of the plug) shows 1 at the top left, so the plug at the top right.
    let plug = builtin("j1962-16").unwrap();
    assert!(place(&plug, "1").0 > 0.0 && place(&plug, "1").1 > 0.0);
    assert!(place(&plug, "9").1 < 0.0 && (place(&plug, "9").0 - place(&plug, "1").0).abs() < 1e-9);
    // M12: pins count anticlockwise, seen from their mating side; 5 in the middle.
    let pins = builtin("m12-a-5").unwrap();
    let turn = |a, b| {
        let (p, q) = (place(&pins, a), place(&pins, b));
        p.0 * q.1 - p.1 * q.0
    };
    assert!(turn("1", "2") > 0.0 && turn("2", "3") > 0.0 && turn("3", "4") > 0.0 && turn("4", "1") > 0.0);
    assert!(place(&pins, "5").0.abs() < 1e-9 && place(&pins, "5").1.abs() < 1e-9);
}

#[test]
fn every_listed_face_can_be_built() {
    let own = [
        ("round-3", "A-C"),
        ("round-4", "A-D"),
        ("round-7", "A-G"),
        ("round-14", "A-H J-N P"),
        ("rect-2", "1-2"),
        ("rect-4", "1-4"),
        ("rect-6", "1-6"),
        ("rect-8", "1-8"),
        ("rect-12", "1-12"),
    ];
    for (name, ranges) in own {
        assert_eq!(names(&builtin(name).unwrap()), expand(ranges), "{name}");
    }
    // 31 inserts, the 15 above and d-sub-25, and these.
    assert_eq!(builtin_names().count(), INSERTS.len() + OTHERS.len() + 1 + own.len());
}
