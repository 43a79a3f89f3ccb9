//! `ringout refresh`: regions of Markdown and HTML documents, made anew from their definitions.
//!
//! All documents are written or none of them: whatever is wrong with a marker, a definition or a file is found first.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow};
use similar::TextDiff;

use super::Outcome;
use super::common::{self, Source};
use super::files::{self, Replacement};
use super::output::{self, Shown};
use crate::definition::Harness;
use crate::definition::diagnostic::{Diagnostic, FileId, Sink, Sources, clean, render};
use crate::sheet::regions::{self, Document, Region};

#[derive(Debug, clap::Args)]
#[command(after_help = "\
    Examples:\n\
    \x20 ringout refresh manual.md pins.html\n\
    \x20 ringout refresh --check manual.md")]
pub(super) struct RefreshArgs {
    /// Markdown (.md, .markdown) or HTML (.html, .htm) documents with regions between markers
    #[arg(required = true, value_name = "FILES")]
    documents: Vec<PathBuf>,
    /// Write nothing: show how stale regions differ from what they should hold, and end with 1 if there are any
    #[arg(long)]
    check: bool,
}

/// A document while it is worked on.
struct Page {
    path: PathBuf,
    kind: Document,
    file: FileId,
    regions: Vec<Region>,
    /// What belongs into its regions.
    contents: Vec<String>,
}

pub(super) fn run(args: &RefreshArgs) -> anyhow::Result<Outcome> {
    let (sources, sink) = (Sources::default(), Sink::default());
    let mut work = Work { sources, sink, pages: Vec::new(), harnesses: BTreeMap::new() };
    work.read(&args.documents)?;
    if work.sink.errors() == 0 {
        work.fill();
    }
    if work.sink.errors() > 0 {
        let summary = "the documents cannot be refreshed: nothing was written";
        output::note(&render(&work.sink.into_sorted(), &work.sources, output::styled()));
        output::note(&format!("{summary}\n"));
        return Err(Shown::new(summary).into());
    }
    let stale = work.stale();
    if args.check {
        return work.show(&stale);
    }
    files::replace_all(&stale.iter().map(|(_, replacement)| replacement).collect::<Vec<_>>())?;
    output::print(&work.pages.iter().map(|page| work.summary(page, "made anew")).collect::<String>())?;
    Ok(Outcome::Well)
}

struct Work {
    sources: Sources,
    sink: Sink,
    pages: Vec<Page>,
    /// Definitions that were loaded, by path and variant; `None` where that failed, which has been said.
    harnesses: BTreeMap<(PathBuf, Option<String>), Option<Harness>>,
}

impl Work {
    /// Reads every document once, and finds its regions.
    fn read(&mut self, paths: &[PathBuf]) -> anyhow::Result<()> {
        let mut seen = BTreeSet::new();
        for path in paths {
            let name = path.display().to_string();
            let kind = Document::of_name(&name).ok_or_else(|| {
                anyhow!("{name} is neither Markdown nor HTML: its name has to end with .md, .markdown, .html or .htm")
            })?;
            let text =
                common::read_exactly(path).map_err(|reason| anyhow!("cannot read {name}: {reason}"))?;
            if !seen.insert(path.canonicalize().with_context(|| format!("cannot reach {name}"))?) {
                continue;
            }
            let file = self.sources.add(name, text);
            let regions = regions::find(self.sources.text(file), file, kind, &self.sink);
            self.pages.push(Page { path: path.clone(), kind, file, regions, contents: Vec::new() });
        }
        Ok(())
    }

    /// Makes what belongs into every region.
    fn fill(&mut self) {
        let mut pages = std::mem::take(&mut self.pages);
        for page in &mut pages {
            for region in &page.regions {
                let key = self.load(&page.path, region);
                let Some(Some(harness)) = self.harnesses.get(&key) else { continue };
                page.contents.extend(regions::content(harness, region, page.kind, &self.sink));
            }
        }
        self.pages = pages;
    }

    /// Loads the definition of a region, if it was not yet; gives its key.
    fn load(&mut self, document: &Path, region: &Region) -> (PathBuf, Option<String>) {
        let path = document.parent().unwrap_or(Path::new("")).join(&region.from.value);
        let variant = region.variant.as_ref().map(|variant| variant.value.clone());
        let key = (path.clone(), variant.clone());
        if self.harnesses.contains_key(&key) {
            return key;
        }
        let loaded = Source { harness: path, variant }.load();
        let harness = loaded.map_err(|error| {
            let (message, help) = match error.downcast_ref::<Shown>() {
                Some(_) => {
                    (error.to_string(), "mend the definition first: what is wrong with it is said above")
                }
                None => (format!("{error:#}"), "paths are relative to the folder of the document"),
            };
            self.sink.push(Diagnostic::error("region", region.from.place, message).help(help));
        });
        self.harnesses.insert(key.clone(), harness.ok());
        key
    }

    /// The documents that are not as they should be.
    fn stale(&self) -> Vec<(&Page, Replacement)> {
        let changed = self.pages.iter().filter_map(|page| {
            let old = self.sources.text(page.file);
            let new = regions::rewritten(old, &page.regions, &page.contents);
            let replacement = |new| Replacement { path: page.path.clone(), old: old.to_owned(), new };
            (new != old).then(|| (page, replacement(new)))
        });
        changed.collect()
    }

    /// One line about a document: its regions, and which of them are stale.
    fn summary(&self, page: &Page, stale_word: &str) -> String {
        let text = self.sources.text(page.file);
        let stale = page
            .regions
            .iter()
            .zip(&page.contents)
            .filter(|(region, content)| text[region.inside.clone()] != **content);
        let stale: Vec<String> = stale
            .map(|(region, _)| {
                let (line, _) = self.sources.line_column(region.marker);
                format!("{} in line {line}", region.shown.word())
            })
            .collect();
        let count = match page.regions.len() {
            0 => "no regions".to_owned(),
            1 => "1 region".to_owned(),
            many => format!("{many} regions"),
        };
        let state = match &stale[..] {
            [] if page.regions.is_empty() => String::new(),
            [] => ", up to date".to_owned(),
            stale => format!(", {stale_word}: {}", stale.join(", ")),
        };
        format!("{}: {count}{state}\n", clean(&page.path.display().to_string()))
    }

    /// Shows how stale documents differ from what they should be.
    fn show(&self, stale: &[(&Page, Replacement)]) -> anyhow::Result<Outcome> {
        let mut out: String = self.pages.iter().map(|page| self.summary(page, "stale")).collect();
        for (page, Replacement { old, new, .. }) in stale {
            let name = page.path.display().to_string();
            let diff = TextDiff::from_lines(old, new);
            out.push_str(&diff.unified_diff().header(&name, &name).to_string());
        }
        output::print(&legible(&out))?;
        Ok(if stale.is_empty() { Outcome::Well } else { Outcome::Finding })
    }
}

/// Text of a document on its way to a terminal: line ends and tabs stay, so that the difference can be applied.
fn legible(text: &str) -> String {
    text.split_inclusive(['\t', '\r'])
        .map(|part| match part.strip_suffix(['\t', '\r']) {
            Some(rest) => clean(rest) + &part[rest.len()..],
            None => clean(part),
        })
        .collect()
}
