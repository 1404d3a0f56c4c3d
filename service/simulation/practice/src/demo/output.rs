//! What the demo prints.

use trisect_wire::types::{
    CheckShown, Evidence, JobVerdict, NextTest, Outcome, Side, Standing, Verdict,
};

/// Width of a line on screen.
const WIDTH: usize = 100;

/// The head of a step: the test, why it was chosen, and its cautions.
pub(super) fn head(step: usize, check: &CheckShown, test: &NextTest) {
    println!("\n{step:>2}  {} [{}]", check.title, check.id);
    line("why", &test.why);
    for caution in &check.cautions {
        line("caution", &caution.text);
    }
}

/// What came of a step, and how belief moved.
pub(super) fn outcome(check: &str, verdict: &Verdict) {
    match verdict.evidence.iter().find(|e| e.check == check) {
        Some(evidence) => line("found", &found(evidence)),
        None => line("found", "nothing that counts"),
    }
    belief(verdict);
}

/// Belief in each side.
pub(super) fn belief(verdict: &Verdict) {
    let sides = Side::ALL.iter().map(|side| {
        let belief = verdict.sides.of(*side) * 100.0;
        format!("{side} {belief:.1} %")
    });
    let standing = match (verdict.standing, verdict.side) {
        (standing, Some(side)) => format!("{standing}: {side}"),
        (standing, None) => standing.to_string(),
    };
    line(
        "belief",
        &format!("{}  ({standing})", sides.collect::<Vec<_>>().join("  ")),
    );
}

/// A labelled line, wrapped.
pub(super) fn line(label: &str, text: &str) {
    const INDENT: usize = 13;
    let mut row = String::new();
    let mut label = label;
    for word in text.split_whitespace() {
        if !row.is_empty() && INDENT + row.chars().count() + word.chars().count() >= WIDTH {
            println!("    {label:<8} {row}");
            (label, row) = ("", String::new());
        }
        if !row.is_empty() {
            row.push(' ');
        }
        row.push_str(word);
    }
    println!("    {label:<8} {row}");
}

fn found(evidence: &Evidence) -> String {
    let outcome = match evidence.outcome {
        Outcome::Passed => "good",
        Outcome::Failed => "not good",
        Outcome::Undecided => "undecided",
        Outcome::Void => "void",
    };
    let mut parts = Vec::new();
    if let Some(answer) = &evidence.answer {
        parts.push(format!("answered {answer}"));
    }
    if let (Some(value), Some(unit)) = (evidence.value, &evidence.unit) {
        let bound = evidence.bound.map(|bound| bound.to_string());
        let value = trisect_measure::value_in_words(value, bound.as_deref(), unit);
        let unit = trisect_measure::after_number(unit);
        let u = evidence.uncertainty.map_or(String::new(), |u| {
            format!(" (u = {}{unit})", trisect_measure::significant(u, 2))
        });
        parts.push(format!("{value}{u}"));
    }
    if let Some(limit) = &evidence.limit {
        parts.push(format!("limit {limit}"));
    }
    if let Some(line) = &evidence.line {
        parts.push(format!("strongest at {:.3} Hz", line.frequency));
    }
    if let Some(conformance) = evidence.conformance {
        parts.push(format!("P(conforms) = {conformance:.3}"));
    }
    if let Some(readings) = evidence.readings {
        parts.push(format!("{readings} readings"));
    }
    if let Some(reason) = &evidence.reason {
        parts.push(reason.clone());
    }
    format!("{outcome}: {}", parts.join(", "))
}

/// The verdict in words, and what carries it.
pub(super) fn verdict(told: &JobVerdict) {
    println!("\nVerdict");
    line("says", &told.verdict.text);
    let Some(side) = told.verdict.side else {
        return;
    };
    let mut weighty: Vec<&Evidence> = told.verdict.evidence.iter().collect();
    let weight = |e: &Evidence| e.decibans.of(side).unwrap_or(f64::INFINITY);
    weighty.sort_by(|a, b| weight(b).total_cmp(&weight(a)));
    for evidence in weighty.iter().filter(|e| weight(e) >= 1.0) {
        let text = format!(
            "{:+.1} dB for {side}: {}: {}",
            weight(evidence),
            evidence.check,
            found(evidence)
        );
        line("proof", &text);
    }
    if !told.verdict.also.is_empty() {
        let sides: Vec<String> = told
            .verdict
            .also
            .iter()
            .map(|side| format!("{side} ({:.2})", told.verdict.sides.of(*side)))
            .collect();
        line("also", &format!("not cleared: {}", sides.join(", ")));
    }
}

/// The last line: the standing, and what it names.
pub(super) fn last(verdict: &Verdict) -> String {
    let named = verdict.side.map(|side| {
        let suspect = verdict.suspects.iter().find(|suspect| suspect.side == side);
        let suspect = suspect.map_or("none", |suspect| suspect.id.as_str());
        format!("{side} ({suspect}, {:.3})", verdict.sides.of(side))
    });
    match (verdict.standing, named) {
        (Standing::Open | Standing::Contradicted, _) | (_, None) => verdict.standing.to_string(),
        (standing, Some(named)) => format!("{standing}: {named}"),
    }
}
