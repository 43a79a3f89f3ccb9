//! `ringout completions`: a script with which a shell completes commands, options and their words.

use clap_complete::{Shell, generate};

use super::{Outcome, output};

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  ringout completions bash > ~/.local/share/bash-completion/completions/ringout"
)]
pub(super) struct CompletionsArgs {
    /// The shell that reads the script
    #[arg(value_enum)]
    shell: Shell,
}

pub(super) fn run(args: &CompletionsArgs, mut program: clap::Command) -> anyhow::Result<Outcome> {
    let name = program.get_name().to_owned();
    let mut script = Vec::new();
    generate(args.shell, &mut program, name, &mut script);
    output::print(&String::from_utf8_lossy(&script))?;
    Ok(Outcome::Well)
}
