//! `ringout log` for readings that tell where along a wire a fault lies.
//!
//! What is written is first read back and reckoned: a reading that may not be taken, or that puts the fault
//! outside the wire, is refused with the reason.

use anyhow::bail;

use super::Outcome;
use super::log::{LogArgs, append, read_sound};
use super::output;
use crate::definition::Harness;
use crate::locate::place;
use crate::measure::{Meter, Situation};
use crate::netlist::Netlist;
use crate::record::place::Shown;
use crate::record::{NewEntry, NewPlace, PlaceKind, PlaceReading};

/// What readings of a place have beside the others.
#[derive(Debug, clap::Args)]
pub(super) struct PlaceArgs {
    /// The wires that the reading goes along, from red: 31A,31B; left out, the one that ends there
    #[arg(long, value_name = "WIRES", value_delimiter = ',')]
    along: Vec<String>,
    /// The wires of the other conductor, from black; left out, the one that ends there
    #[arg(long, value_name = "WIRES", value_delimiter = ',')]
    back: Vec<String>,
    /// loop, capacitance: what the instrument showed at the far end
    #[arg(long, allow_hyphen_values = true)]
    far: Option<String>,
    /// What it shows without the fault: of the whole loop, or of a sound wire
    #[arg(long, allow_hyphen_values = true)]
    whole: Option<String>,
    /// varley: the bridge arm beside the faulty wire, of both arms: 10/110; equal, where left out
    #[arg(long)]
    arms: Option<String>,
    /// reflection: the velocity factor: "66 %"
    #[arg(long, allow_hyphen_values = true)]
    velocity: Option<String>,
    /// loop, murray, varley: the resistance of each test lead
    #[arg(long, allow_hyphen_values = true)]
    leads: Option<String>,
    /// The instrument's own uncertainty, in the unit of the value
    #[arg(long, allow_hyphen_values = true)]
    plus_minus: Option<String>,
}

impl PlaceArgs {
    /// The first of them that was given, as it is written.
    pub(super) fn given(&self) -> Option<&'static str> {
        let given = [
            ("--along", !self.along.is_empty()),
            ("--back", !self.back.is_empty()),
            ("--far", self.far.is_some()),
            ("--whole", self.whole.is_some()),
            ("--arms", self.arms.is_some()),
            ("--velocity", self.velocity.is_some()),
            ("--leads", self.leads.is_some()),
            ("--plus-minus", self.plus_minus.is_some()),
        ];
        given.into_iter().find(|(_, given)| *given).map(|(flag, _)| flag)
    }
}

/// Writes a reading of a place, and says where it puts the fault. That there is one is a finding.
pub(super) fn run(args: &LogArgs, harness: &Harness, entry: NewEntry) -> anyhow::Result<Outcome> {
    let extremes = [("--min", &args.min), ("--max", &args.max), ("--disturbed", &args.disturbed)].into_iter();
    if let Some((flag, _)) = extremes.into_iter().find(|(_, given)| given.is_some()) {
        bail!("{flag} goes with continuity, isolation, voltage and drop: a {} reading has none", entry.kind);
    }
    let more = &args.place;
    let mut new = NewPlace {
        entry,
        along: more.along.clone(),
        back: more.back.clone(),
        far: more.far.clone(),
        whole: more.whole.clone(),
        arms: more.arms.clone(),
        velocity: more.velocity.clone(),
        leads: more.leads.clone(),
        plus_minus: more.plus_minus.clone(),
    };
    let reading = read_back(harness, &new.text())?;
    in_one_form(harness, &mut new, &reading);
    let netlist = Netlist::new(harness);
    let situation = Situation::new(harness, &netlist, &reading.setup)?;
    let placed = place::place(&situation, &reading, &Meter::HANDHELD)
        .map_err(|why| anyhow::anyhow!("refused, nothing was written: {why}"))?;
    append(harness, &args.record, &new.text(), args.chain)?;
    output::print(&format!(
        "{} along {}: {} · {}\n",
        reading.kind.word(),
        new.along.join(", "),
        placed.shown,
        place::words::words(harness, &placed.place)
    ))?;
    Ok(Outcome::Finding)
}

/// What people write is understood; what the record keeps is in one form, with the wires named.
fn in_one_form(harness: &Harness, new: &mut NewPlace, reading: &PlaceReading) {
    new.entry.value = reading.value.normal();
    new.far = reading.far.map(Shown::normal);
    new.whole = reading.whole.map(Shown::normal);
    new.plus_minus = reading.plus_minus.map(Shown::normal);
    let ids = |wires: &[crate::definition::WireId]| {
        wires.iter().map(|wire| harness.wires[*wire].id.clone()).collect::<Vec<_>>()
    };
    new.along = ids(&reading.along);
    new.back = ids(&reading.back);
}

fn read_back(harness: &Harness, text: &str) -> anyhow::Result<PlaceReading> {
    let record = read_sound(harness, text)?;
    match &record.places[..] {
        [reading] => Ok(reading.clone()),
        _ => bail!("the reading was not written"),
    }
}

/// Whether a kind, as written, tells a place.
pub(super) fn tells_place(kind: &str) -> bool {
    PlaceKind::parse(kind).is_some()
}
