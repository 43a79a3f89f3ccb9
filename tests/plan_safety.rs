//! Plans replayed by a bystander: every phase, change by change, from the machine as found.
//!
//! The rules are those of the trade: ohms and isolation with power isolated only; nothing mated or
//! parted under power; battery negative off first and on last (AC 43.13-1B and any vehicle manual);
//! live exposed contacts listed; no megohm test into electronics; the machine left as found. The replay
//! reads the plan's JSON, keeps its own state and its own nets, and solves circuits with its own
//! dense solver; of the crate it uses the definition alone. Machines are made from seeds; a failure
//! names the seed.

#[path = "support/machine.rs"]
mod machine;
#[path = "support/nodal.rs"]
mod nodal;
#[path = "support/replay.rs"]
mod replay;
#[path = "support/mod.rs"]
mod support;

use std::collections::{BTreeMap, BTreeSet};

use machine::Rng;
use replay::{Groups, Put, Scene, State, batteries};
use ringout::definition::{Harness, LoadKind, MatingId, PartKind, Point, load};
use ringout::measure::Meter;
use ringout::netlist::Netlist;
use ringout::plan::{self, Scope};
use ringout::sheet;
use serde_json::Value;

/// A plan as a program reads it; `None` for a machine that has no steady state.
fn planned(harness: &Harness, scope: &Scope) -> Option<Value> {
    let netlist = Netlist::new(harness);
    let plan = plan::plan(harness, &netlist, scope, Meter::HANDHELD).ok()?;
    let (view, _) = sheet::plan(harness, &plan);
    Some(serde_json::to_value(view).unwrap())
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_else(|| panic!("{value} is not text"))
}

fn names(value: &Value) -> BTreeSet<&str> {
    list(value).iter().map(text).collect()
}

/// Everything that is checked of one plan.
struct Replay<'a> {
    harness: &'a Harness,
    scope: &'a Scope,
    plan: &'a Value,
    state: State,
    /// Covers that are tried out with the fault put in.
    tried: usize,
    rng: Rng,
}

impl Replay<'_> {
    fn run(&mut self) {
        let mut found = self.state.clone();
        if batteries(self.harness).is_empty() {
            found = State::default();
        }
        let mut joins: BTreeMap<usize, Vec<(Groups, Vec<[usize; 2]>)>> = BTreeMap::new();
        for (at, phase) in list(&self.plan["phases"]).iter().enumerate() {
            self.changes(phase);
            self.declared(phase);
            let nets = self.scene().nets();
            let along = self.steps(phase, &nets);
            if !along.is_empty() {
                joins.entry(at).or_default().push((nets, along));
            }
            self.exposed(phase);
            self.cautions(phase);
        }
        assert_eq!(self.state, found, "the machine is left as it was found");
        self.spanning(joins.into_values().flatten().collect());
        self.counts();
    }

    fn scene(&self) -> Scene<'_> {
        Scene { harness: self.harness, state: &self.state, put: Put::Nothing }
    }

    fn changes(&mut self, phase: &Value) {
        let mut at = "";
        for change in list(&phase["changes"]) {
            let (action, target) = (text(&change["action"]), text(&change["target"]));
            if let Err(wrong) = self.state.change(self.harness, action, target) {
                panic!("phase {}: {action} {target}: {wrong}", phase["id"]);
            }
            if action == "go to" {
                assert_ne!(at, target, "phase {}: walking to where one stands", phase["id"]);
                at = target;
            }
        }
    }

    /// What a phase says of the machine is what the changes have led to.
    fn declared(&self, phase: &Value) {
        let harness = self.harness;
        let power = if self.state.live(harness) { "connected" } else { "isolated" };
        assert_eq!(text(&phase["power"]), power, "phase {}", phase["id"]);
        if !batteries(harness).is_empty() && power == "isolated" {
            assert_eq!(self.state.off.len(), 2 * batteries(harness).len(), "phase {}", phase["id"]);
        }
        let mating = |id: &str| harness.connectors[harness.names.connector(id).unwrap()].mating.unwrap();
        let parted: BTreeSet<MatingId> = names(&phase["unplugged"]).into_iter().map(mating).collect();
        assert_eq!(parted, self.state.parted, "phase {}", phase["id"]);
        let set: BTreeMap<&str, &str> =
            phase["set"].as_object().unwrap().iter().map(|(switch, at)| (switch.as_str(), text(at))).collect();
        let stands: BTreeMap<&str, &str> =
            self.state.set.iter().map(|(switch, at)| (harness.parts[*switch].id.as_str(), self.position(*switch, *at))).collect();
        assert_eq!(set, stands, "phase {}", phase["id"]);
        let holds: BTreeSet<&str> = self.state.conditions.iter().map(|c| harness.conditions[*c].id.as_str()).collect();
        assert_eq!(names(&phase["conditions"]), holds, "phase {}", phase["id"]);
    }

    fn position(&self, switch: ringout::definition::PartId, at: usize) -> &str {
        match &self.harness.parts[switch].kind {
            PartKind::Switch { positions, .. } => &positions[at].name,
            _ => panic!("not a switch"),
        }
    }

    /// Checks every reading; gives back those along a net.
    fn steps(&mut self, phase: &Value, nets: &Groups) -> Vec<[usize; 2]> {
        let mut along = Vec::new();
        let isolated = !self.state.live(self.harness);
        for step in list(&phase["steps"]) {
            let id = text(&step["id"]);
            let [red, black] = ["red", "black"].map(|probe| self.harness.point(text(&step[probe])).unwrap());
            assert_ne!(red, black, "{id}");
            for point in [red, black] {
                assert!(self.reachable(point), "{id}: {} is out of reach", self.harness.point_name(point));
                assert!(!self.hazardous(point), "{id}: {} is a hazard", self.harness.point_name(point));
            }
            let [a, b] = [red, black].map(|point| self.harness.point_index(point));
            match text(&step["kind"]) {
                "continuity" => {
                    assert!(isolated, "{id}: ohms with power connected");
                    assert!([red, black].iter().all(|p| self.harness.unit_behind(*p).is_none()), "{id}: into a unit");
                    self.expected_ohms(step, red, black);
                    if nets.of(a) == nets.of(b) {
                        along.push([a, b]);
                    }
                }
                "isolation" => {
                    assert!(isolated, "{id}: isolation with power connected");
                    self.no_electronics(id, [red, black], nets);
                    assert_eq!(self.scene().ohms(red, black), None, "{id}: isolation across what is joined");
                }
                "voltage" => {}
                "drop" => assert!(!isolated, "{id}: a drop without power"),
                other => panic!("{id}: {other}"),
            }
            self.try_one(step, red, black);
        }
        along
    }

    fn reachable(&self, point: Point) -> bool {
        match point {
            Point::Chassis | Point::Terminal(_) => true,
            Point::Splice(_) => false,
            Point::Contact(id) => {
                let connector = &self.harness.connectors[self.harness.contacts[id].connector];
                connector.backprobe || connector.mating.is_none_or(|m| self.state.parted.contains(&m))
            }
        }
    }

    fn hazardous(&self, point: Point) -> bool {
        let harness = self.harness;
        let connector = match point {
            Point::Contact(id) => harness.connectors[harness.contacts[id].connector].hazard.is_some(),
            _ => false,
        };
        connector
            || harness.wires_at(point).any(|wire| harness.wires[wire].hazard.is_some())
            || harness.parts_at(point).any(|part| harness.parts[part].hazard.is_some())
    }

    /// A probe's net, other than the ground net, leads into no unit that is still plugged in.
    fn no_electronics(&self, id: &str, probes: [Point; 2], nets: &Groups) {
        let harness = self.harness;
        let ground = nets.of(harness.point_index(Point::Chassis));
        let tested: Vec<usize> = probes.map(|p| nets.of(harness.point_index(p))).into_iter().filter(|n| *n != ground).collect();
        for point in harness.points().filter(|point| harness.unit_behind(*point).is_some()) {
            let Point::Contact(contact) = point else { continue };
            let mating = harness.connectors[harness.contacts[contact].connector].mating;
            let connected = mating.is_none_or(|m| !self.state.parted.contains(&m));
            // A net that a load holds at the chassis takes no test voltage.
            let held = |net: usize| {
                let scene = self.scene();
                let probe = probes.into_iter().find(|p| nets.of(harness.point_index(*p)) == net);
                probe.is_some_and(|p| scene.ohms(p, Point::Chassis).is_some())
            };
            let net = nets.of(harness.point_index(point));
            assert!(!(connected && tested.contains(&net) && !held(net)), "{id}: isolation into {}", harness.point_name(point));
        }
    }

    /// Of my own solving: a healthy machine reads within what the plan expects.
    fn expected_ohms(&self, step: &Value, red: Point, black: Point) {
        let (id, expect) = (text(&step["id"]), &step["expect"]);
        assert_eq!(text(&expect["unit"]), "ohm", "{id}");
        let ohms = self.scene().ohms(red, black);
        let Some(high) = expect["high"].as_f64() else {
            assert_eq!(ohms, None, "{id}: open is expected where something joins the probes");
            return;
        };
        let ohms = ohms.unwrap_or_else(|| panic!("{id}: nothing joins the probes"));
        let low = expect["low"].as_f64().unwrap();
        assert!(low <= ohms && ohms <= high, "{id}: {ohms} ohm is not within {low} to {high}");
    }

    /// Puts one of the faults that a step claims into the machine: its reading must leave what is expected.
    fn try_one(&mut self, step: &Value, red: Point, black: Point) {
        let covers = list(&step["covers"]);
        if covers.is_empty() || self.tried == 0 || !self.rng.chance(25) {
            return;
        }
        let fault = text(&covers[self.rng.below(covers.len())]);
        let Some(put) = self.put(fault) else { return };
        if !matches!(text(&step["kind"]), "continuity" | "isolation") {
            return;
        }
        self.tried -= 1;
        let ohms = Scene { harness: self.harness, state: &self.state, put }.ohms(red, black);
        let low = step["expect"]["low"].as_f64().unwrap();
        let outside = match (ohms, step["expect"]["high"].as_f64()) {
            (None, high) => high.is_some(),
            (Some(ohms), high) => ohms < low || high.is_some_and(|high| ohms > high),
        };
        assert!(outside, "{}: {fault} reads {ohms:?}, which is as expected", step["id"]);
    }

    /// A fault id as something to do to a wire.
    fn put(&self, fault: &str) -> Option<Put> {
        let wire = |id: &str| self.harness.wires.iter().find(|(_, w)| w.id == id).map(|(id, _)| id);
        if let Some(what) = fault.strip_suffix(":open") {
            return wire(what).map(Put::Cut);
        }
        let (a, b) = fault.strip_suffix(":short")?.split_once('~')?;
        if b == "chassis" { Some(Put::Touch(wire(a)?, None)) } else { Some(Put::Touch(wire(a)?, Some(wire(b)?))) }
    }

    /// Every exposed contact that my own solving finds live is listed, and nothing that is dead.
    fn exposed(&self, phase: &Value) {
        let harness = self.harness;
        let listed: BTreeMap<&str, f64> =
            list(&phase["live"]).iter().map(|l| (text(&l["contact"]), l["volts"].as_f64().unwrap())).collect();
        if !self.state.live(harness) || self.state.parted.is_empty() {
            assert!(listed.is_empty(), "phase {}", phase["id"]);
            return;
        }
        let Some(powered) = self.scene().powered() else { return };
        let open = |point: &Point| match point {
            Point::Contact(id) => match harness.connectors[harness.contacts[*id].connector].mating {
                Some(mating) => self.state.parted.contains(&mating),
                None => harness.parts_at(*point).len() == 0,
            },
            _ => false,
        };
        for point in harness.points().filter(open) {
            let name = harness.point_name(point);
            let volts = powered.volts(harness.point_index(point)).unwrap_or(0.0);
            if volts.abs() > 2.0 {
                let shown = listed.get(name.as_str());
                let shown = shown.unwrap_or_else(|| panic!("phase {}: {name} is live with {volts} V and not listed", phase["id"]));
                assert!((shown - volts).abs() <= 0.1 * volts.abs() + 1.0, "{name}: {shown} V listed, {volts} V solved");
            } else {
                assert!(!listed.contains_key(name.as_str()) || volts.abs() > 0.3, "{name} is listed and dead");
            }
        }
    }

    /// A caution stands where its reason stands.
    fn cautions(&self, phase: &Value) {
        let said = list(&phase["cautions"]).iter().map(text).collect::<Vec<_>>().join("\n");
        let does = |action: &str, what: &str| {
            list(&phase["changes"]).iter().any(|c| text(&c["action"]) == action && text(&c["target"]).contains(what))
        };
        if does("take off", "negative") {
            assert!(said.contains("negative comes off first") && said.contains("stored charge"), "{said}");
        }
        if does("put on", "negative") {
            assert!(said.contains("Negative goes on last"), "{said}");
        }
        if !list(&phase["live"]).is_empty() {
            assert!(said.contains("live contacts"), "{said}");
        }
        if !self.state.live(self.harness) {
            return;
        }
        let Some(powered) = self.scene().powered() else { return };
        let nominal = self.harness.about.nominal.map_or(12.0, ringout::units::Volts::get);
        for part in self.harness.parts.values() {
            let PartKind::Load { kind: LoadKind::Motor | LoadKind::Lamp, between: [a, b], .. } = part.kind else { continue };
            let volts = powered.between(self.harness.point_index(a), self.harness.point_index(b));
            let titles = [&part.id, &part.title];
            let told = titles.iter().any(|t| !t.is_empty() && said.contains(t.as_str()));
            assert!(told || volts.abs() < 0.5 * nominal, "phase {}: {} works ({volts} V) and nobody is told", phase["id"], part.id);
        }
    }

    /// Along a net no reading repeats what others show; with everything in scope every net is spanned.
    fn spanning(&self, phases: Vec<(Groups, Vec<[usize; 2]>)>) {
        let whole = self.scope.unplug.is_empty() && self.scope.circuit.is_none();
        for (at, (nets, readings)) in phases.iter().enumerate() {
            let size = self.harness.point_count();
            for last in 1..=readings.len() {
                let before = Groups::new(size, readings[..last - 1].iter().copied());
                let [a, b] = readings[last - 1];
                assert_ne!(before.of(a), before.of(b), "a reading along a net that others show already");
            }
            if whole && at == 0 {
                self.spanned(nets, &Groups::new(size, readings.iter().copied()));
            }
        }
    }

    /// Every two points of a net that a probe may touch with all plugs off are joined by readings.
    fn spanned(&self, nets: &Groups, read: &Groups) {
        let harness = self.harness;
        let mut first: BTreeMap<usize, usize> = BTreeMap::new();
        let touchable = |point: &Point| {
            !matches!(point, Point::Splice(_)) && harness.unit_behind(*point).is_none() && !self.hazardous(*point)
        };
        for point in harness.points().filter(touchable) {
            let node = harness.point_index(point);
            let known = *first.entry(nets.of(node)).or_insert(node);
            assert_eq!(read.of(known), read.of(node), "{} is in no reading of its net", harness.point_name(point));
        }
    }

    /// What the plan says of itself adds up.
    fn counts(&self) {
        let (cost, coverage) = (&self.plan["cost"], &self.plan["coverage"]);
        let number = |value: &Value| value.as_f64().unwrap();
        let steps: Vec<&Value> = list(&self.plan["phases"]).iter().flat_map(|p| list(&p["steps"])).collect();
        let changes: Vec<&Value> = list(&self.plan["phases"]).iter().flat_map(|p| list(&p["changes"])).collect();
        let done = changes.iter().filter(|c| text(&c["action"]) != "go to").count();
        assert_eq!(cost["steps"], steps.len());
        assert_eq!(cost["changes"], done);
        for what in ["steps", "changes", "seconds"] {
            assert!(number(&cost[format!("{what}_bound")]) <= number(&cost[what]) + 1e-9, "{what}: {cost}");
        }
        let least: f64 = changes.iter().map(|c| number(&c["seconds"])).sum::<f64>() + 20.0 * steps.len() as f64;
        assert!(number(&cost["seconds"]) >= least - 1e-6);
        let ids: BTreeSet<&str> = steps.iter().map(|s| text(&s["id"])).collect();
        assert_eq!(ids.len(), steps.len(), "step ids are unique");
        for phase in list(&self.plan["phases"]) {
            let own = format!("{}.", text(&phase["id"]));
            assert!(list(&phase["steps"]).iter().all(|s| text(&s["id"]).starts_with(&own)));
        }
        let covered: BTreeSet<&str> = steps.iter().flat_map(|s| names(&s["covers"])).collect();
        let missed: BTreeSet<&str> = list(&coverage["undetected"]).iter().map(|u| text(&u["fault"])).collect();
        assert_eq!(number(&coverage["faults"]), number(&coverage["detected"]) + missed.len() as f64);
        assert!(covered.is_disjoint(&missed), "covered and undetected: {:?}", covered.intersection(&missed).next());
        if self.scope.unplug.is_empty() && self.scope.circuit.is_none() {
            assert_eq!(coverage["detected"], covered.len(), "every fault that counts as detected stands at a step");
        } else {
            assert!(number(&coverage["detected"]) <= covered.len() as f64);
        }
    }
}

/// Replays a plan; says whether there was one.
fn check(harness: &Harness, scope: &Scope, tried: usize, seed: u64) -> bool {
    let Some(plan) = planned(harness, scope) else { return false };
    let mut replay =
        Replay { harness, scope, plan: &plan, state: State::default(), tried, rng: Rng::new(seed) };
    replay.run();
    true
}

fn made(seed: u64, wires: usize) -> Harness {
    let none = &mut |path: &str| Err(format!("{path} is not there"));
    match load("made.toml", machine::random(seed, wires), None, none) {
        Ok(loaded) => loaded.harness,
        Err(rejected) => panic!("{:?}", rejected.diagnostics.first().map(|d| &d.message)),
    }
}

/// The whole machine, some plugs, or one circuit.
fn some_scope(harness: &Harness, rng: &mut Rng) -> Scope {
    match rng.below(3) {
        0 => Scope::default(),
        1 => Scope { unplug: harness.matings.ids().filter(|_| rng.chance(30)).collect(), circuit: None },
        _ => {
            let circuits: Vec<&String> = harness.wires.values().filter_map(|w| w.circuit.as_ref()).collect();
            Scope { unplug: Vec::new(), circuit: Some(circuits[rng.below(circuits.len())].clone()) }
        }
    }
}

/// Checks machines of some seeds; nearly all must have a plan at all.
fn check_made(seeds: std::ops::Range<u64>, most_wires: usize) {
    let mut without = 0;
    let all = seeds.end - seeds.start;
    for seed in seeds {
        let mut rng = Rng::new(seed ^ 0x0bad_5eed);
        let harness = made(seed, rng.between(4, most_wires));
        let scope = some_scope(&harness, &mut rng);
        let outcome = std::panic::catch_unwind(|| check(&harness, &scope, 3, seed));
        match outcome {
            Ok(planned) => without += u64::from(!planned),
            Err(_) => panic!("seed {seed}, {scope:?}"),
        }
    }
    assert!(without * 20 < all, "{without} of {all} machines never settle");
}

#[test]
fn plans_of_made_machines_keep_every_rule() {
    check_made(0..240, 30);
}

#[test]
#[ignore = "takes minutes"]
fn plans_of_many_and_larger_machines_keep_every_rule() {
    check_made(1000..4000, 60);
}

fn published() -> Vec<String> {
    let folder = support::path("published");
    let files = std::fs::read_dir(folder).unwrap().map(|file| file.unwrap().file_name().into_string().unwrap());
    let mut all: Vec<String> = files.filter(|name| name.ends_with(".toml")).map(|name| format!("published/{name}")).collect();
    all.sort();
    all
}

#[test]
fn plans_of_published_harnesses_keep_every_rule() {
    let files = published();
    assert!(files.len() >= 10);
    for file in files {
        let harness = support::harness(&file);
        assert!(check(&harness, &Scope::default(), 20, 1), "{file}");
        for circuit in circuits(&harness) {
            assert!(check(&harness, &Scope { unplug: Vec::new(), circuit: Some(circuit) }, 2, 1), "{file}");
        }
    }
}

fn circuits(harness: &Harness) -> BTreeSet<String> {
    harness.wires.values().filter_map(|wire| wire.circuit.clone()).collect()
}

fn unplug(harness: &Harness, connectors: &[&str]) -> Scope {
    let mating = |id: &&str| harness.connectors[harness.names.connector(id).unwrap()].mating.unwrap();
    Scope { unplug: connectors.iter().map(mating).collect(), circuit: None }
}

#[test]
fn every_plan_of_the_sprayer_keeps_every_rule() {
    let harness = support::harness("orchard-sprayer.toml");
    assert!(check(&harness, &Scope::default(), 60, 1));
    for circuit in circuits(&harness) {
        assert!(check(&harness, &Scope { unplug: Vec::new(), circuit: Some(circuit) }, 4, 1));
    }
    let plugs: Vec<MatingId> = harness.matings.ids().collect();
    let mut rng = Rng::new(3);
    for _ in 0..12 {
        let some = plugs.iter().copied().filter(|_| rng.chance(20)).collect();
        assert!(check(&harness, &Scope { unplug: some, circuit: None }, 4, 1));
    }
}

/// The sweep at the control box: one power-off, one unplugging, one power-on for the voltages, one
/// power-off, one re-mating.
#[test]
fn the_sweep_at_the_control_box_is_one_cycle() {
    let harness = support::harness("orchard-sprayer.toml");
    let plan = planned(&harness, &unplug(&harness, &["P1", "P2", "P3"])).unwrap();
    let mut actions: Vec<String> = Vec::new();
    for change in list(&plan["phases"]).iter().flat_map(|phase| list(&phase["changes"])) {
        let (action, target) = (text(&change["action"]), text(&change["target"]));
        if matches!(action, "take off" | "put on" | "unplug" | "plug in") {
            actions.push(format!("{action} {}", target.split(" (").next().unwrap()));
        }
    }
    let off = ["take off BAT1 negative", "take off BAT1 positive"];
    let on = ["put on BAT1 positive", "put on BAT1 negative"];
    let apart = ["unplug P1", "unplug P2", "unplug P3"];
    let together = ["plug in P1", "plug in P2", "plug in P3"];
    let cycle: Vec<&str> = [&off[..], &apart, &on, &off, &together, &on].concat();
    assert_eq!(actions, cycle);
}

#[test]
fn a_plan_is_the_same_every_time() {
    for file in ["orchard-sprayer.toml", "published/m12-backbone.toml"] {
        let harness = support::harness(file);
        let [first, second] = [(); 2].map(|()| planned(&harness, &Scope::default()).unwrap().to_string());
        assert_eq!(first, second);
        let again = support::harness(file);
        assert_eq!(first, planned(&again, &Scope::default()).unwrap().to_string());
    }
    let [first, second] = [(); 2].map(|()| planned(&made(11, 60), &Scope::default()).map(|plan| plan.to_string()));
    assert_eq!(first, second);
}

/// The cautions that hold throughout stand on every sheet, and every sheet defers.
#[test]
fn every_sheet_carries_its_cautions_and_defers() {
    for file in published().into_iter().chain(["orchard-sprayer.toml".to_owned()]) {
        let harness = support::harness(&file);
        let plan = planned(&harness, &Scope::default()).unwrap();
        let said = list(&plan["cautions"]).iter().map(text).collect::<Vec<_>>().join("\n");
        assert!(said.contains("Never force a probe into a socket"), "{file}");
        let hydrogen = !batteries(&harness).is_empty();
        assert_eq!(said.contains("hydrogen"), hydrogen, "{file}");
        assert_eq!(said.contains("across a battery"), hydrogen, "{file}");
        let netlist = Netlist::new(&harness);
        let made = plan::plan(&harness, &netlist, &Scope::default(), Meter::HANDHELD).unwrap();
        let (_, sheet) = sheet::plan(&harness, &made);
        assert!(sheet.notes.iter().any(|note| note.contains("maker's manual")), "{file}");
    }
}
