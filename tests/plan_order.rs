//! The order of a plan against all orders there are, and its figures against its bounds.
//!
//! The other side tries every order of the phases and every order of stations, one by one, and adds up the
//! seconds of what is done. Machines are made from seeds; the orchard sprayer is among them.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
#![allow(clippy::print_stderr, reason = "what the order saves is worth reading")]

#[path = "support/machine.rs"]
mod machine;
#[path = "support/mod.rs"]
mod support;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use machine::Rng;
use ringout::circuit::{Corner, Lean, solve_rounds};
use ringout::definition::{Harness, PartKind, StationId, load};
use ringout::fault::{Fault, Universe};
use ringout::measure::{METERS, Measurement, Meter, Prediction, Situation};
use ringout::netlist::{Element, Netlist};
use ringout::plan::order::{Costs, EXACT, NEVER, Precedence, order};
use ringout::plan::{Meters, Phase, Plan, Scope, as_found, plan};
use ringout::setup::{Action, Isolated, Power, READING_SECONDS, Setup, plug_of, rounds, transition};
use ringout::sheet;

fn read(text: String) -> Harness {
    let none = &mut |path: &str| Err(format!("{path} is not there"));
    match load("made.toml", text, None, none) {
        Ok(loaded) => loaded.harness,
        Err(rejected) => panic!("{:?}", rejected.diagnostics.first().map(|d| &d.message)),
    }
}

fn planned(harness: &Harness, scope: &Scope) -> Option<Plan> {
    plan(harness, &Netlist::new(harness), scope, Meter::HANDHELD).ok()
}

fn unplug(harness: &Harness, connectors: &[&str]) -> Scope {
    let mating = |id: &&str| harness.connectors[harness.names.connector(id).unwrap()].mating.unwrap();
    Scope { unplug: connectors.iter().map(mating).collect(), circuit: None }
}

/// Every order of some things.
fn orders(things: &[usize]) -> Vec<Vec<usize>> {
    if things.is_empty() {
        return vec![Vec::new()];
    }
    let first = |at: usize| {
        let mut rest = things.to_vec();
        let thing = rest.remove(at);
        orders(&rest).into_iter().map(move |order| std::iter::once(thing).chain(order).collect())
    };
    (0..things.len()).flat_map(first).collect()
}

// ------------------------------------------------------------------------------------------------ the pure order

/// Costs that differ both ways, some legs of which cannot be gone; up to eight stops with up to three ways out,
/// some of them in groups. Every order, with every choice of ways, is tried one by one.
#[test]
fn the_order_is_the_best_of_all_orders() {
    let mut solved = 0;
    for seed in 0..150 {
        let mut rng = Rng::new(seed);
        let stops = rng.between(2, 8);
        let ways: Vec<usize> = (0..stops).map(|_| rng.between(1, if stops > 6 { 2 } else { 3 })).collect();
        let groups: Vec<Option<usize>> =
            (0..stops).map(|_| rng.chance(40).then(|| rng.between(1, 3))).collect();
        let mut table: BTreeMap<[[usize; 2]; 2], u64> = BTreeMap::new();
        let costs = Costs::new(&ways, |from, to| {
            let cost = if rng.chance(8) { NEVER } else { rng.between(0, 60) as u64 };
            table.insert([from, to], cost);
            cost
        });
        let middle: Vec<usize> = (1..stops - 1).collect();
        let fits = |order: &[usize]| {
            let grouped: Vec<usize> = order.iter().filter_map(|stop| groups[*stop]).collect();
            grouped.is_sorted()
        };
        let least = orders(&middle)
            .into_iter()
            .filter(|order| fits(order))
            .map(|order| {
                let all: Vec<usize> = [&[0], &order[..], &[stops - 1]].concat();
                every_way(&all, &ways, &table, None)
            })
            .min()
            .unwrap();
        match order(&costs, &Precedence::new(&groups)) {
            None => assert_eq!(least, NEVER, "seed {seed}"),
            Some(found) => {
                assert_eq!((found.cost, found.bound), (least, least), "seed {seed}");
                assert!(fits(&found.stops[1..stops - 1]), "seed {seed}: {found:?} {groups:?}");
                assert_eq!((found.stops[0], found.stops[stops - 1]), (0, stops - 1));
                solved += 1;
            }
        }
    }
    assert!(solved > 120, "{solved}");
}

/// The cheapest choice of ways along an order, by trying all.
fn every_way(
    order: &[usize],
    ways: &[usize],
    table: &BTreeMap<[[usize; 2]; 2], u64>,
    at: Option<[usize; 2]>,
) -> u64 {
    let Some((stop, rest)) = order.split_first() else { return 0 };
    let on = |way: usize| {
        let leg = at.map_or(0, |from| table[&[from, [*stop, way]]]);
        leg.saturating_add(every_way(rest, ways, table, Some([*stop, way])))
    };
    (0..ways[*stop]).map(on).min().unwrap()
}

/// Where all orders cost the same, the one given is kept.
#[test]
fn of_equals_the_given_order_is_kept() {
    for stops in [2, 5, 9, 30] {
        let matrix: Vec<Vec<u64>> = vec![vec![7; stops]; stops];
        let found = order(&Costs::plain(&matrix), &Precedence::new(&vec![None; stops])).unwrap();
        assert_eq!(found.stops, (0..stops).collect::<Vec<_>>());
        assert_eq!((found.cost, found.bound), (7 * (stops as u64 - 1), 7 * (stops as u64 - 1)));
    }
}

/// Beyond the exact size the bound stays below, and near: random asymmetric costs are where the assignment bound
/// is known to be tight.
#[test]
fn many_stops_are_held_against_a_bound() {
    let [mut cost, mut bound] = [0; 2];
    for seed in 0..6 {
        let mut rng = Rng::new(seed);
        let stops = EXACT + 10;
        let matrix: Vec<Vec<u64>> =
            (0..stops).map(|_| (0..stops).map(|_| rng.between(1, 1000) as u64).collect()).collect();
        let found = order(&Costs::plain(&matrix), &Precedence::new(&vec![None; stops])).unwrap();
        let sum: u64 = found.stops.windows(2).map(|leg| matrix[leg[0]][leg[1]]).sum();
        assert!(found.bound <= found.cost && found.cost == sum);
        cost += found.cost;
        bound += found.bound;
    }
    assert!(bound * 2 > cost, "{bound} of {cost}");
}

// --------------------------------------------------------------------------------------- the order of real plans

/// Where one stands for an action.
fn place(harness: &Harness, action: &Action) -> Option<StationId> {
    match *action {
        Action::TakeOff(part, _) | Action::PutOn(part, _) => {
            let PartKind::Battery { plus, .. } = harness.parts[part].kind else { panic!("not a battery") };
            harness.parts[part].station.or(harness.station_of(plus))
        }
        Action::Unplug(mating) | Action::Plug(mating) => harness.connectors[plug_of(harness, mating)].station,
        Action::Set(part, _) => harness.parts[part].station,
        Action::Cap(connector, _) | Action::Uncap(connector, _) => harness.connectors[connector].station,
        Action::Fit(_) | Action::Unfit(_) | Action::Refit(..) => panic!("no strap is at hand"),
        Action::FitPlug(..) | Action::UnfitPlug(..) => panic!("no loopback plug is at hand"),
        Action::GoTo(_) | Action::Bring(_) | Action::End(_) => None,
    }
}

fn stations(phase: &Phase) -> BTreeSet<StationId> {
    phase.steps.iter().filter_map(|step| step.station).collect()
}

/// What there is to do between two setups, and the stations of each round of it.
struct Leg {
    seconds: f64,
    changes: usize,
    rounds: Vec<BTreeSet<StationId>>,
}

struct Trips<'a> {
    harness: &'a Harness,
    phases: &'a [Phase],
    /// From the machine as found (row 0) or a phase to a phase.
    legs: Vec<Vec<Leg>>,
}

impl<'a> Trips<'a> {
    fn new(harness: &'a Harness, phases: &'a [Phase]) -> Self {
        let found = as_found(harness);
        let setups = std::iter::once(&found).chain(phases.iter().map(|phase| &phase.setup));
        let leg = |from: &Setup, to: &Setup| {
            let rounds = rounds(harness, from, to);
            let of = |round: &Vec<Action>| round.iter().filter_map(|a| place(harness, a)).collect();
            Leg {
                seconds: rounds.iter().flatten().map(|a| a.seconds(harness).get()).sum(),
                changes: rounds.iter().flatten().count(),
                rounds: rounds.iter().map(of).collect(),
            }
        };
        let row = |from: &Setup| phases.iter().map(|phase| leg(from, &phase.setup)).collect();
        Self { harness, phases, legs: setups.map(row).collect() }
    }

    /// The orders that are allowed: the reading as found first, the machine as found again last, and paths before
    /// anything that needs power with plugs off.
    fn allowed(&self) -> Vec<Vec<usize>> {
        let count = self.phases.len();
        let title = |at: &usize| self.phases[*at].title;
        let head: Vec<usize> = (0..count).filter(|at| title(at) == "As found, with power").collect();
        let tail: Vec<usize> = (0..count).filter(|at| title(at) == "As found again").collect();
        let middle: Vec<usize> = (0..count).filter(|at| !head.contains(at) && !tail.contains(at)).collect();
        let whole = |order: Vec<usize>| [head.clone(), order, tail.clone()].concat();
        let dead_first = |order: &Vec<usize>| {
            let dead = order.iter().position(|at| title(at) == "Paths and isolation, without power");
            let live = order.iter().position(|at| {
                self.phases[*at].setup.power() == Power::Connected
                    && self.phases[*at].setup.parted().len() > 0
            });
            dead.is_none() || live.is_none() || dead < live
        };
        orders(&middle).into_iter().map(whole).filter(dead_first).collect()
    }

    fn changes(&self, order: &[usize]) -> usize {
        let befores = std::iter::once(0).chain(order.iter().map(|at| at + 1));
        befores.zip(order).map(|(from, to)| self.legs[from][*to].changes).sum()
    }

    /// Seconds of an order without readings, the walking by trying every way.
    fn seconds(&self, order: &[usize]) -> f64 {
        let mut done = 0.0;
        let mut visits: Vec<BTreeSet<StationId>> = Vec::new();
        let befores = std::iter::once(0).chain(order.iter().map(|at| at + 1));
        for (from, to) in befores.zip(order) {
            done += self.legs[from][*to].seconds;
            visits.extend(self.legs[from][*to].rounds.iter().cloned());
            visits.push(stations(&self.phases[*to]));
        }
        visits.retain(|round| !round.is_empty());
        let Some(first) = visits.first() else { return done };
        done + self.walk(&visits, 0, None, &first.clone(), &mut BTreeMap::new())
    }

    /// The least walking from a round in which some stations are left to be visited: each of them is tried next.
    fn walk(
        &self,
        visits: &[BTreeSet<StationId>],
        round: usize,
        here: Option<StationId>,
        left: &BTreeSet<StationId>,
        known: &mut BTreeMap<(usize, Option<StationId>, BTreeSet<StationId>), f64>,
    ) -> f64 {
        if left.is_empty() {
            let Some(next) = visits.get(round + 1) else { return 0.0 };
            return self.walk(visits, round + 1, here, next, known);
        }
        let key = (round, here, left.clone());
        if let Some(least) = known.get(&key) {
            return *least;
        }
        let mut least = f64::INFINITY;
        for station in left {
            let mut rest = left.clone();
            rest.remove(station);
            let way = if here == Some(*station) { 0.0 } else { self.reach(*station) };
            least = least.min(way + self.walk(visits, round, Some(*station), &rest, known));
        }
        known.insert(key, least);
        least
    }

    fn reach(&self, station: StationId) -> f64 {
        Action::GoTo(station).seconds(self.harness).get()
    }

    /// The order and the walking that plans had before any order was looked for: by what a phase is for; in a
    /// phase the present station first, then the stations as they are defined.
    fn plain_order(&self) -> f64 {
        const RANKS: [&str; 7] = [
            "As found, with power",
            "What the maker demands, with power",
            "What the maker demands, without power",
            "Paths and isolation, without power",
            "Switch contacts, without power",
            "Supplies at the open plugs, with power",
            "As found again",
        ];
        let rank = |phase: &Phase| RANKS.iter().position(|title| *title == phase.title).unwrap();
        let mut order: Vec<&Phase> = self.phases.iter().collect();
        order.sort_by_key(|phase| rank(phase));
        let (mut now, mut here, mut seconds) = (as_found(self.harness), None, 0.0);
        for phase in order {
            for action in transition(self.harness, &now, &phase.setup) {
                let station = place(self.harness, &action);
                if let Some(station) = station.filter(|station| here != Some(*station)) {
                    seconds += self.reach(station);
                    here = Some(station);
                }
                seconds += action.seconds(self.harness).get();
            }
            let mut visits: Vec<StationId> = stations(phase).into_iter().collect();
            visits.sort_by_key(|station| Some(*station) != here);
            for station in visits {
                if here != Some(station) {
                    seconds += self.reach(station);
                    here = Some(station);
                }
            }
            now = phase.setup.clone();
        }
        seconds
    }
}

/// A plan against every order of its phases; gives the seconds it has and those of the plain order.
fn against_all(harness: &Harness, plan: &Plan, name: &str) -> [f64; 2] {
    let trips = Trips::new(harness, &plan.phases);
    let readings = (READING_SECONDS * plan.cost.steps as f64).get();
    let least_readings = (READING_SECONDS * plan.cost.steps_bound as f64).get();
    let given: Vec<usize> = (0..plan.phases.len()).collect();
    let allowed = trips.allowed();
    assert!(allowed.contains(&given), "{name}: an order that is not allowed");
    let cost = plan.cost;
    let near = |a: f64, b: f64| (a - b).abs() < 1e-3;
    assert!(near(trips.seconds(&given) + readings, cost.seconds.get()), "{name}: the walk is not the least");
    assert_eq!(trips.changes(&given), cost.changes, "{name}");
    let least = allowed.iter().map(|order| trips.seconds(order)).min_by(f64::total_cmp).unwrap();
    assert!(near(least + readings, cost.seconds.get()), "{name}: {least} + {readings}, not {cost:?}");
    assert!(near(least + least_readings, cost.seconds_bound.get()), "{name}: {least}, {cost:?}");
    let fewest = allowed.iter().map(|order| trips.changes(order)).min().unwrap();
    assert_eq!(fewest, cost.changes_bound, "{name}");
    assert!(cost.cover_bound <= cost.cover && cost.cover <= cost.steps, "{name}: {cost:?}");
    let sum: f64 = plan.phases.iter().map(|phase| phase.seconds.get()).sum();
    assert!(near(sum, cost.seconds.get()), "{name}");
    let plain = trips.plain_order() + readings;
    assert!(cost.seconds.get() <= plain + 1e-3, "{name}: the plain order takes {plain}, not {cost:?}");
    [plain, cost.seconds.get()]
}

#[test]
fn plans_of_made_machines_have_the_best_order() {
    let mut saved = [0.0; 2];
    let mut phases = 0;
    for seed in 0..80 {
        let harness = read(machine::random(seed, 4 + seed as usize % 50));
        let Some(plan) = planned(&harness, &Scope::default()) else { continue };
        phases = phases.max(plan.phases.len());
        let found = against_all(&harness, &plan, &format!("seed {seed}"));
        saved.iter_mut().zip(found).for_each(|(sum, found)| *sum += found);
    }
    let [plain, best] = saved;
    eprintln!("made machines: {best} s, {} s less than in the plain order", plain - best);
    assert!(phases >= 6 && best < plain, "{phases} {plain} {best}");
}

#[test]
fn plans_of_the_sprayer_have_the_best_order() {
    let harness = support::harness("orchard-sprayer.toml");
    let sweep = unplug(&harness, &["P1", "P2", "P3"]);
    for (name, scope) in [("whole", Scope::default()), ("P1, P2, P3", sweep)] {
        let plan = planned(&harness, &scope).unwrap();
        let [plain, best] = against_all(&harness, &plan, name);
        eprintln!("sprayer, {name}: {best} s, {} s less than in the plain order", plain - best);
        assert!(best < plain);
    }
    let circuits: BTreeSet<String> = harness.wires.values().filter_map(|wire| wire.circuit.clone()).collect();
    for circuit in circuits {
        let plan = planned(&harness, &Scope { unplug: Vec::new(), circuit: Some(circuit.clone()) }).unwrap();
        against_all(&harness, &plan, &circuit);
    }
}

/// Two selectors of many positions, and so many setups that not all orders can be looked at.
fn selectors(positions: usize) -> Harness {
    let mut text = "format = 1\n[harness]\nid = \"SEL\"\nrevision = \"A\"\nnominal = \"24 V\"\n\
        [station.a]\nreach = \"15 s\"\n[station.b]\nreach = \"40 s\"\n[station.c]\nreach = \"70 s\"\n\
        [terminal.BP]\nstation = \"c\"\n[terminal.BN]\nstation = \"c\"\nground = true\n\
        [part.BAT1]\nkind = \"battery\"\nvolts = \"25 V\"\ninternal = \"10 mohm\"\nplus = \"BP\"\nminus = \"BN\"\n"
        .to_owned();
    for (selector, station) in [("A", "a"), ("B", "b")] {
        let contacts = positions + 1;
        write!(
            text,
            "[connector.X{selector}]\ncontacts = {contacts}\ncontact = \"socket\"\nstation = \"{station}\"\n\
             mate = \"Y{selector}\"\n[connector.Y{selector}]\ncontacts = {contacts}\ncontact = \"pin\"\n\
             station = \"{station}\"\npart = \"S{selector}\"\n[part.S{selector}]\nkind = \"switch\"\nrest = \"off\"\n\
             station = \"{station}\"\n[part.S{selector}.positions]\noff = []\n"
        )
        .unwrap();
        for at in 1..=positions {
            writeln!(text, "p{at} = [[\"Y{selector}.1\", \"Y{selector}.{}\"]]", at + 1).unwrap();
        }
        for at in 0..=positions {
            let end = if at == 0 { "BP".to_owned() } else { format!("T{selector}{at}") };
            if at > 0 {
                writeln!(text, "[terminal.{end}]\nstation = \"c\"").unwrap();
            }
            writeln!(
                text,
                "[[wire]]\nid = \"W{selector}{at}\"\nfrom = \"X{selector}.{}\"\nto = \"{end}\"\ngauge = \"1 mm2\"\n\
                 length = \"1 m\"",
                at + 1
            )
            .unwrap();
        }
    }
    for at in 1..=positions {
        writeln!(
            text,
            "[[limit]]\ntitle = \"Feed {at}\"\nkind = \"voltage\"\nred = \"TA{at}\"\nblack = \"BN\"\n\
             set = {{ SA = \"p{at}\", SB = \"p{}\" }}\nlow = \"20 V\"\nsource = \"invented\"",
            positions + 1 - at
        )
        .unwrap();
    }
    read(text)
}

#[test]
fn many_phases_are_ordered_well_and_held_against_a_bound() {
    let harness = selectors(14);
    let plan = planned(&harness, &Scope::default()).unwrap();
    assert!(plan.phases.len() > EXACT + 2, "{}", plan.phases.len());
    let trips = Trips::new(&harness, &plan.phases);
    let plain = trips.plain_order() + (READING_SECONDS * plan.cost.steps as f64).get();
    let cost = plan.cost;
    eprintln!("selectors: {} phases, {cost:?}, {plain} s in the plain order", plan.phases.len());
    assert!(cost.seconds_bound.get() <= cost.seconds.get() && cost.changes_bound <= cost.changes);
    assert!(cost.seconds.get() <= plain + 1e-6);
    assert!(cost.seconds_bound.get() >= 0.95 * cost.seconds.get(), "{cost:?}");
    assert_eq!((cost.switch_setups, cost.switch_setups_bound), (14, 14), "the selectors are moved together");
    let (_, sheet) = sheet::plan(&harness, &plan);
    let foot = sheet.sections.last().unwrap().lines.join("\n");
    assert!(foot.contains("14 setups close each switch contact"), "{foot}");
}

// ----------------------------------------------------------------------------------------------- inside a phase

/// In a phase each station is gone to once, the one where the person stands first.
#[test]
fn no_station_is_gone_to_twice_in_a_phase() {
    let mut several = 0;
    for seed in 0..60 {
        let harness = read(machine::random(seed, 40));
        let Some(plan) = planned(&harness, &Scope::default()) else { continue };
        let mut here = None;
        for phase in &plan.phases {
            for action in &phase.changes {
                if let Action::GoTo(station) = action {
                    here = Some(*station);
                }
            }
            let visits: Vec<StationId> = phase
                .steps
                .chunk_by(|a, b| a.station == b.station)
                .filter_map(|steps| steps[0].station)
                .collect();
            let all = stations(phase);
            assert_eq!(visits.len(), all.len(), "seed {seed}: {visits:?}");
            if let Some(here) = here.filter(|here| all.contains(here)) {
                assert_eq!(visits[0], here, "seed {seed}");
            }
            here = visits.last().copied().or(here);
            several += usize::from(visits.len() > 1);
        }
    }
    assert!(several > 60, "{several}");
}

/// How many readings, on average over the likely faults that a plan shows, are taken before a fault shows.
fn readings_before_a_fault(plan: &Plan, weights: &BTreeMap<Fault, f64>, old_rule: bool) -> f64 {
    let mut seen = BTreeSet::new();
    let (mut at, mut sum, mut all) = (0.0, 0.0, 0.0);
    let weight = |faults: &[Fault]| -> f64 { faults.iter().filter_map(|fault| weights.get(fault)).sum() };
    for phase in &plan.phases {
        let kind = |step: &ringout::plan::Step| (step.station, step.measurement.kind());
        for here in phase.steps.chunk_by(|a, b| kind(a) == kind(b)) {
            let mut here: Vec<_> = here.iter().collect();
            if old_rule {
                // What shows most in all comes first, whether it was shown before or not.
                here.sort_by(|a, b| weight(&b.covers).total_cmp(&weight(&a.covers)));
            }
            for step in here {
                at += 1.0;
                for fault in &step.covers {
                    if seen.insert(*fault) {
                        sum += at * weights[fault];
                        all += weights[fault];
                    }
                }
            }
        }
    }
    sum / all
}

#[test]
fn likely_faults_show_early() {
    let [mut old, mut new] = [0.0; 2];
    let mut machines = vec![support::harness("orchard-sprayer.toml")];
    machines.extend((0..40).map(|seed| read(machine::random(seed, 40))));
    for harness in &machines {
        let Some(plan) = planned(harness, &Scope::default()) else { continue };
        let weights: BTreeMap<Fault, f64> = Universe::new(harness, &Netlist::new(harness)).iter().collect();
        let [by_old, by_new] = [true, false].map(|rule| readings_before_a_fault(&plan, &weights, rule));
        old += by_old;
        new += by_new;
    }
    eprintln!("readings before a fault shows, over all machines: {new:.0}, by total weight {old:.0}");
    assert!(new < 0.98 * old, "{new} {old}");
}

// ----------------------------------------------------------------------------------------------- setups and steps

/// No two phases have one setup, except the reading as found and the machine as found again.
#[test]
fn drafts_of_one_setup_are_one_phase() {
    let path = support::path("orchard-sprayer.toml");
    let more = "\n[[limit]]\ntitle = \"At rest\"\nkind = \"voltage\"\nred = \"BT1\"\nblack = \"GP1\"\n\
        low = \"24 V\"\nsource = \"invented\"\n";
    let text = std::fs::read_to_string(&path).unwrap() + more;
    let folder = path.parent().unwrap().to_owned();
    let mut reader =
        |name: &str| std::fs::read_to_string(folder.join(name)).map_err(|error| error.to_string());
    let harness = load("orchard-sprayer.toml", text, None, &mut reader).ok().unwrap().harness;
    let plan = planned(&harness, &Scope::default()).unwrap();
    let setups: BTreeSet<&Setup> = plan.phases.iter().map(|phase| &phase.setup).collect();
    assert_eq!(setups.len() + 1, plan.phases.len());
    let first = &plan.phases[0];
    assert!(first.changes.is_empty() && first.steps.iter().any(|step| step.purpose == "At rest"));
}

/// Whether a reading shows a fault for sure, every round of a machine that buzzes counted.
fn shows(harness: &Harness, netlist: &Netlist, measurement: &Measurement, fault: Fault) -> bool {
    let situation = Situation::new(harness, netlist, measurement.setup()).unwrap();
    let expect = situation.expect(measurement, &Meter::HANDHELD);
    let changes = Universe::new(harness, netlist).changes(harness, netlist, fault);
    let setup = measurement.setup();
    let rounds = solve_rounds(harness, netlist, setup, &changes, Corner::Nominal, Lean::Exact).unwrap();
    let [red, black] = [measurement.red(), measurement.black()].map(|point| harness.point_index(point));
    rounds.iter().all(|machine| {
        let ohms = machine.resistance(red, black).map_or(Prediction::Open, |o| Prediction::Ohms(o.get()));
        expect.excludes(ohms, measurement.kind(), &Meter::HANDHELD)
    })
}

/// A switch that is moved together with others shows no less than moved alone; and no fewer setups would do than
/// the bound says.
#[test]
fn switches_moved_together_are_read_alone() {
    let [mut together, mut setups, mut fewest] = [0; 3];
    for seed in 0..100 {
        let harness = read(machine::random(seed, 50));
        let netlist = Netlist::new(&harness);
        let Some(plan) = planned(&harness, &Scope::default()) else { continue };
        assert!(plan.cost.switch_setups_bound <= plan.cost.switch_setups, "seed {seed}: {:?}", plan.cost);
        setups += plan.cost.switch_setups;
        fewest += plan.cost.switch_setups_bound;
        for phase in plan.phases.iter().filter(|phase| phase.title.starts_with("Switch contacts")) {
            for (switch, at) in phase.setup.set().filter(|_| phase.setup.set().len() > 1) {
                let parted = phase.setup.parted().fold(Isolated::at_rest(), Isolated::part);
                let alone: Setup = parted.set(&harness, switch, at).into();
                let situation = Situation::new(&harness, &netlist, &alone).unwrap();
                let fault = Fault::Open(Element::Part(switch));
                let own = format!("through switch {}", harness.parts[switch].id);
                for step in phase.steps.iter().filter(|step| step.purpose == own) {
                    let [red, black] = [step.measurement.red(), step.measurement.black()];
                    let same = situation.measure(step.measurement.kind(), red, black).unwrap();
                    if shows(&harness, &netlist, &same, fault) {
                        assert!(step.covers.contains(&fault), "seed {seed}, {}: {own}", step.id);
                        together += 1;
                    }
                }
            }
        }
    }
    eprintln!("switch contacts closed in {setups} setups; no fewer than {fewest} could do");
    assert!(together > 30, "{together}");
}

/// The number of a step is the same whatever meters are at hand; the bounds hold for what is left.
#[test]
fn steps_of_made_machines_keep_their_numbers() {
    let named = |harness: &Harness, meters: Meters| -> Option<(BTreeSet<String>, usize)> {
        let plan = plan(harness, &Netlist::new(harness), &Scope::default(), meters).ok()?;
        let cost = plan.cost;
        assert!(cost.seconds_bound.get() <= cost.seconds.get() + 1e-6, "{cost:?}");
        assert!(cost.changes_bound <= cost.changes && cost.steps_bound <= cost.steps, "{cost:?}");
        let words = |id: &str, measurement: &Measurement| format!("{id} {}", measurement.words(harness));
        let mut all: BTreeSet<String> = plan.steps().map(|step| words(&step.id, &step.measurement)).collect();
        all.extend(plan.left_out.iter().map(|left| words(&left.id, &left.measurement)));
        Some((all, plan.left_out.len()))
    };
    let mut left_out = 0;
    for seed in 0..30 {
        let harness = read(machine::random(seed, 30));
        let Some((plain, _)) = named(&harness, Meters::default()) else { continue };
        for meter in METERS {
            let (other, left) = named(&harness, Meters::from(meter)).unwrap();
            assert_eq!(other, plain, "seed {seed}, {}", meter.name);
            left_out += left;
        }
    }
    assert!(left_out > 300, "{left_out}");
}

/// A long plan says at the head of every phase how much is done and how much is left.
#[test]
fn every_phase_says_how_far_one_has_come() {
    let harness = support::harness("orchard-sprayer.toml");
    let plan = planned(&harness, &Scope::default()).unwrap();
    let (_, sheet) = sheet::plan(&harness, &plan);
    let times: Vec<&String> = sheet
        .sections
        .iter()
        .flat_map(|section| &section.lines)
        .filter(|l| l.starts_with("Time: "))
        .collect();
    assert_eq!(times.len(), plan.phases.len());
    assert!(!times[0].contains("so far") && times[0].contains("left after it"), "{}", times[0]);
    let last = times[times.len() - 1];
    assert!(last.contains("so far") && !last.contains("left after it"), "{last}");
}
