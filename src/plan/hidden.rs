//! Why no step of a plan shows a fault, and which change of setup would uncover it.
//!
//! Comes in: the machine as the plan leaves it while it reads paths, and a fault that none of the steps
//! shows. Goes out: the reason, with the part or plug that hides it, and what to do to see it. Why: what a
//! sweep cannot see is as much an answer as what it can, and the person at the machine can often move one
//! plug and see it after all.
//!
//! Cost: for each fault one way round and one search for the nearest probes, both within its island.

use std::collections::{BTreeSet, HashMap, VecDeque};

use petgraph::unionfind::UnionFind;

use crate::definition::{
    ConditionId, Harness, Id, Kind, MatingId, PartId, PartKind, Point, TerminalId, WireId,
};
use crate::fault::{Fault, HIGH_FROM, Universe};
use crate::measure::{Meter, Situation};
use crate::netlist::resistance::{self, Seen};
use crate::netlist::{Element, Link, LinkId, PartWay};
use crate::setup::plug_of;
use crate::units::Ohms;

/// Why no step shows a fault.
#[derive(Debug, Clone, PartialEq)]
pub struct Hidden {
    /// What hides it.
    pub reason: Reason,
    /// What to do to see it.
    pub uncover: Option<Uncover>,
}

/// What hides a fault.
#[derive(Debug, Clone, PartialEq)]
pub enum Reason {
    /// The plug is off while paths are read.
    Unplugged(MatingId),
    /// Current goes round it, through these parts or wires, over this resistance.
    WayRound {
        /// What lies on the way round.
        through: Vec<Element>,
        /// Its resistance.
        ohms: Ohms,
    },
    /// Beyond it no probe reaches anything.
    OutOfReach(Point),
    /// What lies in the way of every reading varies by as much.
    Within(PartId),
    /// The two are one net.
    OneNet,
    /// The two are joined through a part anyway.
    JoinedThrough(PartId),
    /// A unit is behind it, whose inside is not known.
    Unit(PartId),
    /// None of the meters at hand shows it.
    OutOfHand,
    /// It conducts only while a condition holds.
    Waits(ConditionId),
    /// A diode does not show to an ohmmeter.
    Diode,
    /// It shows only when the part works.
    Works,
    /// No reading of this plan lies across it.
    NotRead,
}

/// What would make a hidden fault show.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Uncover {
    /// Plug this in again, the others as they are, and read between these two.
    Mate(MatingId, [Point; 2]),
    /// Take this plug off too.
    Part(MatingId),
    /// Move a switch.
    Set(PartId, usize),
    /// Lift a wire off a terminal.
    Lift(WireId, TerminalId),
    /// Take a fuse out.
    Pull(PartId),
    /// Read between these two as things are.
    Read([Point; 2]),
    /// Take a plain meter.
    PlainMeter,
    /// Bring a condition about and read across the part.
    Bring(ConditionId),
    /// The diode range of the meter, with the plug off.
    DiodeRange,
    /// Work it, with power.
    Function,
}

impl Reason {
    /// The sort of reason, for counting.
    pub fn class(&self) -> &'static str {
        match self {
            Self::Unplugged(_) => "its plug is off while paths are read",
            Self::WayRound { .. } => "current finds a way round it",
            Self::OutOfReach(_) => "no probe reaches what lies beyond it",
            Self::Within(_) => "a load in the way varies by as much",
            Self::OneNet => "the two are one net: nothing changes between them",
            Self::JoinedThrough(_) => "the two are joined through a part anyway",
            Self::Unit(_) => "a unit is behind it, whose inside is not known",
            Self::OutOfHand => "no meter at hand shows it",
            Self::Waits(_) => "it conducts only while a condition holds",
            Self::Diode => "a diode does not show to an ohmmeter",
            Self::Works => "it shows only when the part works",
            Self::NotRead => "no reading of this plan lies across it",
        }
    }

    /// The reason with what hides the fault.
    pub fn words(&self, harness: &Harness) -> String {
        let part = |id: PartId| format!("{} {}", harness.parts[id].kind.word(), harness.parts[id].id);
        match self {
            Self::Unplugged(mating) => format!("{} is off while paths are read", plug(harness, *mating)),
            Self::WayRound { through, ohms } => {
                let names: Vec<String> = through.iter().map(|element| element.words(harness)).collect();
                format!("current finds a way round it of {:.3}, by {}", ohms, names.join(", "))
            }
            Self::OutOfReach(point) => {
                format!("no probe reaches what lies beyond it, at {}", harness.point_name(*point))
            }
            Self::Within(id) => format!("{} in the way varies by as much", part(*id)),
            Self::JoinedThrough(id) => format!("the two are joined through {} anyway", part(*id)),
            Self::Unit(id) => format!("{} is behind it, whose inside is not known", part(*id)),
            Self::Waits(condition) => {
                format!("it conducts only while this holds: {}", harness.conditions[*condition].title)
            }
            Self::OneNet | Self::OutOfHand | Self::Diode | Self::Works | Self::NotRead => {
                self.class().to_owned()
            }
        }
    }
}

impl Uncover {
    /// What to do, as an order.
    pub fn words(&self, harness: &Harness) -> String {
        let between = |points: &[Point; 2]| {
            let [a, b] = points.map(|point| harness.point_name(point));
            format!("read between {a} and {b}")
        };
        match self {
            Self::Mate(mating, points) => {
                format!("plug {} in, the others off, and {}", plug(harness, *mating), between(points))
            }
            Self::Part(mating) => format!("unplug {}", plug(harness, *mating)),
            Self::Set(switch, position) => {
                let name = crate::setup::position_name(harness, *switch, *position);
                format!("put {} at {name}", harness.parts[*switch].id)
            }
            Self::Lift(wire, terminal) => {
                format!("lift wire {} off {}", harness.wires[*wire].id, harness.terminals[*terminal].id)
            }
            Self::Pull(fuse) => format!("take {} out", harness.parts[*fuse].id),
            Self::Read(points) => between(points),
            Self::Bring(condition) => {
                format!("bring this about and read across it: {}", harness.conditions[*condition].title)
            }
            Self::PlainMeter => "take a plain meter to it".to_owned(),
            Self::DiodeRange => "use the meter's diode range, with the plug off".to_owned(),
            Self::Function => "work it, and read what it should switch".to_owned(),
        }
    }
}

fn plug(harness: &Harness, mating: MatingId) -> &str {
    &harness.connectors[plug_of(harness, mating)].id
}

/// A plug as it would be plugged in: its pairs of contacts, each with the islands on its two sides, which are numbered.
#[derive(Debug, Clone, Default)]
struct Plug {
    pairs: Vec<(LinkId, [usize; 2])>,
    islands: usize,
}

/// All plugs, by mating. Cost: near-linear in contacts.
fn plugs(situation: &Situation<'_>) -> Vec<Plug> {
    let mut plugs = vec![Plug::default(); situation.harness.matings.len()];
    let mut number: HashMap<(MatingId, u32), usize> = HashMap::new();
    for link in situation.netlist.links() {
        let Link::Mated { mating, .. } = situation.netlist.link(link) else { continue };
        let plug = &mut plugs[mating.index()];
        let islands = situation.netlist.ends(link).map(|node| {
            let next = plug.islands;
            let number = *number.entry((mating, situation.healthy().island(node))).or_insert(next);
            plug.islands = plug.islands.max(number + 1);
            number
        });
        plug.pairs.push((link, islands));
    }
    plugs
}

/// Looks round faults in the setup in which the plan reads paths.
pub(super) struct Search<'a> {
    situation: &'a Situation<'a>,
    universe: &'a Universe,
    /// For each link, whether current has no other way round it.
    bridges: Vec<bool>,
    /// What each plug would join.
    plugs: Vec<Plug>,
    /// What hides an open of a link, and what a bad joint: all elements of one link have that in common.
    known: HashMap<(LinkId, bool), Hidden>,
}

impl<'a> Search<'a> {
    pub(super) fn new(situation: &'a Situation<'a>, universe: &'a Universe) -> Self {
        let healthy = situation.healthy();
        let bridges = situation.netlist.bridges(|link| healthy.conducts(link));
        Self { situation, universe, bridges, plugs: plugs(situation), known: HashMap::new() }
    }

    /// Why no step shows a fault.
    pub(super) fn hidden(&mut self, fault: Fault) -> Hidden {
        let harness = self.situation.harness;
        let with = |reason, uncover| Hidden { reason, uncover };
        match fault {
            Fault::Open(Element::Part(part)) | Fault::PartShort(part)
                if matches!(harness.parts[part].kind, PartKind::Diode { .. }) =>
            {
                with(Reason::Diode, Some(Uncover::DiodeRange))
            }
            Fault::Dead(_) | Fault::StuckReleased(_) | Fault::StuckOperated(_) | Fault::Flat(_) => {
                with(Reason::Works, Some(Uncover::Function))
            }
            Fault::Open(element) | Fault::High(element) => {
                let Some(link) = self.universe.links(element).first() else {
                    return with(Reason::NotRead, None);
                };
                let key = (*link, matches!(fault, Fault::High(_)));
                if let Some(known) = self.known.get(&key) {
                    return known.clone();
                }
                let hidden = self.open(*link, fault);
                self.known.insert(key, hidden.clone());
                hidden
            }
            Fault::PartShort(part) | Fault::CoilOpen(part) => {
                let link = self.situation.netlist.links_of(part).find(|link| self.carries_load(*link));
                link.map_or_else(|| with(Reason::NotRead, None), |link| self.open(link, fault))
            }
            Fault::Short(..) | Fault::ToChassis(_) | Fault::Crossed(..) => self.joined(fault),
        }
    }

    fn carries_load(&self, link: LinkId) -> bool {
        !matches!(self.situation.netlist.link(link), Link::Part(_, PartWay::Released | PartWay::Operated))
    }

    /// An open or a bad joint of a link, or a part that is shorted.
    fn open(&self, link: LinkId, fault: Fault) -> Hidden {
        let Situation { harness, netlist, setup, .. } = self.situation;
        if let Link::Mated { mating, .. } = netlist.link(link)
            && setup.is_parted(mating)
        {
            return self.unplugged(link, mating, fault);
        }
        if let Link::Part(part, _) = netlist.link(link)
            && let PartKind::Load { when: Some(condition), .. } = &harness.parts[part].kind
            && !setup.holds(*condition)
        {
            return Hidden { reason: Reason::Waits(*condition), uncover: Some(Uncover::Bring(*condition)) };
        }
        if let Some(found) = self.round(link) {
            return found;
        }
        let sides = netlist.ends(link).map(|node| self.reach(node, Some(link), None));
        for (side, node) in sides.iter().zip(netlist.ends(link)) {
            let [Err(unit)] = [side] else { continue };
            let reason = unit.map_or(Reason::OutOfReach(netlist.point(node)), Reason::Unit);
            return Hidden { reason, uncover: self.unplug_near(node, Some(link)) };
        }
        let [Ok(a), Ok(b)] = sides else { return Hidden { reason: Reason::NotRead, uncover: None } };
        // Both sides can be reached, so only what lies in the way can hide it.
        if self.shows(Kind::Continuity, [a, b], fault) {
            return Hidden { reason: Reason::NotRead, uncover: Some(Uncover::Read([a, b])) };
        }
        match self.part_between([a, b].map(|point| self.situation.node(point)), is_load) {
            Some(part) => Hidden { reason: Reason::Within(part), uncover: self.unplug_part(part) },
            None => Hidden { reason: Reason::NotRead, uncover: None },
        }
    }

    /// Whether a reading between two points would show a fault.
    fn shows(&self, kind: Kind, [a, b]: [Point; 2], fault: Fault) -> bool {
        let situation = self.situation;
        let Ok(measurement) = situation.measure(kind, a, b) else { return false };
        let meter = Meter::HANDHELD;
        let expect = situation.expect(&measurement, &meter);
        let changes = self.universe.changes(situation.harness, situation.netlist, fault);
        expect.excludes(situation.predict(&measurement, &changes), kind, &meter)
    }

    /// A mated pair whose plug is off: where it could be read if it were in.
    fn unplugged(&self, link: LinkId, mating: MatingId, fault: Fault) -> Hidden {
        let reads = self.through_plug(link, mating, fault);
        let uncover = reads.map_or(Uncover::Function, |points| Uncover::Mate(mating, points));
        Hidden { reason: Reason::Unplugged(mating), uncover: Some(uncover) }
    }

    /// Two points that stay within reach when a plug is in again and between which only this pair of its
    /// contacts carries current, if a fault of the pair would show there.
    fn through_plug(&self, link: LinkId, mating: MatingId, fault: Fault) -> Option<[Point; 2]> {
        let [u, v] = self.situation.netlist.ends(link);
        if self.is_joined_beside(link, mating) {
            return None;
        }
        let [a, b] = [u, v].map(|node| self.reach(node, Some(link), Some(mating)).ok());
        let points = [a?, b?];
        (matches!(fault, Fault::Open(_)) || self.shows_high(points, link)).then_some(points)
    }

    /// Whether a bad joint of a mated pair would show in a reading across it, with nothing but the pair between
    /// what its two sides read already.
    fn shows_high(&self, points: [Point; 2], link: LinkId) -> bool {
        let Situation { harness, netlist, .. } = self.situation;
        let ends = netlist.ends(link);
        let side = |at: usize| self.situation.bounds(self.situation.node(points[at]), ends[at]);
        let contact = resistance::range(netlist, harness, link, Seen::Cold);
        let ([_, Some(near), Some(near_most)], [_, Some(far), Some(far_most)]) = (side(0), side(1)) else {
            return false;
        };
        let meter = Meter::HANDHELD;
        let most = near_most + far_most + contact.high.get();
        let most = most + meter.leads.get() + meter.uncertainty(Kind::Continuity, most);
        let bad = near + far + contact.nominal.get() + HIGH_FROM.get();
        bad - meter.uncertainty(Kind::Continuity, bad) > most
    }

    /// Whether the other contacts of a plug would make a way round one of them.
    fn is_joined_beside(&self, link: LinkId, mating: MatingId) -> bool {
        let plug = &self.plugs[mating.index()];
        let mut joined = UnionFind::<usize>::new(plug.islands);
        for (other, [a, b]) in &plug.pairs {
            if *other != link {
                joined.union(*a, *b);
            }
        }
        let own = plug.pairs.iter().find(|(other, _)| *other == link);
        own.is_some_and(|(_, [a, b])| joined.equiv(*a, *b))
    }

    /// The way round a link, if current finds one, and what would cut it.
    fn round(&self, link: LinkId) -> Option<Hidden> {
        if self.bridges[link.index()] {
            return None;
        }
        let Situation { netlist, .. } = self.situation;
        let healthy = self.situation.healthy();
        let [u, v] = netlist.ends(link);
        let cost = |other: LinkId, _| if other == link { None } else { healthy.ohms(other) };
        let way = netlist.way(u, v, cost)?;
        let ohms = way.steps.iter().filter_map(|(link, _)| healthy.ohms(*link)).sum();
        let named = |(link, _): &(LinkId, usize)| match netlist.link(*link) {
            Link::Part(part, _) => Some(Element::Part(part)),
            _ => None,
        };
        let mut through: Vec<Element> = way.steps.iter().filter_map(named).collect();
        if through.is_empty() {
            let wire = |(link, _): &(LinkId, usize)| match netlist.link(*link) {
                Link::Wire(wire) => Some(Element::Wire(wire)),
                _ => None,
            };
            through = way.steps.iter().filter_map(wire).take(3).collect();
        }
        let uncover = way.steps.iter().find_map(|(link, _)| self.cut(*link));
        Some(Hidden { reason: Reason::WayRound { through, ohms: Ohms::new(ohms) }, uncover })
    }

    /// How a person takes a link out of the way.
    fn cut(&self, link: LinkId) -> Option<Uncover> {
        let Situation { harness, netlist, setup, .. } = self.situation;
        match netlist.link(link) {
            Link::Mated { mating, .. } => Some(Uncover::Part(mating)),
            Link::Part(part, PartWay::Switch(pair)) => {
                let closed = netlist.closed_in(part, pair);
                let PartKind::Switch { positions, .. } = &harness.parts[part].kind else { return None };
                let open = (0..positions.len()).find(|at| !closed.contains(at));
                open.map(|at| Uncover::Set(part, at))
            }
            Link::Part(part, PartWay::Through)
                if matches!(harness.parts[part].kind, PartKind::Fuse { .. }) =>
            {
                Some(Uncover::Pull(part))
            }
            Link::Wire(wire) => harness.wires[wire].ends.into_iter().find_map(|end| match end {
                Point::Terminal(terminal) if setup.can_probe(harness, end) => {
                    Some(Uncover::Lift(wire, terminal))
                }
                _ => None,
            }),
            _ => None,
        }
    }

    /// The nearest point on one side of a link that a probe can touch, or the unit that is in the way; with
    /// one more plug in, if that is asked for.
    fn reach(
        &self,
        from: usize,
        but: Option<LinkId>,
        mated: Option<MatingId>,
    ) -> Result<Point, Option<PartId>> {
        let Situation { harness, netlist, setup, .. } = self.situation;
        let healthy = self.situation.healthy();
        let own = |point: Point| match point {
            Point::Contact(id) => Some(&harness.connectors[harness.contacts[id].connector]),
            _ => None,
        };
        let open = |point| own(point).is_none_or(|c| mated.is_none() || c.mating != mated || c.backprobe);
        let joins = |link| match netlist.link(link) {
            Link::Mated { mating, .. } if Some(mating) == mated => true,
            _ => healthy.conducts(link),
        };
        let mut seen = BTreeSet::from([from]);
        let mut queue = VecDeque::from([from]);
        let mut unit = None;
        while let Some(node) = queue.pop_front() {
            let point = netlist.point(node);
            let behind = harness.unit_behind(point);
            if point != Point::Chassis && behind.is_none() && setup.can_probe(harness, point) && open(point) {
                return Ok(point);
            }
            unit = unit.or(behind);
            for (link, other) in netlist.links_at(node) {
                if Some(link) != but && joins(link) && seen.insert(other) {
                    queue.push_back(other);
                }
            }
        }
        Err(unit)
    }

    /// A plug near a node that could come off to let a probe in.
    fn unplug_near(&self, node: usize, but: Option<LinkId>) -> Option<Uncover> {
        let Situation { harness, netlist, setup, .. } = self.situation;
        let near = netlist.links_at(node).filter(|(link, _)| Some(*link) != but);
        let mated = near.map(|(link, _)| netlist.link(link)).find_map(|link| match link {
            Link::Mated { mating, .. } if !setup.is_parted(mating) => Some(Uncover::Part(mating)),
            _ => None,
        });
        let own = match netlist.point(node) {
            Point::Contact(id) => harness.connectors[harness.contacts[id].connector].mating,
            _ => None,
        };
        mated.or_else(|| own.filter(|mating| !setup.is_parted(*mating)).map(Uncover::Part))
    }

    /// The plug of a part.
    fn unplug_part(&self, part: PartId) -> Option<Uncover> {
        let harness = self.situation.harness;
        let mating = harness.parts[part].kind.points().into_iter().find_map(|point| match point {
            Point::Contact(id) => harness.connectors[harness.contacts[id].connector].mating,
            _ => None,
        });
        mating.filter(|mating| !self.situation.setup.is_parted(*mating)).map(Uncover::Part)
    }

    /// A part of some kind on the way between two nodes.
    fn part_between(&self, [from, to]: [usize; 2], wanted: fn(&PartKind) -> bool) -> Option<PartId> {
        let Situation { harness, netlist, .. } = self.situation;
        let healthy = self.situation.healthy();
        let way = netlist.way(from, to, |link, _| healthy.ohms(link))?;
        way.steps.into_iter().find_map(|(link, _)| match netlist.link(link) {
            Link::Part(part, _) if wanted(&harness.parts[part].kind) => Some(part),
            _ => None,
        })
    }

    /// Two wires that touch or are exchanged.
    fn joined(&self, fault: Fault) -> Hidden {
        let Situation { harness, netlist, nets, .. } = self.situation;
        let start = |wire: WireId| self.situation.node(harness.wires[wire].ends[0]);
        let [a, b] = match fault {
            Fault::Short(a, b) | Fault::Crossed(a, b, _) => [start(a), start(b)],
            Fault::ToChassis(a) => [start(a), netlist.chassis()],
            _ => [netlist.chassis(); 2],
        };
        if nets.of(a) == nets.of(b) {
            return Hidden { reason: Reason::OneNet, uncover: None };
        }
        if let Some(part) = self.part_between([a, b], |_| true) {
            let fuse = matches!(harness.parts[part].kind, PartKind::Fuse { .. });
            let uncover = if fuse { Some(Uncover::Pull(part)) } else { self.unplug_part(part) };
            return Hidden { reason: Reason::JoinedThrough(part), uncover };
        }
        let mut probes = Vec::new();
        for node in [a, b] {
            match self.reach(node, None, None) {
                Ok(point) => probes.push(point),
                Err(_) if node == netlist.chassis() => probes.push(Point::Chassis),
                Err(unit) => {
                    let reason = unit.map_or(Reason::OutOfReach(netlist.point(node)), Reason::Unit);
                    return Hidden { reason, uncover: self.unplug_near(node, None) };
                }
            }
        }
        let shown = <[Point; 2]>::try_from(probes).ok().filter(|p| self.shows(Kind::Isolation, *p, fault));
        Hidden { reason: Reason::NotRead, uncover: shown.map(Uncover::Read) }
    }
}

/// Whether a part has a resistance that varies as loads do.
fn is_load(kind: &PartKind) -> bool {
    matches!(kind, PartKind::Load { .. } | PartKind::Relay { .. })
}
