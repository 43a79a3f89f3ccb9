//! What goes to standard output and standard error.

use std::io::{self, IsTerminal, Write};

use serde::Serialize;

use crate::definition::diagnostic::clean;
use crate::sheet::{Format, Sheet, csv, markdown, text};

/// Tables are made for this width where the terminal's is not known.
const WIDTH: u16 = 80;

/// The formats a command can print in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub(super) enum FormatArg {
    /// Tables for a terminal
    #[default]
    Table,
    /// JSON with stable names
    Json,
    /// Comma-separated values
    Csv,
    /// Markdown
    Md,
}

impl From<FormatArg> for Format {
    fn from(format: FormatArg) -> Self {
        match format {
            FormatArg::Table => Self::Table,
            FormatArg::Json => Self::Json,
            FormatArg::Csv => Self::Csv,
            FormatArg::Md => Self::Md,
        }
    }
}

/// Prints a command's answer in the format asked for.
pub(super) fn show<T: Serialize>(format: FormatArg, view: &T, sheet: &Sheet) -> anyhow::Result<()> {
    print(&text_of(format, view, sheet)?)
}

/// A command's answer in the format asked for.
pub(super) fn text_of<T: Serialize>(format: FormatArg, view: &T, sheet: &Sheet) -> anyhow::Result<String> {
    Ok(match Format::from(format) {
        Format::Table => text(sheet, width()),
        Format::Json => serde_json::to_string_pretty(view)? + "\n",
        Format::Csv => csv(sheet),
        Format::Md => markdown(sheet),
    })
}

/// Prints a view as JSON, piece by piece: that of a large plan has hundreds of megabytes.
pub(super) fn json<T: Serialize>(view: &T) -> anyhow::Result<()> {
    let mut stdout = io::BufWriter::with_capacity(1 << 16, io::stdout().lock());
    serde_json::to_writer_pretty(&mut stdout, view).map_err(io::Error::from)?;
    stdout.write_all(b"\n")?;
    stdout.flush()?;
    Ok(())
}

/// Writes text to standard output.
pub(super) fn print(out: &str) -> anyhow::Result<()> {
    let mut stdout = io::stdout().lock();
    stdout.write_all(out.as_bytes())?;
    stdout.flush()?;
    Ok(())
}

/// Writes text to standard error; what cannot be written there cannot be reported anywhere.
pub(super) fn note(out: &str) {
    let _ = anstream::stderr().lock().write_all(out.as_bytes());
}

/// An error whose whole text has been shown already.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub(super) struct Shown(String);

impl Shown {
    pub(super) fn new(summary: impl Into<String>) -> Self {
        Self(summary.into())
    }
}

/// Says on one line what went wrong, with the chain of causes.
pub(super) fn complain(error: &anyhow::Error) {
    // A rejected file has been shown already, with all its places.
    if error.downcast_ref::<Shown>().is_none() {
        note(&format!("ringout: {}\n", clean(&format!("{error:#}"))));
    }
}

/// Whether standard error takes colours: a terminal, and nobody said `NO_COLOR`.
pub(super) fn styled() -> bool {
    io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
}

/// The reader of a pipe may stop reading: that is not an error.
pub(super) fn is_broken_pipe(error: &anyhow::Error) -> bool {
    let broken = |cause: &(dyn std::error::Error + 'static)| {
        cause.downcast_ref::<io::Error>().is_some_and(|e| e.kind() == io::ErrorKind::BrokenPipe)
    };
    error.chain().any(broken)
}

/// The width tables are made for: `COLUMNS` if someone set it, else 80.
fn width() -> u16 {
    let columns = std::env::var("COLUMNS").ok().and_then(|text| text.parse().ok());
    columns.filter(|columns| (40..=400).contains(columns)).unwrap_or(WIDTH)
}
