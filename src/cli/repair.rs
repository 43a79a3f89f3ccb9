//! `ringout repair`: a repair becomes the next revision of the definition and an entry in the log of repairs.
//!
//! By default the new revision is a new file beside the old one. With `--in-place` it takes the old one's name, and the
//! old text is kept beside it under the name of its revision. Files that the top file uses are never changed: their new
//! text stands in new files, which the new top file names. So the last step, one rename, switches the machine over;
//! whoever is stopped before it leaves the old revision whole. The entry of the log is written before that step: an
//! entry whose revision never came is told by its hash, a revision without an entry would be told by nothing.

mod kind;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow, bail};
use sha2::{Digest, Sha256};

use super::Outcome;
use super::common::{self, Source};
use super::output::{self, FormatArg, Shown};
use super::{files, log as readings};
use crate::audit::{self, MOST_LINKS};
use crate::definition::diagnostic::render;
use crate::definition::edit::Editor;
use crate::definition::{Harness, Loaded, load};
use crate::locate::{self, Evidence, Wishes};
use crate::measure::Meter;
use crate::netlist::Netlist;
use crate::repair::log::{Entry, Found, Side, head, next_id, read};
use crate::repair::{self, Changed, Edited, base_name, new_name};
use crate::sheet;
use kind::{KindArg, work};

#[derive(Debug, clap::Args)]
#[command(after_help = "\
    Examples:\n\
    \x20 ringout repair machine.toml replace-wire 31C --record job.toml --by RK\n\
    \x20 ringout repair machine.toml undo")]
#[command(subcommand_precedence_over_arg = true)]
pub(super) struct RepairArgs {
    /// The harness definition (TOML); the files it uses are found from it
    harness: PathBuf,
    #[command(subcommand)]
    kind: KindArg,
    #[command(flatten)]
    how: How,
}

#[derive(Debug, clap::Args)]
struct How {
    /// The record of readings that led here: its evidence goes into the log
    #[arg(long, value_name = "FILE", global = true)]
    record: Option<PathBuf>,
    /// The log of repairs (TOML); beside the definition, ending in -repairs.toml, where left out
    #[arg(long, value_name = "FILE", global = true)]
    log: Option<PathBuf>,
    /// The new revision; the next letter or number where left out
    #[arg(long, value_name = "NAME", global = true)]
    revision: Option<String>,
    /// What was found, in words
    #[arg(long, value_name = "TEXT", global = true, allow_hyphen_values = true)]
    found: Option<String>,
    /// What was used: repeat it for each
    #[arg(long = "material", value_name = "TEXT", global = true, allow_hyphen_values = true)]
    materials: Vec<String>,
    /// Who did it
    #[arg(long, value_name = "NAME", global = true)]
    by: Option<String>,
    /// When, as 2026-05-02T09:14:00Z; now, where left out
    #[arg(long, value_name = "TIME", global = true)]
    at: Option<String>,
    /// The engineering approval for what is never done otherwise; it is logged
    #[arg(long = "override", value_name = "REASON", global = true)]
    approval: Option<String>,
    /// Replace the definition; the old revision is kept beside it under its name
    #[arg(long, global = true, conflicts_with = "output")]
    in_place: bool,
    /// Write the new revision to this file, in the folder of the old one
    #[arg(short, value_name = "FILE", global = true)]
    output: Option<PathBuf>,
    /// Overwrite what is there
    #[arg(long, global = true)]
    force: bool,
    #[arg(long, value_enum, default_value_t, global = true)]
    format: FormatArg,
}

pub(super) fn run(args: &RepairArgs) -> anyhow::Result<Outcome> {
    let _held = files::lock(&args.harness)?;
    let loaded = source(&args.harness).load_with_warnings()?;
    if let KindArg::Undo { repair } = &args.kind {
        return undo(args, &loaded, repair.as_deref());
    }
    let harness = &loaded.harness;
    let work = work(harness, &args.kind)?;
    let sealed = matches!(args.kind, KindArg::Splice { sealed: true, .. });
    if args.how.approval.as_ref().is_some_and(|reason| reason.trim().is_empty()) {
        bail!("--override needs the reason: who approved it, and where that stands");
    }
    let target = match (&args.how.output, args.how.in_place) {
        (Some(path), _) => Some(beside(path, &args.harness)?),
        (None, true) => Some(args.harness.display().to_string()),
        (None, false) => None,
    };
    let names = (args.how.revision.as_deref(), target.as_deref());
    let edited = repair::apply(&loaded, &work, names, (sealed, args.how.approval.is_some()))?;
    let new = proven(args, &loaded, &edited)?;
    let mut entry = entry(args, harness, &new, work.kind())?;
    entry.set_edit(&edited);
    entry.finding.extend(worse(harness, &new, &edited)?);
    let (files, log) = write(args, &loaded, &edited, &mut entry)?;
    let top = files.last().cloned().unwrap_or_default();
    let retest = format!("ringout plan {top} --after {}", after_argument(&log, &top, &entry.id));
    let (view, sheet) = sheet::repair(&new, &entry, files, retest);
    output::show(args.how.format, &view, &sheet)?;
    Ok(Outcome::Well)
}

fn source(path: &Path) -> Source {
    Source { harness: path.to_owned(), variant: None }
}

/// How `plan --after` names an entry: by its id alone where the log is the usual one.
fn after_argument(log: &Path, top: &str, id: &str) -> String {
    if *log == usual_log(Path::new(top)) { id.to_owned() } else { format!("{}#{id}", log.display()) }
}

/// The new file must lie beside the old one: the files that it uses are named from there.
fn beside(path: &Path, harness: &Path) -> anyhow::Result<String> {
    let folder = |path: &Path| path.parent().unwrap_or(Path::new("")).to_owned();
    if folder(path) != folder(harness) {
        bail!(
            "{} is in another folder than {}: the files it uses are found from there",
            path.display(),
            harness.display()
        );
    }
    Ok(path.display().to_string())
}

/// The log that goes with a definition, whatever its revision.
pub(super) fn usual_log(harness: &Path) -> PathBuf {
    let base = base_name(&harness.display().to_string());
    let stem = base.strip_suffix(".toml").unwrap_or(&base);
    PathBuf::from(format!("{stem}-repairs.toml"))
}

/// Reads the new texts as `check` would, every variant too.
fn proven(args: &RepairArgs, old: &Loaded, edited: &Edited) -> anyhow::Result<Harness> {
    let top = edited.files.last().ok_or_else(|| anyhow!("the repair changes nothing"))?;
    let folder = args.harness.parent().unwrap_or(Path::new("")).to_owned();
    let read_new = |path: &str| match edited.files.iter().find(|file| file.new == path) {
        Some(file) => Ok(file.text.clone()),
        None => common::read_plain(&folder.join(path)),
    };
    let new = load(&top.new, top.text.clone(), None, &mut |path| read_new(path)).map_err(|rejected| {
        output::note(&render(&rejected.diagnostics, &rejected.sources, output::styled()));
        Shown::new("the repaired definition would not pass `check`: nothing was written")
    })?;
    let (name, text) = old.sources.iter().next().unwrap_or_default();
    for variant in variants(old) {
        let before =
            load(name, text.to_owned(), Some(&variant), &mut |path| common::read_plain(&folder.join(path)));
        let after = load(&top.new, top.text.clone(), Some(&variant), &mut |path| read_new(path));
        if let (Ok(_), Err(rejected)) = (before, after) {
            output::note(&render(&rejected.diagnostics, &rejected.sources, output::styled()));
            let message = format!(
                "variant {variant} of the repaired definition would not pass `check`: nothing was written"
            );
            output::note(&format!("{message}\n"));
            return Err(Shown::new(message).into());
        }
    }
    Ok(new.harness)
}

fn variants(loaded: &Loaded) -> BTreeSet<String> {
    let of = |(_, text): (&str, &str)| Editor::new(text).map(|editor| editor.variants()).unwrap_or_default();
    loaded.sources.iter().flat_map(of).collect()
}

/// What the audit of the machine finds after the repair and did not find before.
fn worse(old: &Harness, new: &Harness, edited: &Edited) -> anyhow::Result<Vec<Found>> {
    let [before, after] = [Netlist::new(old), Netlist::new(new)];
    if after.links().len() > MOST_LINKS {
        return Ok(Vec::new());
    }
    let options = audit::Options::default();
    let before = audit::audit(old, &before, options)?.findings;
    let after = audit::audit(new, &after, options)?.findings;
    // A half of a wire has what the wire had.
    let alike = |rule: &str, subject: &str| {
        before.iter().any(|known| {
            let both = [subject, known.subject.as_str()];
            let halves = both.iter().all(|name| edited.touched.wires.iter().any(|wire| wire == name));
            known.rule == rule && (known.subject == subject || halves)
        })
    };
    let found = after.into_iter().filter(|finding| !alike(finding.rule, &finding.subject));
    Ok(found
        .map(|finding| Found {
            rule: finding.rule.to_owned(),
            message: finding.message,
            source: finding.source.to_owned(),
        })
        .collect())
}

/// The entry of the log, but for what the edit and the files say.
fn entry(args: &RepairArgs, old: &Harness, new: &Harness, kind: &str) -> anyhow::Result<Entry> {
    let how = &args.how;
    let side = |harness: &Harness| Side {
        revision: harness.about.revision.clone(),
        hash: harness.hash.clone(),
        file: String::new(),
    };
    let mut entry = Entry {
        at: Some(readings::time(how.at.as_deref())?),
        by: how.by.clone(),
        kind: kind.to_owned(),
        found: how.found.clone(),
        approval: how.approval.clone(),
        materials: how.materials.clone(),
        before: side(old),
        after: side(new),
        in_place: how.in_place,
        ..Entry::default()
    };
    if let Some(path) = &how.record {
        evidence(&mut entry, args, old, path)?;
    }
    Ok(entry)
}

/// What the readings of a record say.
fn evidence(entry: &mut Entry, args: &RepairArgs, harness: &Harness, path: &Path) -> anyhow::Result<()> {
    let record = common::read_record(harness, path)?;
    let log = log_path(args);
    entry.record = Some(named_from(path, &log)?);
    entry.record_hash = Some(hex(common::read_text(path)?.as_bytes()));
    if record.entries.is_empty() && record.places.is_empty() {
        bail!("{} has no readings: there is no evidence in it", path.display());
    }
    let netlist = Netlist::new(harness);
    let all = Evidence { entries: &record.entries, places: &record.places, twin: &[] };
    let diagnosis = locate::locate_for(harness, &netlist, &all, &Wishes::default(), &Meter::HANDHELD)?;
    entry.set_evidence(harness, &diagnosis);
    Ok(())
}

/// SHA-256 in lower-case hex.
pub(super) fn hex(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().fold(String::new(), |hex, byte| hex + &format!("{byte:02x}"))
}

fn log_path(args: &RepairArgs) -> PathBuf {
    args.how.log.clone().unwrap_or_else(|| usual_log(&args.harness))
}

/// How a log names a file: from its own folder where it lies there, else in full.
fn named_from(path: &Path, log: &Path) -> anyhow::Result<String> {
    let folder = |path: &Path| path.parent().unwrap_or(Path::new("")).to_owned();
    let name = path.file_name().map(|name| name.to_string_lossy().into_owned());
    match name {
        Some(name) if folder(path) == folder(log) => Ok(name),
        _ => Ok(std::path::absolute(path)?.display().to_string()),
    }
}

/// Reads a log where there is one.
pub(super) fn read_log(harness: &Harness, path: &Path) -> anyhow::Result<Vec<Entry>> {
    if !path.try_exists().with_context(|| format!("cannot look for {}", path.display()))? {
        return Ok(Vec::new());
    }
    let text = common::read_text(path)?;
    read(&harness.about.id, &text).with_context(|| path.display().to_string())
}

/// The entry that is named by its id, in the usual log, or as `FILE#ID`.
pub(super) fn entry_of(harness: &Harness, path: &Path, name: &str) -> anyhow::Result<(PathBuf, Entry)> {
    let (log, id) = match name.rsplit_once('#') {
        Some((file, id)) => (PathBuf::from(file), id),
        None => (usual_log(path), name),
    };
    if !log.try_exists().with_context(|| format!("cannot look for {}", log.display()))? {
        bail!("there is no log of repairs at {}: name it, as FILE#{id}", log.display());
    }
    let entries = read_log(harness, &log)?;
    let known: Vec<String> = entries.iter().map(|entry| entry.id.clone()).collect();
    match entries.into_iter().find(|entry| entry.id == id) {
        Some(entry) if entry.kind == "undo" => {
            bail!("{id} takes {} back: there is nothing to prove", entry.undoes.unwrap_or_default())
        }
        Some(entry) => Ok((log, entry)),
        None => bail!("{} has no entry `{id}`: it has {}", log.display(), known.join(", ")),
    }
}

/// Writes everything, the top file last; gives what was written.
fn write(
    args: &RepairArgs,
    loaded: &Loaded,
    edited: &Edited,
    entry: &mut Entry,
) -> anyhow::Result<(Vec<String>, PathBuf)> {
    let how = &args.how;
    let log = log_path(args);
    let folder = args.harness.parent().unwrap_or(Path::new("")).to_owned();
    let Some((top, used)) = edited.files.split_last() else { bail!("the repair changes nothing") };
    let top_path = PathBuf::from(&top.new);
    let old_text = loaded.sources.iter().next().map_or("", |(_, text)| text);
    let old_path = if how.in_place {
        PathBuf::from(new_name(&args.harness.display().to_string(), &entry.before.revision))
    } else {
        args.harness.clone()
    };
    if !how.in_place {
        free(&top_path, how.force)?;
    }
    let mut written = Vec::new();
    for Changed { new, text, .. } in used {
        let path = folder.join(new);
        write_new(&path, text, how.force)?;
        written.push(path.display().to_string());
    }
    if how.in_place {
        write_new(&old_path, old_text, how.force)?;
        written.push(old_path.display().to_string());
    }
    entry.before.file = named_from(&old_path, &log)?;
    entry.after.file = named_from(&top_path, &log)?;
    append(&loaded.harness, &log, entry)?;
    written.push(log.display().to_string());
    files::write(&top_path, top.text.as_bytes(), how.in_place || how.force)?;
    written.push(top_path.display().to_string());
    Ok((written, log))
}

/// Refuses a place where something stands.
fn free(path: &Path, force: bool) -> anyhow::Result<()> {
    let there = path.try_exists().with_context(|| format!("cannot look for {}", path.display()))?;
    if there && !force {
        bail!(
            "{} exists already: name another revision with --revision, or overwrite it with --force",
            path.display()
        );
    }
    Ok(())
}

/// Writes a file that may be there already with the same text: a repair that was stopped half-way is done again.
fn write_new(path: &Path, text: &str, force: bool) -> anyhow::Result<()> {
    if !force && std::fs::read(path).is_ok_and(|there| there == text.as_bytes()) {
        return Ok(());
    }
    free(path, force)?;
    files::write(path, text.as_bytes(), force)
}

/// Appends an entry under the log's lock, to a whole new file that takes the old one's place.
fn append(harness: &Harness, path: &Path, entry: &mut Entry) -> anyhow::Result<()> {
    let _held = files::lock(path)?;
    let entries = read_log(harness, path)?;
    entry.id = next_id(&entries);
    let exists = path.try_exists().with_context(|| format!("cannot look for {}", path.display()))?;
    let mut whole = if exists { common::read_text(path)? } else { head(&harness.about.id) };
    if !whole.ends_with('\n') {
        whole.push('\n');
    }
    whole.push('\n');
    whole.push_str(&entry.text()?);
    files::write(path, whole.as_bytes(), true)
}

/// Takes a repair back.
fn undo(args: &RepairArgs, loaded: &Loaded, id: Option<&str>) -> anyhow::Result<Outcome> {
    let harness = &loaded.harness;
    let log = log_path(args);
    let entries = read_log(harness, &log)?;
    let undone: BTreeSet<&str> = entries.iter().filter_map(|entry| entry.undoes.as_deref()).collect();
    let holds = |entry: &&Entry| entry.kind != "undo" && !undone.contains(entry.id.as_str());
    // An entry whose revision never came is passed over.
    let found = match id {
        Some(id) => entries.iter().find(|entry| entry.id == id),
        None => entries.iter().rev().filter(holds).find(|entry| entry.after.hash == harness.hash),
    };
    let Some(found) = found else {
        bail!(
            "{} has no repair{} that made this definition",
            log.display(),
            id.map(|id| format!(" {id}")).unwrap_or_default()
        );
    };
    if !holds(&found) {
        bail!("{} was taken back before, or is no repair", found.id);
    }
    if found.after.hash != harness.hash {
        bail!(
            "{} did not make this definition (revision {}): name the file that it made, or take back what came after it first",
            found.id,
            harness.about.revision
        );
    }
    let old_path = log.parent().unwrap_or(Path::new("")).join(&found.before.file);
    let old = source(&old_path).load_with_warnings().with_context(|| "the old revision cannot be read")?;
    if old.harness.hash != found.before.hash {
        bail!("{} is not what it was before {}: put it right by hand", old_path.display(), found.id);
    }
    let mut entry = entry(args, harness, &old.harness, "undo")?;
    entry.undoes = Some(found.id.clone());
    entry.done = format!("Took back {}: {}", found.id, found.done);
    entry.in_place = found.in_place;
    let mut written = Vec::new();
    entry.before.file.clone_from(&found.after.file);
    entry.after.file.clone_from(&found.before.file);
    if found.in_place {
        let kept = PathBuf::from(new_name(&args.harness.display().to_string(), &harness.about.revision));
        let text = loaded.sources.iter().next().map_or("", |(_, text)| text);
        write_new(&kept, text, args.how.force)?;
        written.push(kept.display().to_string());
        entry.before.file = named_from(&kept, &log)?;
        entry.after.file.clone_from(&found.after.file);
    }
    append(harness, &log, &mut entry)?;
    written.push(log.display().to_string());
    if found.in_place {
        let text = old.sources.iter().next().map_or("", |(_, text)| text);
        files::write(&args.harness, text.as_bytes(), true)?;
        written.push(args.harness.display().to_string());
    }
    let (view, mut sheet) = sheet::repair(&old.harness, &entry, written, String::new());
    if !found.in_place {
        sheet.notes.insert(0, format!("Go on with {}: it is as it was.", old_path.display()));
    }
    output::show(args.how.format, &view, &sheet)?;
    Ok(Outcome::Well)
}
