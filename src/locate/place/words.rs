//! A place on a wire as a person finds it: the trunk, and the metres from the nearest connector.
//!
//! A wire is longer than the trunks it runs through: the rest is taken as a tail at each end, half and half.
//! Where the trunks are drawn longer than the wire, all are taken shorter alike. What a definition does not
//! give (the length of more than one trunk) is not guessed: then all trunks on the way are named.

use super::line::{Line, Piece};
use crate::definition::{Harness, Point, TrunkId};
use crate::units::Metres;

use super::Distance;

/// Metres with no more digits than their error leaves.
pub fn metres(value: f64, error: f64) -> String {
    let digits = digits(error);
    let text = format!("{value:.digits$}");
    // No "-0.0".
    let text = if text.trim_start_matches('-').chars().all(|c| matches!(c, '0' | '.')) {
        text.trim_start_matches('-').to_owned()
    } else {
        text
    };
    format!("{text} m")
}

/// An error in metres, rounded up, so that it is never less than it was.
pub fn error(value: f64) -> String {
    let digits = digits(value);
    let step = 10f64.powi(i32::try_from(digits).unwrap_or(3));
    metres((value * step - 1e-9).ceil() / step, value)
}

fn digits(error: f64) -> usize {
    match error {
        error if error < 0.01 => 3,
        error if error < 0.095 => 2,
        error if error < 9.5 => 1,
        _ => 0,
    }
}

/// A stretch of a wire, in metres from its first end.
struct Stretch {
    trunk: Option<TrunkId>,
    from: f64,
    to: f64,
}

/// The trunks at a place on a wire, the one it lies in first, then those within its error; none on a tail or
/// where the definition gives no trunks. `sure` is false where the definition does not tell how the wire
/// divides among them.
pub(super) fn trunks(harness: &Harness, piece: &Piece, at: f64, error: f64) -> (Vec<TrunkId>, bool) {
    let wire = &harness.wires[piece.wire];
    let Some(stretches) = stretches(harness, piece) else { return (wire.route.clone(), false) };
    // From the wire's own first end, whichever way the line runs.
    let at = if piece.reversed { piece.length - at } else { at }.clamp(0.0, piece.length);
    let holds = |s: &&Stretch| s.from <= at && at <= s.to;
    let main = stretches.iter().find(holds).and_then(|s| s.trunk);
    let near = stretches.iter().filter(|s| s.from < at + error && s.to > at - error);
    let near = near.filter_map(|s| s.trunk).filter(|trunk| Some(*trunk) != main);
    (main.into_iter().chain(near).collect(), main.is_some())
}

/// How a wire divides among its trunks; `None` where the definition does not tell.
fn stretches(harness: &Harness, piece: &Piece) -> Option<Vec<Stretch>> {
    let mut route = harness.wires[piece.wire].route.clone();
    if runs_backwards(harness, piece, &route) {
        route.reverse();
    }
    let known: f64 = route.iter().filter_map(|t| harness.trunks[*t].length).map(Metres::get).sum();
    let unknown = route.iter().filter(|t| harness.trunks[**t].length.is_none()).count();
    if unknown > 1 {
        return None;
    }
    let rest = (piece.length - known).max(0.0);
    let scale = if known > piece.length && known > 0.0 { piece.length / known } else { 1.0 };
    let (tail, open) = if unknown == 1 { (0.0, rest) } else { (rest / 2.0, 0.0) };
    let mut at = tail;
    let mut all = vec![Stretch { trunk: None, from: 0.0, to: tail }];
    for trunk in route {
        let length = harness.trunks[trunk].length.map_or(open, |length| length.get() * scale);
        all.push(Stretch { trunk: Some(trunk), from: at, to: at + length });
        at += length;
    }
    all.push(Stretch { trunk: None, from: at, to: piece.length });
    // A stretch of no length holds no place; a wire without trunks is one stretch.
    all.retain(|s| s.to > s.from);
    Some(all)
}

/// A route that was written from the second end: its first trunk touches that end and not the first.
fn runs_backwards(harness: &Harness, piece: &Piece, route: &[TrunkId]) -> bool {
    let (Some(first), Some(last)) = (route.first(), route.last()) else { return false };
    let touches = |trunk: &TrunkId, point: Point| {
        let places = &harness.trunks[*trunk].between;
        let own = owner(harness, point);
        let station = harness.station_of(point).map(|s| harness.stations[s].id.clone());
        places.iter().any(|place| Some(place) == own.as_ref() || Some(place) == station.as_ref())
    };
    let [from, to] = harness.wires[piece.wire].ends;
    let forwards = touches(first, from) || touches(last, to);
    !forwards && (touches(first, to) || touches(last, from))
}

/// The connector, splice or terminal at a point.
fn owner(harness: &Harness, point: Point) -> Option<String> {
    match point {
        Point::Contact(id) => Some(harness.connectors[harness.contacts[id].connector].id.clone()),
        Point::Splice(id) => Some(harness.splices[id].id.clone()),
        Point::Terminal(id) => Some(harness.terminals[id].id.clone()),
        Point::Chassis => None,
    }
}

/// The connector from which the fewest metres lead to a place on a line: its contact, and whether it is
/// counted from the line's far side. Where the line has none, its nearest end.
pub(super) fn nearest(line: &Line, at: f64) -> Option<(Point, f64)> {
    let mut ends = Vec::new();
    let mut so_far = 0.0;
    for piece in &line.pieces {
        ends.push((piece.ends[0], so_far));
        so_far += piece.length;
        ends.push((piece.ends[1], so_far));
    }
    let closest = |connectors: bool| {
        ends.iter()
            .copied()
            .filter(|(point, _)| !connectors || matches!(point, Point::Contact(_)))
            .min_by(|a, b| (a.1 - at).abs().total_cmp(&(b.1 - at).abs()))
    };
    closest(true).or_else(|| closest(false))
}

/// A place in words: "in trunk T3, 0.8 m from J7 (±0.1 m)".
pub fn words(harness: &Harness, distance: &Distance) -> String {
    let from = owner(harness, distance.from).unwrap_or_else(|| harness.point_name(distance.from));
    let names: Vec<&str> = distance.trunks.iter().map(|t| harness.trunks[*t].id.as_str()).collect();
    let trunk = match (&names[..], distance.sure) {
        ([], _) => String::new(),
        ([one], true) => format!("in trunk {one}, "),
        ([one, more @ ..], true) => format!("in trunk {one} (or {}), ", more.join(", ")),
        (all, false) => format!("in trunk {}, ", all.join(" or ")),
    };
    let (at, error_text) = (distance.at.get(), error(distance.plus_minus.get()));
    let at = metres(at, distance.plus_minus.get());
    format!("{trunk}{at} from {from} (±{error_text})")
}
