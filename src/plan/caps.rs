//! Exposed contacts that are live, and which of them to cap.
//!
//! Comes in: the setups with power that a plan needs while plugs are off. Goes out: the same with caps on
//! every contact that is live in any of them and probed in none. Why: caps go on while power is isolated, so
//! they must serve until it is isolated again; and what is capped can neither be touched nor bridged.
//!
//! Cost: one solution for each setup.

use std::collections::BTreeSet;

use super::power::Supplied;
use crate::circuit::{Corner, Operating, Unsettled, solve};
use crate::definition::{ContactId, Harness, Point};
use crate::measure::Situation;
use crate::netlist::Netlist;
use crate::setup::{Connected, Power, Setup, hazard_at};
use crate::units::Volts;

/// From this voltage against the chassis an exposed contact counts as live: common practice.
const LIVE: f64 = 1.0;

/// Exposed contacts that are live: those of open plugs, and those of connectors without a mate in which no
/// part sits. What is capped is not exposed.
pub(super) fn live(situation: &Situation<'_>) -> Vec<(Point, Volts)> {
    let Situation { harness, netlist, setup, .. } = situation;
    let contacts = exposed(harness, netlist, setup, situation.healthy());
    contacts.into_iter().map(|(contact, volts)| (Point::Contact(contact), volts)).collect()
}

fn exposed(
    harness: &Harness,
    netlist: &Netlist,
    setup: &Setup,
    machine: &Operating,
) -> Vec<(ContactId, Volts)> {
    if setup.power() == Power::Isolated || setup.parted().len() == 0 {
        return Vec::new();
    }
    let volts = |contact: ContactId| {
        let volts = machine.volts_between(harness.point_index(Point::Contact(contact)), netlist.chassis());
        (volts.abs() >= LIVE).then_some((contact, Volts::new(volts)))
    };
    let open = harness.contacts.ids().filter(|contact| setup.is_exposed(harness, *contact));
    open.filter_map(volts).collect()
}

/// The setups with caps on.
///
/// # Errors
/// The parts that keep switching, if the machine never settles.
pub(super) fn capped(
    harness: &Harness,
    netlist: &Netlist,
    supplied: Vec<Supplied>,
) -> Result<Vec<Supplied>, Unsettled> {
    let mut caps: BTreeSet<ContactId> = BTreeSet::new();
    for (setup, _) in &supplied {
        let machine = solve(harness, netlist, setup, &[], Corner::Nominal)?;
        caps.extend(exposed(harness, netlist, setup, &machine).into_iter().map(|(contact, _)| contact));
    }
    let probed: BTreeSet<Point> = supplied.iter().flat_map(|(_, pairs)| pairs).flatten().copied().collect();
    // Nobody's hands belong at a contact with a hazard mark, not even to cap it.
    caps.retain(|contact| {
        let point = Point::Contact(*contact);
        !probed.contains(&point) && hazard_at(harness, point).is_none()
    });
    let with_caps = |(setup, pairs): Supplied| match setup {
        Setup::Connected(setup) => (with_caps(harness, setup, &caps).into(), pairs),
        other => (other, pairs),
    };
    Ok(supplied.into_iter().map(with_caps).collect())
}

fn with_caps(harness: &Harness, setup: Connected, caps: &BTreeSet<ContactId>) -> Connected {
    let conditions: Vec<_> = Setup::from(setup.clone()).conditions().collect();
    let isolated = caps.iter().fold(setup.isolate(harness), |setup, contact| setup.cap(harness, *contact));
    conditions.into_iter().fold(isolated.connect(), Connected::bring)
}
