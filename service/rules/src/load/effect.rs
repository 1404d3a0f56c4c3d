//! Warnings: what is in a sound rule set and has no effect.

use super::Tables;
use crate::read::{Findings, Section};
use crate::{DefectKind, How, ProofTarget, RuleSet, Side};

pub(super) fn warn(rules: &RuleSet, tables: &Tables<'_>, found: &mut Findings) {
    unseen_suspects(rules, &tables.suspects, found);
    idle_checks(rules, &tables.checks, found);
    unproven_sides(rules, &tables.suspects, found);
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
