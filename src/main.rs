//! The `ringout` program: parses arguments, runs a command, maps errors to exit codes.
#![forbid(unsafe_code)]

use std::process::ExitCode;

use clap::Parser;

fn main() -> ExitCode {
    let args = ringout::cli::Args::parse();
    ringout::cli::run(&args)
}
