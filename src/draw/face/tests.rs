use super::super::scene::{Area, Group, Item};
use super::super::to_svg;
use super::*;
use crate::definition::face::{Form, Shape, builtin, builtin_names, from_points, from_rows};
use crate::units::Metres;

const ALL_VIEWS: [(Half, Side); 4] = [
    (Half::Pin, Side::Mating),
    (Half::Pin, Side::Wire),
    (Half::Socket, Side::Mating),
    (Half::Socket, Side::Wire),
];

fn view(face: &Face, half: Half, side: Side, contacts: Vec<ContactLabel>) -> FaceView<'_> {
    FaceView {
        connector: "P1".to_owned(),
        title: "Pump control box, cab loom".to_owned(),
        half: Some(half),
        side,
        mate: Some("J1".to_owned()),
        face: Cow::Borrowed(face),
        geometry_given: true,
        contacts,
        cautions: Vec::new(),
        stamp: "OSP-4 revision C, definition 9f31c07a".to_owned(),
    }
}

fn wire(id: impl Into<String>, colour: &str, gauge: &str) -> WireLabel {
    WireLabel { id: id.into(), colour: colour.to_owned(), gauge: gauge.to_owned() }
}

/// Labels that need room: long ids, two wires in every fifth contact, marks, markings and signals.
fn busy(face: &Face) -> Vec<ContactLabel> {
    let marks = [
        Mark::RedProbe,
        Mark::BlackProbe,
        Mark::Suspect(Share::of(0.63)),
        Mark::Good,
        Mark::Bad,
        Mark::NotYet,
        Mark::Changed,
        Mark::None,
    ];
    let label = |(nth, name): (usize, &str)| ContactLabel {
        name: name.to_owned(),
        also: if nth % 3 == 0 { vec![format!("{}", nth + 1)] } else { Vec::new() },
        wires: (0..=usize::from(nth % 5 == 0))
            .map(|w| wire(format!("2P{}A{w}-LONG-16N", 1000 + nth), "WHBN/BK", "1.25 mm2"))
            .collect(),
        parts: if nth % 4 == 3 { vec![format!("F{nth}")] } else { Vec::new() },
        signal: (nth % 2 == 0).then(|| "Boom section valve, left, return to frame".to_owned()),
        state: if nth % 7 == 6 { ContactState::Plugged } else { ContactState::Normal },
        mark: marks[nth % marks.len()],
    };
    face.names().enumerate().map(label).collect()
}

fn contact_groups(scene: &Scene) -> Vec<&Group> {
    scene.groups().into_iter().filter(|g| g.class == "contact").collect()
}

/// Where a contact's cavity is drawn.
fn cavity(scene: &Scene, name: &str) -> (f64, f64) {
    let groups = contact_groups(scene);
    let group = groups.iter().find(|g| g.data[0].1 == name).unwrap();
    match group.items[0] {
        Item::Circle { centre, .. } => (centre.x, centre.y),
        _ => panic!("a contact starts with its cavity"),
    }
}

#[test]
fn the_four_views_are_mirrored_as_they_should_be() {
    // Clockwise from the key on the pin front: A at the key, B to its right, K to its left.
    let face = builtin("round-14").unwrap();
    for (half, side) in ALL_VIEWS {
        let scene = face_scene(&view(&face, half, side, Vec::new()));
        let (a, b, k) = (cavity(&scene, "A"), cavity(&scene, "B"), cavity(&scene, "K"));
        let clockwise = matches!((half, side), (Half::Pin, Side::Mating) | (Half::Socket, Side::Wire));
        assert_eq!(b.0 > a.0, clockwise, "{half:?} {side:?}");
        assert_eq!(k.0 < a.0, clockwise, "{half:?} {side:?}");
        assert!(a.1 < b.1, "the key stays on top: {half:?} {side:?}");
    }
}

#[test]
fn distances_are_those_of_the_face_on_one_scale() {
    for name in builtin_names() {
        let face = builtin(name).unwrap();
        for (half, side) in ALL_VIEWS {
            let scene = face_scene(&view(&face, half, side, Vec::new()));
            let flip = if mirrored(half, side) { -1.0 } else { 1.0 };
            let (first, last) = (&face.cavities[0], &face.cavities[face.cavities.len() - 1]);
            let (p, q) = (cavity(&scene, &first.name), cavity(&scene, &last.name));
            let scale = (p.0 - q.0).hypot(p.1 - q.1) / (first.x - last.x).hypot(first.y - last.y);
            for c in &face.cavities {
                let drawn = cavity(&scene, &c.name);
                let expected = (p.0 + (c.x - first.x) * flip * scale, p.1 - (c.y - first.y) * scale);
                let off = (drawn.0 - expected.0).hypot(drawn.1 - expected.1);
                assert!(off < 1e-6, "{name} {half:?} {side:?} {}: {off}", c.name);
            }
        }
    }
}

#[test]
fn the_drawing_says_which_side_it_shows() {
    let face = builtin("round-14").unwrap();
    let expected = [
        "Mating side of P1 (pin contacts)",
        "Wire side of P1 (pin contacts)",
        "Mating side of P1 (socket contacts)",
        "Wire side of P1 (socket contacts)",
    ];
    for ((half, side), statement) in ALL_VIEWS.into_iter().zip(expected) {
        let scene = face_scene(&view(&face, half, side, Vec::new()));
        let texts: Vec<&str> = scene.texts().iter().map(|t| t.text.as_str()).collect();
        assert!(texts.contains(&statement) && texts.contains(&"key"), "{texts:?}");
        assert!(scene.title.starts_with(statement));
        let warned = texts.iter().any(|t| t.starts_with("Never force a probe"));
        assert_eq!(warned, (half, side) == (Half::Socket, Side::Mating));
    }
    let schematic = builtin("iso11446-13").unwrap();
    let scene = face_scene(&view(&schematic, Half::Pin, Side::Mating, Vec::new()));
    assert!(scene.texts().iter().any(|t| t.text.starts_with("Positions are schematic")));
    assert!(!scene.texts().iter().any(|t| t.text == "key"));
}

fn assert_no_overlap(scene: &Scene, what: &str) {
    let areas: Vec<(Area, &str)> = scene.texts().iter().map(|t| (t.area(), t.text.as_str())).collect();
    for (nth, (area, text)) in areas.iter().enumerate() {
        assert!(
            area.left >= 0.0 && area.top >= 0.0 && area.right <= scene.width && area.bottom <= scene.height,
            "{what}: `{text}` leaves the sheet"
        );
        for (other, beside) in &areas[nth + 1..] {
            assert!(!area.overlaps(other), "{what}: `{text}` covers `{beside}`");
        }
    }
    // Nor does a text cover a contact, its own or another's.
    for group in contact_groups(scene) {
        let Item::Circle { centre, radius, .. } = group.items[0] else { continue };
        // The square inside the circle: a text's box has empty corners too.
        let symbol = Area::around(centre, radius * 0.8);
        for (area, text) in &areas {
            assert!(!area.overlaps(&symbol), "{what}: `{text}` covers contact {}", group.data[0].1);
        }
    }
}

#[test]
fn no_text_covers_another_on_any_built_in_face() {
    for name in builtin_names() {
        let face = builtin(name).unwrap();
        for (half, side) in ALL_VIEWS {
            let scene = face_scene(&view(&face, half, side, busy(&face)));
            assert_no_overlap(&scene, name);
            let plain = face_scene(&view(&face, half, side, Vec::new()));
            assert_no_overlap(&plain, name);
        }
    }
}

#[test]
fn everything_known_about_a_contact_stands_on_the_sheet() {
    for name in ["rect-2", "round-14", "38999-17-26", "d-sub-25", "38999-25-35"] {
        let face = builtin(name).unwrap();
        let labels = busy(&face);
        let scene = face_scene(&view(&face, Half::Pin, Side::Mating, labels.clone()));
        let texts: Vec<&str> = scene.texts().iter().map(|t| t.text.as_str()).collect();
        for label in &labels {
            assert!(texts.contains(&label.name.as_str()), "{name} {}", label.name);
            for wire in &label.wires {
                assert!(texts.contains(&wire.id.as_str()), "{name} {}", wire.id);
            }
            // The signal may be shortened, but its beginning is there.
            let shown = |s: &String| texts.iter().any(|t| t.starts_with(&s[..12]));
            assert!(label.signal.iter().all(shown), "{name} {}", label.name);
        }
        assert!(texts.contains(&"WHBN/BK") && texts.contains(&"1.25 mm2"), "{name}");
        assert!(texts.contains(&"OSP-4 revision C, definition 9f31c07a"), "{name}");
    }
}

#[test]
fn the_svg_can_be_read_back() {
    let face = builtin("rect-4").unwrap();
    let contacts = vec![
        ContactLabel {
            name: "1".to_owned(),
            wires: vec![wire("31A", "RD/WH", "1.5 mm2"), wire("31B", "BU", "16 AWG")],
            ..ContactLabel::default()
        },
        ContactLabel { name: "2".to_owned(), state: ContactState::Plugged, ..ContactLabel::default() },
        ContactLabel { name: "3".to_owned(), mark: Mark::RedProbe, ..ContactLabel::default() },
    ];
    let text = to_svg(&face_scene(&view(&face, Half::Socket, Side::Mating, contacts)));
    let read = roxmltree::Document::parse(&text).unwrap();
    let contacts: Vec<_> = read.descendants().filter(|n| n.attribute("data-contact").is_some()).collect();
    assert_eq!(contacts.len(), 4);
    assert_eq!(contacts[0].attribute("data-wire"), Some("31A 31B"));
    assert_eq!(contacts[0].attribute("data-colour"), Some("RD/WH BU"));
    assert_eq!(contacts[0].attribute("data-gauge"), Some("1.5 mm2; 16 AWG"));
    assert_eq!(contacts[1].attribute("data-state"), Some("plugged"));
    assert_eq!(contacts[2].attribute("data-mark"), Some("red probe"));
    assert_eq!(contacts[3].attribute("data-wire"), None);
    // The socket half's mating side mirrors the pin half's: 1 stands right of 2.
    let x = |n: usize| {
        let circle =
            contacts[n].children().find(|c| c.has_tag_name(("http://www.w3.org/2000/svg", "circle")));
        circle.and_then(|c| c.attribute("cx")).unwrap().parse::<f64>().unwrap()
    };
    assert!(x(0) > x(1) && (x(0) - x(2)).abs() < 0.02);
}

#[test]
fn colour_letters_stand_beside_every_sample() {
    let face = builtin("38999-17-26").unwrap();
    let text = to_svg(&face_scene(&view(&face, Half::Pin, Side::Mating, busy(&face))));
    let read = roxmltree::Document::parse(&text).unwrap();
    let samples = read.descendants().filter(|n| n.attribute("class") == Some("edge")).count();
    let letters = read.descendants().filter(|n| n.is_text() && n.text() == Some("WHBN/BK")).count();
    assert!(samples > 0);
    assert_eq!(samples, letters);
}

#[test]
fn the_same_view_gives_the_same_bytes() {
    let face = builtin("38999-25-35").unwrap();
    let draw = || to_svg(&face_scene(&view(&face, Half::Socket, Side::Wire, busy(&face))));
    assert_eq!(draw(), draw());
}

#[test]
fn hostile_texts_stay_texts_and_are_bounded() {
    let face = from_rows(
        "<face>\"'&",
        &[vec!["<b>".to_owned(), "\u{202e}x\u{0}".to_owned()]],
        Metres::new(0.005),
        Form { shape: Shape::Rectangle, seen: Half::Pin, contact: None },
    )
    .unwrap();
    let nasty = "<script>alert(1)</script> \"&' -- ]]> \u{202e}\u{7}\u{fffe}";
    let contacts = vec![ContactLabel {
        name: "<b>".to_owned(),
        also: vec![nasty.to_owned(); 20],
        wires: vec![wire(nasty.repeat(200), nasty, nasty)],
        signal: Some("漢字 العربية 🚜 ".repeat(500)),
        ..ContactLabel::default()
    }];
    let mut view = view(&face, Half::Pin, Side::Mating, contacts);
    view.title = "T".repeat(10_000);
    view.stamp = nasty.repeat(50);
    let scene = face_scene(&view);
    assert_no_overlap(&scene, "hostile");
    assert!(scene.width < 2000.0 && scene.height < 2000.0);
    let heading: Vec<_> = scene.texts().into_iter().filter(|t| t.text.starts_with("TTT")).collect();
    assert!(heading.len() <= 2 && heading.iter().any(|t| t.text.ends_with('…')));
    let text = to_svg(&scene);
    assert!(text.len() < 100_000, "{}", text.len());
    let read = roxmltree::Document::parse(&text).unwrap();
    assert!(!read.descendants().any(|n| n.tag_name().name() == "script" || n.is_comment()));
    assert!(!text.contains('\u{202e}') && !text.contains('\u{7}') && !text.contains('\u{fffe}'));
}

#[test]
fn a_contact_off_the_face_is_listed() {
    let face = builtin("rect-2").unwrap();
    let stray =
        ContactLabel { name: "9".to_owned(), wires: vec![wire("77A", "RD", "")], ..ContactLabel::default() };
    let scene = face_scene(&view(&face, Half::Pin, Side::Mating, vec![stray]));
    assert_eq!(contact_groups(&scene).len(), 2);
    let texts: Vec<&str> = scene.texts().iter().map(|t| t.text.as_str()).collect();
    assert!(texts.contains(&"77A"));
    assert!(texts.iter().any(|t| t.starts_with("In the list but not on this face: 9")));
    assert_no_overlap(&scene, "stray");
}

#[test]
fn a_list_block_never_starts_without_a_contact() {
    let mut several = 0;
    for name in ["38999-25-61", "38999-17-35", "38999-13-35"] {
        let face = builtin(name).unwrap();
        let mut labels = busy(&face);
        for label in &mut labels {
            // Narrow columns, so that several blocks find room.
            label.parts.clear();
            label.signal = None;
            label.wires.push(label.wires[0].clone());
        }
        let scene = face_scene(&view(&face, Half::Pin, Side::Mating, labels));
        let rows: Vec<&Group> = scene.groups().into_iter().filter(|g| g.class == "row").collect();
        let left = |g: &Group| Item::Group(g.clone()).area().unwrap().left;
        let mut heads = 0;
        for (nth, row) in rows.iter().enumerate() {
            if nth == 0 || left(row) > left(rows[nth - 1]) + 1.0 {
                heads += 1;
                let Item::Text(first) = &row.items[0] else { panic!("a row starts with text") };
                assert!(first.text.starts_with(&row.data[0].1), "{}", first.text);
            }
        }
        several += usize::from(heads > 1);
    }
    assert!(several > 0, "no list stands in several blocks");
}

#[test]
fn lopsided_and_large_faces_stay_within_bounds() {
    let form = Form { shape: Shape::Round, seen: Half::Pin, contact: None };
    let point = |name: &str, x: f64| (name.to_owned(), Metres::new(x), Metres::new(0.0));
    let lopsided =
        from_points("lopsided", &[point("a", 0.0), point("b", 0.0001), point("c", 1.0)], form).unwrap();
    let names: Vec<Vec<String>> =
        (0..25).map(|row| (0..40).map(|n| format!("{}", row * 40 + n)).collect()).collect();
    let large = from_rows("large", &names, Metres::new(0.001), form).unwrap();
    for face in [lopsided, large] {
        let scene = face_scene(&view(&face, Half::Pin, Side::Mating, busy(&face)));
        assert!(scene.width < 3500.0, "{}: {}", face.name, scene.width);
        assert_no_overlap(&scene, &face.name);
        let listed = scene.groups().iter().filter(|g| g.class == "row").count();
        assert!(listed >= face.cavities.len());
    }
}

#[test]
fn a_face_without_cavities_is_an_empty_sheet() {
    let mut face = builtin("rect-2").unwrap();
    face.cavities.clear();
    let scene = face_scene(&view(&face, Half::Pin, Side::Mating, Vec::new()));
    assert!(scene.width.is_finite() && scene.height.is_finite());
    assert!(roxmltree::Document::parse(&to_svg(&scene)).is_ok());
}
