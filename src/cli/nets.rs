//! `ringout nets`: what conductors alone join in a setup.

use super::Outcome;
use super::common::{self, Source};
use super::output::{self, FormatArg};
use crate::netlist::Netlist;
use crate::sheet;

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  ringout nets machine.toml --unplug P1,P2")]
pub(super) struct NetsArgs {
    #[command(flatten)]
    source: Source,
    /// Connectors that are unplugged: P1,P2
    #[arg(long, visible_alias = "unplugged", value_name = "CONNECTORS", value_delimiter = ',')]
    unplug: Vec<String>,
    #[arg(long, value_enum, default_value_t)]
    format: FormatArg,
}

pub(super) fn run(args: &NetsArgs) -> anyhow::Result<Outcome> {
    let harness = args.source.load()?;
    let setup = common::unplugged(&harness, &args.unplug)?.into();
    let netlist = Netlist::new(&harness);
    let (view, sheet) = sheet::nets(&harness, &netlist, &setup);
    output::show(args.format, &view, &sheet)?;
    Ok(Outcome::Well)
}
