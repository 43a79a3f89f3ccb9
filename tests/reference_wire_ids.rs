//! Significant wire ids against the published rules for aircraft wiring.
//!
//! MIL-W-5088, Appendix B (later SAE AS50881) as it is taught in NAVEDTRA 14329 and 14176 and in AC 21-99,
//! section 2 chapter 2. "From memory" marks what was not checked against any of them.

use ringout::definition::wire_id::{FUNCTIONS, Metal, SignificantId, Suffix, WireIdError, circuit_of};
use ringout::units::Awg;

#[track_caller]
fn parsed(text: &str) -> SignificantId {
    let id = SignificantId::parse(text).unwrap_or_else(|error| panic!("{text}: {error}"));
    assert_eq!(id.to_string(), text);
    id
}

/// NAVEDTRA 14176: P215A4N is dc power, wire 215, segment A, size 4, to the ground network.
#[test]
fn the_taught_example() {
    let id = parsed("P215A4N");
    assert_eq!(id.unit, None);
    assert_eq!((id.function, id.number.as_str(), id.segment.as_str()), ('P', "215", "A"));
    assert_eq!(id.gauge, Awg::new(4).unwrap());
    assert_eq!(id.suffix, Some(Suffix::Ground));
    assert!(!id.aluminium);
    assert_eq!(id.meaning(), Some("dc power"));
}

/// NAVEDTRA 14329: a unit number in front where two or more identical items are installed.
#[test]
fn the_second_identical_unit() {
    let id = parsed("2P215A4N");
    assert_eq!(id.unit.as_deref(), Some("2"));
    assert_eq!(id.number, "215");
    assert_eq!(id.circuit(), "2P215");
    assert_eq!(circuit_of("2P215A4N").as_deref(), Some("2P215"));
}

/// NAVEDTRA 14176: the segment letter changes at each terminal or connector, the circuit does not.
#[test]
fn segments_of_one_circuit() {
    for id in ["P215A4N", "P215B4N", "P215C6", "P215Z22", "P215AA22"] {
        parsed(id);
        assert_eq!(circuit_of(id).as_deref(), Some("P215"), "{id}");
    }
    assert_ne!(circuit_of("P216A4N"), circuit_of("P215A4N"));
}

/// Segment letters I and O are not used, AA follows Z (from memory).
#[test]
fn segment_letters_that_look_like_digits() {
    for id in ["P215I4N", "P215O4N", "P215AI4N", "P215OA4N"] {
        assert!(matches!(SignificantId::parse(id), Err(WireIdError::Segment { .. })), "{id}");
        assert_eq!(circuit_of(id), None, "{id}");
    }
}

/// NAVEDTRA 14176: N to ground, A, B, C the phases, ALUM or ALUMINUM for aluminium wire.
#[test]
fn suffixes() {
    assert_eq!(parsed("P215A4").suffix, None);
    for phase in ['A', 'B', 'C'] {
        assert_eq!(parsed(&format!("X10A8{phase}")).suffix, Some(Suffix::Phase(phase)));
    }
    for marked in ["P215A4ALUM", "P215A4ALUMINUM"] {
        assert_eq!((parsed(marked).suffix, parsed(marked).aluminium), (None, true), "{marked}");
    }
    let both = parsed("P215A4NALUM");
    assert_eq!((both.suffix, both.aluminium), (Some(Suffix::Ground), true));
}

/// V for the ungrounded wire of single-phase ac, and thermocouple metals (from memory).
#[test]
fn suffixes_from_memory() {
    assert_eq!(parsed("X10A8V").suffix, Some(Suffix::Ungrounded));
    for (suffix, metal) in [
        ("CHRO", Metal::Chromel),
        ("CHROMEL", Metal::Chromel),
        ("ALML", Metal::Alumel),
        ("ALUMEL", Metal::Alumel),
        ("IRON", Metal::Iron),
        ("CONS", Metal::Constantan),
        ("COPP", Metal::Copper),
    ] {
        let id = parsed(&format!("E3A20{suffix}"));
        assert_eq!(id.suffix, Some(Suffix::Thermocouple(metal)), "{suffix}");
        assert!(!id.aluminium, "{suffix}");
    }
}

/// Thick sizes are marked with noughts (AWG, ASTM B258); 00 and 2/0 are the same size.
#[test]
fn thick_gauges() {
    assert_eq!(parsed("P5A0").gauge, Awg::new(0).unwrap());
    assert_eq!(parsed("P5A00").gauge, Awg::new(-1).unwrap());
    assert_eq!(parsed("P5A2/0").gauge, Awg::new(-1).unwrap());
    assert_eq!(parsed("P5A0000N").gauge, Awg::new(-3).unwrap());
}

/// Function letters: AC 21-99 section 2 chapter 2 for B to K, NAVEDTRA 14329 for D, E, L, P, V, X.
#[test]
fn function_letters_that_were_checked() {
    for (letter, meaning) in [
        ('B', "photographic"),
        ('C', "control surface"),
        ('D', "instrument (other than flight or engine)"),
        ('E', "engine instrument"),
        ('F', "flight instrument"),
        ('G', "landing gear, wing folding"),
        ('H', "heating, ventilating and de-icing"),
        ('J', "ignition"),
        ('K', "engine control"),
        ('L', "lighting"),
        ('P', "dc power"),
        ('V', "dc power and dc control for ac systems"),
        ('X', "ac power"),
    ] {
        assert_eq!(parsed(&format!("{letter}12A20")).meaning(), Some(meaning), "{letter}");
    }
    assert_eq!(parsed("I12A20").meaning(), None);
}

/// Function letters from memory say so.
#[test]
fn function_letters_from_memory() {
    for (letter, meaning) in [
        ('A', Some("armament")),
        ('M', Some("miscellaneous electrical")),
        ('N', None),
        ('O', None),
        ('Q', Some("fuel and oil")),
        ('R', Some("radio (navigation and communication)")),
        ('S', Some("radar")),
        ('T', Some("special electronics")),
        ('U', Some("miscellaneous electronics")),
        ('W', Some("warning and emergency")),
        ('Y', Some("armament special systems")),
        ('Z', Some("experimental")),
    ] {
        let row = FUNCTIONS.iter().find(|row| row.letter == letter).unwrap();
        assert_eq!((row.meaning, row.source), (meaning, "from memory"), "{letter}");
    }
}

/// Plain ids, number and segment letter without function and gauge: our own reading, no source.
#[test]
fn plain_ids() {
    for (id, circuit) in [("31", "31"), ("31A", "31"), ("31B", "31"), ("108AA", "108"), ("P215", "P215")] {
        assert_eq!(circuit_of(id).as_deref(), Some(circuit), "{id}");
        assert!(SignificantId::parse(id).is_err(), "{id} is not a significant id");
    }
}
