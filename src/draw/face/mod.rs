//! The picture of a connector's face.
//!
//! Comes in: a [`FaceView`], which says what each contact carries and which side of which half is
//! looked at. Goes out: a [`Scene`]. Why: the commonest slip at a connector is counting from the
//! wrong side; so the picture says which side it shows, in words, with its key and with an eye.
//!
//! A face's geometry is that of the pin half's mating side. The socket half's mating side and the
//! pin half's wire side are its mirror images; the socket half's wire side is the same again.
//!
//! Where everything about a contact fits beside it, it stands there. On a dense face the names
//! alone do, and a list carries the rest. Which of the two is computed from the widths of the texts.

mod cell;
mod list;
mod mini;
mod of;
mod plain;
mod plate;
mod sheet;
pub(super) mod symbol;

use std::borrow::Cow;

pub use mini::{ContactPlace, contact_places, mini_scene, probe_mark};
pub(super) use of::stamp;
pub use of::{face_of, hazard_at};
pub use plain::{FaceWords, face_words, plain_scene, signs_scene, take_eye};

use super::highlight::Share;
use super::scene::Scene;
use super::text::bounded;
use crate::definition::face::{Face, Half};

/// Which side of a connector is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// The side that meets the other half.
    Mating,
    /// The side the wires come in.
    Wire,
}

/// What is in a cavity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ContactState {
    /// A contact.
    #[default]
    Normal,
    /// Meant to be empty.
    Spare,
    /// A sealing plug.
    Plugged,
}

/// What a drawing points out about a contact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Mark {
    /// Nothing.
    #[default]
    None,
    /// The red probe goes here.
    RedProbe,
    /// The black probe goes here.
    BlackProbe,
    /// A fault is suspected here, with so much of the probability.
    Suspect(Share),
    /// Found good.
    Good,
    /// Found bad.
    Bad,
    /// To be read, and not read yet.
    NotYet,
    /// Not what it was in another revision.
    Changed,
}

/// A wire at a contact.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct WireLabel {
    /// The wire's id.
    pub id: String,
    /// Its colour code: IEC 60757 letters, base/stripe. Empty where not known.
    pub colour: String,
    /// Its size as printed. Empty where not known.
    pub gauge: String,
}

/// What stands at a contact.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ContactLabel {
    /// The contact's name, one of the face's.
    pub name: String,
    /// Other markings of the same contact.
    pub also: Vec<String>,
    /// The wires that end here.
    pub wires: Vec<WireLabel>,
    /// The ids of the parts that attach here without a wire.
    pub parts: Vec<String>,
    /// What it is for.
    pub signal: Option<String>,
    /// What is in the cavity.
    pub state: ContactState,
    /// What is pointed out.
    pub mark: Mark,
}

/// A connector's face as it shall be drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct FaceView<'a> {
    /// The connector's id.
    pub connector: String,
    /// What it is, in words. May be empty.
    pub title: String,
    /// Which half it is, where known.
    pub half: Option<Half>,
    /// Which side is looked at.
    pub side: Side,
    /// The connector it mates with.
    pub mate: Option<String>,
    /// Its arrangement.
    pub face: Cow<'a, Face>,
    /// Whether that arrangement is the connector's. Where it is not, it only orders the contacts: it is
    /// seen from no side and has no mirror image.
    pub geometry_given: bool,
    /// What stands at the contacts. A contact of the face that is left out is drawn without wires;
    /// one that is not on the face stands in the list alone.
    pub contacts: Vec<ContactLabel>,
    /// What must be said before anything else is done at this connector.
    pub cautions: Vec<String>,
    /// Which definition this was drawn from: id, revision and content hash.
    pub stamp: String,
}

/// Draws a connector's face.
pub fn face_scene(view: &FaceView) -> Scene {
    sheet::scene(view, &spots(view))
}

/// Whether that side of that half is the mirror image of the stored geometry, which is the pin
/// half's mating side.
pub fn mirrored(half: Half, side: Side) -> bool {
    (half == Half::Socket) != (side == Side::Wire)
}

/// How a face is drawn where its half is not known; the drawing says so.
const ASSUMED: Half = Half::Pin;

/// A contact with its place on the page.
#[derive(Debug, Clone)]
struct Spot {
    /// Place in millimetres, x to the right and y **down**, as looked at; `None` off the face.
    place: Option<(f64, f64)>,
    label: ContactLabel,
}

fn spots(view: &FaceView) -> Vec<Spot> {
    let turned = view.geometry_given && mirrored(view.half.unwrap_or(ASSUMED), view.side);
    let flip = if turned { -1.0 } else { 1.0 };
    let label = |name: &str| view.contacts.iter().find(|c| c.name == name);
    let on_face = view.face.cavities.iter().map(|cavity| {
        let bare = || ContactLabel { name: cavity.name.clone(), ..ContactLabel::default() };
        let label = label(&cavity.name).cloned().unwrap_or_else(bare);
        Spot { place: Some((cavity.x * flip, -cavity.y)), label: tidy(&label) }
    });
    let off = |c: &&ContactLabel| view.face.position(&c.name).is_none();
    let off_face = view.contacts.iter().filter(off).map(|c| Spot { place: None, label: tidy(c) });
    on_face.chain(off_face).collect()
}

/// The same label with texts that can be drawn: cleaned, and of a bounded length.
fn tidy(label: &ContactLabel) -> ContactLabel {
    let wire = |w: &WireLabel| WireLabel {
        id: bounded(&w.id),
        colour: bounded(&w.colour),
        gauge: bounded(&w.gauge),
    };
    ContactLabel {
        name: bounded(&label.name),
        also: label.also.iter().take(8).map(|a| bounded(a)).collect(),
        wires: label.wires.iter().take(64).map(wire).collect(),
        parts: label.parts.iter().take(8).map(|p| bounded(p)).collect(),
        signal: label.signal.as_deref().map(bounded).filter(|s| !s.trim().is_empty()),
        ..*label
    }
}

/// A contact in one line of words.
fn words(label: &ContactLabel) -> String {
    let mut parts = Vec::new();
    for wire in &label.wires {
        let known = [wire.colour.as_str(), wire.gauge.as_str()].into_iter().filter(|t| !t.is_empty());
        let wire = std::iter::once(format!("wire {}", wire.id)).chain(known.map(str::to_owned));
        parts.push(wire.collect::<Vec<_>>().join(" "));
    }
    parts.extend(label.parts.iter().map(|part| format!("part {part}")));
    parts.extend(label.signal.clone());
    parts.extend(state_word(label.state).map(str::to_owned));
    parts.extend(mark_words(label.mark));
    if parts.is_empty() {
        parts.push("no wire".to_owned());
    }
    format!("{}: {}", label.name, parts.join(", "))
}

fn state_word(state: ContactState) -> Option<&'static str> {
    match state {
        ContactState::Normal => None,
        ContactState::Spare => Some("spare"),
        ContactState::Plugged => Some("plugged"),
    }
}

/// What is said of a contact at which nothing attaches.
fn empty_word(label: &ContactLabel) -> Option<&'static str> {
    let bare = label.wires.is_empty() && label.parts.is_empty();
    state_word(label.state).or_else(|| bare.then_some("no wire"))
}

fn mark_word(mark: Mark) -> Option<&'static str> {
    match mark {
        Mark::None => None,
        Mark::RedProbe => Some("red probe"),
        Mark::BlackProbe => Some("black probe"),
        Mark::Suspect(_) => Some("suspect"),
        Mark::Good => Some("good"),
        Mark::Bad => Some("bad"),
        Mark::NotYet => Some("not yet read"),
        Mark::Changed => Some("changed"),
    }
}

/// A mark in words, with a suspect's share.
fn mark_words(mark: Mark) -> Option<String> {
    match mark {
        Mark::Suspect(share) => Some(format!("suspect, {share}")),
        _ => mark_word(mark).map(str::to_owned),
    }
}

#[cfg(test)]
mod tests;
