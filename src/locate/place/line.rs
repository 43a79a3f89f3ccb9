//! One conductor as an instrument sees it: wires one behind the other, with their metres and ohms.

use crate::conductor::{self, USUAL_TEMPERATURES};
use crate::definition::{Harness, Point, WireId};
use crate::netlist::resistance::CONTACT;
use crate::record::far_end;
use crate::units::Metres;

/// Wires in a row from the point where the instrument is.
#[derive(Debug, Clone)]
pub(super) struct Line {
    pub(super) pieces: Vec<Piece>,
}

/// One wire of a line.
#[derive(Debug, Clone, Copy)]
pub(super) struct Piece {
    pub(super) wire: WireId,
    /// Whether the line enters it at its second end.
    pub(super) reversed: bool,
    /// The ends in the order the line meets them.
    pub(super) ends: [Point; 2],
    pub(super) length: f64,
    /// What a metre of it may resist, the middle and half the width; `None` where its size is not known.
    pub(super) per_metre: Option<(f64, f64)>,
}

impl Line {
    /// The line from a point along some wires.
    ///
    /// # Errors
    /// In words: a wire without a length, or one that does not go on from the one before.
    pub(super) fn new(harness: &Harness, from: Point, wires: &[WireId]) -> Result<Self, String> {
        let mut at = from;
        let mut pieces = Vec::new();
        for id in wires {
            let wire = &harness.wires[*id];
            let next = far_end(harness, at, *id)
                .ok_or_else(|| format!("wire {} does not go on from {}", wire.id, harness.point_name(at)))?;
            let length = wire.length.filter(|length| length.get() > 0.0).ok_or_else(|| {
                format!("the definition gives wire {} no length: add length = \"…\" to it", wire.id)
            })?;
            let reversed = wire.ends[0] == next;
            let ends = if reversed { [wire.ends[1], wire.ends[0]] } else { wire.ends };
            let per_metre = wire.gauge.map(|gauge| {
                let (low, high) = conductor::resistance_range(gauge, Metres::new(1.0), USUAL_TEMPERATURES);
                (f64::midpoint(low.get(), high.get()), (high.get() - low.get()) / 2.0)
            });
            pieces.push(Piece { wire: *id, reversed, ends, length: length.get(), per_metre });
            at = next;
        }
        Ok(Self { pieces })
    }

    pub(super) fn length(&self) -> f64 {
        self.pieces.iter().map(|piece| piece.length).sum()
    }

    /// Where it ends.
    pub(super) fn far(&self) -> Option<Point> {
        self.pieces.last().map(|piece| piece.ends[1])
    }

    /// Makes sure that every wire's size is known.
    ///
    /// # Errors
    /// In words, with the wire whose size is not.
    pub(super) fn sized(&self, harness: &Harness) -> Result<(), String> {
        match self.pieces.iter().find(|piece| piece.per_metre.is_none()) {
            None => Ok(()),
            Some(piece) => Err(format!(
                "the definition gives wire {} no gauge, so its resistance says nothing of metres: add gauge = \"…\"",
                harness.wires[piece.wire].id
            )),
        }
    }

    /// By how much its resistance may be off, as a share: the widest of its wires.
    pub(super) fn doubt(&self) -> f64 {
        let share = |piece: &Piece| piece.per_metre.map_or(0.0, |(mid, half)| half / mid);
        self.pieces.iter().map(share).fold(0.0, f64::max)
    }

    /// Its resistance, with the joints between its wires.
    pub(super) fn ohms(&self) -> f64 {
        let wire = |piece: &Piece| piece.per_metre.map_or(0.0, |(mid, _)| mid * piece.length);
        self.pieces.iter().map(wire).sum::<f64>() + self.joints()
    }

    fn joints(&self) -> f64 {
        self.pieces.len().saturating_sub(1) as f64 * JOINT
    }

    /// How many metres along it some ohms reach; below zero and beyond its end where that is so, at what the
    /// wire there has per metre. `scale` is what a metre really resists, over what it is expected to;
    /// `beside` what a metre of the other conductor adds, where the current comes back beside it.
    pub(super) fn metres_at(&self, ohms: f64, scale: f64, beside: f64) -> f64 {
        let (mut left, mut metres) = (ohms / scale, 0.0);
        for (at, piece) in self.pieces.iter().enumerate() {
            let per_metre = piece.per_metre.map_or(f64::INFINITY, |(mid, _)| mid) + beside;
            let here = per_metre * piece.length;
            if left <= here || at + 1 == self.pieces.len() {
                return metres + left / per_metre;
            }
            metres += piece.length;
            // What lies in the joint lies at its place.
            left = (left - here - JOINT).max(0.0);
        }
        metres
    }
}

/// The resistance of a joint between two wires of a line.
const JOINT: f64 = CONTACT.range.nominal.get();
