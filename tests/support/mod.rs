//! What several tests share: reading the definitions of this repository.

use std::path::{Path, PathBuf};

use ringout::definition::{Harness, load};

/// A path below `harnesses/`.
pub(crate) fn path(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("harnesses").join(name)
}

/// The definition in a file below `harnesses/`.
pub(crate) fn harness(name: &str) -> Harness {
    let path = path(name);
    let text = std::fs::read_to_string(&path).unwrap();
    let folder = path.parent().unwrap().to_owned();
    let mut read = |used: &str| std::fs::read_to_string(folder.join(used)).map_err(|e| e.to_string());
    match load(name, text, None, &mut read) {
        Ok(loaded) => loaded.harness,
        Err(rejected) => panic!("{name}: {rejected:?}"),
    }
}
