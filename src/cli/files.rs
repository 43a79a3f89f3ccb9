//! Files that commands write: wholly there or not at all, and nothing overwritten unasked.
//!
//! Comes in: a path, its content, and whether an existing file may go. Goes out: the file. Why: a
//! half-written drawing or record is worse than none, and so is one that replaced another silently.

use std::fs::{self, File};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use tempfile::{NamedTempFile, TempPath};

/// Writes a file in one step: beside its place under another name, flushed to disk, then renamed.
///
/// # Errors
/// Where the file exists and `force` is not set, where the path names something that is no file, and
/// where the disk refuses. The old file, if there is one, is then untouched.
pub(super) fn write(path: &Path, content: &[u8], force: bool) -> anyhow::Result<()> {
    Staged::new(path, content, force)?.commit(force)
}

/// Writes several files, and none of them if one may not be written or does not fit on the disk.
///
/// # Errors
/// As [`write()`]; a rename that fails leaves the files before that.
pub(super) fn write_all(files: &[(PathBuf, String)], force: bool) -> anyhow::Result<()> {
    let staged = files.iter().map(|(path, content)| Staged::new(path, content.as_bytes(), force));
    let staged = staged.collect::<anyhow::Result<Vec<_>>>()?;
    staged.into_iter().try_for_each(|file| file.commit(force))
}

/// A file whose text is replaced by another.
pub(super) struct Replacement {
    /// The file.
    pub path: PathBuf,
    /// What was read from it.
    pub old: String,
    /// What shall stand there.
    pub new: String,
}

/// Replaces the texts of several files: of all of them, or of none.
///
/// # Errors
/// Where a file is not as it was read any more, and where the disk refuses. What was replaced before that is put back.
pub(super) fn replace_all(files: &[&Replacement]) -> anyhow::Result<()> {
    let staged = files.iter().map(|file| Staged::new(&file.path, file.new.as_bytes(), true));
    let staged = staged.collect::<anyhow::Result<Vec<_>>>()?;
    for file in files {
        if fs::read(&file.path).ok().as_deref() != Some(file.old.as_bytes()) {
            bail!("{} was changed by someone else meanwhile: nothing was written", file.path.display());
        }
    }
    commit_all(staged, files)
}

/// Puts staged files in their places; if one does not get there, those before it get their old texts back.
fn commit_all(staged: Vec<Staged<'_>>, files: &[&Replacement]) -> anyhow::Result<()> {
    for (at, file) in staged.into_iter().enumerate() {
        let Err(error) = file.commit(true) else { continue };
        for done in &files[..at] {
            write(&done.path, done.old.as_bytes(), true)
                .with_context(|| format!("{error:#}, and what was written before cannot be put back"))?;
        }
        return Err(error.context("nothing was written"));
    }
    Ok(())
}

/// A file that is on the disk under another name, and waits to be put in its place.
struct Staged<'a> {
    path: &'a Path,
    target: PathBuf,
    /// Closed, since there may be more of them than a program may have open.
    file: TempPath,
}

impl<'a> Staged<'a> {
    /// Writes the content beside its place and flushes it. A file that is replaced keeps its permissions.
    fn new(path: &'a Path, content: &[u8], force: bool) -> anyhow::Result<Self> {
        let target = target(path, force)?;
        let context = || format!("cannot write {}", path.display());
        let mut file = beside(&target).with_context(context)?;
        file.write_all(content).with_context(context)?;
        if let Ok(old) = fs::metadata(&target) {
            file.as_file().set_permissions(old.permissions()).with_context(context)?;
        }
        file.as_file().sync_all().with_context(context)?;
        Ok(Self { path, target, file: file.into_temp_path() })
    }

    fn commit(self, force: bool) -> anyhow::Result<()> {
        let Self { path, target, file } = self;
        let context = || format!("cannot write {}", path.display());
        if force {
            file.persist(&target).map_err(|e| e.error).with_context(context)?;
            return Ok(());
        }
        match file.persist_noclobber(&target) {
            Ok(()) => Ok(()),
            // Someone else was faster than the check before.
            Err(error) if error.error.kind() == ErrorKind::AlreadyExists => bail!(exists(path)),
            Err(error) => Err(error.error).with_context(context),
        }
    }
}

/// Makes sure that a folder is there.
///
/// # Errors
/// Where it cannot be made.
pub(super) fn folder(path: &Path) -> anyhow::Result<()> {
    fs::create_dir_all(path).with_context(|| format!("cannot make the folder {}", path.display()))
}

/// Waits for the lock that stands for a file: a file beside it, since the file itself is replaced at every
/// write. The lock is held until what this gives is dropped, and by nobody who was killed.
///
/// # Errors
/// Where the lock's own file cannot be made.
pub(super) fn lock(path: &Path) -> anyhow::Result<File> {
    let mut name = path.as_os_str().to_owned();
    name.push(".lock");
    let name = PathBuf::from(name);
    let held = File::create(&name).with_context(|| format!("cannot open the lock {}", name.display()))?;
    held.lock().with_context(|| format!("cannot lock {}", name.display()))?;
    Ok(held)
}

/// Where to write: the path itself, or what a link there leads to.
fn target(path: &Path, force: bool) -> anyhow::Result<PathBuf> {
    match fs::metadata(path) {
        Ok(found) if !found.is_file() => bail!("{} is not a file", path.display()),
        Ok(_) if !force => bail!(exists(path)),
        Ok(_) => fs::canonicalize(path).with_context(|| format!("cannot reach {}", path.display())),
        // A link that leads nowhere lands here too; without force the last step refuses it.
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(path.to_owned()),
        Err(error) => Err(error).with_context(|| format!("cannot reach {}", path.display())),
    }
}

fn exists(path: &Path) -> String {
    format!("{} exists already: --force overwrites it", path.display())
}

/// A new file in the same folder, so that the last step is a rename. Its permissions are those that
/// any new file gets.
fn beside(path: &Path) -> std::io::Result<NamedTempFile> {
    let folder = path.parent().filter(|f| !f.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut builder = tempfile::Builder::new();
    builder.prefix(".ringout-");
    #[cfg(unix)]
    let permissions = <fs::Permissions as std::os::unix::fs::PermissionsExt>::from_mode(0o666);
    #[cfg(unix)]
    builder.permissions(permissions);
    builder.tempfile_in(folder)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).unwrap();
        let mut names: Vec<String> =
            entries.map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }

    #[test]
    fn writes_once_and_again_only_by_force() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.svg");
        write(&path, b"one", false).unwrap();
        let refused = write(&path, b"two", false).unwrap_err().to_string();
        assert!(refused.ends_with("a.svg exists already: --force overwrites it"), "{refused}");
        assert_eq!(fs::read(&path).unwrap(), b"one");
        write(&path, b"two", true).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"two");
        assert_eq!(names(folder.path()), ["a.svg"]);
    }

    #[test]
    fn a_refusal_among_several_writes_none() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("b"), "old").unwrap();
        let files = ["a", "b"].map(|name| (folder.path().join(name), "new".to_owned()));
        assert!(write_all(&files, false).is_err());
        assert_eq!(names(folder.path()), ["b"]);
        write_all(&files, true).unwrap();
        assert_eq!(fs::read(folder.path().join("b")).unwrap(), b"new");
    }

    fn replacements(folder: &Path) -> Vec<Replacement> {
        let replacement = |name: &str| {
            fs::write(folder.join(name), "old").unwrap();
            Replacement { path: folder.join(name), old: "old".to_owned(), new: "new".to_owned() }
        };
        ["a", "b", "c"].map(replacement).into()
    }

    #[test]
    fn a_file_that_was_changed_meanwhile_keeps_all_as_they_are() {
        let folder = tempfile::tempdir().unwrap();
        let files = replacements(folder.path());
        fs::write(folder.path().join("b"), "another's").unwrap();
        let error = replace_all(&files.iter().collect::<Vec<_>>()).unwrap_err().to_string();
        assert!(error.contains("was changed by someone else"), "{error}");
        let texts = ["a", "b", "c"].map(|name| fs::read_to_string(folder.path().join(name)).unwrap());
        assert_eq!(texts, ["old", "another's", "old"]);
        fs::write(folder.path().join("b"), "old").unwrap();
        replace_all(&files.iter().collect::<Vec<_>>()).unwrap();
        assert_eq!(fs::read(folder.path().join("c")).unwrap(), b"new");
        assert_eq!(names(folder.path()), ["a", "b", "c"]);
    }

    #[test]
    fn what_was_written_before_a_failure_is_put_back() {
        let folder = tempfile::tempdir().unwrap();
        let files = replacements(folder.path());
        let files: Vec<&Replacement> = files.iter().collect();
        let staged = files.iter().map(|file| Staged::new(&file.path, file.new.as_bytes(), true));
        let staged: Vec<Staged<'_>> = staged.collect::<anyhow::Result<_>>().unwrap();
        // No file can be renamed over a folder.
        fs::remove_file(folder.path().join("b")).unwrap();
        fs::create_dir(folder.path().join("b")).unwrap();
        let error = commit_all(staged, &files).unwrap_err().to_string();
        assert_eq!(error, "nothing was written");
        let texts = ["a", "c"].map(|name| fs::read_to_string(folder.path().join(name)).unwrap());
        assert_eq!(texts, ["old", "old"]);
        assert_eq!(names(folder.path()), ["a", "b", "c"]);
    }

    #[test]
    fn what_is_no_file_is_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        for force in [false, true] {
            let error = write(folder.path(), b"x", force).unwrap_err().to_string();
            assert!(error.ends_with("is not a file"), "{error}");
            assert!(write(&folder.path().join("missing/a"), b"x", force).is_err());
        }
        assert!(names(folder.path()).is_empty());
    }

    #[cfg(unix)]
    #[test]
    fn permissions_are_those_of_any_new_file_and_links_stay_links() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let (plain, ours, link) =
            (folder.path().join("plain"), folder.path().join("ours"), folder.path().join("link"));
        fs::write(&plain, "").unwrap();
        write(&ours, b"", false).unwrap();
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode();
        assert_eq!(mode(&ours), mode(&plain));
        std::os::unix::fs::symlink(&ours, &link).unwrap();
        assert!(write(&link, b"through", false).is_err());
        write(&link, b"through", true).unwrap();
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
        assert_eq!(fs::read(&ours).unwrap(), b"through");
    }
}
