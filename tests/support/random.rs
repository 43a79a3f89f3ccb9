//! Small machines with everything a definition can hold, joined in odd ways.
//!
//! A machine grows circuit by circuit until it has enough wires. Most circuits are sensible (supply,
//! fuse, switch or relay, load, ground); between them stand rings, trees, doubled wires, joined
//! contacts and runs that end nowhere, because a program that works on the sensible ones alone is
//! wrong about the rest.

use std::fmt::Write;

use super::Rng;
use super::draft::{Draft, Form, MOST_LEGS, Spot, Wire};

/// A machine of roughly so many wires (at least two, for its battery; the last circuit may go over).
pub(crate) fn random(seed: u64, wires: usize) -> String {
    let mut maker = Maker::new(seed);
    maker.ground_work();
    while maker.draft.wires.len() < wires {
        maker.circuit();
    }
    maker.leftovers();
    maker.draft.title = format!("Made machine, seed {seed}");
    maker.draft.text()
}

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
const OWN_FACE: &str = "[face.own-6]\nshape = \"rectangle\"\nrows = [[\"a1\", \"a2\", \"a3\"], [\"b1\", \"b2\", \"b3\"]]\npitch = \"5 mm\"\n";

struct Maker {
    rng: Rng,
    draft: Draft,
    /// Contact pairs of matings that no wire uses yet.
    slots: Vec<[Spot; 2]>,
    /// Contacts of connectors without a mate that no wire uses yet.
    open: Vec<Spot>,
    /// Where circuits are fed from.
    supply: Vec<Spot>,
    /// Where circuits return to.
    grounds: Vec<Spot>,
    condition: Option<String>,
}

impl Maker {
    fn new(seed: u64) -> Self {
        Self {
            rng: Rng::new(seed),
            draft: Draft::default(),
            slots: Vec::new(),
            open: Vec::new(),
            supply: Vec::new(),
            grounds: Vec::new(),
            condition: None,
        }
    }

    /// Stations, trunks, battery, grounds; sometimes an alternator.
    fn ground_work(&mut self) {
        self.draft.nominal = if self.rng.chance(50) { "24 V" } else { "12 V" };
        let count = self.rng.between(1, 5);
        self.draft.stations = (1..=count).map(|n| format!("st{n}")).collect();
        self.trunks();
        if self.rng.chance(50) {
            self.draft.faces.push(OWN_FACE.to_owned());
        }
        let [plus, minus] = ["BT1", "BT2"].map(|id| self.terminal(id.to_owned(), false));
        for n in 1..=self.rng.between(1, 4) {
            let ground = self.terminal(format!("GP{n}"), true);
            self.grounds.push(ground);
        }
        self.draft.part(
            "BAT1".to_owned(),
            "kind = \"battery\"\nvolts = \"25.4 V\"\ninternal = \"12 mohm\"\nplus = \"BT1\"\nminus = \"BT2\"\n"
                .to_owned(),
        );
        let ground = self.rng.pick(&self.grounds);
        self.wire(minus, ground);
        let main = self.splice();
        self.wire(plus, main);
        self.supply.push(main);
        if self.rng.chance(30) {
            self.alternator(plus);
        }
    }

    /// A chain of trunks over the stations, with a breakout between two of them and sometimes a ring.
    fn trunks(&mut self) {
        let stations = self.draft.stations.clone();
        for pair in stations.windows(2) {
            let length = self.rng.between(5, 60);
            self.draft.trunks.push(([pair[0].clone(), pair[1].clone()], length));
        }
        if let [first, .., last] = &stations[..] {
            let breakout = "breakout".to_owned();
            self.draft.trunks.push(([first.clone(), breakout.clone()], 10));
            if self.rng.chance(50) {
                self.draft.trunks.push(([breakout, last.clone()], 10));
            }
        }
    }

    fn alternator(&mut self, plus: Spot) {
        let condition = "running".to_owned();
        let post = self.terminal("ALB".to_owned(), false);
        self.wire(post, plus);
        let minus = self.draft.name(self.grounds[0]);
        let sense = if self.rng.chance(50) { "sense = \"BT1\"\n" } else { "" };
        let keys = format!(
            "kind = \"alternator\"\nvolts = \"28 V\"\nmost = \"45 A\"\ninternal = \"20 mohm\"\nplus = \"ALB\"\nminus = \"{minus}\"\n{sense}when = \"{condition}\"\n"
        );
        self.draft.part("ALT1".to_owned(), keys);
        self.draft.conditions.push(condition);
    }

    /// One more circuit of any kind.
    fn circuit(&mut self) {
        match self.rng.below(100) {
            0..35 => self.load_circuit(),
            35..48 => self.signal_run(),
            48..56 => self.unit(),
            56..66 => self.ring(),
            66..78 => self.tree(),
            78..90 => self.double(),
            90..96 => self.cross_link(),
            _ => self.stub(),
        }
    }

    /// Supply, fuse, perhaps a switch, a relay or a diode, a load, ground; matings on the way.
    fn load_circuit(&mut self) {
        let feed = self.feed();
        let fused = self.fuse(feed);
        let mut at = self.hops(fused);
        at = match self.rng.below(6) {
            0 | 1 => self.switch(at),
            2 | 3 => self.relay(at),
            4 => self.diode(at),
            _ => at,
        };
        at = self.hops(at);
        let back = self.load(at);
        let back = self.hops(back);
        let ground = self.ground();
        self.wire(back, ground);
    }

    /// From one open contact to another, through matings.
    fn signal_run(&mut self) {
        let from = self.open_contact();
        let at = self.hop(from);
        let at = self.hops(at);
        let to = self.open_contact();
        self.wire(at, to);
    }

    /// A box with one or two functions behind a mating.
    fn unit(&mut self) {
        let n = self.draft.parts.len();
        let [plug, receptacle] = self.pair_of_connectors("XU", "JU", n);
        let id = format!("BOX{n}");
        self.draft.connectors[receptacle].part = Some(id.clone());
        let count = self.draft.connectors[plug].names.len().min(6);
        let functions = if count >= 5 { self.rng.between(1, 2) } else { 1 };
        // Contacts by their place: supply, return, outputs, what it waits for.
        let inside = |maker: &Self, at: usize| maker.draft.name(Spot::Contact(receptacle, at));
        let mut keys = "kind = \"unit\"\n".to_owned();
        for function in 0..functions {
            let waits = if count > 2 + functions { inside(self, count - 1) } else { inside(self, 0) };
            let returns =
                if count > 2 { format!("return = \"{}\"\n", inside(self, 1)) } else { String::new() };
            let output = if count > 2 { 2 + function } else { 1 };
            let _ = write!(
                keys,
                "[[part.{id}.function]]\ntitle = \"Function {function}\"\noutput = \"{}\"\nsupply = \"{}\"\n{returns}when = [\"{waits}\"]\n",
                inside(self, output),
                inside(self, 0),
            );
        }
        self.draft.part(id, keys);
        let feed = self.feed();
        self.wire(feed, Spot::Contact(plug, 0));
        if count > 2 {
            let ground = self.ground();
            self.wire(Spot::Contact(plug, 1), ground);
        }
        for at in 2..count {
            let far = if self.rng.chance(50) { self.open_contact() } else { self.feed() };
            self.wire(Spot::Contact(plug, at), far);
        }
    }

    /// A closed ring of splices and joined contacts, hung on what there is.
    fn ring(&mut self) {
        let spots: Vec<Spot> = (0..self.rng.between(2, 5)).map(|_| self.joint()).collect();
        for at in 0..spots.len() {
            self.wire(spots[at], spots[(at + 1) % spots.len()]);
        }
        let anchor = if self.rng.chance(50) { self.feed() } else { self.open_contact() };
        self.wire(anchor, spots[0]);
    }

    /// A splice, or a contact with several wires, that spreads to many ends.
    fn tree(&mut self) {
        let middle = self.joint();
        for _ in 0..self.rng.between(2, MOST_LEGS - 1) {
            let mut end = match self.rng.below(4) {
                0 => self.open_contact(),
                1 => self.ground(),
                2 => self.splice(),
                _ => self.terminal_of_its_own(),
            };
            if self.rng.chance(40) {
                end = self.hop(end);
            }
            self.wire(middle, end);
        }
    }

    /// A second wire (or a third) beside one that is there.
    fn double(&mut self) {
        let at = self.rng.below(self.draft.wires.len());
        let ends = self.draft.wires[at].ends;
        if ends.iter().all(|end| self.has_room(*end)) {
            self.wire(ends[1], ends[0]);
        }
    }

    /// A wire between two points that are wired already.
    fn cross_link(&mut self) {
        let [a, b] = [(); 2].map(|()| {
            let wire = self.rng.below(self.draft.wires.len());
            self.draft.wires[wire].ends[self.rng.below(2)]
        });
        if a != b && self.has_room(a) && self.has_room(b) {
            self.wire(a, b);
        }
    }

    /// A run that ends nowhere.
    fn stub(&mut self) {
        let from = self.open_contact();
        let to = self.splice();
        self.wire(from, to);
    }

    /// Marks some empty contacts as spare, some with a plug; the others are left to be warned about.
    fn leftovers(&mut self) {
        for connector in &mut self.draft.connectors {
            for pin in &mut connector.pins {
                pin.spare = self.rng.chance(60);
                pin.plugged = self.rng.chance(20);
            }
        }
    }

    // What circuits are made of.

    fn station(&mut self) -> String {
        let at = self.rng.below(self.draft.stations.len());
        self.draft.stations[at].clone()
    }

    fn splice(&mut self) -> Spot {
        let station = self.station();
        self.draft.splice(station)
    }

    fn terminal(&mut self, id: String, ground: bool) -> Spot {
        let station = self.station();
        self.draft.terminal(id, station, ground)
    }

    fn terminal_of_its_own(&mut self) -> Spot {
        let id = format!("TB{}", self.draft.terminals.len());
        let ground = self.rng.chance(20);
        self.terminal(id, ground)
    }

    /// Something that takes several wires: a splice, or a contact.
    fn joint(&mut self) -> Spot {
        if self.rng.chance(70) { self.splice() } else { self.open_contact() }
    }

    fn has_room(&self, spot: Spot) -> bool {
        let most = match spot {
            Spot::Splice(_) => MOST_LEGS,
            Spot::Contact(..) => 3,
            Spot::Terminal(_) => usize::MAX,
        };
        self.draft.legs(spot) < most
    }

    /// A point that the supply reaches; a splice that is full gets a sister.
    fn feed(&mut self) -> Spot {
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

    fn ground(&mut self) -> Spot {
        self.rng.pick(&self.grounds)
    }

    fn wire(&mut self, from: Spot, to: Spot) {
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
    fn form(&mut self) -> (Form, Vec<String>) {
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
    fn pair_of_connectors(&mut self, first: &str, second: &str, n: usize) -> [usize; 2] {
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
    fn slot(&mut self) -> [Spot; 2] {
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
    fn signal(&mut self, pair: [usize; 2], at: usize) {
        if self.rng.chance(40) {
            for connector in pair {
                self.draft.connectors[connector].pins[at].signal = Some(format!("Line {at}"));
            }
        }
    }

    fn open_contact(&mut self) -> Spot {
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
    fn hop(&mut self, from: Spot) -> Spot {
        let [near, far] = self.slot();
        self.wire(from, near);
        far
    }

    /// No hop, one, or several.
    fn hops(&mut self, from: Spot) -> Spot {
        let count = self.rng.pick(&[0, 0, 1, 1, 2, 3]);
        (0..count).fold(from, |at, _| self.hop(at))
    }

    /// Two points for wires, and the two that a part is given: the same, or their mates on the part.
    fn two_ends(&mut self, id: &str) -> ([Spot; 2], [Spot; 2]) {
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

    fn fuse(&mut self, from: Spot) -> Spot {
        let id = format!("F{}", self.draft.parts.len());
        let (wired, inner) = self.two_ends(&id);
        let kind = if self.rng.chance(80) { "fuse" } else { "breaker" };
        let keys = format!("kind = \"{kind}\"\nrating = \"15 A\"\nbetween = {}\n", self.draft.pair(inner));
        self.draft.part(id, keys);
        self.wire(from, wired[0]);
        wired[1]
    }

    fn switch(&mut self, from: Spot) -> Spot {
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
    fn relay(&mut self, from: Spot) -> Spot {
        let n = self.draft.parts.len();
        let names = ["30", "85", "86", "87", "87a"].map(str::to_owned).to_vec();
        let station = self.station();
        let socket = self.draft.connector(format!("XK{n}"), station, Form::Face("din72552-relay-5"), names);
        let contact = |at| Spot::Contact(socket, at);
        let [common, coil_a, coil_b, makes, breaks] = [0, 1, 2, 3, 4].map(contact);
        let way = |maker: &Self, to| maker.draft.pair([common, to]);
        let keys = format!(
            "kind = \"relay\"\ncoil = {}\ncoil_ohms = \"320 ohm\"\noperate = \"8 V\"\nreleased = [{}]\noperated = [{}]\n",
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

    fn diode_between(&mut self, ends: [Spot; 2]) {
        let id = format!("D{}", self.draft.parts.len());
        let [anode, cathode] = ends.map(|end| self.draft.name(end));
        let drop = if self.rng.chance(50) { "drop = \"0.6 V\"\n" } else { "" };
        self.draft
            .part(id, format!("kind = \"diode\"\nanode = \"{anode}\"\ncathode = \"{cathode}\"\n{drop}"));
    }

    fn diode(&mut self, from: Spot) -> Spot {
        let id = format!("DX{}", self.draft.terminals.len());
        let studs = ["a", "k"].map(|side| self.terminal(format!("{id}{side}"), false));
        self.diode_between(studs);
        self.wire(from, studs[0]);
        studs[1]
    }

    /// A load; gives back the point its return wire starts from.
    fn load(&mut self, from: Spot) -> Spot {
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
    fn condition(&mut self) -> String {
        let fresh = "tank-full".to_owned();
        if self.condition.is_none() {
            self.draft.conditions.push(fresh.clone());
        }
        self.condition.get_or_insert(fresh).clone()
    }
}
