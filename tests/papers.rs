//! Completions, pages for man, and what every command says of itself.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

#[path = "support/absent.rs"]
mod absent;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::Command;

use clap::{CommandFactory, Parser};
use ringout::cli::Args;

fn ringout(args: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_ringout")).args(args).output().unwrap();
    assert!(output.status.success(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// What bash offers for the last of these words.
fn offered(script: &Path, words: &[&str]) -> BTreeSet<String> {
    let (last, before) = (words[words.len() - 1], words[words.len() - 2]);
    let program = format!(
        "source {}; COMP_WORDS=({}); COMP_CWORD={}; _ringout ringout '{last}' '{before}'; printf '%s\\n' \"${{COMPREPLY[@]}}\"",
        script.display(),
        words.iter().map(|word| format!("'{word}'")).collect::<Vec<_>>().join(" "),
        words.len() - 1,
    );
    let output = Command::new("bash").args(["--norc", "--noprofile", "-c", &program]).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert_eq!(String::from_utf8_lossy(&output.stderr), "");
    String::from_utf8(output.stdout).unwrap().lines().map(str::to_owned).collect()
}

#[test]
fn bash_loads_the_completions_and_completes_with_them() {
    if !absent::there("bash", "--version", "whether completions load in bash") {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let script = folder.path().join("ringout.bash");
    fs::write(&script, ringout(&["completions", "bash"])).unwrap();
    let set = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect::<BTreeSet<_>>();
    assert_eq!(offered(&script, &["ringout", "ref"]), set(&["refresh"]));
    assert_eq!(offered(&script, &["ringout", "pla"]), set(&["plan"]));
    assert_eq!(offered(&script, &["ringout", "refresh", "--ch"]), set(&["--check"]));
    assert_eq!(offered(&script, &["ringout", "wires", "--format", ""]), set(&["table", "json", "csv", "md"]));
    assert_eq!(offered(&script, &["ringout", "draw", "fa"]), set(&["face"]));
    let all = offered(&script, &["ringout", ""]);
    assert!(names(&Args::command()).iter().all(|name| all.contains(name)), "{all:?}");
}

/// The commands right below one.
fn names(command: &clap::Command) -> Vec<String> {
    command.get_subcommands().map(|below| below.get_name().to_owned()).filter(|name| name != "help").collect()
}

#[test]
fn other_shells_have_a_script_too() {
    for shell in ["zsh", "fish", "elvish", "powershell"] {
        let script = ringout(&["completions", shell]);
        assert!(names(&Args::command()).iter().all(|name| script.contains(name.as_str())), "{shell}");
    }
}

/// Every command with its words, the program itself first.
fn commands() -> Vec<(Vec<String>, clap::Command)> {
    fn add(words: &[String], command: &clap::Command, all: &mut Vec<(Vec<String>, clap::Command)>) {
        all.push((words.to_vec(), command.clone()));
        for below in command.get_subcommands().filter(|below| below.get_name() != "help") {
            add(&[words, &[below.get_name().to_owned()]].concat(), below, all);
        }
    }
    let mut root = Args::command();
    root.build();
    let mut all = Vec::new();
    add(&["ringout".to_owned()], &root, &mut all);
    all
}

#[test]
fn every_command_has_a_page_that_man_reads_without_a_warning() {
    let folder = tempfile::tempdir().unwrap();
    let pages = folder.path().join("man1");
    let said = ringout(&["manual", pages.to_str().unwrap()]);
    let made: BTreeSet<String> = fs::read_dir(&pages)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    let wanted: BTreeSet<String> =
        commands().iter().map(|(words, _)| format!("{}.1", words.join("-"))).collect();
    assert_eq!(made, wanted);
    assert!(said.starts_with(&format!("{} pages in ", wanted.len())), "{said}");
    let again = Command::new(env!("CARGO_BIN_EXE_ringout")).arg("manual").arg(&pages).output().unwrap();
    assert_eq!(again.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&again.stderr).contains("--force overwrites it"));
    ringout(&["manual", pages.to_str().unwrap(), "--force"]);
    for (words, command) in commands() {
        let page = fs::read_to_string(pages.join(format!("{}.1", words.join("-")))).unwrap();
        // As roff writes them.
        let page = page.replace("\\-", "-").replace("\\*(Aq", "'").replace("\\(aq", "'");
        let about = command.get_about().unwrap().to_string();
        let first = about.lines().next().unwrap().split(' ').take(3).collect::<Vec<_>>().join(" ");
        assert!(page.contains(&first), "{words:?}: {about}");
    }
    if !absent::there("groff", "--version", "whether man reads the pages without a warning") {
        return;
    }
    for name in made {
        // As `man --warnings` calls it.
        let mut groff = Command::new("groff");
        groff.args(["-man", "-ww", "-Tutf8", "-K", "utf8", "-z"]).arg(pages.join(&name));
        let output = groff.output().unwrap();
        assert!(output.status.success());
        assert_eq!(String::from_utf8_lossy(&output.stderr), "", "{name}");
    }
}

#[test]
fn every_command_shows_examples_that_can_be_typed() {
    for (words, command) in commands().into_iter().skip(1) {
        let text = command.get_after_help().unwrap_or_else(|| panic!("{words:?} has no example")).to_string();
        let lead = words.join(" ");
        let examples: Vec<&str> =
            text.lines().map(str::trim).filter(|line| line.starts_with("ringout ")).collect();
        assert!(!examples.is_empty(), "{lead}: {text}");
        for example in examples {
            let typed = split(example);
            Args::try_parse_from(&typed).unwrap_or_else(|error| panic!("{example}\n{error}"));
            // An example shows its own command; a group of commands shows one below it.
            assert!(words.iter().all(|word| typed.contains(word)), "{lead}: {example}");
        }
    }
}

/// Splits a command line at blanks outside quotation marks; what a shell redirects is left out.
fn split(line: &str) -> Vec<String> {
    let line = line.split(" > ").next().unwrap();
    let pieces = line.split('"').enumerate();
    let words = pieces.flat_map(|(at, piece)| match at % 2 {
        0 => piece.split_whitespace().map(str::to_owned).collect(),
        _ => vec![piece.to_owned()],
    });
    words.collect()
}

#[test]
fn every_option_says_what_it_is() {
    for (words, command) in commands() {
        for argument in command.get_arguments() {
            let id = argument.get_id().as_str();
            let tells = argument.get_help().is_some() || !argument.get_possible_values().is_empty();
            assert!(tells, "{words:?} does not say what `{id}` is");
        }
    }
}

#[test]
fn both_spellings_of_a_state_are_understood() {
    let state = |unplug: &str, condition: &str| {
        [
            format!("export m.toml --spice {unplug} P1 {condition} tank-full"),
            format!("draw m.toml setup {unplug} P1 {condition} tank-full"),
            format!("why m.toml --kind voltage --red A --black B {unplug} P1 {condition} tank-full"),
            format!(
                "log m.toml r.toml --kind voltage --red A --black B --value 1V --power connected {unplug} P1 {condition} tank-full"
            ),
            format!("nets m.toml {unplug} P1"),
            format!("plan m.toml {unplug} P1"),
            format!("pack m.toml {unplug} P1"),
        ]
    };
    for line in [state("--unplug", "--condition"), state("--unplugged", "--conditions")].concat() {
        let words: Vec<String> = split(&format!("ringout {line}"));
        Args::try_parse_from(&words).unwrap_or_else(|error| panic!("{line}\n{error}"));
    }
}
