//! `ringout draw HARNESS setup`: how the machine stands for a reading.

use anyhow::bail;

use super::super::common;
use super::super::export::{PowerArg, condition, position};
use super::Destination;
use crate::definition::{Harness, Kind, Point};
use crate::draw::{Probes, setup_of, setup_scene, to_svg};
use crate::setup::{Setup, hazard_at};

#[derive(Debug, clap::Args)]
#[command(after_help = "\
    Example:\n\
    \x20 ringout draw machine.toml setup --unplug P1,P2 --red P1.K --black GP2 -o setup.svg")]
pub(super) struct SetupArgs {
    /// Whether the batteries are connected
    #[arg(long, value_enum, default_value = "isolated")]
    power: PowerArg,
    /// Connectors that are unplugged: P1,P2
    #[arg(long, visible_alias = "unplugged", value_name = "CONNECTORS", value_delimiter = ',')]
    unplug: Vec<String>,
    /// Switches that are not at rest: S1=run,S2=spray
    #[arg(long, value_name = "SWITCH=POSITION", value_delimiter = ',')]
    set: Vec<String>,
    /// Conditions that hold
    #[arg(long, visible_alias = "conditions", value_name = "CONDITIONS", value_delimiter = ',')]
    condition: Vec<String>,
    /// Where the red probe goes
    #[arg(long, value_name = "POINT", requires = "black")]
    red: Option<String>,
    /// Where the black probe goes
    #[arg(long, value_name = "POINT", requires = "red")]
    black: Option<String>,
    /// What is read; by default continuity with power isolated, and voltage with power connected
    #[arg(long, value_enum, requires = "red")]
    kind: Option<KindArg>,
    #[command(flatten)]
    to: Destination,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum KindArg {
    Continuity,
    Isolation,
    Voltage,
    Drop,
}

impl From<KindArg> for Kind {
    fn from(kind: KindArg) -> Self {
        match kind {
            KindArg::Continuity => Self::Continuity,
            KindArg::Isolation => Self::Isolation,
            KindArg::Voltage => Self::Voltage,
            KindArg::Drop => Self::Drop,
        }
    }
}

pub(super) fn draw(args: &SetupArgs, harness: &Harness) -> anyhow::Result<()> {
    let unplugged = args.unplug.iter().map(|name| common::connector(harness, name));
    let unplugged = unplugged.collect::<Result<Vec<_>, _>>()?;
    let set = args.set.iter().map(|text| position(harness, text)).collect::<Result<Vec<_>, _>>()?;
    let conditions = args.condition.iter().map(|name| condition(harness, name));
    let conditions = conditions.collect::<Result<Vec<_>, _>>()?;
    let setup = Setup::described(harness, args.power.into(), &unplugged, &set, &conditions)?;
    let probes = args.red.as_deref().zip(args.black.as_deref());
    let probes = probes.map(|(red, black)| probes_at(args, harness, &setup, [red, black])).transpose()?;
    let svg = to_svg(&setup_scene(&setup_of(harness, &setup, "Setup", probes)));
    args.to.write(vec![("setup.svg".to_owned(), svg)])
}

fn probes_at(args: &SetupArgs, harness: &Harness, setup: &Setup, names: [&str; 2]) -> anyhow::Result<Probes> {
    let connected = PowerArg::Connected == args.power;
    let kind = args.kind.map_or(if connected { Kind::Voltage } else { Kind::Continuity }, Kind::from);
    if connected && kind.is_resistance() {
        bail!("{} is read with power isolated only", kind.word());
    }
    let [red, black] = [reached(harness, setup, names[0])?, reached(harness, setup, names[1])?];
    if red == black {
        bail!("both probes at {} measure nothing: name two points", names[0]);
    }
    Ok(Probes { kind, red, black })
}

fn reached(harness: &Harness, setup: &Setup, name: &str) -> anyhow::Result<Point> {
    let point = common::point(harness, name)?;
    if let Some((what, hazard)) = hazard_at(harness, point) {
        bail!("{name} is never probed with an ordinary meter: {what} is marked as a hazard, {hazard}");
    }
    if !setup.can_probe(harness, point) {
        bail!("no probe reaches {name} in this setup: unplug its connector, or name another point");
    }
    Ok(point)
}
