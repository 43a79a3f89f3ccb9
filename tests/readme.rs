//! The README stays true: its transcripts are run, and its definition is checked.
//!
//! A ```` ```console ```` block holds commands (`$ …`, continued with `\` and `> `) and what they print.
//! `…` stands for anything, alone on a line for any number of lines. `[exit code N]` ends a command
//! that does not end with 0; `> FILE` at the end of a command keeps what it prints. The commands run in one
//! folder, in the order of the page.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};

const README: &str = include_str!("../README.md");

#[test]
fn transcripts_are_what_the_program_prints() {
    let folder = workshop();
    let mut ran = 0;
    for block in blocks(README, "console") {
        for (command, expected) in transcripts(&block) {
            let actual = run(&command, folder.path());
            let (wanted, got): (Vec<&str>, Vec<&str>) =
                (expected.lines().collect(), actual.lines().collect());
            assert!(matches(&wanted, &got), "$ {command}\n--- README\n{expected}\n--- printed\n{actual}");
            ran += 1;
        }
    }
    assert!(ran >= 15, "only {ran} commands were found in the README");
}

#[test]
fn the_definition_is_accepted_without_warnings() {
    let folder = workshop();
    let definitions = blocks(README, "toml");
    assert_eq!(definitions.len(), 1);
    fs::write(folder.path().join("page.toml"), &definitions[0]).unwrap();
    let printed = run("ringout check page.toml --strict", folder.path());
    assert!(printed.ends_with("no errors, no warnings\n"), "{printed}");
    run("ringout plan page.toml", folder.path());
}

#[test]
fn the_matcher_takes_only_what_fits() {
    let fits = |pattern: &str, text: &str| {
        matches(&pattern.lines().collect::<Vec<_>>(), &text.lines().collect::<Vec<_>>())
    };
    assert!(fits("a\n…\nd", "a\nb\nc\nd"));
    assert!(fits("a\n…\nb", "a\nb"));
    assert!(fits("rev C · …", "rev C · 12ab"));
    assert!(fits("x … y … z", "x 1 y 2 z"));
    assert!(!fits("a\n…\nd", "a\nb\nc"));
    assert!(!fits("a\nb", "a\nb\nc"));
    assert!(!fits("rev C · …", "rev D · 12ab"));
    assert!(!fits("ab…ba", "aba"));
}

/// A folder that looks like the project's own, where commands may write.
fn workshop() -> tempfile::TempDir {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folder = tempfile::tempdir().unwrap();
    for name in ["harnesses", "demo"] {
        copy(&root.join(name), &folder.path().join(name));
    }
    fs::copy(root.join("README.md"), folder.path().join("README.md")).unwrap();
    folder
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir(to).unwrap();
    for entry in fs::read_dir(from).unwrap().map(Result::unwrap) {
        let target = to.join(entry.file_name());
        match entry.file_type().unwrap().is_dir() {
            // What the demo has left there is not part of the project.
            true if entry.file_name() == "out" => {}
            true => copy(&entry.path(), &target),
            false => drop(fs::copy(entry.path(), target).unwrap()),
        }
    }
}

/// The texts of the fenced blocks of one kind.
fn blocks(page: &str, kind: &str) -> Vec<String> {
    let fence = format!("```{kind}\n");
    page.split(&fence).skip(1).map(|rest| rest.split("```").next().unwrap().to_owned()).collect()
}

/// Commands with what they should print.
fn transcripts(block: &str) -> Vec<(String, String)> {
    let mut found: Vec<(String, String)> = Vec::new();
    for line in block.lines() {
        let open = found.last_mut().filter(|(command, _)| command.ends_with('\\'));
        if let (Some((command, _)), Some(more)) = (open, line.strip_prefix('>')) {
            command.pop();
            command.push_str(more.trim_start());
        } else if let Some(command) = line.strip_prefix("$ ") {
            found.push((command.to_owned(), String::new()));
        } else {
            let (_, expected) = found.last_mut().expect("a transcript begins with a command");
            expected.push_str(line);
            expected.push('\n');
        }
    }
    found
}

/// Runs a command line and gives what a terminal would show.
fn run(command: &str, folder: &Path) -> String {
    // `printf "25.1 V\n" | ringout …`: what is typed comes through a pipe.
    let (typed, command) = match command.strip_prefix("printf ").and_then(|rest| rest.split_once(" | ")) {
        Some((typed, command)) => (words(typed)[0].replace("\\n", "\n"), command),
        None => (String::new(), command),
    };
    let words = words(command);
    if words[0] == "cat" {
        return fs::read_to_string(folder.join(&words[1])).unwrap();
    }
    assert_eq!(words[0], "ringout", "an unknown command: {command}");
    let (words, kept) = match words.iter().position(|word| word == ">") {
        Some(at) => (words[..at].to_vec(), Some(folder.join(&words[at + 1]))),
        None => (words, None),
    };
    let mut program = Command::new(env!("CARGO_BIN_EXE_ringout"));
    program.args(&words[1..]).current_dir(folder).env_remove("COLUMNS");
    program.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = program.spawn().unwrap();
    // A command that reads nothing may be gone before it is written to.
    drop(child.stdin.take().unwrap().write_all(typed.as_bytes()));
    let Output { status, stdout, stderr } = child.wait_with_output().unwrap();
    let mut shown = String::from_utf8(stderr).unwrap();
    match kept {
        Some(path) => fs::write(path, stdout).unwrap(),
        None => shown += &String::from_utf8(stdout).unwrap(),
    }
    match status.code() {
        Some(0) => shown,
        code => format!("{shown}[exit code {}]\n", code.unwrap()),
    }
}

/// Splits a command line at blanks outside quotation marks.
fn words(command: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut quoted = false;
    for c in command.chars() {
        match c {
            '"' => quoted = !quoted,
            ' ' if !quoted => words.push(String::new()),
            c => words.last_mut().unwrap().push(c),
        }
    }
    words.retain(|word| !word.is_empty());
    words
}

/// Whether lines fit a pattern: `…` alone stands for any number of lines.
fn matches(pattern: &[&str], lines: &[&str]) -> bool {
    match pattern.split_first() {
        None => lines.is_empty(),
        Some((&"…", rest)) => (0..=lines.len()).any(|skip| matches(rest, &lines[skip..])),
        Some((first, rest)) => {
            lines.first().is_some_and(|line| line_fits(first, line)) && matches(rest, &lines[1..])
        }
    }
}

/// Whether a line fits: `…` within it stands for any text.
fn line_fits(pattern: &str, line: &str) -> bool {
    let parts: Vec<&str> = pattern.split('…').collect();
    let [first, middle @ .., last] = &parts[..] else { return pattern == line };
    let Some(rest) = line.strip_prefix(first) else { return false };
    let Some(mut rest) = rest.strip_suffix(last) else { return false };
    middle.iter().all(|part| {
        let Some(at) = rest.find(part) else { return false };
        rest = &rest[at + part.len()..];
        true
    })
}
