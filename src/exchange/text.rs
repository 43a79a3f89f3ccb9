//! From the bytes of a CSV file to a table.
//!
//! Comes in: bytes, and what the user said of them. Goes out: a [`Grid`] that says how it was read. Why: a
//! file called CSV may hold semicolons or tabs, UTF-8, UTF-16 or what Western Windows writes, and a wrong guess shows
//! only later, in a name.

use csv::{ReaderBuilder, StringRecord};
use encoding_rs::{Encoding, UTF_8, WINDOWS_1252};

use super::defuse;
use super::grid::{Cell, Grid, GridError, MOST_CELLS, Row};

/// What may separate cells, with its name.
const SEPARATORS: [(u8, &str); 4] = [(b',', "comma"), (b';', "semicolon"), (b'\t', "tab"), (b'|', "bar")];

/// So many rows are looked at to find the separator.
const TRIED: usize = 200;

/// A separator by its name (`comma`, `semicolon`, `tab`, `bar`) or its sign.
pub fn separator(text: &str) -> Option<u8> {
    let sign = |sign: u8| text.len() == 1 && text.as_bytes()[0] == sign;
    SEPARATORS.iter().find(|(s, name)| *name == text || sign(*s)).map(|(s, _)| *s)
}

/// Reads CSV.
///
/// Quotation marks and line ends as RFC 4180 has them; LF alone and CR alone end a row too. A separator or a character
/// set that is not given is found from the text and named in [`Grid::how`].
///
/// # Errors
/// An open quotation mark, a separator that cannot be told, no table at all.
pub fn read_csv(bytes: &[u8], given: Option<u8>, charset: Option<&str>) -> Result<Grid, GridError> {
    let (text, charset) = decode(bytes, charset)?;
    let (text, declared) = strip_declaration(&text);
    let first_row = 1 + usize::from(declared.is_some());
    let separator = match given.or(declared) {
        Some(separator) => separator,
        None => find_separator(text)?,
    };
    let rows = rows(text, separator, first_row)?;
    if rows.is_empty() {
        return Err(GridError::Empty);
    }
    let name = SEPARATORS.iter().find(|(s, _)| *s == separator).map_or("other sign", |(_, name)| *name);
    let said = if given.is_some() {
        ", as given"
    } else if declared.is_some() {
        ", as its first line says"
    } else {
        ""
    };
    Ok(Grid { how: vec![format!("cells separated by {name}{said}"), charset], rows })
}

/// The text, and in words how its characters were read.
fn decode(bytes: &[u8], charset: Option<&str>) -> Result<(String, String), GridError> {
    if let Some((found, length)) = Encoding::for_bom(bytes) {
        let text = found.decode_without_bom_handling(&bytes[length..]).0.into_owned();
        return Ok((text, format!("{} with a byte order mark", found.name())));
    }
    let (encoding, words) = match charset {
        Some(label) => {
            let found = Encoding::for_label(label.as_bytes());
            let found = found.ok_or_else(|| GridError::Charset(label.to_owned()))?;
            (found, format!("{}, as given", found.name()))
        }
        None if std::str::from_utf8(bytes).is_ok() => (UTF_8, UTF_8.name().to_owned()),
        None => {
            let words = "it is not UTF-8: read as windows-1252, of which Latin-1 is a part (--charset says otherwise)";
            (WINDOWS_1252, words.to_owned())
        }
    };
    Ok((encoding.decode_without_bom_handling(bytes).0.into_owned(), words))
}

/// Takes off a first line such as `sep=;`, which some spreadsheets write.
fn strip_declaration(text: &str) -> (&str, Option<u8>) {
    let Some(rest) = text.strip_prefix("sep=") else { return (text, None) };
    let line = rest.split(['\n', '\r']).next().unwrap_or_default();
    let Some(found) = separator(line) else { return (text, None) };
    let rest = &rest[line.len()..];
    let rest = rest.strip_prefix("\r\n").or_else(|| rest.strip_prefix(['\n', '\r'])).unwrap_or(rest);
    (rest, Some(found))
}

/// The separator that cuts most rows into the same number of cells.
fn find_separator(text: &str) -> Result<u8, GridError> {
    let scored = SEPARATORS.map(|(separator, name)| (score(text, separator), separator, name));
    let best = scored.iter().map(|(score, ..)| *score).max().unwrap_or_default();
    let found: Vec<&(usize, u8, &str)> = scored.iter().filter(|(score, ..)| *score == best).collect();
    match found[..] {
        [(_, separator, _)] => Ok(*separator),
        // One column, whatever the separator: a comma does.
        _ if best == 0 => Ok(b','),
        _ => {
            let names: Vec<&str> = found.iter().map(|(_, _, name)| *name).collect();
            Err(GridError::Separator(names.join(" or ")))
        }
    }
}

/// How many rows have the commonest number of cells above one, times the cells they gain by it.
fn score(text: &str, separator: u8) -> usize {
    let mut counts: Vec<usize> = Vec::new();
    for record in reader(text, separator).records().take(TRIED).flatten() {
        if record.len() > 1 {
            counts.push(record.len());
        }
    }
    counts.sort_unstable();
    counts.chunk_by(|a, b| a == b).map(|same| same.len() * (same[0] - 1)).max().unwrap_or(0)
}

fn reader(text: &str, separator: u8) -> csv::Reader<&[u8]> {
    ReaderBuilder::new().delimiter(separator).has_headers(false).flexible(true).from_reader(text.as_bytes())
}

/// All rows that are not blank, numbered as a spreadsheet does.
fn rows(text: &str, separator: u8, first: usize) -> Result<Vec<Row>, GridError> {
    let mut reader = reader(text, separator);
    let (mut rows, mut number, mut cells) = (Vec::new(), first, 0);
    let mut record = StringRecord::new();
    loop {
        // The reader skips lines without a cell; a spreadsheet counts them.
        let start = reader.position().byte() as usize;
        // Of CR LF it may have taken the first half only.
        let half = text.get(..start).is_some_and(|before| before.ends_with('\r'));
        let rest = text.get(start..).unwrap_or_default();
        let blank = leading_lines(if half { rest.strip_prefix('\n').unwrap_or(rest) } else { rest });
        // What was UTF-8 before it was cut stays so: separators are ASCII.
        if !reader.read_record(&mut record).unwrap_or(false) {
            return Ok(rows);
        }
        number += blank;
        if is_open(&record, text, reader.position().byte() as usize) {
            return Err(GridError::OpenQuote { row: number });
        }
        cells += record.len();
        if cells > MOST_CELLS {
            return Err(GridError::TooLarge);
        }
        let row = Row { number, cells: record.iter().map(cell).collect() };
        if !row.is_blank() {
            rows.push(row);
        }
        number += 1;
    }
}

/// How many lines with nothing in them a text begins with.
fn leading_lines(mut text: &str) -> usize {
    let mut lines = 0;
    while let Some(rest) = text.strip_prefix("\r\n").or_else(|| text.strip_prefix(['\n', '\r'])) {
        text = rest;
        lines += 1;
    }
    lines
}

/// Whether the last row of a text was cut off by its end: a cell with a line end in it stands in quotation marks, and
/// the last one of a row ends with one.
fn is_open(record: &StringRecord, text: &str, end: usize) -> bool {
    let many = record.iter().next_back().is_some_and(|last| last.contains(['\n', '\r']));
    let before = text.get(..end).unwrap_or(text).trim_end_matches(['\n', '\r']);
    many && end >= text.len() && !before.ends_with('"')
}

fn cell(text: &str) -> Cell {
    let text = defuse::restored(text);
    match () {
        () if is_month_date(&text) => Cell::Date(text),
        () if is_error(&text) => Cell::Fault(text),
        () => Cell::Text(text),
    }
}

/// Whether a text is what a spreadsheet shows for a formula without a result (OpenFormula 1.2, section 5.12, and
/// LibreOffice's own `Err:510`).
fn is_error(text: &str) -> bool {
    const ERRORS: [&str; 7] = ["#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!"];
    let text = text.trim();
    let numbered = text.strip_prefix("Err:").is_some_and(|rest| rest.bytes().all(|b| b.is_ascii_digit()));
    ERRORS.contains(&text) || numbered
}

const MONTHS: [&str; 12] =
    ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"];

/// Whether a text is what a spreadsheet makes of `1-4` when it saves a sheet as CSV: `04-Jan`, `1-Apr`, `Jan-04`.
fn is_month_date(text: &str) -> bool {
    let Some((a, b)) = text.trim().split_once('-') else { return false };
    let day = |text: &str| (1..=2).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit());
    let month = |text: &str| MONTHS.contains(&text.to_lowercase().as_str());
    (day(a) && month(b)) || (month(a) && day(b))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(text: &str) -> Vec<(usize, usize)> {
        let grid = read_csv(text.as_bytes(), None, None).unwrap();
        grid.rows.iter().map(|row| (row.number, row.cells.len())).collect()
    }

    #[test]
    fn rows_have_the_numbers_of_a_spreadsheet() {
        assert_eq!(numbers("a,b\n\n\nc,d\r\n\r\n,\ne,\"f\ng\"\nh,i"), [(1, 2), (4, 2), (7, 2), (8, 2)]);
        assert_eq!(numbers("sep=;\na;b\n"), [(2, 2)]);
        assert_eq!(numbers("\n\na,b\n"), [(3, 2)]);
    }

    #[test]
    fn the_separator_is_found_or_asked_for() {
        for (text, words) in
            [("a;b;c\n1,5;2;3\n2,5;3;4\n", "semicolon"), ("a\tb\nc\td\n", "tab"), ("a\nb\n", "comma")]
        {
            let grid = read_csv(text.as_bytes(), None, None).unwrap();
            assert_eq!(grid.how[0], format!("cells separated by {words}"));
        }
        let error = read_csv(b"a;b,c\n1;2,3\n", None, None).unwrap_err();
        assert_eq!(error, GridError::Separator("comma or semicolon".to_owned()));
        assert_eq!(read_csv(b"a;b,c\n1;2,3\n", Some(b';'), None).unwrap().rows[0].cells.len(), 2);
    }

    #[test]
    fn characters_are_those_that_were_typed() {
        let text = |bytes: &[u8]| read_csv(bytes, None, None).unwrap().rows[0].cell(0).text().to_owned();
        assert_eq!(text(b"mm\xb2,b"), "mm²");
        assert_eq!(text("mm²,b".as_bytes()), "mm²");
        assert_eq!(text("\u{feff}mm²,b".as_bytes()), "mm²");
        let wide: Vec<u8> = "\u{feff}mm²,b".encode_utf16().flat_map(u16::to_le_bytes).collect();
        assert_eq!(text(&wide), "mm²");
        assert_eq!(
            read_csv(b"a", None, Some("klingon")).unwrap_err(),
            GridError::Charset("klingon".to_owned())
        );
    }

    #[test]
    fn an_open_quotation_mark_is_an_error() {
        assert_eq!(read_csv(b"a,b\n1,\"2\n3,4\n", None, None).unwrap_err(), GridError::OpenQuote { row: 2 });
        assert!(read_csv(b"a,b\n1,\"2\n3\"\n", None, None).is_ok());
        // An inch sign within a cell is a sign like any other.
        assert_eq!(read_csv(b"a,5\"\n1,2\n", None, None).unwrap().rows[0].cell(1).text(), "5\"");
    }

    #[test]
    fn what_a_spreadsheet_made_a_date_of_is_not_trusted() {
        for text in ["04-Jan", "1-Apr", "Jan-04"] {
            assert!(matches!(cell(text), Cell::Date(_)), "{text}");
        }
        assert!(matches!(cell("J1-4"), Cell::Text(_)));
    }
}
