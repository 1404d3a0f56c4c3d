//! `[[check]]`: what measured and asked checks have in common.

use super::{Ids, asked, cycle, measured, presumption};
use crate::read::{Findings, Section, Span};
use crate::{Check, DefectKind, How, Presumption};

pub(super) const COMMON: [&str; 10] = [
    "id",
    "title",
    "minutes",
    "needs",
    "advise_after",
    "cautions",
    "note",
    "drive",
    "presumes",
    "survives_repair",
];

/// Whether a check is a measured one: it names a point, and asks nothing.
pub(super) fn is_measured(section: &Section<'_>) -> bool {
    section.has("point") && !section.has("ask")
}

/// Reads every check. `at_once` is how many suspects may be present at once.
pub(super) fn read_all(
    sections: &[Section<'_>],
    ids: &Ids<'_>,
    at_once: usize,
    found: &mut Findings,
) -> Vec<Option<Check>> {
    let mut waits = Vec::with_capacity(sections.len());
    let mut checks = Vec::with_capacity(sections.len());
    for section in sections {
        let needs = ids.checks.find_all(section, "needs", found);
        let advise_after = ids.checks.find_all(section, "advise_after", found);
        let (presumes, presumed) = presumption::read_all(section, ids, found);
        checks.push(read(
            section,
            ids,
            at_once,
            indexes(&needs),
            indexes(&advise_after),
            presumes,
            found,
        ));
        waits.push(
            needs
                .into_iter()
                .chain(advise_after)
                .chain(presumed)
                .collect(),
        );
    }
    cycle::note(sections, &waits, found);
    checks
}

fn read(
    section: &Section<'_>,
    ids: &Ids<'_>,
    at_once: usize,
    needs: Vec<usize>,
    advise_after: Vec<usize>,
    presumes: Vec<Presumption>,
    found: &mut Findings,
) -> Option<Check> {
    let id = section.id();
    let title = section.words("title", found);
    let minutes = match section.has("minutes") {
        true => super::suspect::positive(section, "minutes", found),
        false => Some(5.0),
    };
    let cautions = indexes(&ids.cautions.find_all(section, "cautions", found));
    let note = section.words("note", found);
    let survives_repair = section.flag("survives_repair", found);
    let how = how(section, ids, at_once, found);
    let (id, how) = (id?, how?);
    let untitled = match &how {
        How::Measured(_) => &id,
        How::Asked(asked) => &asked.ask,
    };
    Some(Check {
        title: title.unwrap_or_else(|| untitled.clone()),
        id,
        minutes: minutes?,
        needs,
        advise_after,
        presumes,
        survives_repair: survives_repair?.unwrap_or(false),
        cautions,
        note,
        how,
    })
}

fn how(section: &Section<'_>, ids: &Ids<'_>, at_once: usize, found: &mut Findings) -> Option<How> {
    match (section.has("point"), section.has("ask")) {
        (true, false) => measured::read(section, ids, found).map(How::Measured),
        (false, true) => asked::read(section, ids, at_once, found).map(How::Asked),
        (both, _) => {
            let (has, hint) = if both {
                (
                    "both `point` and `ask`",
                    "make two checks of it, or drop one of the keys",
                )
            } else {
                (
                    "neither `point` nor `ask`",
                    "add `point = …` if it is measured, `ask = …` if it is asked",
                )
            };
            let message = format!("{} has {has}", section.name);
            found.error(&section.span, DefectKind::MixedTable, message, hint);
            None
        }
    }
}

pub(super) fn indexes(found: &[(usize, Span)]) -> Vec<usize> {
    found.iter().map(|(index, _)| *index).collect()
}
