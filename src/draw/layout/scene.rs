//! The layout on its sheet.
//!
//! Comes in: a view. Goes out: a scene. Why: every lane is level; boxes hang below their places in steps,
//! those farther left deeper, so that no leader and no branch crosses a box.
//!
//! Cost: the square of the places, of which no more than [`MOST_PLACES`] are drawn.

use super::super::face::{Mark, symbol};
use super::super::page::{MARGIN, Page};
use super::super::scene::{Area, Group, Item, Scene, at, line, polyline};
use super::super::sign;
use super::super::text::{Weight, bounded, shorten, text_width, wrap};
use super::tree::{Tree, lanes, metres, trees};
use super::{Found, FoundKind, LayoutView, Run};
use crate::units::significant;

/// No more places are drawn; the drawing says so.
const MOST_PLACES: usize = 600;
/// The sheet between its margins where boxes do not need more: A4 on its side.
const WIDTH: f64 = 1020.0;
/// The most a box may measure across.
const BOX: f64 = 230.0;
const CHIP_ROW: f64 = 20.0;
/// The shortest a run is drawn, so that its ends can be told apart.
const SHORTEST: f64 = 26.0;

/// Draws a layout.
pub fn layout_scene(view: &LayoutView) -> Scene {
    let trees = trees(view, MOST_PLACES);
    let scale = Scale::of(view, &trees);
    let mut blocks = Vec::new();
    for tree in &trees {
        blocks.push(block(view, tree, &scale));
    }
    let right = blocks.iter().flat_map(|b| &b.taken).map(|area| area.right).fold(0.0, f64::max);
    let mut page = Page::new((right - MARGIN).max(WIDTH * 0.6));
    let statement = if view.trunks_given { "Trunks to scale" } else { "Runs to scale" };
    page.heading(&view.name, &view.title, statement);
    pointed(&mut page, view);
    for block in blocks {
        let top = block.taken.iter().map(|area| area.top).fold(0.0, f64::min);
        let bottom = block.taken.iter().map(|area| area.bottom).fold(0.0, f64::max);
        let dy = page.y - top;
        page.place(block.items, 0.0, dy);
        page.y = dy + bottom + 26.0;
    }
    legend(&mut page, view, &scale);
    let mut notes = view.notes.clone();
    if view.places.len() > MOST_PLACES {
        notes.push(format!(
            "{} places are left out: the drawing holds {MOST_PLACES}.",
            view.places.len() - MOST_PLACES
        ));
    }
    if scale.stretched {
        notes.push(
            "The shortest runs are drawn longer than to scale; their lengths stand beside them.".to_owned(),
        );
    }
    page.notes(&notes);
    page.stamp(&view.stamp);
    let name = bounded(&view.name);
    page.finish(format!("Layout of {name}"), desc(view), |items| Group {
        class: "layout",
        data: vec![("layout", name)],
        title: None,
        items,
    })
}

fn desc(view: &LayoutView) -> String {
    let words = view.runs.iter().take(200).map(|run| {
        let [a, b] = run.between.map(|place| bounded(&view.places[place].name));
        format!("{} from {a} to {b}", run_words(run))
    });
    let places = view.places.iter().take(200).map(|place| {
        let items = place.items.iter().map(|found| bounded(&found.id)).collect::<Vec<_>>().join(", ");
        format!("at {}: {items}", bounded(&place.name))
    });
    let all = words.chain(places).collect::<Vec<_>>().join("; ");
    format!("{}.", shorten(&all, 1.0, Weight::Regular, 8000.0))
}

/// "T3, 2.4 m, 18 wires".
fn run_words(run: &Run) -> String {
    let length = run.length.map(|length| length.to_string());
    let wires = if run.wires == 1 { "1 wire".to_owned() } else { format!("{} wires", run.wires) };
    let id = Some(bounded(&run.id)).filter(|id| !id.is_empty());
    id.into_iter().chain(length).chain([wires]).collect::<Vec<_>>().join(" · ")
}

/// Pixels per metre.
struct Scale {
    per_metre: f64,
    stretched: bool,
}

impl Scale {
    /// As large as fits the sheet, and so that short runs can still be seen.
    fn of(view: &LayoutView, trees: &[Tree]) -> Self {
        let reach = trees.iter().flatten().map(|node| node.at).fold(0.0, f64::max);
        let fitting = if reach > 0.0 { (WIDTH - BOX) / reach } else { 100.0 };
        let runs = trees.iter().flatten().filter_map(|node| node.by).map(|(_, run, _)| metres(view, run));
        let shortest = runs.filter(|length| *length > 0.0).fold(f64::INFINITY, f64::min);
        // A little wider for the sake of short runs, but no sheet of three widths.
        let wanted = if shortest.is_finite() { SHORTEST / shortest } else { fitting };
        let per_metre = fitting.max(wanted.min(fitting * 1.4)).clamp(1e-6, 600.0);
        let stretched = shortest * per_metre < SHORTEST - 1e-6;
        Self { per_metre, stretched }
    }
}

/// A lane with all that hangs on it; its own line at the height zero.
#[derive(Default)]
struct Block {
    items: Vec<Item>,
    /// What is taken: nothing else may be put there.
    taken: Vec<Area>,
}

impl Block {
    fn moved_down(self, dy: f64) -> Self {
        Self {
            items: self.items.into_iter().map(|item| item.moved(0.0, dy)).collect(),
            taken: self.taken.into_iter().map(|area| area.moved(0.0, dy)).collect(),
        }
    }

    fn join(&mut self, other: Self) {
        self.items.extend(other.items);
        self.taken.extend(other.taken);
    }

    /// How far down this must go to lie below all of `others` that it shares columns with.
    fn below(&self, others: &[Area]) -> f64 {
        let mut down = 0.0_f64;
        for own in &self.taken {
            let over = others.iter().filter(|o| o.left < own.right + 8.0 && own.left < o.right + 8.0);
            down = over.map(|o| o.bottom + 10.0 - own.top).fold(down, f64::max);
        }
        down
    }
}

impl Block {
    /// How far up this must go beyond its own height to stand above all of `others` that it shares columns
    /// with.
    fn above(&self, others: &[Area]) -> f64 {
        let foot = self.taken.iter().map(|area| area.bottom).fold(0.0, f64::max);
        let mut up = 0.0_f64;
        for own in &self.taken {
            let over = others.iter().filter(|o| o.left < own.right + 8.0 && own.left < o.right + 8.0);
            up = over.map(|o| own.bottom - foot - 28.0 + 10.0 - o.top).fold(up, f64::max);
        }
        up
    }
}

/// A whole tree: lanes are set from the last to the first, so that each finds those that drop from it.
fn block(view: &LayoutView, tree: &Tree, scale: &Scale) -> Block {
    let mut x = vec![MARGIN + 8.0; tree.len()];
    for (nth, node) in tree.iter().enumerate() {
        if let Some((before, run, _)) = node.by {
            x[nth] = x[before] + (metres(view, run) * scale.per_metre).max(SHORTEST);
        }
    }
    let lanes = lanes(tree);
    let mut dropping: Vec<Vec<Block>> = tree.iter().map(|_| Vec::new()).collect();
    let mut whole = Block::default();
    for lane in lanes.iter().rev() {
        let made = set_lane(view, tree, lane, &x, &mut dropping);
        match tree[lane[0]].by {
            Some((before, ..)) => dropping[before].push(made),
            None => whole = made,
        }
    }
    whole
}

/// One lane: its runs, and below its places their boxes and the lanes that drop from them.
fn set_lane(view: &LayoutView, tree: &Tree, lane: &[usize], x: &[f64], dropping: &mut [Vec<Block>]) -> Block {
    let mut block = Block::default();
    let mut hanging: Vec<Area> = Vec::new();
    let mut standing: Vec<Area> = Vec::new();
    let all = x;
    // Above the lane that starts at the root there is free room.
    let is_first = tree[lane[0]].by.is_none();
    for nth in lane.iter().rev() {
        let (node, x) = (&tree[*nth], x[*nth]);
        let mut own = Block::default();
        let boxed = place_box(view, tree, *nth, all);
        let up = boxed.above(&standing);
        if is_first && up < boxed.below(&hanging) {
            let (made, head) = stand(boxed, up);
            standing.extend(&made.taken);
            block.items.push(polyline(&[at(x, 0.0), at(x, head + 8.0)], false, "leader"));
            block.join(made);
        } else {
            own.items.push(polyline(&[at(x, 0.0), at(x, 18.0)], false, "leader"));
            own.join(boxed);
        }
        let mut lowest = None;
        // Set last, found first: in the order of the definition again.
        for lane in std::mem::take(&mut dropping[*nth]).into_iter().rev() {
            let down = lane.below(&own.taken).max(34.0);
            lowest = Some(down);
            own.join(lane.moved_down(down));
        }
        let down = own.below(&hanging);
        let own = own.moved_down(down);
        hanging.extend(&own.taken);
        if down > 0.0 && !own.taken.is_empty() {
            block.items.push(polyline(&[at(x, 0.0), at(x, down + 18.0)], false, "leader"));
        }
        if let Some(lowest) = lowest {
            block.items.push(polyline(&[at(x, 0.0), at(x, down + lowest)], false, "drop"));
        }
        block.join(own);
        let radius = if node.again { 4.0 } else { 5.5 };
        block.items.push(Item::Circle { centre: at(x, 0.0), radius, class: "cavity" });
    }
    let runs: Vec<Item> = lane.iter().filter_map(|nth| run_item(view, tree, *nth, all)).collect();
    let left = tree[lane[0]].by.map_or(all[lane[0]], |(before, ..)| all[before]);
    let right = lane.last().map_or(left, |nth| all[*nth]);
    block.taken.push(Area::new(left - 8.0, -30.0, right + 8.0, 12.0));
    block.items.splice(0..0, runs);
    block
}

/// A box that stands above its lane, and where its top is.
fn stand(boxed: Block, up: f64) -> (Block, f64) {
    let foot = boxed.taken.iter().map(|area| area.bottom).fold(0.0, f64::max);
    let made = boxed.moved_down(-up - foot - 28.0);
    let head = made.taken.iter().map(|area| area.top).fold(0.0, f64::min);
    (made, head)
}

/// How thick a run is drawn: by the root of its wires, as a bundle grows.
fn thickness(run: &Run) -> f64 {
    (3.0 + 1.7 * (run.wires as f64).sqrt()).min(18.0)
}

/// The run that leads to a node, and its words above it where they fit.
fn run_item(view: &LayoutView, tree: &Tree, nth: usize, x: &[f64]) -> Option<Item> {
    let (before, run, forward) = tree[nth].by?;
    let (from, to) = (x[before], x[nth]);
    let run = &view.runs[run];
    let half = thickness(run) / 2.0;
    let area = Area::new(from, -half, to, half);
    let class = if run.length.is_some() { "trunk" } else { "trunk-unknown" };
    let mut items = vec![Item::Rect { area, rounding: half.min(4.0), class }];
    if let Some(share) = run.share {
        items.push(Item::Rect { area: area.grown(3.0), rounding: 4.0, class: share.shade() });
        let badge = symbol::badge(Mark::Suspect(share));
        items.extend(badge.into_iter().map(|i| i.moved(f64::midpoint(from, to), 0.0)));
    }
    if run.followed {
        items.push(polyline(&[at(from, 0.0), at(to, 0.0)], false, "follow"));
    }
    for part in &run.faults {
        let part = if forward { *part } else { 1.0 - part };
        let x = from + (to - from) * part.clamp(0.0, 1.0);
        items.push(polyline(&[at(x, -half - 4.0), at(x, half + 4.0)], false, "ring-doubt"));
        let tip = [at(x - 5.0, half + 12.0), at(x, half + 4.0), at(x + 5.0, half + 12.0)];
        items.push(polyline(&tip, true, "doubt"));
    }
    if let Some(words) = above(run, to - from) {
        items.push(Item::Text(line(at(from + 9.0, -half - 6.0), 11.0, words).class("soft")));
    }
    let data = vec![
        ("run", run.id.clone()),
        ("from", view.places[tree[before].place].name.clone()),
        ("to", view.places[tree[nth].place].name.clone()),
        ("metres", run.length.map_or(String::new(), |l| significant(l.get(), 4))),
        ("wires", run.wires.to_string()),
    ];
    Some(Item::Group(Group { class: "run", data, title: Some(run_words(run)), items }))
}

/// A run's words, where they fit above it.
fn above(run: &Run, long: f64) -> Option<String> {
    let words = run_words(run);
    (text_width(&words, 11.0, Weight::Regular) + 18.0 <= long).then_some(words)
}

/// What is found at a place, in a box that hangs below it.
fn place_box(view: &LayoutView, tree: &Tree, nth: usize, x: &[f64]) -> Block {
    let node = &tree[nth];
    let place = &view.places[node.place];
    let left = x[nth] + 9.0;
    let mut items = Vec::new();
    let mut y = 18.0;
    let mut right = left;
    let mut put = |y: f64, size: f64, text: String, look: (Weight, &'static str), right: &mut f64| {
        *right = right.max(left + text_width(&text, size, look.0));
        let mut made = line(at(left, y), size, text).class(look.1);
        made.weight = look.0;
        items.push(Item::Text(made));
    };
    let run = node.by.map(|(before, run, _)| (&view.runs[run], before));
    if let Some((run, before)) = run.filter(|(run, before)| above(run, x[nth] - x[*before]).is_none()) {
        // Beside the run's end it would pass for the name of the run that follows: so it says where it comes from.
        let from = bounded(&view.places[tree[before].place].name);
        let words = format!("{} · from {from}", run_words(run));
        y += 11.0;
        put(y, 11.0, shorten(&words, 11.0, Weight::Regular, BOX), (Weight::Regular, "soft"), &mut right);
        y += 4.0;
    }
    let title = if node.again { "drawn already: a ring closes here" } else { place.title.as_str() };
    let title = if title == place.name { "" } else { title };
    y += 13.0;
    put(y, 13.0, shorten(&bounded(&place.name), 13.0, Weight::Bold, BOX), (Weight::Bold, "ink"), &mut right);
    for text in wrap(&bounded(title), 11.0, Weight::Regular, BOX, 2) {
        y += 14.0;
        put(y, 11.0, text, (Weight::Regular, "soft"), &mut right);
    }
    y += 4.0;
    if !node.again {
        y = chips(&place.items, left, y, &mut right, &mut items);
    }
    let area = Area::new(x[nth] - 2.0, 12.0, right + 4.0, y + 2.0);
    let data = vec![("at", place.name.clone())];
    let group = Group { class: "found", data, title: None, items };
    Block { items: vec![Item::Group(group)], taken: vec![area] }
}

/// What is found at a place, row by row: a sign and an id each.
fn chips(found: &[Found], left: f64, top: f64, right: &mut f64, items: &mut Vec<Item>) -> f64 {
    const MOST: usize = 60;
    let mut x = left;
    let mut y = top;
    for (nth, chip) in found.iter().take(MOST).enumerate() {
        let id = shorten(&bounded(&chip.id), 12.0, Weight::Regular, BOX - 22.0);
        let wide = 20.0 + text_width(&id, 12.0, Weight::Bold) + chip.share.map_or(0.0, |_| 44.0);
        if nth == 0 || x + wide > left + BOX {
            x = left;
            y += CHIP_ROW;
        }
        items.push(chip_item(chip, id, x, y));
        *right = right.max(x + wide);
        x += wide + 12.0;
    }
    if found.len() > MOST {
        y += CHIP_ROW;
        let more = format!("and {} more", found.len() - MOST);
        items.push(Item::Text(line(at(left, y), 11.0, more).class("soft")));
    }
    y + 2.0
}

fn chip_item(chip: &Found, id: String, x: f64, y: f64) -> Item {
    let mut items = Vec::new();
    let width = text_width(&id, 12.0, Weight::Bold);
    if let Some(share) = chip.share {
        let area = Area::new(x - 2.0, y - 13.0, x + 15.0, y + 4.0);
        items.push(Item::Rect { area, rounding: 4.0, class: share.shade() });
        let text = line(at(x + 22.0 + width, y), 11.0, share.to_string()).bold().class("doubt");
        items.push(Item::Text(text));
    }
    items.extend(chip_sign(chip.kind).into_iter().map(|item| item.moved(x + 6.0, y - 4.3)));
    let text = line(at(x + 18.0, y), 12.0, id);
    items.push(Item::Text(if chip.end { text.bold().class("route") } else { text }));
    let data = vec![("found", chip.id.clone())];
    Item::Group(Group { class: "chip", data, title: None, items })
}

fn chip_sign(kind: FoundKind) -> Vec<Item> {
    let circle = |radius, class| Item::Circle { centre: at(0.0, 0.0), radius, class };
    let half = |x: f64, lip: f64| {
        polyline(&[at(x + lip, -4.5), at(x, -4.5), at(x, 4.5), at(x + lip, 4.5)], false, "thin")
    };
    match kind {
        FoundKind::Connector => vec![half(-2.0, 5.0)],
        FoundKind::Mated => vec![half(-1.6, -3.5), half(1.6, 3.5)],
        FoundKind::Splice => vec![circle(3.8, "ink")],
        FoundKind::Terminal => vec![circle(4.4, "cavity"), circle(1.6, "ink")],
        FoundKind::Ground => {
            sign::ground().into_iter().map(|i| shrink(i, 0.55)).map(|i| i.moved(0.0, -2.5)).collect()
        }
        FoundKind::Part => {
            vec![Item::Rect { area: Area::new(-4.5, -4.5, 4.5, 4.5), rounding: 1.0, class: "cavity" }]
        }
    }
}

/// A sign made smaller.
fn shrink(item: Item, by: f64) -> Item {
    use super::super::scene::Step;
    let smaller = |p: super::super::scene::Point| at(p.x * by, p.y * by);
    match item {
        Item::Path { steps, class } => {
            let step = |s| match s {
                Step::Move(p) => Step::Move(smaller(p)),
                Step::Line(p) => Step::Line(smaller(p)),
                Step::Arc(r, p) => Step::Arc(r * by, smaller(p)),
                Step::Close => Step::Close,
            };
            Item::Path { steps: steps.into_iter().map(step).collect(), class }
        }
        other => other,
    }
}

/// What is pointed out, in words, above the drawing.
fn pointed(page: &mut Page, view: &LayoutView) {
    for (nth, words) in view.pointed.iter().take(24).enumerate() {
        let class = if words.starts_with("Wire ") { "route" } else { "ink" };
        let weight = if nth == 0 { Weight::Bold } else { Weight::Regular };
        page.text(&bounded(words), 12.0, (weight, class), page.width, 4);
    }
    page.y += if view.pointed.is_empty() { 4.0 } else { 12.0 };
}

/// The signs of this drawing, and a bar of a round length.
fn legend(page: &mut Page, view: &LayoutView, scale: &Scale) {
    page.rule();
    page.y += 24.0;
    let (long, words) = bar(scale);
    let from = MARGIN;
    let y = page.y;
    page.items.push(polyline(&[at(from, y - 4.0), at(from, y + 4.0)], false, "firm"));
    page.items.push(polyline(&[at(from, y), at(from + long, y)], false, "firm"));
    page.items.push(polyline(&[at(from + long, y - 4.0), at(from + long, y + 4.0)], false, "firm"));
    let mut x = from + long + 10.0;
    page.items.push(Item::Text(line(at(x, y + 4.0), 11.0, words.clone())));
    x += text_width(&words, 11.0, Weight::Regular) + 28.0;
    let kinds = [
        (FoundKind::Mated, "mated connectors"),
        (FoundKind::Connector, "connector"),
        (FoundKind::Splice, "splice"),
        (FoundKind::Terminal, "terminal"),
        (FoundKind::Ground, "ground terminal"),
        (FoundKind::Part, "part"),
    ];
    for (kind, word) in kinds {
        if !view.places.iter().any(|place| place.items.iter().any(|found| found.kind == kind)) {
            continue;
        }
        let wide = 18.0 + text_width(word, 11.0, Weight::Regular) + 24.0;
        if x + wide > MARGIN + page.width + 24.0 {
            x = MARGIN;
            page.y += 22.0;
        }
        page.place(chip_sign(kind), x + 6.0, page.y);
        page.items.push(Item::Text(line(at(x + 18.0, page.y + 4.0), 11.0, word)));
        x += wide;
    }
    page.y += 16.0;
    let words = "Level runs are to scale; dotted drops have no length. The thicker a run, the more wires.";
    page.text(words, 11.0, (Weight::Regular, "soft"), page.width, 2);
    page.y += 4.0;
}

/// A round length that is easily seen: its pixels and its words.
fn bar(scale: &Scale) -> (f64, String) {
    let lengths = [0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0];
    let fits = |metres: &&f64| **metres * scale.per_metre >= 60.0;
    let metres = lengths.iter().find(fits).copied().unwrap_or(1000.0);
    ((metres * scale.per_metre).min(400.0), format!("{} m", significant(metres, 2)))
}
