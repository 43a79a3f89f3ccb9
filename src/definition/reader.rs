//! A cursor over one TOML table that knows where everything stands.
//!
//! Comes in: a parsed table with byte spans. Goes out: typed values with places; every mistake lands
//! in the sink and reading goes on, so that a file's mistakes are all shown at once. The keys a
//! reader asks for are the keys a table may have: what was never asked for is reported as unknown,
//! with the nearest known key. So there is no second list of keys to keep true.

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::diagnostic::{At, Diagnostic, FileId, Place, Sink, nearest};
use crate::units::{self, Gauge, Quantity, QuantityError};

/// A value of the parsed text with its span.
pub type Value<'i> = Spanned<DeValue<'i>>;

/// Reads one table.
pub struct Reader<'a, 'i> {
    table: &'a DeTable<'i>,
    /// Where the table's header or opening brace stands.
    place: Place,
    /// What the table is, for messages: "a wire".
    what: &'static str,
    asked: Vec<&'static str>,
    sink: &'a Sink,
}

impl<'a, 'i> Reader<'a, 'i> {
    /// Starts reading a table.
    pub fn new(table: &'a DeTable<'i>, place: Place, what: &'static str, sink: &'a Sink) -> Self {
        // Room for the keys of every kind of table: a machine has hundreds of thousands of tables.
        Self { table, place, what, asked: Vec::with_capacity(32), sink }
    }

    /// Starts reading a value that must be a table; anything else is an error.
    pub fn of_value(value: &'a Value<'i>, file: FileId, what: &'static str, sink: &'a Sink) -> Option<Self> {
        let place = Place::new(file, value.span());
        match value.get_ref() {
            DeValue::Table(table) => Some(Self::new(table, place, what, sink)),
            other => {
                sink.push(wrong_type(place, other, &format!("{what} (a table)")));
                None
            }
        }
    }

    /// Where the table stands.
    pub fn place(&self) -> Place {
        self.place
    }

    fn file(&self) -> FileId {
        self.place.file()
    }

    fn place_of(&self, value: &Value<'_>) -> Place {
        Place::new(self.file(), value.span())
    }

    /// The raw value of a key.
    pub fn value(&mut self, key: &'static str) -> Option<&'a Value<'i>> {
        self.asked.push(key);
        self.table.get(key)
    }

    /// A text.
    pub fn text(&mut self, key: &'static str) -> Option<At<String>> {
        let value = self.value(key)?;
        text_of(value, self.file(), key, self.sink)
    }

    /// A text that must be there.
    pub fn required_text(&mut self, key: &'static str) -> Option<At<String>> {
        if self.table.contains_key(key) {
            return self.text(key);
        }
        self.asked.push(key);
        self.missing(key, "a text");
        None
    }

    /// Reports that a key is missing.
    pub fn missing(&self, key: &str, kind: &str) {
        let message = format!("{} needs `{key}` ({kind})", self.what);
        self.sink.push(Diagnostic::error("missing-key", self.place, message));
    }

    /// `true` or `false`.
    pub fn flag(&mut self, key: &'static str) -> Option<At<bool>> {
        let value = self.value(key)?;
        let place = self.place_of(value);
        match value.get_ref() {
            DeValue::Boolean(value) => Some(At { value: *value, place }),
            other => {
                self.sink.push(wrong_type(place, other, &format!("`{key}`: true or false")));
                None
            }
        }
    }

    /// A quantity of zero or more.
    pub fn quantity<Q: Quantity>(&mut self, key: &'static str) -> Option<At<Q>> {
        self.parsed(key, Q::NAME, Q::SUGGEST, units::parse)
    }

    /// A quantity above zero: a resistance of nothing or a battery of 0 V helps nobody.
    pub fn positive<Q: Quantity>(&mut self, key: &'static str) -> Option<At<Q>> {
        let at: At<Q> = self.quantity(key)?;
        if at.value.base() > 0.0 {
            return Some(at);
        }
        let message = format!("`{key}` must be above zero");
        let help = format!("write it as {}", Q::SUGGEST);
        self.sink.push(Diagnostic::error("quantity", at.place, message).help(help));
        None
    }

    /// A conductor size.
    pub fn gauge(&mut self, key: &'static str) -> Option<At<Gauge>> {
        self.parsed(key, "gauge", "\"1.5 mm2\", \"16 AWG\" or \"14 SAE\"", Gauge::parse)
    }

    fn parsed<T>(
        &mut self,
        key: &'static str,
        name: &str,
        suggest: &str,
        parse: impl Fn(&str) -> Result<T, QuantityError>,
    ) -> Option<At<T>> {
        let value = self.value(key)?;
        let place = self.place_of(value);
        let error = match value.get_ref() {
            DeValue::String(text) => match parse(text) {
                Ok(value) => return Some(At { value, place }),
                Err(error) => {
                    let message = format!("`{key}`: {error}");
                    Diagnostic::error("quantity", place, message).help(error.suggest())
                }
            },
            DeValue::Integer(_) | DeValue::Float(_) => {
                Diagnostic::error("quantity", place, format!("`{key}`: a {name} needs a unit"))
                    .help(format!("write it as a text with its unit: {suggest}"))
            }
            other => wrong_type(place, other, &format!("`{key}`: a {name}, such as {suggest}")),
        };
        self.sink.push(error);
        None
    }

    /// A list of texts.
    pub fn texts(&mut self, key: &'static str) -> Option<At<Vec<At<String>>>> {
        let value = self.value(key)?;
        texts_of(value, self.file(), key, self.sink)
    }

    /// Exactly two texts, such as the two ends of a fuse.
    pub fn pair(&mut self, key: &'static str) -> Option<At<[At<String>; 2]>> {
        let value = self.value(key)?;
        pair_of(value, self.file(), key, self.sink)
    }

    /// A list of pairs of texts, such as the closed ways of a switch position.
    pub fn pairs(&mut self, key: &'static str) -> Option<At<Vec<[At<String>; 2]>>> {
        let value = self.value(key)?;
        pairs_of(value, self.file(), key, self.sink)
    }

    /// The entries of a table of named things, in the order they were written.
    pub fn named(&mut self, key: &'static str, what: &str) -> Vec<(At<String>, &'a Value<'i>)> {
        let Some(value) = self.value(key) else { return Vec::new() };
        match value.get_ref() {
            DeValue::Table(table) => entries(table, self.file()),
            other => {
                let expected = format!("`{key}`: {what}, as in [{key}.NAME]");
                self.sink.push(wrong_type(self.place_of(value), other, &expected));
                Vec::new()
            }
        }
    }

    /// The entries of a list of tables, as in `[[wire]]`.
    pub fn list(&mut self, key: &'static str) -> &'a [Value<'i>] {
        let Some(value) = self.value(key) else { return &[] };
        if let DeValue::Array(items) = value.get_ref() {
            return items;
        }
        let expected = format!("`{key}`: a list of tables, as in [[{key}]]");
        self.sink.push(wrong_type(self.place_of(value), value.get_ref(), &expected));
        &[]
    }

    /// All entries of this table, in the order they were written; used where keys are names.
    pub fn entries(&self) -> Vec<(At<String>, &'a Value<'i>)> {
        entries(self.table, self.file())
    }

    /// Ends the reading: every key that was not asked for is unknown.
    pub fn finish(self) {
        let present = self.asked.iter().filter(|key| self.table.contains_key(**key)).count();
        if present == self.table.len() {
            return;
        }
        for (key, _) in self.entries() {
            if self.asked.contains(&key.value.as_str()) {
                continue;
            }
            let message = format!("{} has no key `{}`", self.what, key.value);
            let help = match nearest(&key.value, self.asked.iter().copied()) {
                Some(known) => format!("did you mean `{known}`?"),
                None => format!("known keys: {}", self.asked.join(", ")),
            };
            self.sink.push(Diagnostic::error("unknown-key", key.place, message).help(help));
        }
    }
}

fn entries<'a, 'i>(table: &'a DeTable<'i>, file: FileId) -> Vec<(At<String>, &'a Value<'i>)> {
    let mut all: Vec<_> = table
        .iter()
        .map(|(key, value)| {
            let place = Place::new(file, key.span());
            (At { value: key.get_ref().clone().into_owned(), place }, value)
        })
        .collect();
    all.sort_by_key(|(key, _)| key.place);
    all
}

/// A text, or an error naming the key it stands under.
pub fn text_of(value: &Value<'_>, file: FileId, key: &str, sink: &Sink) -> Option<At<String>> {
    let place = Place::new(file, value.span());
    match value.get_ref() {
        DeValue::String(text) => Some(At { value: text.clone().into_owned(), place }),
        other => {
            sink.push(wrong_type(place, other, &format!("`{key}`: a text in quotes")));
            None
        }
    }
}

/// A list of texts; the good ones are kept when some are not.
pub fn texts_of(value: &Value<'_>, file: FileId, key: &str, sink: &Sink) -> Option<At<Vec<At<String>>>> {
    let place = Place::new(file, value.span());
    match value.get_ref() {
        DeValue::Array(items) => {
            let texts = items.iter().filter_map(|item| text_of(item, file, key, sink)).collect();
            Some(At { value: texts, place })
        }
        other => {
            sink.push(wrong_type(place, other, &format!("`{key}`: a list of texts in square brackets")));
            None
        }
    }
}

/// Exactly two texts.
pub fn pair_of(value: &Value<'_>, file: FileId, key: &str, sink: &Sink) -> Option<At<[At<String>; 2]>> {
    let At { value: texts, place } = texts_of(value, file, key, sink)?;
    let count = texts.len();
    match <[At<String>; 2]>::try_from(texts) {
        Ok(pair) => Some(At { value: pair, place }),
        Err(_) => {
            let message = format!("`{key}` needs exactly two ends, not {count}");
            let help = format!("write it as {key} = [\"X1.1\", \"X1.2\"]");
            sink.push(Diagnostic::error("two-ends", place, message).help(help));
            None
        }
    }
}

/// A list of pairs of texts.
pub fn pairs_of(value: &Value<'_>, file: FileId, key: &str, sink: &Sink) -> Option<At<Vec<[At<String>; 2]>>> {
    let place = Place::new(file, value.span());
    match value.get_ref() {
        DeValue::Array(items) => {
            let pairs = items.iter().filter_map(|i| pair_of(i, file, key, sink)).map(|p| p.value).collect();
            Some(At { value: pairs, place })
        }
        other => {
            let expected = format!("`{key}`: a list of pairs, as in [[\"X1.1\", \"X1.2\"]]");
            sink.push(wrong_type(place, other, &expected));
            None
        }
    }
}

fn wrong_type(place: Place, found: &DeValue<'_>, expected: &str) -> Diagnostic {
    let article = if matches!(found, DeValue::Integer(_) | DeValue::Array(_)) { "an" } else { "a" };
    let message = format!("expected {expected}; found {article} {}", found.type_str());
    Diagnostic::error("wrong-type", place, message)
}
