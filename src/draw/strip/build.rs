//! The rows of a strip, one after the other.
//!
//! Comes in: a way, the wires of the circuit, the solved machine, and what to point out. Goes out: rows
//! and notes. Why: the main line, its branches and loose pieces are all walked by one set of rules.

use std::collections::BTreeSet;
use std::ops::Range;

use super::way::{Finder, Hop, Taken};
use super::{ElementRow, Place, PlaceKind, Sign, Stop, StripRow};
use crate::circuit::Operating;
use crate::definition::{Harness, LoadKind, PartId, PartKind, Point, WireId};
use crate::draw::face::Mark;
use crate::draw::highlight::Highlights;
use crate::netlist::resistance::{Seen, shares};
use crate::netlist::{Element, Link, LinkId, Netlist, PartWay};
use crate::setup::position_name;
use crate::units::{Ohms, Volts, significant};

/// No strip has more rows: what is left out is said on it.
const MOST_ROWS: usize = 400;
/// Branches of branches are folded out so deep.
const MOST_LANES: usize = 5;

/// Whether a way through a part is what a circuit is there for: a load, a coil, another source.
pub(super) fn takes_current(harness: &Harness, part: PartId, way: PartWay) -> bool {
    match way {
        PartWay::Coil | PartWay::Source => true,
        PartWay::Through => matches!(harness.parts[part].kind, PartKind::Load { .. }),
        _ => false,
    }
}

/// Collects rows.
pub(super) struct Builder<'a> {
    harness: &'a Harness,
    netlist: &'a Netlist,
    source: Option<(PartId, usize, usize)>,
    /// Wires of the circuit.
    wires: BTreeSet<WireId>,
    operating: Option<&'a Operating>,
    points_out: &'a Highlights,
    /// Links that are drawn.
    drawn: BTreeSet<LinkId>,
    /// Parts on the main line.
    shown: BTreeSet<PartId>,
    pub(super) rows: Vec<StripRow>,
    full: bool,
}

impl<'a> Builder<'a> {
    pub(super) fn new(
        finder: &Finder<'a>,
        wires: BTreeSet<WireId>,
        operating: Option<&'a Operating>,
        points_out: &'a Highlights,
    ) -> Self {
        let source = finder.source.as_ref().map(|s| (s.part, s.plus, s.minus));
        let (harness, netlist) = (finder.harness, finder.netlist);
        let (drawn, shown, rows) = (BTreeSet::new(), source.iter().map(|s| s.0).collect(), Vec::new());
        Self { harness, netlist, source, wires, operating, points_out, drawn, shown, rows, full: false }
    }

    /// The hops from the first wire of the circuit to the last, with what takes the current; all of them
    /// where something else is suspect.
    pub(super) fn own_part(&self, main: &Taken) -> Range<usize> {
        let is_own = |hop: &Hop| match *hop {
            Hop::Link(link, ..) => match self.netlist.link(link) {
                Link::Wire(wire) => self.wires.contains(&wire),
                Link::Part(part, way) => takes_current(self.harness, part, way),
                _ => false,
            },
            Hop::Unit(..) => true,
        };
        let is_suspect = |hop: &Hop| match *hop {
            Hop::Link(link, ..) => {
                self.netlist.elements(self.harness, link).iter().any(|e| self.points_out.share(*e).is_some())
            }
            Hop::Unit(part, ..) => self.points_out.share(Element::Part(part)).is_some(),
        };
        let wanted = |hop: &Hop| is_own(hop) || is_suspect(hop);
        let first = main.hops.iter().position(wanted).unwrap_or(0);
        let last = main.hops.iter().rposition(wanted).map_or(main.hops.len(), |last| last + 1);
        // A row or two are not worth leaving out.
        let last = if main.hops.len() - last < 3 { main.hops.len() } else { last };
        if first < 3 { 0..last } else { first..last }
    }

    /// Says what lies on a part of the way that is not drawn.
    fn skipped(&mut self, hops: &[Hop]) {
        if hops.is_empty() {
            return;
        }
        let mut parts: Vec<&str> = Vec::new();
        let mut wires = 0;
        for hop in hops {
            let Hop::Link(link, ..) = *hop else { continue };
            match self.netlist.link(link) {
                Link::Part(part, _) => parts.push(&self.harness.parts[part].id),
                Link::Wire(_) => wires += 1,
                _ => {}
            }
        }
        parts.dedup();
        let through = if parts.is_empty() { String::new() } else { format!(" and {}", parts.join(", ")) };
        let wires = if wires == 1 { "1 wire".to_owned() } else { format!("{wires} wires") };
        self.push(0, String::new(), Stop::Skipped(format!("not drawn here: {wires}{through}")));
    }

    /// The main line, with branches folded out where they leave it; of its hops those that are wanted.
    pub(super) fn main(&mut self, main: &Taken, wanted: Range<usize>) {
        for hop in &main.hops {
            match hop {
                Hop::Link(link, ..) => {
                    self.drawn.insert(*link);
                    if let Link::Part(part, _) = self.netlist.link(*link) {
                        self.shown.insert(part);
                    }
                }
                Hop::Unit(part, ..) => {
                    self.shown.insert(*part);
                }
            }
        }
        let ends = |hop: &Hop| std::iter::once(hop.from()).chain(hop.to());
        let nodes: Vec<usize> = main.hops.iter().flat_map(ends).collect();
        if main.fed {
            self.source_row("plus");
        }
        self.skipped(&main.hops[..wanted.start]);
        for hop in &main.hops[wanted.clone()] {
            self.point(hop.from(), 0, &nodes);
            self.forks(hop.from(), 0);
            match *hop {
                Hop::Link(link, from, to) => self.elements(link, from, to, 0),
                Hop::Unit(part, from, _) => self.unit(part, from, 0),
            }
        }
        let left_out = &main.hops[wanted.end..];
        if let (Some(end), false) =
            (main.hops[..wanted.end].last().and_then(|hop| hop.to()), left_out.is_empty())
        {
            self.point(end, 0, &nodes);
            self.forks(end, 0);
            self.skipped(left_out);
        }
        if let Some(last) = main.hops.last().and_then(|hop| hop.to()) {
            self.point(last, 0, &nodes);
            self.forks(last, 0);
            if !main.fed {
                self.ending(last, 0);
            }
        }
        if main.closed {
            self.source_row("minus");
        }
    }

    /// Wires of the circuit that hang on nothing drawn so far.
    pub(super) fn rest(&mut self) {
        loop {
            let left: Vec<LinkId> = self.netlist.links().filter(|link| self.is_own(*link)).collect();
            let Some(link) = left.first().copied() else { break };
            if self.full {
                break;
            }
            let [from, to] = self.netlist.ends(link);
            self.push(0, String::new(), Stop::Apart("Also of this circuit".to_owned()));
            self.drawn.insert(link);
            self.point(from, 0, &[]);
            self.forks(from, 0);
            self.elements(link, from, to, 0);
            self.follow(to, 0);
        }
    }

    /// Whether a link is a wire of the circuit that is not drawn yet.
    fn is_own(&self, link: LinkId) -> bool {
        let own = matches!(self.netlist.link(link), Link::Wire(wire) if self.wires.contains(&wire));
        own && !self.drawn.contains(&link)
    }

    /// Links that lead on from a node: wires of the circuit, and matings behind which it goes on.
    fn onward(&self, node: usize) -> Vec<(LinkId, usize)> {
        let goes_on = |link: LinkId, other: usize| match self.netlist.link(link) {
            Link::Wire(_) => self.is_own(link),
            Link::Mated { .. } => {
                let mut behind = self.netlist.links_at(other);
                let more = |(l, _): &(LinkId, usize)| {
                    self.is_own(*l) || matches!(self.netlist.link(*l), Link::Part(..))
                };
                !self.wires.is_empty() && !self.drawn.contains(&link) && behind.any(|near| more(&near))
            }
            _ => false,
        };
        let wired = |(link, other): &(LinkId, usize)| goes_on(*link, *other);
        self.netlist.links_at(node).filter(wired).collect()
    }

    /// All that leaves a node of a line that goes on itself.
    fn forks(&mut self, node: usize, lane: usize) {
        // A mating that leads on from the main line only by itself is no branch of the circuit.
        for (link, to) in self.onward(node) {
            self.branch(link, node, to, lane);
        }
    }

    fn branch(&mut self, link: LinkId, from: usize, to: usize, lane: usize) {
        if lane + 1 > MOST_LANES || self.full || !self.drawn.insert(link) {
            return;
        }
        self.push(lane + 1, String::new(), Stop::Fork);
        self.elements(link, from, to, lane + 1);
        self.follow(to, lane + 1);
    }

    /// A line from a node to where it ends; what leaves it on the way is folded out.
    fn follow(&mut self, node: usize, lane: usize) {
        let mut node = node;
        while !self.full {
            self.point(node, lane, &[]);
            let mut onward = self.onward(node);
            let Some((link, to)) = onward.pop() else { break };
            for (link, to) in onward {
                self.branch(link, node, to, lane);
            }
            if !self.drawn.insert(link) {
                break;
            }
            self.elements(link, node, to, lane);
            node = to;
        }
        self.ending(node, lane);
    }

    /// The parts at the end of a branch: side by side, so each but the last on a branch of its own.
    fn ending(&mut self, node: usize, lane: usize) {
        let mut parts = BTreeSet::new();
        let at_node = self.netlist.links_at(node).filter_map(|(link, _)| {
            let Link::Part(part, _) = self.netlist.link(link) else { return None };
            (!self.drawn.contains(&link) && parts.insert(part)).then_some((link, part))
        });
        let at_node: Vec<(LinkId, PartId)> = at_node.take(4).collect();
        for (nth, (link, part)) in at_node.iter().enumerate() {
            let aside = usize::from(nth + 1 < at_node.len() && lane < MOST_LANES);
            if aside == 1 {
                self.push(lane + 1, String::new(), Stop::Fork);
            }
            let row = self.part(*link, *part, node);
            self.push(lane + aside, self.station(&[node]), Stop::Element(row));
        }
        if at_node.is_empty()
            && let Some(unit) = self.harness.unit_behind(self.netlist.point(node))
        {
            self.unit(unit, node, lane);
        }
    }

    fn push(&mut self, lane: usize, station: String, what: Stop) {
        if self.rows.len() >= MOST_ROWS {
            self.full = true;
            return;
        }
        self.rows.push(StripRow { lane, station, what });
    }

    /// The station of some nodes, if all have the same.
    fn station(&self, nodes: &[usize]) -> String {
        let stations = nodes.iter().map(|node| self.harness.station_of(self.netlist.point(*node)));
        let mut stations: Vec<_> = stations.collect();
        stations.dedup();
        let [Some(station)] = stations[..] else { return String::new() };
        let station = &self.harness.stations[station];
        if station.title.is_empty() { station.id.clone() } else { station.title.clone() }
    }

    fn point(&mut self, node: usize, lane: usize, main: &[usize]) {
        let point = self.netlist.point(node);
        let (kind, title) = match point {
            Point::Contact(id) => {
                (PlaceKind::Contact, self.harness.contacts[id].signal.clone().unwrap_or_default())
            }
            Point::Splice(id) => (PlaceKind::Splice, self.harness.splices[id].title.clone()),
            Point::Terminal(id) => (PlaceKind::Terminal, self.harness.terminals[id].title.clone()),
            Point::Chassis => (PlaceKind::Chassis, "the machine's frame".to_owned()),
        };
        let place = Place {
            name: self.harness.point_name(point),
            kind,
            title,
            also: if kind == PlaceKind::Chassis { Vec::new() } else { self.also(node, main) },
            volts: self.volts(node),
            mark: self.points_out.mark(point).unwrap_or_default(),
        };
        self.push(lane, self.station(&[node]), Stop::Place(place));
    }

    /// What joins a node and is not drawn: wires of other circuits, and parts.
    fn also(&self, node: usize, main: &[usize]) -> Vec<String> {
        let onward: BTreeSet<LinkId> = self.onward(node).into_iter().map(|(link, _)| link).collect();
        let mut also = Vec::new();
        for (link, other) in self.netlist.links_at(node) {
            if self.drawn.contains(&link) || onward.contains(&link) {
                continue;
            }
            let to = self.harness.point_name(self.netlist.point(other));
            match self.netlist.link(link) {
                Link::Wire(wire) => also.push(format!("{} to {to}", self.harness.wires[wire].id)),
                Link::Part(part, _) if !main.is_empty() && !self.shown.contains(&part) => {
                    also.push(self.harness.parts[part].id.clone());
                }
                _ => {}
            }
        }
        also.dedup();
        also
    }

    /// What is expected at a node, against the frame or the source's minus.
    fn volts(&self, node: usize) -> Option<Volts> {
        let (operating, (_, _, minus)) = (self.operating?, self.source?);
        let reference = if self.harness.has_chassis() { self.netlist.chassis() } else { minus };
        let volts = operating.volts_between(node, reference);
        // Rounding is no voltage.
        Some(Volts::new(if volts.abs() < 1e-4 { 0.0 } else { volts }))
    }

    fn source_row(&mut self, post: &str) {
        let Some((part, plus, minus)) = self.source else { return };
        let node = if post == "plus" { plus } else { minus };
        let own = &self.harness.parts[part];
        let volts = match &own.kind {
            PartKind::Battery { volts, .. } | PartKind::Alternator { volts, .. } => format!(", {volts}"),
            _ => String::new(),
        };
        let sign =
            if matches!(own.kind, PartKind::Alternator { .. }) { Sign::Alternator } else { Sign::Battery };
        let what = format!("{post} of {}{volts}", own.kind.word());
        let row = ElementRow { ohms: None, ..self.row(Element::Part(part), sign, what) };
        self.push(0, self.station(&[node]), Stop::Element(row));
    }

    fn unit(&mut self, part: PartId, node: usize, lane: usize) {
        let what = format!("unit {}: its inside is not probed", self.harness.parts[part].title);
        let row = self.row(Element::Part(part), Sign::Unit, what.replace("unit :", "unit:"));
        self.push(lane, self.station(&[node]), Stop::Element(row));
    }

    fn row(&self, element: Element, sign: Sign, what: String) -> ElementRow {
        ElementRow {
            id: element.id(self.harness),
            sign,
            what,
            colour: String::new(),
            gauge: String::new(),
            length: None,
            ohms: None,
            share: self.points_out.share(element),
            fault: None,
            open: false,
            followed: matches!(element, Element::Wire(wire) if self.points_out.wires.contains(&wire)),
        }
    }

    /// The elements of a link in the order of the walk.
    fn elements(&mut self, link: LinkId, from: usize, to: usize, lane: usize) {
        let station = self.station(&[from, to]);
        if let Link::Part(part, _) = self.netlist.link(link) {
            let row = self.part(link, part, from);
            return self.push(lane, station, Stop::Element(row));
        }
        let mut elements = shares(self.netlist, self.harness, link, Seen::Working);
        if self.netlist.ends(link)[0] != from {
            elements.reverse();
        }
        let open = self.operating.is_some_and(|operating| !operating.conducts(link));
        for (element, range) in elements {
            let (sign, what) = match element {
                Element::Wire(_) => (Sign::Wire, String::new()),
                Element::Termination(..) => (Sign::End, "wire end".to_owned()),
                Element::SpliceLeg(..) => (Sign::Leg, "splice leg".to_owned()),
                Element::Mated(..) => (Sign::Gate, "mated contact".to_owned()),
                Element::Bond(_) => (Sign::Bond, "bond to the frame".to_owned()),
                Element::Part(_) => continue,
            };
            let ohms = Some([range.low, range.high]);
            let mut row = ElementRow { ohms, open, ..self.row(element, sign, what) };
            if let Element::Wire(wire) = element {
                self.wire(&mut row, wire, from);
            }
            // An end belongs to the place where it is, the wire to the way between.
            let at = match element {
                Element::Termination(wire, side) | Element::SpliceLeg(wire, side) => {
                    self.station(&[self.harness.point_index(self.harness.wires[wire].ends[side as usize])])
                }
                _ => station.clone(),
            };
            self.push(lane, at, Stop::Element(row));
        }
    }

    fn wire(&self, row: &mut ElementRow, id: WireId, from: usize) {
        let wire = &self.harness.wires[id];
        row.colour = wire.colour.as_ref().map_or(String::new(), ToString::to_string);
        row.gauge = wire.gauge.map_or(String::new(), |gauge| gauge.to_string());
        row.length = wire.length;
        let distance = self.points_out.distances.iter().find(|(at, _)| *at == id).map(|(_, d)| d);
        row.fault =
            distance.zip(wire.length.filter(|length| length.get() > 0.0)).map(|(distance, length)| {
                let part = (distance.at.get() / length.get()).clamp(0.0, 1.0);
                let from_top = self.harness.point_index(distance.from) == from;
                let name = self.harness.point_name(distance.from);
                let [at, plus_minus] = [distance.at, distance.plus_minus].map(|m| significant(m.get(), 2));
                (if from_top { part } else { 1.0 - part }, format!("{at} m from {name}, ± {plus_minus} m"))
            });
    }

    fn part(&self, link: LinkId, part: PartId, from: usize) -> ElementRow {
        let own = &self.harness.parts[part];
        let Link::Part(_, way) = self.netlist.link(link) else {
            return self.row(Element::Part(part), Sign::Unit, String::new());
        };
        let forward = self.netlist.ends(link)[0] == from;
        let (sign, what) = self.part_words(part, way, forward);
        let ohms = shares(self.netlist, self.harness, link, Seen::Working);
        let ohms = ohms.first().map(|(_, range)| [range.low, range.high]);
        let told = matches!(way, PartWay::Source | PartWay::Diode);
        let open = !told && self.operating.is_some_and(|operating| !operating.conducts(link));
        let title = if own.title.is_empty() { what } else { format!("{what} · {}", own.title) };
        ElementRow { ohms: ohms.filter(|_| !told), open, ..self.row(Element::Part(part), sign, title) }
    }

    fn part_words(&self, part: PartId, way: PartWay, forward: bool) -> (Sign, String) {
        let ohms = |ohms: Ohms| ohms.to_string();
        match (&self.harness.parts[part].kind, way) {
            (PartKind::Fuse { breaker, rating, .. }, _) => {
                let rating = rating.map_or(String::new(), |r| format!(", {r}"));
                let (sign, word) = if *breaker { (Sign::Breaker, "breaker") } else { (Sign::Fuse, "fuse") };
                (sign, format!("{word}{rating}"))
            }
            (PartKind::Switch { .. }, PartWay::Switch(pair)) => {
                let closed = self.netlist.closed_in(part, pair).iter();
                let names: Vec<&str> = closed.map(|p| position_name(self.harness, part, *p)).collect();
                (Sign::Switch, format!("switch, closed in {}", names.join(", ")))
            }
            (PartKind::Relay { coil_ohms, .. }, PartWay::Coil) => {
                (Sign::RelayCoil, format!("relay coil, {}", ohms(*coil_ohms)))
            }
            (PartKind::Relay { .. }, PartWay::Operated) => {
                (Sign::RelayContact, "relay contact, closed while operated".to_owned())
            }
            (PartKind::Relay { .. }, _) => {
                (Sign::RelayContact, "relay contact, closed while released".to_owned())
            }
            (PartKind::Diode { .. }, _) if forward => (Sign::Diode, "diode, passes this way".to_owned()),
            (PartKind::Diode { .. }, _) => (Sign::DiodeAgainst, "diode, blocks this way".to_owned()),
            (PartKind::Load { kind, ohms: value, .. }, _) => {
                let sign = match kind {
                    LoadKind::Resistor => Sign::Resistor,
                    LoadKind::Lamp => Sign::Lamp,
                    LoadKind::Motor => Sign::Motor,
                    LoadKind::Coil => Sign::Coil,
                    LoadKind::Sensor => Sign::Sensor,
                };
                (sign, format!("{}, {}", kind.word(), ohms(*value)))
            }
            (PartKind::Unit { functions }, PartWay::Drive(at)) => {
                (Sign::Driver, format!("drives {}", functions[at as usize].title))
            }
            (PartKind::Alternator { volts, .. }, _) => (Sign::Alternator, format!("alternator, {volts}")),
            (kind, _) => (Sign::Battery, kind.word().to_owned()),
        }
    }

    pub(super) fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        if self.full {
            notes.push(format!("The drawing stops after {MOST_ROWS} rows: the circuit goes on."));
        }
        let is_suspect = |row: &StripRow| matches!(&row.what, Stop::Element(e) if e.share.is_some());
        if self.rows.iter().any(is_suspect) {
            notes.push("Shaded with its share in percent: suspect after the readings so far.".to_owned());
        }
        let marked = |row: &StripRow| matches!(&row.what, Stop::Place(p) if p.mark != Mark::None);
        if self.rows.iter().any(marked) {
            notes.push("R red probe, B black probe; tick good, cross bad, dots not yet read.".to_owned());
        }
        notes
    }

    pub(super) fn figures(&self) -> Vec<String> {
        let mut notes = Vec::new();
        if self.operating.is_some() {
            let reference = if self.harness.has_chassis() { "the frame" } else { "the source's minus" };
            notes.push(format!("Expected voltages against {reference}, everything healthy."));
        }
        notes.push("Resistances: least and most of a healthy element.".to_owned());
        notes
    }
}
