//! A reading held against a limit.

use super::limit::{self, Limit};
use super::point::Yield;
use super::{Ids, check, condition, probability};
use crate::read::{Findings, Scale, Section, duration};
use crate::{DefectKind, Drive, Measured, Phase, Take};
use trisect_measure::Quantity;

const KEYS: [&str; 12] = [
    "point", "phase", "take", "after", "over", "within", "while", "keep", "passive", "limit",
    "risk", "fails",
];

pub(super) fn read(section: &Section<'_>, ids: &Ids<'_>, found: &mut Findings) -> Option<Measured> {
    section.knows(&[&check::COMMON[..], &KEYS].concat(), found);
    let point = section.required_text("point", found).and_then(|id| {
        ids.points
            .find(&id, &format!("{}: `point`", section.name), found)
    });
    let phases = phases(section, found);
    let drive = section.word::<Drive>("drive", found);
    let take = section.required_word::<Take>("take", found);
    let after = time(section, "after", found);
    let over = time(section, "over", found);
    let within = within(section, after, over, found);
    let conditions = condition::read_all(section, ids, found);
    let keep = section.words("keep", found);
    let passive = section.flag("passive", found);
    let yields = point.and_then(|point| ids.yields.get(point).copied().flatten());
    let scale = yields.zip(take).map(|(yields, take)| scale(yields, take));
    let limit = limit(section, scale, ids, found);
    let risk = risk(section, found);
    let fails = section.required_section("fails", found);
    let (otherwise, fails) = fails.and_then(|fails| probability::by_suspect(&fails, ids, found))?;
    let Limit { at_least, at_most } = limit?;
    Some(Measured {
        point: point?,
        phases: phases?,
        drive,
        take: take?,
        after: after?.unwrap_or(0),
        over: over?,
        within: within?,
        conditions: conditions?,
        keep,
        passive: passive?.unwrap_or(ids.passive),
        at_least,
        at_most,
        risk: risk?,
        otherwise,
        fails,
    })
}

/// What a feature of a point is: ripple and decay are ratios, rise-time is a
/// time, and differences know no offset.
fn scale(yields: Yield, take: Take) -> Scale {
    match take {
        Take::Last | Take::Minimum | Take::Maximum | Take::Mean => yields.scale(),
        Take::PeakToPeak => Scale::Difference(yields.quantity),
        Take::Ripple | Take::Decay => Scale::Absolute(Quantity::Ratio),
        Take::RiseTime => Scale::Absolute(Quantity::Time),
    }
}

fn limit(
    section: &Section<'_>,
    scale: Option<Scale>,
    ids: &Ids<'_>,
    found: &mut Findings,
) -> Option<Limit> {
    if !section.has("limit") {
        found.error(
            &section.span,
            DefectKind::LimitMissing,
            format!("{} has no `limit`", section.name),
            "add `limit = { at_least = …, at_most = … }`, with one of the two or both",
        );
        return None;
    }
    let limit = section.section("limit", found)?;
    limit::read(&limit, scale, ids, found)
}

fn phases(section: &Section<'_>, found: &mut Findings) -> Option<Vec<Phase>> {
    let item = section.required("phase", found)?;
    let mut phases = Vec::new();
    let texts = section.texts("phase", found);
    for text in &texts {
        let Some(phase) = section.as_word::<Phase>("phase", text, found) else {
            continue;
        };
        if phases.contains(&phase) {
            found.error(
                &text.span(),
                DefectKind::RepeatedEntry,
                format!("{}: `phase` lists `{phase}` twice", section.name),
                "list it once",
            );
        }
        phases.push(phase);
    }
    if item
        .get_ref()
        .as_array()
        .is_some_and(|list| list.is_empty())
    {
        found.error(
            &item.span(),
            DefectKind::OutOfRange,
            format!(
                "{}: `phase` lists none, so no reading would ever count",
                section.name
            ),
            "list the phases in which a reading counts",
        );
    }
    phases.sort_unstable();
    (!phases.is_empty()).then_some(phases)
}

/// A duration, if the key is there; `None` outside if it is defective.
fn time(section: &Section<'_>, key: &str, found: &mut Findings) -> Option<Option<i64>> {
    let Some(item) = section.item(key) else {
        return Some(None);
    };
    let nanos = duration(item, &format!("{}: `{key}`", section.name), found)?;
    if key == "over" && nanos == 0 {
        found.error(
            &item.span(),
            DefectKind::OutOfRange,
            format!("{}: `over` is no time at all", section.name),
            "write how long the window lasts, or leave `over` out",
        );
        return None;
    }
    Some(Some(nanos))
}

/// The end of the time in which readings count; it has to leave room for the window.
fn within(
    section: &Section<'_>,
    after: Option<Option<i64>>,
    over: Option<Option<i64>>,
    found: &mut Findings,
) -> Option<Option<i64>> {
    let within = time(section, "within", found)?;
    let (Some(end), Some(after), Some(over)) = (within, after, over) else {
        return Some(within);
    };
    let needed = after.unwrap_or(0).saturating_add(over.unwrap_or(0));
    if end > 0 && end >= needed {
        return Some(within);
    }
    let place = section
        .item("within")
        .map_or(section.span.clone(), |item| item.span());
    found.error(
        &place,
        DefectKind::OutOfRange,
        format!("{}: `within` ends before the window can", section.name),
        "write at least `after` and `over` together",
    );
    None
}

fn risk(section: &Section<'_>, found: &mut Findings) -> Option<f64> {
    if !section.has("risk") {
        return Some(0.05);
    }
    let risk = section.number("risk", found)?;
    if *risk.get_ref() > 0.0 && *risk.get_ref() < 0.5 {
        return Some(risk.into_inner());
    }
    found.error(
        &risk.span(),
        DefectKind::OutOfRange,
        format!("{}: `risk` is {}", section.name, risk.get_ref()),
        "write a number between 0 and 0.5, both excluded, such as 0.05",
    );
    None
}
