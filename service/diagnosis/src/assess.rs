//! From what was read, answered and stated to an outcome of each check.

use trisect_measure::{Amount, Decision, Unit, after_number, conformance, decide};
use trisect_rules::{Bound, Format, Measured, Outcome, RuleSet, Take};

use crate::fold::{CheckState, Latest};
use crate::model::Model;
use crate::reason::Job;
use crate::ripple::SpectralLine;
use crate::standing::together;
use crate::window::Window;

/// What came of a check, with what it rests on.
#[derive(Clone, Debug)]
pub(crate) struct Assessment {
    pub(crate) outcome: Outcome,
    /// How probable it is that the check passes, for a measured check that has
    /// evidence in it.
    pub(crate) pass: Option<f64>,
    /// The answer, for an asked check.
    pub(crate) answer: Option<u16>,
    pub(crate) value: Option<(Amount, f64)>,
    pub(crate) limit: Option<String>,
    pub(crate) readings: Option<u64>,
    pub(crate) reason: Option<String>,
    /// The line that stands out of a ripple's spectrum.
    pub(crate) line: Option<SpectralLine>,
}

impl Assessment {
    fn bare(outcome: Outcome) -> Assessment {
        Assessment {
            outcome,
            pass: None,
            answer: None,
            value: None,
            limit: None,
            readings: None,
            reason: None,
            line: None,
        }
    }

    fn void(reason: String) -> Assessment {
        Assessment {
            reason: Some(reason),
            ..Assessment::bare(Outcome::Void)
        }
    }

    /// The answer in this place, healthiest first.
    pub(crate) fn answered(answer: u16) -> Assessment {
        let outcome = if answer == 0 {
            Outcome::Passed
        } else {
            Outcome::Failed
        };
        Assessment {
            answer: Some(answer),
            ..Assessment::bare(outcome)
        }
    }

    /// Whoever was asked could not tell.
    pub(crate) fn untold() -> Assessment {
        Assessment::void("whoever was asked could not tell".to_owned())
    }

    pub(crate) fn stated(outcome: Outcome) -> Assessment {
        let pass = match outcome {
            Outcome::Passed => Some(1.0),
            Outcome::Failed => Some(0.0),
            Outcome::Undecided | Outcome::Void => None,
        };
        let reason = Some("settled elsewhere".to_owned());
        Assessment {
            pass,
            reason,
            ..Assessment::bare(outcome)
        }
    }
}

/// Assesses every check that was touched; `None` for the others.
pub(crate) fn assess(job: &Job<'_>) -> Vec<Option<Assessment>> {
    let model = job.model;
    let mut found: Vec<Option<Assessment>> = vec![None; job.states.len()];
    for &check in &model.order {
        let check = usize::from(check);
        // `order` has needs before what needs them, so `found` is final for every need looked up here.
        let own = match model.rules.format {
            Format::One => own(model, check, &job.states[check], job.latest, job.now),
            Format::Two => together(model.measured(check), &job.runs.standing(model, check)),
        };
        let Some(assessment) = own else {
            continue;
        };
        let passed = |need: &usize| {
            let known = found[*need].as_ref();
            known.is_some_and(|a| a.outcome == Outcome::Passed)
        };
        let mut needs = model.rules.checks[check].needs.iter();
        let needed = needs
            .find(|need| !passed(need))
            .map(|need| (*need, Outcome::Passed));
        // A presumption counts for the complaints it is written for; a need counts always.
        let mut presumed = model.rules.checks[check].presumes.iter();
        let unmet = needed.or_else(|| {
            let unmet = presumed.find(|p| {
                let known = found[p.check].as_ref();
                p.applies(job.complaint) && known.is_none_or(|a| a.outcome != p.is)
            });
            unmet.map(|p| (p.check, p.is))
        });
        found[check] = Some(match unmet {
            Some((other, is)) => {
                let other = &model.rules.checks[other].id;
                Assessment {
                    pass: None,
                    answer: None,
                    outcome: Outcome::Void,
                    reason: Some(format!("void until `{other}` has {is}")),
                    ..assessment
                }
            }
            None => assessment,
        });
    }
    found
}

/// The outcome of a check on its own, its needs left aside.
fn own(
    model: &Model,
    check: usize,
    state: &CheckState,
    latest: &[Option<Latest>],
    now: i64,
) -> Option<Assessment> {
    let stated = state
        .stated
        .map(|(when, outcome)| (when, Assessment::stated(outcome)));
    let seen = match model.measured(check) {
        Some(measured) => from_window(model, measured, state, latest, now),
        None => state
            .answer
            .map(|(when, answer)| (when, Assessment::answered(answer))),
    };
    // The newest valid outcome counts: neither what is void nor a window that is
    // no evidence yet displaces one.
    let valid = |a: &Assessment| a.pass.is_some() || a.answer.is_some();
    match (stated, seen) {
        (Some((_, stated)), Some((_, seen)))
            if !valid(&seen) && stated.outcome != Outcome::Void =>
        {
            Some(stated)
        }
        (Some((_, stated)), Some((_, seen))) if stated.outcome == Outcome::Void => Some(seen),
        (Some((a, stated)), Some((b, seen))) => Some(if a > b { stated } else { seen }),
        (stated, seen) => stated.or(seen).map(|(_, assessment)| assessment),
    }
}

fn from_window(
    model: &Model,
    measured: &Measured,
    state: &CheckState,
    latest: &[Option<Latest>],
    now: i64,
) -> Option<(u64, Assessment)> {
    let Some(window) = &state.window else {
        let (when, flags) = state.spoiled?;
        let words = flags.words().join(", ");
        let reason = format!("the reading is marked {words}: put that right and read again");
        return Some((when, Assessment::void(reason)));
    };
    if let Some(reason) = window.unusable() {
        let reason = format!("`{}`: {reason}", measured.take.word());
        return Some((state.touched, Assessment::void(reason)));
    }
    // Limits are resolved anew each time: one that goes by a temperature moves with the newest reading of it.
    let limits = match limits(model, measured, latest) {
        Ok(limits) => limits,
        Err(reason) => return Some((state.touched, Assessment::void(reason))),
    };
    let newest = judge(model, measured, window, &limits, now);
    // The newest valid outcome counts: a window that is not full displaces none.
    let valid = match &state.before {
        Some(before) if newest.pass.is_none() => judge(model, measured, before, &limits, now),
        _ => newest,
    };
    Some((state.touched, valid))
}

/// What the readings of a run come to.
pub(crate) fn judge_finding(
    model: &Model,
    measured: &Measured,
    window: &Window,
    latest: &[Option<Latest>],
    now: i64,
) -> Assessment {
    match limits(model, measured, latest) {
        Ok(limits) => judge(model, measured, window, &limits, now),
        Err(reason) => Assessment::void(reason),
    }
}

/// The point of which a check's limit needs a reading that there is not yet.
pub(crate) fn missing_for_limit(measured: &Measured, latest: &[Option<Latest>]) -> Option<usize> {
    let ends = [&measured.at_least, &measured.at_most];
    ends.into_iter().flatten().find_map(|bound| match bound {
        Bound::Fixed(_) => None,
        Bound::Table { by, .. } => {
            let known = latest.get(*by).and_then(Option::as_ref);
            known
                .and_then(|latest| latest.amount.exact())
                .is_none()
                .then_some(*by)
        }
    })
}

/// A check's limits at this moment: a value and a standard uncertainty each.
struct Limits {
    at_least: Option<(f64, f64)>,
    at_most: Option<(f64, f64)>,
    text: String,
}

fn limits(model: &Model, measured: &Measured, latest: &[Option<Latest>]) -> Result<Limits, String> {
    let resolve = |bound: &Option<Bound>| {
        bound
            .as_ref()
            .map(|bound| limit(model, bound, latest))
            .transpose()
    };
    let (at_least, at_most) = (resolve(&measured.at_least)?, resolve(&measured.at_most)?);
    let text = limit_text(model, measured, at_least, at_most);
    Ok(Limits {
        at_least,
        at_most,
        text,
    })
}

fn limit(model: &Model, bound: &Bound, latest: &[Option<Latest>]) -> Result<(f64, f64), String> {
    match bound {
        Bound::Fixed(limit) => Ok((*limit, 0.0)),
        Bound::Table { by, rows } => {
            let id = model.rules.point_id(*by);
            let known = latest[*by].as_ref();
            let known =
                known.ok_or_else(|| format!("its limit needs a reading of `{id}` first"))?;
            let x = known.amount.exact();
            let x = x.ok_or_else(|| format!("its limit needs `{id}` within range"))?;
            Ok(interpolate(rows, x, known.u))
        }
    }
}

/// Linear between the rows, constant beyond them; the uncertainty of the
/// argument passes through the slope (GUM 5.1.2).
fn interpolate(rows: &[(f64, f64)], x: f64, u: f64) -> (f64, f64) {
    let after = rows.partition_point(|(at, _)| *at < x);
    match (after.checked_sub(1).map(|i| rows[i]), rows.get(after)) {
        (None, Some(first)) => (first.1, 0.0),
        (Some(last), None) => (last.1, 0.0),
        (Some((x0, y0)), Some((x1, y1))) => {
            let slope = (y1 - y0) / (x1 - x0);
            (y0 + slope * (x - x0), slope.abs() * u)
        }
        // The loader refuses an empty table.
        (None, None) => (f64::NAN, 0.0),
    }
}

fn judge(
    model: &Model,
    measured: &Measured,
    window: &Window,
    limits: &Limits,
    now: i64,
) -> Assessment {
    let taken = window.take(measured.take);
    let base = Assessment {
        value: taken.ok(),
        limit: Some(limits.text.clone()),
        readings: Some(window.count),
        line: window.line(),
        ..Assessment::bare(Outcome::Undecided)
    };
    let undecided = |reason: &str| Assessment {
        reason: Some(reason.to_owned()),
        ..base.clone()
    };
    let (amount, u) = match taken {
        Ok(taken) => taken,
        Err(reason) => return undecided(reason),
    };
    // A one-sided value ("above 20 V") cannot be held against a limit on its open side.
    let Some(pass) = conform(amount, u, limits) else {
        return undecided(
            "the limit lies beyond the range of the instrument: choose a wider range",
        );
    };
    let decision = decide(pass, measured.risk);
    // A supply that fell below its limit need not be watched to the end of the window.
    let definite = decision == Decision::Failed && definite(measured) && !window.passing(now);
    match window.full(measured, now) {
        // No evidence yet: what comes may still change it.
        Err(reason) if !definite => return undecided(reason),
        _ => {}
    }
    let (outcome, reason) = match decision {
        Decision::Failed => (Outcome::Failed, None),
        Decision::Passed => (Outcome::Passed, None),
        Decision::Undecided => (Outcome::Undecided, Some(closer(model, measured, u))),
    };
    Assessment {
        outcome,
        reason,
        pass: Some(pass),
        ..base
    }
}

/// The limit's own uncertainty is independent of the reading's, so they combine.
fn conform(amount: Amount, u: f64, limits: &Limits) -> Option<f64> {
    let value = |limit: Option<(f64, f64)>| limit.map(|(x, _)| x);
    let from = |limit: Option<(f64, f64)>| limit.map_or(0.0, |(_, u)| u);
    let widened = trisect_measure::combine(&[u, from(limits.at_least), from(limits.at_most)]);
    conformance(
        amount,
        widened,
        value(limits.at_least),
        value(limits.at_most),
    )
}

/// A minimum below its lower limit, or a maximum above its upper one, stays so
/// whatever comes.
fn definite(measured: &Measured) -> bool {
    match measured.take {
        // With an upper limit too, a minimum that fails may lie above it, and can still come down into the range.
        Take::Minimum => measured.at_most.is_none(),
        Take::Maximum => measured.at_least.is_none(),
        _ => false,
    }
}

fn closer(model: &Model, measured: &Measured, u: f64) -> String {
    let unit = unit_of(&model.rules, measured);
    let u = trisect_measure::significant(unit.span_from_si(u), 2);
    let unit = after_number(unit.symbol());
    format!("too near its limit for an uncertainty of {u}{unit}: measure with a better instrument")
}

/// The unit a check's feature is shown in: the point's, or a plain number.
pub(crate) fn unit_of(rules: &RuleSet, measured: &Measured) -> Unit {
    match measured.take {
        Take::Ripple | Take::Decay => Unit::RATIO,
        Take::RiseTime => Unit::SECOND,
        _ => rules.point_unit(measured.point),
    }
}

/// A check's feature in the unit it is shown in. Derived points and
/// peak-to-peak values are differences, so an offset has no place in them.
pub(crate) fn shown(rules: &RuleSet, measured: &Measured, si: f64) -> f64 {
    let unit = unit_of(rules, measured);
    let derived = rules.derived_at(measured.point).is_some();
    if derived || measured.take == Take::PeakToPeak {
        unit.span_from_si(si)
    } else {
        unit.from_si(si)
    }
}

/// A value of a point in the unit it is shown in.
pub(crate) fn shown_at(rules: &RuleSet, point: usize, si: f64) -> f64 {
    let unit = rules.point_unit(point);
    match rules.derived_at(point) {
        Some(_) => unit.span_from_si(si),
        None => unit.from_si(si),
    }
}

/// A check's limit before anything is read, such as `>= 5 psi`; a limit that
/// goes by another point is told by its first and last row.
pub fn limit_in_words(rules: &RuleSet, measured: &Measured) -> String {
    let unit = after_number(unit_of(rules, measured).symbol());
    let show = |si| trisect_measure::significant(shown(rules, measured, si), 4);
    let words = |sign: &str, bound: &Bound| match bound {
        Bound::Fixed(limit) => format!("{sign} {}{unit}", show(*limit)),
        Bound::Table { by, rows } => {
            let ends = [rows.first(), rows.last()].map(|row| row.map_or(f64::NAN, |r| show(r.1)));
            let by = rules.point_id(*by);
            format!("{sign} {} to {}{unit} by {by}", ends[0], ends[1])
        }
    };
    let bounds = [(">=", &measured.at_least), ("<=", &measured.at_most)];
    let said = bounds
        .iter()
        .filter_map(|(sign, b)| b.as_ref().map(|b| words(sign, b)));
    said.collect::<Vec<_>>().join(" and ")
}

fn limit_text(
    model: &Model,
    measured: &Measured,
    at_least: Option<(f64, f64)>,
    at_most: Option<(f64, f64)>,
) -> String {
    let unit = after_number(unit_of(&model.rules, measured).symbol());
    let show = |(limit, _)| trisect_measure::significant(shown(&model.rules, measured, limit), 4);
    match (at_least, at_most) {
        (Some(low), Some(high)) => format!("{} to {}{unit}", show(low), show(high)),
        (Some(low), None) => format!(">= {}{unit}", show(low)),
        (None, Some(high)) => format!("<= {}{unit}", show(high)),
        (None, None) => "none".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::interpolate;

    #[test]
    fn a_table_is_linear_between_its_rows_and_flat_beyond() {
        let rows = [(0.0, 1.0), (10.0, 3.0), (20.0, 4.0)];
        assert_eq!(interpolate(&rows, -5.0, 1.0), (1.0, 0.0));
        assert_eq!(interpolate(&rows, 5.0, 0.5), (2.0, 0.1));
        assert_eq!(interpolate(&rows, 15.0, 1.0), (3.5, 0.1));
        assert_eq!(interpolate(&rows, 25.0, 1.0), (4.0, 0.0));
        assert_eq!(interpolate(&rows, 10.0, 0.0), (3.0, 0.0));
    }
}
