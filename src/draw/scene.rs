//! Positioned items: what a drawing consists of before it becomes SVG.
//!
//! Comes in: nothing; layouts build scenes. Goes out: circles, rectangles, paths, texts and groups
//! at places. Why: a test can ask a scene where things are, and an exporter only has to walk it.
//!
//! Units are CSS pixels, x to the right and y **down**. Looks come from classes alone.

use super::text::{Weight, text_width};

/// A place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// To the right.
    pub x: f64,
    /// Down.
    pub y: f64,
}

/// Short for a [`Point`].
pub(super) const fn at(x: f64, y: f64) -> Point {
    Point { x, y }
}

/// An upright rectangle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    /// Its left edge.
    pub left: f64,
    /// Its upper edge.
    pub top: f64,
    /// Its right edge.
    pub right: f64,
    /// Its lower edge.
    pub bottom: f64,
}

impl Area {
    /// From its edges.
    pub const fn new(left: f64, top: f64, right: f64, bottom: f64) -> Self {
        Self { left, top, right, bottom }
    }

    /// A square around a point.
    pub fn around(centre: Point, reach: f64) -> Self {
        Self::new(centre.x - reach, centre.y - reach, centre.x + reach, centre.y + reach)
    }

    /// Its width.
    pub fn width(&self) -> f64 {
        self.right - self.left
    }

    /// Its height.
    pub fn height(&self) -> f64 {
        self.bottom - self.top
    }

    /// The smallest area that holds both.
    #[must_use]
    pub fn with(self, other: Self) -> Self {
        Self::new(
            self.left.min(other.left),
            self.top.min(other.top),
            self.right.max(other.right),
            self.bottom.max(other.bottom),
        )
    }

    /// The same area elsewhere.
    #[must_use]
    pub fn moved(self, dx: f64, dy: f64) -> Self {
        Self::new(self.left + dx, self.top + dy, self.right + dx, self.bottom + dy)
    }

    /// The same area, larger by `by` on each side.
    #[must_use]
    pub fn grown(self, by: f64) -> Self {
        Self::new(self.left - by, self.top - by, self.right + by, self.bottom + by)
    }

    /// Whether the two share more than an edge.
    pub fn overlaps(&self, other: &Self) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }

    /// Its four corners.
    pub fn corners(&self) -> [Point; 4] {
        [
            at(self.left, self.top),
            at(self.right, self.top),
            at(self.right, self.bottom),
            at(self.left, self.bottom),
        ]
    }
}

/// Which point of a text stands at its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// Its left end.
    Start,
    /// Its middle.
    Middle,
    /// Its right end.
    End,
}

/// Height of DejaVu Sans above and below the baseline, in ems.
pub(super) const ASCENT: f64 = 0.928;
pub(super) const DESCENT: f64 = 0.236;

/// Two drawings stand side by side up to this width.
const WIDEST_PAIR: f64 = 1800.0;

/// One line of text.
#[derive(Debug, Clone, PartialEq)]
pub struct Text {
    /// Where its baseline is anchored.
    pub at: Point,
    /// What of it stands there.
    pub anchor: Anchor,
    /// Letter size.
    pub size: f64,
    /// Letter weight.
    pub weight: Weight,
    /// Looks.
    pub class: &'static str,
    /// The line itself.
    pub text: String,
}

impl Text {
    /// The area it covers, by the table of widths and the font's own height of a line, from the top of an
    /// accented capital to the foot of a descender: what a browser calls its box.
    pub fn area(&self) -> Area {
        let width = text_width(&self.text, self.size, self.weight);
        let left = match self.anchor {
            Anchor::Start => self.at.x,
            Anchor::Middle => self.at.x - width / 2.0,
            Anchor::End => self.at.x - width,
        };
        Area::new(left, self.at.y - ASCENT * self.size, left + width, self.at.y + DESCENT * self.size)
    }
}

/// One step of a path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Step {
    /// Lift the pen to here.
    Move(Point),
    /// A straight line to here.
    Line(Point),
    /// An arc of this radius to here, the short way, clockwise on the page.
    Arc(f64, Point),
    /// Back to where the pen was last put down.
    Close,
}

/// Items that belong together.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// Looks.
    pub class: &'static str,
    /// Data attributes, without their `data-`.
    pub data: Vec<(&'static str, String)>,
    /// What it is, in words, for a pointer that rests on it.
    pub title: Option<String>,
    /// What is in it.
    pub items: Vec<Item>,
}

/// One thing on the page.
#[derive(Debug, Clone, PartialEq)]
pub enum Item {
    /// A circle.
    Circle {
        /// Its centre.
        centre: Point,
        /// Its radius.
        radius: f64,
        /// Looks.
        class: &'static str,
    },
    /// An upright rectangle.
    Rect {
        /// Where.
        area: Area,
        /// Radius of its corners.
        rounding: f64,
        /// Looks.
        class: &'static str,
    },
    /// Lines and arcs.
    Path {
        /// How the pen goes.
        steps: Vec<Step>,
        /// Looks.
        class: &'static str,
    },
    /// A line of text.
    Text(Text),
    /// Items that belong together.
    Group(Group),
}

impl Item {
    /// The area it covers: for paths, that of their points.
    pub fn area(&self) -> Option<Area> {
        match self {
            Self::Circle { centre, radius, .. } => Some(Area::around(*centre, *radius)),
            Self::Rect { area, .. } => Some(*area),
            Self::Path { steps, .. } => steps
                .iter()
                .filter_map(|s| match s {
                    Step::Move(p) | Step::Line(p) | Step::Arc(_, p) => Some(Area::around(*p, 0.0)),
                    Step::Close => None,
                })
                .reduce(Area::with),
            Self::Text(text) => Some(text.area()),
            Self::Group(group) => area_of(&group.items),
        }
    }

    /// The same item elsewhere.
    #[must_use]
    pub fn moved(self, dx: f64, dy: f64) -> Self {
        let shift = |p: Point| at(p.x + dx, p.y + dy);
        match self {
            Self::Circle { centre, radius, class } => Self::Circle { centre: shift(centre), radius, class },
            Self::Rect { area, rounding, class } => Self::Rect { area: area.moved(dx, dy), rounding, class },
            Self::Path { steps, class } => {
                let step = |s| match s {
                    Step::Move(p) => Step::Move(shift(p)),
                    Step::Line(p) => Step::Line(shift(p)),
                    Step::Arc(r, p) => Step::Arc(r, shift(p)),
                    Step::Close => Step::Close,
                };
                Self::Path { steps: steps.into_iter().map(step).collect(), class }
            }
            Self::Text(text) => Self::Text(Text { at: shift(text.at), ..text }),
            Self::Group(group) => {
                let items = group.items.into_iter().map(|i| i.moved(dx, dy)).collect();
                Self::Group(Group { items, ..group })
            }
        }
    }
}

/// The area that a number of items cover together.
pub(super) fn area_of(items: &[Item]) -> Option<Area> {
    items.iter().filter_map(Item::area).reduce(Area::with)
}

/// A drawing.
#[derive(Debug, Clone, PartialEq)]
pub struct Scene {
    /// What it shows, in a few words.
    pub title: String,
    /// What it shows, for someone who cannot see it.
    pub desc: String,
    /// Its width.
    pub width: f64,
    /// Its height.
    pub height: f64,
    /// What is on it, back to front.
    pub items: Vec<Item>,
}

impl Scene {
    /// Every line of text on the page.
    pub fn texts(&self) -> Vec<&Text> {
        let mut found = Vec::new();
        visit(&self.items, &mut |item| {
            if let Item::Text(text) = item {
                found.push(text);
            }
        });
        found
    }

    /// This drawing and another as one: side by side where that is not too wide, else one below the
    /// other.
    #[must_use]
    pub fn with(self, other: Self) -> Self {
        let across = self.width + other.width <= WIDEST_PAIR;
        let (dx, dy) = if across { (self.width, 0.0) } else { (0.0, self.height) };
        self.joined(other, dx, dy)
    }

    /// This drawing and another below it as one.
    #[must_use]
    pub fn above(self, other: Self) -> Self {
        let dy = self.height;
        self.joined(other, 0.0, dy)
    }

    /// The drawing in pieces from the top down, none higher than `highest` where it can be cut so that nothing is
    /// cut but lines and what is higher than a piece.
    #[must_use]
    pub fn cut(&self, highest: f64) -> Vec<Self> {
        let mut solid = Vec::new();
        visit(&self.items, &mut |item| {
            // What belongs together stays together, but for what is too high for any piece.
            let is_line = matches!(item, Item::Path { .. });
            let too_high = |area: &Area| area.height() > 0.6 * highest;
            solid.extend(item.area().filter(|area| !is_line && !too_high(area)));
        });
        let free = |y: f64| !solid.iter().any(|area| area.top < y && y < area.bottom);
        let mut pieces = Vec::new();
        let mut top = 0.0;
        while self.height - top > highest {
            let mut lower =
                (0..).map(|n| top + highest - f64::from(n)).take_while(|y| *y > top + highest * 0.3);
            let bottom = lower.find(|y| free(*y)).unwrap_or(top + highest);
            pieces.push(self.piece(top, bottom));
            top = bottom;
        }
        pieces.push(self.piece(top, self.height));
        pieces
    }

    /// What lies between two heights.
    fn piece(&self, top: f64, bottom: f64) -> Self {
        let mut items = Vec::new();
        visit(&self.items, &mut |item| {
            let reaches = |area: Area| area.top < bottom && area.bottom > top;
            if !matches!(item, Item::Group(_)) && item.area().is_some_and(reaches) {
                items.push(item.clone().moved(0.0, -top));
            }
        });
        let (title, desc) = (self.title.clone(), if top > 0.0 { String::new() } else { self.desc.clone() });
        Self { title, desc, width: self.width, height: bottom - top, items }
    }

    fn joined(self, other: Self, dx: f64, dy: f64) -> Self {
        let (width, height) = (self.width.max(dx + other.width), self.height.max(dy + other.height));
        let paper = Item::Rect { area: Area::new(0.0, 0.0, width, height), rounding: 0.0, class: "paper" };
        let moved = other.items.into_iter().map(|item| item.moved(dx, dy));
        let items = std::iter::once(paper).chain(self.items).chain(moved).collect();
        let title = format!("{}; {}", self.title, other.title);
        Self { title, desc: format!("{} {}", self.desc, other.desc), width, height, items }
    }

    /// Every group that carries data, outermost first.
    pub fn groups(&self) -> Vec<&Group> {
        let mut found = Vec::new();
        visit(&self.items, &mut |item| {
            if let Item::Group(group) = item {
                found.push(group);
            }
        });
        found.retain(|g| !g.data.is_empty());
        found
    }
}

fn visit<'a>(items: &'a [Item], look: &mut impl FnMut(&'a Item)) {
    for item in items {
        look(item);
        if let Item::Group(group) = item {
            visit(&group.items, look);
        }
    }
}

/// Short for a line of text; its class is `ink` where nothing else is said.
pub(super) fn line(place: Point, size: f64, text: impl Into<String>) -> Text {
    let (anchor, weight) = (Anchor::Start, Weight::Regular);
    Text { at: place, anchor, size, weight, class: "ink", text: text.into() }
}

impl Text {
    pub(super) fn bold(self) -> Self {
        Self { weight: Weight::Bold, ..self }
    }

    pub(super) fn class(self, class: &'static str) -> Self {
        Self { class, ..self }
    }

    pub(super) fn anchor(self, anchor: Anchor) -> Self {
        Self { anchor, ..self }
    }
}

/// Short for a path of straight lines.
pub(super) fn polyline(points: &[Point], closed: bool, class: &'static str) -> Item {
    let pen = |(nth, p): (usize, &Point)| if nth == 0 { Step::Move(*p) } else { Step::Line(*p) };
    let mut steps: Vec<Step> = points.iter().enumerate().map(pen).collect();
    if closed {
        steps.push(Step::Close);
    }
    Item::Path { steps, class }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn touching_areas_do_not_overlap() {
        let a = Area::new(0.0, 0.0, 2.0, 2.0);
        assert!(!a.overlaps(&a.moved(2.0, 0.0)));
        assert!(a.overlaps(&a.moved(1.9, -1.9)));
    }

    #[test]
    fn a_text_covers_its_letters_around_its_anchor() {
        let text = line(at(10.0, 20.0), 10.0, "88");
        let width = 2.0 * 13030.0 / 2048.0;
        assert!((text.area().width() - width).abs() < 1e-9);
        assert!((text.clone().anchor(Anchor::Middle).area().left - (10.0 - width / 2.0)).abs() < 1e-9);
        assert!((text.anchor(Anchor::End).area().right - 10.0).abs() < 1e-9);
    }

    #[test]
    fn two_drawings_share_a_sheet_without_overlap() {
        let scene = |width: f64| Scene {
            title: "t".to_owned(),
            desc: "d.".to_owned(),
            width,
            height: 50.0,
            items: vec![Item::Circle { centre: at(5.0, 5.0), radius: 5.0, class: "" }],
        };
        let place = |pair: &Scene| pair.items[2].area().unwrap();
        let pair = scene(600.0).with(scene(700.0));
        assert_eq!((pair.width.round(), pair.height.round(), place(&pair).left), (1300.0, 50.0, 600.0));
        let pair = scene(1200.0).with(scene(700.0));
        assert_eq!((pair.width.round(), pair.height.round(), place(&pair).top), (1200.0, 100.0, 50.0));
    }

    #[test]
    fn a_cut_goes_through_lines_alone_and_loses_nothing() {
        let words = (0..30).map(|nth| Item::Text(line(at(0.0, 20.0 + 17.0 * f64::from(nth)), 12.0, "word")));
        let rule = polyline(&[at(5.0, 0.0), at(5.0, 540.0)], false, "thin");
        let items = words.chain([rule]).collect();
        let (title, desc) = (String::new(), "d.".to_owned());
        let scene = Scene { title, desc, width: 50.0, height: 540.0, items };
        let pieces = scene.cut(100.0);
        assert!(pieces.len() >= 6, "{}", pieces.len());
        assert_eq!(pieces.iter().map(|piece| piece.texts().len()).sum::<usize>(), 30);
        for piece in &pieces {
            assert!(piece.height <= 100.0);
            let whole = |text: &&Text| text.area().top >= 0.0 && text.area().bottom <= piece.height;
            assert!(piece.texts().iter().all(whole));
            assert!(piece.items.iter().any(|item| matches!(item, Item::Path { .. })), "the line goes on");
        }
        assert!((pieces.iter().map(|piece| piece.height).sum::<f64>() - 540.0).abs() < 1e-9);
    }

    #[test]
    fn moving_a_group_moves_all_of_it() {
        let circle = Item::Circle { centre: at(1.0, 1.0), radius: 1.0, class: "" };
        let path = polyline(&[at(0.0, 0.0), at(4.0, 1.0)], true, "");
        let group =
            Item::Group(Group { class: "", data: Vec::new(), title: None, items: vec![circle, path] });
        assert_eq!(group.moved(5.0, 7.0).area(), Some(Area::new(5.0, 7.0, 9.0, 9.0)));
    }
}
