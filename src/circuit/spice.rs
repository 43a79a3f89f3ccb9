//! The deck of a solved machine: its network as text for a general-purpose circuit simulator.
//!
//! Comes in: a machine, a setup and what is changed in it. Goes out: a deck in the SPICE language that
//! ngspice runs as it stands (`ngspice -b FILE`), and the simulator's name of every point. Why: whoever
//! doubts a computed voltage can ask a program that shares nothing with this one.
//!
//! The deck is made from the same branches that are solved here: a resistance is an R, a source and a
//! conducting diode are a V behind an R. Switching parts are frozen in the state the machine settles in,
//! and what does not conduct stands as a comment. So the simulator checks the voltages; whether these
//! voltages call for the states is a question that stays open, and the comments give what it takes to
//! answer it.
//!
//! Cost: one solution, and a line for each link.

mod names;
mod words;

use super::Corner;
use super::change::{Change, Lean};
use super::network::{Branch, Machine, Network, unit_inputs};
use super::settle::{self, Settled, Unsettled};
use crate::definition::Harness;
use crate::netlist::{LinkId, Netlist};
use crate::setup::Setup;
use names::Names;
use words::Words;

/// A deck for a circuit simulator.
#[derive(Debug, Clone)]
pub struct Deck {
    circuit: String,
    nodes: Vec<Option<String>>,
}

impl Deck {
    /// The whole deck: circuit, analysis, and a line for the voltage of each node in full precision.
    pub fn text(&self) -> String {
        let mut text = self.circuit.clone();
        text += ".control\nset numdgt=16\nop\n";
        for name in self.nodes.iter().flatten().filter(|name| *name != GROUND) {
            text += &format!("print v({name})\n");
        }
        // Without this a simulator that runs unattended calls a deck without plots a failure.
        text + "if $?batchmode\nquit\nend\n.endc\n.end\n"
    }

    /// Title, comments and elements alone, to put another analysis behind them.
    pub fn circuit(&self) -> &str {
        &self.circuit
    }

    /// What a node of the netlist is called in the deck; `None` where nothing conducts to it. The chassis
    /// is node `0`.
    pub fn node(&self, node: usize) -> Option<&str> {
        self.nodes.get(node)?.as_deref()
    }
}

/// The simulator's own reference.
const GROUND: &str = "0";

/// What every deck says of itself.
const PREFACE: [&str; 7] = [
    "Solved as a DC operating point: every relay, diode, driver and fuse is frozen in the state listed here,",
    "and the simulator switches none of them. Resistances are those to expect of a healthy machine; the",
    "machine itself has not been measured.",
    "The maker's manual, local codes and licensed practice come first: this deck helps a trained person to",
    "reason, it does not release a machine.",
    "Node 0 is the chassis. With power isolated nothing drives a current: for the resistance between two",
    "nodes a and b add the line `i_ohms b a 1` and read v(a)-v(b) in ohms.",
];

/// Makes the deck of a machine in a setup, with some things changed in it; `words` says in one line what
/// the changes stand for, such as a fault's id, and may be empty.
///
/// # Errors
/// The parts that keep switching, if the machine never settles: there is no state to freeze it in.
pub fn deck(
    harness: &Harness,
    netlist: &Netlist,
    setup: &Setup,
    changes: &[Change],
    words: &str,
) -> Result<Deck, Unsettled> {
    let machine = Machine { harness, netlist, setup, changes, corner: Corner::Nominal, lean: Lean::Exact };
    let operating = match settle::settle(machine, None, None)? {
        Settled::Steady(operating) => operating,
        Settled::Loop { parts, .. } => return Err(Unsettled::Loop(parts)),
    };
    let network = Network::assemble(machine, operating.states());
    let mut writer = Writer {
        words: Words { machine, states: operating.states() },
        text: String::new(),
        nodes: vec![None; netlist.point_count()],
        node_names: Names::default(),
        element_names: Names::default(),
    };
    writer.name_nodes(&network);
    writer.head(words);
    writer.links(&network);
    writer.unlinked(&network);
    writer.islands(&network);
    Ok(Deck { circuit: writer.text, nodes: writer.nodes })
}

struct Writer<'a> {
    words: Words<'a>,
    text: String,
    nodes: Vec<Option<String>>,
    node_names: Names,
    element_names: Names,
}

impl Writer<'_> {
    /// A comment line; a definition's texts may hold anything, and a line must stay one line.
    fn comment(&mut self, text: &str) {
        let safe = |c: char| if c.is_control() { ' ' } else { c };
        self.text.extend("* ".chars().chain(text.chars().map(safe)));
        self.text.push('\n');
    }

    fn line(&mut self, element: &str, a: &str, b: &str, value: f64) {
        self.text += &format!("{element} {a} {b} {}\n", number(value));
    }

    /// Every node that a branch meets gets its point's name; the chassis is the simulator's reference.
    fn name_nodes(&mut self, network: &Network) {
        let mut met = vec![false; self.nodes.len()];
        for branch in &network.branches {
            met[branch.a] = true;
            met[branch.b] = true;
        }
        let chassis = self.words.machine.netlist.chassis();
        for node in (0..met.len()).filter(|node| met[*node] && *node != chassis) {
            self.nodes[node] = Some(self.node_names.node(&self.words.node(node)));
        }
        self.nodes[chassis] = Some(GROUND.to_owned());
    }

    fn head(&mut self, words: &str) {
        let Machine { harness, setup, .. } = self.words.machine;
        let about = &harness.about;
        let variant = about.variant.as_ref().map(|v| format!(", variant {v}")).unwrap_or_default();
        self.comment(&format!("{} revision {}{variant} {}", about.id, about.revision, about.title));
        self.comment(&format!("definition: SHA-256 {}", harness.hash));
        self.comment(&format!("setup: {}", setup.words(harness)));
        let changes = self.words.changes();
        let named = if changes.is_empty() { "nothing" } else { words };
        self.comment(&format!("changed: {named}"));
        self.list(&changes);
        for line in PREFACE {
            self.comment(line);
        }
        self.comment("");
        self.comment("states:");
        let states = self.words.states();
        self.list(&states);
        self.comment("");
        self.comment("nodes, each with its point; points that nothing conducts to are left out:");
        let named = self.nodes.iter().enumerate();
        let table: Vec<String> = named
            .filter_map(|(node, name)| Some(format!("{} = {}", name.as_ref()?, self.words.node(node))))
            .collect();
        self.list(&table);
        self.comment("");
    }

    fn list(&mut self, lines: &[String]) {
        for line in lines {
            self.comment(&format!("  {line}"));
        }
    }

    /// Every link in order: its elements, or why it does not conduct.
    fn links(&mut self, network: &Network) {
        let netlist = self.words.machine.netlist;
        let mut branches = network.branches.iter().filter(|branch| branch.link.is_some()).peekable();
        for link in netlist.links() {
            let what = self.words.link(link);
            match branches.next_if(|branch| branch.link == Some(link)) {
                Some(branch) => self.branch(link, &what, branch),
                None => self.comment(&format!("{what}, open: {}", self.words.open(link))),
            }
        }
    }

    fn branch(&mut self, link: LinkId, what: &str, branch: &Branch) {
        let state = self.words.state(link).map(|state| format!(": {state}")).unwrap_or_default();
        self.comment(&format!("{what}{state}"));
        self.elements(&self.words.short(link), branch);
    }

    /// A resistance; with a source, an inner node between it and the resistance.
    fn elements(&mut self, name: &str, branch: &Branch) {
        let [a, b] = [branch.a, branch.b].map(|node| self.nodes[node].clone().unwrap_or_default());
        let resistor = self.element_names.element('r', name);
        let ohms = 1.0 / branch.conductance;
        if branch.current == 0.0 {
            self.line(&resistor, &a, &b, ohms);
            return;
        }
        let inner = self.node_names.node(&format!("{name}_inner"));
        let source = self.element_names.element('v', name);
        self.line(&source, &inner, &b, branch.current / branch.conductance);
        self.line(&resistor, &a, &inner, ohms);
    }

    /// What stands for no link: inputs of units, straps, and what a change joins; in the order they were made.
    fn unlinked(&mut self, network: &Network) {
        let Machine { harness, changes, setup, .. } = self.words.machine;
        let branches: Vec<&Branch> = network.branches.iter().filter(|branch| branch.link.is_none()).collect();
        let joined = changes.iter().filter(|change| matches!(change, Change::Joined(..))).count();
        let (rest, changed) = branches.split_at(branches.len() - joined);
        let (inputs, straps) = rest.split_at(rest.len() - setup.strap_joins(harness).count());
        for (branch, (unit, ends)) in inputs.iter().zip(unit_inputs(harness)) {
            self.comment(&self.words.input(unit, ends));
            self.elements(&format!("{}_input", harness.parts[unit].id), branch);
        }
        for branch in straps {
            let [a, b] = [branch.a, branch.b].map(|node| self.words.node(node));
            self.comment(&format!("strap between {a} and {b}"));
            self.elements("strap", branch);
        }
        for branch in changed {
            let [a, b] = [branch.a, branch.b].map(|node| self.words.node(node));
            self.comment(&format!("changed: {a} and {b} joined"));
            self.elements("changed", branch);
        }
    }

    /// One resistance to the chassis for each island without it: a simulator needs a way to its reference
    /// from everywhere.
    fn islands(&mut self, network: &Network) {
        let chassis = self.words.machine.netlist.chassis();
        let (_, reference) = network.islands(chassis);
        let tied = |node: &usize| reference[*node] && *node != chassis;
        let tied: Vec<(usize, String)> = (0..reference.len())
            .filter(tied)
            .filter_map(|node| Some((node, self.nodes[node].clone()?)))
            .collect();
        if tied.is_empty() {
            return;
        }
        self.comment("");
        self.comment("islands that nothing joins to the chassis: their voltages hold among themselves only,");
        self.comment("and the resistance that ties each of them to node 0 carries no current");
        for (node, name) in tied {
            self.comment(&format!("the island of {}", self.words.node(node)));
            let element = self.element_names.element('r', &format!("tie_{name}"));
            self.line(&element, &name, GROUND, 1.0);
        }
    }
}

/// A number to fifteen digits, which is what a conductance and back leaves of it. Not `significant`: that
/// is for people, and stops at twelve places behind the point.
fn number(value: f64) -> String {
    let rounded: f64 = format!("{value:.14e}").parse().unwrap_or(value);
    let plain = (1e-3..1e7).contains(&rounded.abs()) || rounded == 0.0;
    if plain { rounded.to_string() } else { format!("{rounded:e}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_come_back_as_they_were_written() {
        for (value, text) in [(0.012, "0.012"), (1e-6, "1e-6"), (320.0, "320"), (1e9, "1e9"), (25.4, "25.4")]
        {
            assert_eq!(number(1.0 / (1.0 / value)), text);
        }
        assert_eq!(number(1.0 / 3.0), "0.333333333333333");
    }
}
