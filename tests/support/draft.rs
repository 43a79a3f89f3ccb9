//! A definition while it is being made, and its TOML text.

use std::fmt::Write;

/// Where a wire or a part attaches.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Spot {
    /// A connector and the place of one of its contacts.
    Contact(usize, usize),
    /// A splice.
    Splice(usize),
    /// A terminal.
    Terminal(usize),
}

/// How a connector says which contacts it has.
#[derive(Clone)]
pub(super) enum Form {
    /// A built-in face, or one of the draft's own.
    Face(&'static str),
    /// A list of names.
    Listed,
    /// A count: names are 1 to n.
    Count,
}

/// What is said of one contact.
#[derive(Default)]
pub(super) struct Pin {
    pub signal: Option<String>,
    pub wires: usize,
    pub spare: bool,
    pub plugged: bool,
}

pub(super) struct Connector {
    pub id: String,
    pub station: String,
    pub form: Form,
    pub names: Vec<String>,
    pub half: Option<&'static str>,
    pub mate: Option<String>,
    pub part: Option<String>,
    pub backprobe: bool,
    pub pins: Vec<Pin>,
}

pub(super) struct Wire {
    pub id: String,
    pub ends: [Spot; 2],
    pub gauge: Option<&'static str>,
    pub colour: Option<&'static str>,
    /// Tenths of a metre.
    pub length: Option<usize>,
    pub circuit: Option<String>,
    pub twisted: Option<String>,
}

/// A splice or a terminal.
pub(super) struct Joint {
    pub id: String,
    pub station: String,
    pub ground: bool,
    pub legs: usize,
}

/// The most wires a splice takes here.
pub(super) const MOST_LEGS: usize = 6;

/// A whole machine.
#[derive(Default)]
pub(super) struct Draft {
    pub title: String,
    pub nominal: &'static str,
    pub stations: Vec<String>,
    /// Ends of trunks with a length in tenths of a metre.
    pub trunks: Vec<([String; 2], usize)>,
    pub conditions: Vec<String>,
    /// Faces of the machine's own, as text.
    pub faces: Vec<String>,
    pub connectors: Vec<Connector>,
    pub splices: Vec<Joint>,
    pub terminals: Vec<Joint>,
    pub wires: Vec<Wire>,
    /// Parts: id and the keys below its header.
    pub parts: Vec<(String, String)>,
}

impl Draft {
    pub(super) fn connector(&mut self, id: String, station: String, form: Form, names: Vec<String>) -> usize {
        let pins = names.iter().map(|_| Pin::default()).collect();
        self.connectors.push(Connector {
            id,
            station,
            form,
            names,
            half: None,
            mate: None,
            part: None,
            backprobe: false,
            pins,
        });
        self.connectors.len() - 1
    }

    pub(super) fn splice(&mut self, station: String) -> Spot {
        let id = format!("SP{}", self.splices.len() + 1);
        self.splices.push(Joint { id, station, ground: false, legs: 0 });
        Spot::Splice(self.splices.len() - 1)
    }

    pub(super) fn terminal(&mut self, id: String, station: String, ground: bool) -> Spot {
        self.terminals.push(Joint { id, station, ground, legs: 0 });
        Spot::Terminal(self.terminals.len() - 1)
    }

    /// Plugs two connectors together: the first has sockets, the second pins.
    pub(super) fn mate(&mut self, first: usize, second: usize) {
        self.connectors[first].mate = Some(self.connectors[second].id.clone());
        self.connectors[first].half = Some("socket");
        self.connectors[second].half = Some("pin");
    }

    pub(super) fn part(&mut self, id: String, keys: String) {
        self.parts.push((id, keys));
    }

    /// Adds a wire; a contact that gets a second one is written as joined.
    pub(super) fn wire(&mut self, wire: Wire) {
        for end in wire.ends {
            *self.legs_mut(end) += 1;
        }
        self.wires.push(wire);
    }

    /// How many wires end at a spot.
    pub(super) fn legs(&self, spot: Spot) -> usize {
        match spot {
            Spot::Contact(connector, at) => self.connectors[connector].pins[at].wires,
            Spot::Splice(at) => self.splices[at].legs,
            Spot::Terminal(at) => self.terminals[at].legs,
        }
    }

    fn legs_mut(&mut self, spot: Spot) -> &mut usize {
        match spot {
            Spot::Contact(connector, at) => &mut self.connectors[connector].pins[at].wires,
            Spot::Splice(at) => &mut self.splices[at].legs,
            Spot::Terminal(at) => &mut self.terminals[at].legs,
        }
    }

    /// A spot as a definition writes it.
    pub(super) fn name(&self, spot: Spot) -> String {
        match spot {
            Spot::Contact(connector, at) => {
                let connector = &self.connectors[connector];
                format!("{}.{}", connector.id, connector.names[at])
            }
            Spot::Splice(at) => self.splices[at].id.clone(),
            Spot::Terminal(at) => self.terminals[at].id.clone(),
        }
    }

    /// Two spots as the list of a part's ends.
    pub(super) fn pair(&self, ends: [Spot; 2]) -> String {
        let [a, b] = ends.map(|end| self.name(end));
        format!("[\"{a}\", \"{b}\"]")
    }

    /// The definition.
    pub(super) fn text(&self) -> String {
        let mut out = String::with_capacity(self.wires.len() * 160 + 4096);
        self.write(&mut out).expect("writing to a string does not fail");
        out
    }

    fn write(&self, out: &mut String) -> std::fmt::Result {
        writeln!(out, "format = 1\n\n[harness]\nid = \"MADE\"\ntitle = \"{}\"", self.title)?;
        writeln!(out, "revision = \"A\"\nnominal = \"{}\"\n", self.nominal)?;
        for id in &self.stations {
            writeln!(out, "[station.{id}]\ntitle = \"Station {id}\"\nreach = \"20 s\"\n")?;
        }
        for (at, ([from, to], length)) in self.trunks.iter().enumerate() {
            writeln!(out, "[trunk.T{}]\nbetween = [\"{from}\", \"{to}\"]", at + 1)?;
            writeln!(out, "length = \"{}\"\n", metres(*length))?;
        }
        for id in &self.conditions {
            writeln!(out, "[condition.{id}]\ntitle = \"Condition {id}\"\n")?;
        }
        self.faces.iter().try_for_each(|face| writeln!(out, "{face}"))?;
        self.connectors.iter().try_for_each(|connector| write_connector(out, connector))?;
        for splice in &self.splices {
            writeln!(out, "[splice.{}]\nstation = \"{}\"\n", splice.id, splice.station)?;
        }
        for terminal in &self.terminals {
            writeln!(out, "[terminal.{}]\nstation = \"{}\"", terminal.id, terminal.station)?;
            writeln!(out, "{}", if terminal.ground { "ground = true\n" } else { "" })?;
        }
        self.parts.iter().try_for_each(|(id, keys)| writeln!(out, "[part.{id}]\n{keys}"))?;
        self.wires.iter().try_for_each(|wire| self.write_wire(out, wire))
    }

    fn write_wire(&self, out: &mut String, wire: &Wire) -> std::fmt::Result {
        let [from, to] = wire.ends.map(|end| self.name(end));
        writeln!(out, "[[wire]]\nid = \"{}\"\nfrom = \"{from}\"\nto = \"{to}\"", wire.id)?;
        if let Some(length) = wire.length {
            writeln!(out, "length = \"{}\"", metres(length))?;
        }
        let circuit = wire.circuit.as_deref();
        let twisted = wire.twisted.as_deref();
        for (key, value) in
            [("gauge", wire.gauge), ("colour", wire.colour), ("circuit", circuit), ("twisted", twisted)]
        {
            if let Some(value) = value {
                writeln!(out, "{key} = \"{value}\"")?;
            }
        }
        writeln!(out)
    }
}

fn write_connector(out: &mut String, connector: &Connector) -> std::fmt::Result {
    writeln!(out, "[connector.{}]\nstation = \"{}\"", connector.id, connector.station)?;
    match connector.form {
        Form::Face(name) => writeln!(out, "face = \"{name}\"")?,
        Form::Count => writeln!(out, "contacts = {}", connector.names.len())?,
        Form::Listed => writeln!(out, "contacts = [\"{}\"]", connector.names.join("\", \""))?,
    }
    let mate = connector.mate.as_deref();
    let part = connector.part.as_deref();
    for (key, value) in [("contact", connector.half), ("mate", mate), ("part", part)] {
        if let Some(value) = value {
            writeln!(out, "{key} = \"{value}\"")?;
        }
    }
    if connector.backprobe {
        writeln!(out, "backprobe = true")?;
    }
    for (name, pin) in connector.names.iter().zip(&connector.pins) {
        write_pin(out, name, pin)?;
    }
    writeln!(out)
}

fn write_pin(out: &mut String, name: &str, pin: &Pin) -> std::fmt::Result {
    let signal = pin.signal.as_ref().map(|signal| format!("signal = \"{signal}\""));
    let flag = |on: bool, key: &str| on.then(|| format!("{key} = true"));
    let empty = pin.wires == 0;
    let keys = [
        signal,
        flag(pin.wires > 1, "joined"),
        flag(pin.spare && empty, "spare"),
        flag(pin.plugged && empty, "plugged"),
    ];
    let keys: Vec<String> = keys.into_iter().flatten().collect();
    if keys.is_empty() { Ok(()) } else { writeln!(out, "pin.\"{name}\" = {{ {} }}", keys.join(", ")) }
}

/// Tenths of a metre as a quantity.
fn metres(tenths: usize) -> String {
    format!("{}.{} m", tenths / 10, tenths % 10)
}
