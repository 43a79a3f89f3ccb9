//! Faces of connectors, each drawn once for the whole page.
//!
//! Comes in: which side of which connector is wanted. Goes out: a reference to its drawing, and at the end one hidden
//! picture that holds all drawings that were asked for. Why: a plan points at the same plug a hundred times.

use std::collections::BTreeMap;

use crate::definition::{ConnectorId, Half, Harness, Id};
use crate::draw::{
    ContactPlace, FaceWords, Mark, Scene, Shared, Side, contact_places, face_of, face_words, mini_scene,
    plain_scene, probe_mark, take_eye, to_shared,
};

/// The radii that cavities are drawn with; a mark is drawn for each.
const RADII: [u8; 2] = [6, 10];

/// A drawing as the page refers to it.
#[derive(Debug, Clone)]
pub(super) struct Use {
    /// The id of its items.
    pub(super) shared: String,
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
    /// The eyes by their ids: one for each half and side.
    eyes: BTreeMap<String, String>,
    /// The small faces by their markup: many connectors look alike.
    minis: BTreeMap<String, String>,
    shared: Shared,
}

fn used(shared: String, scene: &Scene) -> Use {
    let round = |value: f64| (value * 10.0).round() / 10.0;
    Use { shared, title: scene.title.clone(), width: round(scene.width), height: round(scene.height) }
}

impl<'a> Faces<'a> {
    pub(super) fn new(harness: &'a Harness) -> Self {
        Self {
            harness,
            drawn: BTreeMap::new(),
            eyes: BTreeMap::new(),
            minis: BTreeMap::new(),
            shared: Shared::default(),
        }
    }

    /// The key of a face in the page's data and in the ids of its drawings.
    pub(super) fn key(id: ConnectorId, side: Side) -> String {
        format!("{}{}", id.index(), if side == Side::Mating { "m" } else { "w" })
    }

    /// The side that shows what `side` does: without a geometry there is but one picture.
    pub(super) fn side(harness: &Harness, id: ConnectorId, side: Side) -> Side {
        if harness.connectors[id].face.is_some() { side } else { Side::Mating }
    }

    /// The face of one side, drawn if it was not yet.
    pub(super) fn of(&mut self, id: ConnectorId, side: Side) -> &Drawn {
        let key = (id, side == Side::Wire);
        let made = match self.drawn.remove(&key) {
            Some(made) => made,
            None => self.draw(id, side),
        };
        self.drawn.entry(key).or_insert(made)
    }

    /// The sides of a connector that are worth drawing: both, or the only one where no geometry is given.
    pub(super) fn both(&mut self, id: ConnectorId) -> Vec<Use> {
        let known = self.harness.connectors[id].face.is_some();
        let sides = if known { &[Side::Mating, Side::Wire][..] } else { &[Side::Mating] };
        sides.iter().map(|side| self.of(id, *side).full.clone()).collect()
    }

    /// What must be said beside a connector's faces.
    pub(super) fn words(&self, id: ConnectorId) -> FaceWords {
        face_words(&face_of(self.harness, id, Side::Mating, &[]))
    }

    /// Every face that was drawn, by its key.
    pub(super) fn all(&self) -> impl Iterator<Item = (String, &Drawn)> {
        self.drawn
            .iter()
            .map(|((id, wire), drawn)| (Self::key(*id, if *wire { Side::Wire } else { Side::Mating }), drawn))
    }

    /// One picture that shows nothing and holds all drawings.
    pub(super) fn sprite(&self) -> String {
        let faces = self.drawn.values().map(|drawn| drawn.svg.as_str());
        let marks = RADII.iter().flat_map(|radius| {
            [("r", Mark::RedProbe), ("b", Mark::BlackProbe)].map(|(letter, mark)| {
                to_shared(&format!("mark-{letter}-{radius}"), &probe_mark(mark, f64::from(*radius)))
            })
        });
        let marks: Vec<String> = marks.collect();
        let eyes = self.eyes.values().map(String::as_str);
        let minis: String =
            self.minis.iter().map(|(svg, id)| svg.replacen("id=\"\"", &format!("id=\"{id}\""), 1)).collect();
        let signs = self.shared.signs();
        let shared = [signs.as_str(), &minis].into_iter().chain(eyes).chain(faces);
        let inside: String = shared.chain(marks.iter().map(String::as_str)).collect();
        format!(
            "<svg class=\"sprite ringout-drawing\" width=\"0\" height=\"0\" aria-hidden=\"true\" \
             focusable=\"false\">\n{inside}</svg>"
        )
    }

    fn draw(&mut self, id: ConnectorId, side: Side) -> Drawn {
        let view = face_of(self.harness, id, side, &[]);
        let key = Self::key(id, side);
        let mut scene = plain_scene(&view);
        let eye = self.eye(&mut scene, view.half, side);
        let full = used(format!("face-{key}"), &scene);
        let full_places = contact_places(&scene);
        let mut svg = self.shared.face(&full.shared, &scene);
        if let (Some(eye), Some(end)) = (eye, svg.rfind("</g>")) {
            svg.insert_str(end, &format!("<use href=\"#{eye}\"/>"));
        }
        let mini = mini_scene(&view).map(|mini| {
            let own = format!("mini-{}", self.minis.len());
            let shared = self.minis.entry(self.shared.face("", &mini)).or_insert(own).clone();
            let places = contact_places(&mini).into_iter().map(|p| (p.contact, [p.centre.x, p.centre.y]));
            (used(shared, &mini), places.collect())
        });
        Drawn { full, full_places, mini, svg }
    }

    /// Takes the eye out of a face; gives back under which id it stands.
    fn eye(&mut self, scene: &mut Scene, half: Option<Half>, side: Side) -> Option<String> {
        let items = take_eye(scene);
        if items.is_empty() {
            return None;
        }
        let half = half.map_or("any", Half::word);
        let name = format!("eye-{half}-{}", if side == Side::Mating { "m" } else { "w" });
        let alone = Scene { title: String::new(), desc: String::new(), width: 0.0, height: 0.0, items };
        self.eyes.entry(name.clone()).or_insert_with(|| to_shared(&name, &alone));
        Some(name)
    }
}
