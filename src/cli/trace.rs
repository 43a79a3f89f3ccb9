//! `ringout trace`: the way a circuit takes, element by element.

use anyhow::bail;

use super::Outcome;
use super::common::{self, Source};
use super::output::{self, FormatArg};
use crate::netlist::Netlist;
use crate::sheet;

#[derive(Debug, clap::Args)]
#[command(after_help = "\
    Examples:\n\
    \x20 ringout trace machine.toml XS2.3 P1.K\n\
    \x20 ringout trace machine.toml GP1")]
pub(super) struct TraceArgs {
    #[command(flatten)]
    source: Source,
    /// Where to start: P1.K, SP2, GP1
    from: String,
    /// Where to end; where left out, everything that conductors join to the start
    to: Option<String>,
    #[arg(long, value_enum, default_value_t)]
    format: FormatArg,
}

pub(super) fn run(args: &TraceArgs) -> anyhow::Result<Outcome> {
    let harness = args.source.load()?;
    let netlist = Netlist::new(&harness);
    let from = common::point(&harness, &args.from)?;
    let (view, sheet) = match &args.to {
        None => sheet::trace_net(&harness, &netlist, from),
        Some(to) => {
            let to = common::point(&harness, to)?;
            match sheet::trace(&harness, &netlist, from, to) {
                Some(found) => found,
                None => bail!(
                    "nothing joins {} and {}, in any position of the switches",
                    args.from,
                    harness.point_name(to)
                ),
            }
        }
    };
    output::show(args.format, &view, &sheet)?;
    Ok(Outcome::Well)
}
