//! Numbers with units, and colours, as people write them.
//!
//! Comes in: the text of a cell, and a unit from the head of its column. Goes out: what a definition writes, or the
//! reason why the text is none. Gauge systems as in [`Gauge`]; colours by IEC 60757.

use super::ask::{Ask, Trouble};
use super::desk::Desk;
use super::field::{HeadUnit, gauge_unit, length_unit};
use super::options::Decimal;
use crate::definition::colour::{Code, Colour};
use crate::units::{self, Gauge, Metres, Quantity};

/// A length as a definition writes it, such as `850 mm`.
pub(super) fn length(text: &str, unit: Option<HeadUnit>, desk: &mut Desk<'_>) -> Result<String, Trouble> {
    let (number, written) = split(text);
    let written = written.trim().trim_end_matches('.').to_lowercase();
    let headed = written.is_empty() && unit.is_some();
    let unit = match (written.as_str(), unit) {
        ("", Some(HeadUnit::Length(unit))) => unit,
        ("", _) => match desk.options.length_unit {
            Some(unit) => unit,
            None => return Trouble::ask(Ask::LengthUnit, text),
        },
        (written, _) => match length_unit(written) {
            Some(unit) => unit,
            None => {
                return Trouble::reject(format!("`{text}` is no length: write it as {}", Metres::SUGGEST));
            }
        },
    };
    let plain = decimal(number, desk)?;
    let found = format!("{plain} {unit}");
    match units::parse::<Metres>(&found) {
        Ok(_) => {
            note(desk, "length", text, &plain, &found, headed);
            Ok(found)
        }
        Err(error) => Trouble::reject(format!("`{text}`: {error}: {}", error.suggest())),
    }
}

/// A conductor size as a definition writes it, such as `1.5 mm2` or `16 AWG`.
pub(super) fn gauge(text: &str, unit: Option<HeadUnit>, desk: &mut Desk<'_>) -> Result<String, Trouble> {
    let lower = text.to_lowercase();
    let Some((number, written)) = split_system(&lower) else {
        return Trouble::reject(format!("`{text}` is no conductor size: write it as {}", Gauge::SUGGEST));
    };
    let whole = !number.contains(['.', ',']);
    let headed = written.is_none() && unit.is_some();
    let system = match (written, unit) {
        (Some(system), _) | (None, Some(HeadUnit::Gauge(system))) => system,
        // Numbers of AWG and SAE are whole.
        (None, _) if !whole => "mm2",
        (None, _) => match desk.options.gauge_unit {
            Some(system) => system,
            None => return Trouble::ask(Ask::GaugeUnit, text),
        },
    };
    let number = if system == "mm2" { decimal(&number, desk)? } else { number };
    let found = format!("{number} {system}");
    match Gauge::parse(&found) {
        Ok(_) => {
            note(desk, "gauge", text, &number, &found, headed);
            Ok(found)
        }
        Err(error) => Trouble::reject(format!("`{text}`: {error}: {}", error.suggest())),
    }
}

/// Notes that a value was rewritten; a unit that its column's head gives has been said there already.
fn note(desk: &mut Desk<'_>, what: &'static str, text: &str, number: &str, found: &str, headed: bool) {
    if !headed || number != text {
        desk.note(what, text, found);
    }
}

/// A number and the system beside it, on either side: `16 awg`, `awg 16`, `#16`, `1.5mm²`. A `gauge` alone names none.
fn split_system(lower: &str) -> Option<(String, Option<&'static str>)> {
    let is_number = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '/');
    let start = lower.find(|c: char| c.is_ascii_digit())?;
    let end = lower[start..].find(|c: char| !is_number(c)).map_or(lower.len(), |length| start + length);
    let number = lower[start..end].to_owned();
    let squeeze = |text: &str| text.chars().filter(|c| !c.is_whitespace() && *c != '.').collect::<String>();
    let (before, after) = (squeeze(&lower[..start]), squeeze(&lower[end..]));
    let word = match (before.as_str(), after.as_str()) {
        ("" | "#" | "no", after) => after.to_owned(),
        (before, "") => before.trim_end_matches(['#', '-']).to_owned(),
        _ => return None,
    };
    match word.as_str() {
        "" | "ga" | "gauge" | "g" => Some((number, None)),
        word => gauge_unit(word).map(|system| (number, Some(system))),
    }
}

/// Words between two colours that are none.
const FILLERS: [&str; 8] = ["with", "and", "stripe", "stripes", "striped", "on", "tracer", "trace"];

/// A colour; `None` where the user has said that the text is none.
pub(super) fn colour(text: &str, desk: &mut Desk<'_>) -> Result<Option<Colour>, Trouble> {
    let lower = text.trim().to_lowercase();
    if let Some(found) = desk.options.colours.get(&lower) {
        desk.note("colour", text, &found.as_ref().map_or("none".to_owned(), ToString::to_string));
        return Ok(found.clone());
    }
    if let Ok(colour) = Colour::parse(text) {
        return Ok(Some(colour));
    }
    // `red w/ white` is red with white, and `r/w` red and white.
    let plain = lower.replace(" w/ ", " with ");
    let words = plain.split(|c: char| !c.is_alphabetic());
    let words: Vec<&str> = words.filter(|word| !word.is_empty() && !FILLERS.contains(word)).collect();
    let mut letters = Vec::new();
    for word in &words {
        let part = desk.options.colours.get(*word);
        match (part, &Code::meant(word)[..]) {
            (Some(Some(colour)), _) => letters.push(colour.to_string()),
            (None, [code]) => letters.push(code.letters().to_owned()),
            // One word of several: ask about that word, so that one answer settles all cells that have it.
            (None, [_, _, ..]) => return Trouble::ask(Ask::Colour, *word),
            _ => return Trouble::ask(Ask::Colour, text.trim()),
        }
    }
    let both = words == ["green", "yellow"] && !text.contains('/');
    let written = if both { "GNYE".to_owned() } else { letters.join("/") };
    match Colour::parse(&written) {
        Ok(colour) => {
            desk.note("colour", text, &written);
            Ok(Some(colour))
        }
        Err(_) => Trouble::ask(Ask::Colour, text.trim()),
    }
}

/// A number, and what stands behind it.
fn split(text: &str) -> (&str, &str) {
    let text = text.trim();
    let is_number = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+');
    let end = text.find(|c: char| !is_number(c)).unwrap_or(text.len());
    text.split_at(end)
}

/// A number with a point as decimal sign and nothing between its thousands.
fn decimal(number: &str, desk: &mut Desk<'_>) -> Result<String, Trouble> {
    let grouped = |sign: char| {
        let groups: Vec<&str> = number.split(sign).collect();
        let digits = |text: &&str| text.bytes().all(|b| b.is_ascii_digit());
        groups.len() > 1
            && groups.iter().all(digits)
            && (1..=3).contains(&groups[0].len())
            && !groups[0].starts_with('0')
            && groups[1..].iter().all(|group| group.len() == 3)
    };
    let said = desk.options.decimal;
    let wrong = || {
        let sign = if said == Some(Decimal::Comma) { "a comma" } else { "a point" };
        Trouble::reject(format!("`{number}` is no number with {sign} as decimal sign"))
    };
    let commas = number.matches(',').count();
    let points = number.matches('.').count();
    match (commas, points, said) {
        (0, 0, _) => Ok(number.to_owned()),
        (0, 1, Some(Decimal::Comma)) if grouped('.') => Ok(number.replace('.', "")),
        (0, 1, Some(Decimal::Comma)) => wrong(),
        (0, 1, _) => {
            if grouped('.') && said.is_none() {
                desk.pointed.push((desk.row, number.to_owned()));
            }
            Ok(number.to_owned())
        }
        (1, 0, None) if grouped(',') => Trouble::ask(Ask::Decimal, number),
        (_, 0, Some(Decimal::Point)) if grouped(',') => Ok(number.replace(',', "")),
        (1, 0, None | Some(Decimal::Comma)) => {
            desk.comma_seen = true;
            Ok(number.replace(',', "."))
        }
        _ => wrong(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::options::Options;
    use super::*;

    fn read(
        text: &str,
        options: &Options,
        read: impl Fn(&str, &mut Desk<'_>) -> Result<String, Trouble>,
    ) -> Result<String, String> {
        read(text, &mut Desk::new(options)).map_err(|trouble| match trouble {
            Trouble::Reject(reason) => reason,
            Trouble::Ask(Ask::Colour, word) => format!("Colour {word}"),
            Trouble::Ask(ask, _) => format!("{ask:?}"),
        })
    }

    #[test]
    fn lengths_keep_their_unit_and_ask_for_one() {
        let plain = Options::default();
        let bare = |text: &str, desk: &mut Desk<'_>| length(text, None, desk);
        for (text, wanted) in [
            ("850 mm", "850 mm"),
            ("85cm", "85 cm"),
            ("2,4 m", "2.4 m"),
            ("34\"", "34 in"),
            ("34 in.", "34 in"),
            ("8 feet", "8 ft"),
            ("2.4 Metres", "2.4 m"),
        ] {
            assert_eq!(read(text, &plain, bare).as_deref(), Ok(wanted), "{text}");
        }
        assert_eq!(read("850", &plain, bare), Err("LengthUnit".to_owned()));
        assert_eq!(read("1,200 mm", &plain, bare), Err("Decimal".to_owned()));
        for text in ["long", "5'6\"", "1.2.3 m", "-2 m", "2 V", "1e5 m", "0,5,5 m"] {
            assert!(read(text, &plain, bare).is_err_and(|e| e.contains('`')), "{text}");
        }
        let point = Options { decimal: Some(Decimal::Point), ..Options::default() };
        assert_eq!(read("1,200 mm", &point, bare).as_deref(), Ok("1200 mm"));
        assert!(read("1,2 mm", &point, bare).is_err());
        let comma = Options { decimal: Some(Decimal::Comma), length_unit: Some("mm"), ..Options::default() };
        assert_eq!(read("1.200", &comma, bare).as_deref(), Ok("1200 mm"));
        assert_eq!(read("1,200", &comma, bare).as_deref(), Ok("1.200 mm"));
        let headed = |text: &str, desk: &mut Desk<'_>| length(text, Some(HeadUnit::Length("mm")), desk);
        assert_eq!(read("850", &plain, headed).as_deref(), Ok("850 mm"));
        assert_eq!(read("2 m", &plain, headed).as_deref(), Ok("2 m"));
    }

    #[test]
    fn sizes_keep_their_system_and_ask_for_one() {
        let plain = Options::default();
        let bare = |text: &str, desk: &mut Desk<'_>| gauge(text, None, desk);
        for (text, wanted) in [
            ("16 AWG", "16 AWG"),
            ("AWG16", "16 AWG"),
            ("AWG #16", "16 AWG"),
            ("2/0 AWG", "2/0 AWG"),
            ("1,5 mm²", "1.5 mm2"),
            ("0.75sq mm", "0.75 mm2"),
            ("14 SAE", "14 SAE"),
            ("0.75", "0.75 mm2"),
        ] {
            assert_eq!(read(text, &plain, bare).as_deref(), Ok(wanted), "{text}");
        }
        for text in ["16", "#16", "16 ga", "16 gauge"] {
            assert_eq!(read(text, &plain, bare), Err("GaugeUnit".to_owned()), "{text}");
        }
        for text in ["thick", "41 AWG", "16 V", "0 mm2", "16 x 1.5 mm2"] {
            assert!(read(text, &plain, bare).is_err_and(|e| e.contains('`')), "{text}");
        }
        let said = Options { gauge_unit: Some("AWG"), ..Options::default() };
        assert_eq!(read("#16", &said, bare).as_deref(), Ok("16 AWG"));
        assert_eq!(read("1.5", &said, bare).as_deref(), Ok("1.5 mm2"));
    }

    #[test]
    fn colours_become_codes_or_questions() {
        let plain = Options::default();
        let show = |text: &str, desk: &mut Desk<'_>| {
            colour(text, desk).map(|colour| colour.map_or("none".to_owned(), |c| c.to_string()))
        };
        for (text, wanted) in [
            ("RD/WH", "RD/WH"),
            ("GNYE", "GNYE"),
            ("WHGN", "WHGN"),
            ("red", "RD"),
            ("Red-White", "RD/WH"),
            ("red w/ white stripe", "RD/WH"),
            ("BLK", "BK"),
            ("YEL/GRN", "YE/GN"),
            ("Purple", "VT"),
            ("green-yellow", "GNYE"),
            ("R/W", "RD/WH"),
        ] {
            assert_eq!(read(text, &plain, show).as_deref(), Ok(wanted), "{text}");
        }
        for (text, asked) in [
            ("BL", "Colour bl"),
            ("BL/WH", "Colour bl"),
            ("light blue", "Colour light blue"),
            ("clear", "Colour clear"),
        ] {
            assert_eq!(read(text, &plain, show), Err(asked.to_owned()), "{text}");
        }
        let blue = Some(Colour::parse("BU").unwrap());
        let colours = [("bl".to_owned(), blue), ("clear".to_owned(), None)].into();
        let said = Options { colours, ..Options::default() };
        assert_eq!(read("BL/WH", &said, show).as_deref(), Ok("BU/WH"));
        assert_eq!(read("Clear", &said, show).as_deref(), Ok("none"));
    }
}
