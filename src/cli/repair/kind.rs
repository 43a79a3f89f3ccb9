//! What was done in a repair, as arguments name it.

use anyhow::{anyhow, bail};

use super::super::common;
use crate::definition::colour::Colour;
use crate::definition::{Harness, Named, PartId, Point, WireId};
use crate::repair::{NewWire, Work};
use crate::units::{Gauge, Metres, parse};

#[derive(Debug, clap::Subcommand)]
pub(super) enum KindArg {
    /// A wire, from end to end
    #[command(after_help = "\
        Example:\n\
        \x20 ringout repair machine.toml replace-wire 31C --gauge \"1.5 mm2\" --length \"2.4 m\"")]
    ReplaceWire {
        /// The wire
        wire: String,
        /// Size of the new wire, as "1.5 mm2" or "16 AWG"; that of the old one where left out
        #[arg(long, value_name = "SIZE")]
        gauge: Option<String>,
        /// Its colour by IEC 60757: RD/WH; that of the old one where left out
        #[arg(long, value_name = "CODE")]
        colour: Option<String>,
        /// Its length, as "2.4 m"; that of the old one where left out
        #[arg(long, value_name = "LENGTH")]
        length: Option<String>,
    },
    /// A splice put into a wire; what lies beyond it becomes a wire of its own
    #[command(after_help = "\
        Example:\n\
        \x20 ringout repair machine.toml splice 31A --distance \"850 mm\" --from XS2.3 --sealed")]
    Splice {
        /// The wire
        wire: String,
        /// How far from the end that --from names, as "850 mm"
        #[arg(long, value_name = "LENGTH")]
        distance: String,
        /// The end that the distance is counted from; the wire's first where left out
        #[arg(long, value_name = "POINT")]
        from: Option<String>,
        /// The splice's id; the next free one where left out
        #[arg(long, value_name = "ID")]
        id: Option<String>,
        /// Where one stands to reach it; where the nearer end is reached from, where left out
        #[arg(long, value_name = "STATION")]
        station: Option<String>,
        /// Size of the new piece beyond the splice
        #[arg(long, value_name = "SIZE")]
        gauge: Option<String>,
        /// Colour of the new piece beyond the splice
        #[arg(long, value_name = "CODE")]
        colour: Option<String>,
        /// It is an environmental (sealed) splice
        #[arg(long)]
        sealed: bool,
    },
    /// One end of a wire, cut off and made anew
    #[command(after_help = "\
        Example:\n\
        \x20 ringout repair machine.toml re-terminate 31C P1.K --length \"380 mm\"")]
    ReTerminate {
        /// The wire
        wire: String,
        /// The end: a contact, terminal or splice
        point: String,
        /// How long the wire is now, as "2.3 m"; as before where left out
        #[arg(long, value_name = "LENGTH")]
        length: Option<String>,
    },
    /// A contact, replaced
    #[command(after_help = "Example:\n  ringout repair machine.toml replace-contact P1.K")]
    ReplaceContact {
        /// The contact: P1.K
        contact: String,
    },
    /// A contact, pushed back until it locked
    #[command(after_help = "Example:\n  ringout repair machine.toml re-seat P1.K")]
    ReSeat {
        /// The contact: P1.K
        contact: String,
    },
    /// A connector's shell with all its contacts
    #[command(after_help = "Example:\n  ringout repair machine.toml replace-connector P1")]
    ReplaceConnector {
        /// The connector
        connector: String,
    },
    /// From one cavity to a spare one, on both halves of a mating
    #[command(after_help = "Example:\n  ringout repair machine.toml move P1.K P1.L")]
    Move {
        /// The contact that the wire is in
        from: String,
        /// The spare contact of the same connector
        to: String,
    },
    /// Two wires that stood in each other's cavity, put right
    #[command(after_help = "Example:\n  ringout repair machine.toml re-pin P1.A P1.B")]
    RePin {
        /// One contact
        first: String,
        /// The other one, of the same connector
        second: String,
    },
    /// A part, replaced by its like
    #[command(after_help = "Example:\n  ringout repair machine.toml replace-part K1")]
    ReplacePart {
        /// The part
        part: String,
    },
    /// Take a repair back: the old revision holds again
    #[command(after_help = "Example:\n  ringout repair machine.toml undo REP1")]
    Undo {
        /// The entry of the log; the last that holds where left out
        repair: Option<String>,
    },
}

/// What was done, with every name known.
pub(super) fn work(harness: &Harness, kind: &KindArg) -> anyhow::Result<Work> {
    let contact = |name: &String| match common::point(harness, name)? {
        Point::Contact(id) => Ok(id),
        _ => Err(anyhow!("{name} is no contact of a connector")),
    };
    Ok(match kind {
        KindArg::ReplaceWire { wire: id, gauge, colour, length } => Work::ReplaceWire {
            wire: wire(harness, id)?,
            new: new_wire(gauge.as_ref(), colour.as_ref(), length.as_ref())?,
        },
        KindArg::Splice { wire: name, distance, from, id, station, gauge, colour, .. } => {
            let wire = wire(harness, name)?;
            let from = from.as_ref().map_or(Ok(0), |point| end(harness, wire, point))?;
            let new = new_wire(gauge.as_ref(), colour.as_ref(), None)?;
            if let Some(id) = id {
                fit_for_an_id(id)?;
            }
            let (id, station) = (id.clone(), station.clone());
            Work::Splice { wire, from, at: parse::<Metres>(distance)?, id, station, new }
        }
        KindArg::ReTerminate { wire: name, point, length } => {
            let wire = wire(harness, name)?;
            let length = length.as_deref().map(parse::<Metres>).transpose()?;
            Work::Reterminate { wire, end: end(harness, wire, point)?, length }
        }
        KindArg::ReplaceContact { contact: name } => Work::ReplaceContact(contact(name)?),
        KindArg::ReSeat { contact: name } => Work::Reseat(contact(name)?),
        KindArg::ReplaceConnector { connector } => {
            Work::ReplaceConnector(common::connector(harness, connector)?)
        }
        KindArg::Move { from, to } => Work::Move { from: contact(from)?, to: contact(to)? },
        KindArg::RePin { first, second } => Work::Repin(contact(first)?, contact(second)?),
        KindArg::ReplacePart { part } => Work::ReplacePart(self::part(harness, part)?),
        KindArg::Undo { .. } => bail!("an undo is no repair"),
    })
}

fn fit_for_an_id(id: &str) -> anyhow::Result<()> {
    let fit = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '+');
    if id.is_empty() || !id.chars().all(fit) {
        bail!("`{id}` is no id: letters, digits, -, _ and +");
    }
    Ok(())
}

fn wire(harness: &Harness, name: &str) -> anyhow::Result<WireId> {
    if let Some(Named::Wire(id)) = harness.names.get(name) {
        return Ok(id);
    }
    match harness.names.nearest(name, |named| matches!(named, Named::Wire(_))) {
        Some(near) => bail!("no wire is called `{name}`: did you mean `{near}`?"),
        None => bail!("no wire is called `{name}`"),
    }
}

fn part(harness: &Harness, name: &str) -> anyhow::Result<PartId> {
    if let Some(id) = harness.names.part(name) {
        return Ok(id);
    }
    match harness.names.nearest(name, |named| matches!(named, Named::Part(_))) {
        Some(near) => bail!("no part is called `{name}`: did you mean `{near}`?"),
        None => bail!("no part is called `{name}`"),
    }
}

/// Which end of a wire a point is.
fn end(harness: &Harness, wire: WireId, point: &str) -> anyhow::Result<usize> {
    let at = common::point(harness, point)?;
    let own = &harness.wires[wire];
    own.ends.iter().position(|end| *end == at).ok_or_else(|| {
        let [a, b] = own.ends.map(|end| harness.point_name(end));
        anyhow!("wire {} does not end at {point}: its ends are {a} and {b}", own.id)
    })
}

fn new_wire(
    gauge: Option<&String>,
    colour: Option<&String>,
    length: Option<&String>,
) -> anyhow::Result<NewWire> {
    Ok(NewWire {
        gauge: gauge.map(|text| Gauge::parse(text)).transpose()?,
        colour: colour.map(|text| Colour::parse(text)).transpose()?,
        length: length.map(|text| parse::<Metres>(text)).transpose()?,
    })
}
