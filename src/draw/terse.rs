//! A scene as SVG in few bytes, for a page that holds hundreds.
//!
//! Comes in: a [`Scene`]. Goes out: SVG without a style sheet, for a page that has it; or its items alone, for others to
//! refer to. Why: the job pack of a large machine must stay small enough to be mailed.
//!
//! Groups, which tell programs and pointers what they are, are dissolved: the description tells all of it. Items that
//! look alike are gathered, so that their looks are written once, and lines among them are drawn in one go. An item is
//! only ever moved back past others that it does not touch: the picture stays the same.

use std::collections::BTreeMap;

use svg::node::element::Element;

use super::scene::{Anchor, Area, Item, Point, Scene, Step, Text};
use super::svg::{add, rounded, set, wording};
use super::text::Weight;

/// The scene as SVG inside HTML, which needs the page's style sheet.
pub fn to_terse_svg(scene: &Scene) -> String {
    let (width, height) = (number(scene.width), number(scene.height));
    let mut root = Element::new("svg");
    set(&mut root, "class", "ringout-drawing");
    set(&mut root, "role", "img");
    set(&mut root, "viewBox", &format!("0 0 {width} {height}"));
    set(&mut root, "width", &width);
    set(&mut root, "height", &height);
    add(&mut root, wording("title", &scene.title));
    if !scene.desc.is_empty() {
        add(&mut root, wording("desc", &scene.desc));
    }
    // The page is paper enough.
    let is_paper = |item: &Item| matches!(item, Item::Rect { class: "paper", .. });
    let first = usize::from(scene.items.first().is_some_and(is_paper));
    written(root, &scene.items[first..])
}

/// Drawings that a page holds once and refers to.
#[derive(Debug, Default)]
pub struct Shared {
    /// The signs of contacts, by their markup around the origin: each under an id of its own.
    signs: BTreeMap<String, String>,
}

impl Shared {
    /// The items of a face under an id, for `use` elements: what it is, is said where it is used. Signs of contacts are
    /// references themselves.
    pub fn face(&mut self, id: &str, scene: &Scene) -> String {
        let (mut plain, mut signs) = (Vec::new(), Vec::new());
        for item in &scene.items {
            self.part(item, &mut plain, &mut signs);
        }
        let mut root = named(id);
        for bin in gathered(&plain) {
            add(&mut root, bin.element());
        }
        for sign in signs {
            add(&mut root, sign);
        }
        joined(&root)
    }

    /// Takes the signs of contacts out.
    fn part(&mut self, item: &Item, plain: &mut Vec<Item>, signs: &mut Vec<Element>) {
        let Item::Group(group) = item else {
            plain.push(item.clone());
            return;
        };
        let Some(Item::Circle { centre, .. }) = group.items.first().filter(|_| group.class == "contact")
        else {
            for item in &group.items {
                self.part(item, plain, signs);
            }
            return;
        };
        let is_text = |item: &Item| matches!(item, Item::Text(_));
        let (texts, sign): (Vec<Item>, Vec<Item>) = group.items.iter().cloned().partition(is_text);
        plain.extend(texts);
        let sign: Vec<Item> = sign.into_iter().map(|item| item.moved(-centre.x, -centre.y)).collect();
        let markup = written(Element::new("g"), &sign);
        let next = format!("sign-{}", self.signs.len());
        let id = self.signs.entry(markup).or_insert(next);
        let mut made = Element::new("use");
        set(&mut made, "href", &format!("#{id}"));
        signs.push(placed(made, &[("x", centre.x), ("y", centre.y)]));
    }

    /// The signs that were referred to.
    pub fn signs(&self) -> String {
        let sign = |(markup, id): (&String, &String)| {
            format!("<g class=\"ringout-drawing\" id=\"{id}\">{}</g>", markup.trim())
        };
        self.signs.iter().map(sign).collect()
    }
}

/// The items of a scene under an id, for `use` elements: what it is, is said where it is used.
pub fn to_shared(id: &str, scene: &Scene) -> String {
    written(named(id), &scene.items)
}

fn named(id: &str) -> Element {
    let mut root = Element::new("g");
    set(&mut root, "class", "ringout-drawing");
    set(&mut root, "id", id);
    root
}

fn written(mut root: Element, items: &[Item]) -> String {
    for bin in gathered(items) {
        add(&mut root, bin.element());
    }
    joined(&root)
}

/// Without line breaks: texts stand on one line, and `<` and `>` in them are escaped, so this meets nothing but markup.
fn joined(root: &Element) -> String {
    root.to_string().replace(">\n<", "><")
}

/// A tenth of a pixel is finer than print.
fn number(value: f64) -> String {
    rounded(value, 1)
}

/// What items must share to be written together.
#[derive(PartialEq)]
enum Look {
    Circle(&'static str),
    Rect(&'static str),
    Path(&'static str),
    /// Class, weight, anchor, size as written.
    Text(&'static str, Weight, Anchor, String),
}

/// Items of one look that are drawn after those of the bin before.
struct Bin<'a> {
    look: Look,
    items: Vec<&'a Item>,
    areas: Vec<Area>,
    all: Area,
}

impl Bin<'_> {
    fn touches(&self, area: &Area) -> bool {
        self.all.overlaps(area) && self.areas.iter().any(|own| own.overlaps(area))
    }
}

/// Classes that draw a stroke and fill nothing, so that overlapping paths in one look as they did.
const STROKES: [&str; 8] = ["line", "thin", "rule", "firm", "leader", "sign", "row-rule", "drop"];

/// How far a stroke reaches beyond its points.
const STROKE: f64 = 0.99;

fn gathered(items: &[Item]) -> Vec<Bin<'_>> {
    let mut bins = Vec::new();
    for item in items {
        gather(item, &mut bins);
    }
    bins
}

fn gather<'a>(item: &'a Item, bins: &mut Vec<Bin<'a>>) {
    let (look, area) = match item {
        Item::Group(group) => {
            for item in &group.items {
                gather(item, bins);
            }
            return;
        }
        Item::Circle { class, .. } => (Look::Circle(class), item.area()),
        Item::Rect { class, rounding, .. } if *rounding > 0.0 => (Look::Rect(class), item.area()),
        Item::Rect { class, .. } | Item::Path { class, .. } => (Look::Path(class), item.area()),
        Item::Text(t) => (Look::Text(t.class, t.weight, t.anchor, number(t.size)), Some(t.area())),
    };
    let Some(area) = area else { return };
    let area = if matches!(look, Look::Text(..)) { area } else { area.grown(STROKE) };
    let alone = matches!(look, Look::Path(class) if !STROKES.contains(&class));
    let mut home = None;
    for (nth, bin) in bins.iter().enumerate().rev() {
        if bin.look == look && !(alone && bin.touches(&area)) {
            home = Some(nth);
            break;
        }
        if bin.touches(&area) {
            break;
        }
    }
    if let Some(bin) = home.and_then(|nth| bins.get_mut(nth)) {
        bin.items.push(item);
        bin.areas.push(area);
        bin.all = bin.all.with(area);
    } else {
        bins.push(Bin { look, items: vec![item], areas: vec![area], all: area });
    }
}

impl Bin<'_> {
    fn element(&self) -> Element {
        if let Look::Path(class) = self.look {
            let mut made = Element::new("path");
            set(&mut made, "class", class);
            let mut pen = Pen::default();
            for item in &self.items {
                pen.item(item);
            }
            set(&mut made, "d", &pen.text);
            return made;
        }
        if let [item] = self.items[..] {
            let mut made = bare(item);
            self.look.write(&mut made);
            return made;
        }
        let mut made = Element::new("g");
        self.look.write(&mut made);
        for item in &self.items {
            add(&mut made, bare(item));
        }
        made
    }
}

impl Look {
    fn write(&self, element: &mut Element) {
        match self {
            Self::Circle(class) | Self::Rect(class) | Self::Path(class) => set(element, "class", class),
            Self::Text(class, weight, anchor, size) => {
                let bold = if *weight == Weight::Bold { " bold" } else { "" };
                set(element, "class", &format!("{class}{bold}"));
                set(element, "font-size", size);
                match anchor {
                    Anchor::Start => {}
                    Anchor::Middle => set(element, "text-anchor", "middle"),
                    Anchor::End => set(element, "text-anchor", "end"),
                }
            }
        }
    }
}

/// An item without its look.
fn bare(item: &Item) -> Element {
    match item {
        Item::Circle { centre, radius, .. } => {
            placed(Element::new("circle"), &[("cx", centre.x), ("cy", centre.y), ("r", *radius)])
        }
        Item::Rect { area, rounding, .. } => placed(
            Element::new("rect"),
            &[
                ("x", area.left),
                ("y", area.top),
                ("width", area.width()),
                ("height", area.height()),
                ("rx", *rounding),
            ],
        ),
        // Half a pixel more or less is not seen in a text.
        Item::Text(Text { at, text, .. }) => {
            placed(wording("text", text), &[("x", at.x.round()), ("y", at.y.round())])
        }
        Item::Path { .. } | Item::Group(_) => Element::new("path"),
    }
}

fn placed(mut element: Element, places: &[(&str, f64)]) -> Element {
    for (name, value) in places {
        set(&mut element, name, &number(*value));
    }
    element
}

/// Draws one path after the other, and lifts only where it must.
#[derive(Default)]
struct Pen {
    text: String,
    at: [String; 2],
    /// Where the last step up or down begins in the text, and whether it leads down.
    upright: Option<(usize, bool)>,
}

impl Pen {
    fn item(&mut self, item: &Item) {
        match item {
            Item::Rect { area, .. } => {
                let [left, top, width, height] =
                    [area.left, area.top, area.width(), area.height()].map(number);
                self.text.push_str(&format!("M{left} {top}h{width}v{height}h-{width}z"));
                self.at = Default::default();
            }
            Item::Path { steps, .. } => {
                for step in steps {
                    self.step(step);
                }
            }
            _ => {}
        }
    }

    fn height(&self) -> f64 {
        self.at[1].parse().unwrap_or(f64::NAN)
    }

    fn step(&mut self, step: &Step) {
        let pair = |p: &Point| [number(p.x), number(p.y)];
        match step {
            Step::Move(p) => {
                let to = pair(p);
                if to != self.at {
                    self.text.push_str(&format!("M{} {}", to[0], to[1]));
                    self.upright = None;
                }
                self.at = to;
            }
            Step::Line(p) => {
                let [x, y] = pair(p);
                let way = (x == self.at[0]).then(|| p.y > self.height());
                match (self.upright, way) {
                    // Straight on: one step instead of two.
                    (Some((from, before)), Some(now)) if before == now => self.text.truncate(from),
                    _ => {}
                }
                let from = self.text.len();
                self.text.push_str(&match (x == self.at[0], y == self.at[1]) {
                    (true, _) => format!("V{y}"),
                    (_, true) => format!("H{x}"),
                    _ => format!("L{x} {y}"),
                });
                self.at = [x, y];
                self.upright = way.map(|down| (from, down));
            }
            Step::Arc(r, p) => {
                let [x, y] = pair(p);
                self.upright = None;
                self.text.push_str(&format!("A{0} {0} 0 0 1 {x} {y}", number(*r)));
                self.at = [x, y];
            }
            Step::Close => {
                self.text.push('z');
                self.at = Default::default();
                self.upright = None;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::scene::{at, line, polyline};
    use super::*;

    fn scene(items: Vec<Item>) -> Scene {
        Scene { title: "t".to_owned(), desc: String::new(), width: 90.0, height: 90.0, items }
    }

    #[test]
    fn what_looks_alike_is_written_once_and_lines_are_drawn_in_one_go() {
        let word = |y: f64| Item::Text(line(at(5.0, y), 11.0, "a<b"));
        let step = |y: f64| polyline(&[at(50.0, y), at(50.0, y + 10.0)], false, "line");
        let text = to_terse_svg(&scene(vec![word(20.0), step(0.0), word(40.0), step(10.0), step(60.0)]));
        assert!(text.contains(r#"<g class="ink" font-size="11">"#), "{text}");
        assert_eq!(text.matches(">a&lt;b</text>").count(), 2, "{text}");
        assert!(text.contains(r#"d="M50 0V20M50 60V70""#), "{text}");
    }

    #[test]
    fn nothing_is_moved_past_what_it_touches() {
        let disc = |x: f64, class| Item::Circle { centre: at(x, 20.0), radius: 6.0, class };
        let text = to_terse_svg(&scene(vec![disc(20.0, "ink"), disc(24.0, "paper"), disc(28.0, "ink")]));
        let order: Vec<usize> = ["\"20\" cy", "\"24\" cy", "\"28\" cy"]
            .iter()
            .map(|place| text.find(&format!("cx={place}")).unwrap())
            .collect();
        assert!(order.is_sorted(), "{text}");
        assert!(!text.contains("<g "), "{text}");
    }
}
