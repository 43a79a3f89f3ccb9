//! `ringout draw`: drawings as SVG.

mod layout;
mod setup;
mod strip;

use std::collections::BTreeSet;
use std::path::PathBuf;

use anyhow::bail;

use super::common::{self, Source};
use super::{Outcome, files, output};
use crate::definition::{ConnectorId, ContactId, Harness, Point};
use crate::draw::{Highlights, Mark, Scene, Side, face_of, face_scene, hazard_at, to_svg};
use crate::locate::locate;
use crate::measure::Meter;
use crate::netlist::Netlist;

#[derive(Debug, clap::Args)]
#[command(after_help = "\
    Examples:\n\
    \x20 ringout draw machine.toml face P1 -o P1.svg\n\
    \x20 ringout draw machine.toml strip --all --out strips")]
pub(super) struct DrawArgs {
    #[command(flatten)]
    source: Source,
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// A connector's face: where each contact is and what it carries
    Face(FaceArgs),
    /// One circuit as a line from the source through what it feeds, and back
    Strip(strip::StripArgs),
    /// The harness laid out: trunks to scale, and what is found where
    Layout(layout::LayoutArgs),
    /// How the machine stands for a reading: power, plugs, switches, probes
    Setup(setup::SetupArgs),
}

#[derive(Debug, clap::Args)]
#[command(after_help = "\
    Examples:\n\
    \x20 ringout draw machine.toml face P1 --side wire --red P1.K -o P1.svg\n\
    \x20 ringout draw machine.toml face --all --side both --out faces")]
struct FaceArgs {
    /// The connector
    #[arg(required_unless_present = "all")]
    connector: Option<String>,
    /// Every connector, one file each
    #[arg(long, conflicts_with = "connector", requires = "out")]
    all: bool,
    /// The side looked at; an unplugged connector is probed from its mating side
    #[arg(long, value_enum, default_value_t)]
    side: SideArg,
    /// Mark the contact for the red probe
    #[arg(long, value_name = "CONNECTOR.CONTACT")]
    red: Option<String>,
    /// Mark the contact for the black probe
    #[arg(long, value_name = "CONNECTOR.CONTACT")]
    black: Option<String>,
    #[command(flatten)]
    readings: Readings,
    #[command(flatten)]
    to: Destination,
}

/// The readings so far, whose suspects a drawing shades.
#[derive(Debug, clap::Args)]
struct Readings {
    /// Shade the suspects that the readings of this record leave
    #[arg(long, value_name = "RECORD")]
    record: Option<PathBuf>,
}

impl Readings {
    fn highlights(&self, harness: &Harness, netlist: &Netlist) -> anyhow::Result<Highlights> {
        let Some(path) = &self.record else { return Ok(Highlights::default()) };
        let record = common::read_record(harness, path)?;
        let diagnosis = locate(harness, netlist, &record.entries, &Meter::HANDHELD)?;
        Ok(Highlights::of_diagnosis(&diagnosis))
    }
}

/// Where a drawing goes: standard output where nothing is said.
#[derive(Debug, clap::Args)]
struct Destination {
    /// Write to this file
    #[arg(short, value_name = "FILE", conflicts_with = "out")]
    output: Option<PathBuf>,
    /// Write to this folder, under a name made from what is drawn
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Overwrite what is there
    #[arg(long)]
    force: bool,
}

impl Destination {
    /// Writes drawings: each with the name its file gets in a folder.
    fn write(&self, drawings: Vec<(String, String)>) -> anyhow::Result<()> {
        match (&self.out, &self.output) {
            (Some(out), _) => {
                files::folder(out)?;
                let named = drawings.into_iter().map(|(name, svg)| (out.join(name), svg));
                files::write_all(&named.collect::<Vec<_>>(), self.force)
            }
            (None, Some(path)) => {
                let svg: String = drawings.into_iter().map(|(_, svg)| svg).collect();
                files::write(path, svg.as_bytes(), self.force)
            }
            (None, None) => output::print(&drawings.into_iter().map(|(_, svg)| svg).collect::<String>()),
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
enum SideArg {
    /// The side that meets the other half
    #[default]
    Mating,
    /// The side the wires come in
    Wire,
    /// Both on one sheet
    Both,
}

impl SideArg {
    fn word(self) -> &'static str {
        match self {
            Self::Mating => "mating",
            Self::Wire => "wire",
            Self::Both => "both",
        }
    }
}

pub(super) fn run(args: &DrawArgs) -> anyhow::Result<Outcome> {
    let harness = args.source.load()?;
    match &args.what {
        What::Face(args) => faces(args, &harness)?,
        What::Strip(args) => strip::draw(args, &harness)?,
        What::Layout(args) => layout::draw(args, &harness)?,
        What::Setup(args) => setup::draw(args, &harness)?,
    }
    Ok(Outcome::Well)
}

fn faces(args: &FaceArgs, harness: &Harness) -> anyhow::Result<()> {
    let only = args.connector.as_deref().map(|name| common::connector(harness, name)).transpose()?;
    let mut marks = marks(args, harness, only)?;
    marks.extend(args.readings.highlights(harness, &Netlist::new(harness))?.at_contacts(harness));
    let wanted: Vec<ConnectorId> = only.map_or_else(|| harness.connectors.ids().collect(), |id| vec![id]);
    let names =
        file_names("face", wanted.iter().map(|id| harness.connectors[*id].id.as_str()), args.side.word());
    let draw = |id| to_svg(&face(harness, id, args.side, &marks));
    args.to.write(names.into_iter().zip(wanted.into_iter().map(draw)).collect())
}

fn face(harness: &Harness, id: ConnectorId, side: SideArg, marks: &[(ContactId, Mark)]) -> Scene {
    let one = |side| face_scene(&face_of(harness, id, side, marks));
    match side {
        SideArg::Mating => one(Side::Mating),
        SideArg::Wire => one(Side::Wire),
        // Without geometry there are no sides to tell apart.
        SideArg::Both if harness.connectors[id].face.is_none() => one(Side::Mating),
        SideArg::Both => one(Side::Mating).with(one(Side::Wire)),
    }
}

/// The contacts that get a probe.
fn marks(
    args: &FaceArgs,
    harness: &Harness,
    only: Option<ConnectorId>,
) -> anyhow::Result<Vec<(ContactId, Mark)>> {
    let mut marks: Vec<(ContactId, Mark)> = Vec::new();
    for (name, mark) in [(&args.red, Mark::RedProbe), (&args.black, Mark::BlackProbe)] {
        let Some(name) = name else { continue };
        let contact = probed(harness, name, only)?;
        if marks.iter().any(|(taken, _)| *taken == contact) {
            bail!("both probes at {name} measure nothing: name two contacts");
        }
        marks.push((contact, mark));
    }
    Ok(marks)
}

fn probed(harness: &Harness, name: &str, only: Option<ConnectorId>) -> anyhow::Result<ContactId> {
    let Point::Contact(contact) = common::point(harness, name)? else {
        bail!("{name} is not a contact of a connector: a face cannot show it");
    };
    let at = harness.contacts[contact].connector;
    if let Some(drawn) = only.filter(|drawn| *drawn != at) {
        bail!("{name} is not a contact of {}, which is drawn", harness.connectors[drawn].id);
    }
    if let Some(hazard) = hazard_at(harness, contact) {
        bail!("{name} is never probed with an ordinary meter: hazard, {hazard}");
    }
    Ok(contact)
}

/// A file name for each drawing: safe, and different even where letters' case does not count.
fn file_names<'a>(what: &str, ids: impl ExactSizeIterator<Item = &'a str>, how: &str) -> Vec<String> {
    let count = ids.len();
    let mut taken = BTreeSet::new();
    let end = if how.is_empty() { String::new() } else { format!("-{how}") };
    ids.map(|id| {
        let safe = |c: char| if c.is_alphanumeric() || matches!(c, '-' | '+') { c } else { '_' };
        let id: String = id.chars().take(60).map(safe).collect();
        let numbered = |n: usize| if n == 1 { id.clone() } else { format!("{id}_{n}") };
        // Among one more name than there are drawings one is always free.
        let free = (1..=count + 1).map(numbered).find(|name| taken.insert(name.to_lowercase()));
        format!("{what}-{}{end}.svg", free.unwrap_or(id))
    })
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn file_names_are_safe_and_differ() {
        let ids = ["P1", "p1", "../../etc/x", "P1_2", "a b\0c", "CON"];
        let names = file_names("face", ids.into_iter(), "wire");
        let expected = ["P1", "p1_2", "______etc_x", "P1_2_2", "a_b_c", "CON"];
        assert_eq!(names, expected.map(|id| format!("face-{id}-wire.svg")));
        let long = "x".repeat(5000);
        assert!(file_names("face", std::iter::once(long.as_str()), "both")[0].len() < 100);
    }
}
