//! Reading TOML for people: every value keeps its place, and whatever is wrong
//! is noted and stepped over, so that all defects of a text come out at once.
//!
//! A getter that returns `None` has noted why, or the key is not there and need
//! not be.

mod amount;
mod findings;
mod names;
mod place;
mod section;

pub(crate) use amount::{Scale, amount, bare_number, duration, entry_hint, entry_kind};
pub(crate) use findings::Findings;
pub(crate) use names::{Names, check_id};
pub(crate) use place::places;
pub(crate) use section::{Item, Section};

/// A range of byte offsets in the text.
pub(crate) type Span = std::ops::Range<usize>;

/// Parses the text as far as it goes, noting what is not TOML.
pub(crate) fn document<'a>(
    text: &'a str,
    found: &mut Findings,
) -> toml::Spanned<toml::de::DeTable<'a>> {
    let (table, errors) = toml::de::DeTable::parse_recoverable(text);
    for error in errors {
        found.syntax(&error, text.len());
    }
    table
}
