//! A job in plain language.

use trisect_rules::RuleSet;
use trisect_wire::escape;
use trisect_wire::types::{Evidence, Job, JobVerdict, Outcome, Side, Verdict};

/// What a report always ends with.
const DEFERS: &str = "The maker's service manual, local codes and licensed practice decide; this \
                      report does not replace them.";

/// The report: the machine, what it comes to, what was found, what is open,
/// and what to do.
pub(crate) fn report(rules: &RuleSet, job: &Job, verdict: &JobVerdict) -> String {
    let mut lines = vec![
        format!("{} in {}, opened {}", job.machine, job.bay, job.opened),
        format!(
            "Rule set {} {} ({})",
            job.ruleset.id, job.ruleset.version, job.ruleset.digest
        ),
    ];
    if let Some(id) = &job.complaint {
        let known = rules.complaints.iter().find(|c| c.id == *id);
        lines.push(format!(
            "Complaint: {}",
            known.map_or(id.as_str(), |c| &c.title)
        ));
    }
    lines.extend([String::new(), verdict.verdict.text.clone(), String::new()]);
    lines.push("What was found:".to_owned());
    lines.extend(
        verdict
            .verdict
            .evidence
            .iter()
            .map(|e| format!("  {}", found(rules, e))),
    );
    lines.extend([
        String::new(),
        "Belief that a fault is on each side:".to_owned(),
    ]);
    for side in Side::ALL {
        let belief = verdict.verdict.sides.of(*side);
        lines.push(format!("  {side:<11} {:5.1} %", belief * 100.0));
        lines.extend(weighed(rules, &verdict.verdict, *side));
    }
    let named = verdict.verdict.side.and_then(|side| {
        verdict
            .verdict
            .suspects
            .iter()
            .find(|suspect| suspect.side == side)
    });
    if let Some(suspect) = named.and_then(|s| rules.suspects.iter().find(|r| r.id == s.id)) {
        let remedy = suspect.remedy.as_deref().unwrap_or("none given");
        lines.extend([
            String::new(),
            format!("Remedy for the likeliest suspect: {remedy}"),
        ]);
    }
    if let Some(confirmed) = &job.confirmed {
        lines.extend([
            String::new(),
            format!("Found in the end: {}", confirmed.join(", ")),
        ]);
    }
    lines.extend([String::new(), DEFERS.to_owned()]);
    // Names and notes come from elsewhere: one with a line end in it must not look like a line of the report.
    let lines: Vec<_> = lines.iter().map(|line| escape(line)).collect();
    lines.join("\n")
}

/// Evidence that weighs less than this for a side is left out there, in decibans.
const NOTHING: f64 = 0.05;

/// What speaks for a side and what against it, the weightiest first.
fn weighed(rules: &RuleSet, verdict: &Verdict, side: Side) -> Vec<String> {
    // A weight beyond every bound is none on the wire.
    let complaint = verdict.complaint.iter().map(|said| {
        let known = rules.complaints.iter().find(|c| c.id == said.id);
        let title = known.map_or(said.id.as_str(), |c| &c.title);
        (title, *said.decibans.of(side))
    });
    let checks = verdict.evidence.iter();
    let checks = checks.map(|e| (title(rules, &e.check), *e.decibans.of(side)));
    let mut weights: Vec<(&str, Option<f64>)> = complaint
        .chain(checks)
        .filter(|(_, weight)| weight.is_none_or(|weight| weight.abs() >= NOTHING))
        .collect();
    let size = |weight: Option<f64>| weight.map_or(f64::INFINITY, f64::abs);
    weights.sort_by(|a, b| size(b.1).total_cmp(&size(a.1)));
    weights
        .into_iter()
        .map(|(title, weight)| match weight {
            None => format!("    decides  {title}"),
            Some(weight) if weight > 0.0 => format!("    for      {title} ({weight:+.1} dB)"),
            Some(weight) => format!("    against  {title} ({weight:+.1} dB)"),
        })
        .collect()
}

fn title<'a>(rules: &'a RuleSet, check: &str) -> &'a str {
    rules
        .check_index(check)
        .map_or("", |c| &rules.checks[c].title)
}

fn found(rules: &RuleSet, evidence: &Evidence) -> String {
    let title = title(rules, &evidence.check);
    let outcome = match evidence.outcome {
        Outcome::Passed => "good",
        Outcome::Failed => "NOT GOOD",
        Outcome::Undecided => "undecided",
        Outcome::Void => "void",
    };
    let mut line = format!("{title}: {outcome}");
    if let (Some(value), Some(unit)) = (evidence.value, &evidence.unit) {
        let bound = evidence.bound.map(|bound| bound.to_string());
        let value = trisect_measure::value_in_words(value, bound.as_deref(), unit);
        line.push_str(&format!(", {value}"));
        let unit = trisect_measure::after_number(unit);
        if let Some(u) = evidence.uncertainty {
            let u = trisect_measure::significant(u, 2);
            line.push_str(&format!(" (standard uncertainty {u}{unit})"));
        }
    }
    if let Some(limit) = &evidence.limit {
        line.push_str(&format!(", limit {limit}"));
    }
    if let Some(conformance) = evidence.conformance {
        line.push_str(&format!(
            ", within it with a probability of {:.1} %",
            conformance * 100.0
        ));
    }
    if let Some(answer) = &evidence.answer {
        line.push_str(&format!(", answered {answer}"));
    }
    if let Some(reason) = &evidence.reason {
        line.push_str(&format!(" ({reason})"));
    }
    line
}
