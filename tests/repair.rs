//! Repairs as edits of the definition: what is written is sound, comments survive, what cannot be is refused, and the
//! usual rules for splices are named with their sources.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

#[path = "support/machine.rs"]
mod machine;
#[path = "support/mod.rs"]
#[allow(dead_code, reason = "paths of definitions are not used here")]
mod support;

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use machine::Rng;
use ringout::definition::{ContactId, Harness, Id, Loaded, Point, WireId, load};
use ringout::repair::{self, Edited, NewWire, RepairError, Work};
use ringout::units::{Gauge, Metres, SquareMillimetres};

/// The sprayer's files in a folder of their own.
struct Workshop {
    folder: tempfile::TempDir,
}

impl Workshop {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("harnesses");
        std::fs::create_dir(folder.path().join("orchard-sprayer")).unwrap();
        for name in [
            "orchard-sprayer.toml",
            "orchard-sprayer/supply.toml",
            "orchard-sprayer/cab.toml",
            "orchard-sprayer/deck.toml",
        ] {
            std::fs::copy(from.join(name), folder.path().join(name)).unwrap();
        }
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn text(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).unwrap()
    }

    fn run(&self, line: &str) -> Output {
        // Values with blanks are written with an underscore here.
        let words = line.split(' ').map(|word| word.replace('_', " "));
        Command::new(env!("CARGO_BIN_EXE_ringout"))
            .args(words)
            .current_dir(self.folder.path())
            .output()
            .unwrap()
    }

    /// Runs what must succeed; gives its standard output.
    fn done(&self, line: &str) -> String {
        let output = self.run(line);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(0), "{line}: {said}");
        String::from_utf8(output.stdout).unwrap()
    }

    /// Runs what must be refused; gives why.
    fn refused(&self, line: &str) -> String {
        let before = names(self.folder.path());
        let output = self.run(line);
        assert_eq!(output.status.code(), Some(2), "{line}: {}", String::from_utf8_lossy(&output.stdout));
        assert_eq!(names(self.folder.path()), before, "{line}: something was written");
        String::from_utf8(output.stderr).unwrap()
    }
}

/// Everything in a folder but locks.
fn names(folder: &Path) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let entry = entry.unwrap();
        let name = entry.file_name().to_string_lossy().into_owned();
        if entry.path().is_dir() {
            all.extend(names(&entry.path()).into_iter().map(|inner| format!("{name}/{inner}")));
        } else if entry.path().extension().is_none_or(|end| end != "lock") {
            all.push(name);
        }
    }
    all.sort();
    all
}

const AT: &str = "--at 2026-05-12T10:30:00Z --by RK";

#[test]
fn a_splice_goes_into_the_file_that_holds_the_wire() {
    let shop = Workshop::new();
    let old = ["orchard-sprayer.toml", "orchard-sprayer/deck.toml"].map(|name| shop.text(name));
    shop.done(&format!("repair orchard-sprayer.toml splice 31C --from P1.K --distance 100_mm --sealed {AT}"));
    assert_eq!(["orchard-sprayer.toml", "orchard-sprayer/deck.toml"].map(|name| shop.text(name)), old);
    let deck = shop.text("orchard-sprayer/deck-rev-D.toml");
    let piece = "to = \"SP12\"\ngauge = \"1 mm2\"\nampacity = \"13 A\"\ncolour = \"YE\"\nlength = \"0.3 m\"\n\n[splice.SP12]\n\
                 title = \"Repair splice in wire 31C\"\nstation = \"deck\"\n\n[[wire]]\nid = \"31F\"\nfrom = \"SP12\"\n\
                 to = \"P1.K\"\ngauge = \"1 mm2\"\ncolour = \"YE\"\nampacity = \"13 A\"\nlength = \"0.1 m\"\n";
    assert!(deck.contains(piece), "{deck}");
    // All that is not the repair is as it was, byte for byte.
    let kept = "to = \"P1.K\"\ngauge = \"1 mm2\"\nampacity = \"13 A\"\ncolour = \"YE\"\nlength = \"0.4 m\"\n";
    assert_eq!(deck.replace(piece, kept), old[1]);
    let top = shop.text("orchard-sprayer-rev-D.toml");
    let back = top.replace("revision = \"D\"", "revision = \"C\"").replace("deck-rev-D.toml", "deck.toml");
    assert_eq!(back, old[0]);
    shop.done("check orchard-sprayer-rev-D.toml --strict");
    let log = shop.text("orchard-sprayer-repairs.toml");
    assert!(
        log.contains("id = \"REP1\"\nat = 2026-05-12T10:30:00Z\nby = \"RK\"\nkind = \"splice\""),
        "{log}"
    );
    // The next repair begins where this one ended.
    shop.done(&format!("repair orchard-sprayer-rev-D.toml re-terminate 31F P1.K --length 90_mm {AT}"));
    assert!(shop.text("orchard-sprayer/deck-rev-E.toml").contains("length = \"90 mm\""));
    assert!(shop.text("orchard-sprayer-repairs.toml").contains("id = \"REP2\""));
}

#[test]
fn every_kind_makes_a_sound_revision() {
    for kind in [
        "replace-wire 31C --gauge 1.5_mm2 --colour RD --length 0.5_m",
        "splice 31B --distance 1.2_m --sealed",
        "re-terminate 31C SP3",
        "replace-contact P1.K",
        "re-seat J1.K",
        "replace-connector P1",
        "re-pin P1.A P1.K",
        "replace-part F5",
        "replace-part K1",
        "replace-part BOX1",
    ] {
        let shop = Workshop::new();
        let line = format!("repair orchard-sprayer.toml {kind} {AT}");
        let said = shop.done(&line);
        assert!(said.contains("(revision C to D)"), "{line}: {said}");
        shop.done("check orchard-sprayer-rev-D.toml");
        assert!(shop.text("orchard-sprayer-rev-D.toml").contains("revision = \"D\""));
    }
}

#[test]
fn a_move_takes_both_halves_and_leaves_the_old_cavity_spare() {
    let text = "format = 1\nharness = { id = \"L\", revision = \"3\" }\n\
        [connector.X1]\nface = \"rect-4\"\nmate = \"X2\"\n[connector.X1.pin.1]\nsignal = \"Feed\" # keep me\n\
        [connector.X1.pin.2]\nspare = true # and me\n[connector.X1.pin.3]\nspare = true\n[connector.X1.pin.4]\nspare = true\n\
        [connector.X2]\nface = \"rect-4\"\n[connector.X2.pin.2]\nspare = true\n[connector.X2.pin.3]\nspare = true\n[connector.X2.pin.4]\nspare = true\n\
        [terminal.T1]\n[terminal.T2]\n\
        [[wire]]\nid = \"1A\"\nfrom = \"T1\"\nto = \"X1.1\"\nlength = \"1 m\"\n[[wire]]\nid = \"1B\"\nfrom = \"X2.1\"\nto = \"T2\"\nlength = \"1 m\"\n";
    let loaded = read(text);
    let work = Work::Move { from: contact(&loaded.harness, "X1.1"), to: contact(&loaded.harness, "X1.2") };
    let edited = applied(&loaded, &work).unwrap();
    assert_eq!(edited.revision, "4");
    let new = &edited.files[0].text;
    for part in [
        "[connector.X1.pin.1]\nspare = true # keep me\n",
        "[connector.X1.pin.2]\nspare = false # and me\nsignal = \"Feed\"\n",
        "to = \"X1.2\"",
        "from = \"X2.2\"",
        "[connector.X2.pin.1]\nspare = true",
    ] {
        assert!(new.contains(part), "{part} is not in\n{new}");
    }
    let harness = read(new).harness;
    let ends: Vec<String> =
        harness.wires.values().flat_map(|wire| wire.ends).map(|p| harness.point_name(p)).collect();
    assert_eq!(ends, ["T1", "X1.2", "X2.2", "T2"]);
    assert_eq!(edited.touched.wires, ["1A", "1B"]);
}

#[test]
fn what_cannot_be_is_refused_in_words() {
    let shop = Workshop::new();
    for (kind, why) in [
        ("replace-wire 31Q", "no wire is called `31Q`: did you mean `31"),
        (
            "splice 31C --distance 0.4_m",
            "wire 31C is 400 mm long: a splice 400 mm from an end does not lie on it",
        ),
        ("splice 31C --distance 9_m", "does not lie on it"),
        ("splice 31C --distance 0.1", "needs a unit"),
        (
            "splice 31C --distance 0.1_m --from P1.A",
            "wire 31C does not end at P1.A: its ends are SP3 and P1.K",
        ),
        ("splice 31C --distance 0.1_m --id SP3", "`SP3` is the name of a splice already"),
        ("splice 31C --distance 0.1_m --station moon", "no station is called `moon`"),
        ("splice 31C --distance 0.1_m --id a.b", "`a.b` is no id"),
        ("move P1.K P1.A", "is not spare"),
        ("move P1.K P2.1", "are not two cavities of one connector"),
        ("re-pin P1.K P1.K", "name two of its contacts"),
        ("replace-contact SP3", "SP3 is no contact of a connector"),
        ("replace-part Q9", "no part is called `Q9`"),
        ("replace-connector P99", "no connector is called `P99`"),
        ("re-terminate 31C P1.K --length 0_m", "more than nothing"),
        ("re-seat P1.K --revision C", "the new revision needs a name of its own"),
        ("re-seat P1.K -o elsewhere/x.toml", "is in another folder"),
        ("re-seat P1.K --record nowhere.toml", "cannot read nowhere.toml"),
        ("re-seat P1.K --at yesterday", "`yesterday` is not a time"),
        ("undo", "has no repair that made this definition"),
    ] {
        let said = shop.refused(&format!("repair orchard-sprayer.toml {kind}"));
        assert!(said.contains(why), "{kind}: {said}");
    }
}

#[test]
fn a_cavity_of_a_unit_is_not_changed_from_outside() {
    let harness = support::harness("orchard-sprayer.toml");
    let spare = harness
        .contacts_of(harness.names.connector("P1").unwrap())
        .find(|id| harness.wires_at(Point::Contact(*id)).len() == 0);
    let spare = harness.point_name(Point::Contact(spare.unwrap()));
    let said = Workshop::new().refused(&format!("repair orchard-sprayer.toml move P1.K {spare}"));
    assert!(said.contains("J1 sits on unit BOX1, which expects it at K"), "{said}");
}

/// Wire ranges of crimp contacts are from memory (AS39029): size 20 takes 20 to 24 AWG.
#[test]
fn a_wire_that_does_not_fit_its_contact_is_refused() {
    let text = "format = 1\nharness = { id = \"L\", revision = \"A\" }\nconnector.X1 = { contacts = 1, contact_size = \"20\" }\n\
        connector.X2 = { contacts = 1 }\nwire = [{ id = \"1A\", from = \"X1.1\", to = \"X2.1\", gauge = \"22 AWG\" }]\n";
    let loaded = read(text);
    let gauge = |text: &str| NewWire { gauge: Some(Gauge::parse(text).unwrap()), ..NewWire::default() };
    let replaced =
        |text| applied(&loaded, &Work::ReplaceWire { wire: WireId::from_index(0), new: gauge(text) });
    for fits in ["20 AWG", "24 AWG", "0.5 mm2", "0.25 mm2"] {
        assert!(replaced(fits).is_ok(), "{fits}");
    }
    for wrong in ["18 AWG", "26 AWG", "1 mm2"] {
        let error = replaced(wrong).unwrap_err().to_string();
        assert!(error.contains("contact X1.1 of size 20 takes 20 to 24 AWG"), "{error}");
    }
}

/// A lead with a wire that has a splice, a marked one, and trunks.
const RULED: &str = r#"
format = 1
harness = { id = "L", revision = "H" }
[station.a]
[station.b]
[trunk.T1]
between = ["a", "b"]
length = "4 m"
[connector.X1]
contacts = 4
station = "a"
[connector.X2]
contacts = 4
station = "b"
[splice.SP1]
[[wire]]
id = "1A"
from = "X1.1"
to = "SP1"
gauge = "1 mm2"
length = "2 m"
route = ["T1"]
[[wire]]
id = "1B"
from = "SP1"
to = "X2.1"
gauge = "1 mm2"
length = "2 m"
route = ["T1"]
[[wire]]
id = "2A"
from = "X1.2"
to = "X2.2"
gauge = "1 mm2"
length = "4 m"
route = ["T1"]
[[wire]]
id = "3A"
from = "X1.3"
to = "X2.3"
length = "4 m"
hazard = "firing circuit"
"#;

/// Each rule fires on what breaks it and not beside it; its source is named.
#[test]
fn the_rules_for_splices() {
    let loaded = read(RULED);
    let splice = |wire: &str, at: f64, new: NewWire| Work::Splice {
        wire: wire_of(&loaded.harness, wire),
        from: 0,
        at: Metres::new(at),
        id: None,
        station: None,
        new,
    };
    let rules = |work: &Work, sealed| -> Vec<(&'static str, &'static str)> {
        let edited = repair::apply(&loaded, work, (None, None), (sealed, false)).unwrap();
        edited.findings.iter().map(|finding| (finding.rule, finding.source)).collect()
    };
    let plain = NewWire::default;
    assert_eq!(rules(&splice("2A", 1.0, plain()), true), []);
    // TP 14331 App. E prefers an environmental splice.
    assert_eq!(
        rules(&splice("2A", 1.0, plain()), false),
        [("sealed", "Transport Canada TP 14331, Appendix E")]
    );
    // AC 43.13-1B 11-167 c, TM 55-4920-244-14: one splice in a wire between two connectors.
    assert_eq!(
        rules(&splice("1A", 1.0, plain()), true),
        [("one-splice", "AC 43.13-1B 11-167 c; TM 55-4920-244-14")]
    );
    // AC 43.13-1B 11-167 d, from memory: 12 in (304.8 mm) from a termination.
    let near = [("near-termination", "AC 43.13-1B 11-167 d, from memory")];
    assert_eq!(rules(&splice("2A", 0.304, plain()), true), near);
    assert_eq!(rules(&splice("2A", 3.7, plain()), true), near);
    assert_eq!(rules(&splice("2A", 0.305, plain()), true), []);
    // Staggered (AC 43.13-1B 11-167): the other splice of this trunk lies 2 m from X1.
    assert_eq!(rules(&splice("2A", 2.03, plain()), true)[0].0, "staggered");
    assert_eq!(rules(&splice("2A", 1.97, plain()), true)[0].0, "staggered");
    assert_eq!(rules(&splice("2A", 2.05, plain()), true), []);
    let thin = NewWire { gauge: Some(Gauge::Metric(SquareMillimetres::new(0.5))), ..plain() };
    assert_eq!(rules(&splice("2A", 1.0, thin), true), [("gauge-change", "AC 43.13-1B 11-167 c")]);
    // AS50881, from memory: never in firing circuits without engineering approval.
    let never = repair::apply(&loaded, &splice("3A", 1.0, plain()), (None, None), (true, false)).unwrap_err();
    assert!(matches!(never, RepairError::Never { source_named: "AS50881, from memory", .. }), "{never}");
    let approved = repair::apply(&loaded, &splice("3A", 1.0, plain()), (None, None), (true, true)).unwrap();
    assert_eq!((approved.findings[0].rule, approved.revision.as_str()), ("never-spliced", "J"));
    for rule in repair::RULES {
        assert!(!rule.source.is_empty() && !rule.demands.is_empty(), "{}", rule.name);
    }
}

#[test]
fn an_approval_is_logged_with_its_reason() {
    let shop = Workshop::new();
    let marked = RULED.trim_start();
    std::fs::write(shop.path("lead.toml"), marked).unwrap();
    let said = shop.refused("repair lead.toml splice 3A --distance 1_m --sealed");
    assert!(said.contains("refused: wire 3A is marked as a hazard (firing circuit)"), "{said}");
    shop.refused("repair lead.toml splice 3A --distance 1_m --sealed --override _");
    shop.done("repair lead.toml splice 3A --distance 1_m --sealed --override order_77");
    assert!(shop.text("lead-repairs.toml").contains("override = \"order 77\""));
}

#[test]
fn in_place_keeps_the_old_revision_and_undo_brings_it_back() {
    let shop = Workshop::new();
    let old = shop.text("orchard-sprayer.toml");
    shop.done(&format!("repair orchard-sprayer.toml splice 31C --distance 0.3_m --sealed --in-place {AT}"));
    let new = shop.text("orchard-sprayer.toml");
    assert!(new.contains("revision = \"D\""));
    assert_eq!(shop.text("orchard-sprayer-rev-C.toml"), old);
    shop.done("check orchard-sprayer-rev-C.toml --strict");
    shop.done(&format!("repair orchard-sprayer.toml undo {AT}"));
    assert_eq!(shop.text("orchard-sprayer.toml"), old);
    assert_eq!(shop.text("orchard-sprayer-rev-D.toml"), new);
    assert!(shop.text("orchard-sprayer-repairs.toml").contains("kind = \"undo\""));
    assert!(
        shop.refused("repair orchard-sprayer.toml undo").contains("has no repair that made this definition")
    );
    assert!(shop.refused("repair orchard-sprayer.toml undo REP1").contains("taken back before"));
    // The name of the revision is taken: another has to be given.
    let said = shop.refused("repair orchard-sprayer.toml splice 31C --distance 0.2_m --sealed --in-place");
    assert!(said.contains("name another revision with --revision"), "{said}");
    shop.done("repair orchard-sprayer.toml splice 31C --distance 0.2_m --sealed --in-place --revision E");
}

#[test]
fn undo_of_a_new_file_leaves_both_and_says_so() {
    let shop = Workshop::new();
    shop.done(&format!("repair orchard-sprayer.toml replace-part F5 {AT}"));
    let before = names(shop.folder.path());
    let said = shop.done("repair orchard-sprayer-rev-D.toml undo REP1");
    assert!(said.contains("Go on with orchard-sprayer.toml: it is as it was."), "{said}");
    assert_eq!(names(shop.folder.path()), before);
}

#[test]
fn evidence_is_what_the_record_says() {
    let shop = Workshop::new();
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/readings-harness-fault.toml");
    std::fs::copy(demo, shop.path("r.toml")).unwrap();
    shop.done(&format!("repair orchard-sprayer.toml re-terminate 31C P1.K --record r.toml {AT}"));
    let log = shop.text("orchard-sprayer-repairs.toml");
    let entries = repair::log::read("OSP-4", &log).unwrap();
    assert_eq!(entries[0].verdict.as_deref(), Some("located"));
    assert!(entries[0].suspects.contains(&"31C@P1.K:open".to_owned()), "{:?}", entries[0].suspects);
    assert_eq!(entries[0].evidence.len(), 9);
    let seventh = &entries[0].evidence[6];
    assert_eq!((seventh.reading.as_str(), seventh.value.as_str(), seventh.good), ("#7", "0.1 ohm", true));
}

fn read(text: &str) -> Loaded {
    load("lead.toml", text.to_owned(), None, &mut |_| Err("no files".to_owned())).unwrap_or_else(|e| {
        panic!("{:?}\n{text}", e.diagnostics.iter().map(|d| &d.message).collect::<Vec<_>>())
    })
}

fn applied(loaded: &Loaded, work: &Work) -> Result<Edited, RepairError> {
    repair::apply(loaded, work, (None, None), (false, false))
}

fn contact(harness: &Harness, name: &str) -> ContactId {
    match harness.point(name).unwrap() {
        Point::Contact(id) => id,
        other => panic!("{other:?}"),
    }
}

fn wire_of(harness: &Harness, id: &str) -> WireId {
    harness.wires.iter().find(|(_, wire)| wire.id == id).unwrap().0
}

/// A text with comments strewn in: on lines of their own, and behind what is there.
fn with_comments(text: &str, rng: &mut Rng) -> String {
    let mut out = String::new();
    for (at, line) in text.lines().enumerate() {
        if rng.chance(20) {
            out += &format!("  # note {at}: [[wire]] id = \"9Z\" \u{e9}\n");
        }
        out += line;
        if rng.chance(25) && !line.is_empty() {
            out += &format!("   # beside {at} = \"x\"");
        }
        out.push('\n');
        if rng.chance(5) {
            out.push_str("\n\n");
        }
    }
    out
}

fn comments(text: &str) -> Vec<&str> {
    text.lines()
        .filter_map(|line| line.find("# note").or(line.find("# beside")).map(|at| &line[at..]))
        .collect()
}

/// Whether all of one list stand in another, in their order.
fn in_order(old: &[&str], new: &[&str]) -> bool {
    let mut new = new.iter();
    old.iter().all(|line| new.any(|other| other == line))
}

/// A repair of any kind that the machine allows.
fn any_work(harness: &Harness, rng: &mut Rng) -> Work {
    let wire = WireId::from_index(rng.below(harness.wires.len()));
    let contacts: Vec<ContactId> =
        harness.contacts.ids().filter(|id| harness.wires_at(Point::Contact(*id)).len() > 0).collect();
    let length = harness.wires[wire].length;
    match rng.below(5) {
        0 => Work::ReplaceWire {
            wire,
            new: NewWire {
                gauge: Some(Gauge::parse("2.5 mm2").unwrap()),
                length: Some(Metres::new(1.25)),
                ..NewWire::default()
            },
        },
        1 | 2 if length.is_some_and(|length| length.get() > 0.01) => Work::Splice {
            wire,
            from: rng.below(2),
            at: length.unwrap() * (rng.between(10, 90) as f64 / 100.0),
            id: None,
            station: None,
            new: NewWire::default(),
        },
        3 if !contacts.is_empty() => {
            let from = contacts[rng.below(contacts.len())];
            let all: Vec<ContactId> = harness.contacts_of(harness.contacts[from].connector).collect();
            Work::Move { from, to: all[rng.below(all.len())] }
        }
        _ => Work::Reterminate { wire, end: rng.below(2), length: Some(Metres::new(0.5)) },
    }
}

/// Over random machines with random comments: every edited definition is accepted, every comment stands in it in its
/// order, and its nets are what the repair means.
#[test]
fn comments_survive_every_edit_and_every_edit_is_sound() {
    let (mut edits, mut moves, mut splices, mut refused) = (0, 0, 0, 0);
    for seed in 0..150 {
        let mut rng = Rng::new(seed);
        let plain = machine::random(seed, 12 + (seed as usize % 5) * 6);
        let mut text = with_comments(&plain, &mut rng);
        if seed % 3 == 0 {
            text = text.replace('\n', "\r\n");
        }
        for _ in 0..6 {
            let loaded = read(&text);
            let work = any_work(&loaded.harness, &mut rng);
            let edited = match repair::apply(&loaded, &work, (None, None), (true, true)) {
                Ok(edited) => edited,
                Err(error) => {
                    assert!(matches!(error, RepairError::Impossible(_)), "seed {seed}: {work:?}: {error}");
                    refused += 1;
                    continue;
                }
            };
            let new = &edited.files[0].text;
            let [old_lines, new_lines] = [comments(&text), comments(new)];
            assert!(
                in_order(&old_lines, &new_lines) && old_lines.len() == new_lines.len(),
                "seed {seed}: {work:?}\n{new}"
            );
            assert_eq!(text.contains("\r\n"), new.contains("\r\n"));
            assert_eq!(
                new.matches('\n').count() == new.matches("\r\n").count(),
                text.contains("\r\n"),
                "seed {seed}: {work:?}"
            );
            let after = read(new);
            let more = usize::from(matches!(work, Work::Splice { .. }));
            assert_eq!(after.harness.wires.len(), loaded.harness.wires.len() + more);
            assert_eq!(after.harness.splices.len(), loaded.harness.splices.len() + more);
            let metres = |harness: &Harness| {
                harness.wires.values().filter_map(|w| w.length).map(Metres::get).sum::<f64>()
            };
            if more == 1 {
                assert!(
                    (metres(&after.harness) - metres(&loaded.harness)).abs() < 0.002,
                    "seed {seed}: {work:?}"
                );
            }
            edited
                .touched
                .resolve(&after.harness)
                .unwrap_or_else(|name| panic!("seed {seed}: {name} is unknown"));
            edits += 1;
            splices += more;
            moves += usize::from(matches!(work, Work::Move { .. }));
            text.clone_from(new);
        }
    }
    assert!(
        edits > 500 && splices > 150 && moves > 10,
        "{edits} edits, {splices} splices, {moves} moves, {refused} refused"
    );
}
