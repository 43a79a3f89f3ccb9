//! What does not work, and in which state of the machine it should.

use super::Depth;
use crate::circuit::{Corner, Operating, solve};
use crate::definition::diagnostic::nearest;
use crate::definition::{ConditionId, Function, Harness, PartId, PartKind, Point};
use crate::netlist::{Link, LinkId, Netlist, PartWay};
use crate::plan::as_found;
use crate::setup::{Move, Power, Setup, SetupError, combinations, position_name};
use crate::units::Volts;

/// The most switches that are moved together to make a part work.
const TOGETHER: usize = 4;
/// The most setups that are tried.
const TRIED: usize = 1200;
/// From this share of the nominal voltage on a part counts as working in a healthy machine: what a driver
/// takes for live too. Common practice, no source.
const WORKS: f64 = 0.5;
/// Where no setup gives it so much, this much will do: a lamp in series with another.
const FEEBLY: f64 = 0.2;
/// Nominal voltage where the definition gives none.
const NOMINAL: f64 = 12.0;

/// What does not work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Target {
    /// A lamp, motor, coil, resistor or sensor.
    Load(PartId),
    /// A relay that does not operate.
    Relay(PartId),
    /// One of a unit's functions: its output is absent.
    Output(PartId, usize),
}

/// What is asked: a part, and maybe the setup in which it should work.
#[derive(Debug, Clone, PartialEq)]
pub struct Asked {
    /// What does not work.
    pub target: Target,
    /// The state of the machine in which it should; searched for where it is not given.
    pub setup: Option<Setup>,
    /// How far what is left is followed.
    pub depth: Depth,
}

/// Why a complaint cannot be as it was written.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AskedError {
    /// No such part or output.
    #[error("no part and no output of a unit is called `{name}`{}", suggestion(.near.as_ref()))]
    Unknown {
        /// What was written.
        name: String,
        /// The nearest name.
        near: Option<String>,
    },
    /// A part that feeds, switches or protects others.
    #[error(
        "{name} is a {kind}: name what does not work, a lamp, motor, coil, resistor, sensor, relay or the output \
         of a unit"
    )]
    NoWorker {
        /// The part.
        name: String,
        /// What it is.
        kind: &'static str,
    },
    /// A unit that does several things.
    #[error("{unit} does several things: name the output that is absent: {}", .outputs.join(", "))]
    WhichOutput {
        /// The unit.
        unit: String,
        /// Its outputs with what they are for.
        outputs: Vec<String>,
    },
    /// Part of a setup that is neither a switch with a position nor a condition.
    #[error("`{text}` is no setup: write switches as S1:run and conditions by their id{more}")]
    Setting {
        /// What was written.
        text: String,
        /// What would do.
        more: String,
    },
    /// A setup that cannot be.
    #[error(transparent)]
    Setup(#[from] SetupError),
    /// Nothing feeds the machine.
    #[error("no battery or alternator belongs to this definition: nothing can work in it")]
    NoSource,
    /// The part works in no setup.
    #[error("{0} works in none of the {1} setups that were tried: name one, as in {0}=S1:run")]
    Nowhere(String, usize),
    /// The part does not work in the setup that was named.
    #[error("with {setup} {name} does not work on a healthy machine either ({shows})")]
    NotThere {
        /// The part.
        name: String,
        /// The setup in words.
        setup: String,
        /// What it shows.
        shows: String,
    },
}

fn suggestion(near: Option<&String>) -> String {
    near.map_or_else(String::new, |near| format!(": did you mean `{near}`?"))
}

impl Asked {
    /// Reads `M1`, `M1=S1:run,S2:spray`, `H1=S1:run,tank-full` or, for a unit's output, `J2.1`.
    ///
    /// # Errors
    /// Says what cannot be, and what to write instead.
    pub fn parse(harness: &Harness, text: &str) -> Result<Self, AskedError> {
        let (name, setting) = match text.split_once('=') {
            Some((name, setting)) => (name.trim(), Some(setting)),
            None => (text.trim(), None),
        };
        let target = target(harness, name)?;
        if !matches!(as_found(harness), Setup::Connected(_)) {
            return Err(AskedError::NoSource);
        }
        let setup = setting.map(|setting| described(harness, setting)).transpose()?;
        Ok(Self { target, setup, depth: Depth::USUAL })
    }
}

fn target(harness: &Harness, name: &str) -> Result<Target, AskedError> {
    if let Ok(point) = harness.point(name) {
        return output(harness, point).ok_or_else(|| unknown(harness, name));
    }
    let Some(part) = harness.names.part(name) else { return Err(unknown(harness, name)) };
    match &harness.parts[part].kind {
        PartKind::Load { .. } => Ok(Target::Load(part)),
        PartKind::Relay { .. } => Ok(Target::Relay(part)),
        PartKind::Unit { functions } if functions.len() == 1 => Ok(Target::Output(part, 0)),
        PartKind::Unit { functions } => {
            let words = |f: &Function| format!("{} ({})", harness.point_name(f.output), f.title);
            let outputs = functions.iter().map(words).collect();
            Err(AskedError::WhichOutput { unit: name.to_owned(), outputs })
        }
        kind => Err(AskedError::NoWorker { name: name.to_owned(), kind: kind.word() }),
    }
}

/// The function whose output a contact is, on the unit's side or on the plug's.
fn output(harness: &Harness, point: Point) -> Option<Target> {
    let mate = match point {
        Point::Contact(id) => harness.contacts[id].mate.map(Point::Contact),
        _ => None,
    };
    harness.parts.iter().find_map(|(id, part)| {
        let PartKind::Unit { functions } = &part.kind else { return None };
        let at = functions.iter().position(|f| f.output == point || Some(f.output) == mate)?;
        Some(Target::Output(id, at))
    })
}

fn unknown(harness: &Harness, name: &str) -> AskedError {
    let works = |part: &&crate::definition::Part| {
        matches!(part.kind, PartKind::Load { .. } | PartKind::Relay { .. } | PartKind::Unit { .. })
    };
    let near = nearest(name, harness.parts.values().filter(works).map(|part| part.id.as_str()));
    AskedError::Unknown { name: name.to_owned(), near: near.map(str::to_owned) }
}

fn described(harness: &Harness, text: &str) -> Result<Setup, AskedError> {
    let (mut set, mut conditions): (Vec<Move>, Vec<ConditionId>) = (Vec::new(), Vec::new());
    for item in text.split(',').map(str::trim).filter(|item| !item.is_empty()) {
        match item.split_once(':') {
            Some((switch, position)) => set.push(position_of(harness, item, switch, position)?),
            None => match harness.names.condition(item) {
                Some(condition) => conditions.push(condition),
                None => return Err(setting(item, conditions_of(harness))),
            },
        }
    }
    Ok(Setup::described(harness, Power::Connected, &[], &set, &conditions)?)
}

fn conditions_of(harness: &Harness) -> String {
    let known: Vec<&str> = harness.conditions.values().map(|c| c.id.as_str()).collect();
    if known.is_empty() { String::new() } else { format!(" ({})", known.join(", ")) }
}

fn setting(text: &str, more: String) -> AskedError {
    AskedError::Setting { text: text.to_owned(), more }
}

fn position_of(harness: &Harness, item: &str, switch: &str, position: &str) -> Result<Move, AskedError> {
    let part = harness.names.part(switch.trim());
    let Some((part, PartKind::Switch { positions, .. })) = part.map(|id| (id, &harness.parts[id].kind))
    else {
        return Err(setting(item, format!("; no switch is called `{switch}`")));
    };
    let names: Vec<&str> = positions.iter().map(|p| p.name.as_str()).collect();
    match names.iter().position(|name| *name == position.trim()) {
        Some(at) => Ok((part, at)),
        None => Err(setting(item, format!("; {switch} can stand at {}", names.join(", ")))),
    }
}

/// A target in a setup in which a healthy machine has it working.
pub(super) struct Setting {
    pub target: Target,
    pub setup: Setup,
    pub healthy: f64,
    pub others: Option<usize>,
}

/// Takes the setup that was named, or searches for one.
pub(super) fn find(
    harness: &Harness,
    netlist: &Netlist,
    asked: &Asked,
) -> Result<Setting, super::ComplaintError> {
    let target = asked.target;
    let Some(setup) = &asked.setup else {
        let found = setup_where_it_works(harness, netlist, target)?;
        return Ok(found);
    };
    let healthy = target.works(netlist, harness, &solve(harness, netlist, setup, &[], Corner::Nominal)?);
    if healthy < target.least(harness) * FEEBLY / WORKS {
        let name = target.name(harness);
        let shows = target.figure(healthy);
        return Err(AskedError::NotThere { name, setup: setup.words(harness), shows }.into());
    }
    Ok(Setting { target, setup: setup.clone(), healthy, others: None })
}

/// Searches for a setup in which a healthy machine has a target working: the one with the fewest moves; of
/// those the first by the order of the definition. Setups in which the machine never settles are left out.
///
/// Cost: one solution for each setup tried.
///
/// # Errors
/// It works in none of those that were tried.
pub(super) fn setup_where_it_works(
    harness: &Harness,
    netlist: &Netlist,
    target: Target,
) -> Result<Setting, AskedError> {
    let all = setups(harness);
    let mut best: Option<(usize, Setting)> = None;
    let mut feeble: Option<Setting> = None;
    let tried = all.len();
    for (moves, setup) in all {
        if best.as_ref().is_some_and(|(fewest, _)| moves > *fewest) {
            break;
        }
        let Ok(operating) = solve(harness, netlist, &setup, &[], Corner::Nominal) else { continue };
        let healthy = target.works(netlist, harness, &operating);
        let here = Setting { target, setup, healthy, others: Some(0) };
        if healthy >= target.least(harness) {
            match &mut best {
                Some((_, found)) => found.others = found.others.map(|others| others + 1),
                None => best = Some((moves, here)),
            }
        } else if healthy >= target.least(harness) * FEEBLY / WORKS
            && feeble.as_ref().is_none_or(|f| healthy > f.healthy)
        {
            feeble = Some(here);
        }
    }
    let found = best.map(|(_, found)| found).or(feeble);
    found.ok_or_else(|| AskedError::Nowhere(target.name(harness), tried))
}

/// Setups with power by their number of moves: switches away from rest, and conditions: none, each alone, all.
fn setups(harness: &Harness) -> Vec<(usize, Setup)> {
    let all: Vec<ConditionId> = harness.conditions.ids().collect();
    let mut together: Vec<Vec<ConditionId>> = vec![Vec::new()];
    together.extend(all.iter().map(|condition| vec![*condition]));
    if all.len() > 1 {
        together.push(all);
    }
    let mut setups = Vec::new();
    for moves in combinations(harness, TOGETHER, TRIED / together.len()) {
        for conditions in &together {
            let setup = Setup::described(harness, Power::Connected, &[], &moves, conditions);
            setups.extend(setup.ok().map(|setup| (moves.len() + conditions.len(), setup)));
        }
    }
    setups.sort_by_key(|(moves, _)| *moves);
    setups
}

/// Whether a healthy machine has a load working in some setup, and which: for plans that try functions.
pub fn part_works(harness: &Harness, netlist: &Netlist, part: PartId) -> Option<Setup> {
    let target = match harness.parts[part].kind {
        PartKind::Load { .. } => Target::Load(part),
        PartKind::Relay { .. } => Target::Relay(part),
        _ => return None,
    };
    setup_where_it_works(harness, netlist, target).ok().map(|setting| setting.setup)
}

impl Target {
    /// The part that is complained of.
    pub fn part(self) -> PartId {
        match self {
            Self::Load(part) | Self::Relay(part) | Self::Output(part, _) => part,
        }
    }

    /// Its name: `M1`, or a unit's output `J2.1`.
    pub fn name(self, harness: &Harness) -> String {
        match (self, &harness.parts[self.part()].kind) {
            (Self::Output(_, at), PartKind::Unit { functions }) => harness.point_name(functions[at].output),
            _ => harness.parts[self.part()].id.clone(),
        }
    }

    /// Its name with what it is: "M1 (Pump motor)".
    pub fn words(self, harness: &Harness) -> String {
        let part = &harness.parts[self.part()];
        let title = match (self, &part.kind) {
            (Self::Output(_, at), PartKind::Unit { functions }) => {
                format!("{}, output of {}", functions[at].title, part.id)
            }
            _ => part.title.clone(),
        };
        let name = self.name(harness);
        if title.is_empty() { name } else { format!("{name} ({title})") }
    }

    /// What a healthy part shows at least: volts, or 1 for a relay that operates.
    fn least(self, harness: &Harness) -> f64 {
        match self {
            Self::Relay(_) => 1.0,
            Self::Load(_) | Self::Output(..) => WORKS * harness.about.nominal.map_or(NOMINAL, Volts::get),
        }
    }

    /// How well it works on a solved machine: volts across a load through which current can flow, volts of an
    /// output against the unit's return, 1 for a relay that is operated.
    pub(super) fn works(self, netlist: &Netlist, harness: &Harness, machine: &Operating) -> f64 {
        let node = |point: Point| harness.point_index(point);
        match (self, &harness.parts[self.part()].kind) {
            (Self::Load(part), PartKind::Load { between: [a, b], .. }) => {
                let through = netlist.links_of(part).any(|link| machine.conducts(link));
                if through { machine.volts_between(node(*a), node(*b)).abs() } else { 0.0 }
            }
            (Self::Relay(part), _) => f64::from(u8::from(machine.states().operated(part))),
            (Self::Output(_, at), PartKind::Unit { functions }) => {
                let function = &functions[at];
                let ground = function.ground.unwrap_or(Point::Chassis);
                machine.volts_between(node(function.output), node(ground)).abs()
            }
            _ => 0.0,
        }
    }

    /// How well it works, in words.
    pub fn figure(self, works: f64) -> String {
        match self {
            Self::Relay(_) if works > 0.0 => "operated".to_owned(),
            Self::Relay(_) => "released".to_owned(),
            Self::Load(_) | Self::Output(..) => format!("{}", Volts::new(works)),
        }
    }
}

/// The drivers that a unit's functions have on in a solved machine.
pub(super) fn drivers_on<'a>(
    netlist: &'a Netlist,
    machine: &'a Operating,
    unit: PartId,
) -> impl Iterator<Item = usize> + 'a {
    let on = |link: LinkId| match netlist.link(link) {
        Link::Part(_, PartWay::Drive(at)) if machine.states().on(link) => Some(at as usize),
        _ => None,
    };
    netlist.links_of(unit).filter_map(on)
}

/// A setup's switches and conditions in few words: "S1 at run, S2 at spray".
pub(super) fn setup_words(harness: &Harness, setup: &Setup) -> String {
    let set = setup.set().map(|(switch, at)| {
        format!("{} at {}", harness.parts[switch].id, position_name(harness, switch, at))
    });
    let words: Vec<String> =
        set.chain(setup.conditions().map(|c| harness.conditions[c].title.clone())).collect();
    if words.is_empty() { "all switches at rest".to_owned() } else { words.join(", ") }
}
