//! The rules that every plan must keep, checked change by change and reading by reading.
//!
//! Comes in: a plan's JSON and the definition. Goes out: nothing, or a panic that names the phase, the step
//! and the rule. Why: see `tests/plan_safety.rs`, which runs it.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
#![allow(dead_code, reason = "each test uses its own share of this module")]

use std::collections::{BTreeMap, BTreeSet};

use super::machine::Rng;
use super::replay::{Groups, Joined, Powered, Put, Scene, State, batteries, joined, marked};
use ringout::definition::{Harness, LoadKind, MatingId, PartKind, Point};
use ringout::netlist::Netlist;
use ringout::plan::{self, Aids, Meters, Scope};
use ringout::sheet;
use serde_json::Value;

/// A plan for a plain meter as a program reads it; `None` for a machine that has no steady state.
pub(crate) fn planned(harness: &Harness, scope: &Scope) -> Option<Value> {
    planned_for(harness, scope, &Meters::default())
}

/// The same for other meters at hand.
pub(crate) fn planned_for(harness: &Harness, scope: &Scope, meters: &Meters) -> Option<Value> {
    planned_with(harness, scope, meters, Aids::default())
}

/// The same for somebody who has straps or loopback plugs.
pub(crate) fn planned_with(harness: &Harness, scope: &Scope, meters: &Meters, aids: Aids) -> Option<Value> {
    let netlist = Netlist::new(harness);
    let plan = plan::plan_with(harness, &netlist, scope, meters.clone(), aids).ok()?;
    let (view, _) = sheet::plan(harness, &plan);
    Some(serde_json::to_value(view).unwrap())
}

pub(crate) fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

pub(crate) fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_else(|| panic!("{value} is not text"))
}

fn names(value: &Value) -> BTreeSet<&str> {
    list(value).iter().map(text).collect()
}

/// The nets of a phase, and its readings along them.
pub(crate) type Along = (Groups, Vec<[usize; 2]>);

/// Everything that is checked of one plan.
pub(crate) struct Replay<'a> {
    pub(crate) harness: &'a Harness,
    pub(crate) scope: &'a Scope,
    pub(crate) plan: &'a Value,
    pub(crate) state: State,
    /// Covers that are tried out with the fault put in.
    pub(crate) tried: usize,
    pub(crate) rng: Rng,
}

impl Replay<'_> {
    pub(crate) fn run(&mut self) {
        let mut found = self.state.clone();
        if batteries(self.harness).is_empty() {
            found = State::default();
        }
        let phases = self.walk();
        assert_eq!(self.state, found, "the machine is left as it was found");
        self.spanning(&phases);
        self.counts();
    }

    /// Every phase in order, change by change and reading by reading.
    pub(crate) fn walk(&mut self) -> Vec<Along> {
        let mut phases: Vec<Along> = Vec::new();
        for phase in list(&self.plan["phases"]) {
            self.changes(phase);
            self.declared(phase);
            let nets = self.scene().nets();
            let along = self.steps(phase, &nets);
            if !along.is_empty() {
                phases.push((nets, along));
            }
            self.exposed(phase);
            self.cautions(phase);
        }
        phases
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
        let set: BTreeMap<&str, &str> = phase["set"]
            .as_object()
            .unwrap()
            .iter()
            .map(|(switch, at)| (switch.as_str(), text(at)))
            .collect();
        let stands: BTreeMap<&str, &str> = self
            .state
            .set
            .iter()
            .map(|(switch, at)| (harness.parts[*switch].id.as_str(), self.position(*switch, *at)))
            .collect();
        assert_eq!(set, stands, "phase {}", phase["id"]);
        let holds: BTreeSet<&str> =
            self.state.conditions.iter().map(|c| harness.conditions[*c].id.as_str()).collect();
        assert_eq!(names(&phase["conditions"]), holds, "phase {}", phase["id"]);
        let strap =
            |strap: &Value| joined(harness, &names(strap).into_iter().collect::<Vec<_>>().join("+")).unwrap();
        let straps: BTreeSet<Joined> = list(&phase["strapped"]).iter().map(strap).collect();
        assert_eq!(straps, self.state.straps, "phase {}", phase["id"]);
        assert!(straps.is_empty() || power == "isolated", "phase {}: straps with power", phase["id"]);
        let capped: BTreeSet<String> =
            self.state.caps.iter().map(|contact| harness.point_name(Point::Contact(*contact))).collect();
        let said: BTreeSet<String> = names(&phase["capped"]).into_iter().map(str::to_owned).collect();
        assert_eq!(said, capped, "phase {}", phase["id"]);
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
                    assert!(
                        [red, black].iter().all(|p| self.harness.unit_behind(*p).is_none()),
                        "{id}: into a unit"
                    );
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
            self.meter(phase, step, [red, black], nets);
            self.try_one(step, red, black);
        }
        along
    }

    /// A step's meter is at hand, can read what is asked, and is put only where it may be.
    fn meter(&mut self, phase: &Value, step: &Value, probes: [Point; 2], nets: &Groups) {
        let (id, kind, meter) = (text(&step["id"]), text(&step["kind"]), text(&step["meter"]));
        assert!(text(&self.plan["meter"]).split(", ").any(|at_hand| at_hand == meter), "{id}: {meter}");
        match meter {
            "handheld" | "handheld-nulled" => {}
            "four-wire" => assert_eq!(kind, "continuity", "{id}"),
            "megohm" => {
                assert_eq!(kind, "isolation", "{id}");
                assert_eq!(text(&phase["power"]), "isolated", "{id}");
                let said = list(&phase["cautions"]).iter().map(text).collect::<Vec<_>>().join("\n");
                assert!(
                    said.contains("500 V") && said.contains("discharge") && said.contains("nobody"),
                    "{id}"
                );
                self.bears_500_volts(id, probes, nets);
            }
            "beeper" => self.tone_tells(step, probes, nets),
            other => panic!("{id}: {other}"),
        }
    }

    /// Neither side of a megohm test leads to a connected unit or to anything marked as a hazard.
    fn bears_500_volts(&mut self, id: &str, probes: [Point; 2], nets: &Groups) {
        let harness = self.harness;
        let fine = self.rng.chance(10);
        for point in harness.points() {
            let unit = harness.unit_behind(point).is_some_and(|_| match point {
                Point::Contact(contact) => {
                    let mating = harness.connectors[harness.contacts[contact].connector].mating;
                    mating.is_none_or(|mating| !self.state.parted.contains(&mating))
                }
                _ => true,
            });
            if !unit && !self.hazardous(point) {
                continue;
            }
            let node = harness.point_index(point);
            for probe in probes {
                let joined = nets.of(harness.point_index(probe)) == nets.of(node)
                    || (fine && point != probe && self.scene().ohms(probe, point).is_some());
                assert!(!joined, "{id}: 500 V on {}", harness.point_name(point));
            }
        }
    }

    /// A beeper is asked only along a net of conductors, which sounds when it is sound; and what it is said
    /// to show is open, and silent then.
    fn tone_tells(&self, step: &Value, probes: [Point; 2], nets: &Groups) {
        let id = text(&step["id"]);
        assert_eq!(text(&step["kind"]), "continuity", "{id}");
        let [a, b] = probes.map(|p| nets.of(self.harness.point_index(p)));
        assert_eq!(a, b, "{id}: a tone through a part");
        let [red, black] = probes;
        assert!(self.scene().ohms(red, black).is_some_and(|ohms| ohms < 20.0), "{id}: may be silent");
        let covers = list(&step["covers"]);
        assert!(!covers.is_empty(), "{id}: a tone that tells nothing");
        for fault in covers.iter().map(text) {
            // Two wires exchanged open both of their ways.
            let told = fault.ends_with(":open") || fault.ends_with(":crossed");
            assert!(told, "{id}: {fault} by a tone");
            let Some(put) = self.put(fault) else { continue };
            let ohms = Scene { harness: self.harness, state: &self.state, put }.ohms(red, black);
            assert!(ohms.is_none_or(|ohms| ohms > 80.0), "{id}: {fault} still sounds at {ohms:?}");
        }
    }

    fn reachable(&self, point: Point) -> bool {
        match point {
            Point::Chassis | Point::Terminal(_) => true,
            Point::Splice(_) => false,
            Point::Contact(id) => {
                let connector = &self.harness.connectors[self.harness.contacts[id].connector];
                let open = self.state.lies_open(self.harness, id) && !self.state.caps.contains(&id);
                connector.backprobe || open
            }
        }
    }

    fn hazardous(&self, point: Point) -> bool {
        marked(self.harness, point)
    }

    /// A probe's net, other than the ground net, leads into no unit that is still plugged in.
    fn no_electronics(&self, id: &str, probes: [Point; 2], nets: &Groups) {
        let harness = self.harness;
        let ground = nets.of(harness.point_index(Point::Chassis));
        let tested: Vec<usize> =
            probes.map(|p| nets.of(harness.point_index(p))).into_iter().filter(|n| *n != ground).collect();
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
            assert!(
                !(connected && tested.contains(&net) && !held(net)),
                "{id}: isolation into {}",
                harness.point_name(point)
            );
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
        if b == "chassis" {
            Some(Put::Touch(wire(a)?, None))
        } else {
            Some(Put::Touch(wire(a)?, Some(wire(b)?)))
        }
    }

    /// Every exposed contact that my own solving finds live is listed, and nothing that is dead.
    fn exposed(&self, phase: &Value) {
        let harness = self.harness;
        let listed: BTreeMap<&str, f64> = list(&phase["live"])
            .iter()
            .map(|l| (text(&l["contact"]), l["volts"].as_f64().unwrap()))
            .collect();
        if !self.state.live(harness) || self.state.parted.is_empty() {
            assert!(listed.is_empty(), "phase {}", phase["id"]);
            return;
        }
        self.solved(phase, |powered| self.compare(&listed, powered));
    }

    /// Compares with a coarse solution, and where that disagrees with a fine one. A fuse that carries about
    /// what blows it is right either way.
    fn solved(&self, phase: &Value, compare: impl Fn(&Powered) -> Result<(), String>) {
        let mut wrong = String::new();
        for (fine, blows) in [(false, 2.0), (true, 2.0), (true, 1.7), (true, 2.3)] {
            let Some(powered) = self.scene().powered(fine, blows) else { return };
            match compare(&powered) {
                Ok(()) => return,
                Err(this) => wrong = this,
            }
        }
        panic!("phase {}: {wrong}", phase["id"]);
    }

    fn compare(&self, listed: &BTreeMap<&str, f64>, powered: &Powered) -> Result<(), String> {
        let harness = self.harness;
        let open = |point: &Point| match point {
            Point::Contact(id) if self.state.caps.contains(id) => false,
            Point::Contact(id) => match harness.connectors[harness.contacts[*id].connector].mating {
                Some(mating) => self.state.parted.contains(&mating),
                None => harness.parts_at(*point).len() == 0,
            },
            _ => false,
        };
        for point in harness.points().filter(open) {
            let name = harness.point_name(point);
            let volts = powered.volts(harness.point_index(point)).unwrap_or(0.0);
            match listed.get(name.as_str()) {
                None if volts.abs() > 2.0 => {
                    return Err(format!("{name} is live with {volts} V and not listed"));
                }
                Some(shown) if (shown - volts).abs() > 0.1 * volts.abs() + 0.5 => {
                    return Err(format!("{name}: {shown} V listed, {volts} V solved"));
                }
                _ => {}
            }
        }
        Ok(())
    }

    /// A caution stands where its reason stands.
    fn cautions(&self, phase: &Value) {
        let said = list(&phase["cautions"]).iter().map(text).collect::<Vec<_>>().join("\n");
        let does = |action: &str, what: &str| {
            list(&phase["changes"])
                .iter()
                .any(|c| text(&c["action"]) == action && text(&c["target"]).contains(what))
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
        self.solved(phase, |powered| self.told(&said, powered));
    }

    /// Whether the cautions name every motor and lamp that works.
    fn told(&self, said: &str, powered: &Powered) -> Result<(), String> {
        let nominal = self.harness.about.nominal.map_or(12.0, ringout::units::Volts::get);
        for part in self.harness.parts.values() {
            let PartKind::Load { kind: LoadKind::Motor | LoadKind::Lamp, between: [a, b], .. } = part.kind
            else {
                continue;
            };
            let volts = powered.between(self.harness.point_index(a), self.harness.point_index(b));
            if volts.abs() >= 0.5 * nominal && !said.contains(part.id.as_str()) {
                return Err(format!("{} works ({volts} V) and nobody is told", part.id));
            }
        }
        Ok(())
    }

    /// Along a net no reading repeats what others show; with everything in scope every net is spanned.
    fn spanning(&self, phases: &[Along]) {
        let whole = self.scope.unplug.is_empty()
            && self.scope.circuit.is_none()
            && self.plan["aids"].is_null()
            && list(&self.plan["left_out"]).is_empty();
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
            !matches!(point, Point::Splice(_))
                && harness.unit_behind(*point).is_none()
                && !self.hazardous(*point)
        };
        for point in harness.points().filter(touchable) {
            let node = harness.point_index(point);
            let known = *first.entry(nets.of(node)).or_insert(node);
            assert_eq!(
                read.of(known),
                read.of(node),
                "{} is in no reading of its net",
                harness.point_name(point)
            );
        }
    }

    /// What the plan says of itself adds up.
    pub(crate) fn counts(&self) {
        let (cost, coverage) = (&self.plan["cost"], &self.plan["coverage"]);
        let number = |value: &Value| value.as_f64().unwrap();
        let steps: Vec<&Value> = list(&self.plan["phases"]).iter().flat_map(|p| list(&p["steps"])).collect();
        let changes: Vec<&Value> =
            list(&self.plan["phases"]).iter().flat_map(|p| list(&p["changes"])).collect();
        let done = changes.iter().filter(|c| text(&c["action"]) != "go to").count();
        assert_eq!(cost["steps"], steps.len());
        assert_eq!(cost["changes"], done);
        for what in ["steps", "changes", "seconds"] {
            assert!(number(&cost[format!("{what}_bound")]) <= number(&cost[what]) + 1e-9, "{what}: {cost}");
        }
        let least: f64 =
            changes.iter().map(|c| number(&c["seconds"])).sum::<f64>() + 20.0 * steps.len() as f64;
        assert!(number(&cost["seconds"]) >= least - 1e-6);
        for left in list(&self.plan["left_out"]) {
            let why = text(&left["why"]);
            assert!(!why.is_empty() && steps.iter().all(|step| step["id"] != left["id"]), "{left}");
        }
        let ids: BTreeSet<&str> = steps.iter().map(|s| text(&s["id"])).collect();
        assert_eq!(ids.len(), steps.len(), "step ids are unique");
        for phase in list(&self.plan["phases"]) {
            let own = format!("{}.", text(&phase["id"]));
            assert!(list(&phase["steps"]).iter().all(|s| text(&s["id"]).starts_with(&own)));
        }
        let covered: BTreeSet<&str> = steps.iter().flat_map(|s| names(&s["covers"])).collect();
        let missed: BTreeSet<&str> =
            list(&coverage["undetected"]).iter().map(|u| text(&u["fault"])).collect();
        let whole = |value: &Value| usize::try_from(value.as_u64().unwrap()).unwrap();
        assert_eq!(whole(&coverage["faults"]), whole(&coverage["detected"]) + missed.len());
        assert!(
            covered.is_disjoint(&missed),
            "covered and undetected: {:?}",
            covered.intersection(&missed).next()
        );
        if self.scope.unplug.is_empty() && self.scope.circuit.is_none() {
            assert_eq!(
                coverage["detected"],
                covered.len(),
                "every fault that counts as detected stands at a step"
            );
        } else {
            assert!(number(&coverage["detected"]) <= covered.len() as f64);
        }
    }
}
