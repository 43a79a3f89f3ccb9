//! From a row to the wires and contacts it speaks of.

use std::collections::BTreeMap;

use super::ask::{Ask, Trouble};
use super::desk::Desk;
use super::field::{Field, Side};
use super::grid::{Cell, Letters, Row};
use super::head::Head;
use super::options::Blank;
use super::point::{self, End, Joint};
use super::value;
use super::word::{Instead, instead};
use crate::units::{self, Amps, Celsius, Quantity};

/// What is said of a wire beside its ends; values as definitions write them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Details {
    /// Keys and values, in the order of [`DETAILS`].
    pub values: Vec<(&'static str, String)>,
}

/// The columns that describe a wire, with the keys of a definition.
const DETAILS: [(Field, &str); 9] = [
    (Field::Gauge, "gauge"),
    (Field::Colour, "colour"),
    (Field::Length, "length"),
    (Field::Circuit, "circuit"),
    (Field::Twisted, "twisted"),
    (Field::Shield, "shield"),
    (Field::Hazard, "hazard"),
    (Field::Ampacity, "ampacity"),
    (Field::Rated, "rated"),
];

/// A wire, or as much of it as one row tells.
#[derive(Debug, Clone)]
pub(super) struct Strand {
    pub row: usize,
    pub id: Option<String>,
    /// The ends that the row names: two, or one in a pin map that leaves the other to another row.
    pub ends: Vec<End>,
    pub details: Details,
    /// What else the row says, for a comment.
    pub notes: Vec<String>,
}

/// What a row says of a contact.
#[derive(Debug, Clone)]
pub(super) struct Fact {
    pub row: usize,
    pub connector: String,
    pub contact: String,
    pub signal: Option<String>,
    pub also: Vec<String>,
    pub empty: Option<Instead>,
    pub notes: Vec<String>,
}

/// All that rows say.
#[derive(Debug, Default)]
pub(super) struct Items {
    pub strands: Vec<Strand>,
    pub facts: Vec<Fact>,
    /// What names without a contact are, where a column says so; with the row.
    pub joints: Vec<(usize, String, Joint)>,
}

impl Items {
    pub(super) fn append(&mut self, mut other: Self) {
        self.strands.append(&mut other.strands);
        self.facts.append(&mut other.facts);
        self.joints.append(&mut other.joints);
    }

    /// Takes a wire of a row up, unless it starts and ends at one point.
    pub(super) fn wire(
        &mut self,
        row: &Row,
        id: Option<&String>,
        ends: Vec<End>,
        details: Details,
        notes: Vec<String>,
    ) -> Result<(), Trouble> {
        if let [from, to] = &ends[..]
            && from == to
        {
            return Trouble::reject(format!("it starts and ends at {}", from.name()));
        }
        self.strands.push(Strand { row: row.number, id: id.cloned(), ends, details, notes });
        Ok(())
    }
}

/// What a column says that an end is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// Nothing, or there is no such column.
    Unsaid,
    /// A contact.
    Contact,
    /// A splice or a terminal.
    Joint(Joint),
}

/// What stands at one side of a row.
pub(super) enum At {
    Ends(Vec<End>),
    Instead(Instead),
}

/// Reads rows one after the other; a cell may stand for those below it.
pub(super) struct Reader<'a, 'o> {
    pub head: &'a Head,
    pub desk: Desk<'o>,
    /// The last text of columns where a blank may mean the same again.
    above: BTreeMap<Field, String>,
}

impl<'a, 'o> Reader<'a, 'o> {
    pub(super) fn new(head: &'a Head, desk: Desk<'o>) -> Self {
        Self { head, desk, above: BTreeMap::new() }
    }

    /// Remembers what a row's connector and end cells say, for blank ones below.
    pub(super) fn carry(&mut self, row: &Row) {
        for column in self.head.columns.iter().filter(|column| column.field.is_end()) {
            let text = row.cell(column.index).text();
            if !text.is_empty() {
                self.above.insert(column.field, text.to_owned());
            }
        }
    }

    /// The text of a field's cell, empty where there is no such column.
    ///
    /// # Errors
    /// Where a spreadsheet has put something else into the cell than was typed.
    pub(super) fn text<'r>(&self, row: &'r Row, field: Field) -> Result<&'r str, Trouble> {
        let Some(column) = self.head.column(field) else { return Ok("") };
        let place = || format!("cell {}{}", Letters(column.index), row.number);
        match row.cell(column.index) {
            cell @ Cell::Text(_) => Ok(cell.text()),
            cell @ Cell::Date(_) => Trouble::reject(format!(
                "{} holds a date (`{}`): spreadsheets make one of texts such as 1-4; format the column as text and type it again",
                place(),
                cell.text()
            )),
            cell @ Cell::Fault(_) => {
                Trouble::reject(format!("{} holds a formula without a result (`{}`)", place(), cell.text()))
            }
        }
    }

    /// The text of a cell that may be blank because the one above counts on.
    pub(super) fn filled(&self, row: &Row, field: Field) -> Result<String, Trouble> {
        let text = self.text(row, field)?;
        if !text.is_empty() || self.head.column(field).is_none() {
            return Ok(text.to_owned());
        }
        let column = self.head.column(field).map_or(0, |column| column.index);
        let place = format!("{}{}", Letters(column), row.number);
        match (self.desk.options.blank, self.above.get(&field)) {
            (Some(Blank::Above), Some(above)) => Ok(above.clone()),
            (Some(Blank::Reject), _) | (_, None) => {
                Trouble::reject(format!("cell {place} (`{}`) is blank", field.name()))
            }
            (None, Some(_)) => Trouble::ask(Ask::Blank, place),
        }
    }

    /// What stands at one side of a from-to row.
    pub(super) fn side(&mut self, row: &Row, side: Side, items: &mut Items) -> Result<At, Trouble> {
        let [point, connector, contact, kind] = match side {
            Side::From => [Field::From, Field::FromConnector, Field::FromContact, Field::FromKind],
            Side::To => [Field::To, Field::ToConnector, Field::ToContact, Field::ToKind],
        };
        let kind = self.kind(row, kind)?;
        let parted = self.head.column(connector).is_some();
        let (name, contact) = if parted {
            // A splice or a terminal has a name and no contact.
            let pin = self.text(row, contact)?.to_owned();
            let name = self.text(row, connector)?.to_owned();
            match (name.is_empty(), pin.is_empty()) {
                (false, _) => (name, pin),
                (true, false) => (self.filled(row, connector)?, pin),
                (true, true) => {
                    (self.filled(row, connector)?, self.above.get(&contact).cloned().unwrap_or_default())
                }
            }
        } else {
            (self.filled(row, point)?, String::new())
        };
        if kind == Kind::Unsaid {
            let word = if contact.is_empty() || instead(&contact) == Some(Instead::Nothing) {
                &name
            } else {
                &contact
            };
            if let Some(word) = instead(word) {
                return Ok(At::Instead(word));
            }
        }
        let alone = contact.is_empty() || instead(&contact) == Some(Instead::Nothing);
        match kind {
            Kind::Joint(joint) => {
                let end = point::joint(&name, &mut self.desk)?;
                items.joints.push((row.number, end.name(), joint));
                Ok(At::Ends(vec![end]))
            }
            Kind::Unsaid if parted && alone => {
                let names = point::listed(&name).into_iter().map(|name| point::joint(name, &mut self.desk));
                Ok(At::Ends(names.collect::<Result<_, _>>()?))
            }
            _ if parted => Ok(At::Ends(point::ends(&contact, Some(&name), &mut self.desk)?)),
            _ => Ok(At::Ends(point::ends(&name, None, &mut self.desk)?)),
        }
    }

    /// What a column says that an end is.
    fn kind(&self, row: &Row, field: Field) -> Result<Kind, Trouble> {
        match self.text(row, field)?.to_lowercase().as_str() {
            "" => Ok(Kind::Unsaid),
            "contact" => Ok(Kind::Contact),
            "splice" => Ok(Kind::Joint(Joint::Splice)),
            "terminal" => Ok(Kind::Joint(Joint::Terminal)),
            "ground" => Ok(Kind::Joint(Joint::Ground)),
            other => Trouble::reject(format!("`{other}`: an end is a contact, splice, terminal or ground")),
        }
    }

    /// What a row says of its wires beside their ends, for each of `count`; what is not decided goes into the notes.
    pub(super) fn details(
        &mut self,
        row: &Row,
        count: usize,
    ) -> Result<(Vec<Details>, Vec<String>), Trouble> {
        let mut all = vec![Details::default(); count];
        let mut notes = self.notes(row);
        for (field, key) in DETAILS {
            let text = self.text(row, field)?.to_owned();
            match instead(&text) {
                Some(Instead::Nothing) => continue,
                Some(_) => {
                    notes.push(format!("{key}: {text}"));
                    continue;
                }
                None => {}
            }
            let listed = point::listed(&text);
            let each = count > 1 && listed.len() == count;
            for (at, details) in all.iter_mut().enumerate() {
                let text = if each { listed[at] } else { &text };
                // A dash keeps a wire's place in the list.
                if instead(text) == Some(Instead::Nothing) {
                    continue;
                }
                match self.detail(field, text) {
                    Ok(Some(value)) => details.values.push((key, value)),
                    Ok(None) => notes.push(format!("{key}: {text}")),
                    // The other cells may have questions too: all are asked at once.
                    Err(Trouble::Ask(ask, text)) => self.desk.asked.push((ask, text)),
                    Err(reason) => return Err(reason),
                }
            }
        }
        if let Some((ask, text)) = self.desk.asked.pop() {
            return Err(Trouble::Ask(ask, text));
        }
        notes.dedup();
        Ok((all, notes))
    }

    fn detail(&mut self, field: Field, text: &str) -> Result<Option<String>, Trouble> {
        let unit = self.head.column(field).and_then(|column| column.unit);
        match field {
            Field::Gauge => value::gauge(text, unit, &mut self.desk).map(Some),
            Field::Length => value::length(text, unit, &mut self.desk).map(Some),
            Field::Colour => Ok(value::colour(text, &mut self.desk)?.map(|colour| colour.to_string())),
            Field::Ampacity => quantity::<Amps>(text),
            Field::Rated => quantity::<Celsius>(text),
            _ => Ok(Some(text.to_owned())),
        }
    }

    /// Cells of columns that have no place in a definition, with their heads.
    fn notes(&self, row: &Row) -> Vec<String> {
        let columns = self.head.columns.iter().filter(|column| column.field == Field::Note);
        let note = |column: &super::head::Column| {
            let text = row.cell(column.index).text();
            let head = if column.head.is_empty() {
                format!("column {}", Letters(column.index))
            } else {
                column.head.clone()
            };
            (!text.is_empty()).then(|| format!("{head}: {text}"))
        };
        columns.filter_map(note).collect()
    }
}

fn quantity<Q: Quantity>(text: &str) -> Result<Option<String>, Trouble> {
    match units::parse::<Q>(text) {
        Ok(value) if value.base() > 0.0 => Ok(Some(text.to_owned())),
        Ok(_) => Trouble::reject(format!("`{text}`: a {} must be above zero", Q::NAME)),
        Err(error) => Trouble::reject(format!("`{text}`: {error}: {}", error.suggest())),
    }
}
