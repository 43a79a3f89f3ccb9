//! `ringout export`: what other programs read.

use std::path::PathBuf;

use anyhow::{anyhow, bail};

use super::common::{self, Source};
use super::{Outcome, files, output};
use crate::circuit::{Change, spice};
use crate::definition::diagnostic::nearest;
use crate::definition::{ConditionId, Harness, PartId, PartKind};
use crate::exchange::export;
use crate::fault::{Fault, Universe};
use crate::netlist::Netlist;
use crate::setup::{Power, Setup};

#[derive(Debug, clap::Args)]
#[command(after_help = "\
    Example:\n\
    \x20 ringout export machine.toml --spice --set S1=run --fault 31C:open -o machine.cir")]
pub(super) struct ExportArgs {
    #[command(flatten)]
    source: Source,
    #[command(flatten)]
    form: Form,
    /// Of a deck: whether the batteries are connected (they are where this is left out)
    #[arg(long, value_enum)]
    power: Option<PowerArg>,
    /// Of a deck: connectors that are unplugged: P1,P2
    #[arg(long, visible_alias = "unplugged", value_name = "CONNECTORS", value_delimiter = ',')]
    unplug: Vec<String>,
    /// Of a deck: switches that are not at rest: S1=run,S2=spray
    #[arg(long, value_name = "SWITCH=POSITION", value_delimiter = ',')]
    set: Vec<String>,
    /// Of a deck: conditions that hold
    #[arg(long, visible_alias = "conditions", value_name = "CONDITIONS", value_delimiter = ',')]
    condition: Vec<String>,
    /// Of a deck: put a single fault into the machine, by the id that plans print: 31A:open
    #[arg(long, value_name = "FAULT")]
    fault: Option<String>,
    /// Write to this file
    #[arg(short, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Overwrite what is there
    #[arg(long)]
    force: bool,
}

/// What to write: exactly one of them.
#[derive(Debug, clap::Args)]
#[group(required = true, multiple = false)]
#[expect(clippy::struct_excessive_bools, reason = "the group lets only one of them be set")]
struct Form {
    /// A deck of the circuit in this state, for a SPICE circuit simulator (ngspice)
    #[arg(long)]
    spice: bool,
    /// A table that `import` reads back
    #[arg(long, value_enum)]
    csv: Option<TableArg>,
    /// Both tables as sheets of one workbook (with -o; where the program was built with the feature `xlsx`)
    #[arg(long, requires = "output")]
    xlsx: bool,
    /// The graph of all points in the DOT language
    #[arg(long)]
    dot: bool,
    /// The whole machine as JSON
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum TableArg {
    /// The from-to list
    Wires,
    /// The pin maps
    Pins,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub(super) enum PowerArg {
    /// Both leads of every battery are off
    Isolated,
    /// Every battery is connected
    #[default]
    Connected,
}

impl From<PowerArg> for Power {
    fn from(power: PowerArg) -> Self {
        match power {
            PowerArg::Isolated => Self::Isolated,
            PowerArg::Connected => Self::Connected,
        }
    }
}

impl ExportArgs {
    /// Whether a state of the machine, or a fault, is asked for.
    fn has_setup(&self) -> bool {
        let named = [&self.unplug, &self.set, &self.condition].iter().any(|list| !list.is_empty());
        self.power.is_some() || self.fault.is_some() || named
    }
}

pub(super) fn run(args: &ExportArgs) -> anyhow::Result<Outcome> {
    let form = &args.form;
    if !form.spice && args.has_setup() {
        bail!(
            "--power, --unplug, --set, --condition and --fault go with --spice: the other forms show the machine mated and sound"
        );
    }
    let harness = args.source.load()?;
    let bytes = match form.csv {
        Some(TableArg::Wires) => export::csv(&export::wires_table(&harness)).into_bytes(),
        Some(TableArg::Pins) => export::csv(&export::pins_table(&harness)).into_bytes(),
        None if form.xlsx => export::workbook(&harness)?,
        None if form.dot => export::dot(&harness).into_bytes(),
        None if form.json => (serde_json::to_string_pretty(&export::machine(&harness))? + "\n").into_bytes(),
        None => deck(args, &harness)?.into_bytes(),
    };
    match &args.output {
        Some(path) => files::write(path, &bytes, args.force)?,
        // All forms but the workbook are text, and that goes to a file.
        None => output::print(&String::from_utf8_lossy(&bytes))?,
    }
    Ok(Outcome::Well)
}

/// The circuit in the setup asked for.
fn deck(args: &ExportArgs, harness: &Harness) -> anyhow::Result<String> {
    let netlist = Netlist::new(harness);
    let setup = setup(args, harness)?;
    let (changes, words) = match &args.fault {
        Some(id) => fault(harness, &netlist, id)?,
        None => (Vec::new(), String::new()),
    };
    Ok(spice::deck(harness, &netlist, &setup, &changes, &words)?.text())
}

fn setup(args: &ExportArgs, harness: &Harness) -> anyhow::Result<Setup> {
    let unplugged = args.unplug.iter().map(|name| common::connector(harness, name));
    let unplugged = unplugged.collect::<Result<Vec<_>, _>>()?;
    let set = args.set.iter().map(|text| position(harness, text)).collect::<Result<Vec<_>, _>>()?;
    let conditions = args.condition.iter().map(|name| condition(harness, name));
    let conditions = conditions.collect::<Result<Vec<_>, _>>()?;
    Ok(Setup::described(harness, args.power.unwrap_or_default().into(), &unplugged, &set, &conditions)?)
}

/// A switch and its position, as `S1=run` names them.
pub(super) fn position(harness: &Harness, text: &str) -> anyhow::Result<(PartId, usize)> {
    let (switch, wanted) = common::assignment(text)?;
    let part = harness.names.part(switch);
    let kind = part.map(|part| &harness.parts[part].kind);
    let (Some(part), Some(PartKind::Switch { positions, .. })) = (part, kind) else {
        bail!("no switch is called `{switch}`");
    };
    let names = || positions.iter().map(|position| position.name.as_str());
    match names().position(|name| name == wanted) {
        Some(at) => Ok((part, at)),
        None => bail!(
            "{switch} has no position `{wanted}`: its positions are {}",
            names().collect::<Vec<_>>().join(", ")
        ),
    }
}

pub(super) fn condition(harness: &Harness, name: &str) -> anyhow::Result<ConditionId> {
    harness.names.condition(name).ok_or_else(|| {
        let known: Vec<&str> = harness.conditions.values().map(|c| c.id.as_str()).collect();
        let known = if known.is_empty() { "it has none".to_owned() } else { known.join(", ") };
        anyhow!("no condition is called `{name}`; those of this definition: {known}")
    })
}

/// What a fault changes, and the fault in words.
fn fault(harness: &Harness, netlist: &Netlist, id: &str) -> anyhow::Result<(Vec<Change>, String)> {
    let universe = Universe::new(harness, netlist);
    match universe.iter().find(|(fault, _)| fault.id(harness) == id) {
        Some((fault, _)) => {
            let words = format!("{id} ({})", fault.words(harness));
            Ok((universe.changes(harness, netlist, fault), words))
        }
        None => bail!("no single fault of this machine is called `{id}`{}", near(harness, &universe, id)),
    }
}

/// The nearest ids, and those of the same element.
fn near(harness: &Harness, universe: &Universe, id: &str) -> String {
    let ids: Vec<String> = universe.iter().map(|(fault, _): (Fault, f64)| fault.id(harness)).collect();
    let element = id.split_once(':').map_or(id, |(element, _)| element);
    let same = ids.iter().filter(|known| known.split(':').next() == Some(element)).map(String::as_str);
    let mut found: Vec<&str> = nearest(id, ids.iter().map(String::as_str)).into_iter().collect();
    found.extend(same.take(NEAR).filter(|known| !found.contains(known)).collect::<Vec<_>>());
    found.truncate(NEAR);
    match &found[..] {
        [] => "; plans print the ids".to_owned(),
        found => format!(": did you mean `{}`?", found.join("`, `")),
    }
}

/// So many ids are named where one is unknown.
const NEAR: usize = 4;
