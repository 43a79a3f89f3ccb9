//! What a setup says, as a picture to draw.
//!
//! Comes in: a harness, a setup, a title and the probes. Goes out: a [`SetupView`]. Why: the drawing
//! itself knows no harness.

use std::collections::BTreeMap;

use super::{Moved, Parted, ProbeAt, Probes, ProbesView, SetupView};
use crate::definition::{Half, Harness, MatingId, PartId, PartKind, Point};
use crate::draw::face::stamp;
use crate::setup::{Setup, Strap, batteries, plug_of, position_name, switches};

/// A setup as it shall be drawn, with what it is called, and the probes of one reading where they shall
/// be shown.
pub fn setup_of(harness: &Harness, setup: &Setup, title: &str, probes: Option<Probes>) -> SetupView {
    let battery = |id: PartId| [harness.parts[id].id.clone(), harness.parts[id].title.clone()];
    let parted: Vec<Parted> = setup.parted().map(|mating| pair(harness, mating)).collect();
    let moved = setup.set().map(|(switch, at)| moved(harness, switch, at)).collect();
    let is_moved = |switch: PartId| setup.set().any(|(other, _)| other == switch);
    let at_rest = switches(harness).filter(|(switch, ..)| !is_moved(*switch));
    SetupView {
        title: title.to_owned(),
        harness: [harness.about.id.as_str(), &harness.about.title].join(" ").trim_end().to_owned(),
        power: setup.power(),
        batteries: batteries(harness).map(battery).collect(),
        together: harness.matings.len() - parted.len(),
        parted,
        moved,
        at_rest: at_rest.map(|(id, _, rest)| words(harness, id, rest)).collect(),
        conditions: setup.conditions().map(|id| harness.conditions[id].title.clone()).collect(),
        aids: aids(harness, setup),
        probes: probes.map(|probes| view(harness, setup, probes)),
        stamp: stamp(harness),
    }
}

fn words(harness: &Harness, switch: PartId, at: usize) -> String {
    format!("{} {}", harness.parts[switch].id, position_name(harness, switch, at))
}

fn station(harness: &Harness, point: Point) -> String {
    harness.station_of(point).map_or(String::new(), |id| {
        let station = &harness.stations[id];
        if station.title.is_empty() { station.id.clone() } else { station.title.clone() }
    })
}

fn pair(harness: &Harness, mating: MatingId) -> Parted {
    let plug = plug_of(harness, mating);
    let own = &harness.connectors[plug];
    let other = harness.mate_of(plug).map_or(String::new(), |mate| harness.connectors[mate].id.clone());
    let first = harness.contacts_of(plug).next();
    let station = first.map_or(String::new(), |contact| station(harness, Point::Contact(contact)));
    Parted { plug: own.id.clone(), other, title: own.title.clone(), station }
}

fn moved(harness: &Harness, switch: PartId, at: usize) -> Moved {
    let part = &harness.parts[switch];
    let positions = match &part.kind {
        PartKind::Switch { positions, .. } => positions.iter().map(|p| p.name.clone()).collect(),
        _ => Vec::new(),
    };
    Moved { id: part.id.clone(), title: part.title.clone(), positions, at }
}

/// Straps, as loopback plugs where several join contacts of one connector, and caps.
fn aids(harness: &Harness, setup: &Setup) -> Vec<String> {
    let mut by_connector: BTreeMap<String, Vec<&Strap>> = BTreeMap::new();
    let mut aids = Vec::new();
    for strap in setup.straps() {
        match one_connector(harness, strap) {
            Some(connector) => by_connector.entry(connector).or_default().push(strap),
            None => aids.push(format!("strap on {}", strap.words(harness))),
        }
    }
    for (connector, straps) in by_connector {
        if let [strap] = straps[..] {
            aids.push(format!("strap on {}", strap.words(harness)));
            continue;
        }
        let joined = straps.iter().map(|strap| strap.names(harness).join("+"));
        aids.push(format!(
            "straps or a loopback plug at {connector}: {}",
            joined.collect::<Vec<_>>().join(", ")
        ));
    }
    let capped: Vec<String> = setup.capped().map(|id| harness.point_name(Point::Contact(id))).collect();
    if !capped.is_empty() {
        aids.push(format!("caps on {}", capped.join(", ")));
    }
    aids
}

/// The connector that all points of a strap belong to.
fn one_connector(harness: &Harness, strap: &Strap) -> Option<String> {
    let of = |point: &Point| match point {
        Point::Contact(id) => Some(harness.contacts[*id].connector),
        _ => None,
    };
    let first = of(strap.points().first()?)?;
    let all = strap.points().iter().all(|point| of(point) == Some(first));
    all.then(|| harness.connectors[first].id.clone())
}

fn view(harness: &Harness, setup: &Setup, probes: Probes) -> ProbesView {
    let [red, black] = [probes.red, probes.black].map(|point| probe_at(harness, setup, point));
    ProbesView { kind: probes.kind.word(), ohms: probes.kind.is_resistance(), red, black }
}

/// Where a probe goes, how it is reached in a setup, and where one stands.
pub fn probe_at(harness: &Harness, setup: &Setup, point: Point) -> ProbeAt {
    let reachable = setup.can_probe(harness, point);
    let how = match point {
        Point::Terminal(id) if harness.terminals[id].ground => "ground terminal".to_owned(),
        Point::Terminal(_) => "terminal".to_owned(),
        Point::Splice(_) => "splice, under its sleeve".to_owned(),
        Point::Chassis => "clean metal of the frame".to_owned(),
        Point::Contact(id) => {
            let connector = &harness.connectors[harness.contacts[id].connector];
            let half = connector.half.map_or("contact", Half::word);
            let open = connector.mating.is_none_or(|mating| setup.is_parted(mating));
            match (open, connector.mating.is_some()) {
                (true, true) => format!("{half} of the open plug, from its mating side"),
                (true, false) => format!("{half} of {}", connector.id),
                (false, _) if connector.backprobe => "from the wire side: the plug stays in".to_owned(),
                (false, _) => "inside a closed plug".to_owned(),
            }
        }
    };
    ProbeAt { point: harness.point_name(point), how, station: station(harness, point), reachable }
}
