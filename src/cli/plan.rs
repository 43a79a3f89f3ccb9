//! `ringout plan`: which readings to take, in which order; with `--check` whether a plan keeps the rules.

use std::path::{Path, PathBuf};

use anyhow::Context;

use super::Outcome;
use super::common::{self, Source};
use super::output::{self, FormatArg};
use crate::measure::Meter;
use crate::netlist::Netlist;
use crate::plan::{self, Meters, Scope};
use crate::setup::Setup;
use crate::{sheet, verify};

#[derive(Debug, clap::Args)]
pub(super) struct PlanArgs {
    #[command(flatten)]
    source: Source,
    /// Only what can be measured while these connectors are unplugged: P1,P2
    #[arg(long, value_name = "CONNECTORS", value_delimiter = ',')]
    unplug: Vec<String>,
    /// Only one circuit
    #[arg(long, value_name = "ID")]
    circuit: Option<String>,
    /// Meters at hand: handheld, handheld-nulled, four-wire, megohm, beeper
    #[arg(long, value_name = "KIND", value_delimiter = ',', default_value = Meter::HANDHELD.name)]
    meter: Vec<String>,
    /// Say for every step why its limits are where they are
    #[arg(long)]
    why: bool,
    /// Check a plan, as --format json prints it, instead of making one
    #[arg(long, value_name = "FILE", conflicts_with_all = ["unplug", "circuit", "meter", "why"])]
    check: Option<PathBuf>,
    #[arg(long, value_enum, default_value_t)]
    format: FormatArg,
}

pub(super) fn run(args: &PlanArgs) -> anyhow::Result<Outcome> {
    if let Some(path) = &args.check {
        return check(args, path);
    }
    let meters = args.meter.iter().map(|name| Meter::parse(name)).collect::<Result<Meters, _>>()?;
    let harness = args.source.load()?;
    let unplugged: Setup = common::unplugged(&harness, &args.unplug)?.into();
    if let Some(circuit) = &args.circuit
        && !harness.wires.values().any(|w| w.circuit.as_ref() == Some(circuit))
    {
        anyhow::bail!("no wire belongs to circuit `{circuit}`");
    }
    let scope = Scope { unplug: unplugged.parted().collect(), circuit: args.circuit.clone() };
    let netlist = Netlist::new(&harness);
    let plan = plan::plan(&harness, &netlist, &scope, meters)?;
    let (view, sheet) =
        if args.why { sheet::plan_with_reasons(&harness, &plan) } else { sheet::plan(&harness, &plan) };
    output::show(args.format, &view, &sheet)?;
    Ok(Outcome::Well)
}

/// Checks a plan that there is already.
fn check(args: &PlanArgs, path: &Path) -> anyhow::Result<Outcome> {
    let harness = args.source.load()?;
    let text = common::read_text(path)?;
    let report = verify::check(&harness, &text).with_context(|| path.display().to_string())?;
    let (view, sheet) = sheet::verify(&harness, &report);
    output::show(args.format, &view, &sheet)?;
    Ok(if report.is_kept() { Outcome::Well } else { Outcome::Finding })
}
