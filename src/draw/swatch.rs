//! A wire's colour as a small sample beside its letters.
//!
//! Comes in: a colour code, as `"RD"`, `"RD/WH"`, `"GNYE"`. Goes out: a box filled base and stripe.
//! Why: a sample is found faster than letters, but it never stands without them.
//!
//! Letters: IEC 60757. Codes of several colours name the base first.

use super::scene::{Area, Item, at, polyline};

/// Width and height of a sample.
pub(super) const WIDTH: f64 = 17.0;
pub(super) const HEIGHT: f64 = 10.0;

/// The colours of a code, base first: `None` where a part of it is no IEC 60757 code.
pub(super) fn colour_classes(code: &str) -> Option<Vec<&'static str>> {
    let letters: String = code.chars().filter(|c| *c != '/').collect();
    if !letters.is_ascii() || letters.is_empty() || letters.len() % 2 == 1 {
        return None;
    }
    (0..letters.len() / 2).map(|nth| class(&letters[2 * nth..2 * nth + 2])).collect()
}

fn class(letters: &str) -> Option<&'static str> {
    Some(match letters {
        "BK" => "wire-bk",
        "BN" => "wire-bn",
        "RD" => "wire-rd",
        "OG" => "wire-og",
        "YE" => "wire-ye",
        "GN" => "wire-gn",
        "BU" => "wire-bu",
        "VT" => "wire-vt",
        "GY" => "wire-gy",
        "WH" => "wire-wh",
        "PK" => "wire-pk",
        "GD" => "wire-gd",
        "TQ" => "wire-tq",
        "SR" => "wire-sr",
        _ => return None,
    })
}

/// The sample with its upper left corner at the place: base, then up to three slanting stripes. A
/// code that is not understood gives an empty box.
pub(super) fn swatch(code: &str, left: f64, top: f64) -> Vec<Item> {
    let area = Area::new(left, top, left + WIDTH, top + HEIGHT);
    let mut items = Vec::new();
    if let Some(colours) = colour_classes(code) {
        if let Some(class) = colours.first() {
            items.push(Item::Rect { area, rounding: 0.0, class });
        }
        let stripes = &colours[1..colours.len().min(4)];
        for (nth, class) in stripes.iter().enumerate() {
            items.push(stripe(area, nth, stripes.len(), class));
        }
    }
    items.push(Item::Rect { area, rounding: 0.0, class: "edge" });
    items
}

/// A slanting band, the `nth` of `count`, all within the box.
fn stripe(area: Area, nth: usize, count: usize, class: &'static str) -> Item {
    const SLANT: f64 = 3.0;
    let band = if count == 1 { 5.0 } else { (WIDTH - SLANT) / (count as f64 * 2.0) };
    let free = WIDTH - SLANT - band * count as f64;
    let from = area.left + free / (count as f64 + 1.0) * (nth as f64 + 1.0) + band * nth as f64;
    let corners = [
        at(from + SLANT, area.top),
        at(from + SLANT + band, area.top),
        at(from + band, area.bottom),
        at(from, area.bottom),
    ];
    polyline(&corners, true, class)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_base_and_stripes() {
        assert_eq!(colour_classes("RD/WH"), Some(vec!["wire-rd", "wire-wh"]));
        assert_eq!(colour_classes("GNYE"), Some(vec!["wire-gn", "wire-ye"]));
        assert_eq!(colour_classes("RDBUBK").map(|c| c.len()), Some(3));
        for bad in ["", "R", "XX", "rd", "RÄ"] {
            assert!(colour_classes(bad).is_none(), "{bad}");
        }
    }

    #[test]
    fn stripes_stay_within_the_box() {
        for code in ["RD", "RD/WH", "WHBN/BK", "GNYEBKRD", "nonsense"] {
            for item in swatch(code, 10.0, 20.0) {
                let area = item.area().unwrap();
                assert!(area.left >= 10.0 - 1e-9 && area.right <= 10.0 + WIDTH + 1e-9, "{code} {area:?}");
            }
        }
        assert_eq!(swatch("nonsense", 0.0, 0.0).len(), 1);
    }
}
