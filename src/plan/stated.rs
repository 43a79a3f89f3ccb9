//! Readings that nobody has to look for: across sources, at the supplies of units, and what the maker demands.

use super::Scope;
use super::select::Chosen;
use crate::definition::{Kind, Limit, PartKind, Point};
use crate::measure::Situation;
use crate::setup::Power;

/// Every source across its posts; for some plugs or one circuit the batteries are enough.
pub(super) fn sources(situation: &Situation<'_>, scope: &Scope) -> Vec<Chosen> {
    let harness = situation.harness;
    let mut chosen = Vec::new();
    for part in harness.parts.values() {
        let (PartKind::Battery { plus, minus, .. } | PartKind::Alternator { plus, minus, .. }) = part.kind
        else {
            continue;
        };
        if !scope.is_whole() && !matches!(part.kind, PartKind::Battery { .. }) {
            continue;
        }
        if let Ok(measurement) = situation.measure(Kind::Voltage, plus, minus) {
            let purpose = format!("{} {}", part.kind.word(), part.id);
            chosen.push(Chosen { measurement, purpose, moved: None });
        }
    }
    chosen
}

/// Supplies and conditions of units at their open plugs.
pub(super) fn supplies(situation: &Situation<'_>, pairs: &[[Point; 2]]) -> Vec<Chosen> {
    let take = |[red, black]: &[Point; 2]| {
        let measurement = situation.measure(Kind::Voltage, *red, *black).ok()?;
        let signal = match red {
            Point::Contact(id) => situation.harness.contacts[*id].signal.clone(),
            _ => None,
        };
        let purpose = signal.unwrap_or_else(|| "supply and return".to_owned());
        Some(Chosen { measurement, purpose, moved: None })
    };
    pairs.iter().filter_map(take).collect()
}

/// What the maker demands in this setup.
pub(super) fn limits(situation: &Situation<'_>) -> Vec<Chosen> {
    let isolated = situation.setup.power() == Power::Isolated;
    let here = situation.harness.limits.iter().filter(|limit| {
        limit.kind.is_resistance() == isolated
            && limit.unplugged.iter().copied().eq(situation.setup.parted())
            && limit.set.iter().copied().eq(situation.setup.set())
            && limit.conditions.iter().copied().eq(situation.setup.conditions())
    });
    let take = |limit: &Limit| {
        let measurement = situation.measure(limit.kind, limit.red, limit.black).ok()?;
        Some(Chosen { measurement, purpose: limit.title.clone(), moved: None })
    };
    here.filter_map(take).collect()
}
