//! What a harness says about one circuit, as rows to draw.
//!
//! Comes in: a harness, its netlist, a subject, and what to point out. Goes out: a [`StripView`]. Why:
//! the drawing itself knows no harness.

use std::collections::BTreeSet;

use super::build::{Builder, takes_current};
use super::way::{Finder, Hop, Taken};
use super::{StripOptions, StripView, Subject, energise};
use crate::circuit::{Corner, Operating, solve};
use crate::definition::{Harness, PartId};
use crate::draw::face::stamp;
use crate::draw::highlight::Highlights;
use crate::netlist::{Link, Netlist, PartWay};

/// Draws strips of one machine; what they share is found once.
pub struct Strips<'a> {
    finder: Finder<'a>,
}

impl<'a> Strips<'a> {
    /// Finds the ways of a machine. Cost: two shortest-path trees.
    pub fn new(harness: &'a Harness, netlist: &'a Netlist) -> Self {
        Self { finder: Finder::new(harness, netlist) }
    }

    /// The circuits of a machine, each once, in the order of their first wires.
    pub fn circuits(&self) -> Vec<&'a str> {
        let mut seen = BTreeSet::new();
        let all = self.finder.harness.wires.values().filter_map(|wire| wire.circuit.as_deref());
        all.filter(|id| seen.insert(*id)).collect()
    }

    /// The whole strip of a subject, as [`Strips::view_with`] gives it.
    pub fn view(&self, subject: &Subject, points_out: &Highlights) -> StripView {
        self.view_with(subject, points_out, StripOptions::default())
    }

    /// The strip of a subject. Cost: one solution of the machine, and a little for each row.
    pub fn view_with(&self, subject: &Subject, points_out: &Highlights, options: StripOptions) -> StripView {
        let harness = self.finder.harness;
        let wires = self.finder.wires(subject);
        let main = self.finder.main(subject).or_else(|| self.finder.chain(&wires)).unwrap_or_default();
        let solved = main.fed.then(|| energise::energise(&self.finder, &main.hops)).and_then(|setup| {
            let operating = solve(harness, self.finder.netlist, &setup, &[], Corner::Nominal).ok()?;
            Some((setup, operating))
        });
        let operating = solved.as_ref().map(|(_, operating)| operating);
        let mut builder = Builder::new(&self.finder, wires, operating, points_out);
        let shown = if options.short { builder.own_part(&main) } else { 0..main.hops.len() };
        builder.main(&main, shown);
        builder.rest();
        let mut notes = builder.notes();
        let figures = builder.figures();
        if let (Some(operating), true) = (operating, main.fed)
            && !self.is_live(&main, operating)
        {
            notes.insert(0, "No current flows along the whole of this way in the setup shown.".to_owned());
        }
        if main.fed && !main.closed {
            notes.insert(0, "No way back to the source is known: no current is shown.".to_owned());
        }
        let about = harness.about.title.clone();
        StripView {
            name: match subject {
                Subject::Circuit(id) => format!("Circuit {id}"),
                Subject::Part(part) => harness.parts[*part].id.clone(),
            },
            title: if let Subject::Part(part) = subject { harness.parts[*part].title.clone() } else { about },
            way: self.words(&main),
            setup: solved.as_ref().map_or(String::new(), |(setup, _)| setup.words(harness)),
            rows: builder.rows,
            notes,
            figures,
            stamp: stamp(harness),
        }
    }

    fn is_live(&self, main: &Taken, operating: &Operating) -> bool {
        main.hops.iter().all(|hop| match hop {
            Hop::Link(link, ..) => match self.finder.netlist.link(*link) {
                Link::Part(_, PartWay::Source) => true,
                _ => operating.conducts(*link),
            },
            Hop::Unit(..) => true,
        })
    }

    /// From where, through what, to where.
    fn words(&self, main: &Taken) -> String {
        let harness = self.finder.harness;
        let name = |node: usize| harness.point_name(self.finder.netlist.point(node));
        let (Some(first), Some(last)) = (main.hops.first(), main.hops.last()) else { return String::new() };
        let taker = main.hops.iter().find_map(|hop| self.taker(*hop));
        let through = taker.map_or(String::new(), |part| format!(" through {}", harness.parts[part].id));
        let from = name(first.from());
        match (main.fed, main.closed, last.to()) {
            (true, true, Some(to)) => format!("From {from}{through} and back to {}", name(to)),
            (true, ..) => {
                format!("From {from} to {}", taker.map_or("its end", |p| harness.parts[p].id.as_str()))
            }
            (false, _, Some(to)) => format!("From {from} to {}", name(to)),
            (false, _, None) => format!("From {from}"),
        }
    }

    fn taker(&self, hop: Hop) -> Option<PartId> {
        match hop {
            Hop::Unit(part, ..) => Some(part),
            Hop::Link(link, ..) => match self.finder.netlist.link(link) {
                Link::Part(part, way) => takes_current(self.finder.harness, part, way).then_some(part),
                _ => None,
            },
        }
    }
}
