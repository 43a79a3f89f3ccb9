//! Job packs as a real browser shows, keeps and prints them.
//!
//! A pack is filled in, reloaded, saved and handed to `ringout locate`; judged reading by reading beside the library;
//! printed on A4 and Letter; used with the keyboard alone and on a telephone; and made of hostile names. Contrast as
//! WCAG 2.1 success criterion 1.4.3 asks: at least 4.5 to 1.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

mod support;

#[path = "support/devtools.rs"]
mod devtools;
#[path = "support/machine.rs"]
mod machine;

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::{Duration, Instant};

use devtools::{Browser, Page, leave_out, starts};
use ringout::definition::Kind;
use ringout::measure::{Meter, Reading};
use ringout::netlist::Netlist;
use ringout::plan::{Aids, Plan, Scope, complaint, plan, plan_with};
use serde_json::{Value, json};

const SPRAYER: &str = "orchard-sprayer.toml";

fn ringout(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_ringout")).args(arguments).output().unwrap()
}

fn sprayer() -> String {
    support::path(SPRAYER).display().to_string()
}

/// A pack in a folder of its own.
fn pack(harness: &str, arguments: &[&str]) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("pack.html");
    let shown = path.display().to_string();
    let output = ringout(&[&["pack", harness, "-o", &shown], arguments].concat());
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    (folder, path)
}

/// The plan of the sweep at the control box.
fn sweep() -> Plan {
    let harness = support::harness(SPRAYER);
    let parted =
        ["P1", "P2", "P3"].map(|id| harness.connectors[harness.names.connector(id).unwrap()].mating.unwrap());
    let scope = Scope { unplug: parted.into_iter().collect(), circuit: None };
    plan(&harness, &Netlist::new(&harness), &scope, Meter::HANDHELD).unwrap()
}

const SWEEP: [&str; 2] = ["--unplug", "P1,P2,P3"];

/// What a healthy machine might show at a step.
fn healthy(step: &ringout::plan::Step) -> String {
    match (step.expect.high, step.expect.ohms) {
        (None, _) => "OL".to_owned(),
        (Some(high), true) => format!("{:.4} ohm", f64::midpoint(step.expect.low, high)),
        (Some(high), false) => format!("{:.3} V", f64::midpoint(step.expect.low, high)),
    }
}

/// Waits for a file that the browser writes, and takes it away. The browser first keeps its place with an empty file,
/// then puts the whole one there.
fn saved(folder: &Path) -> String {
    let until = Instant::now() + Duration::from_mins(1);
    loop {
        let files = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path());
        let record = files.into_iter().find(|p| p.extension().is_some_and(|e| e == "toml"));
        if let Some(path) = record
            && let text = std::fs::read_to_string(&path).unwrap()
            && !text.is_empty()
        {
            std::fs::remove_file(path).unwrap();
            return text;
        }
        assert!(Instant::now() < until, "nothing was saved");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// Presses the button that saves the record, by the keyboard.
fn save(page: &mut Page<'_>, folder: &Path) -> String {
    page.value("document.getElementById('save').focus()");
    page.press("Enter");
    saved(folder)
}

fn locate(record: &str) -> (Option<i32>, Value) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.toml");
    std::fs::write(&path, record).unwrap();
    let output = ringout(&["locate", &sprayer(), &path.display().to_string(), "--format", "json"]);
    let error = String::from_utf8_lossy(&output.stderr);
    assert!(error.is_empty(), "{error}\n{record}");
    (output.status.code(), serde_json::from_slice(&output.stdout).unwrap())
}

#[test]
fn readings_are_typed_kept_saved_and_lead_to_the_fault() {
    let Some(mut browser) = Browser::start() else { return };
    let (folder, path) = pack(&sprayer(), &SWEEP);
    let plan = sweep();
    let mut page = browser.open(&path);
    page.value("document.getElementById('by').focus()");
    page.write("R\"K");
    page.value("document.getElementById('v-1').focus()");
    for step in plan.steps() {
        page.write(&healthy(step));
        page.press("Enter");
    }
    let count = plan.steps().count();
    assert_eq!(page.text("document.getElementById('told').textContent"), format!("{count} of {count} read"));
    assert_eq!(page.value("document.getElementById('bar').value"), json!(count));
    let record = save(&mut page, folder.path());
    assert!(record.contains("by = \"R\\\"K\""), "{record}");
    let (code, answer) = locate(&record);
    assert_eq!((code, &answer["verdict"]), (Some(0), &json!("healthy")), "{answer}");

    // The pump enable is open.
    let harness = support::harness(SPRAYER);
    let enable = harness.point("P1.K").unwrap();
    let open = plan.steps().filter(|s| {
        let m = &s.measurement;
        [m.red(), m.black()].contains(&enable) && m.kind() != Kind::Isolation
    });
    let open: Vec<String> = open.map(|step| step.id.clone()).collect();
    assert!(open.len() >= 3, "{open:?}");
    for (nth, step) in plan.steps().enumerate() {
        if open.contains(&step.id) {
            page.value(&format!("document.getElementById('v-{}').select()", nth + 1));
            page.write(if step.expect.ohms { "OL" } else { "0.0 V" });
        }
    }
    let told = format!("{count} of {count} read, {} bad", open.len());
    assert_eq!(page.text("document.getElementById('told').textContent"), told);
    page.reload();
    assert_eq!(page.text("document.getElementById('told').textContent"), told);
    assert_eq!(page.text("document.getElementById('by').value"), "R\"K");
    let record = save(&mut page, folder.path());
    let (code, answer) = locate(&record);
    assert_eq!(code, Some(1));
    assert_eq!(answer["verdict"], json!("located"), "{answer}");
    assert!(answer["suspects"].to_string().contains("31C:open"), "{answer}");

    // In again on another machine: the same boxes, and the same record out.
    let file = folder.path().join("in.txt");
    std::fs::write(&file, &record).unwrap();
    let mut other = browser.open(&path);
    assert_eq!(other.text("document.getElementById('told').textContent"), format!("0 of {count} read"));
    other.choose("#open", &file);
    other.wait_for("document.getElementById('says').textContent.includes('taken in')");
    assert_eq!(other.text("document.getElementById('told').textContent"), told);
    let again = save(&mut other, folder.path());
    let entries = |text: &str| {
        text.split("[[reading]]").map(|e| e.trim().to_owned()).collect::<std::collections::BTreeSet<_>>()
    };
    assert_eq!(entries(&again), entries(&record));
}

/// A record that the program wrote goes in, and what fits no step comes out as it went in.
#[test]
fn a_record_of_the_program_goes_in_and_nothing_of_it_is_lost() {
    let Some(mut browser) = Browser::start() else { return };
    let (folder, path) = pack(&sprayer(), &SWEEP);
    let mut page = browser.open(&path);
    let record = folder.path().join("record");
    let shown = record.display().to_string();
    let log = |arguments: &[&str]| {
        let output = ringout(&[&["log", &sprayer(), &shown], arguments].concat());
        assert!(output.status.code() != Some(2), "{}", String::from_utf8_lossy(&output.stderr));
    };
    log(&[
        "--step",
        "2.04",
        "--unplug",
        "P1,P2,P3",
        "--value",
        "OL",
        "--note",
        "a \"note\" # with [[reading]]",
    ]);
    log(&["--step", "2.04", "--unplug", "P1,P2,P3", "--value", "48", "--note", "seen again"]);
    // Named by the other half, and a switch at rest that is written out all the same.
    log(&[
        "--kind",
        "voltage",
        "--red",
        "BT1",
        "--black",
        "BT2",
        "--power",
        "connected",
        "--set",
        "S1=off",
        "--value",
        "25.1",
    ]);
    log(&[
        "--kind",
        "continuity",
        "--red",
        "P1.K",
        "--black",
        "GP2",
        "--power",
        "isolated",
        "--unplugged",
        "J1",
        "--value",
        "OL",
    ]);
    page.choose("#open", &record);
    page.wait_for("document.getElementById('says').textContent.includes('taken in')");
    let says = page.text("document.getElementById('says').textContent");
    assert_eq!(says, "2 readings were taken in. 1 are of no step of this plan; they stay in the record.");
    let value = "document.querySelector('#step-2-04 input').value";
    assert_eq!(page.text(value), "48 ohm");
    page.reload();
    assert_eq!(page.text(value), "48 ohm");
    let out = save(&mut page, folder.path());
    for part in ["a \\\"note\\\" # with [[reading]]", "seen again", "unplugged = [\"J1\"]"] {
        assert_eq!(out.matches(part).count(), 1, "{part}\n{out}");
    }
    assert_eq!(out.matches("value = ").count(), 4);
    let (_, answer) = locate(&out);
    assert!(answer["verdict"].is_string());
    // Loaded twice, nothing is there twice.
    page.value("document.getElementById('says').textContent = ''");
    page.choose("#open", &record);
    page.wait_for("document.getElementById('says').textContent.includes('taken in')");
    assert_eq!(save(&mut page, folder.path()), out);
    for (text, reason) in [
        ("nonsense", "is missing after nonsense"),
        ("format = 2\n", "format = 1"),
        ("format = 1\nharness = { id = \"other\", revision = \"A\", hash = \"0\" }\n", "it is of other"),
        ("format = 1\nharness = { id = \"OSP-4\", revision = \"B\", hash = \"0\" }\n", "revision B"),
        ("format = 1\n[[reading]]\nkind = \"contin", "does not end"),
    ] {
        std::fs::write(folder.path().join("wrong"), text).unwrap();
        page.value("document.getElementById('says').textContent = ''");
        page.choose("#open", &folder.path().join("wrong"));
        page.wait_for("document.getElementById('says').textContent !== ''");
        let says = page.text("document.getElementById('says').textContent");
        assert!(says.contains(reason) && says.starts_with("Nothing was taken in"), "{text}: {says}");
    }
}

/// What people write on a reading's line.
const WRITTEN: [&str; 58] = [
    "",
    " ",
    "0",
    "1",
    "0.0",
    "1.0",
    "0 ohm",
    "1 ohm",
    "0.4",
    "0.4 ohm",
    "0.4ohm",
    "400 mohm",
    "400m",
    "12k",
    "12K",
    "1.5M",
    "1.2 Mohm",
    "2 MΩ",
    "5 Ω",
    "5 kkk",
    "OL",
    "ol",
    "0L",
    "O.L",
    "0.L",
    "o.l.",
    "open",
    "OPEN",
    "inf",
    "∞",
    "over",
    "tone",
    "Beep",
    "buzz",
    ">20M",
    "> 2 Mohm",
    ">5",
    ">",
    "25.1 V",
    "25.1",
    "-0.2",
    "-0.2 V",
    "350 mV",
    "2e1 V",
    "2e1",
    "1e400 V",
    "1e-20 ohm",
    "-3 ohm",
    "-0",
    "0,4 ohm",
    "ok",
    "nan",
    "1-2",
    "+50",
    ".5",
    "5.",
    "50 V",
    "fifty",
];

/// Judged by the page as by the library, for every step: verdicts must not depend on where a reading is typed.
#[test]
fn the_page_judges_as_the_program_does() {
    let Some(mut browser) = Browser::start() else { return };
    let harness = support::harness(SPRAYER);
    let asked = complaint::Asked::parse(&harness, "M1").unwrap();
    let dossier = complaint::complaint(&harness, &Netlist::new(&harness), &asked, Meter::HANDHELD).unwrap();
    let cases = [(sweep(), &SWEEP[..]), (dossier, &["--complaint", "M1"])];
    for (plan, arguments) in cases {
        let (_folder, path) = pack(&sprayer(), &[arguments, &["--sections", "plan"]].concat());
        let mut page = browser.open(&path);
        let mut wanted: Vec<Vec<String>> = Vec::new();
        let mut texts: Vec<Vec<String>> = Vec::new();
        for step in plan.steps() {
            // The limits themselves, as exactly as they can be typed.
            let unit = if step.expect.ohms { "ohm" } else { "V" };
            let edges = [Some(step.expect.low), step.expect.high].into_iter().flatten();
            let edges = edges
                .filter(|e| e.is_finite())
                .flat_map(|e| [format!("{e} {unit}"), format!("{} {unit}", e * 1.001)]);
            let own: Vec<String> = WRITTEN.iter().map(|t| (*t).to_owned()).chain(edges).collect();
            let verdict = |text: &String| match Reading::parse(step.measurement.kind(), text) {
                _ if text.trim().is_empty() => "none",
                Err(_) => "odd",
                Ok(reading) if step.expect.admits(reading) => "good",
                Ok(_) => "bad",
            };
            wanted.push(own.iter().map(|text| verdict(text).to_owned()).collect());
            texts.push(own);
        }
        let script = format!(
            "{}.map((texts, at) => {{ const input = document.getElementById(`v-${{at + 1}}`); const step = input.closest('.step');
             return texts.map(text => {{ input.value = text; input.dispatchEvent(new Event('input')); return step.dataset.verdict ?? 'none'; }}); }})",
            serde_json::to_string(&texts).unwrap()
        );
        let found: Vec<Vec<String>> = serde_json::from_value(page.value(&script)).unwrap();
        for (nth, step) in plan.steps().enumerate() {
            for ((text, found), wanted) in texts[nth].iter().zip(&found[nth]).zip(&wanted[nth]) {
                assert_eq!(found, wanted, "step {}: `{text}`", step.id);
            }
        }
        let all = wanted.concat();
        assert!(["none", "odd", "good", "bad"].iter().all(|w| all.iter().any(|v| v == w)));
    }
}

/// The pages of a PDF as text.
fn pages(pdf: &[u8]) -> Option<Vec<String>> {
    if !starts("pdftotext", "-v") {
        leave_out("printed pages, because pdftotext (poppler-utils) is not installed");
        return None;
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("pack.pdf");
    std::fs::write(&path, pdf).unwrap();
    let output =
        Command::new("pdftotext").args(["-layout", "-enc", "UTF-8"]).arg(&path).arg("-").output().unwrap();
    assert!(output.status.success());
    let text = String::from_utf8(output.stdout).unwrap();
    Some(text.trim_end_matches('\x0c').split('\x0c').map(str::to_owned).collect())
}

/// Steps whose first and last line stand on different pages. `lines` has them for every step.
fn split(pages: &[String], lines: &[[String; 2]]) -> Vec<String> {
    let flat: Vec<String> =
        pages.iter().map(|p| p.split_whitespace().collect::<Vec<_>>().join(" ")).collect();
    let on = |text: &str| flat.iter().position(|page| page.contains(text));
    let mut wrong = Vec::new();
    for [first, last] in lines {
        let (begins, ends) = (on(first), on(last));
        if begins.is_none() || begins != ends {
            wrong.push(format!("{first}: {begins:?} to {ends:?}"));
        }
    }
    wrong
}

/// What is ticked as done stays ticked, with a word of warning, until it is cleared.
#[test]
fn ticks_are_kept_over_a_reload_and_cleared_on_request() {
    const TICKED: &str =
        "[...document.querySelectorAll('li input[type=checkbox]')].map(box => box.checked ? 1 : 0).join('')";
    const SAYS: &str = "document.getElementById('says').textContent";
    let Some(mut browser) = Browser::start() else { return };
    let (_folder, path) = pack(&sprayer(), &SWEEP);
    let mut page = browser.open(&path);
    page.value("for (const at of [0, 2]) document.querySelectorAll('.do input')[at].click(); null");
    let ticked = page.text(TICKED);
    assert_eq!(ticked.matches('1').count(), 2, "{ticked}");
    page.reload();
    assert_eq!(page.text(TICKED), ticked);
    assert!(page.text(SAYS).contains("make sure that the machine still stands so"));
    page.value("window.confirm = () => true; document.getElementById('clear').click(); null");
    assert!(!page.text(TICKED).contains('1'));
    page.reload();
    assert!(!page.text(TICKED).contains('1'));
    assert_eq!(page.text(SAYS), "");
}

/// Readings with straps come out with their straps, so that they are judged as what they were.
#[test]
fn a_pack_with_straps_makes_a_record_that_says_so() {
    let Some(mut browser) = Browser::start() else { return };
    let (folder, path) = pack(&sprayer(), &[&SWEEP[..], &["--aids", "straps"]].concat());
    let harness = support::harness(SPRAYER);
    let parted =
        ["P1", "P2", "P3"].map(|id| harness.connectors[harness.names.connector(id).unwrap()].mating.unwrap());
    let scope = Scope { unplug: parted.into_iter().collect(), circuit: None };
    let aids = Aids::parse(["straps"]).unwrap();
    let plan = plan_with(&harness, &Netlist::new(&harness), &scope, Meter::HANDHELD, aids).unwrap();
    let mut page = browser.open(&path);
    page.value("document.getElementById('v-1').focus()");
    for step in plan.steps() {
        page.write(&healthy(step));
        page.press("Enter");
    }
    let record = save(&mut page, folder.path());
    assert!(record.contains("strapped = [[\""), "{record}");
    assert_eq!(record.matches("[[reading]]").count(), plan.steps().count());
    let (code, answer) = locate(&record);
    assert_eq!((code, &answer["verdict"]), (Some(0), &json!("healthy")), "{answer}");
}

/// Reasons stand in the steps where they are asked for, and nowhere else; a thorough complaint asks for no less.
#[test]
fn reasons_and_thoroughness_on_request() {
    let steps = |html: &str| html.matches("<div class=\"step\"").count();
    let reasons = |html: &str| html.matches("<p class=\"why limits\">Limits. ").count();
    let made = |arguments: &[&str]| {
        let (_folder, path) = pack(&sprayer(), arguments);
        std::fs::read_to_string(path).unwrap()
    };
    let (plain, why) = (made(&SWEEP), made(&[&SWEEP[..], &["--why"]].concat()));
    assert_eq!((reasons(&plain), steps(&plain)), (0, sweep().steps().count()));
    assert_eq!(reasons(&why), steps(&why));
    let (usual, thorough) = (made(&["--complaint", "M1"]), made(&["--complaint", "M1", "--thorough"]));
    assert!(steps(&thorough) >= steps(&usual));
    for wrong in [["--aids", "glue"], ["--thorough", "--why"]] {
        let output = ringout(&[&["pack", &sprayer()], &wrong[..]].concat());
        assert_eq!(output.status.code(), Some(2), "{wrong:?}");
    }
}

/// The page of pin maps names its style by hash, and the browser takes it.
#[test]
fn the_policy_of_the_pin_maps_lets_their_own_style_through_and_no_other() {
    let Some(mut browser) = Browser::start() else { return };
    let html = ringout(&["pins", &sprayer(), "P1", "--format", "html"]).stdout;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("pins.html");
    std::fs::write(&path, &html).unwrap();
    assert!(!String::from_utf8_lossy(&html).contains("unsafe"));
    let mut page = browser.open(&path);
    let found = page.value(
        "(() => {
           const style = document.createElement('style'); style.textContent = 'h1{font-size:77px}'; document.head.append(style);
           const of = what => getComputedStyle(document.querySelector(what));
           return [of('h2').borderTopWidth, of('table').borderCollapse, of('svg .thin').stroke !== 'none', of('h1').fontSize === '77px'];
         })()",
    );
    assert_eq!(found, json!(["2px", "collapse", true, false]));
}

#[test]
fn prints_clean_on_both_papers() {
    let Some(mut browser) = Browser::start() else { return };
    for (arguments, least) in [(&SWEEP[..], 14), (&["--complaint", "M1"], 18)] {
        let (_folder, path) = pack(&sprayer(), &[arguments, &["--date", "4 May 2026"]].concat());
        let mut page = browser.open(&path);
        page.value("document.getElementById('v-1').focus()");
        page.write("0");
        // What opens a step, and the last words in it, each with the step's number so that it is met once.
        let script = "[...document.querySelectorAll('.step')].map(step => {
            const flat = text => text.replace(/\\s+/g, ' ').trim();
            const id = flat(step.querySelector('h4').textContent).split(' ')[0];
            const end = document.createElement('p'); end.textContent = `·${id}·`; step.append(end);
            return [flat(step.querySelector('.where').textContent).split(' · ')[0] + ' ·', `·${id}·`]; })";
        let lines: Vec<[String; 2]> = serde_json::from_value(page.value(script)).unwrap();
        for (width, height) in [(8.27, 11.69), (8.5, 11.0)] {
            let pdf = page.print(width, height);
            let Some(pages) = pages(&pdf) else { return };
            let count = pages.len();
            assert!((least..200).contains(&count), "{count}");
            let hash = support::harness(SPRAYER).short_hash().to_owned();
            for (nth, text) in pages.iter().enumerate() {
                let (top, bottom) =
                    (text.trim_start().lines().next().unwrap_or_default(), text.trim_end().lines().last());
                assert!(
                    top.starts_with("OSP-4 · revision C") && top.trim_end().ends_with(&hash),
                    "page {}: {top}",
                    nth + 1
                );
                let number = format!("page {} of {count}", nth + 1);
                assert_eq!(bottom.unwrap_or_default().trim(), number);
                assert!(text.split_whitespace().count() > 20, "page {} is as good as empty: {text}", nth + 1);
            }
            assert!(pages[0].contains("4 May 2026") && pages[0].contains("Cautions"));
            assert_eq!(split(&pages, &lines), Vec::<String>::new(), "{width} in");
        }
        // What the check is worth: steps that may be split are found split.
        page.value(
            "{ const sheet = new CSSStyleSheet(); sheet.replaceSync('@media print{.step,.step *{break-inside:auto!important}}');
               document.adoptedStyleSheets = [sheet]; null }",
        );
        let Some(pages) = pages(&page.print(8.27, 11.69)) else { return };
        assert!(!split(&pages, &lines).is_empty());
    }
}

/// The least contrast of what can be read, with the text; and texts that the colours of their verdict alone would tell.
const CONTRAST: &str = r"(() => {
  const rgb = text => { const n = text.match(/[\d.]+/g).map(Number); return [n[0], n[1], n[2], n[3] ?? 1]; };
  const light = c => { const p = v => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
    return 0.2126 * p(c[0]) + 0.7152 * p(c[1]) + 0.0722 * p(c[2]); };
  const ground = node => { for (; node; node = node.parentElement) {
    const c = rgb(getComputedStyle(node).backgroundColor); if (c[3] > 0) return c; }
    return matchMedia('print').matches || !matchMedia('(prefers-color-scheme:dark)').matches ? [255, 255, 255, 1] : [0, 0, 0, 1]; };
  let least = [99, ''];
  let seen = 0;
  for (const node of document.querySelectorAll('body :not(script):not(style):not(svg):not(svg *)')) {
    const own = [...node.childNodes].some(n => n.nodeType === 3 && n.textContent.trim()) || node.tagName === 'INPUT';
    if (!own || !node.checkVisibility({ visibilityProperty: true })) continue;
    seen++;
    const [a, b] = [light(rgb(getComputedStyle(node).color)), light(ground(node))];
    const c = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (c < least[0]) least = [Math.round(c * 100) / 100, node.textContent.trim().slice(0, 60)];
  }
  return [...least, seen];
})()";

#[test]
fn letters_stand_out_and_colour_tells_nothing_alone() {
    let Some(mut browser) = Browser::start() else { return };
    let (_folder, path) = pack(&sprayer(), &["--complaint", "M1", "--sections", "plan,wires"]);
    let mut page = browser.open(&path);
    page.value("document.getElementById('whole').click()");
    for (box_, text) in [(1, "25 V"), (2, "0.0 V"), (3, "0")] {
        page.value(&format!("document.getElementById('v-{box_}').focus()"));
        page.write(text);
    }
    let verdicts =
        page.value("[1, 2, 3].map(n => document.getElementById(`o-${n}`).textContent.slice(0, 6))");
    assert_eq!(verdicts, json!(["✓ good", "✗ BAD:", "? not "]));
    for whole in [false, true] {
        page.value(&format!("{{ const w = document.getElementById('whole'); w.checked = {whole}; w.dispatchEvent(new Event('change')); null }}"));
        for (media, scheme) in
            [("screen", "light"), ("screen", "dark"), ("print", "light"), ("print", "dark")]
        {
            page.look(media, scheme);
            let found = page.value(CONTRAST);
            assert!(found[0].as_f64().unwrap() >= 4.5, "{media} {scheme}: {found}");
            assert!(found[2].as_u64().unwrap() > 150, "{found}");
        }
        page.look("screen", "light");
    }
    // What the measure is worth.
    page.value("{ document.querySelector('h1').style.color = '#999'; null }");
    assert!(page.value(CONTRAST)[0].as_f64().unwrap() < 4.5);
}

#[test]
fn works_on_a_telephone_and_by_keyboard_alone() {
    let Some(mut browser) = Browser::start() else { return };
    for arguments in [&SWEEP[..], &["--complaint", "M1"]] {
        let (_folder, path) = pack(&sprayer(), arguments);
        let mut page = browser.open(&path);
        page.size(390, 844);
        let wide = page.value("[document.scrollingElement.scrollWidth, ...[...document.querySelectorAll('.step *, .desk *, .cover *, .end *, .tree *')]
            .filter(n => !n.closest('svg svg, use') && n.getBoundingClientRect().right > 391).map(n => n.outerHTML.slice(0, 80)).slice(0, 5)]");
        assert_eq!(wide, json!([390]), "{wide}");
        // Everything that can be used has a name and is large enough for a finger, as WCAG 2.2, 2.5.8 asks: 24 pixels.
        let unnamed = page.value(
            "[...document.querySelectorAll('input, button, select, textarea')].filter(n => !n.labels?.length && !n.textContent.trim()
               && !n.getAttribute('aria-label')).map(n => n.outerHTML.slice(0, 80))",
        );
        assert_eq!(unnamed, json!([]));
        let small = page.value(
            "[...document.querySelectorAll('.step input, button, .button')].filter(n => n.checkVisibility() &&
               n.getBoundingClientRect().height < 24).map(n => n.outerHTML.slice(0, 80))",
        );
        assert_eq!(small, json!([]));
        page.press("Tab");
        assert_eq!(page.text("document.activeElement.className"), "skip");
        let place = page.value(
            "(({ left, top }) => left >= 0 && top >= 0)(document.activeElement.getBoundingClientRect())",
        );
        assert_eq!(place, json!(true), "the skip link shows itself when it has the focus");
        page.press("Enter");
        page.wait_for("location.hash === '#main'");
        // From there the tab key reaches the first box, the record's buttons on its way.
        let mut met = Vec::new();
        while met.last().is_none_or(|id| id != "v-1") {
            page.press("Tab");
            let id = page.text("document.activeElement.id || document.activeElement.tagName");
            let outline = page.text("getComputedStyle(document.activeElement).outlineStyle");
            assert!(outline != "none", "{id} shows no focus");
            met.push(id);
            assert!(met.len() < 120, "{met:?}");
        }
        for id in ["by", "save", "open", "clear"] {
            assert!(met.iter().any(|m| m == id), "{id}: {met:?}");
        }
        page.write("24.9 V");
        assert_eq!(page.text("document.getElementById('o-1').textContent"), "✓ good");
        page.press("Enter");
        assert_ne!(page.text("document.activeElement.id"), "v-1");
    }
}

#[test]
fn the_chart_folds_to_the_branch_that_is_taken() {
    let Some(mut browser) = Browser::start() else { return };
    let harness = support::harness(SPRAYER);
    let asked = complaint::Asked::parse(&harness, "M1").unwrap();
    let plan = complaint::complaint(&harness, &Netlist::new(&harness), &asked, Meter::HANDHELD).unwrap();
    let (_folder, path) = pack(&sprayer(), &["--complaint", "M1", "--sections", "plan"]);
    let mut page = browser.open(&path);
    let shown = |page: &mut Page<'_>, what: &str| {
        let script = format!(
            "[...document.querySelectorAll('{what}')].filter(n => n.checkVisibility()).map(n => n.id || n.textContent)"
        );
        serde_json::from_value::<Vec<String>>(page.value(&script)).unwrap()
    };
    // Whatever is shown, the steps that are open are those that the readings lead through.
    for pick in [0, 1, 2] {
        let mut way: Vec<String> = Vec::new();
        let mut at = plan.steps().next();
        let mut end = None;
        while let Some(step) = at {
            way.push(step.id.clone());
            assert_eq!(
                shown(&mut page, ".step"),
                way.iter().map(|id| format!("step-{}", id.replace('.', "-"))).collect::<Vec<_>>()
            );
            assert_eq!(shown(&mut page, ".end").len(), 0);
            let outcome = &step.outcomes[pick.min(step.outcomes.len() - 1)];
            let high = step.expect.high.unwrap_or(1e7);
            let value = match outcome.shown {
                complaint::Shown::Good => healthy(step),
                complaint::Shown::Low if step.expect.ohms => format!("{} ohm", step.expect.low / 2.0),
                complaint::Shown::Low => format!("{} V", step.expect.low - 1.0),
                complaint::Shown::High if step.expect.ohms => format!("{} ohm", high * 1.5),
                complaint::Shown::High => format!("{} V", high + 1.0),
                complaint::Shown::Open => "OL".to_owned(),
            };
            page.value(&format!(
                "document.querySelector('#step-{} input').select()",
                step.id.replace('.', "-")
            ));
            page.write(&value);
            let taken = shown(&mut page, &format!("#step-{} .outcomes li", step.id.replace('.', "-")));
            assert_eq!(taken.len(), 1, "{}: {value}: {taken:?}", step.id);
            at = match &outcome.next {
                complaint::Next::Step { id, .. } => plan.steps().find(|s| s.id == *id),
                complaint::Next::End(at) => {
                    end = Some(format!("end-{}", at + 1));
                    None
                }
            };
        }
        assert_eq!(shown(&mut page, ".end"), [end.unwrap()]);
        assert_eq!(
            shown(&mut page, ".tree li").len(),
            way.len() + 1,
            "one line for each reading, and the first"
        );
        page.value("document.getElementById('whole').click()");
        assert_eq!(shown(&mut page, ".step").len(), plan.steps().count());
        page.value("document.getElementById('whole').click()");
        page.value("{ window.confirm = () => true; document.getElementById('clear').click(); null }");
    }
}

/// Names that try to be something else: markup, quotes, control and direction marks, endless titles.
fn hostile() -> String {
    let tricks = [
        "</script><script>window.pwned=1</script>",
        "<img src=x onerror=window.pwned=1>",
        "\\\" onfocus=\\\"window.pwned=1\\\" autofocus x=\\\"",
        "]]>--><!-- &lt;script&gt; ${window.pwned=1} {{ 7 }}",
        "abc\\u202Edcba\\u2066x\\u200Fy\\u0007\\u001B[31m",
        "</style></template></svg><svg onload=window.pwned=1>",
    ];
    let long = "wide ".repeat(2000) + &"W".repeat(5000);
    let mut text = format!(
        "format = 1\n[harness]\nid = \"H-1\"\ntitle = \"{}{long}\"\nrevision = \"A\\\"}}</style><script>window.pwned=1</script>\"\n\
         [station.s1]\ntitle = \"{}\"\n[station.s2]\ntitle = \"{long}\"\n\
         [terminal.BT1]\ntitle = \"{}\"\nstation = \"s1\"\n[terminal.BT2]\nground = true\nstation = \"s1\"\n\
         [part.BAT1]\nkind = \"battery\"\nvolts = \"12 V\"\ninternal = \"10 mohm\"\nplus = \"BT1\"\nminus = \"BT2\"\n\
         title = \"{}\"\n[condition.c]\ntitle = \"{}\"\n",
        tricks[0], tricks[1], tricks[2], tricks[3], tricks[4],
    );
    for (nth, trick) in tricks.iter().enumerate() {
        text.push_str(&format!(
            "[connector.P{nth}]\ntitle = \"{trick}\"\nstation = \"s2\"\nface = \"rect-4\"\nmate = \"J{nth}\"\n\
             [connector.P{nth}.pin.1]\nsignal = \"{trick}\"\n[connector.P{nth}.pin.2]\nsignal = \"{long}\"\n\
             [connector.J{nth}]\nface = \"rect-4\"\nstation = \"s2\"\ntitle = \"{long}\"\n\
             [[wire]]\nid = \"{nth}A\"\nfrom = \"BT1\"\nto = \"P{nth}.1\"\ncircuit = \"{trick}\"\nlength = \"2 m\"\n\
             [[wire]]\nid = \"{nth}B\"\nfrom = \"P{nth}.2\"\nto = \"BT2\"\ncircuit = \"{trick}\"\n\
             [part.M{nth}]\nkind = \"motor\"\nbetween = [\"J{nth}.1\", \"J{nth}.2\"]\nohms = \"3 ohm\"\ntitle = \"{trick}\"\n"
        ));
    }
    text
}

#[test]
fn hostile_names_stay_text_and_the_page_works() {
    let Some(mut browser) = Browser::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let definition = folder.path().join("hostile.def");
    std::fs::write(&definition, hostile()).unwrap();
    let definition = definition.display().to_string();
    let trick = "<b onclick=window.pwned=1>\u{202e}today</b>";
    for arguments in [
        &["--date", trick][..],
        &["--complaint", "M0", "--date", trick],
        &["--circuit", "<img src=x onerror=window.pwned=1>"],
    ] {
        let (out, path) = pack(&definition, arguments);
        let html = std::fs::read_to_string(&path).unwrap();
        assert!(html.len() < 3_000_000, "{}", html.len());
        let hidden = |c: char| {
            (c.is_control() && c != '\n')
                || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{200f}')
        };
        assert_eq!(html.chars().find(|c| hidden(*c)), None);
        let mut page = browser.open(&path);
        let tags = page.value(
            "[...new Set([...document.querySelectorAll('*')].map(n => n.tagName.toLowerCase()))].sort()",
        );
        let known = "a b body br button code dd desc details div dl dt figcaption figure footer g h1 h2 h3 h4 head header html input label \
                     li main meta nav noscript ol output p progress rect circle path script section span style summary svg symbol table tbody \
                     td text th thead title tr ul use";
        let known: Vec<&str> = known.split_whitespace().collect();
        for tag in tags.as_array().unwrap() {
            assert!(known.contains(&tag.as_str().unwrap()), "{tag}");
        }
        let scripts = page.value("[document.scripts.length, document.querySelectorAll('style').length,
            [...document.querySelectorAll('*')].flatMap(n => [...n.attributes]).filter(a => /^on|^style$|^src/i.test(a.name)).length]");
        assert_eq!(scripts, json!([2, 1, 0]));
        page.value("document.getElementById('v-1').focus()");
        page.write("12.5 V");
        let verdict = page.text("document.getElementById('o-1').textContent");
        assert!(verdict.starts_with('✓') || verdict.starts_with('✗'), "{verdict}");
        let record = save(&mut page, out.path());
        let record_path = out.path().join("record");
        std::fs::write(&record_path, record).unwrap();
        let located = ringout(&["locate", &definition, &record_path.display().to_string()]);
        assert!(located.status.code() != Some(2), "{}", String::from_utf8_lossy(&located.stderr));
        page.look("print", "light");
        assert_eq!(page.value("'pwned' in window"), json!(false));
        if let Some(pages) = pages(&page.print(8.27, 11.69)) {
            assert!(
                pages.iter().all(|p| p.trim_start().starts_with("H-1 · revision A\"}</style><script>")),
                "{}",
                pages[0]
            );
        }
    }
}

/// Nothing runs but the page's own script, and nothing is fetched.
#[test]
fn the_policy_holds() {
    let Some(mut browser) = Browser::start() else { return };
    let (_folder, path) = pack(&sprayer(), &SWEEP);
    let html = std::fs::read_to_string(&path).unwrap();
    let policy = html
        .split("http-equiv=\"Content-Security-Policy\" content=\"")
        .nth(1)
        .unwrap()
        .split('"')
        .next()
        .unwrap();
    assert!(!policy.contains("unsafe"), "{policy}");
    let outside = html.replace("http://www.w3.org/2000/svg", "");
    assert!(!outside.contains("http://") && !outside.contains("https://") && !outside.contains("url("));
    let mut page = browser.open(&path);
    let found = page.value(
        "(async () => {
           const refused = [];
           document.addEventListener('securitypolicyviolation', event => refused.push(event.effectiveDirective));
           const script = document.createElement('script'); script.textContent = 'window.pwned = 1'; document.body.append(script);
           const style = document.createElement('style'); style.textContent = 'h1{color:red}'; document.head.append(style);
           const image = new Image(); image.src = 'data:image/gif;base64,R0lGODlhAQABAAAAACw='; document.body.append(image);
           const fetched = await fetch('data:text/plain,x').then(() => 'fetched', () => 'refused');
           await new Promise(done => setTimeout(done, 200));
           return ['pwned' in window, fetched, [...new Set(refused)].sort(), performance.getEntriesByType('resource').filter(e => !e.name.startsWith('data:')).length];
         })()",
    );
    assert_eq!(
        found,
        json!([false, "refused", ["connect-src", "img-src", "script-src-elem", "style-src-elem"], 0])
    );
}

#[test]
fn faces_are_drawn_once_and_the_probed_pins_are_marked() {
    let Some(mut browser) = Browser::start() else { return };
    let (_folder, path) = pack(&sprayer(), &SWEEP);
    let mut page = browser.open(&path);
    let ids = page.value(
        "(ids => [ids.length, new Set(ids).size])([...document.querySelectorAll('[id]')].map(n => n.id))",
    );
    assert_eq!(ids[0], ids[1], "an id stands twice");
    let lost = page.value("[...document.querySelectorAll('use')].filter(n => !document.querySelector(n.getAttribute('href'))).length");
    assert_eq!(lost, json!(0));
    // 2.03 reads P1.K, which is a socket of an open plug, against a stud.
    let caption = page.text("document.querySelector('#step-2-03 figcaption').textContent");
    assert_eq!(caption, "P1, mating side: R P1.K");
    page.value("{ document.querySelector('#step-2-03 details').open = true; null }");
    page.wait_for("document.querySelector('#step-2-03 details svg') !== null");
    // Both marks lie on the contact that the pin map calls K.
    let found = page.value(
        "(() => {
           const step = document.querySelector('#step-2-03');
           const middle = node => { const b = node.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]; };
           return [...step.querySelectorAll('svg')].map(svg => {
             const face = svg.querySelector('use').getAttribute('href');
             const mark = svg.querySelectorAll('use')[1];
             const [x, y] = [Number(mark.getAttribute('x')) + 24, Number(mark.getAttribute('y')) + 24];
             const signs = [...document.querySelector(face).querySelectorAll('use[href^=\"#sign-\"]')];
             const under = signs.filter(c => Math.hypot(c.x.baseVal.value - x, c.y.baseVal.value - y) < 0.2);
             return under.length;
           });
         })()",
    );
    assert_eq!(found, json!([1, 1]));
}

/// The least size of printed letters in points, with the letters; the two sides of each connector that are not drawn
/// equally large; and how many texts of drawings were measured. In print one CSS pixel is three quarters of a point.
const PRINTED: &str = r"(() => {
  let least = [99, ''];
  let seen = 0;
  const note = (size, text) => { if (size < least[0]) least = [Math.round(size * 100) / 100, text]; };
  for (const svg of document.querySelectorAll('main svg.ringout-drawing:not(#layout svg)')) {
    const box = svg.getBoundingClientRect();
    if (!box.width) continue;
    const scale = box.width / svg.viewBox.baseVal.width;
    const parts = [svg, ...[...svg.querySelectorAll('use')].map(use => document.querySelector(use.getAttribute('href')))];
    for (const text of parts.flatMap(part => [...part.querySelectorAll('text')])) {
      // In a mark's badge the letter only repeats what its caption says.
      if (text.closest('[id^=mark-]')) continue;
      seen++;
      note(parseFloat(getComputedStyle(text).fontSize) * scale * 0.75, text.textContent);
    }
  }
  for (const node of document.querySelectorAll('main :is(td, th, p, li, dt, dd, b, span, figcaption, h3, h4)'))
    if (node.checkVisibility() && node.textContent.trim()) note(parseFloat(getComputedStyle(node).fontSize) * 0.75, node.textContent.slice(0, 40));
  const uneven = [...document.querySelectorAll('.connector')].filter(connector => {
    const sides = [...connector.querySelectorAll('.faces svg')];
    if (sides.length < 2) return false;
    const plates = sides.map(svg => {
      const plate = document.querySelector(svg.querySelector('use').getAttribute('href')).querySelector('.plate');
      const shown = plate.matches('g') ? plate.firstElementChild : plate;
      return shown.getBBox().width * svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
    });
    return Math.abs(plates[0] - plates[1]) > 0.5;
  }).map(connector => connector.querySelector('h3').textContent);
  return [...least, seen, uneven];
})()";

/// A machine with one connector of every built-in arrangement, both halves in turn.
fn every_face() -> String {
    let mut text = "format = 1\n[harness]\nid = \"F-1\"\nrevision = \"A\"\n[splice.SP1]\n".to_owned();
    for (nth, name) in ringout::definition::face::builtin_names().enumerate() {
        let half = if nth % 2 == 0 { "pin" } else { "socket" };
        text.push_str(&format!("[connector.C{nth}]\nface = \"{name}\"\ncontact = \"{half}\"\n"));
        let face = ringout::definition::face::builtin(name).unwrap();
        for (at, contact) in face.names().enumerate().filter(|(at, _)| at % 3 != 2) {
            text.push_str(&format!(
                "[[wire]]\nid = \"{nth}W{at}\"\nfrom = \"C{nth}.{contact}\"\nto = \"SP1\"\ngauge = \"1.5 mm2\"\n\
                 colour = \"RD/WH\"\nlength = \"2 m\"\n"
            ));
        }
    }
    text
}

/// Seven points is what the project asks of letters that must be read (common practice, no source).
#[test]
fn printed_letters_can_be_read_and_both_sides_are_equally_large() {
    let Some(mut browser) = Browser::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let faces = folder.path().join("faces.def");
    std::fs::write(&faces, every_face()).unwrap();
    let faces = faces.display().to_string();
    let sprayer = sprayer();
    let cases = [(&sprayer, &SWEEP[..], 800), (&faces, &["--sections", "pins"][..], 2000)];
    for (definition, arguments, many) in cases {
        let (_folder, path) = pack(definition, arguments);
        let mut page = browser.open(&path);
        page.look("print", "light");
        // The room between the margins of upright A4 and Letter, in CSS pixels.
        for width in [695, 718] {
            page.size(width, 1000);
            let found = page.value(PRINTED);
            // The layout has a page on its side, which a screen has not.
            assert!(found[0].as_f64().unwrap() >= 7.0, "{width}: {found}");
            assert!(found[2].as_u64().unwrap() > many, "{found}");
            assert_eq!(found[3], json!([]));
        }
        // What the measure is worth.
        page.value(
            "{ const sheet = new CSSStyleSheet();
               sheet.replaceSync('.faces svg{max-width:25%!important}.faces svg:first-child{max-width:20%!important}');
               document.adoptedStyleSheets = [sheet]; null }",
        );
        let found = page.value(PRINTED);
        assert!(found[0].as_f64().unwrap() < 6.0 && found[3] != json!([]), "{found}");
    }
}

/// A machine of about a thousand wires: small enough to be mailed.
#[test]
fn a_large_machine_makes_a_page_that_can_be_mailed() {
    let folder = tempfile::tempdir().unwrap();
    let definition = folder.path().join("large.def");
    std::fs::write(&definition, machine::large(1000)).unwrap();
    let (_out, path) = pack(&definition.display().to_string(), &[]);
    let size = std::fs::metadata(&path).unwrap().len();
    let wires = machine::large(1000).matches("[[wire]]").count() as u64;
    assert!(wires >= 1000);
    // Half of what such packs took before drawings were written tersely.
    assert!(size < 4_880_000, "{size} bytes for {wires} wires");
    let (_out, path) = pack(&definition.display().to_string(), &["--sections", "wires"]);
    let text = std::fs::read_to_string(&path).unwrap();
    assert!(
        text.len() < 600_000 && text.contains("<h2>Cautions</h2>") && !text.contains("<h2>Plan</h2>"),
        "{}",
        text.len()
    );
}

/// Pictures to look at, on request: `RINGOUT_PICTURES=folder`.
#[test]
fn pictures_for_eyes() {
    let Some(into) = std::env::var_os("RINGOUT_PICTURES").map(PathBuf::from) else { return };
    let Some(mut browser) = Browser::start() else { return };
    for (name, arguments) in [("sweep", &SWEEP[..]), ("complaint", &["--complaint", "M1"])] {
        let (_folder, path) = pack(&sprayer(), arguments);
        let mut page = browser.open(&path);
        for (nth, text) in [(1, "25 V"), (2, "OL"), (3, "0")] {
            page.value(&format!("document.getElementById('v-{nth}').focus()"));
            page.write(text);
        }
        page.value(
            "{ document.querySelectorAll('.step details').forEach((d, at) => { d.open = at === 2; }); null }",
        );
        for (width, height) in [(390, 844), (1200, 900)] {
            page.size(width, height);
            for scheme in ["light", "dark"] {
                page.look("screen", scheme);
                for anchor in ["", "main", "plan", "phase-2", "pins", "strips", "layout"] {
                    page.value(&format!(
                        "document.getElementById('{anchor}')?.scrollIntoView() ?? scrollTo(0, 0)"
                    ));
                    let shot = page.screenshot();
                    std::fs::write(into.join(format!("{name}-{width}-{scheme}-{anchor}.png")), shot).unwrap();
                }
            }
        }
        page.look("print", "dark");
        std::fs::write(into.join(format!("{name}.pdf")), page.print(8.27, 11.69)).unwrap();
    }
}
