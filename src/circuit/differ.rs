//! In which branches a machine differs from a network that is factored already.

use std::sync::Arc;

use super::change::Change;
use super::network::Machine;
use super::operating::Operating;
use super::states::States;
use super::update::Difference;
use crate::netlist::LinkId;

/// With more differences than this a network is factored anew.
const FEW: usize = 24;

impl Machine<'_> {
    /// The branches in which the machine in some states differs from a factored network, in which the first
    /// `made` of its changes were made already; `None` where there are too many, or the network was not
    /// factored itself.
    pub(super) fn differences(
        &self,
        base: &Operating,
        made: usize,
        states: &States,
    ) -> Option<Vec<Difference>> {
        if !base.is_base() {
            return None;
        }
        let changes = self.changes.get(made..)?;
        let mut differences = Vec::new();
        for link in self.affected(changes, base.states(), states) {
            let (conductance, current) = base.base_branch(link);
            let now = self.branch(link, states);
            let (g, i) = now.map_or((0.0, 0.0), |branch| (branch.conductance, branch.current));
            if g.to_bits() != conductance.to_bits() || i.to_bits() != current.to_bits() {
                differences.push(Difference {
                    link: Some((link, g)),
                    way: base.link_way(link, self.netlist.ends(link)),
                    conductance: g - conductance,
                    current: i - current,
                });
            }
        }
        for change in changes {
            if let Change::Joined(a, b, ohms) = *change {
                let conductance = 1.0 / ohms.get().max(1e-9);
                let way = Arc::new(base.way(a, b));
                differences.push(Difference { link: None, way, conductance, current: 0.0 });
            }
        }
        differences.retain(|difference| {
            let [a, b] = difference.way.ends();
            a != b
        });
        (differences.len() <= FEW).then_some(differences)
    }

    /// The links that changes name or that other states concern, in order.
    fn affected(&self, changes: &[Change], before: &States, now: &States) -> Vec<LinkId> {
        let mut links: Vec<LinkId> = Vec::new();
        for change in changes {
            match *change {
                Change::Open(link) | Change::Added(link, _) => links.push(link),
                Change::Dead(part) => links.extend(self.netlist.links_of(part)),
                Change::Joined(..) | Change::Stuck { .. } => {}
            }
        }
        let (parts, switched) = before.differ(now);
        links.extend(parts.into_iter().flat_map(|part| self.netlist.links_of(part)));
        links.extend(switched);
        links.sort_unstable();
        links.dedup();
        links
    }
}
