//! A browser that looks at drawings.
//!
//! Comes in: drawings as SVG, each with a name. Goes out: what Chromium measures on them: overlaps of
//! text boxes, texts off the sheet, contrast, elements that should not be there, and the places of
//! contacts. Why: widths from a table are a promise; a browser keeps it or does not.
//!
//! All drawings go into one page that is opened once, with the style sheet of each look beside each other:
//! a page cannot switch its colour scheme by itself, but it can switch style sheets.

use std::io::Write;
use std::process::{Command, Stdio};

use ringout::draw::{Look, Scene, SvgOptions, style_sheet, to_svg_with};
use serde::Deserialize;

/// A drawing to be looked at.
pub(crate) struct Asked {
    pub name: String,
    pub scene: Scene,
    /// Whether the places of its contacts are wanted.
    pub places: bool,
}

/// What the browser found.
#[derive(Debug, Deserialize)]
pub(crate) struct Found {
    pub drawings: Vec<Measured>,
    /// Width of a probe text in the page's font, in 1000 px letters.
    pub probe: f64,
    /// Whether some script of a drawing ran.
    pub ran: bool,
}

/// What was measured on a drawing.
#[derive(Debug, Deserialize)]
pub(crate) struct Measured {
    pub name: String,
    pub texts: usize,
    /// Pairs of texts whose boxes overlap.
    pub overlaps: Vec<[String; 2]>,
    /// Texts that leave the sheet.
    pub outside: Vec<String>,
    /// The least contrast in light, dark and print, with the text.
    pub contrast: Vec<(f64, String)>,
    /// Elements and attributes that no drawing may have.
    pub strange: Vec<String>,
    /// Contacts with the middle of their cavity: name, x, y.
    pub places: Vec<(String, f64, f64)>,
    /// All texts joined.
    pub said: String,
}

fn program() -> Option<&'static str> {
    ["chromium", "chromium-browser"].into_iter().find(|name| {
        let mut version = Command::new(name);
        version.arg("--version").stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
        version.status().is_ok_and(|status| status.success())
    })
}

/// Has the browser look at drawings; `None` where there is no browser, which is said, and with `CI=true`
/// is a failure.
pub(crate) fn look_at(drawings: &[Asked]) -> Option<Found> {
    let Some(program) = program() else {
        let message =
            "LEFT OUT: drawings in a browser, because chromium is not installed; tests/run installs it";
        assert_ne!(std::env::var("CI").as_deref(), Ok("true"), "{message}");
        // Not by `eprintln!`, which the test runner keeps to itself while tests pass.
        std::io::stderr().write_all(format!("{message}\n").as_bytes()).expect("standard error is open");
        return None;
    };
    let folder = tempfile::tempdir().expect("a folder for the page");
    let page = folder.path().join("page.html");
    std::fs::write(&page, html(drawings)).expect("the page is written");
    let output = Command::new(program)
        .args(["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"])
        .args(["--disable-background-networking", "--disable-component-update", "--disable-sync"])
        .args(["--virtual-time-budget=1000", "--dump-dom"])
        .arg(format!("--user-data-dir={}", folder.path().join("profile").display()))
        .arg(&page)
        .stdin(Stdio::null())
        .output()
        .expect("the browser starts");
    let shown = String::from_utf8_lossy(&output.stdout);
    let from = shown.find("@@found@@").expect("the page's script came to its end") + "@@found@@".len();
    let to = shown[from..].find("@@end@@").expect("the answer is whole") + from;
    // The page writes its answer as text, which a page prints with three characters escaped.
    let text = shown[from..to].replace("&lt;", "<").replace("&gt;", ">").replace("&nbsp;", "\u{a0}");
    Some(serde_json::from_str(&text.replace("&amp;", "&")).expect("the answer is JSON"))
}

fn html(drawings: &[Asked]) -> String {
    let mut page = String::from("<!doctype html><meta charset=utf-8><title>drawings</title>");
    for look in [Look::Light, Look::Dark, Look::Print] {
        page.push_str(&format!("<style class=look>{}</style>", style_sheet(look)));
    }
    page.push_str("<div id=stage></div>");
    for asked in drawings {
        let name = asked.name.replace('&', "&amp;").replace('"', "&quot;");
        let options = SvgOptions { with_style_sheet: false, ..SvgOptions::default() };
        let svg = to_svg_with(&asked.scene, options);
        page.push_str(&format!(
            "<template data-name=\"{name}\" data-places={}>{svg}</template>",
            asked.places
        ));
    }
    page.push_str("<script>");
    page.push_str(SCRIPT);
    page.push_str("</script>");
    page
}

const SCRIPT: &str = r#"
const looks = [...document.querySelectorAll('style.look')];
const wear = nth => looks.forEach((look, at) => { look.media = at === nth ? 'all' : 'not all'; });
const stage = document.getElementById('stage');
const allowed = new Set(['svg', 'title', 'desc', 'g', 'rect', 'circle', 'path', 'text']);
const rgb = text => { const n = text.match(/[\d.]+/g).map(Number); return [n[0], n[1], n[2], n[3] ?? 1]; };
const light = c => { const p = v => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
  return 0.2126 * p(c[0]) + 0.7152 * p(c[1]) + 0.0722 * p(c[2]); };
const contrast = (a, b) => { a = light(a); b = light(b); return (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05); };
// What is painted below a text, at three points of its box: the filled shapes before it, back to front.
function below(shapes, text, box) {
  const y = box.y + box.height / 2;
  return [0.02, 0.5, 0.98].map(part => {
    const x = box.x + box.width * part;
    return shapes.filter(({ node, box: b, at }) => at < text.at && x >= b.x && x <= b.x + b.width && y >= b.y
      && y <= b.y + b.height && (node.tagName === 'rect' || node.isPointInFill(new DOMPoint(x, y))));
  });
}
// A class decides the colour, whatever carries it.
const paints = new Map();
function paint(node, look) {
  const key = node.getAttribute('class') + look + node.tagName;
  if (!paints.has(key)) {
    const s = getComputedStyle(node);
    paints.set(key, s.fill === 'none' ? null : { c: rgb(s.fill), o: rgb(s.fill)[3] * Number(s.fillOpacity) });
  }
  return paints.get(key);
}
function mixed(shapes, look) {
  let ground = [255, 255, 255];
  for (const { node } of shapes) {
    const p = paint(node, look);
    if (p) ground = ground.map((v, at) => v * (1 - p.o) + p.c[at] * p.o);
  }
  return ground;
}
function measure(template) {
  stage.replaceChildren(template.content.cloneNode(true));
  const svg = stage.querySelector('svg');
  const sheet = svg.viewBox.baseVal;
  const found = { name: template.dataset.name, overlaps: [], outside: [], strange: [], places: [], contrast: [] };
  for (const node of stage.querySelectorAll('*')) {
    if (!allowed.has(node.tagName)) found.strange.push(node.tagName);
    for (const a of node.attributes) if (/^on|href|^style$/i.test(a.name)) found.strange.push(a.name);
  }
  const all = [...svg.querySelectorAll('text, rect, circle, path')].map((node, at) => ({ node, at, box: node.getBBox() }));
  for (const t of all) t.text = t.node.tagName === 'text' ? t.node.textContent.trim() : '';
  const texts = all.filter(t => t.text && t.box.width > 0);
  found.texts = texts.length;
  found.said = texts.map(t => t.text).join('\n');
  const slack = 0.5;
  const sorted = [...texts].sort((a, b) => a.box.y - b.box.y);
  sorted.forEach((a, at) => {
    for (let next = at + 1; next < sorted.length; next++) {
      const b = sorted[next];
      if (b.box.y >= a.box.y + a.box.height - slack) break;
      if (a.box.x + a.box.width - slack > b.box.x && b.box.x + b.box.width - slack > a.box.x)
        found.overlaps.push([a.text.slice(0, 60), b.text.slice(0, 60)]);
    }
    const b = a.box;
    if (b.x < 0 || b.y < 0 || b.x + b.width > sheet.width || b.y + b.height > sheet.height)
      found.outside.push(a.text.slice(0, 60));
  });
  const shapes = all.filter(t => t.node.tagName !== 'text');
  for (const t of texts) t.below = below(shapes, t, t.box);
  looks.forEach((_, look) => {
    wear(look);
    let least = [99, ''];
    for (const t of texts) {
      const ink = paint(t.node, look).c;
      for (const under of t.below) {
        // Off the sheet there is nothing to stand out from; that is told by itself.
        if (!under.length) continue;
        const c = contrast(ink, mixed(under, look));
        if (c < least[0]) least = [Math.round(c * 100) / 100, t.text.slice(0, 60)];
      }
    }
    found.contrast.push(least);
  });
  wear(0);
  if (template.dataset.places === 'true')
    for (const group of svg.querySelectorAll('[data-contact]')) {
      const box = group.querySelector('circle').getBBox();
      found.places.push([group.dataset.contact, box.x + box.width / 2, box.y + box.height / 2]);
    }
  return found;
}
wear(0);
const probe = document.createElementNS('http://www.w3.org/2000/svg', 'svg');
probe.setAttribute('class', 'ringout-drawing');
probe.innerHTML = '<text font-size="1000">Ringout 0123</text>';
stage.replaceChildren(probe);
const answer = { probe: probe.querySelector('text').getBBox().width, drawings: [] };
const templates = [...document.querySelectorAll('template')];
for (const template of templates) { answer.drawings.push(measure(template)); template.remove(); }
answer.ran = 'pwned' in window;
stage.textContent = '@@found@@' + JSON.stringify(answer) + '@@end@@';
"#;
