//! What a harness says about its trunks, as places and runs to draw.
//!
//! Comes in: a harness and what to point out. Goes out: a [`LayoutView`]. Why: the drawing itself knows
//! no harness. Where a definition has no trunks, wires between two places make a run.

use std::collections::{BTreeMap, BTreeSet};

use super::{Found, FoundKind, LayoutPlace, LayoutView, Run};
use crate::definition::{ConnectorId, Harness, Id, PartId, PartKind, Point, WireId};
use crate::draw::face::stamp;
use crate::draw::highlight::{Highlights, Share};
use crate::fault::{TouchBy, touching};
use crate::netlist::Element;
use crate::units::{Metres, significant};

/// A harness as it shall be laid out. Cost: linear in wires and trunks; with wires to follow, that of
/// listing which wires can touch.
pub fn layout_of(harness: &Harness, points_out: &Highlights) -> LayoutView {
    let mut map = Map::new(harness, points_out);
    let trunks_given = !harness.trunks.is_empty();
    if trunks_given {
        map.trunks();
    } else {
        map.made_from_wires();
    }
    let outside = map.furnish();
    map.faults();
    let notes = map.notes(&outside);
    LayoutView {
        name: harness.about.id.clone(),
        title: harness.about.title.clone(),
        pointed: map.pointed(),
        notes,
        stamp: stamp(harness),
        places: map.places,
        runs: map.runs,
        trunks_given,
    }
}

struct Map<'a> {
    harness: &'a Harness,
    points_out: &'a Highlights,
    places: Vec<LayoutPlace>,
    by_name: BTreeMap<String, usize>,
    runs: Vec<Run>,
}

impl<'a> Map<'a> {
    fn new(harness: &'a Harness, points_out: &'a Highlights) -> Self {
        Self { harness, points_out, places: Vec::new(), by_name: BTreeMap::new(), runs: Vec::new() }
    }

    /// The place of this name, made where it is new.
    fn place(&mut self, name: &str) -> usize {
        if let Some(at) = self.by_name.get(name) {
            return *at;
        }
        let title = self.title(name);
        self.places.push(LayoutPlace { name: name.to_owned(), title, items: Vec::new() });
        self.by_name.insert(name.to_owned(), self.places.len() - 1);
        self.places.len() - 1
    }

    fn title(&self, name: &str) -> String {
        let station = self.harness.stations.values().find(|station| station.id == name);
        if let Some(station) = station {
            return station.title.clone();
        }
        match self.harness.names.get(name) {
            Some(crate::definition::Named::Connector(id)) => self.harness.connectors[id].title.clone(),
            Some(crate::definition::Named::Splice(id)) => self.harness.splices[id].title.clone(),
            Some(crate::definition::Named::Terminal(id)) => self.harness.terminals[id].title.clone(),
            _ if self.harness.trunks.is_empty() => String::new(),
            _ => "breakout".to_owned(),
        }
    }

    /// Runs from the definition's trunks.
    fn trunks(&mut self) {
        let mut wires: BTreeMap<usize, usize> = BTreeMap::new();
        let mut followed = BTreeSet::new();
        let mut shares: BTreeMap<usize, Share> = BTreeMap::new();
        for (id, wire) in self.harness.wires.iter() {
            let share = self.points_out.share(Element::Wire(id));
            for trunk in &wire.route {
                *wires.entry(trunk.index()).or_insert(0) += 1;
                if self.points_out.wires.contains(&id) {
                    followed.insert(trunk.index());
                }
                if let Some(share) = share {
                    let known = shares.entry(trunk.index()).or_default();
                    *known = (*known).max(share);
                }
            }
        }
        for (id, trunk) in self.harness.trunks.iter() {
            let between = [self.place(&trunk.between[0]), self.place(&trunk.between[1])];
            self.runs.push(Run {
                id: trunk.id.clone(),
                between,
                length: trunk.length,
                wires: wires.get(&id.index()).copied().unwrap_or(0),
                followed: followed.contains(&id.index()),
                share: shares.get(&id.index()).copied(),
                faults: Vec::new(),
            });
        }
    }

    /// Runs from the wires between two places, as long as the wire in the middle of their lengths.
    fn made_from_wires(&mut self) {
        let mut between: BTreeMap<[usize; 2], Vec<WireId>> = BTreeMap::new();
        for (id, wire) in self.harness.wires.iter() {
            let [Some(a), Some(b)] = wire.ends.map(|point| self.name_of(point)) else { continue };
            let [a, b] = [self.place(&a), self.place(&b)];
            if a != b {
                between.entry([a.min(b), a.max(b)]).or_default().push(id);
            }
        }
        for (between, wires) in between {
            let mut lengths: Vec<f64> =
                wires.iter().filter_map(|id| self.harness.wires[*id].length.map(Metres::get)).collect();
            lengths.sort_by(f64::total_cmp);
            let share = wires.iter().filter_map(|id| self.points_out.share(Element::Wire(*id))).max();
            self.runs.push(Run {
                id: String::new(),
                between,
                length: lengths.get(lengths.len() / 2).copied().map(Metres::new),
                wires: wires.len(),
                followed: wires.iter().any(|id| self.points_out.wires.contains(id)),
                share,
                faults: Vec::new(),
            });
        }
    }

    /// What a point's place is called: its own name where a trunk uses it, else its station; without
    /// trunks its station, or else itself. Mated connectors without a station are one place.
    fn name_of(&self, point: Point) -> Option<String> {
        let own = match point {
            Point::Contact(id) => self.connector_name(self.harness.contacts[id].connector),
            Point::Splice(id) => self.harness.splices[id].id.clone(),
            Point::Terminal(id) => self.harness.terminals[id].id.clone(),
            Point::Chassis => return None,
        };
        let station = self.harness.station_of(point).map(|s| self.harness.stations[s].id.clone());
        if self.harness.trunks.is_empty() {
            return Some(station.unwrap_or(own));
        }
        let known = |name: &String| self.by_name.contains_key(name);
        Some(own).filter(known).or_else(|| station.filter(known))
    }

    fn connector_name(&self, id: ConnectorId) -> String {
        let connector = &self.harness.connectors[id];
        let alone = self.harness.trunks.is_empty() && connector.station.is_none();
        match self.harness.mate_of(id).filter(|mate| alone && *mate < id) {
            Some(mate) if self.harness.connectors[mate].station.is_none() => {
                self.harness.connectors[mate].id.clone()
            }
            _ => connector.id.clone(),
        }
    }

    /// Puts connectors, splices, terminals and parts where they belong; gives back what has no place.
    fn furnish(&mut self) -> Vec<String> {
        let harness = self.harness;
        let mut outside = Vec::new();
        let ends: BTreeSet<Point> =
            self.points_out.wires.iter().flat_map(|wire| harness.wires[*wire].ends).collect();
        for (id, connector) in harness.connectors.iter() {
            let mate = harness.mate_of(id);
            let here = self.connector_place(id);
            // A pair stands where its first half is, unless its halves are at two places.
            let pair = mate.filter(|mate| self.connector_place(*mate) == here);
            if pair.is_some_and(|mate| mate < id) {
                continue;
            }
            let halves = [Some(id), pair].into_iter().flatten();
            let contacts: Vec<Point> =
                halves.flat_map(|c| harness.contacts_of(c)).map(Point::Contact).collect();
            let (kind, name) = match pair {
                Some(mate) => (FoundKind::Mated, format!("{}–{}", connector.id, harness.connectors[mate].id)),
                // Its mate is found at another place.
                None if mate.is_some() => (FoundKind::Mated, connector.id.clone()),
                None => (FoundKind::Connector, connector.id.clone()),
            };
            let end = contacts.iter().any(|point| ends.contains(point));
            let found = Found { id: name, kind, share: self.share_at(&contacts), end };
            self.put(here, found, &mut outside);
        }
        for (id, splice) in harness.splices.iter() {
            let point = Point::Splice(id);
            let share = self.share_at(&[point]);
            let found =
                Found { id: splice.id.clone(), kind: FoundKind::Splice, share, end: ends.contains(&point) };
            self.put(self.at(point), found, &mut outside);
        }
        for (id, terminal) in harness.terminals.iter() {
            let point = Point::Terminal(id);
            let kind = if terminal.ground { FoundKind::Ground } else { FoundKind::Terminal };
            let share = self.share_at(&[point]).max(self.points_out.share(Element::Bond(id)));
            let found = Found { id: terminal.id.clone(), kind, share, end: ends.contains(&point) };
            self.put(self.at(point), found, &mut outside);
        }
        self.parts();
        outside
    }

    /// Suspect parts; others are found by the connectors and terminals they sit on.
    fn parts(&mut self) {
        for (element, share) in &self.points_out.suspects {
            let Element::Part(id) = *element else { continue };
            let place = self.part_place(id);
            let found = Found {
                id: self.harness.parts[id].id.clone(),
                kind: FoundKind::Part,
                share: Some(*share),
                end: false,
            };
            self.put(place, found, &mut Vec::new());
        }
    }

    fn part_place(&self, id: PartId) -> Option<usize> {
        let part = &self.harness.parts[id];
        let own = part.station.and_then(|s| self.by_name.get(&self.harness.stations[s].id)).copied();
        let points = match &part.kind {
            PartKind::Battery { plus, .. } | PartKind::Alternator { plus, .. } => vec![*plus],
            kind => kind.points(),
        };
        own.or_else(|| points.into_iter().find_map(|point| self.at(point)))
    }

    fn at(&self, point: Point) -> Option<usize> {
        self.by_name.get(&self.name_of(point)?).copied()
    }

    fn connector_place(&self, id: ConnectorId) -> Option<usize> {
        self.harness.contacts_of(id).next().and_then(|contact| self.at(Point::Contact(contact)))
    }

    fn put(&mut self, place: Option<usize>, found: Found, outside: &mut Vec<String>) {
        match place {
            Some(at) => self.places[at].items.push(found),
            None => outside.push(found.id),
        }
    }

    /// The largest share of a suspect that lies in some points: ends of wires, splice legs, mated contacts.
    fn share_at(&self, points: &[Point]) -> Option<Share> {
        let lies = |element: Element| match element {
            Element::Termination(wire, side) | Element::SpliceLeg(wire, side) => {
                points.contains(&self.harness.wires[wire].ends[side as usize])
            }
            Element::Mated(a, b) => {
                points.contains(&Point::Contact(a)) || points.contains(&Point::Contact(b))
            }
            _ => false,
        };
        let shares = self.points_out.suspects.iter().filter(|(element, _)| lies(*element));
        shares.map(|(_, share)| *share).max()
    }

    /// Marks the trunk in which a fault along a wire lies. Trunks seldom add up to the wire's length; the
    /// distance is taken in proportion.
    fn faults(&mut self) {
        let harness = self.harness;
        for (id, distance) in &self.points_out.distances {
            let wire = &harness.wires[*id];
            let Some(length) = wire.length.map(Metres::get).filter(|length| *length > 0.0) else { continue };
            let mut part = (distance.at.get() / length).clamp(0.0, 1.0);
            if distance.from != wire.ends[0] {
                part = 1.0 - part;
            }
            let long = |trunk: usize| self.runs[trunk].length.map_or(1.0, Metres::get);
            let route: Vec<usize> = wire.route.iter().map(|trunk| trunk.index()).collect();
            let total: f64 = route.iter().map(|trunk| long(*trunk)).sum();
            let mut at = self.at(wire.ends[0]);
            let mut left = part * total;
            for trunk in route {
                let own = long(trunk);
                let forward = at == Some(self.runs[trunk].between[0]);
                if left <= own && own > 0.0 {
                    let part = left / own;
                    self.runs[trunk].faults.push(if forward { part } else { 1.0 - part });
                    break;
                }
                left -= own;
                at = Some(self.runs[trunk].between[usize::from(forward)]);
            }
        }
    }

    /// What is pointed out, in words.
    fn pointed(&self) -> Vec<String> {
        let mut lines = Vec::new();
        let risks = if self.points_out.wires.is_empty() { Vec::new() } else { touching(self.harness).pairs };
        for id in &self.points_out.wires {
            lines.push(self.followed_words(*id));
            lines.extend(self.risk_words(*id, &risks));
        }
        let mut suspects = self.points_out.suspects.clone();
        suspects.sort_by_key(|(element, share)| (std::cmp::Reverse(*share), *element));
        for (element, share) in suspects.iter().take(12) {
            lines.push(format!(
                "Suspect, {share}: {}{}",
                element.words(self.harness),
                self.route_words(*element)
            ));
        }
        if suspects.len() > 12 {
            lines.push(format!("and {} more suspects", suspects.len() - 12));
        }
        for (wire, distance) in &self.points_out.distances {
            let name = self.harness.point_name(distance.from);
            let [at, plus_minus] = [distance.at, distance.plus_minus].map(|m| significant(m.get(), 2));
            let wire = &self.harness.wires[*wire].id;
            lines.push(format!("Fault on wire {wire}: {at} m from {name}, ± {plus_minus} m"));
        }
        lines
    }

    fn followed_words(&self, id: WireId) -> String {
        let wire = &self.harness.wires[id];
        let [from, to] = wire.ends.map(|point| self.harness.point_name(point));
        let length = wire.length.map_or(String::new(), |length| format!(", {length}"));
        format!("Wire {} from {from} to {to}{length}{}", wire.id, self.route_words(Element::Wire(id)))
    }

    fn route_words(&self, element: Element) -> String {
        let Element::Wire(id) = element else { return String::new() };
        let route = &self.harness.wires[id].route;
        let names: Vec<&str> = route.iter().map(|trunk| self.harness.trunks[*trunk].id.as_str()).collect();
        if names.is_empty() { String::new() } else { format!(", in {}", names.join(", ")) }
    }

    /// The wires that can touch a wire, and where.
    fn risk_words(&self, id: WireId, pairs: &[(WireId, WireId, TouchBy)]) -> Option<String> {
        let mut by_place: BTreeMap<TouchBy, Vec<&str>> = BTreeMap::new();
        for (a, b, by) in pairs {
            let other = if *a == id { *b } else { *a };
            if *a == id || *b == id {
                by_place.entry(*by).or_default().push(&self.harness.wires[other].id);
            }
        }
        let words = by_place.into_iter().map(|(by, wires)| {
            let place = match by {
                TouchBy::Connector(id) => format!("side by side in {}", self.harness.connectors[id].id),
                TouchBy::Lay => "twisted or shielded together".to_owned(),
                TouchBy::Trunk(id) => format!("in {}", self.harness.trunks[id].id),
            };
            format!("{} {place}", wires.join(", "))
        });
        let words = words.collect::<Vec<_>>().join("; ");
        (!words.is_empty()).then(|| format!("May chafe against: {words}"))
    }

    fn notes(&self, outside: &[String]) -> Vec<String> {
        let mut notes = Vec::new();
        if self.harness.trunks.is_empty() {
            notes.push(
                "The definition has no trunks: each run is made from the wires between two places, as long as the \
                 one in the middle of their lengths."
                    .to_owned(),
            );
        }
        if self.runs.iter().any(|run| run.length.is_none()) {
            notes.push("Dashed: length not given, drawn as 1 m.".to_owned());
        }
        if !outside.is_empty() {
            notes.push(format!("At no place of a trunk: {}.", outside.join(", ")));
        }
        notes
    }
}
