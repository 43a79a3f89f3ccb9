//! The command line: arguments in, library call, output out; one file per command.
//!
//! Comes in: arguments and files. Goes out: text on standard output, messages on standard error, and
//! an exit code: 0 done and all well; 1 done, and the answer is a finding; 2 the input or the call is
//! wrong. This is the only room that knows files, the clock and the terminal.

mod check;
mod common;
mod compare;
mod completions;
mod draw;
mod export;
mod files;
mod guide;
mod import;
mod import_options;
mod learn;
mod locate;
mod log;
mod log_place;
mod manual;
mod nets;
mod output;
mod pack;
mod pins;
mod plan;
mod refresh;
mod repair;
mod report;
mod schema;
mod study;
mod threads;
mod trace;
mod why;
mod wires;

use std::process::ExitCode;

use clap::{CommandFactory, Parser, Subcommand};

/// Ring out a wiring harness: know what every pin joins, plan the readings that prove it, and reason
/// from readings to the segment at fault.
#[derive(Debug, Parser)]
#[command(name = "ringout", version, about, max_term_width = 100, after_help = common::DEFERENCE)]
pub struct Args {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Read and validate a definition
    Check(check::CheckArgs),
    /// Pin maps: what every contact joins
    Pins(pins::PinsArgs),
    /// From-to list of the wires
    Wires(wires::WiresArgs),
    /// Nets: what conductors alone join in a setup
    Nets(nets::NetsArgs),
    /// The way a circuit takes, element by element
    Trace(trace::TraceArgs),
    /// Which readings to take, in which order
    Plan(plan::PlanArgs),
    /// Why one reading's limits are where they are
    Why(why::WhyArgs),
    /// Add a reading to a record; one that the setup makes unsafe is refused
    Log(Box<log::LogArgs>),
    /// From recorded readings to the segment at fault
    Locate(locate::LocateArgs),
    /// The same as a conversation at the machine, which writes the record as it goes
    Guide(guide::GuideArgs),
    /// How well the advice does: faults put into made machines and followed to the end
    Study(study::StudyArgs),
    /// Drawings as SVG
    Draw(draw::DrawArgs),
    /// One HTML page for print and tablet: plan, pictures, pin maps, boxes for the readings
    Pack(pack::PackArgs),
    /// Pin maps, lists, faces and plans inside Markdown and HTML documents, made anew from the definition
    Refresh(refresh::RefreshArgs),
    /// Apply a repair: the next revision of the definition, and an entry in the log of repairs
    Repair(Box<repair::RepairArgs>),
    /// The report of a repair: complaint, readings, reasoning, repair, retest, signatures
    Report(report::ReportArgs),
    /// Two revisions: what moved, whether it matters electrically, and what to test again
    Compare(compare::CompareArgs),
    /// A definition from a from-to list or a pin map in CSV or XLSX
    Import(Box<import::ImportArgs>),
    /// A definition from readings of an unknown lead, or what a lead has otherwise than its design
    Learn(learn::LearnArgs),
    /// The machine in the form of another program
    Export(export::ExportArgs),
    /// JSON Schema of a definition or a record, for editors
    Schema(schema::SchemaArgs),
    /// Completions for a shell
    Completions(completions::CompletionsArgs),
    /// Pages for man
    Manual(manual::ManualArgs),
}

/// How a command ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Outcome {
    /// Done and all well.
    Well,
    /// Done, and the answer is a finding.
    Finding,
}

/// Runs a command and says how it ended.
pub fn run(args: &Args) -> ExitCode {
    let outcome = match &args.command {
        Command::Check(args) => check::run(args),
        Command::Pins(args) => pins::run(args),
        Command::Wires(args) => wires::run(args),
        Command::Nets(args) => nets::run(args),
        Command::Trace(args) => trace::run(args),
        Command::Plan(args) => plan::run(args),
        Command::Why(args) => why::run(args),
        Command::Log(args) => log::run(args),
        Command::Locate(args) => locate::run(args),
        Command::Guide(args) => guide::run(args),
        Command::Study(args) => study::run(args),
        Command::Draw(args) => draw::run(args),
        Command::Pack(args) => pack::run(args),
        Command::Refresh(args) => refresh::run(args),
        Command::Repair(args) => repair::run(args),
        Command::Report(args) => report::run(args),
        Command::Compare(args) => compare::run(args),
        Command::Import(args) => import::run(args),
        Command::Learn(args) => learn::run(args),
        Command::Export(args) => export::run(args),
        Command::Schema(args) => schema::run(args),
        Command::Completions(args) => completions::run(args, Args::command()),
        Command::Manual(args) => manual::run(args, Args::command()),
    };
    match outcome {
        Ok(Outcome::Well) => ExitCode::SUCCESS,
        Ok(Outcome::Finding) => ExitCode::from(1),
        Err(error) if output::is_broken_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            output::complain(&error);
            ExitCode::from(2)
        }
    }
}
