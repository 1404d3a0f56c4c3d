//! Tables of one probability by suspect (noisy-OR).

use toml::Spanned;

use super::Ids;
use crate::DefectKind;
use crate::read::{Findings, Item, Names, Section};

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
        format!(
            "{}: `{key}`: {} is no probability",
            section.name,
            number.get_ref()
        ),
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
            format!(
                "{}: `otherwise` is 1, so no suspect could add to it",
                section.name
            ),
            "write a number below 1",
        );
    }
    let mut rows = Vec::new();
    for (suspect, key, item) in suspects(section, &ids.suspects, found) {
        let Some(number) = probability(section, key, item, found) else {
            continue;
        };
        let least = otherwise.as_ref().map_or(0.0, |o| *o.get_ref());
        if *number.get_ref() < least {
            found.error(
                &number.span(),
                DefectKind::BelowOtherwise,
                format!(
                    "{}: `{key}` {} is below `otherwise` {least}",
                    section.name,
                    number.get_ref()
                ),
                "a fault cannot make it rarer: leave the suspect out, or lower `otherwise`",
            );
        }
        rows.push((suspect, number.into_inner()));
    }
    rows.sort_unstable_by_key(|(suspect, _)| *suspect);
    Some((otherwise?.into_inner(), rows))
}

/// The entries of a table by suspect, `otherwise` left aside, resolved.
pub(super) fn suspects<'a>(
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
