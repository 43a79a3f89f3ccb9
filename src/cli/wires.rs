//! `ringout wires`: the from-to list.

use super::Outcome;
use super::common::Source;
use super::output::{self, FormatArg};
use crate::sheet;

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  ringout wires machine.toml --circuit 31 --format md")]
pub(super) struct WiresArgs {
    #[command(flatten)]
    source: Source,
    /// Only the wires of one circuit
    #[arg(long, value_name = "ID")]
    circuit: Option<String>,
    #[arg(long, value_enum, default_value_t)]
    format: FormatArg,
}

pub(super) fn run(args: &WiresArgs) -> anyhow::Result<Outcome> {
    let harness = args.source.load()?;
    let (view, sheet) = sheet::wires(&harness, args.circuit.as_deref());
    if let (Some(circuit), true) = (&args.circuit, view.wires.is_empty()) {
        anyhow::bail!("no wire belongs to circuit `{circuit}`");
    }
    output::show(args.format, &view, &sheet)?;
    Ok(Outcome::Well)
}
