//! `ringout locate`: from readings to the segment at fault.

use std::path::PathBuf;

use super::Outcome;
use super::common::{self, Source};
use super::output::{self, FormatArg};
use crate::locate::{self, Evidence, Verdict, Wishes};
use crate::measure::Meter;
use crate::netlist::Netlist;
use crate::{record, sheet};

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  ringout locate machine.toml job.toml")]
pub(super) struct LocateArgs {
    #[command(flatten)]
    source: Source,
    /// The record of readings (TOML)
    record: PathBuf,
    /// Readings of a known-good twin: what was read there narrows what is expected here
    #[arg(long, value_name = "RECORD")]
    twin: Option<PathBuf>,
    #[arg(long, value_enum, default_value_t)]
    format: FormatArg,
}

pub(super) fn run(args: &LocateArgs) -> anyhow::Result<Outcome> {
    let harness = args.source.load()?;
    let record = common::read_record(&harness, &args.record)?;
    if record.entries.is_empty() && record.places.is_empty() {
        anyhow::bail!("{} has no readings yet: add one with `ringout log`", args.record.display());
    }
    let twin = args.twin.as_ref().map(|path| common::read_record(&harness, path)).transpose()?;
    let twin = twin.map(|record| record.entries).unwrap_or_default();
    let netlist = Netlist::new(&harness);
    let evidence = Evidence { entries: &record.entries, places: &record.places, twin: &twin };
    let (stand, red) = record.stand().unzip();
    let wishes = Wishes { stand, station: red.and_then(|red| harness.station_of(red)), ..Wishes::default() };
    let mut diagnosis = locate::locate_for(&harness, &netlist, &evidence, &wishes, &Meter::HANDHELD)?;
    diagnosis.notes.extend(record.withdrawn.iter().map(record::Withdrawn::words));
    let (view, sheet) = sheet::locate(&harness, &diagnosis);
    output::show(args.format, &view, &sheet)?;
    // Whoever looks for a place has found a fault already.
    let all_well = diagnosis.verdict == Verdict::Healthy && record.places.is_empty();
    Ok(if all_well { Outcome::Well } else { Outcome::Finding })
}
