//! TOML text to a typed harness.
pub mod colour;
pub mod face;
pub mod wire_id;
