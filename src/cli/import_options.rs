//! The arguments that decide what a table means.

use std::collections::BTreeSet;

use anyhow::{anyhow, bail};

use crate::definition::colour::Colour;
use crate::exchange::{Blank, Dash, Decimal, Field, Header, Joined, Options, gauge_unit, length_unit};

#[derive(Debug, clap::Args)]
#[command(next_help_heading = "What the table means")]
pub(super) struct OptionArgs {
    /// The row that names the columns, or `none`
    #[arg(long, value_name = "ROW")]
    header: Option<String>,
    /// What a column holds, by its head, letter or number: from=2, "wire=Lead no.", skip=C
    #[arg(long, value_name = "FIELD=COLUMN")]
    column: Vec<String>,
    /// The connector of a pin map that names none
    #[arg(long, value_name = "NAME")]
    connector: Option<String>,
    /// Unit of lengths that have none: mm, cm, m, in, ft
    #[arg(long, value_name = "UNIT")]
    length_unit: Option<String>,
    /// System of conductor sizes that have none: AWG, SAE, mm2
    #[arg(long, value_name = "SYSTEM")]
    gauge_unit: Option<String>,
    /// The decimal sign
    #[arg(long, value_enum)]
    decimal: Option<DecimalArg>,
    /// What a dash between two numbers means
    #[arg(long, value_enum)]
    dash: Option<DashArg>,
    /// What a blank cell means where a connector or an end belongs
    #[arg(long, value_enum)]
    blank: Option<BlankArg>,
    /// Contacts that hold several wires, or share a signal, on purpose: P1.3,P2.A or all
    #[arg(long, value_name = "CONTACTS", value_delimiter = ',')]
    joined: Vec<String>,
    /// Rows with one wire id are segments: they get the letters A, B and so on
    #[arg(long)]
    letters: bool,
    /// What a colour's text stands for, or `none`: bl=BU, clear=none
    #[arg(long, value_name = "TEXT=CODE")]
    colour: Vec<String>,
    /// Names that are splices
    #[arg(long, value_name = "NAMES", value_delimiter = ',')]
    splice: Vec<String>,
    /// Names that are terminals
    #[arg(long, value_name = "NAMES", value_delimiter = ',')]
    terminal: Vec<String>,
    /// Names that are terminals on the frame
    #[arg(long, value_name = "NAMES", value_delimiter = ',')]
    ground: Vec<String>,
    /// Put before every wire id
    #[arg(long, value_name = "LETTERS", default_value = "")]
    wire_prefix: String,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum DecimalArg {
    /// 2.4
    Point,
    /// 2,4
    Comma,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum DashArg {
    /// 1-4 is 1, 2, 3, 4
    Range,
    /// 1-4 is contact 4 of connector 1
    Contact,
    /// 1-4 is a name
    Name,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum BlankArg {
    /// As in the row above: merged cells
    Above,
    /// Nothing: the row is rejected
    Reject,
}

impl OptionArgs {
    /// The decisions, checked.
    ///
    /// # Errors
    /// Where an argument is none of those that would do.
    pub(super) fn options(&self) -> anyhow::Result<Options> {
        let names = |list: &[String]| list.iter().map(|name| name.trim().to_owned()).collect::<BTreeSet<_>>();
        let unit = |text: &Option<String>, find: fn(&str) -> Option<&'static str>, what: &str| {
            let find = |text: &String| {
                find(&text.to_lowercase()).ok_or_else(|| anyhow!("{what} {text}: write {}", units(what)))
            };
            text.as_ref().map(find).transpose()
        };
        let good = |c: char| c.is_alphanumeric() || matches!(c, '-' | '_' | '+');
        if !self.wire_prefix.chars().all(good) {
            bail!("--wire-prefix {}: letters, digits, `-`, `_` and `+` can stand in an id", self.wire_prefix);
        }
        Ok(Options {
            header: self.header()?,
            columns: self.column.iter().map(|text| column(text)).collect::<Result<_, _>>()?,
            connector: self.connector.clone(),
            length_unit: unit(&self.length_unit, length_unit, "--length-unit")?,
            gauge_unit: unit(&self.gauge_unit, gauge_unit, "--gauge-unit")?,
            decimal: self.decimal.map(|sign| match sign {
                DecimalArg::Point => Decimal::Point,
                DecimalArg::Comma => Decimal::Comma,
            }),
            dash: self.dash.map(|dash| match dash {
                DashArg::Range => Dash::Range,
                DashArg::Contact => Dash::Contact,
                DashArg::Name => Dash::Name,
            }),
            blank: self.blank.map(|blank| match blank {
                BlankArg::Above => Blank::Above,
                BlankArg::Reject => Blank::Reject,
            }),
            joined: match &self.joined[..] {
                [] => Joined::Unsaid,
                [all] if all == "all" => Joined::All,
                list => Joined::These(names(list)),
            },
            letters: self.letters,
            colours: self.colour.iter().map(|text| colour(text)).collect::<Result<_, _>>()?,
            splices: names(&self.splice),
            terminals: names(&self.terminal),
            grounds: names(&self.ground),
            wire_prefix: self.wire_prefix.clone(),
        })
    }

    fn header(&self) -> anyhow::Result<Header> {
        match self.header.as_deref() {
            None => Ok(Header::Find),
            Some("none") => Ok(Header::None),
            Some(text) => match text.parse() {
                Ok(row) => Ok(Header::Row(row)),
                Err(_) => bail!("--header {text}: write the number of a row, or none"),
            },
        }
    }
}

fn units(argument: &str) -> &'static str {
    if argument == "--length-unit" { "mm, cm, m, in or ft" } else { "AWG, SAE or mm2" }
}

fn column(text: &str) -> anyhow::Result<(Field, String)> {
    let fields = || Field::ALL.iter().map(|(name, _)| *name).collect::<Vec<_>>().join(", ");
    let Some((field, column)) = text.split_once('=') else {
        bail!("--column {text}: write it as from=2 or \"from=Pin 1\"");
    };
    match Field::parse(field.trim()) {
        Some(field) => Ok((field, column.trim().to_owned())),
        None => bail!("--column {text}: no column can hold `{field}`; it can hold {}", fields()),
    }
}

fn colour(text: &str) -> anyhow::Result<(String, Option<Colour>)> {
    let Some((written, code)) = text.rsplit_once('=') else {
        bail!("--colour {text}: write it as bl=BU or clear=none");
    };
    let colour = match code.trim() {
        "none" => None,
        code => match Colour::parse(code) {
            Ok(colour) => Some(colour),
            Err(error) => bail!("--colour {text}: {error}: {}", error.suggest()),
        },
    };
    Ok((written.trim().to_lowercase(), colour))
}
