//! `ringout pack`: one HTML page for print and tablet.

use std::path::PathBuf;

use super::Outcome;
use super::common::{self, Source};
use super::{files, output};
use crate::definition::Harness;
use crate::measure::Meter;
use crate::netlist::Netlist;
use crate::plan::complaint::{Asked, Depth};
use crate::plan::{self, Aids, Meters, Plan, Scope};
use crate::setup::Setup;
use crate::sheet::{self, PackOptions, PackSection};

#[derive(Debug, clap::Args)]
#[command(after_help = "\
    Examples:\n\
    \x20 ringout pack machine.toml --unplug P1,P2 -o pack.html\n\
    \x20 ringout pack machine.toml --complaint M1 --sections plan,pins -o pack.html")]
#[allow(clippy::struct_excessive_bools, reason = "each is a flag of its own on the command line")]
pub(super) struct PackArgs {
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
    /// For a build: in stages from loose wires to the first power
    #[arg(long, conflicts_with_all = ["unplug", "circuit", "complaint"])]
    stages: bool,
    /// Meters at hand: handheld, handheld-nulled, four-wire, megohm, beeper
    #[arg(long, value_name = "KIND", value_delimiter = ',', default_value = Meter::HANDHELD.name)]
    meter: Vec<String>,
    /// What there is beside two probes: straps, groupings (straps, for detection only) or loopback, as `plan` has them
    #[arg(long, value_name = "AIDS", value_delimiter = ',')]
    aids: Vec<String>,
    /// Say for every step why its limits are where they are
    #[arg(long)]
    why: bool,
    /// The date on the cover, as it shall stand there
    #[arg(long, value_name = "DATE")]
    date: Option<String>,
    /// The parts wanted; all of them where left out. Cover and cautions always stay
    #[arg(long, value_enum, value_name = "SECTIONS", value_delimiter = ',')]
    sections: Vec<SectionArg>,
    /// Write to this file; to standard output where left out
    #[arg(short, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Overwrite what is there
    #[arg(long)]
    force: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum SectionArg {
    /// The plan by phase, with boxes for the readings
    Plan,
    /// Pin maps: both sides of each connector, and its table
    Pins,
    /// The from-to list
    Wires,
    /// Circuits as lines of stations
    Strips,
    /// The harness laid out
    Layout,
}

impl From<SectionArg> for PackSection {
    fn from(section: SectionArg) -> Self {
        match section {
            SectionArg::Plan => Self::Plan,
            SectionArg::Pins => Self::Pins,
            SectionArg::Wires => Self::Wires,
            SectionArg::Strips => Self::Strips,
            SectionArg::Layout => Self::Layout,
        }
    }
}

pub(super) fn run(args: &PackArgs) -> anyhow::Result<Outcome> {
    let harness = args.source.load()?;
    let netlist = Netlist::new(&harness);
    let plan = plan_of(args, &harness, &netlist)?;
    let sections: Vec<PackSection> = if args.sections.is_empty() {
        PackSection::ALL.to_vec()
    } else {
        args.sections.iter().copied().map(PackSection::from).collect()
    };
    let options = PackOptions {
        sections: &sections,
        date: args.date.as_deref(),
        scope: &scope(args),
        circuit: args.circuit.as_deref(),
        why: args.why,
        deference: common::DEFERENCE,
    };
    let page = sheet::pack(&harness, &netlist, &plan, &options)?;
    match &args.output {
        Some(path) => files::write(path, page.as_bytes(), args.force)?,
        None => output::print(&page)?,
    }
    Ok(Outcome::Well)
}

fn plan_of(args: &PackArgs, harness: &Harness, netlist: &Netlist) -> anyhow::Result<Plan> {
    let meters = args.meter.iter().map(|name| Meter::parse(name)).collect::<Result<Meters, _>>()?;
    let unplugged: Setup = common::unplugged(harness, &args.unplug)?.into();
    if let Some(circuit) = &args.circuit
        && !harness.wires.values().any(|w| w.circuit.as_ref() == Some(circuit))
    {
        anyhow::bail!("no wire belongs to circuit `{circuit}`");
    }
    let aids = Aids::parse(args.aids.iter().map(String::as_str))?;
    if let Some(text) = &args.complaint {
        let mut asked = Asked::parse(harness, text)?;
        if args.thorough {
            asked.depth = Depth::THOROUGH;
        }
        return Ok(plan::complaint::complaint(harness, netlist, &asked, meters)?);
    }
    if args.stages {
        return Ok(plan::stages(harness, netlist, meters, aids)?);
    }
    let scope = Scope { unplug: unplugged.parted().collect(), circuit: args.circuit.clone() };
    Ok(plan::plan_with(harness, netlist, &scope, meters, aids)?)
}

/// What the plan is of, in words.
fn scope(args: &PackArgs) -> String {
    if let Some(part) = &args.complaint {
        return format!("complaint: {part} does not work");
    }
    if args.stages {
        return "in stages, from loose wires to the first power".to_owned();
    }
    let mut words = Vec::new();
    words.extend((!args.unplug.is_empty()).then(|| format!("with {} unplugged", args.unplug.join(", "))));
    words.extend(args.circuit.as_ref().map(|circuit| format!("circuit {circuit}")));
    if words.is_empty() { "the whole machine".to_owned() } else { words.join(", ") }
}
