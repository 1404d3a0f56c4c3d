//! `[[suspect]]` and `[[link]]`.

use std::collections::HashSet;

use super::Ids;
use crate::read::{Findings, Section};
use crate::{DefectKind, Link, Side, Suspect};

pub(super) fn read_all(sections: &[Section<'_>], found: &mut Findings) -> Vec<Option<Suspect>> {
    sections
        .iter()
        .map(|section| read(section, found))
        .collect()
}

fn read(section: &Section<'_>, found: &mut Findings) -> Option<Suspect> {
    section.knows(&["id", "side", "title", "share", "remedy"], found);
    let id = section.id();
    let title = section.words("title", found);
    let side = section.required_word::<Side>("side", found);
    let share = positive(section, "share", found);
    let remedy = section.words("remedy", found);
    let id = id?;
    Some(Suspect {
        title: title.unwrap_or_else(|| id.clone()),
        id,
        side: side?,
        share: share?,
        remedy,
    })
}

/// A number above zero that must be there.
pub(super) fn positive(section: &Section<'_>, key: &str, found: &mut Findings) -> Option<f64> {
    let number = section.required_number(key, found)?;
    if *number.get_ref() > 0.0 {
        return Some(number.into_inner());
    }
    found.error(
        &number.span(),
        DefectKind::OutOfRange,
        format!("{}: `{key}` is {}", section.name, number.get_ref()),
        "write a number above zero",
    );
    None
}

pub(super) fn read_links(
    sections: &[Section<'_>],
    ids: &Ids<'_>,
    found: &mut Findings,
) -> Vec<Option<Link>> {
    let mut pairs = HashSet::new();
    sections
        .iter()
        .map(|section| link(section, ids, &mut pairs, found))
        .collect()
}

fn link(
    section: &Section<'_>,
    ids: &Ids<'_>,
    pairs: &mut HashSet<(usize, usize)>,
    found: &mut Findings,
) -> Option<Link> {
    section.knows(&["first", "second", "times"], found);
    let mut suspect = |key| {
        let id = section.required_text(key, found)?;
        ids.suspects
            .find(&id, &format!("{}: `{key}`", section.name), found)
    };
    let (first, second) = (suspect("first"), suspect("second"));
    let times = positive(section, "times", found);
    let (first, second) = (first?, second?);
    if first == second {
        found.error(
            &section.span,
            DefectKind::SelfReference,
            format!("{} links a suspect to itself", section.name),
            "name two different suspects",
        );
        return None;
    }
    if !pairs.insert((first.min(second), first.max(second))) {
        found.error(
            &section.span,
            DefectKind::RepeatedEntry,
            format!("{}: these two suspects are linked already", section.name),
            "keep one of the two links",
        );
    }
    Some(Link {
        first,
        second,
        times: times?,
    })
}
