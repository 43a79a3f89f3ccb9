//! Signs of our own for contacts, marks, keys and the direction of view.
//!
//! Comes in: what to show. Goes out: items around the origin. Why: one sign for one thing, the same
//! on the face and in the legend, and told apart by shape before colour.

use super::super::scene::{Anchor, Area, Item, Point, Step, at, line, polyline};
use super::{ContactState, Mark, Side};
use crate::definition::face::Half;

/// A contact in its cavity: a filled dot for a pin, a ring around a hole for a socket, neither where
/// the kind is not known.
pub(super) fn contact(half: Option<Half>, state: ContactState, radius: f64) -> Vec<Item> {
    let centre = at(0.0, 0.0);
    let circle = |share: f64, class| Item::Circle { centre, radius: share * radius, class };
    match (state, half) {
        (ContactState::Plugged, _) => plug(radius),
        (ContactState::Spare, _) => vec![circle(1.0, "vacant")],
        (ContactState::Normal, None) => vec![circle(1.0, "cavity")],
        (ContactState::Normal, Some(Half::Pin)) => vec![circle(1.0, "cavity"), circle(0.5, "ink")],
        (ContactState::Normal, Some(Half::Socket)) => vec![circle(1.0, "cavity"), circle(0.5, "hole")],
    }
}

/// A sealing plug: a cavity that is crossed out.
fn plug(radius: f64) -> Vec<Item> {
    let reach = radius * 0.62;
    vec![
        Item::Circle { centre: at(0.0, 0.0), radius, class: "cavity" },
        polyline(&[at(-reach, -reach), at(reach, reach)], false, "thin"),
        polyline(&[at(-reach, reach), at(reach, -reach)], false, "thin"),
    ]
}

/// The radius of a mark's badge.
const BADGE: f64 = 6.0;

/// The classes of a mark's ring and of its badge.
fn looks(mark: Mark) -> Option<(&'static str, &'static str)> {
    Some(match mark {
        Mark::None => return None,
        Mark::RedProbe | Mark::Bad => ("ring-red", "red"),
        Mark::BlackProbe => ("ring-ink", "ink"),
        Mark::Suspect(_) => ("ring-doubt", "doubt"),
        Mark::Good => ("ring-good", "good"),
        Mark::NotYet => ("ring-wait", "wait"),
        Mark::Changed => ("ring-change", "route"),
    })
}

/// What lies under a suspect contact: the darker, the larger its share.
pub(super) fn shade(mark: Mark, radius: f64) -> Option<Item> {
    let Mark::Suspect(share) = mark else { return None };
    Some(Item::Circle { centre: at(0.0, 0.0), radius: radius + 2.5, class: share.shade() })
}

/// A mark around a contact: a ring, and a badge with a letter or sign at its upper right.
pub(super) fn mark(mark: Mark, radius: f64) -> Vec<Item> {
    let Some((class, _)) = looks(mark) else { return Vec::new() };
    let out = (radius + 2.5) * std::f64::consts::FRAC_1_SQRT_2 + 3.5;
    let mut items = vec![Item::Circle { centre: at(0.0, 0.0), radius: radius + 2.5, class }];
    if let Mark::Suspect(share) = mark {
        let text = line(at(out + BADGE + 2.5, 3.5 - out), 11.0, share.to_string()).bold().class("doubt");
        items.push(Item::Text(text));
    }
    items.extend(badge(mark).into_iter().map(|i| i.moved(out, -out)));
    items
}

/// A mark's badge around the origin.
pub(in crate::draw) fn badge(mark: Mark) -> Vec<Item> {
    let Some((_, class)) = looks(mark) else { return Vec::new() };
    let mut items = vec![Item::Circle { centre: at(0.0, 0.0), radius: BADGE, class }];
    let dot = |x| Item::Circle { centre: at(x, 0.0), radius: 1.1, class: "ink" };
    let letter =
        |text| Item::Text(line(at(0.0, 3.1), 8.5, text).bold().class("paper").anchor(Anchor::Middle));
    match mark {
        Mark::RedProbe => items.push(letter("R")),
        Mark::BlackProbe => items.push(letter("B")),
        Mark::Suspect(_) => items.push(letter("?")),
        Mark::NotYet => items.extend([-2.8, 0.0, 2.8].map(dot)),
        Mark::Changed => items.push(polyline(&[at(0.0, -3.2), at(3.0, 2.2), at(-3.0, 2.2)], true, "sign")),
        Mark::Good => items.push(polyline(&[at(-2.8, 0.3), at(-0.8, 2.5), at(3.0, -2.2)], false, "sign")),
        Mark::Bad => {
            items.push(polyline(&[at(-2.4, -2.4), at(2.4, 2.4)], false, "sign"));
            items.push(polyline(&[at(-2.4, 2.4), at(2.4, -2.4)], false, "sign"));
        }
        Mark::None => {}
    }
    items
}

/// How much room [`view_direction`] takes at most.
pub(super) const VIEW: (f64, f64) = (100.0, 44.0);

/// A connector half from the side, its mating side at the left, with an eye where one looks from.
pub(super) fn view_direction(half: Option<Half>, side: Side) -> Vec<Item> {
    let mut items =
        vec![Item::Rect { area: Area::new(52.0, 6.0, 84.0, 38.0), rounding: 2.0, class: "plate" }];
    for y in [13.0, 22.0, 31.0] {
        match half {
            Some(Half::Pin) => items.push(Item::Rect {
                area: Area::new(40.0, y - 1.5, 51.0, y + 1.5),
                rounding: 1.5,
                class: "ink",
            }),
            Some(Half::Socket) => items.push(Item::Rect {
                area: Area::new(52.0, y - 2.0, 64.0, y + 2.0),
                rounding: 0.0,
                class: "cavity",
            }),
            None => {}
        }
        items.push(polyline(&[at(85.0, y), at(94.0, y)], false, "thin"));
    }
    let (eye_at, toward) = if side == Side::Mating { (11.0, 1.0) } else { (121.0, -1.0) };
    items.extend(eye(at(eye_at, 22.0)));
    items.extend(arrow(at(eye_at + 14.0 * toward, 22.0), toward));
    items
}

fn eye(centre: Point) -> Vec<Item> {
    let (left, right) = (at(centre.x - 10.0, centre.y), at(centre.x + 10.0, centre.y));
    let lid = vec![Step::Move(left), Step::Arc(12.0, right), Step::Arc(12.0, left), Step::Close];
    vec![Item::Path { steps: lid, class: "cavity" }, Item::Circle { centre, radius: 3.2, class: "ink" }]
}

fn arrow(from: Point, toward: f64) -> Vec<Item> {
    let tip = at(from.x + 9.0 * toward, from.y);
    let back = |dy| at(tip.x - 4.5 * toward, tip.y + dy);
    vec![polyline(&[from, tip], false, "thin"), polyline(&[back(-3.5), tip, back(3.5)], false, "thin")]
}
