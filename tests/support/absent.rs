//! Programs from outside that a test needs: where one is missing the test is left out and says so.

use std::io::Write;
use std::process::Command;

/// Whether a program can be run; where it cannot, what that costs is said, and with `CI=true` it is a failure.
pub(crate) fn there(program: &str, ask: &str, costs: &str) -> bool {
    let found = Command::new(program).arg(ask).output().is_ok();
    if !found {
        let message = format!("LEFT OUT: {costs}, because {program} is missing");
        assert_ne!(std::env::var("CI").as_deref(), Ok("true"), "{message}");
        // Not by `eprintln!`, which the test runner keeps to itself while tests pass.
        std::io::stderr().write_all(format!("{message}\n").as_bytes()).unwrap();
    }
    found
}
