//! A scene as SVG text.
//!
//! Comes in: a [`Scene`]. Goes out: one self-contained SVG, the same bytes for the same scene. Why:
//! this is the only page that knows SVG, so that rounding, escaping and colours are settled once.
//!
//! Every number goes through one rounding function. Texts and data are cleaned of control and
//! direction marks and escaped. No comments are written, since comment text cannot be escaped.

use svg::node::Text as Characters;
use svg::node::element::Element;

use super::scene::{Anchor, Group, Item, Point, Scene, Step, Text};
use super::text::{Weight, clean};

/// Colours and strokes; light, dark and print from one set of variables.
const STYLE: &str = include_str!("style.css");

/// In which colours a drawing appears.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Look {
    /// As the reader's screen or printer asks for.
    #[default]
    AsAsked,
    /// Light, on a screen and on paper.
    Light,
    /// Dark, on a screen and on paper.
    Dark,
    /// For print, on a screen too.
    Print,
}

/// How a scene is written out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SvgOptions {
    /// The colours.
    pub look: Look,
    /// Whether the drawing carries its style sheet. A page with many drawings holds [`style_sheet`] once
    /// instead, and leaves it out of each.
    pub with_style_sheet: bool,
}

impl Default for SvgOptions {
    fn default() -> Self {
        Self { look: Look::default(), with_style_sheet: true }
    }
}

/// The style sheet of all drawings, on one line. It names nothing outside of drawings, and holds no
/// character that XML or HTML would take for markup.
pub fn style_sheet(look: Look) -> String {
    const DARK: &str = "@media (prefers-color-scheme:dark)";
    const PRINT: &str = "@media print";
    let style = STYLE.replace('\n', " ");
    match look {
        Look::AsAsked => style,
        Look::Light => style.replace(DARK, "@media not all").replace(PRINT, "@media not all"),
        Look::Dark => style.replace(DARK, "@media all").replace(PRINT, "@media not all"),
        Look::Print => style.replace(DARK, "@media not all").replace(PRINT, "@media all"),
    }
}

/// The scene as SVG that stands by itself, in the colours its reader asks for.
pub fn to_svg(scene: &Scene) -> String {
    to_svg_with(scene, SvgOptions::default())
}

/// The scene as SVG.
pub fn to_svg_with(scene: &Scene, options: SvgOptions) -> String {
    let (width, height) = (number(scene.width), number(scene.height));
    let mut root = Element::new("svg");
    set(&mut root, "xmlns", "http://www.w3.org/2000/svg");
    set(&mut root, "class", "ringout-drawing");
    set(&mut root, "role", "img");
    set(&mut root, "viewBox", &format!("0 0 {width} {height}"));
    set(&mut root, "width", &width);
    set(&mut root, "height", &height);
    add(&mut root, wording("title", &scene.title));
    add(&mut root, wording("desc", &scene.desc));
    if options.with_style_sheet {
        add(&mut root, wording("style", &style_sheet(options.look)));
    }
    for item in &scene.items {
        add(&mut root, element(item));
    }
    format!("{root}\n")
}

/// Two decimals, no trailing noughts.
fn number(value: f64) -> String {
    rounded(value, 2)
}

/// The one place where a number of a drawing becomes text: so many decimals, but for trailing noughts.
pub(super) fn rounded(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let text = if decimals > 0 { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

fn element(item: &Item) -> Element {
    match item {
        Item::Circle { centre, radius, class } => shape(
            "circle",
            class,
            &[("cx", number(centre.x)), ("cy", number(centre.y)), ("r", number(*radius))],
        ),
        Item::Rect { area, rounding, class } => shape(
            "rect",
            class,
            &[
                ("x", number(area.left)),
                ("y", number(area.top)),
                ("width", number(area.width())),
                ("height", number(area.height())),
                ("rx", number(*rounding)),
            ],
        ),
        Item::Path { steps, class } => shape("path", class, &[("d", path(steps))]),
        Item::Text(text) => line(text),
        Item::Group(group) => gathered(group),
    }
}

fn shape(name: &str, class: &str, attributes: &[(&str, String)]) -> Element {
    let mut made = Element::new(name);
    set(&mut made, "class", class);
    for (name, value) in attributes {
        set(&mut made, name, value);
    }
    made
}

fn path(steps: &[Step]) -> String {
    let pair = |p: &Point| format!("{} {}", number(p.x), number(p.y));
    let word = |step: &Step| match step {
        Step::Move(p) => format!("M{}", pair(p)),
        Step::Line(p) => format!("L{}", pair(p)),
        Step::Arc(r, p) => format!("A{0} {0} 0 0 1 {1}", number(*r), pair(p)),
        Step::Close => "Z".to_owned(),
    };
    steps.iter().map(word).collect::<Vec<_>>().join(" ")
}

fn line(text: &Text) -> Element {
    let mut made = wording("text", &text.text);
    let class =
        if text.weight == Weight::Bold { format!("{} bold", text.class) } else { text.class.to_owned() };
    set(&mut made, "class", &class);
    set(&mut made, "x", &number(text.at.x));
    set(&mut made, "y", &number(text.at.y));
    set(&mut made, "font-size", &number(text.size));
    match text.anchor {
        Anchor::Start => {}
        Anchor::Middle => set(&mut made, "text-anchor", "middle"),
        Anchor::End => set(&mut made, "text-anchor", "end"),
    }
    made
}

fn gathered(group: &Group) -> Element {
    let mut made = Element::new("g");
    set(&mut made, "class", group.class);
    for (name, value) in &group.data {
        set(&mut made, &format!("data-{name}"), &clean(value));
    }
    if let Some(title) = &group.title {
        add(&mut made, wording("title", title));
    }
    for item in &group.items {
        add(&mut made, element(item));
    }
    made
}

/// An element with nothing but text in it.
pub(super) fn wording(name: &str, text: &str) -> Element {
    let mut made = Element::new(name);
    add(&mut made, Characters::new(clean(text)));
    made
}

pub(super) fn set(element: &mut Element, name: &str, value: &str) {
    element.get_attributes_mut().insert(name.to_owned(), value.into());
}

pub(super) fn add(element: &mut Element, child: impl Into<Box<dyn svg::Node>>) {
    element.get_children_mut().push(child.into());
}

#[cfg(test)]
mod tests {
    use super::super::scene::{Area, at, line, polyline};
    use super::*;

    fn scene(text: &str) -> Scene {
        let group = Group {
            class: "contact",
            data: vec![("contact", text.to_owned())],
            title: Some(text.to_owned()),
            items: vec![Item::Text(line(at(1.0, 2.0), 10.0, text))],
        };
        Scene {
            title: text.to_owned(),
            desc: text.to_owned(),
            width: 100.0,
            height: 50.004,
            items: vec![
                Item::Rect { area: Area::new(-0.001, 0.0, 100.0, 50.0), rounding: 0.0, class: "paper" },
                polyline(&[at(1.0 / 3.0, 2.0), at(2.0 / 3.0, 1e-9)], true, "thin"),
                Item::Group(group),
            ],
        }
    }

    #[test]
    fn numbers_have_two_decimals_at_most() {
        assert_eq!(number(1.0 / 3.0), "0.33");
        assert_eq!(number(-0.001), "0");
        assert_eq!(number(10.0), "10");
        assert_eq!(number(-2.5), "-2.5");
        let text = to_svg(&scene("a"));
        assert!(text.contains("M0.33 2 L0.67 0 Z"), "{text}");
        assert!(text.contains(r#"height="50""#));
    }

    #[test]
    fn hostile_text_stays_text() {
        let hostile = "<script>alert('1')</script> \"&--><!-- \u{202e}\u{0}\u{7}\u{ffff}]]>";
        let text = to_svg(&scene(hostile));
        let read = roxmltree::Document::parse(&text).unwrap();
        assert!(!read.descendants().any(|n| n.has_tag_name("script") || n.is_comment()));
        let expected = "<script>alert('1')</script> \"&--><!-- ]]>";
        let drawn = read.descendants().find(|n| n.tag_name().name() == "text").unwrap();
        assert_eq!(drawn.text(), Some(expected));
        let group = read.descendants().find(|n| n.attribute("data-contact").is_some()).unwrap();
        assert_eq!(group.attribute("data-contact"), Some(expected));
    }

    #[test]
    fn an_image_with_a_name_for_those_who_cannot_see_it() {
        let text = to_svg(&scene("Face of P1"));
        let read = roxmltree::Document::parse(&text).unwrap();
        let root = read.root_element();
        assert_eq!(root.attribute("role"), Some("img"));
        let first = root.first_element_child().unwrap();
        assert_eq!((first.tag_name().name(), first.text()), ("title", Some("Face of P1")));
        assert!(root.children().any(|n| n.tag_name().name() == "desc"));
    }

    #[test]
    fn the_same_scene_gives_the_same_bytes() {
        assert_eq!(to_svg(&scene("x")), to_svg(&scene("x")));
    }

    #[test]
    fn a_style_sheet_may_be_fixed_or_left_out() {
        for c in ['<', '>', '&', '"'] {
            assert!(!style_sheet(Look::AsAsked).contains(c), "{c}");
        }
        let left_out =
            to_svg_with(&scene("x"), SvgOptions { with_style_sheet: false, ..SvgOptions::default() });
        assert!(!left_out.contains("<style>") && to_svg(&scene("x")).contains("<style>"));
        let applies = |look| style_sheet(look).matches("@media all").count();
        assert_eq!([Look::AsAsked, Look::Light, Look::Dark, Look::Print].map(applies), [0, 0, 1, 1]);
        assert!(!style_sheet(Look::Dark).contains("prefers-color-scheme"));
    }

    /// WCAG 2.1: relative luminance and contrast.
    fn contrast(a: &str, b: &str) -> f64 {
        let luminance = |hex: &str| {
            let part = |at: usize| {
                let c = f64::from(u8::from_str_radix(&hex[at..at + 2], 16).unwrap()) / 255.0;
                if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
            };
            0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
        };
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn letters_stand_out_in_light_dark_and_print() {
        let sets: Vec<_> = STYLE.lines().filter(|l| l.contains("--paper:")).collect();
        assert_eq!(sets.len(), 3);
        for set in sets {
            let value = |name: &str| {
                let from = set.find(&format!("{name}:#")).unwrap() + name.len() + 1;
                &set[from..from + 7]
            };
            for ground in ["--paper", "--plate", "--field"] {
                for letters in ["--ink", "--soft", "--red", "--good", "--doubt", "--route"] {
                    let found = contrast(value(ground), value(letters));
                    assert!(found >= 4.5, "{letters} on {ground}: {found} in {set}");
                }
                assert!(contrast(value(ground), value("--rule")) >= 2.5);
            }
        }
    }
}
