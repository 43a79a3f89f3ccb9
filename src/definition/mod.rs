//! TOML text to a typed harness.
pub mod face;
