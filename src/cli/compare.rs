//! `ringout compare`: two revisions, or two variants of one.

use std::path::PathBuf;

use anyhow::bail;

use super::Outcome;
use super::common::{self, Source};
use super::files;
use super::output::{self, FormatArg};
use crate::compare::{Verdict, compare};
use crate::sheet;

#[derive(Debug, clap::Args)]
#[command(after_help = EXIT)]
pub(super) struct CompareArgs {
    /// The old revision (TOML)
    old: PathBuf,
    /// The new revision; the same file where left out, for two variants of it
    new: Option<PathBuf>,
    /// Apply this variant to both
    #[arg(long, value_name = "NAME", conflicts_with_all = ["old_variant", "new_variant"])]
    variant: Option<String>,
    /// Apply a variant to the old one
    #[arg(long, value_name = "NAME")]
    old_variant: Option<String>,
    /// Apply a variant to the new one
    #[arg(long, value_name = "NAME")]
    new_variant: Option<String>,
    /// Write to this file instead of standard output
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Overwrite what is there
    #[arg(long)]
    force: bool,
    #[arg(long, value_enum, default_value_t)]
    format: CompareFormat,
}

const EXIT: &str = "Examples:\n\
    \x20 ringout compare machine-rev-C.toml machine-rev-D.toml\n\
    \x20 ringout compare machine.toml --new-variant wide-boom --format html -o wide-boom.html\n\n\
    Exit code: 0 where nothing differs at all, on paper neither; 1 where anything does. The revision \
    letter, the order and layout of the files and comments are not compared. 2 where a revision cannot be read.\n\n\
    A connector, terminal or part that both revisions name is taken for the same thing, and a contact of it by its name: \
    labels are what people go by. A rename is called proven harmless only where the thing joins exactly what it joined.";

/// The formats of a comparison: those of every table, and a page.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
enum CompareFormat {
    /// Tables for a terminal
    #[default]
    Table,
    /// JSON with stable names
    Json,
    /// Comma-separated values: one row for each difference
    Csv,
    /// Markdown
    Md,
    /// One self-contained page for print and tablet, with the faces that changed
    Html,
}

pub(super) fn run(args: &CompareArgs) -> anyhow::Result<Outcome> {
    let [old, new] = sources(args)?;
    // What is wrong with either is shown, not only what is wrong with the first.
    let (old, new) = match (old.load(), new.load()) {
        (Ok(old), Ok(new)) => (old, new),
        (Err(error), Ok(_)) | (Ok(_), Err(error)) => return Err(error),
        (Err(first), Err(second)) => {
            output::complain(&first);
            return Err(second);
        }
    };
    let comparison = compare(&old, &new);
    let (view, sheet) = sheet::compare([&old, &new], &comparison);
    let mut sheet = sheet;
    sheet.notes.push(common::DEFERENCE.to_owned());
    let text = match args.format {
        CompareFormat::Html => {
            sheet::compare_html([&old, &new], &comparison, (&view, &sheet), common::DEFERENCE)?
        }
        CompareFormat::Table => output::text_of(FormatArg::Table, &view, &sheet)?,
        CompareFormat::Json => output::text_of(FormatArg::Json, &view, &sheet)?,
        CompareFormat::Csv => output::text_of(FormatArg::Csv, &view, &sheet)?,
        CompareFormat::Md => output::text_of(FormatArg::Md, &view, &sheet)?,
    };
    match &args.output {
        Some(path) => files::write(path, text.as_bytes(), args.force)?,
        None => output::print(&text)?,
    }
    Ok(if comparison.verdict == Verdict::Identical { Outcome::Well } else { Outcome::Finding })
}

/// The two definitions with their variants.
fn sources(args: &CompareArgs) -> anyhow::Result<[Source; 2]> {
    let [old, new] = [&args.old_variant, &args.new_variant].map(|own| own.clone().or(args.variant.clone()));
    if args.new.is_none() && old == new {
        bail!(
            "{} alone is nothing to compare: name a second definition, or two variants of this one with \
             --old-variant and --new-variant (one of them may be left out)",
            args.old.display()
        );
    }
    let path = args.new.clone().unwrap_or_else(|| args.old.clone());
    Ok([Source { harness: args.old.clone(), variant: old }, Source { harness: path, variant: new }])
}
