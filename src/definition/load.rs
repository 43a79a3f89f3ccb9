//! From files to a harness, or to everything that is wrong with them.
//!
//! Comes in: the text of the top file and a way to read the files it uses. Goes out: a harness with
//! warnings, or the errors of all files at once. Why: reading is the caller's business (disk, memory,
//! browser); meaning is ours.

use std::fmt::Write as _;

use sha2::{Digest, Sha256};
use toml::de::DeTable;

use super::diagnostic::{At, Diagnostic, FileId, Place, Severity, Sink, Sources, nearest};
use super::model::Harness;
use super::schema::{self, Draft, Role};
use super::{resolve, rules, syntax};

/// Files larger than this are refused: no harness is that large, and offsets stay within 32 bits.
pub const MOST_BYTES: usize = 64 * 1024 * 1024;

/// How many files a machine may have, and how long a chain of files may be: a folder that contains
/// itself would otherwise never end.
const MOST_FILES: usize = 1000;
const DEEPEST: usize = 32;

/// A harness, and what deserves a look.
#[derive(Debug)]
pub struct Loaded {
    /// The harness.
    pub harness: Harness,
    /// Warnings, by file and place.
    pub warnings: Vec<Diagnostic>,
    /// The texts the warnings point into.
    pub sources: Sources,
}

/// Why there is no harness.
#[derive(Debug, thiserror::Error)]
#[error("{} has {}", .name, errors(.diagnostics))]
pub struct Rejected {
    /// The top file's name.
    pub name: String,
    /// Errors and warnings, by file and place.
    pub diagnostics: Vec<Diagnostic>,
    /// The texts they point into.
    pub sources: Sources,
}

fn errors(diagnostics: &[Diagnostic]) -> String {
    match diagnostics.iter().filter(|d| d.severity == Severity::Error).count() {
        1 => "1 error".to_owned(),
        count => format!("{count} errors"),
    }
}

/// Reads a file that a definition uses, given its path relative to the top file's folder; the error
/// is the reason in words.
pub type ReadFile<'a> = &'a mut dyn FnMut(&str) -> Result<String, String>;

/// Loads the definition whose top file is `name` with this `text`.
///
/// Cost: linear in the size of the files; a 100,000-wire machine (18 MB of text) takes about a second and
/// some 30 bytes of memory per byte of text at its peak, two thirds of it in parsing TOML.
///
/// # Errors
/// Everything that is wrong with any of the files.
pub fn load(
    name: &str,
    text: String,
    variant: Option<&str>,
    read: ReadFile<'_>,
) -> Result<Loaded, Box<Rejected>> {
    let mut files = Files {
        sources: Sources::default(),
        sink: Sink::default(),
        draft: Draft::default(),
        open: Vec::new(),
        done: Vec::new(),
        variant,
    };
    files.read_top(name, text, read);
    let Files { sources, sink, mut draft, .. } = files;
    if sink.errors() > 0 && draft.broken {
        return Err(Box::new(Rejected { name: name.to_owned(), diagnostics: sink.into_sorted(), sources }));
    }
    check_variant(&draft, variant, &sink);
    std::mem::take(&mut draft.changes).apply(&mut draft, &sink);
    let harness = resolve::resolve(&draft, variant, hash(&sources), &sink);
    rules::check(&harness, &sink);
    let failed = sink.errors() > 0;
    let diagnostics = sink.into_sorted();
    if failed {
        return Err(Box::new(Rejected { name: name.to_owned(), diagnostics, sources }));
    }
    Ok(Loaded { harness, warnings: diagnostics, sources })
}

/// SHA-256 over every file's length and text, in the order they were read.
fn hash(sources: &Sources) -> String {
    let mut hasher = Sha256::new();
    for (_, text) in sources.iter() {
        hasher.update((text.len() as u64).to_le_bytes());
        hasher.update(text.as_bytes());
    }
    hasher.finalize().iter().fold(String::new(), |mut hex, byte| {
        // Writing to a text cannot fail.
        let _ = write!(hex, "{byte:02x}");
        hex
    })
}

fn check_variant(draft: &Draft, variant: Option<&str>, sink: &Sink) {
    let Some(wanted) = variant else { return };
    if draft.variants.iter().any(|v| v.value == wanted) {
        return;
    }
    let known: Vec<&str> = draft.variants.iter().map(|v| v.value.as_str()).collect();
    let help = match nearest(wanted, known.iter().copied()) {
        Some(near) => format!("did you mean `{near}`?"),
        None if known.is_empty() => "the definition has no variants".to_owned(),
        None => format!("its variants are: {}", known.join(", ")),
    };
    let mut diagnostic = Diagnostic::error(
        "variant",
        Place::new(FileId::FIRST, 0..0),
        format!("no variant is called `{wanted}`"),
    );
    diagnostic.place = None;
    sink.push(diagnostic.help(help));
}

/// The files of one machine while they are being read.
struct Files<'a> {
    sources: Sources,
    sink: Sink,
    draft: Draft,
    /// The chain of files that led here, for the detection of cycles.
    open: Vec<String>,
    /// Files already read: a file used twice is read once.
    done: Vec<String>,
    variant: Option<&'a str>,
}

impl Files<'_> {
    fn read_top(&mut self, name: &str, text: String, read: ReadFile<'_>) {
        self.open.push(String::new());
        self.read_file(name, "", text, true, read);
    }

    fn read_file(&mut self, name: &str, folder: &str, text: String, top: bool, read: ReadFile<'_>) {
        let size = text.len();
        let too_large = size > MOST_BYTES;
        let file = self.sources.add(name, if too_large { String::new() } else { text });
        if too_large {
            self.fail(
                Place::new(file, 0..0),
                "too-large",
                format!("the file is larger than {} MiB ({} MiB)", MOST_BYTES >> 20, size >> 20),
                "divide it into several files and join them by `use`",
            );
            return;
        }
        for used in self.parse(file, top) {
            self.follow(&used, folder, read);
        }
    }

    /// Parses one file into the draft; gives back the files it uses.
    fn parse(&mut self, file: FileId, top: bool) -> Vec<At<String>> {
        let text = self.sources.text(file);
        let (table, errors) = DeTable::parse_recoverable(text);
        if errors.is_empty() {
            let role = Role { top, variant: self.variant };
            return schema::read_file(&mut self.draft, table.get_ref(), file, role, &self.sink);
        }
        for found in syntax::mistakes(text, &errors) {
            let diagnostic = Diagnostic::error("syntax", Place::new(file, found.span), found.message);
            self.sink.push(diagnostic.help(found.help));
        }
        self.draft.broken = true;
        Vec::new()
    }

    fn follow(&mut self, used: &At<String>, folder: &str, read: ReadFile<'_>) {
        let path = join(folder, &used.value);
        if self.open.contains(&path) || is_top(&self.sources, &path) {
            let chain = self.open.iter().skip(1).chain([&path]).cloned().collect::<Vec<_>>().join(" -> ");
            let help = "take it out: a file is used once, by the file above it";
            self.fail(used.place, "use", format!("`use` goes round in a circle: {chain}"), help);
            return;
        }
        if self.done.contains(&path) {
            return;
        }
        if self.open.len() > DEEPEST || self.done.len() + self.open.len() > MOST_FILES {
            let message =
                format!("`use` names more than {MOST_FILES} files, or goes deeper than {DEEPEST} files");
            self.fail(
                used.place,
                "use",
                message,
                "let the top file name all files that belong to the machine",
            );
            return;
        }
        match read(&path) {
            Ok(text) => {
                self.open.push(path.clone());
                let inner = path.rsplit_once('/').map_or("", |(folder, _)| folder).to_owned();
                self.read_file(&path, &inner, text, false, read);
                self.open.pop();
                self.done.push(path);
            }
            Err(reason) => {
                let help = "paths are relative to the file that names them";
                self.fail(used.place, "use", format!("cannot read `{path}`: {reason}"), help);
                self.done.push(path);
            }
        }
    }

    fn fail(&mut self, place: Place, rule: &'static str, message: String, help: &str) {
        self.sink.push(Diagnostic::error(rule, place, message).help(help));
        self.draft.broken = true;
    }
}

/// Whether a path names the top file, which stands in the folder all paths are relative to.
fn is_top(sources: &Sources, path: &str) -> bool {
    let top = sources.name(FileId::FIRST);
    top.rsplit(['/', '\\']).next() == Some(path)
}

/// Joins a path to the folder of the file that names it, and takes out `.` and `..` where it can, so
/// that one file has one name.
pub(crate) fn join(folder: &str, path: &str) -> String {
    if path.starts_with('/') {
        return path.to_owned();
    }
    let mut steps: Vec<&str> = Vec::new();
    for step in folder.split('/').chain(path.split('/')) {
        match step {
            "" | "." => {}
            ".." if steps.last().is_some_and(|last| *last != "..") => {
                steps.pop();
            }
            step => steps.push(step),
        }
    }
    steps.join("/")
}

#[cfg(test)]
mod tests {
    use super::join;

    #[test]
    fn one_file_has_one_name() {
        assert_eq!(join("", "a.toml"), "a.toml");
        assert_eq!(join("sub", "../a.toml"), "a.toml");
        assert_eq!(join("sub", "./b.toml"), "sub/b.toml");
        assert_eq!(join("", "../x/./a.toml"), "../x/a.toml");
        assert_eq!(join("sub", "/etc/a.toml"), "/etc/a.toml");
    }
}
