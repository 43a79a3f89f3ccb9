//! `ringout locate`: from readings to the segment at fault.

use std::path::PathBuf;

use super::Outcome;
use super::common::{self, Source};
use super::output::{self, FormatArg};
use crate::locate::{self, Verdict};
use crate::measure::Meter;
use crate::netlist::Netlist;
use crate::sheet;

#[derive(Debug, clap::Args)]
pub(super) struct LocateArgs {
    #[command(flatten)]
    source: Source,
    /// The record of readings (TOML)
    record: PathBuf,
    #[arg(long, value_enum, default_value_t)]
    format: FormatArg,
}

pub(super) fn run(args: &LocateArgs) -> anyhow::Result<Outcome> {
    let harness = args.source.load()?;
    let record = common::read_record(&harness, &args.record)?;
    if record.entries.is_empty() {
        anyhow::bail!("{} has no readings yet: add one with `ringout log`", args.record.display());
    }
    let netlist = Netlist::new(&harness);
    let diagnosis = locate::locate(&harness, &netlist, &record.entries, &Meter::HANDHELD)?;
    let (view, sheet) = sheet::locate(&harness, &diagnosis);
    output::show(args.format, &view, &sheet)?;
    Ok(if diagnosis.verdict == Verdict::Healthy { Outcome::Well } else { Outcome::Finding })
}
