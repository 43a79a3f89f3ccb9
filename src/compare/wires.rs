//! Which wire of one revision is which wire of the other.
//!
//! Comes in: both revisions with their points matched. Goes out: pairs of wires, and what is left over on either side. Why:
//! a wire is told by what it joins before it is told by its id, so that an id that went to another wire moves nothing.
//!
//! Cost: sorting.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::keys::{Both, Key};
use crate::definition::{Id, Wire, WireId};

/// The wires of two revisions.
#[derive(Default)]
pub(super) struct Wires {
    /// Pairs, by the old wire.
    pub(super) pairs: Vec<[WireId; 2]>,
    /// Wires without partner: of the old revision, of the new one.
    pub(super) alone: [Vec<WireId>; 2],
}

/// What a wire joins, the lower key first.
type Ends = [Key; 2];

/// Pairs the wires: by ends, looks and id; by less of it; by id; by one end that no other unpaired wire has.
pub(super) fn wires(both: &Both) -> Wires {
    let mut pairer = Pairer { both, partner: both.harness.map(|harness| vec![None; harness.wires.len()]) };
    pairer.unchanged();
    let id = |pairer: &Pairer, side: usize, wire: WireId| pairer.wire(side, wire).id.clone();
    let seen = |pairer: &Pairer, side: usize, wire: WireId| look(pairer.wire(side, wire));
    // Of wires side by side, what they look like tells more than what they are called.
    pairer.by(|p, side, wire| (p.ends(side, wire), seen(p, side, wire), id(p, side, wire)));
    pairer.by(|p, side, wire| (p.ends(side, wire), seen(p, side, wire)));
    pairer.by(|p, side, wire| (p.ends(side, wire), id(p, side, wire)));
    pairer.by(Pairer::ends);
    pairer.by(id);
    pairer.by_one_end();
    pairer.done()
}

/// What a wire looks like.
fn look(wire: &Wire) -> [String; 3] {
    let length = wire.length.map(|length| format!("{length:.9}"));
    let colour = wire.colour.as_ref().map(ToString::to_string);
    [wire.gauge.map(|gauge| gauge.to_string()), colour, length].map(Option::unwrap_or_default)
}

struct Pairer<'a> {
    both: &'a Both<'a>,
    partner: [Vec<Option<WireId>>; 2],
}

impl<'a> Pairer<'a> {
    fn wire(&self, side: usize, id: WireId) -> &'a Wire {
        &self.both.harness[side].wires[id]
    }

    fn ends(&self, side: usize, id: WireId) -> Ends {
        let mut ends = self.wire(side, id).ends.map(|end| self.both.key(side, end));
        ends.sort_unstable();
        ends
    }

    fn free(&self, side: usize) -> impl Iterator<Item = WireId> + '_ {
        self.both.harness[side].wires.ids().filter(move |id| self.partner[side][id.index()].is_none())
    }

    fn join(&mut self, [old, new]: [WireId; 2]) {
        self.partner[0][old.index()] = Some(new);
        self.partner[1][new.index()] = Some(old);
    }

    /// Pairs wires that are what they were: most of them, and without sorting texts.
    fn unchanged(&mut self) {
        let [old, new] = self.both.harness;
        let known: HashMap<&str, WireId> =
            new.wires.iter().map(|(id, wire)| (wire.id.as_str(), id)).collect();
        for (id, wire) in old.wires.iter() {
            let Some(other) = known.get(wire.id.as_str()).copied() else { continue };
            let now = &new.wires[other];
            let looks = (wire.gauge, &wire.colour, wire.length) == (now.gauge, &now.colour, now.length);
            if looks && self.ends(0, id) == self.ends(1, other) {
                self.join([id, other]);
            }
        }
    }

    /// Pairs unpaired wires of which the same is true; of several, in the order of the definitions.
    fn by<K: Ord>(&mut self, key: impl Fn(&Self, usize, WireId) -> K) {
        let [old, new] = [0, 1].map(|side| {
            let mut keyed: Vec<(K, WireId)> =
                self.free(side).map(|wire| (key(self, side, wire), wire)).collect();
            keyed.sort();
            keyed
        });
        let (mut a, mut b) = (0, 0);
        while let (Some(one), Some(other)) = (old.get(a), new.get(b)) {
            match one.0.cmp(&other.0) {
                std::cmp::Ordering::Less => a += 1,
                std::cmp::Ordering::Greater => b += 1,
                std::cmp::Ordering::Equal => {
                    self.join([one.1, other.1]);
                    (a, b) = (a + 1, b + 1);
                }
            }
        }
    }

    /// Pairs wires that are alone at one common end: the same wire with a new id, and another far end.
    fn by_one_end(&mut self) {
        let at = [0, 1].map(|side| {
            let mut at: BTreeMap<Key, Vec<WireId>> = BTreeMap::new();
            for wire in self.free(side) {
                for end in self.ends(side, wire) {
                    at.entry(end).or_default().push(wire);
                }
            }
            at
        });
        let mut likely: BTreeSet<[WireId; 2]> = BTreeSet::new();
        for (key, old) in &at[0] {
            if let ([old], Some([new])) = (&old[..], at[1].get(key).map(Vec::as_slice)) {
                likely.insert([*old, *new]);
            }
        }
        // A wire that two others may have become is neither.
        let mut times = [0, 1].map(|side| vec![0u32; self.partner[side].len()]);
        for pair in &likely {
            (0..2).for_each(|side| times[side][pair[side].index()] += 1);
        }
        let alone = |pair: &[WireId; 2]| (0..2).all(|side| times[side][pair[side].index()] == 1);
        let sure: Vec<[WireId; 2]> = likely.iter().filter(|pair| alone(pair)).copied().collect();
        for pair in sure {
            self.join(pair);
        }
    }

    fn done(self) -> Wires {
        let partner = |old: WireId| self.partner[0][old.index()].map(|new| [old, new]);
        Wires {
            pairs: self.both.harness[0].wires.ids().filter_map(partner).collect(),
            alone: [0, 1].map(|side| self.free(side).collect()),
        }
    }
}
