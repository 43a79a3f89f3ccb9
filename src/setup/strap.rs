//! Shorting straps, loopback plugs, and caps on live contacts.
//!
//! A person has two probes. A strap makes many open contacts one point for a probe; a loopback plug joins
//! contacts of the far connector, so that one end is enough to read from. Both may be on the wiring only
//! while power is isolated, and power must never find them there. So a setup with straps is a type of its
//! own: [`Strapped`] has neither `connect` nor `part` nor `mate`, and the only way on from it is to take
//! every strap off. What it forbids cannot be written down:
//!
//! ```compile_fail,E0599
//! fn power_on(setup: ringout::setup::Strapped) {
//!     setup.connect(); // there is no such thing
//! }
//! ```
//!
//! ```compile_fail,E0599
//! fn strap(setup: ringout::setup::Connected, harness: &ringout::definition::Harness, strap: ringout::setup::Strap) {
//!     setup.fit(harness, strap); // nor this
//! }
//! ```

use std::collections::{BTreeMap, BTreeSet};

use super::{Isolated, Setup, SetupError, State};
use crate::definition::{ConnectorId, ContactId, Harness, MatingId, Point, StationId};

/// Open contacts and terminals of one place that are joined with each other, and the frame with them where it is
/// among them.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Strap(Vec<Point>);

/// Where a strap can reach to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// Whatever is at one station.
    Station(StationId),
    /// One connector, where the definition gives it no station.
    Connector(ConnectorId),
    /// One terminal without a station.
    Alone(Point),
}

impl Place {
    /// Where a point is; the frame is everywhere.
    pub fn of(harness: &Harness, point: Point) -> Option<Self> {
        match (harness.station_of(point), point) {
            (Some(station), _) => Some(Self::Station(station)),
            (None, Point::Chassis) => None,
            (None, Point::Contact(id)) => Some(Self::Connector(harness.contacts[id].connector)),
            (None, point) => Some(Self::Alone(point)),
        }
    }
}

impl Strap {
    /// A strap over some points.
    ///
    /// # Errors
    /// Fewer than two points, points of several places, or one that nothing may be joined to: a splice under
    /// its sleeve, the inside of a unit, a hazard mark.
    pub fn new(harness: &Harness, points: impl IntoIterator<Item = Point>) -> Result<Self, SetupError> {
        let points: BTreeSet<Point> = points.into_iter().collect();
        let name = |point: Point| harness.point_name(point);
        for point in points.iter().copied() {
            let why = match hazard_at(harness, point) {
                Some((what, hazard)) => Some(format!("{what} is marked as a hazard ({hazard})")),
                None if matches!(point, Point::Splice(_)) => {
                    Some("a splice lies under its sleeve".to_owned())
                }
                None => {
                    let unit = harness.unit_behind(point);
                    unit.map(|unit| format!("it leads into unit {}", harness.parts[unit].id))
                }
            };
            if let Some(why) = why {
                return Err(SetupError::NoStrap { point: name(point), why });
            }
        }
        let places: BTreeSet<Place> = points.iter().filter_map(|p| Place::of(harness, *p)).collect();
        if points.len() < 2 || places.is_empty() {
            return Err(SetupError::StrapOfOne);
        }
        if places.len() > 1 {
            let here = Place::of(harness, *points.iter().next().unwrap_or(&Point::Chassis));
            let other = points.iter().find(|p| Place::of(harness, **p) != here);
            let other = other.map_or_else(String::new, |p| name(*p));
            return Err(SetupError::StrapTooLong(other));
        }
        Ok(Self(points.into_iter().collect()))
    }

    /// What it joins, in order; at least two points.
    pub fn points(&self) -> &[Point] {
        &self.0
    }

    /// Whether it joins a point.
    pub fn holds(&self, point: Point) -> bool {
        self.0.binary_search(&point).is_ok()
    }

    /// The names of its points, as a record writes them.
    pub fn names(&self, harness: &Harness) -> Vec<String> {
        self.0.iter().map(|point| harness.point_name(*point)).collect()
    }

    /// What joins its points, each way with its resistance as a multiple of a strap's. Any two of three points are one
    /// strap apart, as in a loopback plug; of more every one is joined with the first.
    fn joins<'a>(&'a self, harness: &'a Harness) -> impl Iterator<Item = ([usize; 2], f64)> + 'a {
        let ends = |a: usize, b: usize| [a, b].map(|at| harness.point_index(self.0[at]));
        // In a ring of three each way has the two others beside it.
        let three = self.0.len() == 3;
        let straps = if three { 1.5 } else { 1.0 };
        let last = three.then(|| ends(1, 2));
        (1..self.0.len()).map(move |at| ends(0, at)).chain(last).map(move |ends| (ends, straps))
    }

    /// The connector that all its points belong to.
    fn connector(&self, harness: &Harness) -> Option<ConnectorId> {
        let of = |point: &Point| match point {
            Point::Contact(id) => Some(harness.contacts[*id].connector),
            _ => None,
        };
        let first = of(&self.0[0])?;
        self.0.iter().all(|point| of(point) == Some(first)).then_some(first)
    }

    /// Where one stands to fit it.
    pub fn station(&self, harness: &Harness) -> Option<StationId> {
        self.0.iter().find_map(|point| harness.station_of(*point))
    }

    /// Its points in words; a long row of contacts by its ends: "P1.3, P1.7 to P1.25".
    pub fn words(&self, harness: &Harness) -> String {
        points_words(harness, &self.0)
    }
}

/// Points in words; three contacts and more that follow each other in their connector by their ends.
pub(super) fn points_words(harness: &Harness, points: &[Point]) -> String {
    const ROW: usize = 3;
    let follows = |a: &Point, b: &Point| match (a, b) {
        (Point::Contact(a), Point::Contact(b)) => {
            use crate::definition::Id;
            harness.contacts[*a].connector == harness.contacts[*b].connector && a.index() + 1 == b.index()
        }
        _ => false,
    };
    let name = |point: &Point| harness.point_name(*point);
    let rows = points.chunk_by(follows).flat_map(|row| match row {
        [first, .., last] if row.len() >= ROW => vec![format!("{} to {}", name(first), name(last))],
        _ => row.iter().map(name).collect(),
    });
    rows.collect::<Vec<_>>().join(", ")
}

/// What marks a point as a hazard: the connector, a wire that ends there, or a part that attaches; with its mark.
pub fn hazard_at(harness: &Harness, point: Point) -> Option<(String, &str)> {
    let marked = |what: String, hazard: &'_ Option<String>| hazard.is_some().then_some(what);
    if let Point::Contact(id) = point {
        let connector = &harness.connectors[harness.contacts[id].connector];
        if let Some(what) = marked(format!("connector {}", connector.id), &connector.hazard) {
            return Some((what, connector.hazard.as_deref().unwrap_or_default()));
        }
    }
    for wire in harness.wires_at(point).map(|id| &harness.wires[id]) {
        if let Some(what) = marked(format!("wire {}", wire.id), &wire.hazard) {
            return Some((what, wire.hazard.as_deref().unwrap_or_default()));
        }
    }
    for part in harness.parts_at(point).map(|id| &harness.parts[id]) {
        if let Some(what) = marked(format!("part {}", part.id), &part.hazard) {
            return Some((what, part.hazard.as_deref().unwrap_or_default()));
        }
    }
    None
}

/// A setup with power isolated and at least one strap fitted.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Strapped {
    pub(super) state: State,
    straps: BTreeSet<Strap>,
}

impl Isolated {
    /// Fits a strap.
    ///
    /// # Errors
    /// A point of it that is not open: its connector is plugged in, or the contact is capped.
    pub fn fit(self, harness: &Harness, strap: Strap) -> Result<Strapped, SetupError> {
        Strapped { state: self.0, straps: BTreeSet::new() }.fit(harness, strap)
    }
}

impl Strapped {
    /// Fits another strap.
    ///
    /// # Errors
    /// A point of it that is not open, or that another strap is on.
    pub fn fit(mut self, harness: &Harness, strap: Strap) -> Result<Self, SetupError> {
        for point in strap.points().iter().copied() {
            let name = || harness.point_name(point);
            if self.straps.iter().any(|other| *other != strap && other.holds(point)) {
                return Err(SetupError::TwoStraps(name()));
            }
            if !self.state.is_open(harness, point) {
                let why = "it is not open: a strap needs the plug off and no cap on".to_owned();
                return Err(SetupError::NoStrap { point: name(), why });
            }
        }
        self.straps.insert(strap);
        Ok(self)
    }

    /// Takes a strap off; with the last one the setup is an isolated one again.
    pub fn unfit(mut self, strap: &Strap) -> Setup {
        self.straps.remove(strap);
        if self.straps.is_empty() { Isolated(self.state).into() } else { self.into() }
    }

    /// Takes all straps off.
    pub fn clear(self) -> Isolated {
        Isolated(self.state)
    }

    /// The straps, in order; at least one.
    pub fn straps(&self) -> impl ExactSizeIterator<Item = &Strap> {
        self.straps.iter()
    }
}

impl From<Strapped> for Setup {
    fn from(setup: Strapped) -> Self {
        Self::Strapped(setup)
    }
}

impl Setup {
    /// With another strap fitted.
    ///
    /// # Errors
    /// Power is connected, or the strap does not go on there.
    pub fn fit(self, harness: &Harness, strap: Strap) -> Result<Self, SetupError> {
        match self {
            Self::Isolated(setup) => setup.fit(harness, strap).map(Self::from),
            Self::Strapped(setup) => setup.fit(harness, strap).map(Self::from),
            Self::Connected(_) => Err(SetupError::StrapWithPower),
        }
    }

    /// The same without straps.
    #[must_use]
    pub fn bare(&self) -> Self {
        match self {
            Self::Strapped(setup) => setup.clone().clear().into(),
            other => other.clone(),
        }
    }

    /// The straps that are fitted, in order.
    pub fn straps(&self) -> impl Iterator<Item = &Strap> {
        let fitted = match self {
            Self::Strapped(setup) => Some(setup.straps.iter()),
            _ => None,
        };
        fitted.into_iter().flatten()
    }

    /// Whether a clip can go on a point: it is open, no hazard mark is on it and no unit behind it.
    pub fn takes_clip(&self, harness: &Harness, point: Point) -> bool {
        self.state().is_open(harness, point)
            && hazard_at(harness, point).is_none()
            && harness.unit_behind(point).is_none()
    }

    /// How many loopback plugs the straps are taken in hand as.
    pub fn loopback_plugs(&self, harness: &Harness) -> usize {
        in_hand(harness, self.straps()).0.len()
    }

    /// Whether a strap is fitted.
    pub fn is_strapped(&self) -> bool {
        matches!(self, Self::Strapped(_))
    }

    /// The pairs of nodes that straps join, each with its resistance as a multiple of a strap's.
    pub fn strap_joins<'a>(&'a self, harness: &'a Harness) -> impl Iterator<Item = ([usize; 2], f64)> + 'a {
        self.straps().flat_map(|strap| strap.joins(harness))
    }
}

/// Straps as a person takes them in hand: loopback plugs by their connector, and straps with clips.
pub(super) type InHand = (BTreeMap<ConnectorId, Vec<Strap>>, Vec<Strap>);

/// Straps as a person takes them in hand: two and more of two or three contacts each within one connector are one
/// loopback plug, unless another strap is on the same connector, where no clip would find room beside a plug; the
/// others are straps with clips.
pub(super) fn in_hand<'a>(harness: &'a Harness, straps: impl IntoIterator<Item = &'a Strap>) -> InHand {
    const PLUG: usize = 3;
    let mut plugs: BTreeMap<ConnectorId, Vec<Strap>> = BTreeMap::new();
    let mut clips = Vec::new();
    for strap in straps {
        match strap.connector(harness).filter(|_| strap.points().len() <= PLUG) {
            Some(connector) => plugs.entry(connector).or_default().push(strap.clone()),
            None => clips.push(strap.clone()),
        }
    }
    let at = |point: &Point| match point {
        Point::Contact(id) => Some(harness.contacts[*id].connector),
        _ => None,
    };
    let taken: BTreeSet<ConnectorId> = clips.iter().flat_map(Strap::points).filter_map(at).collect();
    plugs.retain(|connector, joined| {
        if joined.len() < 2 || taken.contains(connector) {
            clips.append(joined);
        }
        !joined.is_empty()
    });
    clips.sort_unstable();
    (plugs, clips)
}

/// A cap on an open contact. It belongs to the open mating, so that nothing is plugged in over it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) struct Cap {
    pub mating: Option<MatingId>,
    pub contact: ContactId,
}

impl Isolated {
    /// Puts a cap on a contact that lies open; on any other nothing changes.
    #[must_use]
    pub fn cap(mut self, harness: &Harness, contact: ContactId) -> Self {
        let mating = harness.connectors[harness.contacts[contact].connector].mating;
        if is_exposed(harness, &self.0, contact) {
            self.0.caps.insert(Cap { mating, contact });
        }
        self
    }

    /// Takes a cap off.
    #[must_use]
    pub fn uncap(mut self, contact: ContactId) -> Self {
        self.0.caps.retain(|cap| cap.contact != contact);
        self
    }
}

impl Setup {
    /// The contacts that are capped, in order.
    pub fn capped(&self) -> impl ExactSizeIterator<Item = ContactId> + '_ {
        let caps: BTreeSet<ContactId> = self.state().caps.iter().map(|cap| cap.contact).collect();
        caps.into_iter()
    }

    /// Whether anybody can touch a contact: its plug is off, or it never had a mate and no part sits in it; and
    /// no cap is on it.
    pub fn is_exposed(&self, harness: &Harness, contact: ContactId) -> bool {
        is_exposed(harness, self.state(), contact) && !self.state().is_capped(contact)
    }
}

fn is_exposed(harness: &Harness, state: &State, contact: ContactId) -> bool {
    match harness.connectors[harness.contacts[contact].connector].mating {
        Some(mating) => state.parted.contains(&mating),
        None => harness.parts_at(Point::Contact(contact)).len() == 0,
    }
}

impl State {
    pub(super) fn is_capped(&self, contact: ContactId) -> bool {
        self.caps.iter().any(|cap| cap.contact == contact)
    }

    /// Whether a clip can be put on a point.
    fn is_open(&self, harness: &Harness, point: Point) -> bool {
        match point {
            Point::Terminal(_) | Point::Chassis => true,
            Point::Splice(_) => false,
            Point::Contact(id) => {
                let mating = harness.connectors[harness.contacts[id].connector].mating;
                mating.is_none_or(|mating| self.parted.contains(&mating)) && !self.is_capped(id)
            }
        }
    }
}
