//! `ringout export` as a user meets it: what it writes, where, and what it says to a mistake.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

use std::path::Path;
use std::process::{Command, Output};

#[path = "support/spice.rs"]
mod spice;

/// Exit code, standard output, standard error.
fn export(args: &[&str]) -> (i32, String, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_ringout"));
    let sprayer = Path::new(env!("CARGO_MANIFEST_DIR")).join("harnesses/orchard-sprayer.toml");
    command.arg("export").arg(sprayer).args(args);
    let Output { status, stdout, stderr } = command.output().unwrap();
    let [out, err] = [stdout, stderr].map(|bytes| String::from_utf8(bytes).unwrap());
    (status.code().unwrap(), out, err)
}

fn deck(args: &[&str]) -> String {
    let (code, out, err) = export(&[&["--spice"], args].concat());
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    out
}

#[test]
fn the_deck_says_what_it_is_of() {
    let text = deck(&["--set", "S1=run,S2=spray", "--condition", "tank-full", "--variant", "wide-boom"]);
    let head: Vec<&str> = text.lines().take(4).collect();
    assert!(head[0].starts_with("* OSP-4 revision C, variant wide-boom "), "{head:?}");
    assert!(head[1].starts_with("* definition: SHA-256 ") && head[1].len() > 80, "{head:?}");
    assert!(head[2].starts_with("* setup: power connected; S1 at run; S2 at spray; Tank filled"), "{head:?}");
    assert_eq!(head[3], "* changed: nothing");
    assert!(text.contains("DC operating point") && text.contains("maker's manual"));
    assert!(text.ends_with("\n.end\n"));
    assert_eq!(
        text,
        deck(&["--set", "S1=run,S2=spray", "--condition", "tank-full", "--variant", "wide-boom"])
    );
}

/// The pump runs in the setup; without wire 31C it does not.
#[test]
fn a_fault_changes_what_the_simulator_finds() {
    if !spice::is_there() {
        return;
    }
    let running = ["--set", "S1=run,S2=spray"];
    let healthy = spice::run(&deck(&running));
    let faulty = spice::run(&deck(&[&running[..], &["--fault", "31C:open"]].concat()));
    assert!(spice::voltage(&healthy, "xk1_87") > 22.0);
    assert!(spice::voltage(&faulty, "xk1_87").abs() < 0.1);
    assert!(spice::voltage(&faulty, "sp3") > 22.0);
}

#[test]
fn states_and_reasons_stand_in_the_comments() {
    let text = deck(&["--power", "isolated", "--unplug", "P1"]);
    for line in [
        "* setup: power isolated; P1 unplugged",
        "*   battery BAT1: isolated",
        "*   relay K1: released",
        "* mated contact P1.K/J1.K, open: unplugged",
        "* battery BAT1, BT1 to BT2, open: isolated",
        "* wire 31A, 1 mm2, 3.1 m, with termination 31A@XS2.3 and termination 31A@XB1.3",
    ] {
        assert!(text.lines().any(|known| known == line), "{line}\n{text}");
    }
    let text = deck(&["--fault", "K1:stuck-operated"]);
    assert!(
        text.contains(
            "* changed: K1:stuck-operated (relay K1 does not release)\n*   relay K1 stays operated\n"
        )
    );
    assert!(text.contains("*   relay K1: operated\n"));
}

#[test]
fn mistakes_are_answered_with_what_to_write() {
    for (args, message) in [
        (
            &["--fault", "31A:opem"][..],
            "no single fault of this machine is called `31A:opem`: did you mean `31A:open`, `31A:high`?",
        ),
        (
            &["--fault", "31A"],
            "no single fault of this machine is called `31A`: did you mean `31A:open`, `31A:high`?",
        ),
        (
            &["--fault", "nothing like it"],
            "no single fault of this machine is called `nothing like it`; plans print the ids",
        ),
        (&["--set", "S1"], "--set S1: write it as S1=run"),
        (&["--set", "S1=fast"], "S1 has no position `fast`: its positions are off, run"),
        (&["--set", "K1=run"], "no switch is called `K1`"),
        (
            &["--condition", "raining"],
            "no condition is called `raining`; those of this definition: engine-running, tank-full",
        ),
        (&["--power", "isolated", "--condition", "engine-running"], "can hold only with power connected"),
        (&["--unplug", "P99"], "no connector is called `P99`"),
    ] {
        let (code, out, err) = export(&[&["--spice"], args].concat());
        assert_eq!((code, out.as_str()), (2, ""), "{args:?}");
        assert!(err.contains(message), "{args:?}: {err}");
    }
    let (code, _, err) = export(&[]);
    assert!(code == 2 && err.contains("required") && err.contains("--spice"), "{err}");
}

#[test]
fn nothing_is_overwritten_unasked() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.cir");
    std::fs::write(&path, "old").unwrap();
    let to = path.to_str().unwrap();
    let (code, _, err) = export(&["--spice", "-o", to]);
    assert!(code == 2 && err.contains("--force overwrites it"), "{err}");
    assert_eq!(std::fs::read_to_string(&path).unwrap(), "old");
    assert_eq!(export(&["--spice", "-o", to, "--force"]).0, 0);
    assert_eq!(std::fs::read_to_string(&path).unwrap(), deck(&[]));
}
