//! Readings of a lead held against its design.
//!
//! The lead lies on the bench: nothing is plugged into it, so the design is taken with every mating parted and every
//! switch at rest.

use std::collections::{BTreeMap, BTreeSet};

use super::lead::{Lead, Says, says};
use super::table::{Row, Rows};
use crate::definition::{Harness, Point};
use crate::netlist::{Netlist, Nets};
use crate::setup::{Isolated, Setup};
use crate::units::Ohms;

/// What a design does not explain.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Against {
    /// Points of the readings that the design does not have.
    pub unknown: Vec<String>,
    /// Readings that are otherwise than designed.
    pub differs: Vec<Differs>,
    /// Contacts that have changed places, where that explains what differs.
    pub exchanged: Vec<Exchange>,
    /// What the design joins between points that were read, and no reading proves or denies.
    pub unread: Vec<[String; 2]>,
    /// How many readings are as designed.
    pub agree: usize,
}

/// A reading that is otherwise than designed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Differs {
    /// Its row.
    pub row: usize,
    /// What was read, and what the design says.
    pub words: String,
}

/// Two contacts of a connector that carry each other's wire.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Exchange(pub String, pub String);

/// What the design says of two points.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Designed {
    Joined,
    ThroughPart,
    Apart,
}

struct Design<'a> {
    harness: &'a Harness,
    nets: Nets,
    groups: Nets,
}

impl<'a> Design<'a> {
    fn new(harness: &'a Harness) -> Self {
        let netlist = Netlist::new(harness);
        let parted = harness.matings.ids().fold(Isolated::at_rest(), Isolated::part);
        let setup = Setup::from(parted);
        let nets = netlist.groups(|link| setup.joins(&netlist, link));
        let groups = netlist.groups(|link| setup.passes_ohmmeter(&netlist, harness, link));
        Self { harness, nets, groups }
    }

    fn point(&self, name: &str) -> Option<Point> {
        self.harness.point(name).ok()
    }

    fn says(&self, ends: [Point; 2]) -> Designed {
        let [a, b] = ends.map(|point| self.harness.point_index(point));
        if self.nets.of(a) == self.nets.of(b) {
            Designed::Joined
        } else if self.groups.of(a) == self.groups.of(b) {
            Designed::ThroughPart
        } else {
            Designed::Apart
        }
    }

    fn net(&self, point: Point) -> usize {
        self.nets.of(self.harness.point_index(point))
    }
}

/// Holds the rows of a lead against a design. Cost: near-linear in the design and in the rows.
pub fn against(rows: &Rows, lead: &Lead, conductor: Ohms, harness: &Harness) -> Against {
    let design = Design::new(harness);
    let known: Vec<Option<Point>> = lead.points.iter().map(|name| design.point(name)).collect();
    let mut found = Against {
        unknown: lead
            .points
            .iter()
            .zip(&known)
            .filter(|(_, k)| k.is_none())
            .map(|(n, _)| n.clone())
            .collect(),
        ..Against::default()
    };
    for row in &rows.rows {
        let [Some(red), Some(black)] = row.ends.map(|point| known[point]) else { continue };
        let designed = design.says([red, black]);
        match (says(row.reading, conductor), designed) {
            (Says::Joined, Designed::Joined)
            | (Says::Through(_), Designed::ThroughPart)
            | (Says::Apart, Designed::Apart) => found.agree += 1,
            (_, designed) => {
                found.differs.push(Differs { row: row.number, words: words(row, lead, designed) });
            }
        }
    }
    found.unread = unread(lead, &known, &design);
    found.exchanged = exchanged(lead, &known, &design);
    found
}

fn words(row: &Row, lead: &Lead, designed: Designed) -> String {
    let [red, black] = row.ends.map(|point| &lead.points[point]);
    let should = match designed {
        Designed::Joined => "a conductor joins them",
        Designed::ThroughPart => "a part lies between them",
        Designed::Apart => "nothing joins them",
    };
    format!("{red} to {black} reads {}; by the design {should}", row.reading.words())
}

/// What the design joins and the readings leave open: each point of a designed net with the one before it.
fn unread(lead: &Lead, known: &[Option<Point>], design: &Design<'_>) -> Vec<[String; 2]> {
    let net_of = lead.net_of();
    let in_order = |[a, b]: [usize; 2]| [a.min(b), a.max(b)];
    let unread: BTreeSet<[usize; 2]> =
        lead.unread.iter().map(|ends| in_order(ends.map(|end| net_of[end]))).collect();
    let mut last: BTreeMap<usize, usize> = BTreeMap::new();
    let mut open = Vec::new();
    for (at, point) in known.iter().enumerate() {
        let Some(point) = point else { continue };
        if let Some(before) = last.insert(design.net(*point), at)
            && unread.contains(&in_order([net_of[before], net_of[at]]))
        {
            open.push([before, at].map(|point| lead.points[point].clone()));
        }
    }
    open
}

/// Contacts of one connector that carry each other's net: what is joined to the one should be joined to the other.
fn exchanged(lead: &Lead, known: &[Option<Point>], design: &Design<'_>) -> Vec<Exchange> {
    let net_of = lead.net_of();
    let connector = |at: usize| lead.points[at].split_once('.').map(|(connector, _)| connector);
    // For each contact, the designed nets of what it was read to be joined to.
    let mates = |at: usize| -> Vec<usize> {
        let joined = lead.nets[net_of[at]].points.iter().filter(|other| **other != at);
        let mut nets: Vec<usize> = joined
            .filter(|other| connector(**other) != connector(at))
            .filter_map(|other| known[*other].map(|point| design.net(point)))
            .collect();
        nets.sort_unstable();
        nets.dedup();
        nets
    };
    let own = |at: usize| known[at].map(|point| design.net(point));
    let mates: Vec<Vec<usize>> = (0..lead.points.len()).map(mates).collect();
    let mut found = Vec::new();
    for a in 0..lead.points.len() {
        for b in a + 1..lead.points.len() {
            let (Some(mine), Some(other)) = (own(a), own(b)) else { continue };
            let same = connector(a).is_some() && connector(a) == connector(b);
            if same && mine != other && mates[a] == [other] && mates[b] == [mine] {
                found.push(Exchange(lead.points[a].clone(), lead.points[b].clone()));
            }
        }
    }
    found
}
