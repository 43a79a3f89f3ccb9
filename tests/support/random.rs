//! Small machines with everything a definition can hold, joined in odd ways.
//!
//! A machine grows circuit by circuit until it has enough wires. Most circuits are sensible (supply,
//! fuse, switch or relay, load, ground); between them stand rings, trees, doubled wires, joined
//! contacts and runs that end nowhere, because a program that works on the sensible ones alone is
//! wrong about the rest.

use std::fmt::Write;

use super::Rng;
use super::draft::{Draft, MOST_LEGS, Spot};

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

const OWN_FACE: &str = r#"[face.own-6]
shape = "rectangle"
rows = [["a1", "a2", "a3"], ["b1", "b2", "b3"]]
pitch = "5 mm"
"#;

pub(super) struct Maker {
    pub(super) rng: Rng,
    pub(super) draft: Draft,
    /// Contact pairs of matings that no wire uses yet.
    pub(super) slots: Vec<[Spot; 2]>,
    /// Contacts of connectors without a mate that no wire uses yet.
    pub(super) open: Vec<Spot>,
    /// Where circuits are fed from.
    pub(super) supply: Vec<Spot>,
    /// Where circuits return to.
    pub(super) grounds: Vec<Spot>,
    pub(super) condition: Option<String>,
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
            "kind = \"alternator\"\nvolts = \"28 V\"\nmost = \"45 A\"\ninternal = \"20 mohm\"\n\
             plus = \"ALB\"\nminus = \"{minus}\"\n{sense}when = \"{condition}\"\n"
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
                "[[part.{id}.function]]\ntitle = \"Function {function}\"\noutput = \"{}\"\n\
                 supply = \"{}\"\n{returns}when = [\"{waits}\"]\n",
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
}
