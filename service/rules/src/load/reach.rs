//! What can be reached: complaints that some suspect leads to, proofs that can be
//! met, on such a machine too, and by the faults they are for.

use super::Tables;
use crate::proving::{can_fail, unmeetable};
use crate::read::{Findings, Section, Span};
use crate::{Complaint, DefectKind, Proof, ProofTarget, RuleSet, Side};

pub(super) fn warn(rules: &RuleSet, tables: &Tables<'_>, found: &mut Findings) {
    for (complaint, section) in rules.complaints.iter().zip(&tables.complaints) {
        unreachable(complaint, section, found);
        unprovable(rules, complaint, section, found);
    }
    for (proof, section) in rules.proofs.iter().zip(&tables.proofs) {
        if let Some(unmet) = unmeetable(rules, proof, &[]) {
            let check = &rules.checks[unmet.check].id;
            found.error(
                &place(section, unmet.list, unmet.place),
                DefectKind::ProofContradiction,
                format!(
                    "{}: `{check}` can never be {} while the rest of the proof is met: \
                     what is asked for, or needed for it, excludes the other",
                    section.name, unmet.wanted
                ),
                "it can never be complete: look at the `needs` of the checks in it, and keep one of the two",
            );
        } else {
            out_of_reach(rules, proof, section, found);
        }
    }
}

fn unreachable(complaint: &Complaint, section: &Section<'_>, found: &mut Findings) {
    if complaint
        .given
        .iter()
        .any(|(_, p)| *p > complaint.otherwise)
    {
        return;
    }
    let hint = "give it a row for a suspect that brings machines in with it, or take it out";
    if complaint.otherwise > 0.0 {
        let message = format!("{} is unreachable: no suspect leads to it", section.name);
        found.warning(
            &section.span,
            DefectKind::ComplaintUnreachable,
            message,
            hint,
        );
    } else {
        let message = format!("{} is impossible: nothing ever leads to it", section.name);
        found.error(
            &section.span,
            DefectKind::ComplaintUnreachable,
            message,
            hint,
        );
    }
}

/// Notes each side that the complaint speaks for, and that no proof could be
/// completed for without a check that the complaint leaves out.
fn unprovable(rules: &RuleSet, complaint: &Complaint, section: &Section<'_>, found: &mut Findings) {
    for side in Side::ALL {
        let fits = complaint
            .given
            .iter()
            .any(|(s, p)| *p > complaint.otherwise && rules.suspects[*s].side == side);
        let mut proofs = rules
            .proofs
            .iter()
            .filter(|proof| proof.target == ProofTarget::Side(side))
            .filter(|proof| unmeetable(rules, proof, &[]).is_none())
            .peekable();
        // A side without any proof that can be met is noted elsewhere.
        if !fits || proofs.peek().is_none() {
            continue;
        }
        if proofs.all(|proof| unmeetable(rules, proof, &complaint.leaves_out).is_some()) {
            found.warning(
                &place(section, "leaves_out", 0),
                DefectKind::ComplaintUnprovable,
                format!(
                    "{} fits the side `{side}`, and leaves out what every proof of it asks for",
                    section.name
                ),
                "leave fewer checks out, or add a proof that such a machine can be put to",
            );
        }
    }
}

/// Notes a list of failures that no suspect of the proof's side brings about.
fn out_of_reach(rules: &RuleSet, proof: &Proof, section: &Section<'_>, found: &mut Findings) {
    let of_side = |side: Side| {
        let suspects = rules.suspects.iter().enumerate();
        suspects
            .filter(move |(_, s)| s.side == side)
            .map(|(s, _)| s)
    };
    let (suspects, whose) = match &proof.target {
        ProofTarget::Side(side) => (of_side(*side).collect(), format!("of side `{side}`")),
        ProofTarget::Suspects(suspects) => (suspects.clone(), "it names".to_owned()),
    };
    // A side without suspects has nothing to prove.
    if suspects.is_empty() {
        return;
    }
    let never = |check: &usize| !suspects.iter().any(|s| can_fail(&rules.checks[*check], *s));
    let alone = proof.failed.iter().position(never).map(|at| ("failed", at));
    let together =
        |list: &[usize], key| (!list.is_empty() && list.iter().all(never)).then_some((key, 0));
    let places = [
        alone,
        together(&proof.any_failed, "any_failed"),
        together(&proof.measured_failed, "measured_failed"),
    ];
    for (key, at) in places.into_iter().flatten() {
        found.warning(
            &place(section, key, at),
            DefectKind::ProofOutOfReach,
            format!(
                "{}: no suspect {whose} makes what `{key}` asks for likelier to fail",
                section.name
            ),
            "ask for a check that such a fault gives away, or give a suspect a row in this one",
        );
    }
}

/// Where an entry of a list stands; the table's header if it is not there.
fn place(section: &Section<'_>, key: &str, at: usize) -> Span {
    let list = section.item(key).and_then(|item| item.get_ref().as_array());
    let entry = list.and_then(|list| list.get(at));
    entry.map_or(section.span.clone(), |entry| entry.span())
}
