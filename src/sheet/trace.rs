//! Traces: the way a circuit takes, element by element.

use serde::Serialize;

use super::{Section, Sheet, Stamp, station_word};
use crate::definition::{Harness, PartId, PartKind, Point};
use crate::netlist::{Element, Link, LinkId, Netlist, PartWay};
use crate::setup::position_name;
use crate::units::{Metres, significant};

/// A trace.
#[derive(Debug, Clone, Serialize)]
pub struct TraceView {
    /// The definition.
    pub harness: Stamp,
    /// Where it starts.
    pub from: String,
    /// Where it ends, if an end was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<String>,
    /// Every element in order.
    pub steps: Vec<StepView>,
    /// Length of all wires on the way.
    pub metres: f64,
}

/// One element on the way.
#[derive(Debug, Clone, Serialize)]
pub struct StepView {
    /// How many branches deep it lies; 0 on a way with one end.
    pub depth: usize,
    /// The element's id.
    pub element: String,
    /// What it is or does.
    pub what: String,
    /// Gauge, for a wire.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gauge: Option<String>,
    /// Colour, for a wire.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub colour: Option<String>,
    /// Length in metres, for a wire.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub metres: Option<f64>,
    /// The point it leads to, where that can be named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<String>,
    /// Where one stands to reach that point.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub station: String,
    /// Whether the element is a part.
    pub part: bool,
}

/// What crossing a load or a coil costs in a trace: more than any number of conductors.
const LOAD: f64 = 100.0;

/// What crossing a link costs in a trace: conductors first, then what only switches or protects, then
/// loads, then the frame, then sources. So a trace follows the circuit as it was meant. A diode and a
/// unit's driver are crossed in their own direction alone.
fn cost(netlist: &Netlist, harness: &Harness, link: LinkId, entered: usize) -> Option<f64> {
    let forward = netlist.ends(link)[0] == entered;
    match netlist.link(link) {
        Link::Wire(_) | Link::Mated { .. } => Some(0.01),
        Link::Bond(_) => Some(50.0),
        Link::Part(part, way) => match (way, &harness.parts[part].kind) {
            (PartWay::Diode | PartWay::Drive(_), _) if !forward => None,
            (PartWay::Source, _) => Some(1000.0),
            (PartWay::Coil, _) | (_, PartKind::Load { .. }) => Some(LOAD),
            _ => Some(1.0),
        },
    }
}

/// The way from one point to another; `None` where nothing joins them in any position of the switches.
pub fn trace(harness: &Harness, netlist: &Netlist, from: Point, to: Point) -> Option<(TraceView, Sheet)> {
    let [a, b] = [from, to].map(|p| harness.point_index(p));
    let way = netlist.way(a, b, |link, entered| cost(netlist, harness, link, entered))?;
    let mut steps = Vec::new();
    let mut crossed = Vec::new();
    let mut node = way.start;
    for (link, next) in way.steps {
        steps.extend(link_steps(harness, netlist, link, node, 0));
        if cost(netlist, harness, link, node).is_some_and(|cost| cost >= LOAD)
            && let Link::Part(part, _) = netlist.link(link)
        {
            crossed.push(harness.parts[part].id.clone());
        }
        node = next;
    }
    let (view, mut sheet) = finish(harness, from, Some(to), steps);
    if !crossed.is_empty() {
        let crossed = crossed.join(", ");
        sheet
            .notes
            .push(format!("There is no shorter way than through {crossed}: a load, a coil or a source."));
    }
    Some((view, sheet))
}

/// Everything conductors join to a point, branch by branch, up to the parts that end it.
pub fn trace_net(harness: &Harness, netlist: &Netlist, from: Point) -> (TraceView, Sheet) {
    let mut steps = Vec::new();
    let start = harness.point_index(from);
    let mut seen = vec![false; netlist.point_count()];
    seen[start] = true;
    let mut stack: Vec<(Option<LinkId>, usize, usize, usize)> = vec![(None, start, start, 0)];
    while let Some((link, before, node, depth)) = stack.pop() {
        if let Some(link) = link {
            steps.extend(link_steps(harness, netlist, link, before, depth));
        }
        let links = netlist.links_at(node);
        let is_part = |(l, _): &(LinkId, usize)| Some(*l) != link && !netlist.link(*l).is_conductor();
        for (part, _) in links.clone().filter(is_part) {
            steps.extend(link_steps(harness, netlist, part, node, depth + 1));
        }
        // The chassis joins everything that is grounded: a trace ends there.
        if node == netlist.chassis() && node != start {
            continue;
        }
        let onward = links.filter(|(l, _)| netlist.link(*l).is_conductor());
        let fresh: Vec<_> = onward.filter(|(_, n)| !std::mem::replace(&mut seen[*n], true)).collect();
        let deeper = usize::from(fresh.len() > 1);
        stack.extend(fresh.into_iter().rev().map(|(l, n)| (Some(l), node, n, depth + deeper)));
    }
    finish(harness, from, None, steps)
}

/// The elements of a link, walked from `start`.
fn link_steps(
    harness: &Harness,
    netlist: &Netlist,
    link: LinkId,
    start: usize,
    depth: usize,
) -> Vec<StepView> {
    let ends = netlist.ends(link);
    let forward = ends[0] == start;
    let end = netlist.point(if forward { ends[1] } else { ends[0] });
    let mut elements = netlist.elements(harness, link);
    if !forward {
        elements.reverse();
    }
    let last = elements.len() - 1;
    let view = |(at, element): (usize, Element)| {
        let mut step = StepView {
            depth,
            element: element.id(harness),
            what: what(element).to_owned(),
            gauge: None,
            colour: None,
            metres: None,
            to: (at == last).then(|| harness.point_name(end)),
            station: String::new(),
            part: false,
        };
        if at == last {
            step.station = station_word(harness, harness.station_of(end));
        }
        match (element, netlist.link(link)) {
            (Element::Wire(id), _) => {
                let wire = &harness.wires[id];
                step.gauge = wire.gauge.map(|g| g.to_string());
                step.colour = wire.colour.as_ref().map(ToString::to_string);
                step.metres = wire.length.map(Metres::get);
            }
            (Element::Part(part), Link::Part(_, way)) => {
                step.part = true;
                step.what = does(harness, netlist, part, way, forward);
            }
            _ => {}
        }
        step
    };
    elements.into_iter().enumerate().map(view).collect()
}

fn what(element: Element) -> &'static str {
    match element {
        Element::Wire(_) => "wire",
        Element::Termination(..) => "wire end",
        Element::SpliceLeg(..) => "splice leg",
        Element::Mated(..) => "mated contact",
        Element::Bond(_) => "ground bond",
        Element::Part(_) => "part",
    }
}

/// What a part does where a trace meets it.
fn does(harness: &Harness, netlist: &Netlist, id: PartId, way: PartWay, forward: bool) -> String {
    let part = &harness.parts[id];
    let pair = |points: &[Point; 2]| points.map(|p| harness.point_name(p)).join("–");
    match (&part.kind, way) {
        (PartKind::Fuse { breaker, rating, .. }, _) => {
            let rating = rating.map(|r| format!(", {r}")).unwrap_or_default();
            format!("{}{rating}", if *breaker { "breaker" } else { "fuse" })
        }
        (PartKind::Switch { .. }, PartWay::Switch(at)) => {
            let names: Vec<&str> =
                netlist.closed_in(id, at).iter().map(|p| position_name(harness, id, *p)).collect();
            format!("switch: closed in {}", names.join(", "))
        }
        (PartKind::Relay { operate, coil_ohms, .. }, PartWay::Coil) => {
            format!("relay coil, {coil_ohms}: operates from {operate}")
        }
        (PartKind::Relay { coil, .. }, PartWay::Released) => {
            format!("relay contact: closed while {} has no voltage", pair(coil))
        }
        (PartKind::Relay { coil, operate, .. }, _) => {
            format!("relay contact: closed while {} has {operate} or more", pair(coil))
        }
        (PartKind::Diode { .. }, _) => {
            if forward {
                "diode: passes this way".to_owned()
            } else {
                "diode: blocks this way".to_owned()
            }
        }
        (PartKind::Load { kind, ohms, when, .. }, _) => {
            let when =
                when.map(|c| format!(", only while: {}", harness.conditions[c].title)).unwrap_or_default();
            format!("{}, {ohms}{when}", kind.word())
        }
        (PartKind::Battery { volts, .. }, _) => format!("battery, {volts}"),
        (PartKind::Alternator { volts, .. }, _) => format!("alternator, {volts}"),
        (PartKind::Unit { functions }, PartWay::Drive(at)) => {
            let function = &functions[at as usize];
            let when: Vec<String> = function.when.iter().map(|p| harness.point_name(*p)).collect();
            let when =
                if when.is_empty() { String::new() } else { format!(" when {} live", when.join(" and ")) };
            let ground =
                function.ground.map(|g| format!(", {} grounded", harness.point_name(g))).unwrap_or_default();
            format!(
                "unit drives \"{}\" from {}{when}{ground}",
                function.title,
                harness.point_name(function.supply)
            )
        }
        (kind, _) => kind.word().to_owned(),
    }
}

fn finish(harness: &Harness, from: Point, to: Option<Point>, steps: Vec<StepView>) -> (TraceView, Sheet) {
    let metres = steps.iter().filter_map(|step| step.metres).sum();
    let view = TraceView {
        harness: Stamp::of(harness),
        from: harness.point_name(from),
        to: to.map(|to| harness.point_name(to)),
        steps,
        metres,
    };
    let row = |step: &StepView| {
        let text = |slot: &Option<String>| slot.clone().unwrap_or_default();
        // Blanks that tables neither break nor trim.
        let indent = "\u{a0}\u{a0}".repeat(step.depth);
        vec![
            format!("{indent}{}", step.element),
            step.what.clone(),
            text(&step.gauge),
            text(&step.colour),
            step.metres.map(|m| significant(m, 4)).unwrap_or_default(),
            text(&step.to),
            step.station.clone(),
        ]
    };
    let title = match &view.to {
        Some(to) => format!("From {} to {to}", view.from),
        None => format!("All that conductors join to {}, up to the parts", view.from),
    };
    let start = station_word(harness, harness.station_of(from));
    let at = if start.is_empty() { String::new() } else { format!(" (at {start})") };
    let section = Section {
        title: format!("{title}{at}"),
        columns: vec!["element", "what it is or does", "gauge", "colour", "metres", "to", "station"],
        rows: view.steps.iter().map(row).collect(),
        notes: vec![format!("{} of wire in all", Metres::new(view.metres))],
        ..Section::default()
    };
    let sheet = Sheet { sections: vec![section], ..Sheet::of("Trace", &view.harness) };
    (view, sheet)
}
