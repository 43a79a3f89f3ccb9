//! `ringout draw HARNESS strip`: one circuit as a line.

use anyhow::bail;

use super::{Destination, Readings, file_names};
use crate::definition::{Harness, Named};
use crate::draw::{Highlights, StripOptions, Strips, Subject, strip_scene, to_svg};
use crate::netlist::Netlist;

#[derive(Debug, clap::Args)]
#[command(after_help = "\
    Examples:\n\
    \x20 ringout draw machine.toml strip 31 -o strip.svg\n\
    \x20 ringout draw machine.toml strip --all --out strips")]
pub(super) struct StripArgs {
    /// The circuit, or a part that it runs through: 31, M1
    #[arg(required_unless_present = "all")]
    circuit: Option<String>,
    /// Every circuit, one file each
    #[arg(long, conflicts_with = "circuit", requires = "out")]
    all: bool,
    /// Leave out the feed and return that the circuit shares with others
    #[arg(long)]
    short: bool,
    #[command(flatten)]
    readings: Readings,
    #[command(flatten)]
    to: Destination,
}

pub(super) fn draw(args: &StripArgs, harness: &Harness) -> anyhow::Result<()> {
    let netlist = Netlist::new(harness);
    let strips = Strips::new(harness, &netlist);
    let points_out = args.readings.highlights(harness, &netlist)?;
    let wanted = match &args.circuit {
        Some(name) => vec![(name.as_str(), subject(harness, &strips, name)?)],
        None => strips.circuits().into_iter().map(|id| (id, Subject::Circuit(id.to_owned()))).collect(),
    };
    let options = StripOptions { short: args.short };
    let names = file_names("strip", wanted.iter().map(|(name, _)| *name), "");
    let draw = |subject: &Subject, points_out: &Highlights| {
        to_svg(&strip_scene(&strips.view_with(subject, points_out, options)))
    };
    let drawings =
        names.into_iter().zip(&wanted).map(|(name, (_, subject))| (name, draw(subject, &points_out)));
    args.to.write(drawings.collect())
}

/// A circuit, or else a part, or else the circuit of a wire.
fn subject(harness: &Harness, strips: &Strips, name: &str) -> anyhow::Result<Subject> {
    let circuits = strips.circuits();
    if circuits.contains(&name) {
        return Ok(Subject::Circuit(name.to_owned()));
    }
    match harness.names.get(name) {
        Some(Named::Part(part)) => return Ok(Subject::Part(part)),
        Some(Named::Wire(wire)) => {
            if let Some(circuit) = &harness.wires[wire].circuit {
                return Ok(Subject::Circuit(circuit.clone()));
            }
            bail!("wire {name} belongs to no circuit: give it one with `circuit = \"…\"`");
        }
        _ => {}
    }
    let known = circuits.iter().take(12).copied().collect::<Vec<_>>().join(", ");
    let more = if circuits.len() > 12 { ", …" } else { "" };
    if circuits.is_empty() {
        bail!("nothing is called `{name}`: the harness has no circuits, name a part");
    }
    bail!("no circuit and no part is called `{name}`: the circuits are {known}{more}")
}
