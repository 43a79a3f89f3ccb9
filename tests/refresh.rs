//! `ringout refresh`: regions of documents are made anew, everything else stays, and what is wrong changes nothing.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

#[path = "support/absent.rs"]
mod absent;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use proptest::prelude::{Strategy, proptest};
use proptest::sample::select;
use ringout::definition::diagnostic::{Sink, Sources};
use ringout::sheet::regions::{Document, find, rewritten};

const DEFINITION: &str = r#"
format = 1
harness = { id = "LEAD-1", title = "A lead", revision = "A" }
connector.X1 = { contacts = ["1", "2"], pin.1 = { signal = "Feed <b>|*</b>" } }
connector.X2 = { contacts = ["1", "2"] }
connector.X3 = { face = "round-4", contact = "pin" }
wire = [
    { id = "1A", from = "X1.1", to = "X2.1", gauge = "1 mm2", length = "2 m" },
    { id = "2A", from = "X1.2", to = "X2.2", gauge = "1 mm2", length = "2 m" },
]
"#;

/// A folder with the definition and a document.
fn folder(name: &str, document: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("lead.toml"), DEFINITION).unwrap();
    fs::write(folder.path().join(name), document).unwrap();
    folder
}

fn ringout(folder: &Path, args: &[&str]) -> Output {
    let mut program = Command::new(env!("CARGO_BIN_EXE_ringout"));
    program.args(args).current_dir(folder).output().unwrap()
}

fn refresh(folder: &Path, args: &[&str]) -> (i32, String, String) {
    let output = ringout(folder, &[&["refresh"], args].concat());
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

fn read(folder: &Path, name: &str) -> String {
    String::from_utf8(fs::read(folder.join(name)).unwrap()).unwrap()
}

/// The whole hash of the definition, as another command tells it.
fn hash(folder: &Path) -> String {
    let output = ringout(folder, &["pins", "lead.toml", "--format", "json"]);
    let view: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    view["harness"]["hash"].as_str().unwrap().to_owned()
}

#[test]
fn a_region_is_filled_and_stays_as_it_is() {
    let document = "# Lead\n\n<!-- ringout begin pins from=lead.toml connector=X1 -->\nold\n<!-- ringout end -->\n\nAfter.\n";
    let folder = folder("page.md", document);
    let folder = folder.path();
    assert_eq!(refresh(folder, &["--check", "page.md"]).0, 1);
    assert_eq!(read(folder, "page.md"), document, "a check writes nothing");
    let (code, out, _) = refresh(folder, &["page.md"]);
    assert_eq!((code, out.as_str()), (0, "page.md: 1 region, made anew: pins in line 3\n"));
    let made = read(folder, "page.md");
    let inside =
        made.strip_prefix("# Lead\n\n<!-- ringout begin pins from=lead.toml connector=X1 -->\n").unwrap();
    let inside = inside.strip_suffix("<!-- ringout end -->\n\nAfter.\n").unwrap();
    let first = format!("\n*Pin map · LEAD-1 · A lead · revision A · {}*\n", &hash(folder)[..12]);
    assert!(inside.starts_with(&first), "{inside}");
    assert!(
        inside.contains("\n| 1 | Feed &lt;b&gt;\\|\\*&lt;/b&gt; | 1A |  | 1 mm2 | X2.1 |  |\n"),
        "{inside}"
    );
    assert!(!inside.contains("old"));
    let (code, out, _) = refresh(folder, &["--check", "page.md"]);
    assert_eq!((code, out.as_str()), (0, "page.md: 1 region, up to date\n"));
    refresh(folder, &["page.md"]);
    assert_eq!(read(folder, "page.md"), made, "twice is the same as once");
}

#[test]
fn a_changed_definition_makes_it_stale_and_the_difference_can_be_applied() {
    let folder =
        folder("page.md", "<!-- ringout begin wires from=lead.toml -->\n<!-- ringout end -->\n\nA last line");
    let folder = folder.path();
    refresh(folder, &["page.md"]);
    fs::write(folder.join("lead.toml"), DEFINITION.replace("\"2 m\"", "\"3 m\"")).unwrap();
    let (code, out, _) = refresh(folder, &["--check", "page.md"]);
    assert_eq!(code, 1);
    assert!(out.starts_with("page.md: 1 region, stale: wires in line 1\n--- page.md\n"), "{out}");
    assert!(out.contains("\n-| 1A | X1.1 | X2.1 | 1 mm2 |  | 2 |"), "{out}");
    assert!(out.contains("\n+| 1A | X1.1 | X2.1 | 1 mm2 |  | 3 |"), "{out}");
    // Another program reads the difference and comes to the same document.
    if !absent::there("git", "--version", "whether a difference can be applied") {
        return;
    }
    let stale = read(folder, "page.md");
    refresh(folder, &["page.md"]);
    let made = read(folder, "page.md");
    fs::write(folder.join("page.md"), stale).unwrap();
    fs::write(folder.join("page.diff"), out).unwrap();
    let applied =
        Command::new("git").args(["apply", "-p0", "page.diff"]).current_dir(folder).output().unwrap();
    assert!(applied.status.success(), "{}", String::from_utf8_lossy(&applied.stderr));
    assert_eq!(read(folder, "page.md"), made);
}

#[test]
fn everything_outside_the_regions_stays_byte_for_byte() {
    let marked =
        |end: &str| format!("<!-- ringout begin wires from=lead.toml -->{end}x{end}<!-- ringout end -->");
    let outside =
        ["\u{feff}# Top \t \n\n", "\n\r\n text \u{202e} with\ttabs  \r\n\r\n", "\n\n~~~\nnever ended"];
    let document = [outside[0], &marked("\n"), outside[1], &marked("\r\n"), outside[2]].concat();
    let folder = folder("page.md", &document);
    let (code, out, err) = refresh(folder.path(), &["page.md"]);
    assert_eq!(code, 0, "{out}{err}");
    let made = read(folder.path(), "page.md");
    let mut rest = made.as_str();
    for (at, piece) in outside.iter().enumerate() {
        rest = rest.strip_prefix(piece).unwrap_or_else(|| panic!("{at}: {rest:?}"));
        let Some((inside, after)) = rest.split_once("<!-- ringout end -->") else { continue };
        let lines: Vec<&str> = inside.split_inclusive('\n').collect();
        assert!(lines.len() > 5);
        assert!(lines.iter().all(|line| line.ends_with("\r\n") == (at == 1)), "{inside:?}");
        rest = after;
    }
    assert_eq!(rest, "");
}

#[test]
fn a_document_may_end_with_the_end_of_a_region() {
    for end in ["\n", "\r\n"] {
        let document = format!("<!-- ringout begin wires from=lead.toml -->{end}<!-- ringout end -->");
        let folder = folder("page.md", &document);
        assert_eq!(refresh(folder.path(), &["page.md"]).0, 0);
        assert!(read(folder.path(), "page.md").ends_with(&format!("|{end}{end}<!-- ringout end -->")));
    }
}

#[test]
fn what_only_shows_markers_is_left_alone() {
    let document = "In text: `<!-- ringout begin pins -->` and `<!-- ringout end -->`.\n\n\
        ````html\n```\n<!-- ringout begin nonsense -->\n```\n````\n\n- list\n  ~~~ html\n  <!-- ringout end -->\n  ~~~\n\n\
        <!-- ringouts are fun --> <!-- a comment -->\n";
    let folder = folder("page.md", document);
    let (code, out, err) = refresh(folder.path(), &["page.md"]);
    assert_eq!((code, out.as_str(), err.as_str()), (0, "page.md: no regions\n", ""));
    assert_eq!(read(folder.path(), "page.md"), document);
}

/// Documents with one mistake: the text, then the line and words of the message, then what to write instead.
const MISTAKES: &[(&str, usize, &str, &str)] = &[
    ("a\n\nB\ntext\n", 3, "this region has no end", "write <!-- ringout end -->"),
    ("B\nB\nE\n", 2, "a region begins within another", "write <!-- ringout end --> above it"),
    ("B\nE\nmore\nE\n", 4, "the region has ended already", "take it out, or write"),
    ("text\nE\n", 2, "no region begins above this end", "take it out, or write <!-- ringout begin pins"),
    (
        "<!-- ringout begin pin from=lead.toml -->\nE\n",
        1,
        "a region cannot show `pin`",
        "did you mean `pins`?",
    ),
    (
        "<!-- ringout begin -->\nE\n",
        1,
        "does not say what the region shows",
        "write one of pins, wires, face, plan",
    ),
    (
        "<!-- ringout start pins from=lead.toml -->\n",
        1,
        "a marker says `begin` or `end`",
        "write <!-- ringout begin",
    ),
    (
        "<!-- ringout: begin pins from=lead.toml -->\n",
        1,
        "a marker says `begin` or `end`",
        "write <!-- ringout begin",
    ),
    ("<!-- ringout begin pins -->\nE\n", 1, "the marker of `pins` needs `from`", "add from=machine.toml"),
    ("<!-- ringout begin face from=lead.toml -->\nE\n", 1, "needs `connector`", "add connector=P1"),
    ("<!-- ringout begin pins form=lead.toml -->\nE\n", 1, "has no key `form`", "did you mean `from`?"),
    (
        "<!-- ringout begin wires from=lead.toml from=b -->\nE\n",
        1,
        "`from` stands there twice",
        "take one out",
    ),
    ("<!-- ringout begin pins from= -->\nE\n", 1, "`from` has no value", "write key=value"),
    (
        "<!-- ringout begin pins lead.toml -->\nE\n",
        1,
        "`lead.toml` is no key with a value",
        "write key=value",
    ),
    (
        "<!-- ringout begin pins from=\"lead.toml -->\nE\n",
        1,
        "quotation marks do not match",
        "write key=value",
    ),
    (
        "<!-- ringout begin pins\nfrom=lead.toml -->\nE\n",
        1,
        "a marker stands on one line",
        "on the same line",
    ),
    (
        "<!-- ringout begin pins from=lead.toml --> text\nE\n",
        1,
        "a marker stands alone on its line",
        "next line",
    ),
    (
        "text <!-- ringout begin pins from=lead.toml -->\n",
        1,
        "a marker stands alone on its line",
        "a line of its own",
    ),
    ("    B\nE\n", 1, "a marker that is indented so far is code", "start of the line"),
    ("B\n<!-- ringout end pins -->\n", 2, "the end of a region has no keys", "write <!-- ringout end -->"),
    (
        "<!-- ringout begin pins from=lead.toml connector=X9 -->\nE\n",
        1,
        "no connector is called `X9`",
        "its connectors are: X1, X2, X3",
    ),
    (
        "<!-- ringout begin wires from=lead.toml circuit=9 -->\nE\n",
        1,
        "no wire belongs to circuit `9`",
        "circuit",
    ),
    (
        "<!-- ringout begin face from=lead.toml connector=X3 side=back -->\nE\n",
        1,
        "no side is called so",
        "side=wire",
    ),
    ("<!-- ringout begin pins from=lead.toml level=7 -->\nE\n", 1, "a number from 1 to 6", "write level=3"),
    (
        "<!-- ringout begin pins from=lead.toml variant=wide -->\nE\n",
        1,
        "lead.toml has 1 error",
        "mend the definition",
    ),
    (
        "<!-- ringout begin pins from=other.toml -->\nE\n",
        1,
        "cannot read other.toml",
        "relative to the folder",
    ),
    ("<!-- ringout begin plan from=lead.toml unplug=X1 -->\nE\n", 1, "X1 has no mate", "with a `mate`"),
    ("<!-- ringout begin plan from=lead.toml meter=ruler -->\nE\n", 1, "ruler", "write meter=handheld"),
    ("<!-- ringout begin plan from=lead.toml complaint=M1 -->\nE\n", 1, "`M1`", "write it as M1"),
    (
        "<!-- ringout begin plan from=lead.toml complaint=M1 circuit=1 -->\nE\n",
        1,
        "does not go with",
        "write either",
    ),
];

#[test]
fn every_mistake_is_told_with_its_line_and_a_way_out_and_writes_nothing() {
    for (document, line, message, help) in MISTAKES {
        let document = document
            .replace("B\n", "<!-- ringout begin pins from=lead.toml -->\n")
            .replace("E\n", "<!-- ringout end -->\n");
        let folder = folder("page.md", &document);
        // A second document that could be refreshed: it is not.
        let other = "<!-- ringout begin wires from=lead.toml -->\n<!-- ringout end -->\n";
        fs::write(folder.path().join("other.html"), other).unwrap();
        for check in [&["other.html", "page.md"][..], &["--check", "page.md", "other.html"]] {
            let (code, out, err) = refresh(folder.path(), check);
            assert_eq!((code, out.as_str()), (2, ""), "{document}\n{err}");
            assert!(err.contains(message), "{message} is not in\n{err}");
            assert!(err.contains(&format!("page.md:{line}:")), "line {line} is not in\n{err}");
            assert!(err.contains("= help: ") && err.contains(help), "{help} is not in\n{err}");
            assert!(err.contains("nothing was written"), "{err}");
            assert_eq!(read(folder.path(), "page.md"), document);
            assert_eq!(read(folder.path(), "other.html"), other);
        }
    }
}

#[test]
fn all_mistakes_of_all_documents_show_at_once() {
    let folder = folder("a.md", "<!-- ringout end -->\n<!-- ringout begin pins -->\n");
    fs::write(folder.path().join("b.html"), "<p>\n<!-- ringout begin what -->\n<!-- ringout end -->\n")
        .unwrap();
    let (code, _, err) = refresh(folder.path(), &["a.md", "b.html"]);
    assert_eq!(code, 2);
    for place in ["a.md:1:1", "a.md:2:1", "b.html:2:20"] {
        assert!(err.contains(place), "{place} is not in\n{err}");
    }
}

#[test]
fn what_is_no_document_is_refused() {
    let folder = folder("page.txt", "<!-- ringout begin wires from=lead.toml -->\n<!-- ringout end -->\n");
    fs::write(folder.path().join("latin.md"), b"one\ntwo \xe9\n").unwrap();
    for (name, words) in [
        ("page.txt", "neither Markdown nor HTML"),
        ("missing.md", "cannot read missing.md"),
        ("latin.md", "it is not UTF-8 text (line 2)"),
        ("lead.toml", "neither Markdown nor HTML"),
    ] {
        let (code, _, err) = refresh(folder.path(), &[name]);
        assert_eq!(code, 2);
        assert!(err.contains(words), "{err}");
    }
    assert_eq!(refresh(folder.path(), &[]).0, 2);
}

#[test]
fn one_document_named_twice_is_one_document() {
    let folder = folder("page.md", "<!-- ringout begin wires from=lead.toml -->\n<!-- ringout end -->\n");
    let (code, out, _) = refresh(folder.path(), &["page.md", "./page.md"]);
    assert_eq!((code, out.lines().count()), (0, 1), "{out}");
}

#[test]
fn paths_are_relative_to_the_document() {
    let folder = folder("unused.md", "");
    let sub = folder.path().join("manual/part one");
    fs::create_dir_all(&sub).unwrap();
    let document = "<!-- ringout begin wires from=\"../../lead.toml\" -->\n<!-- ringout end -->\n";
    fs::write(sub.join("page.md"), document).unwrap();
    assert_eq!(refresh(folder.path(), &["manual/part one/page.md"]).0, 0);
    assert!(read(&sub, "page.md").contains("LEAD-1"));
}

/// Every kind of region in one page, with several faces: what HTML calls for once stays once.
#[test]
fn html_with_several_faces_is_well_formed_and_has_no_id_twice() {
    let begin = |what: &str| format!("<!-- ringout begin {what} -->\n<!-- ringout end -->\n");
    let wanted = [
        "face from=lead.toml connector=X3 side=both",
        "face from=lead.toml connector=X1",
        "face from=lead.toml connector=X3 side=wire",
        "pins from=lead.toml level=4",
        "wires from=lead.toml circuit=1",
        "plan from=lead.toml meter=four-wire",
    ];
    let regions: String = wanted.map(begin).concat();
    let document = format!("<html><head><title>x</title></head><body>\n{regions}</body></html>\n");
    let folder = folder("page.html", &document);
    let (code, out, err) = refresh(folder.path(), &["page.html"]);
    assert_eq!((code, out.lines().count()), (0, 1), "{out}{err}");
    let made = read(folder.path(), "page.html");
    let page = roxmltree::Document::parse(&made).unwrap_or_else(|error| panic!("{error}\n{made}"));
    let elements = || page.descendants().filter(roxmltree::Node::is_element);
    let count = |name: &str| elements().filter(|node| node.tag_name().name() == name).count();
    assert_eq!((count("svg"), count("figure"), count("h4")), (4, 3, 3));
    assert!(count("table") >= 5 && count("b") == 0, "{made}");
    let ids: Vec<&str> = elements().filter_map(|node| node.attribute("id")).collect();
    assert_eq!(ids.len(), ids.iter().collect::<BTreeSet<_>>().len(), "{ids:?}");
    assert!(made.contains("Feed &#60;b&#62;|*&#60;/b&#62;"), "{made}");
    // Every region names the definition's id, revision and hash.
    let hash = &hash(folder.path())[..12];
    for region in made.split("<!-- ringout begin ").skip(1) {
        let inside = region.split("<!-- ringout end -->").next().unwrap();
        for named in ["LEAD-1", "revision A", hash] {
            assert!(inside.contains(named), "{named} is not in\n{inside}");
        }
    }
}

/// To Markdown a drawing is one block of HTML, which ends at the first empty line (CommonMark 0.31.2, section 4.6).
#[test]
fn a_drawing_in_markdown_has_no_empty_line() {
    let folder = folder(
        "page.md",
        "<!-- ringout begin face from=lead.toml connector=X3 side=both -->\n<!-- ringout end -->\n",
    );
    assert_eq!(refresh(folder.path(), &["page.md"]).0, 0);
    let made = read(folder.path(), "page.md");
    let from = made.find("<figure>\n").unwrap();
    let figure = &made[from..made.find("</figure>\n").unwrap()];
    assert!(figure.lines().all(|line| !line.trim().is_empty()));
    assert_eq!(made[..from].lines().last(), Some(""), "a block of HTML begins after an empty line");
}

/// Pieces that documents with regions are made of, good and bad.
const PIECES: [&str; 22] = [
    "<!-- ringout begin pins from=a -->",
    "<!-- ringout begin plan from=\"a b\" unplug=P1,,P2 -->",
    "<!-- ringout end -->",
    "<!-- ringout",
    "<!--ringout-->",
    "<!--",
    "-->",
    "begin",
    "\n",
    "\n",
    "\r\n",
    "\r",
    "```",
    "~~~~",
    "`",
    " ",
    "    ",
    "\t",
    "=",
    "\"",
    "\u{e9}\u{2028}",
    "text",
];

fn made_up() -> impl Strategy<Value = String> {
    proptest::collection::vec(select(&PIECES[..]), 0..40).prop_map(|pieces| pieces.concat())
}

proptest! {
    /// Whatever a document holds, nothing panics; and with what its regions hold already it is the same document.
    #[test]
    fn regions_lie_apart_and_in_order(text in made_up()) {
        for document in [Document::Markdown, Document::Html] {
            let (mut sources, sink) = (Sources::default(), Sink::default());
            let file = sources.add("page", text.clone());
            let regions = find(&text, file, document, &sink);
            let inside: Vec<String> = regions.iter().map(|region| text[region.inside.clone()].to_owned()).collect();
            assert_eq!(rewritten(&text, &regions, &inside), text);
            assert!(regions.windows(2).all(|two| two[0].inside.end < two[1].inside.start));
            let begins = |region: &ringout::sheet::regions::Region| sources.at(region.marker).starts_with("<!--");
            assert!(regions.iter().all(begins));
        }
    }
}

#[cfg(unix)]
#[test]
fn a_document_keeps_its_permissions_and_a_link_stays_a_link() {
    use std::os::unix::fs::PermissionsExt;
    let folder = folder("page.md", "<!-- ringout begin wires from=lead.toml -->\n<!-- ringout end -->\n");
    let path = folder.path().join("page.md");
    fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
    std::os::unix::fs::symlink("page.md", folder.path().join("link.md")).unwrap();
    assert_eq!(refresh(folder.path(), &["link.md"]).0, 0);
    assert!(fs::symlink_metadata(folder.path().join("link.md")).unwrap().is_symlink());
    assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o640);
    assert!(read(folder.path(), "page.md").contains("LEAD-1"));
}

#[test]
fn the_readme_is_up_to_date() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let (code, out, err) = refresh(root, &["--check", "README.md"]);
    assert_eq!(code, 0, "write it anew with `cargo run -- refresh README.md`\n{out}{err}");
    assert!(out.contains("1 region, up to date"), "{out}");
}
