//! Faces of connectors, each drawn once for the whole page.
//!
//! Comes in: which side of which connector is wanted. Goes out: a reference to its drawing, and at the end one hidden
//! picture that holds all drawings that were asked for. Why: a plan points at the same plug a hundred times.

use std::collections::BTreeMap;

use super::drawn;
use crate::definition::{ConnectorId, Harness, Id};
use crate::draw::{
    ContactPlace, Mark, Scene, Side, contact_places, face_of, face_scene, mini_scene, probe_mark,
};

/// The radii that cavities are drawn with; a mark is drawn for each.
const RADII: [u8; 2] = [6, 10];

/// A drawing as the page refers to it.
#[derive(Debug, Clone)]
pub(super) struct Use {
    /// The id of its symbol.
    pub(super) symbol: String,
    /// What it shows, in words.
    pub(super) title: String,
    pub(super) width: f64,
    pub(super) height: f64,
}

/// A face that was drawn.
pub(super) struct Drawn {
    pub(super) full: Use,
    pub(super) full_places: Vec<ContactPlace>,
    /// The small one beside a step, where the geometry is known.
    pub(super) mini: Option<(Use, BTreeMap<String, [f64; 2]>)>,
    svg: String,
}

/// All faces of a page.
pub(super) struct Faces<'a> {
    harness: &'a Harness,
    drawn: BTreeMap<(ConnectorId, bool), Drawn>,
}

/// What a symbol describes is not told where it is used: that place has words of its own.
fn symbol(id: &str, mut scene: Scene) -> String {
    scene.desc.clear();
    format!("<symbol id=\"{id}\">{}</symbol>\n", drawn(scene))
}

fn used(symbol: String, scene: &Scene) -> Use {
    let round = |value: f64| (value * 10.0).round() / 10.0;
    Use { symbol, title: scene.title.clone(), width: round(scene.width), height: round(scene.height) }
}

impl<'a> Faces<'a> {
    pub(super) fn new(harness: &'a Harness) -> Self {
        Self { harness, drawn: BTreeMap::new() }
    }

    /// The key of a face in the page's data and in the ids of its symbols.
    pub(super) fn key(id: ConnectorId, side: Side) -> String {
        format!("{}{}", id.index(), if side == Side::Mating { "m" } else { "w" })
    }

    /// The face of one side, drawn if it was not yet.
    pub(super) fn of(&mut self, id: ConnectorId, side: Side) -> &Drawn {
        let harness = self.harness;
        self.drawn.entry((id, side == Side::Wire)).or_insert_with(|| draw(harness, id, side))
    }

    /// The sides of a connector that are worth drawing: both, or the only one where no geometry is given.
    pub(super) fn both(&mut self, id: ConnectorId) -> Vec<Use> {
        let known = self.harness.connectors[id].face.is_some();
        let sides = if known { &[Side::Mating, Side::Wire][..] } else { &[Side::Mating] };
        sides.iter().map(|side| self.of(id, *side).full.clone()).collect()
    }

    /// Every face that was drawn, by its key.
    pub(super) fn all(&self) -> impl Iterator<Item = (String, &Drawn)> {
        self.drawn
            .iter()
            .map(|((id, wire), drawn)| (Self::key(*id, if *wire { Side::Wire } else { Side::Mating }), drawn))
    }

    /// One picture that shows nothing and holds all symbols.
    pub(super) fn sprite(&self) -> String {
        let faces = self.drawn.values().map(|drawn| drawn.svg.as_str());
        let marks = RADII.iter().flat_map(|radius| {
            [("r", Mark::RedProbe), ("b", Mark::BlackProbe)].map(|(letter, mark)| {
                symbol(&format!("mark-{letter}-{radius}"), probe_mark(mark, f64::from(*radius)))
            })
        });
        let marks: Vec<String> = marks.collect();
        let inside: String = faces.chain(marks.iter().map(String::as_str)).collect();
        format!(
            "<svg class=\"sprite ringout-drawing\" width=\"0\" height=\"0\" aria-hidden=\"true\" \
             focusable=\"false\">\n{inside}</svg>"
        )
    }
}

fn draw(harness: &Harness, id: ConnectorId, side: Side) -> Drawn {
    let view = face_of(harness, id, side, &[]);
    let key = Faces::key(id, side);
    let scene = face_scene(&view);
    let full = used(format!("face-{key}"), &scene);
    let full_places = contact_places(&scene);
    let mut svg = symbol(&full.symbol, scene);
    let mini = mini_scene(&view).map(|mini| {
        let used = used(format!("mini-{key}"), &mini);
        let places = contact_places(&mini).into_iter().map(|p| (p.contact, [p.centre.x, p.centre.y]));
        svg.push_str(&symbol(&used.symbol, mini));
        (used, places.collect())
    });
    Drawn { full, full_places, mini, svg }
}
