//! Big machines with the structure of real ones.
//!
//! A machine is a row of sub-looms that hang on one supply rail, one ground and one bus. Each
//! sub-loom runs through three matings in a row (cab, bulkhead, deck): half of its lines are power
//! circuits (fuse block, fuse, matings, load, ground splice, ground stud), the other half are signals
//! between two boxes. That is roughly ten wires to a load, which is what machines have.

use super::Rng;
use super::draft::{Draft, Form, MOST_LEGS, Spot, Wire};

/// A machine of so many wires, give or take one sub-loom (about 250 wires). The text of 100,000 wires
/// is some 20 MB and takes a fraction of a second.
pub(crate) fn large(wires: usize) -> String {
    let mut draft = Draft::default();
    let stud = draft.terminal("GP0".to_owned(), "s0".to_owned(), true);
    let mut maker = Maker { rng: Rng::new(wires as u64), draft, rail: Vec::new(), stud, bus: None };
    maker.source();
    while maker.draft.wires.len() < wires {
        maker.sub_loom();
    }
    maker.draft.title = format!("Large machine, {} wires", maker.draft.wires.len());
    maker.draft.text()
}

struct Maker {
    rng: Rng,
    draft: Draft,
    /// Splices of the supply rail, each fed by an earlier one.
    rail: Vec<Spot>,
    /// The ground stud that was made last.
    stud: Spot,
    /// Where the bus ended in the sub-loom before.
    bus: Option<[Spot; 2]>,
}

impl Maker {
    fn source(&mut self) {
        self.draft.nominal = "24 V";
        self.draft.stations = vec!["s0".to_owned()];
        let [plus, minus] =
            ["BT1", "BT2"].map(|id| self.draft.terminal(id.to_owned(), "s0".to_owned(), false));
        let ground = self.stud;
        let battery = "kind = \"battery\"\nvolts = \"25.4 V\"\ninternal = \"2 mohm\"\nplus = \"BT1\"\nminus = \"BT2\"\n";
        self.draft.part("BAT1".to_owned(), battery.to_owned());
        self.wire(minus, ground, "95 mm2");
        let first = self.draft.splice("s0".to_owned());
        self.wire(plus, first, "95 mm2");
        self.rail.push(first);
    }

    /// One sub-loom of 20 to 60 lines.
    fn sub_loom(&mut self) {
        let n = self.draft.stations.len();
        let station = format!("s{n}");
        self.draft.stations.push(station.clone());
        self.draft.trunks.push(([format!("s{}", n / 2), station.clone()], self.rng.between(5, 40)));
        let lines = self.rng.between(20, 60);
        let matings: Vec<[usize; 2]> = (0..3).map(|at| self.mating(n, at, lines, &station)).collect();
        let power = lines / 2;
        self.power_circuits(n, power, &matings, &station);
        self.signals(n, power..lines, &matings, &station);
        self.bus(&matings, lines);
    }

    fn mating(&mut self, n: usize, at: usize, lines: usize, station: &str) -> [usize; 2] {
        let names: Vec<String> = (1..=lines).map(|line| line.to_string()).collect();
        let pair = ["P", "J"].map(|side| {
            self.draft.connector(format!("{side}{n}-{at}"), station.to_owned(), Form::Count, names.clone())
        });
        self.draft.mate(pair[0], pair[1]);
        for line in 0..lines {
            for connector in pair {
                self.draft.connectors[connector].pins[line].signal = Some(format!("Line {n} {line}"));
            }
        }
        self.draft.connectors[pair[0]].backprobe = at == 1;
        pair
    }

    /// Fuse block, matings, loads, ground splices.
    fn power_circuits(&mut self, n: usize, count: usize, matings: &[[usize; 2]], station: &str) {
        let names = (1..=2 * count).map(|contact| contact.to_string()).collect();
        let block = self.draft.connector(format!("FB{n}"), station.to_owned(), Form::Count, names);
        let ground = self.draft.terminal(format!("GP{n}"), station.to_owned(), true);
        // Studs are bonded to the frame and to each other: a ring.
        self.wire(ground, self.stud, "10 mm2");
        self.stud = ground;
        let mut returns = ground;
        for line in 0..count {
            let [fed, out] = [0, 1].map(|side| Spot::Contact(block, 2 * line + side));
            let keys =
                format!("kind = \"fuse\"\nrating = \"10 A\"\nbetween = {}\n", self.draft.pair([fed, out]));
            self.draft.part(format!("F{n}-{line}"), keys);
            let feed = self.rail_point(station);
            self.wire(feed, fed, "2.5 mm2");
            let end = self.through(out, line, matings, "1.5 mm2");
            if line % 4 == 0 {
                returns = self.draft.splice(station.to_owned());
                // Grounds are doubled more often than anything else.
                for _ in 0..self.rng.between(1, MOST_LEGS - 4) {
                    self.wire(returns, ground, "4 mm2");
                }
            }
            self.load(&format!("{n}-{line}"), end, returns, station);
        }
    }

    /// A wire to each mating and on to the next; gives back the contact behind the last.
    fn through(&mut self, from: Spot, line: usize, matings: &[[usize; 2]], gauge: &'static str) -> Spot {
        matings.iter().fold(from, |at, [near, far]| {
            self.wire(at, Spot::Contact(*near, line), gauge);
            Spot::Contact(*far, line)
        })
    }

    fn load(&mut self, name: &str, from: Spot, to: Spot, station: &str) {
        let names = vec!["1".to_owned(), "2".to_owned()];
        let plug = self.draft.connector(format!("XM{name}"), station.to_owned(), Form::Face("rect-2"), names);
        let ends = [0, 1].map(|at| Spot::Contact(plug, at));
        let kind = self.rng.pick(&["lamp", "motor", "coil", "resistor"]);
        let ohms = self.rng.between(5, 300);
        let pair = self.draft.pair(ends);
        self.draft.part(
            format!("M{name}"),
            format!("kind = \"{kind}\"\nbetween = {pair}\nohms = \"{ohms} ohm\"\n"),
        );
        self.wire(from, ends[0], "1.5 mm2");
        self.wire(ends[1], to, "1.5 mm2");
    }

    /// Lines between two boxes, whose inside is not ours to probe.
    fn signals(&mut self, n: usize, lines: std::ops::Range<usize>, matings: &[[usize; 2]], station: &str) {
        let names: Vec<String> = (1..=lines.len()).map(|contact| contact.to_string()).collect();
        let [near, far] = ["XA", "XB"].map(|prefix| {
            self.draft.connector(format!("{prefix}{n}"), station.to_owned(), Form::Count, names.clone())
        });
        for (at, line) in lines.enumerate() {
            let end = self.through(Spot::Contact(near, at), line, matings, "0.75 mm2");
            self.wire(end, Spot::Contact(far, at), "0.75 mm2");
        }
    }

    /// Joins the last two signal lines to those of the sub-loom before, as a twisted pair.
    fn bus(&mut self, matings: &[[usize; 2]], lines: usize) {
        let here = [2, 1].map(|back| Spot::Contact(matings[0][1], lines - back));
        let before = self.bus.replace([2, 1].map(|back| Spot::Contact(matings[2][0], lines - back)));
        let Some(before) = before else { return };
        let twist = format!("TP{}", self.draft.stations.len());
        for (from, to) in before.into_iter().zip(here) {
            self.wire(from, to, "0.5 mm2");
            if let Some(wire) = self.draft.wires.last_mut() {
                wire.twisted = Some(twist.clone());
            }
        }
    }

    /// A leg of the supply rail; the last leg of a full splice feeds the next one.
    fn rail_point(&mut self, station: &str) -> Spot {
        let last = self.rail[self.rail.len() - 1];
        if self.draft.legs(last) < MOST_LEGS - 1 {
            return last;
        }
        let next = self.draft.splice(station.to_owned());
        // Fed from a splice half as far from the battery, so that the rail is a tree and not a queue.
        let parent = self.rail[self.rail.len() / 2];
        let parent = if self.draft.legs(parent) < MOST_LEGS { parent } else { last };
        self.wire(parent, next, "16 mm2");
        self.rail.push(next);
        next
    }

    fn wire(&mut self, from: Spot, to: Spot, gauge: &'static str) {
        let n = self.draft.wires.len();
        let colour = self.rng.pick(&["RD", "BK", "WH/RD", "BU", "OG/BK", "VT"]);
        self.draft.wire(Wire {
            id: format!("{}{}", 100 + n / 4, ["A", "B", "C", "D"][n % 4]),
            ends: [from, to],
            gauge: Some(gauge),
            colour: Some(colour),
            length: Some(self.rng.between(2, 60)),
            circuit: None,
            twisted: None,
        });
    }
}
