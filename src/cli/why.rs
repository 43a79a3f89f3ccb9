//! `ringout why`: what one reading must show on a healthy machine, and why.
//!
//! The reading is named as in `log`; one that the setup makes unsafe or impossible is refused in the same
//! way. Nothing is written.

use anyhow::bail;

use super::Outcome;
use super::common::{self, Source, StateArgs};
use super::log;
use super::output::{self, FormatArg};
use crate::definition::Kind;
use crate::measure::{Meter, Situation};
use crate::netlist::Netlist;
use crate::record::NewEntry;
use crate::sheet;

#[derive(Debug, clap::Args)]
#[command(after_help = "\
    Example:\n\
    \x20 ringout why machine.toml --kind continuity --red P1.K --black XB1.3 --unplugged P1")]
#[command(mut_arg("unplugged", |arg| arg.visible_alias("unplug")))]
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
    #[command(flatten)]
    state: StateArgs,
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
    Ok(NewEntry {
        kind: args.kind.clone(),
        red: args.red.clone(),
        black: args.black.clone(),
        power: args.power.clone().unwrap_or_else(|| power.to_owned()),
        unplugged: args.state.unplugged.clone(),
        set: common::assignments(&args.state.set)?,
        conditions: args.state.conditions.clone(),
        value: value.to_owned(),
        ..NewEntry::default()
    })
}
