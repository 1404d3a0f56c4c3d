//! Tables of one row by suspect, over answers from healthy to worst (noisy-MAX).

use toml::Spanned;

use super::Ids;
use super::probability::{probability, suspects};
use crate::DefectKind;
use crate::read::{Findings, Item, Section, Span};

/// What is left to rounding in a sum that should be one, and in comparisons.
const SLACK: f64 = 1e-9;

/// The row of no fault and the rows of suspects.
pub(super) struct Rows {
    pub otherwise: Vec<f64>,
    pub by_suspect: Vec<(usize, Vec<f64>)>,
}

/// A table of one row by suspect and one `otherwise`, over answers from healthy
/// to worst.
pub(super) fn rows_by_suspect(
    section: &Section<'_>,
    answers: &[String],
    ids: &Ids<'_>,
    at_once: usize,
    found: &mut Findings,
) -> Option<Rows> {
    let count = answers.len();
    let item = section.required("otherwise", found);
    let otherwise = item.and_then(|item| row(section, "otherwise", item, count, found));
    let mut rows: Vec<Row<'_>> = Vec::new();
    let mut sound = true;
    for (suspect, key, item) in suspects(section, &ids.suspects, found) {
        let Some(numbers) = row(section, key, item, count, found) else {
            sound = false;
            continue;
        };
        rows.push(Row {
            suspect,
            key,
            span: item.span(),
            numbers,
        });
    }
    let otherwise = otherwise?;
    if sound && let Some(order) = other_order(&otherwise, &rows) {
        sound = false;
        out_of_order(section, answers, &order, found);
    } else {
        for row in &rows {
            sound &= not_above(section, row, &otherwise, found);
        }
    }
    if sound {
        combine(section, &otherwise, &rows, at_once, found);
    }
    rows.sort_unstable_by_key(|row| row.suspect);
    let by_suspect = rows
        .into_iter()
        .map(|row| (row.suspect, row.numbers))
        .collect();
    Some(Rows {
        otherwise,
        by_suspect,
    })
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
            format!(
                "{}: `{key}` is of type {}",
                section.name,
                item.get_ref().type_str()
            ),
            "write one probability for each answer, in brackets",
        );
        return None;
    };
    if entries.len() != answers {
        found.error(
            &item.span(),
            DefectKind::RowLength,
            format!(
                "{}: `{key}` has {} numbers for {answers} answers",
                section.name,
                entries.len()
            ),
            "write one probability for each answer, from healthy to worst",
        );
        return None;
    }
    let numbers: Vec<_> = entries
        .iter()
        .map(|entry| probability(section, key, entry, found).map(Spanned::into_inner))
        .collect();
    let numbers = numbers.into_iter().collect::<Option<Vec<f64>>>()?;
    sums_to_one(section, key, item, &numbers, found).then_some(numbers)
}

/// Notes a row whose answers do not exclude one another.
fn sums_to_one(
    section: &Section<'_>,
    key: &str,
    item: &Item<'_>,
    row: &[f64],
    found: &mut Findings,
) -> bool {
    let sum: f64 = row.iter().sum();
    let sound = (sum - 1.0).abs() <= SLACK;
    if !sound {
        let sum = trisect_measure::significant(sum, 9);
        found.error(
            &item.span(),
            DefectKind::RowSum,
            format!("{}: `{key}` sums to {sum}", section.name),
            "the answers exclude one another: make the row sum to 1",
        );
    }
    sound
}

/// Notes a row that is healthier than that of no fault, in its cumulative sums.
fn not_above(section: &Section<'_>, row: &Row<'_>, healthy: &[f64], found: &mut Findings) -> bool {
    let above = above(&row.numbers, healthy);
    if let Some(answer) = above {
        found.error(
            &row.span,
            DefectKind::RowAboveOtherwise,
            format!(
                "{}: `{}` has more than `otherwise` on the healthiest {} answers together",
                section.name,
                row.key,
                answer + 1
            ),
            "a fault cannot make answers healthier: move weight to the worse ones",
        );
    }
    above.is_none()
}

/// The first answer up to which a row is healthier than that of no fault.
fn above(row: &[f64], healthy: &[f64]) -> Option<usize> {
    cumulative(row)
        .into_iter()
        .zip(cumulative(healthy))
        .position(|(c, o)| c > o + SLACK)
}

/// Another order of the answers in which no row is healthier than that of no
/// fault, if every row is as they stand: by how much likelier faults make each.
fn other_order(otherwise: &[f64], rows: &[Row<'_>]) -> Option<Vec<usize>> {
    // One row alone is more likely to be wrong itself.
    let sound = |row: &Row<'_>| above(&row.numbers, otherwise).is_none();
    if rows.is_empty() || rows.iter().any(sound) {
        return None;
    }
    let likelier = |answer: &usize| {
        let with: f64 = rows.iter().map(|row| row.numbers[*answer]).sum();
        with / otherwise[*answer]
    };
    let mut order: Vec<usize> = (0..otherwise.len()).collect();
    // An answer that nothing gives has no likelihood: 0 / 0 sorts last.
    order.sort_by(|a, b| likelier(a).total_cmp(&likelier(b)));
    let sorted = |row: &[f64]| -> Vec<f64> { order.iter().map(|answer| row[*answer]).collect() };
    let healthy = sorted(otherwise);
    let sound = rows
        .iter()
        .all(|row| above(&sorted(&row.numbers), &healthy).is_none());
    (sound && !order.is_sorted()).then_some(order)
}

fn out_of_order(section: &Section<'_>, answers: &[String], order: &[usize], found: &mut Findings) {
    let words: Vec<String> = order
        .iter()
        .map(|a| format!("\"{}\"", answers[*a]))
        .collect();
    let place = section.item("otherwise");
    found.error(
        &place.map_or(section.span.clone(), |item| item.span()),
        DefectKind::AnswersOutOfOrder,
        format!(
            "{}: the answers are not listed from healthy to worst",
            section.name
        ),
        format!(
            "list them, and the numbers of every row, as [{}]",
            words.join(", ")
        ),
    );
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
    let ratios: Vec<Vec<f64>> = rows
        .iter()
        .map(|row| ratio(&cumulative(&row.numbers), &healthy))
        .collect();
    // Ratios that rise make products that rise: nothing to enumerate then.
    if ratios
        .iter()
        .all(|ratio| ratio.is_sorted_by(|a, b| *a <= b + SLACK))
    {
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
    row.iter()
        .zip(healthy)
        .map(|(c, o)| if *o == 0.0 { 0.0 } else { c / o })
        .collect()
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
