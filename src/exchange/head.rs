//! Which row names the columns, and what each column holds.

use std::collections::BTreeSet;

use super::ask::{Ask, Questions};
use super::field::{Field, HeadUnit, Side, of_head};
use super::grid::{Cell, Grid, Letters, Row};
use super::options::{Header, Options};

/// How a column's meaning was come by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Sure {
    /// The user said so.
    Given,
    /// Its head says so.
    Head,
    /// Its head, and the columns beside it.
    Order,
    /// Nothing says so: it is not used.
    Unknown,
}

impl Sure {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Given => "as given",
            Self::Head => "by its head",
            Self::Order => "by its head and its place",
            Self::Unknown => "not understood",
        }
    }
}

/// A column of the table.
#[derive(Debug, Clone)]
pub(super) struct Column {
    /// Counted from 0.
    pub index: usize,
    /// Its head, as written.
    pub head: String,
    /// What it holds.
    pub field: Field,
    /// How that is known.
    pub sure: Sure,
    /// A unit for all its cells.
    pub unit: Option<HeadUnit>,
}

/// What a table is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Layout {
    /// A row for each wire.
    Wires,
    /// A row for each contact.
    Pins,
}

/// The head of a table.
#[derive(Debug)]
pub(super) struct Head {
    /// Positions of its rows in the grid, none where there is no head.
    pub rows: std::ops::Range<usize>,
    /// All columns in order.
    pub columns: Vec<Column>,
    pub layout: Layout,
}

impl Head {
    /// The column of a field.
    pub(super) fn column(&self, field: Field) -> Option<&Column> {
        self.columns.iter().find(|column| column.field == field)
    }

    /// Whether a row repeats the head, as printed lists do on every page.
    pub(super) fn is_repeated(&self, grid: &Grid, row: &Row) -> bool {
        let same = |head: &Row| {
            let width = head.cells.len().max(row.cells.len());
            (0..width).all(|at| row.cell(at).text().eq_ignore_ascii_case(head.cell(at).text()))
        };
        grid.rows[self.rows.clone()].iter().any(same)
    }
}

/// Finds the head of a table. What cannot be told becomes a question; `None` is given where nothing more can be read.
pub(super) fn find(grid: &Grid, options: &Options, questions: &mut Questions) -> Option<Head> {
    let rows = match options.header {
        Header::None => 0..0,
        Header::Row(number) => {
            let Some(at) = grid.rows.iter().position(|row| row.number == number) else {
                let what = "no such row is in the table, or it is blank".to_owned();
                questions.add(Ask::Columns(what), number, String::new());
                return None;
            };
            at..at + 1 + usize::from(second(grid, at))
        }
        Header::Find => {
            let rows = best(grid, options);
            rivals(grid, &rows, options, questions);
            rows
        }
    };
    let heads: Vec<String> = (0..grid.width()).map(|at| combined(grid, &rows, at)).collect();
    let mut columns = by_heads(&heads);
    given(&mut columns, options, questions);
    sides(&mut columns);
    repeats(&columns, questions);
    let layout = layout(&columns, options, questions)?;
    Some(Head { rows, columns, layout })
}

/// So many rows from the top may be the head.
const SEARCHED: usize = 100;

/// The first of the rows with most words for columns; none where no row has two.
fn best(grid: &Grid, options: &Options) -> std::ops::Range<usize> {
    let words = |at: usize| words(grid, at, options);
    let most = (0..grid.rows.len().min(SEARCHED)).map(|at| (words(at), std::cmp::Reverse(at))).max();
    match most {
        Some((count, std::cmp::Reverse(at))) if count >= 2 => {
            // `From, blank, To, blank` may stand above the row that has most.
            let above =
                at > 0 && grid.rows[at - 1].number + 1 == grid.rows[at].number && second(grid, at - 1);
            let from = if above { at - 1 } else { at };
            from..from + 1 + usize::from(second(grid, from))
        }
        _ => 0..0,
    }
}

/// How many heads of columns a row has; each counts once, because a title over many merged columns is none.
fn words(grid: &Grid, at: usize, options: &Options) -> usize {
    let heads: BTreeSet<&str> = grid.rows[at].cells.iter().map(Cell::text).collect();
    let named = |head: &str| options.columns.iter().any(|(_, name)| name.eq_ignore_ascii_case(head));
    heads.into_iter().filter(|head| of_head(head).is_some() || named(head)).count()
}

/// Asks where a row above the head looks like one too: what stands between them would be a table by itself.
fn rivals(grid: &Grid, rows: &std::ops::Range<usize>, options: &Options, questions: &mut Questions) {
    let Some(head) = grid.rows.get(rows.start).filter(|_| !rows.is_empty()) else { return };
    for at in (0..rows.start).filter(|at| words(grid, *at, options) >= 2) {
        let what = format!("row {} and row {} both look like the head", grid.rows[at].number, head.number);
        questions.add(Ask::Columns(what), 0, String::new());
    }
}

/// What may stand in the second row of a head without naming a column by itself.
const FILLERS: [&str; 8] = ["no", "nr", "number", "id", "name", "code", "ref", "#"];

/// Whether the row below a head goes on with it: each of its cells is a word for a column, and more columns are
/// understood with it than without.
fn second(grid: &Grid, at: usize) -> bool {
    let Some(below) = grid.rows.get(at + 1) else { return false };
    let filled = || below.cells.iter().filter(|cell| !cell.is_blank());
    // `no` below `wire` adds nothing and is no cell of a table's body.
    let filler = |text: &str| FILLERS.contains(&text.to_lowercase().trim_matches('.'));
    let words = filled().all(|cell| of_head(cell.text()).is_some() || filler(cell.text()));
    let understood = |rows: std::ops::Range<usize>| {
        let fields = (0..grid.width()).filter_map(|column| of_head(&combined(grid, &rows, column)));
        let mut fields: Vec<Field> = fields.map(|(field, _)| field).collect();
        fields.sort_unstable();
        fields.dedup();
        fields.len()
    };
    let upper = grid.rows[at].cells.iter().any(|cell| of_head(cell.text()).is_some());
    upper
        && words
        && filled().count() > 0
        && understood(at..at + 2) > understood(at..at + 1)
        && understood(at..at + 2) > understood(at + 1..at + 2)
}

/// The head of a column over one or two rows: a blank in the upper one is what stands to the left of it.
fn combined(grid: &Grid, rows: &std::ops::Range<usize>, column: usize) -> String {
    let text = |at: usize, column: usize| grid.rows[at].cell(column).text();
    match rows.len() {
        0 => String::new(),
        1 => text(rows.start, column).to_owned(),
        _ => {
            let lower = text(rows.start + 1, column);
            let own = text(rows.start, column);
            let left = || (0..column).rev().map(|at| text(rows.start, at)).find(|text| !text.is_empty());
            let upper = if own.is_empty() && !lower.is_empty() { left().unwrap_or_default() } else { own };
            if upper == lower { upper.to_owned() } else { format!("{upper} {lower}").trim().to_owned() }
        }
    }
}

fn by_heads(heads: &[String]) -> Vec<Column> {
    let column = |(index, head): (usize, &String)| {
        let found = of_head(head);
        Column {
            index,
            head: head.clone(),
            field: found.map_or(Field::Note, |(field, _)| field),
            sure: if found.is_some() { Sure::Head } else { Sure::Unknown },
            unit: found.and_then(|(_, unit)| unit),
        }
    };
    heads.iter().enumerate().map(column).collect()
}

/// Lays what the user said over what the heads say.
fn given(columns: &mut [Column], options: &Options, questions: &mut Questions) {
    for (field, name) in &options.columns {
        let by_head = || columns.iter().position(|column| column.head.eq_ignore_ascii_case(name.trim()));
        let number = || name.parse::<usize>().ok().and_then(|number| number.checked_sub(1));
        let letters = || Letters::parse(name).map(|letters| letters.0);
        let found = by_head().or_else(number).or_else(letters).filter(|at| *at < columns.len());
        let Some(at) = found else {
            let what = format!("--column {}={name}: the table has no such column", field.name());
            questions.add(Ask::Columns(what), 0, String::new());
            continue;
        };
        if !field.may_repeat() {
            // Only one column can hold it, and the user says which.
            for other in columns.iter_mut().filter(|other| other.field == *field && other.sure != Sure::Given)
            {
                (other.field, other.sure) = (Field::Note, Sure::Unknown);
            }
        }
        (columns[at].field, columns[at].sure) = (*field, Sure::Given);
    }
}

/// Gives connector and contact columns without a side the side they stand on: behind `From` or `To`, or the first and
/// the second of two alike.
fn sides(columns: &mut [Column]) {
    let plain = |field: Field| matches!(field, Field::Connector | Field::Contact);
    let count = |columns: &[Column], field| columns.iter().filter(|column| column.field == field).count();
    let twice = [Field::Connector, Field::Contact].map(|field| count(columns, field) == 2);
    let any_side = |columns: &[Column]| columns.iter().any(|column| column.field.side().is_some());
    if any_side(columns) {
        let mut side = None;
        for column in columns.iter_mut() {
            side = column.field.side().or(side);
            // A side's columns stand together: `From, Pin, Colour, To, Pin`.
            if let (Some(side), true) = (side, plain(column.field)) {
                (column.field, column.sure) = (column.field.of_side(side), Sure::Order);
            }
        }
    } else if twice[1] && (twice[0] || count(columns, Field::Connector) == 0) {
        for field in [Field::Connector, Field::Contact] {
            let mut same = columns.iter_mut().filter(|column| column.field == field);
            for (column, side) in same.by_ref().zip([Side::From, Side::To]) {
                (column.field, column.sure) = (field.of_side(side), Sure::Order);
            }
        }
    }
    // Beside a column for the contact, `From` names the connector; without one, contacts name their connectors.
    for (point, connector, contact) in [
        (Field::From, Field::FromConnector, Field::FromContact),
        (Field::To, Field::ToConnector, Field::ToContact),
    ] {
        let has = |field| columns.iter().any(|column| column.field == field);
        let change = match (has(point), has(connector), has(contact)) {
            (true, false, true) => Some((point, connector)),
            (false, false, true) => Some((contact, point)),
            (false, true, false) => Some((connector, point)),
            _ => None,
        };
        let changed = |column: &&mut Column| change.is_some_and(|(from, _)| column.field == from);
        for column in columns.iter_mut().filter(changed) {
            let sure = if column.sure == Sure::Given { Sure::Given } else { Sure::Order };
            (column.field, column.sure) = (change.map_or(column.field, |(_, to)| to), sure);
        }
    }
}

/// Asks where two columns have one meaning.
fn repeats(columns: &[Column], questions: &mut Questions) {
    for (at, column) in columns.iter().enumerate() {
        let first = columns[..at].iter().find(|other| other.field == column.field);
        if let (Some(first), false) = (first, column.field.may_repeat()) {
            let what = format!("two columns seem to hold `{}`", column.field.name());
            let text = format!(
                "{} {} and {} {}",
                Letters(first.index),
                first.head,
                Letters(column.index),
                column.head
            );
            questions.add(Ask::Columns(what), 0, text);
        }
    }
}

fn layout(columns: &[Column], options: &Options, questions: &mut Questions) -> Option<Layout> {
    let has = |field| columns.iter().any(|column| column.field == field);
    let side = |side| columns.iter().any(|column| column.field.side() == Some(side));
    match (side(Side::From), side(Side::To), has(Field::Contact)) {
        (true, true, false) => Some(Layout::Wires),
        (false, _, true) => Some(Layout::Pins),
        (from, to, _) => {
            let what = match (from, to) {
                (true, true) => "columns for both ends of a wire, and one for the contact of a pin map",
                (true, false) => "a column says where wires begin, and none where they end",
                (false, true) => "a column says where wires end, and none where they begin",
                (false, false) => "no column says where wires end, and none names contacts",
            };
            let heads = columns.iter().map(|column| format!("{} `{}`", Letters(column.index), column.head));
            let what = match options.header {
                Header::Find if columns.iter().all(|column| column.head.is_empty()) => {
                    "no row names the columns (--header none where there is none)"
                }
                _ => what,
            };
            questions.add(Ask::Columns(what.to_owned()), 0, heads.collect::<Vec<_>>().join(", "));
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::text::read_csv;
    use super::*;

    /// The fields of the columns, or what is asked.
    fn fields(text: &str, options: &Options) -> Result<String, String> {
        let grid = read_csv(text.as_bytes(), Some(b','), None).unwrap();
        let mut questions = Questions::default();
        let head = find(&grid, options, &mut questions);
        let asked: Vec<String> = questions.into_list().into_iter().map(|q| q.what).collect();
        match head {
            Some(head) if asked.is_empty() => {
                Ok(head.columns.iter().map(|column| column.field.name()).collect::<Vec<_>>().join(" "))
            }
            _ => Err(asked.join("; ")),
        }
    }

    #[test]
    fn columns_are_told_by_their_heads_and_places() {
        for (text, wanted) in [
            ("Wire,From,To,AWG,Color\n", "wire from to gauge colour"),
            ("From,Pin,To,Pin\n", "from-connector from-contact to-connector to-contact"),
            (
                "Connector,Pin,Wire,Connector,Pin\n",
                "from-connector from-contact wire to-connector to-contact",
            ),
            (
                "From,,To,,Wire\nconn,pin,conn,pin,no\n",
                "from-connector from-contact to-connector to-contact wire",
            ),
            ("Connector,Contact,Signal,Wire,To\n", "connector contact signal wire to"),
            ("From pin,To pin\n", "from to"),
            ("Pump loom,,\nDrawn by,R. K.,\nWire,From,To\n", "wire from to"),
            ("Pin,Function,Supplier\n", "contact signal note"),
        ] {
            assert_eq!(fields(text, &Options::default()).as_deref(), Ok(wanted), "{text}");
        }
    }

    #[test]
    fn what_cannot_be_told_is_asked() {
        for (text, wanted) in [
            ("Wire,From,To,Colour,Color\n", "two columns seem to hold `colour`"),
            ("31A,P1.K,J1.A\n", "no row names the columns (--header none where there is none)"),
            ("Wire,From,To\n1A,P1.1,P2.1\nWire,From,To,Colour\n", "row 1 and row 3 both look like the head"),
            ("Wire,From,Colour\n", "a column says where wires begin, and none where they end"),
        ] {
            assert_eq!(fields(text, &Options::default()), Err(wanted.to_owned()), "{text}");
        }
    }

    #[test]
    fn the_user_has_the_last_word() {
        let columns = vec![
            (Field::From, "X".to_owned()),
            (Field::To, "C".to_owned()),
            (Field::Skip, "Wire".to_owned()),
        ];
        let options = Options { columns, ..Options::default() };
        assert_eq!(fields("Wire,X,Y,No\n", &options).as_deref(), Ok("skip from to note"));
        let by_number = vec![(Field::From, "2".to_owned()), (Field::Skip, "Wire".to_owned())];
        let none = Options { header: Header::None, columns: by_number, ..options };
        let asked = fields("31A,P1.K,J1.A\n", &none).unwrap_err();
        assert!(asked.contains("--column skip=Wire: the table has no such column"), "{asked}");
    }
}
