//! `presumes`: what has to have come of other checks for one to mean anything.

use super::Ids;
use super::check::indexes;
use crate::read::{Findings, Section, Span};
use crate::{DefectKind, Outcome, Presumption};

/// Reads what a check presumes, and the checks that it waits for by that.
pub(super) fn read_all(
    section: &Section<'_>,
    ids: &Ids<'_>,
    found: &mut Findings,
) -> (Vec<Presumption>, Vec<(usize, Span)>) {
    let read: Vec<_> = section
        .tables("presumes", found)
        .iter()
        .filter_map(|presumption| read(presumption, ids, found))
        .collect();
    read.into_iter().unzip()
}

fn read(
    section: &Section<'_>,
    ids: &Ids<'_>,
    found: &mut Findings,
) -> Option<(Presumption, (usize, Span))> {
    section.knows(&["check", "is", "complaint"], found);
    let check = section.required_text("check", found).and_then(|id| {
        let place = format!("{}: `check`", section.name);
        let index = ids.checks.find(&id, &place, found)?;
        Some((index, id.span()))
    });
    let is = section.required_word::<Outcome>("is", found);
    let complaints = indexes(&ids.complaints.find_all(section, "complaint", found));
    if let Some(Outcome::Undecided | Outcome::Void) = is {
        let place = section
            .item("is")
            .map_or(section.span.clone(), |item| item.span());
        found.error(
            &place,
            DefectKind::OutOfRange,
            format!("{}: nothing can rest on what was not settled", section.name),
            "write `passed` or `failed`",
        );
        return None;
    }
    let (check, at) = check?;
    let presumption = Presumption {
        check,
        is: is?,
        complaints,
    };
    Some((presumption, (check, at)))
}
