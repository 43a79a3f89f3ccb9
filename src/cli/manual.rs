//! `ringout manual`: pages for `man`, one for the program and one for each command.

use std::path::PathBuf;

use anyhow::Context;
use clap_mangen::Man;

use super::{Outcome, files, output};

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  ringout manual ~/.local/share/man/man1")]
pub(super) struct ManualArgs {
    /// The folder that gets the pages: ringout.1, ringout-plan.1 and so on; made where it is not there
    folder: PathBuf,
    /// Overwrite what is there
    #[arg(long)]
    force: bool,
}

pub(super) fn run(args: &ManualArgs, program: clap::Command) -> anyhow::Result<Outcome> {
    // `help` shows the same as these pages.
    let mut program = program.disable_help_subcommand(true);
    program.build();
    let mut pages = Vec::new();
    add(&program, &mut pages).context("the pages cannot be made")?;
    let pages: Vec<(PathBuf, String)> =
        pages.into_iter().map(|(name, text)| (args.folder.join(name), text)).collect();
    files::folder(&args.folder)?;
    files::write_all(&pages, args.force)?;
    output::print(&format!("{} pages in {}\n", pages.len(), args.folder.display()))?;
    Ok(Outcome::Well)
}

/// The page of a command and those of the commands below it.
fn add(command: &clap::Command, pages: &mut Vec<(String, String)>) -> std::io::Result<()> {
    let page = Man::new(command.clone());
    let mut text = Vec::new();
    page.render(&mut text)?;
    pages.push((page.get_filename(), String::from_utf8_lossy(&text).into_owned()));
    command.get_subcommands().filter(|below| !below.is_hide_set()).try_for_each(|below| add(below, pages))
}
