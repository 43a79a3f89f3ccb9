//! What a definition says about how likely faults are, where that differs from the usual.

use std::collections::BTreeMap;

use super::names::Named;

/// A sort of fault that has a weight of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Sort {
    /// A wire is open, for each metre of it.
    WireOpen,
    /// An end of a wire is open.
    TerminationOpen,
    /// A mated contact is open.
    ContactOpen,
    /// A leg of a splice is open.
    SpliceOpen,
    /// A ground bond is open.
    BondOpen,
    /// A conductor has high resistance, as a share of its being open.
    High,
    /// Two wires touch.
    Short,
    /// A wire touches the chassis.
    ShortToChassis,
    /// Two wires are exchanged at a connector.
    Crossed,
    /// A fuse or breaker is open.
    FuseOpen,
    /// A switch is open.
    SwitchOpen,
    /// A relay does not operate.
    StuckReleased,
    /// A relay does not release.
    StuckOperated,
    /// A relay's coil is open.
    CoilOpen,
    /// A load is open.
    LoadOpen,
    /// A load is shorted.
    LoadShort,
    /// A diode is open or shorted.
    Diode,
    /// A unit drives nothing.
    UnitDead,
    /// A source gives nothing.
    SourceFlat,
}

impl Sort {
    /// Every sort with the key it has under `[prior]`.
    pub const ALL: [(&'static str, Self); 19] = [
        ("wire-open", Self::WireOpen),
        ("termination-open", Self::TerminationOpen),
        ("contact-open", Self::ContactOpen),
        ("splice-open", Self::SpliceOpen),
        ("bond-open", Self::BondOpen),
        ("high", Self::High),
        ("short", Self::Short),
        ("short-to-chassis", Self::ShortToChassis),
        ("crossed", Self::Crossed),
        ("fuse-open", Self::FuseOpen),
        ("switch-open", Self::SwitchOpen),
        ("stuck-released", Self::StuckReleased),
        ("stuck-operated", Self::StuckOperated),
        ("coil-open", Self::CoilOpen),
        ("load-open", Self::LoadOpen),
        ("load-short", Self::LoadShort),
        ("diode", Self::Diode),
        ("unit-dead", Self::UnitDead),
        ("source-flat", Self::SourceFlat),
    ];

    /// The key it has under `[prior]`.
    pub fn key(self) -> &'static str {
        Self::ALL.iter().find(|(_, sort)| *sort == self).map_or("", |(key, _)| key)
    }

    /// From its key.
    pub fn parse(key: &str) -> Option<Self> {
        Self::ALL.iter().find(|(known, _)| *known == key).map(|(_, sort)| *sort)
    }
}

/// Weights that a definition gives itself.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Priors {
    /// The weight of a sort of fault, instead of the usual one.
    pub weights: BTreeMap<Sort, f64>,
    /// How many times as likely as usual the faults of a thing are.
    pub times: BTreeMap<Named, f64>,
}

impl Priors {
    /// How many times as likely as usual the faults of a thing are: once, unless the definition says.
    pub fn times(&self, thing: Named) -> f64 {
        self.times.get(&thing).copied().unwrap_or(1.0)
    }
}
