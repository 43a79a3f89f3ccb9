//! The report of a repair: it says what was read and done, what is still open, and no text in it becomes markup.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;
use sha2::{Digest, Sha256};

const HEAD: &str = "format = 1\n";

fn reading(kind: &str, [red, black]: [&str; 2], state: &str, value: &str) -> String {
    format!(
        "[[reading]]\nkind = \"{kind}\"\nred = \"{red}\"\nblack = \"{black}\"\n{state}\nvalue = \"{value}\"\n"
    )
}

const OFF: &str = "power = \"isolated\"\nunplugged = [\"P1\", \"XD1\"]";
const ON: &str = "power = \"connected\"\nset = { S1 = \"run\", S2 = \"spray\" }";

/// The sprayer, repaired, with the readings before and after.
struct Job {
    folder: tempfile::TempDir,
}

impl Job {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        std::fs::create_dir(folder.path().join("orchard-sprayer")).unwrap();
        for name in [
            "orchard-sprayer.toml",
            "orchard-sprayer/supply.toml",
            "orchard-sprayer/cab.toml",
            "orchard-sprayer/deck.toml",
        ] {
            std::fs::copy(root.join("harnesses").join(name), folder.path().join(name)).unwrap();
        }
        std::fs::copy(root.join("demo/readings-harness-fault.toml"), folder.path().join("r.toml")).unwrap();
        let retest = [
            HEAD.to_owned(),
            reading("continuity", ["P1.K", "XB1.3"], OFF, "0.2 ohm"),
            reading("isolation", ["FH3.2", "P1.K"], OFF, "open"),
            reading("voltage", ["XK1.86", "XK1.85"], ON, "25.0 V"),
        ];
        std::fs::write(folder.path().join("after.toml"), retest.join("\n")).unwrap();
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn run(&self, args: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_ringout"))
            .args(args)
            .current_dir(self.folder.path())
            .output()
            .unwrap()
    }

    fn repair(&self, more: &[&str]) {
        let mut args =
            vec!["repair", "orchard-sprayer.toml", "splice", "31C", "--distance", "0.1 m", "--from", "SP3"];
        args.extend(["--sealed", "--record", "r.toml", "--by", "RK", "--at", "2026-05-12T10:30:00Z"]);
        args.extend(more);
        let output = self.run(&args);
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    }

    /// Exit code and what is printed.
    fn report(&self, more: &[&str]) -> (Option<i32>, String) {
        let mut args = vec!["report", "orchard-sprayer-rev-D.toml", "r.toml"];
        args.extend(more);
        let output = self.run(&args);
        let text = if output.stdout.is_empty() { output.stderr } else { output.stdout };
        (output.status.code(), String::from_utf8(text).unwrap())
    }

    fn json(&self, more: &[&str]) -> (Option<i32>, Value) {
        let (code, text) = self.report(&[more, &["--format", "json"]].concat());
        (code, serde_json::from_str(&text).expect(&text))
    }
}

#[test]
fn a_proven_repair_says_so_and_an_unread_step_keeps_it_open() {
    let job = Job::new();
    job.repair(&["--found", "crushed at the clip"]);
    let (code, view) = job.json(&["--retest", "after.toml"]);
    // SP3 joins four wires; only the plug's end lies within 12 in (AC 43.13-1B 11-167 d, from memory).
    assert_eq!((code, view["verdict"].as_str()), (Some(1), Some("proven")), "{}", view["open"]);
    assert_eq!(view["open"].as_array().unwrap().len(), 1);
    assert!(view["open"][0].as_str().unwrap().contains("300 mm from the termination at P1.K"));
    assert_eq!(view["changes"][0]["contact"], "P1.K");
    assert!(view["changes"][0]["before"].as_str().unwrap().starts_with("31C (1 mm2 YE) to SP3"));
    assert!(view["changes"][0]["after"].as_str().unwrap().starts_with("31F (1 mm2 YE) to SP12"));
    assert_eq!(view["found"]["verdict"], "located");
    assert_eq!(
        (view["before"]["revision"].as_str(), view["harness"]["revision"].as_str()),
        (Some("C"), Some("D"))
    );
    let hash: String = Sha256::digest(std::fs::read(job.path("r.toml")).unwrap())
        .iter()
        .fold(String::new(), |hex, b| hex + &format!("{b:02x}"));
    assert_eq!(view["record_hash"], hash);

    // Without the last reading a step is named as unread; with a bad one it is named as bad.
    let text = std::fs::read_to_string(job.path("after.toml")).unwrap();
    let cut = text.rfind("[[reading]]").unwrap();
    std::fs::write(job.path("short.toml"), &text[..cut]).unwrap();
    let (code, view) = job.json(&["--retest", "short.toml"]);
    assert_eq!((code, view["verdict"].as_str()), (Some(1), Some("open")));
    assert!(
        view["open"][0].as_str().unwrap().contains("was not read: voltage XK1.86 against XK1.85"),
        "{}",
        view["open"]
    );
    std::fs::write(job.path("bad.toml"), text.replace("0.2 ohm", "8 ohm")).unwrap();
    let (_, view) = job.json(&["--retest", "bad.toml"]);
    assert!(view["open"][0].as_str().unwrap().starts_with("#1 is bad: continuity P1.K"), "{}", view["open"]);
    let (_, view) = job.json(&[]);
    assert_eq!(view["open"][0], "No readings prove the repair.");
}

#[test]
fn what_changed_since_is_told() {
    let job = Job::new();
    job.repair(&[]);
    let record = std::fs::read_to_string(job.path("r.toml")).unwrap();
    std::fs::write(job.path("r.toml"), format!("# another\n{record}")).unwrap();
    let (_, view) = job.json(&["--retest", "after.toml"]);
    assert!(view["open"][0].as_str().unwrap().contains("hashes differ"), "{}", view["open"]);
    std::fs::write(job.path("r.toml"), record).unwrap();
    let deck = job.path("orchard-sprayer/deck.toml");
    std::fs::write(&deck, format!("{}# more\n", std::fs::read_to_string(&deck).unwrap())).unwrap();
    let (code, said) = job.report(&[]);
    assert_eq!(code, Some(2));
    assert!(said.contains("is not what it was before REP1 (revision C)"), "{said}");
}

#[test]
fn what_is_not_there_is_refused_in_words() {
    let job = Job::new();
    let output = job.run(&["report", "orchard-sprayer.toml", "r.toml"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        String::from_utf8_lossy(&output.stderr)
            .contains("there is no log of repairs at orchard-sprayer-repairs.toml")
    );
    job.repair(&[]);
    for (more, why) in [
        (&["--repair", "REP7"][..], "has no repair `REP7`"),
        (&["--retest", "none.toml"], "cannot read none.toml"),
        (&["--repairs", "after.toml"], "unknown field `reading`"),
    ] {
        let (code, said) = job.report(more);
        assert_eq!(code, Some(2), "{more:?}");
        assert!(said.contains(why), "{more:?}: {said}");
    }
    std::fs::write(job.path("x.toml"), "format = 1\nharness = \"OTHER\"\n").unwrap();
    assert!(
        job.report(&["--repairs", "x.toml"])
            .1
            .contains("this log is of `OTHER`, the definition is of `OSP-4`")
    );
}

/// Text that would be markup in one of the formats, or hide something.
const EVIL: &str = "<script>alert(1)</script> | *b* [x](http://e.x) `c` \u{202e}gnp --> ]]> \"q\" 'a' & <img src=x onerror=y>";

#[test]
fn no_text_becomes_markup() {
    let job = Job::new();
    job.repair(&["--found", EVIL, "--material", EVIL]);
    let args = ["--retest", "after.toml", "--complaint", EVIL, "--date", EVIL, "--html", "page.html"];
    let (_, markdown) = job.report(&args);
    for raw in ["<script", "<img", "*b*", "[x]", "`c`", "\u{202e}"] {
        assert!(!markdown.replace('\\', "\\\u{1}").contains(raw), "{raw} is in\n{markdown}");
    }
    let page = std::fs::read_to_string(job.path("page.html")).unwrap();
    assert!(!page.contains("<script") && !page.contains("<img") && !page.contains('\u{202e}'), "{page}");
    assert_eq!(page.matches("alert(1)").count(), page.matches("&#60;script&#62;alert(1)").count());
    assert!(page.matches("alert(1)").count() >= 4);
    // A list mark in front makes no list.
    let (_, markdown) = job.report(&["--complaint", "- [ ] done"]);
    assert!(markdown.contains("As it was told: - \\[ \\] done"), "{markdown}");
    // And nothing is overwritten unasked.
    let (code, said) = job.report(&args);
    assert_eq!(code, Some(2), "{said}");
}

/// The page's policy lets in the one style sheet that stands in it, by its hash, and nothing else.
#[test]
fn the_page_names_its_own_style_and_fetches_nothing() {
    let job = Job::new();
    job.repair(&[]);
    job.report(&["--retest", "after.toml", "--html", "page.html"]);
    let page = std::fs::read_to_string(job.path("page.html")).unwrap();
    let style = page.split("<style>").nth(1).unwrap().split("</style>").next().unwrap();
    assert_eq!(page.matches("<style").count(), 1);
    let policy = page
        .split("http-equiv=\"Content-Security-Policy\" content=\"")
        .nth(1)
        .unwrap()
        .split('"')
        .next()
        .unwrap();
    let hash = base64(&Sha256::digest(style.as_bytes()));
    assert_eq!(
        policy.replace("&#39;", "'"),
        format!("default-src 'none'; style-src 'sha256-{hash}'; base-uri 'none'; form-action 'none'")
    );
    for outside in ["src=", "href=\"http", "@import", "url(", "style=\""] {
        assert!(!page.contains(outside), "{outside}");
    }
    // Before and after of the plug that was touched.
    assert_eq!(page.matches("<svg").count(), 2);
    for role in ["Repaired by", "Retested by", "Inspected and accepted by"] {
        assert!(page.contains(role), "{role}");
    }
    assert!(page.contains("@page{margin") && page.contains("break-inside:avoid"));
}

/// RFC 4648, section 4.
fn base64(bytes: &[u8]) -> String {
    let digits: Vec<char> = ('A'..='Z').chain('a'..='z').chain('0'..='9').chain(['+', '/']).collect();
    let mut bits: Vec<u8> = bytes.iter().flat_map(|byte| (0..8).rev().map(move |n| byte >> n & 1)).collect();
    while !bits.len().is_multiple_of(6) {
        bits.push(0);
    }
    let mut text: String = bits
        .chunks(6)
        .map(|six| digits[six.iter().fold(0, |all, bit| all * 2 + usize::from(*bit))])
        .collect();
    while !text.len().is_multiple_of(4) {
        text.push('=');
    }
    text
}
