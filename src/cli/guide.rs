//! `ringout guide`: a conversation at the machine. Lines in, text out; every answer goes into the record at once.

use std::io::{self, BufRead, IsTerminal};
use std::path::PathBuf;

use super::Outcome;
use super::common::{self, Source};
use super::{log, output};
use crate::definition::diagnostic::clean;
use crate::guide::{Guide, Turn};
use crate::netlist::Netlist;
use crate::plan::complaint::Asked;
use crate::record::{self, Record};

/// A line longer than this is nobody's answer.
const LONGEST: u64 = 4096;

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  ringout guide machine.toml job.toml --complaint M1=S1:run --by RK")]
pub(super) struct GuideArgs {
    #[command(flatten)]
    source: Source,
    /// The record of readings (TOML); made where it does not exist, gone on from where it does
    record: PathBuf,
    /// A part that does not work, and when it should: M1, or M1=S1:run,S2:spray,CONDITION
    #[arg(long, value_name = "PART[=SETUP]")]
    complaint: Option<String>,
    /// Who takes the readings
    #[arg(long)]
    by: Option<String>,
}

pub(super) fn run(args: &GuideArgs) -> anyhow::Result<Outcome> {
    let harness = args.source.load()?;
    let netlist = Netlist::new(&harness);
    let asked = args.complaint.as_ref().map(|text| Asked::parse(&harness, text)).transpose()?;
    let read = || -> anyhow::Result<Record> {
        if args.record.try_exists()? {
            common::read_record(&harness, &args.record)
        } else {
            Ok(record::read(&harness, "a new record", ""))
        }
    };
    let mut guide = Guide::new(&harness, &netlist, read()?, asked, args.by.clone());
    let mut turn = guide.open()?;
    let mut input = io::stdin().lock();
    let echo = !io::stdin().is_terminal();
    loop {
        output::print(&turn.say)?;
        if let Some(text) = &turn.append {
            log::append(&harness, &args.record, text, false)?;
            turn = guide.go_on(read()?)?;
            continue;
        }
        if let Some(bad) = turn.over {
            return Ok(if bad { Outcome::Finding } else { Outcome::Well });
        }
        output::print("\n> ")?;
        turn = if let Some(line) = line(&mut input)? {
            // What comes through a pipe nobody has seen being typed.
            if echo {
                output::print(&format!("{}\n", clean(&line)))?;
            }
            guide.hear(&line, Some(log::time(None)?))?
        } else {
            output::print("\n")?;
            let Turn { say, over, .. } = guide.hang_up();
            Turn { say, append: None, over }
        };
    }
}

/// The next line without its end; `None` at the end of input.
fn line(input: &mut impl BufRead) -> io::Result<Option<String>> {
    let mut bytes = Vec::new();
    let mut limited = io::Read::take(&mut *input, LONGEST);
    if limited.read_until(b'\n', &mut bytes)? == 0 {
        return Ok(None);
    }
    if !bytes.ends_with(b"\n") && bytes.len() as u64 == LONGEST {
        // The rest of an endless line is not an answer of its own.
        skip_line(input)?;
    }
    Ok(Some(String::from_utf8_lossy(&bytes).trim_end_matches(['\n', '\r']).to_owned()))
}

fn skip_line(input: &mut impl BufRead) -> io::Result<()> {
    loop {
        let chunk = input.fill_buf()?;
        let end = chunk.iter().position(|byte| *byte == b'\n');
        let used = end.map_or(chunk.len(), |at| at + 1);
        let over = end.is_some() || chunk.is_empty();
        input.consume(used);
        if over {
            return Ok(());
        }
    }
}
