//! `while`: what has to hold at other points while a check's readings are taken.

use super::{Ids, limit};
use crate::read::{Findings, Section, amount};
use crate::{Condition, DefectKind};

/// Reads the conditions of a check; `None` if one is defective.
pub(super) fn read_all(
    section: &Section<'_>,
    ids: &Ids<'_>,
    found: &mut Findings,
) -> Option<Vec<Condition>> {
    let conditions: Vec<_> = section
        .tables("while", found)
        .iter()
        .map(|condition| read(condition, ids, found))
        .collect();
    conditions.into_iter().collect()
}

fn read(section: &Section<'_>, ids: &Ids<'_>, found: &mut Findings) -> Option<Condition> {
    section.knows(&["point", "at_least", "at_most"], found);
    let point = section.required_text("point", found).and_then(|id| {
        ids.points
            .find(&id, &format!("{}: `point`", section.name), found)
    });
    limit::has_end(section, found)?;
    let point = point?;
    let scale = ids.yields.get(point).copied().flatten()?.scale();
    let mut end = |key: &str| {
        let Some(item) = section.item(key) else {
            return Some(None);
        };
        amount(item, scale, &format!("{}: `{key}`", section.name), found).map(Some)
    };
    let (at_least, at_most) = (end("at_least"), end("at_most"));
    let (at_least, at_most) = (at_least?, at_most?);
    if at_least.zip(at_most).is_some_and(|(low, high)| low > high) {
        found.error(
            &section.span,
            DefectKind::LimitReversed,
            format!(
                "{}: `at_least` is above `at_most`, so it could never hold",
                section.name
            ),
            "swap the two, or mend the one that is wrong",
        );
        return None;
    }
    Some(Condition {
        point,
        at_least,
        at_most,
    })
}
