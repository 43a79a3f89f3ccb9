//! Ends, and what must have been seen before a unit is accused.
//!
//! A unit's inside is not ours to probe, so it is accused by what goes in and does not come out: supply,
//! return and conditions seen good at its own plug, with power, and its output seen absent. What the steps
//! on the way have not shown is read last.

use super::grow::{Branch, Grower, Leaf, Node, Stand, Taken, To, weight};
use super::setting::drivers_on;
use super::shown::Shown;
use super::stand::Stage;
use crate::circuit::Change;
use crate::definition::{Function, Harness, Kind, MatingId, PartId, PartKind, Point};
use crate::measure::Measurement;
use crate::setup::{Isolated, Setup};

/// Something that must have been seen before a unit is accused.
struct Proof {
    /// What it is: "supply of BOX1".
    what: String,
    /// The unit's own contact.
    contact: Point,
    /// What it is read against.
    ground: Option<Point>,
    /// Whether it is to be seen good, or else absent.
    good: bool,
}

impl Grower<'_> {
    /// An end; before it whatever accusing a unit still needs.
    pub(super) fn end(&mut self, stand: Stand) -> To {
        let mut unseen = Vec::new();
        for unit in self.accused(&stand) {
            for proof in self.proofs(&stand, unit) {
                if self.is_seen(&stand, &proof) {
                    continue;
                }
                match self.reading_for(&stand, &proof) {
                    Some((scene, measurement)) => return self.confirm(&stand, &proof, scene, &measurement),
                    None => unseen.push(proof.what),
                }
            }
        }
        self.ends.push(Leaf { standing: stand.standing, unseen });
        To::End(self.ends.len() - 1)
    }

    /// Where no single fault is left.
    fn contradiction(&mut self) -> To {
        let known = self.ends.iter().position(|end| end.standing.is_empty());
        To::End(known.unwrap_or_else(|| {
            self.ends.push(Leaf { standing: Vec::new(), unseen: Vec::new() });
            self.ends.len() - 1
        }))
    }

    /// The units that are among what is left.
    fn accused(&self, stand: &Stand) -> Vec<PartId> {
        let parts = &self.scenes.harness.parts;
        let dead = |change: &Change| match change {
            Change::Dead(part) if matches!(parts[*part].kind, PartKind::Unit { .. }) => Some(*part),
            _ => None,
        };
        let mut units: Vec<PartId> = Vec::new();
        for (at, _) in &stand.standing {
            units.extend(self.hypotheses[*at].changes.iter().filter_map(dead));
        }
        units.sort_unstable();
        units.dedup();
        units
    }

    /// What must be seen of a unit: the inputs and the outputs of the functions that are on in a healthy
    /// machine. What is read with all plugs in comes first, while they are.
    fn proofs(&mut self, stand: &Stand, unit: PartId) -> Vec<Proof> {
        let complaint = Setup::from(self.scenes.complaint.clone());
        let Some(scene) = self.scenes.scene(Stage::Complaint, &complaint) else { return Vec::new() };
        let harness = self.scenes.harness;
        let PartKind::Unit { functions } = &harness.parts[unit].kind else { return Vec::new() };
        let healthy = self.scenes.all[scene].situation.healthy();
        let on: Vec<&Function> =
            drivers_on(self.scenes.netlist, healthy, unit).filter_map(|at| functions.get(at)).collect();
        let name = |what: &str, point: Point| format!("{what} at {}", harness.point_name(point));
        let mut inputs: Vec<Proof> = Vec::new();
        let mut outputs: Vec<Proof> = Vec::new();
        for function in on {
            let own = std::iter::once(("supply", function.supply));
            for (what, contact) in own.chain(function.when.iter().map(|point| ("condition", *point))) {
                let ground = function.ground;
                if inputs.iter().all(|p| (p.contact, p.ground) != (contact, ground)) {
                    inputs.push(Proof { what: name(what, contact), contact, ground, good: true });
                }
            }
            let (contact, ground) = (function.output, function.ground);
            outputs.push(Proof { what: name("output", contact), contact, ground, good: false });
        }
        // Outputs want the plugs in, inputs may want them off.
        if self.scenes.all[stand.scene].stage <= Stage::Complaint {
            outputs.into_iter().chain(inputs).collect()
        } else {
            inputs.into_iter().chain(outputs).collect()
        }
    }

    /// Whether a reading on the way has shown it.
    fn is_seen(&self, stand: &Stand, proof: &Proof) -> bool {
        let harness = self.scenes.harness;
        let at = |point: Point, contact: Point| point == contact || mate(harness, contact) == Some(point);
        stand.taken.iter().any(|taken| {
            let scene = &self.scenes.all[taken.scene];
            let mated = scene.setup().parted().len() == 0;
            let m = &taken.measurement;
            if m.kind() != Kind::Voltage || scene.stage == Stage::Found {
                return false;
            }
            if !proof.good {
                let node = |point: Point| scene.situation.nets.of(harness.point_index(point));
                return mated && taken.shown == Shown::Low && node(m.red()) == node(proof.contact);
            }
            taken.shown == Shown::Good
                && at(m.red(), proof.contact)
                && at(m.black(), proof.ground.unwrap_or(Point::Chassis))
        })
    }

    /// The reading that would show it, in the first setup in which a probe gets there.
    fn reading_for(&mut self, stand: &Stand, proof: &Proof) -> Option<(usize, Measurement)> {
        let stage = self.scenes.all[stand.scene].stage;
        let complaint = Setup::from(self.scenes.complaint.clone());
        let mut setups: Vec<(Stage, Setup)> = Vec::new();
        if stage <= Stage::Complaint {
            setups.push((Stage::Complaint, complaint.clone()));
        }
        if proof.good && stage <= Stage::Open {
            setups.push((Stage::Open, self.unplugged(stand, proof)));
        }
        if !proof.good && stage > Stage::Complaint {
            setups.push((Stage::Again, complaint));
        }
        for (stage, setup) in setups {
            let Some(scene) = self.scenes.scene(stage, &setup) else { continue };
            for measurement in self.ways_to_read(scene, proof) {
                // What was read without showing it will not show it the second time.
                let again = |t: &Taken| {
                    t.measurement.red() == measurement.red()
                        && t.measurement.black() == measurement.black()
                        && t.scene == scene
                };
                if !stand.taken.iter().any(again) {
                    return Some((scene, measurement));
                }
            }
        }
        None
    }

    /// With power, the switches of the complaint, and the plugs of a proof off.
    fn unplugged(&self, stand: &Stand, proof: &Proof) -> Setup {
        let harness = self.scenes.harness;
        let off = [Some(proof.contact), proof.ground].into_iter().flatten();
        let off = off.filter_map(|point| mating(harness, point));
        let parted = self.scenes.all[stand.scene].setup().parted().chain(off);
        let dead = self.scenes.complaint.clone().isolate(harness);
        self.scenes.powered(parted.fold(dead, Isolated::part))
    }

    /// Readings of a contact: at the contact, at the one it meets, and for an output at any point of its net.
    fn ways_to_read(&self, scene: usize, proof: &Proof) -> Vec<Measurement> {
        let situation = &self.scenes.all[scene].situation;
        let harness = self.scenes.harness;
        let reds = [mate(harness, proof.contact), Some(proof.contact)];
        let ground = proof.ground.unwrap_or(Point::Chassis);
        let blacks = [mate(harness, ground), Some(ground)];
        let mut found = Vec::new();
        for red in reds.into_iter().flatten() {
            for black in blacks.into_iter().flatten() {
                // A live unit's own contacts behind an open plug say nothing of the harness.
                let behind = |p: Point| {
                    harness.unit_behind(p).is_some()
                        && mating(harness, p).is_some_and(|m| situation.setup.is_parted(m))
                };
                if !behind(red) && !behind(black) {
                    found.extend(situation.measure(Kind::Voltage, red, black));
                }
            }
        }
        if !proof.good {
            let net = situation.nets.of(situation.node(proof.contact));
            let points = situation.nets.members(net).iter().map(|node| self.scenes.netlist.point(*node));
            found.extend(points.filter_map(|p| situation.measure(Kind::Voltage, p, Point::Chassis).ok()));
        }
        found
    }

    /// A step that shows it, and what follows whatever is seen.
    fn confirm(&mut self, stand: &Stand, proof: &Proof, scene: usize, measurement: &Measurement) -> To {
        let all: Vec<usize> = stand.standing.iter().map(|(at, _)| *at).collect();
        let meter = self.meter;
        self.scenes.all[scene].ask(std::slice::from_ref(measurement), self.hypotheses, &all, &meter);
        let Some(row) = self.scenes.all[scene].row(measurement) else { return self.contradiction() };
        let expect = row.expect.clone();
        let (change, station) = self.scenes.change(stand.scene, scene, stand.station);
        let (reading, station) = self.scenes.reading(station, measurement);
        let at = self.nodes.len();
        let total = weight(&stand.standing);
        let verb = if proof.good { "good" } else { "absent" };
        self.nodes.push(Node {
            scene,
            measurement: measurement.clone(),
            expect,
            standing: stand.standing.clone(),
            branches: Vec::new(),
            seconds: change + reading,
            confirms: Some(format!("{} seen {verb}", proof.what)),
        });
        let mut parts = self.parts(&stand.standing, scene, measurement);
        parts.sort_by(|(a, x), (b, y)| weight(y).total_cmp(&weight(x)).then(a.cmp(b)));
        for wanted in [Shown::Good, Shown::Low] {
            if parts.iter().all(|(shown, _)| *shown != wanted) {
                parts.push((wanted, Vec::new()));
            }
        }
        for (shown, standing) in parts {
            let share = weight(&standing) / total;
            let to = if standing.is_empty() {
                self.contradiction()
            } else {
                let mut taken = stand.taken.clone();
                taken.push(Taken { scene, measurement: measurement.clone(), shown });
                self.from(Stand { standing: standing.clone(), scene, station, taken })
            };
            self.nodes[at].branches.push(Branch { shown, share, standing, to });
        }
        To::Node(at)
    }
}

/// The contact that a contact meets when plugged in.
fn mate(harness: &Harness, point: Point) -> Option<Point> {
    match point {
        Point::Contact(id) => harness.contacts[id].mate.map(Point::Contact),
        _ => None,
    }
}

fn mating(harness: &Harness, point: Point) -> Option<MatingId> {
    match point {
        Point::Contact(id) => harness.connectors[harness.contacts[id].connector].mating,
        _ => None,
    }
}
