//! `ringout why`: what one reading must show on a healthy machine, and why.
//!
//! The reading is named as in `log`; one that the setup makes unsafe or impossible is refused in the same
//! way. Nothing is written.

use std::collections::BTreeMap;

use anyhow::bail;

use super::Outcome;
use super::common::Source;
use super::log;
use super::output::{self, FormatArg};
use crate::definition::Kind;
use crate::measure::{Meter, Situation};
use crate::netlist::Netlist;
use crate::record::NewEntry;
use crate::sheet;

#[derive(Debug, clap::Args)]
pub(super) struct WhyArgs {
    #[command(flatten)]
    source: Source,
    /// continuity, isolation, voltage or drop
    #[arg(long)]
    kind: String,
    /// Red probe
    #[arg(long, value_name = "POINT")]
    red: String,
    /// Black probe
    #[arg(long, value_name = "POINT")]
    black: String,
    /// isolated or connected; what the kind of reading needs, where left out
    #[arg(long)]
    power: Option<String>,
    /// Connectors that are unplugged: P1,P2
    #[arg(long, value_name = "CONNECTORS", value_delimiter = ',')]
    unplugged: Vec<String>,
    /// Switches that are not at rest: S1=run,S2=spray
    #[arg(long, value_name = "SWITCH=POSITION", value_delimiter = ',')]
    set: Vec<String>,
    /// Conditions that hold
    #[arg(long, value_name = "CONDITIONS", value_delimiter = ',')]
    conditions: Vec<String>,
    /// The meter: handheld, handheld-nulled, four-wire, megohm or beeper
    #[arg(long, value_name = "KIND", default_value = Meter::HANDHELD.name)]
    meter: String,
    #[arg(long, value_enum, default_value_t)]
    format: FormatArg,
}

pub(super) fn run(args: &WhyArgs) -> anyhow::Result<Outcome> {
    let meter = Meter::parse(&args.meter)?;
    let harness = args.source.load()?;
    let netlist = Netlist::new(&harness);
    let entry = log::read_back(&harness, &entry(args)?.text())?;
    if !meter.can(entry.kind) {
        bail!("a {} does not read {}", meter.title, entry.kind.word());
    }
    let situation = Situation::new(&harness, &netlist, &entry.setup)?;
    let measurement = situation.measure(entry.kind, entry.red, entry.black)?;
    let (view, sheet) = sheet::why(&harness, &measurement, &situation.explain(&measurement, &meter));
    output::show(args.format, &view, &sheet)?;
    Ok(Outcome::Well)
}

/// The reading as a record would hold it. Its value is of no account: it only has to be one.
fn entry(args: &WhyArgs) -> anyhow::Result<NewEntry> {
    let ohms = Kind::parse(&args.kind).is_none_or(Kind::is_resistance);
    let (power, value) = if ohms { ("isolated", "open") } else { ("connected", "1.0 V") };
    let mut set = BTreeMap::new();
    for assignment in &args.set {
        let Some((switch, position)) = assignment.split_once('=') else {
            bail!("--set {assignment}: write it as S1=run");
        };
        set.insert(switch.to_owned(), position.to_owned());
    }
    Ok(NewEntry {
        kind: args.kind.clone(),
        red: args.red.clone(),
        black: args.black.clone(),
        power: args.power.clone().unwrap_or_else(|| power.to_owned()),
        unplugged: args.unplugged.clone(),
        set,
        conditions: args.conditions.clone(),
        value: value.to_owned(),
        ..NewEntry::default()
    })
}
