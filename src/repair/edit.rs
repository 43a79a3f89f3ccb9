//! The repair as patches of a definition's text.

use std::collections::BTreeMap;

use super::audit::{self, Finding};
use super::possible::{RepairError, impossible, possible};
use super::revision;
use super::work::{self, NewWire, TouchedNames, Work, add};
use crate::definition::edit::{EditError, Editor, Entry, list, quoted};
use crate::definition::{ContactId, Harness, Loaded, Named, Point, Wire, WireId};
use crate::units::Metres;

/// A file of the new revision.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Changed {
    /// The name of the file it came from, as the definition was read; the top file's is its path.
    pub old: String,
    /// The new file's name, in the same folder.
    pub new: String,
    /// Its text.
    pub text: String,
}

/// A repair that was applied.
#[derive(Debug, Clone)]
pub struct Edited {
    /// The files that are new, the top file last.
    pub files: Vec<Changed>,
    /// The new revision.
    pub revision: String,
    /// What was touched, in names of the new revision.
    pub touched: TouchedNames,
    /// What was done, for people.
    pub words: String,
    /// What the rules for splices have to say.
    pub findings: Vec<Finding>,
}

/// Applies a repair to a definition's texts. `named` is the new revision's name, where somebody gives one; `top` is the
/// new name of the top file, where that is not made from the revision; `sealed` says whether splices are sealed ones; `approved` whether what is never done has
/// an approval.
///
/// # Errors
/// The repair contradicts the definition, breaks a rule that is never broken, or the text leaves no place for it.
pub fn apply(
    loaded: &Loaded,
    work: &Work,
    (named, top): (Option<&str>, Option<&str>),
    (sealed, approved): (bool, bool),
) -> Result<Edited, RepairError> {
    let harness = &loaded.harness;
    possible(harness, work)?;
    let findings = audit::findings(harness, work, sealed);
    if let Some(never) = findings.iter().find(|finding| finding.never && !approved) {
        return Err(RepairError::Never { message: never.message.clone(), source_named: never.source });
    }
    let old = &harness.about.revision;
    let revision = match named {
        Some(named) if named.trim().is_empty() || named == old => {
            return impossible(format!("the new revision needs a name of its own, not `{named}`"));
        }
        Some(named) => named.to_owned(),
        None => match revision::next(old) {
            Some(next) => next,
            None => {
                return impossible(format!(
                    "what follows revision `{old}` is not known: name it with --revision"
                ));
            }
        },
    };
    let mut files = Files::new(loaded);
    let mut touched = work::touched(harness, work);
    files.work(harness, work, &mut touched)?;
    let top_name = loaded.sources.iter().next().map(|(name, _)| name.to_owned()).unwrap_or_default();
    files.edit(&top_name, |editor| editor.set(&["harness"], "revision", &quoted(&revision)))?;
    let top = top.map_or_else(|| new_name(&top_name, &revision), str::to_owned);
    let files = files.finish(&top_name, &top, &revision)?;
    Ok(Edited { files, touched, words: work.words(harness), findings, revision })
}

/// The texts of a definition with what changes in each.
struct Files<'a> {
    texts: Vec<(&'a str, &'a str)>,
    loaded: &'a Loaded,
    changed: BTreeMap<String, Editor<'a>>,
}

impl<'a> Files<'a> {
    fn new(loaded: &'a Loaded) -> Self {
        Self { texts: loaded.sources.iter().collect(), loaded, changed: BTreeMap::new() }
    }

    fn edit(
        &mut self,
        file: &str,
        change: impl FnOnce(&mut Editor<'a>) -> Result<(), EditError>,
    ) -> Result<(), RepairError> {
        let wrong = |source| RepairError::Edit { file: file.to_owned(), source };
        if !self.changed.contains_key(file) {
            let text = self.texts.iter().find(|(name, _)| *name == file).map_or("", |(_, text)| text);
            self.changed.insert(file.to_owned(), Editor::new(text).map_err(wrong)?);
        }
        self.changed.get_mut(file).map_or(Ok(()), change).map_err(wrong)
    }

    fn file_of(&self, wire: &Wire) -> String {
        self.loaded.sources.name(wire.place.file()).to_owned()
    }

    /// Sets keys of a wire in the file that holds it.
    fn set_wire(&mut self, wire: &Wire, entries: &[Entry<'_>]) -> Result<(), RepairError> {
        let file = self.file_of(wire);
        self.edit(&file, |editor| {
            entries.iter().try_for_each(|(key, value)| editor.set_wire(&wire.id, key, value))
        })
    }

    fn work(
        &mut self,
        harness: &Harness,
        work: &Work,
        touched: &mut TouchedNames,
    ) -> Result<(), RepairError> {
        match work {
            Work::ReplaceWire { wire, new } => self.set_wire(&harness.wires[*wire], &entries(new)),
            Work::Reterminate { wire, length, .. } => {
                let new = NewWire { length: *length, ..NewWire::default() };
                self.set_wire(&harness.wires[*wire], &entries(&new))
            }
            Work::Splice { .. } => self.splice(harness, work, touched),
            Work::Move { from, to } => {
                self.move_to(harness, *from, *to, touched)?;
                match (harness.contacts[*from].mate, harness.contacts[*to].mate) {
                    (Some(from), Some(to)) => self.move_to(harness, from, to, touched),
                    _ => Ok(()),
                }
            }
            Work::ReplaceContact(_)
            | Work::Reseat(_)
            | Work::ReplaceConnector(_)
            | Work::Repin(..)
            | Work::ReplacePart(_) => Ok(()),
        }
    }

    /// The wire keeps its id up to the splice, as written from its first end; what lies beyond is a new wire.
    fn splice(
        &mut self,
        harness: &Harness,
        work: &Work,
        touched: &mut TouchedNames,
    ) -> Result<(), RepairError> {
        let Work::Splice { wire, from, at, id, station, new } = work else { return Ok(()) };
        let own = &harness.wires[*wire];
        let whole = own.length.unwrap_or(*at);
        let first = if *from == 0 { *at } else { whole - *at };
        let splice = splice_id(harness, id.as_deref())?;
        let station = splice_station(harness, own, first, whole, station.as_deref())?;
        let second = work::new_wire(harness, &own.id);
        let file = self.file_of(own);
        let routes = split_route(harness, *wire, first);
        let far = harness.point_name(own.ends[1]);
        // The new piece lies beyond the splice, seen from the end that the distance is counted from.
        let (kept_new, other_new) =
            if *from == 0 { (NewWire::default(), new.clone()) } else { (new.clone(), NewWire::default()) };
        self.edit(&file, |editor| {
            let mut more = vec![("id", quoted(&second)), ("from", quoted(&splice)), ("to", quoted(&far))];
            for key in ["gauge", "colour", "ampacity", "rated", "circuit", "twisted", "shield", "hazard"] {
                if let Some(value) = editor.of_wire(&own.id, key) {
                    more.push((key, value.to_owned()));
                }
            }
            if own.circuit.is_some() && crate::definition::wire_id::circuit_of(&second) != own.circuit {
                more.retain(|(key, _)| *key != "circuit");
                more.push(("circuit", quoted(own.circuit.as_deref().unwrap_or_default())));
            }
            for (key, value) in entries(&other_new) {
                more.retain(|(known, _)| *known != key);
                more.push((key, value));
            }
            more.push(("length", quoted(&length_text(whole - first))));
            let mut kept = vec![("to", quoted(&splice)), ("length", quoted(&length_text(first)))];
            kept.extend(entries(&kept_new));
            if let Some([before, behind]) = &routes {
                kept.push(("route", list(before)));
                more.push(("route", list(behind)));
            }
            for (key, value) in &kept {
                editor.set_wire(&own.id, key, value)?;
            }
            let mut about = vec![("title", quoted(&format!("Repair splice in wire {}", own.id)))];
            about.extend(station.iter().map(|station| ("station", quoted(station))));
            editor.add_behind(&own.id, &more, Some((&splice, &about)))
        })?;
        touched.wires = vec![own.id.clone(), second];
        touched.points = vec![splice];
        Ok(())
    }

    /// Wires and what the definition says of the pin go to another cavity; the old one is spare.
    fn move_to(
        &mut self,
        harness: &Harness,
        from: ContactId,
        to: ContactId,
        touched: &mut TouchedNames,
    ) -> Result<(), RepairError> {
        let connector = &harness.connectors[harness.contacts[from].connector];
        let (old, new) = (&harness.contacts[from], &harness.contacts[to]);
        let target = quoted(&harness.point_name(Point::Contact(to)));
        for wire in harness.wires_at(Point::Contact(from)) {
            let wire = &harness.wires[wire];
            for (key, end) in ["from", "to"].into_iter().zip(wire.ends) {
                if end == Point::Contact(from) {
                    self.set_wire(wire, &[(key, target.clone())])?;
                }
            }
            add(&mut touched.wires, &wire.id);
        }
        add(&mut touched.points, &harness.point_name(Point::Contact(to)));
        add(&mut touched.connectors, &connector.id);
        let file = self.loaded.sources.name(connector.place.file()).to_owned();
        self.edit(&file, |editor| {
            let [here, there] =
                [old, new].map(|contact| ["connector", connector.id.as_str(), "pin", contact.name.as_str()]);
            let mut there_is = Vec::new();
            there_is.extend(new.spare.then(|| ("spare", "false".to_owned())));
            there_is.extend(new.plugged.then(|| ("plugged", "false".to_owned())));
            there_is.extend(old.signal.as_deref().map(|signal| ("signal", quoted(signal))));
            there_is.extend(old.joined.then(|| ("joined", "true".to_owned())));
            if !there_is.is_empty() {
                editor.set_all(&there, &there_is)?;
            }
            if old.joined {
                editor.set(&here, "joined", "false")?;
            }
            if editor.exchange(&here, "signal", ("spare", "true")) {
                return Ok(());
            }
            editor.remove(&here, "signal")?;
            editor.set(&here, "spare", "true")
        })
    }

    /// The new texts under their new names. A file that uses a changed one changes with it.
    fn finish(mut self, top_name: &str, top: &str, revision: &str) -> Result<Vec<Changed>, RepairError> {
        let parsed: Vec<(&str, Vec<(String, String)>)> = self
            .texts
            .iter()
            .map(|(name, text)| {
                let used = Editor::new(text).map(|editor| editor.used()).unwrap_or_default();
                let folder = if *name == top_name {
                    ""
                } else {
                    name.rsplit_once('/').map_or("", |(folder, _)| folder)
                };
                (
                    *name,
                    used.into_iter()
                        .map(|path| (crate::definition::joined_path(folder, &path), path))
                        .collect(),
                )
            })
            .collect();
        loop {
            let before = self.changed.len();
            for (name, used) in &parsed {
                if used.iter().any(|(path, _)| self.changed.contains_key(path))
                    && !self.changed.contains_key(*name)
                {
                    self.edit(name, |_| Ok(()))?;
                }
            }
            if self.changed.len() == before {
                break;
            }
        }
        for (name, used) in &parsed {
            let renamed = used.iter().filter(|(path, _)| self.changed.contains_key(path)).cloned();
            for (_, written) in renamed.collect::<Vec<_>>() {
                let new = new_name(&written, revision);
                self.edit(name, |editor| editor.set_use(&written, &new))?;
            }
        }
        let mut files = Vec::new();
        for (old, editor) in self.changed {
            let text = editor.finish().map_err(|source| RepairError::Edit { file: old.clone(), source })?;
            let new = if old == top_name { top.to_owned() } else { new_name(&old, revision) };
            files.push(Changed { old, new, text });
        }
        files.sort_by_key(|file| file.old == top_name);
        Ok(files)
    }
}

/// The keys of a wire that is new.
fn entries(new: &NewWire) -> Vec<Entry<'static>> {
    let mut entries: Vec<Entry<'static>> = Vec::new();
    entries.extend(new.gauge.map(|gauge| ("gauge", quoted(&gauge.to_string()))));
    entries.extend(new.colour.as_ref().map(|colour| ("colour", quoted(&colour.to_string()))));
    entries.extend(new.length.map(|length| ("length", quoted(&length_text(length)))));
    entries
}

/// A length to the millimetre, as a definition writes it.
fn length_text(length: Metres) -> String {
    let millimetres = (length.get() * 1000.0).round().max(1.0);
    if millimetres < 100.0 {
        return format!("{millimetres} mm");
    }
    format!("{} m", millimetres / 1000.0)
}

fn splice_id(harness: &Harness, id: Option<&str>) -> Result<String, RepairError> {
    let Some(id) = id else { return Ok(work::new_splice(harness)) };
    match harness.names.get(id) {
        Some(other) => impossible(format!("`{id}` is the name of a {} already", Named::word(other))),
        None => Ok(id.to_owned()),
    }
}

/// Where one stands for a splice: as given, or where its nearer end is reached from.
fn splice_station(
    harness: &Harness,
    wire: &Wire,
    first: Metres,
    whole: Metres,
    given: Option<&str>,
) -> Result<Option<String>, RepairError> {
    if let Some(given) = given {
        if harness.stations.values().all(|station| station.id != given) {
            return impossible(format!("no station is called `{given}`"));
        }
        return Ok(Some(given.to_owned()));
    }
    let near = usize::from(first.get() * 2.0 > whole.get());
    let station = harness.station_of(wire.ends[near]).or(harness.station_of(wire.ends[1 - near]));
    Ok(station.map(|id| harness.stations[id].id.clone()))
}

/// The trunks before and behind a splice; the one that it lies in is in both. `None` where the wire has none.
fn split_route(harness: &Harness, wire: WireId, first: Metres) -> Option<[Vec<String>; 2]> {
    let route = &harness.wires[wire].route;
    if route.is_empty() {
        return None;
    }
    let names: Vec<String> = route.iter().map(|id| harness.trunks[*id].id.clone()).collect();
    let at = audit::trunk_at(harness, wire, first).map_or(0, |(at, _)| at);
    Some([names[..=at].to_vec(), names[at..].to_vec()])
}

/// A file's name without what marks its revision: `sprayer-rev-C.toml` to `sprayer.toml`.
pub fn base_name(path: &str) -> String {
    let (folder, file) = path.rsplit_once('/').map_or(("", path), |(folder, file)| (folder, file));
    let (stem, end) =
        file.rsplit_once('.').map_or((file, String::new()), |(stem, end)| (stem, format!(".{end}")));
    let stem = stem.split_once("-rev-").map_or(stem, |(stem, _)| stem);
    if folder.is_empty() && !path.starts_with('/') {
        format!("{stem}{end}")
    } else {
        format!("{folder}/{stem}{end}")
    }
}

/// The name of a file of another revision: `sprayer.toml` to `sprayer-rev-D.toml`.
pub fn new_name(path: &str, revision: &str) -> String {
    let base = base_name(path);
    // A revision may hold any sign; a file's name may not.
    let mark: String =
        revision.chars().map(|c| if c.is_ascii_alphanumeric() || c == '.' { c } else { '_' }).collect();
    let at = base.rfind('.').filter(|at| *at > base.rfind('/').map_or(0, |slash| slash + 1));
    let (stem, end) = base.split_at(at.unwrap_or(base.len()));
    format!("{stem}-rev-{mark}{end}")
}
