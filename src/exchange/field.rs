//! What a column can mean, and the words that people head it with.

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Field {
    /// Id of a wire.
    Wire,
    /// One end of a wire: `P1.K`, a splice, a terminal.
    From,
    /// The connector of that end, its contact in a column of its own.
    FromConnector,
    /// The contact of that end.
    FromContact,
    /// What that end is: contact, splice, terminal or ground.
    FromKind,
    /// The other end.
    To,
    /// The connector of the other end.
    ToConnector,
    /// The contact of the other end.
    ToContact,
    /// What the other end is.
    ToKind,
    /// The connector of a pin map.
    Connector,
    /// The contact of a pin map.
    Contact,
    /// Other markings of a contact.
    Also,
    /// What a contact is for.
    Signal,
    /// Conductor size.
    Gauge,
    /// Insulation colour.
    Colour,
    /// Length.
    Length,
    /// The circuit a wire belongs to.
    Circuit,
    /// Wires with the same mark are twisted together.
    Twisted,
    /// Wires with the same mark share a shield.
    Shield,
    /// A hazard that forbids ordinary probing.
    Hazard,
    /// Continuous current that the maker allows.
    Ampacity,
    /// Temperature the insulation is rated for.
    Rated,
    /// Kept as a comment.
    Note,
    /// Left out on purpose.
    Skip,
}

impl Field {
    /// Every field, with the name that arguments call it by.
    pub const ALL: [(&'static str, Self); 24] = [
        ("wire", Self::Wire),
        ("from", Self::From),
        ("from-connector", Self::FromConnector),
        ("from-contact", Self::FromContact),
        ("from-is", Self::FromKind),
        ("to", Self::To),
        ("to-connector", Self::ToConnector),
        ("to-contact", Self::ToContact),
        ("to-is", Self::ToKind),
        ("connector", Self::Connector),
        ("contact", Self::Contact),
        ("also", Self::Also),
        ("signal", Self::Signal),
        ("gauge", Self::Gauge),
        ("colour", Self::Colour),
        ("length", Self::Length),
        ("circuit", Self::Circuit),
        ("twisted", Self::Twisted),
        ("shield", Self::Shield),
        ("hazard", Self::Hazard),
        ("ampacity", Self::Ampacity),
        ("rated", Self::Rated),
        ("note", Self::Note),
        ("skip", Self::Skip),
    ];

    /// Its name.
    pub fn name(self) -> &'static str {
        Self::ALL.iter().find(|(_, field)| *field == self).map_or("", |(name, _)| name)
    }

    /// From its name.
    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL.iter().find(|(name, _)| *name == text).map(|(_, field)| *field)
    }

    /// Whether several columns may hold it.
    pub fn may_repeat(self) -> bool {
        matches!(self, Self::Note | Self::Skip)
    }

    /// Whether it says where a wire ends.
    pub fn is_end(self) -> bool {
        self.side().is_some() || matches!(self, Self::Connector | Self::Contact)
    }

    /// The side of a wire it belongs to.
    pub fn side(self) -> Option<Side> {
        match self {
            Self::From | Self::FromConnector | Self::FromContact | Self::FromKind => Some(Side::From),
            Self::To | Self::ToConnector | Self::ToContact | Self::ToKind => Some(Side::To),
            _ => None,
        }
    }

    /// A connector or contact column as one of a side.
    #[must_use]
    pub fn of_side(self, side: Side) -> Self {
        match (self, side) {
            (Self::Connector | Self::From, Side::From) => Self::FromConnector,
            (Self::Contact, Side::From) => Self::FromContact,
            (Self::Connector | Self::To, Side::To) => Self::ToConnector,
            (Self::Contact, Side::To) => Self::ToContact,
            (field, _) => field,
        }
    }
}

/// One of the two ends of a wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Side {
    /// The end written first.
    From,
    /// The other.
    To,
}

/// A unit that a column's head names for all its cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum HeadUnit {
    /// A unit of length, as definitions write it.
    Length(&'static str),
    /// A system of conductor sizes, as definitions write it.
    Gauge(&'static str),
}

impl HeadUnit {
    /// As definitions write it.
    pub(super) fn word(self) -> &'static str {
        let (Self::Length(word) | Self::Gauge(word)) = self;
        word
    }
}

/// Spellings of units of length, and how definitions write them.
pub(super) const LENGTHS: [(&str, &str); 18] = [
    ("mm", "mm"),
    ("millimetres", "mm"),
    ("millimeters", "mm"),
    ("cm", "cm"),
    ("m", "m"),
    ("mtr", "m"),
    ("metre", "m"),
    ("metres", "m"),
    ("meter", "m"),
    ("meters", "m"),
    ("in", "in"),
    ("inch", "in"),
    ("inches", "in"),
    ("\"", "in"),
    ("ft", "ft"),
    ("foot", "ft"),
    ("feet", "ft"),
    ("'", "ft"),
];

/// Spellings of systems of conductor sizes, and how definitions write them.
pub(super) const GAUGES: [(&str, &str); 8] = [
    ("awg", "AWG"),
    ("sae", "SAE"),
    ("mm2", "mm2"),
    ("mm²", "mm2"),
    ("mm^2", "mm2"),
    ("sqmm", "mm2"),
    ("qmm", "mm2"),
    ("mmsq", "mm2"),
];

fn spelt(table: &[(&str, &'static str)], text: &str) -> Option<&'static str> {
    table.iter().find(|(spelling, _)| *spelling == text).map(|(_, unit)| *unit)
}

/// The unit of length of a spelling.
pub fn length_unit(text: &str) -> Option<&'static str> {
    spelt(&LENGTHS, text)
}

/// The system of conductor sizes of a spelling.
pub fn gauge_unit(text: &str) -> Option<&'static str> {
    spelt(&GAUGES, text)
}

/// The words that name a field whatever stands beside them, in the order in which they decide.
const PLAIN: [(Field, &[&str]); 14] = [
    (Field::Skip, &["row", "reason", "item", "line", "qty", "quantity", "definition", "revision", "hash"]),
    (
        Field::Note,
        &["note", "notes", "remark", "remarks", "comment", "comments", "description", "route", "trunk"],
    ),
    (Field::Colour, &["colour", "color", "colours", "colors", "col", "clr"]),
    (Field::Length, &["length", "len", "lg"]),
    (Field::Twisted, &["twisted", "twist", "pair", "pairs"]),
    (Field::Shield, &["shield", "shielding", "screen"]),
    (Field::Hazard, &["hazard"]),
    (Field::Ampacity, &["ampacity"]),
    (Field::Rated, &["rated", "rating"]),
    (Field::Also, &["also", "marking", "moulded", "molded"]),
    (Field::Signal, &["signal", "function", "net", "designation", "purpose", "use"]),
    (Field::Circuit, &["circuit", "ckt"]),
    (Field::Gauge, &["gauge", "size", "csa", "section", "cross", "xsection"]),
    (Field::Wire, &["wire", "wires", "cable", "lead", "conductor", "core"]),
];

const FROM: [&str; 6] = ["from", "start", "source", "src", "origin", "begin"];
const TO: [&str; 6] = ["to", "destination", "dest", "dst", "target", "finish"];
const CONNECTORS: [&str; 13] = [
    "connector",
    "connectors",
    "conn",
    "plug",
    "device",
    "component",
    "unit",
    "housing",
    "equipment",
    "ref",
    "refdes",
    "designator",
    "module",
];
const CONTACTS: [&str; 9] =
    ["pin", "pins", "contact", "contacts", "cavity", "position", "pos", "way", "socket"];
const POINTS: [&str; 5] = ["end", "point", "node", "at", "ends"];
const KINDS: [&str; 3] = ["is", "kind", "type"];
/// A column about these is none of ours, whatever else its head says.
const FOREIGN: [&str; 9] =
    ["part", "manufacturer", "supplier", "seal", "price", "pn", "tool", "crimp", "drawing"];

/// What the head of a column says: its field, and a unit for its cells.
pub(super) fn of_head(head: &str) -> Option<(Field, Option<HeadUnit>)> {
    let words = words(head);
    if words.is_empty() || head.len() > 60 {
        return None;
    }
    let has = |list: &[&str]| words.iter().any(|word| list.contains(&word.as_str()));
    if has(&FOREIGN) {
        return None;
    }
    // `length in feet` is one in feet.
    let unit = |find: fn(&str) -> Option<&'static str>| {
        let named = words.iter().filter(|word| *word != "in").find_map(|word| find(word));
        named.or_else(|| words.iter().find_map(|word| find(word)))
    };
    let side = side(&words);
    if side.is_some() && !has(&["wire", "colour", "color", "length"]) {
        return of_end(&words, side).map(|field| (field, None));
    }
    let plain = PLAIN.iter().find(|(_, list)| has(list)).map(|(field, _)| *field);
    let field = match plain {
        // The size of a contact or a connector is no wire's.
        Some(Field::Gauge) if has(&CONTACTS) || has(&CONNECTORS) => return None,
        Some(field) => field,
        None => match of_end(&words, None) {
            Some(field) => field,
            // `in` and `m` alone are no heads of a length.
            None if words.len() == 1 && words[0].len() > 1 && words[0] != "in" => match () {
                () if length_unit(&words[0]).is_some() => Field::Length,
                () if gauge_unit(&words[0]).is_some() => Field::Gauge,
                () => return None,
            },
            None => return None,
        },
    };
    let unit = match field {
        Field::Length => unit(length_unit).map(HeadUnit::Length),
        Field::Gauge => unit(gauge_unit).map(HeadUnit::Gauge),
        _ => None,
    };
    // `wire AWG` and `wire mm2` are sizes of wires.
    if let (Field::Wire, Some(found)) = (field, unit_of_wire(&words)) {
        return Some(found);
    }
    Some((field, unit))
}

fn unit_of_wire(words: &[String]) -> Option<(Field, Option<HeadUnit>)> {
    let unit = words.iter().find_map(|word| gauge_unit(word))?;
    Some((Field::Gauge, Some(HeadUnit::Gauge(unit))))
}

/// Which end: by a word, or by `A` and `B` (`1` and `2`) beside a word for a connector, contact or point.
fn side(words: &[String]) -> Option<Side> {
    let has = |list: &[&str]| words.iter().any(|word| list.contains(&word.as_str()));
    if has(&FROM) {
        return Some(Side::From);
    }
    if has(&TO) {
        return Some(Side::To);
    }
    let thing = has(&CONNECTORS) || has(&CONTACTS) || has(&POINTS);
    match () {
        () if thing && has(&["a", "1"]) => Some(Side::From),
        () if thing && has(&["b", "2"]) => Some(Side::To),
        () => None,
    }
}

fn of_end(words: &[String], side: Option<Side>) -> Option<Field> {
    let has = |list: &[&str]| words.iter().any(|word| list.contains(&word.as_str()));
    let (connector, contact) = (has(&CONNECTORS), has(&CONTACTS) || (side.is_some() && has(&["terminal"])));
    let field = match (connector, contact) {
        (true, false) => Some(Field::Connector),
        (false, true) => Some(Field::Contact),
        (true, true) | (false, false) => None,
    };
    match (side, field) {
        (Some(Side::From), _) if has(&KINDS) => Some(Field::FromKind),
        (Some(Side::To), _) if has(&KINDS) => Some(Field::ToKind),
        // `connector type` says what to buy.
        (None, _) if has(&KINDS) => None,
        (Some(side), Some(field)) => Some(field.of_side(side)),
        (Some(Side::From), None) => Some(Field::From),
        (Some(Side::To), None) => Some(Field::To),
        (None, None) if connector => Some(Field::Contact),
        (None, field) => field,
    }
}

/// The words of a head in lower case: cut at signs and where a capital follows a small letter.
fn words(head: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut before = ' ';
    for c in head.chars() {
        let inside = c.is_alphanumeric() || matches!(c, '²' | '^');
        if (!inside || (c.is_uppercase() && before.is_lowercase())) && !words[words.len() - 1].is_empty() {
            words.push(String::new());
        }
        if inside {
            let last = words.len() - 1;
            words[last].extend(c.to_lowercase());
        }
        before = c;
    }
    words.retain(|word| !word.is_empty());
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heads_that_people_write_are_understood() {
        for (head, field) in [
            ("From", Field::From),
            ("FROM PIN", Field::FromContact),
            ("FromConnector", Field::FromConnector),
            ("From connector / pin", Field::From),
            ("To", Field::To),
            ("Destination", Field::To),
            ("Connector A", Field::FromConnector),
            ("Pin 2", Field::ToContact),
            ("End B", Field::To),
            ("Pin", Field::Contact),
            ("Cavity", Field::Contact),
            ("Pin function", Field::Signal),
            ("Wire No.", Field::Wire),
            ("Wire colour", Field::Colour),
            ("Color", Field::Colour),
            ("Wire size (AWG)", Field::Gauge),
            ("AWG", Field::Gauge),
            ("mm²", Field::Gauge),
            ("Cut length [mm]", Field::Length),
            ("metres", Field::Length),
            ("Remarks", Field::Note),
            ("from is", Field::FromKind),
        ] {
            assert_eq!(of_head(head).map(|(field, _)| field), Some(field), "{head}");
        }
        for head in ["", "Supplier", "Connector part no", "Connector type", "P1", "in", "31A", "Contact size"]
        {
            assert_eq!(of_head(head), None, "{head}");
        }
    }

    #[test]
    fn units_in_heads_hold_for_the_column() {
        assert_eq!(of_head("Length (mm)"), Some((Field::Length, Some(HeadUnit::Length("mm")))));
        assert_eq!(of_head("Length in feet"), Some((Field::Length, Some(HeadUnit::Length("ft")))));
        assert_eq!(of_head("Wire AWG"), Some((Field::Gauge, Some(HeadUnit::Gauge("AWG")))));
        assert_eq!(of_head("Length"), Some((Field::Length, None)));
    }

    #[test]
    fn every_field_has_a_name_of_its_own() {
        for (name, field) in Field::ALL {
            assert_eq!((Field::parse(name), field.name()), (Some(field), name));
        }
    }
}
