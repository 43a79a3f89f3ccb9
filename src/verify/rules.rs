//! The rules of safety, one function each, and what makes a step possible at all.

use std::collections::{BTreeMap, BTreeSet};

use super::machine::{Groups, Machine};
use super::meter::Strong;
use super::read::Step;
use super::replay::{Replay, Scene};
use super::report::{Report, Rule};
use super::state::{Action, Joined, State, batteries, hazard, lead_name, strap_name};
use crate::definition::{ContactId, Function, Kind, LoadKind, PartKind, Point};

/// From this voltage against the chassis an exposed contact counts as live: common practice.
const LIVE: f64 = 1.0;
/// A listed voltage may be off by this share and so many volts: it only has to warn of the right thing.
const LISTED: [f64; 2] = [0.1, 0.5];

/// A rule.
type Check = fn(&Replay<'_>, &mut Report);

/// Every rule that looks at changes and probes.
pub(super) const ALL: [Check; 9] =
    [definition, changes, isolated, mating, leads, live, electronics, as_found, reach];

/// Every step with its place.
pub(super) fn steps<'r>(replay: &'r Replay<'_>) -> impl Iterator<Item = ([usize; 2], &'r State, &'r Step)> {
    replay.scenes.iter().enumerate().flat_map(|(at, scene)| {
        scene.phase.steps.iter().enumerate().map(move |(step, read)| ([at, step], &scene.after, read))
    })
}

/// The plan was made from this text and this variant of the definition.
fn definition(replay: &Replay<'_>, report: &mut Report) {
    let (stamp, about, hash) = (&replay.plan.json.harness, &replay.harness.about, &replay.harness.hash);
    let variant = |variant: &Option<String>| {
        variant.as_ref().map_or_else(|| "no variant".to_owned(), |name| format!("variant {name}"))
    };
    if stamp.hash != *hash {
        let short = |hash: &str| hash.chars().take(12).collect::<String>();
        let what = format!(
            "stale: it was made from {} revision {}, text {}; this is {} revision {}, text {}",
            stamp.id,
            stamp.revision,
            short(&stamp.hash),
            about.id,
            about.revision,
            short(hash)
        );
        report.plan(Rule::Definition, what);
    }
    if stamp.variant != about.variant {
        let [made, is] = [&stamp.variant, &about.variant].map(variant);
        report.plan(Rule::Definition, format!("it was made for {made}; this is {is}"));
    }
}

/// Every change can be done, and leads where the plan says.
fn changes(replay: &Replay<'_>, report: &mut Report) {
    let harness = replay.harness;
    begins(replay, report);
    for (place, event) in replay.events() {
        if let Err(why) = event.outcome {
            report.change(Rule::Changes, replay, place, format!("{}: {why}", event.words));
        }
        if let Action::Bring(condition) = event.action
            && harness.conditions[*condition].needs_power
            && event.before.source(harness).is_none()
            && batteries(harness).next().is_some()
        {
            let what = format!("{}: that needs power, and there is none", event.words);
            report.change(Rule::Changes, replay, place, what);
        }
    }
    for scene in replay.scenes {
        declared(replay, scene, report);
    }
}

/// A plan begins with the machine as found, or for a build with power isolated and everything at rest; what plugs are
/// off then is for the person to see.
fn begins(replay: &Replay<'_>, report: &mut Report) {
    let (harness, start) = (replay.harness, &replay.plan.start);
    if *start == State::default() {
        return;
    }
    let bench = State {
        off: batteries(harness).flat_map(|id| [(id, false), (id, true)]).collect(),
        parted: start.parted.clone(),
        ..State::default()
    };
    if *start == bench {
        let plugs = start.parted.iter().map(|id| harness.connectors[harness.matings[*id].first].id.as_str());
        let plugs = plugs.collect::<Vec<_>>().join(", ");
        let plugs = if plugs.is_empty() { String::new() } else { format!(" and unplugged: {plugs}") };
        report.remarks.push(format!(
            "The plan begins with power isolated{plugs}. Nothing in it brings that about: see that it is so."
        ));
    } else {
        let what = "it begins neither with the machine as found nor with power isolated and all else at rest";
        report.plan(Rule::Changes, what.to_owned());
    }
}

/// What a phase says of the machine is what the changes have led to.
fn declared(replay: &Replay<'_>, scene: &Scene<'_>, report: &mut Report) {
    let (harness, said, is) = (replay.harness, &scene.phase.said, &scene.after);
    let mut note = |what: String| report.phase(Rule::Changes, scene, what);
    let source = is.source(harness);
    let [leads, off] = [2 * batteries(harness).count(), is.off.len()];
    match (scene.phase.connected, source) {
        (false, Some(source)) => {
            note(format!("it says power isolated, and {} feeds the machine", harness.parts[source].id));
        }
        (false, None) if off != leads => {
            note("it says power isolated, and not all battery leads are off".to_owned());
        }
        (true, _) if off > 0 => note("it says power connected, and a battery lead is off".to_owned()),
        _ => {}
    }
    for mating in said.parted.symmetric_difference(&is.parted) {
        let plugged = if is.parted.contains(mating) { "unplugged" } else { "plugged in" };
        let name = &harness.connectors[harness.matings[*mating].first].id;
        note(format!("{name} is {plugged}, and the phase says otherwise"));
    }
    let moved: BTreeSet<_> = said.set.keys().chain(is.set.keys()).copied().collect();
    for switch in moved {
        let [says, stands] = [said, is].map(|state| state.position(harness, switch));
        if let PartKind::Switch { positions, .. } = &harness.parts[switch].kind
            && says != stands
        {
            let [says, stands] = [says, stands].map(|at| positions.get(at).map_or("", |p| p.name.as_str()));
            note(format!("{} stands at {stands}, and the phase says {says}", harness.parts[switch].id));
        }
    }
    for condition in said.conditions.symmetric_difference(&is.conditions) {
        let holds = if is.conditions.contains(condition) { "holds" } else { "does not hold" };
        note(format!("{} {holds}, and the phase says otherwise", harness.conditions[*condition].id));
    }
    let [says, fitted]: [BTreeSet<&Joined>; 2] = [said, is].map(|state| state.straps.keys().collect());
    for strap in says.symmetric_difference(&fitted) {
        let on = if fitted.contains(*strap) { "is on" } else { "is not on" };
        note(format!("strap {} {on}, and the phase says otherwise", strap_name(harness, strap)));
    }
    for contact in said.caps.symmetric_difference(&is.caps) {
        let capped = if is.caps.contains(contact) { "is capped" } else { "is not capped" };
        note(format!("{} {capped}, and the phase says otherwise", replay.name(Point::Contact(*contact))));
    }
}

/// Rule 1.
fn isolated(replay: &Replay<'_>, report: &mut Report) {
    for (at, state, step) in steps(replay).filter(|(.., step)| step.kind.is_resistance()) {
        if let Some(why) = state.not_isolated(replay.harness) {
            report.step(Rule::Isolated, replay, at, format!("{} while {why}", step.kind.word()));
        }
    }
}

/// Rule 2. A cap or a strap in the way of a plug is one of its contacts that is not free; and straps come off before
/// any plug is moved, so that none is pulled off with one or forgotten.
fn mating(replay: &Replay<'_>, report: &mut Report) {
    for (place, event) in replay.events() {
        let (Action::Unplug(mating) | Action::PlugIn(mating)) = event.action else { continue };
        let mut note = |why: String| {
            report.change(Rule::Mating, replay, place, format!("{} while {why}", event.words));
        };
        let before = &event.before;
        if let Some(why) = before.not_isolated(replay.harness) {
            note(why);
        }
        if let Some(strap) = before.straps.keys().next() {
            note(format!("strap {} is on", strap_name(replay.harness, strap)));
        }
        let capped = |id: &&ContactId| {
            replay.harness.connectors[replay.harness.contacts[**id].connector].mating == Some(*mating)
        };
        if let Some(contact) = before.caps.iter().find(capped) {
            note(format!("a cap is on {}", replay.name(Point::Contact(*contact))));
        }
    }
}

/// Rule 3. With several batteries every negative lead comes off before any positive one.
fn leads(replay: &Replay<'_>, report: &mut Report) {
    let harness = replay.harness;
    for (place, event) in replay.events() {
        let before = &event.before;
        let other = match event.action {
            Action::TakeOff(_, true) => {
                let on = batteries(harness).find(|battery| !before.off.contains(&(*battery, false)));
                on.map(|battery| format!("{} is still on", lead_name(harness, (battery, false))))
            }
            Action::PutOn(_, false) => {
                let off = batteries(harness).find(|battery| before.off.contains(&(*battery, true)));
                off.map(|battery| format!("{} is still off", lead_name(harness, (battery, true))))
            }
            Action::TakeOff(_, false) | Action::PutOn(_, true) => None,
            _ => continue,
        };
        for why in other.into_iter().chain(before.load(harness)) {
            report.change(Rule::Leads, replay, place, format!("{} while {why}", event.words));
        }
    }
}

/// Rule 4.
fn live(replay: &Replay<'_>, report: &mut Report) {
    for (at, scene) in replay.scenes.iter().enumerate() {
        let json = &replay.plan.json.phases[at].live;
        let listed: BTreeMap<Point, f64> =
            scene.phase.live.iter().copied().zip(json.iter().map(|live| live.volts)).collect();
        let opened = !scene.after.parted.is_empty();
        let volts = match &replay.sound[at] {
            Some(Err(parts)) => {
                let what = format!("what is live cannot be told: the machine never settles ({parts})");
                report.phase(Rule::Live, scene, what);
                continue;
            }
            Some(Ok(sound)) if opened || !listed.is_empty() => Some(&sound.volts),
            _ => None,
        };
        let chassis = replay.harness.point_index(Point::Chassis);
        for point in replay.harness.points() {
            let node = replay.harness.point_index(point);
            let is = volts.map_or(0.0, |volts| volts.between(node, chassis));
            let name = || replay.name(point);
            match listed.get(&point) {
                None if opened && exposed(replay, &scene.after, point) && is.abs() >= 1.1 * LIVE => {
                    report.phase(
                        Rule::Live,
                        scene,
                        format!("{} is live with {is:.1} V and not listed", name()),
                    );
                }
                Some(_) if capped(&scene.after, point) => {
                    report.phase(Rule::Live, scene, format!("{} is listed, and a cap is on it", name()));
                }
                Some(said) if (said - is).abs() > LISTED[0] * is.abs() + LISTED[1] => {
                    report.phase(
                        Rule::Live,
                        scene,
                        format!("{} is listed with {said} V and has {is:.1} V", name()),
                    );
                }
                _ => {}
            }
        }
    }
}

/// Whether anybody can touch a point: a contact of an open plug, or of a connector without a mate in which no part
/// sits; and no cap is on.
fn exposed(replay: &Replay<'_>, state: &State, point: Point) -> bool {
    matches!(point, Point::Contact(id) if state.exposed(replay.harness, id))
}

fn capped(state: &State, point: Point) -> bool {
    matches!(point, Point::Contact(id) if state.caps.contains(&id))
}

/// Rule 5.
fn electronics(replay: &Replay<'_>, report: &mut Report) {
    for (at, scene) in replay.scenes.iter().enumerate() {
        let machine = &replay.machines[at];
        let reach = machine.reach();
        let standing = Standing::new(machine, &reach, &scene.after);
        for (number, step) in scene.phase.steps.iter().enumerate() {
            if let Some(what) = standing.forbids(replay, step) {
                report.step(Rule::Electronics, replay, [at, number], what);
            }
        }
    }
}

/// What stands on each group of points that a test current can reach.
struct Standing<'r> {
    machine: &'r Machine<'r>,
    reach: &'r Groups,
    chassis: usize,
    units: BTreeMap<usize, String>,
    hazards: BTreeMap<usize, String>,
    semiconductors: BTreeMap<usize, String>,
}

impl<'r> Standing<'r> {
    fn new(machine: &'r Machine<'r>, reach: &'r Groups, state: &State) -> Self {
        let harness = machine.harness;
        let chassis = reach.of(machine.node(Point::Chassis));
        let [mut units, mut hazards, mut semiconductors] = [const { BTreeMap::new() }; 3];
        for point in harness.points() {
            let group = reach.of(machine.node(point));
            if let Some(unit) = state.connected_unit(harness, point) {
                units.entry(group).or_insert_with(|| harness.parts[unit].id.clone());
            }
            if let Some(what) = hazard(harness, point) {
                hazards.entry(group).or_insert(what);
            }
            let electronic = |kind: &PartKind| match kind {
                PartKind::Diode { .. } | PartKind::Alternator { .. } => true,
                PartKind::Load { kind, .. } => *kind == LoadKind::Sensor,
                _ => false,
            };
            let here = harness.parts_at(point).find(|part| electronic(&harness.parts[*part].kind));
            // That one end hangs on the chassis, as it mostly does, says nothing.
            if let Some(part) = here.filter(|_| group != chassis) {
                semiconductors.entry(group).or_insert_with(|| harness.parts[part].id.clone());
            }
        }
        Self { machine, reach, chassis, units, hazards, semiconductors }
    }

    /// Why a step must not be taken.
    fn forbids(&self, replay: &Replay<'_>, step: &Step) -> Option<String> {
        let probes = [step.red, step.black];
        if step.kind.is_resistance()
            && let Some(point) = probes.iter().find(|p| replay.harness.unit_behind(**p).is_some())
        {
            return Some(format!("{} goes straight into a unit", replay.name(*point)));
        }
        let groups = probes.map(|point| self.reach.of(self.machine.node(point)));
        let on = |of: &BTreeMap<usize, String>| groups.iter().find_map(|group| of.get(group).cloned());
        let mut tested = groups.iter().filter(|group| **group != self.chassis);
        let unit = tested.find_map(|group| self.units.get(group));
        if let Some(unit) = unit.filter(|_| step.kind == Kind::Isolation) {
            return Some(format!("the isolation test goes into {unit}, which is connected"));
        }
        let strong = step.meter.strong?;
        if let Some(what) = on(&self.hazards) {
            return Some(format!("{} near the hazard mark of {what}", test(strong)));
        }
        if strong == Strong::Current {
            return None;
        }
        let electronics = on(&self.units).or_else(|| on(&self.semiconductors))?;
        Some(format!("{} on {electronics}", test(strong)))
    }
}

fn test(strong: Strong) -> &'static str {
    match strong {
        Strong::Current => "100 mA",
        Strong::Voltage => "500 V",
    }
}

/// Rule 6.
fn as_found(replay: &Replay<'_>, report: &mut Report) {
    let harness = replay.harness;
    let Some(end) = replay.scenes.last().map(|scene| &scene.after) else { return };
    let mut note = |what: String| report.plan(Rule::AsFound, what);
    for lead in &end.off {
        note(format!("{} is off at the end", lead_name(harness, *lead)));
    }
    for mating in &end.parted {
        let mating = &harness.matings[*mating];
        let [a, b] = [mating.first, mating.second].map(|id| harness.connectors[id].id.as_str());
        note(format!("{a} and {b} are apart at the end"));
    }
    for switch in end.set.keys() {
        note(format!("{} is not at rest at the end", harness.parts[*switch].id));
    }
    for condition in &end.conditions {
        note(format!("{} still holds at the end", harness.conditions[*condition].id));
    }
    for strap in end.straps.keys() {
        note(format!("strap {} is on at the end", strap_name(harness, strap)));
    }
    for contact in &end.caps {
        note(format!("a cap is on {} at the end", harness.point_name(Point::Contact(*contact))));
    }
    let unproven = unproven(replay);
    if let Some(unit) = unproven {
        note(format!("nothing says to check what {unit} does, and it was unplugged"));
    }
    let touched =
        replay.scenes.iter().any(|scene| !scene.after.parted.is_empty() || !scene.after.set.is_empty());
    if touched && replay.plan.json.function_check.is_empty() {
        note("nothing says to check that the machine works again: `function_check` is empty".to_owned());
    }
}

/// A unit that was unplugged and whose functions nobody is told to check.
fn unproven<'r>(replay: &'r Replay<'_>) -> Option<&'r str> {
    let harness = replay.harness;
    let parted: BTreeSet<_> = replay.scenes.iter().flat_map(|scene| &scene.after.parted).collect();
    let touched = |point: Point| match point {
        Point::Contact(id) => {
            harness.connectors[harness.contacts[id].connector].mating.is_some_and(|m| parted.contains(&m))
        }
        _ => false,
    };
    let mut units = harness.parts.values().filter(|part| match &part.kind {
        PartKind::Unit { functions } => functions.iter().flat_map(Function::points).any(touched),
        _ => false,
    });
    let said = |id: &str| replay.plan.json.function_check.iter().any(|text| super::cautions::names(text, id));
    units.find(|unit| !said(&unit.id)).map(|unit| unit.id.as_str())
}

/// Every probe gets where it is put, and its meter reads what is asked.
fn reach(replay: &Replay<'_>, report: &mut Report) {
    let at_hand = replay.plan.json.meter.as_deref();
    let at_hand: Option<BTreeSet<&str>> = at_hand.map(|names| names.split(',').map(str::trim).collect());
    for (at, state, step) in steps(replay) {
        let mut note = |what: String| report.step(Rule::Reach, replay, at, what);
        if step.red == step.black {
            note("both probes are at one point".to_owned());
        }
        for point in [step.red, step.black] {
            if let Some(why) = out_of_reach(replay, state, point) {
                note(format!("{} is out of reach: {why}", replay.name(point)));
            }
        }
        let (meter, kind) = (&step.meter, step.kind.word());
        if !meter.reads(step.kind) {
            note(format!("{} does not read {kind}", meter.name));
        }
        if at_hand.as_ref().is_some_and(|names| !names.contains(meter.name)) {
            note(format!("{} is not among the meters at hand", meter.name));
        }
        if step.kind == Kind::Drop && state.source(replay.harness).is_none() {
            note("a drop without power: without current there is none".to_owned());
        }
    }
    tones(replay, report);
}

/// A tone proves a path along conductors alone.
fn tones(replay: &Replay<'_>, report: &mut Report) {
    for (at, (scene, machine)) in replay.scenes.iter().zip(&replay.machines).enumerate() {
        let tones = |step: &&Step| step.meter.tone.is_some();
        if !scene.phase.steps.iter().any(|step| tones(&step)) {
            continue;
        }
        let nets = machine.nets();
        for (number, step) in scene.phase.steps.iter().enumerate().filter(|(_, step)| tones(step)) {
            let [a, b] = [step.red, step.black].map(|point| nets.of(machine.node(point)));
            if a != b {
                let what = "a tone through a part does not prove it".to_owned();
                report.step(Rule::Reach, replay, [at, number], what);
            }
        }
    }
}

fn out_of_reach(replay: &Replay<'_>, state: &State, point: Point) -> Option<String> {
    let harness = replay.harness;
    match point {
        Point::Chassis | Point::Terminal(_) => None,
        Point::Splice(_) => Some("a splice lies under its sleeve".to_owned()),
        Point::Contact(id) => {
            let at = harness.contacts[id].connector;
            let connector = &harness.connectors[at];
            if connector.backprobe {
                None
            } else if state.mated(harness, id) {
                Some(format!("{} is plugged in", connector.id))
            } else if state.looped(at) {
                Some(format!("a loopback plug is on {}", connector.id))
            } else {
                state.caps.contains(&id).then(|| "a cap is on it".to_owned())
            }
        }
    }
}
