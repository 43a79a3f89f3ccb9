//! `ringout draw HARNESS layout`: the harness laid out.

use anyhow::bail;

use super::{Destination, Readings};
use crate::definition::{Harness, Named, WireId};
use crate::draw::{layout_of, layout_scene, to_svg};
use crate::netlist::Netlist;

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  ringout draw machine.toml layout --wire 31A -o layout.svg")]
pub(super) struct LayoutArgs {
    /// Follow these wires, and name what they may chafe against: 31A,31B
    #[arg(long, value_name = "WIRES", value_delimiter = ',')]
    wire: Vec<String>,
    #[command(flatten)]
    readings: Readings,
    #[command(flatten)]
    to: Destination,
}

pub(super) fn draw(args: &LayoutArgs, harness: &Harness) -> anyhow::Result<()> {
    let mut points_out = args.readings.highlights(harness, &Netlist::new(harness))?;
    points_out.wires = args.wire.iter().map(|name| wire(harness, name)).collect::<anyhow::Result<_>>()?;
    let svg = to_svg(&layout_scene(&layout_of(harness, &points_out)));
    args.to.write(vec![("layout.svg".to_owned(), svg)])
}

fn wire(harness: &Harness, name: &str) -> anyhow::Result<WireId> {
    if let Some(Named::Wire(id)) = harness.names.get(name) {
        return Ok(id);
    }
    match harness.names.nearest(name, |n| matches!(n, Named::Wire(_))) {
        Some(near) => bail!("no wire is called `{name}`: did you mean `{near}`?"),
        None => bail!("no wire is called `{name}`"),
    }
}
