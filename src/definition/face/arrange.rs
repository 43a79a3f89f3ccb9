//! Arrangements that a definition writes itself.
//!
//! Comes in: names in rows, rings or at points, and whose mating side that picture shows. Goes out:
//! a [`Face`] as the pin half shows it, or the reason why not. Why: people draw the half they have
//! in their hand; everything behind this page knows one picture only.

use super::{Cavity, Face, Fidelity, Half, Key, Outline};
use crate::units::{Degrees, Metres};

/// The most contacts one face may have. Larger blocks are several connectors in practice, and the
/// search for neighbours looks at every pair.
pub const MOST_CONTACTS: usize = 1000;

/// The farthest a contact may stand from the middle, and the smallest distance between two.
const FARTHEST: f64 = 1000.0;
const CLOSEST: f64 = 0.1;

/// The outline of an own arrangement; its size follows from the contacts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// A circle with a key at the top.
    Round,
    /// An upright rectangle.
    Rectangle,
}

/// How an own arrangement is to be read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Form {
    /// The outline.
    pub shape: Shape,
    /// Whose mating side the arrangement shows. A socket half's picture is mirrored on the way in.
    pub seen: Half,
    /// Contact diameter; left out, a third of the smallest distance between two contacts.
    pub contact: Option<Metres>,
}

/// Why an own arrangement cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FaceError {
    /// No contacts at all, or a row or ring without any.
    #[error("an arrangement needs at least one contact in each row or ring")]
    Empty,
    /// A contact without a name.
    #[error("a contact needs a name")]
    NoName,
    /// The same name twice.
    #[error("contact `{name}` stands in the arrangement twice")]
    DuplicateName {
        /// The name.
        name: String,
    },
    /// More than [`MOST_CONTACTS`].
    #[error("{count} contacts are more than the {MOST_CONTACTS} a face may have")]
    TooMany {
        /// How many there are.
        count: usize,
    },
    /// A pitch of nothing, or beyond all connectors.
    #[error("the pitch must be between 0.1 mm and 1 m")]
    BadPitch,
    /// A contact diameter of nothing, or beyond all connectors.
    #[error("the contact size must be more than 0 and less than the distance between contacts")]
    BadContact,
    /// A start angle that is no number, or one for a ring that is not there.
    #[error("there must be at most one start angle per ring, each a plain number of degrees")]
    BadStart,
    /// A contact more than a metre from the middle, or at no number.
    #[error("contact `{name}` lies more than 1 m from the middle")]
    TooFar {
        /// The contact.
        name: String,
    },
    /// Two contacts in one place.
    #[error("contacts `{first}` and `{second}` are less than 0.1 mm apart")]
    SamePlace {
        /// The first of them.
        first: String,
        /// The other.
        second: String,
    },
}

/// Rows of names, top row first, left to right, each row centred.
///
/// `pitch` is the distance between contacts and between rows.
///
/// # Errors
/// See [`FaceError`].
pub fn from_rows(name: &str, rows: &[Vec<String>], pitch: Metres, form: Form) -> Result<Face, FaceError> {
    let pitch = checked_pitch(pitch)?;
    checked_names(rows.iter().map(Vec::as_slice))?;
    let middle = (rows.len() as f64 - 1.0) / 2.0;
    let mut placed = Vec::new();
    for (down, row) in rows.iter().enumerate() {
        for (nth, contact) in row.iter().enumerate() {
            let x = (nth as f64 - (row.len() as f64 - 1.0) / 2.0) * pitch;
            placed.push((contact.clone(), x, (middle - down as f64) * pitch));
        }
    }
    assemble(name, placed, form)
}

/// Rings of names, outermost first, clockwise from the key at the top, evenly spaced.
///
/// `pitch` is the distance between rings. A ring that would put its contacts closer together than
/// that is drawn wider; a single contact as the innermost ring stands in the middle. `start` gives
/// the angle of each ring's first contact; left out, it stands at the key.
///
/// # Errors
/// See [`FaceError`].
pub fn from_rings(
    name: &str,
    rings: &[Vec<String>],
    pitch: Metres,
    start: &[Degrees],
    form: Form,
) -> Result<Face, FaceError> {
    let pitch = checked_pitch(pitch)?;
    checked_names(rings.iter().map(Vec::as_slice))?;
    if start.len() > rings.len() || start.iter().any(|a| !a.get().is_finite() || a.get().abs() > 3600.0) {
        return Err(FaceError::BadStart);
    }
    let counts: Vec<usize> = rings.iter().map(Vec::len).collect();
    let mut placed = Vec::new();
    for (which, (ring, radius)) in rings.iter().zip(ring_radii(&counts)).enumerate() {
        let first = start.get(which).map_or(0.0, |a| a.get());
        for (nth, contact) in ring.iter().enumerate() {
            let (x, y) = on_ring(radius * pitch, first, nth, ring.len());
            placed.push((contact.clone(), x, y));
        }
    }
    assemble(name, placed, form)
}

/// Contacts at given points: x to the right, y up.
///
/// # Errors
/// See [`FaceError`].
pub fn from_points(name: &str, points: &[(String, Metres, Metres)], form: Form) -> Result<Face, FaceError> {
    let names: Vec<String> = points.iter().map(|p| p.0.clone()).collect();
    checked_names(std::iter::once(names.as_slice()))?;
    let placed =
        points.iter().map(|(contact, x, y)| (contact.clone(), x.get() * 1e3, y.get() * 1e3)).collect();
    assemble(name, placed, form)
}

/// The radii of rings in pitches, outermost first, for these numbers of contacts.
///
/// Each ring lies one pitch outside the next, and is never so small that its contacts stand closer
/// than one pitch.
pub(super) fn ring_radii(counts: &[usize]) -> Vec<f64> {
    let mut radii = Vec::with_capacity(counts.len());
    let mut inner: Option<f64> = None;
    for &count in counts.iter().rev() {
        // A chord of one pitch: r = 1 / (2 sin(half the angle between contacts)).
        let roomy = if count < 2 { 0.0 } else { 0.5 / (std::f64::consts::PI / count as f64).sin() };
        let radius = inner.map_or(roomy, |r| roomy.max(r + 1.0));
        inner = Some(radius);
        radii.push(radius);
    }
    radii.reverse();
    radii
}

/// The place of the `nth` of `count` contacts on a ring: clockwise from `start` degrees past the top.
pub(super) fn on_ring(radius: f64, start: f64, nth: usize, count: usize) -> (f64, f64) {
    let angle = (start + 360.0 * nth as f64 / count.max(1) as f64).to_radians();
    (radius * angle.sin(), radius * angle.cos())
}

fn checked_pitch(pitch: Metres) -> Result<f64, FaceError> {
    let millimetres = pitch.get() * 1e3;
    // A hair below the limit is the limit: 0.0001 m is not exactly 0.1 mm.
    if (CLOSEST * 0.999..=FARTHEST).contains(&millimetres) {
        Ok(millimetres)
    } else {
        Err(FaceError::BadPitch)
    }
}

fn checked_names<'a>(groups: impl Iterator<Item = &'a [String]>) -> Result<(), FaceError> {
    let mut seen = std::collections::BTreeSet::new();
    let mut count = 0;
    for group in groups {
        if group.is_empty() {
            return Err(FaceError::Empty);
        }
        for name in group {
            count += 1;
            if name.trim().is_empty() {
                return Err(FaceError::NoName);
            }
            if !seen.insert(name.as_str()) {
                return Err(FaceError::DuplicateName { name: name.clone() });
            }
        }
    }
    match count {
        0 => Err(FaceError::Empty),
        1..=MOST_CONTACTS => Ok(()),
        _ => Err(FaceError::TooMany { count }),
    }
}

fn assemble(name: &str, placed: Vec<(String, f64, f64)>, form: Form) -> Result<Face, FaceError> {
    for (contact, x, y) in &placed {
        let away = x.hypot(*y);
        if away.is_nan() || away > FARTHEST {
            return Err(FaceError::TooFar { name: contact.clone() });
        }
    }
    let gap = smallest_gap(&placed)?;
    let diameter = form.contact.map_or(gap / 3.0, |d| d.get() * 1e3);
    if !(diameter > 0.0 && diameter < gap) {
        return Err(FaceError::BadContact);
    }
    let mirror = if form.seen == Half::Socket { -1.0 } else { 1.0 };
    Ok(Face {
        name: name.to_owned(),
        outline: outline(&placed, form.shape, gap),
        key: if form.shape == Shape::Round { Key::Top } else { Key::None },
        cavities: placed
            .into_iter()
            .map(|(name, x, y)| Cavity { name, x: x * mirror, y, diameter })
            .collect(),
        fidelity: Fidelity::Given,
        source: "as written in the definition".to_owned(),
    })
}

/// The smallest distance between two contacts; 5 mm where there is only one.
fn smallest_gap(placed: &[(String, f64, f64)]) -> Result<f64, FaceError> {
    let mut gap = f64::INFINITY;
    // A sweep along the longer side: what lies farther along than the gap so far cannot be nearer.
    let along = longer_side(placed);
    let mut order: Vec<usize> = (0..placed.len()).collect();
    order.sort_by(|a, b| along(&placed[*a]).total_cmp(&along(&placed[*b])));
    for (nth, &i) in order.iter().enumerate() {
        for &j in &order[nth + 1..] {
            let [a, b] = [i.min(j), i.max(j)].map(|at| &placed[at]);
            if along(&placed[j]) - along(&placed[i]) > gap {
                break;
            }
            let d = (a.1 - b.1).hypot(a.2 - b.2);
            if d < CLOSEST * 0.99 {
                return Err(FaceError::SamePlace { first: a.0.clone(), second: b.0.clone() });
            }
            gap = gap.min(d);
        }
    }
    Ok(if gap.is_finite() { gap } else { 5.0 })
}

/// The coordinate along which the contacts spread farther.
fn longer_side(placed: &[(String, f64, f64)]) -> fn(&(String, f64, f64)) -> f64 {
    let spread = |side: fn(&(String, f64, f64)) -> f64| {
        let (low, high) = placed
            .iter()
            .map(side)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
        high - low
    };
    if spread(|p| p.1) >= spread(|p| p.2) { |p| p.1 } else { |p| p.2 }
}

/// An outline centred on the origin with most of a gap around the outermost contacts.
fn outline(placed: &[(String, f64, f64)], shape: Shape, gap: f64) -> Outline {
    let most = |f: fn(&(String, f64, f64)) -> f64| placed.iter().map(f).fold(0.0, f64::max);
    match shape {
        Shape::Round => Outline::Round { diameter: 2.0 * (most(|p| p.1.hypot(p.2)) + 0.8 * gap) },
        Shape::Rectangle => Outline::Rectangle {
            width: 2.0 * (most(|p| p.1.abs()) + 0.8 * gap),
            height: 2.0 * (most(|p| p.2.abs()) + 0.8 * gap),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PIN: Form = Form { shape: Shape::Rectangle, seen: Half::Pin, contact: None };
    const ROUND: Form = Form { shape: Shape::Round, seen: Half::Pin, contact: None };

    fn names(groups: &[&str]) -> Vec<Vec<String>> {
        groups.iter().map(|g| g.split_whitespace().map(str::to_owned).collect()).collect()
    }

    fn at(face: &Face, name: &str) -> (f64, f64) {
        let cavity = &face.cavities[face.position(name).unwrap()];
        (cavity.x, cavity.y)
    }

    fn close(a: (f64, f64), b: (f64, f64)) -> bool {
        (a.0 - b.0).hypot(a.1 - b.1) < 1e-9
    }

    #[test]
    fn rows_run_left_to_right_and_down() {
        let face = from_rows("own", &names(&["1 2", "3 4"]), Metres::new(0.005), PIN).unwrap();
        assert!(close(at(&face, "1"), (-2.5, 2.5)));
        assert!(close(at(&face, "4"), (2.5, -2.5)));
        assert_eq!(face.outline, Outline::Rectangle { width: 13.0, height: 13.0 });
    }

    #[test]
    fn a_short_row_is_centred() {
        let face = from_rows("own", &names(&["1 2 3", "4 5"]), Metres::new(0.002), PIN).unwrap();
        assert!(close(at(&face, "4"), (-1.0, -1.0)));
    }

    #[test]
    fn rings_run_clockwise_from_the_key() {
        let start = [Degrees::new(0.0), Degrees::new(0.0)];
        let face =
            from_rings("own", &names(&["A B C D E F", "G"]), Metres::new(0.004), &start, ROUND).unwrap();
        assert!(close(at(&face, "A"), (0.0, 4.0)));
        assert!(at(&face, "B").0 > 0.0, "clockwise is to the right of the key");
        assert!(close(at(&face, "G"), (0.0, 0.0)));
        let turned =
            from_rings("own", &names(&["A B C D"]), Metres::new(0.004), &[Degrees::new(90.0)], ROUND)
                .unwrap();
        assert!(at(&turned, "A").0 > 0.0 && at(&turned, "A").1.abs() < 1e-9);
    }

    #[test]
    fn a_crowded_ring_is_widened() {
        let ring: Vec<String> = (0..40).map(|n| n.to_string()).collect();
        let face = from_rings("own", &[ring], Metres::new(0.002), &[], ROUND).unwrap();
        let (a, b) = (at(&face, "0"), at(&face, "1"));
        assert!(((a.0 - b.0).hypot(a.1 - b.1) - 2.0).abs() < 1e-9);
    }

    #[test]
    fn a_socket_picture_is_mirrored_on_the_way_in() {
        let socket = Form { seen: Half::Socket, ..PIN };
        let face = from_rows("own", &names(&["1 2"]), Metres::new(0.005), socket).unwrap();
        assert!(close(at(&face, "1"), (2.5, 0.0)));
        let points = [
            ("a".to_owned(), Metres::new(0.001), Metres::new(0.002)),
            ("b".to_owned(), Metres::new(0.0), Metres::new(0.0)),
        ];
        let face = from_points("own", &points, socket).unwrap();
        assert!(close(at(&face, "a"), (-1.0, 2.0)));
    }

    #[test]
    fn says_what_is_wrong() {
        let mm = Metres::new(0.001);
        let rows = |groups: &[&str], pitch, form| from_rows("own", &names(groups), pitch, form).unwrap_err();
        assert_eq!(rows(&[], mm, PIN), FaceError::Empty);
        assert_eq!(rows(&["1", ""], mm, PIN), FaceError::Empty);
        assert_eq!(rows(&["1 2", "1"], mm, PIN), FaceError::DuplicateName { name: "1".to_owned() });
        for pitch in [0.0, -1.0, f64::NAN, f64::INFINITY, 2.0] {
            assert_eq!(rows(&["1 2"], Metres::new(pitch), PIN), FaceError::BadPitch, "{pitch}");
        }
        assert!(from_rows("own", &names(&["1 2"]), Metres::new(0.0001), PIN).is_ok());
        assert_eq!(
            rows(&["1 2"], mm, Form { contact: Some(Metres::new(0.001)), ..PIN }),
            FaceError::BadContact
        );
        assert_eq!(from_rows("own", &[vec![" ".to_owned()]], mm, PIN).unwrap_err(), FaceError::NoName);
        let many: Vec<String> = (0..1001).map(|n| n.to_string()).collect();
        assert_eq!(from_rows("own", &[many], mm, PIN).unwrap_err(), FaceError::TooMany { count: 1001 });
        let bad = from_rings("own", &names(&["1 2"]), mm, &[Degrees::new(f64::NAN)], ROUND).unwrap_err();
        assert_eq!(bad, FaceError::BadStart);
        let point = |n: &str, x| (n.to_owned(), Metres::new(x), Metres::new(0.0));
        assert_eq!(from_points("own", &[], PIN).unwrap_err(), FaceError::Empty);
        assert!(matches!(
            from_points("own", &[point("1", f64::NAN)], PIN).unwrap_err(),
            FaceError::TooFar { .. }
        ));
        assert!(matches!(
            from_points("own", &[point("1", 0.1), point("2", 0.1)], PIN).unwrap_err(),
            FaceError::SamePlace { .. }
        ));
    }

    #[test]
    fn a_thousand_contacts_far_apart_stay_within_reach_or_are_refused() {
        let row: Vec<String> = (0..1000).map(|n| n.to_string()).collect();
        assert!(matches!(
            from_rows("own", &[row], Metres::new(0.005), PIN).unwrap_err(),
            FaceError::TooFar { .. }
        ));
    }
}
