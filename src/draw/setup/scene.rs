//! The setup on its card.
//!
//! Comes in: a view. Goes out: a scene. Why: always the same order (power, plugs, switches, what must
//! hold, aids, probes), so that a phase is compared with the one before it at a glance.

use super::super::page::{MARGIN, Page};
use super::super::scene::{Anchor, Area, Group, Item, Scene, at, line, polyline};
use super::super::text::{Weight, bounded, shorten, text_width, wrap};
use super::{Moved, Parted, ProbeAt, ProbesView, SetupView};
use crate::setup::Power;

/// The card between its margins: half of an A4 sheet's width prints well, all of it is roomy.
const WIDTH: f64 = 660.0;
/// Where the pictures begin: left of it stand the headings.
const LEFT: f64 = MARGIN + 92.0;
/// Where words beside a picture begin.
const WORDS: f64 = LEFT + 176.0;
const RIGHT: f64 = MARGIN + WIDTH;
/// No more pairs or switches are drawn; the rest is told.
const MOST: usize = 48;
/// So many pairs are drawn large; more of them small and two to a row, for the card to stay small.
const FEW: usize = 6;

/// Draws a setup.
pub fn setup_scene(view: &SetupView) -> Scene {
    let mut page = Page::new(WIDTH);
    let title = if view.title.is_empty() { "Setup" } else { view.title.as_str() };
    page.text(&bounded(title), 16.0, (Weight::Bold, "ink"), WIDTH, 2);
    page.text(&bounded(&view.harness), 11.0, (Weight::Regular, "soft"), WIDTH, 1);
    page.y += 4.0;
    section(&mut page, "Power", |page| power(page, view));
    section(&mut page, "Plugs", |page| plugs(page, view));
    if !view.moved.is_empty() || !view.at_rest.is_empty() {
        section(&mut page, "Switches", |page| switches(page, view));
    }
    if !view.conditions.is_empty() {
        section(&mut page, "Must hold", |page| lines(page, &view.conditions));
    }
    if !view.aids.is_empty() {
        section(&mut page, "Aids", |page| lines(page, &view.aids));
    }
    if let Some(probes) = &view.probes {
        section(&mut page, "Probes", |page| meter(page, probes));
    }
    page.stamp(&view.stamp);
    let desc = desc(view);
    page.finish(format!("Setup: {}", bounded(title)), desc, |items| {
        let data = vec![("setup", view.title.clone()), ("power", view.power.word().to_owned())];
        Group { class: "setup", data, title: None, items }
    })
}

fn desc(view: &SetupView) -> String {
    let mut words = vec![power_words(view)];
    words.extend(view.parted.iter().map(|pair| format!("{} unplugged from {}", pair.plug, pair.other)));
    let switch = |m: &Moved| format!("{} at {}", m.id, m.positions.get(m.at).map_or("", String::as_str));
    words.extend(view.moved.iter().map(switch));
    words.extend(view.conditions.iter().chain(&view.aids).cloned());
    if let Some(probes) = &view.probes {
        words.push(format!("red probe at {}, black probe at {}", probes.red.point, probes.black.point));
    }
    let all = words.iter().map(|w| bounded(w)).collect::<Vec<_>>().join("; ");
    format!("{}.", shorten(&all, 1.0, Weight::Regular, 8000.0))
}

/// A heading at the left, a line above, and what is drawn beside it.
fn section(page: &mut Page, name: &str, draw: impl FnOnce(&mut Page)) {
    page.rule();
    page.y += 10.0;
    let head = line(at(MARGIN, page.y + 15.0), 12.0, name).bold().class("soft");
    page.items.push(Item::Text(head));
    draw(page);
    page.y += 10.0;
}

/// Lines of words in the column beside a picture, or from `left` on.
fn words(page: &mut Page, left: f64, texts: &[(&str, f64, Weight, &'static str)]) {
    for (text, size, weight, class) in texts {
        for text in wrap(&bounded(text), *size, *weight, RIGHT - left, 3) {
            page.y += size + 3.0;
            let mut made = line(at(left, page.y), *size, text).class(class);
            made.weight = *weight;
            page.items.push(Item::Text(made));
        }
    }
}

fn power_words(view: &SetupView) -> String {
    match (view.power, view.batteries.len()) {
        (Power::Isolated, 0) => "no battery: nothing to isolate".to_owned(),
        (Power::Connected, 0) => "power connected".to_owned(),
        (Power::Isolated, _) => "Isolated: both battery leads off, negative first".to_owned(),
        (Power::Connected, _) => "Connected: both battery leads on, negative last".to_owned(),
    }
}

fn power(page: &mut Page, view: &SetupView) {
    let top = page.y;
    for ([id, title], nth) in view.batteries.iter().take(4).zip(0..) {
        let y = top + f64::from(nth) * 50.0;
        page.place(battery(view.power), LEFT, y);
        let name = shorten(&bounded(id), 11.0, Weight::Bold, 50.0);
        page.items
            .push(Item::Text(line(at(LEFT + 30.0, y + 27.0), 11.0, name).bold().anchor(Anchor::Middle)));
        page.y = y;
        if nth == 0 {
            let class = if view.power == Power::Connected { "red" } else { "ink" };
            words(page, WORDS, &[(&power_words(view), 13.0, Weight::Bold, class)]);
        }
        words(page, WORDS, &[(title, 11.0, Weight::Regular, "soft")]);
        page.y = page.y.max(y + 44.0);
    }
    if view.batteries.is_empty() {
        words(page, LEFT, &[(&power_words(view), 13.0, Weight::Regular, "ink")]);
    }
}

/// A battery with its two leads: on their posts, or lying off beside them.
fn battery(power: Power) -> Vec<Item> {
    let mut items = vec![
        Item::Rect { area: Area::new(0.0, 8.0, 60.0, 42.0), rounding: 3.0, class: "cavity" },
        Item::Rect { area: Area::new(8.0, 3.0, 18.0, 8.0), rounding: 0.0, class: "ink" },
        Item::Rect { area: Area::new(42.0, 3.0, 52.0, 8.0), rounding: 0.0, class: "ink" },
    ];
    items.push(Item::Text(line(at(13.0, 39.0), 11.0, "−").bold().anchor(Anchor::Middle)));
    items.push(Item::Text(line(at(47.0, 39.0), 11.0, "+").bold().anchor(Anchor::Middle)));
    let (red, black) = ("ring-red", "ring-ink");
    let lug = |x: f64, y: f64, class| Item::Circle { centre: at(x, y), radius: 4.0, class };
    match power {
        Power::Connected => {
            let corner = |x: f64, y: f64| vec![at(x, 3.0), at(x, y), at(130.0, y)];
            items.push(polyline(&corner(47.0, -2.0), false, red));
            items.push(polyline(&[at(13.0, 3.0), at(13.0, -7.0), at(130.0, -7.0)], false, black));
        }
        Power::Isolated => {
            items.push(polyline(&[at(98.0, 14.0), at(130.0, 14.0)], false, black));
            items.push(lug(94.0, 14.0, black));
            items.push(polyline(&[at(98.0, 34.0), at(130.0, 34.0)], false, red));
            items.push(lug(94.0, 34.0, red));
            items.push(polyline(&[at(74.0, 6.0), at(74.0, 42.0)], false, "drop"));
        }
    }
    items.into_iter().map(|item| item.moved(0.0, 4.0)).collect()
}

fn plugs(page: &mut Page, view: &SetupView) {
    if view.parted.len() > FEW {
        many(page, &view.parted[..view.parted.len().min(MOST)]);
    } else {
        for pair in &view.parted {
            parted(page, pair);
        }
    }
    if view.parted.len() > MOST {
        let more = format!("and {} more pairs parted", view.parted.len() - MOST);
        words(page, LEFT, &[(&more, 12.0, Weight::Bold, "ink")]);
    }
    let stay = match (view.parted.len(), view.together) {
        (0, 0) => "No connectors are mated.".to_owned(),
        (0, _) => "Everything stays plugged in.".to_owned(),
        (_, 0) => "Nothing else is plugged in.".to_owned(),
        (_, 1) => "The 1 other pair stays plugged in.".to_owned(),
        (_, n) => format!("All {n} other pairs stay plugged in."),
    };
    words(page, LEFT, &[(&stay, 12.0, Weight::Regular, "soft")]);
}

/// Two halves apart, with their names inside.
fn halves(pair: &Parted, wide: f64, high: f64, apart: f64) -> Item {
    let half = |left: f64, id: &str| {
        let area = Area::new(left, 2.0, left + wide, 2.0 + high);
        let id = shorten(&bounded(id), 12.0, Weight::Bold, wide - 8.0);
        let name = at(left + wide / 2.0, 2.0 + high / 2.0 + 4.5);
        vec![
            Item::Rect { area, rounding: 3.0, class: "cavity" },
            Item::Text(line(name, 12.0, id).bold().anchor(Anchor::Middle)),
        ]
    };
    let mut items = half(0.0, &pair.plug);
    items.extend(half(wide + apart, &pair.other));
    for nth in [-1.0, 0.0, 1.0] {
        let y = 2.0 + high * (0.5 + 0.23 * nth);
        items.push(polyline(&[at(wide + 0.76 * apart, y), at(wide + apart, y)], false, "thin"));
        items.push(polyline(&[at(wide, y), at(wide + 0.12 * apart, y)], false, "rule"));
    }
    let cut = wide + 0.44 * apart;
    items.push(polyline(&[at(cut, 1.0), at(cut, high + 3.0)], false, "drop"));
    let data = vec![("parted", pair.plug.clone()), ("from", pair.other.clone())];
    Item::Group(Group { class: "parted", data, title: None, items })
}

/// Pairs station by station down two columns of one height, each with what it is. A station that goes on in the second
/// column is named there again.
fn many(page: &mut Page, pairs: &[Parted]) {
    const ROW: f64 = 24.0;
    const HEAD: f64 = 20.0;
    const GAP: f64 = 6.0;
    let column = (RIGHT - LEFT) / 2.0;
    let mut stations: Vec<&str> = Vec::new();
    for pair in pairs {
        if !stations.contains(&pair.station.as_str()) {
            stations.push(&pair.station);
        }
    }
    let half = f64::midpoint(pairs.len() as f64 * ROW, stations.len() as f64 * (HEAD + GAP));
    let top = page.y;
    let (mut x, mut y, mut lowest) = (LEFT, top, top);
    for station in stations {
        let mut named = false;
        for pair in pairs.iter().filter(|pair| pair.station == station) {
            if y - top >= half && x < LEFT + column {
                (x, y, named) = (LEFT + column, top, false);
            }
            let name = shorten(&bounded(station), 11.0, Weight::Bold, column - 10.0);
            if !named && !name.is_empty() {
                page.items.push(Item::Text(line(at(x, y + 14.0), 11.0, name).bold().class("soft")));
                y += HEAD;
            }
            named = true;
            small(page, pair, x, y);
            y += ROW;
            lowest = lowest.max(y + GAP);
        }
        y += GAP;
    }
    page.y = lowest;
}

/// A pair with its title cut to half the card.
fn small(page: &mut Page, pair: &Parted, x: f64, y: f64) {
    const WIDE: f64 = 54.0;
    const APART: f64 = 22.0;
    page.place(vec![halves(pair, WIDE, 18.0, APART)], x, y);
    let from = 2.0 * WIDE + APART + 8.0;
    let room = (RIGHT - LEFT) / 2.0 - from - 10.0;
    let title = shorten(&bounded(&pair.title), 11.0, Weight::Regular, room);
    if !title.is_empty() {
        page.items.push(Item::Text(line(at(x + from, y + 15.0), 11.0, title).class("soft")));
    }
}

/// A pair with room for words beside it.
fn parted(page: &mut Page, pair: &Parted) {
    let top = page.y;
    page.place(vec![halves(pair, 62.0, 26.0, 34.0)], LEFT, top);
    let title = format!("{} unplugged from {}", bounded(&pair.plug), bounded(&pair.other));
    let place = [pair.title.as_str(), &pair.station].into_iter().filter(|t| !t.is_empty());
    let place = place.map(bounded).collect::<Vec<_>>().join(" · ");
    words(page, WORDS, &[(&title, 12.0, Weight::Bold, "ink"), (&place, 11.0, Weight::Regular, "soft")]);
    page.y = page.y.max(top + 32.0) + 6.0;
}

fn switches(page: &mut Page, view: &SetupView) {
    for switch in view.moved.iter().take(MOST) {
        moved(page, switch);
    }
    if !view.at_rest.is_empty() {
        let rest = if view.moved.is_empty() { "All at rest" } else { "At rest" };
        let all = format!("{rest}: {}", view.at_rest.join(", "));
        words(page, LEFT, &[(&all, 12.0, Weight::Regular, "soft")]);
    }
}

/// A switch: its positions in a row, the one it stands in filled.
fn moved(page: &mut Page, switch: &Moved) {
    let top = page.y;
    let id = shorten(&bounded(&switch.id), 13.0, Weight::Bold, 150.0);
    let mut x = LEFT + text_width(&id, 13.0, Weight::Bold) + 14.0;
    let mut y = top + 15.0;
    let mut items = vec![Item::Text(line(at(LEFT, y), 13.0, id).bold())];
    let from = x;
    for (nth, name) in switch.positions.iter().take(MOST).enumerate() {
        let own = nth == switch.at;
        let weight = if own { Weight::Bold } else { Weight::Regular };
        let name = shorten(&bounded(name), 12.0, weight, 140.0);
        let wide = text_width(&name, 12.0, weight) + 18.0;
        if x + wide > RIGHT && x > from {
            x = from;
            y += 20.0;
        }
        items.push(Item::Circle { centre: at(x + 5.0, y - 4.4), radius: 5.0, class: "cavity" });
        if own {
            items.push(Item::Circle { centre: at(x + 5.0, y - 4.4), radius: 2.9, class: "ink" });
        }
        let text = line(at(x + 14.0, y), 12.0, name);
        items.push(Item::Text(if own { text.bold() } else { text.class("soft") }));
        x += wide + 14.0;
    }
    let position = switch.positions.get(switch.at).cloned().unwrap_or_default();
    let data = vec![("switch", switch.id.clone()), ("position", position)];
    page.items.push(Item::Group(Group { class: "switch", data, title: None, items }));
    page.y = y;
    words(page, LEFT, &[(&switch.title, 11.0, Weight::Regular, "soft")]);
    page.y += 8.0;
}

fn lines(page: &mut Page, texts: &[String]) {
    for text in texts.iter().take(MOST) {
        let y = page.y + 10.5;
        page.items.push(Item::Circle { centre: at(LEFT + 4.0, y), radius: 3.0, class: "ink" });
        words(page, LEFT + 16.0, &[(text, 12.0, Weight::Regular, "ink")]);
        page.y += 3.0;
    }
}

/// The meter with its two leads, each to what it touches.
fn meter(page: &mut Page, probes: &ProbesView) {
    let top = page.y;
    probe_words(page, &probes.red, "Red", "red");
    page.y = (page.y + 6.0).max(top + 52.0);
    let second = page.y - top;
    probe_words(page, &probes.black, "Black", "ink");
    let sign = if probes.ohms { "Ω" } else { "V" };
    let mut items = vec![
        Item::Rect { area: Area::new(0.0, 2.0, 66.0, 84.0), rounding: 7.0, class: "cavity" },
        Item::Rect { area: Area::new(8.0, 10.0, 58.0, 34.0), rounding: 2.0, class: "plate" },
        Item::Text(line(at(33.0, 28.0), 15.0, sign).bold().anchor(Anchor::Middle)),
    ];
    items.extend(lead(50.0, 96.0, 13.0, "ring-red", "red"));
    items.extend(lead(72.0, 84.0, second + 13.0, "ring-ink", "ink"));
    page.place(items, LEFT, top);
    page.y = page.y.max(top + 90.0);
    let kind = format!("reads {}", probes.kind);
    words(page, LEFT, &[(&kind, 11.0, Weight::Regular, "soft")]);
}

/// A lead from its socket on the meter to its probe: a grip, and a needle that points at what it touches.
fn lead(socket: f64, bend: f64, target: f64, class: &'static str, ink: &'static str) -> Vec<Item> {
    let way = [at(50.0, socket), at(bend, socket), at(bend, target), at(112.0, target)];
    let grip = Area::new(112.0, target - 4.0, 140.0, target + 4.0);
    vec![
        Item::Circle { centre: at(50.0, socket), radius: 3.4, class: ink },
        polyline(&way, false, class),
        Item::Rect { area: grip, rounding: 3.0, class: ink },
        polyline(&[at(140.0, target), at(156.0, target)], false, "firm"),
    ]
}

fn probe_words(page: &mut Page, probe: &ProbeAt, name: &str, class: &'static str) {
    let point = shorten(&bounded(&probe.point), 15.0, Weight::Bold, RIGHT - WORDS - 60.0);
    page.y += 18.0;
    let text = line(at(WORDS, page.y), 15.0, point).bold();
    let after = WORDS + text_width(&text.text, 15.0, Weight::Bold) + 10.0;
    let data = vec![("probe", name.to_lowercase()), ("point", probe.point.clone())];
    let items = vec![Item::Text(text), Item::Text(line(at(after, page.y), 11.0, name).bold().class(class))];
    page.items.push(Item::Group(Group { class: "probe", data, title: None, items }));
    let place = [probe.how.as_str(), &probe.station].into_iter().filter(|t| !t.is_empty());
    let place = place.map(bounded).collect::<Vec<_>>().join(" · ");
    words(page, WORDS, &[(&place, 11.0, Weight::Regular, "soft")]);
    if !probe.reachable {
        words(page, WORDS, &[("Not to be reached in this setup.", 11.0, Weight::Bold, "doubt")]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_plugs_take_little_room_and_each_is_named() {
        let pair = |nth: usize| Parted {
            plug: format!("P{nth}"),
            other: format!("J{nth}"),
            title: format!("Plug {nth} of a loom with a long title that is cut"),
            station: ["Cab", "Deck", "Boom"][nth % 3].to_owned(),
        };
        let view = SetupView {
            title: "Phase 2".to_owned(),
            harness: "H-1".to_owned(),
            power: Power::Isolated,
            batteries: vec![["BAT1".to_owned(), String::new()]],
            parted: (0..24).map(pair).collect(),
            together: 0,
            moved: Vec::new(),
            at_rest: Vec::new(),
            conditions: Vec::new(),
            aids: Vec::new(),
            probes: None,
            stamp: "H-1 revision A".to_owned(),
        };
        let scene = setup_scene(&view);
        // Little more than half of an A4 page between its margins.
        assert!(scene.height < 560.0, "{}", scene.height);
        let texts = scene.texts();
        for nth in 0..24 {
            for name in [format!("P{nth}"), format!("J{nth}")] {
                assert_eq!(texts.iter().filter(|text| text.text == name).count(), 1, "{name}");
            }
        }
        for (nth, text) in texts.iter().enumerate() {
            assert!(text.area().right <= scene.width, "{}", text.text);
            let covers = texts[nth + 1..].iter().find(|other| other.area().overlaps(&text.area()));
            assert!(covers.is_none(), "{} and {covers:?}", text.text);
        }
    }
}
