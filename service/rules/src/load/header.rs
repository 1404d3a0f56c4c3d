//! The keys above the first table.

use std::ops::RangeInclusive;

use crate::read::{Findings, Section};
use crate::{DefectKind, Format};

pub(super) const KEYS: [&str; 17] = [
    "format",
    "id",
    "version",
    "title",
    "isolate_at",
    "also_at",
    "faults_at_once",
    "none",
    "coincidence",
    "link",
    "test_point",
    "derived",
    "suspect",
    "check",
    "proof",
    "complaint",
    "caution",
];

/// More sets of suspects than this would make every verdict slow.
const MOST_HYPOTHESES: u128 = 100_000;

pub(super) struct Header {
    pub format: Format,
    pub id: String,
    pub version: String,
    pub title: String,
    pub isolate_at: f64,
    pub also_at: f64,
    pub faults_at_once: usize,
    pub none: f64,
    pub coincidence: f64,
}

pub(super) fn read(root: &Section<'_>, found: &mut Findings) -> Option<Header> {
    let format = format(root, found);
    let id = root.required_text("id", found);
    if let Some(id) = &id {
        crate::read::check_id(id.get_ref(), &id.span(), &root.name, found);
    }
    let version = root.required_text("version", found);
    let title = root.words("title", found);
    let isolate_at = within(root, "isolate_at", 0.95, 0.0..=1.0, found);
    let also_at = within(root, "also_at", 0.10, 0.0..=1.0, found);
    let faults_at_once = within(root, "faults_at_once", 2.0, 1.0..=3.0, found);
    let none = within(root, "none", 0.05, 0.0..=f64::MAX, found);
    let coincidence = within(root, "coincidence", 0.1, 0.0..=f64::MAX, found);
    if let (Some(isolate_at), Some(also_at)) = (isolate_at, also_at)
        && also_at > isolate_at
    {
        let place = root.item("also_at").or(root.item("isolate_at"));
        found.error(
            &place.map_or(0..0, |item| item.span()),
            DefectKind::OutOfRange,
            format!("rule set: `also_at` {also_at} is above `isolate_at` {isolate_at}"),
            "a side is said to be not cleared well before it is named: keep `also_at` below",
        );
    }
    let whole = faults_at_once.filter(|n| n.fract() == 0.0);
    if let (Some(faults), None, Some(item)) = (faults_at_once, whole, root.item("faults_at_once")) {
        found.error(
            &item.span(),
            DefectKind::OutOfRange,
            format!("rule set: `faults_at_once` {faults} is no whole number"),
            "write 1, 2 or 3",
        );
    }
    let id = id?.into_inner().to_owned();
    Some(Header {
        format: format?,
        title: title.unwrap_or_else(|| id.clone()),
        id,
        version: version?.into_inner().to_owned(),
        isolate_at: isolate_at?,
        also_at: also_at?,
        // In 1 to 3, as was looked at above.
        faults_at_once: whole? as usize,
        none: none?,
        coincidence: coincidence?,
    })
}

/// The format that a text says it is written in.
pub(crate) fn format(root: &Section<'_>, found: &mut Findings) -> Option<Format> {
    let format = root.required_number("format", found)?;
    if *format.get_ref() == 1.0 {
        return Some(Format::One);
    }
    if *format.get_ref() == 2.0 {
        return Some(Format::Two);
    }
    found.error(
        &format.span(),
        DefectKind::WrongFormat,
        format!(
            "{}: `format` {} is not understood",
            root.name,
            format.get_ref()
        ),
        "write `format = 1`, or `format = 2` where tests are runs",
    );
    None
}

/// A number in a range, or its default.
fn within(
    root: &Section<'_>,
    key: &str,
    default: f64,
    range: RangeInclusive<f64>,
    found: &mut Findings,
) -> Option<f64> {
    if !root.has(key) {
        return Some(default);
    }
    let number = root.number(key, found)?;
    if range.contains(number.get_ref()) {
        return Some(number.into_inner());
    }
    let hint = if *range.end() == f64::MAX {
        format!("write a number of at least {}", range.start())
    } else {
        format!("write a number from {} to {}", range.start(), range.end())
    };
    found.error(
        &number.span(),
        DefectKind::OutOfRange,
        format!("{}: `{key}` is {}", root.name, number.get_ref()),
        hint,
    );
    None
}

/// How many suspects at once to reckon with; notes a rule set with more sets
/// of suspects than can be weighed, for which it is 1.
pub(super) fn weigh(
    root: &Section<'_>,
    suspects: usize,
    at_once: usize,
    found: &mut Findings,
) -> usize {
    let (mut sets, mut of_size) = (1u128, 1u128);
    for size in 0..at_once {
        of_size = of_size * suspects.saturating_sub(size) as u128 / (size as u128 + 1);
        sets += of_size;
    }
    if sets <= MOST_HYPOTHESES {
        return at_once;
    }
    let place = root.item("faults_at_once").or(root.item("suspect"));
    found.error(
        &place.map_or(0..0, |item| item.span()),
        DefectKind::OutOfRange,
        format!("rule set: {suspects} suspects, {at_once} at once, make {sets} hypotheses"),
        format!("lower `faults_at_once` or leave out suspects: {MOST_HYPOTHESES} is the most"),
    );
    1
}
