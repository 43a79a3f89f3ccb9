//! A conversation at the machine, from the first reading to the verdict.
//!
//! Comes in: a record, and line by line what a person types. Goes out: text to show, and entries to append to the
//! record. Why: whoever has both hands at the probes wants one question at a time. Text in, text out: no file, clock
//! or terminal here, so the same conversation serves a terminal, a pipe, a test or a page in a browser.
//!
//! The record is the only memory. Every answer is handed out to be appended, and the conversation goes on from the
//! record as it was read back ([`Guide::go_on`]); so it can be cut off at any moment and resumed, and what others append
//! in the meantime counts. What is skipped or out of reach is forgotten with the session.
//!
//! Where the machine stands matters for safety: it is the setup of the last reading, withdrawn or not. Where a person
//! turns away from a question whose changes may have been made already, the guide asks which of both it is.

mod opening;
mod question;
mod said;

use opening::Opening;
use question::{Origin, Question};
use said::{HELP, Said};

use crate::circuit::Unsettled;
use crate::definition::diagnostic::clean;
use crate::definition::{Harness, StationId};
use crate::locate::{self, Avoid, Diagnosis, Evidence, Verdict, Wishes};
use crate::measure::{Measurement, Meter, Reading};
use crate::netlist::Netlist;
use crate::plan::complaint::{Asked, ComplaintError};
use crate::plan::{self, DEFERENCE, as_found};
use crate::record::{NewWithdrawal, Record};
use crate::setup::{Setup, transition};
use crate::sheet::{self, Section, Sheet, Stamp};

/// Text is made for this width: that of a plain terminal.
const WIDTH: u16 = 80;

/// What the guide answers.
#[derive(Debug, Clone, Default)]
pub struct Turn {
    /// To show.
    pub say: String,
    /// To append to the record before anything else; then the guide goes on from the record read back.
    pub append: Option<String>,
    /// Set at the end: whether a reading of the record is bad.
    pub over: Option<bool>,
}

/// Why the conversation cannot go on.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum GuideError {
    /// The machine never settles.
    #[error(transparent)]
    Unsettled(#[from] Unsettled),
    /// There is no plan to begin with.
    #[error(transparent)]
    Plan(#[from] ComplaintError),
}

/// Something that was asked for while the machine may stand in either of two setups.
#[derive(Debug, Clone)]
enum Wish {
    Avoid(Avoid),
    Undo,
    Quit,
}

/// A conversation.
pub struct Guide<'a> {
    harness: &'a Harness,
    netlist: &'a Netlist,
    meter: Meter,
    asked: Option<Asked>,
    by: Option<String>,
    record: Record,
    opening: Option<Opening>,
    diagnosis: Option<Diagnosis>,
    stand: Setup,
    station: Option<StationId>,
    avoid: Vec<Avoid>,
    question: Option<Question>,
    /// Readings of the record, withdrawn or not.
    read: usize,
    /// Whether the setup is to be said in full: it was not yet.
    fresh: bool,
    /// Waits for "yes" or "no".
    wish: Option<Wish>,
}

impl<'a> Guide<'a> {
    /// A conversation about a record. With a complaint its plan leads until a reading is bad, else the plan of the
    /// whole machine. `by` is who takes the readings.
    pub fn new(
        harness: &'a Harness,
        netlist: &'a Netlist,
        record: Record,
        asked: Option<Asked>,
        by: Option<String>,
    ) -> Self {
        let meter = Meter::HANDHELD;
        let mut guide = Self {
            harness,
            netlist,
            meter,
            asked,
            by,
            record,
            opening: None,
            diagnosis: None,
            stand: as_found(harness),
            station: None,
            avoid: Vec::new(),
            question: None,
            read: 0,
            fresh: true,
            wish: None,
        };
        guide.stand_by_record();
        guide
    }

    /// What is said first, with the first question.
    ///
    /// # Errors
    /// The machine never settles, or a complaint has no plan.
    pub fn open(&mut self) -> Result<Turn, GuideError> {
        let mut lines: Vec<String> = Vec::new();
        if self.record.stand().is_some() {
            let count = self.record.entries.len() + self.record.places.len();
            let setup = self.stand.words(self.harness);
            lines.push(format!(
                "The record has {count} readings that count. It leaves the machine so: {setup}."
            ));
            lines.push("If it does not stand so now, bring it there before anything else.".to_owned());
            lines.extend(self.record.withdrawn.iter().map(|gone| format!("- {}", gone.words())));
        } else {
            lines.extend(plan::BEFORE.iter().map(|text| format!("- {text}")));
        }
        let cautions = plan::throughout(self.harness, &self.meter.into());
        lines.extend(cautions.into_iter().map(|text| format!("- {text}")));
        lines.push("Type what the meter shows; \"help\" says what else.".to_owned());
        let stamp = Stamp::of(self.harness);
        let heading = Sheet { sections: vec![section("", lines)], ..Sheet::of("Guide", &stamp) };
        let turn = self.ask()?;
        Ok(Turn { say: sheet::text(&heading, WIDTH) + &turn.say, ..turn })
    }

    /// Goes on after an entry was appended: `record` is the record read back.
    ///
    /// # Errors
    /// As [`Guide::open`].
    pub fn go_on(&mut self, record: Record) -> Result<Turn, GuideError> {
        let before = self.record.entries.len();
        self.record = record;
        self.stand_by_record();
        let turn = self.ask()?;
        let told = if self.record.entries.len() > before { self.last_judged() } else { None };
        let told = told.map(|line| say(vec![section("", vec![line])])).unwrap_or_default();
        Ok(Turn { say: told + &turn.say, ..turn })
    }

    /// Hears a line; `at` is the time to write.
    ///
    /// # Errors
    /// As [`Guide::open`].
    pub fn hear(&mut self, line: &str, at: Option<toml::value::Datetime>) -> Result<Turn, GuideError> {
        let said = Said::of(line);
        if let Some(wish) = self.wish.clone() {
            return self.stands_where(&said, wish, at);
        }
        match said {
            Said::Nothing => Ok(self.once_more()),
            Said::Quit => self.may_have_moved(Wish::Quit, at),
            Said::Help => Ok(lines(HELP.iter().map(|text| (*text).to_owned()).collect())),
            Said::Why => Ok(Turn { say: self.why(), ..Turn::default() }),
            Said::Status => Ok(Turn { say: self.status(), ..Turn::default() }),
            Said::Undo if self.record.last().is_none() => {
                Ok(line_of("The record has no reading that could be withdrawn."))
            }
            Said::Undo => self.may_have_moved(Wish::Undo, at),
            Said::Skip => match &self.question {
                Some(question) => {
                    let avoid = Avoid::Reading(question.measurement.clone());
                    self.may_have_moved(Wish::Avoid(avoid), at)
                }
                None => Ok(self.once_more()),
            },
            Said::CannotReach(name) => self.out_of_reach(name.as_deref(), at),
            Said::Yes | Said::No => {
                Ok(line_of("Nothing was asked that takes yes or no. Type what the meter shows."))
            }
            Said::Value(text) => Ok(self.value(&text, at)),
        }
    }

    /// What is asked for now, for a front end that shows more than text.
    pub fn measurement(&self) -> Option<&Measurement> {
        self.question.as_ref().map(|question| &question.measurement)
    }

    /// The end of input is a wish to leave; nobody is there to ask.
    pub fn hang_up(&mut self) -> Turn {
        self.leave()
    }

    fn out_of_reach(
        &mut self,
        name: Option<&str>,
        at: Option<toml::value::Datetime>,
    ) -> Result<Turn, GuideError> {
        let avoid = match (name, &self.question) {
            (Some(name), _) => match self.harness.point(name) {
                Ok(point) => Avoid::At(point),
                Err(error) => return Ok(line_of(&format!("{error}: {}.", error.help()))),
            },
            (None, Some(question)) => Avoid::Probes(question.measurement.red(), question.measurement.black()),
            (None, None) => return Ok(self.once_more()),
        };
        self.may_have_moved(Wish::Avoid(avoid), at)
    }

    /// Where the question on the table asks for changes, they may have been made or not.
    fn may_have_moved(&mut self, wish: Wish, at: Option<toml::value::Datetime>) -> Result<Turn, GuideError> {
        if self.question.as_ref().is_none_or(|question| question.changes.is_empty()) {
            return self.grant(wish, at);
        }
        self.wish = Some(wish);
        Ok(line_of(
            "Have the changes asked for been made? yes: the machine stands as asked; no: it stands as before. If it \
             is in between, bring it to one of both first.",
        ))
    }

    fn stands_where(
        &mut self,
        said: &Said,
        wish: Wish,
        at: Option<toml::value::Datetime>,
    ) -> Result<Turn, GuideError> {
        match said {
            Said::Yes => {
                if let Some(question) = &self.question {
                    self.stand = question.measurement.setup().clone();
                    self.station = self.harness.station_of(question.measurement.red()).or(self.station);
                }
            }
            Said::No => {}
            Said::Quit if matches!(wish, Wish::Quit) => {}
            _ => return Ok(line_of("Please type yes (the changes have been made) or no (they have not).")),
        }
        self.wish = None;
        self.grant(wish, at)
    }

    fn grant(&mut self, wish: Wish, at: Option<toml::value::Datetime>) -> Result<Turn, GuideError> {
        match wish {
            Wish::Quit => Ok(self.leave()),
            Wish::Undo => {
                let Some(of) = self.record.last() else { return Ok(self.once_more()) };
                // The machine does not move by a reading's being withdrawn.
                let text = NewWithdrawal { at, of, by: self.by.clone(), note: None }.text();
                let say = say(vec![section(
                    "",
                    vec![format!("#{of} is withdrawn: it stays in the record and does not count.")],
                )]);
                Ok(Turn { say, append: Some(text), over: None })
            }
            Wish::Avoid(avoid) => {
                self.avoid.push(avoid);
                self.ask()
            }
        }
    }

    /// Takes a value for an answer, if it is one.
    fn value(&mut self, text: &str, at: Option<toml::value::Datetime>) -> Turn {
        let Some(question) = &self.question else { return self.once_more() };
        match Reading::parse(question.measurement.kind(), text) {
            Ok(value) => {
                let entry = question.entry(self.harness, value, at, self.by.clone());
                Turn { append: Some(entry.text()), ..Turn::default() }
            }
            Err(error) => {
                let what = clean(&error.to_string());
                lines(vec![
                    format!("{what}."),
                    "Nothing was written. \"help\" says what can be typed.".to_owned(),
                ])
            }
        }
    }

    /// The machine stands as it was last read, withdrawn or not.
    fn stand_by_record(&mut self) {
        if let Some((setup, red)) = self.record.stand() {
            // A withdrawal moves nothing: what a person said since the last reading stays true.
            let record = &self.record;
            let read = record.entries.len() + record.places.len() + record.withdrawn.len();
            if read > std::mem::replace(&mut self.read, read) {
                self.stand = setup.clone();
                self.station = self.harness.station_of(red).or(self.station);
            }
        }
    }

    /// Reasons, and asks for the next reading; or ends.
    fn ask(&mut self) -> Result<Turn, GuideError> {
        let evidence = Evidence { entries: &self.record.entries, places: &self.record.places, twin: &[] };
        let wishes =
            Wishes { stand: Some(&self.stand), station: self.station, avoid: &self.avoid, keep: false };
        let diagnosis = locate::locate_for(self.harness, self.netlist, &evidence, &wishes, &self.meter)?;
        self.question = self.question_from(&diagnosis)?;
        self.diagnosis = Some(diagnosis);
        match &self.question {
            Some(question) => {
                let shown = question.section(self.harness, std::mem::take(&mut self.fresh));
                Ok(Turn { say: say(vec![shown]), ..Turn::default() })
            }
            None => Ok(self.conclude()),
        }
    }

    fn question_from(&mut self, diagnosis: &Diagnosis) -> Result<Option<Question>, GuideError> {
        if let Some(next) = &diagnosis.next {
            let origin = Origin::Advice(Box::new(next.clone()));
            return Ok(self.question(next.measurement.clone(), origin));
        }
        if diagnosis.verdict != Verdict::Healthy {
            return Ok(self.repeat(diagnosis));
        }
        let opening = match self.opening.take() {
            Some(opening) => opening,
            None => Opening::new(self.harness, self.netlist, self.asked.as_ref(), self.meter)?,
        };
        let step = opening.next(&self.record, &self.avoid).cloned();
        self.opening = Some(opening);
        Ok(step.and_then(|step| {
            let origin = Origin::Step { id: step.id, purpose: step.purpose };
            self.question(step.measurement, origin)
        }))
    }

    /// Before anything is replaced: the reading on which most hangs, once more.
    fn repeat(&self, diagnosis: &Diagnosis) -> Option<Question> {
        let name = diagnosis.repeat.first()?;
        let judged = diagnosis.judged.iter().find(|judged| judged.name == *name)?;
        let m = &judged.measurement;
        let read = self.record.entries.iter().filter(|entry| opening::same(entry, m)).count();
        let wanted = read < 2 && !self.avoid.iter().any(|avoid| avoid.forbids(m));
        if wanted { self.question(m.clone(), Origin::Repeat(name.clone())) } else { None }
    }

    fn question(&self, measurement: Measurement, origin: Origin) -> Option<Question> {
        let situation = opening::situation(self.harness, self.netlist, measurement.setup())?;
        let changes = transition(self.harness, &self.stand, measurement.setup());
        let live = locate::live(self.harness, self.netlist, measurement.setup());
        Some(Question {
            cautions: plan::of_phase(&situation, &changes, &live),
            expect: situation.explain(&measurement, &self.meter),
            measurement,
            changes,
            live,
            origin,
        })
    }

    fn once_more(&self) -> Turn {
        match &self.question {
            Some(question) => {
                Turn { say: say(vec![question.section(self.harness, true)]), ..Turn::default() }
            }
            None => line_of("There is nothing more to read. \"quit\" leaves."),
        }
    }

    fn why(&self) -> String {
        let Some(question) = &self.question else { return say(Vec::new()) };
        say(question.why(self.harness))
    }

    fn status(&self) -> String {
        let conclusion = |diagnosis| sheet::conclusion(self.harness, diagnosis);
        say(self.diagnosis.as_ref().map(conclusion).unwrap_or_default())
    }

    /// How the last reading was judged.
    fn last_judged(&self) -> Option<String> {
        let number = self.record.last()?;
        let entry = self.record.entries.iter().find(|entry| entry.number == number)?;
        let diagnosis = self.diagnosis.as_ref()?;
        let judged = diagnosis.judged.iter().find(|judged| judged.name == entry.name())?;
        let verdict = if judged.good { "good" } else { "BAD" };
        let left: usize = diagnosis.suspects.iter().map(|group| group.faults.len().max(1)).sum();
        let groups = diagnosis.suspects.len();
        let left = match groups {
            0 => String::new(),
            1 => " · one place is left".to_owned(),
            _ => format!(" · {left} faults in {groups} groups are left"),
        };
        let healthy = judged.expect.words();
        Some(format!(
            "Written as {}: {} · healthy: {healthy} · {verdict}{left}",
            judged.name,
            judged.value.words()
        ))
    }

    /// Verdict, what hands and eyes do, and the way back to the machine as it was found.
    fn conclude(&self) -> Turn {
        let Some(diagnosis) = &self.diagnosis else { return Turn::default() };
        let mut sections = sheet::conclusion(self.harness, diagnosis);
        let todo = self.opening.as_ref().map_or(&[][..], |opening| opening.end(&self.record));
        if diagnosis.verdict == Verdict::Healthy && !todo.is_empty() {
            let lines = todo.iter().map(|todo| format!("- {todo}")).collect();
            sections.push(section("By hand and eye, before anything is replaced", lines));
        }
        if !self.avoid.is_empty() {
            let words = "Readings were skipped or out of reach: what they would tell is not known. Start the guide again \
                         to be asked for them.";
            sections.push(section("", vec![words.to_owned()]));
        }
        sections.push(self.way_back());
        Turn { say: say(sections), append: None, over: Some(diagnosis.verdict != Verdict::Healthy) }
    }

    fn leave(&mut self) -> Turn {
        let bad = self.diagnosis.as_ref().is_some_and(|diagnosis| diagnosis.verdict != Verdict::Healthy);
        let mut sections = vec![section(
            "",
            vec!["The record keeps what was read; the guide goes on from there.".to_owned()],
        )];
        if self.question.as_ref().is_some_and(|question| !question.changes.is_empty()) {
            let words = "If changes asked for last were begun, the list below does not know of them.";
            sections[0].lines.push(words.to_owned());
        }
        sections.push(self.way_back());
        Turn { say: say(sections), append: None, over: Some(bad) }
    }

    /// What leads back to the machine as it was found.
    fn way_back(&self) -> Section {
        let found = as_found(self.harness);
        let changes = transition(self.harness, &self.stand, &found);
        let mut lines = question::numbered(self.harness, &changes);
        if changes.is_empty() {
            lines.push("The machine stands as it was found.".to_owned());
        }
        if let Some(situation) = opening::situation(self.harness, self.netlist, &found) {
            let live = Vec::new();
            let cautions = plan::of_phase(&situation, &changes, &live).into_iter();
            lines.extend(cautions.chain(plan::of_close(&situation)).map(|text| format!("- {text}")));
        }
        lines.push("Check that everything works before the machine goes back to work.".to_owned());
        lines.push(DEFERENCE.to_owned());
        section("Before you leave: as found again", lines)
    }
}

fn section(title: &str, lines: Vec<String>) -> Section {
    Section { title: title.to_owned(), lines, ..Section::default() }
}

/// Sections as plain text.
fn say(sections: Vec<Section>) -> String {
    let stamp = Stamp {
        id: String::new(),
        title: String::new(),
        revision: String::new(),
        variant: None,
        hash: String::new(),
    };
    sheet::text(&Sheet { heading: Vec::new(), sections, notes: Vec::new(), flat: None, stamp }, WIDTH)
}

fn lines(lines: Vec<String>) -> Turn {
    Turn { say: say(vec![section("", lines)]), ..Turn::default() }
}

fn line_of(text: &str) -> Turn {
    lines(vec![text.to_owned()])
}
