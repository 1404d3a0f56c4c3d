//! One table of the text, read key by key.

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::{Findings, Span, bare_number};
use crate::DefectKind;
use crate::words::Word;

/// A value with its place.
pub(crate) type Item<'a> = Spanned<DeValue<'a>>;

/// A table with the name it goes by in messages.
#[derive(Clone)]
pub(crate) struct Section<'a> {
    /// Such as "check `bypass-start`".
    pub name: String,
    /// Its header, or the whole of it if it is written in a line.
    pub span: Span,
    table: &'a DeTable<'a>,
}

impl<'a> Section<'a> {
    /// A table under a name.
    pub fn new(name: impl Into<String>, span: Span, table: &'a DeTable<'a>) -> Self {
        Section {
            name: name.into(),
            span,
            table,
        }
    }

    /// Notes every key that is not one of `known`.
    pub fn knows(&self, known: &[&str], found: &mut Findings) {
        for (key, _) in self.entries() {
            if known.contains(key.get_ref()) {
                continue;
            }
            let hint = match found.nearest(key.get_ref(), known.iter().copied()) {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("use one of {}", listed(known.iter().copied())),
            };
            found.error(
                &key.span(),
                DefectKind::UnknownKey,
                format!(
                    "{}: the key `{}` means nothing here",
                    self.name,
                    key.get_ref()
                ),
                hint,
            );
        }
    }

    /// Every key and value, in the order of the text.
    pub fn entries(&self) -> Vec<(Spanned<&'a str>, &'a Item<'a>)> {
        let spanned = |(key, item): (&'a Spanned<std::borrow::Cow<'a, str>>, _)| {
            (Spanned::new(key.span(), key.get_ref().as_ref()), item)
        };
        let mut entries: Vec<_> = self.table.iter().map(spanned).collect();
        entries.sort_by_key(|(key, _)| key.span().start);
        entries
    }

    /// Its id. One that is missing or no text is noted where ids are collected.
    pub fn id(&self) -> Option<String> {
        self.item("id")?.get_ref().as_str().map(str::to_owned)
    }

    /// Whether the key is there.
    pub fn has(&self, key: &str) -> bool {
        self.item(key).is_some()
    }

    /// The value of a key, if it is there.
    pub fn item(&self, key: &str) -> Option<&'a Item<'a>> {
        self.table.get(key)
    }

    /// The value of a key that must be there.
    pub fn required(&self, key: &str, found: &mut Findings) -> Option<&'a Item<'a>> {
        let item = self.item(key);
        if item.is_none() {
            found.error(
                &self.span,
                DefectKind::MissingKey,
                format!("{}: the key `{key}` is missing", self.name),
                format!("add `{key} = …`"),
            );
        }
        item
    }

    /// Text, if the key is there.
    pub fn text(&self, key: &str, found: &mut Findings) -> Option<Spanned<&'a str>> {
        self.as_text(key, self.item(key)?, found)
    }

    /// Text that must be there.
    pub fn required_text(&self, key: &str, found: &mut Findings) -> Option<Spanned<&'a str>> {
        self.as_text(key, self.required(key, found)?, found)
    }

    /// Text if the key is there, owned and without its place.
    pub fn words(&self, key: &str, found: &mut Findings) -> Option<String> {
        self.text(key, found)
            .map(|text| text.into_inner().to_owned())
    }

    /// A plain number, if the key is there.
    pub fn number(&self, key: &str, found: &mut Findings) -> Option<Spanned<f64>> {
        self.as_number(key, self.item(key)?, found)
    }

    /// A plain number that must be there.
    pub fn required_number(&self, key: &str, found: &mut Findings) -> Option<Spanned<f64>> {
        self.as_number(key, self.required(key, found)?, found)
    }

    /// A value as a plain number.
    pub fn as_number(
        &self,
        key: &str,
        item: &Item<'_>,
        found: &mut Findings,
    ) -> Option<Spanned<f64>> {
        let number = bare_number(item.get_ref());
        if number.is_none() {
            self.wrong_type(key, item, "a plain number", found);
        }
        number.map(|number| Spanned::new(item.span(), number))
    }

    /// `true` or `false`, if the key is there; `None` outside if it is neither.
    pub fn flag(&self, key: &str, found: &mut Findings) -> Option<Option<bool>> {
        let Some(item) = self.item(key) else {
            return Some(None);
        };
        match item.get_ref() {
            DeValue::Boolean(flag) => Some(Some(*flag)),
            _ => {
                self.wrong_type(key, item, "`true` or `false`", found);
                None
            }
        }
    }

    /// A list; empty if the key is not there.
    pub fn list(&self, key: &str, found: &mut Findings) -> &'a [Item<'a>] {
        let Some(item) = self.item(key) else {
            return &[];
        };
        match item.get_ref() {
            DeValue::Array(items) => items,
            _ => {
                self.wrong_type(key, item, "a list in brackets", found);
                &[]
            }
        }
    }

    /// A list of texts; empty if the key is not there.
    pub fn texts(&self, key: &str, found: &mut Findings) -> Vec<Spanned<&'a str>> {
        let items = self.list(key, found);
        items
            .iter()
            .filter_map(|item| self.as_text(key, item, found))
            .collect()
    }

    /// One word of a closed list, if the key is there.
    pub fn word<W: Word>(&self, key: &str, found: &mut Findings) -> Option<W> {
        let text = self.text(key, found)?;
        self.as_word(key, &text, found)
    }

    /// One word of a closed list that must be there.
    pub fn required_word<W: Word>(&self, key: &str, found: &mut Findings) -> Option<W> {
        let text = self.required_text(key, found)?;
        self.as_word(key, &text, found)
    }

    /// A text as one word of a closed list.
    pub fn as_word<W: Word>(
        &self,
        key: &str,
        text: &Spanned<&str>,
        found: &mut Findings,
    ) -> Option<W> {
        let word = W::WORDS
            .iter()
            .copied()
            .find(|w| w.written() == *text.get_ref());
        if word.is_none() {
            let known = || W::WORDS.iter().map(|w| w.written());
            let near = found.nearest(text.get_ref(), known());
            let hint = near.map_or_else(String::new, |near| format!("did you mean `{near}`? "));
            found.error(
                &text.span(),
                DefectKind::UnknownWord,
                format!(
                    "{}: `{key}`: `{}` is no {}",
                    self.name,
                    text.get_ref(),
                    W::WHAT
                ),
                format!("{hint}use one of {}", listed(known())),
            );
        }
        word
    }

    /// A table inside this one that must be there.
    pub fn required_section(&self, key: &str, found: &mut Findings) -> Option<Section<'a>> {
        self.required(key, found)?;
        self.section(key, found)
    }

    /// A table inside this one, if the key is there.
    pub fn section(&self, key: &str, found: &mut Findings) -> Option<Section<'a>> {
        let item = self.item(key)?;
        match item.get_ref() {
            DeValue::Table(table) => Some(Section::new(
                format!("{}: `{key}`", self.name),
                item.span(),
                table,
            )),
            _ => {
                self.wrong_type(key, item, "a table", found);
                None
            }
        }
    }

    /// The tables written as `[[key]]`, each named by its id or its place.
    pub fn sections(&self, key: &str, found: &mut Findings) -> Vec<Section<'a>> {
        let mut sections = Vec::new();
        for (i, item) in self.list(key, found).iter().enumerate() {
            let DeValue::Table(table) = item.get_ref() else {
                self.wrong_type(key, item, &format!("tables, each under `[[{key}]]`"), found);
                continue;
            };
            let name = match table.get("id").and_then(|id| id.get_ref().as_str()) {
                Some(id) => format!("{key} `{}`", id.escape_debug()),
                None => format!("{key} {}", i + 1),
            };
            sections.push(Section::new(name, item.span(), table));
        }
        sections
    }

    /// The tables of a list inside this one, each named by its place.
    pub fn tables(&self, key: &str, found: &mut Findings) -> Vec<Section<'a>> {
        let mut tables = Vec::new();
        for (i, item) in self.list(key, found).iter().enumerate() {
            let DeValue::Table(table) = item.get_ref() else {
                self.wrong_type(key, item, "a list of tables in braces", found);
                continue;
            };
            let name = format!("{}: `{key}` {}", self.name, i + 1);
            tables.push(Section::new(name, item.span(), table));
        }
        tables
    }

    fn as_text(
        &self,
        key: &str,
        item: &'a Item<'a>,
        found: &mut Findings,
    ) -> Option<Spanned<&'a str>> {
        match item.get_ref() {
            DeValue::String(text) => Some(Spanned::new(item.span(), text.as_ref())),
            _ => {
                self.wrong_type(key, item, "text in quotes", found);
                None
            }
        }
    }

    fn wrong_type(&self, key: &str, item: &Item<'_>, wanted: &str, found: &mut Findings) {
        found.error(
            &item.span(),
            DefectKind::WrongType,
            format!(
                "{}: `{key}` is of type {}",
                self.name,
                item.get_ref().type_str()
            ),
            format!("write {wanted}"),
        );
    }
}

fn listed<'k>(words: impl Iterator<Item = &'k str>) -> String {
    words
        .map(|word| format!("`{word}`"))
        .collect::<Vec<_>>()
        .join(", ")
}
