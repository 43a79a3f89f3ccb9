//! `ringout pins`: pin maps.

use super::Outcome;
use super::common::{self, Source};
use super::output::{self, FormatArg};
use crate::sheet;

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  ringout pins machine.toml P1\n  ringout pins machine.toml --format csv")]
pub(super) struct PinsArgs {
    #[command(flatten)]
    source: Source,
    /// One connector; all of them where left out
    connector: Option<String>,
    #[arg(long, value_enum, default_value_t)]
    format: PinsFormat,
}

/// The formats of a pin map: those of every table, and drawings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
enum PinsFormat {
    /// Tables for a terminal
    #[default]
    Table,
    /// JSON with stable names
    Json,
    /// Comma-separated values
    Csv,
    /// Markdown
    Md,
    /// The faces from both sides, on one sheet
    Svg,
    /// One page for print and tablet: faces and tables
    Html,
}

pub(super) fn run(args: &PinsArgs) -> anyhow::Result<Outcome> {
    let harness = args.source.load()?;
    let only = args.connector.as_deref().map(|name| common::connector(&harness, name)).transpose()?;
    let format = match args.format {
        PinsFormat::Svg => {
            output::print(&sheet::pins_svg(&harness, only))?;
            return Ok(Outcome::Well);
        }
        PinsFormat::Html => {
            output::print(&sheet::pins_html(&harness, only, common::DEFERENCE)?)?;
            return Ok(Outcome::Well);
        }
        PinsFormat::Table => FormatArg::Table,
        PinsFormat::Json => FormatArg::Json,
        PinsFormat::Csv => FormatArg::Csv,
        PinsFormat::Md => FormatArg::Md,
    };
    let (view, sheet) = sheet::pins(&harness, only);
    output::show(format, &view, &sheet)?;
    Ok(Outcome::Well)
}
