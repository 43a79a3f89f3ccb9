//! A gallery of mistakes: small definitions that are wrong, each beside the message it gives.
//!
//! `bad_inputs/NAME.toml` has its message in `bad_inputs/NAME.txt`; a mistake that needs several files
//! has a folder of its own, with `top.toml` and `top.txt`. The first line of each file says what the
//! mistake is; a second line `# variant: NAME` applies a variant.
//!
//! `UPDATE_BAD_INPUTS=1 cargo test --test bad_inputs` writes the messages anew. Read what changed: a
//! message is good when a technician who has never seen this program knows what to write instead.

#![allow(clippy::unwrap_used, reason = "a test stops where something it needs is not there")]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use ringout::definition::diagnostic::{Diagnostic, Severity, Sources, render};
use ringout::definition::load;

/// Fewer files than this would mean that part of the gallery was lost.
const FEWEST: usize = 80;

/// What loading one file said.
struct Finding {
    diagnostics: Vec<Diagnostic>,
    sources: Sources,
    loaded: bool,
    /// The files that were read, the top file included.
    read: Vec<PathBuf>,
}

fn gallery() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bad_inputs")
}

/// All files of a folder with this extension, folders in it included, sorted.
fn files(folder: &Path, extension: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(files(&path, extension));
        } else if path.extension().is_some_and(|e| e == extension) {
            found.push(path);
        }
    }
    found.sort();
    found
}

/// The files that stand for themselves: all at the top of the gallery, and `top.toml` in a folder.
fn cases() -> Vec<PathBuf> {
    let own = |path: &PathBuf| path.parent() == Some(&gallery()) || path.ends_with("top.toml");
    files(&gallery(), "toml").into_iter().filter(own).collect()
}

fn find(path: &Path) -> Finding {
    let text = fs::read_to_string(path).unwrap();
    let variant = text.lines().find_map(|line| line.strip_prefix("# variant: ")).map(str::to_owned);
    let folder = path.parent().unwrap();
    let name = path.file_name().unwrap().to_str().unwrap();
    let mut read = vec![path.to_owned()];
    let mut reader = |used: &str| {
        let path = folder.join(used);
        let text = fs::read_to_string(&path).map_err(|_| "no such file".to_owned())?;
        read.push(path);
        Ok(text)
    };
    match load(name, text, variant.as_deref(), &mut reader) {
        Ok(found) => Finding { diagnostics: found.warnings, sources: found.sources, loaded: true, read },
        Err(found) => Finding { diagnostics: found.diagnostics, sources: found.sources, loaded: false, read },
    }
}

#[test]
fn every_mistake_gives_its_stored_message() {
    let update = std::env::var_os("UPDATE_BAD_INPUTS").is_some();
    let mut wrong = Vec::new();
    for path in cases() {
        let found = find(&path);
        let message = render(&found.diagnostics, &found.sources, false);
        let stored = path.with_extension("txt");
        if update {
            fs::write(&stored, &message).unwrap();
        } else if fs::read_to_string(&stored).ok().as_deref() != Some(message.as_str()) {
            wrong.push(format!("{}\n{message}", path.display()));
        }
    }
    assert!(wrong.is_empty(), "these messages are not as stored:\n\n{}", wrong.join("\n"));
}

#[test]
fn every_file_has_its_message_and_every_message_its_file() {
    let cases: BTreeSet<PathBuf> = cases().into_iter().map(|path| path.with_extension("txt")).collect();
    let stored: BTreeSet<PathBuf> = files(&gallery(), "txt").into_iter().collect();
    assert_eq!(cases, stored);
    assert!(cases.len() >= FEWEST, "{} files", cases.len());
}

#[test]
fn every_file_says_what_its_mistake_is() {
    for path in files(&gallery(), "toml") {
        let text = fs::read_to_string(&path).unwrap();
        let first = text.lines().next().unwrap_or("");
        assert!(first.starts_with("# ") && first.ends_with('.'), "{}: {first}", path.display());
    }
}

#[test]
fn every_used_file_is_used() {
    let read: BTreeSet<PathBuf> = cases().iter().flat_map(|path| find(path).read).collect();
    let present: BTreeSet<PathBuf> = files(&gallery(), "toml").into_iter().collect();
    assert_eq!(read, present);
}

#[test]
fn warnings_load_and_errors_do_not() {
    for path in cases() {
        let found = find(&path);
        let warns = path.file_name().unwrap().to_str().unwrap().starts_with("warning_");
        let severity = if warns { Severity::Warning } else { Severity::Error };
        assert_eq!(found.loaded, warns, "{}", path.display());
        assert!(!found.diagnostics.is_empty(), "{}", path.display());
        assert!(found.diagnostics.iter().all(|d| d.severity == severity), "{}", path.display());
    }
}

#[test]
fn every_message_says_where_and_what_to_write_instead() {
    for path in cases() {
        let found = find(&path);
        let message = render(&found.diagnostics, &found.sources, false);
        for diagnostic in &found.diagnostics {
            let place = diagnostic.place.unwrap_or_else(|| panic!("{}: no place", path.display()));
            let (line, column) = found.sources.line_column(place);
            let shown = format!("{}:{line}:{column}", found.sources.name(place.file()));
            assert!(message.contains(&shown), "{}: {shown} is not in\n{message}", path.display());
            let help = diagnostic.help.as_deref().unwrap_or("");
            assert!(!help.is_empty(), "{}: \"{}\" has no help", path.display(), diagnostic.message);
        }
    }
}

#[test]
fn ten_mistakes_show_at_once() {
    let found = find(&gallery().join("ten_mistakes.toml"));
    assert_eq!(found.diagnostics.len(), 10, "{}", render(&found.diagnostics, &found.sources, false));
}
