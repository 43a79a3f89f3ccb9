//! TOML text to a typed harness.
//!
//! Comes in: the text of a definition and of the files it uses. Goes out: a [`Harness`] in which
//! every name is resolved and every quantity has its unit, with places for errors; or everything
//! that is wrong, at once. Why: the definition is the single source; nothing is typed twice.
//!
//! The way: [`reader`](self) walks the parsed text and knows where everything stands; the schema
//! turns tables into a draft; a variant is laid over it; the resolver turns names into indices; the
//! [`rules`] look at the whole, one rule to a file.

pub mod colour;
pub mod diagnostic;
pub mod edit;
pub mod face;
mod load;
mod model;
pub mod reader;
mod resolve;
pub mod rules;
mod schema;
mod syntax;
pub mod wire_id;

pub(crate) use load::join as joined_path;
pub use load::{Loaded, MOST_BYTES, ReadFile, Rejected, load};
pub use model::{
    About, Condition, ConditionId, Connector, ConnectorId, Contact, ContactId, Duty, Function, Half, Harness,
    Id, Kind, Limit, LoadKind, Mating, MatingId, Named, Names, Part, PartId, PartKind, Point, PointError,
    Position, Priors, ResistanceOverrides, RuleSet, Sort, Splice, SpliceId, Station, StationId, Table,
    Terminal, TerminalId, Trunk, TrunkId, Wire, WireId,
};
