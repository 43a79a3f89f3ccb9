//! Fuses that a short may have blown before the first reading.
//!
//! Comes in: the netlist and a short. Goes out: the fuses that guard it. Why: whoever complains has worked the machine, with
//! switches in positions that no reading tells of. A fuse that is found open has a reason more often than not, and the short
//! that blew it must not be cleared because the record never closed the switch between them.
//!
//! It goes from the short through conductors, switch and relay contacts in any position, diodes and units' drivers to the next
//! fuse on the side of a source. Loads end the way: what flows through them blows nothing.
//!
//! Cost: once linear in links; for each short linear in what hangs together with it before the next fuses.

use std::collections::{BTreeSet, VecDeque};

use crate::circuit::Change;
use crate::definition::{Harness, PartKind};
use crate::netlist::{Link, LinkId, Netlist, PartWay};

/// No source reaches it.
const NEVER: u32 = u32::MAX;

/// How the fuses of a machine guard it.
pub(super) struct Guards<'a> {
    harness: &'a Harness,
    netlist: &'a Netlist,
    /// How many fuses lie between a source and each node, on the way with the fewest.
    behind: Vec<u32>,
}

impl<'a> Guards<'a> {
    pub(super) fn new(harness: &'a Harness, netlist: &'a Netlist) -> Self {
        let mut guards = Self { harness, netlist, behind: vec![NEVER; netlist.point_count()] };
        guards.look_out_from_sources();
        guards
    }

    /// Breadth first, where passing a fuse costs one and everything else nothing.
    fn look_out_from_sources(&mut self) {
        let plus = self.harness.parts.values().filter_map(|part| match part.kind {
            PartKind::Battery { plus, .. } | PartKind::Alternator { plus, .. } => {
                Some(self.harness.point_index(plus))
            }
            _ => None,
        });
        let mut open: VecDeque<(usize, u32)> = plus.map(|node| (node, 0)).collect();
        while let Some((node, count)) = open.pop_front() {
            if self.behind[node] <= count || node == self.netlist.chassis() {
                continue;
            }
            self.behind[node] = count;
            for (link, other) in self.netlist.links_at(node) {
                if self.is_fuse(link) {
                    open.push_back((other, count + 1));
                } else if self.leads(link, node) {
                    open.push_front((other, count));
                }
            }
        }
    }

    fn is_fuse(&self, link: LinkId) -> bool {
        matches!(self.netlist.link(link), Link::Part(part, PartWay::Through)
            if matches!(self.harness.parts[part].kind, PartKind::Fuse { .. }))
    }

    /// Whether current that blows a fuse may leave a node by a link.
    fn leads(&self, link: LinkId, from: usize) -> bool {
        match self.netlist.link(link) {
            Link::Part(_, PartWay::Switch(_) | PartWay::Released | PartWay::Operated) => true,
            Link::Part(_, PartWay::Diode | PartWay::Drive(_)) => self.netlist.ends(link)[0] == from,
            Link::Part(..) => false,
            _ => true,
        }
    }

    /// The fuses that what has changed may have blown before anybody read anything.
    pub(super) fn may_have_blown(&self, changes: &[Change]) -> BTreeSet<LinkId> {
        let mut all = BTreeSet::new();
        for change in changes {
            if let Change::Joined(a, b, _) = *change {
                let [(of_a, a_ground), (of_b, b_ground)] = [a, b].map(|node| self.seen_from(node));
                if b_ground {
                    all.extend(&of_a);
                }
                if a_ground {
                    all.extend(&of_b);
                }
            }
        }
        all
    }

    /// The next fuses towards a source, and whether there is a way to the chassis without a load.
    fn seen_from(&self, start: usize) -> (BTreeSet<LinkId>, bool) {
        let (mut fuses, mut ground) = (BTreeSet::new(), false);
        let (mut seen, mut open) = (BTreeSet::from([start]), vec![start]);
        while let Some(node) = open.pop() {
            if node == self.netlist.chassis() {
                ground = true;
                continue;
            }
            for (link, other) in self.netlist.links_at(node) {
                if self.is_fuse(link) {
                    if self.behind[other] < self.behind[node] {
                        fuses.insert(link);
                    }
                } else if self.leads(link, other) && seen.insert(other) {
                    open.push(other);
                }
            }
        }
        (fuses, ground)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::definition::load;
    use crate::units::Ohms;

    const LAMP: &str = r#"
        format = 1
        harness = { id = "L", title = "A lamp behind a switch", revision = "A" }
        connector.FB = { contacts = ["1", "2", "3"] }
        connector.XS = { contacts = ["1", "2"] }
        connector.XH = { contacts = ["1", "2"] }
        terminal.BT1 = {}
        terminal.GP1 = { ground = true }
        part.BAT1 = { kind = "battery", volts = "12 V", internal = "10 mohm", plus = "BT1", minus = "GP1" }
        part.F1 = { kind = "fuse", rating = "10 A", between = ["FB.1", "FB.2"] }
        part.F2 = { kind = "fuse", rating = "10 A", between = ["FB.1", "FB.3"] }
        part.S1 = { kind = "switch", rest = "off", positions = { off = [], on = [["XS.1", "XS.2"]] } }
        part.H1 = { kind = "lamp", between = ["XH.1", "XH.2"], ohms = "12 ohm" }
        wire = [
            { id = "1A", from = "BT1", to = "FB.1" },
            { id = "2A", from = "FB.2", to = "XS.1" },
            { id = "2B", from = "XS.2", to = "XH.1" },
            { id = "3A", from = "XH.2", to = "GP1" },
        ]
    "#;

    /// The fuses that a touch between two points may have blown.
    fn blown(harness: &Harness, netlist: &Netlist, a: &str, b: &str) -> Vec<String> {
        let [a, b] = [a, b].map(|name| match name {
            "chassis" => netlist.chassis(),
            _ => harness.point_index(harness.point(name).unwrap()),
        });
        let guards = Guards::new(harness, netlist);
        let found = guards.may_have_blown(&[Change::Joined(a, b, Ohms::new(0.05))]);
        let name = |link: &LinkId| match netlist.link(*link) {
            Link::Part(part, _) => harness.parts[part].id.clone(),
            other => panic!("{other:?} is no fuse"),
        };
        found.iter().map(name).collect()
    }

    #[test]
    fn a_short_behind_an_open_switch_may_have_blown_its_fuse_and_no_other() {
        let harness = load("lamp.toml", LAMP.to_owned(), None, &mut |_| Err(String::new())).unwrap().harness;
        let netlist = Netlist::new(&harness);
        for (a, b, fuses) in [
            ("XH.1", "chassis", vec!["F1"]),
            ("chassis", "XS.1", vec!["F1"]),
            ("XH.1", "XH.2", vec!["F1"]),
            // Ahead of all fuses; on the ground side; between two points behind one fuse.
            ("BT1", "chassis", vec![]),
            ("XH.2", "chassis", vec![]),
            ("XS.1", "XH.1", vec![]),
        ] {
            assert_eq!(blown(&harness, &netlist, a, b), fuses, "{a} touches {b}");
        }
    }
}
