//! A face so small that it stands beside a single reading.
//!
//! Comes in: a [`FaceView`]. Goes out: a [`Scene`] with outline, key and contacts alone, the places of contacts in
//! any drawing of a face, and the marks to lay over them. Why: a page with a thousand readings holds each face once
//! and points at two contacts of it a thousand times.

use super::super::scene::{Area, Item, Point, Scene, area_of};
use super::{FaceView, Mark, Side, plate, spots, symbol};

/// Free space around the face: a mark at its rim reaches beyond it.
const RIM: f64 = 16.0;

/// The face without a word on its contacts; `None` where its geometry is not known, for then a picture of it would
/// mislead.
pub fn mini_scene(view: &FaceView) -> Option<Scene> {
    if !view.geometry_given {
        return None;
    }
    let mut items = plate::bare(view, &spots(view)).items;
    // So small, words are specks: the key's shape tells which way is up.
    items.retain(|item| !matches!(item, Item::Text(_)));
    let area = area_of(&items).unwrap_or(Area::new(0.0, 0.0, 0.0, 0.0)).grown(RIM);
    let items = items.into_iter().map(|item| item.moved(-area.left, -area.top)).collect();
    let side = match view.side {
        Side::Mating => "mating side",
        Side::Wire => "wire side",
    };
    let title = format!("{}, {side}", super::super::text::bounded(&view.connector));
    Some(Scene { title, desc: String::new(), width: area.width(), height: area.height(), items })
}

/// Where a drawing of a face has a contact.
#[derive(Debug, Clone, PartialEq)]
pub struct ContactPlace {
    /// The contact's name, as drawn.
    pub contact: String,
    /// The middle of its cavity.
    pub centre: Point,
    /// The radius of its cavity.
    pub radius: f64,
}

/// The contacts of a drawing of a face, in its order.
pub fn contact_places(scene: &Scene) -> Vec<ContactPlace> {
    let groups = scene.groups().into_iter().filter(|group| group.class == "contact");
    let place = |group: &super::super::scene::Group| {
        let contact = group.data.iter().find(|(name, _)| *name == "contact")?.1.clone();
        group.items.iter().find_map(|item| match item {
            Item::Circle { centre, radius, .. } => {
                Some(ContactPlace { contact: contact.clone(), centre: *centre, radius: *radius })
            }
            _ => None,
        })
    };
    groups.filter_map(place).collect()
}

/// Half the width of [`probe_mark`]'s square.
const REACH: f64 = 24.0;

/// A mark around a contact of that radius, in a square of 48 whose middle is the contact's.
pub fn probe_mark(mark: Mark, radius: f64) -> Scene {
    let items = symbol::mark(mark, radius).into_iter().map(|item| item.moved(REACH, REACH)).collect();
    let title = super::mark_word(mark).unwrap_or_default().to_owned();
    Scene { title, desc: String::new(), width: 2.0 * REACH, height: 2.0 * REACH, items }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::scene::at;

    #[test]
    fn a_mark_stays_within_its_square() {
        for radius in [6.0, 10.0] {
            for mark in [Mark::RedProbe, Mark::BlackProbe] {
                let scene = probe_mark(mark, radius);
                let areas = scene.items.iter().filter_map(Item::area);
                let area = areas.reduce(Area::with).unwrap_or(Area::around(at(0.0, 0.0), 0.0));
                assert!(area.left >= 0.0 && area.top >= 0.0, "{area:?}");
                assert!(area.right <= scene.width && area.bottom <= scene.height, "{area:?}");
            }
        }
    }
}
