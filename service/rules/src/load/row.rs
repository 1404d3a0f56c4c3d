//! Probabilities by suspect: single numbers (noisy-OR) and rows (noisy-MAX).

use toml::Spanned;

use super::Ids;
use crate::DefectKind;
use crate::read::{Findings, Item, Names, Section, Span};

/// What is left to rounding in a sum that should be one, and in comparisons.
const SLACK: f64 = 1e-9;

/// A probability; notes a number that is none.
pub(super) fn probability(
    section: &Section<'_>,
    key: &str,
    item: &Item<'_>,
    found: &mut Findings,
) -> Option<Spanned<f64>> {
    let number = section.as_number(key, item, found)?;
    if (0.0..=1.0).contains(number.get_ref()) {
        return Some(number);
    }
    found.error(
        &number.span(),
        DefectKind::NotAProbability,
        format!("{}: `{key}`: {} is no probability", section.name, number.get_ref()),
        "write a number from 0 to 1",
    );
    None
}

/// A table of one probability by suspect and one `otherwise`, which no suspect
/// may be below: a fault cannot make a failure rarer.
pub(super) fn by_suspect(
    section: &Section<'_>,
    ids: &Ids<'_>,
    found: &mut Findings,
) -> Option<(f64, Vec<(usize, f64)>)> {
    let item = section.required("otherwise", found);
    let otherwise = item.and_then(|item| probability(section, "otherwise", item, found));
    if let Some(one) = otherwise.as_ref().filter(|o| *o.get_ref() >= 1.0) {
        found.error(
            &one.span(),
            DefectKind::NotAProbability,
            format!("{}: `otherwise` is 1, so no suspect could add to it", section.name),
            "write a number below 1",
        );
    }
    let mut rows = Vec::new();
    for (suspect, key, item) in suspects(section, &ids.suspects, found) {
        let Some(number) = probability(section, key, item, found) else { continue };
        let least = otherwise.as_ref().map_or(0.0, |o| *o.get_ref());
        if *number.get_ref() < least {
            found.error(
                &number.span(),
                DefectKind::BelowOtherwise,
                format!("{}: `{key}` {} is below `otherwise` {least}", section.name, number.get_ref()),
                "a fault cannot make it rarer: leave the suspect out, or lower `otherwise`",
            );
        }
        rows.push((suspect, number.into_inner()));
    }
    rows.sort_unstable_by_key(|(suspect, _)| *suspect);
    Some((otherwise?.into_inner(), rows))
}

/// The entries of a table by suspect, `otherwise` left aside, resolved.
fn suspects<'a>(
    section: &Section<'a>,
    names: &Names<'a>,
    found: &mut Findings,
) -> Vec<(usize, &'a str, &'a Item<'a>)> {
    let mut entries = Vec::new();
    for (key, item) in section.entries() {
        if *key.get_ref() != "otherwise"
            && let Some(suspect) = names.find(&key, &section.name, found)
        {
            entries.push((suspect, key.into_inner(), item));
        }
    }
    entries
}

/// A table of one row by suspect and one `otherwise`, over answers from healthy
/// to worst.
pub(super) fn rows_by_suspect(
    section: &Section<'_>,
    answers: usize,
    ids: &Ids<'_>,
    at_once: usize,
    found: &mut Findings,
) -> Option<(Vec<f64>, Vec<(usize, Vec<f64>)>)> {
    let item = section.required("otherwise", found);
    let otherwise = item.and_then(|item| row(section, "otherwise", item, answers, found));
    let mut rows: Vec<Row<'_>> = Vec::new();
    let mut sound = true;
    for (suspect, key, item) in suspects(section, &ids.suspects, found) {
        let Some(numbers) = row(section, key, item, answers, found) else {
            sound = false;
            continue;
        };
        if let Some(healthy) = &otherwise {
            sound &= not_above(section, key, item, &numbers, healthy, found);
        }
        rows.push(Row { suspect, key, span: item.span(), numbers });
    }
    let otherwise = otherwise?;
    if sound {
        combine(section, &otherwise, &rows, at_once, found);
    }
    rows.sort_unstable_by_key(|row| row.suspect);
    Some((otherwise, rows.into_iter().map(|row| (row.suspect, row.numbers)).collect()))
}

/// The row of one suspect, with its place.
struct Row<'a> {
    suspect: usize,
    key: &'a str,
    span: Span,
    numbers: Vec<f64>,
}

fn row(
    section: &Section<'_>,
    key: &str,
    item: &Item<'_>,
    answers: usize,
    found: &mut Findings,
) -> Option<Vec<f64>> {
    let Some(entries) = item.get_ref().as_array() else {
        found.error(
            &item.span(),
            DefectKind::WrongType,
            format!("{}: `{key}` is of type {}", section.name, item.get_ref().type_str()),
            "write one probability for each answer, in brackets",
        );
        return None;
    };
    if entries.len() != answers {
        found.error(
            &item.span(),
            DefectKind::RowLength,
            format!("{}: `{key}` has {} numbers for {answers} answers", section.name, entries.len()),
            "write one probability for each answer, from healthy to worst",
        );
        return None;
    }
    let numbers: Vec<_> = entries.iter().map(|entry| probability(section, key, entry, found)).collect();
    let numbers: Option<Vec<f64>> = numbers.into_iter().map(|n| n.map(Spanned::into_inner)).collect();
    let numbers = numbers?;
    let sum: f64 = numbers.iter().sum();
    if (sum - 1.0).abs() > SLACK {
        found.error(
            &item.span(),
            DefectKind::RowSum,
            format!("{}: `{key}` sums to {}", section.name, trisect_measure::significant(sum, 9)),
            "the answers exclude one another: make the row sum to 1",
        );
        return None;
    }
    Some(numbers)
}

/// Notes a row that is healthier than that of no fault, in its cumulative sums.
fn not_above(
    section: &Section<'_>,
    key: &str,
    item: &Item<'_>,
    row: &[f64],
    healthy: &[f64],
    found: &mut Findings,
) -> bool {
    let above = cumulative(row).into_iter().zip(cumulative(healthy)).position(|(c, o)| c > o + SLACK);
    if let Some(answer) = above {
        found.error(
            &item.span(),
            DefectKind::RowAboveOtherwise,
            format!(
                "{}: `{key}` has more than `otherwise` on the healthiest {} answers together",
                section.name,
                answer + 1
            ),
            "a fault cannot make answers healthier: move weight to the worse ones",
        );
    }
    above.is_none()
}

/// Notes a set of up to `at_once` suspects whose rows combine to a probability
/// below zero: C(a | H) = C_o(a) ∏ C_i(a) / C_o(a) must rise with a.
fn combine(
    section: &Section<'_>,
    otherwise: &[f64],
    rows: &[Row<'_>],
    at_once: usize,
    found: &mut Findings,
) {
    let healthy = cumulative(otherwise);
    let ratios: Vec<Vec<f64>> =
        rows.iter().map(|row| ratio(&cumulative(&row.numbers), &healthy)).collect();
    // Ratios that rise make products that rise: nothing to enumerate then.
    if ratios.iter().all(|ratio| ratio.is_sorted_by(|a, b| *a <= b + SLACK)) {
        return;
    }
    let falls = |set: &[usize]| {
        let joint = |a: usize| set.iter().map(|i| ratios[*i][a]).product::<f64>() * healthy[a];
        (1..healthy.len()).any(|a| joint(a) + SLACK < joint(a - 1))
    };
    let mut set: Vec<usize> = Vec::new();
    while next_set(&mut set, ratios.len(), at_once) {
        if falls(&set) {
            let keys: Vec<_> = set.iter().map(|i| format!("`{}`", rows[*i].key)).collect();
            // Sets ascend, so the last row of one is the last in the text.
            let place = set.last().map_or(&section.span, |last| &rows[*last].span);
            found.error(
                place,
                DefectKind::RowCombination,
                format!(
                    "{}: {} together give an answer a probability below zero",
                    section.name,
                    keys.join(" and ")
                ),
                "let each row's cumulative sums, divided by those of `otherwise`, rise from answer to answer",
            );
            return;
        }
    }
}

/// The next set of up to `most` of `0..count`, ascending inside; false after the last.
fn next_set(set: &mut Vec<usize>, count: usize, most: usize) -> bool {
    let next = set.last().map_or(0, |last| last + 1);
    if set.len() < most && next < count {
        set.push(next);
        return true;
    }
    while let Some(last) = set.pop() {
        if last + 1 < count {
            set.push(last + 1);
            return true;
        }
    }
    false
}

fn cumulative(row: &[f64]) -> Vec<f64> {
    row.iter()
        .scan(0.0, |sum, p| {
            *sum += p;
            Some(*sum)
        })
        .collect()
}

fn ratio(row: &[f64], healthy: &[f64]) -> Vec<f64> {
    row.iter().zip(healthy).map(|(c, o)| if *o == 0.0 { 0.0 } else { c / o }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sets_are_all_there_once() {
        let (mut set, mut seen) = (Vec::new(), Vec::new());
        while next_set(&mut set, 4, 2) {
            seen.push(set.clone());
        }
        assert_eq!(seen.len(), 4 + 6);
        seen.sort();
        seen.dedup();
        assert_eq!(seen.len(), 10);
    }
}
