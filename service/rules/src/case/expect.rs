//! `[expect]`: what should come of a case.

use toml::Spanned;

use super::Expect;
use crate::read::{Findings, Item, Section, Span, bare_number};
use crate::{DefectKind, Outcome, Side, Standing};

const KEYS: [&str; 8] = [
    "standing",
    "side",
    "top_suspect",
    "named",
    "also",
    "belief",
    "outcomes",
    "next",
];

pub(super) fn read(section: &Section<'_>, found: &mut Findings) -> Expect {
    section.knows(&KEYS, found);
    let mut checks_at: Vec<(String, Span)> = Vec::new();
    let mut suspects_at: Vec<(String, Span)> = Vec::new();
    let mut id = |key, list: &mut Vec<(String, Span)>| {
        let text = section.text(key, found)?;
        list.push((text.get_ref().to_string(), text.span()));
        Some(text.into_inner().to_owned())
    };
    let top_suspect = id("top_suspect", &mut suspects_at);
    // `false`: no suspect may be named.
    let nobody = |item: &Item<'_>| item.get_ref().as_bool() == Some(false);
    let named = match section.item("named") {
        Some(item) if nobody(item) => Some(None),
        _ => id("named", &mut suspects_at).map(Some),
    };
    let next = id("next", &mut checks_at);
    Expect {
        standing: section.word::<Standing>("standing", found),
        side: section.word::<Side>("side", found),
        top_suspect,
        named,
        also: section.has("also").then(|| also(section, found)),
        belief: belief(section, found),
        outcomes: outcomes(section, &mut checks_at, found),
        next,
        checks_at,
        suspects_at,
    }
}

fn also(section: &Section<'_>, found: &mut Findings) -> Vec<Side> {
    let texts = section.texts("also", found);
    texts
        .iter()
        .filter_map(|text| section.as_word::<Side>("also", text, found))
        .collect()
}

fn belief(section: &Section<'_>, found: &mut Findings) -> Vec<(Side, (f64, f64))> {
    let Some(section) = section.section("belief", found) else {
        return Vec::new();
    };
    let mut beliefs = Vec::new();
    for (key, item) in section.entries() {
        let side = section.as_word::<Side>("belief", &key, found);
        let bounds = bounds(&section, &key, item, found);
        beliefs.extend(side.zip(bounds));
    }
    beliefs
}

fn bounds(
    section: &Section<'_>,
    key: &Spanned<&str>,
    item: &Item<'_>,
    found: &mut Findings,
) -> Option<(f64, f64)> {
    let ends = item.get_ref().as_array().map(|list| &list[..]);
    let ends = match ends {
        Some([low, high]) => bare_number(low.get_ref()).zip(bare_number(high.get_ref())),
        _ => None,
    };
    let sound = ends.filter(|(low, high)| (0.0..=1.0).contains(low) && (*low..=1.0).contains(high));
    if sound.is_none() {
        let kind = if ends.is_some() {
            DefectKind::OutOfRange
        } else {
            DefectKind::WrongType
        };
        found.error(
            &item.span(),
            kind,
            format!("{}: `{}` is no pair of bounds", section.name, key.get_ref()),
            "write the lowest and the highest belief, from 0 to 1, such as `[0.95, 1.0]`",
        );
    }
    sound
}

fn outcomes(
    section: &Section<'_>,
    checks_at: &mut Vec<(String, Span)>,
    found: &mut Findings,
) -> Vec<(String, Outcome)> {
    let Some(section) = section.section("outcomes", found) else {
        return Vec::new();
    };
    let mut outcomes = Vec::new();
    for (key, _) in section.entries() {
        checks_at.push((key.get_ref().to_string(), key.span()));
        let outcome = section.word::<Outcome>(key.get_ref(), found);
        outcomes.extend(outcome.map(|outcome| (key.get_ref().to_string(), outcome)));
    }
    outcomes
}
