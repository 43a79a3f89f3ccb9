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
    /// Its id, once that is known.
    id: Option<At<String>>,
    asked: Vec<&'static str>,
    /// How many of the keys asked for are there.
    found: usize,
    sink: &'a Sink,
}

impl<'a, 'i> Reader<'a, 'i> {
    /// Starts reading a table.
    pub fn new(table: &'a DeTable<'i>, place: Place, what: &'static str, sink: &'a Sink) -> Self {
        // Room for the keys of every kind of table: a machine has hundreds of thousands of tables.
        Self { table, place, what, id: None, asked: Vec::with_capacity(32), found: 0, sink }
    }

    /// Starts reading a value that must be a table; anything else is an error.
    pub fn of_value(value: &'a Value<'i>, file: FileId, what: &'static str, sink: &'a Sink) -> Option<Self> {
        let place = Place::new(file, value.span());
        match value.get_ref() {
            DeValue::Table(table) => Some(Self::new(table, place, what, sink)),
            other => {
                let help = "give it a header of its own, or write it in braces: { key = \"value\" }";
                let message = format!("{what} is a table, not {}", type_words(other));
                sink.push(Diagnostic::error("wrong-type", place, message).help(help));
                None
            }
        }
    }

    /// Says which of its kind the table is, so that messages can name it.
    pub fn identify(&mut self, id: Option<&At<String>>) {
        self.id = id.cloned();
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
        let value = self.table.get(key);
        self.found += usize::from(value.is_some() && !self.asked.contains(&key));
        self.asked.push(key);
        value
    }

    /// A text.
    pub fn text(&mut self, key: &'static str) -> Option<At<String>> {
        let value = self.value(key)?;
        text_of(value, self.file(), key, self.sink)
    }

    /// A text that must be there.
    pub fn required_text(&mut self, key: &'static str) -> Option<At<String>> {
        if let Some(value) = self.value(key) {
            return text_of(value, self.file(), key, self.sink);
        }
        let (message, place) = match &self.id {
            Some(id) => {
                let what = self.what.strip_prefix("a ").unwrap_or(self.what);
                (format!("{what} {} needs `{key}`", id.value), id.place)
            }
            None => (format!("{} needs `{key}`", self.what), self.place),
        };
        let help = format!("add {key} = \"…\"");
        self.sink.push(Diagnostic::error("missing-key", place, message).help(help));
        None
    }

    /// Whether a key is written, be its value good or not.
    pub fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// Every key that is written, be its value good or not.
    pub fn written(&self) -> impl Iterator<Item = &str> {
        self.table.keys().map(|key| key.get_ref().as_ref())
    }

    /// `true` or `false`.
    pub fn flag(&mut self, key: &'static str) -> Option<At<bool>> {
        let value = self.value(key)?;
        let place = self.place_of(value);
        match value.get_ref() {
            DeValue::Boolean(value) => Some(At { value: *value, place }),
            other => {
                let help = format!("write {key} = true or {key} = false, without quotes");
                self.sink.push(wrong_type(place, key, other, "true or false", help));
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
        self.parsed(key, Gauge::NAME, Gauge::SUGGEST, Gauge::parse)
    }

    /// A text that holds a quantity whose kind is known only later.
    pub fn quantity_text(&mut self, key: &'static str, suggest: &str) -> Option<At<String>> {
        let value = self.value(key)?;
        if let DeValue::Integer(_) | DeValue::Float(_) = value.get_ref() {
            let message = format!("`{key}` needs a unit");
            let help = format!("write it as a text with its unit: {suggest}");
            self.sink.push(Diagnostic::error("quantity", self.place_of(value), message).help(help));
            return None;
        }
        text_of(value, self.file(), key, self.sink)
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
            other => wrong_type(place, key, other, &format!("a {name}"), format!("write it as {suggest}")),
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

    /// The entries of a table of named things, in the order they were written; `example` is how they
    /// are written, for messages.
    pub fn named(&mut self, key: &'static str, example: &str) -> Vec<(At<String>, &'a Value<'i>)> {
        let Some(value) = self.value(key) else { return Vec::new() };
        match value.get_ref() {
            DeValue::Table(table) => entries(table, self.file()),
            other => {
                let help = format!("write it as {example}");
                self.sink.push(wrong_type(self.place_of(value), key, other, "a table of names", help));
                Vec::new()
            }
        }
    }

    /// The entries of a list of tables; `example` is how they are written, for messages: `[[wire]]`.
    pub fn list(&mut self, key: &'static str, example: &str) -> &'a [Value<'i>] {
        let Some(value) = self.value(key) else { return &[] };
        if let DeValue::Array(items) = value.get_ref() {
            return items;
        }
        let help = format!("write each as {example}, with its id below");
        self.sink.push(wrong_type(self.place_of(value), key, value.get_ref(), "a list of tables", help));
        &[]
    }

    /// All entries of this table, in the order they were written; used where keys are names.
    pub fn entries(&self) -> Vec<(At<String>, &'a Value<'i>)> {
        entries(self.table, self.file())
    }

    /// Ends the reading: every key that was not asked for is unknown.
    pub fn finish(self) {
        if self.found == self.table.len() {
            return;
        }
        for (key, _) in self.entries() {
            if self.asked.contains(&key.value.as_str()) {
                continue;
            }
            if self.sink.is_full() {
                // The first key beyond the limit still has to be known as an error.
                self.sink.push(Diagnostic::error("unknown-key", key.place, "unknown key"));
                return;
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
    let help = match value.get_ref() {
        DeValue::String(text) => return Some(At { value: text.clone().into_owned(), place }),
        DeValue::Integer(number) => format!("put it in quotes: \"{}\"", number.as_str()),
        DeValue::Float(number) => format!("put it in quotes: \"{}\"", number.as_str()),
        _ => "write one text in quotes: \"…\"".to_owned(),
    };
    sink.push(wrong_type(place, key, value.get_ref(), "a text", help));
    None
}

/// A list of texts; the good ones are kept when some are not.
pub fn texts_of(value: &Value<'_>, file: FileId, key: &str, sink: &Sink) -> Option<At<Vec<At<String>>>> {
    let place = Place::new(file, value.span());
    let items = list_of(value, file, key, sink)?;
    let texts = items.iter().filter_map(|item| text_of(item, file, key, sink)).collect();
    Some(At { value: texts, place })
}

fn list_of<'a, 'i>(value: &'a Value<'i>, file: FileId, key: &str, sink: &Sink) -> Option<&'a [Value<'i>]> {
    let help = match value.get_ref() {
        DeValue::Array(items) => return Some(items),
        DeValue::String(text) => format!("put it in square brackets: [{text:?}]"),
        _ => "write texts in square brackets: [\"…\", \"…\"]".to_owned(),
    };
    let place = Place::new(file, value.span());
    sink.push(wrong_type(place, key, value.get_ref(), "a list of texts", help));
    None
}

/// A list whose items are all lists; one that is not is reported once, for the whole.
pub fn lists_of<'a, 'i>(
    value: &'a Value<'i>,
    file: FileId,
    key: &str,
    example: &str,
    sink: &Sink,
) -> Option<&'a [Value<'i>]> {
    let is_list = |item: &Value<'_>| matches!(item.get_ref(), DeValue::Array(_));
    if let DeValue::Array(items) = value.get_ref()
        && items.iter().all(is_list)
    {
        return Some(items);
    }
    let message = format!("`{key}`: a list of lists belongs here");
    let help = format!("put each inner list in square brackets of its own: {key} = {example}");
    let place = Place::new(file, value.span());
    sink.push(Diagnostic::error("wrong-type", place, message).help(help));
    None
}

/// Exactly two texts, the ends of something.
pub fn pair_of(value: &Value<'_>, file: FileId, key: &str, sink: &Sink) -> Option<At<[At<String>; 2]>> {
    let items = list_of(value, file, key, sink)?;
    let place = Place::new(file, value.span());
    let texts: Vec<_> = items.iter().filter_map(|item| text_of(item, file, key, sink)).collect();
    // Items that are no texts have had their own error.
    if texts.len() < items.len() {
        return None;
    }
    if let Ok(pair) = <[At<String>; 2]>::try_from(texts) {
        return Some(At { value: pair, place });
    }
    let message = format!("`{key}` needs exactly two ends, not {}", items.len());
    let help = "write two ends in square brackets: [\"X1.1\", \"X1.2\"]";
    sink.push(Diagnostic::error("two-ends", place, message).help(help));
    None
}

/// A list of pairs of texts.
pub fn pairs_of(value: &Value<'_>, file: FileId, key: &str, sink: &Sink) -> Option<At<Vec<[At<String>; 2]>>> {
    let place = Place::new(file, value.span());
    let items = lists_of(value, file, key, "[[\"X1.1\", \"X1.2\"]]", sink)?;
    let pairs = items.iter().filter_map(|i| pair_of(i, file, key, sink)).map(|p| p.value).collect();
    Some(At { value: pairs, place })
}

fn wrong_type(
    place: Place,
    key: &str,
    found: &DeValue<'_>,
    expected: &str,
    help: impl Into<String>,
) -> Diagnostic {
    let message = format!("`{key}`: {expected} belongs here, not {}", type_words(found));
    Diagnostic::error("wrong-type", place, message).help(help)
}

/// What a value is, in words that need no knowledge of TOML.
fn type_words(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}
