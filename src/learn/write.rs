//! What was learned as the text of a definition, format 1.

use std::collections::BTreeMap;

use super::lead::{Between, Lead, Net};
use crate::definition::diagnostic::clean;
use crate::definition::edit::{bare, list, quoted};
use crate::exchange::About;

/// The definition, with comments that say which rows prove what. Where more than two points are one net, how wires
/// join them is not known: they meet in a splice.
pub fn definition(lead: &Lead, about: &About, table: &str) -> String {
    let mut out = vec![
        comment(&format!("Learned from the readings in {table}.")),
        comment(
            "Readings tell what is joined, not how: which wire runs where within a net, faces, gauges, colours and lengths",
        ),
        comment("are to be seen at the lead and added by hand."),
    ];
    if !lead.unread.is_empty() {
        out.push(comment(&format!(
            "{} pairs of nets were never read against each other: they may be joined.",
            lead.unread.len()
        )));
    }
    out.extend([String::new(), "format = 1".into(), String::new(), "[harness]".into()]);
    for (key, value) in [("id", &about.id), ("title", &about.title), ("revision", &about.revision)] {
        out.push(format!("{key} = {}", quoted(value)));
    }
    points(lead, &mut out);
    let mut names = Names { taken: lead.points.iter().map(|point| connector(point).to_owned()).collect() };
    for net in lead.nets.iter().filter(|net| net.points.len() > 1) {
        wires(lead, net, &mut names, &mut out);
    }
    for between in &lead.between {
        part(lead, between, &mut names, &mut out);
    }
    out.join("\n") + "\n"
}

fn connector(point: &str) -> &str {
    point.split_once('.').map_or(point, |(connector, _)| connector)
}

/// Connectors with their contacts, and terminals.
fn points(lead: &Lead, out: &mut Vec<String>) {
    let mut connectors: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    let mut order = Vec::new();
    for point in &lead.points {
        if let Some((connector, contact)) = point.split_once('.') {
            if !connectors.contains_key(connector) {
                order.push(connector);
            }
            connectors.entry(connector).or_default().push(contact.to_owned());
        } else {
            out.extend([String::new(), format!("[terminal.{}]", bare(point))]);
        }
    }
    for id in order {
        out.extend([String::new(), format!("[connector.{}]", bare(id))]);
        out.push(format!("contacts = {}", list(&connectors[id])));
    }
}

/// Names that nothing has yet.
struct Names {
    taken: Vec<String>,
}

impl Names {
    fn fresh(&mut self, prefix: &str) -> String {
        // Of so many names one more than there are taken cannot all be taken.
        let mut names = (1..=self.taken.len() + 1).map(|n| format!("{prefix}{n}"));
        let name = names.find(|name| !self.taken.contains(name)).unwrap_or_default();
        self.taken.push(name.clone());
        name
    }
}

fn wires(lead: &Lead, net: &Net, names: &mut Names, out: &mut Vec<String>) {
    let name = |point: &usize| lead.points[*point].clone();
    let wire = |from: String, to: String, id: &str| {
        let pairs = [("id", id), ("from", &from), ("to", &to)];
        let lines = pairs.map(|(key, value)| format!("{key} = {}", quoted(value)));
        std::iter::once("[[wire]]".to_owned()).chain(lines)
    };
    out.extend([String::new(), comment(&proof(&net.rows))]);
    if let [from, to] = &net.points[..] {
        out.extend(wire(name(from), name(to), &names.fresh("W")));
        return;
    }
    let splice = names.fresh("SP");
    out.push(comment("one net of several points: how its wires join them was not read"));
    out.push(format!("[splice.{}]", bare(&splice)));
    for point in &net.points {
        out.push(String::new());
        out.extend(wire(name(point), splice.clone(), &names.fresh("W")));
    }
}

/// "row 4", "rows 2, 5".
fn proof(rows: &[usize]) -> String {
    let names: Vec<String> = rows.iter().map(ToString::to_string).collect();
    format!("{} {}", if rows.len() == 1 { "row" } else { "rows" }, names.join(", "))
}

fn part(lead: &Lead, between: &Between, names: &mut Names, out: &mut Vec<String>) {
    let ends = between.ends.map(|point| lead.points[point].clone());
    let id = names.fresh("R");
    out.extend([
        String::new(),
        comment(&format!(
            "{}: a part, a bad joint or dirt; look before you believe it",
            proof(&between.rows)
        )),
        format!("[part.{}]", bare(&id)),
        "kind = \"resistor\"".to_owned(),
        format!("between = {}", list(&ends)),
        format!("ohms = {}", quoted(&between.ohms.to_string())),
    ]);
}

fn comment(text: &str) -> String {
    format!("# {}", clean(&text.replace(['\n', '\r'], " ")))
}
