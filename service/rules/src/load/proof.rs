//! `[[proof]]`: what must be shown before a side or suspect is named.

use super::Ids;
use super::check::indexes;
use crate::read::{Findings, Section, Span};
use crate::{DefectKind, Proof, ProofTarget, Side};

const KEYS: [&str; 8] = [
    "side",
    "suspect",
    "passed",
    "any_passed",
    "failed",
    "any_failed",
    "measured_failed",
    "because",
];

pub(super) fn read_all(
    sections: &[Section<'_>],
    ids: &Ids<'_>,
    found: &mut Findings,
) -> Vec<Option<Proof>> {
    sections
        .iter()
        .map(|section| read(section, ids, found))
        .collect()
}

fn read(section: &Section<'_>, ids: &Ids<'_>, found: &mut Findings) -> Option<Proof> {
    section.knows(&KEYS, found);
    let target = target(section, ids, found);
    let mut checks = |key| ids.checks.find_all(section, key, found);
    let passed = checks("passed");
    let any_passed = checks("any_passed");
    let failed = checks("failed");
    let any_failed = checks("any_failed");
    let measured_failed = checks("measured_failed");
    for (check, span) in &measured_failed {
        if ids.measured.get(*check) == Some(&false) {
            found.error(
                span,
                DefectKind::NotMeasured,
                format!(
                    "{}: `measured_failed` names a check that is asked",
                    section.name
                ),
                "hearsay proves nothing here: name measured checks, or use `any_failed`",
            );
        }
    }
    asks_for_something(section, found);
    contradicts(
        section,
        &passed,
        [&failed, &any_failed, &measured_failed],
        found,
    );
    Some(Proof {
        target: target?,
        passed: indexes(&passed),
        any_passed: indexes(&any_passed),
        failed: indexes(&failed),
        any_failed: indexes(&any_failed),
        measured_failed: indexes(&measured_failed),
        because: section.words("because", found),
    })
}

fn target(section: &Section<'_>, ids: &Ids<'_>, found: &mut Findings) -> Option<ProofTarget> {
    match (section.has("side"), section.has("suspect")) {
        (true, false) => section.word::<Side>("side", found).map(ProofTarget::Side),
        (false, true) => {
            let suspects = ids.suspects.find_all(section, "suspect", found);
            (!suspects.is_empty()).then(|| ProofTarget::Suspects(indexes(&suspects)))
        }
        (both, _) => {
            let has = if both {
                "both `side` and `suspect`"
            } else {
                "neither `side` nor `suspect`"
            };
            found.error(
                &section.span,
                DefectKind::MixedTable,
                format!("{} has {has}", section.name),
                "write `side = \"…\"`, or `suspect = [\"…\"]`",
            );
            None
        }
    }
}

fn asks_for_something(section: &Section<'_>, found: &mut Findings) {
    let lists = [
        "passed",
        "any_passed",
        "failed",
        "any_failed",
        "measured_failed",
    ];
    let empty = |key: &str| match section.item(key) {
        Some(item) => item
            .get_ref()
            .as_array()
            .is_some_and(|list| list.is_empty()),
        None => true,
    };
    let suspects = section
        .item("suspect")
        .and_then(|item| item.get_ref().as_array());
    if lists.into_iter().all(empty) || suspects.is_some_and(|list| list.is_empty()) {
        found.error(
            &section.span,
            DefectKind::ProofEmpty,
            format!(
                "{} is empty: it asks for nothing, or allows nothing",
                section.name
            ),
            "list the checks that must have passed or failed, and what may be named then",
        );
    }
}

/// Notes checks that must have passed and failed at once.
fn contradicts(
    section: &Section<'_>,
    passed: &[(usize, Span)],
    failed: [&[(usize, Span)]; 3],
    found: &mut Findings,
) {
    let [all, any, measured] = failed;
    let must_pass = |check: &usize| passed.iter().any(|(passed, _)| passed == check);
    let never = |list: &[(usize, Span)]| !list.is_empty() && list.iter().all(|(c, _)| must_pass(c));
    let place = all
        .iter()
        .find(|(check, _)| must_pass(check))
        .or_else(|| any.first().filter(|_| never(any)))
        .or_else(|| measured.first().filter(|_| never(measured)));
    if let Some((_, span)) = place {
        found.error(
            span,
            DefectKind::ProofContradiction,
            format!(
                "{} wants a check to have passed and failed at once",
                section.name
            ),
            "it can never be complete: keep the check in one list",
        );
    }
}
