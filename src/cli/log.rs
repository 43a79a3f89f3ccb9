//! `ringout log`: add a reading to a record.
//!
//! The reading is judged before it is written: one that the setup makes unsafe or impossible is refused
//! with the reason. Writers take turns at a lock beside the record; the record is replaced in one step,
//! so an entry is wholly there or not at all.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};

use super::Outcome;
use super::common::{self, Source, StateArgs};
use super::files;
use super::log_place::{self, PlaceArgs};
use super::output;
use crate::definition::Harness;
use crate::definition::diagnostic::render;
use crate::locate::meter_of;
use crate::measure::{Meter, Reading, Situation};
use crate::netlist::Netlist;
use crate::plan::{self, Aids, Scope};
use crate::record::{self, Entry, NewEntry, Record};
use crate::setup::Setup;
use crate::sheet::SetupView;

#[derive(Debug, clap::Args)]
#[command(after_help = "\
    Examples:\n\
    \x20 ringout log machine.toml job.toml --step 2.07 --unplug P1,P2 --value OL\n\
    \x20 ringout log machine.toml job.toml --kind voltage --red P1.A --black P1.B --power connected --value \"25.1 V\"")]
pub(super) struct LogArgs {
    #[command(flatten)]
    source: Source,
    /// The record of readings (TOML); made where it does not exist
    pub(super) record: PathBuf,
    /// What the meter showed: "0.4 ohm", "open", "tone", "25.1 V"
    #[arg(long, allow_hyphen_values = true)]
    value: String,
    /// The plan's step; kind, probes and setup are taken from it where they are left out
    #[arg(long, value_name = "ID")]
    step: Option<String>,
    /// With --step: the plan was made for these unplugged connectors; else the same as --unplugged
    #[arg(long, value_name = "CONNECTORS", value_delimiter = ',')]
    unplug: Vec<String>,
    /// With --step: the plan was made for this circuit
    #[arg(long, value_name = "ID", requires = "step")]
    circuit: Option<String>,
    /// With --step: the plan was made with these aids
    #[arg(long, value_name = "AIDS", value_delimiter = ',', requires = "step")]
    aids: Vec<String>,
    /// continuity, isolation, voltage or drop; to find the place along a wire: loop, murray, varley, capacitance
    /// or reflection; withdrawal, with --value "#3", where reading 3 is not to count
    #[arg(long)]
    kind: Option<String>,
    /// Red probe
    #[arg(long, value_name = "POINT")]
    red: Option<String>,
    /// Black probe
    #[arg(long, value_name = "POINT")]
    black: Option<String>,
    /// isolated (both battery leads off) or connected
    #[arg(long)]
    power: Option<String>,
    #[command(flatten)]
    state: StateArgs,
    /// Straps that are fitted: P1.A+P1.B,P1.C+P1.D
    #[arg(long, value_name = "POINTS", value_delimiter = ',')]
    strapped: Vec<String>,
    /// The least it showed while something was moved
    #[arg(long, allow_hyphen_values = true)]
    pub(super) min: Option<String>,
    /// The most it showed while something was moved
    #[arg(long, allow_hyphen_values = true)]
    pub(super) max: Option<String>,
    /// What was moved: "loom flexed at T3"
    #[arg(long)]
    pub(super) disturbed: Option<String>,
    #[command(flatten)]
    pub(super) place: PlaceArgs,
    /// The meter, by which the reading is judged: handheld, handheld-nulled, four-wire, megohm or beeper;
    /// any other name is kept and taken for a plain one
    #[arg(long, value_name = "NAME")]
    meter: Option<String>,
    /// Who took the reading
    #[arg(long)]
    by: Option<String>,
    /// Remarks
    #[arg(long)]
    note: Option<String>,
    /// Begin to chain the record: each entry holds the hash of all before it. A chained record stays one
    #[arg(long)]
    pub(super) chain: bool,
    /// When it was taken, as 2026-05-02T09:14:00Z; now, where left out
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
}

pub(super) fn run(args: &LogArgs) -> anyhow::Result<Outcome> {
    let harness = args.source.load()?;
    if args.kind.as_deref() == Some(record::WITHDRAWAL) {
        return withdraw(args, &harness);
    }
    let netlist = Netlist::new(&harness);
    let mut new = new_entry(args, &harness, &netlist)?;
    if log_place::tells_place(&new.kind) {
        return log_place::run(args, &harness, new);
    }
    if let Some(flag) = args.place.given() {
        bail!("{flag} goes with --kind loop, murray, varley, capacitance or reflection");
    }
    let entry = read_back(&harness, &new.text())?;
    // What people write is understood; what the record keeps is in one form.
    new.value = entry.value.normal();
    new.min = entry.min.map(Reading::normal);
    new.max = entry.max.map(Reading::normal);
    let situation = Situation::new(&harness, &netlist, &entry.setup)?;
    let measurement = situation
        .measure(entry.kind, entry.red, entry.black)
        .map_err(|refusal| anyhow::anyhow!("refused, nothing was written: {refusal}"))?;
    append(&harness, &args.record, &new.text(), args.chain)?;
    let (meter, note) = meter_of(&entry, &Meter::HANDHELD);
    if let Some(note) = note {
        output::note(&format!("{note}\n"));
    }
    let expect = situation.expect(&measurement, &meter);
    let good =
        [Some(entry.value), entry.min, entry.max].into_iter().flatten().all(|v: Reading| expect.admits(v));
    let verdict = if good { "good" } else { "BAD" };
    output::print(&format!(
        "{}: {}{} · healthy: {} · {verdict}\n",
        measurement.words(&harness),
        entry.value,
        while_moved(&entry),
        expect.words()
    ))?;
    for fuse in situation.blown_when_healthy() {
        output::note(&format!(
            "fuse {} would blow in this setup with nothing wrong: look at its rating and its load in the definition\n",
            harness.parts[fuse].id
        ));
    }
    Ok(if good { Outcome::Well } else { Outcome::Finding })
}

/// Withdraws an earlier reading: it stays in the record and does not count.
fn withdraw(args: &LogArgs, harness: &Harness) -> anyhow::Result<Outcome> {
    let record = common::read_record(harness, &args.record)?;
    let Some(of) = record::NewWithdrawal::number(&args.value) else {
        bail!("`{}` is not the number of a reading: write it as reports do, --value \"#3\"", args.value);
    };
    let entries = record.entries.iter().map(|entry| entry.number);
    if !entries.chain(record.places.iter().map(|place| place.number)).any(|number| number == of) {
        bail!("{} has no reading #{of} that counts: nothing was written", args.record.display());
    }
    let at = Some(time(args.at.as_deref())?);
    let new = record::NewWithdrawal { at, of, by: args.by.clone(), note: args.note.clone() };
    append(harness, &args.record, &new.text(), args.chain)?;
    output::print(&format!("#{of} is withdrawn: it stays in the record and does not count\n"))?;
    Ok(Outcome::Well)
}

/// What the meter showed while something was moved.
fn while_moved(entry: &Entry) -> String {
    let shown = [("least", entry.min), ("most", entry.max)];
    let shown = shown.into_iter().filter_map(|(word, shown)| Some(format!("{word} {}", shown?.words())));
    let shown: Vec<String> = shown.collect();
    if shown.is_empty() { String::new() } else { format!(" ({})", shown.join(", ")) }
}

/// The entry that the arguments describe, in names.
fn new_entry(args: &LogArgs, harness: &Harness, netlist: &Netlist) -> anyhow::Result<NewEntry> {
    let mut entry = match &args.step {
        Some(step) => from_plan(args, step, harness, netlist)?,
        None => NewEntry::default(),
    };
    for (slot, given) in [
        (&mut entry.kind, &args.kind),
        (&mut entry.red, &args.red),
        (&mut entry.black, &args.black),
        (&mut entry.power, &args.power),
    ] {
        if let Some(given) = given {
            slot.clone_from(given);
        }
    }
    if !args.state.unplugged.is_empty() {
        entry.unplugged.clone_from(&args.state.unplugged);
    }
    if args.step.is_none() {
        entry.unplugged.extend(args.unplug.iter().cloned());
    }
    if !args.state.conditions.is_empty() {
        entry.conditions.clone_from(&args.state.conditions);
    }
    if !args.strapped.is_empty() {
        let strap = |text: &String| common::strap(harness, text);
        entry.strapped = args.strapped.iter().map(strap).collect::<anyhow::Result<_>>()?;
    }
    entry.set.extend(common::assignments(&args.state.set)?);
    let missing = [
        ("--kind", &entry.kind),
        ("--red", &entry.red),
        ("--black", &entry.black),
        ("--power", &entry.power),
    ];
    let missing: Vec<&str> =
        missing.iter().filter(|(_, value)| value.is_empty()).map(|(flag, _)| *flag).collect();
    if !missing.is_empty() {
        bail!("missing {}; or name the plan's step with --step", missing.join(", "));
    }
    entry.at = Some(time(args.at.as_deref())?);
    entry.value.clone_from(&args.value);
    entry.min.clone_from(&args.min);
    entry.max.clone_from(&args.max);
    entry.disturbed.clone_from(&args.disturbed);
    entry.meter.clone_from(&args.meter);
    entry.by.clone_from(&args.by);
    entry.note.clone_from(&args.note);
    Ok(entry)
}

/// Kind, probes and setup of a plan's step.
fn from_plan(args: &LogArgs, id: &str, harness: &Harness, netlist: &Netlist) -> anyhow::Result<NewEntry> {
    let unplugged: Setup = common::unplugged(harness, &args.unplug)?.into();
    let scope = Scope { unplug: unplugged.parted().collect(), circuit: args.circuit.clone() };
    let aids = Aids::parse(args.aids.iter().map(String::as_str))?;
    let plan = plan::plan_with(harness, netlist, &scope, Meter::HANDHELD, aids)?;
    let Some(step) = plan.steps().find(|step| step.id == id) else {
        bail!("the plan has no step {id}: give --unplug, --circuit or --aids as the plan was made with");
    };
    let SetupView { power, unplugged, set, conditions, strapped, .. } =
        SetupView::of(harness, step.measurement.setup());
    Ok(NewEntry {
        step: Some(step.id.clone()),
        kind: step.measurement.kind().word().to_owned(),
        red: harness.point_name(step.measurement.red()),
        black: harness.point_name(step.measurement.black()),
        power: power.to_owned(),
        unplugged,
        set: BTreeMap::from_iter(set),
        conditions,
        strapped,
        ..NewEntry::default()
    })
}

/// The time given, or now, to the second in UTC.
pub(super) fn time(given: Option<&str>) -> anyhow::Result<toml::value::Datetime> {
    let text = match given {
        Some(text) => text.to_owned(),
        None => jiff::Timestamp::now().round(jiff::Unit::Second)?.to_string(),
    };
    text.parse().with_context(|| format!("`{text}` is not a time: write it as 2026-05-02T09:14:00Z"))
}

/// Reads an entry as a record would, so that nothing is written that cannot be read.
pub(super) fn read_back(harness: &Harness, text: &str) -> anyhow::Result<Entry> {
    let record = read_sound(harness, text)?;
    match &record.entries[..] {
        [entry] => Ok(entry.clone()),
        _ => bail!("the reading was not written"),
    }
}

/// Reads an entry as a record would; its mistakes are shown.
pub(super) fn read_sound(harness: &Harness, text: &str) -> anyhow::Result<Record> {
    let record = record::read(harness, "this reading", text);
    if record.is_sound() {
        return Ok(record);
    }
    output::note(&render(&record.diagnostics, &record.sources, output::styled()));
    Err(output::Shown::new("the reading was not written").into())
}

/// Appends an entry: under a lock, to a whole new file that then takes the old one's place. It gets a link if the record
/// is chained, or shall be from now on.
pub(super) fn append(harness: &Harness, path: &Path, text: &str, chain: bool) -> anyhow::Result<()> {
    let _held = files::lock(path)?;
    let exists = path.try_exists().with_context(|| format!("cannot look for {}", path.display()))?;
    let mut whole = if exists { common::read_text(path)? } else { record::head(harness) };
    if let Some(mended) = record::mend(&whole) {
        output::note("the record's last entry was cut off; it is kept as a comment\n");
        whole = mended;
    }
    if !whole.ends_with('\n') {
        whole.push('\n');
    }
    whole.push('\n');
    let linked = (chain || record::chain::is_chained(&whole)).then(|| record::chain::linked(&whole, text));
    whole.push_str(linked.as_deref().unwrap_or(text));
    files::write(path, whole.as_bytes(), true)
}
