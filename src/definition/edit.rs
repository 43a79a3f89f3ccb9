//! Edits of a definition's text that leave everything else as it was typed.
//!
//! Comes in: the text of one file, and what shall stand in it otherwise. Goes out: the new text, in which every byte
//! outside the edited values is the old one: comments, blank lines, alignment, line ends. Why: a definition is written
//! and read by people, and what they noted beside a wire must outlive the repair of that wire.
//!
//! The text is parsed by `toml_edit`, which knows where every key and value stands and how each table is written (under
//! a header, in braces, by dotted keys). It is changed by patches of the text and not written out anew, because a
//! rewritten file has other line ends. Whether the result means what it should is for the loader to say.

use std::ops::Range;

use toml_edit::{Document, InlineTable, Item, Key, Table, TableLike, Value};
use toml_writer::{ToTomlKey, ToTomlValue, TomlKeyBuilder, TomlStringBuilder};

/// Why a text cannot be edited.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum EditError {
    /// It is not TOML.
    #[error("the text is not valid TOML: {0}")]
    Syntax(String),
    /// What is to be edited does not stand there.
    #[error("there is no {0} in this file")]
    Missing(String),
    /// The way it is written leaves no place for the edit.
    #[error("{0} is written in a way that this edit cannot keep: make the change by hand")]
    Layout(String),
}

/// A key with what shall stand behind it, as TOML.
pub type Entry<'a> = (&'a str, String);

/// A text with the edits to be made in it.
pub struct Editor<'t> {
    text: &'t str,
    document: Document<&'t str>,
    patches: Vec<(Range<usize>, String)>,
}

/// A table and how it is written.
#[derive(Clone, Copy)]
enum Form<'a> {
    /// Under a header of its own, by dotted keys, or only through the headers of what it holds.
    Block(&'a Table),
    /// In braces.
    Braces(&'a InlineTable),
}

impl<'a> Form<'a> {
    fn of(item: &'a Item) -> Option<Self> {
        match item {
            Item::Table(table) => Some(Self::Block(table)),
            Item::Value(Value::InlineTable(table)) => Some(Self::Braces(table)),
            _ => None,
        }
    }

    fn get(self, key: &str) -> Option<(&'a Key, &'a Item)> {
        match self {
            Self::Block(table) => table.get_key_value(key),
            Self::Braces(table) => table.get_key_value(key),
        }
    }

    fn like(self) -> &'a dyn TableLike {
        match self {
            Self::Block(table) => table,
            Self::Braces(table) => table,
        }
    }

    /// Under a header of its own.
    fn has_header(self) -> bool {
        matches!(self, Self::Block(table) if !table.is_dotted() && !table.is_implicit())
    }
}

/// A text as a TOML value, on one line whatever is in it.
pub fn quoted(text: &str) -> String {
    TomlStringBuilder::new(text).as_basic().to_toml_value()
}

/// A text as a TOML key, in quotation marks only where it needs them.
pub fn bare(key: &str) -> String {
    TomlKeyBuilder::new(key).as_default().to_toml_key()
}

/// Several texts as a TOML list.
pub fn list(texts: &[String]) -> String {
    let quoted: Vec<String> = texts.iter().map(|text| quoted(text)).collect();
    format!("[{}]", quoted.join(", "))
}

impl<'t> Editor<'t> {
    /// Begins to edit a text.
    ///
    /// # Errors
    /// The text is not TOML.
    pub fn new(text: &'t str) -> Result<Self, EditError> {
        let document =
            Document::parse(text).map_err(|error| EditError::Syntax(error.message().to_owned()))?;
        Ok(Self { text, document, patches: Vec::new() })
    }

    /// The text with all edits made.
    ///
    /// # Errors
    /// Two edits meet in one place.
    pub fn finish(mut self) -> Result<String, EditError> {
        self.patches.sort_by_key(|(range, _)| (range.start, range.end));
        let mut out = String::with_capacity(self.text.len() + 256);
        let mut at = 0;
        for (range, new) in &self.patches {
            let kept =
                self.text.get(at..range.start).ok_or_else(|| EditError::Layout("one place".to_owned()))?;
            out.push_str(kept);
            out.push_str(new);
            at = range.end;
        }
        out.push_str(&self.text[at..]);
        Ok(out)
    }

    /// Sets a key of a table that the path leads to, such as `connector`, `P1`, `pin`, `K`; what is missing on the way
    /// is made.
    ///
    /// # Errors
    /// The first table of the path is missing, or the layout leaves no place.
    pub fn set(&mut self, path: &[&str], key: &str, value: &str) -> Result<(), EditError> {
        self.set_all(path, &[(key, value.to_owned())])
    }

    /// Sets several keys of one table.
    ///
    /// # Errors
    /// As [`Editor::set`].
    pub fn set_all(&mut self, path: &[&str], entries: &[Entry<'_>]) -> Result<(), EditError> {
        let root = Form::Block(self.document.as_table());
        let (mut form, mut done) = (root, 0);
        while let Some(next) =
            path.get(done).and_then(|step| form.get(step)).and_then(|(_, item)| Form::of(item))
        {
            form = next;
            done += 1;
        }
        let patches = match &path[done..] {
            [] => entries.iter().map(|(key, value)| self.put(form, key, value)).collect::<Result<_, _>>()?,
            _ if done == 0 => return Err(EditError::Missing(format!("[{}]", path.join(".")))),
            rest => vec![self.put_below(form, path, rest, entries)?],
        };
        self.patches.extend(patches);
        Ok(())
    }

    /// Puts another key with its value in the place of one; `false` where that one is not there or the other one is.
    pub fn exchange(&mut self, path: &[&str], key: &str, (new, value): (&str, &str)) -> bool {
        let mut form = Form::Block(self.document.as_table());
        for step in path {
            let Some(next) = form.get(step).and_then(|(_, item)| Form::of(item)) else { return false };
            form = next;
        }
        let span = form.get(key).and_then(|(name, item)| Some(name.span()?.start..item.span()?.end));
        let Some(span) = span.filter(|_| form.get(new).is_none()) else { return false };
        self.patches.push((span, format!("{} = {value}", bare(new))));
        true
    }

    /// Takes a key out of a table, if it is there; a comment behind it stays.
    ///
    /// # Errors
    /// A comment stands in the way.
    pub fn remove(&mut self, path: &[&str], key: &str) -> Result<(), EditError> {
        let mut form = Form::Block(self.document.as_table());
        for step in path {
            let Some(next) = form.get(step).and_then(|(_, item)| Form::of(item)) else { return Ok(()) };
            form = next;
        }
        let Some((name, item)) = form.get(key) else { return Ok(()) };
        let layout = || EditError::Layout(format!("`{key}` of {}", path.join(".")));
        let (start, end) = (name.span().ok_or_else(layout)?.start, item.span().ok_or_else(layout)?.end);
        let range = match form {
            Form::Block(_) => self.line_of(start, end),
            Form::Braces(_) => self.with_comma(start, end),
        };
        if self.text[range.clone()].contains('#') && !self.text[start..end].contains('#') {
            return Err(layout());
        }
        self.patches.push((range, String::new()));
        Ok(())
    }

    /// Sets a key of a wire.
    ///
    /// # Errors
    /// There is no such wire in this file.
    pub fn set_wire(&mut self, id: &str, key: &str, value: &str) -> Result<(), EditError> {
        let wire = self.wire(id)?;
        let patch = self.put(wire, key, value)?;
        self.patches.push(patch);
        Ok(())
    }

    /// What a wire says under a key, as it is written.
    pub fn of_wire(&self, id: &str, key: &str) -> Option<&'t str> {
        let (_, item) = self.wire(id).ok()?.get(key)?;
        self.text.get(item.span()?)
    }

    /// Adds a wire behind another, and where one is given a splice, in the form in which they are written here.
    ///
    /// # Errors
    /// There is no such wire in this file, or the layout leaves no place.
    pub fn add_behind(
        &mut self,
        id: &str,
        wire: &[Entry<'_>],
        splice: Option<(&str, &[Entry<'_>])>,
    ) -> Result<(), EditError> {
        let beside = self.wire(id)?;
        let splices = self.document.as_table().get("splice").and_then(Form::of);
        let newline = self.newline();
        let (mut patches, mut before) = (Vec::new(), String::new());
        if let Some((name, entries)) = splice {
            let header = block(&format!("[splice.{}]", bare(name)), entries, newline);
            match splices {
                Some(form @ Form::Braces(_)) => patches.push(self.put(form, name, &braces(entries))?),
                _ if beside.has_header() => before = format!("{newline}{newline}{}", header.trim_end()),
                _ => {
                    let end = self.text.len();
                    let gap = if self.text.ends_with('\n') { newline.to_owned() } else { newline.repeat(2) };
                    patches.push((end..end, gap + &header));
                }
            }
        }
        if beside.has_header() {
            let at = self.end_of_line(last_end(beside)?);
            let header = block("[[wire]]", wire, newline);
            patches.push((at..at, format!("{before}{newline}{newline}{}", header.trim_end())));
        } else {
            let span = match beside {
                Form::Braces(table) => table.span(),
                Form::Block(table) => table.span(),
            };
            let span = span.ok_or_else(|| EditError::Layout(format!("wire {id}")))?;
            let indent = self.indent(span.start);
            patches.push((span.end..span.end, format!(",{newline}{indent}{}", braces(wire))));
        }
        self.patches.extend(patches);
        Ok(())
    }

    /// Puts another file in the place of one that is used.
    ///
    /// # Errors
    /// The file is not used here.
    pub fn set_use(&mut self, old: &str, new: &str) -> Result<(), EditError> {
        let used = self.document.as_table().get("use").and_then(Item::as_array);
        let value = used.and_then(|used| used.iter().find(|value| value.as_str() == Some(old)));
        let span =
            value.and_then(Value::span).ok_or_else(|| EditError::Missing(format!("`use` of {old}")))?;
        self.patches.push((span, quoted(new)));
        Ok(())
    }

    /// The files that are used, as they are written.
    pub fn used(&self) -> Vec<String> {
        let used = self.document.as_table().get("use").and_then(Item::as_array);
        used.into_iter().flatten().filter_map(|value| value.as_str().map(str::to_owned)).collect()
    }

    /// The names of the variants.
    pub fn variants(&self) -> Vec<String> {
        let table = self.document.as_table().get("variant").and_then(Form::of);
        table.map(|form| form.like().iter().map(|(name, _)| name.to_owned()).collect()).unwrap_or_default()
    }

    fn wire(&self, id: &str) -> Result<Form<'_>, EditError> {
        let is = |form: &Form<'_>| form.get("id").and_then(|(_, item)| item.as_str()) == Some(id);
        let found = match self.document.as_table().get("wire") {
            Some(Item::ArrayOfTables(tables)) => tables.iter().map(Form::Block).find(is),
            Some(Item::Value(Value::Array(values))) => {
                values.iter().filter_map(Value::as_inline_table).map(Form::Braces).find(is)
            }
            _ => None,
        };
        found.ok_or_else(|| EditError::Missing(format!("wire {id}")))
    }

    /// The patch that sets a key of a table.
    fn put(&self, form: Form<'_>, key: &str, value: &str) -> Result<(Range<usize>, String), EditError> {
        let layout = || EditError::Layout(format!("the table of `{key}`"));
        if let Some((_, item)) = form.get(key) {
            return Ok((item.span().ok_or_else(layout)?, value.to_owned()));
        }
        let line = format!("{} = {value}", bare(key));
        match form {
            Form::Braces(table) => {
                let last = table
                    .iter()
                    .filter_map(|(name, value)| Some((table.key(name)?.span()?, value.span()?.end)));
                let Some((name, end)) = last.max_by_key(|(_, end)| *end) else {
                    let open = table.span().ok_or_else(layout)?.start + 1;
                    return Ok((open..open, format!(" {line} ")));
                };
                let opens = self.text[..name.start].rfind([',', '{']).map_or(0, |at| at + 1);
                // A dotted key goes on as the one before it begins.
                let before = if table.is_dotted() { self.text[opens..name.start].trim_start() } else { "" };
                Ok((end..end, format!(", {before}{line}")))
            }
            Form::Block(table) if table.is_implicit() && !table.is_dotted() => Err(layout()),
            Form::Block(table) => {
                let own = table.iter().filter(|(_, item)| !is_below(item));
                let last = own.filter_map(|(name, item)| Some((table.key(name)?.span()?, end_of(item)?)));
                let last = last.max_by_key(|(_, end)| *end);
                let Some((name, end)) = last else {
                    let at = self.end_of_line(table.span().ok_or_else(layout)?.start);
                    return Ok((at..at, format!("{}{line}", self.newline())));
                };
                let at = self.end_of_line(end);
                // A dotted key goes on as the one above it begins.
                let before = &self.text[self.start_of_line(name.start)..name.start];
                Ok((at..at, format!("{}{before}{line}", self.newline())))
            }
        }
    }

    /// The patch that makes a table below one that is there, with one key in it.
    fn put_below(
        &self,
        form: Form<'_>,
        path: &[&str],
        rest: &[&str],
        entries: &[Entry<'_>],
    ) -> Result<(Range<usize>, String), EditError> {
        if let Form::Braces(_) = form {
            let below = rest[1..]
                .iter()
                .rev()
                .fold(braces(entries), |inner, step| format!("{{ {} = {inner} }}", bare(step)));
            return self.put(form, rest[0], &below);
        }
        let newline = self.newline();
        let at = self.end_of_line(last_end(form)?);
        let names: Vec<String> = path.iter().map(|step| bare(step)).collect();
        let header = block(&format!("[{}]", names.join(".")), entries, newline);
        Ok((at..at, format!("{newline}{newline}{}", header.trim_end())))
    }

    fn newline(&self) -> &'static str {
        if self.text.contains("\r\n") { "\r\n" } else { "\n" }
    }

    /// Where the line of a place ends, before its line break.
    fn end_of_line(&self, at: usize) -> usize {
        let end = self.text[at..].find('\n').map_or(self.text.len(), |end| at + end);
        if self.text[..end].ends_with('\r') { end - 1 } else { end }
    }

    fn start_of_line(&self, at: usize) -> usize {
        self.text[..at].rfind('\n').map_or(0, |end| end + 1)
    }

    fn indent(&self, at: usize) -> &'t str {
        let line = &self.text[self.start_of_line(at)..at];
        &line[..line.len() - line.trim_start().len()]
    }

    /// The line of an entry, or what stands before its comment.
    fn line_of(&self, start: usize, end: usize) -> Range<usize> {
        let (from, to) = (self.start_of_line(start), self.end_of_line(end));
        let behind = &self.text[end..to];
        if behind.trim().is_empty() {
            let rest = &self.text[to..];
            let most = if rest.starts_with("\r\n") { 2 } else { usize::from(rest.starts_with('\n')) };
            return from..to + most;
        }
        start..end + (behind.len() - behind.trim_start().len())
    }

    /// An entry in braces with the comma that goes with it.
    fn with_comma(&self, start: usize, end: usize) -> Range<usize> {
        let behind = &self.text[end..];
        let blank = behind.len() - behind.trim_start().len();
        if behind[blank..].starts_with(',') {
            let rest = &behind[blank + 1..];
            return start..end + blank + 1 + (rest.len() - rest.trim_start().len());
        }
        let before = self.text[..start].trim_end();
        let from = before.strip_suffix(',').map_or(start, |before| before.trim_end().len());
        from..end
    }
}

/// Where the last thing in a table ends, whatever lies below it.
fn last_end(form: Form<'_>) -> Result<usize, EditError> {
    let last = form.like().iter().filter_map(|(_, item)| end_of(item)).max();
    let own = match form {
        Form::Block(table) => table.span().map(|span| span.start),
        Form::Braces(table) => table.span().map(|span| span.end),
    };
    last.max(own).ok_or_else(|| EditError::Layout("an empty table".to_owned()))
}

/// Whether an item stands under a header of its own.
fn is_below(item: &Item) -> bool {
    match item {
        Item::Table(table) => !table.is_dotted(),
        Item::ArrayOfTables(_) => true,
        _ => false,
    }
}

/// Where an item ends, with all that lies below it.
fn end_of(item: &Item) -> Option<usize> {
    match item {
        Item::None => None,
        Item::Value(value) => value.span().map(|span| span.end),
        Item::Table(table) => {
            let below = table.iter().filter_map(|(_, item)| end_of(item)).max();
            below.or_else(|| table.span().map(|span| span.start))
        }
        Item::ArrayOfTables(tables) => {
            tables.iter().flat_map(|table| table.iter().filter_map(|(_, item)| end_of(item))).max()
        }
    }
}

fn block(header: &str, entries: &[Entry<'_>], newline: &str) -> String {
    let lines = entries.iter().map(|(key, value)| format!("{} = {value}{newline}", bare(key)));
    format!("{header}{newline}{}", lines.collect::<String>())
}

fn braces(entries: &[Entry<'_>]) -> String {
    let entries: Vec<String> =
        entries.iter().map(|(key, value)| format!("{} = {value}", bare(key))).collect();
    format!("{{ {} }}", entries.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn edited(text: &str, edit: impl Fn(&mut Editor<'_>) -> Result<(), EditError>) -> String {
        let mut editor = Editor::new(text).unwrap();
        edit(&mut editor).unwrap();
        editor.finish().unwrap()
    }

    const BLOCKS: &str = "# top\n[harness] # h\nid = \"L\"   # the id\nrevision = \"A\"\n\n# about X1\n[connector.X1]\ncontacts = 2 # two\n\n[[wire]]\nid = \"1A\"\nfrom = \"X1.1\" # here\nto = \"X2.1\"\n# tail\n\n# about the next\n[[wire]]\nid = \"2A\"\n";

    #[test]
    fn a_value_is_replaced_and_its_comment_stays() {
        let new = edited(BLOCKS, |e| e.set_wire("1A", "from", "\"X1.2\""));
        assert_eq!(new, BLOCKS.replace("from = \"X1.1\" # here", "from = \"X1.2\" # here"));
        let new = edited(BLOCKS, |e| e.set(&["harness"], "revision", "\"B\""));
        assert_eq!(new, BLOCKS.replace("revision = \"A\"", "revision = \"B\""));
    }

    #[test]
    fn a_new_key_stands_below_the_last_of_its_table() {
        let new = edited(BLOCKS, |e| e.set_wire("1A", "length", "\"2 m\""));
        assert_eq!(new, BLOCKS.replace("to = \"X2.1\"\n", "to = \"X2.1\"\nlength = \"2 m\"\n"));
        let new = edited(BLOCKS, |e| e.set(&["connector", "X1", "pin", "1"], "spare", "true"));
        let wanted = "contacts = 2 # two\n\n[connector.X1.pin.1]\nspare = true\n\n[[wire]]";
        assert_eq!(new, BLOCKS.replace("contacts = 2 # two\n\n[[wire]]", wanted));
    }

    #[test]
    fn a_wire_and_a_splice_stand_behind_the_wire_they_came_from() {
        let wire = [("id", quoted("1B"))];
        let splice = [("title", quoted("Join"))];
        let new = edited(BLOCKS, |e| e.add_behind("1A", &wire, Some(("SP1", &splice))));
        let wanted = "to = \"X2.1\"\n\n[splice.SP1]\ntitle = \"Join\"\n\n[[wire]]\nid = \"1B\"\n# tail";
        assert_eq!(new, BLOCKS.replace("to = \"X2.1\"\n# tail", wanted));
    }

    #[test]
    fn tables_in_braces_and_dotted_keys_keep_their_form() {
        let text = "connector.X1 = { contacts = 2, pin.1 = { spare = true } } # x\r\nconnector.X2.contacts = 2\r\nwire = [\r\n  { id = \"1A\", from = \"X1.1\" }, # first\r\n]\r\n";
        let new = edited(text, |e| e.set(&["connector", "X1", "pin", "2"], "spare", "true"));
        assert!(new.contains("pin.1 = { spare = true }, pin.2 = { spare = true } }"), "{new}");
        let new = edited(text, |e| e.set(&["connector", "X2"], "title", "\"T\""));
        assert!(new.contains("connector.X2.contacts = 2\r\nconnector.X2.title = \"T\"\r\n"), "{new}");
        let wire = [("id", quoted("1B"))];
        let new = edited(text, |e| e.add_behind("1A", &wire, Some(("SP1", &[("title", quoted("J"))]))));
        assert!(
            new.contains("{ id = \"1A\", from = \"X1.1\" },\r\n  { id = \"1B\" }, # first\r\n]"),
            "{new}"
        );
        assert!(new.ends_with("]\r\n\r\n[splice.SP1]\r\ntitle = \"J\"\r\n"), "{new}");
    }

    #[test]
    fn what_is_taken_out_leaves_its_comment() {
        let new = edited(BLOCKS, |e| e.remove(&["harness"], "id"));
        assert_eq!(new, BLOCKS.replace("id = \"L\"   # the id", "# the id"));
        let text = "pin = { a = 1, b = 2 }\n";
        assert_eq!(edited(text, |e| e.remove(&["pin"], "a")), "pin = { b = 2 }\n");
        assert_eq!(edited(text, |e| e.remove(&["pin"], "b")), "pin = { a = 1 }\n");
        assert_eq!(edited(text, |e| e.remove(&["pin"], "c")), text);
    }
}
