//! Parts: which keys a kind needs, and where its ends lead.

use super::{Resolver, title, value};
use crate::definition::diagnostic::{At, nearest};
use crate::definition::model::{Duty, Function, LoadKind, Named, Part, PartKind, Point, Position};
use crate::definition::schema::{Draft, RawFunction, RawPart};
use crate::units::Volts;

/// What a kind of part must and may say.
struct Kind {
    word: &'static str,
    needs: &'static [&'static str],
    may: &'static [&'static str],
}

const fn kind(word: &'static str, needs: &'static [&'static str], may: &'static [&'static str]) -> Kind {
    Kind { word, needs, may }
}

/// Every kind of part, with its keys.
const KINDS: &[Kind] = &[
    kind("battery", &["volts", "internal", "plus", "minus"], &[]),
    kind("alternator", &["volts", "internal", "plus", "minus"], &["most", "sense", "when"]),
    kind("fuse", &["between"], &["rating"]),
    kind("breaker", &["between"], &["rating"]),
    kind("switch", &["rest", "positions"], &[]),
    kind("relay", &["coil", "coil_ohms", "operate"], &["released", "operated", "critical", "duty"]),
    kind("diode", &["anode", "cathode"], &["drop"]),
    kind("resistor", &["between", "ohms"], &["cold_ohms", "critical", "duty"]),
    kind("lamp", &["between", "ohms"], &["cold_ohms", "critical", "duty"]),
    kind("motor", &["between", "ohms"], &["cold_ohms", "critical", "duty"]),
    kind("coil", &["between", "ohms"], &["cold_ohms", "critical", "duty"]),
    kind("sensor", &["between", "ohms"], &["cold_ohms", "when", "critical", "duty"]),
    kind("unit", &["function"], &["critical", "duty"]),
];

/// Forward drop of a silicon diode where none is given: common practice, no source.
const DIODE_DROP: Volts = Volts::new(0.7);

impl<'a> Resolver<'a> {
    /// Registers the parts' names, so that connectors can say which part they sit on.
    pub(super) fn part_names(&mut self, draft: &'a Draft) {
        for (id, raw) in &draft.parts {
            if !self.claim(id) {
                self.part_ids.push(None);
                continue;
            }
            let part = Part {
                id: id.value.clone(),
                title: title(raw.title.as_ref()),
                station: self.station(raw.station.as_ref()),
                hazard: raw.hazard.as_ref().map(|h| h.value.clone()),
                critical: value(raw.critical.as_ref()).unwrap_or(false),
                duty: self.duty(raw.duty.as_ref()),
                kind: PartKind::Unit { functions: Vec::new() },
                place: id.place,
            };
            let key = self.harness.parts.push(part);
            self.harness.names.things.insert(id.value.clone(), Named::Part(key));
            self.part_ids.push(Some(key));
        }
    }

    fn duty(&self, word: Option<&At<String>>) -> Duty {
        let Some(word) = word else { return Duty::default() };
        Duty::parse(&word.value).unwrap_or_else(|| {
            let message = format!("a duty is continuous or intermittent, not \"{}\"", word.value);
            let help = "write duty = \"intermittent\" for what works in short spells, or leave it out";
            self.error("duty", word.place, message, Some(help.to_owned()));
            Duty::default()
        })
    }

    /// Fills in what each part does.
    pub(super) fn parts(&mut self, draft: &'a Draft) {
        for (at, (id, raw)) in draft.parts.iter().enumerate() {
            let Some(key) = self.part_ids[at] else { continue };
            if let Some(kind) = self.part_kind(id, raw) {
                self.harness.parts.get_mut(key).kind = kind;
            }
        }
    }

    fn part_kind(&self, id: &At<String>, raw: &RawPart) -> Option<PartKind> {
        let known = || KINDS.iter().map(|k| k.word).collect::<Vec<_>>().join(", ");
        let Some(word) = &raw.kind else {
            if !raw.has("kind") {
                let message = format!("part {} does not say what it is", id.value);
                let help = format!("add kind = \"…\" with one of: {}", known());
                self.error("part-kind", id.place, message, Some(help));
            }
            return None;
        };
        let Some(kind) = KINDS.iter().find(|k| k.word == word.value) else {
            let near = nearest(&word.value, KINDS.iter().map(|k| k.word));
            let near = near.map(|near| format!("did you mean \"{near}\"? ")).unwrap_or_default();
            let message = format!("no kind of part is called `{}`", word.value);
            let help = format!("{near}The kinds are: {}", known());
            self.error("part-kind", word.place, message, Some(help));
            return None;
        };
        self.check_keys(id, raw, kind);
        self.build(id, kind.word, raw)
    }

    /// Reports keys that the kind needs and does not have, or has and does not know.
    fn check_keys(&self, id: &At<String>, raw: &RawPart, kind: &Kind) {
        for need in kind.needs.iter().filter(|need| !raw.has(need)) {
            let message = format!("{} {} needs `{need}`", kind.word, id.value);
            self.error("missing-key", id.place, message, Some(format!("add {}", example(need))));
        }
        for (key, place) in raw.present() {
            if !kind.needs.contains(&key) && !kind.may.contains(&key) {
                let known = [kind.needs, kind.may].concat().join(", ");
                let message = format!("{} {} has no key `{key}`", kind.word, id.value);
                let help = format!("this kind of part has: {known}");
                self.error("unknown-key", place, message, Some(help));
            }
        }
    }

    fn build(&self, id: &At<String>, word: &str, raw: &RawPart) -> Option<PartKind> {
        let point = |slot: &Option<At<String>>| slot.as_ref().and_then(|name| self.point(name));
        let between = || raw.between.as_ref().and_then(|pair| self.pair(&pair.value));
        let when = || raw.when.as_ref().and_then(|name| self.condition(name));
        Some(match word {
            "battery" => PartKind::Battery {
                volts: value(raw.volts.as_ref())?,
                internal: value(raw.internal.as_ref())?,
                plus: point(&raw.plus)?,
                minus: point(&raw.minus)?,
            },
            "alternator" => PartKind::Alternator {
                volts: value(raw.volts.as_ref())?,
                most: value(raw.most.as_ref()),
                internal: value(raw.internal.as_ref())?,
                plus: point(&raw.plus)?,
                minus: point(&raw.minus)?,
                sense: point(&raw.sense),
                when: when(),
            },
            "fuse" | "breaker" => PartKind::Fuse {
                breaker: word == "breaker",
                rating: value(raw.rating.as_ref()),
                between: between()?,
            },
            "switch" => self.switch(id, raw)?,
            "relay" => PartKind::Relay {
                coil: self.pair(&raw.coil.as_ref()?.value)?,
                coil_ohms: value(raw.coil_ohms.as_ref())?,
                operate: value(raw.operate.as_ref())?,
                released: self.ways(raw.released.as_ref()),
                operated: self.ways(raw.operated.as_ref()),
            },
            "diode" => PartKind::Diode {
                anode: point(&raw.anode)?,
                cathode: point(&raw.cathode)?,
                drop: value(raw.drop.as_ref()).unwrap_or(DIODE_DROP),
            },
            "unit" => PartKind::Unit { functions: self.functions(raw)? },
            load => PartKind::Load {
                kind: load_kind(load)?,
                between: between()?,
                ohms: value(raw.ohms.as_ref())?,
                cold_ohms: value(raw.cold_ohms.as_ref()),
                when: when(),
            },
        })
    }

    fn ways(&self, pairs: Option<&At<Vec<[At<String>; 2]>>>) -> Vec<[Point; 2]> {
        pairs.map_or_else(Vec::new, |list| list.value.iter().filter_map(|pair| self.pair(pair)).collect())
    }

    fn switch(&self, id: &At<String>, raw: &RawPart) -> Option<PartKind> {
        let list = raw.positions.as_ref()?;
        let mut positions = Vec::new();
        for (name, pairs) in list.value.iter().filter(|(name, _)| self.well_formed(name, "a position")) {
            let closed = pairs.iter().filter_map(|pair| self.pair(pair)).collect();
            positions.push(Position { name: name.value.clone(), closed });
        }
        let rest = raw.rest.as_ref()?;
        if let Some(at) = positions.iter().position(|p| p.name == rest.value) {
            return Some(PartKind::Switch { rest: at, positions });
        }
        let known: Vec<&str> = list.value.iter().map(|(name, _)| name.value.as_str()).collect();
        // A position that could not be read has had its own error.
        if raw.positions_broken || known.contains(&rest.value.as_str()) {
            return None;
        }
        let message = format!("switch {} has no position `{}`", id.value, rest.value);
        let help = if known.is_empty() {
            format!("list its positions: {} = [], run = [[\"X1.1\", \"X1.2\"]]", rest.value)
        } else {
            format!("its positions are: {}", known.join(", "))
        };
        self.error("unknown-name", rest.place, message, Some(help));
        None
    }

    fn functions(&self, raw: &RawPart) -> Option<Vec<Function>> {
        let list = &raw.functions.as_ref()?.value;
        Some(list.iter().filter_map(|function| self.function(function)).collect())
    }

    fn function(&self, raw: &RawFunction) -> Option<Function> {
        let output = raw.output.as_ref().and_then(|name| self.point(name));
        let supply = raw.supply.as_ref().and_then(|name| self.point(name));
        let (output, supply) = (output?, supply?);
        let title = raw.title.as_ref().map_or_else(|| self.harness.point_name(output), |t| t.value.clone());
        let ground = raw.ground.as_ref().and_then(|name| self.point(name));
        let when: Vec<Point> = raw.when.iter().filter_map(|name| self.point(name)).collect();
        if when.contains(&output) {
            let message = format!("function \"{title}\" waits for its own output");
            let help = format!("take {} out of `when`", self.harness.point_name(output));
            self.error("part-ends", raw.place, message, Some(help));
        }
        Some(Function { title, output, supply, ground, when })
    }
}

/// How a key of a part is written.
fn example(key: &str) -> &'static str {
    match key {
        "volts" => "volts = \"25.4 V\"",
        "internal" => "internal = \"12 mohm\", its own resistance",
        "plus" => "plus = \"BT1\", the terminal or contact it attaches to",
        "minus" => "minus = \"BT2\", the terminal or contact it attaches to",
        "between" => "between = [\"X1.1\", \"X1.2\"], its two ends",
        "rest" => "rest = \"off\", the position it is left in",
        "positions" => "[part.NAME.positions] with off = [] and run = [[\"X1.1\", \"X1.2\"]]",
        "coil" => "coil = [\"X1.85\", \"X1.86\"]",
        "coil_ohms" => "coil_ohms = \"320 ohm\"",
        "operate" => "operate = \"16 V\", the voltage from which it operates",
        "anode" => "anode = \"X1.1\", where current enters",
        "cathode" => "cathode = \"X1.2\", where current leaves",
        "ohms" => "ohms = \"8 ohm\"",
        "function" => "[[part.NAME.function]] with output = \"X1.1\" and supply = \"X1.2\"",
        _ => "it",
    }
}

fn load_kind(word: &str) -> Option<LoadKind> {
    Some(match word {
        "resistor" => LoadKind::Resistor,
        "lamp" => LoadKind::Lamp,
        "motor" => LoadKind::Motor,
        "coil" => LoadKind::Coil,
        "sensor" => LoadKind::Sensor,
        _ => return None,
    })
}
