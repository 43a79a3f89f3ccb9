//! Drawings.
//!
//! Comes in: plain views of what is to be drawn, each a struct of its own. Goes out: a [`Scene`] of
//! positioned items, and from it SVG text. Why: layout is worth testing by position and overlap, and
//! only one page should know SVG; so layout ends in the scene and [`to_svg`] only walks it.

mod face;
mod highlight;
mod layout;
mod page;
mod scene;
mod setup;
mod sign;
mod strip;
mod svg;
mod swatch;
mod terse;
mod text;
mod widths;

pub use face::{
    ContactLabel, ContactPlace, ContactState, FaceView, FaceWords, Mark, Side, WireLabel, contact_places,
    face_of, face_scene, face_words, hazard_at, mini_scene, mirrored, plain_scene, probe_mark, signs_scene,
    take_eye,
};
pub use highlight::{Highlights, Share};
pub use layout::{Found, FoundKind, LayoutPlace, LayoutView, Run, layout_of, layout_scene};
pub use scene::{Anchor, Area, Group, Item, Point, Scene, Step, Text};
pub use setup::{Moved, Parted, ProbeAt, Probes, ProbesView, SetupView, probe_at, setup_of, setup_scene};
pub use sign::Sign;
pub use strip::{
    ElementRow, Place, PlaceKind, Stop, StripOptions, StripRow, StripView, Strips, Subject, strip_scene,
    strip_scenes,
};
pub use svg::{Look, SvgOptions, style_sheet, to_svg, to_svg_with};
pub use terse::{Shared, to_shared, to_terse_svg};
pub use text::{Weight, clean, shorten, text_width, wrap};
