//! `ringout schema`: JSON Schemas of the files that people write, for their editors.
//!
//! The schemas are text of their own and not made from the reader: `tests/schemas.rs` holds the two against each other.

use super::{Outcome, output};

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  ringout schema definition > definition-1.schema.json")]
pub(super) struct SchemaArgs {
    /// The kind of file
    #[arg(value_enum, default_value_t)]
    file: FileArg,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
enum FileArg {
    /// A file of a harness definition
    #[default]
    Definition,
    /// A record of readings
    Record,
}

pub(super) fn run(args: &SchemaArgs) -> anyhow::Result<Outcome> {
    output::print(match args.file {
        FileArg::Definition => include_str!("../../schemas/definition-1.schema.json"),
        FileArg::Record => include_str!("../../schemas/record-1.schema.json"),
    })?;
    Ok(Outcome::Well)
}
