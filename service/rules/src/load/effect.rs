//! Warnings: what is in a sound rule set and has no effect.

use super::Tables;
use crate::read::{Findings, Section};
use crate::{Asked, DefectKind, How, Measured, ProofTarget, RuleSet, Side, Take};

pub(super) fn warn(rules: &RuleSet, tables: &Tables<'_>, found: &mut Findings) {
    unseen_suspects(rules, &tables.suspects, found);
    idle_checks(rules, &tables.checks, found);
    unproven_sides(rules, &tables.suspects, found);
    for (check, section) in rules.checks.iter().zip(&tables.checks) {
        match &check.how {
            How::Measured(measured) => beyond_belief(rules, measured, section, found),
            How::Asked(asked) => answers(asked, section, found),
        }
    }
    for (index, section) in tables.cautions.iter().enumerate() {
        if !rules
            .checks
            .iter()
            .any(|check| check.cautions.contains(&index))
        {
            found.warning(
                &section.span,
                DefectKind::UnusedCaution,
                format!("no check calls for {}", section.name),
                "add its id to the `cautions` of a check, or take it out",
            );
        }
    }
}

/// The suspects that a check tells from no fault at all.
fn told_by(how: &How) -> Vec<usize> {
    match how {
        How::Measured(m) => m
            .fails
            .iter()
            .filter(|(_, p)| *p != m.otherwise)
            .map(|(s, _)| *s)
            .collect(),
        How::Asked(a) => a
            .expect
            .iter()
            .filter(|(_, row)| *row != a.otherwise)
            .map(|(s, _)| *s)
            .collect(),
    }
}

fn unseen_suspects(rules: &RuleSet, sections: &[Section<'_>], found: &mut Findings) {
    let mut seen = vec![false; rules.suspects.len()];
    let by_checks = rules.checks.iter().flat_map(|check| told_by(&check.how));
    let by_complaints = rules.complaints.iter().flat_map(|complaint| {
        complaint
            .given
            .iter()
            .filter(|(_, p)| *p != complaint.otherwise)
            .map(|(s, _)| *s)
    });
    for suspect in by_checks.chain(by_complaints) {
        seen[suspect] = true;
    }
    for (section, _) in sections.iter().zip(seen).filter(|(_, seen)| !seen) {
        found.warning(
            &section.span,
            DefectKind::SuspectUnseen,
            format!("no check and no complaint speaks of {}", section.name),
            "give it a row in a check or a complaint, or take it out",
        );
    }
}

fn idle_checks(rules: &RuleSet, sections: &[Section<'_>], found: &mut Findings) {
    for (check, section) in rules.checks.iter().zip(sections) {
        if told_by(&check.how).is_empty() {
            found.warning(
                &section.span,
                DefectKind::DecidesNothing,
                format!("{} says the same whatever is at fault", section.name),
                "give it a row for a suspect, or take it out",
            );
        }
    }
}

fn unproven_sides(rules: &RuleSet, sections: &[Section<'_>], found: &mut Findings) {
    for side in Side::ALL {
        let proven = rules
            .proofs
            .iter()
            .any(|proof| proof.target == ProofTarget::Side(side));
        let first = rules
            .suspects
            .iter()
            .position(|suspect| suspect.side == side);
        if let (false, Some(section)) = (proven, first.and_then(|first| sections.get(first))) {
            found.warning(
                &section.span,
                DefectKind::SideWithoutProof,
                format!(
                    "{} is of side `{side}`, which no proof is for",
                    section.name
                ),
                format!(
                    "add a `[[proof]]` with `side = \"{side}\"`, or the side can never be isolated"
                ),
            );
        }
    }
}

/// Notes a limit that every reading that can be believed keeps, or none does.
fn beyond_belief(
    rules: &RuleSet,
    measured: &Measured,
    section: &Section<'_>,
    found: &mut Findings,
) {
    let value_of_point = matches!(
        measured.take,
        Take::Last | Take::Minimum | Take::Maximum | Take::Mean
    );
    let plausible = rules
        .test_points
        .get(measured.point)
        .and_then(|p| p.plausible);
    let Some((low, high)) = plausible.filter(|_| value_of_point) else {
        return;
    };
    let (least, most) = (measured.at_least.as_ref(), measured.at_most.as_ref());
    let says = if least.is_none_or(|b| b.most() <= low) && most.is_none_or(|b| b.least() >= high) {
        "keeps"
    } else if least.is_some_and(|b| b.least() > high) || most.is_some_and(|b| b.most() < low) {
        "breaks"
    } else {
        return;
    };
    let place = section
        .item("limit")
        .map_or(section.span.clone(), |item| item.span());
    found.warning(
        &place,
        DefectKind::DecidesNothing,
        format!(
            "{}: every reading that is plausible at its point {says} the limit",
            section.name
        ),
        "mend the limit, or what is `plausible` at the point",
    );
}

fn answers(asked: &Asked, section: &Section<'_>, found: &mut Findings) {
    let place = |answer: usize| {
        let list = section
            .item("answers")
            .and_then(|item| item.get_ref().as_array());
        let entry = list.and_then(|list| list.get(answer));
        entry.map_or(section.span.clone(), |entry| entry.span())
    };
    for (answer, word) in asked.answers.iter().enumerate() {
        let p = |row: &[f64]| row.get(answer).copied().unwrap_or_default();
        let never = p(&asked.otherwise) == 0.0 && asked.expect.iter().all(|(_, row)| p(row) == 0.0);
        if never {
            found.warning(
                &place(answer),
                DefectKind::AnswerUnreachable,
                format!("{}: nothing ever gives the answer `{word}`", section.name),
                "give it a probability in a row, or take it out: once given it contradicts everything",
            );
        }
    }
    let healthiest = asked.otherwise.first().copied().unwrap_or_default();
    let likelier = asked.otherwise.iter().position(|p| *p > healthiest);
    if let Some(word) = likelier.and_then(|answer| asked.answers.get(answer)) {
        found.warning(
            &place(0),
            DefectKind::AnswersOutOfOrder,
            format!(
                "{}: with no fault present `{word}` is likelier than `{}`, the healthiest answer",
                section.name, asked.answers[0]
            ),
            "list the answers, and every row, from healthy to worst",
        );
    }
}
