//! `ringout pins`: pin maps.

use super::Outcome;
use super::common::{self, Source};
use super::output::{self, FormatArg};
use crate::sheet;

#[derive(Debug, clap::Args)]
pub(super) struct PinsArgs {
    #[command(flatten)]
    source: Source,
    /// One connector; all of them where left out
    connector: Option<String>,
    #[arg(long, value_enum, default_value_t)]
    format: FormatArg,
}

pub(super) fn run(args: &PinsArgs) -> anyhow::Result<Outcome> {
    let harness = args.source.load()?;
    let only = args.connector.as_deref().map(|name| common::connector(&harness, name)).transpose()?;
    let (view, sheet) = sheet::pins(&harness, only);
    output::show(args.format, &view, &sheet)?;
    Ok(Outcome::Well)
}
