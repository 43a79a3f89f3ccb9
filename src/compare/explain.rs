//! What moved, in as few thoughts as explain it.
//!
//! Comes in: two matched revisions and their changes. Goes out: explanations, each with the changes it stands for. Why: see
//! [`super::pattern`]; this page only reads from a harness what moved in which connector.
//!
//! Two things can move. A wire's end is in another cavity: then the nets may change. Or the cores of wires are exchanged
//! while every contact joins what it joined, which colours tell: then two ends were changed alike.

use std::collections::{BTreeMap, BTreeSet};

use super::change::{Change, Effect, Subject, What};
use super::keys::{Both, Key};
use super::pattern::{Found, Layout, Moves, Pattern, patterns};
use crate::definition::{ConnectorId, ContactId, Id, Point, WireId};

/// One thought that explains several changes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Explanation {
    /// What kind of slip or change it is.
    pub pattern: Pattern,
    /// Whether whole cores changed places at each connector alike, so that each contact joins what it joined.
    pub cores: bool,
    /// The connectors, by the names they have now.
    pub connectors: Vec<String>,
    /// Where contents were and where they are: names of contacts, the old one by its old name.
    pub moves: Vec<[String; 2]>,
    /// Twisted pairs that moved as pairs: their old mark, and where they were and are.
    pub pairs: Vec<[String; 3]>,
    /// The wires, by the names they have now.
    pub wires: Vec<String>,
    /// The gravest of the changes that it explains.
    pub effect: Effect,
    /// In plain words.
    pub words: String,
}

/// What moved within a connector.
struct Moved {
    connectors: [ConnectorId; 2],
    cores: bool,
    /// For each move the wires of the content.
    wires: BTreeMap<usize, Vec<[WireId; 2]>>,
    moves: Moves,
}

/// Explains changes, and notes in each which explanation it belongs to.
pub(super) fn explain(both: &Both, changes: &mut [Change]) -> Vec<Explanation> {
    let mut found = Vec::new();
    for moved in ends(both).into_iter().chain(cores(both)) {
        let layout = layout(both, &moved);
        for pattern in patterns(&moved.moves, &layout) {
            found.push(explanation(both, &moved, &layout, &pattern));
        }
    }
    found.extend(renumbered(both));
    let mut all = merged(both, found);
    let places = index(changes);
    for (at, (explanation, wires)) in all.iter_mut().enumerate() {
        mark(both, changes, &places, at, explanation, wires);
        explanation.words = words(explanation);
    }
    all.into_iter().map(|(explanation, _)| explanation).collect()
}

type WithWires = (Explanation, Vec<[WireId; 2]>);
/// Where a wire's end was and is.
type Step = (usize, usize, [WireId; 2]);
/// Where a wire is, and the colours it had and has.
type Core = (usize, String, String, [WireId; 2]);
/// What is the same where the same happened.
type Alike = (Pattern, bool, Vec<[String; 2]>);

/// The connector of a key in a revision, where it is a contact of one.
fn connector_at(both: &Both, side: usize, key: Key) -> Option<ConnectorId> {
    match both.place(side, key)? {
        Point::Contact(id) => Some(both.harness[side].contacts[id].connector),
        _ => None,
    }
}

/// Ends of a wire that are not where they were: where each was and is.
fn moved_ends(both: &Both, pair: [WireId; 2]) -> Vec<[Key; 2]> {
    let mut keys =
        [0, 1].map(|side| both.harness[side].wires[pair[side]].ends.map(|end| both.key(side, end)).to_vec());
    for key in keys[0].clone() {
        if let Some(at) = keys[1].iter().position(|other| *other == key) {
            keys[1].remove(at);
            if let Some(at) = keys[0].iter().position(|other| *other == key) {
                keys[0].remove(at);
            }
        }
    }
    let same = |old: Key, new: Key| {
        let [a, b] = [connector_at(both, 0, old), connector_at(both, 1, new)];
        a.is_some_and(|a| both.connector(0, a) == b)
    };
    let [old, mut new] = keys;
    if let ([a, b], [c, d]) = (&old[..], &new[..])
        && (same(*a, *d) || same(*b, *c))
        && !(same(*a, *c) && same(*b, *d))
    {
        new.reverse();
    }
    old.into_iter().zip(new).map(|(old, new)| [old, new]).collect()
}

/// Wires' ends that are in another cavity of the same connector.
fn ends(both: &Both) -> Vec<Moved> {
    let mut by_connector: BTreeMap<[ConnectorId; 2], Vec<Step>> = BTreeMap::new();
    for pair in &both.wires.pairs {
        for [old, new] in moved_ends(both, *pair) {
            let ids = (connector_at(both, 0, old), connector_at(both, 1, new));
            if let (Some(a), Some(b)) = ids
                && both.connector(0, a) == Some(b)
            {
                let places = [position(both, [a, b], old), position(both, [a, b], new)];
                by_connector.entry([a, b]).or_default().push((places[0], places[1], *pair));
            }
        }
    }
    by_connector.into_iter().map(|(connectors, all)| moved(connectors, false, all)).collect()
}

/// Moves that are one to one: contents that parted or came together are left to the list.
fn moved(connectors: [ConnectorId; 2], cores: bool, all: Vec<Step>) -> Moved {
    let (mut targets, mut sources): (BTreeMap<usize, BTreeSet<usize>>, BTreeMap<usize, BTreeSet<usize>>) =
        (BTreeMap::new(), BTreeMap::new());
    for (from, to, _) in &all {
        targets.entry(*from).or_default().insert(*to);
        sources.entry(*to).or_default().insert(*from);
    }
    let mut moved = Moved { connectors, cores, wires: BTreeMap::new(), moves: Moves::new() };
    for (from, to, wire) in all {
        if targets[&from].len() == 1 && sources[&to].len() == 1 {
            moved.moves.insert(from, to);
            moved.wires.entry(from).or_default().push(wire);
        }
    }
    moved
}

/// The place of a contact in its connector: in the order of the old one, new contacts behind.
fn position(both: &Both, connectors: [ConnectorId; 2], key: Key) -> usize {
    let first = [0, 1].map(|side| both.harness[side].connectors[connectors[side]].first.index());
    match (both.place(0, key), both.place(1, key)) {
        (Some(Point::Contact(id)), _) => id.index() - first[0],
        (_, Some(Point::Contact(id))) => {
            both.harness[0].connectors[connectors[0]].count + id.index() - first[1]
        }
        _ => usize::MAX,
    }
}

/// Cores that changed places while every contact joins what it joined.
fn cores(both: &Both) -> Vec<Moved> {
    let changed = |pair: &[WireId; 2]| {
        let colours = [0, 1].map(|side| both.harness[side].wires[pair[side]].colour.as_ref());
        colours[0] != colours[1] && moved_ends(both, *pair).is_empty()
    };
    let mut at: BTreeMap<[ConnectorId; 2], Vec<Core>> = BTreeMap::new();
    for pair in both.wires.pairs.iter().filter(|pair| changed(pair)) {
        let [old, new] = [0, 1].map(|side| {
            both.harness[side].wires[pair[side]].colour.as_ref().map(ToString::to_string).unwrap_or_default()
        });
        for end in both.harness[0].wires[pair[0]].ends {
            let key = both.key(0, end);
            if let (Some(a), Some(b)) = (connector_at(both, 0, key), connector_at(both, 1, key)) {
                let place = position(both, [a, b], key);
                at.entry([a, b]).or_default().push((place, old.clone(), new.clone(), *pair));
            }
        }
    }
    let one = |(connectors, all): ([ConnectorId; 2], Vec<Core>)| {
        let now: BTreeMap<&String, usize> = all.iter().map(|(place, _, new, _)| (new, *place)).collect();
        let was: BTreeSet<&String> = all.iter().map(|(_, old, _, _)| old).collect();
        if now.len() != all.len() || was.len() != all.len() {
            return None;
        }
        let moves = all.iter().filter_map(|(place, old, _, pair)| Some((*place, *now.get(old)?, *pair)));
        let moves: Vec<_> = moves.collect();
        (moves.len() == all.len()).then(|| moved(connectors, true, moves))
    };
    at.into_iter().filter_map(one).collect()
}

/// What is known of the places of a connector.
fn layout(both: &Both, moved: &Moved) -> Layout {
    let harness = both.harness[0];
    let connector = &harness.connectors[moved.connectors[0]];
    let face = connector.face.and_then(|at| harness.faces.get(at));
    let mut layout = Layout::default();
    let new = both.harness[1];
    let start = new.connectors[moved.connectors[1]].first.index();
    for (at, _) in new.contacts_of(moved.connectors[1]).enumerate() {
        // Behind the old ones, where only the new connector has it.
        layout.orders.insert(connector.count + at, [None, Some(at)]);
    }
    for (place, id) in harness.contacts_of(moved.connectors[0]).enumerate() {
        let contact = &harness.contacts[id];
        let cavity = face.and_then(|face| face.cavities.iter().find(|cavity| cavity.name == contact.name));
        layout.places.push(cavity.map(|cavity| [cavity.x, cavity.y]));
        let mut wires = harness.wires_at(Point::Contact(id));
        let first = wires.next();
        let now = match both.other(0, Point::Contact(id)) {
            Some(Point::Contact(now)) => Some(now),
            _ => None,
        };
        let still = now.is_some_and(|now| new.wires_at(Point::Contact(now)).next().is_some());
        if first.is_some() && still {
            layout.used.insert(place);
        }
        layout.orders.insert(place, [Some(place), now.map(|now| now.index() - start)]);
        let mark = first.filter(|_| wires.next().is_none()).and_then(|id| harness.wires[id].twisted.clone());
        layout.pairs.push(mark);
    }
    layout
}

fn explanation(both: &Both, moved: &Moved, layout: &Layout, found: &Found) -> WithWires {
    let name = |place: usize| place_name(both, moved.connectors, place);
    let wires: Vec<[WireId; 2]> = found.moves.keys().flat_map(|from| moved.wires[from].clone()).collect();
    let mut pairs = Vec::new();
    if matches!(found.pattern, Pattern::PairSwap | Pattern::PairRotation) {
        let mut marks: BTreeMap<&String, [Vec<usize>; 2]> = BTreeMap::new();
        for (from, to) in &found.moves {
            if let Some(Some(mark)) = layout.pairs.get(*from) {
                let at = marks.entry(mark).or_default();
                at[0].push(*from);
                at[1].push(*to);
            }
        }
        let list = |places: &[usize]| places.iter().map(|place| name(*place)).collect::<Vec<_>>().join(", ");
        pairs.extend(marks.into_iter().map(|(mark, [was, is])| [mark.clone(), list(&was), list(&is)]));
    }
    let explanation = Explanation {
        pattern: found.pattern.clone(),
        cores: moved.cores,
        connectors: vec![both.harness[1].connectors[moved.connectors[1]].id.clone()],
        moves: found.moves.iter().map(|(from, to)| [name(*from), name(*to)]).collect(),
        pairs,
        wires: wires.iter().map(|pair| both.harness[1].wires[pair[1]].id.clone()).collect(),
        effect: Effect::Paper,
        words: String::new(),
    };
    (explanation, wires)
}

/// The name of a contact by its place.
fn place_name(both: &Both, connectors: [ConnectorId; 2], place: usize) -> String {
    let count = both.harness[0].connectors[connectors[0]].count;
    let (side, at) = if place < count { (0, place) } else { (1, place - count) };
    let harness = both.harness[side];
    let id = ContactId::from_index(harness.connectors[connectors[side]].first.index() + at);
    harness.contacts[id].name.clone()
}

/// Connectors whose contacts have other names.
fn renumbered(both: &Both) -> Vec<WithWires> {
    let [old, new] = both.harness;
    let of = |id: ConnectorId| {
        let now = both.connector(0, id)?;
        let renamed = |contact: ContactId| {
            let Point::Contact(other) = both.other(0, Point::Contact(contact))? else { return None };
            let names = [old.contacts[contact].name.clone(), new.contacts[other].name.clone()];
            (names[0] != names[1]).then_some(names)
        };
        let moves: Vec<[String; 2]> = old.contacts_of(id).filter_map(renamed).collect();
        let explanation = Explanation {
            pattern: Pattern::Renumbered,
            cores: false,
            connectors: vec![new.connectors[now].id.clone()],
            moves,
            pairs: Vec::new(),
            wires: Vec::new(),
            effect: Effect::Paper,
            words: String::new(),
        };
        (!explanation.moves.is_empty()).then_some((explanation, Vec::new()))
    };
    old.connectors.ids().filter_map(of).collect()
}

/// Puts together what happened at several connectors alike: cores at both ends, and the two halves of a mating.
fn merged(both: &Both, all: Vec<WithWires>) -> Vec<WithWires> {
    let mut out: Vec<WithWires> = Vec::new();
    let mut known: BTreeMap<Alike, Vec<usize>> = BTreeMap::new();
    // The mate that it has in both revisions.
    let mate = |name: &str| {
        let [old, new] = both.harness;
        let id = new.names.connector(name)?;
        let mate = new.mate_of(id)?;
        let was = old.mate_of(both.connector(1, id)?)?;
        (both.connector(1, mate) == Some(was)).then(|| new.connectors[mate].id.as_str())
    };
    for (explanation, wires) in all {
        // The halves of a mating may list their contacts in different orders.
        let mut moves = explanation.moves.clone();
        moves.sort();
        let key = (explanation.pattern.clone(), explanation.cores, moves);
        let alike = known.entry(key).or_default();
        let belongs = |at: &usize| {
            let names = &out[*at].0.connectors;
            explanation.cores || names.iter().any(|name| mate(name) == Some(&explanation.connectors[0]))
        };
        let Some(at) = alike.iter().copied().find(belongs) else {
            alike.push(out.len());
            out.push((explanation, wires));
            continue;
        };
        let (other, others) = &mut out[at];
        other.connectors.extend(explanation.connectors);
        for (id, wire) in explanation.wires.into_iter().zip(wires) {
            if !others.contains(&wire) {
                other.wires.push(id);
                others.push(wire);
            }
        }
    }
    out
}

type Index = BTreeMap<(Subject, What, Option<String>), usize>;

/// Where the change of a thing stands, by what became of it and its new name.
fn index(changes: &[Change]) -> Index {
    let key = |(at, change): (usize, &Change)| ((change.subject, change.what, change.new.clone()), at);
    changes.iter().enumerate().map(key).collect()
}

/// Notes in every change that an explanation covers that it does.
fn mark(
    both: &Both,
    changes: &mut [Change],
    places: &Index,
    number: usize,
    explanation: &mut Explanation,
    wires: &[[WireId; 2]],
) {
    let mut keys: Vec<(Subject, What, Option<String>)> = Vec::new();
    let what = if explanation.cores { What::Value("colour") } else { What::Moved };
    for pair in wires {
        let wire = &both.harness[1].wires[pair[1]];
        keys.push((Subject::Wire, what, Some(wire.id.clone())));
        if explanation.cores && !explanation.pairs.is_empty() {
            keys.push((Subject::Twist, What::Renamed, wire.twisted.clone()));
        }
    }
    for connector in &explanation.connectors {
        for [from, to] in &explanation.moves {
            let contact = Some(format!("{connector}.{to}"));
            if explanation.pattern == Pattern::Renumbered {
                keys.push((Subject::Contact, What::Renamed, contact));
            } else if signal_followed(both, connector, [from, to]) {
                keys.push((Subject::Contact, What::Value("signal"), contact));
            }
        }
    }
    for key in keys {
        if let Some(at) = places.get(&key) {
            changes[*at].explained = Some(number);
            explanation.effect = explanation.effect.min(changes[*at].effect);
        }
    }
}

/// Whether what a contact is for moved with its content.
fn signal_followed(both: &Both, connector: &str, [from, to]: [&String; 2]) -> bool {
    let [old, new] = both.harness;
    let now = new.names.connector(connector).and_then(|id| both.connector(1, id).map(|was| (was, id)));
    let Some((was, id)) = now else { return false };
    let signal = |harness: &crate::definition::Harness, id: ConnectorId, name: &String| {
        let contact = harness.contacts_of(id).find(|contact| harness.contacts[*contact].name == *name)?;
        harness.contacts[contact].signal.clone()
    };
    signal(old, was, from) == signal(new, id, to)
}

fn words(explanation: &Explanation) -> String {
    let at = match &explanation.connectors[..] {
        [one] => format!("At {one}"),
        several if explanation.cores => format!("At {} alike", several.join(" and ")),
        several => format!("On both halves of {}", several.join("/")),
    };
    let list = |moves: &[[String; 2]]| {
        moves.iter().map(|[from, to]| format!("{from} to {to}")).collect::<Vec<_>>().join(", ")
    };
    let moves = list(&explanation.moves);
    let count = explanation.moves.len();
    let what = match &explanation.pattern {
        Pattern::Swap => {
            let [a, b] = &explanation.moves[0];
            format!("what was in {a} and in {b} has changed places")
        }
        Pattern::PairSwap => {
            let pair = |at: usize| {
                let [mark, was, _] = &explanation.pairs[at];
                format!("{mark} (from {was})")
            };
            format!("the twisted pairs {} and {} have changed places", pair(0), pair(1))
        }
        Pattern::PairRotation => {
            let pair = |[mark, was, is]: &[String; 3]| format!("{mark} from {was} to {is}");
            let pairs: Vec<String> = explanation.pairs.iter().map(pair).collect();
            format!("{} twisted pairs each took another's place: {}", pairs.len(), pairs.join("; "))
        }
        Pattern::Rotation => {
            format!("{count} contents each took the next one's place: {}", ring(&explanation.moves))
        }
        Pattern::Reversed => format!("a block of {count} stands in the opposite order: {moves}"),
        Pattern::Mirrored => {
            format!("everything is mirrored left to right, as if seen from the other side: {moves}")
        }
        Pattern::UpsideDown => format!("everything is mirrored top to bottom: {moves}"),
        Pattern::HalfTurn => format!("everything is turned by half a turn: {moves}"),
        Pattern::Shifted(step) => {
            let places = if step.abs() == 1 { "place" } else { "places" };
            let way = if *step > 0 { "further on" } else { "back" };
            format!("{count} contents stand {} {places} {way}: {moves}", step.unsigned_abs())
        }
        Pattern::Renumbered => format!("contacts have other names: {moves}"),
    };
    let so = match (explanation.cores, explanation.effect) {
        (true, _) => "; every contact still joins what it joined, only the cores are others",
        (false, Effect::Electrical) => "",
        (false, _) if explanation.pattern == Pattern::Renumbered => "; they join what they joined",
        (false, _) => "; what the machine joins end to end is the same",
    };
    format!("{at} {what}{so}.")
}

/// Moves that lead round, in the order they are gone through.
fn ring(moves: &[[String; 2]]) -> String {
    let next: BTreeMap<&String, &String> = moves.iter().map(|[from, to]| (from, to)).collect();
    let start = &moves[0][0];
    let mut all = vec![start.as_str()];
    let mut at = start;
    while let Some(to) = next.get(at) {
        all.push(to);
        at = to;
        if at == start || all.len() > moves.len() {
            break;
        }
    }
    all.join(" to ")
}
