//! Wire colours against published code tables.
//!
//! The codes are written out here as published, apart from the table the crate uses.

use ringout::definition::colour::{Code, Colour};

#[track_caller]
fn colour(text: &str) -> Colour {
    let colour = Colour::parse(text).unwrap_or_else(|error| panic!("{text}: {error}"));
    assert_eq!(colour.to_string(), text);
    colour
}

/// IEC 60757, letter codes in the order of its table.
const IEC_60757: [(&str, &str); 14] = [
    ("BK", "black"),
    ("BN", "brown"),
    ("RD", "red"),
    ("OG", "orange"),
    ("YE", "yellow"),
    ("GN", "green"),
    ("BU", "blue"),
    ("VT", "violet"),
    ("GY", "grey"),
    ("WH", "white"),
    ("PK", "pink"),
    ("GD", "gold"),
    ("TQ", "turquoise"),
    ("SR", "silver"),
];

#[test]
fn letter_codes() {
    for (letters, name) in IEC_60757 {
        assert_eq!(colour(letters).name(), name);
    }
    let order: Vec<&str> = Code::all().map(Code::letters).collect();
    assert!(order.iter().eq(IEC_60757.iter().map(|(letters, _)| letters)));
}

/// IEC 60757: GNYE is green-and-yellow and stands alone.
#[test]
fn green_and_yellow() {
    assert_eq!(colour("GNYE").name(), "green-and-yellow");
    assert!(colour("GNYE").is_green_and_yellow());
    for other in ["GN", "YE", "GN/YE", "YEGN", "GNYEBK"] {
        assert!(!colour(other).is_green_and_yellow(), "{other}");
    }
}

/// IEC 60757: several colours on one item are written in table order, red and blue as RDBU.
#[test]
fn combined_codes_in_table_order() {
    assert_eq!(colour("RDBU").name(), "red and blue");
    assert!(colour("RDBU").in_table_order());
    assert!(!colour("BURD").in_table_order());
}

/// DIN 47100 (withdrawn 1998), cores 1 to 60: base colour first, then the ring.
const DIN_47100: &str = "
    WH BN GN YE GY PK BU RD BK VT
    GYPK RDBU WHGN BNGN WHYE YEBN WHGY GYBN WHPK PKBN
    WHBU BNBU WHRD BNRD WHBK BNBK GYGN YEGY PKGN YEPK
    GNBU YEBU GNRD YERD GNBK YEBK GYBU PKBU GYRD PKRD
    GYBK PKBK BUBK RDBK WHBNBK YEGNBK GYPKBK RDBUBK WHGNBK BNGNBK
    WHYEBK YEBNBK WHGYBK GYBNBK WHPKBK PKBNBK WHBUBK BNBUBK WHRDBK BNRDBK
";

#[test]
fn multicore_cable_names_stay_as_they_are_written() {
    let cores: Vec<Colour> = DIN_47100.split_whitespace().map(colour).collect();
    assert_eq!(cores.len(), 60);
    for (at, core) in cores.iter().enumerate() {
        assert!(!cores[..at].contains(core), "core {} is named twice: {core}", at + 1);
        // One colour up to core 10, base and ring up to 44, two rings from there.
        let colours = match at + 1 {
            1..=10 => 1,
            11..=44 => 2,
            _ => 3,
        };
        assert_eq!(core.codes().count(), colours, "core {}", at + 1);
    }
}

/// DIN 47100, core 13: a white wire with a green ring. The IEC 60757 table order would be GNWH, a green wire
/// with a white ring to anyone who reads it by DIN 47100.
#[test]
fn base_and_ring_are_never_exchanged() {
    let core_13 = colour("WHGN");
    assert_eq!((core_13.base(), core_13.stripes()), (Code::White, &[Code::Green][..]));
    assert!(!core_13.in_table_order());
    assert_ne!(core_13, colour("GNWH"));
    // Core 39 is grey and red; a copy in circulation prints grey and pink, which is core 11.
    assert_eq!(DIN_47100.split_whitespace().nth(38), Some("GYRD"));
    assert_eq!(colour("GYRD").stripes(), [Code::Red]);
}

/// TIA-568, pins 1 to 8 of the 8-position jack, T568A and T568B.
#[test]
fn data_cable_pairs() {
    let a = ["WH/GN", "GN", "WH/OG", "BU", "WH/BU", "OG", "WH/BN", "BN"];
    let b = ["WH/OG", "OG", "WH/GN", "BU", "WH/BU", "GN", "WH/BN", "BN"];
    for text in a.into_iter().chain(b) {
        colour(text);
    }
    assert_eq!(colour("WH/GN").name(), "white with green stripe");
    // The crossover cable of the two: 1-3, 2-6, 3-1, 6-2, the rest straight.
    let crossed: Vec<usize> =
        a.iter().map(|text| 1 + b.iter().position(|other| colour(other) == colour(text)).unwrap()).collect();
    assert_eq!(crossed, [3, 6, 1, 4, 5, 2, 7, 8]);
}

/// AC 21-99, section 2 chapter 2: digits stamped on aircraft wire in place of a colour.
#[test]
fn stamped_digits() {
    for (digit, letters) in [
        (0, "BK"),
        (1, "BN"),
        (2, "RD"),
        (3, "OG"),
        (4, "YE"),
        (5, "GN"),
        (6, "BU"),
        (7, "VT"),
        (8, "GY"),
        (9, "WH"),
    ] {
        assert_eq!(Code::from_digit(digit).map(Code::letters), Some(letters));
    }
    assert_eq!(Code::from_digit(10), None);
}
