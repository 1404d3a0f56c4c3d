//! `limit`: an end or two, each fixed or by another point.

use super::Ids;
use crate::read::{Findings, Item, Scale, Section, amount};
use crate::{Bound, DefectKind};

pub(super) struct Limit {
    pub at_least: Option<Bound>,
    pub at_most: Option<Bound>,
}

/// Reads a limit. Without a scale (its point is defective) only its shape is
/// looked at.
pub(super) fn read(
    section: &Section<'_>,
    scale: Option<Scale>,
    ids: &Ids<'_>,
    found: &mut Findings,
) -> Option<Limit> {
    section.knows(&["at_least", "at_most"], found);
    has_end(section, found)?;
    let scale = scale?;
    let at_least = end(section, "at_least", scale, ids, found);
    let at_most = end(section, "at_most", scale, ids, found);
    let limit = Limit {
        at_least: at_least?,
        at_most: at_most?,
    };
    if let (Some(low), Some(high)) = (&limit.at_least, &limit.at_most)
        && low.most() > high.least()
        && matches!((low, high), (Bound::Fixed(_), _) | (_, Bound::Fixed(_)))
    {
        found.error(
            &section.span,
            DefectKind::LimitReversed,
            format!(
                "{}: `at_least` is above `at_most`, so nothing could pass",
                section.name
            ),
            "swap the two, or mend the one that is wrong",
        );
        return None;
    }
    Some(limit)
}

/// Notes a table without an end.
pub(super) fn has_end(section: &Section<'_>, found: &mut Findings) -> Option<()> {
    if section.has("at_least") || section.has("at_most") {
        return Some(());
    }
    found.error(
        &section.span,
        DefectKind::LimitMissing,
        format!("{} has no end", section.name),
        "add `at_least = …`, `at_most = …` or both",
    );
    None
}

/// One end, if it is there; `None` outside if it is defective.
fn end(
    section: &Section<'_>,
    key: &str,
    scale: Scale,
    ids: &Ids<'_>,
    found: &mut Findings,
) -> Option<Option<Bound>> {
    let Some(item) = section.item(key) else {
        return Some(None);
    };
    if !item.get_ref().is_table() {
        let place = format!("{}: `{key}`", section.name);
        return amount(item, scale, &place, found).map(|value| Some(Bound::Fixed(value)));
    }
    table(&section.section(key, found)?, scale, ids, found).map(Some)
}

fn table(
    section: &Section<'_>,
    scale: Scale,
    ids: &Ids<'_>,
    found: &mut Findings,
) -> Option<Bound> {
    section.knows(&["by", "table"], found);
    let by = section.required_text("by", found).and_then(|id| {
        ids.points
            .find(&id, &format!("{}: `by`", section.name), found)
    });
    let item = section.required("table", found)?;
    let by_scale = by
        .and_then(|by| ids.yields.get(by).copied().flatten())?
        .scale();
    let read: Vec<_> = section
        .list("table", found)
        .iter()
        .map(|entry| row(section, entry, by_scale, scale, found))
        .collect();
    let rows: Option<Vec<(f64, f64)>> = read.into_iter().collect();
    Some(Bound::Table {
        by: by?,
        rows: ordered(section, item, rows?, found)?,
    })
}

fn row(
    section: &Section<'_>,
    entry: &Item<'_>,
    by: Scale,
    scale: Scale,
    found: &mut Findings,
) -> Option<(f64, f64)> {
    let place = format!("{}: `table`", section.name);
    let Some([at, limit]) = entry.get_ref().as_array().map(|pair| &pair[..]) else {
        found.error(
            &entry.span(),
            DefectKind::WrongType,
            format!("{place}: a row is not a pair"),
            "write rows such as `[\"21 degC\", \"9.6 V\"]`",
        );
        return None;
    };
    let at = amount(at, by, &place, found);
    let limit = amount(limit, scale, &place, found);
    at.zip(limit)
}

/// The rows ascending; they may be written either way, but not mixed.
fn ordered(
    section: &Section<'_>,
    item: &Item<'_>,
    mut rows: Vec<(f64, f64)>,
    found: &mut Findings,
) -> Option<Vec<(f64, f64)>> {
    if item.get_ref().is_array() && rows.len() < 2 {
        found.error(
            &item.span(),
            DefectKind::TableNotOrdered,
            format!("{}: `table` has {} rows", section.name, rows.len()),
            "write at least two rows, or a plain value instead of a table",
        );
    }
    if rows
        .first()
        .zip(rows.last())
        .is_some_and(|(first, last)| first.0 > last.0)
    {
        rows.reverse();
    }
    if rows.is_sorted_by(|a, b| a.0 < b.0) {
        return Some(rows);
    }
    found.error(
        &item.span(),
        DefectKind::TableNotOrdered,
        format!("{}: the rows of `table` are not in order", section.name),
        "order the rows by their first value, each only once",
    );
    None
}
