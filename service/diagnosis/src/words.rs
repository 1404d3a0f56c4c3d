//! The verdict in the trade's words.

use trisect_rules::{Outcome, RuleSet, Side, Standing};

use crate::verdict::{Evidence, Missing, Verdict};

/// One paragraph: what is at fault and how sure, what speaks for and against it,
/// what is not cleared and why, what is still to be proven, what to do next. Where
/// no side stands out, what speaks for and against each that may be at fault.
pub(crate) fn paragraph(rules: &RuleSet, verdict: &Verdict) -> String {
    let mut sentences = vec![opening(rules, verdict)];
    let mut told = Vec::new();
    let mut reasons =
        |side, most| [For, Against].map(|way| reasons(rules, verdict, side, way, most, &mut told));
    match verdict.side {
        Some(side) => {
            sentences.extend(reasons(side, 3).into_iter().flatten());
            for other in &verdict.also {
                sentences.push(format!("Not cleared: the {other} side."));
                sentences.extend(reasons(*other, 2).into_iter().flatten());
            }
        }
        None => {
            for side in Side::ALL {
                sentences.extend(reasons(side, 2).into_iter().flatten());
            }
        }
    }
    sentences.extend(still_needed(rules, verdict));
    if let Some(next) = verdict.next.first() {
        sentences.push(format!("Next: {} ({}).", lower(&next.title), next.why));
    }
    sentences.join(" ")
}

fn opening(rules: &RuleSet, verdict: &Verdict) -> String {
    let percent = |p: f64| format!("{:.1} %", p * 100.0);
    match (verdict.standing, verdict.side) {
        (Standing::Isolated, Some(side)) => {
            let belief = percent(verdict.sides.of(side));
            let suspect = verdict.suspects.iter().find(|s| s.side == side);
            let likeliest = suspect.map_or(String::new(), |s| {
                format!(
                    ", most likely {} ({})",
                    title(rules, &s.id),
                    percent(s.probability)
                )
            });
            format!("The fault is on the {side} side, with a belief of {belief}{likeliest}.")
        }
        (Standing::Leaning, Some(side)) => {
            let belief = percent(verdict.sides.of(side));
            format!("Everything points to the {side} side ({belief}), but that is not proven yet.")
        }
        (Standing::Contradicted, _) => "What was seen does not go together under any suspect on \
             the list: repeat the readings, and look for a cause that the rule set does not know."
            .to_owned(),
        _ => {
            let beliefs = Side::ALL.map(|s| format!("{s} {}", percent(verdict.sides.of(s))));
            format!("No side stands out yet: {}.", beliefs.join(", "))
        }
    }
}

/// Which way evidence speaks.
#[derive(Clone, Copy, PartialEq)]
enum Way {
    For,
    Against,
}
use Way::{Against, For};

/// Evidence that weighs less than this is not worth a word, in decibans.
const SLIGHT: f64 = 1.0;

/// The weightiest evidence for a side, or against it; what was told before, only by its outcome.
fn reasons<'a>(
    rules: &RuleSet,
    verdict: &'a Verdict,
    side: Side,
    way: Way,
    most: usize,
    told: &mut Vec<&'a str>,
) -> Option<String> {
    let weight = |e: &Evidence| match way {
        For => e.decibans.of(side),
        Against => -e.decibans.of(side),
    };
    let all = verdict.evidence.iter();
    let mut weighty: Vec<&'a Evidence> = all.filter(|e| weight(e) >= SLIGHT).collect();
    weighty.sort_by(|a, b| weight(b).total_cmp(&weight(a)));
    let said: Vec<String> = weighty
        .into_iter()
        .take(most)
        .map(|e| {
            let before = told.contains(&e.check.as_str());
            told.push(&e.check);
            let seen = if before { String::new() } else { seen(e) };
            format!("{}{seen}", outcome(rules, e))
        })
        .collect();
    let speaks = match way {
        For => "For",
        Against => "Against",
    };
    (!said.is_empty()).then(|| format!("{speaks} the {side} side speaks: {}.", said.join("; ")))
}

/// What was seen, in brackets.
fn seen(evidence: &Evidence) -> String {
    let seen = match (
        &evidence.answer,
        evidence.value,
        evidence.unit,
        &evidence.limit,
    ) {
        (Some(answer), ..) => format!("answered {answer}"),
        (None, Some(value), Some(unit), Some(limit)) => {
            let value = trisect_measure::significant(value, 4);
            let beyond = evidence.bound.map_or(String::new(), |b| format!("{b} "));
            let u = evidence.uncertainty.map_or(String::new(), |u| {
                format!(
                    " with a standard uncertainty of {}",
                    trisect_measure::significant(u, 2)
                )
            });
            // Of what is decided, the outcome tells it.
            let undecided = evidence.outcome == Outcome::Undecided;
            let conforms = evidence.conformance.filter(|_| undecided);
            let conforms = conforms.map_or(String::new(), |p| {
                format!(", which it meets with a probability of {:.0} %", p * 100.0)
            });
            let unit = trisect_measure::after_number(unit);
            format!("{beyond}{value}{unit}{u}, limit {limit}{conforms}")
        }
        _ => "settled elsewhere".to_owned(),
    };
    format!(" ({seen})")
}

/// A check and what came of it.
fn outcome(rules: &RuleSet, evidence: &Evidence) -> String {
    let title = rules
        .check_index(&evidence.check)
        .map_or("", |c| &rules.checks[c].title);
    let outcome = match evidence.outcome {
        Outcome::Passed => "good",
        Outcome::Failed => "not good",
        Outcome::Undecided => "undecided",
        Outcome::Void => "void",
    };
    format!("{}: {outcome}", lower(title))
}

/// What is missing before the side leaned to, or the suspect of the side
/// isolated, may be named. Proofs of one target are alternatives.
fn still_needed(rules: &RuleSet, verdict: &Verdict) -> Vec<String> {
    let mut targets: Vec<(String, Vec<String>)> = Vec::new();
    for missing in verdict
        .missing
        .iter()
        .filter(|m| Some(m.side) == verdict.side)
    {
        let target = match &missing.suspect {
            Some(suspect) => format!("that {}", title(rules, suspect)),
            None => format!("the {} side", missing.side),
        };
        let Some(asked) = lacking(rules, missing) else {
            continue;
        };
        match targets.last_mut() {
            Some((last, ways)) if *last == target => ways.push(asked),
            _ => targets.push((target, vec![asked])),
        }
    }
    let said = |(target, ways): (String, Vec<String>)| {
        format!("Before {target} can be said: {}.", ways.join(", or else "))
    };
    targets.into_iter().map(said).collect()
}

fn lacking(rules: &RuleSet, missing: &Missing) -> Option<String> {
    let list = |ids: &[String], joint: &str| -> Option<String> {
        let titles: Vec<String> = ids
            .iter()
            .map(|id| {
                rules
                    .check_index(id)
                    .map_or(id.clone(), |c| lower(&rules.checks[c].title))
            })
            .map(|title| format!("\u{201c}{title}\u{201d}"))
            .collect();
        (!titles.is_empty()).then(|| titles.join(joint))
    };
    let parts: Vec<String> = [
        list(&missing.passed, ", ").map(|s| format!("found good: {s}")),
        list(&missing.any_passed, " or ").map(|s| format!("one found good: {s}")),
        list(&missing.failed, ", ").map(|s| format!("found failing: {s}")),
        list(&missing.any_failed, " or ").map(|s| format!("one found failing: {s}")),
        list(&missing.measured_failed, " or ").map(|s| format!("one measured failing: {s}")),
    ]
    .into_iter()
    .flatten()
    .collect();
    (!parts.is_empty()).then(|| parts.join("; "))
}

fn title(rules: &RuleSet, suspect: &str) -> String {
    rules
        .suspect_index(suspect)
        .map_or(suspect.to_owned(), |s| lower(&rules.suspects[s].title))
}

/// A title inside a sentence: its first letter small, unless it is an abbreviation.
fn lower(title: &str) -> String {
    let mut chars = title.chars();
    match (chars.next(), chars.clone().next()) {
        (Some(first), Some(second)) if first.is_uppercase() && !second.is_uppercase() => {
            first.to_lowercase().chain(chars).collect()
        }
        _ => title.to_owned(),
    }
}
