//! Ids: collected first, resolved afterwards, with the nearest known one offered.

use std::collections::HashMap;

use toml::Spanned;

use super::{Findings, Section, Span};
use crate::DefectKind;

/// The ids of one kind of table, in the order of the text.
pub(crate) struct Names<'a> {
    what: &'static str,
    index: HashMap<&'a str, usize>,
    count: usize,
}

impl<'a> Names<'a> {
    /// Takes the `id` of each section; one that is missing, misspelt or given
    /// twice is noted. A section keeps its place in the count all the same.
    pub fn collect(what: &'static str, sections: &[Section<'a>], found: &mut Findings) -> Self {
        let mut names = Names {
            what,
            index: HashMap::new(),
            count: 0,
        };
        names.extend(sections, found);
        names
    }

    /// Adds the ids of more sections to the same index space.
    pub fn extend(&mut self, sections: &[Section<'a>], found: &mut Findings) {
        for section in sections {
            let place = self.count;
            self.count += 1;
            let Some(id) = section.required_text("id", found) else {
                continue;
            };
            // What refers to a misspelt id by the same spelling is not wrong itself.
            check_id(id.get_ref(), &id.span(), &section.name, found);
            if self.index.insert(id.get_ref(), place).is_some() {
                found.error(
                    &id.span(),
                    DefectKind::DuplicateId,
                    format!(
                        "{}: another {} has the id `{}`",
                        section.name,
                        self.what,
                        id.get_ref()
                    ),
                    "give each its own id",
                );
            }
        }
    }

    /// The index of an id; one that nothing has is noted.
    pub fn find(&self, id: &Spanned<&str>, place: &str, found: &mut Findings) -> Option<usize> {
        let index = self.index.get(id.get_ref()).copied();
        if index.is_none() {
            let hint = match found.nearest(id.get_ref(), self.index.keys().copied()) {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("use the id of a {}, or add one", self.what),
            };
            found.error(
                &id.span(),
                DefectKind::UnresolvedId,
                format!("{place}: there is no {} `{}`", self.what, id.get_ref()),
                hint,
            );
        }
        index
    }

    /// The indexes of a list of ids; each that does not resolve, or comes
    /// twice, is noted and left out.
    pub fn find_all(
        &self,
        section: &Section<'a>,
        key: &str,
        found: &mut Findings,
    ) -> Vec<(usize, Span)> {
        let place = format!("{}: `{key}`", section.name);
        let mut indexes: Vec<(usize, Span)> = Vec::new();
        for id in section.texts(key, found) {
            let Some(index) = self.find(&id, &place, found) else {
                continue;
            };
            if indexes.iter().any(|(known, _)| *known == index) {
                found.error(
                    &id.span(),
                    DefectKind::RepeatedEntry,
                    format!("{place} lists `{}` twice", id.get_ref()),
                    "list it once",
                );
            } else {
                indexes.push((index, id.span()));
            }
        }
        indexes
    }
}

/// Notes an `id` that is not spelt like one.
pub(crate) fn check_id(id: &str, span: &Span, place: &str, found: &mut Findings) {
    let letters = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    let spelt = id.len() <= 64
        && id.starts_with(|c: char| c.is_ascii_alphanumeric())
        && id.chars().all(letters)
        // It names the row of no fault in every table by suspect.
        && id != "otherwise";
    if !spelt {
        found.error(
            span,
            DefectKind::BadId,
            format!("{place}: `{}` is no id", id.escape_debug()),
            "write 1 to 64 letters, digits and hyphens, such as `lift-pump-weak`; `otherwise` is taken",
        );
    }
}

/// The known word most like `word`, if any is alike.
pub(super) fn nearest<'k>(word: &str, known: impl Iterator<Item = &'k str>) -> Option<&'k str> {
    let alike = |k: &'k str| (strsim::normalized_damerau_levenshtein(word, k), k);
    known
        .map(alike)
        .filter(|(likeness, _)| *likeness >= 0.5)
        // By name where two are equally alike: the order must not depend on a hash.
        .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(a.1)))
        .map(|(_, k)| k)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_is_offered_only_if_it_is_near() {
        let known = ["at_least", "at_most"];
        assert_eq!(nearest("at_lest", known.into_iter()), Some("at_least"));
        assert_eq!(nearest("zzz", known.into_iter()), None);
    }
}
