//! What several commands share: reading a definition, and naming things in arguments.

use std::collections::BTreeMap;
use std::io::Read;
use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow, bail};

use super::output::{self, Shown};
use crate::definition::diagnostic::{Diagnostic, render};
use crate::definition::{ConnectorId, Harness, Loaded, MOST_BYTES, Point, load};
use crate::setup::Isolated;

/// The sentence every sheet ends with.
pub(super) const DEFERENCE: &str = "The maker's manual, local codes and licensed practice come first: \
    this program helps a trained person to plan and to reason, it does not release a machine.";

/// Which definition a command works on.
#[derive(Debug, clap::Args)]
pub(super) struct Source {
    /// The harness definition (TOML); the files it uses are found from it
    pub harness: PathBuf,
    /// Apply a variant of the definition
    #[arg(long, value_name = "NAME", global = true)]
    pub variant: Option<String>,
}

impl Source {
    /// Reads the definition; its errors are shown at once, its warnings are left to `check`.
    pub(super) fn load(&self) -> anyhow::Result<Harness> {
        Ok(self.load_with_warnings()?.harness)
    }

    /// Reads the definition and keeps its warnings.
    pub(super) fn load_with_warnings(&self) -> anyhow::Result<Loaded> {
        let name = self.harness.display().to_string();
        let text = read_text(&self.harness)?;
        let folder = self.harness.parent().unwrap_or(Path::new("")).to_owned();
        let mut read = |path: &str| read_plain(&folder.join(path));
        load(&name, text, self.variant.as_deref(), &mut read).map_err(|rejected| {
            output::note(&render(&rejected.diagnostics, &rejected.sources, output::styled()));
            output::note(&format!("{rejected}\n"));
            Shown::new(rejected.to_string()).into()
        })
    }
}

/// Reads a text file, but never more than a definition may hold.
pub(super) fn read_text(path: &Path) -> anyhow::Result<String> {
    read_plain(path).map_err(|reason| anyhow!("cannot read {}: {reason}", path.display()))
}

/// Reads a text file; the error is the reason in words, without the path.
pub(super) fn read_plain(path: &Path) -> Result<String, String> {
    let mut text = read_exactly(path)?;
    if text.starts_with(BYTE_ORDER_MARK) {
        text.drain(..BYTE_ORDER_MARK.len_utf8());
    }
    Ok(text)
}

/// The same with a byte order mark, where there is one: for a file that is written back.
pub(super) fn read_exactly(path: &Path) -> Result<String, String> {
    String::from_utf8(read_bytes(path)?).map_err(|error| {
        let good = &error.as_bytes()[..error.utf8_error().valid_up_to()];
        let line = good.split(|b| *b == b'\n').count();
        format!("it is not UTF-8 text (line {line}): save it as UTF-8")
    })
}

/// Reads a file of any kind, but never more than a definition may hold; the error is the reason in words.
pub(super) fn read_bytes(path: &Path) -> Result<Vec<u8>, String> {
    let file = std::fs::File::open(path).map_err(|error| error.to_string())?;
    let mut bytes = Vec::new();
    let most = MOST_BYTES as u64 + 1;
    file.take(most).read_to_end(&mut bytes).map_err(|error| error.to_string())?;
    if bytes.len() > MOST_BYTES {
        return Err(format!("it is larger than {} MiB", MOST_BYTES >> 20));
    }
    Ok(bytes)
}

/// Some editors put it in front of UTF-8 text; it is no part of the text.
const BYTE_ORDER_MARK: char = '\u{feff}';

/// Shows diagnostics on standard error.
pub(super) fn show_diagnostics(diagnostics: &[Diagnostic], loaded: &Loaded) {
    output::note(&render(diagnostics, &loaded.sources, output::styled()));
}

/// A connector named on the command line.
pub(super) fn connector(harness: &Harness, name: &str) -> anyhow::Result<ConnectorId> {
    if let Some(id) = harness.names.connector(name) {
        return Ok(id);
    }
    let near = harness.names.nearest(name, |n| matches!(n, crate::definition::Named::Connector(_)));
    match near {
        Some(near) => bail!("no connector is called `{name}`: did you mean `{near}`?"),
        None => bail!("no connector is called `{name}`"),
    }
}

/// A point named on the command line.
pub(super) fn point(harness: &Harness, name: &str) -> anyhow::Result<Point> {
    harness.point(name).map_err(|error| anyhow!("{error}: {}", error.help()))
}

/// The points of a strap, as `P1.A+P1.B` names them. A name may hold a plus itself: what can be read in two ways is
/// refused.
pub(super) fn strap(harness: &Harness, text: &str) -> anyhow::Result<Vec<String>> {
    let parts: Vec<&str> = text.split('+').collect();
    // The ways to read the first so many parts, two at most.
    let mut ways: Vec<Vec<Vec<String>>> = vec![vec![Vec::new()]];
    for end in 1..=parts.len() {
        let ending = (0..end).flat_map(|from| {
            let name = parts[from..end].join("+");
            let known = harness.point(&name).is_ok();
            let before = if known { ways[from].clone() } else { Vec::new() };
            before.into_iter().map(move |mut names| {
                names.push(name.clone());
                names
            })
        });
        let ending = ending.take(2).collect();
        ways.push(ending);
    }
    match &ways[parts.len()][..] {
        [one] => Ok(one.clone()),
        [] => {
            for part in &parts {
                point(harness, part).with_context(|| format!("--strapped {text}: write it as P1.A+P1.B"))?;
            }
            bail!("--strapped {text}: write it as P1.A+P1.B")
        }
        _ => bail!("--strapped {text} can be read in two ways: write the straps into the record by hand"),
    }
}

/// What of the machine's state, power apart, a reading is taken in.
#[derive(Debug, clap::Args)]
pub(super) struct StateArgs {
    /// Connectors that are unplugged: P1,P2
    #[arg(long, value_name = "CONNECTORS", value_delimiter = ',')]
    pub unplugged: Vec<String>,
    /// Switches that are not at rest: S1=run,S2=spray
    #[arg(long, value_name = "SWITCH=POSITION", value_delimiter = ',')]
    pub set: Vec<String>,
    /// Conditions that hold
    #[arg(long, visible_alias = "condition", value_name = "CONDITIONS", value_delimiter = ',')]
    pub conditions: Vec<String>,
}

/// A switch and its position, as `S1=run` names them.
pub(super) fn assignment(text: &str) -> anyhow::Result<(&str, &str)> {
    text.split_once('=').ok_or_else(|| anyhow!("--set {text}: write it as S1=run"))
}

/// Several of them.
pub(super) fn assignments(texts: &[String]) -> anyhow::Result<BTreeMap<String, String>> {
    let owned = |(switch, position): (&str, &str)| (switch.to_owned(), position.to_owned());
    texts.iter().map(|text| assignment(text).map(owned)).collect()
}

/// An isolated setup with some connectors unplugged, as `--unplug P1,P2` names them.
pub(super) fn unplugged(harness: &Harness, names: &[String]) -> anyhow::Result<Isolated> {
    let mut setup = Isolated::at_rest();
    for name in names {
        let id = connector(harness, name)?;
        match harness.connectors[id].mating {
            Some(mating) => setup = setup.part(mating),
            None => bail!("{name} has no mate: there is nothing to unplug"),
        }
    }
    Ok(setup)
}

/// Reads a record; a cut-off last entry is reported, any other mistake ends the command.
pub(super) fn read_record(harness: &Harness, path: &Path) -> anyhow::Result<crate::record::Record> {
    let text = read_text(path)?;
    let record = crate::record::read(harness, &path.display().to_string(), &text);
    output::note(&render(&record.diagnostics, &record.sources, output::styled()));
    if record.is_sound() {
        return Ok(record);
    }
    Err(Shown::new(format!("{} has errors", path.display())).into())
}
