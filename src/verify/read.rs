//! A plan with its names resolved against the definition.
//!
//! Comes in: JSON text. Goes out: phases, actions and steps of points, parts and faults, or the first thing in it
//! that names nothing, with its place. Why: past this page every name stands for something, so the rules are
//! judged on things and not on texts.

use super::NotAPlan;
use super::fault::Fault;
use super::json;
use super::meter::{Interval, Meter};
use super::state::{Action, Joined, State, batteries};
use crate::definition::{
    ConditionId, ConnectorId, ContactId, Harness, Kind, MatingId, Named, PartId, PartKind, Point, StationId,
};

/// A plan.
pub(super) struct Plan {
    pub(super) json: json::Plan,
    /// The machine before the first phase.
    pub(super) start: State,
    pub(super) phases: Vec<Phase>,
    /// The faults that no step is said to show.
    pub(super) undetected: Vec<Fault>,
}

/// A phase.
pub(super) struct Phase {
    pub(super) changes: Vec<Action>,
    /// What is said of the machine: its power, and the rest.
    pub(super) connected: bool,
    pub(super) said: State,
    /// Contacts said to be live.
    pub(super) live: Vec<Point>,
    pub(super) steps: Vec<Step>,
}

/// A step.
pub(super) struct Step {
    pub(super) kind: Kind,
    pub(super) red: Point,
    pub(super) black: Point,
    pub(super) station: Option<StationId>,
    pub(super) meter: Meter,
    pub(super) expect: Interval,
    pub(super) covers: Vec<Fault>,
    /// What is done after each outcome.
    pub(super) after: Vec<Vec<Action>>,
}

/// Reads names, and knows where in the plan it is.
struct Reader<'a> {
    harness: &'a Harness,
    place: String,
    /// Whether the plan is of another text, which explains names that nobody knows.
    other: bool,
    /// How long the longest name of a point is.
    longest: usize,
}

impl Plan {
    /// Reads a plan of a machine.
    ///
    /// # Errors
    /// Where it is none, and what to write there.
    pub(super) fn read(harness: &Harness, text: &str) -> Result<Self, NotAPlan> {
        let json = json::Plan::read(text)?;
        let other = json.harness.hash != harness.hash;
        let longest = harness.points().map(|point| harness.point_name(point).len()).max().unwrap_or(0);
        let mut reader = Reader { harness, place: String::new(), other, longest };
        let start = json.start.as_ref().map(|start| reader.start(start)).transpose()?.unwrap_or_default();
        let phases = json.phases.iter().map(|phase| reader.phase(phase)).collect::<Result<_, _>>()?;
        "coverage.undetected".clone_into(&mut reader.place);
        let missed = json.coverage.undetected.iter();
        let undetected = missed.map(|missed| reader.fault(&missed.fault)).collect::<Result<_, _>>()?;
        "complaint".clone_into(&mut reader.place);
        if let Some(complaint) = &json.complaint {
            let ends = complaint.ends.iter().flat_map(|end| &end.faults);
            let mut named = complaint.hypotheses.iter().map(|hypothesis| &hypothesis.fault).chain(ends);
            named.try_for_each(|id| reader.fault(id).map(drop))?;
        }
        Ok(Self { json, start, phases, undetected })
    }
}

impl Reader<'_> {
    fn wrong<T>(&self, what: impl Into<String>, help: impl Into<String>) -> Result<T, NotAPlan> {
        let mut help = help.into();
        if self.other {
            help += "; the plan is of another text of the definition: make it anew";
        }
        Err(NotAPlan { place: self.place.clone(), what: what.into(), help })
    }

    /// Looks a word up in a short list.
    fn one_of<T>(&self, found: Option<T>, key: &str, word: &str, words: &str) -> Result<T, NotAPlan> {
        found.map_or_else(|| self.wrong(format!("`{key}` is `{word}`"), format!("write {words}")), Ok)
    }

    /// The machine before the first phase: with power isolated all leads are off.
    fn start(&mut self, start: &json::Setup) -> Result<State, NotAPlan> {
        "start".clone_into(&mut self.place);
        let (connected, mut state) = self.setup(start)?;
        if !connected {
            state.off = batteries(self.harness).flat_map(|id| [(id, false), (id, true)]).collect();
        }
        Ok(state)
    }

    fn phase(&mut self, phase: &json::Phase) -> Result<Phase, NotAPlan> {
        self.place = format!("phase {}", phase.id);
        let (connected, said) = self.setup(&phase.setup())?;
        let live = phase.live.iter().map(|live| self.point(&live.contact)).collect::<Result<_, _>>()?;
        let changes = self.actions(&phase.changes)?;
        let steps = phase.steps.iter().map(|step| self.step(step)).collect::<Result<_, _>>()?;
        Ok(Phase { changes, connected, said, live, steps })
    }

    /// What is said of a machine: whether power is connected, and the rest but for leads.
    fn setup(&self, setup: &json::Setup) -> Result<(bool, State), NotAPlan> {
        let connected = match setup.power.as_str() {
            "isolated" => false,
            "connected" => true,
            other => return self.one_of(None, "power", other, "isolated or connected"),
        };
        let mut said = State::default();
        for id in &setup.unplugged {
            said.parted.insert(self.mating(id)?);
        }
        for (switch, position) in &setup.set {
            let (switch, position) = self.position(switch, position)?;
            said.act(self.harness, &Action::Set(switch, position)).unwrap_or_default();
        }
        for id in &setup.conditions {
            said.conditions.insert(self.condition(id)?);
        }
        for strap in &setup.strapped {
            let points = strap.iter().map(|point| self.point(point)).collect::<Result<Joined, _>>()?;
            said.straps.insert(points, None);
        }
        for contact in &setup.capped {
            said.caps.insert(self.contact(contact)?);
        }
        Ok((connected, said))
    }

    fn actions(&self, changes: &[json::Change]) -> Result<Vec<Action>, NotAPlan> {
        changes.iter().map(|change| self.action(change)).collect()
    }

    fn step(&mut self, step: &json::Step) -> Result<Step, NotAPlan> {
        self.place = format!("step {}", step.id);
        let kinds = Kind::ALL.map(|(word, _)| word).join(", ");
        let kind = self.one_of(Kind::parse(&step.kind), "kind", &step.kind, &kinds)?;
        let meter = step.meter.as_deref();
        let meter = self.one_of(Meter::named(meter), "meter", meter.unwrap_or(""), &Meter::names())?;
        let unit = if kind.is_resistance() { "ohm" } else { "volt" };
        self.one_of((step.expect.unit == unit).then_some(()), "unit", &step.expect.unit, unit)?;
        let station = (!step.station.is_empty()).then(|| self.station(&step.station)).transpose()?;
        Ok(Step {
            kind,
            red: self.point(&step.red)?,
            black: self.point(&step.black)?,
            station,
            meter,
            expect: Interval { low: step.expect.low, high: step.expect.high },
            covers: step.covers.iter().map(|id| self.fault(id)).collect::<Result<_, _>>()?,
            after: step.outcomes.iter().map(|o| self.actions(&o.changes)).collect::<Result<_, _>>()?,
        })
    }

    fn action(&self, change: &json::Change) -> Result<Action, NotAPlan> {
        let target = change.target.as_str();
        Ok(match change.action.as_str() {
            "go to" => Action::GoTo(self.station(target)?),
            "take off" if is_strap(target) => {
                let (plug, straps) = self.straps(target)?;
                Action::Unfit(plug, straps)
            }
            "take off" => {
                let (battery, positive) = self.lead(target)?;
                Action::TakeOff(battery, positive)
            }
            "put on" => {
                let (battery, positive) = self.lead(target)?;
                Action::PutOn(battery, positive)
            }
            "unplug" => Action::Unplug(self.mating(first_word(target))?),
            "plug in" => Action::PlugIn(self.mating(first_word(target))?),
            "set" => {
                let Some((switch, position)) = target.split_once(" to ") else {
                    return self.wrong(format!("`{target}` is no switch and position"), "write S1 to run");
                };
                let (switch, position) = self.position(switch, position)?;
                Action::Set(switch, position)
            }
            "bring about" => Action::Bring(self.condition(target)?),
            "end" => Action::End(self.condition(target)?),
            "fit" => {
                let (plug, straps) = self.straps(target)?;
                Action::Fit(plug, straps)
            }
            "change" => {
                let both = target.strip_prefix("strap ").and_then(|rest| rest.split_once(" to "));
                let Some((from, to)) = both else { return self.no_strap(target) };
                Action::Refit(self.joined(from)?, self.joined(to)?)
            }
            "cap" => Action::Cap(self.contacts(target)?),
            "uncap" => Action::Uncap(self.contacts(target)?),
            _ => Action::Unknown,
        })
    }

    fn no_strap<T>(&self, target: &str) -> Result<T, NotAPlan> {
        let help = "write strap P1.A+P1.B, or loopback plug at P1 (P1.A+P1.B, P1.C+P1.D); to change it, strap \
                    P1.A+P1.B to P1.A+P1.C";
        self.wrong(format!("`{target}` is no strap"), help)
    }

    /// What a strap or a loopback plug joins, and the connector that the plug is on.
    fn straps(&self, target: &str) -> Result<(Option<ConnectorId>, Vec<Joined>), NotAPlan> {
        if let Some(points) = target.strip_prefix("strap ") {
            return Ok((None, vec![self.joined(points)?]));
        }
        let plug = target.strip_prefix("loopback plug at ").and_then(|rest| rest.strip_suffix(')'));
        let Some((id, inside)) = plug.and_then(|rest| rest.split_once(" (")) else {
            return self.no_strap(target);
        };
        let straps = inside.split(", ").map(|points| self.joined(points)).collect::<Result<_, _>>()?;
        Ok((Some(self.connector(id)?), straps))
    }

    /// Points written as `P1.A+P1.B`. A name may hold a plus itself: of two ways to read it the one with the
    /// shorter names at its end is taken.
    fn joined(&self, text: &str) -> Result<Joined, NotAPlan> {
        let ends: Vec<usize> = text.match_indices('+').map(|(at, _)| at).chain([text.len()]).collect();
        // By where a name may end: where it begins, and its point.
        let mut read: Vec<Option<(usize, Point)>> = Vec::new();
        for (at, end) in ends.iter().enumerate() {
            let begins = (0..=at).rev().map(|from| (from, if from == 0 { 0 } else { ends[from - 1] + 1 }));
            let near = begins.take_while(|(_, begin)| end - begin <= self.longest);
            let mut fits = near.filter(|(from, _)| *from == 0 || read[from - 1].is_some());
            let found =
                fits.find_map(|(from, begin)| Some((from, self.harness.point(&text[begin..*end]).ok()?)));
            read.push(found);
        }
        let mut joined = Joined::new();
        let mut at = ends.len();
        while at > 0 {
            let Some((from, point)) = read[at - 1] else {
                let unknown = text.split('+').find_map(|name| self.point(name).err());
                return unknown.map_or_else(|| self.no_strap(text), Err);
            };
            joined.insert(point);
            at = from;
        }
        Ok(joined)
    }

    fn contacts(&self, target: &str) -> Result<Vec<ContactId>, NotAPlan> {
        target.split(", ").map(|name| self.contact(name)).collect()
    }

    fn contact(&self, name: &str) -> Result<ContactId, NotAPlan> {
        match self.point(name)? {
            Point::Contact(contact) => Ok(contact),
            _ => self.wrong(format!("{name} is no contact"), "name a contact: P1.A"),
        }
    }

    fn point(&self, text: &str) -> Result<Point, NotAPlan> {
        self.harness.point(text).or_else(|error| self.wrong(error.to_string(), error.help()))
    }

    fn fault(&self, id: &str) -> Result<Fault, NotAPlan> {
        Fault::parse(self.harness, id).or_else(|what| self.wrong(what, "name a fault of this machine"))
    }

    fn unknown<T>(&self, what: &str, name: &str, wanted: impl Fn(Named) -> bool) -> Result<T, NotAPlan> {
        let near = self.harness.names.nearest(name, wanted);
        let help = near.map_or_else(|| format!("name a {what}"), |near| format!("did you mean `{near}`?"));
        self.wrong(format!("no {what} is called `{name}`"), help)
    }

    fn connector(&self, id: &str) -> Result<ConnectorId, NotAPlan> {
        let found = self.harness.names.connector(id);
        found.map_or_else(|| self.unknown("connector", id, |n| matches!(n, Named::Connector(_))), Ok)
    }

    fn mating(&self, id: &str) -> Result<MatingId, NotAPlan> {
        let mating = self.harness.connectors[self.connector(id)?].mating;
        mating.map_or_else(
            || self.wrong(format!("{id} has no mate"), "name a connector that can be unplugged"),
            Ok,
        )
    }

    fn part(&self, id: &str) -> Result<PartId, NotAPlan> {
        let found = self.harness.names.part(id);
        found.map_or_else(|| self.unknown("part", id, |n| matches!(n, Named::Part(_))), Ok)
    }

    /// A battery and whether it is its positive lead.
    fn lead(&self, target: &str) -> Result<(PartId, bool), NotAPlan> {
        let (id, post) = target.split_once(' ').unwrap_or((target, ""));
        let battery = self.part(id)?;
        if !matches!(self.harness.parts[battery].kind, PartKind::Battery { .. }) {
            return self.wrong(format!("{id} is no battery"), "write BAT1 negative or BAT1 positive");
        }
        match post {
            "positive" => Ok((battery, true)),
            "negative" => Ok((battery, false)),
            _ => self
                .wrong(format!("`{target}` names no post"), format!("write {id} negative or {id} positive")),
        }
    }

    fn position(&self, switch: &str, name: &str) -> Result<(PartId, usize), NotAPlan> {
        let part = self.part(switch)?;
        let PartKind::Switch { positions, .. } = &self.harness.parts[part].kind else {
            return self.wrong(format!("{switch} is no switch"), "name a switch");
        };
        let names = || positions.iter().map(|p| p.name.as_str()).collect::<Vec<_>>().join(", ");
        match positions.iter().position(|position| position.name == name) {
            Some(at) => Ok((part, at)),
            None => self.wrong(
                format!("{switch} has no position `{name}`"),
                format!("its positions are {}", names()),
            ),
        }
    }

    /// A condition by its id or its title.
    fn condition(&self, name: &str) -> Result<ConditionId, NotAPlan> {
        let titled = || self.harness.conditions.iter().find(|(_, c)| c.title == name).map(|(id, _)| id);
        let found = self.harness.names.condition(name).or_else(titled);
        found.map_or_else(
            || self.wrong(format!("no condition is called `{name}`"), "name one by its id or its title"),
            Ok,
        )
    }

    /// A station by its id or its title.
    fn station(&self, name: &str) -> Result<StationId, NotAPlan> {
        let is = |station: &crate::definition::Station| station.id == name || station.title == name;
        let found = self.harness.stations.iter().find(|(_, station)| is(station)).map(|(id, _)| id);
        found.map_or_else(
            || self.wrong(format!("no station is called `{name}`"), "name one by its id or its title"),
            Ok,
        )
    }
}

/// `P1` of `P1 (from J1)`.
fn first_word(text: &str) -> &str {
    text.split(' ').next().unwrap_or_default()
}

/// Whether something that is taken off is a strap and no lead: a battery may be called like one.
fn is_strap(target: &str) -> bool {
    let lead = target.ends_with(" negative") || target.ends_with(" positive");
    !lead && (target.starts_with("strap ") || target.starts_with("loopback plug "))
}
