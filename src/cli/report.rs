//! `ringout report`: what was complained of, read, concluded, done and read again, for whoever signs.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};

use super::Outcome;
use super::common::{self, Source};
use super::output::{self, FormatArg};
use super::{files, repair};
use crate::definition::Harness;
use crate::locate::{self, Diagnosis, Evidence, Wishes};
use crate::measure::Meter;
use crate::netlist::Netlist;
use crate::plan;
use crate::repair::TouchedNames;
use crate::repair::log::Entry;
use crate::sheet::{self, Case, Read};

#[derive(Debug, clap::Args)]
#[command(after_help = "\
    Example:\n\
    \x20 ringout report machine-rev-D.toml job.toml --retest retest.toml --html report.html")]
pub(super) struct ReportArgs {
    #[command(flatten)]
    source: Source,
    /// The record of readings that led to the repair (TOML)
    record: PathBuf,
    /// The log of repairs; beside the definition where left out
    #[arg(long, value_name = "LOG")]
    repairs: Option<PathBuf>,
    /// Only these entries of the log: REP1,REP2; all that hold where left out
    #[arg(long, value_name = "IDS", value_delimiter = ',')]
    repair: Vec<String>,
    /// The record of readings that prove the repair
    #[arg(long, value_name = "RECORD")]
    retest: Option<PathBuf>,
    /// What was complained of, in words
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
    complaint: Option<String>,
    /// The date on the report, as it shall stand there
    #[arg(long, value_name = "DATE")]
    date: Option<String>,
    /// One self-contained page for print, to this file
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// Overwrite what is there
    #[arg(long)]
    force: bool,
    #[arg(long, value_enum, default_value = "md")]
    format: FormatArg,
}

pub(super) fn run(args: &ReportArgs) -> anyhow::Result<Outcome> {
    let after = args.source.load()?;
    let log = args.repairs.clone().unwrap_or_else(|| repair::usual_log(&args.source.harness));
    let entries = entries(args, &after, &log)?;
    let before = before(&entries, &log)?;
    let found = diagnosed(&before, &args.record)?;
    let retest = args.retest.as_ref().map(|path| diagnosed(&after, path)).transpose()?;
    let mut touched = TouchedNames::default();
    for entry in &entries {
        touched.join(&entry.touched);
    }
    // What one repair touched another may have replaced since.
    touched.keep_known(&after);
    let named =
        touched.resolve(&after).map_err(|name| anyhow::anyhow!("`{name}` is not in this definition"))?;
    let plan = plan::after(&after, &Netlist::new(&after), &named, Meter::HANDHELD)?;
    let name = |path: &Path| path.display().to_string();
    let (record_name, retest_name) =
        (name(&args.record), args.retest.as_deref().map(name).unwrap_or_default());
    let case = Case {
        before: &before,
        after: &after,
        complaint: args.complaint.as_deref(),
        found: Read { file: &record_name, hash: &found.1, diagnosis: &found.0 },
        entries: &entries,
        retest: retest.as_ref().map(|(diagnosis, hash)| Read { file: &retest_name, hash, diagnosis }),
        plan: Some(&plan),
        date: args.date.as_deref(),
        deference: common::DEFERENCE,
    };
    let (view, sheet, page) = sheet::report(&case)?;
    if let Some(path) = &args.html {
        files::write(path, page.as_bytes(), args.force)?;
    }
    output::show(args.format, &view, &sheet)?;
    Ok(if view.open.is_empty() { Outcome::Well } else { Outcome::Finding })
}

/// The entries asked for, without those that were taken back.
fn entries(args: &ReportArgs, harness: &Harness, log: &Path) -> anyhow::Result<Vec<Entry>> {
    if !log.try_exists().with_context(|| format!("cannot look for {}", log.display()))? {
        bail!("there is no log of repairs at {}: name it with --repairs", log.display());
    }
    let all = repair::read_log(harness, log)?;
    for id in &args.repair {
        if all.iter().all(|entry| entry.id != *id || entry.kind == "undo") {
            bail!("{} has no repair `{id}`", log.display());
        }
    }
    let undone: BTreeSet<String> = all.iter().filter_map(|entry| entry.undoes.clone()).collect();
    let wanted = |entry: &Entry| {
        entry.kind != "undo"
            && !undone.contains(&entry.id)
            && (args.repair.is_empty() || args.repair.contains(&entry.id))
    };
    let entries: Vec<Entry> = all.into_iter().filter(wanted).collect();
    if entries.is_empty() {
        bail!("{} has no repair that holds: there is nothing to report", log.display());
    }
    Ok(entries)
}

/// The machine before the first of the repairs.
fn before(entries: &[Entry], log: &Path) -> anyhow::Result<Harness> {
    let Some(first) = entries.first() else { bail!("there is nothing to report") };
    let path = log.parent().unwrap_or(Path::new("")).join(&first.before.file);
    let harness =
        Source { harness: path.clone(), variant: None }.load().context("the old revision cannot be read")?;
    if harness.hash != first.before.hash {
        bail!(
            "{} is not what it was before {} (revision {}): its readings cannot be judged by it",
            path.display(),
            first.id,
            first.before.revision
        );
    }
    Ok(harness)
}

/// What the readings of a record say, and the hash of its text.
fn diagnosed(harness: &Harness, path: &Path) -> anyhow::Result<(Diagnosis, String)> {
    let record = common::read_record(harness, path)?;
    if record.entries.is_empty() && record.places.is_empty() {
        bail!("{} has no readings", path.display());
    }
    let evidence = Evidence { entries: &record.entries, places: &record.places, twin: &[] };
    let netlist = Netlist::new(harness);
    let diagnosis = locate::locate_for(harness, &netlist, &evidence, &Wishes::default(), &Meter::HANDHELD)?;
    Ok((diagnosis, repair::hex(common::read_text(path)?.as_bytes())))
}
