//! What the circuits of small machines are made of: points to wire to, connectors, parts.

use std::fmt::Write;

use super::draft::{Form, MOST_LEGS, Spot, Wire};
use super::random::Maker;

const GAUGES: [&str; 9] =
    ["0.5 mm2", "0.75 mm2", "1 mm2", "1.5 mm2", "2.5 mm2", "6 mm2", "20 AWG", "16 AWG", "14 SAE"];
const COLOURS: [&str; 8] = ["RD", "BK", "WH/RD", "BU", "GNYE", "OG/BK", "VT", "WHGN"];
/// Built-in faces with their contact names.
const FACES: [(&str, &str); 8] = [
    ("rect-2", "1 2"),
    ("rect-4", "1 2 3 4"),
    ("rect-8", "1 2 3 4 5 6 7 8"),
    ("rect-12", "1 2 3 4 5 6 7 8 9 10 11 12"),
    ("round-3", "A B C"),
    ("round-7", "A B C D E F G"),
    ("round-14", "A B C D E F G H J K L M N P"),
    ("iso1724-7", "1 2 3 4 5 6 7"),
];

impl Maker {
    pub(super) fn station(&mut self) -> String {
        let at = self.rng.below(self.draft.stations.len());
        self.draft.stations[at].clone()
    }

    pub(super) fn splice(&mut self) -> Spot {
        let station = self.station();
        self.draft.splice(station)
    }

    pub(super) fn terminal(&mut self, id: String, ground: bool) -> Spot {
        let station = self.station();
        self.draft.terminal(id, station, ground)
    }

    pub(super) fn terminal_of_its_own(&mut self) -> Spot {
        let id = format!("TB{}", self.draft.terminals.len());
        let ground = self.rng.chance(20);
        self.terminal(id, ground)
    }

    /// Something that takes several wires: a splice, or a contact.
    pub(super) fn joint(&mut self) -> Spot {
        if self.rng.chance(70) { self.splice() } else { self.open_contact() }
    }

    pub(super) fn has_room(&self, spot: Spot) -> bool {
        let most = match spot {
            Spot::Splice(_) => MOST_LEGS,
            Spot::Contact(..) => 3,
            Spot::Terminal(_) => usize::MAX,
        };
        self.draft.legs(spot) < most
    }

    /// A point that the supply reaches; a splice that is full gets a sister.
    pub(super) fn feed(&mut self) -> Spot {
        let spot = self.rng.pick(&self.supply);
        // The last leg is kept for the next splice.
        if self.draft.legs(spot) < MOST_LEGS - 1 {
            return spot;
        }
        let next = self.splice();
        let last = self.supply[self.supply.len() - 1];
        self.wire(last, next);
        self.supply.push(next);
        next
    }

    pub(super) fn ground(&mut self) -> Spot {
        self.rng.pick(&self.grounds)
    }

    pub(super) fn wire(&mut self, from: Spot, to: Spot) {
        let n = self.draft.wires.len();
        let segment = ["", "A", "B", "AA"][self.rng.below(4)];
        let gauge = self.rng.pick(&GAUGES);
        let colour = self.rng.pick(&COLOURS);
        let length = self.rng.between(1, 80);
        let wire = Wire {
            id: format!("{}{segment}", 100 + n),
            ends: [from, to],
            gauge: self.rng.chance(95).then_some(gauge),
            colour: self.rng.chance(80).then_some(colour),
            length: self.rng.chance(95).then_some(length),
            circuit: self.rng.chance(10).then(|| format!("C{}", n / 7)),
            twisted: None,
        };
        self.draft.wire(wire);
    }

    /// A form of connector with its contact names.
    pub(super) fn form(&mut self) -> (Form, Vec<String>) {
        let numbers = |count: usize| (1..=count).map(|n| n.to_string()).collect();
        match self.rng.below(10) {
            0 => (Form::Count, numbers(self.rng.between(2, 20))),
            1 | 2 => (Form::Listed, ["A", "B-", "C+", "d_1", "17"].map(str::to_owned).to_vec()),
            3 if !self.draft.faces.is_empty() => {
                (Form::Face("own-6"), ["a1", "a2", "a3", "b1", "b2", "b3"].map(str::to_owned).to_vec())
            }
            _ => {
                let (face, names) = self.rng.pick(&FACES);
                (Form::Face(face), names.split(' ').map(str::to_owned).collect())
            }
        }
    }

    /// A mated pair of connectors that no wire uses yet.
    pub(super) fn pair_of_connectors(&mut self, first: &str, second: &str, n: usize) -> [usize; 2] {
        let (form, names) = self.form();
        let [a, b] = [first, second].map(|prefix| {
            let station = self.station();
            self.draft.connector(format!("{prefix}{n}"), station, form.clone(), names.clone())
        });
        self.draft.mate(a, b);
        self.draft.connectors[a].backprobe = self.rng.chance(30);
        self.draft.connectors[b].backprobe = self.rng.chance(10);
        [a, b]
    }

    /// Two contacts that meet, unused so far.
    pub(super) fn slot(&mut self) -> [Spot; 2] {
        // A connector is seldom full: sometimes there is a new one although the old one has room.
        if self.slots.is_empty() || self.rng.chance(5) {
            let n = self.draft.connectors.len();
            let [plug, receptacle] = self.pair_of_connectors("P", "J", n);
            for at in 0..self.draft.connectors[plug].names.len() {
                self.signal([plug, receptacle], at);
                self.slots.push([Spot::Contact(plug, at), Spot::Contact(receptacle, at)]);
            }
        }
        let at = self.rng.below(self.slots.len());
        let mut slot = self.slots.swap_remove(at);
        if self.rng.chance(50) {
            slot.reverse();
        }
        slot
    }

    /// Names what a pair of contacts is for.
    pub(super) fn signal(&mut self, pair: [usize; 2], at: usize) {
        if self.rng.chance(40) {
            for connector in pair {
                self.draft.connectors[connector].pins[at].signal = Some(format!("Line {at}"));
            }
        }
    }

    pub(super) fn open_contact(&mut self) -> Spot {
        if self.open.is_empty() {
            let (form, names) = self.form();
            let id = format!("XO{}", self.draft.connectors.len());
            let station = self.station();
            let connector = self.draft.connector(id, station, form, names);
            self.draft.connectors[connector].half = self.rng.pick(&[None, Some("pin"), Some("socket")]);
            let count = self.draft.connectors[connector].names.len();
            self.open.extend((0..count).map(|at| Spot::Contact(connector, at)));
        }
        let at = self.rng.below(self.open.len());
        self.open.swap_remove(at)
    }

    /// A wire to a mating; gives back the contact on its other side.
    pub(super) fn hop(&mut self, from: Spot) -> Spot {
        let [near, far] = self.slot();
        self.wire(from, near);
        far
    }

    /// No hop, one, or several.
    pub(super) fn hops(&mut self, from: Spot) -> Spot {
        let count = self.rng.pick(&[0, 0, 1, 1, 2, 3]);
        (0..count).fold(from, |at, _| self.hop(at))
    }

    /// Two points for wires, and the two that a part is given: the same, or their mates on the part.
    pub(super) fn two_ends(&mut self, id: &str) -> ([Spot; 2], [Spot; 2]) {
        let n = self.draft.connectors.len();
        if self.rng.chance(20) {
            let studs = ["a", "b"].map(|side| self.terminal(format!("{id}{side}"), false));
            return (studs, studs);
        }
        let names = || vec!["1".to_owned(), "2".to_owned()];
        let station = self.station();
        let plug = self.draft.connector(format!("XE{n}"), station.clone(), Form::Face("rect-2"), names());
        let ends = |connector| [Spot::Contact(connector, 0), Spot::Contact(connector, 1)];
        if self.rng.chance(50) {
            return (ends(plug), ends(plug));
        }
        let receptacle = self.draft.connector(format!("JE{n}"), station, Form::Face("rect-2"), names());
        self.draft.connectors[receptacle].part = Some(id.to_owned());
        self.draft.mate(plug, receptacle);
        (ends(plug), ends(receptacle))
    }

    pub(super) fn fuse(&mut self, from: Spot) -> Spot {
        let id = format!("F{}", self.draft.parts.len());
        let (wired, inner) = self.two_ends(&id);
        let kind = if self.rng.chance(80) { "fuse" } else { "breaker" };
        let keys = format!("kind = \"{kind}\"\nrating = \"15 A\"\nbetween = {}\n", self.draft.pair(inner));
        self.draft.part(id, keys);
        self.wire(from, wired[0]);
        wired[1]
    }

    pub(super) fn switch(&mut self, from: Spot) -> Spot {
        let id = format!("S{}", self.draft.parts.len());
        let (wired, inner) = self.two_ends(&id);
        let pair = self.draft.pair(inner);
        let rest = self.rng.pick(&["off", "run"]);
        let third = if self.rng.chance(30) { format!("both = [{pair}]\n") } else { String::new() };
        let keys = format!(
            "kind = \"switch\"\nrest = \"{rest}\"\n[part.{id}.positions]\noff = []\nrun = [{pair}]\n{third}"
        );
        self.draft.part(id, keys);
        self.wire(from, wired[0]);
        wired[1]
    }

    /// A relay in its socket, its coil fed from the supply, sometimes with a diode across the coil.
    pub(super) fn relay(&mut self, from: Spot) -> Spot {
        let n = self.draft.parts.len();
        let names = ["30", "85", "86", "87", "87a"].map(str::to_owned).to_vec();
        let station = self.station();
        let socket = self.draft.connector(format!("XK{n}"), station, Form::Face("din72552-relay-5"), names);
        let contact = |at| Spot::Contact(socket, at);
        let [common, coil_a, coil_b, makes, breaks] = [0, 1, 2, 3, 4].map(contact);
        let way = |maker: &Self, to| maker.draft.pair([common, to]);
        let keys = format!(
            "kind = \"relay\"\ncoil = {}\ncoil_ohms = \"320 ohm\"\noperate = \"8 V\"\n\
             released = [{}]\noperated = [{}]\n",
            self.draft.pair([coil_a, coil_b]),
            way(self, breaks),
            way(self, makes),
        );
        self.draft.part(format!("K{n}"), keys);
        if self.rng.chance(40) {
            self.diode_between([coil_b, coil_a]);
        }
        self.wire(from, common);
        let control = self.feed();
        let control = if self.rng.chance(60) { self.switch(control) } else { control };
        self.wire(control, coil_a);
        let ground = self.ground();
        self.wire(coil_b, ground);
        if self.rng.chance(50) { makes } else { breaks }
    }

    pub(super) fn diode_between(&mut self, ends: [Spot; 2]) {
        let id = format!("D{}", self.draft.parts.len());
        let [anode, cathode] = ends.map(|end| self.draft.name(end));
        let drop = if self.rng.chance(50) { "drop = \"0.6 V\"\n" } else { "" };
        self.draft
            .part(id, format!("kind = \"diode\"\nanode = \"{anode}\"\ncathode = \"{cathode}\"\n{drop}"));
    }

    pub(super) fn diode(&mut self, from: Spot) -> Spot {
        let id = format!("DX{}", self.draft.terminals.len());
        let studs = ["a", "k"].map(|side| self.terminal(format!("{id}{side}"), false));
        self.diode_between(studs);
        self.wire(from, studs[0]);
        studs[1]
    }

    /// A load; gives back the point its return wire starts from.
    pub(super) fn load(&mut self, from: Spot) -> Spot {
        let id = format!("M{}", self.draft.parts.len());
        let (wired, inner) = self.two_ends(&id);
        let kind = self.rng.pick(&["resistor", "lamp", "motor", "coil", "sensor"]);
        let tenths = self.rng.between(5, 4000);
        let mut keys = format!("kind = \"{kind}\"\nbetween = {}\n", self.draft.pair(inner));
        let _ = writeln!(keys, "ohms = \"{}.{} ohm\"", tenths / 10, tenths % 10);
        if kind == "lamp" {
            keys += "cold_ohms = \"0.4 ohm\"\n";
        }
        if kind == "sensor" && self.rng.chance(60) {
            let condition = self.condition();
            let _ = writeln!(keys, "when = \"{condition}\"");
        }
        self.draft.part(id, keys);
        self.wire(from, wired[0]);
        wired[1]
    }

    /// The condition that sensors wait for.
    pub(super) fn condition(&mut self) -> String {
        let fresh = "tank-full".to_owned();
        if self.condition.is_none() {
            self.draft.conditions.push(fresh.clone());
        }
        self.condition.get_or_insert(fresh).clone()
    }
}
