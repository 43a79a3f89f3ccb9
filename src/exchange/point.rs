//! Where wires end, as people write it: `J1-A`, `J1.A`, `J1/A`, `J1:A`, `J1 pin A`, `J1.1-4`, `SP2`.

use super::ask::{Ask, Trouble};
use super::desk::Desk;
use super::options::Dash;

/// Where a wire ends.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum End {
    /// A contact of a connector.
    Contact(String, String),
    /// A name alone: a splice or a terminal.
    Joint(String),
}

impl End {
    /// As definitions write it.
    pub(super) fn name(&self) -> String {
        match self {
            Self::Contact(connector, contact) => format!("{connector}.{contact}"),
            Self::Joint(name) => name.clone(),
        }
    }
}

/// What a name without a contact is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Joint {
    /// A splice.
    Splice,
    /// A terminal.
    Terminal,
    /// A terminal on the frame.
    Ground,
}

impl Joint {
    /// As a word.
    pub(super) fn word(self) -> &'static str {
        match self {
            Self::Splice => "splice",
            Self::Terminal => "terminal",
            Self::Ground => "ground",
        }
    }

    /// By the word that such names begin with; common practice, no source.
    pub(super) fn by_name(name: &str) -> Option<Self> {
        let head: String =
            name.chars().take_while(|c| c.is_alphabetic()).flat_map(char::to_uppercase).collect();
        match head.as_str() {
            "SP" | "SPL" | "SPLICE" | "JOINT" => Some(Self::Splice),
            "GND" | "GP" | "GROUND" | "EARTH" | "CHASSIS" | "FRAME" => Some(Self::Ground),
            "STUD" | "LUG" | "RING" => Some(Self::Terminal),
            _ => None,
        }
    }
}

/// The most contacts that one range may stand for.
const MOST: usize = 1000;

/// Signs between the first and the last of a range that are nothing else.
const RANGES: [&str; 5] = ["...", "..", "…", " to ", "–"];

/// Cuts a cell into the things it lists: at commas, semicolons, line ends, `&` and `and`.
pub(super) fn listed(text: &str) -> Vec<&str> {
    let parts = text.split([',', ';', '\n', '\r', '&']).flat_map(|part| part.split(" and "));
    parts.map(str::trim).filter(|part| !part.is_empty()).collect()
}

/// The contacts that a cell of a contact column names.
pub(super) fn contacts(text: &str, desk: &mut Desk<'_>) -> Result<Vec<String>, Trouble> {
    let mut found = Vec::new();
    for part in listed(text) {
        found.extend(contact_range(part, text, desk)?);
    }
    if found.is_empty() { Trouble::reject(format!("`{text}` names no contact")) } else { Ok(found) }
}

/// The ends that a cell names; all are contacts of `connector` where it is given.
pub(super) fn ends(text: &str, connector: Option<&str>, desk: &mut Desk<'_>) -> Result<Vec<End>, Trouble> {
    let mut found = Vec::new();
    if let Some(connector) = connector {
        let connector = desk.id("connector", connector)?;
        let contacts = contacts(text, desk)?;
        return Ok(contacts.into_iter().map(|contact| End::Contact(connector.clone(), contact)).collect());
    }
    for part in listed(text) {
        found.extend(one(part, text, desk)?);
    }
    if found.is_empty() { Trouble::reject(format!("`{text}` names no end")) } else { Ok(found) }
}

/// A name that is a splice or a terminal whatever signs it holds, because the user or its column says so.
pub(super) fn joint(text: &str, desk: &mut Desk<'_>) -> Result<End, Trouble> {
    let text = text.trim();
    // The word for the machine's frame is no name of a thing on it.
    if text == crate::definition::Names::CHASSIS {
        desk.note("name", text, "CHASSIS");
        return Ok(End::Joint("CHASSIS".to_owned()));
    }
    Ok(End::Joint(desk.id("name", text)?))
}

fn one(part: &str, whole: &str, desk: &mut Desk<'_>) -> Result<Vec<End>, Trouble> {
    let options = desk.options;
    if [&options.splices, &options.terminals, &options.grounds].iter().any(|set| set.contains(part)) {
        return Ok(vec![joint(part, desk)?]);
    }
    let Some((connector, contact)) = cut(part, desk)? else {
        return Ok(vec![joint(part, desk)?]);
    };
    let connector = desk.id("connector", connector)?;
    let contacts = contact_range(contact, whole, desk)?;
    Ok(contacts.into_iter().map(|contact| End::Contact(connector.clone(), contact)).collect())
}

/// Cuts a point into connector and contact; `None` where it is a name alone.
fn cut<'t>(part: &'t str, desk: &Desk<'_>) -> Result<Option<(&'t str, &'t str)>, Trouble> {
    // `J1 pin A` and `J1 (A)` before the signs that may stand in either name.
    for word in [" pin ", " contact ", " cavity "] {
        if let Some(at) = part.to_ascii_lowercase().find(word) {
            return Ok(Some((&part[..at], &part[at + word.len()..])));
        }
    }
    if let Some((connector, contact)) = part.strip_suffix(')').and_then(|rest| rest.split_once('(')) {
        return Ok(Some((connector, contact)));
    }
    // In `J1.1..4` the connector stands before the range.
    let range = RANGES.iter().filter_map(|sign| part.find(sign)).min().unwrap_or(part.len());
    let before = &part[..range];
    let at = [':', '.', '/'].into_iter().find_map(|sign| before.rfind(sign));
    if let Some(at) = at.or_else(|| before.trim_end().rfind(' ')) {
        return Ok(Some((&part[..at], &part[at + 1..])));
    }
    let Some((left, right)) =
        part.rsplit_once('-').filter(|(left, right)| !left.is_empty() && !right.is_empty())
    else {
        return Ok(None);
    };
    // `1-4`, `A-D`, `J1-1-4`: what stands to the left may be the first of a range.
    let first = left.rsplit_once('-').map_or(left, |(_, first)| first);
    match (is_span(first, right), desk.options.dash) {
        (false, _) if Joint::by_name(left).is_some() => Trouble::ask(Ask::Joint, part),
        (false, _) | (true, Some(Dash::Contact)) => Ok(Some((left, right))),
        (true, None) => Trouble::ask(Ask::Dash, part),
        (true, Some(Dash::Name)) => {
            Ok(left.rsplit_once('-').map(|(connector, _)| (connector, &part[connector.len() + 1..])))
        }
        (true, Some(Dash::Range)) => match left.rsplit_once('-') {
            Some((connector, _)) => Ok(Some((connector, &part[connector.len() + 1..]))),
            None => Trouble::reject(format!(
                "`{part}` is a range of contacts of no connector: --connector names one, or write J1.{part}"
            )),
        },
    }
}

/// Whether two texts can be the first and last of a range: two rising numbers, or two rising letters.
fn is_span(first: &str, last: &str) -> bool {
    match (first.parse::<u32>(), last.parse::<u32>()) {
        (Ok(first), Ok(last)) => first < last,
        _ => letters(first, last).is_some(),
    }
}

fn letters(first: &str, last: &str) -> Option<(char, char)> {
    let one = |text: &str| {
        let mut chars = text.chars();
        chars.next().filter(|c| c.is_ascii_alphabetic() && chars.next().is_none())
    };
    let (first, last) = (one(first)?, one(last)?);
    (first < last && first.is_ascii_uppercase() == last.is_ascii_uppercase()).then_some((first, last))
}

/// One contact, or all of a range: `1..4`, `1 to 4` and `1–4` are ranges, `1-4` is one if the user says so.
fn contact_range(part: &str, whole: &str, desk: &mut Desk<'_>) -> Result<Vec<String>, Trouble> {
    let part = part.trim();
    for sign in RANGES {
        let ends = part.split_once(sign).map(|(a, b)| (a.trim(), b.trim()));
        if let Some((first, last)) = ends.filter(|(first, last)| is_span(first, last)) {
            return expand(first, last, whole);
        }
    }
    let dashed = part.split_once('-').map(|(a, b)| (a.trim(), b.trim()));
    if let Some((first, last)) = dashed.filter(|(first, last)| is_span(first, last)) {
        match desk.options.dash {
            None => return Trouble::ask(Ask::Dash, whole),
            Some(Dash::Range) => return expand(first, last, whole),
            Some(Dash::Name | Dash::Contact) => {}
        }
    }
    let lower = part.to_ascii_lowercase();
    let bare = ["pin ", "contact ", "cavity "].iter().find_map(|word| lower.strip_prefix(word));
    let bare = bare.map_or(part, |rest| &part[part.len() - rest.len()..]);
    Ok(vec![desk.id("contact", bare)?])
}

fn expand(first: &str, last: &str, whole: &str) -> Result<Vec<String>, Trouble> {
    if let (Ok(from), Ok(to)) = (first.parse::<u32>(), last.parse::<u32>()) {
        if (to - from) as usize >= MOST {
            return Trouble::reject(format!("`{whole}` stands for more than {MOST} contacts"));
        }
        // `01-12`: all have as many digits as the first.
        let digits = if first.starts_with('0') { first.len() } else { 0 };
        return Ok((from..=to).map(|n| format!("{n:0digits$}")).collect());
    }
    let Some((from, to)) = letters(first, last) else {
        return Trouble::reject(format!("`{whole}` is no range of contacts"));
    };
    let range: Vec<String> = (from..=to).map(String::from).collect();
    // Many connectors leave these letters out.
    if range.iter().any(|c| matches!(c.to_ascii_uppercase().as_str(), "I" | "O" | "Q")) {
        return Trouble::reject(format!(
            "`{whole}` goes over a letter that many connectors leave out (I, O, Q): list the contacts"
        ));
    }
    Ok(range)
}

/// Ids in a cell: `31A, 32B`, and ranges such as `101..104`.
pub(super) fn ids(text: &str, desk: &mut Desk<'_>) -> Result<Vec<String>, Trouble> {
    let mut found = Vec::new();
    for part in listed(text) {
        let ends = RANGES.iter().find_map(|sign| part.split_once(sign));
        // A dash is part of most ids; of a range only if the user says so.
        let dashed = || part.split_once('-').filter(|_| desk.options.dash == Some(Dash::Range));
        match ends.or_else(dashed).map(|(a, b)| (a.trim(), b.trim())).filter(|(a, b)| is_span(a, b)) {
            Some((first, last)) => found.extend(expand(first, last, text)?),
            None => found.push(desk.id("wire", part)?),
        }
    }
    if found.is_empty() { Trouble::reject(format!("`{text}` names no wire")) } else { Ok(found) }
}

#[cfg(test)]
mod tests {
    use super::super::options::Options;
    use super::*;

    fn read(text: &str, dash: Option<Dash>) -> Result<String, String> {
        let options = Options { dash, splices: ["GND-1".to_owned()].into(), ..Options::default() };
        let mut desk = Desk::new(&options);
        match ends(text, None, &mut desk) {
            Ok(ends) => Ok(ends.iter().map(End::name).collect::<Vec<_>>().join(" ")),
            Err(Trouble::Reject(reason)) => Err(reason),
            Err(Trouble::Ask(ask, _)) => Err(format!("{ask:?}")),
        }
    }

    #[test]
    fn connector_and_contact_are_cut_at_any_usual_sign() {
        for text in ["J1-A", "J1.A", "J1/A", "J1:A", "J1 A", "J1 pin A", "J1 (A)", "J1(A)", " J1 . A "] {
            assert_eq!(read(text, None).as_deref(), Ok("J1.A"), "{text}");
        }
        for (text, wanted) in [
            ("SP2", "SP2"),
            ("J1.A, J2.B", "J1.A J2.B"),
            ("J1.1..4", "J1.1 J1.2 J1.3 J1.4"),
            ("J1.08..11", "J1.08 J1.09 J1.10 J1.11"),
            ("-X1:4", "-X1.4"),
            ("=F1-X1:4", "_F1-X1.4"),
            ("ECU A.7", "ECU_A.7"),
            ("J1-A1", "J1.A1"),
            ("GND-1", "GND-1"),
            ("chassis", "CHASSIS"),
        ] {
            assert_eq!(read(text, None).as_deref(), Ok(wanted), "{text}");
        }
    }

    #[test]
    fn a_dash_between_two_numbers_is_asked_about() {
        for (text, range, contact) in [
            ("J1.1-4", "J1.1 J1.2 J1.3 J1.4", "J1.1-4"),
            ("J1-1-4", "J1.1 J1.2 J1.3 J1.4", "J1-1.4"),
            ("J1.A-C", "J1.A J1.B J1.C", "J1.A-C"),
        ] {
            assert_eq!(read(text, None), Err("Dash".to_owned()), "{text}");
            assert_eq!(read(text, Some(Dash::Range)).as_deref(), Ok(range), "{text}");
            assert_eq!(read(text, Some(Dash::Contact)).as_deref(), Ok(contact), "{text}");
        }
        assert_eq!(read("1-4", None), Err("Dash".to_owned()));
        assert_eq!(read("1-4", Some(Dash::Contact)).as_deref(), Ok("1.4"));
        assert!(read("1-4", Some(Dash::Range)).is_err_and(|e| e.contains("of no connector")));
        assert_eq!(read("4-1", None).as_deref(), Ok("4.1"));
        assert!(read("J1.A-K", Some(Dash::Range)).is_err_and(|e| e.contains("leave out")));
        assert!(read("J1.1..9999", None).is_err_and(|e| e.contains("more than")));
        assert_eq!(read("SP-2", None), Err("Joint".to_owned()));
    }

    #[test]
    fn nonsense_is_refused_without_panic() {
        for text in ["", ",", ".", "/", ":", "J1.", ".A", "J1*.A", "()", "ß~.1", "<1>"] {
            assert!(read(text, None).is_err(), "{text}: {:?}", read(text, None));
        }
    }
}
