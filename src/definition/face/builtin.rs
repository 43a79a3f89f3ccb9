//! Looks up a built-in arrangement.
//!
//! Comes in: a face name. Goes out: its [`Face`]. Why: the table holds what was published (names,
//! rings, measured places); this page alone turns that into millimetres.

use super::arrange::{on_ring, ring_radii};
use super::table::{ARRANGEMENTS, Arrangement, Layout, NUMBERS, Names};
use super::{Cavity, Face, Outline};

/// Room between the outermost ring and the outline, in pitches of the rings.
const MARGIN: f64 = 0.65;

/// The built-in face of that name.
pub fn builtin(name: &str) -> Option<Face> {
    ARRANGEMENTS.iter().find(|a| a.name == name).map(build)
}

/// The names of all built-in faces, in the order they are listed to people.
pub fn builtin_names() -> impl Iterator<Item = &'static str> {
    ARRANGEMENTS.iter().map(|a| a.name)
}

fn build(row: &Arrangement) -> Face {
    let names: Vec<&str> = match row.names {
        Names::Listed(list) => list.split_whitespace().collect(),
        Names::Numbered(count) => NUMBERS.iter().take(count).copied().collect(),
    };
    let cavities = names
        .iter()
        .zip(places(&row.layout, radius(row.outline)))
        .map(|(&name, (x, y))| {
            let diameter = if row.wide.0.contains(&name) { row.wide.1 } else { row.contact };
            Cavity { name: name.to_owned(), x, y, diameter }
        })
        .collect();
    Face {
        name: row.name.to_owned(),
        outline: row.outline,
        key: row.key,
        cavities,
        fidelity: row.fidelity,
        source: row.source.to_owned(),
    }
}

fn radius(outline: Outline) -> f64 {
    match outline {
        Outline::Round { diameter } => diameter / 2.0,
        Outline::Rectangle { width, height } | Outline::Dee { width, height } => width.min(height) / 2.0,
    }
}

fn places(layout: &Layout, radius: f64) -> Vec<(f64, f64)> {
    match layout {
        Layout::Rings(rings) => rings_within(rings, radius),
        Layout::Circles(circles) => circles
            .iter()
            .flat_map(|&(count, share, start)| {
                (0..count).map(move |nth| on_ring(share * radius, start, nth, count))
            })
            .collect(),
        Layout::Polar(list) => {
            list.iter().map(|&(share, angle)| on_ring(share * radius, angle, 0, 1)).collect()
        }
        Layout::Points(list) => list.to_vec(),
        Layout::Rows { counts, along, between, top } => rows(counts, *along, *between, *top),
    }
}

/// Spreads rings over a circle: one pitch between rings, and [`MARGIN`] outside the outermost.
fn rings_within(rings: &[(usize, f64)], radius: f64) -> Vec<(f64, f64)> {
    let counts: Vec<usize> = rings.iter().map(|r| r.0).collect();
    let radii = ring_radii(&counts);
    let pitch = radius / (radii.first().copied().unwrap_or(0.0) + MARGIN);
    rings
        .iter()
        .zip(radii)
        .flat_map(|(&(count, start), r)| (0..count).map(move |nth| on_ring(r * pitch, start, nth, count)))
        .collect()
}

fn rows(counts: &[usize], along: f64, between: f64, top: f64) -> Vec<(f64, f64)> {
    let mut places = Vec::new();
    for (row, &count) in counts.iter().enumerate() {
        for nth in 0..count {
            let x = (nth as f64 - (count as f64 - 1.0) / 2.0) * along;
            places.push((x, top - row as f64 * between));
        }
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_has_a_place_for_each_name() {
        for row in ARRANGEMENTS {
            let names = match row.names {
                Names::Listed(list) => list.split_whitespace().count(),
                Names::Numbered(count) => count,
            };
            assert_eq!(places(&row.layout, 1.0).len(), names, "{}", row.name);
            assert_eq!(build(row).cavities.len(), names, "{}", row.name);
        }
    }

    #[test]
    fn names_are_unique_within_a_face_and_among_faces() {
        let mut faces: Vec<_> = builtin_names().collect();
        let count = faces.len();
        faces.sort_unstable();
        faces.dedup();
        assert_eq!(faces.len(), count);
        for name in faces {
            let face = builtin(name).unwrap();
            let mut contacts: Vec<_> = face.names().collect();
            contacts.sort_unstable();
            contacts.dedup();
            assert_eq!(contacts.len(), face.cavities.len(), "{name}");
        }
    }

    #[test]
    fn contacts_lie_inside_and_do_not_touch() {
        for name in builtin_names() {
            let face = builtin(name).unwrap();
            for (i, a) in face.cavities.iter().enumerate() {
                let r = a.diameter / 2.0;
                match face.outline {
                    Outline::Round { diameter } => assert!(a.x.hypot(a.y) + r < diameter / 2.0, "{name}"),
                    Outline::Rectangle { width, height } | Outline::Dee { width, height } => {
                        assert!(a.x.abs() + r < width / 2.0 && a.y.abs() + r < height / 2.0, "{name}");
                    }
                }
                for b in &face.cavities[i + 1..] {
                    let gap = (a.x - b.x).hypot(a.y - b.y);
                    assert!(gap > f64::midpoint(a.diameter, b.diameter), "{name}: {} {}", a.name, b.name);
                }
            }
        }
    }

    #[test]
    fn an_unknown_name_is_none() {
        assert_eq!(builtin("round-15"), None);
        assert_eq!(builtin(""), None);
    }
}
