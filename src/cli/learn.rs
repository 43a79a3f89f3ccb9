//! `ringout learn`: from readings of an unknown lead to its definition.

use std::path::PathBuf;

use anyhow::{Context, anyhow, bail};

use super::import::{AboutArgs, stamp_of};
use super::output::{self, FormatArg};
use super::{Outcome, common, files};
use crate::definition::diagnostic::{Severity, render};
use crate::definition::load;
use crate::exchange::{self, About};
use crate::learn::{self, CONDUCTOR_BELOW, Lead, against, definition};
use crate::sheet::{self, AgainstView, CheckedView, LearnView, Stamp};
use crate::units::{self, Ohms};

#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  ringout learn readings.csv -o lead.toml
  ringout learn readings.csv --against harnesses/published/null-modem.toml

The table has a head with red, black and reading (or from, to, ohms), and a reading to a row, taken with nothing plugged
in: 0.3 ohm, open, tone, 120 ohm. Exit code: 1 where readings contradict each other, rows could not be used, or a design
does not explain what was read.")]
pub(super) struct LearnArgs {
    /// The readings: CSV, or XLSX where the program was built with that feature
    table: PathBuf,
    /// Hold the readings against this definition: the lead alone, nothing plugged in
    #[arg(long, value_name = "HARNESS")]
    against: Option<PathBuf>,
    /// Below so much a reading is a conductor; from there to 1 Mohm something lies between
    #[arg(long, value_name = "OHMS", default_value_t = CONDUCTOR_BELOW.to_string())]
    conductor_below: String,
    /// Write the definition to this file; without it, only say what was learned
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Overwrite what is there
    #[arg(long)]
    force: bool,
    #[command(flatten)]
    about: AboutArgs,
    #[arg(long, value_enum, default_value_t)]
    format: FormatArg,
}

pub(super) fn run(args: &LearnArgs) -> anyhow::Result<Outcome> {
    let conductor: Ohms = units::parse(&args.conductor_below)
        .map_err(|error| anyhow!("--conductor-below {}: {error}", args.conductor_below))?;
    let place = || format!("cannot read {}", args.table.display());
    let bytes = common::read_bytes(&args.table).map_err(|reason| anyhow!("{}: {reason}", place()))?;
    let grid = if exchange::is_workbook(&bytes) {
        exchange::read_workbook(bytes, None)
    } else {
        exchange::read_csv(&bytes, None, None)
    };
    let rows = learn::read(&grid.with_context(place)?).with_context(place)?;
    let lead = Lead::new(&rows, conductor);
    let file = args.table.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let about = args.about.about(&args.table)?;
    let text = definition(&lead, &about, &file);
    let (stamp, check) = checked(&about, &text);
    let sound = check.errors == 0 && lead.contradictions.is_empty() && rows.rejects.is_empty();
    let mut view = LearnView::of(stamp, &rows, &lead, check);
    if let Some(path) = &args.against {
        let harness = common::Source { harness: path.clone(), variant: None }.load()?;
        view.against =
            Some(AgainstView::of(Stamp::of(&harness), &against(&rows, &lead, conductor, &harness)));
    }
    output::show(args.format, &view, &sheet::learn(&view))?;
    if let Some(path) = &args.output {
        if !lead.contradictions.is_empty() {
            bail!("readings contradict each other (see above): read those again; nothing was written");
        }
        files::write(path, text.as_bytes(), args.force)?;
        output::note(&format!("written: {}\n", path.display()));
    }
    let as_designed = view.against.as_ref().is_none_or(AgainstView::is_proven);
    Ok(if sound && as_designed { Outcome::Well } else { Outcome::Finding })
}

/// What `check` says of the text; its errors are shown.
fn checked(about: &About, text: &str) -> (Stamp, CheckedView) {
    match load("learned.toml", text.to_owned(), None, &mut |path: &str| Err(format!("{path} is not there"))) {
        Ok(loaded) => {
            (Stamp::of(&loaded.harness), CheckedView { errors: 0, warnings: loaded.warnings.len() })
        }
        Err(rejected) => {
            output::note(&render(&rejected.diagnostics, &rejected.sources, output::styled()));
            let errors =
                rejected.diagnostics.iter().filter(|found| found.severity == Severity::Error).count();
            (stamp_of(about), CheckedView { errors, warnings: rejected.diagnostics.len() - errors })
        }
    }
}
