//! `ringout plan`: which readings to take, in which order; with `--check` whether a plan keeps the rules.

use std::path::{Path, PathBuf};

use anyhow::Context;

use super::Outcome;
use super::common::{self, Source};
use super::output::{self, FormatArg};
use super::threads::Threads;
use crate::definition::Harness;
use crate::measure::Meter;
use crate::netlist::Netlist;
use crate::plan::complaint::{Asked, Depth};
use crate::plan::{self, Aids, Meters, Scope};
use crate::setup::Setup;
use crate::{sheet, verify};

#[derive(Debug, clap::Args)]
#[command(after_help = "\
    Examples:\n\
    \x20 ringout plan machine.toml --unplug P1,P2\n\
    \x20 ringout plan machine.toml --complaint M1=S1:run\n\
    \x20 ringout plan machine.toml --check plan.json")]
#[allow(clippy::struct_excessive_bools, reason = "each is a flag of its own on the command line")]
pub(super) struct PlanArgs {
    #[command(flatten)]
    source: Source,
    /// Only what can be measured while these connectors are unplugged: P1,P2
    #[arg(long, visible_alias = "unplugged", value_name = "CONNECTORS", value_delimiter = ',')]
    unplug: Vec<String>,
    /// Only one circuit
    #[arg(long, value_name = "ID")]
    circuit: Option<String>,
    /// A part that does not work, and when it should: M1, or M1=S1:run,S2:spray,CONDITION
    #[arg(long, value_name = "PART[=SETUP]", conflicts_with_all = ["unplug", "circuit", "aids"])]
    complaint: Option<String>,
    /// With --complaint: go on as long as anything tells, however unlikely
    #[arg(long, requires = "complaint")]
    thorough: bool,
    /// With --complaint: the steps as one tree from the first reading to where it ends, for a manual
    #[arg(long, requires = "complaint", conflicts_with = "why")]
    chart: bool,
    /// Only what proves a repair: an entry of the log of repairs, by its id, or as FILE#ID
    #[arg(long, value_name = "REPAIR", conflicts_with_all = ["unplug", "circuit", "complaint", "stages", "aids"])]
    after: Option<String>,
    /// For a build: in stages from loose wires to the first power
    #[arg(long, conflicts_with_all = ["unplug", "circuit", "complaint"])]
    stages: bool,
    /// Meters at hand: handheld, handheld-nulled, four-wire, megohm, beeper
    #[arg(long, value_name = "KIND", value_delimiter = ',', default_value = Meter::HANDHELD.name)]
    meter: Vec<String>,
    /// What there is beside two probes: straps (one contact against the strapped rest), groupings (half against half
    /// as well, where only detection is wanted), loopback (a plug that joins wires at the far end)
    #[arg(long, value_name = "AIDS", value_delimiter = ',')]
    aids: Vec<String>,
    /// Say for every step why its limits are where they are
    #[arg(long)]
    why: bool,
    /// Check a plan, as --format json prints it, instead of making one
    #[arg(long, value_name = "FILE", conflicts_with_all = ["unplug", "circuit", "complaint", "stages", "after", "meter", "aids", "why"])]
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
    let aids = Aids::parse(args.aids.iter().map(String::as_str))?;
    let plan = match &args.complaint {
        Some(text) => {
            let mut asked = Asked::parse(&harness, text)?;
            if args.thorough {
                asked.depth = Depth::THOROUGH;
            }
            plan::complaint::complaint(&harness, &netlist, &asked, meters)?
        }
        None if args.after.is_some() => after(args, &harness, &netlist, meters)?,
        None if args.stages => plan::stages(&harness, &netlist, meters, aids)?,
        None => plan::plan_by(&Threads, &harness, &netlist, &scope, meters, aids)?,
    };
    if args.chart
        && let Some((view, sheet)) = sheet::chart(&harness, &plan)
    {
        output::show(args.format, &view, &sheet)?;
        return Ok(Outcome::Well);
    }
    if args.format == FormatArg::Json {
        output::json(&sheet::plan_view_by(&Threads, &harness, &plan))?;
        return Ok(Outcome::Well);
    }
    let (view, sheet) =
        if args.why { sheet::plan_with_reasons(&harness, &plan) } else { sheet::plan(&harness, &plan) };
    output::show(args.format, &view, &sheet)?;
    Ok(Outcome::Well)
}

/// The plan that proves a repair.
fn after(
    args: &PlanArgs,
    harness: &Harness,
    netlist: &Netlist,
    meters: Meters,
) -> anyhow::Result<plan::Plan> {
    let (_, entry) =
        super::repair::entry_of(harness, &args.source.harness, args.after.as_deref().unwrap_or_default())?;
    if entry.after.hash != harness.hash {
        output::note(&format!(
            "{} made revision {}; this is revision {} or another text: what it touched is looked for here by name\n",
            entry.id, entry.after.revision, harness.about.revision
        ));
    }
    let touched = entry.touched.resolve(harness).map_err(|name| {
        anyhow::anyhow!(
            "{} touched `{name}`, which this definition does not have: name the file that the repair made",
            entry.id
        )
    })?;
    let mut plan = plan::after(harness, netlist, &touched, meters)?;
    plan.before.insert(0, format!("Repair {}: {}.", entry.id, entry.done));
    Ok(plan)
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
