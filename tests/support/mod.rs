//! What several tests share: reading the definitions of this repository, and reading drawings back.

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

/// A contact as it stands in a drawing.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Drawn {
    /// Its name.
    pub(crate) contact: String,
    /// Its wires' ids.
    pub(crate) wires: Vec<String>,
    /// Its wires' colours, empty where the wire has none.
    pub(crate) colours: Vec<String>,
    /// Its wires' sizes.
    pub(crate) gauges: Vec<String>,
    /// Centre of its cavity.
    pub(crate) x: f64,
    /// Centre of its cavity, down.
    pub(crate) y: f64,
}

/// The contacts of every face in an SVG, in the drawing's order.
pub(crate) fn read_back(svg: &str) -> Vec<Drawn> {
    let read = roxmltree::Document::parse(svg).unwrap();
    let contacts = read.descendants().filter(|n| n.attribute("data-contact").is_some());
    contacts.map(drawn).collect()
}

fn drawn(node: roxmltree::Node) -> Drawn {
    let list = |name: &str, between: &str| {
        let text = node.attribute(name);
        text.map_or(Vec::new(), |t| t.split(between).map(str::to_owned).collect())
    };
    let circle = node.children().find(|n| n.tag_name().name() == "circle").unwrap();
    let number = |name: &str| circle.attribute(name).unwrap().parse::<f64>().unwrap();
    Drawn {
        contact: node.attribute("data-contact").unwrap().to_owned(),
        wires: list("data-wire", " "),
        colours: list("data-colour", " "),
        gauges: list("data-gauge", "; "),
        x: number("cx"),
        y: number("cy"),
    }
}
