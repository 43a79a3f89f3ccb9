//! The built-in arrangements, as data.
//!
//! Comes in: nothing. Goes out: one row per arrangement with its contact names written out in the
//! published order. Why: published arrangements skip letters each in its own way (19-32 has a `j`
//! and no `i`, 21-41 has both, 23-53 has neither), so no rule may stand in for the list.
//!
//! All positions are those of the pin half, seen from its mating side, key at the top. Angles run
//! clockwise from the key.

use super::{Fidelity, Key, Outline};

/// One built-in arrangement.
pub(super) struct Arrangement {
    pub(super) name: &'static str,
    pub(super) outline: Outline,
    pub(super) key: Key,
    pub(super) names: Names,
    pub(super) layout: Layout,
    /// Contact diameter in millimetres.
    pub(super) contact: f64,
    /// Contacts of another diameter: their names and that diameter.
    pub(super) wide: (&'static [&'static str], f64),
    pub(super) source: &'static str,
    pub(super) fidelity: Fidelity,
}

/// The contact names of an arrangement.
pub(super) enum Names {
    /// Names with blanks between them, in the published order.
    Listed(&'static str),
    /// This many from the start of [`NUMBERS`].
    Numbered(usize),
}

/// Where the contacts of an arrangement stand.
pub(super) enum Layout {
    /// Rings from the outside in: how many contacts, and the angle of the first in degrees.
    Rings(&'static [(usize, f64)]),
    /// Evenly spaced circles: how many contacts, radius as a share of the outline's radius, and the
    /// angle of the first in degrees.
    Circles(&'static [(usize, f64, f64)]),
    /// One contact after the other: radius as a share of the outline's radius, angle in degrees.
    Polar(&'static [(f64, f64)]),
    /// One contact after the other: x and y in millimetres.
    Points(&'static [(f64, f64)]),
    /// Rows from the top, each centred: how many contacts; then the pitch along and between rows in
    /// millimetres, and the height of the top row.
    Rows { counts: &'static [usize], along: f64, between: f64, top: f64 },
}

use Layout::{Circles, Points, Polar, Rings, Rows};
use Names::{Listed, Numbered};

const MEASURED: &str = "MIL-STD-1560 insert arrangement as printed in a MIL-DTL-38999 Series III catalogue; \
                        positions measured from the printed drawing";
const RINGS_KNOWN: &str = "MIL-STD-1560 insert arrangement as printed in a MIL-DTL-38999 Series III \
                           catalogue; rings and order as printed, positions drawn for readability";
const NAMES_KNOWN: &str = "MIL-STD-1560 insert arrangement as printed in a MIL-DTL-38999 Series III \
                           catalogue; names as printed, positions drawn for readability";
const OWN: &str = "invented for examples";

/// Crimp contact diameters by size, in millimetres.
const SIZE_22D: f64 = 0.76;
const SIZE_20: f64 = 1.02;
const SIZE_16: f64 = 1.59;
const SIZE_12: f64 = 2.39;

const fn listed(
    name: &'static str,
    outline: Outline,
    key: Key,
    names: Names,
    layout: Layout,
    contact: f64,
    source: &'static str,
) -> Arrangement {
    let fidelity = Fidelity::Schematic;
    Arrangement { name, outline, key, names, layout, contact, wide: (&[], contact), source, fidelity }
}

/// An insert of a MIL-DTL-38999 shell. The shell number counts sixteenths of an inch outside; the
/// insert is drawn five sixteenths smaller, which is close to the catalogue drawings.
const fn mil(
    name: &'static str,
    shell: f64,
    contact: f64,
    names: Names,
    layout: Layout,
    source: &'static str,
) -> Arrangement {
    let outline = Outline::Round { diameter: (shell - 5.0) * 25.4 / 16.0 };
    listed(name, outline, Key::Top, names, layout, contact, source)
}

const fn wide(row: Arrangement, names: &'static [&'static str], diameter: f64) -> Arrangement {
    Arrangement { wide: (names, diameter), ..row }
}

const fn measured(row: Arrangement) -> Arrangement {
    Arrangement { fidelity: Fidelity::Measured, source: MEASURED, ..row }
}

const fn own(name: &'static str, outline: Outline, key: Key, names: Names, layout: Layout) -> Arrangement {
    Arrangement { fidelity: Fidelity::Given, ..listed(name, outline, key, names, layout, 1.6, OWN) }
}

const fn round(diameter: f64) -> Outline {
    Outline::Round { diameter }
}

const fn rectangle(width: f64, height: f64) -> Outline {
    Outline::Rectangle { width, height }
}

const fn dee(width: f64, height: f64) -> Outline {
    Outline::Dee { width, height }
}

/// Every built-in arrangement, in the order they are listed to people.
pub(super) static ARRANGEMENTS: &[Arrangement] = &[
    measured(mil(
        "38999-9-35",
        9.0,
        SIZE_22D,
        Numbered(6),
        Polar(&[(0.69, 31.0), (0.66, 115.0), (0.62, 177.0), (0.57, 240.0), (0.65, 336.0), (0.0, 0.0)]),
        MEASURED,
    )),
    mil("38999-9-98", 9.0, SIZE_20, Listed("A B C"), Rings(&[(3, 0.0)]), NAMES_KNOWN),
    mil("38999-11-2", 11.0, SIZE_16, Listed("A B"), Rings(&[(2, 90.0)]), NAMES_KNOWN),
    measured(mil(
        "38999-11-35",
        11.0,
        SIZE_22D,
        Numbered(13),
        Polar(&[
            (0.71, 0.0),
            (0.71, 37.0),
            (0.71, 72.0),
            (0.71, 112.0),
            (0.71, 143.0),
            (0.71, 180.0),
            (0.71, 215.0),
            (0.71, 249.0),
            (0.71, 288.0),
            (0.71, 322.0),
            (0.23, 0.0),
            (0.32, 129.0),
            (0.30, 228.0),
        ]),
        MEASURED,
    )),
    mil("38999-11-98", 11.0, SIZE_20, Listed("A B C D E F"), Rings(&[(5, 0.0), (1, 0.0)]), RINGS_KNOWN),
    mil("38999-11-99", 11.0, SIZE_20, Listed("A B C D E F G"), Rings(&[(6, 30.0), (1, 0.0)]), RINGS_KNOWN),
    mil("38999-13-4", 13.0, SIZE_16, Listed("A B C D"), Rings(&[(4, 45.0)]), NAMES_KNOWN),
    mil("38999-13-8", 13.0, SIZE_20, Listed("A B C D E F G H"), Rings(&[(7, 0.0), (1, 0.0)]), NAMES_KNOWN),
    measured(mil(
        "38999-13-35",
        13.0,
        SIZE_22D,
        Numbered(22),
        Circles(&[(14, 0.76, 14.0), (7, 0.43, 22.0), (1, 0.16, 180.0)]),
        MEASURED,
    )),
    measured(mil(
        "38999-13-98",
        13.0,
        SIZE_20,
        Listed("A B C D E F G H J K"),
        Polar(&[
            (0.84, 0.0),
            (0.79, 36.0),
            (0.78, 80.0),
            (0.80, 123.0),
            (0.56, 180.0),
            (0.79, 237.0),
            (0.79, 280.0),
            (0.82, 321.0),
            (0.27, 100.0),
            (0.27, 260.0),
        ]),
        MEASURED,
    )),
    mil("38999-15-5", 15.0, SIZE_16, Listed("A B C D E"), Rings(&[(5, 0.0)]), RINGS_KNOWN),
    wide(
        mil(
            "38999-15-15",
            15.0,
            SIZE_20,
            Listed("A B C D E F G H J K L M N P R"),
            Rings(&[(10, 0.0), (5, 0.0)]),
            NAMES_KNOWN,
        ),
        &["P"],
        SIZE_16,
    ),
    mil(
        "38999-15-18",
        15.0,
        SIZE_20,
        Listed("A B C D E F G H J K L M N P R S T U"),
        Rings(&[(12, 0.0), (5, 0.0), (1, 0.0)]),
        NAMES_KNOWN,
    ),
    mil(
        "38999-15-19",
        15.0,
        SIZE_20,
        Listed("A B C D E F G H J K L M N P R S T U V"),
        Rings(&[(12, 0.0), (6, 15.0), (1, 0.0)]),
        RINGS_KNOWN,
    ),
    mil(
        "38999-15-35",
        15.0,
        SIZE_22D,
        Numbered(37),
        Rings(&[(18, 0.0), (12, 0.0), (6, 0.0), (1, 0.0)]),
        NAMES_KNOWN,
    ),
    // Four of the twelve are size 16; which ones is not known here, so all are drawn alike.
    mil(
        "38999-15-97",
        15.0,
        SIZE_20,
        Listed("A B C D E F G H J K L M"),
        Rings(&[(8, 0.0), (4, 0.0)]),
        NAMES_KNOWN,
    ),
    mil("38999-17-6", 17.0, SIZE_12, Listed("A B C D E F"), Rings(&[(5, 0.0), (1, 0.0)]), NAMES_KNOWN),
    mil("38999-17-8", 17.0, SIZE_16, Listed("A B C D E F G H"), Rings(&[(7, 0.0), (1, 0.0)]), NAMES_KNOWN),
    measured(mil(
        "38999-17-26",
        17.0,
        SIZE_20,
        Listed("A B C D E F G H J K L M N P R S T U V W X Y Z a b c"),
        Polar(&[
            (0.86, 0.0),
            (0.86, 24.0),
            (0.86, 48.0),
            (0.86, 72.0),
            (0.86, 96.0),
            (0.86, 120.0),
            (0.86, 144.0),
            (0.86, 168.0),
            (0.86, 192.0),
            (0.86, 216.0),
            (0.86, 240.0),
            (0.86, 264.0),
            (0.86, 288.0),
            (0.86, 312.0),
            (0.86, 336.0),
            // The middle ring's last contact, S, comes before T at its start.
            (0.54, 335.0),
            (0.52, 19.0),
            (0.51, 59.0),
            (0.48, 103.0),
            (0.50, 141.0),
            (0.56, 183.0),
            (0.52, 222.0),
            (0.52, 258.0),
            (0.56, 298.0),
            (0.20, 0.0),
            (0.17, 180.0),
        ]),
        MEASURED,
    )),
    mil(
        "38999-17-35",
        17.0,
        SIZE_22D,
        Numbered(55),
        Rings(&[(21, 0.0), (16, 0.0), (11, 0.0), (6, 0.0), (1, 0.0)]),
        NAMES_KNOWN,
    ),
    // Two of the contacts are size 16; which ones is not known here, so all are drawn alike.
    mil(
        "38999-17-99",
        17.0,
        SIZE_20,
        Listed("A B C D E F G H J K L M N P R S T U V W X Y Z"),
        Rings(&[(14, 0.0), (8, 0.0), (1, 0.0)]),
        NAMES_KNOWN,
    ),
    mil(
        "38999-19-11",
        19.0,
        SIZE_16,
        Listed("A B C D E F G H J K L"),
        Rings(&[(8, 0.0), (3, 0.0)]),
        NAMES_KNOWN,
    ),
    mil(
        "38999-19-32",
        19.0,
        SIZE_20,
        Listed("A B C D E F G H J K L M N P R S T U V W X Y Z a b c d e f g h j"),
        Rings(&[(17, 0.0), (11, 0.0), (4, 0.0)]),
        RINGS_KNOWN,
    ),
    mil(
        "38999-19-35",
        19.0,
        SIZE_22D,
        Numbered(66),
        Rings(&[(23, 0.0), (18, 0.0), (13, 0.0), (8, 0.0), (4, 0.0)]),
        NAMES_KNOWN,
    ),
    mil(
        "38999-21-35",
        21.0,
        SIZE_22D,
        Numbered(79),
        Rings(&[(26, 0.0), (21, 0.0), (16, 0.0), (10, 0.0), (5, 0.0), (1, 0.0)]),
        NAMES_KNOWN,
    ),
    mil(
        "38999-21-41",
        21.0,
        SIZE_20,
        Listed("A B C D E F G H J K L M N P R S T U V W X Y Z a b c d e f g h i j k m n p q r s t"),
        Rings(&[(19, 0.0), (13, 0.0), (7, 0.0), (2, 0.0)]),
        NAMES_KNOWN,
    ),
    mil(
        "38999-23-35",
        23.0,
        SIZE_22D,
        Numbered(100),
        Rings(&[(30, 0.0), (24, 0.0), (19, 0.0), (14, 0.0), (9, 0.0), (4, 0.0)]),
        NAMES_KNOWN,
    ),
    mil(
        "38999-23-53",
        23.0,
        SIZE_20,
        Listed(
            "A B C D E F G H J K L M N P R S T U V W X Y Z a b c d e f g h k m n p q r s t u v w x y z \
             AA BB CC DD EE FF GG HH",
        ),
        Rings(&[(21, 0.0), (16, 0.0), (10, 0.0), (5, 0.0), (1, 0.0)]),
        NAMES_KNOWN,
    ),
    mil(
        "38999-23-55",
        23.0,
        SIZE_20,
        Listed(
            "A B C D E F G H J K L M N P R S T U V W X Y Z a b c d e f g h i j k m n p q r s t u v w x y z \
             AA BB CC DD EE FF GG HH",
        ),
        Rings(&[(21, 0.0), (16, 0.0), (11, 0.0), (6, 0.0), (1, 0.0)]),
        NAMES_KNOWN,
    ),
    mil(
        "38999-25-35",
        25.0,
        SIZE_22D,
        Numbered(128),
        Rings(&[(34, 0.0), (29, 0.0), (23, 0.0), (18, 0.0), (12, 0.0), (8, 0.0), (3, 0.0), (1, 0.0)]),
        NAMES_KNOWN,
    ),
    mil(
        "38999-25-61",
        25.0,
        SIZE_20,
        Listed(
            "A B C D E F G H J K L M N P R S T U V W X Y Z a b c d e f g h i j k m n p q r s t u v w x y z \
             AA BB CC DD EE FF GG HH JJ KK LL MM NN PP",
        ),
        Rings(&[(22, 0.0), (17, 0.0), (12, 0.0), (7, 0.0), (3, 0.0)]),
        NAMES_KNOWN,
    ),
    // Trailer sockets: numbers as in the standards. Their places on the face are not known here, so
    // they are laid out in rings in counting order and no key is shown.
    listed(
        "iso1724-7",
        round(36.0),
        Key::None,
        Numbered(7),
        Rings(&[(6, 0.0), (1, 0.0)]),
        4.0,
        "ISO 1724, contact numbers as published; positions drawn for readability",
    ),
    listed(
        "iso3732-7",
        round(36.0),
        Key::None,
        Numbered(7),
        Rings(&[(6, 0.0), (1, 0.0)]),
        4.0,
        "ISO 3732, contact numbers as published; positions drawn for readability",
    ),
    listed(
        "iso11446-13",
        round(36.0),
        Key::None,
        Numbered(13),
        Rings(&[(9, 0.0), (4, 0.0)]),
        2.5,
        "ISO 11446-1, contact numbers as published; positions drawn for readability",
    ),
    listed(
        "iso1185-7",
        round(40.0),
        Key::None,
        Numbered(7),
        Rings(&[(6, 0.0), (1, 0.0)]),
        4.5,
        "ISO 1185, contact numbers from memory; positions drawn for readability",
    ),
    listed(
        "iso3731-7",
        round(40.0),
        Key::None,
        Numbered(7),
        Rings(&[(6, 0.0), (1, 0.0)]),
        4.5,
        "ISO 3731, contact numbers as published; positions drawn for readability",
    ),
    listed(
        "iso12098-15",
        round(46.0),
        Key::None,
        Numbered(15),
        Rings(&[(10, 0.0), (5, 0.0)]),
        2.5,
        "ISO 12098, contact numbers as published; positions drawn for readability",
    ),
    listed(
        "iso7638-7",
        round(42.0),
        Key::None,
        Numbered(7),
        Rings(&[(6, 0.0), (1, 0.0)]),
        3.5,
        "ISO 7638-1, contact numbers as published; positions drawn for readability",
    ),
    listed(
        "j560-7",
        round(40.0),
        Key::None,
        Numbered(7),
        Rings(&[(6, 0.0), (1, 0.0)]),
        4.5,
        "SAE J560, contact numbers from memory; positions drawn for readability",
    ),
    // The vehicle's socket counts 1 to 8 from the left in the wide row; the plug is its mirror image.
    listed(
        "j1962-16",
        dee(37.0, 15.0),
        Key::None,
        Numbered(16),
        Points(&[
            (14.0, 3.5),
            (10.0, 3.5),
            (6.0, 3.5),
            (2.0, 3.5),
            (-2.0, 3.5),
            (-6.0, 3.5),
            (-10.0, 3.5),
            (-14.0, 3.5),
            (14.0, -3.5),
            (10.0, -3.5),
            (6.0, -3.5),
            (2.0, -3.5),
            (-2.0, -3.5),
            (-6.0, -3.5),
            (-10.0, -3.5),
            (-14.0, -3.5),
        ]),
        1.5,
        "SAE J1962, contact numbers as published; row order from memory, spacing approximate",
    ),
    listed(
        "j1939-9",
        round(24.0),
        Key::Top,
        Listed("A B C D E F G H J"),
        Rings(&[(8, 22.5), (1, 0.0)]),
        1.6,
        "SAE J1939-13, contact letters as published; order around the face from memory, not checked",
    ),
    listed(
        "d-sub-9",
        dee(16.9, 8.3),
        Key::None,
        Numbered(9),
        Rows { counts: &[5, 4], along: 2.77, between: 2.84, top: 1.42 },
        1.0,
        "IEC 60807-2 nine-way shell, order and spacing from memory",
    ),
    listed(
        "d-sub-25",
        dee(38.9, 8.3),
        Key::None,
        Numbered(25),
        Rows { counts: &[13, 12], along: 2.77, between: 2.84, top: 1.42 },
        1.0,
        "IEC 60807-2 twenty-five-way shell, order and spacing from memory",
    ),
    // With the latch on top the plug shows contact 1 at the left and its contacts at the bottom.
    listed(
        "8p8c",
        rectangle(11.7, 8.0),
        Key::Latch,
        Numbered(8),
        Rows { counts: &[8], along: 1.02, between: 1.0, top: -2.0 },
        0.5,
        "IEC 60603-7 plug, order and spacing from memory; the plug counts as the pin half",
    ),
    // The pin half counts anticlockwise, with the keyway between 1 and 2.
    listed(
        "m12-a-5",
        round(8.6),
        Key::Top,
        Numbered(5),
        Points(&[(1.77, 1.77), (-1.77, 1.77), (-1.77, -1.77), (1.77, -1.77), (0.0, 0.0)]),
        1.0,
        "IEC 61076-2-101 A-coding, order from memory, spacing approximate",
    ),
    listed(
        "stanag4007-12",
        round(46.0),
        Key::None,
        Listed("A B C D E F H J K L M N"),
        Rings(&[(9, 0.0), (3, 0.0)]),
        3.5,
        "STANAG 4007, contact letters as published; positions drawn for readability",
    ),
    listed(
        "din72552-relay-5",
        rectangle(28.0, 28.0),
        Key::None,
        Listed("30 85 86 87 87a"),
        Points(&[(0.0, -8.5), (8.5, 0.0), (-8.5, 0.0), (0.0, 8.5), (0.0, 0.0)]),
        4.0,
        "DIN 72552 terminal numbers; cross-shaped layout from memory, 85 and 86 may be exchanged",
    ),
    own("round-3", round(14.0), Key::Top, Listed("A B C"), Rings(&[(3, 0.0)])),
    own("round-4", round(14.0), Key::Top, Listed("A B C D"), Rings(&[(4, 45.0)])),
    own("round-7", round(18.0), Key::Top, Listed("A B C D E F G"), Rings(&[(6, 0.0), (1, 0.0)])),
    own(
        "round-14",
        round(24.0),
        Key::Top,
        Listed("A B C D E F G H J K L M N P"),
        Rings(&[(10, 0.0), (4, 45.0)]),
    ),
    own(
        "rect-2",
        rectangle(14.0, 8.0),
        Key::Latch,
        Numbered(2),
        Rows { counts: &[2], along: 5.0, between: 5.0, top: 0.0 },
    ),
    own(
        "rect-4",
        rectangle(14.0, 14.0),
        Key::Latch,
        Numbered(4),
        Rows { counts: &[2, 2], along: 5.0, between: 5.0, top: 2.5 },
    ),
    own(
        "rect-6",
        rectangle(19.0, 14.0),
        Key::Latch,
        Numbered(6),
        Rows { counts: &[3, 3], along: 5.0, between: 5.0, top: 2.5 },
    ),
    own(
        "rect-8",
        rectangle(24.0, 14.0),
        Key::Latch,
        Numbered(8),
        Rows { counts: &[4, 4], along: 5.0, between: 5.0, top: 2.5 },
    ),
    own(
        "rect-12",
        rectangle(34.0, 14.0),
        Key::Latch,
        Numbered(12),
        Rows { counts: &[6, 6], along: 5.0, between: 5.0, top: 2.5 },
    ),
];

/// The numbered contacts' names; no arrangement here has more.
#[rustfmt::skip]
pub(super) static NUMBERS: [&str; 128] = [
    "1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "11", "12", "13", "14", "15", "16",
    "17", "18", "19", "20", "21", "22", "23", "24", "25", "26", "27", "28", "29", "30", "31", "32",
    "33", "34", "35", "36", "37", "38", "39", "40", "41", "42", "43", "44", "45", "46", "47", "48",
    "49", "50", "51", "52", "53", "54", "55", "56", "57", "58", "59", "60", "61", "62", "63", "64",
    "65", "66", "67", "68", "69", "70", "71", "72", "73", "74", "75", "76", "77", "78", "79", "80",
    "81", "82", "83", "84", "85", "86", "87", "88", "89", "90", "91", "92", "93", "94", "95", "96",
    "97", "98", "99", "100", "101", "102", "103", "104", "105", "106", "107", "108", "109", "110", "111", "112",
    "113", "114", "115", "116", "117", "118", "119", "120", "121", "122", "123", "124", "125", "126", "127", "128",
];
