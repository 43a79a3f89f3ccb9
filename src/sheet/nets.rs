//! Nets: what conductors alone join in a setup.

use serde::Serialize;

use super::{Section, Sheet, Stamp};
use crate::definition::Harness;
use crate::netlist::{Link, Netlist};
use crate::setup::Setup;

/// All nets of a setup.
#[derive(Debug, Clone, Serialize)]
pub struct NetsView {
    /// The definition.
    pub harness: Stamp,
    /// Connectors that are unplugged.
    pub unplugged: Vec<String>,
    /// The nets of two points or more, in the order of their first point.
    pub nets: Vec<NetView>,
}

/// One net.
#[derive(Debug, Clone, Serialize)]
pub struct NetView {
    /// Its number.
    pub id: String,
    /// Its points.
    pub members: Vec<String>,
    /// The wires in it.
    pub wires: Vec<String>,
    /// Whether it is joined to the chassis.
    pub ground: bool,
}

/// The nets of a machine in a setup. Cost: near-linear in links.
pub fn nets(harness: &Harness, netlist: &Netlist, setup: &Setup) -> (NetsView, Sheet) {
    let nets = netlist.groups(|link| setup.joins(netlist, link));
    let mut wires: Vec<Vec<String>> = vec![Vec::new(); nets.len()];
    for link in netlist.links() {
        if let Link::Wire(wire) = netlist.link(link) {
            wires[nets.of(netlist.ends(link)[0])].push(harness.wires[wire].id.clone());
        }
    }
    let ground = nets.of(netlist.chassis());
    let shown = nets.iter().filter(|(_, members)| members.len() > 1);
    let views = shown.enumerate().map(|(at, (net, members))| NetView {
        id: format!("N{}", at + 1),
        members: members.iter().map(|n| netlist.point(*n)).map(|p| harness.point_name(p)).collect(),
        wires: std::mem::take(&mut wires[net]),
        ground: net == ground,
    });
    let view = NetsView {
        harness: Stamp::of(harness),
        nets: views.collect(),
        unplugged: setup.unplugged(harness).map(|c| harness.connectors[c].id.clone()).collect(),
    };
    let sheet = sheet(&view);
    (view, sheet)
}

fn sheet(view: &NetsView) -> Sheet {
    let row = |net: &NetView| {
        let ground = if net.ground { "ground" } else { "" };
        let chassis = crate::definition::Names::CHASSIS;
        let members: Vec<&str> = net.members.iter().map(String::as_str).filter(|m| *m != chassis).collect();
        vec![net.id.clone(), ground.to_owned(), members.join(" "), net.wires.join(" ")]
    };
    let mut sheet = Sheet::of("Nets", &view.harness);
    if !view.unplugged.is_empty() {
        sheet.heading.push(format!("unplugged: {}", view.unplugged.join(", ")));
    }
    sheet.sections.push(Section {
        columns: vec!["net", "ground", "points", "wires"],
        rows: view.nets.iter().map(row).collect(),
        ..Section::default()
    });
    sheet
}
