//! A case held against a rule set.

use trisect_measure::{Amount, Flags, Quantity, combine, parse_span, resolution_uncertainty};

use super::{Case, CaseEvent, CaseReading, CaseWhat, Doubt, ResolvedEvent, ResolvedWhat};
use crate::read::{Findings, Span, entry_hint, entry_kind};
use crate::{CANNOT_TELL, Defect, DefectKind, How, RuleSet, TestPoint};

impl Case {
    /// The events in the order of time, in the rule set's indexes and in SI.
    ///
    /// # Errors
    /// Every id, answer, unit and uncertainty that does not fit the rule set,
    /// those of the complaint and of what is expected included.
    pub fn resolve(&self, rules: &RuleSet) -> Result<Vec<ResolvedEvent>, Vec<Defect>> {
        let mut found = Findings::default();
        self.ids_resolve(rules, &mut found);
        let mut events = Vec::with_capacity(self.events.len());
        for event in &self.events {
            if let Some(what) = resolve(event, rules, &mut found) {
                events.push(ResolvedEvent { at: event.at, what });
            }
        }
        if found.has_errors() {
            return Err(found.located(&self.text));
        }
        events.sort_by_key(|event| event.at);
        Ok(events)
    }

    fn ids_resolve(&self, rules: &RuleSet, found: &mut Findings) {
        if let Some(id) = &self.complaint
            && rules.complaint_index(id).is_none()
        {
            let known = rules.complaints.iter().map(|c| c.id.as_str());
            unresolved("complaint", id, &self.complaint_at, known, found);
        }
        for (id, span) in &self.expect.checks_at {
            check(id, span, rules, found);
        }
        for (id, span) in &self.expect.suspects_at {
            if rules.suspect_index(id).is_none() {
                let known = rules.suspects.iter().map(|s| s.id.as_str());
                unresolved("suspect", id, span, known, found);
            }
        }
    }
}

fn unresolved<'k>(
    what: &str,
    id: &str,
    span: &Span,
    known: impl Iterator<Item = &'k str>,
    found: &mut Findings,
) {
    let hint = match found.nearest(id, known) {
        Some(near) => format!("did you mean `{near}`?"),
        None => format!("use the id of a {what} of the rule set"),
    };
    let message = format!("the rule set has no {what} `{}`", id.escape_debug());
    found.error(span, DefectKind::UnresolvedId, message, hint);
}

fn check(id: &str, span: &Span, rules: &RuleSet, found: &mut Findings) -> Option<usize> {
    let check = rules.check_index(id);
    if check.is_none() {
        unresolved(
            "check",
            id,
            span,
            rules.checks.iter().map(|c| c.id.as_str()),
            found,
        );
    }
    check
}

fn resolve(event: &CaseEvent, rules: &RuleSet, found: &mut Findings) -> Option<ResolvedWhat> {
    match &event.what {
        CaseWhat::Phase(phase) => Some(ResolvedWhat::Phase(*phase)),
        CaseWhat::Drive(drive) => Some(ResolvedWhat::Drive(*drive)),
        CaseWhat::Probe { point } => {
            let (point, _) = test_point(point, &event.subject_at, rules, found)?;
            Some(ResolvedWhat::Probe { point })
        }
        CaseWhat::Lift { point } => {
            let (point, _) = test_point(point, &event.subject_at, rules, found)?;
            Some(ResolvedWhat::Lift { point })
        }
        CaseWhat::Start { check } => {
            let check = measured(check, &event.subject_at, rules, found)?;
            Some(ResolvedWhat::Start { check })
        }
        CaseWhat::Stop { check } => {
            let check = measured(check, &event.subject_at, rules, found)?;
            Some(ResolvedWhat::Stop { check })
        }
        CaseWhat::Kept { check, kept } => Some(ResolvedWhat::Kept {
            check: measured(check, &event.subject_at, rules, found)?,
            kept: *kept,
        }),
        CaseWhat::Withdraw { finding } => Some(ResolvedWhat::Withdraw { finding: *finding }),
        CaseWhat::Repair { .. } => Some(ResolvedWhat::Repair),
        CaseWhat::Reading(reading) => self::reading(event, reading, rules, found),
        CaseWhat::Answer { check: id, is } => {
            let check = check(id, &event.subject_at, rules, found)?;
            answer(check, is, &event.value_at, rules, found)
        }
        CaseWhat::Outcome { check: id, is } => {
            let check = check(id, &event.subject_at, rules, found)?;
            Some(ResolvedWhat::Outcome {
                check,
                outcome: *is,
            })
        }
    }
}

/// The measured check of an id.
fn measured(id: &str, span: &Span, rules: &RuleSet, found: &mut Findings) -> Option<usize> {
    let check = check(id, span, rules, found)?;
    if rules.checks.get(check)?.measured().is_none() {
        found.error(
            span,
            DefectKind::MixedTable,
            format!("the check `{id}` is asked, not measured"),
            "answer it with `answer`: only what is measured has runs",
        );
        return None;
    }
    Some(check)
}

fn answer(
    check: usize,
    is: &str,
    span: &Span,
    rules: &RuleSet,
    found: &mut Findings,
) -> Option<ResolvedWhat> {
    let table = rules.checks.get(check)?;
    let How::Asked(asked) = &table.how else {
        found.error(
            span,
            DefectKind::MixedTable,
            format!("the check `{}` is measured, not asked", table.id),
            "give a reading of its point, or settle it with `outcome`",
        );
        return None;
    };
    if is == CANNOT_TELL {
        return Some(ResolvedWhat::Answer {
            check,
            answer: asked.answers.len(),
        });
    }
    let place = asked.answers.iter().position(|answer| answer == is);
    if place.is_none() {
        found.error(
            span,
            DefectKind::UnknownWord,
            format!("`{}` is no answer to `{}`", is.escape_debug(), table.id),
            format!("use one of {}", asked.answers.join(", ")),
        );
    }
    place.map(|answer| ResolvedWhat::Answer { check, answer })
}

fn reading(
    event: &CaseEvent,
    reading: &CaseReading,
    rules: &RuleSet,
    found: &mut Findings,
) -> Option<ResolvedWhat> {
    let (index, point) = test_point(&reading.point, &event.subject_at, rules, found)?;
    let range_end = point.plausible.map(|(_, high)| high);
    let read = reading
        .entry
        .to_si(&reading.value, point.quantity, range_end);
    let read = read.map_err(|error| (&event.value_at, entry_kind(&error), error.to_string()));
    let doubted = read.and_then(|(amount, step)| {
        let uncertainty = uncertainty(&reading.doubt, point.quantity, amount, step);
        let wrong = |(kind, message)| (&event.doubt_at, kind, message);
        uncertainty.map(|u| (amount, u)).map_err(wrong)
    });
    let (amount, uncertainty) = match doubted {
        Ok(amounts) => amounts,
        Err((place, kind, message)) => {
            let message = format!("`{}`: {message}", point.id);
            found.error(place, kind, message, entry_hint(point.quantity));
            return None;
        }
    };
    let mut flags = reading.flags;
    if point.implausible(amount, uncertainty) {
        flags |= Flags::IMPLAUSIBLE;
    }
    Some(ResolvedWhat::Reading {
        point: index,
        amount,
        uncertainty,
        flags,
    })
}

/// The test point of an id; one that is none, or is computed, is noted.
fn test_point<'r>(
    id: &str,
    span: &Span,
    rules: &'r RuleSet,
    found: &mut Findings,
) -> Option<(usize, &'r TestPoint)> {
    let index = rules.point_index(id);
    let point = index.and_then(|index| rules.test_points.get(index).map(|point| (index, point)));
    if index.is_none() {
        let known = rules.test_points.iter().map(|p| p.id.as_str());
        unresolved("test point", id, span, known, found);
    } else if point.is_none() {
        found.error(
            span,
            DefectKind::UnresolvedId,
            format!("`{id}` is computed from other points"),
            "give readings of the two test points that it is the difference of",
        );
    }
    point
}

/// The standard uncertainty in SI. `step` is one of the last digit written.
fn uncertainty(
    doubt: &Doubt,
    quantity: Quantity,
    amount: Amount,
    step: Option<f64>,
) -> Result<f64, (DefectKind, String)> {
    let digits = step.map_or(0.0, resolution_uncertainty);
    match doubt {
        Doubt::Digits => Ok(digits),
        Doubt::Standard(text) => {
            parse_span(text, quantity).map_err(|error| (entry_kind(&error), error.to_string()))
        }
        // Nothing is read of an overload but the end of the range.
        Doubt::Accuracy(_) if amount.is_overload() => Ok(0.0),
        Doubt::Accuracy(accuracy) => accuracy
            .standard_uncertainty(amount.edge(), step, None)
            .map(|of_instrument| combine(&[of_instrument, digits]))
            .map_err(|error| (DefectKind::BadValue, error.to_string())),
    }
}
