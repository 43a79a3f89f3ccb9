//! What readings prove of a lead.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use petgraph::unionfind::UnionFind;

use super::table::{Row, Rows};
use crate::measure::{OPEN_FROM, Reading};
use crate::units::Ohms;

/// What a reading says of its two points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Says {
    /// A conductor joins them.
    Joined,
    /// Something of so many ohms lies between them.
    Through(Ohms),
    /// Nothing joins them.
    Apart,
}

/// What is known of a lead.
#[derive(Debug, Clone, PartialEq)]
pub struct Lead {
    /// Its points, in natural order.
    pub points: Vec<String>,
    /// What conductors join, each with its points and the rows that prove it; points that nothing joins are nets of one.
    pub nets: Vec<Net>,
    /// Where something of some resistance lies between two nets.
    pub between: Vec<Between>,
    /// Readings that cannot be true together.
    pub contradictions: Vec<Contradiction>,
    /// Pairs of nets between which nobody has read, each by a point of both: they may be joined.
    pub unread: Vec<[usize; 2]>,
}

/// Points that conductors join.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Net {
    /// Its points.
    pub points: Vec<usize>,
    /// The rows that prove it.
    pub rows: Vec<usize>,
}

/// Something between two nets.
#[derive(Debug, Clone, PartialEq)]
pub struct Between {
    /// A point of each, those of the reading.
    pub ends: [usize; 2],
    /// What was read, the least where there are several readings.
    pub ohms: Ohms,
    /// The rows.
    pub rows: Vec<usize>,
}

/// A reading that others speak against.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Contradiction {
    /// Its row.
    pub row: usize,
    /// The rows that speak against it.
    pub against: Vec<usize>,
    /// In words.
    pub words: String,
}

/// What a reading says, with conductors below so many ohms.
pub(super) fn says(reading: Reading, conductor: Ohms) -> Says {
    match reading {
        Reading::Ohms(ohms) if ohms.get() < conductor.get() => Says::Joined,
        Reading::Ohms(ohms) if ohms.get() < OPEN_FROM.get() => Says::Through(ohms),
        Reading::Ohms(_) | Reading::Open | Reading::Volts(_) => Says::Apart,
        Reading::Tone => Says::Joined,
    }
}

impl Lead {
    /// What the rows prove.
    pub fn new(rows: &Rows, conductor: Ohms) -> Self {
        let joined: Vec<&Row> =
            rows.rows.iter().filter(|row| says(row.reading, conductor) == Says::Joined).collect();
        let net_of = net_of(rows.points.len(), &joined);
        let mut nets: BTreeMap<usize, Net> = BTreeMap::new();
        let mut number = BTreeMap::new();
        for (point, root) in net_of.iter().enumerate() {
            let next = number.len();
            let net = *number.entry(*root).or_insert(next);
            nets.entry(net)
                .or_insert_with(|| Net { points: Vec::new(), rows: Vec::new() })
                .points
                .push(point);
        }
        let of = |point: usize| number[&net_of[point]];
        for row in &joined {
            if let Some(net) = nets.get_mut(&of(row.ends[0])) {
                net.rows.push(row.number);
            }
        }
        let mut lead = Self {
            points: rows.points.clone(),
            nets: nets.into_values().collect(),
            between: Vec::new(),
            contradictions: Vec::new(),
            unread: Vec::new(),
        };
        lead.hold(rows, conductor, &joined, of);
        lead
    }

    /// Holds every reading that joins nothing against the nets.
    fn hold(&mut self, rows: &Rows, conductor: Ohms, joined: &[&Row], of: impl Fn(usize) -> usize) {
        let mut apart: BTreeMap<[usize; 2], Vec<usize>> = BTreeMap::new();
        let mut through: BTreeMap<[usize; 2], Between> = BTreeMap::new();
        for row in &rows.rows {
            let said = says(row.reading, conductor);
            let [a, b] = row.ends.map(&of);
            let key = [a.min(b), a.max(b)];
            let [red, black] = row.ends.map(|point| &self.points[point]);
            match said {
                Says::Joined => {}
                Says::Apart | Says::Through(_) if a == b => {
                    let against = way(row.ends, joined);
                    let words = format!(
                        "row {} reads {} between {red} and {black}, which {} join",
                        row.number,
                        row.reading.words(),
                        listed(&against)
                    );
                    self.contradictions.push(Contradiction { row: row.number, against, words });
                }
                Says::Apart => apart.entry(key).or_default().push(row.number),
                Says::Through(ohms) => {
                    let fresh = || Between { ends: row.ends, ohms, rows: Vec::new() };
                    let known = through.entry(key).or_insert_with(fresh);
                    known.rows.push(row.number);
                    if ohms.get() < known.ohms.get() {
                        known.ohms = ohms;
                    }
                }
            }
        }
        for (key, between) in &through {
            for row in apart.get(key).into_iter().flatten() {
                let words = format!("row {row} reads open where {} read a resistance", listed(&between.rows));
                self.contradictions.push(Contradiction { row: *row, against: between.rows.clone(), words });
            }
        }
        self.contradictions.sort_by_key(|found| found.row);
        let read = |key: &[usize; 2]| apart.contains_key(key) || through.contains_key(key);
        let nets = self.nets.len();
        let pairs = (0..nets).flat_map(|a| (a + 1..nets).map(move |b| [a, b]));
        self.unread =
            pairs.filter(|key| !read(key)).map(|key| key.map(|net| self.nets[net].points[0])).collect();
        self.between = through.into_values().collect();
    }

    /// For each point the place of its net.
    pub(super) fn net_of(&self) -> Vec<usize> {
        let mut of = vec![0; self.points.len()];
        for (at, net) in self.nets.iter().enumerate() {
            net.points.iter().for_each(|point| of[*point] = at);
        }
        of
    }
}

/// "row 4", "rows 2, 5 and 9".
fn listed(rows: &[usize]) -> String {
    let names: Vec<String> = rows.iter().map(ToString::to_string).collect();
    match &names[..] {
        [one] => format!("row {one}"),
        [first @ .., last] => format!("rows {} and {last}", first.join(", ")),
        [] => "no row".to_owned(),
    }
}

/// For each point one that stands for its net.
fn net_of(points: usize, joined: &[&Row]) -> Vec<usize> {
    let mut of = UnionFind::new(points);
    for row in joined {
        of.union(row.ends[0], row.ends[1]);
    }
    of.into_labeling()
}

/// The fewest rows that lead from one point to another.
fn way([from, to]: [usize; 2], joined: &[&Row]) -> Vec<usize> {
    let mut near: BTreeMap<usize, Vec<(usize, usize)>> = BTreeMap::new();
    for row in joined {
        let [a, b] = row.ends;
        near.entry(a).or_default().push((b, row.number));
        near.entry(b).or_default().push((a, row.number));
    }
    let mut seen = BTreeSet::from([from]);
    let mut queue = VecDeque::from([(from, Vec::new())]);
    while let Some((point, rows)) = queue.pop_front() {
        if point == to {
            return rows;
        }
        for (other, row) in near.get(&point).into_iter().flatten() {
            if seen.insert(*other) {
                queue.push_back((*other, rows.iter().copied().chain([*row]).collect()));
            }
        }
    }
    Vec::new()
}
