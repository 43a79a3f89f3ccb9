//! `ringout study`: how well the advice does on a machine.

use super::Outcome;
use super::common::Source;
use super::output::{self, FormatArg};
use crate::netlist::Netlist;
use crate::sheet;
use crate::study::{self, Draw};

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  ringout study machine.toml --runs 100 --seed 7")]
pub(super) struct StudyArgs {
    #[command(flatten)]
    source: Source,
    /// So many faults, each drawn by its weight
    #[arg(long, value_name = "N", default_value_t = 50, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    runs: u32,
    /// Every fault once instead, counted by its weight: this takes long
    #[arg(long, conflicts_with = "runs")]
    all: bool,
    /// Where the stream of chance begins: the same seed, the same study
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    #[arg(long, value_enum, default_value_t)]
    format: FormatArg,
}

pub(super) fn run(args: &StudyArgs) -> anyhow::Result<Outcome> {
    let harness = args.source.load()?;
    let netlist = Netlist::new(&harness);
    let draw = if args.all { Draw::All } else { Draw::Weighted(args.runs as usize) };
    let study = study::study(&harness, &netlist, draw, args.seed)?;
    let (view, sheet) = sheet::study(&harness, &study);
    output::show(args.format, &view, &sheet)?;
    Ok(if view.goals.iter().all(|goal| goal.kept != Some(false)) { Outcome::Well } else { Outcome::Finding })
}
