//! `ringout import`: from a table to a definition.

use std::io::{BufRead, IsTerminal};
use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow, bail};

use super::import_options::OptionArgs;
use super::output::{self, FormatArg, Shown};
use super::{Outcome, common, files};
use crate::definition::diagnostic::{Severity, render};
use crate::exchange::{self, About, Grid, GridError, Imported};
use crate::sheet::{self, CheckedView, ImportView, Stamp};

/// What a definition that is made of a table is called.
#[derive(Debug, clap::Args)]
pub(super) struct AboutArgs {
    /// Id of the new definition (default: the table's file name)
    #[arg(long)]
    id: Option<String>,
    /// Title of the new definition
    #[arg(long, default_value = "")]
    title: String,
    /// Revision of the new definition
    #[arg(long, default_value = "A")]
    revision: String,
}

impl AboutArgs {
    pub(super) fn about(&self, table: &Path) -> anyhow::Result<About> {
        let stem = || table.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
        let id = self.id.clone().unwrap_or_else(stem);
        if id.trim().is_empty() || self.revision.trim().is_empty() {
            bail!("a definition needs an id and a revision: --id, --revision");
        }
        Ok(About { id, title: self.title.clone(), revision: self.revision.clone() })
    }
}

#[derive(Debug, clap::Args)]
#[command(after_help = "\
    Examples:\n\
    \x20 ringout import wires.csv\n\
    \x20 ringout import wires.csv --gauge-unit mm2 -o machine.toml --yes")]
pub(super) struct ImportArgs {
    /// A from-to list or a pin map: CSV, or XLSX where the program was built with that feature
    table: PathBuf,
    /// Write the definition to this file; without it, only say what was understood
    #[arg(short, value_name = "FILE")]
    output: Option<PathBuf>,
    /// What was understood is right: write without asking
    #[arg(long)]
    yes: bool,
    /// Write the rows that cannot be used to this file (default: beside the definition, NAME-rejects.csv)
    #[arg(long, value_name = "FILE")]
    rejects: Option<PathBuf>,
    /// Rows from an earlier import's side file, mended, in the place of those of the table
    #[arg(long, value_name = "FILE")]
    mended: Option<PathBuf>,
    /// Overwrite what is there
    #[arg(long)]
    force: bool,
    /// The sheet of a workbook
    #[arg(long, value_name = "NAME")]
    sheet: Option<String>,
    /// What separates cells: comma, semicolon, tab, bar
    #[arg(long, value_name = "NAME")]
    separator: Option<String>,
    /// The character set of a text file: utf-8, windows-1252, utf-16le …
    #[arg(long, value_name = "NAME")]
    charset: Option<String>,
    #[command(flatten)]
    about: AboutArgs,
    #[command(flatten)]
    options: OptionArgs,
    #[arg(long, value_enum, default_value_t)]
    format: FormatArg,
}

pub(super) fn run(args: &ImportArgs) -> anyhow::Result<Outcome> {
    let options = args.options.options()?;
    let mut grid = read(&args.table, args)?;
    if let Some(path) = &args.mended {
        let mended = read_csv(path, args)?;
        exchange::mend(&mut grid, &mended).with_context(|| format!("cannot use {}", path.display()))?;
    }
    let about = args.about.about(&args.table)?;
    let name = args.table.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    match exchange::import(&grid, &name, &about, &options) {
        Ok(imported) => finish(args, &about, &imported),
        Err(unclear) => {
            let count = unclear.questions.len();
            let view = ImportView {
                harness: stamp_of(&about),
                understood: unclear.understood,
                questions: unclear.questions,
                rejects: Vec::new(),
                loose: Vec::new(),
                check: None,
            };
            output::show(args.format, &view, &sheet::import(&view))?;
            let things = if count == 1 { "1 thing has" } else { &format!("{count} things have") };
            bail!("{things} to be decided first (see above): nothing was written");
        }
    }
}

pub(super) fn stamp_of(about: &About) -> Stamp {
    let About { id, title, revision } = about.clone();
    Stamp { id, title, revision, variant: None, hash: String::new() }
}

/// Says what was understood, and writes if that is wanted.
fn finish(args: &ImportArgs, about: &About, imported: &Imported) -> anyhow::Result<Outcome> {
    let (stamp, check) = match &imported.loaded {
        Ok(loaded) => {
            let warnings = loaded.warnings.iter().filter(|found| found.severity == Severity::Warning);
            (Stamp::of(&loaded.harness), CheckedView { errors: 0, warnings: warnings.count() })
        }
        Err(rejected) => {
            output::note(&render(&rejected.diagnostics, &rejected.sources, output::styled()));
            let count =
                |severity| rejected.diagnostics.iter().filter(|found| found.severity == severity).count();
            let check = CheckedView { errors: count(Severity::Error), warnings: count(Severity::Warning) };
            (stamp_of(about), check)
        }
    };
    let sound = imported.rejects.is_empty() && imported.loose.is_empty() && check.errors == 0;
    let view = ImportView {
        harness: stamp,
        understood: imported.understood.clone(),
        questions: Vec::new(),
        rejects: imported.rejects.clone(),
        loose: imported.loose.clone(),
        check: Some(check),
    };
    output::show(args.format, &view, &sheet::import(&view))?;
    match &args.output {
        Some(path) => write(args, path, imported)?,
        None => output::note("nothing was written: -o FILE --yes writes the definition\n"),
    }
    Ok(if sound { Outcome::Well } else { Outcome::Finding })
}

fn write(args: &ImportArgs, path: &Path, imported: &Imported) -> anyhow::Result<()> {
    if !args.yes && !confirmed(path)? {
        output::note("nothing was written: add --yes if what was understood is right\n");
        return Err(Shown::new("not confirmed").into());
    }
    let mut all = vec![(path.to_owned(), imported.text.clone())];
    if !imported.rejects.is_empty() {
        all.push((rejects_path(args, path), exchange::rejects_csv(&imported.rejects)));
    }
    files::write_all(&all, args.force)?;
    for (path, _) in &all {
        output::note(&format!("written: {}\n", path.display()));
    }
    Ok(())
}

/// Asks at a terminal; where nobody sits, nothing is confirmed.
fn confirmed(path: &Path) -> anyhow::Result<bool> {
    if !std::io::stdin().is_terminal() || !std::io::stderr().is_terminal() {
        return Ok(false);
    }
    output::note(&format!("Is this right, and shall {} be written? [y/N] ", path.display()));
    let mut answer = String::new();
    std::io::stdin().lock().read_line(&mut answer)?;
    Ok(matches!(answer.trim().to_lowercase().as_str(), "y" | "yes"))
}

fn rejects_path(args: &ImportArgs, path: &Path) -> PathBuf {
    args.rejects.clone().unwrap_or_else(|| {
        let stem = path.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
        path.with_file_name(format!("{stem}-rejects.csv"))
    })
}

fn read(path: &Path, args: &ImportArgs) -> anyhow::Result<Grid> {
    let bytes = bytes(path)?;
    if !exchange::is_workbook(&bytes) {
        if args.sheet.is_some() {
            bail!("--sheet: {} is no workbook, it has no sheets", path.display());
        }
        return grid(path, exchange::read_csv(&bytes, separator(args)?, args.charset.as_deref()));
    }
    grid(path, exchange::read_workbook(bytes, args.sheet.as_deref()))
}

fn read_csv(path: &Path, args: &ImportArgs) -> anyhow::Result<Grid> {
    grid(path, exchange::read_csv(&bytes(path)?, separator(args)?, args.charset.as_deref()))
}

fn bytes(path: &Path) -> anyhow::Result<Vec<u8>> {
    common::read_bytes(path).map_err(|reason| anyhow!("cannot read {}: {reason}", path.display()))
}

fn grid(path: &Path, read: Result<Grid, GridError>) -> anyhow::Result<Grid> {
    read.with_context(|| format!("cannot read {}", path.display()))
}

fn separator(args: &ImportArgs) -> anyhow::Result<Option<u8>> {
    let find = |text: &String| {
        exchange::separator(text)
            .ok_or_else(|| anyhow!("--separator {text}: write comma, semicolon, tab or bar"))
    };
    args.separator.as_ref().map(find).transpose()
}
